//! Changes at the end of a ticket: results, bulk, fillings, the account, the decision.

use app::{
    BatchCheckWrite, CheckLimitApprove, CountedComponent, FillingCounts, FillingWrite, LostWrite,
    SpoiledComponent, TicketBulk, TicketDecide, TicketFill, TicketReconcile,
};
use async_graphql::{Context, InputObject, Object};
use domain::{people::Capability, tickets::Ticket as Row};
use kernel::{Count, Density};

use crate::{
    amounts::QuantityInput,
    caller::{Desk, Find as _, ticket_named},
    changes::{Reading, answers, require, tickets::SpoiledComponentInput},
    errors::Result,
    finishing::{BatchCheck, CheckLimit, LossBucket},
    ids::Which,
    scalars::{Date, Decimal},
    tickets::Ticket,
};

/// What a formula's batches are to be examined for.
#[derive(InputObject)]
pub struct CheckLimitApproveInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The formula.
    pub formula: Which,
    /// pH, viscosity, appearance; an earlier entry of the same name no longer holds.
    pub name: String,
    /// The least a figure may be.
    pub lower: Option<Decimal>,
    /// The most.
    pub upper: Option<Decimal>,
    /// The unit of the figure.
    pub unit: Option<String>,
    /// How it is looked at: instrument, temperature, standard.
    pub method: Option<String>,
    /// Whether it is asked for from now on; false ends an earlier entry.
    #[graphql(default = true)]
    pub asked: bool,
}

/// A result.
#[derive(InputObject)]
pub struct BatchCheckRecordInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The ticket.
    pub ticket: Which,
    /// pH, viscosity, appearance.
    pub name: String,
    /// The result, where it is a figure; it is held against the limits of the ticket.
    pub figure: Option<Decimal>,
    /// The result, where it is words.
    pub words: Option<String>,
    /// How it was judged; needed for words, and for a figure only where there are no limits.
    pub passed: Option<bool>,
    /// With what it was measured.
    pub instrument: Option<String>,
    /// Why a result that was not met is accepted all the same. Takes the right to release and reject.
    pub accept: Option<String>,
}

/// An amount that did not go on.
#[derive(InputObject)]
pub struct LossInput {
    /// What became of it.
    pub bucket: LossBucket,
    /// How much, a mass.
    pub amount: QuantityInput,
}

/// What came out of making.
#[derive(InputObject)]
pub struct TicketBulkInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The ticket.
    pub ticket: Which,
    /// What came out before filling, a mass.
    pub yield_mass: QuantityInput,
    /// The number of the lot it becomes; made when nothing is said.
    pub lot_number: Option<String>,
    /// Density measured on this batch, kg/L.
    #[graphql(name = "densityKgPerL")]
    pub density_kg_per_l: Option<Decimal>,
    /// What did not come out, by its name.
    #[graphql(default)]
    pub lost: Vec<LossInput>,
    /// Remarks; needed when more came out than went in.
    pub note: Option<String>,
    /// The business day; today when nothing is said.
    pub on: Option<Date>,
}

/// Units filled of one pack on one day.
#[derive(InputObject)]
pub struct TicketFillInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The ticket.
    pub ticket: Which,
    /// The pack.
    pub pack: Which,
    /// Good units.
    pub filled: Decimal,
    /// Units filled and not good.
    pub rejected: Option<Decimal>,
    /// What left the bulk for all of them, a mass; worked out from fill and overfill when nothing is said.
    pub drawn: Option<QuantityInput>,
    /// The number of the lot they become; made when nothing is said.
    pub lot_number: Option<String>,
    /// Components spoiled on the line.
    #[graphql(default)]
    pub spoiled: Vec<SpoiledComponentInput>,
    /// Components counted to the line and back; what left their lots is then the difference.
    #[graphql(default)]
    pub components: Vec<CountedComponentInput>,
    /// What of the bulk was lost or taken with it, by its name.
    #[graphql(default)]
    pub lost: Vec<LossInput>,
    /// The business day; today when nothing is said.
    pub on: Option<Date>,
}

/// Pieces of a component counted to the line and back.
#[derive(InputObject)]
pub struct CountedComponentInput {
    /// The component, one of the pack's.
    pub material: Which,
    /// Brought to the line.
    pub issued: Decimal,
    /// Taken back to its lot.
    pub returned: Decimal,
}

/// The account of a ticket, to be closed.
#[derive(InputObject)]
pub struct TicketReconcileInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The ticket.
    pub ticket: Which,
    /// What was lost in making and not entered with the bulk.
    #[graphql(default)]
    pub lost_in_making: Vec<LossInput>,
    /// What of the bulk was lost or taken and not entered with a filling.
    #[graphql(default)]
    pub lost_in_filling: Vec<LossInput>,
    /// The bulk that is still there as counted, a mass; what the ledger says when nothing is said.
    pub left: Option<QuantityInput>,
    /// Why more than usual is not accounted for. Takes the right to release and reject.
    pub reason: Option<String>,
    /// The business day; today when nothing is said.
    pub on: Option<Date>,
}

