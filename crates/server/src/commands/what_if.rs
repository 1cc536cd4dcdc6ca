//! `stillroom what-if`: what assumed changes would do. Nothing is written.

mod answer;
mod more;
mod resolve;

use app::{CHANGE_FORMS, Change, ScenarioKeep, WHOSE_FORMS};
use domain::Problem;
use engine::what_if::Parts;
use kernel::{DecimalMark, Percent, parse_decimal};
use std::path::Path;

use crate::{
    cli::WhatIfArgs,
    failure::{Failure, Outcome},
    house::{self, Layout},
    output,
    scenario::{ScenarioFile, ScenarioText},
    settings::Settings,
};

/// Bytes of a scenario file; a hundred changes take a few thousand.
const FILE_BYTES_MAX: u64 = 1 << 20;

/// Answers a what-if.
///
/// # Errors
/// [`Failure`] with everything that is wrong with the changes.
pub async fn run(settings: &Settings, args: &WhatIfArgs) -> Result<Outcome, Failure> {
    if args.change.iter().any(|text| text.trim().eq_ignore_ascii_case("help")) {
        output::print(&format!("{}\nWHOSE is {WHOSE_FORMS}", CHANGE_FORMS.join("\n")))?;
        return Ok(Outcome::Done);
    }
    if let Some(name) = &args.kept {
        return run_kept(settings, args, name).await;
    }
    let mut texts = match &args.scenario {
        Some(path) => scenario_file(path)?,
        None => ScenarioFile::default(),
    };
    texts.price.extend(args.price.iter().cloned());
    texts.lot_expires.extend(args.lot_expires.iter().cloned());
    texts.lot_rejected.extend(args.lot_rejected.iter().cloned());
    texts.change.extend(args.change.iter().cloned());
    let words = std::mem::take(&mut texts.change);
    let texts = ScenarioText::read(&texts).map_err(Failure::Usage)?;
    if texts == ScenarioText::default() && words.is_empty() {
        return Err(Failure::usage(
            "what-if",
            "say what is to change: --price, --lot-expires, --lot-rejected, --change or --scenario",
        ));
    }
    let margin_floor = args.margin_floor.as_deref().map(floor).transpose()?;

    let house = house::open(settings, Layout::MustBeThere).await?;
    let actor = house::actor();
    let catalogue = house.app.catalogue(&actor)?;
    let as_of = args.as_of.unwrap_or_else(|| house.app.today());
    let mut scenario = resolve::scenario(&house.app, &actor, &catalogue, &texts).await?;
    scenario.margin_floor = margin_floor;
    let mut problems = Vec::new();
    for text in &words {
        match house.app.change_in_words(&actor, text).await? {
            Ok(change) => scenario.changes.push(change),
            Err(why) => problems.push(Problem::at(format!("--change “{text}”"), why)),
        }
    }
    if !problems.is_empty() {
        return Err(Failure::Usage(problems));
    }
    let found = house.app.what_if_parts(&actor, &scenario, as_of, Parts::ALL).await?;
    if let Some(name) = &args.keep {
        let keep = ScenarioKeep { name: name.clone(), scenario, as_of: Some(as_of) };
        house.app.scenario_keep(&Change::by(&actor), keep).await?;
    }
    output::answer(settings.json, &answer::of(&catalogue, &found, None)?, answer::text)?;
    Ok(Outcome::Done)
}

async fn run_kept(settings: &Settings, args: &WhatIfArgs, name: &str) -> Result<Outcome, Failure> {
    let house = house::open(settings, Layout::MustBeThere).await?;
    let actor = house::actor();
    let catalogue = house.app.catalogue(&actor)?;
    let kept = house.app.scenario_by_name(&actor, name).await?;
    let run = house.app.scenario_run(&actor, kept, args.as_of, Parts::ALL).await?;
    output::answer(settings.json, &answer::of(&catalogue, &run.answer, Some(&run))?, answer::text)?;
    Ok(Outcome::Done)
}

fn floor(text: &str) -> Result<Percent, Failure> {
    let figure = text.trim().trim_end_matches('%');
    parse_decimal(figure, DecimalMark::Point)
        .and_then(Percent::from_percent)
        .map_err(|error| Failure::usage("--margin-floor", error))
}

fn scenario_file(path: &Path) -> Result<ScenarioFile, Failure> {
    let shown = path.display().to_string();
    let told =
        |error: &dyn std::fmt::Display| Failure::usage(&*shown, format!("this is not a scenario: {error}"));
    let size = std::fs::metadata(path).map_err(|error| Failure::usage(&*shown, error))?.len();
    if size > FILE_BYTES_MAX {
        return Err(told(&format!("{size} bytes are more than the {FILE_BYTES_MAX} that are read")));
    }
    let text = std::fs::read_to_string(path).map_err(|error| told(&error))?;
    serde_json::from_str(&text).map_err(|error| told(&error))
}
