//! Lots beyond their balances: standing, restriction, ownership, containers, papers, places, and finding one by its label.

use app::{
    ContainerChange, ContainerRepack, ContainerWrite, LotCertificate, LotDocumentAdd, LotOrder, LotReceive,
    LotRetest, LotStatusChange, LotTake, LotTransfer, MovementReverse, ReceiptMore, Restriction, TakenFor,
};
use domain::{
    locations::Location,
    lots::{
        Lot, LotStanding, LotStatus, Ownership, WrittenDates,
        containers::ContainerState,
        papers::{DocumentKind, Finding, LotResult},
    },
    people::{Actor, Capability},
    stock::Cause,
};
use engine::shelf::NotUsableBecause;
use kernel::ids::MaterialId;
use testkit::db::TestDatabase;

use crate::{
    house::{House, day, kg, pounds, problems, quantity_of, refused},
    making::{allocate, stocked, weigh, weighing, write},
};

testkit::on_both_databases!(
    standing_follows_from_dates_and_amounts,
    a_release_may_be_for_some_products_only,
    what_a_customer_sent_is_kept_for_them,
    one_drum_of_four_is_rejected,
    a_drum_is_repacked,
    what_is_ordered_comes_in,
    dates_and_papers_are_kept_as_written,
    a_lot_is_found_by_its_label,
    places_are_known,
    losses_have_causes,
    every_reason_has_its_kilograms,
);

fn material(house: &House, code: &str) -> MaterialId {
    house.app.catalogue(&house.actor).unwrap().materials.by_code(code).unwrap().id
}

fn receipt(house: &House, code: &str, number: &str, quantity: &str) -> LotReceive {
    LotReceive {
        number: Some(number.to_owned()),
        material: material(house, code),
        quantity: quantity_of(quantity),
        value: None,
        unit_cost: None,
        supplier: None,
        supplier_lot: None,
        received_on: None,
        made_on: None,
        expires_on: None,
        retest_on: None,
        density: None,
        active_matter: None,
        location: None,
        note: None,
        more: ReceiptMore::default(),
    }
}

async fn take(house: &House, lot: &Lot, cause: Cause, quantity: &str) -> Result<Lot, app::Error> {
    let sample = cause.taking() == Some(domain::stock::MovementKind::Sample);
    let input = LotTake {
        lot: lot.id,
        purpose: if sample { TakenFor::Sample } else { TakenFor::WriteOff },
        quantity: quantity_of(quantity),
        reason: "as said".into(),
        cause: Some(cause),
        container: None,
        on: None,
    };
    house.app.lot_take(&house.change(), input).await
}

