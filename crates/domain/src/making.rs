//! What making a batch takes beside its ingredients: what leaves it on the way, and what its work costs.

use kernel::{AmountError, Count, Exact, Mass, Money, Percent, UnitPrice};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use std::{fmt, str::FromStr};
use thiserror::Error;

/// What leaves a batch beside process loss and heel, and the named costs of making it.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Making {
    /// Share of what is charged that leaves as vapour: mass without product, and nothing that has to be disposed of.
    pub evaporation: Percent,
    /// Bulk taken for tests from each batch.
    pub samples: Mass,
    /// Bulk kept back from each batch.
    pub retains: Mass,
    /// Named costs of one batch, in the order they are shown; beside the one cost per batch of the version.
    pub costs: Vec<MakingCost>,
}

/// A named cost of one batch.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct MakingCost {
    /// What it is called here: `mixing`, `vessel wash`; unique within its version.
    pub name: String,
    /// What it is for.
    pub kind: MakingCostKind,
    /// How much.
    pub amount: MakingCostAmount,
}

/// What a cost of making is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MakingCostKind {
    /// People.
    Labour,
    /// Vessel, mixer, energy.
    Machine,
    /// Of vessel and hoses.
    Cleaning,
    /// Of the batch.
    Tests,
    /// Of waste.
    Disposal,
    /// Anything else.
    Other,
}

impl MakingCostKind {
    /// All kinds.
    pub const ALL: [Self; 6] =
        [Self::Labour, Self::Machine, Self::Cleaning, Self::Tests, Self::Disposal, Self::Other];

    /// The word people use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Labour => "labour",
            Self::Machine => "machine",
            Self::Cleaning => "cleaning",
            Self::Tests => "tests",
            Self::Disposal => "disposal",
            Self::Other => "other",
        }
    }
}

/// How much a cost of making comes to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MakingCostAmount {
    /// The same for every batch.
    PerBatch(Money),
    /// Time at a rate of the house.
    Hours {
        /// For one batch, all people or machines together.
        time: WorkTime,
        /// The rate's name.
        rate: String,
    },
    /// For each kg charged.
    PerKgCharged(UnitPrice),
    /// For each kg that has to be disposed of: process loss, heel and samples; for a pack also what is lost or left over at the
    /// filler.
    PerKgOfWaste(UnitPrice),
}

/// A pack's filling run: how fast it goes, what setting it up costs, and how many of its units are not for sale.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct FillingRun {
    /// Units kept back from each batch: first ones off the line, for tests, retains. They are filled and use components; they are
    /// not for sale.
    pub units_kept_back: u32,
    /// How fast the line goes and at which rates; instead of a line labour per unit.
    pub speed: Option<LineSpeed>,
    /// Setting up and cleaning the line for one run.
    pub changeover: Option<Money>,
}

/// How fast a filling line goes and who stands at it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LineSpeed {
    /// Units filled and labelled in an hour; above nought.
    pub units_per_hour: Count,
    /// At the line at once; above nought where there is a labour rate.
    pub people: Count,
    /// The name of the rate of the house that people cost.
    pub labour_rate: Option<String>,
    /// The name of the rate of the house that the line costs.
    pub machine_rate: Option<String>,
}

/// A time of work, to the millisecond, so that hours to five places and minutes to four are whole.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct WorkTime(i64);

/// Why a text is not a time of work.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum WorkTimeError {
    /// No figure, or a unit that is neither hours nor minutes.
    #[error("“{0}” is not a time of work, such as 1.5 h or 90 min")]
    NotATime(String),
    /// Finer than a millisecond, or longer than can be kept.
    #[error("{0} h is finer than a millisecond or longer than can be kept")]
    DoesNotFit(Decimal),
}

const MS_PER_HOUR: i64 = 3_600_000;
const MS_PER_MINUTE: i64 = 60_000;
/// A year of work for ten people; more for one batch is a slip.
const HOURS_MAX: i64 = 20_000;

impl WorkTime {
    /// From milliseconds, as the database holds them.
    pub const fn from_milliseconds(milliseconds: i64) -> Self {
        Self(milliseconds)
    }

    /// Milliseconds, as the database holds them.
    pub const fn milliseconds(self) -> i64 {
        self.0
    }

    /// From hours.
    ///
    /// # Errors
    /// [`WorkTimeError::DoesNotFit`] for a time finer than a millisecond, below nought, or beyond 20,000 hours.
    pub fn from_hours(hours: Decimal) -> Result<Self, WorkTimeError> {
        Self::of(hours, MS_PER_HOUR)
    }

    /// From minutes.
    ///
    /// # Errors
    /// As for [`WorkTime::from_hours`].
    pub fn from_minutes(minutes: Decimal) -> Result<Self, WorkTimeError> {
        Self::of(minutes, MS_PER_MINUTE)
    }

    fn of(figure: Decimal, unit: i64) -> Result<Self, WorkTimeError> {
        figure
            .checked_mul(Decimal::from(unit))
            .filter(|ms| ms.is_integer() && !ms.is_sign_negative())
            .and_then(|ms| i64::try_from(ms).ok())
            .filter(|ms| *ms <= HOURS_MAX * MS_PER_HOUR)
            .map(Self)
            .ok_or(WorkTimeError::DoesNotFit(figure))
    }

