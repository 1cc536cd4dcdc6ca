//! `stillroom token`: creating, listing and ending API tokens.

use app::{TokenIssue, lists::ApiToken};
use chrono::{DateTime, NaiveTime, SecondsFormat, Utc};
use domain::people::Capability;
use serde::Serialize;
use std::collections::BTreeSet;

use crate::{
    cli::{TokenCommand, TokenCreateArgs},
    clock::{instant_at, moved_by},
    failure::{Failure, Outcome},
    house::{self, House, Layout},
    output,
    settings::Settings,
    table::{Side, Table},
};

#[derive(Serialize)]
struct Row {
    id: String,
    name: String,
    may: Vec<&'static str>,
    created_by: String,
    created_at: String,
    expires_at: Option<String>,
    revoked_at: Option<String>,
}

#[derive(Serialize)]
struct Created {
    token: Row,
    secret: String,
}

/// Does what is asked with tokens.
///
/// # Errors
/// [`Failure`].
pub async fn run(settings: &Settings, command: &TokenCommand) -> Result<Outcome, Failure> {
    match command {
        TokenCommand::Create(args) => create(settings, args).await?,
        TokenCommand::List => list(settings).await?,
        TokenCommand::Revoke { id } => {
            let House { app, .. } = house::open(settings, Layout::MustBeThere).await?;
            app.token_revoke(&house::actor(), *id).await?;
            let answer = serde_json::json!({ "revoked": id.to_string() });
            output::answer(settings.json, &answer, |_| format!("Token {id} works no more."))?;
        }
    }
    Ok(Outcome::Done)
}

async fn create(settings: &Settings, args: &TokenCreateArgs) -> Result<(), Failure> {
    let House { app, .. } = house::open(settings, Layout::BringUpToDate).await?;
    // It works on the last day, so it ends when the next one begins at the site.
    let expires_at = args.expires.map(|day| instant_at(moved_by(day, 1), NaiveTime::MIN, settings.time_zone));
    let input = TokenIssue { name: args.name.clone(), may: args.may.0.clone(), expires_at };
    let issued = app.token_issue(&house::actor(), input).await?;
    let answer = Created { token: row(&issued.token), secret: issued.secret };
    output::answer(settings.json, &answer, |created| {
        format!(
            "{}\n\nThis is shown once. Send it as: Authorization: Bearer {}\nToken {} ({}) may {}.",
            created.secret,
            created.secret,
            created.token.id,
            created.token.name,
            created.token.may.join(", ")
        )
    })
}

async fn list(settings: &Settings) -> Result<(), Failure> {
    let House { app, .. } = house::open(settings, Layout::MustBeThere).await?;
    let rows: Vec<Row> = app.tokens(&house::actor()).await?.iter().map(row).collect();
    output::answer(settings.json, &rows, |rows| {
        if rows.is_empty() {
            return "There are no tokens; `stillroom token create` makes one.".to_owned();
        }
        let mut table = Table::new([
            ("id", Side::Left),
            ("name", Side::Left),
            ("may", Side::Left),
            ("created", Side::Left),
            ("works until", Side::Left),
        ]);
        for row in rows {
            let until = match (&row.revoked_at, &row.expires_at) {
                (Some(at), _) => format!("revoked {at}"),
                (None, Some(at)) => at.clone(),
                (None, None) => "until revoked".to_owned(),
            };
            table.row([row.id.clone(), row.name.clone(), row.may.join(", "), row.created_at.clone(), until]);
        }
        table.to_string()
    })
}

fn row(token: &ApiToken) -> Row {
    let instant = |at: DateTime<Utc>| at.to_rfc3339_opts(SecondsFormat::Secs, true);
    Row {
        id: token.id.to_string(),
        name: token.name.clone(),
        may: names(&token.capabilities),
        created_by: token.created_by.clone(),
        created_at: instant(token.created_at),
        expires_at: token.expires_at.map(instant),
        revoked_at: token.revoked_at.map(instant),
    }
}

fn names(capabilities: &BTreeSet<Capability>) -> Vec<&'static str> {
    capabilities.iter().map(|capability| capability.name()).collect()
}
