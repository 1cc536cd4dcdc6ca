//! The dose of one line against the line that takes up the difference.

use domain::{
    formulas::FormulaVersion,
    materials::{UseLevel, UseLevelKind},
};
use kernel::{
    Currency, Exact, Percent,
    ids::{FormulaId, FormulaVersionId, MaterialId},
};
use serde::Serialize;

use super::pinned;
use crate::{
    CostRequest, CostSheet, EngineError, MaterialRef, Note, Per, View, cost_sheet,
    explode::explode,
    normalise::{Normalised, normalise},
    reformulate::{NewShare, Reformulated, diluent_of, gaps_of, share_of, with_shares},
};

/// Points of one sweep at most.
pub const DOSE_POINTS_MAX: u32 = 401;
/// Points when nobody says how many.
const DOSE_POINTS: u32 = 21;

/// A sweep to be worked out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DoseQuestion {
    /// What is costed: a version, or a pack of it.
    pub of: CostRequest,
    /// The position of the line whose dose is varied.
    pub line: u32,
    /// The position of the line that takes up the difference; `None` for the q.s. line.
    pub against: Option<u32>,
    /// The first and the last dose, % w/w as supplied; `None` from nought to twice the dose, as far as the diluent reaches.
    pub range: Option<(Percent, Percent)>,
    /// How many points, evenly spread, besides the dose as it is; `None` for twenty-one.
    pub points: Option<u32>,
}

/// A sweep. Doses are kg as supplied in one kg of everything charged (percent in JSON); money is in the house's currency.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct DoseSweep {
    /// The formula.
    pub formula: FormulaId,
    /// Its code.
    pub formula_code: String,
    /// The version.
    pub version: FormulaVersionId,
    /// Its number.
    pub version_number: u32,
    /// The house's currency.
    pub currency: Currency,
    /// What `cost_per_unit` of the points would be of; kilogram when nothing is filled.
    pub per: Per,
    /// The line varied.
    pub line: u32,
    /// What stands on it.
    pub material: MaterialRef,
    /// The line that takes up the difference.
    pub against: u32,
    /// What stands on that.
    pub diluent: MaterialRef,
    /// The version as it is.
    pub current: DosePoint,
    /// What a tenth of a percent more adds to the cost of one kg of good output, at the prices of the dose as it is: 0.001 ×
    /// (price − the diluent's price) × charged ÷ good output. `None` where a price is missing.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub per_tenth_percent: Option<Exact>,
    /// Doses at which something begins or ends, from the least.
    pub limits: Vec<DoseLimit>,
    /// The sweep, from the least dose, the dose as it is among them.
    pub points: Vec<DosePoint>,
    /// Whether the sweep was cut off where the diluent ends.
    pub cut_off: bool,
}

/// What one dose comes to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct DosePoint {
    /// The dose.
    #[serde(serialize_with = "crate::figures::dose")]
    pub dose: Exact,
    /// Active matter of that dose, where the strength is known.
    #[serde(serialize_with = "crate::figures::optional_dose")]
    pub active: Option<Exact>,
    /// What is left of the diluent.
    #[serde(serialize_with = "crate::figures::dose")]
    pub diluent: Exact,
    /// One kg of good output; partial when not complete.
    #[serde(serialize_with = "crate::figures::cost")]
    pub cost_per_kg: Exact,
    /// One unit, where units are known.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub cost_per_unit: Option<Exact>,
    /// The cost per kg less that of the dose as it is.
    #[serde(serialize_with = "crate::figures::cost")]
    pub change_per_kg: Exact,
    /// The cost per unit less that of the dose as it is.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub change_per_unit: Option<Exact>,
    /// Margin at the pack's price, as a fraction of one (percent in JSON).
    #[serde(serialize_with = "crate::figures::optional_percent")]
    pub margin: Option<Exact>,
    /// Use levels broken at this dose, by this material or another, in sentences.
    pub breaks: Vec<String>,
    /// Whether one of them is a legal one.
    pub breaks_legal: bool,
    /// Whether this is the dose as it is.
    pub is_current: bool,
    /// Whether nothing is missing.
    pub complete: bool,
}

