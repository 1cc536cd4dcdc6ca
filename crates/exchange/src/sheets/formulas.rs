//! Formulas, their versions and lines.

use app::import::{FormulaDraft, LineDraft, Place, VersionDraft};
use domain::{
    formulas::{
        AmountBasis, Approval, LineAmount, MeasuredDensity, Trim, VersionStatus, WrittenAs, misfit_of_line,
    },
    text::code_key,
};
use kernel::{Mass, Parts, Percent, Quantity, Unit, limits::FORMULA_LINES_MAX};
use rust_decimal::Decimal;
use std::collections::{BTreeMap, HashSet};

use crate::{
    collected::{Collected, seen_from},
    figures::{PercentKind, Written},
    kinds::SheetKind,
    names::plain,
    problems::Problems,
    row::{Row, wrong_dimension},
    sheets::materials::use_level_bounds,
};

const STATUSES: &[(&str, VersionStatus)] = &[
    ("draft", VersionStatus::Draft),
    ("approved", VersionStatus::Approved),
    ("retired", VersionStatus::Retired),
];

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Manner {
    Percent,
    Grams,
    Volume,
    Parts,
}

const MANNERS: &[(&str, Manner)] = &[
    ("percent", Manner::Percent),
    ("grams", Manner::Grams),
    ("volume", Manner::Volume),
    ("parts", Manner::Parts),
];

const BASES: &[(&str, AmountBasis)] =
    &[("as supplied", AmountBasis::AsSupplied), ("active matter", AmountBasis::ActiveMatter)];

/// A row of a sheet of formulas.
#[derive(Debug)]
pub(crate) struct VersionRow {
    formula: String,
    name: String,
    makes: String,
    version: VersionDraft,
}

/// A row of a sheet of formula lines. The line's amount is settled once it is known how its version is written.
#[derive(Debug)]
pub(crate) struct LineRow {
    formula: String,
    version: u32,
    amount: Amount,
    stop: Option<Amount>,
    line: LineDraft,
}

/// An amount as it stands in the sheet.
#[derive(Debug, Clone, PartialEq)]
enum Amount {
    QuantitySufficient,
    Bare(Decimal),
    Percent(PercentKind, Percent),
    Parts(Parts),
    Quantity(Quantity),
}

/// What could not be read, so that nothing false is said about the rest.
#[derive(Debug, Default)]
pub(crate) struct Broken {
    /// Versions of which a row could not be read.
    pub versions: HashSet<(String, u32)>,
    /// A row could not be read and it is not known whose it was.
    pub stray_row: bool,
}

pub(crate) fn read_version(row: &mut Row<'_>, out: &mut Collected) {
    let formula = row.code("formula");
    let formula = row.must("formula", formula);
    let number = row.whole::<u32>("version");
    let number = row.must("version", number);
    let key = formula.as_deref().map(code_key).zip(number);
    if let Some((formula, number)) = &key {
        out.once(SheetKind::Formulas, row, "version", format!("{formula}\n{number}"), "the same version");
    }
    let version = version(row, formula, number);
    match (version, key) {
        (Some(version), _) if !row.is_faulty() => out.versions.push(version),
        (_, Some((formula, number))) => {
            out.unread.formulas.insert(formula.clone());
            out.broken_versions.insert((formula, number));
        }
        _ => out.stray_row = true,
    }
}

