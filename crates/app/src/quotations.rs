//! Quotations: recording a supplier's offer. It is kept for ever; a new price is a new quotation.

use chrono::NaiveDate;
use domain::{
    Refusal,
    dates::Span,
    people::Capability,
    quotations::{ChargePer, Freight, FreightPer, Offer, PriceBasis, Quotation, Terms},
    text,
};
use kernel::{
    Currency, Dimension, Percent, Quantity, UnitPrice,
    ids::{MaterialId, QuotationId, SupplierId},
    limits::CHARGES_MAX,
};
use serde::{Deserialize, Serialize};

use crate::{App, Change, Error, change::Begun, fresh::Problems, unusual::unusual_price};

/// A quotation, as it is entered.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct QuotationRecord {
    /// The supplier's reference.
    pub reference: String,
    /// Who offers.
    pub supplier: SupplierId,
    /// What is offered.
    pub material: MaterialId,
    /// Of all prices; the supplier's when empty.
    pub currency: Option<Currency>,
    /// First day it holds.
    pub valid_from: NaiveDate,
    /// Last day it holds.
    pub valid_until: Option<NaiveDate>,
    /// From order to delivery.
    pub lead_time: Option<Span>,
    /// The least that may be ordered.
    pub minimum_order: Option<Quantity>,
    /// Freight.
    pub freight: Option<Freight>,
    /// What else stands beside the prices.
    #[serde(default)]
    pub terms: Terms,
    /// Pack sizes and price breaks.
    pub offers: Vec<OfferWrite>,
    /// Remarks.
    pub note: Option<String>,
    /// Take prices that are a hundred times the material's last one, or a hundredth of it, for meant.
    // Left out where it is not said, so that a request sent before it could be is known again.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub unusual_prices: bool,
}

/// A price for one pack size from one order quantity up, as it is entered.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct OfferWrite {
    /// What is sold as one.
    pub pack: Quantity,
    /// The price of `price_per`, in the quotation's currency.
    pub price: UnitPrice,
    /// What the price is of; the pack when empty.
    pub price_per: Option<Quantity>,
    /// The order quantity from which it holds.
    pub from_quantity: Option<Quantity>,
}

impl App {
    /// Records a quotation.
    ///
    /// # Errors
    /// [`Error::NotFound`], [`Error::Invalid`], [`Refusal::Taken`] for a reference that stands for this supplier and material already.
    pub async fn quotation_record(
        &self,
        change: &Change<'_>,
        mut input: QuotationRecord,
    ) -> Result<Quotation, Error> {
        let mut work = match self.begin(change, Capability::Buy, "quotation-record", &input).await? {
            Begun::Repeat(quotation) => return Ok(quotation),
            Begun::Fresh(work) => work,
        };
        let catalogue = self.snapshot();
        let supplier = catalogue
            .suppliers
            .get(input.supplier)
            .ok_or_else(|| Error::not_found("supplier", input.supplier))?;
        let material = catalogue
            .materials
            .get(input.material)
            .ok_or_else(|| Error::not_found("material", input.material))?;
        let currency = input.currency.unwrap_or(supplier.currency);
        let mut problems = Problems::default();
        let reference = problems.code("reference", "a reference", Some(&input.reference));
        if reference.is_none() && input.reference.trim().is_empty() {
            problems.push("reference", "a quotation needs the supplier's reference");
        }
        if input.valid_until.is_some_and(|until| until < input.valid_from) {
            problems.push("validUntil", "it ends before it begins");
        }
        if input.offers.is_empty() {
            problems.push("offers", "a quotation needs at least one price");
        }
        for (at, offer) in input.offers.iter().enumerate() {
            let place = format!("offers[{at}]");
            if !offer.pack.is_positive() {
                problems.push(format!("{place}.pack"), "a pack must be above nought");
            }
            if offer.price.currency() != currency {
                problems.push(format!("{place}.price"), format!("this quotation is in {currency}"));
            }
            if offer.price.scaled() < 0 {
                problems.push(format!("{place}.price"), "a price must not be below nought");
            }
            let per = ("pricePer", "a price is of something above nought", offer.price_per);
            let from = ("fromQuantity", "a price break is above nought", offer.from_quantity);
            for (field, message, quantity) in [per, from] {
                let Some(quantity) = quantity else { continue };
                if !quantity.is_positive() {
                    problems.push(format!("{place}.{field}"), message);
                } else if !comparable(offer.pack, quantity) {
                    let message = format!("{quantity} cannot be compared with a pack of {}", offer.pack);
                    problems.push(format!("{place}.{field}"), message);
                }
            }
        }
        let offered_twice = input.offers.iter().enumerate().find(|(at, offer)| {
            let same =
                |other: &&OfferWrite| other.pack == offer.pack && other.from_quantity == offer.from_quantity;
            input.offers.iter().take(*at).any(|other| same(&other))
        });
        if let Some((at, offer)) = offered_twice {
            let message = format!("a price of {} from that quantity stands there already", offer.pack);
            problems.push(format!("offers[{at}].pack"), message);
        }
        if let Some(minimum) = input.minimum_order {
            if !minimum.is_positive() {
                problems.push("minimumOrder", "a minimum order is above nought");
            } else if let Some(offer) = input.offers.iter().find(|offer| !comparable(offer.pack, minimum)) {
                let message = format!("{minimum} cannot be compared with a pack of {}", offer.pack);
                problems.push("minimumOrder", message);
            }
        }
        if let Some(freight) = &input.freight {
            if freight.amount.currency() != currency {
                problems.push("freight", format!("this quotation is in {currency}"));
            }
            if freight.amount.scaled() < 0 {
                problems.push("freight", "freight must not be below nought");
            }
            if matches!(freight.per, FreightPer::Quantity(quantity) if !quantity.is_positive()) {
                problems.push("freight.per", "freight is of something above nought");
            }
        }
        check_terms(&mut problems, &mut input, currency);
        let note = problems.note("note", input.note.as_deref());
        problems.none()?;
        let reference = reference.unwrap_or_default();
        let taken = catalogue
            .quotations_of(material.id)
            .iter()
            .any(|q| q.supplier == supplier.id && q.reference == reference);
        if taken {
            return Err(Refusal::Taken { what: "quotation".to_owned(), text: reference }.into());
        }
        let unusual_prices = input.unusual_prices;
        let quotation = Quotation {
            id: QuotationId::new(),
            reference,
            supplier: supplier.id,
            material: material.id,
            currency,
            valid_from: input.valid_from,
            valid_until: input.valid_until,
            lead_time: input.lead_time,
            minimum_order: input.minimum_order,
            freight: input.freight,
            terms: input.terms,
            offers: input
                .offers
                .into_iter()
                .map(|offer| Offer {
                    pack: offer.pack,
                    price: offer.price,
                    price_per: offer.price_per.unwrap_or(offer.pack),
                    from_quantity: offer.from_quantity,
                })
                .collect(),
            note,
        };
        if !unusual_prices && let Some(message) = unusual_price(&catalogue, std::iter::empty(), &quotation) {
            return Err(Error::invalid("offers", message));
        }
        store::quotations::quotation_insert(&work.tx, &quotation).await?;
        work.changes_catalogue();
        work.note("quotation", quotation.id, None::<&()>, &quotation, None)?;
        work.finish(quotation).await
    }
}

