//! Changes of terms, formulas, packs, rates, volumes and supply, as they are sent.

use async_graphql::{Context, Enum, InputObject, OneofObject};
use domain::Catalogue;
use engine::{
    Change,
    scenario::{ChargePer, FreightBy, HouseRateBy, OldPriceCover, VolumeBy},
};
use kernel::{Mass, Percent};

use super::{LotOnDayInput, PriceOfInput, checked, price_of};
use crate::{
    amounts::{MoneyInput, QuantityInput},
    caller::{Desk, Find as _, lot_named, ticket_named},
    errors::Result,
    ids::Which,
    scalars::{Date, Decimal},
};

/// One pack size of a material.
#[derive(InputObject)]
pub struct PackOfMaterialInput {
    /// The material.
    pub material: Which,
    /// The pack: 200 kg, 1000 pcs.
    pub pack: QuantityInput,
}

/// One pack size of a quotation.
#[derive(InputObject)]
pub struct OfferChangedInput {
    /// The quotation; by `code`, the supplier's reference of it, when only one quotation has it.
    pub quotation: Which,
    /// The pack.
    pub pack: QuantityInput,
    /// One price break of it by the order quantity it holds from; the pack itself names the price from one pack. All breaks when
    /// nothing is said.
    pub price_break: Option<QuantityInput>,
}

/// What freight or a surcharge is charged by.
#[derive(OneofObject)]
pub enum ChargePerInput {
    /// Each so much: 1 kg, 1000 pcs.
    Quantity(QuantityInput),
    /// Each pack or each shipment.
    Each(ChargedEach),
}

/// What a charge comes with.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum ChargedEach {
    /// Each pack.
    Pack,
    /// Each shipment, that is each order.
    Shipment,
}

/// An amount of money and what it is charged by.
#[derive(InputObject)]
pub struct AssumedChargeInput {
    /// How much, to at most 8 decimal places.
    pub amount: MoneyInput,
    /// Of what.
    pub per: ChargePerInput,
}

/// How freight changes.
#[derive(OneofObject)]
pub enum FreightByInput {
    /// Up by so many percent, or down below nought.
    Percent(Decimal),
    /// To this.
    To(AssumedChargeInput),
}

/// Freight that becomes another than quoted.
#[derive(InputObject)]
pub struct FreightChangeInput {
    /// Whose freight.
    pub of: PriceOfInput,
    /// How it changes.
    pub by: FreightByInput,
    /// From which day on; always, when nothing is said.
    pub from: Option<Date>,
}

/// Import duty that becomes another.
#[derive(InputObject)]
pub struct DutyChangeInput {
    /// Whose duty.
    pub of: PriceOfInput,
    /// To so many percent, of what is entered for it, or of the price.
    pub to: Decimal,
    /// From which day on; always, when nothing is said.
    pub from: Option<Date>,
}

/// One charge more than is entered.
#[derive(InputObject)]
pub struct SurchargeInput {
    /// Whose orders bear it.
    pub of: PriceOfInput,
    /// What it is for.
    pub name: String,
    /// How much, and of what.
    pub charge: AssumedChargeInput,
    /// From which day on; always, when nothing is said.
    pub from: Option<Date>,
}

/// A line that holds another dose.
#[derive(InputObject)]
pub struct DoseChangeInput {
    /// The formula, in the version approved today, else in its current draft.
    pub formula: Which,
    /// The position of the line.
    pub line: u32,
    /// % w/w as supplied.
    pub to: Decimal,
    /// The position of the line that takes the difference; the q.s. line when nothing is said.
    pub against: Option<u32>,
}

/// One material in the place of another.
#[derive(InputObject)]
pub struct SubstituteInput {
    /// What stands there now.
    pub old: Which,
    /// What is to stand there.
    pub new: Which,
    /// kg or pieces of the new one for one of the old; 1 when nothing is said.
    pub factor: Option<Decimal>,
    /// In one formula; everywhere when nothing is said.
    pub within: Option<Which>,
}

