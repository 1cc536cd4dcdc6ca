//! Materials.

use domain::materials::Material;
use kernel::ids::MaterialId;

use sea_orm::{ColumnTrait, EntityTrait, IntoActiveModel};

use crate::{
    Conn, StoreError, WriteTx,
    connection::sealed::HasConnection,
    rows::{insert_all, materials::material, update_row},
};

/// Adds a material.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::MATERIAL_CODE`](crate::constraints::MATERIAL_CODE) when its code is taken.
pub async fn material_insert(tx: &WriteTx, material: &Material) -> Result<(), StoreError> {
    insert_all(tx.connection(), vec![material::Model::of(material)?]).await
}

/// Writes all of a material anew.
///
/// # Errors
/// [`StoreError::NotFound`], or as for [`material_insert`].
pub async fn material_update(tx: &WriteTx, material: &Material) -> Result<(), StoreError> {
    let row = material::Model::of(material)?.into_active_model();
    update_row(tx.connection(), row, material::Column::Id.eq(material.id.0), "material", material.id).await
}

/// A material.
pub async fn material_get(conn: &impl Conn, id: MaterialId) -> Result<Option<Material>, StoreError> {
    let row = material::Entity::find_by_id(id.0).one(conn.connection()).await?;
    row.map(material::Model::into_material).transpose()
}
