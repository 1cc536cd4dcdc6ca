//! The expiry calendar: what ends when, how much of it is there, and what it is worth.

use std::collections::HashMap;

use axum::extract::State;
use chrono::NaiveDate;
use domain::{lots::Lot, materials::Material};
use engine::shelf::LotOnDay;
use kernel::{Dimension, Exact, ids::LotId};
use maud::{Markup, html};

use crate::{
    Web,
    access::{Answer, Asked, Who},
    chart::{self, Bar},
    fields::Reader,
    figures as fig,
    frame::{self, Place},
    links,
    pages::material_named,
    respond::shown,
    text as t,
    ui::{self, Field, Kept, Tone},
};

/// The last days of the parts of the calendar, from the day looked at; the first part is what has ended already.
const PARTS: [(i64, &str); 4] =
    [(-1, t::ENDED_ALREADY), (30, t::WITHIN_30), (60, t::WITHIN_60), (90, t::WITHIN_90)];

/// One lot that ends.
struct Ending {
    code: String,
    name: String,
    lot: LotOnDay,
    ends: NaiveDate,
    kept: Option<Lot>,
}

/// The calendar on a day.
pub async fn page(State(web): State<Web>, who: Who, Asked(fields): Asked) -> Answer {
    let mut reader = Reader::new(&fields);
    let day = reader.date("on").unwrap_or(who.today);
    let kept = Kept::question("calendar", &fields, reader.problems)?;
    let rows = web.app.shelf(&who.actor, None, day, None).await?;
    let last_part = PARTS.last().map_or(0, |(days, _)| *days);
    let mut endings: Vec<Ending> = Vec::new();
    for row in &rows {
        let material: &Material = &row.material;
        for lot in &row.availability.lots {
            if let Some(ends) = lot.last_day_of_use.filter(|ends| (*ends - day).num_days() <= last_part) {
                let (code, name) = (material.code.clone(), material.name.clone());
                endings.push(Ending { code, name, lot: lot.clone(), ends, kept: None });
            }
        }
    }
    let ids: Vec<LotId> = endings.iter().map(|ending| ending.lot.lot).collect();
    let lots = web.app.lots_get(&who.actor, &ids).await?;
    let mut lots: HashMap<LotId, Lot> = lots.into_iter().map(|lot| (lot.id, lot)).collect();
    for ending in &mut endings {
        ending.kept = lots.remove(&ending.lot.lot);
    }
    endings.sort_by(|a, b| (a.ends, &a.lot.number).cmp(&(b.ends, &b.lot.number)));
    let currency = web.app.settings().currency.code();
    let parts: Vec<(&str, Vec<&Ending>)> = PARTS
        .iter()
        .enumerate()
        .map(|(at, (until, label))| {
            let from = at.checked_sub(1).and_then(|before| PARTS.get(before)).map(|(days, _)| *days);
            let inside = |ending: &&Ending| {
                let days = (ending.ends - day).num_days();
                days <= *until && from.is_none_or(|from| days > from)
            };
            (*label, endings.iter().filter(inside).collect())
        })
        .collect();
    let body = html! {
        p.crumb { a href="/shelf" { (t::SHELF) } }
        h1 { (t::CALENDAR) }
        p.lead { (t::CALENDAR_LEAD) }
        (kept.notice("calendar"))
        form.inline method="get" action="/shelf/calendar" {
            (Field::date("calendar", "on", t::ON_DAY).start(&day.to_string()).needed().show(&kept))
            button type="submit" { (t::SHOW) }
        }
        @if endings.is_empty() { (ui::nothing(t::CALENDAR_NONE)) } @else {
            (picture(&parts, currency))
            @for (label, endings) in parts.iter().filter(|(_, endings)| !endings.is_empty()) {
                h2 { (label) }
                (part(label, endings, day))
            }
        }
    };
    Ok(shown(kept.status(), frame::page(&who, Place::Shelf, t::CALENDAR, &body)))
}

/// What the lots of a part are worth, as far as that is known, and of how many it is not.
fn worth(endings: &[&Ending]) -> (Exact, usize) {
    let mut sum = Exact::ZERO;
    let mut unknown = 0;
    for ending in endings {
        match ending.kept.as_ref().and_then(|lot| lot.value) {
            Some(value) => sum += &value.to_exact(),
            None => unknown += 1,
        }
    }
    (sum, unknown)
}

fn mass_of(endings: &[&Ending]) -> Exact {
    let masses = endings.iter().filter(|ending| ending.lot.on_hand.dimension() == Dimension::Mass);
    masses.map(|ending| ending.lot.on_hand.to_exact()).sum()
}

fn picture(parts: &[(&str, Vec<&Ending>)], currency: &str) -> Markup {
    let bars: Vec<Bar> = parts
        .iter()
        .zip(["up", "up", "part", "part"])
        .map(|((label, endings), class)| {
            let (value, _) = worth(endings);
            Bar {
                label: (*label).to_owned(),
                from: Exact::ZERO,
                value: format!("{} {currency}", fig::plain(&value, 2)),
                to: value,
                class,
                cumulative: None,
            }
        })
        .collect();
    html! {
        (chart::bars(t::VALUE_AT_RISK, &bars))
        (ui::table(t::VALUE_AT_RISK, &html! { th { (t::LAST_DAY) } th.num { (t::LOTS) } th.num { "kg" } th.num { (t::VALUE_AT_RISK) } }, &html! {
            @for (label, endings) in parts {
                @let (value, unknown) = worth(endings);
                tr {
                    td { (label) }
                    td.num { (endings.len()) }
                    td.num { (fig::exact(&mass_of(endings), 3, "kg")) }
                    td.num { (fig::exact(&value, 2, currency)) @if unknown > 0 { " " (fig::gap()) " " span.quiet { (t::lots_unvalued(unknown)) } } }
                }
            }
        }))
    }
}

fn part(label: &str, endings: &[&Ending], day: NaiveDate) -> Markup {
    ui::table(
        label,
        &html! {
            th { (t::LOT) } th { (t::MATERIAL) } th { (t::LAST_DAY) } th.num { (t::ON_HAND) } th.num { (t::PROMISED) }
            th.num { (t::VALUE) } th { (t::STATE) }
        },
        &html! {
            @for ending in endings {
                tr {
                    td { a.code href=(links::lot(&ending.lot.number)) { (ending.lot.number) } }
                    td { (material_named(&ending.code, &ending.name)) }
                    td { (fig::date(ending.ends)) br; span.quiet { (t::days_left((ending.ends - day).num_days())) } }
                    td.num { (fig::quantity(ending.lot.on_hand)) }
                    td.num { @if ending.lot.promised.is_positive() { (fig::quantity(ending.lot.promised)) } @else { span.quiet { "–" } } }
                    td.num { (fig::money_or_gap(ending.kept.as_ref().and_then(|lot| lot.value))) }
                    td { @if ending.lot.because.is_empty() { (ui::badge(Tone::Good, t::USABLE)) } @else { (ui::unusable(&ending.lot.because)) } }
                }
            }
        },
    )
}
