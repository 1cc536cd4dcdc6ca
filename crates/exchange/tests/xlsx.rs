//! XLSX workbooks: cell kinds, worksheets, and files that are damaged or made to do damage.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test may stop at the first surprise"
)]

mod common;

use common::{comma, options, told};
use exchange::{NamedFile, ReadLimits, ReadOptions, Reading, SheetKind, read_files, read_path};
use proptest::prelude::*;
use rust_xlsxwriter::{ExcelDateTime, Format, Formula, Workbook, Worksheet};
use std::io::{Cursor, Read, Write};

fn book(fill: impl FnOnce(&mut Workbook)) -> Vec<u8> {
    let mut workbook = Workbook::new();
    fill(&mut workbook);
    workbook.save_to_buffer().unwrap()
}

fn texts(sheet: &mut Worksheet, row: u32, cells: &[&str]) {
    for (column, text) in (0..).zip(cells) {
        sheet.write_string(row, column, *text).unwrap();
    }
}

fn sheet_of(name: &str, rows: &[&[&str]]) -> Vec<u8> {
    book(|workbook| {
        let sheet = workbook.add_worksheet().set_name(name).unwrap();
        for (at, cells) in (0..).zip(rows) {
            texts(sheet, at, cells);
        }
    })
}

fn read(name: &str, bytes: &[u8], options: &ReadOptions) -> Reading {
    read_files(&[NamedFile { name, bytes }], options)
}

#[track_caller]
fn check(name: &str, bytes: &[u8], expected: &[&str]) -> Reading {
    let reading = read(name, bytes, &options());
    assert_eq!(told(&reading), expected);
    reading
}

const LOT: &[&str] = &[
    "lot",
    "material",
    "quantity",
    "quantity unit",
    "received",
    "made",
    "expiry",
    "status",
    "active matter",
    "unit cost",
];

/// Numbers, dates, months, percentages and formulas as a spreadsheet holds them, whatever decimal mark was agreed for text.
#[test]
fn cells_of_every_kind() {
    let bytes = book(|workbook| {
        let sheet = workbook.add_worksheet().set_name("Lots").unwrap();
        texts(sheet, 2, LOT);
        let day = Format::new().set_num_format("yyyy-mm-dd");
        let month = Format::new().set_num_format("mmm-yy");
        let percent = Format::new().set_num_format("0.0%");
        let date = |y, m, d| ExcelDateTime::from_ymd(y, m, d).unwrap();
        sheet.write_number(4, 0, 1001).unwrap();
        sheet.write_string(4, 1, "A").unwrap();
        sheet.write_number(4, 2, 12.1).unwrap();
        sheet.write_string(4, 3, "kg").unwrap();
        sheet.write_datetime_with_format(4, 4, date(2024, 2, 29), &day).unwrap();
        sheet.write_datetime_with_format(4, 5, date(2024, 1, 1), &month).unwrap();
        sheet.write_datetime_with_format(4, 6, date(2026, 2, 1), &month).unwrap();
        sheet.write_string(4, 7, "released").unwrap();
        sheet.write_number_with_format(4, 8, 0.07, &percent).unwrap();
        sheet.write_formula(4, 9, Formula::new("=2*1.57").set_result("3.14")).unwrap();
        sheet.write_string(4, 12, "scribble under no heading").unwrap();
    });
    for options in [options(), comma()] {
        let reading = read("stock.xlsx", &bytes, &options);
        assert_eq!(told(&reading), Vec::<String>::new());
        let lot = &reading.set.lots[0];
        assert_eq!(lot.number, "1001");
        assert_eq!(lot.quantity.to_string(), "12.1 kg");
        assert_eq!(lot.received_on.to_string(), "2024-02-29");
        assert_eq!(lot.made_on.unwrap().to_string(), "2024-01-01");
        assert_eq!(lot.expires_on.unwrap().to_string(), "2026-02-28");
        assert_eq!(lot.active_matter.unwrap().to_string(), "7 %");
        assert!(
            matches!(lot.cost, Some(app::import::LotCost::UnitCost(cost)) if cost.to_string() == "3.14 GBP")
        );
        assert_eq!(lot.place.column("lot"), "stock.xlsx, worksheet Lots, row 5, lot");
    }
}

