//! What a change of prices does: from the materials whose prices change to the rows that hold them, and no further.

use chrono::NaiveDate;
use domain::Catalogue;
use kernel::{
    Exact,
    ids::{FormulaId, FormulaVersionId, MaterialId, PackId},
};
use std::{cmp::Reverse, collections::BTreeMap};

use super::{
    Columns,
    table::{Price, RowChange, Table, Uses},
};
use crate::{
    EngineError, Gap, OrderBasis, Overlay, View,
    orders::order_for,
    price::{Ladder, PriceQuestion, landed_cost},
    view::PriceScope,
};

/// Formulas and packs whose cost changes, those that matter most first.
#[derive(Debug, Default)]
pub struct Touched {
    /// By what a kilogram changes by, rises and falls alike.
    pub formulas: Vec<FormulaChange>,
    /// By what a year changes by, rises and falls alike; then those without a yearly volume, by what a unit changes by.
    pub packs: Vec<PackChange>,
    /// Formulas that have no whole cost after the change; a cost sheet says what is missing.
    pub formulas_lost: Vec<FormulaId>,
    /// Packs likewise.
    pub packs_lost: Vec<PackId>,
}

/// By how much a formula changes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FormulaChange {
    /// The formula.
    pub formula: FormulaId,
    /// The version costed.
    pub version: FormulaVersionId,
    /// Per kg of good output: after less before.
    pub per_kg: Exact,
}

/// By how much a pack changes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackChange {
    /// The pack.
    pub pack: PackId,
    /// Its formula.
    pub formula: FormulaId,
    /// Per unit for sale: after less before.
    pub per_unit: Exact,
    /// The same for its units of a year; `None` where these are not known.
    pub a_year: Option<Exact>,
}

/// What a kg or piece costs when a batch needs so much of it, as a cost sheet on replacement prices it.
pub(super) fn price_for(
    view: &View<'_>,
    material: MaterialId,
    for_batch: &Exact,
    on: NaiveDate,
) -> Result<Result<Exact, Gap>, EngineError> {
    let material = view.material(material)?;
    let (ordered, demand) = match order_for(view, OrderBasis::ForBatch, material, for_batch, on)? {
        Ok(order) => order,
        Err(gap) => return Ok(Err(gap)),
    };
    landed_cost(view, material, &PriceQuestion { demand, ..PriceQuestion::of(&ordered) }, on)
}

/// The materials whose prices an overlay changes, by other prices, other terms or an ended supplier, each once. What it assumes of
/// rates is not looked at.
pub fn repriced(catalogue: &Catalogue, overlay: &Overlay) -> Vec<MaterialId> {
    let mut found = Vec::new();
    let mut wide = Vec::new();
    let prices = overlay.prices.iter().map(|change| change.scope);
    for scope in prices.chain(overlay.terms.iter().map(|change| change.scope)) {
        match scope {
            PriceScope::Material(material) | PriceScope::Pack { material, .. } => found.push(material),
            PriceScope::Quotation(id) | PriceScope::Offer { quotation: id, .. } => {
                found.extend(catalogue.quotation(id).map(|known| known.material));
            }
            PriceScope::Supplier(_) | PriceScope::Currency(_) => wide.push(scope),
        }
    }
    if !(wide.is_empty() && overlay.ended.is_empty()) {
        let hit = catalogue.quotations().iter().filter(|known| {
            wide.iter().any(|scope| scope.touches(known))
                || overlay.ended.iter().any(|end| end.ends(known.supplier, known.material))
        });
        found.extend(hit.map(|known| known.material));
    }
    found.sort_unstable();
    found.dedup();
    found
}

/// A row, what its sum of products changes by, and what it changes by beside that; `None` when it has no cost any more.
type Changed = (u32, Option<(i128, Exact)>);

impl Columns {
    /// What changes when these materials have the prices that `view` has of them, and nothing else does. The view is that of the columns
    /// with prices or terms changed, of the same catalogue; see [`repriced`]. A change of rates also changes what making costs, and
    /// what a formula or pack is assumed to be changes its lines: lay those out anew.
    ///
    /// # Errors
    /// [`EngineError::Amount`] when a figure leaves its range.
    pub fn touched(&self, view: &View<'_>, materials: &[MaterialId]) -> Result<Touched, EngineError> {
        let mut touched = Touched::default();
        let mut of_packs: Vec<(u32, Option<Exact>)> = Vec::new();
        for (at, change) in self.changed(view, materials, &self.formulas, &self.formula_uses)? {
            let Some(row) = self.rows.get(at as usize) else { continue };
            let change = change.and_then(|(whole, beside)| self.formulas.changed_by(at, whole, beside));
            let bounds = self.packs_from.get(at as usize).zip(self.packs_from.get(at as usize + 1));
            for pack in bounds.map_or(0..0, |(from, to)| *from..*to) {
                let kg = self.packs.get(pack as usize).map(|pack| &pack.kg_per_unit);
                of_packs.push((pack, change.as_ref().zip(kg).map(|(change, kg)| change * kg)));
            }
            match change {
                Some(per_kg) if per_kg.is_zero() => {}
                Some(per_kg) => {
                    touched.formulas.push(FormulaChange {
                        formula: row.formula,
                        version: row.version,
                        per_kg,
                    });
                }
                None => touched.formulas_lost.push(row.formula),
            }
        }
        for (at, change) in self.changed(view, materials, &self.components, &self.component_uses)? {
            let change = change.and_then(|(whole, beside)| self.components.changed_by(at, whole, beside));
            of_packs.push((at, change));
        }
        of_packs.sort_by_key(|(pack, _)| *pack);
        for changes in of_packs.chunk_by(|(a, _), (b, _)| a == b) {
            let Some((at, _)) = changes.first() else { continue };
            let Some(row) = self.packs.get(*at as usize) else { continue };
            let Some(formula) = self.rows.get(row.row as usize).map(|row| row.formula) else { continue };
            let sum = changes.iter().try_fold(Exact::ZERO, |sum, (_, change)| Some(sum + change.as_ref()?));
            match sum {
                Some(per_unit) if per_unit.is_zero() => {}
                Some(per_unit) => {
                    let a_year = row.units_a_year.map(|units| &per_unit * &Exact::whole(i128::from(units)));
                    touched.packs.push(PackChange { pack: row.pack, formula, per_unit, a_year });
                }
                None => touched.packs_lost.push(row.pack),
            }
        }
        rank(&mut touched.formulas, |change| (true, &change.per_kg));
        rank(&mut touched.packs, |change| {
            change.a_year.as_ref().map_or((false, &change.per_unit), |a_year| (true, a_year))
        });
        Ok(touched)
    }

