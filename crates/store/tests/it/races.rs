//! Many at once: exactly the right number win, nothing goes below nought, nobody waits for ever.

use domain::tickets::Allocation;
use kernel::ids::LotId;
use std::{collections::BTreeSet, time::Duration};
use store::{
    Store, StoreError, constraints,
    numbers::number_next,
    requests::{StoredRequest, request_find, request_insert},
    stock::{ledger_verify, movements_of_lot, post},
    tickets::allocations_replace,
};
use testkit::{
    db::TestDatabase,
    on_both_databases,
    samples::{instant, quantity, weighed},
};
use tokio::{task::JoinSet, time::timeout};

use crate::house::{House, get, post_all, tx, written};

on_both_databases! {
    the_last_kilograms_of_one_lot,
    lots_in_any_order_do_not_deadlock,
    the_last_kilograms_are_promised_once,
    running_numbers_run_without_gaps,
    a_request_sent_twice_at_once_happens_once,
    a_dropped_transaction_leaves_nothing,
    two_processes_share_a_lot,
}

const PATIENCE: Duration = Duration::from_mins(1);

/// Runs tasks at once and gives what each answered.
async fn at_once<T: Send + 'static>(
    tasks: impl IntoIterator<Item = impl Future<Output = T> + Send + 'static>,
) -> Vec<T> {
    let mut set: JoinSet<T> = JoinSet::new();
    for task in tasks {
        set.spawn(task);
    }
    timeout(PATIENCE, set.join_all()).await.expect("nobody waits for ever")
}

async fn the_last_kilograms_of_one_lot(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    // 10.5 kg, and sixteen want 1.5 kg each: seven can have it.
    let lot = house.lot(store, "L-1", "10.5 kg", Some("10.000001")).await;
    let tasks = (0..16).map(|_| {
        let (store, lot) = (store.clone(), lot.clone());
        async move { post_all(&store, &[weighed(&lot, "1.5 kg")]).await }
    });
    let answers = at_once(tasks).await;
    let won = answers.iter().filter(|answer| answer.is_ok()).count();
    let short = answers.iter().filter(|answer| matches!(answer, Err(StoreError::LotShort { .. }))).count();
    assert_eq!((won, short), (7, 9), "{answers:?}");

    let now = get(store, lot.id).await;
    assert_eq!((now.on_hand, now.value.unwrap().micros()), (quantity("0 kg"), 0));
    let movements = movements_of_lot(store, lot.id, None, 100).await.unwrap().rows;
    assert_eq!(movements.len(), 8);
    assert_eq!(movements.iter().map(|m| m.value.unwrap().micros()).sum::<i64>(), 0);
    assert_eq!(ledger_verify(store).await.unwrap(), Vec::new());
}

async fn lots_in_any_order_do_not_deadlock(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let mut lots = Vec::new();
    for number in 0..8 {
        lots.push(house.lot(store, &format!("L-{number}"), "10 kg", Some("7")).await);
    }
    let tasks = (0..16_usize).map(|task| {
        let store = store.clone();
        let mut mine = lots.clone();
        mine.rotate_left(task % 8);
        if task % 2 == 1 {
            mine.reverse();
        }
        async move {
            for _ in 0..5 {
                let movements: Vec<_> = mine.iter().map(|lot| weighed(lot, "0.125 kg")).collect();
                post_all(&store, &movements).await?;
            }
            Ok::<(), StoreError>(())
        }
    });
    // 16 tasks × 5 × 0.125 kg is exactly what is there.
    for answer in at_once(tasks).await {
        answer.unwrap();
    }
    for lot in &lots {
        let now = get(store, lot.id).await;
        assert_eq!((now.on_hand, now.value.unwrap().micros()), (quantity("0 kg"), 0), "{}", lot.number);
    }
    assert_eq!(ledger_verify(store).await.unwrap(), Vec::new());
}

async fn the_last_kilograms_are_promised_once(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let lot = house.lot(store, "L-1", "10 kg", None).await;
    let mut tasks = Vec::new();
    for number in 0..8 {
        let ticket = house.ticket(store, &format!("T-{number}"), "3 kg").await;
        let (store, lot) = (store.clone(), lot.id);
        tasks.push(async move {
            let tx = store.begin_write().await?;
            let promise = Allocation { line: ticket.lines[0].id, lot, quantity: quantity("3 kg") };
            allocations_replace(&tx, ticket.id, &[promise]).await?;
            tx.commit().await
        });
    }
    let answers = at_once(tasks).await;
    let won = answers.iter().filter(|answer| answer.is_ok()).count();
    let short = answers.iter().filter(|answer| matches!(answer, Err(StoreError::LotShort { .. }))).count();
    assert_eq!((won, short), (3, 5), "{answers:?}");
    assert_eq!(get(store, lot.id).await.reserved, quantity("9 kg"));
    assert_eq!(ledger_verify(store).await.unwrap(), Vec::new());
}

