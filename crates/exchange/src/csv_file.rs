//! CSV files: UTF-8, comma, semicolon or tab as the heading row shows.

use crate::{
    cells::Cell,
    names::shown,
    reading::{Flow, SheetReader},
};

/// What a look at the bytes tells before they are split into records.
struct Layout {
    delimiter: u8,
    /// Bytes before the first row: a byte order mark, a `sep=` line.
    start: usize,
    /// Lines before the first row.
    start_line: u32,
}

/// Reads the rows of a CSV file into a sheet.
pub(crate) fn read(bytes: &[u8], sheet: &mut SheetReader<'_>) {
    let text = match decode(bytes) {
        Ok(text) => text,
        Err(message) => return sheet.whole(message),
    };
    let layout = layout(text);
    let body = text.get(layout.start..).unwrap_or_default();
    if let Some(line) = unclosed_quote(body.as_bytes(), layout.delimiter) {
        return sheet.whole(format!(
            "a quotation mark opened in line {} is never closed",
            line.saturating_add(layout.start_line)
        ));
    }
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(layout.delimiter)
        .from_reader(body.as_bytes());
    let mut record = csv::StringRecord::new();
    let mut lines = Lines { bytes: body.as_bytes(), at: 0, line: layout.start_line + 1 };
    loop {
        match reader.read_record(&mut record) {
            Ok(true) => {}
            Ok(false) => return,
            Err(error) => return sheet.whole(format!("cannot be read as CSV: {error}")),
        }
        let start = record.position().map_or(0, |p| usize::try_from(p.byte()).unwrap_or(usize::MAX));
        let line = lines.line_of_record(start);
        let cells: Vec<Cell<'_>> = record.iter().map(Cell::text).collect();
        if let Flow::Stop = sheet.row(line, &cells, true) {
            return;
        }
    }
}

/// The text of the file, or why it is none.
fn decode(bytes: &[u8]) -> Result<&str, String> {
    if bytes.starts_with(b"PK\x03\x04") {
        return Err("is not a CSV file: it looks like an XLSX workbook or another ZIP file".to_owned());
    }
    if bytes.starts_with(&[0xD0, 0xCF, 0x11, 0xE0]) {
        return Err("is not a CSV file: it looks like an old XLS workbook".to_owned());
    }
    if bytes.starts_with(&[0xFF, 0xFE]) || bytes.starts_with(&[0xFE, 0xFF]) {
        return Err("is UTF-16 text; save it as CSV in UTF-8".to_owned());
    }
    let text = std::str::from_utf8(bytes).map_err(|error| {
        let at = error.valid_up_to();
        let line = 1 + bytes.iter().take(at).filter(|b| **b == b'\n').count();
        let byte = bytes.get(at).copied().unwrap_or_default();
        format!("byte {} (line {line}) is 0x{byte:02X}, which is not UTF-8; save it as CSV in UTF-8", at + 1)
    })?;
    if let Some(at) = bytes.iter().position(|b| *b == 0) {
        let line = 1 + bytes.iter().take(at).filter(|b| **b == b'\n').count();
        return Err(format!("byte {} (line {line}) is NUL: this is not a text file", at + 1));
    }
    Ok(text)
}

fn layout(text: &str) -> Layout {
    let mut start = if text.starts_with('\u{feff}') { '\u{feff}'.len_utf8() } else { 0 };
    let mut start_line = 0;
    let body = text.get(start..).unwrap_or_default();
    // Some spreadsheets state the delimiter in a line of its own.
    let first = body.split_inclusive('\n').next().unwrap_or_default();
    let stated = first.trim().trim_matches('"').strip_prefix("sep=").and_then(|sep| match sep {
        "," | ";" | "\t" => sep.bytes().next(),
        "" => first.contains('\t').then_some(b'\t'),
        _ => None,
    });
    if stated.is_some() {
        start += first.len();
        start_line = 1;
    }
    let body = text.get(start..).unwrap_or_default();
    let heading = body
        .lines()
        .find(|line| !line.trim().trim_matches([',', ';', '"']).trim().is_empty() && !is_remark(line))
        .unwrap_or_default();
    Layout { delimiter: stated.unwrap_or_else(|| delimiter_of(heading)), start, start_line }
}

