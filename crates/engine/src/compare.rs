//! Why two cost sheets differ: line by line, and by cause, adding up exactly to the difference of their totals.
//!
//! Two versions, two days, two batch sizes or two views of the catalogue: whatever the sheets are of, lines are matched by material
//! and each difference is split into what comes from the amount and what comes from the price,
//! `Δ = Δamount × price before + amount after × Δprice`. A line that only one side has is the amount's difference altogether. For
//! the cost per batch the "amount" is the part of a batch that one unit or kilogram is, so its amount effect is what comes from
//! spreading it over more or less output.

mod print;
mod side_by_side;

use chrono::NaiveDate;
use domain::formulas::VersionStatus;
use kernel::{
    Currency, Dimension, Exact,
    ids::{FormulaId, FormulaVersionId, MaterialId, PackId},
};
use serde::{Serialize, Serializer, ser::Error as _};
use std::collections::HashMap;

use crate::{
    CostSheet, EngineError, MaterialRef, Source,
    basis::Basis,
    cost::{CostLine, LineKind},
};

pub use print::{PrintedCause, PrintedComparison, PrintedDifference, PrintedSide};
pub use side_by_side::{HeaderChange, SideBySide, SideRow, VersionSide, side_by_side};

/// What figures are of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Per {
    /// One unit of a pack: liquid, packaging and filling.
    Unit,
    /// One kilogram of good liquid: ingredients and cost per batch.
    Kilogram,
}

impl Per {
    /// What a sheet's main figure is of: a unit where units are known, else a kilogram.
    pub const fn of(sheet: &CostSheet) -> Self {
        if sheet.totals.per_unit.is_some() { Self::Unit } else { Self::Kilogram }
    }

    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Unit => "unit",
            Self::Kilogram => "kg",
        }
    }

    /// A stable name for programs.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Unit => "UNIT",
            Self::Kilogram => "KILOGRAM",
        }
    }

    /// A sheet's figure; `None` for a unit where units are not known.
    pub const fn figure(self, sheet: &CostSheet) -> Option<&Exact> {
        match self {
            Self::Unit => sheet.totals.per_unit.as_ref(),
            Self::Kilogram => Some(&sheet.totals.per_kg),
        }
    }

    /// The part of the batch that one is.
    fn part_of_batch(self, sheet: &CostSheet) -> Result<Exact, EngineError> {
        let output = match (self, &sheet.filling) {
            (Self::Kilogram, _) => sheet.batch.good.clone(),
            (Self::Unit, Some(filling)) => Exact::whole(filling.units),
            (Self::Unit, None) => {
                return Err(EngineError::QuestionDoesNotFit {
                    why: format!("{} has no cost per unit to compare", Side::label_of(sheet)),
                });
            }
        };
        Ok(Exact::ONE.checked_div(&output)?)
    }

    fn counts(self, kind: LineKind) -> bool {
        match self {
            Self::Unit => true,
            Self::Kilogram => matches!(kind, LineKind::Ingredient | LineKind::CostPerBatch),
        }
    }
}

/// The difference of two cost sheets. Money is in `currency`; above nought is dearer. Nothing is rounded; as JSON it stands as
/// [`Comparison::print`] has it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Comparison {
    /// What every figure is of.
    pub per: Per,
    /// The house's currency.
    pub currency: Currency,
    /// The first sheet.
    pub before: Side,
    /// The second sheet.
    pub after: Side,
    /// After less before. The lines add up to it, and so do the causes.
    pub difference: Exact,
    /// The same as a fraction of the cost before; `None` at a cost of nought.
    pub difference_share: Option<Exact>,
    /// Line by line: ingredients, cost per batch, components, line labour; those of the first sheet first.
    pub lines: Vec<LineDifference>,
    /// By cause, in the order of [`Cause`]; causes without effect are left out.
    pub causes: Vec<CauseSum>,
    /// Whether both sheets are complete. When not, the difference is one of partial totals.
    pub complete: bool,
}

