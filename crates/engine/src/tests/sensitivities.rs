//! Sweeps, curves, rankings and break-evens.

use domain::{
    formulas::LineAmount,
    materials::{UseLevel, UseLevelKind},
    packs::ComponentPer,
};
use kernel::{Exact, Mass, Percent};
use proptest::prelude::*;

use super::{
    costing::polish,
    differential::plans,
    fixtures::{House, dec, gbp, kg, measured, offer, percent, price, shown, today},
    published::hand_wash,
};
use crate::{
    CostRequest, EngineError, Per, View, cost_sheet,
    sensitivity::{
        BatchQuestion, BreakEvenBatch, DoseLimitKind, DoseQuestion, DoseSweep, Driver, DriverQuestion,
        batch_curve, break_even, break_even_of_sheet, dose_sweep, drivers,
    },
};

fn exact(text: &str) -> Exact {
    Exact::from(dec(text))
}

fn question(of: CostRequest, line: u32) -> DoseQuestion {
    DoseQuestion { of, line, against: None, range: None, points: None }
}

fn sweep(house: &House, question: &DoseQuestion) -> Result<DoseSweep, EngineError> {
    let catalogue = house.catalogue();
    dose_sweep(&View::plain(&catalogue), question)
}

/// A tenth of a percent more of a material adds 0.001 × (its price − the price of what it replaces). Common practice, no source.
#[test]
fn a_dose_against_the_water() {
    let house = hand_wash();
    let of = CostRequest::version(house.version_id("HW"), today());
    let found = sweep(&house, &question(of, 4)).unwrap();
    assert_eq!(
        (found.material.code.as_str(), found.diluent.code.as_str(), found.against),
        ("SLES", "WATER", 1)
    );
    assert_eq!(found.per_tenth_percent, Some(exact("0.001616")));
    assert_eq!(found.current.cost_per_kg, exact("0.479663"));
    assert_eq!(found.current.diluent, exact("0.7595"));
    // From nought to twice the dose in twenty-one points; the dose as it is is one of them.
    assert_eq!((found.points.len(), found.cut_off), (21, false));
    assert!(found.points[10].is_current);
    for point in &found.points {
        assert_eq!(&point.dose + &point.diluent, exact("0.8795"));
        let tenths = (&point.dose - &exact("0.12")) * Exact::whole(1_000);
        assert_eq!(point.change_per_kg, tenths * exact("0.001616"));
        assert_eq!(point.active, Some(&point.dose * &exact("0.7")));
    }
    // What dose fits a cost: 0.01616 more is one percent more.
    assert_eq!(found.dose_at_cost(&exact("0.495823")), Some(exact("0.13")));
    assert_eq!(found.dose_at_cost(&exact("0.2")), None, "not even without it");
    assert_eq!(found.dose_at_cost(&exact("2")), None, "more than there is water");
    let json = serde_json::to_value(&found).unwrap();
    assert_eq!(json["points"][0]["cost_per_kg"], "0.285743");
    assert_eq!(json["current"]["dose"], "12");
}

#[test]
fn limits_are_marked_and_points_beyond_them_say_so() {
    let mut house = hand_wash();
    // A fragrance base brings 0.1 % of the preservative along.
    house.formula("BASE", "percent", &["PRESERVATIVE 10 %", "WATER q.s."]);
    let base = house.id("BASE");
    let level = UseLevel { from: Some(percent("0.5")), to: Some(percent("1.0")), kind: UseLevelKind::Legal };
    house.material("PRESERVATIVE").use_level = Some(level);
    let version = house.version("HW");
    version.lines[5].use_level_to = Some(percent("0.85"));
    let mut line = version.lines[5].clone();
    line.position = 10;
    line.material = base;
    line.amount = LineAmount::Percent(percent("1"));
    version.lines.push(line);
    let of = CostRequest::version(house.version_id("HW"), today());
    let range = Some((percent("0.3"), percent("1.2")));
    let found = sweep(&house, &DoseQuestion { range, points: Some(10), ..question(of, 6) }).unwrap();
    let limits: Vec<_> =
        found.limits.iter().map(|limit| (limit.kind, shown(&limit.dose, 4), limit.is_legal)).collect();
    assert_eq!(
        limits,
        [
            (DoseLimitKind::LeastOfMaterial, "0.0040".to_owned(), true),
            (DoseLimitKind::MostOfLine, "0.0075".to_owned(), false),
            (DoseLimitKind::MostOfMaterial, "0.0090".to_owned(), true),
            (DoseLimitKind::EndOfDiluent, "0.7575".to_owned(), false),
        ]
    );
    let legal: Vec<_> =
        found.points.iter().map(|point| (shown(&point.dose, 4), point.breaks_legal)).collect();
    let broken: Vec<_> = legal.iter().filter(|(_, broken)| *broken).map(|(dose, _)| dose.as_str()).collect();
    assert_eq!(broken, ["0.0030", "0.0100", "0.0110", "0.0120"], "0.4 % to 0.9 % are within");
    assert!(found.points[6].breaks.iter().any(|text| text.contains("the recommended most is 0.85 %")));
}

