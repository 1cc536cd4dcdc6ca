//! Scenarios that are kept: assumed changes under a name, with the answer they had when they were kept.

use chrono::{DateTime, NaiveDate, Utc};
use kernel::ids::ScenarioId;
use serde::{Deserialize, Serialize};

/// A scenario that is kept. None is ever changed; kept again under its name it is another of the next number.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeptScenario {
    /// Identity.
    pub id: ScenarioId,
    /// What it is called.
    pub name: String,
    /// How often it has been kept under that name, this time counted.
    pub number: u32,
    /// The changes, as JSON.
    pub changes: String,
    /// The day it was asked for.
    pub as_of: NaiveDate,
    /// Who kept it.
    pub kept_by: String,
    /// When.
    pub kept_at: DateTime<Utc>,
    /// The version of the catalogue it was answered from.
    pub catalogue_version: i64,
    /// The figures of the answer, as JSON.
    pub answer: String,
}
