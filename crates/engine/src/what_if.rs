//! What-if: the answer to "and if this changed?". Nothing is written: the scenario is laid over the catalogue and the shelf, the
//! same functions run on both, and the answer is the difference. What does not differ is not listed.

use chrono::NaiveDate;
use domain::{Catalogue, materials::MaterialKind};
use kernel::{
    Currency, Exact, Money, Quantity,
    ids::{FormulaId, FormulaVersionId, LotId, MaterialId, PackId, TicketId},
};
use serde::Serialize;
use std::collections::{BTreeMap, HashMap};

use crate::{
    EngineError,
    buying::{BuyingDays, Purchase, purchase},
    cost::{CostRequest, CostSheet, CostSubject, cost_sheet},
    outlook::{LotOutlook, Outlook, OutlookRequest, for_each_need, walk_outlook},
    planned::{Makes, Run, RunOff, RunRef, Walk, open_runs, plus},
    reach::{Path, Reach, component_paths, paths, reach},
    recipes::Recipes,
    run_check::{Plan, RunAmount, find_subject},
    scenario::{AssumedRun, Laid, RunOf, Scenario, lay},
    shelf::{LotOnDay, Shelf, Take, TakenFrom},
    view::{MaterialRef, View},
};

/// What a scenario does.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct WhatIf {
    /// The day asked.
    pub as_of: NaiveDate,
    /// The day both sides are costed for: the first on which every change of price and rate holds, and not before the day asked.
    pub costed_on: NaiveDate,
    /// The house's currency; all money is in it.
    pub currency: Currency,
    /// The catalogue's version.
    pub catalogue_version: i64,
    /// Formulas whose cost changes, by code.
    pub formulas: Vec<CostHit>,
    /// Packs whose cost or margin changes: those that can be ranked by money a year, the most first, then the others by percent.
    pub packs: Vec<CostHit>,
    /// The yearly effect of all packs that can be ranked; above nought is dearer.
    #[serde(serialize_with = "crate::figures::cost")]
    pub yearly_effect: Exact,
    /// Open tickets whose cost changes on their day, by day.
    pub ticket_costs: Vec<TicketCostHit>,
    /// Runs that come up short, have to take other lots, or are relieved, by day; assumed runs always.
    pub runs: Vec<RunHit>,
    /// Lots of which more, or less, is stranded.
    pub lots: Vec<LotHit>,
    /// What could not be costed, and why.
    pub problems: Vec<String>,
}

impl WhatIf {
    /// Whether nothing differs.
    pub fn hits_nothing(&self) -> bool {
        self.formulas.is_empty()
            && self.packs.is_empty()
            && self.ticket_costs.is_empty()
            && self.runs.is_empty()
            && self.lots.is_empty()
    }
}

/// Costs of one side, in the house's currency. Partial when not complete.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Figures {
    /// The batch.
    #[serde(serialize_with = "crate::figures::cost")]
    pub per_batch: Exact,
    /// The liquid, per kg of good output.
    #[serde(serialize_with = "crate::figures::cost")]
    pub per_kg: Exact,
    /// The same per litre; `None` without a density.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub per_litre: Option<Exact>,
    /// One unit.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub per_unit: Option<Exact>,
    /// One case.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub per_case: Option<Exact>,
    /// Margin at the selling price, as a fraction of one (percent in JSON).
    #[serde(serialize_with = "crate::figures::optional_percent")]
    pub margin: Option<Exact>,
    /// Whether nothing is missing.
    pub complete: bool,
}

impl From<&CostSheet> for Figures {
    fn from(sheet: &CostSheet) -> Self {
        Self {
            per_batch: sheet.totals.per_batch.clone(),
            per_kg: sheet.totals.per_kg.clone(),
            per_litre: sheet.totals.per_litre.clone(),
            per_unit: sheet.totals.per_unit.clone(),
            per_case: sheet.totals.per_case.clone(),
            margin: sheet.margin.as_ref().and_then(|margin| margin.margin.clone()),
            complete: sheet.complete,
        }
    }
}

