//! The form: what the formula is, its lines, its batch, and beside them what it comes to.

use app::DraftWorkedOut;
use domain::{
    Catalogue,
    materials::{Material, MaterialKind},
};
use maud::{Markup, html};

use super::{FORM, Trouble, conflict, figures, typed::Row, typed::Typed};
use crate::{
    access::Who,
    text as t,
    ui::{self, Field, Kept},
};

/// Materials suggested before anything is typed; past this the script asks for those that fit.
const SUGGESTED_AT_FIRST: usize = 200;

/// What formulas are made of.
pub(super) fn materials_of_formulas(catalogue: &Catalogue) -> impl Iterator<Item = &Material> {
    catalogue.materials.iter().map(AsRef::as_ref).filter(|material| {
        matches!(
            material.kind,
            MaterialKind::RawMaterial | MaterialKind::Utility | MaterialKind::Intermediate
        )
    })
}

pub(super) fn form(
    who: &Who,
    catalogue: &Catalogue,
    typed: &Typed,
    trouble: &Trouble,
    worked: &Result<DraftWorkedOut, app::Error>,
    focus: Option<usize>,
) -> Markup {
    let kept = &trouble.kept;
    let suggested: Vec<&Material> = materials_of_formulas(catalogue).take(SUGGESTED_AT_FIRST + 1).collect();
    let more = suggested.len() > SUGGESTED_AT_FIRST;
    html! {
        form #draft.draft method="post" action="/draft" data-figures="/draft/figures"
            data-suggest=[more.then_some("/draft/materials")] {
            (ui::form_keys(who, kept, FORM))
            @for name in ["formula", "newId", "version", "seen", "base"] {
                input type="hidden" name=(name) value=(typed.get(name));
            }
            // The first button is the one that Enter presses: it must change nothing.
            div.draft-bar {
                (figures::summary(catalogue, worked))
                button.plain type="submit" name="do" value="work-out" { (t::WORK_OUT) }
                button type="submit" name="do" value="save" { (t::WRITE_DRAFT) }
            }
            (problems(trouble))
            @if let Some(refusal) = &trouble.conflict { (conflict::conflict(catalogue, typed, refusal)) }
            div.draft-sides {
                div.draft-sheet {
                    @if typed.is_new() { (the_formula(typed, kept, focus.is_none())) }
                    (the_lines(catalogue, typed, trouble, focus))
                    (the_batch(catalogue, typed, kept))
                }
                (figures::figures(catalogue, typed, worked))
            }
        }
        (ui::suggestions("draft-materials", suggested.iter().take(SUGGESTED_AT_FIRST).map(|m| (m.code.as_str(), m.name.as_str()))))
    }
}

/// Everything against saving it, each leading to its field.
fn problems(trouble: &Trouble) -> Markup {
    if trouble.lines.is_empty() {
        return if trouble.conflict.is_some() {
            html! {}
        } else {
            trouble.kept.notice(FORM)
        };
    }
    html! {
        div.notice.bad role="alert" {
            span.sign aria-hidden="true" { "✕" }
            div {
                p { strong { (t::NOTHING_CHANGED) } }
                ul {
                    @for problem in &trouble.lines {
                        @let (row, column) = place_of(&problem.place);
                        li {
                            a href={ "#line-" (row) "-" (column) } { (t::line_field(row + 1, t::field_name(column))) }
                            ": " (t::sentence(&problem.message))
                        }
                    }
                    @for (field, message) in trouble.kept.problems() {
                        li { a href={ "#" (FORM) "-" (field) } { (t::field_name(field)) } ": " (message) }
                    }
                }
            }
        }
    }
}

/// `lines[2].amount` as row and column.
fn place_of(place: &str) -> (usize, &str) {
    let inner = place.strip_prefix("lines[").and_then(|rest| rest.split_once(']'));
    let Some((row, column)) = inner else { return (0, "material") };
    let column = match column.trim_start_matches('.').split('.').next().unwrap_or("") {
        "weighingTolerance" => "tolerance",
        "useLevel" => "least",
        "" => "material",
        other => other,
    };
    (row.parse().unwrap_or(0), column)
}

fn field(typed: &Typed, kept: &Kept, field: &Field<'_>) -> Markup {
    Field { start: typed.get(field.name), ..*field }.show(kept)
}