/// A dose at which something begins or ends.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct DoseLimit {
    /// What.
    pub kind: DoseLimitKind,
    /// The dose of this line: what other lines hold of the material is taken off a use level.
    #[serde(serialize_with = "crate::figures::dose")]
    pub dose: Exact,
    /// Whether it comes from law or a safety assessment.
    pub is_legal: bool,
}

/// What begins or ends at a dose.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum DoseLimitKind {
    /// The least use level of the material.
    LeastOfMaterial,
    /// The least use level of the line.
    LeastOfLine,
    /// The most of the line.
    MostOfLine,
    /// The most of the material.
    MostOfMaterial,
    /// Nothing is left of the diluent.
    EndOfDiluent,
}

impl DoseLimitKind {
    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::LeastOfMaterial => "least use level of the material",
            Self::LeastOfLine => "least use level of the line",
            Self::MostOfLine => "most of the line",
            Self::MostOfMaterial => "most of the material",
            Self::EndOfDiluent => "end of the diluent",
        }
    }

    /// A stable name for programs.
    pub const fn code(self) -> &'static str {
        match self {
            Self::LeastOfMaterial => "LEAST_OF_MATERIAL",
            Self::LeastOfLine => "LEAST_OF_LINE",
            Self::MostOfLine => "MOST_OF_LINE",
            Self::MostOfMaterial => "MOST_OF_MATERIAL",
            Self::EndOfDiluent => "END_OF_DILUENT",
        }
    }
}

impl DoseSweep {
    /// The dose at which a kilogram of good output costs so much, on the straight line through the dose as it is. `None` when the dose
    /// costs nothing more or less than the diluent, when a price is missing, or when that dose is below nought or beyond the diluent.
    pub fn dose_at_cost(&self, cost_per_kg: &Exact) -> Option<Exact> {
        let slope = self.per_tenth_percent.as_ref()? * &Exact::whole(1_000);
        let more = (cost_per_kg - &self.current.cost_per_kg).checked_div(&slope).ok()?;
        let dose = &self.current.dose + &more;
        (!dose.is_negative() && more <= self.current.diluent).then_some(dose)
    }
}

/// What a cost is at other doses of one line, another line taking up the difference.
///
/// # Errors
/// [`EngineError::QuestionDoesNotFit`] for lines that are not there or are the same, a version whose doses are not known, a range the
/// wrong way round, too many points; those of [`cost_sheet`].
pub fn dose_sweep(view: &View<'_>, question: &DoseQuestion) -> Result<DoseSweep, EngineError> {
    let (request, id) = pinned(view, &question.of)?;
    let (formula, version) = view.version(id)?;
    let sweep = Sweep::new(view, version, request, question)?;
    let current = sweep.current.dose.clone();
    let (from, to, cut_off) = sweep.range(question.range)?;
    let mut doses = vec![current.clone()];
    let count = question.points.unwrap_or(DOSE_POINTS);
    if count > DOSE_POINTS_MAX {
        return Err(does_not_fit(format!("{count} points are more than the {DOSE_POINTS_MAX} of one sweep")));
    }
    let last = i128::from(count.saturating_sub(1)).max(1);
    for at in 0..i128::from(count) {
        let dose = &from + &(&(&to - &from) * &Exact::ratio(at, last)?);
        // To what is kept of a percent, so that a version can be written with it.
        let dose = Percent::from_exact_down(&(&dose * &Exact::whole(100)))?.fraction();
        if !doses.contains(&dose) {
            doses.push(dose);
        }
    }
    doses.sort();
    let mut points = Vec::with_capacity(doses.len());
    for dose in &doses {
        points.push(if *dose == current { sweep.current.clone() } else { sweep.point(dose)? });
    }
    Ok(DoseSweep {
        formula: formula.id,
        formula_code: formula.code.clone(),
        version: version.id,
        version_number: version.number,
        currency: view.currency(),
        per: if sweep.current.cost_per_unit.is_some() { Per::Unit } else { Per::Kilogram },
        line: question.line,
        material: MaterialRef::from(&**view.material(sweep.material)?),
        against: sweep.diluent,
        diluent: MaterialRef::from(&**view.material(sweep.diluent_material)?),
        per_tenth_percent: sweep.per_tenth_percent()?,
        limits: sweep.limits()?,
        points,
        cut_off,
        current: sweep.current,
    })
}

