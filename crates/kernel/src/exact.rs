//! Exact fractions: the number every calculation runs on, so that the only rounding is the one at the edge.
//!
//! A figure is held as a decimal (an `i128` and its places) while it is one, which what people enter always is: decimals are added
//! and multiplied without looking for common divisors. Division makes a fraction of two `i128`, in lowest terms, and what outgrows
//! those moves to big integers. Addition and multiplication never lose anything and never fail, and which of the three forms a
//! figure has is seen by nobody: equal figures are equal, print alike and hash alike.

mod terms;
#[cfg(test)]
mod tests;

use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::{Signed, ToPrimitive};
use rust_decimal::Decimal;
use std::{
    cmp::Ordering,
    fmt,
    iter::Sum,
    ops::{Add, AddAssign, Mul, Neg, Sub},
};

use crate::AmountError;
use terms::{
    PLACES_MAX, decimal_quotient, divided, floor_of_decimal, gcd, lowest_of_decimal, power_of_ten, product,
    round_half_even, round_half_even_big, sum,
};

/// A fraction without error.
#[derive(Clone)]
pub struct Exact(Repr);

#[derive(Clone)]
enum Repr {
    /// `n × 10⁻ᵖˡᵃᶜᵉˢ`, at most 38 of them; noughts at its end are allowed.
    Decimal(i128, u32),
    /// In lowest terms with a denominator above one.
    Small(i128, i128),
    /// What does not fit either.
    Big(Box<BigRational>),
}

impl Exact {
    /// Nought.
    pub const ZERO: Self = Self(Repr::Decimal(0, 0));
    /// One.
    pub const ONE: Self = Self(Repr::Decimal(1, 0));

    /// A whole number.
    pub const fn whole(value: i128) -> Self {
        Self(Repr::Decimal(value, 0))
    }

    /// `numerator / denominator`.
    ///
    /// # Errors
    /// [`AmountError::DivisionByNought`].
    pub fn ratio(numerator: i128, denominator: i128) -> Result<Self, AmountError> {
        if denominator == 0 {
            return Err(AmountError::DivisionByNought);
        }
        Ok(Self::reduced(numerator, denominator))
    }

    /// `scaled × 10⁻ᵖˡᵃᶜᵉˢ`, the value of a scaled integer. Places above 38 do not occur.
    pub fn scaled(scaled: i128, places: u32) -> Self {
        if places > PLACES_MAX {
            return Self::from_big(BigRational::new(BigInt::from(scaled), BigInt::from(10).pow(places)));
        }
        // Short decimals stay short when they are multiplied, and a scaled integer mostly ends in noughts.
        if let Ok(mut short) = i64::try_from(scaled) {
            if short == 0 {
                return Self::ZERO;
            }
            let mut places = places;
            while places >= 3 && short % 1_000 == 0 {
                short /= 1_000;
                places -= 3;
            }
            while places > 0 && short % 10 == 0 {
                short /= 10;
                places -= 1;
            }
            return Self(Repr::Decimal(i128::from(short), places));
        }
        Self(Repr::Decimal(scaled, places))
    }

    /// A fraction of any two numbers, the lower not nought.
    fn reduced(n: i128, d: i128) -> Self {
        // `i128::MIN` has no positive counterpart; it goes the long way round.
        if n == i128::MIN || d == i128::MIN {
            return Self::from_big(BigRational::new(n.into(), d.into()));
        }
        let g = gcd(n.unsigned_abs(), d.unsigned_abs());
        let g = i128::try_from(g).unwrap_or(1).max(1);
        let sign = if d < 0 { -1 } else { 1 };
        Self::lowest(divided(n, g) * sign, divided(d, g) * sign)
    }

    /// A fraction in lowest terms with a denominator above nought.
    const fn lowest(n: i128, d: i128) -> Self {
        if d == 1 { Self::whole(n) } else { Self(Repr::Small(n, d)) }
    }

    fn from_big(value: BigRational) -> Self {
        match (value.numer().to_i128(), value.denom().to_i128()) {
            (Some(n), Some(d)) if n != i128::MIN => Self::lowest(n, d),
            _ => Self(Repr::Big(Box::new(value))),
        }
    }

    fn to_big(&self) -> BigRational {
        match &self.0 {
            Repr::Big(big) => (**big).clone(),
            Repr::Decimal(n, places) => BigRational::new(BigInt::from(*n), BigInt::from(10).pow(*places)),
            Repr::Small(n, d) => BigRational::new_raw(BigInt::from(*n), BigInt::from(*d)),
        }
    }

    /// As a fraction of two 128-bit numbers in lowest terms, the denominator above nought; `None` for what has outgrown them.
    pub fn terms(&self) -> Option<(i128, i128)> {
        match &self.0 {
            Repr::Small(n, d) => Some((*n, *d)),
            Repr::Decimal(n, places) => lowest_of_decimal(*n, *places),
            Repr::Big(_) => None,
        }
    }

    /// Whether this is nought.
    pub fn is_zero(&self) -> bool {
        matches!(self.0, Repr::Decimal(0, _))
    }

