//! What a cost depends on: the dose of one line, each driver low and high, the size of the batch, the volume sold.

use app::DoseAsked;
use async_graphql::{Context, Enum, InputObject, Object, SimpleObject, Union};
use engine::{
    EngineError,
    present::{PER_KG_PLACES, PER_UNIT_PLACES},
    sensitivity::{
        self as answer, BatchCurve as Curve, BreakEvenBatch as Met, DoseLimitKind as LimitKind,
        DosePoint as Point, DoseSweep as Sweep, Driver, DriverQuestion, Drivers as Ranked, break_even,
    },
};
use kernel::{Currency, Exact, Mass, Percent};

use crate::{
    amounts::{Money, MoneyInput, QuantityInput, kg},
    compare::{CostPer, dose, in_house, percent},
    costing::CostSheet,
    errors::Result,
    formulas::FormulaVersion,
    materials::{Material, material_of},
    scalars::{CurrencyCode, Decimal},
};

/// Points of a sweep when nobody says how many.
const DOSE_POINTS: u32 = 21;

fn cost(value: &Exact, currency: Currency) -> Result<Money> {
    Money::rounded(value, PER_KG_PLACES, currency)
}

fn optional_cost(value: Option<&Exact>, currency: Currency) -> Result<Option<Money>> {
    value.map(|value| cost(value, currency)).transpose()
}

fn read_percent(figure: Option<Decimal>, place: &str) -> Result<Option<Percent>> {
    let read =
        |figure: Decimal| Percent::from_percent(figure.0).map_err(|error| app::Error::invalid(place, error));
    Ok(figure.map(read).transpose()?)
}

/// What begins or ends at a dose.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "LimitKind")]
pub enum DoseLimitKind {
    /// The least use level of the material.
    LeastOfMaterial,
    /// The least use level of the line.
    LeastOfLine,
    /// The most of the line.
    MostOfLine,
    /// The most of the material.
    MostOfMaterial,
    /// Nothing is left of what takes up the difference.
    EndOfDiluent,
}

/// A dose at which something begins or ends.
#[derive(SimpleObject)]
pub struct DoseLimit {
    /// What.
    pub kind: DoseLimitKind,
    /// The dose of this line, % w/w as supplied, to 6 places: what other lines hold of the material is taken off a use level.
    pub dose_percent: Decimal,
    /// Whether it comes from law or a safety assessment.
    pub is_legal: bool,
}

/// What one dose comes to. Costs are to 6 places, partial when not complete.
#[derive(SimpleObject)]
pub struct DosePoint {
    /// The dose, % w/w as supplied, to 6 places.
    pub dose_percent: Decimal,
    /// Active matter of that dose, % w/w, to 6 places; null where the strength is not known.
    pub active_percent: Option<Decimal>,
    /// What is left of the line that takes up the difference, % w/w, to 6 places.
    pub diluent_percent: Decimal,
    /// One kg of good output.
    pub cost_per_kg: Money,
    /// One unit; null where units are not known.
    pub cost_per_unit: Option<Money>,
    /// The cost per kg less that of the dose as it is.
    pub change_per_kg: Money,
    /// The cost per unit less that of the dose as it is.
    pub change_per_unit: Option<Money>,
    /// Margin at the price, %, to 2 places; null without one.
    pub margin_percent: Option<Decimal>,
    /// Use levels broken at this dose, by this material or another, in sentences.
    pub breaks: Vec<String>,
    /// Whether one of them is a legal one.
    pub breaks_legal: bool,
    /// Whether this is the dose as it is.
    pub is_current: bool,
    /// Whether nothing is missing.
    pub complete: bool,
}

impl DosePoint {
    fn of(point: &Point, currency: Currency) -> Result<Self> {
        Ok(Self {
            dose_percent: dose(&point.dose)?,
            active_percent: point.active.as_ref().map(dose).transpose()?,
            diluent_percent: dose(&point.diluent)?,
            cost_per_kg: cost(&point.cost_per_kg, currency)?,
            cost_per_unit: optional_cost(point.cost_per_unit.as_ref(), currency)?,
            change_per_kg: cost(&point.change_per_kg, currency)?,
            change_per_unit: optional_cost(point.change_per_unit.as_ref(), currency)?,
            margin_percent: percent(point.margin.as_ref())?,
            breaks: point.breaks.clone(),
            breaks_legal: point.breaks_legal,
            is_current: point.is_current,
            complete: point.complete,
        })
    }
}

