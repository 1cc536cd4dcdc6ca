//! The demo maker's own sheets are read as any user's would be.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test may stop at the first surprise"
)]

use exchange::{ReadOptions, SheetKind, read_path};
use kernel::Currency;
use std::path::Path;

#[test]
fn the_demo_sheets_are_sound() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/sheets");
    let reading = read_path(&folder, &ReadOptions::new(Currency::GBP));
    let told: Vec<String> =
        reading.problems.iter().chain(&reading.warnings).map(ToString::to_string).collect();
    assert_eq!(told, Vec::<String>::new());
    let kinds: Vec<SheetKind> = reading.sheets.iter().map(|sheet| sheet.kind).collect();
    assert!(SheetKind::ALL.iter().all(|kind| kinds.contains(kind)), "{kinds:?}");
    // What the demo promises its readers.
    assert!(reading.set.materials.len() >= 35);
    assert!(reading.set.lots.len() >= 80);
    assert!(reading.set.suppliers.len() >= 5);
    assert!(reading.set.formulas.iter().all(|f| f.versions.iter().all(|v| !v.lines.is_empty())));
    assert!(reading.set.packs.iter().all(|p| p.components.as_ref().is_some_and(|c| !c.is_empty())));
    assert!(reading.set.quotations.iter().any(|q| q.offers.len() > 1));
    assert!(reading.set.unread == app::import::Unread::default());
}
