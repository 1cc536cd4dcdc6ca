//! Quotations with their offers, and exchange rates.

use domain::{
    quotations::{
        Charge, ChargePer, Deposit, Duty, ExchangeRate, Freight, FreightPer, Offer, Quotation, SmallOrder,
        Terms,
    },
    text::code_key,
};
use kernel::{
    Currency, Percent, Quantity, Rate, UnitPrice,
    ids::{MaterialId, QuotationId, RateId, SupplierId},
};

use crate::{
    StoreError,
    codes::{At, Word as _, dimension, to_text},
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
        price_basis: String,
        break_counts: String,
        discount: i64,
        duty: Option<i64>,
        duty_on: Option<String>,
        small_order_charge: Option<i64>,
        small_order_below: Option<i64>,
        deposit: Option<i64>,
        deposit_forfeited: Option<i64>,
    }
}

super::table! {
    charge, "quotation_charges" {
        #[sea_orm(primary_key, auto_increment = false)]
        quotation: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        position: i64,
        name: String,
        amount: i64,
        per: String,
        per_quantity: Option<i64>,
        per_dimension: Option<String>,
        per_worth: Option<i64>,
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

/// What a charge is by, as its columns hold it.
const fn per_columns(per: FreightPer) -> (&'static str, Option<Quantity>) {
    match per {
        FreightPer::Quantity(quantity) => ("quantity", Some(quantity)),
        FreightPer::Pack => ("pack", None),
        FreightPer::Order => ("order", None),
    }
}

/// What a charge is by, from its columns.
fn per_of(
    at: &At<'_>,
    column: &str,
    per: Option<&str>,
    quantity: Option<Quantity>,
) -> Result<FreightPer, StoreError> {
    match (per, quantity) {
        (Some("quantity"), Some(quantity)) => Ok(FreightPer::Quantity(quantity)),
        (Some("pack"), None) => Ok(FreightPer::Pack),
        (Some("order"), None) => Ok(FreightPer::Order),
        (per, _) => Err(at.corrupt(column, format_args!("{per:?} makes no sense"))),
    }
}

impl quotation::Model {
    pub(crate) fn of(q: &Quotation) -> Result<Self, StoreError> {
        let price = |amount: UnitPrice| price_in(q.currency, amount);
        let freight_by = q.freight.as_ref().map(|freight| per_columns(freight.per));
        let freight_quantity = freight_by.and_then(|(_, quantity)| quantity);
        let terms = &q.terms;
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
            freight_amount: q.freight.as_ref().map(|freight| price(freight.amount)).transpose()?,
            freight_per: freight_by.map(|(per, _)| per.to_owned()),
            freight_quantity: freight_quantity.map(Quantity::raw),
            freight_dimension: freight_quantity.map(dimension),
            note: q.note.clone(),
            price_basis: terms.price_basis.column_word().to_owned(),
            break_counts: terms.break_counts.column_word().to_owned(),
            discount: terms.discount.nano(),
            duty: terms.duty.map(|duty| duty.percent.nano()),
            duty_on: terms.duty.map(|duty| duty.on.column_word().to_owned()),
            small_order_charge: terms.small_order.map(|small| price(small.charge)).transpose()?,
            small_order_below: terms.small_order.map(|small| price(small.below)).transpose()?,
            deposit: terms.deposit.map(|deposit| price(deposit.amount)).transpose()?,
            deposit_forfeited: terms.deposit.map(|deposit| deposit.forfeited.nano()),
        })
    }

    pub(crate) fn into_quotation(
        self,
        offers: Vec<offer::Model>,
        charges: Vec<charge::Model>,
    ) -> Result<Quotation, StoreError> {
        let id = self.id;
        let at = At::new("quotations", &id);
        let currency: Currency = at.text("currency", &self.currency)?;
        let price = |scaled| UnitPrice::from_scaled(scaled, currency);
        let freight_quantity =
            at.quantity_opt("freight_quantity", self.freight_quantity, self.freight_dimension.as_deref())?;
        let freight = match self.freight_amount {
            None => None,
            Some(amount) => {
                let per = per_of(&at, "freight_per", self.freight_per.as_deref(), freight_quantity)?;
                Some(Freight { amount: price(amount), per })
            }
        };
        let charge = |row: charge::Model| -> Result<Charge, StoreError> {
            let quantity =
                at.quantity_opt("charges: per_quantity", row.per_quantity, row.per_dimension.as_deref())?;
            let per = match (row.per.as_str(), row.per_worth) {
                ("goods", Some(worth)) => ChargePer::Goods(price(worth)),
                ("freight", Some(worth)) => ChargePer::Freight(price(worth)),
                (per, _) => per_of(&at, "charges: per", Some(per), quantity)?.into(),
            };
            Ok(Charge { name: row.name, amount: price(row.amount), per })
        };
        let duty = match (self.duty, self.duty_on.as_deref()) {
            (Some(percent), Some(on)) => {
                Some(Duty { percent: Percent::from_nano(percent), on: at.word("duty_on", on)? })
            }
            _ => None,
        };
        let terms = Terms {
            price_basis: at.word("price_basis", &self.price_basis)?,
            discount: Percent::from_nano(self.discount),
            duty,
            charges: charges.into_iter().map(charge).collect::<Result<_, _>>()?,
            small_order: self
                .small_order_charge
                .zip(self.small_order_below)
                .map(|(charge, below)| SmallOrder { charge: price(charge), below: price(below) }),
            deposit: self.deposit.zip(self.deposit_forfeited).map(|(amount, forfeited)| Deposit {
                amount: price(amount),
                forfeited: Percent::from_nano(forfeited),
            }),
            break_counts: at.word("break_counts", &self.break_counts)?,
        };
        let offer = |row: offer::Model| -> Result<Offer, StoreError> {
            Ok(Offer {
                pack: at.quantity("offers: pack", row.pack, &row.pack_dimension)?,
                price: price(row.price),
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
            terms,
            offers: offers.into_iter().map(offer).collect::<Result<_, _>>()?,
            reference: self.reference,
            note: self.note,
        })
    }
}

impl charge::Model {
    pub(crate) fn all_of(q: &Quotation) -> Result<Vec<Self>, StoreError> {
        q.terms
            .charges
            .iter()
            .zip(1..)
            .map(|(charge, position)| {
                let (per, quantity) = match charge.per {
                    ChargePer::Quantity(quantity) => per_columns(FreightPer::Quantity(quantity)),
                    ChargePer::Pack => per_columns(FreightPer::Pack),
                    ChargePer::Order => per_columns(FreightPer::Order),
                    ChargePer::Goods(_) => ("goods", None),
                    ChargePer::Freight(_) => ("freight", None),
                };
                let worth = charge.per.worth();
                Ok(Self {
                    quotation: q.id.0,
                    position,
                    name: charge.name.clone(),
                    amount: price_in(q.currency, charge.amount)?,
                    per: per.to_owned(),
                    per_quantity: quantity.map(Quantity::raw),
                    per_dimension: quantity.map(dimension),
                    per_worth: worth.map(|worth| price_in(q.currency, worth)).transpose()?,
                })
            })
            .collect()
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
