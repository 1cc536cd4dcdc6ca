//! Counting the shelf, settling costs, expiry of what is made, planning figures and worth.

use app::{Change, CountEnd, CountEnter, CountOpen, LotCostSettle, LotReceive, ReceiptMore, TicketComplete};
use domain::{
    counts::{Count, CountClass, CountStatus, CountVerdict, StockRule},
    lots::{LotStanding, LotStatus, Ownership},
    people::{Actor, Capability},
    stock::{Cause, MovementKind},
};
use engine::{
    basis::Basis,
    stock_figures::{PerDayFrom, PlanRequest, Realisable, WorthRequest, deviations_for},
};
use kernel::{Exact, Money, ids::MaterialId};
use testkit::db::TestDatabase;

use crate::{
    house::{House, day, pounds, problems, quantity_of},
    making::{complete, stocked, weigh, weighing, write},
};

testkit::on_both_databases!(
    a_blind_count_is_booked_by_somebody_else,
    what_moved_since_is_no_difference,
    a_count_may_be_given_up,
    a_settled_cost_reaches_what_was_made,
    a_cost_settled_before_the_batch_ends_is_in_it,
    a_lot_without_a_cost_gets_one,
    what_is_made_lasts_no_longer_than_what_bounds_it,
    the_shelf_has_figures,
    the_shelf_has_a_worth,
);

fn material(house: &House, code: &str) -> MaterialId {
    house.app.catalogue(&house.actor).unwrap().materials.by_code(code).unwrap().id
}

fn somebody(name: &str, may: &[Capability]) -> Actor {
    let capabilities = [Capability::Look].iter().chain(may).copied().collect();
    Actor { name: name.into(), capabilities }
}

async fn open(house: &House, counter: &Actor) -> Count {
    let input = CountOpen { number: None, materials: vec![], location: None, blind: true };
    house.app.count_open(&Change::by(counter), input).await.unwrap()
}

async fn enter(
    house: &House,
    counter: &Actor,
    count: &Count,
    lot: &str,
    found: &str,
) -> Result<Count, app::Error> {
    let lot = house.lot(lot).await.id;
    let input = CountEnter { count: count.id, lot, found: quantity_of(found), at: None };
    house.app.count_enter(&Change::by(counter), input).await
}

async fn end(house: &House, who: &Actor, count: &Count, approve: bool) -> Result<Count, app::Error> {
    let input = CountEnd { count: count.id, approve, reason: "quarterly count".into() };
    house.app.count_end(&Change::by(who), input).await
}

