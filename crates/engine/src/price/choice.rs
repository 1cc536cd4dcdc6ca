//! Why an offer was chosen, and why each of the others was not.

use chrono::NaiveDate;
use domain::{materials::Material, quotations::Quotation};
use kernel::{
    Currency, Exact, Quantity,
    ids::{QuotationId, SupplierId},
};
use std::fmt;

use super::{
    LandedPrice, PriceQuestion, Question, Stop, a_year, landed_price_for, order::OtherBreak, rank, validity,
};
use crate::{EngineError, Gap, View, source::Validity, view::OfferSeen, words::figure};

/// An offer that was looked at for an order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Considered {
    /// The quotation.
    pub quotation: QuotationId,
    /// The supplier's reference.
    pub reference: String,
    /// The supplier.
    pub supplier: SupplierId,
    /// The supplier's name.
    pub supplier_name: String,
    /// What is sold as one.
    pub pack: Quantity,
    /// The price of `price_per`, in `currency`.
    pub price: Exact,
    /// The price's currency.
    pub currency: Currency,
    /// What the price is of.
    pub price_per: Quantity,
    /// The order quantity from which it holds.
    pub from_quantity: Option<Quantity>,
    /// How it stands with the quotation on the day.
    pub validity: Validity,
    /// The order of its packs; `None` where there is none.
    pub order: Option<Box<LandedPrice>>,
    /// What became of it.
    pub outcome: Outcome,
}

/// What became of an offer. `Display` gives the reason for a person. Money is in the house's currency.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// It was chosen.
    Chosen,
    /// Its order costs more, or as much and stands later by cost per kg or piece or by reference.
    Dearer {
        /// What the order costs more.
        order_by: Exact,
        /// The same as a fraction of the order chosen; `None` where that costs nothing.
        share: Option<Exact>,
        /// The house's currency.
        currency: Currency,
    },
    /// Its quotation does not hold on the day, and another is preferred.
    NotHolding {
        /// How it stands with it.
        validity: Validity,
        /// Whether the one chosen holds (else it only lapsed later or begins sooner).
        chosen_holds: bool,
    },
    /// The order does not reach its price break.
    BreakNotReached {
        /// The order quantity from which it holds.
        from: Option<Quantity>,
    },
    /// The order reaches a higher break of the same pack, whose price holds instead.
    HigherBreakReached,
    /// Something is missing to work it out.
    SetAside {
        /// What.
        gap: Gap,
    },
}

impl Outcome {
    /// A stable name for programs.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Chosen => "CHOSEN",
            Self::Dearer { .. } => "DEARER",
            Self::NotHolding { .. } => "NOT_HOLDING",
            Self::BreakNotReached { .. } => "BREAK_NOT_REACHED",
            Self::HigherBreakReached => "HIGHER_BREAK_REACHED",
            Self::SetAside { .. } => "SET_ASIDE",
        }
    }

    /// From the one chosen to those that could not even be worked out.
    const fn place(&self) -> u8 {
        match self {
            Self::Chosen => 0,
            Self::Dearer { .. } => 1,
            Self::HigherBreakReached => 2,
            Self::BreakNotReached { .. } => 3,
            Self::NotHolding { .. } => 4,
            Self::SetAside { .. } => 5,
        }
    }
}

impl fmt::Display for Outcome {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Chosen => f.write_str("chosen: the order costs least"),
            Self::Dearer { order_by, .. } if order_by.is_zero() => {
                f.write_str("the order costs as much as the one chosen")
            }
            Self::Dearer { order_by, share, currency } => {
                write!(f, "the order costs {} {currency} more", figure(order_by, 2))?;
                let percent = |share: &Exact| figure(&(share * &Exact::whole(100)), 2);
                share.as_ref().map_or(Ok(()), |share| write!(f, ", {} %", percent(share)))
            }
            Self::NotHolding { validity, chosen_holds } => {
                write!(f, "{validity}; ")?;
                f.write_str(match (validity, chosen_holds) {
                    (_, true) => "one that holds is preferred",
                    (Validity::Lapsed { .. }, false) => "one that lapsed later is preferred",
                    (_, false) => "one that lapsed, or begins sooner, is preferred",
                })
            }
            Self::BreakNotReached { from } => match from {
                Some(from) => write!(f, "the order does not reach {from}, from which this price holds"),
                None => f.write_str("the order does not reach the quantity from which this price holds"),
            },
            Self::HigherBreakReached => {
                f.write_str("the order reaches a higher price break of the same pack")
            }
            Self::SetAside { gap } => write!(f, "not compared: {gap}"),
        }
    }
}