#[test]
fn cells_that_are_no_values() {
    let bytes = book(|workbook| {
        let sheet = workbook.add_worksheet().set_name("materials").unwrap();
        texts(sheet, 0, &["code", "name", "kind", "density", "active matter", "shelf life", "note"]);
        texts(sheet, 1, &["A", "Alpha", "bulk"]);
        sheet.write_formula(1, 3, Formula::new("=NA()").set_result("#N/A")).unwrap();
        sheet.write_number(1, 4, 33.333_333_333_333_336).unwrap();
        sheet.write_number(1, 5, 24).unwrap();
        texts(sheet, 2, &["B", "Beta", "bulk"]);
        sheet.write_number(2, 3, 13).unwrap();
        sheet.write_boolean(2, 6, true).unwrap();
        let span = Format::new().set_num_format("[h]:mm");
        sheet.write_number_with_format(2, 5, 1.5, &span).unwrap();
    });
    let place = |row: u32, column: &str| format!("book.xlsx, worksheet materials, row {row}, {column}");
    check(
        "book.xlsx",
        &bytes,
        &[
            &format!("{}: the cell shows #N/A instead of a value", place(2, "density")),
            &format!(
                "{}: the number cell holds 33.333333333333336, more digits than a workbook keeps exactly (15); round it \
                 there, or store the figure as text",
                place(2, "active matter")
            ),
            &format!(
                "{}: “24” is not a span of time (write 24 months, 90 days, 6 weeks or 2 years)",
                place(2, "shelf life")
            ),
            &format!("{}: a density is out of range: at most 8 kg/L", place(3, "density")),
            &format!(
                "{}: the cell holds a time span of the workbook; write 24 months or 90 days as text",
                place(3, "shelf life")
            ),
        ],
    );
}

#[test]
fn a_date_cell_where_a_date_is_wanted_and_a_number_where_it_is_not() {
    let bytes = book(|workbook| {
        let sheet = workbook.add_worksheet().set_name("exchange rates").unwrap();
        texts(sheet, 0, &["from", "to", "rate", "date", "source"]);
        texts(sheet, 1, &["EUR", "GBP", "0,852", "", "Bank"]);
        sheet.write_number(1, 3, 46_174).unwrap();
        texts(sheet, 2, &["USD", "GBP", "", "", "Bank"]);
        sheet.write_number(2, 2, 0.748).unwrap();
        let day = Format::new().set_num_format("dd/mm/yyyy");
        sheet.write_number_with_format(2, 3, 46_174, &day).unwrap();
    });
    let place = "rates.xlsx, worksheet exchange rates";
    let reading = check(
        "rates.xlsx",
        &bytes,
        &[
            &format!("{place}, row 2, rate: “0,852” has a decimal comma where a decimal point was agreed"),
            &format!("{place}, row 2, date: “46174” is not a date (write 2026-03-31)"),
        ],
    );
    assert_eq!(reading.set.rates[0].date.to_string(), "2026-06-01");
}

#[test]
fn worksheets_are_told_by_their_names_and_a_single_one_by_its_file() {
    let materials: &[&[&str]] = &[&["code", "name", "kind"], &["A", "Alpha", "bulk"]];
    for (file, worksheet) in
        [("book.xlsx", "Materials"), ("materials.xlsx", "Sheet1"), ("book.xlsx", "Sheet1")]
    {
        let reading = check(file, &sheet_of(worksheet, materials), &[]);
        assert_eq!(reading.sheets[0].kind, SheetKind::Materials);
    }
    let stated = ReadOptions { sheet: Some(SheetKind::Materials), ..options() };
    assert!(read("lots.xlsx", &sheet_of("Lots", materials), &stated).is_sound());

    let several = book(|workbook| {
        let sheet = workbook.add_worksheet().set_name("Materials").unwrap();
        texts(sheet, 0, materials[0]);
        texts(sheet, 1, materials[1]);
        let sheet = workbook.add_worksheet().set_name("Prices").unwrap();
        texts(sheet, 0, &["quotation"]);
        workbook.add_worksheet().set_name("Sheet3").unwrap();
        let sheet = workbook.add_worksheet().set_name("#scratch").unwrap();
        texts(sheet, 0, &["anything"]);
        let sheet = workbook.add_worksheet().set_name("suppliers").unwrap();
        texts(sheet, 0, &["code", "name", "currency"]);
    });
    let unknown = "nothing tells what this sheet holds: name it materials, suppliers, quotations, exchange rates, house rates, formulas, \
         formula lines, making costs, packs, pack components or lots";
    let reading = check("book.xlsx", &several, &[&format!("book.xlsx, worksheet Prices: {unknown}")]);
    assert_eq!(reading.sheets.len(), 2);
    assert_eq!(
        told(&read("book.xlsx", &several, &stated)),
        ["book.xlsx: has several worksheets, so one kind cannot be stated for all; name the worksheets"]
    );
    check("book.xlsx", &sheet_of("Materials", &[]), &["book.xlsx: has no worksheet with anything in it"]);
}

