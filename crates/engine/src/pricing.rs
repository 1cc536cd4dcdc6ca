//! Prices from costs and costs from prices: margin and markup kept apart, the ladder between a shelf and the maker, and what a kilogram
//! of liquid may cost when the shelf price is given.
//!
//! Going down from a shelf price: tax is taken off, then what the retailer earns, which leaves the list price; deductions of the channel
//! leave the net price; what the maker earns leaves the unit cost allowed; packaging, filling and the cost per batch leave the
//! ingredients. Going up is the same the other way round.

use kernel::{AmountError, Currency, Exact, Money, Percent};
use rust_decimal::Decimal;
use serde::{Serialize, Serializer, ser::Error as _};

use crate::{
    CostSheet, EngineError,
    cost::{LineKind, margin_at, markup_at},
    present::{PER_KG_PLACES, PER_UNIT_PLACES, PERCENT_PLACES},
};

/// What somebody earns between a cost and a price. Half of a price is as much as the whole of a cost, so each says which it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(tag = "by", content = "percent", rename_all = "kebab-case")]
pub enum Earning {
    /// (price − cost) / price; at least 0 and below 100 %.
    Margin(Percent),
    /// (price − cost) / cost; at least 0 %.
    Markup(Percent),
}

impl Earning {
    /// This, when it is one that a price can be worked out with.
    ///
    /// # Errors
    /// [`AmountError::Negative`]; [`AmountError::OutOfRange`] for a margin of 100 % or more.
    pub fn require_sound(self) -> Result<Self, AmountError> {
        match self {
            Self::Margin(margin) => margin.require_loss().map(Self::Margin),
            Self::Markup(markup) => markup.require_not_negative().map(Self::Markup),
        }
    }

    /// The price that earns it on a cost.
    ///
    /// # Errors
    /// Those of [`Earning::require_sound`].
    pub fn price(self, cost: &Exact) -> Result<Exact, AmountError> {
        match self.require_sound()? {
            Self::Margin(margin) => cost.checked_div(&(Exact::ONE - margin.fraction())),
            Self::Markup(markup) => Ok(cost * &(Exact::ONE + markup.fraction())),
        }
    }

    /// The cost that leaves it of a price.
    ///
    /// # Errors
    /// Those of [`Earning::require_sound`].
    pub fn cost(self, price: &Exact) -> Result<Exact, AmountError> {
        match self.require_sound()? {
            Self::Margin(margin) => Ok(price * &(Exact::ONE - margin.fraction())),
            Self::Markup(markup) => price.checked_div(&(Exact::ONE + markup.fraction())),
        }
    }

    /// The same as a fraction of the price.
    ///
    /// # Errors
    /// Those of [`Earning::require_sound`].
    pub fn as_margin(self) -> Result<Exact, AmountError> {
        Ok(Exact::ONE - self.cost(&Exact::ONE)?)
    }

    /// The same as a fraction of the cost.
    ///
    /// # Errors
    /// Those of [`Earning::require_sound`].
    pub fn as_markup(self) -> Result<Exact, AmountError> {
        Ok(self.price(&Exact::ONE)? - Exact::ONE)
    }
}

/// Something of the channel that comes off the list price: a distributor's share, cash discount, rebate, outbound freight.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Deduction {
    /// What to call it.
    pub name: String,
    /// How much.
    pub percent: Percent,
    /// Of what.
    pub of: DeductionOf,
}

/// What a deduction is a percent of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum DeductionOf {
    /// The list price.
    ListPrice,
    /// What the deductions before it leave.
    WhatIsLeft,
}

/// Who takes what between the maker and the shelf.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PriceChain {
    /// On top of the price without it; nought where shelf prices are without tax.
    pub tax: Percent,
    /// What the retailer earns on the list price; `None` where the maker sells to the last buyer.
    pub retailer: Option<Earning>,
    /// What comes off the list price, in order.
    pub deductions: Vec<Deduction>,
    /// What the maker earns on the unit cost.
    pub own: Earning,
}

impl PriceChain {
    /// What deductions leave of a list price of one.
    fn kept(&self) -> Result<Exact, EngineError> {
        let mut left = Exact::ONE;
        for deduction in &self.deductions {
            left = &left - &self.taken(deduction, &Exact::ONE, &left)?;
        }
        if left.is_positive() {
            return Ok(left);
        }
        Err(EngineError::QuestionDoesNotFit {
            why: "the deductions leave nothing of the list price".to_owned(),
        })
    }

