//! Exchanging one strength of an ingredient for another: the active matter stays, the diluent takes the difference. And which offer
//! of which strength costs least per kilogram of active matter.

mod offers;

use domain::{formulas::FormulaLine, materials::UseLevelKind};
use kernel::{
    Currency, Dimension, Exact, Percent,
    ids::{FormulaId, FormulaVersionId, MaterialId},
};
use serde::Serialize;
use thiserror::Error;

use crate::{
    Comparison, CostRequest, EngineError, Gap, MaterialRef, Note, View, compare,
    cost::find_subject,
    cost_sheet,
    explode::loop_through,
    normalise::{Normalised, normalise},
    reformulate::{NewShare, Reformulated, diluent_of, with_shares},
    what_if::Figures,
    words::percent,
};

pub use offers::{ActiveOffer, ActiveOffers, NotCompared, offers_per_active};

/// A swap to be worked out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SwapQuestion {
    /// What is costed: a version, or a pack.
    pub of: CostRequest,
    /// What stands in the version now.
    pub old: MaterialId,
    /// What is to stand there instead.
    pub new: MaterialId,
    /// The line that takes up the difference; `None` for the q.s. line.
    pub against: Option<u32>,
}

/// Why a swap cannot be made. `Display` gives the sentence for a person.
#[derive(Debug, Clone, PartialEq, Eq, Error, Serialize)]
#[serde(tag = "refusal", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum SwapRefusal {
    /// The two are the same material.
    #[error("{material} would be exchanged for itself")]
    SameMaterial {
        /// The material.
        material: MaterialRef,
    },
    /// What is to be exchanged does not stand in the version.
    #[error("{material} does not stand in version {number} of formula {formula}")]
    NotInVersion {
        /// The material.
        material: MaterialRef,
        /// The formula's code.
        formula: String,
        /// The version.
        number: u32,
    },
    /// What is to stand in its place is counted, not weighed.
    #[error("{material} is kept by the piece and cannot stand in a formula")]
    NotWeighed {
        /// The material.
        material: MaterialRef,
    },
    /// The strength of one of the two is not known, or is nought.
    #[error("the active matter of {material} is not known")]
    NoActiveMatter {
        /// The material.
        material: MaterialRef,
    },
    /// Nothing takes up the difference.
    #[error("{why}")]
    NoDiluent {
        /// Why.
        why: String,
    },
    /// The line that is to take up the difference holds what is exchanged.
    #[error("line {position} holds what is exchanged, so it cannot take up the difference")]
    DiluentIsExchanged {
        /// The line.
        position: u32,
    },
    /// Doses are not known, since something is missing.
    #[error("the doses are not known: {}", .gaps.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))]
    DosesNotKnown {
        /// What is missing.
        gaps: Vec<Gap>,
    },
    /// The diluent does not hold the difference.
    #[error(
        "{diluent} stands at {} and {} would have to be taken from it: there is not enough left",
        percent(.holds), percent(.wanted)
    )]
    DiluentShort {
        /// What takes up the difference.
        diluent: Box<MaterialRef>,
        /// Its dose, kg in one kg of everything charged.
        #[serde(serialize_with = "crate::figures::dose")]
        holds: Exact,
        /// What the swap would take, kg in one kg of everything charged.
        #[serde(serialize_with = "crate::figures::dose")]
        wanted: Exact,
    },
    /// The formula would come to contain itself.
    #[error("the formula would contain itself: {}", .path.join(" → "))]
    WouldLoop {
        /// Material codes from its product back to itself.
        path: Vec<String>,
    },
}

/// A swap that can be made. Doses are kg as supplied in one kg of everything charged (percent in JSON).
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Swap {
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
    /// What stands there now.
    pub old: MaterialRef,
    /// Its active matter.
    pub old_active: Percent,
    /// What is to stand there.
    pub new: MaterialRef,
    /// Its active matter.
    pub new_active: Percent,
    /// New dose over old: old active matter over new.
    #[serde(serialize_with = "crate::figures::amount")]
    pub factor: Exact,
    /// All lines, before and after.
    pub lines: Vec<SwapLine>,
    /// Whether exactly nothing is left of the diluent.
    pub uses_up_diluent: bool,
    /// Costs of the version as it is.
    pub before: Figures,
    /// Costs after the swap.
    pub after: Figures,
    /// Why they differ.
    pub comparison: Comparison,
    /// Use levels broken after the swap, in sentences.
    pub breaks: Vec<String>,
    /// Whether one of them is a legal one.
    pub breaks_legal: bool,
    /// The lines to write a new version with. Use levels of the exchanged lines are left out: they were set for the old strength.
    pub written: Vec<FormulaLine>,
}

/// One line before and after a swap.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SwapLine {
    /// The line's position.
    pub position: u32,
    /// Its phase.
    pub phase: Option<String>,
    /// What the swap does to it.
    pub role: SwapRole,
    /// What stands on it.
    pub material_before: MaterialRef,
    /// What is to stand on it.
    pub material_after: MaterialRef,
    /// Its dose.
    #[serde(serialize_with = "crate::figures::dose")]
    pub dose_before: Exact,
    /// Its dose after.
    #[serde(serialize_with = "crate::figures::dose")]
    pub dose_after: Exact,
    /// Active matter it holds, where the strength is known.
    #[serde(serialize_with = "crate::figures::optional_dose")]
    pub active_before: Option<Exact>,
    /// Active matter it holds after, where the strength is known.
    #[serde(serialize_with = "crate::figures::optional_dose")]
    pub active_after: Option<Exact>,
}

/// What a swap does to a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SwapRole {
    /// Its material is exchanged.
    Exchanged,
    /// It takes up the difference.
    Diluent,
    /// It stays as it is.
    Unchanged,
}

