//! How cost flows through a history: rules that hold whatever happened, and what becomes of the awkward entries.

use chrono::Days;
use domain::stock::MovementKind;
use kernel::{Dimension, Exact, Money, Quantity, ids::MaterialId};
use proptest::prelude::*;

use super::{
    fixtures::{day, dec, gbp, quantity},
    ledger::Ledger,
};
use crate::basis::{History, HistoryBook, Issue, history_of};

fn exact(text: &str) -> Exact {
    Exact::from(dec(text))
}

fn costs(issues: &[Issue]) -> Vec<Option<Exact>> {
    issues.iter().map(|issue| issue.cost.clone()).collect()
}

fn known(issues: &[Issue]) -> Exact {
    issues.iter().filter_map(|issue| issue.cost.clone()).sum()
}

/// What happens: days since the event before, whether something comes in, how much, what it costs (nothing known of it for some),
/// which lot.
type Event = (u64, bool, i64, Option<i64>, usize);

fn events(unvalued: bool) -> impl Strategy<Value = Vec<Event>> {
    let value = move || -> BoxedStrategy<Option<i64>> {
        let value = 1_i64..5_000_000_000;
        if unvalued {
            prop_oneof![3 => value.prop_map(Some), 1 => Just(None)].boxed()
        } else {
            value.prop_map(Some).boxed()
        }
    };
    prop::collection::vec((0_u64..4, any::<bool>(), 1_i64..40_000_000_000, value(), any::<usize>()), 1..40)
}

fn ledger_of(events: &[Event]) -> Ledger {
    let material = MaterialId::new();
    let mut ledger = Ledger::default();
    let mut on = day("2026-01-01");
    for (at, (gap, comes_in, raw, value, lot)) in events.iter().enumerate() {
        on = on.checked_add_days(Days::new(*gap)).unwrap();
        let date = on.to_string();
        let held: Vec<(String, i64)> = ledger
            .lots
            .iter()
            .filter(|lot| lot.on_hand.is_positive())
            .map(|lot| (lot.number.clone(), lot.on_hand.raw()))
            .collect();
        if *comes_in || held.is_empty() {
            let amount = Quantity::from_raw(*raw, Dimension::Mass);
            let value = value.map(|micros| Money::from_micros(micros, kernel::Currency::GBP));
            ledger.bring(material, &date, &format!("L{at}"), amount, value);
        } else {
            let (number, there) = &held[lot % held.len()];
            // Emptied about as often as not.
            ledger.take_raw(&date, number, (*raw).min(*there));
        }
    }
    ledger
}

fn brought_in(history: &History) -> (Exact, Exact) {
    let incoming = || history.entries().iter().filter(|entry| entry.quantity.is_positive());
    (
        incoming().map(|entry| entry.quantity.to_exact()).sum(),
        incoming().filter_map(|entry| entry.value).map(Money::to_exact).sum(),
    )
}

