//! Facts about the site as a whole: the currency its values are kept in, whether it holds the demo.

use sea_orm::{ConnectionTrait, DbBackend, Statement};

use crate::{Conn, Store, StoreError, WriteTx, connection::sealed::HasConnection};

fn statement(backend: DbBackend, sql: &str, values: Vec<sea_orm::Value>) -> Statement {
    Statement::from_sql_and_values(backend, sql, values)
}

/// A fact, when somebody has set it.
pub async fn site_fact_get(conn: &impl Conn, name: &str) -> Result<Option<String>, StoreError> {
    let connection = conn.connection();
    let query = statement(
        connection.get_database_backend(),
        "SELECT value FROM site_facts WHERE name = $1",
        vec![name.into()],
    );
    match connection.query_one_raw(query).await? {
        Some(row) => Ok(Some(row.try_get("", "value")?)),
        None => Ok(None),
    }
}

/// Sets a fact, or sets it anew.
pub async fn site_fact_set(tx: &WriteTx, name: &str, value: &str) -> Result<(), StoreError> {
    let connection = tx.connection();
    let insert = statement(
        connection.get_database_backend(),
        "INSERT INTO site_facts (name, value) VALUES ($1, $2) ON CONFLICT (name) DO UPDATE SET value = excluded.value",
        vec![name.into(), value.into()],
    );
    connection.execute_raw(insert).await?;
    Ok(())
}

/// Sets a fact unless somebody has before, and gives what then stands.
pub async fn site_fact_settle(store: &Store, name: &str, value: &str) -> Result<String, StoreError> {
    if let Some(kept) = site_fact_get(store, name).await? {
        return Ok(kept);
    }
    let tx = store.begin_write().await?;
    if let Some(kept) = site_fact_get(&tx, name).await? {
        return Ok(kept);
    }
    site_fact_set(&tx, name, value).await?;
    tx.commit().await?;
    Ok(value.to_owned())
}
