//! Cover, reorder point and order size of every material that has stock or is used.

use chrono::{Days, NaiveDate};
use domain::materials::Material;
use kernel::{Dimension, Exact, Quantity, ids::MaterialId};
use rust_decimal::Decimal;
use std::collections::{BTreeMap, HashMap};

use super::{DemandAndLead, economic_order, reorder_point, safety_stock, square_root};
use crate::{
    EngineError, MaterialRef, View,
    price::landed_price,
    shelf::{Availability, Shelf, availability},
};

/// What was used of a material on a day: weighed and filled, less what was taken back; in the scaled integer of its dimension.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Used {
    /// The material.
    pub material: MaterialId,
    /// The day.
    pub on: NaiveDate,
    /// How much.
    pub raw: i64,
}

/// What is asked of the plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanRequest {
    /// Today.
    pub today: NaiveDate,
    /// How many whole weeks before today are looked back on.
    pub weeks_back: u32,
    /// How many days ahead tickets count.
    pub days_ahead: u32,
    /// How many standard deviations the safety stock covers.
    pub deviations: Decimal,
    /// The standard deviation of lead times, in days.
    pub lead_deviation_days: u32,
    /// A material without a use for so many days does not move.
    pub slow_after_days: u32,
    /// What one order costs, in the house's currency.
    pub order_cost: Option<Exact>,
    /// What holding stock for a year costs, as a fraction of its price.
    pub holding_a_year: Option<Exact>,
}

/// What the daily use of a material is taken from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PerDayFrom {
    /// What open tickets need.
    Tickets,
    /// What was used in the weeks before.
    Use,
    /// Neither says anything.
    Nothing,
}

/// The figures of one material. Amounts are kg or pieces.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MaterialPlan {
    /// The material.
    pub material: MaterialRef,
    /// What amounts are in.
    pub dimension: Dimension,
    /// What is there, usable or not.
    pub on_hand: Quantity,
    /// What can be taken today and is not promised.
    pub usable: Quantity,
    /// Used in the weeks looked back on.
    pub used: Exact,
    /// Whole weeks of those since it was first used; their mean and deviation follow.
    pub weeks: u32,
    /// Mean use in a week.
    pub per_week: Exact,
    /// Sample standard deviation of the use in a week; `None` below two weeks.
    pub deviation_per_week: Option<Exact>,
    /// What open tickets need in the days ahead beyond what is promised to them.
    pub planned: Exact,
    /// Daily use that cover is taken from.
    pub per_day: Exact,
    /// Where that is from.
    pub per_day_from: PerDayFrom,
    /// How many whole days what is usable lasts; `None` when nothing is used.
    pub cover_days: Option<i64>,
    /// From order to use in days: lead time and inspection; `None` when no lead time was entered.
    pub lead_days: Option<i64>,
    /// `None` without a lead time or a deviation.
    pub safety_stock: Option<Exact>,
    /// `None` without a lead time or a deviation.
    pub reorder_point: Option<Exact>,
    /// Whether what is usable lies at or below the reorder point.
    pub order_now: Option<bool>,
    /// The order size that costs least, as an aid; `None` without its figures or a price.
    pub economic_order: Option<Exact>,
    /// The last day it was used in the weeks looked back on.
    pub last_used_on: Option<NaiveDate>,
    /// Whether it is there and has not been used for long.
    pub slow: bool,
    /// What of the usable will be past its last day before it is used at this rate.
    pub will_pass: Quantity,
}

/// The figures of every material that has stock or was used, by code.
///
/// # Errors
/// [`EngineError::Amount`] for a figure beyond what can be kept.
pub fn stock_plan(
    view: &View<'_>,
    shelf: &Shelf,
    used: &[Used],
    request: &PlanRequest,
) -> Result<Vec<MaterialPlan>, EngineError> {
    let mut by_material: HashMap<MaterialId, Vec<&Used>> = HashMap::new();
    for row in used {
        by_material.entry(row.material).or_default().push(row);
    }
    let planned = planned_needs(shelf, request);
    let mut plans = Vec::new();
    for material in view.catalogue().materials.iter().filter(|material| material.kind.is_stocked()) {
        let used = by_material.get(&material.id).map_or(&[][..], Vec::as_slice);
        let there = availability(material, shelf.lots_of(material.id), request.today, &[], None);
        let needed = planned.get(&material.id).copied().unwrap_or(0);
        if used.is_empty() && there.on_hand.raw() == 0 && needed == 0 {
            continue;
        }
        plans.push(plan_of(view, shelf, material, &there, used, needed, request)?);
    }
    Ok(plans)
}

