//! A finished batch against its standard: the liquid by kilograms that came out, and what was filled by the units filled.
//!
//! The standard of the liquid is the cost sheet of the ticket's version at the ticket's batch, on a basis and a day. Ingredients cost
//! what left the lots with them; what comes from no lot (water) is priced on the day of the batch. Hours of people and machines are
//! not recorded on a ticket: they are taken as the version plans them, at the rates of the day of the batch, so that what stands
//! there is the rate's change and what a larger or smaller output makes of a fixed cost. The same goes for the filling line.

use chrono::NaiveDate;
use domain::formulas::FormulaVersion;
use kernel::{
    Currency, Exact, Mass,
    ids::{FormulaVersionId, MaterialId, PackId},
};

use super::{Actual, ActualLine, Standard, StandardLine, Variances, measured, variances};
use crate::{
    CostRequest, CostSheet, CostSubject, EngineError, Gap, MaterialRef, Per, View,
    basis::Basis,
    batch_costs::{Run, filling_costs, making_costs, waste_of_batch},
    cost::{CostLine, LineKind},
    cost_sheet,
    gap::add_gap,
    price::landed_price,
};

/// A batch as it was made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BatchMade {
    /// The version it was made from.
    pub version: FormulaVersionId,
    /// What was to be charged.
    pub planned: Mass,
    /// What came out, before filling.
    pub yielded: Mass,
    /// The day it was completed.
    pub on: NaiveDate,
    /// What was weighed in, kg.
    pub ingredients: Vec<UsedInBatch>,
    /// Units filled of each pack.
    pub filled: Vec<(PackId, Exact)>,
    /// Components used up, pieces.
    pub components: Vec<UsedInBatch>,
}

/// So much of a material that went into a batch or onto its units.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UsedInBatch {
    /// The material.
    pub material: MaterialId,
    /// kg or pieces.
    pub amount: Exact,
    /// What left its lot with it, in the house's currency; `None` for what comes from no lot.
    pub value: Option<Exact>,
}

/// Why a batch did not cost what it should have.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BatchVariances {
    /// The house's currency.
    pub currency: Currency,
    /// The liquid, in kg.
    pub liquid: Variances,
    /// Components and filling of everything that was filled; `None` when nothing was.
    pub filling: Option<Variances>,
}

impl BatchVariances {
    /// What came out and was filled should have cost.
    pub fn standard_cost(&self) -> Exact {
        self.sum(|part| &part.standard_cost)
    }

    /// What it cost.
    pub fn actual_cost(&self) -> Exact {
        self.sum(|part| &part.actual_cost)
    }

    /// The one less the other: above nought is favourable.
    pub fn total(&self) -> Exact {
        self.sum(|part| &part.sums.total)
    }

    fn sum(&self, of: fn(&Variances) -> &Exact) -> Exact {
        [Some(&self.liquid), self.filling.as_ref()].into_iter().flatten().map(of).sum()
    }
}

/// A finished batch against what it should have cost on a basis, at the prices, standards, rates and approved intermediates of a day.
/// The inner error is what is missing on either side: nothing is compared with a part of a cost.
///
/// # Errors
/// As for [`cost_sheet`] and [`variances`].
pub fn batch_variances(
    view: &View<'_>,
    made: &BatchMade,
    basis: Basis,
    as_of: NaiveDate,
) -> Result<Result<BatchVariances, Vec<Gap>>, EngineError> {
    let (formula, version) = view.version(made.version)?;
    let mut gaps = Vec::new();
    let request = CostRequest::version(version.id, as_of).at_batch(made.planned).on_basis(basis);
    let sheet = cost_sheet(view, &request)?;
    sheet.gaps.iter().for_each(|gap| add_gap(&mut gaps, gap.clone()));

    let mut actual = Actual { output: made.yielded.to_exact(), lines: Vec::new() };
    for used in &made.ingredients {
        actual.lines.extend(ingredient(view, used, made.on, &mut gaps)?);
    }
    let charged: Exact = made.ingredients.iter().map(|used| &used.amount).sum();
    let waste = waste_of_batch(version, &charged, made.yielded);
    let costs = making_costs(view, version, &formula.code, &charged, &waste, made.on)?;
    actual.lines.extend(as_it_was(&costs, &mut gaps));

    let filling = filling(view, made, version, basis, as_of, &mut gaps)?;
    if !gaps.is_empty() {
        return Ok(Err(gaps));
    }
    let currency = view.currency();
    let liquid = variances(&Standard::of(&sheet, Per::Kilogram)?, &actual, currency)?;
    let filling = filling.map(|(standard, actual)| variances(&standard, &actual, currency)).transpose()?;
    Ok(Ok(BatchVariances { currency, liquid, filling }))
}

