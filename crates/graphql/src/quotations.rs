//! Quotations and exchange rates.

use std::sync::Arc;

use async_graphql::{Context, Enum, ID, Object, SimpleObject};
use chrono::NaiveDate;
use domain::{
    Catalogue,
    quotations::{FreightPer as Per, Quotation as Row},
};
use engine::price::validity_among;

use crate::{
    amounts::{Money, Quantity, UnitPrice},
    caller::{Desk, Find as _},
    errors::Result,
    ids::{Which, global_id},
    materials::{Material, material_id, material_of},
    pages::{Listed, Paging, page_of},
    quotation_terms::QuotationTerms,
    scalars::{CurrencyCode, Date, Decimal, Span},
    sources::Validity,
    suppliers::{Supplier, supplier_of},
};

/// A quotation.
#[derive(Clone)]
pub struct Quotation(pub Arc<Row>);

/// A supplier's offer of one material. It is kept for ever; a new price is a new quotation.
#[Object]
impl Quotation {
    /// The global id.
    pub(crate) async fn id(&self) -> ID {
        global_id(self.0.id)
    }

    /// The supplier's reference.
    async fn reference(&self) -> &str {
        &self.0.reference
    }

    /// Who offers.
    async fn supplier(&self, ctx: &Context<'_>) -> Result<Supplier> {
        supplier_of(ctx, self.0.supplier)
    }

    /// What is offered.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material)
    }

    /// All its prices are in it.
    async fn currency(&self) -> CurrencyCode {
        CurrencyCode(self.0.currency)
    }

    /// First day it holds.
    async fn valid_from(&self) -> Date {
        Date(self.0.valid_from)
    }

    /// Last day it holds; null until the supplier offers its packs anew.
    async fn valid_until(&self) -> Option<Date> {
        self.0.valid_until.map(Date)
    }

    /// How it stands with it on a day.
    async fn validity(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The day; today when nothing is said.")] on: Option<Date>,
    ) -> Result<Validity> {
        Ok(Validity(validity_among(&*ctx.catalogue()?, &self.0, ctx.day(on)?)))
    }

    /// From order to delivery; null for the supplier's usual.
    async fn lead_time(&self) -> Option<Span> {
        self.0.lead_time.map(Span)
    }

    /// The least that may be ordered; null for one pack.
    async fn minimum_order(&self) -> Option<Quantity> {
        self.0.minimum_order.map(Quantity)
    }

    /// Freight on top of the price; null when there is none.
    async fn freight(&self) -> Option<Freight> {
        self.0.freight.as_ref().map(|freight| {
            let (per, quantity) = match freight.per {
                Per::Quantity(quantity) => (FreightPer::Quantity, Some(Quantity(quantity))),
                Per::Pack => (FreightPer::Pack, None),
                Per::Order => (FreightPer::Order, None),
            };
            Freight { amount: freight.amount.into(), per, quantity }
        })
    }

    /// What else stands beside the prices: discount, duty, charges, small orders, deposits.
    async fn terms(&self) -> QuotationTerms {
        QuotationTerms::of(&self.0.terms)
    }

    /// Pack sizes and price breaks.
    async fn offers(&self) -> Vec<Offer> {
        let offer = |offer: &domain::quotations::Offer| Offer {
            pack: Quantity(offer.pack),
            price: UnitPrice {
                amount: Decimal(offer.price.amount()),
                currency: CurrencyCode(offer.price.currency()),
                per: Quantity(offer.price_per),
            },
            from_quantity: offer.from_quantity.map(Quantity),
        };
        self.0.offers.iter().map(offer).collect()
    }

    /// Remarks.
    async fn note(&self) -> Option<&str> {
        self.0.note.as_deref()
    }
}

/// A price for one pack size from one order quantity up.
#[derive(SimpleObject)]
pub struct Offer {
    /// What is sold as one.
    pub pack: Quantity,
    /// The price, and what it is the price of: the pack, 1 kg, 1 L, 1000 pieces.
    pub price: UnitPrice,
    /// The order quantity from which the price holds (a price break); null from one pack.
    pub from_quantity: Option<Quantity>,
}

/// Freight on top of a price.
#[derive(SimpleObject)]
pub struct Freight {
    /// How much, in the quotation's currency.
    pub amount: Money,
    /// Of what it is charged.
    pub per: FreightPer,
    /// The quantity, when it is charged by quantity.
    pub quantity: Option<Quantity>,
}

/// What freight is charged by.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum FreightPer {
    /// Each kilogram, litre, piece or other quantity.
    Quantity,
    /// Each pack.
    Pack,
    /// Each order, however large.
    Order,
}

/// An exchange rate.
#[derive(Clone)]
pub struct ExchangeRate(pub domain::quotations::ExchangeRate);

/// What one unit of a currency buys of another from a day on, until a later rate of the pair.
#[Object]
impl ExchangeRate {
    /// The global id.
    pub(crate) async fn id(&self) -> ID {
        global_id(self.0.id)
    }

    /// The currency given.
    async fn from(&self) -> CurrencyCode {
        CurrencyCode(self.0.from)
    }

