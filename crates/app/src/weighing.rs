//! Weighings: what really went into the batch, from which lot, by whom; and taking one back.

use chrono::NaiveDate;
use domain::{
    Catalogue, Refusal,
    lots::Lot,
    materials::Material,
    people::{Actor, Capability},
    stock::MovementKind,
    text,
    tickets::{Allocation, Ticket, TicketLine, TicketStatus, Weighing},
};
use kernel::{
    Mass, Quantity,
    ids::{LotId, TicketId, TicketLineId, WeighingId},
    limits::TICKET_WEIGHINGS_MAX,
};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeSet, HashMap};
use store::stock::NewMovement;

use crate::{
    App, Change, Error,
    change::Begun,
    fresh::Problems,
    lots::lot_short,
    ticket_lines::stop_of,
    tickets::{not_ready, ticket_lock, ticket_reload},
};

/// Weighings of a ticket, entered together: all or none.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct TicketWeigh {
    /// The ticket.
    pub ticket: TicketId,
    /// What was weighed.
    pub weighings: Vec<WeighingWrite>,
    /// The day it was done; today when empty.
    pub on: Option<NaiveDate>,
}

/// One weighing as it is entered.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct WeighingWrite {
    /// The line's position.
    pub line: u32,
    /// The lot; empty for a utility.
    pub lot: Option<LotId>,
    /// What the balance said, net.
    pub amount: Mass,
    /// The second person.
    pub checked_by: Option<String>,
    /// Why a lot or an amount outside the rules was taken all the same.
    pub reason: Option<String>,
}

/// A weighing to be taken back.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct WeighingTakeBack {
    /// The ticket.
    pub ticket: TicketId,
    /// The weighing.
    pub weighing: WeighingId,
    /// Why.
    pub reason: String,
}

impl App {
    /// Enters weighings. The stock goes down by what was really weighed, from the lots it was weighed from; all of them or none.
    ///
    /// A lot that may not be used, and an amount above the tolerance, are refused unless a reason is given by somebody who may
    /// release and reject; the reason then stands in the ledger.
    ///
    /// # Errors
    /// [`Refusal::TicketNotReady`], [`Refusal::LotShort`], [`Refusal::LotNotUsable`], [`Refusal::LotOfOtherMaterial`],
    /// [`Refusal::OutsideTolerance`], [`Error::Invalid`].
    pub async fn ticket_weigh(&self, change: &Change<'_>, input: TicketWeigh) -> Result<Ticket, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "ticket-weigh", &input).await? {
            Begun::Repeat(ticket) => return Ok(ticket),
            Begun::Fresh(work) => work,
        };
        let catalogue = self.snapshot();
        let ticket = ticket_lock(&work.tx, input.ticket).await?;
        if !ticket.status.is_open() {
            return Err(not_ready(&ticket, "planned, allocated or in process"));
        }
        let mut problems = Problems::default();
        let on = self.day_settle(&mut problems, "on", input.on);
        if input.weighings.is_empty() {
            problems.push("weighings", "nothing was weighed");
        }
        if ticket.weighings.len() + input.weighings.len() > TICKET_WEIGHINGS_MAX {
            problems.push("weighings", format!("a ticket has at most {TICKET_WEIGHINGS_MAX} weighings"));
        }
        let wanted: BTreeSet<LotId> = input.weighings.iter().filter_map(|w| w.lot).collect();
        let wanted: Vec<LotId> = wanted.into_iter().collect();
        let lots: HashMap<LotId, Lot> =
            store::lots::lots_lock(&work.tx, &wanted).await?.into_iter().map(|lot| (lot.id, lot)).collect();
        for id in &wanted {
            if !lots.contains_key(id) {
                return Err(Error::not_found("lot", id));
            }
        }
        let context = Weigh { catalogue: &catalogue, ticket: &ticket, lots: &lots, actor: change.actor };
        let checked = context.check(&input, on.unwrap_or_else(|| self.today()), &mut problems);
        problems.none()?;
        let checked = checked?;
        let on = on.ok_or_else(|| Error::internal("weighings without problems lack their day"))?;

