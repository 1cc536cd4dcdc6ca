//! Runs and lots on both sides of a scenario.

use chrono::NaiveDate;
use domain::{Catalogue, materials::MaterialKind};
use kernel::{
    Mass, Quantity,
    ids::{LotId, MaterialId},
};
use std::{
    cmp::Ordering,
    collections::{BTreeMap, HashMap},
};

use super::{LotHit, OtherLots, RunEffect, RunHit, ShortHit, WhatIf, recalls::Bars};
use crate::{
    EngineError,
    buying::{BuyingDays, Purchase, purchase},
    cost::CostSubject,
    outlook::{LotOutlook, Outlook, OutlookRequest, for_each_need, walk_outlook},
    output::batch_output,
    planned::{Makes, Run, RunOff, RunRef, Walk, open_runs, plus},
    recipes::Recipes,
    run_check::{Plan, find_subject},
    scenario::{AssumedRun, Laid, RunOf},
    shelf::{Shelf, Take, TakenFrom},
    view::{MaterialRef, View},
};

/// Runs and lots on both sides.
pub(super) fn shelf_hits(
    plain: &View<'_>,
    changed: &View<'_>,
    shelf: &Shelf,
    laid: &Laid<'_>,
    set_aside: &Bars,
    answer: &mut WhatIf,
) -> Result<(), EngineError> {
    let today = answer.as_of;
    let catalogue = plain.catalogue();
    let (recipes, changed_recipes) = (Recipes::new(plain), Recipes::new(changed));
    let before_runs = open_runs(&recipes, shelf, today);
    let after_runs = runs_after(&changed_recipes, laid, today)?;
    // Both sides are looked at up to the same day, so that only the scenario makes a difference.
    let last_run = before_runs.iter().chain(&after_runs).map(|run| run.on).max();
    let until = last_run.max(laid.last_day).map_or(today, |until| until.max(today));
    let request = OutlookRequest { today, until: Some(until) };
    let before = walk_outlook(&recipes, Walk::new(catalogue, shelf), &before_runs, request);
    let walk = walk_after(catalogue, laid, set_aside);
    let after = walk_outlook(&changed_recipes, walk, &after_runs, request);

    let nobody = HashMap::new();
    let sides = Sides { plain, changed, today, not_before: (&nobody, &laid.not_before), late: &laid.late };
    for run in &after.runs {
        let was = before.runs.iter().find(|was| was.run == run.run);
        answer.runs.extend(sides.run_hit(was, run)?);
    }
    answer.lots = lot_hits(plain, &before, &after, today);
    Ok(())
}

/// The runs as they would be, in the order they are walked through.
pub(super) fn runs_after<'l>(
    recipes: &Recipes<'_>,
    laid: &'l Laid<'_>,
    today: NaiveDate,
) -> Result<Vec<Run<'l>>, EngineError> {
    let mut runs = open_runs(recipes, &laid.shelf, today);
    for assumed in &laid.runs {
        runs.push(assumed_run(recipes, assumed, today)?);
    }
    runs.sort_by_key(|run| run.on);
    Ok(runs)
}

/// The shelf as it would be, before any run takes from it.
pub(super) fn walk_after<'l>(catalogue: &'l Catalogue, laid: &'l Laid<'_>, set_aside: &Bars) -> Walk<'l> {
    let mut walk = Walk::new(catalogue, &laid.shelf);
    // What was made with a lot called back is set aside with it; what is named itself stays as it is said.
    let mut bars = set_aside.clone();
    bars.extend(&laid.bars);
    walk.bar(&bars);
    for delivery in &laid.deliveries {
        if let Some(material) = catalogue.materials.get(delivery.material) {
            let from = TakenFrom::Assumed { change: delivery.change };
            walk.expect(from, material, delivery.raw, delivery.usable_from, delivery.expires_on);
        }
    }
    walk
}

