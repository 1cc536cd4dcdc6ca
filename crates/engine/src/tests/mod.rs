//! Tests of the costing half.

mod bases;
mod comparing;
mod costing;
mod differential;
mod exploding;
pub(crate) mod fixtures;
mod flows;
mod inventory;
mod ladders;
mod landing;
mod ledger;
mod lines;
mod liquids;
mod making;
mod normalising;
mod ordering;
mod potency;
mod pricing;
mod properties;
mod published;
mod sensitivities;
mod sources;
mod standards;
mod swapping;
mod ten_thousand;
mod trimming;
mod variances;
