//! What a draft comes to: its total, cost, margins, use levels and gaps. Worked out anew while somebody types; nothing is written.

use app::DraftWorkedOut;
use domain::{Catalogue, formulas::LineAmount, materials::UseLevelKind};
use engine::{
    CostSheet, present,
    pricing::{Earning, PriceChain, design_to_cost},
};
use kernel::{Exact, Percent};
use maud::{Markup, html};

use super::typed::Typed;
use crate::{
    fields::percent_of,
    figures as fig, links,
    pages::cost,
    text as t,
    ui::{self, Tone},
};

pub(super) fn figures(
    catalogue: &Catalogue,
    typed: &Typed,
    worked: &Result<DraftWorkedOut, app::Error>,
) -> Markup {
    html! {
        section #figures.draft-figures aria-labelledby="figures-title" {
            h2 #figures-title { (t::AS_IT_STANDS) }
            p.stale hidden { (t::STALE) }
            @match worked {
                Err(app::Error::Invalid(problems)) => {
                    div role="status" {
                        p { (t::NOT_READ) }
                        ul { @for problem in problems { li { (where_of(&problem.place)) (t::sentence(&problem.message)) } } }
                    }
                }
                Err(error) => { p role="status" { (t::sentence(&error.to_string())) } }
                Ok(worked) => { (of(catalogue, typed, worked)) }
            }
        }
    }
}

/// The same in one line, to be kept in sight.
pub(super) fn summary(catalogue: &Catalogue, worked: &Result<DraftWorkedOut, app::Error>) -> Markup {
    let currency = catalogue.settings.currency.code();
    html! {
        p #draft-summary.draft-summary {
            @match worked {
                Err(_) => { span.quiet { (t::NOT_READ_YET) } }
                Ok(worked) => {
                    @if worked.normal.is_ok() { (ui::badge(Tone::Good, t::ADDS_UP)) } @else { (ui::badge(Tone::Bad, t::MISSES)) }
                    @if let Ok(sheet) = &worked.sheet {
                        " " (fig::exact(&sheet.totals.per_kg, 4, currency)) " " (t::PER) " kg"
                        @if !sheet.complete { " " (fig::gap()) }
                    }
                    @for (pack, sheet) in worked.packs.iter().take(2) {
                        @if let Some(cost) = sheet.as_ref().ok().and_then(|sheet| sheet.totals.per_unit.as_ref()) {
                            " · " span.code { (pack.code) } " " (fig::exact(cost, 4, currency))
                        }
                    }
                    @if !worked.breaches.is_empty() { " " (ui::badge(Tone::Care, t::USE_LEVEL)) }
                }
            }
        }
    }
}

/// The line a problem is in, in words.
fn where_of(place: &str) -> String {
    let inside = place.strip_prefix("lines[").and_then(|rest| rest.split_once(']'));
    match inside.and_then(|(row, _)| row.parse::<usize>().ok()) {
        Some(row) => format!("{}: ", t::line_number(row + 1)),
        None if place == "lines" => String::new(),
        None => format!("{}: ", t::field_name(place)),
    }
}

fn of(catalogue: &Catalogue, typed: &Typed, worked: &DraftWorkedOut) -> Markup {
    let currency = catalogue.settings.currency.code();
    html! {
        div role="status" { (total(worked)) }
        @match &worked.sheet {
            Ok(sheet) => {
                dl.facts {
                    @let per_kg = if sheet.complete { t::ONE_KG_COSTS } else { t::ONE_KG_COSTS_AT_LEAST };
                    (ui::fact(per_kg, &fig::exact(&sheet.totals.per_kg, 4, currency)))
                    (ui::fact(t::PER_LITRE, &fig::exact_or_gap(sheet.totals.per_litre.as_ref(), 4, currency)))
                    (ui::fact(t::PER_BATCH, &fig::exact(&sheet.totals.per_batch, 2, currency)))
                }
            }
            Err(error) if worked.normal.is_ok() => { (cost::not_costed(error)) }
            Err(_) => {}
        }
        (packs(typed, worked))
        (warnings(worked))
        @if let Ok(sheet) = &worked.sheet {
            @if !sheet.gaps.is_empty() {
                (ui::notice(Tone::Care, &html! { ul { @for gap in &sheet.gaps { li { (fig::gap()) " " (t::sentence(&gap.to_string())) } } } }))
            }
        }
        (put_right(worked, currency))
        (lines(catalogue, worked))
    }
}

