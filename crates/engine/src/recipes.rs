//! What an intermediate is made of on a day, worked out once per question.

use chrono::NaiveDate;
use domain::{catalogue::Catalogue, formulas::FormulaVersion};
use kernel::{
    Dimension, Exact, Mass,
    ids::{FormulaId, FormulaVersionId, MaterialId},
};
use std::{
    cell::{Cell, RefCell},
    collections::HashMap,
    rc::Rc,
};

use crate::{
    EngineError, Gap, Note, gap::add_gap, normalise::normalise, note::add_note, output::charge_for_output,
    planned::raw_or_max, view::MaterialRef, view::View,
};

/// A version as shares of what is charged.
#[derive(Debug)]
pub(crate) struct Recipe<'a> {
    pub formula: FormulaId,
    pub version: FormulaVersionId,
    pub lines: Vec<(MaterialId, Exact)>,
    view: View<'a>,
    of: &'a FormulaVersion,
}

impl Recipe<'_> {
    /// What has to be charged for so many kilograms to come out, rounded up to what is kept; `None` when it cannot be kept.
    pub fn charge_for(&self, good: &Exact) -> Option<Mass> {
        let charge = charge_for_output(&self.view, self.of, good).ok()?;
        Mass::from_exact_up(&charge).ok()
    }

    /// What each line of a batch takes, rounded up to what is kept, in micrograms.
    pub fn wants(&self, charge: Mass) -> Vec<(MaterialId, i64)> {
        let charge = charge.to_exact();
        let line = |(material, share): &(MaterialId, Exact)| {
            (*material, raw_or_max(&(share * &charge), Dimension::Mass))
        };
        self.lines.iter().map(line).collect()
    }
}

/// Intermediates that are made first for one run, at most. Real runs make two or three; intermediates that share intermediates
/// through many levels could ask for more than any number, and are then taken as short.
const MADE_FIRST_MAX: u32 = 5_000;

/// How a material is made, when it is.
type Made<'a> = Option<Rc<Recipe<'a>>>;

/// Recipes by what they make, and what was found missing on the way.
pub(crate) struct Recipes<'a> {
    view: View<'a>,
    making: RefCell<HashMap<(MaterialId, NaiveDate), Made<'a>>>,
    gaps: RefCell<Vec<Gap>>,
    notes: RefCell<Vec<Note>>,
    made_first: Cell<u32>,
}

impl<'a> Recipes<'a> {
    pub fn new(view: &View<'a>) -> Self {
        Self {
            view: *view,
            making: RefCell::default(),
            gaps: RefCell::default(),
            notes: RefCell::default(),
            made_first: Cell::new(0),
        }
    }

    pub const fn view(&self) -> &View<'a> {
        &self.view
    }

    pub const fn catalogue(&self) -> &'a Catalogue {
        self.view.catalogue()
    }

    /// Begins another run.
    pub fn begin(&self) {
        self.made_first.set(0);
    }

    /// Whether one more intermediate may be made for this run.
    pub fn spend(&self) -> bool {
        let made = self.made_first.get();
        self.made_first.set(made.saturating_add(1));
        made < MADE_FIRST_MAX
    }

    /// What was found missing so far.
    pub fn gaps(&self) -> Vec<Gap> {
        self.gaps.borrow().clone()
    }

    /// What is to be known so far.
    pub fn notes(&self) -> Vec<Note> {
        self.notes.borrow().clone()
    }

    /// A version's recipe; lines without a share are left out, and why is among [`Recipes::gaps`].
    ///
    /// # Errors
    /// Those of [`normalise`].
    pub fn of_version(&self, version: &'a FormulaVersion) -> Result<Recipe<'a>, EngineError> {
        let normalised = normalise(&self.view, version)?;
        for gap in normalised.gaps {
            add_gap(&mut self.gaps.borrow_mut(), gap);
        }
        for note in normalised.notes {
            add_note(&mut self.notes.borrow_mut(), note);
        }
        let lines =
            normalised.lines.into_iter().filter_map(|line| Some((line.material, line.share?))).collect();
        Ok(Recipe { formula: version.formula, version: version.id, lines, view: self.view, of: version })
    }

    /// How a material is made on a day, by the version of its formula approved by then. `None` when it is not made here, when no
    /// version is approved, or when a line of it has no amount.
    pub fn making(&self, material: MaterialId, day: NaiveDate) -> Made<'a> {
        if let Some(known) = self.making.borrow().get(&(material, day)) {
            return known.clone();
        }
        let found = self.find_making(material, day).map(Rc::new);
        self.making.borrow_mut().insert((material, day), found.clone());
        found
    }

    fn find_making(&self, material: MaterialId, day: NaiveDate) -> Option<Recipe<'a>> {
        let formula = self.catalogue().formula_making(material)?;
        let Some(version) = formula.approved_on(day) else {
            if let Some(material) = self.catalogue().materials.get(material) {
                let gap = Gap::NoApprovedVersion {
                    material: MaterialRef::from(&**material),
                    formula: formula.id,
                    code: formula.code.clone(),
                    on: day,
                };
                add_gap(&mut self.gaps.borrow_mut(), gap);
            }
            return None;
        };
        let recipe = self.of_version(version).ok()?;
        (recipe.lines.len() == version.lines.len()).then_some(recipe)
    }
}
