//! Connections, transactions, and who may run what on which.

use migrations::Migrator;
use sea_orm::{
    AccessMode, ConnectionTrait, DatabaseConnection, DatabaseTransaction, DbBackend, DbErr, IsolationLevel,
    SqliteTransactionMode, SqlxError, SqlxPostgresConnector, SqlxSqliteConnector, Statement,
    TransactionOptions, TransactionTrait,
    sqlx::{
        ConnectOptions as _,
        postgres::{PgConnectOptions, PgPoolOptions},
        sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous},
    },
};
use sea_orm_migration::MigratorTrait;
use std::{sync::Arc, time::Duration};

use crate::{
    StoreError,
    turns::{Turn, Turns},
};

/// Which database is behind a [`Store`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Backend {
    /// A file beside the programme.
    Sqlite,
    /// A server.
    Postgres,
}

/// How a [`Store`] connects.
#[derive(Debug, Clone)]
pub struct StoreOptions {
    /// Connections for questions on SQLite; connections for everything on PostgreSQL.
    pub connections: u32,
    /// How long a transaction waits for a connection or a lock before it gives up as [`StoreError::Busy`].
    pub patience: Duration,
}

impl Default for StoreOptions {
    fn default() -> Self {
        Self { connections: 8, patience: Duration::from_secs(15) }
    }
}

/// The database. Cheap to clone; clones share their connections.
#[derive(Debug, Clone)]
pub struct Store {
    backend: Backend,
    writer: DatabaseConnection,
    reader: DatabaseConnection,
    turns: Arc<Turns>,
    patience: Duration,
}

/// A change under way, the only one in the database. Dropped without [`WriteTx::commit`], it leaves nothing behind.
#[derive(Debug)]
pub struct WriteTx {
    // Let go of before the turn is passed on: the order of fields is the order in which they are dropped.
    tx: Arc<DatabaseTransaction>,
    turn: Box<Turn>,
}

/// A transaction that sees one state of the database, whatever others write meanwhile.
#[derive(Debug)]
pub struct ReadTx {
    tx: DatabaseTransaction,
}

pub(crate) mod sealed {
    use super::{DatabaseConnection, DatabaseTransaction, ReadTx, Store, WriteTx};
    use sea_orm::ConnectionTrait;

    pub trait HasConnection: Sync {
        type Connection: ConnectionTrait + Send;

        fn connection(&self) -> &Self::Connection;

        /// The store itself, when this is no transaction yet.
        fn store(&self) -> Option<&Store> {
            None
        }
    }

    impl HasConnection for Store {
        type Connection = DatabaseConnection;

        fn connection(&self) -> &DatabaseConnection {
            &self.reader
        }

        fn store(&self) -> Option<&Store> {
            Some(self)
        }
    }

    impl HasConnection for ReadTx {
        type Connection = DatabaseTransaction;

        fn connection(&self) -> &DatabaseTransaction {
            &self.tx
        }
    }

    impl HasConnection for WriteTx {
        type Connection = DatabaseTransaction;

        fn connection(&self) -> &DatabaseTransaction {
            &self.tx
        }
    }
}

/// What can be asked questions: a [`Store`], a [`ReadTx`] or a [`WriteTx`].
pub trait Conn: sealed::HasConnection {}

impl Conn for Store {}
impl Conn for ReadTx {}
impl Conn for WriteTx {}

/// A number of our own for the lock that lets one process at a time migrate a PostgreSQL database.
const MIGRATION_LOCK: i64 = 0x0073_7469_6c6c_726d;

/// A number of our own for the lock that makes the changes of all processes on a PostgreSQL database take turns.
const WRITING_LOCK: i64 = 0x0073_7469_6c6c_7772;

