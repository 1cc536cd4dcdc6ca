//! Proving the balances from the ledger.

use sea_orm::ConnectionTrait;
use store::stock::{Balance, Discrepancy, ledger_rebuild, ledger_verify};
use testkit::{
    db::TestDatabase,
    on_both_databases,
    samples::{decimal, weighed},
};

use crate::house::{House, get, post_all, tx};

on_both_databases! {
    a_tampered_balance_is_found_and_put_right,
    sums_keep_every_digit,
}

async fn a_tampered_balance_is_found_and_put_right(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let lot = house.lot(store, "L-1", "10 kg", Some("20")).await;
    let sound = house.lot(store, "L-2", "10 kg", Some("20")).await;
    let unvalued = house.lot(store, "L-3", "10 kg", None).await;
    post_all(store, &[weighed(&lot, "1 kg")]).await.unwrap();
    assert_eq!(ledger_verify(store).await.unwrap(), Vec::new());
    let before = get(store, lot.id).await;

    let raw = database.raw().await;
    raw.execute_unprepared(
        "UPDATE lots SET on_hand = on_hand + 1, value = value - 1, reserved = 5 WHERE number = 'L-1'",
    )
    .await
    .unwrap();
    let discrepancy = |balance, kept: &str, proven: &str| Discrepancy {
        lot: lot.id,
        number: "L-1".to_owned(),
        balance,
        kept: decimal(kept),
        proven: decimal(proven),
    };
    let expected = vec![
        discrepancy(Balance::OnHand, "9.000000001", "9"),
        discrepancy(Balance::Value, "17.999999", "18"),
        discrepancy(Balance::Reserved, "0.000000005", "0"),
    ];
    assert_eq!(ledger_verify(store).await.unwrap(), expected);

    let write = tx(store).await;
    assert_eq!(ledger_rebuild(&write).await.unwrap(), expected);
    write.commit().await.unwrap();
    assert_eq!(ledger_verify(store).await.unwrap(), Vec::new());
    assert_eq!(get(store, lot.id).await, before);
    assert_eq!(get(store, sound.id).await, sound);
    assert_eq!(get(store, unvalued.id).await, unvalued);

    let write = tx(store).await;
    assert_eq!(ledger_rebuild(&write).await.unwrap(), Vec::new());
}

/// Sums beyond what a double keeps; PostgreSQL sums whole numbers as NUMERIC, SQLite as whole numbers.
async fn sums_keep_every_digit(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let lot = house.lot(store, "L-1", "9007199.254740993 kg", Some("9007199254.740993")).await;
    post_all(store, &[weighed(&lot, "0.000000001 kg"), weighed(&lot, "0.000000001 kg")]).await.unwrap();
    assert_eq!(ledger_verify(store).await.unwrap(), Vec::new());
    database
        .raw()
        .await
        .execute_unprepared("UPDATE lots SET on_hand = on_hand + 1 WHERE number = 'L-1'")
        .await
        .unwrap();
    let found = ledger_verify(store).await.unwrap();
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(
        (found[0].kept, found[0].proven),
        (decimal("9007199.254740992"), decimal("9007199.254740991"))
    );
}
