//! The pages, one file for each part of the house, and what several of them show.

pub mod bench;
pub mod calendar;
pub mod draft;
pub mod find;
pub mod formulas;
pub mod import;
pub mod lots;
pub mod materials;
pub mod packs;
pub mod quote;
pub mod rates;
pub mod receive;
pub mod run_check;
pub mod settings;
pub mod shelf;
pub mod sign_in;
pub mod suppliers;
pub mod tickets;
pub mod today;
pub mod what_if;

mod cost;
mod sensitivity;
mod trace;

use domain::Catalogue;
use engine::{
    Cautions, MaterialRef, Purchase,
    shelf::{Take, TakenFrom},
};
use kernel::ids::MaterialId;
use maud::{Markup, html};

use crate::{figures as fig, links, text as t, ui};

/// A material as a link, by code and name.
fn material_link(catalogue: &Catalogue, id: MaterialId) -> Markup {
    match catalogue.materials.get(id) {
        Some(material) => material_named(&material.code, &material.name),
        None => html! { (t::GONE) },
    }
}

/// The same, of a reference.
fn material_ref(material: &MaterialRef) -> Markup {
    material_named(&material.code, &material.name)
}

fn material_named(code: &str, name: &str) -> Markup {
    html! { a href=(links::material(code)) { span.code { (code) } " " (name) } }
}

/// Cautions, ending as they always do.
fn cautions(cautions: &Cautions) -> Markup {
    html! {
        ul.cautions {
            @for caution in &cautions.cautions {
                li class={ "caution " (t::caution_class(caution.kind)) } {
                    span aria-hidden="true" { "⚠ " } (caution.text)
                    @if !caution.sources.is_empty() { " " span.quiet { "(" (caution.sources.join("; ")) ")" } }
                }
            }
        }
        p.quiet { (cautions.defer) }
    }
}

/// Where something is taken from.
fn take(take: &Take) -> Markup {
    html! {
        (fig::quantity(take.quantity)) " "
        @match &take.from {
            TakenFrom::Lot { number, .. } => { (t::OF_LOT) " " a.code href=(links::lot(number)) { (number) } }
            TakenFrom::Ticket { number, .. } => { (t::FROM_TICKET) " " a.code href=(links::ticket(number)) { (number) } }
            TakenFrom::Assumed { change } => { (t::from_change(*change)) }
        }
        @if let Some(until) = take.last_day_of_use { " " span.quiet { (t::UNTIL) " " (fig::date(until)) } }
    }
}

/// What to buy, from whom, and by when.
fn purchase(purchase: &Purchase) -> Markup {
    html! {
        @match &purchase.order {
            Some(order) => {
                (order.packs) " × " (fig::quantity_text(order.pack)) " " (t::FROM) " " (order.supplier_name)
                " (" (order.reference) "), " (fig::money(order.cost)) "; "
                @match (order.order_by, order.too_late) {
                    (Some(day), Some(false)) => { strong { (t::ORDER_BY) " " (fig::date(day)) } }
                    (_, Some(true)) => {
                        (ui::badge(ui::Tone::Bad, t::TOO_LATE))
                        @if let Some(day) = order.usable_if_ordered_today { " " (t::USABLE_IF_TODAY) " " (fig::date(day)) }
                    }
                    _ => { (t::NO_LEAD_TIME) }
                }
                @if order.validity != "valid" { " " (ui::badge(ui::Tone::Care, order.validity)) }
                @if let Some(larger) = &purchase.larger_for_less {
                    br;
                    span.quiet {
                        (t::LARGER_FOR_LESS) " " (larger.packs) " × " (fig::quantity_text(larger.pack)) ", " (fig::money(larger.cost))
                    }
                }
            }
            None => { (fig::gap()) @if let Some(gap) = &purchase.gap { " " (gap.to_string()) } }
        }
    }
}
