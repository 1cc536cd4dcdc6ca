//! What each of several changes does: its own share of the effect.
//!
//! The method: changes are laid one after the other in the order they are stated; the share of each is what it adds to the effect of
//! those before it. The shares of all add up to the whole, to the last digit. Another order gives other shares of the same whole
//! wherever two changes meet: +5 % on a price and then another exchange rate are not what either does alone.

use kernel::{Exact, ids::PackId};
use serde::Serialize;
use std::collections::HashMap;

use super::{Figures, WhatIf, costs::Costing, plain_over};
use crate::{
    EngineError,
    cost::{CostRequest, cost_sheet},
    reach::Reach,
    scenario::{Change, lay},
    shelf::Shelf,
};

/// What one change does to the yearly effect.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ChangeShare {
    /// Position in the scenario, from 1.
    pub change: usize,
    /// What it adds to the yearly effect of those before it; above nought is dearer.
    #[serde(serialize_with = "crate::figures::cost")]
    pub yearly_effect: Exact,
}

/// What one change does to one formula or pack.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RowShare {
    /// Position in the scenario, from 1.
    pub change: usize,
    /// What it adds to the cost of a unit of the pack, or of a kg of the formula; `None` where a cost is not known.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub change_of_cost: Option<Exact>,
    /// What it adds to the yearly effect; `None` for a formula, and where a cost or the volume is not known.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub yearly_effect: Option<Exact>,
}

/// Figures of one row with the first so many changes, from none to all.
#[derive(Debug, Default)]
struct Series {
    /// The cost of a unit or kg.
    costs: Vec<Option<Exact>>,
    /// The yearly effect so far.
    effects: Vec<Option<Exact>>,
}

impl Series {
    fn push(&mut self, cost: Option<Exact>, units: Option<u64>) {
        let first = self.costs.first().cloned().unwrap_or_else(|| cost.clone());
        let change = cost.as_ref().zip(first.as_ref()).map(|(cost, first)| cost - first);
        let units = units.map(|units| Exact::whole(i128::from(units)));
        self.effects.push(change.zip(units).map(|(change, units)| change * units));
        self.costs.push(cost);
    }

    fn steps(list: &[Option<Exact>]) -> impl Iterator<Item = Option<Exact>> {
        list.iter().zip(list.iter().skip(1)).map(|(before, after)| Some(after.as_ref()? - before.as_ref()?))
    }

    fn shares(&self) -> Vec<RowShare> {
        let costs = Self::steps(&self.costs);
        let effects = Self::steps(&self.effects);
        costs
            .zip(effects)
            .zip(1..)
            .map(|((change_of_cost, yearly_effect), change)| RowShare {
                change,
                change_of_cost,
                yearly_effect,
            })
            .collect()
    }
}

/// Works out the share of each change, of the whole and of each row.
pub(super) fn share_out(
    costing: &Costing<'_, '_>,
    shelf: &Shelf,
    changes: &[Change],
    reached: &Reach,
    answer: &mut WhatIf,
) -> Result<(), EngineError> {
    let on = answer.costed_on;
    let mut packs: HashMap<PackId, Series> = HashMap::new();
    let mut formulas: HashMap<_, Series> = HashMap::new();
    for count in 0..=changes.len() {
        let Some(first) = changes.get(..count) else { break };
        let laid = lay(costing.plain, shelf, first, answer.as_of, Some(on))?;
        let assumed = laid.edited.catalogue(costing.plain.catalogue());
        let view = plain_over(costing.plain, assumed.as_ref(), &laid.overlay);
        let complete = |request: &CostRequest| {
            let figures = Figures::from(&cost_sheet(&view, request).ok()?);
            figures.complete.then_some(figures)
        };
        for id in &reached.versions {
            let cost = complete(&CostRequest::version(*id, on)).map(|figures| figures.per_kg);
            formulas.entry(*id).or_default().push(cost, None);
        }
        for id in &reached.packs {
            let cost = complete(&CostRequest::pack(*id, on)).and_then(|figures| figures.per_unit);
            let units = view.catalogue().packs.get(*id).and_then(|pack| pack.units_a_year);
            packs.entry(*id).or_default().push(cost, units);
        }
    }
    for hit in &mut answer.formulas {
        hit.shares = formulas.get(&hit.version).map(Series::shares).unwrap_or_default();
    }
    for hit in &mut answer.packs {
        let series = hit.pack.and_then(|pack| packs.get(&pack));
        hit.shares = series.map(Series::shares).unwrap_or_default();
    }
    let mut totals = vec![Exact::ZERO; changes.len()];
    for series in packs.values() {
        // A row that is not known on the way tells nothing of where its effect comes from.
        let steps: Option<Vec<Exact>> = Series::steps(&series.effects).collect();
        for (total, step) in totals.iter_mut().zip(steps.into_iter().flatten()) {
            *total += step;
        }
    }
    let shared: Exact = totals.iter().sum();
    answer.not_shared = &answer.yearly_effect - &shared;
    answer.shares = totals
        .into_iter()
        .zip(1..)
        .map(|(yearly_effect, change)| ChangeShare { change, yearly_effect })
        .collect();
    Ok(())
}