#[test]
fn files_that_are_not_what_their_names_say() {
    check(
        "materials.xlsx",
        b"code,name,kind\nA,Alpha,bulk\n",
        &["materials.xlsx: is not an XLSX workbook, whatever its name says; save it as XLSX or CSV"],
    );
    check(
        "materials.xlsx",
        b"",
        &["materials.xlsx: is not an XLSX workbook, whatever its name says; save it as XLSX or CSV"],
    );
    check(
        "materials.xlsx",
        b"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1",
        &[
            "materials.xlsx: is an old XLS workbook or protected by a password; save it as a plain XLSX workbook",
        ],
    );
    let other = zipped(&[("hello.txt", b"hello")]);
    let reading = read("materials.xlsx", &other, &options());
    assert!(
        reading.problems[0].to_string().starts_with("materials.xlsx: cannot be read as an XLSX workbook: ")
    );
}

#[test]
fn a_workbook_cut_short_anywhere_is_refused() {
    let whole = sheet_of("Materials", &[&["code", "name", "kind"], &["A", "Alpha", "bulk"]]);
    for length in (0..whole.len()).step_by(7) {
        let reading = read("materials.xlsx", &whole[..length], &options());
        assert_eq!(reading.problems.len(), 1, "{length}: {:?}", told(&reading));
        assert!(reading.set.is_empty());
    }
    let cut = read("materials.xlsx", &whole[..whole.len() / 2], &options());
    assert!(
        cut.problems[0].to_string().starts_with("materials.xlsx: is truncated or damaged: "),
        "{:?}",
        told(&cut)
    );
}

fn zipped(parts: &[(&str, &[u8])]) -> Vec<u8> {
    let mut archive = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in parts {
        archive.start_file(*name, zip::write::SimpleFileOptions::default()).unwrap();
        archive.write_all(bytes).unwrap();
    }
    archive.finish().unwrap().into_inner()
}

/// The parts of a workbook, one of them changed.
fn altered(whole: &[u8], name: &str, change: impl Fn(String) -> String) -> Vec<u8> {
    let mut archive = zip::ZipArchive::new(Cursor::new(whole)).unwrap();
    let mut parts = Vec::new();
    for at in 0..archive.len() {
        let mut part = archive.by_index(at).unwrap();
        let mut text = String::new();
        part.read_to_string(&mut text).unwrap();
        let part_name = part.name().unwrap().into_owned();
        let text = if part_name == name { change(text) } else { text };
        parts.push((part_name, text.into_bytes()));
    }
    let parts: Vec<(&str, &[u8])> = parts.iter().map(|(n, b)| (n.as_str(), b.as_slice())).collect();
    zipped(&parts)
}

