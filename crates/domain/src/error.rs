//! What can go wrong in the house's own terms: refusals that a client is expected to branch on, and problems with input.

use kernel::{Quantity, ids::LotId};
use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::{
    formulas::VersionStatus,
    lots::{LotStatus, Unusable},
    tickets::TicketStatus,
};

/// One thing wrong with what was sent, and where.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Problem {
    /// Where: the path of a field, or file, row and column.
    pub place: String,
    /// What, in a sentence for a person.
    pub message: String,
}

impl Problem {
    /// A problem at a place.
    pub fn at(place: impl Into<String>, message: impl ToString) -> Self {
        Self { place: place.into(), message: message.to_string() }
    }
}

impl std::fmt::Display for Problem {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.place, self.message)
    }
}

fn reasons(reasons: &[Unusable]) -> String {
    reasons.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ")
}

/// A change that the rules of the house do not allow as things stand. Expected; nothing was changed.
#[derive(Debug, Clone, PartialEq, Eq, Error, Serialize, Deserialize)]
pub enum Refusal {
    /// A lot does not hold what is asked of it.
    #[error("lot {lot_number} holds {available} of {material} that can be taken, {needed} are asked for")]
    LotShort {
        /// The lot.
        lot: LotId,
        /// Its number.
        lot_number: String,
        /// The material's code.
        material: String,
        /// Asked for.
        needed: Quantity,
        /// There and not promised elsewhere.
        available: Quantity,
    },
    /// The shelf does not hold what is asked of it.
    #[error("{material} is short: {available} can be used on {on}, {needed} are needed")]
    ShelfShort {
        /// The material's code.
        material: String,
        /// Needed.
        needed: Quantity,
        /// Usable on the day and not promised elsewhere.
        available: Quantity,
        /// The day.
        on: chrono::NaiveDate,
    },
    /// A lot may not be used.
    #[error("lot {lot_number} may not be used on {on}: {}", reasons(.because))]
    LotNotUsable {
        /// The lot.
        lot: LotId,
        /// Its number.
        lot_number: String,
        /// The day.
        on: chrono::NaiveDate,
        /// Everything that stands against it.
        because: Vec<Unusable>,
    },
    /// A lot's status cannot become what is asked.
    #[error("lot {lot_number} is {}; it cannot become {}", .is.words(), .wanted.words())]
    LotStatusFixed {
        /// The lot's number.
        lot_number: String,
        /// What it is.
        is: LotStatus,
        /// What was asked.
        wanted: LotStatus,
    },
    /// The lot is of another material than the line.
    #[error("lot {lot_number} is {lot_material}; line {line} asks for {line_material}")]
    LotOfOtherMaterial {
        /// The lot's number.
        lot_number: String,
        /// The lot's material code.
        lot_material: String,
        /// The line's position.
        line: u32,
        /// The line's material code.
        line_material: String,
    },
    /// The version is not approved, so no ticket can be written from it.
    #[error("version {number} of {formula} is {}; tickets are written from approved versions", .status.word())]
    VersionNotApproved {
        /// The formula's code.
        formula: String,
        /// The version.
        number: u32,
        /// What it is.
        status: VersionStatus,
    },
    /// The version can no longer change.
    #[error("version {number} of {formula} is {} and cannot change; make a new version", .status.word())]
    VersionFixed {
        /// The formula's code.
        formula: String,
        /// The version.
        number: u32,
        /// What it is.
        status: VersionStatus,
    },
    /// The draft is another than the one that was changed.
    #[error("version {number} of {formula} was changed by somebody else since it was read")]
    DraftChanged {
        /// The formula's code.
        formula: String,
        /// The version.
        number: u32,
    },
    /// The ticket does not stand where this can be done.
    #[error("ticket {number} is {}; it must be {wanted} for this", .status.words())]
    TicketNotReady {
        /// The ticket's number.
        number: String,
        /// Where it stands.
        status: TicketStatus,
        /// Where it should stand, in words.
        wanted: String,
    },
    /// The ticket rests.
    #[error("ticket {number} is paused: {reason}")]
    TicketPaused {
        /// The ticket's number.
        number: String,
        /// Why.
        reason: String,
    },
    /// The same weighing was entered before.
    #[error(
        "{amount} of {lot} was entered on line {line} before, by {by}; say that it is another one if it is"
    )]
    EnteredBefore {
        /// The line's position.
        line: u32,
        /// The lot's number, or the material's code where there is no lot.
        lot: String,
        /// The amount.
        amount: Quantity,
        /// Who entered it.
        by: String,
    },
    /// A weighing that the balance is not fit for.
    #[error("line {line}: balance {balance} is not fit for this: {}", .because.join("; "))]
    BalanceNotFit {
        /// The line's position.
        line: u32,
        /// The balance's code.
        balance: String,
        /// Everything that stands against it.
        because: Vec<String>,
    },
    /// Lines whose weighings another person has to look at first.
    #[error("ticket {number} has weighings that nobody else has looked at, on the lines: {}", .lines.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "))]
    NotChecked {
        /// The ticket's number.
        number: String,
        /// Positions.
        lines: Vec<u32>,
    },
    /// In-process checks that are missing or outside their limits.
    #[error("ticket {number} does not meet its checks: {}", .checks.join("; "))]
    ChecksNotMet {
        /// The ticket's number.
        number: String,
        /// Each with what is wrong.
        checks: Vec<String>,
    },
    /// More of a batch is not accounted for than allowed.
    #[error(
        "ticket {number}: {unaccounted} are not accounted for, and {limit} are allowed either way; name where they went, or give a reason"
    )]
    NotAccountedFor {
        /// The ticket's number.
        number: String,
        /// What is missing; below nought when there is more than there should be.
        unaccounted: Quantity,
        /// Allowed either way.
        limit: Quantity,
    },
    /// A weighing lies outside the tolerance of its line.
    #[error(
        "line {line} would hold {weighed} against a target of {target} ± {tolerance}; give a reason to accept it"
    )]
    OutsideTolerance {
        /// The line's position.
        line: u32,
        /// With this weighing.
        weighed: Quantity,
        /// The target.
        target: Quantity,
        /// Allowed either side.
        tolerance: Quantity,
        /// The batch that would make it right, everything else scaled up; `None` when that is not the way out.
        scaled_batch: Option<Quantity>,
    },
    /// Lines of the ticket have not been weighed.
    #[error("ticket {number} has lines that are not weighed: {}", .lines.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "))]
    LinesNotWeighed {
        /// The ticket's number.
        number: String,
        /// Positions.
        lines: Vec<u32>,
    },
    /// More came out than went in, or more was filled than came out.
    #[error("{what}: {claimed} cannot be more than {limit}")]
    MoreThanThereIs {
        /// What was claimed.
        what: String,
        /// The claim.
        claimed: Quantity,
        /// What there is.
        limit: Quantity,
    },
    /// A movement that is already reversed, or that is a reversal, or whose lot no longer holds enough.
    #[error("this movement cannot be reversed: {because}")]
    NotReversible {
        /// Why.
        because: String,
    },
    /// A number, code or reference is taken.
    #[error("{what} {text} exists already")]
    Taken {
        /// What it is of.
        what: String,
        /// The text.
        text: String,
    },
    /// A use level that blocks approval is broken.
    #[error(
        "{material} stands at {found} % w/w in version {number} of {formula}; its legal limit is {limit} %"
    )]
    UseLevelBroken {
        /// The formula's code.
        formula: String,
        /// The version.
        number: u32,
        /// The material's code.
        material: String,
        /// What the version holds, % w/w rounded to 6 places.
        found: String,
        /// The limit.
        limit: String,
    },
}

