//! The cost against the size of the batch.

use domain::formulas::FormulaVersion;
use kernel::{Currency, Exact, Mass};
use serde::Serialize;

use super::{pinned, times};
use crate::{
    CostRequest, CostSheet, CostSubject, EngineError, Per, View, cost_sheet, output::charge_for_units,
};

/// Points of one curve at most.
pub const BATCH_POINTS_MAX: usize = 200;
/// How far a search goes above the usual batch where the vessel sets no end.
const SEARCH_TIMES_USUAL: i128 = 1_000;
/// Steps of a search for the liquid alone: one gram.
const GRAM: i64 = 1_000_000;

/// A curve to be worked out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BatchQuestion {
    /// What is costed: a version, or a pack.
    pub of: CostRequest,
    /// The batches, everything charged; none for a quarter, a half, one, two and four times the usual one, as far as the vessel takes
    /// them.
    pub batches: Vec<Mass>,
    /// A cost per unit (per kg of good output where nothing is filled), in the house's currency, to find the batch for.
    pub target: Option<Exact>,
}

/// A curve. Money is in the house's currency.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct BatchCurve {
    /// The house's currency.
    pub currency: Currency,
    /// What `target` and the break-even are of.
    pub per: Per,
    /// The points, from the smallest batch.
    pub points: Vec<BatchPoint>,
    /// The cost to be met.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub target: Option<Exact>,
    /// The smallest batch that meets it; only when a target was asked for.
    pub break_even: Option<BreakEvenBatch>,
}

/// What one batch comes to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct BatchPoint {
    /// Everything charged.
    pub batch: Mass,
    /// Process loss and heel as a fraction of it (percent in JSON).
    #[serde(serialize_with = "crate::figures::optional_percent")]
    pub lost: Option<Exact>,
    /// What reaches the filler or the shelf, kg.
    #[serde(serialize_with = "crate::figures::optional_amount")]
    pub good: Option<Exact>,
    /// Whole units, where they are known.
    pub units: Option<i128>,
    /// One kg of good output.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub cost_per_kg: Option<Exact>,
    /// One unit.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub cost_per_unit: Option<Exact>,
    /// The part of it, or of the cost per kg where nothing is filled, that is the cost per batch.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub making: Option<Exact>,
    /// Whether the vessel takes it.
    pub fits_vessel: bool,
    /// Whether this is the version's usual batch.
    pub is_usual: bool,
    /// Why it cannot be costed at all: it leaves nothing, or fills no unit.
    pub refused: Option<String>,
    /// Whether nothing is missing.
    pub complete: bool,
}

/// Where a cost is met.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "outcome", rename_all = "kebab-case")]
pub enum BreakEvenBatch {
    /// At this batch; one unit less (one gram less, where nothing is filled) costs more than the target.
    At {
        /// Everything charged, rounded up to what is kept.
        batch: Mass,
        /// Units it fills.
        units: Option<i128>,
        /// What one costs there.
        #[serde(serialize_with = "crate::figures::cost")]
        cost: Exact,
    },
    /// The smallest batch there can be meets it.
    FromTheSmallest {
        /// Everything charged.
        batch: Mass,
        /// Units it fills.
        units: Option<i128>,
        /// What one costs there.
        #[serde(serialize_with = "crate::figures::cost")]
        cost: Exact,
    },
    /// Not even the largest batch looked at meets it.
    NotReached {
        /// Everything charged: the most the vessel takes, or a thousand times the usual batch.
        largest: Mass,
        /// What one costs there.
        #[serde(serialize_with = "crate::figures::cost")]
        cost: Exact,
    },
    /// Something is missing, so that no cost is known.
    NotKnown,
}

