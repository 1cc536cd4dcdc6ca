//! Databases for tests: each test has one of its own, on SQLite and on PostgreSQL, and leaves none behind.
//!
//! The PostgreSQL server is named by `STILLROOM_TEST_POSTGRES`, `postgres://root@127.0.0.1:5432/test` unless it is set; its user
//! must be allowed to create databases. A server that cannot be reached fails the test. `STILLROOM_TEST_POSTGRES=skip` leaves the
//! PostgreSQL tests out, and each says so.

use sea_orm::{ConnectOptions, ConnectionTrait, Database, DatabaseConnection};
use std::{
    env,
    path::PathBuf,
    sync::atomic::{AtomicU32, Ordering},
    thread,
    time::Duration,
};
use store::{Backend, Store, StoreOptions};
use tempfile::TempDir;

/// Where tests look for PostgreSQL when nobody says otherwise.
const DEFAULT_SERVER: &str = "postgres://root@127.0.0.1:5432/test";

/// How long a server may take to answer.
const PATIENCE: Duration = Duration::from_secs(10);

static DATABASES: AtomicU32 = AtomicU32::new(0);

/// A database that belongs to one test and goes with it.
pub struct TestDatabase {
    /// The database, migrated unless asked otherwise.
    pub store: Store,
    url: String,
    _place: Place,
}

/// What goes with the database; dropping it removes it.
enum Place {
    Folder { _folder: TempDir },
    Server { _created: Created },
}

/// A database that was created on a server.
struct Created {
    address: String,
    name: String,
}

impl TestDatabase {
    /// A migrated SQLite database in a file of its own.
    pub async fn sqlite() -> Self {
        let database = Self::sqlite_empty().await;
        database.store.migrate().await.expect("the layout can be made");
        database
    }

    /// A SQLite database without tables.
    pub async fn sqlite_empty() -> Self {
        let folder = TempDir::new().expect("a folder for a test");
        let url = format!("sqlite://{}", folder.path().join("test.db").display());
        Self { store: open(&url).await, url, _place: Place::Folder { _folder: folder } }
    }

    /// A migrated PostgreSQL database of its own; `None` when PostgreSQL is to be skipped.
    pub async fn postgres() -> Option<Self> {
        let database = Self::postgres_empty().await?;
        database.store.migrate().await.expect("the layout can be made");
        Some(database)
    }

    /// A PostgreSQL database without tables; `None` when PostgreSQL is to be skipped.
    pub async fn postgres_empty() -> Option<Self> {
        let address = env::var("STILLROOM_TEST_POSTGRES").unwrap_or_else(|_| DEFAULT_SERVER.to_owned());
        if address.eq_ignore_ascii_case("skip") {
            let test = thread::current().name().unwrap_or("a test").to_owned();
            println!("SKIPPED: {test}: STILLROOM_TEST_POSTGRES=skip, nothing was tested on PostgreSQL");
            return None;
        }
        let number = DATABASES.fetch_add(1, Ordering::Relaxed);
        let name = format!("stillroom_test_{}_{}", std::process::id(), number);
        let server = connect(&address).await;
        // Whatever a run that was killed left under this name.
        run(&server, &format!("DROP DATABASE IF EXISTS {name} WITH (FORCE)")).await;
        // The untouched template: others may be connected to the usual one.
        run(&server, &format!("CREATE DATABASE {name} TEMPLATE template0 ENCODING 'UTF8'")).await;
        let created = Created { address, name };
        server.close().await.expect("the server lets go");

        let url = with_database(&created.address, &created.name);
        Some(Self { store: open(&url).await, url, _place: Place::Server { _created: created } })
    }

    /// The address, for another [`Store`] or another programme.
    pub fn url(&self) -> &str {
        &self.url
    }

    /// Which database it is.
    pub fn backend(&self) -> Backend {
        self.store.backend()
    }

