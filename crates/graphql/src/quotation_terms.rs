//! What stands beside the prices of a quotation, and what a landed price was made of.

use async_graphql::{Enum, SimpleObject};
use domain::quotations::{Charge as ChargeRow, ChargePer as Per, Terms};
use kernel::Dimension;

use crate::{
    amounts::{Money, Quantity, UnitPrice, percent},
    errors::Result,
    scalars::Decimal,
    sources::{quantity, unit_price},
};

/// What a quoted price is of.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq, Default)]
#[graphql(remote = "domain::quotations::PriceBasis")]
pub enum PriceBasis {
    /// The material as it is supplied.
    #[default]
    AsSupplied,
    /// The active or dry matter in it: by the dry tonne, by the kilogram of 100 %. What a kilogram as supplied costs follows from its
    /// strength.
    ActiveMatter,
}

/// What has to reach the quantity of a price break for its price to hold.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq, Default)]
#[graphql(remote = "domain::quotations::BreakCounts")]
pub enum BreakCounts {
    /// The order line: so much of this material at once.
    #[default]
    Line,
    /// The whole order, whatever stands on its other lines.
    Order,
    /// What is taken over a year, as a commitment.
    Year,
}

/// What import duty is taken of.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq, Default)]
#[graphql(remote = "domain::quotations::DutyOn")]
pub enum DutyOn {
    /// The price less discount.
    #[default]
    Price,
    /// That and the freight.
    PriceAndFreight,
}

/// What a charge besides freight is by.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum ChargePer {
    /// Each kilogram, litre, piece or other quantity.
    Quantity,
    /// Each pack.
    Pack,
    /// Each order of the material, however large.
    Order,
    /// Each so much worth of the goods, at their price less discount: a percent of them, or a share by value.
    Goods,
    /// Each so much of freight: a percent of it, as fuel surcharges are.
    Freight,
}

/// What stands beside the prices of a quotation and makes a landed price of them. All money is in the quotation's currency.
#[derive(SimpleObject)]
pub struct QuotationTerms {
    /// What the prices are of.
    pub price_basis: PriceBasis,
    /// What has to reach a price break.
    pub break_counts: BreakCounts,
    /// Off every price, %; nought when there is none.
    pub discount_percent: Decimal,
    /// Import duty; null when there is none.
    pub duty: Option<Duty>,
    /// What is charged besides freight.
    pub charges: Vec<Charge>,
    /// What is charged when an order is small; null when nothing is.
    pub small_order: Option<SmallOrder>,
    /// What is paid for each pack and given back with it; null when nothing is.
    pub deposit: Option<Deposit>,
}

/// Import duty.
#[derive(SimpleObject)]
pub struct Duty {
    /// How much, %.
    pub percent: Decimal,
    /// Of what.
    pub on: DutyOn,
}

/// A charge besides freight.
#[derive(SimpleObject)]
pub struct Charge {
    /// What it is for.
    pub name: String,
    /// How much.
    pub amount: Money,
    /// Of what.
    pub per: ChargePer,
    /// The quantity, when it is charged by quantity.
    pub quantity: Option<Quantity>,
    /// The worth of goods or freight it is for, when it is charged by that.
    pub worth: Option<Money>,
    /// The same as a percent, when it is so much of each hundred of goods or freight.
    pub percent: Option<Decimal>,
}

/// What is charged once for an order whose goods, at their price less discount, are worth less than a limit.
#[derive(SimpleObject)]
pub struct SmallOrder {
    /// What is charged.
    pub charge: Money,
    /// The limit: an order worth as much is no longer small.
    pub below: Money,
}

/// What is paid for each pack and given back with it: no cost, but for the part that is never claimed back.
#[derive(SimpleObject)]
pub struct Deposit {
    /// For each pack.
    pub amount: Money,
    /// The share of deposits that is forfeited, %.
    pub forfeited_percent: Decimal,
}

