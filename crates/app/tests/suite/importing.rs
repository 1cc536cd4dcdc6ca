//! Sheets come in whole or not at all, and the same sheets twice change nothing.

use app::import::Tally;
use testkit::db::TestDatabase;

use crate::house::{self, House, problems};

testkit::on_both_databases!(
    the_same_sheets_twice_change_nothing,
    one_problem_and_nothing_is_written,
    what_is_fixed_cannot_be_changed_by_a_sheet,
    a_formula_cannot_contain_itself,
    a_draft_may_change_and_be_approved,
    a_price_a_hundred_times_the_last_is_asked_about,
    a_price_a_hundred_times_another_of_its_import_is_asked_about,
);

const LOTS: &str = "lot,material,quantity,unit cost,received,expiry,status\nL-1,SLES,100 kg,1.50,2026-11-01,2027-06,released\n";

fn with(name: &'static str, text: &str) -> Vec<(&'static str, String)> {
    let mut sheets = house::sheets();
    sheets.retain(|(file, _)| *file != name);
    sheets.push((name, text.to_owned()));
    sheets
}

async fn the_same_sheets_twice_change_nothing(database: &TestDatabase) {
    let house = House::open(database).await;
    let sheets = with("lots.csv", LOTS);
    let first = house.import(&sheets).await.unwrap();
    assert_eq!(first.materials, Tally { created: 7, updated: 0, unchanged: 0 });
    assert_eq!(first.versions.created, 3);
    assert_eq!(first.lots.created, 1);
    let version = house.app.catalogue(&house.actor).unwrap().version;
    let second = house.import(&sheets).await.unwrap();
    assert!(!second.changes_anything(), "{second:?}");
    assert_eq!(second.lots.unchanged, 1);
    assert_eq!(house.app.catalogue(&house.actor).unwrap().version, version);
    house.assert_sound().await;
}

async fn one_problem_and_nothing_is_written(database: &TestDatabase) {
    let house = House::open(database).await;
    let lines = house::LINES.replace("HW-1,1,3,SLES", "HW-1,1,3,SLED");
    let error = house.import(&with("formula-lines.csv", &lines)).await.unwrap_err();
    assert_eq!(
        problems(error),
        ["formula-lines.csv, row 6, material: there is no material with the code “SLED”"]
    );
    assert!(house.app.catalogue(&house.actor).unwrap().materials.is_empty());
}

async fn what_is_fixed_cannot_be_changed_by_a_sheet(database: &TestDatabase) {
    let house = House::open(database).await;
    house.import(&with("lots.csv", LOTS)).await.unwrap();
    let mut sheets = with("lots.csv", &LOTS.replace("100 kg", "120 kg"));
    for (name, text) in &mut sheets {
        match *name {
            "quotations.csv" => *text = text.replace("1.50,kg", "1.60,kg"),
            "formula-lines.csv" => *text = text.replace("HW-1,1,3,SLES,12 %", "HW-1,1,3,SLES,13 %"),
            _ => {}
        }
    }
    let found = problems(house.import(&sheets).await.unwrap_err());
    assert_eq!(found.len(), 3, "{found:?}");
    assert!(
        found[0].starts_with("quotations.csv, row 3, quotation: quotation O-1 stands here already"),
        "{found:?}"
    );
    assert!(
        found[1].starts_with("formulas.csv, row 3, version: version 1 of HW-1 is fixed here"),
        "{found:?}"
    );
    assert!(
        found[2].starts_with("lots.csv, row 2, lot: lot L-1 was received here with other figures"),
        "{found:?}"
    );
}

