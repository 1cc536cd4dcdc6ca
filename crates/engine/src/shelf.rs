//! The shelf: what is there, what of it can be used on a day and why the rest cannot, and in which order lots are taken.
//!
//! Nothing here changes stock. A lot's free amount is what is there less what is promised to others; a ticket's own promises
//! count as available to it. Lots leave by first expiry, first out (WHO Good Distribution Practices): the earliest last day of
//! use first; among equals the one opened first, then the oldest receipt, then the smallest remainder, so that part-used
//! containers are emptied; lots without a date come last.

use chrono::NaiveDate;
use domain::{
    dates::Span,
    lots::{Lot, LotStatus, Unusable},
    materials::Material,
    tickets::{Allocation, Ticket},
};
use kernel::{
    Dimension, Quantity,
    ids::{LotId, MaterialId, TicketId},
};
use serde::Serialize;
use std::{borrow::Cow, cmp::Ordering, collections::BTreeMap};

/// The stock as it stands: lots with something on hand, and the tickets that are still open.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Shelf {
    /// Lots, in any order.
    pub lots: Vec<Lot>,
    /// Open tickets, in any order; others are passed over.
    pub tickets: Vec<Ticket>,
}

impl Shelf {
    /// The ticket of that identity.
    pub fn ticket(&self, id: TicketId) -> Option<&Ticket> {
        self.tickets.iter().find(|ticket| ticket.id == id)
    }

    /// The lot of that identity.
    pub fn lot(&self, id: LotId) -> Option<&Lot> {
        self.lots.iter().find(|lot| lot.id == id)
    }

    /// The lots of a material.
    pub fn lots_of(&self, material: MaterialId) -> impl Iterator<Item = &Lot> {
        self.lots.iter().filter(move |lot| lot.material == material)
    }
}

/// One lot as it stands on a day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LotOnDay {
    /// The lot.
    pub lot: LotId,
    /// The house's number for it.
    pub number: String,
    /// What may be done with it.
    pub status: LotStatus,
    /// What is there.
    pub on_hand: Quantity,
    /// Promised to tickets other than the one asked for.
    pub promised: Quantity,
    /// What can be taken on the day; nought when anything stands against the lot.
    pub usable: Quantity,
    /// The last day it may be used; `None` when nothing limits it.
    pub last_day_of_use: Option<NaiveDate>,
    /// Everything that stands against using it on the day.
    pub because: Vec<Unusable>,
}

/// What can be used of a material on a day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Availability {
    /// The material.
    pub material: MaterialId,
    /// The day.
    pub on: NaiveDate,
    /// What is there in all, usable or not.
    pub on_hand: Quantity,
    /// Promised to others, out of lots that can be used.
    pub promised: Quantity,
    /// What can be taken on the day.
    pub usable: Quantity,
    /// What cannot be taken, reason by reason; with what is usable it makes up what is there.
    pub not_usable: Vec<NotUsable>,
    /// Lots that can be used, in the order they are taken, and then the others.
    pub lots: Vec<LotOnDay>,
}

/// Why an amount that is there cannot be taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum NotUsableBecause {
    /// Not yet examined.
    Quarantine,
    /// Its lot is on hold.
    OnHold,
    /// Its lot is rejected.
    Rejected,
    /// Not there yet on the day.
    NotThere,
    /// Past its expiry date.
    Expired,
    /// Past its retest date.
    RetestDue,
    /// Opened longer ago than its period after opening.
    OpenedTooLong,
    /// Less life left than is asked for.
    TooLittleLife,
    /// Released for other products, or until a day that has passed.
    Restricted,
    /// A customer's, and not for this product.
    OfCustomer,
    /// In a container that is on hold or rejected while its lot is not.
    Container,
    /// What stays in its containers and cannot be had.
    Heel,
    /// Promised to tickets.
    Promised,
}

