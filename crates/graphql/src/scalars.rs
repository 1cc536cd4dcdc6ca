//! Scalars: exact figures, dates, spans, currencies and units, each after a published standard.

use async_graphql::{InputValueError, InputValueResult, Scalar, ScalarType, Value};
use chrono::{NaiveDate, Utc};
use domain::dates::parse_date;
use kernel::{DecimalMark, Exact, parse_decimal};

use crate::errors::Result;

/// An exact decimal figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Decimal(pub rust_decimal::Decimal);

/// An exact decimal figure such as "12.5", always written as a string, so that no reader passes it through a binary fraction.
/// As an input, a string (exponents such as "1e-7" are understood) or a whole JSON number within 64 bits. A JSON number with a
/// fraction is refused, since it may have lost digits on its way: send a string. At most 28 significant digits; more are refused,
/// never rounded.
#[Scalar(name = "Decimal", specified_by_url = "https://www.w3.org/TR/xmlschema11-2/#decimal")]
impl ScalarType for Decimal {
    fn parse(value: Value) -> InputValueResult<Self> {
        match value {
            Value::String(text) => Ok(Self(parse_decimal(&text, DecimalMark::Point)?)),
            Value::Number(number) => {
                if let Some(whole) = number.as_i64() {
                    Ok(Self(whole.into()))
                } else if let Some(whole) = number.as_u64() {
                    Ok(Self(whole.into()))
                } else {
                    Err(InputValueError::custom(format!(
                        "{number} is written as a JSON number with a fraction, or is too large for one, and may have lost digits; write it as a string, \"12.5\""
                    )))
                }
            }
            other => Err(InputValueError::expected_type(other)),
        }
    }

    fn to_value(&self) -> Value {
        Value::String(self.0.normalize().to_string())
    }
}

impl Decimal {
    /// A figure rounded half to even to at most so many places.
    pub(crate) fn rounded(value: &Exact, places: u32) -> Result<Self> {
        Ok(Self(value.round_half_even(places)?))
    }

    /// A count.
    pub(crate) fn whole(count: impl Into<rust_decimal::Decimal>) -> Self {
        Self(count.into())
    }
}

impl From<rust_decimal::Decimal> for Decimal {
    fn from(figure: rust_decimal::Decimal) -> Self {
        Self(figure)
    }
}

/// A calendar day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Date(pub NaiveDate);

/// A calendar day as ISO 8601 writes it, "2026-03-31": a business day in the site's time zone.
#[Scalar(name = "Date", specified_by_url = "https://www.rfc-editor.org/rfc/rfc3339#section-5.6")]
impl ScalarType for Date {
    fn parse(value: Value) -> InputValueResult<Self> {
        match value {
            Value::String(text) => Ok(Self(parse_date(&text)?)),
            other => Err(InputValueError::expected_type(other)),
        }
    }

    fn to_value(&self) -> Value {
        Value::String(self.0.to_string())
    }
}

impl From<NaiveDate> for Date {
    fn from(day: NaiveDate) -> Self {
        Self(day)
    }
}

/// An instant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DateTime(pub chrono::DateTime<Utc>);

/// An instant in UTC to the microsecond, "2026-03-31T14:05:09.123456Z". As an input, any RFC 3339 instant.
#[Scalar(name = "DateTime", specified_by_url = "https://www.rfc-editor.org/rfc/rfc3339#section-5.6")]
impl ScalarType for DateTime {
    fn parse(value: Value) -> InputValueResult<Self> {
        match value {
            Value::String(text) => {
                let instant = chrono::DateTime::parse_from_rfc3339(text.trim())
                    .map_err(|_| "this is not an instant; write 2026-03-31T14:05:09Z")?;
                Ok(Self(instant.with_timezone(&Utc)))
            }
            other => Err(InputValueError::expected_type(other)),
        }
    }

    fn to_value(&self) -> Value {
        Value::String(self.0.to_rfc3339_opts(chrono::SecondsFormat::Micros, true))
    }
}

