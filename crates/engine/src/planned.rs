//! Walking through planned runs day by day: each takes what it needs off the shelf in thought, so that two runs which fit alone
//! but not together are seen, and a run can be checked against what earlier ones leave.
//!
//! Runs are walked in the order of their days. A run first takes what is promised to it, as far as it can be used on the day, and
//! then by first expiry, first out from what nobody else is promised. An intermediate that is short is made first: its own raw
//! materials are taken as well, through all levels. Utilities are never stocked and never stand in the way. A run that makes a
//! material and is short of nothing is expected to put its yield on the shelf for later runs, which is said where it is used.

use chrono::NaiveDate;
use domain::{
    catalogue::Catalogue,
    dates::Span,
    lots::{Lot, LotStatus, Unusable},
    materials::{Material, MaterialKind},
    packs::{ComponentPer, Pack, PackComponent},
    tickets::{Allocation, Ticket},
};
use kernel::{
    Count, Dimension, Exact, Mass, Quantity,
    ids::{FormulaId, FormulaVersionId, LotId, MaterialId, PackId, TicketId, TicketLineId},
    limits::NESTING_LEVELS_MAX,
};
use serde::Serialize;
use std::{borrow::Cow, collections::HashMap};

use crate::{
    output::{component_per_unit, good_output},
    recipes::Recipes,
    shelf::{Held, LotOnDay, Shelf, Take, TakenFrom, fefo_order, on_day, release, sort_fefo, take_fefo},
};

/// A run: an open ticket, one that a scenario assumes, or the one that is asked about.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum RunRef {
    /// An open ticket.
    Ticket {
        /// The ticket.
        ticket: TicketId,
        /// Its number.
        number: String,
    },
    /// A run that a scenario assumes.
    Assumed {
        /// Position in the scenario, from 1.
        change: usize,
    },
    /// The run that is asked about.
    Asked,
}

/// A promise that cannot be kept, because the lot may not be used on the day or no longer holds it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LostPromise {
    /// The lot.
    pub lot: LotId,
    /// Its number.
    pub number: String,
    /// How much of it was promised and cannot be had.
    pub quantity: Quantity,
    /// What stands against it; empty when the lot merely holds too little.
    pub because: Vec<Unusable>,
}

/// What a run needs of one material, and where it comes from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Need {
    /// The material.
    pub material: MaterialId,
    /// The line of the ticket; `None` for packaging, for what an intermediate is made of, and for runs without a ticket.
    pub line: Option<TicketLineId>,
    /// How much.
    pub needed: Quantity,
    /// Whether lots of it are kept; what is not stocked (water) is taken as there.
    pub stocked: bool,
    /// What is taken, in order.
    pub takes: Vec<Take>,
    /// Promises that cannot be kept.
    pub lost_promises: Vec<LostPromise>,
    /// What the shelf does not cover. For an intermediate with [`Need::make_first`] that is what has to be made.
    pub short_by: Quantity,
    /// How the missing amount of an intermediate is made first.
    pub make_first: Option<MakeFirst>,
}

/// A batch of an intermediate that has to be made before the run.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MakeFirst {
    /// Its formula.
    pub formula: FormulaId,
    /// The approved version it is made by.
    pub version: FormulaVersionId,
    /// What has to come out.
    pub make: Mass,
    /// What has to be charged for that: process loss and heel on top.
    pub charge: Mass,
    /// What that takes in turn.
    pub needs: Vec<Need>,
}

impl Need {
    /// Whether something is missing that neither the shelf nor making an intermediate first provides.
    pub fn is_short(&self) -> bool {
        match &self.make_first {
            Some(make) => make.needs.iter().any(Self::is_short),
            None => self.short_by.is_positive(),
        }
    }

    /// Whether an intermediate has to be made first, here or further down.
    pub const fn is_made_first(&self) -> bool {
        self.make_first.is_some()
    }

