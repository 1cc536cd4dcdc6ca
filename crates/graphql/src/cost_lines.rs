//! Lines of cost sheets, with where each figure comes from and which offers were looked at for it.

use std::sync::Arc;

use async_graphql::{Context, Enum, Object, SimpleObject};
use engine::{
    Source as EngineSource,
    batch_costs::CostOf as Of,
    cost::{CostLine as Line, LineKind},
    present::PrintedLine,
};
use kernel::{Currency, Exact};

use crate::{
    amounts::{Money, Quantity, UnitPrice, unit_of},
    costing::{Asked, money, unrounded, unrounded_percent},
    errors::Result,
    materials::{Material, material_of},
    notes::Gap,
    quotations::{Quotation, quotation_of},
    scalars::{CurrencyCode, Decimal, Unit},
    sources::{PRICE_PLACES, Source, Validity, quantity, unit_price},
};

/// What a line of a cost sheet is.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "LineKind")]
pub enum CostLineKind {
    /// A line of the formula.
    Ingredient,
    /// Labour, cleaning, tests and disposal of the batch.
    CostPerBatch,
    /// A bottle, closure, label or case.
    Component,
    /// Filling and labelling.
    LineLabour,
}

/// What a line of making or filling is for.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "Of")]
pub enum CostOf {
    /// The one figure entered for a batch.
    CostPerBatch,
    /// People making the batch.
    Labour,
    /// Vessel, mixer, energy.
    Machine,
    /// Cleaning.
    Cleaning,
    /// Tests.
    Tests,
    /// Disposal of waste.
    Disposal,
    /// Another named cost.
    Other,
    /// A part of what is shared by everything.
    Overhead,
    /// People at the filling line.
    LineLabour,
    /// The filling line.
    LineMachine,
    /// Setting up and cleaning the line for a run.
    Changeover,
}

/// How it stands with the quotations behind a figure: as with the worst of them.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "engine::source::Standing")]
pub enum Standing {
    /// All hold, with no end near.
    Valid,
    /// One ends soon.
    LapsesSoon,
    /// One does not hold yet.
    #[graphql(name = "NOT_YET_VALID")]
    NotYet,
    /// One no longer holds.
    Lapsed,
    /// Something has no price at all.
    NoPrice,
}

/// A line of a cost sheet.
pub struct CostLine {
    asked: Arc<Asked>,
    currency: Currency,
    line: Line,
    printed: PrintedLine,
}

/// Lines of a sheet, or those of an intermediate on it.
pub(crate) fn cost_lines(
    asked: &Arc<Asked>,
    currency: Currency,
    lines: &[Line],
    printed: &[PrintedLine],
) -> Vec<CostLine> {
    let one = |(line, printed): (&Line, &PrintedLine)| CostLine {
        asked: Arc::clone(asked),
        currency,
        line: line.clone(),
        printed: printed.clone(),
    };
    lines.iter().zip(printed).map(one).collect()
}

/// One line of a cost sheet, as printed.
#[Object]
impl CostLine {
    /// What it is.
    async fn kind(&self) -> CostLineKind {
        self.line.kind.into()
    }

    /// What to call it: the material's code and name, or what kind of cost it is.
    async fn label(&self) -> &str {
        &self.printed.label
    }

    /// What a line of making or filling is for; null for other lines.
    async fn cost_of(&self) -> Option<CostOf> {
        self.line.cost_of.map(Into::into)
    }

    /// The formula line's position; null for other lines.
    async fn position(&self) -> Option<u32> {
        self.line.position
    }

    /// The formula line's phase.
    async fn phase(&self) -> Option<&str> {
        self.line.phase.as_deref()
    }

    /// The ingredient or component; null for labour.
    async fn material(&self, ctx: &Context<'_>) -> Result<Option<Material>> {
        self.line.material.as_ref().map(|material| material_of(ctx, material.id)).transpose()
    }

    /// How much of it the batch takes, in `unit`, to 6 places; null where a gap stands in the way, or for labour.
    async fn amount(&self) -> Option<Decimal> {
        self.printed.amount.map(Decimal)
    }

    /// How much of it one unit takes, in `unit`, to 6 places; only for a pack.
    async fn amount_per_unit(&self) -> Option<Decimal> {
        self.printed.amount_per_unit.map(Decimal)
    }

    /// kg or {each}; null for labour.
    async fn unit(&self) -> Option<Unit> {
        self.line.dimension.map(unit_of)
    }

    /// What a kg or a piece of it costs landed, to 6 places; partial when `partial`.
    async fn unit_cost(&self) -> Option<Money> {
        self.printed.unit_cost.map(|amount| money(amount, self.currency))
    }

    /// What the batch's amount costs, to the currency's minor unit; the lines add up to the total per batch. Partial when `partial`,
    /// null when nothing of it is known.
    async fn value(&self) -> Option<Money> {
        self.printed.value.map(|amount| money(amount, self.currency))
    }

    /// What of it falls on one unit, to 4 places; the lines add up to the total per unit. Only for a pack.
    async fn value_per_unit(&self) -> Option<Money> {
        self.printed.value_per_unit.map(|amount| money(amount, self.currency))
    }

    /// Its part of the total (the partial one when gaps remain), %, to 2 places; the lines add up to 100.
    async fn share_percent(&self) -> Option<Decimal> {
        self.printed.share_percent.map(Decimal)
    }

    /// The figures for calculating on.
    async fn unrounded(&self) -> Result<UnroundedLine> {
        let figure = |value: &Option<Exact>| value.as_ref().map(unrounded).transpose();
        Ok(UnroundedLine {
            amount: figure(&self.line.amount)?,
            amount_per_unit: figure(&self.line.amount_per_unit)?,
            unit_cost: figure(&self.line.unit_cost)?,
            value: figure(&self.line.value)?,
            value_per_unit: figure(&self.line.value_per_unit)?,
            share_percent: self.line.share.as_ref().map(unrounded_percent).transpose()?,
        })
    }