    #[expect(clippy::unused_self, reason = "a deduction has a meaning only in its chain")]
    fn taken(&self, deduction: &Deduction, list: &Exact, left: &Exact) -> Result<Exact, AmountError> {
        let of = match deduction.of {
            DeductionOf::ListPrice => list,
            DeductionOf::WhatIsLeft => left,
        };
        Ok(of * &deduction.percent.require_share()?.fraction())
    }
}

/// A rung of a ladder of prices.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Step {
    /// Tax comes off; the price without tax is left.
    Tax,
    /// The retailer's earning comes off; the list price is left.
    Retailer,
    /// A deduction of the channel comes off.
    Deduction,
    /// The maker's earning comes off; the unit cost is left.
    Own,
    /// Components come off.
    Packaging,
    /// Filling and labelling come off; the liquid is left.
    Filling,
    /// The cost per batch comes off; the ingredients are left.
    CostPerBatch,
}

impl Step {
    /// The words people use for what comes off.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Tax => "tax",
            Self::Retailer => "retailer",
            Self::Deduction => "deduction",
            Self::Own => "earned here",
            Self::Packaging => "packaging",
            Self::Filling => "filling",
            Self::CostPerBatch => "cost per batch",
        }
    }

    /// A stable name for programs.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Tax => "TAX",
            Self::Retailer => "RETAILER",
            Self::Deduction => "DEDUCTION",
            Self::Own => "OWN",
            Self::Packaging => "PACKAGING",
            Self::Filling => "FILLING",
            Self::CostPerBatch => "COST_PER_BATCH",
        }
    }
}

/// What one step takes and leaves, per unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rung {
    /// The step.
    pub step: Step,
    /// What to call it.
    pub name: String,
    /// What comes off.
    pub taken: Exact,
    /// What is left. Below nought when more comes off than there is.
    pub left: Exact,
}

/// From a shelf price down to what a kilogram of liquid may cost. Money is in `currency`; nothing is rounded; as JSON it stands as
/// [`DesignToCost::print`] has it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DesignToCost {
    /// The house's currency.
    pub currency: Currency,
    /// The shelf price of one unit, tax included.
    pub shelf_price: Exact,
    /// What comes off, from the shelf down to the ingredients; it ends at the unit cost where units or a figure are not known.
    pub rungs: Vec<Rung>,
    /// The list price: what the retailer pays before deductions.
    pub list_price: Exact,
    /// What reaches the maker.
    pub net_price: Exact,
    /// What one unit may cost in all.
    pub unit_cost: Allowance,
    /// What a kilogram of liquid may cost, the cost per batch included, as `per_kg` of a cost sheet; `None` where packaging or filling
    /// is not known.
    pub liquid_per_kg: Option<Allowance>,
    /// What a kilogram of good output may cost in ingredients; `None` where packaging, filling or the cost per batch is not known.
    pub ingredients_per_kg: Option<Allowance>,
}

/// A figure that is allowed, beside the one that is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Allowance {
    /// What it may be.
    pub allowed: Exact,
    /// What it is; `None` for a sheet with gaps.
    pub current: Option<Exact>,
    /// What may be added before it is reached; below nought when it is passed.
    pub headroom: Option<Exact>,
    /// The same as a fraction of what it is; `None` at nought.
    pub headroom_share: Option<Exact>,
}

impl Allowance {
    fn new(allowed: Exact, current: Option<Exact>) -> Self {
        let headroom = current.as_ref().map(|current| &allowed - current);
        let headroom_share = headroom
            .as_ref()
            .zip(current.as_ref())
            .and_then(|(headroom, current)| headroom.checked_div(current).ok());
        Self { allowed, current, headroom, headroom_share }
    }
}

