//! What came with lots on paper: results of certificates of analysis, and documents kept elsewhere.

use domain::lots::papers::{LotDocument, LotResult};
use kernel::ids::LotId;
use sea_orm::{ColumnTrait, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder};

use crate::{
    Conn, StoreError, WriteTx,
    connection::sealed::HasConnection,
    rows::{
        containers::{lot_document, lot_result},
        id_lists, insert_all,
    },
};

/// Writes the results of a lot's certificate anew, all of them.
pub async fn lot_results_replace(tx: &WriteTx, lot: LotId, results: &[LotResult]) -> Result<(), StoreError> {
    lot_result::Entity::delete_many().filter(lot_result::Column::Lot.eq(lot.0)).exec(tx.connection()).await?;
    let rows = (1_i64..).zip(results).map(|(position, r)| lot_result::Model::of(lot, position, r));
    insert_all(tx.connection(), rows.collect()).await
}

/// The results of some lots' certificates, each lot's in the order they were entered.
pub async fn lot_results(conn: &impl Conn, lots: &[LotId]) -> Result<Vec<(LotId, LotResult)>, StoreError> {
    let mut results = Vec::new();
    for list in id_lists(lots.iter().map(|id| id.0)) {
        let query = lot_result::Entity::find()
            .filter(lot_result::Column::Lot.is_in(list))
            .order_by_asc(lot_result::Column::Lot)
            .order_by_asc(lot_result::Column::Position);
        for row in query.all(conn.connection()).await? {
            results.push((LotId(row.lot), row.into_result()?));
        }
    }
    Ok(results)
}

/// Adds a document to a lot, after those it has.
pub async fn lot_document_insert(tx: &WriteTx, document: &LotDocument) -> Result<(), StoreError> {
    let before = lot_document::Entity::find()
        .filter(lot_document::Column::Lot.eq(document.lot.0))
        .count(tx.connection())
        .await?;
    let position = i64::try_from(before).unwrap_or(i64::MAX).saturating_add(1);
    insert_all(tx.connection(), vec![lot_document::Model::of(position, document)]).await
}

/// The documents of some lots, each lot's in the order they were added.
pub async fn lot_documents(conn: &impl Conn, lots: &[LotId]) -> Result<Vec<LotDocument>, StoreError> {
    let mut documents = Vec::new();
    for list in id_lists(lots.iter().map(|id| id.0)) {
        let query = lot_document::Entity::find()
            .filter(lot_document::Column::Lot.is_in(list))
            .order_by_asc(lot_document::Column::Lot)
            .order_by_asc(lot_document::Column::Position);
        for row in query.all(conn.connection()).await? {
            documents.push(row.into_document()?);
        }
    }
    Ok(documents)
}
