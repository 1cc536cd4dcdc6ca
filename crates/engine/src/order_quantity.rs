//! How much to order at once: the quantity at which ordering and keeping together cost least in a year (the economic order quantity),
//! with price breaks.
//!
//! A year costs `demand / quantity × order cost + quantity / 2 × keeping + demand × price`. Its least lies where `quantity² = 2 × demand
//! × order cost / keeping`. With price breaks each price has its own least, moved to the nearest quantity at which that price holds; of
//! these the cheapest is taken. Quantities are whole.

use kernel::Exact;
use serde::Serialize;

use crate::EngineError;

/// What keeping one for a year costs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Keeping {
    /// So much.
    Amount(Exact),
    /// A fraction of its price.
    OfPrice(Exact),
}

/// A price from a quantity up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PriceFrom {
    /// The quantity it holds from; 1 for the first.
    pub from: i128,
    /// Of one.
    pub price: Exact,
}

/// A quantity to order, and what a year of it costs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OrderQuantity {
    /// Whole units.
    pub quantity: i128,
    /// Of one, at that quantity.
    #[serde(serialize_with = "crate::figures::cost")]
    pub price: Exact,
    /// Orders, keeping and goods, for a year.
    #[serde(serialize_with = "crate::figures::cost")]
    pub a_year: Exact,
    /// Orders a year.
    #[serde(serialize_with = "crate::figures::amount")]
    pub orders: Exact,
    /// Whether a price break decided the quantity, rather than the balance of ordering and keeping.
    pub at_break: bool,
}

/// The quantity that costs least in a year, and the best of each price: in their order.
///
/// # Errors
/// [`EngineError::QuestionDoesNotFit`] without a price, with prices out of order, or for a demand, an order cost or a cost of keeping
/// that is not above nought.
pub fn order_quantities(
    demand: &Exact,
    order_cost: &Exact,
    keeping: &Keeping,
    prices: &[PriceFrom],
) -> Result<(OrderQuantity, Vec<OrderQuantity>), EngineError> {
    let does_not_fit = |why: &str| EngineError::QuestionDoesNotFit { why: why.to_owned() };
    if !demand.is_positive() || !order_cost.is_positive() {
        return Err(does_not_fit("a year's demand and the cost of an order must be above nought"));
    }
    if prices.windows(2).any(|pair| matches!(pair, [a, b] if a.from >= b.from)) {
        return Err(does_not_fit("prices stand in the order of their quantities"));
    }
    let ends = prices.iter().skip(1).map(|next| Some(next.from - 1)).chain([None]);
    let mut found = Vec::with_capacity(prices.len());
    for (price, end) in prices.iter().zip(ends) {
        let keep = match keeping {
            Keeping::Amount(amount) => amount.clone(),
            Keeping::OfPrice(fraction) => fraction * &price.price,
        };
        if !keep.is_positive() {
            return Err(does_not_fit("keeping one for a year must cost something"));
        }
        let square = (Exact::whole(2) * demand * order_cost).checked_div(&keep)?;
        let root = root_down(&square)?;
        let within = |quantity: i128| end.map_or(quantity, |end| quantity.min(end)).max(price.from).max(1);
        // The cost falls up to the root and rises from there, so the best whole one stands on either side of it.
        let mut best: Option<OrderQuantity> = None;
        for quantity in [within(root), within(root + 1)] {
            let whole = Exact::whole(quantity);
            let orders = demand.checked_div(&whole)?;
            let a_year = &orders * order_cost
                + (&whole * &keep).checked_div(&Exact::whole(2))?
                + demand * &price.price;
            let at_break = quantity != root && quantity != root + 1;
            if best.as_ref().is_none_or(|best| a_year < best.a_year) {
                best = Some(OrderQuantity { quantity, price: price.price.clone(), a_year, orders, at_break });
            }
        }
        found.extend(best);
    }
    let least = found.iter().min_by(|a, b| a.a_year.cmp(&b.a_year)).cloned();
    Ok((least.ok_or_else(|| does_not_fit("there is no price"))?, found))
}

/// The greatest whole number whose square is no more.
fn root_down(square: &Exact) -> Result<i128, EngineError> {
    let square = square.floor()?;
    Ok(square.max(0).isqrt())
}
