//! What each command does.

pub mod check;
pub mod cost;
pub mod import;
pub mod ledger;
pub mod migrate;
pub mod outlook;
pub mod runs;
pub mod schema;
pub mod search;
pub mod serve;
pub mod shelf;
pub mod standards;
pub mod subject;
pub mod token;
pub mod trace;
pub mod what_if;
