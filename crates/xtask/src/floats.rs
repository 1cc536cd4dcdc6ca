//! No floating point where amounts are handled: a quantity, a price or a percent never passes through a double.

use crate::tokens::{Token, tokens};
use crate::workspace::{Workspace, read};

/// The crates that handle amounts.
const EXACT: &[&str] = &["kernel", "domain", "engine", "store", "migrations", "app", "exchange"];

/// Files that may name a floating-point type, each with its reason. A file that no longer needs its line loses it.
const EXEMPT: &[(&str, &str)] = &[
    (
        "crates/exchange/src/cells.rs",
        "a worksheet holds its numbers as doubles: here each becomes the decimal it stands for, or is refused",
    ),
    ("crates/exchange/tests/xlsx.rs", "the test writes worksheets, whose numbers are doubles"),
];

/// Looks through the sources; the error lists every place.
pub fn check(workspace: &Workspace) -> Result<String, String> {
    let mut problems = Vec::new();
    let mut used = Vec::new();
    let mut files = 0_usize;
    for name in EXACT {
        for path in workspace.rust_files(name)? {
            files += 1;
            let shown = workspace.shown(&path);
            let all = tokens(&read(&path)?);
            let found = floats_in(&all);
            if EXEMPT.iter().any(|(file, _)| *file == shown) {
                if !found.is_empty() {
                    used.push(shown);
                }
                continue;
            }
            problems.extend(found.iter().map(|token| format!("{shown}:{}: `{}`", token.line, token.text)));
        }
    }
    for (file, reason) in EXEMPT {
        if !used.iter().any(|shown| shown == file) {
            problems.push(format!("{file}: needs its exemption (\"{reason}\") no longer"));
        }
    }
    if problems.is_empty() {
        Ok(format!("{files} files of {} without floating point, {} exempt", EXACT.join(", "), EXEMPT.len()))
    } else {
        Err(format!("{} places\n      {}", problems.len(), problems.join("\n      ")))
    }
}

fn floats_in(tokens: &[Token]) -> Vec<&Token> {
    tokens.iter().filter(|token| is_float(&token.text)).collect()
}

/// Whether a word is a floating-point type, a function that makes or takes one (`to_f64`), or a number of that kind.
fn is_float(word: &str) -> bool {
    let named =
        ["f16", "f32", "f64", "f128"].iter().any(|kind| word == *kind || word.ends_with(&format!("_{kind}")));
    // Asking whether a JSON number is a double is how one is refused.
    if named && word != "is_f64" {
        return true;
    }
    let mut signs = word.chars();
    if !signs.next().is_some_and(|first| first.is_ascii_digit()) || word.starts_with("0x") {
        return false;
    }
    let digits = word.trim_start_matches(|sign: char| sign.is_ascii_digit() || sign == '_');
    let mut rest = digits.chars();
    match rest.next() {
        Some('e' | 'E') => rest.next().is_some_and(|next| next.is_ascii_digit() || matches!(next, '+' | '-')),
        Some('.' | 'f') => true,
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check_words(source: &str, expected: &[&str]) {
        let all = tokens(source);
        let found: Vec<&str> = floats_in(&all).into_iter().map(|token| token.text.as_str()).collect();
        assert_eq!(found, expected, "in {source}");
    }

    #[test]
    fn types_functions_and_numbers_are_found() {
        check_words("fn price(kg: f64) -> f32 { kg as f32 }", &["f64", "f32", "f32"]);
        check_words("decimal.to_f64(); Decimal::from_f64(0.1)", &["to_f64", "from_f64", "0.1"]);
        check_words(
            "let a = 1e5; let b = 2.; let c = 3f64; let d = 1_000.5_f32;",
            &["1e5", "2.", "3f64", "1_000.5_f32"],
        );
    }

    #[test]
    fn what_only_looks_like_one_is_left_alone() {
        check_words("let a = 0x1f64; let b = 7usize; let c = pair.0.1; 0..10", &[]);
        check_words("// 0.5 f64\nlet a = \"0.5\"; /* 1e5 */ let half_f = 1;", &[]);
        check_words("if number.is_f64() { refuse() }", &[]);
    }

    #[test]
    fn this_workspace_passes() {
        let workspace = Workspace::load().unwrap();
        assert_eq!(check(&workspace).err(), None);
    }
}
