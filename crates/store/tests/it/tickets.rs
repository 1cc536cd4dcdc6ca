//! Tickets: round trip with all that hangs on them, promises, weighings, pages.

use domain::{
    alternates::Alternate,
    balances::Balance,
    formulas::Trim,
    stock::MovementKind,
    tickets::{
        Allocation, Completion, Filling, Pause, Step, Ticket, TicketStatus, WeighedHow, Weighing,
        WeighingOutcome,
    },
};
use kernel::{
    Count, Density, Quantity,
    ids::{BalanceId, TicketId, TicketLineId, WeighingId},
};
use sea_orm::ConnectionTrait as _;
use store::{
    StoreError, WriteTx,
    balances::{alternate_insert, alternates_of, balance_insert, balance_update, balances_all},
    constraints,
    stock::{NewMovement, ledger_verify, movements_of_ticket, post},
    tickets::{
        TicketFilter, allocation_use, allocations_replace, completion_insert, ticket_by_number, ticket_get,
        ticket_insert, ticket_lock, ticket_pause_set, ticket_scale, ticket_status_set, ticket_steps_insert,
        tickets_count, tickets_get, tickets_open, tickets_page, tickets_trimmed, tickets_using_lot,
        weighing_check_set, weighing_reverse, weighing_ticket, weighing_undo, weighings_insert,
    },
};
use testkit::{
    db::TestDatabase,
    on_both_databases,
    samples::{self, date, instant, mass, percent, quantity, receipt, weighed},
};

use crate::house::{House, get, tx, written};

on_both_databases! {
    a_ticket_comes_back_with_all_that_hangs_on_it,
    promises,
    weighings_are_taken_back_once,
    tickets_come_in_pages,
    the_latest_trimmed_tickets_of_each_formula,
    a_ticket_lives,
    balances_and_alternates,
}

