//! The end of a batch step by step, and what a trace and a recall drill find afterwards.

use app::{
    BatchCheckWrite, CheckLimitApprove, CountedComponent, FillingCounts, FillingWrite, LostWrite, NextStep,
    SpoiledComponent, TicketBulk, TicketDecide, TicketFill, TicketReconcile, TicketStep,
};
use domain::{
    finishing::Bucket,
    lots::LotStatus,
    people::{Actor, Capability},
    tickets::{Ticket, TicketStatus},
};
use kernel::{Count, Mass, ids::PackId};
use testkit::db::TestDatabase;

use crate::{
    house::{House, kg, problems, quantity_of, refused},
    making::{complete, stocked, weigh, weighing, write},
};

testkit::on_both_databases!(
    a_batch_is_finished_step_by_step,
    an_account_that_does_not_close,
    what_was_rejected_is_not_sold,
    a_result_is_accepted_by_the_right_person,
    a_lot_is_traced_and_a_recall_drilled,
);

fn pieces(count: i64) -> Count {
    Count::from_thousandths(count * 1_000)
}

fn lost(bucket: Bucket, amount: &str) -> LostWrite {
    LostWrite { bucket, amount: kg(amount) }
}

fn pack(house: &House) -> PackId {
    house.app.catalogue(&house.actor).unwrap().packs.by_code("HW-500").unwrap().id
}

fn filling(house: &House, filled: i64, counts: FillingCounts) -> FillingWrite {
    FillingWrite { pack: pack(house), filled: pieces(filled), spoiled: vec![], lot_number: None, counts }
}

async fn ask_for_ph(house: &House) {
    let formula = house.app.catalogue(&house.actor).unwrap().formulas.by_code("HW-1").unwrap().id;
    let limit = CheckLimitApprove {
        formula,
        name: "pH".into(),
        lower: Some("5.75".parse().unwrap()),
        upper: Some("6.25".parse().unwrap()),
        unit: None,
        method: Some("10 % in water, 20 °C".into()),
        asked: true,
    };
    house.app.check_limit_approve(&house.change(), limit).await.unwrap();
}

async fn weighed(house: &House) -> Ticket {
    let ticket = write(house, "100").await;
    let (sles, pres, stock) =
        (house.lot("L-1").await.id, house.lot("L-2").await.id, house.lot("L-3").await.id);
    let all = vec![
        weighing(1, None, "77.2"),
        weighing(2, Some(stock), "10"),
        weighing(3, Some(sles), "12"),
        weighing(4, Some(pres), "0.8"),
    ];
    weigh(house, &ticket, all).await.unwrap()
}

async fn step(house: &House, ticket: &Ticket, step: NextStep) -> Result<Ticket, app::Error> {
    house.app.ticket_step(&house.change(), TicketStep { ticket: ticket.id, step, note: None }).await
}

async fn ph(house: &House, ticket: &Ticket, figure: &str, accept: Option<&str>) -> Result<bool, app::Error> {
    let check = BatchCheckWrite {
        ticket: ticket.id,
        name: "ph".into(),
        figure: Some(figure.parse().unwrap()),
        words: None,
        passed: None,
        instrument: Some("PH-2".into()),
        accept: accept.map(ToOwned::to_owned),
    };
    house.app.batch_check_record(&house.change(), check).await.map(|check| check.passed)
}

fn bulk(ticket: &Ticket, yield_mass: &str, lost: Vec<LostWrite>) -> TicketBulk {
    TicketBulk {
        ticket: ticket.id,
        yield_mass: kg(yield_mass),
        lot_number: Some("B-1".into()),
        density: None,
        lost,
        note: None,
        on: None,
    }
}

fn reconcile(ticket: &Ticket, left: Option<&str>, reason: Option<&str>) -> TicketReconcile {
    TicketReconcile {
        ticket: ticket.id,
        lost_in_making: vec![],
        lost_in_filling: vec![],
        left: left.map(kg),
        reason: reason.map(ToOwned::to_owned),
        on: None,
    }
}

