//! The outlook: what the coming weeks do to the shelf. Open tickets are walked through in the order of their days, each taking its
//! lots by first expiry, first out; what is left of a lot when its last day comes is stranded.

use chrono::NaiveDate;
use domain::materials::MaterialKind;
use kernel::{
    Exact, Money, Quantity,
    ids::{LotId, MaterialId},
};
use serde::Serialize;
use std::collections::HashMap;

use crate::{
    EngineError,
    buying::{BuyingDays, Purchase, purchase},
    planned::{Need, Run, RunOff, RunRef, Walk, open_runs, plus},
    recipes::Recipes,
    shelf::{Shelf, last_day_to_take},
    view::View,
};

/// What is asked: how far to look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OutlookRequest {
    /// Today; overdue tickets count for it.
    pub today: NaiveDate,
    /// The last day looked at; `None` for the day of the last open ticket.
    pub until: Option<NaiveDate>,
}

/// What the coming weeks do to the shelf.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Outlook {
    /// The first day looked at.
    pub from: NaiveDate,
    /// The last day looked at.
    pub until: NaiveDate,
    /// The runs in the order they are walked through.
    pub runs: Vec<RunOff>,
    /// Lots by material code and number; finished products, which leave by sale and not by ticket, are left out.
    pub lots: Vec<LotOutlook>,
    /// Materials that runs need, by code.
    pub materials: Vec<MaterialOutlook>,
}

/// What becomes of a lot.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LotOutlook {
    /// The lot.
    pub lot: LotId,
    /// The house's number for it.
    pub number: String,
    /// Its material.
    pub material: MaterialId,
    /// What is there now.
    pub on_hand: Quantity,
    /// What the runs take.
    pub taken: Quantity,
    /// What they leave.
    pub left: Quantity,
    /// The day of the last run that takes from it.
    pub last_taken_on: Option<NaiveDate>,
    /// The last day it may be used; `None` when nothing limits it.
    pub last_day_of_use: Option<NaiveDate>,
    /// The part no planned run will use before it can no longer be used within the days looked at; all of a rejected lot.
    pub stranded: Quantity,
    /// The exact share of the lot's value that is stranded, rounded half to even to the millionth; `None` where the lot has no value.
    pub stranded_value: Option<Money>,
}

/// What becomes of a material.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MaterialOutlook {
    /// The material.
    pub material: MaterialId,
    /// What the runs need in all, also behind intermediates that are made first.
    pub needed: Quantity,
    /// What is missing in all. For an intermediate that can be made, nought.
    pub short_by: Quantity,
    /// The first day something is missing.
    pub first_short_on: Option<NaiveDate>,
    /// The run that is short on that day.
    pub first_short_run: Option<RunRef>,
    /// What of an intermediate has to be made for the runs.
    pub make_first: Quantity,
    /// The first day by which that has to be made.
    pub make_first_by: Option<NaiveDate>,
    /// What to buy for all that is missing, to be usable on the first day something is.
    pub buy: Option<Purchase>,
}

/// What the coming weeks do to the shelf.
///
/// # Errors
/// [`EngineError`] when a purchase cannot be worked out: an unknown supplier, a figure out of range. What is merely missing is a
/// gap in the purchase.
pub fn outlook(view: &View<'_>, shelf: &Shelf, request: OutlookRequest) -> Result<Outlook, EngineError> {
    let recipes = Recipes::new(view);
    let runs = open_runs(&recipes, shelf, request.today);
    let walk = Walk::new(recipes.catalogue(), shelf);
    let mut outlook = walk_outlook(&recipes, walk, &runs, request);
    let not_before = HashMap::new();
    for row in outlook.materials.iter_mut().filter(|row| row.short_by.is_positive()) {
        let material = view.material(row.material)?;
        let needed_on = row.first_short_on.unwrap_or(request.today);
        let days = BuyingDays { today: request.today, needed_on, not_before: &not_before, late: 0 };
        row.buy = Some(purchase(view, material, row.short_by.raw(), days)?);
    }
    Ok(outlook)
}

