//! The end of a ticket step by step: examined, its bulk made, filled over days, accounted for, and decided on.

use chrono::NaiveDate;
use domain::{
    Refusal,
    finishing::{
        Account, BatchCheck, Bucket, CheckLimit, FillingRecord, Lost, Stage, checks_open, limits_of,
    },
    lots::LotStatus,
    people::{Actor, Capability},
    stock::MovementKind,
    text,
    tickets::{Completion, Ticket, TicketStatus},
};
use kernel::{
    Count, Density, Mass, Quantity,
    ids::{BatchCheckId, FormulaId, LotId, TicketId},
    limits::{PIECES_MISSING_USUAL, UNACCOUNTED_IN_ALL_USUAL, UNACCOUNTED_IN_MAKING_USUAL},
};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use store::stock::NewMovement;

use crate::{
    App, Change, Error,
    change::{Begun, Work},
    fresh::Problems,
    lots::lot_lock,
    require,
    ticket_end::{BulkWrite, FillingPlace, FillingWrite, check_filling},
    ticket_life::{awake, ready_to_make, steps_take, version_of},
    tickets::{not_ready, ticket_lock, ticket_reload},
};

/// What a formula's batches are to be examined for.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct CheckLimitApprove {
    /// The formula.
    pub formula: FormulaId,
    /// pH, viscosity, appearance.
    pub name: String,
    /// The least a figure may be.
    pub lower: Option<Decimal>,
    /// The most.
    pub upper: Option<Decimal>,
    /// The unit of the figure.
    pub unit: Option<String>,
    /// How it is looked at.
    pub method: Option<String>,
    /// Whether it is asked for from now on; not, to end an earlier entry.
    pub asked: bool,
}

/// A result, as it is entered.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct BatchCheckWrite {
    /// The ticket.
    pub ticket: TicketId,
    /// pH, viscosity, appearance.
    pub name: String,
    /// The result as a figure.
    pub figure: Option<Decimal>,
    /// Or in words, with `passed`.
    pub words: Option<String>,
    /// How it was judged; a figure is judged by its limits.
    pub passed: Option<bool>,
    /// With what it was measured.
    pub instrument: Option<String>,
    /// Why a result that was not met is accepted; takes the right to release and reject.
    pub accept: Option<String>,
}

/// An amount that did not go on, as it is entered.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct LostWrite {
    /// What became of it.
    pub bucket: Bucket,
    /// How much.
    pub amount: Mass,
}

/// What came out of making.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct TicketBulk {
    /// The ticket.
    pub ticket: TicketId,
    /// What came out, before filling.
    pub yield_mass: Mass,
    /// The number of the lot it becomes; made when empty.
    pub lot_number: Option<String>,
    /// Measured on this batch.
    pub density: Option<Density>,
    /// What did not come out, by its name.
    pub lost: Vec<LostWrite>,
    /// Remarks; needed when more came out than went in.
    pub note: Option<String>,
    /// The business day; today when empty.
    pub on: Option<NaiveDate>,
}

/// Units filled on one day.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct TicketFill {
    /// The ticket.
    pub ticket: TicketId,
    /// What was filled.
    pub filling: FillingWrite,
    /// What of the bulk was lost or taken with it, by its name.
    pub lost: Vec<LostWrite>,
    /// The business day; today when empty.
    pub on: Option<NaiveDate>,
}

/// The account of a ticket, to be closed.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct TicketReconcile {
    /// The ticket.
    pub ticket: TicketId,
    /// What was lost in making and not entered with the bulk.
    pub lost_in_making: Vec<LostWrite>,
    /// What of the bulk was lost or taken and not entered with a filling.
    pub lost_in_filling: Vec<LostWrite>,
    /// The bulk that is still there, as counted; what the ledger says when empty.
    pub left: Option<Mass>,
    /// Why more than usual is not accounted for; takes the right to release and reject.
    pub reason: Option<String>,
    /// The business day; today when empty.
    pub on: Option<NaiveDate>,
}

/// A decision on what a ticket made.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct TicketDecide {
    /// The ticket.
    pub ticket: TicketId,
    /// Released, or else rejected.
    pub release: bool,
    /// Why; needed to reject.
    pub reason: Option<String>,
}