/// What open tickets need of each material in the days ahead beyond what is promised to them, in scaled integers.
fn planned_needs(shelf: &Shelf, request: &PlanRequest) -> HashMap<MaterialId, i64> {
    let until = request.today.checked_add_days(Days::new(u64::from(request.days_ahead)));
    let mut needs: HashMap<MaterialId, i64> = HashMap::new();
    for ticket in shelf.tickets.iter().filter(|ticket| ticket.status.is_open()) {
        if until.is_some_and(|until| ticket.planned_for > until) {
            continue;
        }
        for line in &ticket.lines {
            let promised: i64 =
                ticket.allocations.iter().filter(|a| a.line == line.id).map(|a| a.quantity.raw()).sum();
            let need = ticket.remaining_on(line).micrograms().saturating_sub(promised).max(0);
            let sum = needs.entry(line.material).or_insert(0);
            *sum = sum.saturating_add(need);
        }
    }
    needs
}

fn plan_of(
    view: &View<'_>,
    shelf: &Shelf,
    material: &Material,
    there: &Availability,
    used: &[&Used],
    needed: i64,
    request: &PlanRequest,
) -> Result<MaterialPlan, EngineError> {
    let places = Quantity::from_raw(0, material.stock_dimension());
    let amount = |raw: i64| Quantity::from_raw(raw, places.dimension()).to_exact();
    let weekly = by_week(used, request);
    let weeks = u32::try_from(weekly.len()).unwrap_or(u32::MAX);
    let total = weekly.iter().fold(0_i64, |sum, week| sum.saturating_add(*week));
    let (per_week, deviation_per_week) =
        mean_and_deviation(&weekly.iter().map(|w| amount(*w)).collect::<Vec<_>>())?;
    let planned = amount(needed);
    let (per_day, per_day_from) = if needed > 0 && request.days_ahead > 0 {
        (planned.checked_div(&Exact::from(i64::from(request.days_ahead)))?, PerDayFrom::Tickets)
    } else if per_week.is_positive() {
        (per_week.checked_div(&Exact::whole(7))?, PerDayFrom::Use)
    } else {
        (Exact::ZERO, PerDayFrom::Nothing)
    };
    let cover_days = if per_day.is_positive() {
        let days = there.usable.to_exact().checked_div(&per_day)?.floor()?;
        Some(i64::try_from(days).unwrap_or(i64::MAX))
    } else {
        None
    };
    let a_month = (&per_week * &Exact::whole(4)).max(Exact::ONE);
    let price = landed_price(view, material, &a_month, request.today)?.ok();
    let days_of = |span: Option<domain::dates::Span>| {
        span.and_then(|span| span.after(request.today)).map(|day| (day - request.today).num_days())
    };
    let lead_days = price
        .as_ref()
        .and_then(|price| days_of(price.lead_time))
        .map(|lead| lead.saturating_add(days_of(material.inspection_time).unwrap_or(0)));
    let demand = match (lead_days, &deviation_per_week) {
        (Some(lead), Some(deviation)) => Some(DemandAndLead {
            use_per_period: per_week.clone(),
            use_deviation: deviation.clone(),
            lead: Exact::from(lead).checked_div(&Exact::whole(7))?,
            lead_deviation: Exact::from(i64::from(request.lead_deviation_days))
                .checked_div(&Exact::whole(7))?,
        }),
        _ => None,
    };
    let safety = demand.as_ref().map(|of| safety_stock(of, request.deviations)).transpose()?;
    let point = demand.as_ref().map(|of| reorder_point(of, request.deviations)).transpose()?;
    let order_now = point.as_ref().map(|point| there.usable.to_exact() <= *point);
    let a_year = &per_week * &Exact::whole(52);
    let economic = match (&request.order_cost, &request.holding_a_year, &price) {
        (Some(order), Some(holding), Some(price)) if a_year.is_positive() => {
            economic_order(&a_year, order, &(holding * &price.per_unit))?
        }
        _ => None,
    };
    let last_used_on = used.iter().filter(|row| row.raw > 0).map(|row| row.on).max();
    let idle_since = request.today.checked_sub_days(Days::new(u64::from(request.slow_after_days)));
    let came_in = shelf.lots_of(material.id).map(|lot| lot.received_on).min();
    let slow = there.on_hand.is_positive()
        && needed == 0
        && idle_since.is_some_and(|since| {
            last_used_on.is_none_or(|on| on < since) && came_in.is_some_and(|on| on < since)
        });
    Ok(MaterialPlan {
        material: MaterialRef::from(material),
        dimension: material.stock_dimension(),
        on_hand: there.on_hand,
        usable: there.usable,
        used: amount(total),
        weeks,
        per_week,
        deviation_per_week,
        planned,
        will_pass: will_pass(there, &per_day, request.today)?,
        per_day,
        per_day_from,
        cover_days,
        lead_days,
        safety_stock: safety,
        reorder_point: point,
        order_now,
        economic_order: economic,
        last_used_on,
        slow,
    })
}

