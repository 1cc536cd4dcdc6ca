//! The rest of the answer to a what-if: what to look at first, shares of changes, from when costs move, lots called back, suppliers that
//! end; and what changed since a scenario was kept.

use app::ScenarioRun;
use chrono::NaiveDate;
use engine::{
    EngineError,
    present::AMOUNT_PLACES,
    what_if::{CostHit, FirstLook, Since, WhatIf},
};
use rust_decimal::Decimal;
use serde::Serialize;
use std::fmt::Write as _;

use super::answer::{rounded, signed};

/// What stands beside costs, runs and lots.
#[derive(Serialize)]
pub struct More {
    first_look: Vec<FirstLook>,
    /// What each change does to the yearly effect, in their order.
    shares: Vec<Decimal>,
    first_year_effect: Option<Decimal>,
    materials: Vec<MaterialRow>,
    recalls: Vec<RecallRow>,
    endings: Vec<EndingRow>,
    #[serde(skip_serializing_if = "Option::is_none")]
    kept: Option<KeptRow>,
}

#[derive(Serialize)]
struct MaterialRow {
    code: String,
    moves_on: NaiveDate,
    days: u32,
    cover: &'static str,
}

#[derive(Serialize)]
struct RecallRow {
    lot: String,
    batches: Vec<BatchRow>,
}

#[derive(Serialize)]
struct BatchRow {
    ticket: String,
    made_on: Option<NaiveDate>,
    holds_kg: Decimal,
    by_way_of: Vec<String>,
    lots: Vec<String>,
}

#[derive(Serialize)]
struct EndingRow {
    supplier: String,
    code: String,
    last_order: NaiveDate,
    formulas: Vec<String>,
    packs: Vec<String>,
    alternates: Vec<String>,
    last_buy: Option<String>,
    no_last_buy: Option<String>,
}

#[derive(Serialize)]
struct KeptRow {
    name: String,
    kept_on: NaiveDate,
    kept_by: String,
    since: Vec<Since>,
}

impl More {
    /// Whether nothing stands here but what is said of costs, runs and lots.
    pub fn hits_nothing(&self) -> bool {
        self.recalls.is_empty() && self.endings.is_empty()
    }
}

/// Rounds the rest of the answer, once.
///
/// # Errors
/// [`EngineError`] when a figure is too large to print.
pub fn of(found: &WhatIf, run: Option<&ScenarioRun>) -> Result<More, EngineError> {
    let minor = found.currency.minor_places();
    let mut shares = Vec::with_capacity(found.shares.len());
    for share in &found.shares {
        shares.push(share.yearly_effect.round_half_even(minor)?);
    }
    let mut recalls = Vec::with_capacity(found.recalls.len());
    for recall in &found.recalls {
        let mut batches = Vec::with_capacity(recall.batches.len());
        for batch in &recall.batches {
            batches.push(BatchRow {
                ticket: batch.ticket_number.clone(),
                made_on: batch.made_on,
                holds_kg: batch.holds.round_half_even(AMOUNT_PLACES)?.normalize(),
                by_way_of: batch.by_way_of.clone(),
                lots: batch.lots.iter().map(|lot| lot.number.clone()).collect(),
            });
        }
        recalls.push(RecallRow { lot: recall.number.clone(), batches });
    }
    let mut endings = Vec::with_capacity(found.endings.len());
    for ending in &found.endings {
        let last_buy = ending.last_buy.as_ref().map(|buy| {
            let quantity = ending.amount(&buy.quantity);
            let cost = buy.cost.round_half_even(minor)?;
            Ok::<_, EngineError>(format!(
                "{quantity} in {} packs by {} for {cost} {}; that reaches to {}",
                buy.packs, buy.reference, found.currency, buy.reaches
            ))
        });
        endings.push(EndingRow {
            supplier: ending.supplier_name.clone(),
            code: ending.material.code.clone(),
            last_order: ending.last_order,
            formulas: ending.formulas.clone(),
            packs: ending.packs.clone(),
            alternates: ending
                .alternates
                .iter()
                .map(|other| {
                    let who = other.supplier.as_deref().unwrap_or("nobody");
                    format!("{} from {who}: {}", other.material.code, other.state)
                })
                .collect(),
            last_buy: last_buy.transpose()?,
            no_last_buy: ending.no_last_buy.clone(),
        });
    }
    Ok(More {
        first_look: found.first_look.clone(),
        shares,
        first_year_effect: rounded(found.first_year_effect.as_ref(), minor)?,
        materials: found
            .materials
            .iter()
            .map(|row| MaterialRow {
                code: row.material.code.clone(),
                moves_on: row.moves_on,
                days: row.days,
                cover: row.cover_from.words(),
            })
            .collect(),
        recalls,
        endings,
        kept: run.map(|run| KeptRow {
            name: run.kept.name.clone(),
            kept_on: run.kept.kept_at.date_naive(),
            kept_by: run.kept.kept_by.clone(),
            since: run.since.clone(),
        }),
    })
}

