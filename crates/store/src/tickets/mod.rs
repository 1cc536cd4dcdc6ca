//! Batch tickets, what is promised to them, what was weighed, and how they ended.

use chrono::NaiveDate;
use domain::tickets::{Allocation, Completion, Ticket, TicketStatus, Weighing};
use kernel::{
    Quantity,
    ids::{FormulaId, LotId, PackId, TicketId, TicketLineId, WeighingId},
};

use crate::{Conn, Page, StoreError, WriteTx};

/// Which tickets to list; empty lists all.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct TicketFilter {
    /// Only of these statuses; empty for any.
    pub statuses: Vec<TicketStatus>,
    /// Only of this formula.
    pub formula: Option<FormulaId>,
    /// Only for this pack.
    pub pack: Option<PackId>,
    /// Only those planned for this day or later.
    pub planned_from: Option<NaiveDate>,
    /// Only those planned for this day or earlier.
    pub planned_until: Option<NaiveDate>,
}

/// Adds a ticket with its lines. Allocations, weighings and a completion it may hold are written by their own functions.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::TICKET_NUMBER`](crate::constraints::TICKET_NUMBER) when its number is taken.
pub async fn ticket_insert(tx: &WriteTx, ticket: &Ticket) -> Result<(), StoreError> {
    let _ = (tx, ticket);
    Err(StoreError::Busy)
}

/// A ticket.
pub async fn ticket_get(conn: &impl Conn, id: TicketId) -> Result<Option<Ticket>, StoreError> {
    let _ = (conn, id);
    Err(StoreError::Busy)
}

/// Tickets by identity, in no particular order; those that are not there are left out.
pub async fn tickets_get(conn: &impl Conn, ids: &[TicketId]) -> Result<Vec<Ticket>, StoreError> {
    let _ = (conn, ids);
    Err(StoreError::Busy)
}

/// A ticket by its number, letter case aside.
pub async fn ticket_by_number(conn: &impl Conn, number: &str) -> Result<Option<Ticket>, StoreError> {
    let _ = (conn, number);
    Err(StoreError::Busy)
}

/// A ticket locked until the transaction ends: what is decided on it holds until then. Lock the ticket before its lots.
pub async fn ticket_lock(tx: &WriteTx, id: TicketId) -> Result<Option<Ticket>, StoreError> {
    let _ = (tx, id);
    Err(StoreError::Busy)
}

/// Tickets by the day they are planned for, after the one named.
pub async fn tickets_page(
    conn: &impl Conn,
    filter: &TicketFilter,
    after: Option<TicketId>,
    limit: u32,
) -> Result<Page<Ticket>, StoreError> {
    let _ = (conn, filter, after, limit);
    Err(StoreError::Busy)
}

/// How many tickets there are.
pub async fn tickets_count(conn: &impl Conn, filter: &TicketFilter) -> Result<u64, StoreError> {
    let _ = (conn, filter);
    Err(StoreError::Busy)
}

/// All tickets that will still take something off the shelf, by the day they are planned for.
pub async fn tickets_open(conn: &impl Conn) -> Result<Vec<Ticket>, StoreError> {
    let _ = (conn,);
    Err(StoreError::Busy)
}

/// Tickets that took something from a lot: where it went.
pub async fn tickets_using_lot(conn: &impl Conn, lot: LotId) -> Result<Vec<Ticket>, StoreError> {
    let _ = (conn, lot);
    Err(StoreError::Busy)
}

/// Changes a ticket's status, and its note where one is given.
///
/// # Errors
/// [`StoreError::NotFound`].
pub async fn ticket_status_set(
    tx: &WriteTx,
    id: TicketId,
    status: TicketStatus,
    note: Option<&str>,
) -> Result<(), StoreError> {
    let _ = (tx, id, status, note);
    Err(StoreError::Busy)
}

/// Promises these parts of lots to a ticket instead of what was promised to it before; empty releases everything. Lots are locked
/// in order.
///
/// # Errors
/// [`StoreError::LotShort`] when more of a lot would be promised than it holds.
pub async fn allocations_replace(
    tx: &WriteTx,
    ticket: TicketId,
    allocations: &[Allocation],
) -> Result<(), StoreError> {
    let _ = (tx, ticket, allocations);
    Err(StoreError::Busy)
}

/// Uses up what is promised of a lot to a line, at most `quantity`, and gives what was used up: nought where nothing was promised.
pub async fn allocation_use(
    tx: &WriteTx,
    line: TicketLineId,
    lot: LotId,
    quantity: Quantity,
) -> Result<Quantity, StoreError> {
    let _ = (tx, line, lot, quantity);
    Err(StoreError::Busy)
}

/// Adds a weighing; its movement is posted before.
pub async fn weighing_insert(tx: &WriteTx, ticket: TicketId, weighing: &Weighing) -> Result<(), StoreError> {
    let _ = (tx, ticket, weighing);
    Err(StoreError::Busy)
}

/// Marks a weighing as taken back; its movement is reversed by [`crate::stock::post`].
///
/// # Errors
/// [`StoreError::Changed`] when it is not there or was taken back before.
pub async fn weighing_reverse(tx: &WriteTx, id: WeighingId, reason: &str) -> Result<(), StoreError> {
    let _ = (tx, id, reason);
    Err(StoreError::Busy)
}

/// The weighing and the ticket it belongs to.
pub async fn weighing_ticket(conn: &impl Conn, id: WeighingId) -> Result<Option<TicketId>, StoreError> {
    let _ = (conn, id);
    Err(StoreError::Busy)
}

/// Adds how a ticket ended, with its fillings; its status is set by [`ticket_status_set`].
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::TICKET_COMPLETE`](crate::constraints::TICKET_COMPLETE) when it has one.
pub async fn completion_insert(
    tx: &WriteTx,
    ticket: TicketId,
    completion: &Completion,
) -> Result<(), StoreError> {
    let _ = (tx, ticket, completion);
    Err(StoreError::Busy)
}