    /// This need and all behind it, each with the intermediates it stands behind, outermost first.
    pub fn visit<'a>(&'a self, path: &mut Vec<MaterialId>, each: &mut impl FnMut(&'a Self, &[MaterialId])) {
        each(self, path);
        if let Some(make) = &self.make_first {
            path.push(self.material);
            for need in &make.needs {
                need.visit(path, each);
            }
            path.pop();
        }
    }
}

/// A run walked through: what it needs and where that comes from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RunOff {
    /// The run.
    pub run: RunRef,
    /// The formula.
    pub formula: FormulaId,
    /// The pack it is filled into.
    pub pack: Option<PackId>,
    /// The day it is made; an overdue ticket counts for today.
    pub on: NaiveDate,
    /// What it needs, in the order of its lines, packaging last.
    pub needs: Vec<Need>,
    /// What is missing, by material.
    pub shortages: Vec<Shortage>,
}

/// What a run misses of one material.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Shortage {
    /// The material.
    pub material: MaterialId,
    /// How much in all.
    pub short_by: Quantity,
    /// Intermediates it is missed behind, outermost first; empty when the run misses it directly.
    pub behind: Vec<MaterialId>,
    /// Lots that hold some of it and cannot be taken as things stand, with the reasons: promised to others, in quarantine, on hold,
    /// due for retest, or with too little life left.
    pub might_help: Vec<LotOnDay>,
}

impl RunOff {
    /// Whether something is missing.
    pub fn is_short(&self) -> bool {
        !self.shortages.is_empty()
    }
}

/// A run before it is walked through.
#[derive(Debug, Clone)]
pub(crate) struct Run<'a> {
    pub who: RunRef,
    pub formula: FormulaId,
    pub pack: Option<PackId>,
    pub on: NaiveDate,
    pub wants: Vec<Want>,
    pub own: &'a [Allocation],
    pub makes: Option<Makes>,
}

/// An amount a run wants, in the scaled integer of the material's dimension.
#[derive(Debug, Clone)]
pub(crate) struct Want {
    pub material: MaterialId,
    pub line: Option<TicketLineId>,
    pub raw: i64,
}

/// What a run is expected to yield.
#[derive(Debug, Clone)]
pub(crate) struct Makes {
    pub material: MaterialId,
    pub raw: i64,
    pub shelf_life: Option<Span>,
}

/// Something amounts can be taken from by first expiry, first out.
pub(crate) trait Stock {
    /// Takes up to `need` and says what is left uncovered.
    fn take(
        &mut self,
        material: &Material,
        day: NaiveDate,
        need: i64,
        product: Option<MaterialId>,
    ) -> (Vec<Take>, i64);
}

/// The shelf while runs are walked through.
#[derive(Debug, Clone)]
pub(crate) struct Walk<'a> {
    catalogue: &'a Catalogue,
    held: HashMap<MaterialId, Vec<Held<'a>>>,
    material_of: HashMap<LotId, MaterialId>,
}

impl Stock for Walk<'_> {
    fn take(
        &mut self,
        material: &Material,
        day: NaiveDate,
        need: i64,
        product: Option<MaterialId>,
    ) -> (Vec<Take>, i64) {
        match self.held.get_mut(&material.id) {
            Some(held) => take_fefo(held, material, day, need, product),
            None => (Vec::new(), need),
        }
    }
}

/// Only how much can be used on one day, for trying many sizes of a run.
#[derive(Debug, Clone)]
pub(crate) struct Pools<'w, 'a> {
    walk: &'w Walk<'a>,
    left: HashMap<(MaterialId, Option<MaterialId>), i64>,
}

impl Stock for Pools<'_, '_> {
    fn take(
        &mut self,
        material: &Material,
        day: NaiveDate,
        need: i64,
        product: Option<MaterialId>,
    ) -> (Vec<Take>, i64) {
        let walk = self.walk;
        // Only what is kept for some products is counted by product; everything else is one pool.
        let product = product.filter(|_| walk.is_restricted(material.id));
        let left =
            self.left.entry((material.id, product)).or_insert_with(|| walk.usable(material, day, product));
        let taken = need.min(*left).max(0);
        *left -= taken;
        (Vec::new(), need - taken)
    }
}

