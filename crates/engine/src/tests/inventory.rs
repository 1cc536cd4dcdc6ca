//! Published cases of inventory cost flow. Methods that last in first out stands for are not offered (IAS 2 paragraph 25 allows first
//! in first out and the weighted average only), so the sources' columns of it are left out.

use kernel::{Exact, Quantity, ids::MaterialId};

use super::{
    fixtures::{day, dec, gbp, shown},
    ledger::Ledger,
};
use crate::basis::{CostAndRealisable, Issue, Periodic, lower_of_cost_and_realisable, material_carried_at};

fn exact(text: &str) -> Exact {
    Exact::from(dec(text))
}

fn ratio(numerator: i128, denominator: i128) -> Exact {
    Exact::ratio(numerator, denominator).unwrap()
}

/// Layers of units at a unit cost, then so many units taken out, physically the oldest first.
fn pieces(layers: &[(i64, &str)], sold: i64) -> Ledger {
    let material = MaterialId::new();
    let mut ledger = Ledger::default();
    for (at, (units, unit_cost)) in layers.iter().enumerate() {
        let value = exact(unit_cost) * Exact::from(*units);
        let value = value.to_decimal_exactly().unwrap().to_string();
        let (on, number) = (format!("2026-01-{:02}", at + 1), format!("L{}", at + 1));
        ledger.receive(material, &on, &number, &format!("{units} pcs"), Some(&value));
    }
    let mut wanted = sold;
    for (at, (units, _)) in layers.iter().enumerate() {
        let taken = wanted.min(*units);
        if taken > 0 {
            ledger.take("2026-01-31", &format!("L{}", at + 1), &format!("{taken} pcs"));
        }
        wanted -= taken;
    }
    ledger
}

fn costs(issues: &[Issue]) -> Vec<Exact> {
    issues.iter().map(|issue| issue.cost.clone().unwrap()).collect()
}

/// Periodic first in first out and weighted average at the end of January, with what is really there counted.
fn periodic(ledger: &Ledger) -> (Periodic, Periodic) {
    let history = ledger.history();
    let end = day("2026-01-31");
    let counted = history.on_hand(end);
    (history.fifo_periodic(end, &counted).unwrap(), history.weighted_average_periodic(end, &counted).unwrap())
}

/// OpenStax, Principles of Accounting 1, section 10.1: 150 at 21; 120 sold; 225 at 27; 180 sold; 210 at 33; 285 left. Sales 11,340.
/// The lots sales are taken from are those of the source's specific identification.
fn trackers() -> Ledger {
    let material = MaterialId::new();
    let mut ledger = Ledger::default();
    ledger.receive(material, "2026-07-01", "L1", "150 pcs", Some("3150"));
    ledger.take("2026-07-05", "L1", "120 pcs");
    ledger.receive(material, "2026-07-10", "L2", "225 pcs", Some("6075"));
    ledger.take("2026-07-15", "L1", "20 pcs");
    ledger.take("2026-07-15", "L2", "160 pcs");
    ledger.receive(material, "2026-07-25", "L3", "210 pcs", Some("6930"));
    ledger
}

/// OpenStax, Principles of Accounting 1, section 10.2 (periodic). The book rounds the average to 27.62 before it multiplies and prints
/// 8,283 and 7,872; exactly it is 8,284.615385 and 7,870.384615. It also prints the adjustment of FIFO as 5,895 where 8,955 − 3,150
/// is 5,805.
#[test]
fn trackers_periodic() {
    let ledger = trackers();
    let history = ledger.history();
    let end = day("2026-07-31");
    let counted = history.on_hand(end);
    assert_eq!(counted, exact("285"));
    let gross = |periodic: &Periodic| exact("11340") - periodic.issued_value();

    let fifo = history.fifo_periodic(end, &counted).unwrap();
    assert_eq!((fifo.available.clone(), fifo.available_value.clone()), (exact("585"), exact("16155")));
    assert_eq!((fifo.issued_value(), fifo.left_value.clone()), (exact("7200"), exact("8955")));
    assert_eq!(gross(&fifo), exact("4140"));
    assert_eq!(&fifo.left_value - &exact("3150"), exact("5805"));

    let average = history.weighted_average_periodic(end, &counted).unwrap();
    assert_eq!(average.issued_value(), ratio(16_155 * 300, 585));
    assert_eq!(shown(&average.issued_value(), 6), "8284.615385");
    assert_eq!(shown(&average.left_value, 6), "7870.384615");
    assert_eq!(average.issued_value() + &average.left_value, exact("16155"));

    // Specific identification is what the ledger keeps by lot.
    assert_eq!(ledger.worth(), exact("8895"));
    assert_eq!(ledger.taken_at_lot_cost().iter().sum::<Exact>(), exact("7260"));
}

