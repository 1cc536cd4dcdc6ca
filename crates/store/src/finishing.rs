//! The end of a batch: checks and their limits, losses by name, fillings in full, and the account of it all.

use chrono::{DateTime, Utc};
use domain::{
    finishing::{Account, BatchCheck, CheckLimit, FillingRecord, Lost},
    tickets::Filling,
};
use kernel::{
    Mass,
    ids::{FormulaId, TicketId},
};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder};

use crate::{
    Conn, StoreError, WriteTx,
    connection::sealed::HasConnection,
    rows::{
        finishing::{batch_check, check_limit, filling_component, filling_record, loss, reconciliation},
        insert_all,
        tickets::filling,
    },
};

/// Keeps what a formula's batches are examined for.
pub async fn check_limit_insert(tx: &WriteTx, limit: &CheckLimit) -> Result<(), StoreError> {
    insert_all(tx.connection(), vec![check_limit::Model::of(limit)]).await
}

/// Everything a formula's batches were ever examined for, in the order it was approved.
pub async fn check_limits_of(conn: &impl Conn, formula: FormulaId) -> Result<Vec<CheckLimit>, StoreError> {
    let rows = check_limit::Entity::find()
        .filter(check_limit::Column::Formula.eq(formula.0))
        .order_by_asc(check_limit::Column::ApprovedAt)
        .order_by_asc(check_limit::Column::Id)
        .all(conn.connection())
        .await?;
    rows.into_iter().map(check_limit::Model::into_limit).collect()
}

/// Keeps a result.
pub async fn batch_check_insert(tx: &WriteTx, check: &BatchCheck) -> Result<(), StoreError> {
    insert_all(tx.connection(), vec![batch_check::Model::of(check)]).await
}

/// A ticket's results, in the order they were entered.
pub async fn batch_checks_of(conn: &impl Conn, ticket: TicketId) -> Result<Vec<BatchCheck>, StoreError> {
    let rows = batch_check::Entity::find()
        .filter(batch_check::Column::Ticket.eq(ticket.0))
        .order_by_asc(batch_check::Column::EnteredAt)
        .order_by_asc(batch_check::Column::Id)
        .all(conn.connection())
        .await?;
    rows.into_iter().map(batch_check::Model::into_check).collect()
}

/// Adds losses to a locked ticket, after the first `before`.
pub async fn losses_insert(
    tx: &WriteTx,
    ticket: TicketId,
    before: usize,
    losses: &[Lost],
) -> Result<(), StoreError> {
    let first = i64::try_from(before).map_err(|_| StoreError::TooLarge("the losses of a ticket"))?;
    let rows = losses
        .iter()
        .zip(1_i64..)
        .map(|(lost, nth)| loss::Model::of(ticket, first.saturating_add(nth), lost))
        .collect();
    insert_all(tx.connection(), rows).await
}

/// A ticket's losses, in the order they were entered.
pub async fn losses_of(conn: &impl Conn, ticket: TicketId) -> Result<Vec<Lost>, StoreError> {
    let rows = loss::Entity::find()
        .filter(loss::Column::Ticket.eq(ticket.0))
        .order_by_asc(loss::Column::Position)
        .all(conn.connection())
        .await?;
    rows.into_iter().map(loss::Model::into_lost).collect()
}

/// Adds a filling to a ticket whose bulk is made.
pub async fn filling_insert(
    tx: &WriteTx,
    ticket: TicketId,
    position: u32,
    filled: &Filling,
) -> Result<(), StoreError> {
    insert_all(tx.connection(), vec![filling::Model::of(ticket, i64::from(position), filled)]).await
}

/// Keeps what else is to be known of a filling, and of its components.
pub async fn filling_record_insert(
    tx: &WriteTx,
    ticket: TicketId,
    record: &FillingRecord,
) -> Result<(), StoreError> {
    insert_all(tx.connection(), vec![filling_record::Model::of(ticket, record)]).await?;
    let components = record
        .components
        .iter()
        .map(|used| filling_component::Model::of(ticket, record.position, used))
        .collect();
    insert_all(tx.connection(), components).await
}

/// What else is known of a ticket's fillings, in order.
pub async fn filling_records_of(
    conn: &impl Conn,
    ticket: TicketId,
) -> Result<Vec<FillingRecord>, StoreError> {
    let connection = conn.connection();
    let rows = filling_record::Entity::find()
        .filter(filling_record::Column::Ticket.eq(ticket.0))
        .order_by_asc(filling_record::Column::Position)
        .all(connection)
        .await?;
    let components = filling_component::Entity::find()
        .filter(filling_component::Column::Ticket.eq(ticket.0))
        .order_by_asc(filling_component::Column::Material)
        .all(connection)
        .await?;
    rows.into_iter()
        .map(|row| {
            let own = components.iter().filter(|used| used.position == row.position);
            let own = own.cloned().map(filling_component::Model::into_use).collect();
            row.into_record(own)
        })
        .collect()
}

/// Keeps a ticket's account as it was closed, and the reason for what nobody can name.
pub async fn reconciliation_insert(
    tx: &WriteTx,
    ticket: TicketId,
    account: &Account,
    reason: Option<&str>,
    by: &str,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    let row = reconciliation::Model {
        ticket: ticket.0,
        charged: account.charged.micrograms(),
        bulk: account.bulk.micrograms(),
        filled: account.filled.micrograms(),
        left_over: account.left.micrograms(),
        reason: reason.map(ToOwned::to_owned),
        entered_by: by.to_owned(),
        entered_at: at.timestamp_micros(),
    };
    insert_all(tx.connection(), vec![row]).await
}

/// A ticket's account as it was closed, with the reason that was given; `None` before, and for tickets that were completed in one go.
pub async fn reconciliation_of(
    conn: &impl Conn,
    ticket: TicketId,
) -> Result<Option<(Account, Option<String>)>, StoreError> {
    let row = reconciliation::Entity::find_by_id(ticket.0).one(conn.connection()).await?;
    let Some(row) = row else { return Ok(None) };
    let account = Account {
        charged: Mass::from_micrograms(row.charged),
        bulk: Mass::from_micrograms(row.bulk),
        lost: losses_of(conn, ticket).await?,
        filled: Mass::from_micrograms(row.filled),
        left: Mass::from_micrograms(row.left_over),
    };
    Ok(Some((account, row.reason)))
}
