//! Variances as they are printed: the total is the difference of the two printed costs; the columns are given their parts of it, the
//! lines theirs of the columns, and a line's total is the sum of its columns as printed.

use kernel::{Currency, Exact};
use rust_decimal::Decimal;
use serde::Serialize;

use super::{VarianceLine, Variances};
use crate::{
    EngineError, MaterialRef,
    adding_up::parts_of,
    cost::LineKind,
    present::{AMOUNT_PLACES, PER_KG_PLACES},
};

/// Variances as they are printed; above nought is favourable. Decimals are strings in JSON.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedVariances {
    /// All money is in it.
    pub currency: Currency,
    /// What came out.
    pub actual_output: Decimal,
    /// What should have come out of the ingredients that went in.
    pub expected_output: Option<Decimal>,
    /// What the actual output should have cost.
    pub standard_cost: Decimal,
    /// What it cost.
    pub actual_cost: Decimal,
    /// Prices.
    pub price: Decimal,
    /// The mix of ingredients.
    pub mix: Decimal,
    /// The yield of ingredients.
    #[serde(rename = "yield")]
    pub yielded: Decimal,
    /// Usage of what makes no mix.
    pub other_usage: Decimal,
    /// Overheads.
    pub overhead: Decimal,
    /// Standard less actual cost, both as printed: the sum of the five.
    pub total: Decimal,
    /// Line by line.
    pub lines: Vec<PrintedVarianceLine>,
}

/// One line's variances as they are printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedVarianceLine {
    /// A stable name: `INGREDIENT`, `COST_PER_BATCH`, `COMPONENT`, `LINE_LABOUR`.
    pub kind: &'static str,
    /// What to call it.
    pub label: String,
    /// The ingredient or component.
    pub material: Option<MaterialRef>,
    /// What the standard allows for the actual output.
    pub standard_amount: Decimal,
    /// The standard price.
    pub standard_price: Decimal,
    /// What went in.
    pub actual_amount: Decimal,
    /// What it cost.
    pub actual_value: Decimal,
    /// Bought dearer or cheaper.
    pub price: Decimal,
    /// Stood for more or less of the input.
    pub mix: Decimal,
    /// The input gave more or less.
    #[serde(rename = "yield")]
    pub yielded: Decimal,
    /// Usage of what makes no mix.
    pub other_usage: Decimal,
    /// What an overhead differs by.
    pub overhead: Decimal,
    /// The sum of the five.
    pub total: Decimal,
    /// Whether the standard knows nothing of it.
    pub unplanned: bool,
}

impl Variances {
    /// The variances as they are printed.
    ///
    /// # Errors
    /// [`EngineError::Amount`] when a figure is too large to print.
    pub fn print(&self) -> Result<PrintedVariances, EngineError> {
        let places = self.currency.minor_places();
        let standard = self.standard_cost.round_half_even_scaled(places)?;
        let actual = self.actual_cost.round_half_even_scaled(places)?;
        let sums = &self.sums;
        // Costs are not below nought, so the difference of two that fit fits.
        let columns =
            [&sums.price, &sums.mix, &sums.yielded, &sums.other_usage, &sums.overhead].map(Exact::clone);
        let totals = parts_of(standard.saturating_sub(actual), &columns, places)?;
        let parts: [fn(&VarianceLine) -> Exact; 5] = [
            |line| if line.is_overhead() { Exact::ZERO } else { line.price.clone() },
            |line| line.mix.clone().unwrap_or_default(),
            |line| line.yielded.clone().unwrap_or_default(),
            |line| {
                let elsewhere = line.kind == LineKind::Ingredient || line.is_overhead();
                if elsewhere { Exact::ZERO } else { line.usage.clone() }
            },
            |line| if line.is_overhead() { line.total.clone() } else { Exact::ZERO },
        ];
        let mut printed = Vec::with_capacity(parts.len());
        for (part, total) in parts.iter().zip(&totals) {
            let figures: Vec<Exact> = self.lines.iter().map(part).collect();
            printed.push(parts_of(*total, &figures, places)?);
        }
        let decimal = |scaled: Option<&i64>| Decimal::new(scaled.copied().unwrap_or_default(), places);
        let mut lines = Vec::with_capacity(self.lines.len());
        for (at, line) in self.lines.iter().enumerate() {
            let [price, mix, yielded, other_usage, overhead] = [0, 1, 2, 3, 4]
                .map(|column: usize| decimal(printed.get(column).and_then(|parts| parts.get(at))));
            lines.push(PrintedVarianceLine {
                kind: line.kind.code(),
                label: match (&line.material, &line.label, line.cost_of) {
                    (Some(material), ..) => material.to_string(),
                    (None, Some(label), _) => label.clone(),
                    (None, None, Some(cost_of)) => cost_of.words().to_owned(),
                    (None, None, None) => line.kind.words().to_owned(),
                },
                material: line.material.clone(),
                standard_amount: line.standard_amount.round_half_even(AMOUNT_PLACES)?,
                standard_price: line.standard_price.round_half_even(PER_KG_PLACES)?,
                actual_amount: line.actual_amount.round_half_even(AMOUNT_PLACES)?,
                actual_value: line.actual_value.round_half_even(places)?,
                price,
                mix,
                yielded,
                other_usage,
                overhead,
                total: price + mix + yielded + other_usage + overhead,
                unplanned: line.unplanned,
            });
        }
        let expected = self.expected_output.as_ref();
        Ok(PrintedVariances {
            currency: self.currency,
            actual_output: self.actual_output.round_half_even(AMOUNT_PLACES)?,
            expected_output: expected.map(|expected| expected.round_half_even(AMOUNT_PLACES)).transpose()?,
            standard_cost: Decimal::new(standard, places),
            actual_cost: Decimal::new(actual, places),
            price: decimal(totals.first()),
            mix: decimal(totals.get(1)),
            yielded: decimal(totals.get(2)),
            other_usage: decimal(totals.get(3)),
            overhead: decimal(totals.get(4)),
            total: Decimal::new(standard.saturating_sub(actual), places),
            lines,
        })
    }
}
