//! The run check: can this run be made on this day, from which lots, what is short, what would have to be bought by when, and how
//! much could be made at most.
//!
//! Open tickets planned before the day or on it take theirs first, so that what is left is really there. The run then takes
//! through all levels: an intermediate that is short is made first, and its raw materials are checked as well. "Most that could
//! be made" is found by asking the same question of other sizes, so a run of exactly that much passes and the next one does not.

use chrono::NaiveDate;
use domain::{
    formulas::{FormulaVersion, VersionStatus},
    materials::Material,
    packs::Pack,
};
use kernel::{
    Exact, Mass, Quantity,
    ids::{FormulaId, FormulaVersionId, MaterialId, PackId, TicketId},
};
use serde::{Deserialize, Serialize};
use std::collections::{HashMap, HashSet};

use crate::{
    EngineError, Gap, Note,
    buying::{BuyingDays, Purchase, purchase},
    cautions::{Cautions, cautions},
    cost::CostSubject,
    explode::explode,
    gap::add_gap,
    note::add_note,
    outlook::for_each_need,
    output::{charge_for_units, fill_mass},
    planned::{
        Need, Place, Run, RunOff, RunRef, Stock, Walk, Want, component_wants, components_known, cover,
        open_runs, plus,
    },
    recipes::{Recipe, Recipes},
    shelf::{LotOnDay, Shelf, Take},
    view::{MaterialRef, View},
};

/// What run is asked about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RunRequest {
    /// What is made: a version of a formula, or a pack filled with it.
    pub subject: CostSubject,
    /// How much.
    pub amount: RunAmount,
    /// The day of the run.
    pub on: NaiveDate,
    /// Today: orders are placed today, overdue tickets count for today.
    pub today: NaiveDate,
    /// The ticket that the run has already; its promises do not stand in the run's way.
    pub ticket: Option<TicketId>,
}

/// How much is to be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RunAmount {
    /// So many whole units of the pack.
    Units(u64),
    /// So much charged in all.
    Batch(Mass),
}

/// How a run stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Everything is there.
    CanBeMade,
    /// Everything is there once an intermediate has been made.
    MakeFirst,
    /// Something is short.
    Short,
    /// Something is not known, so that nobody can say.
    NotKnown,
}

impl Verdict {
    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::CanBeMade => "can be made",
            Self::MakeFirst => "can be made once an intermediate is made",
            Self::Short => "short",
            Self::NotKnown => "cannot be said",
        }
    }
}

/// Whether a run can be made.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RunCheck {
    /// The formula.
    pub formula: FormulaId,
    /// The version.
    pub version: FormulaVersionId,
    /// The pack.
    pub pack: Option<PackId>,
    /// The day of the run.
    pub on: NaiveDate,
    /// The day asked.
    pub today: NaiveDate,
    /// What is charged; `None` where a gap stands in the way.
    pub batch: Option<Mass>,
    /// Units that are filled, those kept back among them; only for a pack.
    pub units: Option<u64>,
    /// Of these, what is for sale: the rest is kept back (first ones off the line, for tests, retains); only for a pack.
    pub units_for_sale: Option<u64>,
    /// How the run stands.
    pub verdict: Verdict,
    /// Per material: those of the formula in its order, then packaging, then what stands behind intermediates.
    pub materials: Vec<MaterialCheck>,
    /// Intermediates to make first, those furthest down first.
    pub make_first: Vec<MakeFirstStep>,
    /// How much could be made at most.
    pub most: Most,
    /// Runs that take theirs before this one, in order.
    pub earlier: Vec<RunOff>,
    /// Cautions for what meets in the vessel.
    pub cautions: Cautions,
    /// What is missing to say more.
    #[serde(serialize_with = "crate::figures::gaps")]
    pub gaps: Vec<Gap>,
    /// What to know.
    #[serde(serialize_with = "crate::figures::notes")]
    pub notes: Vec<Note>,
}

