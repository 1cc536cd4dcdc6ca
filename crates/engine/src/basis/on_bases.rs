//! The same subject costed on several bases, line beside line.

use chrono::NaiveDate;
use kernel::{Currency, Dimension, Exact, ids::MaterialId};
use rust_decimal::Decimal;
use serde::Serialize;

use super::Basis;
use crate::{
    CostRequest, CostSheet, EngineError, MaterialRef, Source, View,
    cost::{CostLine, LineKind, cost_sheet},
    present::{self, PrintedCostSheet, PrintedLine},
};

/// One subject on several bases.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OnBases {
    /// A whole sheet for each basis, in the order asked.
    pub sheets: Vec<CostSheet>,
    /// Their lines, those of one material together: ingredients, cost per batch, components, line labour.
    pub lines: Vec<BasisLine>,
}

/// Lines of one material, or of one kind of cost, on every basis. What is on several lines of the formula is added up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BasisLine {
    /// What it is.
    pub kind: LineKind,
    /// The ingredient or component.
    pub material: Option<MaterialRef>,
    /// kg or pieces for the batch, on every basis the same.
    pub amount: Option<Exact>,
    /// What `amount` is in.
    pub dimension: Option<Dimension>,
    /// One figure for each sheet, in the same order.
    pub cells: Vec<BasisCell>,
    /// Lines of an intermediate made here.
    pub nested: Vec<BasisLine>,
}

/// What a line costs on one basis. The values of all lines add up to the sheet's cost per batch.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BasisCell {
    /// Per kg or piece; partial when `partial`.
    pub unit_cost: Option<Exact>,
    /// For the batch; partial when `partial`, `None` when nothing of it is known.
    pub value: Option<Exact>,
    /// For one unit; only for a pack.
    pub value_per_unit: Option<Exact>,
    /// Where the figure comes from.
    pub source: Source,
    /// Whether something is missing here or beneath.
    pub partial: bool,
}

/// A cost sheet on each of several bases, and their lines beside each other. The request's own basis is not looked at.
///
/// # Errors
/// Those of [`cost_sheet`].
pub fn bases_side_by_side(
    view: &View<'_>,
    request: &CostRequest,
    bases: &[Basis],
) -> Result<OnBases, EngineError> {
    let sheets = bases
        .iter()
        .map(|basis| cost_sheet(view, &request.on_basis(*basis)))
        .collect::<Result<Vec<_>, _>>()?;
    let sides = sheets.iter().map(|sheet| sheet.lines.iter().collect()).collect();
    let lines = matched(sides, &|line: &CostLine| key(line), &|line| &line.nested);
    let lines = lines.iter().filter_map(BasisLine::of).collect();
    Ok(OnBases { sheets, lines })
}

fn key(line: &CostLine) -> (LineKind, Option<MaterialId>, Option<String>) {
    (line.kind, line.material.as_ref().map(|material| material.id), line.label.clone())
}

/// Lines of several sheets that belong together.
struct Matched<'a, T> {
    /// For each sheet its lines; empty where it has none.
    cells: Vec<Vec<&'a T>>,
    nested: Vec<Self>,
}

impl<'a, T> Matched<'a, T> {
    fn any(&self) -> Option<&'a T> {
        self.cells.iter().flatten().next().copied()
    }
}

/// Puts lines of several sheets together by their key, in order of first appearance, and what is nested in them likewise.
fn matched<'a, T, K: PartialEq>(
    sides: Vec<Vec<&'a T>>,
    key: &impl Fn(&T) -> K,
    nested: &impl Fn(&'a T) -> &'a [T],
) -> Vec<Matched<'a, T>> {
    let width = sides.len();
    let mut found: Vec<(K, Vec<Vec<&'a T>>)> = Vec::new();
    for (at, side) in sides.into_iter().enumerate() {
        for line in side {
            let of = key(line);
            let known = found.iter().position(|(known, _)| *known == of).unwrap_or_else(|| {
                found.push((of, vec![Vec::new(); width]));
                found.len() - 1
            });
            if let Some(cell) = found.get_mut(known).and_then(|(_, cells)| cells.get_mut(at)) {
                cell.push(line);
            }
        }
    }
    let beneath = |cells: &[Vec<&'a T>]| {
        let inner: Vec<Vec<&'a T>> =
            cells.iter().map(|lines| lines.iter().flat_map(|line| nested(line)).collect()).collect();
        if inner.iter().all(Vec::is_empty) { Vec::new() } else { matched(inner, key, nested) }
    };
    found.into_iter().map(|(_, cells)| Matched { nested: beneath(&cells), cells }).collect()
}