async fn a_batch_is_finished_step_by_step(database: &TestDatabase) {
    let house = stocked(database).await;
    ask_for_ph(&house).await;
    let ticket = weighed(&house).await;
    let early = house.app.ticket_bulk(&house.change(), bulk(&ticket, "97", vec![])).await.unwrap_err();
    assert_eq!(refused(early), ["TICKET_NOT_READY"]);
    step(&house, &ticket, NextStep::Make).await.unwrap();
    let early = house.app.ticket_bulk(&house.change(), bulk(&ticket, "97", vec![])).await.unwrap_err();
    assert_eq!(refused(early), ["CHECKS_NOT_MET"]);

    // Tested, missed, adjusted, tested again.
    step(&house, &ticket, NextStep::Test).await.unwrap();
    assert!(!ph(&house, &ticket, "5.1", None).await.unwrap());
    let missed = house.app.ticket_bulk(&house.change(), bulk(&ticket, "97", vec![])).await.unwrap_err();
    assert_eq!(refused(missed), ["CHECKS_NOT_MET"]);
    let adjusting = step(&house, &ticket, NextStep::Adjust).await.unwrap();
    assert_eq!(adjusting.status, TicketStatus::Adjusting);
    let while_adjusting =
        house.app.ticket_bulk(&house.change(), bulk(&ticket, "97", vec![])).await.unwrap_err();
    assert_eq!(refused(while_adjusting), ["TICKET_NOT_READY"]);
    step(&house, &ticket, NextStep::Test).await.unwrap();
    assert!(ph(&house, &ticket, "6.00", None).await.unwrap());

    let losses = vec![lost(Bucket::Heel, "2"), lost(Bucket::Evaporated, "0.4")];
    let ticket = house.app.ticket_bulk(&house.change(), bulk(&ticket, "97", losses)).await.unwrap();
    assert_eq!(ticket.status, TicketStatus::Filling);

    // 100 bottles of 500 mL × 1.03 × 1.01 on one day, and what the scale said of the rest on the next.
    let fill = |filling, lost| TicketFill { ticket: ticket.id, filling, lost, on: None };
    let first = fill(filling(&house, 100, FillingCounts::default()), vec![]);
    house.app.ticket_fill(&house.change(), first).await.unwrap();
    assert_eq!(house.lot("B-1").await.on_hand, quantity_of("44.985 kg"));
    house.set_day("2026-11-26");
    let counts = FillingCounts {
        drawn: Some(kg("33.9")),
        rejected: pieces(5),
        components: vec![CountedComponent {
            material: house.lot("L-4").await.material,
            issued: pieces(80),
            returned: pieces(14),
        }],
    };
    let spoiled = vec![SpoiledComponent { material: house.lot("L-4").await.material, pieces: pieces(1) }];
    let second = fill(
        FillingWrite { spoiled, ..filling(&house, 60, counts) },
        vec![lost(Bucket::Purge, "0.5"), lost(Bucket::Samples, "0.3")],
    );
    let ticket = house.app.ticket_fill(&house.change(), second).await.unwrap();
    let lots: Vec<_> = ticket.completion.as_ref().unwrap().fillings.iter().map(|f| f.lot).collect();
    assert_eq!(lots.len(), 2);
    assert_eq!(house.lot("B-1/HW-500").await.on_hand, quantity_of("100 pcs"));
    let of_second_day = house.lot("B-1/HW-500-2").await;
    assert_eq!(
        (of_second_day.on_hand, of_second_day.made_on),
        (quantity_of("60 pcs"), Some(crate::house::day("2026-11-26")))
    );
    // 100 bottles, then 80 out and 14 back.
    assert_eq!(house.lot("L-4").await.on_hand, quantity_of("834 pcs"));

    let finish = house.app.ticket_finish(&house.actor, &ticket).await.unwrap();
    assert_eq!((finish.checks.len(), finish.checks_open.len()), (2, 0));
    assert_eq!(finish.fillings[1].components[0].missing(), 0);
    // 97 less 52.015, 33.9 and 0.8 are 10.285; 10.2 were counted.
    let ticket =
        house.app.ticket_reconcile(&house.change(), reconcile(&ticket, Some("10.2"), None)).await.unwrap();
    assert_eq!(ticket.status, TicketStatus::Reconciled);
    let account = house.app.ticket_finish(&house.actor, &ticket).await.unwrap().account.unwrap();
    assert_eq!(account.unaccounted_in_making(), kg("0.6"));
    assert_eq!(account.unaccounted_in_filling(), kg("0.085"));
    assert_eq!((account.filled, account.left), (kg("85.915"), kg("10.2")));
    assert_eq!(house.lot("B-1").await.on_hand, quantity_of("10.2 kg"));

    // Somebody who may not release does not; then everything it made goes together.
    let decide = TicketDecide { ticket: ticket.id, release: true, reason: None };
    let maker = Actor {
        capabilities: [Capability::Look, Capability::PlanAndMake].into_iter().collect(),
        ..house.actor.clone()
    };
    let forbidden = house.app.ticket_decide(&app::Change::by(&maker), decide.clone()).await.unwrap_err();
    assert!(matches!(forbidden, app::Error::Forbidden(Capability::ReleaseAndReject)), "{forbidden:?}");
    let ticket = house.app.ticket_decide(&house.change(), decide).await.unwrap();
    assert_eq!(ticket.status, TicketStatus::Released);
    for number in ["B-1", "B-1/HW-500", "B-1/HW-500-2"] {
        assert_eq!(house.lot(number).await.status, LotStatus::Released, "{number}");
    }
    let went: Vec<TicketStatus> = ticket.steps.iter().map(|step| step.to).collect();
    assert_eq!(
        went,
        [
            TicketStatus::Weighing,
            TicketStatus::Making,
            TicketStatus::OnTest,
            TicketStatus::Adjusting,
            TicketStatus::OnTest,
            TicketStatus::Filling,
            TicketStatus::Reconciled,
            TicketStatus::Released,
        ]
    );
    house.assert_sound().await;
}

