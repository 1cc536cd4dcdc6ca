//! Formulas of a set: versions new, changed and fixed, and whether the whole still holds together.

use std::collections::HashMap;

use chrono::NaiveDate;
use domain::{
    Catalogue, Problem,
    catalogue::CatalogueParts,
    formulas::{Formula, FormulaLine, FormulaVersion, VersionStatus},
    making::Making,
    materials::{Material, MaterialKind},
};
use engine::{
    EngineError, View,
    explode::{explode, loop_through},
};
use kernel::ids::{FormulaId, FormulaVersionId, MaterialId};

use super::{Planner, Put, VersionPut, put};
use crate::import::drafts::{FormulaDraft, ImportSet, Place, VersionDraft};

impl Planner<'_> {
    pub(super) fn formula(&mut self, draft: &FormulaDraft, materials: &HashMap<MaterialId, Material>) {
        let id = self.codes.formula(&draft.place, "formula", &draft.code);
        let makes = self.codes.material(&draft.place, "makes", &draft.makes);
        let (Some(id), Some(makes)) = (id, makes.and_then(|id| materials.get(&id))) else { return };
        if !matches!(makes.kind, MaterialKind::Intermediate | MaterialKind::Bulk) {
            let message = format!(
                "{} is a {}; a formula makes an intermediate or a bulk",
                makes.code,
                makes.kind.words()
            );
            self.codes.problem(&draft.place, "makes", message);
        }
        let known = self.catalogue.formulas.get(id);
        if known.is_some_and(|f| f.makes != makes.id) {
            let message = format!(
                "formula {} makes another material here; what a formula makes cannot change",
                draft.code
            );
            self.codes.problem(&draft.place, "makes", message);
        }
        let known_maker = self.catalogue.formula_making(makes.id).map(|f| (f.id, f.code.clone()));
        let maker =
            self.makers.entry(makes.id).or_insert_with(|| known_maker.unwrap_or((id, draft.code.clone())));
        let other = (maker.0 != id).then(|| maker.1.clone());
        if let Some(other) = other {
            let message = format!("{} is made by formula {other} already", makes.code);
            self.codes.problem(&draft.place, "makes", message);
        }
        let wanted = Formula {
            id,
            code: known.map_or_else(|| draft.code.clone(), |f| f.code.clone()),
            name: draft.name.clone(),
            makes: makes.id,
            versions: known.map_or_else(Vec::new, |f| f.versions.clone()),
        };
        // A formula is counted by its versions; here only its own name matters.
        match known {
            None => self.plan.formulas.push(Put::New(Formula { versions: Vec::new(), ..wanted })),
            Some(known) if **known != wanted => self.plan.formulas.push(Put::Changed(wanted)),
            Some(_) => {}
        }
        for version in &draft.versions {
            let before = known.and_then(|f| f.version(version.number));
            self.version(draft, version, id, before, materials);
        }
    }

    fn version(
        &mut self,
        formula: &FormulaDraft,
        draft: &VersionDraft,
        id: FormulaId,
        known: Option<&FormulaVersion>,
        materials: &HashMap<MaterialId, Material>,
    ) {
        let mut lines = Vec::with_capacity(draft.lines.len());
        for line in &draft.lines {
            let Some(material) = self
                .codes
                .material(&line.place, "material", &line.material)
                .and_then(|id| materials.get(&id))
            else {
                continue;
            };
            if !matches!(
                material.kind,
                MaterialKind::RawMaterial | MaterialKind::Utility | MaterialKind::Intermediate
            ) {
                let message =
                    format!("{} is a {}, which no formula is made of", material.code, material.kind.words());
                self.codes.problem(&line.place, "material", message);
                continue;
            }
            lines.push(FormulaLine {
                position: line.position,
                phase: line.phase.clone(),
                material: material.id,
                amount: line.amount,
                basis: line.basis,
                function: line.function.clone(),
                use_level_from: line.use_level_from,
                use_level_to: line.use_level_to,
                weighing_tolerance: line.weighing_tolerance,
                instruction: line.instruction.clone(),
                trim: line.trim.clone().map(Box::new),
            });
        }
        let making = Making {
            evaporation: draft.evaporation,
            samples: draft.samples,
            retains: draft.retains,
            costs: self.making_costs(draft, known),
        };
        let wanted = FormulaVersion {
            id: known.map_or_else(FormulaVersionId::new, |v| v.id),
            formula: id,
            number: draft.number,
            status: draft.status,
            written_as: draft.written_as,
            lines,
            density: draft.density.clone(),
            process_loss: draft.process_loss,
            heel: draft.heel,
            usual_batch: draft.usual_batch,
            smallest_batch: draft.smallest_batch,
            largest_batch: draft.largest_batch,
            cost_per_batch: draft.cost_per_batch,
            making,
            shelf_life: draft.shelf_life,
            approval: draft.approval.clone(),
            note: draft.note.clone(),
        };
        match (put(&mut self.plan.report.versions, known, wanted), known.map(|v| v.status)) {
            (None, _) => {}
            (Some(Put::New(version)), _) => self.plan.versions.push(VersionPut::New(version)),
            (Some(Put::Changed(version)), Some(VersionStatus::Draft)) => {
                self.plan.versions.push(VersionPut::Draft(version));
            }
            (Some(Put::Changed(version)), _) => {
                let only_retired = known.is_some_and(|before| {
                    before.status == VersionStatus::Approved
                        && version.status == VersionStatus::Retired
                        && FormulaVersion {
                            status: before.status,
                            approval: before.approval.clone(),
                            ..version.clone()
                        } == *before
                });
                if only_retired {
                    self.plan.versions.push(VersionPut::Retired(version));
                } else {
                    let message = format!(
                        "version {} of {} is fixed here and the sheets differ from it; make a new version",
                        draft.number, formula.code
                    );
                    self.codes.problem(&draft.place, "version", message);
                }
            }
        }
    }

    /// With everything in place: does each version make a whole, and does any formula contain itself?
    pub(super) fn whole_formulas(&mut self, set: &ImportSet, today: NaiveDate) {
        // Codes that did not resolve leave holes that would only be reported a second time.
        if !self.codes.problems.is_empty() || !set.unread.materials.is_empty() {
            return;
        }
        let after = self.catalogue_after();
        let view = View::plain(&after);
        for draft in &set.formulas {
            let Some(formula) = after.formulas.by_code(&draft.code) else { continue };
            for version in &draft.versions {
                let Some(whole) = formula.version(version.number) else { continue };
                let looped = loop_through(&after, formula.makes, &whole.lines);
                let checked = match looped {
                    Some(path) => Err(EngineError::Loop { path }),
                    None => explode(&view, whole, today).map(|_| ()),
                };
                // A draft may miss its total; reading the sheets says so.
                let draft = whole.status == VersionStatus::Draft;
                if let Err(error) = checked
                    && !(draft && error.is_missed_total())
                {
                    self.codes.problems.push(problem_of(&version.place, &error));
                }
            }
        }
    }

    /// The catalogue as it will be.
    fn catalogue_after(&self) -> Catalogue {
        let mut formulas: HashMap<_, Formula> =
            self.catalogue.formulas.iter().map(|f| (f.id, (**f).clone())).collect();
        for put in &self.plan.formulas {
            let wanted = put.get();
            let versions = formulas.get(&wanted.id).map_or_else(Vec::new, |f| f.versions.clone());
            formulas.insert(wanted.id, Formula { versions, ..wanted.clone() });
        }
        for put in &self.plan.versions {
            let (VersionPut::New(version) | VersionPut::Draft(version) | VersionPut::Retired(version)) = put;
            if let Some(formula) = formulas.get_mut(&version.formula) {
                formula.versions.retain(|v| v.number != version.number);
                formula.versions.push(version.clone());
                formula.versions.sort_by_key(|v| v.number);
            }
        }
        Catalogue::new(
            self.catalogue.version,
            self.catalogue.settings.clone(),
            CatalogueParts {
                materials: self.materials_after().into_values().collect(),
                formulas: formulas.into_values().collect(),
                ..CatalogueParts::default()
            },
        )
    }
}

fn problem_of(place: &Place, error: &EngineError) -> Problem {
    Problem::at(place.column("version"), error)
}