/// A decision on what a ticket made.
#[derive(InputObject)]
pub struct TicketDecideInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The ticket.
    pub ticket: Which,
    /// True releases, false rejects.
    pub release: bool,
    /// Why; needed to reject.
    pub reason: Option<String>,
}

answers! {
    CheckLimitApproveResult = CheckLimitApprovePayload {
        /// What is asked.
        limit: CheckLimit
    } of domain::finishing::CheckLimit: |_, row| Ok(row.into());
    BatchCheckRecordResult = BatchCheckRecordPayload {
        /// The result.
        check: BatchCheck
    } of domain::finishing::BatchCheck: |_, row| Ok(row.into());
    TicketBulkResult = TicketBulkPayload {
        /// The ticket, being filled.
        ticket: Ticket
    } of Row: |_, row| Ok(Ticket(row));
    TicketFillResult = TicketFillPayload {
        /// The ticket with its fillings.
        ticket: Ticket
    } of Row: |_, row| Ok(Ticket(row));
    TicketReconcileResult = TicketReconcilePayload {
        /// The ticket, reconciled.
        ticket: Ticket
    } of Row: |_, row| Ok(Ticket(row));
    TicketDecideResult = TicketDecidePayload {
        /// The ticket, decided on.
        ticket: Ticket
    } of Row: |_, row| Ok(Ticket(row));
}

fn losses(reading: &mut Reading, place: &str, losses: Vec<LossInput>) -> Vec<LostWrite> {
    let mut read = Vec::with_capacity(losses.len());
    for (at, lost) in losses.into_iter().enumerate() {
        let amount = reading.take(&format!("{place}[{at}].amount"), lost.amount.mass());
        read.extend(amount.map(|amount| LostWrite { bucket: lost.bucket.into(), amount }));
    }
    read
}

/// Changes at the end of a ticket.
#[derive(Default)]
pub struct FinishingChanges;

/// Changes at the end of a ticket.
#[Object]
impl FinishingChanges {
    /// Says what a formula's batches are to be examined for; tickets written from then on are held to it. Takes the right to approve
    /// formulas. Refused: never.
    async fn check_limit_approve(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What is asked.")] input: CheckLimitApproveInput,
    ) -> Result<CheckLimitApproveResult> {
        require(ctx, Capability::ApproveFormulas)?;
        let change = ctx.change(input.request_key)?;
        let approve = CheckLimitApprove {
            formula: ctx.catalogue()?.formula(&input.formula, "formula")?.id,
            name: input.name,
            lower: input.lower.map(|figure| figure.0),
            upper: input.upper.map(|figure| figure.0),
            unit: input.unit,
            method: input.method,
            asked: input.asked,
        };
        CheckLimitApproveResult::of(ctx, ctx.house()?.check_limit_approve(&change, approve).await)
    }

