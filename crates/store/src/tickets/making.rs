//! What was weighed, and how tickets ended.

use domain::tickets::{Completion, Weighing};
use kernel::ids::{TicketId, WeighingId};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QuerySelect, sea_query::Expr};

use crate::{
    Conn, StoreError, WriteTx, Writes,
    connection::sealed::HasConnection,
    rows::{
        insert_all,
        tickets::{completion, filling, weighing},
    },
};

/// Puts weighings down; their movements before them.
pub fn weighings_insert(writes: &mut Writes, ticket: TicketId, weighings: &[Weighing]) {
    writes.insert(weighings.iter().map(|w| weighing::Model::of(ticket, w)).collect());
}

/// Marks a weighing as taken back; its movement is reversed by [`crate::stock::post`].
///
/// # Errors
/// [`StoreError::Changed`] when it is not there or was taken back before.
pub async fn weighing_reverse(tx: &WriteTx, id: WeighingId, reason: &str) -> Result<(), StoreError> {
    let updated = weighing::Entity::update_many()
        .col_expr(weighing::Column::Reversed, Expr::value(reason))
        .filter(weighing::Column::Id.eq(id.0))
        .filter(weighing::Column::Reversed.is_null())
        .exec(tx.connection())
        .await?;
    if updated.rows_affected == 1 {
        Ok(())
    } else {
        Err(StoreError::Changed { what: "weighing", id: id.to_string() })
    }
}

/// The ticket a weighing belongs to.
pub async fn weighing_ticket(conn: &impl Conn, id: WeighingId) -> Result<Option<TicketId>, StoreError> {
    let ticket: Option<uuid::Uuid> = weighing::Entity::find_by_id(id.0)
        .select_only()
        .column(weighing::Column::Ticket)
        .into_tuple()
        .one(conn.connection())
        .await?;
    Ok(ticket.map(TicketId))
}

/// Adds how a ticket ended, with its fillings; its status is set by [`super::ticket_status_set`].
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::TICKET_COMPLETE`](crate::constraints::TICKET_COMPLETE) when it has one.
pub async fn completion_insert(
    tx: &WriteTx,
    ticket: TicketId,
    completion: &Completion,
) -> Result<(), StoreError> {
    insert_all(tx.connection(), vec![completion::Model::of(ticket, completion)]).await?;
    insert_all(tx.connection(), filling::Model::all_of(ticket, completion)).await
}
