//! Balances: what they show, what they carry, and the least that is sensibly weighed on them.

use chrono::NaiveDate;
use kernel::{AmountError, Exact, Mass, Percent, ids::BalanceId};
use serde::{Deserialize, Serialize};

/// A balance.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Balance {
    /// Identity.
    pub id: BalanceId,
    /// The house's short code.
    pub code: String,
    /// What it is called here.
    pub name: String,
    /// The step of its figures.
    pub division: Mass,
    /// The most it carries, container and all.
    pub capacity: Mass,
    /// The least net weight that is sensibly weighed on it, as found on site; worked out from the division when nothing is said.
    pub smallest_net: Option<Mass>,
    /// It is not used after this day before it was calibrated again.
    pub calibration_due: Option<NaiveDate>,
    /// Remarks.
    pub note: Option<String>,
}

/// The tolerance the least weight is worked out for where a line has none.
const USUAL_TOLERANCE: Percent = Percent::from_nano(1_000_000_000);

impl Balance {
    /// The least net weight for a tolerance: the one entered, else twice 0.41 divisions over the tolerance, the repeatability that a
    /// balance cannot be better than (United States Pharmacopeia, general chapter 41 Balances: 820 divisions at 0.10 %).
    ///
    /// # Errors
    /// [`AmountError`] when it is more than can be kept.
    pub fn smallest(&self, tolerance: Option<Percent>) -> Result<Mass, AmountError> {
        if let Some(entered) = self.smallest_net {
            return Ok(entered);
        }
        let tolerance = tolerance.filter(|t| t.nano() > 0).unwrap_or(USUAL_TOLERANCE);
        let divisions = Exact::ratio(82, 100)?.checked_div(&tolerance.fraction())?;
        Mass::from_exact_up(&(divisions * self.division.to_exact()))
    }

    /// The nearest figure it can show, half up; the amount itself when that figure would be nought.
    pub fn rounded(&self, amount: Mass) -> Mass {
        let (amount, step) = (amount.micrograms(), self.division.micrograms());
        if step <= 1 || amount <= 0 {
            return Mass::from_micrograms(amount);
        }
        let steps = amount.saturating_add(step / 2) / step;
        Mass::from_micrograms(if steps == 0 { amount } else { steps.saturating_mul(step) })
    }

    /// Whether it can show this figure.
    pub fn shows(&self, amount: Mass) -> bool {
        let step = self.division.micrograms();
        step <= 1 || amount.micrograms() % step == 0
    }

    /// Whether it may be used on a day.
    pub fn is_calibrated_on(&self, day: NaiveDate) -> bool {
        self.calibration_due.is_none_or(|due| day <= due)
    }

    /// What stands against weighing so much on it on a day; empty when nothing does. `net` is what is weighed, `load` what stands on it.
    ///
    /// # Errors
    /// [`AmountError`] when the least weight is more than can be kept.
    pub fn against(
        &self,
        net: Mass,
        load: Mass,
        tolerance: Option<Percent>,
        day: NaiveDate,
    ) -> Result<Vec<String>, AmountError> {
        let mut reasons = Vec::new();
        if !self.is_calibrated_on(day) {
            let due = self.calibration_due.map(|due| due.to_string()).unwrap_or_default();
            reasons.push(format!("its calibration was due on {due}"));
        }
        let smallest = self.smallest(tolerance)?;
        if net < smallest {
            reasons.push(format!(
                "{net} is below {smallest}, the least that is sensibly weighed on it; take a finer balance, a dilution or premix, or a larger batch"
            ));
        }
        if load > self.capacity {
            reasons.push(format!("{load} is more than the {} it carries", self.capacity));
        }
        Ok(reasons)
    }
}

/// The balance for a target: of those that may be used on the day, carry it and take so little, the one with the finest division; of
/// those that do not carry it, the one that carries most, to be used several times. `None` when none takes so little.
///
/// # Errors
/// [`AmountError`] when a least weight is more than can be kept.
pub fn balance_for(
    balances: &[Balance],
    target: Mass,
    tolerance: Option<Percent>,
    day: NaiveDate,
) -> Result<Option<&Balance>, AmountError> {
    let mut fit: Vec<&Balance> = Vec::new();
    for balance in balances {
        if balance.is_calibrated_on(day) && balance.smallest(tolerance)? <= target {
            fit.push(balance);
        }
    }
    let carries = fit.iter().filter(|b| b.capacity >= target).min_by_key(|b| (b.division, b.capacity));
    let largest = fit.iter().max_by_key(|b| b.capacity);
    Ok(carries.or(largest).copied())
}

/// Targets as balances can show them: each rounded to the division of its balance, and what that leaves over or lacks taken by the line
/// that fills up, else by the largest, so that they still add up to the same.
pub fn rounded_targets(targets: &[(Mass, Option<&Balance>)], fills_up: Option<usize>) -> Vec<Mass> {
    let largest = || targets.iter().enumerate().max_by_key(|(_, (target, _))| *target).map(|(at, _)| at);
    let Some(takes_rest) = fills_up.or_else(largest) else { return Vec::new() };
    let mut rounded: Vec<Mass> = targets
        .iter()
        .enumerate()
        .map(|(at, (target, balance))| match balance {
            Some(balance) if at != takes_rest => balance.rounded(*target),
            _ => *target,
        })
        .collect();
    let sum =
        |list: &mut dyn Iterator<Item = Mass>| list.fold(0_i64, |sum, m| sum.saturating_add(m.micrograms()));
    let wanted = sum(&mut targets.iter().map(|(target, _)| *target));
    let found = sum(&mut rounded.iter().copied());
    if let Some(rest) = rounded.get_mut(takes_rest) {
        let filled = rest.micrograms().saturating_add(wanted).saturating_sub(found);
        if filled < 0 {
            // No room to round in: the shares stand as they are.
            return targets.iter().map(|(target, _)| *target).collect();
        }
        *rest = Mass::from_micrograms(filled);
    }
    rounded
}

