//! Costs that were known later.

use domain::corrections::{CorrectionShare, CostCorrection};
use kernel::{
    Currency, Money,
    ids::{CorrectionId, LotId, MovementId, TicketId},
};

use crate::{StoreError, codes::At, rows::code};

super::table! {
    /// Its shares stand in a table of their own.
    correction, "cost_corrections" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        lot: Uuid,
        currency: String,
        amount: i64,
        entered_at: i64,
        entered_by: String,
        because_of: Option<Uuid>,
        reason: String,
    }
}

super::table! {
    /// In the currency of its correction.
    share, "cost_correction_shares" {
        #[sea_orm(primary_key, auto_increment = false)]
        correction: Uuid,
        lot: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        movement: Uuid,
        ticket: Option<Uuid>,
        amount: i64,
    }
}

impl correction::Model {
    pub(crate) fn of(c: &CostCorrection) -> Self {
        Self {
            id: c.id.0,
            lot: c.lot.0,
            currency: code(c.amount.currency()),
            amount: c.amount.micros(),
            entered_at: c.entered_at.timestamp_micros(),
            entered_by: c.by.clone(),
            because_of: c.because_of.map(|id| id.0),
            reason: c.reason.clone(),
        }
    }

    pub(crate) fn into_correction(self) -> Result<CostCorrection, StoreError> {
        let id = self.id;
        let at = At::new("cost_corrections", &id);
        let currency = at.text("currency", &self.currency)?;
        Ok(CostCorrection {
            id: CorrectionId(id),
            lot: LotId(self.lot),
            amount: Money::from_micros(self.amount, currency),
            entered_at: at.instant("entered_at", self.entered_at)?,
            by: self.entered_by,
            because_of: self.because_of.map(CorrectionId),
            reason: self.reason,
            shares: Vec::new(),
        })
    }
}

impl share::Model {
    pub(crate) fn of(of: &CostCorrection, s: &CorrectionShare) -> Self {
        Self {
            correction: of.id.0,
            lot: of.lot.0,
            movement: s.movement.0,
            ticket: s.ticket.map(|id| id.0),
            amount: s.amount.micros(),
        }
    }

    pub(crate) fn into_share(self, currency: Currency) -> CorrectionShare {
        CorrectionShare {
            movement: MovementId(self.movement),
            ticket: self.ticket.map(TicketId),
            amount: Money::from_micros(self.amount, currency),
        }
    }
}
