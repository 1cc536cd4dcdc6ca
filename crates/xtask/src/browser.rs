//! What the browser suite needs beside the toolchain: a Chromium, and the accessibility rules, which `npm` fetches into `target/` by
//! a lock file that names their checksum and no address.

use crate::report::Verdict;
use crate::workspace::{Workspace, read};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The setting that names a browser, or says `skip`; the tests read it too.
pub const SETTING: &str = "STILLROOM_TEST_BROWSER";
/// The setting that names the rules; the tests read it too.
pub const RULES_SETTING: &str = "STILLROOM_TEST_AXE";

/// Where a Chromium is looked for.
const USUAL: [&str; 3] = ["/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome"];

/// What the suite will use.
#[derive(Debug, PartialEq, Eq)]
pub enum Found {
    /// Everything.
    Ready {
        /// The browser.
        program: PathBuf,
        /// The accessibility rules.
        rules: PathBuf,
    },
    /// Not everything, for this reason.
    None(String),
}

impl Found {
    /// What the tests are told: where the browser and the rules are, or `skip`.
    pub fn settings(&self) -> [(&'static str, PathBuf); 2] {
        match self {
            Self::Ready { program, rules } => [(SETTING, program.clone()), (RULES_SETTING, rules.clone())],
            Self::None(_) => [(SETTING, "skip".into()), (RULES_SETTING, "skip".into())],
        }
    }

    /// What is said of it before the suites run.
    pub fn verdict(&self, required: bool) -> Verdict {
        match self {
            Self::Ready { program, .. } => Verdict::Passed(format!("{} and the rules", program.display())),
            Self::None(reason) if required => {
                Verdict::Failed(format!("the browser suite is required and cannot run: {reason}"))
            }
            Self::None(reason) => {
                println!("{}", skipped(reason));
                Verdict::Skipped("the browser suite".to_owned())
            }
        }
    }
}

/// What is said where the suite is left out.
pub fn skipped(reason: &str) -> String {
    format!(
        "SKIPPED: browser suite. No page was looked at in a browser.\n  {reason}\n\
         Debian's packages chromium and npm are what it takes; {SETTING} names another browser."
    )
}

/// Looks for both, and fetches the rules where they are not there yet.
pub fn find(workspace: &Workspace) -> Found {
    let named = std::env::var(SETTING).unwrap_or_default();
    let program = match named.as_str() {
        "skip" => return Found::None(format!("{SETTING} says so")),
        "" => USUAL.map(PathBuf::from).into_iter().find(|path| path.exists()),
        named => Some(PathBuf::from(named)).filter(|path| path.exists()),
    };
    let Some(program) = program else {
        let at = if named.is_empty() { USUAL.join(", ") } else { named };
        return Found::None(format!("there is no browser at {at}"));
    };
    match rules(workspace) {
        Ok(rules) => Found::Ready { program, rules },
        Err(reason) => Found::None(reason),
    }
}

fn rules(workspace: &Workspace) -> Result<PathBuf, String> {
    let from = workspace.root.join("tests/axe");
    let folder = workspace.target.join("axe");
    let rules = folder.join("node_modules/axe-core/axe.min.js");
    let lock = read(&from.join("package-lock.json"))?;
    let kept = fs::read_to_string(folder.join("package-lock.json")).unwrap_or_default();
    if rules.exists() && kept == lock {
        return Ok(rules);
    }
    fs::create_dir_all(&folder).map_err(|fault| format!("{}: {fault}", folder.display()))?;
    for name in ["package.json", "package-lock.json"] {
        copy(&from.join(name), &folder.join(name))?;
    }
    println!("    fetching the accessibility rules");
    let fetched = Command::new("npm")
        .args(["ci", "--ignore-scripts", "--no-audit", "--no-fund", "--omit-lockfile-registry-resolved=true"])
        .current_dir(&folder)
        .stdin(Stdio::null())
        .output()
        .map_err(|fault| format!("npm cannot be run: {fault}"))?;
    if fetched.status.success() && rules.exists() {
        return Ok(rules);
    }
    // The next run fetches anew instead of taking this for done.
    let _ = fs::remove_file(folder.join("package-lock.json"));
    let said = String::from_utf8_lossy(&fetched.stderr);
    Err(format!(
        "npm could not fetch the accessibility rules: {}",
        said.lines().last().unwrap_or("no word why")
    ))
}

fn copy(from: &Path, to: &Path) -> Result<(), String> {
    fs::copy(from, to).map(|_| ()).map_err(|fault| format!("{}: {fault}", to.display()))
}

/// Says what the suite would use, fetching what is to be fetched; false when it cannot run.
pub fn alone() -> Result<bool, String> {
    let workspace = Workspace::load()?;
    let mut report = crate::report::Report::default();
    Ok(report.verdict("browser", || find(&workspace).verdict(true)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missing_browser_fails_only_where_it_is_required() {
        let none = Found::None("there is no browser at /nowhere".to_owned());
        assert!(matches!(none.verdict(true), Verdict::Failed(_)));
        assert!(matches!(none.verdict(false), Verdict::Skipped(_)));
        assert_eq!(none.settings()[0], (SETTING, PathBuf::from("skip")));
        assert!(skipped("why").starts_with("SKIPPED: browser suite"));
        let ready = Found::Ready { program: "/b".into(), rules: "/r".into() };
        assert!(matches!(ready.verdict(true), Verdict::Passed(_)));
        assert_eq!(ready.settings()[1], (RULES_SETTING, PathBuf::from("/r")));
    }
}
