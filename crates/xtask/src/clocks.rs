//! "Today" is always an input: the pure crates read no clock, no file, no setting and start no thread.
//!
//! The libraries they may not reach are in [`crate::layers`]; this looks for what the standard library and chrono
//! offer in their sources.

use crate::layers::PURE;
use crate::tokens::{Token, lines_with, tokens};
use crate::workspace::{Workspace, read};

/// Runs of words that read a clock or touch the world outside.
const OUTSIDE: &[&[&str]] = &[
    &["Utc", ":", ":", "now"],
    &["Local", ":", ":", "now"],
    &["chrono", ":", ":", "Local"],
    &["SystemTime"],
    &["Instant", ":", ":", "now"],
    &["std", ":", ":", "env"],
    &["std", ":", ":", "fs"],
    &["std", ":", ":", "net"],
    &["std", ":", ":", "process"],
    &["std", ":", ":", "thread"],
    &["now_v7"],
];

/// The places that may: ids carry the time they were made (RFC 9562), which no rule or figure reads; and a benchmark takes the time of
/// the engine and of others beside it.
const EXEMPT: &[&str] = &["crates/kernel/src/ids.rs", "crates/engine/benches/columnar.rs"];

/// Looks through the pure crates' sources; the error lists every place.
pub fn check(workspace: &Workspace) -> Result<String, String> {
    let mut problems = Vec::new();
    for name in PURE {
        for path in workspace.rust_files(name)? {
            let shown = workspace.shown(&path);
            if !EXEMPT.contains(&shown.as_str()) {
                problems.extend(
                    outside(&tokens(&read(&path)?)).into_iter().map(|place| format!("{shown}:{place}")),
                );
            }
        }
    }
    if problems.is_empty() {
        Ok(format!("arrows point the right way; {} read no clock, file or setting", PURE.join(", ")))
    } else {
        Err(format!("{} places\n      {}", problems.len(), problems.join("\n      ")))
    }
}

fn outside(tokens: &[Token]) -> Vec<String> {
    let mut places = Vec::new();
    for words in OUTSIDE {
        for line in lines_with(tokens, words) {
            places.push(format!("{line}: `{}` in a crate that is to be pure", words.concat()));
        }
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_is_found_and_a_date_is_not() {
        let found =
            outside(&tokens("use chrono::NaiveDate;\nlet a = Utc::now();\nuse std::time::SystemTime;"));
        assert_eq!(
            found,
            ["2: `Utc::now` in a crate that is to be pure", "3: `SystemTime` in a crate that is to be pure"]
        );
        assert_eq!(outside(&tokens("fn f(today: NaiveDate, at: DateTime<Utc>) {}")), Vec::<String>::new());
    }

    #[test]
    fn this_workspace_passes() {
        let workspace = Workspace::load().unwrap();
        assert_eq!(check(&workspace).err(), None);
    }
}