/// OpenStax, Principles of Accounting 1, section 10.3 (perpetual). Of the moving average the book prints 4,732 in the text and 4,733
/// in the table, rounding it to 26.29 and 31.24; exactly it is 6,705/255 and then 8,902.058824 over 285. A line of the FIFO figure is
/// printed as 360 where 30 at 21 is 630, and its total as 8,895 where it is 8,955.
#[test]
fn trackers_perpetual() {
    let ledger = trackers();
    assert_eq!(ledger.taken_at_lot_cost(), [exact("2520"), exact("420"), exact("4320")]);
    let history = ledger.history();
    let end = day("2026-07-31");

    let fifo = history.fifo(end);
    // The second sale is two movements here, of two lots: 20 at 21, then 10 at 21 and 150 at 27.
    assert_eq!(costs(&fifo.issues()), [exact("2520"), exact("420"), exact("4260")]);
    assert_eq!(fifo.value_left(), Some(exact("8955")));
    let layers = fifo.layers();
    let shown_layers: Vec<_> = layers
        .iter()
        .map(|layer| (layer.lot.number.as_str(), layer.quantity.clone(), layer.value.clone().unwrap()))
        .collect();
    assert_eq!(shown_layers, [("L2", exact("75"), exact("2025")), ("L3", exact("210"), exact("6930"))]);

    let average_on = |on: &str| history.moving_average(day(on)).unit_cost().unwrap();
    assert_eq!(average_on("2026-07-05"), exact("21"));
    assert_eq!(average_on("2026-07-10"), ratio(6_705, 255));
    assert_eq!(average_on("2026-07-24"), ratio(6_705, 255), "what goes out leaves the average as it is");
    let average = history.moving_average(end);
    let second_sale = ratio(6_705 * 180, 255);
    let sold = costs(&average.issues());
    assert_eq!(sold.first(), Some(&exact("2520")));
    assert_eq!(&sold[1] + &sold[2], second_sale);
    assert_eq!(shown(&second_sale, 6), "4732.941176");
    assert_eq!(shown(&sold.iter().sum(), 6), "7252.941176");
    assert_eq!(shown(&average.value(), 6), "8902.058824");
    assert_eq!(shown(&average.unit_cost().unwrap(), 9), "31.235294118");
    assert_eq!(sold.iter().sum::<Exact>() + average.value(), exact("16155"));
    assert_eq!(shown(&(exact("11340") - sold.iter().sum::<Exact>()), 6), "4087.058824");
    assert_eq!((average.quantity(), average.receipts()), (exact("285"), 3));

    // Averages differ between the systems; first in, first out does not.
    let counted = history.on_hand(end);
    assert_ne!(history.weighted_average_periodic(end, &counted).unwrap().left_value, average.value());
    assert_eq!(Some(history.fifo_periodic(end, &counted).unwrap().left_value), fifo.value_left());
}

/// A worked answer of an exercise on justaaa.com, whose averages have no remainder: 30,000 at 30; 24,000 sold; 54,000 at 31; 45,000
/// sold; 21,000 at 32.10. Its first in, first out is worked out here.
#[test]
fn moving_average_of_large_numbers() {
    let material = MaterialId::new();
    let mut ledger = Ledger::default();
    ledger.receive(material, "2026-01-01", "L1", "30000 pcs", Some("900000"));
    ledger.take("2026-02-01", "L1", "24000 pcs");
    ledger.receive(material, "2026-03-01", "L2", "54000 pcs", Some("1674000"));
    ledger.take("2026-04-01", "L1", "6000 pcs");
    ledger.take("2026-04-01", "L2", "39000 pcs");
    ledger.receive(material, "2026-05-01", "L3", "21000 pcs", Some("674100"));
    let history = ledger.history();
    let average = |on: &str| history.moving_average(day(on)).unit_cost().unwrap().to_decimal_exactly();
    assert_eq!(average("2026-02-28"), Some(dec("30")));
    assert_eq!(average("2026-03-01"), Some(dec("30.90")));
    assert_eq!(average("2026-05-01"), Some(dec("31.60")));
    let flow = history.moving_average(day("2026-05-31"));
    let sold = costs(&flow.issues());
    assert_eq!((&sold[0], &sold[1] + &sold[2]), (&exact("720000"), exact("1390500")));
    assert_eq!(sold.iter().sum::<Exact>(), exact("2110500"));
    assert_eq!((flow.quantity(), flow.value()), (exact("36000"), exact("1137600")));
    let fifo = history.fifo(day("2026-05-31"));
    assert_eq!(costs(&fifo.issues()).iter().sum::<Exact>(), exact("2109000"));
    assert_eq!(fifo.value_left(), Some(exact("1139100")));
}

