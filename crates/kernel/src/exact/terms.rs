//! Arithmetic on the two 128-bit numbers of a fraction or of a decimal. `None` says that a result does not fit; the way on is big
//! integers.

use num_bigint::BigInt;
use num_integer::Integer;
use num_traits::One;
use std::cmp::Ordering;

/// Places of the longest decimal: the last power of ten in an `i128`.
pub(super) const PLACES_MAX: u32 = 38;

pub(super) const POWERS_OF_TEN: [i128; PLACES_MAX as usize + 1] = {
    let mut powers = [1_i128; PLACES_MAX as usize + 1];
    let mut at = 1;
    while at < powers.len() {
        #[expect(clippy::indexing_slicing, reason = "worked out by the compiler, which would refuse it")]
        {
            powers[at] = powers[at - 1] * 10;
        }
        at += 1;
    }
    powers
};

pub(super) fn power_of_ten(places: u32) -> Option<i128> {
    POWERS_OF_TEN.get(places as usize).copied()
}

/// `n / d` rounded half to even, `d` above nought.
pub(super) fn round_half_even(n: i128, d: i128) -> i128 {
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
pub(super) fn round_half_even_big(n: &BigInt, d: &BigInt) -> BigInt {
    let (quotient, remainder) = n.div_mod_floor(d);
    let twice: BigInt = remainder * 2;
    let up = match twice.cmp(d) {
        Ordering::Greater => true,
        Ordering::Equal => quotient.is_odd(),
        Ordering::Less => false,
    };
    if up { quotient + BigInt::one() } else { quotient }
}

/// `n / g`, `g` a divisor of it above nought. Dividing 128 bits is dear, and by one it is of no use.
pub(super) fn divided(n: i128, g: i128) -> i128 {
    if g == 1 {
        return n;
    }
    match (i64::try_from(n), i64::try_from(g)) {
        (Ok(n), Ok(g)) => i128::from(n / g),
        _ => n / g,
    }
}

/// The largest whole number that is not above `n × 10⁻ᵖˡᵃᶜᵉˢ`.
pub(super) fn floor_of_decimal(n: i128, places: u32) -> i128 {
    let d = power_of_ten(places).unwrap_or(i128::MAX);
    match (i64::try_from(n), i64::try_from(d)) {
        (Ok(n), Ok(d)) => i128::from(n.div_euclid(d)),
        _ => n.div_euclid(d),
    }
}

/// `n × 10⁻ᵖˡᵃᶜᵉˢ` in lowest terms: ten has two divisors only, so there is no need to look for others.
pub(super) fn lowest_of_decimal(n: i128, places: u32) -> Option<(i128, i128)> {
    if n == 0 {
        return Some((0, 1));
    }
    if n == i128::MIN {
        return None;
    }
    let twos = n.unsigned_abs().trailing_zeros().min(places);
    let n = n >> twos;
    let mut fives = 0;
    let n = if let Ok(mut short) = i64::try_from(n) {
        while fives < places && short % 5 == 0 {
            short /= 5;
            fives += 1;
        }
        i128::from(short)
    } else {
        let mut long = n;
        while fives < places && long % 5 == 0 {
            long /= 5;
            fives += 1;
        }
        long
    };
    Some((n, 5_i128.checked_pow(places - fives)?.checked_shl(places - twos)?))
}

/// `n × 10⁻ᵖˡᵃᶜᵉˢ` over another decimal, when that is a decimal and short; the divisor is not nought.
pub(super) fn decimal_quotient(n: i128, places: u32, by: i128, by_places: u32) -> Option<(i128, u32)> {
    let (mut left, sign) = (i64::try_from(by).ok()?, if by < 0 { -1 } else { 1 });
    left = left.checked_abs()?;
    // `n / by × 10^(by_places - places)`; what twos and fives the divisor has are made up to tens.
    let twos = left.trailing_zeros();
    left >>= twos;
    let mut fives = 0;
    while left % 5 == 0 {
        left /= 5;
        fives += 1;
    }
    let n = n.checked_mul(sign)?;
    // Another divisor is well if it goes into the number without a rest.
    let n = if left == 1 {
        n
    } else {
        let short = i64::try_from(n).ok()?;
        if short % left != 0 {
            return None;
        }
        i128::from(short / left)
    };
    let tens = twos.max(fives);
    let n =
        n.checked_mul(2_i128.checked_pow(tens - twos)?)?.checked_mul(5_i128.checked_pow(tens - fives)?)?;
    let places = places + tens;
    if places >= by_places {
        let places = places - by_places;
        return (places <= PLACES_MAX).then_some((n, places));
    }
    Some((n.checked_mul(power_of_ten(by_places - places)?)?, 0))
}

/// The greatest common divisor; the other one where one is nought.
pub(super) fn gcd(a: u128, b: u128) -> u128 {
    let (mut a, mut b) = (a, b);
    loop {
        if b == 0 {
            return a;
        }
        // Most operands fit a machine word, where the remainder is one instruction rather than a library call.
        if let (Ok(x), Ok(y)) = (u64::try_from(a), u64::try_from(b)) {
            return u128::from(gcd_of_words(x, y));
        }
        (a, b) = (b, a % b);
    }
}

pub(super) fn gcd_of_words(a: u64, b: u64) -> u64 {
    let (small, large) = if a < b { (a, b) } else { (b, a) };
    if small <= 1 {
        return if small == 0 { large } else { 1 };
    }
    // One division brings two numbers of different length together; then halving and subtracting is quicker.
    let rest = large % small;
    if rest == 0 { small } else { small.gcd(&rest) }
}

/// `a/b × c/d`, both in lowest terms, in lowest terms.
pub(super) fn product(a: i128, b: i128, c: i128, d: i128) -> Option<(i128, i128)> {
    // Cancelling crosswise first keeps the products small, and the result is then in lowest terms already.
    if let (Ok(left), Ok(b), Ok(right), Ok(d)) =
        (u64::try_from(a.unsigned_abs()), u64::try_from(b), u64::try_from(c.unsigned_abs()), u64::try_from(d))
    {
        let (g1, g2) = (gcd_of_words(left, d).max(1), gcd_of_words(right, b).max(1));
        let over = i128::try_from(u128::from(left / g1) * u128::from(right / g2)).ok()?;
        let under = i128::try_from(u128::from(b / g2) * u128::from(d / g1)).ok()?;
        return Some((if (a < 0) == (c < 0) { over } else { -over }, under));
    }
    let g1 = i128::try_from(gcd(a.unsigned_abs(), d.unsigned_abs())).ok()?.max(1);
    let g2 = i128::try_from(gcd(c.unsigned_abs(), b.unsigned_abs())).ok()?.max(1);
    let over = divided(a, g1).checked_mul(divided(c, g2))?;
    let under = divided(b, g2).checked_mul(divided(d, g1))?;
    (over != i128::MIN).then_some((over, under))
}

/// `a/b + c/d`, both in lowest terms, in lowest terms (Knuth, The Art of Computer Programming, volume 2, section 4.5.1): only the
/// common divisor of the denominators can still be in the sum.
pub(super) fn sum(a: i128, b: i128, c: i128, d: i128) -> Option<(i128, i128)> {
    let common = i128::try_from(gcd(b.unsigned_abs(), d.unsigned_abs())).ok()?;
    let (left, right) = (divided(d, common), divided(b, common));
    let over = a.checked_mul(left)?.checked_add(c.checked_mul(right)?)?;
    if over == i128::MIN {
        return None;
    }
    if over == 0 {
        return Some((0, 1));
    }
    let still = match common {
        1 => 1,
        _ => i128::try_from(gcd(over.unsigned_abs(), common.unsigned_abs())).ok()?,
    };
    Some((divided(over, still), right.checked_mul(divided(d, still))?))
}
