//! How a lot stands on a day: what was decided about it, together with what follows from its dates and from what is left of it.
//! Nobody has to remember to write down that a lot has expired or is empty.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::{Ended, Lot, LotStatus};

/// How a lot stands on a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LotStanding {
    /// Ordered, and not there yet.
    Ordered,
    /// Received or made, not yet examined.
    Quarantine,
    /// May be used.
    Released,
    /// May be used for some products only, or until a day.
    ReleasedWithRestriction,
    /// Set aside until a question is answered.
    OnHold,
    /// Never to be used.
    Rejected,
    /// Past its expiry date.
    Expired,
    /// Past its retest date: to be examined again before use.
    RetestDue,
    /// Nothing is left of it.
    Exhausted,
    /// The last of it went back to its supplier.
    Returned,
    /// The last of it was disposed of.
    Disposed,
}

impl LotStanding {
    /// All of them.
    pub const ALL: [Self; 11] = [
        Self::Ordered,
        Self::Quarantine,
        Self::Released,
        Self::ReleasedWithRestriction,
        Self::OnHold,
        Self::Rejected,
        Self::Expired,
        Self::RetestDue,
        Self::Exhausted,
        Self::Returned,
        Self::Disposed,
    ];

    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Ordered => "ordered",
            Self::Quarantine => "quarantine",
            Self::Released => "released",
            Self::ReleasedWithRestriction => "released with restriction",
            Self::OnHold => "on hold",
            Self::Rejected => "rejected",
            Self::Expired => "expired",
            Self::RetestDue => "retest due",
            Self::Exhausted => "exhausted",
            Self::Returned => "returned",
            Self::Disposed => "disposed of",
        }
    }
}

impl Lot {
    /// Whether it is ordered and has not come in.
    pub fn is_ordered(&self) -> bool {
        self.terms.expected.is_some() && self.received.raw() == 0
    }

    /// The last day of use by retest: the day a passed retest gave it, else the day it came with.
    pub fn retest_by(&self) -> Option<NaiveDate> {
        self.terms.retested_until.or(self.retest_on)
    }

    /// How it stands on a day. What can no longer be changed goes first: a lot that is gone is gone whatever its dates say, a
    /// rejected one does not become merely expired, and expiry weighs more than what was decided before it.
    pub fn standing_on(&self, day: NaiveDate) -> LotStanding {
        if self.is_ordered() {
            return LotStanding::Ordered;
        }
        if !self.on_hand.is_positive() {
            return match self.terms.ended {
                Some(Ended::Returned) => LotStanding::Returned,
                Some(Ended::Disposed) => LotStanding::Disposed,
                None => LotStanding::Exhausted,
            };
        }
        if self.status == LotStatus::Rejected {
            return LotStanding::Rejected;
        }
        if self.expires_on.is_some_and(|on| on < day) {
            return LotStanding::Expired;
        }
        match self.status {
            LotStatus::Quarantine => LotStanding::Quarantine,
            LotStatus::OnHold => LotStanding::OnHold,
            LotStatus::Rejected => LotStanding::Rejected,
            LotStatus::Released if self.retest_by().is_some_and(|on| on < day) => LotStanding::RetestDue,
            LotStatus::Released if self.terms.restricts() => LotStanding::ReleasedWithRestriction,
            LotStatus::Released => LotStanding::Released,
        }
    }
}
