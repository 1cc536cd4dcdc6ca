//! One material: what it is, its lots, what it was quoted at and paid for, and where it is used.

use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use chrono::NaiveDate;
use domain::{
    Catalogue,
    lots::Lot,
    materials::Material,
    people::Capability,
    quotations::{FreightPer, Quotation},
};
use engine::{
    View,
    price::{landed_price, validity_among},
};
use kernel::Exact;
use maud::{Markup, html};

use crate::{
    Web,
    access::{Answer, Who},
    chart::{self, Dot, Step},
    figures as fig,
    frame::{self, Place},
    links,
    respond::{PageError, shown},
    text as t,
    ui::{self, Tone},
};

/// Lots on the page.
const LOTS_LISTED: usize = 100;

/// A material.
pub async fn page(State(web): State<Web>, who: Who, Path(code): Path<String>) -> Answer {
    let catalogue = web.app.catalogue(&who.actor)?;
    let material =
        catalogue.materials.by_code(&code).ok_or_else(|| PageError::not_found("material", &code))?;
    let mut lots = web.app.lots_of_materials(&who.actor, &[material.id]).await?;
    lots.sort_by(|a, b| {
        (b.on_hand.is_positive(), b.received_on).cmp(&(a.on_hand.is_positive(), a.received_on))
    });
    let unit = material.stock_dimension().unit();
    let body = html! {
        p.crumb { a href="/shelf" { (t::SHELF) } }
        h1 { span.code { (material.code) } " " (material.name) }
        @if let Some(note) = &material.note { p.lead { (note) } }
        (facts(material))
        @if material.kind.is_stocked() {
            h2 { (t::LOTS) }
            (lot_table(material, &lots, who.today))
            p.ways-on { a.button href=(links::with_query("/receive", &[("material", &material.code)])) { (t::RECEIVE) } }
        }
        h2 { (t::PRICES) }
        @if who.may(Capability::Buy) && material.kind.is_stocked() {
            p.ways-on { a.button.plain href=(links::with_query("/quotations", &[("material", &material.code)])) { (t::QUOTE) } }
        }
        (prices(&catalogue, material, &lots, who.today, unit))
        h2 { (t::WHERE_USED) }
        (where_used(&catalogue, material))
    };
    Ok(shown(StatusCode::OK, frame::page(&who, Place::Shelf, &material.code, &body)))
}

