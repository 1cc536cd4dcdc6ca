//! Places where lots and containers may stand.

use domain::{locations::Location, text::code_key};
use sea_orm::{ColumnTrait, EntityTrait, IntoActiveModel, QueryOrder};

use crate::{
    Conn, StoreError, WriteTx,
    connection::sealed::HasConnection,
    rows::{insert_all, locations::location, update_row},
};

/// All locations, by code.
pub async fn locations(conn: &impl Conn) -> Result<Vec<Location>, StoreError> {
    let rows =
        location::Entity::find().order_by_asc(location::Column::CodeKey).all(conn.connection()).await?;
    Ok(rows.into_iter().map(location::Model::into_location).collect())
}

/// The location of a code, letter case aside.
pub async fn location_by_code(conn: &impl Conn, code: &str) -> Result<Option<Location>, StoreError> {
    let row = location::Entity::find_by_id(code_key(code)).one(conn.connection()).await?;
    Ok(row.map(location::Model::into_location))
}

/// Writes a location: a new one, or the one of that code anew.
pub async fn location_put(tx: &WriteTx, place: &Location) -> Result<(), StoreError> {
    let row = location::Model::of(place);
    if location_by_code(tx, &place.code).await?.is_none() {
        return insert_all(tx.connection(), vec![row]).await;
    }
    let which = location::Column::CodeKey.eq(row.code_key.clone());
    update_row(tx.connection(), row.into_active_model(), which, "location", &place.code).await
}
