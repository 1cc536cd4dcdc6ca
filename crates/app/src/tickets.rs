//! Batch tickets before anything is weighed: writing, allocating, cancelling.

use chrono::NaiveDate;
use domain::{
    Catalogue, Refusal,
    formulas::{Formula, FormulaVersion, VersionStatus},
    lots::Lot,
    people::{Actor, Capability},
    text,
    tickets::{Allocation, Ticket, TicketStatus},
};
use engine::{
    View,
    output::charge_for_units,
    shelf::{TakenFrom, allocate_fefo},
};
use kernel::{
    Count, Mass, Quantity,
    ids::{FormulaId, FormulaVersionId, LotId, MaterialId, PackId, TicketId},
    limits::REWORK_SHARE_USUAL,
};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use store::WriteTx;

use crate::{
    App, Change, Error,
    change::Begun,
    fresh::Problems,
    lots::{lot_short, lots_lock_of_materials},
    ticket_life::steps_take,
    ticket_lines::{LinePlan, lines_for},
};

/// What a ticket is written from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TicketSubject {
    /// The approved version of a formula on the day.
    Formula(FormulaId),
    /// This version.
    Version(FormulaVersionId),
    /// The approved version of what is filled into a pack.
    Pack(PackId),
}

/// How much is to be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TicketSize {
    /// What is charged in all.
    Batch(Mass),
    /// Good units of the pack; the charge follows from fill, overfill and losses.
    Units(Count),
}

/// A ticket to be written.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct TicketWrite {
    /// From what.
    pub subject: TicketSubject,
    /// How much.
    pub size: TicketSize,
    /// For which day.
    pub planned_for: NaiveDate,
    /// The ticket's number; made when empty.
    pub number: Option<String>,
    /// Remarks.
    pub note: Option<String>,
    /// What else is asked of it.
    #[serde(default)]
    pub asks: TicketAsks,
}

/// What is asked of a ticket besides its lines.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct TicketAsks {
    /// Every weighing is looked at by a second person.
    pub second_check_everywhere: bool,
    /// Or those of these lines.
    pub second_check_lines: Vec<u32>,
    /// An earlier lot that is worked into the batch.
    pub rework: Option<ReworkWrite>,
}

/// An earlier lot that is worked into a batch.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct ReworkWrite {
    /// The lot: of what the formula makes.
    pub lot: LotId,
    /// How much of it; everything else makes up the rest of the batch.
    pub amount: Mass,
}

/// Lots to be promised to a ticket.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct TicketAllocate {
    /// The ticket.
    pub ticket: TicketId,
    /// Lots chosen by hand; lines without a choice are filled by first expired, first out.
    pub choices: Vec<AllocationChoice>,
}

/// One lot chosen for one line.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct AllocationChoice {
    /// The line's position.
    pub line: u32,
    /// The lot.
    pub lot: LotId,
    /// How much of it.
    pub quantity: Mass,
}

/// A ticket to be given up.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct TicketCancel {
    /// The ticket.
    pub ticket: TicketId,
    /// Why.
    pub reason: String,
}

