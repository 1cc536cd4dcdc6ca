//! Gaps: what a figure needs and nobody has entered.

use chrono::NaiveDate;
use kernel::{
    Currency,
    ids::{FormulaId, PackId},
};
use serde::Serialize;
use std::fmt;

use crate::{basis::Basis, view::MaterialRef};

/// Something a figure needs and nobody has entered. `Display` gives the sentence for a person.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize)]
#[serde(tag = "gap", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Gap {
    /// No quotation of a material that has to be bought.
    NoPrice {
        /// The material.
        material: MaterialRef,
    },
    /// A volume of a material has to become a mass, and its density is not known.
    NoDensity {
        /// The material.
        material: MaterialRef,
        /// What needs it: a line, a quotation.
        needed_for: String,
    },
    /// The density of a finished liquid is needed and not known.
    NoLiquidDensity {
        /// The formula.
        formula: FormulaId,
        /// Its code.
        code: String,
        /// The version.
        number: u32,
        /// What needs it: a volume formula, a volume fill.
        needed_for: String,
    },
    /// A line asks for active matter and the strength of the material is not known.
    NoActiveMatter {
        /// The material.
        material: MaterialRef,
    },
    /// Neither the rate of a pair of currencies nor of the opposite pair is known for the day.
    NoRate {
        /// The currency given.
        from: Currency,
        /// The currency wanted.
        to: Currency,
        /// The day.
        on: NaiveDate,
        /// What needs it.
        needed_for: String,
    },
    /// An intermediate whose formula has no version approved by the day, and which is not quoted either.
    NoApprovedVersion {
        /// The intermediate.
        material: MaterialRef,
        /// Its formula.
        formula: FormulaId,
        /// The formula's code.
        code: String,
        /// The day.
        on: NaiveDate,
    },
    /// A quotation in pieces of a material kept by mass, or by mass or volume of one kept by count.
    UnitsDoNotMeet {
        /// The material.
        material: MaterialRef,
        /// The quotation's reference.
        reference: String,
        /// What stands there and what is needed.
        why: String,
    },
    /// A price is of active matter and the strength of the material is not known.
    NoStrength {
        /// The material.
        material: MaterialRef,
        /// The quotation's reference.
        reference: String,
    },
    /// An order stated in pieces of a material kept by mass, or by mass or volume of one kept by count.
    OrderDoesNotFit {
        /// The material.
        material: MaterialRef,
        /// What is stated and what is needed.
        why: String,
    },
    /// Time is to be paid at a rate of the house that is not there on the day, or is an overhead.
    NoHouseRate {
        /// The rate's name.
        name: String,
        /// The day.
        on: NaiveDate,
        /// What needs it.
        needed_for: String,
    },
    /// A component or a figure per case, and nobody has entered how many units a case holds.
    NoUnitsPerCase {
        /// The pack.
        pack: PackId,
        /// Its code.
        code: String,
    },
    /// A cost that rests on receipts of a material that was not received by the day (or only for nought).
    NoHistory {
        /// The material.
        material: MaterialRef,
        /// The basis asked.
        basis: Basis,
        /// The day.
        on: NaiveDate,
    },
    /// A cost that rests on lots that came in without a value.
    NoLotValue {
        /// The material.
        material: MaterialRef,
        /// The basis asked.
        basis: Basis,
        /// Numbers of the lots.
        lots: Vec<String>,
    },
    /// What went into a batch came from lots without a value, so that nobody knows what it cost.
    NotValued {
        /// The material.
        material: MaterialRef,
        /// Numbers of the lots.
        lots: Vec<String>,
    },
    /// No standard cost of a material was frozen by the day.
    NoStandard {
        /// The material.
        material: MaterialRef,
        /// The day.
        on: NaiveDate,
    },
}

