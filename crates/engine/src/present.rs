//! Cost sheets as they are printed: each figure rounded once, half to even, and lines that add up to their total.
//!
//! Money of a batch is printed to the currency's minor unit, unit costs and figures per kg and litre to
//! [`PER_KG_PLACES`], per unit and case to [`PER_UNIT_PLACES`], masses to [`AMOUNT_PLACES`], percents to [`PERCENT_PLACES`].
//! A total is rounded by itself; its lines are then given their parts of the rounded total by largest remainder, and the lines of
//! an intermediate their parts of its line.

use chrono::NaiveDate;
use kernel::{Currency, Exact, apportion_largest_remainder};
use rust_decimal::Decimal;
use serde::Serialize;

use crate::{
    CostSheet, EngineError, Gap, MaterialRef, Note,
    batch_costs::CostOf,
    cost::{CostLine, LineKind, Margin},
    source::{QuotationBehind, Standing},
};

/// Decimal places of costs per kg, litre and piece.
pub const PER_KG_PLACES: u32 = 6;
/// Decimal places of costs per unit and case.
pub const PER_UNIT_PLACES: u32 = 4;
/// Decimal places of kg and pieces: milligrams.
pub const AMOUNT_PLACES: u32 = 6;
/// Decimal places of an estimated density: more would pretend to know it.
pub const ESTIMATE_PLACES: u32 = 3;
/// Decimal places of doses in percent: a dye stands at 0.0005 %.
pub const DOSE_PLACES: u32 = 6;
/// Decimal places of shares, margins and markups in percent.
pub const PERCENT_PLACES: u32 = 2;

/// A cost sheet as it is printed. Decimals are strings in JSON.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedCostSheet {
    /// The formula's code.
    pub formula_code: String,
    /// The formula's name.
    pub formula_name: String,
    /// The version's number.
    pub version_number: u32,
    /// `draft`, `approved` or `retired`.
    pub version_status: &'static str,
    /// The pack's code.
    pub pack_code: Option<String>,
    /// The pack's name.
    pub pack_name: Option<String>,
    /// Units in a case.
    pub units_per_case: Option<u32>,
    /// The day asked.
    pub as_of: NaiveDate,
    /// A stable name of the basis: which price was used for what is bought.
    pub basis: &'static str,
    /// All money is in it.
    pub currency: Currency,
    /// The catalogue's version.
    pub catalogue_version: i64,
    /// Whether nothing is missing. When it is not, every total is partial.
    pub complete: bool,
    /// Everything put in, kg. Evaporation, process loss, heel, samples, retains and good output add up to it.
    pub charged_kg: Decimal,
    /// Leaves as vapour, kg.
    pub evaporation_kg: Decimal,
    /// Lost in proportion to the batch, kg.
    pub process_loss_kg: Decimal,
    /// Left behind whatever the batch size, kg.
    pub heel_kg: Decimal,
    /// Taken for tests, kg.
    pub samples_kg: Decimal,
    /// Kept back, kg.
    pub retains_kg: Decimal,
    /// What reaches the filler or the shelf, kg.
    pub good_output_kg: Decimal,
    /// Of the finished liquid, kg/L.
    pub density_kg_per_litre: Option<Decimal>,
    /// The day it was measured.
    pub density_measured_on: Option<NaiveDate>,
    /// °C at which it was measured.
    pub density_celsius: Option<Decimal>,
    /// What ideal mixing would give, where no density is known. An estimate; no other figure stands on it.
    pub density_estimate: Option<PrintedDensityEstimate>,
    /// What the batch fills; only for a pack.
    pub filling: Option<PrintedFilling>,
    /// Ingredients, cost per batch, components, line labour.
    pub lines: Vec<PrintedLine>,
    /// The sums.
    pub totals: PrintedTotals,
    /// Margin and markup.
    pub margin: Option<PrintedMargin>,
    /// A stable name of how much of each material was taken to be ordered at once.
    pub order: &'static str,
    /// How it stands with the quotations behind the sheet: as with the worst of them.
    pub standing: Option<&'static str>,
    /// The quotations behind the sheet, the worst first.
    pub quotations: Vec<PrintedQuotation>,
    /// What is missing.
    pub gaps: Vec<PrintedGap>,
    /// What to know.
    pub notes: Vec<PrintedNote>,
}

