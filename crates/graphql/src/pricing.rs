//! Prices from costs, and costs from prices: margin and markup kept apart, tax stated, what the channel takes off in between.

use async_graphql::{Enum, InputObject, OneofObject, SimpleObject};
use engine::{
    CostSheet as Row,
    present::PER_UNIT_PLACES,
    pricing::{
        Deduction, DeductionOf as Of, Earning, PriceChain, PrintedAllowance, Step as Kind, design_to_cost,
        price_ladder,
    },
};
use kernel::{AmountError, Currency, Exact, Percent};

use crate::{
    amounts::{Money, MoneyInput},
    changes::Reading,
    compare::{in_house, percent},
    costing::money,
    errors::Result,
    scalars::{CurrencyCode, Decimal},
};

/// What somebody earns between a cost and a price. Half of a price is as much as the whole of a cost, so say which it is.
#[derive(OneofObject, Debug, Clone, Copy)]
pub enum EarningInput {
    /// (price − cost) / price, %: at least 0 and below 100.
    MarginPercent(Decimal),
    /// (price − cost) / cost, %: at least 0.
    MarkupPercent(Decimal),
}

/// What a deduction is a percent of.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq, Default)]
#[graphql(remote = "Of")]
pub enum DeductionOf {
    /// The list price.
    #[default]
    ListPrice,
    /// What the deductions before it leave.
    WhatIsLeft,
}

/// Something of the channel that comes off the list price: a distributor's share, cash discount, rebate, outbound freight.
#[derive(InputObject, Debug, Clone)]
pub struct DeductionInput {
    /// What to call it.
    pub name: String,
    /// How much, %.
    pub percent: Decimal,
    /// Of what.
    #[graphql(default)]
    pub of: DeductionOf,
}

/// Who takes what between the maker and the shelf.
#[derive(InputObject, Debug, Clone)]
pub struct PriceChainInput {
    /// Tax on top of the price without it, %; nought where shelf prices are without tax.
    pub tax_percent: Decimal,
    /// What the retailer earns on the list price; nobody where the maker sells to the last buyer.
    pub retailer: Option<EarningInput>,
    /// What comes off the list price, in order; at most 20.
    pub deductions: Option<Vec<DeductionInput>>,
    /// What the maker earns on the unit cost.
    pub own: EarningInput,
}

/// Deductions of one chain at most.
const DEDUCTIONS_MAX: usize = 20;

impl EarningInput {
    fn read(self) -> std::result::Result<Earning, AmountError> {
        let earning = match self {
            Self::MarginPercent(figure) => Earning::Margin(Percent::from_percent(figure.0)?),
            Self::MarkupPercent(figure) => Earning::Markup(Percent::from_percent(figure.0)?),
        };
        earning.require_sound()
    }
}

impl PriceChainInput {
    fn read(self) -> Result<PriceChain> {
        let mut reading = Reading::default();
        let tax = Percent::from_percent(self.tax_percent.0).and_then(Percent::require_not_negative);
        let tax = reading.take("chain.taxPercent", tax);
        let retailer = reading.optional("chain.retailer", self.retailer.map(EarningInput::read));
        let own = reading.take("chain.own", self.own.read());
        let given = self.deductions.unwrap_or_default();
        if given.len() > DEDUCTIONS_MAX {
            reading.push("chain.deductions", format!("at most {DEDUCTIONS_MAX} deductions"));
        }
        let mut deductions = Vec::with_capacity(given.len());
        for (at, deduction) in given.into_iter().enumerate() {
            let place = format!("chain.deductions[{at}]");
            let share = Percent::from_percent(deduction.percent.0).and_then(Percent::require_share);
            let name = domain::text::name("a deduction", &deduction.name);
            let name = reading.take(&format!("{place}.name"), name);
            if let Some((percent, name)) = reading.take(&format!("{place}.percent"), share).zip(name) {
                deductions.push(Deduction { name, percent, of: deduction.of.into() });
            }
        }
        let read = tax.zip(retailer).zip(own);
        let ((tax, retailer), own) = reading.finish(read)?;
        Ok(PriceChain { tax, retailer, deductions, own })
    }
}

/// The prices that a unit cost asks for along a chain, per unit to 4 places.
#[derive(SimpleObject)]
pub struct PriceLadder {
    /// What one unit costs.
    pub unit_cost: Money,
    /// What has to reach the maker.
    pub net_price: Money,
    /// What the retailer (or the last buyer) pays before deductions.
    pub list_price: Money,
    /// The shelf price without tax.
    pub without_tax: Money,
    /// The shelf price, tax included.
    pub shelf_price: Money,
    /// The tax that is included, % of the price without it.
    pub tax_percent: Decimal,
    /// What the maker earns, % of the net price, to 2 places; null at a price of nought.
    pub margin_percent: Option<Decimal>,
    /// What the maker earns, % of the unit cost, to 2 places; null at a cost of nought.
    pub markup_percent: Option<Decimal>,
}

