//! Settling what a lot cost when the invoice comes. What was weighed from it meanwhile is worth more or less by its exact share, and
//! so is what was made of it, and what was made of that. The ledger stays as posted; every change stands beside it.

use std::collections::{BTreeMap, VecDeque};

use domain::{
    corrections::{CostCorrection, shares},
    lots::{Lot, LotTerms},
    people::{Actor, Capability},
    stock::{Movement, MovementKind},
    text,
    tickets::Ticket,
};
use kernel::{
    Money, apportion_largest_remainder,
    ids::{CorrectionId, LotId, MovementId, TicketId},
};
use serde::{Deserialize, Serialize};
use store::WriteTx;

use crate::{
    App, Change, Error,
    change::{Begun, Work},
    fresh::Problems,
    lots::lot_lock,
    require,
};

/// What a lot cost in the end.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct LotCostSettle {
    /// The lot.
    pub lot: LotId,
    /// What all that was received cost landed.
    pub value: Money,
    /// Why: the invoice's reference.
    pub reason: String,
}

/// What a batch was posted to take from lots, and what became known of it later.
#[derive(Debug, Clone)]
pub struct TicketCostTrace {
    /// The value that left lots for it, as posted; `None` when some lot had none.
    pub posted: Option<Money>,
    /// What it was worth more or less as known now.
    pub corrected_by: Money,
    /// Lots it took from whose cost is still an estimate.
    pub provisional_lots: Vec<Lot>,
    /// Corrections of lots it took from or made, in the order they were entered.
    pub corrections: Vec<CostCorrection>,
}

/// Lots one settlement may reach; more is no house's history but a loop.
const LOTS_MAX: usize = 20_000;

impl App {
    /// Settles what a lot cost. Everything taken from it gets its share of the difference, down to finished goods.
    ///
    /// # Errors
    /// [`Error::NotFound`], [`Error::Invalid`] for what was made here, belongs to somebody else, or is in another currency.
    pub async fn lot_cost_settle(
        &self,
        change: &Change<'_>,
        input: LotCostSettle,
    ) -> Result<Vec<CostCorrection>, Error> {
        let mut work = match self.begin(change, Capability::Buy, "lot-cost-settle", &input).await? {
            Begun::Repeat(corrections) => return Ok(corrections),
            Begun::Fresh(work) => work,
        };
        let lot = lot_lock(&work.tx, input.lot).await?;
        let house = self.settings().currency;
        let mut problems = Problems::default();
        let reason = problems.take("reason", text::note("a reason", &input.reason));
        if lot.made_by.is_some() {
            problems.push("lot", format!("lot {} was made here; settle what went into it", lot.number));
        }
        if lot.terms.ownership == domain::lots::Ownership::Customer {
            problems.push("lot", format!("lot {} belongs to a customer", lot.number));
        }
        if lot.is_ordered() {
            problems.push("lot", format!("lot {} has not come in", lot.number));
        }
        if input.value.currency() != house {
            problems.push("value", format!("stock is valued in {house}"));
        }
        if input.value.micros() < 0 {
            problems.push("value", "a value must not be below nought");
        }
        problems.none()?;
        let reason =
            reason.ok_or_else(|| Error::internal("a settlement without problems lacks its reason"))?;

        let before = settled_so_far(&work.tx, &lot, house).await?;
        let delta = input.value.checked_sub(before)?;
        let corrections = correct(&mut work, lot.id, delta, &reason).await?;
        let now = lot_lock(&work.tx, lot.id).await?;
        if now.terms.cost_provisional {
            let terms = LotTerms { cost_provisional: false, ..now.terms.clone() };
            store::lots::lot_terms_set(&work.tx, lot.id, &terms).await?;
        }
        work.note(
            "lot",
            lot.id,
            Some(&serde_json::json!({ "cost": before, "provisional": lot.terms.cost_provisional })),
            &serde_json::json!({ "cost": input.value, "corrections": corrections }),
            Some(&reason),
        )?;
        work.finish(corrections).await
    }

