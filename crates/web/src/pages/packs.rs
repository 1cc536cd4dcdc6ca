//! Packs, and what one of them costs and why.

use std::sync::Arc;

use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use domain::{Catalogue, packs::Pack};
use engine::{CostRequest, CostSheet, EngineError, View, present};
use kernel::{Exact, Mass};
use maud::{Markup, html};

use crate::{
    Web,
    access::{Answer, Asked, Who},
    fields::{Fields, Reader},
    figures as fig,
    frame::{self, Place},
    links,
    pages::{cost, material_link, sensitivity},
    respond::{PageError, shown},
    text as t,
    ui::{self, Field, Kept, Tone},
};

/// Packs on one page of the list.
const LISTED: usize = 200;

/// All packs with what they cost today.
pub async fn list(State(web): State<Web>, who: Who) -> Answer {
    let catalogue = web.app.catalogue(&who.actor)?;
    let rows = html! {
        @for pack in catalogue.packs.iter().take(LISTED) {
            @let sheet = web.app.cost_sheet(&who.actor, &CostRequest::pack(pack.id, who.today)).ok();
            @let currency = catalogue.settings.currency.code();
            tr {
                td { a href=(links::pack(&pack.code)) { span.code { (pack.code) } " " (pack.name) } }
                td { (fig::quantity_text(pack.fill)) }
                td.num { (fig::exact_or_gap(sheet.as_ref().and_then(|s| s.totals.per_unit.as_ref()), 4, currency)) }
                td.num { (fig::money_or_gap(pack.price)) }
                td.num {
                    @match sheet.as_ref().and_then(|s| s.margin.as_ref()).and_then(|m| m.margin.as_ref()) {
                        Some(margin) => { (fig::fraction(margin, 1)) }
                        None => { (fig::gap()) }
                    }
                }
                td {
                    @match &sheet {
                        Some(sheet) if sheet.complete => { (ui::badge(Tone::Good, t::COMPLETE)) }
                        Some(sheet) => { (ui::badge(Tone::Bad, &t::gaps(sheet.gaps.len()))) }
                        None => { (ui::badge(Tone::Bad, t::COST_NOT_KNOWN)) }
                    }
                }
            }
        }
    };
    let body = html! {
        h1 { (t::PACKS) }
        p.lead { (t::PACKS_LEAD) " " (fig::date(who.today)) "." }
        @if catalogue.packs.is_empty() { (ui::nothing(t::PACKS_NONE)) } @else {
            (ui::table(t::PACKS, &html! {
                th { (t::PACK) } th { (t::FILL) } th.num { (t::UNIT_COST) } th.num { (t::PRICE) } th.num { (t::MARGIN) } th { (t::STATE) }
            }, &rows))
        }
        @if catalogue.packs.len() > LISTED { p.quiet { (t::list_cut(LISTED, catalogue.packs.len())) } }
    };
    Ok(shown(StatusCode::OK, frame::page(&who, Place::Packs, t::PACKS, &body)))
}

/// What a pack costs, at which batch and on which day.
pub async fn page(
    State(web): State<Web>,
    who: Who,
    Path(code): Path<String>,
    Asked(fields): Asked,
) -> Answer {
    let catalogue = web.app.catalogue(&who.actor)?;
    let pack = catalogue.packs.by_code(&code).ok_or_else(|| PageError::not_found("pack", &code))?;
    let mut reader = Reader::new(&fields);
    let as_of = reader.date("as_of");
    let batch = reader.mass("batch");
    let problems = reader.problems;
    let request = CostRequest { batch, ..CostRequest::pack(pack.id, as_of.unwrap_or(who.today)) };
    let trim_use = web.app.trim_use();
    let view = View::plain(&catalogue).with_trim_use(&trim_use);
    let kept = Kept::question("ask", &fields, problems)?;
    let sheet = engine::cost_sheet(&view, &request);
    let printed = sheet.as_ref().ok().map(present::cost_sheet).transpose()?;
    let body = html! {
        p.crumb { a href="/packs" { (t::PACKS) } }
        h1 { span.code { (pack.code) } " " (pack.name) }
        (ask(pack, &fields, &kept, who.today.to_string().as_str()))
        @match (&sheet, &printed) {
            (Ok(sheet), Some(printed)) => {
                (headline(sheet, printed))
                (cost::remarks(printed))
                (cost::waterfall(sheet, pack.overfill))
                (cost::ranked(sheet))
                h2 { (t::EACH_LINE) }
                p.quiet { (t::EACH_LINE_HELP) }
                (cost::lines(printed))
                h2 { (t::THE_BATCH) }
                (cost::batch_facts(printed))
                (at_batches(&view, pack, &request, sheet))
                (sensitivity::doses(&view, &request, sheet, &fields, &links::pack(&pack.code)))
                (sensitivity::bases(&web, &who, &request).await?)
            }
            (Err(error), _) => { (cost::not_costed(error)) }
            (Ok(_), None) => {}
        }
        h2 { (t::COMPONENTS) }
        (components(&catalogue, pack))
        (ways_on(&catalogue, pack))
    };
    Ok(shown(kept.status(), frame::page(&who, Place::Packs, &pack.code, &body)))
}

fn ask(pack: &Pack, fields: &Fields, kept: &Kept, today: &str) -> Markup {
    let as_of = fields.text("as_of").unwrap_or_else(|| today.to_owned());
    let batch = fields.text("batch").unwrap_or_default();
    html! {
        (kept.notice("ask"))
        form.inline method="get" action=(links::pack(&pack.code)) {
            (Field::date("ask", "as_of", t::AS_OF).start(&as_of).needed().show(kept))
            (Field::amount("ask", "batch", t::BATCH_SIZE).start(&batch).hint(t::BATCH_SIZE_HINT).show(kept))
            button type="submit" { (t::WORK_OUT) }
        }
    }
}