impl NotUsableBecause {
    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Quarantine => "in quarantine",
            Self::OnHold => "on hold",
            Self::Rejected => "rejected",
            Self::NotThere => "not there yet",
            Self::Expired => "expired",
            Self::RetestDue => "retest due",
            Self::OpenedTooLong => "opened too long ago",
            Self::TooLittleLife => "too little life left",
            Self::Restricted => "released for something else",
            Self::OfCustomer => "a customer's",
            Self::Container => "in a container that may not be used",
            Self::Heel => "heel",
            Self::Promised => "promised",
        }
    }

    const fn of(reason: &Unusable) -> Self {
        match reason {
            Unusable::Quarantine => Self::Quarantine,
            Unusable::OnHold => Self::OnHold,
            Unusable::Rejected => Self::Rejected,
            Unusable::NotYetReceived { .. } | Unusable::Ordered { .. } => Self::NotThere,
            Unusable::Expired { .. } => Self::Expired,
            Unusable::RetestDue { .. } => Self::RetestDue,
            Unusable::OpenedTooLong { .. } => Self::OpenedTooLong,
            Unusable::TooLittleLife { .. } => Self::TooLittleLife,
            Unusable::Restricted | Unusable::ReleaseEnded { .. } => Self::Restricted,
            Unusable::OfCustomer => Self::OfCustomer,
        }
    }
}

/// An amount that is there and cannot be taken.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct NotUsable {
    /// Why; of several reasons against a lot the first that is given for it.
    pub because: NotUsableBecause,
    /// How much.
    pub quantity: Quantity,
}

/// Where an amount comes from.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum TakenFrom {
    /// A lot on the shelf.
    Lot {
        /// The lot.
        lot: LotId,
        /// The house's number for it.
        number: String,
    },
    /// What an open ticket planned earlier is expected to yield.
    Ticket {
        /// The ticket.
        ticket: TicketId,
        /// Its number.
        number: String,
    },
    /// What a scenario assumes: a delivery or a run, by the position of the change.
    Assumed {
        /// Position in the scenario, from 1.
        change: usize,
    },
}

impl TakenFrom {
    /// The lot, when it is one.
    pub const fn lot(&self) -> Option<LotId> {
        match self {
            Self::Lot { lot, .. } => Some(*lot),
            Self::Ticket { .. } | Self::Assumed { .. } => None,
        }
    }
}

/// An amount taken.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Take {
    /// Where from.
    pub from: TakenFrom,
    /// How much.
    pub quantity: Quantity,
    /// The last day it may be used; `None` when nothing limits it.
    pub last_day_of_use: Option<NaiveDate>,
}

/// What first expiry, first out gives for a need.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FefoAllocation {
    /// Lots and amounts, in the order they are taken.
    pub takes: Vec<Take>,
    /// What no lot covers.
    pub short_by: Quantity,
}

/// The order two lots of one material leave in.
pub fn fefo_order(a: &Lot, b: &Lot, material: &Material) -> Ordering {
    // `None` sorts last in each of these.
    fn dated(date: Option<NaiveDate>) -> (bool, Option<NaiveDate>) {
        (date.is_none(), date)
    }
    dated(a.last_day_of_use(material))
        .cmp(&dated(b.last_day_of_use(material)))
        .then_with(|| dated(a.opened_on).cmp(&dated(b.opened_on)))
        .then_with(|| a.received_on.cmp(&b.received_on))
        .then_with(|| a.on_hand.raw().cmp(&b.on_hand.raw()))
        // Last of all by number, so that the same question always gets the same answer.
        .then_with(|| a.number.cmp(&b.number))
}

/// The last day a lot can be taken for a run: its last day of use less the life the material asks to be left.
pub fn last_day_to_take(lot: &Lot, material: &Material) -> Option<NaiveDate> {
    let until = lot.last_day_of_use(material)?;
    let Some(wanted) = material.minimum_remaining_life else { return Some(until) };
    let fits = |day: NaiveDate| wanted.after(day).is_some_and(|needed| needed <= until);
    let mut day = wanted.before(until)?;
    // Months have different lengths, so going back and coming forward again may miss by up to three days.
    for _ in 0..3 {
        match day.succ_opt() {
            Some(next) if matches!(wanted, Span::Months(_)) && fits(next) => day = next,
            _ => break,
        }
    }
    Some(day)
}

