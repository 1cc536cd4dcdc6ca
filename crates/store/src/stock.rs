//! The stock ledger: posting to it, reading it, and proving that the balances beside it are right.
//!
//! Posting goes in one order on both databases. The lots are locked in the order of their ids, so that two postings that share
//! lots wait for each other instead of deadlocking. Then everything is worked out in memory on the locked lots: what each
//! movement takes, and which exact share of the lot's value goes with it; whatever is refused is refused here, before anything is
//! written. Then one conditional update changes all balances, and the movements are inserted. The database's own check that
//! nothing goes below nought stands behind all of it.

use chrono::{DateTime, NaiveDate, Utc};
use domain::lots::Lot;
use domain::stock::{Cause, Movement, MovementKind, value_leaving};
use kernel::{
    Money, Quantity,
    ids::{ContainerId, LotId, MovementId, TicketId},
};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect, Value};
use std::collections::{BTreeMap, HashMap};
use uuid::Uuid;

use crate::{
    Conn, Page, StoreError, WriteTx, Writes,
    connection::sealed::HasConnection,
    lots::lots_lock,
    rows::{id_lists, movements::movement, value_list},
};

mod ledger;

pub use ledger::{Balance, Discrepancy, ledger_rebuild, ledger_verify};

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
    /// Why, in a word that can be counted.
    pub cause: Option<Cause>,
    /// The container of the lot it is taken from.
    pub container: Option<ContainerId>,
    /// Why.
    pub reason: Option<String>,
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
    if movements.is_empty() {
        return Ok(Vec::new());
    }
    let lots = lots_lock(tx, &movements.iter().map(|m| m.lot).collect::<Vec<_>>()).await?;
    let mut writes = Writes::of(tx);
    let posted = post_on(tx, &mut writes, lots, movements, &BTreeMap::new()).await?;
    writes.run(tx).await?;
    Ok(posted)
}

/// Works movements out as [`post`] does, on lots that [`lots_lock`] gave in this transaction and that nothing has changed since, and
/// changes what is promised of them by so much, above nought or below. Every lot that is named must be among them. What is to be
/// written is put down among the change's writes.
///
/// # Errors
/// As [`post`]; [`StoreError::Changed`] when less than nothing of a lot would be promised.
pub async fn post_on(
    tx: &WriteTx,
    writes: &mut Writes,
    lots: impl IntoIterator<Item = Lot>,
    movements: &[NewMovement],
    promised: &BTreeMap<LotId, i64>,
) -> Result<Vec<Movement>, StoreError> {
    let reversed = reversed_movements(tx, movements).await?;
    let mut shelf: BTreeMap<LotId, Standing> =
        lots.into_iter().map(|lot| (lot.id, Standing::of(lot))).collect();

    let mut posted = Vec::with_capacity(movements.len());
    for movement in movements {
        let standing = shelf.get_mut(&movement.lot).ok_or_else(|| no_lot(movement.lot))?;
        let original = movement.reverses.and_then(|id| reversed.get(&id));
        posted.push(standing.take(movement, original)?);
    }
    for (lot, change) in promised {
        let standing = shelf.get_mut(lot).ok_or_else(|| no_lot(*lot))?;
        standing.reserved =
            standing.reserved.checked_add(*change).filter(|reserved| *reserved >= 0).ok_or_else(|| {
                StoreError::Changed { what: "what is promised of lot", id: standing.lot.number.clone() }
            })?;
    }

    balances_change(writes, &shelf);
    writes.insert(posted.iter().map(movement::ActiveModel::of).collect());
    Ok(posted)
}

fn no_lot(id: LotId) -> StoreError {
    StoreError::NotFound { what: "lot", id: id.to_string() }
}

/// An entry of the ledger.
pub async fn movement_get(conn: &impl Conn, id: MovementId) -> Result<Option<Movement>, StoreError> {
    let row = movement::Entity::find().filter(movement::Column::Id.eq(id.0)).one(conn.connection()).await?;
    row.map(movement::Model::into_movement).transpose()
}

/// The entry that reverses another.
pub async fn movement_reversing(conn: &impl Conn, id: MovementId) -> Result<Option<Movement>, StoreError> {
    let row =
        movement::Entity::find().filter(movement::Column::Reverses.eq(id.0)).one(conn.connection()).await?;
    row.map(movement::Model::into_movement).transpose()
}

/// A lot's movements in the order they were posted, after the one named.
pub async fn movements_of_lot(
    conn: &impl Conn,
    lot: LotId,
    after: Option<MovementId>,
    limit: u32,
) -> Result<Page<Movement>, StoreError> {
    let mut query = movement::Entity::find()
        .filter(movement::Column::Lot.eq(lot.0))
        .order_by_asc(movement::Column::Seq)
        .limit(u64::from(limit) + 1);
    if let Some(after) = after {
        let seq = movement::Entity::find()
            .select_only()
            .column(movement::Column::Seq)
            .filter(movement::Column::Id.eq(after.0))
            .into_tuple::<i64>()
            .one(conn.connection())
            .await?
            .ok_or_else(|| StoreError::NotFound { what: MOVEMENT, id: after.to_string() })?;
        query = query.filter(movement::Column::Seq.gt(seq));
    }
    let rows = query.all(conn.connection()).await?;
    let movements = rows.into_iter().map(movement::Model::into_movement).collect::<Result<_, _>>()?;
    Ok(Page::cut(movements, limit))
}

