//! Formulas and their versions. An approved version never changes; a change is a new version.

use chrono::NaiveDate;
use kernel::{
    Density, Exact, Mass, Money, Parts, Percent, Volume,
    ids::{FormulaId, FormulaVersionId, MaterialId},
};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::{dates::Span, making::Making};

/// A formula: what one intermediate or bulk is made of, through all its versions.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Formula {
    /// Identity.
    pub id: FormulaId,
    /// The house's short code.
    pub code: String,
    /// Name.
    pub name: String,
    /// The intermediate or bulk it makes.
    pub makes: MaterialId,
    /// Its versions, by number.
    pub versions: Vec<FormulaVersion>,
}

/// Where a version stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum VersionStatus {
    /// May change; no ticket is written from it.
    Draft,
    /// Fixed; tickets are written from it.
    Approved,
    /// Fixed; no longer made.
    Retired,
}

impl VersionStatus {
    /// The word people use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Draft => "draft",
            Self::Approved => "approved",
            Self::Retired => "retired",
        }
    }
}

/// How the amounts of a version are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WrittenAs {
    /// Percent by weight; the total is 100 %.
    Percent,
    /// Grams of a bench sheet with a nominal total; rescaled to it when the lines miss it.
    Grams {
        /// What the lines should add up to.
        total: Mass,
    },
    /// Volumes and masses made up with q.s. to a volume; needs the density of the finished liquid.
    Volume {
        /// The volume it is made up to.
        total: Volume,
    },
    /// Parts by weight; the total is what the lines add up to, so no line is q.s.
    Parts,
}

/// One version of a formula.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FormulaVersion {
    /// Identity.
    pub id: FormulaVersionId,
    /// The formula it is a version of.
    pub formula: FormulaId,
    /// 1, 2, 3 …
    pub number: u32,
    /// Where it stands.
    pub status: VersionStatus,
    /// How the amounts are written.
    pub written_as: WrittenAs,
    /// In order of addition.
    pub lines: Vec<FormulaLine>,
    /// Of the finished liquid, measured.
    pub density: Option<MeasuredDensity>,
    /// Share of what is charged that never reaches the filler.
    pub process_loss: Percent,
    /// What stays in vessel, pump and hoses whatever the batch size.
    pub heel: Mass,
    /// The batch size costs are worked out for unless another is asked.
    pub usual_batch: Mass,
    /// The least the vessel takes.
    pub smallest_batch: Option<Mass>,
    /// The most the vessel takes.
    pub largest_batch: Option<Mass>,
    /// Labour, cleaning, tests and disposal of one batch in one figure; what is spelt out stands in `making`.
    pub cost_per_batch: Option<Money>,
    /// What else leaves a batch, and the named costs of making it.
    #[serde(default)]
    pub making: Making,
    /// Of what it makes.
    pub shelf_life: Option<Span>,
    /// Who approved it and on which day.
    pub approval: Option<Approval>,
    /// Remarks.
    pub note: Option<String>,
}

/// A density somebody measured.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct MeasuredDensity {
    /// The figure.
    pub density: Density,
    /// The day.
    pub measured_on: Option<NaiveDate>,
    /// °C.
    pub celsius: Option<Decimal>,
}

/// Who approved a version, and when.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Approval {
    /// The person.
    pub by: String,
    /// The day.
    pub on: NaiveDate,
}

/// One line of a formula.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FormulaLine {
    /// 1, 2, 3 …, the order of addition.
    pub position: u32,
    /// The group handled together: A, B, C …
    pub phase: Option<String>,
    /// A raw material, utility or intermediate.
    pub material: MaterialId,
    /// How much.
    pub amount: LineAmount,
    /// Whether the amount is of the material as supplied or of its active matter.
    pub basis: AmountBasis,
    /// What it is there for.
    pub function: Option<String>,
    /// Narrower than the material's own, % w/w as supplied.
    pub use_level_from: Option<Percent>,
    /// Narrower than the material's own, % w/w as supplied.
    pub use_level_to: Option<Percent>,
    /// Either side of the target, % of the target.
    pub weighing_tolerance: Option<Percent>,
    /// What to do when it is added.
    pub instruction: Option<String>,
    /// Whether it is added until a result is reached; its amount is then what is expected, which may be nought. Few lines are, and
    /// every line of every formula is held in memory.
    pub trim: Option<Box<Trim>>,
}

/// What a line is added for until it is reached: a pH, a viscosity, a colour.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Trim {
    /// The result with its range, in words: `pH 5.75 to 6.25`.
    pub result: String,
    /// Where adding stops and somebody is asked, written and counted like the line's own amount; never q.s.
    pub stop: Option<LineAmount>,
}

/// The amount of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LineAmount {
    /// % w/w of the total.
    Percent(Percent),
    /// Grams in 100 mL of the total volume; only in a formula by volume.
    PercentWeightInVolume(Percent),
    /// Millilitres in 100 mL of the total volume, through the density of the material; only in a formula by volume.
    PercentVolumeInVolume(Percent),
    /// Parts by weight; only in a formula in parts, and nothing else in one.
    Parts(Parts),
    /// Of the bench sheet or of the volume formula.
    Mass(Mass),
    /// Through the density of the material.
    Volume(Volume),
    /// As much as brings the batch to its total.
    QuantitySufficient,
}

