//! Lots. Their balances are only ever changed by [`crate::stock::post`] and by allocations.

use chrono::NaiveDate;
use domain::{
    lots::{Lot, LotStatus, LotTerms, coarsely_sought, sought},
    text::code_key,
};
use kernel::{
    Density, Percent,
    ids::{LotId, MaterialId, TicketId},
};

use sea_orm::{
    ColumnTrait, Condition, EntityTrait, IntoActiveModel, PaginatorTrait, QueryFilter, QueryOrder,
    QuerySelect, Select,
    sea_query::{Expr, ExprTrait, LockType, SimpleExpr},
};

use crate::{
    Conn, Page, StoreError, WriteTx,
    codes::Word,
    connection::sealed::HasConnection,
    rows::{
        id_lists, insert_all,
        lots::{lot, materials_text},
        update_row,
    },
};

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
    lots_insert(tx, std::slice::from_ref(lot)).await
}

/// Adds many lots, empty, as [`lot_insert`] does.
pub async fn lots_insert(tx: &WriteTx, lots: &[Lot]) -> Result<(), StoreError> {
    insert_all(tx.connection(), lots.iter().map(lot::Model::empty_of).collect()).await
}

/// A lot.
pub async fn lot_get(conn: &impl Conn, id: LotId) -> Result<Option<Lot>, StoreError> {
    let row = lot::Entity::find_by_id(id.0).one(conn.connection()).await?;
    row.map(lot::Model::into_lot).transpose()
}

/// Lots by identity, in no particular order; those that are not there are left out.
pub async fn lots_get(conn: &impl Conn, ids: &[LotId]) -> Result<Vec<Lot>, StoreError> {
    let mut lots = Vec::with_capacity(ids.len());
    for list in id_lists(ids.iter().map(|id| id.0)) {
        lots.extend(all(conn, lot::Entity::find().filter(lot::Column::Id.is_in(list))).await?);
    }
    Ok(lots)
}

/// A lot by the house's number, letter case aside.
pub async fn lot_by_number(conn: &impl Conn, number: &str) -> Result<Option<Lot>, StoreError> {
    let row = lot::Entity::find()
        .filter(lot::Column::NumberKey.eq(code_key(number)))
        .one(conn.connection())
        .await?;
    row.map(lot::Model::into_lot).transpose()
}

/// Lots by the house's numbers, letter case aside, in no particular order.
pub async fn lots_by_number(conn: &impl Conn, numbers: &[String]) -> Result<Vec<Lot>, StoreError> {
    let mut lots = Vec::with_capacity(numbers.len());
    for list in numbers.chunks(NUMBERS_AT_ONCE) {
        let keys = list.iter().map(|number| code_key(number));
        lots.extend(all(conn, lot::Entity::find().filter(lot::Column::NumberKey.is_in(keys))).await?);
    }
    Ok(lots)
}

/// Lots locked until the transaction ends, in the order of their ids, so that two transactions never wait for each other.
///
/// # Errors
/// [`StoreError::NotFound`] when one is not there.
pub async fn lots_lock(tx: &WriteTx, ids: &[LotId]) -> Result<Vec<Lot>, StoreError> {
    let mut lots = Vec::with_capacity(ids.len());
    // The lists are in order, and so is each of them.
    for list in id_lists(ids.iter().map(|id| id.0)) {
        // Not against what only points at a lot, such as a weighing written elsewhere. On SQLite nothing needs locking, and no
        // lock is asked for: the transaction is the only one that writes.
        let query = lot::Entity::find()
            .filter(lot::Column::Id.is_in(list))
            .order_by_asc(lot::Column::Id)
            .lock(LockType::NoKeyUpdate);
        lots.extend(all(tx, query).await?);
    }
    for id in ids {
        if lots.binary_search_by_key(id, |lot: &Lot| lot.id).is_err() {
            return Err(StoreError::NotFound { what: "lot", id: id.to_string() });
        }
    }
    Ok(lots)
}

