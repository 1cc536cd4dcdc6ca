//! The demo maker's sheets, in the binary.

use std::{fs::OpenOptions, io::Write as _, path::Path};

use super::shift;
use crate::failure::Failure;

/// A sheet with its file name.
pub struct Sheet {
    /// `materials.csv`.
    pub name: &'static str,
    /// What it holds.
    pub text: String,
}

macro_rules! embedded {
    ($($name:literal),* $(,)?) => {
        [$(($name, include_str!(concat!("../../../../demo/sheets/", $name)))),*]
    };
}

const SHEETS: [(&str, &str); 11] = embedded![
    "exchange-rates.csv",
    "formula-lines.csv",
    "formulas.csv",
    "house-rates.csv",
    "lots.csv",
    "making-costs.csv",
    "materials.csv",
    "pack-components.csv",
    "packs.csv",
    "quotations.csv",
    "suppliers.csv",
];

/// All sheets with their dates moved by so many days.
///
/// # Errors
/// [`Failure::Fault`] for a sheet that cannot be read.
pub fn moved(days: i64) -> Result<Vec<Sheet>, Failure> {
    SHEETS.iter().map(|&(name, text)| Ok(Sheet { name, text: shift::sheet(text, days)? })).collect()
}

/// Writes all sheets into a folder, which is made when it is absent, and gives their names. Nothing is written over.
///
/// # Errors
/// [`Failure::Usage`] when there are files of those names already; [`Failure::Fault`] when they cannot be written.
pub fn write_sheets(folder: &Path, days: i64) -> Result<Vec<&'static str>, Failure> {
    let sheets = moved(days)?;
    let there: Vec<&str> =
        sheets.iter().map(|sheet| sheet.name).filter(|name| folder.join(name).exists()).collect();
    if !there.is_empty() {
        return Err(Failure::usage(
            "--write-sheets",
            format!("{} holds {} already; nothing is written over", folder.display(), there.join(", ")),
        ));
    }
    let fault =
        |error: std::io::Error| Failure::Fault(format!("{} cannot be written: {error}", folder.display()));
    std::fs::create_dir_all(folder).map_err(fault)?;
    for sheet in &sheets {
        let mut file =
            OpenOptions::new().write(true).create_new(true).open(folder.join(sheet.name)).map_err(fault)?;
        file.write_all(sheet.text.as_bytes()).map_err(fault)?;
    }
    Ok(sheets.iter().map(|sheet| sheet.name).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use exchange::{NamedFile, ReadOptions, SheetKind};
    use kernel::Currency;

    fn check(days: i64) {
        let sheets = moved(days).unwrap();
        let files: Vec<NamedFile<'_>> =
            sheets.iter().map(|sheet| NamedFile { name: sheet.name, bytes: sheet.text.as_bytes() }).collect();
        let reading = exchange::read_files(&files, &ReadOptions::new(Currency::GBP));
        assert_eq!(reading.problems, []);
        assert_eq!(reading.sheets.len(), SheetKind::ALL.len());
        assert!(reading.set.lots.len() > 80);
    }

    #[test]
    fn the_sheets_read_without_a_problem_whatever_the_day() {
        check(0);
        check(1);
        check(-400);
        check(1_190);
    }

    #[test]
    fn nothing_is_written_over() {
        let folder = std::env::temp_dir().join(format!("stillroom-sheets-{}", std::process::id()));
        assert_eq!(write_sheets(&folder, 3).unwrap().len(), SHEETS.len());
        assert!(matches!(write_sheets(&folder, 3), Err(Failure::Usage(_))));
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