/// The ladder of a sheet; `None` without a whole cost of a unit.
pub(crate) fn ladder(sheet: &Row, chain: PriceChainInput) -> Result<Option<PriceLadder>> {
    let tax_percent = chain.tax_percent;
    let chain = chain.read()?;
    let Some(cost) = sheet.totals.per_unit.as_ref().filter(|_| sheet.complete) else { return Ok(None) };
    let found = price_ladder(cost, &chain)?;
    let money = |value: &Exact| Money::rounded(value, PER_UNIT_PLACES, sheet.currency);
    Ok(Some(PriceLadder {
        unit_cost: money(&found.unit_cost)?,
        net_price: money(&found.net_price)?,
        list_price: money(&found.list_price)?,
        without_tax: money(&found.without_tax)?,
        shelf_price: money(&found.shelf_price)?,
        tax_percent,
        margin_percent: percent(found.margin.as_ref())?,
        markup_percent: percent(found.markup.as_ref())?,
    }))
}

/// What comes off on the way down from a shelf price.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "Kind")]
pub enum PriceStep {
    /// Tax; the price without tax is left.
    Tax,
    /// What the retailer earns; the list price is left.
    Retailer,
    /// A deduction of the channel.
    Deduction,
    /// What the maker earns; the unit cost is left.
    Own,
    /// Components.
    Packaging,
    /// Filling and labelling; the liquid is left.
    Filling,
    /// The cost of making the batch; the ingredients are left.
    CostPerBatch,
}

/// What one step takes and leaves of the price of one unit, to 4 places.
#[derive(SimpleObject)]
pub struct PriceRung {
    /// The step.
    pub step: PriceStep,
    /// What to call it.
    pub name: String,
    /// What comes off.
    pub taken: Money,
    /// What is left; below nought when more comes off than there is.
    pub left: Money,
}

/// What a figure may be, beside what it is.
#[derive(SimpleObject)]
pub struct CostAllowance {
    /// What it may be.
    pub allowed: Money,
    /// What it is; null for a cost with gaps.
    pub current: Option<Money>,
    /// What may be added before it is reached, both as printed; below nought when it is passed.
    pub headroom: Option<Money>,
    /// The same, % of what it is, to 2 places; null at nought.
    pub headroom_percent: Option<Decimal>,
}

impl CostAllowance {
    fn of(allowance: &PrintedAllowance, currency: Currency) -> Self {
        let money = |amount| money(amount, currency);
        Self {
            allowed: money(allowance.allowed),
            current: allowance.current.map(money),
            headroom: allowance.headroom.map(money),
            headroom_percent: allowance.headroom_percent.map(Decimal),
        }
    }
}

/// From a shelf price back to what one unit, and one kg of its liquid, may cost.
#[derive(SimpleObject)]
pub struct DesignToCost {
    /// The house's currency.
    pub currency: CurrencyCode,
    /// The shelf price of one unit, tax included.
    pub shelf_price: Money,
    /// The tax that is included, % of the price without it.
    pub tax_percent: Decimal,
    /// What comes off, from the shelf down to the ingredients; it ends at the unit cost where units or a figure are not known.
    pub rungs: Vec<PriceRung>,
    /// What one unit may cost in all.
    pub unit_cost: CostAllowance,
    /// What one kg of liquid may cost, the cost of making the batch included, as `perKg` of the sheet; null where packaging or filling
    /// is not known.
    pub liquid_per_kg: Option<CostAllowance>,
    /// What one kg of good output may cost in ingredients; null where packaging, filling or making is not known.
    pub ingredients_per_kg: Option<CostAllowance>,
}

/// Back from a shelf price along a chain.
pub(crate) fn design(sheet: &Row, shelf_price: MoneyInput, chain: PriceChainInput) -> Result<DesignToCost> {
    let tax_percent = chain.tax_percent;
    let shelf_price = in_house(shelf_price, sheet.currency, "shelfPrice")?;
    let exact = design_to_cost(sheet, shelf_price, &chain.read()?)?;
    let (printed, currency) = (exact.print()?, sheet.currency);
    let money = |amount| money(amount, currency);
    let rungs = exact.rungs.iter().zip(&printed.rungs).map(|(rung, printed)| PriceRung {
        step: rung.step.into(),
        name: printed.name.clone(),
        taken: money(printed.taken),
        left: money(printed.left),
    });
    Ok(DesignToCost {
        currency: CurrencyCode(currency),
        shelf_price: money(printed.shelf_price),
        tax_percent,
        rungs: rungs.collect(),
        unit_cost: CostAllowance::of(&printed.unit_cost, currency),
        liquid_per_kg: printed.liquid_per_kg.as_ref().map(|one| CostAllowance::of(one, currency)),
        ingredients_per_kg: printed.ingredients_per_kg.as_ref().map(|one| CostAllowance::of(one, currency)),
    })
}
