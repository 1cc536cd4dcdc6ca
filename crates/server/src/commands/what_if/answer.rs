//! The answer to a what-if, for programs and for people.

use app::ScenarioRun;
use chrono::NaiveDate;
use domain::Catalogue;
use engine::{
    EngineError,
    present::{PER_KG_PLACES, PER_UNIT_PLACES, PERCENT_PLACES},
    what_if::{CostHit, Figures, LotHit, RunEffect, RunHit, WhatIf},
};
use kernel::{Currency, Exact, Money};
use rust_decimal::Decimal;
use serde::Serialize;
use std::fmt::Write as _;

use super::more::{self, More};
use crate::{
    commands::outlook::run_name,
    output::{Amount, money},
    table::{Side, Table},
};

/// What the changes do.
#[derive(Serialize)]
pub struct Answer {
    as_of: NaiveDate,
    costed_on: NaiveDate,
    currency: Currency,
    catalogue_version: i64,
    packs: Vec<Hit>,
    formulas: Vec<Hit>,
    yearly_effect: Decimal,
    tickets: Vec<TicketRow>,
    runs: Vec<RunRow>,
    lots: Vec<LotRow>,
    #[serde(flatten)]
    more: More,
    problems: Vec<String>,
}

#[derive(Serialize)]
struct Hit {
    code: String,
    name: String,
    before: Costs,
    after: Costs,
    /// Per unit of a pack, per kg of a formula.
    change: Option<Decimal>,
    change_percent: Option<Decimal>,
    margin_change_points: Option<Decimal>,
    price_to_hold_margin: Option<Decimal>,
    units_a_year: Option<u64>,
    earned_change: Option<Decimal>,
    below_floor: Option<bool>,
    price_for_floor: Option<Decimal>,
    because: Option<String>,
    yearly_effect: Option<Decimal>,
    not_known: Vec<&'static str>,
}

#[derive(Serialize)]
struct Costs {
    per_kg: Decimal,
    per_litre: Option<Decimal>,
    per_unit: Option<Decimal>,
    per_case: Option<Decimal>,
    margin_percent: Option<Decimal>,
    complete: bool,
}

#[derive(Serialize)]
struct TicketRow {
    ticket: String,
    on: NaiveDate,
    before: Decimal,
    after: Decimal,
    change: Decimal,
}

#[derive(Serialize)]
struct RunRow {
    ticket: String,
    on: NaiveDate,
    formula: String,
    effect: RunEffect,
    short: Vec<Short>,
    other_lots: Vec<String>,
}

#[derive(Serialize)]
struct Short {
    code: String,
    name: String,
    before: Amount,
    after: Amount,
    might_help: Vec<String>,
    order_by: Option<NaiveDate>,
    too_late: Option<bool>,
}

#[derive(Serialize)]
struct LotRow {
    lot: String,
    code: String,
    stranded_before: Amount,
    stranded_after: Amount,
    value_after: Option<Money>,
    value_change: Option<Money>,
    could_be_used_in: Vec<String>,
}

/// Rounds the answer, once.
///
/// # Errors
/// [`EngineError`] when a figure is too large to print.
pub fn of(catalogue: &Catalogue, found: &WhatIf, run: Option<&ScenarioRun>) -> Result<Answer, EngineError> {
    let minor = found.currency.minor_places();
    let hits = |hits: &[CostHit]| hits.iter().map(|hit| hit_of(hit, minor)).collect::<Result<Vec<_>, _>>();
    let mut tickets = Vec::with_capacity(found.ticket_costs.len());
    for hit in &found.ticket_costs {
        let (before, after) =
            (hit.before.per_batch.round_half_even(minor)?, hit.after.per_batch.round_half_even(minor)?);
        // The difference of what is printed, so that the three figures agree.
        tickets.push(TicketRow {
            ticket: hit.number.clone(),
            on: hit.on,
            before,
            after,
            change: after - before,
        });
    }
    Ok(Answer {
        as_of: found.as_of,
        costed_on: found.costed_on,
        currency: found.currency,
        catalogue_version: found.catalogue_version,
        packs: hits(&found.packs)?,
        formulas: hits(&found.formulas)?,
        yearly_effect: found.yearly_effect.round_half_even(minor)?,
        tickets,
        runs: found.runs.iter().map(|hit| run_of(catalogue, hit)).collect(),
        lots: found.lots.iter().map(lot_of).collect(),
        more: more::of(found, run)?,
        problems: found.problems.clone(),
    })
}

pub(super) fn rounded(value: Option<&Exact>, places: u32) -> Result<Option<Decimal>, EngineError> {
    Ok(value.map(|value| value.round_half_even(places)).transpose()?)
}