/// A quotation behind a sheet.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedQuotation {
    /// The supplier's reference.
    pub reference: String,
    /// How it stands with it on the day of the sheet, a stable name.
    pub standing: &'static str,
    /// The same in a sentence.
    pub validity: String,
}

impl From<&QuotationBehind> for PrintedQuotation {
    fn from(behind: &QuotationBehind) -> Self {
        Self {
            reference: behind.reference.clone(),
            standing: behind.validity.code(),
            validity: behind.validity.to_string(),
        }
    }
}

/// What ideal mixing would give.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedDensityEstimate {
    /// kg/L; none where the density of something in it is not known.
    pub kg_per_litre: Option<Decimal>,
    /// What a litre would cost at it.
    pub per_litre: Option<Decimal>,
    /// Materials without a density.
    pub unknown: Vec<MaterialRef>,
}

/// What a batch fills.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedFilling {
    /// What one unit takes, kg.
    pub fill_mass_kg: Decimal,
    /// Lost at the filler, kg.
    pub filling_loss_kg: Decimal,
    /// Whole units filled.
    pub filled_units: Decimal,
    /// Of those, kept back: first ones, for tests, retains.
    pub kept_back_units: Decimal,
    /// Whole units for sale, which bear the cost of all.
    pub units: Decimal,
    /// What does not fill another unit, kg.
    pub left_over_kg: Decimal,
}

/// One line as it is printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedLine {
    /// A stable name: `INGREDIENT`, `COST_PER_BATCH`, `COMPONENT`, `LINE_LABOUR`.
    pub kind: &'static str,
    /// What to call it: the material's code and name, its own name, or what kind of cost it is.
    pub label: String,
    /// What a line of making or filling is for, by a stable name: `LABOUR`, `OVERHEAD`, `CHANGEOVER` …
    pub cost_of: Option<&'static str>,
    /// The formula line's position.
    pub position: Option<u32>,
    /// The formula line's phase.
    pub phase: Option<String>,
    /// The ingredient or component.
    pub material: Option<MaterialRef>,
    /// For the batch, in `unit`.
    pub amount: Option<Decimal>,
    /// For one unit, in `unit`.
    pub amount_per_unit: Option<Decimal>,
    /// `kg` or `pcs`.
    pub unit: Option<&'static str>,
    /// Per kg or piece.
    pub unit_cost: Option<Decimal>,
    /// For the batch.
    pub value: Option<Decimal>,
    /// For one unit.
    pub value_per_unit: Option<Decimal>,
    /// Part of the total, %.
    pub share_percent: Option<Decimal>,
    /// A stable name of the kind of source.
    pub source_kind: &'static str,
    /// Where the figure comes from, in a sentence.
    pub source: String,
    /// How it stands with the quotations behind the figure, a stable name.
    pub standing: Option<&'static str>,
    /// What is missing here or beneath.
    pub gaps: Vec<PrintedGap>,
    /// Whether something is missing here or beneath.
    pub partial: bool,
    /// Lines of an intermediate made here.
    pub nested: Vec<PrintedLine>,
}

/// The sums as they are printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedTotals {
    /// Ingredients of the batch: the sum of their lines as printed.
    pub ingredients: Decimal,
    /// Making the batch: the sum of its lines as printed.
    pub making: Decimal,
    /// Components of the batch: the sum of their lines as printed.
    pub components: Decimal,
    /// Filling the batch: the sum of its lines as printed.
    pub line_labour: Decimal,
    /// All of it: the sum of all lines as printed.
    pub per_batch: Decimal,
    /// The liquid, per kg of good output.
    pub per_kg: Decimal,
    /// The liquid, per litre.
    pub per_litre: Option<Decimal>,
    /// The liquid, per US gallon.
    pub per_us_gallon: Option<Decimal>,
    /// The liquid, per imperial gallon.
    pub per_imperial_gallon: Option<Decimal>,
    /// One unit: the sum of the lines per unit as printed.
    pub per_unit: Option<Decimal>,
    /// One case.
    pub per_case: Option<Decimal>,
}

