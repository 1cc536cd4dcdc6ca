//! Cost sheets on every basis, and side by side.

use domain::{materials::MaterialKind, packs::ComponentPer};
use kernel::{Dimension, Exact, Money, Quantity};
use proptest::prelude::*;

use super::{
    costing::assert_adds_up,
    differential::{plans, raw_code},
    fixtures::{House, day, dec, gbp, kg, percent, price, shown, today},
    ledger::Ledger,
};
use crate::{
    CostRequest, CostSheet, EngineError, Gap, Note, View,
    basis::{
        Basis, HistoryBook, StandardCost, bases_side_by_side, freeze_costs, materials_priced, price_on_basis,
    },
    cost_sheet, present,
};

fn exact(text: &str) -> Exact {
    Exact::from(dec(text))
}

/// A cleaner with a premix, bottled: acid and dye in the premix, acid and water in the cleaner. Everything is quoted at 9 so that a
/// quotation that crept in would show.
fn cleaner() -> House {
    let mut house = House::new();
    house.at_price("ACID", "9").at_price("DYE", "9").at_price("WATER", "0.01");
    house.material("WATER").kind = MaterialKind::Utility;
    let premix = house.formula("PREMIX", "percent", &["DYE 10 %", "ACID 90 %"]);
    premix.process_loss = percent("10");
    premix.usual_batch = kg("10");
    premix.cost_per_batch = Some(gbp("9"));
    house.formula("CLEANER", "percent", &["PREMIX 10 %", "ACID 20 %", "WATER q.s."]).usual_batch = kg("100");
    house.pack("CLEANER-1", "CLEANER", "1 kg");
    house.packed_with("BOTTLE", "1", ComponentPer::Unit, "9");
    house
}

fn shelf(house: &House) -> Ledger {
    let (acid, dye, bottle) = (house.id("ACID"), house.id("DYE"), house.id("BOTTLE"));
    let mut ledger = Ledger::default();
    ledger.receive(acid, "2026-02-01", "A1", "20 kg", Some("40"));
    ledger.receive(acid, "2026-03-01", "A2", "30 kg", Some("90"));
    ledger.take("2026-03-10", "A1", "10 kg");
    ledger.receive(acid, "2026-04-01", "A3", "40 kg", Some("160"));
    ledger.receive(dye, "2026-02-01", "D1", "5 kg", Some("200"));
    ledger.receive(bottle, "2026-02-01", "B1", "60 pcs", Some("30"));
    ledger.receive(bottle, "2026-03-01", "B2", "60 pcs", Some("36"));
    ledger.delivered_by("A3", house.parts.suppliers[0].id);
    ledger
}

fn ask(house: &House, book: &HistoryBook, request: &CostRequest) -> CostSheet {
    let catalogue = house.catalogue();
    cost_sheet(&View::plain(&catalogue).with_history(book), request).unwrap()
}

fn unit_cost(sheet: &CostSheet, code: &str) -> Option<Exact> {
    let named = |line: &&crate::cost::CostLine| line.material.as_ref().is_some_and(|m| m.code == code);
    let nested = sheet.lines.iter().flat_map(|line| &line.nested);
    sheet.lines.iter().chain(nested).find(named).unwrap().unit_cost.clone()
}

fn source(sheet: &CostSheet, code: &str) -> String {
    let named = |line: &&crate::cost::CostLine| line.material.as_ref().is_some_and(|m| m.code == code);
    let nested = sheet.lines.iter().flat_map(|line| &line.nested);
    sheet.lines.iter().chain(nested).find(named).unwrap().source.to_string()
}

fn notes(sheet: &CostSheet) -> Vec<&'static str> {
    sheet.notes.iter().map(Note::code).filter(|code| !code.starts_with("NO_")).collect()
}

/// Ten kilograms of premix take 10 / 0.9 of what goes into it.
fn premix_cost(acid: &Exact, dye: &Exact) -> Exact {
    (&(acid * &exact("0.9") + dye * &exact("0.1")) + &exact("0.9")).checked_div(&exact("0.9")).unwrap()
}