/// OpenStax, Principles of Accounting 1, chapter 10 (inputs of the exercises printed there, answers worked out).
#[test]
fn periodic_exercises() {
    let check = |layers: &[(i64, &str)], left: i64, fifo: (&str, &str), average: (&str, &str)| {
        let sold = layers.iter().map(|(units, _)| units).sum::<i64>() - left;
        let ledger = pieces(layers, sold);
        let (by_fifo, by_average) = periodic(&ledger);
        assert_eq!((by_fifo.issued_value(), by_fifo.left_value.clone()), (exact(fifo.0), exact(fifo.1)));
        assert_eq!(shown(&by_average.issued_value(), 6), average.0);
        assert_eq!(shown(&by_average.left_value, 6), average.1);
        for periodic in [by_fifo, by_average] {
            assert_eq!(periodic.issued_value() + &periodic.left_value, periodic.available_value);
            assert_eq!((periodic.issued(), periodic.left), (Exact::from(sold), Exact::from(left)));
        }
        let perpetual = ledger.history();
        let perpetual = perpetual.fifo(day("2026-01-31"));
        assert_eq!(perpetual.value_left(), Some(exact(fifo.1)));
    };
    check(&[(150, "10"), (160, "12"), (130, "15")], 50, ("4620", "750"), ("4759.772727", "610.227273"));
    check(
        &[(1050, "22"), (1020, "23"), (1300, "26"), (1200, "27")],
        900,
        ("88460", "24300"),
        ("90553.435449", "22206.564551"),
    );
    check(&[(880, "35"), (750, "40"), (800, "43")], 110, ("90470", "4730"), ("90890.534979", "4309.465021"));
}

/// The example in the documentation of `cogs()` of the R package FinCal 0.6.3: begin with 2 at 2, buy 3 at 3 and 5 at 5, sell 7.
#[test]
fn a_librarys_example() {
    let (fifo, average) = periodic(&pieces(&[(2, "2"), (3, "3"), (5, "5")], 7));
    assert_eq!((fifo.issued_value(), fifo.left_value), (exact("23"), exact("15")));
    assert_eq!(average.issued_value().to_decimal_exactly(), Some(dec("26.6")));
    assert_eq!(average.left_value.to_decimal_exactly(), Some(dec("11.4")));
}

/// OpenStax, Principles of Accounting 1, section 10.1, exercise A3 (inputs printed there, answer worked out): item by item 922; over
/// the whole stock it would be 932, since the gain on one item would hide the loss on another.
#[test]
fn lower_of_cost_and_market_item_by_item() {
    let item = |quantity: &str, cost: &str, market: &str| CostAndRealisable {
        quantity: exact(quantity),
        unit_cost: exact(cost),
        unit_realisable: exact(market),
    };
    let items = [item("10", "36", "35"), item("25", "20", "20"), item("12", "6", "8")];
    let written_down = lower_of_cost_and_realisable(&items);
    assert_eq!(written_down.items, [exact("350"), exact("500"), exact("72")]);
    assert_eq!((written_down.cost, written_down.carried), (exact("932"), exact("922")));
    assert_eq!(written_down.write_down, exact("10"));
    let pooled = lower_of_cost_and_realisable(&[item("1", "932", "946")]);
    assert_eq!(pooled.carried, exact("932"));
    // What recovers is written up again, never above cost (IAS 2 paragraph 33).
    let recovered = lower_of_cost_and_realisable(&[item("10", "36", "35.50"), item("10", "36", "40")]);
    assert_eq!(recovered.items, [exact("355"), exact("360")]);
}