/// One of the two sheets.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Side {
    /// The formula.
    pub formula: FormulaId,
    /// Its code.
    pub formula_code: String,
    /// The version.
    pub version: FormulaVersionId,
    /// Its number.
    pub version_number: u32,
    /// Where it stands.
    pub version_status: VersionStatus,
    /// The pack.
    pub pack: Option<PackId>,
    /// Its code.
    pub pack_code: Option<String>,
    /// The day costed for.
    pub as_of: NaiveDate,
    /// Which price was used for what is bought.
    pub basis: Basis,
    /// Everything charged, kg.
    pub charged: Exact,
    /// Per unit or kilogram; partial when not complete.
    pub cost: Exact,
    /// Whether nothing is missing.
    pub complete: bool,
}

impl Side {
    fn of(sheet: &CostSheet, cost: Exact) -> Self {
        let subject = &sheet.subject;
        Self {
            formula: subject.formula,
            formula_code: subject.formula_code.clone(),
            version: subject.version,
            version_number: subject.version_number,
            version_status: subject.version_status,
            pack: subject.pack,
            pack_code: subject.pack_code.clone(),
            as_of: sheet.as_of,
            basis: sheet.basis,
            charged: sheet.batch.charged.clone(),
            cost,
            complete: sheet.complete,
        }
    }

    fn label_of(sheet: &CostSheet) -> String {
        let subject = &sheet.subject;
        match &subject.pack_code {
            Some(pack) => format!("pack {pack}"),
            None => format!("version {} of formula {}", subject.version_number, subject.formula_code),
        }
    }
}

/// What happened to a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum LineChange {
    /// Amount and price are as before.
    Same,
    /// On both sides, with another amount or price.
    Changed,
    /// Only on the second side.
    Added,
    /// Only on the first side.
    Removed,
}

impl LineChange {
    /// A stable name for programs.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Same => "SAME",
            Self::Changed => "CHANGED",
            Self::Added => "ADDED",
            Self::Removed => "REMOVED",
        }
    }
}

/// One line's difference, all lines of a material together. Figures are per unit or kilogram.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LineDifference {
    /// What it is.
    pub kind: LineKind,
    /// The ingredient or component.
    pub material: Option<MaterialRef>,
    /// What it is called, where it has a name of its own and is no material.
    pub label: Option<String>,
    /// What happened to it.
    pub change: LineChange,
    /// What the amounts are in; `None` for costs that are of nothing weighed or counted.
    pub dimension: Option<Dimension>,
    /// kg or pieces before.
    pub amount_before: Option<Exact>,
    /// kg or pieces after.
    pub amount_after: Option<Exact>,
    /// Per kg or piece before; for a cost per batch, the batch's.
    pub price_before: Option<Exact>,
    /// Per kg or piece after; for a cost per batch, the batch's.
    pub price_after: Option<Exact>,
    /// Value before; `None` when there is none or nothing of it is known.
    pub value_before: Option<Exact>,
    /// Value after; `None` when there is none or nothing of it is known.
    pub value_after: Option<Exact>,
    /// Value after less value before: the sum of the two effects and of `not_known`.
    pub difference: Exact,
    /// `Δamount × price before`.
    pub amount_effect: Exact,
    /// `amount after × Δprice`.
    pub price_effect: Exact,
    /// What cannot be put down to either, since one side has no figure.
    pub not_known: Exact,
    /// Where the figure before comes from.
    pub source_before: Option<Source>,
    /// Where the figure after comes from.
    pub source_after: Option<Source>,
    /// Whether something is missing on either side.
    pub partial: bool,
    /// The lines of an intermediate made here on both sides, adding up to this line; empty where they are not all spelt out.
    pub nested: Vec<LineDifference>,
}

/// Why a cost differs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cause {
    /// Other amounts of ingredients that both sides have: doses, losses.
    IngredientAmounts,
    /// Other prices of ingredients that both sides have.
    IngredientPrices,
    /// Ingredients only the second side has.
    AddedIngredients,
    /// Ingredients only the first side has.
    RemovedIngredients,
    /// The cost per batch, and over how much it is spread.
    CostPerBatch,
    /// Components: amounts, prices, added and removed ones.
    Packaging,
    /// Filling and labelling.
    Filling,
    /// Lines one side has no figure for.
    NotKnown,
}

