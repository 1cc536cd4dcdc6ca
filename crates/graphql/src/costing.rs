//! Cost sheets.

use std::sync::Arc;

use app::{CostQuestion, Costing};
use async_graphql::{Context, Enum, Object, SimpleObject};
use engine::{
    OrderBasis,
    output::BatchOutput,
    present::{PERCENT_PLACES, PrintedCostSheet, cost_sheet as print},
};
use kernel::{Currency, Exact, Mass, ids::MaterialId};

use crate::{
    amounts::{Money, MoneyInput, Quantity, QuantityInput, kg_per_l},
    bases::Basis,
    caller::Desk,
    compare::CostComparison,
    cost_inputs::CostOtherInput,
    cost_lines::{CostLine, Standing, cost_lines},
    errors::Result,
    formulas::{Formula, FormulaVersion, formula_of},
    ids::Which,
    materials::{Material, material_of, materials_of},
    notes::{Gap, Note},
    packs::{Pack, pack_of},
    pricing::{DesignToCost, PriceChainInput, PriceLadder, design, ladder},
    quotations::{Quotation, quotation_of},
    scalars::{CurrencyCode, Date, Decimal},
    sensitivity::{BatchCurve, BreakEvenVolumeResult, CostDrivers, DoseSweep, DoseSweepInput, DriversInput},
    sources::{RateUsed, Validity},
    swaps::SwapResult,
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

/// A cost sheet.
pub struct CostSheet {
    pub(crate) asked: Arc<Asked>,
    pub(crate) sheet: Arc<engine::CostSheet>,
    printed: Arc<PrintedCostSheet>,
}

/// What was asked, and what it was answered from, so that more can be asked of the answer.
pub struct Asked {
    /// The question.
    pub question: CostQuestion,
    /// What it was answered from.
    pub costing: Arc<Costing>,
}

impl CostSheet {
    /// Works a sheet out from the catalogue at hand, and from the ledger's history where the basis asks for it.
    pub(crate) async fn ask(ctx: &Context<'_>, question: CostQuestion) -> Result<Self> {
        let costing = costing(ctx, &[&question], &[]).await?;
        Self::of(&costing, question)
    }

    /// Works a sheet out from what was taken in for it.
    pub(crate) fn of(costing: &Arc<Costing>, question: CostQuestion) -> Result<Self> {
        let sheet = costing.sheet(&question)?;
        let printed = print(&sheet)?;
        let asked = Asked { question, costing: Arc::clone(costing) };
        Ok(Self { asked: Arc::new(asked), sheet: Arc::new(sheet), printed: Arc::new(printed) })
    }
}

/// What some questions are answered from: the catalogue of this request, and the ledger's history where a basis asks for it.
pub(crate) async fn costing(
    ctx: &Context<'_>,
    questions: &[&CostQuestion],
    others: &[MaterialId],
) -> Result<Arc<Costing>> {
    Ok(Arc::new(ctx.house()?.costing(ctx.actor()?, ctx.catalogue()?, questions, others).await?))
}

/// What a batch, a kilogram, a litre, a unit and a case costs, line by line. Money is in the house's currency. Figures are as printed:
/// rounded once, half to even, and lines add up to their totals; `unrounded` has the figures for calculating on.
#[Object]
impl CostSheet {
    /// Which price is used for what is bought.
    async fn basis(&self) -> Basis {
        self.sheet.basis.into()
    }

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

    /// Everything put in, kg. Evaporation, process loss, heel, samples, retains and good output add up to it as printed.
    async fn charged_kg(&self) -> Decimal {
        Decimal(self.printed.charged_kg)
    }

    /// Leaves as vapour in proportion to the batch, kg.
    async fn evaporation_kg(&self) -> Decimal {
        Decimal(self.printed.evaporation_kg)
    }

    /// Lost in proportion to the batch, kg.
    async fn process_loss_kg(&self) -> Decimal {
        Decimal(self.printed.process_loss_kg)
    }

    /// Left in vessel, pump and hoses whatever the batch size, kg.
    async fn heel_kg(&self) -> Decimal {
        Decimal(self.printed.heel_kg)
    }

    /// Taken for tests whatever the batch size, kg.
    async fn samples_kg(&self) -> Decimal {
        Decimal(self.printed.samples_kg)
    }

    /// Kept back whatever the batch size, kg.
    async fn retains_kg(&self) -> Decimal {
        Decimal(self.printed.retains_kg)
    }

    /// What reaches the filler or the shelf, kg.
    async fn good_output_kg(&self) -> Decimal {
        Decimal(self.printed.good_output_kg)
    }

    /// The part of what is charged that reaches the filler or the shelf, %, to 2 places.
    async fn good_output_percent(&self) -> Result<Decimal> {
        let BatchOutput { good, charged, .. } = &self.sheet.batch;
        Decimal::rounded(&(good.checked_div(charged)? * Exact::whole(100)), PERCENT_PLACES)
    }

    /// Density of the finished liquid that figures per litre stand on, kg/L; null when it is not known.
    #[graphql(name = "densityKgPerL")]
    async fn density_kg_per_l(&self) -> Option<Decimal> {
        self.printed.density_kg_per_litre.map(Decimal)
    }

    /// The same with the day and the temperature it was measured at; null when it is not known.
    async fn density(&self) -> Option<CostDensity> {
        self.sheet.density_used.as_ref().map(|used| CostDensity {
            kg_per_l: kg_per_l(used.density),
            measured_on: used.measured_on.map(Date),
            celsius: used.celsius.map(Decimal),
            of_material: used.of_material,
        })
    }

    /// What ideal mixing would give, where no density is known. An estimate: no other figure of the sheet stands on it.
    async fn density_estimate(&self, ctx: &Context<'_>) -> Result<Option<DensityEstimate>> {
        let Some(estimate) = &self.printed.density_estimate else { return Ok(None) };
        Ok(Some(DensityEstimate {
            kg_per_l: estimate.kg_per_litre.map(Decimal),
            per_litre: estimate.per_litre.map(|amount| money(amount, self.sheet.currency)),
            unknown: materials_of(ctx, estimate.unknown.iter().map(|material| material.id))?,
        }))
    }

    /// What the batch fills; null for the liquid alone, or where a gap stands in the way.
    async fn filling(&self) -> Option<CostFilling> {
        self.printed.filling.as_ref().map(|filling| CostFilling {
            fill_mass_kg: Decimal(filling.fill_mass_kg),
            filling_loss_kg: Decimal(filling.filling_loss_kg),
            filled_units: Decimal(filling.filled_units),
            kept_back_units: Decimal(filling.kept_back_units),
            units: Decimal(filling.units),
            left_over_kg: Decimal(filling.left_over_kg),
        })
    }

    /// Ingredients, cost per batch, components, line labour, in this order.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn lines(&self) -> Vec<CostLine> {
        cost_lines(&self.asked, self.sheet.currency, &self.sheet.lines, &self.printed.lines)
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
            per_us_gallon: printed.per_us_gallon.map(money),
            per_imperial_gallon: printed.per_imperial_gallon.map(money),
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

    /// How much of each material was taken to be ordered at once; each source says what that came to.
    async fn order(&self, ctx: &Context<'_>) -> Result<OrderUsed> {
        let (kind, batches, orders_a_year) = match self.sheet.order {
            OrderBasis::ForBatch => (OrderKind::Batch, None, None),
            OrderBasis::ForBatches(batches) => (OrderKind::Batches, Some(batches.get()), None),
            OrderBasis::ForYear { orders } => (OrderKind::Year, None, Some(orders.get())),
        };
        let mut stated = Vec::with_capacity(self.asked.question.orders.len());
        for order in &self.asked.question.orders {
            let material = material_of(ctx, order.material)?;
            stated.push(OrderStated { material, quantity: Quantity(order.quantity) });
        }
        Ok(OrderUsed {
            kind,
            batches: batches.map(Decimal::whole),
            orders_a_year: orders_a_year.map(Decimal::whole),
            stated,
        })
    }

    /// Where ordering for the year would take another quotation, pack or price break (or, on a sheet that orders for the year, where
    /// ordering for one batch would): what each such material would cost that way.
    #[graphql(complexity = "crate::limits::calculation(crate::limits::list(child_complexity))")]
    async fn ordered_otherwise(&self) -> Result<Vec<Note>> {
        let notes = self.asked.costing.ordered_otherwise(&self.asked.question, &self.sheet)?;
        Ok(notes.iter().map(Note::from).collect())
    }

    /// How it stands with the quotations behind the sheet: as with the worst of them. Null when it rests on none.
    async fn standing(&self) -> Option<Standing> {
        self.sheet.standing.map(Into::into)
    }

    /// The quotations behind the sheet, through intermediates: the worst first, then by reference.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn quotations(&self, ctx: &Context<'_>) -> Result<Vec<QuotationBehind>> {
        let behind = |behind: &engine::source::QuotationBehind| {
            Ok(QuotationBehind {
                quotation: quotation_of(ctx, behind.quotation)?,
                material: material_of(ctx, behind.material)?,
                validity: Validity(behind.validity),
            })
        };
        self.sheet.quotations.iter().map(behind).collect()
    }

    /// Why another cost differs from this one, line by line and by cause, adding up exactly as printed: another version, day, batch,
    /// basis, order or pack. Per unit where both have units, else per kg of liquid.
    #[graphql(complexity = "crate::limits::calculations(2, child_complexity)")]
    async fn comparison(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The other cost: what is not said of it is as here.")] after: CostOtherInput,
    ) -> Result<CostComparison> {
        CostComparison::ask(ctx, self, after).await
    }

    /// What it costs at other doses of one line, another line taking up the difference, with use levels marked.
    #[graphql(complexity = "crate::limits::sweep(input.size(), child_complexity)")]
    async fn dose_sweep(
        &self,
        #[graphql(desc = "Which line, against which, how far.")] input: DoseSweepInput,
    ) -> Result<DoseSweep> {
        DoseSweep::ask(self, &input)
    }

    /// What it costs when each driver in turn is low and high: prices, doses, process loss, overfill, batch size, exchange rates.
    #[graphql(complexity = "crate::limits::question(child_complexity)")]
    async fn drivers(
        &self,
        #[graphql(desc = "How far each is moved.")] by: Option<DriversInput>,
    ) -> Result<CostDrivers> {
        CostDrivers::ask(self, by.unwrap_or_default())
    }

    /// What it costs at other batches, and the smallest batch that meets a cost.
    #[graphql(
        complexity = "crate::limits::curve(batches.as_ref().map(Vec::len), target.is_some(), child_complexity)"
    )]
    async fn batch_curve(
        &self,
        #[graphql(
            desc = "Batches, everything charged, masses, at most 200; a quarter, a half, one, two and four times the usual one, as far as the vessel takes them, when nothing is said."
        )]
        batches: Option<Vec<QuantityInput>>,
        #[graphql(
            desc = "A cost per unit (per kg of good output where nothing is filled), in the house's currency, to find the batch for."
        )]
        target: Option<MoneyInput>,
    ) -> Result<BatchCurve> {
        BatchCurve::ask(self, batches, target)
    }

    /// How many units have to be sold before what does not depend on them is earned: rent and salaries of a year, trials, print plates.
    async fn break_even_volume(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What has to be paid whatever is sold, in the house's currency.")] fixed: MoneyInput,
        #[graphql(
            desc = "The profit wanted on top, after tax, in the house's currency; none when nothing is said."
        )]
        profit_after_tax: Option<MoneyInput>,
        #[graphql(desc = "What tax takes of a profit, %, below 100; nothing when nothing is said.")]
        tax_percent: Option<Decimal>,
    ) -> Result<BreakEvenVolumeResult> {
        let catalogue = ctx.catalogue()?;
        let pack = self.sheet.subject.pack.and_then(|id| catalogue.packs.get(id));
        let units_a_year = pack.and_then(|pack| pack.units_a_year);
        BreakEvenVolumeResult::ask(self, fixed, profit_after_tax, tax_percent, units_a_year)
    }

    /// The prices its unit cost asks for along a chain, from the maker up to the shelf; null without a whole cost of a unit.
    async fn price_ladder(
        &self,
        #[graphql(desc = "Who takes what.")] chain: PriceChainInput,
    ) -> Result<Option<PriceLadder>> {
        ladder(&self.sheet, chain)
    }

    /// From a shelf price back to what one unit, and one kg of its liquid, may cost, with headroom; only for a pack.
    async fn design_to_cost(
        &self,
        #[graphql(desc = "The shelf price of one unit, tax included, in the house's currency.")]
        shelf_price: MoneyInput,
        #[graphql(desc = "Who takes what.")] chain: PriceChainInput,
    ) -> Result<DesignToCost> {
        design(&self.sheet, shelf_price, chain)
    }

    /// One strength of an ingredient exchanged for another: the active matter stays, the diluent takes the difference; or why that
    /// cannot be done. Nothing is written.
    #[graphql(complexity = "crate::limits::calculations(2, child_complexity)")]
    async fn swap(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What stands in the version now.")] old: Which,
        #[graphql(desc = "What is to stand there instead.")] new: Which,
        #[graphql(
            desc = "The position of the line that takes up the difference; the q.s. line when nothing is said."
        )]
        against: Option<u32>,
    ) -> Result<SwapResult> {
        SwapResult::ask(ctx, self, &old, &new, against).await
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

/// A printed figure.
pub(crate) fn money(amount: rust_decimal::Decimal, currency: Currency) -> Money {
    Money { amount: Decimal(amount), currency: CurrencyCode(currency) }
}

/// What a batch fills.
#[derive(SimpleObject)]
pub struct CostFilling {
    /// What one unit takes, overfill included, kg.
    pub fill_mass_kg: Decimal,
    /// Lost at the filler, kg.
    pub filling_loss_kg: Decimal,
    /// Whole units filled; each uses components and time.
    pub filled_units: Decimal,
    /// Of those, not for sale: first ones off the line, for tests, retains.
    pub kept_back_units: Decimal,
    /// Whole units for sale: those filled less those kept back. What the batch costs is divided by these.
    pub units: Decimal,
    /// What does not fill another unit, kg.
    pub left_over_kg: Decimal,
}

/// A density that figures per litre stand on.
#[derive(SimpleObject)]
pub struct CostDensity {
    /// The figure, kg/L.
    #[graphql(name = "kgPerL")]
    pub kg_per_l: Decimal,
    /// The day it was measured; null when nobody has entered it.
    pub measured_on: Option<Date>,
    /// The temperature it was measured at, °C; null when nobody has entered it.
    pub celsius: Option<Decimal>,
    /// Whether it is that of the material the formula makes, for want of one of the version's own.
    pub of_material: bool,
}

/// A density nobody has measured: what ideal mixing would give.
#[derive(SimpleObject)]
pub struct DensityEstimate {
    /// Mass over the sum of the volumes that go in, kg/L, to 3 places; null where the density of something in it is not known.
    #[graphql(name = "kgPerL")]
    pub kg_per_l: Option<Decimal>,
    /// What a litre would cost at it, to 4 places.
    pub per_litre: Option<Money>,
    /// Materials without a density.
    pub unknown: Vec<Material>,
}

/// A quotation that a cost sheet rests on.
#[derive(SimpleObject)]
pub struct QuotationBehind {
    /// The quotation.
    pub quotation: Quotation,
    /// The material it prices.
    pub material: Material,
    /// How it stands with it on the day of the sheet.
    pub validity: Validity,
}

/// How much of each material a cost sheet takes to be ordered at once, which decides pack and price break.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum OrderKind {
    /// What the batch costed needs.
    Batch,
    /// What several batches need.
    Batches,
    /// A part of the year's use.
    Year,
}

