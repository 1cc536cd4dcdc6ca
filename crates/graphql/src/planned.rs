//! Runs as they take from the shelf: needs, where they are taken from, what has to be made first, what to buy.

use async_graphql::{Context, Object, Union};
use engine::{
    Purchase as Buying, PurchaseOrder as Order,
    planned::{LostPromise as Lost, MakeFirst as First, Need as Wanted, RunOff as Walked, RunRef},
    shelf::{Take as Taken, TakenFrom},
};

use crate::{
    amounts::{Money, Quantity, kg},
    errors::Result,
    formulas::{Formula, FormulaVersion, formula_of},
    lots::{Lot, Unusable, reasons},
    materials::{Material, material_of},
    notes::Gap,
    packs::{Pack, pack_of},
    quotations::{Quotation, quotation_of},
    scalars::{Date, Decimal, Span},
    shelf::lot_of,
    sources::ValidityState,
    suppliers::{Supplier, supplier_of},
    tickets::{Ticket, ticket_of},
};

/// A lot on the shelf.
pub struct TakenFromLot {
    lot: kernel::ids::LotId,
    number: String,
}

/// Taken from a lot on the shelf.
#[Object]
impl TakenFromLot {
    /// The lot.
    async fn lot(&self, ctx: &Context<'_>) -> Result<Lot> {
        lot_of(ctx, self.lot).await
    }

    /// The house's number for it.
    async fn number(&self) -> &str {
        &self.number
    }
}

/// A ticket planned earlier.
pub struct TakenFromTicket {
    ticket: kernel::ids::TicketId,
    number: String,
}

/// Taken from what an open ticket planned earlier is expected to yield.
#[Object]
impl TakenFromTicket {
    /// The ticket.
    async fn ticket(&self, ctx: &Context<'_>) -> Result<Option<Ticket>> {
        ticket_of(ctx, self.ticket).await
    }

    /// Its number.
    async fn number(&self) -> &str {
        &self.number
    }
}

/// Something a scenario assumes.
pub struct TakenFromAssumed {
    change: usize,
}

/// Taken from what a scenario assumes: a delivery or a run.
#[Object]
impl TakenFromAssumed {
    /// The position of the change in the scenario, from 1.
    async fn change(&self) -> usize {
        self.change
    }
}

/// Where an amount comes from.
#[derive(Union)]
pub enum TakeSource {
    /// A lot on the shelf.
    Lot(TakenFromLot),
    /// What an open ticket is expected to yield.
    Ticket(TakenFromTicket),
    /// What a scenario assumes.
    Assumed(TakenFromAssumed),
}

/// An amount taken.
pub struct Take(pub Taken);

/// An amount taken for a need.
#[Object]
impl Take {
    /// Where from.
    async fn from(&self) -> TakeSource {
        match &self.0.from {
            TakenFrom::Lot { lot, number } => {
                TakeSource::Lot(TakenFromLot { lot: *lot, number: number.clone() })
            }
            TakenFrom::Ticket { ticket, number } => {
                TakeSource::Ticket(TakenFromTicket { ticket: *ticket, number: number.clone() })
            }
            TakenFrom::Assumed { change } => TakeSource::Assumed(TakenFromAssumed { change: *change }),
        }
    }

    /// How much.
    async fn quantity(&self) -> Quantity {
        Quantity(self.0.quantity)
    }

    /// The last day it may be used; null when nothing limits it.
    async fn last_day_of_use(&self) -> Option<Date> {
        self.0.last_day_of_use.map(Date)
    }
}

/// Takes as they are listed.
pub(crate) fn takes(takes: &[Taken]) -> Vec<Take> {
    takes.iter().cloned().map(Take).collect()
}

/// A promise that cannot be kept.
pub struct LostPromise(Lost);

/// A promise that cannot be kept, because the lot may not be used on the day or no longer holds it.
#[Object]
impl LostPromise {
    /// The lot.
    async fn lot(&self, ctx: &Context<'_>) -> Result<Lot> {
        lot_of(ctx, self.0.lot).await
    }

