//! Tests of the costing half.

mod costing;
mod differential;
mod exploding;
mod fixtures;
mod lines;
mod normalising;
mod potency;
mod pricing;
mod properties;
mod published;
mod trimming;