/// A formula or a pack whose cost changes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CostHit {
    /// The formula.
    pub formula: FormulaId,
    /// The version that is costed.
    pub version: FormulaVersionId,
    /// The pack; `None` for a formula.
    pub pack: Option<PackId>,
    /// The code of the pack or formula.
    pub code: String,
    /// The name of the pack or formula.
    pub name: String,
    /// How the change reaches it.
    pub paths: Vec<Path>,
    /// As it is.
    pub before: Figures,
    /// As it would be.
    pub after: Figures,
    /// What changes per unit of a pack, or per kg of a formula; `None` where one side has no figure or is partial.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub change: Option<Exact>,
    /// The same as a fraction of the cost before (percent in JSON).
    #[serde(serialize_with = "crate::figures::optional_percent")]
    pub change_share: Option<Exact>,
    /// What the margin changes by, as a fraction of one (points in JSON).
    #[serde(serialize_with = "crate::figures::optional_percent")]
    pub margin_change: Option<Exact>,
    /// The price that keeps the margin as it was.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub price_to_hold_margin: Option<Exact>,
    /// The price that keeps the money earned per unit as it was.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub price_to_hold_cash: Option<Exact>,
    /// Expected sales in a year.
    pub units_a_year: Option<u64>,
    /// Units a year times the change per unit; above nought is dearer.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub yearly_effect: Option<Exact>,
    /// What is not known, so that it cannot be ranked or its margin cannot be told.
    pub not_known: Vec<NotKnown>,
}

/// Why a pack cannot be ranked, or its margin cannot be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum NotKnown {
    /// No expected sales are entered.
    NoYearlyVolume,
    /// No selling price is entered.
    NoSellingPrice,
    /// No density, so nothing per litre and nothing for a fill by volume.
    NoDensity,
    /// The cost has gaps.
    CostWithGaps,
}

impl NotKnown {
    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::NoYearlyVolume => "no yearly volume",
            Self::NoSellingPrice => "no selling price",
            Self::NoDensity => "no density",
            Self::CostWithGaps => "the cost has gaps",
        }
    }
}

/// A ticket whose cost changes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TicketCostHit {
    /// The ticket.
    pub ticket: TicketId,
    /// Its number.
    pub number: String,
    /// The day it is costed for: its own, or the day asked when it is overdue.
    pub on: NaiveDate,
    /// As it is.
    pub before: Figures,
    /// As it would be.
    pub after: Figures,
    /// What the batch costs more.
    #[serde(serialize_with = "crate::figures::cost")]
    pub change: Exact,
}

/// What a scenario does to a run, the gravest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum RunEffect {
    /// It comes up short, or shorter than before.
    Short,
    /// It was short already, and what would cover it no longer comes in time.
    CoverTooLate,
    /// It can be made once an intermediate is made that was there before, or more of it.
    MakeFirst,
    /// It is covered, by other lots than before.
    OtherLots,
    /// It is less short than before, or no longer.
    Relieved,
    /// It is assumed, and everything is there.
    CanBeMade,
}

impl RunEffect {
    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Short => "comes up short",
            Self::CoverTooLate => "cover comes too late",
            Self::MakeFirst => "an intermediate must be made first",
            Self::OtherLots => "takes other lots",
            Self::Relieved => "is relieved",
            Self::CanBeMade => "can be made",
        }
    }
}

/// A run that is hit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RunHit {
    /// The run.
    pub run: RunRef,
    /// Its formula.
    pub formula: FormulaId,
    /// The pack it is filled into.
    pub pack: Option<PackId>,
    /// Its day.
    pub on: NaiveDate,
    /// What happens to it.
    pub effect: RunEffect,
    /// What it is short of, on either side.
    pub short: Vec<ShortHit>,
    /// Materials it takes from elsewhere than before.
    pub other_lots: Vec<OtherLots>,
}

/// A material a run is short of.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ShortHit {
    /// The material.
    pub material: MaterialRef,
    /// Short by so much as it is.
    pub before: Quantity,
    /// Short by so much as it would be.
    pub after: Quantity,
    /// Intermediates it is missed behind, outermost first.
    pub behind: Vec<MaterialRef>,
    /// Lots that hold some of it and cannot be taken as things stand.
    pub might_help: Vec<LotOnDay>,
    /// What to buy for what would be short.
    pub buy: Option<Purchase>,
}

/// A material a run takes from elsewhere.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OtherLots {
    /// The material.
    pub material: MaterialRef,
    /// What it takes as it is.
    pub before: Vec<Take>,
    /// What it would take.
    pub after: Vec<Take>,
}

