//! What a kg or piece of a bought material costs on a basis.

use chrono::NaiveDate;
use domain::materials::Material;
use kernel::{AmountError, Exact, Money};
use std::sync::Arc;

use super::{
    Basis,
    flow::{LastPurchase, Layer},
    history::History,
    sources::{BeyondShelf, FifoSource, FifoTake, LastPurchaseSource, MovingAverageSource, StandardSource},
};
use crate::{EngineError, Gap, MaterialRef, Note, Source, View, price::landed_price};

/// What a material costs on a basis, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BasisPrice {
    /// Per kg or piece, in the house's currency.
    pub per_unit: Exact,
    /// Where it comes from.
    pub source: Source,
    /// What to know.
    pub notes: Vec<Note>,
}

/// What a bought material costs on a basis on a day, when so much of it (kg or pieces) is taken. The inner error is the gap in the
/// way.
///
/// A utility has no lots: on every basis that rests on receipts its quotation is used, and a note says so; as standard, too, when none
/// is frozen for it.
///
/// # Errors
/// Those of [`landed_price`] for [`Basis::Replacement`]; [`EngineError::Amount`] for a history in another currency than the house's.
pub fn price_on_basis(
    view: &View<'_>,
    material: &Material,
    basis: Basis,
    demanded: &Exact,
    on: NaiveDate,
) -> Result<Result<BasisPrice, Gap>, EngineError> {
    let asked = Asked { view, material, basis, demanded, on };
    match basis {
        Basis::Replacement => asked.replacement(),
        Basis::Standard => asked.standard(),
        _ if !material.kind.is_stocked() => asked.not_stocked(),
        Basis::LastPurchase => asked.out_of_history(Asked::last_purchase),
        Basis::MovingAverage => asked.out_of_history(|asked, history| Ok(asked.moving_average(history))),
        Basis::Fifo => asked.out_of_history(Asked::fifo),
    }
}

/// A price, or the gap in the way.
type Found = Result<BasisPrice, Gap>;

struct Asked<'q> {
    view: &'q View<'q>,
    material: &'q Material,
    basis: Basis,
    demanded: &'q Exact,
    on: NaiveDate,
}

