//! A batch from ticket to bottles.

use app::{
    FillingWrite, LotCount, MovementReverse, TicketAllocate, TicketCancel, TicketComplete, TicketSize,
    TicketSubject, TicketWeigh, TicketWrite, WeighingTakeBack, WeighingWrite,
};
use domain::{
    lots::LotStatus,
    tickets::{Ticket, TicketStatus},
};
use kernel::{Count, Mass, ids::LotId};
use testkit::db::TestDatabase;

use crate::house::{House, day, kg, pounds, problems, quantity_of, refused};

testkit::on_both_databases!(
    a_batch_becomes_bottles,
    targets_add_up_to_the_batch,
    weighings_follow_the_rules,
    a_weighing_is_taken_back,
    a_missing_value_stays_missing,
    what_was_taken_back_costs_nothing,
    first_expired_first_out,
    a_cancelled_ticket_lets_go,
    counting_and_reversing,
);

pub async fn stocked(database: &TestDatabase) -> House {
    let house = House::furnished(database).await;
    house.receive("SLES", "L-1", "100 kg", Some("150.00")).await;
    house.receive("PRES", "L-2", "5 kg", Some("50.00")).await;
    house.receive("STOCK", "L-3", "50 kg", Some("30.00")).await;
    house.receive("BOT", "L-4", "1000 pcs", Some("200.00")).await;
    house
}

pub async fn write(house: &House, batch: &str) -> Ticket {
    let catalogue = house.app.catalogue(&house.actor).unwrap();
    let formula = catalogue.formulas.by_code("HW-1").unwrap();
    let input = TicketWrite {
        subject: TicketSubject::Formula(formula.id),
        size: TicketSize::Batch(kg(batch)),
        planned_for: day("2026-11-25"),
        number: None,
        note: None,
        asks: app::TicketAsks::default(),
    };
    house.app.ticket_write(&house.change(), input).await.unwrap()
}

pub async fn allocate(house: &House, ticket: &Ticket) -> Result<Ticket, app::Error> {
    let input = TicketAllocate { ticket: ticket.id, choices: vec![] };
    house.app.ticket_allocate(&house.change(), input).await
}

pub fn weighing(line: u32, lot: Option<LotId>, amount: &str) -> WeighingWrite {
    WeighingWrite {
        line,
        lot,
        amount: kg(amount),
        checked_by: None,
        reason: None,
        how: app::WeighingHow::default(),
    }
}

pub async fn weigh(
    house: &House,
    ticket: &Ticket,
    weighings: Vec<WeighingWrite>,
) -> Result<Ticket, app::Error> {
    let input = TicketWeigh { ticket: ticket.id, weighings, on: None };
    house.app.ticket_weigh(&house.change(), input).await
}

pub fn complete(ticket: &Ticket, yield_mass: &str) -> TicketComplete {
    TicketComplete {
        ticket: ticket.id,
        yield_mass: kg(yield_mass),
        lot_number: None,
        density: None,
        fillings: vec![],
        note: None,
        on: None,
    }
}

async fn weigh_all(house: &House, ticket: &Ticket) -> Ticket {
    let (sles, pres, stock) =
        (house.lot("L-1").await.id, house.lot("L-2").await.id, house.lot("L-3").await.id);
    let weighings = vec![
        weighing(1, None, "77.2"),
        weighing(2, Some(stock), "10"),
        weighing(3, Some(sles), "12.03"),
        weighing(4, Some(pres), "0.8"),
    ];
    weigh(house, ticket, weighings).await.unwrap()
}