/// A ticket's movements in the order they were posted.
pub async fn movements_of_ticket(conn: &impl Conn, ticket: TicketId) -> Result<Vec<Movement>, StoreError> {
    let rows = movement::Entity::find()
        .filter(movement::Column::Ticket.eq(ticket.0))
        .order_by_asc(movement::Column::Seq)
        .all(conn.connection())
        .await?;
    rows.into_iter().map(movement::Model::into_movement).collect()
}

/// The movements of some lots, in the order they were posted.
pub async fn movements_of_lots(conn: &impl Conn, lots: &[LotId]) -> Result<Vec<Movement>, StoreError> {
    let mut rows = Vec::new();
    for list in id_lists(lots.iter().map(|id| id.0)) {
        rows.extend(
            movement::Entity::find().filter(movement::Column::Lot.is_in(list)).all(conn.connection()).await?,
        );
    }
    rows.sort_by_key(|row| row.seq);
    rows.into_iter().map(movement::Model::into_movement).collect()
}

/// What an entry of the ledger is called in errors.
const MOVEMENT: &str = "movement";

/// The movements that are to be reversed; every one has to be there.
async fn reversed_movements(
    tx: &WriteTx,
    movements: &[NewMovement],
) -> Result<HashMap<MovementId, Movement>, StoreError> {
    let mut reversed = HashMap::new();
    for list in id_lists(movements.iter().filter_map(|m| m.reverses).map(|id| id.0)) {
        let rows =
            movement::Entity::find().filter(movement::Column::Id.is_in(list)).all(tx.connection()).await?;
        for row in rows {
            let movement = row.into_movement()?;
            reversed.insert(movement.id, movement);
        }
    }
    for id in movements.iter().filter_map(|m| m.reverses) {
        if !reversed.contains_key(&id) {
            return Err(StoreError::NotFound { what: MOVEMENT, id: id.to_string() });
        }
    }
    Ok(reversed)
}

/// A locked lot while movements are worked out on it: where it stood, and where it stands now.
struct Standing {
    lot: Lot,
    on_hand: i64,
    value: Option<Money>,
    reserved: i64,
}

impl Standing {
    fn of(lot: Lot) -> Self {
        Self { on_hand: lot.on_hand.raw(), value: lot.value, reserved: lot.reserved.raw(), lot }
    }

    /// By how much the lot's balances change.
    fn change(&self) -> Change {
        let micros = |money: Option<Money>| money.map_or(0, Money::micros);
        Change {
            lot: self.lot.id.0,
            on_hand: self.on_hand - self.lot.on_hand.raw(),
            value: micros(self.value) - micros(self.lot.value),
            reserved: self.reserved - self.lot.reserved.raw(),
        }
    }

    fn unfit(&self, reason: impl Into<String>) -> StoreError {
        StoreError::MovementUnfit { lot: self.lot.id, number: self.lot.number.clone(), reason: reason.into() }
    }

    /// Takes a movement, and gives the entry of the ledger it becomes.
    fn take(&mut self, new: &NewMovement, original: Option<&Movement>) -> Result<Movement, StoreError> {
        let dimension = self.lot.on_hand.dimension();
        let moved = new.quantity.raw();
        if new.quantity.dimension() != dimension {
            return Err(self.unfit(format!(
                "the lot is kept by {}, not by {}",
                dimension.name(),
                new.quantity.dimension().name()
            )));
        }
        if moved == 0 {
            return Err(self.unfit("nothing is moved"));
        }
        self.check_kind(new, original)?;

        let on_hand = self.on_hand.checked_add(moved).ok_or(StoreError::TooLarge("what a lot holds"))?;
        if on_hand < 0 {
            return Err(StoreError::LotShort {
                lot: self.lot.id,
                number: self.lot.number.clone(),
                needed: Quantity::from_raw(moved.saturating_neg(), dimension),
                available: Quantity::from_raw(self.on_hand, dimension),
            });
        }
        let value = match self.value {
            Some(held) => Some(self.value_moved(held, new, original)?),
            None if new.value.is_some() && moved > 0 && original.is_none() => {
                return Err(self.unfit("it comes with a value, and the lot has none"));
            }
            None => None,
        };
        if let (Some(held), Some(moved)) = (self.value, value) {
            self.value = Some(held.checked_add(moved).map_err(|reason| self.unfit(reason.to_string()))?);
        }
        self.on_hand = on_hand;
        Ok(Movement {
            id: new.id,
            lot: new.lot,
            kind: new.kind,
            quantity: new.quantity,
            value,
            on: new.on,
            // As it is kept, so that what is answered now is what is read later.
            entered_at: DateTime::from_timestamp_micros(new.entered_at.timestamp_micros())
                .unwrap_or(new.entered_at),
            by: new.by.clone(),
            ticket: new.ticket,
            reverses: new.reverses,
            cause: new.cause,
            container: new.container,
            reason: new.reason.clone(),
        })
    }

