//! From quotations to a landed price per kg or piece, in the house's currency, on a day, for a quantity.
//!
//! The choice, for so much of a material: each pack size of each quotation that holds on the day is taken in whole packs to at
//! least the quantity and the minimum order; the price break that order reaches holds; freight is added; and of all these orders
//! the one that costs least is taken. Its price per kg is what the material costs. When no quotation holds, the one that lapsed
//! last is used and said to be lapsed; failing that, the next to come. Only a material nobody ever quoted has no price.

use chrono::NaiveDate;
use domain::{
    dates::Span,
    materials::Material,
    quotations::{Freight, FreightPer, Quotation},
};
use kernel::{AmountError, Dimension, Exact, Quantity};

use crate::{
    EngineError, Gap, MaterialRef, Note, View,
    gap::add_gap,
    source::{QuotationSource, Validity},
    view::{OfferSeen, QuotationSeen, RateUsed},
};

/// A price and where it comes from. All money is in the house's currency.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LandedPrice {
    /// Landed, per kg or piece.
    pub per_unit: Exact,
    /// What the whole order costs, landed: `source.packs` packs.
    pub order_cost: Exact,
    /// From order to delivery: the quotation's, else the supplier's.
    pub lead_time: Option<Span>,
    /// The offer chosen.
    pub source: QuotationSource,
    /// What to know: lapsed, lapsing, set aside.
    pub notes: Vec<Note>,
}

/// How it stands with a quotation on a day; `soon` is the number of days from which it counts as lapsing.
pub fn validity(quotation: &Quotation, on: NaiveDate, soon: u32) -> Validity {
    if quotation.valid_from > on {
        return Validity::NotYet { from: quotation.valid_from };
    }
    match quotation.valid_until {
        Some(until) if until < on => Validity::Lapsed { until, days_ago: (on - until).num_days() },
        Some(until) if (until - on).num_days() <= i64::from(soon) => {
            Validity::LapsesSoon { until, in_days: (until - on).num_days() }
        }
        until => Validity::Valid { until },
    }
}

/// What a material costs landed on a day when so much of it (kg or pieces) is ordered. The inner error is the gap in the way.
///
/// # Errors
/// [`EngineError::NotFound`] for an unknown supplier; [`EngineError::Amount`] when a figure leaves its range.
pub fn landed_price(
    view: &View<'_>,
    material: &Material,
    demanded: &Exact,
    on: NaiveDate,
) -> Result<Result<LandedPrice, Gap>, EngineError> {
    let soon = view.catalogue().settings.lapses_soon_days;
    let mut seen: Vec<(Validity, QuotationSeen<'_>)> = view
        .quotations_of(material.id, on)
        .map(|quotation| (validity(quotation.quotation, on, soon), quotation))
        .collect();
    // First those that hold, all alike; then lapsed ones, the latest first; then coming ones, the next first.
    let rank = |validity: Validity| match validity {
        Validity::Valid { .. } | Validity::LapsesSoon { .. } => (0, 0),
        Validity::Lapsed { days_ago, .. } => (1, days_ago),
        Validity::NotYet { from } => (2, (from - on).num_days()),
    };
    seen.sort_by_key(|(validity, _)| rank(*validity));

    let named = || MaterialRef::from(material);
    let mut first_gap = None;
    let mut notes = Vec::new();
    for group in seen.chunk_by(|(a, _), (b, _)| rank(*a) == rank(*b)) {
        let mut best: Option<Order<'_>> = None;
        for (validity, quotation) in group {
            let mut gap_of_quotation = None;
            let question = Question { view, material, demanded, on };
            for offer in &quotation.offers {
                match question.order(*validity, quotation, offer) {
                    Ok(Some(order)) => {
                        if best.as_ref().is_none_or(|best| order.is_better_than(best)) {
                            best = Some(order);
                        }
                    }
                    Ok(None) => {}
                    Err(Stop::Gap(gap)) => gap_of_quotation = Some(gap),
                    Err(Stop::Error(error)) => return Err(error),
                }
            }
            if let Some(gap) = gap_of_quotation {
                notes.push(Note::QuotationSetAside {
                    material: named(),
                    reference: quotation.quotation.reference.clone(),
                    because: gap.to_string(),
                });
                first_gap.get_or_insert(gap);
            }
        }
        let best = best.map(|best| best.into_price(view, material, demanded)).transpose()?;
        if let Some(mut best) = best {
            let reference = best.source.reference.clone();
            match best.source.validity {
                Validity::Valid { .. } => {}
                Validity::LapsesSoon { until, in_days } => {
                    notes.push(Note::PriceLapsesSoon { material: named(), reference, until, in_days });
                }
                Validity::Lapsed { until, .. } => {
                    notes.push(Note::PriceLapsed { material: named(), reference, until });
                }
                Validity::NotYet { from } => {
                    notes.push(Note::PriceNotYetValid { material: named(), reference, from });
                }
            }
            best.notes = notes;
            return Ok(Ok(best));
        }
    }
    Ok(Err(first_gap.unwrap_or_else(|| Gap::NoPrice { material: named() })))
}

/// Every order of one offer's packs that covers so much of a material (kg or pieces), whether its quotation holds on the day or
/// not, for comparing offers; and what stands in the way of those that cannot be worked out. In the order of the quotations.
///
/// # Errors
/// Those of [`landed_price`].
pub fn landed_offers(
    view: &View<'_>,
    material: &Material,
    demanded: &Exact,
    on: NaiveDate,
) -> Result<(Vec<LandedPrice>, Vec<Gap>), EngineError> {
    let soon = view.catalogue().settings.lapses_soon_days;
    let mut orders = Vec::new();
    let mut gaps = Vec::new();
    for quotation in view.quotations_of(material.id, on) {
        let validity = validity(quotation.quotation, on, soon);
        let question = Question { view, material, demanded, on };
        for offer in &quotation.offers {
            match question.order(validity, &quotation, offer) {
                Ok(Some(order)) => orders.push(order.into_price(view, material, demanded)?),
                Ok(None) => {}
                Err(Stop::Gap(gap)) => add_gap(&mut gaps, gap),
                Err(Stop::Error(error)) => return Err(error),
            }
        }
    }
    Ok((orders, gaps))
}

/// One offer's packs that cover the demand: figures only, for most orders are compared and dropped.
struct Order<'q> {
    entered: &'q Quotation,
    offer: &'q OfferSeen,
    validity: Validity,
    per_unit: Exact,
    cost: Exact,
    packs: i128,
    ordered: Exact,
    freight: Option<Exact>,
    rate: Option<RateUsed>,
}