/// A lot of which more or less is stranded.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LotHit {
    /// The lot.
    pub lot: LotId,
    /// The house's number for it.
    pub number: String,
    /// Its material.
    pub material: MaterialRef,
    /// Stranded as it is.
    pub stranded_before: Quantity,
    /// Stranded as it would be.
    pub stranded_after: Quantity,
    /// The value of what would be stranded; `None` where the lot has no value.
    pub value_after: Option<Money>,
    /// What more of its value is stranded; below nought when it is less.
    pub value_change: Option<Money>,
    /// The last day a run would take from it.
    pub last_taken_on: Option<NaiveDate>,
    /// Formulas whose approved version takes the material, which could use it up; by code.
    pub could_be_used_in: Vec<String>,
}

/// What a scenario does.
///
/// # Errors
/// [`EngineError`] when the scenario names something that does not exist or assumes what cannot be. What cannot be costed as it is
/// stands among [`WhatIf::problems`].
pub fn what_if(
    catalogue: &Catalogue,
    shelf: &Shelf,
    scenario: &Scenario,
    as_of: NaiveDate,
) -> Result<WhatIf, EngineError> {
    let laid = lay(catalogue, shelf, scenario)?;
    let (plain, changed) = (View::plain(catalogue), View::with(catalogue, &laid.overlay));
    let costed_on = laid.overlay.settled_from(as_of);
    let mut answer = WhatIf {
        as_of,
        costed_on,
        currency: plain.currency(),
        catalogue_version: catalogue.version,
        formulas: Vec::new(),
        packs: Vec::new(),
        yearly_effect: Exact::ZERO,
        ticket_costs: Vec::new(),
        runs: Vec::new(),
        lots: Vec::new(),
        problems: Vec::new(),
    };
    let costing = Costing { plain: &plain, changed: &changed };
    if !laid.overlay.prices.is_empty() || !laid.overlay.rates.is_empty() {
        let reached = reach(catalogue, &laid.overlay, costed_on);
        costing.subjects(&reached, &mut answer);
        costing.tickets(&reached, shelf, &mut answer);
    }
    if laid.touches_shelf() {
        shelf_hits(&plain, &changed, shelf, &laid, &mut answer)?;
    }
    Ok(answer)
}

/// Both sides of the catalogue.
struct Costing<'w, 'a> {
    plain: &'w View<'a>,
    changed: &'w View<'a>,
}

impl Costing<'_, '_> {
    /// Both sheets of a subject; `None`, and the reason among the problems, when it cannot be costed.
    fn sheets(
        &self,
        request: &CostRequest,
        what: &str,
        problems: &mut Vec<String>,
    ) -> Option<(Figures, Figures)> {
        let sheets = cost_sheet(self.plain, request).and_then(|before| {
            Ok((Figures::from(&before), Figures::from(&cost_sheet(self.changed, request)?)))
        });
        match sheets {
            Ok(sheets) => Some(sheets),
            Err(error) => {
                problems.push(format!("{what}: {error}"));
                None
            }
        }
    }

    fn subjects(&self, reached: &Reach, answer: &mut WhatIf) {
        let recipes = Recipes::new(self.plain);
        let on = answer.costed_on;
        for id in &reached.versions {
            let Ok((formula, version)) = self.plain.version(*id) else { continue };
            let request = CostRequest::version(*id, on);
            let Some((before, after)) = self.sheets(&request, &formula.code, &mut answer.problems) else {
                continue;
            };
            if before == after {
                continue;
            }
            let mut hit = CostHit {
                formula: formula.id,
                version: version.id,
                pack: None,
                code: formula.code.clone(),
                name: formula.name.clone(),
                paths: paths(&recipes, reached, version, on),
                change: None,
                change_share: None,
                margin_change: None,
                price_to_hold_margin: None,
                price_to_hold_cash: None,
                units_a_year: None,
                yearly_effect: None,
                not_known: Vec::new(),
                before,
                after,
            };
            if hit.before.per_litre.is_none() {
                hit.not_known.push(NotKnown::NoDensity);
            }
            hit.compare(|figures| Some(&figures.per_kg));
            answer.formulas.push(hit);
        }
        for id in &reached.packs {
            if let Some(hit) = self.pack_hit(&recipes, reached, *id, answer) {
                answer.packs.push(hit);
            }
        }
        answer.packs.sort_by(|a, b| a.rank().cmp(&b.rank()).then_with(|| a.code.cmp(&b.code)));
        answer.yearly_effect = answer.packs.iter().filter_map(|hit| hit.yearly_effect.as_ref()).sum();
    }

