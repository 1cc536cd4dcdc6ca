//! What happened to a material: receipts and issues in order, out of lots and the stock ledger.

use chrono::{DateTime, NaiveDate, Utc};
use domain::{
    lots::Lot,
    stock::{Movement, MovementKind},
};
use kernel::{
    AmountError, Currency, Dimension, Exact, Money, Quantity,
    ids::{LotId, MovementId, SupplierId},
};
use std::{
    collections::{HashMap, HashSet},
    sync::Arc,
};

/// A lot as a history names it.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct LotRef {
    /// Identity.
    pub id: LotId,
    /// The house's number for it.
    pub number: String,
    /// Who delivered it.
    pub supplier: Option<SupplierId>,
}

/// One receipt or issue.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// The movement of the stock ledger it is.
    pub movement: MovementId,
    /// The business day it counts for.
    pub on: NaiveDate,
    /// The lot.
    pub lot: Arc<LotRef>,
    /// What kind of change.
    pub kind: MovementKind,
    /// What came in (above nought) or went out (below).
    pub quantity: Quantity,
    /// What that was worth as the ledger has it, same sign: what came in landed; what went out as its exact share of its own lot.
    /// `None` where the lot came without a value.
    pub value: Option<Money>,
    /// The day from which it is undone, as if it had never been: the day of the movement that reverses it.
    pub undone_on: Option<NaiveDate>,
    entered_at: DateTime<Utc>,
}

impl Entry {
    /// Whether it counts when asked as of a day.
    pub fn counts_on(&self, day: NaiveDate) -> bool {
        self.on <= day && self.undone_on.is_none_or(|undone| undone > day)
    }

    /// Whether it brought something in that is the house's own from then on: a delivery, or a batch made here.
    pub const fn is_receipt(&self) -> bool {
        matches!(self.kind, MovementKind::Receipt | MovementKind::Made)
    }
}

/// What happened to one material, in order of business day and, on one day, of entry.
///
/// A movement that was reversed counts until the day of its reversal, and from then on neither of the two counts. Lots that were
/// received for nought take no part, neither their receipts nor what was taken from them: a supplier's sample or a customer's own
/// goods say nothing about what the material costs.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct History {
    entries: Vec<Entry>,
    dimension: Option<Dimension>,
    currency: Option<Currency>,
    free: Vec<Arc<LotRef>>,
}

impl History {
    /// Receipts and issues in order, those that were undone among them.
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }

    /// Kept by mass or by count; `None` when nothing ever happened.
    pub const fn dimension(&self) -> Option<Dimension> {
        self.dimension
    }

    /// What the values are in; `None` when there are none.
    pub const fn currency(&self) -> Option<Currency> {
        self.currency
    }

    /// Lots that take no part because they were received for nought.
    pub fn free(&self) -> &[Arc<LotRef>] {
        &self.free
    }

    /// What is there on a day by the ledger, kg or pieces, free lots left out.
    pub fn on_hand(&self, day: NaiveDate) -> Exact {
        self.exact(self.counting(day).map(|(_, entry)| i128::from(entry.quantity.raw())).sum())
    }

    /// Entries that count as of a day, with their position.
    pub(super) fn counting(&self, day: NaiveDate) -> impl Iterator<Item = (usize, &Entry)> {
        self.entries.iter().enumerate().filter(move |(_, entry)| entry.counts_on(day))
    }

    /// A scaled quantity of this history in kg or pieces.
    pub(super) fn exact(&self, raw: i128) -> Exact {
        let places = match self.dimension {
            Some(Dimension::Count) => kernel::Count::PLACES,
            Some(Dimension::Volume) => kernel::Volume::PLACES,
            Some(Dimension::Mass) | None => kernel::Mass::PLACES,
        };
        Exact::scaled(raw, places)
    }
}

