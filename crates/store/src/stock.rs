//! The stock ledger.

use chrono::{DateTime, NaiveDate, Utc};
use domain::stock::{Movement, MovementKind};
use kernel::{
    Money, Quantity,
    ids::{LotId, MovementId, TicketId},
};

use crate::{Conn, Page, StoreError, WriteTx};

/// A movement to be posted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewMovement {
    /// Identity.
    pub id: MovementId,
    /// The lot it changes.
    pub lot: LotId,
    /// What kind of change.
    pub kind: MovementKind,
    /// What comes in (above nought) or goes out (below).
    pub quantity: Quantity,
    /// What comes in is worth; of what goes out and of a reversal the value is worked out and this is not looked at. `None` on a
    /// lot with a value brings none: what a count finds is part of what was paid for.
    pub value: Option<Money>,
    /// The business day it counts for.
    pub on: NaiveDate,
    /// When it is entered.
    pub entered_at: DateTime<Utc>,
    /// Who enters it.
    pub by: String,
    /// The ticket it belongs to.
    pub ticket: Option<TicketId>,
    /// The movement it undoes; its quantity is then the opposite of that one's.
    pub reverses: Option<MovementId>,
    /// Why.
    pub reason: Option<String>,
}

/// Which balance of a lot does not agree.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Balance {
    /// What is there, against the sum of its movements.
    OnHand,
    /// Its value, against the sum of its movements' values.
    Value,
    /// What is promised of it, against the sum of its allocations.
    Reserved,
}

/// A balance that does not agree with what it is the sum of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Discrepancy {
    /// The lot.
    pub lot: LotId,
    /// Its number.
    pub number: String,
    /// Which balance.
    pub balance: Balance,
    /// As kept with the lot: kilograms, pieces or money, as the balance is.
    pub kept: rust_decimal::Decimal,
    /// As its movements or allocations add up to.
    pub proven: rust_decimal::Decimal,
}

/// Posts movements: all of them or none. Movements of one lot take effect in the order given. What goes out takes its exact share
/// of the lot's value with it, worked out on the locked lot; a reversal takes back what the reversed movement was worth.
///
/// # Errors
/// [`StoreError::LotShort`] naming the lot that does not hold enough, [`StoreError::MovementUnfit`], [`StoreError::NotFound`] for
/// a lot or a reversed movement that is not there, and [`StoreError::Constraint`] named
/// [`constraints::MOVEMENT_REVERSED`](crate::constraints::MOVEMENT_REVERSED) for a second reversal. The transaction must then be
/// dropped.
pub async fn post(tx: &WriteTx, movements: &[NewMovement]) -> Result<Vec<Movement>, StoreError> {
    let _ = (tx, movements);
    Err(StoreError::Busy)
}

/// An entry of the ledger.
pub async fn movement_get(conn: &impl Conn, id: MovementId) -> Result<Option<Movement>, StoreError> {
    let _ = (conn, id);
    Err(StoreError::Busy)
}

/// The entry that reverses another.
pub async fn movement_reversing(conn: &impl Conn, id: MovementId) -> Result<Option<Movement>, StoreError> {
    let _ = (conn, id);
    Err(StoreError::Busy)
}

/// A lot's movements in the order they were posted, after the one named.
pub async fn movements_of_lot(
    conn: &impl Conn,
    lot: LotId,
    after: Option<MovementId>,
    limit: u32,
) -> Result<Page<Movement>, StoreError> {
    let _ = (conn, lot, after, limit);
    Err(StoreError::Busy)
}

/// A ticket's movements in the order they were posted.
pub async fn movements_of_ticket(conn: &impl Conn, ticket: TicketId) -> Result<Vec<Movement>, StoreError> {
    let _ = (conn, ticket);
    Err(StoreError::Busy)
}

/// Compares every lot's balances with the ledger and the allocations; empty when all agree.
pub async fn ledger_verify(conn: &impl Conn) -> Result<Vec<Discrepancy>, StoreError> {
    let _ = (conn,);
    Err(StoreError::Busy)
}

/// Writes the balances that do not agree anew from the ledger and the allocations, and says which they were.
pub async fn ledger_rebuild(tx: &WriteTx) -> Result<Vec<Discrepancy>, StoreError> {
    let _ = (tx,);
    Err(StoreError::Busy)
}
