//! Suppliers.

use domain::suppliers::Supplier;

use crate::{StoreError, WriteTx};

/// Adds a supplier.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::SUPPLIER_CODE`](crate::constraints::SUPPLIER_CODE) when its code is taken.
pub async fn supplier_insert(tx: &WriteTx, supplier: &Supplier) -> Result<(), StoreError> {
    let _ = (tx, supplier);
    Err(StoreError::Busy)
}

/// Writes all of a supplier anew.
///
/// # Errors
/// [`StoreError::NotFound`], or as for [`supplier_insert`].
pub async fn supplier_update(tx: &WriteTx, supplier: &Supplier) -> Result<(), StoreError> {
    let _ = (tx, supplier);
    Err(StoreError::Busy)
}
