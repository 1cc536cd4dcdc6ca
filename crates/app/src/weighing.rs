//! Weighings: what really went into the batch, from which lot, by whom; and taking one back.

use chrono::{DateTime, NaiveDate, Utc};
use domain::{
    Catalogue, Refusal,
    alternates::Alternate,
    lots::Lot,
    people::Capability,
    stock::MovementKind,
    text,
    tickets::{Allocation, Ticket, TicketStatus, Weighing},
};
use kernel::{
    Mass, Quantity,
    ids::{BalanceId, LotId, TicketId, WeighingId},
    limits::TICKET_WEIGHINGS_MAX,
};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeSet, HashMap};
use store::stock::NewMovement;

use crate::{
    App, Change, Error,
    change::{Begun, Work},
    fresh::Problems,
    ticket_life::{awake, steps_take},
    tickets::{not_ready, ticket_lock, ticket_reload},
    weigh_rules::Weigh,
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
    /// How it was weighed.
    #[serde(default)]
    pub how: WeighingHow,
}

/// How something was weighed, as it is entered.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct WeighingHow {
    /// What the balance showed with the container.
    pub gross: Option<Mass>,
    /// The container alone; the amount is then the difference.
    pub tare: Option<Mass>,
    /// The balance.
    pub balance: Option<BalanceId>,
    /// When it was weighed, when that was before now; the entry is then marked as late.
    pub done_at: Option<DateTime<Utc>>,
    /// It is another weighing, though one of the same line, lot and amount was entered shortly before.
    pub another: bool,
    /// Added until a result is reached: the result before.
    pub result_before: Option<String>,
    /// And after.
    pub result_after: Option<String>,
    /// Minutes it was mixed in before the result was looked at.
    pub mixed_minutes: Option<u32>,
}

/// A second person's confirmation of a weighing, by themselves.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct WeighingConfirm {
    /// The ticket.
    pub ticket: TicketId,
    /// The weighing.
    pub weighing: WeighingId,
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
    /// A lot that may not be used, an amount above the tolerance and a balance that is not fit are refused unless a reason is given by
    /// somebody who may release and reject; the reason then stands in the ledger. What was entered shortly before is refused unless it
    /// is said to be another one. A lot of another material is taken where it is an approved alternate, and counts by its factor; a
    /// lot that is stronger or weaker than a target of active matter was worked out with counts by its strength, and the line that
    /// fills up takes the difference.
    ///
    /// # Errors
    /// [`Refusal::TicketNotReady`], [`Refusal::TicketPaused`], [`Refusal::LotShort`], [`Refusal::LotNotUsable`],
    /// [`Refusal::LotOfOtherMaterial`], [`Refusal::OutsideTolerance`], [`Refusal::BalanceNotFit`], [`Refusal::EnteredBefore`],
    /// [`Error::Invalid`].
    pub async fn ticket_weigh(&self, change: &Change<'_>, input: TicketWeigh) -> Result<Ticket, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "ticket-weigh", &input).await? {
            Begun::Repeat(ticket) => return Ok(ticket),
            Begun::Fresh(work) => work,
        };
        let catalogue = self.snapshot();
        let ticket = ticket_lock(&work.tx, input.ticket).await?;
        awake(&ticket)?;
        if !ticket.status.takes_weighings() {
            return Err(not_ready(
                &ticket,
                "planned or allocated, or being weighed, made, tested or adjusted",
            ));
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
        let alternates = self.alternates_wanted(&work, &ticket, &input, &lots).await?;
        let balances = if input.weighings.iter().any(|w| w.how.balance.is_some()) {
            store::balances::balances_all(&work.tx).await?
        } else {
            Vec::new()
        };
        let context = Weigh {
            catalogue: &catalogue,
            ticket: &ticket,
            lots: &lots,
            alternates: &alternates,
            balances: &balances,
            actor: change.actor,
            now: work.at,
        };
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
                    reason: w.how.reason.clone(),
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
                how: w.how,
            });
        }
        let left = promises_left(&ticket, &weighings);
        let opened = opened_first(&catalogue, lots.values());
        store::lots::lots_open(&work.tx, &opened, on).await?;
        let writes = &mut work.writes;
        let let_go = store::tickets::allocations_shrink(writes, ticket.id, &ticket.allocations, &left);
        store::stock::post_on(&work.tx, writes, lots.into_values(), &movements, &let_go).await?;
        store::tickets::weighings_insert(writes, ticket.id, &weighings);
        let mut after = ticket;
        if matches!(after.status, TicketStatus::Planned | TicketStatus::Allocated) {
            let taken = steps_take(&work, &after, &[TicketStatus::Weighing], None).await?;
            after.steps.extend(taken);
            after.status = TicketStatus::Weighing;
        }
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
        awake(&ticket)?;
        if !matches!(ticket.status, TicketStatus::Weighing | TicketStatus::Adjusting) {
            return Err(not_ready(&ticket, "being weighed or adjusted"));
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

    /// Confirms a weighing as its second person, who is whoever asks: nobody confirms their own.
    ///
    /// # Errors
    /// [`Refusal::TicketNotReady`], [`Error::Invalid`] for one's own weighing or one that was confirmed, [`Error::NotFound`].
    pub async fn weighing_confirm(
        &self,
        change: &Change<'_>,
        input: WeighingConfirm,
    ) -> Result<Ticket, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "weighing-confirm", &input).await? {
            Begun::Repeat(ticket) => return Ok(ticket),
            Begun::Fresh(work) => work,
        };
        let ticket = ticket_lock(&work.tx, input.ticket).await?;
        awake(&ticket)?;
        if !ticket.status.is_open() {
            return Err(not_ready(&ticket, "open"));
        }
        let weighing = ticket
            .weighings
            .iter()
            .find(|w| w.id == input.weighing)
            .ok_or_else(|| Error::not_found("weighing", input.weighing))?;
        let wrong = match (&weighing.reversed, &weighing.checked_by) {
            (Some(_), _) => Some("it was taken back".to_owned()),
            (None, Some(by)) => Some(format!("{by} has confirmed it")),
            (None, None) if weighing.by == work.by => Some("the second check is another person's".to_owned()),
            (None, None) => None,
        };
        if let Some(wrong) = wrong {
            return Err(Error::invalid("weighing", wrong));
        }
        store::tickets::weighing_check_set(&work.tx, weighing.id, &work.by, work.at).await?;
        let after = ticket_reload(&work.tx, ticket.id).await?;
        work.note("ticket", ticket.id, None::<&()>, &serde_json::json!({ "confirmed": weighing.id }), None)?;
        work.finish(after).await
    }

    /// The approvals that matter to weighings of lots that are of another material than their lines.
    async fn alternates_wanted(
        &self,
        work: &Work<'_>,
        ticket: &Ticket,
        input: &TicketWeigh,
        lots: &HashMap<LotId, Lot>,
    ) -> Result<Vec<Alternate>, Error> {
        let mut materials = Vec::new();
        for entry in &input.weighings {
            let (Some(line), Some(lot)) =
                (ticket.line_at(entry.line), entry.lot.and_then(|id| lots.get(&id)))
            else {
                continue;
            };
            if lot.material != line.material {
                materials.push(line.material);
            }
        }
        if materials.is_empty() {
            return Ok(Vec::new());
        }
        Ok(store::balances::alternates_of(&work.tx, &materials).await?)
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
