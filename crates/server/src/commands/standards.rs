//! `stillroom standards`: freezing what materials are agreed to cost.

use app::{Change, StandardsFreeze, StandardsFrozen};

use crate::{
    cli::StandardsCommand,
    failure::{Failure, Outcome},
    house::{self, Layout},
    output,
    settings::Settings,
};

/// Freezes standards.
///
/// # Errors
/// [`Failure`].
pub async fn run(settings: &Settings, command: &StandardsCommand) -> Result<Outcome, Failure> {
    let StandardsCommand::Freeze { basis, on } = command;
    let house = house::open(settings, Layout::MustBeThere).await?;
    let actor = house::actor();
    let input = StandardsFreeze { basis: *basis, on: *on };
    let frozen = house.app.standards_freeze(&Change::by(&actor), input).await?;
    output::answer(settings.json, &frozen, text)?;
    Ok(Outcome::Done)
}

fn text(frozen: &StandardsFrozen) -> String {
    let kept = output::counted(frozen.standards.len(), "standard", "standards");
    let mut text = format!("{kept} frozen, to hold from {}.", frozen.on);
    if !frozen.without.is_empty() {
        text.push_str("\nWithout a standard:");
        for problem in &frozen.without {
            text.push_str("\n  - ");
            text.push_str(&problem.message);
        }
    }
    text
}