    /// The currency got.
    async fn to(&self) -> CurrencyCode {
        CurrencyCode(self.0.to)
    }

    /// Units of `to` for one unit of `from`.
    async fn rate(&self) -> Decimal {
        Decimal(self.0.rate.decimal())
    }

    /// The day it holds from.
    async fn date(&self) -> Date {
        Date(self.0.date)
    }

    /// Who published it.
    async fn source(&self) -> &str {
        &self.0.source
    }
}

/// Whether a quotation holds on a day.
pub(crate) fn holds(catalogue: &Catalogue, quotation: &Row, day: NaiveDate) -> bool {
    validity_among(catalogue, quotation, day).holds()
}

/// A page of quotations, by first day and reference.
pub(crate) fn quotation_page<'a>(
    paging: &Paging,
    rows: impl Iterator<Item = &'a Arc<Row>>,
) -> Listed<Quotation> {
    let mut rows: Vec<&Arc<Row>> = rows.collect();
    rows.sort_by(|a, b| (a.valid_from, &a.reference, a.id).cmp(&(b.valid_from, &b.reference, b.id)));
    // Neither a date nor a reference holds the separator, so the texts stand in the order of the rows.
    let key = |q: &&Arc<Row>| format!("{}\0{}\0{}", q.valid_from, q.reference, q.id);
    page_of("quotations", paging, &rows, key, |q| Quotation(Arc::clone(q)))
}

/// Quotations and exchange rates.
#[derive(Default)]
pub struct QuotationsQuery;

/// Quotations and exchange rates.
#[Object]
impl QuotationsQuery {
    /// Quotations, by first day and reference.
    #[graphql(complexity = "crate::limits::page(first, last, child_complexity)")]
    #[allow(clippy::too_many_arguments, reason = "a connection field has four arguments before its own")]
    async fn quotations(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only of this material.")] material: Option<Which>,
        #[graphql(desc = "Only of this supplier.")] supplier: Option<Which>,
        #[graphql(desc = "Only those valid on this day.")] valid_on: Option<Date>,
        #[graphql(desc = "Rows after this cursor.")] after: Option<String>,
        #[graphql(desc = "Rows before this cursor.")] before: Option<String>,
        #[graphql(desc = "At most so many rows from the front, 1 to 100; 20 when nothing is said.")]
        first: Option<i32>,
        #[graphql(desc = "At most so many rows from the back, 1 to 100.")] last: Option<i32>,
    ) -> Result<Listed<Quotation>> {
        let paging = Paging::read("quotations", after.as_deref(), before.as_deref(), first, last)?;
        let catalogue = ctx.catalogue()?;
        let material = material_id(ctx, material.as_ref(), "material")?;
        let supplier = supplier.map(|which| catalogue.supplier(&which, "supplier")).transpose()?;
        let rows = match material {
            Some(material) => catalogue.quotations_of(material),
            None => catalogue.quotations(),
        };
        let rows = rows
            .iter()
            .filter(|q| supplier.as_ref().is_none_or(|supplier| q.supplier == supplier.id))
            .filter(|q| valid_on.is_none_or(|day| holds(&catalogue, q, day.0)));
        Ok(quotation_page(&paging, rows))
    }

    /// Exchange rates, by pair of currencies and day.
    #[graphql(complexity = "crate::limits::page(first, last, child_complexity)")]
    #[allow(clippy::too_many_arguments, reason = "a connection field has four arguments before its own")]
    async fn exchange_rates(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only those that give this currency.")] from: Option<CurrencyCode>,
        #[graphql(desc = "Only those that get this currency.")] to: Option<CurrencyCode>,
        #[graphql(desc = "Rows after this cursor.")] after: Option<String>,
        #[graphql(desc = "Rows before this cursor.")] before: Option<String>,
        #[graphql(desc = "At most so many rows from the front, 1 to 100; 20 when nothing is said.")]
        first: Option<i32>,
        #[graphql(desc = "At most so many rows from the back, 1 to 100.")] last: Option<i32>,
    ) -> Result<Listed<ExchangeRate>> {
        let paging = Paging::read("exchangeRates", after.as_deref(), before.as_deref(), first, last)?;
        let catalogue = ctx.catalogue()?;
        let rows: Vec<_> = catalogue
            .rates()
            .filter(|rate| from.is_none_or(|from| rate.from == from.0) && to.is_none_or(|to| rate.to == to.0))
            .collect();
        Ok(page_of(
            "exchangeRates",
            &paging,
            &rows,
            |rate| format!("{} {} {}", rate.from, rate.to, rate.date),
            |rate| ExchangeRate((*rate).clone()),
        ))
    }
}

/// The quotation of some answer.
pub(crate) fn quotation_of(ctx: &Context<'_>, id: kernel::ids::QuotationId) -> Result<Quotation> {
    let found = ctx.catalogue()?.quotation(id).cloned();
    found
        .map(Quotation)
        .ok_or_else(|| crate::errors::internal(format!("quotation {id} is not in the catalogue")))
}
