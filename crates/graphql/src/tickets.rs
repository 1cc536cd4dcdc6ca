//! Batch tickets.

use std::sync::Arc;

use async_graphql::{Context, Enum, ID, Object, SimpleObject, connection::Connection};
use domain::tickets::{Ticket as Row, TicketLine as LineRow, Weighing as WeighingRow};

use crate::{
    amounts::{Quantity, kg, kg_per_l, percent},
    balances::Balance,
    bases::Basis,
    caller::{Desk, Find as _},
    cautions::Cautions,
    errors::Result,
    finishing::TicketFinish,
    formulas::{Formula, FormulaVersion, formula_of},
    ids::{Which, global_id},
    lots::Lot,
    materials::{Material, material_of},
    packs::{Pack, pack_of},
    pages::{Cursor, Paging, stored_page},
    scalars::{Date, DateTime, Decimal},
    shelf::lot_of,
    stock::Movement,
    variances::TicketVariances,
};

/// Where a ticket stands.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "domain::tickets::TicketStatus")]
pub enum TicketStatus {
    /// Written; nothing promised yet.
    Planned,
    /// Lots are promised to it.
    Allocated,
    /// Something has been weighed.
    Weighing,
    /// Everything is weighed; it is being made.
    Making,
    /// Made, and being examined.
    OnTest,
    /// Something is added until the tests are met.
    Adjusting,
    /// Its bulk is a lot and is being filled.
    Filling,
    /// Every kilogram has been accounted for; it waits for a decision.
    Reconciled,
    /// What it made may be used and sold.
    Released,
    /// What it made may not.
    Rejected,
    /// Given up before anything was weighed.
    Cancelled,
    /// Given up after something was weighed; what became of each weighing is on record.
    Voided,
}

/// What became of a weighing that was undone.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "domain::tickets::WeighingOutcome")]
pub enum WeighingOutcome {
    /// It went back to its lot, untouched.
    BackToLot,
    /// It was thrown away.
    Scrapped,
    /// It is kept in a lot of its own, to be worked into a later batch.
    IntoRework,
}

/// One step of a ticket's life.
#[derive(SimpleObject)]
pub struct TicketStepTaken {
    /// Where it stood.
    pub from: TicketStatus,
    /// Where it stood then; the same when it was paused, resumed or scaled, which the note says.
    pub to: TicketStatus,
    /// Who.
    pub by: String,
    /// When.
    pub at: DateTime,
    /// Why, or what was done.
    pub note: Option<String>,
}

/// Why a ticket rests.
#[derive(SimpleObject)]
pub struct TicketPause {
    /// Who stopped it.
    pub by: String,
    /// When.
    pub at: DateTime,
    /// Why.
    pub reason: String,
}

/// A ticket.
#[derive(Clone)]
pub struct Ticket(pub Row);

/// The record by which one batch is made: a frozen copy of an approved formula version.
#[Object]
impl Ticket {
    /// The global id.
    pub(crate) async fn id(&self) -> ID {
        global_id(self.0.id)
    }

    /// The house's number for it; never used again.
    async fn number(&self) -> &str {
        &self.0.number
    }

    /// The formula.
    async fn formula(&self, ctx: &Context<'_>) -> Result<Formula> {
        formula_of(ctx, self.0.formula)
    }

    /// The version it is a copy of.
    async fn version(&self, ctx: &Context<'_>) -> Result<FormulaVersion> {
        FormulaVersion::find(ctx, self.0.version)
    }

    /// The pack it is meant for.
    async fn pack(&self, ctx: &Context<'_>) -> Result<Option<Pack>> {
        self.0.pack.map(|id| pack_of(ctx, id)).transpose()
    }

    /// Units of that pack it is meant for.
    async fn units(&self) -> Option<Quantity> {
        self.0.units.map(|units| Quantity(kernel::Quantity::Count(units)))
    }

    /// What is charged in all, kg; the targets of its lines add up to it.
    async fn batch_kg(&self) -> Decimal {
        kg(self.0.batch)
    }

    /// The day it is to be made.
    async fn planned_for(&self) -> Date {
        Date(self.0.planned_for)
    }

    /// Where it stands.
    async fn status(&self) -> TicketStatus {
        self.0.status.into()
    }

