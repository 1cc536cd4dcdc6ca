//! Counts of the shelf, and the rules of counting.

use chrono::{DateTime, Utc};
use domain::{
    counts::{Count, CountLine, StockRule},
    text::code_key,
};
use kernel::ids::{CountId, LotId, MaterialId};
use sea_orm::{
    ColumnTrait, EntityTrait, IntoActiveModel, QueryFilter, QueryOrder, QuerySelect,
    sea_query::{ExprTrait, LockType},
};

use crate::{
    Conn, StoreError, WriteTx,
    connection::sealed::HasConnection,
    rows::{
        counts::{count, count_line, stock_rule},
        id_lists, insert_all,
        movements::movement,
        update_row,
    },
};

/// Adds a count with its lines.
///
/// # Errors
/// [`StoreError::Constraint`] when its number is taken.
pub async fn count_insert(tx: &WriteTx, count: &Count) -> Result<(), StoreError> {
    insert_all(tx.connection(), vec![count::Model::of(count)]).await?;
    let lines = count.lines.iter().map(|line| count_line::Model::of(count.id, line));
    insert_all(tx.connection(), lines.collect()).await
}

/// The count of a number, letter case aside.
pub async fn count_by_number(conn: &impl Conn, number: &str) -> Result<Option<Count>, StoreError> {
    let row = count::Entity::find()
        .filter(count::Column::NumberKey.eq(code_key(number)))
        .one(conn.connection())
        .await?;
    whole(conn, row).await
}

/// A count, locked until the transaction ends.
pub async fn count_lock(tx: &WriteTx, id: CountId) -> Result<Option<Count>, StoreError> {
    let row = count::Entity::find_by_id(id.0).lock(LockType::Update).one(tx.connection()).await?;
    whole(tx, row).await
}

/// The latest counts with their lines, newest first.
pub async fn counts_latest(conn: &impl Conn, limit: u64) -> Result<Vec<Count>, StoreError> {
    let rows =
        count::Entity::find().order_by_desc(count::Column::Id).limit(limit).all(conn.connection()).await?;
    let mut counts = Vec::with_capacity(rows.len());
    for row in rows {
        counts.extend(whole(conn, Some(row)).await?);
    }
    Ok(counts)
}

/// Writes how a count stands anew, without its lines.
///
/// # Errors
/// [`StoreError::NotFound`].
pub async fn count_update(tx: &WriteTx, count: &Count) -> Result<(), StoreError> {
    let row = count::Model::of(count).into_active_model();
    update_row(tx.connection(), row, count::Column::Id.eq(count.id.0), "count", count.id).await
}

/// Writes a line of a count anew.
///
/// # Errors
/// [`StoreError::NotFound`].
pub async fn count_line_update(tx: &WriteTx, count: CountId, line: &CountLine) -> Result<(), StoreError> {
    let which = count_line::Column::Count.eq(count.0).and(count_line::Column::Lot.eq(line.lot.0));
    let row = count_line::Model::of(count, line).into_active_model();
    update_row(tx.connection(), row, which, "line of a count", line.lot).await
}

/// What moved in or out of a lot by entries made after an instant, in the scaled integer of its dimension.
pub async fn moved_after(conn: &impl Conn, lot: LotId, after: DateTime<Utc>) -> Result<i64, StoreError> {
    let moved: Vec<i64> = movement::Entity::find()
        .select_only()
        .column(movement::Column::Quantity)
        .filter(movement::Column::Lot.eq(lot.0))
        .filter(movement::Column::EnteredAt.gt(after.timestamp_micros()))
        .into_tuple()
        .all(conn.connection())
        .await?;
    moved.into_iter().try_fold(0_i64, i64::checked_add).ok_or(StoreError::TooLarge("what moved of a lot"))
}

/// The rules entered for some materials; those without one have the usual rule.
pub async fn stock_rules(conn: &impl Conn, materials: &[MaterialId]) -> Result<Vec<StockRule>, StoreError> {
    let mut rules = Vec::new();
    for list in id_lists(materials.iter().map(|id| id.0)) {
        let query = stock_rule::Entity::find().filter(stock_rule::Column::Material.is_in(list));
        for row in query.all(conn.connection()).await? {
            rules.push(row.into_rule()?);
        }
    }
    Ok(rules)
}

/// Writes the rule of a material, anew where there is one.
pub async fn stock_rule_put(tx: &WriteTx, rule: &StockRule) -> Result<(), StoreError> {
    let row = stock_rule::Model::of(rule);
    if stock_rules(tx, &[rule.material]).await?.is_empty() {
        return insert_all(tx.connection(), vec![row]).await;
    }
    let which = stock_rule::Column::Material.eq(rule.material.0);
    update_row(tx.connection(), row.into_active_model(), which, "rule of a material", rule.material).await
}

async fn whole(conn: &impl Conn, row: Option<count::Model>) -> Result<Option<Count>, StoreError> {
    let Some(row) = row else { return Ok(None) };
    let lines = count_line::Entity::find()
        .filter(count_line::Column::Count.eq(row.id))
        .order_by_asc(count_line::Column::Lot)
        .all(conn.connection())
        .await?
        .into_iter()
        .map(count_line::Model::into_line)
        .collect::<Result<_, _>>()?;
    row.into_count(lines).map(Some)
}