/// A version with one material exchanged for another of the same active matter, on every line it stands on. A dose that cannot be kept
/// to the last digit is rounded down to what is kept; a line written in active matter keeps its amount. The inner error is why it
/// cannot be done.
///
/// # Errors
/// Those of [`cost_sheet`]; [`EngineError::NotFound`] for an unknown material.
pub fn swap(view: &View<'_>, question: &SwapQuestion) -> Result<Result<Swap, SwapRefusal>, EngineError> {
    let version = find_subject(view, &question.of)?.0;
    let formula = view.formula_of(version)?;
    let (old, new) = (view.material(question.old)?, view.material(question.new)?);
    let (old_ref, new_ref) = (MaterialRef::from(&**old), MaterialRef::from(&**new));
    if old.id == new.id {
        return Ok(Err(SwapRefusal::SameMaterial { material: old_ref }));
    }
    if new.stock_dimension() != Dimension::Mass {
        return Ok(Err(SwapRefusal::NotWeighed { material: new_ref }));
    }
    if !version.lines.iter().any(|line| line.material == old.id) {
        let (formula, number) = (formula.code.clone(), version.number);
        return Ok(Err(SwapRefusal::NotInVersion { material: old_ref, formula, number }));
    }
    let strength = |active: Option<Percent>| active.filter(|active| active.is_positive());
    let Some(old_active) = strength(old.active_matter) else {
        return Ok(Err(SwapRefusal::NoActiveMatter { material: old_ref }));
    };
    let Some(new_active) = strength(new.active_matter) else {
        return Ok(Err(SwapRefusal::NoActiveMatter { material: new_ref }));
    };
    let diluent = match diluent_of(version, question.against) {
        Ok(diluent) => diluent,
        Err(why) => return Ok(Err(SwapRefusal::NoDiluent { why })),
    };
    let normalised = normalise(view, version)?;
    if !normalised.is_complete() {
        return Ok(Err(SwapRefusal::DosesNotKnown { gaps: normalised.gaps }));
    }
    let factor = old_active.to_exact().checked_div(&new_active.to_exact())?;
    let mut changes = Vec::new();
    for line in normalised.lines.iter().filter(|line| line.material == old.id) {
        if line.position == diluent {
            return Ok(Err(SwapRefusal::DiluentIsExchanged { position: diluent }));
        }
        let share = line.share.as_ref().unwrap_or(&Exact::ZERO) * &factor;
        changes.push(NewShare { position: line.position, share, material: Some(new.id) });
    }
    let mut assumed = match with_shares(view, version, &normalised, &changes, diluent)? {
        Reformulated::Written(assumed) => *assumed,
        Reformulated::Short { holds, wanted } => {
            let line = version.lines.iter().find(|line| line.position == diluent);
            let diluent = view.material(line.map_or(old.id, |line| line.material))?;
            let diluent = Box::new(MaterialRef::from(&**diluent));
            return Ok(Err(SwapRefusal::DiluentShort { diluent, holds, wanted }));
        }
    };
    let exchanged = |position: u32| changes.iter().any(|change| change.position == position);
    for line in assumed.lines.iter_mut().filter(|line| exchanged(line.position)) {
        line.use_level_from = None;
        line.use_level_to = None;
    }
    if let Some(path) = loop_through(view.catalogue(), formula.makes, &assumed.lines) {
        return Ok(Err(SwapRefusal::WouldLoop { path }));
    }

    let after_view = view.assuming_version(&assumed);
    let after_normalised = normalise(&after_view, &assumed)?;
    let (before, after) = (cost_sheet(view, &question.of)?, cost_sheet(&after_view, &question.of)?);
    let lines = lines(view, &normalised, &after_normalised, &exchanged, diluent)?;
    let mut breaks = Vec::new();
    let mut breaks_legal = false;
    for note in &after.notes {
        if let Note::UseLevel { kind, .. } = note {
            breaks.push(note.to_string());
            breaks_legal |= *kind == UseLevelKind::Legal;
        }
    }
    Ok(Ok(Swap {
        formula: formula.id,
        formula_code: formula.code.clone(),
        version: version.id,
        version_number: version.number,
        currency: view.currency(),
        old: old_ref,
        old_active,
        new: new_ref,
        new_active,
        factor,
        uses_up_diluent: lines.iter().any(|line| line.role == SwapRole::Diluent && line.dose_after.is_zero()),
        lines,
        before: Figures::from(&before),
        after: Figures::from(&after),
        comparison: compare(&before, &after)?,
        breaks,
        breaks_legal,
        written: assumed.lines,
    }))
}

fn lines(
    view: &View<'_>,
    before: &Normalised,
    after: &Normalised,
    exchanged: &impl Fn(u32) -> bool,
    diluent: u32,
) -> Result<Vec<SwapLine>, EngineError> {
    let mut lines = Vec::with_capacity(before.lines.len());
    for (before, after) in before.lines.iter().zip(&after.lines) {
        lines.push(SwapLine {
            position: before.position,
            phase: before.phase.clone(),
            role: match before.position {
                position if exchanged(position) => SwapRole::Exchanged,
                position if position == diluent => SwapRole::Diluent,
                _ => SwapRole::Unchanged,
            },
            material_before: MaterialRef::from(&**view.material(before.material)?),
            material_after: MaterialRef::from(&**view.material(after.material)?),
            dose_before: before.share.clone().unwrap_or_default(),
            dose_after: after.share.clone().unwrap_or_default(),
            active_before: before.active_share.clone(),
            active_after: after.active_share.clone(),
        });
    }
    Ok(lines)
}