/// Lots in the order they were entered, after the one named.
pub async fn lots_page(
    conn: &impl Conn,
    filter: &LotFilter,
    after: Option<LotId>,
    limit: u32,
) -> Result<Page<Lot>, StoreError> {
    let mut query = filtered(filter).order_by_asc(lot::Column::Id).limit(u64::from(limit) + 1);
    if let Some(after) = after {
        query = query.filter(lot::Column::Id.gt(after.0));
    }
    Ok(Page::cut(all(conn, query).await?, limit))
}

/// How many lots there are.
pub async fn lots_count(conn: &impl Conn, filter: &LotFilter) -> Result<u64, StoreError> {
    Ok(filtered(filter).count(conn.connection()).await?)
}

/// All lots that hold something.
pub async fn lots_on_shelf(conn: &impl Conn) -> Result<Vec<Lot>, StoreError> {
    let query = lot::Entity::find().filter(holds_something()).order_by_asc(lot::Column::Id);
    all(conn, query).await
}

/// All lots of some materials that hold something.
pub async fn lots_of_materials(conn: &impl Conn, materials: &[MaterialId]) -> Result<Vec<Lot>, StoreError> {
    let mut lots = Vec::new();
    for list in id_lists(materials.iter().map(|id| id.0)) {
        let query = lot::Entity::find()
            .filter(lot::Column::Material.is_in(list))
            .filter(holds_something())
            .order_by_asc(lot::Column::Id);
        lots.extend(all(conn, query).await?);
    }
    Ok(lots)
}

/// All lots some materials ever had, empty ones among them.
pub async fn lots_ever_of_materials(
    conn: &impl Conn,
    materials: &[MaterialId],
) -> Result<Vec<Lot>, StoreError> {
    let mut lots = Vec::new();
    for list in id_lists(materials.iter().map(|id| id.0)) {
        let query =
            lot::Entity::find().filter(lot::Column::Material.is_in(list)).order_by_asc(lot::Column::Id);
        lots.extend(all(conn, query).await?);
    }
    Ok(lots)
}

/// Changes a lot's status.
///
/// # Errors
/// [`StoreError::NotFound`].
pub async fn lot_status_set(tx: &WriteTx, id: LotId, status: LotStatus) -> Result<(), StoreError> {
    changed(
        id,
        lot::Entity::update_many()
            .col_expr(lot::Column::Status, Expr::value(status.column_word()))
            .filter(lot::Column::Id.eq(id.0))
            .exec(tx.connection())
            .await?
            .rows_affected,
    )
}

/// Opens lots that were not opened before, on a day.
pub async fn lots_open(tx: &WriteTx, ids: &[LotId], on: NaiveDate) -> Result<(), StoreError> {
    for list in id_lists(ids.iter().map(|id| id.0)) {
        lot::Entity::update_many()
            .col_expr(lot::Column::OpenedOn, Expr::value(on))
            .filter(lot::Column::Id.is_in(list))
            .filter(lot::Column::OpenedOn.is_null())
            .exec(tx.connection())
            .await?;
    }
    Ok(())
}

/// Writes a lot's dates anew.
///
/// # Errors
/// [`StoreError::NotFound`].
pub async fn lot_dates_set(tx: &WriteTx, id: LotId, dates: &LotDates) -> Result<(), StoreError> {
    changed(
        id,
        lot::Entity::update_many()
            .col_expr(lot::Column::MadeOn, Expr::value(dates.made_on))
            .col_expr(lot::Column::ExpiresOn, Expr::value(dates.expires_on))
            .col_expr(lot::Column::RetestOn, Expr::value(dates.retest_on))
            .col_expr(lot::Column::OpenedOn, Expr::value(dates.opened_on))
            .filter(lot::Column::Id.eq(id.0))
            .exec(tx.connection())
            .await?
            .rows_affected,
    )
}

