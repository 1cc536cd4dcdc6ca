//! Materials.

use domain::materials::Material;
use kernel::ids::MaterialId;

use crate::{Conn, StoreError, WriteTx};

/// Adds a material.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::MATERIAL_CODE`](crate::constraints::MATERIAL_CODE) when its code is taken.
pub async fn material_insert(tx: &WriteTx, material: &Material) -> Result<(), StoreError> {
    let _ = (tx, material);
    Err(StoreError::Busy)
}

/// Writes all of a material anew.
///
/// # Errors
/// [`StoreError::NotFound`], or as for [`material_insert`].
pub async fn material_update(tx: &WriteTx, material: &Material) -> Result<(), StoreError> {
    let _ = (tx, material);
    Err(StoreError::Busy)
}

/// A material.
pub async fn material_get(conn: &impl Conn, id: MaterialId) -> Result<Option<Material>, StoreError> {
    let _ = (conn, id);
    Err(StoreError::Busy)
}
