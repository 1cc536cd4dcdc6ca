//! What to buy for a shortage: which offer, how many packs, what they cost, and by when to order so that they can be used in time.

use chrono::{Days, NaiveDate};
use domain::{dates::Span, materials::Material};
use kernel::{
    Dimension, Exact, Money, Quantity,
    ids::{MaterialId, QuotationId, SupplierId},
};
use serde::Serialize;
use std::collections::HashMap;

use crate::{
    EngineError, Gap,
    price::{LandedPrice, landed_price},
    source::Validity,
    view::{MaterialRef, View},
};

/// When something is bought, and when it is needed.
#[derive(Debug, Clone, Copy)]
pub(crate) struct BuyingDays<'a> {
    /// The day of the order.
    pub today: NaiveDate,
    /// The day it must be usable.
    pub needed_on: NaiveDate,
    /// Materials nobody can deliver before a day.
    pub not_before: &'a HashMap<MaterialId, NaiveDate>,
    /// Days by which what is ordered comes later than its lead time says.
    pub late: u32,
}

/// What to buy for a shortage.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Purchase {
    /// The material.
    pub material: MaterialRef,
    /// What is missing.
    pub short_by: Quantity,
    /// The day it must be usable.
    pub needed_on: NaiveDate,
    /// The order that covers it for the least money; `None` with the reason in [`Purchase::gap`].
    pub order: Option<PurchaseOrder>,
    /// A larger order of the same material that costs less in all, because it reaches a price break.
    pub larger_for_less: Option<PurchaseOrder>,
    /// Why there is no order: no quotation, no density, no rate.
    #[serde(serialize_with = "crate::figures::optional_gap")]
    pub gap: Option<Gap>,
}

/// An order of whole packs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PurchaseOrder {
    /// The quotation.
    pub quotation: QuotationId,
    /// The supplier's reference.
    pub reference: String,
    /// The supplier.
    pub supplier: SupplierId,
    /// The supplier's name.
    pub supplier_name: String,
    /// What is sold as one.
    pub pack: Quantity,
    /// How many.
    pub packs: i64,
    /// All of them, as stock is kept; rounded down to what is kept.
    pub quantity: Quantity,
    /// What they cost landed, in the house's currency, rounded half to even to the millionth.
    pub cost: Money,
    /// Landed, per kg or piece, in the house's currency, rounded half to even to the millionth.
    pub cost_per_unit: Money,
    /// How it stands with the quotation on the day of the order: `valid`, `lapses soon`, `lapsed`, `not yet valid`.
    pub validity: &'static str,
    /// Its last day, where it has one.
    pub valid_until: Option<NaiveDate>,
    /// From order to delivery; `None` when nobody has entered it.
    pub lead_time: Option<Span>,
    /// From receipt to release; `None` when there is none.
    pub inspection_time: Option<Span>,
    /// The last day to order so that it can be used in time; `None` without a lead time, or when it cannot be had in time.
    pub order_by: Option<NaiveDate>,
    /// When it could be used if ordered today; `None` without a lead time.
    pub usable_if_ordered_today: Option<NaiveDate>,
    /// Whether it is too late already; `None` without a lead time.
    pub too_late: Option<bool>,
}

/// What to buy for so much of a material, in the scaled integer of its dimension.
pub(crate) fn purchase(
    view: &View<'_>,
    material: &Material,
    short: i64,
    days: BuyingDays<'_>,
) -> Result<Purchase, EngineError> {
    let short_by = Quantity::from_raw(short, material.stock_dimension());
    let mut answer = Purchase {
        material: MaterialRef::from(material),
        short_by,
        needed_on: days.needed_on,
        order: None,
        larger_for_less: None,
        gap: None,
    };
    let landed = match landed_price(view, material, &short_by.to_exact(), days.today)? {
        Ok(landed) => landed,
        Err(gap) => {
            answer.gap = Some(gap);
            return Ok(answer);
        }
    };
    let larger = larger_for_less(view, material, &landed, days.today)?;
    answer.order = Some(order(view, material, &landed, days)?);
    answer.larger_for_less = larger.map(|larger| order(view, material, &larger, days)).transpose()?;
    Ok(answer)
}

