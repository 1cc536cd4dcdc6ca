//! Costs that were known later. Only ever added to, as the ledger is.

use std::collections::{BTreeMap, HashMap};

use domain::corrections::{CorrectionShare, CostCorrection};
use kernel::{
    Currency, Money,
    ids::{CorrectionId, LotId, MovementId, TicketId},
};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, sea_query::Expr, sea_query::ExprTrait};

use crate::{
    Conn, StoreError, WriteTx,
    connection::sealed::HasConnection,
    rows::{
        code,
        corrections::{correction, share},
        id_lists, insert_all,
        lots::lot,
    },
};

/// Adds a correction and changes the lot's value by what stays in it. A lot without a value gets one: `settled`, what it is known to
/// have cost now. Its cost is no estimate any more.
///
/// # Errors
/// [`StoreError::NotFound`] for a lot that is not there.
pub async fn correction_insert(tx: &WriteTx, new: &CostCorrection, settled: Money) -> Result<(), StoreError> {
    insert_all(tx.connection(), vec![correction::Model::of(new)]).await?;
    insert_all(tx.connection(), new.shares.iter().map(|s| share::Model::of(new, s)).collect()).await?;
    let left = new.left_in_lot().map_err(|_| StoreError::TooLarge("the value of a lot"))?.micros();
    let currency = code(settled.currency());
    let updated = lot::Entity::update_many()
        .col_expr(lot::Column::Value, Expr::expr(Expr::col(lot::Column::Value).if_null(0_i64)).add(left))
        .col_expr(lot::Column::ReceivedValue, Expr::col(lot::Column::ReceivedValue).if_null(settled.micros()))
        .col_expr(lot::Column::Currency, Expr::value(currency))
        .filter(lot::Column::Id.eq(new.lot.0))
        .exec(tx.connection())
        .await?;
    if updated.rows_affected == 1 {
        Ok(())
    } else {
        Err(StoreError::NotFound { what: "lot", id: new.lot.to_string() })
    }
}

/// The corrections of some lots with their shares, in the order they were entered.
pub async fn corrections_of_lots(
    conn: &impl Conn,
    lots: &[LotId],
) -> Result<Vec<CostCorrection>, StoreError> {
    let mut corrections = BTreeMap::new();
    for list in id_lists(lots.iter().map(|id| id.0)) {
        let rows = correction::Entity::find()
            .filter(correction::Column::Lot.is_in(list.clone()))
            .order_by_asc(correction::Column::Id)
            .all(conn.connection())
            .await?;
        for row in rows {
            let read = row.into_correction()?;
            corrections.insert(read.id, read);
        }
        let rows =
            share::Entity::find().filter(share::Column::Lot.is_in(list)).all(conn.connection()).await?;
        for row in rows {
            if let Some(of) = corrections.get_mut(&CorrectionId(row.correction)) {
                let currency = of.amount.currency();
                of.shares.push(row.into_share(currency));
            }
        }
    }
    Ok(corrections.into_values().collect())
}

/// What a ticket's movements were worth more or less in all, by the movement: nothing for most tickets.
pub async fn corrections_of_ticket(
    conn: &impl Conn,
    ticket: TicketId,
) -> Result<HashMap<MovementId, Money>, StoreError> {
    let rows =
        share::Entity::find().filter(share::Column::Ticket.eq(ticket.0)).all(conn.connection()).await?;
    if rows.is_empty() {
        return Ok(HashMap::new());
    }
    let ids = id_lists(rows.iter().map(|row| row.correction));
    let mut currencies: HashMap<CorrectionId, Currency> = HashMap::new();
    for list in ids {
        let found = correction::Entity::find()
            .filter(correction::Column::Id.is_in(list))
            .all(conn.connection())
            .await?;
        for row in found {
            let read = row.into_correction()?;
            currencies.insert(read.id, read.amount.currency());
        }
    }
    let mut sums: HashMap<MovementId, Money> = HashMap::new();
    for row in rows {
        let Some(currency) = currencies.get(&CorrectionId(row.correction)) else { continue };
        let CorrectionShare { movement, amount, .. } = row.into_share(*currency);
        let sum = match sums.get(&movement) {
            Some(before) => {
                before.checked_add(amount).map_err(|_| StoreError::TooLarge("the value of a movement"))?
            }
            None => amount,
        };
        sums.insert(movement, sum);
    }
    Ok(sums)
}
