//! Standard costs: what a material was agreed to cost, frozen on a day and kept with where it came from.

use chrono::NaiveDate;
use kernel::{UnitPrice, ids::MaterialId};
use serde::{Deserialize, Serialize};

/// A material's standard cost. It holds from the day it was frozen until a later one; none is ever changed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Standard {
    /// The material.
    pub material: MaterialId,
    /// The day it was frozen.
    pub frozen_on: NaiveDate,
    /// Per kg or piece.
    pub unit_cost: UnitPrice,
    /// The stable name of the basis it was taken from.
    pub basis: String,
    /// Where it came from on that day, in a sentence.
    pub explained: String,
}
