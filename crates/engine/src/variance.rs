//! Why a batch did not cost what it should have: price, usage, mix, yield and overhead, adding up exactly.
//!
//! Everything is measured against the standard cost of *what came out*. A variance above nought is favourable (it cost less), below
//! nought adverse. With standard price `SP`, actual amount `AQ`, actual value `AV`, and `SQ` the amount the standard allows for the
//! actual output:
//!
//! - price = `AQ × SP − AV`
//! - usage = `(SQ − AQ) × SP`, and for ingredients, which can stand in for one another, split into
//!   - mix = `(standard part of all ingredients that went in − AQ) × SP`
//!   - yield = `(SQ − standard part of all ingredients that went in) × SP`, over all ingredients
//!     `(actual output − output the input should have given) × standard cost of one`
//!
//! Overheads are not bought by anybody: what they differ by, in rate and in volume, is told as one figure beside price and usage.
//!
//! A normal loss stands inside the standard, as more input than output; what is lost beyond it shows as yield.

mod loss;
mod of_batch;
mod print;

use kernel::{Currency, Exact, ids::MaterialId};
use serde::{Serialize, Serializer, ser::Error as _};

use crate::{
    CostSheet, EngineError, MaterialRef, Per, Source,
    batch_costs::CostOf,
    cost::{CostLine, LineKind},
    source::MakingMeasure,
};

pub use loss::{LossAccount, loss_account};
pub use of_batch::{BatchMade, BatchVariances, UsedInBatch, batch_variances};
pub use print::{PrintedVarianceLine, PrintedVariances};

/// What a batch should take and cost.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Standard {
    /// What should come out, in kg or units.
    pub output: Exact,
    /// What should go in for that.
    pub lines: Vec<StandardLine>,
}

/// One thing that should go in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StandardLine {
    /// What it is. Only ingredients make a mix.
    pub kind: LineKind,
    /// What a cost of making or filling is for.
    pub cost_of: Option<CostOf>,
    /// Its name, where it has one of its own; the same on both sides names the same cost.
    pub label: Option<String>,
    /// The ingredient or component; `None` for costs that are of nothing weighed or counted.
    pub material: Option<MaterialRef>,
    /// kg or pieces; batches for a cost per batch, units for line labour, or hours.
    pub amount: Exact,
    /// Of one.
    pub price: Exact,
}

impl Standard {
    /// The standard that a cost sheet sets: in kg of good liquid, or in units with packaging and filling.
    ///
    /// # Errors
    /// [`EngineError::QuestionDoesNotFit`] for a sheet with gaps, or without units where units are asked for.
    pub fn of(sheet: &CostSheet, per: Per) -> Result<Self, EngineError> {
        let does_not_fit = |why: &str| EngineError::QuestionDoesNotFit { why: why.to_owned() };
        if !sheet.complete {
            return Err(does_not_fit("a cost sheet with gaps sets no standard"));
        }
        let output = match (per, &sheet.filling) {
            (Per::Kilogram, _) => sheet.batch.good.clone(),
            (Per::Unit, Some(filling)) => Exact::whole(filling.units),
            (Per::Unit, None) => return Err(does_not_fit("a cost sheet of a liquid has no units")),
        };
        let mut lines = Vec::with_capacity(sheet.lines.len());
        for line in &sheet.lines {
            let liquid = matches!(line.kind, LineKind::Ingredient | LineKind::CostPerBatch);
            if per == Per::Kilogram && !liquid {
                continue;
            }
            let value = line.value.clone().unwrap_or_default();
            let (amount, price) = match line.kind {
                LineKind::Ingredient | LineKind::Component => {
                    (line.amount.clone().unwrap_or_default(), line.unit_cost.clone().unwrap_or_default())
                }
                LineKind::CostPerBatch => {
                    let amount = measured(line);
                    let price = value.checked_div(&amount).unwrap_or_default();
                    (amount, price)
                }
                LineKind::LineLabour => (output.clone(), value.checked_div(&output)?),
            };
            lines.push(StandardLine {
                kind: line.kind,
                cost_of: line.cost_of,
                label: line.label.clone(),
                material: line.material.clone(),
                amount,
                price,
            });
        }
        Ok(Self { output, lines })
    }
}