/// Margin and markup as they are printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedMargin {
    /// The selling price of one unit as entered.
    pub price: Decimal,
    /// Its currency.
    pub price_currency: Currency,
    /// In the house's currency.
    pub price_in_house_currency: Decimal,
    /// The rate it went through, in a sentence.
    pub rate: Option<String>,
    /// Price less cost, both as printed.
    pub earned_per_unit: Decimal,
    /// (price − cost) / price, %.
    pub margin_percent: Option<Decimal>,
    /// (price − cost) / cost, %.
    pub markup_percent: Option<Decimal>,
}

/// A gap as it is printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedGap {
    /// A stable name.
    pub code: &'static str,
    /// The material it is about.
    pub material: Option<MaterialRef>,
    /// The sentence.
    pub message: String,
}

/// A note as it is printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedNote {
    /// A stable name.
    pub code: &'static str,
    /// The sentence.
    pub message: String,
}

impl From<&Gap> for PrintedGap {
    fn from(gap: &Gap) -> Self {
        Self { code: gap.code(), material: gap.material().cloned(), message: gap.to_string() }
    }
}

impl From<&Note> for PrintedNote {
    fn from(note: &Note) -> Self {
        Self { code: note.code(), message: note.to_string() }
    }
}

/// Places to which a sheet's columns are printed, and the scaled totals its lines have to make.
#[derive(Clone, Copy)]
struct Columns {
    money_places: u32,
    value: i64,
    per_unit: i64,
    share: i64,
}

