//! What making a batch and filling it cost beside ingredients and components: labour, machines, cleaning, tests, disposal,
//! overheads, line time and changeover, each with its source.
//!
//! Time is paid at a rate of the house by name, as of the day asked. Overheads are not named by anybody: every batch and every
//! filling run bears those that hold on the day, on the labour and machine time it takes. Labour is what is paid at a labour rate,
//! whatever it is for, and labour entered as money; a cost per batch in one figure does not say how much of it is labour, and
//! bears no overhead on labour.

use chrono::NaiveDate;
use domain::{
    formulas::FormulaVersion,
    house_rates::{HouseRate, HouseRateAmount, HouseRateOf},
    making::{MakingCost, MakingCostAmount, MakingCostKind},
    packs::Pack,
};
use kernel::{Currency, Exact, Mass, UnitPrice};
use std::sync::Arc;

use crate::{
    EngineError, Gap, Source, View,
    cost::{CostLine, LineKind},
    gap::add_gap,
    source::{BudgetUsed, HouseRateSource, MakingCostSource, MakingMeasure},
};

/// What a line of making or filling is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
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

impl CostOf {
    /// Of a named cost.
    pub const fn of(kind: MakingCostKind) -> Self {
        match kind {
            MakingCostKind::Labour => Self::Labour,
            MakingCostKind::Machine => Self::Machine,
            MakingCostKind::Cleaning => Self::Cleaning,
            MakingCostKind::Tests => Self::Tests,
            MakingCostKind::Disposal => Self::Disposal,
            MakingCostKind::Other => Self::Other,
        }
    }

    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::CostPerBatch => "cost per batch",
            Self::Labour => "labour",
            Self::Machine => "machine",
            Self::Cleaning => "cleaning",
            Self::Tests => "tests",
            Self::Disposal => "disposal",
            Self::Other => "other",
            Self::Overhead => "overhead",
            Self::LineLabour => "line labour",
            Self::LineMachine => "line time",
            Self::Changeover => "changeover",
        }
    }

    /// A stable name for programs.
    pub const fn code(self) -> &'static str {
        match self {
            Self::CostPerBatch => "COST_PER_BATCH",
            Self::Labour => "LABOUR",
            Self::Machine => "MACHINE",
            Self::Cleaning => "CLEANING",
            Self::Tests => "TESTS",
            Self::Disposal => "DISPOSAL",
            Self::Other => "OTHER",
            Self::Overhead => "OVERHEAD",
            Self::LineLabour => "LINE_LABOUR",
            Self::LineMachine => "LINE_MACHINE",
            Self::Changeover => "CHANGEOVER",
        }
    }
}

/// What overheads are charged on, and what is not known of it.
#[derive(Default)]
struct Work {
    labour_cost: Exact,
    labour_hours: Exact,
    machine_hours: Exact,
    gaps: Vec<Gap>,
}

/// Costs of a batch or a run while they are put together.
struct Costs<'v, 'a> {
    view: &'v View<'a>,
    on: NaiveDate,
    kind: LineKind,
    lines: Vec<CostLine>,
    work: Work,
}

