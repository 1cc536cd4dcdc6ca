use super::*;
use crate::shelf_testing::{day, expiring, formula, lot, promise, quantity, raw, ticket};
use kernel::Mass;
use proptest::prelude::*;

fn numbers(takes: &[Take]) -> Vec<String> {
    takes
        .iter()
        .map(|take| match &take.from {
            TakenFrom::Lot { number, .. } => format!("{number} {}", take.quantity),
            other => format!("{other:?}"),
        })
        .collect()
}

/// First expiry, first out, as the WHO Good Distribution Practices define it: an item with an earlier expiry leaves before an
/// identical one with a later. The order among equals is common practice, no source.
#[test]
fn first_expiry_first_out() {
    let material = raw("GLYC");
    let mut opened = expiring(&material, "D", "10 kg", "2026-06-30");
    opened.opened_on = Some(day("2026-02-01"));
    let mut older = expiring(&material, "E", "10 kg", "2026-06-30");
    older.received_on = day("2025-12-01");
    let lots = [
        lot(&material, "A", "5 kg"),
        expiring(&material, "B", "5 kg", "2026-12-31"),
        expiring(&material, "C", "10 kg", "2026-06-30"),
        opened,
        older,
        expiring(&material, "F", "4 kg", "2026-06-30"),
        expiring(&material, "G", "5 kg", "2026-03-31"),
    ];
    let all = allocate_fefo(&material, &lots, day("2026-03-01"), quantity("60 kg"), &[], None);
    assert_eq!(
        numbers(&all.takes),
        ["G 5 kg", "D 10 kg", "E 10 kg", "F 4 kg", "C 10 kg", "B 5 kg", "A 5 kg"]
    );
    assert_eq!(all.short_by, quantity("11 kg"));
    let some = allocate_fefo(&material, &lots, day("2026-03-01"), quantity("12 kg"), &[], None);
    assert_eq!(numbers(&some.takes), ["G 5 kg", "D 7 kg"]);
    assert!(!some.short_by.is_positive());
}

/// "Expiry 31 March" is usable on 31 March (common practice, no source); after its expiry date a batch must not be used, and after
/// its retest date it must be examined first (ICH Q1A(R2), glossary).
#[test]
fn last_day_of_use() {
    let mut material = raw("SLES");
    let mut retest = lot(&material, "R", "5 kg");
    retest.retest_on = Some(day("2026-03-30"));
    let lots = [expiring(&material, "A", "5 kg", "2026-03-31"), retest];
    let usable = |material: &Material, on: &str| availability(material, &lots, day(on), &[], None).usable;
    assert_eq!(usable(&material, "2026-03-30"), quantity("10 kg"));
    assert_eq!(usable(&material, "2026-03-31"), quantity("5 kg"));
    assert_eq!(usable(&material, "2026-04-01"), quantity("0 kg"));
    let april = availability(&material, &lots, day("2026-04-01"), &[], None);
    let reasons: Vec<_> = april.lots.iter().map(|lot| (lot.number.as_str(), lot.because.clone())).collect();
    assert_eq!(
        reasons,
        [
            ("R", vec![Unusable::RetestDue { on: day("2026-03-30") }]),
            ("A", vec![Unusable::Expired { on: day("2026-03-31") }]),
        ]
    );
    material.minimum_remaining_life = Some("30 days".parse().unwrap());
    assert_eq!(usable(&material, "2026-03-01"), quantity("5 kg"));
    assert_eq!(last_day_to_take(&lots[0], &material), Some(day("2026-03-01")));
}

#[test]
fn every_reason_is_listed_and_counts_once() {
    let material = raw("CAPB");
    let lots = [
        Lot { status: LotStatus::Quarantine, ..expiring(&material, "Q", "1 kg", "2026-01-31") },
        Lot { status: LotStatus::OnHold, ..lot(&material, "H", "2 kg") },
        Lot { status: LotStatus::Rejected, ..lot(&material, "X", "4 kg") },
        Lot { received_on: day("2026-05-01"), ..lot(&material, "L", "8 kg") },
        lot(&raw("OTHER"), "O", "16 kg"),
    ];
    let answer = availability(&material, &lots, day("2026-03-01"), &[], None);
    assert_eq!(answer.on_hand, quantity("15 kg"));
    assert_eq!(answer.usable, quantity("0 kg"));
    let reasons: Vec<usize> = answer.lots.iter().map(|lot| lot.because.len()).collect();
    assert_eq!(reasons.iter().sum::<usize>(), 5, "the quarantined lot has expired as well: {answer:?}");
}

