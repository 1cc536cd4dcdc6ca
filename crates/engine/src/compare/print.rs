//! Comparisons as they are printed: the difference is that of the two printed costs, and lines, effects and causes are given their
//! parts of it, so that every column of differences adds up as printed.

use chrono::NaiveDate;
use kernel::{Currency, Exact};
use rust_decimal::Decimal;
use serde::Serialize;

use super::{Comparison, LineDifference, Per, Side};
use crate::{
    EngineError, MaterialRef,
    adding_up::parts_of,
    present::{AMOUNT_PLACES, PER_KG_PLACES, PER_UNIT_PLACES, PERCENT_PLACES},
};

/// A comparison as it is printed. Decimals are strings in JSON.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedComparison {
    /// A stable name of what figures are of: `UNIT`, `KILOGRAM`.
    pub per: &'static str,
    /// All money is in it.
    pub currency: Currency,
    /// The first sheet.
    pub before: PrintedSide,
    /// The second sheet.
    pub after: PrintedSide,
    /// The cost after less the cost before, both as printed. Lines add up to it, and so do causes.
    pub difference: Decimal,
    /// The same as percent of the cost before.
    pub difference_percent: Option<Decimal>,
    /// Line by line.
    pub lines: Vec<PrintedDifference>,
    /// By cause.
    pub causes: Vec<PrintedCause>,
    /// Whether both sheets are complete. When not, the difference is one of partial totals.
    pub complete: bool,
}

/// One of the two sheets as it is printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedSide {
    /// The formula's code.
    pub formula_code: String,
    /// The version's number.
    pub version_number: u32,
    /// `draft`, `approved` or `retired`.
    pub version_status: &'static str,
    /// The pack's code.
    pub pack_code: Option<String>,
    /// The day costed for.
    pub as_of: NaiveDate,
    /// A stable name of the basis: which price was used for what is bought.
    pub basis: &'static str,
    /// Everything charged, kg.
    pub charged_kg: Decimal,
    /// Per unit or kilogram.
    pub cost: Decimal,
    /// Whether nothing is missing.
    pub complete: bool,
}

/// One line's difference as it is printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedDifference {
    /// A stable name: `INGREDIENT`, `COST_PER_BATCH`, `COMPONENT`, `LINE_LABOUR`.
    pub kind: &'static str,
    /// What to call it.
    pub label: String,
    /// The ingredient or component.
    pub material: Option<MaterialRef>,
    /// A stable name: `SAME`, `CHANGED`, `ADDED`, `REMOVED`.
    pub change: &'static str,
    /// Before, in `unit`.
    pub amount_before: Option<Decimal>,
    /// After, in `unit`.
    pub amount_after: Option<Decimal>,
    /// `kg` or `pcs`.
    pub unit: Option<&'static str>,
    /// Per kg or piece before; for a cost per batch, the batch's.
    pub price_before: Option<Decimal>,
    /// Per kg or piece after; for a cost per batch, the batch's.
    pub price_after: Option<Decimal>,
    /// Value before, rounded by itself.
    pub value_before: Option<Decimal>,
    /// Value after, rounded by itself.
    pub value_after: Option<Decimal>,
    /// This line's part of the difference: the sum of the two effects and of `not_known`.
    pub difference: Decimal,
    /// From the amount.
    pub amount_effect: Decimal,
    /// From the price.
    pub price_effect: Decimal,
    /// From neither, since one side has no figure.
    pub not_known: Decimal,
    /// Where the figure before comes from, in a sentence.
    pub source_before: Option<String>,
    /// Where the figure after comes from, in a sentence.
    pub source_after: Option<String>,
    /// Whether something is missing on either side.
    pub partial: bool,
    /// The lines of an intermediate, adding up to this line.
    pub nested: Vec<PrintedDifference>,
}

/// What one cause comes to, as it is printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedCause {
    /// A stable name.
    pub cause: &'static str,
    /// What to call it.
    pub label: &'static str,
    /// What it adds to the cost.
    pub effect: Decimal,
}