/// Writes what is known about a lot anew: supplier and its number, dates, density, active matter, location, note. Its number,
/// material, status, receipt and balances are left alone.
///
/// # Errors
/// [`StoreError::NotFound`].
pub async fn lot_update(tx: &WriteTx, lot: &Lot) -> Result<(), StoreError> {
    changed(
        lot.id,
        lot::Entity::update_many()
            .col_expr(lot::Column::Supplier, Expr::value(lot.supplier.map(|id| id.0)))
            .col_expr(lot::Column::SupplierLot, Expr::value(lot.supplier_lot.clone()))
            .col_expr(
                lot::Column::SupplierLotSought,
                Expr::value(lot.supplier_lot.as_deref().map(coarsely_sought)),
            )
            .col_expr(lot::Column::ReceivedOn, Expr::value(lot.received_on))
            .col_expr(lot::Column::MadeOn, Expr::value(lot.made_on))
            .col_expr(lot::Column::ExpiresOn, Expr::value(lot.expires_on))
            .col_expr(lot::Column::RetestOn, Expr::value(lot.retest_on))
            .col_expr(lot::Column::OpenedOn, Expr::value(lot.opened_on))
            .col_expr(lot::Column::Density, Expr::value(lot.density.map(Density::nano)))
            .col_expr(lot::Column::ActiveMatter, Expr::value(lot.active_matter.map(Percent::nano)))
            .col_expr(lot::Column::Location, Expr::value(lot.location.clone()))
            .col_expr(lot::Column::Note, Expr::value(lot.note.clone()))
            .filter(lot::Column::Id.eq(lot.id.0))
            .exec(tx.connection())
            .await?
            .rows_affected,
    )
}

/// Writes anew what a lot is bound to: whose it is, what it was released for, what of it cannot be had, how it ended.
///
/// # Errors
/// [`StoreError::NotFound`].
pub async fn lot_terms_set(tx: &WriteTx, id: LotId, terms: &LotTerms) -> Result<(), StoreError> {
    changed(
        id,
        lot::Entity::update_many()
            .col_expr(lot::Column::Ownership, Expr::value(terms.ownership.column_word()))
            .col_expr(lot::Column::Owner, Expr::value(terms.owner.clone()))
            .col_expr(lot::Column::RestrictedTo, Expr::value(materials_text(&terms.restricted_to)))
            .col_expr(lot::Column::ReleasedUntil, Expr::value(terms.released_until))
            .col_expr(lot::Column::RetestedUntil, Expr::value(terms.retested_until))
            .col_expr(lot::Column::Blocked, Expr::value(terms.blocked))
            .col_expr(lot::Column::Heel, Expr::value(terms.heel))
            .col_expr(lot::Column::CostProvisional, Expr::value(i64::from(terms.cost_provisional)))
            .col_expr(lot::Column::DueOn, Expr::value(terms.due_on))
            .col_expr(lot::Column::Ended, Expr::value(terms.ended.map(Word::column_word)))
            .filter(lot::Column::Id.eq(id.0))
            .exec(tx.connection())
            .await?
            .rows_affected,
    )
}

/// Writes an ordered lot anew as it came in, still empty: post the receipt next, in the same transaction.
///
/// # Errors
/// [`StoreError::NotFound`], and as [`lot_insert`].
pub async fn lot_arrived(tx: &WriteTx, arrived: &Lot) -> Result<(), StoreError> {
    let row = lot::Model::empty_of(arrived).into_active_model();
    update_row(tx.connection(), row, lot::Column::Id.eq(arrived.id.0), "lot", arrived.id).await
}

/// Lots that are ordered and have not come in, in the order they were entered.
pub async fn lots_ordered(conn: &impl Conn) -> Result<Vec<Lot>, StoreError> {
    let query = lot::Entity::find()
        .filter(lot::Column::Expected.is_not_null())
        .filter(lot::Column::Received.eq(0))
        .order_by_asc(lot::Column::Id);
    all(conn, query).await
}

