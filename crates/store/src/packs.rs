//! Packs.

use domain::packs::Pack;

use crate::{StoreError, WriteTx};

/// Adds a pack with its components.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::PACK_CODE`](crate::constraints::PACK_CODE) when its code is taken.
pub async fn pack_insert(tx: &WriteTx, pack: &Pack) -> Result<(), StoreError> {
    let _ = (tx, pack);
    Err(StoreError::Busy)
}

/// Writes all of a pack anew, components included.
///
/// # Errors
/// [`StoreError::NotFound`], or as for [`pack_insert`].
pub async fn pack_update(tx: &WriteTx, pack: &Pack) -> Result<(), StoreError> {
    let _ = (tx, pack);
    Err(StoreError::Busy)
}