        let movements: Vec<NewMovement> = checked
            .iter()
            .filter_map(|w| {
                let lot = w.lot?;
                let quantity = Quantity::Mass(Mass::from_micrograms(-w.amount.micrograms()));
                Some(NewMovement {
                    ticket: Some(ticket.id),
                    reason: w.reason.clone(),
                    ..work.movement(lot, MovementKind::Weighing, quantity, on)
                })
            })
            .collect();
        let mut posted = movements.iter();
        let mut weighings = Vec::with_capacity(checked.len());
        for w in checked {
            let movement = match w.lot {
                Some(_) => Some(posted.next().ok_or_else(|| Error::internal("a posting is missing"))?.id),
                None => None,
            };
            weighings.push(Weighing {
                id: WeighingId::new(),
                line: w.line,
                lot: w.lot,
                amount: w.amount,
                by: work.by.clone(),
                at: work.at,
                checked_by: w.checked_by,
                movement,
                reversed: None,
            });
        }
        let left = promises_left(&ticket, &weighings);
        let let_go =
            store::tickets::allocations_shrink(&work.tx, ticket.id, &ticket.allocations, &left).await?;
        let opened = opened_first(&catalogue, lots.values());
        store::stock::post_on(&work.tx, lots.into_values(), &movements, &let_go).await?;
        store::tickets::weighings_insert(&work.tx, ticket.id, &weighings).await?;
        store::lots::lots_open(&work.tx, &opened, on).await?;
        if ticket.status != TicketStatus::InProcess {
            store::tickets::ticket_status_set(&work.tx, ticket.id, TicketStatus::InProcess, None).await?;
        }
        let mut after = ticket;
        after.status = TicketStatus::InProcess;
        after.allocations = left;
        after.weighings.extend(weighings.iter().cloned());
        after.weighings.sort_by_key(|weighing| (weighing.at, weighing.id));
        work.note("ticket", after.id, None::<&()>, &serde_json::json!({ "weighings": weighings }), None)?;
        work.finish(after).await
    }

    /// Takes a weighing back: what it took returns to its lot, at the value it left with, by a movement that names it.
    ///
    /// # Errors
    /// [`Refusal::TicketNotReady`], [`Refusal::NotReversible`], [`Error::NotFound`].
    pub async fn weighing_take_back(
        &self,
        change: &Change<'_>,
        input: WeighingTakeBack,
    ) -> Result<Ticket, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "weighing-take-back", &input).await?
        {
            Begun::Repeat(ticket) => return Ok(ticket),
            Begun::Fresh(work) => work,
        };
        let reason =
            text::note("a reason", &input.reason).map_err(|error| Error::invalid("reason", error))?;
        let ticket = ticket_lock(&work.tx, input.ticket).await?;
        if ticket.status != TicketStatus::InProcess {
            return Err(not_ready(&ticket, "in process"));
        }
        let weighing = ticket
            .weighings
            .iter()
            .find(|w| w.id == input.weighing)
            .ok_or_else(|| Error::not_found("weighing", input.weighing))?;
        if weighing.reversed.is_some() {
            return Err(Refusal::NotReversible { because: "it was taken back before".to_owned() }.into());
        }
        if let Some(movement) = weighing.movement {
            self.reverse(&mut work, movement, &reason, None).await?;
        }
        store::tickets::weighing_reverse(&work.tx, weighing.id, &reason).await?;
        let after = ticket_reload(&work.tx, ticket.id).await?;
        work.note(
            "ticket",
            ticket.id,
            Some(&serde_json::json!({ "weighing": weighing })),
            &serde_json::json!({ "takenBack": weighing.id }),
            Some(&reason),
        )?;
        work.finish(after).await
    }
}

/// A weighing that passed every check.
struct CheckedWeighing {
    line: TicketLineId,
    lot: Option<LotId>,
    amount: Mass,
    checked_by: Option<String>,
    reason: Option<String>,
}

/// What weighings are checked against.
struct Weigh<'a> {
    catalogue: &'a Catalogue,
    ticket: &'a Ticket,
    lots: &'a HashMap<LotId, Lot>,
    actor: &'a Actor,
}

