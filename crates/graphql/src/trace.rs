//! Tracing a lot both ways, and the recall drill.

use async_graphql::{Context, Enum, Object, SimpleObject};
use engine::trace as e;
use std::sync::Arc;

use crate::{
    amounts::Quantity,
    caller::{Desk, lot_named},
    errors::Result,
    ids::Which,
    lots::Lot,
    scalars::{DateTime, Decimal},
    tickets::{Ticket, TicketStatus, ticket_of},
};

/// How something went from one lot into another.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "e::Passage")]
pub enum Passage {
    /// It was weighed into a batch.
    Weighed,
    /// Bulk was filled into units.
    Filled,
    /// A component was packed with them.
    Packed,
    /// It was weighed into a batch that was voided, and kept for rework.
    KeptForRework,
    /// It was weighed into a batch that was voided, and thrown away.
    Scrapped,
}

/// What a lot received, and where that is: received = used + samples + waste + adjusted + on hand + unexplained.
#[derive(SimpleObject)]
pub struct MassBalance {
    /// What came in.
    pub received: Quantity,
    /// Weighed into batches, filled, and packed.
    pub used: Quantity,
    /// Taken as samples, or for the bench.
    pub samples: Quantity,
    /// Spilled, expired, disposed of.
    pub waste: Quantity,
    /// Found less by counting, or gone otherwise; below nought when more was found.
    pub adjusted: Quantity,
    /// Still here.
    pub on_hand: Quantity,
    /// What the rest does not explain; nought for a sound ledger.
    pub unexplained: Quantity,
    /// How much of what came in somebody can point at, %, to 4 places: all but what only a count explains. Null when nothing came in.
    pub accounted_percent: Option<Decimal>,
}

impl MassBalance {
    fn of(balance: &e::MassBalance) -> Result<Self> {
        let accounted = balance.accounted_percent().map(|percent| Decimal::rounded(&percent, 4));
        Ok(Self {
            received: Quantity(balance.received),
            used: Quantity(balance.used),
            samples: Quantity(balance.samples),
            waste: Quantity(balance.waste),
            adjusted: Quantity(balance.adjusted),
            on_hand: Quantity(balance.on_hand),
            unexplained: Quantity(balance.unexplained),
            accounted_percent: accounted.transpose()?,
        })
    }
}

/// A lot that a trace came to.
#[derive(SimpleObject)]
pub struct TracedLot {
    /// The lot.
    pub lot: Lot,
    /// Steps away, from 1; nought for a lot asked about.
    pub level: u32,
    /// What it received and where that is.
    pub balance: MassBalance,
    /// kg of the lots asked about that it holds at most, to 6 places, by the share each lot on the way passed on. Null backwards, and for
    /// what is not kept by mass.
    pub holds_kg: Option<Decimal>,
}

impl TracedLot {
    fn of(traced: &e::TracedLot) -> Result<Self> {
        let holds = traced.holds.as_ref().map(|holds| Decimal::rounded(holds, 6));
        Ok(Self {
            lot: Lot(traced.lot.clone()),
            level: u32::try_from(traced.level).unwrap_or(u32::MAX),
            balance: MassBalance::of(&traced.balance)?,
            holds_kg: holds.transpose()?,
        })
    }
}

fn lots_of(traced: &[e::TracedLot]) -> Result<Vec<TracedLot>> {
    traced.iter().map(TracedLot::of).collect()
}

/// What went from one lot into another, on one ticket.
pub struct TraceEdge {
    all: Arc<app::LotTrace>,
    edge: e::Edge,
}

impl TraceEdge {
    fn number_of(&self, lot: kernel::ids::LotId) -> Option<String> {
        let trace = &self.all.trace;
        let mut lots = trace.asked.iter().chain(&trace.back).chain(&trace.forward);
        lots.find(|traced| traced.lot.id == lot).map(|traced| traced.lot.number.clone())
    }
}

/// What went from one lot into another, on one ticket.
#[Object]
impl TraceEdge {
    /// The number of the lot it came from; null beyond what is followed in one go.
    async fn from(&self) -> Option<String> {
        self.number_of(self.edge.from)
    }

    /// The number of the lot it went into; null while the batch is under way, and for what was thrown away.
    async fn to(&self) -> Option<String> {
        self.edge.to.and_then(|lot| self.number_of(lot))
    }

    /// The ticket it went on.
    async fn ticket(&self, ctx: &Context<'_>) -> Result<Option<Ticket>> {
        ticket_of(ctx, self.edge.ticket).await
    }

    /// The ticket's number.
    async fn ticket_number(&self) -> Option<&str> {
        self.all.tickets.get(&self.edge.ticket).map(|ticket| ticket.number.as_str())
    }

    /// Where the ticket stands.
    async fn ticket_status(&self) -> Option<TicketStatus> {
        self.all.tickets.get(&self.edge.ticket).map(|ticket| ticket.status.into())
    }

    /// How.
    async fn passage(&self) -> Passage {
        self.edge.passage.into()
    }

