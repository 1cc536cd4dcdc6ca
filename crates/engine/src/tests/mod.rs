//! Tests of the costing half.

mod bases;
mod costing;
mod differential;
mod exploding;
mod fixtures;
mod flows;
mod inventory;
mod landing;
mod ledger;
mod normalising;
mod ordering;
mod pricing;
mod properties;
mod published;