async fn running_numbers_run_without_gaps(database: &TestDatabase) {
    let next = |store: Store, keep: bool| async move {
        let tx = store.begin_write().await.unwrap();
        let number = number_next(&tx, "tickets").await.unwrap();
        if keep {
            tx.commit().await.unwrap();
        }
        keep.then_some(number)
    };
    let tasks = (0..24).map(|task| next(database.store.clone(), task % 3 != 0));
    let kept: BTreeSet<i64> = at_once(tasks).await.into_iter().flatten().collect();
    assert_eq!(kept, (1..=16).collect());
    let tx = tx(&database.store).await;
    assert_eq!(number_next(&tx, "lots").await.unwrap(), 1);
    assert_eq!(number_next(&tx, "lots").await.unwrap(), 2);
}

async fn a_request_sent_twice_at_once_happens_once(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let lot = house.lot(store, "L-1", "10 kg", None).await;
    let request = StoredRequest {
        key: "a-key".to_owned(),
        operation: "ticket_weigh".to_owned(),
        input_hash: "abc".to_owned(),
        answer: serde_json::json!({"weighed": "1 kg"}),
        at: instant("2026-01-05T09:30:00.000001Z"),
    };
    let tasks = (0..8).map(|_| {
        let (store, lot, request) = (store.clone(), lot.clone(), request.clone());
        async move {
            let tx = store.begin_write().await?;
            if let Some(before) = request_find(&tx, &request.key).await? {
                return Ok(before);
            }
            post(&tx, &[weighed(&lot, "1 kg")]).await?;
            match written(&tx, |writes| request_insert(writes, &request)).await {
                Ok(()) => {
                    tx.commit().await?;
                    Ok(request)
                }
                Err(error) if error.is_taken(constraints::REQUEST_KEY) => {
                    drop(tx);
                    Ok(request_find(&store, &request.key).await?.expect("the faster one kept it"))
                }
                Err(error) => Err(error),
            }
        }
    });
    for answer in at_once(tasks).await {
        assert_eq!(answer.unwrap(), request);
    }
    assert_eq!(get(store, lot.id).await.on_hand, quantity("9 kg"));
}

async fn a_dropped_transaction_leaves_nothing(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let lot = house.lot(store, "L-1", "10 kg", None).await;
    for _ in 0..20 {
        // More often than there are connections: each comes back clean.
        let tx = tx(store).await;
        post(&tx, &[weighed(&lot, "10 kg")]).await.unwrap();
        drop(tx);
    }
    let task = tokio::spawn({
        let (store, lot) = (store.clone(), lot.clone());
        async move {
            let tx = store.begin_write().await.unwrap();
            post(&tx, &[weighed(&lot, "10 kg")]).await.unwrap();
            tokio::time::sleep(PATIENCE).await;
            tx.commit().await.unwrap();
        }
    });
    tokio::time::sleep(Duration::from_millis(100)).await;
    task.abort();
    assert!(task.await.unwrap_err().is_cancelled());
    post_all(store, &[weighed(&lot, "10 kg")]).await.unwrap();
    assert_eq!(get(store, lot.id).await.on_hand, quantity("0 kg"));
}

async fn two_processes_share_a_lot(database: &TestDatabase) {
    let house = House::build(&database.store).await;
    let lot = house.lot(&database.store, "L-1", "10 kg", Some("3.333333")).await;
    let others = [database.another_store().await, database.another_store().await];
    let tasks = (0..16).map(|task| {
        let (store, lot) = (others[task % 2].clone(), lot.clone());
        async move { post_all(&store, &[weighed(&lot, "1 kg")]).await }
    });
    let answers = at_once(tasks).await;
    let won = answers.iter().filter(|answer| answer.is_ok()).count();
    assert_eq!(won, 10, "{answers:?}");
    let left: LotId = lot.id;
    assert_eq!(get(&database.store, left).await.on_hand, quantity("0 kg"));
    assert_eq!(ledger_verify(&others[0]).await.unwrap(), Vec::new());
}
