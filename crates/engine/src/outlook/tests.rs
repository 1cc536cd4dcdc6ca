use super::*;
use crate::shelf_testing::{
    catalogue, day, expiring, formula, lot, money, promise, quantity, quotation, raw, supplier, ticket,
};
use domain::{
    catalogue::{Catalogue, CatalogueParts},
    formulas::Formula,
    lots::Lot,
    materials::{Material, MaterialKind},
    tickets::Ticket,
};
use kernel::Mass;
use proptest::prelude::*;

struct House {
    catalogue: Catalogue,
    material: Material,
    formula: Formula,
}

fn house() -> House {
    let material = raw("SLES");
    let bulk = Material { kind: MaterialKind::Bulk, ..raw("WASH") };
    let formula = formula("F-WASH", &bulk, &[(&material, "100")]);
    let parts = CatalogueParts {
        materials: vec![material.clone(), bulk],
        formulas: vec![formula.clone()],
        ..CatalogueParts::default()
    };
    House { catalogue: catalogue(parts), material, formula }
}

fn ask(house: &House, shelf: &Shelf, until: Option<&str>) -> Outlook {
    let request = OutlookRequest { today: day("2026-02-01"), until: until.map(day) };
    outlook(&View::plain(&house.catalogue), shelf, request).unwrap()
}

fn run_off(house: &House) -> Shelf {
    let material = &house.material;
    let lot_a = Lot { value: Some(money("64")), ..expiring(material, "A", "40 kg", "2026-03-31") };
    let lots = vec![lot_a, expiring(material, "B", "100 kg", "2026-09-30")];
    let needs = [("T-1", "2026-02-10", "18"), ("T-2", "2026-03-10", "15"), ("T-3", "2026-04-05", "18")];
    let tickets =
        needs.iter().map(|(number, on, kg)| ticket(number, &house.formula, on, &[(material, kg)])).collect();
    Shelf { lots, tickets }
}

/// Lot A of 40 kg to 31 March, lot B of 100 kg to 30 September; runs of 18, 15 and 18 kg: A gives 33 kg, 7 kg are stranded, its
/// last use is on 10 March. Common practice, no source.
#[test]
fn expiry_run_off() {
    let house = house();
    let answer = ask(&house, &run_off(&house), None);
    assert_eq!(answer.until, day("2026-04-05"));
    let [a, b] = &answer.lots[..] else { panic!("two lots") };
    assert_eq!((a.taken, a.left, a.stranded), (quantity("33 kg"), quantity("7 kg"), quantity("7 kg")));
    assert_eq!(a.last_taken_on, Some(day("2026-03-10")));
    assert_eq!(a.stranded_value, Some(money("11.2")), "7/40 of 64");
    assert_eq!((b.taken, b.left, b.stranded), (quantity("18 kg"), quantity("82 kg"), quantity("0 kg")));
    assert!(answer.materials.iter().all(|row| row.first_short_on.is_none()));
    // Looked at up to its own last day, B is stranded too.
    assert_eq!(ask(&house, &run_off(&house), Some("2026-09-30")).lots[1].stranded, quantity("82 kg"));
}

/// With a minimum remaining life at use, more is left (common practice, no source).
#[test]
fn minimum_remaining_life_strands_more() {
    let mut house = house();
    house.material.minimum_remaining_life = Some("30 days".parse().unwrap());
    let bulk = Material { kind: MaterialKind::Bulk, ..raw("WASH") };
    house.formula.makes = bulk.id;
    house.catalogue = catalogue(CatalogueParts {
        materials: vec![house.material.clone(), bulk],
        formulas: vec![house.formula.clone()],
        ..CatalogueParts::default()
    });
    let answer = ask(&house, &run_off(&house), None);
    assert_eq!(answer.lots[0].stranded, quantity("22 kg"), "10 March is too near to 31 March");
    assert_eq!(answer.lots[0].last_taken_on, Some(day("2026-02-10")));
}

/// Two tickets that fit alone but not together: the later one is short, and its day is named. An overdue ticket counts for today.
#[test]
fn two_tickets_that_fit_alone_but_not_together() {
    let mut house = house();
    let supplier = supplier("NORD");
    let offer = quotation("Q-1", &supplier, &house.material, &[("25 kg", "40", None)]);
    let bulk = Material { kind: MaterialKind::Bulk, ..raw("WASH") };
    house.formula.makes = bulk.id;
    house.catalogue = catalogue(CatalogueParts {
        materials: vec![house.material.clone(), bulk],
        formulas: vec![house.formula.clone()],
        suppliers: vec![supplier],
        quotations: vec![offer],
        ..CatalogueParts::default()
    });
    let line = |kg| [(&house.material, kg)];
    let shelf = Shelf {
        lots: vec![lot(&house.material, "A", "20 kg")],
        tickets: vec![
            ticket("T-2", &house.formula, "2026-03-10", &line("15")),
            ticket("T-1", &house.formula, "2026-01-10", &line("12")),
        ],
    };
    let answer = ask(&house, &shelf, None);
    assert_eq!(answer.runs[0].on, day("2026-02-01"));
    let row = &answer.materials[0];
    assert_eq!((row.needed, row.short_by), (quantity("27 kg"), quantity("7 kg")));
    assert_eq!(row.first_short_on, Some(day("2026-03-10")));
    assert!(matches!(&row.first_short_run, Some(RunRef::Ticket { number, .. }) if number == "T-2"));
    let order = row.buy.as_ref().unwrap().order.as_ref().unwrap();
    assert_eq!((order.packs, order.cost), (1, money("40")));
    assert_eq!(order.order_by, Some(day("2026-02-28")), "ten days before");
}

