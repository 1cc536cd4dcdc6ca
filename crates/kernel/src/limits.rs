//! Limits that hold everywhere, in one place, each with its reason.

use crate::Percent;

/// Characters of one figure as written; a 200-digit number is an accident or an attack, never an amount.
pub const FIGURE_CHARS_MAX: usize = 40;
/// Levels of intermediates within intermediates. Real formulas nest two or three deep; a bound keeps every walk finite.
pub const NESTING_LEVELS_MAX: usize = 16;
/// Completed tickets that the running average of a trim line looks back over, the latest of its formula: what a vessel took two
/// years ago says little about the next batch.
pub const TRIM_TICKETS_MAX: usize = 20;
/// Lines of one formula version.
pub const FORMULA_LINES_MAX: usize = 500;
/// Named costs of making one formula version.
pub const MAKING_COSTS_MAX: usize = 50;
/// Charges of one quotation besides freight.
pub const CHARGES_MAX: usize = 50;
/// Characters of a code, a lot number or a reference.
pub const CODE_CHARS_MAX: usize = 60;
/// Characters of a name.
pub const NAME_CHARS_MAX: usize = 200;
/// Characters of a note, an instruction or a reason.
pub const NOTE_CHARS_MAX: usize = 4_000;
/// Rows of one page of a list.
pub const PAGE_ROWS_MAX: usize = 100;
/// Weighings of one ticket.
pub const TICKET_WEIGHINGS_MAX: usize = 2_000;
/// Hours within which the same weighing again (line, lot and amount) is taken for the same sheet typed twice: a working day, and the
/// paper of the day before.
pub const SAME_SHEET_HOURS: i64 = 24;
/// The share of a batch that rework may make up before somebody who releases and rejects has to write the ticket (common practice, no
/// source: 5 to 10 %).
pub const REWORK_SHARE_USUAL: Percent = Percent::from_nano(10_000_000_000);
/// Lots followed in one trace: a recall that reaches more is traced in parts.
pub const TRACE_LOTS_MAX: usize = 5_000;
/// What may be missing of a batch after making, % of what was charged, before somebody who releases and rejects has to say why (common
/// practice, no source).
pub const UNACCOUNTED_IN_MAKING_USUAL: Percent = Percent::from_nano(2_000_000_000);
/// What may be missing of a batch in all, % of what was charged (common practice, no source).
pub const UNACCOUNTED_IN_ALL_USUAL: Percent = Percent::from_nano(3_000_000_000);
/// What may be missing of counted components, % of what was brought to the line (common practice, no source).
pub const PIECES_MISSING_USUAL: Percent = Percent::from_nano(1_000_000_000);
/// Runs that are checked in one go.
pub const RUNS_ASKED_MAX: usize = 20;
/// Changes in one scenario.
pub const SCENARIO_CHANGES_MAX: usize = 100;
/// The densest liquid or paste the house accepts, kg/L. Titanium dioxide is 4; a density of 13 is a slip of the point.
pub const DENSITY_KG_PER_L_MAX: i64 = 8;
