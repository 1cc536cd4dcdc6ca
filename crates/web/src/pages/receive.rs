//! Receiving a delivery: it becomes a lot in quarantine.

use app::LotReceive;
use axum::extract::State;
use domain::Catalogue;
use kernel::Unit;
use maud::{Markup, html};

use crate::{
    Web,
    access::{Answer, Asked, Sent, Who},
    fields::{Reader, usual_unit},
    frame::{self, Place},
    links,
    respond::{go, shown},
    text as t,
    ui::{self, Field, Kept},
};

const FORM: &str = "receive";

/// The form.
pub async fn page(State(web): State<Web>, who: Who, Asked(fields): Asked) -> Answer {
    let catalogue = web.app.catalogue(&who.actor)?;
    Ok(form(&who, &catalogue, fields.first("material"), &Kept::default()))
}

fn form(who: &Who, catalogue: &Catalogue, material: &str, kept: &Kept) -> axum::response::Response {
    let currency = catalogue.settings.currency.code();
    let body: Markup = html! {
        p.crumb { a href="/shelf" { (t::SHELF) } }
        h1 { (t::RECEIVE) }
        p.lead { (t::RECEIVE_LEAD) }
        (kept.notice(FORM))
        form.stack.wide method="post" action="/receive" {
            (ui::form_keys(who, kept, FORM))
            fieldset {
                legend { (t::WHAT_ARRIVED) }
                (Field::text(FORM, "material", t::MATERIAL).start(material).list("materials").needed().focus(material.is_empty()).show(kept))
                (Field::amount(FORM, "quantity", t::HOW_MUCH).hint(t::QUANTITY_HINT).needed().focus(!material.is_empty()).show(kept))
                (Field::amount(FORM, "value", t::VALUE_OF_ALL).hint(currency).show(kept))
                (Field::text(FORM, "supplier", t::SUPPLIER).list("suppliers").show(kept))
                (Field::text(FORM, "supplierLot", t::SUPPLIERS_LOT).hint(t::SUPPLIERS_LOT_HINT).show(kept))
                (Field::text(FORM, "number", t::OWN_NUMBER).hint(t::MADE_WHEN_EMPTY).show(kept))
            }
            fieldset {
                legend { (t::DATES) }
                (Field::date(FORM, "receivedOn", t::RECEIVED).start(&who.today.to_string()).needed().show(kept))
                (Field::date(FORM, "madeOn", t::MADE_ON).show(kept))
                (Field::date(FORM, "expiresOn", t::EXPIRES).hint(t::EXPIRES_HINT).show(kept))
                (Field::date(FORM, "retestOn", t::RETEST_ON).show(kept))
            }
            fieldset {
                legend { (t::FROM_CERTIFICATE) }
                (Field::amount(FORM, "density", t::DENSITY).hint("kg/L").show(kept))
                (Field::amount(FORM, "activeMatter", t::ACTIVE).hint("%").show(kept))
                (Field::text(FORM, "location", t::LOCATION).show(kept))
                (Field::text(FORM, "note", t::REMARKS).show(kept))
            }
            button type="submit" { (t::ENTER_RECEIPT) }
        }
        (ui::suggestions("materials", catalogue.materials.iter().filter(|m| m.kind.is_stocked()).map(|m| (m.code.as_str(), m.name.as_str()))))
        (ui::suggestions("suppliers", catalogue.suppliers.iter().map(|s| (s.code.as_str(), s.name.as_str()))))
    };
    shown(kept.status(), frame::page(who, Place::Shelf, t::RECEIVE, &body))
}

/// Enters the delivery.
pub async fn enter(State(web): State<Web>, sent: Sent) -> Answer {
    let catalogue = web.app.catalogue(&sent.who.actor)?;
    match input(&catalogue, &sent) {
        Ok(input) => match web.app.lot_receive(&sent.change(), input).await {
            Ok(lot) => Ok(go(&links::lot(&lot.number))),
            Err(error) => {
                Ok(form(&sent.who, &catalogue, "", &Kept::after(FORM, sent.fields.clone(), error)?))
            }
        },
        Err(error) => Ok(form(&sent.who, &catalogue, "", &Kept::after(FORM, sent.fields.clone(), error)?)),
    }
}

fn input(catalogue: &Catalogue, sent: &Sent) -> Result<LotReceive, app::Error> {
    let fields = &sent.fields;
    let mut reader = Reader::new(fields);
    let material = catalogue.materials.by_code(fields.first("material"));
    if material.is_none() {
        reader.wrong("material", t::no_such("material", fields.first("material")));
    }
    let supplier = fields.text("supplier").and_then(|code| {
        let found = catalogue.suppliers.by_code(&code);
        if found.is_none() {
            reader.wrong("supplier", t::no_such("supplier", &code));
        }
        found.map(|supplier| supplier.id)
    });
    let unit = material.map_or(Unit::Kilogram, |material| usual_unit(material.stock_dimension()));
    let quantity = reader.quantity("quantity", unit);
    let quantity = reader.needed("quantity", quantity);
    let (received_on, made_on) = (reader.date("receivedOn"), reader.date("madeOn"));
    let (expires_on, retest_on) = (reader.date("expiresOn"), reader.date("retestOn"));
    let value = reader.money("value", catalogue.settings.currency);
    let (density, active_matter) = (reader.density("density"), reader.percent("activeMatter"));
    let (Some(material), Some(quantity), true) = (material, quantity, reader.problems.is_empty()) else {
        return Err(app::Error::Invalid(reader.problems));
    };
    Ok(LotReceive {
        number: fields.text("number"),
        material: material.id,
        quantity,
        value,
        unit_cost: None,
        supplier,
        supplier_lot: fields.text("supplierLot"),
        received_on,
        made_on,
        expires_on,
        retest_on,
        density,
        active_matter,
        location: fields.text("location"),
        note: fields.text("note"),
        more: app::ReceiptMore::default(),
    })
}
