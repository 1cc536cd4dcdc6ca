//! The heading row: which column holds what.

use app::import::Place;
use std::collections::HashMap;

use crate::{
    cells::Cell,
    kinds::{Column, SheetKind},
    names::{nearest, plain, shown},
    problems::Problems,
};

/// Where the columns of a sheet stand.
#[derive(Debug, Default)]
pub(crate) struct Headings {
    at: HashMap<&'static str, usize>,
    units_at: HashMap<&'static str, usize>,
    /// Cells of the heading row, up to the last one that is filled.
    pub width: usize,
}

impl Headings {
    /// Reads a heading row; everything wrong with it goes to `problems`.
    pub fn read(kind: SheetKind, place: &Place, cells: &[Cell<'_>], problems: &mut Problems) -> Self {
        let mut headings = Self {
            width: cells.iter().rposition(|c| !c.is_empty()).map_or(0, |at| at + 1),
            ..Self::default()
        };
        let mut listed = false;
        for (at, cell) in cells.iter().enumerate() {
            let text = match cell.as_text() {
                Ok(None) => continue,
                Ok(Some(text)) => text,
                Err(why) => {
                    problems.cell(place, "a heading", why);
                    continue;
                }
            };
            let found = find(kind, &text);
            let (name, earlier) = match found {
                Some(Heading::Value(name)) => (name, headings.at.insert(name, at)),
                Some(Heading::Unit(name)) => (name, headings.units_at.insert(name, at)),
                None => {
                    let advice = match nearest(&text, kind.columns().iter().flat_map(Column::names)) {
                        Some(near) => format!("; did you mean “{near}”?"),
                        // All of them once are help enough.
                        None if listed => String::new(),
                        None => {
                            listed = true;
                            let all: Vec<&str> = kind.columns().iter().map(|c| c.name).collect();
                            format!("; it has {}", all.join(", "))
                        }
                    };
                    let column = shown(&text);
                    problems.cell(place, &column, format!("a sheet of {kind} has no such heading{advice}"));
                    continue;
                }
            };
            if earlier.is_some() {
                let unit = if matches!(found, Some(Heading::Unit(_))) { " unit" } else { "" };
                problems.cell(place, &shown(&text), format!("the heading “{name}{unit}” stands twice"));
            }
        }
        for column in kind.columns().iter().filter(|c| c.required && !headings.at.contains_key(c.name)) {
            problems.cell(place, column.name, format!("a sheet of {kind} needs this heading"));
        }
        for name in headings.units_at.keys().filter(|name| !headings.at.contains_key(*name)) {
            problems.cell(place, &format!("{name} unit"), format!("the heading “{name}” is missing"));
        }
        headings
    }

    /// The column of a heading.
    pub fn at(&self, name: &str) -> Option<usize> {
        self.at.get(name).copied()
    }

    /// The column that holds the units of a heading's figures.
    pub fn unit_at(&self, name: &str) -> Option<usize> {
        self.units_at.get(name).copied()
    }
}

enum Heading {
    Value(&'static str),
    Unit(&'static str),
}

fn find(kind: SheetKind, text: &str) -> Option<Heading> {
    let text = plain(text);
    let unit_of = text.strip_suffix("unit");
    kind.columns().iter().find_map(|column| {
        if column.names().any(|name| plain(name) == text) {
            return Some(Heading::Value(column.name));
        }
        let stem = unit_of.filter(|_| column.unit)?;
        column.names().any(|name| plain(name) == stem).then_some(Heading::Unit(column.name))
    })
}

/// The only kind whose headings these can be, when there is exactly one: all known, none missing.
pub(crate) fn kind_by_headings(cells: &[Cell<'_>]) -> Option<SheetKind> {
    let texts: Vec<_> = cells.iter().filter_map(|c| c.as_text().ok().flatten()).collect();
    let fits = |kind: &SheetKind| {
        let found: Vec<Option<Heading>> = texts.iter().map(|text| find(*kind, text)).collect();
        let has = |name: &str| found.iter().any(|h| matches!(h, Some(Heading::Value(n)) if *n == name));
        found.iter().all(Option::is_some) && kind.columns().iter().all(|c| !c.required || has(c.name))
    };
    let mut fitting = SheetKind::ALL.into_iter().filter(fits);
    fitting.next().filter(|_| fitting.next().is_none())
}