/// How it stands with one material.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MaterialCheck {
    /// The material.
    pub material: MaterialRef,
    /// Whether lots of it are kept; what is not stocked (water) is taken as there.
    pub stocked: bool,
    /// What the run needs of it in all.
    pub needed: Quantity,
    /// Where it is needed: directly, or behind which intermediates.
    pub uses: Vec<Use>,
    /// What of it can be used on the day, whoever it is promised to.
    pub usable: Quantity,
    /// What earlier tickets take of that.
    pub taken_by_earlier: Quantity,
    /// What of it is promised to later tickets.
    pub promised_to_later: Quantity,
    /// What earlier tickets are expected to yield of it.
    pub expected: Quantity,
    /// Lots to use, in order.
    pub takes: Vec<Take>,
    /// What is missing. For an intermediate that is made first, what has to be made.
    pub short_by: Quantity,
    /// How it stands.
    pub verdict: Verdict,
    /// Every lot as it stands on the day after earlier tickets, with the reasons against those that cannot be used.
    pub lots: Vec<LotOnDay>,
    /// What to buy; only for a material that is short.
    pub buy: Option<Purchase>,
}

/// A place where a material is needed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Use {
    /// Intermediates it stands behind, outermost first; empty when the run takes it directly.
    pub behind: Vec<MaterialRef>,
    /// How much.
    pub needed: Quantity,
    /// What is missing here.
    pub short_by: Quantity,
}

/// "Make so much of this first."
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MakeFirstStep {
    /// The intermediate.
    pub material: MaterialRef,
    /// Its formula.
    pub formula: FormulaId,
    /// The version it is made by.
    pub version: FormulaVersionId,
    /// What has to come out.
    pub make: Mass,
    /// What has to be charged for that, loss and heel on top.
    pub charge: Mass,
    /// Intermediates it stands behind itself, outermost first.
    pub behind: Vec<MaterialRef>,
    /// Materials that are short for it.
    pub short: Vec<MaterialRef>,
}

/// How much could be made at most.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Most {
    /// Everything charged, rounded down to the microgram; `None` when nothing on the shelf limits it, or something is not known.
    pub batch: Option<Mass>,
    /// Whole units filled, those kept back among them; only for a pack.
    pub units: Option<u64>,
    /// Of these, what is for sale; only for a pack.
    pub units_for_sale: Option<u64>,
    /// What would be short if any more were made.
    pub limited_by: Vec<MaterialRef>,
}

/// The version, and the pack, that a run is of.
pub(crate) struct Subject<'a> {
    pub version: &'a FormulaVersion,
    pub pack: Option<&'a Pack>,
}

impl Subject<'_> {
    /// What of so many units filled is for sale: the rest is kept back.
    pub fn for_sale(&self, units: Option<u64>) -> Option<u64> {
        let kept_back = u64::from(self.pack?.run.units_kept_back);
        units.map(|units| units.saturating_sub(kept_back))
    }
}

/// Finds what a run is of.
///
/// # Errors
/// [`EngineError::NotFound`], [`EngineError::NoApprovedVersion`] or [`EngineError::VersionOfOtherFormula`].
pub(crate) fn find_subject<'a>(
    view: &View<'a>,
    subject: CostSubject,
    on: NaiveDate,
) -> Result<Subject<'a>, EngineError> {
    match subject {
        CostSubject::Version(id) => Ok(Subject { version: view.version(id)?.1, pack: None }),
        CostSubject::Pack { pack, version } => {
            let pack = view.pack(pack)?;
            let formula = view
                .catalogue()
                .formulas
                .get(pack.formula)
                .ok_or_else(|| EngineError::NotFound { what: "formula", key: pack.formula.to_string() })?;
            let version = match version {
                Some(id) => {
                    let (found, version) = view.version(id)?;
                    if found.id != formula.id {
                        return Err(EngineError::VersionOfOtherFormula {
                            pack: pack.code.clone(),
                            wanted: formula.code.clone(),
                            found: found.code.clone(),
                        });
                    }
                    version
                }
                None => formula.approved_on(on).ok_or_else(|| EngineError::NoApprovedVersion {
                    formula: formula.id,
                    code: formula.code.clone(),
                    on,
                })?,
            };
            Ok(Subject { version, pack: Some(pack) })
        }
    }
}

