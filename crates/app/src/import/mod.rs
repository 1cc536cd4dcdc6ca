//! Imports: sheets of the house applied as one change, all or nothing.
//!
//! A set is worked out against the catalogue first, every problem in it found and named by its place; only a set without problems
//! is written. What the house knows already and the sheets say again is left as it is, so the same sheets twice change nothing.
//! What may not change (a quotation as it was given, an approved version, a receipt) is a problem when the sheets differ.

mod apply;
pub mod drafts;
mod plan;
mod resolve;
mod terms;

pub use drafts::*;

use domain::people::Capability;
use serde::{Deserialize, Serialize};

use crate::{
    App, Change, Error,
    change::{Begun, Work},
};

/// How a set is to be applied.
#[derive(Debug, Clone, Copy, Default, Serialize, Deserialize)]
pub struct ImportOptions {
    /// Check everything and write nothing.
    pub dry_run: bool,
    /// Take prices that are a hundred times another of the same material, or a hundredth of it, for meant.
    pub unusual_prices: bool,
}

/// What became of the rows of one kind.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tally {
    /// New.
    pub created: usize,
    /// Known, and now different.
    pub updated: usize,
    /// Known, and the same.
    pub unchanged: usize,
}

/// What an import did, or would do.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "camelCase")]
pub struct ImportReport {
    /// Whether nothing was written because only a check was asked for.
    pub dry_run: bool,
    /// Materials.
    pub materials: Tally,
    /// Suppliers.
    pub suppliers: Tally,
    /// Quotations.
    pub quotations: Tally,
    /// Exchange rates.
    pub rates: Tally,
    /// Rates of the house.
    #[serde(default)]
    pub house_rates: Tally,
    /// Formula versions.
    pub versions: Tally,
    /// Packs.
    pub packs: Tally,
    /// Lots.
    pub lots: Tally,
}

impl ImportReport {
    /// Whether anything was, or would be, written.
    pub fn changes_anything(&self) -> bool {
        [
            self.materials,
            self.suppliers,
            self.quotations,
            self.rates,
            self.house_rates,
            self.versions,
            self.packs,
            self.lots,
        ]
        .iter()
        .any(|tally| tally.created + tally.updated > 0)
    }
}

impl App {
    /// Applies a set: all of it or nothing.
    ///
    /// # Errors
    /// [`Error::Invalid`] with every problem of the set, each named by file, row and column.
    pub async fn import_apply(
        &self,
        change: &Change<'_>,
        set: &ImportSet,
        options: ImportOptions,
    ) -> Result<ImportReport, Error> {
        let mut work =
            match self.begin_long(change, Capability::Administer, "import", &(set, options)).await? {
                Begun::Repeat(report) => return Ok(report),
                Begun::Fresh(work) => work,
            };
        // Under the write lock of SQLite the catalogue cannot change any more; on PostgreSQL a change made in between meets the
        // unique keys and the whole import is refused.
        self.catalogue_refresh().await?;
        let catalogue = self.snapshot();
        let numbers: Vec<String> = set.lots.iter().map(|lot| lot.number.clone()).collect();
        let known_lots = store::lots::lots_by_number(&work.tx, &numbers).await?;
        let plan = plan::plan(&catalogue, set, known_lots, self.today(), options)?;
        let report = ImportReport { dry_run: options.dry_run, ..plan.report.clone() };
        if options.dry_run || !report.changes_anything() {
            return Ok(report);
        }
        apply::apply(&mut work, &plan).await?;
        finish(work, report).await
    }
}

async fn finish(mut work: Work<'_>, report: ImportReport) -> Result<ImportReport, Error> {
    work.changes_catalogue();
    work.note("import", "sheets", None::<&()>, &report, None)?;
    work.finish(report).await
}
