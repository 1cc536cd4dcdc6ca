//! The demo: loaded once, shown, and told for whatever day it is.

use black_box::{binary, run, run_in};
use rust_decimal::Decimal;
use serde_json::Value;
use std::{process::Stdio, thread, time::Duration};
use testkit::{db::TestDatabase, on_both_databases};

on_both_databases!(shows_what_a_bottle_costs, is_loaded_once, a_load_that_was_broken_off_is_taken_up_again);

fn decimal(value: &Value) -> Decimal {
    value.as_str().unwrap_or_else(|| panic!("{value} is no decimal string")).parse().unwrap()
}

async fn shows_what_a_bottle_costs(database: &TestDatabase) {
    let shown = run(database.url(), ["demo", "--check"]).code(0).out;
    for part in [
        "HW-500 Hand wash, verbena, 500 mL pump",
        "one unit",
        "one litre of the liquid",
        "one kg of the liquid",
        "quotation EB-2611-02 of Ellerbrunn Tensidwerk: 1.04 EUR per 1 kg",
        "made here: version 1 of formula PM-XAN",
        "% of the price",
    ] {
        assert!(shown.contains(part), "{part}:\n{shown}");
    }

    let sheet = run(database.url(), ["--json", "cost", "--pack", "HW-500"]).code(0).json();
    assert_eq!(sheet["complete"], true);
    let lines = sheet["lines"].as_array().unwrap();
    let sum = |field: &str| lines.iter().map(|line| decimal(&line[field])).sum::<Decimal>();
    assert_eq!(sum("value_per_unit"), decimal(&sheet["totals"]["per_unit"]));
    assert_eq!(sum("value"), decimal(&sheet["totals"]["per_batch"]));
    assert_eq!(sum("share_percent"), Decimal::from(100));
    assert!(lines.iter().all(|line| !line["source"].as_str().unwrap().is_empty()));

    run(database.url(), ["ledger", "verify"]).code(0);
}

async fn is_loaded_once(database: &TestDatabase) {
    run(database.url(), ["demo", "--check"]).code(0);
    let before = run(database.url(), ["--json", "shelf"]).code(0).out;
    run(database.url(), ["demo", "--check"]).code(0);
    assert_eq!(run(database.url(), ["--json", "shelf"]).code(0).out, before);
}

/// A database that died in the middle of a load is finished by the next one, with every event happening once.
async fn a_load_that_was_broken_off_is_taken_up_again(database: &TestDatabase) {
    for pause in [60, 120, 180, 240] {
        let mut load = binary::command(database.url())
            .args(["demo", "--check"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        thread::sleep(Duration::from_millis(pause));
        load.kill().unwrap();
        load.wait().unwrap();
    }
    run(database.url(), ["demo", "--check"]).code(0);
    run(database.url(), ["ledger", "verify"]).code(0);
    let broken_off = run(database.url(), ["--json", "shelf"]).code(0).json();

    let whole = TestDatabase::sqlite().await;
    run(whole.url(), ["demo", "--check"]).code(0);
    assert_eq!(run(whole.url(), ["--json", "shelf"]).code(0).json(), broken_off);
}

/// Whatever the day, the story fits: the same checks, the same stock, other dates.
#[tokio::test]
async fn is_told_for_any_day() {
    let mut stock: Option<Vec<(String, String)>> = None;
    for today in ["2026-11-25", "2026-11-26", "2028-02-29", "2031-07-14"] {
        let database = TestDatabase::sqlite().await;
        let settings = [("STILLROOM_TODAY", today)];
        run_in(database.url(), &settings, ["demo", "--check"]).code(0);
        run_in(database.url(), &settings, ["ledger", "verify"]).code(0);
        let shelf = run_in(database.url(), &settings, ["--json", "shelf"]).code(0).json();
        assert_eq!(shelf["on"], today);
        let on_hand: Vec<(String, String)> = shelf["materials"]
            .as_array()
            .unwrap()
            .iter()
            .map(|material| (material["code"].to_string(), material["on_hand"]["amount"].to_string()))
            .collect();
        assert!(on_hand.len() > 40);
        assert_eq!(stock.get_or_insert_with(|| on_hand.clone()), &on_hand, "{today}");
    }
}

#[tokio::test]
async fn wants_a_database_of_its_own() {
    let database = TestDatabase::sqlite().await;
    let folder = tempfile::tempdir().unwrap();
    let sheets = folder.path().join("sheets");
    run(database.url(), ["demo", "--write-sheets", sheets.to_str().unwrap()]).code(0);
    run(database.url(), ["import", sheets.to_str().unwrap()]).code(0);
    let refused = run(database.url(), ["demo", "--check"]).code(2);
    assert!(refused.err.contains("holds something else already"), "{}", refused.err);
}