#[test]
fn each_basis_prices_what_is_bought_from_what_was_received() {
    let house = cleaner();
    let book = shelf(&house).book();
    let pack = CostRequest::pack(house.pack_id("CLEANER-1"), today());
    let check = |basis: Basis, acid: Exact, dye: &str, bottle: Exact| {
        let sheet = ask(&house, &book, &pack.on_basis(basis));
        assert!(sheet.complete, "{:?}", sheet.gaps);
        assert_eq!(sheet.basis, basis);
        assert_eq!(unit_cost(&sheet, "ACID"), Some(acid.clone()), "{basis}");
        assert_eq!(unit_cost(&sheet, "DYE"), Some(exact(dye)), "{basis}");
        assert_eq!(unit_cost(&sheet, "BOTTLE"), Some(bottle.clone()), "{basis}");
        assert_eq!(unit_cost(&sheet, "WATER"), Some(exact("0.01")), "{basis}");
        assert_eq!(unit_cost(&sheet, "PREMIX"), Some(premix_cost(&acid, &exact(dye))), "{basis}");
        let per_batch = premix_cost(&acid, &exact(dye)) * exact("10")
            + acid * exact("20")
            + exact("0.7")
            + bottle * exact("100");
        assert_eq!(sheet.totals.per_batch, per_batch, "{basis}");
        assert_adds_up(&present::cost_sheet(&sheet).unwrap());
        sheet
    };

    let sheet = check(Basis::Replacement, exact("9"), "9", exact("9"));
    assert_eq!(notes(&sheet), Vec::<&str>::new());

    let sheet = check(Basis::LastPurchase, exact("4"), "40", exact("0.6"));
    assert_eq!(
        source(&sheet, "ACID"),
        "last purchase: lot A3 of Supplier S1 of 2026-04-01, 40 kg for 160 GBP"
    );
    assert_eq!(source(&sheet, "DYE"), "last purchase: lot D1 of 2026-02-01, 5 kg for 200 GBP");
    assert_eq!(notes(&sheet), ["NOT_STOCKED"]);
    assert!(sheet.notes.iter().any(|note| note.to_string()
        == "WATER (water) is drawn, not stocked, so it has no last purchase cost; its quotation was used"));

    // 50 kg worth 130 less 10 of them is 40 kg worth 104; with 40 more for 160 it is 80 kg worth 264.
    let sheet = check(Basis::MovingAverage, exact("3.3"), "40", exact("0.55"));
    assert_eq!(source(&sheet, "ACID"), "moving average of 3 receipts: 80 kg worth 264 GBP on 2026-06-15");

    // The batch takes 20 kg, and 10 / 0.9 × 0.9 = 10 kg for the premix: 10 of the first lot at 2 and 20 of the second at 3.
    let acid = exact("80").checked_div(&exact("30")).unwrap();
    let sheet = check(Basis::Fifo, acid, "40", exact("54").checked_div(&exact("100")).unwrap());
    assert_eq!(
        source(&sheet, "ACID"),
        "first in, first out for 30 kg: 10 kg of lot A1 of 2026-02-01 for 20 GBP, \
         20 kg of lot A2 of 2026-03-01 for 60 GBP"
    );
    assert_eq!(
        source(&sheet, "BOTTLE"),
        "first in, first out for 100 pcs: 60 pcs of lot B1 of 2026-02-01 for 30 GBP, \
         40 pcs of lot B2 of 2026-03-01 for 24 GBP"
    );
    assert_eq!(notes(&sheet), ["NOT_STOCKED"]);
}

