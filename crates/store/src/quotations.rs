//! Quotations and exchange rates. Both are history: added, never overwritten.

use domain::quotations::{ExchangeRate, Quotation};

use crate::{StoreError, WriteTx};

/// Adds a quotation with its offers.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::QUOTATION_REFERENCE`](crate::constraints::QUOTATION_REFERENCE) when the
/// supplier's quotation of that reference holds the material already.
pub async fn quotation_insert(tx: &WriteTx, quotation: &Quotation) -> Result<(), StoreError> {
    let _ = (tx, quotation);
    Err(StoreError::Busy)
}

/// Adds an exchange rate.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::RATE_DAY`](crate::constraints::RATE_DAY) when the pair has a rate of that day.
pub async fn rate_insert(tx: &WriteTx, rate: &ExchangeRate) -> Result<(), StoreError> {
    let _ = (tx, rate);
    Err(StoreError::Busy)
}
