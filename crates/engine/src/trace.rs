//! Where a lot came from and what became of it: both ways, through premixes, fillings and rework, with what went along every edge, and
//! the mass balance of every lot on the way.
//!
//! What has to be known is gathered into a [`TraceBook`] first; everything here is worked out from it and nothing is looked up.

use domain::{
    lots::Lot,
    stock::{Movement, MovementKind},
    tickets::{Ticket, WeighingOutcome},
};
use kernel::{
    Count, Exact, Mass, Quantity,
    ids::{LotId, MovementId, TicketId},
};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet, HashSet};

use crate::EngineError;

/// How something went from one lot into another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
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

/// What went from one lot into another, on one ticket.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Edge {
    /// From here.
    pub from: LotId,
    /// Into this; `None` while the batch is under way, and for what was thrown away.
    pub to: Option<LotId>,
    /// On this ticket.
    pub ticket: TicketId,
    /// How.
    pub passage: Passage,
    /// How much of the lot it came from.
    pub quantity: Quantity,
    /// Units it went into, for what was filled.
    pub units: Option<Count>,
}

/// What is known of some lots and of the tickets that took from them or made them.
#[derive(Debug, Clone, Default)]
pub struct TraceBook {
    /// Lots.
    pub lots: BTreeMap<LotId, Lot>,
    /// Tickets.
    pub tickets: BTreeMap<TicketId, Ticket>,
    /// Everything each of the tickets moved, in order.
    pub moved: BTreeMap<TicketId, Vec<Movement>>,
    /// Everything that moved each of the lots, in order.
    pub movements: BTreeMap<LotId, Vec<Movement>>,
    /// Lots each of the tickets made.
    pub made: BTreeMap<TicketId, Vec<LotId>>,
}

/// What a lot received, and where that is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
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
}

impl MassBalance {
    /// Adds up what moved a lot. A reversal counts against what it reverses.
    pub fn of(lot: &Lot, movements: &[Movement]) -> Self {
        let kinds: BTreeMap<MovementId, MovementKind> = movements.iter().map(|m| (m.id, m.kind)).collect();
        let (mut received, mut used, mut samples, mut waste, mut adjusted) =
            (0_i64, 0_i64, 0_i64, 0_i64, 0_i64);
        for movement in movements {
            let kind = movement.reverses.and_then(|id| kinds.get(&id).copied()).unwrap_or(movement.kind);
            let raw = movement.quantity.raw();
            match kind {
                MovementKind::Receipt | MovementKind::Made => received = received.saturating_add(raw),
                MovementKind::Weighing | MovementKind::Filling => used = used.saturating_sub(raw),
                MovementKind::Sample => samples = samples.saturating_sub(raw),
                MovementKind::WriteOff => waste = waste.saturating_sub(raw),
                _ => adjusted = adjusted.saturating_sub(raw),
            }
        }
        let dimension = lot.on_hand.dimension();
        let quantity = |raw: i64| Quantity::from_raw(raw, dimension);
        let explained =
            [used, samples, waste, adjusted, lot.on_hand.raw()].into_iter().fold(0_i64, i64::saturating_add);
        Self {
            received: quantity(received),
            used: quantity(used),
            samples: quantity(samples),
            waste: quantity(waste),
            adjusted: quantity(adjusted),
            on_hand: lot.on_hand,
            unexplained: quantity(received.saturating_sub(explained)),
        }
    }

    /// How much of what came in somebody can point at: used, sampled, thrown away or still here, % of what came in. What only a count
    /// explains is not accounted for. `None` when nothing came in.
    pub fn accounted_percent(&self) -> Option<Exact> {
        let known = [self.used, self.samples, self.waste, self.on_hand]
            .into_iter()
            .fold(Exact::ZERO, |sum, quantity| sum + quantity.to_exact());
        let share = known.checked_div(&self.received.to_exact()).ok()?;
        Some(share * Exact::whole(100))
    }
}

/// A lot that a trace came to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TracedLot {
    /// The lot.
    pub lot: Lot,
    /// Steps away, from 1; 0 for the lot asked about.
    pub level: usize,
    /// What it received and where that is.
    pub balance: MassBalance,
    /// kg of the lots asked about that it holds at most, by the share each lot on the way passed on; `None` backwards, and for what is not
    /// kept by mass.
    #[serde(serialize_with = "crate::figures::optional_amount")]
    pub holds: Option<Exact>,
}

