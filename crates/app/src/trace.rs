//! Tracing a lot both ways, and the recall drill: everything a recall would ask for, with the time it took, and nothing changed.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use domain::{
    lots::Lot,
    materials::MaterialKind,
    people::{Actor, Capability},
    stock::MovementKind,
    tickets::TicketStatus,
};
use engine::trace::{Edge, Trace, TraceBook, TracedLot, trace};
use kernel::{
    Exact, Quantity,
    ids::{LotId, TicketId},
    limits::TRACE_LOTS_MAX,
};
use serde::Serialize;
use store::ReadTx;

use crate::{App, Error, require};

/// A trace, and whether it was cut short.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LotTrace {
    /// The lots and the ways between them.
    pub trace: Trace,
    /// The tickets the ways lead over, by number.
    pub tickets: BTreeMap<TicketId, TracedTicket>,
    /// Whether there is more than is followed in one go.
    pub cut: bool,
}

/// A ticket that a trace leads over.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TracedTicket {
    /// Its number.
    pub number: String,
    /// Where it stands.
    pub status: TicketStatus,
}

/// What a recall of a lot would have to deal with. A drill: nothing is changed by it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RecallDrill {
    /// When it was begun.
    pub begun_at: DateTime<Utc>,
    /// Milliseconds until the answer stood.
    pub took_milliseconds: i64,
    /// Who asked.
    pub by: String,
    /// The lots: the one asked about, and every other delivery of the same lot of its supplier.
    pub lots: LotTrace,
    /// Finished lots that hold some of it.
    pub finished: Vec<FinishedLot>,
    /// Batches under way that hold some of it.
    pub under_way: Vec<UnderWay>,
    /// How much of what came in somebody can point at, over the lots asked about, %; `None` when nothing came in.
    #[serde(skip)]
    pub accounted_percent: Option<Exact>,
}

/// A finished lot that a recall would reach.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FinishedLot {
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
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct UnderWay {
    /// The ticket.
    pub ticket: TicketId,
    /// Its number.
    pub number: String,
    /// How much was weighed into it.
    pub quantity: Quantity,
}

/// Which ways to follow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Way {
    Back,
    Forward,
}

impl App {
    /// Where a lot came from and what became of it, through premixes, fillings and rework.
    ///
    /// # Errors
    /// [`Error::Forbidden`], [`Error::NotFound`], or when the database cannot be read.
    pub async fn trace(&self, actor: &Actor, lot: LotId) -> Result<LotTrace, Error> {
        require(actor, Capability::Look)?;
        let tx = self.store().begin_read().await?;
        traced(&tx, &[lot]).await
    }

    /// A recall drill: where every kilogram of a lot went, and of every other delivery of the same lot of its supplier. The time it took
    /// is part of the answer; nothing is changed.
    ///
    /// # Errors
    /// As [`App::trace`].
    pub async fn recall_drill(&self, actor: &Actor, lot: LotId) -> Result<RecallDrill, Error> {
        let catalogue = self.catalogue(actor)?;
        let begun_at = self.now();
        let tx = self.store().begin_read().await?;
        let asked = store::lots::lot_get(&tx, lot).await?.ok_or_else(|| Error::not_found("lot", lot))?;
        let mut together = vec![asked.id];
        if let Some((supplier, number)) = asked.supplier.zip(asked.supplier_lot.as_deref()) {
            together.extend(store::trace::lots_of_supplier_lot(&tx, supplier, number).await?);
            let mut seen = BTreeSet::new();
            together.retain(|lot| seen.insert(*lot));
        }
        let lots = traced(&tx, &together).await?;
        let is_finished = |traced: &&TracedLot| {
            catalogue
                .materials
                .get(traced.lot.material)
                .is_some_and(|material| material.kind == MaterialKind::FinishedProduct)
        };
        let finished = lots
            .trace
            .asked
            .iter()
            .chain(&lots.trace.forward)
            .filter(is_finished)
            .map(|traced| {
                let (made, here) = (traced.balance.received, traced.balance.on_hand);
                let gone = Quantity::from_raw(made.raw().saturating_sub(here.raw()), made.dimension());
                FinishedLot { lot: traced.lot.clone(), made, here, gone }
            })
            .collect();
        let under_way = lots
            .trace
            .forward_edges
            .iter()
            .filter(|edge| edge.to.is_none())
            .filter_map(|edge| {
                let ticket = lots.tickets.get(&edge.ticket).filter(|ticket| ticket.status.is_open())?;
                Some(UnderWay { ticket: edge.ticket, number: ticket.number.clone(), quantity: edge.quantity })
            })
            .collect();
        let (mut known, mut received) = (Exact::ZERO, Exact::ZERO);
        for traced in &lots.trace.asked {
            let balance = &traced.balance;
            received += balance.received.to_exact();
            for part in [balance.used, balance.samples, balance.waste, balance.on_hand] {
                known += part.to_exact();
            }
        }
        let accounted_percent = known.checked_div(&received).ok().map(|share| share * Exact::whole(100));
        Ok(RecallDrill {
            begun_at,
            took_milliseconds: (self.now() - begun_at).num_milliseconds(),
            by: actor.name.clone(),
            lots,
            finished,
            under_way,
            accounted_percent,
        })
    }
}