/// What a unit and a kilogram of its liquid may cost at a shelf price, beside what the sheet says they cost.
///
/// # Errors
/// [`EngineError::QuestionDoesNotFit`] for a sheet without a pack or deductions that leave nothing;
/// [`AmountError::CurrencyMismatch`] for a price in another currency than the sheet; [`EngineError::Amount`] for percents that are none.
pub fn design_to_cost(
    sheet: &CostSheet,
    shelf_price: Money,
    chain: &PriceChain,
) -> Result<DesignToCost, EngineError> {
    if sheet.subject.pack.is_none() {
        return Err(EngineError::QuestionDoesNotFit {
            why: "a shelf price is of a pack; cost one to work back to its liquid".to_owned(),
        });
    }
    if shelf_price.currency() != sheet.currency {
        return Err(AmountError::CurrencyMismatch(shelf_price.currency(), sheet.currency).into());
    }
    let shelf_price = shelf_price.to_exact();
    let mut ladder = Ladder { rungs: Vec::new(), left: shelf_price.clone() };

    let without_tax =
        shelf_price.checked_div(&(Exact::ONE + chain.tax.require_not_negative()?.fraction()))?;
    ladder.down_to(Step::Tax, None, without_tax);
    if let Some(retailer) = chain.retailer {
        let list = retailer.cost(&ladder.left)?;
        ladder.down_to(Step::Retailer, None, list);
    }
    let list_price = ladder.left.clone();
    chain.kept()?;
    for deduction in &chain.deductions {
        let taken = chain.taken(deduction, &list_price, &ladder.left)?;
        let left = &ladder.left - &taken;
        ladder.down_to(Step::Deduction, Some(&deduction.name), left);
    }
    let net_price = ladder.left.clone();
    let unit_cost = chain.own.cost(&net_price)?;
    ladder.down_to(Step::Own, None, unit_cost.clone());

    let mut answer = DesignToCost {
        currency: sheet.currency,
        shelf_price,
        rungs: Vec::new(),
        list_price,
        net_price,
        unit_cost: Allowance::new(unit_cost, sheet.totals.per_unit.clone().filter(|_| sheet.complete)),
        liquid_per_kg: None,
        ingredients_per_kg: None,
    };
    if let Some(filling) = &sheet.filling {
        let units = Exact::whole(filling.units);
        // What one unit carries of the good output, filling loss and what is left over with it.
        let kg_per_unit = sheet.batch.good.checked_div(&units)?;
        let known = |kind: LineKind| sheet.lines.iter().all(|line| line.kind != kind || !line.partial);
        let totals = &sheet.totals;
        if known(LineKind::Component) && known(LineKind::LineLabour) {
            ladder.take(Step::Packaging, &totals.components.checked_div(&units)?);
            ladder.take(Step::Filling, &totals.line_labour.checked_div(&units)?);
            let current = Some(totals.per_kg.clone()).filter(|_| sheet.complete);
            answer.liquid_per_kg = Some(Allowance::new(ladder.left.checked_div(&kg_per_unit)?, current));
            if known(LineKind::CostPerBatch) {
                ladder.take(Step::CostPerBatch, &totals.making.checked_div(&units)?);
                let current = totals.ingredients.checked_div(&sheet.batch.good)?;
                let current = Some(current).filter(|_| sheet.complete);
                answer.ingredients_per_kg =
                    Some(Allowance::new(ladder.left.checked_div(&kg_per_unit)?, current));
            }
        }
    }
    answer.rungs = ladder.rungs;
    Ok(answer)
}

struct Ladder {
    rungs: Vec<Rung>,
    left: Exact,
}

impl Ladder {
    fn down_to(&mut self, step: Step, name: Option<&str>, left: Exact) {
        let name = name.unwrap_or(step.words()).to_owned();
        self.rungs.push(Rung { step, name, taken: &self.left - &left, left: left.clone() });
        self.left = left;
    }

    fn take(&mut self, step: Step, taken: &Exact) {
        let left = &self.left - taken;
        self.down_to(step, None, left);
    }
}

/// Prices from a unit cost up to the shelf.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PriceLadder {
    /// What one unit costs.
    #[serde(serialize_with = "crate::figures::cost")]
    pub unit_cost: Exact,
    /// What has to reach the maker.
    #[serde(serialize_with = "crate::figures::cost")]
    pub net_price: Exact,
    /// What the retailer pays before deductions.
    #[serde(serialize_with = "crate::figures::cost")]
    pub list_price: Exact,
    /// The shelf price without tax.
    #[serde(serialize_with = "crate::figures::cost")]
    pub without_tax: Exact,
    /// The shelf price.
    #[serde(serialize_with = "crate::figures::cost")]
    pub shelf_price: Exact,
    /// What the maker earns, as a fraction of the net price (percent in JSON).
    #[serde(serialize_with = "crate::figures::optional_percent")]
    pub margin: Option<Exact>,
    /// What the maker earns, as a fraction of the unit cost (percent in JSON).
    #[serde(serialize_with = "crate::figures::optional_percent")]
    pub markup: Option<Exact>,
}

/// The prices that a unit cost asks for along a chain.
///
/// # Errors
/// [`EngineError::QuestionDoesNotFit`] for deductions that leave nothing; [`EngineError::Amount`] for percents that are none.
pub fn price_ladder(unit_cost: &Exact, chain: &PriceChain) -> Result<PriceLadder, EngineError> {
    let net_price = chain.own.price(unit_cost)?;
    let list_price = net_price.checked_div(&chain.kept()?)?;
    let without_tax = match chain.retailer {
        Some(retailer) => retailer.price(&list_price)?,
        None => list_price.clone(),
    };
    let shelf_price = &without_tax * &(Exact::ONE + chain.tax.require_not_negative()?.fraction());
    Ok(PriceLadder {
        margin: margin_at(&net_price, unit_cost),
        markup: markup_at(&net_price, unit_cost),
        unit_cost: unit_cost.clone(),
        net_price,
        list_price,
        without_tax,
        shelf_price,
    })
}

