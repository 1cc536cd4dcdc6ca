//! How cost flows through a material's history: the last purchase, the moving average, and first in, first out.
//!
//! Both flows keep *stacks*: a quantity that cost so much together. First in, first out makes one of each receipt; the moving
//! average merges what is left with each receipt into a new one. An issue takes parts of stacks, in whole numbers of the smallest
//! kept unit; what a part cost is its exact share of its stack. So cost out and cost left always add up to cost in, and nothing is
//! divided before somebody asks.
//!
//! A ledger that was entered late may take out on a day what comes in on a later one. That issue is then *uncovered* until the next
//! receipts come, which cover it first.

use chrono::NaiveDate;
use domain::stock::MovementKind;
use kernel::{Exact, ids::LotId};
use std::{
    collections::{HashSet, VecDeque},
    sync::Arc,
};

use super::{
    history::{Entry, History, LotRef},
    walk::Walk,
};

/// A receipt that says what the material last cost.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LastPurchase<'h> {
    /// The receipt; its value is above nought.
    pub receipt: &'h Entry,
    /// What it cost per kg or piece, landed.
    pub unit_cost: Exact,
    /// Lots received after it that have no value yet, and so say nothing.
    pub unvalued_since: Vec<Arc<LotRef>>,
}

/// Something that is left and what it cost.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Layer {
    /// The lot it came in as.
    pub lot: Arc<LotRef>,
    /// The day it came in.
    pub received_on: NaiveDate,
    /// kg or pieces left.
    pub quantity: Exact,
    /// What those cost, in the history's currency; `None` for a lot without a value.
    pub value: Option<Exact>,
}

/// Something that went out and what it cost.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Issue {
    /// The day.
    pub on: NaiveDate,
    /// The lot it was really taken from.
    pub lot: Arc<LotRef>,
    /// What kind of movement.
    pub kind: MovementKind,
    /// kg or pieces, above nought.
    pub quantity: Exact,
    /// What it cost; `None` when it took from a lot without a value. Of what is uncovered nothing is in it.
    pub cost: Option<Exact>,
    /// The part that is still uncovered: taken out before it came in.
    pub uncovered: Exact,
}

/// First in, first out, up to a day.
#[derive(Debug, Clone)]
pub struct FifoFlow<'h> {
    walk: Walk<'h>,
    queue: VecDeque<usize>,
}

/// The moving average, up to a day.
#[derive(Debug, Clone)]
pub struct AverageFlow<'h> {
    walk: Walk<'h>,
    pool: Option<usize>,
    /// Lots without a value stand beside the pool, and only what was taken from them leaves them.
    beside: Vec<usize>,
    receipts: usize,
    /// The day the last of it left, and the pool it left.
    emptied: Option<(NaiveDate, usize)>,
}

/// The average at which the last of a material left.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RanOut {
    /// The day it left.
    pub on: NaiveDate,
    /// The average per kg or piece it left at.
    pub unit_cost: Exact,
}

fn value_of(entry: &Entry) -> Option<Exact> {
    entry.value.map(kernel::Money::to_exact)
}

