//! Settings that hold for every command: read from options and environment, checked all together.

use chrono::NaiveDate;
use chrono_tz::Tz;
use domain::{Problem, dates::parse_date};
use kernel::Currency;
use std::path::PathBuf;

use crate::{cli::GlobalOptions, failure::Failure};

/// Where things are kept when nothing else is said.
pub const DATABASE: &str = "sqlite://stillroom.db";
/// Where the demo is kept when nothing else is said.
pub const DEMO_DATABASE: &str = "sqlite://stillroom-demo.db";

/// What was settled.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settings {
    /// `sqlite://PATH` or `postgres://…`.
    pub database: String,
    /// The house's currency, when it was named; else what the database holds, else pounds sterling.
    pub currency: Option<Currency>,
    /// The site's time zone.
    pub time_zone: Tz,
    /// A day to take for today.
    pub today: Option<NaiveDate>,
    /// Answers and errors as JSON.
    pub json: bool,
}

impl Settings {
    /// Reads and checks the options.
    ///
    /// # Errors
    /// [`Failure::Usage`] with everything that is wrong.
    pub fn resolve(options: &GlobalOptions, default_database: &str) -> Result<Self, Failure> {
        let mut problems = Vec::new();
        // A setting that is there but empty, as in a settings file, is one that is not made.
        let given = |text: &Option<String>| {
            text.as_deref().map(str::trim).filter(|text| !text.is_empty()).map(ToOwned::to_owned)
        };
        let database = given(&options.database).unwrap_or_else(|| default_database.to_owned());
        if !["sqlite://", "postgres://", "postgresql://"].iter().any(|scheme| database.starts_with(scheme)) {
            problems.push(Problem::at(
                "--database",
                "a database address begins with sqlite:// or postgres://, as in sqlite://stillroom.db",
            ));
        }
        let currency = given(&options.currency).and_then(|text| match text.parse::<Currency>() {
            Ok(currency) => Some(currency),
            Err(error) => {
                problems.push(Problem::at("--currency", error));
                None
            }
        });
        let time_zone = match given(&options.time_zone) {
            None => Tz::UTC,
            Some(name) => name.parse::<Tz>().unwrap_or_else(|_| {
                let shown: String = name.chars().take(40).collect();
                problems.push(Problem::at(
                    "--time-zone",
                    format!("“{shown}” is not a time zone of the IANA list (Europe/London)"),
                ));
                Tz::UTC
            }),
        };
        let today = given(&options.today).and_then(|text| match parse_date(&text) {
            Ok(day) => Some(day),
            Err(error) => {
                problems.push(Problem::at("--today", error));
                None
            }
        });
        if problems.is_empty() {
            Ok(Self { database, currency, time_zone, today, json: options.json })
        } else {
            Err(Failure::Usage(problems))
        }
    }

    /// The file of an SQLite database; `None` for another database, or one in memory.
    pub fn sqlite_file(&self) -> Option<PathBuf> {
        let rest = self.database.strip_prefix("sqlite://")?;
        let path = rest.split('?').next().unwrap_or(rest);
        (!path.is_empty() && path != ":memory:").then(|| PathBuf::from(path))
    }

    /// The database as it may be shown: without a password.
    pub fn database_shown(&self) -> String {
        let Some((scheme, rest)) = self.database.split_once("://") else { return self.database.clone() };
        match rest.rsplit_once('@') {
            Some((who, place)) => {
                let user = who.split(':').next().unwrap_or_default();
                format!("{scheme}://{user}@{place}")
            }
            None => self.database.clone(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn options() -> GlobalOptions {
        GlobalOptions {
            database: None,
            currency: None,
            time_zone: None,
            today: None,
            json: false,
            log: "info".to_owned(),
            log_format: crate::cli::LogFormat::Text,
        }
    }

    #[test]
    fn nothing_said_is_the_usual() {
        let settings = Settings::resolve(&options(), DATABASE).unwrap();
        assert_eq!(settings.database, "sqlite://stillroom.db");
        assert_eq!(settings.currency, None);
        assert_eq!(settings.time_zone, Tz::UTC);
        assert_eq!(settings.sqlite_file(), Some(PathBuf::from("stillroom.db")));
    }

    #[test]
    fn an_empty_setting_is_none() {
        let mut empty = options();
        empty.today = Some(String::new());
        empty.currency = Some(" ".to_owned());
        empty.database = Some(String::new());
        let resolved = |options| Settings::resolve(options, DATABASE).unwrap();
        assert_eq!(resolved(&empty), resolved(&options()));
    }

    #[test]
    fn everything_wrong_is_told_at_once() {
        let mut wrong = options();
        wrong.database = Some("mysql://x".to_owned());
        wrong.currency = Some("QQQ".to_owned());
        wrong.time_zone = Some("Europe/Atlantis".to_owned());
        wrong.today = Some("2026-02-29".to_owned());
        let Err(Failure::Usage(problems)) = Settings::resolve(&wrong, DATABASE) else { panic!() };
        let places: Vec<&str> = problems.iter().map(|p| p.place.as_str()).collect();
        assert_eq!(places, ["--database", "--currency", "--time-zone", "--today"]);
    }

    #[test]
    fn passwords_are_not_shown() {
        let mut named = options();
        named.database = Some("postgres://me:se@cret@db.example/still".to_owned());
        let settings = Settings::resolve(&named, DATABASE).unwrap();
        assert_eq!(settings.database_shown(), "postgres://me@db.example/still");
        assert_eq!(settings.sqlite_file(), None);
    }
}
