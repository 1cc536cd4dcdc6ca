use super::*;
use chrono::{DateTime, NaiveDate};
use domain::{
    lots::LotStatus,
    tickets::{Completion, Filling, LineAsks, TicketLine, TicketStatus, WeighedHow, Weighing},
};
use kernel::ids::{FormulaId, FormulaVersionId, MaterialId, PackId, TicketLineId, WeighingId};
use proptest::prelude::*;

fn kg(raw: i64) -> Quantity {
    Quantity::Mass(Mass::from_micrograms(raw * 1_000_000_000))
}

fn lot(number: &str, received: Quantity) -> Lot {
    Lot {
        id: LotId::new(),
        number: number.to_owned(),
        material: MaterialId::new(),
        supplier: None,
        supplier_lot: None,
        made_by: None,
        status: LotStatus::Released,
        received_on: NaiveDate::MIN,
        made_on: None,
        expires_on: None,
        retest_on: None,
        opened_on: None,
        density: None,
        active_matter: None,
        location: None,
        received,
        received_value: None,
        on_hand: received,
        value: None,
        reserved: Quantity::from_raw(0, received.dimension()),
        note: None,
        terms: domain::lots::LotTerms::default(),
    }
}

fn movement(lot: &Lot, kind: MovementKind, quantity: Quantity, ticket: Option<TicketId>) -> Movement {
    Movement {
        id: MovementId::new(),
        lot: lot.id,
        kind,
        quantity,
        value: None,
        on: NaiveDate::MIN,
        entered_at: DateTime::UNIX_EPOCH,
        by: "A. Penhallow".to_owned(),
        ticket,
        reverses: None,
        cause: None,
        container: None,
        reason: None,
    }
}

/// A ticket that weighed so much of each lot, and became a lot, or none yet.
fn ticket(number: &str, weighed: &[(&Lot, i64)], became: Option<&Lot>) -> Ticket {
    let line = TicketLine {
        id: TicketLineId::new(),
        position: 1,
        phase: None,
        material: MaterialId::new(),
        target: Mass::ZERO,
        tolerance: None,
        instruction: None,
        asks: LineAsks::default(),
    };
    let weighings = weighed.iter().map(|(lot, amount)| Weighing {
        id: WeighingId::new(),
        line: line.id,
        lot: Some(lot.id),
        amount: Mass::from_micrograms(amount * 1_000_000_000),
        by: "A. Penhallow".to_owned(),
        at: DateTime::UNIX_EPOCH,
        checked_by: None,
        movement: None,
        reversed: None,
        how: WeighedHow::default(),
    });
    Ticket {
        id: TicketId::new(),
        number: number.to_owned(),
        formula: FormulaId::new(),
        version: FormulaVersionId::new(),
        pack: None,
        units: None,
        batch: Mass::from_micrograms(1),
        planned_for: NaiveDate::MIN,
        status: if became.is_some() { TicketStatus::Reconciled } else { TicketStatus::Weighing },
        weighings: weighings.collect(),
        lines: vec![line],
        allocations: Vec::new(),
        completion: became.map(|lot| Completion {
            yield_mass: Mass::ZERO,
            lot: lot.id,
            density: None,
            fillings: Vec::new(),
            by: "A. Penhallow".to_owned(),
            at: DateTime::UNIX_EPOCH,
            on: NaiveDate::MIN,
            note: None,
        }),
        written_by: "A. Penhallow".to_owned(),
        written_at: DateTime::UNIX_EPOCH,
        note: None,
        paused: None,
        planned_batch: None,
        steps: Vec::new(),
    }
}

fn numbers(lots: &[TracedLot]) -> Vec<(&str, usize)> {
    lots.iter().map(|traced| (traced.lot.number.as_str(), traced.level)).collect()
}

/// Gum into a premix, the premix into a bulk, a rest of the bulk into the next bulk as rework, and that into bottles.
#[test]
fn through_a_premix_and_rework_into_bottles() {
    let (gum, water, premix) = (lot("GUM", kg(2)), lot("SOFT", kg(100)), lot("PREMIX", kg(50)));
    let (first, second) = (lot("BULK-1", kg(100)), lot("BULK-2", kg(100)));
    let bottles = lot("BOTTLES", Quantity::Count(Count::from_thousandths(180_000)));
    let caps = lot("CAPS", Quantity::Count(Count::from_thousandths(1_000_000)));
    let making = ticket("T-1", &[(&gum, 1), (&water, 49)], Some(&premix));
    let one = ticket("T-2", &[(&premix, 10), (&water, 40)], Some(&first));
    let mut two = ticket("T-3", &[(&first, 5), (&premix, 10)], Some(&second));
    two.completion.as_mut().unwrap().fillings.push(Filling {
        pack: PackId::new(),
        filled: Count::from_thousandths(180_000),
        lot: bottles.id,
    });
    let moved = vec![
        movement(&second, MovementKind::Filling, kg(-90), Some(two.id)),
        movement(
            &caps,
            MovementKind::Filling,
            Quantity::Count(Count::from_thousandths(-180_000)),
            Some(two.id),
        ),
    ];
    let mut book = TraceBook::default();
    book.moved.insert(two.id, moved);
    for lot in [&gum, &water, &premix, &first, &second, &bottles, &caps] {
        book.lots.insert(lot.id, lot.clone());
    }
    for ticket in [making, one, two] {
        book.tickets.insert(ticket.id, ticket);
    }

    let found = trace(&book, &[gum.id]).unwrap();
    assert_eq!(numbers(&found.forward), [("PREMIX", 1), ("BULK-1", 2), ("BULK-2", 2), ("BOTTLES", 3)]);
    assert_eq!((found.back.len(), found.back_edges.len()), (0, 0));
    // Along every way with its kilograms; the bulk goes into the other only once.
    let ways: BTreeMap<(&str, &str), String> = found
        .forward_edges
        .iter()
        .map(|edge| {
            let number = |id: LotId| book.lots[&id].number.as_str();
            ((number(edge.from), number(edge.to.unwrap())), edge.quantity.to_string())
        })
        .collect();
    assert_eq!(ways[&("GUM", "PREMIX")], "1 kg");
    assert_eq!(ways[&("PREMIX", "BULK-1")], "10 kg");
    assert_eq!(ways[&("BULK-1", "BULK-2")], "5 kg");
    assert_eq!(ways[&("BULK-2", "BOTTLES")], "90 kg");
    assert_eq!(found.forward_edges.len(), 5);
    // 1 kg in 50 of premix; 10 of that in 100 of bulk; 5 of that and 10 of premix in the next; 90 of its 100 in bottles.
    let holds = |number: &str| {
        let of = found.forward.iter().find(|traced| traced.lot.number == number).unwrap();
        of.holds.clone().unwrap().to_decimal_exactly().unwrap().to_string()
    };
    assert_eq!(holds("PREMIX"), "1");
    assert_eq!(holds("BULK-1"), "0.2");
    assert_eq!(holds("BULK-2"), "0.21");
    assert_eq!(holds("BOTTLES"), "0.189");

    let found = trace(&book, &[bottles.id]).unwrap();
    assert_eq!(
        numbers(&found.back),
        [("BULK-2", 1), ("CAPS", 1), ("BULK-1", 2), ("PREMIX", 2), ("GUM", 3), ("SOFT", 3)]
    );
    assert_eq!(found.forward, []);
}

