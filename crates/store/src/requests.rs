//! Requests that were answered: a change-making request sent twice happens once and answers the same.

use chrono::{DateTime, Utc};

use sea_orm::{ColumnTrait, EntityTrait, QueryFilter};

use crate::{
    Conn, StoreError, WriteTx,
    connection::sealed::HasConnection,
    rows::{insert_all, trail::request},
};

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

/// Keeps a request and its answer; belongs into the transaction of the change.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::REQUEST_KEY`](crate::constraints::REQUEST_KEY) when another was faster: drop
/// the transaction, and answer with what [`request_find`] then finds.
pub async fn request_insert(tx: &WriteTx, request: &StoredRequest) -> Result<(), StoreError> {
    insert_all(tx.connection(), vec![request::Model::of(request)?]).await
}

/// Writes the answer of a request kept before, in the transaction that kept it.
///
/// # Errors
/// [`StoreError::NotFound`].
pub async fn request_answer_set(
    tx: &WriteTx,
    key: &str,
    answer: &serde_json::Value,
) -> Result<(), StoreError> {
    let changed = request::Entity::update_many()
        .col_expr(request::Column::Answer, answer.to_string().into())
        .filter(request::Column::Key.eq(key))
        .exec(tx.connection())
        .await?;
    if changed.rows_affected == 0 {
        return Err(StoreError::NotFound { what: "request", id: key.to_owned() });
    }
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
