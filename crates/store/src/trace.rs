//! What a trace asks for: the lots a ticket made, the lots of one supplier's lot, and everything some tickets moved.

use domain::{lots::Lot, stock::Movement};
use kernel::ids::{LotId, SupplierId, TicketId};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder};

use crate::{
    Conn, StoreError,
    rows::{id_lists, lots::lot, movements::movement},
};

/// The lots some tickets made: bulk, finished product, and what was kept for rework.
pub async fn lots_made_by(conn: &impl Conn, tickets: &[TicketId]) -> Result<Vec<Lot>, StoreError> {
    let mut lots = Vec::new();
    for list in id_lists(tickets.iter().map(|id| id.0)) {
        let rows = lot::Entity::find()
            .filter(lot::Column::MadeBy.is_in(list))
            .order_by_asc(lot::Column::Id)
            .all(conn.connection())
            .await?;
        for row in rows {
            lots.push(row.into_lot()?);
        }
    }
    Ok(lots)
}

/// The lots that came in under one number of a supplier, as written: one lot of theirs may have come in several deliveries.
pub async fn lots_of_supplier_lot(
    conn: &impl Conn,
    supplier: SupplierId,
    supplier_lot: &str,
) -> Result<Vec<LotId>, StoreError> {
    let rows = lot::Entity::find()
        .filter(lot::Column::Supplier.eq(supplier.0))
        .filter(lot::Column::SupplierLot.eq(supplier_lot))
        .order_by_asc(lot::Column::Id)
        .all(conn.connection())
        .await?;
    Ok(rows.into_iter().map(|row| LotId(row.id)).collect())
}

/// Everything some tickets moved, in the order it was posted.
pub async fn movements_of_tickets(
    conn: &impl Conn,
    tickets: &[TicketId],
) -> Result<Vec<Movement>, StoreError> {
    let mut rows = Vec::new();
    for list in id_lists(tickets.iter().map(|id| id.0)) {
        rows.extend(
            movement::Entity::find()
                .filter(movement::Column::Ticket.is_in(list))
                .all(conn.connection())
                .await?,
        );
    }
    rows.sort_by_key(|row| row.seq);
    rows.into_iter().map(movement::Model::into_movement).collect()
}
