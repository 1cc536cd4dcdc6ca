//! What can be done about lines that miss their total: take the difference from one of them, or rescale all.
//!
//! Nothing of it happens by itself. Each way is shown line by line, before and after, with the use levels the result breaks, for
//! rescaling keeps ratios and moves what a limit stands on.

use chrono::NaiveDate;
use domain::{
    formulas::{AmountBasis, FormulaLine, FormulaVersion, LineAmount, WrittenAs},
    materials::MaterialKind,
};
use kernel::{Exact, Mass, Percent, Volume};

use super::{Said, normalise, read_amount};
use crate::{
    EngineError, MaterialRef, View,
    explode::{UseLevelBreach, use_level_breaches},
};

/// A way to make the lines meet their total.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ProposalKind {
    /// One line takes the difference and is q.s. from then on.
    TakeFrom {
        /// Its position.
        position: u32,
    },
    /// Every line times the nominal total over what the lines add up to.
    Rescale,
}

impl ProposalKind {
    /// The words people use.
    pub fn words(self) -> String {
        match self {
            Self::TakeFrom { position } => format!("take the difference from line {position}"),
            Self::Rescale => "rescale all lines".to_owned(),
        }
    }

    /// A stable name for programs.
    pub const fn code(self) -> &'static str {
        match self {
            Self::TakeFrom { .. } => "TAKE_FROM",
            Self::Rescale => "RESCALE",
        }
    }
}

/// One way to make the lines of a version meet their total.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Proposal {
    /// What is done.
    pub kind: ProposalKind,
    /// What the lines add up to as written, as a fraction of the nominal total.
    pub total_before: Exact,
    /// The lines, in their order.
    pub lines: Vec<ProposedLine>,
    /// The version as it would be written, under the same identity. Amounts are rounded to what is kept; the largest line takes up
    /// what that leaves, so that the total is met to the last digit.
    pub version: FormulaVersion,
    /// The use levels the result breaks.
    pub breaches: Vec<UseLevelBreach>,
}

/// A line before and after.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProposedLine {
    /// Its position.
    pub position: u32,
    /// What.
    pub material: MaterialRef,
    /// As written: kg as supplied in one kg of the nominal total; nought for a q.s. line to which nothing is left.
    pub before: Exact,
    /// As proposed: kg as supplied in one kg of everything charged.
    pub after: Exact,
}

/// The ways to make a version's lines meet their total: of a version in percent that does not make 100 %, and of a bench sheet that
/// misses its nominal total or leaves less than nothing to its q.s. line. None for a version that meets it, for one written
/// otherwise, and for one of which a figure is missing. The difference is taken from the line named; else from water or whatever else
/// is drawn, and where there is none from the largest line; it is not offered where that line does not hold it.
///
/// # Errors
/// [`EngineError::UnsoundFormula`] for anything else that is wrong with the lines; [`EngineError::NotFound`].
pub fn proposals(
    view: &View<'_>,
    version: &FormulaVersion,
    on: NaiveDate,
    diluent: Option<u32>,
) -> Result<Vec<Proposal>, EngineError> {
    // As written, before anything is known of what trim lines took.
    let plain = view.without_trim_use();
    match normalise(&plain, version) {
        Ok(normal) if normal.notes.iter().any(|note| matches!(note, crate::Note::Rescaled { .. })) => {}
        Err(error) if error.is_missed_total() => {}
        Ok(_) => return Ok(Vec::new()),
        Err(error) => return Err(error),
    }
    let total = match version.written_as {
        WrittenAs::Percent => Exact::ONE,
        WrittenAs::Grams { total } => total.to_exact(),
        WrittenAs::Parts | WrittenAs::Volume { .. } => return Ok(Vec::new()),
    };
    let Some(sheet) = Sheet::read(&plain, version, total)? else { return Ok(Vec::new()) };
    let mut found = Vec::with_capacity(2);
    if let Some(position) = diluent.or_else(|| sheet.usual_diluent())
        && let Some(written) = sheet.taken_from(position)
    {
        found.push((ProposalKind::TakeFrom { position }, written));
    }
    found.push((ProposalKind::Rescale, sheet.rescaled()?));
    let mut proposals = Vec::with_capacity(found.len());
    for (kind, written) in found {
        let Ok(after) = normalise(&plain, &written) else { continue };
        let mut lines = Vec::with_capacity(after.lines.len());
        for ((line, before), after) in version.lines.iter().zip(&sheet.masses).zip(after.lines) {
            lines.push(ProposedLine {
                position: line.position,
                material: MaterialRef::from(&**view.material(line.material)?),
                before: before.clone().unwrap_or_default().checked_div(&sheet.total)?,
                after: after.share.unwrap_or_default(),
            });
        }
        proposals.push(Proposal {
            kind,
            total_before: sheet.sum().checked_div(&sheet.total)?,
            lines,
            breaches: use_level_breaches(view, &written, on)?,
            version: written,
        });
    }
    Ok(proposals)
}

/// A version's lines in kg as supplied, all of them known.
struct Sheet<'v, 'a> {
    view: &'v View<'a>,
    version: &'v FormulaVersion,
    total: Exact,
    /// One for one; `None` for q.s.
    masses: Vec<Option<Exact>>,
}

