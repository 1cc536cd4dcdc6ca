//! Balances, and approved alternates: both few, and read by the use case that needs them.

use domain::{alternates::Alternate, balances::Balance};
use kernel::ids::MaterialId;
use sea_orm::{ColumnTrait, EntityTrait, IntoActiveModel, QueryFilter, QueryOrder};

use crate::{
    Conn, StoreError, WriteTx,
    connection::sealed::HasConnection,
    rows::{
        balances::{alternate, balance},
        id_lists, insert_all, update_row,
    },
};

/// Adds a balance.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::BALANCE_CODE`](crate::constraints::BALANCE_CODE) when its code is taken.
pub async fn balance_insert(tx: &WriteTx, balance: &Balance) -> Result<(), StoreError> {
    insert_all(tx.connection(), vec![balance::Model::of(balance)]).await
}

/// Writes a balance anew.
///
/// # Errors
/// [`StoreError::NotFound`], and as for [`balance_insert`].
pub async fn balance_update(tx: &WriteTx, balance: &Balance) -> Result<(), StoreError> {
    let row = balance::Model::of(balance).into_active_model();
    let this = balance::Column::Id.eq(balance.id.0);
    update_row(tx.connection(), row, this, "balance", balance.id).await
}

/// All balances, by code.
pub async fn balances_all(conn: &impl Conn) -> Result<Vec<Balance>, StoreError> {
    let rows = balance::Entity::find().order_by_asc(balance::Column::CodeKey).all(conn.connection()).await?;
    Ok(rows.into_iter().map(balance::Model::into_balance).collect())
}

/// Keeps the approval of an alternate.
pub async fn alternate_insert(tx: &WriteTx, approved: &Alternate) -> Result<(), StoreError> {
    insert_all(tx.connection(), vec![alternate::Model::of(approved)]).await
}

/// What was ever approved to stand in for some materials, in the order it was approved.
pub async fn alternates_of(conn: &impl Conn, materials: &[MaterialId]) -> Result<Vec<Alternate>, StoreError> {
    let mut found = Vec::new();
    for list in id_lists(materials.iter().map(|id| id.0)) {
        let rows = alternate::Entity::find()
            .filter(alternate::Column::Material.is_in(list))
            .order_by_asc(alternate::Column::ApprovedAt)
            .order_by_asc(alternate::Column::Id)
            .all(conn.connection())
            .await?;
        for row in rows {
            found.push(row.into_alternate()?);
        }
    }
    Ok(found)
}