    fn pack_hit(
        &self,
        recipes: &Recipes<'_>,
        reached: &Reach,
        id: PackId,
        answer: &mut WhatIf,
    ) -> Option<CostHit> {
        let on = answer.costed_on;
        let pack = self.plain.catalogue().packs.get(id)?;
        let request = CostRequest::pack(id, on);
        let (before, after) = self.sheets(&request, &pack.code, &mut answer.problems)?;
        if before == after {
            return None;
        }
        let version = self.plain.catalogue().formulas.get(pack.formula)?.approved_on(on)?;
        let mut all_paths = paths(recipes, reached, version, on);
        all_paths.extend(component_paths(self.plain, reached, id));
        let mut hit = CostHit {
            formula: pack.formula,
            version: version.id,
            pack: Some(id),
            code: pack.code.clone(),
            name: pack.name.clone(),
            paths: all_paths,
            change: None,
            change_share: None,
            margin_change: None,
            price_to_hold_margin: None,
            price_to_hold_cash: None,
            units_a_year: pack.units_a_year,
            yearly_effect: None,
            not_known: Vec::new(),
            before,
            after,
        };
        hit.compare(|figures| figures.per_unit.as_ref());
        hit.yearly_effect = hit
            .units_a_year
            .zip(hit.change.as_ref())
            .map(|(units, change)| &Exact::whole(i128::from(units)) * change);
        hit.hold_price(self.price_of(pack.price, on));
        if pack.units_a_year.is_none() {
            hit.not_known.push(NotKnown::NoYearlyVolume);
        }
        if pack.price.is_none() {
            hit.not_known.push(NotKnown::NoSellingPrice);
        }
        if hit.before.per_litre.is_none() {
            hit.not_known.push(NotKnown::NoDensity);
        }
        if !(hit.before.complete && hit.after.complete) {
            hit.not_known.push(NotKnown::CostWithGaps);
        }
        Some(hit)
    }

    fn price_of(&self, price: Option<Money>, on: NaiveDate) -> Option<Exact> {
        let (price, _) = self.plain.money_in_house_currency(price?, on, String::new).ok()?;
        Some(price)
    }

    /// Open tickets, costed at their own batch on their own day: a price that rises later does not touch them.
    fn tickets(&self, reached: &Reach, shelf: &Shelf, answer: &mut WhatIf) {
        let mut tickets: Vec<_> = shelf.tickets.iter().filter(|ticket| ticket.status.is_open()).collect();
        tickets.sort_by(|a, b| (a.planned_for, &a.number).cmp(&(b.planned_for, &b.number)));
        for ticket in tickets {
            let weighs = ticket.lines.iter().any(|line| reached.materials.contains(&line.material));
            if !weighs
                && !reached.versions.contains(&ticket.version)
                && !ticket.pack.is_some_and(|pack| reached.packs.contains(&pack))
            {
                continue;
            }
            let subject = match ticket.pack {
                Some(pack) => CostSubject::Pack { pack, version: Some(ticket.version) },
                None => CostSubject::Version(ticket.version),
            };
            let on = ticket.planned_for.max(answer.as_of);
            let request = CostRequest { subject, batch: Some(ticket.batch), as_of: on, price: None };
            let Some((before, after)) = self.sheets(&request, &ticket.number, &mut answer.problems) else {
                continue;
            };
            if before.per_batch != after.per_batch {
                answer.ticket_costs.push(TicketCostHit {
                    ticket: ticket.id,
                    number: ticket.number.clone(),
                    on,
                    change: &after.per_batch - &before.per_batch,
                    before,
                    after,
                });
            }
        }
    }
}

impl CostHit {
    fn compare(&mut self, figure: impl Fn(&Figures) -> Option<&Exact>) {
        let complete = self.before.complete && self.after.complete;
        let sides = figure(&self.before).zip(figure(&self.after)).filter(|_| complete);
        let change = sides.map(|(before, after)| (after - before, before.clone()));
        self.change_share = change.as_ref().and_then(|(change, before)| change.checked_div(before).ok());
        self.change = change.map(|(change, _)| change);
        let margins = self.before.margin.as_ref().zip(self.after.margin.as_ref());
        self.margin_change = margins.map(|(before, after)| after - before);
    }