/// The costs of making one batch: the cost per batch, the named costs in their order, overheads by name. Values are for the batch.
pub(crate) fn making_costs(
    view: &View<'_>,
    version: &FormulaVersion,
    formula: &str,
    charged: &Exact,
    waste: &Exact,
    on: NaiveDate,
) -> Result<Vec<CostLine>, EngineError> {
    let mut costs = Costs::new(view, on, LineKind::CostPerBatch);
    if let Some(cost) = version.cost_per_batch {
        let mut line = CostLine::bare(LineKind::CostPerBatch);
        line.cost_of = Some(CostOf::CostPerBatch);
        let needed_for = || format!("the cost per batch of formula {formula}");
        match view.money_in_house_currency(cost, on, needed_for) {
            Ok((value, rate)) => {
                line.value = Some(value);
                line.source =
                    Source::CostPerBatch { formula: formula.to_owned(), number: version.number, rate };
            }
            Err(gap) => line.add_gap(gap),
        }
        costs.lines.push(line);
    }
    for cost in &version.making.costs {
        let needed_for = format!("“{}” of formula {formula}", cost.name);
        let named = |measure, rate| {
            Source::MakingCost(Arc::new(MakingCostSource {
                formula: formula.to_owned(),
                number: version.number,
                name: cost.name.clone(),
                measure,
                rate,
            }))
        };
        let figured = match &cost.amount {
            MakingCostAmount::PerBatch(money) => view
                .money_in_house_currency(*money, on, || needed_for.clone())
                .map(|(value, rate)| (value, named(MakingMeasure::Batch, rate))),
            MakingCostAmount::Hours { time, rate } => {
                costs.at_rate(CostOf::of(cost.kind), &cost.name, rate, &time.hours(), &needed_for)?;
                continue;
            }
            MakingCostAmount::PerKgCharged(price) => view
                .in_house_currency(&(price.to_exact() * charged), price.currency(), on, || needed_for.clone())
                .map(|(value, rate)| {
                    let measure = MakingMeasure::KgCharged { price: *price, kg: charged.clone() };
                    (value, named(measure, rate))
                }),
            MakingCostAmount::PerKgOfWaste(price) => view
                .in_house_currency(&(price.to_exact() * waste), price.currency(), on, || needed_for.clone())
                .map(|(value, rate)| {
                    let measure = MakingMeasure::KgOfWaste { price: *price, kg: waste.clone() };
                    (value, named(measure, rate))
                }),
        };
        if cost.kind == MakingCostKind::Labour {
            match &figured {
                Ok((value, _)) => costs.work.labour_cost += value,
                Err(gap) => add_gap(&mut costs.work.gaps, gap.clone()),
            }
        }
        costs.push(CostOf::of(cost.kind), Some(cost.name.clone()), figured);
    }
    costs.overheads(true)?;
    Ok(costs.lines)
}

/// What a run fills and wastes.
pub(crate) struct Run<'r> {
    /// Units filled; `None` where they are not known: values are then for one unit, and what is the same for every run is left out.
    pub filled: Option<&'r Exact>,
    /// Lost or left over at the filler, kg.
    pub waste: &'r Exact,
}

/// The costs of filling and labelling one run: line labour, machine time, changeover, disposal of what is lost at the filler,
/// overheads by name. Values are for the run, or for one unit.
pub(crate) fn filling_costs(
    view: &View<'_>,
    version: &FormulaVersion,
    pack: &Pack,
    run: &Run<'_>,
    on: NaiveDate,
) -> Result<Vec<CostLine>, EngineError> {
    let mut costs = Costs::new(view, on, LineKind::LineLabour);
    let filled = run.filled.unwrap_or(&Exact::ONE);
    if let Some(labour) = pack.line_labour {
        let needed_for = || format!("the line labour of pack {}", pack.code);
        let figured = view.money_in_house_currency(labour, on, needed_for).map(|(per_unit, rate)| {
            (per_unit * filled, Source::LineLabour { pack: pack.id, code: pack.code.clone(), rate })
        });
        match &figured {
            Ok((value, _)) => costs.work.labour_cost += value,
            Err(gap) => add_gap(&mut costs.work.gaps, gap.clone()),
        }
        costs.push(CostOf::LineLabour, None, figured);
    }
    if let Some(speed) = &pack.run.speed {
        let hours = filled.checked_div(&speed.units_per_hour.to_exact())?;
        let needed_for = format!("the line of pack {}", pack.code);
        if let Some(rate) = &speed.labour_rate {
            let hours = &hours * &speed.people.to_exact();
            costs.at_rate(CostOf::LineLabour, "line labour", rate, &hours, &needed_for)?;
        }
        if let Some(rate) = &speed.machine_rate {
            costs.at_rate(CostOf::LineMachine, "line", rate, &hours, &needed_for)?;
        }
    }
    if run.filled.is_some() {
        if let Some(changeover) = pack.run.changeover {
            let needed_for = || format!("the changeover of pack {}", pack.code);
            let figured = view.money_in_house_currency(changeover, on, needed_for).map(|(value, rate)| {
                (value, Source::Changeover { pack: pack.id, code: pack.code.clone(), rate })
            });
            costs.push(CostOf::Changeover, Some("changeover".to_owned()), figured);
        }
        if run.waste.is_positive() {
            let formula = &view.formula_of(version)?.code;
            for cost in &version.making.costs {
                if let MakingCostAmount::PerKgOfWaste(price) = &cost.amount {
                    costs.waste_at_filler(formula, version.number, cost, *price, run.waste);
                }
            }
        }
    }
    costs.overheads(false)?;
    Ok(costs.lines)
}