/// Lots whose number, or their supplier's number, is what somebody typed, as [`sought`] compares them; where there is none, those
/// that have it as a part. Newest first.
pub async fn lots_sought(conn: &impl Conn, text: &str, limit: usize) -> Result<Vec<Lot>, StoreError> {
    let (coarse, key) = (coarsely_sought(text), sought(text));
    if key.is_empty() {
        return Ok(Vec::new());
    }
    let found = |query: Select<lot::Entity>| {
        query.order_by_desc(lot::Column::Id).limit(CANDIDATES_MAX).all(conn.connection())
    };
    let same = Condition::any()
        .add(lot::Column::NumberSought.eq(coarse.as_str()))
        .add(lot::Column::SupplierLotSought.eq(coarse.as_str()));
    let rows = found(lot::Entity::find().filter(same)).await?;
    let is = |text: &str| sought(text) == key;
    let mut lots = kept(rows, is)?;
    if lots.is_empty() {
        let part = Condition::any()
            .add(lot::Column::NumberSought.contains(coarse.as_str()))
            .add(lot::Column::SupplierLotSought.contains(coarse.as_str()));
        let rows = found(lot::Entity::find().filter(part)).await?;
        lots = kept(rows, |text| sought(text).contains(&key))?;
    }
    lots.truncate(limit);
    Ok(lots)
}

/// The most rows looked at once more after the index found them.
const CANDIDATES_MAX: u64 = 2_000;

fn kept(rows: Vec<lot::Model>, fits: impl Fn(&str) -> bool) -> Result<Vec<Lot>, StoreError> {
    rows.into_iter()
        .filter(|row| fits(&row.number) || row.supplier_lot.as_deref().is_some_and(&fits))
        .map(lot::Model::into_lot)
        .collect()
}

/// Lots that tickets made: bulks, intermediates and finished products, also when nothing is left of them.
pub async fn lots_made_by(conn: &impl Conn, tickets: &[TicketId]) -> Result<Vec<Lot>, StoreError> {
    let mut lots = Vec::new();
    for list in id_lists(tickets.iter().map(|id| id.0)) {
        let query = lot::Entity::find().filter(lot::Column::MadeBy.is_in(list)).order_by_asc(lot::Column::Id);
        lots.extend(all(conn, query).await?);
    }
    Ok(lots)
}

/// Numbers looked up by one statement.
const NUMBERS_AT_ONCE: usize = 8_192;

async fn all(conn: &impl Conn, query: Select<lot::Entity>) -> Result<Vec<Lot>, StoreError> {
    query.all(conn.connection()).await?.into_iter().map(lot::Model::into_lot).collect()
}

fn changed(id: LotId, rows: u64) -> Result<(), StoreError> {
    if rows == 1 { Ok(()) } else { Err(StoreError::NotFound { what: "lot", id: id.to_string() }) }
}

/// A lot that holds something. The nought is written out and not a parameter: SQLite plans a statement before it knows its
/// parameters, and would not use the index of those that hold something.
fn holds_something() -> SimpleExpr {
    Expr::col(lot::Column::OnHand).gt(Expr::cust("0"))
}

fn filtered(filter: &LotFilter) -> Select<lot::Entity> {
    let mut condition = Condition::all();
    if !filter.materials.is_empty() {
        condition = condition.add(lot::Column::Material.is_in(filter.materials.iter().map(|id| id.0)));
    }
    if !filter.statuses.is_empty() {
        condition = condition.add(lot::Column::Status.is_in(filter.statuses.iter().map(|s| s.column_word())));
    }
    if filter.on_shelf {
        condition = condition.add(holds_something());
    }
    if let Some(day) = filter.ends_by {
        condition = condition.add(lot::Column::ExpiresOn.lte(day).or(lot::Column::RetestOn.lte(day)));
    }
    lot::Entity::find().filter(condition)
}
