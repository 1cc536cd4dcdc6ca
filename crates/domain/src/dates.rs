//! Business dates: spans of time, month-only dates, the day a lot may last be used.

use chrono::{Datelike, Days, Months, NaiveDate};
use serde::{Deserialize, Serialize};
use std::{fmt, str::FromStr};
use thiserror::Error;

/// Why a text is not a date or a span.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum DateError {
    /// Not an ISO 8601 calendar date that exists.
    #[error("“{0}” is not a date (write 2026-03-31)")]
    NotADate(String),
    /// Not a date, nor a month.
    #[error("“{0}” is not a date or a month (write 2026-03-31 or 2026-03)")]
    NotADateOrMonth(String),
    /// Not a span of time.
    #[error("“{0}” is not a span of time (write 24 months, 90 days, 6 weeks or 2 years)")]
    NotASpan(String),
}

/// A span of calendar time. Months run to the same day of a later month, or to its last day where it is shorter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum Span {
    /// So many days.
    Days(u32),
    /// So many months.
    Months(u32),
}

/// Spans of more than a century are slips of the finger.
const SPAN_DAYS_MAX: u32 = 36_525;
const SPAN_MONTHS_MAX: u32 = 1_200;

impl Span {
    /// The day this span after another; `None` beyond the calendar.
    pub fn after(self, start: NaiveDate) -> Option<NaiveDate> {
        match self {
            Self::Days(days) => start.checked_add_days(Days::new(u64::from(days))),
            Self::Months(months) => start.checked_add_months(Months::new(months)),
        }
    }

    /// The day this span before another; `None` beyond the calendar.
    pub fn before(self, end: NaiveDate) -> Option<NaiveDate> {
        match self {
            Self::Days(days) => end.checked_sub_days(Days::new(u64::from(days))),
            Self::Months(months) => end.checked_sub_months(Months::new(months)),
        }
    }
}

impl FromStr for Span {
    type Err = DateError;

    fn from_str(text: &str) -> Result<Self, DateError> {
        let text = text.trim();
        let wrong = || DateError::NotASpan(text.chars().take(30).collect());
        let end = text.find(|c: char| !c.is_ascii_digit()).ok_or_else(wrong)?;
        let (figure, unit) = text.split_at(end);
        let figure: u32 = figure.parse().map_err(|_| wrong())?;
        let span = match unit.trim().to_lowercase().as_str() {
            "d" | "day" | "days" => Some(Self::Days(figure)),
            "wk" | "week" | "weeks" => figure.checked_mul(7).map(Self::Days),
            "mo" | "month" | "months" => Some(Self::Months(figure)),
            "a" | "year" | "years" => figure.checked_mul(12).map(Self::Months),
            _ => None,
        };
        span.filter(|s| match s {
            Self::Days(d) => *d <= SPAN_DAYS_MAX,
            Self::Months(m) => *m <= SPAN_MONTHS_MAX,
        })
        .ok_or_else(wrong)
    }
}

impl fmt::Display for Span {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Days(1) => f.write_str("1 day"),
            Self::Days(days) => write!(f, "{days} days"),
            Self::Months(1) => f.write_str("1 month"),
            Self::Months(months) => write!(f, "{months} months"),
        }
    }
}

impl TryFrom<String> for Span {
    type Error = DateError;

    fn try_from(text: String) -> Result<Self, DateError> {
        text.parse()
    }
}

impl From<Span> for String {
    fn from(value: Span) -> Self {
        value.to_string()
    }
}

fn digits(text: &str, length: usize) -> Option<u32> {
    (text.len() == length && text.bytes().all(|b| b.is_ascii_digit())).then(|| text.parse().ok()).flatten()
}

/// An ISO 8601 calendar date, `2026-03-31`, between the years 1900 and 2199.
///
/// # Errors
/// [`DateError::NotADate`].
pub fn parse_date(text: &str) -> Result<NaiveDate, DateError> {
    let text = text.trim();
    let mut parts = text.split('-');
    let date = match (parts.next(), parts.next(), parts.next(), parts.next()) {
        (Some(y), Some(m), Some(d), None) => digits(y, 4).zip(digits(m, 2)).zip(digits(d, 2)),
        _ => None,
    };
    date.filter(|((y, _), _)| (1900..2200).contains(y))
        .and_then(|((y, m), d)| NaiveDate::from_ymd_opt(y.cast_signed(), m, d))
        .ok_or_else(|| DateError::NotADate(text.chars().take(30).collect()))
}

/// Which day of a month stands for the month written alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MonthMeans {
    /// Its first day: a month of manufacture.
    FirstDay,
    /// Its last day: a month of expiry (USP General Notices; GS1 day 00).
    LastDay,
}

/// An ISO 8601 date, or a month alone.
///
/// # Errors
/// [`DateError::NotADateOrMonth`].
pub fn parse_date_or_month(text: &str, month_means: MonthMeans) -> Result<NaiveDate, DateError> {
    let text = text.trim();
    if let Ok(date) = parse_date(text) {
        return Ok(date);
    }
    let wrong = || DateError::NotADateOrMonth(text.chars().take(30).collect());
    if text.len() != 7 {
        return Err(wrong());
    }
    let first = parse_date(&format!("{text}-01")).map_err(|_| wrong())?;
    Ok(match month_means {
        MonthMeans::FirstDay => first,
        MonthMeans::LastDay => end_of_month(first),
    })
}

/// The last day of the month a date lies in.
pub fn end_of_month(date: NaiveDate) -> NaiveDate {
    date.with_day(1)
        .and_then(|first| first.checked_add_months(Months::new(1)))
        .and_then(|next| next.pred_opt())
        .unwrap_or(date)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(text: &str) -> NaiveDate {
        parse_date(text).unwrap()
    }

    /// The Gregorian rule, and ISO 8601 calendar dates only.
    #[test]
    fn dates() {
        for good in ["2024-02-29", "2000-02-29", "2026-03-31"] {
            assert!(parse_date(good).is_ok(), "{good}");
        }
        for bad in [
            "2023-02-29",
            "1900-02-29",
            "2026-3-31",
            "31/03/2026",
            "04/03/26",
            "2026-13-01",
            "20260331",
            "+2026-01-01",
        ] {
            assert!(parse_date(bad).is_err(), "{bad}");
        }
    }

    /// An expiry given as month and year means the last day of that month (USP General Notices).
    #[test]
    fn months_alone() {
        let expiry = |t| parse_date_or_month(t, MonthMeans::LastDay);
        assert_eq!(expiry("2024-02"), Ok(date("2024-02-29")));
        assert_eq!(expiry("2023-02"), Ok(date("2023-02-28")));
        assert_eq!(expiry("2026-12"), Ok(date("2026-12-31")));
        assert_eq!(parse_date_or_month("2026-12", MonthMeans::FirstDay), Ok(date("2026-12-01")));
        assert!(expiry("2026").is_err());
        assert!(expiry("2026-13").is_err());
    }

    #[test]
    fn spans() {
        let after = |span: &str, start: &str| span.parse::<Span>().unwrap().after(date(start)).unwrap();
        assert_eq!(after("24 months", "2024-02-29"), date("2026-02-28"));
        assert_eq!(after("2 years", "2026-03-31"), date("2028-03-31"));
        assert_eq!(after("6 weeks", "2026-01-01"), date("2026-02-12"));
        assert_eq!(after("90days", "2026-01-01"), date("2026-04-01"));
        for bad in ["24", "months", "-1 days", "99999999999 days", "2000 years", ""] {
            assert!(bad.parse::<Span>().is_err(), "{bad}");
        }
    }
}