/// How a sweep of doses is asked for.
#[derive(InputObject)]
pub struct DoseSweepInput {
    /// The position of the line whose dose is varied.
    pub line: u32,
    /// The position of the line that takes up the difference; the q.s. line when nothing is said.
    pub against: Option<u32>,
    /// The first dose, % w/w as supplied; with `toPercent`. From nought to twice the dose, as far as the other line reaches, when
    /// nothing is said.
    pub from_percent: Option<Decimal>,
    /// The last dose, % w/w as supplied.
    pub to_percent: Option<Decimal>,
    /// How many points, evenly spread, besides the dose as it is: at most 401; 21 when nothing is said.
    pub points: Option<u32>,
}

impl DoseSweepInput {
    /// How many cost sheets it may take.
    pub(crate) fn size(&self) -> usize {
        let points = self.points.unwrap_or(DOSE_POINTS);
        usize::try_from(points).unwrap_or(usize::MAX)
    }
}

/// A sweep of doses.
pub struct DoseSweep(Sweep);

impl DoseSweep {
    pub(crate) fn ask(sheet: &CostSheet, input: &DoseSweepInput) -> Result<Self> {
        let from = read_percent(input.from_percent, "input.fromPercent")?;
        let to = read_percent(input.to_percent, "input.toPercent")?;
        if from.is_some() != to.is_some() {
            return Err(app::Error::invalid(
                "input.toPercent",
                "say both the first and the last dose, or neither",
            )
            .into());
        }
        let asked =
            DoseAsked { line: input.line, against: input.against, range: from.zip(to), points: input.points };
        Ok(Self(sheet.asked.costing.dose_sweep(&sheet.asked.question, asked)?))
    }
}

/// What a cost is at other doses of one line, another line taking up the difference: every point is an ordinary cost sheet of the
/// version so written, so that price breaks, whole units and use levels count as they always do.
#[Object]
impl DoseSweep {
    /// The version.
    async fn version(&self, ctx: &Context<'_>) -> Result<FormulaVersion> {
        FormulaVersion::find(ctx, self.0.version)
    }

    /// The house's currency.
    async fn currency(&self) -> CurrencyCode {
        CurrencyCode(self.0.currency)
    }

    /// The position of the line varied.
    async fn line(&self) -> u32 {
        self.0.line
    }

    /// What stands on it.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material.id)
    }

    /// The position of the line that takes up the difference.
    async fn against(&self) -> u32 {
        self.0.against
    }

    /// What stands on that.
    async fn diluent(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.diluent.id)
    }

    /// The version as it is.
    async fn current(&self) -> Result<DosePoint> {
        DosePoint::of(&self.0.current, self.0.currency)
    }

    /// What a tenth of a percent more adds to the cost of one kg of good output at the prices of the dose as it is: 0.001 × (price −
    /// price of the other line) × charged ÷ good output, to 6 places; null where a price is missing.
    async fn per_tenth_percent(&self) -> Result<Option<Money>> {
        optional_cost(self.0.per_tenth_percent.as_ref(), self.0.currency)
    }

    /// Doses at which something begins or ends, from the least.
    async fn limits(&self) -> Result<Vec<DoseLimit>> {
        let one = |limit: &answer::DoseLimit| {
            Ok(DoseLimit {
                kind: limit.kind.into(),
                dose_percent: dose(&limit.dose)?,
                is_legal: limit.is_legal,
            })
        };
        self.0.limits.iter().map(one).collect()
    }

    /// The sweep, from the least dose, the dose as it is among them.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn points(&self) -> Result<Vec<DosePoint>> {
        self.0.points.iter().map(|point| DosePoint::of(point, self.0.currency)).collect()
    }

    /// The dose at which one kg of good output costs so much, on the straight line through the dose as it is, % w/w to 6 places; null
    /// where no dose does.
    async fn dose_at_cost(
        &self,
        #[graphql(desc = "What one kg of good output may cost, in the house's currency.")] cost: MoneyInput,
    ) -> Result<Option<Decimal>> {
        let cost = in_house(cost, self.0.currency, "cost")?.to_exact();
        self.0.dose_at_cost(&cost).as_ref().map(dose).transpose()
    }

    /// Whether the sweep was cut off where the other line ends.
    async fn cut_off(&self) -> bool {
        self.0.cut_off
    }
}