    /// Its number.
    async fn number(&self) -> &str {
        &self.0.number
    }

    /// How much of it was promised and cannot be had.
    async fn quantity(&self) -> Quantity {
        Quantity(self.0.quantity)
    }

    /// What stands against it; empty when the lot merely holds too little.
    async fn because(&self) -> Vec<Unusable> {
        reasons(&self.0.because)
    }
}

/// A need.
pub struct Need(Wanted);

/// What a run needs of one material, and where it comes from.
#[Object]
impl Need {
    /// The material.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material)
    }

    /// How much.
    async fn needed(&self) -> Quantity {
        Quantity(self.0.needed)
    }

    /// Whether lots of it are kept; what is not stocked (water) is taken as there.
    async fn stocked(&self) -> bool {
        self.0.stocked
    }

    /// What is taken, in order.
    async fn takes(&self) -> Vec<Take> {
        takes(&self.0.takes)
    }

    /// Promises that cannot be kept.
    async fn lost_promises(&self) -> Vec<LostPromise> {
        self.0.lost_promises.iter().cloned().map(LostPromise).collect()
    }

    /// What the shelf does not cover. With `makeFirst` that is what has to be made.
    async fn short_by(&self) -> Quantity {
        Quantity(self.0.short_by)
    }

    /// Whether something is missing that neither the shelf nor making an intermediate first provides.
    async fn short(&self) -> bool {
        self.0.is_short()
    }

    /// How the missing amount of an intermediate is made first; null when it is not made first.
    async fn make_first(&self) -> Option<MakeFirst> {
        self.0.make_first.clone().map(MakeFirst)
    }
}

/// A batch of an intermediate to be made first.
pub struct MakeFirst(First);

/// A batch of an intermediate that has to be made before a run.
#[Object]
impl MakeFirst {
    /// The version it is made by.
    async fn version(&self, ctx: &Context<'_>) -> Result<FormulaVersion> {
        FormulaVersion::find(ctx, self.0.version)
    }

    /// What has to come out, kg.
    async fn make_kg(&self) -> Decimal {
        kg(self.0.make)
    }

    /// What has to be charged for that, process loss and heel on top, kg.
    async fn charge_kg(&self) -> Decimal {
        kg(self.0.charge)
    }

    /// What that takes in turn.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn needs(&self) -> Vec<Need> {
        self.0.needs.iter().cloned().map(Need).collect()
    }
}

/// What run an answer is about.
pub struct Run(pub RunRef);

/// What run an answer is about: an open ticket, one that a scenario assumes, or the one asked about.
#[Object]
impl Run {
    /// The ticket; null for a run that has none.
    async fn ticket(&self, ctx: &Context<'_>) -> Result<Option<Ticket>> {
        match &self.0 {
            RunRef::Ticket { ticket, .. } => ticket_of(ctx, *ticket).await,
            RunRef::Assumed { .. } | RunRef::Asked => Ok(None),
        }
    }

    /// The ticket's number; null for a run that has none.
    async fn number(&self) -> Option<&str> {
        match &self.0 {
            RunRef::Ticket { number, .. } => Some(number),
            RunRef::Assumed { .. } | RunRef::Asked => None,
        }
    }

    /// The position, from 1, of the change of a scenario that assumes it; null for a run that nobody assumes.
    async fn assumed_by_change(&self) -> Option<usize> {
        match &self.0 {
            RunRef::Assumed { change } => Some(*change),
            RunRef::Ticket { .. } | RunRef::Asked => None,
        }
    }
}

/// A run walked through.
pub struct RunOff(pub Walked);

/// A run walked through: what it needs and where that comes from.
#[Object]
impl RunOff {
    /// The run.
    async fn run(&self) -> Run {
        Run(self.0.run.clone())
    }

    /// The formula.
    async fn formula(&self, ctx: &Context<'_>) -> Result<Formula> {
        formula_of(ctx, self.0.formula)
    }

