//! From codes to identities: against the set itself and what the house knows.

use std::collections::{BTreeSet, HashMap};

use domain::{Catalogue, Problem, house_rates::HouseRateOf, text::code_key};
use kernel::ids::{FormulaId, MaterialId, SupplierId};

use super::drafts::{ImportSet, Place, Unread};

/// Identities by code, of what is known and of what the set brings.
pub(super) struct Codes<'a> {
    materials: HashMap<String, MaterialId>,
    suppliers: HashMap<String, SupplierId>,
    formulas: HashMap<String, FormulaId>,
    house_rates: HashMap<String, HouseRateOf>,
    unread: &'a Unread,
    /// Problems found so far.
    pub problems: Vec<Problem>,
}

impl<'a> Codes<'a> {
    /// What is known keeps its identity; what is new gets one.
    pub fn new(catalogue: &Catalogue, set: &'a ImportSet) -> Self {
        let mut materials: HashMap<String, MaterialId> =
            catalogue.materials.iter().map(|m| (code_key(&m.code), m.id)).collect();
        for draft in &set.materials {
            materials.entry(code_key(&draft.code)).or_default();
        }
        let mut suppliers: HashMap<String, SupplierId> =
            catalogue.suppliers.iter().map(|s| (code_key(&s.code), s.id)).collect();
        for draft in &set.suppliers {
            suppliers.entry(code_key(&draft.code)).or_default();
        }
        let mut formulas: HashMap<String, FormulaId> =
            catalogue.formulas.iter().map(|f| (code_key(&f.code), f.id)).collect();
        for draft in &set.formulas {
            formulas.entry(code_key(&draft.code)).or_default();
        }
        let mut house_rates: HashMap<String, HouseRateOf> =
            catalogue.house_rates().map(|r| (code_key(&r.name), r.of)).collect();
        for draft in &set.house_rates {
            house_rates.entry(code_key(&draft.name)).or_insert(draft.of);
        }
        Self { materials, suppliers, formulas, house_rates, unread: &set.unread, problems: Vec::new() }
    }

    /// Notes a problem.
    pub fn problem(&mut self, place: &Place, column: &str, message: impl ToString) {
        self.problems.push(Problem::at(place.column(column), message));
    }

    fn unknown(&mut self, unread: &BTreeSet<String>, place: &Place, column: &str, what: &str, code: &str) {
        // The row that should have brought it was reported already.
        if !Unread::names(unread, code) {
            self.problem(place, column, format!("there is no {what} with the code “{code}”"));
        }
    }

    /// The material of a code, or a problem.
    pub fn material(&mut self, place: &Place, column: &str, code: &str) -> Option<MaterialId> {
        let found = self.materials.get(&code_key(code)).copied();
        if found.is_none() {
            self.unknown(&self.unread.materials, place, column, "material", code);
        }
        found
    }

    /// Whether a material has this code, here or in the set.
    pub fn knows_material(&self, code: &str) -> bool {
        self.materials.contains_key(&code_key(code))
    }

    /// The supplier of a code, or a problem.
    pub fn supplier(&mut self, place: &Place, column: &str, code: &str) -> Option<SupplierId> {
        let found = self.suppliers.get(&code_key(code)).copied();
        if found.is_none() {
            self.unknown(&self.unread.suppliers, place, column, "supplier", code);
        }
        found
    }

    /// The formula of a code, or a problem.
    pub fn formula(&mut self, place: &Place, column: &str, code: &str) -> Option<FormulaId> {
        let found = self.formulas.get(&code_key(code)).copied();
        if found.is_none() {
            self.unknown(&self.unread.formulas, place, column, "formula", code);
        }
        found
    }

    /// What the rate of the house of a name is of, known or first said in the set.
    pub fn house_rate_of(&self, name: &str) -> Option<HouseRateOf> {
        self.house_rates.get(&code_key(name)).copied()
    }

    /// A rate of the house that is paid by the hour, or a problem.
    pub fn hourly_rate(&mut self, place: &Place, column: &str, name: &str) {
        match self.house_rate_of(name) {
            None => self.unknown_rate(place, column, name),
            Some(of) if of.is_overhead() => {
                let message = format!("“{name}” is an overhead; hours are paid at a labour or machine rate");
                self.problem(place, column, message);
            }
            Some(_) => {}
        }
    }

    fn unknown_rate(&mut self, place: &Place, column: &str, name: &str) {
        if !Unread::names(&self.unread.house_rates, name) {
            self.problem(place, column, format!("there is no rate of the house with the name “{name}”"));
        }
    }
}
