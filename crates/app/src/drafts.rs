//! Formulas at the desk: a new one with its first draft, and what a draft comes to while it is still being typed.

use std::sync::Arc;

use chrono::NaiveDate;
use domain::{
    Refusal,
    formulas::{Formula, FormulaVersion},
    materials::{Material, MaterialKind},
    packs::Pack,
    people::{Actor, Capability},
    text,
};
use engine::{
    CostRequest, CostSheet, CostSubject, CostedProposal, EngineError, View, costed_proposals,
    explode::{UseLevelBreach, loop_through, use_level_breaches},
    normalise::{Normalised, normalise},
};
use kernel::{Mass, ids::MaterialId};
use serde::{Deserialize, Serialize};

use crate::{
    App, Change, Error,
    change::Begun,
    formulas::{FormulaVersionWrite, draft_of, require_sound},
    fresh::Problems,
};

/// A formula that is new, with its first draft.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct FormulaBegin {
    /// The house's short code.
    pub code: String,
    /// Name.
    pub name: String,
    /// What it makes.
    pub makes: Made,
    /// Its first draft; `formula` is the identity that the new formula is to have.
    pub draft: FormulaVersionWrite,
}

/// What a new formula makes, by its code.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Made {
    /// The code of an intermediate or bulk that no formula makes yet. Where nothing has it, one is entered under it and under the name of
    /// the formula.
    pub code: String,
    /// Intermediate or bulk, for one that is entered.
    pub kind: MaterialKind,
}

/// What a draft comes to. Nothing of it is written.
#[derive(Debug)]
pub struct DraftWorkedOut {
    /// The formula with nothing but the draft.
    pub formula: Arc<Formula>,
    /// The draft.
    pub version: FormulaVersion,
    /// Its lines as shares, or why they make no whole.
    pub normal: Result<Normalised, EngineError>,
    /// The use levels it breaks; empty where the lines make no whole.
    pub breaches: Vec<UseLevelBreach>,
    /// What the liquid costs.
    pub sheet: Result<CostSheet, EngineError>,
    /// What each pack of the formula costs, filled with it.
    pub packs: Vec<(Arc<Pack>, Result<CostSheet, EngineError>)>,
    /// The ways to make the lines meet their total, where they miss it.
    pub proposals: Vec<CostedProposal>,
}

