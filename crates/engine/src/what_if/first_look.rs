//! What to look at first, in the order people ask: what is unsafe or unsaleable, what cannot be made this week, what loses money, and
//! what to do by which day.

use chrono::{Days, NaiveDate};
use kernel::Exact;
use serde::Serialize;

use super::{CostHit, RunEffect, RunHit, WhatIf};
use crate::{
    planned::RunRef,
    words::{figure, money_change},
};

/// How urgent something is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Urgency {
    /// Not to be used or sold.
    UnsafeOrUnsaleable,
    /// A run of the coming seven days comes up short.
    CannotBeMadeThisWeek,
    /// Sold below cost or below the margin it should leave, or dearer.
    LosesMoney,
    /// Something to do by a day.
    ToDo,
}

impl Urgency {
    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::UnsafeOrUnsaleable => "unsafe or unsaleable",
            Self::CannotBeMadeThisWeek => "cannot be made this week",
            Self::LosesMoney => "loses money",
            Self::ToDo => "to do",
        }
    }
}

/// One thing to look at.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FirstLook {
    /// How urgent it is.
    pub urgency: Urgency,
    /// The day it is about, or by which it is to be done.
    pub by: Option<NaiveDate>,
    /// What it is, in a sentence.
    pub says: String,
}

/// Rows of one urgency at most: it is a first look.
const ROWS_MAX: usize = 20;

/// What to look at first.
pub(super) fn first_look(answer: &WhatIf) -> Vec<FirstLook> {
    let mut found = Vec::new();
    let take = |found: &mut Vec<FirstLook>, urgency, mut rows: Vec<(Option<NaiveDate>, String)>| {
        if urgency != Urgency::LosesMoney {
            rows.sort_by_key(|(by, _)| (by.is_none(), *by));
        }
        let rows = rows.into_iter().take(ROWS_MAX);
        found.extend(rows.map(|(by, says)| FirstLook { urgency, by, says }));
    };
    take(&mut found, Urgency::UnsafeOrUnsaleable, unsaleable(answer));
    take(&mut found, Urgency::CannotBeMadeThisWeek, cannot_be_made(answer));
    take(&mut found, Urgency::LosesMoney, loses_money(answer));
    take(&mut found, Urgency::ToDo, to_do(answer));
    found
}

fn unsaleable(answer: &WhatIf) -> Vec<(Option<NaiveDate>, String)> {
    let mut rows = Vec::new();
    for recall in &answer.recalls {
        let there = recall.on_hand.filter(|there| there.is_positive());
        let there = there.map_or_else(|| "none is left".to_owned(), |there| format!("{there} on the shelf"));
        rows.push((
            None,
            format!(
                "lot {} is called back: {there}, {} batches hold it",
                recall.number,
                recall.batches.len()
            ),
        ));
        for batch in &recall.batches {
            let there: Vec<String> = batch
                .lots
                .iter()
                .filter_map(|lot| {
                    let there = lot.on_hand.filter(|there| there.is_positive())?;
                    Some(format!("{there} of lot {} on the shelf", lot.number))
                })
                .collect();
            let there = if there.is_empty() { "nothing on the shelf".to_owned() } else { there.join(", ") };
            rows.push((
                batch.made_on,
                format!(
                    "ticket {} holds {} kg of lot {}: {there}",
                    batch.ticket_number,
                    figure(&batch.holds, 6),
                    recall.number
                ),
            ));
        }
    }
    rows
}

fn cannot_be_made(answer: &WhatIf) -> Vec<(Option<NaiveDate>, String)> {
    let week = answer.as_of.checked_add_days(Days::new(7)).unwrap_or(NaiveDate::MAX);
    let short = answer
        .runs
        .iter()
        .filter(|run| run.on <= week && matches!(run.effect, RunEffect::Short | RunEffect::CoverTooLate));
    short.map(|run| (Some(run.on), format!("{}: {}", name(run), missing(run)))).collect()
}

fn name(run: &RunHit) -> String {
    match &run.run {
        RunRef::Ticket { number, .. } => format!("ticket {number}"),
        RunRef::Assumed { change } => format!("the run of change {change}"),
        RunRef::Asked => "the run".to_owned(),
    }
}

fn missing(run: &RunHit) -> String {
    let missing: Vec<String> = run
        .short
        .iter()
        .filter(|short| short.after.is_positive())
        .map(|short| format!("{} of {} short", short.after, short.material.code))
        .collect();
    missing.join(", ")
}

fn loses_money(answer: &WhatIf) -> Vec<(Option<NaiveDate>, String)> {
    let margin = |hit: &CostHit| hit.after.margin.as_ref().is_some_and(Exact::is_negative);
    let mut rows: Vec<(u8, &CostHit, &str)> = Vec::new();
    for hit in &answer.packs {
        if margin(hit) {
            rows.push((0, hit, "sold below what it costs"));
        } else if hit.below_floor == Some(true) {
            let better = hit.change.as_ref().is_some_and(Exact::is_negative);
            let what = if better {
                "cheaper, and still below the margin it should leave"
            } else {
                "below the margin it should leave"
            };
            rows.push((1, hit, what));
        } else if hit.change.as_ref().is_some_and(Exact::is_positive) {
            rows.push((2, hit, "dearer"));
        }
    }
    // Within each they stay in the order of money a year.
    rows.sort_by_key(|(rank, ..)| *rank);
    let said = |(_, hit, what): (u8, &CostHit, &str)| {
        let a_year = hit.yearly_effect.as_ref().map_or_else(
            || match hit.not_known.first() {
                Some(why) => format!("cannot be ranked: {}", why.words()),
                None => "cannot be ranked".to_owned(),
            },
            |effect| format!("costs change by {} a year", money_change(effect, answer.currency)),
        );
        (None, format!("{}: {what}, {a_year}", hit.code))
    };
    rows.into_iter().map(said).collect()
}

fn to_do(answer: &WhatIf) -> Vec<(Option<NaiveDate>, String)> {
    let mut rows = Vec::new();
    for run in &answer.runs {
        for short in run.short.iter().filter(|short| short.after.is_positive()) {
            let Some(order) = short.buy.as_ref().and_then(|buy| buy.order.as_ref()) else { continue };
            let Some(by) = order.order_by else { continue };
            rows.push((
                Some(by),
                format!(
                    "order {} of {} from {} for {}",
                    order.quantity,
                    short.material.code,
                    order.supplier_name,
                    name(run)
                ),
            ));
        }
    }
    for ending in &answer.endings {
        let Some(buy) = ending.last_buy.as_ref().filter(|buy| buy.packs > 0) else { continue };
        rows.push((
            Some(ending.last_order),
            format!(
                "buy {} of {} from {} while it lasts; that reaches to {}",
                ending.amount(&buy.quantity),
                ending.material.code,
                ending.supplier_name,
                buy.reaches
            ),
        ));
    }
    for lot in answer.lots.iter().filter(|lot| lot.stranded_after.raw() > lot.stranded_before.raw()) {
        let levers = lot.could_be_used_in.join(", ");
        let levers = if levers.is_empty() {
            "return or sell it".to_owned()
        } else {
            format!("could go into {levers}")
        };
        rows.push((None, format!("{} of lot {} is stranded: {levers}", lot.stranded_after, lot.number)));
    }
    rows
}
