//! What each command does.

pub mod check;
pub mod compare;
pub mod cost;
pub mod fill;
pub mod import;
pub mod ledger;
pub mod migrate;
pub mod offers;
pub mod outlook;
pub mod price;
pub mod put_right;
pub mod runs;
pub mod schema;
pub mod search;
pub mod serve;
pub mod shelf;
pub mod shelf_figures;
pub mod standards;
pub mod subject;
pub mod swap;
pub mod token;
pub mod trace;
pub mod variances;
pub mod vary;
pub mod what_if;
