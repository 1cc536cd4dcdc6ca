//! What of an answer is kept, so that a scenario run again can say what changed since. Figures are rounded as they are printed: what
//! prints alike is alike.

use chrono::NaiveDate;
use kernel::{AmountError, Currency, Exact};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

use super::{CostHit, WhatIf};
use crate::{planned::RunRef, present::PER_KG_PLACES};

/// The figures of an answer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Remembered {
    /// The day asked.
    pub as_of: NaiveDate,
    /// The catalogue's version.
    pub catalogue_version: i64,
    /// The house's currency.
    pub currency: Currency,
    /// The yearly effect, to the currency's minor unit.
    pub yearly_effect: Decimal,
    /// Formulas and packs, by code.
    pub rows: BTreeMap<String, RememberedRow>,
    /// What happens to runs: the ticket's number, its day and what happens in words.
    pub runs: BTreeMap<String, String>,
    /// What of lots would be stranded, by number.
    pub stranded: BTreeMap<String, String>,
    /// Batches that hold a lot called back, by ticket number.
    pub batches: BTreeMap<String, String>,
}

/// The figures of one formula or pack: per kg or unit, to 6 places.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct RememberedRow {
    /// As it was.
    pub before: Option<Decimal>,
    /// As it would be.
    pub after: Option<Decimal>,
    /// A year, to the currency's minor unit.
    pub yearly_effect: Option<Decimal>,
}

/// One thing that is another than when the scenario was kept.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Since {
    /// What: `cost of HW-500 as it is`, `yearly effect`, `ticket T-12`.
    pub what: String,
    /// When it was kept; `None` when it was not hit then.
    pub was: Option<String>,
    /// Now; `None` when it is no longer hit.
    pub is: Option<String>,
}

impl Remembered {
    /// What is kept of an answer.
    ///
    /// # Errors
    /// [`AmountError`] for a figure too large to print.
    pub fn of(answer: &WhatIf) -> Result<Self, AmountError> {
        let minor = answer.currency.minor_places();
        let rounded =
            |value: Option<&Exact>, places| value.map(|value| value.round_half_even(places)).transpose();
        let mut rows = BTreeMap::new();
        for hit in answer.formulas.iter().chain(&answer.packs) {
            let is_pack = hit.pack.is_some();
            let side = |hit: &CostHit, after: bool| {
                let figures = if after { &hit.after } else { &hit.before };
                let cost = if is_pack { figures.per_unit.clone() } else { Some(figures.per_kg.clone()) };
                cost.filter(|_| figures.complete)
            };
            rows.insert(
                hit.code.clone(),
                RememberedRow {
                    before: rounded(side(hit, false).as_ref(), PER_KG_PLACES)?,
                    after: rounded(side(hit, true).as_ref(), PER_KG_PLACES)?,
                    yearly_effect: rounded(hit.yearly_effect.as_ref(), minor)?,
                },
            );
        }
        let runs = answer.runs.iter().map(|hit| {
            let name = match &hit.run {
                RunRef::Ticket { number, .. } => number.clone(),
                RunRef::Assumed { change } => format!("the run of change {change}"),
                RunRef::Asked => "the run".to_owned(),
            };
            let short: Vec<String> = hit
                .short
                .iter()
                .filter(|short| short.after.is_positive())
                .map(|short| format!("{} of {}", short.after, short.material.code))
                .collect();
            let short =
                if short.is_empty() { String::new() } else { format!(", {} short", short.join(", ")) };
            (name, format!("{} on {}{short}", hit.effect.words(), hit.on))
        });
        let stranded = answer.lots.iter().map(|lot| (lot.number.clone(), lot.stranded_after.to_string()));
        let batches = answer.recalls.iter().flat_map(|recall| &recall.batches).map(|batch| {
            let lots: Vec<&str> = batch.lots.iter().map(|lot| lot.number.as_str()).collect();
            (batch.ticket_number.clone(), lots.join(", "))
        });
        Ok(Self {
            as_of: answer.as_of,
            catalogue_version: answer.catalogue_version,
            currency: answer.currency,
            yearly_effect: answer.yearly_effect.round_half_even(minor)?,
            rows,
            runs: runs.collect(),
            stranded: stranded.collect(),
            batches: batches.collect(),
        })
    }

    /// What is another now than it was.
    pub fn since(&self, was: &Self) -> Vec<Since> {
        let mut found = Vec::new();
        let mut differ = |what: String, was: Option<String>, is: Option<String>| {
            if was != is {
                found.push(Since { what, was, is });
            }
        };
        let money = |figure: &Decimal| Some(format!("{} {}", figure.normalize(), self.currency));
        differ("yearly effect".to_owned(), money(&was.yearly_effect), money(&self.yearly_effect));
        for code in keys(&was.rows, &self.rows) {
            let of = |rows: &BTreeMap<String, RememberedRow>, figure: Figure| {
                let row = rows.get(code)?;
                Some(
                    figure(row)
                        .map_or_else(|| "not known".to_owned(), |figure| figure.normalize().to_string()),
                )
            };
            let figures: [(&str, Figure); 3] = [
                ("cost as it is", |row| row.before),
                ("cost as it would be", |row| row.after),
                ("yearly effect", |row| row.yearly_effect),
            ];
            for (what, figure) in figures {
                differ(format!("{what} of {code}"), of(&was.rows, figure), of(&self.rows, figure));
            }
        }
        for (what, was, is) in [
            ("ticket", &was.runs, &self.runs),
            ("stranded of lot", &was.stranded, &self.stranded),
            ("batch that holds a lot called back,", &was.batches, &self.batches),
        ] {
            for key in keys(was, is) {
                differ(format!("{what} {key}"), was.get(key).cloned(), is.get(key).cloned());
            }
        }
        found
    }
}

/// One figure of a row.
type Figure = fn(&RememberedRow) -> Option<Decimal>;

/// The keys of either, each once, in order.
fn keys<'k, V>(a: &'k BTreeMap<String, V>, b: &'k BTreeMap<String, V>) -> Vec<&'k String> {
    let mut keys: Vec<&String> = a.keys().chain(b.keys()).collect();
    keys.sort();
    keys.dedup();
    keys
}
