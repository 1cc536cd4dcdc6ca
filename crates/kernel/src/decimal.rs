//! Reading decimal figures as people write them.

use crate::{AmountError, limits::FIGURE_CHARS_MAX};
use rust_decimal::Decimal;

/// Which sign separates the whole from the fraction. It is agreed once per input and never guessed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum DecimalMark {
    /// `1234.5`
    #[default]
    Point,
    /// `1234,5`
    Comma,
}

/// Reads one decimal figure. A sign, digits, one decimal mark and an exponent (`1e-7`) are understood; digits are not grouped.
///
/// # Errors
/// [`AmountError::TooLong`], [`AmountError::WrongMark`] or [`AmountError::NotAFigure`]; a figure with more digits than can be
/// kept is refused, never rounded.
pub fn parse_decimal(text: &str, mark: DecimalMark) -> Result<Decimal, AmountError> {
    let text = text.trim();
    let length = text.chars().count();
    if length > FIGURE_CHARS_MAX {
        return Err(AmountError::TooLong(length));
    }
    let not_a_figure = || AmountError::NotAFigure(text.to_owned());
    let (own, other, own_name, other_name) = match mark {
        DecimalMark::Point => ('.', ',', "point", "comma"),
        DecimalMark::Comma => (',', '.', "comma", "point"),
    };
    let digits_only = text.chars().all(|c| c.is_ascii_digit() || "+-.,eE".contains(c));
    if !digits_only || !text.chars().any(|c| c.is_ascii_digit()) {
        return Err(not_a_figure());
    }
    if text.contains(other) {
        return Err(AmountError::WrongMark { text: text.to_owned(), found: other_name, agreed: own_name });
    }
    let plain = text.replace(own, ".");
    let parsed = if plain.contains(['e', 'E']) {
        Decimal::from_scientific(&plain).ok()
    } else {
        Decimal::from_str_exact(&plain).ok()
    };
    parsed.map(|d| d.normalize()).ok_or_else(not_a_figure)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures() {
        fn point(text: &str) -> Result<String, AmountError> {
            parse_decimal(text, DecimalMark::Point).map(|d| d.to_string())
        }
        assert_eq!(point("12.50").unwrap(), "12.5");
        assert_eq!(point(" -0.001 ").unwrap(), "-0.001");
        assert_eq!(point("1e-7").unwrap(), "0.0000001");
        assert!(matches!(point("1,5"), Err(AmountError::WrongMark { .. })));
        assert!(matches!(point("1 000"), Err(AmountError::NotAFigure(_))));
        assert!(matches!(point("12 kg"), Err(AmountError::NotAFigure(_))));
        assert!(matches!(point("."), Err(AmountError::NotAFigure(_))));
        assert!(matches!(point(""), Err(AmountError::NotAFigure(_))));
        assert!(matches!(point(&"9".repeat(200)), Err(AmountError::TooLong(200))));
        assert!(matches!(point(&"9".repeat(39)), Err(AmountError::NotAFigure(_))));
        assert_eq!(parse_decimal("1,5", DecimalMark::Comma).unwrap().to_string(), "1.5");
        assert!(parse_decimal("1.5", DecimalMark::Comma).is_err());
    }

    #[test]
    fn more_digits_than_can_be_kept_are_refused_not_rounded() {
        assert!(parse_decimal("0.12345678901234567890123456789012", DecimalMark::Point).is_err());
    }
}