#[test]
fn where_the_diluent_ends() {
    let house = hand_wash();
    let of = CostRequest::version(house.version_id("HW"), today());
    let range = Some((percent("80"), percent("95")));
    let found = sweep(&house, &DoseQuestion { range, points: Some(3), ..question(of, 4) }).unwrap();
    assert!(found.cut_off);
    let last = found.points.last().unwrap();
    assert_eq!((last.dose.clone(), last.diluent.clone()), (exact("0.8795"), Exact::ZERO));
}

/// A bench sheet without q.s. is swept against a named line; what it comes to is what the sheet itself would, written with that dose.
#[test]
fn a_bench_sheet() {
    let mut house = House::new();
    house.at_price("OIL", "5").at_price("WAX", "8").at_price("DYE", "100");
    // The sheet makes 996 g of nominal 1000 g.
    house.formula("BALM", "1000 g", &["OIL 700 g", "WAX 295 g", "DYE 1 g"]);
    let of = CostRequest::version(house.version_id("BALM"), today());
    let no_diluent = sweep(&house, &question(of, 2)).unwrap_err().to_string();
    assert_eq!(no_diluent, "no line is q.s.; name the line that takes up the difference");
    let range = Some((percent("30"), percent("30")));
    let asked = DoseQuestion { against: Some(1), range, points: Some(1), ..question(of, 2) };
    let found = sweep(&house, &asked).unwrap();
    let point = found.points.iter().find(|point| !point.is_current).unwrap();
    assert_eq!(point.dose, exact("0.3"));
    let dye = Exact::ratio(1, 996).unwrap();
    let oil = &Exact::ratio(7, 10).unwrap() - &dye;
    let expected = &(&(&oil * &exact("5")) + &exact("2.4")) + &(&dye * &exact("100"));
    // Doses are kept to the microgram.
    assert_eq!(shown(&point.cost_per_kg, 6), shown(&expected, 6));
    assert_eq!(shown(&point.diluent, 8), shown(&oil, 8));
}

#[test]
fn sweeps_that_cannot_be() {
    let mut house = hand_wash();
    let of = CostRequest::version(house.version_id("HW"), today());
    let refused = |house: &House, question: &DoseQuestion| sweep(house, question).unwrap_err().to_string();
    assert_eq!(refused(&house, &question(of, 40)), "there is no line 40");
    assert_eq!(refused(&house, &question(of, 1)), "line 1 cannot take up its own difference");
    let against = DoseQuestion { against: Some(30), ..question(of, 4) };
    assert_eq!(refused(&house, &against), "there is no line 30 to take up the difference");
    let range = DoseQuestion { range: Some((percent("3"), percent("2"))), ..question(of, 4) };
    assert_eq!(refused(&house, &range), "the range of doses ends before it begins");
    let over = DoseQuestion { range: Some((percent("3"), percent("200"))), ..question(of, 4) };
    assert!(refused(&house, &over).contains("at most 100"));
    let many = DoseQuestion { points: Some(1_000), ..question(of, 4) };
    assert_eq!(refused(&house, &many), "1000 points are more than the 401 of one sweep");
    house.version("HW").lines[3].basis = domain::formulas::AmountBasis::ActiveMatter;
    house.material("SLES").active_matter = None;
    assert!(refused(&house, &question(of, 5)).starts_with("the doses are not known: SLES"));
}

/// A clean and set-up of 500 is 0.50 a unit over a thousand units and 1.00 over five hundred. Common practice, no source.
fn set_up() -> House {
    let mut house = House::new();
    house.at_price("LIQUID", "0.8");
    let version = house.formula("F", "percent", &["LIQUID 100 %"]);
    version.cost_per_batch = Some(gbp("500"));
    version.density = measured("1");
    house.pack("P", "F", "500 mL");
    house.packed_with("BOTTLE", "1", ComponentPer::Unit, "0.30");
    house
}

