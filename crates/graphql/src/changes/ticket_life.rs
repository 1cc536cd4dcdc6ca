//! Changes of a ticket between its first weighing and its bulk, of balances, and of what may be weighed instead.

use app::{
    AlternateApprove, BalanceRecord, NextStep, TicketScale, TicketStep, TicketVoid, VoidedWeighing,
    WeighingConfirm,
};
use async_graphql::{Context, Enum, ID, InputObject, Object};
use domain::{people::Capability, tickets::Ticket as Row};

use crate::{
    amounts::QuantityInput,
    balances::{Alternate, Balance},
    caller::{Desk, Find as _, ticket_named},
    changes::{Reading, answers, require},
    errors::Result,
    ids::{Which, read},
    scalars::{Date, Decimal},
    tickets::{Ticket, WeighingOutcome},
};

/// What is done next with a ticket.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "NextStep")]
pub enum TicketNextStep {
    /// Everything is weighed, and looked at by a second person where that is asked for; it is made.
    Make,
    /// It is made, and examined.
    Test,
    /// A test was missed; something is added.
    Adjust,
    /// It rests; needs a note that says why.
    Pause,
    /// It goes on.
    Resume,
}

/// A step of a ticket.
#[derive(InputObject)]
pub struct TicketStepInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The ticket.
    pub ticket: Which,
    /// What is done next.
    pub step: TicketNextStep,
    /// Remarks; the reason of a pause.
    pub note: Option<String>,
}

/// A batch to be scaled up.
#[derive(InputObject)]
pub struct TicketScaleInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The ticket.
    pub ticket: Which,
    /// What is charged in all from now on, a mass; more than before.
    pub batch: QuantityInput,
    /// Why.
    pub reason: String,
}

/// A ticket to be given up after something was weighed.
#[derive(InputObject)]
pub struct TicketVoidInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The ticket.
    pub ticket: Which,
    /// Why.
    pub reason: String,
    /// What became of single weighings.
    #[graphql(default)]
    pub outcomes: Vec<VoidedWeighingInput>,
    /// What became of all others.
    pub otherwise: WeighingOutcome,
    /// The number of the lot that keeps what is to be reworked; made when nothing is said.
    pub rework_lot: Option<String>,
}

/// What became of one weighing of a voided ticket.
#[derive(InputObject)]
pub struct VoidedWeighingInput {
    /// The weighing, by global id.
    pub weighing: ID,
    /// What became of it.
    pub outcome: WeighingOutcome,
}

/// A second person's confirmation.
#[derive(InputObject)]
pub struct WeighingConfirmInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The ticket.
    pub ticket: Which,
    /// The weighing, by global id.
    pub weighing: ID,
}

/// A balance.
#[derive(InputObject)]
pub struct BalanceRecordInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The house's short code; the balance of that code is written anew.
    pub code: String,
    /// What it is called here.
    pub name: String,
    /// The step of its figures, a mass.
    pub division: QuantityInput,
    /// The most it carries, container and all, a mass.
    pub capacity: QuantityInput,
    /// The least net weight sensibly weighed on it, a mass; worked out from division and tolerance when nothing is said.
    pub smallest_net: Option<QuantityInput>,
    /// It is not used after this day before it was calibrated again.
    pub calibration_due: Option<Date>,
    /// Remarks.
    pub note: Option<String>,
}

/// An approval of an alternate.
#[derive(InputObject)]
pub struct AlternateApproveInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The material that stands on tickets.
    pub material: Which,
    /// What may be weighed instead.
    pub alternate: Which,
    /// Only for this formula; for all when nothing is said.
    pub formula: Option<Which>,
    /// kg of the alternate for one kg of the material.
    pub factor: Decimal,
    /// Whether what is declared on the label changes with it.
    pub changes_label: bool,
    /// The last day it may be used so; a day that is past ends an approval.
    pub valid_until: Option<Date>,
    /// What the approval rests on.
    pub evidence: Option<String>,
}

answers! {
    TicketStepResult = TicketStepPayload {
        /// The ticket as it now is.
        ticket: Ticket
    } of Row: |_, row| Ok(Ticket(row));
    TicketScaleResult = TicketScalePayload {
        /// The ticket with its new targets.
        ticket: Ticket
    } of Row: |_, row| Ok(Ticket(row));
    TicketVoidResult = TicketVoidPayload {
        /// The ticket, voided.
        ticket: Ticket
    } of Row: |_, row| Ok(Ticket(row));
    WeighingConfirmResult = WeighingConfirmPayload {
        /// The ticket as it now is.
        ticket: Ticket
    } of Row: |_, row| Ok(Ticket(row));
    BalanceRecordResult = BalanceRecordPayload {
        /// The balance as it now is.
        balance: Balance
    } of domain::balances::Balance: |ctx, row| Ok(Balance::of(row, ctx.house()?.today()));
    AlternateApproveResult = AlternateApprovePayload {
        /// The approval.
        alternate: Alternate
    } of domain::alternates::Alternate: |_, row| Ok(Alternate(row));
}

/// Changes of a ticket under way.
#[derive(Default)]
pub struct TicketLifeChanges;