/// How much a cost of making or filling is of: hours, kilograms, what labour costs; one for what is the same for every batch. Never
/// nought, so that it has a price.
fn measured(line: &CostLine) -> Exact {
    let amount = match &line.source {
        Source::HouseRate(source) => source.amount.clone(),
        Source::MakingCost(source) => match &source.measure {
            MakingMeasure::Batch => Exact::ONE,
            MakingMeasure::KgCharged { kg, .. }
            | MakingMeasure::KgOfWaste { kg, .. }
            | MakingMeasure::KgLostAtFiller { kg, .. } => kg.clone(),
        },
        _ => Exact::ONE,
    };
    if amount.is_positive() { amount } else { Exact::ONE }
}

impl ActualLine {
    /// A cost of making or filling as it really was.
    fn of_cost(line: &CostLine) -> Self {
        Self {
            kind: line.kind,
            cost_of: line.cost_of,
            label: line.label.clone(),
            material: line.material.clone(),
            amount: measured(line),
            value: line.value.clone().unwrap_or_default(),
        }
    }
}

/// What a batch really took and cost.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Actual {
    /// What came out, in what the standard's output is in.
    pub output: Exact,
    /// What went in.
    pub lines: Vec<ActualLine>,
}

/// One thing that went in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ActualLine {
    /// What it is.
    pub kind: LineKind,
    /// What a cost of making or filling is for.
    pub cost_of: Option<CostOf>,
    /// Its name, where it has one of its own.
    pub label: Option<String>,
    /// The ingredient or component.
    pub material: Option<MaterialRef>,
    /// In what the standard's amount is in.
    pub amount: Exact,
    /// What it cost in all.
    pub value: Exact,
}

/// Variances of a batch, in the house's currency; above nought is favourable. Nothing is rounded; as JSON it stands as
/// [`Variances::print`] has it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Variances {
    /// The house's currency.
    pub currency: Currency,
    /// What should have come out of a standard batch.
    pub standard_output: Exact,
    /// What came out.
    pub actual_output: Exact,
    /// What should have come out of the ingredients that went in; `None` when no ingredient has a standard amount.
    pub expected_output: Option<Exact>,
    /// What the actual output should have cost.
    pub standard_cost: Exact,
    /// What it cost.
    pub actual_cost: Exact,
    /// Line by line, all lines of a material together: those of the standard first, then what was not planned.
    pub lines: Vec<VarianceLine>,
    /// The sums.
    pub sums: VarianceSums,
}

/// One line's variances.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VarianceLine {
    /// What it is.
    pub kind: LineKind,
    /// What a cost of making or filling is for.
    pub cost_of: Option<CostOf>,
    /// Its name, where it has one of its own.
    pub label: Option<String>,
    /// The ingredient or component.
    pub material: Option<MaterialRef>,
    /// What the standard allows for the actual output.
    pub standard_amount: Exact,
    /// The standard price; for what was not planned, the price it was had at.
    pub standard_price: Exact,
    /// What went in.
    pub actual_amount: Exact,
    /// What it cost.
    pub actual_value: Exact,
    /// Bought dearer or cheaper.
    pub price: Exact,
    /// Used more or less than the output allows; the sum of the next two for an ingredient.
    pub usage: Exact,
    /// Stood for more or less of the input than it should; `None` for what makes no mix.
    pub mix: Option<Exact>,
    /// The input gave more or less than it should; `None` for what makes no mix.
    pub yielded: Option<Exact>,
    /// Price and usage together.
    pub total: Exact,
    /// Whether the standard knows nothing of it.
    pub unplanned: bool,
}

