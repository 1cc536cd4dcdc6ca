//! Prices that look like a slip of the decimal point: a hundred times another price of the same material, or a hundredth of it.
//!
//! A figure can be taken for meant by saying so; without that it is not let in, since every cost would rest on it.

use domain::{
    Catalogue,
    quotations::{Offer, PriceBasis, Quotation},
};
use kernel::{Currency, Dimension, Exact};

/// A price a hundred times another of the same material is more often a slip of the point than a change of the market.
const FAR: i128 = 100;

/// What makes two prices comparable: currency, dimension, and what they are of.
type Comparable = (Currency, Dimension, PriceBasis);

/// What is odd about a quotation's prices against the last one of its material that stands here, else against others that come in
/// with it, its own among them; `None` where nothing is. Offers at no price (samples) say nothing.
pub(crate) fn unusual_price<'q>(
    catalogue: &Catalogue,
    beside: impl Iterator<Item = &'q Quotation>,
    quotation: &'q Quotation,
) -> Option<String> {
    let own: Vec<(Comparable, Exact)> = prices(quotation).collect();
    let known = own.iter().find_map(|(alike, price)| {
        let last = catalogue.quotations_of(quotation.material).iter().rev().find_map(|known| {
            let (_, last) = prices(known).find(|(other, _)| other == alike)?;
            Some((last, known.reference.clone()))
        })?;
        Some((alike, price, last))
    });
    if let Some((alike, price, (last, reference))) = known {
        return is_far(price, &last).then(|| told(*alike, price, &last, &reference));
    }
    let beside = beside.filter(|other| other.material == quotation.material).chain([quotation]);
    let others: Vec<(Comparable, Exact, &str)> = beside
        .flat_map(|other| prices(other).map(|(alike, price)| (alike, price, other.reference.as_str())))
        .collect();
    own.iter().find_map(|(alike, price)| {
        let far = |other: &&(Comparable, Exact, &str)| other.0 == *alike && is_far(price, &other.1);
        others.iter().find(far).map(|(_, other, reference)| told(*alike, price, other, reference))
    })
}

fn prices(quotation: &Quotation) -> impl Iterator<Item = (Comparable, Exact)> {
    quotation.offers.iter().filter_map(|offer: &Offer| {
        let each = offer.price.to_exact().checked_div(&offer.price_per.to_exact()).ok()?;
        let alike = (offer.price.currency(), offer.price_per.dimension(), quotation.terms.price_basis);
        each.is_positive().then_some((alike, each))
    })
}

fn is_far(price: &Exact, other: &Exact) -> bool {
    let far = Exact::whole(FAR);
    *price >= other * &far || price * &far <= *other
}

fn told((currency, dimension, _): Comparable, price: &Exact, other: &Exact, reference: &str) -> String {
    let shown =
        |value: &Exact| value.round_half_even(4).map(|v| v.normalize().to_string()).unwrap_or_default();
    format!(
        "{} {currency} per {} against {} in {reference}; if that is meant, accept unusual prices",
        shown(price),
        dimension.unit(),
        shown(other)
    )
}
