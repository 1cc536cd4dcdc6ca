//! Tests of the costing half.

mod costing;
mod differential;
mod exploding;
mod fixtures;
mod landing;
mod normalising;
mod ordering;
mod pricing;
mod properties;
mod published;