    /// Where its unit cost comes from.
    async fn source(&self) -> Source {
        Source::from(&self.line.source)
    }

    /// How it stands with the quotations behind the figure, through an intermediate too: as with the worst of them. Null when it rests
    /// on none.
    async fn standing(&self) -> Option<Standing> {
        self.line.standing.map(Into::into)
    }

    /// Every offer that was looked at for the price, the one chosen first, and why each of the others was not taken. Empty for a line
    /// that is not priced from a quotation.
    #[graphql(complexity = "crate::limits::calculation(crate::limits::list(child_complexity))")]
    async fn offers_considered(&self) -> Result<Vec<OfferConsidered>> {
        let (EngineSource::Quotation(source), Some(material)) = (&self.line.source, &self.line.material)
        else {
            return Ok(Vec::new());
        };
        let Asked { costing, question } = &*self.asked;
        let considered = costing.offers_considered(question, material.id, source)?;
        let dimension = source.dimension;
        let one = |offer| OfferConsidered { offer, dimension, currency: self.currency };
        Ok(considered.into_iter().map(one).collect())
    }

    /// What is missing here or beneath.
    async fn gaps(&self) -> Vec<Gap> {
        self.line.gaps.iter().map(Gap::from).collect()
    }

    /// Whether something is missing here or beneath.
    async fn partial(&self) -> bool {
        self.line.partial
    }

    /// The lines of an intermediate made here, with the amounts that stand behind this line. Their values add up to this line's.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn nested(&self) -> Vec<CostLine> {
        cost_lines(&self.asked, self.currency, &self.line.nested, &self.printed.nested)
    }
}

/// Figures of a line for calculating on, in the sheet's currency: half to even to 9 places, fewer where the figure is too large for
/// them.
#[derive(SimpleObject)]
pub struct UnroundedLine {
    /// For the batch, kg or pieces.
    pub amount: Option<Decimal>,
    /// For one unit, kg or pieces.
    pub amount_per_unit: Option<Decimal>,
    /// Per kg or piece.
    pub unit_cost: Option<Decimal>,
    /// For the batch.
    pub value: Option<Decimal>,
    /// For one unit.
    pub value_per_unit: Option<Decimal>,
    /// Part of the total, %.
    pub share_percent: Option<Decimal>,
}

/// What became of an offer when a price was looked for.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum OfferOutcome {
    /// Its order costs least; it was taken.
    Chosen,
    /// Its order costs more.
    Dearer,
    /// Its quotation does not hold on the day, and another is preferred.
    NotHolding,
    /// The order does not reach its price break.
    BreakNotReached,
    /// The order reaches a higher break of the same pack.
    HigherBreakReached,
    /// Something is missing to work it out.
    SetAside,
}

/// An offer that was looked at for a price.
pub struct OfferConsidered {
    offer: engine::price::Considered,
    dimension: kernel::Dimension,
    currency: Currency,
}

/// An offer that was looked at for a price, and what became of it. Whole packs are taken of each, to at least the quantity and the
/// minimum order, and the order that costs least, landed, is taken.
#[Object]
impl OfferConsidered {
    /// The quotation.
    async fn quotation(&self, ctx: &Context<'_>) -> Result<Quotation> {
        quotation_of(ctx, self.offer.quotation)
    }

    /// What is sold as one.
    async fn pack(&self) -> Quantity {
        Quantity(self.offer.pack)
    }

    /// The price as offered, and what it is the price of.
    async fn price(&self) -> Result<UnitPrice> {
        Ok(UnitPrice {
            amount: Decimal::rounded(&self.offer.price, PRICE_PLACES)?,
            currency: CurrencyCode(self.offer.currency),
            per: Quantity(self.offer.price_per),
        })
    }

    /// The order quantity from which the price holds; null from one pack.
    async fn from_quantity(&self) -> Option<Quantity> {
        self.offer.from_quantity.map(Quantity)
    }

    /// How it stands with the quotation on the day.
    async fn validity(&self) -> Validity {
        Validity(self.offer.validity)
    }

    /// What its whole packs come to, kg or pieces; null where there is no order of it.
    async fn ordered(&self) -> Result<Option<Quantity>> {
        let order = self.offer.order.as_ref();
        order.map(|order| quantity(&order.source.ordered, self.dimension)).transpose()
    }

    /// What its order costs landed, in the house's currency; null where there is none.
    async fn order_cost(&self) -> Result<Option<Money>> {
        let order = self.offer.order.as_ref();
        order.map(|order| Money::rounded(&order.order_cost, kernel::Money::PLACES, self.currency)).transpose()
    }

    /// Landed, per kg or piece, in the house's currency; null where there is no order of it.
    async fn unit_cost(&self) -> Result<Option<UnitPrice>> {
        let order = self.offer.order.as_ref();
        order.map(|order| unit_price(&order.per_unit, self.dimension, self.currency)).transpose()
    }

    /// What became of it.
    async fn outcome(&self) -> OfferOutcome {
        use engine::price::Outcome as O;
        match self.offer.outcome {
            O::Chosen => OfferOutcome::Chosen,
            O::Dearer { .. } => OfferOutcome::Dearer,
            O::NotHolding { .. } => OfferOutcome::NotHolding,
            O::BreakNotReached { .. } => OfferOutcome::BreakNotReached,
            O::HigherBreakReached => OfferOutcome::HigherBreakReached,
            O::SetAside { .. } => OfferOutcome::SetAside,
        }
    }

    /// Why, in a sentence for a person.
    async fn why(&self) -> String {
        self.offer.outcome.to_string()
    }
}
