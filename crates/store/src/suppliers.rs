//! Suppliers.

use domain::suppliers::Supplier;

use sea_orm::{ColumnTrait, IntoActiveModel};

use crate::{
    StoreError, WriteTx,
    connection::sealed::HasConnection,
    rows::{insert_all, suppliers::supplier, update_row},
};

/// Adds a supplier.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::SUPPLIER_CODE`](crate::constraints::SUPPLIER_CODE) when its code is taken.
pub async fn supplier_insert(tx: &WriteTx, supplier: &Supplier) -> Result<(), StoreError> {
    insert_all(tx.connection(), vec![supplier::Model::of(supplier)]).await
}

/// Writes all of a supplier anew.
///
/// # Errors
/// [`StoreError::NotFound`], or as for [`supplier_insert`].
pub async fn supplier_update(tx: &WriteTx, supplier: &Supplier) -> Result<(), StoreError> {
    let row = supplier::Model::of(supplier).into_active_model();
    update_row(tx.connection(), row, supplier::Column::Id.eq(supplier.id.0), "supplier", supplier.id).await
}