const END: &str = "2026-12-31";

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Quantity and value in are quantity and value out and left, to the last digit, on both running methods and lot by lot.
    #[test]
    fn nothing_is_made_or_lost(events in events(false)) {
        let ledger = ledger_of(&events);
        let history = ledger.history();
        let (quantity_in, value_in) = brought_in(&history);
        let fifo = history.fifo(day(END));
        let issues = fifo.issues();
        let left: Exact = fifo.layers().iter().map(|layer| &layer.quantity).sum();
        prop_assert_eq!(issues.iter().map(|issue| issue.quantity.clone()).sum::<Exact>() + &left, quantity_in.clone());
        prop_assert_eq!(known(&issues) + fifo.value_left().unwrap(), value_in.clone());
        prop_assert_eq!(&left, &history.on_hand(day(END)));

        let average = history.moving_average(day(END));
        let issues = average.issues();
        prop_assert_eq!(issues.iter().map(|issue| issue.quantity.clone()).sum::<Exact>() + average.quantity(), quantity_in);
        prop_assert_eq!(known(&issues) + average.value(), value_in.clone());
        prop_assert_eq!(average.quantity(), left);

        let by_lot: Exact = ledger.taken_at_lot_cost().iter().sum();
        prop_assert_eq!(by_lot + ledger.worth(), value_in);
        prop_assert!(fifo.uncovered().is_zero() && average.uncovered().is_zero());
    }

    /// First in, first out comes to the same whether it runs along or is worked out from a count at the end, a different way round:
    /// one takes from the oldest, the other keeps the latest.
    #[test]
    fn fifo_periodic_is_fifo_perpetual(events in events(false)) {
        let history = ledger_of(&events).history();
        for end in ["2026-01-20", "2026-02-10", END].map(day) {
            let running = history.fifo(end);
            let periodic = history.fifo_periodic(end, &history.on_hand(end)).unwrap();
            prop_assert_eq!(running.value_left().unwrap(), periodic.left_value.clone());
            prop_assert_eq!(known(&running.issues()), periodic.issued_value());
        }
    }

    /// The average lies between the least and the most that was ever paid, and an issue costs what the average before it says.
    #[test]
    fn an_average_is_between_what_was_paid(events in events(false)) {
        let history = ledger_of(&events).history();
        let average = history.moving_average(day(END));
        let paid = |entry: &crate::basis::Entry| {
            entry.value.unwrap().to_exact().checked_div(&entry.quantity.to_exact()).unwrap()
        };
        let incoming: Vec<Exact> =
            history.entries().iter().filter(|entry| entry.quantity.is_positive()).map(paid).collect();
        let (least, most) = (incoming.iter().min().unwrap(), incoming.iter().max().unwrap());
        let within = |figure: &Exact| figure >= least && figure <= most;
        if let Some(unit_cost) = average.unit_cost() {
            prop_assert!(within(&unit_cost));
            prop_assert_eq!(unit_cost * average.quantity(), average.value());
        } else {
            prop_assert!(within(&average.ran_out().unwrap().unit_cost));
        }
        for issue in average.issues() {
            prop_assert!(within(&issue.cost.unwrap().checked_div(&issue.quantity).unwrap()));
        }
    }

    /// Asked as of a day, nothing that came later is there; and the order in which the ledger is handed in means nothing.
    #[test]
    fn as_of_a_day_is_the_ledger_up_to_it(events in events(true), offset in 0_u64..60, turn in any::<usize>()) {
        let ledger = ledger_of(&events);
        let on = day("2026-01-01").checked_add_days(Days::new(offset)).unwrap();
        let mut until = ledger.clone();
        until.movements.retain(|movement| movement.on <= on);
        let shuffled = {
            let mut movements = ledger.movements.clone();
            let at = turn % movements.len();
            movements.rotate_left(at);
            movements.reverse();
            history_of(&ledger.lots, &movements).unwrap()
        };
        let (whole, until) = (ledger.history(), until.history());
        prop_assert_eq!(&whole, &shuffled);
        prop_assert_eq!(whole.fifo(on).layers(), until.fifo(on).layers());
        prop_assert_eq!(whole.fifo(on).issues(), until.fifo(on).issues());
        let (a, b) = (whole.moving_average(on), until.moving_average(on));
        prop_assert_eq!((a.quantity(), a.value(), a.ran_out()), (b.quantity(), b.value(), b.ran_out()));
        prop_assert_eq!(a.unvalued(), b.unvalued());
        prop_assert_eq!(a.issues(), b.issues());
        prop_assert_eq!(whole.last_purchase(on), until.last_purchase(on));
    }

    /// What was taken back never was, from that day on, and until then it was.
    #[test]
    fn a_reversal_undoes_without_trace(events in events(false)) {
        let mut ledger = ledger_of(&events);
        let wrong = ledger.movements.last().unwrap().on;
        let before = {
            let mut before = ledger.clone();
            before.movements.pop();
            before.history()
        };
        let with_mistake = ledger.history();
        let put_right = wrong.checked_add_days(Days::new(3)).unwrap();
        ledger.take_back(&put_right.to_string());
        let after = ledger.history();
        prop_assert_eq!(after.fifo(put_right).layers(), before.fifo(put_right).layers());
        prop_assert_eq!(after.moving_average(put_right).value(), before.moving_average(put_right).value());
        prop_assert_eq!(after.last_purchase(put_right), before.last_purchase(put_right));
        let eve = put_right.pred_opt().unwrap();
        prop_assert_eq!(after.fifo(eve).layers(), with_mistake.fifo(eve).layers());
        prop_assert_eq!(after.moving_average(eve).value(), with_mistake.moving_average(eve).value());
    }

    /// Lots without a value stand beside the average: they neither bring it anything nor take anything from it.
    #[test]
    fn lots_without_a_value_leave_the_average_alone(events in events(true)) {
        let ledger = ledger_of(&events);
        let history = ledger.history();
        let average = history.moving_average(day(END));
        let (_, value_in) = brought_in(&history);
        prop_assert_eq!(known(&average.issues()) + average.value(), value_in);
        let unvalued: Exact = average.unvalued().iter().map(|layer| &layer.quantity).sum();
        prop_assert_eq!(average.quantity() + unvalued, history.on_hand(day(END)));
        let mut valued = ledger.clone();
        valued.lots.retain(|lot| lot.received_value.is_some());
        let valued = valued.history();
        prop_assert_eq!(valued.moving_average(day(END)).unit_cost(), average.unit_cost());
    }
}

