//! How much is ordered at once: the quantity that decides which pack and which price break a material is costed at.
//!
//! A price list is a function of quantity. A preservative of which nine kilograms are used in a year is not costed at the price of a
//! tank, nor a detergent base of which tonnes are used at that of a sample. By default the order is what one batch needs; it can be a
//! part of the year's use instead, or what the one who asks states.

use chrono::NaiveDate;
use domain::{dates::Span, materials::Material};
use kernel::{Dimension, Exact, Quantity, ids::MaterialId};
use std::{fmt, num::NonZeroU32};

use crate::{
    CostSheet, EngineError, Gap, MaterialRef, Note, Source, View,
    cost::CostLine,
    note::add_note,
    price::{PriceQuestion, landed_price_for},
    source::QuotationSource,
    waste::used_within,
    words::grouped,
    yearly::{YearlyUse, yearly_use},
};

/// Orders a year when nobody says how many: one a month.
pub const ORDERS_A_YEAR: NonZeroU32 = NonZeroU32::MIN.saturating_add(11);

/// How much of each material a cost sheet takes to be ordered at once.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash)]
pub enum OrderBasis {
    /// What the batch costed needs.
    #[default]
    ForBatch,
    /// What so many batches need.
    ForBatches(NonZeroU32),
    /// The year's use over so many orders, at most what is used within its shelf life, at least what the batch needs. The year's use is
    /// what all packs with a yearly volume take, through intermediates. Where it is not known, what the batch needs.
    ForYear {
        /// Orders a year.
        orders: NonZeroU32,
    },
}

impl OrderBasis {
    /// The year's use in [`ORDERS_A_YEAR`] orders.
    pub const YEAR: Self = Self::ForYear { orders: ORDERS_A_YEAR };

    /// A stable name for programs.
    pub const fn code(self) -> &'static str {
        match self {
            Self::ForBatch => "FOR_BATCH",
            Self::ForBatches(_) => "FOR_BATCHES",
            Self::ForYear { .. } => "FOR_YEAR",
        }
    }
}

/// So much of a material stated to be ordered at once, whatever the basis says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StatedOrder {
    /// The material.
    pub material: MaterialId,
    /// How much.
    pub quantity: Quantity,
}

/// What an order is for. `Display` continues a sentence after the quantity: `, one batch`.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub enum Demand {
    /// The quantity that was asked about.
    #[default]
    Asked,
    /// So many batches.
    Batches(NonZeroU32),
    /// A part of the year's use.
    Year(Box<YearOrder>),
    /// One batch, since no year's use is known.
    NoYearKnown,
    /// As stated.
    Stated,
}

/// An order out of a year's use.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct YearOrder {
    /// Orders a year.
    pub orders: NonZeroU32,
    /// The year's use.
    pub of: YearlyUse,
    /// What one batch needs, kg or pieces.
    pub for_batch: Exact,
    /// What decided the quantity.
    pub by: OrderedBy,
}

/// What decided the quantity of an order out of a year's use.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OrderedBy {
    /// The year's use over its orders.
    Use,
    /// No more is used within this life.
    ShelfLife(Span),
    /// One batch needs more.
    Batch,
}

impl fmt::Display for Demand {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Asked => Ok(()),
            Self::Batches(NonZeroU32::MIN) => f.write_str(", one batch"),
            Self::Batches(batches) => write!(f, ", {batches} batches"),
            Self::Year(order) => order.fmt(f),
            Self::NoYearKnown => f.write_str(", one batch, for its use in a year is not known"),
            Self::Stated => f.write_str(", as stated"),
        }
    }
}

impl fmt::Display for YearOrder {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let part = match self.orders.get() {
            1 => "a year's use".to_owned(),
            4 => "a quarter's use".to_owned(),
            12 => "a month's use".to_owned(),
            52 => "a week's use".to_owned(),
            orders => format!("1/{orders} of a year's use"),
        };
        match self.by {
            OrderedBy::Use => write!(f, ", {part}")?,
            OrderedBy::ShelfLife(life) => write!(f, ", all that is used within its shelf life of {life}")?,
            OrderedBy::Batch => write!(f, ", one batch, which is more than {part}")?,
        }
        write!(f, " at {} units a year", grouped(self.of.units))
    }
}

