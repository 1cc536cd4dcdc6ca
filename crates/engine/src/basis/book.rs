//! What a question on another basis than replacement needs to be given: histories of materials, and standards.

use chrono::NaiveDate;
use domain::{lots::Lot, stock::Movement};
use kernel::{
    AmountError, Exact, UnitPrice,
    ids::{LotId, MaterialId},
};
use serde::{Deserialize, Serialize};
use std::{
    collections::{HashMap, HashSet},
    sync::Arc,
};

use super::{
    Basis,
    history::{Gathering, History, LotRef, named},
    on_basis::price_on_basis,
};
use crate::{
    CostRequest, EngineError, Gap, View,
    cost::find_subject,
    explode::{Making, explode, making},
    gap::add_gap,
};

/// A material's cost as it was agreed and frozen on a day, with where it came from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct StandardCost {
    /// The day it was frozen; it holds from that day until a later one.
    pub frozen_on: NaiveDate,
    /// Per kg or piece.
    pub unit_cost: UnitPrice,
    /// The basis it was taken from.
    pub basis: Basis,
    /// Where it came from on that day, in a sentence.
    pub explained: String,
}

/// Histories and standards of the materials a question may meet.
#[derive(Debug, Clone, Default)]
pub struct HistoryBook {
    histories: HashMap<MaterialId, History>,
    standards: HashMap<MaterialId, Vec<StandardCost>>,
}

impl HistoryBook {
    /// A book of what the ledger says: lots of any number of materials, those of which nothing is left among them, and every movement
    /// of theirs, in any order.
    ///
    /// # Errors
    /// Those of [`history_of`](super::history_of).
    pub fn from_ledger(lots: &[Lot], movements: &[Movement]) -> Result<Self, AmountError> {
        let known: HashMap<LotId, (&Lot, Arc<LotRef>)> =
            lots.iter().map(|lot| (lot.id, (lot, named(lot)))).collect();
        let mut gathering: HashMap<MaterialId, Gathering> = HashMap::new();
        for movement in movements {
            if let Some((lot, named)) = known.get(&movement.lot) {
                gathering.entry(lot.material).or_default().add(lot, named, movement)?;
            }
        }
        let histories =
            gathering.into_iter().map(|(material, gathered)| (material, gathered.finish())).collect();
        Ok(Self { histories, standards: HashMap::new() })
    }

    /// Puts in a material's history, in place of one that is there.
    pub fn set_history(&mut self, material: MaterialId, history: History) {
        self.histories.insert(material, history);
    }

    /// Puts in a material's standard of a day, in place of one of that day.
    pub fn set_standard(&mut self, material: MaterialId, standard: StandardCost) {
        let standards = self.standards.entry(material).or_default();
        standards.retain(|known| known.frozen_on != standard.frozen_on);
        standards.push(standard);
        standards.sort_by_key(|known| known.frozen_on);
    }

    /// A material's history.
    pub fn history(&self, material: MaterialId) -> Option<&History> {
        self.histories.get(&material)
    }

    /// A material's standard that holds on a day: the latest frozen on or before it.
    pub fn standard(&self, material: MaterialId, day: NaiveDate) -> Option<&StandardCost> {
        self.standards.get(&material)?.iter().rev().find(|standard| standard.frozen_on <= day)
    }
}

/// Materials whose price a cost sheet asks for, once each: bought raw materials through every level of intermediates, and packaging
/// components. Utilities are not among them, for they have no lots. A book for the request needs these.
///
/// # Errors
/// Those of [`cost_sheet`](crate::cost_sheet) for a subject that is not there, and those of [`explode`].
pub fn materials_priced(view: &View<'_>, request: &CostRequest) -> Result<Vec<MaterialId>, EngineError> {
    let (version, pack) = find_subject(view, request)?;
    let mut found: Vec<MaterialId> =
        explode(view, version, request.as_of)?.materials.iter().map(|part| part.material).collect();
    for component in pack.iter().flat_map(|pack| &pack.components) {
        found.push(component.material);
        if let Making::Made { version, .. } = making(view, component.material, request.as_of) {
            found.extend(explode(view, version, request.as_of)?.materials.iter().map(|part| part.material));
        }
    }
    let mut seen = HashSet::new();
    found.retain(|material| seen.insert(*material));
    let mut priced = Vec::with_capacity(found.len());
    for material in found {
        if view.material(material)?.kind.is_stocked() {
            priced.push(material);
        }
    }
    Ok(priced)
}

/// Costs to be frozen, and what stands in the way of the others.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Frozen {
    /// By material, in the order asked.
    pub costs: Vec<(MaterialId, StandardCost)>,
    /// Why the others have none.
    pub gaps: Vec<Gap>,
}

/// What materials cost on a day on a basis, to be kept as standards from that day on. Each is asked for at the quantity (kg or
/// pieces) given beside it, which decides price breaks, and rounded half to even to the eight places a price is kept to.
///
/// # Errors
/// Those of [`price_on_basis`].
pub fn freeze_costs(
    view: &View<'_>,
    materials: impl IntoIterator<Item = (MaterialId, Exact)>,
    basis: Basis,
    on: NaiveDate,
) -> Result<Frozen, EngineError> {
    let mut frozen = Frozen::default();
    for (id, demanded) in materials {
        match price_on_basis(view, view.material(id)?, basis, &demanded, on)? {
            Ok(price) => {
                let scaled = price.per_unit.round_half_even_scaled(UnitPrice::PLACES)?;
                let standard = StandardCost {
                    frozen_on: on,
                    unit_cost: UnitPrice::from_scaled(scaled, view.currency()),
                    basis,
                    explained: price.source.to_string(),
                };
                frozen.costs.push((id, standard));
            }
            Err(gap) => add_gap(&mut frozen.gaps, gap),
        }
    }
    Ok(frozen)
}
