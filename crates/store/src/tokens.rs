//! API tokens: their hashes, never themselves.

use chrono::{DateTime, Utc};
use domain::people::Capability;
use kernel::ids::TokenId;
use std::collections::BTreeSet;

use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, sea_query::Expr};

use crate::{
    Conn, StoreError, WriteTx,
    connection::sealed::HasConnection,
    rows::{insert_all, trail::token},
};

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
    insert_all(tx.connection(), vec![token::Model::of(token)?]).await
}

/// The token of that hash, expired and revoked ones included.
pub async fn token_by_hash(conn: &impl Conn, hash: &str) -> Result<Option<ApiToken>, StoreError> {
    let row = token::Entity::find().filter(token::Column::Hash.eq(hash)).one(conn.connection()).await?;
    row.map(token::Model::into_token).transpose()
}

/// All tokens, in the order they were made.
pub async fn tokens_list(conn: &impl Conn) -> Result<Vec<ApiToken>, StoreError> {
    let rows = token::Entity::find().order_by_asc(token::Column::Id).all(conn.connection()).await?;
    rows.into_iter().map(token::Model::into_token).collect()
}

/// Takes a token back. Taking it back again changes nothing.
///
/// # Errors
/// [`StoreError::NotFound`].
pub async fn token_revoke(tx: &WriteTx, id: TokenId, at: DateTime<Utc>) -> Result<(), StoreError> {
    let revoked = token::Entity::update_many()
        .col_expr(token::Column::RevokedAt, Expr::value(at.timestamp_micros()))
        .filter(token::Column::Id.eq(id.0))
        .filter(token::Column::RevokedAt.is_null())
        .exec(tx.connection())
        .await?;
    if revoked.rows_affected == 0 && token::Entity::find_by_id(id.0).one(tx.connection()).await?.is_none() {
        return Err(StoreError::NotFound { what: "token", id: id.to_string() });
    }
    Ok(())
}
