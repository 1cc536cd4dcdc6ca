//! Scenarios: assumed changes, as they are sent.

mod changes;

use async_graphql::{Context, InputObject, Lookahead, OneofObject};
use domain::Catalogue;
use engine::{Change, CostSubject, PriceBy, PriceOf, RateBy, RunOf, Scenario, what_if::Parts};
use kernel::{Percent, Rate, ids::QuotationId, limits::SCENARIO_CHANGES_MAX};

use crate::{
    amounts::{MoneyInput, QuantityInput},
    caller::{Desk, Find as _, lot_named},
    errors::Result,
    ids::Which,
    run_check::{RunAmountInput, RunSubjectInput},
    scalars::{CurrencyCode, Date, Decimal},
    what_if::WhatIf,
};

use changes::More;
pub use changes::{
    BatchSizeInput, DeliveryLateInput, DoseChangeInput, DutyChangeInput, FormulaPercentInput,
    FreightChangeInput, HouseRateChangeInput, LotHoldsInput, OfferChangedInput, OldPriceInput,
    PackOfMaterialInput, PackPercentInput, RunMovedInput, SalesVolumeInput, SubstituteInput,
    SupplierEndsInput, SurchargeInput,
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
    /// Freight becomes another than quoted.
    Freight(FreightChangeInput),
    /// Import duty becomes another than entered.
    Duty(DutyChangeInput),
    /// One charge more than is entered.
    Surcharge(SurchargeInput),
    /// A line holds another dose, and another line takes the difference.
    Dose(DoseChangeInput),
    /// One material stands in the place of another; where it is not one for one, the q.s. line takes the difference.
    Substitute(SubstituteInput),
    /// The usual batch of a formula becomes another.
    BatchSize(BatchSizeInput),
    /// What is filled beyond the declared quantity becomes another.
    Overfill(PackPercentInput),
    /// The process loss of a formula becomes another.
    ProcessLoss(FormulaPercentInput),
    /// A rate of the house becomes another: wages, machine hours, overheads.
    HouseRate(HouseRateChangeInput),
    /// Expected sales become others.
    SalesVolume(SalesVolumeInput),
    /// A supplier stops selling.
    SupplierEnds(SupplierEndsInput),
    /// A lot is called back: neither it nor what was made with it may be used.
    LotRecalled(LotOnDayInput),
    /// A lot holds another amount than is entered: a short delivery, a leak.
    LotHolds(LotHoldsInput),
    /// Deliveries of a material come late: lots that are not there yet, deliveries assumed before this change, and what would be ordered.
    DeliveryLate(DeliveryLateInput),
    /// A planned run is moved.
    RunMoved(RunMovedInput),
    /// A material is still used at the old price for a while.
    OldPrice(OldPriceInput),
    /// Any of these as a sentence: `dose HW-01 3 1.2%`.
    Words(String),
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
    /// One pack size of a material, whoever offers it.
    Pack(PackOfMaterialInput),
    /// One pack size of one quotation, or one price break of it.
    Offer(OfferChangedInput),
    /// Every quotation in one currency.
    Currency(CurrencyCode),
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
pub(crate) async fn ask(
    ctx: &Context<'_>,
    changes: Vec<ChangeInput>,
    as_of: Option<Date>,
    margin_floor_percent: Option<Decimal>,
) -> Result<WhatIf> {
    let mut scenario = Scenario { changes: read(ctx, changes).await?, ..Scenario::default() };
    if let Some(floor) = margin_floor_percent {
        scenario.margin_floor = Some(checked("marginFloorPercent", Percent::from_percent(floor.0))?);
    }
    let day = ctx.day(as_of)?;
    Ok(WhatIf(ctx.house()?.what_if_parts(ctx.actor()?, &scenario, day, parts_of(ctx.look_ahead())).await?))
}

/// What more is asked for than the costs: it takes more costing, so it is worked out for whoever reads it.
pub(crate) fn parts_of(asked: Lookahead<'_>) -> Parts {
    let reads = |field: &str| {
        asked.field(field).exists()
            || asked.field("packs").field(field).exists()
            || asked.field("formulas").field(field).exists()
    };
    Parts { shares: reads("shares"), timing: reads("timing") || reads("firstYearEffect") }
}

/// The changes that are meant.
pub(crate) async fn read(ctx: &Context<'_>, changes: Vec<ChangeInput>) -> Result<Vec<Change>> {
    if changes.len() > SCENARIO_CHANGES_MAX {
        let text = format!("a scenario has at most {SCENARIO_CHANGES_MAX} changes");
        return Err(app::Error::invalid("changes", text).into());
    }
    let mut read = Vec::with_capacity(changes.len());
    for (at, change) in changes.into_iter().enumerate() {
        read.push(change_of(ctx, change, &format!("changes[{at}]")).await?);
    }
    Ok(read)
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
        ChangeInput::Words(text) => {
            let read = ctx.house()?.change_in_words(ctx.actor()?, &text).await?;
            read.map_err(|why| app::Error::invalid(format!("{place}.words"), why))?
        }
        ChangeInput::Freight(input) => changes::change_of(ctx, More::Freight(input), place).await?,
        ChangeInput::Duty(input) => changes::change_of(ctx, More::Duty(input), place).await?,
        ChangeInput::Surcharge(input) => changes::change_of(ctx, More::Surcharge(input), place).await?,
        ChangeInput::Dose(input) => changes::change_of(ctx, More::Dose(input), place).await?,
        ChangeInput::Substitute(input) => changes::change_of(ctx, More::Substitute(input), place).await?,
        ChangeInput::BatchSize(input) => changes::change_of(ctx, More::BatchSize(input), place).await?,
        ChangeInput::Overfill(input) => changes::change_of(ctx, More::Overfill(input), place).await?,
        ChangeInput::ProcessLoss(input) => changes::change_of(ctx, More::ProcessLoss(input), place).await?,
        ChangeInput::HouseRate(input) => changes::change_of(ctx, More::HouseRate(input), place).await?,
        ChangeInput::SalesVolume(input) => changes::change_of(ctx, More::SalesVolume(input), place).await?,
        ChangeInput::SupplierEnds(input) => changes::change_of(ctx, More::SupplierEnds(input), place).await?,
        ChangeInput::LotRecalled(input) => changes::change_of(ctx, More::LotRecalled(input), place).await?,
        ChangeInput::LotHolds(input) => changes::change_of(ctx, More::LotHolds(input), place).await?,
        ChangeInput::DeliveryLate(input) => changes::change_of(ctx, More::DeliveryLate(input), place).await?,
        ChangeInput::RunMoved(input) => changes::change_of(ctx, More::RunMoved(input), place).await?,
        ChangeInput::OldPrice(input) => changes::change_of(ctx, More::OldPrice(input), place).await?,
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
        PriceOfInput::Quotation(which) => {
            PriceOf::Quotation(quotation_named(&catalogue, which, &format!("{place}.quotation"))?)
        }
        PriceOfInput::Pack(input) => PriceOf::Pack {
            material: catalogue.material(&input.material, &format!("{place}.pack.material"))?.id,
            pack: checked(&format!("{place}.pack.pack"), input.pack.quantity())?,
        },
        PriceOfInput::Offer(input) => {
            let at = input.price_break.as_ref().map(|at| at.quantity()).transpose();
            PriceOf::Offer {
                quotation: quotation_named(
                    &catalogue,
                    &input.quotation,
                    &format!("{place}.offer.quotation"),
                )?,
                pack: checked(&format!("{place}.offer.pack"), input.pack.quantity())?,
                price_break: checked(&format!("{place}.offer.priceBreak"), at)?,
            }
        }
        PriceOfInput::Currency(currency) => PriceOf::Currency(currency.0),
    })
}

fn quotation_named(catalogue: &Catalogue, which: &Which, place: &str) -> Result<QuotationId> {
    let reference = match which {
        Which::Id(id) => return Ok(catalogue.quotation_of_id(id, &format!("{place}.id"))?.id),
        Which::Code(reference) => reference,
    };
    let key = domain::text::code_key(reference);
    let mut found = catalogue.quotations().iter().filter(|q| domain::text::code_key(&q.reference) == key);
    match (found.next(), found.next()) {
        (Some(quotation), None) => Ok(quotation.id),
        (Some(_), Some(_)) => {
            let text = "several quotations have this reference; name one by its id";
            Err(app::Error::invalid(format!("{place}.code"), text).into())
        }
        (None, _) => Err(app::Error::not_found("quotation", key).into()),
    }
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
