//! Building the workspace and running the `stillroom` binary the checks look at.

use crate::workspace::{Workspace, cargo};
use std::path::{Path, PathBuf};
use std::process::Command;

/// Builds our binaries and every test in one go, so that both share one set of compiled dependencies.
pub fn build_all(workspace: &Workspace) -> Result<String, String> {
    let mut command = Command::new(cargo());
    command.args(["build", "--workspace", "--bins", "--tests"]).current_dir(&workspace.root);
    let status = command.status().map_err(|fault| format!("cargo build: {fault}"))?;
    if !status.success() {
        return Err(format!("cargo build: {status}"));
    }
    let built = path(workspace);
    if built.is_file() {
        Ok(workspace.shown(&built))
    } else {
        Err(format!("{} is not there", built.display()))
    }
}

/// Where [`build_all`] leaves the binary.
pub fn path(workspace: &Workspace) -> PathBuf {
    workspace.target.join("debug").join(format!("stillroom{}", std::env::consts::EXE_SUFFIX))
}

/// A command that sees none of the settings of whoever runs the checks.
pub fn without_settings(program: impl AsRef<std::ffi::OsStr>) -> Command {
    let mut command = Command::new(program);
    for (name, _) in std::env::vars_os() {
        if name.to_str().is_some_and(|name| name.starts_with("STILLROOM_")) {
            command.env_remove(name);
        }
    }
    command
}

/// Runs the binary to its end and gives what it printed.
pub fn output_of(binary: &Path, words: &[&str]) -> Result<String, String> {
    let shown = format!("stillroom {}", words.join(" "));
    let output =
        without_settings(binary).args(words).output().map_err(|fault| format!("{shown}: {fault}"))?;
    text_of(&shown, &output)
}

/// What a finished command printed, or what it complained of.
pub fn text_of(shown: &str, output: &std::process::Output) -> Result<String, String> {
    if output.status.success() {
        String::from_utf8(output.stdout.clone()).map_err(|fault| format!("{shown}: {fault}"))
    } else {
        let complaint = String::from_utf8_lossy(&output.stderr);
        Err(format!("{shown}: {}: {}", output.status, complaint.trim()))
    }
}
