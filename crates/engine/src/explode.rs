//! Down through intermediates: what a formula is made of in the end, and what it takes to make it.
//!
//! Two figures per material, and they differ: what the liquid *consists of* (losses change nothing about that), and what has
//! to be *weighed* when intermediates are made along with it (an intermediate's process loss is weighed too).

use chrono::NaiveDate;
use domain::{
    Catalogue,
    formulas::{Formula, FormulaLine, FormulaVersion, VersionStatus},
    materials::{Material, UseLevelKind},
};
use kernel::{
    Exact, Percent,
    ids::{FormulaVersionId, IdMap, IdSet, MaterialId},
    limits::NESTING_LEVELS_MAX,
};
use std::{rc::Rc, sync::Arc};

use crate::{
    EngineError, Gap, MaterialRef, Note, View,
    gap::add_gap,
    normalise::{Normalised, normalise},
    note::add_note,
};

/// How a material comes to be on the shelf.
#[derive(Debug, Clone, Copy)]
pub enum Making<'a> {
    /// It is bought (or drawn): no formula makes it, or none is approved and it is quoted.
    Bought,
    /// Made here by the version approved on the day.
    Made {
        /// The formula.
        formula: &'a Arc<Formula>,
        /// Its version.
        version: &'a FormulaVersion,
    },
    /// A formula makes it, but no version is approved by the day, and nobody quotes it.
    NoApprovedVersion {
        /// The formula.
        formula: &'a Arc<Formula>,
    },
}

/// How a material comes to be on the shelf on a day.
pub fn making<'a>(view: &View<'a>, material: MaterialId, on: NaiveDate) -> Making<'a> {
    let Some(formula) = view.catalogue().formula_making(material) else {
        return Making::Bought;
    };
    match formula.approved_on(on) {
        Some(version) => Making::Made { formula, version: view.as_assumed(version) },
        None if !view.catalogue().quotations_of(material).is_empty() => Making::Bought,
        None => Making::NoApprovedVersion { formula },
    }
}

/// A bought material in the end product.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ExplodedMaterial {
    /// What.
    pub material: MaterialId,
    /// kg as supplied of which one kg of the liquid consists. Adds up to one over all materials when nothing is missing.
    pub composition: Exact,
    /// kg as supplied to be weighed per kg charged of the subject, intermediates' process losses included.
    pub per_kg_charged: Exact,
    /// The same per kg of good output: the subject's own process loss included, its heel left out, for that depends on the batch.
    pub per_kg_good: Exact,
    /// Whether some of it comes through an intermediate.
    pub through_intermediates: bool,
}

/// A version taken apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Exploded {
    /// The version.
    pub version: FormulaVersionId,
    /// Bought materials, and intermediates that could not be taken apart, in order of first appearance.
    pub materials: Vec<ExplodedMaterial>,
    /// Intermediates made here that stand in it directly or deeper, in order of first appearance.
    pub intermediates: Vec<MaterialId>,
    /// kg of each of those in one kg of the liquid, one for one; nested ones are inside the ones that hold them.
    pub intermediate_shares: Vec<Exact>,
    /// Levels of intermediates beneath it; nought when it has none.
    pub levels: usize,
    /// What is missing; the figures are then a part only.
    pub gaps: Vec<Gap>,
    /// What to know: rescaled sheets.
    pub notes: Vec<Note>,
}

impl Exploded {
    /// Whether nothing is missing.
    pub fn is_complete(&self) -> bool {
        self.gaps.is_empty()
    }

    /// One material's figures.
    pub fn get(&self, material: MaterialId) -> Option<&ExplodedMaterial> {
        self.materials.iter().find(|exploded| exploded.material == material)
    }
}

/// A version's bought materials through every level, by the versions of its intermediates approved on the day.
///
/// # Errors
/// [`EngineError::Loop`], [`EngineError::TooDeep`], [`EngineError::UnsoundFormula`] of the version or of an intermediate,
/// [`EngineError::NothingLeft`] for an intermediate that is lost entirely.
pub fn explode(view: &View<'_>, version: &FormulaVersion, on: NaiveDate) -> Result<Exploded, EngineError> {
    explode_normalised(view, version, &normalise(view, version)?, on).map(|(exploded, _)| exploded)
}

/// Formulas of intermediates as shares, by what they make.
pub(crate) type NormalisedOf = IdMap<MaterialId, Rc<Normalised>>;

/// [`explode`] of a version that has been normalised already; with the formulas of its intermediates, which had to be normalised for
/// it.
pub(crate) fn explode_normalised(
    view: &View<'_>,
    version: &FormulaVersion,
    normalised: &Normalised,
    on: NaiveDate,
) -> Result<(Exploded, NormalisedOf), EngineError> {
    let makes = view.formula_of(version)?.makes;
    let mut walk =
        Walk { view, on, memo: IdMap::default(), normalised: NormalisedOf::default(), path: vec![makes] };
    let taken = walk.take_apart(normalised)?;
    let kept = kept(view, version)?;
    let mut materials = Vec::with_capacity(taken.materials.len());
    for part in &taken.materials {
        materials.push(ExplodedMaterial {
            material: part.material,
            composition: part.composition.clone(),
            per_kg_charged: part.demand.clone(),
            per_kg_good: part.demand.checked_div(&kept)?,
            through_intermediates: part.through_intermediates,
        });
    }
    let exploded = Exploded {
        version: version.id,
        materials,
        intermediates: taken.intermediates,
        intermediate_shares: taken.intermediate_shares,
        levels: taken.levels,
        gaps: taken.gaps,
        notes: taken.notes,
    };
    Ok((exploded, walk.normalised))
}