/// A usual batch that becomes another.
#[derive(InputObject)]
pub struct BatchSizeInput {
    /// The formula.
    pub formula: Which,
    /// Everything charged, kg.
    pub to_kg: Decimal,
}

/// A percent of a formula that becomes another.
#[derive(InputObject)]
pub struct FormulaPercentInput {
    /// The formula.
    pub formula: Which,
    /// To so many percent.
    pub to: Decimal,
}

/// A percent of a pack that becomes another.
#[derive(InputObject)]
pub struct PackPercentInput {
    /// The pack.
    pub pack: Which,
    /// To so many percent.
    pub to: Decimal,
}

/// How a rate of the house changes.
#[derive(OneofObject)]
pub enum HouseRateByInput {
    /// Up by so many percent, or down below nought.
    Percent(Decimal),
    /// To so much an hour or batch.
    To(MoneyInput),
}

/// A rate of the house that becomes another.
#[derive(InputObject)]
pub struct HouseRateChangeInput {
    /// Its name, letter case aside.
    pub name: String,
    /// How it changes.
    pub by: HouseRateByInput,
    /// From which day on; always, when nothing is said.
    pub from: Option<Date>,
}

/// How expected sales change.
#[derive(OneofObject)]
pub enum VolumeByInput {
    /// Up by so many percent, or down below nought; rounded down to whole units.
    Percent(Decimal),
    /// To so many units a year, a whole number.
    Units(Decimal),
}

/// Expected sales that become others.
#[derive(InputObject)]
pub struct SalesVolumeInput {
    /// The pack; all packs when nothing is said.
    pub pack: Option<Which>,
    /// How they change.
    pub by: VolumeByInput,
}

/// A supplier that stops selling.
#[derive(InputObject)]
pub struct SupplierEndsInput {
    /// The supplier.
    pub supplier: Which,
    /// The one material that ends; everything when nothing is said.
    pub material: Option<Which>,
    /// The last day something can be ordered.
    pub on: Date,
    /// The day a replacement is ready; what is bought last has to reach so far.
    pub replaced_on: Option<Date>,
}

/// A lot that holds another amount.
#[derive(InputObject)]
pub struct LotHoldsInput {
    /// A lot on the shelf.
    pub lot: Which,
    /// What it holds.
    pub quantity: QuantityInput,
}

/// Deliveries that come late.
#[derive(InputObject)]
pub struct DeliveryLateInput {
    /// The material.
    pub material: Which,
    /// Days.
    pub days: u32,
}

/// A planned run that is moved.
#[derive(InputObject)]
pub struct RunMovedInput {
    /// An open ticket.
    pub ticket: Which,
    /// The day it is made instead.
    pub to: Date,
}

/// For how long a material is still used at the old price.
#[derive(OneofObject)]
pub enum OldPriceCoverInput {
    /// So many days from the day the price changes, whatever is on the shelf.
    Days(u32),
    /// So much is on order at a protected price, beside what is on the shelf.
    Ordered(QuantityInput),
}

/// A material that is still used at the old price for a while.
#[derive(InputObject)]
pub struct OldPriceInput {
    /// The material.
    pub material: Which,
    /// For how long.
    pub cover: OldPriceCoverInput,
}

/// What a change of any of these kinds is about.
pub(super) enum More {
    Freight(FreightChangeInput),
    Duty(DutyChangeInput),
    Surcharge(SurchargeInput),
    Dose(DoseChangeInput),
    Substitute(SubstituteInput),
    BatchSize(BatchSizeInput),
    Overfill(PackPercentInput),
    ProcessLoss(FormulaPercentInput),
    HouseRate(HouseRateChangeInput),
    SalesVolume(SalesVolumeInput),
    SupplierEnds(SupplierEndsInput),
    LotRecalled(LotOnDayInput),
    LotHolds(LotHoldsInput),
    DeliveryLate(DeliveryLateInput),
    RunMoved(RunMovedInput),
    OldPrice(OldPriceInput),
}