#[test]
fn what_came_without_a_value_is_not_known() {
    let material = MaterialId::new();
    let mut ledger = Ledger::default();
    ledger.receive(material, "2026-01-01", "L1", "10 kg", Some("20"));
    ledger.receive(material, "2026-01-02", "L2", "10 kg", None);
    ledger.take("2026-01-03", "L2", "4 kg");
    ledger.take("2026-01-04", "L1", "9 kg");
    let history = ledger.history();
    let end = day(END);

    // First in, first out takes 4 and 6 of the first lot, and 3 of the one without a value.
    let fifo = history.fifo(end);
    assert_eq!(costs(&fifo.issues()), [Some(exact("8")), None]);
    assert_eq!(fifo.value_left(), None);
    assert_eq!(fifo.layers()[0].quantity, exact("7"));
    // The average of what has a value is not touched by what has none.
    let average = history.moving_average(end);
    assert_eq!(costs(&average.issues()), [None, Some(exact("18"))]);
    assert_eq!((average.quantity(), average.value()), (exact("1"), exact("2")));
    assert_eq!(average.unvalued()[0].quantity, exact("6"));
    // The last purchase passes over it, and says so.
    let last = history.last_purchase(end).unwrap();
    assert_eq!((last.receipt.lot.number.as_str(), last.unit_cost), ("L1", exact("2")));
    assert_eq!(last.unvalued_since[0].number, "L2");
    assert_eq!(history.last_purchase(day("2026-01-01")).unwrap().unvalued_since, []);
    assert_eq!(history.last_purchase(day("2025-12-31")), None);
    assert_eq!(history.fifo_periodic(end, &exact("7")), None);
    assert_eq!(history.weighted_average_periodic(end, &exact("7")), None);
}

/// A ledger entered late: the batch of the 5th is written down before the delivery of the 10th it was made from.
#[test]
fn what_is_taken_before_it_comes_in_is_covered_by_the_next_receipt() {
    let material = MaterialId::new();
    let mut ledger = Ledger::default();
    ledger.receive(material, "2026-01-01", "L1", "10 kg", Some("10"));
    ledger.receive(material, "2026-01-10", "L2", "10 kg", Some("30"));
    ledger.take("2026-01-05", "L1", "10 kg");
    ledger.take("2026-01-06", "L2", "4 kg");
    let history = ledger.history();
    let early = day("2026-01-07");
    let fifo = history.fifo(early);
    assert_eq!((fifo.uncovered(), fifo.layers()), (exact("4"), Vec::new()));
    assert_eq!(fifo.issues()[1].uncovered, exact("4"));
    let average = history.moving_average(early);
    assert_eq!((average.uncovered(), average.quantity()), (exact("4"), Exact::ZERO));
    assert_eq!(average.ran_out().unwrap().on, day("2026-01-05"));
    for issues in [history.fifo(day(END)).issues(), history.moving_average(day(END)).issues()] {
        assert_eq!(costs(&issues), [Some(exact("10")), Some(exact("12"))]);
        assert!(issues.iter().all(|issue| issue.uncovered.is_zero()));
    }
    assert_eq!(history.fifo(day(END)).value_left(), Some(exact("18")));
    assert_eq!(history.moving_average(day(END)).value(), exact("18"));
}

