//! Batch tickets: the record by which one batch is made. A ticket is a frozen copy of an approved formula version.

use chrono::{DateTime, NaiveDate, Utc};
use kernel::{
    Count, Density, Mass, Percent, Quantity,
    ids::{
        FormulaId, FormulaVersionId, LotId, MaterialId, MovementId, PackId, TicketId, TicketLineId,
        WeighingId,
    },
};
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
    InProcess,
    /// Made; its lot exists.
    Complete,
    /// Given up before anything was weighed.
    Cancelled,
}

impl TicketStatus {
    /// All statuses.
    pub const ALL: [Self; 5] =
        [Self::Planned, Self::Allocated, Self::InProcess, Self::Complete, Self::Cancelled];

    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Planned => "planned",
            Self::Allocated => "allocated",
            Self::InProcess => "in process",
            Self::Complete => "complete",
            Self::Cancelled => "cancelled",
        }
    }

    /// Whether it will still take something off the shelf.
    pub const fn is_open(self) -> bool {
        matches!(self, Self::Planned | Self::Allocated | Self::InProcess)
    }
}

/// A batch ticket.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ticket {
    /// Identity.
    pub id: TicketId,
    /// The house's number for it; never used again.
    pub number: String,
    /// The formula.
    pub formula: FormulaId,
    /// The version it is a copy of.
    pub version: FormulaVersionId,
    /// The pack it is meant for.
    pub pack: Option<PackId>,
    /// Units of that pack.
    pub units: Option<Count>,
    /// What is charged in all.
    pub batch: Mass,
    /// The day it is to be made.
    pub planned_for: NaiveDate,
    /// Where it stands.
    pub status: TicketStatus,
    /// What is to be weighed, in order of addition.
    pub lines: Vec<TicketLine>,
    /// Which lots are promised to which line.
    pub allocations: Vec<Allocation>,
    /// What was weighed.
    pub weighings: Vec<Weighing>,
    /// How it ended.
    pub completion: Option<Completion>,
    /// Who wrote it.
    pub written_by: String,
    /// When.
    pub written_at: DateTime<Utc>,
    /// Remarks; the reason when it was cancelled.
    pub note: Option<String>,
}

/// One thing to weigh.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TicketLine {
    /// Identity.
    pub id: TicketLineId,
    /// 1, 2, 3 …
    pub position: u32,
    /// A, B, C …
    pub phase: Option<String>,
    /// What.
    pub material: MaterialId,
    /// How much.
    pub target: Mass,
    /// Either side, % of the target.
    pub tolerance: Option<Percent>,
    /// What to do.
    pub instruction: Option<String>,
}

/// A promise of part of a lot to a line; not a movement.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Allocation {
    /// The line.
    pub line: TicketLineId,
    /// The lot.
    pub lot: LotId,
    /// How much is still promised; weighing uses it up.
    pub quantity: Quantity,
}

/// One amount of one lot put into the batch.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Weighing {
    /// Identity.
    pub id: WeighingId,
    /// The line.
    pub line: TicketLineId,
    /// The lot; `None` for a utility, which has none.
    pub lot: Option<LotId>,
    /// What was really weighed.
    pub amount: Mass,
    /// Who weighed.
    pub by: String,
    /// When.
    pub at: DateTime<Utc>,
    /// The second person.
    pub checked_by: Option<String>,
    /// The entry of the ledger it made.
    pub movement: Option<MovementId>,
    /// Why it was taken back, when it was.
    pub reversed: Option<String>,
}

/// How a ticket ended.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Completion {
    /// What came out.
    pub yield_mass: Mass,
    /// The lot it became.
    pub lot: LotId,
    /// Measured on this batch.
    pub density: Option<Density>,
    /// What was filled.
    pub fillings: Vec<Filling>,
    /// Who completed it.
    pub by: String,
    /// When it was entered.
    pub at: DateTime<Utc>,
    /// The business day.
    pub on: NaiveDate,
    /// In-process checks and remarks.
    pub note: Option<String>,
}

/// Units filled of one pack.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Filling {
    /// The pack.
    pub pack: PackId,
    /// Good units.
    pub filled: Count,
    /// The lot of finished product they became.
    pub lot: LotId,
}

impl Ticket {
    /// The line of that position.
    pub fn line_at(&self, position: u32) -> Option<&TicketLine> {
        self.lines.iter().find(|line| line.position == position)
    }

    /// What was weighed on a line and not taken back.
    pub fn weighed_on(&self, line: TicketLineId) -> Mass {
        let micrograms = self
            .weighings
            .iter()
            .filter(|w| w.line == line && w.reversed.is_none())
            .fold(0_i64, |sum, w| sum.saturating_add(w.amount.micrograms()));
        Mass::from_micrograms(micrograms)
    }

    /// What is still to be weighed on a line; nought when at or over target.
    pub fn remaining_on(&self, line: &TicketLine) -> Mass {
        let left = line.target.micrograms().saturating_sub(self.weighed_on(line.id).micrograms());
        Mass::from_micrograms(left.max(0))
    }
}