/// Whether a run can be made on a day.
///
/// # Errors
/// [`EngineError`] when there is nothing to check: an unknown thing, an unsound formula, an amount of nought. What is merely missing
/// is a [`Gap`] in the answer.
pub fn run_check(view: &View<'_>, shelf: &Shelf, request: &RunRequest) -> Result<RunCheck, EngineError> {
    let on = request.on.max(request.today);
    let subject = find_subject(view, request.subject, on)?;
    let recipes = Recipes::new(view);
    let recipe = recipes.of_version(subject.version)?;
    let plan = Plan { recipes: &recipes, recipe: &recipe, subject: &subject, on };
    let complete =
        recipe.lines.len() == subject.version.lines.len() && subject.pack.is_none_or(components_known);

    let before = Walk::new(view.catalogue(), shelf);
    let mut walk = before.clone();
    let is_own = |run: &RunRef| matches!((run, request.ticket), (RunRef::Ticket { ticket, .. }, Some(own)) if *ticket == own);
    // Their own recipes, so that what is missing for them is not said of this run.
    let others = Recipes::new(view);
    let runs = open_runs(&others, shelf, request.today);
    let earlier: Vec<RunOff> = runs
        .iter()
        .filter(|run| run.on <= on && !is_own(&run.who))
        .map(|run| walk.run(&others, run))
        .collect();
    let own = request.ticket.and_then(|id| shelf.ticket(id)).map_or(&[][..], |ticket| &ticket.allocations);
    walk.release(own);
    let left = walk.clone();

    let sized = plan.size(request.amount)?;
    let most = if complete { plan.most(&left)? } else { Most::default() };
    let run = sized.as_ref().map(|sized| {
        let run = Run {
            who: RunRef::Asked,
            formula: subject.version.formula,
            pack: subject.pack.map(|pack| pack.id),
            on,
            wants: plan.wants(sized),
            own: &[],
            makes: None,
        };
        walk.run(&recipes, &run)
    });
    let materials = match &run {
        Some(run) => material_checks(&recipes, run, &before, &left, request.today)?,
        None => Vec::new(),
    };
    let verdict = match &run {
        _ if !complete => Verdict::NotKnown,
        None => Verdict::NotKnown,
        Some(run) if run.is_short() => Verdict::Short,
        Some(run) if run.needs.iter().any(Need::is_made_first) => Verdict::MakeFirst,
        Some(_) => Verdict::CanBeMade,
    };
    let (mut gaps, mut notes) = (recipes.gaps(), recipes.notes());
    plan.remarks(sized.as_ref(), &mut gaps, &mut notes)?;
    Ok(RunCheck {
        formula: subject.version.formula,
        version: subject.version.id,
        pack: subject.pack.map(|pack| pack.id),
        on,
        today: request.today,
        batch: sized.as_ref().map(|sized| sized.batch),
        units: sized.as_ref().and_then(|sized| sized.units),
        units_for_sale: sized.as_ref().and_then(|sized| subject.for_sale(sized.units)),
        verdict,
        materials,
        make_first: run.as_ref().map(|run| make_first_steps(&recipes, run)).unwrap_or_default(),
        most,
        earlier,
        cautions: cautions(vessel(view, &subject, on)?),
        gaps,
        notes,
    })
}

/// What meets in the vessel: everything a version is made of, through its intermediates.
fn vessel<'a>(
    view: &View<'a>,
    subject: &Subject<'a>,
    on: NaiveDate,
) -> Result<Vec<&'a Material>, EngineError> {
    let exploded = explode(view, subject.version, on)?;
    let ids = exploded.materials.iter().map(|part| part.material).chain(exploded.intermediates);
    Ok(ids.filter_map(|id| view.catalogue().materials.get(id)).map(|material| &**material).collect())
}

/// A run of a size.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sized {
    pub batch: Mass,
    pub units: Option<u64>,
}

