//! Cost sheets.

use std::sync::Arc;

use async_graphql::{Context, Enum, Object, SimpleObject};
use engine::{
    CostRequest, View,
    cost::{CostLine as Line, LineKind},
    present::{PrintedCostSheet, PrintedLine, cost_sheet as print},
};
use kernel::{Currency, Exact, Mass};

use crate::{
    amounts::{Money, QuantityInput},
    caller::Desk,
    errors::Result,
    formulas::{Formula, FormulaVersion, formula_of},
    materials::{Material, material_of},
    notes::{Gap, Note},
    packs::{Pack, pack_of},
    scalars::{CurrencyCode, Date, Decimal, Unit},
    sources::{RateUsed, Source},
};

/// Decimal places of figures that are given for calculating on; fewer where the figure is too large for them.
const UNROUNDED_PLACES: [u32; 5] = [9, 6, 4, 2, 0];

/// The batch of a question: a mass above nought.
pub(crate) fn batch(batch: Option<QuantityInput>) -> Result<Option<Mass>> {
    let read = |batch: QuantityInput| batch.mass()?.require_positive();
    Ok(batch.map(read).transpose().map_err(|error| app::Error::invalid("batch", error))?)
}

/// A figure for calculating on.
pub(crate) fn unrounded(value: &Exact) -> Result<Decimal> {
    let mut last = None;
    for places in UNROUNDED_PLACES {
        match value.round_half_even(places) {
            Ok(figure) => return Ok(Decimal(figure)),
            Err(error) => last = Some(error),
        }
    }
    Err(last.map_or_else(|| crate::errors::internal("a figure without places"), Into::into))
}

/// A fraction of one as a percent for calculating on.
pub(crate) fn unrounded_percent(fraction: &Exact) -> Result<Decimal> {
    unrounded(&(fraction * &Exact::whole(100)))
}

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

/// A cost sheet.
pub struct CostSheet {
    sheet: Arc<engine::CostSheet>,
    printed: Arc<PrintedCostSheet>,
}

impl CostSheet {
    /// Works a sheet out from the catalogue at hand.
    pub(crate) fn ask(ctx: &Context<'_>, request: &CostRequest) -> Result<Self> {
        let catalogue = ctx.catalogue()?;
        let sheet = engine::cost_sheet(&View::plain(&catalogue), request)?;
        let printed = print(&sheet)?;
        Ok(Self { sheet: Arc::new(sheet), printed: Arc::new(printed) })
    }
}

/// What a batch, a kilogram, a litre, a unit and a case costs, line by line. Money is in the house's currency. Figures are as printed:
/// rounded once, half to even, and lines add up to their totals; `unrounded` has the figures for calculating on.
#[Object]
impl CostSheet {
    /// The formula.
    async fn formula(&self, ctx: &Context<'_>) -> Result<Formula> {
        formula_of(ctx, self.sheet.subject.formula)
    }

    /// The version costed.
    async fn version(&self, ctx: &Context<'_>) -> Result<FormulaVersion> {
        FormulaVersion::find(ctx, self.sheet.subject.version)
    }

    /// The pack costed; null for the liquid alone.
    async fn pack(&self, ctx: &Context<'_>) -> Result<Option<Pack>> {
        self.sheet.subject.pack.map(|id| pack_of(ctx, id)).transpose()
    }

    /// The day whose prices, rates and approved versions were taken.
    async fn as_of(&self) -> Date {
        Date(self.sheet.as_of)
    }

    /// The house's currency.
    async fn currency(&self) -> CurrencyCode {
        CurrencyCode(self.sheet.currency)
    }

    /// The version of the catalogue it was worked out from.
    async fn catalogue_version(&self) -> Decimal {
        Decimal::whole(self.sheet.catalogue_version)
    }

    /// Whether nothing is missing. When it is not, every total is a partial total.
    async fn complete(&self) -> bool {
        self.sheet.complete
    }

    /// Everything put in, kg: process loss, heel and good output.
    async fn charged_kg(&self) -> Decimal {
        Decimal(self.printed.charged_kg)
    }

    /// Lost in proportion to the batch, kg.
    async fn process_loss_kg(&self) -> Decimal {
        Decimal(self.printed.process_loss_kg)
    }

    /// Left in vessel, pump and hoses whatever the batch size, kg.
    async fn heel_kg(&self) -> Decimal {
        Decimal(self.printed.heel_kg)
    }

    /// What reaches the filler or the shelf, kg.
    async fn good_output_kg(&self) -> Decimal {
        Decimal(self.printed.good_output_kg)
    }

    /// Density of the finished liquid, kg/L; null when it is not known.
    #[graphql(name = "densityKgPerL")]
    async fn density_kg_per_l(&self) -> Option<Decimal> {
        self.printed.density_kg_per_litre.map(Decimal)
    }

    /// What the batch fills; null for the liquid alone, or where a gap stands in the way.
    async fn filling(&self) -> Option<CostFilling> {
        self.printed.filling.as_ref().map(|filling| CostFilling {
            fill_mass_kg: Decimal(filling.fill_mass_kg),
            filling_loss_kg: Decimal(filling.filling_loss_kg),
            units: Decimal(filling.units),
            left_over_kg: Decimal(filling.left_over_kg),
        })
    }

