//! Low and high of each driver of a cost, ranked by what lies between them: the bars of a tornado chart.

use domain::formulas::FormulaVersion;
use kernel::{Currency, Exact, Mass, Percent, ids::MaterialId};
use serde::Serialize;
use std::collections::BTreeSet;

use super::{pinned, times};
use crate::{
    CostRequest, CostSheet, CostSubject, EngineError, MaterialRef, Per, Source, View,
    cost::CostLine,
    cost_sheet,
    explode::explode,
    normalise::normalise,
    reformulate::{NewShare, Reformulated, diluent_of, share_of, with_shares},
    view::{PriceAdjustment, PriceChange, PriceScope, RateAdjustment, RateChange},
    words::percent,
};

/// What is to be varied, and how far.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DriverQuestion {
    /// What is costed: a version, or a pack.
    pub of: CostRequest,
    /// Each material's prices, either way, % of the price.
    pub prices: Percent,
    /// Each line's dose, either way, % of the dose; the diluent takes the difference.
    pub doses: Percent,
    /// The line that takes up the difference; `None` for the q.s. line.
    pub against: Option<u32>,
    /// The process loss, either way, in points; not below nought.
    pub process_loss: Percent,
    /// The overfill, either way, in points; not below nought.
    pub overfill: Percent,
    /// The least and the most that is charged; `None` for half and twice the batch, as far as the vessel takes them.
    pub batches: Option<(Mass, Mass)>,
    /// Each exchange rate used, either way, % of the rate.
    pub rates: Percent,
}

impl DriverQuestion {
    /// Prices, doses and rates by ten percent, process loss and overfill by a point, half and twice the batch.
    pub fn of(of: CostRequest) -> Self {
        let ten = Percent::from_nano(10_000_000_000);
        let one = Percent::from_nano(1_000_000_000);
        Self {
            of,
            prices: ten,
            doses: ten,
            against: None,
            process_loss: one,
            overfill: one,
            batches: None,
            rates: ten,
        }
    }
}

/// Drivers of a cost, the widest swing first. Money is in the house's currency, per unit or per kg of good output.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Drivers {
    /// The house's currency.
    pub currency: Currency,
    /// What costs are of.
    pub per: Per,
    /// The cost as it is.
    #[serde(serialize_with = "crate::figures::cost")]
    pub base: Exact,
    /// Whether nothing is missing. When something is, every cost here is partial.
    pub complete: bool,
    /// The drivers, ranked.
    pub bars: Vec<Bar>,
    /// What could not be varied, and why.
    pub not_varied: Vec<NotVaried>,
}

/// What a cost depends on.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Driver {
    /// What a material is quoted at.
    Price {
        /// The material.
        material: MaterialRef,
    },
    /// How much of a material a line holds.
    Dose {
        /// The line's position.
        line: u32,
        /// The material.
        material: MaterialRef,
    },
    /// What never reaches the filler.
    ProcessLoss,
    /// What is filled beyond the declared quantity.
    Overfill,
    /// Everything charged.
    BatchSize,
    /// An exchange rate.
    Rate {
        /// The currency given.
        from: Currency,
        /// The currency got.
        to: Currency,
    },
}

impl Driver {
    /// A stable name for programs.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Price { .. } => "PRICE",
            Self::Dose { .. } => "DOSE",
            Self::ProcessLoss => "PROCESS_LOSS",
            Self::Overfill => "OVERFILL",
            Self::BatchSize => "BATCH_SIZE",
            Self::Rate { .. } => "RATE",
        }
    }
}

impl std::fmt::Display for Driver {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Price { material } => write!(f, "price of {material}"),
            Self::Dose { line, material } => write!(f, "dose of {material} on line {line}"),
            Self::ProcessLoss => f.write_str("process loss"),
            Self::Overfill => f.write_str("overfill"),
            Self::BatchSize => f.write_str("batch size"),
            Self::Rate { from, to } => write!(f, "exchange rate of {from} to {to}"),
        }
    }
}

/// One driver's bar.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Bar {
    /// The driver.
    pub driver: Driver,
    /// At its low value.
    pub low: DriverEnd,
    /// At its high value.
    pub high: DriverEnd,
    /// Between the two costs, whichever is dearer.
    #[serde(serialize_with = "crate::figures::cost")]
    pub swing: Exact,
}

/// One end of a bar.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct DriverEnd {
    /// What is assumed, for a person: `-10 %`, `13.2 %`, `200 kg`.
    pub assumed: String,
    /// The cost then.
    #[serde(serialize_with = "crate::figures::cost")]
    pub cost: Exact,
    /// That cost less the cost as it is.
    #[serde(serialize_with = "crate::figures::cost")]
    pub change: Exact,
}

/// A driver that could not be varied.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct NotVaried {
    /// The driver.
    pub driver: Driver,
    /// Why.
    pub why: String,
}

