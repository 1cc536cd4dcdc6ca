//! The cheapest way to buy what is needed: which packs of which quotations, and how many of each.
//!
//! A small integer programme: choose for each pack size of each quotation that holds a whole number of packs, nought included, so that
//! together they cover what is needed, for the least landed money. Every candidate order is priced by the ordinary rules, so price
//! breaks, minimum orders, freight by the shipment, duty and small order charges count as they fall; two pack sizes of one quotation are
//! two orders and bear what is charged by the order twice.
//!
//! It is solved by branch and bound of our own in exact fractions, not by a solver that counts in doubles: with a handful of offers it is
//! as quick, and what it proves is proved. The bound of a branch is what it has spent, and what is still missing at the lowest price per
//! kg or piece that any offer left has at any number of packs. An answer is called proved when no branch was given up for its size.
//!
//! Needs later than what is bought now keeps (shelf life less the life that must be left on the day of use) are not bought for now.

use chrono::NaiveDate;
use domain::materials::Material;
use kernel::{
    Currency, Exact, Quantity,
    ids::{MaterialId, QuotationId},
};
use serde::Serialize;
use std::collections::BTreeMap;

use crate::{
    EngineError, MaterialRef, View,
    outlook::{Outlook, OutlookRequest, for_each_need, walk_outlook},
    planned::{Walk, inspected, open_runs},
    price::landed_offers,
    recipes::Recipes,
    shelf::Shelf,
    source::Validity,
};

/// Packs of one offer that are looked at, at most.
const PACKS_MAX: i128 = 400;
/// Branches that are looked at, at most.
const BRANCHES_MAX: u32 = 200_000;

/// What is needed of a material on a day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct NeededOn {
    /// The day.
    pub on: NaiveDate,
    /// kg or pieces.
    #[serde(serialize_with = "crate::figures::amount")]
    pub amount: Exact,
}

/// The cheapest way to buy a material.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct BuyPlan {
    /// The material.
    pub material: MaterialRef,
    /// The house's currency.
    pub currency: Currency,
    /// What is bought for, by day.
    pub needs: Vec<NeededOn>,
    /// Needs for which what is bought now would not keep.
    pub later: Vec<NeededOn>,
    /// What is needed in all, kg or pieces.
    #[serde(serialize_with = "crate::figures::amount")]
    pub needed: Exact,
    /// The orders, by reference and pack; empty where nothing is offered.
    pub orders: Vec<PlannedOrder>,
    /// What the orders cost landed.
    #[serde(serialize_with = "crate::figures::cost")]
    pub cost: Exact,
    /// What one order of one pack size would cost at the least; `None` where none covers it.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub one_order: Option<Exact>,
    /// Whether it is proved that nothing costs less among orders of at most 400 packs of each offer.
    pub proved: bool,
    /// Nothing can cost less than this.
    #[serde(serialize_with = "crate::figures::cost")]
    pub at_least: Exact,
}

/// One order of the cheapest way.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PlannedOrder {
    /// The quotation.
    pub quotation: QuotationId,
    /// The supplier's reference.
    pub reference: String,
    /// The supplier's name.
    pub supplier: String,
    /// What is sold as one.
    pub pack: Quantity,
    /// How many.
    pub packs: i128,
    /// All of them, kg or pieces.
    #[serde(serialize_with = "crate::figures::amount")]
    pub quantity: Exact,
    /// What they cost landed.
    #[serde(serialize_with = "crate::figures::cost")]
    pub cost: Exact,
}

/// The cheapest way to buy everything that planned runs are short of, by material code.
///
/// # Errors
/// [`EngineError`] when a figure leaves its range or a supplier is unknown.
pub fn cheapest_purchases(
    view: &View<'_>,
    shelf: &Shelf,
    request: OutlookRequest,
) -> Result<Vec<BuyPlan>, EngineError> {
    let recipes = Recipes::new(view);
    let runs = open_runs(&recipes, shelf, request.today);
    let walked = walk_outlook(&recipes, Walk::new(recipes.catalogue(), shelf), &runs, request);
    let mut plans = Vec::new();
    for (material, needs) in missing(&walked) {
        plans.push(cheapest_for(view, view.material(material)?, &needs, request.today)?);
    }
    plans.sort_by(|a, b| a.material.code.cmp(&b.material.code));
    Ok(plans)
}

