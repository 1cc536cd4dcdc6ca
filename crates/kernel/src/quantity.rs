//! A quantity of something: a mass, a volume or a count, read from text with its unit.

use serde::{Deserialize, Serialize};
use std::fmt;

use crate::{AmountError, Count, DecimalMark, Density, Exact, Mass, Unit, Volume, parse_decimal};

/// What a quantity measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Dimension {
    /// Kilograms.
    Mass,
    /// Litres.
    Volume,
    /// Pieces.
    Count,
}

impl Dimension {
    /// For messages.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Mass => "mass",
            Self::Volume => "volume",
            Self::Count => "count",
        }
    }

    /// The unit figures of this dimension are written in: kg, L or pcs.
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Mass => "kg",
            Self::Volume => "L",
            Self::Count => "pcs",
        }
    }
}

/// A mass, a volume or a count. Kilograms and litres never add; a density is needed.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Quantity {
    /// Kilograms.
    Mass(Mass),
    /// Litres.
    Volume(Volume),
    /// Pieces.
    Count(Count),
}

impl Quantity {
    /// So much of a unit. A figure in kg, L or pieces and their decimal parts must be kept exactly or is refused; pounds, ounces
    /// and gallons, whose conversion seldom ends within what is kept, are rounded half to even to the last kept place.
    ///
    /// # Errors
    /// Those of the scaled types.
    pub fn new(figure: rust_decimal::Decimal, unit: Unit) -> Result<Self, AmountError> {
        let exact = Exact::from(figure) * unit.factor();
        let decimal_unit = !matches!(
            unit,
            Unit::Ounce
                | Unit::Pound
                | Unit::FluidOunceUs
                | Unit::PintUs
                | Unit::QuartUs
                | Unit::GallonUs
                | Unit::FluidOunceImperial
                | Unit::PintImperial
                | Unit::GallonImperial
        );
        if decimal_unit && let Some(base) = exact.to_decimal_exactly() {
            return Ok(match unit.dimension() {
                Dimension::Mass => Self::Mass(Mass::from_kg(base)?),
                Dimension::Volume => Self::Volume(Volume::from_litres(base)?),
                Dimension::Count => Self::Count(Count::from_pieces(base)?),
            });
        }
        Self::from_exact_half_even(&exact, unit.dimension())
    }

    /// From kilograms, litres or pieces, rounded half to even to the last kept place.
    ///
    /// # Errors
    /// [`AmountError::OutOfRange`].
    pub fn from_exact_half_even(value: &Exact, dimension: Dimension) -> Result<Self, AmountError> {
        Ok(match dimension {
            Dimension::Mass => Self::Mass(Mass::from_exact_half_even(value)?),
            Dimension::Volume => Self::Volume(Volume::from_exact_half_even(value)?),
            Dimension::Count => Self::Count(Count::from_exact_half_even(value)?),
        })
    }

    /// From the scaled integer of a dimension, as the database holds it.
    pub const fn from_raw(raw: i64, dimension: Dimension) -> Self {
        match dimension {
            Dimension::Mass => Self::Mass(Mass::from_micrograms(raw)),
            Dimension::Volume => Self::Volume(Volume::from_nanolitres(raw)),
            Dimension::Count => Self::Count(Count::from_thousandths(raw)),
        }
    }

    /// The scaled integer, as the database holds it.
    pub const fn raw(self) -> i64 {
        match self {
            Self::Mass(m) => m.micrograms(),
            Self::Volume(v) => v.nanolitres(),
            Self::Count(c) => c.thousandths(),
        }
    }

    /// Reads `25 kg`, `1 [gal_us]`, `1000 pcs`; `default` is the unit of a bare figure.
    ///
    /// # Errors
    /// Those of [`parse_decimal`] and [`Unit::parse`]; [`AmountError::UnitMissing`] for a bare figure without a default.
    pub fn parse(text: &str, default: Option<Unit>, mark: DecimalMark) -> Result<Self, AmountError> {
        let (figure, unit) = split_figure(text);
        let figure = parse_decimal(figure, mark)?;
        let unit = match (unit, default) {
            ("", Some(unit)) => unit,
            ("", None) => return Err(AmountError::UnitMissing(text.trim().chars().take(40).collect())),
            (unit, _) => Unit::parse(unit)?,
        };
        Self::new(figure, unit)
    }