/// Every offer of a material with what became of it when a price was looked for: the one chosen first, then those that cost more, the
/// cheapest order first, then those whose price does not hold. Empty for a material nobody ever quoted.
///
/// # Errors
/// Those of [`landed_price`](super::landed_price).
pub fn offers_considered(
    view: &View<'_>,
    material: &Material,
    asked: &PriceQuestion<'_>,
    on: NaiveDate,
) -> Result<Vec<Considered>, EngineError> {
    let chosen = landed_price_for(view, material, asked, on)?.ok();
    let a_year = a_year(view, material, asked, on)?;
    let view = &view.buying(material.id);
    let asked = &PriceQuestion { a_year: a_year.as_ref(), ..asked.clone() };
    let soon = view.catalogue().settings.lapses_soon_days;
    let mut considered = Vec::new();
    let mut found_chosen = false;
    for quotation in view.quotations_of(material.id, on) {
        let validity = validity(quotation.quotation, on, soon);
        for offer in &quotation.offers {
            let question = Question { view, material, asked, on, validity };
            let (order, outcome) = match question.order(&quotation, offer) {
                Ok(Ok(order)) => {
                    let order = order.explained(&question)?;
                    // Two offers alike in everything are the same offer twice; the first of them is the one chosen.
                    let is_chosen =
                        !found_chosen && chosen.as_ref().is_some_and(|chosen| chosen.source == order.source);
                    found_chosen |= is_chosen;
                    let outcome = if is_chosen {
                        Outcome::Chosen
                    } else {
                        lost(&order, chosen.as_ref(), view.currency(), on)
                    };
                    (Some(Box::new(order)), outcome)
                }
                Ok(Err(other_break)) => (None, held_off(other_break, offer, validity, chosen.as_ref(), on)),
                Err(Stop::Gap(gap)) => (None, Outcome::SetAside { gap }),
                Err(Stop::Error(error)) => return Err(error),
            };
            considered.push(entry(view, quotation.quotation, offer, validity, order, outcome)?);
        }
    }
    considered.sort_by_cached_key(|offer| {
        let cost = offer.order.as_ref().map(|order| order.order_cost.clone());
        (offer.outcome.place(), cost, offer.reference.clone(), offer.from_quantity.map(Quantity::to_exact))
    });
    Ok(considered)
}

/// Why an order was not chosen.
fn lost(order: &LandedPrice, chosen: Option<&LandedPrice>, currency: Currency, on: NaiveDate) -> Outcome {
    let validity = order.source.validity;
    match chosen {
        Some(chosen) if rank(chosen.source.validity, on) != rank(validity, on) => {
            Outcome::NotHolding { validity, chosen_holds: chosen.source.validity.holds() }
        }
        _ => {
            let least = chosen.map(|chosen| chosen.order_cost.clone()).unwrap_or_default();
            let order_by = &order.order_cost - &least;
            Outcome::Dearer { share: order_by.checked_div(&least).ok(), order_by, currency }
        }
    }
}

/// Why an offer has no order: first its quotation, for a break of one that does not hold is of no interest.
fn held_off(
    other_break: OtherBreak,
    offer: &OfferSeen,
    validity: Validity,
    chosen: Option<&LandedPrice>,
    on: NaiveDate,
) -> Outcome {
    if let Some(chosen) = chosen.filter(|chosen| rank(chosen.source.validity, on) != rank(validity, on)) {
        return Outcome::NotHolding { validity, chosen_holds: chosen.source.validity.holds() };
    }
    match other_break {
        OtherBreak::NotReached => Outcome::BreakNotReached { from: offer.from_quantity },
        OtherBreak::HigherReached => Outcome::HigherBreakReached,
    }
}

fn entry(
    view: &View<'_>,
    quotation: &Quotation,
    offer: &OfferSeen,
    validity: Validity,
    order: Option<Box<LandedPrice>>,
    outcome: Outcome,
) -> Result<Considered, EngineError> {
    Ok(Considered {
        quotation: quotation.id,
        reference: quotation.reference.clone(),
        supplier: quotation.supplier,
        supplier_name: view.supplier(quotation.supplier)?.name.clone(),
        pack: offer.pack,
        price: offer.price.clone(),
        currency: offer.currency,
        price_per: offer.price_per,
        from_quantity: offer.from_quantity,
        validity,
        order,
        outcome,
    })
}
