//! Lots called back: which batches hold them, directly and through intermediates, and how much of each.

use chrono::NaiveDate;
use domain::{
    lots::{Lot, LotStatus},
    tickets::{Ticket, TicketStatus},
};
use kernel::{
    Exact, Mass, Quantity,
    ids::{LotId, TicketId},
};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet, HashMap};

use crate::{
    MaterialRef, View,
    scenario::{Laid, Recalled},
    shelf::Shelf,
};

/// What went into what: the tickets that weighed from the lots a question is about, from what those made, and so on; and the lots
/// they made, whether anything is left of them or not.
#[derive(Debug, Clone, Default)]
pub struct Genealogy {
    /// Tickets in any order; those that weighed nothing say nothing.
    pub tickets: Vec<Ticket>,
    /// Lots in any order.
    pub lots: Vec<Lot>,
}

/// A lot called back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Recall {
    /// Position of the change in the scenario, from 1.
    pub change: usize,
    /// The lot.
    pub lot: LotId,
    /// Its number; the identity where nothing is known of it.
    pub number: String,
    /// Its material.
    pub material: Option<MaterialRef>,
    /// What of it is still on the shelf.
    pub on_hand: Option<Quantity>,
    /// Batches that hold it, by day and number.
    pub batches: Vec<RecalledBatch>,
}

/// A batch that holds a lot called back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RecalledBatch {
    /// The ticket.
    pub ticket: TicketId,
    /// Its number.
    pub ticket_number: String,
    /// The day it was made; `None` while it is being made.
    pub made_on: Option<NaiveDate>,
    /// kg of the lot weighed into it, directly or within intermediates.
    #[serde(serialize_with = "crate::figures::amount")]
    pub holds: Exact,
    /// kg of the lot in one kg of what came out, as a fraction of one (percent in JSON); `None` while it is being made.
    #[serde(serialize_with = "crate::figures::optional_percent")]
    pub share: Option<Exact>,
    /// The numbers of the lots it came by, the one called back first; of several ways the first found.
    pub by_way_of: Vec<String>,
    /// The lots that came out: bulk and filled units, with what is there of each.
    pub lots: Vec<RecalledLot>,
}

/// A lot that came out of a batch.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RecalledLot {
    /// The lot.
    pub lot: LotId,
    /// Its number; the identity where nothing is known of it.
    pub number: String,
    /// What of it is still on the shelf; nought when it has all left.
    pub on_hand: Option<Quantity>,
}

/// What is barred besides what the scenario names.
pub(super) type Bars = HashMap<LotId, (NaiveDate, LotStatus)>;

/// Follows each lot called back, and gives the made lots that are set aside with it.
pub(super) fn recall(
    view: &View<'_>,
    shelf: &Shelf,
    laid: &Laid<'_>,
    genealogy: &Genealogy,
) -> (Vec<Recall>, Bars) {
    let (mut recalls, mut bars) = (Vec::new(), Bars::new());
    for recalled in &laid.recalled {
        let lots = LotsKnown { shelf, genealogy };
        let found = follow(&lots, genealogy, recalled);
        for lot in found.iter().flat_map(|batch| &batch.lots) {
            let bar = bars.entry(lot.lot).or_insert((recalled.on, LotStatus::OnHold));
            bar.0 = bar.0.min(recalled.on);
        }
        let lot = lots.get(recalled.lot);
        recalls.push(Recall {
            change: recalled.change,
            lot: recalled.lot,
            number: lots.number(recalled.lot),
            material: lot
                .and_then(|lot| view.catalogue().materials.get(lot.material))
                .map(|material| MaterialRef::from(&**material)),
            on_hand: lot.map(|lot| lot.on_hand),
            batches: found,
        });
    }
    (recalls, bars)
}

struct LotsKnown<'s> {
    shelf: &'s Shelf,
    genealogy: &'s Genealogy,
}

impl LotsKnown<'_> {
    fn get(&self, id: LotId) -> Option<&Lot> {
        self.shelf.lot(id).or_else(|| self.genealogy.lots.iter().find(|lot| lot.id == id))
    }

    fn number(&self, id: LotId) -> String {
        self.get(id).map_or_else(|| id.to_string(), |lot| lot.number.clone())
    }
}

/// Batches by what they hold of a lot. Tickets are gone through by the day they were completed: a lot is made before it is used.
fn follow(lots: &LotsKnown<'_>, genealogy: &Genealogy, recalled: &Recalled) -> Vec<RecalledBatch> {
    let mut tickets: Vec<&Ticket> = genealogy.tickets.iter().collect();
    tickets
        .extend(lots.shelf.tickets.iter().filter(|open| genealogy.tickets.iter().all(|t| t.id != open.id)));
    tickets.sort_by(|a, b| {
        let made =
            |ticket: &Ticket| ticket.completion.as_ref().map_or((true, None), |end| (false, Some(end.at)));
        made(a).cmp(&made(b)).then_with(|| a.number.cmp(&b.number))
    });
    // kg of the lot called back in one kg of a lot, and the way there.
    let mut of_lot: BTreeMap<LotId, (Exact, Vec<String>)> =
        BTreeMap::from([(recalled.lot, (Exact::ONE, vec![lots.number(recalled.lot)]))]);
    let mut seen: BTreeSet<TicketId> = BTreeSet::new();
    let mut found = Vec::new();
    for ticket in tickets {
        if ticket.status == TicketStatus::Cancelled || !seen.insert(ticket.id) {
            continue;
        }
        let mut holds = Exact::ZERO;
        let mut way: Option<Vec<String>> = None;
        for weighing in ticket.weighings.iter().filter(|weighing| weighing.reversed.is_none()) {
            let Some((share, by)) = weighing.lot.and_then(|lot| of_lot.get(&lot)) else { continue };
            holds += weighing.amount.to_exact() * share;
            way.get_or_insert_with(|| by.clone());
        }
        let Some(by_way_of) = way else { continue };
        let mut batch = RecalledBatch {
            ticket: ticket.id,
            ticket_number: ticket.number.clone(),
            made_on: None,
            holds,
            share: None,
            by_way_of,
            lots: Vec::new(),
        };
        if let Some(end) = &ticket.completion {
            batch.made_on = Some(end.on);
            batch.share = share_in(&batch.holds, ticket, end.yield_mass);
            let out = std::iter::once(end.lot).chain(end.fillings.iter().map(|filling| filling.lot));
            for lot in out {
                if batch.lots.iter().any(|known| known.lot == lot) {
                    continue;
                }
                let known = lots.get(lot);
                batch.lots.push(RecalledLot {
                    lot,
                    number: lots.number(lot),
                    on_hand: known.map(|lot| lot.on_hand),
                });
                let share = batch.share.clone().unwrap_or(Exact::ONE);
                let way = batch.by_way_of.iter().cloned().chain([lots.number(lot)]).collect();
                of_lot.entry(lot).or_insert((share, way));
            }
        }
        found.push(batch);
    }
    found
}

/// What of the lot stands in one kg of a batch: what was weighed is spread over all that was charged, whatever came out of it.
fn share_in(holds: &Exact, ticket: &Ticket, came_out: Mass) -> Option<Exact> {
    let charged: i64 = ticket
        .weighings
        .iter()
        .filter(|weighing| weighing.reversed.is_none())
        .fold(0, |sum, weighing| sum.saturating_add(weighing.amount.micrograms()));
    let charged = Mass::from_micrograms(charged.max(ticket.batch.micrograms()).max(came_out.micrograms()));
    holds.checked_div(&charged.to_exact()).ok()
}