/// Gathers what is to be known, and works the trace out.
async fn traced(tx: &ReadTx, asked: &[LotId]) -> Result<LotTrace, Error> {
    let mut gathering = Gathering { tx, book: TraceBook::default(), cut: false };
    gathering.lots(asked).await?;
    for lot in asked {
        if !gathering.book.lots.contains_key(lot) {
            return Err(Error::not_found("lot", lot));
        }
    }
    for way in [Way::Back, Way::Forward] {
        gathering.follow(asked, way).await?;
    }
    let found = trace(&gathering.book, asked)?;
    let gone_over: BTreeSet<TicketId> =
        found.back_edges.iter().chain(&found.forward_edges).map(|edge| edge.ticket).collect();
    let tickets = gathering
        .book
        .tickets
        .values()
        .filter(|ticket| gone_over.contains(&ticket.id))
        .map(|ticket| (ticket.id, TracedTicket { number: ticket.number.clone(), status: ticket.status }))
        .collect();
    Ok(LotTrace { trace: found, tickets, cut: gathering.cut })
}

/// Reads level by level: a few questions to the database for each level, however many lots it has.
struct Gathering<'a> {
    tx: &'a ReadTx,
    book: TraceBook,
    cut: bool,
}

impl Gathering<'_> {
    /// Takes lots in, with everything that moved them.
    async fn lots(&mut self, ids: &[LotId]) -> Result<(), Error> {
        let fresh: Vec<LotId> = ids.iter().copied().filter(|id| !self.book.lots.contains_key(id)).collect();
        let room = TRACE_LOTS_MAX.saturating_sub(self.book.lots.len());
        self.cut |= fresh.len() > room;
        let fresh: Vec<LotId> = fresh.into_iter().take(room).collect();
        if fresh.is_empty() {
            return Ok(());
        }
        for lot in store::lots::lots_get(self.tx, &fresh).await? {
            self.book.movements.entry(lot.id).or_default();
            self.book.lots.insert(lot.id, lot);
        }
        for movement in store::stock::movements_of_lots(self.tx, &fresh).await? {
            self.book.movements.entry(movement.lot).or_default().push(movement);
        }
        Ok(())
    }

    /// Takes tickets in, with everything they moved and made.
    async fn tickets(&mut self, ids: BTreeSet<TicketId>) -> Result<(), Error> {
        let fresh: Vec<TicketId> = ids.into_iter().filter(|id| !self.book.tickets.contains_key(id)).collect();
        if fresh.is_empty() {
            return Ok(());
        }
        for ticket in store::tickets::tickets_get(self.tx, &fresh).await? {
            self.book.tickets.insert(ticket.id, ticket);
        }
        for movement in store::trace::movements_of_tickets(self.tx, &fresh).await? {
            if let Some(ticket) = movement.ticket {
                self.book.moved.entry(ticket).or_default().push(movement);
            }
        }
        for lot in store::trace::lots_made_by(self.tx, &fresh).await? {
            if let Some(ticket) = lot.made_by {
                self.book.made.entry(ticket).or_default().push(lot.id);
            }
        }
        Ok(())
    }

    async fn follow(&mut self, asked: &[LotId], way: Way) -> Result<(), Error> {
        let mut front: BTreeSet<LotId> = asked.iter().copied().collect();
        let mut seen = front.clone();
        while !front.is_empty() {
            let tickets = self.tickets_of(&front, way);
            self.tickets(tickets.clone()).await?;
            let mut next = BTreeSet::new();
            for ticket in tickets {
                for Edge { from, to, .. } in self.book.edges_of(ticket) {
                    let (start, end) = match way {
                        Way::Forward => (Some(from), to),
                        Way::Back => (to, Some(from)),
                    };
                    if let (true, Some(end)) = (start.is_some_and(|start| front.contains(&start)), end)
                        && seen.insert(end)
                    {
                        next.insert(end);
                    }
                }
            }
            self.lots(&next.iter().copied().collect::<Vec<_>>()).await?;
            // What there was no room for is not followed.
            next.retain(|lot| self.book.lots.contains_key(lot));
            front = next;
        }
        Ok(())
    }

    /// The tickets that took from lots, or that made them.
    fn tickets_of(&self, lots: &BTreeSet<LotId>, way: Way) -> BTreeSet<TicketId> {
        match way {
            Way::Back => {
                lots.iter().filter_map(|lot| self.book.lots.get(lot)).filter_map(|lot| lot.made_by).collect()
            }
            Way::Forward => lots
                .iter()
                .filter_map(|lot| self.book.movements.get(lot))
                .flatten()
                .filter(|m| matches!(m.kind, MovementKind::Weighing | MovementKind::Filling))
                .filter_map(|movement| movement.ticket)
                .collect(),
        }
    }
}