impl History {
    /// The latest receipt with a value, on or before a day. `None` when there is none.
    pub fn last_purchase(&self, day: NaiveDate) -> Option<LastPurchase<'_>> {
        let mut unvalued_since = Vec::new();
        let receipts = self.entries().iter().rev().filter(|entry| entry.counts_on(day) && entry.is_receipt());
        for receipt in receipts {
            match value_of(receipt) {
                None => unvalued_since.push(Arc::clone(&receipt.lot)),
                // More of a lot that was paid for before.
                Some(value) if value.is_zero() => {}
                Some(value) => {
                    let unit_cost = value.checked_div(&receipt.quantity.to_exact()).ok()?;
                    return Some(LastPurchase { receipt, unit_cost, unvalued_since });
                }
            }
        }
        None
    }

    /// First in, first out, through everything that counts on a day.
    pub fn fifo(&self, day: NaiveDate) -> FifoFlow<'_> {
        let mut flow = FifoFlow { walk: Walk::new(self, day), queue: VecDeque::new() };
        for (index, entry) in self.counting(day) {
            let raw = i128::from(entry.quantity.raw());
            if raw > 0 { flow.bring_in(index, entry, raw) } else { flow.take_out(index, -raw) }
        }
        flow
    }

    /// The moving average, through everything that counts on a day.
    pub fn moving_average(&self, day: NaiveDate) -> AverageFlow<'_> {
        let unvalued: HashSet<LotId> = self
            .counting(day)
            .filter(|(_, entry)| entry.quantity.is_positive() && entry.value.is_none())
            .map(|(_, entry)| entry.lot.id)
            .collect();
        let mut flow = AverageFlow {
            walk: Walk::new(self, day),
            pool: None,
            beside: Vec::new(),
            receipts: 0,
            emptied: None,
        };
        for (index, entry) in self.counting(day) {
            let raw = i128::from(entry.quantity.raw());
            match (unvalued.contains(&entry.lot.id), raw > 0) {
                (true, true) => flow.bring_in_beside(index, entry.lot.id, raw),
                (true, false) => flow.take_from_beside(index, entry.lot.id, -raw),
                (false, true) => flow.bring_in(index, entry, raw, &unvalued),
                (false, false) => flow.take_out(index, entry.on, -raw),
            }
        }
        flow
    }
}

impl FifoFlow<'_> {
    fn bring_in(&mut self, index: usize, entry: &Entry, quantity: i128) {
        let value = value_of(entry);
        // What a count finds, or comes back, belongs to what is left of its lot.
        let same_lot = |stack: &usize| self.walk.lot(*stack) == Some(entry.lot.id);
        let found = if entry.is_receipt() { None } else { self.queue.iter().position(same_lot) };
        if let Some(at) = found.and_then(|at| self.queue.get_mut(at)) {
            let came_with = self.walk.entry(*at).unwrap_or(index);
            *at = self.walk.merge(*at, came_with, quantity, value);
            return;
        }
        let stack = self.walk.push(index, quantity, value);
        self.walk.cover(stack, |_| true);
        if self.walk.left(stack) > 0 {
            self.queue.push_back(stack);
        }
    }

    fn take_out(&mut self, issue: usize, quantity: i128) {
        let mut wanted = quantity;
        while wanted > 0 {
            let Some(stack) = self.queue.front().copied() else {
                self.walk.owe(issue, wanted);
                return;
            };
            wanted -= self.walk.take(issue, stack, wanted);
            if self.walk.left(stack) == 0 {
                self.queue.pop_front();
            }
        }
    }

    /// What is left, the oldest first.
    pub fn layers(&self) -> Vec<Layer> {
        self.queue.iter().filter_map(|stack| self.walk.layer(*stack)).collect()
    }

    /// What went out, in order, with what it cost.
    pub fn issues(&self) -> Vec<Issue> {
        self.walk.issues()
    }

    /// What was taken out and has not come in yet, kg or pieces.
    pub fn uncovered(&self) -> Exact {
        self.walk.uncovered()
    }

    /// What all that is left cost; `None` when some of it has no value.
    pub fn value_left(&self) -> Option<Exact> {
        self.layers().into_iter().map(|layer| layer.value).sum_known()
    }
}