    /// Why it rests; null while it does not.
    async fn paused(&self) -> Option<TicketPause> {
        let pause = self.0.paused.as_ref()?;
        Some(TicketPause { by: pause.by.clone(), at: DateTime(pause.at), reason: pause.reason.clone() })
    }

    /// Where it went, step by step.
    async fn steps(&self) -> Vec<TicketStepTaken> {
        let taken = |step: &domain::tickets::Step| TicketStepTaken {
            from: step.from.into(),
            to: step.to.into(),
            by: step.by.clone(),
            at: DateTime(step.at),
            note: step.note.clone(),
        };
        self.0.steps.iter().map(taken).collect()
    }

    /// What was to be charged when it was written, kg; null unless it was scaled since.
    async fn planned_batch_kg(&self) -> Option<Decimal> {
        self.0.planned_batch.map(kg)
    }

    /// What was weighed and stands, kg.
    async fn charged_kg(&self) -> Decimal {
        kg(self.0.charged())
    }

    /// What is to be weighed, in order of addition.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn lines(&self) -> Vec<TicketLine> {
        let ticket = Arc::new(self.0.clone());
        let line = |row: &LineRow| TicketLine { ticket: Arc::clone(&ticket), row: row.clone() };
        self.0.lines.iter().map(line).collect()
    }

    /// What is promised to it and not weighed yet.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn allocations(&self) -> Vec<Allocation> {
        self.0.allocations.iter().map(|row| Allocation::of(&self.0, row)).collect()
    }

    /// What was weighed, in the order it was entered; also what was taken back.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn weighings(&self) -> Vec<Weighing> {
        self.0.weighings.iter().map(|row| Weighing::of(&self.0, row)).collect()
    }

    /// What came out; null until its bulk is made.
    async fn completion(&self) -> Option<Completion> {
        self.0.completion.clone().map(Completion)
    }

    /// Who wrote it.
    async fn written_by(&self) -> &str {
        &self.0.written_by
    }

    /// When it was written.
    async fn written_at(&self) -> DateTime {
        DateTime(self.0.written_at)
    }

    /// Remarks; the reason when it was cancelled.
    async fn note(&self) -> Option<&str> {
        self.0.note.as_deref()
    }

    /// Everything it moved, in the order it was posted.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn movements(&self, ctx: &Context<'_>) -> Result<Vec<Movement>> {
        let movements = ctx.house()?.movements_of_ticket(ctx.actor()?, self.0.id).await?;
        Ok(movements.into_iter().map(Movement).collect())
    }

    /// How its end stands: what it is examined for, its fillings in full, and what became of every kilogram.
    #[graphql(complexity = "crate::limits::calculation(child_complexity)")]
    async fn finish(&self, ctx: &Context<'_>) -> Result<TicketFinish> {
        let finish = ctx.house()?.ticket_finish(ctx.actor()?, &self.0).await?;
        TicketFinish::of(ctx, finish)
    }

    /// Why it did not cost what it should have: price, mix, yield, usage and overhead; null until it is complete.
    #[graphql(complexity = "crate::limits::question(child_complexity)")]
    async fn variances(
        &self,
        ctx: &Context<'_>,
        #[graphql(
            desc = "What it is held against; when nothing is said the standards frozen by the day, and replacement where some are missing."
        )]
        basis: Option<Basis>,
        #[graphql(
            desc = "Standards, prices and rates of this day; the day it was completed when nothing is said."
        )]
        as_of: Option<Date>,
    ) -> Result<Option<TicketVariances>> {
        if self.0.completion.is_none() {
            return Ok(None);
        }
        let (basis, as_of) = (basis.map(Into::into), as_of.map(|day| day.0));
        let found = ctx.house()?.ticket_variances(ctx.actor()?, self.0.id, basis, as_of).await?;
        TicketVariances::of(found).map(Some)
    }

    /// Cautions for what meets in the vessel.
    #[graphql(complexity = "crate::limits::calculation(child_complexity)")]
    async fn cautions(&self, ctx: &Context<'_>) -> Result<Cautions> {
        Cautions::of(ctx, self.0.lines.iter().map(|line| line.material))
    }
}

/// A line of a ticket.
pub struct TicketLine {
    ticket: Arc<Row>,
    row: LineRow,
}

