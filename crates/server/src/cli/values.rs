//! Values as they are written on the command line, each with an error that says what was expected.

use chrono::NaiveDate;
use domain::{dates::parse_date, people::Capability};
use engine::{
    OrderBasis,
    basis::{Basis, UnknownBasis},
    pricing::{Deduction, DeductionOf, Earning},
};
use exchange::SheetKind;
use kernel::{
    AmountError, Currency, DecimalMark, Mass, Money, Percent, Quantity, ids::TokenId, parse_decimal,
};
use std::num::NonZeroU32;

use super::Capabilities;

/// A formula, and perhaps a version of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FormulaName {
    /// The formula's code.
    pub code: String,
    /// The version's number.
    pub version: Option<u32>,
}

/// `2026-03-31`.
pub fn date(text: &str) -> Result<NaiveDate, String> {
    parse_date(text).map_err(|error| error.to_string())
}

/// `200 kg`, above nought.
pub fn mass(text: &str) -> Result<Mass, String> {
    let quantity = Quantity::parse(text, None, DecimalMark::Point).map_err(|error| error.to_string())?;
    match quantity {
        Quantity::Mass(mass) => mass.require_positive().map_err(|error| error.to_string()),
        other => Err(AmountError::WrongDimension {
            text: text.trim().to_owned(),
            found: other.dimension().name(),
            expected: "mass",
        }
        .to_string()),
    }
}

/// So much of a material stated to be ordered at once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StatedOrderName {
    /// The material's code.
    pub material: String,
    /// How much.
    pub quantity: Quantity,
}

/// `batch`, `3 batches`, `year`, `4 orders a year`.
pub fn order(text: &str) -> Result<OrderBasis, String> {
    let wrong = || format!("“{text}” is not a way of ordering: batch, 3 batches, year, 4 orders a year");
    let words: Vec<&str> = text.split_whitespace().collect();
    let count = |number: &str| number.parse::<NonZeroU32>().map_err(|_| wrong());
    match words.as_slice() {
        ["batch"] => Ok(OrderBasis::ForBatch),
        [number, "batch" | "batches"] => Ok(OrderBasis::ForBatches(count(number)?)),
        ["year"] => Ok(OrderBasis::YEAR),
        [number, "order" | "orders", "a", "year"] => Ok(OrderBasis::ForYear { orders: count(number)? }),
        _ => Err(wrong()),
    }
}

/// `SLES70 880 kg`.
pub fn stated_order(text: &str) -> Result<StatedOrderName, String> {
    let (material, quantity) = text
        .trim()
        .split_once(char::is_whitespace)
        .ok_or_else(|| format!("“{text}” is not a code and a quantity: write SLES70 880 kg"))?;
    let quantity = Quantity::parse(quantity, None, DecimalMark::Point).map_err(|error| error.to_string())?;
    if !quantity.is_positive() {
        return Err("an order must be above nought".to_owned());
    }
    Ok(StatedOrderName { material: material.to_owned(), quantity })
}

/// `12.5%`, `12.5 %` or `12.5`.
pub fn percent(text: &str) -> Result<Percent, String> {
    let figure = text.trim().trim_end_matches('%').trim();
    let figure = parse_decimal(figure, DecimalMark::Point).map_err(|error| error.to_string())?;
    Percent::from_percent(figure).map_err(|error| error.to_string())
}

/// `4.00 GBP`.
pub fn money(text: &str) -> Result<Money, String> {
    let (amount, currency) = text
        .trim()
        .rsplit_once(char::is_whitespace)
        .ok_or_else(|| format!("“{text}” is not an amount and a currency: write 4.00 GBP"))?;
    let amount = parse_decimal(amount.trim(), DecimalMark::Point).map_err(|error| error.to_string())?;
    let currency: Currency = currency.parse().map_err(|error: AmountError| error.to_string())?;
    let money = Money::from_decimal(amount, currency).map_err(|error| error.to_string())?;
    if money.micros() < 0 { Err("an amount of money must not be below nought".to_owned()) } else { Ok(money) }
}

/// `4 mL`.
pub fn quantity(text: &str) -> Result<Quantity, String> {
    Quantity::parse(text, None, DecimalMark::Point).map_err(|error| error.to_string())
}

/// `margin 40%` or `markup 66%`.
pub fn earning(text: &str) -> Result<Earning, String> {
    let earning = match text.trim().split_once(char::is_whitespace) {
        Some(("margin", figure)) => Earning::Margin(percent(figure)?),
        Some(("markup", figure)) => Earning::Markup(percent(figure)?),
        _ => {
            return Err(format!(
                "“{text}” does not say whether it is of the price or of the cost: say margin 40% or markup 66%"
            ));
        }
    };
    earning.require_sound().map_err(|error| error.to_string())
}

