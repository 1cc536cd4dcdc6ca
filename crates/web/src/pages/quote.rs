//! Entering a supplier's quotation.

use app::{OfferWrite, QuotationRecord};
use axum::{extract::State, response::Response};
use domain::{
    Catalogue,
    dates::Span,
    people::Capability,
    quotations::{Freight, FreightPer, Terms},
};
use kernel::{Currency, DecimalMark, Mass, Percent, Quantity, Unit, UnitPrice, parse_decimal};
use maud::{Markup, html};

use crate::{
    Web,
    access::{Answer, Asked, Sent, Who},
    fields::{Fields, Reader, usual_unit},
    frame::{self, Place},
    links,
    respond::shown,
    text as t,
    ui::{self, Field, Kept},
};

const FORM: &str = "quote";
/// Rows of prices on the form.
const OFFERS: usize = 4;
/// The fields of a price, each in every row.
const COLUMNS: [(&str, &str); 4] = [
    ("pack", t::OFFER_PACK),
    ("price", t::OFFER_PRICE),
    ("per", t::OFFER_PER),
    ("fromQuantity", t::OFFER_FROM),
];

/// The form.
pub async fn page(State(web): State<Web>, who: Who, Asked(fields): Asked) -> Answer {
    if !who.may(Capability::Buy) {
        return Err(app::Error::Forbidden(Capability::Buy).into());
    }
    let catalogue = web.app.catalogue(&who.actor)?;
    Ok(form(&who, &catalogue, &fields, &Kept::default()))
}

fn form(who: &Who, catalogue: &Catalogue, fields: &Fields, kept: &Kept) -> Response {
    let (material, supplier) = (fields.first("material"), fields.first("supplier"));
    let per = [("order", t::FREIGHT_ORDER), ("pack", t::FREIGHT_PACK), ("kg", t::FREIGHT_KG)];
    let chosen = kept.value(FORM, "freightPer", "order");
    let body = html! {
        p.crumb { a href="/shelf" { (t::SHELF) } @if !material.is_empty() { " › " a href=(links::material(material)) { (material) } } }
        h1 { (t::QUOTE) }
        p.lead { (t::QUOTE_LEAD) }
        (kept.notice(FORM))
        form.stack.wide method="post" action="/quotations" {
            (ui::form_keys(who, kept, FORM))
            fieldset {
                legend { (t::THE_OFFER) }
                (Field::text(FORM, "material", t::MATERIAL).start(material).list("materials").needed().focus(material.is_empty()).show(kept))
                (Field::text(FORM, "supplier", t::SUPPLIER).start(supplier).list("suppliers").needed().focus(!material.is_empty()).show(kept))
                (Field::text(FORM, "reference", t::QUOTE_REFERENCE).needed().show(kept))
                (Field::text(FORM, "currency", t::QUOTE_CURRENCY).hint(t::QUOTE_CURRENCY_HINT).show(kept))
                (Field::date(FORM, "validFrom", t::QUOTE_FROM).start(&who.today.to_string()).needed().show(kept))
                (Field::date(FORM, "validUntil", t::QUOTE_UNTIL).show(kept))
                (Field::text(FORM, "leadTime", t::QUOTE_LEAD_TIME).hint(t::QUOTE_LEAD_TIME_HINT).show(kept))
                (Field::amount(FORM, "minimumOrder", t::QUOTE_MINIMUM).show(kept))
                (Field::amount(FORM, "discount", t::QUOTE_DISCOUNT).show(kept))
                (Field::amount(FORM, "freight", t::QUOTE_FREIGHT).show(kept))
                (ui::select(FORM, "freightPer", t::QUOTE_FREIGHT_PER, &chosen, &per.map(|(v, w)| (v.to_owned(), w.to_owned()))))
                (Field::text(FORM, "note", t::REMARKS).show(kept))
            }
            fieldset {
                legend { (t::QUOTE_PRICES) }
                p.full.hint { (t::QUOTE_PRICES_HELP) }
                div.full { (offers(fields)) }
            }
            button type="submit" { (t::QUOTE_ENTER) }
        }
        (ui::suggestions("materials", catalogue.materials.iter().filter(|m| m.kind.is_stocked()).map(|m| (m.code.as_str(), m.name.as_str()))))
        (ui::suggestions("suppliers", catalogue.suppliers.iter().map(|s| (s.code.as_str(), s.name.as_str()))))
    };
    shown(kept.status(), frame::page(who, Place::Shelf, t::QUOTE, &body))
}