/// The fraction of what is charged that process loss and evaporation leave.
fn kept(view: &View<'_>, version: &FormulaVersion) -> Result<Exact, EngineError> {
    let kept = version.kept_fraction();
    if kept.is_positive() {
        return Ok(kept);
    }
    Err(EngineError::NothingLeft {
        formula: view.formula_of(version)?.code.clone(),
        number: version.number,
        charged: "everything".to_owned(),
    })
}

struct Part {
    material: MaterialId,
    composition: Exact,
    demand: Exact,
    through_intermediates: bool,
}

/// One kg charged of a version, taken apart.
#[derive(Default)]
struct Taken {
    materials: Vec<Part>,
    at: IdMap<MaterialId, usize>,
    intermediates: Vec<MaterialId>,
    intermediate_shares: Vec<Exact>,
    levels: usize,
    gaps: Vec<Gap>,
    notes: Vec<Note>,
}

impl Taken {
    fn add_intermediate(&mut self, material: MaterialId, share: &Exact) {
        let at = self.intermediates.iter().position(|known| *known == material).unwrap_or_else(|| {
            self.intermediates.push(material);
            self.intermediate_shares.push(Exact::ZERO);
            self.intermediates.len() - 1
        });
        if let Some(known) = self.intermediate_shares.get_mut(at) {
            *known += share;
        }
    }

    fn add(&mut self, material: MaterialId, composition: &Exact, demand: &Exact, through: bool) {
        let at = *self.at.entry(material).or_insert_with(|| {
            self.materials.push(Part {
                material,
                composition: Exact::ZERO,
                demand: Exact::ZERO,
                through_intermediates: false,
            });
            self.materials.len() - 1
        });
        if let Some(part) = self.materials.get_mut(at) {
            part.composition += composition;
            part.demand += demand;
            part.through_intermediates |= through;
        }
    }
}

struct Walk<'v, 'a> {
    view: &'v View<'a>,
    on: NaiveDate,
    // Each intermediate is taken apart once, however many formulas share it.
    memo: IdMap<MaterialId, Rc<Taken>>,
    normalised: NormalisedOf,
    path: Vec<MaterialId>,
}

impl Walk<'_, '_> {
    fn take_apart(&mut self, normalised: &Normalised) -> Result<Taken, EngineError> {
        let mut taken =
            Taken { gaps: normalised.gaps.clone(), notes: normalised.notes.clone(), ..Taken::default() };
        taken.materials.reserve(normalised.lines.len());
        taken.at.reserve(normalised.lines.len());
        for line in &normalised.lines {
            let making = making(self.view, line.material, self.on);
            // A line without a share still shows what stands in it, with nothing of it.
            let share = line.share.as_ref().unwrap_or(&Exact::ZERO);
            match making {
                Making::Bought => taken.add(line.material, share, share, false),
                Making::NoApprovedVersion { formula } => {
                    taken.add(line.material, share, share, false);
                    add_gap(
                        &mut taken.gaps,
                        Gap::NoApprovedVersion {
                            material: MaterialRef::from(&**self.view.material(line.material)?),
                            formula: formula.id,
                            code: formula.code.clone(),
                            on: self.on,
                        },
                    );
                }
                Making::Made { version: inner, .. } => {
                    let parts = self.intermediate(line.material, inner)?;
                    let demand = share.checked_div(&kept(self.view, inner)?)?;
                    for part in &parts.materials {
                        taken.add(
                            part.material,
                            &(share * &part.composition),
                            &(&demand * &part.demand),
                            true,
                        );
                    }
                    taken.add_intermediate(line.material, share);
                    for (inner, inner_share) in parts.intermediates.iter().zip(&parts.intermediate_shares) {
                        taken.add_intermediate(*inner, &(share * inner_share));
                    }
                    taken.levels = taken.levels.max(parts.levels + 1);
                    parts.gaps.iter().for_each(|gap| add_gap(&mut taken.gaps, gap.clone()));
                    parts.notes.iter().for_each(|note| add_note(&mut taken.notes, note.clone()));
                }
            }
        }
        Ok(taken)
    }