/// What a cost is at other batches.
///
/// The break-even is searched for by doubling from the smallest batch and halving between the last that misses the target and the first
/// that meets it. For a pack only batches that fill whole units without a remainder are looked at. Costs fall with the batch but for the
/// packs a larger order takes, so where price breaks make them rise again an even smaller batch may meet the target too.
///
/// # Errors
/// [`EngineError::QuestionDoesNotFit`] for too many batches; those of [`cost_sheet`] but for batches that are too small, which are told
/// as `refused`.
pub fn batch_curve(view: &View<'_>, question: &BatchQuestion) -> Result<BatchCurve, EngineError> {
    let (request, id) = pinned(view, &question.of)?;
    let version = view.version(id)?.1;
    if question.batches.len() > BATCH_POINTS_MAX {
        return Err(EngineError::QuestionDoesNotFit {
            why: format!(
                "{} batches are more than the {BATCH_POINTS_MAX} of one curve",
                question.batches.len()
            ),
        });
    }
    let mut batches = question.batches.clone();
    if batches.is_empty() {
        batches = usual_batches(version);
    }
    batches.sort();
    batches.dedup();
    let mut points = Vec::with_capacity(batches.len());
    for batch in batches {
        points.push(point(view, version, &request, batch)?);
    }
    let per = match request.subject {
        CostSubject::Pack { .. } => Per::Unit,
        CostSubject::Version(_) => Per::Kilogram,
    };
    let break_even = match &question.target {
        Some(target) => Some(Search { view, version, request, target }.run()?),
        None => None,
    };
    Ok(BatchCurve { currency: view.currency(), per, points, target: question.target.clone(), break_even })
}

fn fits_vessel(version: &FormulaVersion, batch: Mass) -> bool {
    version.smallest_batch.is_none_or(|smallest| batch >= smallest)
        && version.largest_batch.is_none_or(|largest| batch <= largest)
}

fn usual_batches(version: &FormulaVersion) -> Vec<Mass> {
    let factors = [(1, 4), (1, 2), (1, 1), (2, 1), (4, 1)];
    let scaled = factors
        .iter()
        .filter_map(|(n, d)| times(version.usual_batch, &Exact::ratio(*n, *d).ok()?))
        .filter(|batch| fits_vessel(version, *batch));
    scaled.chain(version.smallest_batch).chain(version.largest_batch).collect()
}

/// The sheet of a batch; the inner error says why the batch is too small.
fn sheet_at(
    view: &View<'_>,
    request: &CostRequest,
    batch: Mass,
) -> Result<Result<CostSheet, String>, EngineError> {
    match cost_sheet(view, &request.at_batch(batch)) {
        Ok(sheet) => Ok(Ok(sheet)),
        Err(
            error @ (EngineError::BatchNotPositive
            | EngineError::NothingLeft { .. }
            | EngineError::NotOneUnit { .. }
            | EngineError::NothingSaleable { .. }),
        ) => Ok(Err(error.to_string())),
        Err(error) => Err(error),
    }
}

fn point(
    view: &View<'_>,
    version: &FormulaVersion,
    request: &CostRequest,
    batch: Mass,
) -> Result<BatchPoint, EngineError> {
    let mut point = BatchPoint {
        batch,
        lost: None,
        good: None,
        units: None,
        cost_per_kg: None,
        cost_per_unit: None,
        making: None,
        fits_vessel: fits_vessel(version, batch),
        is_usual: batch == version.usual_batch,
        refused: None,
        complete: false,
    };
    match sheet_at(view, request, batch)? {
        Ok(sheet) => {
            let lost = &sheet.batch.charged - &sheet.batch.good;
            let units = sheet.filling.as_ref().map(|filling| filling.units);
            let over = units.map_or_else(|| sheet.batch.good.clone(), Exact::whole);
            point.lost = Some(lost.checked_div(&sheet.batch.charged)?);
            point.units = units;
            point.making = Some(sheet.totals.making.checked_div(&over)?);
            point.good = Some(sheet.batch.good);
            point.cost_per_kg = Some(sheet.totals.per_kg);
            point.cost_per_unit = sheet.totals.per_unit;
            point.complete = sheet.complete;
        }
        Err(why) => point.refused = Some(why),
    }
    Ok(point)
}

struct Search<'v, 'a> {
    view: &'v View<'a>,
    version: &'a FormulaVersion,
    request: CostRequest,
    target: &'v Exact,
}

/// A batch that was looked at.
struct Tried {
    batch: Mass,
    units: Option<i128>,
    cost: Exact,
}

