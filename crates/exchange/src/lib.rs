//! Sheets in: CSV files and XLSX workbooks become one set of drafts, or a list of everything that is wrong with them.
//!
//! Reading touches nothing but the files: units, dates, ranges and what rows of the same sheets say about each other are
//! checked here; whether the codes exist, and whether the whole fits what the house knows, when the set is applied.
//! The format is written down in `docs/SHEETS.md`.

mod cells;
mod collected;
mod csv_file;
mod figures;
mod headings;
mod kinds;
mod names;
mod problems;
mod reading;
mod row;
mod sheets;
mod xlsx_file;

use app::import::ImportSet;
use domain::Problem;
use kernel::{Currency, DecimalMark};

pub use kinds::SheetKind;
pub use reading::{NamedFile, read_files, read_path};

/// How sheets are to be read.
#[derive(Debug, Clone)]
pub struct ReadOptions {
    /// Agreed for all text cells; number cells of a workbook have no mark.
    pub decimal: DecimalMark,
    /// The currency of money in columns that are in the house's currency.
    pub house_currency: Currency,
    /// What a single sheet holds, whatever its name.
    pub sheet: Option<SheetKind>,
    /// What is refused as too much.
    pub limits: ReadLimits,
}

impl ReadOptions {
    /// Decimal point, kinds told by names, the usual limits.
    pub fn new(house_currency: Currency) -> Self {
        Self { decimal: DecimalMark::Point, house_currency, sheet: None, limits: ReadLimits::default() }
    }
}

/// What is refused as too much; each bound is far above what a small maker has and keeps memory and time finite.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ReadLimits {
    /// Bytes of one file.
    pub file_bytes: u64,
    /// Bytes of one workbook once unpacked.
    pub unpacked_bytes: u64,
    /// Rows of one sheet that are neither empty nor remarks.
    pub rows: usize,
    /// Columns of one sheet.
    pub columns: usize,
    /// Problems that are told one by one; the rest are counted. The same for warnings.
    pub problems: usize,
}

impl Default for ReadLimits {
    fn default() -> Self {
        Self { file_bytes: 64 << 20, unpacked_bytes: 512 << 20, rows: 200_000, columns: 200, problems: 200 }
    }
}

/// What reading found. Only a reading without problems may be applied.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Reading {
    /// The rows that could be read. When there are problems it is a part only, useful to look for more problems.
    pub set: ImportSet,
    /// Everything that is wrong, by sheet and row, up to [`ReadLimits::problems`].
    pub problems: Vec<Problem>,
    /// How many more there are.
    pub more_problems: usize,
    /// What is odd but not wrong.
    pub warnings: Vec<Problem>,
    /// How many more there are.
    pub more_warnings: usize,
    /// The sheets that were recognised, in the order they were read.
    pub sheets: Vec<SheetRead>,
}

impl Reading {
    /// Whether the set may be applied.
    pub fn is_sound(&self) -> bool {
        self.problems.is_empty()
    }
}

/// A sheet that was recognised.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetRead {
    /// `materials.csv`, or `stock.xlsx, worksheet Lots`.
    pub file: String,
    /// What it holds.
    pub kind: SheetKind,
    /// Rows that are neither empty nor remarks, the heading row not counted.
    pub rows: usize,
}
