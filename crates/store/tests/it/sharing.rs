//! Changes that share a commit: each stands or falls alone, and nobody is told anything before the commit.

use std::time::Duration;
use store::{
    Store, StoreError,
    stock::{ledger_verify, post},
};
use testkit::{
    db::TestDatabase,
    on_both_databases,
    samples::{quantity, weighed},
};
use tokio::task::JoinHandle;

use crate::house::{House, get, tx};

on_both_databases! {
    each_of_those_that_share_stands_alone,
    nobody_is_told_before_the_commit,
    long_changes_share_with_nobody,
    whoever_was_in_a_broken_transaction_is_told,
}

/// Tasks that post so much of a lot, and wait in line in the order given.
async fn in_line(
    store: &Store,
    lot: &domain::lots::Lot,
    amounts: &[&str],
) -> Vec<JoinHandle<Result<(), StoreError>>> {
    let mut tasks = Vec::new();
    for amount in amounts {
        let (store, movement) = (store.clone(), weighed(lot, amount));
        tasks.push(tokio::spawn(async move {
            let tx = store.begin_write().await?;
            post(&tx, &[movement]).await?;
            tx.commit().await
        }));
        // Nothing tells from outside that a task stands in line; out of order, the test would only be weaker.
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    tasks
}

async fn each_of_those_that_share_stands_alone(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let lot = house.lot(store, "L-1", "10 kg", Some("10.000001")).await;
    let first = tx(store).await;
    post(&first, &[weighed(&lot, "4 kg")]).await.unwrap();
    let tasks = in_line(store, &lot, &["7 kg", "3 kg", "4 kg", "2 kg", "1.5 kg", "1 kg"]).await;
    first.commit().await.unwrap();
    let mut kept = Vec::new();
    for task in tasks {
        match task.await.unwrap() {
            Ok(()) => kept.push(true),
            Err(StoreError::LotShort { .. }) => kept.push(false),
            Err(other) => panic!("{other}"),
        }
    }
    assert_eq!(kept, [false, true, false, true, false, true]);
    let now = get(store, lot.id).await;
    assert_eq!((now.on_hand, now.value.unwrap().micros()), (quantity("0 kg"), 0));
    assert_eq!(ledger_verify(store).await.unwrap(), Vec::new());
}

async fn nobody_is_told_before_the_commit(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let lot = house.lot(store, "L-1", "10 kg", None).await;
    let first = tx(store).await;
    post(&first, &[weighed(&lot, "1 kg")]).await.unwrap();
    let (hold, held) = tokio::sync::oneshot::channel::<()>();
    let last = {
        let (store, movement) = (store.clone(), weighed(&lot, "1 kg"));
        let (begun, waiting) = tokio::sync::oneshot::channel::<()>();
        let task = tokio::spawn(async move {
            let tx = store.begin_write().await?;
            begun.send(()).unwrap();
            post(&tx, &[movement]).await?;
            // Given up: what it posted is undone, and those before it are committed all the same.
            held.await.unwrap();
            drop(tx);
            Ok::<(), StoreError>(())
        });
        tokio::time::sleep(Duration::from_millis(20)).await;
        (task, waiting)
    };
    let mut first = tokio::spawn(async move { first.commit().await });
    last.1.await.unwrap();
    // The other has the turn now, and shares the transaction: the first has not happened yet, for anybody.
    assert!(tokio::time::timeout(Duration::from_millis(50), &mut first).await.is_err());
    assert_eq!(get(store, lot.id).await.on_hand, quantity("10 kg"));
    hold.send(()).unwrap();
    first.await.unwrap().unwrap();
    last.0.await.unwrap().unwrap();
    assert_eq!(get(store, lot.id).await.on_hand, quantity("9 kg"));
    assert_eq!(ledger_verify(store).await.unwrap(), Vec::new());
}

async fn long_changes_share_with_nobody(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let lot = house.lot(store, "L-1", "10 kg", None).await;
    let first = tx(store).await;
    post(&first, &[weighed(&lot, "1 kg")]).await.unwrap();
    let (store_too, movement) = (store.clone(), weighed(&lot, "1 kg"));
    let (begun, waiting) = tokio::sync::oneshot::channel::<()>();
    let (hold, held) = tokio::sync::oneshot::channel::<()>();
    let long = tokio::spawn(async move {
        let tx = store_too.begin_write_alone().await?;
        begun.send(()).unwrap();
        held.await.unwrap();
        post(&tx, &[movement]).await?;
        tx.commit().await
    });
    tokio::time::sleep(Duration::from_millis(20)).await;
    first.commit().await.unwrap();
    waiting.await.unwrap();
    assert_eq!(get(store, lot.id).await.on_hand, quantity("9 kg"));
    hold.send(()).unwrap();
    long.await.unwrap().unwrap();
    assert_eq!(get(store, lot.id).await.on_hand, quantity("8 kg"));
}

/// On PostgreSQL the connection is cut in the middle; on SQLite there is nothing to cut, and all goes well.
async fn whoever_was_in_a_broken_transaction_is_told(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let lot = house.lot(store, "L-1", "10 kg", None).await;
    let first = tx(store).await;
    post(&first, &[weighed(&lot, "1 kg")]).await.unwrap();
    let tasks = in_line(store, &lot, &["2 kg", "3 kg"]).await;
    database.cut_connections().await;
    let told = first.commit().await;
    for task in tasks {
        task.await.unwrap().unwrap();
    }
    let left = if database.backend() == store::Backend::Postgres {
        assert!(matches!(told, Err(StoreError::Unreachable { .. })), "{told:?}");
        "5 kg"
    } else {
        told.unwrap();
        "4 kg"
    };
    assert_eq!(get(store, lot.id).await.on_hand, quantity(left));
    assert_eq!(ledger_verify(store).await.unwrap(), Vec::new());
}