fn version(row: &mut Row<'_>, formula: Option<String>, number: Option<u32>) -> Option<VersionRow> {
    let name = row.name("name");
    let name = row.must("name", name);
    let status = row.one_of("status", STATUSES);
    let status = row.must("status", status);
    let makes = row.code("makes");
    let makes = row.must("makes", makes);
    let manner = row.one_of("written as", MANNERS);
    let manner = row.must("written as", manner);
    let written_as = manner.and_then(|manner| written_as(row, manner));
    let density = density(row);
    let process_loss = row.loss("process loss");
    let evaporation = row.loss("evaporation");
    if let Ok(lost) = process_loss.checked_add(evaporation)
        && lost >= Percent::HUNDRED
        && !row.is_faulty()
    {
        row.fault("evaporation", format!("with the process loss it is {lost}; nothing is left"));
    }
    let heel = row.mass("heel").unwrap_or_default();
    let samples = row.mass("samples").unwrap_or_default();
    let retains = row.mass("retains").unwrap_or_default();
    let smallest_batch = row.mass_above_nought("smallest batch");
    let usual_batch = row.mass_above_nought("usual batch");
    let usual_batch = row.must("usual batch", usual_batch);
    let largest_batch = row.mass_above_nought("largest batch");
    batch_order(row, smallest_batch, usual_batch, largest_batch);
    let cost_per_batch = row.house_money("cost per batch");
    let shelf_life = row.span("shelf life");
    let approval = status.and_then(|status| approval(row, status));
    let note = row.note("note");
    Some(VersionRow {
        formula: formula?,
        name: name?,
        makes: makes?,
        version: VersionDraft {
            place: row.place.clone(),
            number: number?,
            status: status?,
            written_as: written_as?,
            density,
            process_loss,
            heel,
            usual_batch: usual_batch?,
            smallest_batch,
            largest_batch,
            cost_per_batch,
            evaporation,
            samples,
            retains,
            costs: None,
            shelf_life,
            approval,
            note,
            lines: Vec::new(),
        },
    })
}

fn written_as(row: &mut Row<'_>, manner: Manner) -> Option<WrittenAs> {
    if manner == Manner::Percent {
        if row.has("total") {
            row.fault("total", "must be empty for a formula written as percent: its total is 100 %");
        }
        return Some(WrittenAs::Percent);
    }
    if manner == Manner::Parts {
        if row.has("total") {
            let message =
                "must be empty for a formula written in parts: its total is what the lines add up to";
            row.fault("total", message);
        }
        return Some(WrittenAs::Parts);
    }
    let default = if manner == Manner::Grams { Unit::Gram } else { Unit::Litre };
    let total = row.quantity("total", None);
    if total.is_none() && !row.has("total") {
        let unit = default.symbol();
        row.fault("total", format!("needs a value ({unit}): the nominal total the lines are written for"));
    }
    let expected = default.dimension();
    match (manner, total?) {
        (Manner::Grams, Quantity::Mass(total)) => Some(WrittenAs::Grams { total }),
        (Manner::Volume, Quantity::Volume(total)) => Some(WrittenAs::Volume { total }),
        (_, other) => {
            row.fault("total", wrong_dimension(other, expected));
            None
        }
    }
}

fn density(row: &mut Row<'_>) -> Option<MeasuredDensity> {
    let density = row.density("density");
    let measured_on = row.date("density measured on");
    let celsius = row.celsius("density temperature");
    if density.is_none() && !row.has("density") {
        for column in ["density measured on", "density temperature"] {
            if row.has(column) {
                row.fault(column, "stands without a density");
            }
        }
    }
    Some(MeasuredDensity { density: density?, measured_on, celsius })
}

fn batch_order(row: &mut Row<'_>, smallest: Option<Mass>, usual: Option<Mass>, largest: Option<Mass>) {
    if let Some((smallest, largest)) = smallest.zip(largest).filter(|(s, l)| s > l) {
        row.fault("smallest batch", format!("{smallest} is more than the largest batch, {largest}"));
    } else if let Some((smallest, usual)) = smallest.zip(usual).filter(|(s, u)| s > u) {
        row.fault("usual batch", format!("{usual} is less than the smallest batch, {smallest}"));
    } else if let Some((largest, usual)) = largest.zip(usual).filter(|(l, u)| l < u) {
        row.fault("usual batch", format!("{usual} is more than the largest batch, {largest}"));
    }
}

