//! Sheets in: the demo maker's own, as a user would edit them.

use black_box::{run, run_in};
use serde_json::Value;
use std::{fs, path::PathBuf};
use tempfile::TempDir;
use testkit::{db::TestDatabase, on_both_databases};

on_both_databases!(
    twice_changes_nothing,
    bad_input_is_told_and_changes_nothing,
    an_unusual_price_is_asked_about
);

/// The demo's sheets in a folder of their own.
struct Sheets {
    folder: TempDir,
}

impl Sheets {
    fn written() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let sheets = Self { folder };
        run_in(
            "sqlite://unused.db",
            &[("STILLROOM_TODAY", "2026-11-25")],
            ["demo", "--write-sheets", sheets.path()],
        )
        .code(0);
        sheets
    }

    fn path(&self) -> &str {
        self.folder.path().to_str().unwrap()
    }

    fn file(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Replaces a text that stands in a sheet.
    fn edit(&self, name: &str, from: &str, to: &str) {
        let path = self.file(name);
        let text = fs::read_to_string(&path).unwrap();
        assert!(text.contains(from), "{name} no longer holds {from}");
        fs::write(path, text.replacen(from, to, 1)).unwrap();
    }

    fn add(&self, name: &str, row: &str) {
        let path = self.file(name);
        let text = fs::read_to_string(&path).unwrap();
        fs::write(path, format!("{text}{row}\n")).unwrap();
    }
}

fn counts(answer: &Value, field: &str) -> u64 {
    answer["counts"].as_array().unwrap().iter().map(|count| count[field].as_u64().unwrap()).sum()
}

const TODAY: [(&str, &str); 1] = [("STILLROOM_TODAY", "2026-11-25")];

async fn twice_changes_nothing(database: &TestDatabase) {
    let sheets = Sheets::written();
    let checked =
        run_in(database.url(), &TODAY, ["--json", "import", "--dry-run", sheets.path()]).code(0).json();
    assert_eq!((checked["dry_run"].as_bool(), checked["changed"].as_bool()), (Some(true), Some(false)));
    let first = run_in(database.url(), &TODAY, ["--json", "import", sheets.path()]).code(0).json();
    assert_eq!(first["changed"], true);
    assert_eq!(counts(&first, "created"), counts(&checked, "created"));
    assert!(counts(&first, "created") > 300, "{first}");

    let version = || {
        let sheet = run_in(database.url(), &TODAY, ["--json", "cost", "--pack", "HW-500"]).code(0).json();
        sheet["catalogue_version"].as_i64().unwrap()
    };
    let (shelf, before) = (run_in(database.url(), &TODAY, ["--json", "shelf"]).code(0).out, version());
    let again = run_in(database.url(), &TODAY, ["--json", "import", sheets.path()]).code(0).json();
    assert_eq!(again["changed"], false);
    assert_eq!((counts(&again, "created"), counts(&again, "updated")), (0, 0));
    assert_eq!(counts(&again, "unchanged"), counts(&first, "created"));
    assert_eq!(run_in(database.url(), &TODAY, ["--json", "shelf"]).code(0).out, shelf);
    assert_eq!(version(), before);
    run(database.url(), ["ledger", "verify"]).code(0);
}

/// Something wrong with the sheets, and what the message has to name.
struct Bad {
    what: &'static str,
    spoil: fn(&Sheets),
    places: &'static [&'static str],
}

const BAD: &[Bad] = &[
    Bad {
        what: "an unknown heading",
        spoil: |s| s.edit("materials.csv", "code,name,kind", "code,name,sort"),
        places: &["materials.csv", "sort"],
    },
    Bad {
        what: "an unknown unit",
        spoil: |s| s.edit("lots.csv", "CARNAU,25 lb", "CARNAU,25 sacks"),
        places: &["lots.csv, row 11", "quantity", "sacks"],
    },
    Bad {
        what: "an unknown currency",
        spoil: |s| s.edit("suppliers.csv", "DE,EUR", "DE,QQQ"),
        places: &["suppliers.csv, row 2", "currency", "QQQ"],
    },
    Bad {
        what: "an unknown code",
        spoil: |s| s.edit("formula-lines.csv", "A,CITRIC,50 %", "A,CITRUS,50 %"),
        places: &["formula-lines.csv, row 3", "CITRUS"],
    },
    Bad {
        what: "a density of 13",
        spoil: |s| s.edit("materials.csv", "68891-38-3; 7732-18-5,1.060", "68891-38-3; 7732-18-5,13"),
        places: &["materials.csv, row 3", "density"],
    },
    Bad {
        what: "a negative amount",
        spoil: |s| s.edit("lots.csv", "SLES70,60 kg", "SLES70,-60 kg"),
        places: &["lots.csv, row 6", "quantity"],
    },
    Bad {
        what: "more than a hundred percent",
        spoil: |s| s.edit("formula-lines.csv", "CITRIC,50 %", "CITRIC,150 %"),
        places: &["formula-lines.csv, row 3", "amount"],
    },
    Bad {
        what: "a formula that contains itself",
        spoil: |s| s.edit("formula-lines.csv", "A,NABENZ,0.5 %", "A,PM-XAN,0.5 %"),
        places: &["PM-XAN", "PM-CIT"],
    },
    Bad {
        what: "two q.s. lines",
        spoil: |s| s.edit("formula-lines.csv", "A,DYEBLU,0.5 %", "A,DYEBLU,q.s."),
        places: &["formula-lines.csv", "q.s."],
    },
    Bad {
        what: "a lot number used twice",
        spoil: |s| s.add("lots.csv", "L-2606-003,SLES70,10 kg,20,,WEX,X,2026-06-11,,,,,released,,,,"),
        places: &["lots.csv, row 114", "row 6"],
    },
    Bad {
        what: "an expiry before the receipt",
        spoil: |s| s.add("lots.csv", "L-X,SLES70,10 kg,20,,WEX,X,2026-06-11,,2026-06-10,,,released,,,,"),
        places: &["lots.csv", "expiry"],
    },
    Bad {
        what: "a 29 February that does not exist",
        spoil: |s| s.add("lots.csv", "L-X,SLES70,10 kg,20,,WEX,X,2026-06-11,,2027-02-29,,,released,,,,"),
        places: &["lots.csv", "expiry", "2027-02-29"],
    },
    Bad {
        what: "a figure of 200 digits",
        spoil: |s| {
            s.add(
                "lots.csv",
                &format!("L-X,SLES70,{} kg,20,,WEX,X,2026-06-11,,,,,released,,,,", "9".repeat(200)),
            );
        },
        places: &["lots.csv", "quantity"],
    },
    Bad {
        what: "a decimal comma where a point was agreed",
        spoil: |s| s.edit("lots.csv", ",8.4100,", ",\"8,4100\","),
        places: &["lots.csv, row 2", "unit cost"],
    },
    Bad {
        what: "a text file that calls itself a workbook",
        spoil: |s| fs::write(s.file("more.xlsx"), "this is no workbook").unwrap(),
        places: &["more.xlsx"],
    },
    Bad {
        what: "a workbook that was cut off",
        spoil: |s| fs::write(s.file("more.xlsx"), b"PK\x03\x04\x14\x00\x00\x00\x08\x00half").unwrap(),
        places: &["more.xlsx"],
    },
    Bad {
        what: "more rows than are read",
        spoil: |s| {
            let row = "EUR,GBP,0.85,2020-01-01,x\n";
            fs::write(
                s.file("exchange-rates.csv"),
                format!("from,to,rate,date,source\n{}", row.repeat(200_001)),
            )
            .unwrap();
        },
        places: &["exchange-rates.csv", "200"],
    },
];

