//! Today: what is unsafe or unsaleable, what cannot be made, what loses money, what is to be done by when. In this order.

use std::collections::{BTreeMap, HashMap};

use app::ShelfRow;
use axum::extract::State;
use chrono::{Days, NaiveDate};
use domain::{
    Catalogue,
    lots::{Lot, LotStatus, Unusable},
    packs::Pack,
};
use engine::{CostRequest, CostSheet, Note, Outlook, planned::RunRef};
use kernel::{Exact, Percent, ids::LotId};
use maud::{Markup, html};

use crate::{
    Web,
    access::{Answer, Asked, Who},
    fields::Reader,
    figures as fig,
    frame::{self, Place},
    links,
    pages::{material_link, purchase},
    respond::{PageError, shown},
    text as t,
    ui::{self, Field, Kept, Tone},
};

/// How far ahead the page looks.
const DAYS_AHEAD: u64 = 60;
/// Packs costed for one page.
const PACKS_MAX: usize = 200;
/// Below this share of the price a pack is listed, unless asked otherwise.
const FLOOR: &str = "30";

/// The first page.
pub async fn page(State(web): State<Web>, who: Who, Asked(fields): Asked) -> Answer {
    let mut reader = Reader::new(&fields);
    let floor = reader.percent("floor").unwrap_or_else(usual_floor);
    let catalogue = web.app.catalogue(&who.actor)?;
    let until = who.today.checked_add_days(Days::new(DAYS_AHEAD)).unwrap_or(who.today);
    let shelf = web.app.shelf(&who.actor, None, who.today, None).await?;
    let outlook = web.app.outlook(&who.actor, Some(until)).await?;
    let lots = lots_to_look_at(&web, &who, &shelf, until).await?;
    let costs = Costs::work_out(&web, &who, &catalogue);

    let body = html! {
        h1 { (t::TODAY_HEADING) }
        p.lead { (t::today_lead(until)) }
        (unsafe_or_unsaleable(&catalogue, &shelf, &lots, &outlook, who.today, until))
        (cannot_be_made(&catalogue, &outlook))
        (loses_money(&costs, floor, fields.first("floor")))
        (by_when(&catalogue, &shelf, &lots, &outlook, who.today, until))
    };
    Ok(shown(axum::http::StatusCode::OK, frame::page(&who, Place::Today, t::TODAY, &body)))
}

fn usual_floor() -> Percent {
    crate::fields::percent_of(FLOOR).unwrap_or(Percent::ZERO)
}

/// Every lot the page says something about, for its value.
async fn lots_to_look_at(
    web: &Web,
    who: &Who,
    shelf: &[ShelfRow],
    until: NaiveDate,
) -> Result<HashMap<LotId, Lot>, PageError> {
    let ids: Vec<LotId> = shelf
        .iter()
        .flat_map(|row| &row.availability.lots)
        .filter(|lot| !lot.because.is_empty() || lot.last_day_of_use.is_some_and(|day| day <= until))
        .map(|lot| lot.lot)
        .collect();
    Ok(web.app.lots_get(&who.actor, &ids).await?.into_iter().map(|lot| (lot.id, lot)).collect())
}

fn section(id: &str, title: &str, count: usize, empty: &str, body: &Markup) -> Markup {
    html! {
        section.answer aria-labelledby=(id) {
            h2 #(id) { (title) " " span class={ "tally" @if count == 0 { " none" } } { (count) } }
            @if count == 0 { (ui::nothing(empty)) } @else { (body) }
        }
    }
}