/// What a cost is when each driver in turn is low and high, everything else as it is, ranked by the difference.
///
/// # Errors
/// [`EngineError::Amount`] for percents below nought or, of prices, doses and rates, of 100 and more; those of [`cost_sheet`] of the
/// subject as it is. An end that cannot be costed is told in `not_varied`.
pub fn drivers(view: &View<'_>, question: &DriverQuestion) -> Result<Drivers, EngineError> {
    let (request, id) = pinned(view, &question.of)?;
    for relative in [question.prices, question.doses, question.rates] {
        relative.require_loss()?;
    }
    question.process_loss.require_not_negative()?;
    question.overfill.require_not_negative()?;
    let sheet = cost_sheet(view, &request)?;
    let per = Per::of(&sheet);
    let base = per.figure(&sheet).cloned().unwrap_or_default();
    let mut ranking =
        Ranking { view, request, per, base: base.clone(), bars: Vec::new(), not_varied: Vec::new() };
    let version = view.version(id)?.1;
    ranking.prices(&sheet, version, question.prices)?;
    ranking.rates(&sheet, question.rates);
    ranking.doses(version, question.doses, question.against)?;
    ranking.process_loss(version, question.process_loss);
    ranking.overfill(question.overfill)?;
    ranking.batch_size(version, question.batches);
    let Ranking { mut bars, not_varied, .. } = ranking;
    bars.sort_by(|a, b| b.swing.cmp(&a.swing).then_with(|| a.driver.cmp(&b.driver)));
    Ok(Drivers { currency: view.currency(), per, base, complete: sheet.complete, bars, not_varied })
}

struct Ranking<'v, 'a> {
    view: &'v View<'a>,
    request: CostRequest,
    per: Per,
    base: Exact,
    bars: Vec<Bar>,
    not_varied: Vec<NotVaried>,
}

/// A cost with what was assumed for it, or why there is none.
type End = Result<(String, Exact), String>;

impl Ranking<'_, '_> {
    fn cost(&self, view: &View<'_>, request: &CostRequest) -> Result<Exact, String> {
        let sheet = cost_sheet(view, request).map_err(|error| error.to_string())?;
        self.per.figure(&sheet).cloned().ok_or_else(|| "no unit is filled".to_owned())
    }

    fn put(&mut self, driver: Driver, low: End, high: End) {
        match (low, high) {
            (Ok(low), Ok(high)) => {
                let end = |(assumed, cost): (String, Exact)| DriverEnd {
                    assumed,
                    change: &cost - &self.base,
                    cost,
                };
                let (low, high) = (end(low), end(high));
                let swing = (&high.cost - &low.cost).abs();
                self.bars.push(Bar { driver, low, high, swing });
            }
            (Err(why), _) | (_, Err(why)) => self.not_varied.push(NotVaried { driver, why }),
        }
    }

    fn prices(
        &mut self,
        sheet: &CostSheet,
        version: &FormulaVersion,
        by: Percent,
    ) -> Result<(), EngineError> {
        let exploded = explode(self.view, version, self.request.as_of)?;
        let mut materials: Vec<MaterialId> = exploded
            .materials
            .iter()
            .filter(|part| part.per_kg_charged.is_positive())
            .map(|part| part.material)
            .collect();
        let components = sheet.lines.iter().filter(|line| line.kind == crate::cost::LineKind::Component);
        materials.extend(components.filter_map(|line| line.material.as_ref().map(|material| material.id)));
        let mut seen = BTreeSet::new();
        for id in materials.into_iter().filter(|id| seen.insert(*id)) {
            let driver = Driver::Price { material: MaterialRef::from(&**self.view.material(id)?) };
            if self.view.catalogue().quotations_of(id).is_empty() {
                self.not_varied.push(NotVaried { driver, why: "it has no quotation".to_owned() });
                continue;
            }
            let end = |percent: Percent| -> End {
                let mut overlay = self.view.overlay();
                let change = PriceAdjustment::ByPercent(percent);
                overlay.prices.push(PriceChange { scope: PriceScope::Material(id), change, from: None });
                Ok((percent.to_string(), self.cost(&self.view.overlaid(&overlay), &self.request)?))
            };
            let (low, high) = (end(negative(by)), end(by));
            // Quoted at nought, or costed on a basis that does not look at quotations.
            if !by.is_zero()
                && let (Ok((_, low)), Ok((_, high))) = (&low, &high)
                && low == high
            {
                let why = "the cost does not move with its quotations".to_owned();
                self.not_varied.push(NotVaried { driver, why });
                continue;
            }
            self.put(driver, low, high);
        }
        Ok(())
    }

    fn rates(&mut self, sheet: &CostSheet, by: Percent) {
        let mut pairs = BTreeSet::new();
        pairs_of(&sheet.lines, &mut pairs);
        for (from, to) in pairs {
            let end = |percent: Percent| -> End {
                let mut overlay = self.view.overlay();
                let change = RateAdjustment::ByPercent(percent);
                overlay.rates.push(RateChange { from, to, change, from_day: None });
                Ok((percent.to_string(), self.cost(&self.view.overlaid(&overlay), &self.request)?))
            };
            let (low, high) = (end(negative(by)), end(by));
            self.put(Driver::Rate { from, to }, low, high);
        }
    }

