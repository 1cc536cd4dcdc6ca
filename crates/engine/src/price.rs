//! From quotations to a landed price per kg or piece, in the house's currency, on a day, for a quantity.
//!
//! The choice, for so much of a material: each pack size of each quotation that holds on the day is taken in whole packs to at
//! least the quantity and the minimum order; the price break that order reaches holds (or the year's use, where a break counts that);
//! discount, freight, duty and charges make it a landed price; and of all these orders the one that costs least is taken. Its price
//! per kg is what the material costs. When no quotation holds, the one that lapsed last is used and said to be lapsed; failing that,
//! the next to come. Only a material nobody ever quoted has no price.

mod choice;
mod ladder;
mod order;

use chrono::NaiveDate;
use domain::{
    Catalogue,
    dates::Span,
    materials::Material,
    quotations::{BreakCounts, Quotation},
};
use kernel::{AmountError, Exact, Percent};

pub use choice::{Considered, Outcome, offers_considered};
pub(crate) use ladder::Ladder;
use order::Order;

use crate::{
    EngineError, Gap, MaterialRef, Note, View,
    gap::add_gap,
    orders::Demand,
    source::{QuotationSource, Validity},
    view::QuotationSeen,
    yearly::yearly_use,
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

/// What is asked about the price of a material.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PriceQuestion<'q> {
    /// How much is ordered, kg or pieces.
    pub ordered: &'q Exact,
    /// What that is; only to be told.
    pub demand: Demand,
    /// What is taken in a year, kg or pieces, for price breaks that count it; `None` for what all packs with a yearly volume take.
    pub a_year: Option<&'q Exact>,
    /// The strength of a lot, from its certificate of analysis, for a price of active matter; `None` for the material's.
    pub strength: Option<Percent>,
}

impl<'q> PriceQuestion<'q> {
    /// So much ordered at once, at the material's strength.
    pub const fn of(ordered: &'q Exact) -> Self {
        Self { ordered, demand: Demand::Asked, a_year: None, strength: None }
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
    landed_price_for(view, material, &PriceQuestion::of(demanded), on)
}

/// [`landed_price`] with more to the question.
///
/// # Errors
/// Those of [`landed_price`].
pub fn landed_price_for(
    view: &View<'_>,
    material: &Material,
    asked: &PriceQuestion<'_>,
    on: NaiveDate,
) -> Result<Result<LandedPrice, Gap>, EngineError> {
    let a_year = a_year(view, material, asked, on)?;
    let view = &view.buying(material.id);
    let asked = &PriceQuestion { a_year: a_year.as_ref(), ..asked.clone() };
    let seen = seen(view, material, on);
    let Choice { order, mut notes, gap } = choose(view, material, asked, on, &seen)?;
    let named = || MaterialRef::from(material);
    let Some(order) = order else {
        return Ok(Err(gap.unwrap_or_else(|| Gap::NoPrice { material: named() })));
    };
    let question = Question { view, material, asked, on, validity: order.validity() };
    let mut best = order.explained(&question)?;
    let reference = || best.source.reference.clone();
    match best.source.validity {
        Validity::Valid { .. } => {}
        Validity::LapsesSoon { until, in_days } => {
            notes.push(Note::PriceLapsesSoon { material: named(), reference: reference(), until, in_days });
        }
        Validity::Lapsed { until, .. } => {
            notes.push(Note::PriceLapsed { material: named(), reference: reference(), until });
        }
        Validity::NotYet { from } => {
            notes.push(Note::PriceNotYetValid { material: named(), reference: reference(), from });
        }
    }
    best.notes = notes;
    Ok(Ok(best))
}

/// [`landed_price_for`] without where it comes from: for pricing many at once.
///
/// # Errors
/// Those of [`landed_price`].
pub(crate) fn landed_cost(
    view: &View<'_>,
    material: &Material,
    asked: &PriceQuestion<'_>,
    on: NaiveDate,
) -> Result<Result<Exact, Gap>, EngineError> {
    let a_year = a_year(view, material, asked, on)?;
    let asked = &PriceQuestion { a_year: a_year.as_ref(), ..asked.clone() };
    let seen = seen(view, material, on);
    let Choice { order, gap, .. } = choose(view, material, asked, on, &seen)?;
    Ok(match order {
        Some(order) => Ok(order.into_per_unit()),
        None => Err(gap.unwrap_or_else(|| Gap::NoPrice { material: MaterialRef::from(material) })),
    })
}

/// A material's quotations as they stand on a day: first those that hold, all alike; then lapsed ones, the latest first; then coming
/// ones, the next first.
fn seen<'a>(view: &View<'a>, material: &Material, on: NaiveDate) -> Vec<(Validity, QuotationSeen<'a>)> {
    let mut seen = standing(view, material, on);
    seen.sort_by_key(|(validity, _)| rank(*validity, on));
    seen
}