fn missing(outlook: &Outlook) -> BTreeMap<MaterialId, Vec<NeededOn>> {
    let mut found: BTreeMap<MaterialId, Vec<NeededOn>> = BTreeMap::new();
    for run in &outlook.runs {
        for_each_need(run, |need, _| {
            if need.make_first.is_some() || !need.short_by.is_positive() {
                return;
            }
            let needs = found.entry(need.material).or_default();
            match needs.last_mut().filter(|last| last.on == run.on) {
                Some(last) => last.amount += need.short_by.to_exact(),
                None => needs.push(NeededOn { on: run.on, amount: need.short_by.to_exact() }),
            }
        });
    }
    found
}

/// The cheapest way to buy so much of a material, ordered on a day. The needs are in the order of their days.
///
/// # Errors
/// [`EngineError`] when a figure leaves its range or a supplier is unknown.
pub fn cheapest_for(
    view: &View<'_>,
    material: &Material,
    needs: &[NeededOn],
    today: NaiveDate,
) -> Result<BuyPlan, EngineError> {
    // What is bought comes no later than the first day it is needed, or it is too late anyway.
    let arrives = needs.first().map_or(today, |need| need.on).max(today);
    let keeps = material.shelf_life.and_then(|life| {
        let until = life.after(inspected(material, today).min(arrives))?;
        material.minimum_remaining_life.map_or(Some(until), |left| left.before(until))
    });
    let (now, later): (Vec<NeededOn>, Vec<NeededOn>) =
        needs.iter().cloned().partition(|need| keeps.is_none_or(|keeps| need.on <= keeps));
    let needed: Exact = now.iter().map(|need| &need.amount).sum();
    let mut plan = BuyPlan {
        material: MaterialRef::from(material),
        currency: view.currency(),
        needs: now,
        later,
        needed: needed.clone(),
        orders: Vec::new(),
        cost: Exact::ZERO,
        one_order: None,
        proved: true,
        at_least: Exact::ZERO,
    };
    if !needed.is_positive() {
        return Ok(plan);
    }
    let offers = offers_of(view, material, &needed, today)?;
    plan.one_order = offers
        .iter()
        .flat_map(|offer| &offer.choices)
        .filter(|choice| choice.quantity >= needed)
        .map(|choice| choice.cost.clone())
        .min();
    let mut search = Search { offers: &offers, best: None, chosen: Vec::new(), branches: 0, given_up: false };
    plan.at_least = search.bound(0, &needed).unwrap_or_default();
    search.branch(0, needed, Exact::ZERO);
    plan.proved = !search.given_up;
    if let Some((cost, chosen)) = search.best {
        plan.orders = chosen.into_iter().map(|(_, choice)| choice.order.clone()).collect();
        plan.orders.sort_by(|a, b| (&a.reference, a.pack.raw()).cmp(&(&b.reference, b.pack.raw())));
        if plan.proved {
            plan.at_least = cost.clone();
        }
        plan.cost = cost;
    }
    Ok(plan)
}

/// One pack size of one quotation, at each number of packs.
struct OfferOf {
    choices: Vec<Choice>,
    /// The least it costs per kg or piece at any of them.
    least: Exact,
}

/// So many packs.
struct Choice {
    quantity: Exact,
    cost: Exact,
    order: PlannedOrder,
}

