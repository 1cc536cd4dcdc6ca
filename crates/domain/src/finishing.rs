//! The end of a batch: checks with their limits, what every kilogram became, and what of it nobody can name.

use chrono::{DateTime, NaiveDate, Utc};
use kernel::{
    AmountError, Count, Exact, Mass, Percent,
    ids::{BatchCheckId, FormulaId, MaterialId, TicketId},
};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::{text::code_key, tickets::Ticket};

/// What a batch of a formula is examined for, and between which limits. Entries are history: a later one of the same name holds
/// instead, for tickets written after it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CheckLimit {
    /// The formula.
    pub formula: FormulaId,
    /// pH, viscosity, appearance.
    pub name: String,
    /// The least a figure may be.
    pub lower: Option<Decimal>,
    /// The most.
    pub upper: Option<Decimal>,
    /// The unit of the figure.
    pub unit: Option<String>,
    /// How it is looked at: instrument, temperature, standard.
    pub method: Option<String>,
    /// Whether it is still asked for; an entry that is not ends the earlier one.
    pub asked: bool,
    /// Who approved it.
    pub approved_by: String,
    /// When.
    pub approved_at: DateTime<Utc>,
}

/// A result entered on a ticket. Nothing is overwritten: a check made again is another result, and the latest counts.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct BatchCheck {
    /// Identity.
    pub id: BatchCheckId,
    /// The ticket.
    pub ticket: TicketId,
    /// pH, viscosity, appearance.
    pub name: String,
    /// The result: a figure.
    pub figure: Option<Decimal>,
    /// Or words, of what has no figure; then `passed` says how it was judged.
    pub words: Option<String>,
    /// Whether it was met: by its limits, or as judged.
    pub passed: bool,
    /// The limits it was held against.
    pub lower: Option<Decimal>,
    /// The limits it was held against.
    pub upper: Option<Decimal>,
    /// The unit of the figure.
    pub unit: Option<String>,
    /// With what it was measured.
    pub instrument: Option<String>,
    /// Why a result that was not met is accepted all the same, by somebody who may release and reject.
    pub accepted: Option<String>,
    /// Who.
    pub by: String,
    /// When.
    pub at: DateTime<Utc>,
}

impl CheckLimit {
    /// Whether a figure lies within the limits; they belong to it.
    pub fn holds(&self, figure: Decimal) -> bool {
        self.lower.is_none_or(|lower| figure >= lower) && self.upper.is_none_or(|upper| figure <= upper)
    }

    /// The limits for people: "5.75 to 6.25", "at most 8".
    pub fn words(&self) -> String {
        let unit = self.unit.as_deref().map(|unit| format!(" {unit}")).unwrap_or_default();
        match (self.lower, self.upper) {
            (Some(lower), Some(upper)) => format!("{lower} to {upper}{unit}"),
            (Some(lower), None) => format!("at least {lower}{unit}"),
            (None, Some(upper)) => format!("at most {upper}{unit}"),
            (None, None) => "as judged".to_owned(),
        }
    }
}

/// The checks a ticket has to meet: the latest entry of each name that was approved when the ticket was written.
pub fn limits_of<'l>(limits: &'l [CheckLimit], ticket: &Ticket) -> Vec<&'l CheckLimit> {
    let mut found: Vec<&CheckLimit> = Vec::new();
    for limit in limits.iter().filter(|l| l.formula == ticket.formula && l.approved_at <= ticket.written_at) {
        let same = |known: &&mut &CheckLimit| code_key(&known.name) == code_key(&limit.name);
        match found.iter_mut().find(same) {
            Some(known) if known.approved_at <= limit.approved_at => *known = limit,
            Some(_) => {}
            None => found.push(limit),
        }
    }
    found.retain(|limit| limit.asked);
    found
}

