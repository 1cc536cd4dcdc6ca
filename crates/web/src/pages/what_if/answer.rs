//! The answer to a what-if: what is hit, ranked by money a year; runs that come up short; lots that are stranded.

use domain::Catalogue;
use engine::{
    WhatIf,
    planned::RunRef,
    what_if::{CostHit, RunEffect, RunHit},
};
use kernel::Exact;
use maud::{Markup, html};

use crate::{
    chart::{self, Bar},
    figures as fig, links,
    pages::{material_ref, purchase},
    text as t,
    ui::{self, Tone},
};

/// Rows of the picture.
const PICTURED: usize = 15;

/// The answer.
pub fn shown(catalogue: &Catalogue, answer: &WhatIf) -> Markup {
    let currency = answer.currency;
    html! {
        section.verdict.calm aria-labelledby="answer" {
            h2 #answer { (t::THE_ANSWER) }
            @if answer.hits_nothing() { p { (t::HITS_NOTHING) } } @else {
                @if !answer.packs.is_empty() { p.big-line {
                    (t::YEARLY_EFFECT) " " strong { (fig::signed_money(&answer.yearly_effect, currency, currency.minor_places())) }
                    " " span.quiet { (t::YEARLY_EFFECT_HELP) }
                } }
                p { (t::hits(answer.packs.len(), answer.formulas.len(), answer.runs.len(), answer.lots.len())) }
            }
            p.quiet { (t::COSTED_FOR) " " (fig::date(answer.costed_on)) ". " (t::NOTHING_WRITTEN) }
            @if !answer.problems.is_empty() { ul { @for problem in &answer.problems { li { (t::sentence(problem)) } } } }
        }
        @if !answer.first_look.is_empty() {
            h2 { (t::FIRST_LOOK) }
            ul { @for look in &answer.first_look {
                li { strong { (look.urgency.words()) } ": " @if let Some(by) = look.by { (fig::date(by)) ": " } (look.says) }
            } }
        }
        @if !answer.packs.is_empty() { (packs(answer)) }
        @if !answer.formulas.is_empty() { (formulas(answer)) }
        @if !answer.runs.is_empty() {
            h2 { (t::RUNS_HIT) }
            (ui::table(t::RUNS_HIT, &html! { th { (t::TICKET) } th { (t::FORMULA) } th { (t::DAY) } th { (t::EFFECT) } th { (t::WHAT) } },
                &html! { @for run in &answer.runs { (run_row(catalogue, run)) } }))
        }
        @if !answer.ticket_costs.is_empty() {
            h2 { (t::TICKETS_COST) }
            (ui::table(t::TICKETS_COST, &html! { th { (t::TICKET) } th { (t::DAY) } th.num { (t::BEFORE) } th.num { (t::AFTER) } th.num { (t::CHANGE) } }, &html! {
                @for hit in &answer.ticket_costs {
                    tr {
                        td { a.code href=(links::ticket(&hit.number)) { (hit.number) } }
                        td { (fig::date(hit.on)) }
                        td.num { (fig::exact(&hit.before.per_batch, 2, currency.code())) }
                        td.num { (fig::exact(&hit.after.per_batch, 2, currency.code())) }
                        td.num { (fig::signed_money(&hit.change, currency, 2)) }
                    }
                }
            }))
        }
        @if !answer.lots.is_empty() {
            h2 { (t::LOTS_STRANDED) }
            (ui::table(t::LOTS_STRANDED, &html! {
                th { (t::LOT) } th { (t::MATERIAL) } th.num { (t::STRANDED_BEFORE) } th.num { (t::STRANDED_AFTER) } th.num { (t::VALUE) } th { (t::COULD_USE) }
            }, &html! {
                @for lot in &answer.lots {
                    tr {
                        td { a.code href=(links::lot(&lot.number)) { (lot.number) } }
                        td { (material_ref(&lot.material)) }
                        td.num { (fig::quantity(lot.stranded_before)) }
                        td.num { strong { (fig::quantity(lot.stranded_after)) } }
                        td.num { (fig::money_or_gap(lot.value_after)) }
                        td { (lot.could_be_used_in.join(", ")) }
                    }
                }
            }))
        }
    }
}