impl Gap {
    /// A stable name for programs.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::NoPrice { .. } => "NO_PRICE",
            Self::NoDensity { .. } => "NO_DENSITY",
            Self::NoLiquidDensity { .. } => "NO_LIQUID_DENSITY",
            Self::NoActiveMatter { .. } => "NO_ACTIVE_MATTER",
            Self::NoRate { .. } => "NO_RATE",
            Self::NoApprovedVersion { .. } => "NO_APPROVED_VERSION",
            Self::UnitsDoNotMeet { .. } => "UNITS_DO_NOT_MEET",
            Self::NoStrength { .. } => "NO_STRENGTH",
            Self::OrderDoesNotFit { .. } => "ORDER_DOES_NOT_FIT",
            Self::NoHouseRate { .. } => "NO_HOUSE_RATE",
            Self::NoUnitsPerCase { .. } => "NO_UNITS_PER_CASE",
            Self::NoHistory { .. } => "NO_HISTORY",
            Self::NoLotValue { .. } => "NO_LOT_VALUE",
            Self::NotValued { .. } => "NOT_VALUED",
            Self::NoStandard { .. } => "NO_STANDARD",
        }
    }

    /// The material it is about, where it is about one.
    pub const fn material(&self) -> Option<&MaterialRef> {
        match self {
            Self::NoPrice { material }
            | Self::NoDensity { material, .. }
            | Self::NoActiveMatter { material }
            | Self::NoApprovedVersion { material, .. }
            | Self::NoStrength { material, .. }
            | Self::OrderDoesNotFit { material, .. }
            | Self::UnitsDoNotMeet { material, .. }
            | Self::NoHistory { material, .. }
            | Self::NoLotValue { material, .. }
            | Self::NotValued { material, .. }
            | Self::NoStandard { material, .. } => Some(material),
            Self::NoLiquidDensity { .. }
            | Self::NoRate { .. }
            | Self::NoHouseRate { .. }
            | Self::NoUnitsPerCase { .. } => None,
        }
    }
}

impl fmt::Display for Gap {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoPrice { material } => write!(f, "{material} has no quotation"),
            Self::NoDensity { material, needed_for } => {
                write!(f, "{material} has no density, which {needed_for} needs")
            }
            Self::NoLiquidDensity { code, number, needed_for, .. } => {
                write!(f, "version {number} of formula {code} has no density, which {needed_for} needs")
            }
            Self::NoActiveMatter { material } => {
                write!(f, "{material} stands by active matter, and its strength is not known")
            }
            Self::NoRate { from, to, on, needed_for } => {
                write!(f, "there is no exchange rate from {from} to {to} for {on}, which {needed_for} needs")
            }
            Self::NoApprovedVersion { material, code, on, .. } => {
                write!(f, "{material} is made by formula {code}, which has no version approved by {on}")
            }
            Self::UnitsDoNotMeet { material, reference, why, .. } => {
                write!(f, "quotation {reference} of {material} cannot be used: {why}")
            }
            Self::NoStrength { material, reference } => {
                write!(
                    f,
                    "quotation {reference} prices the active matter of {material}, whose strength is not known"
                )
            }
            Self::OrderDoesNotFit { material, why } => {
                write!(f, "the stated order of {material} cannot be used: {why}")
            }
            Self::NoHouseRate { name, on, needed_for } => write!(
                f,
                "there is no labour or machine rate of the house “{name}” on {on}, which {needed_for} needs"
            ),
            Self::NoUnitsPerCase { code, .. } => {
                write!(f, "pack {code} does not say how many units a case holds")
            }
            Self::NoHistory { material, basis, on } => {
                write!(f, "nothing of {material} was bought by {on}, so it has no {basis} cost")
            }
            Self::NoLotValue { material, basis, lots } => write!(
                f,
                "{material} has no {basis} cost, for {} of it came without a value: {}",
                if lots.len() == 1 { "a lot" } else { "lots" },
                lots.join(", ")
            ),
            Self::NotValued { material, lots } => write!(
                f,
                "{material} was taken from {} without a value: {}",
                if lots.len() == 1 { "a lot" } else { "lots" },
                lots.join(", ")
            ),
            Self::NoStandard { material, on } => {
                write!(f, "no standard cost of {material} was frozen by {on}")
            }
        }
    }
}

/// Adds a gap once.
pub(crate) fn add_gap(gaps: &mut Vec<Gap>, gap: Gap) {
    if !gaps.contains(&gap) {
        gaps.push(gap);
    }
}
