//! The steps of a ticket's life, its pauses, its being scaled, and weighings that are confirmed or undone with a named outcome.

use chrono::{DateTime, Utc};
use domain::tickets::{Pause, Step, Ticket, WeighingOutcome};
use kernel::{
    Mass,
    ids::{TicketId, WeighingId},
};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, sea_query::Expr};

use crate::{
    StoreError, WriteTx,
    codes::Word,
    connection::sealed::HasConnection,
    rows::{
        insert_all,
        tickets::{line, step, ticket, weighing},
    },
};

/// Adds steps to a locked ticket's life, after the first `before`; its status is set by [`super::ticket_status_set`].
pub async fn ticket_steps_insert(
    tx: &WriteTx,
    ticket: TicketId,
    before: usize,
    taken: &[Step],
) -> Result<(), StoreError> {
    let first = i64::try_from(before).map_err(|_| StoreError::TooLarge("the steps of a ticket"))?;
    let rows = taken
        .iter()
        .zip(1_i64..)
        .map(|(taken, nth)| step::Model::of(ticket, first.saturating_add(nth), taken))
        .collect();
    insert_all(tx.connection(), rows).await
}

/// Lets a ticket rest, or go on where `pause` is `None`.
///
/// # Errors
/// [`StoreError::NotFound`].
pub async fn ticket_pause_set(tx: &WriteTx, id: TicketId, pause: Option<&Pause>) -> Result<(), StoreError> {
    let updated = ticket::Entity::update_many()
        .col_expr(ticket::Column::PausedBy, Expr::value(pause.map(|pause| pause.by.clone())))
        .col_expr(ticket::Column::PausedAt, Expr::value(pause.map(|pause| pause.at.timestamp_micros())))
        .col_expr(ticket::Column::PausedReason, Expr::value(pause.map(|pause| pause.reason.clone())))
        .filter(ticket::Column::Id.eq(id.0))
        .exec(tx.connection())
        .await?;
    one_changed(updated.rows_affected, "ticket", id)
}

/// Writes a ticket's batch and the targets of its lines anew, as they stand in `scaled`; what was planned first is kept beside it.
///
/// # Errors
/// [`StoreError::NotFound`].
pub async fn ticket_scale(tx: &WriteTx, scaled: &Ticket) -> Result<(), StoreError> {
    let connection = tx.connection();
    let updated = ticket::Entity::update_many()
        .col_expr(ticket::Column::Batch, Expr::value(scaled.batch.micrograms()))
        .col_expr(ticket::Column::PlannedBatch, Expr::value(scaled.planned_batch.map(Mass::micrograms)))
        .filter(ticket::Column::Id.eq(scaled.id.0))
        .exec(connection)
        .await?;
    one_changed(updated.rows_affected, "ticket", scaled.id)?;
    for changed in &scaled.lines {
        let updated = line::Entity::update_many()
            .col_expr(line::Column::Target, Expr::value(changed.target.micrograms()))
            .filter(line::Column::Id.eq(changed.id.0))
            .exec(connection)
            .await?;
        one_changed(updated.rows_affected, "ticket line", changed.id)?;
    }
    Ok(())
}

/// Says that a second person has looked at a weighing.
///
/// # Errors
/// [`StoreError::Changed`] when it is not there, was taken back, or somebody had looked at it before.
pub async fn weighing_check_set(
    tx: &WriteTx,
    id: WeighingId,
    by: &str,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    let updated = weighing::Entity::update_many()
        .col_expr(weighing::Column::CheckedBy, Expr::value(by))
        .col_expr(weighing::Column::CheckedAt, Expr::value(at.timestamp_micros()))
        .filter(weighing::Column::Id.eq(id.0))
        .filter(weighing::Column::CheckedBy.is_null())
        .filter(weighing::Column::Reversed.is_null())
        .exec(tx.connection())
        .await?;
    changed_once(updated.rows_affected, id)
}

/// Marks a weighing as undone with its ticket, and what became of it.
///
/// # Errors
/// [`StoreError::Changed`] when it is not there or was undone before.
pub async fn weighing_undo(
    tx: &WriteTx,
    id: WeighingId,
    outcome: WeighingOutcome,
    reason: &str,
) -> Result<(), StoreError> {
    let updated = weighing::Entity::update_many()
        .col_expr(weighing::Column::Reversed, Expr::value(reason))
        .col_expr(weighing::Column::Outcome, Expr::value(outcome.column_word()))
        .filter(weighing::Column::Id.eq(id.0))
        .filter(weighing::Column::Reversed.is_null())
        .exec(tx.connection())
        .await?;
    changed_once(updated.rows_affected, id)
}

fn changed_once(rows: u64, id: WeighingId) -> Result<(), StoreError> {
    if rows == 1 { Ok(()) } else { Err(StoreError::Changed { what: "weighing", id: id.to_string() }) }
}

fn one_changed(rows: u64, what: &'static str, id: impl ToString) -> Result<(), StoreError> {
    if rows == 1 { Ok(()) } else { Err(StoreError::NotFound { what, id: id.to_string() }) }
}
