//! Posting to the ledger: all or nothing, nothing below nought, and every millionth accounted for.

use domain::stock::MovementKind;
use kernel::{Currency, Mass, Money, Quantity, ids::LotId};
use proptest::{
    prelude::*,
    test_runner::{Config, TestRunner},
};
use store::{
    StoreError, constraints,
    lots::lots_insert,
    stock::{NewMovement, ledger_verify, movement_get, movement_reversing, movements_of_lot, post},
};
use testkit::{
    db::TestDatabase,
    on_both_databases,
    samples::{self, movement, pounds, quantity, receipt, weighed},
};

use crate::house::{House, get, post_all, tx};

on_both_databases! {
    all_or_nothing,
    movements_of_one_lot_take_effect_in_order,
    value_is_conserved_to_the_last_millionth,
    a_lot_without_a_value_keeps_none,
    reversals,
    what_does_not_fit_is_refused,
    the_largest_amounts,
    thousands_in_one_posting,
}

async fn all_or_nothing(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let mut lots = Vec::new();
    for number in 0..12 {
        lots.push(house.lot(store, &format!("L-{number}"), "10 kg", Some("20")).await);
    }
    let mut movements: Vec<NewMovement> = lots.iter().map(|lot| weighed(lot, "4 kg")).collect();
    movements[7] = weighed(&lots[7], "10.000000001 kg");
    let refused = post_all(store, &movements).await.unwrap_err();
    match &refused {
        StoreError::LotShort { lot, number, needed, available } => {
            assert_eq!((*lot, number.as_str()), (lots[7].id, "L-7"));
            assert_eq!((*needed, *available), (quantity("10.000000001 kg"), quantity("10 kg")));
        }
        other => panic!("{other:?}"),
    }
    assert_eq!(refused.to_string(), "lot L-7 holds 10 kg, 10.000000001 kg are asked for");
    for lot in &lots {
        assert_eq!(&get(store, lot.id).await, lot);
        assert_eq!(movements_of_lot(store, lot.id, None, 10).await.unwrap().rows.len(), 1);
    }

    movements[7] = weighed(&lots[7], "10 kg");
    let posted = post_all(store, &movements).await.unwrap();
    assert_eq!(posted.len(), 12);
    for (lot, posted) in lots.iter().zip(&posted) {
        assert_eq!(movement_get(store, posted.id).await.unwrap().as_ref(), Some(posted));
        let now = get(store, lot.id).await;
        let left = if lot.number == "L-7" { ("0 kg", "0") } else { ("6 kg", "12") };
        assert_eq!((now.on_hand, now.value), (quantity(left.0), Some(pounds(left.1))));
    }
    assert_eq!(ledger_verify(store).await.unwrap(), Vec::new());
}

async fn movements_of_one_lot_take_effect_in_order(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let lot = samples::lot("L-1", &house.raw, "3 kg", Some("1"));
    let write = tx(store).await;
    store::lots::lot_insert(&write, &lot).await.unwrap();
    let posted =
        post(&write, &[receipt(&lot), weighed(&lot, "1 kg"), weighed(&lot, "1 kg"), weighed(&lot, "1 kg")])
            .await
            .unwrap();
    write.commit().await.unwrap();
    let values: Vec<i64> = posted.iter().map(|m| m.value.unwrap().micros()).collect();
    assert_eq!(values, [1_000_000, -333_333, -333_334, -333_333]);
    let now = get(store, lot.id).await;
    assert_eq!((now.on_hand, now.value), (quantity("0 kg"), Some(pounds("0"))));

    // Weighing before the receipt is short, although it would come right in the end.
    let other = samples::lot("L-2", &house.raw, "3 kg", None);
    let write = tx(store).await;
    store::lots::lot_insert(&write, &other).await.unwrap();
    let refused = post(&write, &[weighed(&other, "1 kg"), receipt(&other)]).await;
    assert!(matches!(refused, Err(StoreError::LotShort { .. })), "{refused:?}");
}

