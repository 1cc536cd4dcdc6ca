//! One module for each kind of thing: its rows read into drafts, and what its rows say about each other.

pub(crate) mod exchange_rates;
pub(crate) mod formulas;
pub(crate) mod house_rates;
pub(crate) mod lots;
pub(crate) mod making_costs;
pub(crate) mod materials;
pub(crate) mod packs;
mod quotation_terms;
pub(crate) mod quotations;
pub(crate) mod suppliers;