/// The sum of what is known of some figures; `None` when nothing is.
fn known<T: Clone + std::ops::Add<Output = T>>(figures: impl Iterator<Item = Option<T>>) -> Option<T> {
    figures.flatten().reduce(|sum, figure| sum + figure)
}

impl BasisLine {
    fn of(matched: &Matched<'_, CostLine>) -> Option<Self> {
        let any = matched.any()?;
        let cells = matched.cells.iter().map(|lines| BasisCell {
            unit_cost: lines.iter().find_map(|line| line.unit_cost.clone()),
            value: known(lines.iter().map(|line| line.value.clone())),
            value_per_unit: known(lines.iter().map(|line| line.value_per_unit.clone())),
            source: lines.first().map_or(Source::Missing, |line| line.source.clone()),
            partial: lines.iter().any(|line| line.partial),
        });
        let first = matched.cells.iter().find(|lines| !lines.is_empty())?;
        Some(Self {
            kind: any.kind,
            material: any.material.clone(),
            amount: known(first.iter().map(|line| line.amount.clone())),
            dimension: any.dimension,
            cells: cells.collect(),
            nested: matched.nested.iter().filter_map(Self::of).collect(),
        })
    }
}

/// One subject on several bases as it is printed: each sheet rounded once, and its column of the lines adding up to its total.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedOnBases {
    /// The day asked.
    pub as_of: Option<NaiveDate>,
    /// All money is in it.
    pub currency: Option<Currency>,
    /// A whole sheet for each basis, in the order asked.
    pub sheets: Vec<PrintedCostSheet>,
    /// Their lines, those of one material together.
    pub lines: Vec<PrintedBasisLine>,
}

/// Lines of one material as they are printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedBasisLine {
    /// A stable name of what it is.
    pub kind: &'static str,
    /// What to call it.
    pub label: String,
    /// The ingredient or component.
    pub material: Option<MaterialRef>,
    /// For the batch, in `unit`.
    pub amount: Option<Decimal>,
    /// `kg` or `pcs`.
    pub unit: Option<&'static str>,
    /// One figure for each sheet, in the same order.
    pub cells: Vec<PrintedBasisCell>,
    /// Lines of an intermediate made here.
    pub nested: Vec<PrintedBasisLine>,
}

/// What a line costs on one basis, as it is printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PrintedBasisCell {
    /// Per kg or piece.
    pub unit_cost: Option<Decimal>,
    /// For the batch.
    pub value: Option<Decimal>,
    /// For one unit.
    pub value_per_unit: Option<Decimal>,
    /// A stable name of the kind of source.
    pub source_kind: &'static str,
    /// Where the figure comes from, in a sentence.
    pub source: String,
    /// Whether something is missing here or beneath.
    pub partial: bool,
}

impl OnBases {
    /// As it is printed.
    ///
    /// # Errors
    /// Those of [`present::cost_sheet`].
    pub fn printed(&self) -> Result<PrintedOnBases, EngineError> {
        let sheets = self.sheets.iter().map(present::cost_sheet).collect::<Result<Vec<_>, _>>()?;
        let key = |line: &PrintedLine| (line.kind, line.material.as_ref().map(|material| material.id));
        let sides = sheets.iter().map(|sheet| sheet.lines.iter().collect()).collect();
        let lines = matched(sides, &key, &|line: &PrintedLine| &line.nested);
        Ok(PrintedOnBases {
            as_of: self.sheets.first().map(|sheet| sheet.as_of),
            currency: self.sheets.first().map(|sheet| sheet.currency),
            lines: lines.iter().filter_map(PrintedBasisLine::of).collect(),
            sheets,
        })
    }
}

impl PrintedBasisLine {
    fn of(matched: &Matched<'_, PrintedLine>) -> Option<Self> {
        let any = matched.any()?;
        let cells = matched.cells.iter().map(|lines| PrintedBasisCell {
            unit_cost: lines.iter().find_map(|line| line.unit_cost),
            value: known(lines.iter().map(|line| line.value)),
            value_per_unit: known(lines.iter().map(|line| line.value_per_unit)),
            source_kind: lines.first().map_or(Source::Missing.code(), |line| line.source_kind),
            source: lines.first().map_or_else(|| Source::Missing.to_string(), |line| line.source.clone()),
            partial: lines.iter().any(|line| line.partial),
        });
        let first = matched.cells.iter().find(|lines| !lines.is_empty())?;
        Some(Self {
            kind: any.kind,
            label: any.label.clone(),
            material: any.material.clone(),
            amount: known(first.iter().map(|line| line.amount)),
            unit: any.unit,
            cells: cells.collect(),
            nested: matched.nested.iter().filter_map(Self::of).collect(),
        })
    }
}