/// What can be used of a material on a day, lot by lot, with the reasons against the rest. `own` are the promises already made to
/// the ticket that asks; they do not stand in its own way. `product` is what is to be made with it, by the material made; lots released
/// for other products only cannot be used for it. Lots of other materials are passed over.
pub fn availability<'a>(
    material: &Material,
    lots: impl IntoIterator<Item = &'a Lot>,
    day: NaiveDate,
    own: &[Allocation],
    product: Option<MaterialId>,
) -> Availability {
    let mut held: Vec<Held<'a>> =
        lots.into_iter().filter(|lot| lot.material == material.id).map(Held::of).collect();
    release(&mut held, own);
    sort_fefo(&mut held, material);
    on_day(&held, material, day, product)
}

/// Covers a need from lots by first expiry, first out. `own` are the promises already made to the ticket that asks; they are given
/// up first, so the answer replaces them. `product` is as for [`availability`]. Lots of other materials are passed over.
pub fn allocate_fefo<'a>(
    material: &Material,
    lots: impl IntoIterator<Item = &'a Lot>,
    day: NaiveDate,
    need: Quantity,
    own: &[Allocation],
    product: Option<MaterialId>,
) -> FefoAllocation {
    let mut held: Vec<Held<'a>> =
        lots.into_iter().filter(|lot| lot.material == material.id).map(Held::of).collect();
    release(&mut held, own);
    sort_fefo(&mut held, material);
    let (takes, short) = take_fefo(&mut held, material, day, need.raw(), product);
    FefoAllocation { takes, short_by: Quantity::from_raw(short, need.dimension()) }
}

/// A lot, or something that will be one, while amounts are taken from it in thought.
#[derive(Debug, Clone)]
pub(crate) struct Held<'a> {
    pub lot: Cow<'a, Lot>,
    pub from: TakenFrom,
    /// What is left, in the scaled integer of the material's dimension.
    pub left: i64,
    /// Promised to tickets that have not been walked through yet.
    pub promised: i64,
    /// From which day a scenario takes it out of use, and as what.
    pub barred: Option<(NaiveDate, LotStatus)>,
}

impl<'a> Held<'a> {
    pub(crate) fn of(lot: &'a Lot) -> Self {
        let from = TakenFrom::Lot { lot: lot.id, number: lot.number.clone() };
        Self {
            left: lot.on_hand.raw().max(0),
            promised: lot.reserved.raw().max(0),
            lot: Cow::Borrowed(lot),
            from,
            barred: None,
        }
    }

    pub(crate) fn free(&self) -> i64 {
        self.left.saturating_sub(self.out_of_reach()).saturating_sub(self.promised).max(0)
    }

    /// What of it cannot be had: what stands in containers that may not be used, and what no pump reaches.
    pub(crate) fn out_of_reach(&self) -> i64 {
        self.lot.terms.blocked.saturating_add(self.lot.terms.heel).clamp(0, self.left)
    }

    /// Everything that stands against using it on a day for a product.
    pub(crate) fn unusable_for(
        &self,
        day: NaiveDate,
        material: &Material,
        product: Option<MaterialId>,
    ) -> Vec<Unusable> {
        let mut reasons = self.lot.unusable_for(day, material, product);
        let barred = self.barred.filter(|(from, _)| *from <= day).and_then(|(_, status)| match status {
            LotStatus::Released => None,
            LotStatus::Quarantine => Some(Unusable::Quarantine),
            LotStatus::OnHold => Some(Unusable::OnHold),
            LotStatus::Rejected => Some(Unusable::Rejected),
        });
        if let Some(barred) = barred.filter(|barred| !reasons.contains(barred)) {
            reasons.push(barred);
        }
        reasons
    }

    /// Whether it will never be used again, whatever its dates say.
    pub(crate) fn is_rejected(&self) -> bool {
        self.lot.status == LotStatus::Rejected
            || self.barred.is_some_and(|(_, status)| status == LotStatus::Rejected)
    }

