//! Quotations and exchange rates. Both are history: added, never overwritten.

use domain::quotations::{ExchangeRate, Quotation};

use crate::{
    StoreError, WriteTx,
    connection::sealed::HasConnection,
    rows::{
        insert_all,
        quotations::{charge, offer, quotation, rate},
    },
};

/// Adds a quotation with its offers and charges.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::QUOTATION_REFERENCE`](crate::constraints::QUOTATION_REFERENCE) when the
/// supplier's quotation of that reference holds the material already.
pub async fn quotation_insert(tx: &WriteTx, quotation: &Quotation) -> Result<(), StoreError> {
    let row = quotation::Model::of(quotation)?;
    let offers = offer::Model::all_of(quotation)?;
    let charges = charge::Model::all_of(quotation)?;
    insert_all(tx.connection(), vec![row]).await?;
    insert_all(tx.connection(), charges).await?;
    insert_all(tx.connection(), offers).await
}

/// Adds an exchange rate.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::RATE_DAY`](crate::constraints::RATE_DAY) when the pair has a rate of that day.
pub async fn rate_insert(tx: &WriteTx, rate: &ExchangeRate) -> Result<(), StoreError> {
    insert_all(tx.connection(), vec![rate::Model::of(rate)]).await
}
