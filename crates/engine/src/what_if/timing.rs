//! From when costs move: what is on the shelf at the old price, and what is on order at a protected one, is used up first.
//!
//! A material's cover is what of it is on the shelf and not rejected, and what is stated to be on order at the old price, over a day's
//! use; a day's use is a 365th of the year's, which is what all packs with a yearly volume take. Intermediates and bulk already made are
//! not counted as cover. The first year is the 365 days from the day both sides are costed for.

use chrono::{Days, NaiveDate};
use domain::lots::LotStatus;
use kernel::{
    Exact, Quantity,
    ids::{MaterialId, PackId},
};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

use super::{CostHit, Figures, WhatIf, costs::Costing};
use crate::{
    EngineError, MaterialRef,
    cost::{CostRequest, cost_sheet},
    explode::explode,
    reach::reach,
    scenario::{Edited, Laid, OldPriceCover, in_stock},
    shelf::Shelf,
    yearly::yearly_use,
};

/// Days of a year of use.
const YEAR: i64 = 365;

/// Where a cover comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum CoverFrom {
    /// The scenario states it in days.
    Stated,
    /// Stock and protected orders over the year's use.
    Stock,
    /// Nobody knows how much a year takes, so nothing is taken to be covered.
    NoYearlyUse,
}

impl CoverFrom {
    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Stated => "as stated",
            Self::Stock => "stock over the year's use",
            Self::NoYearlyUse => "not known, for no yearly use is",
        }
    }
}

/// From when one material is used at its new price.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MaterialTiming {
    /// The material.
    pub material: MaterialRef,
    /// On the shelf, at the old price.
    pub on_shelf: Quantity,
    /// On order at the old price, as stated.
    pub ordered: Quantity,
    /// What a year takes, kg or pieces; nought when nobody knows.
    #[serde(serialize_with = "crate::figures::amount")]
    pub a_year: Exact,
    /// Where the cover comes from.
    pub cover_from: CoverFrom,
    /// Whole days the old price lasts from the day both sides are costed for.
    pub days: u32,
    /// The first day it is used at the new price.
    pub moves_on: NaiveDate,
}

/// From when the cost of one unit moves.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Timing {
    /// Each day the cost moves, and to what.
    pub steps: Vec<CostStep>,
    /// Units a year times the change, in the first year; `None` without a volume or where a cost is not known.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub first_year_effect: Option<Exact>,
}

/// A day from which a unit, or a kg of a formula, costs something else.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CostStep {
    /// The day.
    pub from: NaiveDate,
    /// What it costs from then on; `None` where it is not known.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub cost: Option<Exact>,
    /// Materials that are used at the new price from then on; by code.
    pub materials: Vec<String>,
}

/// Works out from when materials and packs cost what they will.
pub(super) fn time(
    costing: &Costing<'_, '_>,
    shelf: &Shelf,
    laid: &Laid<'_>,
    answer: &mut WhatIf,
) -> Result<(), EngineError> {
    let plain = costing.plain;
    let changed_on = answer.costed_on;
    // Only prices wait for the shelf; what is assumed of formulas and volumes holds at once.
    let priced = reach(plain.catalogue(), &laid.overlay, &Edited::default(), changed_on).touched;
    let mut moves: BTreeMap<MaterialId, NaiveDate> = BTreeMap::new();
    for id in priced {
        let Some(material) = plain.catalogue().materials.get(id) else { continue };
        let quantity = |raw| Quantity::from_raw(raw, material.stock_dimension());
        let there = shelf
            .lots_of(id)
            .filter(|lot| lot.status != LotStatus::Rejected)
            .fold(0_i64, |sum, lot| sum.saturating_add(lot.on_hand.raw().max(0)));
        let ordered = match laid.covers.get(&id) {
            Some(OldPriceCover::Ordered(quantity)) => in_stock(*quantity, material).unwrap_or_default(),
            _ => 0,
        };
        let a_year = yearly_use(plain, id, changed_on)?.amount;
        let (cover_from, days) = match laid.covers.get(&id) {
            Some(OldPriceCover::Days(days)) => (CoverFrom::Stated, *days),
            _ => {
                let covered = quantity(there.saturating_add(ordered)).to_exact() * Exact::from(YEAR);
                match covered.checked_div(&a_year) {
                    Ok(days) => {
                        // Some of it is used up before the change.
                        let passed = (changed_on - answer.as_of).num_days();
                        let days = i64::try_from(days.floor()?).unwrap_or(i64::MAX).saturating_sub(passed);
                        (CoverFrom::Stock, u32::try_from(days.max(0)).unwrap_or(u32::MAX))
                    }
                    Err(_) => (CoverFrom::NoYearlyUse, 0),
                }
            }
        };
        let moves_on = changed_on.checked_add_days(Days::new(u64::from(days))).unwrap_or(NaiveDate::MAX);
        moves.insert(id, moves_on);
        answer.materials.push(MaterialTiming {
            material: MaterialRef::from(&**material),
            on_shelf: quantity(there),
            ordered: quantity(ordered),
            a_year,
            cover_from,
            days,
            moves_on,
        });
    }
    answer.materials.sort_by(|a, b| a.material.code.cmp(&b.material.code));
    let mut packs = std::mem::take(&mut answer.packs);
    let mut first_year = Exact::ZERO;
    for hit in &mut packs {
        if let Some(pack) = hit.pack {
            hit.timing = Some(timing_of(costing, laid, &moves, hit, pack, changed_on)?);
        }
        let first = hit.timing.as_ref().and_then(|timing| timing.first_year_effect.clone());
        first_year += first.unwrap_or_default();
    }
    answer.packs = packs;
    answer.first_year_effect = Some(first_year);
    Ok(())
}

