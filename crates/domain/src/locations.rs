//! Places where lots stand: the quarantine shelf, the flammables store, rack B3.

use serde::{Deserialize, Serialize};

/// A place where lots and containers may stand.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Location {
    /// Its short code; letter case does not tell two apart.
    pub code: String,
    /// What it is called.
    pub name: String,
    /// Remarks: what may stand there, who has the key.
    pub note: Option<String>,
}