/// What making a batch of so much costs beside its ingredients, in the house's currency; the inner error is what is missing.
///
/// # Errors
/// [`EngineError::Amount`] when a figure leaves its range.
pub fn making_cost_of_batch(
    view: &View<'_>,
    version: &FormulaVersion,
    charged: &Exact,
    waste: &Exact,
    on: NaiveDate,
) -> Result<Result<Exact, Gap>, EngineError> {
    let formula = &view.formula_of(version)?.code;
    Ok(sum_of(making_costs(view, version, formula, charged, waste, on)?))
}

/// What filling a run of so many units costs beside components, in the house's currency; the inner error is what is missing.
/// What is lost at the filler is not known to it.
///
/// # Errors
/// [`EngineError::Amount`] when a figure leaves its range.
pub fn filling_cost_of_run(
    view: &View<'_>,
    version: &FormulaVersion,
    pack: &Pack,
    filled: &Exact,
    on: NaiveDate,
) -> Result<Result<Exact, Gap>, EngineError> {
    let run = Run { filled: Some(filled), waste: &Exact::ZERO };
    Ok(sum_of(filling_costs(view, version, pack, &run, on)?))
}

pub(crate) fn sum_of(lines: Vec<CostLine>) -> Result<Exact, Gap> {
    let mut sum = Exact::ZERO;
    for line in lines {
        if let Some(gap) = line.gaps.into_iter().next() {
            return Err(gap);
        }
        sum += line.value.unwrap_or_default();
    }
    Ok(sum)
}

impl<'v, 'a> Costs<'v, 'a> {
    fn new(view: &'v View<'a>, on: NaiveDate, kind: LineKind) -> Self {
        Self { view, on, kind, lines: Vec::new(), work: Work::default() }
    }

    fn push(&mut self, cost_of: CostOf, label: Option<String>, figured: Result<(Exact, Source), Gap>) {
        let mut line = CostLine::bare(self.kind);
        line.cost_of = Some(cost_of);
        line.label = label;
        match figured {
            Ok((value, source)) => {
                line.value = Some(value);
                line.source = source;
            }
            Err(gap) => line.add_gap(gap),
        }
        self.lines.push(line);
    }

    /// Hours at a rate of the house that is paid by the hour.
    fn at_rate(
        &mut self,
        cost_of: CostOf,
        label: &str,
        rate: &str,
        hours: &Exact,
        needed_for: &str,
    ) -> Result<(), EngineError> {
        let label = Some(label.to_owned());
        let Some(rate) = self.view.house_rate(rate, self.on) else {
            let gap =
                Gap::NoHouseRate { name: rate.to_owned(), on: self.on, needed_for: needed_for.to_owned() };
            add_gap(&mut self.work.gaps, gap.clone());
            self.push(cost_of, label, Err(gap));
            return Ok(());
        };
        let figured = self.figured(rate, hours)?;
        let is_labour = rate.of == HouseRateOf::LabourHour;
        match (&figured, is_labour) {
            (Ok((value, _)), true) => {
                self.work.labour_cost += value;
                self.work.labour_hours += hours;
            }
            (Ok(_), false) => self.work.machine_hours += hours,
            (Err(gap), _) => add_gap(&mut self.work.gaps, gap.clone()),
        }
        self.push(cost_of, label, figured);
        Ok(())
    }