    /// Whether kind, direction and what is reversed go together.
    fn check_kind(&self, new: &NewMovement, original: Option<&Movement>) -> Result<(), StoreError> {
        let incoming = new.quantity.is_positive();
        let fits = match new.kind {
            MovementKind::Receipt | MovementKind::Made => incoming,
            MovementKind::Weighing | MovementKind::Sample | MovementKind::WriteOff => !incoming,
            MovementKind::Filling | MovementKind::Adjustment | MovementKind::Reversal => true,
        };
        if !fits {
            return Err(self.unfit(format!("a {} of {}", new.kind.words(), new.quantity)));
        }
        if let Some(cause) = new.cause.filter(|cause| !cause.fits(new.kind)) {
            return Err(self.unfit(format!("{} is no cause of a {}", cause.words(), new.kind.words())));
        }
        if (new.kind == MovementKind::Reversal) != new.reverses.is_some() {
            return Err(self.unfit("a reversal names what it reverses, and nothing else does"));
        }
        let Some(original) = original else {
            return Ok(());
        };
        if original.kind == MovementKind::Reversal {
            return Err(self.unfit("a reversal is not reversed; enter the movement again"));
        }
        let opposite = original.quantity.raw().checked_neg() == Some(new.quantity.raw());
        if original.lot != new.lot || !opposite {
            return Err(self.unfit("a reversal is the opposite of what it reverses"));
        }
        Ok(())
    }

    /// What a movement of a lot that holds `held` is worth, with its sign.
    fn value_moved(
        &self,
        held: Money,
        new: &NewMovement,
        original: Option<&Movement>,
    ) -> Result<Money, StoreError> {
        let nought = Money::zero(held.currency());
        let negated =
            |money: Money| nought.checked_sub(money).map_err(|reason| self.unfit(reason.to_string()));
        let taken_back = original.and_then(|movement| movement.value).map(negated).transpose()?;
        if new.quantity.is_positive() {
            let value = if original.is_some() { taken_back } else { new.value }.unwrap_or(nought);
            if value.currency() != held.currency() {
                return Err(self.unfit(format!(
                    "its value is in {}, the lot's in {}",
                    value.currency(),
                    held.currency()
                )));
            }
            if value.micros() < 0 {
                return Err(self.unfit("what comes in is worth less than nothing"));
            }
            return Ok(value);
        }
        let dimension = self.lot.on_hand.dimension();
        let out = new.quantity.raw().checked_neg().ok_or(StoreError::TooLarge("a movement"))?;
        // A receipt that is taken back takes its value back with it, as long as the lot still holds that much and something
        // stays in it; else what leaves is worth its share like everything else.
        if let Some(value) = taken_back
            && out < self.on_hand
            && held.micros().checked_add(value.micros()).is_some_and(|left| left >= 0)
        {
            return Ok(value);
        }
        let leaving = value_leaving(
            Quantity::from_raw(self.on_hand, dimension),
            held,
            Quantity::from_raw(out, dimension),
        )
        .map_err(|reason| self.unfit(reason.to_string()))?;
        negated(leaving)
    }
}

/// By how much a lot's balances change.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Change {
    lot: Uuid,
    on_hand: i64,
    value: i64,
    reserved: i64,
}

/// Lots changed by one statement.
const LOTS_AT_ONCE: usize = 4_096;

/// Changes the balances of all lots: the same statement on both databases, and nothing goes below nought.
fn balances_change(writes: &mut Writes, shelf: &BTreeMap<LotId, Standing>) {
    let changes: Vec<Change> = shelf
        .values()
        .map(Standing::change)
        .filter(|change| *change != Change { lot: change.lot, ..Change::default() })
        .collect();
    for chunk in changes.chunks(LOTS_AT_ONCE) {
        // A lot that comes twice in the list is changed once.
        let rows: Vec<[Value; 4]> = chunk
            .iter()
            .map(|c| [c.lot.into(), c.on_hand.into(), c.value.into(), c.reserved.into()])
            .collect();
        let (list, values) = value_list(&rows);
        let text = format!(
            "UPDATE lots SET on_hand = lots.on_hand + change.column2, value = lots.value + change.column3, \
             reserved = lots.reserved + change.column4 FROM (VALUES {list}) AS change \
             WHERE lots.id = change.column1 AND lots.on_hand + change.column2 >= 0 \
             AND lots.reserved + change.column4 >= 0"
        );
        // The lots are locked and were looked at, so each of them is changed.
        writes.change(text, values, chunk.len(), "what lots hold");
    }
}