fn approval(row: &mut Row<'_>, status: VersionStatus) -> Option<Approval> {
    let by = row.name("approved by");
    let on = row.date("approved on");
    let needed = status == VersionStatus::Approved || row.has("approved by") || row.has("approved on");
    if needed {
        let why = if status == VersionStatus::Approved {
            "the version is approved"
        } else {
            "one of the two is given"
        };
        for column in ["approved by", "approved on"] {
            if !row.has(column) {
                row.fault(column, format!("needs a value, since {why}"));
            }
        }
    }
    Some(Approval { by: by?, on: on? })
}

pub(crate) fn read_line(row: &mut Row<'_>, out: &mut Collected) {
    let formula = row.code("formula");
    let formula = row.must("formula", formula);
    let number = row.whole::<u32>("version");
    let number = row.must("version", number);
    let key = formula.as_deref().map(code_key).zip(number);
    let line = line(row, formula, number, out);
    match (line, key) {
        (Some(line), _) if !row.is_faulty() => out.lines.push(line),
        (_, Some(key)) => {
            out.broken_versions.insert(key);
        }
        _ => out.stray_row = true,
    }
}

fn line(
    row: &mut Row<'_>,
    formula: Option<String>,
    number: Option<u32>,
    out: &mut Collected,
) -> Option<LineRow> {
    let position = row.whole::<u32>("line");
    let position = row.must("line", position);
    if let Some(((formula, number), position)) = formula.as_deref().map(code_key).zip(number).zip(position) {
        let key = format!("{formula}\n{number}\n{position}");
        out.once(SheetKind::FormulaLines, row, "line", key, "the same line of this version");
    }
    let phase = row.code("phase");
    let material = row.code("material");
    let material = row.must("material", material);
    let trim_to = row.name("trim to");
    let amount = amount(row, trim_to.is_some());
    let amount = row.must("amount", amount);
    let stop = stop(row, trim_to.is_some());
    let basis = row.one_of("basis", BASES).unwrap_or(AmountBasis::AsSupplied);
    let function = row.name("function");
    let (use_level_from, use_level_to) = use_level_bounds(row);
    let weighing_tolerance = row.share("weighing tolerance");
    let instruction = row.note("instruction");
    Some(LineRow {
        formula: formula?,
        version: number?,
        amount: amount?,
        stop,
        line: LineDraft {
            place: row.place.clone(),
            position: position?,
            phase,
            material: material?,
            amount: LineAmount::QuantitySufficient,
            basis,
            function,
            use_level_from,
            use_level_to,
            weighing_tolerance,
            instruction,
            trim: trim_to.map(|result| Trim { result, stop: None }),
        },
    })
}

fn amount(row: &mut Row<'_>, trimmed: bool) -> Option<Amount> {
    let text = row.text("amount")?;
    if plain(&text).replace('.', "") == "qs" {
        return Some(Amount::QuantitySufficient);
    }
    let written = row.written("amount")?;
    let amount = match as_amount(&written) {
        Ok(_) if written.figure.is_zero() && !trimmed => Err(
            "an amount must be above nought; for a line that is added until a result is reached, say the result under “trim to”"
                .to_owned(),
        ),
        read => read,
    };
    row.settle("amount", amount)
}

/// What may be added at most to a line that is added until a result is reached.
fn stop(row: &mut Row<'_>, trimmed: bool) -> Option<Amount> {
    if !trimmed {
        if row.has("trim at most") {
            row.fault("trim at most", "stands without the result to reach: say it under “trim to”");
        }
        return None;
    }
    let written = row.written("trim at most")?;
    let stop = as_amount(&written);
    row.settle("trim at most", stop)
}

fn as_amount(written: &Written) -> Result<Amount, String> {
    if written.figure < Decimal::ZERO {
        return Err("an amount must be above nought".to_owned());
    }
    if written.unit.is_empty() {
        return Ok(Amount::Bare(written.figure));
    }
    if let Some(kind) = written.percent_kind() {
        let percent = Percent::from_percent(written.figure).map_err(|e| e.to_string())?;
        return Ok(Amount::Percent(kind, percent));
    }
    if written.is_parts() {
        return Parts::from_parts(written.figure).map(Amount::Parts).map_err(|e| e.to_string());
    }
    if written.unit.starts_with('%') {
        // Some percent nobody knows; this says so.
        written.percent()?;
    }
    match written.quantity(None)? {
        Quantity::Count(_) => Err("an amount is a percent, a mass or a volume, not a count".to_owned()),
        quantity => Ok(Amount::Quantity(quantity)),
    }
}

