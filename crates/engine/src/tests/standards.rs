//! What IAS 2 has in the cost of what is on the shelf and what not, asked of the cost sheet; and a published process of two stages.

use domain::{
    making::{MakingCost, MakingCostAmount, MakingCostKind},
    quotations::{Charge, Deposit, Duty, DutyOn, Freight, FreightPer},
};
use kernel::{Exact, Percent, ids::MaterialId};

use super::{
    fixtures::{House, day, dec, gbp, kg, percent, price, today},
    ledger::Ledger,
};
use crate::{Basis, CostRequest, View, cost_sheet, price::landed_price, variance::loss_account};

fn exact(text: &str) -> Exact {
    Exact::from(dec(text))
}

/// IAS 2, paragraphs 10 and 11 (paraphrased): the cost of a purchase is its price, import duty, taxes that are not recovered,
/// transport, handling and other costs of getting it here, less trade discounts. A deposit that comes back is not among them, nor is
/// tax that is recovered: a quotation's price is without it, and there is no place to enter one. Figures: common practice, no source.
#[test]
fn what_is_in_the_cost_of_a_purchase() {
    let mut house = House::new();
    let quotation = house.quote("X", "100 kg", "2.00", "1 kg");
    let landed = |house: &House| {
        let catalogue = house.catalogue();
        let material = catalogue.materials.by_code("X").unwrap();
        let found = landed_price(&View::plain(&catalogue), material, &Exact::whole(100), today());
        found.unwrap().unwrap().per_unit.to_decimal_exactly().unwrap()
    };
    quotation.terms.discount = percent("5");
    assert_eq!(landed(&house), dec("1.9"), "a trade discount comes off");
    house.parts.quotations[0].freight = Some(Freight { amount: price("30"), per: FreightPer::Order });
    assert_eq!(landed(&house), dec("2.2"), "transport goes on");
    house.parts.quotations[0].terms.duty = Some(Duty { percent: percent("6.5"), on: DutyOn::Price });
    assert_eq!(landed(&house), dec("2.3235"), "import duty goes on");
    let handling = Charge { name: "handling".to_owned(), amount: price("12"), per: FreightPer::Order.into() };
    house.parts.quotations[0].terms.charges.push(handling);
    assert_eq!(landed(&house), dec("2.4435"), "handling goes on");
    house.parts.quotations[0].terms.deposit = Some(Deposit { amount: price("40"), forfeited: Percent::ZERO });
    assert_eq!(landed(&house), dec("2.4435"), "a deposit that is claimed back does not");
}

/// IAS 2, paragraph 16: abnormal waste is an expense. A batch that loses more than it should leaves the cost of a kilogram as it is.
/// Figures: common practice, no source.
#[test]
fn abnormal_waste_is_no_cost_of_the_product() {
    let account = |output: &str| {
        loss_account(&exact("1000"), &exact("100"), percent("5"), &Exact::ZERO, &exact(output)).unwrap()
    };
    let (usual, bad) = (account("95"), account("80"));
    assert_eq!(usual.unit_cost, bad.unit_cost);
    assert_eq!((usual.abnormal_value, usual.output_value), (Exact::ZERO, exact("1000")));
    assert_eq!(&bad.abnormal_value + &bad.output_value, exact("1000"));
    assert!(bad.abnormal_value.is_positive());
}

/// IAS 2, paragraph 25: first in first out or the weighted average; last in first out is not permitted and not offered.
#[test]
fn no_basis_is_last_in_first_out() {
    let names: Vec<String> = Basis::ALL.iter().map(|basis| basis.words().to_lowercase()).collect();
    assert!(names.iter().any(|name| name == "fifo") && names.iter().any(|name| name == "moving average"));
    assert!(!names.iter().any(|name| name.contains("lifo") || name.contains("last in")), "{names:?}");
}

/// OpenStax, Principles of Accounting 2, sections 5.3 and 5.4, a maker of drums. The first department finishes 7,500 of 8,700 units;
/// with what is unfinished counted by its degree of completion, material is 10,179 / 8,700 = 1.17 and conversion 22,176 / 7,920 = 2.80
/// a unit, so 29,775 go on. The second has 750 units in work (1,600 and 6,580), adds 2,000 and 22,100, finishes 6,500 and leaves
/// 1,750 of which 40 % are converted: 1.50 and 6.90 a unit, 54,600 finished and 7,455 in work.
///
/// Degrees of completion are none of ours, so equivalent units are put in as quantities: what one department costs is a cost sheet
/// that rolls up into the next, and its pools are moving averages of quantity and value.
#[test]
fn two_departments_in_a_row() {
    let per_batch = |amount: &str| MakingCost {
        name: "conversion".to_owned(),
        kind: MakingCostKind::Labour,
        amount: MakingCostAmount::PerBatch(gbp(amount)),
    };
    let mut house = House::new();
    house.at_price("WOOD", "1.17");
    let shells = house.formula("SHELL", "percent", &["WOOD 100 %"]);
    shells.usual_batch = kg("7500");
    shells.making.costs = vec![per_batch("21000")];
    house.formula("DRUM", "percent", &["SHELL 100 %"]).usual_batch = kg("7500");
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    let cost = |code: &str| {
        cost_sheet(&view, &CostRequest::version(house.version_id(code), today())).unwrap().totals
    };
    let first = cost("SHELL");
    assert_eq!(first.ingredients, exact("8775"));
    assert_eq!((first.per_batch, first.per_kg), (exact("29775"), exact("3.97")));
    assert_eq!(cost("DRUM").per_batch, exact("29775"), "what goes on comes in");

    // The pools of a department: equivalent units and what they cost, then what is finished taken out.
    let pool = |layers: &[(&str, &str)], finished: &str| {
        let material = MaterialId::new();
        let mut ledger = Ledger::default();
        for (at, (units, value)) in layers.iter().enumerate() {
            ledger.receive(material, "2026-07-01", &format!("L{at}"), &format!("{units} pcs"), Some(value));
        }
        let history = ledger.history();
        let unit = history.moving_average(day("2026-07-30")).unit_cost().unwrap();
        let out = &unit * &exact(finished);
        let all: Exact = layers.iter().map(|(_, value)| exact(value)).sum();
        (unit, all - &out, out)
    };
    let check = |layers: &[(&str, &str)], finished: &str, unit: &str, left: &str, out: &str| {
        assert_eq!(pool(layers, finished), (exact(unit), exact(left), exact(out)));
    };
    // Department one: 1,200 units complete in material and 35 % in conversion stay.
    check(&[("8700", "10179")], "7500", "1.17", "1404", "8775");
    check(&[("7920", "22176")], "7500", "2.80", "1176", "21000");
    assert_eq!(exact("1404") + exact("1176"), exact("2580"));
    // Department two: what was there, what came in, what was added to all of it.
    check(&[("750", "1600"), ("7500", "10775")], "6500", "1.50", "2625", "9750");
    check(&[("750", "6580"), ("6450", "43100")], "6500", "6.90", "4830", "44850");
    assert_eq!(exact("9750") + exact("44850"), exact("54600"));
    assert_eq!(exact("2625") + exact("4830"), exact("7455"));
    assert_eq!(exact("54600") + exact("7455"), exact("62055"));
}
