//! What a sheet says, as shares, or what is wrong with it.

use domain::materials::{UseLevel, UseLevelKind};
use std::fmt::Write as _;

use super::fixtures::{House, density, measured, percent, shown, today};
use crate::{View, explode::use_level_breaches, normalise::normalise};
use kernel::Exact;

/// Shares in percent to six places, notes and gaps; or the error.
pub fn check_house(house: &House, expected: &str) {
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    let version = view.version(house.version_id("F")).unwrap().1;
    let found = match normalise(&view, version) {
        Err(error) => error.to_string(),
        Ok(normalised) => {
            let shares = normalised.lines.iter().map(|line| match &line.share {
                Some(share) => shown(&(share * &Exact::whole(100)), 6)
                    .trim_end_matches('0')
                    .trim_end_matches('.')
                    .to_owned(),
                None => "?".to_owned(),
            });
            let mut text = shares.collect::<Vec<_>>().join(" ");
            for note in &normalised.notes {
                write!(text, " | note: {note}").unwrap();
            }
            for gap in &normalised.gaps {
                write!(text, " | gap: {gap}").unwrap();
            }
            if normalised.is_complete() {
                let total: Exact = normalised.lines.iter().map(|line| line.share.clone().unwrap()).sum();
                assert_eq!(total, Exact::ONE);
            }
            text
        }
    };
    assert_eq!(found, expected);
}

pub fn check(written: &str, lines: &[&str], expected: &str) {
    let mut house = House::new();
    house.formula("F", written, lines);
    check_house(&house, expected);
}

#[test]
fn written_in_percent() {
    check("percent", &["A 40 %", "B 60 %"], "40 60");
    check("percent", &["W q.s.", "A 0.0005 %", "B 12 %"], "87.9995 0.0005 12");
    check("percent", &["W q.s.", "ACID 0 %", "B 100 %"], "0 0 100");
    check("percent", &["A 30 %", "B 40 %", "A 30 %"], "30 40 30");
    let wrong = "version 1 of formula F: its lines add up to ";
    let so = " % w/w instead of 100 %; correct a line or make one q.s.";
    check("percent", &["A 40 %", "B 59.999999999 %"], &format!("{wrong}99.999999999{so}"));
    check("percent", &["A 48 %", "B 60 %"], &format!("{wrong}108{so}"));
    check("percent", &[], "version 1 of formula F: its lines add up to nothing");
    check("percent", &["A 0 %"], "version 1 of formula F: its lines add up to nothing");
    check(
        "percent",
        &["W q.s.", "A 60 %", "B 42.5 %"],
        "version 1 of formula F: its lines exceed the total by 2.5 % w/w",
    );
    check(
        "percent",
        &["W q.s.", "A 60 %", "O q.s."],
        "version 1 of formula F: lines 1, 3 are all q.s.; only one line can take the rest",
    );
    check(
        "percent",
        &["W q.s.", "A 60 g"],
        "version 1 of formula F: line 2: a mass or volume cannot stand in a formula written in percent",
    );
    check(
        "percent",
        &["A 101 %", "B -1 %"],
        "version 1 of formula F: line 2: an amount must not be below nought",
    );
}

#[test]
fn bench_sheets_in_grams() {
    check("1000 g", &["A 400 g", "B 600 g"], "40 60");
    check(
        "1000 g",
        &["A 398.8 g", "B 598.2 g"],
        "40 60 | note: version 1 of formula F: lines add up to 997 g against nominal 1000 g; rescaled",
    );
    // The shaving cream that grew to 108 %: a preservative of 1.00 % is 0.925926 % after rescaling.
    check(
        "1000 g",
        &["A 1070 g", "PRESERVATIVE 10 g"],
        "99.074074 0.925926 | note: version 1 of formula F: lines add up to 1080 g against nominal 1000 g; rescaled",
    );
    check("1000 g", &["W q.s.", "A 250 g", "B 5 %"], "70 25 5");
    check("1 kg", &["W q.s.", "A 1.2 kg"], "version 1 of formula F: its lines exceed the total by 200 g");
    check("1000 g", &["W q.s.", "A 50 mL"], "? ? | gap: A (a) has no density, which line 2 by volume needs");
    check("1000 g", &["W q.s.", "A 0 mL"], "100 0");
    let mut house = House::new();
    house.material("A").density = Some(density("1.2"));
    house.formula("F", "1000 g", &["W q.s.", "A 50 mL"]);
    check_house(&house, "94 6");
}