impl Store {
    /// Connects to `sqlite://PATH` (made when absent) or `postgres://…`. Nothing is migrated; see [`Store::migrate`].
    ///
    /// # Errors
    /// [`StoreError::Address`] or [`StoreError::Unreachable`].
    pub async fn connect(url: &str, options: &StoreOptions) -> Result<Self, StoreError> {
        if let Some(path) = url.strip_prefix("sqlite://") {
            Self::connect_sqlite(path, options).await
        } else if url.starts_with("postgres://") || url.starts_with("postgresql://") {
            Self::connect_postgres(url, options).await
        } else {
            Err(StoreError::Address("it must begin with sqlite:// or postgres://".to_owned()))
        }
    }

    async fn connect_sqlite(path: &str, options: &StoreOptions) -> Result<Self, StoreError> {
        // Without a file, each connection would have a database of its own.
        if path.is_empty() || path.starts_with(":memory:") {
            return Err(StoreError::Address("a path of a file must follow sqlite://".to_owned()));
        }
        let file = SqliteConnectOptions::new()
            .filename(path)
            .synchronous(SqliteSynchronous::Full)
            .foreign_keys(true)
            .busy_timeout(options.patience)
            .disable_statement_logging();
        let pool = || SqlitePoolOptions::new().acquire_timeout(options.patience);

        // One connection writes: waiting in line for it is fair, where SQLite's own waiting is not.
        let writer = pool()
            .max_connections(1)
            .connect_with(file.clone().create_if_missing(true).journal_mode(SqliteJournalMode::Wal))
            .await
            .map_err(|error| StoreError::unreachable(&error))?;
        // Readers open when they are first needed, so after a migration at start; one that tries to write is refused.
        let reader = pool()
            .max_connections(options.connections.max(1))
            .connect_lazy_with(file.pragma("query_only", "1"));

        let store = Self {
            backend: Backend::Sqlite,
            writer: SqlxSqliteConnector::from_sqlx_sqlite_pool(writer),
            reader: SqlxSqliteConnector::from_sqlx_sqlite_pool(reader),
            turns: Arc::default(),
            patience: options.patience,
        };
        store.check_pragmas().await?;
        Ok(store)
    }

    /// What is promised about SQLite hangs on three settings, and a file system may quietly refuse one of them.
    async fn check_pragmas(&self) -> Result<(), StoreError> {
        let ask = |pragma: &str| {
            self.writer.query_one_raw(Statement::from_string(DbBackend::Sqlite, format!("PRAGMA {pragma}")))
        };
        let journal: Option<String> =
            ask("journal_mode").await?.map(|row| row.try_get_by_index(0)).transpose()?;
        let synchronous: Option<i64> =
            ask("synchronous").await?.map(|row| row.try_get_by_index(0)).transpose()?;
        let foreign_keys: Option<i64> =
            ask("foreign_keys").await?.map(|row| row.try_get_by_index(0)).transpose()?;
        match (journal.as_deref(), synchronous, foreign_keys) {
            (Some("wal"), Some(2), Some(1)) => Ok(()),
            found => Err(StoreError::Unreachable {
                reason: format!(
                    "the file system does not let SQLite keep a write-ahead log safely (settings {found:?})"
                ),
            }),
        }
    }

    async fn connect_postgres(url: &str, options: &StoreOptions) -> Result<Self, StoreError> {
        let patience = options.patience.as_millis().to_string();
        let server: PgConnectOptions = url
            .parse()
            // The parser's message may quote the address, and the address may hold a password.
            .map_err(|_| StoreError::Address("it is not written like a PostgreSQL address".to_owned()))?;
        let server = server
            .application_name("stillroom")
            .options([
                ("lock_timeout", patience.as_str()),
                ("default_transaction_isolation", "read committed"),
            ])
            .disable_statement_logging();
        let pool = PgPoolOptions::new()
            .max_connections(options.connections.max(2))
            .acquire_timeout(options.patience)
            .connect_with(server)
            .await
            .map_err(|error| match error {
                // A first connection is not kept waiting by others: nobody answered, however often it was tried.
                SqlxError::PoolTimedOut => StoreError::Unreachable {
                    reason: format!("no server answered within {} s", options.patience.as_secs()),
                },
                error => StoreError::unreachable(&error),
            })?;
        let connection = SqlxPostgresConnector::from_sqlx_postgres_pool(pool);
        Ok(Self {
            backend: Backend::Postgres,
            writer: connection.clone(),
            reader: connection,
            turns: Arc::default(),
            patience: options.patience,
        })
    }

