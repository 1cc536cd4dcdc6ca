//! Figures with their units, as people write them in a cell: read, never rounded.

use kernel::{
    AmountError, Currency, DecimalMark, Density, Dimension, Percent, Quantity, Unit, parse_decimal,
    quantity::split_figure,
};
use rust_decimal::Decimal;

use crate::names::shown;

/// A figure and whatever stands behind it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Written {
    /// The figure.
    pub figure: Decimal,
    /// The unit as written; empty when there is none.
    pub unit: String,
}

/// Reads a figure and the text behind it.
pub(crate) fn written(text: &str, mark: DecimalMark) -> Result<Written, String> {
    let (figure, unit) = split_figure(text);
    if figure.is_empty() {
        return Err(format!("“{}” does not begin with a figure", shown(text)));
    }
    let figure = parse_decimal(figure, mark).map_err(|error| match error {
        // Written by hand the whole cell says more than the part that looked like a figure.
        AmountError::NotAFigure(_) => format!("“{}” is not a figure", shown(text)),
        other => other.to_string(),
    })?;
    Ok(Written { figure, unit: unit.to_owned() })
}

/// A unit without spaces in lower case, to compare.
fn unit_key(unit: &str) -> String {
    unit.chars().filter(|c| !c.is_whitespace()).flat_map(char::to_lowercase).collect()
}

/// The kinds of percent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum PercentKind {
    /// No more than the sign.
    Bare,
    /// % w/w.
    WeightInWeight,
    /// % w/v.
    WeightInVolume,
    /// % v/v.
    VolumeInVolume,
}

impl Written {
    /// A percent; the sign may be left out.
    pub fn percent(&self) -> Result<Percent, String> {
        match unit_key(&self.unit).as_str() {
            "" | "%" | "%w/w" => Percent::from_percent(self.figure).map_err(told),
            _ => Err(format!("“{}” stands where % is needed", shown(&self.unit))),
        }
    }

    /// A density; kg/L when nothing else is said.
    pub fn density(&self) -> Result<Density, String> {
        let figure = match unit_key(&self.unit).as_str() {
            "" | "kg/l" | "g/ml" | "g/cm3" | "g/cm³" | "kg/dm3" | "kg/dm³" => Some(self.figure),
            "kg/m3" | "kg/m³" | "g/l" => thousandth(self.figure),
            "lb/gal" | "[lb_av]/[gal_us]" => {
                let density = Density::from_pounds_per_gallon(self.figure);
                return density.and_then(Density::require_plausible).map_err(told);
            }
            _ => {
                let unit = shown(&self.unit);
                return Err(format!("“{unit}” is not a unit of density (kg/L, g/mL, kg/m3, lb/gal)"));
            }
        };
        let figure = figure.ok_or_else(|| format!("{} has too many digits", self.figure))?;
        Density::from_kg_per_litre(figure).and_then(Density::require_plausible).map_err(told)
    }

    /// Which percent it is, when it is one: of a formula by volume it has to be said.
    pub fn percent_kind(&self) -> Option<PercentKind> {
        match unit_key(&self.unit).as_str() {
            "%" => Some(PercentKind::Bare),
            "%w/w" | "%m/m" => Some(PercentKind::WeightInWeight),
            "%w/v" | "%m/v" => Some(PercentKind::WeightInVolume),
            "%v/v" => Some(PercentKind::VolumeInVolume),
            _ => None,
        }
    }

    /// Whether it is in parts by weight.
    pub fn is_parts(&self) -> bool {
        matches!(unit_key(&self.unit).as_str(), "part" | "parts" | "pbw")
    }

    /// A temperature in °C that a liquid can have in a workshop or a flash point test.
    pub fn celsius(&self) -> Result<Decimal, String> {
        if !matches!(unit_key(&self.unit).as_str(), "" | "°c" | "c" | "cel" | "℃") {
            return Err(format!("“{}” stands where °C is needed", shown(&self.unit)));
        }
        if self.figure < Decimal::from(-100) || self.figure > Decimal::from(1000) {
            return Err(format!("{} °C is out of range: -100 to 1000 °C", self.figure));
        }
        Ok(self.figure)
    }

    /// A mass, a volume or a count; `default` is the unit of a bare figure.
    pub fn quantity(&self, default: Option<Unit>) -> Result<Quantity, String> {
        let unit = match (self.unit.as_str(), default) {
            ("", Some(unit)) => unit,
            ("", None) => return Err(told(AmountError::UnitMissing(self.figure.to_string()))),
            (unit, _) => Unit::parse(unit).map_err(told)?,
        };
        Quantity::new(self.figure, unit).map_err(told)
    }
}

#[expect(clippy::needless_pass_by_value, reason = "it stands in map_err")]
fn told(error: AmountError) -> String {
    error.to_string()
}

/// A thousandth, exactly.
fn thousandth(figure: Decimal) -> Option<Decimal> {
    let mut figure = figure;
    figure.set_scale(figure.scale().checked_add(3)?).ok()?;
    Some(figure.normalize())
}

/// A quantity above nought.
pub(crate) fn positive(quantity: Quantity) -> Result<Quantity, String> {
    if quantity.is_positive() {
        return Ok(quantity);
    }
    let what = match quantity.dimension() {
        Dimension::Mass => "a mass",
        Dimension::Volume => "a volume",
        Dimension::Count => "a count",
    };
    Err(told(AmountError::NotPositive(what)))
}

