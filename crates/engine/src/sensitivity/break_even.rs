//! How much has to be sold before what does not depend on it is earned.

use kernel::{Exact, Percent};
use serde::Serialize;

use crate::{CostSheet, EngineError};

/// A break-even. Money is in one currency; nothing is rounded but `whole_units`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct BreakEven {
    /// Price of one, without tax.
    #[serde(serialize_with = "crate::figures::cost")]
    pub price: Exact,
    /// What one more costs.
    #[serde(serialize_with = "crate::figures::cost")]
    pub variable: Exact,
    /// What has to be paid whatever is sold.
    #[serde(serialize_with = "crate::figures::cost")]
    pub fixed: Exact,
    /// The profit wanted on top, before tax.
    #[serde(serialize_with = "crate::figures::cost")]
    pub profit_before_tax: Exact,
    /// Price less variable cost.
    #[serde(serialize_with = "crate::figures::cost")]
    pub contribution: Exact,
    /// Units whose contribution is exactly that, in fractions.
    #[serde(serialize_with = "crate::figures::amount")]
    pub units: Exact,
    /// The fewest whole units whose contribution is at least that.
    pub whole_units: i128,
    /// What the units in fractions are sold for.
    #[serde(serialize_with = "crate::figures::cost")]
    pub sales: Exact,
}

impl BreakEven {
    /// The profit before tax when so many are sold; below nought is a loss.
    pub fn profit_at(&self, units: &Exact) -> Exact {
        &(units * &self.contribution) - &self.fixed
    }

    /// What may be lost of sales of so many units before nothing is earned, as a fraction of them. `None` at no sales.
    pub fn margin_of_safety(&self, units: &Exact) -> Option<Exact> {
        (units - &self.units).checked_div(units).ok()
    }
}

/// The volume at which `units × (price − variable)` is the fixed cost and the profit wanted. `tax` is what is taken off a profit: a
/// profit wanted after it is raised accordingly.
///
/// # Errors
/// [`EngineError::QuestionDoesNotFit`] when a unit earns nothing, so that no volume does; [`EngineError::Amount`] for a tax of 100 % or
/// more.
pub fn break_even(
    price: &Exact,
    variable: &Exact,
    fixed: &Exact,
    profit_after_tax: &Exact,
    tax: Percent,
) -> Result<BreakEven, EngineError> {
    let contribution = price - variable;
    if !contribution.is_positive() {
        return Err(EngineError::QuestionDoesNotFit {
            why: "a unit sells for no more than it costs, so no volume breaks even".to_owned(),
        });
    }
    let kept = &Exact::ONE - &tax.require_loss()?.fraction();
    let profit_before_tax = profit_after_tax.checked_div(&kept)?;
    let units = (fixed + &profit_before_tax).checked_div(&contribution)?;
    Ok(BreakEven {
        price: price.clone(),
        variable: variable.clone(),
        fixed: fixed.clone(),
        profit_before_tax,
        whole_units: units.ceil()?.max(0),
        sales: &units * price,
        units,
        contribution,
    })
}

/// The volume at which a pack at its price earns so much that does not depend on it, such as rent and salaries of a year, trials or
/// print plates. What the sheet's unit costs counts as variable, the cost per batch with it, for another batch pays it again.
///
/// # Errors
/// Those of [`break_even`]; [`EngineError::QuestionDoesNotFit`] for a sheet without a margin: no pack, no price, or a cost with gaps.
pub fn break_even_of_sheet(sheet: &CostSheet, fixed: &Exact) -> Result<BreakEven, EngineError> {
    let sides = sheet.margin.as_ref().zip(sheet.totals.per_unit.as_ref());
    let (margin, cost) = sides.ok_or_else(|| EngineError::QuestionDoesNotFit {
        why: "a break-even needs a pack with a selling price and a cost without gaps".to_owned(),
    })?;
    break_even(&margin.price_in_house_currency, cost, fixed, &Exact::ZERO, Percent::ZERO)
}
