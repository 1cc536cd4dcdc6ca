//! A material's price for any quantity, prepared once: for pricing the same material for many batches.
//!
//! Where quotations have neither breaks nor minimum orders and nothing is charged by the order, what an offer costs per kg does not
//! depend on the quantity; which offer costs least for it still does, for packs are taken whole. That choice is then a matter of whole
//! numbers. Everything else is asked as a cost sheet asks it.

use chrono::NaiveDate;
use domain::{
    materials::Material,
    quotations::{ChargePer, FreightPer},
};
use kernel::Exact;

use super::{PriceQuestion, Question, Stop, rank, seen};
use crate::{EngineError, View, view::QuotationSeen};

/// What a material costs, by quantity.
#[derive(Debug)]
pub(crate) enum Ladder {
    /// By the offer that costs least.
    Offers(Offers),
    /// It has to be asked for each quantity.
    Asked,
}

/// Offers whose price does not depend on the quantity, in the order in which the first of two alike is taken.
#[derive(Debug)]
pub(crate) struct Offers {
    rungs: Vec<Rung>,
}

#[derive(Debug)]
struct Rung {
    per_unit: Exact,
    /// A pack in kg or pieces, as a fraction.
    pack: (i64, i64),
    /// What a pack costs, in parts that are the same for all rungs.
    pack_cost: i128,
}

impl Ladder {
    /// Prepares the prices of a day.
    pub(crate) fn new(view: &View<'_>, material: &Material, on: NaiveDate) -> Result<Self, EngineError> {
        if view.stated_order(material.id).is_some() {
            return Ok(Self::Asked);
        }
        let seen = seen(view, material, on);
        let best = seen.first().map(|(validity, _)| rank(*validity, on));
        let mut found: Vec<(Exact, Exact, String)> = Vec::new();
        for (validity, quotation) in seen.iter().take_while(|(validity, _)| Some(rank(*validity, on)) == best)
        {
            if depends_on_quantity(quotation) {
                return Ok(Self::Asked);
            }
            for offer in &quotation.offers {
                let asked = &PriceQuestion::of(&Exact::ONE);
                let question = Question { view, material, asked, on, validity: *validity };
                let order = match question.order(quotation, offer) {
                    Ok(Ok(order)) => order,
                    Ok(Err(_)) | Err(Stop::Gap(_)) => return Ok(Self::Asked),
                    Err(Stop::Error(error)) => return Err(error),
                };
                let (pack, reference) = (order.pack().clone(), quotation.quotation.reference.clone());
                found.push((order.into_per_unit(), pack, reference));
            }
        }
        // Of two that cost the same, the lower price per kg goes before, then the reference: the sort keeps the order of the rest.
        found.sort_by(|(price, _, reference), (other, _, other_reference)| {
            (price, reference).cmp(&(other, other_reference))
        });
        Ok(Offers::new(found).map_or(Self::Asked, Self::Offers))
    }
}

fn depends_on_quantity(quotation: &QuotationSeen<'_>) -> bool {
    let entered = quotation.quotation;
    quotation.offers.iter().any(|offer| offer.from_quantity.is_some())
        || entered.offers.iter().any(|offer| offer.from_quantity.is_some())
        || entered.minimum_order.is_some()
        || quotation.terms.small_order.is_some()
        || quotation.freight.as_ref().is_some_and(|freight| freight.per == FreightPer::Order)
        || quotation.terms.charges.iter().any(|charge| charge.per == ChargePer::Order)
}

impl Offers {
    fn new(found: Vec<(Exact, Exact, String)>) -> Option<Self> {
        let mut parts = 1_i128;
        let mut terms = Vec::with_capacity(found.len());
        for (per_unit, pack, _) in &found {
            let (over, under) = (per_unit * pack).terms()?;
            parts = parts.checked_mul(under / kernel::exact::common_divisor(parts, under))?;
            terms.push((over, under));
        }
        let mut rungs = Vec::with_capacity(found.len());
        for ((per_unit, pack, _), (over, under)) in found.into_iter().zip(terms) {
            let (pack_over, pack_under) = pack.terms()?;
            let pack = (i64::try_from(pack_over).ok()?, i64::try_from(pack_under).ok()?);
            rungs.push(Rung { per_unit, pack, pack_cost: over.checked_mul(parts / under)? });
        }
        (!rungs.is_empty()).then_some(Self { rungs })
    }

    /// What each rung costs per kg or piece.
    pub(crate) fn per_unit(&self) -> impl Iterator<Item = &Exact> {
        self.rungs.iter().map(|rung| &rung.per_unit)
    }

    /// The rung that costs least for so much, a fraction above nought; `None` where figures are too long to say it in whole numbers.
    pub(crate) fn least_for(&self, over: i64, under: i64) -> Option<usize> {
        if self.rungs.len() == 1 {
            return Some(0);
        }
        let mut best: Option<(i128, usize)> = None;
        for (at, rung) in self.rungs.iter().enumerate() {
            let (pack_over, pack_under) = rung.pack;
            let wanted = i128::from(over) * i128::from(pack_under);
            let pack = i128::from(under) * i128::from(pack_over);
            let count = whole_ones(wanted, pack)?.max(1);
            let cost = rung.pack_cost.checked_mul(count)?;
            if best.is_none_or(|(least, _)| cost < least) {
                best = Some((cost, at));
            }
        }
        best.map(|(_, at)| at)
    }
}

/// `wanted / one`, up to a whole number; neither is below nought.
fn whole_ones(wanted: i128, one: i128) -> Option<i128> {
    if let (Ok(wanted), Ok(one)) = (u64::try_from(wanted), u64::try_from(one)) {
        return (one > 0).then(|| i128::from(wanted.div_ceil(one)));
    }
    (one > 0).then(|| wanted / one + i128::from(wanted % one != 0))
}