    /// Rows of a table that hold the materials, each once, in their order.
    fn changed(
        &self,
        view: &View<'_>,
        materials: &[MaterialId],
        table: &Table,
        uses: &Uses,
    ) -> Result<Vec<Changed>, EngineError> {
        let numbers = materials.iter().filter_map(|id| Some((*id, *self.number_of.get(id)?)));
        let numbers: Vec<(MaterialId, u32)> = numbers.collect();
        let lines = numbers.iter().map(|(_, number)| uses.of(*number).len()).sum();
        let mut sums = Sums::new(table.rows(), lines);
        for (id, number) in numbers {
            let ladder = Ladder::new(view, view.material(id)?, self.on)?;
            let rungs: Vec<Price> = match &ladder {
                Ladder::Offers(offers) => offers.per_unit().cloned().map(Price::new).collect(),
                Ladder::Asked => Vec::new(),
            };
            for (row, entry) in uses.of(number) {
                let rung = match &ladder {
                    Ladder::Offers(offers) => table
                        .short_demand(*entry)
                        .and_then(|(over, under)| offers.least_for(over, under))
                        .and_then(|rung| rungs.get(rung)),
                    Ladder::Asked => None,
                };
                let change = if let Some(price) = rung {
                    table.change(&self.slots, *row, *entry, price)
                } else {
                    let demand = table.demand(*entry).unwrap_or_default();
                    let price = price_for(view, id, &demand, self.on)?.ok().map(Price::new);
                    price.and_then(|price| table.change(&self.slots, *row, *entry, &price))
                };
                sums.add(*row, change);
            }
        }
        Ok(sums.into_rows())
    }
}

/// Changes of rows while they are gathered.
enum Sums {
    /// As they come, for few.
    Few(Vec<Changed>),
    /// A place for every row, for many.
    Many { whole: Vec<i128>, state: Vec<State>, beside: BTreeMap<u32, Exact> },
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    Untouched,
    Touched,
    Lost,
}

impl Sums {
    fn new(rows: usize, lines: usize) -> Self {
        if lines < rows {
            return Self::Few(Vec::with_capacity(lines));
        }
        Self::Many { whole: vec![0; rows], state: vec![State::Untouched; rows], beside: BTreeMap::new() }
    }

    /// `None` for a row that has no cost any more.
    fn add(&mut self, row: u32, change: Option<RowChange>) {
        match self {
            Self::Few(found) => found.push((row, change.map(RowChange::parts))),
            Self::Many { whole, state, beside } => {
                let Some(state) = state.get_mut(row as usize) else { return };
                match change {
                    Some(RowChange::Whole(change)) => {
                        if let Some(whole) = whole.get_mut(row as usize) {
                            *whole += change;
                        }
                    }
                    Some(RowChange::Fraction(change)) => *beside.entry(row).or_default() += change,
                    None => *state = State::Lost,
                }
                if *state == State::Untouched {
                    *state = State::Touched;
                }
            }
        }
    }

    /// Each row once, in their order.
    fn into_rows(self) -> Vec<Changed> {
        match self {
            Self::Few(mut found) => {
                found.sort_by_key(|(row, _)| *row);
                found.dedup_by(|(row, later), (known, kept)| {
                    let same = row == known;
                    if same {
                        *kept =
                            kept.take().zip(later.take()).map(|((whole, beside), (more, more_beside))| {
                                (whole + more, beside + more_beside)
                            });
                    }
                    same
                });
                found
            }
            Self::Many { whole, state, mut beside } => (0..)
                .zip(whole)
                .zip(state)
                .filter(|(_, state)| *state != State::Untouched)
                .map(|((row, whole), state)| {
                    let sum = (whole, beside.remove(&row).unwrap_or_default());
                    (row, (state == State::Touched).then_some(sum))
                })
                .collect(),
        }
    }
}

/// The largest first, up or down; what `key` says false of comes last. Sorted by millionths, and exactly among equal millionths.
fn rank<T>(changes: &mut [T], key: impl Fn(&T) -> (bool, &Exact)) {
    changes.sort_by_cached_key(|change| {
        let (first, size) = key(change);
        let size = size.abs();
        let millionths = size.round_half_even_scaled(6).unwrap_or(i64::MAX);
        (!first, Reverse(millionths), Reverse(size))
    });
}
