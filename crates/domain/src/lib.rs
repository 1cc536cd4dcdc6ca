//! What the house knows: materials, suppliers, quotations, formulas, packs, lots, tickets, and the rules that hold for each
//! whatever the question. Plain data and pure functions; no clock, no database, no protocol.

pub mod alternates;
pub mod balances;
pub mod cas;
pub mod catalogue;
pub mod cautions;
pub mod corrections;
pub mod counts;
pub mod dates;
pub mod error;
pub mod finishing;
pub mod formulas;
pub mod generated;
pub mod house_rates;
pub mod locations;
pub mod lots;
pub mod making;
pub mod materials;
pub mod packs;
pub mod people;
pub mod quotations;
pub mod scenarios;
pub mod standards;
pub mod stock;
pub mod suppliers;
pub mod text;
pub mod ticket_life;
pub mod tickets;

pub use catalogue::{Catalogue, Settings};
pub use error::{Problem, Refusal};
