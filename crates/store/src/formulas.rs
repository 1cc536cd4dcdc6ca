//! Formulas and their versions.

use domain::formulas::{Approval, Formula, FormulaVersion, VersionStatus};
use kernel::ids::FormulaVersionId;

use sea_orm::{
    ColumnTrait, EntityTrait, IntoActiveModel, QueryFilter, QueryOrder, QuerySelect,
    sea_query::{Expr, ExprTrait},
};

use crate::{
    StoreError, WriteTx,
    codes::Word,
    connection::sealed::HasConnection,
    rows::{
        formulas::{formula, line, version},
        insert_all,
        making::cost,
        update_row,
    },
};

/// Adds a formula with the versions it has.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::FORMULA_CODE`](crate::constraints::FORMULA_CODE) or
/// [`constraints::FORMULA_MAKES`](crate::constraints::FORMULA_MAKES).
pub async fn formula_insert(tx: &WriteTx, formula: &Formula) -> Result<(), StoreError> {
    insert_all(tx.connection(), vec![formula::Model::of(formula)]).await?;
    for version in &formula.versions {
        version_insert(tx, version).await?;
    }
    Ok(())
}

/// Writes a formula's code, name and product anew; its versions are left alone.
///
/// # Errors
/// [`StoreError::NotFound`], or as for [`formula_insert`].
pub async fn formula_update(tx: &WriteTx, formula: &Formula) -> Result<(), StoreError> {
    let row = formula::Model::of(formula).into_active_model();
    update_row(tx.connection(), row, formula::Column::Id.eq(formula.id.0), "formula", formula.id).await
}

/// Adds a version with its lines and its costs of making.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::VERSION_NUMBER`](crate::constraints::VERSION_NUMBER).
pub async fn version_insert(tx: &WriteTx, version: &FormulaVersion) -> Result<(), StoreError> {
    insert_all(tx.connection(), vec![version::Model::draft_of(version)]).await?;
    insert_all(tx.connection(), line::Model::all_of(version)).await?;
    insert_all(tx.connection(), cost::Model::all_of(version)).await?;
    // A draft first: the database takes lines of drafts only.
    status_settle(tx, version).await
}

/// Writes all of a draft anew, lines and costs of making included.
///
/// # Errors
/// [`StoreError::Changed`] when there is no draft of that id: an approved version never changes.
pub async fn version_replace(tx: &WriteTx, version: &FormulaVersion) -> Result<(), StoreError> {
    let row = version::Model::draft_of(version).into_active_model();
    let draft = version::Column::Id
        .eq(version.id.0)
        .and(version::Column::Formula.eq(version.formula.0))
        .and(version::Column::Status.eq(VersionStatus::Draft.column_word()));
    let written = update_row(tx.connection(), row, draft, VERSION, version.id).await;
    if matches!(written, Err(StoreError::NotFound { .. })) {
        return Err(StoreError::Changed { what: VERSION, id: version.id.to_string() });
    }
    written?;
    line::Entity::delete_many().filter(line::Column::Version.eq(version.id.0)).exec(tx.connection()).await?;
    insert_all(tx.connection(), line::Model::all_of(version)).await?;
    cost::Entity::delete_many().filter(cost::Column::Version.eq(version.id.0)).exec(tx.connection()).await?;
    insert_all(tx.connection(), cost::Model::all_of(version)).await?;
    status_settle(tx, version).await
}

/// A version as it stands, held so that nobody else writes it before this transaction ends; `None` when there is none.
pub async fn version_held(tx: &WriteTx, id: FormulaVersionId) -> Result<Option<FormulaVersion>, StoreError> {
    let db = tx.connection();
    let Some(row) = version::Entity::find_by_id(id.0).lock_exclusive().one(db).await? else {
        return Ok(None);
    };
    let lines = line::Entity::find()
        .filter(line::Column::Version.eq(id.0))
        .order_by_asc(line::Column::Position)
        .all(db)
        .await?;
    let costs = cost::Entity::find()
        .filter(cost::Column::Version.eq(id.0))
        .order_by_asc(cost::Column::Position)
        .all(db)
        .await?;
    row.into_version(lines, costs).map(Some)
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
    let mut update =
        version::Entity::update_many().col_expr(version::Column::Status, Expr::value(to.column_word()));
    if let Some(approval) = approval {
        update = update
            .col_expr(version::Column::ApprovedBy, Expr::value(approval.by.clone()))
            .col_expr(version::Column::ApprovedOn, Expr::value(approval.on));
    }
    let updated = update
        .filter(version::Column::Id.eq(id.0))
        .filter(version::Column::Status.eq(from.column_word()))
        .exec(tx.connection())
        .await?;
    if updated.rows_affected == 1 {
        Ok(())
    } else {
        Err(StoreError::Changed { what: VERSION, id: id.to_string() })
    }
}

/// What a version is called in errors.
const VERSION: &str = "formula version";

/// Gives a version that was just written as a draft the status and approval it is to have.
async fn status_settle(tx: &WriteTx, version: &FormulaVersion) -> Result<(), StoreError> {
    if version.status == VersionStatus::Draft && version.approval.is_none() {
        return Ok(());
    }
    version_status_set(tx, version.id, VersionStatus::Draft, version.status, version.approval.as_ref()).await
}
