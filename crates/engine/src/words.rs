//! Figures inside sentences.

use kernel::{Currency, Exact};

/// A figure for a sentence: rounded half to even to at most so many places, without trailing noughts.
pub fn figure(value: &Exact, places: u32) -> String {
    value.round_half_even(places).map_or_else(|_| format!("{value:?}"), |d| d.normalize().to_string())
}

/// A change in money for a sentence: with its sign, rounded half to even to the currency's minor unit.
pub fn money_change(value: &Exact, currency: Currency) -> String {
    value
        .round_half_even(currency.minor_places())
        .map_or_else(|_| format!("{value:?} {currency}"), |rounded| format!("{rounded:+} {currency}"))
}

/// A fraction of one as a percent, for a sentence.
pub fn percent(fraction: &Exact) -> String {
    format!("{} %", figure(&(fraction * &Exact::whole(100)), 6))
}

/// A mass for a sentence: grams below a kilogram, else kilograms.
pub fn mass(kg: &Exact) -> String {
    if kg.abs() < Exact::ONE {
        format!("{} g", figure(&(kg * &Exact::whole(1000)), 6))
    } else {
        format!("{} kg", figure(kg, 6))
    }
}

/// `1 day`, `3 days`.
pub fn days(count: i64) -> String {
    if count == 1 { "1 day".to_owned() } else { format!("{count} days") }
}

/// A whole number with its thousands apart: `60,000`.
pub fn grouped(number: u64) -> String {
    let digits = number.to_string();
    let mut text = String::with_capacity(digits.len() + digits.len() / 3);
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text
}