async fn a_blind_count_is_booked_by_somebody_else(database: &TestDatabase) {
    let house = stocked(database).await;
    let rule = StockRule { count_class: Some(CountClass::A), ..StockRule::usual(material(&house, "SLES")) };
    house.app.stock_rule_put(&house.change(), rule).await.unwrap();
    assert_eq!(house.app.stock_rule(&house.actor, rule.material).await.unwrap(), rule);
    let counter = somebody("Piran Loveday", &[Capability::PlanAndMake]);
    let judge = somebody("Ada Nancarrow", &[Capability::ReleaseAndReject]);
    let both = somebody("Piran Loveday", &[Capability::PlanAndMake, Capability::ReleaseAndReject]);
    let count = open(&house, &counter).await;
    assert_eq!((count.number.as_str(), count.lines.len()), ("C-000001", 4));

    // 100 kg within 1 % of itself; 5 kg of preservative within 5 %.
    let count = enter(&house, &counter, &count, "L-1", "98.5 kg").await.unwrap();
    let verdict = |count: &Count, lot: domain::lots::Lot| {
        count.lines.iter().find(|line| line.lot == lot.id).unwrap().verdict()
    };
    assert_eq!(verdict(&count, house.lot("L-1").await), CountVerdict::ToCountAgain);
    let count = enter(&house, &counter, &count, "L-2", "4.8 kg").await.unwrap();
    assert_eq!(verdict(&count, house.lot("L-2").await), CountVerdict::Within);
    let twice = enter(&house, &counter, &count, "L-2", "5 kg").await.unwrap_err();
    assert!(problems(twice)[0].contains("is counted"));
    enter(&house, &counter, &count, "L-3", "50 kg").await.unwrap();
    enter(&house, &counter, &count, "L-4", "1000 pcs").await.unwrap();
    let early = end(&house, &judge, &count, true).await.unwrap_err();
    assert!(problems(early)[0].contains("0 lots are to be counted, 1 to be counted again"));
    let count = enter(&house, &counter, &count, "L-1", "98.4 kg").await.unwrap();
    assert_eq!(verdict(&count, house.lot("L-1").await), CountVerdict::Outside);
    assert_eq!(count.right_at_first(), (3, 4));

    // Who counted does not approve, and who may not decide neither.
    assert!(problems(end(&house, &both, &count, true).await.unwrap_err())[0].contains("does not approve"));
    let refused = end(&house, &counter, &count, true).await.unwrap_err();
    assert!(matches!(refused, app::Error::Forbidden(Capability::ReleaseAndReject)));
    let closed = end(&house, &judge, &count, true).await.unwrap();
    assert_eq!(closed.status, CountStatus::Closed);
    assert_eq!(house.app.count_by_number(&house.actor, "c-000001").await.unwrap(), Some(closed.clone()));
    let (sles, pres) = (house.lot("L-1").await, house.lot("L-2").await);
    assert_eq!((sles.on_hand, pres.on_hand), (quantity_of("98.4 kg"), quantity_of("4.8 kg")));
    let line = closed.lines.iter().find(|line| line.lot == sles.id).unwrap();
    let booked = house.app.movement_get(&house.actor, line.movement.unwrap()).await.unwrap().unwrap();
    assert_eq!((booked.kind, booked.cause), (MovementKind::Adjustment, Some(Cause::CountDifference)));
    assert_eq!((booked.quantity, booked.by.as_str()), (quantity_of("-1.6 kg"), "Ada Nancarrow"));
    let unchanged = closed.lines.iter().filter(|line| line.movement.is_none()).count();
    assert_eq!(unchanged, 2);
    // It is over.
    assert!(problems(end(&house, &judge, &count, true).await.unwrap_err())[0].contains("is closed"));
    house.assert_sound().await;
}

async fn what_moved_since_is_no_difference(database: &TestDatabase) {
    let house = stocked(database).await;
    let counter = somebody("Piran Loveday", &[Capability::PlanAndMake]);
    let count = open(&house, &counter).await;
    let sles = house.lot("L-1").await.id;
    // 12 kg go into a batch after the session began and before the lot is counted.
    house.set_day("2026-11-26");
    let ticket = write(&house, "100").await;
    weigh(&house, &ticket, vec![weighing(3, Some(sles), "12")]).await.unwrap();
    let counted = enter(&house, &counter, &count, "L-1", "88 kg").await.unwrap();
    let line = counted.lines.iter().find(|line| line.lot == sles).unwrap();
    assert_eq!((line.verdict(), line.difference()), (CountVerdict::Within, Some(0)));
    // A sheet filled in before the weighing and entered now is held against what stood on the books then.
    let other = open(&house, &counter).await;
    house.set_day("2026-11-27");
    let ticket = write(&house, "100").await;
    weigh(&house, &ticket, vec![weighing(3, Some(sles), "10")]).await.unwrap();
    let input = CountEnter {
        count: other.id,
        lot: sles,
        found: quantity_of("87 kg"),
        at: Some("2026-11-26T08:00:00Z".parse().unwrap()),
    };
    let counted = house.app.count_enter(&Change::by(&counter), input.clone()).await.unwrap();
    let line = counted.lines.iter().find(|line| line.lot == sles).unwrap();
    assert_eq!(line.found.as_ref().unwrap().booked, quantity_of("88 kg"));
    assert_eq!(line.difference(), Some(quantity_of("-1 kg").raw()));
    // Not before the session, and not after now.
    let early = CountEnter { at: Some("2026-11-25T07:59:59Z".parse().unwrap()), ..input };
    let refused = house.app.count_enter(&Change::by(&counter), early).await.unwrap_err();
    assert!(problems(refused)[0].contains("outside the session"));
}