impl Order<'_> {
    /// Least money for the order; then least per kg or piece; then by reference, so that the choice never depends on chance.
    fn is_better_than(&self, best: &Self) -> bool {
        self.cost
            .cmp(&best.cost)
            .then_with(|| self.per_unit.cmp(&best.per_unit))
            .then_with(|| self.entered.reference.cmp(&best.entered.reference))
            .is_lt()
    }

    fn into_price(
        self,
        view: &View<'_>,
        material: &Material,
        demanded: &Exact,
    ) -> Result<LandedPrice, EngineError> {
        let (entered, offer) = (self.entered, self.offer);
        let supplier = view.supplier(entered.supplier)?;
        Ok(LandedPrice {
            per_unit: self.per_unit,
            order_cost: self.cost,
            lead_time: entered.lead_time.or(supplier.lead_time),
            source: QuotationSource {
                quotation: entered.id,
                reference: entered.reference.clone(),
                supplier: supplier.id,
                supplier_code: supplier.code.clone(),
                supplier_name: supplier.name.clone(),
                pack: offer.pack,
                price: offer.price.clone(),
                currency: offer.currency,
                price_per: offer.price_per,
                from_quantity: offer.from_quantity,
                demanded: demanded.clone(),
                packs: self.packs,
                ordered: self.ordered,
                dimension: material.stock_dimension(),
                freight: self.freight,
                rate: self.rate,
                validity: self.validity,
                assumed: offer.assumed,
            },
            notes: Vec::new(),
        })
    }
}

/// Why an offer yields no order: something is missing for this one, or the question itself cannot go on.
enum Stop {
    Gap(Gap),
    Error(EngineError),
}

impl From<Gap> for Stop {
    fn from(gap: Gap) -> Self {
        Self::Gap(gap)
    }
}

impl From<EngineError> for Stop {
    fn from(error: EngineError) -> Self {
        Self::Error(error)
    }
}

impl From<AmountError> for Stop {
    fn from(error: AmountError) -> Self {
        Self::Error(error.into())
    }
}

struct Question<'v, 'a> {
    view: &'v View<'a>,
    material: &'v Material,
    demanded: &'v Exact,
    on: NaiveDate,
}