/// Pieces compare with pieces only; mass and volume through a density.
fn comparable(a: Quantity, b: Quantity) -> bool {
    (a.dimension() == Dimension::Count) == (b.dimension() == Dimension::Count)
}

/// What the terms of a quotation must keep to. Names of charges are trimmed.
fn check_terms(problems: &mut Problems, input: &mut QuotationRecord, currency: Currency) {
    let terms = &mut input.terms;
    problems.take("terms.discount", terms.discount.require_loss());
    if let Some(duty) = terms.duty {
        problems.take("terms.duty", duty.percent.require_not_negative());
    }
    if let Some(forfeited) = terms.deposit.map(|deposit| deposit.forfeited) {
        problems.take("terms.deposit.forfeited", Percent::require_share(forfeited));
    }
    if terms.amounts().any(|amount| amount.currency() != currency) {
        problems.push("terms", format!("this quotation is in {currency}"));
    }
    if terms.amounts().any(|amount| amount.scaled() < 0) {
        problems.push("terms", "money in the terms must not be below nought; a reduction is a discount");
    }
    if terms.charges.len() > CHARGES_MAX {
        problems.push("terms.charges", format!("a quotation has at most {CHARGES_MAX} charges"));
    }
    for (at, charge) in terms.charges.iter_mut().enumerate() {
        let place = format!("terms.charges[{at}]");
        if let Some(name) = problems.take(&format!("{place}.name"), text::name("the name", &charge.name)) {
            charge.name = name;
        }
        let of_nothing = match charge.per {
            ChargePer::Quantity(quantity) => !quantity.is_positive(),
            ChargePer::Goods(worth) | ChargePer::Freight(worth) => worth.scaled() <= 0,
            ChargePer::Pack | ChargePer::Order => false,
        };
        if of_nothing {
            problems.push(format!("{place}.per"), "a charge is of something above nought");
        }
    }
    if terms.price_basis == PriceBasis::ActiveMatter {
        for (at, offer) in input.offers.iter().enumerate() {
            if offer.price_per.is_none_or(|per| per.dimension() != Dimension::Mass) {
                let message = "a price of active matter is of so many kilograms of it: say how many";
                problems.push(format!("offers[{at}].pricePer"), message);
            }
        }
    }
}
