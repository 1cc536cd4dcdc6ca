//! Tests of the costing half.

mod costing;
mod differential;
mod exploding;
mod fixtures;
mod making;
mod normalising;
mod pricing;
mod properties;
mod published;