/// The outlook for a shelf and runs that are given, which a scenario may have changed.
pub(crate) fn walk_outlook<'a>(
    recipes: &Recipes<'_>,
    mut walk: Walk<'a>,
    runs: &[Run<'a>],
    request: OutlookRequest,
) -> Outlook {
    let until = request
        .until
        .or_else(|| runs.iter().map(|run| run.on).max())
        .map_or(request.today, |until| until.max(request.today));
    let runs: Vec<RunOff> =
        runs.iter().filter(|run| run.on <= until).map(|run| walk.run(recipes, run)).collect();
    let lots = lot_outlooks(recipes, &walk, &runs, until);
    let materials = material_outlooks(recipes, &runs);
    Outlook { from: request.today, until, runs, lots, materials }
}

fn lot_outlooks(
    recipes: &Recipes<'_>,
    walk: &Walk<'_>,
    runs: &[RunOff],
    until: NaiveDate,
) -> Vec<LotOutlook> {
    let mut last_taken: HashMap<LotId, NaiveDate> = HashMap::new();
    for run in runs {
        for_each_need(run, |need, _| {
            for lot in need.takes.iter().filter_map(|take| take.from.lot()) {
                last_taken.insert(lot, run.on);
            }
        });
    }
    let mut lots: Vec<(&str, LotOutlook)> = walk
        .left()
        .filter_map(|held| {
            let (lot, left) = (held.lot.as_ref(), held.left);
            let material = recipes.catalogue().materials.get(lot.material)?;
            if material.kind == MaterialKind::FinishedProduct {
                return None;
            }
            let dimension = material.stock_dimension();
            let ends = last_day_to_take(lot, material).is_some_and(|last| last <= until);
            let stranded = if ends || held.is_rejected() { left } else { 0 };
            let outlook = LotOutlook {
                lot: lot.id,
                number: lot.number.clone(),
                material: lot.material,
                on_hand: lot.on_hand,
                taken: Quantity::from_raw(lot.on_hand.raw().saturating_sub(left), dimension),
                left: Quantity::from_raw(left, dimension),
                last_taken_on: last_taken.get(&lot.id).copied(),
                last_day_of_use: lot.last_day_of_use(material),
                stranded: Quantity::from_raw(stranded, dimension),
                stranded_value: lot.value.and_then(|value| share_of(value, stranded, lot.on_hand.raw())),
            };
            Some((material.code.as_str(), outlook))
        })
        .collect();
    lots.sort_by(|(a, x), (b, y)| (a, &x.number).cmp(&(b, &y.number)));
    lots.into_iter().map(|(_, lot)| lot).collect()
}

/// The exact share of a value, rounded half to even to the millionth.
pub(crate) fn share_of(value: Money, part: i64, whole: i64) -> Option<Money> {
    if part == 0 {
        return Some(Money::zero(value.currency()));
    }
    let share = Exact::ratio(i128::from(part), i128::from(whole)).ok()?;
    Money::from_exact_half_even(&(value.to_exact() * share), value.currency()).ok()
}

fn material_outlooks(recipes: &Recipes<'_>, runs: &[RunOff]) -> Vec<MaterialOutlook> {
    let mut found: HashMap<MaterialId, MaterialOutlook> = HashMap::new();
    for run in runs {
        for_each_need(run, |need, _| {
            let nought = Quantity::from_raw(0, need.needed.dimension());
            let row = found.entry(need.material).or_insert_with(|| MaterialOutlook {
                material: need.material,
                needed: nought,
                short_by: nought,
                first_short_on: None,
                first_short_run: None,
                make_first: nought,
                make_first_by: None,
                buy: None,
            });
            row.needed = plus(row.needed, need.needed);
            if need.make_first.is_some() {
                row.make_first = plus(row.make_first, need.short_by);
                row.make_first_by.get_or_insert(run.on);
            } else if need.short_by.is_positive() {
                row.short_by = plus(row.short_by, need.short_by);
                if row.first_short_on.is_none() {
                    row.first_short_on = Some(run.on);
                    row.first_short_run = Some(run.run.clone());
                }
            }
        });
    }
    let mut rows: Vec<MaterialOutlook> = found.into_values().collect();
    rows.sort_by_cached_key(|row| recipes.catalogue().materials.get(row.material).map(|m| m.code.clone()));
    rows
}

/// Every need of a run, also behind intermediates that are made first, with the intermediates it stands behind.
pub(crate) fn for_each_need<'r>(run: &'r RunOff, mut each: impl FnMut(&'r Need, &[MaterialId])) {
    let mut path = Vec::new();
    for need in &run.needs {
        need.visit(&mut path, &mut each);
    }
}

#[cfg(test)]
mod tests;