/// In whatever steps a lot is used up, the values of its movements add up to nought.
async fn value_is_conserved_to_the_last_millionth(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let mut runner = TestRunner::new(Config { cases: 24, failure_persistence: None, ..Config::default() });
    let lots = (1_i64..1_000_000_000_000, 0_i64..1_000_000_000_000, prop::collection::vec(1_i64..60, 0..12));
    runner
        .run(&lots, |(received, value, cuts)| {
            block_on(async {
                let number = LotId::new().to_string();
                let mut lot = samples::lot(&number, &house.raw, "1 kg", Some("1"));
                lot.received = Quantity::Mass(Mass::from_micrograms(received));
                lot.received_value = Some(Money::from_micros(value, Currency::GBP));
                let write = tx(store).await;
                store::lots::lot_insert(&write, &lot).await.unwrap();
                post(&write, &[receipt(&lot)]).await.unwrap();
                write.commit().await.unwrap();

                let mut left = received;
                for cut in cuts {
                    let taken = (received / 100 * cut).min(left);
                    if taken > 0 {
                        let quantity = Quantity::Mass(Mass::from_micrograms(-taken));
                        post_all(store, &[movement(&lot, MovementKind::Sample, quantity)]).await.unwrap();
                        left -= taken;
                    }
                }
                let before = get(store, lot.id).await;
                prop_assert_eq!(before.on_hand.raw(), left);
                if left > 0 {
                    let rest = Quantity::Mass(Mass::from_micrograms(-left));
                    post_all(store, &[movement(&lot, MovementKind::WriteOff, rest)]).await.unwrap();
                }
                let movements = movements_of_lot(store, lot.id, None, 100).await.unwrap().rows;
                let sum: i64 = movements.iter().map(|m| m.value.unwrap().micros()).sum();
                let now = get(store, lot.id).await;
                prop_assert_eq!((now.on_hand.raw(), now.value.unwrap().micros(), sum), (0, 0, 0));
                Ok(())
            })
        })
        .unwrap();
    assert_eq!(ledger_verify(store).await.unwrap(), Vec::new());
}

fn block_on<T>(future: impl Future<Output = T>) -> T {
    tokio::task::block_in_place(|| tokio::runtime::Handle::current().block_on(future))
}

async fn a_lot_without_a_value_keeps_none(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let lot = house.lot(store, "L-1", "10 kg", None).await;
    assert_eq!((lot.value, lot.received_value), (None, None));
    let posted = post_all(store, &[weighed(&lot, "4 kg")]).await.unwrap();
    assert_eq!(posted[0].value, None);
    let now = get(store, lot.id).await;
    assert_eq!((now.on_hand, now.value), (quantity("6 kg"), None));

    let valued = NewMovement {
        value: Some(pounds("1")),
        ..movement(&lot, MovementKind::Adjustment, quantity("1 kg"))
    };
    let refused = post_all(store, &[valued]).await;
    assert!(matches!(refused, Err(StoreError::MovementUnfit { .. })), "{refused:?}");
}

async fn reversals(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let lot = house.lot(store, "L-1", "3 kg", Some("1")).await;
    let posted = post_all(store, &[weighed(&lot, "1 kg")]).await.unwrap();
    let weighing = &posted[0];
    let back = NewMovement {
        reverses: Some(weighing.id),
        ..movement(&lot, MovementKind::Reversal, quantity("1 kg"))
    };

    // Not the opposite: too little, and of another lot.
    let other = house.lot(store, "L-2", "3 kg", Some("1")).await;
    for odd in [
        NewMovement { quantity: quantity("0.5 kg"), ..back.clone() },
        NewMovement { lot: other.id, ..back.clone() },
        NewMovement { kind: MovementKind::Adjustment, ..back.clone() },
        NewMovement { reverses: None, ..back.clone() },
    ] {
        let refused = post_all(store, &[odd]).await;
        assert!(matches!(refused, Err(StoreError::MovementUnfit { .. })), "{refused:?}");
    }

    let posted = post_all(store, std::slice::from_ref(&back)).await.unwrap();
    assert_eq!(posted[0].value, Some(Money::from_micros(333_333, Currency::GBP)));
    assert_eq!(movement_reversing(store, weighing.id).await.unwrap().as_ref(), Some(&posted[0]));
    assert_eq!(get(store, lot.id).await, lot);

    // Once is enough.
    let again = NewMovement { id: kernel::ids::MovementId::new(), ..back };
    let refused = post_all(store, &[again]).await.unwrap_err();
    assert!(refused.is_taken(constraints::MOVEMENT_REVERSED), "{refused:?}");

    // A reversal stays; a receipt can be taken back whole, with all its value.
    let of_reversal = NewMovement {
        reverses: Some(posted[0].id),
        ..movement(&lot, MovementKind::Reversal, quantity("-1 kg"))
    };
    let refused = post_all(store, &[of_reversal]).await;
    assert!(matches!(refused, Err(StoreError::MovementUnfit { .. })), "{refused:?}");
    let received = movements_of_lot(store, lot.id, None, 1).await.unwrap().rows.remove(0);
    let undone = NewMovement {
        reverses: Some(received.id),
        ..movement(&lot, MovementKind::Reversal, quantity("-3 kg"))
    };
    post_all(store, &[undone]).await.unwrap();
    let now = get(store, lot.id).await;
    assert_eq!((now.on_hand, now.value), (quantity("0 kg"), Some(pounds("0"))));
    assert_eq!(ledger_verify(store).await.unwrap(), Vec::new());

    let of_nothing = NewMovement {
        reverses: Some(kernel::ids::MovementId::new()),
        ..movement(&lot, MovementKind::Reversal, quantity("1 kg"))
    };
    let refused = post_all(store, &[of_nothing]).await;
    assert!(matches!(refused, Err(StoreError::NotFound { what: "movement", .. })), "{refused:?}");
}