    /// The pack it is filled into.
    async fn pack(&self, ctx: &Context<'_>) -> Result<Option<Pack>> {
        self.0.pack.map(|id| pack_of(ctx, id)).transpose()
    }

    /// The day it is made; an overdue ticket counts for today.
    async fn on(&self) -> Date {
        Date(self.0.on)
    }

    /// What it needs, in the order of its lines, packaging last.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn needs(&self) -> Vec<Need> {
        self.0.needs.iter().cloned().map(Need).collect()
    }

    /// Whether something is missing.
    async fn short(&self) -> bool {
        self.0.is_short()
    }
}

/// What to buy.
pub struct Purchase(pub Buying);

/// What to buy for a shortage.
#[Object]
impl Purchase {
    /// The material.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material.id)
    }

    /// What is missing.
    async fn short_by(&self) -> Quantity {
        Quantity(self.0.short_by)
    }

    /// The day it must be usable.
    async fn needed_on(&self) -> Date {
        Date(self.0.needed_on)
    }

    /// The order that covers it for the least money; null with the reason in `gap`.
    async fn order(&self) -> Option<PurchaseOrder> {
        self.0.order.clone().map(PurchaseOrder)
    }

    /// A larger order that costs less in all, because it reaches a price break.
    async fn larger_for_less(&self) -> Option<PurchaseOrder> {
        self.0.larger_for_less.clone().map(PurchaseOrder)
    }

    /// Why there is no order; null when there is one.
    async fn gap(&self) -> Option<Gap> {
        self.0.gap.as_ref().map(Gap::from)
    }
}

/// An order of whole packs.
pub struct PurchaseOrder(Order);

/// An order of whole packs, to be placed today.
#[Object]
impl PurchaseOrder {
    /// The quotation.
    async fn quotation(&self, ctx: &Context<'_>) -> Result<Quotation> {
        quotation_of(ctx, self.0.quotation)
    }

    /// The supplier.
    async fn supplier(&self, ctx: &Context<'_>) -> Result<Supplier> {
        supplier_of(ctx, self.0.supplier)
    }

    /// What is sold as one.
    async fn pack(&self) -> Quantity {
        Quantity(self.0.pack)
    }

    /// How many packs.
    async fn packs(&self) -> Decimal {
        Decimal::whole(self.0.packs)
    }

    /// All of them, in kg or pieces.
    async fn quantity(&self) -> Quantity {
        Quantity(self.0.quantity)
    }

    /// What they cost landed, in the house's currency.
    async fn cost(&self) -> Money {
        self.0.cost.into()
    }

    /// Landed, per kg or piece, in the house's currency.
    async fn unit_cost(&self) -> Money {
        self.0.cost_per_unit.into()
    }

    /// How it stands with the quotation on the day of the order.
    async fn validity(&self) -> ValidityState {
        match self.0.validity {
            "valid" => ValidityState::Valid,
            "lapses soon" => ValidityState::LapsesSoon,
            "lapsed" => ValidityState::Lapsed,
            _ => ValidityState::NotYetValid,
        }
    }

    /// The quotation's last day; null until replaced.
    async fn valid_until(&self) -> Option<Date> {
        self.0.valid_until.map(Date)
    }

    /// From order to delivery; null when nobody has entered it.
    async fn lead_time(&self) -> Option<Span> {
        self.0.lead_time.map(Span)
    }

    /// From receipt to release; null when there is none.
    async fn inspection_time(&self) -> Option<Span> {
        self.0.inspection_time.map(Span)
    }

    /// The last day to order so that it can be used in time; null without a lead time, or when it cannot be had in time.
    async fn order_by(&self) -> Option<Date> {
        self.0.order_by.map(Date)
    }

    /// When it could be used if ordered today; null without a lead time.
    async fn usable_if_ordered_today(&self) -> Option<Date> {
        self.0.usable_if_ordered_today.map(Date)
    }

    /// Whether it is too late already; null without a lead time.
    async fn too_late(&self) -> Option<bool> {
        self.0.too_late
    }
}