fn percent(fraction: Option<&Exact>) -> Result<Option<Decimal>, EngineError> {
    rounded(fraction.map(|fraction| fraction * &Exact::whole(100)).as_ref(), PERCENT_PLACES)
}

fn hit_of(hit: &CostHit, minor: u32) -> Result<Hit, EngineError> {
    let places = if hit.pack.is_some() { PER_UNIT_PLACES } else { PER_KG_PLACES };
    Ok(Hit {
        code: hit.code.clone(),
        name: hit.name.clone(),
        before: costs_of(&hit.before)?,
        after: costs_of(&hit.after)?,
        change: rounded(hit.change.as_ref(), places)?,
        change_percent: percent(hit.change_share.as_ref())?,
        margin_change_points: percent(hit.margin_change.as_ref())?,
        price_to_hold_margin: rounded(hit.price_to_hold_margin.as_ref(), PER_UNIT_PLACES)?,
        units_a_year: hit.units_a_year,
        earned_change: rounded(hit.earned_change.as_ref(), minor)?,
        below_floor: hit.below_floor,
        price_for_floor: rounded(hit.price_for_floor.as_ref(), PER_UNIT_PLACES)?,
        because: more::because(hit),
        yearly_effect: rounded(hit.yearly_effect.as_ref(), minor)?,
        not_known: hit.not_known.iter().map(|not_known| not_known.words()).collect(),
    })
}

fn costs_of(figures: &Figures) -> Result<Costs, EngineError> {
    Ok(Costs {
        per_kg: figures.per_kg.round_half_even(PER_KG_PLACES)?,
        per_litre: rounded(figures.per_litre.as_ref(), PER_KG_PLACES)?,
        per_unit: rounded(figures.per_unit.as_ref(), PER_UNIT_PLACES)?,
        per_case: rounded(figures.per_case.as_ref(), PER_UNIT_PLACES)?,
        margin_percent: percent(figures.margin.as_ref())?,
        complete: figures.complete,
    })
}

fn run_of(catalogue: &Catalogue, hit: &RunHit) -> RunRow {
    RunRow {
        ticket: run_name(&hit.run),
        on: hit.on,
        formula: catalogue.formulas.get(hit.formula).map(|formula| formula.code.clone()).unwrap_or_default(),
        effect: hit.effect,
        short: hit
            .short
            .iter()
            .map(|short| {
                let order = short.buy.as_ref().and_then(|buy| buy.order.as_ref());
                Short {
                    code: short.material.code.clone(),
                    name: short.material.name.clone(),
                    before: short.before.into(),
                    after: short.after.into(),
                    might_help: short.might_help.iter().map(|lot| lot.number.clone()).collect(),
                    order_by: order.and_then(|order| order.order_by),
                    too_late: order.and_then(|order| order.too_late),
                }
            })
            .collect(),
        other_lots: hit.other_lots.iter().map(|other| other.material.code.clone()).collect(),
    }
}

fn lot_of(hit: &LotHit) -> LotRow {
    LotRow {
        lot: hit.number.clone(),
        code: hit.material.code.clone(),
        stranded_before: hit.stranded_before.into(),
        stranded_after: hit.stranded_after.into(),
        value_after: hit.value_after,
        value_change: hit.value_change,
        could_be_used_in: hit.could_be_used_in.clone(),
    }
}

/// The answer for people.
pub fn text(answer: &Answer) -> String {
    let mut text = format!("Costs of {}, in {}. Nothing was written.\n", answer.costed_on, answer.currency);
    more::first(&mut text, &answer.more);
    packs(&mut text, answer);
    formulas(&mut text, answer);
    tickets(&mut text, answer);
    runs(&mut text, answer);
    lots(&mut text, answer);
    more::rest(&mut text, &answer.more, answer.currency.code());
    if answer.packs.is_empty()
        && answer.formulas.is_empty()
        && answer.tickets.is_empty()
        && answer.runs.is_empty()
        && answer.lots.is_empty()
        && answer.more.hits_nothing()
    {
        text.push_str("\nThis changes nothing: no formula, pack, ticket or lot is hit.\n");
    }
    for problem in &answer.problems {
        let _ = writeln!(text, "\nNot costed: {problem}");
    }
    text
}

fn figure(figure: Option<Decimal>) -> String {
    figure.map_or_else(|| "?".to_owned(), |figure| figure.to_string())
}

pub(super) fn signed(figure: Option<Decimal>, unit: &str) -> String {
    match figure {
        None => "?".to_owned(),
        Some(figure) if figure > Decimal::ZERO => format!("+{figure}{unit}"),
        Some(figure) => format!("{figure}{unit}"),
    }
}

