//! Rounded parts that add up to a rounded whole although some of them are below nought, as differences are.

use kernel::{AmountError, Exact};

/// Parts of a printed total (`total × 10⁻ᵖˡᵃᶜᵉˢ`) that stand as close to these figures as whole last places allow and add up to it:
/// each figure is rounded down, and what is then left goes one by one to the largest fractions, the earlier figure first. Figures
/// of nought stay nought while there is another to take it. Nothing is shared out when there are no figures.
///
/// # Errors
/// [`AmountError::Overflow`] when a figure is too large to print.
pub fn parts_of(total: i64, figures: &[Exact], places: u32) -> Result<Vec<i64>, AmountError> {
    let scale = Exact::whole(10_i128.pow(places));
    let mut parts = Vec::with_capacity(figures.len());
    let mut order = Vec::with_capacity(figures.len());
    let mut left = i128::from(total);
    for (at, figure) in figures.iter().enumerate() {
        let scaled = figure * &scale;
        let whole = scaled.floor()?;
        left -= whole;
        order.push((figure.is_zero(), &scaled - &Exact::whole(whole), at));
        parts.push(i64::try_from(whole).map_err(|_| AmountError::Overflow("a figure"))?);
    }
    order.sort_by(|(a_nought, a, i), (b_nought, b, j)| a_nought.cmp(b_nought).then(b.cmp(a)).then(i.cmp(j)));
    // What is short is taken from the smallest fractions, those of nought last again.
    if left < 0 {
        let noughts = order.iter().filter(|(nought, ..)| *nought).count();
        let others = order.len() - noughts;
        order.get_mut(..others).into_iter().for_each(<[_]>::reverse);
    }
    let step = if left < 0 { -1 } else { 1 };
    let mut takers = order.iter().cycle();
    while left != 0 {
        let Some((_, _, at)) = takers.next() else { break };
        if let Some(part) = parts.get_mut(*at) {
            *part += step;
        }
        left -= i128::from(step);
    }
    Ok(parts)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn exact(thousandths: i64) -> Exact {
        Exact::scaled(i128::from(thousandths), 3)
    }

    #[test]
    fn noughts_stay_nought_and_signs_mix() {
        let figures = [exact(400), exact(0), exact(-1_600), exact(2_700)];
        assert_eq!(parts_of(2, &figures, 0).unwrap(), [1, 0, -2, 3]);
        assert_eq!(parts_of(1, &figures, 0).unwrap(), [0, 0, -2, 3]);
        assert_eq!(parts_of(0, &[exact(1_000), exact(0)], 0).unwrap(), [0, 0]);
        assert_eq!(parts_of(1, &[exact(0), exact(0)], 0).unwrap(), [1, 0]);
        assert!(parts_of(5, &[], 0).unwrap().is_empty());
    }

    proptest! {
        #[test]
        fn parts_add_up_and_stay_within_one(
            figures in prop::collection::vec(-1_000_000_i64..1_000_000, 1..30),
        ) {
            let exact: Vec<Exact> = figures.iter().map(|figure| exact(*figure)).collect();
            let total = exact.iter().sum::<Exact>().round_half_even_scaled(1).unwrap();
            let parts = parts_of(total, &exact, 1).unwrap();
            prop_assert_eq!(parts.iter().sum::<i64>(), total);
            for (part, figure) in parts.iter().zip(&exact) {
                prop_assert!((&Exact::scaled(i128::from(*part), 1) - figure).abs() < Exact::scaled(1, 1));
            }
        }
    }
}
