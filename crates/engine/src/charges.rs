//! Charges of a whole order shared over its lines: freight by weight, duty and insurance by value.

use kernel::{AmountError, Exact, Money, apportion_largest_remainder};

/// A line of an order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OrderLine {
    /// kg or pieces.
    pub quantity: Exact,
    /// What it weighs, kg.
    pub weight: Exact,
    /// What it costs without the charges.
    pub value: Exact,
}

/// What charges are shared by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ShareBy {
    /// Weight, as freight is in bulk.
    Weight,
    /// Value, as duty and insurance are.
    Value,
}

/// A line with its share of the charges.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LandedLine {
    /// Its share.
    pub share: Exact,
    /// Its value and its share.
    pub landed: Exact,
    /// That per kg or piece.
    pub per_unit: Exact,
}

impl OrderLine {
    const fn measure(&self, by: ShareBy) -> &Exact {
        match by {
            ShareBy::Weight => &self.weight,
            ShareBy::Value => &self.value,
        }
    }
}

/// Charges (less what is taken off, so they may be below nought) shared over the lines of an order, exactly: the shares add up to the
/// charges whatever they are shared by.
///
/// # Errors
/// [`AmountError::DivisionByNought`] when no line weighs or costs anything, or a line has no quantity.
pub fn share_charges(
    lines: &[OrderLine],
    charges: &Exact,
    by: ShareBy,
) -> Result<Vec<LandedLine>, AmountError> {
    let whole: Exact = lines.iter().map(|line| line.measure(by)).sum();
    let each = charges.checked_div(&whole)?;
    lines
        .iter()
        .map(|line| {
            let share = line.measure(by) * &each;
            let landed = &line.value + &share;
            let per_unit = landed.checked_div(&line.quantity)?;
            Ok(LandedLine { share, landed, per_unit })
        })
        .collect()
}

/// The same in money as it is kept: each line's share in whole millionths, by largest remainder, adding up to the charges.
///
/// # Errors
/// [`AmountError::Negative`] for a weight or value below nought; [`AmountError::Overflow`].
pub fn share_money(lines: &[OrderLine], charges: Money, by: ShareBy) -> Result<Vec<Money>, AmountError> {
    let measures: Vec<Exact> = lines.iter().map(|line| line.measure(by).clone()).collect();
    let parts = apportion_largest_remainder(charges.micros(), &measures)?;
    Ok(parts.into_iter().map(|micros| Money::from_micros(micros, charges.currency())).collect())
}