/// A sheet as it is printed.
///
/// # Errors
/// [`EngineError::Amount`] when a figure is too large to print or a cost is below nought.
pub fn cost_sheet(sheet: &CostSheet) -> Result<PrintedCostSheet, EngineError> {
    let totals = &sheet.totals;
    let money_places = sheet.currency.minor_places();
    let columns = Columns {
        money_places,
        value: totals.per_batch.round_half_even_scaled(money_places)?,
        per_unit: match &totals.per_unit {
            Some(per_unit) => per_unit.round_half_even_scaled(PER_UNIT_PLACES)?,
            // Without a unit's total its known lines still add up among themselves.
            None => sheet
                .lines
                .iter()
                .filter_map(|line| line.value_per_unit.as_ref())
                .sum::<Exact>()
                .round_half_even_scaled(PER_UNIT_PLACES)?,
        },
        share: 100 * 10_i64.pow(PERCENT_PLACES),
    };
    let mut lines = print_lines(&sheet.lines, columns)?;
    print_charges(sheet, &mut lines)?;
    let sum_of = |kind: LineKind| -> Decimal {
        let code = kind.code();
        lines.iter().filter(|line| line.kind == code).filter_map(|line| line.value).sum()
    };

    let batch = &sheet.batch;
    let charged = batch.charged.round_half_even_scaled(AMOUNT_PLACES)?;
    let parts =
        [&batch.evaporation, &batch.process_loss, &batch.heel, &batch.samples, &batch.retains, &batch.good];
    let parts = parts.map(Exact::clone);
    let parts = apportion_largest_remainder(charged, &parts)?;
    let part = |at: usize| parts.get(at).map_or(Decimal::ZERO, |part| Decimal::new(*part, AMOUNT_PLACES));

    let per_unit = totals.per_unit.as_ref().map(|_| Decimal::new(columns.per_unit, PER_UNIT_PLACES));
    Ok(PrintedCostSheet {
        formula_code: sheet.subject.formula_code.clone(),
        formula_name: sheet.subject.formula_name.clone(),
        version_number: sheet.subject.version_number,
        version_status: sheet.subject.version_status.word(),
        pack_code: sheet.subject.pack_code.clone(),
        pack_name: sheet.subject.pack_name.clone(),
        units_per_case: sheet.subject.units_per_case,
        as_of: sheet.as_of,
        basis: sheet.basis.code(),
        currency: sheet.currency,
        catalogue_version: sheet.catalogue_version,
        complete: sheet.complete,
        charged_kg: Decimal::new(charged, AMOUNT_PLACES),
        evaporation_kg: part(0),
        process_loss_kg: part(1),
        heel_kg: part(2),
        samples_kg: part(3),
        retains_kg: part(4),
        good_output_kg: part(5),
        density_kg_per_litre: sheet.density.map(kernel::Density::kg_per_litre),
        density_measured_on: sheet.density_used.as_ref().and_then(|used| used.measured_on),
        density_celsius: sheet.density_used.as_ref().and_then(|used| used.celsius),
        density_estimate: match &sheet.density_estimate {
            None => None,
            Some(estimate) => Some(PrintedDensityEstimate {
                kg_per_litre: rounded(estimate.density.as_ref(), ESTIMATE_PLACES)?,
                per_litre: rounded(estimate.per_litre.as_ref(), PER_UNIT_PLACES)?,
                unknown: estimate.unknown.clone(),
            }),
        },
        filling: match &sheet.filling {
            None => None,
            Some(filling) => Some(PrintedFilling {
                fill_mass_kg: filling.fill_mass.round_half_even(AMOUNT_PLACES)?,
                filling_loss_kg: filling.filling_loss.round_half_even(AMOUNT_PLACES)?,
                filled_units: Exact::whole(filling.filled).round_half_even(0)?,
                kept_back_units: Exact::whole(filling.kept_back).round_half_even(0)?,
                units: Exact::whole(filling.units).round_half_even(0)?,
                left_over_kg: filling.left_over.round_half_even(AMOUNT_PLACES)?,
            }),
        },
        totals: PrintedTotals {
            ingredients: sum_of(LineKind::Ingredient),
            making: sum_of(LineKind::CostPerBatch),
            components: sum_of(LineKind::Component),
            line_labour: sum_of(LineKind::LineLabour),
            per_batch: Decimal::new(columns.value, money_places),
            per_kg: totals.per_kg.round_half_even(PER_KG_PLACES)?,
            per_litre: rounded(totals.per_litre.as_ref(), PER_KG_PLACES)?,
            per_us_gallon: rounded(totals.per_us_gallon.as_ref(), PER_KG_PLACES)?,
            per_imperial_gallon: rounded(totals.per_imperial_gallon.as_ref(), PER_KG_PLACES)?,
            per_unit,
            per_case: rounded(totals.per_case.as_ref(), PER_UNIT_PLACES)?,
        },
        margin: match sheet.margin.as_ref().zip(per_unit) {
            Some((margin, cost)) => Some(print_margin(margin, cost)?),
            None => None,
        },
        order: sheet.order.code(),
        standing: sheet.standing.map(Standing::code),
        quotations: sheet.quotations.iter().map(PrintedQuotation::from).collect(),
        gaps: sheet.gaps.iter().map(PrintedGap::from).collect(),
        notes: sheet.notes.iter().map(PrintedNote::from).collect(),
        lines,
    })
}

fn rounded(value: Option<&Exact>, places: u32) -> Result<Option<Decimal>, EngineError> {
    Ok(value.map(|value| value.round_half_even(places)).transpose()?)
}

fn as_percent(fraction: Option<&Exact>) -> Result<Option<Decimal>, EngineError> {
    let percent = fraction.map(|fraction| fraction * &Exact::whole(100));
    rounded(percent.as_ref(), PERCENT_PLACES)
}

fn print_margin(margin: &Margin, cost: Decimal) -> Result<PrintedMargin, EngineError> {
    let price = margin.price_in_house_currency.round_half_even(PER_UNIT_PLACES)?;
    Ok(PrintedMargin {
        price: margin.price.amount(),
        price_currency: margin.price.currency(),
        price_in_house_currency: price,
        rate: margin.rate.as_ref().map(ToString::to_string),
        earned_per_unit: price - cost,
        margin_percent: as_percent(margin.margin.as_ref())?,
        markup_percent: as_percent(margin.markup.as_ref())?,
    })
}

/// One column's parts of its scaled total, `None` where a line has no figure.
fn column(total: i64, places: u32, figures: &[Option<&Exact>]) -> Result<Vec<Option<Decimal>>, EngineError> {
    let known: Vec<Exact> = figures.iter().copied().flatten().cloned().collect();
    // Lines of nought have nothing to share out.
    if known.iter().all(Exact::is_zero) {
        return Ok(figures.iter().map(|figure| figure.map(|_| Decimal::new(0, places))).collect());
    }
    let mut parts = apportion_largest_remainder(total, &known)?.into_iter();
    Ok(figures
        .iter()
        .map(|figure| figure.and_then(|_| parts.next()).map(|part| Decimal::new(part, places)))
        .collect())
}

