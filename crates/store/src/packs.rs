//! Packs.

use domain::packs::Pack;

use sea_orm::{ColumnTrait, EntityTrait, IntoActiveModel, QueryFilter};

use crate::{
    StoreError, WriteTx,
    connection::sealed::HasConnection,
    rows::{
        insert_all,
        packs::{component, pack},
        update_row,
    },
};

/// Adds a pack with its components.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::PACK_CODE`](crate::constraints::PACK_CODE) when its code is taken.
pub async fn pack_insert(tx: &WriteTx, pack: &Pack) -> Result<(), StoreError> {
    insert_all(tx.connection(), vec![pack::Model::of(pack)?]).await?;
    insert_all(tx.connection(), component::Model::all_of(pack)).await
}

/// Writes all of a pack anew, components included.
///
/// # Errors
/// [`StoreError::NotFound`], or as for [`pack_insert`].
pub async fn pack_update(tx: &WriteTx, pack: &Pack) -> Result<(), StoreError> {
    let row = pack::Model::of(pack)?.into_active_model();
    update_row(tx.connection(), row, pack::Column::Id.eq(pack.id.0), "pack", pack.id).await?;
    component::Entity::delete_many()
        .filter(component::Column::Pack.eq(pack.id.0))
        .exec(tx.connection())
        .await?;
    insert_all(tx.connection(), component::Model::all_of(pack)).await
}