/// How far drivers are moved either way; what is not said is 10 % of prices, doses and rates, 1 point of process loss and overfill, and
/// half and twice the batch.
#[derive(InputObject, Default)]
pub struct DriversInput {
    /// Each material's prices, % of the price, below 100.
    pub prices_percent: Option<Decimal>,
    /// Each line's dose, % of the dose, below 100; another line takes up the difference.
    pub doses_percent: Option<Decimal>,
    /// The position of the line that takes up the difference; the q.s. line when nothing is said.
    pub against: Option<u32>,
    /// The process loss, percentage points; not below nought.
    pub process_loss_points: Option<Decimal>,
    /// The overfill, percentage points; not below nought.
    pub overfill_points: Option<Decimal>,
    /// Each exchange rate used, % of the rate, below 100.
    pub rates_percent: Option<Decimal>,
    /// The least that is charged, a mass; with `batchTo`.
    pub batch_from: Option<QuantityInput>,
    /// The most that is charged, a mass.
    pub batch_to: Option<QuantityInput>,
}

/// What a cost depends on.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum CostDriverKind {
    /// What a material is quoted at.
    Price,
    /// How much of a material a line holds.
    Dose,
    /// What never reaches the filler.
    ProcessLoss,
    /// What is filled beyond the declared quantity.
    Overfill,
    /// Everything charged.
    BatchSize,
    /// An exchange rate.
    Rate,
}

/// What a cost depends on.
pub struct CostDriver(Driver);

/// What a cost depends on.
#[Object]
impl CostDriver {
    /// What kind of thing.
    async fn kind(&self) -> CostDriverKind {
        match self.0 {
            Driver::Price { .. } => CostDriverKind::Price,
            Driver::Dose { .. } => CostDriverKind::Dose,
            Driver::ProcessLoss => CostDriverKind::ProcessLoss,
            Driver::Overfill => CostDriverKind::Overfill,
            Driver::BatchSize => CostDriverKind::BatchSize,
            Driver::Rate { .. } => CostDriverKind::Rate,
        }
    }

    /// The material of a price or a dose; null for others.
    async fn material(&self, ctx: &Context<'_>) -> Result<Option<Material>> {
        match &self.0 {
            Driver::Price { material } | Driver::Dose { material, .. } => {
                material_of(ctx, material.id).map(Some)
            }
            _ => Ok(None),
        }
    }

    /// The position of the line of a dose; null for others.
    async fn line(&self) -> Option<u32> {
        match self.0 {
            Driver::Dose { line, .. } => Some(line),
            _ => None,
        }
    }

    /// In words: "price of SLES70 (Lauryl ether sulfate paste 70 %)".
    async fn text(&self) -> String {
        self.0.to_string()
    }
}

/// One end of a driver's bar. Costs are to 6 places.
#[derive(SimpleObject)]
pub struct DriverEnd {
    /// What is assumed, for a person: "-10 %", "13.2 %", "200 kg".
    pub assumed: String,
    /// The cost then.
    pub cost: Money,
    /// That cost less the cost as it is.
    pub change: Money,
}

/// One driver's bar.
#[derive(SimpleObject)]
pub struct DriverBar {
    /// The driver.
    pub driver: CostDriver,
    /// At its low value.
    pub low: DriverEnd,
    /// At its high value.
    pub high: DriverEnd,
    /// Between the two costs, whichever is dearer, to 6 places.
    pub swing: Money,
}

/// A driver that could not be varied.
#[derive(SimpleObject)]
pub struct DriverNotVaried {
    /// The driver.
    pub driver: CostDriver,
    /// Why, for a person.
    pub why: String,
}

/// Drivers of a cost.
pub struct CostDrivers(Ranked);

