//! What the binary does, seen from outside, on SQLite and on PostgreSQL.
#![expect(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::panic,
    reason = "tests stop at the first surprise"
)]

mod commands;
mod costing;
mod costs_entered;
mod crash;
mod demo;
mod faults;
mod http;
mod importing;
mod readme;
mod starting;
mod whole_path;
mod workshop_day;