async fn an_account_that_does_not_close(database: &TestDatabase) {
    let house = stocked(database).await;
    let ticket = weighed(&house).await;
    step(&house, &ticket, NextStep::Make).await.unwrap();
    // 96.5 of 100 kg, and nobody says where 3.5 went.
    let ticket = house.app.ticket_bulk(&house.change(), bulk(&ticket, "96.5", vec![])).await.unwrap();
    let open = house.app.ticket_reconcile(&house.change(), reconcile(&ticket, None, None)).await.unwrap_err();
    assert_eq!(refused(open), ["NOT_ACCOUNTED_FOR"]);
    // A reason by somebody who may not overrule does not help; the names of the buckets do.
    let maker = Actor {
        capabilities: [Capability::Look, Capability::PlanAndMake].into_iter().collect(),
        ..house.actor.clone()
    };
    let reasoned = reconcile(&ticket, None, Some("the hose came off"));
    let open = house.app.ticket_reconcile(&app::Change::by(&maker), reasoned.clone()).await.unwrap_err();
    assert_eq!(refused(open), ["NOT_ACCOUNTED_FOR"]);
    let too_much = TicketReconcile {
        lost_in_filling: vec![lost(Bucket::Waste, "97")],
        ..reconcile(&ticket, None, None)
    };
    let refusal = house.app.ticket_reconcile(&house.change(), too_much).await.unwrap_err();
    assert_eq!(refused(refusal), ["MORE_THAN_THERE_IS"]);
    let named =
        TicketReconcile { lost_in_making: vec![lost(Bucket::Heel, "2.1")], ..reconcile(&ticket, None, None) };
    let closed = house.app.ticket_reconcile(&app::Change::by(&maker), named).await.unwrap();
    assert_eq!(closed.status, TicketStatus::Reconciled);
    let account = house.app.ticket_finish(&house.actor, &closed).await.unwrap().account.unwrap();
    assert_eq!((account.unaccounted(), account.left), (kg("1.4"), kg("96.5")));
    house.assert_sound().await;
}

