//! The life of a ticket between its first weighing and its bulk: made, tested, adjusted; paused and resumed; scaled up; voided.

use domain::{
    Catalogue, Refusal,
    formulas::FormulaVersion,
    lots::{Lot, LotStatus, LotTerms},
    people::Capability,
    stock::MovementKind,
    text,
    tickets::{Pause, Step, Ticket, TicketStatus, Weighing, WeighingOutcome},
};
use kernel::{
    Exact, Mass, Money, Quantity, apportion_largest_remainder,
    ids::{LotId, TicketId, WeighingId},
};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

use crate::{
    App, Change, Error,
    change::{Begun, Work},
    fresh::Problems,
    lots::lot_enter,
    ticket_lines::round_targets,
    tickets::{not_ready, ticket_lock, ticket_reload},
};

/// What is done next with a ticket.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NextStep {
    /// Everything is weighed; it is made.
    Make,
    /// It is made, and examined.
    Test,
    /// A test was missed; something is added.
    Adjust,
    /// It rests; needs a reason.
    Pause,
    /// It goes on.
    Resume,
}

/// A step of a ticket.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct TicketStep {
    /// The ticket.
    pub ticket: TicketId,
    /// Which.
    pub step: NextStep,
    /// Remarks; the reason of a pause.
    pub note: Option<String>,
}

/// A batch to be scaled up to what was weighed.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct TicketScale {
    /// The ticket.
    pub ticket: TicketId,
    /// What is charged in all from now on; more than before.
    pub batch: Mass,
    /// Why.
    pub reason: String,
}

/// A ticket to be given up after something was weighed.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct TicketVoid {
    /// The ticket.
    pub ticket: TicketId,
    /// Why.
    pub reason: String,
    /// What became of single weighings.
    pub outcomes: Vec<VoidedWeighing>,
    /// What became of all others.
    pub otherwise: WeighingOutcome,
    /// The number of the lot that keeps what is to be reworked; made when empty.
    pub rework_lot: Option<String>,
}

/// What became of one weighing of a voided ticket.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct VoidedWeighing {
    /// The weighing.
    pub weighing: WeighingId,
    /// What became of it.
    pub outcome: WeighingOutcome,
}