    /// Ingredients, cost per batch, components, line labour, in this order.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn lines(&self) -> Vec<CostLine> {
        cost_lines(self.sheet.currency, &self.sheet.lines, &self.printed.lines)
    }

    /// The sums.
    async fn totals(&self) -> Result<CostTotals> {
        let (printed, exact, currency) = (&self.printed.totals, &self.sheet.totals, self.sheet.currency);
        let money = |amount| money(amount, currency);
        Ok(CostTotals {
            ingredients: money(printed.ingredients),
            making: money(printed.making),
            components: money(printed.components),
            line_labour: money(printed.line_labour),
            per_batch: money(printed.per_batch),
            per_kg: money(printed.per_kg),
            per_litre: printed.per_litre.map(money),
            per_unit: printed.per_unit.map(money),
            per_case: printed.per_case.map(money),
            unrounded: UnroundedTotals {
                per_batch: unrounded(&exact.per_batch)?,
                per_kg: unrounded(&exact.per_kg)?,
                per_litre: exact.per_litre.as_ref().map(unrounded).transpose()?,
                per_unit: exact.per_unit.as_ref().map(unrounded).transpose()?,
                per_case: exact.per_case.as_ref().map(unrounded).transpose()?,
            },
        })
    }

    /// What is earned at the price; null for the liquid alone, without a price, or while the cost is partial.
    async fn margin(&self) -> Option<Margin> {
        let printed = self.printed.margin.as_ref()?;
        let rate = self.sheet.margin.as_ref().and_then(|margin| margin.rate.clone());
        Some(Margin {
            price: money(printed.price, printed.price_currency),
            price_in_house_currency: money(printed.price_in_house_currency, self.sheet.currency),
            rate: rate.map(RateUsed),
            earned_per_unit: money(printed.earned_per_unit, self.sheet.currency),
            margin_percent: printed.margin_percent.map(Decimal),
            markup_percent: printed.markup_percent.map(Decimal),
        })
    }

    /// What is missing, each once.
    async fn gaps(&self) -> Vec<Gap> {
        self.sheet.gaps.iter().map(Gap::from).collect()
    }

    /// What to know although nothing is missing.
    async fn notes(&self) -> Vec<Note> {
        self.sheet.notes.iter().map(Note::from).collect()
    }
}

fn money(amount: rust_decimal::Decimal, currency: Currency) -> Money {
    Money { amount: Decimal(amount), currency: CurrencyCode(currency) }
}

/// What a batch fills.
#[derive(SimpleObject)]
pub struct CostFilling {
    /// What one unit takes, overfill included, kg.
    pub fill_mass_kg: Decimal,
    /// Lost at the filler, kg.
    pub filling_loss_kg: Decimal,
    /// Whole units.
    pub units: Decimal,
    /// What does not fill another unit, kg.
    pub left_over_kg: Decimal,
}

/// The sums of a cost sheet. Partial totals when the sheet is not complete.
#[derive(SimpleObject)]
pub struct CostTotals {
    /// Ingredients of the batch: the sum of their lines as printed.
    pub ingredients: Money,
    /// Cost per batch: labour, cleaning, tests and disposal.
    pub making: Money,
    /// Components for the units of the batch.
    pub components: Money,
    /// Filling and labelling for the units of the batch.
    pub line_labour: Money,
    /// All of it: the sum of all lines as printed, to the currency's minor unit.
    pub per_batch: Money,
    /// The liquid (ingredients and cost per batch) per kg of good output, to 6 places.
    pub per_kg: Money,
    /// The same per litre at the reference temperature, to 6 places; null without a density.
    pub per_litre: Option<Money>,
    /// One unit, everything included, to 4 places; null for the liquid alone.
    pub per_unit: Option<Money>,
    /// One case, to 4 places; null for the liquid alone or without units per case.
    pub per_case: Option<Money>,
    /// The totals for calculating on.
    pub unrounded: UnroundedTotals,
}

/// Totals for calculating on, in the sheet's currency: half to even to 9 places, fewer where the figure is too large for them.
#[derive(SimpleObject)]
pub struct UnroundedTotals {
    /// The batch.
    pub per_batch: Decimal,
    /// The liquid, per kg of good output.
    pub per_kg: Decimal,
    /// The liquid, per litre.
    pub per_litre: Option<Decimal>,
    /// One unit.
    pub per_unit: Option<Decimal>,
    /// One case.
    pub per_case: Option<Decimal>,
}

/// What is earned at a price.
#[derive(SimpleObject)]
pub struct Margin {
    /// The selling price of one unit as entered.
    pub price: Money,
    /// The same in the house's currency, to 4 places.
    pub price_in_house_currency: Money,
    /// The exchange rate it went through; null when it is in the house's currency.
    pub rate: Option<RateUsed>,
    /// Price less cost, per unit.
    pub earned_per_unit: Money,
    /// (price − cost) / price, %, to 2 places; null at a price of nought.
    pub margin_percent: Option<Decimal>,
    /// (price − cost) / cost, %, to 2 places; null at a cost of nought.
    pub markup_percent: Option<Decimal>,
}

/// A line of a cost sheet.
pub struct CostLine {
    currency: Currency,
    line: Line,
    printed: PrintedLine,
}

fn cost_lines(currency: Currency, lines: &[Line], printed: &[PrintedLine]) -> Vec<CostLine> {
    let both = lines.iter().zip(printed);
    both.map(|(line, printed)| CostLine { currency, line: line.clone(), printed: printed.clone() }).collect()
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
        self.line.dimension.map(|dimension| {
            Unit(match dimension {
                kernel::Dimension::Mass => kernel::Unit::Kilogram,
                kernel::Dimension::Volume => kernel::Unit::Litre,
                kernel::Dimension::Count => kernel::Unit::Piece,
            })
        })
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
        cost_lines(self.currency, &self.line.nested, &self.printed.nested)
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
