//! The store on real databases: every body here runs on SQLite and on PostgreSQL.
#![allow(
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test stops at the first surprise"
)]

mod catalogue;
mod fixed;
mod house;
mod ledger;
mod lists;
mod posting;
mod races;
mod schema;
mod sharing;
mod tickets;
mod trail;
