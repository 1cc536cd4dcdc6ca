//! Adding a sheet up: sums by kind, what one unit carries of each line, each line's share.

use domain::packs::Pack;
use kernel::{Density, Exact, Unit};

use crate::{
    EngineError,
    cost::{CostLine, CostTotals, LineKind},
    liquid_density::per_gallon,
    output::{BatchOutput, FillingOutput},
};

/// Works out what one unit carries of each line, the sums, and each line's share.
pub(super) fn total(
    lines: &mut [CostLine],
    batch: &BatchOutput,
    density: Option<Density>,
    filling: Option<&FillingOutput>,
    pack: Option<&Pack>,
) -> Result<CostTotals, EngineError> {
    let sum_of = |kind: LineKind, lines: &[CostLine]| -> Exact {
        lines.iter().filter(|line| line.kind == kind).filter_map(|line| line.value.as_ref()).sum()
    };
    let ingredients = sum_of(LineKind::Ingredient, lines);
    let making = sum_of(LineKind::CostPerBatch, lines);
    let components = sum_of(LineKind::Component, lines);
    let line_labour = sum_of(LineKind::LineLabour, lines);
    let liquid = &ingredients + &making;
    let per_batch = &(&liquid + &components) + &line_labour;
    let per_kg = liquid.checked_div(&batch.good)?;
    let per_litre = density.map(|density| density.mass_of(&per_kg));
    let gallon = |unit| per_litre.as_ref().map(|per_litre| per_gallon(per_litre, unit));
    let (per_us_gallon, per_imperial_gallon) = (gallon(Unit::GallonUs), gallon(Unit::GallonImperial));
    let mut per_unit = None;
    if let Some(filling) = filling {
        let units = Exact::whole(filling.units);
        per_unit = Some(per_batch.checked_div(&units)?);
        let one_unit = Exact::ONE.checked_div(&units)?;
        spread_over_units(lines, &one_unit);
    }
    let per_case = per_unit
        .as_ref()
        .zip(pack.and_then(|pack| pack.units_per_case))
        .map(|(per_unit, units)| per_unit * &Exact::from(i64::from(units)));
    if let Ok(one_part) = Exact::ONE.checked_div(&per_batch) {
        spread_shares(lines, &one_part);
    }
    Ok(CostTotals {
        ingredients,
        making,
        components,
        line_labour,
        per_batch,
        per_kg,
        per_litre,
        per_us_gallon,
        per_imperial_gallon,
        per_unit,
        per_case,
    })
}

fn spread_over_units(lines: &mut [CostLine], one_unit: &Exact) {
    for line in lines {
        if line.value_per_unit.is_none() {
            line.value_per_unit = line.value.as_ref().map(|value| value * one_unit);
        }
        if line.amount_per_unit.is_none() {
            line.amount_per_unit = line.amount.as_ref().map(|amount| amount * one_unit);
        }
        spread_over_units(&mut line.nested, one_unit);
    }
}

fn spread_shares(lines: &mut [CostLine], one_part: &Exact) {
    for line in lines {
        line.share = line.value.as_ref().map(|value| value * one_part);
        spread_shares(&mut line.nested, one_part);
    }
}
