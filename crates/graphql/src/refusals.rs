//! Refusals: what the rules of the house do not allow as things stand. Expected, and typed so that a client can branch on them.

use async_graphql::{Enum, ID, Interface, SimpleObject};
use domain::Refusal as R;

use crate::{
    amounts::Quantity,
    formulas::VersionStatus,
    ids::global_id,
    lots::{LotStatus, Unusable, reasons},
    scalars::{Date, Decimal},
    tickets::TicketStatus,
};

/// What kind of refusal it is.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum RefusalCode {
    /// A lot does not hold what is asked of it.
    LotShort,
    /// The shelf does not hold what is asked of it.
    ShelfShort,
    /// A lot may not be used.
    LotNotUsable,
    /// A lot's status cannot become what is asked.
    LotStatusFixed,
    /// The lot is of another material than the line.
    LotOfOtherMaterial,
    /// The version is not approved.
    VersionNotApproved,
    /// The version can no longer change.
    VersionFixed,
    /// The draft is another than the one that was changed.
    DraftChanged,
    /// The ticket does not stand where this can be done.
    TicketNotReady,
    /// The ticket rests.
    TicketPaused,
    /// The same weighing was entered before.
    EnteredBefore,
    /// A balance is not fit for a weighing.
    BalanceNotFit,
    /// Weighings that a second person has to look at first.
    NotChecked,
    /// In-process checks are missing or outside their limits.
    ChecksNotMet,
    /// More of a batch is not accounted for than allowed.
    NotAccountedFor,
    /// A weighing lies outside the tolerance of its line.
    OutsideTolerance,
    /// Lines of the ticket have not been weighed.
    LinesNotWeighed,
    /// More is claimed than there can be.
    MoreThanThereIs,
    /// A movement or weighing that cannot be undone.
    NotReversible,
    /// A number, code or reference is taken.
    Taken,
    /// A legal limit is broken.
    UseLevelBroken,
}

/// A change that the rules of the house do not allow as things stand. Nothing was changed.
#[derive(Interface)]
#[graphql(field(name = "code", ty = "RefusalCode", desc = "What kind of refusal it is, for programs."))]
#[graphql(field(
    name = "message",
    ty = "String",
    desc = "What stands in the way, in a sentence for a person."
))]
#[graphql(field(name = "help", ty = "String", desc = "What would help, in a sentence for a person."))]
pub enum Refusal {
    /// A lot does not hold what is asked of it.
    LotShort(LotShort),
    /// The shelf does not hold what is asked of it.
    ShelfShort(ShelfShort),
    /// A lot may not be used.
    LotNotUsable(LotNotUsable),
    /// A lot's status cannot become what is asked.
    LotStatusFixed(LotStatusFixed),
    /// The lot is of another material than the line.
    LotOfOtherMaterial(LotOfOtherMaterial),
    /// The version is not approved.
    VersionNotApproved(VersionNotApproved),
    /// The version can no longer change.
    VersionFixed(VersionFixed),
    /// The draft is another than the one that was changed.
    DraftChanged(DraftChanged),
    /// The ticket does not stand where this can be done.
    TicketNotReady(TicketNotReady),
    /// The ticket rests.
    TicketPaused(TicketPaused),
    /// The same weighing was entered before.
    EnteredBefore(EnteredBefore),
    /// A balance is not fit for a weighing.
    BalanceNotFit(BalanceNotFit),
    /// Weighings that a second person has to look at first.
    NotChecked(NotChecked),
    /// In-process checks are missing or outside their limits.
    ChecksNotMet(ChecksNotMet),
    /// More of a batch is not accounted for than allowed.
    NotAccountedFor(NotAccountedFor),
    /// A weighing lies outside the tolerance of its line.
    OutsideTolerance(OutsideTolerance),
    /// Lines of the ticket have not been weighed.
    LinesNotWeighed(LinesNotWeighed),
    /// More is claimed than there can be.
    MoreThanThereIs(MoreThanThereIs),
    /// A movement or weighing that cannot be undone.
    NotReversible(NotReversible),
    /// A number, code or reference is taken.
    Taken(Taken),
    /// A legal limit is broken.
    UseLevelBroken(UseLevelBroken),
}