async fn what_does_not_fit_is_refused(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let lot = house.lot(store, "L-1", "3 kg", Some("1")).await;
    let euros = Money::from_micros(1, Currency::EUR);
    for odd in [
        movement(&lot, MovementKind::Adjustment, quantity("1 pcs")),
        movement(&lot, MovementKind::Adjustment, quantity("1 L")),
        movement(&lot, MovementKind::Adjustment, quantity("0 kg")),
        movement(&lot, MovementKind::Weighing, quantity("1 kg")),
        movement(&lot, MovementKind::Receipt, quantity("-1 kg")),
        NewMovement { value: Some(euros), ..movement(&lot, MovementKind::Adjustment, quantity("1 kg")) },
        NewMovement {
            value: Some(pounds("-1")),
            ..movement(&lot, MovementKind::Adjustment, quantity("1 kg"))
        },
    ] {
        let refused = post_all(store, std::slice::from_ref(&odd)).await;
        assert!(matches!(refused, Err(StoreError::MovementUnfit { .. })), "{odd:?}: {refused:?}");
    }
    let stranger = samples::lot("L-9", &house.raw, "1 kg", None);
    let refused = post_all(store, &[weighed(&stranger, "1 kg")]).await;
    assert!(matches!(refused, Err(StoreError::NotFound { what: "lot", .. })), "{refused:?}");
    assert_eq!(get(store, lot.id).await, lot);

    // What a count finds brings no value: it is part of what was paid for.
    post_all(store, &[movement(&lot, MovementKind::Adjustment, quantity("1 kg"))]).await.unwrap();
    let now = get(store, lot.id).await;
    assert_eq!((now.on_hand, now.value), (quantity("4 kg"), Some(pounds("1"))));
}

/// The largest amount there is goes in and out, and one more microgram is refused, not turned into a double.
async fn the_largest_amounts(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let mut lot = samples::lot("L-1", &house.raw, "1 kg", Some("1"));
    lot.received = Quantity::Mass(Mass::from_micrograms(i64::MAX));
    lot.received_value = Some(Money::from_micros(i64::MAX, Currency::GBP));
    let write = tx(store).await;
    store::lots::lot_insert(&write, &lot).await.unwrap();
    post(&write, &[receipt(&lot)]).await.unwrap();
    write.commit().await.unwrap();
    let now = get(store, lot.id).await;
    assert_eq!((now.on_hand, now.value), (lot.received, lot.received_value));

    let one = Quantity::Mass(Mass::from_micrograms(1));
    let refused = post_all(store, &[movement(&lot, MovementKind::Adjustment, one)]).await;
    assert!(matches!(refused, Err(StoreError::TooLarge(_))), "{refused:?}");
    // 17 digits, which no double keeps.
    let odd = Quantity::Mass(Mass::from_micrograms(-90_071_992_547_409_931));
    let posted = post_all(store, &[movement(&lot, MovementKind::WriteOff, odd)]).await.unwrap();
    let kept = movement_get(store, posted[0].id).await.unwrap().unwrap();
    assert_eq!((kept.quantity, kept.value), (odd, posted[0].value));
    assert_eq!(kept.value.unwrap().micros(), -90_071_992_547_409_931);
    assert_eq!(get(store, lot.id).await.on_hand.raw(), i64::MAX - 90_071_992_547_409_931);
    assert_eq!(ledger_verify(store).await.unwrap(), Vec::new());
}

/// More than one statement can take: rows are inserted in pieces, balances changed in pieces, and still all or nothing.
async fn thousands_in_one_posting(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let lots: Vec<_> =
        (0..5_000).map(|n| samples::lot(&format!("L-{n}"), &house.raw, "1 kg", Some("1"))).collect();
    let write = tx(store).await;
    lots_insert(&write, &lots).await.unwrap();
    post(&write, &lots.iter().map(receipt).collect::<Vec<_>>()).await.unwrap();
    write.commit().await.unwrap();
    assert_eq!(store::lots::lots_on_shelf(store).await.unwrap().len(), 5_000);

    let mut taken: Vec<_> = lots.iter().map(|lot| weighed(lot, "1 kg")).collect();
    taken.push(weighed(&lots[0], "0.000000001 kg"));
    let refused = post_all(store, &taken).await;
    assert!(matches!(refused, Err(StoreError::LotShort { .. })), "{refused:?}");
    assert_eq!(store::lots::lots_on_shelf(store).await.unwrap().len(), 5_000);
    taken.pop();
    post_all(store, &taken).await.unwrap();
    assert_eq!(store::lots::lots_on_shelf(store).await.unwrap().len(), 0);
    assert_eq!(ledger_verify(store).await.unwrap(), Vec::new());
}