/// What happened to one material, out of its lots and their movements, in any order. Movements of other lots are left aside.
///
/// Every movement of a lot has to be given, for what is missing is taken never to have happened. A receipt entered without a value
/// has its lot's.
///
/// # Errors
/// [`AmountError::CurrencyMismatch`] for values in more than one currency; [`AmountError::WrongDimension`] for lots kept some by
/// mass, some by count, which lots of one material never are.
pub fn history_of(lots: &[Lot], movements: &[Movement]) -> Result<History, AmountError> {
    let mut gathering = Gathering::default();
    let known: HashMap<LotId, (&Lot, Arc<LotRef>)> =
        lots.iter().map(|lot| (lot.id, (lot, named(lot)))).collect();
    for movement in movements {
        if let Some((lot, named)) = known.get(&movement.lot) {
            gathering.add(lot, named, movement)?;
        }
    }
    Ok(gathering.finish())
}

/// A lot's name, shared by its entries.
pub(super) fn named(lot: &Lot) -> Arc<LotRef> {
    Arc::new(LotRef { id: lot.id, number: lot.number.clone(), supplier: lot.supplier })
}

/// A history while its movements are gathered.
#[derive(Default)]
pub(super) struct Gathering {
    history: History,
    /// Which movement is reversed from which day on, and by which.
    reversed: HashMap<MovementId, (NaiveDate, MovementId)>,
}

impl Gathering {
    pub(super) fn add(
        &mut self,
        lot: &Lot,
        named: &Arc<LotRef>,
        movement: &Movement,
    ) -> Result<(), AmountError> {
        let found = movement.quantity.dimension();
        let expected = *self.history.dimension.get_or_insert(found);
        if found != expected {
            return Err(AmountError::WrongDimension {
                text: movement.quantity.to_string(),
                found: found.name(),
                expected: expected.name(),
            });
        }
        let incoming = movement.quantity.is_positive();
        let value = match (movement.value, lot.received_value) {
            (Some(value), _) => Some(value),
            (None, Some(received)) if incoming => match movement.kind {
                MovementKind::Receipt | MovementKind::Made if movement.quantity == lot.received => {
                    Some(received)
                }
                // What a count finds was paid for with the rest.
                _ => Some(Money::zero(received.currency())),
            },
            (None, _) => None,
        };
        if let Some(value) = value {
            let currency = *self.history.currency.get_or_insert(value.currency());
            if value.currency() != currency {
                return Err(AmountError::CurrencyMismatch(currency, value.currency()));
            }
        }
        if let Some(original) = movement.reverses {
            self.reversed.insert(original, (movement.on, movement.id));
        }
        self.history.entries.push(Entry {
            movement: movement.id,
            on: movement.on,
            lot: Arc::clone(named),
            kind: movement.kind,
            quantity: movement.quantity,
            value,
            undone_on: None,
            entered_at: movement.entered_at,
        });
        Ok(())
    }

    pub(super) fn finish(self) -> History {
        let Self { mut history, reversed } = self;
        let mut reversals = HashSet::new();
        for entry in &mut history.entries {
            if let Some((on, by)) = reversed.get(&entry.movement) {
                entry.undone_on = Some(*on);
                reversals.insert(*by);
            }
        }
        // The original says from when it is undone, so the reversal has nothing left to say. One whose original was not given stays
        // an entry like any other.
        history.entries.retain(|entry| !reversals.contains(&entry.movement));

        let mut bought: HashSet<LotId> = HashSet::new();
        let mut free: HashMap<LotId, Arc<LotRef>> = HashMap::new();
        for entry in history.entries.iter().filter(|entry| entry.quantity.is_positive() && entry.is_receipt())
        {
            if entry.kind == MovementKind::Receipt && entry.value.is_some_and(|value| value.micros() == 0) {
                free.insert(entry.lot.id, Arc::clone(&entry.lot));
            } else {
                bought.insert(entry.lot.id);
            }
        }
        free.retain(|lot, _| !bought.contains(lot));
        history.entries.retain(|entry| !free.contains_key(&entry.lot.id));
        history.free = free.into_values().collect();
        history.free.sort_by(|a, b| a.number.cmp(&b.number));
        // Identities are ordered by the time they were made, which settles what was entered in one go.
        history.entries.sort_by_key(|entry| (entry.on, entry.entered_at, entry.movement));
        history
    }
}