/// One thing to weigh.
#[Object]
impl TicketLine {
    /// 1, 2, 3: the order of addition.
    async fn position(&self) -> u32 {
        self.row.position
    }

    /// The group of ingredients handled together: A, B, C.
    async fn phase(&self) -> Option<&str> {
        self.row.phase.as_deref()
    }

    /// What.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.row.material)
    }

    /// How much, kg. On the line that fills up to the total, less what other lines took beyond what that counts for.
    async fn target_kg(&self) -> Decimal {
        kg(self.ticket.target_of(&self.row))
    }

    /// What was weighed counts for so much of the target, kg: its mass, unless a lot was stronger or weaker than the target was worked
    /// out with, or an alternate was taken.
    async fn counts_as_kg(&self) -> Decimal {
        kg(self.ticket.counted_on(self.row.id))
    }

    /// Its share of everything weighed so far, % w/w, to 6 places: the true percent as weighed.
    async fn percent_as_weighed(&self) -> Result<Decimal> {
        let share = self.ticket.share_as_weighed(self.row.id);
        Decimal::rounded(&(share * kernel::Exact::whole(100)), 6)
    }

    /// Whether it fills the batch up to its total.
    async fn fills_up(&self) -> bool {
        self.row.asks.fills_up
    }

    /// The active matter its target was worked out with, %; null where the target is of the material as supplied.
    async fn nominal_active_percent(&self) -> Option<Decimal> {
        self.row.asks.nominal_active.map(percent)
    }

    /// The balance to weigh it on; null where none is fit for so much, or none is known.
    async fn balance(&self, ctx: &Context<'_>) -> Result<Option<Balance>> {
        Balance::find(ctx, self.row.asks.balance).await
    }

    /// Whether a second person has to look at its weighings before the batch is made.
    async fn second_check(&self) -> bool {
        self.row.asks.second_check
    }

    /// The earlier lot that is worked in on this line; null on all others.
    async fn rework_of(&self, ctx: &Context<'_>) -> Result<Option<Lot>> {
        match self.row.asks.rework_of {
            None => Ok(None),
            Some(id) => lot_of(ctx, id).await.map(Some),
        }
    }

    /// How far it may be missed either side, % of the target; null when nothing is said.
    async fn tolerance_percent(&self) -> Option<Decimal> {
        self.row.tolerance.map(percent)
    }

    /// What was weighed and not taken back, kg.
    async fn weighed_kg(&self) -> Decimal {
        kg(self.ticket.weighed_on(self.row.id))
    }

    /// What is still to be weighed, kg; nought at or over the target.
    async fn remaining_kg(&self) -> Decimal {
        kg(self.ticket.remaining_on(&self.row))
    }

    /// What to do.
    async fn instruction(&self) -> Option<&str> {
        self.row.instruction.as_deref()
    }

    /// What is promised to it and not weighed yet.
    async fn allocations(&self) -> Vec<Allocation> {
        let rows = self.ticket.allocations.iter().filter(|row| row.line == self.row.id);
        rows.map(|row| Allocation::of(&self.ticket, row)).collect()
    }

    /// What was weighed on it; also what was taken back.
    async fn weighings(&self) -> Vec<Weighing> {
        let rows = self.ticket.weighings.iter().filter(|row| row.line == self.row.id);
        rows.map(|row| Weighing::of(&self.ticket, row)).collect()
    }
}

/// The position of a ticket's line; nought for one that is not there.
fn position(ticket: &Row, line: kernel::ids::TicketLineId) -> u32 {
    ticket.lines.iter().find(|row| row.id == line).map_or(0, |row| row.position)
}

/// A promise.
pub struct Allocation {
    line: u32,
    lot: kernel::ids::LotId,
    quantity: kernel::Quantity,
}

impl Allocation {
    fn of(ticket: &Row, row: &domain::tickets::Allocation) -> Self {
        Self { line: position(ticket, row.line), lot: row.lot, quantity: row.quantity }
    }
}

/// A promise of part of a lot to a line; nothing has moved yet.
#[Object]
impl Allocation {
    /// The position of the line.
    async fn line(&self) -> u32 {
        self.line
    }

    /// The lot.
    async fn lot(&self, ctx: &Context<'_>) -> Result<Lot> {
        lot_of(ctx, self.lot).await
    }

