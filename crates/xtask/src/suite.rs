//! The one command that runs everything a change has to pass.

use crate::binary;
use crate::browser;
use crate::postgres::{self, Found};
use crate::report::{Report, Verdict};
use crate::tally::Tally;
use crate::workspace::{Workspace, cargo};
use crate::{clocks, floats, layers, schema};
use std::io::{BufRead, BufReader, Write};
use std::process::Stdio;

const RULE: &str = "------------------------------------------------------------------------------";

/// Runs it all; false when something failed.
pub fn run(require_postgres: bool, require_browser: bool) -> Result<bool, String> {
    let workspace = Workspace::load()?;
    let mut report = Report::default();

    let database = postgres::find();
    report.verdict("postgresql", || announce(&database, require_postgres));
    let looked_at = browser::find(&workspace);
    report.verdict("browser", || looked_at.verdict(require_browser));
    report.step("layers", || layers::check(&workspace));
    report.step("clocks", || clocks::check(&workspace));
    report.step("floats", || floats::check(&workspace));
    let mut tally = Tally::default();
    if report.step("build", || binary::build_all(&workspace)) {
        report.step("schema", || schema::check_with(&workspace, &binary::path(&workspace)));
        report.step("tests", || test(&workspace, &database, &looked_at, &mut tally));
    } else {
        report.step("tests", || Err("not run: the build failed".to_owned()));
    }

    let holds = report.close();
    if let Found::None(reasons) = &database {
        println!("\n{}", skipped(reasons));
    }
    if let browser::Found::None(reason) = &looked_at {
        println!("\n{}", browser::skipped(reason));
    }
    // The line a program can read: the sum over all suites.
    println!("\ntests: {} passed, {} failed, {} skipped", tally.passed, tally.failed, tally.ignored);
    Ok(holds)
}

/// Says which database [`run`] would use; false when there is none.
pub fn postgres_alone() -> bool {
    let database = postgres::find();
    let mut report = Report::default();
    report.verdict("postgresql", || announce(&database, true))
}

fn announce(database: &Found, required: bool) -> Verdict {
    match database {
        Found::Named(_) => Verdict::Passed(format!("the database {} names", postgres::SETTING)),
        Found::Listening(address) => Verdict::Passed(format!("a server listens here: {address}")),
        Found::Started(server) => Verdict::Passed(format!("started for this run: {}", server.address)),
        Found::None(reasons) if required => {
            Verdict::Failed(format!("PostgreSQL is required, and there is none: {}", reasons.join("; ")))
        }
        Found::None(reasons) => {
            println!("{}", skipped(reasons));
            Verdict::Skipped("the PostgreSQL suites".to_owned())
        }
    }
}

fn skipped(reasons: &[String]) -> String {
    format!(
        "{RULE}\nSKIPPED: PostgreSQL suites. Everything was tested on SQLite only.\n  {}\n\
         Start a server, or name one: {}=postgres://user@host:port/database\n{RULE}",
        reasons.join("\n  "),
        postgres::SETTING
    )
}

/// Runs every suite, passing its output on as it comes and counting.
fn test(
    workspace: &Workspace,
    database: &Found,
    looked_at: &browser::Found,
    tally: &mut Tally,
) -> Result<String, String> {
    let mut command = binary::without_settings(cargo());
    command
        .args(["test", "--workspace", "--no-fail-fast"])
        .current_dir(&workspace.root)
        .env(postgres::SETTING, database.setting())
        .envs(looked_at.settings())
        // The binary the build step has just made: the black-box suites need not build it again.
        .env("STILLROOM_BIN", binary::path(workspace))
        .stdin(Stdio::null())
        .stdout(Stdio::piped());
    let mut child = command.spawn().map_err(|fault| format!("cargo test: {fault}"))?;
    let out = child.stdout.take().ok_or("cargo test: no output")?;
    let mut screen = std::io::stdout();
    for line in BufReader::new(out).split(b'\n') {
        let line = line.map_err(|fault| format!("cargo test: {fault}"))?;
        let line = String::from_utf8_lossy(&line);
        tally.read(&line);
        writeln!(screen, "{line}").map_err(|fault| format!("cargo test: {fault}"))?;
    }
    let status = child.wait().map_err(|fault| format!("cargo test: {fault}"))?;
    judge(*tally, status.success())
}

fn judge(tally: Tally, ended_well: bool) -> Result<String, String> {
    let counted = format!("{} tests of {} suites passed", tally.passed, tally.suites);
    if tally.failed > 0 {
        Err(format!("{} failed ({counted})", tally.failed))
    } else if !ended_well {
        Err(format!("cargo test ended badly ({counted})"))
    } else if tally.ignored > 0 {
        Err(format!("{} switched off, which the house does not do ({counted})", tally.ignored))
    } else if tally.passed == 0 {
        Err("no test ran".to_owned())
    } else {
        Ok(counted)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_run_holds_only_when_tests_ran_and_none_failed_or_was_switched_off() {
        let good = Tally { passed: 12, failed: 0, ignored: 0, suites: 3 };
        assert_eq!(judge(good, true), Ok("12 tests of 3 suites passed".to_owned()));
        assert!(judge(Tally { failed: 1, ..good }, false).is_err());
        assert!(judge(good, false).is_err());
        assert!(judge(Tally { ignored: 1, ..good }, true).is_err());
        assert!(judge(Tally::default(), true).is_err());
    }

    #[test]
    fn a_missing_database_fails_only_where_it_is_required() {
        let none = Found::None(vec!["no server".to_owned()]);
        assert!(matches!(announce(&none, true), Verdict::Failed(_)));
        assert!(matches!(announce(&none, false), Verdict::Skipped(_)));
        assert_eq!(none.setting(), "skip");
        assert!(skipped(&["no server".to_owned()]).contains("SKIPPED: PostgreSQL suites"));
    }
}