/// The cheapest order that is larger only because it reaches a price break.
fn larger_for_less(
    view: &View<'_>,
    material: &Material,
    landed: &LandedPrice,
    today: NaiveDate,
) -> Result<Option<LandedPrice>, EngineError> {
    let mut best: Option<LandedPrice> = None;
    for quotation in view.quotations_of(material.id, today) {
        for from in quotation.offers.iter().filter_map(|offer| offer.from_quantity) {
            let Some(from) = in_stock_unit(from, material) else { continue };
            if from <= landed.source.ordered {
                continue;
            }
            let Ok(larger) = landed_price(view, material, &from, today)? else { continue };
            // A lapsed price may not be had any more: it is no reason to order more.
            let better = larger.order_cost < best.as_ref().unwrap_or(landed).order_cost;
            if better && larger.source.validity.holds() {
                best = Some(larger);
            }
        }
    }
    Ok(best)
}

fn in_stock_unit(quantity: Quantity, material: &Material) -> Option<Exact> {
    match (material.stock_dimension(), quantity) {
        (Dimension::Count, Quantity::Count(count)) => Some(count.to_exact()),
        (Dimension::Count, _) => None,
        (_, quantity) => quantity.mass_kg(material.density),
    }
}

fn order(
    view: &View<'_>,
    material: &Material,
    landed: &LandedPrice,
    days: BuyingDays<'_>,
) -> Result<PurchaseOrder, EngineError> {
    let source = &landed.source;
    let currency = view.currency();
    let earliest = days.not_before.get(&material.id).copied();
    let late = Days::new(u64::from(days.late));
    let arrives = landed
        .lead_time
        .and_then(|lead| lead.after(days.today)?.checked_add_days(late))
        .map(|day| earliest.map_or(day, |earliest| day.max(earliest)));
    let usable = arrives.map(|day| crate::planned::inspected(material, day));
    let too_late = usable.map(|usable| usable > days.needed_on);
    let order_by =
        landed.lead_time.filter(|_| !in_vain(material, earliest, days.needed_on)).and_then(|lead| {
            let due = match material.inspection_time {
                Some(inspection) => inspection.before(days.needed_on)?,
                None => days.needed_on,
            };
            let order_by = lead.before(due)?.checked_sub_days(late)?;
            // Nobody can order from a supplier that has ended.
            Some(view.last_order(source.supplier, material.id).map_or(order_by, |last| last.min(order_by)))
        });
    let quantity = match material.stock_dimension() {
        Dimension::Count => Quantity::Count(kernel::Count::from_exact_down(&source.ordered)?),
        Dimension::Mass | Dimension::Volume => {
            Quantity::Mass(kernel::Mass::from_exact_down(&source.ordered)?)
        }
    };
    Ok(PurchaseOrder {
        quotation: source.quotation,
        reference: source.reference.clone(),
        supplier: source.supplier,
        supplier_name: source.supplier_name.clone(),
        pack: source.pack,
        packs: i64::try_from(source.packs).map_err(|_| kernel::AmountError::Overflow("packs"))?,
        quantity,
        cost: Money::from_exact_half_even(&landed.order_cost, currency)?,
        cost_per_unit: Money::from_exact_half_even(&landed.per_unit, currency)?,
        validity: source.validity.words(),
        valid_until: match source.validity {
            Validity::Valid { until } => until,
            Validity::LapsesSoon { until, .. } | Validity::Lapsed { until, .. } => Some(until),
            Validity::NotYet { .. } => None,
        },
        lead_time: landed.lead_time,
        inspection_time: material.inspection_time,
        order_by,
        usable_if_ordered_today: usable,
        too_late,
    })
}

/// Whether nobody can deliver before the day it is needed, whenever it is ordered.
fn in_vain(material: &Material, earliest: Option<NaiveDate>, needed_on: NaiveDate) -> bool {
    earliest.is_some_and(|earliest| crate::planned::inspected(material, earliest) > needed_on)
}