/// A run that a scenario assumes.
fn assumed_run(
    recipes: &Recipes<'_>,
    assumed: &AssumedRun,
    today: NaiveDate,
) -> Result<Run<'static>, EngineError> {
    let does_not_fit = |why: String| EngineError::ChangeDoesNotFit { position: assumed.change, why };
    let on = assumed.on.max(today);
    let subject = match assumed.of {
        RunOf::Pack(pack) => CostSubject::Pack { pack, version: None },
        RunOf::Version(version) => CostSubject::Version(version),
    };
    let subject = find_subject(recipes.view(), subject, on)?;
    let recipe = recipes.of_version(subject.version)?;
    let plan = Plan { recipes, recipe: &recipe, subject: &subject, on };
    let sized = plan
        .size(assumed.amount)?
        .ok_or_else(|| does_not_fit("without the density of the liquid its batch is not known".to_owned()))?;
    if recipe.lines.len() != subject.version.lines.len() {
        return Err(does_not_fit("a line of its formula has no amount".to_owned()));
    }
    let formula = recipes.view().formula_of(subject.version)?;
    let good = batch_output(recipes.view(), subject.version, &sized.batch.to_exact())?.good;
    Ok(Run {
        who: RunRef::Assumed { change: assumed.change },
        formula: formula.id,
        pack: subject.pack.map(|pack| pack.id),
        on,
        wants: plan.wants(&sized),
        own: &[],
        makes: Some(Makes {
            material: formula.makes,
            raw: Mass::from_exact_down(&good)?.micrograms(),
            shelf_life: subject.version.shelf_life,
        }),
    })
}

type NotBefore = HashMap<MaterialId, NaiveDate>;

struct Sides<'w, 'a> {
    plain: &'w View<'a>,
    changed: &'w View<'a>,
    today: NaiveDate,
    not_before: (&'w NotBefore, &'w NotBefore),
    /// Days by which deliveries would come late.
    late: &'w HashMap<MaterialId, u32>,
}

impl Sides<'_, '_> {
    fn run_hit(&self, was: Option<&RunOff>, run: &RunOff) -> Result<Option<RunHit>, EngineError> {
        let mut short = Vec::new();
        let mut effects = Vec::new();
        for shortage in &run.shortages {
            let Some(material) = self.plain.catalogue().materials.get(shortage.material) else { continue };
            let before = was
                .and_then(|was| was.shortages.iter().find(|known| known.material == shortage.material))
                .map_or(Quantity::from_raw(0, shortage.short_by.dimension()), |known| known.short_by);
            let days =
                |not_before, late| BuyingDays { today: self.today, needed_on: run.on, not_before, late };
            let late = self.late.get(&shortage.material).copied().unwrap_or_default();
            let short_by = shortage.short_by.raw();
            let buy = purchase(self.changed, material, short_by, days(self.not_before.1, late))?;
            match shortage.short_by.raw().cmp(&before.raw()) {
                Ordering::Greater => effects.push(RunEffect::Short),
                Ordering::Less => effects.push(RunEffect::Relieved),
                Ordering::Equal => {
                    let bought = purchase(self.plain, material, before.raw(), days(self.not_before.0, 0))?;
                    let late = |buy: &Purchase| buy.order.as_ref().and_then(|order| order.too_late);
                    if late(&bought) != Some(true) && late(&buy) == Some(true) {
                        effects.push(RunEffect::CoverTooLate);
                    }
                }
            }
            short.push(ShortHit {
                material: MaterialRef::from(&**material),
                before,
                after: shortage.short_by,
                behind: self.named(&shortage.behind),
                might_help: shortage.might_help.clone(),
                buy: Some(buy),
            });
        }
        for known in was.iter().flat_map(|was| &was.shortages) {
            if run.shortages.iter().any(|shortage| shortage.material == known.material) {
                continue;
            }
            let Some(material) = self.named(&[known.material]).pop() else { continue };
            effects.push(RunEffect::Relieved);
            short.push(ShortHit {
                material,
                before: known.short_by,
                after: Quantity::from_raw(0, known.short_by.dimension()),
                behind: self.named(&known.behind),
                might_help: Vec::new(),
                buy: None,
            });
        }
        let (taken, to_make) = taken_by(run);
        let (taken_before, to_make_before) = was.map(taken_by).unwrap_or_default();
        let other_lots = if was.is_some() { self.other_lots(&taken_before, &taken) } else { Vec::new() };
        if !other_lots.is_empty() {
            effects.push(RunEffect::OtherLots);
        }
        let more = |(id, raw): (&MaterialId, &i64)| to_make_before.get(id).is_none_or(|before| raw > before);
        if to_make.iter().any(more) {
            effects.push(RunEffect::MakeFirst);
        }
        if was.is_none() && effects.is_empty() {
            effects.push(RunEffect::CanBeMade);
        }
        let Some(effect) = effects.into_iter().min() else { return Ok(None) };
        Ok(Some(RunHit {
            run: run.run.clone(),
            formula: run.formula,
            pack: run.pack,
            on: run.on,
            effect,
            short,
            other_lots,
        }))
    }