    /// The same store, which tells a watcher of each statement how long it took: for metrics, and for tests that count.
    #[must_use]
    pub fn watched(mut self, watcher: impl Fn(Duration) + Send + Sync + 'static) -> Self {
        let watcher = Arc::new(watcher);
        for connection in [&mut self.writer, &mut self.reader] {
            let watcher = Arc::clone(&watcher);
            connection.set_metric_callback(move |statement| watcher(statement.elapsed));
        }
        self
    }

    /// Which database this is.
    pub fn backend(&self) -> Backend {
        self.backend
    }

    /// Brings the layout up to date; does nothing when it is. Safe when several processes start at once.
    ///
    /// # Errors
    /// [`StoreError::Newer`] when the database was written by a newer programme.
    pub async fn migrate(&self) -> Result<(), StoreError> {
        match self.backend {
            Backend::Sqlite => self.migrate_sqlite().await,
            Backend::Postgres => self.migrate_postgres().await,
        }
    }

    async fn migrate_sqlite(&self) -> Result<(), StoreError> {
        let mut pending = self.pending_migrations().await?.len();
        while let Err(error) = Migrator::up(&self.writer, None).await {
            // Another process may have applied the migration that just failed: go on from there. No progress is a failure.
            let left = self.pending_migrations().await?.len();
            if left >= pending {
                return Err(migration_error(error));
            }
            pending = left;
        }
        Ok(())
    }

    async fn migrate_postgres(&self) -> Result<(), StoreError> {
        // A session of its own holds the lock; waiting for another process to finish may take longer than patience.
        let server = self.writer.get_postgres_connection_pool().connect_options();
        let pool = PgPoolOptions::new()
            .max_connections(1)
            .connect_with(server.as_ref().clone())
            .await
            .map_err(|error| StoreError::unreachable(&error))?;
        let session = SqlxPostgresConnector::from_sqlx_postgres_pool(pool);
        session.execute_unprepared("SET lock_timeout = 0").await?;
        session.execute_unprepared(&format!("SELECT pg_advisory_lock({MIGRATION_LOCK})")).await?;
        let outcome = Migrator::up(&session, None).await;
        // Ends the session, and the lock with it.
        session.close_by_ref().await?;
        outcome.map_err(migration_error)
    }

    /// Names of the migrations that have not been applied, in order.
    ///
    /// # Errors
    /// [`StoreError::Newer`] when the database was written by a newer programme.
    pub async fn pending_migrations(&self) -> Result<Vec<String>, StoreError> {
        let pending =
            Migrator::get_pending_migrations_read_only(&self.writer).await.map_err(migration_error)?;
        Ok(pending.iter().map(|migration| migration.name().to_owned()).collect())
    }

    /// Makes sure that the layout is the programme's own.
    ///
    /// # Errors
    /// [`StoreError::NotMigrated`] or [`StoreError::Newer`].
    pub async fn require_migrated(&self) -> Result<(), StoreError> {
        let pending = self.pending_migrations().await?;
        if pending.is_empty() { Ok(()) } else { Err(StoreError::NotMigrated(pending)) }
    }

    /// Asks the database for a sign of life.
    ///
    /// # Errors
    /// [`StoreError::Unreachable`] or [`StoreError::Busy`].
    pub async fn ping(&self) -> Result<(), StoreError> {
        Ok(self.reader.ping().await?)
    }