#[test]
fn workbooks_made_to_do_damage() {
    let whole = sheet_of("Materials", &[&["code", "name", "kind"], &["A", "Alpha", "bulk"]]);
    let worksheet = "xl/worksheets/sheet1.xml";
    let check_altered = |name: &str, change: &dyn Fn(String) -> String, expected: &str| {
        let reading = read("materials.xlsx", &altered(&whole, name, change), &options());
        let told = told(&reading);
        assert!(told.len() == 1 && told[0].contains(expected), "{told:?}");
    };
    // Unchanged it is sound, so that what follows is due to the change.
    assert!(read("materials.xlsx", &altered(&whole, worksheet, |text| text), &options()).is_sound());
    check_altered(
        "xl/sharedStrings.xml",
        &|text| text.replace("uniqueCount=\"6\"", "uniqueCount=\"99999999999999\""),
        "it claims more texts than it holds",
    );
    check_altered(worksheet, &|text| text.replace("A1:C2", "C9:A1"), "cannot be read as an XLSX workbook");
    check_altered(
        worksheet,
        &|text| text.replace("<row r=\"2\"", "<row r=\"0\""),
        "cannot be read as an XLSX workbook",
    );
    check_altered(
        worksheet,
        &|text| text.replace("<v>3</v>", "<v>77</v>"),
        "cannot be read as an XLSX workbook",
    );
    check_altered(worksheet, &|text| text.replace("\"A2\"", "\"XFD2\""), "has more than 200 columns");
    check_altered(
        worksheet,
        &|text| text.chars().take(text.len() / 2).collect(),
        "cannot be read as an XLSX workbook",
    );

    let limits = ReadLimits { unpacked_bytes: 1 << 20, ..ReadLimits::default() };
    let small = ReadOptions { limits, ..options() };
    let bomb = altered(&whole, worksheet, |text| {
        text.replace("<sheetData>", &format!("{}<sheetData>", " ".repeat(4 << 20)))
    });
    assert!(bomb.len() < 100_000);
    assert_eq!(
        told(&read("materials.xlsx", &bomb, &small)),
        ["materials.xlsx: unpacks to more than 1 MiB, which no sheet needs"]
    );
}

#[test]
fn a_folder_may_mix_both_kinds_of_file() {
    let folder = tempfile::tempdir().unwrap();
    let materials = sheet_of("Materials", &[&["code", "name", "kind"], &["A", "Alpha", "bulk"]]);
    std::fs::write(folder.path().join("book.xlsx"), materials).unwrap();
    std::fs::write(folder.path().join("materials.csv"), "code,name,kind\na,Alpha,bulk\nB,Beta,bulk\n")
        .unwrap();
    assert_eq!(
        told(&read_path(folder.path(), &options())),
        ["materials.csv, row 2, code: the same code stands in book.xlsx, worksheet Materials, row 2 already"]
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn any_bytes(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        for start in [&b""[..], b"PK\x03\x04", b"PK\x05\x06"] {
            let bytes = [start, &bytes].concat();
            let reading = read("lots.xlsx", &bytes, &options());
            prop_assert!(!reading.is_sound());
        }
    }

    /// A sound container around damaged parts reaches the reader of the parts themselves.
    #[test]
    fn damaged_parts(part in 0_usize..8, at in any::<prop::sample::Index>(), with in "[<>/\"0-9A-Za-z=& ]{0,6}", length in 0_usize..12) {
        let whole = sheet_of("Lots", &[LOT, &["L1", "A", "5", "kg", "2026-01-01", "", "", "released", "", ""]]);
        let names = [
            "xl/worksheets/sheet1.xml", "xl/sharedStrings.xml", "xl/styles.xml", "xl/workbook.xml",
            "xl/_rels/workbook.xml.rels", "[Content_Types].xml", "_rels/.rels", "xl/theme/theme1.xml",
        ];
        let bytes = altered(&whole, names[part], |text| {
            let at = text.floor_char_boundary(at.index(text.len()));
            let to = text.floor_char_boundary((at + length).min(text.len()));
            format!("{}{with}{}", &text[..at], &text[to..])
        });
        let reading = read("lots.xlsx", &bytes, &options());
        prop_assert!(reading.problems.iter().all(|p| p.place.starts_with("lots.xlsx")));
    }

    /// What is written as a number comes back as the same decimal, digit for digit.
    #[test]
    fn figures_survive(mantissa in 1_i64..999_999_999_999, places in 0_u32..9) {
        let figure = rust_decimal::Decimal::new(mantissa, places).normalize();
        prop_assume!(figure < rust_decimal::Decimal::from(9_000_000_000_i64));
        let bytes = book(|workbook| {
            let sheet = workbook.add_worksheet().set_name("lots").unwrap();
            texts(sheet, 0, LOT);
            texts(sheet, 1, &["L1", "A", "", "kg", "2026-01-01", "", "", "released", "", ""]);
            sheet.write_number(1, 2, figure.to_string().parse::<f64>().unwrap()).unwrap();
        });
        let reading = read("lots.xlsx", &bytes, &options());
        prop_assert_eq!(told(&reading), Vec::<String>::new());
        prop_assert_eq!(reading.set.lots[0].quantity.figure(), figure);
    }
}