async fn a_ticket_comes_back_with_all_that_hangs_on_it(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let lot = house.lot(store, "L-1", "100 kg", Some("250")).await;
    let mut ticket = samples::ticket("T-1", &house.formula, "40 kg");
    ticket.pack = Some(house.pack.id);
    ticket.units = Some(Count::from_thousandths(80_500));
    ticket.note = Some("for the fair".to_owned());
    ticket.written_at = instant("2026-01-20T08:00:00.123456Z");
    let line = &mut ticket.lines[0];
    line.phase = Some("A".to_owned());
    line.tolerance = Some(percent("0.5"));
    line.instruction = Some("stir".to_owned());
    let mut second = line.clone();
    second.id = TicketLineId::new();
    second.position = 2;
    ticket.lines.push(second);

    let write = tx(store).await;
    ticket_insert(&write, &ticket).await.unwrap();
    write.commit().await.unwrap();
    assert_eq!(ticket_get(store, ticket.id).await.unwrap().as_ref(), Some(&ticket));

    ticket.allocations = vec![
        Allocation { line: ticket.lines[1].id, lot: lot.id, quantity: quantity("2 kg") },
        Allocation { line: ticket.lines[0].id, lot: lot.id, quantity: quantity("38 kg") },
    ];
    let write = tx(store).await;
    allocations_replace(&write, ticket.id, &ticket.allocations).await.unwrap();
    ticket_status_set(&write, ticket.id, TicketStatus::Allocated, None).await.unwrap();
    write.commit().await.unwrap();
    ticket.status = TicketStatus::Allocated;
    assert_eq!(ticket_by_number(store, "t-1").await.unwrap().as_ref(), Some(&ticket));

    // Weighed from the lot; and water, which has no lot.
    let taken = NewMovement { ticket: Some(ticket.id), ..weighed(&lot, "38 kg") };
    let weighing = |line, lot, amount: &str, at: &str| Weighing {
        id: WeighingId::new(),
        line,
        lot,
        amount: mass(amount),
        by: "Ada Sample".to_owned(),
        at: instant(at),
        checked_by: None,
        movement: None,
        reversed: None,
        how: WeighedHow::default(),
    };
    let first = Weighing {
        movement: Some(taken.id),
        checked_by: Some("Ben Sample".to_owned()),
        ..weighing(ticket.lines[0].id, Some(lot.id), "38 kg", "2026-02-02T09:00:00.000001Z")
    };
    let water = weighing(ticket.lines[1].id, None, "2 kg", "2026-02-02T09:00:00Z");
    let write = tx(store).await;
    let posted = post(&write, &[taken]).await.unwrap();
    for weighing in [&first, &water] {
        put_weighing(&write, ticket.id, weighing).await;
    }
    let used =
        allocation_use(&write, ticket.lines[0].id, lot.id, Quantity::Mass(mass("38 kg"))).await.unwrap();
    assert_eq!(used, quantity("38 kg"));
    write.commit().await.unwrap();
    ticket.allocations.pop();
    // In the order they were made.
    ticket.weighings = vec![water.clone(), first.clone()];

    let bulk = samples::lot("B-1", &house.bulk, "39.5 kg", Some("100"));
    let product = samples::lot("P-1", &house.product, "79 pcs", Some("90"));
    let completion = Completion {
        yield_mass: mass("39.5 kg"),
        lot: bulk.id,
        density: Some(Density::from_nano(1_010_000_000)),
        fillings: vec![Filling {
            pack: house.pack.id,
            filled: Count::from_thousandths(79_000),
            lot: product.id,
        }],
        by: "Ada Sample".to_owned(),
        at: instant("2026-02-02T16:00:00.999999Z"),
        on: date("2026-02-02"),
        note: Some("pH 6.5".to_owned()),
    };
    let write = tx(store).await;
    for lot in [&bulk, &product] {
        store::lots::lot_insert(&write, lot).await.unwrap();
        let made = NewMovement { kind: MovementKind::Made, ticket: Some(ticket.id), ..receipt(lot) };
        post(&write, &[made]).await.unwrap();
    }
    allocations_replace(&write, ticket.id, &[]).await.unwrap();
    completion_insert(&write, ticket.id, &completion).await.unwrap();
    ticket_status_set(&write, ticket.id, TicketStatus::Reconciled, Some("done")).await.unwrap();
    write.commit().await.unwrap();
    ticket.allocations.clear();
    ticket.completion = Some(completion.clone());
    ticket.status = TicketStatus::Reconciled;
    ticket.note = Some("done".to_owned());
    assert_eq!(ticket_get(store, ticket.id).await.unwrap().as_ref(), Some(&ticket));

    let movements = movements_of_ticket(store, ticket.id).await.unwrap();
    assert_eq!(movements.len(), 3);
    assert_eq!(movements[0], posted[0]);
    assert_eq!(tickets_using_lot(store, lot.id).await.unwrap(), std::slice::from_ref(&ticket));
    assert_eq!(tickets_using_lot(store, bulk.id).await.unwrap(), []);
    assert_eq!(weighing_ticket(store, first.id).await.unwrap(), Some(ticket.id));
    assert_eq!(ledger_verify(store).await.unwrap(), Vec::new());

    let write = tx(store).await;
    let again = completion_insert(&write, ticket.id, &completion).await.unwrap_err();
    assert!(again.is_taken(constraints::TICKET_COMPLETE), "{again:?}");
}