impl Cause {
    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::IngredientAmounts => "amounts of ingredients",
            Self::IngredientPrices => "prices of ingredients",
            Self::AddedIngredients => "added ingredients",
            Self::RemovedIngredients => "removed ingredients",
            Self::CostPerBatch => "cost per batch",
            Self::Packaging => "packaging",
            Self::Filling => "filling",
            Self::NotKnown => "not known on one side",
        }
    }

    /// A stable name for programs.
    pub const fn code(self) -> &'static str {
        match self {
            Self::IngredientAmounts => "INGREDIENT_AMOUNTS",
            Self::IngredientPrices => "INGREDIENT_PRICES",
            Self::AddedIngredients => "ADDED_INGREDIENTS",
            Self::RemovedIngredients => "REMOVED_INGREDIENTS",
            Self::CostPerBatch => "COST_PER_BATCH",
            Self::Packaging => "PACKAGING",
            Self::Filling => "FILLING",
            Self::NotKnown => "NOT_KNOWN",
        }
    }
}

/// What one cause comes to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CauseSum {
    /// The cause.
    pub cause: Cause,
    /// What it adds to the cost.
    pub effect: Exact,
}

impl Serialize for Comparison {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.print().map_err(S::Error::custom)?.serialize(serializer)
    }
}

/// Why two sheets differ, per unit where both have units, else per kilogram of liquid.
///
/// # Errors
/// Those of [`compare_per`].
pub fn compare(before: &CostSheet, after: &CostSheet) -> Result<Comparison, EngineError> {
    let per = match (Per::of(before), Per::of(after)) {
        (Per::Unit, Per::Unit) => Per::Unit,
        _ => Per::Kilogram,
    };
    compare_per(before, after, per)
}

/// Why two sheets differ per unit or per kilogram.
///
/// # Errors
/// [`EngineError::QuestionDoesNotFit`] for units where a sheet has none; [`kernel::AmountError::CurrencyMismatch`] for sheets in
/// two currencies.
pub fn compare_per(before: &CostSheet, after: &CostSheet, per: Per) -> Result<Comparison, EngineError> {
    if before.currency != after.currency {
        return Err(kernel::AmountError::CurrencyMismatch(before.currency, after.currency).into());
    }
    let (part_before, part_after) = (per.part_of_batch(before)?, per.part_of_batch(after)?);
    let counted = |line: &&CostLine| per.counts(line.kind);
    let lines = differences(
        Grouped::of(before.lines.iter().filter(counted), &part_before, &part_before),
        Grouped::of(after.lines.iter().filter(counted), &part_after, &part_after),
    )?;
    let sum =
        |of: fn(&LineDifference) -> Option<&Exact>| -> Exact { lines.iter().filter_map(of).sum::<Exact>() };
    let before_cost = sum(|line| line.value_before.as_ref());
    let after_cost = sum(|line| line.value_after.as_ref());
    let difference = &after_cost - &before_cost;
    Ok(Comparison {
        per,
        currency: after.currency,
        difference_share: difference.checked_div(&before_cost).ok(),
        difference,
        causes: causes(&lines),
        before: Side::of(before, before_cost),
        after: Side::of(after, after_cost),
        lines,
        complete: before.complete && after.complete,
    })
}

/// All lines of one kind and material on one side.
struct Group<'s> {
    material: Option<&'s MaterialRef>,
    label: Option<&'s String>,
    dimension: Option<Dimension>,
    amount: Option<Exact>,
    price: Option<Exact>,
    value: Option<Exact>,
    source: &'s Source,
    partial: bool,
    lines: Vec<&'s CostLine>,
}

type Key = (LineKind, Option<MaterialId>, Option<String>);

/// One side's lines by kind, material and name, in the order they stand.
struct Grouped<'s> {
    keys: Vec<Key>,
    groups: HashMap<Key, Group<'s>>,
    part: Exact,
}

