//! Offers of several strengths, suppliers and packs by what a kilogram of active matter costs landed.

use chrono::NaiveDate;
use domain::dates::Span;
use kernel::{
    Currency, Exact, Mass, Percent, Quantity,
    ids::{MaterialId, QuotationId, SupplierId},
};
use serde::{Serialize, Serializer};

use crate::{
    EngineError, Gap, MaterialRef, View,
    price::landed_offers,
    source::{QuotationSource, Validity},
};

/// Offers compared. Money is in the house's currency.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ActiveOffers {
    /// The house's currency.
    pub currency: Currency,
    /// The day asked.
    pub on: NaiveDate,
    /// Active matter that every order has to cover.
    pub active: Mass,
    /// The offers: those whose quotation holds on the day first, and of each kind the cheapest per kg of active matter first.
    pub offers: Vec<ActiveOffer>,
    /// What could not be compared.
    pub not_compared: Vec<NotCompared>,
}

/// One offer's order that covers the active matter.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ActiveOffer {
    /// What is offered.
    pub material: MaterialRef,
    /// Its active matter.
    pub strength: Percent,
    /// The quotation.
    pub quotation: QuotationId,
    /// The supplier's reference.
    pub reference: String,
    /// The supplier.
    pub supplier: SupplierId,
    /// The supplier's code.
    pub supplier_code: String,
    /// The supplier's name.
    pub supplier_name: String,
    /// What is sold as one.
    pub pack: Quantity,
    /// Packs of the order.
    pub packs: i128,
    /// Supplied, kg, that the active matter takes.
    #[serde(serialize_with = "crate::figures::amount")]
    pub demanded: Exact,
    /// Supplied, kg, that the order brings.
    #[serde(serialize_with = "crate::figures::amount")]
    pub ordered: Exact,
    /// Landed, per kg as supplied.
    #[serde(serialize_with = "crate::figures::cost")]
    pub per_kg: Exact,
    /// Landed, per kg of active matter.
    #[serde(serialize_with = "crate::figures::cost")]
    pub per_kg_active: Exact,
    /// What it is dearer by than the first, as a fraction of the first (percent in JSON); `None` when that costs nothing.
    #[serde(serialize_with = "crate::figures::optional_percent")]
    pub dearer_by: Option<Exact>,
    /// The whole order, landed.
    #[serde(serialize_with = "crate::figures::cost")]
    pub order_cost: Exact,
    /// From order to delivery.
    pub lead_time: Option<Span>,
    /// How it stands with the quotation on the day.
    #[serde(serialize_with = "validity_code")]
    pub validity: Validity,
    /// How the price came about, in a sentence.
    #[serde(serialize_with = "sentence")]
    pub source: QuotationSource,
}

/// What could not be compared, and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct NotCompared {
    /// The material.
    pub material: MaterialRef,
    /// Why.
    #[serde(serialize_with = "as_text")]
    pub gap: Gap,
}

fn validity_code<S: Serializer>(validity: &Validity, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(validity.code())
}

fn sentence<S: Serializer>(source: &QuotationSource, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_str(source)
}

fn as_text<S: Serializer>(gap: &Gap, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_str(gap)
}

/// What each offer of these materials costs per kilogram of active matter when so much active matter is ordered, landed: whole packs,
/// minimum orders, price breaks and freight as for any price.
///
/// # Errors
/// [`EngineError::NotFound`] for an unknown material; [`EngineError::Amount`] for active matter that is not above nought, or when a figure
/// leaves its range.
pub fn offers_per_active(
    view: &View<'_>,
    materials: &[MaterialId],
    active: Mass,
    on: NaiveDate,
) -> Result<ActiveOffers, EngineError> {
    active.require_positive()?;
    let mut offers = Vec::new();
    let mut not_compared = Vec::new();
    for id in materials {
        let material = view.material(*id)?;
        let named = || MaterialRef::from(&**material);
        let Some(strength) = material.active_matter.filter(|strength| strength.is_positive()) else {
            not_compared
                .push(NotCompared { material: named(), gap: Gap::NoActiveMatter { material: named() } });
            continue;
        };
        let demanded = active.to_exact().checked_div(&strength.fraction())?;
        let (orders, gaps) = landed_offers(view, material, &demanded, on)?;
        if orders.is_empty() && gaps.is_empty() {
            not_compared.push(NotCompared { material: named(), gap: Gap::NoPrice { material: named() } });
        }
        not_compared.extend(gaps.into_iter().map(|gap| NotCompared { material: named(), gap }));
        for order in orders {
            let source = order.source;
            offers.push(ActiveOffer {
                material: named(),
                strength,
                quotation: source.quotation,
                reference: source.reference.clone(),
                supplier: source.supplier,
                supplier_code: source.supplier_code.clone(),
                supplier_name: source.supplier_name.clone(),
                pack: source.pack,
                packs: source.packs,
                demanded: source.demanded.clone(),
                ordered: source.ordered.clone(),
                per_kg_active: order.per_unit.checked_div(&strength.fraction())?,
                per_kg: order.per_unit,
                dearer_by: None,
                order_cost: order.order_cost,
                lead_time: order.lead_time,
                validity: source.validity,
                source,
            });
        }
    }
    let rank = |offer: &ActiveOffer| !offer.validity.holds();
    offers.sort_by(|a, b| {
        (rank(a), &a.per_kg_active, &a.order_cost, &a.reference).cmp(&(
            rank(b),
            &b.per_kg_active,
            &b.order_cost,
            &b.reference,
        ))
    });
    if let Some(first) = offers.first().map(|offer| offer.per_kg_active.clone()) {
        for offer in &mut offers {
            offer.dearer_by = (&offer.per_kg_active - &first).checked_div(&first).ok();
        }
    }
    Ok(ActiveOffers { currency: view.currency(), on, active, offers, not_compared })
}