/// Why a pack or formula is hit, in one line; `None` when there is nothing to say.
pub fn because(hit: &CostHit) -> Option<String> {
    (!hit.because.is_empty()).then(|| format!("because {}", hit.because.join("; ")))
}

/// What stands before everything else, for people.
pub fn first(text: &mut String, more: &More) {
    let mut urgency = None;
    for look in &more.first_look {
        if urgency != Some(look.urgency) {
            let _ = writeln!(text, "\nFirst, {}:", look.urgency.words());
            urgency = Some(look.urgency);
        }
        let by = look.by.map_or_else(String::new, |by| format!("{by}: "));
        let _ = writeln!(text, "  - {by}{}", look.says);
    }
}

/// The rest, for people.
pub fn rest(text: &mut String, more: &More, currency: &str) {
    if more.shares.len() > 1 {
        text.push_str("\nEach change, laid over those before it, a year:\n");
        for (share, number) in more.shares.iter().zip(1..) {
            let _ = writeln!(text, "  {number}. {} {currency}", signed(Some(*share), ""));
        }
    }
    if !more.materials.is_empty() {
        text.push_str("\nWhat is there at the old price is used first:\n");
        for row in &more.materials {
            let _ =
                writeln!(text, "  {} moves on {} ({} days, {})", row.code, row.moves_on, row.days, row.cover);
        }
        if let Some(effect) = more.first_year_effect {
            let _ = writeln!(text, "  In the first year: {} {currency}", signed(Some(effect), ""));
        }
    }
    for recall in &more.recalls {
        let _ = writeln!(text, "\nLot {} stands in:", recall.lot);
        for batch in &recall.batches {
            let made = batch.made_on.map_or_else(|| "being made".to_owned(), |on| format!("made {on}"));
            let _ = writeln!(
                text,
                "  {} ({made}): {} kg by way of {}; lots {}",
                batch.ticket,
                batch.holds_kg,
                batch.by_way_of.join(", "),
                batch.lots.join(", ")
            );
        }
    }
    for ending in &more.endings {
        let _ = writeln!(
            text,
            "\n{} ends {} on {}; formulas {}; packs {}",
            ending.supplier,
            ending.code,
            ending.last_order,
            ending.formulas.join(", "),
            ending.packs.join(", ")
        );
        for other in &ending.alternates {
            let _ = writeln!(text, "  instead: {other}");
        }
        if let Some(buy) = &ending.last_buy {
            let _ = writeln!(text, "  last buy: {buy}");
        }
        if let Some(why) = &ending.no_last_buy {
            let _ = writeln!(text, "  no last buy: {why}");
        }
    }
    if let Some(kept) = &more.kept {
        let _ = writeln!(text, "\nSince “{}” was kept on {} by {}:", kept.name, kept.kept_on, kept.kept_by);
        if kept.since.is_empty() {
            text.push_str("  nothing has changed\n");
        }
        for since in &kept.since {
            let side = |side: &Option<String>| side.clone().unwrap_or_else(|| "not hit".to_owned());
            let _ = writeln!(text, "  {}: {} → {}", since.what, side(&since.was), side(&since.is));
        }
    }
}