async fn promises(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let one = house.lot(store, "L-1", "10 kg", None).await;
    let two = house.lot(store, "L-2", "10 kg", None).await;
    let ticket = house.ticket(store, "T-1", "12 kg").await;
    let rival = house.ticket(store, "T-2", "12 kg").await;
    let promise = |ticket: &Ticket, lot: &domain::lots::Lot, amount: &str| Allocation {
        line: ticket.lines[0].id,
        lot: lot.id,
        quantity: quantity(amount),
    };
    let replace = async |ticket: &Ticket, promises: &[Allocation]| -> Result<(), StoreError> {
        let write = tx(store).await;
        allocations_replace(&write, ticket.id, promises).await?;
        write.commit().await
    };
    let reserved = async || {
        let raw = |lot: domain::lots::Lot| lot.reserved.to_string();
        (raw(get(store, one.id).await), raw(get(store, two.id).await))
    };
    let kg = |a: &str, b: &str| (format!("{a} kg"), format!("{b} kg"));

    replace(&ticket, &[promise(&ticket, &one, "10 kg"), promise(&ticket, &two, "2 kg")]).await.unwrap();
    assert_eq!(reserved().await, kg("10", "2"));
    // Another takes what is left, and not more.
    let refused = replace(&rival, &[promise(&rival, &two, "8.000000001 kg")]).await.unwrap_err();
    match refused {
        StoreError::LotShort { number, available, .. } => {
            assert_eq!((number.as_str(), available), ("L-2", quantity("8 kg")));
        }
        other => panic!("{other:?}"),
    }
    replace(&rival, &[promise(&rival, &two, "8 kg")]).await.unwrap();
    assert_eq!(reserved().await, kg("10", "10"));
    // Less may always be promised; the same line and lot twice is the sum.
    replace(&ticket, &[promise(&ticket, &one, "1 kg"), promise(&ticket, &one, "0.5 kg")]).await.unwrap();
    assert_eq!(reserved().await, kg("1.5", "8"));
    let kept = ticket_get(store, ticket.id).await.unwrap().unwrap().allocations;
    assert_eq!(kept, [promise(&ticket, &one, "1.5 kg")]);

    // Used up in parts; more than was promised uses what was promised.
    let line = ticket.lines[0].id;
    let write = tx(store).await;
    for (asked, used) in [("1 kg", "1 kg"), ("1 kg", "0.5 kg"), ("1 kg", "0 kg")] {
        let found = allocation_use(&write, line, one.id, quantity(asked)).await.unwrap();
        assert_eq!(found, quantity(used));
    }
    write.commit().await.unwrap();
    assert_eq!(reserved().await, kg("0", "8"));

    let pieces = Allocation { quantity: quantity("1 pcs"), ..promise(&ticket, &one, "1 kg") };
    let refused = replace(&ticket, &[pieces]).await;
    assert!(matches!(refused, Err(StoreError::Unfit { .. })), "{refused:?}");
    replace(&rival, &[]).await.unwrap();
    assert_eq!(reserved().await, kg("0", "0"));
    assert_eq!(ledger_verify(store).await.unwrap(), Vec::new());
}

async fn weighings_are_taken_back_once(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let lot = house.lot(store, "L-1", "10 kg", None).await;
    let ticket = house.ticket(store, "T-1", "5 kg").await;
    let taken = weighed(&lot, "5 kg");
    let mut weighing = Weighing {
        id: WeighingId::new(),
        line: ticket.lines[0].id,
        lot: Some(lot.id),
        amount: mass("5 kg"),
        by: "Ada Sample".to_owned(),
        at: instant("2026-02-02T09:00:00Z"),
        checked_by: None,
        movement: Some(taken.id),
        reversed: None,
        how: WeighedHow::default(),
    };
    let write = tx(store).await;
    post(&write, &[taken]).await.unwrap();
    put_weighing(&write, ticket.id, &weighing).await;
    weighing_reverse(&write, weighing.id, "wrong drum").await.unwrap();
    let again = weighing_reverse(&write, weighing.id, "wrong drum").await;
    assert!(matches!(again, Err(StoreError::Changed { what: "weighing", .. })), "{again:?}");
    write.commit().await.unwrap();
    weighing.reversed = Some("wrong drum".to_owned());
    assert_eq!(ticket_get(store, ticket.id).await.unwrap().unwrap().weighings, [weighing]);
    assert_eq!(tickets_using_lot(store, lot.id).await.unwrap(), []);
}

