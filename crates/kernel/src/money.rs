//! Money, prices per unit and exchange rates.

use rust_decimal::Decimal;
use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};
use std::fmt;

use crate::{AmountError, Currency, DecimalMark, Exact, parse_decimal, scaled::scale_exactly};

/// An amount of money, kept in millionths of the currency unit, with its currency: two currencies never add.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Money {
    micros: i64,
    currency: Currency,
}

/// A price of one kilogram, litre or piece (or whatever stands beside it), kept in 10⁻⁸ of the currency unit.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct UnitPrice {
    scaled: i64,
    currency: Currency,
}

impl Money {
    /// Decimal places kept.
    pub const PLACES: u32 = 6;

    /// Nought of a currency.
    pub const fn zero(currency: Currency) -> Self {
        Self { micros: 0, currency }
    }

    /// From millionths of the currency unit, as the database holds it.
    pub const fn from_micros(micros: i64, currency: Currency) -> Self {
        Self { micros, currency }
    }

    /// Millionths of the currency unit, as the database holds it.
    pub const fn micros(self) -> i64 {
        self.micros
    }

    /// The currency.
    pub const fn currency(self) -> Currency {
        self.currency
    }

    /// From a figure; refused, never rounded, when it has more than six places.
    ///
    /// # Errors
    /// [`AmountError::TooManyPlaces`] or [`AmountError::OutOfRange`].
    pub fn from_decimal(figure: Decimal, currency: Currency) -> Result<Self, AmountError> {
        let micros = scale_exactly(figure, Self::PLACES, "money", "the currency unit")?;
        Ok(Self { micros, currency })
    }

    /// From an exact fraction, rounded half to even to six places: what a lot or a batch is valued at.
    ///
    /// # Errors
    /// [`AmountError::Overflow`].
    pub fn from_exact_half_even(value: &Exact, currency: Currency) -> Result<Self, AmountError> {
        Ok(Self { micros: value.round_half_even_scaled(Self::PLACES)?, currency })
    }

    /// The figure, all six places.
    pub fn amount(self) -> Decimal {
        Decimal::new(self.micros, Self::PLACES).normalize()
    }

    /// The same as an exact fraction of the currency unit.
    pub fn to_exact(self) -> Exact {
        Exact::scaled(i128::from(self.micros), Self::PLACES)
    }

    /// The figure rounded half to even to the currency's minor unit, as it is printed.
    ///
    /// # Errors
    /// [`AmountError::Overflow`].
    pub fn amount_minor_half_even(self) -> Result<Decimal, AmountError> {
        self.to_exact().round_half_even(self.currency.minor_places())
    }

    /// The sum.
    ///
    /// # Errors
    /// [`AmountError::CurrencyMismatch`] or [`AmountError::Overflow`].
    pub fn checked_add(self, other: Self) -> Result<Self, AmountError> {
        if self.currency != other.currency {
            return Err(AmountError::CurrencyMismatch(self.currency, other.currency));
        }
        let micros = self.micros.checked_add(other.micros).ok_or(AmountError::Overflow("money"))?;
        Ok(Self { micros, currency: self.currency })
    }

    /// The difference.
    ///
    /// # Errors
    /// [`AmountError::CurrencyMismatch`] or [`AmountError::Overflow`].
    pub fn checked_sub(self, other: Self) -> Result<Self, AmountError> {
        let negated = other.micros.checked_neg().ok_or(AmountError::Overflow("money"))?;
        self.checked_add(Self { micros: negated, currency: other.currency })
    }
}

impl UnitPrice {
    /// Decimal places kept.
    pub const PLACES: u32 = 8;

    /// From the scaled integer, as the database holds it.
    pub const fn from_scaled(scaled: i64, currency: Currency) -> Self {
        Self { scaled, currency }
    }

    /// The scaled integer, as the database holds it.
    pub const fn scaled(self) -> i64 {
        self.scaled
    }

    /// The currency.
    pub const fn currency(self) -> Currency {
        self.currency
    }

    /// From a figure; refused, never rounded, when it has more than eight places.
    ///
    /// # Errors
    /// [`AmountError::TooManyPlaces`], [`AmountError::OutOfRange`] or [`AmountError::Negative`].
    pub fn from_decimal(figure: Decimal, currency: Currency) -> Result<Self, AmountError> {
        let scaled = scale_exactly(figure, Self::PLACES, "a price", "the currency unit")?;
        if scaled < 0 {
            return Err(AmountError::Negative("a price"));
        }
        Ok(Self { scaled, currency })
    }

    /// The figure.
    pub fn amount(self) -> Decimal {
        Decimal::new(self.scaled, Self::PLACES).normalize()
    }

    /// The same as an exact fraction of the currency unit.
    pub fn to_exact(self) -> Exact {
        Exact::scaled(i128::from(self.scaled), Self::PLACES)
    }
}

impl fmt::Display for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.amount(), self.currency)
    }
}

impl fmt::Debug for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl fmt::Display for UnitPrice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.amount(), self.currency)
    }
}

impl fmt::Debug for UnitPrice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

/// How money and prices stand in JSON: the figure as a decimal string beside the currency.
#[derive(Serialize, Deserialize)]
struct Written {
    amount: String,
    currency: Currency,
}

macro_rules! written {
    ($name:ident) => {
        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                Written { amount: self.amount().to_string(), currency: self.currency }.serialize(serializer)
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                let written = Written::deserialize(deserializer)?;
                let figure = parse_decimal(&written.amount, DecimalMark::Point).map_err(D::Error::custom)?;
                Self::from_decimal(figure, written.currency).map_err(D::Error::custom)
            }
        }
    };
}
written!(Money);
written!(UnitPrice);

/// How much of one currency a unit of another buys. Above nought; kept without loss as canonical decimal text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Rate(Decimal);

impl Rate {
    /// A rate.
    ///
    /// # Errors
    /// [`AmountError::NotPositive`].
    pub fn new(rate: Decimal) -> Result<Self, AmountError> {
        if rate <= Decimal::ZERO {
            return Err(AmountError::NotPositive("an exchange rate"));
        }
        Ok(Self(rate.normalize()))
    }

    /// The figure.
    pub const fn decimal(self) -> Decimal {
        self.0
    }

    /// The same as an exact fraction.
    pub fn to_exact(self) -> Exact {
        Exact::from(self.0)
    }
}

impl TryFrom<String> for Rate {
    type Error = AmountError;

    fn try_from(text: String) -> Result<Self, AmountError> {
        Self::new(parse_decimal(&text, DecimalMark::Point)?)
    }
}

impl From<Rate> for String {
    fn from(value: Rate) -> Self {
        value.0.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_currencies_never_add() {
        let pounds = Money::from_micros(1, Currency::GBP);
        let euros = Money::from_micros(1, Currency::EUR);
        assert!(matches!(pounds.checked_add(euros), Err(AmountError::CurrencyMismatch(..))));
        assert!(Money::from_micros(i64::MAX, Currency::GBP).checked_add(pounds).is_err());
    }

    #[test]
    fn json_keeps_every_digit() {
        let price = UnitPrice::from_scaled(9_007_199_254_740_993, Currency::EUR);
        let text = serde_json::to_string(&price).unwrap();
        assert_eq!(text, r#"{"amount":"90071992.54740993","currency":"EUR"}"#);
        assert_eq!(serde_json::from_str::<UnitPrice>(&text).unwrap(), price);
    }
}
