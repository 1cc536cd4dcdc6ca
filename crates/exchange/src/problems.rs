//! Everything that is wrong, gathered in one go and told in the order of the sheets.

use app::import::Place;
use domain::Problem;
use std::{collections::HashMap, sync::Arc};

/// One list of problems or warnings.
#[derive(Debug)]
struct List {
    kept: Vec<Entry>,
    more: usize,
    limit: usize,
}

#[derive(Debug)]
struct Entry {
    file: Arc<str>,
    /// 0 for the whole file.
    row: u32,
    column: Option<String>,
    message: String,
}

impl List {
    fn add(&mut self, file: &Arc<str>, row: u32, column: Option<&str>, message: String) {
        if self.kept.len() < self.limit {
            let column = column.map(str::to_owned);
            self.kept.push(Entry { file: Arc::clone(file), row, column, message });
        } else {
            self.more += 1;
        }
    }

    fn finish(mut self, order: &HashMap<Arc<str>, usize>) -> (Vec<Problem>, usize) {
        self.kept.sort_by_key(|e| (order.get(&e.file).copied().unwrap_or(usize::MAX), e.row));
        let told = self.kept.into_iter().map(|e| {
            let place = match (e.row, e.column) {
                (0, None) => e.file.to_string(),
                (0, Some(column)) => format!("{}, {column}", e.file),
                (row, None) => Place::new(e.file, row).to_string(),
                (row, Some(column)) => Place::new(e.file, row).column(&column),
            };
            Problem { place, message: e.message }
        });
        (told.collect(), self.more)
    }
}

/// Problems and warnings of one reading. A problem forbids the import; a warning does not.
#[derive(Debug)]
pub(crate) struct Problems {
    wrong: List,
    odd: List,
    order: HashMap<Arc<str>, usize>,
}

/// Problems and how many more there are, then the same of warnings.
pub(crate) type Told = ((Vec<Problem>, usize), (Vec<Problem>, usize));

impl Problems {
    pub fn new(limit: usize) -> Self {
        let list = || List { kept: Vec::new(), more: 0, limit };
        Self { wrong: list(), odd: list(), order: HashMap::new() }
    }

    /// Files are told in the order they are opened.
    pub fn open(&mut self, file: &Arc<str>) {
        let next = self.order.len();
        self.order.entry(Arc::clone(file)).or_insert(next);
    }

    /// Something wrong with a whole file or sheet.
    pub fn file(&mut self, file: &Arc<str>, message: impl Into<String>) {
        self.wrong.add(file, 0, None, message.into());
    }

    /// Something wrong with a row.
    pub fn row(&mut self, place: &Place, message: impl Into<String>) {
        self.wrong.add(&place.file, place.row, None, message.into());
    }

    /// Something wrong with one cell.
    pub fn cell(&mut self, place: &Place, column: &str, message: impl Into<String>) {
        self.wrong.add(&place.file, place.row, Some(column), message.into());
    }

    /// Something odd in one cell.
    pub fn warn(&mut self, place: &Place, column: &str, message: impl Into<String>) {
        self.odd.add(&place.file, place.row, Some(column), message.into());
    }

    pub fn finish(self) -> Told {
        let Self { wrong, odd, order } = self;
        (wrong.finish(&order), odd.finish(&order))
    }
}