/// How much of each material was taken to be ordered at once.
#[derive(SimpleObject)]
pub struct OrderUsed {
    /// What it is reckoned from.
    pub kind: OrderKind,
    /// How many batches; null unless for several.
    pub batches: Option<Decimal>,
    /// How many orders a year; null unless for the year.
    pub orders_a_year: Option<Decimal>,
    /// Orders stated by whoever asked, whatever the rest says.
    pub stated: Vec<OrderStated>,
}

/// So much of a material stated to be ordered at once.
#[derive(SimpleObject)]
pub struct OrderStated {
    /// The material.
    pub material: Material,
    /// How much.
    pub quantity: Quantity,
}

/// The sums of a cost sheet. Partial totals when the sheet is not complete.
#[derive(SimpleObject)]
pub struct CostTotals {
    /// Ingredients of the batch: the sum of their lines as printed.
    pub ingredients: Money,
    /// Making the batch: labour, machines, cleaning, tests, disposal, overheads: the sum of their lines as printed.
    pub making: Money,
    /// Components for all units filled, scrap included.
    pub components: Money,
    /// Filling and labelling for the units of the batch: people, line, changeover, disposal, overheads.
    pub line_labour: Money,
    /// All of it: the sum of all lines as printed, to the currency's minor unit.
    pub per_batch: Money,
    /// The liquid (ingredients and cost per batch) per kg of good output, to 6 places.
    pub per_kg: Money,
    /// The same per litre that comes out, at the temperature of the density, to 6 places; null without a density.
    pub per_litre: Option<Money>,
    /// The same per US gallon (3.785411784 L), to 6 places.
    pub per_us_gallon: Option<Money>,
    /// The same per imperial gallon (4.54609 L), to 6 places.
    pub per_imperial_gallon: Option<Money>,
    /// One unit for sale, which bears its part of units kept back, everything included, to 4 places; null for the liquid alone.
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