impl App {
    /// Takes a ticket a step on: made, tested, adjusted, tested again; or lets it rest and go on.
    ///
    /// # Errors
    /// [`Refusal::TicketNotReady`], [`Refusal::TicketPaused`], [`Refusal::LinesNotWeighed`] and [`Refusal::NotChecked`] before making,
    /// [`Error::Invalid`] for a pause without a reason.
    pub async fn ticket_step(&self, change: &Change<'_>, input: TicketStep) -> Result<Ticket, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "ticket-step", &input).await? {
            Begun::Repeat(ticket) => return Ok(ticket),
            Begun::Fresh(work) => work,
        };
        let catalogue = self.snapshot();
        let ticket = ticket_lock(&work.tx, input.ticket).await?;
        let mut problems = Problems::default();
        let note = problems.note("note", input.note.as_deref());
        match input.step {
            NextStep::Pause => {
                if note.is_none() {
                    problems.push("note", "say why it is paused");
                }
                problems.none()?;
                awake(&ticket)?;
                if !ticket.status.may_rest() {
                    return Err(not_ready(&ticket, "begun and not finished"));
                }
                let pause =
                    Pause { by: work.by.clone(), at: work.at, reason: note.clone().unwrap_or_default() };
                store::tickets::ticket_pause_set(&work.tx, ticket.id, Some(&pause)).await?;
                stay(&work, &ticket, format!("paused: {}", pause.reason)).await?;
            }
            NextStep::Resume => {
                problems.none()?;
                if ticket.paused.is_none() {
                    return Err(not_ready(&ticket, "paused"));
                }
                store::tickets::ticket_pause_set(&work.tx, ticket.id, None).await?;
                let words = note.as_ref().map_or_else(|| "resumed".to_owned(), |n| format!("resumed: {n}"));
                stay(&work, &ticket, words).await?;
            }
            NextStep::Make | NextStep::Test | NextStep::Adjust => {
                problems.none()?;
                awake(&ticket)?;
                let next = match input.step {
                    NextStep::Make => TicketStatus::Making,
                    NextStep::Adjust => TicketStatus::Adjusting,
                    _ => TicketStatus::OnTest,
                };
                if next == TicketStatus::Making && ticket.status == TicketStatus::Weighing {
                    ready_to_make(&catalogue, &ticket)?;
                }
                steps_take(&work, &ticket, &[next], note.as_deref()).await?;
            }
        }
        let after = ticket_reload(&work.tx, ticket.id).await?;
        work.note(
            "ticket",
            ticket.id,
            Some(&serde_json::json!({ "status": ticket.status, "paused": ticket.paused })),
            &serde_json::json!({ "status": after.status, "paused": after.paused }),
            note.as_deref(),
        )?;
        work.finish(after).await
    }

    /// Scales a batch up: every target grows in the same proportion, rounded to its balance as when it was written. What was promised
    /// stays; allocate again for the rest.
    ///
    /// # Errors
    /// [`Refusal::TicketNotReady`], [`Refusal::TicketPaused`], [`Error::Invalid`] when it would shrink or not fit the vessel.
    pub async fn ticket_scale(&self, change: &Change<'_>, input: TicketScale) -> Result<Ticket, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "ticket-scale", &input).await? {
            Begun::Repeat(ticket) => return Ok(ticket),
            Begun::Fresh(work) => work,
        };
        let catalogue = self.snapshot();
        let mut problems = Problems::default();
        let reason = problems.take("reason", text::note("a reason", &input.reason));
        let ticket = ticket_lock(&work.tx, input.ticket).await?;
        awake(&ticket)?;
        if !matches!(ticket.status, TicketStatus::Planned | TicketStatus::Allocated | TicketStatus::Weighing)
        {
            return Err(not_ready(&ticket, "planned, allocated or being weighed"));
        }
        let version = version_of(&catalogue, &ticket)?;
        if input.batch <= ticket.batch {
            problems.push("batch", format!("a batch is scaled up; it is {} now", ticket.batch));
        }
        if version.largest_batch.is_some_and(|most| input.batch > most) {
            problems.push("batch", format!("{} is more than the vessel takes", input.batch));
        }
        problems.none()?;
        let shares: Vec<Exact> = ticket.lines.iter().map(|line| line.target.to_exact()).collect();
        let targets = apportion_largest_remainder(input.batch.micrograms(), &shares)?;
        let mut scaled = Ticket { batch: input.batch, ..ticket.clone() };
        scaled.planned_batch = ticket.planned_batch.or(Some(ticket.batch));
        for (line, target) in scaled.lines.iter_mut().zip(targets) {
            line.target = Mass::from_micrograms(target);
        }
        let balances = store::balances::balances_all(&work.tx).await?;
        round_targets(&mut scaled.lines, &balances);
        store::tickets::ticket_scale(&work.tx, &scaled).await?;
        let reason = reason.unwrap_or_default();
        stay(&work, &ticket, format!("scaled from {} to {}: {reason}", ticket.batch, scaled.batch)).await?;
        let after = ticket_reload(&work.tx, ticket.id).await?;
        work.note(
            "ticket",
            ticket.id,
            Some(&serde_json::json!({ "batch": ticket.batch })),
            &serde_json::json!({ "batch": after.batch }),
            Some(&reason),
        )?;
        work.finish(after).await
    }

    /// Gives a ticket up after something was weighed: each weighing goes back to its lot, is scrapped, or is kept in a lot of its own
    /// to be reworked, at the value it was weighed at.
    ///
    /// # Errors
    /// [`Refusal::TicketNotReady`] where nothing was weighed or the bulk is made, [`Refusal::NotReversible`], [`Refusal::Taken`],
    /// [`Error::Invalid`], [`Error::NotFound`].
    pub async fn ticket_void(&self, change: &Change<'_>, input: TicketVoid) -> Result<Ticket, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "ticket-void", &input).await? {
            Begun::Repeat(ticket) => return Ok(ticket),
            Begun::Fresh(work) => work,
        };
        let catalogue = self.snapshot();
        let mut problems = Problems::default();
        let reason = problems.take("reason", text::note("a reason", &input.reason));
        let rework_lot = problems.code("reworkLot", "a lot number", input.rework_lot.as_deref());
        problems.none()?;
        let reason = reason.unwrap_or_default();
        let ticket = ticket_lock(&work.tx, input.ticket).await?;
        if !ticket.status.may_become(TicketStatus::Voided) {
            return Err(not_ready(&ticket, "being weighed, made, tested or adjusted"));
        }
        for voided in &input.outcomes {
            if !ticket.weighings.iter().any(|w| w.id == voided.weighing && w.stands()) {
                return Err(Error::not_found("standing weighing", voided.weighing));
            }
        }
        let outcome_of = |weighing: &Weighing| {
            let own = input.outcomes.iter().find(|voided| voided.weighing == weighing.id);
            own.map_or(input.otherwise, |voided| voided.outcome)
        };
        // All lots in the order of their ids, so that two changes never wait for each other.
        let lots: BTreeSet<LotId> =
            ticket.weighings.iter().filter(|w| w.stands()).filter_map(|w| w.lot).collect();
        store::lots::lots_lock(&work.tx, &lots.into_iter().collect::<Vec<_>>()).await?;
        let mut reworked = Vec::new();
        for weighing in ticket.weighings.iter().filter(|w| w.stands()) {
            let outcome = outcome_of(weighing);
            match (outcome, weighing.movement) {
                (WeighingOutcome::BackToLot, Some(movement)) => {
                    self.reverse(&mut work, movement, &reason, None).await?;
                }
                (WeighingOutcome::BackToLot, None) | (WeighingOutcome::Scrapped, _) => {}
                (WeighingOutcome::IntoRework, _) => reworked.push(weighing),
            }
            store::tickets::weighing_undo(&work.tx, weighing.id, outcome, &reason).await?;
        }
        store::tickets::allocations_replace(&work.tx, ticket.id, &[]).await?;
        let kept = if reworked.is_empty() {
            None
        } else {
            Some(self.rework_keep(&mut work, &catalogue, &ticket, &reworked, rework_lot, &reason).await?)
        };
        if ticket.paused.is_some() {
            store::tickets::ticket_pause_set(&work.tx, ticket.id, None).await?;
        }
        steps_take(&work, &ticket, &[TicketStatus::Voided], Some(&reason)).await?;
        let status = TicketStatus::Voided;
        store::tickets::ticket_status_set(&work.tx, ticket.id, status, Some(&reason)).await?;
        let after = ticket_reload(&work.tx, ticket.id).await?;
        work.note(
            "ticket",
            ticket.id,
            Some(&serde_json::json!({ "status": ticket.status })),
            &serde_json::json!({
                "status": after.status,
                "weighings": after.weighings,
                "reworkLot": kept.map(|lot| lot.number),
            }),
            Some(&reason),
        )?;
        work.finish(after).await
    }

    /// The lot that keeps what is to be reworked: on hold, worth what was weighed into it, and good for no longer than any of that.
    async fn rework_keep(
        &self,
        work: &mut Work<'_>,
        catalogue: &Catalogue,
        ticket: &Ticket,
        weighings: &[&Weighing],
        number: Option<String>,
        reason: &str,
    ) -> Result<Lot, Error> {
        let formula = catalogue
            .formulas
            .get(ticket.formula)
            .ok_or_else(|| Error::not_found("formula", ticket.formula))?;
        let mut kept = Mass::ZERO;
        let mut value = Some(Money::zero(self.settings().currency));
        let moved = store::stock::movements_of_ticket(&work.tx, ticket.id).await?;
        for weighing in weighings {
            kept = kept.checked_add(weighing.amount)?;
            let Some(id) = weighing.movement else { continue };
            let worth = moved.iter().find(|m| m.id == id).and_then(|m| m.value);
            value = match (value, worth) {
                (Some(sum), Some(worth)) => Some(sum.checked_sub(worth)?),
                _ => None,
            };
        }
        let ids: Vec<LotId> = weighings.iter().filter_map(|w| w.lot).collect();
        let from = store::lots::lots_get(&work.tx, &ids).await?;
        let last_day = |lot: &Lot| catalogue.materials.get(lot.material).and_then(|m| lot.last_day_of_use(m));
        let on = self.today();
        let lot = Lot {
            id: LotId::new(),
            number: self.lot_number_settle(&work.tx, number, "W").await?,
            material: formula.makes,
            supplier: None,
            supplier_lot: None,
            made_by: Some(ticket.id),
            status: LotStatus::OnHold,
            received_on: on,
            made_on: Some(on),
            expires_on: from.iter().filter_map(last_day).min(),
            retest_on: None,
            opened_on: None,
            density: None,
            active_matter: None,
            location: None,
            received: Quantity::Mass(kept),
            received_value: value,
            on_hand: Quantity::Mass(Mass::ZERO),
            value: value.map(|v| Money::zero(v.currency())),
            reserved: Quantity::Mass(Mass::ZERO),
            note: Some(format!("Kept for rework from ticket {}: {reason}", ticket.number)),
            terms: LotTerms::default(),
        };
        lot_enter(work, lot, MovementKind::Made, on, Some(reason.to_owned())).await
    }
}

