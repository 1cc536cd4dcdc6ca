//! A cost that was known later: what each movement of a lot would have been worth had the cost been known from the start.
//!
//! The ledger stays as posted. A lot is replayed with its settled cost, and beside each movement stands the difference; so what is
//! left in the lot and what went into batches add up to the settled cost, to the last millionth.

use chrono::{DateTime, Utc};
use kernel::{
    AmountError, Currency, Money, Quantity,
    ids::{CorrectionId, LotId, MovementId, TicketId},
};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, HashMap};

use crate::stock::{Movement, MovementKind, value_leaving};

/// What became known of a lot's cost.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CostCorrection {
    /// Identity.
    pub id: CorrectionId,
    /// The lot.
    pub lot: LotId,
    /// What its receipt was worth more (above nought) or less.
    pub amount: Money,
    /// When it was entered.
    pub entered_at: DateTime<Utc>,
    /// Who entered it.
    pub by: String,
    /// The correction of an ingredient's lot that led to it.
    pub because_of: Option<CorrectionId>,
    /// Why.
    pub reason: String,
    /// What each movement was worth more or less; those that did not change are left out.
    pub shares: Vec<CorrectionShare>,
}

/// What one movement was worth more or less.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CorrectionShare {
    /// The movement.
    pub movement: MovementId,
    /// The ticket it belongs to.
    pub ticket: Option<TicketId>,
    /// To be added to what it was posted with: of what went out, above nought means it took less.
    pub amount: Money,
}

impl CostCorrection {
    /// What is left in the lot is worth that much more or less.
    ///
    /// # Errors
    /// [`AmountError`] beyond what can be kept.
    pub fn left_in_lot(&self) -> Result<Money, AmountError> {
        let nought = Money::zero(self.amount.currency());
        self.shares.iter().try_fold(nought, |sum, share| sum.checked_add(share.amount))
    }
}

/// What each movement of a lot is worth when it is replayed with `received` for the receipt, in the order posted: the exact shares
/// [`value_leaving`] gives, and the movement that empties the lot takes what is left. What a reversal takes or gives back is what the
/// movement it undoes is worth.
///
/// # Errors
/// [`AmountError`] beyond what can be kept.
pub fn restated(movements: &[Movement], received: Money) -> Result<Vec<Money>, AmountError> {
    let currency = received.currency();
    let nought = Money::zero(currency);
    let mut worth: HashMap<MovementId, Money> = HashMap::new();
    let (mut on_hand, mut held, mut entered) = (0_i64, nought, false);
    let mut values = Vec::with_capacity(movements.len());
    for movement in movements {
        let moved = movement.quantity.raw();
        let of_original = movement.reverses.and_then(|id| worth.get(&id).copied());
        let taken_back = of_original.map(|value| nought.checked_sub(value)).transpose()?;
        let value = if moved > 0 {
            match (taken_back, movement.kind) {
                (Some(value), _) => value,
                (None, MovementKind::Receipt | MovementKind::Made) if !entered => {
                    entered = true;
                    received
                }
                (None, _) => movement.value.unwrap_or(nought),
            }
        } else {
            let out = moved.checked_neg().ok_or(AmountError::Overflow("a movement"))?;
            let dimension = movement.quantity.dimension();
            match taken_back {
                Some(value)
                    if out < on_hand
                        && held.micros().checked_add(value.micros()).is_some_and(|left| left >= 0) =>
                {
                    value
                }
                _ => {
                    let on_hand = Quantity::from_raw(on_hand, dimension);
                    let leaving = value_leaving(on_hand, held, Quantity::from_raw(out, dimension))?;
                    nought.checked_sub(leaving)?
                }
            }
        };
        worth.insert(movement.id, value);
        on_hand = on_hand.checked_add(moved).ok_or(AmountError::Overflow("a lot"))?;
        held = held.checked_add(value)?;
        values.push(value);
    }
    Ok(values)
}

