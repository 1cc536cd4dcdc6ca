//! Down through intermediates, and round in circles.

use domain::formulas::VersionStatus;
use kernel::{Exact, limits::NESTING_LEVELS_MAX};

use super::fixtures::{House, day, kg, percent, today};
use crate::{
    EngineError, View,
    explode::{Making, explode, loop_through, making},
};

fn explode_f(house: &House) -> Result<crate::explode::Exploded, EngineError> {
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    explode(&view, view.version(house.version_id("F")).unwrap().1, today())
}

/// Losses are weighed, not part of the liquid: 10 % of a premix that loses 20 % takes 12.5 % of what goes into it.
#[test]
fn process_loss_is_weighed_but_not_contained() {
    let mut house = House::new();
    let premix = house.formula("PREMIX", "percent", &["GUM 2 %", "WATER 98 %"]);
    premix.process_loss = percent("20");
    premix.heel = kg("1");
    let version = house.formula("F", "percent", &["WATER q.s.", "PREMIX 10 %"]);
    version.process_loss = percent("50");
    let exploded = explode_f(&house).unwrap();
    let gum = exploded.get(house.id("GUM")).unwrap();
    assert_eq!(gum.composition, percent("0.2").fraction());
    assert_eq!(gum.per_kg_charged, percent("0.25").fraction());
    assert_eq!(gum.per_kg_good, percent("0.5").fraction());
    assert!(gum.through_intermediates);
    let water = exploded.get(house.id("WATER")).unwrap();
    assert_eq!(water.composition, percent("99.8").fraction());
    assert_eq!(water.per_kg_charged, percent("102.25").fraction());
    assert_eq!(exploded.intermediates, [house.id("PREMIX")]);
}

#[test]
fn a_formula_that_contains_itself_is_named_with_its_way_round() {
    let mut house = House::new();
    house.formula("F", "percent", &["W q.s.", "A 10 %"]);
    house.formula("A", "percent", &["W q.s.", "B 10 %"]);
    house.formula("B", "percent", &["W q.s.", "A 10 %"]);
    let error = explode_f(&house).unwrap_err();
    assert_eq!(error.to_string(), "A contains itself: A → B → A");

    let mut house = House::new();
    house.formula("F", "percent", &["W q.s.", "F 10 %"]);
    assert_eq!(explode_f(&house).unwrap_err().to_string(), "F contains itself: F → F");
}

#[test]
fn loops_are_found_before_they_are_written() {
    let mut house = House::new();
    house.formula("A", "percent", &["W q.s.", "B 10 %"]);
    house.formula("B", "percent", &["W q.s.", "C 10 %"]);
    house.formula("C", "percent", &["W q.s.", "D 10 %"]);
    let check = |house: &House, makes: &str, of: &str, expected: Option<&str>| {
        let catalogue = house.catalogue();
        let view = View::plain(&catalogue);
        let lines = &view.version(house.version_id(of)).unwrap().1.lines;
        let path = loop_through(&catalogue, house.id(makes), lines).map(|path| path.join(" → "));
        assert_eq!(path.as_deref(), expected);
    };
    check(&house, "D", "A", Some("D → B → C → D"));
    check(&house, "B", "A", Some("B → B"));
    check(&house, "A", "A", None);
    // A draft counts, for it may be approved; a retired version does not.
    house.version("B").status = VersionStatus::Draft;
    check(&house, "D", "A", Some("D → B → C → D"));
    house.version("B").status = VersionStatus::Retired;
    check(&house, "D", "A", None);
}

#[test]
fn nesting_has_a_bottom() {
    let nested = |levels: usize| {
        let mut house = House::new();
        house.formula("F", "percent", &["L1 100 %"]);
        for level in 1..=levels {
            house.formula(&format!("L{level}"), "percent", &[&format!("L{} 100 %", level + 1)]);
        }
        explode_f(&house)
    };
    assert_eq!(nested(NESTING_LEVELS_MAX).unwrap().levels, NESTING_LEVELS_MAX);
    let error = nested(NESTING_LEVELS_MAX + 1).unwrap_err();
    assert!(matches!(error, EngineError::TooDeep { .. }), "{error}");
    assert!(error.to_string().starts_with("intermediates are nested more than 16 deep: F → L1 → L2"));
}

/// Each level holds the next twice: taken apart line by line this would be two to the sixteenth walks.
#[test]
fn shared_intermediates_are_taken_apart_once() {
    let mut house = House::new();
    house.formula("F", "percent", &["L1 50 %", "L1 50 %"]);
    for level in 1..NESTING_LEVELS_MAX {
        let next = format!("L{}", level + 1);
        house.formula(&format!("L{level}"), "percent", &[&format!("{next} 50 %"), &format!("{next} 50 %")]);
    }
    let exploded = explode_f(&house).unwrap();
    assert_eq!(exploded.materials.len(), 1);
    assert_eq!(exploded.materials[0].composition, Exact::ONE);
}

#[test]
fn which_version_makes_an_intermediate() {
    let mut house = House::new();
    house.formula("P", "percent", &["W 100 %"]);
    house.formula("F", "percent", &["P 100 %"]);
    let how = |house: &House, on: &str| {
        let catalogue = house.catalogue();
        match making(&View::plain(&catalogue), house.id("P"), day(on)) {
            Making::Bought => "bought".to_owned(),
            Making::Made { version, .. } => format!("version {}", version.number),
            Making::NoApprovedVersion { .. } => "none approved".to_owned(),
        }
    };
    assert_eq!(how(&house, "2026-01-01"), "version 1");
    assert_eq!(how(&house, "2025-12-31"), "none approved");
    house.version("P").status = VersionStatus::Draft;
    assert_eq!(how(&house, "2026-01-01"), "none approved");
    let exploded = explode_f(&house).unwrap();
    assert_eq!(
        exploded.gaps[0].to_string(),
        "P (p) is made by formula P, which has no version approved by 2026-06-15"
    );
    assert_eq!(exploded.materials[0].composition, Exact::ONE, "it stands for itself");
    house.at_price("P", "3");
    assert_eq!(how(&house, "2026-01-01"), "bought");
}