/// # Errors
/// [`Refusal::TicketPaused`] while the ticket rests.
pub(crate) fn awake(ticket: &Ticket) -> Result<(), Error> {
    match &ticket.paused {
        None => Ok(()),
        Some(pause) => {
            Err(Refusal::TicketPaused { number: ticket.number.clone(), reason: pause.reason.clone() }.into())
        }
    }
}

/// The version a ticket is a copy of.
pub(crate) fn version_of<'a>(catalogue: &'a Catalogue, ticket: &Ticket) -> Result<&'a FormulaVersion, Error> {
    let found = catalogue.version(ticket.version);
    found.map(|(_, version)| version).ok_or_else(|| Error::not_found("formula version", ticket.version))
}

/// Whether all is weighed, and looked at by a second person where that is asked for.
pub(crate) fn ready_to_make(catalogue: &Catalogue, ticket: &Ticket) -> Result<(), Error> {
    let version = version_of(catalogue, ticket)?;
    // A batch that stood at its result before anything was added needs nothing of its trim lines.
    let trimmed =
        |position: u32| version.lines.iter().any(|line| line.position == position && line.trim.is_some());
    let missing: Vec<u32> = ticket
        .lines
        .iter()
        .filter(|line| ticket.target_of(line).is_positive() && ticket.weighed_on(line.id).is_zero())
        .map(|line| line.position)
        .filter(|position| !trimmed(*position))
        .collect();
    if !missing.is_empty() {
        return Err(Refusal::LinesNotWeighed { number: ticket.number.clone(), lines: missing }.into());
    }
    let unchecked = ticket.unchecked_lines();
    if !unchecked.is_empty() {
        return Err(Refusal::NotChecked { number: ticket.number.clone(), lines: unchecked }.into());
    }
    Ok(())
}

