//! Answers: what a batch, a kilogram, a litre or a bottle costs, whether a run can be made, what a change would do.
//!
//! Pure functions over a catalogue and a shelf: no clock, no database, no protocol. Everything is worked out in
//! [`kernel::Exact`]; figures are rounded once, in [`present`]. What a figure needs and nobody has entered is a [`Gap`],
//! and an answer with a gap never calls itself complete.

pub mod basis;
pub mod batch_costs;
pub mod buying;
pub mod cautions;
pub mod charges;
pub mod cheapest;
pub mod columnar;
pub mod compare;
pub mod cost;
pub mod error;
pub mod explode;
pub mod fill_law;
pub mod gap;
pub mod landed;
pub mod liquid_density;
pub mod normalise;
pub mod note;
pub mod order_quantity;
pub mod orders;
pub mod outlook;
pub mod output;
pub mod planned;
pub mod present;
pub mod price;
pub mod pricing;
pub mod put_right;
pub mod reach;
pub mod run_check;
pub mod run_choice;
pub mod scenario;
pub mod search;
pub mod sensitivity;
pub mod shelf;
pub mod source;
pub mod stock_figures;
pub mod strength;
pub mod swap;
pub mod trace;
pub mod trim;
pub mod use_up;
pub mod variance;
pub mod view;
pub mod waste;
pub mod what_if;
pub mod yearly;

mod adding_up;
mod figures;
mod recipes;
mod reformulate;
mod rollup;
#[cfg(test)]
mod shelf_testing;
#[cfg(test)]
mod tests;
mod words;

pub use basis::{Basis, HistoryBook, bases_side_by_side};
pub use buying::{Purchase, PurchaseOrder};
pub use cautions::{Caution, CautionKind, Cautions, cautions};
pub use columnar::Columns;
pub use compare::{Comparison, Per, SideBySide, compare, side_by_side};
pub use cost::{CostRequest, CostSheet, CostSubject, cost_sheet};
pub use error::EngineError;
pub use gap::Gap;
pub use note::Note;
pub use orders::{OrderBasis, StatedOrder};
pub use outlook::{Outlook, OutlookRequest, outlook};
pub use put_right::{CostedProposal, costed_proposals};
pub use run_check::{RunAmount, RunCheck, RunRequest, Verdict, run_check};
pub use scenario::{Change, PriceBy, PriceOf, RateBy, RunOf, Scenario};
pub use shelf::{Availability, Shelf, allocate_fefo, availability};
pub use source::Source;
pub use trim::{TrimBook, TrimUse};
pub use view::{MaterialRef, Overlay, View};
pub use what_if::{WhatIf, what_if};
