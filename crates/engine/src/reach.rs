//! What a change of prices or rates reaches: from the materials it touches, through intermediates, to formulas and packs. Only
//! these are costed again, so a question costs what it touches and not what is stored.

use chrono::NaiveDate;
use domain::{
    catalogue::Catalogue,
    formulas::{Formula, FormulaVersion},
    house_rates::HouseRate,
    making::{MakingCost, MakingCostAmount},
    quotations::Quotation,
    text::code_key,
};
use kernel::{
    Currency, Exact,
    ids::{FormulaVersionId, MaterialId, PackId},
};
use serde::Serialize;
use std::collections::{BTreeSet, HashSet};

use crate::{
    Overlay,
    recipes::Recipes,
    scenario::Edited,
    view::{MaterialRef, View},
};

/// One way a change reaches a formula or a pack.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Path {
    /// The material that is touched, then the intermediates it goes through; the last one stands in the formula itself.
    pub through: Vec<MaterialRef>,
    /// kg of the touched material of which one kg of the formula's charge consists this way, as a fraction of one; `None` for
    /// packaging.
    #[serde(serialize_with = "crate::figures::optional_percent")]
    pub share: Option<Exact>,
}

/// Paths that are spelt out for one formula, at most.
const PATHS_MAX: usize = 20;

/// What is reached.
#[derive(Debug, Default)]
pub(crate) struct Reach {
    /// Materials whose prices are touched.
    pub touched: BTreeSet<MaterialId>,
    /// Those, and the intermediates made from them.
    pub materials: HashSet<MaterialId>,
    /// Versions, each the one its formula is looked at by.
    pub versions: Vec<FormulaVersionId>,
    /// Packs.
    pub packs: BTreeSet<PackId>,
}

/// The version a formula is looked at by: the one approved on the day, else its current draft.
pub(crate) fn looked_at(formula: &Formula, on: NaiveDate) -> Option<&FormulaVersion> {
    formula.approved_on(on).or_else(|| formula.current())
}

/// What an overlay, and rows assumed to be others, reach.
pub(crate) fn reach(catalogue: &Catalogue, overlay: &Overlay, edited: &Edited, on: NaiveDate) -> Reach {
    let mut reach = Reach::default();
    let house = catalogue.settings.currency;
    let currencies: Vec<Currency> = overlay
        .rates
        .iter()
        .filter_map(|change| match (change.from == house, change.to == house) {
            (true, false) => Some(change.to),
            (false, true) => Some(change.from),
            // Costs only ever go through a pair with the house's currency.
            _ => None,
        })
        .collect();
    for quotation in catalogue.quotations() {
        let scopes = overlay.prices.iter().map(|change| change.scope);
        let priced = scopes
            .chain(overlay.terms.iter().map(|change| change.scope))
            .any(|scope| scope.touches(quotation))
            || overlay.ended.iter().any(|end| end.ends(quotation.supplier, quotation.material));
        if priced || currencies.iter().any(|currency| is_in(quotation, *currency)) {
            reach.touched.insert(quotation.material);
        }
    }
    let mut queue: Vec<MaterialId> = reach.touched.iter().copied().collect();
    let mut versions: HashSet<FormulaVersionId> = HashSet::new();
    if !currencies.is_empty() {
        // A rate of the house in one of them may reach anything that is made.
        let abroad = catalogue
            .house_rates()
            .filter_map(HouseRate::currency)
            .any(|currency| currencies.contains(&currency));
        for formula in catalogue.formulas.iter() {
            let Some(version) = looked_at(formula, on) else { continue };
            let own = version.cost_per_batch.map(kernel::Money::currency);
            let mut of_making =
                own.into_iter().chain(version.making.costs.iter().filter_map(MakingCost::currency));
            if abroad || of_making.any(|currency| currencies.contains(&currency)) {
                versions.insert(version.id);
                queue.push(formula.makes);
            }
        }
        for pack in catalogue.packs.iter() {
            let money = [pack.line_labour, pack.run.changeover, pack.price].into_iter().flatten();
            if abroad || money.into_iter().any(|money| currencies.contains(&money.currency())) {
                reach.packs.insert(pack.id);
            }
        }
    }
    for version in edited.versions.values() {
        versions.insert(version.id);
        if let Some(formula) = catalogue.formulas.get(version.formula) {
            // What is made by it is touched as a bought material is whose price changes.
            reach.touched.insert(formula.makes);
            queue.push(formula.makes);
        }
    }
    reach.packs.extend(edited.packs.keys());
    if !edited.rate_names.is_empty() {
        let overhead =
            catalogue.overheads_on(on).any(|rate| edited.rate_names.contains(&code_key(&rate.name)));
        let named = |name: &str| overhead || edited.rate_names.contains(&code_key(name));
        for formula in catalogue.formulas.iter() {
            let Some(version) = looked_at(formula, on) else { continue };
            let by_the_hour = |cost: &MakingCost| match &cost.amount {
                MakingCostAmount::Hours { rate, .. } => named(rate),
                _ => false,
            };
            if overhead || version.making.costs.iter().any(by_the_hour) {
                versions.insert(version.id);
                queue.push(formula.makes);
            }
        }
        for pack in catalogue.packs.iter() {
            let speed = pack.run.speed.as_ref();
            let rates = speed.into_iter().flat_map(|speed| [&speed.labour_rate, &speed.machine_rate]);
            if overhead || rates.flatten().any(|rate| named(rate)) {
                reach.packs.insert(pack.id);
            }
        }
    }
    while let Some(material) = queue.pop() {
        if !reach.materials.insert(material) {
            continue;
        }
        for id in catalogue.versions_using(material) {
            let Some((formula, version)) = catalogue.version(*id) else { continue };
            if looked_at(formula, on).is_some_and(|looked_at| looked_at.id == version.id)
                && versions.insert(version.id)
            {
                queue.push(formula.makes);
            }
        }
        reach.packs.extend(catalogue.packs_using(material));
    }
    for formula in catalogue.formulas.iter() {
        let Some(version) = looked_at(formula, on).filter(|version| versions.contains(&version.id)) else {
            continue;
        };
        reach.versions.push(version.id);
        reach.packs.extend(catalogue.packs_of(formula.id));
    }
    reach
}