/// What the lines add up to, and what q.s. takes.
fn total(worked: &DraftWorkedOut) -> Markup {
    match &worked.normal {
        Ok(normal) => {
            let rest = worked.version.lines.iter().zip(&normal.lines).find_map(|(written, line)| {
                (written.amount == LineAmount::QuantitySufficient).then_some(line.share.as_ref()).flatten()
            });
            html! {
                p.draft-total {
                    (ui::badge(Tone::Good, t::ADDS_UP)) " "
                    @if let Some(rest) = rest { (t::THE_REST) " " strong { (fig::fraction(rest, 3)) } }
                    @if !normal.is_complete() { " " (fig::gap()) }
                }
                @for note in &normal.notes { p.quiet { (t::sentence(&note.to_string())) } }
            }
        }
        Err(error) => html! {
            p.draft-total {
                (ui::badge(Tone::Bad, t::MISSES)) " "
                @if let Some(costed) = worked.proposals.first() {
                    (t::LINES_TOTAL) " " strong { (fig::fraction(&costed.proposal.total_before, 3)) }
                }
            }
            p { (t::sentence(&error.to_string())) }
        },
    }
}

/// Unit cost, margin and headroom in each pack.
fn packs(typed: &Typed, worked: &DraftWorkedOut) -> Markup {
    if worked.normal.is_err() {
        return html! {};
    }
    if worked.packs.is_empty() {
        return html! { p.quiet { (t::NO_PACK_YET) } };
    }
    let wanted = percent_of(typed.get("margin")).ok();
    html! {
        @for (pack, sheet) in &worked.packs {
            div.draft-pack {
                h3 { a href=(links::pack(&pack.code)) { (pack.code) } " " (pack.name) }
                @match sheet {
                    Ok(sheet) => { (one_pack(sheet, pack.price, wanted)) }
                    Err(error) => { p { (t::sentence(&error.to_string())) } }
                }
            }
        }
    }
}

fn one_pack(sheet: &CostSheet, price: Option<kernel::Money>, wanted: Option<Percent>) -> Markup {
    let currency = sheet.currency.code();
    let design = wanted.zip(price).and_then(|(wanted, price)| {
        let own = Earning::Margin(wanted);
        let chain = PriceChain { tax: Percent::ZERO, retailer: None, deductions: Vec::new(), own };
        design_to_cost(sheet, price, &chain).ok()
    });
    html! {
        dl.facts {
            (ui::fact(t::UNIT_COST_OF, &fig::exact_or_gap(sheet.totals.per_unit.as_ref(), 4, currency)))
            @if let Some(price) = price { (ui::fact(t::PRICE, &fig::money(price))) }
            @if let Some(margin) = sheet.margin.as_ref() {
                (ui::fact(t::EARNED, &fig::exact(&margin.earned_per_unit, 4, currency)))
                @if let Some(share) = &margin.margin { (ui::fact(t::MARGIN_OF_PRICE, &fig::fraction(share, 2))) }
            }
            @if let Some(liquid) = design.as_ref().and_then(|design| design.liquid_per_kg.as_ref()) {
                (ui::fact(t::LIQUID_MAY_COST, &fig::exact(&liquid.allowed, 4, currency)))
                @if let Some(headroom) = &liquid.headroom { (ui::fact(t::HEADROOM, &room(headroom, currency))) }
            }
        }
    }
}

/// What may be added before the limit, or by how much it is passed.
fn room(headroom: &Exact, currency: &str) -> Markup {
    html! {
        @if headroom.is_negative() {
            (ui::badge(Tone::Bad, t::HEADROOM_OVER)) " " (fig::exact(&headroom.abs(), 4, currency))
        } @else { (fig::exact(headroom, 4, currency)) }
        " " span.quiet { (t::PER) " kg" }
    }
}

