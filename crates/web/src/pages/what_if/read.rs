//! From sentences to a scenario: codes are looked up, and what cannot be read is told by the number of its sentence.

use chrono::NaiveDate;
use domain::{Catalogue, dates::parse_date};
use engine::{Change, PriceBy, PriceOf, RateBy, RunAmount, RunOf, Scenario};
use kernel::{
    Currency, DecimalMark, Dimension, Mass, Quantity, Rate, Unit, UnitPrice, ids::LotId, parse_decimal,
};

use super::{KINDS, Row};
use crate::{
    Web,
    access::Who,
    fields::{percent_of, usual_unit},
    respond::PageError,
    text as t,
};

/// The scenario that the sentences describe, or everything wrong with them.
pub async fn scenario(
    web: &Web,
    who: &Who,
    catalogue: &Catalogue,
    rows: &[Row],
) -> Result<Result<Scenario, Vec<String>>, PageError> {
    let mut changes = Vec::with_capacity(rows.len());
    let mut problems = Vec::new();
    for (row, number) in rows.iter().zip(1_usize..) {
        if row.kind == "words" {
            match web.app.change_in_words(&who.actor, &row.what).await? {
                Ok(change) => changes.push(change),
                Err(why) => problems.push(t::change_wrong(number, &why)),
            }
            continue;
        }
        let lot = if row.kind.starts_with("lot-") {
            web.app.lot_by_number(&who.actor, &row.what).await?.map(|lot| lot.id)
        } else {
            None
        };
        match change(catalogue, who.today, row, lot) {
            Ok(change) => changes.push(change),
            Err(why) => problems.push(t::change_wrong(number, &why)),
        }
    }
    Ok(if problems.is_empty() { Ok(Scenario { changes, ..Scenario::default() }) } else { Err(problems) })
}

fn said(error: impl ToString) -> String {
    error.to_string()
}

fn change(catalogue: &Catalogue, today: NaiveDate, row: &Row, lot: Option<LotId>) -> Result<Change, String> {
    if !KINDS.contains(&row.kind.as_str()) {
        return Err(t::S_UNKNOWN.to_owned());
    }
    let from = if row.day.is_empty() { None } else { Some(parse_date(&row.day).map_err(said)?) };
    // A change without a day holds from today.
    let day = from.unwrap_or(today);
    let lot = || lot.ok_or_else(|| t::no_such("lot", &row.what));
    match row.kind.as_str() {
        "price-material" | "price-supplier" | "price-quotation" => price(catalogue, row, from),
        "rate" => Ok(Change::ExchangeRate {
            give: row.what.to_uppercase().parse::<Currency>().map_err(said)?,
            get: catalogue.settings.currency,
            by: if row.by.contains('%') {
                RateBy::Percent(percent_of(&row.by).map_err(said)?)
            } else {
                RateBy::Rate(parse_decimal(&row.by, DecimalMark::Point).and_then(Rate::new).map_err(said)?)
            },
            from,
        }),
        "lot-expires" => Ok(Change::LotExpires { lot: lot()?, on: day }),
        "lot-rejected" => Ok(Change::LotRejected { lot: lot()?, on: day }),
        "lot-on-hold" => Ok(Change::LotOnHold { lot: lot()?, on: day }),
        "unavailable" => {
            let material =
                catalogue.materials.by_code(&row.what).ok_or_else(|| t::no_such("material", &row.what))?;
            Ok(Change::MaterialUnavailable {
                material: material.id,
                until: from.ok_or_else(|| t::DAY_NEEDED.to_owned())?,
            })
        }
        "run" => run(catalogue, row, day),
        _ => {
            let material =
                catalogue.materials.by_code(&row.what).ok_or_else(|| t::no_such("material", &row.what))?;
            let unit = usual_unit(material.stock_dimension());
            let quantity = Quantity::parse(&row.by, Some(unit), DecimalMark::Point).map_err(said)?;
            Ok(Change::Delivery { material: material.id, quantity, on: day, expires_on: None })
        }
    }
}

fn price(catalogue: &Catalogue, row: &Row, from: Option<NaiveDate>) -> Result<Change, String> {
    let (of, dimension) = match row.kind.as_str() {
        "price-material" => {
            let material =
                catalogue.materials.by_code(&row.what).ok_or_else(|| t::no_such("material", &row.what))?;
            (PriceOf::Material(material.id), material.stock_dimension())
        }
        "price-supplier" => {
            let supplier =
                catalogue.suppliers.by_code(&row.what).ok_or_else(|| t::no_such("supplier", &row.what))?;
            (PriceOf::Supplier(supplier.id), Dimension::Mass)
        }
        _ => {
            let found = catalogue.quotations().iter().find(|quotation| quotation.reference == row.what);
            let quotation = found.ok_or_else(|| t::no_such("quotation", &row.what))?;
            let material = catalogue.materials.get(quotation.material);
            (PriceOf::Quotation(quotation.id), material.map_or(Dimension::Mass, |m| m.stock_dimension()))
        }
    };
    let by = if row.by.contains('%') {
        PriceBy::Percent(percent_of(&row.by).map_err(said)?)
    } else {
        // A new price: `1.65 EUR`, per kg or piece; the house's currency unless another is written.
        let (figure, currency) = row.by.split_once(char::is_whitespace).unwrap_or((&row.by, ""));
        let currency = match currency.trim() {
            "" => catalogue.settings.currency,
            code => code.to_uppercase().parse::<Currency>().map_err(said)?,
        };
        let figure =
            parse_decimal(figure, DecimalMark::Point).map_err(|error| format!("{error}; {}", t::BY_HELP))?;
        let price = UnitPrice::from_decimal(figure, currency).map_err(said)?;
        let per = Quantity::new(1.into(), usual_unit(dimension)).map_err(said)?;
        PriceBy::Price { price, per }
    };
    Ok(Change::Price { of, by, from })
}

fn run(catalogue: &Catalogue, row: &Row, on: NaiveDate) -> Result<Change, String> {
    let of = match (catalogue.packs.by_code(&row.what), catalogue.formulas.by_code(&row.what)) {
        (Some(pack), _) => RunOf::Pack(pack.id),
        (None, Some(formula)) => {
            let version = formula.approved_on(on).ok_or_else(|| t::no_approved(&formula.code))?;
            RunOf::Version(version.id)
        }
        (None, None) => return Err(t::no_such("pack or formula", &row.what)),
    };
    let usual = if matches!(of, RunOf::Pack(_)) { Unit::Piece } else { Unit::Kilogram };
    let amount = match Quantity::parse(&row.by, Some(usual), DecimalMark::Point).map_err(said)? {
        Quantity::Mass(batch) if batch > Mass::ZERO => RunAmount::Batch(batch),
        Quantity::Count(count) => {
            let units = count.pieces().normalize().to_string().parse::<u64>();
            RunAmount::Units(units.map_err(|_| t::WHOLE_UNITS.to_owned())?)
        }
        _ => return Err(t::WHOLE_UNITS.to_owned()),
    };
    Ok(Change::PlannedRun { of, amount, on })
}