/// Every offer that holds on the day, at each number of packs up to what covers the need alone; the cheapest per kg or piece first.
fn offers_of(
    view: &View<'_>,
    material: &Material,
    needed: &Exact,
    today: NaiveDate,
) -> Result<Vec<OfferOf>, EngineError> {
    type Key = (String, QuotationId, (bool, i64));
    let mut found: BTreeMap<Key, BTreeMap<i128, Choice>> = BTreeMap::new();
    let mut note = |demand: &Exact| -> Result<Vec<(Exact, i128)>, EngineError> {
        let (orders, _) = landed_offers(view, material, demand, today)?;
        let mut packs = Vec::new();
        for order in orders {
            let source = &order.source;
            if !matches!(source.validity, Validity::Valid { .. } | Validity::LapsesSoon { .. }) {
                continue;
            }
            let one = source.ordered.checked_div(&Exact::whole(source.packs))?;
            packs.push((one, source.packs));
            let is_count = matches!(source.pack, Quantity::Count(_));
            let key = (source.reference.clone(), source.quotation, (is_count, source.pack.raw()));
            let choice = Choice {
                quantity: source.ordered.clone(),
                cost: order.order_cost.clone(),
                order: PlannedOrder {
                    quotation: source.quotation,
                    reference: source.reference.clone(),
                    supplier: source.supplier_name.clone(),
                    pack: source.pack,
                    packs: source.packs,
                    quantity: source.ordered.clone(),
                    cost: order.order_cost.clone(),
                },
            };
            let known = found.entry(key).or_default().entry(source.packs);
            known
                .and_modify(|known| {
                    if choice.cost < known.cost {
                        *known = Choice {
                            quantity: choice.quantity.clone(),
                            cost: choice.cost.clone(),
                            order: choice.order.clone(),
                        };
                    }
                })
                .or_insert(choice);
        }
        Ok(packs)
    };
    for (one, most) in note(needed)? {
        // Down from what covers the need alone; of more than are looked at, the largest numbers.
        let first = (most - PACKS_MAX).max(0);
        for packs in (first + 1)..=most {
            note(&(&one * &Exact::whole(packs)))?;
        }
    }
    let mut offers = Vec::new();
    for choices in found.into_values() {
        let choices: Vec<Choice> = choices.into_values().collect();
        let mut least: Option<Exact> = None;
        for choice in &choices {
            let each = choice.cost.checked_div(&choice.quantity)?;
            least = Some(least.map_or_else(|| each.clone(), |least| least.min(each.clone())));
        }
        if let Some(least) = least {
            offers.push(OfferOf { choices, least });
        }
    }
    offers.sort_by(|a, b| a.least.cmp(&b.least));
    Ok(offers)
}

struct Search<'o> {
    offers: &'o [OfferOf],
    best: Option<(Exact, Vec<(usize, &'o Choice)>)>,
    chosen: Vec<(usize, &'o Choice)>,
    branches: u32,
    given_up: bool,
}

impl Search<'_> {
    /// What is missing costs at the least, with the offers from one on; `None` when there are none left.
    fn bound(&self, from: usize, missing: &Exact) -> Option<Exact> {
        // The cheapest per kg or piece stands first.
        self.offers.get(from).map(|offer| missing * &offer.least)
    }

    fn branch(&mut self, from: usize, missing: Exact, spent: Exact) {
        if !missing.is_positive() {
            if self.best.as_ref().is_none_or(|(best, _)| spent < *best) {
                self.best = Some((spent, self.chosen.clone()));
            }
            return;
        }
        if self.branches >= BRANCHES_MAX {
            self.given_up = true;
            return;
        }
        self.branches += 1;
        let Some(bound) = self.bound(from, &missing) else { return };
        if self.best.as_ref().is_some_and(|(best, _)| &spent + &bound >= *best) {
            return;
        }
        let Some(offer) = self.offers.get(from) else { return };
        // The largest first: they cover soonest, and a good answer early cuts more.
        for choice in offer.choices.iter().rev() {
            self.chosen.push((from, choice));
            self.branch(from + 1, &missing - &choice.quantity, &spent + &choice.cost);
            self.chosen.pop();
        }
        self.branch(from + 1, missing, spent);
    }
}
