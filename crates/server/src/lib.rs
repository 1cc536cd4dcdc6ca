//! The `stillroom` programme: settings, command line, HTTP, the demo, start and stop. The only crate that knows all others.

pub mod cli;
pub mod clock;
pub mod commands;
pub mod demo;
pub mod failure;
pub mod house;
pub mod http;
pub mod output;
pub mod scenario;
pub mod settings;
pub mod table;

use clap::Parser as _;
use std::{ffi::OsString, io::Write as _};
use tracing_subscriber::EnvFilter;

use cli::{Cli, Command, GlobalOptions, LogFormat};
use failure::{Failure, Outcome};
use settings::Settings;

/// Runs the programme with these words, the first being its own name, and gives its exit code.
pub async fn run(words: impl IntoIterator<Item = OsString>) -> u8 {
    let words: Vec<OsString> = words.into_iter().collect();
    let cli = match Cli::try_parse_from(&words) {
        Ok(cli) => cli,
        Err(error) => return told(&error, words.iter().any(|word| word == "--json")),
    };
    let json = cli.global.json;
    let done = match log_to_stderr(&cli.global) {
        Ok(()) => run_command(&cli).await,
        Err(failure) => Err(failure),
    };
    match done {
        Ok(Outcome::Done) => failure::DONE,
        Ok(Outcome::No) => failure::NO,
        Err(failure) => {
            say_to_stderr(&if json { failure.json() } else { failure.text() });
            failure.exit_code()
        }
    }
}

async fn run_command(cli: &Cli) -> Result<Outcome, Failure> {
    let default = match cli.command {
        Command::Demo(_) => settings::DEMO_DATABASE,
        _ => settings::DATABASE,
    };
    let settings = Settings::resolve(&cli.global, default)?;
    match &cli.command {
        Command::Serve(args) => commands::serve::run(&settings, args).await,
        Command::Demo(args) => demo::run(&settings, args).await,
        Command::Import(args) => commands::import::run(&settings, args).await,
        Command::Cost(args) => commands::cost::run(&settings, args).await,
        Command::Compare(args) => commands::compare::run(&settings, args).await,
        Command::Vary(command) => commands::vary::run(&settings, command).await,
        Command::Price(command) => commands::price::run(&settings, command).await,
        Command::Swap(args) => commands::swap::run(&settings, args).await,
        Command::Offers(args) => commands::offers::run(&settings, args).await,
        Command::Fill(args) => commands::fill::run(&settings, args).await,
        Command::PutRight(args) => commands::put_right::run(&settings, args).await,
        Command::Check(args) => commands::check::run(&settings, args).await,
        Command::Runs(args) => commands::runs::run(&settings, args).await,
        Command::WhatIf(args) => commands::what_if::run(&settings, args).await,
        Command::Outlook(args) => commands::outlook::run(&settings, args).await,
        Command::Shelf(args) => commands::shelf::run(&settings, args).await,
        Command::Trace(args) => commands::trace::run(&settings, args).await,
        Command::RecallDrill(args) => commands::trace::drill(&settings, args).await,
        Command::Ledger(command) => commands::ledger::run(&settings, command).await,
        Command::Search(command) => commands::search::run(&settings, command).await,
        Command::Variances(args) => commands::variances::run(&settings, args).await,
        Command::Standards(command) => commands::standards::run(&settings, command).await,
        Command::Migrate(args) => commands::migrate::run(&settings, args).await,
        Command::Schema => commands::schema::run(),
        Command::Token(command) => commands::token::run(&settings, command).await,
    }
}

/// Help and version go to standard output; wrong use goes to standard error, as JSON where that was asked for.
fn told(error: &clap::Error, json: bool) -> u8 {
    if json && error.use_stderr() {
        let text = error.render().to_string();
        let text = text.trim().trim_start_matches("error: ");
        say_to_stderr(&Failure::usage("command line", text).json());
    } else {
        // Whoever asked has gone away when this fails.
        let _ = error.print();
    }
    u8::try_from(error.exit_code()).unwrap_or(failure::USAGE)
}

fn say_to_stderr(text: &str) {
    // There is nobody left to tell when this fails.
    let _ = writeln!(std::io::stderr().lock(), "{text}");
}

/// What libraries say at info is of no use to whoever runs the house.
const QUIET: &str = "sqlx=warn,sea_orm=warn,sea_orm_migration=warn,hyper=warn";

fn log_to_stderr(options: &GlobalOptions) -> Result<(), Failure> {
    let asked = if options.log.trim().is_empty() { "info" } else { options.log.trim() };
    let filter = EnvFilter::try_new(format!("{QUIET},{asked}"))
        .map_err(|error| Failure::usage("--log", format!("“{asked}” is not a log filter: {error}")))?;
    let subscriber = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr);
    let set = match options.log_format {
        LogFormat::Text => subscriber.with_ansi(false).try_init(),
        LogFormat::Json => subscriber.json().try_init(),
    };
    // A second run in the same process, as in tests, keeps the first one's log.
    drop(set);
    Ok(())
}
