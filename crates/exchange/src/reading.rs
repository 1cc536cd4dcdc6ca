//! From a path to a set: which files there are, which sheets they hold, and each sheet's rows in turn.

use app::import::Place;
use std::{fs::File, io::Read, path::Path, sync::Arc};

use crate::{
    ReadOptions, Reading, SheetRead,
    cells::Cell,
    collected::Collected,
    csv_file,
    headings::{Headings, kind_by_headings},
    kinds::SheetKind,
    names::shown,
    problems::Problems,
    row::Row,
    xlsx_file,
};

/// A file that is in memory already.
#[derive(Debug, Clone, Copy)]
pub struct NamedFile<'a> {
    /// Its name with the ending, as problems show it.
    pub name: &'a str,
    /// What it holds.
    pub bytes: &'a [u8],
}

/// Reads a folder of `.csv` and `.xlsx` files, or a single one. Other files of a folder and its folders are left alone; files
/// of other spreadsheets are refused rather than forgotten. A path that cannot be read is a problem like any other.
pub fn read_path(path: &Path, options: &ReadOptions) -> Reading {
    let mut session = Session::new(options);
    let shown_path: Arc<str> = Arc::from(path.display().to_string());
    match std::fs::metadata(path) {
        Err(error) => session.problems.file(&shown_path, format!("cannot be opened: {error}")),
        Ok(found) if found.is_dir() => session.folder(path, &shown_path),
        Ok(found) if found.is_file() => session.path(path, true),
        Ok(_) => session.problems.file(&shown_path, "is neither a file nor a folder"),
    }
    session.finish()
}

/// Reads files that are in memory, as if they stood in one folder.
pub fn read_files(files: &[NamedFile<'_>], options: &ReadOptions) -> Reading {
    let mut session = Session::new(options);
    let alone = files.len() == 1;
    if !alone && options.sheet.is_some() {
        session.problems.file(&Arc::from("all files"), KIND_FOR_ONE);
    } else {
        for file in files {
            session.file(file.name, file.bytes, alone);
        }
    }
    session.finish()
}

const KIND_FOR_ONE: &str = "the kind of sheet can be stated for a single file only";

/// Whether to go on with a sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Flow {
    GoOn,
    Stop,
}

/// What the ending of a file's name says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum FileKind {
    Csv,
    Xlsx,
    /// A spreadsheet's file that is not read.
    Foreign,
    Other,
}

fn file_kind(name: &str) -> FileKind {
    let ending = Path::new(name).extension().map(|e| e.to_string_lossy().to_lowercase());
    match ending.as_deref() {
        Some("csv") => FileKind::Csv,
        Some("xlsx") => FileKind::Xlsx,
        Some("xls" | "xlsm" | "xlsb" | "xltx" | "ods" | "fods" | "numbers" | "tsv" | "tab") => {
            FileKind::Foreign
        }
        _ => FileKind::Other,
    }
}

/// One reading under way.
pub(crate) struct Session<'o> {
    pub options: &'o ReadOptions,
    pub problems: Problems,
    collected: Collected,
    sheets: Vec<SheetRead>,
}

impl<'o> Session<'o> {
    fn new(options: &'o ReadOptions) -> Self {
        Self {
            options,
            problems: Problems::new(options.limits.problems),
            collected: Collected::default(),
            sheets: Vec::new(),
        }
    }

    fn folder(&mut self, path: &Path, shown_path: &Arc<str>) {
        if self.options.sheet.is_some() {
            return self.problems.file(shown_path, KIND_FOR_ONE);
        }
        let entries = match std::fs::read_dir(path).and_then(Iterator::collect::<Result<Vec<_>, _>>) {
            Ok(entries) => entries,
            Err(error) => return self.problems.file(shown_path, format!("cannot be opened: {error}")),
        };
        let mut paths: Vec<_> =
            entries.into_iter().map(|entry| entry.path()).filter(|p| p.is_file()).collect();
        paths.sort();
        let mut found = false;
        for path in paths {
            let name = file_name(&path);
            // Hidden files, locks of open spreadsheets and remarks.
            if name.starts_with(['.', '~', '#']) || file_kind(&name) == FileKind::Other {
                continue;
            }
            found = true;
            self.path(&path, false);
        }
        if !found {
            self.problems.file(shown_path, "has no .csv or .xlsx file");
        }
    }

    fn path(&mut self, path: &Path, alone: bool) {
        let name = file_name(path);
        let limit = self.options.limits.file_bytes;
        let mut bytes = Vec::new();
        // One byte more than allowed tells a file that is too large, also when it grows meanwhile.
        let read =
            File::open(path).and_then(|file| file.take(limit.saturating_add(1)).read_to_end(&mut bytes));
        match read {
            Ok(_) => self.file(&name, &bytes, alone),
            Err(error) => self.problems.file(&Arc::from(name), format!("cannot be opened: {error}")),
        }
    }