impl Amount {
    /// The amount in a version that is written so.
    fn settle(self, written_as: WrittenAs) -> Result<LineAmount, String> {
        let bare = |figure, default| Written { figure, unit: String::new() }.quantity(Some(default));
        let amount = match (self, written_as) {
            (Self::QuantitySufficient, _) => LineAmount::QuantitySufficient,
            (Self::Bare(figure), WrittenAs::Percent) => {
                LineAmount::Percent(Percent::from_percent(figure).map_err(|e| e.to_string())?)
            }
            (Self::Bare(figure), WrittenAs::Grams { .. }) => of_quantity(bare(figure, Unit::Gram)?),
            (Self::Bare(figure), WrittenAs::Volume { .. }) => of_quantity(bare(figure, Unit::Millilitre)?),
            (Self::Bare(figure), WrittenAs::Parts) => {
                LineAmount::Parts(Parts::from_parts(figure).map_err(|e| e.to_string())?)
            }
            (Self::Percent(PercentKind::Bare, _), WrittenAs::Volume { .. }) => {
                return Err(
                    "in a formula by volume a percent could be w/w, w/v or v/v; say which, as in “5 % w/v”"
                        .to_owned(),
                );
            }
            (Self::Percent(kind, percent), _) => match kind {
                PercentKind::Bare | PercentKind::WeightInWeight => LineAmount::Percent(percent),
                PercentKind::WeightInVolume => LineAmount::PercentWeightInVolume(percent),
                PercentKind::VolumeInVolume => LineAmount::PercentVolumeInVolume(percent),
            },
            (Self::Parts(parts), _) => LineAmount::Parts(parts),
            (Self::Quantity(_), WrittenAs::Percent) => {
                return Err(
                    "a formula in percent is written in % and q.s.; for masses write it as grams".to_owned()
                );
            }
            (Self::Quantity(quantity), _) => of_quantity(quantity),
        };
        if let LineAmount::Percent(percent) | LineAmount::PercentVolumeInVolume(percent) = amount {
            percent.require_share().map_err(|e| e.to_string())?;
        }
        Ok(amount)
    }
}

/// Counts have been refused before.
const fn of_quantity(quantity: Quantity) -> LineAmount {
    match quantity {
        Quantity::Mass(mass) => LineAmount::Mass(mass),
        Quantity::Volume(volume) => LineAmount::Volume(volume),
        Quantity::Count(_) => LineAmount::QuantitySufficient,
    }
}

/// Puts versions to their formulas and lines to their versions.
pub(crate) fn assemble(
    versions: Vec<VersionRow>,
    lines: Vec<LineRow>,
    broken: &Broken,
    problems: &mut Problems,
) -> Vec<FormulaDraft> {
    let mut lines_of: BTreeMap<(String, u32), Vec<LineRow>> = BTreeMap::new();
    for line in lines {
        lines_of.entry((code_key(&line.formula), line.version)).or_default().push(line);
    }
    let mut formulas: BTreeMap<String, FormulaDraft> = BTreeMap::new();
    for VersionRow { formula, name, makes, mut version } in versions {
        let key = (code_key(&formula), version.number);
        let lines = lines_of.remove(&key).unwrap_or_default();
        let whole = !broken.stray_row && !broken.versions.contains(&key);
        settle_lines(&formula, &mut version, lines, whole, problems);
        let known = formulas.entry(key.0).or_insert_with(|| FormulaDraft {
            place: version.place.clone(),
            code: formula,
            name: name.clone(),
            makes: makes.clone(),
            versions: Vec::new(),
        });
        let first = seen_from(&known.place, &version.place);
        if known.name != name {
            let message = format!("{first} calls the same formula “{}”", known.name);
            problems.cell(&version.place, "name", message);
        }
        if code_key(&known.makes) != code_key(&makes) {
            let message = format!("{first} says the same formula makes {}", known.makes);
            problems.cell(&version.place, "makes", message);
        }
        known.versions.push(version);
    }
    for (key, lines) in lines_of {
        if let Some(line) = lines.first().filter(|_| !broken.stray_row && !broken.versions.contains(&key)) {
            let message = format!(
                "no sheet of formulas in this import has version {} of {}",
                line.version, line.formula
            );
            problems.cell(&line.line.place, "version", message);
        }
    }
    let mut formulas: Vec<FormulaDraft> = formulas.into_values().collect();
    for formula in &mut formulas {
        formula.versions.sort_by_key(|version| version.number);
    }
    formulas.sort_by(|a, b| a.place.cmp(&b.place));
    formulas
}

