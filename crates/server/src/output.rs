//! Answers on standard output: tables for people, JSON for programs.

use kernel::{Exact, Money, Quantity};
use rust_decimal::Decimal;
use serde::Serialize;
use std::{
    fmt,
    io::{self, Write as _},
};

use crate::failure::Failure;

/// Prints an answer: as JSON, or as the text made of it.
///
/// # Errors
/// [`Failure::Fault`] when standard output cannot be written.
pub fn answer<T: Serialize>(json: bool, answer: &T, text: impl FnOnce(&T) -> String) -> Result<(), Failure> {
    let shown = if json {
        serde_json::to_string_pretty(answer).map_err(|error| Failure::Fault(error.to_string()))?
    } else {
        text(answer)
    };
    print(&shown)
}

/// Prints a text, ending it with a line break. A reader that has gone away (`| head`) is no fault.
///
/// # Errors
/// [`Failure::Fault`] when standard output cannot be written.
pub fn print(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    let ending = if text.ends_with('\n') { "" } else { "\n" };
    match write!(out, "{text}{ending}").and_then(|()| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(Failure::Fault(format!("standard output cannot be written: {error}")))
        }
        _ => Ok(()),
    }
}

/// A quantity with its unit: exact in JSON; to the gram, or the piece, in tables.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Amount {
    /// The figure.
    pub amount: Decimal,
    /// kg, L or pcs.
    pub unit: &'static str,
}

impl From<Quantity> for Amount {
    fn from(quantity: Quantity) -> Self {
        Self { amount: quantity.figure(), unit: quantity.dimension().unit() }
    }
}

impl From<kernel::Mass> for Amount {
    fn from(mass: kernel::Mass) -> Self {
        Quantity::Mass(mass).into()
    }
}

impl fmt::Display for Amount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let places = if self.unit == "pcs" { 0 } else { 3 };
        // What would be rounded to nought, or pieces that are not whole, are shown to the last digit.
        let whole = self.amount.normalize();
        let shown = match Exact::from(self.amount).round_half_even(places) {
            Ok(rounded) if rounded.is_zero() != self.amount.is_zero() => whole,
            Ok(rounded) if places == 0 && rounded != self.amount => whole,
            Ok(rounded) => rounded,
            Err(_) => whole,
        };
        write!(f, "{shown} {}", self.unit)
    }
}

/// Money to the currency's minor unit, for tables.
pub fn money(money: Money) -> String {
    match money.amount_minor_half_even() {
        Ok(amount) => format!("{amount} {}", money.currency()),
        Err(_) => money.to_string(),
    }
}

/// `1 lot`, `3 lots`.
pub fn counted(count: usize, one: &str, many: &str) -> String {
    if count == 1 { format!("1 {one}") } else { format!("{count} {many}") }
}

/// A date, or nothing.
pub fn day(day: Option<chrono::NaiveDate>) -> String {
    day.map_or_else(String::new, |day| day.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use kernel::DecimalMark;

    fn check(text: &str, shown: &str, json: &str) {
        let amount = Amount::from(Quantity::parse(text, None, DecimalMark::Point).unwrap());
        assert_eq!(amount.to_string(), shown);
        assert_eq!(serde_json::to_string(&amount).unwrap(), json);
    }

    #[test]
    fn amounts_are_exact_for_programs_and_to_the_gram_for_people() {
        check("18.92705892 kg", "18.927 kg", r#"{"amount":"18.92705892","unit":"kg"}"#);
        check("25 kg", "25.000 kg", r#"{"amount":"25","unit":"kg"}"#);
        check("0.1 mg", "0.0000001 kg", r#"{"amount":"0.0000001","unit":"kg"}"#);
        check("360 pcs", "360 pcs", r#"{"amount":"360","unit":"pcs"}"#);
        check("0.5 pcs", "0.5 pcs", r#"{"amount":"0.5","unit":"pcs"}"#);
    }
}