#[cfg(test)]
mod tests {
    use super::*;
    use kernel::{DecimalMark, Quantity};
    use proptest::prelude::*;

    fn mass(text: &str) -> Mass {
        match Quantity::parse(text, None, DecimalMark::Point).unwrap() {
            Quantity::Mass(mass) => mass,
            other => panic!("{other}"),
        }
    }

    fn balance(code: &str, division: &str, capacity: &str) -> Balance {
        Balance {
            id: BalanceId::new(),
            code: code.to_owned(),
            name: code.to_owned(),
            division: mass(division),
            capacity: mass(capacity),
            smallest_net: None,
            calibration_due: None,
            note: None,
        }
    }

    fn percent(text: &str) -> Percent {
        Percent::from_percent(kernel::parse_decimal(text, DecimalMark::Point).unwrap()).unwrap()
    }

    /// United States Pharmacopeia, general chapter 41 Balances: the least weight is 2000 standard deviations for 0.10 %, and a deviation
    /// is never put below 0.41 divisions, hence 820 divisions; a tenth of that at 1 %.
    #[test]
    fn least_weights() {
        let fine = balance("fine", "0.01 g", "2 kg");
        assert_eq!(fine.smallest(Some(percent("0.1"))), Ok(mass("8.2 g")));
        assert_eq!(fine.smallest(Some(percent("1"))), Ok(mass("0.82 g")));
        assert_eq!(fine.smallest(None), Ok(mass("0.82 g")));
        let floor = balance("floor", "50 g", "600 kg");
        assert_eq!(floor.smallest(Some(percent("1"))), Ok(mass("4.1 kg")));
        let known = Balance { smallest_net: Some(mass("3 g")), ..fine };
        assert_eq!(known.smallest(Some(percent("0.1"))), Ok(mass("3 g")));
    }

    #[test]
    fn the_balance_for_a_target() {
        let day: NaiveDate = "2026-11-25".parse().unwrap();
        let balances = [balance("fine", "0.01 g", "2 kg"), balance("floor", "50 g", "600 kg")];
        let code = |target: &str| {
            balance_for(&balances, mass(target), Some(percent("1")), day).unwrap().map(|b| b.code.as_str())
        };
        assert_eq!(code("0.5 g"), None);
        assert_eq!(code("1 g"), Some("fine"));
        assert_eq!(code("3 kg"), Some("fine"), "in two goes, for the floor scale is too coarse for it");
        assert_eq!(code("24 kg"), Some("floor"));
        assert_eq!(code("900 kg"), Some("floor"), "in two goes");
        let due = Balance { calibration_due: Some("2026-11-24".parse().unwrap()), ..balances[0].clone() };
        assert_eq!(balance_for(std::slice::from_ref(&due), mass("1 g"), None, day), Ok(None));
        let against = due.against(mass("0.5 g"), mass("3 kg"), None, day).unwrap();
        assert_eq!(against.len(), 3, "{against:?}");
    }

    #[test]
    fn what_a_balance_shows() {
        let platform = balance("platform", "20 g", "60 kg");
        assert_eq!(platform.rounded(mass("12.345 kg")), mass("12.34 kg"));
        assert_eq!(platform.rounded(mass("12.35 kg")), mass("12.36 kg"));
        assert_eq!(platform.rounded(mass("9 g")), mass("9 g"), "never nought");
        assert!(platform.shows(mass("12.34 kg")) && !platform.shows(mass("12.345 kg")));
    }

    proptest! {
        /// Whatever is rounded, the batch is the same, and every other line can be shown by its balance.
        #[test]
        fn rounded_targets_add_up(
            raw in prop::collection::vec(1_i64..5_000_000_000, 1..12),
            steps in prop::collection::vec(1_i64..50_000_000, 12),
            fills_up in prop::option::of(0_usize..12),
        ) {
            let balances: Vec<Balance> = steps
                .iter()
                .map(|step| Balance { division: Mass::from_micrograms(*step), ..balance("b", "1 g", "1 kg") })
                .collect();
            let targets: Vec<(Mass, Option<&Balance>)> = raw
                .iter()
                .zip(&balances)
                .map(|(raw, balance)| (Mass::from_micrograms(*raw), Some(balance)))
                .collect();
            let fills_up = fills_up.filter(|at| *at < raw.len());
            let rounded = rounded_targets(&targets, fills_up);
            let sum: i64 = rounded.iter().map(|m| m.micrograms()).sum();
            prop_assert_eq!(sum, raw.iter().sum::<i64>());
            prop_assert!(rounded.iter().all(|m| m.micrograms() >= 0));
        }
    }
}
