//! Exact fractions: the number every calculation runs on, so that the only rounding is the one at the edge.
//!
//! A fraction is held in two `i128` while it fits, which it does for practically every cost sheet, and moves to big
//! integers when it does not. Addition and multiplication never lose anything and never fail.

use num_bigint::BigInt;
use num_integer::Integer;
use num_rational::BigRational;
use num_traits::{One, Signed, ToPrimitive};
use rust_decimal::Decimal;
use std::{
    cmp::Ordering,
    fmt,
    iter::Sum,
    ops::{Add, AddAssign, Mul, Neg, Sub},
};

use crate::AmountError;

/// A fraction without error. Always in lowest terms with a denominator above nought.
#[derive(Clone)]
pub struct Exact(Repr);

#[derive(Clone)]
enum Repr {
    Small(i128, i128),
    Big(Box<BigRational>),
}

impl Exact {
    /// Nought.
    pub const ZERO: Self = Self(Repr::Small(0, 1));
    /// One.
    pub const ONE: Self = Self(Repr::Small(1, 1));

    /// A whole number.
    pub const fn whole(value: i128) -> Self {
        Self(Repr::Small(value, 1))
    }

    /// `numerator / denominator`.
    ///
    /// # Errors
    /// [`AmountError::DivisionByNought`].
    pub fn ratio(numerator: i128, denominator: i128) -> Result<Self, AmountError> {
        if denominator == 0 {
            return Err(AmountError::DivisionByNought);
        }
        Ok(Self::small_reduced(numerator, denominator))
    }

    /// `scaled × 10⁻ᵖˡᵃᶜᵉˢ`, the value of a scaled integer. Places above 38 do not occur.
    pub fn scaled(scaled: i128, places: u32) -> Self {
        match 10_i128.checked_pow(places) {
            Some(den) => Self::small_reduced(scaled, den),
            None => Self::from_big(BigRational::new(BigInt::from(scaled), BigInt::from(10).pow(places))),
        }
    }

    fn small_reduced(n: i128, d: i128) -> Self {
        // `i128::MIN` has no positive counterpart; it goes the long way round.
        if n == i128::MIN || d == i128::MIN {
            return Self::from_big(BigRational::new(n.into(), d.into()));
        }
        let g = gcd(n.unsigned_abs(), d.unsigned_abs());
        let g = i128::try_from(g).unwrap_or(1).max(1);
        let sign = if d < 0 { -1 } else { 1 };
        // Dividing 128 bits is dear, and by one it is of no use.
        let (n, d) = if g == 1 { (n, d) } else { (n / g, d / g) };
        Self(Repr::Small(n * sign, d * sign))
    }

    fn from_big(value: BigRational) -> Self {
        match (value.numer().to_i128(), value.denom().to_i128()) {
            (Some(n), Some(d)) if n != i128::MIN => Self(Repr::Small(n, d)),
            _ => Self(Repr::Big(Box::new(value))),
        }
    }

    fn to_big(&self) -> BigRational {
        match &self.0 {
            Repr::Small(n, d) => BigRational::new_raw(BigInt::from(*n), BigInt::from(*d)),
            Repr::Big(big) => (**big).clone(),
        }
    }

    /// Whether this is nought.
    pub fn is_zero(&self) -> bool {
        matches!(self.0, Repr::Small(0, _))
    }

    /// Whether this is below nought.
    pub fn is_negative(&self) -> bool {
        match &self.0 {
            Repr::Small(n, _) => *n < 0,
            Repr::Big(big) => big.is_negative(),
        }
    }

    /// Whether this is above nought.
    pub fn is_positive(&self) -> bool {
        !self.is_zero() && !self.is_negative()
    }

    /// The magnitude.
    pub fn abs(&self) -> Self {
        if self.is_negative() { -self.clone() } else { self.clone() }
    }

    /// `self / divisor`.
    ///
    /// # Errors
    /// [`AmountError::DivisionByNought`].
    pub fn checked_div(&self, divisor: &Self) -> Result<Self, AmountError> {
        if divisor.is_zero() {
            return Err(AmountError::DivisionByNought);
        }
        let inverse = match &divisor.0 {
            Repr::Small(n, d) => Self::small_reduced(*d, *n),
            Repr::Big(big) => Self::from_big(big.recip()),
        };
        Ok(self * &inverse)
    }

    /// The largest whole number that is not above this.
    ///
    /// # Errors
    /// [`AmountError::Overflow`] when it does not fit an `i128`.
    pub fn floor(&self) -> Result<i128, AmountError> {
        match &self.0 {
            Repr::Small(n, d) => Ok(n.div_euclid(*d)),
            Repr::Big(big) => big.floor().to_integer().to_i128().ok_or(AmountError::Overflow("a figure")),
        }
    }

    /// The smallest whole number that is not below this.
    ///
    /// # Errors
    /// [`AmountError::Overflow`] when it does not fit an `i128`.
    pub fn ceil(&self) -> Result<i128, AmountError> {
        (-self.clone()).floor().map(|floor| -floor)
    }