/// What stands against passing a batch on: checks that are missing, and those whose latest result was neither met nor accepted.
pub fn checks_open(limits: &[&CheckLimit], results: &[BatchCheck]) -> Vec<String> {
    let latest = |name: &str| {
        results.iter().filter(|result| code_key(&result.name) == code_key(name)).max_by_key(|r| (r.at, r.id))
    };
    let mut open = Vec::new();
    for limit in limits {
        match latest(&limit.name) {
            None => open.push(format!("{} ({}) was not looked at", limit.name, limit.words())),
            Some(result) if result.passed || result.accepted.is_some() => {}
            Some(result) => {
                open.push(format!("{} is {}, and should be {}", limit.name, result.shown(), limit.words()));
            }
        }
    }
    let asked = |name: &str| limits.iter().any(|limit| code_key(&limit.name) == code_key(name));
    for result in results.iter().filter(|result| !asked(&result.name)) {
        let is_latest = latest(&result.name).is_some_and(|found| found.id == result.id);
        if is_latest && !result.passed && result.accepted.is_none() {
            open.push(format!("{} is {}", result.name, result.shown()));
        }
    }
    open
}

impl BatchCheck {
    /// The result for people.
    pub fn shown(&self) -> String {
        let unit = self.unit.as_deref().map(|unit| format!(" {unit}")).unwrap_or_default();
        match (self.figure, &self.words) {
            (Some(figure), _) => format!("{figure}{unit}"),
            (None, Some(words)) => words.clone(),
            (None, None) => "nothing".to_owned(),
        }
    }
}

/// What became of material that did not go on: every kilogram has one of these, or is a lot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Bucket {
    /// Stayed in vessel, pump, hoses and filters.
    Heel,
    /// Left as vapour.
    Evaporated,
    /// Taken to be examined.
    Samples,
    /// Kept back as samples of the batch.
    Retains,
    /// Run through hoses and filler before the first good unit.
    Purge,
    /// Spilled or thrown away.
    Waste,
}

impl Bucket {
    /// All of them.
    pub const ALL: [Self; 6] =
        [Self::Heel, Self::Evaporated, Self::Samples, Self::Retains, Self::Purge, Self::Waste];

    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Heel => "heel",
            Self::Evaporated => "evaporated",
            Self::Samples => "samples",
            Self::Retains => "retains",
            Self::Purge => "purge",
            Self::Waste => "waste",
        }
    }

    /// Whether it is taken to be looked at, and not lost.
    pub const fn is_sample(self) -> bool {
        matches!(self, Self::Samples | Self::Retains)
    }
}

/// When something did not go on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stage {
    /// Between charging and the bulk.
    Making,
    /// Between the bulk and the last unit.
    Filling,
}

/// An amount that did not go on, by its name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Lost {
    /// When.
    pub stage: Stage,
    /// What became of it.
    pub bucket: Bucket,
    /// How much.
    pub amount: Mass,
    /// Who entered it.
    pub by: String,
    /// When it was entered.
    pub at: DateTime<Utc>,
}

/// What is more to be known of a filling than its pack, its units and its lot.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FillingRecord {
    /// Which filling of the ticket: 1, 2, 3 …
    pub position: u32,
    /// What left the bulk for it.
    pub drawn: Mass,
    /// Units filled and not good.
    pub rejected: Count,
    /// The business day.
    pub on: NaiveDate,
    /// Who.
    pub by: String,
    /// When it was entered.
    pub at: DateTime<Utc>,
    /// Its components, each reconciled.
    pub components: Vec<ComponentUse>,
}

/// What became of the pieces of a component on one filling.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ComponentUse {
    /// The component.
    pub material: MaterialId,
    /// Brought to the line; `None` where nobody counted, and what was used is taken for it.
    pub issued: Option<Count>,
    /// On good and rejected units.
    pub used: Count,
    /// Spoiled on the line.
    pub spoiled: Count,
    /// Taken back to its lot.
    pub returned: Count,
}

impl ComponentUse {
    /// Pieces that are neither used, spoiled nor returned, thousandths; below nought when there are more than were brought. Nought where
    /// nobody counted.
    pub fn missing(&self) -> i64 {
        let gone = self.used.thousandths().saturating_add(self.spoiled.thousandths());
        match self.issued {
            None => 0,
            Some(issued) => {
                issued.thousandths().saturating_sub(gone).saturating_sub(self.returned.thousandths())
            }
        }
    }
}

/// A ticket's account: what went in, what every kilogram became, and what nobody can name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Account {
    /// What was charged, with everything added until a result was reached.
    pub charged: Mass,
    /// What came out as bulk.
    pub bulk: Mass,
    /// What did not go on, by its name.
    pub lost: Vec<Lost>,
    /// What left the bulk into units.
    pub filled: Mass,
    /// Bulk that is still there.
    pub left: Mass,
}