/// Asked as of an earlier day, only what had come in by then counts.
#[test]
fn as_of_an_earlier_day() {
    let house = cleaner();
    let book = shelf(&house).book();
    let on = |date: &str, basis: Basis| {
        let request = CostRequest::version(house.version_id("CLEANER"), day(date)).on_basis(basis);
        ask(&house, &book, &request)
    };
    assert_eq!(unit_cost(&on("2026-02-01", Basis::LastPurchase), "ACID"), Some(exact("2")));
    assert_eq!(unit_cost(&on("2026-03-31", Basis::LastPurchase), "ACID"), Some(exact("3")));
    assert_eq!(unit_cost(&on("2026-03-01", Basis::MovingAverage), "ACID"), Some(exact("2.6")));
    assert_eq!(unit_cost(&on("2026-03-31", Basis::MovingAverage), "ACID"), Some(exact("2.6")));
    // Before anything came in there is nothing to say, and nothing is made up.
    let sheet = on("2026-01-31", Basis::Fifo);
    assert!(!sheet.complete);
    let gaps: Vec<String> = sheet.gaps.iter().map(ToString::to_string).collect();
    assert_eq!(
        gaps,
        [
            "nothing of DYE (dye) was bought by 2026-01-31, so it has no FIFO cost",
            "nothing of ACID (acid) was bought by 2026-01-31, so it has no FIFO cost",
        ]
    );
}

#[test]
fn a_batch_larger_than_the_shelf_says_so() {
    let house = cleaner();
    let book = shelf(&house).book();
    let request = CostRequest::version(house.version_id("CLEANER"), today()).on_basis(Basis::Fifo);
    // 300 kg take 90 kg of acid, and 80 are there: 10 at 2, 30 at 3, 40 at 4; 10 more at the last price, 4.
    let sheet = ask(&house, &book, &request.at_batch(kg("300")));
    assert_eq!(unit_cost(&sheet, "ACID"), exact("310").checked_div(&exact("90")).ok());
    assert!(sheet.complete);
    assert_eq!(notes(&sheet), ["BEYOND_SHELF", "NOT_STOCKED"]);
    assert!(source(&sheet, "ACID").ends_with(
        "40 kg of lot A3 of 2026-04-01 for 160 GBP; 10 kg beyond what is there at 4 GBP per kg, \
         the last purchase: lot A3 of 2026-04-01"
    ));
    assert!(sheet.notes.iter().any(|note| note.to_string()
        == "10 kg of ACID (acid) are needed beyond what is there; that part was costed as the last purchase"));
}

#[test]
fn an_empty_shelf_is_costed_as_it_last_was_and_says_so() {
    let mut house = House::new();
    house.formula("F", "percent", &["OIL 100 %"]);
    let oil = house.id("OIL");
    let mut ledger = Ledger::default();
    ledger.receive(oil, "2026-02-01", "O1", "10 kg", Some("20"));
    ledger.receive(oil, "2026-02-02", "O2", "10 kg", Some("40"));
    ledger.take("2026-03-01", "O1", "10 kg");
    ledger.take("2026-03-02", "O2", "10 kg");
    let book = ledger.book();
    let request = CostRequest::version(house.version_id("F"), today());
    let average = ask(&house, &book, &request.on_basis(Basis::MovingAverage));
    assert_eq!(unit_cost(&average, "OIL"), Some(exact("3")));
    assert_eq!(source(&average, "OIL"), "moving average at which the last of it left on 2026-03-02");
    assert_eq!(notes(&average), ["AVERAGE_RAN_OUT"]);
    let fifo = ask(&house, &book, &request.on_basis(Basis::Fifo));
    assert_eq!(unit_cost(&fifo, "OIL"), Some(exact("4")));
    assert_eq!(notes(&fifo), ["BEYOND_SHELF"]);
    // What a count finds afterwards does not make the oil free.
    ledger.find("2026-03-05", "O2", "1 kg");
    let book = ledger.book();
    for (basis, cost) in [(Basis::MovingAverage, "3"), (Basis::Fifo, "4")] {
        assert_eq!(unit_cost(&ask(&house, &book, &request.on_basis(basis)), "OIL"), Some(exact(cost)));
    }
}