fn does_not_fit(why: String) -> EngineError {
    EngineError::QuestionDoesNotFit { why }
}

fn known_share(normalised: &Normalised, position: u32) -> Result<Exact, EngineError> {
    let share = share_of(normalised, position).cloned();
    share.ok_or_else(|| does_not_fit(format!("the dose of line {position} is not known")))
}

struct Sweep<'v, 'a> {
    view: &'v View<'a>,
    version: &'a FormulaVersion,
    request: CostRequest,
    normalised: Normalised,
    line: u32,
    material: MaterialId,
    diluent: u32,
    diluent_material: MaterialId,
    sheet: CostSheet,
    current: DosePoint,
}

impl<'v, 'a> Sweep<'v, 'a> {
    fn new(
        view: &'v View<'a>,
        version: &'a FormulaVersion,
        request: CostRequest,
        question: &DoseQuestion,
    ) -> Result<Self, EngineError> {
        let diluent = diluent_of(version, question.against).map_err(does_not_fit)?;
        let material_at = |position: u32| {
            let line = version.lines.iter().find(|line| line.position == position);
            line.map(|line| line.material).ok_or_else(|| does_not_fit(format!("there is no line {position}")))
        };
        let material = material_at(question.line)?;
        if diluent == question.line {
            return Err(does_not_fit(format!("line {diluent} cannot take up its own difference")));
        }
        let normalised = normalise(view, version)?;
        if !normalised.is_complete() {
            return Err(does_not_fit(format!("the doses are not known: {}", gaps_of(&normalised))));
        }
        let sheet = cost_sheet(view, &request)?;
        let mut sweep = Self {
            view,
            version,
            request,
            line: question.line,
            material,
            diluent,
            diluent_material: material_at(diluent)?,
            current: DosePoint {
                dose: Exact::ZERO,
                active: None,
                diluent: Exact::ZERO,
                cost_per_kg: sheet.totals.per_kg.clone(),
                cost_per_unit: sheet.totals.per_unit.clone(),
                change_per_kg: Exact::ZERO,
                change_per_unit: None,
                margin: None,
                breaks: Vec::new(),
                breaks_legal: false,
                is_current: true,
                complete: sheet.complete,
            },
            normalised,
            sheet,
        };
        sweep.current = sweep.read(&sweep.normalised, &sweep.sheet, true)?;
        Ok(sweep)
    }

    /// One version's figures beside those of the version as it is.
    fn read(
        &self,
        normalised: &Normalised,
        sheet: &CostSheet,
        is_current: bool,
    ) -> Result<DosePoint, EngineError> {
        let line = normalised.lines.iter().find(|line| line.position == self.line);
        let mut breaks = Vec::new();
        let mut breaks_legal = false;
        for note in &sheet.notes {
            if let Note::UseLevel { kind, .. } = note {
                breaks.push(note.to_string());
                breaks_legal |= *kind == UseLevelKind::Legal;
            }
        }
        let per_unit = sheet.totals.per_unit.clone();
        Ok(DosePoint {
            dose: known_share(normalised, self.line)?,
            active: line.and_then(|line| line.active_share.clone()),
            diluent: known_share(normalised, self.diluent)?,
            change_per_kg: &sheet.totals.per_kg - &self.current.cost_per_kg,
            change_per_unit: per_unit
                .as_ref()
                .zip(self.current.cost_per_unit.as_ref())
                .map(|(now, was)| now - was),
            cost_per_kg: sheet.totals.per_kg.clone(),
            cost_per_unit: per_unit,
            margin: sheet.margin.as_ref().and_then(|margin| margin.margin.clone()),
            breaks,
            breaks_legal,
            is_current,
            complete: sheet.complete,
        })
    }