impl App {
    /// Enters a formula with its first draft, and the material it makes where that is new.
    ///
    /// # Errors
    /// [`Error::Invalid`]; [`Refusal::Taken`] for a code that something else has.
    pub async fn formula_begin(
        &self,
        change: &Change<'_>,
        input: FormulaBegin,
    ) -> Result<FormulaVersion, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "formula-begin", &input).await? {
            Begun::Repeat(version) => return Ok(version),
            Begun::Fresh(work) => work,
        };
        let catalogue = self.snapshot();
        let mut problems = Problems::default();
        let code = problems.take("code", text::code("a code", &input.code));
        let name = problems.take("name", text::name("a name", &input.name));
        let made_code = problems.take("makes", text::code("a code", &input.makes.code));
        let known = made_code.as_deref().and_then(|code| catalogue.materials.by_code(code));
        match known {
            Some(material) if !is_made(material.kind) => {
                let kind = material.kind.words();
                problems.push("makes", format!("{} is a {kind}, which no formula makes", material.code));
            }
            Some(material) => {
                if let Some(other) = catalogue.formula_making(material.id) {
                    let text = format!("{} is made by formula {}", material.code, other.code);
                    problems.push("makes", format!("{text}; write a new version of that instead"));
                }
            }
            None if !is_made(input.makes.kind) => {
                problems.push("makes", "a formula makes an intermediate or a bulk");
            }
            None => {}
        }
        problems.none()?;
        let (Some(code), Some(name), Some(made_code)) = (code, name, made_code) else {
            return Err(Error::internal("a problem was not noted"));
        };
        let makes = known.map_or_else(MaterialId::new, |material| material.id);
        if catalogue.formulas.by_code(&code).is_some() {
            return Err(Refusal::Taken { what: "formula".to_owned(), text: code }.into());
        }
        let mut formula = Formula { id: input.draft.formula, code, name, makes, versions: Vec::new() };
        if catalogue.formulas.get(formula.id).is_some() {
            return Err(Error::invalid("formula", "this formula is entered already"));
        }
        let version = draft_of(&catalogue, &formula, None, &input.draft, self.settings().currency)?;
        formula.versions.push(version.clone());
        let formula = Arc::new(formula);
        require_sound(&View::plain(&catalogue).with_draft(&formula), makes, &version, self.today())?;
        if known.is_none() {
            let material = new_material(makes, made_code, formula.name.clone(), input.makes.kind);
            store::materials::material_insert(&work.tx, &material).await?;
            work.note("material", material.id, None::<&()>, &material, None)?;
        }
        store::formulas::formula_insert(&work.tx, &formula).await?;
        work.note("formula", formula.id, None::<&()>, &*formula, None)?;
        work.note("formula version", version.id, None::<&()>, &version, None)?;
        work.changes_catalogue();
        work.finish(version).await
    }

    /// What a draft comes to: its total, cost, margins, use levels and gaps, by the same calculation as when it is written. A formula
    /// that is not entered yet goes by `code`.
    ///
    /// # Errors
    /// [`Error::Invalid`] with everything that keeps its lines from being read; what is merely missing is a gap in the answer.
    pub fn draft_work_out(
        &self,
        actor: &Actor,
        input: &FormulaVersionWrite,
        code: &str,
        batch: Option<Mass>,
        as_of: NaiveDate,
    ) -> Result<DraftWorkedOut, Error> {
        let catalogue = self.catalogue(actor)?;
        let mut formula = match catalogue.formulas.get(input.formula) {
            Some(known) => Formula { versions: Vec::new(), ..Formula::clone(known) },
            None => Formula {
                id: input.formula,
                code: code.to_owned(),
                name: code.to_owned(),
                makes: MaterialId::new(),
                versions: Vec::new(),
            },
        };
        let entered = catalogue.formulas.get(input.formula);
        let replaced = input.version.and_then(|id| entered?.versions.iter().find(|version| version.id == id));
        let numbered = entered.map_or(&formula, |entered| &**entered);
        let version = draft_of(&catalogue, numbered, replaced, input, self.settings().currency)?;
        formula.versions.push(version.clone());
        let formula = Arc::new(formula);
        let trim_use = self.trim_use();
        let view = View::plain(&catalogue).with_trim_use(&trim_use).with_draft(&formula);
        if let Some(path) = loop_through(&catalogue, formula.makes, &version.lines) {
            return Err(EngineError::Loop { path }.into());
        }
        let request = CostRequest { batch, ..CostRequest::version(version.id, as_of) };
        let normal = normalise(&view, &version);
        let breaches = if normal.is_ok() { use_level_breaches(&view, &version, as_of)? } else { Vec::new() };
        let packs = catalogue
            .packs_of(formula.id)
            .iter()
            .filter_map(|id| catalogue.packs.get(*id))
            .map(|pack| {
                let subject = CostSubject::Pack { pack: pack.id, version: Some(version.id) };
                (Arc::clone(pack), engine::cost_sheet(&view, &CostRequest { subject, ..request }))
            })
            .collect();
        Ok(DraftWorkedOut {
            sheet: engine::cost_sheet(&view, &request),
            proposals: costed_proposals(&view, &request, None).unwrap_or_default(),
            normal,
            breaches,
            packs,
            formula,
            version,
        })
    }
}

const fn is_made(kind: MaterialKind) -> bool {
    matches!(kind, MaterialKind::Intermediate | MaterialKind::Bulk)
}

/// A material of which nothing but what it is called is known yet.
fn new_material(id: MaterialId, code: String, name: String, kind: MaterialKind) -> Material {
    Material {
        id,
        code,
        name,
        kind,
        inci: None,
        cas: Vec::new(),
        density: None,
        active_matter: None,
        use_level: None,
        shelf_life: None,
        period_after_opening: None,
        minimum_remaining_life: None,
        inspection_time: None,
        signal_word: None,
        hazard_statements: Vec::new(),
        caution_groups: Vec::new(),
        incompatible_with: Vec::new(),
        flash_point_celsius: None,
        safety_data_sheet: None,
        note: None,
    }
}
