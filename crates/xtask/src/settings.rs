//! Settings by environment: what the binary's help names, and what the sample settings file explains.

use std::collections::{BTreeMap, BTreeSet};

/// How every setting's name begins.
const PREFIX: &str = "STILLROOM_";

/// Settings of the tests, which are no business of an installation.
const TEST_PREFIX: &str = "STILLROOM_TEST_";

/// Every setting named in a text.
pub fn named_in(text: &str) -> BTreeSet<String> {
    text.match_indices(PREFIX)
        .filter_map(|(at, _)| {
            let rest = text.get(at..)?;
            let end =
                rest.find(|sign: char| !(sign.is_ascii_uppercase() || sign.is_ascii_digit() || sign == '_'));
            rest.get(..end.unwrap_or(rest.len()))
        })
        .filter(|name| *name != PREFIX && !name.starts_with(TEST_PREFIX))
        .map(|name| name.trim_end_matches('_').to_owned())
        .collect()
}

/// The commands a help text lists under `Commands:`.
pub fn commands_in(help: &str) -> Vec<String> {
    help.lines()
        .skip_while(|line| line.trim() != "Commands:")
        .skip(1)
        .take_while(|line| line.is_empty() || line.starts_with(' '))
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|name| *name != "help")
        .map(str::to_owned)
        .collect()
}

/// A settings file as a service manager reads it: one `NAME=value` a line, `#` before a remark. A remark of the
/// form `#NAME=value` is a setting shown but left at its default.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Sample {
    /// Settings with a value.
    pub set: BTreeMap<String, String>,
    /// Settings shown but left at their default.
    pub shown: BTreeMap<String, String>,
    /// What is wrong with the file, by line.
    pub problems: Vec<String>,
}

impl Sample {
    /// Reads the text of a file.
    pub fn read(text: &str) -> Self {
        let mut sample = Self::default();
        let mut explained = false;
        for (at, line) in text.lines().enumerate() {
            let number = at + 1;
            let (off, rest) = line.strip_prefix('#').map_or((false, line), |rest| (true, rest));
            match rest.split_once('=').filter(|(name, _)| is_name(name)) {
                Some((name, value)) => {
                    if !explained {
                        sample
                            .problems
                            .push(format!("line {number}: {name} has no explaining remark above it"));
                    }
                    if value.contains(['"', '\'', ' ']) && !off {
                        sample.problems.push(format!(
                            "line {number}: {name}: quotes and spaces are read differently by different readers"
                        ));
                    }
                    if sample.names().contains(name) {
                        sample.problems.push(format!("line {number}: {name} stands twice"));
                    }
                    let list = if off { &mut sample.shown } else { &mut sample.set };
                    list.insert(name.to_owned(), value.to_owned());
                    explained = false;
                }
                None if off => explained = true,
                None if line.trim().is_empty() => explained = false,
                None => {
                    sample.problems.push(format!("line {number}: neither a setting nor a remark: {line}"));
                }
            }
        }
        sample
    }

    /// The names of all settings in the file.
    pub fn names(&self) -> BTreeSet<String> {
        self.set.keys().chain(self.shown.keys()).cloned().collect()
    }
}

fn is_name(word: &str) -> bool {
    word.starts_with(|sign: char| sign.is_ascii_uppercase())
        && word.chars().all(|sign| sign.is_ascii_uppercase() || sign.is_ascii_digit() || sign == '_')
}

#[cfg(test)]
mod tests {
    use super::*;

    const HELP: &str = "\
Stock and costing for a stillroom.

Usage: stillroom [OPTIONS] <COMMAND>

Commands:
  serve    Answer questions over HTTP
  ledger   Look after the stock ledger
           and its balances

  what-if  Ask what a change would do
  help     Print this message

Options:
      --database <URL>  Where things are kept [env: STILLROOM_DATABASE=] [default: sqlite://stillroom.db]
      --log <LEVEL>     [env: STILLROOM_LOG=debug]; text or JSON by STILLROOM_LOG_FORMAT
";

    #[test]
    fn help_names_its_commands_and_settings() {
        assert_eq!(commands_in(HELP), ["serve", "ledger", "what-if"]);
        assert_eq!(commands_in("Usage: stillroom"), Vec::<String>::new());
        let names: Vec<String> = named_in(HELP).into_iter().collect();
        assert_eq!(names, ["STILLROOM_DATABASE", "STILLROOM_LOG", "STILLROOM_LOG_FORMAT"]);
        assert!(named_in("STILLROOM_TEST_POSTGRES, STILLROOM_* and STILLROOM_").is_empty());
    }

    #[test]
    fn a_sample_file_tells_set_from_shown() {
        let sample = Sample::read("# Settings.\n\n# Where.\nA_B=x=y\n\n# How.\n# More.\n#C=text\n");
        assert_eq!(sample.problems, Vec::<String>::new());
        assert_eq!(sample.set.get("A_B").map(String::as_str), Some("x=y"));
        assert_eq!(sample.shown.get("C").map(String::as_str), Some("text"));
    }

    #[test]
    fn a_sample_file_explains_each_setting_once() {
        let sample = Sample::read("A=1\n# Why.\nA=2\n# Why.\nB=\"x\"\nc = d\n");
        assert_eq!(
            sample.problems,
            [
                "line 1: A has no explaining remark above it",
                "line 3: A stands twice",
                "line 5: B: quotes and spaces are read differently by different readers",
                "line 6: neither a setting nor a remark: c = d",
            ]
        );
    }
}