#[test]
fn a_lot_without_a_value_is_a_gap_where_it_matters() {
    let house = cleaner();
    let mut ledger = shelf(&house);
    ledger.receive(house.id("ACID"), "2026-05-01", "A4", "100 kg", None);
    let book = ledger.book();
    let request = CostRequest::version(house.version_id("CLEANER"), today());
    let average = ask(&house, &book, &request.on_basis(Basis::MovingAverage));
    assert!(!average.complete && unit_cost(&average, "ACID").is_none());
    assert_eq!(
        average.gaps.iter().map(ToString::to_string).collect::<Vec<_>>(),
        ["ACID (acid) has no moving average cost, for a lot of it came without a value: A4"]
    );
    // The batch is made from older lots; a larger one is not.
    assert!(ask(&house, &book, &request.on_basis(Basis::Fifo)).complete);
    let large = ask(&house, &book, &request.on_basis(Basis::Fifo).at_batch(kg("300")));
    assert_eq!(large.gaps.iter().map(Gap::code).collect::<Vec<_>>(), ["NO_LOT_VALUE"]);
    let last = ask(&house, &book, &request.on_basis(Basis::LastPurchase));
    assert!(last.complete);
    assert_eq!(notes(&last), ["LATER_LOTS_UNVALUED", "NOT_STOCKED"]);
    assert!(source(&last, "ACID").ends_with("; what came later has no value yet: A4"));
    // Only lots without a value: a gap on every basis that rests on receipts.
    let mut ledger = Ledger::default();
    ledger.receive(house.id("ACID"), "2026-05-01", "A4", "100 kg", None);
    let book = ledger.book();
    for basis in [Basis::LastPurchase, Basis::MovingAverage, Basis::Fifo] {
        let sheet = ask(&house, &book, &request.on_basis(basis));
        let codes: Vec<_> = sheet.gaps.iter().map(Gap::code).collect();
        assert_eq!(codes, ["NO_HISTORY", "NO_LOT_VALUE"], "{basis}");
    }
}

/// Without a history there is nothing to fall back on, however well a material is quoted; and replacement does not look at one.
#[test]
fn nothing_is_fallen_back_on() {
    let house = cleaner();
    let catalogue = house.catalogue();
    let pack = CostRequest::pack(house.pack_id("CLEANER-1"), today());
    let empty = HistoryBook::default();
    for basis in [Basis::LastPurchase, Basis::MovingAverage, Basis::Fifo, Basis::Standard] {
        for view in [View::plain(&catalogue), View::plain(&catalogue).with_history(&empty)] {
            let sheet = cost_sheet(&view, &pack.on_basis(basis)).unwrap();
            let codes: Vec<_> = sheet.gaps.iter().map(Gap::code).collect();
            let code = if basis == Basis::Standard { "NO_STANDARD" } else { "NO_HISTORY" };
            assert_eq!(codes, [code; 3], "{basis}");
            assert!(sheet.gaps.iter().all(|gap| gap.material().is_some()));
            assert!(sheet.margin.is_none());
        }
    }
    let book = shelf(&house).book();
    assert_eq!(
        cost_sheet(&View::plain(&catalogue), &pack).unwrap(),
        cost_sheet(&View::plain(&catalogue).with_history(&book), &pack).unwrap()
    );
}

