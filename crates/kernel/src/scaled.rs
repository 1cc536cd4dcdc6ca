//! Scaled integers: mass, volume, count, density and percent, each a whole number of its smallest kept unit.

use rust_decimal::Decimal;
use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};
use std::fmt;

use crate::{AmountError, DecimalMark, Exact, Unit, limits::DENSITY_KG_PER_L_MAX, parse_decimal};

macro_rules! scaled {
    (
        $(#[$doc:meta])*
        $name:ident, what $what:literal, unit $unit:literal, places $places:literal, raw $raw:ident / $from_raw:ident,
        base $base:ident / $from_base:ident
    ) => {
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
        pub struct $name(i64);

        impl $name {
            /// Nought.
            pub const ZERO: Self = Self(0);
            /// Decimal places kept of the unit this is written in.
            pub const PLACES: u32 = $places;
            /// The unit figures of this kind are written in.
            pub const UNIT: &'static str = $unit;

            /// From the scaled integer, as the database holds it.
            pub const fn $from_raw(raw: i64) -> Self {
                Self(raw)
            }

            /// The scaled integer, as the database holds it.
            pub const fn $raw(self) -> i64 {
                self.0
            }

            /// From a figure in the unit this is written in; refused, never rounded, when it has more places than are kept.
            ///
            /// # Errors
            /// [`AmountError::TooManyPlaces`] or [`AmountError::OutOfRange`].
            pub fn $from_base(figure: Decimal) -> Result<Self, AmountError> {
                scale_exactly(figure, $places, $what, $unit).map(Self)
            }

            /// The figure in the unit this is written in.
            pub fn $base(self) -> Decimal {
                Decimal::new(self.0, $places).normalize()
            }

            /// The same as an exact fraction.
            pub fn to_exact(self) -> Exact {
                Exact::scaled(i128::from(self.0), $places)
            }

            /// From an exact fraction, rounded half to even to what is kept.
            ///
            /// # Errors
            /// [`AmountError::OutOfRange`].
            pub fn from_exact_half_even(value: &Exact) -> Result<Self, AmountError> {
                value.round_half_even_scaled($places).map(Self).map_err(|_| out_of_range($places, $what, $unit))
            }

            /// From an exact fraction, rounded down to what is kept: for what can be had at most.
            ///
            /// # Errors
            /// [`AmountError::OutOfRange`].
            pub fn from_exact_down(value: &Exact) -> Result<Self, AmountError> {
                let raw = (value * &Exact::whole(10_i128.pow($places))).floor()?;
                i64::try_from(raw).map(Self).map_err(|_| out_of_range($places, $what, $unit))
            }

            /// From an exact fraction, rounded up to what is kept: for what is needed at least.
            ///
            /// # Errors
            /// [`AmountError::OutOfRange`].
            pub fn from_exact_up(value: &Exact) -> Result<Self, AmountError> {
                let raw = (value * &Exact::whole(10_i128.pow($places))).ceil()?;
                i64::try_from(raw).map(Self).map_err(|_| out_of_range($places, $what, $unit))
            }

            /// The sum.
            ///
            /// # Errors
            /// [`AmountError::Overflow`].
            pub fn checked_add(self, other: Self) -> Result<Self, AmountError> {
                self.0.checked_add(other.0).map(Self).ok_or(AmountError::Overflow($what))
            }

            /// The difference.
            ///
            /// # Errors
            /// [`AmountError::Overflow`].
            pub fn checked_sub(self, other: Self) -> Result<Self, AmountError> {
                self.0.checked_sub(other.0).map(Self).ok_or(AmountError::Overflow($what))
            }

            /// Whether this is nought.
            pub const fn is_zero(self) -> bool {
                self.0 == 0
            }

            /// Whether this is above nought.
            pub const fn is_positive(self) -> bool {
                self.0 > 0
            }

            /// Whether this is below nought.
            pub const fn is_negative(self) -> bool {
                self.0 < 0
            }

            /// This, when it is above nought.
            ///
            /// # Errors
            /// [`AmountError::NotPositive`].
            pub fn require_positive(self) -> Result<Self, AmountError> {
                if self.0 > 0 { Ok(self) } else { Err(AmountError::NotPositive($what)) }
            }

            /// This, when it is not below nought.
            ///
            /// # Errors
            /// [`AmountError::Negative`].
            pub fn require_not_negative(self) -> Result<Self, AmountError> {
                if self.0 >= 0 { Ok(self) } else { Err(AmountError::Negative($what)) }
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{} {}", self.$base(), $unit)
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Display::fmt(self, f)
            }
        }

        // A decimal string in the unit above: a JSON number would pass through a double in most readers.
        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.collect_str(&self.$base())
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                let text = String::deserialize(deserializer)?;
                let figure = parse_decimal(&text, DecimalMark::Point).map_err(D::Error::custom)?;
                Self::$from_base(figure).map_err(D::Error::custom)
            }
        }
    };
}

