//! Formulas and their versions. An approved version never changes; a change is a new version.

use chrono::NaiveDate;
use kernel::{
    Density, Exact, Mass, Money, Percent, Volume,
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
}

/// The amount of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LineAmount {
    /// % w/w of the total.
    Percent(Percent),
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