fn percent(figure: &Decimal, place: &str) -> Result<Percent> {
    checked(place, Percent::from_percent(figure.0))
}

fn charge_per(per: &ChargePerInput, place: &str) -> Result<ChargePer> {
    Ok(match per {
        ChargePerInput::Quantity(quantity) => {
            ChargePer::Quantity(checked(&format!("{place}.quantity"), quantity.quantity())?)
        }
        ChargePerInput::Each(ChargedEach::Pack) => ChargePer::Pack,
        ChargePerInput::Each(ChargedEach::Shipment) => ChargePer::Shipment,
    })
}

/// The change that is meant.
pub(super) async fn change_of(ctx: &Context<'_>, more: More, place: &str) -> Result<Change> {
    let catalogue = ctx.catalogue()?;
    Ok(match more {
        More::LotRecalled(input) => {
            let lot = lot_named(ctx, &input.lot, &format!("{place}.lotRecalled.lot")).await?.id;
            Change::LotRecalled { lot, on: input.on.0 }
        }
        More::LotHolds(input) => {
            let place = format!("{place}.lotHolds");
            let lot = lot_named(ctx, &input.lot, &format!("{place}.lot")).await?.id;
            Change::LotHolds {
                lot,
                quantity: checked(&format!("{place}.quantity"), input.quantity.quantity())?,
            }
        }
        More::RunMoved(input) => {
            let ticket = ticket_named(ctx, &input.ticket, &format!("{place}.runMoved.ticket")).await?.id;
            Change::RunMoved { ticket, to: input.to.0 }
        }
        More::Freight(input) => {
            let place = format!("{place}.freight");
            let by = match &input.by {
                FreightByInput::Percent(figure) => {
                    FreightBy::Percent(percent(figure, &format!("{place}.by.percent"))?)
                }
                FreightByInput::To(to) => FreightBy::To {
                    amount: checked(&format!("{place}.by.to.amount"), to.amount.unit_price())?,
                    per: charge_per(&to.per, &format!("{place}.by.to.per"))?,
                },
            };
            let of = price_of(ctx, &input.of, &format!("{place}.of"))?;
            Change::Freight { of, by, from: input.from.map(|day| day.0) }
        }
        More::Duty(input) => {
            let place = format!("{place}.duty");
            Change::Duty {
                of: price_of(ctx, &input.of, &format!("{place}.of"))?,
                to: percent(&input.to, &format!("{place}.to"))?,
                on: None,
                from: input.from.map(|day| day.0),
            }
        }
        More::Surcharge(input) => {
            let place = format!("{place}.surcharge");
            let amount = checked(&format!("{place}.charge.amount"), input.charge.amount.unit_price())?;
            Change::Surcharge {
                of: price_of(ctx, &input.of, &format!("{place}.of"))?,
                name: input.name,
                amount,
                per: charge_per(&input.charge.per, &format!("{place}.charge.per"))?,
                from: input.from.map(|day| day.0),
            }
        }
        More::Dose(input) => {
            let place = format!("{place}.dose");
            let formula = catalogue.formula(&input.formula, &format!("{place}.formula"))?;
            let version = formula.approved_on(ctx.day(None)?).or_else(|| formula.current());
            let version =
                version.ok_or_else(|| app::Error::invalid(&*place, "the formula has no version"))?.id;
            let to = percent(&input.to, &format!("{place}.to"))?;
            Change::Dose { version, line: input.line, to, against: input.against }
        }
        more => of_catalogue(&catalogue, more, place)?,
    })
}

