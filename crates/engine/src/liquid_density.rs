//! The density figures per litre and gallon stand on, and the estimate that is offered where nobody has measured one.
//!
//! Volumes do not add: ethanol and water lose up to 3.5 % of theirs. So the estimate by ideal mixing, 1/ρ = Σ wᵢ/ρᵢ, stands beside a
//! sheet under its own name and is never used for a figure of it.

use chrono::NaiveDate;
use domain::formulas::FormulaVersion;
use kernel::{Density, Exact, Unit};
use rust_decimal::Decimal;

use crate::{EngineError, MaterialRef, View, explode::Exploded};

/// A density as it is known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DensityUsed {
    /// The figure.
    pub density: Density,
    /// The day it was measured.
    pub measured_on: Option<NaiveDate>,
    /// °C at which it was measured.
    pub celsius: Option<Decimal>,
    /// Whether it is the one entered for the material the formula makes, for want of one measured on the version.
    pub of_material: bool,
}

/// What ideal mixing would give.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DensityEstimate {
    /// kg/L; `None` where the density of something in it is not known.
    pub density: Option<Exact>,
    /// The cost of a litre at that density.
    pub per_litre: Option<Exact>,
    /// Materials without a density.
    pub unknown: Vec<MaterialRef>,
}

/// The density of a version's liquid: as measured on it, else as entered for the material it makes.
pub fn density_used(view: &View<'_>, version: &FormulaVersion) -> Option<DensityUsed> {
    let (density, of_material) = view.liquid_density(version)?;
    let measured = version.density.as_ref().filter(|_| !of_material);
    Some(DensityUsed {
        density,
        measured_on: measured.and_then(|measured| measured.measured_on),
        celsius: measured.and_then(|measured| measured.celsius),
        of_material,
    })
}

/// The estimate for a version that was taken apart, from the densities of what is bought for it.
///
/// # Errors
/// [`EngineError::NotFound`] for a material the catalogue does not hold.
pub fn density_by_ideal_mixing(
    view: &View<'_>,
    exploded: &Exploded,
    per_kg: &Exact,
) -> Result<DensityEstimate, EngineError> {
    let mut unknown = Vec::new();
    let mut litres_per_kg = Exact::ZERO;
    let mut whole = Exact::ZERO;
    for part in exploded.materials.iter().filter(|part| !part.composition.is_zero()) {
        let material = view.material(part.material)?;
        whole += &part.composition;
        match material.density.filter(|density| density.is_positive()) {
            Some(density) => litres_per_kg += part.composition.checked_div(&density.to_exact())?,
            None => unknown.push(MaterialRef::from(&**material)),
        }
    }
    let density = if unknown.is_empty() && whole == Exact::ONE {
        Exact::ONE.checked_div(&litres_per_kg).ok()
    } else {
        None
    };
    let per_litre = density.as_ref().map(|density| per_kg * density);
    Ok(DensityEstimate { density, per_litre, unknown })
}

/// What a US or an imperial gallon costs at what a litre costs.
pub fn per_gallon(per_litre: &Exact, gallon: Unit) -> Exact {
    per_litre * &gallon.factor()
}
