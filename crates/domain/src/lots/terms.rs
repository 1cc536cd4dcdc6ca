//! What a lot is bound to beyond its dates: whose it is, what it was released for, what of it cannot be had.

use chrono::NaiveDate;
use kernel::ids::MaterialId;
use serde::{Deserialize, Serialize};

/// Whose a lot is.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ownership {
    /// The house's own.
    #[default]
    House,
    /// A customer's, sent in to be made into that customer's products. It is worth nothing to the house.
    Customer,
    /// The supplier's until it is used: it stands here, and is paid for by what is taken.
    Consignment,
}

impl Ownership {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::House, Self::Customer, Self::Consignment];

    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::House => "the house's",
            Self::Customer => "a customer's",
            Self::Consignment => "on consignment",
        }
    }

    /// Whether what stands on the shelf counts among what the house owns.
    pub const fn is_valued(self) -> bool {
        matches!(self, Self::House)
    }
}

/// How a lot that holds nothing any more came to its end, where it was not simply used up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ended {
    /// The last of it went back to its supplier.
    Returned,
    /// The last of it was disposed of.
    Disposed,
}

/// Dates as they were written, where that was a month and not a day.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct WrittenDates {
    /// The made date as written; the lot keeps the month's first day.
    pub made_on: Option<String>,
    /// The expiry date as written; the lot keeps the month's last day.
    pub expires_on: Option<String>,
    /// The retest date as written; the lot keeps the month's last day.
    pub retest_on: Option<String>,
}

/// What a lot is bound to. The default binds it to nothing.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct LotTerms {
    /// Whose it is.
    pub ownership: Ownership,
    /// The customer or supplier it belongs to, when it is not the house's.
    pub owner: Option<String>,
    /// What may be made with it, by the material made; empty for anything.
    pub restricted_to: Vec<MaterialId>,
    /// The last day its release holds.
    pub released_until: Option<NaiveDate>,
    /// After a retest: the day until which it may be used now. The retest date it came with stays as it was.
    pub retested_until: Option<NaiveDate>,
    /// What of it stands in containers that may not be used, in the scaled integer of its dimension.
    pub blocked: i64,
    /// What of it stays in its containers and cannot be had, in the scaled integer of its dimension. Plans leave it out; a
    /// weighing may take it, since then it could be had after all.
    pub heel: i64,
    /// Its cost is an estimate until the invoice comes.
    pub cost_provisional: bool,
    /// Ordered and not there: how much is expected, in the scaled integer of its dimension.
    pub expected: Option<i64>,
    /// The day it is expected.
    pub due_on: Option<NaiveDate>,
    /// How it ended.
    pub ended: Option<Ended>,
    /// Dates as they were written.
    pub written: WrittenDates,
}

impl LotTerms {
    /// Whether it was released for some products only, or for some time.
    pub fn restricts(&self) -> bool {
        !self.restricted_to.is_empty() || self.released_until.is_some()
    }

    /// Whether it may go into what is made; nobody is kept from looking when nothing is said of what is made.
    pub fn allows(&self, product: Option<MaterialId>) -> bool {
        self.restricted_to.is_empty() || product.is_none_or(|product| self.restricted_to.contains(&product))
    }
}
