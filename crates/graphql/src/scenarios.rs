//! Scenarios: assumed changes, as they are sent.

use async_graphql::{Context, InputObject, OneofObject};
use engine::{Change, CostSubject, PriceBy, PriceOf, RateBy, RunOf, Scenario};
use kernel::{Percent, Rate, limits::SCENARIO_CHANGES_MAX};

use crate::{
    amounts::{MoneyInput, QuantityInput},
    caller::{Desk, Find as _, lot_named},
    errors::Result,
    ids::Which,
    run_check::{RunAmountInput, RunSubjectInput},
    scalars::{CurrencyCode, Date, Decimal},
    what_if::WhatIf,
};

/// One assumed change. Changes are laid over the house in their order, and nothing is written.
#[derive(OneofObject)]
pub enum ChangeInput {
    /// Prices become others than quoted. Freight stays.
    Price(PriceChangeInput),
    /// An exchange rate becomes another. The opposite pair changes with it.
    ExchangeRate(ExchangeRateChangeInput),
    /// A lot's expiry date becomes another; it may be used on that day.
    LotExpires(LotOnDayInput),
    /// A lot is rejected; it may not be used on that day.
    LotRejected(LotOnDayInput),
    /// A lot is set aside; it may not be used on that day.
    LotOnHold(LotOnDayInput),
    /// Nobody delivers a material before a day. What is on the shelf stays usable.
    MaterialUnavailable(MaterialUnavailableInput),
    /// One more run is planned.
    PlannedRun(PlannedRunInput),
    /// A delivery arrives; it can be used after the material's inspection time.
    Delivery(DeliveryInput),
}

/// Prices that become others than quoted.
#[derive(InputObject)]
pub struct PriceChangeInput {
    /// Whose prices.
    pub of: PriceOfInput,
    /// How they change.
    pub by: PriceByInput,
    /// From which day on; always, when nothing is said.
    pub from: Option<Date>,
}

/// Whose prices change.
#[derive(OneofObject)]
pub enum PriceOfInput {
    /// One quotation; by `code`, the supplier's reference of it, when only one quotation has it.
    Quotation(Which),
    /// Every quotation of a material.
    Material(Which),
    /// Every quotation of a supplier.
    Supplier(Which),
}

/// How prices change.
#[derive(OneofObject)]
pub enum PriceByInput {
    /// Up by so many percent, or down below nought: "12" or "-5".
    Percent(Decimal),
    /// To this price.
    To(UnitPriceInput),
}

/// A price and what it is the price of.
#[derive(InputObject)]
pub struct UnitPriceInput {
    /// The price, to at most 8 decimal places.
    pub price: MoneyInput,
    /// What that buys: 1 kg, 1 L, 1000 pcs.
    pub per: QuantityInput,
}

/// An exchange rate that becomes another.
#[derive(InputObject)]
pub struct ExchangeRateChangeInput {
    /// The currency given.
    pub give: CurrencyCode,
    /// The currency got for it.
    pub get: CurrencyCode,
    /// How it changes.
    pub by: RateByInput,
    /// From which day on; always, when nothing is said.
    pub from: Option<Date>,
}

/// How an exchange rate changes.
#[derive(OneofObject)]
pub enum RateByInput {
    /// Up by so many percent, or down below nought.
    Percent(Decimal),
    /// To so many units of the currency got for one of the currency given.
    To(Decimal),
}

/// A lot and a day.
#[derive(InputObject)]
pub struct LotOnDayInput {
    /// A lot on the shelf.
    pub lot: Which,
    /// The day.
    pub on: Date,
}

/// A material that nobody delivers for a while.
#[derive(InputObject)]
pub struct MaterialUnavailableInput {
    /// The material.
    pub material: Which,
    /// The first day it is delivered again.
    pub until: Date,
}

/// One more run.
#[derive(InputObject)]
pub struct PlannedRunInput {
    /// What is made.
    pub of: RunSubjectInput,
    /// How much.
    pub amount: RunAmountInput,
    /// The day.
    pub on: Date,
}

/// A delivery.
#[derive(InputObject)]
pub struct DeliveryInput {
    /// The material.
    pub material: Which,
    /// How much: by mass or count, or a volume of a material whose density is known.
    pub quantity: QuantityInput,
    /// The day it arrives.
    pub on: Date,
    /// Its last day of use; null when nothing limits it.
    pub expires_on: Option<Date>,
}

/// Asks what the changes would do.
pub(crate) async fn ask(ctx: &Context<'_>, changes: Vec<ChangeInput>, as_of: Option<Date>) -> Result<WhatIf> {
    if changes.len() > SCENARIO_CHANGES_MAX {
        let text = format!("a scenario has at most {SCENARIO_CHANGES_MAX} changes");
        return Err(app::Error::invalid("changes", text).into());
    }
    let mut read = Vec::with_capacity(changes.len());
    for (at, change) in changes.into_iter().enumerate() {
        read.push(change_of(ctx, change, &format!("changes[{at}]")).await?);
    }
    let scenario = Scenario { changes: read, ..Scenario::default() };
    Ok(WhatIf(ctx.house()?.what_if(ctx.actor()?, &scenario, ctx.day(as_of)?).await?))
}