#[test]
fn the_batch_that_meets_a_cost() {
    let mut house = set_up();
    let of = CostRequest::pack(house.pack_id("P"), today());
    let found = |house: &House, target: &str| {
        let catalogue = house.catalogue();
        let asked = BatchQuestion { of, batches: vec![kg("250"), kg("500")], target: Some(exact(target)) };
        batch_curve(&View::plain(&catalogue), &asked).unwrap()
    };
    // A unit is 0.40 of liquid, 0.30 of bottle and its part of 500.
    let curve = found(&house, "1.20");
    assert_eq!(curve.per, Per::Unit);
    let points: Vec<_> =
        curve.points.iter().map(|p| (p.units.unwrap(), p.cost_per_unit.clone().unwrap())).collect();
    assert_eq!(points, [(500, exact("1.7")), (1000, exact("1.2"))]);
    assert_eq!(curve.points[0].making, Some(Exact::ONE));
    let at = |curve: Option<BreakEvenBatch>| match curve {
        Some(BreakEvenBatch::At { batch, units, cost }) => (batch, units.unwrap(), cost),
        other => panic!("{other:?}"),
    };
    assert_eq!(at(curve.break_even), (kg("500"), 1000, exact("1.2")));
    assert_eq!(at(found(&house, "1.70").break_even), (kg("250"), 500, exact("1.7")));
    let (batch, units, cost) = at(found(&house, "1.1999").break_even);
    assert_eq!((batch, units), (kg("500.5"), 1001));
    assert!(cost <= exact("1.1999"));
    // Never, always, and within a vessel.
    let not_reached = found(&house, "0.70").break_even;
    assert!(matches!(not_reached, Some(BreakEvenBatch::NotReached { .. })), "{not_reached:?}");
    house.version("F").smallest_batch = Some(kg("300"));
    house.version("F").largest_batch = Some(kg("600"));
    let always = found(&house, "2").break_even;
    assert_eq!(
        always,
        Some(BreakEvenBatch::FromTheSmallest {
            batch: kg("300"),
            units: Some(600),
            cost: Exact::ratio(23, 15).unwrap()
        })
    );
    let within = found(&house, "1.1").break_even;
    assert_eq!(
        within,
        Some(BreakEvenBatch::NotReached {
            largest: kg("600"),
            cost: exact("0.7") + Exact::ratio(500, 1200).unwrap()
        })
    );
    assert!(!found(&house, "1.1").points[0].fits_vessel);
    house.parts.quotations.clear();
    assert_eq!(found(&house, "1").break_even, Some(BreakEvenBatch::NotKnown));
}

/// Liquid alone: with a heel of 2 kg and 40 a batch at 1.00 a kg, a kg of good output costs 2 where (B + 40) / (B − 2) = 2.
#[test]
fn the_batch_of_a_liquid() {
    let mut house = House::new();
    house.at_price("LIQUID", "1");
    let version = house.formula("F", "percent", &["LIQUID 100 %"]);
    version.cost_per_batch = Some(gbp("40"));
    version.heel = kg("2");
    version.usual_batch = kg("20");
    let catalogue = house.catalogue();
    let of = CostRequest::version(house.version_id("F"), today());
    let batches = vec![kg("2"), kg("44")];
    let asked = BatchQuestion { of, batches, target: Some(Exact::whole(2)) };
    let curve = batch_curve(&View::plain(&catalogue), &asked).unwrap();
    assert_eq!(
        curve.break_even,
        Some(BreakEvenBatch::At { batch: kg("44"), units: None, cost: Exact::whole(2) })
    );
    assert_eq!(
        curve.points[0].refused.as_deref(),
        Some("version 1 of formula F: of 2 kg charged, loss and heel leave nothing")
    );
    assert_eq!(curve.points[1].lost, Some(Exact::ratio(2, 44).unwrap()));
    let usual = BatchQuestion { of, batches: Vec::new(), target: None };
    let curve = batch_curve(&View::plain(&catalogue), &usual).unwrap();
    let batches: Vec<Mass> = curve.points.iter().map(|point| point.batch).collect();
    assert_eq!(batches, [kg("5"), kg("10"), kg("20"), kg("40"), kg("80")]);
    assert!(curve.points[2].is_usual && curve.break_even.is_none());
    let many = BatchQuestion { of, batches: vec![kg("5"); 201], target: None };
    assert!(batch_curve(&View::plain(&catalogue), &many).is_err());
}