async fn a_batch_becomes_bottles(database: &TestDatabase) {
    let house = stocked(database).await;
    let ticket = write(&house, "100").await;
    let ticket = allocate(&house, &ticket).await.unwrap();
    assert_eq!(ticket.status, TicketStatus::Allocated);
    assert_eq!(house.lot("L-1").await.reserved, quantity_of("12 kg"));

    let ticket = weigh_all(&house, &ticket).await;
    assert_eq!(ticket.status, TicketStatus::Weighing);
    // What was really weighed leaves, not the target, and takes its share of the value: 150 × 12.03 / 100.
    let sles = house.lot("L-1").await;
    assert_eq!((sles.on_hand, sles.reserved), (quantity_of("87.97 kg"), quantity_of("0 kg")));
    assert_eq!(sles.value, Some(pounds("131.955")));

    let pack = house.app.catalogue(&house.actor).unwrap().packs.by_code("HW-500").unwrap().id;
    let filling = FillingWrite {
        pack,
        filled: Count::from_thousandths(180_000),
        spoiled: vec![],
        lot_number: None,
        counts: app::FillingCounts::default(),
    };
    let input = TicketComplete { fillings: vec![filling], ..complete(&ticket, "97.5") };
    let ticket = house.app.ticket_complete(&house.change(), input).await.unwrap();
    let completion = ticket.completion.clone().unwrap();
    assert_eq!(ticket.status, TicketStatus::Reconciled);

    let lots = house.app.lots_get(&house.actor, &[completion.lot, completion.fillings[0].lot]).await.unwrap();
    let bulk = lots.iter().find(|l| l.id == completion.lot).unwrap();
    let bottles = lots.iter().find(|l| l.id != completion.lot).unwrap();
    // 150 × 12.03 / 100 + 50 × 0.8 / 5 + 30 × 10 / 50 + 77.2 kg of water at 2.00 a tonne + 40.00 a batch.
    assert_eq!(bulk.received_value, Some(pounds("72.1994")));
    assert_eq!(bulk.made_by, Some(ticket.id));
    assert_eq!(bulk.expires_on, Some(day("2028-11-25")));
    // 180 × 500 mL × 1.03 × 1.01 = 93.627 kg leave the bulk.
    assert_eq!(bulk.on_hand, quantity_of("3.873 kg"));
    assert_eq!(bottles.on_hand, quantity_of("180 pcs"));
    assert_eq!(house.lot("L-4").await.on_hand, quantity_of("820 pcs"));
    // The bottles carry what left the bulk and 180 bottles at 0.20; nothing is lost on the way.
    let left_bulk = bulk.received_value.unwrap().checked_sub(bulk.value.unwrap()).unwrap();
    assert_eq!(bottles.received_value.unwrap(), left_bulk.checked_add(pounds("36.00")).unwrap());
    house.assert_sound().await;
}

async fn targets_add_up_to_the_batch(database: &TestDatabase) {
    let house = House::furnished(database).await;
    for batch in ["100", "33.333333333", "0.000000007", "77.7"] {
        let ticket = write(&house, batch).await;
        let sum: i64 = ticket.lines.iter().map(|l| l.target.micrograms()).sum();
        assert_eq!(Mass::from_micrograms(sum), kg(batch));
    }
}

async fn weighings_follow_the_rules(database: &TestDatabase) {
    let house = stocked(database).await;
    let ticket = write(&house, "100").await;
    let (sles, pres) = (house.lot("L-1").await, house.lot("L-2").await);

    // Another material, more than there is, above the tolerance: all said in one go, and nothing taken.
    let wrong = vec![
        weighing(3, Some(pres.id), "1"),
        weighing(4, Some(pres.id), "6"),
        weighing(3, Some(sles.id), "12.2"),
    ];
    let codes = refused(weigh(&house, &ticket, wrong).await.unwrap_err());
    assert!(codes.contains(&"LOT_OF_OTHER_MATERIAL") && codes.contains(&"LOT_SHORT"), "{codes:?}");
    assert!(codes.contains(&"OUTSIDE_TOLERANCE"), "{codes:?}");
    assert_eq!(house.lot("L-2").await.on_hand, quantity_of("5 kg"));

    // Two weighings of one lot that fit alone and not together.
    let together = vec![weighing(3, Some(sles.id), "60"), weighing(3, Some(sles.id), "60")];
    assert!(refused(weigh(&house, &ticket, together).await.unwrap_err()).contains(&"LOT_SHORT"));

    // A lot that may not be used, on the day it may not be used.
    house.set_status(&sles, LotStatus::OnHold).await.unwrap();
    let held = weigh(&house, &ticket, vec![weighing(3, Some(sles.id), "12")]).await.unwrap_err();
    assert_eq!(refused(held), ["LOT_NOT_USABLE"]);
    // With a reason, somebody who may release and reject may.
    let reasoned =
        WeighingWrite { reason: Some("retested today".into()), ..weighing(3, Some(sles.id), "12") };
    weigh(&house, &ticket, vec![reasoned]).await.unwrap();

    // A stocked material needs its lot, a utility has none.
    let lots =
        weigh(&house, &ticket, vec![weighing(4, None, "0.8"), weighing(1, Some(pres.id), "77.2")]).await;
    assert_eq!(problems(lots.unwrap_err()).len(), 2);
    let later = TicketWeigh {
        ticket: ticket.id,
        weighings: vec![weighing(1, None, "1")],
        on: Some(day("2026-11-26")),
    };
    assert_eq!(
        problems(house.app.ticket_weigh(&house.change(), later).await.unwrap_err()),
        ["on: 2026-11-26 is after today, 2026-11-25"]
    );

    // Not all weighed: no completion.
    let early = house.app.ticket_complete(&house.change(), complete(&ticket, "90")).await.unwrap_err();
    assert_eq!(refused(early), ["LINES_NOT_WEIGHED"]);
    house.assert_sound().await;
}