async fn bad_input_is_told_and_changes_nothing(database: &TestDatabase) {
    for bad in BAD {
        let sheets = Sheets::written();
        (bad.spoil)(&sheets);
        let told = run_in(database.url(), &TODAY, ["import", sheets.path()]);
        assert_eq!(told.code, 2, "{}: {told:#?}", bad.what);
        for place in bad.places {
            assert!(told.err.contains(place), "{}: no {place} in\n{}", bad.what, told.err);
        }
        assert!(!told.err.contains("panicked"), "{}: {}", bad.what, told.err);
        let shelf = run_in(database.url(), &TODAY, ["--json", "shelf"]).code(0).json();
        assert_eq!(shelf["materials"].as_array().unwrap().len(), 0, "{}", bad.what);
    }
    // Nothing of all that has stayed: the sound sheets go in as if they were the first.
    let sheets = Sheets::written();
    let checked = run_in(database.url(), &TODAY, ["--json", "import", sheets.path()]).code(0).json();
    assert_eq!((counts(&checked, "updated"), counts(&checked, "unchanged")), (0, 0));
}

#[tokio::test]
async fn all_problems_are_told_in_one_go() {
    let database = TestDatabase::sqlite().await;
    let sheets = Sheets::written();
    sheets.edit("suppliers.csv", "DE,EUR", "DE,QQQ");
    sheets.edit("lots.csv", "CARNAU,25 lb", "CARNAU,25 sacks");
    sheets.edit("formula-lines.csv", "A,CITRIC,50 %", "A,CITRUS,50 %");
    let told = run(database.url(), ["--json", "import", sheets.path()]).code(2).error();
    assert_eq!(told["error"]["code"], "INVALID_INPUT");
    let places: Vec<String> = told["error"]["problems"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| p["place"].as_str().unwrap().to_owned())
        .collect();
    for file in ["suppliers.csv", "lots.csv", "formula-lines.csv"] {
        assert!(places.iter().any(|place| place.starts_with(file)), "{file} in {places:?}");
    }
}

#[tokio::test]
async fn a_single_file_can_be_told_what_it_is() {
    let database = TestDatabase::sqlite().await;
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("fournisseurs.csv");
    fs::write(&file, "code;name;currency\nA;Alpha;EUR\n").unwrap();
    let path = file.to_str().unwrap();
    run(database.url(), ["import", path, "--sheet", "suppliers"]).code(0);
    run(database.url(), ["import", "no/such/place"]).code(2);
}

/// A price a hundred times the last one is asked about; when it is meant it can be taken in all the same.
async fn an_unusual_price_is_asked_about(database: &TestDatabase) {
    let sheets = Sheets::written();
    run_in(database.url(), &TODAY, ["import", sheets.path()]).code(0);
    sheets.add("quotations.csv", "EB-2611-99,ELB,CAPB30,120 kg,1040,kg,,,,2026-11-20,,,,,,,,,,,,");
    let told = run_in(database.url(), &TODAY, ["import", sheets.path()]).code(2);
    assert!(
        told.err.contains("quotations.csv, row 120") && told.err.contains("1040 EUR per kg"),
        "{}",
        told.err
    );
    let what_if = ["what-if", "--price", "quotation EB-2611-99 +1%"];
    assert!(run_in(database.url(), &TODAY, what_if).code(2).err.contains("there is no quotation"));
    run_in(database.url(), &TODAY, ["import", "--accept-unusual-prices", sheets.path()]).code(0);
    run_in(database.url(), &TODAY, what_if).code(0);
}
