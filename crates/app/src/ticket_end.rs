//! The end of a ticket: what came out, what was filled, the lots they became, and what those cost.
//!
//! The made lot takes the value of everything weighed into it, what its utilities cost, and the batch's own costs of making. Filled
//! units take their share of that, the components used up, and the cost of the filling run. A figure nobody entered leaves the value unknown, never nought.

use chrono::NaiveDate;
use domain::{
    Catalogue, Refusal,
    finishing::{ComponentUse, FillingRecord, checks_open, limits_of},
    formulas::{Formula, FormulaVersion},
    lots::{Lot, LotStatus},
    packs::Pack,
    people::Capability,
    stock::{Movement, MovementKind},
    tickets::{Completion, Filling, Ticket, TicketStatus},
};
use engine::{
    View,
    batch_costs::{filling_cost_of_run, making_cost_of_batch, waste_of_batch},
    output::component_in_unit,
    shelf::{TakenFrom, allocate_fefo},
};
use kernel::{
    Count, Density, Dimension, Exact, Mass, Money, Quantity,
    ids::{LotId, MaterialId, MovementId, PackId, TicketId},
};
use serde::{Deserialize, Serialize};
use std::collections::HashSet;
use store::stock::NewMovement;

use crate::{
    App, Change, Error,
    change::{Begun, Work},
    fresh::Problems,
    lots::{lot_enter, lot_lock, lots_lock_of_materials},
    made_expiry::expiry_of,
    ticket_life::{awake, ready_to_make, steps_take},
    tickets::{not_ready, ticket_lock, ticket_reload},
};

/// How a ticket ended, as it is entered.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct TicketComplete {
    /// The ticket.
    pub ticket: TicketId,
    /// What came out, before filling.
    pub yield_mass: Mass,
    /// The number of the lot it becomes; made when empty.
    pub lot_number: Option<String>,
    /// Measured on this batch.
    pub density: Option<Density>,
    /// What was filled.
    pub fillings: Vec<FillingWrite>,
    /// In-process checks and remarks; needed when more came out than went in.
    pub note: Option<String>,
    /// The business day; today when empty.
    pub on: Option<NaiveDate>,
}

/// Units filled of one pack, as entered.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct FillingWrite {
    /// The pack.
    pub pack: PackId,
    /// Good units.
    pub filled: Count,
    /// Components spoiled on the line, on top of those the good units took.
    pub spoiled: Vec<SpoiledComponent>,
    /// The number of the lot they become; made when empty.
    pub lot_number: Option<String>,
    /// What else was weighed and counted.
    #[serde(default)]
    pub counts: FillingCounts,
}

/// What is weighed and counted on the line, where somebody does.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct FillingCounts {
    /// What left the bulk for the units; worked out from fill and overfill when empty.
    pub drawn: Option<Mass>,
    /// Units filled and not good.
    pub rejected: Count,
    /// Components counted to the line and back.
    pub components: Vec<CountedComponent>,
}

/// Pieces of a component counted to the line and back.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct CountedComponent {
    /// The component.
    pub material: MaterialId,
    /// Brought to the line.
    pub issued: Count,
    /// Taken back to its lot.
    pub returned: Count,
}

/// Pieces of a component spoiled on the line.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct SpoiledComponent {
    /// The component.
    pub material: MaterialId,
    /// Pieces.
    pub pieces: Count,
}

impl App {
    /// Completes a ticket: makes its lot, fills packs from it, uses up components, lets go of promises that were not needed.
    ///
    /// # Errors
    /// [`Refusal::TicketNotReady`], [`Refusal::LinesNotWeighed`], [`Refusal::MoreThanThereIs`], [`Refusal::ShelfShort`] for
    /// components, [`Refusal::Taken`], [`Error::Invalid`].
    pub async fn ticket_complete(&self, change: &Change<'_>, input: TicketComplete) -> Result<Ticket, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "ticket-complete", &input).await? {
            Begun::Repeat(ticket) => return Ok(ticket),
            Begun::Fresh(work) => work,
        };
        let catalogue = self.snapshot();
        let ticket = ticket_lock(&work.tx, input.ticket).await?;
        awake(&ticket)?;
        let steps: &[TicketStatus] = match ticket.status {
            TicketStatus::Weighing => {
                ready_to_make(&catalogue, &ticket)?;
                &[TicketStatus::Making, TicketStatus::Filling, TicketStatus::Reconciled]
            }
            TicketStatus::Making | TicketStatus::OnTest => &[TicketStatus::Filling, TicketStatus::Reconciled],
            _ => return Err(not_ready(&ticket, "being weighed or made, or on test")),
        };
        let (formula, version) = catalogue
            .version(ticket.version)
            .ok_or_else(|| Error::not_found("formula version", ticket.version))?;
        if version.lines.iter().any(|line| line.trim.is_some()) {
            // What it took goes into the averages, which are taken in with the catalogue.
            work.changes_catalogue();
        }

