//! What can be wrong with an amount.

use thiserror::Error;

/// Why a text or a figure is not an amount this project can keep. The texts are written for the person who typed it.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum AmountError {
    /// The text is not a plain decimal figure.
    #[error("“{0}” is not a figure")]
    NotAFigure(String),
    /// A decimal comma where a point was agreed, or the other way round.
    #[error("“{text}” has a decimal {found} where a decimal {agreed} was agreed")]
    WrongMark {
        /// What was written.
        text: String,
        /// The mark that stands there.
        found: &'static str,
        /// The mark agreed for this input.
        agreed: &'static str,
    },
    /// More digits than any amount can have.
    #[error("a figure of {0} characters is longer than the {max} that can be read", max = crate::limits::FIGURE_CHARS_MAX)]
    TooLong(usize),
    /// More decimal places than are kept; nothing is rounded silently.
    #[error("{what} is kept to {places} decimal places of {unit}; “{text}” has more")]
    TooManyPlaces {
        /// The kind of amount.
        what: &'static str,
        /// Places that are kept.
        places: u32,
        /// The unit those places are of.
        unit: &'static str,
        /// What was written.
        text: String,
    },
    /// Larger than can be kept.
    #[error("{what} is out of range: at most {max} {unit}")]
    OutOfRange {
        /// The kind of amount.
        what: &'static str,
        /// The largest magnitude in `unit`.
        max: String,
        /// The unit of `max`.
        unit: &'static str,
    },
    /// Two amounts could not be added because the sum leaves the range.
    #[error("{0} overflowed while adding up")]
    Overflow(&'static str),
    /// A unit nobody knows.
    #[error(
        "“{0}” is not a known unit (use kg, g, mg, lb, oz, L, mL, gal, fl oz, pcs, % or their UCUM codes)"
    )]
    UnknownUnit(String),
    /// A figure stands without the unit it needs.
    #[error("“{0}” needs a unit")]
    UnitMissing(String),
    /// A unit of another kind than expected.
    #[error("“{text}” is a {found}, where a {expected} is needed")]
    WrongDimension {
        /// What was written.
        text: String,
        /// The dimension it has.
        found: &'static str,
        /// The dimension needed.
        expected: &'static str,
    },
    /// Not a currency of ISO 4217.
    #[error("“{0}” is not an ISO 4217 currency code")]
    UnknownCurrency(String),
    /// Two currencies met in one sum.
    #[error("{0} and {1} cannot be added; an exchange rate is needed")]
    CurrencyMismatch(crate::Currency, crate::Currency),
    /// A figure that must be above nought is not.
    #[error("{0} must be above nought")]
    NotPositive(&'static str),
    /// A figure that must not be below nought is.
    #[error("{0} must not be below nought")]
    Negative(&'static str),
    /// A division by nought.
    #[error("division by nought")]
    DivisionByNought,
}
