//! XLSX workbooks: each worksheet a sheet.
//!
//! The reader underneath is made for well-formed workbooks. Before it sees a file, the container is unpacked once to nowhere:
//! that finds truncated files, wrong checksums and files that grow beyond any reason; and whatever the reader cannot stand in
//! the rest is caught here.

use calamine::{DataRef, Reader as _, SheetType, Style, Xlsx, XlsxCellReader};
use domain::dates::parse_date;
use std::{
    io::{Cursor, Read},
    panic::{AssertUnwindSafe, catch_unwind},
    sync::Arc,
};

use crate::{
    ReadLimits,
    cells::{Cell, number_cell},
    kinds::SheetKind,
    names::shown,
    reading::{Flow, Session, SheetReader},
};

type Workbook<'b> = Xlsx<Cursor<&'b [u8]>>;

/// Runs a step of the workbook reader; a panic in it means the same as an error: the workbook is damaged.
fn guarded<T, E: ToString>(step: impl FnOnce() -> Result<T, E>) -> Result<T, String> {
    match catch_unwind(AssertUnwindSafe(step)) {
        Ok(Ok(value)) => Ok(value),
        Ok(Err(error)) => Err(error.to_string()),
        Err(_) => Err("its parts do not fit together".to_owned()),
    }
}

/// Reads all worksheets of a workbook. `stem` is the file's name without the ending; `alone` is whether it is the only file.
pub(crate) fn read(bytes: &[u8], file: &Arc<str>, stem: &str, alone: bool, session: &mut Session<'_>) {
    if let Err(message) = check_container(bytes, session.options.limits) {
        return session.problems.file(file, message);
    }
    let damaged = |why: &str| format!("cannot be read as an XLSX workbook: {}", shown(why));
    let mut workbook = match guarded(|| Workbook::new(Cursor::new(bytes))) {
        Ok(workbook) => workbook,
        Err(why) => return session.problems.file(file, damaged(&why)),
    };
    let names: Vec<String> = workbook
        .sheets_metadata()
        .iter()
        .filter(|sheet| sheet.typ == SheetType::WorkSheet && !sheet.name.starts_with('#'))
        .map(|sheet| sheet.name.clone())
        .collect();
    // Worksheets nobody has written on do not count: spreadsheets add them of themselves.
    let mut filled = Vec::new();
    for name in names {
        match is_filled(&mut workbook, &name) {
            Ok(true) => filled.push(name),
            Ok(false) => {}
            Err(why) => return session.problems.file(&worksheet(file, &name), damaged(&why)),
        }
    }
    if filled.is_empty() {
        return session.problems.file(file, "has no worksheet with anything in it");
    }
    let stated = session.options.sheet.filter(|_| alone);
    if stated.is_some() && filled.len() > 1 {
        let message = "has several worksheets, so one kind cannot be stated for all; name the worksheets";
        return session.problems.file(file, message);
    }
    let only = filled.len() == 1;
    for name in filled {
        let label = worksheet(file, &name);
        let kind =
            stated.or_else(|| SheetKind::named(&name)).or_else(|| SheetKind::named(stem).filter(|_| only));
        let mut sheet = session.sheet(label, kind, alone && only);
        if let Err(why) = read_worksheet(&mut workbook, &name, &mut sheet) {
            sheet.whole(damaged(&why));
        }
        sheet.finish();
    }
}

fn worksheet(file: &str, name: &str) -> Arc<str> {
    Arc::from(format!("{file}, worksheet {}", shown(name)))
}

fn is_filled(workbook: &mut Workbook<'_>, name: &str) -> Result<bool, String> {
    let mut reader = guarded(|| workbook.worksheet_cells_reader(name))?;
    while let Some(cell) = guarded(|| reader.next_cell())? {
        let empty = match cell.get_value() {
            DataRef::Empty => true,
            DataRef::String(text) => text.trim().is_empty(),
            DataRef::SharedString(text) => text.trim().is_empty(),
            _ => false,
        };
        if !empty {
            return Ok(true);
        }
    }
    Ok(false)
}

