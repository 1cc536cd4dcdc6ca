//! A version with other doses: one or several lines hold another share, and the diluent takes the difference.

use domain::formulas::{AmountBasis, FormulaVersion, LineAmount, WrittenAs};
use kernel::{Exact, Mass, Percent, ids::MaterialId};

use crate::{EngineError, View, normalise::Normalised};

/// What one line is to hold instead.
#[derive(Debug, Clone)]
pub(crate) struct NewShare {
    /// The line's position.
    pub position: u32,
    /// kg as supplied in one kg of everything charged.
    pub share: Exact,
    /// What is to stand on it; `None` for what stands on it now.
    pub material: Option<MaterialId>,
}

/// A version written with other shares.
pub(crate) enum Reformulated {
    /// The version, with the identity of the one it came from.
    Written(Box<FormulaVersion>),
    /// The diluent does not hold what is to be taken from it.
    Short {
        /// What it holds, kg in one kg of everything charged.
        holds: Exact,
        /// What was to be taken, kg in one kg of everything charged.
        wanted: Exact,
    },
}

/// The line that takes up the difference: the one named, else the q.s. line. `Err` says why there is none.
pub(crate) fn diluent_of(version: &FormulaVersion, named: Option<u32>) -> Result<u32, String> {
    match named {
        Some(position) if version.lines.iter().any(|line| line.position == position) => Ok(position),
        Some(position) => Err(format!("there is no line {position} to take up the difference")),
        None => version
            .lines
            .iter()
            .find(|line| matches!(line.amount, LineAmount::QuantitySufficient))
            .map(|line| line.position)
            .ok_or_else(|| "no line is q.s.; name the line that takes up the difference".to_owned()),
    }
}

/// A line's share, of a version without gaps.
pub(crate) fn share_of(normalised: &Normalised, position: u32) -> Option<&Exact> {
    normalised.lines.iter().find(|line| line.position == position)?.share.as_ref()
}

/// The version with other shares, written the way it is written: amounts are rounded down to what is kept, so that nothing goes over
/// the total. A sheet that no line makes up to its total is written anew in grams with the diluent q.s., which is what rescaling it
/// comes to. The version must have no gaps.
///
/// # Errors
/// [`EngineError::Amount`] when an amount cannot be kept; [`EngineError::QuestionDoesNotFit`] for a version with gaps.
pub(crate) fn with_shares(
    view: &View<'_>,
    version: &FormulaVersion,
    normalised: &Normalised,
    changes: &[NewShare],
    diluent: u32,
) -> Result<Reformulated, EngineError> {
    let share_at = |position: u32| {
        share_of(normalised, position).ok_or_else(|| EngineError::QuestionDoesNotFit {
            why: format!("the dose of line {position} is not known: {}", gaps_of(normalised)),
        })
    };
    let holds = share_at(diluent)?.clone();
    let mut wanted = Exact::ZERO;
    for change in changes {
        wanted += &change.share - share_at(change.position)?;
    }
    let rest = &holds - &wanted;
    if rest.is_negative() {
        return Ok(Reformulated::Short { holds, wanted });
    }

    let mut written = version.clone();
    let is_made_up = version.lines.iter().any(|line| matches!(line.amount, LineAmount::QuantitySufficient));
    let is_percent = matches!(version.written_as, WrittenAs::Percent);
    if !is_made_up && !is_percent {
        let total = match version.written_as {
            WrittenAs::Grams { total } => total,
            WrittenAs::Percent | WrittenAs::Volume { .. } => Mass::from_micrograms(1_000_000_000),
        };
        written.written_as = WrittenAs::Grams { total };
        for line in &mut written.lines {
            line.amount = amount(&written.written_as, view, version, share_at(line.position)?)?;
            line.basis = AmountBasis::AsSupplied;
        }
    }
    for line in &mut written.lines {
        if let Some(change) = changes.iter().find(|change| change.position == line.position) {
            // Active matter stays what it is when one strength is exchanged for another.
            let stays = change.material.is_some() && line.basis == AmountBasis::ActiveMatter;
            if !stays {
                line.amount = amount(&written.written_as, view, version, &change.share)?;
                line.basis = AmountBasis::AsSupplied;
            }
            line.material = change.material.unwrap_or(line.material);
        } else if line.position == diluent {
            if !is_made_up {
                line.amount = LineAmount::QuantitySufficient;
                line.basis = AmountBasis::AsSupplied;
            } else if !matches!(line.amount, LineAmount::QuantitySufficient) {
                line.amount = amount(&written.written_as, view, version, &rest)?;
                line.basis = AmountBasis::AsSupplied;
            }
        }
    }
    Ok(Reformulated::Written(Box::new(written)))
}

/// A share as an amount of a version written so, as supplied.
fn amount(
    written_as: &WrittenAs,
    view: &View<'_>,
    version: &FormulaVersion,
    share: &Exact,
) -> Result<LineAmount, EngineError> {
    let total = match written_as {
        WrittenAs::Percent => {
            return Ok(LineAmount::Percent(Percent::from_exact_down(&(share * &Exact::whole(100)))?));
        }
        WrittenAs::Grams { total } => total.to_exact(),
        WrittenAs::Volume { total } => {
            let (density, _) =
                view.liquid_density(version).ok_or_else(|| EngineError::QuestionDoesNotFit {
                    why: "a dose of a formula by volume needs the density of the finished liquid".to_owned(),
                })?;
            density.mass_of(&total.to_exact())
        }
    };
    Ok(LineAmount::Mass(Mass::from_exact_down(&(share * &total))?))
}

/// What is missing, for a sentence.
pub(crate) fn gaps_of(normalised: &Normalised) -> String {
    normalised.gaps.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ")
}
