//! API tokens: their hashes, never themselves.

use chrono::{DateTime, Utc};
use domain::people::Capability;
use kernel::ids::TokenId;
use std::collections::BTreeSet;

use crate::{Conn, StoreError, WriteTx};

/// An API token as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ApiToken {
    /// Identity.
    pub id: TokenId,
    /// Whose it is: the name that stands in the audit trail.
    pub name: String,
    /// SHA-256 of the token, in lower-case hex.
    pub hash: String,
    /// What it allows.
    pub capabilities: BTreeSet<Capability>,
    /// Who made it.
    pub created_by: String,
    /// When.
    pub created_at: DateTime<Utc>,
    /// From when on it no longer works.
    pub expires_at: Option<DateTime<Utc>>,
    /// When it was taken back.
    pub revoked_at: Option<DateTime<Utc>>,
}

/// Adds a token.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::TOKEN_HASH`](crate::constraints::TOKEN_HASH).
pub async fn token_insert(tx: &WriteTx, token: &ApiToken) -> Result<(), StoreError> {
    let _ = (tx, token);
    Err(StoreError::Busy)
}

/// The token of that hash, expired and revoked ones included.
pub async fn token_by_hash(conn: &impl Conn, hash: &str) -> Result<Option<ApiToken>, StoreError> {
    let _ = (conn, hash);
    Err(StoreError::Busy)
}

/// All tokens, in the order they were made.
pub async fn tokens_list(conn: &impl Conn) -> Result<Vec<ApiToken>, StoreError> {
    let _ = (conn,);
    Err(StoreError::Busy)
}

/// Takes a token back. Taking it back again changes nothing.
///
/// # Errors
/// [`StoreError::NotFound`].
pub async fn token_revoke(tx: &WriteTx, id: TokenId, at: DateTime<Utc>) -> Result<(), StoreError> {
    let _ = (tx, id, at);
    Err(StoreError::Busy)
}
