//! Connections, transactions, and who may run what on which.

use sea_orm::{ConnectionTrait, DatabaseConnection, DatabaseTransaction};
use std::time::Duration;

use crate::StoreError;

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
}

/// A transaction that may change things. Dropped without [`WriteTx::commit`], it leaves nothing behind.
#[derive(Debug)]
pub struct WriteTx {
    tx: DatabaseTransaction,
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

impl Store {
    /// Connects to `sqlite://PATH` (made when absent) or `postgres://…`. Nothing is migrated; see [`Store::migrate`].
    ///
    /// # Errors
    /// [`StoreError::Address`] or [`StoreError::Unreachable`].
    pub async fn connect(url: &str, options: &StoreOptions) -> Result<Self, StoreError> {
        let _ = (url, options);
        Err(StoreError::Address)
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
        Err(StoreError::Busy)
    }

    /// Names of the migrations that have not been applied, in order.
    ///
    /// # Errors
    /// [`StoreError::Newer`] when the database was written by a newer programme.
    pub async fn pending_migrations(&self) -> Result<Vec<String>, StoreError> {
        Err(StoreError::Busy)
    }

    /// Asks the database for a sign of life.
    ///
    /// # Errors
    /// [`StoreError::Unreachable`] or [`StoreError::Busy`].
    pub async fn ping(&self) -> Result<(), StoreError> {
        Err(StoreError::Busy)
    }

    /// Begins a change. On SQLite there is one at a time; others wait.
    ///
    /// # Errors
    /// [`StoreError::Busy`] or [`StoreError::Unreachable`].
    pub async fn begin_write(&self) -> Result<WriteTx, StoreError> {
        Err(StoreError::Busy)
    }

    /// Begins a set of questions that are to see one state.
    ///
    /// # Errors
    /// [`StoreError::Busy`] or [`StoreError::Unreachable`].
    pub async fn begin_read(&self) -> Result<ReadTx, StoreError> {
        Err(StoreError::Busy)
    }

    /// The catalogue's version as other processes raise it: on PostgreSQL a receiver that is told of each new version, on SQLite
    /// `None`, since only this process writes. The receiver starts with the version there is now.
    ///
    /// # Errors
    /// [`StoreError::Unreachable`].
    pub async fn catalogue_changes(&self) -> Result<Option<tokio::sync::watch::Receiver<i64>>, StoreError> {
        Err(StoreError::Busy)
    }

    /// Closes all connections once they are idle; what comes later fails.
    pub async fn close(self) {}
}

impl WriteTx {
    /// Keeps what was done.
    ///
    /// # Errors
    /// Any [`StoreError`]; whether the change was kept is then unknown only for [`StoreError::Unreachable`].
    pub async fn commit(self) -> Result<(), StoreError> {
        Ok(self.tx.commit().await.map_err(StoreError::Database)?)
    }
}