fn the_formula(typed: &Typed, kept: &Kept, focus: bool) -> Markup {
    let kinds = [("bulk", t::KIND_BULK), ("intermediate", t::KIND_INTERMEDIATE)];
    html! {
        fieldset {
            legend { (t::THE_FORMULA) }
            (field(typed, kept, &Field::text(FORM, "code", t::FORMULA_CODE).needed_by_rule().focus(focus)))
            (field(typed, kept, &Field::text(FORM, "name", t::NAME).needed_by_rule()))
            (field(typed, kept, &Field::text(FORM, "makes", t::MAKES_CODE).hint(t::MAKES_HINT)))
            (ui::select(FORM, "makesKind", t::MAKES_KIND, typed.get("makesKind"), &kinds.map(|(v, w)| (v.to_owned(), w.to_owned()))))
        }
    }
}

fn the_lines(catalogue: &Catalogue, typed: &Typed, trouble: &Trouble, focus: Option<usize>) -> Markup {
    let written = [
        ("percent", t::IN_PERCENT),
        ("grams", t::IN_GRAMS),
        ("volume", t::BY_VOLUME),
        ("parts", t::IN_PARTS),
    ];
    let last = typed.rows.len().saturating_sub(1);
    html! {
        fieldset {
            legend { (t::THE_LINES) }
            div.full.hint { (t::THE_LINES_HELP) }
            (ui::select(FORM, "writtenAs", t::WRITTEN_AS, typed.get("writtenAs"), &written.map(|(v, w)| (v.to_owned(), w.to_owned()))))
            (field(typed, &trouble.kept, &Field::amount(FORM, "total", t::SHEET_TOTAL).hint(t::SHEET_TOTAL_HINT)))
            div.draft-line.draft-heads.full aria-hidden="true" {
                span {} span { (t::PHASE) } span { (t::MATERIAL) } span.num { (t::LINE_AMOUNT) } span { (t::LINE_KIND) } span { (t::LINE_OF) }
            }
            ol.draft-lines.full {
                @for (at, row) in typed.rows.iter().enumerate() {
                    (line(catalogue, at, row, at == last, trouble, focus == Some(at)))
                }
            }
            div.full { button.plain type="submit" name="do" value="add" { (t::LINE_ADD) } }
        }
    }
}

fn line(
    catalogue: &Catalogue,
    at: usize,
    row: &Row,
    is_last: bool,
    trouble: &Trouble,
    focus: bool,
) -> Markup {
    let number = at + 1;
    let wrong: Vec<(&str, &str)> = trouble
        .lines
        .iter()
        .map(|problem| (place_of(&problem.place), problem.message.as_str()))
        .filter(|((place, _), _)| *place == at)
        .map(|((_, column), message)| (column, message))
        .collect();
    let input = |column: &str, label: &str, class: &str, list: &str, decimal: bool| {
        let bad = wrong.iter().any(|(known, _)| *known == column);
        html! {
            input class=(class) id={ "line-" (at) "-" (column) } name=(column) value=(row.get(column)) type="text"
                aria-label=(t::line_field(number, label)) autocomplete="off" spellcheck="false"
                list=[(!list.is_empty()).then_some(list)] inputmode=[decimal.then_some("decimal")]
                autofocus[focus && column == "material"]
                aria-invalid=[bad.then_some("true")] aria-describedby=[bad.then(|| format!("line-{at}-wrong"))];
        }
    };
    let select = |column: &str, label: &str, options: &[(&str, &str)]| {
        html! {
            select id={ "line-" (at) "-" (column) } name=(column) aria-label=(t::line_field(number, label)) {
                @for (value, words) in options { option value=(value) selected[*value == row.get(column)] { (words) } }
            }
        }
    };
    let named = |column: &str, label: &str, decimal: bool| {
        html! { label { span { (label) } (input(column, label, "", "", decimal)) } }
    };
    let name = catalogue.materials.by_code(row.get("material")).map(|material| material.name.as_str());
    let detailed = ["instruction", "tolerance", "trim", "stop", "least", "most"];
    let open = detailed.iter().any(|column| {
        matches!(*column, "trim") && !row.get(column).is_empty()
            || wrong.iter().any(|(known, _)| known == column)
    });
    html! {
        li { div.draft-line role="group" aria-label=(t::line_number(number)) {
            span.number aria-hidden="true" { (number) }
            (input("phase", t::PHASE, "short", "", false))
            (input("material", t::MATERIAL, "wide", "draft-materials", false))
            (input("amount", t::LINE_AMOUNT, "amount", "", true))
            (select("kind", t::LINE_KIND, &t::DRAFT_KINDS))
            (select("basis", t::LINE_OF, &[("supplied", t::OF_SUPPLIED), ("active", t::OF_ACTIVE)]))
            span.moves {
                button.plain.small type="submit" name="do" value={ "up-" (at) } disabled[at == 0] aria-label=(t::line_field(number, t::LINE_UP)) { "↑" }
                button.plain.small type="submit" name="do" value={ "down-" (at) } disabled[is_last] aria-label=(t::line_field(number, t::LINE_DOWN)) { "↓" }
                button.plain.small type="submit" name="do" value={ "remove-" (at) } aria-label=(t::line_field(number, t::LINE_REMOVE)) { "✕" }
            }
            div.below {
                @if let Some(name) = name { span.quiet.name { (name) } }
                (input_placed("function", t::LINE_FUNCTION, at, number, row))
                details open[open] {
                    summary { (t::LINE_MORE) @if detailed.iter().any(|c| !row.get(c).is_empty()) { " •" } }
                    div.line-more {
                        (named("instruction", t::LINE_INSTRUCTION, false))
                        (named("tolerance", t::LINE_TOLERANCE, true))
                        (named("trim", t::LINE_TRIM, false))
                        (named("stop", t::LINE_STOP, true))
                        (named("least", t::LINE_LEAST, true))
                        (named("most", t::LINE_MOST, true))
                    }
                }
            }
            @if !wrong.is_empty() {
                p.wrong id={ "line-" (at) "-wrong" } {
                    @for (column, message) in &wrong { span aria-hidden="true" { "✕ " } (t::field_name(column)) ": " (t::sentence(message)) " " }
                }
            }
        } }
    }
}

