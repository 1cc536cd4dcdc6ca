//! `schema.graphql` in the repository is what the binary prints today.

use crate::binary::{output_of, text_of, without_settings};
use crate::workspace::{Workspace, cargo, read};
use std::fs;
use std::path::{Path, PathBuf};

fn kept(workspace: &Workspace) -> PathBuf {
    workspace.root.join("schema.graphql")
}

/// Builds what is needed to print the schema, and prints it.
fn printed_by_cargo(workspace: &Workspace) -> Result<String, String> {
    let words = ["run", "--quiet", "--package", "server", "--bin", "stillroom", "--", "schema"];
    let mut command = without_settings(cargo());
    let output = command.args(words).current_dir(&workspace.root).output();
    text_of("cargo run -p server -- schema", &output.map_err(|fault| format!("cargo run: {fault}"))?)
}

/// Compares after building.
pub fn check_with_cargo(workspace: &Workspace) -> Result<String, String> {
    compare(&read(&kept(workspace))?, &printed_by_cargo(workspace)?)
}

/// Compares with a binary that is already built.
pub fn check_with(workspace: &Workspace, binary: &Path) -> Result<String, String> {
    compare(&read(&kept(workspace))?, &output_of(binary, &["schema"])?)
}

/// Writes the file anew.
pub fn write_with_cargo(workspace: &Workspace) -> Result<String, String> {
    let printed = printed_by_cargo(workspace)?;
    let path = kept(workspace);
    if fs::read_to_string(&path).is_ok_and(|kept| kept == printed) {
        return Ok("schema.graphql was fresh already".to_owned());
    }
    fs::write(&path, &printed).map_err(|fault| format!("{}: {fault}", path.display()))?;
    Ok(format!("schema.graphql written, {} lines", printed.lines().count()))
}

fn compare(kept: &str, printed: &str) -> Result<String, String> {
    if kept == printed {
        return Ok(format!("schema.graphql is fresh, {} lines", kept.lines().count()));
    }
    let mut kept_lines = kept.lines();
    let mut printed_lines = printed.lines();
    let mut line = 0_usize;
    loop {
        line += 1;
        let (old, new) = (kept_lines.next(), printed_lines.next());
        if old != new || old.is_none() {
            return Err(format!(
                "schema.graphql is stale from line {line} on; `cargo xtask schema --write` mends it\n      \
                 in the file:   {}\n      binary prints: {}",
                old.unwrap_or("(end)"),
                new.unwrap_or("(end)")
            ));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_line_that_differs_is_named() {
        assert!(compare("a\nb\n", "a\nb\n").is_ok());
        let said = compare("a\nb\n", "a\nc\n").unwrap_err();
        assert!(said.contains("from line 2 on") && said.contains("in the file:   b"), "{said}");
        let said = compare("a\n", "a\nb\n").unwrap_err();
        assert!(said.contains("line 2") && said.contains("in the file:   (end)"), "{said}");
        assert!(compare("a\n", "a").is_err());
    }
}
