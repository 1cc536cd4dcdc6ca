//! Currencies and their minor units, after ISO 4217.

use serde::{Deserialize, Serialize};
use std::{fmt, str::FromStr};

use crate::AmountError;

/// A currency of ISO 4217 that has a minor unit (funds, metals and test codes without one cannot hold a price).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Currency([u8; 3]);

/// Codes with no decimals, ISO 4217 list one.
const NO_PLACES: &str = "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF";
/// Codes with three decimals.
const THREE_PLACES: &str = "BHD IQD JOD KWD LYD OMR TND";
/// Codes with four decimals.
const FOUR_PLACES: &str = "CLF UYW";
/// Codes with two decimals.
const TWO_PLACES: &str = "AED AFN ALL AMD ANG AOA ARS AUD AWG AZN BAM BBD BDT BGN BMD BND BOB BOV BRL BSD BTN \
    BWP BYN BZD CAD CDF CHE CHF CHW CNY COP COU CRC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS \
    GIP GMD GTQ GYD HKD HNL HTG HUF IDR ILS INR IRR JMD KES KGS KHR KPW KYD KZT LAK LBP LKR LRD LSL MAD MDL MGA \
    MKD MMK MNT MOP MRU MUR MVR MWK MXN MXV MYR MZN NAD NGN NIO NOK NPR NZD PAB PEN PGK PHP PKR PLN QAR RON RSD \
    RUB SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TOP TRY TTD TWD TZS UAH USD USN \
    UYU UZS VED VES WST XCD XCG YER ZAR ZMW ZWG ZWL";

impl Currency {
    /// The pound sterling.
    pub const GBP: Self = Self(*b"GBP");
    /// The euro.
    pub const EUR: Self = Self(*b"EUR");
    /// The US dollar.
    pub const USD: Self = Self(*b"USD");

    /// The three-letter code.
    pub fn code(&self) -> &str {
        // Only ASCII letters get past `from_str`.
        std::str::from_utf8(&self.0).unwrap_or("XXX")
    }

    /// Decimal places of the minor unit.
    pub fn minor_places(&self) -> u32 {
        minor_places(self.code()).unwrap_or(2)
    }
}

fn minor_places(code: &str) -> Option<u32> {
    let listed = |list: &str| list.split_ascii_whitespace().any(|c| c == code);
    [(TWO_PLACES, 2), (NO_PLACES, 0), (THREE_PLACES, 3), (FOUR_PLACES, 4)]
        .into_iter()
        .find_map(|(list, places)| listed(list).then_some(places))
}

impl FromStr for Currency {
    type Err = AmountError;

    fn from_str(text: &str) -> Result<Self, AmountError> {
        let code = text.trim().to_ascii_uppercase();
        let unknown = || AmountError::UnknownCurrency(text.chars().take(20).collect());
        let bytes = <[u8; 3]>::try_from(code.as_bytes()).map_err(|_| unknown())?;
        minor_places(&code).map(|_| Self(bytes)).ok_or_else(unknown)
    }
}

impl TryFrom<String> for Currency {
    type Error = AmountError;

    fn try_from(text: String) -> Result<Self, AmountError> {
        text.parse()
    }
}

impl From<Currency> for String {
    fn from(value: Currency) -> Self {
        value.code().to_owned()
    }
}

impl fmt::Display for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.code())
    }
}

impl fmt::Debug for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.code())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO 4217 table A.1, minor unit column.
    #[test]
    fn minor_units() {
        let places = |code: &str| code.parse::<Currency>().map(|c| c.minor_places());
        assert_eq!(places("JPY"), Ok(0));
        assert_eq!(places("gbp"), Ok(2));
        assert_eq!(places("IQD"), Ok(3));
        assert_eq!(places("UYW"), Ok(4));
        for none in ["XAU", "XDR", "XTS", "XXX", "ABC", "EU", "€", ""] {
            assert!(places(none).is_err(), "{none}");
        }
    }
}