/// A batch under way has no lot yet, and what was thrown away or kept for rework says so.
#[test]
fn what_has_not_become_a_lot() {
    let (a, b, kept) = (lot("A", kg(10)), lot("B", kg(10)), lot("KEPT", kg(3)));
    let under_way = ticket("T-1", &[(&a, 4)], None);
    let mut voided = ticket("T-2", &[(&a, 3), (&b, 2)], None);
    for (weighing, outcome) in
        voided.weighings.iter_mut().zip([WeighingOutcome::IntoRework, WeighingOutcome::Scrapped])
    {
        weighing.reversed = Some("the vessel leaks".to_owned());
        weighing.how.outcome = Some(outcome);
    }
    let mut book = TraceBook::default();
    book.made.insert(voided.id, vec![kept.id]);
    for lot in [&a, &b, &kept] {
        book.lots.insert(lot.id, lot.clone());
    }
    for ticket in [under_way, voided] {
        book.tickets.insert(ticket.id, ticket);
    }
    let found = trace(&book, &[a.id, b.id]).unwrap();
    assert_eq!(numbers(&found.forward), [("KEPT", 1)]);
    let mut ways: Vec<(Passage, bool, String)> = found
        .forward_edges
        .iter()
        .map(|edge| (edge.passage, edge.to.is_some(), edge.quantity.to_string()))
        .collect();
    ways.sort();
    assert_eq!(
        ways,
        [
            (Passage::Weighed, false, "4 kg".to_owned()),
            (Passage::KeptForRework, true, "3 kg".to_owned()),
            (Passage::Scrapped, false, "2 kg".to_owned()),
        ]
    );
    assert!(matches!(trace(&book, &[LotId::new()]), Err(EngineError::NotFound { .. })));
}

proptest! {
    /// Received is what was used, thrown away, sampled, adjusted and is still here, whatever happened in whatever order, with some of
    /// it undone.
    #[test]
    fn mass_is_balanced(
        received in 1_i64..1_000_000,
        deeds in prop::collection::vec((0_usize..5, 1_i64..1_000_000, any::<bool>()), 0..40),
    ) {
        let raw = |raw: i64| Quantity::Mass(Mass::from_micrograms(raw));
        let mut lot = lot("L", raw(received));
        let mut movements = vec![movement(&lot, MovementKind::Receipt, raw(received), None)];
        let mut on_hand = received;
        for (deed, amount, undone) in deeds {
            let kind = [
                MovementKind::Weighing,
                MovementKind::Filling,
                MovementKind::Sample,
                MovementKind::WriteOff,
                MovementKind::Adjustment,
            ][deed];
            let found_more = kind == MovementKind::Adjustment && amount % 2 == 0;
            let change = if found_more { amount } else { -(amount.min(on_hand)) };
            if change == 0 {
                continue;
            }
            let entry = movement(&lot, kind, raw(change), None);
            on_hand += change;
            if undone && on_hand >= change {
                on_hand -= change;
                let back = movement(&lot, MovementKind::Reversal, raw(-change), None);
                movements.push(Movement { reverses: Some(entry.id), ..back });
            }
            movements.push(entry);
        }
        lot.on_hand = raw(on_hand);
        let balance = MassBalance::of(&lot, &movements);
        prop_assert_eq!(balance.unexplained, raw(0));
        prop_assert_eq!(balance.received, raw(received));
        let parts = balance.used.raw() + balance.samples.raw() + balance.waste.raw() + balance.adjusted.raw();
        prop_assert_eq!(parts + on_hand, received);
        let accounted = balance.accounted_percent().unwrap();
        let expected = Exact::ratio(i128::from((received - balance.adjusted.raw()) * 100), i128::from(received)).unwrap();
        prop_assert_eq!(accounted, expected);
    }
}
