//! What if: changes written as sentences, laid over everything without writing anything, and the ranked answer.
//!
//! The whole question stands in the address, so that it can be kept, sent and asked again. Each change is four fields of the same
//! names in a row (`kind`, `what`, `by`, `day`); rows whose `what` is empty are left out, and the address is made clean of them.

mod answer;
mod read;

use std::fmt::Write as _;

use axum::{extract::State, http::StatusCode};
use domain::Catalogue;
use maud::{Markup, html};

use crate::{
    Web,
    access::{Answer, Asked, Who},
    fields::{Fields, Reader},
    frame::{self, Place},
    links,
    respond::{go, shown},
    text as t,
    ui::{self, Field, Kept, Tone},
};

/// One change as typed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
struct Row {
    kind: String,
    what: String,
    by: String,
    day: String,
}

impl Row {
    fn of_kind(kind: &str) -> Self {
        Self { kind: kind.to_owned(), ..Self::default() }
    }
}

/// What a change can be of: the kind, and whether it takes a `by`.
const KINDS: [&str; 11] = [
    "price-material",
    "price-supplier",
    "price-quotation",
    "rate",
    "lot-expires",
    "lot-rejected",
    "lot-on-hold",
    "unavailable",
    "run",
    "delivery",
    "words",
];
/// The sentences offered when nothing is asked yet; the kinds of price share one.
const OFFERED: [&str; 9] = [
    "price-material",
    "rate",
    "lot-expires",
    "lot-rejected",
    "lot-on-hold",
    "unavailable",
    "run",
    "delivery",
    "words",
];

fn rows_of(fields: &Fields) -> Vec<Row> {
    let column = |name: &'static str| {
        fields.0.iter().filter(move |(n, _)| n == name).map(|(_, value)| value.trim().to_owned())
    };
    column("kind")
        .zip(column("what"))
        .zip(column("by"))
        .zip(column("day"))
        .map(|(((kind, what), by), day)| Row { kind, what, by, day })
        .collect()
}

fn address(rows: &[Row], as_of: &str) -> String {
    let mut query = format!("as_of={}", links::escaped(as_of));
    for row in rows {
        for (name, value) in [("kind", &row.kind), ("what", &row.what), ("by", &row.by), ("day", &row.day)] {
            // Writing to a string cannot fail.
            let _ = write!(query, "&{name}={}", links::escaped(value));
        }
    }
    format!("/what-if?{query}")
}

/// The question as sentences, and the answer.
pub async fn page(State(web): State<Web>, who: Who, Asked(fields): Asked) -> Answer {
    let catalogue = web.app.catalogue(&who.actor)?;
    let typed = rows_of(&fields);
    let rows: Vec<Row> = typed.iter().filter(|row| !row.what.is_empty()).cloned().collect();
    let as_of_text = fields.text("as_of").unwrap_or_else(|| who.today.to_string());
    if rows.len() < typed.len() {
        return Ok(go(&address(&rows, &as_of_text)));
    }
    let mut reader = Reader::new(&fields);
    let as_of = reader.date("as_of").unwrap_or(who.today);
    let mut wrong: Vec<String> =
        reader.problems.iter().map(|problem| t::sentence(&problem.message)).collect();
    let scenario = read::scenario(&web, &who, &catalogue, &rows).await?;
    let result = match scenario {
        Err(problems) => {
            wrong.extend(problems);
            None
        }
        Ok(scenario) if scenario.changes.is_empty() || !wrong.is_empty() => None,
        Ok(scenario) => match web.app.what_if(&who.actor, &scenario, as_of).await {
            Ok(answer) => Some(answer),
            Err(app::Error::Invalid(problems)) => {
                wrong.extend(problems.iter().map(|problem| t::sentence(&problem.message)));
                None
            }
            Err(error) => return Err(error.into()),
        },
    };
    let body = html! {
        h1 { (t::WHAT_IF) }
        p.lead { (t::WHAT_IF_LEAD) }
        @if !wrong.is_empty() {
            (ui::notice(Tone::Bad, &html! { div role="alert" { ul { @for problem in &wrong { li { (problem) } } } } }))
        }
        (form(&catalogue, &rows, &as_of_text))
        @if let Some(answer) = &result { (answer::shown(&catalogue, answer)) }
    };
    let status = if wrong.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    Ok(shown(status, frame::page(&who, Place::WhatIf, t::WHAT_IF, &body)))
}

fn form(catalogue: &Catalogue, rows: &[Row], as_of: &str) -> Markup {
    let kept = Kept::default();
    html! {
        form.scenario method="get" action="/what-if" {
            @if !rows.is_empty() {
                fieldset {
                    legend { (t::THE_CHANGES) }
                    ol.sentences { @for (at, row) in rows.iter().enumerate() { li { (sentence(row, at)) } } }
                    p.hint { (t::CLEAR_TO_REMOVE) }
                }
            }
            (ui::fold(if rows.is_empty() { t::PICK_A_CHANGE } else { t::ADD_A_CHANGE }, rows.is_empty(), &html! {
                ol.sentences { @for (at, kind) in OFFERED.iter().enumerate() { li { (sentence(&Row::of_kind(kind), rows.len() + at)) } } }
            }))
            div.inline {
                (Field::date("what-if", "as_of", t::AS_OF).start(as_of).needed().show(&kept))
                button type="submit" { (t::ASK) }
            }
        }
        (ui::suggestions("materials", catalogue.materials.iter().map(|m| (m.code.as_str(), m.name.as_str()))))
        (ui::suggestions("priced", catalogue.materials.iter().map(|m| (m.code.as_str(), m.name.as_str()))
            .chain(catalogue.suppliers.iter().map(|s| (s.code.as_str(), s.name.as_str())))))
        (ui::suggestions("makeable", catalogue.packs.iter().map(|p| (p.code.as_str(), p.name.as_str()))
            .chain(catalogue.formulas.iter().map(|f| (f.code.as_str(), f.name.as_str())))))
        (ui::suggestions("change-forms", app::CHANGE_FORMS.iter().map(|form| (*form, ""))))
    }
}

