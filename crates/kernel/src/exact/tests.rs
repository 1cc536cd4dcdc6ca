//! Rounding, and that no path of the arithmetic differs from big rationals.

use super::{terms::PLACES_MAX, *};
use num_traits::Zero;
use proptest::prelude::*;

fn exact(n: i128, d: i128) -> Exact {
    Exact::ratio(n, d).unwrap()
}

/// NIST SP 811 (2008), section B.7.1: the digits kept, and a five with nothing after it goes to the even neighbour.
#[test]
fn rounds_half_even_as_sp811() {
    let check = |text: &str, places, expected: &str| {
        let figure = Exact::from(Decimal::from_str_exact(text).unwrap());
        assert_eq!(figure.round_half_even(places).unwrap().to_string(), expected, "{text}");
    };
    check("6.9749515", 2, "6.97");
    check("6.9749515", 1, "7.0");
    check("6.9749515", 4, "6.9750");
    check("6.9749515", 6, "6.974952");
    check("6.9749505", 6, "6.974950");
    // Published banker's-rounding examples.
    check("12.435", 2, "12.44");
    check("12.445", 2, "12.44");
    check("12.44501", 2, "12.45");
    check("-0.5", 0, "0");
    check("-1.5", 0, "-2");
}

#[test]
fn a_third_three_times_is_one() {
    let third = exact(1, 3);
    assert_eq!(&(&third + &third) + &third, Exact::ONE);
    assert_eq!(third.to_decimal_exactly(), None);
    assert_eq!(exact(-7, 8).to_decimal_exactly().unwrap().to_string(), "-0.875");
    assert_eq!(exact(7, -2).floor().unwrap(), -4);
    assert_eq!(exact(7, -2).ceil().unwrap(), -3);
    assert!(Exact::ONE.checked_div(&Exact::ZERO).is_err());
}

/// Only what has outgrown two 128-bit numbers is shortened, and by less than half a last place.
#[test]
fn what_is_short_stays_as_it_is() {
    let third = exact(1, 3);
    assert_eq!(third.shortened_half_even(2), third);
    // A sum over primes: its denominator is their product.
    let primes =
        [101, 103, 107, 109, 113, 127, 131, 137, 139, 149, 151, 157, 163, 167, 173, 179, 181, 191, 193];
    let long: Exact = primes.iter().map(|prime| exact(1, *prime)).sum();
    assert!(matches!(long.0, Repr::Big(_)));
    let short = long.shortened_half_even(18);
    assert!(short != long && (&short - &long).abs() < exact(6, 10_i128.pow(19)));
    assert_eq!(short, (-(-long).shortened_half_even(18)));
    assert_eq!(Exact::ONE.shortened_half_even(0), Exact::ONE);
}

fn any_exact() -> impl Strategy<Value = Exact> {
    let wide = prop_oneof![any::<i64>().prop_map(i128::from), any::<i128>()];
    let den = prop_oneof![1..1_000_000_i128, 1..i128::MAX];
    let fraction = (wide.clone(), den).prop_map(|(n, d)| exact(n, d));
    let decimal = (wide, 0..=PLACES_MAX).prop_map(|(n, places)| Exact::scaled(n, places));
    let entered = (-1_000_000_i128..1_000_000, 0..12_u32).prop_map(|(n, places)| Exact::scaled(n, places));
    prop_oneof![fraction, decimal, entered]
}

fn hashed(value: &Exact) -> u64 {
    let mut hasher = std::hash::DefaultHasher::new();
    std::hash::Hash::hash(value, &mut hasher);
    std::hash::Hasher::finish(&hasher)
}

/// However a figure came about, it prints and hashes alike.
#[test]
fn forms_are_seen_by_nobody() {
    let same = |one: Exact, other: Exact| {
        assert_eq!(one, other);
        assert_eq!(format!("{one:?}"), format!("{other:?}"));
        assert_eq!(hashed(&one), hashed(&other));
        assert_eq!(one.to_decimal_exactly(), other.to_decimal_exactly());
        assert_eq!(one.floor(), other.floor());
        assert_eq!(one.round_half_even(1), other.round_half_even(1));
    };
    same(Exact::scaled(1_250, 3), exact(5, 4));
    same(Exact::scaled(2, 1) * Exact::scaled(5, 1), exact(1, 10));
    same(exact(1, 3) * Exact::whole(3), Exact::ONE);
    same(&exact(1, 3) - &exact(1, 3), Exact::ZERO);
    same(Exact::scaled(15, 1).checked_div(&Exact::scaled(-125, 2)).unwrap(), exact(-6, 5));
    same(Exact::scaled(-1, 38), exact(-1, 10_i128.pow(38)));
    same(-Exact::whole(i128::MIN), Exact::whole(i128::MAX) + Exact::ONE);
    same(Exact::whole(i128::MIN) + Exact::ONE, Exact::whole(-i128::MAX));
}

proptest! {
    /// The short path and big rationals agree whatever the operands, so leaving the short path changes nothing.
    #[test]
    fn agrees_with_big_rationals(a in any_exact(), b in any_exact()) {
        let (x, y) = (a.to_big(), b.to_big());
        prop_assert_eq!((&a + &b).to_big(), &x + &y);
        prop_assert_eq!((&a - &b).to_big(), &x - &y);
        prop_assert_eq!((&a * &b).to_big(), &x * &y);
        prop_assert_eq!(a.cmp(&b), x.cmp(&y));
        if !b.is_zero() {
            prop_assert_eq!(a.checked_div(&b).unwrap().to_big(), &x / &y);
        }
        prop_assert_eq!(a.is_zero(), x.is_zero());
        prop_assert_eq!(a.is_negative(), x.is_negative());
        prop_assert_eq!((-a.clone()).to_big(), -&x);
        prop_assert_eq!(a.floor().ok(), x.floor().to_integer().to_i128());
        // The same figure by another way is the same in every respect.
        let back = &(&a + &b) - &b;
        prop_assert_eq!(&back, &a);
        prop_assert_eq!(hashed(&back), hashed(&a));
        prop_assert_eq!(format!("{back:?}"), format!("{a:?}"));
    }

    #[test]
    fn rounding_is_within_half_a_unit(n in any::<i64>(), d in 1..1_000_000_i128) {
        let figure = exact(i128::from(n), d * 1_000);
        let rounded = Exact::scaled(i128::from(figure.round_half_even_scaled(3).unwrap()), 3);
        prop_assert!((&rounded - &figure).abs() <= exact(1, 2_000));
    }
}
