//! `stillroom outlook`: what the coming weeks do to the shelf.

use chrono::NaiveDate;
use domain::Catalogue;
use engine::{
    outlook::{LotOutlook, MaterialOutlook, Outlook},
    planned::{RunOff, RunRef},
};
use kernel::{Money, ids::MaterialId};
use serde::Serialize;
use std::fmt::Write as _;

use crate::{
    cli::OutlookArgs,
    failure::{Failure, Outcome},
    house::{self, Layout},
    output::{self, Amount, day, money},
    settings::Settings,
    table::{Side, Table},
};

#[derive(Serialize)]
struct Answer {
    from: NaiveDate,
    until: NaiveDate,
    runs: Vec<Run>,
    short: Vec<ShortRow>,
    stranded: Vec<StrandedRow>,
}

#[derive(Serialize)]
struct Run {
    ticket: String,
    on: NaiveDate,
    formula: String,
    pack: Option<String>,
    short: bool,
}

#[derive(Serialize)]
struct ShortRow {
    code: String,
    name: String,
    needed: Amount,
    short_by: Amount,
    first_short_on: Option<NaiveDate>,
    first_short_run: Option<String>,
    make_first: Option<Amount>,
    make_first_by: Option<NaiveDate>,
}

#[derive(Serialize)]
struct StrandedRow {
    lot: String,
    code: String,
    on_hand: Amount,
    stranded: Amount,
    value: Option<Money>,
    last_day_of_use: Option<NaiveDate>,
}

/// Prints the outlook.
///
/// # Errors
/// [`Failure`].
pub async fn run(settings: &Settings, args: &OutlookArgs) -> Result<Outcome, Failure> {
    let house = house::open(settings, Layout::MustBeThere).await?;
    let actor = house::actor();
    let today = house.app.today();
    if args.until.is_some_and(|until| until < today) {
        return Err(Failure::usage("--until", format!("this day is past; today is {today}")));
    }
    let catalogue = house.app.catalogue(&actor)?;
    let outlook = house.app.outlook(&actor, args.until).await?;
    output::answer(settings.json, &answer_of(&catalogue, &outlook), text)?;
    Ok(Outcome::Done)
}

fn answer_of(catalogue: &Catalogue, outlook: &Outlook) -> Answer {
    Answer {
        from: outlook.from,
        until: outlook.until,
        runs: outlook.runs.iter().map(|run| run_of(catalogue, run)).collect(),
        short: outlook
            .materials
            .iter()
            .filter(|material| material.short_by.is_positive() || material.make_first.is_positive())
            .map(|material| short_of(catalogue, material))
            .collect(),
        stranded: outlook
            .lots
            .iter()
            .filter(|lot| lot.stranded.is_positive())
            .map(|lot| stranded_of(catalogue, lot))
            .collect(),
    }
}

/// What a run is called.
pub fn run_name(run: &RunRef) -> String {
    match run {
        RunRef::Ticket { number, .. } => number.clone(),
        RunRef::Assumed { change } => format!("assumed by change {change}"),
        RunRef::Asked => "the run asked about".to_owned(),
    }
}

fn run_of(catalogue: &Catalogue, run: &RunOff) -> Run {
    Run {
        ticket: run_name(&run.run),
        on: run.on,
        formula: catalogue.formulas.get(run.formula).map(|formula| formula.code.clone()).unwrap_or_default(),
        pack: run.pack.and_then(|pack| catalogue.packs.get(pack)).map(|pack| pack.code.clone()),
        short: run.is_short(),
    }
}

fn named(catalogue: &Catalogue, id: MaterialId) -> (String, String) {
    catalogue.materials.get(id).map(|m| (m.code.clone(), m.name.clone())).unwrap_or_default()
}

fn short_of(catalogue: &Catalogue, material: &MaterialOutlook) -> ShortRow {
    let (code, name) = named(catalogue, material.material);
    ShortRow {
        code,
        name,
        needed: material.needed.into(),
        short_by: material.short_by.into(),
        first_short_on: material.first_short_on,
        first_short_run: material.first_short_run.as_ref().map(run_name),
        make_first: material.make_first.is_positive().then(|| material.make_first.into()),
        make_first_by: material.make_first_by,
    }
}

fn stranded_of(catalogue: &Catalogue, lot: &LotOutlook) -> StrandedRow {
    StrandedRow {
        lot: lot.number.clone(),
        code: named(catalogue, lot.material).0,
        on_hand: lot.on_hand.into(),
        stranded: lot.stranded.into(),
        value: lot.stranded_value,
        last_day_of_use: lot.last_day_of_use,
    }
}

fn text(answer: &Answer) -> String {
    let mut text = format!("From {} to {}.\n", answer.from, answer.until);
    if answer.runs.is_empty() {
        text.push_str("No ticket is open.\n");
    } else {
        let mut table = Table::new([
            ("ticket", Side::Left),
            ("day", Side::Left),
            ("formula", Side::Left),
            ("pack", Side::Left),
            ("", Side::Left),
        ]);
        for run in &answer.runs {
            table.row([
                run.ticket.clone(),
                run.on.to_string(),
                run.formula.clone(),
                run.pack.clone().unwrap_or_default(),
                if run.short { "short" } else { "" }.to_owned(),
            ]);
        }
        let _ = write!(text, "\n{table}");
    }
    shorts(&mut text, answer);
    if answer.stranded.is_empty() {
        text.push_str("\nNo lot is stranded.\n");
        return text;
    }
    let mut table = Table::new([
        ("stranded lot", Side::Left),
        ("material", Side::Left),
        ("on hand", Side::Right),
        ("stranded", Side::Right),
        ("worth", Side::Right),
        ("last day of use", Side::Left),
    ]);
    for lot in &answer.stranded {
        table.row([
            lot.lot.clone(),
            lot.code.clone(),
            lot.on_hand.to_string(),
            lot.stranded.to_string(),
            lot.value.map_or_else(|| "not known".to_owned(), money),
            day(lot.last_day_of_use),
        ]);
    }
    let _ = write!(text, "\n{table}");
    text
}

fn shorts(text: &mut String, answer: &Answer) {
    if answer.short.is_empty() {
        text.push_str("\nNothing is short.\n");
        return;
    }
    let mut table = Table::new([
        ("short", Side::Left),
        ("needed", Side::Right),
        ("short by", Side::Right),
        ("from", Side::Left),
        ("ticket", Side::Left),
        ("", Side::Left),
    ]);
    for material in &answer.short {
        let make = material.make_first.as_ref().map_or_else(String::new, |make| {
            format!("make {make} first, by {}", day(material.make_first_by))
        });
        table.row([
            format!("{} {}", material.code, material.name),
            material.needed.to_string(),
            material.short_by.to_string(),
            day(material.first_short_on),
            material.first_short_run.clone().unwrap_or_default(),
            make,
        ]);
    }
    let _ = write!(text, "\n{table}");
}
