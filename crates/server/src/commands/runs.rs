//! `stillroom runs`: which of several runs can be made on a day, each alone and one after the other.

use chrono::NaiveDate;
use engine::{
    run_check::{RunAmount, RunCheck, RunRequest, Verdict},
    run_choice::RunChoice,
};
use kernel::{DecimalMark, Quantity};
use serde::Serialize;

use crate::{
    cli::{RunsArgs, SubjectArgs, values},
    commands::subject::subject,
    failure::{Failure, Outcome},
    house::{self, Layout},
    output::{self, Amount},
    settings::Settings,
    table::{Side, Table},
};

#[derive(Serialize)]
struct Answer {
    on: NaiveDate,
    runs: Vec<Run>,
}

#[derive(Serialize)]
#[expect(clippy::struct_field_names, reason = "the names are those of the answer as JSON")]
struct Run {
    run: String,
    batch: Option<Amount>,
    units: Option<u64>,
    /// As if it were the only one.
    alone: Verdict,
    /// After those before it that can be made.
    together: Verdict,
    short: Vec<Short>,
    most_batch: Option<Amount>,
    most_units: Option<u64>,
    limited_by: Vec<String>,
}

#[derive(Serialize)]
#[expect(clippy::struct_field_names, reason = "the names are those of the answer as JSON")]
struct Short {
    material: String,
    short_by: Amount,
    order_by: Option<NaiveDate>,
}

/// Checks several runs.
///
/// # Errors
/// [`Failure`].
pub async fn run(settings: &Settings, args: &RunsArgs) -> Result<Outcome, Failure> {
    let house = house::open(settings, Layout::MustBeThere).await?;
    let actor = house::actor();
    let today = house.app.today();
    let on = args.on.unwrap_or(today);
    if on < today {
        return Err(Failure::usage("--on", format!("{on} is past; today is {today}")));
    }
    let catalogue = house.app.catalogue(&actor)?;
    let mut requests = Vec::with_capacity(args.runs.len());
    for text in &args.runs {
        let (code, amount) = text
            .trim()
            .split_once(char::is_whitespace)
            .ok_or_else(|| wrong(text, "say what and how much: 'HW-500 300', 'HW-01 200 kg'"))?;
        let (subject_args, amount) = match amount.trim().parse::<u64>() {
            Ok(units) => {
                (SubjectArgs { pack: Some(code.to_owned()), formula: None }, RunAmount::Units(units))
            }
            Err(_) => match Quantity::parse(amount, None, DecimalMark::Point) {
                Ok(Quantity::Mass(batch)) => {
                    let formula = values::formula_name(code).map_err(|error| wrong(text, &error))?;
                    (SubjectArgs { pack: None, formula: Some(formula) }, RunAmount::Batch(batch))
                }
                Ok(other) => {
                    return Err(wrong(text, &format!("{other} is neither units of a pack nor a mass")));
                }
                Err(error) => return Err(wrong(text, &error.to_string())),
            },
        };
        let subject = subject(&catalogue, &subject_args, on)?;
        requests.push(RunRequest { subject, amount, on, today, ticket: None });
    }
    let choices = house.app.run_checks(&actor, &requests).await?;
    let runs: Vec<Run> = args.runs.iter().zip(&choices).map(|(text, choice)| row(text, choice)).collect();
    let all = choices.iter().all(RunChoice::can_be_made);
    output::answer(settings.json, &Answer { on, runs }, text)?;
    Ok(if all { Outcome::Done } else { Outcome::No })
}

fn wrong(run: &str, message: &str) -> Failure {
    Failure::usage("RUN", format!("“{run}”: {message}"))
}

fn row(text: &str, choice: &RunChoice) -> Run {
    let RunCheck { batch, units, verdict, materials, most, .. } = &choice.together;
    Run {
        run: text.trim().to_owned(),
        batch: batch.map(Amount::from),
        units: *units,
        alone: choice.alone.verdict,
        together: *verdict,
        short: materials
            .iter()
            .filter(|material| material.verdict == Verdict::Short)
            .map(|material| Short {
                material: material.material.code.clone(),
                short_by: material.short_by.into(),
                order_by: material.buy.as_ref().and_then(|buy| buy.order.as_ref()).and_then(|o| o.order_by),
            })
            .collect(),
        most_batch: most.batch.map(Amount::from),
        most_units: most.units,
        limited_by: most.limited_by.iter().map(|material| material.code.clone()).collect(),
    }
}

fn text(answer: &Answer) -> String {
    let mut table = Table::new([
        ("run", Side::Left),
        ("batch", Side::Right),
        ("alone", Side::Left),
        ("after those above", Side::Left),
        ("at most", Side::Right),
        ("limited by", Side::Left),
    ]);
    for run in &answer.runs {
        let most = match (run.most_units, &run.most_batch) {
            (Some(units), _) => {
                output::counted(usize::try_from(units).unwrap_or(usize::MAX), "unit", "units")
            }
            (None, Some(batch)) => batch.to_string(),
            (None, None) => String::new(),
        };
        table.row([
            run.run.clone(),
            run.batch.as_ref().map(ToString::to_string).unwrap_or_default(),
            run.alone.words().to_owned(),
            run.together.words().to_owned(),
            most,
            run.limited_by.join(", "),
        ]);
        for short in &run.short {
            let order = short.order_by.map(|day| format!("; order by {day}")).unwrap_or_default();
            table.beneath(format!("{} is short by {}{order}", short.material, short.short_by));
        }
    }
    format!("Runs on {}, one after the other:\n\n{table}", answer.on)
}