    /// The file, on SQLite.
    pub fn path(&self) -> Option<PathBuf> {
        self.url.strip_prefix("sqlite://").map(PathBuf::from)
    }

    /// Another store on the same database: another process, as far as the database can tell.
    pub async fn another_store(&self) -> Store {
        open(&self.url).await
    }

    /// Ends every other connection to it in the middle of whatever it does, as an administrator of the server would. On SQLite
    /// there is nothing to end.
    pub async fn cut_connections(&self) {
        if self.backend() == Backend::Postgres {
            let server = self.raw().await;
            run(
                &server,
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity \
                 WHERE datname = current_database() AND pid <> pg_backend_pid()",
            )
            .await;
        }
    }

    /// A connection that goes round the store, for tampering and for looking behind it.
    pub async fn raw(&self) -> DatabaseConnection {
        connect(&self.url).await
    }
}

impl Drop for Created {
    fn drop(&mut self) {
        let (address, name) = (self.address.clone(), self.name.clone());
        // A thread and a runtime of its own: a test may be unwinding, and its runtime may be gone.
        let gone = thread::spawn(move || {
            let runtime =
                tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
            runtime.block_on(async {
                let server = connect(&address).await;
                run(&server, &format!("DROP DATABASE IF EXISTS {name} WITH (FORCE)")).await;
            });
        });
        let gone = gone.join();
        assert!(gone.is_ok() || thread::panicking(), "a test database was left behind");
    }
}

async fn open(url: &str) -> Store {
    Store::connect(url, &StoreOptions::default()).await.unwrap_or_else(|error| {
        panic!("{url} cannot be opened ({error}); set STILLROOM_TEST_POSTGRES to a server, or to `skip`")
    })
}

async fn connect(url: &str) -> DatabaseConnection {
    let mut options = ConnectOptions::new(url);
    options.max_connections(1).sqlx_logging(false).acquire_timeout(PATIENCE).connect_timeout(PATIENCE);
    Database::connect(options).await.unwrap_or_else(|error| {
        panic!("{url} cannot be reached ({error}); set STILLROOM_TEST_POSTGRES to a server, or to `skip`")
    })
}

async fn run(server: &DatabaseConnection, sql: &str) {
    server.execute_unprepared(sql).await.unwrap_or_else(|error| panic!("{sql}: {error}"));
}

/// The address with another database, parameters after `?` kept.
fn with_database(address: &str, name: &str) -> String {
    let (path, parameters) = address.split_once('?').map_or((address, None), |(a, b)| (a, Some(b)));
    let authority = path.find("://").map_or(0, |at| at + 3);
    let end = path[authority..].find('/').map_or(path.len(), |at| authority + at);
    let parameters = parameters.map(|p| format!("?{p}")).unwrap_or_default();
    format!("{}/{name}{parameters}", &path[..end])
}

/// Runs each of the named functions, `async fn name(database: &TestDatabase)`, as a test on SQLite and as a test on PostgreSQL.
#[macro_export]
macro_rules! on_both_databases {
    ($($name:ident),* $(,)?) => {
        mod on_sqlite {
            $(
                #[tokio::test(flavor = "multi_thread")]
                async fn $name() {
                    let database = $crate::db::TestDatabase::sqlite().await;
                    super::$name(&database).await;
                }
            )*
        }

        mod on_postgres {
            $(
                #[tokio::test(flavor = "multi_thread")]
                async fn $name() {
                    if let Some(database) = $crate::db::TestDatabase::postgres().await {
                        super::$name(&database).await;
                    }
                }
            )*
        }
    };
}

#[cfg(test)]
mod tests {
    use super::with_database;

    #[test]
    fn addresses() {
        assert_eq!(with_database("postgres://u:p@h:5432/test", "x"), "postgres://u:p@h:5432/x");
        assert_eq!(with_database("postgres://h", "x"), "postgres://h/x");
        assert_eq!(with_database("postgres://h/a?sslmode=disable", "x"), "postgres://h/x?sslmode=disable");
    }
}
