//! Suppliers: who sells what, on which terms, and what came of it.

use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use domain::{Catalogue, people::Capability, suppliers::Supplier};
use engine::price::validity;
use maud::{Markup, html};

use crate::{
    Web,
    access::{Answer, Who},
    figures as fig,
    frame::{self, Place},
    links,
    pages::material_link,
    respond::{PageError, shown},
    text as t, ui,
};

/// All suppliers.
pub async fn list(State(web): State<Web>, who: Who) -> Answer {
    let catalogue = web.app.catalogue(&who.actor)?;
    let count = |supplier: &Supplier| {
        catalogue.quotations().iter().filter(|quotation| quotation.supplier == supplier.id).count()
    };
    let body = html! {
        p.crumb { a href="/shelf" { (t::SHELF) } }
        h1 { (t::SUPPLIERS) }
        @if catalogue.suppliers.is_empty() { (ui::nothing(t::SUPPLIERS_NONE)) } @else {
            (ui::table(t::SUPPLIERS, &html! {
                th { (t::SUPPLIER) } th { (t::COUNTRY) } th { (t::CURRENCY) } th { (t::QUOTE_LEAD_TIME) } th.num { (t::QUOTATIONS) }
            }, &html! {
                @for supplier in catalogue.suppliers.iter() {
                    tr {
                        td { a href=(links::supplier(&supplier.code)) { span.code { (supplier.code) } " " (supplier.name) } }
                        td { (supplier.country.as_deref().unwrap_or("")) }
                        td { (supplier.currency.code()) }
                        td { @match supplier.lead_time { Some(time) => { (time) } None => { (fig::gap()) } } }
                        td.num { (count(supplier)) }
                    }
                }
            }))
        }
    };
    Ok(shown(StatusCode::OK, frame::page(&who, Place::Shelf, t::SUPPLIERS, &body)))
}

/// One supplier.
pub async fn page(State(web): State<Web>, who: Who, Path(code): Path<String>) -> Answer {
    let catalogue = web.app.catalogue(&who.actor)?;
    let supplier =
        catalogue.suppliers.by_code(&code).ok_or_else(|| PageError::not_found("supplier", &code))?;
    let body = html! {
        p.crumb { a href="/suppliers" { (t::SUPPLIERS) } }
        h1 { span.code { (supplier.code) } " " (supplier.name) }
        @if let Some(note) = &supplier.note { p.lead { (note) } }
        dl.facts {
            (ui::fact(t::CURRENCY, &html! { (supplier.currency.code()) }))
            (ui::fact(t::QUOTE_LEAD_TIME, &supplier.lead_time.map_or_else(fig::gap, |time| html! { (time) })))
            @if let Some(country) = &supplier.country { (ui::fact(t::COUNTRY, &html! { (country) })) }
        }
        p.ways-on {
            @if who.may(Capability::Buy) {
                a.button.plain href=(links::with_query("/quotations", &[("supplier", &supplier.code)])) { (t::QUOTE) }
            }
            a.button.plain href=(format!("/what-if?as_of=&kind=price-supplier&what={}&by=%2B10+%25&day=", links::escaped(&supplier.code))) { (t::WHAT_IF_DEARER) }
        }
        h2 { (t::QUOTATIONS) }
        (quotations(&catalogue, supplier, &who))
    };
    Ok(shown(StatusCode::OK, frame::page(&who, Place::Shelf, &supplier.code, &body)))
}

fn quotations(catalogue: &Catalogue, supplier: &Supplier, who: &Who) -> Markup {
    let mut quotations: Vec<_> =
        catalogue.quotations().iter().filter(|quotation| quotation.supplier == supplier.id).collect();
    if quotations.is_empty() {
        return ui::nothing(t::SUPPLIER_OFFERS_NOTHING);
    }
    quotations.sort_by_key(|quotation| std::cmp::Reverse(quotation.valid_from));
    ui::table(
        t::QUOTATIONS,
        &html! { th { (t::QUOTATION) } th { (t::MATERIAL) } th { (t::QUOTE_FROM) } th { (t::QUOTE_UNTIL) } th { (t::PACKS_AND_PRICES) } th { (t::STATE) } },
        &html! {
            @for quotation in quotations {
                tr {
                    td { span.code { (quotation.reference) } }
                    td { (material_link(catalogue, quotation.material)) }
                    td { (fig::date(quotation.valid_from)) }
                    td { (fig::date_or_dash(quotation.valid_until)) }
                    td {
                        ul.plain {
                            @for offer in &quotation.offers {
                                li { (fig::quantity_text(offer.pack)) ": " (fig::price(offer.price)) " " (t::PER) " " (fig::quantity_text(offer.price_per)) }
                            }
                        }
                    }
                    td { (validity(quotation, who.today, catalogue.settings.lapses_soon_days).words()) }
                }
            }
        },
    )
}
