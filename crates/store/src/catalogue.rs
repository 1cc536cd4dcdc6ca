//! The catalogue as a whole: loading it, and the version that grows with each change to it.

use domain::{Catalogue, Settings};

use crate::{Conn, StoreError, WriteTx};

/// The whole catalogue as of one moment.
///
/// # Errors
/// [`StoreError::Corrupt`] for a row that no longer makes sense.
pub async fn catalogue_load(conn: &impl Conn, settings: &Settings) -> Result<Catalogue, StoreError> {
    let _ = (conn, settings);
    Err(StoreError::Busy)
}

/// The catalogue's version.
pub async fn catalogue_version(conn: &impl Conn) -> Result<i64, StoreError> {
    let _ = (conn,);
    Err(StoreError::Busy)
}

/// Raises the catalogue's version and gives the new one. Belongs into every transaction that changes the catalogue. Other
/// processes are told when the transaction is kept, where the database can.
pub async fn catalogue_version_raise(tx: &WriteTx) -> Result<i64, StoreError> {
    let _ = (tx,);
    Err(StoreError::Busy)
}