fn unsafe_or_unsaleable(
    catalogue: &Catalogue,
    shelf: &[ShelfRow],
    lots: &HashMap<LotId, Lot>,
    outlook: &Outlook,
    today: NaiveDate,
    until: NaiveDate,
) -> Markup {
    let mut barred = Vec::new();
    for row in shelf {
        for lot in &row.availability.lots {
            if lot.because.iter().any(|reason| *reason != Unusable::Quarantine) {
                barred.push((row, lot));
            }
        }
    }
    let mut ending: Vec<_> = outlook
        .lots
        .iter()
        .filter(|lot| lot.last_day_of_use.is_some_and(|day| day >= today && day <= until))
        .filter(|lot| {
            lots.get(&lot.lot)
                .is_some_and(|lot| !matches!(lot.status, LotStatus::Rejected | LotStatus::OnHold))
        })
        .collect();
    ending.sort_by_key(|lot| lot.last_day_of_use);
    let rows = html! {
        @for (row, lot) in &barred {
            tr {
                td { a.code href=(links::lot(&lot.number)) { (lot.number) } }
                td { (material_link(catalogue, row.material.id)) }
                td { (ui::unusable(&lot.because)) }
                td.num { (fig::quantity(lot.on_hand)) }
                td.num { (fig::money_or_gap(lots.get(&lot.lot).and_then(|lot| lot.value))) }
            }
        }
    };
    let ending_rows = html! {
        @for lot in &ending {
            tr {
                td { a.code href=(links::lot(&lot.number)) { (lot.number) } }
                td { (material_link(catalogue, lot.material)) }
                td { (fig::date_or_dash(lot.last_day_of_use)) }
                td.num { (fig::quantity(lot.on_hand)) }
                td.num {
                    @if lot.stranded.is_positive() { strong { (fig::quantity(lot.stranded)) } }
                    @else { (ui::badge(Tone::Good, t::ALL_USED)) }
                }
                td.num {
                    @if lot.stranded.is_positive() { (fig::money_or_gap(lot.stranded_value)) }
                }
            }
        }
    };
    let body = html! {
        @if !barred.is_empty() {
            (ui::table(t::BARRED_LOTS, &html! {
                th { (t::LOT) } th { (t::MATERIAL) } th { (t::WHY_NOT) } th.num { (t::ON_HAND) } th.num { (t::VALUE) }
            }, &rows))
        }
        @if !ending.is_empty() {
            h3 { (t::NEAR_THEIR_DATE) }
            (ui::table(t::NEAR_THEIR_DATE, &html! {
                th { (t::LOT) } th { (t::MATERIAL) } th { (t::LAST_DAY) } th.num { (t::ON_HAND) } th.num { (t::LEFT_OVER) }
                th.num { (t::VALUE_LEFT_OVER) }
            }, &ending_rows))
        }
    };
    section("unsafe", t::UNSAFE, barred.len() + ending.len(), t::UNSAFE_NONE, &body)
}

fn cannot_be_made(catalogue: &Catalogue, outlook: &Outlook) -> Markup {
    let short: Vec<_> = outlook.runs.iter().filter(|run| run.is_short()).collect();
    let rows = html! {
        @for run in &short {
            tr {
                td {
                    @match &run.run {
                        RunRef::Ticket { number, .. } => { a.code href=(links::ticket(number)) { (number) } }
                        RunRef::Assumed { .. } | RunRef::Asked => {}
                    }
                }
                td { (catalogue.formulas.get(run.formula).map_or(t::GONE, |formula| formula.name.as_str())) }
                td { (fig::date(run.on)) }
                td {
                    ul.plain {
                        @for shortage in &run.shortages {
                            li {
                                strong { (fig::quantity(shortage.short_by)) } " " (t::OF) " " (material_link(catalogue, shortage.material))
                                @for lot in &shortage.might_help {
                                    br;
                                    span.quiet { (t::MIGHT_HELP) " " }
                                    a.code href=(links::lot(&lot.number)) { (lot.number) } " " (ui::unusable(&lot.because))
                                    @if lot.because.is_empty() { span.quiet { (t::PROMISED_ELSEWHERE) } }
                                }
                            }
                        }
                    }
                }
            }
        }
    };
    let body = ui::table(
        t::CANNOT_BE_MADE,
        &html! { th { (t::TICKET) } th { (t::FORMULA) } th { (t::DAY) } th { (t::SHORT_OF) } },
        &rows,
    );
    section("cannot", t::CANNOT_BE_MADE, short.len(), t::CANNOT_NONE, &body)
}