/// A promise to a later ticket is kept from an earlier one that has none.
#[test]
fn promises_are_kept() {
    let house = house();
    let mut held = lot(&house.material, "A", "20 kg");
    let mut later = ticket("T-2", &house.formula, "2026-03-10", &[(&house.material, "15")]);
    promise(&mut later, 1, &mut held, "15 kg");
    let earlier = ticket("T-1", &house.formula, "2026-02-10", &[(&house.material, "12")]);
    let shelf = Shelf { lots: vec![held], tickets: vec![later, earlier] };
    let answer = ask(&house, &shelf, None);
    let short: Vec<_> = answer.runs.iter().map(|run| run.shortages.len()).collect();
    assert_eq!(short, [1, 0]);
    let shortage = &answer.runs[0].shortages[0];
    assert_eq!(shortage.short_by, quantity("7 kg"));
    assert_eq!(shortage.might_help[0].promised, quantity("15 kg"), "the lot is there, promised to T-2");
}

/// A rejected lot is stranded whatever its dates; a promise on it is lost and covered elsewhere.
#[test]
fn a_rejected_lot_is_stranded() {
    let house = house();
    let mut bad = lot(&house.material, "A", "20 kg");
    let mut run = ticket("T-1", &house.formula, "2026-02-10", &[(&house.material, "12")]);
    promise(&mut run, 1, &mut bad, "12 kg");
    bad.status = domain::lots::LotStatus::Rejected;
    let shelf = Shelf { lots: vec![bad, lot(&house.material, "B", "30 kg")], tickets: vec![run] };
    let answer = ask(&house, &shelf, None);
    assert_eq!(answer.lots[0].stranded, quantity("20 kg"));
    assert_eq!(answer.lots[0].stranded_value, None, "a lot without a value has no stranded value");
    assert_eq!(answer.lots[1].taken, quantity("12 kg"));
    assert_eq!(answer.runs[0].needs[0].lost_promises[0].quantity, quantity("12 kg"));
    assert!(!answer.runs[0].is_short());
}

/// Lots (amount, days to expiry) and runs (days from the start, amount).
type Rows = (Vec<(i64, Option<u64>)>, Vec<(u64, i64)>);

fn any_rows() -> impl Strategy<Value = Rows> {
    (
        prop::collection::vec((0_i64..1_000_000, prop::option::of(0_u64..120)), 0..8),
        prop::collection::vec((0_u64..120, 1_i64..800_000), 0..8),
    )
}

proptest! {
    /// What is there is taken or left; what is needed is taken or short; nothing is stranded that is not left.
    #[test]
    fn nothing_appears_or_vanishes((lots, runs) in any_rows()) {
        let house = house();
        let at = |days: u64| day("2026-02-01").checked_add_days(chrono::Days::new(days)).unwrap();
        let lots: Vec<Lot> = lots.iter().enumerate().map(|(index, (amount, expires))| Lot {
            on_hand: Quantity::Mass(Mass::from_micrograms(*amount)),
            expires_on: expires.map(at),
            value: Some(money("100")),
            ..lot(&house.material, &format!("L{index}"), "1 kg")
        }).collect();
        let tickets: Vec<Ticket> = runs.iter().enumerate().map(|(index, (on, amount))| {
            let mut run = ticket(&format!("T{index}"), &house.formula, "2026-02-01", &[(&house.material, "1")]);
            run.planned_for = at(*on);
            run.lines[0].target = Mass::from_micrograms(*amount);
            run
        }).collect();
        let shelf = Shelf { lots, tickets };
        let untouched = shelf.clone();
        let answer = ask(&house, &shelf, None);
        prop_assert_eq!(&shelf, &untouched);
        let mut taken = 0;
        for (lot, seen) in shelf.lots.iter().map(|lot| (lot, answer.lots.iter().find(|l| l.lot == lot.id).unwrap())) {
            prop_assert_eq!(seen.taken.raw() + seen.left.raw(), lot.on_hand.raw());
            prop_assert!(seen.taken.raw() >= 0 && seen.left.raw() >= 0);
            prop_assert!(seen.stranded.raw() == 0 || seen.stranded == seen.left);
            taken += seen.taken.raw();
        }
        let needed: i64 = runs.iter().map(|(_, amount)| amount).sum();
        let short: i64 = answer.materials.iter().map(|row| row.short_by.raw()).sum();
        prop_assert_eq!(taken + short, needed);
    }
}