    fn named(&self, ids: &[MaterialId]) -> Vec<MaterialRef> {
        ids.iter()
            .filter_map(|id| self.plain.catalogue().materials.get(*id))
            .map(|material| MaterialRef::from(&**material))
            .collect()
    }

    fn other_lots(&self, before: &Taken, after: &Taken) -> Vec<OtherLots> {
        let mut materials: Vec<MaterialId> = before.keys().chain(after.keys()).copied().collect();
        materials.sort_unstable();
        materials.dedup();
        let mut changed = Vec::new();
        for id in materials {
            let of = |taken: &Taken| taken.get(&id).cloned().unwrap_or_default();
            let (was, is) = (of(before), of(after));
            let Some(material) = self.named(&[id]).pop() else { continue };
            // The same amounts of the same lots are the same, whatever became of their dates.
            let same = was.len() == is.len()
                && was
                    .iter()
                    .all(|(from, take)| is.get(from).is_some_and(|now| now.quantity == take.quantity));
            if !same {
                changed.push(OtherLots {
                    material,
                    before: was.into_values().collect(),
                    after: is.into_values().collect(),
                });
            }
        }
        changed.sort_by(|a, b| a.material.code.cmp(&b.material.code));
        changed
    }
}

/// What a run takes, by material and then by where from.
type Taken = BTreeMap<MaterialId, BTreeMap<TakenFrom, Take>>;

/// What a run takes, and how much of intermediates has to be made for it, by material.
fn taken_by(run: &RunOff) -> (Taken, BTreeMap<MaterialId, i64>) {
    let mut taken = Taken::new();
    let mut to_make: BTreeMap<MaterialId, i64> = BTreeMap::new();
    for_each_need(run, |need, _| {
        if need.make_first.is_some() {
            let made = to_make.entry(need.material).or_default();
            *made = made.saturating_add(need.short_by.raw());
        }
        for take in &need.takes {
            taken
                .entry(need.material)
                .or_default()
                .entry(take.from.clone())
                .and_modify(|known| known.quantity = plus(known.quantity, take.quantity))
                .or_insert_with(|| take.clone());
        }
    });
    (taken, to_make)
}

fn lot_hits(view: &View<'_>, before: &Outlook, after: &Outlook, on: NaiveDate) -> Vec<LotHit> {
    let was: HashMap<LotId, &LotOutlook> = before.lots.iter().map(|lot| (lot.lot, lot)).collect();
    let mut hits: Vec<LotHit> = after
        .lots
        .iter()
        .filter_map(|lot| {
            let was = was.get(&lot.lot)?;
            let material = view.catalogue().materials.get(lot.material)?;
            if was.stranded == lot.stranded {
                return None;
            }
            let value_change = lot
                .stranded_value
                .zip(was.stranded_value)
                .and_then(|(after, before)| after.checked_sub(before).ok());
            Some(LotHit {
                lot: lot.lot,
                number: lot.number.clone(),
                material: MaterialRef::from(&**material),
                stranded_before: was.stranded,
                stranded_after: lot.stranded,
                value_after: lot.stranded_value,
                value_change,
                last_taken_on: lot.last_taken_on,
                could_be_used_in: if material.kind == MaterialKind::PackagingComponent {
                    Vec::new()
                } else {
                    could_use(view, lot.material, on)
                },
            })
        })
        .collect();
    // The most money first; lots without a value last.
    let worth = |hit: &LotHit| hit.value_change.map_or((true, 0), |value| (false, -value.micros().abs()));
    hits.sort_by(|a, b| worth(a).cmp(&worth(b)).then_with(|| a.number.cmp(&b.number)));
    hits
}

/// Codes of formulas whose approved version takes a material.
fn could_use(view: &View<'_>, material: MaterialId, on: NaiveDate) -> Vec<String> {
    let catalogue = view.catalogue();
    let mut codes: Vec<String> = catalogue
        .versions_using(material)
        .iter()
        .filter_map(|id| catalogue.version(*id))
        .filter(|(formula, version)| {
            formula.approved_on(on).is_some_and(|approved| approved.id == version.id)
        })
        .map(|(formula, _)| formula.code.clone())
        .collect();
    codes.sort();
    codes
}