async fn a_count_may_be_given_up(database: &TestDatabase) {
    let house = stocked(database).await;
    let counter = somebody("Piran Loveday", &[Capability::PlanAndMake]);
    let count = open(&house, &counter).await;
    enter(&house, &counter, &count, "L-1", "1 kg").await.unwrap();
    let given_up = end(&house, &counter, &count, false).await.unwrap();
    assert_eq!(given_up.status, CountStatus::Abandoned);
    assert_eq!(house.lot("L-1").await.on_hand, quantity_of("100 kg"));
    let nothing = CountOpen { number: None, materials: vec![], location: Some("Z9".into()), blind: true };
    let refused = house.app.count_open(&house.change(), nothing).await.unwrap_err();
    assert!(problems(refused)[0].contains("0 lots"));
}

fn settle(lot: kernel::ids::LotId, value: &str) -> LotCostSettle {
    LotCostSettle { lot, value: pounds(value), reason: "invoice 4417".into() }
}

/// A batch of 100 kg from ticket to bulk.
async fn made(house: &House, complete_with: Option<&str>) -> domain::tickets::Ticket {
    let (stock, sles, pres) =
        (house.lot("L-3").await.id, house.lot("L-1").await.id, house.lot("L-2").await.id);
    let ticket = write(house, "100").await;
    let all = vec![
        weighing(1, None, "77.2"),
        weighing(2, Some(stock), "10"),
        weighing(3, Some(sles), "12"),
        weighing(4, Some(pres), "0.8"),
    ];
    let ticket = weigh(house, &ticket, all).await.unwrap();
    match complete_with {
        None => ticket,
        Some(yielded) => finish(house, &ticket, yielded).await,
    }
}

async fn finish(house: &House, ticket: &domain::tickets::Ticket, yielded: &str) -> domain::tickets::Ticket {
    let input: TicketComplete = complete(ticket, yielded);
    house.app.ticket_complete(&house.change(), input).await.unwrap()
}

