//! A stock ledger for tests, written down as it happens: lots of one material, and their movements.

use chrono::{DateTime, TimeDelta};
use domain::{
    lots::{Lot, LotStatus},
    stock::{Movement, MovementKind, value_leaving},
};
use kernel::{
    Currency, Exact, Money, Quantity,
    ids::{LotId, MaterialId, MovementId, SupplierId},
};

use super::fixtures::{day, gbp, quantity};
use crate::basis::{History, HistoryBook, history_of};

/// Entries are a second apart, in the order they are made.
#[derive(Clone, Default)]
pub struct Ledger {
    pub lots: Vec<Lot>,
    pub movements: Vec<Movement>,
}

impl Ledger {
    /// A delivery: `receive(material, "2026-07-01", "L1", "150 pcs", Some("3150"))`, the value being that of all of it.
    pub fn receive(
        &mut self,
        of: MaterialId,
        on: &str,
        number: &str,
        amount: &str,
        value: Option<&str>,
    ) -> &mut Lot {
        self.bring(of, on, number, quantity(amount), value.map(gbp))
    }

    pub fn bring(
        &mut self,
        of: MaterialId,
        on: &str,
        number: &str,
        amount: Quantity,
        value: Option<Money>,
    ) -> &mut Lot {
        let id = LotId::new();
        self.lots.push(Lot {
            id,
            number: number.to_owned(),
            material: of,
            supplier: None,
            supplier_lot: None,
            made_by: None,
            status: LotStatus::Released,
            received_on: day(on),
            made_on: None,
            expires_on: None,
            retest_on: None,
            opened_on: None,
            density: None,
            active_matter: None,
            location: None,
            received: amount,
            received_value: value,
            on_hand: amount,
            value,
            reserved: Quantity::from_raw(0, amount.dimension()),
            note: None,
            terms: domain::lots::LotTerms::default(),
        });
        self.enter(id, MovementKind::Receipt, on, amount, value);
        self.lots.last_mut().unwrap()
    }

    fn enter(&mut self, lot: LotId, kind: MovementKind, on: &str, amount: Quantity, value: Option<Money>) {
        let entered = i64::try_from(self.movements.len()).unwrap();
        self.movements.push(Movement {
            id: MovementId::new(),
            lot,
            kind,
            quantity: amount,
            value,
            on: day(on),
            entered_at: DateTime::UNIX_EPOCH + TimeDelta::seconds(entered),
            by: "R. Ashdown".to_owned(),
            ticket: None,
            reverses: None,
            cause: None,
            container: None,
            reason: None,
        });
    }

    fn lot(&mut self, number: &str) -> &mut Lot {
        self.lots.iter_mut().find(|lot| lot.number == number).unwrap()
    }

    /// Weighs so much of a lot into a batch; the ledger takes its exact share of the lot's value with it.
    pub fn take(&mut self, on: &str, number: &str, amount: &str) {
        self.take_raw(on, number, quantity(amount).raw());
    }

    pub fn take_raw(&mut self, on: &str, number: &str, raw: i64) {
        let lot = self.lot(number);
        let amount = Quantity::from_raw(raw, lot.on_hand.dimension());
        let leaving = lot.value.map(|value| value_leaving(lot.on_hand, value, amount).unwrap());
        lot.on_hand = Quantity::from_raw(lot.on_hand.raw() - raw, amount.dimension());
        lot.value = lot.value.zip(leaving).map(|(value, leaving)| value.checked_sub(leaving).unwrap());
        let id = lot.id;
        let value = leaving.map(|leaving| Money::from_micros(-leaving.micros(), leaving.currency()));
        self.enter(id, MovementKind::Weighing, on, Quantity::from_raw(-raw, amount.dimension()), value);
    }

    /// A count finds more of a lot than is written down; it brings no value.
    pub fn find(&mut self, on: &str, number: &str, amount: &str) {
        let found = quantity(amount);
        let lot = self.lot(number);
        lot.on_hand = Quantity::from_raw(lot.on_hand.raw() + found.raw(), found.dimension());
        let (id, value) = (lot.id, lot.value.map(|value| Money::zero(value.currency())));
        self.enter(id, MovementKind::Adjustment, on, found, value);
    }

    /// Takes the movement entered last back.
    pub fn take_back(&mut self, on: &str) {
        let wrong = self.movements.last().unwrap().clone();
        let amount = Quantity::from_raw(-wrong.quantity.raw(), wrong.quantity.dimension());
        let value = wrong.value.map(|value| Money::from_micros(-value.micros(), value.currency()));
        let lot = self.lots.iter_mut().find(|lot| lot.id == wrong.lot).unwrap();
        lot.on_hand = Quantity::from_raw(lot.on_hand.raw() + amount.raw(), amount.dimension());
        lot.value = lot.value.zip(value).map(|(held, value)| held.checked_add(value).unwrap());
        self.enter(wrong.lot, MovementKind::Reversal, on, amount, value);
        self.movements.last_mut().unwrap().reverses = Some(wrong.id);
    }

    pub fn delivered_by(&mut self, number: &str, supplier: SupplierId) {
        self.lot(number).supplier = Some(supplier);
    }

    pub fn history(&self) -> History {
        history_of(&self.lots, &self.movements).unwrap()
    }

    pub fn book(&self) -> HistoryBook {
        HistoryBook::from_ledger(&self.lots, &self.movements).unwrap()
    }

    /// What the ledger itself says the lots are worth: each lot at its own cost.
    pub fn worth(&self) -> Exact {
        self.lots.iter().filter_map(|lot| lot.value).map(Money::to_exact).sum()
    }

    /// What the ledger itself says was taken out between its entries `from..`, each at its own lot's cost.
    pub fn taken_at_lot_cost(&self) -> Vec<Exact> {
        let taken = self.movements.iter().filter(|movement| !movement.quantity.is_positive());
        taken.map(|movement| -movement.value.unwrap_or(Money::zero(Currency::GBP)).to_exact()).collect()
    }
}
