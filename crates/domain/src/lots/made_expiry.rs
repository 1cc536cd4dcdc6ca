//! How long what was made lasts: its own shelf life, and never beyond an ingredient that bounds it.

use chrono::NaiveDate;

use crate::dates::Span;

/// The expiry date of what was made on a day: the end of its formula's shelf life, or the earliest expiry among the ingredients that
/// bound it, whichever is earlier. Ingredients that do not bound it, as most do not (common practice, no source), are not given here.
/// `None` when nothing limits it.
pub fn made_expiry(
    made_on: NaiveDate,
    shelf_life: Option<Span>,
    bounding: impl IntoIterator<Item = NaiveDate>,
) -> Option<NaiveDate> {
    let by_formula = shelf_life.and_then(|life| life.after(made_on));
    bounding.into_iter().chain(by_formula).min()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dates::parse_date;

    #[test]
    fn the_earlier_counts() {
        let day = |text: &str| parse_date(text).unwrap();
        let expiry = |life: Option<Span>, bounding: &[&str]| {
            made_expiry(day("2026-02-10"), life, bounding.iter().map(|text| day(text)))
        };
        let two_years = Some(Span::Months(24));
        assert_eq!(expiry(two_years, &[]), Some(day("2028-02-10")));
        assert_eq!(expiry(two_years, &["2029-01-01", "2027-05-31"]), Some(day("2027-05-31")));
        assert_eq!(expiry(two_years, &["2029-01-01"]), Some(day("2028-02-10")));
        assert_eq!(expiry(None, &["2027-05-31"]), Some(day("2027-05-31")));
        assert_eq!(expiry(None, &[]), None);
    }
}