/// How much of a material is ordered at once when a batch needs so much of it (kg or pieces), and what that is. The inner error is
/// the gap in the way of a stated quantity.
pub(crate) fn order_for(
    view: &View<'_>,
    basis: OrderBasis,
    material: &Material,
    for_batch: &Exact,
    on: NaiveDate,
) -> Result<Result<(Exact, Demand), Gap>, EngineError> {
    if let Some(stated) = view.stated_order(material.id) {
        return Ok(stated_quantity(stated, material).map(|quantity| (quantity, Demand::Stated)));
    }
    Ok(Ok(match basis {
        OrderBasis::ForBatch => (for_batch.clone(), Demand::Batches(NonZeroU32::MIN)),
        OrderBasis::ForBatches(batches) => {
            (for_batch * &Exact::from(i64::from(batches.get())), Demand::Batches(batches))
        }
        OrderBasis::ForYear { orders } => {
            let of = yearly_use(view, material.id, on)?;
            if of.amount.is_positive() {
                year_order(material, orders, of, for_batch)?
            } else {
                (for_batch.clone(), Demand::NoYearKnown)
            }
        }
    }))
}

fn year_order(
    material: &Material,
    orders: NonZeroU32,
    of: YearlyUse,
    for_batch: &Exact,
) -> Result<(Exact, Demand), EngineError> {
    let part = of.amount.checked_div(&Exact::from(i64::from(orders.get())))?;
    let (mut quantity, mut by) = (part, OrderedBy::Use);
    if let Some(life) = material.shelf_life {
        let usable = used_within(&of.amount, life, material.minimum_remaining_life)?;
        if usable < quantity {
            (quantity, by) = (usable, OrderedBy::ShelfLife(life));
        }
    }
    // Less than a batch is of no use to anybody.
    if quantity < *for_batch {
        (quantity, by) = (for_batch.clone(), OrderedBy::Batch);
    }
    let order = YearOrder { orders, of, for_batch: for_batch.clone(), by };
    Ok((quantity, Demand::Year(Box::new(order))))
}

fn stated_quantity(stated: Quantity, material: &Material) -> Result<Exact, Gap> {
    let named = || MaterialRef::from(material);
    match (material.stock_dimension(), stated) {
        (Dimension::Count, Quantity::Count(count)) => Ok(count.to_exact()),
        (Dimension::Mass | Dimension::Volume, Quantity::Mass(_) | Quantity::Volume(_)) => stated
            .mass_kg(material.density)
            .ok_or_else(|| Gap::NoDensity { material: named(), needed_for: "the stated order".to_owned() }),
        (kept, other) => Err(Gap::OrderDoesNotFit {
            material: named(),
            why: format!("it is stated by {} and kept by {}", other.dimension().name(), kept.name()),
        }),
    }
}

/// Where ordering for the year would take another quotation, pack or price break than the sheet does (or, on a sheet that orders for
/// the year, where ordering for one batch would): what each such material would cost that way. For a sheet somebody looks at; it asks
/// what a year takes of each material, which costs more than the sheet itself.
///
/// # Errors
/// Those of [`landed_price_for`].
pub fn ordered_otherwise(view: &View<'_>, sheet: &CostSheet) -> Result<Vec<Note>, EngineError> {
    let offers_of =
        |material| view.catalogue().quotations_of(material).iter().map(|q| q.offers.len()).sum::<usize>();
    let mut notes = Vec::new();
    let mut open: Vec<&CostLine> = sheet.lines.iter().rev().collect();
    while let Some(line) = open.pop() {
        open.extend(line.nested.iter().rev());
        let Source::Quotation(source) = &line.source else { continue };
        let (Some(named), Some(now)) = (&line.material, &line.unit_cost) else { continue };
        if offers_of(named.id) < 2 {
            continue;
        }
        let material = view.material(named.id)?;
        let (quantity, demand) = match &source.demand {
            Demand::Batches(_) => {
                let of = yearly_use(view, material.id, sheet.as_of)?;
                if !of.amount.is_positive() {
                    continue;
                }
                year_order(material, ORDERS_A_YEAR, of, &source.demanded)?
            }
            Demand::Year(order) => (order.for_batch.clone(), Demand::Batches(NonZeroU32::MIN)),
            Demand::Asked | Demand::NoYearKnown | Demand::Stated => continue,
        };
        let for_year = matches!(demand, Demand::Year(_));
        let question = PriceQuestion { demand, ..PriceQuestion::of(&quantity) };
        let Ok(other) = landed_price_for(view, material, &question, sheet.as_of)? else { continue };
        let choice = |source: &QuotationSource| (source.quotation, source.pack, source.from_quantity);
        if choice(&other.source) != choice(source) {
            let note = Note::OrderedOtherwise {
                material: named.clone(),
                for_year,
                now: now.clone(),
                otherwise: other.per_unit,
                currency: sheet.currency,
                source: Box::new(other.source),
            };
            add_note(&mut notes, note);
        }
    }
    Ok(notes)
}
