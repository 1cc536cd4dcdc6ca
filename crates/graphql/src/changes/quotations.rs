//! Changes of quotations.

use std::sync::Arc;

use app::{OfferWrite, QuotationRecord};
use async_graphql::{Context, InputObject, Object, OneofObject};
use domain::{
    people::Capability,
    quotations::{Freight, FreightPer, Quotation as Row},
};

use crate::{
    amounts::{MoneyInput, QuantityInput},
    caller::{Desk, Find as _},
    changes::{
        Reading, answers,
        quotation_terms::{QuotationTermsInput, read_terms},
        require,
    },
    errors::Result,
    ids::Which,
    quotations::Quotation,
    scalars::{CurrencyCode, Date, Span},
};

/// A supplier's offer, as it is entered. It is kept for ever; a new price is a new quotation.
#[derive(InputObject)]
pub struct QuotationRecordInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The supplier's reference.
    pub reference: String,
    /// Who offers.
    pub supplier: Which,
    /// What is offered.
    pub material: Which,
    /// The currency of all its prices; the supplier's when nothing is said.
    pub currency: Option<CurrencyCode>,
    /// First day it holds.
    pub valid_from: Date,
    /// Last day it holds; until replaced when nothing is said.
    pub valid_until: Option<Date>,
    /// From order to delivery; the supplier's usual when nothing is said.
    pub lead_time: Option<Span>,
    /// The least that may be ordered; one pack when nothing is said.
    pub minimum_order: Option<QuantityInput>,
    /// Freight on top of the price.
    pub freight: Option<FreightInput>,
    /// What else stands beside the prices: discount, duty, charges, small orders, deposits.
    pub terms: Option<QuotationTermsInput>,
    /// Pack sizes and price breaks, at least one.
    pub offers: Vec<OfferInput>,
    /// Remarks.
    pub note: Option<String>,
    /// Take prices that are a hundred times the material's last one, or a hundredth of it, for meant; else they are refused as a slip
    /// of the point.
    #[graphql(default)]
    pub accept_unusual_prices: bool,
}

/// A price for one pack size from one order quantity up.
#[derive(InputObject)]
pub struct OfferInput {
    /// What is sold as one.
    pub pack: QuantityInput,
    /// The price of `pricePer`, in the quotation's currency, to at most 8 decimal places.
    pub price: MoneyInput,
    /// What the price is of: 1 kg, 1 L, 1000 pcs; the pack when nothing is said.
    pub price_per: Option<QuantityInput>,
    /// The order quantity from which the price holds (a price break); from one pack when nothing is said.
    pub from_quantity: Option<QuantityInput>,
}

/// Freight on top of a price.
#[derive(InputObject)]
pub struct FreightInput {
    /// How much, in the quotation's currency, to at most 8 decimal places.
    pub amount: MoneyInput,
    /// Of what it is charged.
    pub per: FreightPerInput,
}

/// What freight is charged by.
#[derive(OneofObject)]
pub enum FreightPerInput {
    /// Each of these: 1 kg, 1000 pcs.
    Quantity(QuantityInput),
    /// Each pack; say true.
    Pack(bool),
    /// Each order, however large; say true.
    Order(bool),
}

answers! {
    QuotationRecordResult = QuotationRecordPayload {
        /// The quotation.
        quotation: Quotation
    } of Row: |_, row| Ok(Quotation(Arc::new(row)));
}

/// Changes of quotations.
#[derive(Default)]
pub struct QuotationChanges;

/// Changes of quotations.
#[Object]
impl QuotationChanges {
    /// Records a supplier's offer. Takes the right to buy. Refused: Taken.
    async fn quotation_record(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The offer.")] input: QuotationRecordInput,
    ) -> Result<QuotationRecordResult> {
        require(ctx, Capability::Buy)?;
        let change = ctx.change(input.request_key.clone())?;
        let read = quotation(ctx, input)?;
        QuotationRecordResult::of(ctx, ctx.house()?.quotation_record(&change, read).await)
    }
}

fn quotation(ctx: &Context<'_>, input: QuotationRecordInput) -> Result<QuotationRecord> {
    let catalogue = ctx.catalogue()?;
    let supplier = catalogue.supplier(&input.supplier, "supplier")?;
    let material = catalogue.material(&input.material, "material")?.id;
    let mut reading = Reading::default();
    let minimum_order = reading.optional("minimumOrder", input.minimum_order.map(QuantityInput::quantity));
    let freight = match input.freight {
        None => Some(None),
        Some(freight) => read_freight(&mut reading, freight).map(Some),
    };
    let mut offers = Vec::with_capacity(input.offers.len());
    for (at, offer) in input.offers.into_iter().enumerate() {
        let place = format!("offers[{at}]");
        let pack = reading.take(&format!("{place}.pack"), offer.pack.quantity());
        let price = reading.take(&format!("{place}.price"), offer.price.unit_price());
        let price_per =
            reading.optional(&format!("{place}.pricePer"), offer.price_per.map(QuantityInput::quantity));
        let from_quantity = reading
            .optional(&format!("{place}.fromQuantity"), offer.from_quantity.map(QuantityInput::quantity));
        if let Some((((pack, price), price_per), from_quantity)) =
            pack.zip(price).zip(price_per).zip(from_quantity)
        {
            offers.push(OfferWrite { pack, price, price_per, from_quantity });
        }
    }
    let currency = input.currency.map_or(supplier.currency, |currency| currency.0);
    let terms = read_terms(&mut reading, input.terms, currency);
    let ((minimum_order, freight), terms) = reading.finish(minimum_order.zip(freight).zip(terms))?;
    Ok(QuotationRecord {
        reference: input.reference,
        supplier: supplier.id,
        material,
        currency: input.currency.map(|currency| currency.0),
        valid_from: input.valid_from.0,
        valid_until: input.valid_until.map(|day| day.0),
        lead_time: input.lead_time.map(|span| span.0),
        minimum_order,
        freight,
        terms,
        offers,
        note: input.note,
        unusual_prices: input.accept_unusual_prices,
    })
}

fn read_freight(reading: &mut Reading, freight: FreightInput) -> Option<Freight> {
    let amount = reading.take("freight.amount", freight.amount.unit_price());
    let per = match freight.per {
        FreightPerInput::Quantity(quantity) => {
            reading.take("freight.per.quantity", quantity.quantity()).map(FreightPer::Quantity)
        }
        FreightPerInput::Pack(true) => Some(FreightPer::Pack),
        FreightPerInput::Order(true) => Some(FreightPer::Order),
        FreightPerInput::Pack(false) | FreightPerInput::Order(false) => {
            reading.push("freight.per", "say true to what it is charged by, and leave the others out");
            None
        }
    };
    amount.zip(per).map(|(amount, per)| Freight { amount, per })
}