/// Gives a version its lines and checks what can be said about them without knowing the materials.
fn settle_lines(
    formula: &str,
    version: &mut VersionDraft,
    mut rows: Vec<LineRow>,
    mut whole: bool,
    problems: &mut Problems,
) {
    let number = version.number;
    if rows.is_empty() && whole {
        let message =
            format!("no sheet of formula lines in this import has a line of version {number} of {formula}");
        problems.cell(&version.place, "version", message);
        return;
    }
    if rows.len() > FORMULA_LINES_MAX {
        let message = format!(
            "version {number} of {formula} has {} lines; at most {FORMULA_LINES_MAX} are kept",
            rows.len()
        );
        problems.cell(&version.place, "version", message);
        return;
    }
    rows.sort_by_key(|row| row.line.position);
    let mut quantity_sufficient: Option<Place> = None;
    for LineRow { amount, stop, mut line, .. } in rows {
        match settle_line(&mut line, amount, stop, version.written_as) {
            Ok(()) => {}
            Err((column, message)) => {
                problems.cell(&line.place, column, message);
                whole = false;
                continue;
            }
        }
        if line.amount == LineAmount::QuantitySufficient {
            if let Some(first) = &quantity_sufficient {
                let message =
                    format!("{} is q.s. already, and one line at most can be", seen_from(first, &line.place));
                problems.cell(&line.place, "amount", message);
                whole = false;
            } else {
                quantity_sufficient = Some(line.place.clone());
            }
        }
        version.lines.push(line);
    }
    if whole {
        check_total(formula, version, quantity_sufficient.as_ref(), problems);
    }
}

/// Gives a line its amounts, now that it is known how its version is written; the error is a column and what is wrong there.
fn settle_line(
    line: &mut LineDraft,
    amount: Amount,
    stop: Option<Amount>,
    written_as: WrittenAs,
) -> Result<(), (&'static str, String)> {
    line.amount = amount.settle(written_as).map_err(|message| ("amount", message))?;
    if let Some(misfit) = misfit_of_line(line.amount, line.basis, None, written_as) {
        return Err(("amount", misfit.to_owned()));
    }
    if let Some(trim) = &mut line.trim {
        let settled = stop.map(|stop| stop.settle(written_as)).transpose();
        trim.stop = settled.map_err(|message| ("trim at most", message))?;
    }
    match misfit_of_line(line.amount, line.basis, line.trim.as_ref(), written_as) {
        Some(misfit) if line.amount == LineAmount::QuantitySufficient => Err(("trim to", misfit.to_owned())),
        Some(misfit) => Err(("trim at most", misfit.to_owned())),
        None => Ok(()),
    }
}

/// A total that is missed is a problem of a version that is fixed. A draft may stand with it; that it cannot be approved so is said.
fn missed_total(version: &VersionDraft, place: &Place, column: &str, message: &str, problems: &mut Problems) {
    if version.status == VersionStatus::Draft {
        let message = format!("{message}; a draft may stand so, but is not approved before it is put right");
        problems.warn(place, column, message);
    } else {
        problems.cell(place, column, message);
    }
}