async fn what_was_rejected_is_not_sold(database: &TestDatabase) {
    let house = stocked(database).await;
    let ticket = weighed(&house).await;
    let made = app::TicketComplete {
        fillings: vec![filling(&house, 10, FillingCounts::default())],
        ..complete(&ticket, "98")
    };
    let ticket = house.app.ticket_complete(&house.change(), made).await.unwrap();
    let reject = |reason: Option<&str>| TicketDecide {
        ticket: ticket.id,
        release: false,
        reason: reason.map(ToOwned::to_owned),
    };
    let without = house.app.ticket_decide(&house.change(), reject(None)).await.unwrap_err();
    assert_eq!(problems(without), ["reason: say why it is rejected"]);
    let rejected = house.app.ticket_decide(&house.change(), reject(Some("it smells"))).await.unwrap();
    assert_eq!(rejected.status, TicketStatus::Rejected);
    let completion = rejected.completion.as_ref().unwrap();
    let lots = [completion.lot, completion.fillings[0].lot];
    for lot in house.app.lots_get(&house.actor, &lots).await.unwrap() {
        assert_eq!(lot.status, LotStatus::Rejected);
    }
    let again = TicketDecide { release: true, ..reject(None) };
    assert_eq!(
        refused(house.app.ticket_decide(&house.change(), again).await.unwrap_err()),
        ["TICKET_NOT_READY"]
    );
}

async fn a_result_is_accepted_by_the_right_person(database: &TestDatabase) {
    let house = stocked(database).await;
    let before = weighed(&house).await;
    // What is asked for later does not touch a ticket that was written before.
    house.set_day("2026-11-26");
    ask_for_ph(&house).await;
    let finish = house.app.ticket_finish(&house.actor, &before).await.unwrap();
    assert_eq!((finish.limits.len(), finish.checks_open.len()), (0, 0));
    house.set_day("2026-11-27");
    let ticket = write(&house, "1").await;
    weigh(&house, &ticket, vec![weighing(1, None, "0.5")]).await.unwrap();
    assert!(!ph(&house, &ticket, "6.26", None).await.unwrap());
    let open = house.app.ticket_finish(&house.actor, &ticket).await.unwrap().checks_open;
    assert_eq!(open, ["pH is 6.26, and should be 5.75 to 6.25"]);
    assert!(!ph(&house, &ticket, "6.26", Some("rinse-off, assessed")).await.unwrap());
    let finish = house.app.ticket_finish(&house.actor, &ticket).await.unwrap();
    assert_eq!((finish.checks.len(), finish.checks_open.len()), (2, 0));
}