impl App {
    /// Writes a ticket: a frozen copy of an approved version, its targets adding up to the batch to the microgram.
    ///
    /// # Errors
    /// [`Refusal::VersionNotApproved`], [`Error::Invalid`] where the formula lacks a figure the targets need, [`Refusal::Taken`].
    pub async fn ticket_write(&self, change: &Change<'_>, input: TicketWrite) -> Result<Ticket, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "ticket-write", &input).await? {
            Begun::Repeat(ticket) => return Ok(ticket),
            Begun::Fresh(work) => work,
        };
        let catalogue = self.snapshot();
        let (formula, version, pack) = subject(&catalogue, &input)?;
        if version.status != VersionStatus::Approved {
            return Err(not_approved(formula, version).into());
        }
        let mut problems = Problems::default();
        let number = problems.code("number", "a ticket number", input.number.as_deref());
        let note = problems.note("note", input.note.as_deref());
        let view = View::plain(&catalogue);
        let batch = match input.size {
            TicketSize::Batch(batch) => Some(batch),
            TicketSize::Units(units) => match pack {
                Some(pack) => match charge_for_units(&view, pack, version, &units.to_exact())? {
                    Ok(charge) => problems.take("units", Mass::from_exact_up(&charge)),
                    Err(gap) => {
                        problems.push("units", gap);
                        None
                    }
                },
                None => {
                    problems.push("units", "units are counted of a pack; name the pack");
                    None
                }
            },
        };
        let batch = batch.and_then(|batch| problems.take("batch", batch.require_positive()));
        if let Some(batch) = batch {
            if version.largest_batch.is_some_and(|most| batch > most) {
                problems.push("batch", format!("{batch} is more than the largest batch of {}", formula.code));
            }
            if version.smallest_batch.is_some_and(|least| batch < least) {
                problems
                    .push("batch", format!("{batch} is less than the smallest batch of {}", formula.code));
            }
        }
        problems.none()?;
        let batch = batch.ok_or_else(|| Error::internal("a ticket without problems lacks its batch"))?;
        let balances = store::balances::balances_all(&work.tx).await?;
        let rework = match input.asks.rework {
            None => None,
            Some(rework) => Some(self.rework_settle(&work.tx, change.actor, formula, batch, rework).await?),
        };
        let plan = LinePlan {
            formula,
            version,
            batch,
            rework,
            balances: &balances,
            asks: &input.asks,
            day: input.planned_for,
        };
        let lines = lines_for(&view, &plan)?;
        let number = ticket_number_settle(&work.tx, number).await?;
        let ticket = Ticket {
            id: TicketId::new(),
            number,
            formula: formula.id,
            version: version.id,
            pack: pack.map(|p| p.id),
            units: match input.size {
                TicketSize::Units(units) => Some(units),
                TicketSize::Batch(_) => None,
            },
            batch,
            planned_for: input.planned_for,
            status: TicketStatus::Planned,
            lines,
            allocations: Vec::new(),
            weighings: Vec::new(),
            completion: None,
            written_by: work.by.clone(),
            written_at: work.at,
            note,
            paused: None,
            planned_batch: None,
            steps: Vec::new(),
        };
        store::tickets::ticket_insert(&work.tx, &ticket).await?;
        work.note("ticket", ticket.id, None::<&()>, &ticket, None)?;
        work.finish(ticket).await
    }

    /// Promises lots to a ticket: those chosen by hand, and for the rest first expired, first out. All lines or none. Allocating
    /// again lets go of the earlier promises first.
    ///
    /// # Errors
    /// [`Refusal::TicketNotReady`], [`Refusal::ShelfShort`] for each material that is short, [`Refusal::LotShort`],
    /// [`Refusal::LotNotUsable`], [`Refusal::LotOfOtherMaterial`].
    pub async fn ticket_allocate(&self, change: &Change<'_>, input: TicketAllocate) -> Result<Ticket, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "ticket-allocate", &input).await? {
            Begun::Repeat(ticket) => return Ok(ticket),
            Begun::Fresh(work) => work,
        };
        let catalogue = self.snapshot();
        let ticket = ticket_lock(&work.tx, input.ticket).await?;
        if !ticket.status.is_open() {
            return Err(not_ready(&ticket, "open: its bulk not made yet"));
        }
        let day = ticket.planned_for.max(self.today());
        let materials: BTreeSet<MaterialId> = ticket.lines.iter().map(|line| line.material).collect();
        let materials: Vec<MaterialId> = materials.into_iter().collect();
        let lots = lots_lock_of_materials(&work.tx, &materials).await?;
        let allocations = allocate(&catalogue, &ticket, &lots, day, &input.choices)?;
        store::tickets::allocations_replace(&work.tx, ticket.id, &allocations).await?;
        if ticket.status == TicketStatus::Planned {
            steps_take(&work, &ticket, &[TicketStatus::Allocated], None).await?;
        }
        let after = ticket_reload(&work.tx, ticket.id).await?;
        work.note(
            "ticket",
            ticket.id,
            Some(&serde_json::json!({ "status": ticket.status, "allocations": ticket.allocations })),
            &serde_json::json!({ "status": after.status, "allocations": after.allocations }),
            None,
        )?;
        work.finish(after).await
    }

    /// Gives a ticket up before anything was weighed, and lets go of its promises.
    ///
    /// # Errors
    /// [`Refusal::TicketNotReady`] once something was weighed; it is voided then.
    pub async fn ticket_cancel(&self, change: &Change<'_>, input: TicketCancel) -> Result<Ticket, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "ticket-cancel", &input).await? {
            Begun::Repeat(ticket) => return Ok(ticket),
            Begun::Fresh(work) => work,
        };
        let reason =
            text::note("a reason", &input.reason).map_err(|error| Error::invalid("reason", error))?;
        let ticket = ticket_lock(&work.tx, input.ticket).await?;
        store::tickets::allocations_replace(&work.tx, ticket.id, &[]).await?;
        steps_take(&work, &ticket, &[TicketStatus::Cancelled], Some(&reason)).await?;
        store::tickets::ticket_status_set(&work.tx, ticket.id, TicketStatus::Cancelled, Some(&reason))
            .await?;
        let after = ticket_reload(&work.tx, ticket.id).await?;
        work.note(
            "ticket",
            ticket.id,
            Some(&serde_json::json!({ "status": ticket.status })),
            &serde_json::json!({ "status": after.status }),
            Some(&reason),
        )?;
        work.finish(after).await
    }
}