fn packs(answer: &WhatIf) -> Markup {
    let currency = answer.currency;
    let code = currency.code();
    let ranked: Vec<(&CostHit, &Exact)> = answer
        .packs
        .iter()
        .filter_map(|hit| hit.yearly_effect.as_ref().map(|effect| (hit, effect)))
        .collect();
    let bars: Vec<Bar> = ranked
        .iter()
        .take(PICTURED)
        .map(|(hit, effect)| Bar {
            label: format!("{} {}", hit.code, hit.name),
            from: Exact::ZERO,
            to: (*effect).clone(),
            value: format!("{}{} {code}", if effect.is_positive() { "+" } else { "" }, fig::plain(effect, 0)),
            class: if effect.is_negative() { "down" } else { "up" },
            cumulative: None,
        })
        .collect();
    html! {
        h2 { (t::PACKS_HIT) }
        @if !bars.is_empty() {
            p.quiet { (t::PACKS_HIT_CHART) }
            (chart::bars(t::PACKS_HIT_CHART, &bars))
        }
        (ui::table(t::PACKS_HIT, &html! {
            th { (t::PACK) } th.num { (t::UNIT_BEFORE) } th.num { (t::UNIT_AFTER) } th.num { (t::CHANGE) } th.num { (t::MARGIN_CHANGE) }
            th.num { (t::A_YEAR) } th.num { (t::HOLD_MARGIN) } th { (t::HOW_REACHED) }
        }, &html! {
            @for hit in &answer.packs {
                tr {
                    td { a href=(links::pack(&hit.code)) { span.code { (hit.code) } " " (hit.name) } }
                    td.num { (fig::exact_or_gap(hit.before.per_unit.as_ref(), 4, code)) }
                    td.num { (fig::exact_or_gap(hit.after.per_unit.as_ref(), 4, code)) }
                    td.num {
                        @if let Some(change) = &hit.change { (fig::signed_money(change, currency, 4)) }
                        @if let Some(share) = &hit.change_share { br; span.quiet { (fig::fraction(share, 1)) } }
                    }
                    td.num {
                        @match (&hit.before.margin, &hit.after.margin) {
                            (Some(before), Some(after)) => { span.still { (fig::fraction_text(before, 1)) " → " (fig::fraction_text(after, 1)) } }
                            _ => { span.quiet { "–" } }
                        }
                    }
                    td.num {
                        @match &hit.yearly_effect {
                            Some(effect) => { strong { (fig::signed_money(effect, currency, 2)) } }
                            None => { (ui::badge(Tone::Calm, t::CANNOT_RANK)) br; span.quiet { (hit.not_known.iter().map(|why| why.words()).collect::<Vec<_>>().join("; ")) } }
                        }
                    }
                    td.num { (fig::exact_or_gap(hit.price_to_hold_margin.as_ref(), 4, code)) }
                    td { (paths(hit)) }
                }
            }
        }))
    }
}

fn paths(hit: &CostHit) -> Markup {
    html! {
        ul.plain {
            @for path in &hit.paths {
                li {
                    (path.through.iter().map(|material| material.code.as_str()).collect::<Vec<_>>().join(" › "))
                    @if let Some(share) = &path.share { " " span.quiet { (fig::fraction(share, 2)) } }
                }
            }
        }
    }
}

fn formulas(answer: &WhatIf) -> Markup {
    let code = answer.currency.code();
    html! {
        h2 { (t::FORMULAS_HIT) }
        (ui::table(t::FORMULAS_HIT, &html! {
            th { (t::FORMULA) } th.num { (t::KG_BEFORE) } th.num { (t::KG_AFTER) } th.num { (t::LITRE_BEFORE) } th.num { (t::LITRE_AFTER) } th.num { (t::CHANGE) } th { (t::HOW_REACHED) }
        }, &html! {
            @for hit in &answer.formulas {
                tr {
                    td { a href=(links::formula(&hit.code)) { span.code { (hit.code) } " " (hit.name) } }
                    td.num { (fig::exact(&hit.before.per_kg, 4, code)) }
                    td.num { (fig::exact(&hit.after.per_kg, 4, code)) }
                    td.num { (fig::exact_or_gap(hit.before.per_litre.as_ref(), 4, code)) }
                    td.num { (fig::exact_or_gap(hit.after.per_litre.as_ref(), 4, code)) }
                    td.num { @if let Some(share) = &hit.change_share { (fig::fraction(share, 1)) } @else { (fig::gap()) } }
                    td { (paths(hit)) }
                }
            }
        }))
    }
}

fn run_row(catalogue: &Catalogue, run: &RunHit) -> Markup {
    let tone = match run.effect {
        RunEffect::Short | RunEffect::CoverTooLate => Tone::Bad,
        RunEffect::MakeFirst | RunEffect::OtherLots => Tone::Care,
        RunEffect::Relieved | RunEffect::CanBeMade => Tone::Good,
    };
    html! {
        tr {
            td {
                @match &run.run {
                    RunRef::Ticket { number, .. } => { a.code href=(links::ticket(number)) { (number) } }
                    RunRef::Assumed { change } => { (t::from_change(*change)) }
                    RunRef::Asked => {}
                }
            }
            td { (catalogue.formulas.get(run.formula).map_or(t::GONE, |formula| formula.name.as_str())) }
            td { (fig::date(run.on)) }
            td { (ui::badge(tone, run.effect.words())) }
            td {
                ul.plain {
                    @for short in &run.short {
                        li {
                            (material_ref(&short.material)) ": " (t::SHORT_BEFORE) " " (fig::quantity(short.before)) ", "
                            strong { (t::SHORT_AFTER) " " (fig::quantity(short.after)) }
                            @for lot in &short.might_help {
                                br; span.quiet { (t::MIGHT_HELP) " " } a.code href=(links::lot(&lot.number)) { (lot.number) } " " (ui::unusable(&lot.because))
                            }
                            @if let Some(buy) = &short.buy { br; (t::BUY) " " (purchase(buy)) }
                        }
                    }
                    @for other in &run.other_lots { li { (material_ref(&other.material)) ": " (t::OTHER_LOTS) } }
                }
            }
        }
    }
}
