//! From what was written to a scenario: codes and numbers become things of the house.

use app::App;
use domain::{Catalogue, Problem, people::Actor, quotations::Quotation};
use engine::{Change, PriceBy, PriceOf, Scenario};
use kernel::{Count, Currency, Dimension, Mass, Quantity, UnitPrice, ids::LotId};
use rust_decimal::Decimal;
use std::sync::Arc;

use crate::{
    failure::Failure,
    scenario::{How, LotText, PriceText, ScenarioText, Whose},
};

/// Makes the scenario.
///
/// # Errors
/// [`Failure::Usage`] with every code that is not known and every price that does not fit.
pub async fn scenario(
    app: &App,
    actor: &Actor,
    catalogue: &Catalogue,
    texts: &ScenarioText,
) -> Result<Scenario, Failure> {
    let mut problems = Vec::new();
    let mut changes = Vec::new();
    for price in &texts.prices {
        match price_changes(catalogue, price) {
            Ok(found) => changes.extend(found),
            Err(why) => problems.push(Problem::at("--price", why)),
        }
    }
    for text in &texts.expiring {
        match lot(app, actor, text).await? {
            Some(lot) => changes.push(Change::LotExpires { lot, on: text.on }),
            None => problems.push(Problem::at("--lot-expires", no_lot(text))),
        }
    }
    for text in &texts.rejected {
        match lot(app, actor, text).await? {
            Some(lot) => changes.push(Change::LotRejected { lot, on: text.on }),
            None => problems.push(Problem::at("--lot-rejected", no_lot(text))),
        }
    }
    if problems.is_empty() {
        Ok(Scenario { changes, ..Scenario::default() })
    } else {
        Err(Failure::Usage(problems))
    }
}

async fn lot(app: &App, actor: &Actor, text: &LotText) -> Result<Option<LotId>, Failure> {
    Ok(app.lot_by_number(actor, &text.lot).await?.map(|lot| lot.id))
}

fn no_lot(text: &LotText) -> String {
    format!("there is no lot “{}”; `stillroom shelf` lists them", text.lot)
}

/// One change for each thing that is meant: the same reference may stand for several materials.
fn price_changes(catalogue: &Catalogue, price: &PriceText) -> Result<Vec<Change>, String> {
    let change = |of, by| Change::Price { of, by, from: price.from };
    match &price.whose {
        Whose::Material(code) => {
            let material =
                catalogue.materials.by_code(code).ok_or_else(|| format!("there is no material “{code}”"))?;
            let usual = match material.stock_dimension() {
                Dimension::Count => Quantity::Count(Count::from_thousandths(1_000)),
                Dimension::Mass | Dimension::Volume => Quantity::Mass(Mass::from_micrograms(1_000_000_000)),
            };
            let by = price_by(&price.how, catalogue.settings.currency, Some(usual))?;
            Ok(vec![change(PriceOf::Material(material.id), by)])
        }
        Whose::Supplier(code) => {
            let supplier =
                catalogue.suppliers.by_code(code).ok_or_else(|| format!("there is no supplier “{code}”"))?;
            let by = price_by(&price.how, supplier.currency, None)?;
            Ok(vec![change(PriceOf::Supplier(supplier.id), by)])
        }
        Whose::Quotation(reference) => {
            let named: Vec<&Arc<Quotation>> = catalogue
                .quotations()
                .iter()
                .filter(|quotation| quotation.reference.eq_ignore_ascii_case(reference.trim()))
                .collect();
            if named.is_empty() {
                return Err(format!("there is no quotation “{reference}”"));
            }
            if named.len() > 1 && matches!(price.how, How::To { .. }) {
                return Err(format!(
                    "{} quotations are called “{reference}”; one new price cannot fit them all, write a percent",
                    named.len()
                ));
            }
            named
                .into_iter()
                .map(|quotation| {
                    let by = price_by(&price.how, quotation.currency, common_unit(quotation))?;
                    Ok(change(PriceOf::Quotation(quotation.id), by))
                })
                .collect()
        }
    }
}

fn price_by(how: &How, currency: Currency, usual: Option<Quantity>) -> Result<PriceBy, String> {
    match how {
        How::ByPercent(percent) => Ok(PriceBy::Percent(*percent)),
        How::To { price, currency: written, per } => {
            let per = per.or(usual).ok_or_else(|| {
                format!("its prices are of several units; say which is meant: {price} per kg")
            })?;
            let price = unit_price(*price, written.unwrap_or(currency))?;
            Ok(PriceBy::Price { price, per })
        }
    }
}

fn unit_price(figure: Decimal, currency: Currency) -> Result<UnitPrice, String> {
    UnitPrice::from_decimal(figure, currency).map_err(|error| error.to_string())
}

/// What all prices of a quotation are of, when that is one and the same.
fn common_unit(quotation: &Quotation) -> Option<Quantity> {
    let first = quotation.offers.first()?.price_per;
    quotation.offers.iter().all(|offer| offer.price_per == first).then_some(first)
}