/// `rebate 3%` (of the list price), or `cash discount 2% of what is left`.
pub fn deduction(text: &str) -> Result<Deduction, String> {
    const LEFT: &str = "of what is left";
    let text = text.trim();
    let (text, of) = match text.strip_suffix(LEFT) {
        Some(rest) => (rest.trim_end(), DeductionOf::WhatIsLeft),
        None => (text, DeductionOf::ListPrice),
    };
    let wrong = || format!("“{text}” is not a name and a percent: write rebate 3%");
    let text = text.trim_end_matches('%').trim_end();
    let (name, figure) = text.rsplit_once(char::is_whitespace).ok_or_else(wrong)?;
    let name = domain::text::name("a deduction", name).map_err(|error| error.to_string())?;
    let percent = percent(figure)?.require_share().map_err(|error| error.to_string())?;
    Ok(Deduction { name, percent, of })
}

/// `HW-01` or `HW-01@2`.
pub fn formula_name(text: &str) -> Result<FormulaName, String> {
    let (code, version) = match text.rsplit_once('@') {
        None => (text, None),
        Some((code, number)) => {
            let parsed = number.parse::<u32>().ok().filter(|number| *number > 0);
            let version = parsed.ok_or_else(|| format!("“{number}” is not a version: write HW-01@2"))?;
            (code, Some(version))
        }
    };
    if code.trim().is_empty() {
        return Err("a formula is named by its code: HW-01".to_owned());
    }
    Ok(FormulaName { code: code.trim().to_owned(), version })
}

/// `point` or `comma`.
pub fn decimal_mark(text: &str) -> Result<DecimalMark, String> {
    match text.trim() {
        "point" => Ok(DecimalMark::Point),
        "comma" => Ok(DecimalMark::Comma),
        other => Err(format!("“{other}” is neither point nor comma")),
    }
}

/// A basis, by its words or with hyphens.
pub fn basis(text: &str) -> Result<Basis, String> {
    text.parse().map_err(|error: UnknownBasis| error.to_string())
}

/// The name of a sheet.
pub fn sheet_kind(text: &str) -> Result<SheetKind, String> {
    SheetKind::named(text).ok_or_else(|| {
        let known: Vec<&str> = SheetKind::ALL.iter().map(|kind| kind.name()).collect();
        format!("“{text}” is not a kind of sheet: {}", known.join(", "))
    })
}

/// `look,plan-and-make`, or `all`.
pub fn capabilities(text: &str) -> Result<Capabilities, String> {
    if text.trim() == "all" {
        return Ok(Capabilities(Capability::ALL.into_iter().collect()));
    }
    let parsed = text.split(',').map(str::trim).filter(|name| !name.is_empty()).map(|name| {
        Capability::parse(name).ok_or_else(|| {
            let known: Vec<&str> = Capability::ALL.iter().map(|capability| capability.name()).collect();
            format!("“{name}” is not a right: {}, or all", known.join(", "))
        })
    });
    let list = parsed.collect::<Result<std::collections::BTreeSet<_>, String>>()?;
    if list.is_empty() { Err("name at least one right, or all".to_owned()) } else { Ok(Capabilities(list)) }
}

/// The id of a token.
pub fn token_id(text: &str) -> Result<TokenId, String> {
    text.trim()
        .parse::<uuid::Uuid>()
        .map(TokenId::from)
        .map_err(|_| format!("“{text}” is not the id of a token; `stillroom token list` shows them"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn masses() {
        assert_eq!(mass("200 kg").map(|m| m.to_string()), Ok("200 kg".to_owned()));
        assert_eq!(mass("200"), Err("“200” needs a unit".to_owned()));
        assert_eq!(mass("0 kg"), Err("a mass must be above nought".to_owned()));
        assert!(mass("2,5 kg").is_err());
        assert!(mass(&"9".repeat(200)).is_err());
    }

    #[test]
    fn formulas_and_their_versions() {
        assert_eq!(formula_name("HW-01@2"), Ok(FormulaName { code: "HW-01".to_owned(), version: Some(2) }));
        assert_eq!(formula_name("HW-01"), Ok(FormulaName { code: "HW-01".to_owned(), version: None }));
        for wrong in ["HW-01@", "HW-01@0", "@2", "HW@-1"] {
            assert!(formula_name(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn rights() {
        let two = capabilities("look, buy").unwrap().0;
        assert_eq!(two.into_iter().collect::<Vec<_>>(), [Capability::Look, Capability::Buy]);
        assert_eq!(capabilities("all").unwrap().0.len(), Capability::ALL.len());
        assert!(capabilities("").is_err());
    }
}