/// What of a material can be used on a day, in the scaled integer of its dimension.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Standing {
    /// On the shelf.
    pub there: i64,
    /// Of that, promised.
    pub promised: i64,
    /// Not there yet: what earlier runs or deliveries are expected to bring.
    pub expected: i64,
}

impl<'a> Walk<'a> {
    pub(crate) fn new(catalogue: &'a Catalogue, shelf: &'a Shelf) -> Self {
        let mut held: HashMap<MaterialId, Vec<Held<'a>>> = HashMap::new();
        for lot in &shelf.lots {
            held.entry(lot.material).or_default().push(Held::of(lot));
        }
        for (id, lots) in &mut held {
            if let Some(material) = catalogue.materials.get(*id) {
                sort_fefo(lots, material);
            }
        }
        let material_of = shelf.lots.iter().map(|lot| (lot.id, lot.material)).collect();
        Self { catalogue, held, material_of }
    }

    pub(crate) fn pools(&self) -> Pools<'_, 'a> {
        Pools { walk: self, left: HashMap::new() }
    }

    /// What is left of each lot on the shelf.
    pub(crate) fn left(&self) -> impl Iterator<Item = &Held<'a>> {
        self.held.values().flatten().filter(|held| held.from.lot().is_some())
    }

    /// Takes lots out of use from a day on.
    pub(crate) fn bar(&mut self, bars: &HashMap<LotId, (NaiveDate, LotStatus)>) {
        for held in self.held.values_mut().flatten() {
            held.barred = held.from.lot().and_then(|lot| bars.get(&lot)).copied();
        }
    }

    /// How a material's lots stand on a day, as the runs walked through so far leave them.
    pub(crate) fn availability(
        &self,
        material: &Material,
        day: NaiveDate,
        product: Option<MaterialId>,
    ) -> crate::shelf::Availability {
        on_day(self.held.get(&material.id).map_or(&[], Vec::as_slice), material, day, product)
    }

    /// What of a material can be used on a day: what is there, what of it is promised, and what is only expected.
    pub(crate) fn standing(
        &self,
        material: &Material,
        day: NaiveDate,
        product: Option<MaterialId>,
    ) -> Standing {
        let mut standing = Standing::default();
        for held in self.held.get(&material.id).into_iter().flatten() {
            if !held.unusable_for(day, material, product).is_empty() {
                continue;
            }
            if held.from.lot().is_some() {
                let within_reach = held.left.saturating_sub(held.out_of_reach());
                standing.there = standing.there.saturating_add(within_reach);
                standing.promised = standing.promised.saturating_add(held.promised.min(within_reach));
            } else {
                standing.expected = standing.expected.saturating_add(held.left);
            }
        }
        standing
    }

    /// Gives up promises, so that what was promised can be taken.
    pub(crate) fn release(&mut self, own: &[Allocation]) {
        for allocation in own {
            let material = self.material_of.get(&allocation.lot);
            if let Some(held) = material.and_then(|material| self.held.get_mut(material)) {
                release(held, std::slice::from_ref(allocation));
            }
        }
    }

    /// Whether some lot of a material is kept for some products only.
    fn is_restricted(&self, material: MaterialId) -> bool {
        self.held
            .get(&material)
            .is_some_and(|held| held.iter().any(|held| !held.lot.terms.restricted_to.is_empty()))
    }

    fn usable(&self, material: &Material, day: NaiveDate, product: Option<MaterialId>) -> i64 {
        self.held.get(&material.id).map_or(0, |held| {
            held.iter()
                .filter(|held| held.unusable_for(day, material, product).is_empty())
                .fold(0_i64, |sum, held| sum.saturating_add(held.free()))
        })
    }

    /// Puts something on the shelf that is not there yet.
    pub(crate) fn expect(
        &mut self,
        from: TakenFrom,
        material: &Material,
        raw: i64,
        usable_from: NaiveDate,
        expires_on: Option<NaiveDate>,
    ) {
        let number = match &from {
            TakenFrom::Lot { number, .. } | TakenFrom::Ticket { number, .. } => number.clone(),
            TakenFrom::Assumed { change } => format!("assumed {change}"),
        };
        let amount = Quantity::from_raw(raw, material.stock_dimension());
        let lot = Lot {
            // It is told apart by where it comes from; no promise ever names it.
            id: LotId::from(material.id.0),
            number,
            material: material.id,
            supplier: None,
            supplier_lot: None,
            made_by: None,
            status: LotStatus::Released,
            received_on: usable_from,
            made_on: None,
            expires_on,
            retest_on: None,
            opened_on: None,
            density: None,
            active_matter: None,
            location: None,
            received: amount,
            received_value: None,
            on_hand: amount,
            value: None,
            reserved: Quantity::from_raw(0, material.stock_dimension()),
            note: None,
            terms: domain::lots::LotTerms::default(),
        };
        let held = Held { lot: Cow::Owned(lot), from, left: raw, promised: 0, barred: None };
        let lots = self.held.entry(material.id).or_default();
        let at = lots.partition_point(|other| fefo_order(&other.lot, &held.lot, material).is_le());
        lots.insert(at, held);
    }

    /// Walks through one run.
    pub(crate) fn run(&mut self, recipes: &Recipes<'_>, run: &Run<'a>) -> RunOff {
        recipes.begin();
        self.release(run.own);
        let product = self.product_of(run.formula);
        // All that is promised is taken before anything else, so that one line does not eat what another was promised.
        let kept: Vec<(Vec<Take>, Vec<LostPromise>, i64)> =
            run.wants.iter().map(|want| self.take_promised(run, want, product)).collect();
        let mut needs = Vec::with_capacity(run.wants.len());
        for (want, (mut takes, lost_promises, open)) in run.wants.iter().zip(kept) {
            let Some(material) = self.catalogue.materials.get(want.material) else { continue };
            let mut need = cover(recipes, self, material, run.on, open, Place { product, level: 0 });
            takes.append(&mut need.takes);
            needs.push(Need {
                line: want.line,
                needed: Quantity::from_raw(want.raw, material.stock_dimension()),
                takes,
                lost_promises,
                ..need
            });
        }
        let walked = RunOff {
            run: run.who.clone(),
            formula: run.formula,
            pack: run.pack,
            on: run.on,
            shortages: self.shortages(&needs, run.on, product),
            needs,
        };
        if !walked.is_short() {
            self.expect_yield(run);
        }
        walked
    }

    /// What a formula makes.
    pub(crate) fn product_of(&self, formula: FormulaId) -> Option<MaterialId> {
        self.catalogue.formulas.get(formula).map(|formula| formula.makes)
    }

    fn shortages(&self, needs: &[Need], on: NaiveDate, product: Option<MaterialId>) -> Vec<Shortage> {
        let mut found: Vec<Shortage> = Vec::new();
        for need in needs {
            need.visit(&mut Vec::new(), &mut |need, behind| {
                if need.make_first.is_some() || !need.short_by.is_positive() {
                    return;
                }
                if let Some(known) = found.iter_mut().find(|known| known.material == need.material) {
                    known.short_by = plus(known.short_by, need.short_by);
                    return;
                }
                found.push(Shortage {
                    material: need.material,
                    short_by: need.short_by,
                    behind: behind.to_vec(),
                    might_help: self.might_help(need.material, on, product),
                });
            });
        }
        found
    }

    /// Lots that hold something which cannot be taken as things stand, but might be.
    fn might_help(&self, material: MaterialId, on: NaiveDate, product: Option<MaterialId>) -> Vec<LotOnDay> {
        let Some(material) = self.catalogue.materials.get(material) else { return Vec::new() };
        let may_be_lifted = |reason: &Unusable| {
            matches!(
                reason,
                Unusable::Quarantine
                    | Unusable::OnHold
                    | Unusable::RetestDue { .. }
                    | Unusable::TooLittleLife { .. }
            )
        };
        let mut lots = self.availability(material, on, product).lots;
        lots.retain(|lot| lot.on_hand.is_positive() && lot.because.iter().all(may_be_lifted));
        lots
    }

    fn take_promised(
        &mut self,
        run: &Run<'a>,
        want: &Want,
        product: Option<MaterialId>,
    ) -> (Vec<Take>, Vec<LostPromise>, i64) {
        let mut open = want.raw.max(0);
        let (mut takes, mut lost) = (Vec::new(), Vec::new());
        let Some(material) = self.catalogue.materials.get(want.material) else { return (takes, lost, open) };
        let Some(held) = self.held.get_mut(&want.material) else { return (takes, lost, open) };
        for own in run.own.iter().filter(|own| Some(own.line) == want.line) {
            let promised = own.quantity.raw().min(open);
            let Some(held) = held.iter_mut().find(|held| held.from.lot() == Some(own.lot)) else { continue };
            let because = held.unusable_for(run.on, material, product);
            let within_reach = held.left.saturating_sub(held.lot.terms.blocked).max(0);
            let amount = if because.is_empty() { promised.min(within_reach) } else { 0 };
            if amount > 0 {
                takes.push(held.take(amount, material));
                open -= amount;
            }
            if promised > amount {
                lost.push(LostPromise {
                    lot: own.lot,
                    number: held.lot.number.clone(),
                    quantity: Quantity::from_raw(promised - amount, material.stock_dimension()),
                    because,
                });
            }
        }
        (takes, lost, open)
    }

    fn expect_yield(&mut self, run: &Run<'a>) {
        let Some(makes) = run.makes.as_ref().filter(|makes| makes.raw > 0) else { return };
        let Some(material) = self.catalogue.materials.get(makes.material) else { return };
        let from = match &run.who {
            RunRef::Ticket { ticket, number } => {
                TakenFrom::Ticket { ticket: *ticket, number: number.clone() }
            }
            RunRef::Assumed { change } => TakenFrom::Assumed { change: *change },
            RunRef::Asked => return,
        };
        let usable_from = inspected(material, run.on);
        let expires_on = makes.shelf_life.and_then(|life| life.after(run.on));
        self.expect(from, material, makes.raw, usable_from, expires_on);
    }
}

