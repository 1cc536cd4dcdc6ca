//! Lots.

use domain::{
    lots::{Lot, LotTerms, WrittenDates, coarsely_sought},
    text::code_key,
};
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
        ownership: String,
        owner: Option<String>,
        restricted_to: Option<String>,
        released_until: Option<NaiveDate>,
        retested_until: Option<NaiveDate>,
        blocked: i64,
        heel: i64,
        cost_provisional: i64,
        expected: Option<i64>,
        due_on: Option<NaiveDate>,
        ended: Option<String>,
        made_on_written: Option<String>,
        expires_on_written: Option<String>,
        retest_on_written: Option<String>,
        number_sought: Option<String>,
        supplier_lot_sought: Option<String>,
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
            ownership: lot.terms.ownership.column_word().to_owned(),
            owner: lot.terms.owner.clone(),
            restricted_to: materials_text(&lot.terms.restricted_to),
            released_until: lot.terms.released_until,
            retested_until: lot.terms.retested_until,
            blocked: lot.terms.blocked,
            heel: lot.terms.heel,
            cost_provisional: i64::from(lot.terms.cost_provisional),
            expected: lot.terms.expected,
            due_on: lot.terms.due_on,
            ended: lot.terms.ended.map(|ended| ended.column_word().to_owned()),
            made_on_written: lot.terms.written.made_on.clone(),
            expires_on_written: lot.terms.written.expires_on.clone(),
            retest_on_written: lot.terms.written.retest_on.clone(),
            number_sought: Some(coarsely_sought(&lot.number)),
            supplier_lot_sought: lot.supplier_lot.as_deref().map(coarsely_sought),
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
            terms: LotTerms {
                ownership: at.word("ownership", &self.ownership)?,
                owner: self.owner,
                restricted_to: read_materials(&at, self.restricted_to.as_deref())?,
                released_until: self.released_until,
                retested_until: self.retested_until,
                blocked: self.blocked,
                heel: self.heel,
                cost_provisional: self.cost_provisional != 0,
                expected: self.expected,
                due_on: self.due_on,
                ended: at.word_opt("ended", self.ended.as_deref())?,
                written: WrittenDates {
                    made_on: self.made_on_written,
                    expires_on: self.expires_on_written,
                    retest_on: self.retest_on_written,
                },
            },
        })
    }
}

/// Ids of materials as one column holds them: written out, with spaces between. They are read with the lot, by one query.
pub(crate) fn materials_text(materials: &[MaterialId]) -> Option<String> {
    if materials.is_empty() {
        return None;
    }
    Some(materials.iter().map(ToString::to_string).collect::<Vec<_>>().join(" "))
}

fn read_materials(at: &At<'_>, text: Option<&str>) -> Result<Vec<MaterialId>, StoreError> {
    text.unwrap_or_default()
        .split_whitespace()
        .map(|id| at.text::<uuid::Uuid>("restricted_to", id).map(MaterialId))
        .collect()
}
