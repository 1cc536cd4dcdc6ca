//! Values as they are written on the command line, each with an error that says what was expected.

use chrono::NaiveDate;
use domain::{dates::parse_date, people::Capability};
use engine::basis::{Basis, UnknownBasis};
use exchange::SheetKind;
use kernel::{AmountError, DecimalMark, Mass, Quantity, ids::TokenId};

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
