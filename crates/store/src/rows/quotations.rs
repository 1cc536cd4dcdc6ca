//! Quotations with their offers, and exchange rates.

use domain::{
    quotations::{ExchangeRate, Freight, FreightPer, Offer, Quotation},
    text::code_key,
};
use kernel::{
    Currency, Quantity, Rate, UnitPrice,
    ids::{MaterialId, QuotationId, RateId, SupplierId},
};

use crate::{
    StoreError,
    codes::{At, dimension, to_text},
    rows::code,
};

super::table! {
    quotation, "quotations" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        reference: String,
        reference_key: String,
        supplier: Uuid,
        material: Uuid,
        currency: String,
        valid_from: NaiveDate,
        valid_until: Option<NaiveDate>,
        lead_time: Option<String>,
        minimum_order: Option<i64>,
        minimum_order_dimension: Option<String>,
        freight_amount: Option<i64>,
        freight_per: Option<String>,
        freight_quantity: Option<i64>,
        freight_dimension: Option<String>,
        note: Option<String>,
    }
}

super::table! {
    offer, "quotation_offers" {
        #[sea_orm(primary_key, auto_increment = false)]
        quotation: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        position: i64,
        pack: i64,
        pack_dimension: String,
        price: i64,
        price_per: i64,
        price_per_dimension: String,
        from_quantity: Option<i64>,
        from_dimension: Option<String>,
    }
}

super::table! {
    /// Rates are text: they have no natural scale.
    rate, "exchange_rates" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        from_currency: String,
        to_currency: String,
        rate: String,
        date: NaiveDate,
        source: String,
    }
}

/// All prices of a quotation are in its currency, which stands in its row once.
fn price_in(currency: Currency, price: UnitPrice) -> Result<i64, StoreError> {
    if price.currency() == currency {
        return Ok(price.scaled());
    }
    Err(StoreError::Unfit {
        what: "a quotation",
        reason: format!("a price is in {}, the quotation in {currency}", price.currency()),
    })
}

impl quotation::Model {
    pub(crate) fn of(q: &Quotation) -> Result<Self, StoreError> {
        let (freight_per, freight_quantity) = match q.freight.as_ref().map(|freight| freight.per) {
            None => (None, None),
            Some(FreightPer::Quantity(quantity)) => (Some("quantity"), Some(quantity)),
            Some(FreightPer::Pack) => (Some("pack"), None),
            Some(FreightPer::Order) => (Some("order"), None),
        };
        let freight = q.freight.as_ref().map(|freight| price_in(q.currency, freight.amount)).transpose()?;
        Ok(Self {
            id: q.id.0,
            reference: q.reference.clone(),
            reference_key: code_key(&q.reference),
            supplier: q.supplier.0,
            material: q.material.0,
            currency: code(q.currency),
            valid_from: q.valid_from,
            valid_until: q.valid_until,
            lead_time: q.lead_time.map(String::from),
            minimum_order: q.minimum_order.map(Quantity::raw),
            minimum_order_dimension: q.minimum_order.map(dimension),
            freight_amount: freight,
            freight_per: freight_per.map(str::to_owned),
            freight_quantity: freight_quantity.map(Quantity::raw),
            freight_dimension: freight_quantity.map(dimension),
            note: q.note.clone(),
        })
    }

    pub(crate) fn into_quotation(self, offers: Vec<offer::Model>) -> Result<Quotation, StoreError> {
        let id = self.id;
        let at = At::new("quotations", &id);
        let currency: Currency = at.text("currency", &self.currency)?;
        let freight_quantity =
            at.quantity_opt("freight_quantity", self.freight_quantity, self.freight_dimension.as_deref())?;
        let freight = match (self.freight_amount, self.freight_per.as_deref(), freight_quantity) {
            (None, _, _) => None,
            (Some(amount), per, quantity) => {
                let per = match (per, quantity) {
                    (Some("quantity"), Some(quantity)) => FreightPer::Quantity(quantity),
                    (Some("pack"), None) => FreightPer::Pack,
                    (Some("order"), None) => FreightPer::Order,
                    (per, _) => return Err(at.corrupt("freight_per", format_args!("{per:?} makes no sense"))),
                };
                Some(Freight { amount: UnitPrice::from_scaled(amount, currency), per })
            }
        };
        let offer = |row: offer::Model| -> Result<Offer, StoreError> {
            Ok(Offer {
                pack: at.quantity("offers: pack", row.pack, &row.pack_dimension)?,
                price: UnitPrice::from_scaled(row.price, currency),
                price_per: at.quantity("offers: price_per", row.price_per, &row.price_per_dimension)?,
                from_quantity: at.quantity_opt(
                    "offers: from_quantity",
                    row.from_quantity,
                    row.from_dimension.as_deref(),
                )?,
            })
        };
        Ok(Quotation {
            id: QuotationId(id),
            supplier: SupplierId(self.supplier),
            material: MaterialId(self.material),
            currency,
            valid_from: self.valid_from,
            valid_until: self.valid_until,
            lead_time: at.text_opt("lead_time", self.lead_time.as_deref())?,
            minimum_order: at.quantity_opt(
                "minimum_order",
                self.minimum_order,
                self.minimum_order_dimension.as_deref(),
            )?,
            freight,
            offers: offers.into_iter().map(offer).collect::<Result<_, _>>()?,
            reference: self.reference,
            note: self.note,
        })
    }
}

impl offer::Model {
    pub(crate) fn all_of(q: &Quotation) -> Result<Vec<Self>, StoreError> {
        q.offers
            .iter()
            .zip(1..)
            .map(|(offer, position)| {
                Ok(Self {
                    quotation: q.id.0,
                    position,
                    pack: offer.pack.raw(),
                    pack_dimension: dimension(offer.pack),
                    price: price_in(q.currency, offer.price)?,
                    price_per: offer.price_per.raw(),
                    price_per_dimension: dimension(offer.price_per),
                    from_quantity: offer.from_quantity.map(Quantity::raw),
                    from_dimension: offer.from_quantity.map(dimension),
                })
            })
            .collect()
    }
}

impl rate::Model {
    pub(crate) fn of(r: &ExchangeRate) -> Self {
        Self {
            id: r.id.0,
            from_currency: code(r.from),
            to_currency: code(r.to),
            rate: to_text(r.rate.decimal()),
            date: r.date,
            source: r.source.clone(),
        }
    }

    pub(crate) fn into_rate(self) -> Result<ExchangeRate, StoreError> {
        let id = self.id;
        let at = At::new("exchange_rates", &id);
        let rate = Rate::new(at.decimal("rate", &self.rate)?).map_err(|reason| at.corrupt("rate", reason))?;
        Ok(ExchangeRate {
            id: RateId(id),
            from: at.text("from_currency", &self.from_currency)?,
            to: at.text("to_currency", &self.to_currency)?,
            rate,
            date: self.date,
            source: self.source,
        })
    }
}