    /// What it measures.
    pub const fn dimension(self) -> Dimension {
        match self {
            Self::Mass(_) => Dimension::Mass,
            Self::Volume(_) => Dimension::Volume,
            Self::Count(_) => Dimension::Count,
        }
    }

    /// Kilograms, litres or pieces, exactly.
    pub fn to_exact(self) -> Exact {
        match self {
            Self::Mass(m) => m.to_exact(),
            Self::Volume(v) => v.to_exact(),
            Self::Count(c) => c.to_exact(),
        }
    }

    /// Kilograms, litres or pieces.
    pub fn figure(self) -> rust_decimal::Decimal {
        match self {
            Self::Mass(m) => m.kg(),
            Self::Volume(v) => v.litres(),
            Self::Count(c) => c.pieces(),
        }
    }

    /// Whether this is above nought.
    pub const fn is_positive(self) -> bool {
        self.raw() > 0
    }

    /// The mass in kilograms, through the density where this is a volume; `None` where it has none (a count, or a volume without
    /// a density).
    pub fn mass_kg(self, density: Option<Density>) -> Option<Exact> {
        match self {
            Self::Mass(m) => Some(m.to_exact()),
            Self::Volume(v) => density.map(|d| d.mass_of(&v.to_exact())),
            Self::Count(_) => None,
        }
    }
}

/// Splits `25 kg` into the figure and the unit. The unit begins at the first character no figure has.
pub fn split_figure(text: &str) -> (&str, &str) {
    let text = text.trim();
    // An `e` belongs to the figure only when digits follow it, so `1 each` keeps its unit.
    let end = text
        .char_indices()
        .find(|(at, c)| {
            let exponent = matches!(c, 'e' | 'E')
                && text.get(at + 1..).is_some_and(|rest| {
                    rest.trim_start_matches(['+', '-']).starts_with(|c: char| c.is_ascii_digit())
                });
            !(c.is_ascii_digit() || matches!(c, '+' | '-' | '.' | ',') || exponent)
        })
        .map_or(text.len(), |(at, _)| at);
    let (figure, unit) = text.split_at(end);
    (figure.trim(), unit.trim())
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Mass(m) => m.fmt(f),
            Self::Volume(v) => v.fmt(f),
            Self::Count(c) => c.fmt(f),
        }
    }
}

impl fmt::Debug for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, expected: &str) {
        let shown = match Quantity::parse(text, None, DecimalMark::Point) {
            Ok(quantity) => quantity.to_string(),
            Err(error) => error.to_string(),
        };
        assert_eq!(shown, expected, "{text}");
    }

    #[test]
    fn quantities_as_people_write_them() {
        check("25 kg", "25 kg");
        check("25kg", "25 kg");
        check("1 [gal_us]", "3.785411784 L");
        check("5 l", "5 L");
        check("1e3 g", "1 kg");
        check("1000 pcs", "1000 pcs");
        check("1 each", "1 pcs");
        check("1 lb", "0.45359237 kg");
        check("1 oz", "0.028349523 kg");
        check("25", "“25” needs a unit");
        check(
            "25 bags",
            "“bags” is not a known unit (use kg, g, mg, lb, oz, L, mL, gal, fl oz, pcs, % or their UCUM codes)",
        );
        check("0.0001 mg", "a mass is kept to 9 decimal places of kg; “0.0000000001” has more");
        check("kg", "“” is not a figure");
        check("", "“” is not a figure");
        check("12,5 kg", "“12,5” has a decimal comma where a decimal point was agreed");
    }

    /// A figure with a decimal comma reads the same once that is agreed.
    #[test]
    fn decimal_comma() {
        let quantity = Quantity::parse("12,5 kg", None, DecimalMark::Comma).unwrap();
        assert_eq!(quantity.to_string(), "12.5 kg");
    }
}
