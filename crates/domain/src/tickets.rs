//! Batch tickets: the record by which one batch is made. A ticket is a frozen copy of an approved formula version.

use chrono::{DateTime, NaiveDate, Utc};
use kernel::{
    AmountError, Count, Density, Exact, Mass, Percent, Quantity,
    ids::{
        BalanceId, FormulaId, FormulaVersionId, LotId, MaterialId, MovementId, PackId, TicketId,
        TicketLineId, WeighingId,
    },
};
use serde::{Deserialize, Serialize};

pub use crate::ticket_life::{Pause, Step, TicketStatus, WeighingOutcome};

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
    /// Remarks; the reason when it was cancelled or voided.
    pub note: Option<String>,
    /// Why it rests, while it does; nothing is entered on it meanwhile.
    #[serde(default)]
    pub paused: Option<Pause>,
    /// What was to be charged when it was written; differs from `batch` once it was scaled.
    #[serde(default)]
    pub planned_batch: Option<Mass>,
    /// Where it went, step by step, with who and when.
    #[serde(default)]
    pub steps: Vec<Step>,
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
    /// What is asked of its weighings besides the amount.
    #[serde(default)]
    pub asks: LineAsks,
}

/// What is asked of the weighings of a line besides its amount.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct LineAsks {
    /// It brings the batch to its total: what other lines need more or less of a stronger or weaker lot is taken from it.
    pub fills_up: bool,
    /// The active matter its target was worked out with, where the target is of active matter: a lot of another strength then counts
    /// as more or less than its mass.
    pub nominal_active: Option<Percent>,
    /// The balance to weigh it on.
    pub balance: Option<BalanceId>,
    /// Another person has to look at each weighing before the batch is made.
    pub second_check: bool,
    /// The lot of an earlier batch that is worked into this one; the line takes no other.
    pub rework_of: Option<LotId>,
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
    /// When it was entered.
    pub at: DateTime<Utc>,
    /// The second person.
    pub checked_by: Option<String>,
    /// The entry of the ledger it made.
    pub movement: Option<MovementId>,
    /// Why it was taken back, or what became of it with a voided ticket.
    pub reversed: Option<String>,
    /// How it was weighed and what it counts for.
    #[serde(default)]
    pub how: WeighedHow,
}

/// How something was weighed, and what it counts for.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct WeighedHow {
    /// What the balance showed with the container, where that was entered.
    pub gross: Option<Mass>,
    /// The container alone.
    pub tare: Option<Mass>,
    /// The balance.
    pub balance: Option<BalanceId>,
    /// When it was weighed, where that was before it was entered.
    pub done_at: Option<DateTime<Utc>>,
    /// Why a lot or an amount outside the rules was taken all the same, or that a second equal weighing is meant.
    pub reason: Option<String>,
    /// What it counts for against the target; `None` when that is its mass. A stronger lot counts for more, an alternate by its factor.
    pub counts_as: Option<Mass>,
    /// Added until a result was reached: the result before.
    pub result_before: Option<String>,
    /// And after.
    pub result_after: Option<String>,
    /// Minutes it was mixed in before the result was looked at.
    pub mixed_minutes: Option<u32>,
    /// When the second person confirmed it, where they did so themselves.
    pub checked_at: Option<DateTime<Utc>>,
    /// What became of it when it was undone.
    pub outcome: Option<WeighingOutcome>,
}

impl Weighing {
    /// Whether it still counts: not taken back, and not voided with its ticket.
    pub const fn stands(&self) -> bool {
        self.reversed.is_none()
    }

    /// What it counts for against the target of its line.
    pub fn counted(&self) -> Mass {
        self.how.counts_as.unwrap_or(self.amount)
    }

    /// Whether it was entered later than it was done.
    pub fn is_late(&self) -> bool {
        self.how.done_at.is_some_and(|done| done < self.at)
    }
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
        self.sum_on(line, |weighing| weighing.amount)
    }

    /// What the weighings of a line count for against its target: their mass, unless lots were stronger or weaker than the target was
    /// worked out with, or an alternate was taken.
    pub fn counted_on(&self, line: TicketLineId) -> Mass {
        self.sum_on(line, Weighing::counted)
    }

    fn sum_on(&self, line: TicketLineId, of: impl Fn(&Weighing) -> Mass) -> Mass {
        let standing = self.weighings.iter().filter(|w| w.line == line && w.stands());
        Mass::from_micrograms(standing.fold(0_i64, |sum, w| sum.saturating_add(of(w).micrograms())))
    }

    /// What a line has to come to as things stand: its target, and for the line that fills up to the total less what other lines took
    /// beyond what that counts for. Below nought when there is no room left for it.
    pub fn target_of(&self, line: &TicketLine) -> Mass {
        if !line.asks.fills_up {
            return line.target;
        }
        let others = self.weighings.iter().filter(|w| w.line != line.id && w.stands());
        let beyond = others.fold(0_i64, |sum, w| {
            sum.saturating_add(w.amount.micrograms()).saturating_sub(w.counted().micrograms())
        });
        Mass::from_micrograms(line.target.micrograms().saturating_sub(beyond))
    }

    /// What is still to be weighed on a line; nought when at or over target.
    pub fn remaining_on(&self, line: &TicketLine) -> Mass {
        let left = self.target_of(line).micrograms().saturating_sub(self.counted_on(line.id).micrograms());
        Mass::from_micrograms(left.max(0))
    }

    /// Everything that stands in the batch, kg as weighed.
    pub fn charged(&self) -> Mass {
        let standing = self.weighings.iter().filter(|w| w.stands());
        Mass::from_micrograms(standing.fold(0_i64, |sum, w| sum.saturating_add(w.amount.micrograms())))
    }

    /// The share of a line in everything weighed so far; nought before anything was.
    pub fn share_as_weighed(&self, line: TicketLineId) -> Exact {
        self.weighed_on(line).to_exact().checked_div(&self.charged().to_exact()).unwrap_or_default()
    }

    /// The batch that would be right, everything else scaled up, if a line held so much; never less than it is.
    ///
    /// # Errors
    /// [`AmountError`] when it is more than can be kept.
    pub fn batch_scaled_to(&self, line: &TicketLine, held: Mass) -> Result<Mass, AmountError> {
        if held <= line.target || !line.target.is_positive() {
            return Ok(self.batch);
        }
        let scaled = (held.to_exact() * self.batch.to_exact()).checked_div(&line.target.to_exact())?;
        Mass::from_exact_up(&scaled)
    }

    /// Lines with weighings that nobody else has looked at, though the ticket asks for it.
    pub fn unchecked_lines(&self) -> Vec<u32> {
        let unchecked = |line: &&TicketLine| {
            line.asks.second_check
                && self.weighings.iter().any(|w| w.line == line.id && w.stands() && w.checked_by.is_none())
        };
        self.lines.iter().filter(unchecked).map(|line| line.position).collect()
    }
}

#[cfg(test)]
mod tests;
