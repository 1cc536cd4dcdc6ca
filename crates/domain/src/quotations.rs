//! Quotations and exchange rates: what suppliers offer, for how long, in which currency.

use chrono::NaiveDate;
use kernel::{
    Currency, Percent, Quantity, Rate, UnitPrice,
    ids::{MaterialId, QuotationId, RateId, SupplierId},
};
use rust_decimal::Decimal;
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
    /// Last day it holds; `None` until a later quotation of the supplier offers the same pack.
    pub valid_until: Option<NaiveDate>,
    /// From order to delivery; `None` for the supplier's usual.
    pub lead_time: Option<Span>,
    /// The least that may be ordered.
    pub minimum_order: Option<Quantity>,
    /// Freight.
    pub freight: Option<Freight>,
    /// What else stands beside the prices.
    #[serde(default)]
    pub terms: Terms,
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

/// What stands beside the prices of a quotation and makes a landed price of them. All money is in the quotation's currency.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Terms {
    /// What the prices are of: the material as it is supplied, or the active (or dry) matter in it.
    pub price_basis: PriceBasis,
    /// Off every price; below 100 %.
    pub discount: Percent,
    /// Import duty.
    pub duty: Option<Duty>,
    /// What is charged besides freight: hazard surcharge, tail lift, brokerage …
    pub charges: Vec<Charge>,
    /// What is charged when an order is small.
    pub small_order: Option<SmallOrder>,
    /// What is paid for each pack and given back with it.
    pub deposit: Option<Deposit>,
    /// What has to reach a price break for it to hold.
    pub break_counts: BreakCounts,
}

impl Terms {
    /// Every amount of money in the terms.
    pub fn amounts(&self) -> impl Iterator<Item = UnitPrice> {
        let charges =
            self.charges.iter().flat_map(|charge| [Some(charge.amount), charge.per.worth()]).flatten();
        let small_order = self.small_order.iter().flat_map(|small| [small.charge, small.below]);
        charges.chain(small_order).chain(self.deposit.map(|deposit| deposit.amount))
    }
}

/// What a quoted price is of.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PriceBasis {
    /// The material as it is supplied.
    #[default]
    AsSupplied,
    /// The active or dry matter in it: caustic by the dry tonne, peroxide by the kilogram of 100 %. What a kilogram as supplied costs
    /// follows from its strength.
    ActiveMatter,
}

/// Import duty.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Duty {
    /// How much.
    pub percent: Percent,
    /// Of what.
    pub on: DutyOn,
}

/// What duty is taken of.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DutyOn {
    /// The price less discount.
    #[default]
    Price,
    /// That and the freight.
    PriceAndFreight,
}

/// A charge besides freight.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Charge {
    /// What it is for.
    pub name: String,
    /// How much.
    pub amount: UnitPrice,
    /// Of what.
    pub per: ChargePer,
}

/// What a charge besides freight is by.
///
/// What a whole delivery of several goods is charged is shared among them by weight or by value: so much for each so many kilograms
/// delivered ([`ChargePer::Quantity`]), or for each so much worth of goods ([`ChargePer::Goods`]). A percent is so much of each
/// hundred.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum ChargePer {
    /// Each kilogram, litre, piece or other quantity.
    Quantity(Quantity),
    /// Each pack.
    Pack,
    /// Each order of the material, however large.
    Order,
    /// Each so much worth of the goods, at their price less discount: insurance, brokerage, a share by value.
    Goods(UnitPrice),
    /// Each so much of freight: a fuel surcharge.
    Freight(UnitPrice),
}

impl ChargePer {
    /// What the worth is that the charge is for, where it is by worth.
    pub const fn worth(self) -> Option<UnitPrice> {
        match self {
            Self::Goods(worth) | Self::Freight(worth) => Some(worth),
            Self::Quantity(_) | Self::Pack | Self::Order => None,
        }
    }
}

impl From<FreightPer> for ChargePer {
    fn from(per: FreightPer) -> Self {
        match per {
            FreightPer::Quantity(quantity) => Self::Quantity(quantity),
            FreightPer::Pack => Self::Pack,
            FreightPer::Order => Self::Order,
        }
    }
}

impl Charge {
    /// The percent it is, where it is so much of each hundred worth of something.
    pub fn percent(&self) -> Option<Decimal> {
        let worth = self.per.worth()?;
        (worth.amount() == Decimal::ONE_HUNDRED).then(|| self.amount.amount())
    }
}

/// What is charged once for an order whose goods, at their price less discount, are worth less than a limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct SmallOrder {
    /// What is charged.
    pub charge: UnitPrice,
    /// The limit: an order worth as much is no longer small.
    pub below: UnitPrice,
}

/// What is paid for each pack and given back with it: no cost, but for the part that is never claimed back.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Deposit {
    /// For each pack.
    pub amount: UnitPrice,
    /// The share of deposits that is forfeited, 0 to 100 %.
    pub forfeited: Percent,
}

/// What has to reach the quantity of a price break for its price to hold.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BreakCounts {
    /// The order line: so much of this material at once.
    #[default]
    Line,
    /// The whole order, whatever stands on its other lines.
    Order,
    /// What is taken over a year, as a commitment.
    Year,
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
