//! Writing a formula: a new one from the bench, a draft written anew, a version copied into the next one.
//!
//! The whole sheet is one form. Its buttons add, move and take out lines, work the draft out, or save it; each sends the whole form,
//! and the answer is the same page with everything that was typed. The script asks for the figures while somebody types, by the same
//! use case, and writes nothing. Saving names the draft as it was read, so that what somebody else saved meanwhile is not written
//! over: both are then shown.

mod conflict;
mod figures;
mod form;
mod typed;

use app::{DraftWorkedOut, FormulaBegin};
use axum::{
    extract::State,
    http::StatusCode,
    response::{IntoResponse as _, Response},
};
use domain::{Catalogue, Problem, Refusal, formulas::VersionStatus, people::Capability};
use maud::html;

use self::typed::{Read, Typed, placed};
use crate::{
    Web,
    access::{Answer, Asked, Sent, Who},
    frame::{self, Place},
    links,
    respond::{PageError, go, shown},
    text as t,
    ui::Kept,
};

pub(super) const FORM: &str = "draft";
/// Suggestions of materials given at once.
const SUGGESTED: usize = 40;

/// What stands against a draft.
#[derive(Default)]
struct Trouble {
    /// Beside the fields.
    kept: Kept,
    /// Of lines, by row and column.
    lines: Vec<Problem>,
    /// Whether somebody else wrote or settled the draft meanwhile.
    conflict: Option<Refusal>,
}

impl Trouble {
    fn of(typed: &Typed, error: app::Error) -> Result<Self, PageError> {
        let mut trouble = Self::default();
        match error {
            app::Error::Invalid(problems) => {
                let (lines, rest): (Vec<_>, Vec<_>) =
                    problems.into_iter().partition(|problem| problem.place.starts_with("lines["));
                trouble.lines = lines;
                // An error beside the fields keeps what was typed even when all that is wrong is in lines.
                trouble.kept = Kept::after(FORM, typed.header.clone(), app::Error::Invalid(rest))?;
            }
            app::Error::Refused(refusals) => {
                trouble.conflict = refusals
                    .iter()
                    .find(|r| matches!(r, Refusal::DraftChanged { .. } | Refusal::VersionFixed { .. }))
                    .cloned();
                trouble.kept = Kept::after(FORM, typed.header.clone(), app::Error::Refused(refusals))?;
            }
            other => trouble.kept = Kept::after(FORM, typed.header.clone(), other)?,
        }
        Ok(trouble)
    }
}

/// The sheet: blank, of a draft, or copied from a version.
pub async fn page(State(web): State<Web>, who: Who, Asked(fields): Asked) -> Answer {
    let catalogue = web.app.catalogue(&who.actor)?;
    require(&who)?;
    let (code, copied) = match (fields.text("formula"), fields.text("copy")) {
        (Some(code), _) => (Some(code), false),
        (None, code) => (code, true),
    };
    let Some(code) = code else {
        let mut typed = Typed::blank();
        typed.put("name", fields.first("name"));
        return Ok(shown_draft(&web, &who, &catalogue, &typed, &Trouble::default(), None));
    };
    let formula = catalogue.formulas.by_code(&code).ok_or_else(|| PageError::not_found("formula", &code))?;
    let version = match fields.text("version") {
        Some(number) => number.parse().ok().and_then(|number| formula.version(number)),
        None => formula.current(),
    };
    let version = version.ok_or_else(|| PageError::not_found("formula version", fields.first("version")))?;
    let mut typed =
        if copied { Typed::copied(formula, version) } else { Typed::of_version(formula, version) };
    if !copied && version.status == VersionStatus::Draft {
        typed.put("version", version.id.to_string());
        typed.put("seen", app::draft_mark(version)?);
    }
    let typed = typed.with_lines(&catalogue, version);
    Ok(shown_draft(&web, &who, &catalogue, &typed, &Trouble::default(), None))
}

fn require(who: &Who) -> Result<(), PageError> {
    if who.may(Capability::PlanAndMake) {
        Ok(())
    } else {
        Err(app::Error::Forbidden(Capability::PlanAndMake).into())
    }
}

/// What a draft comes to, or everything that keeps it from being read.
fn worked_out(
    web: &Web,
    who: &Who,
    catalogue: &Catalogue,
    typed: &Typed,
) -> Result<DraftWorkedOut, app::Error> {
    let read = typed.read(catalogue, false).map_err(app::Error::Invalid)?;
    if read.write.lines.is_empty() {
        return Err(app::Error::invalid("lines", t::LINES_NONE));
    }
    web.app.draft_work_out(&who.actor, &read.write, typed.get("code"), None, who.today).map_err(|error| {
        match error {
            app::Error::Invalid(problems) => app::Error::Invalid(placed(&read.rows, problems)),
            other => other,
        }
    })
}