    /// The prices that keep the margin, and the money earned, as they were.
    fn hold_price(&mut self, price: Option<Exact>) {
        let costs = self.before.per_unit.as_ref().zip(self.after.per_unit.as_ref());
        let Some((price, (before, after))) = price.zip(costs).filter(|_| self.change.is_some()) else {
            return;
        };
        // margin = 1 − cost / price, so the price moves as the cost does.
        self.price_to_hold_margin = after.checked_div(before).ok().map(|ratio| &price * &ratio);
        self.price_to_hold_cash = Some(&price + &(after - before));
    }

    /// By money a year, the most first; those without after them, by percent.
    fn rank(&self) -> (bool, std::cmp::Reverse<Exact>) {
        let key = self.yearly_effect.as_ref().or(self.change_share.as_ref());
        (self.yearly_effect.is_none(), std::cmp::Reverse(key.map_or(Exact::ZERO, Exact::abs)))
    }
}

/// Runs and lots on both sides.
fn shelf_hits(
    plain: &View<'_>,
    changed: &View<'_>,
    shelf: &Shelf,
    laid: &Laid<'_>,
    answer: &mut WhatIf,
) -> Result<(), EngineError> {
    let today = answer.as_of;
    let catalogue = plain.catalogue();
    let recipes = Recipes::new(plain);
    let (before_runs, mut after_runs) =
        (open_runs(&recipes, shelf, today), open_runs(&recipes, &laid.shelf, today));
    for assumed in &laid.runs {
        after_runs.push(assumed_run(&recipes, assumed, today)?);
    }
    after_runs.sort_by_key(|run| run.on);
    // Both sides are looked at up to the same day, so that only the scenario makes a difference.
    let last_run = before_runs.iter().chain(&after_runs).map(|run| run.on).max();
    let until = last_run.max(laid.last_day).map_or(today, |until| until.max(today));
    let request = OutlookRequest { today, until: Some(until) };
    let before = walk_outlook(&recipes, Walk::new(catalogue, shelf), &before_runs, request);
    let mut walk = Walk::new(catalogue, &laid.shelf);
    walk.bar(&laid.bars);
    for delivery in &laid.deliveries {
        if let Some(material) = catalogue.materials.get(delivery.material) {
            let from = TakenFrom::Assumed { change: delivery.change };
            walk.expect(from, material, delivery.raw, delivery.usable_from, delivery.expires_on);
        }
    }
    let after = walk_outlook(&recipes, walk, &after_runs, request);

    let nobody = HashMap::new();
    let sides = Sides { plain, changed, today, not_before: (&nobody, &laid.not_before) };
    for run in &after.runs {
        let was = before.runs.iter().find(|was| was.run == run.run);
        answer.runs.extend(sides.run_hit(was, run)?);
    }
    answer.lots = lot_hits(plain, &before, &after, today);
    Ok(())
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
        .size(match assumed.amount {
            RunAmount::Batch(batch) => RunAmount::Batch(batch),
            RunAmount::Units(units) => RunAmount::Units(units),
        })?
        .ok_or_else(|| does_not_fit("without the density of the liquid its batch is not known".to_owned()))?;
    if recipe.lines.len() != subject.version.lines.len() {
        return Err(does_not_fit("a line of its formula has no amount".to_owned()));
    }
    let formula = recipes.view().formula_of(subject.version)?;
    let good = crate::output::batch_output(recipes.view(), subject.version, &sized.batch.to_exact())?.good;
    Ok(Run {
        run: RunRef::Assumed { change: assumed.change },
        formula: formula.id,
        pack: subject.pack.map(|pack| pack.id),
        on,
        wants: plan.wants(&sized),
        own: &[],
        makes: Some(Makes {
            material: formula.makes,
            raw: kernel::Mass::from_exact_down(&good)?.micrograms(),
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
            let days = |not_before| BuyingDays { today: self.today, needed_on: run.on, not_before };
            let buy = purchase(self.changed, material, shortage.short_by.raw(), days(self.not_before.1))?;
            if shortage.short_by.raw() > before.raw() {
                effects.push(RunEffect::Short);
            } else if shortage.short_by.raw() < before.raw() {
                effects.push(RunEffect::Relieved);
            } else {
                let bought = purchase(self.plain, material, before.raw(), days(self.not_before.0))?;
                let late = |buy: &Purchase| buy.order.as_ref().and_then(|order| order.too_late);
                if late(&bought) != Some(true) && late(&buy) == Some(true) {
                    effects.push(RunEffect::CoverTooLate);
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

#[cfg(test)]
mod tests;
