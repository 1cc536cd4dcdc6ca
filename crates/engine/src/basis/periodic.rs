//! The periodic methods: nothing is written down when goods leave, and a count at the end of the period says what is left. For
//! checking the running methods against, and for makers whose accounts work that way.

use chrono::NaiveDate;
use kernel::Exact;

use super::{
    flow::SumKnown,
    history::{Entry, History},
};

/// What came in over a period, the opening stock included, and what of it is left.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Periodic {
    /// kg or pieces available.
    pub available: Exact,
    /// What those cost.
    pub available_value: Exact,
    /// kg or pieces left, as counted.
    pub left: Exact,
    /// What those cost.
    pub left_value: Exact,
}

impl Periodic {
    /// kg or pieces that went out.
    pub fn issued(&self) -> Exact {
        &self.available - &self.left
    }

    /// What those cost: whatever is not left.
    pub fn issued_value(&self) -> Exact {
        &self.available_value - &self.left_value
    }
}

impl History {
    fn receipts(&self, until: NaiveDate) -> impl Iterator<Item = &Entry> {
        self.counting(until).map(|(_, entry)| entry).filter(|entry| entry.is_receipt())
    }

    fn available(&self, until: NaiveDate) -> Option<(Exact, Exact)> {
        let quantity = self.receipts(until).map(|entry| entry.quantity.to_exact()).sum();
        let value = self.receipts(until).map(|entry| entry.value.map(kernel::Money::to_exact)).sum_known()?;
        Some((quantity, value))
    }

    /// First in, first out over everything received until a day, when so much (kg or pieces) was counted on it: what is left is of
    /// the latest receipts. `None` when a receipt has no value, or more was counted than ever came in.
    pub fn fifo_periodic(&self, until: NaiveDate, counted: &Exact) -> Option<Periodic> {
        let (available, available_value) = self.available(until)?;
        let mut wanted = counted.clone();
        let mut left_value = Exact::ZERO;
        let receipts: Vec<&Entry> = self.receipts(until).collect();
        for entry in receipts.into_iter().rev() {
            let quantity = entry.quantity.to_exact();
            let taken = wanted.clone().min(quantity.clone());
            left_value += &entry.value?.to_exact() * &taken.checked_div(&quantity).ok()?;
            wanted = &wanted - &taken;
        }
        (!wanted.is_positive()).then(|| Periodic {
            available,
            available_value,
            left: counted.clone(),
            left_value,
        })
    }

    /// One weighted average over everything received until a day, when so much (kg or pieces) was counted on it. `None` when a
    /// receipt has no value, or more was counted than ever came in.
    pub fn weighted_average_periodic(&self, until: NaiveDate, counted: &Exact) -> Option<Periodic> {
        let (available, available_value) = self.available(until)?;
        if *counted > available {
            return None;
        }
        let left_value = (&available_value * counted).checked_div(&available).ok()?;
        Some(Periodic { available, available_value, left: counted.clone(), left_value })
    }
}
