//! Finding a thing by its code or number: what a scanner types leads straight to its page.

use axum::{extract::State, http::StatusCode};
use domain::text::code_key;
use maud::html;

use crate::{
    Web,
    access::{Answer, Asked, Who},
    frame::{self, Place},
    links,
    respond::{go, shown},
    text as t, ui,
};

/// Things listed of each kind.
const LISTED: usize = 20;

/// The page of the thing with that code, or everything whose code or name holds the text.
pub async fn page(State(web): State<Web>, who: Who, Asked(fields): Asked) -> Answer {
    let catalogue = web.app.catalogue(&who.actor)?;
    let text = fields.first("q");
    if text.is_empty() {
        return Ok(go("/shelf"));
    }
    if let Some(lot) = web.app.lot_by_number(&who.actor, text).await? {
        return Ok(go(&links::lot(&lot.number)));
    }
    if let Some(ticket) = web.app.ticket_by_number(&who.actor, text).await? {
        return Ok(go(&links::ticket(&ticket.number)));
    }
    if let Some(pack) = catalogue.packs.by_code(text) {
        return Ok(go(&links::pack(&pack.code)));
    }
    if let Some(formula) = catalogue.formulas.by_code(text) {
        return Ok(go(&links::formula(&formula.code)));
    }
    if let Some(material) = catalogue.materials.by_code(text) {
        return Ok(go(&links::material(&material.code)));
    }
    let wanted = code_key(text);
    let holds = |parts: &[&str]| parts.iter().any(|part| code_key(part).contains(&wanted));
    let mut found: Vec<(&str, String, String)> = Vec::new();
    let materials =
        catalogue.materials.iter().filter(|m| holds(&[&m.code, &m.name, m.inci.as_deref().unwrap_or("")]));
    found.extend(
        materials
            .take(LISTED)
            .map(|m| (t::MATERIAL, links::material(&m.code), format!("{} {}", m.code, m.name))),
    );
    let formulas = catalogue.formulas.iter().filter(|f| holds(&[&f.code, &f.name]));
    found.extend(
        formulas
            .take(LISTED)
            .map(|f| (t::FORMULA, links::formula(&f.code), format!("{} {}", f.code, f.name))),
    );
    let packs = catalogue.packs.iter().filter(|p| holds(&[&p.code, &p.name]));
    found.extend(
        packs.take(LISTED).map(|p| (t::PACK, links::pack(&p.code), format!("{} {}", p.code, p.name))),
    );
    let body = html! {
        h1 { (t::FOUND_FOR) " “" (text) "”" }
        @if found.is_empty() { (ui::nothing(t::FOUND_NOTHING)) }
        ul.lines { @for (kind, href, name) in &found { li { a href=(href) { (name) } " " span.quiet { (kind) } } } }
    };
    let status = if found.is_empty() { StatusCode::NOT_FOUND } else { StatusCode::OK };
    Ok(shown(status, frame::page(&who, Place::Shelf, t::FIND, &body)))
}