impl App {
    /// Whether a lot may be worked into a batch of a formula: it is of what the formula makes, and no more of the batch than is usual,
    /// unless somebody who may release and reject writes the ticket.
    async fn rework_settle(
        &self,
        tx: &WriteTx,
        actor: &Actor,
        formula: &Formula,
        batch: Mass,
        rework: ReworkWrite,
    ) -> Result<(ReworkWrite, MaterialId), Error> {
        let lot =
            store::lots::lot_get(tx, rework.lot).await?.ok_or_else(|| Error::not_found("lot", rework.lot))?;
        let mut problems = Problems::default();
        if lot.material != formula.makes {
            problems.push("rework.lot", format!("lot {} is not of what {} makes", lot.number, formula.code));
        }
        problems.take("rework.amount", rework.amount.require_positive());
        let usual = Mass::from_exact_down(&(batch.to_exact() * REWORK_SHARE_USUAL.fraction()))?;
        if rework.amount > usual && !actor.may(Capability::ReleaseAndReject) {
            problems.push(
                "rework.amount",
                format!("more than {usual}, {REWORK_SHARE_USUAL} of the batch, takes the right to release and reject"),
            );
        }
        if rework.amount >= batch {
            problems.push("rework.amount", "the batch would be nothing but rework");
        }
        problems.none()?;
        Ok((rework, lot.material))
    }
}

/// The formula, version and pack a ticket is to be written from.
fn subject<'a>(
    catalogue: &'a Catalogue,
    input: &TicketWrite,
) -> Result<(&'a Formula, &'a FormulaVersion, Option<&'a domain::packs::Pack>), Error> {
    let (formula, pack) = match input.subject {
        TicketSubject::Version(id) => {
            let (formula, version) =
                catalogue.version(id).ok_or_else(|| Error::not_found("formula version", id))?;
            return Ok((formula, version, None));
        }
        TicketSubject::Formula(id) => {
            (catalogue.formulas.get(id).ok_or_else(|| Error::not_found("formula", id))?, None)
        }
        TicketSubject::Pack(id) => {
            let pack = catalogue.packs.get(id).ok_or_else(|| Error::not_found("pack", id))?;
            let formula = catalogue
                .formulas
                .get(pack.formula)
                .ok_or_else(|| Error::not_found("formula", pack.formula))?;
            (formula, Some(&**pack))
        }
    };
    match formula.approved_on(input.planned_for) {
        Some(version) => Ok((formula, version, pack)),
        None => match formula.current() {
            Some(version) => Err(not_approved(formula, version).into()),
            None => Err(Error::invalid("formula", format!("{} has no version yet", formula.code))),
        },
    }
}

fn not_approved(formula: &Formula, version: &FormulaVersion) -> Refusal {
    Refusal::VersionNotApproved {
        formula: formula.code.clone(),
        number: version.number,
        status: version.status,
    }
}