/// A price break counts on the curve as it does on any sheet.
#[test]
fn price_breaks_on_the_curve() {
    let mut house = House::new();
    house.quote("LIQUID", "1 kg", "2", "1 kg").offers.push(offer(
        "1 kg",
        price("1.5"),
        "1 kg",
        Some("100 kg"),
    ));
    house.formula("F", "percent", &["LIQUID 100 %"]);
    let catalogue = house.catalogue();
    let of = CostRequest::version(house.version_id("F"), today());
    let asked = BatchQuestion { of, batches: vec![kg("99"), kg("100")], target: Some(exact("1.5")) };
    let curve = batch_curve(&View::plain(&catalogue), &asked).unwrap();
    let costs: Vec<_> = curve.points.iter().map(|point| point.cost_per_kg.clone().unwrap()).collect();
    assert_eq!(costs, [Exact::whole(2), exact("1.5")]);
    assert!(matches!(curve.break_even, Some(BreakEvenBatch::At { cost, .. }) if cost == exact("1.5")));
}

/// Of a hand wash, what is dearest per kg swings widest: its value per kg, a tenth either way.
#[test]
fn drivers_are_ranked_by_their_swing() {
    let mut house = hand_wash();
    house.quote("DYE", "1 g", "30 USD", "1 kg");
    house.rate("USD", "GBP", "0.5", "2026-01-01");
    let dye = house.id("DYE");
    let version = house.version("HW");
    version.lines[1].material = dye;
    let catalogue = house.catalogue();
    let of = CostRequest::version(house.version_id("HW"), today());
    let found = drivers(&View::plain(&catalogue), &DriverQuestion::of(of)).unwrap();
    assert!(found.complete);
    let bar = |wanted: &str| found.bars.iter().find(|bar| bar.driver.to_string() == wanted).unwrap();
    // 12 % at 1.62 are 0.1944 a kg.
    let sles = bar("price of SLES (sles)");
    assert_eq!((sles.swing.clone(), sles.low.change.clone()), (exact("0.03888"), exact("-0.01944")));
    assert_eq!((sles.low.assumed.as_str(), sles.high.assumed.as_str()), ("-10 %", "10 %"));
    // A dose replaces water: 2 × 1.2 % × (1.62 − 0.004).
    let dose = bar("dose of SLES (sles) on line 4");
    assert_eq!((dose.swing.clone(), dose.high.assumed.as_str()), (exact("0.038784"), "13.2 %"));
    assert_eq!(found.bars[0], *sles);
    assert_eq!(found.bars[1], *dose);
    // 0.1 % of dye at 15 in the house's currency.
    assert_eq!(bar("exchange rate of USD to GBP").swing, exact("0.003"));
    assert_eq!(bar("price of DYE (dye)").swing, exact("0.003"));
    // A point of loss: everything over 99 % of it; none to take away.
    let loss = bar("process loss");
    assert_eq!(loss.low.change, Exact::ZERO);
    assert_eq!(loss.high.cost, found.base.checked_div(&exact("0.99")).unwrap());
    assert_eq!(bar("batch size").swing, Exact::ZERO, "nothing is fixed");
    for pair in found.bars.windows(2) {
        assert!(pair[0].swing >= pair[1].swing);
    }
    assert!(found.not_varied.is_empty());
}

#[test]
fn drivers_of_a_pack() {
    let mut house = polish();
    house.version("POLISH").largest_batch = Some(kg("150"));
    house.parts.quotations.retain(|quotation| !quotation.reference.starts_with("Q-WAX"));
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    let of = CostRequest::pack(house.pack_id("POLISH-250"), today());
    let found = drivers(&view, &DriverQuestion::of(of)).unwrap();
    assert_eq!((found.per, found.complete), (Per::Unit, false));
    let bar = |driver: &Driver| found.bars.iter().find(|bar| bar.driver == *driver).unwrap();
    let overfill = bar(&Driver::Overfill);
    assert_eq!((overfill.low.assumed.as_str(), overfill.high.assumed.as_str()), ("1 %", "3 %"));
    assert!(overfill.low.change.is_negative() && overfill.high.change.is_positive());
    let batch = bar(&Driver::BatchSize);
    assert_eq!((batch.low.assumed.as_str(), batch.high.assumed.as_str()), ("50 kg", "150 kg"));
    assert!(batch.low.change.is_positive(), "a small batch is dear");
    // A tin costs 0.30 and four in a hundred are scrap.
    let tin = found.bars.iter().find(|bar| bar.driver.to_string().contains("TIN")).unwrap();
    assert_eq!(tin.swing, exact("0.0625"));
    let not_varied: Vec<_> =
        found.not_varied.iter().map(|one| (one.driver.to_string(), one.why.as_str())).collect();
    assert_eq!(not_varied, [("price of WAX (wax)".to_owned(), "it has no quotation")]);
    // An assumed pack is seen by nothing else.
    assert_eq!(cost_sheet(&view, &of).unwrap().totals.per_unit.unwrap(), found.base);
    let negative = DriverQuestion { prices: Percent::from_nano(-1), ..DriverQuestion::of(of) };
    assert!(drivers(&view, &negative).is_err());
    let too_small = DriverQuestion { batches: Some((kg("1"), kg("100"))), ..DriverQuestion::of(of) };
    let found = drivers(&view, &too_small).unwrap();
    assert!(
        found
            .not_varied
            .iter()
            .any(|one| one.driver == Driver::BatchSize && one.why.contains("leave nothing"))
    );
}