impl Account {
    fn lost_in(&self, stage: Stage) -> i64 {
        self.lost
            .iter()
            .filter(|lost| lost.stage == stage)
            .fold(0_i64, |sum, lost| sum.saturating_add(lost.amount.micrograms()))
    }

    /// Charged, and neither bulk nor named; below nought when more came out than is explained.
    pub fn unaccounted_in_making(&self) -> Mass {
        let named = self.bulk.micrograms().saturating_add(self.lost_in(Stage::Making));
        Mass::from_micrograms(self.charged.micrograms().saturating_sub(named))
    }

    /// Bulk that is neither filled, named nor left.
    pub fn unaccounted_in_filling(&self) -> Mass {
        let named = self
            .filled
            .micrograms()
            .saturating_add(self.lost_in(Stage::Filling))
            .saturating_add(self.left.micrograms());
        Mass::from_micrograms(self.bulk.micrograms().saturating_sub(named))
    }

    /// Both together.
    pub fn unaccounted(&self) -> Mass {
        let (making, filling) = (self.unaccounted_in_making(), self.unaccounted_in_filling());
        Mass::from_micrograms(making.micrograms().saturating_add(filling.micrograms()))
    }

    /// A share of what was charged, %; `None` when nothing was.
    pub fn percent_of_charged(&self, amount: Mass) -> Option<Exact> {
        let share = amount.to_exact().checked_div(&self.charged.to_exact()).ok()?;
        Some(share * Exact::whole(100))
    }