async fn a_settled_cost_reaches_what_was_made(database: &TestDatabase) {
    let house = stocked(database).await;
    let ticket = made(&house, Some("97")).await;
    let bulk_id = ticket.completion.as_ref().unwrap().lot;
    let of = |id| {
        let house = &house;
        async move { house.app.lots_get(&house.actor, &[id]).await.unwrap().remove(0) }
    };
    let before = of(bulk_id).await.value.unwrap();
    let sles = house.lot("L-1").await;
    assert_eq!(sles.value, Some(pounds("132")));
    // 100 kg cost 160 and not 150: 1.20 more went into the batch, 8.80 stay.
    let settled = house.app.lot_cost_settle(&house.change(), settle(sles.id, "160")).await.unwrap();
    assert_eq!(settled.len(), 2);
    assert_eq!((settled[0].lot, settled[0].amount), (sles.id, pounds("10")));
    assert_eq!(settled[0].left_in_lot().unwrap(), pounds("8.8"));
    assert_eq!((settled[1].lot, settled[1].amount), (bulk_id, pounds("1.2")));
    assert_eq!(settled[1].because_of, Some(settled[0].id));
    assert_eq!(house.lot("L-1").await.value, Some(pounds("140.8")));
    assert_eq!(of(bulk_id).await.value, Some(before.checked_add(pounds("1.2")).unwrap()));
    // The trace stands on the ticket, and the ledger is as it was posted.
    let trace = house.app.ticket_cost_trace(&house.actor, ticket.id).await.unwrap();
    assert_eq!((trace.posted, trace.corrected_by), (Some(pounds("32")), pounds("1.2")));
    assert_eq!(trace.corrections, settled);
    assert!(trace.provisional_lots.is_empty());
    let page = house.app.movements_of_lot(&house.actor, sles.id, None, 10).await.unwrap();
    assert_eq!(page.rows[1].value, Some(pounds("-18")));
    // What is weighed now leaves at the settled cost; an uneven share keeps every millionth.
    let next = write(&house, "100").await;
    weigh(&house, &next, vec![weighing(3, Some(sles.id), "7")]).await.unwrap();
    assert_eq!(house.lot("L-1").await.value, Some(pounds("129.6")));
    let odd = house.app.lot_cost_settle(&house.change(), settle(sles.id, "160.000001")).await.unwrap();
    assert_eq!(odd[0].amount, Money::from_micros(1, kernel::Currency::GBP));
    let sum: i64 = odd[0].shares.iter().map(|share| share.amount.micros()).sum();
    assert_eq!(sum, odd[0].left_in_lot().unwrap().micros());
    house.assert_sound().await;
    // Bases see the settled cost as if it had been known.
    let worth = WorthRequest { on: day("2026-11-25"), basis: Some(Basis::MovingAverage), realisable: vec![] };
    let worth = house.app.shelf_worth(&house.actor, &worth).await.unwrap();
    let row = worth.rows.iter().find(|row| row.lot == sles.id).unwrap();
    assert_eq!(row.cost, house.lot("L-1").await.value);
    let refused = house.app.lot_cost_settle(&house.change(), settle(bulk_id, "1")).await.unwrap_err();
    assert!(problems(refused)[0].contains("was made here"));
}

async fn a_cost_settled_before_the_batch_ends_is_in_it(database: &TestDatabase) {
    let house = stocked(database).await;
    let beside = TestDatabase::sqlite().await;
    let early = House::furnished(&beside).await;
    for (number, code, quantity, value) in
        [("L-1", "SLES", "100 kg", "160"), ("L-2", "PRES", "5 kg", "50"), ("L-3", "STOCK", "50 kg", "30")]
    {
        early.receive(code, number, quantity, Some(value)).await;
    }
    let known = made(&early, Some("97")).await;
    let ticket = made(&house, None).await;
    let sles = house.lot("L-1").await.id;
    let settled = house.app.lot_cost_settle(&house.change(), settle(sles, "160")).await.unwrap();
    assert_eq!(settled.len(), 1);
    let ticket = finish(&house, &ticket, "97").await;
    let bulk = |house: &House, ticket: &domain::tickets::Ticket| {
        let (app, actor, id) =
            (house.app.clone(), house.actor.clone(), ticket.completion.as_ref().unwrap().lot);
        async move { app.lots_get(&actor, &[id]).await.unwrap().remove(0).value }
    };
    assert_eq!(bulk(&house, &ticket).await, bulk(&early, &known).await);
    house.assert_sound().await;
}

async fn a_lot_without_a_cost_gets_one(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let input = LotReceive {
        number: Some("L-9".into()),
        material: material(&house, "SLES"),
        quantity: quantity_of("10 kg"),
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
        more: ReceiptMore { cost_provisional: true, ..ReceiptMore::default() },
    };
    let lot = house.app.lot_receive(&house.change(), input).await.unwrap();
    let lot = house.set_status(&lot, LotStatus::Released).await.unwrap();
    let ticket = write(&house, "20").await;
    weigh(&house, &ticket, vec![weighing(3, Some(lot.id), "2.4")]).await.unwrap();
    let trace = house.app.ticket_cost_trace(&house.actor, ticket.id).await.unwrap();
    assert_eq!((trace.posted, trace.provisional_lots.len()), (None, 1));
    house.app.lot_cost_settle(&house.change(), settle(lot.id, "15")).await.unwrap();
    let settled = house.lot("L-9").await;
    assert_eq!((settled.received_value, settled.value), (Some(pounds("15")), Some(pounds("11.4"))));
    assert!(!settled.terms.cost_provisional);
    // Said again, it changes nothing; said otherwise, only the difference.
    assert!(house.app.lot_cost_settle(&house.change(), settle(lot.id, "15")).await.unwrap().is_empty());
    let more = house.app.lot_cost_settle(&house.change(), settle(lot.id, "16")).await.unwrap();
    assert_eq!(more[0].amount, pounds("1"));
    assert_eq!(house.lot("L-9").await.value, Some(pounds("12.16")));
    house.assert_sound().await;
}