/// Changes that need nothing but the catalogue.
fn of_catalogue(catalogue: &Catalogue, more: More, place: &str) -> Result<Change> {
    Ok(match more {
        More::Substitute(input) => {
            let place = format!("{place}.substitute");
            let within = input.within.as_ref();
            Change::Substitute {
                old: catalogue.material(&input.old, &format!("{place}.old"))?.id,
                new: catalogue.material(&input.new, &format!("{place}.new"))?.id,
                factor: input.factor.map(|factor| factor.0),
                within: within
                    .map(|formula| catalogue.formula(formula, &format!("{place}.within")))
                    .transpose()?
                    .map(|formula| formula.id),
            }
        }
        More::BatchSize(input) => {
            let place = format!("{place}.batchSize");
            let formula = catalogue.formula(&input.formula, &format!("{place}.formula"))?.id;
            Change::BatchSize {
                formula,
                to: checked(&format!("{place}.toKg"), Mass::from_kg(input.to_kg.0))?,
            }
        }
        More::Overfill(input) => {
            let place = format!("{place}.overfill");
            let pack = catalogue.pack_named(&input.pack, &format!("{place}.pack"))?.id;
            Change::Overfill { pack, to: percent(&input.to, &format!("{place}.to"))? }
        }
        More::ProcessLoss(input) => {
            let place = format!("{place}.processLoss");
            let formula = catalogue.formula(&input.formula, &format!("{place}.formula"))?.id;
            Change::ProcessLoss { formula, to: percent(&input.to, &format!("{place}.to"))? }
        }
        More::HouseRate(input) => {
            let place = format!("{place}.houseRate.by");
            let by = match &input.by {
                HouseRateByInput::Percent(figure) => {
                    HouseRateBy::Percent(percent(figure, &format!("{place}.percent"))?)
                }
                HouseRateByInput::To(to) => {
                    HouseRateBy::To(checked(&format!("{place}.to"), to.unit_price())?)
                }
            };
            Change::HouseRate { name: input.name, by, from: input.from.map(|day| day.0) }
        }
        More::SalesVolume(input) => {
            let place = format!("{place}.salesVolume");
            let pack = input.pack.as_ref();
            let pack = pack.map(|pack| catalogue.pack_named(pack, &format!("{place}.pack"))).transpose()?;
            let by = match &input.by {
                VolumeByInput::Percent(figure) => {
                    VolumeBy::Percent(percent(figure, &format!("{place}.by.percent"))?)
                }
                VolumeByInput::Units(units) => {
                    let whole = units.0.is_integer().then(|| u64::try_from(units.0).ok()).flatten();
                    let told =
                        || app::Error::invalid(format!("{place}.by.units"), "units are a whole number");
                    VolumeBy::Units(whole.ok_or_else(told)?)
                }
            };
            Change::SalesVolume { pack: pack.map(|pack| pack.id), by }
        }
        More::SupplierEnds(input) => {
            let place = format!("{place}.supplierEnds");
            let material = input.material.as_ref();
            Change::SupplierEnds {
                supplier: catalogue.supplier(&input.supplier, &format!("{place}.supplier"))?.id,
                material: material
                    .map(|material| catalogue.material(material, &format!("{place}.material")))
                    .transpose()?
                    .map(|material| material.id),
                on: input.on.0,
                replaced_on: input.replaced_on.map(|day| day.0),
            }
        }
        More::DeliveryLate(input) => {
            let material = catalogue.material(&input.material, &format!("{place}.deliveryLate.material"))?.id;
            Change::DeliveryLate { material, days: input.days }
        }
        More::OldPrice(input) => {
            let place = format!("{place}.oldPrice");
            let material = catalogue.material(&input.material, &format!("{place}.material"))?.id;
            let cover = match &input.cover {
                OldPriceCoverInput::Days(days) => OldPriceCover::Days(*days),
                OldPriceCoverInput::Ordered(quantity) => {
                    OldPriceCover::Ordered(checked(&format!("{place}.cover.ordered"), quantity.quantity())?)
                }
            };
            Change::OldPrice { material, cover }
        }
        _ => return Err(crate::errors::internal("a change was read by nobody")),
    })
}