fn timing_of(
    costing: &Costing<'_, '_>,
    laid: &Laid<'_>,
    moves: &BTreeMap<MaterialId, NaiveDate>,
    hit: &CostHit,
    pack: PackId,
    changed_on: NaiveDate,
) -> Result<Timing, EngineError> {
    let view = costing.changed;
    let mut own: BTreeSet<MaterialId> = BTreeSet::new();
    if let Ok((_, version)) = view.version(hit.version)
        && let Ok(exploded) = explode(view, version, changed_on)
    {
        own.extend(moves.keys().copied().filter(|id| exploded.get(*id).is_some()));
    }
    let parts = &view.pack(pack)?.components;
    own.extend(parts.iter().map(|part| part.material).filter(|id| moves.contains_key(id)));
    let day_of = |id: &MaterialId| moves.get(id).copied().unwrap_or(changed_on);
    let mut days: BTreeSet<NaiveDate> = own.iter().map(day_of).collect();
    days.insert(changed_on);

    let mut steps: Vec<CostStep> = Vec::with_capacity(days.len());
    let before = hit.before.per_unit.clone().filter(|_| hit.before.complete);
    let mut last = before.clone();
    for day in days {
        let mut overlay = laid.overlay.clone();
        overlay.old_price = own.iter().copied().filter(|id| day_of(id) > day).collect();
        let cost = if overlay.old_price.is_empty() {
            hit.after.per_unit.clone().filter(|_| hit.after.complete)
        } else {
            let sheet = cost_sheet(&view.overlaid(&overlay), &CostRequest::pack(pack, changed_on))?;
            let figures = Figures::from(&sheet);
            figures.per_unit.filter(|_| figures.complete)
        };
        if cost != last || cost.is_none() {
            let moved = own.iter().filter(|id| day_of(id) == day);
            let mut materials: Vec<String> = moved
                .filter_map(|id| view.catalogue().materials.get(*id))
                .map(|material| material.code.clone())
                .collect();
            materials.sort();
            steps.push(CostStep { from: day, cost: cost.clone(), materials });
        }
        last = cost;
    }
    let first_year_effect =
        before.and_then(|before| first_year(&steps, &before, hit.units_a_year, changed_on));
    Ok(Timing { steps, first_year_effect })
}

/// The year's change, day by day.
fn first_year(
    steps: &[CostStep],
    before: &Exact,
    units: Option<u64>,
    changed_on: NaiveDate,
) -> Option<Exact> {
    let units = Exact::whole(i128::from(units?));
    let ends = steps.iter().skip(1).map(|step| (step.from - changed_on).num_days()).chain([YEAR]);
    let mut effect = Exact::ZERO;
    for (step, end) in steps.iter().zip(ends) {
        let begin = (step.from - changed_on).num_days().clamp(0, YEAR);
        let days = Exact::from(end.clamp(0, YEAR) - begin);
        effect += (step.cost.as_ref()? - before) * days;
    }
    (effect * units).checked_div(&Exact::from(YEAR)).ok()
}