/// What a price has to become when a cost changes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PriceToHold {
    /// (price − cost) / price before, as a fraction of one (percent in JSON).
    #[serde(serialize_with = "crate::figures::optional_percent")]
    pub margin_before: Option<Exact>,
    /// The same at the new cost, should the price stay.
    #[serde(serialize_with = "crate::figures::optional_percent")]
    pub margin_after: Option<Exact>,
    /// The price that keeps the margin in percent; `None` at a cost of nought before.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub to_hold_margin: Option<Exact>,
    /// The price that keeps the money earned on a unit.
    #[serde(serialize_with = "crate::figures::cost")]
    pub to_hold_cash: Exact,
}

/// The prices that keep the margin, and the money earned, as they were at another cost.
pub fn price_to_hold(price: &Exact, cost_before: &Exact, cost_after: &Exact) -> PriceToHold {
    // margin = 1 − cost / price, so the price moves as the cost does.
    let ratio = cost_after.checked_div(cost_before).ok();
    PriceToHold {
        margin_before: margin_at(price, cost_before),
        margin_after: margin_at(price, cost_after),
        to_hold_margin: ratio.map(|ratio| price * &ratio),
        to_hold_cash: price + &(cost_after - cost_before),
    }
}

/// A design to cost as it is printed: what is left is rounded at each rung, and what comes off is the difference of two of those.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedDesign {
    /// All money is in it.
    pub currency: Currency,
    /// The shelf price of one unit, tax included.
    pub shelf_price: Decimal,
    /// From the shelf down.
    pub rungs: Vec<PrintedRung>,
    /// What one unit may cost.
    pub unit_cost: PrintedAllowance,
    /// What a kilogram of liquid may cost, the cost per batch included.
    pub liquid_per_kg: Option<PrintedAllowance>,
    /// What a kilogram of good output may cost in ingredients.
    pub ingredients_per_kg: Option<PrintedAllowance>,
}

/// One rung as it is printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedRung {
    /// A stable name.
    pub step: &'static str,
    /// What to call it.
    pub name: String,
    /// What comes off.
    pub taken: Decimal,
    /// What is left.
    pub left: Decimal,
}

/// An allowance as it is printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedAllowance {
    /// What it may be.
    pub allowed: Decimal,
    /// What it is.
    pub current: Option<Decimal>,
    /// The difference of the two, both as printed.
    pub headroom: Option<Decimal>,
    /// The same as percent of what it is.
    pub headroom_percent: Option<Decimal>,
}

impl DesignToCost {
    /// The figures as they are printed.
    ///
    /// # Errors
    /// [`EngineError::Amount`] when a figure is too large to print.
    pub fn print(&self) -> Result<PrintedDesign, EngineError> {
        let shelf_price = self.shelf_price.round_half_even(PER_UNIT_PLACES)?;
        let mut above = shelf_price;
        let mut rungs = Vec::with_capacity(self.rungs.len());
        for rung in &self.rungs {
            let left = rung.left.round_half_even(PER_UNIT_PLACES)?;
            let step = rung.step.code();
            rungs.push(PrintedRung { step, name: rung.name.clone(), taken: above - left, left });
            above = left;
        }
        let per_kg = |allowance: &Option<Allowance>| {
            allowance.as_ref().map(|allowance| allowance.print(PER_KG_PLACES)).transpose()
        };
        Ok(PrintedDesign {
            currency: self.currency,
            shelf_price,
            rungs,
            unit_cost: self.unit_cost.print(PER_UNIT_PLACES)?,
            liquid_per_kg: per_kg(&self.liquid_per_kg)?,
            ingredients_per_kg: per_kg(&self.ingredients_per_kg)?,
        })
    }
}

impl Allowance {
    fn print(&self, places: u32) -> Result<PrintedAllowance, EngineError> {
        let allowed = self.allowed.round_half_even(places)?;
        let current = self.current.as_ref().map(|current| current.round_half_even(places)).transpose()?;
        let share = self.headroom_share.as_ref().map(|share| share * &Exact::whole(100));
        Ok(PrintedAllowance {
            allowed,
            current,
            headroom: current.map(|current| allowed - current),
            headroom_percent: share.map(|share| share.round_half_even(PERCENT_PLACES)).transpose()?,
        })
    }
}

impl Serialize for DesignToCost {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.print().map_err(S::Error::custom)?.serialize(serializer)
    }
}
