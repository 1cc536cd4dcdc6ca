//! The audit trail: who changed what, when, before and after. Only ever added to.

use chrono::{DateTime, Utc};
use kernel::ids::AuditId;

use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect};

use crate::{Conn, Page, StoreError, Writes, rows::trail::audit};

/// One entry of the audit trail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AuditEntry {
    /// Identity.
    pub id: AuditId,
    /// When.
    pub at: DateTime<Utc>,
    /// Who.
    pub actor: String,
    /// The use case, such as `lot_receive`.
    pub operation: String,
    /// What kind of thing was changed, such as `lot`.
    pub subject_kind: String,
    /// Which of them: its id, or its code where that says more.
    pub subject: String,
    /// What it was.
    pub before: Option<serde_json::Value>,
    /// What it became.
    pub after: Option<serde_json::Value>,
    /// Why, where a reason was given.
    pub reason: Option<String>,
    /// The request's idempotency key.
    pub request_key: Option<String>,
}

/// Which entries to list; empty lists all.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct AuditFilter {
    /// Only of this kind of thing.
    pub subject_kind: Option<String>,
    /// Only of this one.
    pub subject: Option<String>,
    /// Only by this person.
    pub actor: Option<String>,
}

/// Puts entries down.
///
/// # Errors
/// [`StoreError`] for one that cannot be kept.
pub fn audit_insert(writes: &mut Writes, entries: &[AuditEntry]) -> Result<(), StoreError> {
    let rows = entries.iter().map(audit::ActiveModel::of).collect::<Result<_, _>>()?;
    writes.insert(rows);
    Ok(())
}

/// Entries, newest first, after the one named.
pub async fn audit_page(
    conn: &impl Conn,
    filter: &AuditFilter,
    after: Option<AuditId>,
    limit: u32,
) -> Result<Page<AuditEntry>, StoreError> {
    let mut query = audit::Entity::find().order_by_desc(audit::Column::Seq).limit(u64::from(limit) + 1);
    for (column, wanted) in [
        (audit::Column::SubjectKind, &filter.subject_kind),
        (audit::Column::Subject, &filter.subject),
        (audit::Column::Actor, &filter.actor),
    ] {
        if let Some(wanted) = wanted {
            query = query.filter(column.eq(wanted.as_str()));
        }
    }
    if let Some(after) = after {
        let seq = audit::Entity::find()
            .select_only()
            .column(audit::Column::Seq)
            .filter(audit::Column::Id.eq(after.0))
            .into_tuple::<i64>()
            .one(conn.connection())
            .await?
            .ok_or_else(|| StoreError::NotFound { what: "audit entry", id: after.to_string() })?;
        query = query.filter(audit::Column::Seq.lt(seq));
    }
    let rows = query.all(conn.connection()).await?;
    let entries = rows.into_iter().map(audit::Model::into_entry).collect::<Result<_, _>>()?;
    Ok(Page::cut(entries, limit))
}