    /// The first part that is beyond its limit, with that limit: of making, then of all.
    ///
    /// # Errors
    /// [`AmountError`] when a limit is more than can be kept.
    pub fn beyond(&self, making: Percent, all: Percent) -> Result<Option<(Mass, Mass)>, AmountError> {
        for (found, limit) in [(self.unaccounted_in_making(), making), (self.unaccounted(), all)] {
            let limit = Mass::from_exact_down(&(self.charged.to_exact() * limit.fraction()))?;
            if found.micrograms().saturating_abs() > limit.micrograms() {
                return Ok(Some((found, limit)));
            }
        }
        Ok(None)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn kg(text: &str) -> Mass {
        Mass::from_kg(kernel::parse_decimal(text, kernel::DecimalMark::Point).unwrap()).unwrap()
    }

    fn lost(stage: Stage, bucket: Bucket, amount: &str) -> Lost {
        Lost { stage, bucket, amount: kg(amount), by: String::new(), at: DateTime::UNIX_EPOCH }
    }

    fn percent(text: &str) -> Percent {
        Percent::from_percent(text.parse().unwrap()).unwrap()
    }

    /// A run of 200 kg as a workshop would write it up (common practice, no source): 200.85 kg charged with the trims, 195.40 discharged,
    /// 3.90 of heel, 0.70 evaporated; 372 bottles of 520.9 g, 0.50 of samples, 0.90 of purge, 0.15 left.
    #[test]
    fn a_run_accounted_for() {
        let account = Account {
            charged: kg("200.85"),
            bulk: kg("195.40"),
            lost: vec![
                lost(Stage::Making, Bucket::Heel, "3.90"),
                lost(Stage::Making, Bucket::Evaporated, "0.70"),
                lost(Stage::Filling, Bucket::Samples, "0.50"),
                lost(Stage::Filling, Bucket::Purge, "0.90"),
            ],
            filled: kg("193.775"),
            left: kg("0.15"),
        };
        assert_eq!(account.unaccounted_in_making(), kg("0.85"));
        assert_eq!(account.unaccounted_in_filling(), kg("0.075"));
        assert_eq!(account.unaccounted(), kg("0.925"));
        let share = account.percent_of_charged(account.unaccounted()).unwrap();
        assert_eq!(share.round_half_even(2).unwrap().to_string(), "0.46");
        assert_eq!(account.beyond(percent("2"), percent("3")), Ok(None));
        assert_eq!(account.beyond(percent("0.4"), percent("3")), Ok(Some((kg("0.85"), kg("0.8034")))));
        // More than was charged is looked into as hard as a loss.
        let gain = Account { bulk: kg("204"), filled: kg("204"), left: kg("0"), lost: vec![], ..account };
        assert_eq!(gain.beyond(percent("1"), percent("3")), Ok(Some((kg("-3.15"), kg("2.0085")))));
    }

    #[test]
    fn the_latest_result_counts() {
        let formula = FormulaId::new();
        let limit = CheckLimit {
            formula,
            name: "pH".to_owned(),
            lower: Some("5.75".parse().unwrap()),
            upper: Some("6.25".parse().unwrap()),
            unit: None,
            method: None,
            asked: true,
            approved_by: "A. Penhallow".to_owned(),
            approved_at: DateTime::UNIX_EPOCH,
        };
        assert_eq!(limit.words(), "5.75 to 6.25");
        assert!(limit.holds("6.25".parse().unwrap()) && !limit.holds("6.26".parse().unwrap()));
        let result = |name: &str, figure: &str, seconds| {
            let figure: Decimal = figure.parse().unwrap();
            BatchCheck {
                id: BatchCheckId::new(),
                ticket: TicketId::new(),
                name: name.to_owned(),
                figure: Some(figure),
                words: None,
                passed: limit.holds(figure),
                lower: limit.lower,
                upper: limit.upper,
                unit: None,
                instrument: None,
                accepted: None,
                by: "A. Penhallow".to_owned(),
                at: DateTime::from_timestamp(seconds, 0).unwrap(),
            }
        };
        let open = |results: &[BatchCheck]| checks_open(&[&limit], results);
        assert_eq!(open(&[]), ["pH (5.75 to 6.25) was not looked at"]);
        assert_eq!(open(&[result("PH", "5.1", 1)]), ["pH is 5.1, and should be 5.75 to 6.25"]);
        assert_eq!(open(&[result("pH", "5.1", 1), result("pH", "6.0", 2)]), Vec::<String>::new());
        assert_eq!(open(&[result("pH", "6.0", 1), result("pH", "5.1", 2)]).len(), 1);
        let accepted =
            BatchCheck { accepted: Some("rinse-off, assessed".to_owned()), ..result("pH", "5.7", 3) };
        assert_eq!(open(&[accepted]), Vec::<String>::new());
        // What nobody asked for and was missed still stands in the way.
        let other = BatchCheck { passed: false, ..result("odour", "1", 4) };
        assert_eq!(open(&[result("pH", "6", 1), other]), ["odour is 1"]);
    }

    #[test]
    fn labels_are_counted() {
        let pieces = |n: i64| Count::from_thousandths(n * 1_000);
        let labels = ComponentUse {
            material: MaterialId::new(),
            issued: Some(pieces(400)),
            used: pieces(372),
            spoiled: pieces(6),
            returned: pieces(20),
        };
        assert_eq!(labels.missing(), 2_000);
        assert_eq!(ComponentUse { issued: None, ..labels }.missing(), 0);
    }

    proptest! {
        /// Whatever is named, charged = bulk + named + unaccounted, and bulk = filled + named + left + unaccounted.
        #[test]
        fn every_kilogram_is_somewhere(
            charged in 1_i64..1_000_000_000,
            bulk in 0_i64..1_000_000_000,
            amounts in prop::collection::vec((any::<bool>(), 0_usize..6, 0_i64..1_000_000), 0..10),
            filled in 0_i64..1_000_000_000,
            left in 0_i64..1_000_000_000,
        ) {
            let raw = Mass::from_micrograms;
            let lost: Vec<Lost> = amounts
                .iter()
                .map(|(making, bucket, amount)| Lost {
                    stage: if *making { Stage::Making } else { Stage::Filling },
                    bucket: Bucket::ALL[*bucket],
                    amount: raw(*amount),
                    by: String::new(),
                    at: DateTime::UNIX_EPOCH,
                })
                .collect();
            let named: i64 = lost.iter().map(|lost| lost.amount.micrograms()).sum();
            let account = Account { charged: raw(charged), bulk: raw(bulk), lost, filled: raw(filled), left: raw(left) };
            prop_assert_eq!(filled + left + named + account.unaccounted().micrograms(), charged);
        }
    }
}