/// The figures people come for.
fn headline(sheet: &CostSheet, printed: &present::PrintedCostSheet) -> Markup {
    let currency = printed.currency.code();
    html! {
        section.headline aria-label=(t::HEADLINE) {
            div.big {
                p.name { @if printed.complete { (t::ONE_UNIT_COSTS) } @else { (t::ONE_UNIT_COSTS_AT_LEAST) } }
                p.figure { (fig::decimal_or_gap(printed.totals.per_unit, currency)) }
                p.quiet {
                    (t::as_of_version(&printed.formula_code, printed.version_number, printed.version_status)) " "
                    (fig::date(printed.as_of)) ", " (t::BATCH_OF) " " (fig::exact(&sheet.batch.charged, 0, "kg"))
                }
            }
            dl.facts {
                (ui::fact(t::PER_LITRE, &fig::decimal_or_gap(printed.totals.per_litre.map(|d| d.round_dp(4)), currency)))
                (ui::fact(t::PER_KG, &fig::decimal(printed.totals.per_kg.round_dp(4), currency)))
                (ui::fact(t::PER_CASE, &fig::decimal_or_gap(printed.totals.per_case, currency)))
                @match &printed.margin {
                    Some(margin) => {
                        (ui::fact(t::PRICE, &fig::exact(&Exact::from(margin.price), margin.price_currency.minor_places(), margin.price_currency.code())))
                        (ui::fact(t::EARNED, &fig::decimal(margin.earned_per_unit, currency)))
                        (ui::fact(t::MARGIN_OF_PRICE, &fig::decimal_or_gap(margin.margin_percent, "%")))
                        (ui::fact(t::MARKUP_ON_COST, &fig::decimal_or_gap(margin.markup_percent, "%")))
                    }
                    None if printed.complete => { (ui::fact(t::MARGIN_OF_PRICE, &fig::gap())) }
                    None => { (ui::fact(t::MARGIN_OF_PRICE, &html! { span.gap { (t::MARGIN_NOT_KNOWN) } })) }
                }
            }
        }
    }
}

/// Cost against batch size: the same sheet at other batches.
fn at_batches(view: &View<'_>, pack: &Pack, request: &CostRequest, sheet: &CostSheet) -> Markup {
    let Ok((_, version)) = view.version(sheet.subject.version) else { return html! {} };
    let usual = version.usual_batch;
    let mut batches: Vec<Mass> = [version.smallest_batch, version.largest_batch, Some(usual), request.batch]
        .into_iter()
        .flatten()
        .chain([half_of(usual), usual.checked_add(usual).unwrap_or(usual)])
        .filter(|batch| batch.is_positive())
        .collect();
    batches.sort();
    batches.dedup();
    let currency = sheet.currency.code();
    html! {
        h2 { (t::AGAINST_BATCH) }
        (sensitivity::batches(view, request))
        (ui::table(t::AGAINST_BATCH, &html! {
            th.num { (t::BATCH) } th.num { (t::UNITS) } th.num { (t::PER_UNIT) } th.num { (t::MARGIN) } th { (t::STATE) }
        }, &html! {
            @for batch in &batches {
                @let other: Result<CostSheet, EngineError> = engine::cost_sheet(view, &request.at_batch(*batch));
                tr {
                    td.num { a href=(links::with_query(&links::pack(&pack.code), &[("batch", &batch.to_string()), ("as_of", &request.as_of.to_string())])) { (fig::exact(&batch.to_exact(), 0, "kg")) } }
                    @match &other {
                        Ok(other) => {
                            td.num { @if let Some(filling) = &other.filling { (filling.units) } }
                            td.num { (fig::exact_or_gap(other.totals.per_unit.as_ref(), 4, currency)) }
                            td.num { @if let Some(margin) = other.margin.as_ref().and_then(|m| m.margin.as_ref()) { (fig::fraction(margin, 1)) } }
                            td {
                                @if *batch == usual { (ui::badge(Tone::Calm, t::USUAL)) }
                                @if version.largest_batch.is_some_and(|most| *batch > most) { (ui::badge(Tone::Care, t::ABOVE_LARGEST)) }
                                @if version.smallest_batch.is_some_and(|least| *batch < least) { (ui::badge(Tone::Care, t::BELOW_SMALLEST)) }
                            }
                        }
                        Err(error) => { td colspan="4" { (t::sentence(&error.to_string())) } }
                    }
                }
            }
        }))
    }
}

fn half_of(mass: Mass) -> Mass {
    Mass::from_micrograms(mass.micrograms() / 2)
}

fn components(catalogue: &Catalogue, pack: &Pack) -> Markup {
    ui::table(
        t::COMPONENTS,
        &html! { th { (t::COMPONENT) } th.num { (t::PIECES) } th { (t::EACH) } th.num { (t::SCRAP) } },
        &html! {
            @for component in &pack.components {
                tr {
                    td { (material_link(catalogue, component.material)) }
                    td.num { (fig::decimal(component.quantity.pieces(), "pcs")) }
                    td { (t::component_per(component.per)) }
                    td.num { (fig::percent(component.loss)) }
                }
            }
        },
    )
}

fn ways_on(catalogue: &Catalogue, pack: &Arc<Pack>) -> Markup {
    html! {
        p.ways-on {
            a.button href=(links::with_query("/run-check", &[("pack", &pack.code)])) { (t::CHECK_A_RUN) }
            @if let Some(formula) = catalogue.formulas.get(pack.formula) {
                " " a.button.plain href=(links::formula(&formula.code)) { (t::FORMULA) " " (formula.code) }
            }
        }
    }
}