impl Refusal {
    /// A stable name for programs.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::LotShort { .. } => "LOT_SHORT",
            Self::ShelfShort { .. } => "SHELF_SHORT",
            Self::LotNotUsable { .. } => "LOT_NOT_USABLE",
            Self::LotStatusFixed { .. } => "LOT_STATUS_FIXED",
            Self::LotOfOtherMaterial { .. } => "LOT_OF_OTHER_MATERIAL",
            Self::VersionNotApproved { .. } => "VERSION_NOT_APPROVED",
            Self::VersionFixed { .. } => "VERSION_FIXED",
            Self::DraftChanged { .. } => "DRAFT_CHANGED",
            Self::TicketNotReady { .. } => "TICKET_NOT_READY",
            Self::TicketPaused { .. } => "TICKET_PAUSED",
            Self::EnteredBefore { .. } => "ENTERED_BEFORE",
            Self::BalanceNotFit { .. } => "BALANCE_NOT_FIT",
            Self::NotChecked { .. } => "NOT_CHECKED",
            Self::ChecksNotMet { .. } => "CHECKS_NOT_MET",
            Self::NotAccountedFor { .. } => "NOT_ACCOUNTED_FOR",
            Self::OutsideTolerance { .. } => "OUTSIDE_TOLERANCE",
            Self::LinesNotWeighed { .. } => "LINES_NOT_WEIGHED",
            Self::MoreThanThereIs { .. } => "MORE_THAN_THERE_IS",
            Self::NotReversible { .. } => "NOT_REVERSIBLE",
            Self::Taken { .. } => "TAKEN",
            Self::UseLevelBroken { .. } => "USE_LEVEL_BROKEN",
        }
    }

    /// What would help, in a sentence.
    pub const fn help(&self) -> &'static str {
        match self {
            Self::LotShort { .. } => "Take the rest from another lot, or count this one.",
            Self::ShelfShort { .. } => {
                "Run the check for lots, purchases and the largest batch that can be made."
            }
            Self::LotNotUsable { .. } => {
                "Choose another lot, or give a reason if you may release and reject."
            }
            Self::LotStatusFixed { .. } => {
                "A rejection is final; receive the goods again as another lot if it was a mistake."
            }
            Self::LotOfOtherMaterial { .. } => "Choose a lot of the line's material.",
            Self::VersionNotApproved { .. } => {
                "Approve the version first, or write the ticket from an approved one."
            }
            Self::VersionFixed { .. } => "Make a new version.",
            Self::DraftChanged { .. } => {
                "Read it again and write the change into it, or keep yours as a new version."
            }
            Self::TicketNotReady { .. } => "Look at the ticket's status and history.",
            Self::TicketPaused { .. } => "Resume the ticket first.",
            Self::EnteredBefore { .. } => {
                "Leave it when it is the same sheet typed twice; confirm that it is another one when it is."
            }
            Self::BalanceNotFit { .. } => {
                "Take another balance, or give a reason if you may release and reject."
            }
            Self::NotChecked { .. } => "Let another person look at the weighings and confirm them.",
            Self::ChecksNotMet { .. } => {
                "Adjust and test again, or accept it with a reason if you may release and reject."
            }
            Self::NotAccountedFor { .. } => {
                "Look for spills, samples and wrong weighings, or give a reason if you may release and reject."
            }
            Self::OutsideTolerance { .. } => {
                "Weigh again, accept it with a reason, or scale the batch up to what was weighed."
            }
            Self::LinesNotWeighed { .. } => "Weigh the lines that are missing.",
            Self::MoreThanThereIs { .. } => "Check the figure and its unit.",
            Self::NotReversible { .. } => "Count the lot, if the shelf differs.",
            Self::Taken { .. } => "Choose another.",
            Self::UseLevelBroken { .. } => "Lower the amount, or have the limit changed by whoever set it.",
        }
    }
}
