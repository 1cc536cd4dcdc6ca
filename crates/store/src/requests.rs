//! Requests that were answered: a change-making request sent twice happens once and answers the same.

use chrono::{DateTime, Utc};

use crate::{Conn, StoreError, WriteTx};

/// A request that was answered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredRequest {
    /// The key the client chose.
    pub key: String,
    /// The use case.
    pub operation: String,
    /// Hash of the input: the same key with another input is a mistake.
    pub input_hash: String,
    /// What was answered, as JSON.
    pub answer: serde_json::Value,
    /// When.
    pub at: DateTime<Utc>,
}

/// The request of that key, when it was answered before.
pub async fn request_find(conn: &impl Conn, key: &str) -> Result<Option<StoredRequest>, StoreError> {
    let _ = (conn, key);
    Err(StoreError::Busy)
}

/// Keeps a request and its answer; belongs into the transaction of the change.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::REQUEST_KEY`](crate::constraints::REQUEST_KEY) when another was faster: drop
/// the transaction, and answer with what [`request_find`] then finds.
pub async fn request_insert(tx: &WriteTx, request: &StoredRequest) -> Result<(), StoreError> {
    let _ = (tx, request);
    Err(StoreError::Busy)
}

/// Forgets requests answered before a moment, and says how many.
pub async fn requests_forget(tx: &WriteTx, before: DateTime<Utc>) -> Result<u64, StoreError> {
    let _ = (tx, before);
    Err(StoreError::Busy)
}