impl CostDrivers {
    pub(crate) fn ask(sheet: &CostSheet, input: DriversInput) -> Result<Self> {
        let question = &sheet.asked.question;
        let mut spreads = DriverQuestion::of(question.request);
        for (given, place, into) in [
            (input.prices_percent, "by.pricesPercent", &mut spreads.prices),
            (input.doses_percent, "by.dosesPercent", &mut spreads.doses),
            (input.process_loss_points, "by.processLossPoints", &mut spreads.process_loss),
            (input.overfill_points, "by.overfillPoints", &mut spreads.overfill),
            (input.rates_percent, "by.ratesPercent", &mut spreads.rates),
        ] {
            if let Some(percent) = read_percent(given, place)? {
                *into = percent;
            }
        }
        spreads.against = input.against;
        let mass = |quantity: Option<QuantityInput>, place: &str| -> Result<Option<Mass>> {
            let read = |quantity: QuantityInput| quantity.mass()?.require_positive();
            Ok(quantity.map(read).transpose().map_err(|error| app::Error::invalid(place, error))?)
        };
        let (from, to) = (mass(input.batch_from, "by.batchFrom")?, mass(input.batch_to, "by.batchTo")?);
        if from.is_some() != to.is_some() {
            return Err(app::Error::invalid(
                "by.batchTo",
                "say both the least and the most batch, or neither",
            )
            .into());
        }
        spreads.batches = from.zip(to);
        Ok(Self(sheet.asked.costing.drivers(question, &spreads)?))
    }
}

/// What a cost is when each driver in turn is low and high, everything else as it is: the widest swing first.
#[Object]
impl CostDrivers {
    /// The house's currency.
    async fn currency(&self) -> CurrencyCode {
        CurrencyCode(self.0.currency)
    }

    /// What costs are of.
    async fn per(&self) -> CostPer {
        self.0.per.into()
    }

    /// The cost as it is, to 6 places.
    async fn base(&self) -> Result<Money> {
        cost(&self.0.base, self.0.currency)
    }

    /// Whether nothing is missing. When something is, every cost here is partial.
    async fn complete(&self) -> bool {
        self.0.complete
    }

    /// The drivers, ranked.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn bars(&self) -> Result<Vec<DriverBar>> {
        let currency = self.0.currency;
        let end = |end: &answer::DriverEnd| -> Result<DriverEnd> {
            Ok(DriverEnd {
                assumed: end.assumed.clone(),
                cost: cost(&end.cost, currency)?,
                change: cost(&end.change, currency)?,
            })
        };
        let one = |bar: &answer::Bar| {
            Ok(DriverBar {
                driver: CostDriver(bar.driver.clone()),
                low: end(&bar.low)?,
                high: end(&bar.high)?,
                swing: cost(&bar.swing, currency)?,
            })
        };
        self.0.bars.iter().map(one).collect()
    }

    /// What could not be varied, and why.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn not_varied(&self) -> Vec<DriverNotVaried> {
        let one = |not: &answer::NotVaried| DriverNotVaried {
            driver: CostDriver(not.driver.clone()),
            why: not.why.clone(),
        };
        self.0.not_varied.iter().map(one).collect()
    }
}

/// What one batch comes to. Costs are to 6 places; null where the batch cannot be costed.
#[derive(SimpleObject)]
pub struct BatchPoint {
    /// Everything charged, kg.
    pub batch_kg: Decimal,
    /// Process loss, heel and whatever else leaves the batch, % of it, to 2 places.
    pub lost_percent: Option<Decimal>,
    /// What reaches the filler or the shelf, kg, to 6 places.
    pub good_output_kg: Option<Decimal>,
    /// Whole units for sale; null where units are not known.
    pub units: Option<Decimal>,
    /// One kg of good output.
    pub cost_per_kg: Option<Money>,
    /// One unit.
    pub cost_per_unit: Option<Money>,
    /// The part of it, or of the cost per kg where nothing is filled, that is the cost of making the batch.
    pub making: Option<Money>,
    /// Whether the vessel takes it.
    pub fits_vessel: bool,
    /// Whether this is the version's usual batch.
    pub is_usual: bool,
    /// Why it cannot be costed at all: it leaves nothing, or fills no unit.
    pub refused: Option<String>,
    /// Whether nothing is missing.
    pub complete: bool,
}

