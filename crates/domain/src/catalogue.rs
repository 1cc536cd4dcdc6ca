//! The catalogue: everything slow-changing in one immutable value that answers are worked out from.

mod replaced;

use chrono::NaiveDate;
use kernel::{
    Currency, Quantity,
    ids::{FormulaId, FormulaVersionId, IdMap, MaterialId, PackId, QuotationId, SupplierId},
};
use serde::{Deserialize, Serialize};
use std::{collections::BTreeMap, hash::Hash, sync::Arc};

use crate::{
    formulas::{Formula, FormulaVersion},
    house_rates::HouseRate,
    materials::Material,
    packs::Pack,
    quotations::{ExchangeRate, Quotation},
    suppliers::Supplier,
    text::code_key,
};

pub use replaced::Replaced;

/// Settings of the site that figures depend on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Settings {
    /// The house's currency: stock is valued and costs are given in it.
    pub currency: Currency,
    /// Days before a quotation's end from which it counts as lapsing soon.
    pub lapses_soon_days: u32,
}

/// Things with an identity and a code, found by either.
#[derive(Debug, Clone)]
pub struct Table<K, V> {
    rows: Vec<Arc<V>>,
    by_id: IdMap<K, usize>,
    by_code: BTreeMap<String, usize>,
}

impl<K: Eq + Hash + Copy, V> Table<K, V> {
    /// A table of rows in the order of their codes.
    pub fn new(rows: impl IntoIterator<Item = V>, id: impl Fn(&V) -> K, code: impl Fn(&V) -> &str) -> Self {
        let mut rows: Vec<Arc<V>> = rows.into_iter().map(Arc::new).collect();
        rows.sort_by_cached_key(|row| code_key(code(row)));
        let by_id = rows.iter().enumerate().map(|(at, row)| (id(row), at)).collect();
        let by_code = rows.iter().enumerate().map(|(at, row)| (code_key(code(row)), at)).collect();
        Self { rows, by_id, by_code }
    }

    /// By identity.
    pub fn get(&self, id: K) -> Option<&Arc<V>> {
        self.by_id.get(&id).and_then(|at| self.rows.get(*at))
    }

    /// By code, letter case aside.
    pub fn by_code(&self, code: &str) -> Option<&Arc<V>> {
        self.by_code.get(&code_key(code)).and_then(|at| self.rows.get(*at))
    }

    /// All, in the order of their codes.
    pub fn iter(&self) -> impl ExactSizeIterator<Item = &Arc<V>> + DoubleEndedIterator {
        self.rows.iter()
    }

    /// How many.
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }
}

/// The catalogue. Made whole from the database after each change; never changed in place.
#[derive(Debug, Clone)]
pub struct Catalogue {
    /// Grows with each change; stands on every answer.
    pub version: i64,
    /// Settings of the site.
    pub settings: Settings,
    /// Materials.
    pub materials: Table<MaterialId, Material>,
    /// Suppliers.
    pub suppliers: Table<SupplierId, Supplier>,
    /// Formulas.
    pub formulas: Table<FormulaId, Formula>,
    /// Packs.
    pub packs: Table<PackId, Pack>,
    quotations: Vec<Arc<Quotation>>,
    quotations_by_material: IdMap<MaterialId, Vec<Arc<Quotation>>>,
    rates: BTreeMap<(Currency, Currency), Vec<ExchangeRate>>,
    house_rates: BTreeMap<String, Vec<HouseRate>>,
    version_of: IdMap<FormulaVersionId, (FormulaId, usize)>,
    formulas_using: IdMap<MaterialId, Vec<FormulaVersionId>>,
    formula_making: IdMap<MaterialId, FormulaId>,
    packs_of: IdMap<FormulaId, Vec<PackId>>,
    packs_using: IdMap<MaterialId, Vec<PackId>>,
}

/// What a catalogue is made of, in any order.
#[derive(Debug, Clone, Default)]
pub struct CatalogueParts {
    /// Materials.
    pub materials: Vec<Material>,
    /// Suppliers.
    pub suppliers: Vec<Supplier>,
    /// Quotations.
    pub quotations: Vec<Quotation>,
    /// Exchange rates.
    pub rates: Vec<ExchangeRate>,
    /// Rates of the house.
    pub house_rates: Vec<HouseRate>,
    /// Formulas with their versions.
    pub formulas: Vec<Formula>,
    /// Packs.
    pub packs: Vec<Pack>,
}