/// A field whose label stands in it until something is typed.
fn input_placed(column: &str, label: &str, at: usize, number: usize, row: &Row) -> Markup {
    html! {
        input.function id={ "line-" (at) "-" (column) } name=(column) value=(row.get(column)) type="text"
            placeholder=(label) aria-label=(t::line_field(number, label)) autocomplete="off" spellcheck="false";
    }
}

fn the_batch(catalogue: &Catalogue, typed: &Typed, kept: &Kept) -> Markup {
    let currency = catalogue.settings.currency.code();
    let cost_label = format!("{}, {currency}", t::COST_PER_BATCH_FIELD);
    let making = typed.base(catalogue).is_some_and(|base| {
        !base.making.costs.is_empty() || !base.making.evaporation.is_zero() || !base.making.samples.is_zero()
    });
    html! {
        fieldset {
            legend { (t::THE_BATCH_OF) }
            (field(typed, kept, &Field::amount(FORM, "usualBatch", t::USUAL_BATCH_FIELD).hint(t::KIND_BATCH).needed_by_rule()))
            (field(typed, kept, &Field::amount(FORM, "processLoss", t::LOSS_FIELD)))
            (field(typed, kept, &Field::amount(FORM, "heel", t::HEEL_FIELD).hint(t::HEEL_HINT)))
            (field(typed, kept, &Field::amount(FORM, "costPerBatch", &cost_label).hint(t::COST_PER_BATCH_HINT)))
            (field(typed, kept, &Field::amount(FORM, "density", t::DENSITY_FIELD).hint("kg/L")))
            (field(typed, kept, &Field::date(FORM, "densityOn", t::DENSITY_DAY)))
            (field(typed, kept, &Field::amount(FORM, "celsius", t::CELSIUS)))
            (field(typed, kept, &Field::text(FORM, "shelfLife", t::SHELF_LIFE_FIELD).hint(t::SHELF_LIFE_HINT)))
            (field(typed, kept, &Field::amount(FORM, "smallestBatch", t::SMALLEST_BATCH)))
            (field(typed, kept, &Field::amount(FORM, "largestBatch", t::LARGEST_BATCH)))
            (field(typed, kept, &Field::text(FORM, "note", t::REMARKS)))
            (field(typed, kept, &Field::amount(FORM, "margin", t::WANTED_MARGIN).hint(t::WANTED_MARGIN_HINT)))
            @if making { p.full.hint { (t::MAKING_KEPT) } }
        }
    }
}