fn facts(material: &Material) -> Markup {
    let hazards: Vec<String> = material
        .hazard_statements
        .iter()
        .map(|code| match code.statement() {
            Some(statement) => format!("{} {statement}", String::from(code.clone())),
            None => String::from(code.clone()),
        })
        .collect();
    html! {
        dl.facts {
            (ui::fact(t::KIND, &html! { (t::sentence(material.kind.words())) }))
            @if let Some(inci) = &material.inci { (ui::fact(t::INCI, &html! { (inci) })) }
            @if !material.cas.is_empty() {
                (ui::fact(t::CAS, &html! { (material.cas.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ")) }))
            }
            (ui::fact(t::DENSITY, &material.density.map_or_else(fig::gap, |d| fig::decimal(d.kg_per_litre(), "kg/L"))))
            @if let Some(active) = material.active_matter { (ui::fact(t::ACTIVE, &fig::percent(active))) }
            @if let Some(level) = material.use_level {
                (ui::fact(t::USE_LEVEL, &html! {
                    (t::use_level(level.from.map(|p| p.percent().to_string()), level.to.map(|p| p.percent().to_string())))
                }))
            }
            @if let Some(life) = material.shelf_life { (ui::fact(t::SHELF_LIFE, &html! { (life) })) }
            @if let Some(period) = material.period_after_opening { (ui::fact(t::AFTER_OPENING, &html! { (period) })) }
            @if let Some(time) = material.inspection_time { (ui::fact(t::INSPECTION, &html! { (time) })) }
            @if let Some(point) = material.flash_point_celsius { (ui::fact(t::FLASH_POINT, &fig::decimal(point, "°C"))) }
        }
        @if !hazards.is_empty() || material.safety_data_sheet.is_some() {
            (ui::notice(Tone::Care, &html! {
                @if !hazards.is_empty() { ul { @for hazard in &hazards { li { (hazard) } } } }
                p.quiet {
                    @match &material.safety_data_sheet {
                        Some(sheet) => { (t::FROM_SDS) " " (sheet) ". " }
                        None => { (t::NO_SDS) " " }
                    }
                    (domain::cautions::DEFER)
                }
            }))
        }
    }
}

fn lot_table(material: &Material, lots: &[Lot], today: NaiveDate) -> Markup {
    if lots.is_empty() {
        return ui::nothing(t::LOTS_NONE);
    }
    html! {
        (ui::table(t::LOTS, &html! {
            th { (t::LOT) } th { (t::RECEIVED) } th.num { (t::ON_HAND) } th.num { (t::PROMISED) } th { (t::LAST_DAY) } th { (t::STATE) }
            th.num { (t::VALUE) }
        }, &html! {
            @for lot in lots.iter().take(LOTS_LISTED) {
                tr.spent[!lot.on_hand.is_positive()] {
                    td { a.code href=(links::lot(&lot.number)) { (lot.number) } }
                    td { (fig::date(lot.received_on)) }
                    td.num { (fig::quantity(lot.on_hand)) }
                    td.num { @if lot.reserved.is_positive() { (fig::quantity(lot.reserved)) } @else { span.quiet { "–" } } }
                    td { (fig::date_or_dash(lot.last_day_of_use(material))) }
                    td {
                        @let because = lot.unusable_on(today, material);
                        @if !lot.on_hand.is_positive() { (ui::badge(Tone::Calm, t::USED_UP)) }
                        @else if because.is_empty() { (ui::lot_status(lot.status)) } @else { (ui::unusable(&because)) }
                    }
                    td.num { (fig::money_or_gap(lot.value)) }
                }
            }
        }))
        @if lots.len() > LOTS_LISTED { p.quiet { (t::list_cut(LOTS_LISTED, lots.len())) } }
    }
}

/// Every day on which the landed price may change.
fn days_of_change(catalogue: &Catalogue, material: &Material, today: NaiveDate) -> Vec<NaiveDate> {
    let quotations = catalogue.quotations_of(material.id);
    let mut days: Vec<NaiveDate> = Vec::new();
    for quotation in quotations {
        days.push(quotation.valid_from);
        days.extend(quotation.valid_until.and_then(|day| day.succ_opt()));
        days.extend(
            catalogue
                .rates()
                .filter(|rate| rate.from == quotation.currency || rate.to == quotation.currency)
                .map(|rate| rate.date)
                .filter(|day| *day >= quotation.valid_from),
        );
    }
    days.push(today);
    days.sort_unstable();
    days.dedup();
    days
}

fn prices(catalogue: &Catalogue, material: &Material, lots: &[Lot], today: NaiveDate, unit: &str) -> Markup {
    let quotations = catalogue.quotations_of(material.id);
    if quotations.is_empty() {
        return html! {
            p { (fig::gap()) " " (t::NO_QUOTATION) }
            (paid_table(lots, unit))
        };
    }
    let view = View::plain(catalogue);
    // An order like the last one shows the price the house really meets; price breaks and pack sizes depend on it.
    let last = lots.iter().filter(|lot| lot.supplier.is_some()).max_by_key(|lot| lot.received_on);
    let demand = last.map_or(Exact::ONE, |lot| lot.received.to_exact());
    let landed = |on: NaiveDate| landed_price(&view, material, &demand, on).ok().and_then(Result::ok);
    let until = quotations.iter().map(|q| q.valid_from).max().unwrap_or(today).max(today);
    let mut steps: Vec<Step> = Vec::new();
    for on in days_of_change(catalogue, material, today).into_iter().filter(|on| *on <= until) {
        let value = landed(on).map(|price| price.per_unit);
        if steps.last().is_none_or(|last| last.value != value) {
            steps.push(Step { on, value });
        }
    }
    let dots: Vec<Dot> =
        lots.iter().filter_map(|lot| Some(Dot { on: lot.received_on, value: paid(lot)? })).collect();
    let currency = catalogue.settings.currency.code();
    let axis = format!("{currency}/{unit}");
    let now = landed(today);
    html! {
        @if let Some(now) = &now {
            p.lead {
                (t::landed_today(last.map(|lot| lot.received))) " " strong { (fig::exact(&now.per_unit, 4, &axis)) } ". "
                (t::sentence(&now.source.to_string())) "."
            }
        }
        p.quiet { (t::PRICE_LINE_HELP) }
        (chart::steps(t::PRICE_HISTORY, &axis, &steps, &dots, until))
        (ui::fold(t::TABLE_BEHIND, false, &html! {
            (ui::table(t::PRICE_HISTORY, &html! { th { (t::FROM_DAY) } th.num { (t::LANDED) } }, &html! {
                @for step in &steps { tr { td { (fig::date(step.on)) } td.num { (fig::exact_or_gap(step.value.as_ref(), 4, &axis)) } } }
            }))
            (paid_table(lots, unit))
        }))
        h3 { (t::QUOTATIONS) }
        (ui::table(t::QUOTATIONS, &html! {
            th { (t::QUOTATION) } th { (t::SUPPLIER) } th { (t::VALID) } th { (t::PACKS_AND_PRICES) } th { (t::FREIGHT) } th { (t::STATE) }
        }, &html! { @for quotation in quotations.iter().rev() { (quotation_row(catalogue, quotation, today)) } }))
    }
}

fn paid(lot: &Lot) -> Option<Exact> {
    lot.supplier?;
    lot.received_value?.to_exact().checked_div(&lot.received.to_exact()).ok()
}

fn paid_table(lots: &[Lot], unit: &str) -> Markup {
    let paid_for: Vec<(&Lot, Exact)> =
        lots.iter().filter_map(|lot| paid(lot).map(|price| (lot, price))).collect();
    if paid_for.is_empty() {
        return html! {};
    }
    ui::table(
        t::PAID,
        &html! { th { (t::LOT) } th { (t::RECEIVED) } th.num { (t::PAID) } },
        &html! {
            @for (lot, price) in &paid_for {
                tr {
                    td { a.code href=(links::lot(&lot.number)) { (lot.number) } }
                    td { (fig::date(lot.received_on)) }
                    td.num {
                        @let currency = lot.received_value.map(kernel::Money::currency);
                        @if let Some(currency) = currency { (fig::exact(price, 4, &format!("{currency}/{unit}"))) }
                    }
                }
            }
        },
    )
}

fn quotation_row(catalogue: &Catalogue, quotation: &Quotation, today: NaiveDate) -> Markup {
    let state = validity_among(catalogue, quotation, today);
    let tone = match state.code() {
        "VALID" => Tone::Good,
        "LAPSED" => Tone::Bad,
        "LAPSES_SOON" => Tone::Care,
        _ => Tone::Calm,
    };
    html! {
        tr {
            td.code { (quotation.reference) }
            td {
                @match catalogue.suppliers.get(quotation.supplier) {
                    Some(supplier) => { a href=(links::supplier(&supplier.code)) { (supplier.name) } }
                    None => { (t::GONE) }
                }
            }
            td { (fig::date(quotation.valid_from)) " – " (fig::date_or_dash(quotation.valid_until)) }
            td {
                ul.plain {
                    @for offer in &quotation.offers {
                        li {
                            (fig::quantity_text(offer.pack)) ": " (fig::price(offer.price)) " " (t::PER) " " (fig::quantity_text(offer.price_per))
                            @if let Some(from) = offer.from_quantity { " " span.quiet { (t::FROM_UP) " " (fig::quantity_text(from)) } }
                        }
                    }
                }
            }
            td {
                @if let Some(freight) = &quotation.freight {
                    (fig::price(freight.amount)) " " (t::PER) " "
                    @match freight.per {
                        FreightPer::Quantity(quantity) => { (fig::quantity_text(quantity)) }
                        FreightPer::Pack => { (t::PACK_OF_GOODS) }
                        FreightPer::Order => { (t::ORDER) }
                    }
                }
            }
            td { (ui::badge(tone, state.words())) }
        }
    }
}

fn where_used(catalogue: &Catalogue, material: &Material) -> Markup {
    let versions = catalogue.versions_using(material.id);
    let packs = catalogue.packs_using(material.id);
    let made_by = catalogue.formula_making(material.id);
    html! {
        @if let Some(formula) = made_by {
            p { (t::MADE_BY) " " a href=(links::formula(&formula.code)) { span.code { (formula.code) } " " (formula.name) } }
        }
        @if versions.is_empty() && packs.is_empty() { (ui::nothing(t::USED_NOWHERE)) }
        ul.lines {
            @for (formula, version) in versions.iter().filter_map(|id| catalogue.version(*id)) {
                li {
                    a href=(links::version(&formula.code, version.number)) {
                        span.code { (formula.code) } " " (formula.name) ", " (t::version(version.number))
                    }
                    " " span.quiet { (version.status.word()) }
                }
            }
            @for pack in packs.iter().filter_map(|id| catalogue.packs.get(*id)) {
                li { a href=(links::pack(&pack.code)) { span.code { (pack.code) } " " (pack.name) } }
            }
        }
    }
}
