//! The shelf: materials with their lots, what can be used, what is promised, and why not.

use app::ShelfRow;
use axum::extract::State;
use domain::{materials::MaterialKind, text::code_key};
use engine::shelf::LotOnDay;
use kernel::Quantity;
use maud::{Markup, html};

use crate::{
    Web,
    access::{Answer, Asked, Who},
    fields::{Fields, Reader},
    figures as fig,
    frame::{self, Place},
    links,
    pages::material_named,
    respond::shown,
    text as t,
    ui::{self, Field, Kept},
};

/// Materials on one page.
const LISTED: usize = 150;
/// "Near its date" means within so many days.
const NEAR_DAYS: i64 = 60;

/// What lots are shown.
const SHOWS: [(&str, &str); 4] =
    [("", t::SHOW_ALL), ("usable", t::SHOW_USABLE), ("barred", t::SHOW_BARRED), ("near", t::SHOW_NEAR)];

/// The shelf on a day.
pub async fn page(State(web): State<Web>, who: Who, Asked(fields): Asked) -> Answer {
    let mut reader = Reader::new(&fields);
    let day = reader.date("on").unwrap_or(who.today);
    let kept = Kept::question("filter", &fields, reader.problems)?;
    let wanted = code_key(fields.first("q"));
    let kind = MaterialKind::ALL.into_iter().find(|kind| kind.words() == fields.first("kind"));
    let show = fields.first("show");
    let fits = |lot: &LotOnDay| match show {
        "usable" => lot.because.is_empty(),
        "barred" => !lot.because.is_empty(),
        "near" => lot.last_day_of_use.is_some_and(|last| (last - day).num_days() <= NEAR_DAYS),
        _ => true,
    };
    let rows: Vec<(ShelfRow, Vec<LotOnDay>)> = web
        .app
        .shelf(&who.actor, None, day, None)
        .await?
        .into_iter()
        .filter(|row| kind.is_none_or(|kind| row.material.kind == kind))
        .filter(|row| {
            let of_material =
                [&row.material.code, &row.material.name].iter().any(|text| code_key(text).contains(&wanted));
            of_material || row.availability.lots.iter().any(|lot| code_key(&lot.number).contains(&wanted))
        })
        .filter_map(|row| {
            let lots: Vec<LotOnDay> = row.availability.lots.iter().filter(|lot| fits(lot)).cloned().collect();
            (!lots.is_empty()).then_some((row, lots))
        })
        .collect();
    let body = html! {
        div.title-row {
            h1 { (t::SHELF) }
            p.ways-on {
                a.button.plain href="/shelf/calendar" { (t::CALENDAR) }
                a.button.plain href="/suppliers" { (t::SUPPLIERS) }
                a.button href="/receive" { (t::RECEIVE) }
            }
        }
        (kept.notice("filter"))
        (filter(&fields, &kept, &day.to_string()))
        @if rows.is_empty() { (ui::nothing(t::SHELF_NONE)) }
        @if !rows.is_empty() {
            div.scroll role="region" aria-label=(t::SHELF) tabindex="0" {
                table.shelf {
                    caption.unseen { (t::SHELF) }
                    thead { tr {
                        th { (t::MATERIAL_OR_LOT) } th.num { (t::ON_HAND) } th.num { (t::PROMISED) } th.num { (t::USABLE) }
                        th { (t::LAST_DAY) } th { (t::STATE) }
                    } }
                    @for (row, lots) in rows.iter().take(LISTED) { (material_rows(row, lots)) }
                }
            }
        }
        @if rows.len() > LISTED { p.quiet { (t::list_cut(LISTED, rows.len())) } }
    };
    Ok(shown(kept.status(), frame::page(&who, Place::Shelf, t::SHELF, &body)))
}

fn filter(fields: &Fields, kept: &Kept, day: &str) -> Markup {
    let kinds: Vec<(String, String)> = std::iter::once((String::new(), t::ANY_KIND.to_owned()))
        .chain(
            MaterialKind::ALL
                .into_iter()
                .filter(|kind| kind.is_stocked())
                .map(|kind| (kind.words().to_owned(), t::sentence(kind.words()))),
        )
        .collect();
    let shows: Vec<(String, String)> =
        SHOWS.iter().map(|(v, w)| ((*v).to_owned(), (*w).to_owned())).collect();
    html! {
        form.inline method="get" action="/shelf" {
            (Field::text("filter", "q", t::CODE_OR_NAME).start(fields.first("q")).show(kept))
            (ui::select("filter", "kind", t::KIND, fields.first("kind"), &kinds))
            (ui::select("filter", "show", t::SHOW, fields.first("show"), &shows))
            (Field::date("filter", "on", t::ON_DAY).start(day).needed().show(kept))
            button type="submit" { (t::SHOW) }
        }
    }
}

fn material_rows(row: &ShelfRow, lots: &[LotOnDay]) -> Markup {
    let stock = &row.availability;
    html! {
        tbody {
            tr.material-row {
                th scope="rowgroup" { (material_named(&row.material.code, &row.material.name)) }
                td.num { (fig::quantity(stock.on_hand)) }
                td.num { (nought_as_dash(stock.promised)) }
                td.num { strong { (fig::quantity(stock.usable)) } }
                td {} td {}
            }
            @for lot in lots {
                tr {
                    td.indent { a.code href=(links::lot(&lot.number)) { (lot.number) } }
                    td.num { (fig::quantity(lot.on_hand)) }
                    td.num { (nought_as_dash(lot.promised)) }
                    td.num { (nought_as_dash(lot.usable)) }
                    td { (fig::date_or_dash(lot.last_day_of_use)) }
                    td { @if lot.because.is_empty() { (ui::lot_status(lot.status)) } @else { (ui::unusable(&lot.because)) } }
                }
            }
        }
    }
}

fn nought_as_dash(quantity: Quantity) -> Markup {
    if quantity.is_positive() {
        fig::quantity(quantity)
    } else {
        html! { span.quiet { "–" } }
    }
}
