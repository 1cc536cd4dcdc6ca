//! Rates of the house. They are history: added, never overwritten.

use domain::house_rates::HouseRate;

use crate::{
    StoreError, WriteTx,
    connection::sealed::HasConnection,
    rows::{house_rates::house_rate, insert_all},
};

/// Adds a rate of the house.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::HOUSE_RATE_DAY`](crate::constraints::HOUSE_RATE_DAY) when there is one of that
/// name from that day.
pub async fn house_rate_insert(tx: &WriteTx, rate: &HouseRate) -> Result<(), StoreError> {
    insert_all(tx.connection(), vec![house_rate::Model::of(rate)]).await
}