/// How a subject is turned into needs, whatever the size.
pub(crate) struct Plan<'p, 'a> {
    pub recipes: &'p Recipes<'a>,
    pub recipe: &'p Recipe<'a>,
    pub subject: &'p Subject<'a>,
    pub on: NaiveDate,
}

impl Plan<'_, '_> {
    /// Batch and units of an amount; `None` where a gap stands in the way, which [`Plan::remarks`] names.
    pub fn size(&self, amount: RunAmount) -> Result<Option<Sized>, EngineError> {
        match (amount, self.subject.pack) {
            (RunAmount::Units(0), _) => Err(EngineError::BatchNotPositive),
            (RunAmount::Batch(batch), _) if !batch.is_positive() => Err(EngineError::BatchNotPositive),
            (RunAmount::Units(_), None) => {
                Err(EngineError::NotFound { what: "pack", key: "to count units of".to_owned() })
            }
            (RunAmount::Units(units), Some(pack)) => self.size_for_units(pack, units),
            (RunAmount::Batch(batch), None) => Ok(Some(Sized { batch, units: None })),
            (RunAmount::Batch(batch), Some(pack)) => {
                let view = self.recipes.view();
                let Ok(fill) = fill_mass(view, pack, self.subject.version)? else { return Ok(None) };
                let output = crate::output::batch_output(view, self.subject.version, &batch.to_exact())?;
                let filling = crate::output::filling_output(pack, &output.good, &fill)?;
                let units =
                    u64::try_from(filling.filled).map_err(|_| kernel::AmountError::Overflow("units"))?;
                Ok(Some(Sized { batch, units: Some(units) }))
            }
        }
    }

    fn size_for_units(&self, pack: &Pack, units: u64) -> Result<Option<Sized>, EngineError> {
        let exact = Exact::whole(i128::from(units));
        let charge = charge_for_units(self.recipes.view(), pack, self.subject.version, &exact)?;
        let Ok(charge) = charge else { return Ok(None) };
        Ok(Some(Sized { batch: Mass::from_exact_up(&charge)?, units: Some(units) }))
    }

    pub fn wants(&self, sized: &Sized) -> Vec<Want> {
        let mut wants: Vec<Want> = self
            .recipe
            .wants(sized.batch)
            .into_iter()
            .map(|(material, raw)| Want { material, line: None, raw })
            .collect();
        if let Some((pack, units)) = self.subject.pack.zip(sized.units) {
            wants.extend(component_wants(pack, &Exact::whole(i128::from(units))));
        }
        wants
    }

    /// What would be short; empty when the size fits.
    fn short_at(&self, left: &Walk<'_>, sized: &Sized) -> Vec<MaterialId> {
        self.recipes.begin();
        let mut pools = left.pools();
        let place = Place { product: left.product_of(self.subject.version.formula), level: 0 };
        let mut short = Vec::new();
        for want in self.wants(sized) {
            let Some(material) = self.recipes.catalogue().materials.get(want.material) else { continue };
            let need = cover(self.recipes, &mut pools as &mut dyn Stock, material, self.on, want.raw, place);
            need.visit(&mut Vec::new(), &mut |need, _| {
                if need.make_first.is_none() && need.short_by.is_positive() && !short.contains(&need.material)
                {
                    short.push(need.material);
                }
            });
        }
        short
    }

    /// The size of so many steps: whole units for a pack, micrograms otherwise; `None` beyond what can be kept.
    fn size_of_steps(&self, steps: u64) -> Option<Sized> {
        match self.subject.pack {
            Some(pack) => self.size_for_units(pack, steps).ok().flatten(),
            None => {
                let micrograms = i64::try_from(steps).ok()?;
                Some(Sized { batch: Mass::from_micrograms(micrograms), units: None })
            }
        }
    }