/// A material's quotations with how it stands with them on a day. One without an end of its own lasts until its supplier offers the
/// same pack anew; where only some of its packs are, it stands here twice, with the one and with the other.
fn standing<'a>(view: &View<'a>, material: &Material, on: NaiveDate) -> Vec<(Validity, QuotationSeen<'a>)> {
    let soon = view.catalogue().settings.lapses_soon_days;
    let mut all = Vec::new();
    for mut quotation in view.quotations_of(material.id, on) {
        let entered = quotation.quotation;
        let replaced = |pack| view.catalogue().replaced_on(entered, pack).filter(|day| *day <= on);
        if entered.valid_until.is_none() && entered.offers.iter().any(|offer| replaced(offer.pack).is_some())
        {
            let (gone, left): (Vec<_>, Vec<_>) =
                std::mem::take(&mut quotation.offers).into_iter().partition(|o| replaced(o.pack).is_some());
            let mut days: Vec<NaiveDate> = gone.iter().filter_map(|offer| replaced(offer.pack)).collect();
            days.sort_unstable();
            days.dedup();
            for day in days {
                let offers = gone.iter().filter(|offer| replaced(offer.pack) == Some(day)).cloned().collect();
                all.push((lapsed_before(day, on), QuotationSeen { offers, ..quotation.clone() }));
            }
            quotation.offers = left;
        }
        if !quotation.offers.is_empty() {
            all.push((validity(entered, on, soon), quotation));
        }
    }
    all
}

/// Lapsed on the eve of the day another took its place.
fn lapsed_before(replaced: NaiveDate, on: NaiveDate) -> Validity {
    let until = replaced.pred_opt().unwrap_or(replaced);
    Validity::Lapsed { until, days_ago: (on - until).num_days() }
}

/// How it stands with a quotation as a whole: [`validity`], and lapsed once its supplier has offered each of its packs anew.
pub fn validity_among(catalogue: &Catalogue, quotation: &Quotation, on: NaiveDate) -> Validity {
    let replaced: Option<Vec<NaiveDate>> = quotation
        .offers
        .iter()
        .map(|offer| catalogue.replaced_on(quotation, offer.pack).filter(|day| *day <= on))
        .collect();
    match replaced.and_then(|days| days.into_iter().max()) {
        Some(day) => lapsed_before(day, on),
        None => validity(quotation, on, catalogue.settings.lapses_soon_days),
    }
}

fn rank(validity: Validity, on: NaiveDate) -> (u8, i64) {
    match validity {
        Validity::Valid { .. } | Validity::LapsesSoon { .. } => (0, 0),
        Validity::Lapsed { days_ago, .. } => (1, days_ago),
        Validity::NotYet { from } => (2, (from - on).num_days()),
    }
}

/// The order chosen, and what stood in the way of others.
struct Choice<'q> {
    order: Option<Order<'q>>,
    notes: Vec<Note>,
    gap: Option<Gap>,
}

fn choose<'q>(
    view: &View<'_>,
    material: &Material,
    asked: &PriceQuestion<'_>,
    on: NaiveDate,
    seen: &'q [(Validity, QuotationSeen<'q>)],
) -> Result<Choice<'q>, EngineError> {
    let mut notes = Vec::new();
    let mut first_gap = None;
    for group in seen.chunk_by(|(a, _), (b, _)| rank(*a, on) == rank(*b, on)) {
        let mut best: Option<Order<'q>> = None;
        for (validity, quotation) in group {
            let mut gap_of_quotation = None;
            for offer in &quotation.offers {
                let question = Question { view, material, asked, on, validity: *validity };
                match question.order(quotation, offer) {
                    Ok(Ok(order)) => {
                        if best.as_ref().is_none_or(|best| order.is_better_than(best)) {
                            best = Some(order);
                        }
                    }
                    Ok(Err(_)) => {}
                    Err(Stop::Gap(gap)) => gap_of_quotation = Some(gap),
                    Err(Stop::Error(error)) => return Err(error),
                }
            }
            if let Some(gap) = gap_of_quotation {
                notes.push(Note::QuotationSetAside {
                    material: MaterialRef::from(material),
                    reference: quotation.quotation.reference.clone(),
                    because: gap.to_string(),
                });
                first_gap.get_or_insert(gap);
            }
        }
        if best.is_some() {
            return Ok(Choice { order: best, notes, gap: first_gap });
        }
    }
    Ok(Choice { order: None, notes, gap: first_gap })
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
    let asked = PriceQuestion::of(demanded);
    let a_year = a_year(view, material, &asked, on)?;
    let view = &view.buying(material.id);
    let asked = &PriceQuestion { a_year: a_year.as_ref(), ..asked };
    let mut orders = Vec::new();
    let mut gaps = Vec::new();
    for (validity, quotation) in standing(view, material, on) {
        for offer in &quotation.offers {
            let question = Question { view, material, asked, on, validity };
            match question.order(&quotation, offer) {
                Ok(Ok(order)) => orders.push(order.explained(&question)?),
                Ok(Err(_)) => {}
                Err(Stop::Gap(gap)) => add_gap(&mut gaps, gap),
                Err(Stop::Error(error)) => return Err(error),
            }
        }
    }
    Ok((orders, gaps))
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

/// The year's use, where a price break counts it.
fn a_year(
    view: &View<'_>,
    material: &Material,
    asked: &PriceQuestion<'_>,
    on: NaiveDate,
) -> Result<Option<Exact>, EngineError> {
    let counts = view.catalogue().quotations_of(material.id).iter().any(|quotation| {
        quotation.terms.break_counts == BreakCounts::Year
            && quotation.offers.iter().any(|offer| offer.from_quantity.is_some())
    });
    match asked.a_year {
        Some(a_year) => Ok(Some(a_year.clone())),
        None if counts => Ok(Some(yearly_use(view, material.id, on)?.amount)),
        None => Ok(None),
    }
}

/// One offer looked at for one question.
struct Question<'v, 'a> {
    view: &'v View<'a>,
    material: &'v Material,
    asked: &'v PriceQuestion<'v>,
    on: NaiveDate,
    validity: Validity,
}
