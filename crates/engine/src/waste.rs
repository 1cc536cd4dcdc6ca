//! What is bought and not used before it expires: what is consumed costs more than what is paid for it says.

use domain::dates::Span;
use kernel::{AmountError, Exact};

use crate::price::LandedPrice;

/// An order of which only a part is used in time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AfterWaste {
    /// kg or pieces that are used before the life of the order is over, at most all of it.
    pub used: Exact,
    /// kg or pieces that are left then.
    pub wasted: Exact,
    /// What the order costs over what is used of it, per kg or piece; `None` when nothing is.
    pub per_unit_used: Option<Exact>,
}

/// A part of a year: months are twelfths, days parts of 365.
fn years(span: Span) -> Result<Exact, AmountError> {
    match span {
        Span::Days(days) => Exact::ratio(i128::from(days), 365),
        Span::Months(months) => Exact::ratio(i128::from(months), 12),
    }
}

/// What is used within a life when so much is used in a year; the life that must be left on the day of use is taken off it.
///
/// # Errors
/// [`AmountError`] when a figure leaves its range.
pub fn used_within(a_year: &Exact, life: Span, must_be_left: Option<Span>) -> Result<Exact, AmountError> {
    let left = must_be_left.map_or(Ok(Exact::ZERO), years)?;
    let life = (years(life)? - left).max(Exact::ZERO);
    Ok(a_year * &life)
}

/// What an order of so many kg or pieces, which costs so much, comes to after the waste to be expected.
///
/// # Errors
/// [`AmountError`] when a figure leaves its range.
pub fn after_waste(
    ordered: &Exact,
    cost: &Exact,
    used_a_year: &Exact,
    life: Span,
) -> Result<AfterWaste, AmountError> {
    let used = used_within(used_a_year, life, None)?.min(ordered.clone()).max(Exact::ZERO);
    let wasted = ordered - &used;
    let per_unit_used = used.is_positive().then(|| cost.checked_div(&used)).transpose()?;
    Ok(AfterWaste { used, wasted, per_unit_used })
}

impl LandedPrice {
    /// What its order comes to after the waste to be expected when so much is used in a year and it keeps so long.
    ///
    /// # Errors
    /// [`AmountError`] when a figure leaves its range.
    pub fn after_waste(&self, used_a_year: &Exact, life: Span) -> Result<AfterWaste, AmountError> {
        after_waste(&self.source.ordered, &self.order_cost, used_a_year, life)
    }
}