async fn tickets_come_in_pages(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let days = ["2026-02-03", "2026-02-02", "2026-02-02", "2026-02-05"];
    let write = tx(store).await;
    let mut tickets = Vec::new();
    for (number, day) in days.iter().enumerate() {
        let mut ticket = samples::ticket(&format!("T-{number}"), &house.formula, "5 kg");
        ticket.planned_for = date(day);
        ticket.pack = (number == 3).then_some(house.pack.id);
        ticket.status = [
            TicketStatus::Planned,
            TicketStatus::Allocated,
            TicketStatus::Weighing,
            TicketStatus::Reconciled,
        ][number];
        ticket_insert(&write, &ticket).await.unwrap();
        tickets.push(ticket);
    }
    write.commit().await.unwrap();

    let all = TicketFilter::default();
    let numbers = |tickets: &[Ticket]| {
        tickets.iter().map(|t| t.number[2..].parse::<u32>().unwrap()).collect::<Vec<_>>()
    };
    let first = tickets_page(store, &all, None, 1).await.unwrap();
    assert_eq!((numbers(&first.rows), first.has_more), (vec![1], true));
    let rest = tickets_page(store, &all, Some(first.rows[0].id), 10).await.unwrap();
    assert_eq!((numbers(&rest.rows), rest.has_more), (vec![2, 0, 3], false));
    let missing = tickets_page(store, &all, Some(TicketId::new()), 10).await;
    assert!(matches!(missing, Err(StoreError::NotFound { what: "ticket", .. })), "{missing:?}");

    let of = |filter: TicketFilter| async move {
        let page = tickets_page(store, &filter, None, 100).await.unwrap();
        assert_eq!(tickets_count(store, &filter).await.unwrap(), page.rows.len() as u64);
        numbers(&page.rows)
    };
    assert_eq!(of(TicketFilter { statuses: vec![TicketStatus::Planned], ..all.clone() }).await, [0]);
    assert_eq!(of(TicketFilter { pack: Some(house.pack.id), ..all.clone() }).await, [3]);
    assert_eq!(of(TicketFilter { formula: Some(house.formula.id), ..all.clone() }).await, [1, 2, 0, 3]);
    let february = TicketFilter {
        planned_from: Some(date("2026-02-03")),
        planned_until: Some(date("2026-02-04")),
        ..all
    };
    assert_eq!(of(february).await, [0]);

    assert_eq!(numbers(&tickets_open(store).await.unwrap()), [1, 2, 0]);
    let mut found = tickets_get(store, &[tickets[3].id, tickets[0].id]).await.unwrap();
    found.sort_by_key(|ticket| ticket.id);
    assert_eq!(found, [tickets[0].clone(), tickets[3].clone()]);
    let write = tx(store).await;
    assert_eq!(ticket_lock(&write, tickets[0].id).await.unwrap().as_ref(), Some(&tickets[0]));
    assert_eq!(ticket_lock(&write, TicketId::new()).await.unwrap(), None);
    let missing = ticket_status_set(&write, TicketId::new(), TicketStatus::Reconciled, None).await;
    assert!(matches!(missing, Err(StoreError::NotFound { what: "ticket", .. })), "{missing:?}");
}

