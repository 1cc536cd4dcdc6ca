//! Lots: round trip, look-ups, pages and what may be written about them.

use domain::{
    lots::{Lot, LotStatus},
    materials::{Material, MaterialKind},
};
use kernel::{Density, ids::LotId};
use store::{
    StoreError,
    lots::{
        LotDates, LotFilter, lot_by_number, lot_dates_set, lot_insert, lot_status_set, lot_update,
        lots_by_number, lots_count, lots_get, lots_lock, lots_made_by, lots_of_materials, lots_on_shelf,
        lots_page,
    },
    stock::post,
};
use testkit::{
    db::TestDatabase,
    on_both_databases,
    samples::{self, date, percent, pounds, quantity, receipt, weighed},
};

use crate::house::{House, get, post_all, tx};

on_both_databases! {
    a_lot_comes_back_as_it_was_written,
    lots_are_found,
    lots_come_in_pages,
    what_is_known_about_a_lot_may_change,
}

async fn a_lot_comes_back_as_it_was_written(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let ticket = house.ticket(store, "T-1", "5 kg").await;
    let rich = Lot {
        supplier: Some(house.supplier.id),
        supplier_lot: Some("ab/12 ".to_owned()),
        made_by: Some(ticket.id),
        status: LotStatus::Quarantine,
        made_on: Some(date("2025-12-01")),
        expires_on: Some(date("2027-02-28")),
        retest_on: Some(date("2026-12-01")),
        opened_on: Some(date("2026-01-06")),
        density: Some(Density::from_nano(998_200_001)),
        active_matter: Some(percent("69.7")),
        location: Some("rack 3".to_owned()),
        note: Some("one drum dented".to_owned()),
        // Whatever its balances say, it starts empty.
        on_hand: quantity("99 kg"),
        reserved: quantity("9 kg"),
        value: Some(pounds("999")),
        ..samples::lot("L-1", &house.raw, "25.5 kg", Some("81.25"))
    };
    let pieces = samples::lot("L-2", &house.bottle, "1000 pcs", None);
    let write = tx(store).await;
    lot_insert(&write, &rich).await.unwrap();
    lot_insert(&write, &pieces).await.unwrap();
    let nothing = quantity("0 kg");
    let empty = Lot { on_hand: nothing, reserved: nothing, value: Some(pounds("0")), ..rich.clone() };
    assert_eq!(store::lots::lot_get(&write, rich.id).await.unwrap(), Some(empty.clone()));
    post(&write, &[receipt(&rich), receipt(&pieces)]).await.unwrap();
    write.commit().await.unwrap();

    let full = Lot { on_hand: rich.received, value: rich.received_value, ..empty };
    assert_eq!(get(store, rich.id).await, full);
    assert_eq!(get(store, pieces.id).await, Lot { on_hand: pieces.received, ..pieces.clone() });
    assert_eq!(lots_made_by(store, &[ticket.id]).await.unwrap(), [full]);
}

async fn lots_are_found(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let one = house.lot(store, "Lot-1", "10 kg", None).await;
    let two = house.lot(store, "Lot-2", "10 kg", None).await;
    post_all(store, &[weighed(&one, "10 kg")]).await.unwrap();
    let one = get(store, one.id).await;

    assert_eq!(lot_by_number(store, " lOT-1").await.unwrap(), Some(one.clone()));
    assert_eq!(lot_by_number(store, "Lot-9").await.unwrap(), None);
    let numbers = ["LOT-2".to_owned(), "lot-9".to_owned()];
    assert_eq!(lots_by_number(store, &numbers).await.unwrap(), std::slice::from_ref(&two));
    assert_eq!(lots_by_number(store, &[]).await.unwrap(), []);
    // Asked for twice, given once; what is not there is left out.
    let mut found = lots_get(store, &[two.id, one.id, two.id, LotId::new()]).await.unwrap();
    found.sort_by_key(|lot| lot.id);
    assert_eq!(found, [one.clone(), two.clone()]);
    assert_eq!(lots_on_shelf(store).await.unwrap(), std::slice::from_ref(&two));
    assert_eq!(
        lots_of_materials(store, &[house.raw.id, house.bulk.id]).await.unwrap(),
        std::slice::from_ref(&two)
    );
    assert_eq!(lots_of_materials(store, &[house.bulk.id]).await.unwrap(), []);

    let write = tx(store).await;
    assert_eq!(lots_lock(&write, &[two.id, one.id, two.id]).await.unwrap(), [one, two]);
    let missing = lots_lock(&write, &[LotId::new()]).await;
    assert!(matches!(missing, Err(StoreError::NotFound { what: "lot", .. })), "{missing:?}");
}

