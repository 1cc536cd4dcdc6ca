//! Tests of the costing half.

mod bases;
mod costing;
mod differential;
mod exploding;
mod fixtures;
mod flows;
mod inventory;
mod ledger;
mod lines;
mod normalising;
mod potency;
mod pricing;
mod properties;
mod published;
mod trimming;