    pub(crate) fn take(&mut self, amount: i64, material: &Material) -> Take {
        self.left = self.left.saturating_sub(amount);
        Take {
            from: self.from.clone(),
            quantity: Quantity::from_raw(amount, material.stock_dimension()),
            last_day_of_use: self.lot.last_day_of_use(material),
        }
    }
}

pub(crate) fn sort_fefo(held: &mut [Held<'_>], material: &Material) {
    held.sort_by(|a, b| fefo_order(&a.lot, &b.lot, material));
}

/// Gives up promises, so that what was promised can be taken.
pub(crate) fn release(held: &mut [Held<'_>], own: &[Allocation]) {
    for allocation in own {
        if let Some(held) = held.iter_mut().find(|held| held.from.lot() == Some(allocation.lot)) {
            held.promised = held.promised.saturating_sub(allocation.quantity.raw().max(0)).max(0);
        }
    }
}

/// Takes up to `need` from what is usable on the day and not promised, in the order the lots stand; says what is left uncovered.
pub(crate) fn take_fefo(
    held: &mut [Held<'_>],
    material: &Material,
    day: NaiveDate,
    need: i64,
    product: Option<MaterialId>,
) -> (Vec<Take>, i64) {
    let mut takes = Vec::new();
    let mut open = need.max(0);
    for held in held {
        let amount = held.free().min(open);
        if amount > 0 && held.unusable_for(day, material, product).is_empty() {
            takes.push(held.take(amount, material));
            open -= amount;
        }
        if open == 0 {
            break;
        }
    }
    (takes, open)
}

/// How the lots stand on a day.
pub(crate) fn on_day(
    held: &[Held<'_>],
    material: &Material,
    day: NaiveDate,
    product: Option<MaterialId>,
) -> Availability {
    let dimension: Dimension = material.stock_dimension();
    let quantity = |raw: i64| Quantity::from_raw(raw, dimension);
    let mut lots = Vec::new();
    let mut against = Vec::new();
    let mut not_usable: BTreeMap<NotUsableBecause, i64> = BTreeMap::new();
    let (mut on_hand, mut promised, mut usable) = (0_i64, 0_i64, 0_i64);
    for held in held {
        let Some(lot) = held.from.lot() else { continue };
        let because = held.unusable_for(day, material, product);
        let can_be_used = because.is_empty();
        let free = if can_be_used { held.free() } else { 0 };
        let mut kept_by = |because: NotUsableBecause, amount: i64| {
            if amount > 0 {
                let sum = not_usable.entry(because).or_insert(0);
                *sum = sum.saturating_add(amount);
            }
        };
        match because.first() {
            Some(reason) => kept_by(NotUsableBecause::of(reason), held.left),
            None => {
                // One amount is kept back for one reason only, so that the reasons add up to what is not usable.
                let blocked = held.lot.terms.blocked.clamp(0, held.left);
                let heel = held.out_of_reach().saturating_sub(blocked);
                kept_by(NotUsableBecause::Container, blocked);
                kept_by(NotUsableBecause::Heel, heel);
                kept_by(NotUsableBecause::Promised, held.left - blocked - heel - free);
            }
        }
        on_hand = on_hand.saturating_add(held.left);
        usable = usable.saturating_add(free);
        if can_be_used {
            promised = promised.saturating_add(held.promised.min(held.left));
        }
        let row = LotOnDay {
            lot,
            number: held.lot.number.clone(),
            status: held.lot.status,
            on_hand: quantity(held.left),
            promised: quantity(held.promised),
            usable: quantity(free),
            last_day_of_use: held.lot.last_day_of_use(material),
            because,
        };
        if can_be_used { lots.push(row) } else { against.push(row) }
    }
    lots.append(&mut against);
    Availability {
        material: material.id,
        on: day,
        on_hand: quantity(on_hand),
        promised: quantity(promised),
        usable: quantity(usable),
        not_usable: not_usable
            .into_iter()
            .map(|(because, amount)| NotUsable { because, quantity: quantity(amount) })
            .collect(),
        lots,
    }
}

#[cfg(test)]
mod tests;