async fn a_lot_is_traced_and_a_recall_drilled(database: &TestDatabase) {
    let house = stocked(database).await;
    // The same lot of the supplier, come in twice.
    let lots = "lot,material,quantity,unit cost,received,supplier,supplier lot,status\n\
        S-A,SLES,20 kg,1.60,2026-11-01,OAK,OK 88/2,released\nS-B,SLES,30 kg,1.60,2026-11-02,OAK,OK 88/2,released\n";
    house.import(&[("lots.csv", lots.to_owned())]).await.unwrap();
    let (one, two) = (house.lot("S-A").await, house.lot("S-B").await);
    let (pres, stock) = (house.lot("L-2").await.id, house.lot("L-3").await.id);
    let first = write(&house, "100").await;
    let all = vec![
        weighing(1, None, "77.2"),
        weighing(2, Some(stock), "10"),
        weighing(3, Some(one.id), "12"),
        weighing(4, Some(pres), "0.8"),
    ];
    let first = weigh(&house, &first, all).await.unwrap();
    let first = house.app.ticket_complete(&house.change(), complete(&first, "100")).await.unwrap();
    let left_over = first.completion.as_ref().unwrap().lot;
    let left_over = house.app.lots_get(&house.actor, &[left_over]).await.unwrap().remove(0);
    house.set_status(&left_over, LotStatus::Released).await.unwrap();

    let asks = app::TicketAsks {
        rework: Some(app::ReworkWrite { lot: left_over.id, amount: kg("5") }),
        ..app::TicketAsks::default()
    };
    let catalogue = house.app.catalogue(&house.actor).unwrap();
    let input = app::TicketWrite {
        subject: app::TicketSubject::Formula(catalogue.formulas.by_code("HW-1").unwrap().id),
        size: app::TicketSize::Batch(kg("100")),
        planned_for: crate::house::day("2026-11-25"),
        number: None,
        note: None,
        asks,
    };
    let second = house.app.ticket_write(&house.change(), input).await.unwrap();
    let all = vec![
        weighing(1, None, "73.34"),
        weighing(2, Some(stock), "9.5"),
        weighing(3, Some(two.id), "11.4"),
        weighing(4, Some(pres), "0.76"),
        weighing(5, Some(left_over.id), "5"),
    ];
    let second = weigh(&house, &second, all).await.unwrap();
    let made = app::TicketComplete {
        lot_number: Some("B-2".into()),
        fillings: vec![filling(&house, 180, FillingCounts::default())],
        ..complete(&second, "100")
    };
    house.app.ticket_complete(&house.change(), made).await.unwrap();
    // A third batch is under way, and some was thrown away.
    let third = write(&house, "10").await;
    weigh(&house, &third, vec![weighing(3, Some(two.id), "1.2")]).await.unwrap();
    let spill = app::LotTake {
        lot: two.id,
        purpose: app::TakenFor::WriteOff,
        quantity: quantity_of("0.4 kg"),
        reason: "spilled".into(),
        cause: None,
        container: None,
        on: None,
    };
    house.app.lot_take(&house.change(), spill).await.unwrap();
    let count = app::LotCount {
        lot: two.id,
        found: quantity_of("16.4 kg"),
        reason: "counted".into(),
        cause: None,
        on: None,
    };
    house.app.lot_count(&house.change(), count).await.unwrap();

    let before = house.lot("S-B").await;
    let drill = house.app.recall_drill(&house.actor, two.id).await.unwrap();
    let numbers: Vec<&str> = drill.lots.trace.asked.iter().map(|t| t.lot.number.as_str()).collect();
    assert_eq!(numbers, ["S-B", "S-A"], "both deliveries of the supplier's lot");
    let forward: Vec<(&str, usize)> =
        drill.lots.trace.forward.iter().map(|t| (t.lot.number.as_str(), t.level)).collect();
    assert_eq!(forward, [(left_over.number.as_str(), 1), ("B-2", 1), ("B-2/HW-500", 2)]);
    let bottles = drill.lots.trace.forward.last().unwrap();
    // B-2 holds 11.4 kg and 5 of the 100 kg that hold 12; 93.627 of its 100 kg went into bottles.
    assert_eq!(bottles.holds.as_ref().unwrap().round_half_even(6).unwrap().to_string(), "11.235240");
    assert_eq!((drill.finished.len(), drill.finished[0].made), (1, quantity_of("180 pcs")));
    assert_eq!((drill.under_way.len(), drill.under_way[0].quantity), (1, quantity_of("1.2 kg")));
    // 50 kg came in; 0.6 kg of it only a count explains.
    assert_eq!(drill.accounted_percent.as_ref().unwrap().round_half_even(2).unwrap().to_string(), "98.80");
    for traced in drill.lots.trace.asked.iter().chain(&drill.lots.trace.forward) {
        assert_eq!(traced.balance.unexplained.raw(), 0, "{}", traced.lot.number);
    }
    // Nothing is changed by it.
    assert_eq!(house.lot("S-B").await, before);

    let back = house.app.trace(&house.actor, house.lot("B-2/HW-500").await.id).await.unwrap();
    let behind: Vec<(&str, usize)> =
        back.trace.back.iter().map(|t| (t.lot.number.as_str(), t.level)).collect();
    let number = left_over.number.as_str();
    let mut expected = [("B-2", 1), ("L-4", 1), (number, 2), ("L-2", 2), ("L-3", 2), ("S-B", 2), ("S-A", 3)];
    expected.sort_by_key(|(number, level)| (*level, *number));
    assert_eq!(behind, expected);
    let kilograms: i64 = back
        .trace
        .back_edges
        .iter()
        .filter(|edge| edge.to == Some(left_over.id))
        .map(|edge| edge.quantity.raw())
        .sum();
    assert_eq!(Mass::from_micrograms(kilograms), kg("22.8"), "all but the water, which has no lot");
    house.assert_sound().await;
}