/// OpenStax, Principles of Accounting 2, sections 3.2 and 3.3: a price of 100, 20 variable and 18,000 fixed; and a café's cups at 3.75,
/// what a dearer cup, a higher rent and a higher price do to it.
#[test]
fn volumes_that_break_even() {
    let none = Exact::ZERO;
    let check =
        |price: &str, variable: &str, fixed: &str, profit: &str, tax: &str, units: i128, sales: &str| {
            let found =
                break_even(&exact(price), &exact(variable), &exact(fixed), &exact(profit), percent(tax))
                    .unwrap();
            assert_eq!((found.whole_units, found.sales.clone()), (units, exact(sales)));
            assert_eq!(found.units, Exact::whole(units), "no fraction of a unit");
            assert_eq!(found.profit_at(&found.units), found.profit_before_tax);
        };
    check("100", "20", "18000", "0", "0", 225, "22500");
    check("100", "20", "18000", "16000", "0", 425, "42500");
    check("100", "20", "18000", "24000", "40", 725, "72500");
    check("3.75", "1.50", "2475", "0", "0", 1100, "4125");
    check("3.75", "1.55", "2475", "0", "0", 1125, "4218.75");
    check("3.75", "1.50", "2700", "0", "0", 1200, "4500");
    check("4.25", "1.50", "2475", "0", "0", 900, "3825");
    for (price, variable, fixed, earned) in [
        ("3.75", "1.50", "2475", "900"),
        ("3.75", "1.55", "2475", "825"),
        ("3.75", "1.50", "2700", "675"),
        ("4.25", "1.50", "2475", "1650"),
    ] {
        let found = break_even(&exact(price), &exact(variable), &exact(fixed), &none, Percent::ZERO).unwrap();
        assert_eq!(found.profit_at(&Exact::whole(1500)), exact(earned));
    }
    let found = break_even(&exact("3.75"), &exact("1.5"), &exact("2475"), &none, Percent::ZERO).unwrap();
    assert_eq!(found.margin_of_safety(&Exact::whole(1500)), Some(Exact::ratio(400, 1500).unwrap()));
    assert!(break_even(&Exact::ONE, &Exact::ONE, &Exact::ONE, &none, Percent::ZERO).is_err());
    let odd = break_even(&Exact::whole(3), &Exact::ZERO, &Exact::whole(10), &none, Percent::ZERO).unwrap();
    assert_eq!(odd.whole_units, 4);
}

#[test]
fn the_volume_of_a_pack() {
    let house = polish();
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    let sheet = cost_sheet(&view, &CostRequest::pack(house.pack_id("POLISH-250"), today())).unwrap();
    let found = break_even_of_sheet(&sheet, &Exact::whole(10_000)).unwrap();
    let earned = &exact("2.40") - sheet.totals.per_unit.as_ref().unwrap();
    assert_eq!(found.units, Exact::whole(10_000).checked_div(&earned).unwrap());
    let liquid = cost_sheet(&view, &CostRequest::version(house.version_id("POLISH"), today())).unwrap();
    assert!(break_even_of_sheet(&liquid, &Exact::ONE).is_err());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// With prices that do not depend on quantity a sweep is a straight line, whatever stands beneath.
    #[test]
    fn sweeps_are_straight(plans in plans()) {
        let house = plans.house();
        let of = CostRequest::version(house.version_id("L2F0"), today());
        let found = sweep(&house, &DoseQuestion { points: Some(5), ..question(of, 2) }).unwrap();
        let slope = found.per_tenth_percent.clone().unwrap();
        for point in &found.points {
            let tenths = (&point.dose - &found.current.dose) * Exact::whole(1_000);
            prop_assert_eq!(&point.change_per_kg, &(&tenths * &slope));
        }
    }
}