/// The sum of two quantities of one dimension, held at the most that can be kept.
pub(crate) fn plus(a: Quantity, b: Quantity) -> Quantity {
    Quantity::from_raw(a.raw().saturating_add(b.raw()), a.dimension())
}

/// The day something that arrives or is made on a day can be used: after its inspection time.
pub(crate) fn inspected(material: &Material, arrives: NaiveDate) -> NaiveDate {
    material.inspection_time.and_then(|span| span.after(arrives)).unwrap_or(arrives)
}

/// Where in a run something is needed: for what product, and how many intermediates down.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Place {
    /// What is made with it.
    pub product: Option<MaterialId>,
    /// Intermediates between it and the run.
    pub level: usize,
}

/// Covers an amount of a material, making intermediates first where they are short.
pub(crate) fn cover(
    recipes: &Recipes<'_>,
    stock: &mut dyn Stock,
    material: &Material,
    day: NaiveDate,
    need: i64,
    place: Place,
) -> Need {
    let quantity = |raw| Quantity::from_raw(raw, material.stock_dimension());
    let stocked = material.kind.is_stocked();
    let (takes, short) =
        if stocked { stock.take(material, day, need, place.product) } else { (Vec::new(), 0) };
    let make_first = if short > 0 && place.level < NESTING_LEVELS_MAX {
        make_first(recipes, stock, material, day, short, place.level)
    } else {
        None
    };
    Need {
        material: material.id,
        line: None,
        needed: quantity(need),
        stocked,
        takes,
        lost_promises: Vec::new(),
        short_by: quantity(short),
        make_first,
    }
}

