//! What comes out of a batch: losses, heel, samples, filling, whole units, units for sale; and back from units to the batch they
//! need.

use domain::{
    formulas::FormulaVersion,
    packs::{ComponentPer, Pack, PackComponent},
};
use kernel::{Exact, Quantity};

use crate::{EngineError, Gap, View, words};

/// Where a batch goes. The parts after `charged` add up to it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BatchOutput {
    /// Everything put in, kg.
    pub charged: Exact,
    /// Leaves as vapour in proportion to the batch, kg.
    pub evaporation: Exact,
    /// Lost in proportion to the batch, kg.
    pub process_loss: Exact,
    /// Left in vessel, pump and hoses whatever the batch size, kg.
    pub heel: Exact,
    /// Taken for tests whatever the batch size, kg.
    pub samples: Exact,
    /// Kept back whatever the batch size, kg.
    pub retains: Exact,
    /// What reaches the filler or the shelf, kg.
    pub good: Exact,
}

impl BatchOutput {
    /// What has to be disposed of, kg: process loss, heel and samples. Vapour is gone, retains are kept.
    pub fn waste(&self) -> Exact {
        &(&self.process_loss + &self.heel) + &self.samples
    }
}

/// What comes out of a batch of a version.
///
/// # Errors
/// [`EngineError::BatchNotPositive`]; [`EngineError::NothingLeft`] when losses, samples and retains take it all.
pub fn batch_output(
    view: &View<'_>,
    version: &FormulaVersion,
    charged: &Exact,
) -> Result<BatchOutput, EngineError> {
    if !charged.is_positive() {
        return Err(EngineError::BatchNotPositive);
    }
    let good = good_output(version, charged);
    if !good.is_positive() {
        return Err(nothing_left(view, version, charged));
    }
    Ok(BatchOutput {
        charged: charged.clone(),
        evaporation: charged * &version.making.evaporation.fraction(),
        process_loss: charged * &version.process_loss.fraction(),
        heel: version.heel.to_exact(),
        samples: version.making.samples.to_exact(),
        retains: version.making.retains.to_exact(),
        good,
    })
}

/// What losses, samples and retains leave of a batch, kg; below nought when they take more than there is.
pub fn good_output(version: &FormulaVersion, charged: &Exact) -> Exact {
    &(charged * &version.kept_fraction()) - &version.fixed_loss()
}

fn nothing_left(view: &View<'_>, version: &FormulaVersion, charged: &Exact) -> EngineError {
    EngineError::NothingLeft {
        formula: view.formula_of(version).map_or_else(|_| version.formula.to_string(), |f| f.code.clone()),
        number: version.number,
        charged: words::mass(charged),
    }
}

/// What has to be charged for so much good output, kg.
///
/// # Errors
/// [`EngineError::NothingLeft`] for a loss of 100 %.
pub fn charge_for_output(
    view: &View<'_>,
    version: &FormulaVersion,
    good: &Exact,
) -> Result<Exact, EngineError> {
    let kept = version.kept_fraction();
    let with_heel = good + &version.fixed_loss();
    if !kept.is_positive() {
        return Err(nothing_left(view, version, &with_heel));
    }
    Ok(with_heel.checked_div(&kept)?)
}

/// What one unit takes at the filler, kg: the declared quantity, by density where it is a volume, and the overfill.
/// `Err` inside is the gap in the way.
///
/// # Errors
/// [`EngineError::NoFill`] for a pack filled by count or with nothing.
pub fn fill_mass(
    view: &View<'_>,
    pack: &Pack,
    version: &FormulaVersion,
) -> Result<Result<Exact, Gap>, EngineError> {
    let no_fill = || EngineError::NoFill { pack: pack.code.clone() };
    if !pack.fill.is_positive() {
        return Err(no_fill());
    }
    let declared = match pack.fill {
        Quantity::Mass(mass) => mass.to_exact(),
        Quantity::Volume(volume) => match view.liquid_density(version) {
            Some((density, _)) => density.mass_of(&volume.to_exact()),
            None => {
                return Ok(Err(Gap::NoLiquidDensity {
                    formula: version.formula,
                    code: view.formula_of(version)?.code.clone(),
                    number: version.number,
                    needed_for: format!("the fill of pack {}", pack.code),
                }));
            }
        },
        Quantity::Count(_) => return Err(no_fill()),
    };
    let fill = declared * (Exact::ONE + pack.overfill.fraction());
    if fill.is_positive() { Ok(Ok(fill)) } else { Err(no_fill()) }
}

