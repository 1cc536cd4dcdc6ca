//! Rates of the house: what an hour of people or machines costs, and the overheads every batch bears a part of. Each holds from a
//! day; history is kept, never overwritten.
//!
//! An overhead may be given as the cost of a period over the capacity that is normal for it. Its rate is then the cost over the
//! normal capacity, so that an idle month does not make the product dearer; in a period that is used beyond what is normal the
//! cost is spread over what was used, so that nothing is carried above its cost (IAS 2, paragraph 13).

use chrono::NaiveDate;
use kernel::{AmountError, Currency, Exact, Money, Percent, UnitPrice, ids::HouseRateId};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// A rate of the house.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct HouseRate {
    /// Identity.
    pub id: HouseRateId,
    /// What formulas and packs call it by: `bench`, `mixer`, `rent and light`.
    pub name: String,
    /// What it is of.
    pub of: HouseRateOf,
    /// How much.
    pub amount: HouseRateAmount,
    /// The day it holds from, until another of the same name takes its place.
    pub from: NaiveDate,
    /// Remarks.
    pub note: Option<String>,
}

/// What a rate of the house is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum HouseRateOf {
    /// One hour of one person.
    LabourHour,
    /// One hour of a machine.
    MachineHour,
    /// Overhead: on each hour of labour.
    OverheadPerLabourHour,
    /// Overhead: on each hour of a machine.
    OverheadPerMachineHour,
    /// Overhead: on each batch.
    OverheadPerBatch,
    /// Overhead: on what labour costs.
    OverheadOnLabour,
}

/// How much a rate of the house is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum HouseRateAmount {
    /// Per hour or batch.
    Stated(UnitPrice),
    /// Of what labour costs.
    Percent(Percent),
    /// The cost of a period over its capacity: hours, batches, or what labour costs.
    Budget {
        /// Of the period.
        cost: Money,
        /// What the period normally gives.
        normal_capacity: Decimal,
        /// What it gave or is to give; `None` for the normal.
        capacity_used: Option<Decimal>,
    },
}

impl HouseRateOf {
    /// All of them.
    pub const ALL: [Self; 6] = [
        Self::LabourHour,
        Self::MachineHour,
        Self::OverheadPerLabourHour,
        Self::OverheadPerMachineHour,
        Self::OverheadPerBatch,
        Self::OverheadOnLabour,
    ];

    /// Whether every batch bears it, rather than the costs that name it.
    pub const fn is_overhead(self) -> bool {
        !matches!(self, Self::LabourHour | Self::MachineHour)
    }

    /// `labour`, `machine` or `overhead`.
    pub const fn kind_word(self) -> &'static str {
        match self {
            Self::LabourHour => "labour",
            Self::MachineHour => "machine",
            _ => "overhead",
        }
    }

    /// What one of it is.
    pub const fn per_words(self) -> &'static str {
        match self {
            Self::LabourHour | Self::OverheadPerLabourHour => "labour hour",
            Self::MachineHour | Self::OverheadPerMachineHour => "machine hour",
            Self::OverheadPerBatch => "batch",
            Self::OverheadOnLabour => "labour cost",
        }
    }
}

impl HouseRate {
    /// Money per hour or batch, or the fraction of what labour costs.
    ///
    /// # Errors
    /// [`AmountError::DivisionByZero`] for a capacity of nought.
    pub fn rate(&self) -> Result<Exact, AmountError> {
        match &self.amount {
            HouseRateAmount::Stated(price) => Ok(price.to_exact()),
            HouseRateAmount::Percent(percent) => Ok(percent.fraction()),
            HouseRateAmount::Budget { cost, normal_capacity, capacity_used } => {
                let spread_over = capacity_used.unwrap_or(*normal_capacity).max(*normal_capacity);
                cost.to_exact().checked_div(&Exact::from(spread_over))
            }
        }
    }

    /// The currency of its money; `None` for a percent.
    pub fn currency(&self) -> Option<Currency> {
        match &self.amount {
            HouseRateAmount::Stated(price) => Some(price.currency()),
            HouseRateAmount::Percent(_) => None,
            HouseRateAmount::Budget { cost, .. } => Some(cost.currency()),
        }
    }

    /// What of a period's actual cost its products do not bear, when the period gave so much: an expense of the period. Below
    /// nought when they bear more than it cost.
    ///
    /// # Errors
    /// Those of [`HouseRate::rate`].
    pub fn not_absorbed(&self, actual_cost: &Exact, actual_capacity: &Exact) -> Result<Exact, AmountError> {
        Ok(actual_cost - &(self.rate()? * actual_capacity))
    }