    fn doses(
        &mut self,
        version: &FormulaVersion,
        by: Percent,
        against: Option<u32>,
    ) -> Result<(), EngineError> {
        let normalised = normalise(self.view, version)?;
        let diluent = diluent_of(version, against);
        for line in &version.lines {
            if diluent.as_ref() == Ok(&line.position) {
                continue;
            }
            let material = MaterialRef::from(&**self.view.material(line.material)?);
            let driver = Driver::Dose { line: line.position, material };
            let end = |factor: Exact| -> End {
                let diluent = diluent.clone()?;
                let dose = share_of(&normalised, line.position).ok_or("its dose is not known")? * &factor;
                let change = NewShare { position: line.position, share: dose.clone(), material: None };
                let written = with_shares(self.view, version, &normalised, &[change], diluent)
                    .map_err(|error| error.to_string())?;
                let Reformulated::Written(assumed) = written else {
                    return Err("the diluent does not hold the difference".to_owned());
                };
                let view = self.view.assuming_version(&assumed);
                Ok((percent(&dose), self.cost(&view, &self.request)?))
            };
            // A line of nought has no tenth.
            if share_of(&normalised, line.position).is_some_and(Exact::is_zero) {
                continue;
            }
            let (low, high) = (end(Exact::ONE - by.fraction()), end(Exact::ONE + by.fraction()));
            self.put(driver, low, high);
        }
        Ok(())
    }

    fn process_loss(&mut self, version: &FormulaVersion, points: Percent) {
        let end = |loss: Percent| -> End {
            let mut assumed = version.clone();
            assumed.process_loss = loss.require_loss().map_err(|error| error.to_string())?;
            let view = self.view.assuming_version(&assumed);
            Ok((loss.to_string(), self.cost(&view, &self.request)?))
        };
        let (low, high) = around(version.process_loss, points);
        let (low, high) = (end(low), end(high));
        self.put(Driver::ProcessLoss, low, high);
    }

    fn overfill(&mut self, points: Percent) -> Result<(), EngineError> {
        let CostSubject::Pack { pack, .. } = self.request.subject else { return Ok(()) };
        let pack = self.view.pack(pack)?;
        let end = |overfill: Percent| -> End {
            let mut assumed = pack.clone();
            assumed.overfill = overfill;
            let view = self.view.assuming_pack(&assumed);
            Ok((overfill.to_string(), self.cost(&view, &self.request)?))
        };
        let (low, high) = around(pack.overfill, points);
        let (low, high) = (end(low), end(high));
        self.put(Driver::Overfill, low, high);
        Ok(())
    }

    fn batch_size(&mut self, version: &FormulaVersion, asked: Option<(Mass, Mass)>) {
        let batch = self.request.batch.unwrap_or(version.usual_batch);
        let half_and_twice = || {
            let half = times(batch, &Exact::scaled(5, 1))?;
            let twice = times(batch, &Exact::whole(2))?;
            let half = version.smallest_batch.map_or(half, |smallest| half.max(smallest.min(batch)));
            let twice = version.largest_batch.map_or(twice, |largest| twice.min(largest.max(batch)));
            Some((half, twice))
        };
        let end = |batch: Option<Mass>| -> End {
            let batch = batch.ok_or("such a batch cannot be kept")?;
            Ok((batch.to_string(), self.cost(self.view, &self.request.at_batch(batch))?))
        };
        let ends = asked.or_else(half_and_twice);
        let (low, high) = (end(ends.map(|ends| ends.0)), end(ends.map(|ends| ends.1)));
        self.put(Driver::BatchSize, low, high);
    }
}

fn negative(percent: Percent) -> Percent {
    Percent::from_nano(percent.nano().saturating_neg())
}

/// So many points below, not under nought, and above.
fn around(percent: Percent, points: Percent) -> (Percent, Percent) {
    let low = percent.nano().saturating_sub(points.nano()).max(0);
    (Percent::from_nano(low), Percent::from_nano(percent.nano().saturating_add(points.nano())))
}

/// The pairs of currencies that figures of these lines went through.
fn pairs_of(lines: &[CostLine], pairs: &mut BTreeSet<(Currency, Currency)>) {
    for line in lines {
        let rate = match &line.source {
            Source::Quotation(source) => source.rate.as_ref(),
            Source::RolledUp(source) => source.making_rate.as_ref(),
            Source::CostPerBatch { rate, .. }
            | Source::LineLabour { rate, .. }
            | Source::Changeover { rate, .. } => rate.as_ref(),
            Source::MakingCost(source) => source.rate.as_ref(),
            Source::HouseRate(source) => source.rate.as_ref(),
            _ => None,
        };
        if let Some(rate) = rate {
            pairs.insert((rate.from, rate.to));
        }
        pairs_of(&line.nested, pairs);
    }
}
