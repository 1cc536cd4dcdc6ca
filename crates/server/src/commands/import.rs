//! `stillroom import`: sheets in, all of them or none.

use app::{
    Change, Error,
    import::{ImportOptions, ImportReport, Tally},
};
use domain::Problem;
use exchange::{ReadOptions, Reading};
use serde::Serialize;
use std::fmt::Write as _;

use crate::{
    cli::ImportArgs,
    failure::{Failure, Outcome},
    house::{self, Layout},
    output,
    settings::Settings,
    table::{Side, Table},
};

#[derive(Serialize)]
struct Answer {
    dry_run: bool,
    changed: bool,
    sheets: Vec<Sheet>,
    counts: Vec<Count>,
    warnings: Vec<Problem>,
}

#[derive(Serialize)]
struct Sheet {
    file: String,
    kind: &'static str,
    rows: usize,
}

#[derive(Serialize)]
struct Count {
    what: &'static str,
    created: usize,
    updated: usize,
    unchanged: usize,
}

/// Imports.
///
/// # Errors
/// [`Failure`] with every problem of the sheets.
pub async fn run(settings: &Settings, args: &ImportArgs) -> Result<Outcome, Failure> {
    if !args.path.exists() {
        let shown = args.path.display();
        return Err(Failure::usage(shown.to_string(), "there is no such file or folder"));
    }
    // A check of sheets against nothing is of no use, so even that makes the database.
    let house = house::open(settings, Layout::BringUpToDate).await?;
    let options = ReadOptions {
        decimal: args.decimal,
        sheet: args.sheet,
        ..ReadOptions::new(house.app.settings().currency)
    };
    let path = args.path.clone();
    let reading = tokio::task::spawn_blocking(move || exchange::read_path(&path, &options))
        .await
        .map_err(|error| Failure::Fault(format!("the sheets could not be read: {error}")))?;
    let actor = house::actor();
    let wanted = ImportOptions { dry_run: args.dry_run, unusual_prices: args.accept_unusual_prices };
    let report = apply(&house.app, &Change::by(&actor), &reading, wanted).await?;
    output::answer(settings.json, &answer_of(&reading, &report), text)?;
    Ok(Outcome::Done)
}

/// Applies what was read. Problems of the reading and of what the house knows are told together.
///
/// # Errors
/// [`Failure`].
pub async fn apply(
    app: &app::App,
    change: &Change<'_>,
    reading: &Reading,
    wanted: ImportOptions,
) -> Result<ImportReport, Failure> {
    if reading.is_sound() {
        return Ok(app.import_apply(change, &reading.set, wanted).await?);
    }
    let mut problems = reading.problems.clone();
    match app.import_apply(change, &reading.set, ImportOptions { dry_run: true, ..wanted }).await {
        Err(Error::Invalid(more)) => {
            problems.extend(more.into_iter().filter(|problem| !reading.problems.contains(problem)));
        }
        Ok(_) => {}
        // The sheets are wrong whatever else is.
        Err(error) => tracing::warn!(%error, "the sheets could not be compared with what is known"),
    }
    if reading.more_problems > 0 {
        let count = output::counted(reading.more_problems, "problem", "problems");
        problems.push(Problem::at("and more", format!("{count} like these")));
    }
    Err(Error::Invalid(problems).into())
}

fn answer_of(reading: &Reading, report: &ImportReport) -> Answer {
    let count = |what, tally: Tally| Count {
        what,
        created: tally.created,
        updated: tally.updated,
        unchanged: tally.unchanged,
    };
    Answer {
        dry_run: report.dry_run,
        changed: report.changes_anything() && !report.dry_run,
        sheets: reading
            .sheets
            .iter()
            .map(|sheet| Sheet { file: sheet.file.clone(), kind: sheet.kind.name(), rows: sheet.rows })
            .collect(),
        counts: vec![
            count("materials", report.materials),
            count("suppliers", report.suppliers),
            count("quotations", report.quotations),
            count("exchange rates", report.rates),
            count("house rates", report.house_rates),
            count("formula versions", report.versions),
            count("packs", report.packs),
            count("lots", report.lots),
        ],
        warnings: reading.warnings.clone(),
    }
}

fn text(answer: &Answer) -> String {
    let mut text = String::new();
    for sheet in &answer.sheets {
        let _ =
            writeln!(text, "{}: {}, {}", sheet.file, sheet.kind, output::counted(sheet.rows, "row", "rows"));
    }
    let mut table = Table::new([
        ("", Side::Left),
        ("new", Side::Right),
        ("changed", Side::Right),
        ("as before", Side::Right),
    ]);
    for count in &answer.counts {
        table.row([
            count.what.to_owned(),
            count.created.to_string(),
            count.updated.to_string(),
            count.unchanged.to_string(),
        ]);
    }
    let _ = write!(text, "\n{table}");
    if !answer.warnings.is_empty() {
        let _ = writeln!(text, "\nOdd, but taken as it is:");
        for warning in &answer.warnings {
            let _ = writeln!(text, "  {warning}");
        }
    }
    text.push_str(match (answer.dry_run, answer.changed) {
        (true, _) => "\nChecked only; nothing was written.\n",
        (false, true) => "\nWritten.\n",
        (false, false) => "\nEverything was known already; nothing was written.\n",
    });
    text
}