    /// How much is still promised; weighing uses it up.
    async fn quantity(&self) -> Quantity {
        Quantity(self.quantity)
    }
}

/// A weighing.
pub struct Weighing {
    line: u32,
    row: WeighingRow,
}

impl Weighing {
    fn of(ticket: &Row, row: &WeighingRow) -> Self {
        Self { line: position(ticket, row.line), row: row.clone() }
    }
}

/// One amount of one lot put into the batch.
#[Object]
impl Weighing {
    /// The global id.
    pub(crate) async fn id(&self) -> ID {
        global_id(self.row.id)
    }

    /// The position of the line.
    async fn line(&self) -> u32 {
        self.line
    }

    /// The lot; null for a utility, which has none.
    async fn lot(&self, ctx: &Context<'_>) -> Result<Option<Lot>> {
        match self.row.lot {
            None => Ok(None),
            Some(id) => lot_of(ctx, id).await.map(Some),
        }
    }

    /// What was really weighed, kg net.
    async fn amount_kg(&self) -> Decimal {
        kg(self.row.amount)
    }

    /// Who weighed.
    async fn by(&self) -> &str {
        &self.row.by
    }

    /// When it was entered.
    async fn at(&self) -> DateTime {
        DateTime(self.row.at)
    }

    /// Who made the second check.
    async fn checked_by(&self) -> Option<&str> {
        self.row.checked_by.as_deref()
    }

    /// The global id of the movement it made; null for a utility.
    async fn movement_id(&self) -> Option<ID> {
        self.row.movement.map(global_id)
    }

    /// Why it was taken back, or undone with its ticket; null while it stands.
    async fn taken_back(&self) -> Option<&str> {
        self.row.reversed.as_deref()
    }

    /// What became of it when its ticket was voided.
    async fn outcome(&self) -> Option<WeighingOutcome> {
        self.row.how.outcome.map(Into::into)
    }

    /// What it counts for against the target, kg.
    async fn counts_as_kg(&self) -> Decimal {
        kg(self.row.counted())
    }

    /// What the balance showed with the container, kg.
    async fn gross_kg(&self) -> Option<Decimal> {
        self.row.how.gross.map(kg)
    }

    /// The container alone, kg.
    async fn tare_kg(&self) -> Option<Decimal> {
        self.row.how.tare.map(kg)
    }

    /// The balance.
    async fn balance(&self, ctx: &Context<'_>) -> Result<Option<Balance>> {
        Balance::find(ctx, self.row.how.balance).await
    }

    /// When it was weighed, where that was said to be before it was entered.
    async fn done_at(&self) -> Option<DateTime> {
        self.row.how.done_at.map(DateTime)
    }

    /// Whether it was entered later than it was done.
    async fn is_late(&self) -> bool {
        self.row.is_late()
    }

    /// Why a lot or an amount outside the rules was taken all the same.
    async fn reason(&self) -> Option<&str> {
        self.row.how.reason.as_deref()
    }

    /// Of an addition until a result is reached: the result before.
    async fn result_before(&self) -> Option<&str> {
        self.row.how.result_before.as_deref()
    }

    /// And after.
    async fn result_after(&self) -> Option<&str> {
        self.row.how.result_after.as_deref()
    }

    /// Minutes it was mixed in before the result was looked at.
    async fn mixed_minutes(&self) -> Option<u32> {
        self.row.how.mixed_minutes
    }

    /// When the second person confirmed it by themselves.
    async fn checked_at(&self) -> Option<DateTime> {
        self.row.how.checked_at.map(DateTime)
    }
}

/// How a ticket ended.
pub struct Completion(domain::tickets::Completion);

/// How a ticket ended.
#[Object]
impl Completion {
    /// What came out before filling, kg.
    async fn yield_kg(&self) -> Decimal {
        kg(self.0.yield_mass)
    }

    /// The lot it became. Its received value is what the batch really cost.
    async fn lot(&self, ctx: &Context<'_>) -> Result<Lot> {
        lot_of(ctx, self.0.lot).await
    }

    /// Density measured on this batch, kg/L.
    #[graphql(name = "densityKgPerL")]
    async fn density_kg_per_l(&self) -> Option<Decimal> {
        self.0.density.map(kg_per_l)
    }