async fn a_weighing_is_taken_back(database: &TestDatabase) {
    let house = stocked(database).await;
    let ticket = write(&house, "100").await;
    let sles = house.lot("L-1").await;
    let ticket = weigh(&house, &ticket, vec![weighing(3, Some(sles.id), "11.111111111")]).await.unwrap();
    let input = WeighingTakeBack {
        ticket: ticket.id,
        weighing: ticket.weighings[0].id,
        reason: "wrong scale".into(),
    };
    let ticket = house.app.weighing_take_back(&house.change(), input.clone()).await.unwrap();
    assert_eq!(ticket.weighings[0].reversed.as_deref(), Some("wrong scale"));
    let back = house.lot("L-1").await;
    assert_eq!((back.on_hand, back.value), (sles.on_hand, sles.value));
    let again = house.app.weighing_take_back(&house.change(), input).await.unwrap_err();
    assert_eq!(refused(again), ["NOT_REVERSIBLE"]);
    house.assert_sound().await;
}

/// A lot nobody valued makes a batch whose cost is not known; it is not nought.
async fn a_missing_value_stays_missing(database: &TestDatabase) {
    let house = House::furnished(database).await;
    house.receive("SLES", "L-1", "100 kg", None).await;
    house.receive("PRES", "L-2", "5 kg", Some("50.00")).await;
    house.receive("STOCK", "L-3", "50 kg", Some("30.00")).await;
    let ticket = write(&house, "100").await;
    let ticket = weigh_all(&house, &ticket).await;
    let ticket = house.app.ticket_complete(&house.change(), complete(&ticket, "98")).await.unwrap();
    let lot = house.app.lots_get(&house.actor, &[ticket.completion.unwrap().lot]).await.unwrap().remove(0);
    assert_eq!(lot.received_value, None);
    assert_eq!(lot.value, None);
}

/// What was taken back of a lot nobody valued leaves the batch's cost known.
async fn what_was_taken_back_costs_nothing(database: &TestDatabase) {
    let house = stocked(database).await;
    let unvalued = house.receive("SLES", "L-9", "50 kg", None).await;
    let ticket = write(&house, "100").await;
    let ticket = weigh(&house, &ticket, vec![weighing(3, Some(unvalued.id), "12")]).await.unwrap();
    let input =
        WeighingTakeBack { ticket: ticket.id, weighing: ticket.weighings[0].id, reason: "wrong drum".into() };
    let ticket = house.app.weighing_take_back(&house.change(), input).await.unwrap();
    let ticket = weigh_all(&house, &ticket).await;
    let ticket = house.app.ticket_complete(&house.change(), complete(&ticket, "98")).await.unwrap();
    let lot = house.app.lots_get(&house.actor, &[ticket.completion.unwrap().lot]).await.unwrap().remove(0);
    // The same as a batch without the mistake.
    assert_eq!(lot.received_value, Some(pounds("72.1994")));
    house.assert_sound().await;
}