    /// `self × 10ᵖˡᵃᶜᵉˢ` rounded half to even, as a whole number: the one rounding at the edge.
    ///
    /// # Errors
    /// [`AmountError::Overflow`] when it does not fit an `i64`.
    pub fn round_half_even_scaled(&self, places: u32) -> Result<i64, AmountError> {
        let overflow = AmountError::Overflow("a figure");
        let shifted = self * &Self::scaled_up(places);
        let rounded = match &shifted.0 {
            Repr::Small(n, d) => round_half_even(*n, *d),
            Repr::Big(big) => {
                round_half_even_big(big.numer(), big.denom()).to_i128().ok_or_else(|| overflow.clone())?
            }
        };
        i64::try_from(rounded).map_err(|_| overflow)
    }

    /// This figure as a decimal of so many places, rounded half to even.
    ///
    /// # Errors
    /// [`AmountError::Overflow`] when the scaled figure does not fit an `i64`.
    pub fn round_half_even(&self, places: u32) -> Result<Decimal, AmountError> {
        Ok(Decimal::new(self.round_half_even_scaled(places)?, places))
    }

    /// This figure as a decimal when it is one without rounding, in at most 28 places.
    pub fn to_decimal_exactly(&self) -> Option<Decimal> {
        let Repr::Small(n, d) = &self.0 else { return None };
        (0..=28_u32).find_map(|places| {
            let scale = 10_i128.checked_pow(places)?;
            if scale % d != 0 {
                return None;
            }
            Decimal::try_from_i128_with_scale(n.checked_mul(scale / d)?, places).ok().map(|v| v.normalize())
        })
    }

    /// This figure, or, when it has outgrown two 128-bit numbers, the same rounded half to even to so many places. For figures out of
    /// a long row of steps, whose digits nobody reads and which would slow down every sum they come into.
    pub fn shortened_half_even(&self, places: u32) -> Self {
        let Repr::Big(big) = &self.0 else { return self.clone() };
        let scale = BigInt::from(10).pow(places);
        Self::from_big(BigRational::new(round_half_even_big(&(big.numer() * &scale), big.denom()), scale))
    }

    fn scaled_up(places: u32) -> Self {
        match 10_i128.checked_pow(places) {
            Some(factor) => Self::whole(factor),
            None => Self::from_big(BigRational::from_integer(BigInt::from(10).pow(places))),
        }
    }

    /// The smaller of two.
    pub fn min(self, other: Self) -> Self {
        if other < self { other } else { self }
    }

    /// The larger of two.
    pub fn max(self, other: Self) -> Self {
        if other > self { other } else { self }
    }
}

/// `n / d` rounded half to even, `d` above nought.
fn round_half_even(n: i128, d: i128) -> i128 {
    let quotient = n.div_euclid(d);
    let remainder = n.rem_euclid(d);
    // `remainder` against `d - remainder` says the same as twice against `d`, and cannot overflow.
    let up = match remainder.cmp(&(d - remainder)) {
        Ordering::Greater => true,
        Ordering::Equal => quotient % 2 != 0,
        Ordering::Less => false,
    };
    quotient + i128::from(up)
}

/// `n / d` rounded half to even, `d` above nought.
fn round_half_even_big(n: &BigInt, d: &BigInt) -> BigInt {
    let (quotient, remainder) = n.div_mod_floor(d);
    let twice: BigInt = remainder * 2;
    let up = match twice.cmp(d) {
        Ordering::Greater => true,
        Ordering::Equal => quotient.is_odd(),
        Ordering::Less => false,
    };
    if up { quotient + BigInt::one() } else { quotient }
}

fn gcd(a: u128, b: u128) -> u128 {
    // Most operands fit a machine word, where the remainder is one instruction rather than a library call.
    if let (Ok(a), Ok(b)) = (u64::try_from(a), u64::try_from(b)) {
        return u128::from(a.gcd(&b));
    }
    let (mut a, mut b) = (a, b);
    while b != 0 {
        if let (Ok(x), Ok(y)) = (u64::try_from(a), u64::try_from(b)) {
            return u128::from(x.gcd(&y));
        }
        (a, b) = (b, a % b);
    }
    a
}

impl Default for Exact {
    fn default() -> Self {
        Self::ZERO
    }
}

impl From<i64> for Exact {
    fn from(value: i64) -> Self {
        Self::whole(i128::from(value))
    }
}

impl From<Decimal> for Exact {
    fn from(value: Decimal) -> Self {
        Self::scaled(value.mantissa(), value.scale())
    }
}

impl From<&Exact> for BigRational {
    fn from(value: &Exact) -> Self {
        value.to_big()
    }
}