/// Where lots came from and what became of them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Trace {
    /// The lots asked about.
    pub asked: Vec<TracedLot>,
    /// What went into them, the nearest first.
    pub back: Vec<TracedLot>,
    /// The ways it went.
    pub back_edges: Vec<Edge>,
    /// What they went into, the nearest first.
    pub forward: Vec<TracedLot>,
    /// The ways they went.
    pub forward_edges: Vec<Edge>,
}

impl TraceBook {
    /// Everything that went through a ticket, lot by lot.
    pub fn edges_of(&self, ticket: TicketId) -> Vec<Edge> {
        let Some(known) = self.tickets.get(&ticket) else { return Vec::new() };
        let mut edges = self.weighed_edges(known);
        edges.extend(self.filled_edges(known));
        edges
    }

    fn weighed_edges(&self, ticket: &Ticket) -> Vec<Edge> {
        let bulk = ticket.completion.as_ref().map(|completion| completion.lot);
        let kept = self.made.get(&ticket.id).and_then(|made| {
            let filled = |lot: &LotId| {
                ticket.completion.iter().flat_map(|c| &c.fillings).any(|filling| filling.lot == *lot)
            };
            made.iter().find(|lot| Some(**lot) != bulk && !filled(lot)).copied()
        });
        let mut edges: Vec<Edge> = Vec::new();
        for weighing in &ticket.weighings {
            let Some(from) = weighing.lot else { continue };
            let (to, passage) = match (weighing.stands(), weighing.how.outcome) {
                (true, _) => (bulk, Passage::Weighed),
                (false, Some(WeighingOutcome::IntoRework)) => (kept, Passage::KeptForRework),
                (false, Some(WeighingOutcome::Scrapped)) => (None, Passage::Scrapped),
                (false, _) => continue,
            };
            let same = edges.iter_mut().find(|e| e.from == from && e.to == to && e.passage == passage);
            match same {
                Some(edge) => edge.quantity = plus(edge.quantity, Quantity::Mass(weighing.amount)),
                None => edges.push(Edge {
                    from,
                    to,
                    ticket: ticket.id,
                    passage,
                    quantity: Quantity::Mass(weighing.amount),
                    units: None,
                }),
            }
        }
        edges
    }

    /// Fillings were posted one after the other, the bulk of each before its components.
    fn filled_edges(&self, ticket: &Ticket) -> Vec<Edge> {
        let Some(completion) = &ticket.completion else { return Vec::new() };
        let moved = self.moved.get(&ticket.id).map_or(&[][..], Vec::as_slice);
        let undone: HashSet<MovementId> = moved.iter().filter_map(|m| m.reverses).collect();
        let mut edges = Vec::new();
        let mut fillings = completion.fillings.iter();
        let mut filling = None;
        for movement in moved.iter().filter(|m| m.kind == MovementKind::Filling && !undone.contains(&m.id)) {
            let of_bulk = movement.lot == completion.lot;
            if of_bulk {
                filling = fillings.next();
            }
            let taken = movement.quantity.raw().saturating_neg();
            edges.push(Edge {
                from: movement.lot,
                to: filling.map(|filling| filling.lot),
                ticket: ticket.id,
                passage: if of_bulk { Passage::Filled } else { Passage::Packed },
                quantity: Quantity::from_raw(taken, movement.quantity.dimension()),
                units: filling.filter(|_| of_bulk).map(|filling| filling.filled),
            });
        }
        edges
    }

    fn traced(&self, lot: LotId, level: usize, holds: Option<Exact>) -> Option<TracedLot> {
        let lot = self.lots.get(&lot)?;
        let balance = MassBalance::of(lot, self.movements.get(&lot.id).map_or(&[][..], Vec::as_slice));
        Some(TracedLot { lot: lot.clone(), level, balance, holds })
    }
}

fn plus(a: Quantity, b: Quantity) -> Quantity {
    Quantity::from_raw(a.raw().saturating_add(b.raw()), a.dimension())
}