    /// What became known of the cost of some lots later.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn corrections_of_lots(
        &self,
        actor: &Actor,
        lots: &[LotId],
    ) -> Result<Vec<CostCorrection>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::corrections::corrections_of_lots(self.store(), lots).await?)
    }

    /// What a batch took from lots as posted, what became known of that later, and what may still change.
    ///
    /// # Errors
    /// [`Error::Forbidden`], [`Error::NotFound`], or when the database cannot be read.
    pub async fn ticket_cost_trace(&self, actor: &Actor, id: TicketId) -> Result<TicketCostTrace, Error> {
        require(actor, Capability::Look)?;
        let conn = self.store();
        let house = self.settings().currency;
        let tickets: Vec<Ticket> = store::tickets::tickets_get(conn, &[id]).await?;
        if tickets.is_empty() {
            return Err(Error::not_found("ticket", id));
        }
        let made = store::lots::lots_made_by(conn, &[id]).await?;
        let is_made = |lot: LotId| made.iter().any(|made| made.id == lot);
        let moved = store::stock::movements_of_ticket(conn, id).await?;
        let taken: Vec<&Movement> = moved.iter().filter(|movement| !is_made(movement.lot)).collect();
        let nought = Money::zero(house);
        let posted = taken.iter().try_fold(Some(nought), |sum, movement| {
            sum.zip(movement.value).map(|(sum, value)| sum.checked_sub(value)).transpose()
        })?;
        let corrected = store::corrections::corrections_of_ticket(conn, id).await?;
        let corrected_by = taken
            .iter()
            .filter_map(|movement| corrected.get(&movement.id))
            .try_fold(nought, |sum, share| sum.checked_sub(*share))?;
        let mut from: Vec<LotId> = taken.iter().map(|movement| movement.lot).collect();
        from.sort_unstable();
        from.dedup();
        let mut provisional_lots = store::lots::lots_get(conn, &from).await?;
        provisional_lots.retain(|lot| lot.terms.cost_provisional);
        provisional_lots.sort_by(|a, b| a.number.cmp(&b.number));
        from.extend(made.iter().map(|lot| lot.id));
        let corrections = store::corrections::corrections_of_lots(conn, &from).await?;
        Ok(TicketCostTrace { posted, corrected_by, provisional_lots, corrections })
    }
}

/// What a lot is known to have cost: as received, and what was corrected since.
async fn settled_so_far(tx: &WriteTx, lot: &Lot, house: kernel::Currency) -> Result<Money, Error> {
    // A lot without a value had none at its receipt; its first correction says all of it, and stands as its received value too.
    let movements = store::stock::movements_of_lots(tx, &[lot.id]).await?;
    let posted = movements
        .iter()
        .find(|movement| matches!(movement.kind, MovementKind::Receipt | MovementKind::Made))
        .and_then(|movement| movement.value)
        .unwrap_or_else(|| Money::zero(house));
    let corrections = store::corrections::corrections_of_lots(tx, &[lot.id]).await?;
    Ok(corrections.iter().try_fold(posted, |sum, correction| sum.checked_add(correction.amount))?)
}

/// Corrects a lot by so much, and what was made of it, one lot after another.
async fn correct(
    work: &mut Work<'_>,
    lot: LotId,
    delta: Money,
    reason: &str,
) -> Result<Vec<CostCorrection>, Error> {
    let mut queue: VecDeque<(LotId, Money, Option<CorrectionId>)> = VecDeque::from([(lot, delta, None)]);
    let mut corrections = Vec::new();
    while let Some((id, delta, because_of)) = queue.pop_front() {
        if delta.micros() == 0 {
            continue;
        }
        if corrections.len() >= LOTS_MAX {
            return Err(Error::internal("a settlement does not come to an end"));
        }
        let lot = lot_lock(&work.tx, id).await?;
        let Some(correction) = correct_one(work, &lot, delta, because_of, reason).await? else { continue };
        queue.extend(passed_on(&work.tx, &correction).await?);
        corrections.push(correction);
    }
    Ok(corrections)
}