impl<'s> Grouped<'s> {
    /// `part` is the part of the batch that one is; `each` how much of what a cost per batch is of goes into one.
    fn of(lines: impl Iterator<Item = &'s CostLine>, part: &Exact, each: &Exact) -> Self {
        let mut keys = Vec::new();
        let mut groups: HashMap<Key, Group<'s>> = HashMap::new();
        for line in lines {
            let key: Key =
                (line.kind, line.material.as_ref().map(|material| material.id), line.label.clone());
            let value = line.value.as_ref().map(|value| value * part);
            let (amount, price) = match line.kind {
                LineKind::Ingredient | LineKind::Component => {
                    (line.amount.as_ref().map(|amount| amount * part), line.unit_cost.clone())
                }
                LineKind::CostPerBatch => {
                    (Some(each.clone()), value.as_ref().and_then(|value| value.checked_div(each).ok()))
                }
                LineKind::LineLabour => (Some(Exact::ONE), value.clone()),
            };
            match groups.get_mut(&key) {
                None => {
                    keys.push(key.clone());
                    groups.insert(
                        key,
                        Group {
                            material: line.material.as_ref(),
                            label: line.label.as_ref(),
                            dimension: line.dimension,
                            amount,
                            price,
                            value,
                            source: &line.source,
                            partial: line.partial,
                            lines: vec![line],
                        },
                    );
                }
                Some(group) => {
                    group.value = match (group.value.take(), value) {
                        (Some(a), Some(b)) => Some(a + b),
                        (a, b) => a.or(b),
                    };
                    match line.kind {
                        // An intermediate on two lines: its making is by the kilogram of both.
                        LineKind::CostPerBatch => {
                            group.price = group.value.as_ref().and_then(|value| value.checked_div(each).ok());
                        }
                        // Two costs of one filling are still one filling.
                        LineKind::LineLabour => group.price.clone_from(&group.value),
                        LineKind::Ingredient | LineKind::Component => {
                            group.amount = group.amount.take().zip(amount).map(|(a, b)| a + b);
                            group.price = group.price.take().or(price);
                        }
                    }
                    group.partial |= line.partial;
                    group.lines.push(line);
                }
            }
        }
        Self { keys, groups, part: part.clone() }
    }
}

fn differences(mut before: Grouped<'_>, mut after: Grouped<'_>) -> Result<Vec<LineDifference>, EngineError> {
    let mut keys = before.keys.clone();
    keys.extend(after.keys.iter().filter(|key| !before.groups.contains_key(*key)).cloned());
    keys.sort_by_key(|(kind, ..)| *kind);
    let (part_before, part_after) = (before.part.clone(), after.part.clone());
    keys.into_iter()
        .map(|key| {
            let sides = (before.groups.remove(&key), after.groups.remove(&key));
            difference(key.0, sides.0.as_ref(), sides.1.as_ref(), &part_before, &part_after)
        })
        .collect()
}

/// A line's difference. Nesting is bounded by the levels that a sheet follows.
fn difference(
    kind: LineKind,
    before: Option<&Group<'_>>,
    after: Option<&Group<'_>>,
    part_before: &Exact,
    part_after: &Exact,
) -> Result<LineDifference, EngineError> {
    let value_before = before.and_then(|side| side.value.clone());
    let value_after = after.and_then(|side| side.value.clone());
    let nought = Exact::ZERO;
    let difference = value_after.as_ref().unwrap_or(&nought) - value_before.as_ref().unwrap_or(&nought);
    let effects = effects(before, after, &difference);
    let change = match (before, after) {
        (None, _) => LineChange::Added,
        (_, None) => LineChange::Removed,
        (Some(before), Some(after)) if before.amount == after.amount && before.price == after.price => {
            LineChange::Same
        }
        _ => LineChange::Changed,
    };
    let nested = nested(before, after, part_before, part_after, &difference)?;
    let either = before.or(after);
    Ok(LineDifference {
        kind,
        material: either.and_then(|side| side.material.cloned()),
        label: either.and_then(|side| side.label.cloned()),
        change,
        dimension: either.and_then(|side| side.dimension),
        amount_before: before.and_then(|side| shown_amount(kind, side)),
        amount_after: after.and_then(|side| shown_amount(kind, side)),
        price_before: before.and_then(|side| side.price.clone()),
        price_after: after.and_then(|side| side.price.clone()),
        value_before,
        value_after,
        difference,
        amount_effect: effects.amount,
        price_effect: effects.price,
        not_known: effects.not_known,
        source_before: before.map(|side| side.source.clone()),
        source_after: after.map(|side| side.source.clone()),
        partial: before.is_some_and(|side| side.partial) || after.is_some_and(|side| side.partial),
        nested,
    })
}

