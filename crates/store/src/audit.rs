//! The audit trail: who changed what, when, before and after. Only ever added to.

use chrono::{DateTime, Utc};
use kernel::ids::AuditId;

use crate::{Conn, Page, StoreError, WriteTx};

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

/// Adds an entry.
pub async fn audit_insert(tx: &WriteTx, entry: &AuditEntry) -> Result<(), StoreError> {
    let _ = (tx, entry);
    Err(StoreError::Busy)
}

/// Entries, newest first, after the one named.
pub async fn audit_page(
    conn: &impl Conn,
    filter: &AuditFilter,
    after: Option<AuditId>,
    limit: u32,
) -> Result<Page<AuditEntry>, StoreError> {
    let _ = (conn, filter, after, limit);
    Err(StoreError::Busy)
}
