//! The database: SQLite beside the programme, or PostgreSQL for larger sites, with one set of queries for both.
//!
//! Rows never leave this crate; what goes in and comes out are the domain's own types. Queries are free functions in modules
//! by noun. Those that look take any [`Conn`] (the [`Store`] itself, or a transaction); those that change take a [`WriteTx`],
//! so that a use case writes all of it or nothing.
//!
//! Changes take turns and may share a commit: see `turns`.
//!
//! Three rules hold throughout:
//!
//! 1. What is added up is a scaled integer column, so sums and checks are exact on both databases.
//! 2. The ledger is only added to, balances are kept beside it in the same transaction, and [`stock::ledger_verify`] proves
//!    that the two agree.
//! 3. Instants are kept to the microsecond, in UTC; anything finer is cut off when written.

pub mod audit;
pub mod balances;
pub mod catalogue;
mod changes;
mod codes;
mod connection;
pub mod containers;
pub mod corrections;
pub mod counts;
mod error;
pub mod finishing;
pub mod formulas;
pub mod house_rates;
pub mod locations;
pub mod lot_papers;
pub mod lots;
pub mod materials;
pub mod numbers;
pub mod packs;
mod page;
pub mod quotations;
pub mod requests;
mod rows;
pub mod scenarios;
pub mod site;
pub mod standards;
pub mod stock;
pub mod suppliers;
pub mod tickets;
pub mod tokens;
pub mod trace;
mod turns;
pub mod usage;
mod writes;

pub use connection::{Backend, Conn, ReadTx, Store, StoreOptions, WriteTx};
pub use error::{ConstraintKind, StoreError, constraints};
pub use page::Page;
pub use writes::Writes;