/// How a cost is met by the size of a batch.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum BreakEvenBatchOutcome {
    /// At this batch; one unit less (one gram less, where nothing is filled) costs more.
    At,
    /// The smallest batch there can be meets it.
    FromTheSmallest,
    /// Not even the largest batch looked at meets it: the most the vessel takes, or a thousand times the usual one.
    NotReached,
    /// Something is missing, so that no cost is known.
    NotKnown,
}

/// Where a cost is met.
#[derive(SimpleObject)]
pub struct BreakEvenBatch {
    /// How.
    pub outcome: BreakEvenBatchOutcome,
    /// Everything charged, kg: of the batch that meets it, or of the largest looked at; null where it is not known.
    pub batch_kg: Option<Decimal>,
    /// Whole units for sale; null where units are not known.
    pub units: Option<Decimal>,
    /// What one costs there, to 6 places.
    pub cost: Option<Money>,
}

/// Batches and what they come to.
pub struct BatchCurve(Curve);

impl BatchCurve {
    pub(crate) fn ask(
        sheet: &CostSheet,
        batches: Option<Vec<QuantityInput>>,
        target: Option<MoneyInput>,
    ) -> Result<Self> {
        let mut read = Vec::new();
        for (at, batch) in batches.into_iter().flatten().enumerate() {
            let mass = batch.mass().and_then(Mass::require_positive);
            read.push(mass.map_err(|error| app::Error::invalid(format!("batches[{at}]"), error))?);
        }
        let target = target
            .map(|target| in_house(target, sheet.sheet.currency, "target"))
            .transpose()?
            .map(kernel::Money::to_exact);
        Ok(Self(sheet.asked.costing.batch_curve(&sheet.asked.question, read, target)?))
    }
}

fn whole(units: Option<i128>) -> Result<Option<Decimal>> {
    units.map(|units| Decimal::rounded(&Exact::whole(units), 0)).transpose()
}

/// What a cost is at other batches: losses that do not grow with the batch and costs by the batch weigh less on a larger one.
#[Object]
impl BatchCurve {
    /// The house's currency.
    async fn currency(&self) -> CurrencyCode {
        CurrencyCode(self.0.currency)
    }

    /// What `target` and the break-even are of.
    async fn per(&self) -> CostPer {
        self.0.per.into()
    }

    /// The points, from the smallest batch.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn points(&self) -> Result<Vec<BatchPoint>> {
        let currency = self.0.currency;
        let one = |point: &answer::BatchPoint| {
            Ok(BatchPoint {
                batch_kg: kg(point.batch),
                lost_percent: percent(point.lost.as_ref())?,
                good_output_kg: point
                    .good
                    .as_ref()
                    .map(|good| Decimal::rounded(good, engine::present::AMOUNT_PLACES))
                    .transpose()?,
                units: whole(point.units)?,
                cost_per_kg: optional_cost(point.cost_per_kg.as_ref(), currency)?,
                cost_per_unit: optional_cost(point.cost_per_unit.as_ref(), currency)?,
                making: optional_cost(point.making.as_ref(), currency)?,
                fits_vessel: point.fits_vessel,
                is_usual: point.is_usual,
                refused: point.refused.clone(),
                complete: point.complete,
            })
        };
        self.0.points.iter().map(one).collect()
    }

    /// The cost to be met; null when none was asked about.
    async fn target(&self) -> Result<Option<Money>> {
        optional_cost(self.0.target.as_ref(), self.0.currency)
    }

    /// The smallest batch that meets the target; null when none was asked about.
    async fn break_even(&self) -> Result<Option<BreakEvenBatch>> {
        let currency = self.0.currency;
        let at = |outcome, batch: Mass, units: Option<i128>, met: &Exact| -> Result<BreakEvenBatch> {
            Ok(BreakEvenBatch {
                outcome,
                batch_kg: Some(kg(batch)),
                units: whole(units)?,
                cost: Some(cost(met, currency)?),
            })
        };
        let Some(met) = &self.0.break_even else { return Ok(None) };
        Ok(Some(match met {
            Met::At { batch, units, cost } => at(BreakEvenBatchOutcome::At, *batch, *units, cost)?,
            Met::FromTheSmallest { batch, units, cost } => {
                at(BreakEvenBatchOutcome::FromTheSmallest, *batch, *units, cost)?
            }
            Met::NotReached { largest, cost } => at(BreakEvenBatchOutcome::NotReached, *largest, None, cost)?,
            Met::NotKnown => BreakEvenBatch {
                outcome: BreakEvenBatchOutcome::NotKnown,
                batch_kg: None,
                units: None,
                cost: None,
            },
        }))
    }
}