#[test]
fn a_standard_is_frozen_with_where_it_came_from() {
    let house = cleaner();
    let mut book = shelf(&house).book();
    let catalogue = house.catalogue();
    let pack = CostRequest::pack(house.pack_id("CLEANER-1"), today()).on_basis(Basis::Standard);
    let priced = materials_priced(&View::plain(&catalogue), &pack).unwrap();
    let codes: Vec<_> = priced.iter().map(|id| catalogue.materials.get(*id).unwrap().code.as_str()).collect();
    assert_eq!(codes, ["DYE", "ACID", "BOTTLE"]);

    let frozen = {
        let view = View::plain(&catalogue).with_history(&book);
        let wanted = || priced.iter().map(|id| (*id, Exact::ONE));
        freeze_costs(&view, wanted(), Basis::MovingAverage, day("2026-04-01")).unwrap()
    };
    assert_eq!(frozen.gaps, []);
    for (material, standard) in frozen.costs {
        book.set_standard(material, standard);
    }
    // A later one does not touch what is asked as of before it, and takes the place of one of its own day.
    for agreed in ["7 GBP", "5 GBP"] {
        let standard = StandardCost {
            frozen_on: day("2026-06-01"),
            unit_cost: price(agreed),
            basis: Basis::Replacement,
            explained: "agreed".to_owned(),
        };
        let text = serde_json::to_string(&standard).unwrap();
        book.set_standard(house.id("ACID"), serde_json::from_str(&text).unwrap());
    }
    let sheet = ask(&house, &book, &pack);
    assert!(sheet.complete);
    assert_eq!(unit_cost(&sheet, "ACID"), Some(exact("5")));
    assert_eq!(
        source(&sheet, "DYE"),
        "standard of 2026-04-01: 40 GBP per kg, frozen from the moving average cost then \
         (moving average of 1 receipt: 5 kg worth 200 GBP on 2026-04-01)"
    );
    let earlier = ask(&house, &book, &CostRequest { as_of: day("2026-05-31"), ..pack });
    assert_eq!(unit_cost(&earlier, "ACID"), Some(exact("3.3")));
    let before = ask(&house, &book, &CostRequest { as_of: day("2026-03-31"), ..pack });
    assert_eq!(before.gaps.len(), 3);
    // What has no cost to freeze is named.
    let catalogue = house.catalogue();
    let early = freeze_costs(
        &View::plain(&catalogue).with_history(&book),
        [(house.id("ACID"), Exact::ONE)],
        Basis::Fifo,
        day("2026-01-01"),
    );
    assert_eq!(early.unwrap().gaps.iter().map(Gap::code).collect::<Vec<_>>(), ["NO_HISTORY"]);
    // A utility may have a standard, though it has no lots.
    let tap = StandardCost {
        frozen_on: day("2026-01-01"),
        unit_cost: price("0.02 GBP"),
        basis: Basis::Replacement,
        explained: "agreed".to_owned(),
    };
    book.set_standard(house.id("WATER"), tap);
    assert_eq!(unit_cost(&ask(&house, &book, &pack), "WATER"), Some(exact("0.02")));
}

/// A standard is rounded once, when it is frozen: to what a price is kept to, half to even.
#[test]
fn a_frozen_cost_is_a_price_that_can_be_kept() {
    let mut house = House::new();
    let oil = house.material("OIL").id;
    let mut ledger = Ledger::default();
    ledger.receive(oil, "2026-02-01", "O1", "3 kg", Some("1"));
    let book = ledger.book();
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue).with_history(&book);
    let frozen = freeze_costs(&view, [(oil, Exact::ONE)], Basis::LastPurchase, today()).unwrap();
    assert_eq!(frozen.costs[0].1.unit_cost, price("0.33333333 GBP"));
    let unrounded =
        price_on_basis(&view, catalogue.materials.get(oil).unwrap(), Basis::Fifo, &Exact::ONE, today());
    assert_eq!(unrounded.unwrap().unwrap().per_unit, Exact::ratio(1, 3).unwrap());
}