async fn lots_come_in_pages(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let other = Material { kind: MaterialKind::RawMaterial, ..samples::material("RM-2") };
    let write = tx(store).await;
    store::materials::material_insert(&write, &other).await.unwrap();
    let mut lots = Vec::new();
    for number in 0..7 {
        let mut lot = samples::lot(
            &format!("L-{number}"),
            if number % 2 == 0 { &house.raw } else { &other },
            "1 kg",
            None,
        );
        lot.expires_on = (number < 3).then(|| date("2026-03-31"));
        lot.retest_on = (number == 3).then(|| date("2026-03-31"));
        lot.status = if number == 6 { LotStatus::Rejected } else { LotStatus::Released };
        lot_insert(&write, &lot).await.unwrap();
        if number != 5 {
            post(&write, &[receipt(&lot)]).await.unwrap();
        }
        lots.push(lot.id);
    }
    write.commit().await.unwrap();

    let all = LotFilter::default();
    let first = lots_page(store, &all, None, 3).await.unwrap();
    let ids = |page: &store::Page<Lot>| page.rows.iter().map(|lot| lot.id).collect::<Vec<_>>();
    assert_eq!((ids(&first), first.has_more), (lots[..3].to_vec(), true));
    let second = lots_page(store, &all, Some(lots[2]), 4).await.unwrap();
    assert_eq!((ids(&second), second.has_more), (lots[3..].to_vec(), false));
    assert_eq!(lots_page(store, &all, Some(lots[6]), 4).await.unwrap().rows, []);

    let of = |filter: LotFilter| async move {
        let page = lots_page(store, &filter, None, 100).await.unwrap();
        assert_eq!(lots_count(store, &filter).await.unwrap(), page.rows.len() as u64);
        page.rows.iter().map(|lot| lot.number[2..].parse::<u32>().unwrap()).collect::<Vec<_>>()
    };
    assert_eq!(of(LotFilter { materials: vec![other.id], ..all.clone() }).await, [1, 3, 5]);
    assert_eq!(of(LotFilter { statuses: vec![LotStatus::Rejected], ..all.clone() }).await, [6]);
    assert_eq!(of(LotFilter { on_shelf: true, ..all.clone() }).await, [0, 1, 2, 3, 4, 6]);
    assert_eq!(of(LotFilter { ends_by: Some(date("2026-03-31")), ..all.clone() }).await, [0, 1, 2, 3]);
    assert_eq!(of(LotFilter { ends_by: Some(date("2026-03-30")), ..all }).await, [] as [u32; 0]);
}

async fn what_is_known_about_a_lot_may_change(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let lot = house.lot(store, "L-1", "10 kg", Some("20")).await;
    let dates = LotDates {
        made_on: Some(date("2025-01-01")),
        expires_on: Some(date("2028-02-29")),
        retest_on: None,
        opened_on: Some(date("2026-02-01")),
    };
    let write = tx(store).await;
    lot_status_set(&write, lot.id, LotStatus::OnHold).await.unwrap();
    lot_dates_set(&write, lot.id, &dates).await.unwrap();
    write.commit().await.unwrap();
    let mut expected = Lot {
        status: LotStatus::OnHold,
        made_on: dates.made_on,
        expires_on: dates.expires_on,
        opened_on: dates.opened_on,
        ..lot.clone()
    };
    assert_eq!(get(store, lot.id).await, expected);

    expected.location = Some("rack 4".to_owned());
    expected.density = Some(Density::from_nano(1));
    expected.expires_on = None;
    // Balances are not written by this, whatever they say.
    let claimed = Lot { on_hand: quantity("99 kg"), status: LotStatus::Released, ..expected.clone() };
    let write = tx(store).await;
    lot_update(&write, &claimed).await.unwrap();
    let missing = lot_status_set(&write, LotId::new(), LotStatus::OnHold).await;
    assert!(matches!(missing, Err(StoreError::NotFound { what: "lot", .. })), "{missing:?}");
    write.commit().await.unwrap();
    assert_eq!(get(store, lot.id).await, expected);
}