/// Which lots are promised to which line. What the ticket held before counts as free again.
fn allocate(
    catalogue: &Catalogue,
    ticket: &Ticket,
    lots: &[Lot],
    day: NaiveDate,
    choices: &[AllocationChoice],
) -> Result<Vec<Allocation>, Error> {
    let mut problems = Problems::default();
    let mut refusals = Vec::new();
    let product = catalogue.formulas.get(ticket.formula).map(|formula| formula.makes);
    // Each promise made below is noted on the lot here, so that the next line sees what is left.
    let mut lots: Vec<Lot> = lots.to_vec();
    for lot in &mut lots {
        let own: i64 = ticket.allocations.iter().filter(|a| a.lot == lot.id).map(|a| a.quantity.raw()).sum();
        promise(lot, own.saturating_neg());
    }
    let mut allocations = Vec::new();

    for (at, choice) in choices.iter().enumerate() {
        let place = format!("choices[{at}]");
        let (Some(line), Some(lot)) =
            (ticket.line_at(choice.line), lots.iter_mut().find(|lot| lot.id == choice.lot))
        else {
            problems.push(place, "no such line, or no such lot of a material of this ticket");
            continue;
        };
        let Some(material) = catalogue.materials.get(line.material) else { continue };
        if lot.material != line.material {
            refusals.push(Refusal::LotOfOtherMaterial {
                lot_number: lot.number.clone(),
                lot_material: catalogue
                    .materials
                    .get(lot.material)
                    .map_or_else(String::new, |m| m.code.clone()),
                line: line.position,
                line_material: material.code.clone(),
            });
            continue;
        }
        if !choice.quantity.is_positive() {
            problems.push(format!("{place}.quantity"), "an allocation must be above nought");
            continue;
        }
        let because = lot.unusable_for(day, material, product);
        if !because.is_empty() {
            refusals.push(Refusal::LotNotUsable {
                lot: lot.id,
                lot_number: lot.number.clone(),
                on: day,
                because,
            });
            continue;
        }
        if choice.quantity.micrograms() > lot.free() {
            refusals.push(lot_short(lot, material, Quantity::Mass(choice.quantity), lot.free()));
            continue;
        }
        promise(lot, choice.quantity.micrograms());
        allocations.push(Allocation {
            line: line.id,
            lot: lot.id,
            quantity: Quantity::Mass(choice.quantity),
        });
    }
    problems.none()?;

    for line in &ticket.lines {
        let Some(material) = catalogue.materials.get(line.material).filter(|m| m.kind.is_stocked()) else {
            continue;
        };
        let chosen: i64 = allocations.iter().filter(|a| a.line == line.id).map(|a| a.quantity.raw()).sum();
        let needed = ticket.remaining_on(line).micrograms().saturating_sub(chosen);
        if needed <= 0 {
            continue;
        }
        let need = Quantity::Mass(Mass::from_micrograms(needed));
        let plan = allocate_fefo(material, &lots, day, need, &[], product);
        if plan.short_by.is_positive() {
            let available = needed.saturating_sub(plan.short_by.raw());
            refusals.push(Refusal::ShelfShort {
                material: material.code.clone(),
                needed: need,
                available: Quantity::Mass(Mass::from_micrograms(available)),
                on: day,
            });
        }
        for take in plan.takes {
            let TakenFrom::Lot { lot: id, .. } = take.from else { continue };
            if let Some(lot) = lots.iter_mut().find(|lot| lot.id == id) {
                promise(lot, take.quantity.raw());
            }
            allocations.push(Allocation { line: line.id, lot: id, quantity: take.quantity });
        }
    }
    if refusals.is_empty() { Ok(allocations) } else { Err(Error::Refused(refusals)) }
}

/// Notes a promise on a lot held in memory; below nought lets go of one.
fn promise(lot: &mut Lot, raw: i64) {
    let reserved = lot.reserved.raw().saturating_add(raw).max(0);
    lot.reserved = Quantity::from_raw(reserved, lot.reserved.dimension());
}

async fn ticket_number_settle(tx: &WriteTx, wished: Option<String>) -> Result<String, Error> {
    if let Some(number) = wished {
        if store::tickets::ticket_by_number(tx, &number).await?.is_some() {
            return Err(Refusal::Taken { what: "ticket".to_owned(), text: number }.into());
        }
        return Ok(number);
    }
    for _ in 0..1_000 {
        let next = store::numbers::number_next(tx, "T").await?;
        let number = format!("T-{next:06}");
        if store::tickets::ticket_by_number(tx, &number).await?.is_none() {
            return Ok(number);
        }
    }
    Err(Error::internal("a thousand ticket numbers are taken"))
}

pub(crate) fn not_ready(ticket: &Ticket, wanted: &str) -> Error {
    Refusal::TicketNotReady {
        number: ticket.number.clone(),
        status: ticket.status,
        wanted: wanted.to_owned(),
    }
    .into()
}

/// The ticket, locked until the transaction ends.
pub(crate) async fn ticket_lock(tx: &WriteTx, id: TicketId) -> Result<Ticket, Error> {
    store::tickets::ticket_lock(tx, id).await?.ok_or_else(|| Error::not_found("ticket", id))
}

pub(crate) async fn ticket_reload(tx: &WriteTx, id: TicketId) -> Result<Ticket, Error> {
    store::tickets::ticket_get(tx, id).await?.ok_or_else(|| Error::not_found("ticket", id))
}