impl VarianceLine {
    /// Whether it is an overhead, whose variance is told as one figure.
    pub fn is_overhead(&self) -> bool {
        self.cost_of == Some(CostOf::Overhead)
    }
}

/// Sums of variances. `price + usage + overhead` is `total`; `mix + yielded + other_usage` is `usage`; `total` is the standard cost of
/// the output less its actual cost.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct VarianceSums {
    /// Prices, of everything but overheads.
    pub price: Exact,
    /// Usage, of everything but overheads.
    pub usage: Exact,
    /// The mix of ingredients.
    pub mix: Exact,
    /// The yield of the ingredients.
    pub yielded: Exact,
    /// Usage of what makes no mix: components, cost per batch, labour.
    pub other_usage: Exact,
    /// Overheads, in rate and in volume.
    pub overhead: Exact,
    /// All of it.
    pub total: Exact,
}

impl Serialize for Variances {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.print().map_err(S::Error::custom)?.serialize(serializer)
    }
}

/// `favourable`, `adverse`, or neither.
pub fn in_words(variance: &Exact) -> &'static str {
    match (variance.is_positive(), variance.is_negative()) {
        (true, _) => "favourable",
        (_, true) => "adverse",
        _ => "none",
    }
}

/// A batch against its standard.
///
/// What the standard knows nothing of has no standard price; it is held against the price it was had at, so that all of it counts as
/// usage.
///
/// # Errors
/// [`EngineError::QuestionDoesNotFit`] for a standard without output, and for amounts, values or outputs below nought.
pub fn variances(standard: &Standard, actual: &Actual, currency: Currency) -> Result<Variances, EngineError> {
    let does_not_fit = |why: &str| EngineError::QuestionDoesNotFit { why: why.to_owned() };
    if !standard.output.is_positive() {
        return Err(does_not_fit("a standard needs an output above nought"));
    }
    let below_nought = actual.output.is_negative()
        || actual.lines.iter().any(|line| line.amount.is_negative() || line.value.is_negative())
        || standard.lines.iter().any(|line| line.amount.is_negative() || line.price.is_negative());
    if below_nought {
        return Err(does_not_fit("an amount, a price and an output must not be below nought"));
    }
    // What came out, in standard batches.
    let batches = actual.output.checked_div(&standard.output)?;
    let mut lines = gather(standard, actual, &batches);

    let actual_input: Exact =
        lines.iter().filter(|line| line.kind == LineKind::Ingredient).map(|line| &line.actual_amount).sum();
    // Standard batches that the ingredients put in would make. Taken from the standard itself, so that a batch that yielded nothing
    // has an answer too.
    let planned_input: Exact =
        standard.lines.iter().filter(|line| line.kind == LineKind::Ingredient).map(|line| &line.amount).sum();
    let input_batches = actual_input.checked_div(&planned_input).ok();

    let mut sums = VarianceSums::default();
    for line in &mut lines {
        line.price = &(&line.actual_amount * &line.standard_price) - &line.actual_value;
        line.usage = &(&line.standard_amount - &line.actual_amount) * &line.standard_price;
        line.total = &line.price + &line.usage;
        if line.kind == LineKind::Ingredient {
            let planned = planned_amount(standard, line.material.as_ref().map(|material| material.id));
            let part = match &input_batches {
                Some(batches) => &planned * batches,
                None => Exact::ZERO,
            };
            let mix = &(&part - &line.actual_amount) * &line.standard_price;
            let yielded = &(&line.standard_amount - &part) * &line.standard_price;
            sums.mix += &mix;
            sums.yielded += &yielded;
            line.mix = Some(mix);
            line.yielded = Some(yielded);
        } else if !line.is_overhead() {
            sums.other_usage += &line.usage;
        }
        if line.is_overhead() {
            sums.overhead += &line.total;
        } else {
            sums.price += &line.price;
            sums.usage += &line.usage;
        }
        sums.total += &line.total;
    }
    Ok(Variances {
        currency,
        standard_output: standard.output.clone(),
        actual_output: actual.output.clone(),
        expected_output: input_batches.map(|batches| &batches * &standard.output),
        standard_cost: lines.iter().map(|line| &line.standard_amount * &line.standard_price).sum(),
        actual_cost: lines.iter().map(|line| &line.actual_value).sum(),
        lines,
        sums,
    })
}

