//! Lots.

use domain::{lots::Lot, text::code_key};
use kernel::{
    Density, Money, Percent, Quantity,
    ids::{LotId, MaterialId, SupplierId, TicketId},
};

use crate::{
    StoreError,
    codes::{At, Word, dimension},
    rows::currency_of,
};

super::table! {
    /// `dimension` is that of all three quantities, `currency` that of both values.
    lot, "lots" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        number: String,
        number_key: String,
        material: Uuid,
        supplier: Option<Uuid>,
        supplier_lot: Option<String>,
        made_by: Option<Uuid>,
        status: String,
        received_on: NaiveDate,
        made_on: Option<NaiveDate>,
        expires_on: Option<NaiveDate>,
        retest_on: Option<NaiveDate>,
        opened_on: Option<NaiveDate>,
        density: Option<i64>,
        active_matter: Option<i64>,
        location: Option<String>,
        dimension: String,
        received: i64,
        received_value: Option<i64>,
        currency: Option<String>,
        on_hand: i64,
        value: Option<i64>,
        reserved: i64,
        note: Option<String>,
    }
}

impl lot::Model {
    /// The lot, empty: only the ledger fills it.
    pub(crate) fn empty_of(lot: &Lot) -> Self {
        Self {
            id: lot.id.0,
            number: lot.number.clone(),
            number_key: code_key(&lot.number),
            material: lot.material.0,
            supplier: lot.supplier.map(|id| id.0),
            supplier_lot: lot.supplier_lot.clone(),
            made_by: lot.made_by.map(|id| id.0),
            status: lot.status.column_word().to_owned(),
            received_on: lot.received_on,
            made_on: lot.made_on,
            expires_on: lot.expires_on,
            retest_on: lot.retest_on,
            opened_on: lot.opened_on,
            density: lot.density.map(Density::nano),
            active_matter: lot.active_matter.map(Percent::nano),
            location: lot.location.clone(),
            dimension: dimension(lot.received),
            received: lot.received.raw(),
            received_value: lot.received_value.map(Money::micros),
            currency: currency_of(lot.received_value),
            on_hand: 0,
            value: lot.received_value.map(|_| 0),
            reserved: 0,
            note: lot.note.clone(),
        }
    }

    pub(crate) fn into_lot(self) -> Result<Lot, StoreError> {
        let id = self.id;
        let at = At::new("lots", &id);
        let dimension = at.word("dimension", &self.dimension)?;
        let currency = at.text_opt("currency", self.currency.as_deref())?;
        Ok(Lot {
            id: LotId(id),
            material: MaterialId(self.material),
            supplier: self.supplier.map(SupplierId),
            supplier_lot: self.supplier_lot,
            made_by: self.made_by.map(TicketId),
            status: at.word("status", &self.status)?,
            received_on: self.received_on,
            made_on: self.made_on,
            expires_on: self.expires_on,
            retest_on: self.retest_on,
            opened_on: self.opened_on,
            density: self.density.map(Density::from_nano),
            active_matter: self.active_matter.map(Percent::from_nano),
            location: self.location,
            received: Quantity::from_raw(self.received, dimension),
            received_value: at.money_opt("received_value", self.received_value, currency)?,
            on_hand: Quantity::from_raw(self.on_hand, dimension),
            value: at.money_opt("value", self.value, currency)?,
            reserved: Quantity::from_raw(self.reserved, dimension),
            number: self.number,
            note: self.note,
        })
    }
}