fn is_in(quotation: &Quotation, currency: Currency) -> bool {
    quotation.currency == currency
        || quotation.offers.iter().any(|offer| offer.price.currency() == currency)
        || quotation.freight.as_ref().is_some_and(|freight| freight.amount.currency() == currency)
        || quotation.terms.amounts().any(|amount| amount.currency() == currency)
}

/// The ways a change reaches a version.
pub(crate) fn paths(
    recipes: &Recipes<'_>,
    reach: &Reach,
    version: &FormulaVersion,
    on: NaiveDate,
) -> Vec<Path> {
    let mut found = Vec::new();
    let Some((_, version)) = recipes.catalogue().version(version.id) else { return found };
    let Ok(recipe) = recipes.of_version(version) else { return found };
    let mut walk = PathWalk { recipes, reach, on, found: &mut found, behind: Vec::new() };
    walk.follow(&recipe.lines, &Exact::ONE);
    found
}

struct PathWalk<'w, 'a> {
    recipes: &'w Recipes<'a>,
    reach: &'w Reach,
    on: NaiveDate,
    found: &'w mut Vec<Path>,
    /// Intermediates on the way down, outermost first.
    behind: Vec<MaterialId>,
}

impl PathWalk<'_, '_> {
    fn follow(&mut self, lines: &[(MaterialId, Exact)], share: &Exact) {
        for (material, of_line) in lines {
            if !self.reach.materials.contains(material) {
                continue;
            }
            let share = share * of_line;
            if self.reach.touched.contains(material) {
                self.record(*material, share.clone());
            }
            if self.found.len() >= PATHS_MAX || self.behind.contains(material) {
                continue;
            }
            if let Some(recipe) = self.recipes.making(*material, self.on) {
                self.behind.push(*material);
                self.follow(&recipe.lines, &share);
                self.behind.pop();
            }
        }
    }

    fn record(&mut self, material: MaterialId, share: Exact) {
        let through: Vec<MaterialRef> = std::iter::once(&material)
            .chain(self.behind.iter().rev())
            .filter_map(|id| self.recipes.catalogue().materials.get(*id))
            .map(|material| MaterialRef::from(&**material))
            .collect();
        if let Some(known) = self.found.iter_mut().find(|known| known.through == through) {
            known.share = known.share.as_ref().map(|known| known + &share);
        } else if self.found.len() < PATHS_MAX {
            self.found.push(Path { through, share: Some(share) });
        }
    }
}

/// The packaging components of a pack that are touched.
pub(crate) fn component_paths(view: &View<'_>, reach: &Reach, pack: PackId) -> Vec<Path> {
    let Some(pack) = view.catalogue().packs.get(pack) else { return Vec::new() };
    pack.components
        .iter()
        .filter(|component| reach.touched.contains(&component.material))
        .filter_map(|component| view.catalogue().materials.get(component.material))
        .map(|material| Path { through: vec![MaterialRef::from(&**material)], share: None })
        .collect()
}
