//! What is promised to tickets. A promise is no movement; it only keeps others from promising the same gram again.

use domain::tickets::Allocation;
use kernel::{
    Quantity,
    ids::{LotId, TicketId, TicketLineId},
};
use sea_orm::{
    ColumnTrait, EntityTrait, QueryFilter, Value,
    sea_query::{Expr, ExprTrait},
};
use std::collections::BTreeMap;

use crate::{
    StoreError, WriteTx, Writes,
    codes::At,
    connection::sealed::HasConnection,
    lots::lots_lock,
    rows::{insert_all, lots::lot, tickets::allocation, value_list},
};

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
    let connection = tx.connection();
    let before =
        allocation::Entity::find().filter(allocation::Column::Ticket.eq(ticket.0)).all(connection).await?;

    // A line that is promised one lot twice is promised the sum.
    let mut rows: Vec<allocation::Model> = Vec::with_capacity(allocations.len());
    for (promise, position) in allocations.iter().zip(1..) {
        let same = rows.iter_mut().find(|row| row.line == promise.line.0 && row.lot == promise.lot.0);
        match same {
            Some(row) => {
                row.quantity = row
                    .quantity
                    .checked_add(promise.quantity.raw())
                    .ok_or(StoreError::TooLarge("an allocation"))?;
            }
            None => rows.push(allocation::Model::of(ticket, position, promise)),
        }
    }

    // By lot: what the ticket had, and what it is to have.
    let mut promised: BTreeMap<LotId, (i64, i64)> = BTreeMap::new();
    for row in &before {
        let sums = promised.entry(LotId(row.lot)).or_default();
        sums.0 = sums.0.saturating_add(row.quantity);
    }
    for row in &rows {
        let sums = promised.entry(LotId(row.lot)).or_default();
        sums.1 = sums.1.checked_add(row.quantity).ok_or(StoreError::TooLarge("an allocation"))?;
    }

    let lots = lots_lock(tx, &promised.keys().copied().collect::<Vec<_>>()).await?;
    for (lot, (had, wanted)) in lots.iter().zip(promised.values()) {
        let dimension = lot.on_hand.dimension();
        if let Some(odd) = allocations.iter().find(|a| a.lot == lot.id && a.quantity.dimension() != dimension)
        {
            return Err(StoreError::Unfit {
                what: "an allocation",
                reason: format!(
                    "{} of lot {}, which is kept by {}",
                    odd.quantity,
                    lot.number,
                    dimension.name()
                ),
            });
        }
        let others = lot.reserved.raw().saturating_sub(*had);
        let free = lot.on_hand.raw().saturating_sub(others);
        if wanted > had && *wanted > free {
            return Err(StoreError::LotShort {
                lot: lot.id,
                number: lot.number.clone(),
                needed: Quantity::from_raw(*wanted, dimension),
                available: Quantity::from_raw(Ord::max(free, 0), dimension),
            });
        }
    }

    allocation::Entity::delete_many()
        .filter(allocation::Column::Ticket.eq(ticket.0))
        .exec(connection)
        .await?;
    insert_all(connection, rows).await?;
    for (lot, (had, wanted)) in promised {
        if had != wanted {
            reserved_change(tx, lot, wanted - had).await?;
        }
    }
    Ok(())
}

/// Puts down what is left of a locked ticket's promises, `before`, after some were used up: those in `left` keep what they say there,
/// the others are gone. Gives by how much less is promised of each lot, which the posting of what was taken takes off the lots
/// ([`crate::stock::post_on`]).
pub fn allocations_shrink(
    writes: &mut Writes,
    ticket: TicketId,
    before: &[Allocation],
    left: &[Allocation],
) -> BTreeMap<LotId, i64> {
    let mut promised: BTreeMap<LotId, i64> = BTreeMap::new();
    let mut gone: Vec<[Value; 2]> = Vec::new();
    let mut smaller: Vec<[Value; 3]> = Vec::new();
    for was in before {
        let now = left.iter().find(|now| now.line == was.line && now.lot == was.lot);
        let now = now.map_or(0, |now| now.quantity.raw());
        if now == was.quantity.raw() {
            continue;
        }
        let change = promised.entry(was.lot).or_default();
        *change = change.saturating_add(now.saturating_sub(was.quantity.raw()));
        if now == 0 {
            gone.push([was.line.0.into(), was.lot.0.into()]);
        } else {
            smaller.push([was.line.0.into(), was.lot.0.into(), now.into()]);
        }
    }

    let what = "what is promised to a ticket";
    if !gone.is_empty() && left.is_empty() {
        let text = "DELETE FROM allocations WHERE ticket = $1".to_owned();
        writes.change(text, vec![ticket.0.into()], gone.len(), what);
    } else if !gone.is_empty() {
        let (list, values) = value_list(&gone);
        let text = format!("DELETE FROM allocations WHERE (line, lot) IN (VALUES {list})");
        writes.change(text, values, gone.len(), what);
    }
    if !smaller.is_empty() {
        let (list, values) = value_list(&smaller);
        let text = format!(
            "UPDATE allocations SET quantity = now.column3 FROM (VALUES {list}) AS now \
             WHERE allocations.line = now.column1 AND allocations.lot = now.column2"
        );
        writes.change(text, values, smaller.len(), what);
    }
    promised
}

/// Uses up what is promised of a lot to a line, at most `quantity`, and gives what was used up: nought where nothing was promised.
pub async fn allocation_use(
    tx: &WriteTx,
    line: TicketLineId,
    lot: LotId,
    quantity: Quantity,
) -> Result<Quantity, StoreError> {
    let connection = tx.connection();
    let nothing = Quantity::from_raw(0, quantity.dimension());
    let Some(row) = allocation::Entity::find_by_id((line.0, lot.0)).one(connection).await? else {
        return Ok(nothing);
    };
    let promised = At::new("allocations", &row.line).quantity("quantity", row.quantity, &row.dimension)?;
    if promised.dimension() != quantity.dimension() {
        return Err(StoreError::Unfit {
            what: "a use of an allocation",
            reason: format!("{quantity} of {promised}"),
        });
    }
    let used = Ord::min(promised.raw(), quantity.raw());
    if used <= 0 {
        return Ok(nothing);
    }
    let this = allocation::Column::Line.eq(line.0).and(allocation::Column::Lot.eq(lot.0));
    if used == promised.raw() {
        allocation::Entity::delete_many().filter(this).exec(connection).await?;
    } else {
        allocation::Entity::update_many()
            .col_expr(allocation::Column::Quantity, Expr::col(allocation::Column::Quantity).sub(used))
            .filter(this)
            .exec(connection)
            .await?;
    }
    reserved_change(tx, lot, -used).await?;
    Ok(Quantity::from_raw(used, quantity.dimension()))
}

/// Adds to what is promised of a lot, or takes off it.
async fn reserved_change(tx: &WriteTx, lot: LotId, change: i64) -> Result<(), StoreError> {
    let updated = lot::Entity::update_many()
        .col_expr(lot::Column::Reserved, Expr::col(lot::Column::Reserved).add(change))
        .filter(lot::Column::Id.eq(lot.0))
        .filter(Expr::col(lot::Column::Reserved).add(change).gte(0))
        .exec(tx.connection())
        .await?;
    if updated.rows_affected == 1 {
        Ok(())
    } else {
        Err(StoreError::Changed { what: "what is promised of lot", id: lot.to_string() })
    }
}