fn make_first(
    recipes: &Recipes<'_>,
    stock: &mut dyn Stock,
    material: &Material,
    day: NaiveDate,
    short: i64,
    level: usize,
) -> Option<MakeFirst> {
    if material.kind != MaterialKind::Intermediate {
        return None;
    }
    let recipe = recipes.making(material.id, day).filter(|_| recipes.spend())?;
    let charge = recipe.charge_for(&Exact::scaled(i128::from(short), Mass::PLACES))?;
    let made = material.id;
    let needs = recipe
        .wants(charge)
        .into_iter()
        .filter_map(|(id, raw)| {
            let material = recipes.catalogue().materials.get(id)?;
            let place = Place { product: Some(made), level: level + 1 };
            Some(cover(recipes, stock, material, day, raw, place))
        })
        .collect();
    Some(MakeFirst {
        formula: recipe.formula,
        version: recipe.version,
        make: Mass::from_micrograms(short),
        charge,
        needs,
    })
}

/// Whole pieces of each component that so many units take, loss included, in thousandths of a piece. A component per case is left
/// out where nobody has entered how many units a case holds.
pub(crate) fn component_wants(pack: &Pack, units: &Exact) -> Vec<Want> {
    let pieces_of = |component: &PackComponent| {
        let per_unit = component_per_unit(pack, component).ok()?.ok()?;
        let pieces = per_unit * units;
        Some(pieces.ceil().map_or(i64::MAX, |whole| raw_or_max(&Exact::whole(whole), Dimension::Count)))
    };
    let want = |component: &PackComponent| {
        pieces_of(component).map(|raw| Want { material: component.material, line: None, raw })
    };
    pack.components.iter().filter_map(want).collect()
}