fn checked<T, E: ToString>(place: &str, result: std::result::Result<T, E>) -> Result<T> {
    Ok(result.map_err(|error| app::Error::invalid(place, error))?)
}

async fn change_of(ctx: &Context<'_>, change: ChangeInput, place: &str) -> Result<Change> {
    let catalogue = ctx.catalogue()?;
    Ok(match change {
        ChangeInput::Price(input) => {
            let place = format!("{place}.price");
            Change::Price {
                of: price_of(ctx, &input.of, &format!("{place}.of"))?,
                by: price_by(input.by, &format!("{place}.by"))?,
                from: input.from.map(|day| day.0),
            }
        }
        ChangeInput::ExchangeRate(input) => {
            let by = match input.by {
                RateByInput::Percent(figure) => RateBy::Percent(checked(
                    &format!("{place}.exchangeRate.by.percent"),
                    Percent::from_percent(figure.0),
                )?),
                RateByInput::To(figure) => {
                    RateBy::Rate(checked(&format!("{place}.exchangeRate.by.to"), Rate::new(figure.0))?)
                }
            };
            Change::ExchangeRate {
                give: input.give.0,
                get: input.get.0,
                by,
                from: input.from.map(|day| day.0),
            }
        }
        ChangeInput::LotExpires(input) => {
            let lot = lot_named(ctx, &input.lot, &format!("{place}.lotExpires.lot")).await?.id;
            Change::LotExpires { lot, on: input.on.0 }
        }
        ChangeInput::LotRejected(input) => {
            let lot = lot_named(ctx, &input.lot, &format!("{place}.lotRejected.lot")).await?.id;
            Change::LotRejected { lot, on: input.on.0 }
        }
        ChangeInput::LotOnHold(input) => {
            let lot = lot_named(ctx, &input.lot, &format!("{place}.lotOnHold.lot")).await?.id;
            Change::LotOnHold { lot, on: input.on.0 }
        }
        ChangeInput::MaterialUnavailable(input) => {
            let place = format!("{place}.materialUnavailable.material");
            let material = catalogue.material(&input.material, &place)?.id;
            Change::MaterialUnavailable { material, until: input.until.0 }
        }
        ChangeInput::PlannedRun(input) => {
            let place = format!("{place}.plannedRun");
            let of = match crate::run_check::subject(ctx, &input.of, input.on.0, &format!("{place}.of"))? {
                CostSubject::Pack { pack, .. } => RunOf::Pack(pack),
                CostSubject::Version(version) => RunOf::Version(version),
            };
            let amount = crate::run_check::amount(&input.amount, &format!("{place}.amount"))?;
            Change::PlannedRun { of, amount, on: input.on.0 }
        }
        ChangeInput::Delivery(input) => {
            let place = format!("{place}.delivery");
            Change::Delivery {
                material: catalogue.material(&input.material, &format!("{place}.material"))?.id,
                quantity: checked(&format!("{place}.quantity"), input.quantity.quantity())?,
                on: input.on.0,
                expires_on: input.expires_on.map(|day| day.0),
            }
        }
    })
}

fn price_of(ctx: &Context<'_>, of: &PriceOfInput, place: &str) -> Result<PriceOf> {
    let catalogue = ctx.catalogue()?;
    Ok(match of {
        PriceOfInput::Material(which) => {
            PriceOf::Material(catalogue.material(which, &format!("{place}.material"))?.id)
        }
        PriceOfInput::Supplier(which) => {
            PriceOf::Supplier(catalogue.supplier(which, &format!("{place}.supplier"))?.id)
        }
        PriceOfInput::Quotation(Which::Id(id)) => {
            PriceOf::Quotation(catalogue.quotation_of_id(id, &format!("{place}.quotation.id"))?.id)
        }
        PriceOfInput::Quotation(Which::Code(reference)) => {
            let key = domain::text::code_key(reference);
            let mut found =
                catalogue.quotations().iter().filter(|q| domain::text::code_key(&q.reference) == key);
            match (found.next(), found.next()) {
                (Some(quotation), None) => PriceOf::Quotation(quotation.id),
                (Some(_), Some(_)) => {
                    let text = "several quotations have this reference; name one by its id";
                    return Err(app::Error::invalid(format!("{place}.quotation.code"), text).into());
                }
                (None, _) => return Err(app::Error::not_found("quotation", key).into()),
            }
        }
    })
}

fn price_by(by: PriceByInput, place: &str) -> Result<PriceBy> {
    Ok(match by {
        PriceByInput::Percent(figure) => {
            PriceBy::Percent(checked(&format!("{place}.percent"), Percent::from_percent(figure.0))?)
        }
        PriceByInput::To(to) => PriceBy::Price {
            price: checked(&format!("{place}.to.price"), to.price.unit_price())?,
            per: checked(&format!("{place}.to.per"), to.per.quantity())?,
        },
    })
}
