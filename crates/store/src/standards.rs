//! Standard costs: frozen, kept, never changed.

use domain::standards::Standard;
use kernel::ids::MaterialId;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder};

use crate::{
    Conn, StoreError, WriteTx,
    connection::sealed::HasConnection,
    rows::{id_lists, insert_all, standards::standard},
};

/// Keeps standard costs.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::STANDARD_DAY`](crate::constraints::STANDARD_DAY) when a material has one of
/// that day.
pub async fn standards_insert(tx: &WriteTx, standards: &[Standard]) -> Result<(), StoreError> {
    insert_all(tx.connection(), standards.iter().map(standard::Model::of).collect()).await
}

/// The standards of some materials, by day.
pub async fn standards_of_materials(
    conn: &impl Conn,
    materials: &[MaterialId],
) -> Result<Vec<Standard>, StoreError> {
    let mut standards = Vec::new();
    for list in id_lists(materials.iter().map(|id| id.0)) {
        let rows = standard::Entity::find()
            .filter(standard::Column::Material.is_in(list))
            .order_by_asc(standard::Column::FrozenOn)
            .all(conn.connection())
            .await?;
        for row in rows {
            standards.push(row.into_standard()?);
        }
    }
    Ok(standards)
}