#[test]
fn own_promises_do_not_stand_in_the_way() {
    let material = raw("SLES");
    let mut held = lot(&material, "A", "10 kg");
    let formula = formula("F", &raw("BULK"), &[(&material, "100")]);
    let mut mine = ticket("T-1", &formula, "2026-03-01", &[(&material, "6")]);
    let mut other = ticket("T-2", &formula, "2026-03-01", &[(&material, "3")]);
    promise(&mut mine, 1, &mut held, "6 kg");
    promise(&mut other, 1, &mut held, "3 kg");
    let usable = |own: &[Allocation]| availability(&material, [&held], day("2026-03-01"), own, None).usable;
    assert_eq!(usable(&[]), quantity("1 kg"));
    assert_eq!(usable(&mine.allocations), quantity("7 kg"));
    assert_eq!(usable(&other.allocations), quantity("4 kg"));
}

fn any_lot() -> impl Strategy<Value = (i64, i64, u8, Option<u64>, Option<u64>, Option<u64>, u64)> {
    (
        0_i64..1_000_000,
        0_i64..500_000,
        0_u8..4,
        prop::option::of(0_u64..200),
        prop::option::of(0_u64..200),
        prop::option::of(0_u64..100),
        0_u64..120,
    )
}

proptest! {
    /// Never an unusable lot, never more than is free, never more than is asked, and nothing left out that could have been taken.
    #[test]
    fn fefo_takes_only_what_may_be_taken(
        rows in prop::collection::vec(any_lot(), 0..12),
        need in 0_i64..5_000_000,
        life in prop::option::of(0_u32..3),
    ) {
        let mut material = raw("M");
        material.minimum_remaining_life = life.map(Span::Months);
        material.period_after_opening = Some(Span::Days(60));
        let start = day("2026-01-01");
        let at = |days: u64| start.checked_add_days(chrono::Days::new(days)).unwrap();
        let on = at(100);
        let statuses = LotStatus::ALL;
        let lots: Vec<Lot> = rows.iter().enumerate().map(|(index, row)| {
            let (amount, reserved, status, expires, retest, opened, received) = *row;
            Lot {
                status: statuses[usize::from(status)],
                on_hand: Quantity::Mass(Mass::from_micrograms(amount)),
                reserved: Quantity::Mass(Mass::from_micrograms(reserved)),
                expires_on: expires.map(at),
                retest_on: retest.map(at),
                opened_on: opened.map(at),
                received_on: at(received),
                ..lot(&material, &format!("L{index}"), "1 kg")
            }
        }).collect();
        let answer = allocate_fefo(&material, &lots, on, Quantity::Mass(Mass::from_micrograms(need)), &[], None);
        let mut taken = 0;
        let mut last: Option<&Lot> = None;
        for take in &answer.takes {
            let lot = lots.iter().find(|lot| Some(lot.id) == take.from.lot()).unwrap();
            prop_assert!(lot.unusable_on(on, &material).is_empty());
            prop_assert!(take.quantity.raw() > 0 && take.quantity.raw() <= lot.free());
            if let Some(last) = last {
                prop_assert!(fefo_order(last, lot, &material).is_lt());
            }
            last = Some(lot);
            taken += take.quantity.raw();
        }
        prop_assert_eq!(taken + answer.short_by.raw(), need);
        let usable: i64 = lots.iter()
            .filter(|lot| lot.unusable_on(on, &material).is_empty())
            .map(Lot::free)
            .sum();
        prop_assert_eq!(taken, need.min(usable));
        let availability = availability(&material, &lots, on, &[], None);
        prop_assert_eq!(availability.usable.raw(), usable);
    }

    /// The last day to take a lot is the last one on which nothing about its dates stands against it.
    #[test]
    fn last_day_to_take_is_tight(expires in 0_u64..800, months in 0_u32..14, days in prop::option::of(0_u32..90)) {
        let mut material = raw("M");
        material.minimum_remaining_life = Some(days.map_or(Span::Months(months), Span::Days));
        let expires_on = day("2026-06-01").checked_add_days(chrono::Days::new(expires));
        let lot = Lot { received_on: day("2020-01-01"), expires_on, ..lot(&material, "A", "1 kg") };
        let last = last_day_to_take(&lot, &material).unwrap();
        prop_assert!(lot.unusable_on(last, &material).is_empty());
        prop_assert!(!lot.unusable_on(last.succ_opt().unwrap(), &material).is_empty());
    }
}