/// The change was refused. Nothing was changed.
#[derive(SimpleObject)]
pub struct Refused {
    /// Everything that stands in its way.
    pub refusals: Vec<Refusal>,
}

impl Refused {
    /// Refusals as they are answered.
    pub(crate) fn of(refusals: &[R]) -> Self {
        Self { refusals: refusals.iter().map(Refusal::from).collect() }
    }
}

macro_rules! refusals {
    ($($(#[$doc:meta])* $name:ident { $($(#[$field_doc:meta])* $field:ident: $ty:ty,)* })*) => {$(
        $(#[$doc])*
        #[derive(SimpleObject)]
        pub struct $name {
            /// What kind of refusal it is, for programs.
            #[graphql(owned)]
            pub code: RefusalCode,
            /// What stands in the way, in a sentence for a person.
            #[graphql(owned)]
            pub message: String,
            /// What would help, in a sentence for a person.
            #[graphql(owned)]
            pub help: String,
            $($(#[$field_doc])* pub $field: $ty,)*
        }
    )*};
}

refusals! {
    /// A lot does not hold what is asked of it.
    LotShort {
        /// The lot, by global id.
        lot_id: ID,
        /// Its number.
        lot_number: String,
        /// The code of its material.
        material_code: String,
        /// Asked for.
        needed: Quantity,
        /// There, and not promised elsewhere.
        available: Quantity,
    }
    /// The shelf does not hold what is asked of it.
    ShelfShort {
        /// The code of the material.
        material_code: String,
        /// Needed.
        needed: Quantity,
        /// Usable on the day, and not promised elsewhere.
        available: Quantity,
        /// The day.
        on: Date,
    }
    /// A lot may not be used.
    LotNotUsable {
        /// The lot, by global id.
        lot_id: ID,
        /// Its number.
        lot_number: String,
        /// The day.
        on: Date,
        /// Everything that stands against it.
        because: Vec<Unusable>,
    }
    /// A lot's status cannot become what is asked.
    LotStatusFixed {
        /// The lot's number.
        lot_number: String,
        /// What it is.
        is: LotStatus,
        /// What was asked.
        wanted: LotStatus,
    }
    /// The lot is of another material than the line.
    LotOfOtherMaterial {
        /// The lot's number.
        lot_number: String,
        /// The code of the lot's material.
        lot_material_code: String,
        /// The position of the line.
        line: u32,
        /// The code of the line's material.
        line_material_code: String,
    }
    /// The version is not approved, so no ticket can be written from it.
    VersionNotApproved {
        /// The code of the formula.
        formula_code: String,
        /// The version's number.
        version_number: u32,
        /// What it is.
        status: VersionStatus,
    }
    /// The version can no longer change; make a new one.
    VersionFixed {
        /// The code of the formula.
        formula_code: String,
        /// The version's number.
        version_number: u32,
        /// What it is.
        status: VersionStatus,
    }
    /// The draft is another than the one that was changed: somebody wrote it since it was read.
    DraftChanged {
        /// The code of the formula.
        formula_code: String,
        /// The version's number.
        version_number: u32,
    }
    /// The ticket does not stand where this can be done.
    TicketNotReady {
        /// The ticket's number.
        ticket_number: String,
        /// Where it stands.
        status: TicketStatus,
        /// Where it should stand, in words.
        wanted: String,
    }
    /// The ticket rests; nothing is entered on it before it is resumed.
    TicketPaused {
        /// The ticket's number.
        ticket_number: String,
        /// Why it rests.
        reason: String,
    }
    /// The same weighing (line, lot and amount) was entered shortly before.
    EnteredBefore {
        /// The position of the line.
        line: u32,
        /// The lot's number, or the material's code where there is no lot.
        lot: String,
        /// The amount.
        amount: Quantity,
        /// Who entered it.
        by: String,
    }
    /// A balance that is not fit for a weighing: too coarse for so little, too small for so much, or due for calibration.
    BalanceNotFit {
        /// The position of the line.
        line: u32,
        /// The balance's code.
        balance_code: String,
        /// Everything that stands against it, in words.
        because: Vec<String>,
    }
    /// Weighings that a second person has to look at before the batch is made.
    NotChecked {
        /// The ticket's number.
        ticket_number: String,
        /// Positions of their lines.
        lines: Vec<u32>,
    }
    /// In-process checks are missing or outside their limits.
    ChecksNotMet {
        /// The ticket's number.
        ticket_number: String,
        /// Each with what is wrong, in words.
        checks: Vec<String>,
    }
    /// More of a batch is not accounted for than allowed.
    NotAccountedFor {
        /// The ticket's number.
        ticket_number: String,
        /// What is missing; below nought when there is more than there should be.
        unaccounted: Quantity,
        /// Allowed either way.
        limit: Quantity,
    }
    /// A weighing lies outside the tolerance of its line.
    OutsideTolerance {
        /// The position of the line.
        line: u32,
        /// What the line would hold with it.
        weighed: Quantity,
        /// The line's target.
        target: Quantity,
        /// Allowed either side of the target.
        tolerance: Quantity,
        /// The batch that would make it right, everything else scaled up (see ticketScale); null when that is not the way out.
        scaled_batch: Option<Quantity>,
    }
    /// Lines of the ticket have not been weighed.
    LinesNotWeighed {
        /// The ticket's number.
        ticket_number: String,
        /// Their positions.
        lines: Vec<u32>,
    }
    /// More came out than went in, or more was filled than came out.
    MoreThanThereIs {
        /// What was claimed.
        what: String,
        /// The claim.
        claimed: Quantity,
        /// What there is.
        limit: Quantity,
    }
    /// A movement or weighing that was undone before, is itself an undoing, or whose lot no longer holds enough.
    NotReversible {
        /// Why.
        because: String,
    }
    /// A number, code or reference is taken.
    Taken {
        /// What it is of.
        what: String,
        /// The text.
        text: String,
    }
    /// A legal limit that blocks approval is broken.
    UseLevelBroken {
        /// The code of the formula.
        formula_code: String,
        /// The version's number.
        version_number: u32,
        /// The code of the material.
        material_code: String,
        /// What the version holds, % w/w, to 6 places.
        found_percent: Decimal,
        /// The limit, % w/w.
        limit_percent: Decimal,
    }
}

/// A figure the refusal carries as text; it was written by the programme itself.
fn figure(text: &str) -> Decimal {
    Decimal(kernel::parse_decimal(text, kernel::DecimalMark::Point).unwrap_or_default())
}

impl From<&R> for Refusal {
    fn from(refusal: &R) -> Self {
        let (message, help) = (refusal.to_string(), refusal.help().to_owned());
        match refusal {
            R::LotShort { lot, lot_number, material, needed, available } => Self::LotShort(LotShort {
                code: RefusalCode::LotShort,
                message,
                help,
                lot_id: global_id(*lot),
                lot_number: lot_number.clone(),
                material_code: material.clone(),
                needed: Quantity(*needed),
                available: Quantity(*available),
            }),
            R::ShelfShort { material, needed, available, on } => Self::ShelfShort(ShelfShort {
                code: RefusalCode::ShelfShort,
                message,
                help,
                material_code: material.clone(),
                needed: Quantity(*needed),
                available: Quantity(*available),
                on: Date(*on),
            }),
            R::LotNotUsable { lot, lot_number, on, because } => Self::LotNotUsable(LotNotUsable {
                code: RefusalCode::LotNotUsable,
                message,
                help,
                lot_id: global_id(*lot),
                lot_number: lot_number.clone(),
                on: Date(*on),
                because: reasons(because),
            }),
            R::LotStatusFixed { lot_number, is, wanted } => Self::LotStatusFixed(LotStatusFixed {
                code: RefusalCode::LotStatusFixed,
                message,
                help,
                lot_number: lot_number.clone(),
                is: (*is).into(),
                wanted: (*wanted).into(),
            }),
            R::LotOfOtherMaterial { lot_number, lot_material, line, line_material } => {
                Self::LotOfOtherMaterial(LotOfOtherMaterial {
                    code: RefusalCode::LotOfOtherMaterial,
                    message,
                    help,
                    lot_number: lot_number.clone(),
                    lot_material_code: lot_material.clone(),
                    line: *line,
                    line_material_code: line_material.clone(),
                })
            }
            R::VersionNotApproved { formula, number, status } => {
                Self::VersionNotApproved(VersionNotApproved {
                    code: RefusalCode::VersionNotApproved,
                    message,
                    help,
                    formula_code: formula.clone(),
                    version_number: *number,
                    status: (*status).into(),
                })
            }
            R::DraftChanged { formula, number } => Self::DraftChanged(DraftChanged {
                code: RefusalCode::DraftChanged,
                message,
                help,
                formula_code: formula.clone(),
                version_number: *number,
            }),
            R::VersionFixed { formula, number, status } => Self::VersionFixed(VersionFixed {
                code: RefusalCode::VersionFixed,
                message,
                help,
                formula_code: formula.clone(),
                version_number: *number,
                status: (*status).into(),
            }),
            R::TicketNotReady { number, status, wanted } => Self::TicketNotReady(TicketNotReady {
                code: RefusalCode::TicketNotReady,
                message,
                help,
                ticket_number: number.clone(),
                status: (*status).into(),
                wanted: wanted.clone(),
            }),
            R::TicketPaused { number, reason } => Self::TicketPaused(TicketPaused {
                code: RefusalCode::TicketPaused,
                message,
                help,
                ticket_number: number.clone(),
                reason: reason.clone(),
            }),
            R::EnteredBefore { line, lot, amount, by } => Self::EnteredBefore(EnteredBefore {
                code: RefusalCode::EnteredBefore,
                message,
                help,
                line: *line,
                lot: lot.clone(),
                amount: Quantity(*amount),
                by: by.clone(),
            }),
            R::BalanceNotFit { line, balance, because } => Self::BalanceNotFit(BalanceNotFit {
                code: RefusalCode::BalanceNotFit,
                message,
                help,
                line: *line,
                balance_code: balance.clone(),
                because: because.clone(),
            }),
            R::NotChecked { number, lines } => Self::NotChecked(NotChecked {
                code: RefusalCode::NotChecked,
                message,
                help,
                ticket_number: number.clone(),
                lines: lines.clone(),
            }),
            R::ChecksNotMet { number, checks } => Self::ChecksNotMet(ChecksNotMet {
                code: RefusalCode::ChecksNotMet,
                message,
                help,
                ticket_number: number.clone(),
                checks: checks.clone(),
            }),
            R::NotAccountedFor { number, unaccounted, limit } => Self::NotAccountedFor(NotAccountedFor {
                code: RefusalCode::NotAccountedFor,
                message,
                help,
                ticket_number: number.clone(),
                unaccounted: Quantity(*unaccounted),
                limit: Quantity(*limit),
            }),
            R::OutsideTolerance { line, weighed, target, tolerance, scaled_batch } => {
                Self::OutsideTolerance(OutsideTolerance {
                    code: RefusalCode::OutsideTolerance,
                    message,
                    help,
                    line: *line,
                    weighed: Quantity(*weighed),
                    target: Quantity(*target),
                    tolerance: Quantity(*tolerance),
                    scaled_batch: scaled_batch.map(Quantity),
                })
            }
            R::LinesNotWeighed { number, lines } => Self::LinesNotWeighed(LinesNotWeighed {
                code: RefusalCode::LinesNotWeighed,
                message,
                help,
                ticket_number: number.clone(),
                lines: lines.clone(),
            }),
            R::MoreThanThereIs { what, claimed, limit } => Self::MoreThanThereIs(MoreThanThereIs {
                code: RefusalCode::MoreThanThereIs,
                message,
                help,
                what: what.clone(),
                claimed: Quantity(*claimed),
                limit: Quantity(*limit),
            }),
            R::NotReversible { because } => Self::NotReversible(NotReversible {
                code: RefusalCode::NotReversible,
                message,
                help,
                because: because.clone(),
            }),
            R::Taken { what, text } => Self::Taken(Taken {
                code: RefusalCode::Taken,
                message,
                help,
                what: what.clone(),
                text: text.clone(),
            }),
            R::UseLevelBroken { formula, number, material, found, limit } => {
                Self::UseLevelBroken(UseLevelBroken {
                    code: RefusalCode::UseLevelBroken,
                    message,
                    help,
                    formula_code: formula.clone(),
                    version_number: *number,
                    material_code: material.clone(),
                    found_percent: figure(found),
                    limit_percent: figure(limit),
                })
            }
        }
    }
}