/// Money as written: the figure, not below nought, and the currency where it stands beside it (`41.50`, `41.50 EUR`, `€41.50`).
pub(crate) fn money(text: &str, mark: DecimalMark) -> Result<(Decimal, Option<Currency>), String> {
    let text = text.trim();
    let (before, rest) = match text.find(|c: char| c.is_ascii_digit() || matches!(c, '-' | '+' | '.' | ',')) {
        Some(at) => text.split_at(at),
        None => return Err(format!("“{}” does not begin with a figure", shown(text))),
    };
    let Written { figure, unit } = written(rest, mark)?;
    let currency = match (before.trim(), unit.as_str()) {
        ("", "") => None,
        (sign, "") | ("", sign) => Some(currency_of(sign)?),
        _ => return Err(format!("“{}” has a currency on either side", shown(text))),
    };
    if figure < Decimal::ZERO {
        return Err(told(AmountError::Negative("money")));
    }
    Ok((figure, currency))
}

fn currency_of(sign: &str) -> Result<Currency, String> {
    match sign {
        "€" => Ok(Currency::EUR),
        "£" => Ok(Currency::GBP),
        code => code.parse().map_err(|_| told(AmountError::UnknownCurrency(shown(code)))),
    }
}

/// What a price or freight is of: a unit (`kg`), or so many of it (`1000 pcs`).
pub(crate) fn per_quantity(text: &str, mark: DecimalMark) -> Result<Quantity, String> {
    if text.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '-' | '+' | '.' | ',')) {
        return written(text, mark)?.quantity(None).and_then(positive);
    }
    let unit = Unit::parse(text).map_err(told)?;
    Quantity::new(Decimal::ONE, unit).map_err(told)
}

/// A whole number from 1 up.
pub(crate) fn whole(text: &str, mark: DecimalMark) -> Result<u64, String> {
    let figure = parse_decimal(text, mark).map_err(told)?;
    if !figure.is_integer() || figure <= Decimal::ZERO {
        return Err(format!("“{}” is not a whole number from 1 up", shown(text)));
    }
    u64::try_from(figure).map_err(|_| format!("“{}” is too large", shown(text)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Written, String> {
        written(text, DecimalMark::Point)
    }

    #[test]
    fn densities() {
        let density = |text| read(text).and_then(|w| w.density()).map(|d| d.to_string());
        assert_eq!(density("1.06").as_deref(), Ok("1.06 kg/L"));
        assert_eq!(density("1.06 g/mL").as_deref(), Ok("1.06 kg/L"));
        assert_eq!(density("1060 kg/m3").as_deref(), Ok("1.06 kg/L"));
        assert_eq!(density("13").unwrap_err(), "a density is out of range: at most 8 kg/L");
        assert_eq!(density("0").unwrap_err(), "a density must be above nought");
        assert_eq!(density("1 kg").unwrap_err(), "“kg” is not a unit of density (kg/L, g/mL, kg/m3, lb/gal)");
        // NIST Handbook 44 (2014), appendix C: 1 lb = 0.453 592 37 kg, 1 gal (US) = 3.785 411 784 L.
        assert_eq!(density("8.345404452 lb/gal").as_deref(), Ok("1 kg/L"));
        assert_eq!(density("10 [lb_av]/[gal_us]").as_deref(), Ok("1.198264273 kg/L"));
    }

    #[test]
    fn percents_and_temperatures() {
        let percent = |text| read(text).and_then(|w| w.percent()).map(|p| p.to_string());
        assert_eq!(percent("4.5").as_deref(), Ok("4.5 %"));
        assert_eq!(percent("4.5%").as_deref(), Ok("4.5 %"));
        assert_eq!(percent("4.5 % w/w").as_deref(), Ok("4.5 %"));
        assert_eq!(percent("4.5 kg").unwrap_err(), "“kg” stands where % is needed");
        let celsius = |text| read(text).and_then(|w| w.celsius()).map(|c| c.to_string());
        assert_eq!(celsius("12 °C").as_deref(), Ok("12"));
        assert_eq!(celsius("-18 Cel").as_deref(), Ok("-18"));
        assert_eq!(celsius("54 °F").unwrap_err(), "“°F” stands where °C is needed");
    }

    #[test]
    fn money_with_and_without_its_currency() {
        let read = |text| {
            money(text, DecimalMark::Point).map(|(figure, currency)| {
                format!("{figure} {}", currency.map_or_else(|| "-".to_owned(), |c| c.to_string()))
            })
        };
        assert_eq!(read("41.50").as_deref(), Ok("41.5 -"));
        assert_eq!(read("41.50 EUR").as_deref(), Ok("41.5 EUR"));
        assert_eq!(read("41.50eur").as_deref(), Ok("41.5 EUR"));
        assert_eq!(read("EUR 41.50").as_deref(), Ok("41.5 EUR"));
        assert_eq!(read("£41.50").as_deref(), Ok("41.5 GBP"));
        assert_eq!(read("$41.50").unwrap_err(), "“$” is not an ISO 4217 currency code");
        assert_eq!(read("-1").unwrap_err(), "money must not be below nought");
        assert_eq!(read("EUR 1 GBP").unwrap_err(), "“EUR 1 GBP” has a currency on either side");
        assert_eq!(read("cheap").unwrap_err(), "“cheap” does not begin with a figure");
        assert_eq!(
            money("1.5", DecimalMark::Comma).unwrap_err(),
            "“1.5” has a decimal point where a decimal comma was agreed"
        );
    }

    #[test]
    fn whole_numbers() {
        let whole = |text| whole(text, DecimalMark::Point);
        assert_eq!(whole("12"), Ok(12));
        assert!(whole("1.5").is_err());
        assert!(whole("0").is_err());
        assert_eq!(whole("99999999999999999999999").unwrap_err(), "“99999999999999999999999” is too large");
    }
}
