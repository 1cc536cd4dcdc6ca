//! What to make so that a lot is used up before it expires: every formula that takes its material, with the batch that would use up what
//! no planned run takes, how many usual batches that is, how long the packs filled with it would last, and what else is missing.

use chrono::NaiveDate;
use kernel::{
    Exact, Mass, Quantity,
    ids::{FormulaId, FormulaVersionId, LotId},
};
use serde::Serialize;

use crate::{
    CostSubject, EngineError, MaterialRef, View,
    explode::explode,
    outlook::{OutlookRequest, walk_outlook},
    output::batch_output,
    planned::{Walk, open_runs},
    recipes::Recipes,
    run_check::{RunAmount, RunRequest, Verdict, run_check},
    shelf::{Shelf, last_day_to_take},
    yearly::formulas_above,
};

/// What to make to use up a lot.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct UseUp {
    /// The lot.
    pub lot: LotId,
    /// Its number.
    pub number: String,
    /// Its material.
    pub material: MaterialRef,
    /// What no planned run takes before the last day.
    pub left: Quantity,
    /// The last day it can be taken; `None` when nothing limits it.
    pub last_day: Option<NaiveDate>,
    /// Formulas that take it: those that can be made first, then those that use up most in one run, then by code.
    pub ways: Vec<Way>,
}

/// One formula that takes it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Way {
    /// The formula.
    pub formula: FormulaId,
    /// Its code.
    pub code: String,
    /// The version approved on the day.
    pub version: FormulaVersionId,
    /// kg of the material in one kg charged, intermediates made anew (percent in JSON).
    #[serde(serialize_with = "crate::figures::dose")]
    pub share: Exact,
    /// The batch that uses it all up, kg charged.
    #[serde(serialize_with = "crate::figures::amount")]
    pub batch: Exact,
    /// What one run charges: the batch that uses it all up, or the most the vessel takes.
    pub run: Mass,
    /// What that run takes of the lot.
    pub uses: Quantity,
    /// Runs of that size that use it all up.
    pub runs: i128,
    /// How long the good output of the batch lasts, in days of what all packs filled with it sell; `None` where nobody knows.
    pub lasts_days: Option<i128>,
    /// Whether one such run can be made today.
    pub verdict: Verdict,
    /// What it is short of besides, by code.
    pub short_of: Vec<String>,
}

/// What to make to use up a lot, begun today.
///
/// # Errors
/// [`EngineError::NotFound`] for a lot that is not on the shelf; those of [`run_check`].
pub fn use_up(view: &View<'_>, shelf: &Shelf, lot: LotId, today: NaiveDate) -> Result<UseUp, EngineError> {
    let known = shelf.lot(lot);
    let known =
        known.ok_or_else(|| EngineError::NotFound { what: "lot on the shelf", key: lot.to_string() })?;
    let material = view.material(known.material)?;
    let recipes = Recipes::new(view);
    let last_day = last_day_to_take(known, material);
    let runs = open_runs(&recipes, shelf, today);
    let request = OutlookRequest { today, until: last_day };
    let walked = walk_outlook(&recipes, Walk::new(recipes.catalogue(), shelf), &runs, request);
    let left = walked.lots.iter().find(|row| row.lot == lot).map_or(known.on_hand, |row| row.left);
    let mut found = UseUp {
        lot,
        number: known.number.clone(),
        material: MaterialRef::from(&**material),
        left,
        last_day,
        ways: Vec::new(),
    };
    if !left.is_positive() || last_day.is_some_and(|last| last < today) {
        return Ok(found);
    }
    for id in formulas_above(view, known.material, today) {
        found.ways.extend(way(view, shelf, &found, id, today)?);
    }
    found.ways.sort_by(|a, b| {
        let can = |way: &Way| way.verdict == Verdict::Short;
        can(a).cmp(&can(b)).then(b.uses.raw().cmp(&a.uses.raw())).then_with(|| a.code.cmp(&b.code))
    });
    Ok(found)
}

fn way(
    view: &View<'_>,
    shelf: &Shelf,
    lot: &UseUp,
    id: FormulaId,
    today: NaiveDate,
) -> Result<Option<Way>, EngineError> {
    let catalogue = view.catalogue();
    let Some(formula) = catalogue.formulas.get(id) else { return Ok(None) };
    let Some(version) = formula.approved_on(today) else { return Ok(None) };
    let Ok(exploded) = explode(view, version, today) else { return Ok(None) };
    let Some(share) = exploded.get(lot.material.id).map(|part| part.per_kg_charged.clone()) else {
        return Ok(None);
    };
    let Ok(batch) = lot.left.to_exact().checked_div(&share) else { return Ok(None) };
    let whole = Mass::from_exact_down(&batch)?;
    let run = version.largest_batch.map_or(whole, |most| whole.min(most));
    if !run.is_positive() {
        return Ok(None);
    }
    let uses = Mass::from_exact_down(&(run.to_exact() * &share))?;
    let request = RunRequest {
        subject: CostSubject::Version(version.id),
        amount: RunAmount::Batch(run),
        on: today,
        today,
        ticket: None,
    };
    let check = run_check(view, shelf, &request)?;
    let short_of = check
        .materials
        .iter()
        .filter(|row| row.short_by.is_positive() && row.material.id != lot.material.id)
        .map(|row| row.material.code.clone())
        .collect();
    Ok(Some(Way {
        formula: id,
        code: formula.code.clone(),
        version: version.id,
        share,
        runs: batch.checked_div(&run.to_exact())?.ceil()?,
        lasts_days: lasts(view, id, &batch_output(view, version, &batch)?.good, today)?,
        batch,
        run,
        uses: Quantity::Mass(uses),
        verdict: check.verdict,
        short_of,
    }))
}

/// Days of sales that so many kg of good liquid are, in whole days; `None` where a volume or a fill is not known.
fn lasts(
    view: &View<'_>,
    formula: FormulaId,
    good: &Exact,
    today: NaiveDate,
) -> Result<Option<i128>, EngineError> {
    let mut a_year = Exact::ZERO;
    for pack in view.catalogue().packs_of(formula) {
        let pack = view.pack(*pack)?;
        let Some(units) = pack.units_a_year else { continue };
        let Some(version) = view.catalogue().formulas.get(formula).and_then(|f| f.approved_on(today)) else {
            return Ok(None);
        };
        let Ok(fill) = crate::output::fill_mass(view, pack, version)? else { return Ok(None) };
        a_year += fill * Exact::whole(i128::from(units));
    }
    if !a_year.is_positive() {
        return Ok(None);
    }
    Ok(Some((good * &Exact::whole(365)).checked_div(&a_year)?.floor()?))
}
