//! The end of a ticket: what came out, what was filled, the lots they became, and what those cost.
//!
//! The made lot takes the value of everything weighed into it, what its utilities cost, and the batch's own costs of making. Filled
//! units take their share of that, the components used up, and the cost of the filling run. A figure nobody entered leaves the value unknown, never nought.

use chrono::NaiveDate;
use domain::{
    Catalogue, Refusal,
    formulas::{Formula, FormulaVersion},
    lots::{Lot, LotStatus},
    packs::Pack,
    people::Capability,
    stock::{Movement, MovementKind},
    tickets::{Completion, Filling, Ticket, TicketStatus},
};
use engine::{
    View,
    batch_costs::{filling_cost_of_run, making_cost_of_batch},
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

        let charged = charged(&ticket)?;
        if input.yield_mass > charged && note.is_none() {
            return Err(Refusal::MoreThanThereIs {
                what: "the yield, without a note that explains it".to_owned(),
                claimed: Quantity::Mass(input.yield_mass),
                limit: Quantity::Mass(charged),
            }
            .into());
        }

        // Whatever was promised and not needed is free again, before components are looked for.
        store::tickets::allocations_replace(&work.tx, ticket.id, &[]).await?;
        let value = self.cost_of_making(&work, &catalogue, &ticket, version, input.yield_mass, on).await?;
        let number = self.lot_number_settle(&work.tx, lot_number, "B").await?;
        let made = Lot {
            id: LotId::new(),
            number,
            material: formula.makes,
            supplier: None,
            supplier_lot: None,
            made_by: Some(ticket.id),
            status: LotStatus::Quarantine,
            received_on: on,
            made_on: Some(on),
            expires_on: version.shelf_life.and_then(|life| life.after(on)),
            retest_on: None,
            opened_on: None,
            density: input.density,
            active_matter: None,
            location: None,
            received: Quantity::Mass(input.yield_mass),
            received_value: value,
            on_hand: Quantity::Mass(Mass::ZERO),
            value: value.map(|v| Money::zero(v.currency())),
            reserved: Quantity::Mass(Mass::ZERO),
            note: None,
            terms: domain::lots::LotTerms::default(),
        };
        let made = lot_enter(&mut work, made, MovementKind::Made, on, None).await?;

        let mut fillings = Vec::with_capacity(input.fillings.len());
        let density = input.density.or(version.density.as_ref().map(|d| d.density));
        for filling in &input.fillings {
            let pack =
                catalogue.packs.get(filling.pack).ok_or_else(|| Error::not_found("pack", filling.pack))?;
            let lot = self.fill(&mut work, &catalogue, &made, version, pack, filling, density, on).await?;
            fillings.push(Filling { pack: pack.id, filled: filling.filled, lot });
        }

        let completion = Completion {
            yield_mass: input.yield_mass,
            lot: made.id,
            density: input.density,
            fillings,
            by: work.by.clone(),
            at: work.at,
            on,
            note,
        };
        store::tickets::completion_insert(&work.tx, ticket.id, &completion).await?;
        steps_take(&work, &ticket, steps, None).await?;
        let after = ticket_reload(&work.tx, ticket.id).await?;
        work.note(
            "ticket",
            ticket.id,
            Some(&serde_json::json!({ "status": ticket.status })),
            &serde_json::json!({ "status": after.status, "completion": completion }),
            completion.note.as_deref(),
        )?;
        work.finish(after).await
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
        let charged = charged(ticket)?.to_exact();
        let waste = waste_of(version, &charged, yielded);
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

    /// Fills one pack from the made lot, uses up its components first expired, first out, and makes the lot of finished product.
    #[expect(
        clippy::too_many_arguments,
        reason = "the parts of one filling; a struct would only rename them"
    )]
    async fn fill(
        &self,
        work: &mut Work<'_>,
        catalogue: &Catalogue,
        made: &Lot,
        version: &FormulaVersion,
        pack: &Pack,
        filling: &FillingWrite,
        density: Option<Density>,
        on: NaiveDate,
    ) -> Result<LotId, Error> {
        let units = filling.filled.to_exact();
        let each = pack.fill.mass_kg(density).ok_or_else(|| {
            Error::invalid(
                "density",
                format!("{} is filled by volume; its liquid has no measured density", pack.code),
            )
        })?;
        let drawn = each * (Exact::ONE + pack.overfill.fraction()) * &units;
        let drawn = Quantity::Mass(Mass::from_exact_half_even(&drawn)?);
        let bulk = lot_lock(&work.tx, made.id).await?;
        if drawn.raw() > bulk.on_hand.raw() {
            return Err(Refusal::MoreThanThereIs {
                what: format!("what {} units of {} hold", filling.filled.pieces(), pack.code),
                claimed: drawn,
                limit: bulk.on_hand,
            }
            .into());
        }
        let mut movements = vec![outgoing(work, &bulk, drawn, made, on)];

        for (lot, quantity) in
            self.components_for(work, catalogue, pack, &units, &filling.spoiled, on).await?
        {
            movements.push(outgoing(work, &lot, quantity, made, on));
        }
        let posted = store::stock::post(&work.tx, &movements).await?;
        let mut value = value_gone(posted.iter(), Money::zero(self.settings().currency))?;

        let filling_cost = filling_cost_of_run(&View::plain(catalogue), version, pack, &units, on)?;
        value = match (value, filling_cost) {
            (Some(so_far), Ok(cost)) => {
                let cost = Money::from_exact_half_even(&cost, self.settings().currency)?;
                Some(so_far.checked_add(cost)?)
            }
            _ => None,
        };
        let wished = filling.lot_number.clone().unwrap_or_else(|| format!("{}/{}", made.number, pack.code));
        let number = self.lot_number_settle(&work.tx, Some(wished), "P").await?;
        let received = Quantity::Count(filling.filled);
        let finished = Lot {
            id: LotId::new(),
            number,
            material: pack.product,
            density: None,
            received,
            received_value: value,
            on_hand: Quantity::Count(Count::ZERO),
            value: value.map(|v| Money::zero(v.currency())),
            reserved: Quantity::Count(Count::ZERO),
            ..made.clone()
        };
        Ok(lot_enter(work, finished, MovementKind::Made, on, None).await?.id)
    }

    /// The lots of components that so many units use up: whole pieces, first expired, first out.
    async fn components_for(
        &self,
        work: &Work<'_>,
        catalogue: &Catalogue,
        pack: &Pack,
        units: &Exact,
        spoiled: &[SpoiledComponent],
        on: NaiveDate,
    ) -> Result<Vec<(Lot, Quantity)>, Error> {
        let mut needs: Vec<(MaterialId, Exact)> = Vec::new();
        let mut need = |material: MaterialId, pieces: Exact| match needs
            .iter_mut()
            .find(|(known, _)| *known == material)
        {
            Some((_, sum)) => *sum += pieces,
            None => needs.push((material, pieces)),
        };
        for component in &pack.components {
            let pieces = match component_in_unit(pack, component)? {
                Ok(pieces) => pieces * units,
                Err(gap) => return Err(Error::invalid("pack", gap)),
            };
            need(component.material, pieces);
        }
        for spoiled in spoiled {
            need(spoiled.material, spoiled.pieces.to_exact());
        }
        let materials: Vec<MaterialId> = needs.iter().map(|(material, _)| *material).collect();
        let lots = lots_lock_of_materials(&work.tx, &materials).await?;
        let mut used = Vec::new();
        let mut refusals = Vec::new();
        for (id, need) in needs {
            let material = catalogue.materials.get(id).ok_or_else(|| Error::not_found("material", id))?;
            let pieces = i64::try_from(need.ceil()?).map_err(|_| Error::internal("a component count"))?;
            let need = Quantity::from_raw(pieces.saturating_mul(1_000), Dimension::Count);
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

fn check_filling(
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
    if !filling.filled.is_positive() || filling.filled.thousandths() % 1_000 != 0 {
        problems.push(format!("{place}.filled"), "filled units are a whole number above nought");
    }
    problems.code(&format!("{place}.lotNumber"), "a lot number", filling.lot_number.as_deref());
}

/// What has to be disposed of after a batch that yielded so much, kg: what is missing, less vapour and retains.
fn waste_of(version: &FormulaVersion, charged: &Exact, yielded: Mass) -> Exact {
    let gone = charged * &version.making.evaporation.fraction();
    let gone = &(&gone + &version.making.retains.to_exact()) + &yielded.to_exact();
    (charged - &gone).max(Exact::ZERO)
}

/// What went into the batch in all.
fn charged(ticket: &Ticket) -> Result<Mass, Error> {
    let mut sum = Mass::ZERO;
    for weighing in ticket.weighings.iter().filter(|w| w.reversed.is_none()) {
        sum = sum.checked_add(weighing.amount)?;
    }
    Ok(sum)
}
