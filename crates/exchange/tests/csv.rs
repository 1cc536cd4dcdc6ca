//! CSV files as spreadsheets, editors and accidents leave them.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test may stop at the first surprise"
)]

mod common;

use common::{check, check_with, options, read, told};
use exchange::{NamedFile, ReadLimits, ReadOptions, SheetKind, read_files, read_path};
use proptest::prelude::*;
use std::fmt::Write as _;

#[track_caller]
fn check_bytes(name: &str, bytes: &[u8], expected: &[&str]) {
    let reading = read_files(&[NamedFile { name, bytes }], &options());
    assert_eq!(told(&reading), expected);
}

#[test]
fn delimiters_marks_and_endings() {
    for text in [
        "code,name,kind\nA,\"Alpha, pure\",bulk\n",
        "code;name;kind\r\nA;Alpha, pure;bulk\r\n",
        "code\tname\tkind\rA\tAlpha, pure\tbulk",
        "\u{feff}code,name,kind\nA,\"Alpha, pure\",bulk",
        "sep=;\ncode;name;kind\nA;Alpha, pure;bulk\n",
        "# our materials, as of June\n\n;;\nkind;code;name\nbulk;A;Alpha, pure\n;;\n# B;Beta;bulk\n\n",
        "code,name,kind,,\nA,\"Alpha, pure\",bulk,,scribble\n",
        "code,name,kind\nA,\"Alpha, pure\",bulk,,\n",
    ] {
        let reading = check(&[("materials.csv", text)], &[]);
        assert_eq!(reading.set.materials.len(), 1, "{text}");
        assert_eq!(reading.set.materials[0].name, "Alpha, pure", "{text}");
        assert_eq!(reading.sheets[0].rows, 1, "{text}");
    }
}

#[test]
fn rows_are_numbered_as_an_editor_shows_them() {
    check(
        &[(
            "materials.csv",
            "# remark\n\ncode,name,kind,note\n\nA,Alpha,bulk,\"two\nlines\"\n\n\nB,Beta,bulk\nC,Gamma,bulk,\"a \"\"quoted\"\" \
             word\"\nD,Delta,bulk,x,y\nE,Epsilon,bulks,\n",
        )],
        &[
            "materials.csv, row 9: the row beginning “B” has 3 cells, the heading row 4; quote cells that hold the \
             delimiter, and keep every comma",
            "materials.csv, row 11: the row beginning “D” has 5 cells, the heading row 4; quote cells that hold the \
             delimiter, and keep every comma",
            "materials.csv, row 12, kind: “bulks” is not one of raw material, packaging component, intermediate, bulk, \
             utility",
        ],
    );
}

#[test]
fn headings() {
    check(
        &[(
            "materials.csv",
            "Code *,NAME,density,Densty,density,colour,flash-point unit,name unit\nA,Alpha,1,1,1,red,°C,kg\n",
        )],
        &[
            "materials.csv, row 1, Densty: a sheet of materials has no such heading; did you mean “density”?",
            "materials.csv, row 1, density: the heading “density” stands twice",
            "materials.csv, row 1, colour: a sheet of materials has no such heading; it has code, name, kind, INCI name, \
             CAS number, density, active matter, use level from, use level to, use level kind, shelf life, period after \
             opening, minimum remaining life, inspection time, signal word, hazard statements, incompatible with, \
             caution group, flash point, safety data sheet, note",
            "materials.csv, row 1, name unit: a sheet of materials has no such heading",
            "materials.csv, row 1, kind: a sheet of materials needs this heading",
            "materials.csv, row 1, flash point unit: the heading “flash point” is missing",
        ],
    );
}

#[test]
fn a_sheet_is_known_by_its_name_or_by_what_is_stated_or_by_its_headings() {
    let text = "code,name,kind\nA,Alpha,bulk\n";
    for name in ["Materials.CSV", "m-a_t erials.csv", "anything.csv"] {
        assert_eq!(check(&[(name, text)], &[]).sheets[0].kind, SheetKind::Materials, "{name}");
    }
    let stated = ReadOptions { sheet: Some(SheetKind::Materials), ..options() };
    assert_eq!(check_with(&stated, &[("lots.csv", text)], &[]).set.materials.len(), 1);
    let unknown = "nothing tells what this sheet holds: name it materials, suppliers, quotations, exchange rates, \
         house rates, formulas, formula lines, making costs, packs, pack components or lots";
    // Both of these sheets could be it: the headings are not enough.
    check(
        &[("new.csv", "code,name,shade\nA,Alpha,red\n")],
        &[&format!("new.csv: {unknown}, or state its kind")],
    );
    check(&[("new.csv", text), ("suppliers.csv", "code,name,currency\n")], &[&format!("new.csv: {unknown}")]);
    check_with(
        &stated,
        &[("materials.csv", text), ("lots.csv", text)],
        &["all files: the kind of sheet can be stated for a single file only"],
    );
}