async fn standing_follows_from_dates_and_amounts(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let input = LotReceive {
        retest_on: Some(day("2026-12-31")),
        expires_on: Some(day("2027-12-31")),
        ..receipt(&house, "SLES", "L-1", "10 kg")
    };
    let lot = house.app.lot_receive(&house.change(), input).await.unwrap();
    assert_eq!(lot.standing_on(day("2026-11-25")), LotStanding::Quarantine);
    let lot = house.set_status(&lot, LotStatus::Released).await.unwrap();
    for (on, standing) in [
        ("2026-12-31", LotStanding::Released),
        ("2027-01-01", LotStanding::RetestDue),
        ("2028-01-01", LotStanding::Expired),
    ] {
        assert_eq!(lot.standing_on(day(on)), standing, "{on}");
    }
    // A retest gives it time; the date it came with stays, and its expiry is not put off.
    let retest =
        |until| LotRetest { lot: lot.id, until: day(until), reason: "pH and colour in order".into() };
    let too_long = house.app.lot_retest(&house.change(), retest("2028-03-31")).await.unwrap_err();
    assert!(problems(too_long)[0].contains("does not put off its expiry"));
    let retested = house.app.lot_retest(&house.change(), retest("2027-06-30")).await.unwrap();
    assert_eq!(retested, house.lot("L-1").await);
    assert_eq!(retested.retest_on, Some(day("2026-12-31")));
    assert_eq!(retested.standing_on(day("2027-06-30")), LotStanding::Released);
    assert_eq!(retested.standing_on(day("2027-07-01")), LotStanding::RetestDue);

    let maker = Actor {
        name: "Piran Loveday".into(),
        capabilities: [Capability::Look, Capability::PlanAndMake].into_iter().collect(),
    };
    let refused = house.app.lot_retest(&app::Change::by(&maker), retest("2027-05-31")).await.unwrap_err();
    assert!(matches!(refused, app::Error::Forbidden(Capability::ReleaseAndReject)), "{refused:?}");

    // What went back to its supplier is returned, and there again once that is undone.
    let gone = take(&house, &lot, Cause::ReturnedToSupplier, "10 kg").await.unwrap();
    assert_eq!(gone.standing_on(day("2026-11-25")), LotStanding::Returned);
    let page = house.app.movements_of_lot(&house.actor, lot.id, None, 10).await.unwrap();
    let movement = page.rows.last().unwrap();
    assert_eq!(movement.cause, Some(Cause::ReturnedToSupplier));
    let reverse = MovementReverse { movement: movement.id, reason: "it stayed".into() };
    let reversal = house.app.movement_reverse(&house.change(), reverse).await.unwrap();
    assert_eq!((reversal.cause, reversal.reverses), (movement.cause, Some(movement.id)));
    assert_eq!(house.lot("L-1").await.standing_on(day("2026-11-25")), LotStanding::Released);
    take(&house, &lot, Cause::BenchTrial, "10 kg").await.unwrap();
    assert_eq!(house.lot("L-1").await.standing_on(day("2026-11-25")), LotStanding::Exhausted);
    house.assert_sound().await;
}

async fn release(
    house: &House,
    lot: &Lot,
    products: Vec<MaterialId>,
    until: Option<&str>,
) -> Result<Lot, app::Error> {
    let input = LotStatusChange {
        lot: lot.id,
        status: LotStatus::Released,
        reason: Some("colour off, fine for this".into()),
        restriction: Some(Restriction { products, until: until.map(day) }),
    };
    house.app.lot_status_change(&house.change(), input).await
}

async fn a_release_may_be_for_some_products_only(database: &TestDatabase) {
    let house = stocked(database).await;
    let lot = house.lot("L-1").await;
    let ticket = write(&house, "100").await;
    let restricted = release(&house, &lot, vec![material(&house, "STOCK")], None).await.unwrap();
    assert_eq!(restricted.standing_on(day("2026-11-25")), LotStanding::ReleasedWithRestriction);
    // Not for this ticket: neither promised to it nor weighed into it, and said why.
    assert_eq!(refused(allocate(&house, &ticket).await.unwrap_err()), ["SHELF_SHORT"]);
    let refusal = weigh(&house, &ticket, vec![weighing(3, Some(lot.id), "1")]).await.unwrap_err();
    assert!(format!("{refusal:?}").contains("Restricted"), "{refusal:?}");
    let shelf = |product| {
        let house = &house;
        async move {
            let sles = material(house, "SLES");
            let rows = house.app.shelf(&house.actor, Some(sles), day("2026-11-25"), product).await.unwrap();
            rows[0].availability.clone()
        }
    };
    let for_wash = shelf(Some(material(&house, "WASH"))).await;
    assert_eq!(for_wash.usable, quantity_of("0 kg"));
    assert_eq!(for_wash.not_usable[0].because, NotUsableBecause::Restricted);
    assert_eq!(for_wash.not_usable[0].quantity, quantity_of("100 kg"));
    assert_eq!(shelf(Some(material(&house, "STOCK"))).await.usable, quantity_of("100 kg"));

    // For this product it is; and only until the day said.
    release(&house, &lot, vec![material(&house, "WASH")], Some("2026-11-26")).await.unwrap();
    allocate(&house, &ticket).await.unwrap();
    house.set_day("2026-11-27");
    let late = weigh(&house, &ticket, vec![weighing(3, Some(lot.id), "1")]).await.unwrap_err();
    assert!(format!("{late:?}").contains("ReleaseEnded"), "{late:?}");
    // A release without a word of a restriction is for everything.
    house.set_status(&lot, LotStatus::OnHold).await.unwrap();
    let whole = house.set_status(&lot, LotStatus::Released).await.unwrap();
    assert_eq!(whole.standing_on(day("2026-11-27")), LotStanding::Released);
    weigh(&house, &ticket, vec![weighing(3, Some(lot.id), "1")]).await.unwrap();
    house.assert_sound().await;
}

