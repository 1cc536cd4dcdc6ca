//! Use cases, each on SQLite and on PostgreSQL, with a clock moved by hand.

#![expect(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::panic,
    reason = "tests stop at the first surprise"
)]

mod bases;
mod counting;
mod drafts;
mod finishing;
mod house;
mod importing;
mod lines;
mod lots_in_full;
mod making;
mod making_costs;
mod quoting;
mod races;
mod random_histories;
mod requests;
mod rights;
mod variances;
mod weighing;
mod what_if;
