//! Amounts and identities: the values everything else is made of.
//!
//! What is added up (mass, volume, count, money) is a scaled `i64` behind a newtype with checked arithmetic; ratios
//! (percent, density, unit price) are scaled `i64` as well and enter calculations as [`Exact`] fractions. Nothing in
//! this crate rounds unless its name says so, and nothing in it knows a clock, a database or a protocol.

pub mod apportion;
pub mod currency;
pub mod decimal;
pub mod error;
pub mod exact;
pub mod ids;
pub mod limits;
pub mod money;
pub mod quantity;
pub mod scaled;
pub mod units;

#[cfg(test)]
mod published;

pub use apportion::apportion_largest_remainder;
pub use currency::Currency;
pub use decimal::{DecimalMark, parse_decimal};
pub use error::AmountError;
pub use exact::Exact;
pub use money::{Money, Rate, UnitPrice};
pub use quantity::{Dimension, Quantity};
pub use scaled::{Count, Density, Mass, Parts, Percent, Volume};
pub use units::Unit;
