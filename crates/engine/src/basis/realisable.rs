//! The lower of cost and net realisable value, item by item: stock never stands at more than it brings.
//!
//! IAS 2 paragraphs 9 and 28 to 33: item by item, not over the whole stock, for a gain on one does not make good a loss on another;
//! raw materials stay at cost as long as what is made of them sells at or above its cost; and because each day compares cost afresh,
//! a value that recovers is written up again, never above cost.

use kernel::Exact;

/// An item of stock with what it cost and what it would bring.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CostAndRealisable {
    /// kg or pieces.
    pub quantity: Exact,
    /// What one cost.
    pub unit_cost: Exact,
    /// What one would bring, less what finishing and selling it costs.
    pub unit_realisable: Exact,
}

/// Stock at the lower of cost and net realisable value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WrittenDown {
    /// What each item stands at, in the order given.
    pub items: Vec<Exact>,
    /// What all of it cost.
    pub cost: Exact,
    /// What all of it stands at.
    pub carried: Exact,
    /// Cost less what it stands at: an expense.
    pub write_down: Exact,
}

/// Each item at the lower of cost and net realisable value, and their sums.
pub fn lower_of_cost_and_realisable(items: &[CostAndRealisable]) -> WrittenDown {
    let cost: Exact = items.iter().map(|item| &item.quantity * &item.unit_cost).sum();
    let items: Vec<Exact> = items
        .iter()
        .map(|item| &item.quantity * &item.unit_cost.clone().min(item.unit_realisable.clone()))
        .collect();
    let carried: Exact = items.iter().sum();
    WrittenDown { items, write_down: &cost - &carried, cost, carried }
}

/// What one kg or piece of a raw material stands at. Its replacement cost is the best measure of what it would bring, and counts only
/// when the product made of it sells below its own cost.
pub fn material_carried_at(
    unit_cost: &Exact,
    replacement: &Exact,
    product_cost: &Exact,
    product_realisable: &Exact,
) -> Exact {
    if product_realisable >= product_cost {
        return unit_cost.clone();
    }
    unit_cost.clone().min(replacement.clone())
}
