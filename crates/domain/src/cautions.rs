//! Cautions: what the safety data sheets stored with the materials say, and pairs that should not meet.
//!
//! Nothing here is derived from a substance's name. A caution is a prompt to look at the current safety data sheet, never a clearance.

use serde::{Deserialize, Serialize};
use std::{fmt, str::FromStr};
use thiserror::Error;

/// The sentence that stands under every list of cautions.
pub const DEFER: &str =
    "See the current safety data sheets; local codes and the judgement of licensed professionals prevail.";

/// Why a caution cannot be kept.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum CautionError {
    /// Not H or EUH and three digits (and letters such as in H360FD).
    #[error("“{0}” is not a hazard statement code (H225, EUH031)")]
    HazardCode(String),
    /// Not one of the groups.
    #[error(
        "“{0}” is not a caution group (acid, alkali, hypochlorite, ammonia or amine, peroxide, oxidiser, flammable, reducing agent, combustible dust, preservative, water)"
    )]
    Group(String),
    /// Not a signal word of the UN GHS.
    #[error("“{0}” is not a signal word (danger or warning)")]
    SignalWord(String),
}

/// A hazard statement code of the UN GHS or the EU supplement, such as `H225` or `EUH031`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct HazardCode(String);

impl FromStr for HazardCode {
    type Err = CautionError;

    fn from_str(text: &str) -> Result<Self, CautionError> {
        let code = text.trim();
        let upper = code.to_ascii_uppercase();
        let digits = upper.strip_prefix("EUH").or_else(|| upper.strip_prefix('H'));
        let well_formed = digits.is_some_and(|d| {
            let (figures, rest) = d.split_at_checked(3).unwrap_or(("", "?"));
            figures.bytes().all(|b| b.is_ascii_digit())
                && rest.len() <= 2
                && rest.bytes().all(|b| b.is_ascii_alphabetic())
        });
        if !well_formed {
            return Err(CautionError::HazardCode(code.chars().take(20).collect()));
        }
        Ok(Self(upper))
    }
}

impl TryFrom<String> for HazardCode {
    type Error = CautionError;

    fn try_from(text: String) -> Result<Self, CautionError> {
        text.parse()
    }
}

impl From<HazardCode> for String {
    fn from(value: HazardCode) -> Self {
        value.0
    }
}

impl fmt::Display for HazardCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl HazardCode {
    /// The statement in the wording of Regulation (EC) 1272/2008, for the codes this project knows.
    pub fn statement(&self) -> Option<&'static str> {
        STATEMENTS.iter().find(|(code, _)| *code == self.0).map(|(_, text)| *text)
    }
}

/// Regulation (EC) 1272/2008, Annex III.
const STATEMENTS: &[(&str, &str)] = &[
    ("H224", "Extremely flammable liquid and vapour"),
    ("H225", "Highly flammable liquid and vapour"),
    ("H226", "Flammable liquid and vapour"),
    ("H271", "May cause fire or explosion; strong oxidiser"),
    ("H272", "May intensify fire; oxidiser"),
    ("H290", "May be corrosive to metals"),
    ("H301", "Toxic if swallowed"),
    ("H302", "Harmful if swallowed"),
    ("H304", "May be fatal if swallowed and enters airways"),
    ("H311", "Toxic in contact with skin"),
    ("H312", "Harmful in contact with skin"),
    ("H314", "Causes severe skin burns and eye damage"),
    ("H315", "Causes skin irritation"),
    ("H317", "May cause an allergic skin reaction"),
    ("H318", "Causes serious eye damage"),
    ("H319", "Causes serious eye irritation"),
    ("H331", "Toxic if inhaled"),
    ("H332", "Harmful if inhaled"),
    ("H334", "May cause allergy or asthma symptoms or breathing difficulties if inhaled"),
    ("H335", "May cause respiratory irritation"),
    ("H336", "May cause drowsiness or dizziness"),
    ("H400", "Very toxic to aquatic life"),
    ("H410", "Very toxic to aquatic life with long lasting effects"),
    ("H411", "Toxic to aquatic life with long lasting effects"),
    ("H412", "Harmful to aquatic life with long lasting effects"),
    ("EUH031", "Contact with acids liberates toxic gas"),
    ("EUH066", "Repeated exposure may cause skin dryness or cracking"),
];

/// Signal word of the UN GHS.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SignalWord {
    /// The milder.
    Warning,
    /// The stronger.
    Danger,
}

impl FromStr for SignalWord {
    type Err = CautionError;

    fn from_str(text: &str) -> Result<Self, CautionError> {
        match text.trim().to_lowercase().as_str() {
            "danger" => Ok(Self::Danger),
            "warning" => Ok(Self::Warning),
            other => Err(CautionError::SignalWord(other.chars().take(20).collect())),
        }
    }
}

/// What a material is to others it may meet. Entered from its safety data sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[expect(missing_docs, reason = "each is what its name says")]
pub enum CautionGroup {
    Acid,
    Alkali,
    Hypochlorite,
    AmmoniaOrAmine,
    Peroxide,
    Oxidiser,
    Flammable,
    ReducingAgent,
    CombustibleDust,
    Preservative,
    Water,
}

impl CautionGroup {
    /// All groups.
    pub const ALL: [Self; 11] = [
        Self::Acid,
        Self::Alkali,
        Self::Hypochlorite,
        Self::AmmoniaOrAmine,
        Self::Peroxide,
        Self::Oxidiser,
        Self::Flammable,
        Self::ReducingAgent,
        Self::CombustibleDust,
        Self::Preservative,
        Self::Water,
    ];

    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Acid => "acid",
            Self::Alkali => "alkali",
            Self::Hypochlorite => "hypochlorite",
            Self::AmmoniaOrAmine => "ammonia or amine",
            Self::Peroxide => "peroxide",
            Self::Oxidiser => "oxidiser",
            Self::Flammable => "flammable",
            Self::ReducingAgent => "reducing agent",
            Self::CombustibleDust => "combustible dust",
            Self::Preservative => "preservative",
            Self::Water => "water",
        }
    }
}

impl FromStr for CautionGroup {
    type Err = CautionError;

    fn from_str(text: &str) -> Result<Self, CautionError> {
        let words = text.trim().to_lowercase().replace('-', " ");
        Self::ALL
            .into_iter()
            .find(|g| g.words() == words)
            .ok_or_else(|| CautionError::Group(text.trim().chars().take(30).collect()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hazard_codes() {
        let code = |t: &str| t.parse::<HazardCode>().map(String::from);
        assert_eq!(code("h225").as_deref(), Ok("H225"));
        assert_eq!(code("EUH031").as_deref(), Ok("EUH031"));
        assert_eq!(code("H360FD").as_deref(), Ok("H360FD"));
        for bad in ["225", "H22", "P102", "Hé25", "H2255", ""] {
            assert!(code(bad).is_err(), "{bad}");
        }
    }
}