fn packs(text: &mut String, answer: &Answer) {
    if answer.packs.is_empty() {
        return;
    }
    let mut table = Table::new([
        ("pack", Side::Left),
        ("per unit", Side::Right),
        ("would be", Side::Right),
        ("change", Side::Right),
        ("", Side::Right),
        ("margin", Side::Right),
        ("would be", Side::Right),
        ("a year", Side::Right),
    ]);
    for hit in &answer.packs {
        table.row([
            format!("{} {}", hit.code, hit.name),
            figure(hit.before.per_unit),
            figure(hit.after.per_unit),
            signed(hit.change, ""),
            signed(hit.change_percent, " %"),
            hit.before.margin_percent.map_or_else(String::new, |margin| format!("{margin} %")),
            hit.after.margin_percent.map_or_else(String::new, |margin| format!("{margin} %")),
            signed(hit.yearly_effect, ""),
        ]);
        if !hit.not_known.is_empty() {
            table.beneath(format!("not known: {}", hit.not_known.join(", ")));
        }
        if hit.below_floor == Some(true) {
            table.beneath(format!("below the floor; {} would reach it", figure(hit.price_for_floor)));
        }
        if let Some(because) = &hit.because {
            table.beneath(because.as_str());
        }
    }
    let _ = write!(text, "\n{table}");
    let _ = writeln!(
        text,
        "All packs that can be ranked, a year: {} {}",
        signed(Some(answer.yearly_effect), ""),
        answer.currency
    );
}

fn formulas(text: &mut String, answer: &Answer) {
    if answer.formulas.is_empty() {
        return;
    }
    let mut table = Table::new([
        ("formula", Side::Left),
        ("per kg", Side::Right),
        ("would be", Side::Right),
        ("per litre", Side::Right),
        ("would be", Side::Right),
        ("change", Side::Right),
    ]);
    for hit in &answer.formulas {
        table.row([
            format!("{} {}", hit.code, hit.name),
            hit.before.per_kg.to_string(),
            hit.after.per_kg.to_string(),
            figure(hit.before.per_litre),
            figure(hit.after.per_litre),
            signed(hit.change_percent, " %"),
        ]);
        if !hit.after.complete {
            table.beneath("partial: the cost has gaps");
        }
    }
    let _ = write!(text, "\n{table}");
}

fn tickets(text: &mut String, answer: &Answer) {
    if answer.tickets.is_empty() {
        return;
    }
    let mut table = Table::new([
        ("ticket", Side::Left),
        ("day", Side::Left),
        ("the batch", Side::Right),
        ("would be", Side::Right),
        ("change", Side::Right),
    ]);
    for ticket in &answer.tickets {
        table.row([
            ticket.ticket.clone(),
            ticket.on.to_string(),
            ticket.before.to_string(),
            ticket.after.to_string(),
            signed(Some(ticket.change), ""),
        ]);
    }
    let _ = write!(text, "\n{table}");
}

fn runs(text: &mut String, answer: &Answer) {
    for run in &answer.runs {
        let _ = writeln!(text, "\n{} ({}) on {}: {}", run.ticket, run.formula, run.on, run.effect.words());
        for short in &run.short {
            let _ = write!(
                text,
                "  {} {}: short by {}, before by {}",
                short.code, short.name, short.after, short.before
            );
            match (short.too_late, short.order_by) {
                (Some(true), _) => text.push_str("; too late to buy"),
                (_, Some(by)) => {
                    let _ = write!(text, "; order by {by}");
                }
                _ => {}
            }
            if !short.might_help.is_empty() {
                let _ = write!(text, "; lots that might help: {}", short.might_help.join(", "));
            }
            text.push('\n');
        }
        if !run.other_lots.is_empty() {
            let _ = writeln!(text, "  takes other lots of {}", run.other_lots.join(", "));
        }
    }
}

fn lots(text: &mut String, answer: &Answer) {
    if answer.lots.is_empty() {
        return;
    }
    let mut table = Table::new([
        ("lot", Side::Left),
        ("material", Side::Left),
        ("stranded", Side::Right),
        ("would be", Side::Right),
        ("worth", Side::Right),
        ("could be used in", Side::Left),
    ]);
    for lot in &answer.lots {
        table.row([
            lot.lot.clone(),
            lot.code.clone(),
            lot.stranded_before.to_string(),
            lot.stranded_after.to_string(),
            lot.value_after.map_or_else(|| "not known".to_owned(), money),
            lot.could_be_used_in.join(", "),
        ]);
    }
    let _ = write!(text, "\n{table}");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn changes_show_their_sign() {
        assert_eq!(signed(Some(Decimal::new(125, 2)), " %"), "+1.25 %");
        assert_eq!(signed(Some(Decimal::new(-125, 2)), ""), "-1.25");
        assert_eq!(signed(Some(Decimal::ZERO), ""), "0");
        assert_eq!(signed(None, ""), "?");
    }
}
