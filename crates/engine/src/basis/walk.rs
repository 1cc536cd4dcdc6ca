//! Walking through a history: stacks that come in, and parts of them that go out.
//!
//! Quantities are whole numbers of the smallest kept unit, so walking is whole-number work. What a stack is worth is worked out when
//! somebody asks: a running average taken over years of receipts is a fraction of thousands of digits, and nobody wants every step
//! of it.

use chrono::NaiveDate;
use kernel::{Exact, ids::LotId};
use std::{
    collections::{HashMap, VecDeque},
    sync::Arc,
};

use super::{
    flow::{Issue, Layer},
    history::History,
};

/// Places of the currency unit to which a value goes into a sheet at least: a millionth of a millionth of what money is kept to.
const SHEET_PLACES: u32 = 18;

/// A quantity that cost so much together, and how much of it is left.
#[derive(Debug, Clone)]
struct Stack {
    /// The receipt it came in with, or the last of them.
    entry: usize,
    quantity: i128,
    /// What was left of another stack and became part of this one.
    rest: Option<Rest>,
    /// What the quantity beyond that rest cost; `None` when it came without a value.
    added: Option<Exact>,
    left: i128,
    /// Whether it cost anything, as far as is known.
    costs: bool,
}

/// So much that was left of a stack.
#[derive(Debug, Clone, Copy)]
struct Rest {
    stack: usize,
    left: i128,
}

/// So much of a stack, taken by an issue.
#[derive(Debug, Clone, Copy)]
struct Part {
    issue: usize,
    stack: usize,
    quantity: i128,
}

/// A history being walked through, up to a day. Stacks are named by their position.
#[derive(Debug, Clone)]
pub(super) struct Walk<'h> {
    pub history: &'h History,
    day: NaiveDate,
    stacks: Vec<Stack>,
    parts: Vec<Part>,
    /// Issues that are uncovered, and by how much.
    owed: VecDeque<(usize, i128)>,
}

impl<'h> Walk<'h> {
    pub const fn new(history: &'h History, day: NaiveDate) -> Self {
        Self { history, day, stacks: Vec::new(), parts: Vec::new(), owed: VecDeque::new() }
    }

    /// A new stack.
    pub fn push(&mut self, entry: usize, quantity: i128, value: Option<Exact>) -> usize {
        let costs = value.as_ref().is_some_and(|value| !value.is_zero());
        self.stacks.push(Stack { entry, quantity, rest: None, added: value, left: quantity, costs });
        self.stacks.len() - 1
    }

    /// What is left of a stack and what comes on top become a new stack.
    pub fn merge(&mut self, old: usize, entry: usize, quantity: i128, value: Option<Exact>) -> usize {
        let merged = self.push(entry, quantity, value);
        let Some(from) = self.stacks.get_mut(old) else { return merged };
        let (left, costs) = (std::mem::take(&mut from.left), from.costs);
        if let Some(stack) = self.stacks.get_mut(merged).filter(|_| left > 0) {
            stack.quantity += left;
            stack.left += left;
            stack.costs |= costs;
            stack.rest = Some(Rest { stack: old, left });
        }
        merged
    }

    /// What is left of a stack.
    pub fn left(&self, stack: usize) -> i128 {
        self.stacks.get(stack).map_or(0, |stack| stack.left)
    }

    /// Whether a stack cost anything.
    pub fn costs(&self, stack: usize) -> bool {
        self.stacks.get(stack).is_some_and(|stack| stack.costs)
    }

    /// The entry a stack came in with, or the last of them.
    pub fn entry(&self, stack: usize) -> Option<usize> {
        self.stacks.get(stack).map(|stack| stack.entry)
    }

    /// The lot a stack came in as.
    pub fn lot(&self, stack: usize) -> Option<LotId> {
        self.history.entries().get(self.entry(stack)?).map(|entry| entry.lot.id)
    }

    /// Takes what there is of a stack, at most what is wanted.
    pub fn take(&mut self, issue: usize, stack: usize, wanted: i128) -> i128 {
        let Some(from) = self.stacks.get_mut(stack) else { return 0 };
        let quantity = wanted.min(from.left);
        if quantity > 0 {
            from.left -= quantity;
            self.parts.push(Part { issue, stack, quantity });
        }
        quantity
    }

    /// What an issue wanted and did not get.
    pub fn owe(&mut self, issue: usize, quantity: i128) {
        self.owed.push_back((issue, quantity));
    }

    /// Lets a stack that has just come in cover what was taken out before it.
    pub fn cover(&mut self, stack: usize, covers: impl Fn(LotId) -> bool) {
        let owed = std::mem::take(&mut self.owed);
        for (issue, wanted) in owed {
            let lot = self.history.entries().get(issue).map(|entry| entry.lot.id);
            let taken = if lot.is_some_and(&covers) { self.take(issue, stack, wanted) } else { 0 };
            if taken < wanted {
                self.owed.push_back((issue, wanted - taken));
            }
        }
    }

    /// What is uncovered in all, kg or pieces.
    pub fn uncovered(&self) -> Exact {
        self.history.exact(self.owed.iter().map(|(_, quantity)| *quantity).sum())
    }