async fn what_is_made_lasts_no_longer_than_what_bounds_it(database: &TestDatabase) {
    let house = stocked(database).await;
    let dated = |number: &str, code: &str, expires: &str| {
        let input = LotReceive {
            number: Some(number.into()),
            material: material(&house, code),
            quantity: quantity_of("20 kg"),
            value: Some(pounds("1")),
            unit_cost: None,
            supplier: None,
            supplier_lot: None,
            received_on: None,
            made_on: None,
            expires_on: Some(day(expires)),
            retest_on: None,
            density: None,
            active_matter: None,
            location: None,
            note: None,
            more: ReceiptMore::default(),
        };
        let house = &house;
        async move {
            let lot = house.app.lot_receive(&house.change(), input).await.unwrap();
            house.set_status(&lot, LotStatus::Released).await.unwrap()
        }
    };
    let sles = dated("L-7", "SLES", "2027-06-30").await;
    let pres = dated("L-8", "PRES", "2027-03-31").await;
    let stock = house.lot("L-3").await.id;
    let batch = || async {
        let ticket = write(&house, "100").await;
        let all = vec![
            weighing(1, None, "77.2"),
            weighing(2, Some(stock), "10"),
            weighing(3, Some(sles.id), "6"),
            weighing(4, Some(pres.id), "0.8"),
        ];
        let ticket = weigh(&house, &ticket, all).await.unwrap();
        let done = finish(&house, &ticket, "80").await;
        let lot = done.completion.as_ref().unwrap().lot;
        house.app.lots_get(&house.actor, &[lot]).await.unwrap().remove(0).expires_on
    };
    // Its formula's two years, as long as nothing bounds it.
    assert_eq!(batch().await, Some(day("2028-11-25")));
    let rule = StockRule { bounds_expiry: true, ..StockRule::usual(material(&house, "SLES")) };
    house.app.stock_rule_put(&house.change(), rule).await.unwrap();
    assert_eq!(batch().await, Some(day("2027-06-30")));
}

fn plan_request() -> PlanRequest {
    PlanRequest {
        today: day("2026-12-23"),
        weeks_back: 52,
        days_ahead: 28,
        deviations: deviations_for(95).unwrap(),
        lead_deviation_days: 0,
        slow_after_days: 180,
        order_cost: Some(Exact::whole(10)),
        holding_a_year: Some(Exact::scaled(20, 2)),
    }
}