async fn the_latest_trimmed_tickets_of_each_formula(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    assert_eq!(tickets_trimmed(store, 20).await.unwrap(), []);
    let mut version = samples::version(house.formula.id, 7, &house.raw);
    version.lines[0].trim = Some(Box::new(Trim { result: "pH 5".to_owned(), stop: None }));
    let write = tx(store).await;
    store::formulas::version_insert(&write, &version).await.unwrap();
    write.commit().await.unwrap();
    let bulk = house.lot(store, "B-1", "100 kg", None).await;
    let mut complete = Vec::new();
    for (number, day, trimmed, status) in [
        ("T-1", "2026-01-03", true, TicketStatus::Reconciled),
        ("T-2", "2026-01-01", true, TicketStatus::Reconciled),
        ("T-3", "2026-01-02", true, TicketStatus::Reconciled),
        ("T-4", "2026-01-04", false, TicketStatus::Reconciled),
        ("T-5", "2026-01-05", true, TicketStatus::Weighing),
    ] {
        let mut ticket = samples::ticket(number, &house.formula, "10 kg");
        if trimmed {
            ticket.version = version.id;
        }
        ticket.status = status;
        if status == TicketStatus::Reconciled {
            ticket.completion = Some(Completion {
                yield_mass: mass("9 kg"),
                lot: bulk.id,
                density: None,
                fillings: Vec::new(),
                by: "Ada Sample".to_owned(),
                at: instant("2026-01-20T08:00:00Z"),
                on: date(day),
                note: None,
            });
        }
        let write = tx(store).await;
        ticket_insert(&write, &ticket).await.unwrap();
        if let Some(completion) = &ticket.completion {
            completion_insert(&write, ticket.id, completion).await.unwrap();
        }
        write.commit().await.unwrap();
        complete.push(ticket);
    }
    let numbers = async |of_each| {
        let mut found = tickets_trimmed(store, of_each).await.unwrap();
        found.sort_by(|a, b| a.number.cmp(&b.number));
        found.into_iter().map(|ticket| ticket.number).collect::<Vec<_>>()
    };
    assert_eq!(numbers(20).await, ["T-1", "T-2", "T-3"]);
    assert_eq!(numbers(2).await, ["T-1", "T-3"]);
}

async fn a_ticket_lives(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let mut ticket = house.ticket(store, "T-1", "5 kg").await;
    let step = |from, to, note: Option<&str>| Step {
        from,
        to,
        by: "Ada Sample".to_owned(),
        at: instant("2026-02-02T09:00:00Z"),
        note: note.map(ToOwned::to_owned),
    };
    let weighing = Weighing {
        id: WeighingId::new(),
        line: ticket.lines[0].id,
        lot: None,
        amount: mass("5 kg"),
        by: "Ada Sample".to_owned(),
        at: instant("2026-02-02T09:00:00Z"),
        checked_by: None,
        movement: None,
        reversed: None,
        how: WeighedHow {
            gross: Some(mass("5.4 kg")),
            tare: Some(mass("0.4 kg")),
            done_at: Some(instant("2026-02-01T15:00:00Z")),
            reason: Some("the sheet came late".to_owned()),
            counts_as: Some(mass("5.25 kg")),
            result_before: Some("pH 5.1".to_owned()),
            result_after: Some("pH 5.9".to_owned()),
            mixed_minutes: Some(10),
            ..WeighedHow::default()
        },
    };
    let pause = Pause {
        by: "Ada Sample".to_owned(),
        at: instant("2026-02-02T10:00:00Z"),
        reason: "the mixer stopped".to_owned(),
    };
    let first = [step(TicketStatus::Planned, TicketStatus::Weighing, None)];
    let second = [
        step(TicketStatus::Weighing, TicketStatus::Making, None),
        step(TicketStatus::Making, TicketStatus::OnTest, Some("sample taken")),
    ];
    let write = tx(store).await;
    put_weighing(&write, ticket.id, &weighing).await;
    ticket_steps_insert(&write, ticket.id, 0, &first).await.unwrap();
    ticket_steps_insert(&write, ticket.id, 1, &second).await.unwrap();
    ticket_pause_set(&write, ticket.id, Some(&pause)).await.unwrap();
    ticket_status_set(&write, ticket.id, TicketStatus::OnTest, None).await.unwrap();
    ticket.planned_batch = Some(ticket.batch);
    ticket.batch = mass("6 kg");
    ticket.lines[0].target = mass("6 kg");
    ticket_scale(&write, &ticket).await.unwrap();
    weighing_check_set(&write, weighing.id, "Ben Sample", instant("2026-02-02T11:00:00Z")).await.unwrap();
    let again = weighing_check_set(&write, weighing.id, "Cay Sample", instant("2026-02-02T11:00:00Z")).await;
    assert!(matches!(again, Err(StoreError::Changed { .. })), "{again:?}");
    weighing_undo(&write, weighing.id, WeighingOutcome::Scrapped, "the mixer is broken").await.unwrap();
    write.commit().await.unwrap();

    ticket.status = TicketStatus::OnTest;
    ticket.paused = Some(pause);
    ticket.steps = [&first[..], &second[..]].concat();
    ticket.weighings = vec![Weighing {
        checked_by: Some("Ben Sample".to_owned()),
        reversed: Some("the mixer is broken".to_owned()),
        how: WeighedHow {
            checked_at: Some(instant("2026-02-02T11:00:00Z")),
            outcome: Some(WeighingOutcome::Scrapped),
            ..weighing.how.clone()
        },
        ..weighing
    }];
    assert_eq!(ticket_get(store, ticket.id).await.unwrap().as_ref(), Some(&ticket));

    let write = tx(store).await;
    ticket_pause_set(&write, ticket.id, None).await.unwrap();
    let gone = ticket_pause_set(&write, TicketId::new(), None).await;
    assert!(matches!(gone, Err(StoreError::NotFound { .. })), "{gone:?}");
    write.commit().await.unwrap();
    assert_eq!(ticket_get(store, ticket.id).await.unwrap().unwrap().paused, None);

    // Neither a ticket nor a step of its life is ever taken out, so no number comes up twice.
    let raw = database.raw().await;
    for text in ["DELETE FROM ticket_steps", "UPDATE ticket_steps SET note = NULL", "DELETE FROM tickets"] {
        let refused = raw.execute_unprepared(text).await.unwrap_err().to_string();
        assert!(refused.contains("kept_ticket"), "{text}: {refused}");
    }
}