async fn what_a_customer_sent_is_kept_for_them(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let sent = |restricted_to: Vec<MaterialId>| LotReceive {
        more: ReceiptMore {
            ownership: Ownership::Customer,
            owner: Some("Marlowe Hotels".into()),
            restricted_to,
            ..ReceiptMore::default()
        },
        ..receipt(&house, "SLES", "L-1", "20 kg")
    };
    let aimless = house.app.lot_receive(&house.change(), sent(vec![])).await.unwrap_err();
    assert!(problems(aimless)[0].contains("for which products"));
    let wash = material(&house, "WASH");
    let lot = house.app.lot_receive(&house.change(), sent(vec![wash])).await.unwrap();
    assert_eq!(lot.value, Some(pounds("0")));
    // A plain release keeps it for the customer; a release for anything else is refused.
    let other = release(&house, &lot, vec![material(&house, "STOCK")], None).await.unwrap_err();
    assert!(problems(other)[0].contains("for other products"));
    let lot = house.set_status(&lot, LotStatus::Released).await.unwrap();
    assert_eq!(lot.terms.restricted_to, vec![wash]);
    house.assert_sound().await;
}

fn drum(gross: &str, tare: &str) -> ContainerWrite {
    ContainerWrite {
        kind: Some("drum".into()),
        gross: Some(kg(gross)),
        tare: Some(kg(tare)),
        ..ContainerWrite::default()
    }
}

/// 100 kg in four drums.
async fn in_drums(house: &House) -> Lot {
    let input = LotReceive {
        value: Some(pounds("150")),
        more: ReceiptMore {
            containers: vec![drum("33.5", "8.5"), drum("34", "9"), drum("33.4", "8.4"), drum("33.5", "8.5")],
            ..ReceiptMore::default()
        },
        ..receipt(house, "SLES", "L-1", "100 kg")
    };
    let lot = house.app.lot_receive(&house.change(), input).await.unwrap();
    house.set_status(&lot, LotStatus::Released).await.unwrap()
}

async fn one_drum_of_four_is_rejected(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let lot = in_drums(&house).await;
    let drums = house.app.containers_of_lot(&house.actor, &lot).await.unwrap();
    assert_eq!(drums.len(), 4);
    assert_eq!(drums[2].container.numbered(), "3 of 4");
    assert_eq!(drums[2].container.net, quantity_of("25 kg"));
    let third = drums[2].container.id;
    let change = |state| ContainerChange {
        container: third,
        state: Some(state),
        opened_on: None,
        reason: Some("leaking at the bung".into()),
    };
    house.app.container_change(&house.change(), change(ContainerState::Rejected)).await.unwrap();
    let lot = house.lot("L-1").await;
    assert_eq!((lot.on_hand, lot.free()), (quantity_of("100 kg"), quantity_of("75 kg").raw()));
    assert_eq!(lot.standing_on(day("2026-11-25")), LotStanding::Released);
    // A rejected drum stays rejected.
    let again = house.app.container_change(&house.change(), change(ContainerState::WithLot)).await;
    assert!(problems(again.unwrap_err())[0].contains("final"));
    // Three drums can be weighed from, the fourth cannot.
    let ticket = write(&house, "100").await;
    let refusal = weigh(&house, &ticket, vec![weighing(3, Some(lot.id), "76")]).await.unwrap_err();
    assert!(format!("{refusal:?}").contains("LotShort"), "{refusal:?}");
    // What is disposed of goes out of the drum, and the rest of the lot is untouched.
    let disposal = LotTake {
        lot: lot.id,
        purpose: TakenFor::WriteOff,
        quantity: quantity_of("25 kg"),
        reason: "leaked drum collected".into(),
        cause: Some(Cause::Disposal),
        container: Some(third),
        on: None,
    };
    let lot = house.app.lot_take(&house.change(), disposal).await.unwrap();
    assert_eq!((lot.on_hand, lot.free()), (quantity_of("75 kg"), quantity_of("75 kg").raw()));
    assert_eq!(lot.value, Some(pounds("112.5")));
    let drums = house.app.containers_of_lot(&house.actor, &lot).await.unwrap();
    assert_eq!(drums[2].remaining, quantity_of("0 kg"));
    house.assert_sound().await;
}