/// Traces lots both ways through what the book holds. No lot is come to twice, and no way is walked twice.
///
/// # Errors
/// [`EngineError::NotFound`] for a lot the book does not hold.
pub fn trace(book: &TraceBook, asked: &[LotId]) -> Result<Trace, EngineError> {
    let edges: Vec<Edge> = book.tickets.keys().flat_map(|ticket| book.edges_of(*ticket)).collect();
    let (forward, forward_edges) = walk(&edges, asked, |edge| (Some(edge.from), edge.to));
    let (back, back_edges) = walk(&edges, asked, |edge| (edge.to, Some(edge.from)));
    let holds = holdings(book, asked, &forward, &forward_edges);
    let lots = |levels: &BTreeMap<LotId, usize>, of: &dyn Fn(LotId) -> Option<Exact>| {
        let mut lots: Vec<TracedLot> =
            levels.iter().filter_map(|(lot, level)| book.traced(*lot, *level, of(*lot))).collect();
        lots.sort_by(|a, b| (a.level, &a.lot.number).cmp(&(b.level, &b.lot.number)));
        lots
    };
    let mut found = Vec::with_capacity(asked.len());
    for lot in asked {
        let traced = book.traced(*lot, 0, holds.get(lot).cloned());
        found.push(traced.ok_or_else(|| EngineError::NotFound { what: "lot", key: lot.to_string() })?);
    }
    Ok(Trace {
        asked: found,
        back: lots(&back, &|_| None),
        back_edges,
        forward: lots(&forward, &|lot| holds.get(&lot).cloned()),
        forward_edges,
    })
}

/// Breadth first along edges, each seen as a way from one end to the other: the lots come to with how far away they are, and the edges
/// gone along.
fn walk(
    edges: &[Edge],
    asked: &[LotId],
    way: impl Fn(&Edge) -> (Option<LotId>, Option<LotId>),
) -> (BTreeMap<LotId, usize>, Vec<Edge>) {
    let mut by_start: BTreeMap<LotId, Vec<&Edge>> = BTreeMap::new();
    for edge in edges {
        if let (Some(start), _) = way(edge) {
            by_start.entry(start).or_default().push(edge);
        }
    }
    let mut levels: BTreeMap<LotId, usize> = asked.iter().map(|lot| (*lot, 0)).collect();
    let mut gone: Vec<Edge> = Vec::new();
    let mut front: Vec<LotId> = levels.keys().copied().collect();
    let mut level = 0;
    while !front.is_empty() {
        level += 1;
        let mut next = BTreeSet::new();
        for lot in front {
            for edge in by_start.get(&lot).into_iter().flatten() {
                gone.push((*edge).clone());
                if let (_, Some(end)) = way(edge)
                    && !levels.contains_key(&end)
                {
                    levels.insert(end, level);
                    next.insert(end);
                }
            }
        }
        front = next.into_iter().collect();
    }
    for lot in asked {
        levels.remove(lot);
    }
    (levels, gone)
}

/// kg of the lots asked about that each lot come to holds at most: the sum over its ways in of what went along, times the share of the
/// asked lots in where it came from. A lot is worked out once all lots before it are; nothing that goes round in a circle ever is.
fn holdings(
    book: &TraceBook,
    asked: &[LotId],
    levels: &BTreeMap<LotId, usize>,
    edges: &[Edge],
) -> BTreeMap<LotId, Exact> {
    let mut holds: BTreeMap<LotId, Exact> = BTreeMap::new();
    for lot in asked {
        if let Some(Quantity::Mass(received)) = book.lots.get(lot).map(|lot| lot.received) {
            holds.insert(*lot, received.to_exact());
        }
    }
    let mut open: BTreeSet<LotId> = levels.keys().copied().collect();
    loop {
        let ready: Vec<LotId> = open
            .iter()
            .copied()
            .filter(|lot| !edges.iter().any(|edge| edge.to == Some(*lot) && open.contains(&edge.from)))
            .collect();
        if ready.is_empty() {
            return holds;
        }
        for lot in ready {
            open.remove(&lot);
            let ways_in = edges.iter().filter(|edge| edge.to == Some(lot));
            let parts: Vec<Exact> = ways_in.filter_map(|edge| passed_on(book, &holds, asked, edge)).collect();
            if !parts.is_empty() {
                holds.insert(lot, parts.into_iter().sum());
            }
        }
    }
}

/// What an edge carries of the lots asked about; `None` for pieces.
fn passed_on(
    book: &TraceBook,
    holds: &BTreeMap<LotId, Exact>,
    asked: &[LotId],
    edge: &Edge,
) -> Option<Exact> {
    let Quantity::Mass(went) = edge.quantity else { return None };
    if asked.contains(&edge.from) {
        return Some(Mass::to_exact(went));
    }
    let received = book.lots.get(&edge.from)?.received.to_exact();
    let share = holds.get(&edge.from)?.checked_div(&received).ok()?;
    Some(share.min(Exact::ONE) * went.to_exact())
}

#[cfg(test)]
mod tests;