/// The differences between what movements are worth and what they were posted and corrected with, `known` holding the latter where
/// it is not what was posted. Those without a difference are left out.
///
/// # Errors
/// [`AmountError`] beyond what can be kept.
pub fn shares(
    movements: &[Movement],
    received: Money,
    known: &BTreeMap<MovementId, Money>,
) -> Result<Vec<CorrectionShare>, AmountError> {
    let nought = |currency: Currency| Money::zero(currency);
    let values = restated(movements, received)?;
    let mut shares = Vec::new();
    for (movement, value) in movements.iter().zip(values) {
        let posted = movement.value.unwrap_or_else(|| nought(value.currency()));
        let before = match known.get(&movement.id) {
            Some(corrected) => posted.checked_add(*corrected)?,
            None => posted,
        };
        let amount = value.checked_sub(before)?;
        if amount.micros() != 0 {
            shares.push(CorrectionShare { movement: movement.id, ticket: movement.ticket, amount });
        }
    }
    Ok(shares)
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;
    use kernel::Mass;
    use proptest::prelude::*;

    fn movement(kind: MovementKind, raw: i64, value: i64, reverses: Option<MovementId>) -> Movement {
        Movement {
            id: MovementId::new(),
            lot: LotId::new(),
            kind,
            quantity: Quantity::Mass(Mass::from_micrograms(raw)),
            value: Some(Money::from_micros(value, Currency::GBP)),
            on: NaiveDate::default(),
            entered_at: DateTime::UNIX_EPOCH,
            by: "R. Ashdown".into(),
            ticket: None,
            reverses,
            cause: None,
            container: None,
            reason: None,
        }
    }

    /// A history of takings, some of them taken back at once, posted at one cost.
    fn history(received: i64, takes: &[(i64, bool)]) -> Vec<Movement> {
        let mut movements = vec![movement(MovementKind::Receipt, received, 0, None)];
        let mut on_hand = received;
        for (take, back) in takes {
            let take = (*take).min(on_hand);
            if take == 0 {
                continue;
            }
            let taking = movement(MovementKind::Weighing, -take, 0, None);
            let id = taking.id;
            movements.push(taking);
            if *back {
                movements.push(movement(MovementKind::Reversal, take, 0, Some(id)));
            } else {
                on_hand -= take;
            }
        }
        movements
    }

    proptest! {
        /// Corrected, the movements add up to what is left as if the settled cost had been posted; correcting again to the first cost
        /// takes every share back.
        #[test]
        fn value_is_conserved(
            received in 1_i64..1_000_000,
            first in 0_i64..1_000_000_000,
            settled in 0_i64..1_000_000_000,
            takes in prop::collection::vec((0_i64..200_000, any::<bool>()), 0..12),
        ) {
            let money = |micros| Money::from_micros(micros, Currency::GBP);
            let mut movements = history(received, &takes);
            let posted = restated(&movements, money(first)).unwrap();
            for (movement, value) in movements.iter_mut().zip(&posted) {
                movement.value = Some(*value);
            }
            prop_assert!(shares(&movements, money(first), &BTreeMap::new()).unwrap().is_empty());
            let corrected = shares(&movements, money(settled), &BTreeMap::new()).unwrap();
            let sum = |shares: &[CorrectionShare]| shares.iter().map(|s| s.amount.micros()).sum::<i64>();
            let left = |at| restated(&movements, money(at)).unwrap().iter().map(|v| v.micros()).sum::<i64>();
            prop_assert_eq!(left(first) + sum(&corrected), left(settled));
            // What left and what is left make up the settled cost.
            let on_hand: i64 = movements.iter().map(|m| m.quantity.raw()).sum();
            if on_hand == 0 {
                prop_assert_eq!(left(settled), 0);
            }
            let known: BTreeMap<_, _> = corrected.iter().map(|s| (s.movement, s.amount)).collect();
            let back = shares(&movements, money(first), &known).unwrap();
            prop_assert_eq!(sum(&back), -sum(&corrected));
        }
    }
}