        let mut problems = Problems::default();
        let on = self.day_settle(&mut problems, "on", input.on);
        let note = problems.note("note", input.note.as_deref());
        let lot_number = problems.code("lotNumber", "a lot number", input.lot_number.as_deref());
        problems.take("yieldMass", input.yield_mass.require_positive());
        if let Some(density) = input.density {
            problems.take("density", density.require_plausible());
        }
        for (at, filling) in input.fillings.iter().enumerate() {
            check_filling(&catalogue, formula, filling, &format!("fillings[{at}]"), &mut problems);
        }
        problems.none()?;
        let on = on.ok_or_else(|| Error::internal("a completion without problems lacks its day"))?;

        let bulk = BulkWrite { yield_mass: input.yield_mass, lot_number, density: input.density, note, on };
        let made = self.bulk_make(&mut work, &catalogue, &ticket, &bulk).await?;

        for (filling, position) in input.fillings.iter().zip(1_u32..) {
            let place = FillingPlace { ticket: &ticket, position, density: input.density, on };
            self.fill(&mut work, &catalogue, &made, version, filling, &place).await?;
        }
        steps_take(&work, &ticket, steps, None).await?;
        let after = ticket_reload(&work.tx, ticket.id).await?;
        work.note(
            "ticket",
            ticket.id,
            Some(&serde_json::json!({ "status": ticket.status })),
            &serde_json::json!({ "status": after.status, "completion": after.completion }),
            bulk.note.as_deref(),
        )?;
        work.finish(after).await
    }

    /// Makes the bulk of a ticket: its lot, with its value and its expiry, and how the ticket ended. Promises that were not needed are
    /// let go of.
    ///
    /// The lot expires with the formula's shelf life, and no later than any rework in it.
    pub(crate) async fn bulk_make(
        &self,
        work: &mut Work<'_>,
        catalogue: &Catalogue,
        ticket: &Ticket,
        bulk: &BulkWrite,
    ) -> Result<Lot, Error> {
        let (formula, version) = catalogue
            .version(ticket.version)
            .ok_or_else(|| Error::not_found("formula version", ticket.version))?;
        let checks = store::finishing::batch_checks_of(&work.tx, ticket.id).await?;
        let limits = store::finishing::check_limits_of(&work.tx, ticket.formula).await?;
        let open = checks_open(&limits_of(&limits, ticket), &checks);
        if !open.is_empty() {
            return Err(Refusal::ChecksNotMet { number: ticket.number.clone(), checks: open }.into());
        }
        let charged = ticket.charged();
        if bulk.yield_mass > charged && bulk.note.is_none() {
            return Err(Refusal::MoreThanThereIs {
                what: "the yield, without a note that explains it".to_owned(),
                claimed: Quantity::Mass(bulk.yield_mass),
                limit: Quantity::Mass(charged),
            }
            .into());
        }
        // Whatever was promised and not needed is free again, before components are looked for.
        store::tickets::allocations_replace(&work.tx, ticket.id, &[]).await?;
        let value = self.cost_of_making(work, catalogue, ticket, version, bulk.yield_mass, bulk.on).await?;
        let number = self.lot_number_settle(&work.tx, bulk.lot_number.clone(), "B").await?;
        let reworked: Vec<LotId> = ticket.lines.iter().filter_map(|line| line.asks.rework_of).collect();
        let reworked = store::lots::lots_get(&work.tx, &reworked).await?;
        let shelf_life = version.shelf_life.and_then(|life| life.after(bulk.on));
        let made = Lot {
            id: LotId::new(),
            number,
            material: formula.makes,
            supplier: None,
            supplier_lot: None,
            made_by: Some(ticket.id),
            status: LotStatus::Quarantine,
            received_on: bulk.on,
            made_on: Some(bulk.on),
            expires_on: reworked
                .iter()
                .filter_map(|lot| lot.expires_on)
                .chain(expiry_of(&work.tx, ticket, None, bulk.on).await?)
                .chain(shelf_life)
                .min(),
            retest_on: None,
            opened_on: None,
            density: bulk.density,
            active_matter: None,
            location: None,
            received: Quantity::Mass(bulk.yield_mass),
            received_value: value,
            on_hand: Quantity::Mass(Mass::ZERO),
            value: value.map(|v| Money::zero(v.currency())),
            reserved: Quantity::Mass(Mass::ZERO),
            note: None,
            terms: domain::lots::LotTerms::default(),
        };
        let made = lot_enter(work, made, MovementKind::Made, bulk.on, None).await?;
        let completion = Completion {
            yield_mass: bulk.yield_mass,
            lot: made.id,
            density: bulk.density,
            fillings: Vec::new(),
            by: work.by.clone(),
            at: work.at,
            on: bulk.on,
            note: bulk.note.clone(),
        };
        store::tickets::completion_insert(&work.tx, ticket.id, &completion).await?;
        Ok(made)
    }

    /// What the batch cost to make: the value that left the lots weighed into it, its utilities at the price of the day, and the
    /// version's own costs of making, overheads of the house among them. `None` when a part of it is not known.
    async fn cost_of_making(
        &self,
        work: &Work<'_>,
        catalogue: &Catalogue,
        ticket: &Ticket,
        version: &FormulaVersion,
        yielded: Mass,
        on: NaiveDate,
    ) -> Result<Option<Money>, Error> {
        let house = self.settings().currency;
        let view = View::plain(catalogue);
        let charged = ticket.charged().to_exact();
        let waste = waste_of_batch(version, &charged, yielded);
        let mut total = match making_cost_of_batch(&view, version, &charged, &waste, on)? {
            Ok(making) => Money::from_exact_half_even(&making, house)?,
            Err(_gap) => return Ok(None),
        };
        let moved = store::stock::movements_of_ticket(&work.tx, ticket.id).await?;
        // What was taken back went into nothing, so not even a value nobody knows of it matters.
        let taken_back: HashSet<MovementId> = moved.iter().filter_map(|m| m.reverses).collect();
        let stayed = moved.iter().filter(|m| m.reverses.is_none() && !taken_back.contains(&m.id));
        let Some(gone) = value_gone(stayed, total)? else { return Ok(None) };
        total = gone;
        // What became known of its lots since they were weighed.
        for corrected in store::corrections::corrections_of_ticket(&work.tx, ticket.id).await?.values() {
            total = total.checked_sub(*corrected)?;
        }
        for weighing in ticket.weighings.iter().filter(|w| w.lot.is_none() && w.reversed.is_none()) {
            let Some(line) = ticket.lines.iter().find(|line| line.id == weighing.line) else { continue };
            let Some(material) = catalogue.materials.get(line.material) else { return Ok(None) };
            let amount = weighing.amount.to_exact();
            match engine::price::landed_price(&view, material, &amount, on)? {
                Ok(price) => {
                    let cost = Money::from_exact_half_even(&(price.per_unit * amount), house)?;
                    total = total.checked_add(cost)?;
                }
                Err(_gap) => return Ok(None),
            }
        }
        Ok(Some(total))
    }

    /// Fills one pack from the made lot, uses up its components first expired, first out, makes the lot of finished product, and keeps
    /// what was counted.
    pub(crate) async fn fill(
        &self,
        work: &mut Work<'_>,
        catalogue: &Catalogue,
        made: &Lot,
        version: &FormulaVersion,
        filling: &FillingWrite,
        place: &FillingPlace<'_>,
    ) -> Result<(), Error> {
        let pack = catalogue.packs.get(filling.pack).ok_or_else(|| Error::not_found("pack", filling.pack))?;
        let on = place.on;
        let units = filling.filled.to_exact() + filling.counts.rejected.to_exact();
        let drawn = match filling.counts.drawn {
            Some(drawn) => drawn,
            None => {
                let density = place.density.or(version.density.as_ref().map(|d| d.density));
                let each = pack.fill.mass_kg(density).ok_or_else(|| {
                    Error::invalid(
                        "density",
                        format!("{} is filled by volume; its liquid has no measured density", pack.code),
                    )
                })?;
                Mass::from_exact_half_even(&(each * (Exact::ONE + pack.overfill.fraction()) * &units))?
            }
        };
        let bulk = lot_lock(&work.tx, made.id).await?;
        if drawn.micrograms() > bulk.on_hand.raw() {
            return Err(Refusal::MoreThanThereIs {
                what: format!("what {} units of {} hold", filling.filled.pieces(), pack.code),
                claimed: Quantity::Mass(drawn),
                limit: bulk.on_hand,
            }
            .into());
        }
        let mut movements = vec![outgoing(work, &bulk, Quantity::Mass(drawn), made, on)];
        let components = component_uses(pack, &units, filling)?;
        for (lot, quantity) in self.components_for(work, catalogue, &components, on).await? {
            movements.push(outgoing(work, &lot, quantity, made, on));
        }
        let posted = store::stock::post(&work.tx, &movements).await?;
        let mut value = value_gone(posted.iter(), Money::zero(self.settings().currency))?;

        let filled = filling.filled.to_exact();
        let filling_cost = filling_cost_of_run(&View::plain(catalogue), version, pack, &filled, on)?;
        value = match (value, filling_cost) {
            (Some(so_far), Ok(cost)) => {
                let cost = Money::from_exact_half_even(&cost, self.settings().currency)?;
                Some(so_far.checked_add(cost)?)
            }
            _ => None,
        };
        let wished = filling.lot_number.clone().unwrap_or_else(|| {
            let before = place.ticket.completion.iter().flat_map(|c| &c.fillings);
            match before.filter(|other| other.pack == pack.id).count() {
                0 => format!("{}/{}", made.number, pack.code),
                earlier => format!("{}/{}-{}", made.number, pack.code, earlier.saturating_add(1)),
            }
        });
        let number = self.lot_number_settle(&work.tx, Some(wished), "P").await?;
        let received = Quantity::Count(filling.filled);
        let finished = Lot {
            id: LotId::new(),
            number,
            material: pack.product,
            status: LotStatus::Quarantine,
            received_on: on,
            made_on: Some(on),
            density: None,
            received,
            received_value: value,
            on_hand: Quantity::Count(Count::ZERO),
            value: value.map(|v| Money::zero(v.currency())),
            reserved: Quantity::Count(Count::ZERO),
            ..made.clone()
        };
        let lot = lot_enter(work, finished, MovementKind::Made, on, None).await?.id;
        let kept = Filling { pack: pack.id, filled: filling.filled, lot };
        store::finishing::filling_insert(&work.tx, place.ticket.id, place.position, &kept).await?;
        let record = FillingRecord {
            position: place.position,
            drawn,
            rejected: filling.counts.rejected,
            on,
            by: work.by.clone(),
            at: work.at,
            components,
        };
        store::finishing::filling_record_insert(&work.tx, place.ticket.id, &record).await?;
        Ok(())
    }

    /// The lots the components of a filling come from: whole pieces, first expired, first out.
    async fn components_for(
        &self,
        work: &Work<'_>,
        catalogue: &Catalogue,
        components: &[ComponentUse],
        on: NaiveDate,
    ) -> Result<Vec<(Lot, Quantity)>, Error> {
        let materials: Vec<MaterialId> = components.iter().map(|used| used.material).collect();
        let lots = lots_lock_of_materials(&work.tx, &materials).await?;
        let mut used = Vec::new();
        let mut refusals = Vec::new();
        for component in components {
            let id = component.material;
            let material = catalogue.materials.get(id).ok_or_else(|| Error::not_found("material", id))?;
            let gone = match component.issued {
                Some(issued) => issued.checked_sub(component.returned)?,
                None => component.used.checked_add(component.spoiled)?,
            };
            if !gone.is_positive() {
                continue;
            }
            let need = Quantity::Count(gone);
            let plan = allocate_fefo(material, &lots, on, need, &[], None);
            if plan.short_by.is_positive() {
                let available = need.raw().saturating_sub(plan.short_by.raw());
                refusals.push(Refusal::ShelfShort {
                    material: material.code.clone(),
                    needed: need,
                    available: Quantity::from_raw(available, Dimension::Count),
                    on,
                });
            }
            for take in plan.takes {
                let TakenFrom::Lot { lot: id, .. } = take.from else { continue };
                if let Some(lot) = lots.iter().find(|lot| lot.id == id) {
                    used.push((lot.clone(), take.quantity));
                }
            }
        }
        if refusals.is_empty() { Ok(used) } else { Err(Error::Refused(refusals)) }
    }
}

