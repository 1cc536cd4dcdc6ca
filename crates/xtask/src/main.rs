//! The repository's own checks, run as `cargo xtask NAME`.
//!
//! They look at the workspace from outside: which crate may use which, where floating point or a clock may not stand,
//! whether `schema.graphql` is fresh, whether the files under `deploy/` agree with the binary; and `test` is the one
//! command that runs everything a change has to pass.

use std::process::ExitCode;

mod binary;
mod browser;
mod clocks;
mod container;
mod deploy;
mod floats;
mod layers;
mod postgres;
mod report;
mod schema;
mod settings;
mod suite;
mod tally;
mod tokens;
mod trial;
mod workspace;

use report::Report;
use workspace::Workspace;

const USAGE: &str = "\
cargo xtask NAME

  test [--require-all]       everything a change has to pass: layers, floats, build, schema, all test suites.
                             PostgreSQL suites run where a server is reachable or can be started, the browser
                             suite where there is a Chromium; what is skipped is said at the start and at the
                             end (--require-all: that is a failure; --require-postgres: only a missing server)
  layers                     arrows between our crates point the right way, and the pure ones stay pure
  floats                     no floating point where amounts are handled
  schema [--write]           schema.graphql is what the binary prints (--write: make it so)
  postgres                   which PostgreSQL database `test` would use
  browser                    which browser `test` would use; fetches the accessibility rules it needs
  deploy-check               the files under deploy/ agree with the binary and with the tools found here

Settings of `test`, `postgres` and `browser`:
  STILLROOM_TEST_POSTGRES    address of a PostgreSQL database the tests may use, or `skip`
  STILLROOM_TEST_BROWSER     a Chromium the tests may use, or `skip`";

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let done = match words.as_slice() {
        ["test"] => suite::run(false, false),
        ["test", "--require-postgres"] => suite::run(true, false),
        ["test", "--require-all"] => suite::run(true, true),
        ["layers"] => single("layers", |workspace| {
            layers::check(workspace)?;
            clocks::check(workspace)
        }),
        ["floats"] => single("floats", floats::check),
        ["schema"] => single("schema", schema::check_with_cargo),
        ["schema", "--write"] => single("schema", schema::write_with_cargo),
        ["postgres"] => Ok(suite::postgres_alone()),
        ["browser"] => browser::alone(),
        ["deploy-check"] => deploy::run(),
        [] | ["help" | "--help" | "-h"] => {
            println!("{USAGE}");
            return ExitCode::SUCCESS;
        }
        _ => {
            eprintln!("cargo xtask does not know `{}`\n\n{USAGE}", words.join(" "));
            return ExitCode::from(2);
        }
    };
    match done {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(fault) => {
            eprintln!("{fault}");
            ExitCode::FAILURE
        }
    }
}

/// Runs one check by itself and prints its verdict.
fn single(name: &str, check: impl FnOnce(&Workspace) -> Result<String, String>) -> Result<bool, String> {
    let workspace = Workspace::load()?;
    let mut report = Report::default();
    report.step(name, || check(&workspace));
    Ok(report.holds())
}