fn is_remark(line: &str) -> bool {
    line.trim_start().trim_start_matches('"').trim_start().starts_with('#')
}

/// The delimiter a heading row has most of, outside of quotation marks.
fn delimiter_of(heading: &str) -> u8 {
    let mut quoted = false;
    let mut counts = [(b',', 0_u32), (b';', 0), (b'\t', 0)];
    for byte in heading.bytes() {
        if byte == b'"' {
            quoted = !quoted;
        } else if !quoted && let Some((_, count)) = counts.iter_mut().find(|(d, _)| *d == byte) {
            *count += 1;
        }
    }
    // On a tie the first one counts, as in a file of one column.
    counts.iter().rev().max_by_key(|(_, count)| *count).map_or(b',', |(delimiter, _)| *delimiter)
}

/// The line in which a quotation mark opens that nothing closes. Without this look such a file would read as one huge cell.
fn unclosed_quote(bytes: &[u8], delimiter: u8) -> Option<u32> {
    let mut opened_at = None;
    let mut line = 1_u32;
    let mut at_start = true;
    let mut bytes = bytes.iter().copied().peekable();
    while let Some(byte) = bytes.next() {
        if byte == b'\n' {
            line = line.saturating_add(1);
        }
        if opened_at.is_some() {
            if byte == b'"' {
                if bytes.peek() == Some(&b'"') {
                    bytes.next();
                } else {
                    opened_at = None;
                }
            }
            continue;
        }
        if byte == b'"' && at_start {
            opened_at = Some(line);
        }
        at_start = byte == delimiter || byte == b'\n' || byte == b'\r';
    }
    opened_at
}

/// Counts physical lines up to the records, as a text editor shows them; empty lines before a record are not the record's.
struct Lines<'a> {
    bytes: &'a [u8],
    at: usize,
    line: u32,
}

impl Lines<'_> {
    fn line_of_record(&mut self, start: usize) -> u32 {
        while let Some(byte) = self.bytes.get(self.at).copied() {
            if self.at >= start && !matches!(byte, b'\r' | b'\n') {
                break;
            }
            let lone_return = byte == b'\r' && self.bytes.get(self.at + 1) != Some(&b'\n');
            if byte == b'\n' || lone_return {
                self.line = self.line.saturating_add(1);
            }
            self.at += 1;
        }
        self.line
    }
}

/// The sentence for a row that is shorter or longer than the heading row.
pub(crate) fn ragged(cells: usize, width: usize, first: &Cell<'_>) -> String {
    let first = match first.as_text() {
        Ok(Some(text)) => format!(" beginning “{}”", shown(&text)),
        _ => String::new(),
    };
    format!(
        "the row{first} has {cells} cells, the heading row {width}; quote cells that hold the delimiter, and keep every comma"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn delimiters() {
        assert_eq!(delimiter_of("a,b;c,d"), b',');
        assert_eq!(delimiter_of("a;b;c"), b';');
        assert_eq!(delimiter_of("a\tb"), b'\t');
        assert_eq!(delimiter_of("code"), b',');
        assert_eq!(delimiter_of("\"a,b,c\";d"), b';');
        let layout = |text: &str| {
            let layout = layout(text);
            (layout.delimiter, layout.start, layout.start_line)
        };
        assert_eq!(layout("\u{feff}sep=;\r\na;b"), (b';', 10, 1));
        assert_eq!(layout("# a, remark, with, commas\n;;\ncode;name\n"), (b';', 0, 0));
    }

    #[test]
    fn unclosed_quotation_marks() {
        assert_eq!(unclosed_quote(b"a,b\n1,\"x\ny\"\n", b','), None);
        assert_eq!(unclosed_quote(b"a,b\n1,\"x \"\" y\n2,z\n", b','), Some(2));
        assert_eq!(unclosed_quote(b"a,5\" pipe\n", b','), None);
    }
}
