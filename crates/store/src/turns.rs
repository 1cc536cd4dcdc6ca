//! Changes take turns, and those that come while others are at work are committed together.
//!
//! A database writes one change at a time: SQLite because it has one writer, PostgreSQL because an advisory lock says so, across
//! all processes that share it. What a change waits for is mostly the disk, at its commit; so changes that queue up meanwhile share
//! one transaction, each inside a savepoint of its own, and one commit answers all of them. A change that fails rolls back to its
//! savepoint and takes nobody with it. Nobody is told that something happened before the commit has succeeded; when the commit
//! fails, everybody whose change was in it is told so. A change that finds nobody else has a transaction to itself, without a
//! savepoint.
//!
//! One writer at a time also means that two changes never wait for each other's locks, in whichever order they take them.
//!
//! Bounds: [`WAITING_MAX`] changes wait, each for as long as the store is patient; [`SHARED_MAX`] share a transaction, and none joins
//! one that has lasted [`SHARED_FOR`].
//!
//! A turn may be given up at any moment, by an error or because whoever asked went away. What it had begun is undone by the next to
//! use the transaction; the commit itself runs as a task of its own and is not given up.

use sea_orm::{ConnectionTrait, DatabaseTransaction, DbErr};
use std::{
    collections::VecDeque,
    sync::{Arc, Mutex, MutexGuard, PoisonError},
    time::{Duration, Instant},
};
use tokio::{
    runtime::Handle,
    sync::oneshot::{self, error::RecvError},
    time::timeout,
};

use crate::StoreError;

/// Changes that may wait for their turn; more are refused as [`StoreError::Busy`].
const WAITING_MAX: usize = 1_024;

/// Changes that share one transaction at most.
const SHARED_MAX: usize = 64;

/// How long a transaction may have lasted for another change to join it, so that the first does not wait for long.
const SHARED_FOR: Duration = Duration::from_millis(100);

/// Whose turn it is to write, and who waits.
#[derive(Debug, Default)]
pub(crate) struct Turns {
    line: Mutex<Line>,
}

#[derive(Debug, Default)]
struct Line {
    /// Somebody has the turn.
    taken: bool,
    waiting: VecDeque<Waiting>,
}

/// One who waits for the turn.
#[derive(Debug)]
struct Waiting {
    /// Shares a transaction with nobody.
    alone: bool,
    call: oneshot::Sender<Turn>,
}

/// The right to write. Dropped, it is passed on, and what was begun with it and not [kept](Turn::keep) is undone.
#[derive(Debug)]
pub(crate) struct Turn {
    turns: Arc<Turns>,
    alone: bool,
    shared: Option<Shared>,
    /// Passed on; nothing is left to do.
    over: bool,
}

/// A transaction that changes share.
#[derive(Debug)]
struct Shared {
    tx: Arc<DatabaseTransaction>,
    /// Those whose changes are in it, to be told once it is committed.
    done: Vec<oneshot::Sender<Result<(), DbErr>>>,
    begun: Instant,
    /// Joined by nobody.
    alone: bool,
    /// Names given to savepoints so far.
    names: u32,
    /// The savepoint the change under way began at; the first change of a transaction has none.
    savepoint: Option<u32>,
    /// A change was given up half-way: back to the savepoint before anything else.
    undo: bool,
    /// A change is under way that would leave something behind.
    working: bool,
}

impl Turns {
    fn line(&self) -> MutexGuard<'_, Line> {
        // Nothing below panics while it holds the lock.
        self.line.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Waits for the turn.
    ///
    /// # Errors
    /// [`StoreError::Busy`] when too many wait, or when it does not come in time.
    pub(crate) async fn take(self: &Arc<Self>, alone: bool, patience: Duration) -> Result<Turn, StoreError> {
        let called = {
            let mut line = self.line();
            if !line.taken {
                line.taken = true;
                return Ok(Turn { turns: Arc::clone(self), alone, shared: None, over: false });
            }
            if line.waiting.len() >= WAITING_MAX {
                line.waiting.retain(|waiting| !waiting.call.is_closed());
                if line.waiting.len() >= WAITING_MAX {
                    return Err(StoreError::Busy);
                }
            }
            let (call, called) = oneshot::channel();
            line.waiting.push_back(Waiting { alone, call });
            called
        };
        match timeout(patience, called).await {
            Ok(Ok(mut turn)) => {
                turn.alone = alone;
                Ok(turn)
            }
            Ok(Err(_)) | Err(_) => Err(StoreError::Busy),
        }
    }