    /// How much of the lot it came from.
    async fn quantity(&self) -> Quantity {
        Quantity(self.edge.quantity)
    }

    /// Units it went into, for what was filled.
    async fn units(&self) -> Option<Quantity> {
        self.edge.units.map(|units| Quantity(kernel::Quantity::Count(units)))
    }
}

/// Where lots came from and what became of them.
pub struct Trace(Arc<app::LotTrace>);

impl Trace {
    fn edges(&self, edges: &[e::Edge]) -> Vec<TraceEdge> {
        edges.iter().map(|edge| TraceEdge { all: Arc::clone(&self.0), edge: edge.clone() }).collect()
    }
}

/// Where lots came from and what became of them, through premixes, fillings and rework. Nothing is changed by asking.
#[Object]
impl Trace {
    /// The lots asked about.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn asked(&self) -> Result<Vec<TracedLot>> {
        lots_of(&self.0.trace.asked)
    }

    /// What went into them, the nearest first.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn back(&self) -> Result<Vec<TracedLot>> {
        lots_of(&self.0.trace.back)
    }

    /// The ways it went.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn back_edges(&self) -> Vec<TraceEdge> {
        self.edges(&self.0.trace.back_edges)
    }

    /// What they went into, the nearest first.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn forward(&self) -> Result<Vec<TracedLot>> {
        lots_of(&self.0.trace.forward)
    }

    /// The ways they went.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn forward_edges(&self) -> Vec<TraceEdge> {
        self.edges(&self.0.trace.forward_edges)
    }

    /// Whether there is more than is followed in one go.
    async fn cut(&self) -> bool {
        self.0.cut
    }
}

/// A finished lot that a recall would reach.
#[derive(SimpleObject)]
pub struct RecalledLot {
    /// The lot.
    pub lot: Lot,
    /// Made in all.
    pub made: Quantity,
    /// Still here, to be held.
    pub here: Quantity,
    /// No longer here: with customers, sampled or thrown away.
    pub gone: Quantity,
}

/// A batch under way that a recall would reach.
#[derive(SimpleObject)]
pub struct RecalledBatch {
    /// The ticket's number.
    pub ticket_number: String,
    /// How much was weighed into it.
    pub quantity: Quantity,
}

/// What a recall of a lot would have to deal with. A drill: nothing is changed by it.
#[derive(SimpleObject)]
pub struct RecallDrill {
    /// When it was begun.
    pub begun_at: DateTime,
    /// Milliseconds until the answer stood.
    pub took_milliseconds: u32,
    /// Who asked.
    pub by: String,
    /// The lots (the one asked about, and every other delivery of the same lot of its supplier) both ways.
    pub trace: Trace,
    /// Finished lots that hold some of it.
    pub finished: Vec<RecalledLot>,
    /// Batches under way that hold some of it.
    pub under_way: Vec<RecalledBatch>,
    /// How much of what came in somebody can point at, over the lots asked about, %, to 4 places; null when nothing came in.
    pub accounted_percent: Option<Decimal>,
}

/// Traces.
#[derive(Default)]
pub struct TraceQuery;

/// Traces.
#[Object]
impl TraceQuery {
    /// Where a lot came from and what became of it, several levels deep, with what went along every way and the mass balance of every
    /// lot.
    #[graphql(complexity = "crate::limits::calculation(child_complexity)")]
    async fn trace(&self, ctx: &Context<'_>, #[graphql(desc = "The lot.")] lot: Which) -> Result<Trace> {
        let lot = lot_named(ctx, &lot, "lot").await?.id;
        Ok(Trace(Arc::new(ctx.house()?.trace(ctx.actor()?, lot).await?)))
    }

    /// A recall drill: what a recall of a lot would reach, how much is accounted for, and how long finding out took. Nothing is changed.
    #[graphql(complexity = "crate::limits::calculation(child_complexity)")]
    async fn recall_drill(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The lot.")] lot: Which,
    ) -> Result<RecallDrill> {
        let lot = lot_named(ctx, &lot, "lot").await?.id;
        let drill = ctx.house()?.recall_drill(ctx.actor()?, lot).await?;
        let accounted = drill.accounted_percent.map(|percent| Decimal::rounded(&percent, 4));
        Ok(RecallDrill {
            begun_at: DateTime(drill.begun_at),
            took_milliseconds: u32::try_from(drill.took_milliseconds).unwrap_or(0),
            by: drill.by,
            trace: Trace(Arc::new(drill.lots)),
            finished: drill
                .finished
                .into_iter()
                .map(|row| RecalledLot {
                    lot: Lot(row.lot),
                    made: Quantity(row.made),
                    here: Quantity(row.here),
                    gone: Quantity(row.gone),
                })
                .collect(),
            under_way: drill
                .under_way
                .into_iter()
                .map(|row| RecalledBatch { ticket_number: row.number, quantity: Quantity(row.quantity) })
                .collect(),
            accounted_percent: accounted.transpose()?,
        })
    }
}