impl Comparison {
    /// The comparison as it is printed.
    ///
    /// # Errors
    /// [`EngineError::Amount`] when a figure is too large to print.
    pub fn print(&self) -> Result<PrintedComparison, EngineError> {
        let places = match self.per {
            Per::Unit => PER_UNIT_PLACES,
            Per::Kilogram => PER_KG_PLACES,
        };
        let before = self.before.cost.round_half_even_scaled(places)?;
        let after = self.after.cost.round_half_even_scaled(places)?;
        // Costs are not below nought, so the difference of two that fit fits.
        let difference = after.saturating_sub(before);
        let effects: Vec<Exact> = self.causes.iter().map(|cause| cause.effect.clone()).collect();
        let effects = parts_of(difference, &effects, places)?;
        Ok(PrintedComparison {
            per: self.per.code(),
            currency: self.currency,
            before: print_side(&self.before, Decimal::new(before, places))?,
            after: print_side(&self.after, Decimal::new(after, places))?,
            difference: Decimal::new(difference, places),
            difference_percent: match &self.difference_share {
                Some(share) => Some((share * &Exact::whole(100)).round_half_even(PERCENT_PLACES)?),
                None => None,
            },
            lines: print_lines(&self.lines, difference, places)?,
            causes: self
                .causes
                .iter()
                .zip(effects)
                .map(|(sum, effect)| PrintedCause {
                    cause: sum.cause.code(),
                    label: sum.cause.words(),
                    effect: Decimal::new(effect, places),
                })
                .collect(),
            complete: self.complete,
        })
    }
}

fn print_side(side: &Side, cost: Decimal) -> Result<PrintedSide, EngineError> {
    Ok(PrintedSide {
        formula_code: side.formula_code.clone(),
        version_number: side.version_number,
        version_status: side.version_status.word(),
        pack_code: side.pack_code.clone(),
        as_of: side.as_of,
        basis: side.basis.code(),
        charged_kg: side.charged.round_half_even(AMOUNT_PLACES)?,
        cost,
        complete: side.complete,
    })
}

fn print_lines(
    lines: &[LineDifference],
    total: i64,
    places: u32,
) -> Result<Vec<PrintedDifference>, EngineError> {
    let rounded = |figure: &Option<Exact>, places: u32| -> Result<Option<Decimal>, EngineError> {
        Ok(figure.as_ref().map(|figure| figure.round_half_even(places)).transpose()?)
    };
    let differences: Vec<Exact> = lines.iter().map(|line| line.difference.clone()).collect();
    let mut printed = Vec::with_capacity(lines.len());
    for (line, difference) in lines.iter().zip(parts_of(total, &differences, places)?) {
        let effects = [line.amount_effect.clone(), line.price_effect.clone(), line.not_known.clone()];
        let effects = parts_of(difference, &effects, places)?;
        let effect = |at: usize| Decimal::new(effects.get(at).copied().unwrap_or_default(), places);
        printed.push(PrintedDifference {
            kind: line.kind.code(),
            label: match (&line.material, &line.label) {
                (Some(material), _) => material.to_string(),
                (None, Some(label)) => label.clone(),
                (None, None) => line.kind.words().to_owned(),
            },
            material: line.material.clone(),
            change: line.change.code(),
            amount_before: rounded(&line.amount_before, AMOUNT_PLACES)?,
            amount_after: rounded(&line.amount_after, AMOUNT_PLACES)?,
            unit: line.dimension.map(kernel::Dimension::unit),
            price_before: rounded(&line.price_before, PER_KG_PLACES)?,
            price_after: rounded(&line.price_after, PER_KG_PLACES)?,
            value_before: rounded(&line.value_before, places)?,
            value_after: rounded(&line.value_after, places)?,
            difference: Decimal::new(difference, places),
            amount_effect: effect(0),
            price_effect: effect(1),
            not_known: effect(2),
            source_before: line.source_before.as_ref().map(ToString::to_string),
            source_after: line.source_after.as_ref().map(ToString::to_string),
            partial: line.partial,
            nested: print_lines(&line.nested, difference, places)?,
        });
    }
    Ok(printed)
}