fn read_worksheet(
    workbook: &mut Workbook<'_>,
    name: &str,
    sheet: &mut SheetReader<'_>,
) -> Result<(), String> {
    let mut reader = guarded(|| workbook.worksheet_cells_reader(name))?;
    let formats: Vec<Format> = reader.styles().iter().map(Format::of).collect();
    let mut row: Vec<Cell<'_>> = Vec::new();
    let mut row_at = 0;
    loop {
        let Some((at, column, cell)) = next_cell(&mut reader, &formats)? else {
            sheet.row(row_at + 1, &row, false);
            return Ok(());
        };
        if at < row_at {
            return Err("its rows are out of order".to_owned());
        }
        if at > row_at {
            if let Flow::Stop = sheet.row(row_at + 1, &row, false) {
                return Ok(());
            }
            row.clear();
            row_at = at;
        }
        if cell.is_empty() {
            continue;
        }
        if column >= sheet.columns_max() {
            let message = format!("has more than {} columns", sheet.columns_max());
            sheet.whole(message);
            return Ok(());
        }
        if row.len() <= column {
            row.resize(column + 1, Cell::Empty);
        }
        if let Some(place) = row.get_mut(column) {
            *place = cell;
        }
    }
}

type Positioned<'a> = (u32, usize, Cell<'a>);

fn next_cell<'a>(
    reader: &mut XlsxCellReader<'a, Cursor<&[u8]>>,
    formats: &[Format],
) -> Result<Option<Positioned<'a>>, String> {
    let Some((cell, style)) = guarded(|| reader.next_cell_with_style_id())? else { return Ok(None) };
    let (row, column) = cell.get_position();
    let value = cell.get_value().clone();
    let format = formats.get(style).copied().unwrap_or_default();
    let column = usize::try_from(column).map_err(|e| e.to_string())?;
    Ok(Some((row, column, cell_of(value, format))))
}

/// What the number format of a cell says about its value.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Format {
    /// The figure is shown times a hundred, with a % sign.
    percentage: bool,
    /// A date is shown as a month, without a day.
    month_only: bool,
}

impl Format {
    fn of(style: &Style) -> Self {
        style.number_format.as_ref().map_or_else(Self::default, |format| Self::of_code(&format.format_code))
    }

    /// Number format codes are described in ECMA-376 part 1, 18.8.31; the first section is for positive values.
    fn of_code(code: &str) -> Self {
        let mut bare = String::new();
        let mut chars = code.chars();
        while let Some(c) = chars.next() {
            match c {
                ';' => break,
                '\\' | '_' | '*' => drop(chars.next()),
                '"' => drop(chars.by_ref().find(|c| *c == '"')),
                '[' => drop(chars.by_ref().find(|c| *c == ']')),
                c => bare.extend(c.to_lowercase()),
            }
        }
        let month_only = bare.contains('m') && bare.contains('y') && !bare.contains(['d', 'h', 's']);
        Self { percentage: bare.contains('%'), month_only }
    }
}

fn cell_of(value: DataRef<'_>, format: Format) -> Cell<'_> {
    match value {
        DataRef::Empty => Cell::Empty,
        DataRef::String(text) | DataRef::DurationIso(text) => Cell::text(text),
        DataRef::SharedString(text) => Cell::text(text),
        DataRef::Float(number) => number_cell(number, format.percentage),
        DataRef::Int(number) => Cell::Figure(number.to_string()),
        DataRef::Bool(yes) => Cell::text(if yes { "yes" } else { "no" }),
        DataRef::Error(error) => Cell::shows_error(&error.to_string()),
        DataRef::DateTime(moment) if moment.is_duration() => Cell::Wrong(
            "the cell holds a time span of the workbook; write 24 months or 90 days as text".to_owned(),
        ),
        DataRef::DateTime(moment) => {
            let (year, month, day, ..) = moment.to_ymd_hms_milli();
            date_cell(&format!("{year:04}-{month:02}-{day:02}"), format)
        }
        DataRef::DateTimeIso(text) => date_cell(text.get(..10).unwrap_or(&text), format),
    }
}

fn date_cell(text: &str, format: Format) -> Cell<'static> {
    match parse_date(text) {
        Ok(date) if format.month_only && text.ends_with("-01") => Cell::Month(date),
        Ok(date) => Cell::Date(date),
        Err(error) => Cell::Wrong(error.to_string()),
    }
}