/// How the end of a ticket stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TicketFinish {
    /// What it has to be examined for.
    pub limits: Vec<CheckLimit>,
    /// The results.
    pub checks: Vec<BatchCheck>,
    /// What stands against passing it on.
    pub checks_open: Vec<String>,
    /// Its fillings in full; those completed in one go too.
    pub fillings: Vec<FillingRecord>,
    /// The account, once its bulk is made: as closed, or as it stands.
    pub account: Option<Account>,
    /// The reason that was given for what nobody can name.
    pub reason: Option<String>,
}

impl App {
    /// Says what a formula's batches are to be examined for, from the next ticket on.
    ///
    /// # Errors
    /// [`Error::Invalid`], [`Error::NotFound`].
    pub async fn check_limit_approve(
        &self,
        change: &Change<'_>,
        input: CheckLimitApprove,
    ) -> Result<CheckLimit, Error> {
        let mut work =
            match self.begin(change, Capability::ApproveFormulas, "check-limit-approve", &input).await? {
                Begun::Repeat(limit) => return Ok(limit),
                Begun::Fresh(work) => work,
            };
        if self.snapshot().formulas.get(input.formula).is_none() {
            return Err(Error::not_found("formula", input.formula));
        }
        let mut problems = Problems::default();
        let name = problems.take("name", text::name("the name of a check", &input.name));
        let unit = problems.code("unit", "a unit", input.unit.as_deref());
        let method = problems.note("method", input.method.as_deref());
        if input.lower.zip(input.upper).is_some_and(|(lower, upper)| lower > upper) {
            problems.push("upper", "the upper limit lies below the lower one");
        }
        problems.none()?;
        let limit = CheckLimit {
            formula: input.formula,
            name: name.unwrap_or_default(),
            lower: input.lower.map(|figure| figure.normalize()),
            upper: input.upper.map(|figure| figure.normalize()),
            unit,
            method,
            asked: input.asked,
            approved_by: work.by.clone(),
            approved_at: work.at,
        };
        store::finishing::check_limit_insert(&work.tx, &limit).await?;
        work.note("formula", input.formula, None::<&()>, &limit, None)?;
        work.finish(limit).await
    }