/// IAS 2 paragraph 32: a raw material whose replacement cost has fallen stays at cost while the product sells at or above its own.
#[test]
fn a_raw_material_is_written_down_only_with_its_product() {
    let carried = |product_cost: &str, product_realisable: &str| {
        material_carried_at(&exact("10"), &exact("8"), &exact(product_cost), &exact(product_realisable))
    };
    assert_eq!(carried("50", "50"), exact("10"));
    assert_eq!(carried("50", "49.99"), exact("8"));
    assert_eq!(material_carried_at(&exact("10"), &exact("12"), &exact("50"), &exact("40")), exact("10"));
}

/// OpenStax, Principles of Accounting 1, section 10.4: what is left at the end of a year understated by 1,500 raises that year's cost of
/// sales from 7,200 to 8,700, turning a profit of 1,140 into a loss of 360, and lowers the next year's by as much.
#[test]
fn a_wrong_count_comes_right_in_the_next_period() {
    let history = trackers().history();
    let end = day("2026-07-31");
    let right = history.fifo_periodic(end, &history.on_hand(end)).unwrap();
    let wrong = Periodic { left_value: &right.left_value - &exact("1500"), ..right.clone() };
    assert_eq!((right.issued_value(), right.left_value.clone()), (exact("7200"), exact("8955")));
    assert_eq!((wrong.issued_value(), wrong.left_value.clone()), (exact("8700"), exact("7455")));
    let expenses = exact("3000");
    let income = |year: &Periodic| exact("11340") - year.issued_value() - &expenses;
    assert_eq!((income(&right), income(&wrong)), (exact("1140"), exact("-360")));

    // The next year opens with what was counted, buys 100 at 35, sells 300, and counts right.
    let next_year = |opening: &Exact| {
        let material = MaterialId::new();
        let mut ledger = Ledger::default();
        let opening = opening.to_decimal_exactly().unwrap().to_string();
        ledger.receive(material, "2027-01-01", "L1", "285 pcs", Some(&opening));
        ledger.receive(material, "2027-02-01", "L2", "100 pcs", Some("3500"));
        let history = ledger.history();
        history.fifo_periodic(day("2027-12-31"), &exact("85")).unwrap()
    };
    let (after_right, after_wrong) = (next_year(&right.left_value), next_year(&wrong.left_value));
    assert_eq!(&after_right.issued_value() - &after_wrong.issued_value(), exact("1500"));
    assert_eq!(after_right.left_value, after_wrong.left_value);
    assert_eq!(
        right.issued_value() + after_right.issued_value(),
        wrong.issued_value() + after_wrong.issued_value(),
    );
    // Fewer counted than there are does the same by itself: what is not found counts as sold.
    let fewer = history.fifo_periodic(end, &exact("210")).unwrap();
    assert_eq!(fewer.issued_value(), right.issued_value() + exact("2025"));
    assert_eq!(history.fifo_periodic(end, &exact("586")), None, "more than ever came in");
    assert_eq!(history.weighted_average_periodic(end, &exact("586")), None);
}

/// Three for 1: a value that has no end in decimals stays exact through any number of issues.
#[test]
fn nothing_is_lost_in_thirds() {
    let material = MaterialId::new();
    let mut ledger = Ledger::default();
    ledger.bring(
        material,
        "2026-01-01",
        "L1",
        Quantity::from_raw(3_000, kernel::Dimension::Count),
        Some(gbp("1")),
    );
    for at in 2..5 {
        ledger.take(&format!("2026-01-{at:02}"), "L1", "1 pcs");
    }
    let history = ledger.history();
    let flow = history.moving_average(day("2026-01-03"));
    assert_eq!(costs(&flow.issues()), [ratio(1, 3), ratio(1, 3)]);
    assert_eq!(flow.value(), ratio(1, 3));
    let flow = history.moving_average(day("2026-01-04"));
    assert_eq!((flow.quantity(), flow.value(), flow.unit_cost()), (Exact::ZERO, Exact::ZERO, None));
    assert_eq!(flow.ran_out().unwrap().unit_cost, ratio(1, 3));
}
