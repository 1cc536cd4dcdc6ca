//! Tests of the costing half.

mod bases;
mod costing;
mod differential;
mod exploding;
mod fixtures;
mod flows;
mod inventory;
mod ledger;
mod normalising;
mod pricing;
mod properties;
mod published;
