//! What the suites of this crate share.

#![allow(dead_code, reason = "each suite uses its part")]

use exchange::{NamedFile, ReadOptions, Reading, read_files};
use kernel::{Currency, DecimalMark};

pub fn options() -> ReadOptions {
    ReadOptions::new(Currency::GBP)
}

pub fn comma() -> ReadOptions {
    ReadOptions { decimal: DecimalMark::Comma, ..options() }
}

/// Reads sheets given as name and text.
pub fn read(sheets: &[(&str, &str)], options: &ReadOptions) -> Reading {
    let files: Vec<NamedFile<'_>> =
        sheets.iter().map(|(name, text)| NamedFile { name, bytes: text.as_bytes() }).collect();
    read_files(&files, options)
}

/// Everything that is told, problems first, warnings marked.
pub fn told(reading: &Reading) -> Vec<String> {
    let mut lines: Vec<String> = reading.problems.iter().map(ToString::to_string).collect();
    if reading.more_problems > 0 {
        lines.push(format!("and {} more", reading.more_problems));
    }
    lines.extend(reading.warnings.iter().map(|warning| format!("warning: {warning}")));
    lines
}

/// Reads sheets and compares everything that is told.
#[track_caller]
pub fn check(sheets: &[(&str, &str)], expected: &[&str]) -> Reading {
    check_with(&options(), sheets, expected)
}

#[track_caller]
pub fn check_with(options: &ReadOptions, sheets: &[(&str, &str)], expected: &[&str]) -> Reading {
    let reading = read(sheets, options);
    assert_eq!(told(&reading), expected);
    reading
}