impl QuotationTerms {
    pub(crate) fn of(terms: &Terms) -> Self {
        Self {
            price_basis: terms.price_basis.into(),
            break_counts: terms.break_counts.into(),
            discount_percent: percent(terms.discount),
            duty: terms.duty.map(|duty| Duty { percent: percent(duty.percent), on: duty.on.into() }),
            charges: terms.charges.iter().map(Charge::of).collect(),
            small_order: terms
                .small_order
                .map(|small| SmallOrder { charge: small.charge.into(), below: small.below.into() }),
            deposit: terms.deposit.map(|deposit| Deposit {
                amount: deposit.amount.into(),
                forfeited_percent: percent(deposit.forfeited),
            }),
        }
    }
}

impl Charge {
    fn of(charge: &ChargeRow) -> Self {
        let (per, quantity) = match charge.per {
            Per::Quantity(quantity) => (ChargePer::Quantity, Some(Quantity(quantity))),
            Per::Pack => (ChargePer::Pack, None),
            Per::Order => (ChargePer::Order, None),
            Per::Goods(_) => (ChargePer::Goods, None),
            Per::Freight(_) => (ChargePer::Freight, None),
        };
        Self {
            name: charge.name.clone(),
            amount: charge.amount.into(),
            per,
            quantity,
            worth: charge.per.worth().map(Into::into),
            percent: charge.percent().map(Decimal),
        }
    }
}

/// What a landed price was made of, besides freight: every part per kg or piece, in the house's currency.
#[derive(SimpleObject)]
pub struct LandedTerms {
    /// The price less discount, of the material as supplied.
    pub goods: UnitPrice,
    /// The strength that a price of active matter went through, %; null for a price as supplied.
    pub strength_percent: Option<Decimal>,
    /// Whether that strength is that of a lot, rather than the material's.
    pub strength_of_lot: bool,
    /// Taken off the price, %.
    pub discount_percent: Decimal,
    /// What had to reach the price break.
    pub break_counts: BreakCounts,
    /// The year's use that counted for a break by the year; null where it was not looked at.
    pub year: Option<Quantity>,
    /// Import duty; null when there is none.
    pub duty: Option<UnitPrice>,
    /// Charges besides freight, each as its share.
    pub charges: Vec<LandedCharge>,
    /// The small order charge; null when the order is not small.
    pub small_order: Option<UnitPrice>,
    /// The forfeited part of deposits; null when no deposit is paid. What is given back is no cost.
    pub deposit_forfeited: Option<UnitPrice>,
    /// The deposit paid for each pack, in the house's currency; null when none is.
    pub deposit_per_pack: Option<Money>,
}

/// A charge as it was shared out.
#[derive(SimpleObject)]
pub struct LandedCharge {
    /// What it is for.
    pub name: String,
    /// Its share.
    pub cost: UnitPrice,
}

impl LandedTerms {
    pub(crate) fn of(
        terms: &engine::landed::TermsUsed,
        dimension: Dimension,
        currency: kernel::Currency,
    ) -> Result<Self> {
        let each = |value: &kernel::Exact| unit_price(value, dimension, currency);
        let charge = |charge: &engine::landed::ChargeUsed| -> Result<LandedCharge> {
            Ok(LandedCharge { name: charge.name.clone(), cost: each(&charge.per_unit)? })
        };
        let deposit = terms.deposit.as_ref();
        Ok(Self {
            goods: each(&terms.goods)?,
            strength_percent: terms.strength.map(|strength| percent(strength.percent)),
            strength_of_lot: terms.strength.is_some_and(|strength| strength.of_lot),
            discount_percent: percent(terms.discount),
            break_counts: terms.break_counts.into(),
            year: terms.a_year.as_ref().map(|year| quantity(year, dimension)).transpose()?,
            duty: terms.duty.as_ref().map(|duty| each(&duty.per_unit)).transpose()?,
            charges: terms.charges.iter().map(charge).collect::<Result<_>>()?,
            small_order: terms.small_order.as_ref().map(each).transpose()?,
            deposit_forfeited: deposit.map(|deposit| each(&deposit.per_unit)).transpose()?,
            deposit_per_pack: deposit
                .map(|deposit| Money::rounded(&deposit.per_pack, kernel::UnitPrice::PLACES, currency))
                .transpose()?,
        })
    }
}