fn warnings(worked: &DraftWorkedOut) -> Markup {
    if worked.breaches.is_empty() {
        return if worked.normal.is_ok() {
            html! { p { (ui::badge(Tone::Good, t::USE_LEVELS_KEPT)) } }
        } else {
            html! {}
        };
    }
    let legal = worked.breaches.iter().any(|breach| breach.kind == UseLevelKind::Legal);
    ui::notice(
        if legal { Tone::Bad } else { Tone::Care },
        &html! {
            p { strong { (t::USE_LEVELS_BROKEN) } }
            ul { @for breach in &worked.breaches { li { (super::super::formulas::breach_line(breach)) } } }
        },
    )
}

/// The ways to make the lines meet their total, each before and after.
fn put_right(worked: &DraftWorkedOut, currency: &str) -> Markup {
    if worked.proposals.is_empty() {
        return html! {};
    }
    html! {
        h3 { (t::PUT_RIGHT) }
        p.quiet { (t::PUT_RIGHT_HELP) }
        @for (at, costed) in worked.proposals.iter().enumerate() {
            @let proposal = &costed.proposal;
            div.draft-pack {
                (ui::table(&t::sentence(&proposal.kind.words()), &html! { th { (t::MATERIAL) } th.num { (t::BEFORE) } th.num { (t::AFTER) } }, &html! {
                    @for line in proposal.lines.iter().filter(|line| line.before != line.after) {
                        tr { td { (line.material.code) } td.num { (fig::fraction(&line.before, 3)) } td.num { (fig::fraction(&line.after, 3)) } }
                    }
                }))
                @if !proposal.breaches.is_empty() {
                    ul { @for breach in &proposal.breaches { li { (super::super::formulas::breach_line(breach)) } } }
                }
                p {
                    button.plain type="submit" name="do" value={ "right-" (at) } { (t::sentence(&proposal.kind.words())) }
                    " " span.quiet { (t::COSTS_THEN) " " (fig::exact(&costed.sheet.totals.per_kg, 4, currency)) }
                }
            }
        }
    }
}

/// Each line as share, as active matter and as cost.
fn lines(catalogue: &Catalogue, worked: &DraftWorkedOut) -> Markup {
    let Ok(normal) = &worked.normal else { return html! {} };
    let sheet = worked.sheet.as_ref().ok();
    let printed = sheet.and_then(|sheet| present::cost_sheet(sheet).ok());
    let currency = catalogue.settings.currency.code();
    let cost_of = |position: u32| {
        let sheet = sheet?;
        let line = sheet.lines.iter().find(|line| line.position == Some(position))?;
        line.value.as_ref()?.checked_div(&sheet.batch.good).ok()
    };
    let share_of = |position: u32| {
        let printed = printed.as_ref()?;
        printed.lines.iter().find(|line| line.position == Some(position))?.share_percent
    };
    ui::table(
        t::THE_SHEET,
        &html! {
            th { (t::MATERIAL) } th.num { (t::AS_SUPPLIED) } th.num { (t::PER_1000_G) } th.num { (t::ACTIVE) }
            th.num { (t::COST_IN_KG) } th.num { (t::SHARE_OF_COST) }
        },
        &html! {
            @for line in &normal.lines {
                tr {
                    td { @if let Some(material) = catalogue.materials.get(line.material) { span.code title=(material.name) { (material.code) } } }
                    td.num { (fig::exact_or_gap(line.share.as_ref().map(|share| share * &Exact::whole(100)).as_ref(), 3, "%")) }
                    td.num { (fig::exact_or_gap(line.share.as_ref().map(|share| share * &Exact::whole(1_000)).as_ref(), 3, "g")) }
                    td.num { @if let Some(share) = &line.active_share { (fig::fraction(share, 3)) } @else { span.quiet { "–" } } }
                    td.num { (fig::exact_or_gap(cost_of(line.position).as_ref(), 4, currency)) }
                    td.num { @if let Some(share) = share_of(line.position) { (fig::decimal(share, "%")) } }
                }
            }
        },
    )
}