/// The bulk of a ticket, as it is entered.
pub(crate) struct BulkWrite {
    pub yield_mass: Mass,
    pub lot_number: Option<String>,
    pub density: Option<Density>,
    pub note: Option<String>,
    pub on: NaiveDate,
}

/// Where a filling stands: on which ticket, the how-manieth, and what is known for it.
pub(crate) struct FillingPlace<'a> {
    pub ticket: &'a Ticket,
    pub position: u32,
    /// Measured on this batch.
    pub density: Option<Density>,
    pub on: NaiveDate,
}

/// What became of each component of a pack on one filling: used by so many units, good or not, in whole pieces, and what was spoiled and
/// counted.
fn component_uses(pack: &Pack, units: &Exact, filling: &FillingWrite) -> Result<Vec<ComponentUse>, Error> {
    let mut needs: Vec<(MaterialId, Exact)> = Vec::new();
    for component in &pack.components {
        let pieces = match component_in_unit(pack, component)? {
            Ok(pieces) => pieces * units,
            Err(gap) => return Err(Error::invalid("pack", gap)),
        };
        match needs.iter_mut().find(|(known, _)| *known == component.material) {
            Some((_, sum)) => *sum += pieces,
            None => needs.push((component.material, pieces)),
        }
    }
    let whole = |pieces: &Exact| -> Result<Count, Error> {
        let pieces = i64::try_from(pieces.ceil()?).map_err(|_| Error::internal("a component count"))?;
        Ok(Count::from_thousandths(pieces.saturating_mul(1_000)))
    };
    needs
        .into_iter()
        .map(|(material, pieces)| {
            let spoiled = filling.spoiled.iter().filter(|spoiled| spoiled.material == material);
            let spoiled: Exact = spoiled.map(|spoiled| spoiled.pieces.to_exact()).sum();
            let (used, both) = (whole(&pieces)?, whole(&(&pieces + &spoiled))?);
            let counted = filling.counts.components.iter().find(|counted| counted.material == material);
            Ok(ComponentUse {
                material,
                issued: counted.map(|counted| counted.issued),
                used,
                spoiled: both.checked_sub(used)?,
                returned: counted.map(|counted| counted.returned).unwrap_or_default(),
            })
        })
        .collect()
}

