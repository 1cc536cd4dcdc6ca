//! CAS Registry Numbers.

use serde::{Deserialize, Serialize};
use std::{fmt, str::FromStr};
use thiserror::Error;

/// A CAS Registry Number whose check digit is right.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Cas(String);

/// Why a text is not a CAS number.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum CasError {
    /// Not two to seven digits, two digits and one, joined by hyphens, without leading nought.
    #[error("“{0}” is not written like a CAS number (7732-18-5)")]
    Form(String),
    /// The last digit does not fit the others.
    #[error("CAS number “{text}” has a wrong check digit: it should end in {expected}")]
    CheckDigit {
        /// What was written.
        text: String,
        /// The digit that would fit.
        expected: u32,
    },
}

impl FromStr for Cas {
    type Err = CasError;

    /// The check digit is the sum of the digits from the right, weighted 1, 2, 3 …, modulo ten.
    fn from_str(text: &str) -> Result<Self, CasError> {
        let text = text.trim();
        let form = || CasError::Form(text.chars().take(30).collect());
        let mut parts = text.split('-');
        let (Some(first), Some(second), Some(check), None) =
            (parts.next(), parts.next(), parts.next(), parts.next())
        else {
            return Err(form());
        };
        let well_formed = (2..=7).contains(&first.len())
            && second.len() == 2
            && check.len() == 1
            && !first.starts_with('0')
            && text.chars().all(|c| c.is_ascii_digit() || c == '-');
        if !well_formed {
            return Err(form());
        }
        let sum: u32 = first
            .chars()
            .chain(second.chars())
            .rev()
            .filter_map(|c| c.to_digit(10))
            .zip(1..)
            .map(|(digit, weight)| digit * weight)
            .sum();
        let expected = sum % 10;
        if check.parse() != Ok(expected) {
            return Err(CasError::CheckDigit { text: text.to_owned(), expected });
        }
        Ok(Self(text.to_owned()))
    }
}

impl TryFrom<String> for Cas {
    type Error = CasError;

    fn try_from(text: String) -> Result<Self, CasError> {
        text.parse()
    }
}

impl From<Cas> for String {
    fn from(value: Cas) -> Self {
        value.0
    }
}

impl fmt::Display for Cas {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Check digits verified with two general-purpose chemistry libraries; water sums to 105, glycerol to 55.
    #[test]
    fn check_digits() {
        for good in [
            "7732-18-5",
            "56-81-5",
            "64-17-5",
            "67-63-0",
            "7681-52-9",
            "1310-73-2",
            "7647-01-0",
            "7664-93-9",
            "7722-84-1",
            "64-19-7",
            "77-92-9",
            "7664-38-2",
            "1336-21-6",
            "497-19-8",
            "57-55-6",
            "111-76-2",
            "151-21-3",
            "68891-38-3",
        ] {
            assert!(good.parse::<Cas>().is_ok(), "{good}");
        }
        assert_eq!(
            "7732-18-4".parse::<Cas>(),
            Err(CasError::CheckDigit { text: "7732-18-4".to_owned(), expected: 5 })
        );
        for bad in ["56-81-6", "07732-18-5", "1-23-4", "7732185", "７732-18-5", ""] {
            assert!(bad.parse::<Cas>().is_err(), "{bad}");
        }
    }
}