#[test]
fn bases_beside_each_other_add_up_on_each() {
    let house = cleaner();
    let mut book = shelf(&house).book();
    book.set_standard(
        house.id("ACID"),
        StandardCost {
            frozen_on: day("2026-01-01"),
            unit_cost: price("2.5 GBP"),
            basis: Basis::Replacement,
            explained: "budget".to_owned(),
        },
    );
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue).with_history(&book);
    let request = CostRequest::pack(house.pack_id("CLEANER-1"), today());
    let beside = bases_side_by_side(&view, &request, &Basis::ALL).unwrap();
    assert_eq!(beside.sheets.iter().map(|sheet| sheet.basis).collect::<Vec<_>>(), Basis::ALL);
    let codes = |lines: &[crate::basis::BasisLine]| -> Vec<String> {
        lines
            .iter()
            .map(|line| {
                line.material.as_ref().map_or_else(|| line.kind.words().to_owned(), |m| m.code.clone())
            })
            .collect()
    };
    assert_eq!(codes(&beside.lines), ["PREMIX", "ACID", "WATER", "BOTTLE"]);
    assert_eq!(codes(&beside.lines[0].nested), ["DYE", "ACID", "cost per batch"]);
    for (at, sheet) in beside.sheets.iter().enumerate() {
        let sum: Exact = beside.lines.iter().filter_map(|line| line.cells[at].value.clone()).sum();
        assert_eq!(sum, sheet.totals.per_batch, "{}", sheet.basis);
        let premix = &beside.lines[0];
        let nested: Exact = premix.nested.iter().filter_map(|line| line.cells[at].value.clone()).sum();
        assert_eq!(Some(nested), premix.cells[at].value, "{}", sheet.basis);
    }
    let acid = &beside.lines[1];
    assert_eq!(acid.amount, Some(exact("20")));
    let unit_costs: Vec<_> =
        acid.cells.iter().map(|cell| shown(cell.unit_cost.as_ref().unwrap(), 4)).collect();
    assert_eq!(unit_costs, ["9.0000", "4.0000", "3.3000", "2.6667", "2.5000"]);
    // No standard of the dye: its cell, its premix and that sheet say so, the others do not.
    let partial: Vec<_> = beside.lines[0].cells.iter().map(|cell| cell.partial).collect();
    assert_eq!(partial, [false, false, false, false, true]);
    assert_eq!(beside.lines[0].nested[0].cells[4].value, None);
    assert_eq!(
        beside.sheets.iter().map(|sheet| sheet.complete).collect::<Vec<_>>(),
        partial.iter().map(|p| !p).collect::<Vec<_>>()
    );

    let printed = beside.printed().unwrap();
    for (at, sheet) in printed.sheets.iter().enumerate() {
        let sum: rust_decimal::Decimal = printed.lines.iter().filter_map(|line| line.cells[at].value).sum();
        assert_eq!(sum, sheet.totals.per_batch);
        assert_adds_up(sheet);
    }
    assert_eq!(printed.sheets[2].basis, "MOVING_AVERAGE");
    let json = serde_json::to_value(&printed).unwrap();
    assert_eq!(json["lines"][1]["cells"][3]["source_kind"], "FIFO");
    assert_eq!(json["lines"][1]["cells"][3]["unit_cost"], "2.666667");
    assert!(bases_side_by_side(&view, &request, &[]).unwrap().lines.is_empty());
}

/// The same material on two lines stands once beside itself.
#[test]
fn lines_of_one_material_stand_together() {
    let mut house = House::new();
    house.at_price("OIL", "1").at_price("WAX", "2");
    house.formula("F", "percent", &["OIL 30 %", "WAX 50 %", "OIL 20 %"]);
    let catalogue = house.catalogue();
    let request = CostRequest::version(house.version_id("F"), today());
    let beside = bases_side_by_side(&View::plain(&catalogue), &request, &[Basis::Replacement]).unwrap();
    assert_eq!(beside.lines.len(), 2);
    assert_eq!(beside.lines[0].amount, Some(exact("50")));
    assert_eq!(beside.lines[0].cells[0].value, Some(exact("50")));
}

/// Stock in another currency than the house's cannot be: it is an error, not a figure.
#[test]
fn a_history_in_another_currency_is_refused() {
    let mut house = House::new();
    house.formula("F", "percent", &["OIL 100 %"]);
    let mut ledger = Ledger::default();
    ledger.receive(house.id("OIL"), "2026-02-01", "O1", "3 kg", Some("1"));
    let book = ledger.book();
    house.settings.currency = kernel::Currency::EUR;
    let catalogue = house.catalogue();
    let request = CostRequest::version(house.version_id("F"), today()).on_basis(Basis::Fifo);
    let refused = cost_sheet(&View::plain(&catalogue).with_history(&book), &request).unwrap_err();
    assert!(matches!(refused, EngineError::Amount(kernel::AmountError::CurrencyMismatch(..))));
}

#[test]
fn bases_as_people_write_them() {
    for basis in Basis::ALL {
        for text in [basis.words(), basis.code()] {
            assert_eq!(text.parse::<Basis>(), Ok(basis));
        }
        let json = serde_json::to_string(&basis).unwrap();
        assert_eq!(serde_json::from_str::<Basis>(&json).unwrap(), basis);
        assert_eq!(json.trim_matches('"').parse::<Basis>(), Ok(basis));
    }
    assert_eq!(
        "LIFO".parse::<Basis>().unwrap_err().to_string(),
        "“LIFO” is not a basis (use replacement, last purchase, moving average, FIFO or standard)"
    );
    assert_eq!(Basis::default(), Basis::Replacement);
}