impl From<chrono::DateTime<Utc>> for DateTime {
    fn from(instant: chrono::DateTime<Utc>) -> Self {
        Self(instant)
    }
}

/// A span of calendar time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span(pub domain::dates::Span);

/// A span of calendar time as an ISO 8601 duration of days or of months: "P90D", "P24M". As an input also "P6W", "P2Y", and the
/// words "90 days", "6 weeks", "24 months", "2 years". At most a century.
#[Scalar(name = "Span", specified_by_url = "https://www.rfc-editor.org/rfc/rfc3339#appendix-A")]
impl ScalarType for Span {
    fn parse(value: Value) -> InputValueResult<Self> {
        match value {
            Value::String(text) => Ok(Self(parse_span(&text)?)),
            other => Err(InputValueError::expected_type(other)),
        }
    }

    fn to_value(&self) -> Value {
        Value::String(match self.0 {
            domain::dates::Span::Days(days) => format!("P{days}D"),
            domain::dates::Span::Months(months) => format!("P{months}M"),
        })
    }
}

impl From<domain::dates::Span> for Span {
    fn from(span: domain::dates::Span) -> Self {
        Self(span)
    }
}

fn parse_span(text: &str) -> std::result::Result<domain::dates::Span, domain::dates::DateError> {
    let text = text.trim();
    let designators = [('D', "days"), ('W', "weeks"), ('M', "months"), ('Y', "years")];
    let words = text.strip_prefix('P').and_then(|rest| {
        let (letter, unit) = designators.iter().find(|(letter, _)| rest.ends_with(*letter))?;
        Some(format!("{} {unit}", rest.strip_suffix(*letter)?))
    });
    words.as_deref().unwrap_or(text).parse()
}

/// A currency.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CurrencyCode(pub kernel::Currency);

/// A currency by its ISO 4217 code, "GBP".
#[Scalar(name = "CurrencyCode", specified_by_url = "https://www.iso.org/iso-4217-currency-codes.html")]
impl ScalarType for CurrencyCode {
    fn parse(value: Value) -> InputValueResult<Self> {
        match value {
            Value::String(text) => Ok(Self(text.parse()?)),
            other => Err(InputValueError::expected_type(other)),
        }
    }

    fn to_value(&self) -> Value {
        Value::String(self.0.code().to_owned())
    }
}

impl From<kernel::Currency> for CurrencyCode {
    fn from(currency: kernel::Currency) -> Self {
        Self(currency)
    }
}

/// A unit of mass, volume or count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Unit(pub kernel::Unit);

/// A unit by its UCUM code. Quantities are answered in "kg", "L" or "{each}". As an input any of ug, mg, g, kg, t, [oz_av],
/// [lb_av], mL, L, m3, [foz_us], [pt_us], [qt_us], [gal_us], [foz_br], [pt_br], [gal_br], {each}, and the symbols people use for
/// them (oz, lb, fl oz, gal, pcs).
#[Scalar(name = "Unit", specified_by_url = "https://ucum.org/ucum")]
impl ScalarType for Unit {
    fn parse(value: Value) -> InputValueResult<Self> {
        match value {
            Value::String(text) => Ok(Self(kernel::Unit::parse(&text)?)),
            other => Err(InputValueError::expected_type(other)),
        }
    }

    fn to_value(&self) -> Value {
        Value::String(self.0.ucum().to_owned())
    }
}

/// Any JSON value.
#[derive(Debug, Clone, PartialEq)]
pub struct Json(pub serde_json::Value);

/// Any JSON value, as the audit trail keeps what a thing was and what it became.
#[Scalar(name = "JSON", specified_by_url = "https://www.rfc-editor.org/rfc/rfc8259")]
impl ScalarType for Json {
    fn parse(value: Value) -> InputValueResult<Self> {
        Ok(Self(value.into_json()?))
    }

    fn to_value(&self) -> Value {
        Value::from_json(self.0.clone()).unwrap_or_default()
    }
}
