//! Quotations and exchange rates: what suppliers offer, for how long, in which currency.

use chrono::NaiveDate;
use kernel::{
    Currency, Quantity, Rate, UnitPrice,
    ids::{MaterialId, QuotationId, RateId, SupplierId},
};
use serde::{Deserialize, Serialize};

use crate::dates::Span;

/// A supplier's offer of one material. Kept for ever; a new offer is a new quotation.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Quotation {
    /// Identity.
    pub id: QuotationId,
    /// The supplier's reference.
    pub reference: String,
    /// Who offers.
    pub supplier: SupplierId,
    /// What is offered.
    pub material: MaterialId,
    /// All prices of the quotation are in it.
    pub currency: Currency,
    /// First day it holds.
    pub valid_from: NaiveDate,
    /// Last day it holds; `None` until replaced.
    pub valid_until: Option<NaiveDate>,
    /// From order to delivery; `None` for the supplier's usual.
    pub lead_time: Option<Span>,
    /// The least that may be ordered.
    pub minimum_order: Option<Quantity>,
    /// Freight and charges.
    pub freight: Option<Freight>,
    /// Pack sizes and price breaks, by pack and then by quantity.
    pub offers: Vec<Offer>,
    /// Remarks.
    pub note: Option<String>,
}

/// A price for one pack size from one order quantity up.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Offer {
    /// What is sold as one.
    pub pack: Quantity,
    /// The price of [`Offer::price_per`].
    pub price: UnitPrice,
    /// What the price is of: the pack itself, 1 kg, 1 L, 1000 pieces …
    pub price_per: Quantity,
    /// The order quantity from which the price holds; `None` from one pack.
    pub from_quantity: Option<Quantity>,
}

/// What is charged on top of the price.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Freight {
    /// How much, in the quotation's currency.
    pub amount: UnitPrice,
    /// Of what.
    pub per: FreightPer,
}

/// What freight is charged by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum FreightPer {
    /// Each kilogram, litre, piece or other quantity.
    Quantity(Quantity),
    /// Each pack.
    Pack,
    /// Each order, however large.
    Order,
}

/// What one unit of a currency buys of another from a date on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExchangeRate {
    /// Identity.
    pub id: RateId,
    /// The currency given.
    pub from: Currency,
    /// The currency got.
    pub to: Currency,
    /// Units of `to` for one unit of `from`.
    pub rate: Rate,
    /// The day it holds from, until a later one.
    pub date: NaiveDate,
    /// Who published it.
    pub source: String,
}