fn scaled(figure: Option<Decimal>, places: u32) -> Result<i64, EngineError> {
    Ok(figure.map_or(Ok(0), |figure| Exact::from(figure).round_half_even_scaled(places))?)
}

fn print_lines(lines: &[CostLine], columns: Columns) -> Result<Vec<PrintedLine>, EngineError> {
    let values: Vec<_> = lines.iter().map(|line| line.value.as_ref()).collect();
    let per_unit: Vec<_> = lines.iter().map(|line| line.value_per_unit.as_ref()).collect();
    let mut printed_values = column(columns.value, columns.money_places, &values)?.into_iter();
    let mut printed_shares = column(columns.share, PERCENT_PLACES, &values)?.into_iter();
    let mut printed_per_unit = column(columns.per_unit, PER_UNIT_PLACES, &per_unit)?.into_iter();
    let mut printed = Vec::with_capacity(lines.len());
    for line in lines {
        let value = printed_values.next().flatten();
        let share_percent = printed_shares.next().flatten();
        let value_per_unit = printed_per_unit.next().flatten();
        let nested = if line.nested.is_empty() {
            Vec::new()
        } else {
            let inner = Columns {
                money_places: columns.money_places,
                value: scaled(value, columns.money_places)?,
                per_unit: scaled(value_per_unit, PER_UNIT_PLACES)?,
                share: scaled(share_percent, PERCENT_PLACES)?,
            };
            print_lines(&line.nested, inner)?
        };
        printed.push(PrintedLine {
            kind: line.kind.code(),
            label: label(line),
            cost_of: line.cost_of.map(CostOf::code),
            position: line.position,
            phase: line.phase.clone(),
            material: line.material.clone(),
            amount: rounded(line.amount.as_ref(), AMOUNT_PLACES)?,
            amount_per_unit: rounded(line.amount_per_unit.as_ref(), AMOUNT_PLACES)?,
            unit: line.dimension.map(kernel::Dimension::unit),
            unit_cost: rounded(line.unit_cost.as_ref(), PER_KG_PLACES)?,
            value,
            value_per_unit,
            share_percent,
            source_kind: line.source.code(),
            source: line.source.to_string(),
            standing: line.standing.map(Standing::code),
            gaps: line.gaps.iter().map(PrintedGap::from).collect(),
            partial: line.partial,
            nested,
        });
    }
    Ok(printed)
}

/// A material by its code and name, a named cost with what it is for, else the kind of line.
fn label(line: &CostLine) -> String {
    match (&line.material, &line.label, line.cost_of) {
        (Some(material), ..) => material.to_string(),
        (None, Some(label), Some(cost_of)) if label != cost_of.words() => {
            format!("{label} ({})", cost_of.words())
        }
        (None, Some(label), _) => label.clone(),
        (None, None, Some(cost_of)) => cost_of.words().to_owned(),
        (None, None, None) => line.kind.words().to_owned(),
    }
}

/// When every ingredient's mass is known, the printed masses make the printed batch.
fn print_charges(sheet: &CostSheet, lines: &mut [PrintedLine]) -> Result<(), EngineError> {
    let is_ingredient = |line: &&CostLine| line.kind == LineKind::Ingredient;
    let ingredients = sheet.lines.iter().filter(is_ingredient);
    let Some(masses) = ingredients.map(|line| line.amount.as_ref().map(Some)).collect::<Option<Vec<_>>>()
    else {
        return Ok(());
    };
    let charged = sheet.batch.charged.round_half_even_scaled(AMOUNT_PLACES)?;
    let mut parts = column(charged, AMOUNT_PLACES, &masses)?.into_iter();
    for line in lines.iter_mut().filter(|line| line.kind == LineKind::Ingredient.code()) {
        line.amount = parts.next().flatten();
    }
    Ok(())
}