impl AverageFlow<'_> {
    fn bring_in(&mut self, index: usize, entry: &Entry, quantity: i128, unvalued: &HashSet<LotId>) {
        let value = value_of(entry);
        let held = self.pool.filter(|pool| self.walk.left(*pool) > 0);
        let pool = match held {
            Some(pool) => self.walk.merge(pool, index, quantity, value),
            None => {
                self.receipts = 0;
                let pool = self.walk.push(index, quantity, value);
                self.walk.cover(pool, |lot| !unvalued.contains(&lot));
                pool
            }
        };
        self.receipts += usize::from(entry.is_receipt());
        self.pool = Some(pool);
        self.settle(entry.on);
    }

    /// Remembers the average the last of it left at, until something that was paid for comes in.
    fn settle(&mut self, on: NaiveDate) {
        let Some(pool) = self.pool else { return };
        if self.walk.costs(pool) {
            self.emptied = (self.walk.left(pool) == 0).then_some((on, pool));
        }
    }

    fn take_out(&mut self, issue: usize, on: NaiveDate, quantity: i128) {
        let taken = self.pool.map_or(0, |pool| self.walk.take(issue, pool, quantity));
        if taken < quantity {
            self.walk.owe(issue, quantity - taken);
        }
        if taken > 0 {
            self.settle(on);
        }
    }

    fn beside_of(&self, lot: LotId) -> Vec<usize> {
        let of_lot = |stack: &&usize| self.walk.lot(**stack) == Some(lot);
        self.beside.iter().filter(of_lot).copied().collect()
    }

    fn bring_in_beside(&mut self, index: usize, lot: LotId, quantity: i128) {
        let stack = self.walk.push(index, quantity, None);
        self.walk.cover(stack, |owed| owed == lot);
        self.beside.push(stack);
    }

    fn take_from_beside(&mut self, issue: usize, lot: LotId, quantity: i128) {
        let mut wanted = quantity;
        for stack in self.beside_of(lot) {
            wanted -= self.walk.take(issue, stack, wanted);
        }
        if wanted > 0 {
            self.walk.owe(issue, wanted);
        }
        let Self { walk, beside, .. } = self;
        beside.retain(|stack| walk.left(*stack) > 0);
    }

    /// The pool, when something is in it.
    fn pool(&self) -> Option<usize> {
        self.pool.filter(|pool| self.walk.left(*pool) > 0)
    }

    /// What is there with a value, kg or pieces.
    pub fn quantity(&self) -> Exact {
        self.walk.history.exact(self.pool().map_or(0, |pool| self.walk.left(pool)))
    }

    /// What that is worth.
    pub fn value(&self) -> Exact {
        self.pool().and_then(|pool| self.walk.layer(pool)?.value).unwrap_or_default()
    }

    /// The average per kg or piece of what is there with a value; `None` when nothing is.
    pub fn unit_cost(&self) -> Option<Exact> {
        self.walk.unit_cost(self.pool()?)
    }

    /// Receipts that are in the average: those since the shelf was last empty.
    pub const fn receipts(&self) -> usize {
        self.receipts
    }

    /// The day of the latest entry that changed the average.
    pub fn changed_on(&self) -> Option<NaiveDate> {
        self.walk.history.entries().get(self.walk.entry(self.pool?)?).map(|entry| entry.on)
    }

    /// The average at which the last of it left, when nothing that was paid for is there now.
    pub fn ran_out(&self) -> Option<RanOut> {
        let (on, pool) = self.emptied?;
        Some(RanOut { on, unit_cost: self.walk.unit_cost(pool)? })
    }

    /// The average a sheet uses: of what is there, or, when nothing that was paid for is, the one at which the last of it left, with
    /// that day.
    pub(super) fn for_sheet(&self) -> Option<(Exact, Option<NaiveDate>)> {
        match (self.emptied, self.pool()) {
            (Some((on, pool)), _) => Some((self.walk.sheet_unit_cost(pool)?, Some(on))),
            (None, Some(pool)) if self.walk.costs(pool) => Some((self.walk.sheet_unit_cost(pool)?, None)),
            (None, _) => None,
        }
    }

    /// What is left of lots without a value. While there is any, the average is not that of all that is there.
    pub fn unvalued(&self) -> Vec<Layer> {
        self.beside.iter().filter_map(|stack| self.walk.layer(*stack)).collect()
    }

    /// What went out, in order, with what it cost.
    pub fn issues(&self) -> Vec<Issue> {
        self.walk.issues()
    }

    /// What was taken out and has not come in yet, kg or pieces.
    pub fn uncovered(&self) -> Exact {
        self.walk.uncovered()
    }
}

/// Adds up figures when all are known.
pub(super) trait SumKnown {
    /// The sum; `None` when one is not known.
    fn sum_known(self) -> Option<Exact>;
}

impl<I: Iterator<Item = Option<Exact>>> SumKnown for I {
    fn sum_known(mut self) -> Option<Exact> {
        self.try_fold(Exact::ZERO, |sum, figure| figure.map(|figure| sum + figure))
    }
}