    /// What a whole stack cost; `None` when part of it came without a value.
    ///
    /// Each stack is the one before times what was left of it, plus what came on top. Such steps compose, so that a long row of them
    /// is folded in halves: fractions then grow together instead of one long one meeting every step.
    pub fn value(&self, stack: usize) -> Option<Exact> {
        let mut steps = Vec::new();
        let mut at = Some(stack);
        while let Some(stack) = at.and_then(|at| self.stacks.get(at)) {
            let added = stack.added.clone()?;
            let from = stack.rest.and_then(|rest| self.stacks.get(rest.stack).map(|from| (rest, from)));
            let kept = match from {
                Some((rest, from)) => Exact::ratio(rest.left, from.quantity).ok()?,
                None => Exact::ZERO,
            };
            steps.push(Step { kept, added });
            at = stack.rest.map(|rest| rest.stack);
        }
        steps.reverse();
        Some(Step::of_all(&steps).added)
    }

    /// What a whole stack cost per kg or piece.
    pub fn unit_cost(&self, stack: usize) -> Option<Exact> {
        let quantity = self.stacks.get(stack)?.quantity;
        self.value(stack)?.checked_div(&self.history.exact(quantity)).ok()
    }

    /// The same for a sheet, where it meets many others: what the stack cost is taken to [`SHEET_PLACES`] when it is a fraction too
    /// long to work with. The quantity is never rounded, nor is the cost per kg or piece.
    pub fn sheet_unit_cost(&self, stack: usize) -> Option<Exact> {
        let quantity = self.stacks.get(stack)?.quantity;
        let value = self.value(stack)?.shortened_half_even(SHEET_PLACES);
        value.checked_div(&self.history.exact(quantity)).ok()
    }

    /// What is left of a stack, and what that cost; `None` when nothing is left.
    pub fn layer(&self, stack: usize) -> Option<Layer> {
        let held = self.stacks.get(stack).filter(|held| held.left > 0)?;
        let entry = self.history.entries().get(held.entry)?;
        let share = Exact::ratio(held.left, held.quantity).ok()?;
        Some(Layer {
            lot: Arc::clone(&entry.lot),
            received_on: entry.on,
            quantity: self.history.exact(held.left),
            value: self.value(stack).map(|value| value * share),
        })
    }

    /// What went out, in order, with what it cost.
    pub fn issues(&self) -> Vec<Issue> {
        let mut at = HashMap::new();
        let mut issues = Vec::new();
        for (index, entry) in self.history.counting(self.day) {
            let raw = i128::from(entry.quantity.raw());
            if raw < 0 {
                at.insert(index, issues.len());
                issues.push(Issue {
                    on: entry.on,
                    lot: Arc::clone(&entry.lot),
                    kind: entry.kind,
                    quantity: self.history.exact(-raw),
                    cost: Some(Exact::ZERO),
                    uncovered: Exact::ZERO,
                });
            }
        }
        let unit_costs = self.unit_costs();
        for part in &self.parts {
            let unit_cost = unit_costs.get(part.stack).and_then(Option::as_ref);
            let cost = unit_cost.map(|unit_cost| unit_cost * &self.history.exact(part.quantity));
            if let Some(issue) = at.get(&part.issue).and_then(|at| issues.get_mut(*at)) {
                issue.cost = issue.cost.take().zip(cost).map(|(a, b)| a + b);
            }
        }
        for (issue, uncovered) in &self.owed {
            if let Some(issue) = at.get(issue).and_then(|at| issues.get_mut(*at)) {
                issue.uncovered = self.history.exact(*uncovered);
            }
        }
        issues
    }

    /// What every stack cost per kg or piece. A stack only ever rests on earlier ones.
    fn unit_costs(&self) -> Vec<Option<Exact>> {
        let mut unit_costs: Vec<Option<Exact>> = Vec::with_capacity(self.stacks.len());
        for stack in &self.stacks {
            let rest = match stack.rest {
                None => Some(Exact::ZERO),
                Some(rest) => unit_costs
                    .get(rest.stack)
                    .and_then(Option::as_ref)
                    .map(|unit_cost| unit_cost * &self.history.exact(rest.left)),
            };
            let value = rest.zip(stack.added.as_ref()).map(|(rest, added)| &rest + added);
            let quantity = self.history.exact(stack.quantity);
            unit_costs.push(value.and_then(|value| value.checked_div(&quantity).ok()));
        }
        unit_costs
    }
}

/// From what one stack cost to what the next one does: so much of it is kept, and so much is added.
struct Step {
    kept: Exact,
    added: Exact,
}

impl Step {
    /// All steps as one.
    fn of_all(steps: &[Self]) -> Self {
        match steps {
            [] => Self { kept: Exact::ONE, added: Exact::ZERO },
            [only] => Self { kept: only.kept.clone(), added: only.added.clone() },
            _ => {
                let (first, second) = steps.split_at(steps.len() / 2);
                let (first, second) = (Self::of_all(first), Self::of_all(second));
                Self { added: &(&first.added * &second.kept) + &second.added, kept: first.kept * second.kept }
            }
        }
    }
}