/// What a count finds belongs to its lot and was paid for with it.
#[test]
fn what_a_count_finds_brings_no_value() {
    let material = MaterialId::new();
    let mut ledger = Ledger::default();
    ledger.receive(material, "2026-01-01", "L1", "10 kg", Some("30"));
    ledger.receive(material, "2026-01-02", "L2", "10 kg", Some("50"));
    ledger.find("2026-01-03", "L1", "5 kg");
    let history = ledger.history();
    let layers = history.fifo(day(END)).layers();
    let layers: Vec<_> = layers.into_iter().map(|layer| (layer.quantity, layer.value.unwrap())).collect();
    assert_eq!(layers, [(exact("15"), exact("30")), (exact("10"), exact("50"))]);
    assert_eq!(history.moving_average(day(END)).unit_cost(), Some(exact("3.2")));
    assert_eq!(history.moving_average(day(END)).receipts(), 2);

    // Found when nothing was left, it says nothing about what the material costs.
    let mut ledger = Ledger::default();
    ledger.receive(material, "2026-01-01", "L1", "10 kg", Some("30"));
    ledger.take("2026-01-02", "L1", "10 kg");
    ledger.find("2026-01-03", "L1", "1 kg");
    let history = ledger.history();
    let average = history.moving_average(day(END));
    assert_eq!((average.quantity(), average.value()), (exact("1"), Exact::ZERO));
    assert_eq!(average.ran_out().unwrap().unit_cost, exact("3"));
    assert_eq!(history.fifo(day(END)).value_left(), Some(Exact::ZERO));
}

/// A supplier's sample and a customer's own goods have a value of nought: averaged in, they would make the material look cheap.
#[test]
fn lots_received_for_nought_take_no_part() {
    let material = MaterialId::new();
    let mut ledger = Ledger::default();
    ledger.receive(material, "2026-01-01", "L1", "10 kg", Some("30"));
    ledger.receive(material, "2026-01-02", "SAMPLE", "1 kg", Some("0"));
    ledger.take("2026-01-03", "SAMPLE", "0.5 kg");
    let history = ledger.history();
    assert_eq!(history.free()[0].number, "SAMPLE");
    assert_eq!(history.on_hand(day(END)), exact("10"));
    assert_eq!(history.last_purchase(day(END)).unwrap().unit_cost, exact("3"));
    assert_eq!(history.moving_average(day(END)).unit_cost(), Some(exact("3")));
    assert_eq!(history.fifo(day(END)).issues(), []);
}

/// A receipt that is taken back is not the last purchase any more, and its lot leaves no layer.
#[test]
fn a_receipt_taken_back() {
    let material = MaterialId::new();
    let mut ledger = Ledger::default();
    ledger.receive(material, "2026-01-01", "L1", "10 kg", Some("30"));
    ledger.receive(material, "2026-01-05", "L2", "100 kg", Some("3")).note = Some("mistyped".to_owned());
    ledger.take_back("2026-01-07");
    let history = ledger.history();
    let last = |on: &str| history.last_purchase(day(on)).unwrap().receipt.lot.number.clone();
    assert_eq!((last("2026-01-06").as_str(), last("2026-01-07").as_str()), ("L2", "L1"));
    assert_eq!(
        history.moving_average(day("2026-01-06")).unit_cost(),
        exact("33").checked_div(&exact("110")).ok()
    );
    assert_eq!(history.moving_average(day("2026-01-07")).unit_cost(), Some(exact("3")));
    assert_eq!(history.fifo(day("2026-01-07")).layers().len(), 1);
    assert_eq!(history.entries().len(), 2);
    assert_eq!(history.entries()[1].undone_on, Some(day("2026-01-07")));
}

#[test]
fn what_does_not_go_together_is_refused() {
    let material = MaterialId::new();
    let mut ledger = Ledger::default();
    ledger.receive(material, "2026-01-01", "L1", "10 kg", Some("30"));
    ledger.receive(material, "2026-01-02", "L2", "10 pcs", Some("30"));
    assert!(history_of(&ledger.lots, &ledger.movements).is_err());
    ledger.movements[1].quantity = quantity("10 kg");
    ledger.movements[1].value = Some(Money::from_micros(1, kernel::Currency::EUR));
    let error = history_of(&ledger.lots, &ledger.movements).unwrap_err();
    assert_eq!(error.to_string(), "GBP and EUR cannot be added; an exchange rate is needed");
    // Two materials do not meet in a book.
    ledger.lots[1].material = MaterialId::new();
    let book = HistoryBook::from_ledger(&ledger.lots, &ledger.movements).unwrap();
    assert_eq!(book.history(material).unwrap().entries().len(), 1);
    assert!(book.history(MaterialId::new()).is_none());
    // A receipt without a value of its own has its lot's; movements of other lots are left aside.
    ledger.movements[0].value = None;
    ledger.lots.truncate(1);
    let history = history_of(&ledger.lots, &ledger.movements).unwrap();
    assert_eq!(history.entries().len(), 1);
    assert_eq!(history.entries()[0].value, Some(gbp("30")));
    assert_eq!(history.entries()[0].kind, MovementKind::Receipt);
}