/// Parts of a batch and "one filling" are no amounts anybody weighs.
fn shown_amount(kind: LineKind, side: &Group<'_>) -> Option<Exact> {
    match kind {
        LineKind::Ingredient | LineKind::Component => side.amount.clone(),
        LineKind::CostPerBatch | LineKind::LineLabour => None,
    }
}

#[derive(Default)]
struct Effects {
    amount: Exact,
    price: Exact,
    not_known: Exact,
}

fn effects(before: Option<&Group<'_>>, after: Option<&Group<'_>>, difference: &Exact) -> Effects {
    let by_amount = || Effects { amount: difference.clone(), ..Effects::default() };
    let (Some(before), Some(after)) = (before, after) else {
        // Only one side has the line; if its value is not known, there is no difference to put down to anything.
        return by_amount();
    };
    let none_of = |side: &Group<'_>| side.amount.as_ref().is_some_and(Exact::is_zero);
    match (&before.amount, &after.amount, &before.price, &after.price) {
        (Some(amount_before), Some(amount_after), Some(price_before), Some(price_after)) => Effects {
            amount: &(amount_after - amount_before) * price_before,
            price: amount_after * &(price_after - price_before),
            not_known: Exact::ZERO,
        },
        // Nothing of it on one side needs no price there: it is as good as a line that one side has not.
        _ if none_of(before) || none_of(after) => by_amount(),
        _ => Effects { not_known: difference.clone(), ..Effects::default() },
    }
}

/// The differences beneath an intermediate, where both sides spell out all of it.
fn nested(
    before: Option<&Group<'_>>,
    after: Option<&Group<'_>>,
    part_before: &Exact,
    part_after: &Exact,
    difference: &Exact,
) -> Result<Vec<LineDifference>, EngineError> {
    let inner =
        |side: Option<&Group<'_>>| side.is_some_and(|side| side.lines.iter().any(|l| !l.nested.is_empty()));
    if !inner(before) && !inner(after) {
        return Ok(Vec::new());
    }
    // The cost of making an intermediate is by the kilogram of it.
    let each = |side: Option<&Group<'_>>| side.and_then(|side| side.amount.clone()).unwrap_or_default();
    let (each_before, each_after) = (each(before), each(after));
    let lines = differences(
        Grouped::of(beneath(before), part_before, &each_before),
        Grouped::of(beneath(after), part_after, &each_after),
    )?;
    let sum: Exact = lines.iter().map(|line| &line.difference).sum();
    Ok(if sum == *difference { lines } else { Vec::new() })
}

fn beneath<'s>(side: Option<&Group<'s>>) -> impl Iterator<Item = &'s CostLine> {
    let lines: Vec<&'s CostLine> = side.map(|side| side.lines.clone()).unwrap_or_default();
    lines.into_iter().flat_map(|line| &line.nested)
}

fn causes(lines: &[LineDifference]) -> Vec<CauseSum> {
    let mut sums: Vec<CauseSum> = Vec::new();
    let mut add = |cause: Cause, effect: &Exact| match sums.iter_mut().find(|sum| sum.cause == cause) {
        Some(sum) => sum.effect += effect,
        None => sums.push(CauseSum { cause, effect: effect.clone() }),
    };
    for line in lines {
        add(Cause::NotKnown, &line.not_known);
        let known = &line.amount_effect + &line.price_effect;
        match (line.kind, line.change) {
            (LineKind::Ingredient, LineChange::Added) => add(Cause::AddedIngredients, &known),
            (LineKind::Ingredient, LineChange::Removed) => add(Cause::RemovedIngredients, &known),
            (LineKind::Ingredient, _) => {
                add(Cause::IngredientAmounts, &line.amount_effect);
                add(Cause::IngredientPrices, &line.price_effect);
            }
            (LineKind::CostPerBatch, _) => add(Cause::CostPerBatch, &known),
            (LineKind::Component, _) => add(Cause::Packaging, &known),
            (LineKind::LineLabour, _) => add(Cause::Filling, &known),
        }
    }
    sums.retain(|sum| !sum.effect.is_zero());
    sums.sort_by_key(|sum| sum.cause);
    sums
}