    /// Enters the result of a check, held against the limits that hold for the ticket.
    ///
    /// # Errors
    /// [`Refusal::TicketNotReady`], [`Refusal::TicketPaused`], [`Error::Invalid`].
    pub async fn batch_check_record(
        &self,
        change: &Change<'_>,
        input: BatchCheckWrite,
    ) -> Result<BatchCheck, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "batch-check-record", &input).await?
        {
            Begun::Repeat(check) => return Ok(check),
            Begun::Fresh(work) => work,
        };
        let ticket = ticket_lock(&work.tx, input.ticket).await?;
        awake(&ticket)?;
        let looked_at = [
            TicketStatus::Weighing,
            TicketStatus::Making,
            TicketStatus::OnTest,
            TicketStatus::Adjusting,
            TicketStatus::Filling,
            TicketStatus::Reconciled,
        ];
        if !looked_at.contains(&ticket.status) {
            return Err(not_ready(&ticket, "begun and not decided on"));
        }
        let limits = store::finishing::check_limits_of(&work.tx, ticket.formula).await?;
        let mut problems = Problems::default();
        let name = problems.take("name", text::name("the name of a check", &input.name)).unwrap_or_default();
        let words = problems.note("words", input.words.as_deref());
        let instrument = problems.code("instrument", "an instrument", input.instrument.as_deref());
        let accepted = problems.note("accept", input.accept.as_deref());
        if accepted.is_some() && !change.actor.may(Capability::ReleaseAndReject) {
            problems
                .push("accept", "accepting a result that was not met takes the right to release and reject");
        }
        let asked = limits_of(&limits, &ticket)
            .into_iter()
            .find(|limit| text::code_key(&limit.name) == text::code_key(&name));
        let passed = match (input.figure, &words) {
            (Some(_), Some(_)) | (None, None) => {
                problems.push("figure", "a result is a figure or words, one of them");
                false
            }
            (Some(figure), None) => asked.map_or(input.passed.unwrap_or(true), |limit| limit.holds(figure)),
            (None, Some(_)) => input.passed.unwrap_or_else(|| {
                problems.push("passed", "say whether what was seen is as it should be");
                false
            }),
        };
        problems.none()?;
        let check = BatchCheck {
            id: BatchCheckId::new(),
            ticket: ticket.id,
            name: asked.map_or(name, |limit| limit.name.clone()),
            figure: input.figure.map(|figure| figure.normalize()),
            words,
            passed,
            lower: asked.and_then(|limit| limit.lower),
            upper: asked.and_then(|limit| limit.upper),
            unit: asked.and_then(|limit| limit.unit.clone()),
            instrument,
            accepted,
            by: work.by.clone(),
            at: work.at,
        };
        store::finishing::batch_check_insert(&work.tx, &check).await?;
        work.note("ticket", ticket.id, None::<&()>, &check, check.accepted.as_deref())?;
        work.finish(check).await
    }

    /// Makes the bulk of a ticket, with what did not come out by its name. Filling comes next.
    ///
    /// # Errors
    /// [`Refusal::TicketNotReady`], [`Refusal::TicketPaused`], [`Refusal::LinesNotWeighed`], [`Refusal::NotChecked`],
    /// [`Refusal::ChecksNotMet`], [`Refusal::MoreThanThereIs`], [`Refusal::Taken`], [`Error::Invalid`].
    pub async fn ticket_bulk(&self, change: &Change<'_>, input: TicketBulk) -> Result<Ticket, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "ticket-bulk", &input).await? {
            Begun::Repeat(ticket) => return Ok(ticket),
            Begun::Fresh(work) => work,
        };
        let catalogue = self.snapshot();
        let ticket = ticket_lock(&work.tx, input.ticket).await?;
        awake(&ticket)?;
        if !ticket.status.may_become(TicketStatus::Filling) {
            return Err(not_ready(&ticket, "being made, or on test"));
        }
        ready_to_make(&catalogue, &ticket)?;
        let version = version_of(&catalogue, &ticket)?;
        if version.lines.iter().any(|line| line.trim.is_some()) {
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
        let lost = losses(&work, Stage::Making, &input.lost, "lost", &mut problems);
        problems.none()?;
        let on = on.ok_or_else(|| Error::internal("a bulk without problems lacks its day"))?;
        let bulk = BulkWrite { yield_mass: input.yield_mass, lot_number, density: input.density, note, on };
        self.bulk_make(&mut work, &catalogue, &ticket, &bulk).await?;
        store::finishing::losses_insert(&work.tx, ticket.id, 0, &lost).await?;
        steps_take(&work, &ticket, &[TicketStatus::Filling], bulk.note.as_deref()).await?;
        let after = ticket_reload(&work.tx, ticket.id).await?;
        work.note(
            "ticket",
            ticket.id,
            Some(&serde_json::json!({ "status": ticket.status })),
            &serde_json::json!({ "status": after.status, "completion": after.completion, "lost": lost }),
            bulk.note.as_deref(),
        )?;
        work.finish(after).await
    }

    /// Fills units of one pack from a ticket's bulk; as often as it takes, over as many days.
    ///
    /// # Errors
    /// [`Refusal::TicketNotReady`], [`Refusal::TicketPaused`], [`Refusal::MoreThanThereIs`], [`Refusal::ShelfShort`],
    /// [`Refusal::Taken`], [`Error::Invalid`].
    pub async fn ticket_fill(&self, change: &Change<'_>, input: TicketFill) -> Result<Ticket, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "ticket-fill", &input).await? {
            Begun::Repeat(ticket) => return Ok(ticket),
            Begun::Fresh(work) => work,
        };
        let catalogue = self.snapshot();
        let ticket = ticket_lock(&work.tx, input.ticket).await?;
        awake(&ticket)?;
        let completion = filling_of(&ticket)?;
        let formula = catalogue
            .formulas
            .get(ticket.formula)
            .ok_or_else(|| Error::not_found("formula", ticket.formula))?;
        let version = version_of(&catalogue, &ticket)?;
        let mut problems = Problems::default();
        let on = self.day_settle(&mut problems, "on", input.on);
        if on.is_some_and(|on| on < completion.on) {
            problems.push("on", format!("the bulk was made on {}", completion.on));
        }
        check_filling(&catalogue, formula, &input.filling, "filling", &mut problems);
        let lost = losses(&work, Stage::Filling, &input.lost, "lost", &mut problems);
        problems.none()?;
        let on = on.ok_or_else(|| Error::internal("a filling without problems lacks its day"))?;
        let made = lot_lock(&work.tx, completion.lot).await?;
        let position = u32::try_from(completion.fillings.len().saturating_add(1))
            .map_err(|_| Error::internal("fillings of a ticket"))?;
        let place = FillingPlace { ticket: &ticket, position, density: completion.density, on };
        self.fill(&mut work, &catalogue, &made, version, &input.filling, &place).await?;
        self.losses_enter(&mut work, &ticket, completion.lot, &lost, on).await?;
        let after = ticket_reload(&work.tx, ticket.id).await?;
        let filled = after.completion.as_ref().and_then(|completion| completion.fillings.last());
        let entry = serde_json::json!({ "filling": filled, "lost": lost });
        work.note("ticket", ticket.id, None::<&()>, &entry, None)?;
        work.finish(after).await
    }

    /// Closes a ticket's account: every kilogram has a name, is in a unit or is still there, and what is not may only be so much.
    ///
    /// # Errors
    /// [`Refusal::TicketNotReady`], [`Refusal::TicketPaused`], [`Refusal::NotAccountedFor`], [`Refusal::MoreThanThereIs`],
    /// [`Error::Invalid`].
    pub async fn ticket_reconcile(
        &self,
        change: &Change<'_>,
        input: TicketReconcile,
    ) -> Result<Ticket, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "ticket-reconcile", &input).await? {
            Begun::Repeat(ticket) => return Ok(ticket),
            Begun::Fresh(work) => work,
        };
        let ticket = ticket_lock(&work.tx, input.ticket).await?;
        awake(&ticket)?;
        let completion = filling_of(&ticket)?.clone();
        let mut problems = Problems::default();
        let on = self.day_settle(&mut problems, "on", input.on);
        let reason = problems.note("reason", input.reason.as_deref());
        let in_making = losses(&work, Stage::Making, &input.lost_in_making, "lostInMaking", &mut problems);
        let in_filling =
            losses(&work, Stage::Filling, &input.lost_in_filling, "lostInFilling", &mut problems);
        if input.left.is_some_and(Mass::is_negative) {
            problems.push("left", "what is left is not below nought");
        }
        problems.none()?;
        let on = on.ok_or_else(|| Error::internal("an account without problems lacks its day"))?;
        let before = store::finishing::losses_of(&work.tx, ticket.id).await?.len();
        store::finishing::losses_insert(&work.tx, ticket.id, before, &in_making).await?;
        self.losses_enter(&mut work, &ticket, completion.lot, &in_filling, on).await?;

        let account = self.account_of(&work.tx, &ticket, &completion, input.left).await?;
        let overruled = reason.is_some() && change.actor.may(Capability::ReleaseAndReject);
        let mut refusals = Vec::new();
        if let Some((unaccounted, limit)) =
            account.beyond(UNACCOUNTED_IN_MAKING_USUAL, UNACCOUNTED_IN_ALL_USUAL)?
        {
            refusals.push(Refusal::NotAccountedFor {
                number: ticket.number.clone(),
                unaccounted: Quantity::Mass(unaccounted),
                limit: Quantity::Mass(limit),
            });
        }
        for used in store::finishing::filling_records_of(&work.tx, ticket.id)
            .await?
            .iter()
            .flat_map(|record| &record.components)
        {
            let issued = used.issued.unwrap_or_default();
            let limit = Count::from_exact_down(&(issued.to_exact() * PIECES_MISSING_USUAL.fraction()))?;
            if used.missing().saturating_abs() > limit.thousandths() {
                refusals.push(Refusal::NotAccountedFor {
                    number: ticket.number.clone(),
                    unaccounted: Quantity::Count(Count::from_thousandths(used.missing())),
                    limit: Quantity::Count(limit),
                });
            }
        }
        if !refusals.is_empty() && !overruled {
            return Err(Error::Refused(refusals));
        }
        // What was counted is what is there from now on.
        if let Some(left) = input.left {
            let bulk = lot_lock(&work.tx, completion.lot).await?;
            let difference = left.micrograms().saturating_sub(bulk.on_hand.raw());
            if difference != 0 {
                let quantity = Quantity::Mass(Mass::from_micrograms(difference));
                let words = format!("counted when ticket {} was reconciled", ticket.number);
                let movement = NewMovement {
                    ticket: Some(ticket.id),
                    reason: Some(words),
                    ..work.movement(bulk.id, MovementKind::Adjustment, quantity, on)
                };
                store::stock::post(&work.tx, &[movement]).await?;
            }
        }
        store::finishing::reconciliation_insert(
            &work.tx,
            ticket.id,
            &account,
            reason.as_deref(),
            &work.by,
            work.at,
        )
        .await?;
        steps_take(&work, &ticket, &[TicketStatus::Reconciled], reason.as_deref()).await?;
        let after = ticket_reload(&work.tx, ticket.id).await?;
        work.note(
            "ticket",
            ticket.id,
            Some(&serde_json::json!({ "status": ticket.status })),
            &serde_json::json!({ "status": after.status, "account": account }),
            reason.as_deref(),
        )?;
        work.finish(after).await
    }

    /// Releases or rejects what a ticket made: the ticket, its bulk and its finished lots together. A lot that was rejected by itself stays
    /// rejected.
    ///
    /// # Errors
    /// [`Refusal::TicketNotReady`], [`Refusal::ChecksNotMet`] for a release, [`Error::Invalid`] for a rejection without a reason.
    pub async fn ticket_decide(&self, change: &Change<'_>, input: TicketDecide) -> Result<Ticket, Error> {
        let mut work = match self.begin(change, Capability::ReleaseAndReject, "ticket-decide", &input).await?
        {
            Begun::Repeat(ticket) => return Ok(ticket),
            Begun::Fresh(work) => work,
        };
        let mut problems = Problems::default();
        let reason = problems.note("reason", input.reason.as_deref());
        if reason.is_none() && !input.release {
            problems.push("reason", "say why it is rejected");
        }
        problems.none()?;
        let ticket = ticket_lock(&work.tx, input.ticket).await?;
        let (next, status) = if input.release {
            (TicketStatus::Released, LotStatus::Released)
        } else {
            (TicketStatus::Rejected, LotStatus::Rejected)
        };
        if !ticket.status.may_become(next) {
            return Err(not_ready(&ticket, "reconciled"));
        }
        if input.release {
            let checks = store::finishing::batch_checks_of(&work.tx, ticket.id).await?;
            let limits = store::finishing::check_limits_of(&work.tx, ticket.formula).await?;
            let open = checks_open(&limits_of(&limits, &ticket), &checks);
            if !open.is_empty() {
                return Err(Refusal::ChecksNotMet { number: ticket.number, checks: open }.into());
            }
        }
        let mut lots: Vec<LotId> = ticket
            .completion
            .iter()
            .flat_map(|c| std::iter::once(c.lot).chain(c.fillings.iter().map(|filling| filling.lot)))
            .collect();
        lots.sort_unstable();
        for lot in store::lots::lots_lock(&work.tx, &lots).await? {
            if !lot.status.may_become(status) {
                continue;
            }
            store::lots::lot_status_set(&work.tx, lot.id, status).await?;
            work.note(
                "lot",
                lot.id,
                Some(&serde_json::json!({ "status": lot.status })),
                &serde_json::json!({ "status": status }),
                reason.as_deref(),
            )?;
        }
        steps_take(&work, &ticket, &[next], reason.as_deref()).await?;
        let after = ticket_reload(&work.tx, ticket.id).await?;
        work.note(
            "ticket",
            ticket.id,
            Some(&serde_json::json!({ "status": ticket.status })),
            &serde_json::json!({ "status": after.status }),
            reason.as_deref(),
        )?;
        work.finish(after).await
    }

    /// How the end of a ticket stands: its checks, its fillings in full, and its account.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn ticket_finish(&self, actor: &Actor, ticket: &Ticket) -> Result<TicketFinish, Error> {
        require(actor, Capability::Look)?;
        let tx = self.store().begin_read().await?;
        let all = store::finishing::check_limits_of(&tx, ticket.formula).await?;
        let limits = limits_of(&all, ticket);
        let checks = store::finishing::batch_checks_of(&tx, ticket.id).await?;
        let closed = store::finishing::reconciliation_of(&tx, ticket.id).await?;
        let (account, reason) = match (closed, &ticket.completion) {
            (Some((account, reason)), _) => (Some(account), reason),
            (None, Some(completion)) => (Some(self.account_of(&tx, ticket, completion, None).await?), None),
            (None, None) => (None, None),
        };
        Ok(TicketFinish {
            checks_open: checks_open(&limits, &checks),
            limits: limits.into_iter().cloned().collect(),
            checks,
            fillings: store::finishing::filling_records_of(&tx, ticket.id).await?,
            account,
            reason,
        })
    }

    /// The account as it stands: what left the bulk on other ways than this ticket's is still called left, for it is on the ledger.
    async fn account_of(
        &self,
        conn: &impl store::Conn,
        ticket: &Ticket,
        completion: &Completion,
        counted: Option<Mass>,
    ) -> Result<Account, Error> {
        let moved = store::stock::movements_of_lots(conn, &[completion.lot]).await?;
        let own = |ticket_of: Option<TicketId>| ticket_of == Some(ticket.id);
        let elsewhere = moved
            .iter()
            .filter(|m| !own(m.ticket))
            .fold(0_i64, |sum, m| sum.saturating_sub(m.quantity.raw()));
        let on_hand = moved.iter().fold(0_i64, |sum, m| sum.saturating_add(m.quantity.raw()));
        let filled = moved
            .iter()
            .filter(|m| own(m.ticket) && m.kind == MovementKind::Filling)
            .fold(0_i64, |sum, m| sum.saturating_sub(m.quantity.raw()));
        let left = counted.map_or(on_hand, Mass::micrograms).saturating_add(elsewhere);
        Ok(Account {
            charged: ticket.charged(),
            bulk: completion.yield_mass,
            lost: store::finishing::losses_of(conn, ticket.id).await?,
            filled: Mass::from_micrograms(filled),
            left: Mass::from_micrograms(left),
        })
    }

    /// Takes losses of the bulk off its lot, each by a movement of its own, and keeps their names.
    async fn losses_enter(
        &self,
        work: &mut Work<'_>,
        ticket: &Ticket,
        bulk: LotId,
        lost: &[Lost],
        on: NaiveDate,
    ) -> Result<(), Error> {
        if lost.is_empty() {
            return Ok(());
        }
        let lot = lot_lock(&work.tx, bulk).await?;
        let sum = lost.iter().fold(0_i64, |sum, lost| sum.saturating_add(lost.amount.micrograms()));
        if sum > lot.on_hand.raw() {
            return Err(Refusal::MoreThanThereIs {
                what: "what was lost of the bulk".to_owned(),
                claimed: Quantity::Mass(Mass::from_micrograms(sum)),
                limit: lot.on_hand,
            }
            .into());
        }
        let movements: Vec<NewMovement> = lost
            .iter()
            .map(|lost| {
                let kind =
                    if lost.bucket.is_sample() { MovementKind::Sample } else { MovementKind::WriteOff };
                let quantity = Quantity::Mass(Mass::from_micrograms(-lost.amount.micrograms()));
                NewMovement {
                    ticket: Some(ticket.id),
                    reason: Some(lost.bucket.words().to_owned()),
                    ..work.movement(bulk, kind, quantity, on)
                }
            })
            .collect();
        store::stock::post(&work.tx, &movements).await?;
        let before = store::finishing::losses_of(&work.tx, ticket.id).await?.len();
        store::finishing::losses_insert(&work.tx, ticket.id, before, lost).await?;
        Ok(())
    }
}

/// How a ticket ended so far, while it is being filled.
fn filling_of(ticket: &Ticket) -> Result<&Completion, Error> {
    match (&ticket.completion, ticket.status) {
        (Some(completion), TicketStatus::Filling) => Ok(completion),
        _ => Err(not_ready(ticket, "being filled")),
    }
}

fn losses(
    work: &Work<'_>,
    stage: Stage,
    entered: &[LostWrite],
    place: &str,
    problems: &mut Problems,
) -> Vec<Lost> {
    let mut losses = Vec::with_capacity(entered.len());
    for (at, lost) in entered.iter().enumerate() {
        if problems.take(&format!("{place}[{at}].amount"), lost.amount.require_positive()).is_some() {
            let (by, at) = (work.by.clone(), work.at);
            losses.push(Lost { stage, bucket: lost.bucket, amount: lost.amount, by, at });
        }
    }
    losses
}
