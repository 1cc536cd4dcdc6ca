//! From what a formula says to what goes in: each line as a share of everything charged, as supplied.
//!
//! A version is written in percent, in grams of a bench sheet, or by volume; lines stand as supplied or as active matter;
//! one line may take the rest. All of that ends here: what follows knows shares only.

use domain::formulas::{AmountBasis, FormulaLine, FormulaVersion, LineAmount, WrittenAs};
use kernel::{
    Exact,
    ids::{FormulaVersionId, MaterialId},
};

use crate::{
    EngineError, Gap, MaterialRef, Note, View,
    error::FormulaFault,
    gap::add_gap,
    words::{figure, mass},
};

/// A version as shares.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Normalised {
    /// The version.
    pub version: FormulaVersionId,
    /// Its lines, in its order, one for one.
    pub lines: Vec<NormalisedLine>,
    /// What to know about them: a rescaled sheet.
    pub notes: Vec<Note>,
    /// What is missing. Lines that need it have no share.
    pub gaps: Vec<Gap>,
}

/// A line as a share.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NormalisedLine {
    /// The line's position in the version.
    pub position: u32,
    /// A, B, C …
    pub phase: Option<String>,
    /// What.
    pub material: MaterialId,
    /// kg as supplied in one kg of everything charged; `None` where a gap stands in the way.
    pub share: Option<Exact>,
    /// kg of active matter in one kg of everything charged, where the material's strength is known.
    pub active_share: Option<Exact>,
    /// What stands in the way of its share; for a q.s. line what stands in the way of the others.
    pub gaps: Vec<Gap>,
}

impl Normalised {
    /// Whether every line has its share.
    pub fn is_complete(&self) -> bool {
        self.gaps.is_empty()
    }
}

/// What a line says, before the total is settled.
enum Said {
    /// A fraction of the total, as supplied.
    Fraction(Exact),
    /// kg as supplied.
    Kilograms(Exact),
    /// The rest.
    Rest,
    /// Something is missing.
    Unknown,
}

/// A version's lines as shares of everything charged. Shares of a version without gaps add up to one exactly.
///
/// Percent: without q.s. the lines must make 100 % to the last digit. Grams: the lines are rescaled to the nominal total, with
/// a note, or q.s. takes the difference. Volume: the total mass is the volume times the density of the finished liquid.
///
/// # Errors
/// [`EngineError::UnsoundFormula`] with what is wrong and by how much; [`EngineError::NotFound`] for an unknown material.
pub fn normalise(view: &View<'_>, version: &FormulaVersion) -> Result<Normalised, EngineError> {
    let formula = view.formula_of(version)?;
    let unsound =
        |fault| EngineError::UnsoundFormula { formula: formula.code.clone(), number: version.number, fault };
    let mut gaps = Vec::new();
    let mut notes = Vec::new();

    let mut said = Vec::with_capacity(version.lines.len());
    let mut own_gaps = Vec::with_capacity(version.lines.len());
    for line in &version.lines {
        let mut own = Vec::new();
        let line_said = read_line(view, version, line, &mut own)?;
        said.push(
            line_said
                .map_err(|why| unsound(FormulaFault::AmountDoesNotFit { position: line.position, why }))?,
        );
        for gap in &own {
            add_gap(&mut gaps, gap.clone());
        }
        own_gaps.push(own);
    }
    let rests: Vec<u32> = version
        .lines
        .iter()
        .zip(&said)
        .filter(|(_, said)| matches!(said, Said::Rest))
        .map(|(line, _)| line.position)
        .collect();
    if rests.len() > 1 {
        return Err(unsound(FormulaFault::SeveralQuantitySufficient { positions: rests }));
    }
    let has_rest = !rests.is_empty();
    let unknown = said.iter().any(|said| matches!(said, Said::Unknown));

    // The nominal total in kg; percent versions have none and need none.
    let total = match version.written_as {
        WrittenAs::Percent => Some(Exact::ONE),
        WrittenAs::Grams { total } => Some(total.to_exact()),
        WrittenAs::Volume { total } => view.liquid_density(version).map(|(density, of_material)| {
            if of_material && let Ok(material) = view.material(formula.makes) {
                notes.push(Note::DensityOfMaterial {
                    formula: formula.code.clone(),
                    material: MaterialRef::from(&**material),
                });
            }
            density.mass_of(&total.to_exact())
        }),
    };
    if total.as_ref().is_some_and(|total| !total.is_positive()) {
        return Err(unsound(FormulaFault::Empty));
    }

    let mut masses: Vec<Option<Exact>> = said
        .iter()
        .map(|said| match said {
            Said::Kilograms(kg) => Some(kg.clone()),
            Said::Fraction(fraction) => total.as_ref().map(|total| fraction * total),
            Said::Rest | Said::Unknown => None,
        })
        .collect();
    let sum: Exact = masses.iter().flatten().sum();
    let without_total = total.is_none()
        && (has_rest
            || said.iter().any(|said| matches!(said, Said::Fraction(fraction) if !fraction.is_zero())));
    if without_total {
        add_gap(
            &mut gaps,
            Gap::NoLiquidDensity {
                formula: formula.id,
                code: formula.code.clone(),
                number: version.number,
                needed_for: "a formula by volume".to_owned(),
            },
        );
    }

    let is_percent = matches!(version.written_as, WrittenAs::Percent);
    let divisor = match &total {
        Some(total) if has_rest || unknown => {
            if sum > *total && (has_rest || is_percent) {
                let over = &sum - total;
                let by = if is_percent {
                    format!("{} % w/w", figure(&(over * Exact::whole(100)), 9))
                } else {
                    mass(&over)
                };
                return Err(unsound(FormulaFault::OverTotal { by }));
            }
            if !unknown {
                let rest = total - &sum;
                for (mass, said) in masses.iter_mut().zip(&said) {
                    if matches!(said, Said::Rest) {
                        *mass = Some(rest.clone());
                    }
                }
            }
            Some(total.clone())
        }
        Some(_) | None if sum.is_zero() && !without_total && !unknown => {
            return Err(unsound(FormulaFault::Empty));
        }
        Some(_) if is_percent => {
            if sum != Exact::ONE {
                let found = figure(&(sum * Exact::whole(100)), 9);
                return Err(unsound(FormulaFault::TotalNotHundred { found }));
            }
            Some(Exact::ONE)
        }
        Some(nominal) => {
            if sum != *nominal {
                notes.push(Note::Rescaled {
                    formula: formula.code.clone(),
                    number: version.number,
                    found: sum.clone(),
                    nominal: nominal.clone(),
                });
            }
            Some(sum.clone())
        }
        // By volume, nothing takes the rest and every mass is known: the shares do not need the total.
        None if !without_total && !unknown => Some(sum.clone()),
        None => None,
    };

    let mut lines = Vec::with_capacity(version.lines.len());
    for ((line, mass), own) in version.lines.iter().zip(masses).zip(own_gaps) {
        let share = match (&divisor, mass) {
            (Some(divisor), Some(mass)) => Some(mass.checked_div(divisor)?),
            _ => None,
        };
        let line_gaps = match &share {
            Some(_) => Vec::new(),
            None if own.is_empty() => gaps.clone(),
            None => own,
        };
        let strength = view.material(line.material)?.active_matter;
        let active_share = share.as_ref().zip(strength).map(|(share, strength)| share * &strength.fraction());
        lines.push(NormalisedLine {
            position: line.position,
            phase: line.phase.clone(),
            material: line.material,
            share,
            active_share,
            gaps: line_gaps,
        });
    }
    Ok(Normalised { version: version.id, lines, notes, gaps })
}