    /// So much at a rate of the house: hours, batches, or money of labour.
    fn figured(&self, rate: &HouseRate, amount: &Exact) -> Result<Result<(Exact, Source), Gap>, EngineError> {
        let each = rate.rate()?;
        // A budget over what labour costs is in the same currency above and below, so it is a ratio as it stands.
        let currency: Option<Currency> = rate.currency().filter(|_| rate.of != HouseRateOf::OverheadOnLabour);
        let converted = match currency {
            None => Ok((&each * amount, None)),
            Some(currency) => {
                let needed_for = || format!("the house rate “{}”", rate.name);
                self.view.in_house_currency(&(&each * amount), currency, self.on, needed_for)
            }
        };
        Ok(converted.map(|(value, exchange)| {
            let budget = match &rate.amount {
                HouseRateAmount::Budget { cost, normal_capacity, capacity_used } => Some(BudgetUsed {
                    cost: *cost,
                    normal_capacity: *normal_capacity,
                    used_beyond: capacity_used.filter(|used| used > normal_capacity),
                }),
                _ => None,
            };
            let source = HouseRateSource {
                name: rate.name.clone(),
                from: rate.from,
                of: rate.of,
                each,
                currency,
                amount: amount.clone(),
                house_currency: self.view.currency(),
                budget,
                rate: exchange,
            };
            (value, Source::HouseRate(Arc::new(source)))
        }))
    }

    /// The overheads of the day on the work so far.
    fn overheads(&mut self, with_batch: bool) -> Result<(), EngineError> {
        let one = Exact::ONE;
        for rate in self.view.catalogue().overheads_on(self.on) {
            let base = match rate.of {
                HouseRateOf::OverheadPerLabourHour => &self.work.labour_hours,
                HouseRateOf::OverheadPerMachineHour => &self.work.machine_hours,
                HouseRateOf::OverheadOnLabour => &self.work.labour_cost,
                HouseRateOf::OverheadPerBatch if with_batch => &one,
                HouseRateOf::OverheadPerBatch | HouseRateOf::LabourHour | HouseRateOf::MachineHour => {
                    continue;
                }
            };
            // A rate of nought ends an overhead.
            let bears = rate.rate()?.is_positive();
            let on_work = rate.of != HouseRateOf::OverheadPerBatch;
            let unknown: &[Gap] = if on_work { &self.work.gaps } else { &[] };
            if !bears || (base.is_zero() && unknown.is_empty()) {
                continue;
            }
            let figured = self.figured(rate, base)?;
            let unknown = unknown.to_vec();
            self.push(CostOf::Overhead, Some(rate.name.clone()), figured);
            if let Some(line) = self.lines.last_mut() {
                for gap in unknown {
                    line.add_gap(gap);
                }
            }
        }
        Ok(())
    }

    fn waste_at_filler(
        &mut self,
        formula: &str,
        number: u32,
        cost: &MakingCost,
        price: UnitPrice,
        waste: &Exact,
    ) {
        let needed_for = || format!("“{}” of formula {formula}", cost.name);
        let figured = self
            .view
            .in_house_currency(&(price.to_exact() * waste), price.currency(), self.on, needed_for)
            .map(|(value, rate)| {
                let source = MakingCostSource {
                    formula: formula.to_owned(),
                    number,
                    name: cost.name.clone(),
                    measure: MakingMeasure::KgLostAtFiller { price, kg: waste.clone() },
                    rate,
                };
                (value, Source::MakingCost(Arc::new(source)))
            });
        self.push(CostOf::Disposal, Some(format!("{}, from the filler", cost.name)), figured);
    }
}

/// What has to be disposed of after a batch that yielded so much, kg: what is missing, less vapour and retains.
pub fn waste_of_batch(version: &FormulaVersion, charged: &Exact, yielded: Mass) -> Exact {
    let gone = charged * &version.making.evaporation.fraction();
    let gone = &(&gone + &version.making.retains.to_exact()) + &yielded.to_exact();
    (charged - &gone).max(Exact::ZERO)
}