    /// Whether this is below nought.
    pub fn is_negative(&self) -> bool {
        match &self.0 {
            Repr::Decimal(n, _) | Repr::Small(n, _) => *n < 0,
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
        if let (Repr::Decimal(n, places), Repr::Decimal(by, by_places)) = (&self.0, &divisor.0)
            && let Some((n, places)) = decimal_quotient(*n, *places, *by, *by_places)
        {
            return Ok(Self(Repr::Decimal(n, places)));
        }
        // The counterpart of a fraction in lowest terms is one too.
        let inverse = match divisor.terms() {
            Some((n, d)) if n < 0 => Self::lowest(-d, -n),
            Some((n, d)) => Self::lowest(d, n),
            None => Self::from_big(divisor.to_big().recip()),
        };
        Ok(self * &inverse)
    }

    /// The largest whole number that is not above this.
    ///
    /// # Errors
    /// [`AmountError::Overflow`] when it does not fit an `i128`.
    pub fn floor(&self) -> Result<i128, AmountError> {
        match &self.0 {
            Repr::Decimal(n, places) => Ok(floor_of_decimal(*n, *places)),
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
            Repr::Decimal(n, places) => match power_of_ten(*places) {
                Some(d) => round_half_even(*n, d),
                None => return Err(overflow),
            },
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
        let (n, d) = self.terms()?;
        (0..=28_u32).find_map(|places| {
            let scale = power_of_ten(places)?;
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
        match power_of_ten(places) {
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

/// The greatest common divisor of two numbers; nought only where both are, and of [`i128::MIN`] what fits.
pub fn common_divisor(a: i128, b: i128) -> i128 {
    i128::try_from(gcd(a.unsigned_abs(), b.unsigned_abs())).unwrap_or(i128::MAX)
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
        if let (Repr::Decimal(a, places), Repr::Decimal(c, other_places)) = (&self.0, &other.0) {
            // Noughts at the end of the one with fewer places bring both to the same.
            let most = (*places).max(*other_places);
            let raised = |n: &i128, from: u32| match most - from {
                0 => Some(*n),
                by => power_of_ten(by).and_then(|factor| n.checked_mul(factor)),
            };
            let sum = raised(a, *places).zip(raised(c, *other_places)).and_then(|(a, c)| a.checked_add(c));
            if let Some(n) = sum {
                return Exact(Repr::Decimal(n, most));
            }
        }
        if self.is_zero() {
            return other.clone();
        }
        if other.is_zero() {
            return self.clone();
        }
        if let (Some((a, b)), Some((c, d))) = (self.terms(), other.terms())
            && let Some((n, d)) = sum(a, b, c, d)
        {
            return Exact::lowest(n, d);
        }
        Exact::from_big(self.to_big() + other.to_big())
    }
}

impl<'a> Mul<&'a Exact> for &'a Exact {
    type Output = Exact;

    fn mul(self, other: &Exact) -> Exact {
        if let (Repr::Decimal(a, places), Repr::Decimal(c, other_places)) = (&self.0, &other.0)
            && places + other_places <= PLACES_MAX
            && let Some(n) = a.checked_mul(*c)
        {
            return Exact(Repr::Decimal(n, places + other_places));
        }
        if let (Some((a, b)), Some((c, d))) = (self.terms(), other.terms())
            && let Some((n, d)) = product(a, b, c, d)
        {
            return Exact::lowest(n, d);
        }
        Exact::from_big(self.to_big() * other.to_big())
    }
}

impl Neg for Exact {
    type Output = Self;

    fn neg(self) -> Self {
        match self.0 {
            Repr::Decimal(n, places) if n != i128::MIN => Self(Repr::Decimal(-n, places)),
            Repr::Small(n, d) => Self(Repr::Small(-n, d)),
            Repr::Big(big) => Self::from_big(-*big),
            Repr::Decimal(..) => Self::from_big(-self.to_big()),
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
        if let (Repr::Decimal(a, places), Repr::Decimal(c, other_places)) = (&self.0, &other.0) {
            if places == other_places {
                return a.cmp(c);
            }
            let raise = |n: &i128, by: u32| power_of_ten(by).and_then(|factor| n.checked_mul(factor));
            let least = places.min(other_places);
            if let Some((left, right)) = raise(a, other_places - least).zip(raise(c, places - least)) {
                return left.cmp(&right);
            }
        }
        if let (Some((a, b)), Some((c, d))) = (self.terms(), other.terms()) {
            if b == d {
                return a.cmp(&c);
            }
            if let Some((left, right)) = a.checked_mul(d).zip(c.checked_mul(b)) {
                return left.cmp(&right);
            }
        }
        self.to_big().cmp(&other.to_big())
    }
}

impl std::hash::Hash for Exact {
    fn hash<H: std::hash::Hasher>(&self, state: &mut H) {
        match self.terms() {
            Some(terms) => terms.hash(state),
            None => self.to_big().hash(state),
        }
    }
}

impl fmt::Debug for Exact {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.terms() {
            Some((n, 1)) => write!(f, "{n}"),
            Some((n, d)) => write!(f, "{n}/{d}"),
            None => write!(f, "{}", self.to_big()),
        }
    }
}
