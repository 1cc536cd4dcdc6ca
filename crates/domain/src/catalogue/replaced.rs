//! A catalogue with some of its rows replaced, for questions about what is assumed: the rest is shared with the one it came from.

use kernel::ids::{FormulaId, MaterialId};
use std::{
    collections::{BTreeMap, HashMap},
    hash::{BuildHasher, Hash},
    sync::Arc,
};

use super::{Catalogue, Table};
use crate::{
    formulas::{Formula, FormulaVersion},
    house_rates::HouseRate,
    packs::Pack,
    text::code_key,
};

/// Rows that take the place of those of the same identity. What no row of the catalogue has the identity of is passed over.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Replaced {
    /// Versions; their formulas stay.
    pub versions: Vec<FormulaVersion>,
    /// Packs.
    pub packs: Vec<Pack>,
    /// All rates of the house, where one of them differs.
    pub house_rates: Option<Vec<HouseRate>>,
}

impl Replaced {
    /// Whether nothing is replaced.
    pub fn is_empty(&self) -> bool {
        self.versions.is_empty() && self.packs.is_empty() && self.house_rates.is_none()
    }
}

impl<K: Eq + Hash + Copy, V> Table<K, V> {
    /// Puts a row in the place of the one of its identity, which keeps its code.
    fn replace(&mut self, id: K, row: V) {
        if let Some(place) = self.by_id.get(&id).and_then(|at| self.rows.get_mut(*at)) {
            *place = Arc::new(row);
        }
    }
}

impl Catalogue {
    /// The same with some rows replaced.
    #[must_use]
    pub fn replacing(&self, replaced: Replaced) -> Self {
        let mut changed = self.clone();
        let mut of_formula: BTreeMap<FormulaId, Vec<FormulaVersion>> = BTreeMap::new();
        for version in replaced.versions {
            of_formula.entry(version.formula).or_default().push(version);
        }
        for (id, versions) in of_formula {
            let Some(formula) = self.formulas.get(id) else { continue };
            let mut formula = Formula::clone(formula);
            for version in versions {
                let Some(place) = formula.versions.iter_mut().find(|known| known.id == version.id) else {
                    continue;
                };
                unlist(&mut changed.formulas_using, place.id, place.lines.iter().map(|line| line.material));
                list(&mut changed.formulas_using, version.id, version.lines.iter().map(|line| line.material));
                *place = version;
            }
            changed.formulas.replace(id, formula);
        }
        for pack in replaced.packs {
            let Some(known) = self.packs.get(pack.id) else { continue };
            unlist(&mut changed.packs_using, known.id, known.components.iter().map(|part| part.material));
            list(&mut changed.packs_using, pack.id, pack.components.iter().map(|part| part.material));
            changed.packs.replace(pack.id, pack);
        }
        if let Some(rates) = replaced.house_rates {
            changed.house_rates.clear();
            for rate in rates {
                changed.house_rates.entry(code_key(&rate.name)).or_default().push(rate);
            }
            for list in changed.house_rates.values_mut() {
                list.sort_by_key(|rate: &HouseRate| rate.from);
            }
        }
        changed
    }
}

/// Takes something off the lists of what it stands in.
fn unlist<T: PartialEq, S: BuildHasher>(
    lists: &mut HashMap<MaterialId, Vec<T>, S>,
    id: T,
    materials: impl Iterator<Item = MaterialId>,
) {
    for material in materials {
        if let Some(using) = lists.get_mut(&material) {
            using.retain(|known| *known != id);
        }
    }
}

/// Puts something on the lists of what it stands in, each once.
fn list<T: PartialEq + Copy, S: BuildHasher>(
    lists: &mut HashMap<MaterialId, Vec<T>, S>,
    id: T,
    materials: impl Iterator<Item = MaterialId>,
) {
    for material in materials {
        let using = lists.entry(material).or_default();
        if !using.contains(&id) {
            using.push(id);
        }
    }
}