async fn a_drum_is_repacked(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let lot = in_drums(&house).await;
    let drums = house.app.containers_of_lot(&house.actor, &lot).await.unwrap();
    let repack = |into: Vec<ContainerWrite>| ContainerRepack {
        from: drums[0].container.id,
        into,
        on: None,
        reason: None,
    };
    let too_much = repack(vec![drum("15", "1"), drum("13", "1")]);
    let refused = house.app.container_repack(&house.change(), too_much).await.unwrap_err();
    assert!(problems(refused)[0].contains("they hold 101 kg in all"));
    let into = repack(vec![drum("13", "1"), drum("13.7", "1")]);
    let now = house.app.container_repack(&house.change(), into).await.unwrap();
    assert_eq!(now.len(), 6);
    assert_eq!(now[0].container.state, ContainerState::Emptied);
    assert_eq!(now[5].container.opened_on, Some(day("2026-11-25")));
    let lot = house.lot("L-1").await;
    assert_eq!(lot.on_hand, quantity_of("99.7 kg"));
    let page = house.app.movements_of_lot(&house.actor, lot.id, None, 10).await.unwrap();
    let loss = page.rows.last().unwrap();
    assert_eq!((loss.cause, loss.quantity), (Some(Cause::Repacking), quantity_of("-0.3 kg")));
    assert_eq!(loss.container, Some(drums[0].container.id));
    house.assert_sound().await;
}

async fn what_is_ordered_comes_in(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let order = LotOrder {
        number: None,
        material: material(&house, "SLES"),
        quantity: quantity_of("200 kg"),
        supplier: None,
        due_on: Some(day("2026-12-04")),
        note: Some("order 118".into()),
    };
    let ordered = house.app.lot_order(&house.change(), order).await.unwrap();
    assert_eq!(ordered.standing_on(day("2026-11-25")), LotStanding::Ordered);
    assert_eq!(house.app.lots_ordered(&house.actor).await.unwrap(), vec![ordered.clone()]);
    let early = house.set_status(&ordered, LotStatus::Released).await.unwrap_err();
    assert!(problems(early)[0].contains("has not come in"));
    house.set_day("2026-12-03");
    let came = |number: Option<&str>| LotReceive {
        number: number.map(ToOwned::to_owned),
        value: Some(pounds("290")),
        supplier_lot: Some("K-0007".into()),
        more: ReceiptMore { ordered: Some(ordered.id), ..ReceiptMore::default() },
        ..receipt(&house, "SLES", "", "197.6 kg")
    };
    let lot = house.app.lot_receive(&house.change(), came(None)).await.unwrap();
    assert_eq!((lot.id, &lot.number), (ordered.id, &ordered.number));
    assert_eq!(lot.standing_on(day("2026-12-03")), LotStanding::Quarantine);
    assert_eq!((lot.on_hand, lot.value), (quantity_of("197.6 kg"), Some(pounds("290"))));
    assert_eq!(lot.received_on, day("2026-12-03"));
    assert!(house.app.lots_ordered(&house.actor).await.unwrap().is_empty());
    // It comes in once.
    let twice = house.app.lot_receive(&house.change(), came(None)).await.unwrap_err();
    assert!(problems(twice)[0].contains("not on order"));
    house.assert_sound().await;
}

