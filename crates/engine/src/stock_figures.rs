//! Figures for planning stock: safety stock, reorder point, order size, cover, what does not move; and what the shelf is worth.
//!
//! All of them are aids for somebody who decides. The formulas assume a steady use that batch making does not have, so what is
//! planned goes before what was used: tickets first, averages second.

mod plan;
mod worth;

pub use plan::{MaterialPlan, PerDayFrom, PlanRequest, Used, stock_plan};
pub use worth::{Realisable, ShelfWorth, WorthRequest, WorthRow, shelf_worth};

use kernel::{AmountError, Exact};
use rust_decimal::Decimal;

/// Quantiles of the standard normal distribution, rounded half to even to six places, by the percent of replenishments that shall see
/// no shortage.
pub const SERVICE_LEVELS: [(u32, Decimal); 5] = [
    (90, Decimal::from_parts(1_281_552, 0, 0, false, 6)),
    (95, Decimal::from_parts(1_644_854, 0, 0, false, 6)),
    (97, Decimal::from_parts(1_880_794, 0, 0, false, 6)),
    (98, Decimal::from_parts(2_053_749, 0, 0, false, 6)),
    (99, Decimal::from_parts(2_326_348, 0, 0, false, 6)),
];

/// How many standard deviations cover a service level; `None` for one that is not in [`SERVICE_LEVELS`].
pub fn deviations_for(percent: u32) -> Option<Decimal> {
    SERVICE_LEVELS.into_iter().find(|(level, _)| *level == percent).map(|(_, deviations)| deviations)
}

/// Places square roots are taken to; what lies beyond is cut off.
const ROOT_PLACES: u32 = 9;

/// The square root, cut off after nine places.
///
/// # Errors
/// [`AmountError::Negative`], and [`AmountError::Overflow`] from about 10²⁰ on.
pub fn square_root(value: &Exact) -> Result<Exact, AmountError> {
    if value.is_negative() {
        return Err(AmountError::Negative("what a root is taken of"));
    }
    let scale = 10_i128.pow(2 * ROOT_PLACES);
    let scaled = (value * &Exact::whole(scale)).floor()?;
    Ok(Exact::scaled(scaled.isqrt(), ROOT_PLACES))
}

/// What use and delivery are like. Days, weeks or months, but the same for all.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DemandAndLead {
    /// Mean use in a period.
    pub use_per_period: Exact,
    /// Its standard deviation.
    pub use_deviation: Exact,
    /// Mean lead time in periods.
    pub lead: Exact,
    /// Its standard deviation.
    pub lead_deviation: Exact,
}

/// Safety stock: z·√(L·σd² + d²·σL²), with use and lead time varying independently (operations textbooks).
///
/// # Errors
/// Those of [`square_root`].
pub fn safety_stock(of: &DemandAndLead, deviations: Decimal) -> Result<Exact, AmountError> {
    let of_use = &of.lead * &(&of.use_deviation * &of.use_deviation);
    let of_lead = &(&of.use_per_period * &of.use_per_period) * &(&of.lead_deviation * &of.lead_deviation);
    Ok(square_root(&(of_use + of_lead))? * Exact::from(deviations))
}

/// Reorder point: what is used while an order is on its way, and the safety stock.
///
/// # Errors
/// Those of [`square_root`].
pub fn reorder_point(of: &DemandAndLead, deviations: Decimal) -> Result<Exact, AmountError> {
    Ok(&of.use_per_period * &of.lead + safety_stock(of, deviations)?)
}

/// The order size that costs least in ordering and holding: √(2·D·S/H), for a use of `a_year` at `order_cost` an order and
/// `holding_cost` for one kg or piece a year. `None` where holding costs nothing.
///
/// # Errors
/// Those of [`square_root`].
pub fn economic_order(
    a_year: &Exact,
    order_cost: &Exact,
    holding_cost: &Exact,
) -> Result<Option<Exact>, AmountError> {
    if !holding_cost.is_positive() {
        return Ok(None);
    }
    let twice = &(a_year * order_cost) * &Exact::whole(2);
    square_root(&twice.checked_div(holding_cost)?).map(Some)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn exact(text: &str) -> Exact {
        Exact::from(text.parse::<Decimal>().unwrap())
    }

    fn rounded(value: &Exact, places: u32) -> String {
        value.round_half_even(places).unwrap().to_string()
    }

    fn of(figures: [&str; 4]) -> DemandAndLead {
        let [used, deviation, lead, lead_deviation] = figures.map(exact);
        DemandAndLead { use_per_period: used, use_deviation: deviation, lead, lead_deviation }
    }

    /// Stevenson, Operations Management, 14th edition, chapter on inventory, example 8: lead-time demand of 50 tons with a deviation
    /// of 5, 3 % risk. With the printed table value 1.88, and with the quantile itself.
    #[test]
    fn reorder_point_with_a_varying_use() {
        let demand = of(["50", "5", "1", "0"]);
        let printed = exact("1.88").to_decimal_exactly().unwrap();
        assert_eq!(rounded(&safety_stock(&demand, printed).unwrap(), 2), "9.40");
        assert_eq!(rounded(&reorder_point(&demand, printed).unwrap(), 2), "59.40");
        let quantile = deviations_for(97).unwrap();
        assert_eq!(rounded(&reorder_point(&demand, quantile).unwrap(), 3), "59.404");
    }

    /// Use and lead time varying both: 40 kg a week with a deviation of 12, four weeks with one of a week (common practice, no
    /// source).
    #[test]
    fn reorder_point_with_a_varying_lead_time() {
        let demand = of(["40", "12", "4", "1"]);
        let z = exact("1.65").to_decimal_exactly().unwrap();
        assert_eq!(rounded(&safety_stock(&demand, z).unwrap(), 0), "77");
        assert_eq!(rounded(&reorder_point(&demand, z).unwrap(), 0), "237");
    }

    /// Heizer and Render, Operations Management, chapter 12, example 3.
    #[test]
    fn economic_order_size() {
        let order =
            |a_year: &str| economic_order(&exact(a_year), &exact("10"), &exact("0.50")).unwrap().unwrap();
        assert_eq!(rounded(&order("1000"), 4), "200.0000");
        assert_eq!(rounded(&order("1200"), 4), "219.0890");
        // Ordering five times a year and holding half an order cost the same.
        let orders = exact("1000").checked_div(&order("1000")).unwrap();
        assert_eq!(rounded(&(orders * exact("10")), 2), "50.00");
        assert_eq!(economic_order(&exact("1000"), &exact("10"), &exact("0")).unwrap(), None);
    }

    #[test]
    fn roots() {
        for (value, root) in [("0", "0"), ("2", "1.414213562"), ("0.25", "0.5"), ("1000000000000", "1000000")]
        {
            assert_eq!(square_root(&exact(value)).unwrap(), exact(root), "{value}");
        }
        assert!(square_root(&exact("-1")).is_err());
    }
}
