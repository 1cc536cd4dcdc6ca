//! What came with a lot on paper: the results of its certificate of analysis, and documents kept elsewhere.

use chrono::{DateTime, Utc};
use kernel::ids::LotId;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// What was found: a figure, or words where there is none.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Finding {
    /// A figure.
    Figure(Decimal),
    /// Words: "clear, colourless", "complies".
    Words(String),
}

/// One result of a certificate of analysis. The density and the active matter that costs and tickets use stand on the lot itself.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LotResult {
    /// What was examined: pH, viscosity, colour, peroxide value.
    pub name: String,
    /// How, where the certificate says.
    pub method: Option<String>,
    /// What was found.
    pub found: Finding,
    /// The unit of the figure and its limits, UCUM where there is one.
    pub unit: Option<String>,
    /// The least the specification allows.
    pub least: Option<Decimal>,
    /// The most the specification allows.
    pub most: Option<Decimal>,
}

impl LotResult {
    /// Whether the figure lies within the limits; `None` where there is no figure or no limit to hold it against.
    pub fn within(&self) -> Option<bool> {
        let Finding::Figure(figure) = self.found else { return None };
        if self.least.is_none() && self.most.is_none() {
            return None;
        }
        Some(self.least.is_none_or(|least| figure >= least) && self.most.is_none_or(|most| figure <= most))
    }
}

/// What a document is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DocumentKind {
    /// A supplier's certificate of analysis.
    CertificateOfAnalysis,
    /// A delivery note.
    DeliveryNote,
    /// A safety data sheet.
    SafetyDataSheet,
    /// A photograph, of damage for instance.
    Photograph,
    /// Anything else.
    Other,
}

impl DocumentKind {
    /// All of them.
    pub const ALL: [Self; 5] = [
        Self::CertificateOfAnalysis,
        Self::DeliveryNote,
        Self::SafetyDataSheet,
        Self::Photograph,
        Self::Other,
    ];
}

/// A document kept elsewhere: where it lies, and what tells whether it is still the same.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LotDocument {
    /// The lot.
    pub lot: LotId,
    /// What it is.
    pub kind: DocumentKind,
    /// Where it lies: an address or a file's name.
    pub link: String,
    /// Its SHA-256, 64 hexadecimal digits.
    pub sha256: String,
    /// When it was added.
    pub added_at: DateTime<Utc>,
    /// By whom.
    pub added_by: String,
}

/// A SHA-256 as people copy it: 64 hexadecimal digits, letter case aside.
pub fn sha256(text: &str) -> Result<String, String> {
    let text = text.trim().to_lowercase();
    if text.len() == 64 && text.bytes().all(|b| b.is_ascii_hexdigit()) {
        Ok(text)
    } else {
        Err("a SHA-256 is 64 hexadecimal digits".to_owned())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits() {
        let result = |found: &str, least: Option<&str>, most: Option<&str>| LotResult {
            name: "pH".to_owned(),
            method: None,
            found: Finding::Figure(found.parse().unwrap()),
            unit: None,
            least: least.map(|l| l.parse().unwrap()),
            most: most.map(|m| m.parse().unwrap()),
        };
        assert_eq!(result("5.5", Some("5.5"), Some("6.5")).within(), Some(true));
        assert_eq!(result("6.6", Some("5.5"), Some("6.5")).within(), Some(false));
        assert_eq!(result("5.4", Some("5.5"), None).within(), Some(false));
        assert_eq!(result("5.4", None, None).within(), None);
        let words = LotResult { found: Finding::Words("clear".to_owned()), ..result("1", Some("2"), None) };
        assert_eq!(words.within(), None);
        assert!(sha256(&"Ab".repeat(32)).is_ok_and(|s| s.starts_with("abab")));
        assert!(sha256("abc").is_err());
    }
}