fn check_total(
    formula: &str,
    version: &VersionDraft,
    quantity_sufficient: Option<&Place>,
    problems: &mut Problems,
) {
    // Amounts of active matter grow once the strength of the material is known, so their sum says nothing yet.
    if version.lines.iter().any(|line| line.basis == AmountBasis::ActiveMatter) {
        return;
    }
    let number = version.number;
    match version.written_as {
        WrittenAs::Percent => {
            let sum = version.lines.iter().try_fold(Percent::ZERO, |sum, line| match line.amount {
                LineAmount::Percent(percent) => sum.checked_add(percent),
                _ => Ok(sum),
            });
            match (sum, quantity_sufficient) {
                (Err(error), _) => problems.cell(&version.place, "version", error.to_string()),
                (Ok(sum), Some(place)) if sum > Percent::HUNDRED => {
                    let message =
                        format!("the other lines add up to {sum} already; nothing is left for q.s.");
                    missed_total(version, place, "amount", &message, problems);
                }
                (Ok(sum), None) if sum != Percent::HUNDRED => {
                    let message = format!(
                        "the lines of version {number} of {formula} add up to {sum}, not 100 %, and none is q.s."
                    );
                    missed_total(version, &version.place, "version", &message, problems);
                }
                _ => {}
            }
        }
        WrittenAs::Grams { total } => {
            let sum = version.lines.iter().try_fold(Some(Mass::ZERO), |sum, line| match (sum, line.amount) {
                (Some(sum), LineAmount::Mass(mass)) => sum.checked_add(mass).map(Some),
                (sum, LineAmount::QuantitySufficient) => Ok(sum),
                // A percent or a volume among the grams: the sum is worked out where densities are known.
                _ => Ok(None),
            });
            match (sum, quantity_sufficient) {
                (Err(error), _) => problems.cell(&version.place, "total", error.to_string()),
                (Ok(Some(sum)), Some(place)) if sum > total => {
                    let message = format!(
                        "the other lines add up to {sum} of {total} already; nothing is left for q.s."
                    );
                    missed_total(version, place, "amount", &message, problems);
                }
                (Ok(Some(sum)), None) if is_far(sum, total) => {
                    let message =
                        format!("the lines of version {number} of {formula} add up to {sum} of {total}");
                    problems.warn(&version.place, "total", message);
                }
                _ => {}
            }
        }
        // By volume it is worked out where densities are known; parts add up to whatever they do.
        WrittenAs::Volume { .. } | WrittenAs::Parts => {}
    }
}

/// A bench sheet misses its total by a few grams; by more than a twentieth a line is missing or mistyped.
fn is_far(sum: Mass, total: Mass) -> bool {
    let (sum, total) = (i128::from(sum.micrograms()), i128::from(total.micrograms()));
    (sum - total).abs() * 20 > total
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bench_sheets_may_miss_their_total_by_a_little() {
        let grams = |g: i64| Mass::from_micrograms(g * 1_000_000);
        assert!(!is_far(grams(997), grams(1000)));
        assert!(!is_far(grams(1050), grams(1000)));
        assert!(is_far(grams(940), grams(1000)));
    }

    #[test]
    fn bare_amounts_take_the_unit_of_their_version() {
        let bare = || Amount::Bare(Decimal::new(125, 1));
        let grams = WrittenAs::Grams { total: Mass::ZERO };
        let volume = WrittenAs::Volume { total: kernel::Volume::ZERO };
        assert_eq!(bare().settle(grams), Ok(LineAmount::Mass(Mass::from_micrograms(12_500_000))));
        assert_eq!(
            bare().settle(volume),
            Ok(LineAmount::Volume(kernel::Volume::from_nanolitres(12_500_000)))
        );
        assert_eq!(
            bare().settle(WrittenAs::Percent),
            Ok(LineAmount::Percent(Percent::from_nano(12_500_000_000)))
        );
    }
}