    /// The next that waits and may share what is under way; the turn is nobody's when nobody waits and nothing is under way.
    fn next(&self, sharing: bool) -> Option<oneshot::Sender<Turn>> {
        let mut line = self.line();
        while let Some(first) = line.waiting.front() {
            if !first.call.is_closed() {
                if sharing && first.alone {
                    return None;
                }
                return line.waiting.pop_front().map(|waiting| waiting.call);
            }
            line.waiting.pop_front();
        }
        if !sharing {
            line.taken = false;
        }
        None
    }
}

impl Turn {
    /// Makes ready to write: joins the transaction that came with the turn, or has one begun.
    ///
    /// # Errors
    /// What `begin` says.
    pub(crate) async fn begin(
        &mut self,
        begin: impl AsyncFnOnce() -> Result<DatabaseTransaction, StoreError>,
    ) -> Result<Arc<DatabaseTransaction>, StoreError> {
        if let Some(shared) = &mut self.shared {
            match shared.join().await {
                Ok(()) => return Ok(Arc::clone(&shared.tx)),
                // The connection is gone, and with it what the others did: they are told, and this change begins afresh.
                Err(error) => self.lose(&error),
            }
        }
        let tx = Arc::new(begin().await?);
        self.shared = Some(Shared {
            tx: Arc::clone(&tx),
            done: Vec::new(),
            begun: Instant::now(),
            alone: self.alone,
            names: 0,
            savepoint: None,
            undo: false,
            working: true,
        });
        Ok(tx)
    }

    /// Keeps what was done, and waits until it is committed. The transaction must not be held by the caller any more.
    pub(crate) async fn keep(mut self) -> Result<(), StoreError> {
        let (tell, told) = oneshot::channel();
        if let Some(shared) = &mut self.shared {
            shared.working = false;
            shared.done.push(tell);
        }
        self.pass_on();
        match told.await {
            Ok(outcome) => Ok(outcome?),
            Err(RecvError { .. }) => {
                Err(StoreError::Unreachable { reason: "the programme stopped before the commit".to_owned() })
            }
        }
    }

    /// Tells everybody whose change was in the transaction that it is lost.
    fn lose(&mut self, error: &DbErr) {
        for tell in self.shared.take().into_iter().flat_map(|shared| shared.done) {
            // Whoever went away need not be told.
            let _ = tell.send(Err(error.clone()));
        }
    }

    /// Gives the turn to the next: with the transaction when it has room, else once it is committed.
    fn pass_on(&mut self) {
        if std::mem::replace(&mut self.over, true) {
            return;
        }
        if let Some(shared) = &mut self.shared {
            shared.undo |= std::mem::take(&mut shared.working);
            if shared.done.is_empty() {
                // The driver rolls back what is dropped.
                self.shared = None;
            }
        }
        let mut turn =
            Turn { turns: Arc::clone(&self.turns), alone: false, shared: self.shared.take(), over: false };
        while turn.shared.as_ref().is_none_or(Shared::has_room) {
            let sharing = turn.shared.is_some();
            let Some(call) = turn.turns.next(sharing) else {
                if sharing {
                    break;
                }
                turn.over = true;
                return;
            };
            match call.send(turn) {
                Ok(()) => return,
                // It went away just now.
                Err(back) => turn = back,
            }
        }
        match Handle::try_current() {
            Ok(runtime) => {
                runtime.spawn(turn.commit());
            }
            // Nobody is left to wait for it: the driver rolls back.
            Err(_) => turn.shared = None,
        }
    }

    /// Commits, and tells everybody whose change was in it. Then the turn is the next one's.
    async fn commit(mut self) {
        let Some(shared) = self.shared.take() else { return };
        let Shared { tx, done, savepoint, undo, .. } = shared;
        let outcome = match (undo, savepoint) {
            (true, Some(name)) => {
                tx.execute_unprepared(&format!("ROLLBACK TO SAVEPOINT s{name}")).await.map(drop)
            }
            _ => Ok(()),
        };
        let outcome = match (outcome, Arc::into_inner(tx)) {
            (Ok(()), Some(tx)) => tx.commit().await,
            (Ok(()), None) => Err(DbErr::Custom("a transaction is held by two".to_owned())),
            (Err(error), _) => Err(error),
        };
        // The next begins while these are told.
        drop(self);
        for tell in done {
            let _ = tell.send(outcome.clone());
        }
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        self.pass_on();
    }
}

