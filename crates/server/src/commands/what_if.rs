//! `stillroom what-if`: what assumed changes would do. Nothing is written.

mod answer;
mod resolve;

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
    let mut texts = match &args.scenario {
        Some(path) => scenario_file(path)?,
        None => ScenarioFile::default(),
    };
    texts.price.extend(args.price.iter().cloned());
    texts.lot_expires.extend(args.lot_expires.iter().cloned());
    texts.lot_rejected.extend(args.lot_rejected.iter().cloned());
    let scenario = ScenarioText::read(&texts).map_err(Failure::Usage)?;
    if scenario == ScenarioText::default() {
        return Err(Failure::usage(
            "what-if",
            "say what is to change: --price, --lot-expires, --lot-rejected or --scenario",
        ));
    }

    let house = house::open(settings, Layout::MustBeThere).await?;
    let actor = house::actor();
    let catalogue = house.app.catalogue(&actor)?;
    let as_of = args.as_of.unwrap_or_else(|| house.app.today());
    let scenario = resolve::scenario(&house.app, &actor, &catalogue, &scenario).await?;
    let found = house.app.what_if(&actor, &scenario, as_of).await?;
    output::answer(settings.json, &answer::of(&catalogue, &found)?, answer::text)?;
    Ok(Outcome::Done)
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