impl Catalogue {
    /// A catalogue of these parts.
    pub fn new(version: i64, settings: Settings, parts: CatalogueParts) -> Self {
        let materials = Table::new(parts.materials, |m| m.id, |m| &m.code);
        let suppliers = Table::new(parts.suppliers, |s| s.id, |s| &s.code);
        let formulas = Table::new(parts.formulas, |f| f.id, |f| &f.code);
        let packs = Table::new(parts.packs, |p| p.id, |p| &p.code);

        let mut quotations: Vec<Arc<Quotation>> = parts.quotations.into_iter().map(Arc::new).collect();
        quotations.sort_by(|a, b| (a.valid_from, &a.reference).cmp(&(b.valid_from, &b.reference)));
        let mut quotations_by_material: IdMap<_, Vec<_>> = IdMap::default();
        for quotation in &quotations {
            quotations_by_material.entry(quotation.material).or_default().push(Arc::clone(quotation));
        }

        let mut rates: BTreeMap<_, Vec<_>> = BTreeMap::new();
        for rate in parts.rates {
            rates.entry((rate.from, rate.to)).or_default().push(rate);
        }
        for list in rates.values_mut() {
            list.sort_by_key(|rate| rate.date);
        }

        let mut house_rates: BTreeMap<_, Vec<_>> = BTreeMap::new();
        for rate in parts.house_rates {
            house_rates.entry(code_key(&rate.name)).or_default().push(rate);
        }
        for list in house_rates.values_mut() {
            list.sort_by_key(|rate: &HouseRate| rate.from);
        }

        let mut version_of = IdMap::default();
        let mut formulas_using: IdMap<_, Vec<_>> = IdMap::default();
        let mut formula_making = IdMap::default();
        for formula in formulas.iter() {
            formula_making.insert(formula.makes, formula.id);
            for (at, version) in formula.versions.iter().enumerate() {
                version_of.insert(version.id, (formula.id, at));
                for line in &version.lines {
                    let using = formulas_using.entry(line.material).or_default();
                    if using.last() != Some(&version.id) {
                        using.push(version.id);
                    }
                }
            }
        }

        let mut packs_of: IdMap<_, Vec<_>> = IdMap::default();
        let mut packs_using: IdMap<_, Vec<_>> = IdMap::default();
        for pack in packs.iter() {
            packs_of.entry(pack.formula).or_default().push(pack.id);
            for component in &pack.components {
                let using = packs_using.entry(component.material).or_default();
                if using.last() != Some(&pack.id) {
                    using.push(pack.id);
                }
            }
        }

        Self {
            version,
            settings,
            materials,
            suppliers,
            formulas,
            packs,
            quotations,
            quotations_by_material,
            rates,
            house_rates,
            version_of,
            formulas_using,
            formula_making,
            packs_of,
            packs_using,
        }
    }

    /// All quotations, by first day and reference.
    pub fn quotations(&self) -> &[Arc<Quotation>] {
        &self.quotations
    }

    /// The quotation of that identity.
    pub fn quotation(&self, id: QuotationId) -> Option<&Arc<Quotation>> {
        self.quotations.iter().find(|q| q.id == id)
    }

    /// A material's quotations, by first day and reference.
    pub fn quotations_of(&self, material: MaterialId) -> &[Arc<Quotation>] {
        self.quotations_by_material.get(&material).map_or(&[], Vec::as_slice)
    }

    /// All exchange rates, by pair and date.
    pub fn rates(&self) -> impl Iterator<Item = &ExchangeRate> {
        self.rates.values().flatten()
    }

    /// The rate of a pair that holds on a day: the latest not after it. The opposite pair is not turned round here.
    pub fn rate_on(&self, from: Currency, to: Currency, day: NaiveDate) -> Option<&ExchangeRate> {
        self.rates.get(&(from, to))?.iter().rev().find(|rate| rate.date <= day)
    }

    /// The day from which an offer of a pack no longer holds because the supplier offers the pack anew; `None` where nothing took its
    /// place, and for a quotation with an end of its own. Once replaced it stays so, even when what replaced it lapses.
    pub fn replaced_on(&self, quotation: &Quotation, pack: Quantity) -> Option<NaiveDate> {
        if quotation.valid_until.is_some() {
            return None;
        }
        self.quotations_of(quotation.material)
            .iter()
            .filter(|later| later.valid_from > quotation.valid_from && later.supplier == quotation.supplier)
            .filter(|later| later.terms.price_basis == quotation.terms.price_basis)
            .filter(|later| later.offers.iter().any(|offer| offer.pack == pack))
            .map(|later| later.valid_from)
            .min()
    }

    /// All rates of the house, by name and day.
    pub fn house_rates(&self) -> impl Iterator<Item = &HouseRate> {
        self.house_rates.values().flatten()
    }

    /// Whether there is a rate of the house of that name, on whatever day, letter case aside.
    pub fn knows_house_rate(&self, name: &str) -> bool {
        self.house_rates.contains_key(&code_key(name))
    }

    /// The rate of the house of that name that holds on a day.
    pub fn house_rate_on(&self, name: &str, day: NaiveDate) -> Option<&HouseRate> {
        latest(self.house_rates.get(&code_key(name))?, day)
    }

    /// The overheads that every batch bears on a day, by name.
    pub fn overheads_on(&self, day: NaiveDate) -> impl Iterator<Item = &HouseRate> {
        self.house_rates
            .values()
            .filter_map(move |list| latest(list, day))
            .filter(|rate| rate.of.is_overhead())
    }

    /// A formula version and the formula it belongs to.
    pub fn version(&self, id: FormulaVersionId) -> Option<(&Arc<Formula>, &FormulaVersion)> {
        let (formula, at) = self.version_of.get(&id)?;
        let formula = self.formulas.get(*formula)?;
        formula.versions.get(*at).map(|version| (formula, version))
    }

    /// Where-used: the formula versions a material stands in directly.
    pub fn versions_using(&self, material: MaterialId) -> &[FormulaVersionId] {
        self.formulas_using.get(&material).map_or(&[], Vec::as_slice)
    }

    /// The formula that makes an intermediate or bulk.
    pub fn formula_making(&self, material: MaterialId) -> Option<&Arc<Formula>> {
        self.formula_making.get(&material).and_then(|id| self.formulas.get(*id))
    }

    /// The packs a formula is filled into.
    pub fn packs_of(&self, formula: FormulaId) -> &[PackId] {
        self.packs_of.get(&formula).map_or(&[], Vec::as_slice)
    }

    /// Where-used: the packs a component stands in.
    pub fn packs_using(&self, component: MaterialId) -> &[PackId] {
        self.packs_using.get(&component).map_or(&[], Vec::as_slice)
    }
}

fn latest(rates: &[HouseRate], day: NaiveDate) -> Option<&HouseRate> {
    rates.iter().rev().find(|rate| rate.from <= day)
}