async fn balances_and_alternates(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let mut balance = Balance {
        id: BalanceId::new(),
        code: "BAL-1".to_owned(),
        name: "Bench, 2 kg".to_owned(),
        division: mass("0.01 g"),
        capacity: mass("2 kg"),
        smallest_net: None,
        calibration_due: Some(date("2026-12-31")),
        note: None,
    };
    let approved = Alternate {
        material: house.bulk.id,
        alternate: house.product.id,
        formula: None,
        factor: "2.50".parse().unwrap(),
        changes_label: true,
        valid_until: None,
        evidence: Some("trial 14C".to_owned()),
        approved_by: "Ada Sample".to_owned(),
        approved_at: instant("2026-02-02T09:00:00Z"),
    };
    let write = tx(store).await;
    balance_insert(&write, &balance).await.unwrap();
    balance.smallest_net = Some(mass("3 g"));
    balance_update(&write, &balance).await.unwrap();
    alternate_insert(&write, &approved).await.unwrap();
    write.commit().await.unwrap();
    assert_eq!(balances_all(store).await.unwrap(), [balance.clone()]);
    let kept = alternates_of(store, &[house.bulk.id]).await.unwrap();
    assert_eq!(kept, [Alternate { factor: "2.5".parse().unwrap(), ..approved }]);
    assert_eq!(alternates_of(store, &[house.product.id]).await.unwrap(), []);

    let write = tx(store).await;
    let again =
        balance_insert(&write, &Balance { id: BalanceId::new(), code: "bal-1".to_owned(), ..balance }).await;
    assert!(
        matches!(&again, Err(StoreError::Constraint { name, .. }) if name == constraints::BALANCE_CODE),
        "{again:?}"
    );
}

async fn put_weighing(tx: &WriteTx, ticket: TicketId, weighing: &Weighing) {
    let put = |writes: &mut store::Writes| {
        weighings_insert(writes, ticket, std::slice::from_ref(weighing));
        Ok(())
    };
    written(tx, put).await.unwrap();
}
