//! Everything that stands in a test database, for proving that something was not written.

use sea_orm::{ConnectionTrait, DatabaseConnection, DbBackend, Statement};
use std::collections::BTreeMap;

use crate::db::TestDatabase;

impl TestDatabase {
    /// Every row of every table, as the database itself writes them, by table.
    pub async fn contents(&self) -> BTreeMap<String, Vec<String>> {
        let raw = self.raw().await;
        let backend = raw.get_database_backend();
        let tables = match backend {
            DbBackend::Sqlite => {
                "SELECT name AS found FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%'"
            }
            _ => "SELECT tablename::text AS found FROM pg_tables WHERE schemaname = 'public'",
        };
        let mut contents = BTreeMap::new();
        for table in texts(&raw, tables).await {
            let rows = match backend {
                DbBackend::Sqlite => {
                    let columns = format!("SELECT name AS found FROM pragma_table_info('{table}')");
                    let columns: Vec<String> = texts(&raw, &columns)
                        .await
                        .iter()
                        .map(|column| format!("quote(\"{column}\")"))
                        .collect();
                    format!("SELECT {} AS found FROM \"{table}\"", columns.join(" || ',' || "))
                }
                _ => format!("SELECT t::text AS found FROM \"{table}\" t"),
            };
            let mut rows = texts(&raw, &rows).await;
            rows.sort();
            contents.insert(table, rows);
        }
        raw.close().await.unwrap();
        contents
    }
}

async fn texts(raw: &DatabaseConnection, sql: &str) -> Vec<String> {
    let rows = raw.query_all_raw(Statement::from_string(raw.get_database_backend(), sql)).await.unwrap();
    rows.iter().map(|row| row.try_get("", "found").unwrap()).collect()
}
