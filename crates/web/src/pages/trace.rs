//! Where a lot came from and what became of it, with kilograms: both ways, through every premix and filling.

use std::collections::{HashMap, HashSet};

use domain::{Catalogue, lots::Lot, tickets::Ticket};
use kernel::{
    Mass, Quantity,
    ids::{LotId, TicketId},
};
use maud::{Markup, html};

use crate::{
    Web, access::Who, figures as fig, links, pages::material_link, respond::PageError, text as t, ui,
};

/// Steps followed either way: deeper than premixes nest, and a bound on what one page reads.
const STEPS_MAX: usize = 8;
/// Lots on one page of a trace.
const LOTS_MAX: usize = 400;

/// One step of a trace: a lot, how much of it, and what lies beyond.
struct Step {
    lot: Lot,
    quantity: Option<Quantity>,
    ticket: Option<String>,
    beyond: Vec<Step>,
}

/// The walk, and what it has read.
struct Walk<'a> {
    web: &'a Web,
    who: &'a Who,
    lots_left: usize,
    cut: bool,
}

/// The trace of a lot as a page's section.
pub async fn trace(web: &Web, who: &Who, catalogue: &Catalogue, lot: &Lot) -> Result<Markup, PageError> {
    let mut walk = Walk { web, who, lots_left: LOTS_MAX, cut: false };
    let back = walk.back(lot).await?;
    let forward = walk.forward(lot).await?;
    Ok(html! {
        div.pair {
            section.card {
                h3 { (t::CAME_FROM) }
                @match (&lot.supplier, back.is_empty()) {
                    (Some(supplier), _) => {
                        p {
                            (catalogue.suppliers.get(*supplier).map_or(t::GONE, |supplier| supplier.name.as_str()))
                            ", " (t::THEIR_LOT) " " span.code { (lot.supplier_lot.as_deref().unwrap_or("–")) }
                            ", " (fig::quantity(lot.received)) ", " (fig::date(lot.received_on))
                        }
                    }
                    (None, true) => { p.quiet { (t::CAME_FROM_UNKNOWN) } }
                    (None, false) => {}
                }
                (tree(catalogue, &back))
            }
            section.card {
                h3 { (t::WENT_INTO) }
                @if forward.is_empty() { (ui::nothing(t::WENT_NOWHERE)) }
                (tree(catalogue, &forward))
            }
        }
        @if walk.cut { p.quiet { (t::TRACE_CUT) } }
    })
}

fn tree(catalogue: &Catalogue, steps: &[Step]) -> Markup {
    if steps.is_empty() {
        return html! {};
    }
    html! {
        ul.tree {
            @for step in steps {
                li {
                    @if let Some(quantity) = step.quantity { strong { (fig::quantity(quantity)) } " " }
                    a.code href=(links::lot(&step.lot.number)) { (step.lot.number) } " " (material_link(catalogue, step.lot.material))
                    @if let Some(number) = &step.ticket { " " span.quiet { (t::BY_TICKET) " " a href=(links::ticket(number)) { (number) } } }
                    @if step.lot.on_hand.is_positive() { " " span.quiet { (fig::quantity(step.lot.on_hand)) " " (t::STILL_HERE) } }
                    (tree(catalogue, &step.beyond))
                }
            }
        }
    }
}