impl<'a> Add<&'a Exact> for &'a Exact {
    type Output = Exact;

    fn add(self, other: &Exact) -> Exact {
        if let (Repr::Small(a, b), Repr::Small(c, d)) = (&self.0, &other.0) {
            let sum = if b == d {
                a.checked_add(*c).map(|n| (n, *b))
            } else {
                let g = i128::try_from(gcd(b.unsigned_abs(), d.unsigned_abs())).unwrap_or(1);
                let (left, right) = (d / g, b / g);
                a.checked_mul(left)
                    .zip(c.checked_mul(right))
                    .and_then(|(x, y)| x.checked_add(y))
                    .zip(b.checked_mul(left))
            };
            if let Some((n, d)) = sum {
                return Exact::small_reduced(n, d);
            }
        }
        Exact::from_big(self.to_big() + other.to_big())
    }
}

impl<'a> Mul<&'a Exact> for &'a Exact {
    type Output = Exact;

    fn mul(self, other: &Exact) -> Exact {
        if let (Repr::Small(a, b), Repr::Small(c, d)) = (&self.0, &other.0) {
            // Cancelling crosswise first keeps the products small, and the result is then in lowest terms already.
            let g1 = i128::try_from(gcd(a.unsigned_abs(), d.unsigned_abs())).unwrap_or(1).max(1);
            let g2 = i128::try_from(gcd(c.unsigned_abs(), b.unsigned_abs())).unwrap_or(1).max(1);
            // Dividing 128 bits is dear, and by one it is of no use.
            let (left_over, right_under) = if g1 == 1 { (*a, *d) } else { (a / g1, d / g1) };
            let (right_over, left_under) = if g2 == 1 { (*c, *b) } else { (c / g2, b / g2) };
            let over = left_over.checked_mul(right_over);
            let under = left_under.checked_mul(right_under);
            if let Some((over, under)) = over.zip(under)
                && over != i128::MIN
            {
                return Exact(Repr::Small(over, under));
            }
        }
        Exact::from_big(self.to_big() * other.to_big())
    }
}

impl Neg for Exact {
    type Output = Self;

    fn neg(self) -> Self {
        match self.0 {
            Repr::Small(n, d) => Self(Repr::Small(-n, d)),
            Repr::Big(big) => Self::from_big(-*big),
        }
    }
}

impl<'a> Sub<&'a Exact> for &'a Exact {
    type Output = Exact;

    fn sub(self, other: &Exact) -> Exact {
        self + &-other.clone()
    }
}

macro_rules! by_value {
    ($($trait:ident $method:ident),*) => {$(
        impl $trait for Exact {
            type Output = Exact;
            fn $method(self, other: Exact) -> Exact {
                (&self).$method(&other)
            }
        }
        impl $trait<&Exact> for Exact {
            type Output = Exact;
            fn $method(self, other: &Exact) -> Exact {
                (&self).$method(other)
            }
        }
    )*};
}
by_value!(Add add, Sub sub, Mul mul);

impl AddAssign<&Exact> for Exact {
    fn add_assign(&mut self, other: &Exact) {
        *self = &*self + other;
    }
}

impl AddAssign for Exact {
    fn add_assign(&mut self, other: Exact) {
        *self = &*self + &other;
    }
}

impl Sum for Exact {
    fn sum<I: Iterator<Item = Self>>(iter: I) -> Self {
        iter.fold(Self::ZERO, |a, b| a + b)
    }
}

impl<'a> Sum<&'a Exact> for Exact {
    fn sum<I: Iterator<Item = &'a Self>>(iter: I) -> Self {
        iter.fold(Self::ZERO, |a, b| a + b)
    }
}

impl PartialEq for Exact {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Exact {}

impl PartialOrd for Exact {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Exact {
    fn cmp(&self, other: &Self) -> Ordering {
        if let (Repr::Small(a, b), Repr::Small(c, d)) = (&self.0, &other.0) {
            if b == d {
                return a.cmp(c);
            }
            if let Some((left, right)) = a.checked_mul(*d).zip(c.checked_mul(*b)) {
                return left.cmp(&right);
            }
        }
        self.to_big().cmp(&other.to_big())
    }
}

impl std::hash::Hash for Exact {
    fn hash<H: std::hash::Hasher>(&self, state: &mut H) {
        match &self.0 {
            Repr::Small(n, d) => (n, d).hash(state),
            Repr::Big(big) => big.hash(state),
        }
    }
}

impl fmt::Debug for Exact {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.0 {
            Repr::Small(n, 1) => write!(f, "{n}"),
            Repr::Small(n, d) => write!(f, "{n}/{d}"),
            Repr::Big(big) => write!(f, "{big}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
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
        (wide, den).prop_map(|(n, d)| exact(n, d))
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
                prop_assert_eq!(a.checked_div(&b).unwrap().to_big(), x / y);
            }
        }

        #[test]
        fn rounding_is_within_half_a_unit(n in any::<i64>(), d in 1..1_000_000_i128) {
            let figure = exact(i128::from(n), d * 1_000);
            let rounded = Exact::scaled(i128::from(figure.round_half_even_scaled(3).unwrap()), 3);
            prop_assert!((&rounded - &figure).abs() <= exact(1, 2_000));
        }
    }
}
