//! What a year takes of a material: the yearly volumes of all packs, through their formulas and intermediates, back to what is bought.
//!
//! Only what the material stands in is looked at: from it up to the formulas that hold it on the day, and to their packs. A pack takes,
//! for each unit, its part of the version's usual batch, so that process loss, heel and filling loss are counted as they fall.

use chrono::NaiveDate;
use domain::{
    formulas::{Formula, FormulaVersion},
    packs::Pack,
};
use kernel::{
    Exact,
    ids::{FormulaId, MaterialId},
};
use std::collections::HashSet;

use crate::{
    EngineError, View,
    explode::{Exploded, explode},
    output::{batch_output, component_per_unit, fill_mass, filling_output},
};

/// What a year takes of a material.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct YearlyUse {
    /// kg or pieces.
    pub amount: Exact,
    /// Units a year of the packs that take it.
    pub units: u64,
    /// Codes of these packs.
    pub packs: Vec<String>,
    /// Codes of packs it stands in whose part is not known: no yearly volume, no density, a formula that cannot be taken apart.
    pub not_known: Vec<String>,
}

/// What a year takes of a material, by the versions approved on a day and at their usual batches.
///
/// # Errors
/// [`EngineError::NotFound`] for what is not in the catalogue; [`EngineError::Amount`] when a figure leaves its range.
pub fn yearly_use(view: &View<'_>, material: MaterialId, on: NaiveDate) -> Result<YearlyUse, EngineError> {
    let catalogue = view.catalogue();
    let mut found = YearlyUse::default();
    for formula in formulas_above(view, material, on) {
        let Some(formula) = catalogue.formulas.get(formula) else { continue };
        let Some(version) = formula.approved_on(on).map(|written| view.as_assumed(written)) else { continue };
        let packs = catalogue.packs_of(formula.id);
        if packs.is_empty() {
            continue;
        }
        // Another formula that cannot be taken apart does not stand in the way of this question.
        let per_kg = explode(view, version, on)
            .ok()
            .filter(Exploded::is_complete)
            .and_then(|exploded| exploded.get(material).map(|part| part.per_kg_charged.clone()));
        for id in packs {
            let pack = view.pack(*id)?;
            let per_unit = per_kg.as_ref().and_then(|per_kg| {
                let batch = version.usual_batch.to_exact();
                let units = units_of_batch(view, version, pack)?;
                (per_kg * &batch).checked_div(&units).ok()
            });
            found.add(pack, per_unit);
        }
    }
    for id in catalogue.packs_using(material) {
        let pack = view.pack(*id)?;
        let mut per_unit = Some(Exact::ZERO);
        for component in pack.components.iter().filter(|component| component.material == material) {
            let part = component_per_unit(pack, component)?.ok();
            per_unit = per_unit.zip(part).map(|(sum, part)| sum + part);
        }
        found.add(pack, per_unit);
    }
    Ok(found)
}

impl YearlyUse {
    fn add(&mut self, pack: &Pack, per_unit: Option<Exact>) {
        match per_unit.zip(pack.units_a_year) {
            Some((per_unit, units)) => {
                self.amount += &per_unit * &Exact::whole(i128::from(units));
                self.units = self.units.saturating_add(units);
                self.packs.push(pack.code.clone());
            }
            None => self.not_known.push(pack.code.clone()),
        }
    }
}

/// Units that the usual batch of a version fills.
fn units_of_batch(view: &View<'_>, version: &FormulaVersion, pack: &Pack) -> Option<Exact> {
    let batch = batch_output(view, version, &version.usual_batch.to_exact()).ok()?;
    let fill = fill_mass(view, pack, version).ok()?.ok()?;
    filling_output(pack, &batch.good, &fill).ok().map(|filling| Exact::whole(filling.units))
}

/// The formulas whose version of the day holds a material, directly or through intermediates, each once.
pub(crate) fn formulas_above(view: &View<'_>, material: MaterialId, on: NaiveDate) -> Vec<FormulaId> {
    let catalogue = view.catalogue();
    let mut found = Vec::new();
    let mut seen = HashSet::from([material]);
    let mut open = vec![material];
    while let Some(material) = open.pop() {
        for id in catalogue.versions_using(material) {
            let Some((formula, version)) = catalogue.version(*id) else { continue };
            let holds = |formula: &Formula| formula.approved_on(on).is_some_and(|now| now.id == version.id);
            if holds(formula) && seen.insert(formula.makes) {
                found.push(formula.id);
                open.push(formula.makes);
            }
        }
    }
    found
}