impl Search<'_, '_> {
    fn run(&self) -> Result<BreakEvenBatch, EngineError> {
        let largest = match self.version.largest_batch {
            Some(largest) => largest,
            None => times(self.version.usual_batch, &Exact::whole(SEARCH_TIMES_USUAL))
                .unwrap_or(self.version.usual_batch),
        };
        let smallest = self.version.smallest_batch.unwrap_or(Mass::ZERO);
        let steps = match self.request.subject {
            CostSubject::Pack { .. } => self.unit_steps(smallest, largest)?,
            CostSubject::Version(_) => self.gram_steps(smallest, largest),
        };
        let Some((mut low, high)) = steps else { return Ok(BreakEvenBatch::NotKnown) };
        let Some(at_low) = self.at(low)? else { return Ok(BreakEvenBatch::NotKnown) };
        if at_low.cost <= *self.target {
            let Tried { batch, units, cost } = at_low;
            return Ok(BreakEvenBatch::FromTheSmallest { batch, units, cost });
        }
        let mut met = loop {
            let next = low.saturating_mul(2).min(high);
            let Some(tried) = self.at(next)? else { return Ok(BreakEvenBatch::NotKnown) };
            if tried.cost <= *self.target {
                break (next, tried);
            }
            if next >= high {
                return Ok(BreakEvenBatch::NotReached { largest: tried.batch, cost: tried.cost });
            }
            low = next;
        };
        while met.0 - low > 1 {
            let middle = low + (met.0 - low) / 2;
            let Some(tried) = self.at(middle)? else { return Ok(BreakEvenBatch::NotKnown) };
            if tried.cost <= *self.target {
                met = (middle, tried);
            } else {
                low = middle;
            }
        }
        let Tried { batch, units, cost } = met.1;
        Ok(BreakEvenBatch::At { batch, units, cost })
    }

    /// The fewest and the most units that batches the vessel takes fill, of which one at least is for sale.
    fn unit_steps(&self, smallest: Mass, largest: Mass) -> Result<Option<(i64, i64)>, EngineError> {
        let units_at = |batch: Mass| -> Result<Option<i64>, EngineError> {
            let sheet = sheet_at(self.view, &self.request, batch)?.ok();
            Ok(sheet.and_then(|sheet| sheet.filling).and_then(|filling| i64::try_from(filling.filled).ok()))
        };
        let CostSubject::Pack { pack, .. } = self.request.subject else { return Ok(None) };
        let one_for_sale = i64::from(self.view.pack(pack)?.run.units_kept_back) + 1;
        let Some(most) = units_at(largest)? else { return Ok(None) };
        let mut fewest =
            if smallest.is_zero() { one_for_sale } else { units_at(smallest)?.unwrap_or(one_for_sale) };
        if self.batch_of(fewest)?.is_some_and(|batch| batch < smallest) {
            fewest += 1;
        }
        Ok(Some((fewest.min(most), most)))
    }

    /// The least and the most grams to look at: what the vessel takes, and more than the heel.
    fn gram_steps(&self, smallest: Mass, largest: Mass) -> Option<(i64, i64)> {
        let kept = &Exact::ONE - &self.version.process_loss.fraction();
        let heel = self.version.heel.to_exact().checked_div(&kept).ok()?;
        let heel = Mass::from_exact_up(&heel).ok()?;
        let least = (smallest.micrograms() - 1).div_euclid(GRAM) + 1;
        let least = least.max(heel.micrograms().div_euclid(GRAM) + 1);
        let most = largest.micrograms().div_euclid(GRAM);
        (least <= most).then_some((least, most))
    }

    fn batch_of(&self, step: i64) -> Result<Option<Mass>, EngineError> {
        match self.request.subject {
            CostSubject::Version(_) => Ok(step.checked_mul(GRAM).map(Mass::from_micrograms)),
            CostSubject::Pack { pack, .. } => {
                let pack = self.view.pack(pack)?;
                let charge = charge_for_units(self.view, pack, self.version, &Exact::from(step))?;
                Ok(charge.ok().map(|charge| Mass::from_exact_up(&charge)).transpose()?)
            }
        }
    }

    /// What one costs at a step; `None` where a figure is missing.
    fn at(&self, step: i64) -> Result<Option<Tried>, EngineError> {
        let Some(batch) = self.batch_of(step)? else { return Ok(None) };
        let sheet = cost_sheet(self.view, &self.request.at_batch(batch))?;
        if !sheet.complete {
            return Ok(None);
        }
        let units = sheet.filling.as_ref().map(|filling| filling.units);
        let cost = match self.request.subject {
            CostSubject::Pack { .. } => sheet.totals.per_unit,
            CostSubject::Version(_) => Some(sheet.totals.per_kg),
        };
        Ok(cost.map(|cost| Tried { batch, units, cost }))
    }
}
