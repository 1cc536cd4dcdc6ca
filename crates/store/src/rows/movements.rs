//! Entries of the stock ledger.

use domain::stock::Movement;
use kernel::{
    Money,
    ids::{ContainerId, LotId, MovementId, TicketId},
};
use sea_orm::ActiveValue::{NotSet, Set};

use crate::{
    StoreError,
    codes::{At, Word, dimension},
    rows::currency_of,
};

super::table! {
    /// `seq` grows with every entry; the database gives it.
    movement, "movements" {
        #[sea_orm(primary_key)]
        seq: i64,
        id: Uuid,
        lot: Uuid,
        kind: String,
        dimension: String,
        quantity: i64,
        currency: Option<String>,
        value: Option<i64>,
        day: NaiveDate,
        entered_at: i64,
        entered_by: String,
        ticket: Option<Uuid>,
        reverses: Option<Uuid>,
        cause: Option<String>,
        container: Option<Uuid>,
        reason: Option<String>,
    }
}

impl movement::ActiveModel {
    pub(crate) fn of(m: &Movement) -> Self {
        Self {
            seq: NotSet,
            id: Set(m.id.0),
            lot: Set(m.lot.0),
            kind: Set(m.kind.column_word().to_owned()),
            dimension: Set(dimension(m.quantity)),
            quantity: Set(m.quantity.raw()),
            currency: Set(currency_of(m.value)),
            value: Set(m.value.map(Money::micros)),
            day: Set(m.on),
            entered_at: Set(m.entered_at.timestamp_micros()),
            entered_by: Set(m.by.clone()),
            ticket: Set(m.ticket.map(|id| id.0)),
            reverses: Set(m.reverses.map(|id| id.0)),
            cause: Set(m.cause.map(|cause| cause.column_word().to_owned())),
            container: Set(m.container.map(|id| id.0)),
            reason: Set(m.reason.clone()),
        }
    }
}

impl movement::Model {
    pub(crate) fn into_movement(self) -> Result<Movement, StoreError> {
        let id = self.id;
        let at = At::new("movements", &id);
        let currency = at.text_opt("currency", self.currency.as_deref())?;
        Ok(Movement {
            id: MovementId(id),
            lot: LotId(self.lot),
            kind: at.word("kind", &self.kind)?,
            quantity: at.quantity("quantity", self.quantity, &self.dimension)?,
            value: at.money_opt("value", self.value, currency)?,
            on: self.day,
            entered_at: at.instant("entered_at", self.entered_at)?,
            by: self.entered_by,
            ticket: self.ticket.map(TicketId),
            reverses: self.reverses.map(MovementId),
            cause: at.word_opt("cause", self.cause.as_deref())?,
            container: self.container.map(ContainerId),
            reason: self.reason,
        })
    }
}
