//! Sheets in by the browser: read, compared and shown row by row before anything is written; then written all at once, or not at
//! all.

use app::import::{ImportOptions, ImportReport, Tally};
use axum::{extract::State, http::StatusCode};
use domain::{Problem, people::Capability};
use exchange::{NamedFile, ReadOptions, Reading};
use kernel::DecimalMark;
use maud::{Markup, html};

use crate::{
    Web,
    access::{Answer, Sent, SentFiles, TOKEN_FIELD, Who},
    frame::{self, Place},
    respond::{PageError, shown},
    text as t,
    ui::{self, Kept, Tone},
};

/// The form that chooses files.
pub async fn page(who: Who) -> Answer {
    require(&who)?;
    Ok(shown_import(&who, StatusCode::OK, &html! {}))
}

fn require(who: &Who) -> Result<(), PageError> {
    if who.may(Capability::Administer) {
        Ok(())
    } else {
        Err(app::Error::Forbidden(Capability::Administer).into())
    }
}

fn shown_import(who: &Who, status: StatusCode, result: &Markup) -> axum::response::Response {
    let body = html! {
        p.crumb { a href="/settings" { (t::SETTINGS) } }
        h1 { (t::IMPORT) }
        p.lead { (t::IMPORT_LEAD) }
        (result)
        form.stack method="post" action="/import" enctype="multipart/form-data" {
            input type="hidden" name=(TOKEN_FIELD) value=(who.page_token);
            div.field {
                label for="import-files" { (t::IMPORT_FILES) }
                input #import-files type="file" name="files" multiple accept=".csv,.xlsx" required aria-describedby="import-files-hint";
                p.hint #import-files-hint { (t::IMPORT_FILES_HINT) }
            }
            (ui::select("import", "decimal", t::IMPORT_DECIMAL, "point", &[
                ("point".to_owned(), t::DECIMAL_POINT.to_owned()),
                ("comma".to_owned(), t::DECIMAL_COMMA.to_owned()),
            ]))
            label { input type="checkbox" name="unusual" value="yes"; " " (t::IMPORT_UNUSUAL) }
            button type="submit" { (t::IMPORT_READ) }
        }
    };
    shown(status, frame::page(who, Place::Settings, t::IMPORT, &body))
}