    /// The most that fits. Needs grow with the size, so halving the space between a size that fits and one that does not finds it.
    fn most(&self, left: &Walk<'_>) -> Result<Most, EngineError> {
        let unknown = Most::default();
        if let Some(pack) = self.subject.pack
            && fill_mass(self.recipes.view(), pack, self.subject.version)?.is_err()
        {
            return Ok(unknown);
        }
        let fits = |steps: u64| {
            self.size_of_steps(steps).is_some_and(|sized| self.short_at(left, &sized).is_empty())
        };
        let (mut low, mut high) = (0_u64, 1_u64);
        while fits(high) {
            low = high;
            high = high.saturating_mul(2);
        }
        while high - low > 1 {
            let middle = low + (high - low) / 2;
            if fits(middle) { low = middle } else { high = middle }
        }
        let Some(next) = self.size_of_steps(high) else { return Ok(unknown) };
        let limited_by = named(self.recipes, self.short_at(left, &next));
        let most = if low == 0 {
            Sized { batch: Mass::ZERO, units: self.subject.pack.map(|_| 0) }
        } else {
            match self.size_of_steps(low) {
                Some(sized) => sized,
                None => return Ok(unknown),
            }
        };
        let units_for_sale = self.subject.for_sale(most.units);
        Ok(Most { batch: Some(most.batch), units: most.units, units_for_sale, limited_by })
    }

    /// Gaps in the way of a size, and what to know about it.
    fn remarks(
        &self,
        sized: Option<&Sized>,
        gaps: &mut Vec<Gap>,
        notes: &mut Vec<Note>,
    ) -> Result<(), EngineError> {
        let version = self.subject.version;
        let view = self.recipes.view();
        if let Some(pack) = self.subject.pack {
            if let Err(gap) = fill_mass(view, pack, version)? {
                add_gap(gaps, gap);
            }
            if !components_known(pack) {
                add_gap(gaps, Gap::NoUnitsPerCase { pack: pack.id, code: pack.code.clone() });
            }
        }
        if version.status != VersionStatus::Approved {
            add_note(
                notes,
                Note::NotApproved {
                    formula: view.formula_of(version)?.code.clone(),
                    number: version.number,
                    status: version.status.word(),
                },
            );
        }
        let Some(sized) = sized else { return Ok(()) };
        if let Some(smallest) = version.smallest_batch.filter(|smallest| sized.batch < *smallest) {
            add_note(notes, Note::BatchBelowSmallest { batch: sized.batch, smallest });
        }
        if let Some(largest) = version.largest_batch.filter(|largest| sized.batch > *largest) {
            add_note(notes, Note::BatchAboveLargest { batch: sized.batch, largest });
        }
        Ok(())
    }
}

fn named(recipes: &Recipes<'_>, ids: impl IntoIterator<Item = MaterialId>) -> Vec<MaterialRef> {
    ids.into_iter()
        .filter_map(|id| recipes.catalogue().materials.get(id))
        .map(|material| MaterialRef::from(&**material))
        .collect()
}

/// The needs of a run, gathered by material.
fn material_checks(
    recipes: &Recipes<'_>,
    run: &RunOff,
    before: &Walk<'_>,
    left: &Walk<'_>,
    today: NaiveDate,
) -> Result<Vec<MaterialCheck>, EngineError> {
    // What the run takes directly comes first, in its order.
    let mut order: Vec<MaterialId> = Vec::new();
    let mut seen: HashSet<MaterialId> = HashSet::new();
    let mut gathered: HashMap<MaterialId, Vec<(&Need, Vec<MaterialId>)>> = HashMap::new();
    for need in &run.needs {
        if seen.insert(need.material) {
            order.push(need.material);
        }
    }
    for_each_need(run, |need, behind| {
        if seen.insert(need.material) {
            order.push(need.material);
        }
        gathered.entry(need.material).or_default().push((need, behind.to_vec()));
    });
    let not_before = HashMap::new();
    let days = BuyingDays { today, needed_on: run.on, not_before: &not_before, late: 0 };
    let mut checks = Vec::with_capacity(order.len());
    for id in order {
        let (Some(material), Some(needs)) = (recipes.catalogue().materials.get(id), gathered.get(&id)) else {
            continue;
        };
        let made = needs.first().and_then(|(_, behind)| behind.last().copied());
        let product = made.or_else(|| left.product_of(run.formula));
        let mut check = material_check(recipes, material, needs, before, left, (run.on, product));
        if check.verdict == Verdict::Short && needs.iter().all(|(need, _)| need.make_first.is_none()) {
            check.buy = Some(purchase(recipes.view(), material, check.short_by.raw(), days)?);
        }
        checks.push(check);
    }
    Ok(checks)
}

