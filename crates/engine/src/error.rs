//! Why a question has no answer at all, as opposed to an answer with gaps.

use chrono::NaiveDate;
use kernel::{
    AmountError,
    ids::FormulaId,
    limits::{NESTING_LEVELS_MAX, SCENARIO_CHANGES_MAX},
};
use thiserror::Error;

/// Why a question cannot be answered. The texts are for the person who asked.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum EngineError {
    /// The question names something the catalogue does not hold.
    #[error("there is no {what} {key} in the catalogue")]
    NotFound {
        /// The kind of thing.
        what: &'static str,
        /// Its identity or code.
        key: String,
    },
    /// A pack was asked for and its formula has no version approved by that day.
    #[error("formula {code} has no version approved by {on}; approve one, or name the version to use")]
    NoApprovedVersion {
        /// The formula.
        formula: FormulaId,
        /// Its code.
        code: String,
        /// The day.
        on: NaiveDate,
    },
    /// The version named for a pack belongs to another formula.
    #[error("pack {pack} is filled with formula {wanted}; the version named is of formula {found}")]
    VersionOfOtherFormula {
        /// The pack's code.
        pack: String,
        /// The code of the formula it is filled with.
        wanted: String,
        /// The code of the formula the version belongs to.
        found: String,
    },
    /// A version whose lines do not make a whole.
    #[error("version {number} of formula {formula}: {fault}")]
    UnsoundFormula {
        /// The formula's code.
        formula: String,
        /// The version.
        number: u32,
        /// What is wrong with it.
        fault: FormulaFault,
    },
    /// A formula that contains itself.
    #[error("{} contains itself: {}", .path.first().map_or("a formula", String::as_str), .path.join(" → "))]
    Loop {
        /// Material codes from the formula's product back to itself.
        path: Vec<String>,
    },
    /// Intermediates nested deeper than is followed.
    #[error("intermediates are nested more than {NESTING_LEVELS_MAX} deep: {}", .path.join(" → "))]
    TooDeep {
        /// Material codes from the top.
        path: Vec<String>,
    },
    /// Process loss, evaporation, heel, samples and retains take the whole batch.
    #[error("version {number} of formula {formula}: of {charged} charged, loss and heel leave nothing")]
    NothingLeft {
        /// The formula's code.
        formula: String,
        /// The version.
        number: u32,
        /// The batch, with its unit.
        charged: String,
    },
    /// The batch does not fill one unit.
    #[error("the batch leaves {available} to fill; one unit of pack {pack} takes {needed}")]
    NotOneUnit {
        /// The pack's code.
        pack: String,
        /// What is left to fill, with its unit.
        available: String,
        /// What one unit takes, with its unit.
        needed: String,
    },
    /// Every unit that the batch fills is kept back.
    #[error(
        "the batch fills {filled} units of pack {pack}, and {kept_back} are kept back: none is left to sell"
    )]
    NothingSaleable {
        /// The pack's code.
        pack: String,
        /// Units filled.
        filled: i128,
        /// Units kept back.
        kept_back: u32,
    },
    /// A pack whose declared quantity is neither a mass nor a volume, or is nought.
    #[error("pack {pack} has no fill: a declared mass or volume above nought is needed")]
    NoFill {
        /// The pack's code.
        pack: String,
    },
    /// A batch of nought or less.
    #[error("a batch must be above nought")]
    BatchNotPositive,
    /// A question about something that cannot be varied, compared or worked back as asked.
    #[error("{why}")]
    QuestionDoesNotFit {
        /// Why.
        why: String,
    },
    /// A scenario of more changes than are followed.
    #[error("a scenario of {found} changes is longer than the {SCENARIO_CHANGES_MAX} that are followed")]
    TooManyChanges {
        /// How many it has.
        found: usize,
    },
    /// A change of a scenario that cannot be assumed.
    #[error("change {position} of the scenario: {why}")]
    ChangeDoesNotFit {
        /// Position in the scenario, from 1.
        position: usize,
        /// Why.
        why: String,
    },
    /// A figure left the range that can be kept or shown.
    #[error(transparent)]
    Amount(#[from] AmountError),
}

impl EngineError {
    /// Whether all that is wrong is that a version's lines miss their total. A draft may stand with that, for it is where a formula is
    /// worked on; it is not approved with it.
    pub const fn is_missed_total(&self) -> bool {
        matches!(
            self,
            Self::UnsoundFormula {
                fault: FormulaFault::TotalNotHundred { .. } | FormulaFault::OverTotal { .. },
                ..
            }
        )
    }
}

/// What is wrong with the lines of a version. Figures are in percent or grams as the version is written.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum FormulaFault {
    /// No lines, or only lines of nought.
    #[error("its lines add up to nothing")]
    Empty,
    /// A percent version without q.s. that misses 100 %.
    #[error("its lines add up to {found} % w/w instead of 100 %; correct a line or make one q.s.")]
    TotalNotHundred {
        /// What they add up to, %.
        found: String,
    },
    /// More than one q.s. line.
    #[error("lines {} are all q.s.; only one line can take the rest", .positions.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "))]
    SeveralQuantitySufficient {
        /// Their positions.
        positions: Vec<u32>,
    },
    /// The other lines leave less than nothing to the q.s. line, or a sheet with an unknown line is over its total already.
    #[error("its lines exceed the total by {by}")]
    OverTotal {
        /// By how much, with the unit.
        by: String,
    },
    /// A line whose amount cannot stand in a version written this way.
    #[error("line {position}: {why}")]
    AmountDoesNotFit {
        /// The line.
        position: u32,
        /// Why.
        why: &'static str,
    },
}