#[test]
fn by_volume() {
    let lines = ["W q.s.", "A 2 L"];
    check(
        "10 L",
        &lines,
        "? ? | gap: A (a) has no density, which line 2 by volume needs | \
         gap: version 1 of formula F has no density, which a formula by volume needs",
    );
    let mut house = House::new();
    house.formula("F", "10 L", &lines);
    house.material("A").density = Some(density("0.8"));
    house.version("F").density = measured("1");
    check_house(&house, "84 16");
    // The density entered for what the formula makes serves when none was measured, and that is said.
    house.version("F").density = None;
    house.material("F").density = Some(density("1"));
    check_house(
        &house,
        "84 16 | note: formula F has no measured density; the density entered for F (f) was used",
    );
    // Nothing takes the rest: the lines make the whole whatever the density.
    check("10 L", &["W 3 kg", "A 1 kg"], "75 25");
}

#[test]
fn active_matter() {
    check(
        "percent",
        &["W q.s.", "A 10 % active"],
        "? ? | gap: A (a) stands by active matter, and its strength is not known",
    );
    check("percent", &["W q.s.", "A 0 % active"], "100 0");
    let mut house = House::new();
    house.material("A").active_matter = Some(percent("70"));
    // Equal active matter: 12 % of a 70 % grade is 30 % of a 28 % grade.
    house.formula("F", "percent", &["W q.s.", "A 8.4 % active"]);
    check_house(&house, "88 12");
    house.material("A").active_matter = Some(percent("28"));
    check_house(&house, "70 30");
    house.material("A").active_matter = Some(percent("8"));
    check_house(&house, "version 1 of formula F: its lines exceed the total by 5 % w/w");
    house.material("A").active_matter = Some(percent("0"));
    check_house(&house, "? ? | gap: A (a) stands by active matter, and its strength is not known");
    check(
        "1 L",
        &["A 5 mL active"],
        "version 1 of formula F: line 1: active matter is weighed, not measured by volume",
    );
    check(
        "percent",
        &["A q.s. active"],
        "version 1 of formula F: line 1: q.s. is of the material as supplied, not of its active matter",
    );
}

/// The limit of phenoxyethanol, 1.0 % (Regulation (EC) 1223/2009, Annex V, from memory), is broken by two blends that both hold it.
#[test]
fn use_levels_are_summed_through_blends() {
    let mut house = House::new();
    house.material("PHENOXYETHANOL").use_level =
        Some(UseLevel { from: None, to: Some(percent("1")), kind: UseLevelKind::Legal });
    house.material("SALT").use_level =
        Some(UseLevel { from: Some(percent("2")), to: None, kind: UseLevelKind::Recommended });
    house.material("ACID").use_level =
        Some(UseLevel { from: Some(percent("0.1")), to: None, kind: UseLevelKind::Recommended });
    house.formula("BLEND-A", "percent", &["PHENOXYETHANOL 60 %", "OIL 40 %"]).process_loss = percent("10");
    house.formula("BLEND-B", "percent", &["PHENOXYETHANOL 50 %", "GLYCOL 50 %"]);
    house.formula("F", "percent", &["W q.s.", "BLEND-A 1 %", "BLEND-B 0.9 %", "SALT 1.5 %", "ACID 0 %"]);
    house.version("F").lines[3].use_level_to = Some(percent("1.2"));
    house.version("F").lines[2].use_level_to = Some(percent("0.8"));
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    let version = view.version(house.version_id("F")).unwrap().1;
    let breaches: Vec<_> = use_level_breaches(&view, version, today())
        .unwrap()
        .into_iter()
        .map(|b| {
            (
                b.material.code,
                shown(&(b.found * Exact::whole(100)), 3),
                b.limit,
                b.is_most,
                b.kind,
                b.from_line,
            )
        })
        .collect();
    let (legal, recommended) = (UseLevelKind::Legal, UseLevelKind::Recommended);
    assert_eq!(
        breaches,
        [
            // 0.6 + 0.45: losses while making a blend do not strengthen it.
            ("PHENOXYETHANOL".to_owned(), "1.050".to_owned(), percent("1"), true, legal, false),
            ("SALT".to_owned(), "1.500".to_owned(), percent("2"), false, recommended, false),
            ("SALT".to_owned(), "1.500".to_owned(), percent("1.2"), true, recommended, true),
            ("BLEND-B".to_owned(), "0.900".to_owned(), percent("0.8"), true, recommended, true),
        ]
    );
}