/// What was used in each whole week before today, since the first week it was used in; the latest last.
fn by_week(used: &[&Used], request: &PlanRequest) -> Vec<i64> {
    let mut weeks: BTreeMap<i64, i64> = BTreeMap::new();
    for row in used {
        let days_ago = (request.today - row.on).num_days();
        // The seven days before today are the latest week; today itself is not over.
        if days_ago < 1 {
            continue;
        }
        let week = (days_ago - 1) / 7;
        if week < i64::from(request.weeks_back) {
            let sum = weeks.entry(week).or_insert(0);
            *sum = sum.saturating_add(row.raw);
        }
    }
    let Some(first) = weeks.keys().next_back().copied() else { return Vec::new() };
    (0..=first).rev().map(|week| weeks.get(&week).copied().unwrap_or(0).max(0)).collect()
}

/// Mean and sample standard deviation.
fn mean_and_deviation(values: &[Exact]) -> Result<(Exact, Option<Exact>), EngineError> {
    let count = i128::try_from(values.len()).unwrap_or(i128::MAX);
    if count == 0 {
        return Ok((Exact::ZERO, None));
    }
    let sum: Exact = values.iter().sum();
    let mean = sum.checked_div(&Exact::whole(count))?;
    if count < 2 {
        return Ok((mean, None));
    }
    let squares: Exact = values
        .iter()
        .map(|value| {
            let off = value - &mean;
            &off * &off
        })
        .sum();
    let deviation = square_root(&squares.checked_div(&Exact::whole(count - 1))?)?;
    Ok((mean, Some(deviation)))
}

/// What of the usable lots is still there after its last day when so much is used a day, first expiry first out.
fn will_pass(there: &Availability, per_day: &Exact, today: NaiveDate) -> Result<Quantity, EngineError> {
    let dimension = there.usable.dimension();
    let (mut before, mut passing) = (Exact::ZERO, 0_i64);
    for lot in there.lots.iter().filter(|lot| lot.usable.is_positive()) {
        let held = lot.usable.to_exact();
        let Some(last) = lot.last_day_of_use else { continue };
        // Today counts, and so does the last day.
        let days = (last - today).num_days().saturating_add(1).max(0);
        let can_be_used = (per_day * &Exact::from(days) - before.clone()).max(Exact::ZERO);
        let used = can_be_used.min(held.clone());
        let left = &held - &used;
        let left = Quantity::from_exact_half_even(&left, dimension)?;
        passing = passing.saturating_add(left.raw());
        before += used;
    }
    Ok(Quantity::from_raw(passing, dimension))
}