/// Changes of a ticket under way.
#[Object]
impl TicketLifeChanges {
    /// Takes a ticket a step on (made, tested, adjusted, tested again), or lets it rest and go on. Takes the right to plan and make.
    /// Refused: TicketNotReady, TicketPaused, LinesNotWeighed, NotChecked.
    async fn ticket_step(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The ticket and the step.")] input: TicketStepInput,
    ) -> Result<TicketStepResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key)?;
        let read = TicketStep {
            ticket: ticket_named(ctx, &input.ticket, "ticket").await?.id,
            step: NextStep::from(input.step),
            note: input.note,
        };
        TicketStepResult::of(ctx, ctx.house()?.ticket_step(&change, read).await)
    }

    /// Scales a batch up: every target grows in the same proportion. Promises stay as they are; allocate again for the rest. Takes the
    /// right to plan and make. Refused: TicketNotReady, TicketPaused.
    async fn ticket_scale(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The ticket and its new batch.")] input: TicketScaleInput,
    ) -> Result<TicketScaleResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key)?;
        let ticket = ticket_named(ctx, &input.ticket, "ticket").await?.id;
        let mut reading = Reading::default();
        let batch = reading.take("batch", input.batch.mass());
        let read = TicketScale { ticket, batch: reading.finish(batch)?, reason: input.reason };
        TicketScaleResult::of(ctx, ctx.house()?.ticket_scale(&change, read).await)
    }

    /// Gives a ticket up after something was weighed: each weighing goes back to its lot, is scrapped, or is kept in a lot of its own
    /// to be reworked. Takes the right to plan and make. Refused: TicketNotReady, NotReversible, Taken.
    async fn ticket_void(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The ticket, why, and what became of what was weighed.")] input: TicketVoidInput,
    ) -> Result<TicketVoidResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key)?;
        let ticket = ticket_named(ctx, &input.ticket, "ticket").await?.id;
        let mut outcomes = Vec::with_capacity(input.outcomes.len());
        for (at, voided) in input.outcomes.into_iter().enumerate() {
            outcomes.push(VoidedWeighing {
                weighing: read(&voided.weighing, &format!("outcomes[{at}].weighing"))?,
                outcome: voided.outcome.into(),
            });
        }
        let read = TicketVoid {
            ticket,
            reason: input.reason,
            outcomes,
            otherwise: input.otherwise.into(),
            rework_lot: input.rework_lot,
        };
        TicketVoidResult::of(ctx, ctx.house()?.ticket_void(&change, read).await)
    }

    /// Confirms a weighing as its second person, who is whoever asks; nobody confirms their own. Takes the right to plan and make.
    /// Refused: TicketNotReady, TicketPaused.
    async fn weighing_confirm(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The weighing.")] input: WeighingConfirmInput,
    ) -> Result<WeighingConfirmResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key)?;
        let read = WeighingConfirm {
            ticket: ticket_named(ctx, &input.ticket, "ticket").await?.id,
            weighing: read(&input.weighing, "weighing")?,
        };
        WeighingConfirmResult::of(ctx, ctx.house()?.weighing_confirm(&change, read).await)
    }

    /// Enters a balance, or writes the one of that code anew. Tickets written from then on round their targets to what their balances
    /// can show. Takes the right to administer. Refused: Taken.
    async fn balance_record(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The balance.")] input: BalanceRecordInput,
    ) -> Result<BalanceRecordResult> {
        require(ctx, Capability::Administer)?;
        let change = ctx.change(input.request_key)?;
        let mut reading = Reading::default();
        let division = reading.take("division", input.division.mass());
        let capacity = reading.take("capacity", input.capacity.mass());
        let smallest = reading.optional("smallestNet", input.smallest_net.map(QuantityInput::mass));
        let (Some((division, capacity)), smallest_net) = (division.zip(capacity), smallest.flatten()) else {
            return reading.finish(None);
        };
        let record = BalanceRecord {
            code: input.code,
            name: input.name,
            division,
            capacity,
            smallest_net,
            calibration_due: input.calibration_due.map(|day| day.0),
            note: input.note,
        };
        let record = reading.finish(Some(record))?;
        BalanceRecordResult::of(ctx, ctx.house()?.balance_record(&change, record).await)
    }

    /// Approves a material to be weighed instead of another, by a factor. Takes the right to approve formulas. Refused: never.
    async fn alternate_approve(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The approval.")] input: AlternateApproveInput,
    ) -> Result<AlternateApproveResult> {
        require(ctx, Capability::ApproveFormulas)?;
        let change = ctx.change(input.request_key)?;
        let catalogue = ctx.catalogue()?;
        let formula = input.formula.map(|which| catalogue.formula(&which, "formula")).transpose()?;
        let approve = AlternateApprove {
            material: catalogue.material(&input.material, "material")?.id,
            alternate: catalogue.material(&input.alternate, "alternate")?.id,
            formula: formula.map(|formula| formula.id),
            factor: input.factor.0,
            changes_label: input.changes_label,
            valid_until: input.valid_until.map(|day| day.0),
            evidence: input.evidence,
        };
        AlternateApproveResult::of(ctx, ctx.house()?.alternate_approve(&change, approve).await)
    }
}
