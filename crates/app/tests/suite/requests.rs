//! Sent twice, done once.

use app::{Change, LotCount};
use testkit::db::TestDatabase;

use crate::{
    house::{House, quantity_of},
    making::{stocked, weigh, weighing, write},
};

testkit::on_both_databases!(
    the_same_request_happens_once,
    the_same_request_at_the_same_time,
    postings_leave_the_catalogue_as_it_is,
);

fn count(house_lot: kernel::ids::LotId, found: &str) -> LotCount {
    LotCount { lot: house_lot, found: quantity_of(found), reason: "counted".into(), cause: None, on: None }
}

async fn movements(house: &House, lot: kernel::ids::LotId) -> usize {
    house.app.movements_of_lot(&house.actor, lot, None, 100).await.unwrap().rows.len()
}

async fn the_same_request_happens_once(database: &TestDatabase) {
    let house = stocked(database).await;
    let lot = house.lot("L-1").await.id;
    let change = Change::keyed(&house.actor, "count-1");
    let first = house.app.lot_count(&change, count(lot, "90 kg")).await.unwrap();
    // Counted again in between, the repeat still answers what it answered.
    house.app.lot_count(&house.change(), count(lot, "80 kg")).await.unwrap();
    let repeat = house.app.lot_count(&change, count(lot, "90 kg")).await.unwrap();
    assert_eq!(first, repeat);
    assert_eq!(house.lot("L-1").await.on_hand, quantity_of("80 kg"));
    assert_eq!(movements(&house, lot).await, 3);

    let reused = house.app.lot_count(&change, count(lot, "70 kg")).await.unwrap_err();
    assert_eq!(reused.code(), "REQUEST_KEY_REUSED");

    // What was refused has left no trace, so it may be sent again once it can be done.
    let change = Change::keyed(&house.actor, "count-2");
    assert!(house.app.lot_count(&change, count(lot, "-1 kg")).await.is_err());
    house.app.lot_count(&change, count(lot, "60 kg")).await.unwrap();
}

async fn the_same_request_at_the_same_time(database: &TestDatabase) {
    let house = stocked(database).await;
    let lot = house.lot("L-1").await.id;
    let tasks: Vec<_> = (0..16)
        .map(|_| {
            let (app, actor) = (house.app.clone(), house.actor.clone());
            tokio::spawn(async move {
                app.lot_count(&Change::keyed(&actor, "together"), count(lot, "90 kg")).await.unwrap()
            })
        })
        .collect();
    let mut answers = vec![];
    for task in tasks {
        answers.push(task.await.unwrap());
    }
    assert!(answers.windows(2).all(|pair| pair[0] == pair[1]));
    assert_eq!(movements(&house, lot).await, 2);
    house.assert_sound().await;
}

/// The very same catalogue is at hand after stock was moved: nobody read it anew. A change of it brings another.
async fn postings_leave_the_catalogue_as_it_is(database: &TestDatabase) {
    let house = stocked(database).await;
    let lot = house.lot("L-1").await.id;
    let before = house.app.catalogue(&house.actor).unwrap();
    house.app.lot_count(&house.change(), count(lot, "90 kg")).await.unwrap();
    let ticket = write(&house, "100").await;
    weigh(&house, &ticket, vec![weighing(3, Some(lot), "1")]).await.unwrap();
    assert!(std::sync::Arc::ptr_eq(&before, &house.app.catalogue(&house.actor).unwrap()));
    let more = "code,name,currency\nASH,Ashcombe Oils,GBP\n".to_owned();
    house.import(&[("suppliers.csv", more)]).await.unwrap();
    assert!(!std::sync::Arc::ptr_eq(&before, &house.app.catalogue(&house.actor).unwrap()));
}