async fn correct_one(
    work: &Work<'_>,
    lot: &Lot,
    delta: Money,
    because_of: Option<CorrectionId>,
    reason: &str,
) -> Result<Option<CostCorrection>, Error> {
    // What was made of something without a known value has none itself; it is not known any better by this.
    if lot.made_by.is_some() && lot.value.is_none() {
        return Ok(None);
    }
    let movements = store::stock::movements_of_lots(&work.tx, &[lot.id]).await?;
    let mut known: BTreeMap<MovementId, Money> = BTreeMap::new();
    for before in store::corrections::corrections_of_lots(&work.tx, &[lot.id]).await? {
        for share in before.shares {
            let sum = match known.get(&share.movement) {
                Some(sum) => sum.checked_add(share.amount)?,
                None => share.amount,
            };
            known.insert(share.movement, sum);
        }
    }
    let settled = settled_so_far(&work.tx, lot, delta.currency()).await?.checked_add(delta)?;
    let correction = CostCorrection {
        id: CorrectionId::new(),
        lot: lot.id,
        amount: delta,
        entered_at: work.at,
        by: work.by.clone(),
        because_of,
        reason: reason.to_owned(),
        shares: shares(&movements, settled, &known)?,
    };
    store::corrections::correction_insert(&work.tx, &correction, settled).await?;
    Ok(Some(correction))
}

/// Which lots a correction goes on to: what was made by the tickets that took from the corrected lot.
async fn passed_on(
    tx: &WriteTx,
    correction: &CostCorrection,
) -> Result<Vec<(LotId, Money, Option<CorrectionId>)>, Error> {
    let nought = Money::zero(correction.amount.currency());
    let mut by_ticket: Vec<(TicketId, Money)> = Vec::new();
    for share in &correction.shares {
        let Some(ticket) = share.ticket else { continue };
        // What left the lot at more is so much more for the batch.
        let more = nought.checked_sub(share.amount)?;
        match by_ticket.iter_mut().find(|(known, _)| *known == ticket) {
            Some((_, sum)) => *sum = sum.checked_add(more)?,
            None => by_ticket.push((ticket, more)),
        }
    }
    let mut next = Vec::new();
    for (ticket, more) in by_ticket {
        let made = store::lots::lots_made_by(tx, &[ticket]).await?;
        // The bulk takes what was weighed into it; what was filled from that very bulk takes what it drew.
        let from_made = made.iter().any(|lot| lot.id == correction.lot);
        // Not finished: what it takes is added up when it is.
        let found = store::tickets::tickets_get(tx, &[ticket]).await?;
        let Some(bulk) = found.first().and_then(bulk_of) else { continue };
        let moved = store::stock::movements_of_ticket(tx, ticket).await?;
        let filled_from = moved
            .iter()
            .any(|movement| movement.lot == correction.lot && movement.kind == MovementKind::Filling);
        let receivers: Vec<&Lot> = if from_made || filled_from {
            made.iter().filter(|lot| lot.id != bulk && lot.id != correction.lot).collect()
        } else {
            made.iter().filter(|lot| lot.id == bulk).collect()
        };
        next.extend(
            divided(&receivers, more)?.into_iter().map(|(lot, part)| (lot, part, Some(correction.id))),
        );
    }
    Ok(next)
}

fn bulk_of(ticket: &Ticket) -> Option<LotId> {
    ticket.completion.as_ref().map(|completion| completion.lot)
}

/// An amount divided among lots by what they cost, so that the parts add up to it.
fn divided(lots: &[&Lot], amount: Money) -> Result<Vec<(LotId, Money)>, Error> {
    match lots {
        [] => Ok(Vec::new()),
        [one] => Ok(vec![(one.id, amount)]),
        many => {
            let weights: Vec<_> = many
                .iter()
                .map(|lot| lot.received_value.map_or_else(|| lot.received.to_exact(), Money::to_exact))
                .collect();
            let parts = apportion_largest_remainder(amount.micros(), &weights)?;
            Ok(many
                .iter()
                .zip(parts)
                .map(|(lot, part)| (lot.id, Money::from_micros(part, amount.currency())))
                .collect())
        }
    }
}
