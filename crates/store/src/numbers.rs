//! Running numbers: of lots, of tickets.

use sea_orm::{ConnectionTrait, Statement};

use crate::{StoreError, WriteTx, connection::sealed::HasConnection};

/// The next number of a series, from 1. A number whose transaction is dropped is given again; one that was kept never is.
pub async fn number_next(tx: &WriteTx, series: &str) -> Result<i64, StoreError> {
    let connection = tx.connection();
    let statement = Statement::from_sql_and_values(
        connection.get_database_backend(),
        "INSERT INTO number_series (series, last) VALUES ($1, 1) \
         ON CONFLICT (series) DO UPDATE SET last = number_series.last + 1 RETURNING last",
        [series.into()],
    );
    let row = connection.query_one_raw(statement).await?;
    row.map(|row| row.try_get_by_index(0))
        .transpose()?
        .ok_or_else(|| StoreError::NotFound { what: "number series", id: series.to_owned() })
}