fn planned_amount(standard: &Standard, material: Option<MaterialId>) -> Exact {
    let same = |line: &&StandardLine| {
        line.kind == LineKind::Ingredient && line.material.as_ref().map(|material| material.id) == material
    };
    standard.lines.iter().filter(same).map(|line| &line.amount).sum()
}

/// What makes two lines lines of one thing.
#[derive(Debug, PartialEq, Eq)]
struct Key<'l> {
    kind: LineKind,
    cost_of: Option<CostOf>,
    label: Option<&'l str>,
    material: Option<MaterialId>,
}

impl<'l> Key<'l> {
    fn new(
        kind: LineKind,
        cost_of: Option<CostOf>,
        label: Option<&'l str>,
        material: Option<&MaterialRef>,
    ) -> Self {
        Self { kind, cost_of, label, material: material.map(|material| material.id) }
    }

    fn of_line(line: &'l VarianceLine) -> Self {
        Self::new(line.kind, line.cost_of, line.label.as_deref(), line.material.as_ref())
    }
}

/// Both sides by kind, name and material, before anything is compared.
fn gather(standard: &Standard, actual: &Actual, batches: &Exact) -> Vec<VarianceLine> {
    let mut lines: Vec<VarianceLine> = Vec::new();
    let find =
        |lines: &[VarianceLine], key: &Key<'_>| lines.iter().position(|line| Key::of_line(line) == *key);
    let new = |key: &Key<'_>, material: &Option<MaterialRef>| VarianceLine {
        kind: key.kind,
        cost_of: key.cost_of,
        label: key.label.map(ToOwned::to_owned),
        material: material.clone(),
        standard_amount: Exact::ZERO,
        standard_price: Exact::ZERO,
        actual_amount: Exact::ZERO,
        actual_value: Exact::ZERO,
        price: Exact::ZERO,
        usage: Exact::ZERO,
        mix: None,
        yielded: None,
        total: Exact::ZERO,
        unplanned: false,
    };
    for planned in &standard.lines {
        let key =
            Key::new(planned.kind, planned.cost_of, planned.label.as_deref(), planned.material.as_ref());
        let at = find(&lines, &key).unwrap_or_else(|| {
            lines
                .push(VarianceLine { standard_price: planned.price.clone(), ..new(&key, &planned.material) });
            lines.len() - 1
        });
        let Some(line) = lines.get_mut(at) else { continue };
        if line.standard_price != planned.price {
            // Two lines of one material at two prices: their average keeps the standard cost what it is.
            let value = &(&line.standard_amount * &line.standard_price)
                + &(&(&planned.amount * batches) * &planned.price);
            let amount = &line.standard_amount + &(&planned.amount * batches);
            line.standard_price = value.checked_div(&amount).unwrap_or_else(|_| line.standard_price.clone());
        }
        line.standard_amount += &planned.amount * batches;
    }
    let planned = lines.len();
    for used in &actual.lines {
        let key = Key::new(used.kind, used.cost_of, used.label.as_deref(), used.material.as_ref());
        let at = find(&lines, &key).unwrap_or_else(|| {
            lines.push(VarianceLine { unplanned: true, ..new(&key, &used.material) });
            lines.len() - 1
        });
        let Some(line) = lines.get_mut(at) else { continue };
        line.actual_amount += &used.amount;
        line.actual_value += &used.value;
    }
    for line in lines.iter_mut().skip(planned) {
        // Nothing of something that cost money leaves no price; it is then a price variance.
        line.standard_price = line.actual_value.checked_div(&line.actual_amount).unwrap_or_default();
    }
    lines
}