    /// Hours, exactly.
    pub fn hours(self) -> Exact {
        Exact::ratio(i128::from(self.0), i128::from(MS_PER_HOUR)).unwrap_or_default()
    }

    /// Whether it is above nought.
    pub const fn is_positive(self) -> bool {
        self.0 > 0
    }
}

impl fmt::Display for WorkTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let per = |unit: i64| Exact::ratio(i128::from(self.0), i128::from(unit)).ok()?.to_decimal_exactly();
        match per(MS_PER_HOUR) {
            Some(hours) => write!(f, "{} h", hours.normalize()),
            None => write!(f, "{} min", per(MS_PER_MINUTE).unwrap_or_default().normalize()),
        }
    }
}

impl FromStr for WorkTime {
    type Err = WorkTimeError;

    /// `1.5 h`, `90 min`; a bare figure is hours.
    fn from_str(text: &str) -> Result<Self, WorkTimeError> {
        let not_a_time = || WorkTimeError::NotATime(text.chars().take(30).collect());
        let (figure, unit) = kernel::quantity::split_figure(text.trim());
        let figure = kernel::parse_decimal(figure, kernel::DecimalMark::Point).map_err(|_| not_a_time())?;
        Self::written(figure, unit).ok_or_else(not_a_time)?
    }
}

impl WorkTime {
    /// A figure with a unit as people write it; `None` when the unit is no unit of time.
    pub fn written(figure: Decimal, unit: &str) -> Option<Result<Self, WorkTimeError>> {
        match unit.trim().to_lowercase().as_str() {
            "" | "h" | "hr" | "hrs" | "hour" | "hours" => Some(Self::from_hours(figure)),
            "min" | "mins" | "minute" | "minutes" => Some(Self::from_minutes(figure)),
            _ => None,
        }
    }
}

impl TryFrom<String> for WorkTime {
    type Error = WorkTimeError;

    fn try_from(text: String) -> Result<Self, WorkTimeError> {
        text.parse()
    }
}

impl From<WorkTime> for String {
    fn from(value: WorkTime) -> Self {
        value.to_string()
    }
}

impl fmt::Display for MakingCostAmount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::PerBatch(money) => write!(f, "{money} per batch"),
            Self::Hours { time, rate } => write!(f, "{time} at “{rate}”"),
            Self::PerKgCharged(price) => {
                write!(f, "{} {} per kg charged", price.amount(), price.currency())
            }
            Self::PerKgOfWaste(price) => {
                write!(f, "{} {} per kg of waste", price.amount(), price.currency())
            }
        }
    }
}

impl MakingCost {
    /// The money that stands on it, in whatever currency; none where it is time at a rate.
    pub fn currency(&self) -> Option<kernel::Currency> {
        match &self.amount {
            MakingCostAmount::PerBatch(money) => Some(money.currency()),
            MakingCostAmount::PerKgCharged(price) | MakingCostAmount::PerKgOfWaste(price) => {
                Some(price.currency())
            }
            MakingCostAmount::Hours { .. } => None,
        }
    }

    /// The rate of the house it is worked out with.
    pub fn rate(&self) -> Option<&str> {
        match &self.amount {
            MakingCostAmount::Hours { rate, .. } => Some(rate),
            _ => None,
        }
    }

    /// Whether its figures are ones a cost can be worked out with.
    ///
    /// # Errors
    /// [`AmountError::Negative`] or [`AmountError::NotPositive`].
    pub fn require_sound(&self) -> Result<(), AmountError> {
        let below = match &self.amount {
            MakingCostAmount::PerBatch(money) => money.micros() < 0,
            MakingCostAmount::PerKgCharged(price) | MakingCostAmount::PerKgOfWaste(price) => {
                price.scaled() < 0
            }
            MakingCostAmount::Hours { time, .. } if !time.is_positive() => {
                return Err(AmountError::NotPositive("a time of work"));
            }
            MakingCostAmount::Hours { .. } => false,
        };
        if below { Err(AmountError::Negative("a cost")) } else { Ok(()) }
    }
}

impl FillingRun {
    /// The rates of the house it is worked out with.
    pub fn rates(&self) -> impl Iterator<Item = &str> {
        self.speed.iter().flat_map(|speed| {
            [speed.labour_rate.as_deref(), speed.machine_rate.as_deref()].into_iter().flatten()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_of_work() {
        let time = |text: &str| text.parse::<WorkTime>();
        assert_eq!(time("1.5 h"), time("90 min"));
        assert_eq!(time("2"), time("120 minutes"));
        assert_eq!(time("25 min").unwrap().hours(), Exact::ratio(5, 12).unwrap());
        for text in ["0.25 h", "25 min", "1.23456 h", "0 h"] {
            assert_eq!(time(text).unwrap().to_string(), text, "written as it was read");
        }
        for bad in ["", "h", "1 d", "-1 h", "0.000001 h", "20001 h", "79228162514264337593543950335 h"] {
            assert!(time(bad).is_err(), "{bad}");
        }
    }
}
