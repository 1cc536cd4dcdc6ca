//! From what a formula says to what goes in: each line as a share of everything charged, as supplied.
//!
//! A version is written in percent, in parts, in grams of a bench sheet, or by volume; lines stand as supplied or as active
//! matter; one line may take the rest, others are added until a result is reached. All of that ends here: what follows knows
//! shares only.

use domain::{
    formulas::{AmountBasis, Formula, FormulaLine, FormulaVersion, LineAmount, WrittenAs},
    materials::Material,
};
use kernel::{
    Exact,
    ids::{FormulaVersionId, MaterialId},
};

use crate::{
    EngineError, Gap, MaterialRef, Note, View,
    error::FormulaFault,
    gap::add_gap,
    trim::trim_lines,
    words::{figure, mass},
};

mod proposals;

pub use proposals::{Proposal, ProposalKind, ProposedLine, proposals};

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
    /// kg as supplied in one kg of everything charged at which adding stops, on a line that is added until a result is reached.
    pub stop: Option<Exact>,
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
/// Percent: without q.s. the lines must make 100 % to the last digit. Parts: the lines make the whole. Grams: the lines are
/// rescaled to the nominal total, with a note, or q.s. takes the difference. Volume: the total mass is the volume times the
/// density of the finished liquid; % w/v and % v/v are of the volume.
///
/// A line added until a result is reached counts at what it took on average, where the view knows; else at the amount expected;
/// which of the two is noted. q.s. gives way for it, and without q.s. every other line does.
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
        if let Some(why) = line.misfit(version.written_as) {
            return Err(unsound(FormulaFault::AmountDoesNotFit { position: line.position, why }));
        }
        let mut own = Vec::new();
        said.push(read_amount(view, version, line, line.amount, &mut own)?);
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

    // The nominal total in kg; percent versions and parts have none and need none.
    let total = match version.written_as {
        WrittenAs::Percent => Some(Exact::ONE),
        WrittenAs::Parts => None,
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
                notes.push(rescaled(version, formula, &sum, nominal)?);
            }
            Some(sum.clone())
        }
        // By volume, nothing takes the rest and every mass is known: the shares do not need the total.
        None if !without_total && !unknown => {
            notes.extend(volume_missed(view, version, formula, &masses)?);
            Some(sum.clone())
        }
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
        let stop = match (&divisor, line.trim.as_ref().and_then(|trim| trim.stop)) {
            (Some(divisor), Some(stop)) => match read_amount(view, version, line, stop, &mut Vec::new())? {
                Said::Fraction(fraction) => {
                    total.as_ref().map(|total| (fraction * total).checked_div(divisor)).transpose()?
                }
                Said::Kilograms(kg) => Some(kg.checked_div(divisor)?),
                Said::Rest | Said::Unknown => None,
            },
            _ => None,
        };
        lines.push(NormalisedLine {
            position: line.position,
            phase: line.phase.clone(),
            material: line.material,
            share,
            active_share: None,
            stop,
            gaps: line_gaps,
        });
    }
    settle_trims(view, version, formula, &mut lines, &mut notes)?;
    for line in &mut lines {
        let strength = view.material(line.material)?.active_matter;
        line.active_share =
            line.share.as_ref().zip(strength).map(|(share, strength)| share * &strength.fraction());
    }
    Ok(Normalised { version: version.id, lines, notes, gaps })
}

/// The note on lines that miss the total they are written for: in grams of a bench sheet, in litres of a volume formula.
fn rescaled(
    version: &FormulaVersion,
    formula: &Formula,
    sum: &Exact,
    nominal: &Exact,
) -> Result<Note, EngineError> {
    let (formula, number) = (formula.code.clone(), version.number);
    Ok(match version.written_as {
        WrittenAs::Volume { total } => Note::VolumeRescaled {
            formula,
            number,
            // The nominal mass came from the nominal volume through the density, so masses are to each other as volumes are.
            found: (sum * &total.to_exact()).checked_div(nominal)?,
            nominal: total.to_exact(),
            by_materials: false,
        },
        _ => Note::Rescaled { formula, number, found: sum.clone(), nominal: nominal.clone() },
    })
}

/// Without a density of the finished liquid, what the materials' own volumes come to, when that is not the volume the lines are
/// written for. It is an estimate, which only the note rests on: shares come from masses.
fn volume_missed(
    view: &View<'_>,
    version: &FormulaVersion,
    formula: &Formula,
    masses: &[Option<Exact>],
) -> Result<Option<Note>, EngineError> {
    let WrittenAs::Volume { total } = version.written_as else { return Ok(None) };
    let mut found = Exact::ZERO;
    for (line, mass) in version.lines.iter().zip(masses) {
        let Some(mass) = mass.as_ref().filter(|mass| !mass.is_zero()) else { continue };
        let Some(density) = density_of(view.material(line.material)?) else { return Ok(None) };
        found += density.volume_of(mass)?;
    }
    let nominal = total.to_exact();
    Ok((found != nominal).then(|| Note::VolumeRescaled {
        formula: formula.code.clone(),
        number: version.number,
        found,
        nominal,
        by_materials: true,
    }))
}