/// One blank of a sentence.
struct Blank<'a> {
    at: usize,
    name: &'a str,
    label: &'a str,
    value: &'a str,
    kind: &'a str,
    list: &'a str,
    example: &'a str,
}

impl Blank<'_> {
    fn show(&self) -> Markup {
        html! {
            input name=(self.name) id={ "row" (self.at) "-" (self.name) } type=(self.kind) value=(self.value) aria-label=(self.label)
                placeholder=[(!self.example.is_empty()).then_some(self.example)] list=[(!self.list.is_empty()).then_some(self.list)]
                autocomplete="off" spellcheck="false";
        }
    }
}

/// A change as a sentence with blanks. All four fields stand in it once, those it does not need hidden: rows are told apart by
/// counting each field.
fn sentence(row: &Row, at: usize) -> Markup {
    let what = |label, list, example| {
        Blank { at, name: "what", label, value: &row.what, kind: "text", list, example }.show()
    };
    let by = |label, example| {
        Blank { at, name: "by", label, value: &row.by, kind: "text", list: "", example }.show()
    };
    let day =
        |label| Blank { at, name: "day", label, value: &row.day, kind: "date", list: "", example: "" }.show();
    let hidden = |name: &str| html! { input type="hidden" name=(name) value=""; };
    let kind = html! { input type="hidden" name="kind" value=(row.kind); };
    html! {
        span.sentence {
            @match row.kind.as_str() {
                "price-material" | "price-supplier" | "price-quotation" => {
                    (t::S_PRICE_OF) " "
                    select name="kind" aria-label=(t::S_PRICE_KIND) {
                        @for (value, words) in [("price-material", t::S_MATERIAL), ("price-supplier", t::S_SUPPLIER), ("price-quotation", t::S_QUOTATION)] {
                            option value=(value) selected[value == row.kind] { (words) }
                        }
                    }
                    " " (what(t::S_CODE, "priced", t::S_CODE_EXAMPLE)) " " (t::S_CHANGES_BY) " " (by(t::S_BY, t::S_BY_EXAMPLE)) " " (t::S_FROM) " " (day(t::S_DAY))
                }
                "rate" => { (kind) (t::S_ONE) " " (what(t::S_CURRENCY, "", "EUR")) " " (t::S_RATE_CHANGES_BY) " " (by(t::S_BY, "+5 %")) " " (t::S_FROM) " " (day(t::S_DAY)) }
                "lot-expires" => { (kind) (t::S_LOT) " " (what(t::S_LOT_NUMBER, "", "L-…")) " " (t::S_EXPIRES_ON) " " (hidden("by")) (day(t::S_DAY)) }
                "lot-rejected" => { (kind) (t::S_LOT) " " (what(t::S_LOT_NUMBER, "", "L-…")) " " (t::S_REJECTED_ON) " " (hidden("by")) (day(t::S_DAY)) }
                "lot-on-hold" => { (kind) (t::S_LOT) " " (what(t::S_LOT_NUMBER, "", "L-…")) " " (t::S_HOLD_FROM) " " (hidden("by")) (day(t::S_DAY)) }
                "unavailable" => { (kind) (t::S_NOBODY) " " (what(t::S_CODE, "materials", t::S_CODE_EXAMPLE)) " " (t::S_BEFORE) " " (hidden("by")) (day(t::S_DAY)) }
                "run" => { (kind) (t::S_RUN_OF) " " (by(t::S_UNITS_OR_BATCH, t::S_UNITS_EXAMPLE)) " " (t::OF) " " (what(t::S_CODE, "makeable", t::S_PACK_EXAMPLE)) " " (t::S_ON) " " (day(t::S_DAY)) }
                "delivery" => { (kind) (t::S_DELIVERY_OF) " " (by(t::S_AMOUNT, "200 kg")) " " (t::OF) " " (what(t::S_CODE, "materials", t::S_CODE_EXAMPLE)) " " (t::S_ON) " " (day(t::S_DAY)) }
                "words" => { (kind) (t::S_IN_WORDS) " " (what(t::S_IN_WORDS, "change-forms", "dose HW-01 3 1.2%")) (hidden("by")) (hidden("day")) }
                _ => { (kind) (t::S_UNKNOWN) " " (what(t::S_CODE, "", "")) (hidden("by")) (hidden("day")) }
            }
            button.link.drop-row type="button" hidden aria-label=(t::REMOVE) { "✕" }
        }
    }
}