fn material_check(
    recipes: &Recipes<'_>,
    material: &Material,
    needs: &[(&Need, Vec<MaterialId>)],
    before: &Walk<'_>,
    left: &Walk<'_>,
    (on, product): (NaiveDate, Option<MaterialId>),
) -> MaterialCheck {
    let dimension = material.stock_dimension();
    let quantity = |raw: i64| Quantity::from_raw(raw, dimension);
    let nought = quantity(0);
    let (start, now) = (before.standing(material, on, product), left.standing(material, on, product));
    let mut takes: Vec<Take> = Vec::new();
    for take in needs.iter().flat_map(|(need, _)| &need.takes) {
        match takes.iter_mut().find(|known| known.from == take.from) {
            Some(known) => known.quantity = plus(known.quantity, take.quantity),
            None => takes.push(take.clone()),
        }
    }
    let sum = |of: fn(&Need) -> Quantity| needs.iter().fold(nought, |sum, (need, _)| plus(sum, of(need)));
    let verdict = if needs.iter().any(|(need, _)| need.is_short()) {
        Verdict::Short
    } else if needs.iter().any(|(need, _)| need.is_made_first()) {
        Verdict::MakeFirst
    } else {
        Verdict::CanBeMade
    };
    MaterialCheck {
        material: MaterialRef::from(material),
        stocked: material.kind.is_stocked(),
        needed: sum(|need| need.needed),
        uses: needs
            .iter()
            .map(|(need, behind)| Use {
                behind: named(recipes, behind.iter().copied()),
                needed: need.needed,
                short_by: need.short_by,
            })
            .collect(),
        usable: quantity(start.there),
        taken_by_earlier: quantity(start.there.saturating_sub(now.there).max(0)),
        promised_to_later: quantity(now.promised),
        expected: quantity(now.expected),
        takes,
        short_by: sum(|need| need.short_by),
        verdict,
        lots: left.availability(material, on, product).lots,
        buy: None,
    }
}

/// Intermediates to make, gathered by material, those furthest down first.
fn make_first_steps(recipes: &Recipes<'_>, run: &RunOff) -> Vec<MakeFirstStep> {
    let mut steps: Vec<(usize, MakeFirstStep)> = Vec::new();
    for_each_need(run, |need, behind| {
        let Some(make) = &need.make_first else { return };
        let mut short = Vec::new();
        for inner in make.needs.iter().filter(|inner| inner.is_short()) {
            short.push(inner.material);
        }
        let short = named(recipes, short);
        if let Some((level, known)) = steps.iter_mut().find(|(_, known)| known.material.id == need.material) {
            *level = (*level).max(behind.len());
            known.make = add_mass(known.make, make.make);
            known.charge = add_mass(known.charge, make.charge);
            known.short.extend(short);
            known.short.sort();
            known.short.dedup();
            return;
        }
        let Some(material) = named(recipes, [need.material]).pop() else { return };
        steps.push((
            behind.len(),
            MakeFirstStep {
                material,
                formula: make.formula,
                version: make.version,
                make: make.make,
                charge: make.charge,
                behind: named(recipes, behind.iter().copied()),
                short,
            },
        ));
    });
    steps.sort_by_key(|(level, _)| std::cmp::Reverse(*level));
    steps.into_iter().map(|(_, step)| step).collect()
}

fn add_mass(a: Mass, b: Mass) -> Mass {
    Mass::from_micrograms(a.micrograms().saturating_add(b.micrograms()))
}

#[cfg(test)]
mod tests;
