//! Requests that were answered: a change-making request sent twice happens once and answers the same.

use chrono::{DateTime, Utc};

use sea_orm::{ColumnTrait, EntityTrait, QueryFilter};

use crate::{Conn, StoreError, WriteTx, Writes, connection::sealed::HasConnection, rows::trail::request};

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
    let row = request::Entity::find_by_id(key).one(conn.connection()).await?;
    row.map(request::Model::into_request).transpose()
}

/// Puts a request and its answer down; the change looked before whether it was answered.
///
/// # Errors
/// [`StoreError`] for one that cannot be kept. When it is written: [`StoreError::Constraint`] named
/// [`constraints::REQUEST_KEY`](crate::constraints::REQUEST_KEY) when another was faster: drop the transaction, and answer with what
/// [`request_find`] then finds.
pub fn request_insert(writes: &mut Writes, request: &StoredRequest) -> Result<(), StoreError> {
    writes.insert(vec![request::Model::of(request)?]);
    Ok(())
}

/// Forgets requests answered before a moment, and says how many.
pub async fn requests_forget(tx: &WriteTx, before: DateTime<Utc>) -> Result<u64, StoreError> {
    let gone = request::Entity::delete_many()
        .filter(request::Column::AnsweredAt.lt(before.timestamp_micros()))
        .exec(tx.connection())
        .await?;
    Ok(gone.rows_affected)
}