/// Reads what was sent and shows what it would change.
pub async fn read(State(web): State<Web>, sent: SentFiles) -> Answer {
    let who = sent.who;
    require(&who)?;
    if sent.files.is_empty() {
        let told = ui::notice(Tone::Bad, &html! { p role="alert" { (t::sentence(t::IMPORT_NO_FILE)) } });
        return Ok(shown_import(&who, StatusCode::UNPROCESSABLE_ENTITY, &told));
    }
    let unusual_prices = sent.fields.first("unusual") == "yes";
    let decimal =
        if sent.fields.first("decimal") == "comma" { DecimalMark::Comma } else { DecimalMark::Point };
    let options = ReadOptions { decimal, ..ReadOptions::new(web.app.settings().currency) };
    let files = sent.files;
    // A large sheet takes its time; pages of others do not wait for it.
    let reading = tokio::task::spawn_blocking(move || {
        let named: Vec<NamedFile<'_>> = files.iter().map(|(name, bytes)| NamedFile { name, bytes }).collect();
        exchange::read_files(&named, &options)
    })
    .await
    .map_err(app::Error::internal)?;
    let wanted = ImportOptions { dry_run: true, unusual_prices };
    let change = app::Change::by(&who.actor);
    let compared = web.app.import_apply(&change, &reading.set, wanted).await;
    let (report, mut problems) = match compared {
        Ok(report) => (Some(report), Vec::new()),
        Err(app::Error::Invalid(problems)) => (None, problems),
        Err(error) => return Err(error.into()),
    };
    problems.retain(|problem| !reading.problems.contains(problem));
    problems.splice(0..0, reading.problems.iter().cloned());
    let sound = reading.is_sound() && problems.is_empty();
    let (sheets, warnings, more) = (sheets(&reading), warnings(&reading), reading.more_problems);
    let confirm = match &report {
        Some(report) if sound && report.changes_anything() => {
            let name = web.uploads.keep(&who.actor.name, reading, unusual_prices)?;
            html! {
                form.inline method="post" action="/import/confirm" {
                    (ui::form_keys(&who, &Kept::default(), "confirm"))
                    input type="hidden" name="upload" value=(name);
                    button type="submit" { (t::IMPORT_CONFIRM) }
                }
            }
        }
        Some(_) if sound => html! { p { (t::IMPORT_NOTHING_NEW) } },
        _ => html! {},
    };
    let result = html! {
        section.card aria-label=(t::IMPORT_PREVIEW) {
            @if !sound { (problem_table(&problems, more)) }
            (warnings)
            @if let Some(report) = report.filter(|_| sound) {
                h2 { (t::IMPORT_PREVIEW) }
                (counts(&report))
            }
            (confirm)
            h2 { (t::IMPORT_SHEETS) }
            (sheets)
        }
    };
    let status = if sound { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    Ok(shown_import(&who, status, &result))
}

fn problem_table(problems: &[Problem], more: usize) -> Markup {
    html! {
        (ui::notice(Tone::Bad, &html! { p role="alert" { strong { (t::IMPORT_PROBLEMS) } " " (t::IMPORT_PROBLEMS_LEAD) } }))
        (placed_table(t::IMPORT_PROBLEMS, problems))
        @if more > 0 { p { (t::and_more(more)) } }
    }
}

fn placed_table(caption: &str, problems: &[Problem]) -> Markup {
    ui::table(
        caption,
        &html! { th { (t::PLACE) } th { (t::WHAT) } },
        &html! {
            @for problem in problems { tr { td { (problem.place) } td { (t::sentence(&problem.message)) } } }
        },
    )
}

fn warnings(reading: &Reading) -> Markup {
    if reading.warnings.is_empty() {
        return html! {};
    }
    html! {
        h2 { (t::IMPORT_WARNINGS) }
        (placed_table(t::IMPORT_WARNINGS, &reading.warnings))
        @if reading.more_warnings > 0 { p { (t::and_more(reading.more_warnings)) } }
    }
}

fn sheets(reading: &Reading) -> Markup {
    ui::table(
        t::IMPORT_SHEETS,
        &html! { th { (t::FILE) } th { (t::SHEET_KIND) } th.num { (t::ROWS) } },
        &html! {
            @for sheet in &reading.sheets { tr { td { (sheet.file) } td { (sheet.kind.name()) } td.num { (sheet.rows) } } }
        },
    )
}

fn counts(report: &ImportReport) -> Markup {
    let rows: [(&str, Tally); 8] = [
        (t::OF_MATERIALS, report.materials),
        (t::OF_SUPPLIERS, report.suppliers),
        (t::OF_QUOTATIONS, report.quotations),
        (t::OF_RATES, report.rates),
        (t::OF_HOUSE_RATES, report.house_rates),
        (t::OF_VERSIONS, report.versions),
        (t::OF_PACKS, report.packs),
        (t::OF_LOTS, report.lots),
    ];
    ui::table(
        t::IMPORT_PREVIEW,
        &html! { th { (t::WHAT) } th.num { (t::COUNT_NEW) } th.num { (t::COUNT_CHANGED) } th.num { (t::COUNT_SAME) } },
        &html! {
            @for (what, tally) in rows.iter().filter(|(_, tally)| tally.created + tally.updated + tally.unchanged > 0) {
                tr { td { (what) } td.num { (tally.created) } td.num { (tally.updated) } td.num { (tally.unchanged) } }
            }
        },
    )
}

/// Writes what was shown.
pub async fn confirm(State(web): State<Web>, sent: Sent) -> Answer {
    require(&sent.who)?;
    let Some(upload) = web.uploads.get(&sent.who.actor.name, sent.fields.first("upload")) else {
        let told = ui::notice(Tone::Bad, &html! { p role="alert" { (t::IMPORT_GONE) } });
        return Ok(shown_import(&sent.who, StatusCode::CONFLICT, &told));
    };
    let wanted = ImportOptions { dry_run: false, unusual_prices: upload.unusual_prices };
    match web.app.import_apply(&sent.change(), &upload.reading.set, wanted).await {
        Ok(report) => {
            let done = html! {
                (ui::notice(Tone::Good, &html! { p role="status" { strong { (t::IMPORT_DONE) } } }))
                (counts(&report))
            };
            Ok(shown_import(&sent.who, StatusCode::OK, &done))
        }
        // The house has changed since it was compared.
        Err(app::Error::Invalid(problems)) => {
            let told = problem_table(&problems, 0);
            Ok(shown_import(&sent.who, StatusCode::UNPROCESSABLE_ENTITY, &told))
        }
        Err(error) => Err(error.into()),
    }
}
