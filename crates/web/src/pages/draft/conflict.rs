//! Two people at one draft: what the other saved beside what is typed here, and the ways on. Nothing typed is lost.

use std::collections::BTreeMap;

use domain::{Catalogue, Refusal, formulas::FormulaVersion};
use kernel::ids::FormulaVersionId;
use maud::{Markup, html};
use uuid::Uuid;

use super::typed::{Row, Typed, material_called};
use crate::{
    links, text as t,
    ui::{self, Tone},
};

/// The version as it stands in the house.
fn stands<'a>(catalogue: &'a Catalogue, typed: &Typed) -> Option<&'a FormulaVersion> {
    let id = Uuid::parse_str(typed.get("version")).ok().map(FormulaVersionId)?;
    catalogue.version(id).map(|(_, version)| version)
}

/// What stands against saving, what differs, and what can be done.
pub(super) fn conflict(catalogue: &Catalogue, typed: &Typed, refusal: &Refusal) -> Markup {
    let Some(version) = stands(catalogue, typed) else { return html! {} };
    let changed = matches!(refusal, Refusal::DraftChanged { .. });
    let mark = app::draft_mark(version).unwrap_or_default();
    let saved = Typed::default().with_lines(catalogue, version);
    let differences = differences(catalogue, &saved.rows, &typed.rows);
    ui::notice(
        Tone::Bad,
        &html! {
            div role="alert" {
                p { strong { @if changed { (t::CONFLICT) } @else { (t::CONFLICT_FIXED) } } }
                h2 { (t::CONFLICT_DIFFERENCES) }
                @if differences.is_empty() { p { (t::CONFLICT_SAME) } } @else {
                    (ui::table(t::CONFLICT_DIFFERENCES, &html! { th { (t::MATERIAL) } th { (t::THEIRS) } th { (t::YOURS) } }, &html! {
                        @for (material, (theirs, yours)) in &differences {
                            tr {
                                td.code { (material) }
                                td { (theirs.as_deref().unwrap_or(t::NO_LINE)) }
                                td { (yours.as_deref().unwrap_or(t::NO_LINE)) }
                            }
                        }
                    }))
                }
                input type="hidden" name="theirs" value=(mark);
                div.buttons {
                    @if changed { button type="submit" name="do" value="over" { (t::WRITE_OVER) } }
                    button.plain type="submit" name="do" value="new" { (t::WRITE_NEW_VERSION) }
                    a.button.plain href=(links::version(typed.get("formula"), version.number)) { (t::READ_THEIRS) }
                }
            }
        },
    )
}

type Sides = (Option<String>, Option<String>);

/// Materials whose lines are not the same on both sides, with what each side says of them.
fn differences(catalogue: &Catalogue, theirs: &[Row], yours: &[Row]) -> Vec<(String, Sides)> {
    let mut sides: BTreeMap<String, Sides> = BTreeMap::new();
    let key = |row: &Row| {
        let text = row.get("material");
        material_called(catalogue, text).map_or_else(|_| text.to_owned(), |material| material.code.clone())
    };
    let add = |place: &mut Option<String>, row: &Row| {
        let said = said(row);
        match place {
            Some(before) => {
                before.push_str("; ");
                before.push_str(&said);
            }
            None => *place = Some(said),
        }
    };
    for row in theirs.iter().filter(|row| !row.is_blank()) {
        add(&mut sides.entry(key(row)).or_default().0, row);
    }
    for row in yours.iter().filter(|row| !row.is_blank()) {
        add(&mut sides.entry(key(row)).or_default().1, row);
    }
    sides.into_iter().filter(|(_, (theirs, yours))| theirs != yours).collect()
}

/// A line in words.
fn said(row: &Row) -> String {
    let mut parts = vec![match row.get("kind") {
        "qs" => t::KIND_QS.to_owned(),
        kind => format!("{} {}", row.get("amount"), t::draft_kind(kind)),
    }];
    if row.get("basis") == "active" {
        parts.push(t::OF_ACTIVE.to_owned());
    }
    if !row.get("phase").is_empty() {
        parts.push(format!("{} {}", t::PHASE, row.get("phase")));
    }
    for column in ["function", "instruction", "tolerance", "trim", "stop", "least", "most"] {
        if !row.get(column).is_empty() {
            parts.push(row.get(column).to_owned());
        }
    }
    parts.join(", ")
}
