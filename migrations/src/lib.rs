//! The database's layout, as a list of migrations for SQLite and PostgreSQL.
//!
//! Each migration is one file with one text of SQL for both databases; the few words that differ are written in braces and
//! replaced (see `dialect`). A migration that has been released is never edited: what comes later is a new one.
//!
//! Names of constraints matter, since the store tells them apart: `uq_TABLE_COLUMNS` for what is unique (SQLite only says which
//! columns, and the store puts the name together from them), `ck_TABLE_WHAT` for checks, `fk_TABLE_COLUMN` for references, and
//! for triggers that refuse a change `kept_TABLE` or `fixed_TABLE`.

use sea_orm_migration::{
    MigrationTrait, MigratorTrait, SchemaManager, async_trait,
    sea_orm::{ConnectionTrait, DbBackend, DbErr},
};

mod m0001_catalogue;
mod m0002_tickets;
mod m0003_stock;
mod m0004_making;
mod m0005_trail;
mod m0006_site;
mod m0007_lines;
mod m0008_landed_price;
mod m0009_making_cost;
mod m0010_standards;
mod m0011_charges;
mod m0013_lots;
mod m0014_counts;
mod m0015_corrections;
mod m0016_ticket_life;
mod m0017_finishing;
mod m0019_today;
mod m0020_scenarios;

/// All migrations, in order.
#[derive(Debug, Clone, Copy)]
pub struct Migrator;

#[async_trait::async_trait]
impl MigratorTrait for Migrator {
    fn migrations() -> Vec<Box<dyn MigrationTrait>> {
        vec![
            Box::new(m0001_catalogue::Migration),
            Box::new(m0002_tickets::Migration),
            Box::new(m0003_stock::Migration),
            Box::new(m0004_making::Migration),
            Box::new(m0005_trail::Migration),
            Box::new(m0006_site::Migration),
            Box::new(m0007_lines::Migration),
            Box::new(m0008_landed_price::Migration),
            Box::new(m0009_making_cost::Migration),
            Box::new(m0010_standards::Migration),
            Box::new(m0011_charges::Migration),
            Box::new(m0013_lots::Migration),
            Box::new(m0014_counts::Migration),
            Box::new(m0015_corrections::Migration),
            Box::new(m0016_ticket_life::Migration),
            Box::new(m0017_finishing::Migration),
            Box::new(m0019_today::Migration),
            Box::new(m0020_scenarios::Migration),
        ]
    }
}

/// Makes a `Migration` of texts of SQL: one for both databases, and what only one of them is given after it.
///
/// The name is written out, and never derived from anything that could be the same twice: a second migration of one name would
/// be taken for applied. Every migration runs in a transaction, on SQLite too, or one that fails half-way could not be repeated.
macro_rules! migration {
    ($name:literal, both: $both:expr, sqlite: $sqlite:expr, postgres: $postgres:expr) => {
        pub(crate) struct Migration;

        impl sea_orm_migration::MigrationName for Migration {
            fn name(&self) -> &'static str {
                $name
            }
        }

        #[sea_orm_migration::async_trait::async_trait]
        impl sea_orm_migration::MigrationTrait for Migration {
            fn use_transaction(&self) -> Option<bool> {
                Some(true)
            }

            async fn up(
                &self,
                manager: &sea_orm_migration::SchemaManager,
            ) -> Result<(), sea_orm_migration::DbErr> {
                crate::run(manager, $both, $sqlite, $postgres).await
            }
        }
    };
}
pub(crate) use migration;

/// The text with the words in braces replaced by the database's own. SQLite's tables are `STRICT`, so that a column of whole
/// numbers refuses everything else; a double could otherwise creep in without a word.
fn dialect(sql: &str, backend: DbBackend) -> String {
    let words: [(&str, &str); 6] = if backend == DbBackend::Sqlite {
        [
            ("{id}", "BLOB"),
            ("{int}", "INTEGER"),
            ("{date}", "TEXT"),
            ("{text}", "TEXT"),
            ("{running number}", "INTEGER PRIMARY KEY AUTOINCREMENT"),
            ("{strict}", "STRICT"),
        ]
    } else {
        [
            ("{id}", "UUID"),
            ("{int}", "BIGINT"),
            ("{date}", "DATE"),
            ("{text}", "TEXT"),
            ("{running number}", "BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY"),
            ("{strict}", ""),
        ]
    };
    words.into_iter().fold(sql.to_owned(), |text, (word, own)| text.replace(word, own))
}

async fn run(manager: &SchemaManager<'_>, both: &str, sqlite: &str, postgres: &str) -> Result<(), DbErr> {
    let backend = manager.get_database_backend();
    let own = if backend == DbBackend::Sqlite { sqlite } else { postgres };
    let connection = manager.get_connection();
    for text in [both, own] {
        if !text.trim().is_empty() {
            connection.execute_unprepared(&dialect(text, backend)).await?;
        }
    }
    Ok(())
}