/// Puts what trim lines took on average in the place of what is expected of them, and says of each what it counts at.
fn settle_trims(
    view: &View<'_>,
    version: &FormulaVersion,
    formula: &Formula,
    lines: &mut [NormalisedLine],
    notes: &mut Vec<Note>,
) -> Result<(), EngineError> {
    let (code, number) = (&formula.code, version.number);
    let mut averages: Vec<(u32, Exact)> = Vec::new();
    for (line, nth) in trim_lines(version) {
        let Some(trim) = &line.trim else { continue };
        let formula = code.clone();
        let material = MaterialRef::from(&**view.material(line.material)?);
        let result = trim.result.clone();
        let took = view.trim_use().and_then(|book| book.get(version.formula, line.material, nth));
        notes.push(match took {
            Some(took) => {
                averages.push((line.position, took.share.clone()));
                let (share, tickets) = (took.share.clone(), took.tickets);
                Note::TrimOnAverage { formula, number, material, result, share, tickets }
            }
            None if line.amount.raw() == Some(0) => Note::TrimUnknown { formula, number, material, result },
            None => {
                let at = lines.iter().find(|normalised| normalised.position == line.position);
                let share = at.and_then(|normalised| normalised.share.clone());
                Note::TrimOnExpected { formula, number, material, result, share }
            }
        });
    }
    if averages.is_empty() {
        return Ok(());
    }
    let average_of = |position: u32| averages.iter().find(|(at, _)| *at == position).map(|(_, share)| share);
    let is_rest = |position: u32| {
        let mut written = version.lines.iter();
        written.any(|line| line.position == position && line.amount == LineAmount::QuantitySufficient)
    };
    let taken: Exact = averages.iter().map(|(_, share)| share).sum();
    let expected: Exact = lines
        .iter()
        .filter(|line| average_of(line.position).is_some())
        .filter_map(|l| l.share.as_ref())
        .sum();
    let whole = lines.iter().all(|line| line.share.is_some());
    let rest = lines.iter().position(|line| is_rest(line.position));
    let rest_share = rest.and_then(|at| lines.get(at)).and_then(|line| line.share.clone());
    let mut factor = Exact::ONE;
    let mut left_to_rest = None;
    if whole {
        let left = rest_share.as_ref().map(|rest| rest + &(&expected - &taken));
        match left.filter(|left| !left.is_negative()) {
            Some(left) => left_to_rest = Some(left),
            None => {
                let others = &(&Exact::ONE - &expected) - &rest_share.clone().unwrap_or_default();
                // A version of trim lines alone, or one whose tickets weighed nothing else, leaves nothing to scale.
                let Ok(scaled) = (&Exact::ONE - &taken).checked_div(&others) else { return Ok(()) };
                if scaled.is_negative() {
                    return Ok(());
                }
                factor = scaled;
                if rest_share.is_some() {
                    left_to_rest = Some(Exact::ZERO);
                    let (formula, found) = (code.clone(), others + &taken);
                    notes.push(Note::TrimOverTotal { formula, number, found });
                }
            }
        }
    }
    for (at, line) in lines.iter_mut().enumerate() {
        if line.share.is_none() {
            continue;
        }
        line.share = match average_of(line.position) {
            Some(average) => Some(average.clone()),
            None if rest == Some(at) => left_to_rest.clone(),
            None => line.share.as_ref().map(|share| share * &factor),
        };
    }
    Ok(())
}

fn density_of(material: &Material) -> Option<kernel::Density> {
    material.density.filter(|density| density.is_positive())
}

/// What an amount of a line says as supplied. It is one that fits the way the version is written.
fn read_amount(
    view: &View<'_>,
    version: &FormulaVersion,
    line: &FormulaLine,
    amount: LineAmount,
    gaps: &mut Vec<Gap>,
) -> Result<Said, EngineError> {
    let material = view.material(line.material)?;
    let total_litres = || match version.written_as {
        WrittenAs::Volume { total } => total.to_exact(),
        _ => Exact::ZERO,
    };
    let mut by_volume = |litres: Exact| {
        if litres.is_zero() {
            return Said::Kilograms(litres);
        }
        if let Some(density) = density_of(material) {
            return Said::Kilograms(density.mass_of(&litres));
        }
        let needed_for = format!("line {} by volume", line.position);
        add_gap(gaps, Gap::NoDensity { material: MaterialRef::from(&**material), needed_for });
        Said::Unknown
    };
    let mut said = match amount {
        LineAmount::Percent(percent) => Said::Fraction(percent.fraction()),
        // A gram in 100 mL is a kilogram in 100 litres.
        LineAmount::PercentWeightInVolume(percent) => Said::Kilograms(percent.fraction() * total_litres()),
        LineAmount::PercentVolumeInVolume(percent) => by_volume(percent.fraction() * total_litres()),
        LineAmount::Parts(parts) => Said::Kilograms(parts.to_exact()),
        LineAmount::Mass(mass) => Said::Kilograms(mass.to_exact()),
        LineAmount::Volume(volume) => by_volume(volume.to_exact()),
        LineAmount::QuantitySufficient => Said::Rest,
    };
    if line.basis == AmountBasis::ActiveMatter
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
    Ok(said)
}