impl Shared {
    fn has_room(&self) -> bool {
        !self.alone && self.done.len() < SHARED_MAX && self.begun.elapsed() < SHARED_FOR
    }

    /// Undoes what the one before left half done, and sets the savepoint of the next. May be given up half-way: nothing is undone
    /// on account of a savepoint of which it is not certain that it was set.
    async fn join(&mut self) -> Result<(), DbErr> {
        if let (true, Some(name)) = (self.undo, self.savepoint) {
            self.tx.execute_unprepared(&format!("ROLLBACK TO SAVEPOINT s{name}")).await?;
            self.undo = false;
        } else {
            self.names += 1;
            let name = self.names;
            let text = match self.savepoint.take() {
                Some(before) => format!("RELEASE SAVEPOINT s{before}; SAVEPOINT s{name}"),
                None => format!("SAVEPOINT s{name}"),
            };
            self.tx.execute_unprepared(&text).await?;
            self.savepoint = Some(name);
        }
        self.working = true;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use sea_orm::{ConnectOptions, Database, DatabaseConnection, DbBackend, Statement, TransactionTrait};

    const PATIENCE: Duration = Duration::from_secs(30);

    async fn house() -> (Arc<Turns>, DatabaseConnection) {
        let mut options = ConnectOptions::new("sqlite::memory:");
        options.max_connections(1);
        let database = Database::connect(options).await.unwrap();
        database
            .execute_unprepared(
                "CREATE TABLE shelf (id INTEGER PRIMARY KEY) STRICT;
                 CREATE TABLE jar (shelf INTEGER REFERENCES shelf (id) DEFERRABLE INITIALLY DEFERRED) STRICT;",
            )
            .await
            .unwrap();
        (Arc::default(), database)
    }

    /// One change: takes its turn, runs the text, and keeps it unless told to give up.
    async fn change(
        turns: Arc<Turns>,
        database: DatabaseConnection,
        text: String,
        keep: bool,
    ) -> Result<(), StoreError> {
        let mut turn = turns.take(false, PATIENCE).await?;
        let tx = turn.begin(async || Ok(database.begin().await?)).await?;
        tx.execute_unprepared(&text).await?;
        drop(tx);
        if keep { turn.keep().await } else { Err(StoreError::Busy) }
    }

    async fn count(database: &DatabaseConnection, table: &str) -> i64 {
        let text = format!("SELECT COUNT(*) FROM {table}");
        let row = database.query_one_raw(Statement::from_string(DbBackend::Sqlite, text)).await.unwrap();
        row.unwrap().try_get_by_index(0).unwrap()
    }

    /// Holds the turn until as many changes wait as are given, then lets go: they share what comes next.
    async fn together(
        turns: &Arc<Turns>,
        database: &DatabaseConnection,
        changes: Vec<(String, bool)>,
    ) -> Vec<Result<(), StoreError>> {
        let held = turns.take(false, PATIENCE).await.unwrap();
        let mut tasks = Vec::new();
        for (text, keep) in changes {
            let waiting = turns.line().waiting.len();
            tasks.push(tokio::spawn(change(Arc::clone(turns), database.clone(), text, keep)));
            while turns.line().waiting.len() == waiting {
                tokio::task::yield_now().await;
            }
        }
        drop(held);
        let mut answers = Vec::new();
        for task in tasks {
            answers.push(task.await.unwrap());
        }
        answers
    }

    #[tokio::test]
    async fn one_that_fails_takes_nobody_with_it() {
        let (turns, database) = house().await;
        let insert = |id: u32| format!("INSERT INTO shelf VALUES ({id})");
        for order in 0..4 {
            database.execute_unprepared("DELETE FROM shelf").await.unwrap();
            let mut changes = vec![
                (insert(1), true),
                (insert(2), false),
                (format!("{}; {}", insert(3), insert(1)), true),
                (insert(4), true),
            ];
            changes.rotate_left(order);
            let answers = together(&turns, &database, changes).await;
            let mut kept: Vec<bool> = answers.iter().map(Result::is_ok).collect();
            kept.rotate_right(order);
            // The third comes before the first once: then it is the first that finds its place taken.
            assert_eq!((kept[1], kept[3]), (false, true), "{order}: {answers:?}");
            assert!(kept[0] != kept[2], "{order}: {answers:?}");
            assert_eq!(count(&database, "shelf").await, if kept[0] { 2 } else { 3 });
        }
        assert!(!turns.line().taken);
    }

    #[tokio::test]
    async fn a_commit_that_fails_fails_for_everybody_in_it() {
        let (turns, database) = house().await;
        let changes = vec![
            ("INSERT INTO shelf VALUES (1)".to_owned(), true),
            // A reference that is looked at by the commit only.
            ("INSERT INTO jar VALUES (7)".to_owned(), true),
            ("INSERT INTO shelf VALUES (2)".to_owned(), true),
        ];
        let answers = together(&turns, &database, changes).await;
        assert!(answers.iter().all(Result::is_err), "{answers:?}");
        assert_eq!((count(&database, "shelf").await, count(&database, "jar").await), (0, 0));
        // And the next is none the worse for it.
        change(Arc::clone(&turns), database.clone(), "INSERT INTO shelf VALUES (3)".to_owned(), true)
            .await
            .unwrap();
        assert_eq!(count(&database, "shelf").await, 1);
    }

    #[tokio::test]
    async fn whoever_goes_away_leaves_nothing() {
        let (turns, database) = house().await;
        let held = turns.take(false, PATIENCE).await.unwrap();
        let mut first = tokio::spawn(change(
            Arc::clone(&turns),
            database.clone(),
            "INSERT INTO shelf VALUES (1)".to_owned(),
            true,
        ));
        while turns.line().waiting.is_empty() {
            tokio::task::yield_now().await;
        }
        // Goes away while it waits, and one that goes away half-way.
        let waiting = tokio::spawn({
            let turns = Arc::clone(&turns);
            async move { turns.take(false, PATIENCE).await.map(drop) }
        });
        let half_way = tokio::spawn({
            let (turns, database) = (Arc::clone(&turns), database.clone());
            async move {
                let mut turn = turns.take(false, PATIENCE).await.unwrap();
                let tx = turn.begin(async || Ok(database.begin().await?)).await.unwrap();
                tx.execute_unprepared("INSERT INTO shelf VALUES (2)").await.unwrap();
                std::future::pending::<()>().await;
                drop(tx);
            }
        });
        while turns.line().waiting.len() < 3 {
            tokio::task::yield_now().await;
        }
        waiting.abort();
        assert!(waiting.await.unwrap_err().is_cancelled());
        drop(held);
        // The first has done its part, and is not told so before the commit.
        while !turns.line().waiting.is_empty() {
            tokio::task::yield_now().await;
        }
        assert!(timeout(Duration::from_millis(50), &mut first).await.is_err());
        half_way.abort();
        assert!(half_way.await.unwrap_err().is_cancelled());
        first.await.unwrap().unwrap();
        assert_eq!(count(&database, "shelf").await, 1);
        assert!(!turns.line().taken);
    }

    #[tokio::test]
    async fn a_long_one_is_joined_by_nobody() {
        let (turns, database) = house().await;
        let mut long = turns.take(true, PATIENCE).await.unwrap();
        let tx = long.begin(async || Ok(database.begin().await?)).await.unwrap();
        tx.execute_unprepared("INSERT INTO shelf VALUES (1)").await.unwrap();
        let next = tokio::spawn(change(
            Arc::clone(&turns),
            database.clone(),
            // Were it in the same transaction, the commit of both would fail.
            "INSERT INTO jar VALUES (7)".to_owned(),
            true,
        ));
        while turns.line().waiting.is_empty() {
            tokio::task::yield_now().await;
        }
        drop(tx);
        long.keep().await.unwrap();
        assert!(next.await.unwrap().is_err());
        assert_eq!(count(&database, "shelf").await, 1);
    }

    #[tokio::test]
    async fn the_line_has_an_end() {
        let (turns, _) = house().await;
        let held = turns.take(false, PATIENCE).await.unwrap();
        let mut tasks = Vec::new();
        for _ in 0..WAITING_MAX {
            let turns = Arc::clone(&turns);
            tasks.push(tokio::spawn(async move { turns.take(false, PATIENCE).await.map(drop) }));
        }
        while turns.line().waiting.len() < WAITING_MAX {
            tokio::task::yield_now().await;
        }
        assert!(matches!(turns.take(false, PATIENCE).await, Err(StoreError::Busy)));
        drop(held);
        for task in tasks {
            task.await.unwrap().unwrap();
        }
        assert!(turns.take(false, Duration::ZERO).await.is_ok());
    }
}
