//! Finding the binary, and running a command to its end.

use serde_json::Value;
use std::{
    env,
    path::{Path, PathBuf},
    process::{Command, Output, Stdio},
    sync::OnceLock,
};

/// The binary.
pub fn path() -> &'static Path {
    static PATH: OnceLock<PathBuf> = OnceLock::new();
    PATH.get_or_init(|| match env::var_os("STILLROOM_BIN") {
        Some(named) => PathBuf::from(named),
        None => build(),
    })
}

/// Builds the binary beside the tests.
fn build() -> PathBuf {
    let cargo = env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let status = Command::new(cargo)
        .args(["build", "--quiet", "--package", "server", "--bin", "stillroom"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .status()
        .expect("cargo can be run");
    assert!(status.success(), "the binary could not be built");
    // Tests stand in target/debug/deps, the binary in target/debug.
    let test = env::current_exe().expect("a test knows where it is");
    let folder = test.parent().and_then(Path::parent).expect("tests stand two folders deep");
    folder.join(format!("stillroom{}", env::consts::EXE_SUFFIX))
}

/// A command that sees none of the settings of whoever runs the tests.
pub fn command(database: &str) -> Command {
    let mut command = Command::new(path());
    for (name, _) in env::vars_os() {
        if name.to_str().is_some_and(|name| name.starts_with("STILLROOM_")) {
            command.env_remove(name);
        }
    }
    command.env("STILLROOM_DATABASE", database).env("USER", "tester").stdin(Stdio::null());
    command
}

/// How a command ended.
#[derive(Debug)]
pub struct Ended {
    /// The exit code.
    pub code: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

impl Ended {
    fn of(output: &Output) -> Self {
        Self {
            code: output.status.code().unwrap_or(-1),
            out: String::from_utf8_lossy(&output.stdout).into_owned(),
            err: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }

    /// This, when it ended with that exit code.
    #[track_caller]
    pub fn code(self, code: i32) -> Self {
        assert_eq!(self.code, code, "{self:#?}");
        self
    }

    /// Standard output as JSON.
    #[track_caller]
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{error}: {self:#?}"))
    }

    /// The last line of standard error as JSON: the error of a command that was asked for JSON.
    #[track_caller]
    pub fn error(&self) -> Value {
        let last = self.err.lines().last().unwrap_or_default();
        serde_json::from_str(last).unwrap_or_else(|error| panic!("{error}: {self:#?}"))
    }
}

/// Runs a command on a database to its end.
pub fn run<'a>(database: &str, words: impl IntoIterator<Item = &'a str>) -> Ended {
    run_in(database, &[], words)
}

/// The same with settings by environment.
pub fn run_in<'a>(
    database: &str,
    settings: &[(&str, &str)],
    words: impl IntoIterator<Item = &'a str>,
) -> Ended {
    let mut command = command(database);
    command.env("STILLROOM_LOG", "warn").envs(settings.iter().copied()).args(words);
    Ended::of(&command.output().expect("the binary can be run"))
}
