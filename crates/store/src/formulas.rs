//! Formulas and their versions.

use domain::formulas::{Approval, Formula, FormulaVersion, VersionStatus};
use kernel::ids::FormulaVersionId;

use crate::{StoreError, WriteTx};

/// Adds a formula with the versions it has.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::FORMULA_CODE`](crate::constraints::FORMULA_CODE) or
/// [`constraints::FORMULA_MAKES`](crate::constraints::FORMULA_MAKES).
pub async fn formula_insert(tx: &WriteTx, formula: &Formula) -> Result<(), StoreError> {
    let _ = (tx, formula);
    Err(StoreError::Busy)
}

/// Writes a formula's code, name and product anew; its versions are left alone.
///
/// # Errors
/// [`StoreError::NotFound`], or as for [`formula_insert`].
pub async fn formula_update(tx: &WriteTx, formula: &Formula) -> Result<(), StoreError> {
    let _ = (tx, formula);
    Err(StoreError::Busy)
}

/// Adds a version with its lines.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::VERSION_NUMBER`](crate::constraints::VERSION_NUMBER).
pub async fn version_insert(tx: &WriteTx, version: &FormulaVersion) -> Result<(), StoreError> {
    let _ = (tx, version);
    Err(StoreError::Busy)
}

/// Writes all of a draft anew, lines included.
///
/// # Errors
/// [`StoreError::Changed`] when there is no draft of that id: an approved version never changes.
pub async fn version_replace(tx: &WriteTx, version: &FormulaVersion) -> Result<(), StoreError> {
    let _ = (tx, version);
    Err(StoreError::Busy)
}

/// Moves a version on, from what the caller saw it to be.
///
/// # Errors
/// [`StoreError::Changed`] when the version no longer stands at `from`.
pub async fn version_status_set(
    tx: &WriteTx,
    id: FormulaVersionId,
    from: VersionStatus,
    to: VersionStatus,
    approval: Option<&Approval>,
) -> Result<(), StoreError> {
    let _ = (tx, id, from, to, approval);
    Err(StoreError::Busy)
}
