//! `stillroom migrate`: bringing the database's layout up to date, or saying what is to do.

use serde::Serialize;
use store::{Store, StoreOptions};

use crate::{
    cli::MigrateArgs,
    failure::{Failure, Outcome},
    output,
    settings::Settings,
};

#[derive(Serialize)]
struct Answer {
    applied: Vec<String>,
    pending: Vec<String>,
}

/// Migrates, or says what is pending.
///
/// # Errors
/// [`Failure`].
pub async fn run(settings: &Settings, args: &MigrateArgs) -> Result<Outcome, Failure> {
    if args.status
        && let Some(file) = settings.sqlite_file()
        && !file.exists()
    {
        return Err(Failure::usage("--database", format!("there is no database at {}", file.display())));
    }
    let store = Store::connect(&settings.database, &StoreOptions::default()).await?;
    let pending = store.pending_migrations().await?;
    let answer = if args.status {
        Answer { applied: Vec::new(), pending }
    } else {
        store.migrate().await?;
        Answer { applied: pending, pending: Vec::new() }
    };
    let shown = settings.database_shown();
    output::answer(settings.json, &answer, |answer| {
        match (answer.applied.as_slice(), answer.pending.as_slice()) {
            ([], []) => format!("{shown} is up to date."),
            (applied, []) => format!("{shown} is up to date now; applied: {}.", applied.join(", ")),
            (_, pending) => format!("{shown} is not up to date; to do: {}.", pending.join(", ")),
        }
    })?;
    Ok(if answer.pending.is_empty() { Outcome::Done } else { Outcome::No })
}
