//! The life of a batch ticket: where it may stand, which step may follow which, and what becomes of what was weighed when it ends
//! before it is made.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

/// Where a ticket stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TicketStatus {
    /// Written; nothing promised yet.
    Planned,
    /// Lots are promised to it.
    Allocated,
    /// Something has been weighed.
    #[serde(alias = "in-process")]
    Weighing,
    /// Everything is weighed; it is being made.
    Making,
    /// Made, and being examined.
    OnTest,
    /// Something is added until the tests are met.
    Adjusting,
    /// Its bulk is a lot and is being filled.
    Filling,
    /// Every kilogram has been accounted for; it waits for a decision.
    #[serde(alias = "complete")]
    Reconciled,
    /// What it made may be used and sold.
    Released,
    /// What it made may not.
    Rejected,
    /// Given up before anything was weighed.
    Cancelled,
    /// Given up after something was weighed; what became of each weighing is on record.
    Voided,
}

impl TicketStatus {
    /// All statuses.
    pub const ALL: [Self; 12] = [
        Self::Planned,
        Self::Allocated,
        Self::Weighing,
        Self::Making,
        Self::OnTest,
        Self::Adjusting,
        Self::Filling,
        Self::Reconciled,
        Self::Released,
        Self::Rejected,
        Self::Cancelled,
        Self::Voided,
    ];

    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Planned => "planned",
            Self::Allocated => "allocated",
            Self::Weighing => "weighing",
            Self::Making => "making",
            Self::OnTest => "on test",
            Self::Adjusting => "adjusting",
            Self::Filling => "filling",
            Self::Reconciled => "reconciled",
            Self::Released => "released",
            Self::Rejected => "rejected",
            Self::Cancelled => "cancelled",
            Self::Voided => "voided",
        }
    }

    /// Whether it will still take something off the shelf for its batch: its bulk is not made yet, and it was not given up.
    pub const fn is_open(self) -> bool {
        matches!(
            self,
            Self::Planned | Self::Allocated | Self::Weighing | Self::Making | Self::OnTest | Self::Adjusting
        )
    }

    /// Whether its bulk is a lot.
    pub const fn is_made(self) -> bool {
        matches!(self, Self::Filling | Self::Reconciled | Self::Released | Self::Rejected)
    }

    /// Whether nothing more is done on it.
    pub const fn is_final(self) -> bool {
        matches!(self, Self::Released | Self::Rejected | Self::Cancelled | Self::Voided)
    }

    /// Whether something may be weighed: into the batch, or added to it until a result is reached.
    pub const fn takes_weighings(self) -> bool {
        matches!(
            self,
            Self::Planned | Self::Allocated | Self::Weighing | Self::Making | Self::OnTest | Self::Adjusting
        )
    }

    /// Whether it may rest: work on it has begun and has not ended.
    pub const fn may_rest(self) -> bool {
        matches!(self, Self::Weighing | Self::Making | Self::OnTest | Self::Adjusting | Self::Filling)
    }

    /// Whether that may be the next step. What else has to be so (everything weighed, nothing weighed) is asked where the step is
    /// taken.
    pub const fn may_become(self, next: Self) -> bool {
        matches!(
            (self, next),
            (Self::Planned, Self::Allocated | Self::Weighing | Self::Cancelled)
                | (Self::Allocated, Self::Weighing | Self::Cancelled)
                | (Self::Weighing, Self::Making | Self::Voided)
                | (Self::Making, Self::OnTest | Self::Filling | Self::Voided)
                | (Self::OnTest, Self::Adjusting | Self::Filling | Self::Voided)
                | (Self::Adjusting, Self::OnTest | Self::Voided)
                | (Self::Filling, Self::Reconciled)
                | (Self::Reconciled, Self::Released | Self::Rejected)
        )
    }
}

/// One step of a ticket's life.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Step {
    /// Where it stood.
    pub from: TicketStatus,
    /// Where it stood then; the same when it was paused, resumed or scaled, which `note` says.
    pub to: TicketStatus,
    /// Who.
    pub by: String,
    /// When.
    pub at: DateTime<Utc>,
    /// Why, or what was done.
    pub note: Option<String>,
}

/// Why a ticket rests.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pause {
    /// Who stopped it.
    pub by: String,
    /// When.
    pub at: DateTime<Utc>,
    /// Why.
    pub reason: String,
}

/// What became of a weighing that was undone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WeighingOutcome {
    /// It went back to its lot, untouched.
    BackToLot,
    /// It was thrown away.
    Scrapped,
    /// It is kept in a lot of its own, to be worked into a later batch.
    IntoRework,
}

impl WeighingOutcome {
    /// All outcomes.
    pub const ALL: [Self; 3] = [Self::BackToLot, Self::Scrapped, Self::IntoRework];

    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::BackToLot => "back to its lot",
            Self::Scrapped => "scrapped",
            Self::IntoRework => "into rework",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every pair: a row per status, a mark per next one, in the order of [`TicketStatus::ALL`].
    #[test]
    fn every_pair_of_steps() {
        //            planned
        //            | allocated
        //            | | weighing
        //            | | | making
        //            | | | | on test
        //            | | | | | adjusting
        //            | | | | | | filling
        //            | | | | | | | reconciled
        //            | | | | | | | | released
        //            | | | | | | | | | rejected
        //            | | | | | | | | | | cancelled
        //            | | | | | | | | | | | voided
        let table = [
            "planned    . x x . . . . . . . x .",
            "allocated  . . x . . . . . . . x .",
            "weighing   . . . x . . . . . . . x",
            "making     . . . . x . x . . . . x",
            "on-test    . . . . . x x . . . . x",
            "adjusting  . . . . x . . . . . . x",
            "filling    . . . . . . . x . . . .",
            "reconciled . . . . . . . . x x . .",
            "released   . . . . . . . . . . . .",
            "rejected   . . . . . . . . . . . .",
            "cancelled  . . . . . . . . . . . .",
            "voided     . . . . . . . . . . . .",
        ];
        for (status, row) in TicketStatus::ALL.into_iter().zip(table) {
            let marks: Vec<&str> = row.split_whitespace().collect();
            assert_eq!(marks[0].replace('-', " "), status.words());
            assert_eq!(marks.len(), TicketStatus::ALL.len() + 1);
            for (next, mark) in TicketStatus::ALL.into_iter().zip(&marks[1..]) {
                assert_eq!(status.may_become(next), *mark == "x", "{} to {}", status.words(), next.words());
            }
            assert_eq!(status.is_final(), !marks[1..].contains(&"x"), "{}", status.words());
        }
    }

    /// What is open is not made, what is made is not open, and what was given up is neither.
    #[test]
    fn open_and_made() {
        for status in TicketStatus::ALL {
            let given_up = matches!(status, TicketStatus::Cancelled | TicketStatus::Voided);
            let ways = [status.is_open(), status.is_made(), given_up];
            assert_eq!(ways.iter().filter(|way| **way).count(), 1, "{}", status.words());
            assert!(!status.may_rest() || !status.is_final());
        }
    }

    /// Nothing is cancelled once something was weighed, and nothing voided before.
    #[test]
    fn given_up_before_and_after_weighing() {
        for status in TicketStatus::ALL {
            let may = |next| status.may_become(next);
            assert!(!(may(TicketStatus::Cancelled) && may(TicketStatus::Voided)), "{}", status.words());
        }
    }
}