#[test]
fn files_that_are_not_what_their_names_say() {
    check_bytes("materials.csv", b"", &["materials.csv: is empty: it has no heading row"]);
    check_bytes(
        "materials.csv",
        b"PK\x03\x04rest",
        &["materials.csv: is not a CSV file: it looks like an XLSX workbook or another ZIP file"],
    );
    check_bytes(
        "materials.csv",
        b"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1",
        &["materials.csv: is not a CSV file: it looks like an old XLS workbook"],
    );
    check_bytes(
        "materials.csv",
        b"\xFF\xFEc\0o\0",
        &["materials.csv: is UTF-16 text; save it as CSV in UTF-8"],
    );
    check_bytes(
        "materials.csv",
        b"code,name,kind\nA,Cr\xE8me,bulk\n",
        &["materials.csv: byte 20 (line 2) is 0xE8, which is not UTF-8; save it as CSV in UTF-8"],
    );
    check_bytes(
        "materials.csv",
        b"code,name,kind\nA,\0,bulk\n",
        &["materials.csv: byte 18 (line 2) is NUL: this is not a text file"],
    );
    check_bytes(
        "materials.csv",
        b"code,name,kind\nA,\"Alpha,bulk\nB,Beta,bulk\n",
        &["materials.csv: a quotation mark opened in line 2 is never closed"],
    );
    check_bytes(
        "materials.csv",
        b"<html><body>Not found</body></html>",
        &[
            "materials.csv, row 1, <html><body>Not found</body></html>: a sheet of materials has no such heading; it has \
             code, name, kind, INCI name, CAS number, density, active matter, use level from, use level to, use level \
             kind, shelf life, period after opening, minimum remaining life, inspection time, signal word, hazard \
             statements, incompatible with, caution group, flash point, safety data sheet, note",
            "materials.csv, row 1, code: a sheet of materials needs this heading",
            "materials.csv, row 1, name: a sheet of materials needs this heading",
            "materials.csv, row 1, kind: a sheet of materials needs this heading",
        ],
    );
    let foreign = "is not a file that can be read; save it as XLSX or as CSV in UTF-8";
    check_bytes("materials.xls", b"", &[&format!("materials.xls: {foreign}")]);
    check_bytes("materials", b"", &[&format!("materials: {foreign}")]);
}

#[test]
fn cells_that_are_no_values() {
    check(
        &[(
            "materials.csv",
            &format!(
                "code,name,kind,density\nA,#N/A,bulk,#DIV/0!\n#REF!,Beta,bulk,\n{},\"Ga\tmma\",bulk,\n",
                "x".repeat(61)
            ),
        )],
        &[
            "materials.csv, row 2, name: the cell shows #N/A instead of a value",
            "materials.csv, row 2, density: the cell shows #DIV/0! instead of a value",
            "materials.csv, row 3, code: the cell shows #REF! instead of a value",
            "materials.csv, row 4, code: it has 61 characters; at most 60 are kept",
            "materials.csv, row 4, name: it holds a control character",
        ],
    );
}

#[test]
fn many_problems_are_counted_beyond_the_first_ones() {
    let mut text = "code,name,kind\n".to_owned();
    for row in 0..300 {
        writeln!(text, "M{row},Name,nonsense").unwrap();
    }
    let reading = read(&[("materials.csv", &text)], &options());
    assert_eq!((reading.problems.len(), reading.more_problems), (200, 100));
    assert!(!reading.is_sound());
    assert_eq!(reading.problems[199].place, "materials.csv, row 201, kind");
}

#[test]
fn too_much_is_refused() {
    let limits = ReadLimits { file_bytes: 100, rows: 2, columns: 4, ..ReadLimits::default() };
    let options = ReadOptions { limits, ..options() };
    check_with(
        &options,
        &[("materials.csv", "code,name,kind\nA,a,bulk\nB,b,bulk\nC,c,bulk\nD,d,bulk\n")],
        &["materials.csv: has more than 2 rows"],
    );
    check_with(
        &options,
        &[("materials.csv", "code,name,kind,note,density\n")],
        &["materials.csv: has more than 4 columns"],
    );
    check_with(&options, &[("materials.csv", &"x".repeat(101))], &["materials.csv: is larger than 0 MiB"]);
}