/// What every pack costs today.
struct Costs {
    sheets: Vec<(std::sync::Arc<Pack>, Result<CostSheet, String>)>,
    left_out: usize,
}

impl Costs {
    fn work_out(web: &Web, who: &Who, catalogue: &Catalogue) -> Self {
        let sheets = catalogue
            .packs
            .iter()
            .take(PACKS_MAX)
            .map(|pack| {
                let request = CostRequest::pack(pack.id, who.today);
                let sheet =
                    web.app.cost_sheet(&who.actor, &request).map_err(|error| t::sentence(&error.to_string()));
                (std::sync::Arc::clone(pack), sheet)
            })
            .collect();
        Self { sheets, left_out: catalogue.packs.len().saturating_sub(PACKS_MAX) }
    }

    /// Prices that rest on quotations that no longer hold or soon will not: material, sentence, packs.
    fn quotations(&self) -> BTreeMap<(bool, String, String), Vec<&str>> {
        let mut found: BTreeMap<_, Vec<&str>> = BTreeMap::new();
        for (pack, sheet) in &self.sheets {
            for note in sheet.iter().flat_map(|sheet| &sheet.notes) {
                let (lapses, material) = match note {
                    Note::PriceLapsed { material, .. } => (false, material),
                    Note::PriceLapsesSoon { material, .. } => (true, material),
                    _ => continue,
                };
                found.entry((lapses, material.code.clone(), note.to_string())).or_default().push(&pack.code);
            }
        }
        found
    }
}

fn loses_money(costs: &Costs, floor: Percent, typed: &str) -> Markup {
    let floor_share = floor.fraction();
    let below = |sheet: &CostSheet| {
        sheet.margin.as_ref().and_then(|margin| margin.margin.clone()).filter(|margin| *margin < floor_share)
    };
    let mut listed = Vec::new();
    for (pack, sheet) in &costs.sheets {
        match sheet {
            Ok(sheet) if !sheet.complete => listed.push((pack, t::COST_HAS_GAPS.to_owned(), gaps(sheet))),
            Ok(sheet) => {
                if let Some(margin) = below(sheet) {
                    listed.push((
                        pack,
                        t::margin_of(&fig::fraction_text(&margin, 1)),
                        margin_line(sheet, &margin),
                    ));
                }
            }
            Err(error) => listed.push((pack, t::COST_NOT_KNOWN.to_owned(), html! { (error) })),
        }
    }
    let quotations = costs.quotations();
    let body = html! {
        @if !listed.is_empty() {
            (ui::table(t::LOSES_MONEY, &html! { th { (t::PACK) } th { (t::WHAT) } th { (t::WHY) } }, &html! {
                @for (pack, what, why) in &listed {
                    tr {
                        td { a href=(links::pack(&pack.code)) { span.code { (pack.code) } " " (pack.name) } }
                        td { (ui::badge(Tone::Care, what)) }
                        td { (why) }
                    }
                }
            }))
        }
        @if !quotations.is_empty() {
            h3 { (t::QUOTATIONS_ENDING) }
            ul.lines {
                @for ((lapses, material, sentence), packs) in &quotations {
                    li {
                        @if *lapses { (ui::badge(Tone::Care, t::LAPSES_SOON)) } @else { (ui::badge(Tone::Bad, t::LAPSED)) }
                        " " a href=(links::material(material)) { (t::sentence(sentence)) } " "
                        span.quiet { (t::IN_PACKS) " " (packs.join(", ")) }
                    }
                }
            }
        }
        @if costs.left_out > 0 { p.quiet { (t::packs_left_out(costs.left_out)) } }
    };
    let kept = Kept::default();
    let start = if typed.is_empty() { FLOOR } else { typed };
    html! {
        (section("money", t::LOSES_MONEY, listed.len() + quotations.len(), t::MONEY_NONE, &body))
        form.inline method="get" action="/" {
            (Field::amount("floor", "floor", t::MARGIN_FLOOR).start(start).needed().show(&kept))
            button.plain type="submit" { (t::SHOW) }
        }
    }
}