    /// Begins a change. There is one at a time; others wait, and those that waited may be committed together.
    ///
    /// # Errors
    /// [`StoreError::Busy`] or [`StoreError::Unreachable`].
    pub async fn begin_write(&self) -> Result<WriteTx, StoreError> {
        self.write(false).await
    }

    /// Begins a change that takes long, such as an import: nobody else's waits for its commit.
    ///
    /// # Errors
    /// As [`Store::begin_write`].
    pub async fn begin_write_alone(&self) -> Result<WriteTx, StoreError> {
        self.write(true).await
    }

    async fn write(&self, alone: bool) -> Result<WriteTx, StoreError> {
        let mut turn = self.turns.take(alone, self.patience).await?;
        let tx = turn.begin(async || self.begin_transaction().await).await?;
        Ok(WriteTx { tx, turn: Box::new(turn) })
    }

    async fn begin_transaction(&self) -> Result<DatabaseTransaction, StoreError> {
        match self.backend {
            // Immediate: a transaction that begins by reading and writes later could find the file locked half-way.
            Backend::Sqlite => {
                let options = TransactionOptions {
                    sqlite_transaction_mode: Some(SqliteTransactionMode::Immediate),
                    ..TransactionOptions::default()
                };
                Ok(self.writer.begin_with_options(options).await?)
            }
            // The session's own isolation: read committed, set when connecting.
            Backend::Postgres => {
                let tx = self.writer.begin().await?;
                tx.execute_unprepared(&format!("SELECT pg_advisory_xact_lock({WRITING_LOCK})")).await?;
                Ok(tx)
            }
        }
    }

    /// Begins a set of questions that are to see one state.
    ///
    /// # Errors
    /// [`StoreError::Busy`] or [`StoreError::Unreachable`].
    pub async fn begin_read(&self) -> Result<ReadTx, StoreError> {
        let tx = match self.backend {
            Backend::Sqlite => self.reader.begin().await?,
            Backend::Postgres => {
                let isolation = Some(IsolationLevel::RepeatableRead);
                self.reader.begin_with_config(isolation, Some(AccessMode::ReadOnly)).await?
            }
        };
        Ok(ReadTx { tx })
    }

    /// The catalogue's version as other processes raise it: on PostgreSQL a receiver that is told of each new version, on SQLite
    /// `None`, since SQLite tells nobody: look the version up now and then. The receiver starts with the version there is now.
    ///
    /// # Errors
    /// [`StoreError::Unreachable`].
    pub async fn catalogue_changes(&self) -> Result<Option<tokio::sync::watch::Receiver<i64>>, StoreError> {
        match self.backend {
            Backend::Sqlite => Ok(None),
            Backend::Postgres => {
                crate::changes::listen(self, self.writer.get_postgres_connection_pool()).await.map(Some)
            }
        }
    }

    /// Closes all connections once they are idle; what comes later fails. Changes under way are committed first.
    pub async fn close(self) {
        let _last = self.turns.take(true, self.patience).await;
        for connection in [&self.reader, &self.writer] {
            if let Err(error) = connection.close_by_ref().await {
                tracing::warn!(error = %StoreError::from(error), "closing the database");
            }
        }
    }
}

/// The library reports a migration it does not know by text alone.
fn migration_error(error: DbErr) -> StoreError {
    match &error {
        DbErr::Custom(text) if text.contains("is missing, this migration has been applied") => {
            let names: Vec<&str> = text.lines().filter_map(|line| line.split('\'').nth(1)).collect();
            StoreError::Newer(names.join(", "))
        }
        _ => error.into(),
    }
}

impl WriteTx {
    /// Keeps what was done. Only when this has returned has anything happened.
    ///
    /// # Errors
    /// Any [`StoreError`]. Nothing was kept, but for [`StoreError::Unreachable`]: a connection that broke at this moment leaves
    /// it unknown, which is what idempotency keys are for.
    pub async fn commit(self) -> Result<(), StoreError> {
        let Self { tx, turn } = self;
        drop(tx);
        turn.keep().await
    }
}