fn offers(fields: &Fields) -> Markup {
    ui::table(
        t::QUOTE_PRICES,
        &html! { @for (_, label) in COLUMNS { th { (label) } } },
        &html! {
            @for at in 0..OFFERS {
                tr {
                    @for (name, label) in COLUMNS {
                        td {
                            input id={ "quote-" (name) "-" (at) } name=(name) value=(fields.all(name).nth(at).unwrap_or("")) type="text" inputmode="decimal"
                                aria-label=(t::offer_field(at + 1, label)) autocomplete="off" spellcheck="false";
                        }
                    }
                }
            }
        },
    )
}

/// Enters it.
pub async fn enter(State(web): State<Web>, sent: Sent) -> Answer {
    let catalogue = web.app.catalogue(&sent.who.actor)?;
    let result = match input(&catalogue, &sent.fields) {
        Ok((code, record)) => web.app.quotation_record(&sent.change(), record).await.map(|_| code),
        Err(error) => Err(error),
    };
    match result {
        Ok(code) => Ok(crate::respond::go(&links::material(&code))),
        Err(error) => {
            let kept = Kept::after(FORM, sent.fields.clone(), error)?;
            Ok(form(&sent.who, &catalogue, &sent.fields, &kept))
        }
    }
}

fn input(catalogue: &Catalogue, fields: &Fields) -> Result<(String, QuotationRecord), app::Error> {
    let mut reader = Reader::new(fields);
    let material = catalogue.materials.by_code(fields.first("material"));
    if material.is_none() {
        reader.wrong("material", t::no_such("material", fields.first("material")));
    }
    let supplier = catalogue.suppliers.by_code(fields.first("supplier"));
    if supplier.is_none() {
        reader.wrong("supplier", t::no_such("supplier", fields.first("supplier")));
    }
    let stated = fields.text("currency").and_then(|text| {
        let currency = text.to_uppercase().parse::<Currency>();
        reader.take("currency", currency)
    });
    let currency = stated.or_else(|| supplier.map(|s| s.currency)).unwrap_or(catalogue.settings.currency);
    let unit = material.map_or(Unit::Kilogram, |material| usual_unit(material.stock_dimension()));
    let valid_from = reader.date("validFrom");
    let valid_from = reader.needed("validFrom", valid_from);
    let valid_until = reader.date("validUntil");
    let lead_time = fields.text("leadTime").and_then(|text| reader.take("leadTime", text.parse::<Span>()));
    let minimum_order = reader.quantity("minimumOrder", unit);
    let discount = reader.percent("discount").unwrap_or(Percent::ZERO);
    let freight = reader.figure("freight").and_then(|figure| {
        let amount = reader.take("freight", UnitPrice::from_decimal(figure, currency))?;
        let per = match fields.first("freightPer") {
            "pack" => FreightPer::Pack,
            "kg" => FreightPer::Quantity(Quantity::Mass(Mass::from_micrograms(1_000_000_000))),
            _ => FreightPer::Order,
        };
        Some(Freight { amount, per })
    });
    let offers = read_offers(&mut reader, fields, unit, currency);
    let (Some(material), Some(supplier), Some(valid_from), true) =
        (material, supplier, valid_from, reader.problems.is_empty())
    else {
        return Err(app::Error::Invalid(reader.problems));
    };
    let record = QuotationRecord {
        reference: fields.first("reference").to_owned(),
        supplier: supplier.id,
        material: material.id,
        currency: Some(currency),
        valid_from,
        valid_until,
        lead_time,
        minimum_order,
        freight,
        terms: Terms { discount, ..Terms::default() },
        offers,
        unusual_prices: false,
        note: fields.text("note"),
    };
    Ok((material.code.clone(), record))
}

fn read_offers(reader: &mut Reader<'_>, fields: &Fields, unit: Unit, currency: Currency) -> Vec<OfferWrite> {
    let mut offers = Vec::new();
    for at in 0..OFFERS {
        let cell = |name| fields.all(name).nth(at).filter(|text| !text.is_empty());
        if COLUMNS.iter().all(|(name, _)| cell(name).is_none()) {
            continue;
        }
        let mut quantity = |name: &'static str| {
            let text = cell(name)?;
            reader.take(name, Quantity::parse(text, Some(unit), DecimalMark::Point))
        };
        let (pack, price_per, from_quantity) = (quantity("pack"), quantity("per"), quantity("fromQuantity"));
        let figure =
            cell("price").and_then(|text| reader.take("price", parse_decimal(text, DecimalMark::Point)));
        let price = figure.and_then(|figure| reader.take("price", UnitPrice::from_decimal(figure, currency)));
        let (pack, price) = (reader.needed("pack", pack), reader.needed("price", price));
        if let Some((pack, price)) = pack.zip(price) {
            offers.push(OfferWrite { pack, price, price_per, from_quantity });
        }
    }
    offers
}