fn shown_draft(
    web: &Web,
    who: &Who,
    catalogue: &Catalogue,
    typed: &Typed,
    trouble: &Trouble,
    focus: Option<usize>,
) -> Response {
    let worked = worked_out(web, who, catalogue, typed);
    let title = if typed.is_new() {
        t::NEW_FORMULA.to_owned()
    } else {
        let what = if typed.get("version").is_empty() { t::COPY_TO_VERSION } else { t::EDIT_DRAFT };
        format!("{} · {what}", typed.get("formula"))
    };
    let body = html! {
        p.crumb {
            a href="/formulas" { (t::FORMULAS) }
            @if !typed.is_new() { " › " a href=(links::formula(typed.get("formula"))) { (typed.get("formula")) } }
        }
        h1 { (title) }
        @if typed.is_new() { p.lead { (t::NEW_FORMULA_LEAD) } }
        (form::form(who, catalogue, typed, trouble, &worked, focus))
    };
    shown(trouble.kept.status(), frame::page(who, Place::Formulas, &title, &body))
}

/// The figures alone, for the script.
pub async fn figures(State(web): State<Web>, sent: Sent) -> Answer {
    let catalogue = web.app.catalogue(&sent.who.actor)?;
    require(&sent.who)?;
    let typed = Typed::of_fields(&sent.fields);
    let worked = worked_out(&web, &sent.who, &catalogue, &typed);
    let both =
        html! { (figures::summary(&catalogue, &worked)) (figures::figures(&catalogue, &typed, &worked)) };
    Ok(both.into_response())
}

/// Materials that go by something like this, as options of a list.
pub async fn materials(State(web): State<Web>, who: Who, Asked(fields): Asked) -> Answer {
    let catalogue = web.app.catalogue(&who.actor)?;
    let wanted = fields.first("q").to_lowercase();
    let found = form::materials_of_formulas(&catalogue).filter(|material| {
        material.code.to_lowercase().contains(&wanted)
            || material.name.to_lowercase().contains(&wanted)
            || material.inci.as_ref().is_some_and(|inci| inci.to_lowercase().contains(&wanted))
    });
    Ok(html! {
        @for material in found.take(SUGGESTED) { option value=(material.code) { (material.name) } }
    }
    .into_response())
}

/// One of the form's buttons.
pub async fn act(State(web): State<Web>, sent: Sent) -> Answer {
    let catalogue = web.app.catalogue(&sent.who.actor)?;
    require(&sent.who)?;
    let mut typed = Typed::of_fields(&sent.fields);
    let (what, at) = match sent.fields.first("do").split_once('-') {
        Some((what, at)) => (what, at.parse::<usize>().ok()),
        None => (sent.fields.first("do"), None),
    };
    let mut focus = None;
    match (what, at) {
        ("save", None) => return save(&web, &sent, &catalogue, &typed).await,
        ("over", None) => {
            let theirs = typed.get("theirs").to_owned();
            typed.put("seen", theirs);
            return save(&web, &sent, &catalogue, &typed).await;
        }
        ("new", None) => {
            typed.put("version", "");
            typed.put("seen", "");
            return save(&web, &sent, &catalogue, &typed).await;
        }
        ("add", None) => focus = Some(typed.add_line()),
        ("remove", Some(at)) => {
            typed.remove_line(at);
            focus = Some(at.min(typed.rows.len().saturating_sub(1)));
        }
        ("up", Some(at)) => {
            if let Some(before) = at.checked_sub(1) {
                typed.swap_lines(at, before);
                focus = Some(before);
            }
        }
        ("down", Some(at)) => {
            typed.swap_lines(at, at + 1);
            focus = Some((at + 1).min(typed.rows.len().saturating_sub(1)));
        }
        ("right", Some(at)) => {
            if let Ok(worked) = worked_out(&web, &sent.who, &catalogue, &typed)
                && let Some(costed) = worked.proposals.get(at)
            {
                let version = &costed.proposal.version;
                typed = typed.put_right(version).with_lines(&catalogue, version);
            }
        }
        _ => {}
    }
    Ok(shown_draft(&web, &sent.who, &catalogue, &typed, &Trouble::default(), focus))
}

/// Writes the draft and leads to it; shows everything typed again when it is not written.
async fn save(web: &Web, sent: &Sent, catalogue: &Catalogue, typed: &Typed) -> Answer {
    let change = sent.change();
    let result = match typed.read(catalogue, true) {
        Err(problems) => Err(app::Error::Invalid(problems)),
        Ok(read) => {
            let Read { write, begin, rows } = read;
            let written = match begin {
                Some((code, name, makes)) => {
                    let begin = FormulaBegin { code, name, makes, draft: write };
                    web.app.formula_begin(&change, begin).await
                }
                None => web.app.formula_version_write(&change, write).await,
            };
            written.map_err(|error| match error {
                app::Error::Invalid(problems) => app::Error::Invalid(placed(&rows, problems)),
                other => other,
            })
        }
    };
    match result {
        Ok(version) => {
            // As it stands after the change.
            let catalogue = web.app.catalogue(&sent.who.actor)?;
            let code = catalogue.formulas.get(version.formula).map(|formula| formula.code.clone());
            Ok(go(&links::version(&code.unwrap_or_default(), version.number)))
        }
        Err(error) => {
            let trouble = Trouble::of(typed, error)?;
            let catalogue = web.app.catalogue(&sent.who.actor)?;
            let mut answer = shown_draft(web, &sent.who, &catalogue, typed, &trouble, None);
            if answer.status() == StatusCode::OK {
                *answer.status_mut() = StatusCode::UNPROCESSABLE_ENTITY;
            }
            Ok(answer)
        }
    }
}