    fn point(&self, dose: &Exact) -> Result<DosePoint, EngineError> {
        let change = NewShare { position: self.line, share: dose.clone(), material: None };
        let written = with_shares(self.view, self.version, &self.normalised, &[change], self.diluent)?;
        let Reformulated::Written(assumed) = written else {
            return Err(does_not_fit("the diluent does not reach so far".to_owned()));
        };
        let view = self.view.assuming_version(&assumed);
        let sheet = cost_sheet(&view, &self.request)?;
        self.read(&normalise(&view, &assumed)?, &sheet, false)
    }

    /// The dose at which nothing is left of the diluent.
    fn end(&self) -> Exact {
        &self.current.dose + &self.current.diluent
    }

    fn range(&self, asked: Option<(Percent, Percent)>) -> Result<(Exact, Exact, bool), EngineError> {
        let (from, to) = match asked {
            Some((from, to)) => {
                let (from, to) = (from.require_share()?.fraction(), to.require_share()?.fraction());
                if from > to {
                    return Err(does_not_fit("the range of doses ends before it begins".to_owned()));
                }
                (from, to)
            }
            None if self.current.dose.is_zero() => (Exact::ZERO, Exact::scaled(1, 2)),
            None => (Exact::ZERO, &self.current.dose * &Exact::whole(2)),
        };
        let end = self.end();
        let cut_off = to > end;
        Ok((from.min(end.clone()), to.min(end), cut_off))
    }

    /// The two prices are those of the sheet of the version as it is.
    fn per_tenth_percent(&self) -> Result<Option<Exact>, EngineError> {
        let price = |material: MaterialId| {
            let line =
                self.sheet.lines.iter().find(|l| l.material.as_ref().is_some_and(|m| m.id == material));
            line.filter(|line| !line.partial).and_then(|line| line.unit_cost.clone())
        };
        let Some((own, other)) = price(self.material).zip(price(self.diluent_material)) else {
            return Ok(None);
        };
        let charged = self.sheet.batch.charged.checked_div(&self.sheet.batch.good)?;
        Ok(Some(&(&(own - other) * &charged) * &Exact::scaled(1, 3)))
    }

    fn limits(&self) -> Result<Vec<DoseLimit>, EngineError> {
        let exploded = explode(self.view, self.version, self.request.as_of)?;
        let bought = exploded.get(self.material).map(|part| part.composition.clone());
        let made = exploded.intermediates.iter().zip(&exploded.intermediate_shares);
        let made = made.filter(|(id, _)| **id == self.material).map(|(_, share)| share.clone()).next();
        let found = bought.or(made).unwrap_or_default();
        let elsewhere = &found - &self.current.dose;
        let mut limits = Vec::new();
        let mut put = |kind: DoseLimitKind, level: Option<Percent>, is_legal: bool| {
            if let Some(level) = level {
                let dose = (level.fraction() - &elsewhere).max(Exact::ZERO);
                limits.push(DoseLimit { kind, dose, is_legal });
            }
        };
        if let Some(UseLevel { from, to, kind }) = self.view.material(self.material)?.use_level {
            put(DoseLimitKind::LeastOfMaterial, from, kind == UseLevelKind::Legal);
            put(DoseLimitKind::MostOfMaterial, to, kind == UseLevelKind::Legal);
        }
        if let Some(line) = self.version.lines.iter().find(|line| line.position == self.line) {
            put(DoseLimitKind::LeastOfLine, line.use_level_from, false);
            put(DoseLimitKind::MostOfLine, line.use_level_to, false);
        }
        limits.push(DoseLimit { kind: DoseLimitKind::EndOfDiluent, dose: self.end(), is_legal: false });
        limits.sort_by(|a, b| a.dose.cmp(&b.dose).then(a.kind.cmp(&b.kind)));
        Ok(limits)
    }
}
