//! Moving dates: the story was told for one day and is shown on another.

use chrono::NaiveDate;
use domain::dates::{MonthMeans, parse_date, parse_date_or_month};

use crate::{clock::moved_by, failure::Failure};

/// The day the sheets and the story were told for.
pub const ANCHOR: &str = "2026-11-25";

/// What a month written alone means under a heading; `None` for a heading that holds no dates.
fn date_heading(heading: &str) -> Option<MonthMeans> {
    match heading {
        "expiry" | "retest" => Some(MonthMeans::LastDay),
        "made"
        | "received"
        | "opened"
        | "valid from"
        | "valid until"
        | "date"
        | "density measured on"
        | "approved on" => Some(MonthMeans::FirstDay),
        _ => None,
    }
}

/// How many days lie between the day the story was told for and another.
///
/// # Errors
/// [`Failure::Fault`] when the anchor itself is damaged.
pub fn days_to(day: NaiveDate) -> Result<i64, Failure> {
    let anchor = parse_date(ANCHOR).map_err(|error| Failure::Fault(error.to_string()))?;
    Ok((day - anchor).num_days())
}

/// A sheet with its dates moved. A month written alone becomes the day it means, moved; nothing changes when nothing is moved.
///
/// # Errors
/// [`Failure::Fault`] for a sheet that cannot be read.
pub fn sheet(text: &str, days: i64) -> Result<String, Failure> {
    if days == 0 {
        return Ok(text.to_owned());
    }
    let damaged =
        |error: &dyn std::fmt::Display| Failure::Fault(format!("a sheet of the demo is damaged: {error}"));
    let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
    let mut writer = csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
    let mut headings: Option<Vec<Option<MonthMeans>>> = None;
    for record in reader.records() {
        let record = record.map_err(|error| damaged(&error))?;
        let Some(headings) = &headings else {
            headings = Some(record.iter().map(date_heading).collect());
            writer.write_record(&record).map_err(|error| damaged(&error))?;
            continue;
        };
        let cells = record.iter().zip(headings.iter().chain(std::iter::repeat(&None)));
        let moved: Vec<String> = cells
            .map(|(cell, means)| match means {
                Some(means) if !cell.trim().is_empty() => parse_date_or_month(cell, *means)
                    .map(|date| moved_by(date, days).to_string())
                    .map_err(|error| damaged(&error)),
                _ => Ok(cell.to_owned()),
            })
            .collect::<Result<_, _>>()?;
        writer.write_record(&moved).map_err(|error| damaged(&error))?;
    }
    let bytes = writer.into_inner().map_err(|error| damaged(&error))?;
    String::from_utf8(bytes).map_err(|error| damaged(&error))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_move_and_months_become_the_days_they_mean() {
        let sheet_text = "lot,made,expiry,note\nL-1,2026-02,2028-02,\"2026-02, see\"\nL-2,2026-01-31,,\n";
        assert_eq!(
            sheet(sheet_text, 1).unwrap(),
            "lot,made,expiry,note\nL-1,2026-02-02,2028-03-01,\"2026-02, see\"\nL-2,2026-02-01,,\n"
        );
        assert_eq!(sheet(sheet_text, 0).unwrap(), sheet_text);
    }

    #[test]
    fn a_damaged_date_is_a_fault() {
        assert!(sheet("made\nsoon\n", 3).is_err());
    }

    #[test]
    fn days_are_counted_from_the_anchor() {
        assert_eq!(days_to(parse_date("2026-11-25").unwrap()).unwrap(), 0);
        assert_eq!(days_to(parse_date("2027-11-25").unwrap()).unwrap(), 365);
        assert_eq!(days_to(parse_date("2026-11-24").unwrap()).unwrap(), -1);
    }
}