/// Whether the pieces of every component can be worked out.
pub(crate) fn components_known(pack: &Pack) -> bool {
    pack.units_per_case.is_some_and(|units| units > 0)
        || pack.components.iter().all(|component| component.per == ComponentPer::Unit)
}

/// The scaled integer of an amount, rounded up to what is kept; more than can be kept counts as the most.
pub(crate) fn raw_or_max(value: &Exact, dimension: Dimension) -> i64 {
    match dimension {
        Dimension::Mass => Mass::from_exact_up(value).map_or(i64::MAX, Mass::micrograms),
        Dimension::Volume => {
            kernel::Volume::from_exact_up(value).map_or(i64::MAX, kernel::Volume::nanolitres)
        }
        Dimension::Count => Count::from_exact_up(value).map_or(i64::MAX, Count::thousandths),
    }
}

/// An open ticket as a run; an overdue one counts for today.
pub(crate) fn ticket_run<'a>(recipes: &Recipes<'_>, ticket: &'a Ticket, today: NaiveDate) -> Run<'a> {
    let catalogue = recipes.catalogue();
    let mut wants: Vec<Want> = ticket
        .lines
        .iter()
        .map(|line| Want {
            material: line.material,
            line: Some(line.id),
            raw: ticket.remaining_on(line).micrograms(),
        })
        .filter(|want| want.raw > 0)
        .collect();
    if let Some((pack, units)) = ticket.pack.and_then(|id| catalogue.packs.get(id)).zip(ticket.units) {
        wants.extend(component_wants(pack, &units.to_exact()));
    }
    let makes = catalogue.version(ticket.version).zip(catalogue.formulas.get(ticket.formula)).and_then(
        |((_, version), formula)| {
            let out = good_output(version, &ticket.batch.to_exact());
            let out = Mass::from_exact_down(&out).ok()?;
            Some(Makes { material: formula.makes, raw: out.micrograms(), shelf_life: version.shelf_life })
        },
    );
    Run {
        who: RunRef::Ticket { ticket: ticket.id, number: ticket.number.clone() },
        formula: ticket.formula,
        pack: ticket.pack,
        on: ticket.planned_for.max(today),
        wants,
        own: &ticket.allocations,
        makes,
    }
}

/// The open tickets as runs, in the order they are walked through.
pub(crate) fn open_runs<'a>(recipes: &Recipes<'_>, shelf: &'a Shelf, today: NaiveDate) -> Vec<Run<'a>> {
    let mut open: Vec<&Ticket> = shelf.tickets.iter().filter(|ticket| ticket.status.is_open()).collect();
    open.sort_by(|a, b| (a.planned_for, &a.number).cmp(&(b.planned_for, &b.number)));
    open.into_iter().map(|ticket| ticket_run(recipes, ticket, today)).collect()
}