/// What one line says as supplied; the inner error is why its amount cannot stand there.
fn read_line(
    view: &View<'_>,
    version: &FormulaVersion,
    line: &FormulaLine,
    gaps: &mut Vec<Gap>,
) -> Result<Result<Said, &'static str>, EngineError> {
    let material = view.material(line.material)?;
    let is_percent = matches!(version.written_as, WrittenAs::Percent);
    let active = line.basis == AmountBasis::ActiveMatter;
    let mut said = match line.amount {
        LineAmount::Percent(percent) if percent.is_negative() => {
            return Ok(Err("an amount must not be below nought"));
        }
        LineAmount::Mass(mass) if mass.is_negative() => return Ok(Err("an amount must not be below nought")),
        LineAmount::Volume(volume) if volume.is_negative() => {
            return Ok(Err("an amount must not be below nought"));
        }
        LineAmount::Mass(_) | LineAmount::Volume(_) if is_percent => {
            return Ok(Err("a mass or volume cannot stand in a formula written in percent"));
        }
        LineAmount::QuantitySufficient if active => {
            return Ok(Err("q.s. is of the material as supplied, not of its active matter"));
        }
        LineAmount::Volume(_) if active => {
            return Ok(Err("active matter is weighed, not measured by volume"));
        }
        LineAmount::Percent(percent) => Said::Fraction(percent.fraction()),
        LineAmount::Mass(mass) => Said::Kilograms(mass.to_exact()),
        LineAmount::QuantitySufficient => Said::Rest,
        LineAmount::Volume(volume) if volume.is_zero() => Said::Kilograms(Exact::ZERO),
        LineAmount::Volume(volume) => {
            if let Some(density) = material.density.filter(|density| density.is_positive()) {
                Said::Kilograms(density.mass_of(&volume.to_exact()))
            } else {
                add_gap(
                    gaps,
                    Gap::NoDensity {
                        material: MaterialRef::from(&**material),
                        needed_for: format!("line {} by volume", line.position),
                    },
                );
                Said::Unknown
            }
        }
    };
    if active
        && let Said::Fraction(amount) | Said::Kilograms(amount) = &mut said
        && !amount.is_zero()
    {
        if let Some(strength) = material.active_matter.filter(|strength| strength.is_positive()) {
            *amount = amount.checked_div(&strength.fraction())?;
        } else {
            add_gap(gaps, Gap::NoActiveMatter { material: MaterialRef::from(&**material) });
            said = Said::Unknown;
        }
    }
    Ok(Ok(said))
}