impl Walk<'_> {
    /// The lots that went into this one.
    async fn back(&mut self, lot: &Lot) -> Result<Vec<Step>, PageError> {
        let mut steps = self.back_one(lot).await?;
        // Breadth first, one level at a time, so that nothing recurses without end.
        let mut level: Vec<&mut Step> = steps.iter_mut().collect();
        for _ in 1..STEPS_MAX {
            let mut next = Vec::new();
            for step in level {
                let lot = step.lot.clone();
                step.beyond = self.back_one(&lot).await?;
                next.extend(step.beyond.iter_mut());
            }
            level = next;
        }
        self.cut |= !level.is_empty();
        Ok(steps)
    }

    async fn back_one(&mut self, lot: &Lot) -> Result<Vec<Step>, PageError> {
        let Some(made_by) = lot.made_by else { return Ok(Vec::new()) };
        let tickets = self.web.app.tickets_get(&self.who.actor, &[made_by]).await?;
        let Some(ticket) = tickets.into_iter().next() else { return Ok(Vec::new()) };
        // Units are filled from the bulk of the same ticket; the bulk from what was weighed.
        if let Some(completion) = &ticket.completion
            && completion.lot != lot.id
        {
            let amounts = HashMap::from([(completion.lot, None)]);
            return self.steps(&[completion.lot], &amounts, Some(&ticket.number)).await;
        }
        let amounts = weighed_by_lot(&ticket);
        let mut ids: Vec<LotId> = amounts.keys().copied().collect();
        ids.sort_unstable();
        let amounts = amounts.into_iter().map(|(id, mass)| (id, Some(Quantity::Mass(mass)))).collect();
        self.steps(&ids, &amounts, Some(&ticket.number)).await
    }

    /// The lots this one went into.
    async fn forward(&mut self, lot: &Lot) -> Result<Vec<Step>, PageError> {
        let mut seen = HashSet::from([lot.id]);
        let mut steps = self.forward_one(lot, &mut seen).await?;
        let mut level: Vec<&mut Step> = steps.iter_mut().collect();
        for _ in 1..STEPS_MAX {
            let mut next = Vec::new();
            for step in level {
                let lot = step.lot.clone();
                step.beyond = self.forward_one(&lot, &mut seen).await?;
                next.extend(step.beyond.iter_mut());
            }
            level = next;
        }
        self.cut |= !level.is_empty();
        Ok(steps)
    }

    async fn forward_one(&mut self, lot: &Lot, seen: &mut HashSet<LotId>) -> Result<Vec<Step>, PageError> {
        let mut steps = Vec::new();
        for ticket in self.web.app.tickets_using_lot(&self.who.actor, lot.id).await? {
            let amount = weighed_by_lot(&ticket).get(&lot.id).copied();
            let Some(completion) = &ticket.completion else { continue };
            if seen.insert(completion.lot) {
                let amounts = HashMap::from([(completion.lot, amount.map(Quantity::Mass))]);
                steps.extend(self.steps(&[completion.lot], &amounts, Some(&ticket.number)).await?);
            }
        }
        if let Some(made_by) = lot.made_by {
            steps.extend(self.filled_from(lot, made_by, seen).await?);
        }
        Ok(steps)
    }

    /// The units filled from a bulk, on the ticket that made it.
    async fn filled_from(
        &mut self,
        bulk: &Lot,
        ticket: TicketId,
        seen: &mut HashSet<LotId>,
    ) -> Result<Vec<Step>, PageError> {
        let tickets = self.web.app.tickets_get(&self.who.actor, &[ticket]).await?;
        let Some(completion) = tickets.first().and_then(|ticket| ticket.completion.as_ref()) else {
            return Ok(Vec::new());
        };
        if completion.lot != bulk.id {
            return Ok(Vec::new());
        }
        let amounts: HashMap<LotId, Option<Quantity>> = completion
            .fillings
            .iter()
            .map(|filling| (filling.lot, Some(Quantity::Count(filling.filled))))
            .collect();
        let ids: Vec<LotId> =
            completion.fillings.iter().map(|filling| filling.lot).filter(|id| seen.insert(*id)).collect();
        self.steps(&ids, &amounts, None).await
    }

    async fn steps(
        &mut self,
        ids: &[LotId],
        amounts: &HashMap<LotId, Option<Quantity>>,
        ticket: Option<&str>,
    ) -> Result<Vec<Step>, PageError> {
        let taken = ids.len().min(self.lots_left);
        self.cut |= taken < ids.len();
        self.lots_left -= taken;
        let ids: Vec<LotId> = ids.iter().take(taken).copied().collect();
        if ids.is_empty() {
            return Ok(Vec::new());
        }
        let mut lots = self.web.app.lots_get(&self.who.actor, &ids).await?;
        lots.sort_by(|a, b| a.number.cmp(&b.number));
        Ok(lots
            .into_iter()
            .map(|lot| Step {
                quantity: amounts.get(&lot.id).copied().flatten(),
                ticket: ticket.map(ToOwned::to_owned),
                lot,
                beyond: Vec::new(),
            })
            .collect())
    }
}

/// What a ticket really took of each lot, weighings taken back left out.
fn weighed_by_lot(ticket: &Ticket) -> HashMap<LotId, Mass> {
    let mut sums: HashMap<LotId, Mass> = HashMap::new();
    for weighing in ticket.weighings.iter().filter(|weighing| weighing.reversed.is_none()) {
        if let Some(lot) = weighing.lot {
            let sum = sums.entry(lot).or_default();
            *sum = sum.checked_add(weighing.amount).unwrap_or(*sum);
        }
    }
    sums
}