impl Question<'_, '_> {
    /// The order of one offer's packs that covers the demand; `None` when the order does not reach the offer's break, or reaches a
    /// higher break of the same pack. The lowest break of a pack works like a minimum order.
    fn order<'q>(
        &self,
        validity: Validity,
        quotation: &'q QuotationSeen<'_>,
        offer: &'q OfferSeen,
    ) -> Result<Option<Order<'q>>, Stop> {
        let entered = quotation.quotation;
        let pack = self.in_stock_unit(offer.pack, entered)?;
        let price_per = self.in_stock_unit(offer.price_per, entered)?;
        let own_break = self.price_break(offer, entered)?;
        let mut other_breaks = Vec::new();
        for other in &quotation.offers {
            if other.pack == offer.pack && !std::ptr::eq(other, offer) {
                other_breaks.push(self.price_break(other, entered)?);
            }
        }

        let mut wanted = self.demanded.clone();
        if let Some(minimum) = entered.minimum_order {
            wanted = wanted.max(self.in_stock_unit(minimum, entered)?);
        }
        if other_breaks.iter().all(|other| *other >= own_break) {
            wanted = wanted.max(own_break.clone());
        }
        let packs = wanted.checked_div(&pack)?.ceil()?.max(1);
        let ordered = &pack * &Exact::whole(packs);
        let higher_reached = other_breaks.iter().any(|other| *other > own_break && *other <= ordered);
        if own_break > ordered || higher_reached {
            return Ok(None);
        }

        let needed_for = || format!("quotation {}", entered.reference);
        let (price, rate) = self.view.in_house_currency(&offer.price, offer.currency, self.on, needed_for)?;
        let bare = price.checked_div(&price_per)?;
        let freight = match &entered.freight {
            Some(freight) => Some(self.freight(freight, entered, &pack, &ordered)?),
            None => None,
        };
        let per_unit = match &freight {
            Some(freight) => &bare + freight,
            None => bare,
        };
        Ok(Some(Order {
            entered,
            offer,
            validity,
            cost: &per_unit * &ordered,
            per_unit,
            packs,
            ordered,
            freight,
            rate,
        }))
    }

    fn price_break(&self, offer: &OfferSeen, entered: &Quotation) -> Result<Exact, Gap> {
        offer.from_quantity.map_or(Ok(Exact::ZERO), |quantity| self.in_stock_unit(quantity, entered))
    }

    /// Freight per kg or piece, in the house's currency.
    fn freight(
        &self,
        freight: &Freight,
        entered: &Quotation,
        pack: &Exact,
        ordered: &Exact,
    ) -> Result<Exact, Stop> {
        let over = match freight.per {
            FreightPer::Quantity(quantity) => self.in_stock_unit(quantity, entered)?,
            FreightPer::Pack => pack.clone(),
            FreightPer::Order => ordered.clone(),
        };
        let needed_for = || format!("the freight of quotation {}", entered.reference);
        let amount = freight.amount;
        let (amount, _) =
            self.view.in_house_currency(&amount.to_exact(), amount.currency(), self.on, needed_for)?;
        Ok(amount.checked_div(&over)?)
    }

    /// A quantity of a quotation in the unit the material is kept by: kg, through the density where it is a volume, or pieces.
    fn in_stock_unit(&self, quantity: Quantity, entered: &Quotation) -> Result<Exact, Gap> {
        let named = || MaterialRef::from(self.material);
        let do_not_meet = |why: String| Gap::UnitsDoNotMeet {
            material: named(),
            reference: entered.reference.clone(),
            why,
        };
        if !quantity.is_positive() {
            return Err(do_not_meet(format!("a quantity of {quantity} stands in it")));
        }
        match (self.material.stock_dimension(), quantity) {
            (Dimension::Count, Quantity::Count(count)) => Ok(count.to_exact()),
            (Dimension::Mass | Dimension::Volume, Quantity::Mass(mass)) => Ok(mass.to_exact()),
            (Dimension::Mass | Dimension::Volume, Quantity::Volume(volume)) => self
                .material
                .density
                .filter(|density| density.is_positive())
                .map(|density| density.mass_of(&volume.to_exact()))
                .ok_or_else(|| Gap::NoDensity {
                    material: named(),
                    needed_for: format!("quotation {}", entered.reference),
                }),
            (kept, other) => Err(do_not_meet(format!(
                "it is offered by {} and kept by {}",
                other.dimension().name(),
                kept.name()
            ))),
        }
    }
}