/// What a batch fills.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FillingOutput {
    /// What one unit takes, kg.
    pub fill_mass: Exact,
    /// Lost at the filler, kg.
    pub filling_loss: Exact,
    /// What is left to fill, kg.
    pub to_fill: Exact,
    /// Whole units filled; each uses components and time.
    pub filled: i128,
    /// Of those, first ones off the line, for tests and retains: not for sale.
    pub kept_back: i128,
    /// Whole units for sale; they bear what all cost.
    pub units: i128,
    /// What does not fill another unit, kg.
    pub left_over: Exact,
}

/// Whole units out of so much good output.
///
/// # Errors
/// [`EngineError::NotOneUnit`]; [`EngineError::NothingSaleable`] when every unit is kept back.
pub fn filling_output(pack: &Pack, good: &Exact, fill_mass: &Exact) -> Result<FillingOutput, EngineError> {
    let filling_loss = good * &pack.filling_loss.fraction();
    let to_fill = good - &filling_loss;
    let filled = to_fill.checked_div(fill_mass)?.floor()?;
    if filled < 1 {
        return Err(EngineError::NotOneUnit {
            pack: pack.code.clone(),
            available: words::mass(&to_fill),
            needed: words::mass(fill_mass),
        });
    }
    let kept_back = i128::from(pack.run.units_kept_back);
    let units = filled - kept_back;
    if units < 1 {
        return Err(EngineError::NothingSaleable {
            pack: pack.code.clone(),
            filled,
            kept_back: pack.run.units_kept_back,
        });
    }
    let left_over = &to_fill - &(fill_mass * &Exact::whole(filled));
    let fill_mass = fill_mass.clone();
    Ok(FillingOutput { fill_mass, filling_loss, to_fill, filled, kept_back, units, left_over })
}

/// What has to be charged, kg, so that so many units can be filled, those to be kept back among them: fill, filling loss, heel,
/// samples, retains, process loss and evaporation.
/// `Err` inside is the gap in the way.
///
/// # Errors
/// Those of [`fill_mass`] and [`charge_for_output`].
pub fn charge_for_units(
    view: &View<'_>,
    pack: &Pack,
    version: &FormulaVersion,
    units: &Exact,
) -> Result<Result<Exact, Gap>, EngineError> {
    let fill = match fill_mass(view, pack, version)? {
        Ok(fill) => fill,
        Err(gap) => return Ok(Err(gap)),
    };
    let kept = &Exact::ONE - &pack.filling_loss.fraction();
    let good = (units * &fill).checked_div(&kept)?;
    charge_for_output(view, version, &good).map(Ok)
}

/// Pieces of a component that stand in one good unit, scrap left out. The inner error is the gap in the way.
///
/// # Errors
/// [`EngineError::Amount`] when a figure leaves its range.
pub fn component_in_unit(pack: &Pack, component: &PackComponent) -> Result<Result<Exact, Gap>, EngineError> {
    let pieces = component.quantity.to_exact();
    match (component.per, pack.units_per_case) {
        (ComponentPer::Unit, _) => Ok(Ok(pieces)),
        (ComponentPer::Case, Some(units)) if units > 0 => {
            Ok(Ok(pieces.checked_div(&Exact::from(i64::from(units)))?))
        }
        (ComponentPer::Case, _) => Ok(Err(Gap::NoUnitsPerCase { pack: pack.id, code: pack.code.clone() })),
    }
}

/// Pieces of a component that one unit uses up, scrap included. The inner error is the gap in the way.
///
/// # Errors
/// [`EngineError::Amount`] for a scrap of 100 %.
pub fn component_per_unit(pack: &Pack, component: &PackComponent) -> Result<Result<Exact, Gap>, EngineError> {
    let kept = &Exact::ONE - &component.loss.fraction();
    match component_in_unit(pack, component)? {
        Ok(pieces) => Ok(Ok(pieces.checked_div(&kept)?)),
        Err(gap) => Ok(Err(gap)),
    }
}
