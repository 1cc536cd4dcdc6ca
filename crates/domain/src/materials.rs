//! Materials: what formulas are made of, what packs are made of, and what formulas make.

use kernel::{Density, Dimension, Percent, ids::MaterialId};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::{
    cas::Cas,
    cautions::{CautionGroup, HazardCode, SignalWord},
    dates::Span,
};

/// What a material is to the house.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MaterialKind {
    /// Bought and put into formulas.
    RawMaterial,
    /// Bottle, closure, label, case.
    PackagingComponent,
    /// Made here, put into other formulas.
    Intermediate,
    /// The finished liquid before filling.
    Bulk,
    /// Filled and packed; one per pack.
    FinishedProduct,
    /// Costed, never stocked: water, steam.
    Utility,
}

impl MaterialKind {
    /// All kinds.
    pub const ALL: [Self; 6] = [
        Self::RawMaterial,
        Self::PackagingComponent,
        Self::Intermediate,
        Self::Bulk,
        Self::FinishedProduct,
        Self::Utility,
    ];

    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::RawMaterial => "raw material",
            Self::PackagingComponent => "packaging component",
            Self::Intermediate => "intermediate",
            Self::Bulk => "bulk",
            Self::FinishedProduct => "finished product",
            Self::Utility => "utility",
        }
    }

    /// Whether lots of it are kept.
    pub const fn is_stocked(self) -> bool {
        !matches!(self, Self::Utility)
    }

    /// Kept by mass or by count.
    pub const fn stock_dimension(self) -> Dimension {
        match self {
            Self::PackagingComponent | Self::FinishedProduct => Dimension::Count,
            _ => Dimension::Mass,
        }
    }
}

/// What a use level is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum UseLevelKind {
    /// From a technical sheet: outside it is a warning.
    Recommended,
    /// From law or a safety assessment: outside it blocks approval.
    Legal,
}

/// The least and the most of a material that a formula may hold, % w/w as supplied.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct UseLevel {
    /// The least.
    pub from: Option<Percent>,
    /// The most.
    pub to: Option<Percent>,
    /// What happens outside.
    pub kind: UseLevelKind,
}

/// A material.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Material {
    /// Identity.
    pub id: MaterialId,
    /// The house's short code.
    pub code: String,
    /// What it is called here.
    pub name: String,
    /// What it is.
    pub kind: MaterialKind,
    /// INCI name.
    pub inci: Option<String>,
    /// CAS numbers; several where the supplied material is a mixture.
    pub cas: Vec<Cas>,
    /// At the reference temperature.
    pub density: Option<Density>,
    /// The share of the supplied material that is the ingredient proper.
    pub active_matter: Option<Percent>,
    /// What a formula may hold of it.
    pub use_level: Option<UseLevel>,
    /// Unopened, from the made date.
    pub shelf_life: Option<Span>,
    /// Once opened.
    pub period_after_opening: Option<Span>,
    /// Life that must be left on the day of use.
    pub minimum_remaining_life: Option<Span>,
    /// From receipt to release.
    pub inspection_time: Option<Span>,
    /// From the safety data sheet.
    pub signal_word: Option<SignalWord>,
    /// From the safety data sheet, section 2.
    pub hazard_statements: Vec<HazardCode>,
    /// What it is to other materials.
    pub caution_groups: Vec<CautionGroup>,
    /// What it must not meet, from the safety data sheet, section 10.
    pub incompatible_with: Vec<CautionGroup>,
    /// °C, from the safety data sheet, section 9.
    pub flash_point_celsius: Option<Decimal>,
    /// Which safety data sheet the cautions come from: supplier's reference and revision date.
    pub safety_data_sheet: Option<String>,
    /// Remarks.
    pub note: Option<String>,
}

impl Material {
    /// Kept by mass or by count.
    pub fn stock_dimension(&self) -> Dimension {
        self.kind.stock_dimension()
    }
}
