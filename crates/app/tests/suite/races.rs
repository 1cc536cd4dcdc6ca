//! Many at once: nobody gets a gram that somebody else got.

use testkit::db::TestDatabase;

use crate::{
    house::{quantity_of, refused},
    making::{allocate, stocked, weigh, weighing, write},
};

testkit::on_both_databases!(the_last_kilograms, two_tickets_that_do_not_fit_together);

/// 64 tickets want 3 kg each of a lot that holds 100: 33 get them, 31 are told why not.
async fn the_last_kilograms(database: &TestDatabase) {
    let house = stocked(database).await;
    let lot = house.lot("L-1").await.id;
    let mut tickets = vec![];
    for _ in 0..64 {
        tickets.push(write(&house, "25").await);
    }
    let house = std::sync::Arc::new(house);
    let tasks: Vec<_> = tickets
        .into_iter()
        .map(|ticket| {
            let house = house.clone();
            tokio::spawn(async move { weigh(&house, &ticket, vec![weighing(3, Some(lot), "3")]).await })
        })
        .collect();
    let (mut won, mut lost) = (0, 0);
    for task in tasks {
        match task.await.unwrap() {
            Ok(_) => won += 1,
            Err(error) => {
                assert_eq!(refused(error), ["LOT_SHORT"]);
                lost += 1;
            }
        }
    }
    assert_eq!((won, lost), (33, 31));
    assert_eq!(house.lot("L-1").await.on_hand, quantity_of("1 kg"));
    house.assert_sound().await;
}

/// Each alone would fit; together they do not. Exactly one is promised its lots.
async fn two_tickets_that_do_not_fit_together(database: &TestDatabase) {
    let house = std::sync::Arc::new(stocked(database).await);
    let mut tasks = vec![];
    for _ in 0..2 {
        let ticket = write(&house, "450").await;
        let house = house.clone();
        tasks.push(tokio::spawn(async move { allocate(&house, &ticket).await.is_ok() }));
    }
    let mut promised = 0;
    for task in tasks {
        promised += u32::from(task.await.unwrap());
    }
    assert_eq!(promised, 1);
    house.assert_sound().await;
}
