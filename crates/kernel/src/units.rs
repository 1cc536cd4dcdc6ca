//! Units people write, with their UCUM codes and exact factors.
//!
//! Factors follow from the definitions 1 lb = 0.453 592 37 kg, US gallon = 231 in³ with 1 in = 25.4 mm, and imperial gallon =
//! 4.546 09 L (NIST Special Publication 811, 2008, appendix B; NIST Handbook 44, appendix C).

use serde::{Deserialize, Serialize};

use crate::{AmountError, Dimension, Exact};

/// A unit of mass, volume or count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[expect(missing_docs, reason = "each is what its name says; `symbol` and `ucum` give its written forms")]
pub enum Unit {
    Microgram,
    Milligram,
    Gram,
    Kilogram,
    Tonne,
    Ounce,
    Pound,
    Millilitre,
    Litre,
    CubicMetre,
    FluidOunceUs,
    PintUs,
    QuartUs,
    GallonUs,
    FluidOunceImperial,
    PintImperial,
    GallonImperial,
    Piece,
}

/// Name, UCUM code, symbol for people, other spellings in lower case, dimension, factor to kg, L or pieces as `n / 10^d`.
type Row = (Unit, &'static str, &'static str, &'static [&'static str], Dimension, i128, u32);

const UNITS: &[Row] = &[
    (Unit::Microgram, "ug", "µg", &["mcg", "μg"], Dimension::Mass, 1, 9),
    (Unit::Milligram, "mg", "mg", &[], Dimension::Mass, 1, 6),
    (Unit::Gram, "g", "g", &["gram", "grams"], Dimension::Mass, 1, 3),
    (Unit::Kilogram, "kg", "kg", &["kilo", "kilogram", "kilograms"], Dimension::Mass, 1, 0),
    (Unit::Tonne, "t", "t", &["tonne", "tonnes"], Dimension::Mass, 1000, 0),
    (Unit::Ounce, "[oz_av]", "oz", &[], Dimension::Mass, 28_349_523_125, 12),
    (Unit::Pound, "[lb_av]", "lb", &["lbs"], Dimension::Mass, 45_359_237, 8),
    (Unit::Millilitre, "mL", "mL", &["ml"], Dimension::Volume, 1, 3),
    (Unit::Litre, "L", "L", &["l", "litre", "litres", "liter", "liters"], Dimension::Volume, 1, 0),
    (Unit::CubicMetre, "m3", "m³", &[], Dimension::Volume, 1000, 0),
    (Unit::FluidOunceUs, "[foz_us]", "fl oz", &["floz", "us fl oz"], Dimension::Volume, 295_735_295_625, 13),
    (Unit::PintUs, "[pt_us]", "pt (US)", &["us pt"], Dimension::Volume, 473_176_473, 9),
    (Unit::QuartUs, "[qt_us]", "qt (US)", &["us qt"], Dimension::Volume, 946_352_946, 9),
    (
        Unit::GallonUs,
        "[gal_us]",
        "gal",
        &["us gal", "gallon", "gallons"],
        Dimension::Volume,
        3_785_411_784,
        9,
    ),
    (Unit::FluidOunceImperial, "[foz_br]", "fl oz (imp)", &["imp fl oz"], Dimension::Volume, 284_130_625, 10),
    (Unit::PintImperial, "[pt_br]", "pt (imp)", &["imp pt"], Dimension::Volume, 56_826_125, 8),
    (Unit::GallonImperial, "[gal_br]", "gal (imp)", &["imp gal"], Dimension::Volume, 454_609, 5),
    (
        Unit::Piece,
        "{each}",
        "pcs",
        &["pc", "pce", "pieces", "piece", "each", "ea", "1", "unit", "units"],
        Dimension::Count,
        1,
        0,
    ),
];

impl Unit {
    /// All units, in the order they are offered.
    pub fn all() -> impl Iterator<Item = Self> {
        UNITS.iter().map(|row| row.0)
    }

    fn row(self) -> Option<&'static Row> {
        UNITS.iter().find(|row| row.0 == self)
    }

    /// The UCUM code (Unified Code for Units of Measure 2.2).
    pub fn ucum(self) -> &'static str {
        self.row().map_or("", |row| row.1)
    }

    /// The symbol for people.
    pub fn symbol(self) -> &'static str {
        self.row().map_or("", |row| row.2)
    }

    /// What it measures.
    pub fn dimension(self) -> Dimension {
        self.row().map_or(Dimension::Count, |row| row.4)
    }

    /// Kilograms, litres or pieces in one of it, exactly.
    pub fn factor(self) -> Exact {
        self.row().map_or(Exact::ONE, |row| Exact::scaled(row.5, row.6))
    }

    /// Reads a UCUM code, a symbol or a usual spelling. `gal`, `fl oz`, `pt` and `qt` without more are US measures.
    ///
    /// # Errors
    /// [`AmountError::UnknownUnit`].
    pub fn parse(text: &str) -> Result<Self, AmountError> {
        let text = text.trim();
        let lower = text.to_lowercase();
        UNITS
            .iter()
            .find(|row| row.1 == text || row.2 == text)
            .or_else(|| {
                UNITS.iter().find(|row| {
                    row.1.to_lowercase() == lower
                        || row.2.to_lowercase() == lower
                        || row.3.contains(&lower.as_str())
                })
            })
            .map(|row| row.0)
            .ok_or_else(|| AmountError::UnknownUnit(text.chars().take(30).collect()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST SP 811 (2008), appendix B, and NIST Handbook 44 (2014), appendix C. The handbook prints the UK fluid ounce as
    /// 28.412 mL; the exact value is 28.413 0625 mL.
    #[test]
    fn exact_factors() {
        let check = |text: &str, factor: &str| {
            let unit = Unit::parse(text).unwrap();
            assert_eq!(unit.factor().to_decimal_exactly().unwrap().to_string(), factor, "{text}");
        };
        check("[lb_av]", "0.45359237");
        check("oz", "0.028349523125");
        check("[gal_us]", "3.785411784");
        check("[qt_us]", "0.946352946");
        check("[pt_us]", "0.473176473");
        check("fl oz", "0.0295735295625");
        check("[gal_br]", "4.54609");
        check("[pt_br]", "0.56826125");
        check("[foz_br]", "0.0284130625");
        check("ML", "0.001");
        check("Pcs", "1");
        assert!(Unit::parse("stone's throw").is_err());
    }

    #[test]
    fn written_forms_are_unambiguous() {
        for unit in Unit::all() {
            assert_eq!(Unit::parse(unit.ucum()), Ok(unit));
            assert_eq!(Unit::parse(unit.symbol()), Ok(unit));
        }
    }
}
