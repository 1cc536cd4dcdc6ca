//! Lots. Their balances are only ever changed by [`crate::stock::post`] and by allocations.

use chrono::NaiveDate;
use domain::lots::{Lot, LotStatus};
use kernel::ids::{LotId, MaterialId};

use crate::{Conn, Page, StoreError, WriteTx};

/// Which lots to list; empty lists all.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LotFilter {
    /// Only of these materials; empty for any.
    pub materials: Vec<MaterialId>,
    /// Only of these statuses; empty for any.
    pub statuses: Vec<LotStatus>,
    /// Only those that hold something.
    pub on_shelf: bool,
    /// Only those that expire, or are due for retest, on or before this day.
    pub ends_by: Option<NaiveDate>,
}

/// The dates of a lot that may be entered later or put right.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct LotDates {
    /// The day its maker made it.
    pub made_on: Option<NaiveDate>,
    /// Last day of use.
    pub expires_on: Option<NaiveDate>,
    /// To be re-examined before use after this day.
    pub retest_on: Option<NaiveDate>,
    /// The day its container was opened.
    pub opened_on: Option<NaiveDate>,
}

/// Adds a lot, empty: whatever its balances say (`on_hand`, `value`, `reserved`), they start at nought, since only the ledger
/// may fill them. Post the receipt next, in the same transaction.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::LOT_NUMBER`](crate::constraints::LOT_NUMBER) when its number is taken.
pub async fn lot_insert(tx: &WriteTx, lot: &Lot) -> Result<(), StoreError> {
    let _ = (tx, lot);
    Err(StoreError::Busy)
}

/// Adds many lots, empty, as [`lot_insert`] does.
pub async fn lots_insert(tx: &WriteTx, lots: &[Lot]) -> Result<(), StoreError> {
    let _ = (tx, lots);
    Err(StoreError::Busy)
}

/// A lot.
pub async fn lot_get(conn: &impl Conn, id: LotId) -> Result<Option<Lot>, StoreError> {
    let _ = (conn, id);
    Err(StoreError::Busy)
}

/// Lots by identity, in no particular order; those that are not there are left out.
pub async fn lots_get(conn: &impl Conn, ids: &[LotId]) -> Result<Vec<Lot>, StoreError> {
    let _ = (conn, ids);
    Err(StoreError::Busy)
}

/// A lot by the house's number, letter case aside.
pub async fn lot_by_number(conn: &impl Conn, number: &str) -> Result<Option<Lot>, StoreError> {
    let _ = (conn, number);
    Err(StoreError::Busy)
}

/// Lots by the house's numbers, letter case aside, in no particular order.
pub async fn lots_by_number(conn: &impl Conn, numbers: &[String]) -> Result<Vec<Lot>, StoreError> {
    let _ = (conn, numbers);
    Err(StoreError::Busy)
}

/// Lots locked until the transaction ends, in the order of their ids, so that two transactions never wait for each other.
///
/// # Errors
/// [`StoreError::NotFound`] when one is not there.
pub async fn lots_lock(tx: &WriteTx, ids: &[LotId]) -> Result<Vec<Lot>, StoreError> {
    let _ = (tx, ids);
    Err(StoreError::Busy)
}

/// Lots in the order they were entered, after the one named.
pub async fn lots_page(
    conn: &impl Conn,
    filter: &LotFilter,
    after: Option<LotId>,
    limit: u32,
) -> Result<Page<Lot>, StoreError> {
    let _ = (conn, filter, after, limit);
    Err(StoreError::Busy)
}

/// How many lots there are.
pub async fn lots_count(conn: &impl Conn, filter: &LotFilter) -> Result<u64, StoreError> {
    let _ = (conn, filter);
    Err(StoreError::Busy)
}

/// All lots that hold something.
pub async fn lots_on_shelf(conn: &impl Conn) -> Result<Vec<Lot>, StoreError> {
    let _ = (conn,);
    Err(StoreError::Busy)
}

/// All lots of some materials that hold something.
pub async fn lots_of_materials(conn: &impl Conn, materials: &[MaterialId]) -> Result<Vec<Lot>, StoreError> {
    let _ = (conn, materials);
    Err(StoreError::Busy)
}

/// Changes a lot's status.
///
/// # Errors
/// [`StoreError::NotFound`].
pub async fn lot_status_set(tx: &WriteTx, id: LotId, status: LotStatus) -> Result<(), StoreError> {
    let _ = (tx, id, status);
    Err(StoreError::Busy)
}

/// Writes a lot's dates anew.
///
/// # Errors
/// [`StoreError::NotFound`].
pub async fn lot_dates_set(tx: &WriteTx, id: LotId, dates: &LotDates) -> Result<(), StoreError> {
    let _ = (tx, id, dates);
    Err(StoreError::Busy)
}

/// Writes what is known about a lot anew: supplier and its number, dates, density, active matter, location, note. Its number,
/// material, status, receipt and balances are left alone.
///
/// # Errors
/// [`StoreError::NotFound`].
pub async fn lot_update(tx: &WriteTx, lot: &Lot) -> Result<(), StoreError> {
    let _ = (tx, lot);
    Err(StoreError::Busy)
}