scaled! {
    /// A mass, kept in micrograms; up to about 9.2 million tonnes.
    Mass, what "a mass", unit "kg", places 9, raw micrograms / from_micrograms, base kg / from_kg
}

scaled! {
    /// A volume, kept in nanolitres. Stock is never kept by volume; volumes are filled, quoted and written in formulas.
    Volume, what "a volume", unit "L", places 9, raw nanolitres / from_nanolitres, base litres / from_litres
}

scaled! {
    /// A number of pieces, kept in thousandths (a twelfth of a case per unit has to be written somehow).
    Count, what "a count", unit "pcs", places 3, raw thousandths / from_thousandths, base pieces / from_pieces
}

scaled! {
    /// Mass per volume at the reference temperature, kept in 10⁻⁹ kg/L.
    Density, what "a density", unit "kg/L", places 9, raw nano / from_nano, base kg_per_litre / from_kg_per_litre
}

scaled! {
    /// A percent, kept in 10⁻⁹ %.
    Percent, what "a percent", unit "%", places 9, raw nano / from_nano, base percent / from_percent
}

scaled! {
    /// An amount in parts by weight, kept in 10⁻⁹ parts: only its ratio to the other parts means anything.
    Parts, what "an amount in parts", unit "parts", places 9, raw nano / from_nano, base parts / from_parts
}

impl Density {
    /// A density a liquid, paste or powder can have: above nought and at most
    /// [`DENSITY_KG_PER_L_MAX`] kg/L.
    ///
    /// # Errors
    /// [`AmountError::NotPositive`] or [`AmountError::OutOfRange`].
    pub fn require_plausible(self) -> Result<Self, AmountError> {
        self.require_positive()?;
        if self.kg_per_litre() > Decimal::from(DENSITY_KG_PER_L_MAX) {
            return Err(AmountError::OutOfRange {
                what: "a density",
                max: DENSITY_KG_PER_L_MAX.to_string(),
                unit: "kg/L",
            });
        }
        Ok(self)
    }

    /// From weight per US gallon in pounds, as coatings are written: a conversion that seldom ends, rounded half to even to what is
    /// kept. 1 lb = 0.453 592 37 kg and 1 gal (US) = 3.785 411 784 L (NIST Handbook 44, appendix C).
    ///
    /// # Errors
    /// [`AmountError::OutOfRange`].
    pub fn from_pounds_per_gallon(pounds: Decimal) -> Result<Self, AmountError> {
        let kg = Exact::from(pounds) * Unit::Pound.factor();
        Self::from_exact_half_even(&kg.checked_div(&Unit::GallonUs.factor())?)
    }

    /// The mass of a volume, exactly.
    pub fn mass_of(self, volume: &Exact) -> Exact {
        volume * &self.to_exact()
    }

    /// The volume of a mass, exactly, in litres.
    ///
    /// # Errors
    /// [`AmountError::DivisionByNought`] for a density of nought.
    pub fn volume_of(self, mass_kg: &Exact) -> Result<Exact, AmountError> {
        mass_kg.checked_div(&self.to_exact())
    }
}

impl Percent {
    /// One hundred percent.
    pub const HUNDRED: Self = Self(100_000_000_000);

    /// As a fraction of one.
    pub fn fraction(self) -> Exact {
        Exact::scaled(i128::from(self.0), 11)
    }