/// What was weighed in of one material. What comes from no lot is priced as it was on the day.
fn ingredient(
    view: &View<'_>,
    used: &UsedInBatch,
    on: NaiveDate,
    gaps: &mut Vec<Gap>,
) -> Result<Option<ActualLine>, EngineError> {
    let material = view.material(used.material)?;
    let value = match &used.value {
        Some(value) => value.clone(),
        None => match landed_price(view, material, &used.amount, on)? {
            Ok(price) => price.per_unit * &used.amount,
            Err(gap) => {
                add_gap(gaps, gap);
                return Ok(None);
            }
        },
    };
    Ok(Some(ActualLine {
        kind: LineKind::Ingredient,
        cost_of: None,
        label: None,
        material: Some(MaterialRef::from(&**material)),
        amount: used.amount.clone(),
        value,
    }))
}

/// Costs of making or filling on the day of the batch.
fn as_it_was(costs: &[CostLine], gaps: &mut Vec<Gap>) -> Vec<ActualLine> {
    costs.iter().flat_map(|line| &line.gaps).for_each(|gap| add_gap(gaps, gap.clone()));
    costs.iter().map(ActualLine::of_cost).collect()
}

/// Components and filling of everything that was filled: the standard is for what was filled, so the output on both sides is one.
fn filling(
    view: &View<'_>,
    made: &BatchMade,
    version: &FormulaVersion,
    basis: Basis,
    as_of: NaiveDate,
    gaps: &mut Vec<Gap>,
) -> Result<Option<(Standard, Actual)>, EngineError> {
    if made.filled.is_empty() {
        return Ok(None);
    }
    let mut standard = Standard { output: Exact::ONE, lines: Vec::new() };
    let mut actual = Actual { output: Exact::ONE, lines: Vec::new() };
    for (id, filled) in &made.filled {
        let pack = view.pack(*id)?;
        let subject = CostSubject::Pack { pack: pack.id, version: Some(version.id) };
        let request = CostRequest::new(subject, as_of).at_batch(made.planned).on_basis(basis);
        let sheet = cost_sheet(view, &request)?;
        sheet.gaps.iter().for_each(|gap| add_gap(gaps, gap.clone()));
        standard.lines.extend(components(&sheet, filled)?);
        let run = Run { filled: Some(filled), waste: &Exact::ZERO };
        let planned = filling_costs(view, version, pack, &run, as_of)?;
        planned.iter().flat_map(|line| &line.gaps).for_each(|gap| add_gap(gaps, gap.clone()));
        standard.lines.extend(planned.iter().map(|line| as_planned(line, &pack.code)));
        let costs = filling_costs(view, version, pack, &run, made.on)?;
        let named = |line: ActualLine| ActualLine { label: Some(of_pack(line.label, &pack.code)), ..line };
        actual.lines.extend(as_it_was(&costs, gaps).into_iter().map(named));
    }
    for used in &made.components {
        let material = view.material(used.material)?;
        actual.lines.push(ActualLine {
            kind: LineKind::Component,
            cost_of: None,
            label: None,
            material: Some(MaterialRef::from(&**material)),
            amount: used.amount.clone(),
            value: used.value.clone().unwrap_or_default(),
        });
    }
    Ok(Some((standard, actual)))
}

/// The components of so many units, at what they cost on the sheet of a pack.
fn components(sheet: &CostSheet, filled: &Exact) -> Result<Vec<StandardLine>, EngineError> {
    let Some(output) = &sheet.filling else { return Ok(Vec::new()) };
    let units = Exact::whole(output.filled);
    let mut lines = Vec::new();
    for line in sheet.lines.iter().filter(|line| line.kind == LineKind::Component) {
        let each = line.amount.clone().unwrap_or_default().checked_div(&units)?;
        lines.push(StandardLine {
            kind: line.kind,
            cost_of: None,
            label: None,
            material: line.material.clone(),
            amount: each * filled,
            price: line.unit_cost.clone().unwrap_or_default(),
        });
    }
    Ok(lines)
}

/// A cost of filling as it was to be expected.
fn as_planned(line: &CostLine, pack: &str) -> StandardLine {
    let amount = measured(line);
    let price = line.value.clone().unwrap_or_default().checked_div(&amount).unwrap_or_default();
    StandardLine {
        kind: line.kind,
        cost_of: line.cost_of,
        label: Some(of_pack(line.label.clone(), pack)),
        material: None,
        amount,
        price,
    }
}

/// Two packs filled from one batch have lines of their own.
fn of_pack(label: Option<String>, pack: &str) -> String {
    format!("{} of {pack}", label.unwrap_or_else(|| LineKind::LineLabour.words().to_owned()))
}