    fn intermediate(
        &mut self,
        material: MaterialId,
        version: &FormulaVersion,
    ) -> Result<Rc<Taken>, EngineError> {
        if let Some(taken) = self.memo.get(&material) {
            return Ok(Rc::clone(taken));
        }
        let looped = self.path.contains(&material);
        self.path.push(material);
        if looped {
            let from = self.path.iter().position(|on_path| *on_path == material).unwrap_or(0);
            return Err(EngineError::Loop { path: self.codes(self.path.iter().skip(from)) });
        }
        if self.path.len() > NESTING_LEVELS_MAX + 1 {
            return Err(EngineError::TooDeep { path: self.codes(self.path.iter()) });
        }
        let normalised = Rc::new(normalise(self.view, version)?);
        let taken = Rc::new(self.take_apart(&normalised)?);
        self.normalised.insert(material, normalised);
        self.path.pop();
        self.memo.insert(material, Rc::clone(&taken));
        Ok(taken)
    }

    fn codes<'p>(&self, path: impl Iterator<Item = &'p MaterialId>) -> Vec<String> {
        path.map(|material| code_of(self.view.catalogue(), *material)).collect()
    }
}

fn code_of(catalogue: &Catalogue, material: MaterialId) -> String {
    catalogue.materials.get(material).map_or_else(|| material.to_string(), |m| m.code.clone())
}

/// The way by which a formula would contain itself if a version with these lines made `makes`: material codes from the product
/// back to itself. `None` when it would not. For checking a version before it is written; every version of other formulas that
/// is not retired counts, so that no day's answer can run in a circle.
pub fn loop_through(catalogue: &Catalogue, makes: MaterialId, lines: &[FormulaLine]) -> Option<Vec<String>> {
    let mut seen = IdSet::default();
    let mut found_from: IdMap<MaterialId, MaterialId> = IdMap::default();
    let mut open: Vec<MaterialId> = Vec::new();
    for line in lines {
        if line.material == makes {
            return Some(vec![code_of(catalogue, makes); 2]);
        }
        if seen.insert(line.material) {
            found_from.insert(line.material, makes);
            open.push(line.material);
        }
    }
    while let Some(material) = open.pop() {
        let Some(formula) = catalogue.formula_making(material) else { continue };
        let live = formula.versions.iter().filter(|version| version.status != VersionStatus::Retired);
        for line in live.flat_map(|version| &version.lines) {
            if line.material == makes {
                let mut path = vec![code_of(catalogue, makes), code_of(catalogue, material)];
                let mut at = material;
                while let Some(from) = found_from.get(&at) {
                    path.push(code_of(catalogue, *from));
                    if *from == makes {
                        break;
                    }
                    at = *from;
                }
                path.reverse();
                return Some(path);
            }
            if seen.insert(line.material) {
                found_from.insert(line.material, material);
                open.push(line.material);
            }
        }
    }
    None
}

/// A use level that a version breaks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UseLevelBreach {
    /// The material.
    pub material: MaterialRef,
    /// kg as supplied in one kg of the liquid, all lines together, through intermediates.
    pub found: Exact,
    /// The limit, % w/w as supplied.
    pub limit: Percent,
    /// Whether the limit is a most (else a least).
    pub is_most: bool,
    /// Recommended warns; legal blocks approval.
    pub kind: UseLevelKind,
    /// Whether the limit stands on a line of the formula (else on the material).
    pub from_line: bool,
}

/// The use levels a version breaks, on materials and on its own lines. Amounts of one material are summed over all lines, through
/// intermediates, before they are compared. A line of nought (added until a result is reached) breaks no least.
///
/// # Errors
/// Those of [`explode`].
pub fn use_level_breaches(
    view: &View<'_>,
    version: &FormulaVersion,
    on: NaiveDate,
) -> Result<Vec<UseLevelBreach>, EngineError> {
    breaches_in(view, version, &explode(view, version, on)?)
}

/// [`use_level_breaches`] of a version that has been taken apart already.
pub(crate) fn breaches_in(
    view: &View<'_>,
    version: &FormulaVersion,
    exploded: &Exploded,
) -> Result<Vec<UseLevelBreach>, EngineError> {
    let mut breaches = Vec::new();
    let mut compare = |material: &Material,
                       found: &Exact,
                       from: Option<Percent>,
                       to: Option<Percent>,
                       kind: UseLevelKind,
                       from_line: bool| {
        let least = from.filter(|from| found.is_positive() && *found < from.fraction());
        let most = to.filter(|to| *found > to.fraction());
        for (limit, is_most) in [(least, false), (most, true)] {
            let Some(limit) = limit else { continue };
            let breach = UseLevelBreach {
                material: MaterialRef::from(material),
                found: found.clone(),
                limit,
                is_most,
                kind,
                from_line,
            };
            if !breaches.contains(&breach) {
                breaches.push(breach);
            }
        }
    };
    let bought = exploded.materials.iter().map(|part| (part.material, &part.composition));
    let made = exploded.intermediates.iter().copied().zip(&exploded.intermediate_shares);
    for (id, share) in bought.chain(made) {
        let material = view.material(id)?;
        if let Some(level) = material.use_level {
            compare(material, share, level.from, level.to, level.kind, false);
        }
        for line in version.lines.iter().filter(|line| line.material == id) {
            compare(material, share, line.use_level_from, line.use_level_to, UseLevelKind::Recommended, true);
        }
    }
    Ok(breaches)
}
