//! The ledger: putting a wrong movement right, and proving that balances and ledger agree.

use domain::{
    Refusal,
    lots::LotTerms,
    people::{Actor, Capability},
    stock::{Movement, MovementKind},
    text,
};
use kernel::{
    Quantity,
    ids::{LotId, MovementId, TicketId},
};
use serde::{Deserialize, Serialize};
use store::{
    Page,
    stock::{Discrepancy, NewMovement},
};

use crate::{
    App, Change, Error,
    change::{Begun, Work},
    containers::blocked_settle,
    lots::lot_lock,
    require,
};

/// A movement to be undone.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct MovementReverse {
    /// The movement.
    pub movement: MovementId,
    /// Why.
    pub reason: String,
}

impl App {
    /// Undoes a movement by an equal and opposite one that names it. Weighings are taken back on their ticket instead, and what a
    /// ticket made or filled stays.
    ///
    /// # Errors
    /// [`Error::NotFound`], [`Refusal::NotReversible`].
    pub async fn movement_reverse(
        &self,
        change: &Change<'_>,
        input: MovementReverse,
    ) -> Result<Movement, Error> {
        let mut work = match self.begin(change, Capability::Administer, "movement-reverse", &input).await? {
            Begun::Repeat(movement) => return Ok(movement),
            Begun::Fresh(work) => work,
        };
        let reason =
            text::note("a reason", &input.reason).map_err(|error| Error::invalid("reason", error))?;
        let allowed =
            [MovementKind::Receipt, MovementKind::Adjustment, MovementKind::Sample, MovementKind::WriteOff];
        let movement = self.reverse(&mut work, input.movement, &reason, Some(&allowed)).await?;
        work.note("movement", movement.id, None::<&()>, &movement, Some(&reason))?;
        work.finish(movement).await
    }

    /// Undoes a movement inside a change under way. `allowed` limits the kinds; `None` leaves that to the caller.
    pub(crate) async fn reverse(
        &self,
        work: &mut Work<'_>,
        id: MovementId,
        reason: &str,
        allowed: Option<&[MovementKind]>,
    ) -> Result<Movement, Error> {
        let refuse = |because: &str| Error::from(Refusal::NotReversible { because: because.to_owned() });
        let wrong = store::stock::movement_get(&work.tx, id)
            .await?
            .ok_or_else(|| Error::not_found("movement", id))?;
        if wrong.kind == MovementKind::Reversal {
            return Err(refuse("it is itself a reversal"));
        }
        if allowed.is_some_and(|kinds| !kinds.contains(&wrong.kind)) {
            return Err(refuse("it belongs to a ticket; take the weighing back on the ticket"));
        }
        // The lot's lock makes two reversals of the same movement wait for each other.
        let lot = lot_lock(&work.tx, wrong.lot).await?;
        if store::stock::movement_reversing(&work.tx, id).await?.is_some() {
            return Err(refuse("it was reversed before"));
        }
        if wrong.quantity.raw() > lot.free() {
            return Err(refuse("the lot no longer holds what it brought in, free of promises"));
        }
        let quantity = Quantity::from_raw(-wrong.quantity.raw(), wrong.quantity.dimension());
        // The store gives back the very value the wrong movement took.
        let movement = NewMovement {
            ticket: wrong.ticket,
            reverses: Some(wrong.id),
            cause: wrong.cause,
            container: wrong.container,
            reason: Some(reason.to_owned()),
            ..work.movement(wrong.lot, MovementKind::Reversal, quantity, self.today())
        };
        let posted = store::stock::post(&work.tx, &[movement]).await?;
        if lot.terms.ended.is_some() {
            let terms = LotTerms { ended: None, ..lot.terms.clone() };
            store::lots::lot_terms_set(&work.tx, lot.id, &terms).await?;
        }
        if wrong.container.is_some() {
            let now = lot_lock(&work.tx, lot.id).await?;
            blocked_settle(&work.tx, &now).await?;
        }
        posted.into_iter().next().ok_or_else(|| Error::internal("a reversal was not posted"))
    }

    /// Everywhere the balances kept beside the ledger differ from what the ledger adds up to; empty when all is well.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn ledger_verify(&self, actor: &Actor) -> Result<Vec<Discrepancy>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::stock::ledger_verify(self.store()).await?)
    }

    /// An entry of the ledger.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn movement_get(&self, actor: &Actor, id: MovementId) -> Result<Option<Movement>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::stock::movement_get(self.store(), id).await?)
    }

    /// What a ticket moved, in order.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn movements_of_ticket(&self, actor: &Actor, ticket: TicketId) -> Result<Vec<Movement>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::stock::movements_of_ticket(self.store(), ticket).await?)
    }

    /// A lot's movements in the order they were posted, after the one named.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn movements_of_lot(
        &self,
        actor: &Actor,
        lot: LotId,
        after: Option<MovementId>,
        limit: u32,
    ) -> Result<Page<Movement>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::stock::movements_of_lot(self.store(), lot, after, limit).await?)
    }
}
