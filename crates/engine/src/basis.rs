//! Bases: on which price a cost sheet stands, and what was paid for what is on the shelf.
//!
//! Quoting asks what a material costs to buy again; accounts ask what was paid for it; a budget asks what was agreed. The same
//! material has a figure for each, and a cost sheet says which one it uses. [`history_of`] turns lots and the stock ledger into what
//! happened to a material, and a [`History`] answers as of any day: the last purchase, the moving average, the layers first in and
//! first out leaves. The average is carried as a quantity and a value, layers likewise: a unit cost is only ever worked out from
//! them, never kept. What came in without a value is a [`Gap`](crate::Gap), never nought.

mod book;
mod flow;
mod history;
mod on_bases;
mod on_basis;
mod periodic;
mod realisable;

mod sources;
mod walk;

use serde::{Deserialize, Serialize};
use std::{fmt, str::FromStr};
use thiserror::Error;

pub use book::{Frozen, HistoryBook, StandardCost, freeze_costs, materials_priced};
pub use flow::{AverageFlow, FifoFlow, Issue, LastPurchase, Layer, RanOut};
pub use history::{Entry, History, LotRef, history_of};
pub use on_bases::{
    BasisCell, BasisLine, OnBases, PrintedBasisCell, PrintedBasisLine, PrintedOnBases, bases_side_by_side,
};
pub use on_basis::{BasisPrice, price_on_basis};
pub use periodic::Periodic;
pub use realisable::{CostAndRealisable, WrittenDown, lower_of_cost_and_realisable, material_carried_at};
pub use sources::{
    BeyondShelf, FifoSource, FifoTake, LastPurchaseSource, MovingAverageSource, StandardSource,
};

/// Which price a cost sheet uses for a material.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// What buying it again costs: the quotation.
    #[default]
    Replacement,
    /// What the last delivery cost.
    LastPurchase,
    /// What all that is there cost on average, averaged anew at each receipt.
    MovingAverage,
    /// What the oldest deliveries that are left cost: first in, first out.
    Fifo,
    /// What was agreed on a day and frozen.
    Standard,
}

impl Basis {
    /// All bases.
    pub const ALL: [Self; 5] =
        [Self::Replacement, Self::LastPurchase, Self::MovingAverage, Self::Fifo, Self::Standard];

    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Replacement => "replacement",
            Self::LastPurchase => "last purchase",
            Self::MovingAverage => "moving average",
            Self::Fifo => "FIFO",
            Self::Standard => "standard",
        }
    }

    /// A stable name for programs.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Replacement => "REPLACEMENT",
            Self::LastPurchase => "LAST_PURCHASE",
            Self::MovingAverage => "MOVING_AVERAGE",
            Self::Fifo => "FIFO",
            Self::Standard => "STANDARD",
        }
    }

    /// What it is, and what it is for, in a sentence.
    pub const fn description(self) -> &'static str {
        match self {
            Self::Replacement => {
                "what buying it again costs landed, by the quotations of the day: for quoting, new products and what-if"
            }
            Self::LastPurchase => {
                "what the last delivery with a value cost landed: a quick feel, which one dear small order distorts"
            }
            Self::MovingAverage => {
                "what all that is there cost on average, averaged anew at each receipt: for the value of stock; it shows a rise late"
            }
            Self::Fifo => {
                "what the oldest deliveries that are left cost, first in, first out: for the value of stock and the accounts"
            }
            Self::Standard => {
                "what was agreed on a day and frozen: for budgets and variances, until it is stale"
            }
        }
    }

    /// Whether it rests on what was received, so that a question on it needs the material's history.
    pub const fn needs_history(self) -> bool {
        matches!(self, Self::LastPurchase | Self::MovingAverage | Self::Fifo)
    }
}

impl fmt::Display for Basis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

/// A text that names no basis.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("“{0}” is not a basis (use replacement, last purchase, moving average, FIFO or standard)")]
pub struct UnknownBasis(String);

impl FromStr for Basis {
    type Err = UnknownBasis;

    /// By its words or its stable name; letter case, hyphens and underscores aside.
    fn from_str(text: &str) -> Result<Self, UnknownBasis> {
        let plain = text.trim().to_lowercase().replace(['-', '_'], " ");
        Self::ALL
            .into_iter()
            .find(|basis| basis.words().to_lowercase() == plain)
            .ok_or_else(|| UnknownBasis(text.trim().chars().take(30).collect()))
    }
}