/// Whether the file is a ZIP container that unpacks completely and within reason.
fn check_container(bytes: &[u8], limits: ReadLimits) -> Result<(), String> {
    if bytes.starts_with(&[0xD0, 0xCF, 0x11, 0xE0]) {
        return Err(
            "is an old XLS workbook or protected by a password; save it as a plain XLSX workbook".to_owned()
        );
    }
    if !bytes.starts_with(b"PK") {
        return Err("is not an XLSX workbook, whatever its name says; save it as XLSX or CSV".to_owned());
    }
    let damaged = |why: String| format!("is truncated or damaged: {}", shown(&why));
    let mut container = guarded(|| zip::ZipArchive::new(Cursor::new(bytes))).map_err(damaged)?;
    let mut left = limits.unpacked_bytes;
    let mut buffer = vec![0_u8; 64 << 10];
    for at in 0..container.len() {
        let mut part = container.by_index(at).map_err(|e| damaged(e.to_string()))?;
        let mut unpacked = 0_u64;
        let mut claim = Claim::default();
        loop {
            let read = guarded(|| part.read(&mut buffer)).map_err(damaged)?;
            let Some(chunk) = buffer.get(..read).filter(|chunk| !chunk.is_empty()) else { break };
            let length = u64::try_from(read).unwrap_or(u64::MAX);
            unpacked = unpacked.saturating_add(length);
            left = left.checked_sub(length).ok_or_else(|| {
                format!("unpacks to more than {} MiB, which no sheet needs", limits.unpacked_bytes >> 20)
            })?;
            claim.look_at(chunk);
        }
        if claim.largest > unpacked {
            return Err(damaged("it claims more texts than it holds".to_owned()));
        }
    }
    Ok(())
}

/// The workbook reader sets memory aside for as many texts as the file claims to have; a false claim is found out here.
#[derive(Default)]
struct Claim {
    matched: usize,
    in_digits: bool,
    number: u64,
    largest: u64,
}

impl Claim {
    const NAME: &'static [u8] = b"uniqueCount";

    fn look_at(&mut self, chunk: &[u8]) {
        for &byte in chunk {
            if self.matched == Self::NAME.len() {
                if byte.is_ascii_digit() {
                    self.in_digits = true;
                    self.number = self.number.saturating_mul(10).saturating_add(u64::from(byte - b'0'));
                    self.largest = self.largest.max(self.number);
                    continue;
                }
                if !self.in_digits && (byte.is_ascii_whitespace() || matches!(byte, b'=' | b'"' | b'\'')) {
                    continue;
                }
                *self = Self { largest: self.largest, ..Self::default() };
            }
            self.matched = match Self::NAME.get(self.matched) {
                Some(expected) if *expected == byte => self.matched + 1,
                _ => usize::from(byte == b'u'),
            };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn number_formats() {
        let of = Format::of_code;
        assert!(of("0.00%").percentage);
        assert!(!of("0.00\"%\"").percentage);
        assert!(!of("0.00\\%").percentage);
        assert!(of("mmm-yy").month_only);
        assert!(of("[$-409]mmmm\\ yyyy;@").month_only);
        assert!(!of("yyyy-mm-dd").month_only);
        assert!(!of("General").month_only);
    }

    #[test]
    fn claims_are_found_across_chunks() {
        let mut claim = Claim::default();
        for chunk in [&b"<sst count='5' uuniqueCou"[..], b"nt = \"12", b"34\" unique"] {
            claim.look_at(chunk);
        }
        assert_eq!(claim.largest, 1234);
    }
}