    fn file(&mut self, name: &str, bytes: &[u8], alone: bool) {
        let label: Arc<str> = Arc::from(shown(name));
        self.problems.open(&label);
        let limit = self.options.limits.file_bytes;
        if u64::try_from(bytes.len()).unwrap_or(u64::MAX) > limit {
            return self.problems.file(&label, format!("is larger than {} MiB", limit >> 20));
        }
        let stem = Path::new(name).file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
        match file_kind(name) {
            FileKind::Csv => {
                let kind = self.options.sheet.filter(|_| alone).or_else(|| SheetKind::named(&stem));
                let mut sheet = self.sheet(label, kind, alone);
                csv_file::read(bytes, &mut sheet);
                sheet.finish();
            }
            FileKind::Xlsx => xlsx_file::read(bytes, &label, &stem, alone, self),
            FileKind::Foreign | FileKind::Other => {
                self.problems
                    .file(&label, "is not a file that can be read; save it as XLSX or as CSV in UTF-8");
            }
        }
    }

    /// Begins a sheet. Without a kind it is told by its headings, if it may be.
    pub fn sheet(&mut self, file: Arc<str>, kind: Option<SheetKind>, by_headings: bool) -> SheetReader<'_> {
        self.problems.open(&file);
        SheetReader {
            file,
            kind,
            by_headings,
            options: self.options,
            problems: &mut self.problems,
            collected: &mut self.collected,
            sheets: &mut self.sheets,
            headings: None,
            cells_max: 0,
            rows: 0,
            settled: false,
        }
    }

    fn finish(self) -> Reading {
        let Self { mut problems, collected, sheets, .. } = self;
        let set = collected.finish(&mut problems);
        let ((problems, more_problems), (warnings, more_warnings)) = problems.finish();
        Reading { set, problems, more_problems, warnings, more_warnings, sheets }
    }
}

fn file_name(path: &Path) -> String {
    path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}

/// One sheet being read, row by row.
pub(crate) struct SheetReader<'s> {
    file: Arc<str>,
    kind: Option<SheetKind>,
    by_headings: bool,
    options: &'s ReadOptions,
    problems: &'s mut Problems,
    collected: &'s mut Collected,
    sheets: &'s mut Vec<SheetRead>,
    headings: Option<Headings>,
    /// Cells of the heading row as they stand in the file, empty ones included.
    cells_max: usize,
    rows: usize,
    /// Whether it has been told already why nothing was read.
    settled: bool,
}

impl SheetReader<'_> {
    /// Columns a sheet may have.
    pub const fn columns_max(&self) -> usize {
        self.options.limits.columns
    }

    /// Reports something wrong with the whole sheet.
    pub fn whole(&mut self, message: impl Into<String>) {
        self.settled = true;
        self.problems.file(&self.file, message);
    }

    /// Takes the next row; `counted` is whether the file says where its rows end, so that short and long ones are faults.
    pub fn row(&mut self, number: u32, cells: &[Cell<'_>], counted: bool) -> Flow {
        if cells.iter().all(Cell::is_empty) || cells.first().is_some_and(Cell::begins_remark) {
            return Flow::GoOn;
        }
        let place = Place { file: Arc::clone(&self.file), row: number };
        let Some((kind, headings)) = self.kind.zip(self.headings.as_ref()) else {
            return self.heading_row(&place, cells);
        };
        self.rows += 1;
        if self.rows > self.options.limits.rows {
            let message = format!("has more than {} rows", self.options.limits.rows);
            self.whole(message);
            return Flow::Stop;
        }
        let beyond = cells.get(self.cells_max..).is_some_and(|extra| extra.iter().any(|c| !c.is_empty()));
        if counted && (cells.len() < headings.width || beyond) {
            let first = cells.first().unwrap_or(&Cell::Empty);
            self.problems.row(&place, csv_file::ragged(cells.len(), self.cells_max, first));
            let code = kind.columns().first().and_then(|column| headings.at(column.name));
            let code = code.and_then(|at| cells.get(at)).and_then(|cell| cell.as_text().ok().flatten());
            self.collected.lost(kind, code.as_deref());
            return Flow::GoOn;
        }
        let mut row = Row::new(place, cells, headings, self.options, self.problems);
        self.collected.row(kind, &mut row);
        Flow::GoOn
    }

    fn heading_row(&mut self, place: &Place, cells: &[Cell<'_>]) -> Flow {
        if cells.len() > self.columns_max() {
            let message = format!("has more than {} columns", self.columns_max());
            self.whole(message);
            return Flow::Stop;
        }
        if self.kind.is_none() && self.by_headings {
            self.kind = kind_by_headings(cells);
        }
        let Some(kind) = self.kind else {
            let message = format!(
                "nothing tells what this sheet holds: name it {}{}",
                SheetKind::all_names(),
                if self.by_headings { ", or state its kind" } else { "" }
            );
            self.whole(message);
            return Flow::Stop;
        };
        self.collected.begin(kind);
        self.cells_max = cells.len();
        self.headings = Some(Headings::read(kind, place, cells, self.problems));
        Flow::GoOn
    }

    /// Ends the sheet.
    pub fn finish(mut self) {
        if self.headings.is_none() && !self.settled {
            self.whole("is empty: it has no heading row");
        }
        if let Some(kind) = self.kind.filter(|_| self.headings.is_some()) {
            self.sheets.push(SheetRead { file: self.file.to_string(), kind, rows: self.rows });
        }
    }
}