/// So much and what left with some movements; `None` when the value of one of them is not known.
fn value_gone<'m>(
    movements: impl Iterator<Item = &'m Movement>,
    so_far: Money,
) -> Result<Option<Money>, Error> {
    let mut sum = so_far;
    for movement in movements {
        match movement.value {
            Some(value) => sum = sum.checked_sub(value)?,
            None => return Ok(None),
        }
    }
    Ok(Some(sum))
}

fn outgoing(work: &Work<'_>, lot: &Lot, quantity: Quantity, made: &Lot, on: NaiveDate) -> NewMovement {
    let quantity = Quantity::from_raw(-quantity.raw(), quantity.dimension());
    NewMovement { ticket: made.made_by, ..work.movement(lot.id, MovementKind::Filling, quantity, on) }
}

pub(crate) fn check_filling(
    catalogue: &Catalogue,
    formula: &Formula,
    filling: &FillingWrite,
    place: &str,
    problems: &mut Problems,
) {
    match catalogue.packs.get(filling.pack) {
        None => problems.push(format!("{place}.pack"), "there is no such pack"),
        Some(pack) if pack.formula != formula.id => {
            problems
                .push(format!("{place}.pack"), format!("{} is not filled with {}", pack.code, formula.code));
        }
        Some(pack) => {
            for (at, spoiled) in filling.spoiled.iter().enumerate() {
                if !pack.components.iter().any(|c| c.material == spoiled.material) {
                    problems.push(
                        format!("{place}.spoiled[{at}].material"),
                        format!("{} has no such component", pack.code),
                    );
                }
                problems.take(&format!("{place}.spoiled[{at}].pieces"), spoiled.pieces.require_positive());
            }
        }
    }
    for (at, counted) in filling.counts.components.iter().enumerate() {
        let known = catalogue.packs.get(filling.pack);
        if known.is_some_and(|pack| !pack.components.iter().any(|c| c.material == counted.material)) {
            problems.push(format!("{place}.components[{at}].material"), "the pack has no such component");
        }
        if counted.returned.is_negative() || counted.returned > counted.issued {
            problems.push(
                format!("{place}.components[{at}].returned"),
                "what is returned lies between nought and what was brought",
            );
        }
    }
    if filling.counts.rejected.is_negative() || filling.counts.rejected.thousandths() % 1_000 != 0 {
        problems.push(format!("{place}.rejected"), "rejected units are a whole number");
    }
    if filling.counts.drawn.is_some_and(|drawn| !drawn.is_positive()) {
        problems.push(format!("{place}.drawn"), "what was drawn is above nought");
    }
    if !filling.filled.is_positive() || filling.filled.thousandths() % 1_000 != 0 {
        problems.push(format!("{place}.filled"), "filled units are a whole number above nought");
    }
    problems.code(&format!("{place}.lotNumber"), "a lot number", filling.lot_number.as_deref());
}