    /// This, when it lies between 0 and 100 %.
    ///
    /// # Errors
    /// [`AmountError::Negative`] or [`AmountError::OutOfRange`].
    pub fn require_share(self) -> Result<Self, AmountError> {
        self.require_not_negative()?;
        if self > Self::HUNDRED {
            return Err(AmountError::OutOfRange { what: "a percent", max: "100".to_owned(), unit: "%" });
        }
        Ok(self)
    }

    /// This, when something is left after taking it off: at least 0 and below 100 %.
    ///
    /// # Errors
    /// [`AmountError::Negative`] or [`AmountError::OutOfRange`].
    pub fn require_loss(self) -> Result<Self, AmountError> {
        if self.require_share()? == Self::HUNDRED {
            return Err(AmountError::OutOfRange {
                what: "a loss",
                max: "less than 100".to_owned(),
                unit: "%",
            });
        }
        Ok(self)
    }
}

fn out_of_range(places: u32, what: &'static str, unit: &'static str) -> AmountError {
    AmountError::OutOfRange { what, max: Decimal::new(i64::MAX, places).trunc().to_string(), unit }
}

/// `figure × 10ᵖˡᵃᶜᵉˢ` as a whole number, or the reason it is not one.
pub(crate) fn scale_exactly(
    figure: Decimal,
    places: u32,
    what: &'static str,
    unit: &'static str,
) -> Result<i64, AmountError> {
    let figure = figure.normalize();
    if figure.scale() > places {
        return Err(AmountError::TooManyPlaces { what, places, unit, text: figure.to_string() });
    }
    10_i128
        .checked_pow(places - figure.scale())
        .and_then(|factor| figure.mantissa().checked_mul(factor))
        .and_then(|scaled| i64::try_from(scaled).ok())
        .ok_or_else(|| out_of_range(places, what, unit))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn dec(text: &str) -> Decimal {
        parse_decimal(text, DecimalMark::Point).unwrap()
    }

    #[test]
    fn nothing_is_rounded_silently() {
        assert_eq!(Mass::from_kg(dec("0.000000001")).unwrap().micrograms(), 1);
        assert!(matches!(Mass::from_kg(dec("0.0000000001")), Err(AmountError::TooManyPlaces { .. })));
        assert!(matches!(Mass::from_kg(dec("12345678901234.5")), Err(AmountError::OutOfRange { .. })));
        assert_eq!(Percent::from_percent(dec("0.0005")).unwrap().to_string(), "0.0005 %");
        assert_eq!(
            Mass::from_kg(dec("1e10")).unwrap_err().to_string(),
            "a mass is out of range: at most 9223372036 kg"
        );
    }

    #[test]
    fn implausible_densities_are_refused() {
        assert!(Density::from_kg_per_litre(dec("13")).unwrap().require_plausible().is_err());
        assert!(Density::from_kg_per_litre(dec("0")).unwrap().require_plausible().is_err());
        assert!(Density::from_kg_per_litre(dec("1.52")).unwrap().require_plausible().is_ok());
    }

    /// OpenStax, Chemistry 2e, chapter 3: 0.500 L of 37.2 % acid at 1.19 g/mL holds 221 g (exactly 221.34 g).
    #[test]
    fn mass_of_the_active_in_a_volume() {
        let density = Density::from_kg_per_litre(dec("1.19")).unwrap();
        let strength = Percent::from_percent(dec("37.2")).unwrap();
        let mass = density.mass_of(&Exact::from(dec("0.5"))) * strength.fraction();
        assert_eq!(mass.to_decimal_exactly(), Some(dec("0.22134")));
    }

    proptest! {
        #[test]
        fn figures_and_scaled_integers_agree(raw in any::<i64>()) {
            let mass = Mass::from_micrograms(raw);
            prop_assert_eq!(Mass::from_kg(mass.kg()).unwrap(), mass);
            prop_assert_eq!(Mass::from_exact_half_even(&mass.to_exact()).unwrap(), mass);
            prop_assert_eq!(Mass::from_exact_up(&mass.to_exact()).unwrap(), mass);
            prop_assert_eq!(Mass::from_exact_down(&mass.to_exact()).unwrap(), mass);
        }
    }
}