async fn the_shelf_has_figures(database: &TestDatabase) {
    let house = stocked(database).await;
    let sles = house.lot("L-1").await.id;
    // 12, 6, 0 and 10 kg in the four weeks before 23 December, one weighing of the second week taken back.
    for (on, amounts) in
        [("2026-11-25", vec!["12"]), ("2026-12-03", vec!["6", "1"]), ("2026-12-18", vec!["10"])]
    {
        house.set_day(on);
        let ticket = write(&house, "100").await;
        for amount in amounts {
            let after = weigh(&house, &ticket, vec![weighing(3, Some(sles), amount)]).await.unwrap();
            if amount == "1" {
                let input = app::WeighingTakeBack {
                    ticket: ticket.id,
                    weighing: after.weighings.last().unwrap().id,
                    reason: "wrong scoop".into(),
                };
                house.app.weighing_take_back(&house.change(), input).await.unwrap();
            }
        }
    }
    house.set_day("2026-12-23");
    let plans =
        house.app.stock_plan(&house.actor, &PlanRequest { days_ahead: 1, ..plan_request() }).await.unwrap();
    let plan = plans.iter().find(|plan| plan.material.code == "SLES").unwrap();
    assert_eq!((plan.weeks, plan.used.clone()), (4, Exact::whole(28)));
    assert_eq!(plan.per_week, Exact::whole(7));
    // √((25 + 1 + 49 + 9) / 3)
    let deviation = plan.deviation_per_week.as_ref().unwrap();
    assert_eq!(deviation.round_half_even(6).unwrap().to_string(), "5.291503");
    assert_eq!(plan.last_used_on, Some(day("2026-12-18")));
    // Open tickets of the past still ask for the rest of their lines.
    assert_eq!(plan.per_day_from, PerDayFrom::Tickets);
    // 364 kg a year, 10 an order, 20 % of 1.50 for a kilogram a year.
    let order = plan.economic_order.as_ref().unwrap();
    assert_eq!(order.round_half_even(2).unwrap().to_string(), "155.78");
    // No lead time, no reorder point.
    assert_eq!((plan.lead_days, plan.reorder_point.is_none()), (None, true));
    assert!(!plan.slow);
    let gone = PlanRequest { today: day("2027-12-23"), ..plan_request() };
    let plans = house.app.stock_plan(&house.actor, &gone).await.unwrap();
    let bottles = plans.iter().find(|plan| plan.material.code == "BOT").unwrap();
    assert!(bottles.slow && bottles.cover_days.is_none());
}

async fn the_shelf_has_a_worth(database: &TestDatabase) {
    let house = stocked(database).await;
    let pres = house.lot("L-2").await;
    house.set_status(&pres, LotStatus::Rejected).await.unwrap();
    let input = LotReceive {
        number: Some("L-5".into()),
        material: material(&house, "SLES"),
        quantity: quantity_of("40 kg"),
        value: Some(pounds("60")),
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
        more: ReceiptMore {
            ownership: Ownership::Consignment,
            owner: Some("Oakhollow Supplies".into()),
            ..ReceiptMore::default()
        },
    };
    house.app.lot_receive(&house.change(), input).await.unwrap();
    let request = WorthRequest {
        on: day("2026-11-25"),
        basis: None,
        // Gum stock brings half of what it cost, bottles more than they cost.
        realisable: vec![
            Realisable { material: material(&house, "STOCK"), per_unit: Exact::scaled(30, 2) },
            Realisable { material: material(&house, "BOT"), per_unit: Exact::whole(1) },
        ],
    };
    let worth = house.app.shelf_worth(&house.actor, &request).await.unwrap();
    let row = |number: &str| {
        let row = worth.rows.iter().find(|row| row.number == number).unwrap();
        (row.standing, row.cost.unwrap(), row.carried.unwrap())
    };
    assert_eq!(row("L-1"), (LotStanding::Released, pounds("150"), pounds("150")));
    assert_eq!(row("L-2"), (LotStanding::Rejected, pounds("50"), pounds("0")));
    assert_eq!(row("L-3"), (LotStanding::Released, pounds("30"), pounds("15")));
    assert_eq!(row("L-4"), (LotStanding::Released, pounds("200"), pounds("200")));
    // What stands here on consignment is not ours yet.
    assert_eq!(row("L-5"), (LotStanding::Quarantine, pounds("0"), pounds("0")));
    // Item by item: what bottles would gain does not make good what the rest loses.
    assert_eq!((worth.cost, worth.carried, worth.write_down), (pounds("430"), pounds("365"), pounds("65")));
}