fn gaps(sheet: &CostSheet) -> Markup {
    html! { ul.plain { @for gap in &sheet.gaps { li { (t::sentence(&gap.to_string())) } } } }
}

fn margin_line(sheet: &CostSheet, margin: &Exact) -> Markup {
    let currency = sheet.currency.code();
    html! {
        @if let (Some(cost), Some(at)) = (&sheet.totals.per_unit, &sheet.margin) {
            (t::COSTS) " " (fig::exact(cost, 4, currency)) ", " (t::SELLS_AT) " " (fig::money(at.price)) ": "
            (fig::fraction(margin, 1)) " " (t::MARGIN_LOWER)
        }
    }
}

fn by_when(
    catalogue: &Catalogue,
    shelf: &[ShelfRow],
    lots: &HashMap<LotId, Lot>,
    outlook: &Outlook,
    today: NaiveDate,
    until: NaiveDate,
) -> Markup {
    let mut dues: Vec<(Option<NaiveDate>, Markup)> = Vec::new();
    // Lots to inspect that no inspection time sets a day for: they go together, so that they do not hide what has a day.
    let mut waiting: Vec<Markup> = Vec::new();
    for material in &outlook.materials {
        if let Some(buy) = &material.buy {
            let day = buy.order.as_ref().and_then(|order| order.order_by);
            dues.push((
                day,
                html! {
                    (t::BUY) " " (material_link(catalogue, material.material)) ": " (purchase(buy))
                    " " span.quiet { (t::SHORT_FROM) " " (fig::date(buy.needed_on)) }
                },
            ));
        }
        if let Some(day) = material.make_first_by
            && material.make_first.is_positive()
        {
            dues.push((
                Some(day),
                html! {
                    (t::MAKE) " " (fig::quantity(material.make_first)) " " (t::OF) " " (material_link(catalogue, material.material))
                    " " span.quiet { (t::FOR_PLANNED_RUNS) }
                },
            ));
        }
    }
    for row in shelf {
        for on_day in &row.availability.lots {
            let Some(lot) = lots.get(&on_day.lot) else { continue };
            if lot.status == LotStatus::Quarantine {
                let due = row.material.inspection_time.and_then(|time| time.after(lot.received_on));
                let what = html! {
                    a.code href=(links::lot(&lot.number)) { (lot.number) } " " (material_link(catalogue, lot.material))
                    " " span.quiet { (t::IN_QUARANTINE_SINCE) " " (fig::date(lot.received_on)) }
                };
                match due {
                    Some(_) => dues.push((due, html! { (t::INSPECT) " " (what) })),
                    None => waiting.push(what),
                }
            }
            if let Some(day) = lot.retest_on.filter(|day| *day >= today && *day <= until) {
                dues.push((
                    Some(day),
                    html! {
                        (t::RETEST) " " a.code href=(links::lot(&lot.number)) { (lot.number) } " " (material_link(catalogue, lot.material))
                    },
                ));
            }
        }
    }
    dues.sort_by_key(|(day, _)| (day.is_none(), *day));
    if !waiting.is_empty() {
        let list = html! { ul.plain { @for what in &waiting { li { (what) } } } };
        dues.push((None, ui::fold(&t::lots_to_inspect(waiting.len()), false, &list)));
    }
    let body = html! {
        ol.dues {
            @for (day, what) in &dues {
                li {
                    span.due {
                        @match day {
                            Some(day) if *day < today => { (ui::badge(Tone::Bad, t::OVERDUE)) " " (fig::date(*day)) }
                            Some(day) => { (fig::date(*day)) }
                            None => { (t::NO_DAY) }
                        }
                    }
                    div { (what) }
                }
            }
        }
    };
    section("when", t::DO_BY_WHEN, dues.len(), t::WHEN_NONE, &body)
}
