//! Where a figure on another basis than replacement comes from.

use chrono::NaiveDate;
use kernel::{
    Currency, Dimension, Exact, Money, Quantity, UnitPrice,
    ids::{LotId, SupplierId},
};
use std::fmt;

use super::Basis;
use crate::{view::RateUsed, words::figure};

/// The receipt a last purchase cost comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LastPurchaseSource {
    /// The lot.
    pub lot: LotId,
    /// Its number.
    pub lot_number: String,
    /// Who delivered it.
    pub supplier: Option<SupplierId>,
    /// The supplier's name.
    pub supplier_name: Option<String>,
    /// The day it came in.
    pub received_on: NaiveDate,
    /// How much came in.
    pub quantity: Quantity,
    /// What that cost, landed.
    pub value: Money,
    /// Numbers of lots that came later and have no value yet.
    pub unvalued_since: Vec<String>,
}

/// The pool a moving average comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MovingAverageSource {
    /// The day asked.
    pub on: NaiveDate,
    /// Receipts in the average: those since the shelf was last empty.
    pub receipts: usize,
    /// kg or pieces there on that day.
    pub quantity: Exact,
    /// What those are worth, in `currency`.
    pub value: Exact,
    /// The house's currency.
    pub currency: Currency,
    /// kg or pieces.
    pub dimension: Dimension,
    /// The day the last of it left, when nothing is there: the average is the one it left at.
    pub ran_out_on: Option<NaiveDate>,
}

/// The layers a FIFO cost comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FifoSource {
    /// What was asked for, kg or pieces.
    pub demanded: Exact,
    /// kg or pieces.
    pub dimension: Dimension,
    /// The house's currency.
    pub currency: Currency,
    /// What that takes of each layer, the oldest first.
    pub takes: Vec<FifoTake>,
    /// What was asked for beyond what is there.
    pub beyond: Option<BeyondShelf>,
}

/// So much of a layer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FifoTake {
    /// The lot it came in as.
    pub lot: LotId,
    /// Its number.
    pub lot_number: String,
    /// The day it came in.
    pub received_on: NaiveDate,
    /// kg or pieces.
    pub quantity: Exact,
    /// What those cost, in the house's currency.
    pub value: Exact,
}

/// What a batch takes beyond what is there, costed as the last purchase.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BeyondShelf {
    /// kg or pieces.
    pub quantity: Exact,
    /// Per kg or piece, in the house's currency.
    pub unit_cost: Exact,
    /// The lot that was purchased last.
    pub lot: LotId,
    /// Its number.
    pub lot_number: String,
    /// The day it came in.
    pub received_on: NaiveDate,
}

/// The frozen cost a standard comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StandardSource {
    /// The day it was frozen.
    pub frozen_on: NaiveDate,
    /// What was agreed, per kg or piece.
    pub unit_cost: UnitPrice,
    /// kg or pieces.
    pub dimension: Dimension,
    /// The basis it was taken from.
    pub basis: Basis,
    /// Where it came from then.
    pub explained: String,
    /// The rate it went through.
    pub rate: Option<RateUsed>,
}

impl fmt::Display for LastPurchaseSource {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "last purchase: lot {}", self.lot_number)?;
        if let Some(supplier) = &self.supplier_name {
            write!(f, " of {supplier}")?;
        }
        write!(f, " of {}, {} for {}", self.received_on, self.quantity, self.value)?;
        match self.unvalued_since.as_slice() {
            [] => Ok(()),
            lots => write!(f, "; what came later has no value yet: {}", lots.join(", ")),
        }
    }
}

impl fmt::Display for MovingAverageSource {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(day) = self.ran_out_on {
            return write!(f, "moving average at which the last of it left on {day}");
        }
        write!(
            f,
            "moving average of {} {}: {} {} worth {} {} on {}",
            self.receipts,
            if self.receipts == 1 { "receipt" } else { "receipts" },
            figure(&self.quantity, 6),
            self.dimension.unit(),
            figure(&self.value, 6),
            self.currency,
            self.on
        )
    }
}

/// Layers that a sentence names; a list has all of them.
const LAYERS_NAMED: usize = 6;

impl fmt::Display for FifoSource {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (unit, currency) = (self.dimension.unit(), self.currency);
        write!(f, "first in, first out for {} {unit}: ", figure(&self.demanded, 6))?;
        for (at, take) in self.takes.iter().take(LAYERS_NAMED).enumerate() {
            write!(
                f,
                "{}{} {unit} of lot {} of {} for {} {currency}",
                if at == 0 { "" } else { ", " },
                figure(&take.quantity, 6),
                take.lot_number,
                take.received_on,
                figure(&take.value, 6)
            )?;
        }
        if self.takes.len() > LAYERS_NAMED {
            write!(f, " and {} more", self.takes.len() - LAYERS_NAMED)?;
        }
        let Some(beyond) = &self.beyond else { return Ok(()) };
        write!(
            f,
            "{}{} {unit} beyond what is there at {} {currency} per {unit}, the last purchase: lot {} of {}",
            if self.takes.is_empty() { "" } else { "; " },
            figure(&beyond.quantity, 6),
            figure(&beyond.unit_cost, 6),
            beyond.lot_number,
            beyond.received_on
        )
    }
}

impl fmt::Display for StandardSource {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "standard of {}: {} per {}, frozen from the {} cost then ({})",
            self.frozen_on,
            self.unit_cost,
            self.dimension.unit(),
            self.basis,
            self.explained
        )?;
        self.rate.as_ref().map_or(Ok(()), |rate| write!(f, "; {rate}"))
    }
}
