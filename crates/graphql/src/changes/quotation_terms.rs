//! What is entered beside the prices of a quotation.

use async_graphql::{InputObject, OneofObject};
use domain::quotations::{Charge, ChargePer, Deposit, Duty, SmallOrder, Terms};
use kernel::{Currency, Percent, UnitPrice};

use crate::{
    amounts::{MoneyInput, QuantityInput},
    changes::Reading,
    quotation_terms::{BreakCounts, DutyOn, PriceBasis},
    scalars::Decimal,
};

/// What stands beside the prices of a quotation and makes a landed price of them. All money is in the quotation's currency.
#[derive(InputObject, Default)]
pub struct QuotationTermsInput {
    /// What the prices are of.
    #[graphql(default)]
    pub price_basis: PriceBasis,
    /// What has to reach a price break.
    #[graphql(default)]
    pub break_counts: BreakCounts,
    /// Off every price, %, below 100; nought when nothing is said.
    pub discount_percent: Option<Decimal>,
    /// Import duty.
    pub duty: Option<DutyInput>,
    /// What is charged besides freight, at most 50.
    #[graphql(default)]
    pub charges: Vec<ChargeInput>,
    /// What is charged when an order is small.
    pub small_order: Option<SmallOrderInput>,
    /// What is paid for each pack and given back with it: never a cost, but for what is forfeited.
    pub deposit: Option<DepositInput>,
}

/// Import duty.
#[derive(InputObject)]
pub struct DutyInput {
    /// How much, %.
    pub percent: Decimal,
    /// Of what.
    #[graphql(default)]
    pub on: DutyOn,
}

/// A charge besides freight: a tail lift, a hazard or fuel surcharge, insurance, brokerage.
#[derive(InputObject)]
pub struct ChargeInput {
    /// What it is for.
    pub name: String,
    /// How much of what.
    pub by: ChargeByInput,
}

/// How much a charge is, and of what.
#[derive(OneofObject)]
pub enum ChargeByInput {
    /// Money for so much of the material; for what a whole delivery is charged, shared by weight, so much for its weight.
    Quantity(ChargePerQuantityInput),
    /// Money for each pack.
    Pack(MoneyInput),
    /// Money for each order of the material, however large.
    Order(MoneyInput),
    /// % of the goods, at their price less discount.
    PercentOfGoods(Decimal),
    /// % of freight.
    PercentOfFreight(Decimal),
    /// Money for what a whole delivery is charged, shared by the value of its goods.
    SharedByValue(ChargeSharedInput),
}

/// Money for so much of the material.
#[derive(InputObject)]
pub struct ChargePerQuantityInput {
    /// How much, to at most 8 decimal places.
    pub amount: MoneyInput,
    /// For each of these: 1 kg; 2000 kg for a delivery that weighs as much.
    pub quantity: QuantityInput,
}

/// Money for a whole delivery, shared by value.
#[derive(InputObject)]
pub struct ChargeSharedInput {
    /// What the delivery is charged, to at most 8 decimal places.
    pub amount: MoneyInput,
    /// What all its goods are worth, at their prices less discount.
    pub goods_worth: MoneyInput,
}

/// What is charged once for an order whose goods are worth less than a limit.
#[derive(InputObject)]
pub struct SmallOrderInput {
    /// What is charged.
    pub charge: MoneyInput,
    /// The limit, at prices less discount: an order worth as much is no longer small.
    pub below: MoneyInput,
}

/// What is paid for each pack and given back with it.
#[derive(InputObject)]
pub struct DepositInput {
    /// For each pack.
    pub amount: MoneyInput,
    /// The share of deposits that is never claimed back and so is a cost, %; nought when nothing is said.
    pub forfeited_percent: Option<Decimal>,
}

/// Reads the terms. `currency` is the quotation's: percents are so much of each hundred of it.
pub(super) fn read_terms(
    reading: &mut Reading,
    input: Option<QuotationTermsInput>,
    currency: Currency,
) -> Option<Terms> {
    let Some(input) = input else { return Some(Terms::default()) };
    let discount = reading.optional(
        "terms.discountPercent",
        input.discount_percent.map(|figure| Percent::from_percent(figure.0)),
    );
    let duty = match input.duty {
        None => Some(None),
        Some(duty) => reading
            .take("terms.duty.percent", Percent::from_percent(duty.percent.0))
            .map(|percent| Some(Duty { percent, on: duty.on.into() })),
    };
    let mut charges = Vec::with_capacity(input.charges.len());
    for (at, charge) in input.charges.into_iter().enumerate() {
        let place = format!("terms.charges[{at}].by");
        if let Some((amount, per)) = read_charge(reading, &place, charge.by, currency) {
            charges.push(Charge { name: charge.name, amount, per });
        }
    }
    let small_order = match input.small_order {
        None => Some(None),
        Some(small) => {
            let charge = reading.take("terms.smallOrder.charge", small.charge.unit_price());
            let below = reading.take("terms.smallOrder.below", small.below.unit_price());
            charge.zip(below).map(|(charge, below)| Some(SmallOrder { charge, below }))
        }
    };
    let deposit = match input.deposit {
        None => Some(None),
        Some(deposit) => {
            let amount = reading.take("terms.deposit.amount", deposit.amount.unit_price());
            let forfeited = reading.optional(
                "terms.deposit.forfeitedPercent",
                deposit.forfeited_percent.map(|figure| Percent::from_percent(figure.0)),
            );
            amount
                .zip(forfeited)
                .map(|(amount, share)| Some(Deposit { amount, forfeited: share.unwrap_or_default() }))
        }
    };
    let (((discount, duty), small_order), deposit) = discount.zip(duty).zip(small_order).zip(deposit)?;
    Some(Terms {
        price_basis: input.price_basis.into(),
        discount: discount.unwrap_or_default(),
        duty,
        charges,
        small_order,
        deposit,
        break_counts: input.break_counts.into(),
    })
}

fn read_charge(
    reading: &mut Reading,
    place: &str,
    by: ChargeByInput,
    currency: Currency,
) -> Option<(UnitPrice, ChargePer)> {
    let mut money =
        |field: &str, money: MoneyInput| reading.take(&format!("{place}.{field}"), money.unit_price());
    let hundred = || UnitPrice::from_decimal(rust_decimal::Decimal::ONE_HUNDRED, currency);
    match by {
        ChargeByInput::Quantity(by) => {
            let amount = money("quantity.amount", by.amount);
            let quantity = reading.take(&format!("{place}.quantity.quantity"), by.quantity.quantity());
            amount.zip(quantity.map(ChargePer::Quantity))
        }
        ChargeByInput::Pack(amount) => money("pack", amount).map(|amount| (amount, ChargePer::Pack)),
        ChargeByInput::Order(amount) => money("order", amount).map(|amount| (amount, ChargePer::Order)),
        ChargeByInput::PercentOfGoods(percent) => {
            let place = format!("{place}.percentOfGoods");
            let amount = reading.take(&place, UnitPrice::from_decimal(percent.0, currency));
            amount.zip(reading.take(&place, hundred()).map(ChargePer::Goods))
        }
        ChargeByInput::PercentOfFreight(percent) => {
            let place = format!("{place}.percentOfFreight");
            let amount = reading.take(&place, UnitPrice::from_decimal(percent.0, currency));
            amount.zip(reading.take(&place, hundred()).map(ChargePer::Freight))
        }
        ChargeByInput::SharedByValue(shared) => {
            let amount = money("sharedByValue.amount", shared.amount);
            amount.zip(money("sharedByValue.goodsWorth", shared.goods_worth).map(ChargePer::Goods))
        }
    }
}
