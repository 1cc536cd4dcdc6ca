//! The stock ledger.

use async_graphql::{Context, Enum, ID, Object};
use domain::stock::Movement as Row;

use crate::{
    amounts::{Money, Quantity},
    caller::Desk,
    errors::{Result, internal},
    ids::global_id,
    lots::Lot,
    scalars::{Date, DateTime},
    tickets::Ticket,
};

/// What kind of change a movement is.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "domain::stock::MovementKind")]
pub enum MovementKind {
    /// A delivery came in.
    Receipt,
    /// A ticket made it.
    Made,
    /// Weighed into a batch.
    Weighing,
    /// Filled into packs, or used up by packing.
    Filling,
    /// Found to be more or less by counting.
    Adjustment,
    /// Taken as a sample or for the bench.
    Sample,
    /// Spilled, expired, disposed of.
    WriteOff,
    /// Undoes another movement.
    Reversal,
}

/// Why, in a word that can be counted.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "domain::stock::Cause")]
pub enum MovementCause {
    /// A count found another amount, and nobody knows why.
    CountDifference,
    /// Spilled.
    Spill,
    /// Leaked.
    Leak,
    /// Damaged.
    Damage,
    /// Evaporated.
    Evaporation,
    /// Took up moisture.
    MoistureUptake,
    /// Entered in the wrong unit.
    UnitError,
    /// Taken from another lot than was entered.
    WrongLot,
    /// Contaminated.
    Contamination,
    /// Past its expiry date.
    PastItsDate,
    /// Gone, and nobody knows where.
    UnknownLoss,
    /// Less was delivered than was entered.
    ShortDelivery,
    /// A container weighed more or less than was assumed.
    TareError,
    /// Used at the bench.
    BenchTrial,
    /// A sample for examination.
    Inspection,
    /// A sample to be kept.
    Retained,
    /// Sent back to its supplier.
    ReturnedToSupplier,
    /// Disposed of.
    Disposal,
    /// Lost in going from one container to others.
    Repacking,
}

/// A movement.
#[derive(Clone)]
pub struct Movement(pub Row);

/// One entry of the stock ledger. Entries are never changed; a mistake is put right by an entry that names the one it reverses.
#[Object]
impl Movement {
    /// The global id.
    pub(crate) async fn id(&self) -> ID {
        global_id(self.0.id)
    }

    /// The lot it changes.
    async fn lot(&self, ctx: &Context<'_>) -> Result<Lot> {
        let lot = ctx.loaders()?.lot(self.0.lot).await?;
        lot.map(Lot).ok_or_else(|| internal(format!("the lot of movement {} is gone", self.0.id)))
    }

    /// What kind of change.
    async fn kind(&self) -> MovementKind {
        self.0.kind.into()
    }

    /// What came in (above nought) or went out (below).
    async fn quantity(&self) -> Quantity {
        Quantity(self.0.quantity)
    }

    /// Its exact share of the lot's value, of the same sign; null for a lot whose value is not known.
    async fn value(&self) -> Option<Money> {
        self.0.value.map(Into::into)
    }

    /// The business day it counts for.
    async fn on(&self) -> Date {
        Date(self.0.on)
    }

    /// When it was entered.
    async fn entered_at(&self) -> DateTime {
        DateTime(self.0.entered_at)
    }

    /// Who entered it.
    async fn by(&self) -> &str {
        &self.0.by
    }

    /// The ticket it belongs to.
    async fn ticket(&self, ctx: &Context<'_>) -> Result<Option<Ticket>> {
        match self.0.ticket {
            None => Ok(None),
            Some(id) => Ok(ctx.loaders()?.ticket(id).await?.map(Ticket)),
        }
    }

    /// The global id of the movement it undoes.
    async fn reverses_id(&self) -> Option<ID> {
        self.0.reverses.map(global_id)
    }

    /// Why, in a word that can be counted; null where none was said.
    async fn cause(&self) -> Option<MovementCause> {
        self.0.cause.map(Into::into)
    }

    /// Why, in the words of whoever entered it.
    async fn reason(&self) -> Option<&str> {
        self.0.reason.as_deref()
    }
}