/// A maker's whole receipts of decades, in one sheet; the bound is loose because the machine may be busy.
#[test]
fn two_hundred_thousand_rows() {
    let mut text = "lot,material,quantity,unit cost,received,expiry,status,location,note\n".to_owned();
    for row in 0..200_000 {
        writeln!(text, "L{row},M{},12.5 kg,3.1400,2026-01-15,2027-06,released,Bay {},", row % 70, row % 9)
            .unwrap();
    }
    let started = std::time::Instant::now();
    let reading = check(&[("lots.csv", &text)], &[]);
    assert_eq!(reading.set.lots.len(), 200_000);
    assert!(started.elapsed().as_secs() < 120, "{:?}", started.elapsed());
    text.push_str("LAST,M,1 kg,,2026-01-15,,released,,\n");
    check(&[("lots.csv", &text)], &["lots.csv: has more than 200000 rows"]);
}

#[test]
fn folders_and_paths() {
    let folder = tempfile::tempdir().unwrap();
    let put = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    let told_of = |path: &std::path::Path| told(&read_path(path, &options()));
    let shown = folder.path().display().to_string();
    assert_eq!(told_of(folder.path()), [format!("{shown}: has no .csv or .xlsx file")]);
    put("suppliers.csv", "code,name,currency\nS,Sup,EUR\n");
    put("materials.csv", "code,name,kind\nA,Alpha,bulk\n");
    put("README.txt", "not a sheet");
    put(".~lock.materials.csv#", "a lock");
    put("#old materials.csv", "code,name,kind\nB,Beta,bulk\n");
    std::fs::create_dir(folder.path().join("older.csv")).unwrap();
    let reading = read_path(folder.path(), &options());
    assert_eq!(told(&reading), Vec::<String>::new());
    assert_eq!(
        reading.sheets.iter().map(|s| s.file.as_str()).collect::<Vec<_>>(),
        ["materials.csv", "suppliers.csv"]
    );
    put("lots.ods", "");
    put("stock.csv", "lot\nL1\n");
    assert_eq!(
        told_of(folder.path()),
        [
            "lots.ods: is not a file that can be read; save it as XLSX or as CSV in UTF-8",
            "stock.csv: nothing tells what this sheet holds: name it materials, suppliers, quotations, exchange rates, \
             house rates, formulas, formula lines, making costs, packs, pack components or lots",
        ]
    );
    let missing = folder.path().join("none.csv");
    let problems = told_of(&missing);
    assert_eq!(problems.len(), 1);
    assert!(problems[0].contains("none.csv: cannot be opened: "), "{problems:?}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]

    /// Whatever the bytes, reading ends with a set or with problems, and says where they are.
    #[test]
    fn any_bytes(bytes in proptest::collection::vec(any::<u8>(), 0..600), kind in 0..SheetKind::ALL.len()) {
        let name = format!("{}.csv", SheetKind::ALL[kind]);
        let reading = read_files(&[NamedFile { name: &name, bytes: &bytes }], &options());
        prop_assert!(reading.problems.iter().all(|p| p.place.starts_with(&name)));
    }

    /// Rows of likely and unlikely cells under true headings.
    #[test]
    fn any_cells(
        kind in 0..SheetKind::ALL.len(),
        rows in proptest::collection::vec(
            proptest::collection::vec(
                prop_oneof![
                    Just("A".to_owned()), Just("q.s.".to_owned()), Just("1".to_owned()), Just("2026-02".to_owned()),
                    Just("EUR".to_owned()), Just("percent".to_owned()), Just("approved".to_owned()),
                    "[0-9.,%-]{0,8} ?(kg|L|%|pcs|EUR)?", "\\PC{0,12}",
                ],
                0..24,
            ),
            0..6,
        ),
    ) {
        let kind = SheetKind::ALL[kind];
        // One heading of every sheet at least is known; the others are problems.
        let mut text = "code,name,kind,formula,version,line,material,amount,pack,price,price per,lot,quantity,rate,from,to\n".to_owned();
        for row in rows {
            let cells: Vec<String> = row.iter().map(|c| format!("\"{}\"", c.replace('"', "\"\""))).collect();
            text.push_str(&cells.join(","));
            text.push('\n');
        }
        let reading = read(&[(&format!("{kind}.csv"), &text)], &options());
        prop_assert!(!reading.is_sound());
    }
}
