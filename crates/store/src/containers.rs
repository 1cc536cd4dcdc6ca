//! Containers of lots. What is in one now is what came in it and the movements that name it.

use std::collections::HashMap;

use domain::lots::{Lot, containers::Container};
use kernel::{
    Dimension,
    ids::{ContainerId, LotId},
};
use sea_orm::{ColumnTrait, EntityTrait, IntoActiveModel, QueryFilter, QueryOrder, QuerySelect};
use uuid::Uuid;

use crate::{
    Conn, StoreError, WriteTx,
    connection::sealed::HasConnection,
    rows::{containers::container, id_lists, insert_all, movements::movement, update_row},
};

/// Adds containers.
///
/// # Errors
/// [`StoreError::Constraint`] when a lot has one of that position already.
pub async fn containers_insert(tx: &WriteTx, containers: &[Container]) -> Result<(), StoreError> {
    insert_all(tx.connection(), containers.iter().map(container::Model::of).collect()).await
}

/// Writes a container anew.
///
/// # Errors
/// [`StoreError::NotFound`].
pub async fn container_update(tx: &WriteTx, container: &Container) -> Result<(), StoreError> {
    update_row(
        tx.connection(),
        container::Model::of(container).into_active_model(),
        container::Column::Id.eq(container.id.0),
        "container",
        container.id,
    )
    .await
}

/// The containers of a lot in their order, each with the sum of the movements that name it, in the scaled integer of the lot's
/// dimension.
pub async fn containers_of_lot(conn: &impl Conn, lot: &Lot) -> Result<Vec<(Container, i64)>, StoreError> {
    containers_of_lots(conn, std::slice::from_ref(lot)).await
}

/// The containers of some lots, those of one lot in their order, as [`containers_of_lot`] gives them.
pub async fn containers_of_lots(conn: &impl Conn, lots: &[Lot]) -> Result<Vec<(Container, i64)>, StoreError> {
    let dimensions: HashMap<Uuid, Dimension> =
        lots.iter().map(|lot| (lot.id.0, lot.received.dimension())).collect();
    let mut rows = Vec::new();
    for list in id_lists(lots.iter().map(|lot| lot.id.0)) {
        let query = container::Entity::find()
            .filter(container::Column::Lot.is_in(list))
            .order_by_asc(container::Column::Lot)
            .order_by_asc(container::Column::Position);
        rows.extend(query.all(conn.connection()).await?);
    }
    let moved = moved_by_container(conn, rows.iter().map(|row| row.id)).await?;
    rows.into_iter()
        .filter_map(|row| {
            let dimension = *dimensions.get(&row.lot)?;
            let moved = moved.get(&row.id).copied().unwrap_or(0);
            Some(row.into_container(dimension).map(|container| (container, moved)))
        })
        .collect()
}

/// The lots of some containers.
pub async fn lots_of_containers(
    conn: &impl Conn,
    containers: &[ContainerId],
) -> Result<HashMap<ContainerId, LotId>, StoreError> {
    let mut lots = HashMap::new();
    for list in id_lists(containers.iter().map(|id| id.0)) {
        let rows = container::Entity::find()
            .filter(container::Column::Id.is_in(list))
            .all(conn.connection())
            .await?;
        lots.extend(rows.into_iter().map(|row| (ContainerId(row.id), LotId(row.lot))));
    }
    Ok(lots)
}

async fn moved_by_container(
    conn: &impl Conn,
    containers: impl Iterator<Item = Uuid>,
) -> Result<HashMap<Uuid, i64>, StoreError> {
    let mut moved: HashMap<Uuid, i64> = HashMap::new();
    for list in id_lists(containers) {
        let rows: Vec<(Option<Uuid>, i64)> = movement::Entity::find()
            .select_only()
            .column(movement::Column::Container)
            .column(movement::Column::Quantity)
            .filter(movement::Column::Container.is_in(list))
            .into_tuple()
            .all(conn.connection())
            .await?;
        for (container, quantity) in rows {
            let Some(container) = container else { continue };
            let sum = moved.entry(container).or_insert(0);
            *sum = sum.saturating_add(quantity);
        }
    }
    Ok(moved)
}