impl<'v, 'a> Sheet<'v, 'a> {
    fn read(
        view: &'v View<'a>,
        version: &'v FormulaVersion,
        total: Exact,
    ) -> Result<Option<Self>, EngineError> {
        let mut masses = Vec::with_capacity(version.lines.len());
        for line in &version.lines {
            masses.push(match read_amount(view, version, line, line.amount, &mut Vec::new())? {
                Said::Fraction(fraction) => Some(&fraction * &total),
                Said::Kilograms(kg) => Some(kg),
                Said::Rest => None,
                Said::Unknown => return Ok(None),
            });
        }
        Ok(Some(Self { view, version, total, masses }))
    }

    fn sum(&self) -> Exact {
        self.masses.iter().flatten().sum()
    }

    fn has_rest(&self) -> bool {
        self.masses.iter().any(Option::is_none)
    }

    /// The line that usually takes up a difference: the most of what is drawn, such as water; else the most of anything.
    fn usual_diluent(&self) -> Option<u32> {
        let lines = || self.version.lines.iter().zip(&self.masses).filter(|(line, _)| line.trim.is_none());
        let drawn = lines().filter(|(line, _)| {
            self.view.material(line.material).is_ok_and(|m| m.kind == MaterialKind::Utility)
        });
        // From behind, so that of equals the first is found.
        drawn
            .rev()
            .max_by(|a, b| a.1.cmp(b.1))
            .or_else(|| lines().rev().max_by(|a, b| a.1.cmp(b.1)))
            .map(|(line, _)| line.position)
    }

    fn taken_from(&self, position: u32) -> Option<FormulaVersion> {
        if self.has_rest() {
            return None;
        }
        let at = self.version.lines.iter().position(|line| line.position == position)?;
        let own = self.masses.get(at)?.as_ref()?;
        if (&(&self.total - &self.sum()) + own).is_negative() {
            return None;
        }
        let mut written = self.version.clone();
        make_rest(written.lines.get_mut(at)?);
        Some(written)
    }

    fn rescaled(&self) -> Result<FormulaVersion, EngineError> {
        let factor = self.total.checked_div(&self.sum())?;
        let mut written = self.version.clone();
        for line in &mut written.lines {
            line.amount = scaled(line.amount, &factor)?;
            if let Some(stop) = line.trim.as_mut().and_then(|trim| trim.stop.as_mut()) {
                *stop = scaled(*stop, &factor)?;
            }
        }
        if self.has_rest() {
            // Amounts were rounded down; what that leaves goes to the q.s. line.
            return Ok(written);
        }
        let Some(after) = Sheet::read(self.view, &written, self.total.clone())? else { return Ok(written) };
        let left = &self.total - &after.sum();
        let largest = written
            .lines
            .iter()
            .zip(&after.masses)
            .enumerate()
            .filter(|(_, (line, _))| {
                line.trim.is_none()
                    && line.basis == AmountBasis::AsSupplied
                    && matches!(line.amount, LineAmount::Percent(_) | LineAmount::Mass(_))
            })
            .max_by(|(_, (_, a)), (_, (_, b))| a.cmp(b))
            .map(|(at, (line, mass))| (at, line.amount, mass.clone().unwrap_or_default()));
        if let Some((at, amount, mass)) = largest.filter(|_| !left.is_zero())
            && let Some(line) = written.lines.get_mut(at)
        {
            match exactly(amount, &(mass + &left), &self.total) {
                Some(amount) => line.amount = amount,
                // A strength or a density that does not come out even: only q.s. meets the total exactly.
                None => make_rest(line),
            }
        }
        Ok(written)
    }
}

fn make_rest(line: &mut FormulaLine) {
    line.amount = LineAmount::QuantitySufficient;
    line.basis = AmountBasis::AsSupplied;
    line.trim = None;
}

/// An amount times a factor, rounded down to what is kept.
fn scaled(amount: LineAmount, factor: &Exact) -> Result<LineAmount, EngineError> {
    let percent = |percent: Percent| Percent::from_exact_down(&(percent.to_exact() * factor));
    Ok(match amount {
        LineAmount::Percent(figure) => LineAmount::Percent(percent(figure)?),
        LineAmount::PercentWeightInVolume(figure) => LineAmount::PercentWeightInVolume(percent(figure)?),
        LineAmount::PercentVolumeInVolume(figure) => LineAmount::PercentVolumeInVolume(percent(figure)?),
        LineAmount::Mass(mass) => LineAmount::Mass(Mass::from_exact_down(&(mass.to_exact() * factor))?),
        LineAmount::Volume(volume) => {
            LineAmount::Volume(Volume::from_exact_down(&(volume.to_exact() * factor))?)
        }
        LineAmount::Parts(_) | LineAmount::QuantitySufficient => amount,
    })
}

/// The amount of the same kind that comes to so many kg, when there is one.
fn exactly(amount: LineAmount, kg: &Exact, total: &Exact) -> Option<LineAmount> {
    match amount {
        LineAmount::Percent(_) => {
            let figure = (kg * &Exact::whole(100)).checked_div(total).ok()?.to_decimal_exactly()?;
            Percent::from_percent(figure).ok().map(LineAmount::Percent)
        }
        LineAmount::Mass(_) => Mass::from_kg(kg.to_decimal_exactly()?).ok().map(LineAmount::Mass),
        _ => None,
    }
}