/// Takes a locked ticket through steps, one after the other, and writes down each.
///
/// # Errors
/// [`Refusal::TicketNotReady`] when one of them may not follow.
pub(crate) async fn steps_take(
    work: &Work<'_>,
    ticket: &Ticket,
    next: &[TicketStatus],
    note: Option<&str>,
) -> Result<Vec<Step>, Error> {
    let mut from = ticket.status;
    let mut steps = Vec::with_capacity(next.len());
    for to in next.iter().copied() {
        if !from.may_become(to) {
            let wanted: Vec<&str> = TicketStatus::ALL
                .into_iter()
                .filter(|status| status.may_become(to))
                .map(TicketStatus::words)
                .collect();
            return Err(not_ready(ticket, &wanted.join(" or ")));
        }
        steps.push(Step { from, to, by: work.by.clone(), at: work.at, note: note.map(ToOwned::to_owned) });
        from = to;
    }
    store::tickets::ticket_steps_insert(&work.tx, ticket.id, ticket.steps.len(), &steps).await?;
    store::tickets::ticket_status_set(&work.tx, ticket.id, from, None).await?;
    Ok(steps)
}

/// Writes down something that happened to a ticket where it stands.
async fn stay(work: &Work<'_>, ticket: &Ticket, note: String) -> Result<(), Error> {
    let step =
        Step { from: ticket.status, to: ticket.status, by: work.by.clone(), at: work.at, note: Some(note) };
    store::tickets::ticket_steps_insert(&work.tx, ticket.id, ticket.steps.len(), &[step]).await?;
    Ok(())
}