    /// What was filled.
    async fn fillings(&self) -> Vec<Filling> {
        self.0.fillings.iter().cloned().map(Filling).collect()
    }

    /// Who completed it.
    async fn by(&self) -> &str {
        &self.0.by
    }

    /// When that was entered.
    async fn at(&self) -> DateTime {
        DateTime(self.0.at)
    }

    /// The business day.
    async fn on(&self) -> Date {
        Date(self.0.on)
    }

    /// In-process checks and remarks.
    async fn note(&self) -> Option<&str> {
        self.0.note.as_deref()
    }
}

/// Units filled of a pack.
pub struct Filling(domain::tickets::Filling);

/// Units filled of one pack.
#[Object]
impl Filling {
    /// The pack.
    async fn pack(&self, ctx: &Context<'_>) -> Result<Pack> {
        pack_of(ctx, self.0.pack)
    }

    /// Good units filled, those kept back from sale among them.
    async fn filled(&self) -> Quantity {
        Quantity(kernel::Quantity::Count(self.0.filled))
    }

    /// The lot of finished product they became.
    async fn lot(&self, ctx: &Context<'_>) -> Result<Lot> {
        lot_of(ctx, self.0.lot).await
    }
}

/// How many tickets a list has in all. Counted only when asked for.
pub struct TicketTotal(app::lists::TicketFilter);

/// How many tickets a list has in all.
#[Object]
impl TicketTotal {
    /// How many rows the list has in all, with the filters given.
    async fn total_count(&self, ctx: &Context<'_>) -> Result<u64> {
        Ok(ctx.house()?.tickets_count(ctx.actor()?, &self.0).await?)
    }
}

/// Tickets.
#[derive(Default)]
pub struct TicketsQuery;

/// Tickets.
#[Object]
impl TicketsQuery {
    /// The ticket of a number, letter case aside; null when there is none.
    async fn ticket(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The house's number.")] number: String,
    ) -> Result<Option<Ticket>> {
        Ok(ctx.house()?.ticket_by_number(ctx.actor()?, &number).await?.map(Ticket))
    }

    /// Tickets, by the day they are planned for.
    #[graphql(complexity = "crate::limits::page(first, None, child_complexity)")]
    #[allow(
        clippy::too_many_arguments,
        reason = "a connection field has its own arguments besides the filters"
    )]
    async fn tickets(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only of these statuses; empty for any.", default)] statuses: Vec<TicketStatus>,
        #[graphql(desc = "Only of this formula.")] formula: Option<Which>,
        #[graphql(desc = "Only for this pack.")] pack: Option<Which>,
        #[graphql(desc = "Only those planned for this day or later.")] planned_from: Option<Date>,
        #[graphql(desc = "Only those planned for this day or earlier.")] planned_until: Option<Date>,
        #[graphql(desc = "Rows after this cursor.")] after: Option<String>,
        #[graphql(desc = "At most so many rows, 1 to 100; 20 when nothing is said.")] first: Option<i32>,
    ) -> Result<Connection<Cursor, Ticket, TicketTotal>> {
        let paging = Paging::forward("tickets", after.as_deref(), first)?;
        let catalogue = ctx.catalogue()?;
        let filter = app::lists::TicketFilter {
            statuses: statuses.into_iter().map(Into::into).collect(),
            formula: formula.map(|which| catalogue.formula(&which, "formula")).transpose()?.map(|f| f.id),
            pack: pack.map(|which| catalogue.pack_named(&which, "pack")).transpose()?.map(|p| p.id),
            planned_from: planned_from.map(|day| day.0),
            planned_until: planned_until.map(|day| day.0),
        };
        let (after, limit) = paging.seek()?;
        let page = ctx.house()?.tickets_page(ctx.actor()?, &filter, after, limit).await?;
        Ok(stored_page("tickets", &paging, page, TicketTotal(filter), |ticket| ticket.id.0, Ticket))
    }
}

/// The ticket of some answer; null when it is gone.
pub(crate) async fn ticket_of(ctx: &Context<'_>, id: kernel::ids::TicketId) -> Result<Option<Ticket>> {
    Ok(ctx.loaders()?.ticket(id).await?.map(Ticket))
}