    /// Enters the result of a check. The latest of a name counts; nothing is overwritten. Takes the right to plan and make. Refused:
    /// TicketNotReady, TicketPaused.
    async fn batch_check_record(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The result.")] input: BatchCheckRecordInput,
    ) -> Result<BatchCheckRecordResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key)?;
        let write = BatchCheckWrite {
            ticket: ticket_named(ctx, &input.ticket, "ticket").await?.id,
            name: input.name,
            figure: input.figure.map(|figure| figure.0),
            words: input.words,
            passed: input.passed,
            instrument: input.instrument,
            accept: input.accept,
        };
        BatchCheckRecordResult::of(ctx, ctx.house()?.batch_check_record(&change, write).await)
    }

    /// Makes the bulk of a ticket, with what did not come out by its name; its checks have to be met. Filling comes next. Takes the right
    /// to plan and make. Refused: TicketNotReady, TicketPaused, LinesNotWeighed, NotChecked, ChecksNotMet, MoreThanThereIs, Taken.
    async fn ticket_bulk(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The ticket and what came out.")] input: TicketBulkInput,
    ) -> Result<TicketBulkResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key)?;
        let ticket = ticket_named(ctx, &input.ticket, "ticket").await?.id;
        let mut reading = Reading::default();
        let yield_mass = reading.take("yieldMass", input.yield_mass.mass());
        let density = reading.optional(
            "densityKgPerL",
            input.density_kg_per_l.map(|figure| Density::from_kg_per_litre(figure.0)),
        );
        let lost = losses(&mut reading, "lost", input.lost);
        let (yield_mass, density) = reading.finish(yield_mass.zip(density))?;
        let bulk = TicketBulk {
            ticket,
            yield_mass,
            lot_number: input.lot_number,
            density,
            lost,
            note: input.note,
            on: input.on.map(|day| day.0),
        };
        TicketBulkResult::of(ctx, ctx.house()?.ticket_bulk(&change, bulk).await)
    }

    /// Fills units of one pack from a ticket's bulk: as often as it takes, over as many days. Takes the right to plan and make. Refused:
    /// TicketNotReady, TicketPaused, MoreThanThereIs, ShelfShort, Taken.
    async fn ticket_fill(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The ticket and what was filled.")] input: TicketFillInput,
    ) -> Result<TicketFillResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key)?;
        let ticket = ticket_named(ctx, &input.ticket, "ticket").await?.id;
        let catalogue = ctx.catalogue()?;
        let pack = catalogue.pack_named(&input.pack, "pack")?.id;
        let mut reading = Reading::default();
        let filled = reading.take("filled", Count::from_pieces(input.filled.0));
        let rejected = reading.optional("rejected", input.rejected.map(|n| Count::from_pieces(n.0)));
        let drawn = reading.optional("drawn", input.drawn.map(QuantityInput::mass));
        let mut spoiled = Vec::with_capacity(input.spoiled.len());
        for (at, component) in input.spoiled.into_iter().enumerate() {
            let place = format!("spoiled[{at}]");
            let material = catalogue.material(&component.material, &format!("{place}.material"))?.id;
            let pieces = reading.take(&format!("{place}.pieces"), Count::from_pieces(component.pieces.0));
            spoiled.extend(pieces.map(|pieces| SpoiledComponent { material, pieces }));
        }
        let mut components = Vec::with_capacity(input.components.len());
        for (at, counted) in input.components.into_iter().enumerate() {
            let place = format!("components[{at}]");
            let material = catalogue.material(&counted.material, &format!("{place}.material"))?.id;
            let issued = reading.take(&format!("{place}.issued"), Count::from_pieces(counted.issued.0));
            let returned = reading.take(&format!("{place}.returned"), Count::from_pieces(counted.returned.0));
            components.extend(issued.zip(returned).map(|(issued, returned)| CountedComponent {
                material,
                issued,
                returned,
            }));
        }
        let lost = losses(&mut reading, "lost", input.lost);
        let read = filled.zip(rejected).zip(drawn);
        let ((filled, rejected), drawn) = reading.finish(read)?;
        let fill = TicketFill {
            ticket,
            filling: FillingWrite {
                pack,
                filled,
                spoiled,
                lot_number: input.lot_number,
                counts: FillingCounts { drawn, rejected: rejected.unwrap_or_default(), components },
            },
            lost,
            on: input.on.map(|day| day.0),
        };
        TicketFillResult::of(ctx, ctx.house()?.ticket_fill(&change, fill).await)
    }

    /// Closes a ticket's account: every kilogram has a name, is in a unit or is still there. Of what was charged 2 % may be missing after
    /// making and 3 % in all, and 1 % of counted components; more takes a reason and the right to release and reject. Takes the right to
    /// plan and make. Refused: TicketNotReady, TicketPaused, NotAccountedFor, MoreThanThereIs.
    async fn ticket_reconcile(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The ticket and the rest of its account.")] input: TicketReconcileInput,
    ) -> Result<TicketReconcileResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key)?;
        let ticket = ticket_named(ctx, &input.ticket, "ticket").await?.id;
        let mut reading = Reading::default();
        let lost_in_making = losses(&mut reading, "lostInMaking", input.lost_in_making);
        let lost_in_filling = losses(&mut reading, "lostInFilling", input.lost_in_filling);
        let left = reading.optional("left", input.left.map(QuantityInput::mass));
        let left = reading.finish(left)?;
        let reconcile = TicketReconcile {
            ticket,
            lost_in_making,
            lost_in_filling,
            left,
            reason: input.reason,
            on: input.on.map(|day| day.0),
        };
        TicketReconcileResult::of(ctx, ctx.house()?.ticket_reconcile(&change, reconcile).await)
    }

    /// Releases or rejects what a ticket made: the ticket, its bulk and its finished lots together. Takes the right to release and reject.
    /// Refused: TicketNotReady, ChecksNotMet.
    async fn ticket_decide(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The ticket and the decision.")] input: TicketDecideInput,
    ) -> Result<TicketDecideResult> {
        require(ctx, Capability::ReleaseAndReject)?;
        let change = ctx.change(input.request_key)?;
        let decide = TicketDecide {
            ticket: ticket_named(ctx, &input.ticket, "ticket").await?.id,
            release: input.release,
            reason: input.reason,
        };
        TicketDecideResult::of(ctx, ctx.house()?.ticket_decide(&change, decide).await)
    }
}