/// An average over years of odd weights is a fraction too long to add up with others. On a sheet its value is taken to a millionth of
/// a millionth of what money is kept to; the history still has it exactly.
#[test]
fn a_long_running_average_stays_handy() {
    let mut house = House::new();
    house.formula("F", "percent", &["OIL 100 %"]);
    let oil = house.id("OIL");
    let mut ledger = Ledger::default();
    for at in 0..150_i64 {
        let on =
            day("2024-01-01").checked_add_days(chrono::Days::new(5 * at.unsigned_abs())).unwrap().to_string();
        let amount = Quantity::from_raw(200_000_000_000 + 7_919 * at, Dimension::Mass);
        let value = Money::from_micros(300_000_000 + 104_729 * at * at, kernel::Currency::GBP);
        ledger.bring(oil, &on, &format!("O{at}"), amount, Some(value));
        ledger.take_raw(&on, &format!("O{at}"), 190_000_000_000 + 15_485_863 * at);
    }
    let book = ledger.book();
    let request = CostRequest::version(house.version_id("F"), today()).on_basis(Basis::MovingAverage);
    let on_sheet = unit_cost(&ask(&house, &book, &request), "OIL").unwrap();
    let history = book.history(oil).unwrap();
    let exactly = history.moving_average(today()).unit_cost().unwrap();
    assert!(format!("{exactly:?}").len() > 1_000 && format!("{on_sheet:?}").len() < 100);
    assert!((&exactly - &on_sheet).abs() < Exact::scaled(1, 18));
    assert_eq!(history.moving_average(today()).receipts(), 150);
    assert!(source(&ask(&house, &book, &request), "OIL").starts_with("moving average of 150 receipts: "));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// Where everything was bought at what it is quoted at, every basis says what replacement says, through three levels.
    #[test]
    fn prices_that_never_moved_are_the_same_on_every_basis(mut plans in plans(), lots in 1_i64..4) {
        for price in &mut plans.prices {
            *price = (*price).max(1);
        }
        plans.fill.2 = plans.fill.2.max(1);
        let house = plans.house();
        let mut ledger = Ledger::default();
        let mut receive = |code: &str, price: Exact, dimension: Dimension| {
            for at in 0..lots {
                let amount = Quantity::from_exact_half_even(&Exact::whole(1000 + 37 * i128::from(at)), dimension).unwrap();
                let value = Money::from_exact_half_even(&(&price * &amount.to_exact()), kernel::Currency::GBP).unwrap();
                let number = format!("{code}-{at}");
                ledger.bring(house.id(code), &format!("2026-0{}-01", at + 1), &number, amount, Some(value));
                ledger.take(&format!("2026-0{}-02", at + 1), &number, if dimension == Dimension::Mass { "123.4 kg" } else { "123 pcs" });
            }
        };
        for (at, price) in plans.prices.iter().enumerate() {
            receive(&raw_code(at), Exact::scaled(i128::from(*price), 4), Dimension::Mass);
        }
        receive("BOTTLE", Exact::scaled(i128::from(plans.fill.2), 2), Dimension::Count);
        receive("BOX", exact("0.55"), Dimension::Count);
        let mut book = ledger.book();
        let catalogue = house.catalogue();
        let request = CostRequest::pack(house.pack_id("P"), today());
        let priced = materials_priced(&View::plain(&catalogue), &request).unwrap();
        let wanted = priced.iter().map(|id| (*id, Exact::ONE));
        let frozen = freeze_costs(&View::plain(&catalogue), wanted, Basis::Replacement, today()).unwrap();
        for (material, standard) in frozen.costs {
            book.set_standard(material, standard);
        }
        let view = View::plain(&catalogue).with_history(&book);
        let beside = bases_side_by_side(&view, &request, &Basis::ALL).unwrap();
        for sheet in &beside.sheets {
            prop_assert!(sheet.complete, "{}: {:?}", sheet.basis, sheet.gaps);
            prop_assert_eq!(&sheet.totals, &beside.sheets[0].totals, "{}", sheet.basis);
        }
        for line in &beside.lines {
            prop_assert!(line.cells.iter().all(|cell| cell.value == line.cells[0].value));
        }
    }
}