async fn dates_and_papers_are_kept_as_written(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let ph = LotResult {
        name: "pH of a 10 % solution".into(),
        method: Some("electrode".into()),
        found: Finding::Figure("6.40".parse().unwrap()),
        unit: None,
        least: Some("6.0".parse().unwrap()),
        most: Some("7.0".parse().unwrap()),
    };
    let look = LotResult {
        name: "appearance".into(),
        method: None,
        found: Finding::Words("clear paste".into()),
        least: None,
        most: None,
        ..ph.clone()
    };
    let input = LotReceive {
        more: ReceiptMore {
            written: WrittenDates {
                made_on: Some("2026-10".into()),
                expires_on: Some("2028-02".into()),
                retest_on: Some("2027-10-15".into()),
            },
            results: vec![ph.clone(), look.clone()],
            ..ReceiptMore::default()
        },
        ..receipt(&house, "SLES", "L-1", "10 kg")
    };
    let lot = house.app.lot_receive(&house.change(), input).await.unwrap();
    // A month of expiry means its last day (USP General Notices), a month of manufacture its first.
    assert_eq!(lot.expires_on, Some(day("2028-02-29")));
    assert_eq!(lot.made_on, Some(day("2026-10-01")));
    assert_eq!(lot.retest_on, Some(day("2027-10-15")));
    assert_eq!(lot.terms.written.expires_on.as_deref(), Some("2028-02"));
    assert_eq!(lot.terms.written.retest_on, None);
    let details = house.app.lot_details(&house.actor, &[lot.id]).await.unwrap();
    assert_eq!(details[&lot.id].results, vec![ph, look.clone()]);

    let certificate = LotCertificate {
        lot: lot.id,
        density: None,
        active_matter: Some(kernel::Percent::from_percent("69.1".parse().unwrap()).unwrap()),
        results: vec![look.clone()],
    };
    let lot = house.app.lot_certificate(&house.change(), certificate).await.unwrap();
    assert_eq!(house.lot("L-1").await, lot);
    let document = LotDocumentAdd {
        lot: lot.id,
        kind: DocumentKind::CertificateOfAnalysis,
        link: "papers/2026/sles-k7.pdf".into(),
        sha256: "AB".repeat(32),
    };
    let added = house.app.lot_document_add(&house.change(), document.clone()).await.unwrap();
    let wrong = LotDocumentAdd { sha256: "ab".into(), ..document };
    assert!(house.app.lot_document_add(&house.change(), wrong).await.is_err());
    let details = house.app.lot_details(&house.actor, &[lot.id]).await.unwrap();
    assert_eq!((&details[&lot.id].results, &details[&lot.id].documents), (&vec![look], &vec![added]));
    assert_eq!(details[&lot.id].documents[0].sha256, "ab".repeat(32));
}

async fn a_lot_is_found_by_its_label(database: &TestDatabase) {
    let house = House::furnished(database).await;
    for (number, supplier_lot) in [("L-000012", "SX 0400/7"), ("L-000120", "sx-40O/7"), ("R-7", "B 12")] {
        let input =
            LotReceive { supplier_lot: Some(supplier_lot.into()), ..receipt(&house, "SLES", number, "1 kg") };
        house.app.lot_receive(&house.change(), input).await.unwrap();
    }
    let found = |text: &'static str| {
        let house = &house;
        async move {
            let lots = house.app.lots_sought(&house.actor, text, 10).await.unwrap();
            lots.into_iter().map(|lot| lot.number).collect::<Vec<_>>()
        }
    };
    assert_eq!(found("l12").await, ["L-000012"]);
    assert_eq!(found("L 0120").await, ["L-000120"]);
    assert_eq!(found("SX400-7").await, ["L-000120", "L-000012"]);
    assert_eq!(found("b-0012").await, ["R-7"]);
    // A part, where nothing is meant as a whole; and nothing for nothing.
    assert_eq!(found("400/7").await, ["L-000120", "L-000012"]);
    assert!(found("--").await.is_empty());
    assert!(found("L13").await.is_empty());
    // What was written stands as written.
    assert_eq!(house.lot("l-000120").await.supplier_lot.as_deref(), Some("sx-40O/7"));
}