/// WHO good distribution practices: the earliest expiry leaves before a later one, whichever arrived first.
async fn first_expired_first_out(database: &TestDatabase) {
    let house = stocked(database).await;
    let header = "lot,material,quantity,unit cost,received,expiry,status\n";
    let lots = format!(
        "{header}S-A,SLES,8 kg,1.60,2026-11-01,2027-06-30,released\nS-B,SLES,3 kg,1.70,2026-11-02,2026-12-31,released\nS-C,SLES,50 kg,1.50,2026-10-01,2026-11-24,released\n"
    );
    house.import(&[("lots.csv", lots)]).await.unwrap();
    let ticket = write(&house, "100").await;
    let ticket = allocate(&house, &ticket).await.unwrap();
    let mut promised = vec![];
    let line = ticket.line_at(3).unwrap();
    for allocation in ticket.allocations.iter().filter(|a| a.line == line.id) {
        let lot = house.app.lots_get(&house.actor, &[allocation.lot]).await.unwrap().remove(0);
        promised.push((lot.number, allocation.quantity.to_string()));
    }
    promised.sort();
    let expected = [("L-1", "1 kg"), ("S-A", "8 kg"), ("S-B", "3 kg")];
    assert_eq!(promised, expected.map(|(n, q)| (n.to_owned(), q.to_owned())));
    // A second ticket cannot be promised the same kilograms.
    let second = write(&house, "1000").await;
    assert!(refused(allocate(&house, &second).await.unwrap_err()).contains(&"SHELF_SHORT"));
    house.assert_sound().await;
}

async fn a_cancelled_ticket_lets_go(database: &TestDatabase) {
    let house = stocked(database).await;
    let ticket = write(&house, "100").await;
    let ticket = allocate(&house, &ticket).await.unwrap();
    let cancel = |ticket: &Ticket| TicketCancel { ticket: ticket.id, reason: "not needed".into() };
    let cancelled = house.app.ticket_cancel(&house.change(), cancel(&ticket)).await.unwrap();
    assert_eq!(cancelled.status, TicketStatus::Cancelled);
    assert_eq!(house.lot("L-1").await.reserved, quantity_of("0 kg"));
    let sles = house.lot("L-1").await.id;
    let late = weigh(&house, &cancelled, vec![weighing(3, Some(sles), "1")]).await.unwrap_err();
    assert_eq!(refused(late), ["TICKET_NOT_READY"]);
    // Once something is weighed there is no cancelling.
    let other = write(&house, "100").await;
    let other = weigh(&house, &other, vec![weighing(3, Some(sles), "1")]).await.unwrap();
    let refusal = house.app.ticket_cancel(&house.change(), cancel(&other)).await.unwrap_err();
    assert_eq!(refused(refusal), ["TICKET_NOT_READY"]);
    house.assert_sound().await;
}

async fn counting_and_reversing(database: &TestDatabase) {
    let house = stocked(database).await;
    let lot = house.lot("L-1").await;
    let count = LotCount {
        lot: lot.id,
        found: quantity_of("90 kg"),
        reason: "counted".into(),
        cause: None,
        on: None,
    };
    let counted = house.app.lot_count(&house.change(), count).await.unwrap();
    assert_eq!((counted.on_hand, counted.value), (quantity_of("90 kg"), Some(pounds("135"))));
    let page = house.app.movements_of_lot(&house.actor, lot.id, None, 10).await.unwrap();
    let (receipt, adjustment) = (&page.rows[0], &page.rows[1]);
    let reverse = |id| MovementReverse { movement: id, reason: "miscounted".into() };
    house.app.movement_reverse(&house.change(), reverse(adjustment.id)).await.unwrap();
    let back = house.lot("L-1").await;
    assert_eq!((back.on_hand, back.value), (lot.on_hand, lot.value));
    // A receipt of which something is promised stays.
    let ticket = write(&house, "100").await;
    allocate(&house, &ticket).await.unwrap();
    let kept = house.app.movement_reverse(&house.change(), reverse(receipt.id)).await.unwrap_err();
    assert_eq!(refused(kept), ["NOT_REVERSIBLE"]);
    house.assert_sound().await;
}
