//! Splitting a rounded total over lines so that the lines as printed add up to it.

use crate::{AmountError, Exact};

/// Parts of `total` (a whole number of the smallest printed unit) in proportion to `weights`, by the largest remainder
/// (Hamilton's method): each part gets its whole share, and what is left goes one by one to the largest fractions, the
/// earlier line first when two are equal. The parts always add up to `total`. All-zero weights give the whole to the first.
///
/// # Errors
/// [`AmountError::Negative`] for a weight below nought; [`AmountError::Overflow`] when a part does not fit.
pub fn apportion_largest_remainder(total: i64, weights: &[Exact]) -> Result<Vec<i64>, AmountError> {
    if weights.iter().any(Exact::is_negative) {
        return Err(AmountError::Negative("a share"));
    }
    let sum: Exact = weights.iter().sum();
    if sum.is_zero() {
        let mut parts = vec![0; weights.len()];
        if let Some(first) = parts.first_mut() {
            *first = total;
        }
        return Ok(parts);
    }
    let magnitude = Exact::whole(i128::from(total).abs());
    let mut parts = Vec::with_capacity(weights.len());
    let mut remainders = Vec::with_capacity(weights.len());
    let mut given = 0_i128;
    for (index, weight) in weights.iter().enumerate() {
        let quota = (&magnitude * weight).checked_div(&sum)?;
        let whole = quota.floor()?;
        given += whole;
        parts.push(i64::try_from(whole).map_err(|_| AmountError::Overflow("a share"))?);
        remainders.push((&quota - &Exact::whole(whole), index));
    }
    remainders.sort_by(|(a, i), (b, j)| b.cmp(a).then(i.cmp(j)));
    let left =
        usize::try_from(i128::from(total).abs() - given).map_err(|_| AmountError::Overflow("a share"))?;
    for (_, index) in remainders.into_iter().take(left) {
        if let Some(part) = parts.get_mut(index) {
            *part += 1;
        }
    }
    if total < 0 {
        for part in &mut parts {
            *part = -*part;
        }
    }
    Ok(parts)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn check(weights: &[i64], total: i64, expected: &[i64]) {
        let weights: Vec<Exact> = weights.iter().map(|w| Exact::from(*w)).collect();
        assert_eq!(apportion_largest_remainder(total, &weights).unwrap(), expected);
    }

    /// OpenStax, Contemporary Mathematics, sections 11.3 and 11.4 (worked examples; numbers only).
    #[test]
    fn published_apportionments() {
        check(&[15, 9, 10], 70, &[31, 18, 21]);
        check(&[13, 12, 5, 16, 7, 9], 27, &[6, 5, 2, 7, 3, 4]);
        check(&[6, 6, 2], 10, &[4, 4, 2]);
        check(&[6, 6, 2], 11, &[5, 5, 1]);
        check(&[825, 613, 239], 18, &[9, 7, 2]);
        check(&[882, 626, 242], 18, &[9, 6, 3]);
        // The section's own variant seats everybody at least once; cost allocation wants the pure rule.
        check(&[46_310, 224_230, 20, 16_560, 38_450], 616, &[88, 424, 0, 31, 73]);
    }

    proptest! {
        #[test]
        fn parts_add_up_and_stay_within_one(
            total in -1_000_000_000_i64..1_000_000_000,
            weights in prop::collection::vec(0_i64..1_000_000, 1..40),
        ) {
            let exact: Vec<Exact> = weights.iter().map(|w| Exact::from(*w)).collect();
            let parts = apportion_largest_remainder(total, &exact).unwrap();
            prop_assert_eq!(parts.iter().sum::<i64>(), total);
            let sum: i64 = weights.iter().sum();
            if sum > 0 {
                for (part, weight) in parts.iter().zip(&exact) {
                    let quota = (&Exact::from(total) * weight).checked_div(&Exact::from(sum)).unwrap();
                    prop_assert!((&Exact::from(*part) - &quota).abs() < Exact::ONE);
                }
            }
        }
    }
}