/// What an amount is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AmountBasis {
    /// The material as it comes.
    AsSupplied,
    /// The ingredient proper; the material's active matter says how much of the material that takes.
    ActiveMatter,
}

impl LineAmount {
    /// Its figure as it is kept, for telling whether it is nought or below; `None` for q.s.
    pub const fn raw(self) -> Option<i64> {
        match self {
            Self::Percent(percent)
            | Self::PercentWeightInVolume(percent)
            | Self::PercentVolumeInVolume(percent) => Some(percent.nano()),
            Self::Parts(parts) => Some(parts.nano()),
            Self::Mass(mass) => Some(mass.micrograms()),
            Self::Volume(volume) => Some(volume.nanolitres()),
            Self::QuantitySufficient => None,
        }
    }

    /// Whether it is written in the same manner as another, so that the two can be compared.
    pub fn is_written_like(self, other: Self) -> bool {
        std::mem::discriminant(&self) == std::mem::discriminant(&other)
    }

    /// What is wrong with it in a version written so, if anything; whether its figure is a possible one at all.
    pub fn misfit(self, written_as: WrittenAs) -> Option<&'static str> {
        if self.raw().is_some_and(i64::is_negative) {
            return Some("an amount must not be below nought");
        }
        match (written_as, self) {
            (WrittenAs::Parts, Self::Parts(_)) => None,
            (WrittenAs::Parts, Self::QuantitySufficient) => {
                Some("no line of a formula in parts is q.s., for its total is what the lines add up to")
            }
            (WrittenAs::Parts, _) => Some("a formula in parts is written in parts only"),
            (_, Self::Parts(_)) => Some("parts stand in formulas written in parts only"),
            (WrittenAs::Volume { .. }, _) => None,
            (_, Self::PercentWeightInVolume(_) | Self::PercentVolumeInVolume(_)) => {
                Some("% w/v and % v/v stand in formulas by volume only")
            }
            (WrittenAs::Percent, Self::Mass(_) | Self::Volume(_)) => {
                Some("a mass or volume cannot stand in a formula written in percent")
            }
            _ => None,
        }
    }
}

impl FormulaLine {
    /// What is wrong with it as a line of a version written so, if anything can be said without knowing the material.
    pub fn misfit(&self, written_as: WrittenAs) -> Option<&'static str> {
        misfit_of_line(self.amount, self.basis, self.trim.as_deref(), written_as)
    }
}

/// [`FormulaLine::misfit`] of a line that is still being written.
pub fn misfit_of_line(
    amount: LineAmount,
    basis: AmountBasis,
    trim: Option<&Trim>,
    written_as: WrittenAs,
) -> Option<&'static str> {
    if let Some(misfit) = amount.misfit(written_as) {
        return Some(misfit);
    }
    let active = basis == AmountBasis::ActiveMatter;
    match amount {
        LineAmount::QuantitySufficient if active => {
            return Some("q.s. is of the material as supplied, not of its active matter");
        }
        LineAmount::QuantitySufficient if trim.is_some() => {
            return Some("a line is either q.s. or added until a result is reached, not both");
        }
        LineAmount::Volume(_) | LineAmount::PercentVolumeInVolume(_) if active => {
            return Some("active matter is weighed, not measured by volume");
        }
        _ => {}
    }
    let stop = trim.and_then(|trim| trim.stop)?;
    match stop.misfit(written_as) {
        Some(misfit) => Some(misfit),
        None if !stop.is_written_like(amount) => {
            Some("what is added at most is written like the amount expected")
        }
        None if stop.raw() < amount.raw() => Some("what is added at most is less than the amount expected"),
        None => None,
    }
}

impl FormulaVersion {
    /// The fraction of what is charged that process loss and evaporation leave; heel, samples and retains come off it still.
    pub fn kept_fraction(&self) -> Exact {
        &(&Exact::ONE - &self.process_loss.fraction()) - &self.making.evaporation.fraction()
    }

    /// Left behind or taken from every batch whatever its size, kg: heel, samples and retains.
    pub fn fixed_loss(&self) -> Exact {
        &(&self.heel.to_exact() + &self.making.samples.to_exact()) + &self.making.retains.to_exact()
    }
}

impl Formula {
    /// The version of that number.
    pub fn version(&self, number: u32) -> Option<&FormulaVersion> {
        self.versions.iter().find(|v| v.number == number)
    }

    /// The approved version with the highest number that was approved on or before a day.
    pub fn approved_on(&self, day: NaiveDate) -> Option<&FormulaVersion> {
        self.versions
            .iter()
            .filter(|v| {
                v.status == VersionStatus::Approved && v.approval.as_ref().is_none_or(|a| a.on <= day)
            })
            .max_by_key(|v| v.number)
    }

    /// The version to look at when none is named: the approved one with the highest number, else the highest draft.
    pub fn current(&self) -> Option<&FormulaVersion> {
        let rank = |v: &&FormulaVersion| {
            let status = match v.status {
                VersionStatus::Approved => 2,
                VersionStatus::Draft => 1,
                VersionStatus::Retired => 0,
            };
            (status, v.number)
        };
        self.versions.iter().max_by_key(rank)
    }
}