impl Asked<'_> {
    fn named(&self) -> MaterialRef {
        MaterialRef::from(self.material)
    }

    fn replacement(&self) -> Result<Found, EngineError> {
        let landed = landed_price(self.view, self.material, self.demanded, self.on)?;
        Ok(landed.map(|price| BasisPrice {
            per_unit: price.per_unit,
            source: Source::Quotation(Arc::new(price.source)),
            notes: price.notes,
        }))
    }

    fn not_stocked(&self) -> Result<Found, EngineError> {
        let mut found = self.replacement()?;
        if let Ok(price) = &mut found {
            price.notes.push(Note::NotStocked { material: self.named(), basis: self.basis });
        }
        Ok(found)
    }

    fn standard(&self) -> Result<Found, EngineError> {
        let standard = self.view.history().and_then(|book| book.standard(self.material.id, self.on));
        let Some(standard) = standard else {
            if !self.material.kind.is_stocked() {
                return self.not_stocked();
            }
            return Ok(Err(Gap::NoStandard { material: self.named(), on: self.on }));
        };
        let price = standard.unit_cost;
        let needed_for = || format!("the standard cost of {}", self.named());
        let converted =
            self.view.in_house_currency(&price.to_exact(), price.currency(), standard.frozen_on, needed_for);
        Ok(converted.map(|(per_unit, rate)| BasisPrice {
            per_unit,
            source: Source::Standard(Box::new(StandardSource {
                frozen_on: standard.frozen_on,
                unit_cost: price,
                dimension: self.material.stock_dimension(),
                basis: standard.basis,
                explained: standard.explained.clone(),
                rate,
            })),
            notes: Vec::new(),
        }))
    }

    fn out_of_history(
        &self,
        price: impl Fn(&Self, &History) -> Result<Found, EngineError>,
    ) -> Result<Found, EngineError> {
        let Some(history) = self.view.history().and_then(|book| book.history(self.material.id)) else {
            return Ok(Err(Gap::NoHistory { material: self.named(), basis: self.basis, on: self.on }));
        };
        match history.currency() {
            Some(currency) if currency != self.view.currency() => {
                Err(AmountError::CurrencyMismatch(currency, self.view.currency()).into())
            }
            _ => price(self, history),
        }
    }

    /// Why a history has nothing to say on the day.
    fn nothing_known(&self, history: &History) -> Gap {
        let unvalued = history.entries().iter().filter(|entry| {
            entry.counts_on(self.on) && entry.quantity.is_positive() && entry.value.is_none()
        });
        let mut lots: Vec<String> = unvalued.map(|entry| entry.lot.number.clone()).collect();
        lots.dedup();
        if lots.is_empty() {
            Gap::NoHistory { material: self.named(), basis: self.basis, on: self.on }
        } else {
            Gap::NoLotValue { material: self.named(), basis: self.basis, lots }
        }
    }

    fn unvalued(&self, layers: &[Layer]) -> Gap {
        let lots = layers.iter().filter(|layer| layer.value.is_none()).map(|layer| layer.lot.number.clone());
        Gap::NoLotValue { material: self.named(), basis: self.basis, lots: lots.collect() }
    }

    fn last_purchase(&self, history: &History) -> Result<Found, EngineError> {
        let Some(last) = history.last_purchase(self.on) else {
            return Ok(Err(self.nothing_known(history)));
        };
        let LastPurchase { receipt, unit_cost, unvalued_since } = last;
        let supplier = match receipt.lot.supplier {
            Some(id) => Some(self.view.supplier(id)?.name.clone()),
            None => None,
        };
        let unvalued_since: Vec<String> = unvalued_since.iter().map(|lot| lot.number.clone()).collect();
        let mut notes = Vec::new();
        if !unvalued_since.is_empty() {
            notes.push(Note::LaterLotsUnvalued { material: self.named(), lots: unvalued_since.clone() });
        }
        Ok(Ok(BasisPrice {
            per_unit: unit_cost,
            source: Source::LastPurchase(Box::new(LastPurchaseSource {
                lot: receipt.lot.id,
                lot_number: receipt.lot.number.clone(),
                supplier: receipt.lot.supplier,
                supplier_name: supplier,
                received_on: receipt.on,
                quantity: receipt.quantity,
                value: receipt.value.unwrap_or(Money::zero(self.view.currency())),
                unvalued_since,
            })),
            notes,
        }))
    }

    fn moving_average(&self, history: &History) -> Found {
        let flow = history.moving_average(self.on);
        let unvalued = flow.unvalued();
        if !unvalued.is_empty() {
            return Err(self.unvalued(&unvalued));
        }
        let Some((per_unit, ran_out_on)) = flow.for_sheet() else {
            return Err(self.nothing_known(history));
        };
        let quantity = if ran_out_on.is_none() { flow.quantity() } else { Exact::ZERO };
        let mut notes = Vec::new();
        if let Some(on) = ran_out_on {
            notes.push(Note::AverageRanOut { material: self.named(), on });
        }
        let source = MovingAverageSource {
            on: self.on,
            receipts: flow.receipts(),
            value: &per_unit * &quantity,
            quantity,
            currency: self.view.currency(),
            dimension: self.material.stock_dimension(),
            ran_out_on,
        };
        Ok(BasisPrice { per_unit, source: Source::MovingAverage(Box::new(source)), notes })
    }

    fn fifo(&self, history: &History) -> Result<Found, EngineError> {
        let layers = history.fifo(self.on).layers();
        let mut wanted = self.demanded.clone();
        let mut takes = Vec::new();
        let mut touched = Vec::new();
        // What only a count brought in has cost nothing here, and says nothing about what the material costs.
        for layer in layers.into_iter().filter(|layer| layer.value.as_ref().is_none_or(Exact::is_positive)) {
            if !wanted.is_positive() && !touched.is_empty() {
                break;
            }
            // Asked for nothing, it is what the next gram would cost: that of the oldest layer.
            let quantity = if wanted.is_positive() {
                wanted.clone().min(layer.quantity.clone())
            } else {
                layer.quantity.clone()
            };
            if let Some(value) = &layer.value {
                takes.push(FifoTake {
                    lot: layer.lot.id,
                    lot_number: layer.lot.number.clone(),
                    received_on: layer.received_on,
                    value: value * &quantity.checked_div(&layer.quantity)?,
                    quantity: quantity.clone(),
                });
            }
            wanted = &wanted - &quantity;
            touched.push(layer);
        }
        if touched.iter().any(|layer| layer.value.is_none()) {
            return Ok(Err(self.unvalued(&touched)));
        }
        let mut beyond = None;
        if wanted.is_positive() || takes.is_empty() {
            let Some(last) = history.last_purchase(self.on) else {
                return Ok(Err(self.nothing_known(history)));
            };
            beyond = Some(BeyondShelf {
                quantity: wanted,
                unit_cost: last.unit_cost,
                lot: last.receipt.lot.id,
                lot_number: last.receipt.lot.number.clone(),
                received_on: last.receipt.on,
            });
        }
        let per_unit = match &beyond {
            Some(beyond) if takes.is_empty() => beyond.unit_cost.clone(),
            beyond => {
                let more =
                    beyond.as_ref().map(|more| (&more.quantity * &more.unit_cost, more.quantity.clone()));
                let (mut value, mut quantity) = more.unwrap_or_default();
                for take in &takes {
                    value += &take.value;
                    quantity += &take.quantity;
                }
                value.checked_div(&quantity)?
            }
        };
        let mut notes = Vec::new();
        if let Some(beyond) = beyond.as_ref().filter(|beyond| beyond.quantity.is_positive()) {
            notes.push(Note::BeyondShelf {
                material: self.named(),
                quantity: beyond.quantity.clone(),
                dimension: self.material.stock_dimension(),
            });
        }
        Ok(Ok(BasisPrice {
            per_unit,
            source: Source::Fifo(Box::new(FifoSource {
                demanded: self.demanded.clone(),
                dimension: self.material.stock_dimension(),
                currency: self.view.currency(),
                takes,
                beyond,
            })),
            notes,
        }))
    }
}
