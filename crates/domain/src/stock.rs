//! The stock ledger: what changed a lot's amount, when, by whom, and what it was worth.
//!
//! The ledger is only ever added to. A mistake is put right by a movement that names the one it reverses.

use chrono::{DateTime, NaiveDate, Utc};
use kernel::{
    AmountError, Exact, Money, Quantity,
    ids::{ContainerId, LotId, MovementId, TicketId},
};
use serde::{Deserialize, Serialize};

/// What kind of change a movement is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MovementKind {
    /// A delivery came in.
    Receipt,
    /// A ticket made it.
    Made,
    /// Weighed into a batch.
    Weighing,
    /// Filled into packs, or used up by packing.
    Filling,
    /// Found to be more or less by counting.
    Adjustment,
    /// Taken as a sample or for the bench.
    Sample,
    /// Spilled, expired, disposed of.
    WriteOff,
    /// Undoes another movement.
    Reversal,
}

impl MovementKind {
    /// All kinds.
    pub const ALL: [Self; 8] = [
        Self::Receipt,
        Self::Made,
        Self::Weighing,
        Self::Filling,
        Self::Adjustment,
        Self::Sample,
        Self::WriteOff,
        Self::Reversal,
    ];

    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Receipt => "receipt",
            Self::Made => "made",
            Self::Weighing => "weighing",
            Self::Filling => "filling",
            Self::Adjustment => "adjustment",
            Self::Sample => "sample",
            Self::WriteOff => "write-off",
            Self::Reversal => "reversal",
        }
    }
}

mod cause;

pub use cause::Cause;

/// One entry of the ledger.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Movement {
    /// Identity.
    pub id: MovementId,
    /// The lot it changes.
    pub lot: LotId,
    /// What kind of change.
    pub kind: MovementKind,
    /// What came in (above nought) or went out (below).
    pub quantity: Quantity,
    /// Its exact share of the lot's value, same sign; `None` for a lot without a value.
    pub value: Option<Money>,
    /// The business day it counts for.
    pub on: NaiveDate,
    /// When it was entered.
    pub entered_at: DateTime<Utc>,
    /// Who entered it.
    pub by: String,
    /// The ticket it belongs to.
    pub ticket: Option<TicketId>,
    /// The movement it undoes.
    pub reverses: Option<MovementId>,
    /// Why, in a word that can be counted.
    #[serde(default)]
    pub cause: Option<Cause>,
    /// The container it was taken from, when that was said.
    #[serde(default)]
    pub container: Option<ContainerId>,
    /// Why, in the words of whoever entered it.
    pub reason: Option<String>,
}

/// The value that leaves with `taken` of a lot holding `on_hand` worth `value`: its exact share rounded half to even to the
/// millionth, or all that is left when the lot is emptied, so that the values of a lot's movements always add up to its receipt.
///
/// # Errors
/// [`AmountError`] when `taken` is above `on_hand`, which the caller has refused before.
pub fn value_leaving(on_hand: Quantity, value: Money, taken: Quantity) -> Result<Money, AmountError> {
    if taken.raw() > on_hand.raw() {
        return Err(AmountError::Overflow("a lot"));
    }
    if taken.raw() == on_hand.raw() {
        return Ok(value);
    }
    let share = Exact::ratio(i128::from(taken.raw()), i128::from(on_hand.raw()))?;
    Money::from_exact_half_even(&(value.to_exact() * share), value.currency())
}

#[cfg(test)]
mod tests {
    use super::*;
    use kernel::{Currency, Mass};
    use proptest::prelude::*;

    proptest! {
        /// Whatever is taken in whatever steps, the last step leaves no value behind.
        #[test]
        fn value_is_conserved(
            received in 1_i64..1_000_000_000_000,
            value in 0_i64..1_000_000_000_000,
            cuts in prop::collection::vec(1_i64..100, 0..20),
        ) {
            let mut on_hand = received;
            let mut left = Money::from_micros(value, Currency::GBP);
            let mut given = 0_i64;
            let steps = cuts.iter().map(|c| received / 100 * c / 20).chain([i64::MAX]);
            for step in steps {
                let taken = step.min(on_hand);
                let quantity = |raw| Quantity::Mass(Mass::from_micrograms(raw));
                let leaving = value_leaving(quantity(on_hand), left, quantity(taken)).unwrap();
                prop_assert!(leaving.micros() >= 0 && leaving.micros() <= left.micros());
                on_hand -= taken;
                left = left.checked_sub(leaving).unwrap();
                given += leaving.micros();
            }
            prop_assert_eq!(on_hand, 0);
            prop_assert_eq!(left.micros(), 0);
            prop_assert_eq!(given, value);
        }
    }
}
