//! An aid for setting a filler: net content by Council Directive 76/211/EEC.

use async_graphql::{Enum, SimpleObject};
use domain::packs::Pack;
use engine::{
    fill_law::{FillRule as Rule, fill_target, nominal_of},
    present::{AMOUNT_PLACES, DOSE_PLACES},
};
use kernel::{Dimension, Exact};

use crate::{
    amounts::{QuantityInput, percent},
    errors::Result,
    scalars::{Decimal, Unit},
};

/// The rules for the packs of a batch (Directive 76/211/EEC, Annex I, point 1).
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "Rule")]
pub enum FillRule {
    /// The average is no less than declared.
    Average,
    /// Few packs are short by more than the tolerable negative error.
    FewShort,
    /// No pack is short by more than twice that.
    NoneFarShort,
}

/// Where a filler is to be set, from what it spreads by: the largest of the declared quantity, the declared quantity less the tolerable
/// negative error plus 2 standard deviations, and less twice that error plus 3.7 standard deviations; and then an allowance. An aid:
/// what is legal is decided by the packs that come out. Figures are in `unit`, to 6 places.
#[derive(SimpleObject)]
pub struct FillAid {
    /// g or mL, as the pack declares mass or volume (at 20 °C).
    pub unit: Unit,
    /// What the pack declares.
    pub nominal: Decimal,
    /// The tolerable negative error.
    pub tolerable_negative_error: Decimal,
    /// Whether the directive's own table says so; else only that of the United Kingdom's Weights and Measures (Packaged Goods)
    /// Regulations 2006, which goes on beyond it.
    pub in_directive: bool,
    /// The mean that the rules ask for, without the allowance.
    pub least: Decimal,
    /// The mean to set.
    pub target: Decimal,
    /// Which rule asks for most.
    pub governed_by: FillRule,
    /// The target beyond what is declared, % of it: what to enter as the pack's overfill.
    pub overfill_percent: Decimal,
    /// What is entered as the pack's overfill now, %.
    pub overfill_now_percent: Decimal,
    /// Whether what is entered reaches the target.
    pub reaches_target: bool,
}

/// g or mL of a quantity of the same kind as the pack declares.
fn small_units(quantity: QuantityInput, of: Dimension, place: &str) -> Result<Exact> {
    let wrong = |message: String| app::Error::invalid(place, message);
    let quantity = quantity.quantity().map_err(|error| wrong(error.to_string()))?;
    if quantity.dimension() != of {
        return Err(wrong(format!("the pack declares a {}; say this as a {0} too", of.name())).into());
    }
    Ok(quantity.to_exact() * Exact::whole(1_000))
}

/// The aid for a pack.
pub(crate) fn fill_aid(
    pack: &Pack,
    standard_deviation: QuantityInput,
    allowance: Option<QuantityInput>,
) -> Result<FillAid> {
    let dimension = pack.fill.dimension();
    let nominal = nominal_of(pack.fill)?;
    let spread = small_units(standard_deviation, dimension, "standardDeviation")?;
    let allowance = match allowance {
        Some(allowance) => small_units(allowance, dimension, "allowance")?,
        None => Exact::ZERO,
    };
    let found = fill_target(&nominal, &spread, &allowance)?;
    let figure = |value: &Exact| Decimal::rounded(value, AMOUNT_PLACES);
    Ok(FillAid {
        unit: Unit(if dimension == Dimension::Volume {
            kernel::Unit::Millilitre
        } else {
            kernel::Unit::Gram
        }),
        nominal: figure(&nominal)?,
        tolerable_negative_error: figure(&found.tolerable.error)?,
        in_directive: found.tolerable.in_directive,
        least: figure(&found.least)?,
        target: figure(&found.target)?,
        governed_by: found.governed_by.into(),
        overfill_percent: Decimal::rounded(&(&found.overfill * &Exact::whole(100)), DOSE_PLACES)?,
        overfill_now_percent: percent(pack.overfill),
        reaches_target: pack.overfill.fraction() >= found.overfill,
    })
}