    /// Whether its figures fit what it is of.
    ///
    /// # Errors
    /// A sentence saying what does not.
    pub fn require_sound(&self) -> Result<(), String> {
        match (&self.amount, self.of) {
            (HouseRateAmount::Percent(_), HouseRateOf::OverheadOnLabour) => {}
            (HouseRateAmount::Percent(_), of) => {
                return Err(format!("a percent is of what labour costs, not of a {}", of.per_words()));
            }
            (HouseRateAmount::Stated(_), HouseRateOf::OverheadOnLabour) => {
                return Err(
                    "an overhead on what labour costs is a percent, or a cost over a capacity".to_owned()
                );
            }
            (HouseRateAmount::Budget { .. }, of) if !of.is_overhead() => {
                return Err("only overheads are a cost over a capacity; an hour has a price".to_owned());
            }
            _ => {}
        }
        let below = match &self.amount {
            HouseRateAmount::Stated(price) => price.scaled() < 0,
            HouseRateAmount::Percent(percent) => percent.is_negative(),
            HouseRateAmount::Budget { cost, normal_capacity, capacity_used } => {
                if *normal_capacity <= Decimal::ZERO {
                    return Err("a normal capacity must be above nought".to_owned());
                }
                if capacity_used.is_some_and(|used| used < Decimal::ZERO) {
                    return Err("a capacity used must not be below nought".to_owned());
                }
                cost.micros() < 0
            }
        };
        if below { Err("a rate must not be below nought".to_owned()) } else { Ok(()) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn overhead(of: HouseRateOf, cost: i64, normal: i64, used: Option<i64>) -> HouseRate {
        HouseRate {
            id: HouseRateId::new(),
            name: "overhead".to_owned(),
            of,
            amount: HouseRateAmount::Budget {
                cost: Money::from_micros(cost * 1_000_000, Currency::GBP),
                normal_capacity: Decimal::from(normal),
                capacity_used: used.map(Decimal::from),
            },
            from: NaiveDate::default(),
            note: None,
        }
    }

    /// IAS 2, paragraph 13: low output does not raise what a unit bears; what is not borne is an expense of the period; in a
    /// period of abnormally high output each unit bears less. Figures: common practice, no source.
    #[test]
    fn normal_capacity() {
        let rate = |used| overhead(HouseRateOf::OverheadPerMachineHour, 12_000, 1_000, used).rate().unwrap();
        assert_eq!(rate(None), Exact::whole(12));
        assert_eq!(rate(Some(600)), Exact::whole(12), "an idle month");
        assert_eq!(rate(Some(1_500)), Exact::whole(8), "a month of double shifts");
        let idle = overhead(HouseRateOf::OverheadPerMachineHour, 12_000, 1_000, Some(600));
        assert_eq!(
            idle.not_absorbed(&Exact::whole(12_000), &Exact::whole(600)).unwrap(),
            Exact::whole(4_800)
        );
    }

    /// OpenStax, Principles of Accounting 2, section 4.2 to 4.6: 250,000 over 100,000 of direct labour is 2.50 on each; actual
    /// 256,500 leaves 6,500 under-applied.
    #[test]
    fn under_applied() {
        let rate = overhead(HouseRateOf::OverheadOnLabour, 250_000, 100_000, None);
        assert_eq!(rate.rate().unwrap(), Exact::scaled(25, 1));
        let left = rate.not_absorbed(&Exact::whole(256_500), &Exact::whole(100_000)).unwrap();
        assert_eq!(left, Exact::whole(6_500));
    }

    #[test]
    fn figures_that_do_not_fit() {
        let fits = |of, amount| {
            HouseRate { amount, ..overhead(of, 1, 1, None) }.require_sound().map_err(|why| why.len()).is_ok()
        };
        let price = |raw| HouseRateAmount::Stated(UnitPrice::from_scaled(raw, Currency::GBP));
        let percent = |nano| HouseRateAmount::Percent(Percent::from_nano(nano));
        assert!(fits(HouseRateOf::LabourHour, price(0)));
        assert!(!fits(HouseRateOf::LabourHour, price(-1)));
        assert!(!fits(HouseRateOf::LabourHour, percent(1)));
        assert!(!fits(HouseRateOf::OverheadOnLabour, price(1)));
        assert!(fits(HouseRateOf::OverheadOnLabour, percent(250_000_000_000)));
        assert!(!fits(HouseRateOf::OverheadOnLabour, percent(-1)));
        assert!(overhead(HouseRateOf::MachineHour, 1, 1, None).require_sound().is_err());
        assert!(overhead(HouseRateOf::OverheadPerBatch, 1, 0, None).require_sound().is_err());
        assert!(overhead(HouseRateOf::OverheadPerBatch, 1, 1, Some(-1)).require_sound().is_err());
        assert!(overhead(HouseRateOf::OverheadPerBatch, -1, 1, None).require_sound().is_err());
    }
}