async fn a_formula_cannot_contain_itself(database: &TestDatabase) {
    let house = House::open(database).await;
    let materials = format!("{}OTHER,Other stock,intermediate,,,,,\n", house::MATERIALS);
    let formulas = format!(
        "{}PM-2,Other stock,1,approved,OTHER,percent,50 kg,,,,,A. Penhallow,2026-01-05\n",
        house::FORMULAS
    );
    let lines = format!(
        "{}PM-2,1,1,STOCK,50 %,\nPM-2,1,2,WAT,q.s.,\n",
        house::LINES.replace("PM-1,1,2,WAT,q.s.", "PM-1,1,2,OTHER,q.s.")
    );
    let mut sheets = with("formula-lines.csv", &lines);
    for (name, text) in &mut sheets {
        match *name {
            "materials.csv" => text.clone_from(&materials),
            "formulas.csv" => text.clone_from(&formulas),
            _ => {}
        }
    }
    let found = problems(house.import(&sheets).await.unwrap_err());
    assert!(
        found.iter().any(|p| p.contains("contains itself") && p.contains("STOCK") && p.contains("OTHER")),
        "{found:?}"
    );
}

async fn a_draft_may_change_and_be_approved(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let lines = house::LINES.replace("HW-1,2,3,PRES,1.2 %", "HW-1,2,3,PRES,0.9 %");
    let report = house.import(&with("formula-lines.csv", &lines)).await.unwrap();
    assert_eq!(report.versions, Tally { created: 0, updated: 1, unchanged: 2 });
    let formulas = house::FORMULAS.replace(
        "HW-1,Hand wash,2,draft,WASH,percent,100 kg,1.03,2 %,40.00,24 months,,",
        "HW-1,Hand wash,2,approved,WASH,percent,100 kg,1.03,2 %,40.00,24 months,A. Penhallow,2026-11-20",
    );
    let mut sheets = with("formula-lines.csv", &lines);
    for (name, text) in &mut sheets {
        if *name == "formulas.csv" {
            text.clone_from(&formulas);
        }
    }
    house.import(&sheets).await.unwrap();
    let catalogue = house.app.catalogue(&house.actor).unwrap();
    let formula = catalogue.formulas.by_code("hw-1").unwrap();
    assert_eq!(formula.approved_on(house.app.today()).unwrap().number, 2);
}

async fn a_price_a_hundred_times_the_last_is_asked_about(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let header = "quotation,supplier,material,pack,price,price per,valid from\n";
    let slip = |price: &str| {
        vec![("quotations.csv", format!("{header}O-9,OAK,SLES,100 kg,{price},kg,2026-11-01\n"))]
    };
    let found = problems(house.import(&slip("150.00")).await.unwrap_err());
    assert_eq!(
        found,
        [
            "quotations.csv, row 2, price: 150 GBP per kg against 1.5 in O-1; if that is meant, accept unusual prices"
        ]
    );
    assert_eq!(house.import(&slip("14.90")).await.unwrap().quotations.created, 1);
}

/// The first import of all has no last price to compare with; its own prices say as much.
async fn a_price_a_hundred_times_another_of_its_import_is_asked_about(database: &TestDatabase) {
    let house = House::open(database).await;
    let with = |rows: &str| {
        let mut sheets = house::sheets();
        let quotations = sheets.iter_mut().find(|(file, _)| *file == "quotations.csv").unwrap();
        quotations.1.push_str(rows);
        sheets
    };
    let found = problems(house.import(&with("O-8,OAK,SLES,25 kg,150.00,kg,2026-02-01\n")).await.unwrap_err());
    assert_eq!(
        found,
        [
            "quotations.csv, row 7, price: 150 GBP per kg against 1.5 in O-1; if that is meant, accept unusual prices"
        ]
    );
    // Within one quotation too; but not of another material, in another unit, nor below a hundredfold.
    let found = problems(
        house
            .import(&with("O-8,OAK,STOCK,1 kg,0.30,kg,2026-02-01\nO-8,OAK,STOCK,9 kg,30.00,kg,2026-02-01\n"))
            .await
            .unwrap_err(),
    );
    assert!(found[0].contains("against 30 in O-8"), "{found:?}");
    let fine = with("O-8,OAK,SLES,25 kg,149.00,kg,2026-02-01\nO-9,OAK,SLES,25 L,500.00,L,2026-02-01\n");
    assert_eq!(house.import(&fine).await.unwrap().quotations.created, 7);
}
