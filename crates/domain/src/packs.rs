//! Packs: sales units.

use kernel::{
    Count, Money, Percent, Quantity,
    ids::{FormulaId, MaterialId, PackId},
};
use serde::{Deserialize, Serialize};

use crate::making::FillingRun;

/// A sales unit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pack {
    /// Identity.
    pub id: PackId,
    /// The house's short code.
    pub code: String,
    /// Name.
    pub name: String,
    /// What is filled into it.
    pub formula: FormulaId,
    /// The finished product its filled units are stocked as.
    pub product: MaterialId,
    /// Declared quantity: a volume or a mass.
    pub fill: Quantity,
    /// Filled beyond the declared quantity.
    pub overfill: Percent,
    /// Share of the liquid lost at the filler.
    pub filling_loss: Percent,
    /// Bottle, closure, label, case.
    pub components: Vec<PackComponent>,
    /// Units in one case.
    pub units_per_case: Option<u32>,
    /// Filling and labelling, per unit; not where the run has a speed.
    pub line_labour: Option<Money>,
    /// How it is filled.
    #[serde(default)]
    pub run: FillingRun,
    /// Selling price per unit without tax.
    pub price: Option<Money>,
    /// Expected sales in a year.
    pub units_a_year: Option<u64>,
    /// Remarks.
    pub note: Option<String>,
}

/// A component of a pack.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PackComponent {
    /// The packaging component.
    pub material: MaterialId,
    /// Pieces.
    pub quantity: Count,
    /// Of what.
    pub per: ComponentPer,
    /// Scrapped on the line, as a share of what is used.
    pub loss: Percent,
}

/// Whether a component's pieces are for each unit or each case.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ComponentPer {
    /// Each unit.
    Unit,
    /// Each case.
    Case,
}