impl Weigh<'_> {
    /// Checks all weighings, as if entered one after another. Mistakes in the input go to `problems`; what the rules refuse is
    /// returned, all of it.
    fn check(
        &self,
        input: &TicketWeigh,
        on: NaiveDate,
        problems: &mut Problems,
    ) -> Result<Vec<CheckedWeighing>, Error> {
        let product = self.catalogue.formulas.get(self.ticket.formula).map(|formula| formula.makes);
        let mut refusals = Vec::new();
        let mut taken: HashMap<LotId, i64> = HashMap::new();
        let mut weighed: HashMap<TicketLineId, i64> = HashMap::new();
        let mut checked = Vec::with_capacity(input.weighings.len());
        for (at, entry) in input.weighings.iter().enumerate() {
            let place = format!("weighings[{at}]");
            let Some(line) = self.ticket.line_at(entry.line) else {
                problems.push(
                    format!("{place}.line"),
                    format!("ticket {} has no line {}", self.ticket.number, entry.line),
                );
                continue;
            };
            let Some(material) = self.catalogue.materials.get(line.material) else {
                problems.push(format!("{place}.line"), "the line's material is gone");
                continue;
            };
            if !entry.amount.is_positive() {
                problems.push(format!("{place}.amount"), "a weighing must be above nought");
                continue;
            }
            let checked_by =
                entry.checked_by.as_deref().filter(|n| !n.trim().is_empty()).and_then(|name| {
                    problems.take(&format!("{place}.checkedBy"), text::name("a name", name))
                });
            if checked_by.as_deref().is_some_and(|name| name == self.actor.name) {
                problems.push(format!("{place}.checkedBy"), "the second check is another person's");
            }
            let reason = problems.note(&format!("{place}.reason"), entry.reason.as_deref());
            let overruled = reason.is_some() && self.actor.may(Capability::ReleaseAndReject);

            let so_far =
                weighed.entry(line.id).or_insert_with(|| self.ticket.weighed_on(line.id).micrograms());
            *so_far = so_far.saturating_add(entry.amount.micrograms());
            let margin = match (stop_of(self.catalogue, self.ticket, line)?, line.tolerance) {
                (Some(stop), _) => Some(stop.checked_sub(line.target)?),
                (None, Some(tolerance)) => {
                    Some(Mass::from_exact_down(&(line.target.to_exact() * tolerance.fraction()))?)
                }
                (None, None) => None,
            };
            if let Some(margin) = margin
                && *so_far > line.target.checked_add(margin)?.micrograms()
                && !overruled
            {
                refusals.push(Refusal::OutsideTolerance {
                    line: line.position,
                    weighed: Quantity::Mass(Mass::from_micrograms(*so_far)),
                    target: Quantity::Mass(line.target),
                    tolerance: Quantity::Mass(margin),
                });
            }

            match (material.kind.is_stocked(), entry.lot.and_then(|id| self.lots.get(&id))) {
                (true, Some(lot)) => {
                    if lot.material != line.material {
                        refusals.push(self.other_material(line, lot, material));
                        continue;
                    }
                    let because = lot.unusable_for(on, material, product);
                    if !because.is_empty() && !overruled {
                        refusals.push(Refusal::LotNotUsable {
                            lot: lot.id,
                            lot_number: lot.number.clone(),
                            on,
                            because,
                        });
                    }
                    let gone = taken.entry(lot.id).or_insert(0);
                    let available = lot.free().saturating_add(self.promised_here(lot)).min(lot.on_hand.raw());
                    let left = available.saturating_sub(*gone).max(0);
                    *gone = gone.saturating_add(entry.amount.micrograms());
                    if entry.amount.micrograms() > left {
                        refusals.push(lot_short(lot, material, Quantity::Mass(entry.amount), left));
                    }
                }
                (true, None) => {
                    problems.push(
                        format!("{place}.lot"),
                        format!("say which lot of {} was weighed", material.code),
                    );
                }
                (false, Some(_)) => {
                    problems.push(
                        format!("{place}.lot"),
                        format!("{} is a utility and has no lots", material.code),
                    );
                }
                (false, None) => {}
            }
            checked.push(CheckedWeighing {
                line: line.id,
                lot: entry.lot,
                amount: entry.amount,
                checked_by,
                reason,
            });
        }
        if refusals.is_empty() { Ok(checked) } else { Err(Error::Refused(refusals)) }
    }

    fn promised_here(&self, lot: &Lot) -> i64 {
        self.ticket.allocations.iter().filter(|a| a.lot == lot.id).map(|a| a.quantity.raw()).sum()
    }

    fn other_material(&self, line: &TicketLine, lot: &Lot, material: &Material) -> Refusal {
        let lot_material =
            self.catalogue.materials.get(lot.material).map_or_else(String::new, |m| m.code.clone());
        Refusal::LotOfOtherMaterial {
            lot_number: lot.number.clone(),
            lot_material,
            line: line.position,
            line_material: material.code.clone(),
        }
    }
}

/// The promises that remain after weighings: a weighing uses up what was promised of its lot to its line.
fn promises_left(ticket: &Ticket, weighings: &[Weighing]) -> Vec<Allocation> {
    let mut left = ticket.allocations.clone();
    for weighing in weighings {
        let mut amount = weighing.amount.micrograms();
        for allocation in &mut left {
            if Some(allocation.lot) == weighing.lot && allocation.line == weighing.line {
                let used = amount.min(allocation.quantity.raw());
                allocation.quantity = Quantity::Mass(Mass::from_micrograms(allocation.quantity.raw() - used));
                amount -= used;
            }
        }
    }
    left.retain(|allocation| allocation.quantity.is_positive());
    left
}

/// Lots whose material keeps only so long once opened, and that were not: their first weighing opens them.
fn opened_first<'a>(catalogue: &Catalogue, lots: impl IntoIterator<Item = &'a Lot>) -> Vec<LotId> {
    let limited = |lot: &&Lot| {
        let material = catalogue.materials.get(lot.material);
        lot.opened_on.is_none() && material.is_some_and(|material| material.period_after_opening.is_some())
    };
    lots.into_iter().filter(limited).map(|lot| lot.id).collect()
}