/// The volume at which a unit's contribution pays what does not depend on it. Money is per unit to 4 places unless said otherwise.
#[derive(SimpleObject)]
pub struct BreakEvenVolume {
    /// Selling price of one unit without tax, in the house's currency.
    pub price: Money,
    /// What one more unit costs: the unit cost of the sheet, the cost per batch with it, for another batch pays it again.
    pub variable: Money,
    /// Price less variable cost.
    pub contribution: Money,
    /// What has to be paid whatever is sold, to the currency's minor unit.
    pub fixed: Money,
    /// The profit wanted on top, before tax on it, to the currency's minor unit.
    pub profit_before_tax: Money,
    /// Units whose contribution is exactly that, to 6 places.
    pub units: Decimal,
    /// The fewest whole units whose contribution is at least that.
    pub whole_units: Decimal,
    /// What the units in fractions are sold for, to the currency's minor unit.
    pub sales: Money,
    /// What may be lost of the pack's expected sales before nothing is earned, % of them, to 2 places; below nought when they do not
    /// reach it, null where none are entered.
    pub margin_of_safety_percent: Option<Decimal>,
}

/// No volume breaks even, or none can be told.
#[derive(SimpleObject)]
pub struct NoBreakEven {
    /// Why, for a person.
    pub why: String,
}

/// A break-even volume, or why there is none.
#[derive(Union)]
pub enum BreakEvenVolumeResult {
    /// The volume.
    Found(BreakEvenVolume),
    /// None.
    None(NoBreakEven),
}

impl BreakEvenVolumeResult {
    pub(crate) fn ask(
        sheet: &CostSheet,
        fixed: MoneyInput,
        profit_after_tax: Option<MoneyInput>,
        tax: Option<Decimal>,
        units_a_year: Option<u64>,
    ) -> Result<Self> {
        let (row, currency) = (&sheet.sheet, sheet.sheet.currency);
        let fixed = in_house(fixed, currency, "fixed")?.to_exact();
        let profit = profit_after_tax
            .map(|profit| in_house(profit, currency, "profitAfterTax"))
            .transpose()?
            .map_or(Exact::ZERO, kernel::Money::to_exact);
        let tax = read_percent(tax, "taxPercent")?.unwrap_or(Percent::ZERO);
        let (Some(margin), Some(variable)) = (&row.margin, &row.totals.per_unit) else {
            let why = "a break-even needs a pack with a selling price and a cost without gaps".to_owned();
            return Ok(Self::None(NoBreakEven { why }));
        };
        let found = match break_even(&margin.price_in_house_currency, variable, &fixed, &profit, tax) {
            Ok(found) => found,
            Err(EngineError::QuestionDoesNotFit { why }) => return Ok(Self::None(NoBreakEven { why })),
            Err(error) => return Err(error.into()),
        };
        let (unit, minor) = (PER_UNIT_PLACES, currency.minor_places());
        let money = |value: &Exact, places| Money::rounded(value, places, currency);
        let safety = units_a_year.and_then(|units| found.margin_of_safety(&Exact::whole(i128::from(units))));
        Ok(Self::Found(BreakEvenVolume {
            price: money(&found.price, unit)?,
            variable: money(&found.variable, unit)?,
            contribution: money(&found.contribution, unit)?,
            fixed: money(&found.fixed, minor)?,
            profit_before_tax: money(&found.profit_before_tax, minor)?,
            units: Decimal::rounded(&found.units, engine::present::AMOUNT_PLACES)?,
            whole_units: Decimal::rounded(&Exact::whole(found.whole_units), 0)?,
            sales: money(&found.sales, minor)?,
            margin_of_safety_percent: percent(safety.as_ref())?,
        }))
    }
}