async fn places_are_known(database: &TestDatabase) {
    let house = stocked(database).await;
    let to = |place: &str| {
        let place = place.to_owned();
        let house = &house;
        async move {
            let lot = house.lot("L-1").await.id;
            let input = LotTransfer { lot, container: None, to: place, reason: None };
            house.app.lot_transfer(&house.change(), input).await
        }
    };
    assert_eq!(to("somewhere").await.unwrap().location.as_deref(), Some("somewhere"));
    let rack = Location { code: "B3".into(), name: "Rack B, third shelf".into(), note: None };
    house.app.location_put(&house.change(), rack.clone()).await.unwrap();
    assert_eq!(to("b3").await.unwrap().location.as_deref(), Some("B3"));
    assert!(problems(to("B4").await.unwrap_err())[0].contains("there is no location B4; there are B3"));
    let renamed = Location { name: "Rack B, top".into(), ..rack };
    house.app.location_put(&house.change(), renamed.clone()).await.unwrap();
    assert_eq!(house.app.locations(&house.actor).await.unwrap(), vec![renamed]);
    assert_eq!(house.lot("L-1").await.location.as_deref(), Some("B3"));
}

async fn losses_have_causes(database: &TestDatabase) {
    let house = stocked(database).await;
    let lot = house.lot("L-1").await;
    take(&house, &lot, Cause::Spill, "1 kg").await.unwrap();
    take(&house, &lot, Cause::Inspection, "0.5 kg").await.unwrap();
    let wrong = LotTake {
        lot: lot.id,
        purpose: TakenFor::Sample,
        quantity: quantity_of("1 kg"),
        reason: "spilled".into(),
        cause: Some(Cause::Spill),
        container: None,
        on: None,
    };
    let refused = house.app.lot_take(&house.change(), wrong).await.unwrap_err();
    assert!(problems(refused)[0].contains("spill is no cause of a sample"));
    let page = house.app.movements_of_lot(&house.actor, lot.id, None, 10).await.unwrap();
    let causes: Vec<_> = page.rows.iter().map(|movement| movement.cause).collect();
    assert_eq!(causes, [None, Some(Cause::Spill), Some(Cause::Inspection)]);
    house.assert_sound().await;
}

async fn every_reason_has_its_kilograms(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let sles = material(&house, "SLES");
    let more = |number: &str, quantity: &str, more: ReceiptMore| LotReceive {
        more,
        ..receipt(&house, "SLES", number, quantity)
    };
    let heel = ReceiptMore { heel: Some(quantity_of("3 kg")), ..ReceiptMore::default() };
    let app = &house.app;
    let good = app.lot_receive(&house.change(), more("L-1", "100 kg", heel)).await.unwrap();
    house.set_status(&good, LotStatus::Released).await.unwrap();
    app.lot_receive(&house.change(), more("L-2", "40 kg", ReceiptMore::default())).await.unwrap();
    let held = app.lot_receive(&house.change(), more("L-3", "7 kg", ReceiptMore::default())).await.unwrap();
    house.set_status(&held, LotStatus::OnHold).await.unwrap();
    let old = LotReceive {
        received_on: Some(day("2026-01-01")),
        expires_on: Some(day("2026-11-24")),
        ..receipt(&house, "SLES", "L-4", "5 kg")
    };
    let old = app.lot_receive(&house.change(), old).await.unwrap();
    house.set_status(&old, LotStatus::Released).await.unwrap();
    house.receive("PRES", "L-5", "5 kg", None).await;
    house.receive("STOCK", "L-6", "50 kg", None).await;
    // The plan leaves the heel out: 97 kg are 12 % of a batch of 808 kg, and no more.
    let ticket = write(&house, "100").await;
    allocate(&house, &ticket).await.unwrap();
    let rows = app.shelf(&house.actor, Some(sles), day("2026-11-25"), None).await.unwrap();
    let there = &rows[0].availability;
    let said: Vec<_> = there.not_usable.iter().map(|part| (part.because, part.quantity)).collect();
    assert_eq!(
        said,
        [
            (NotUsableBecause::Quarantine, quantity_of("40 kg")),
            (NotUsableBecause::OnHold, quantity_of("7 kg")),
            (NotUsableBecause::Expired, quantity_of("5 kg")),
            (NotUsableBecause::Heel, quantity_of("3 kg")),
            (NotUsableBecause::Promised, quantity_of("12 kg")),
        ]
    );
    assert_eq!(there.usable, quantity_of("85 kg"));
    let sum: i64 = there.not_usable.iter().map(|part| part.quantity.raw()).sum();
    assert_eq!(sum + there.usable.raw(), there.on_hand.raw());
    house.assert_sound().await;
}
