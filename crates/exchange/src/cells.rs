//! One cell, whatever kind of file it came from.

use chrono::NaiveDate;
use kernel::{DecimalMark, parse_decimal};
use rust_decimal::Decimal;
use std::borrow::Cow;

/// A cell.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) enum Cell<'a> {
    /// Nothing, or nothing but space.
    #[default]
    Empty,
    /// Text as typed; its figures have the decimal mark agreed for the import.
    Text(Cow<'a, str>),
    /// A number cell of a workbook, with a decimal point.
    Figure(String),
    /// A date cell of a workbook.
    Date(NaiveDate),
    /// A date cell that shows a month and no day; the first of that month.
    Month(NaiveDate),
    /// Something that cannot be a value, and why.
    Wrong(String),
}

/// What spreadsheets show where a value could not be worked out.
const ERROR_TEXTS: &[&str] = &[
    "#N/A",
    "#REF!",
    "#DIV/0!",
    "#VALUE!",
    "#NAME?",
    "#NUM!",
    "#NULL!",
    "#SPILL!",
    "#CALC!",
    "#GETTING_DATA",
];

impl<'a> Cell<'a> {
    /// A text cell.
    pub fn text(text: impl Into<Cow<'a, str>>) -> Self {
        let text = text.into();
        let trimmed = text.trim();
        if trimmed.is_empty() {
            return Self::Empty;
        }
        if trimmed.starts_with('#') && ERROR_TEXTS.contains(&trimmed) {
            return Self::shows_error(trimmed);
        }
        Self::Text(text)
    }

    /// A cell in which the spreadsheet shows an error.
    pub fn shows_error(error: &str) -> Self {
        Self::Wrong(format!("the cell shows {error} instead of a value"))
    }

    pub fn is_empty(&self) -> bool {
        matches!(self, Self::Empty)
    }

    /// Whether a row that begins with this cell is a remark.
    pub fn begins_remark(&self) -> bool {
        matches!(self, Self::Text(text) if text.trim_start().starts_with('#'))
    }

    /// The cell as text, trimmed; `None` when empty, the reason when it cannot be a value.
    pub fn as_text(&self) -> Result<Option<Cow<'_, str>>, &str> {
        Ok(match self {
            Self::Empty => None,
            Self::Text(text) => Some(Cow::Borrowed(text.trim())),
            Self::Figure(figure) => Some(Cow::Borrowed(figure)),
            Self::Date(date) => Some(Cow::Owned(date.to_string())),
            Self::Month(first) => Some(Cow::Owned(first.format("%Y-%m").to_string())),
            Self::Wrong(why) => return Err(why),
        })
    }

    /// The mark figures in this cell have.
    pub fn mark(&self, agreed: DecimalMark) -> DecimalMark {
        if matches!(self, Self::Figure(_)) { DecimalMark::Point } else { agreed }
    }
}

/// Significant digits a workbook keeps of a number; more are the traces of binary arithmetic.
const SIGNIFICANT_DIGITS_MAX: usize = 15;

/// A number cell. Workbooks keep numbers as binary fractions: this is the only place where one is met, and it leaves as the
/// shortest decimal text that names it, without any arithmetic on it. In a cell formatted as a percentage, `0.12` means 12 %.
pub(crate) fn number_cell(number: f64, percentage: bool) -> Cell<'static> {
    let text = number.to_string();
    let digits: String = text.chars().filter(char::is_ascii_digit).collect();
    let whole = !text.contains('.');
    let significant = digits.trim_start_matches('0');
    let significant = if whole { significant.trim_end_matches('0') } else { significant };
    if significant.len() > SIGNIFICANT_DIGITS_MAX {
        return Cell::Wrong(format!(
            "the number cell holds {}, more digits than a workbook keeps exactly ({SIGNIFICANT_DIGITS_MAX}); round it \
             there, or store the figure as text",
            crate::names::shown(&text)
        ));
    }
    if !percentage {
        return Cell::Figure(text);
    }
    parse_decimal(&text, DecimalMark::Point)
        .ok()
        .and_then(|figure| figure.checked_mul(Decimal::ONE_HUNDRED))
        .map_or_else(
            || Cell::Wrong(format!("{} is not a percentage", crate::names::shown(&text))),
            |percent| Cell::Figure(format!("{} %", percent.normalize())),
        )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_leave_as_the_shortest_decimal_text() {
        let figure = |number, percentage| match number_cell(number, percentage) {
            Cell::Figure(text) => text,
            Cell::Wrong(why) => format!("wrong: {why}"),
            other => panic!("{other:?}"),
        };
        assert_eq!(figure(0.1, false), "0.1");
        assert_eq!(figure(1e-7, false), "0.0000001");
        assert_eq!(figure(1001.0, false), "1001");
        assert_eq!(figure(1e21, false), "1000000000000000000000");
        assert_eq!(figure(123_456_789_012_345.0, false), "123456789012345");
        assert_eq!(figure(0.12, true), "12 %");
        assert_eq!(figure(0.07, true), "7 %");
        assert_eq!(
            figure(0.300_000_000_000_000_04, false),
            "wrong: the number cell holds 0.30000000000000004, more digits than a workbook keeps exactly (15); round \
             it there, or store the figure as text"
        );
        assert!(figure(12_345_678_901_234_567.0, false).starts_with("wrong"));
        assert!(figure(1e300, true).starts_with("wrong"));
    }

    #[test]
    fn errors_shown_by_spreadsheets_are_no_values() {
        assert_eq!(Cell::text("#N/A").as_text(), Err("the cell shows #N/A instead of a value"));
        assert!(Cell::text("# remark").begins_remark());
        assert!(Cell::text(" \u{a0} ").is_empty());
    }
}
