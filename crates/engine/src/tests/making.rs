//! From what goes in to what is for sale: losses of each kind, named costs, rates of the house, overheads, filling runs, densities.

use domain::{
    house_rates::{HouseRateAmount, HouseRateOf},
    making::{LineSpeed, MakingCost, MakingCostAmount, MakingCostKind},
    packs::ComponentPer,
};
use kernel::{Count, Exact, UnitPrice};

use super::{
    costing::{assert_adds_up, codes, cost, printed},
    fixtures::{House, day, dec, density, gbp, kg, measured, percent, price, shown, today},
};
use crate::{
    CostRequest, CostSheet, EngineError, Gap, View,
    batch_costs::{filling_cost_of_run, making_cost_of_batch},
    compare::compare,
    cost::{CostLine, LineKind},
    output::charge_for_units,
};

fn named(name: &str, kind: MakingCostKind, amount: MakingCostAmount) -> MakingCost {
    MakingCost { name: name.to_owned(), kind, amount }
}

fn hours(name: &str, kind: MakingCostKind, time: &str, rate: &str) -> MakingCost {
    named(name, kind, MakingCostAmount::Hours { time: time.parse().unwrap(), rate: rate.to_owned() })
}

fn per_batch(name: &str, kind: MakingCostKind, money: &str) -> MakingCost {
    named(name, kind, MakingCostAmount::PerBatch(gbp(money)))
}

fn pieces(text: &str) -> Count {
    Count::from_pieces(dec(text)).unwrap()
}

fn line<'s>(sheet: &'s CostSheet, label: &str) -> &'s CostLine {
    sheet.lines.iter().find(|line| line.label.as_deref() == Some(label)).unwrap()
}

fn value(sheet: &CostSheet, label: &str) -> String {
    line(sheet, label).value.as_ref().unwrap().to_decimal_exactly().unwrap().normalize().to_string()
}

/// A polish of which everything is entered. 100 kg: 2 % vapour, 3 % lost, 1 kg heel, 0.3 kg samples, 0.7 kg retains: 93 kg good,
/// 4.3 kg of waste. 372 units of 250 g, five kept back.
fn everything() -> House {
    let mut house = House::new();
    house.at_price("WAX", "4").at_price("WATER", "0.5");
    house.house_rate("bench", HouseRateOf::LabourHour, "24");
    house.house_rate("mixer", HouseRateOf::MachineHour, "10");
    house.house_rate("rent", HouseRateOf::OverheadPerLabourHour, "6");
    house.house_rate("energy", HouseRateOf::OverheadPerMachineHour, "3000 GBP over 1200");
    house.house_rate("papers", HouseRateOf::OverheadPerBatch, "7");
    house.house_rate("pensions", HouseRateOf::OverheadOnLabour, "12.5 %");
    let version = house.formula("P", "percent", &["WAX 20 %", "WATER q.s."]);
    version.process_loss = percent("3");
    version.heel = kg("1");
    version.making.evaporation = percent("2");
    version.making.samples = kg("0.3");
    version.making.retains = kg("0.7");
    version.making.costs = vec![
        hours("mixing", MakingCostKind::Labour, "90 min", "Bench"),
        hours("vessel", MakingCostKind::Machine, "2 h", "mixer"),
        hours("vessel wash", MakingCostKind::Cleaning, "0.5 h", "bench"),
        per_batch("plate count", MakingCostKind::Tests, "18"),
        per_batch("helper", MakingCostKind::Labour, "20"),
        named("steam", MakingCostKind::Other, MakingCostAmount::PerKgCharged(price("0.03 GBP"))),
        named("drain", MakingCostKind::Disposal, MakingCostAmount::PerKgOfWaste(price("0.5 GBP"))),
    ];
    let pack = house.pack("P-250", "P", "250 g");
    pack.run.units_kept_back = 5;
    pack.run.changeover = Some(gbp("11"));
    pack.run.speed = Some(LineSpeed {
        units_per_hour: pieces("186"),
        people: pieces("1.5"),
        labour_rate: Some("bench".to_owned()),
        machine_rate: Some("mixer".to_owned()),
    });
    house
}

#[test]
fn where_a_batch_goes() {
    let house = everything();
    let sheet = cost(&house, &CostRequest::version(house.version_id("P"), today())).unwrap();
    let kg_of = |value: &Exact| value.to_decimal_exactly().unwrap().normalize().to_string();
    let batch = &sheet.batch;
    let parts = [&batch.evaporation, &batch.process_loss, &batch.heel, &batch.samples, &batch.retains];
    assert_eq!(parts.map(kg_of), ["2", "3", "1", "0.3", "0.7"]);
    assert_eq!(kg_of(&batch.good), "93");
    assert_eq!(kg_of(&batch.waste()), "4.3", "vapour is no waste, retains are kept");
    assert_eq!(sheet.totals.per_kg, sheet.totals.per_batch.checked_div(&Exact::whole(93)).unwrap());

    // And back: what has to be charged for so many units fills just so many.
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    let version = view.version(house.version_id("P")).unwrap().1;
    let pack = view.pack(house.pack_id("P-250")).unwrap();
    let charge = charge_for_units(&view, pack, version, &Exact::whole(372)).unwrap().unwrap();
    assert_eq!(kg_of(&charge), "100");
}

#[test]
fn every_cost_of_a_batch_with_its_source() {
    let house = everything();
    let sheet = cost(&house, &CostRequest::version(house.version_id("P"), today())).unwrap();
    assert!(sheet.complete);
    let found: Vec<_> = sheet
        .lines
        .iter()
        .filter_map(|l| Some((l.label.as_deref()?, l.cost_of?.code(), value(&sheet, l.label.as_deref()?))))
        .collect();
    let expected = [
        ("mixing", "LABOUR", "36"),
        ("vessel", "MACHINE", "20"),
        ("vessel wash", "CLEANING", "12"),
        ("plate count", "TESTS", "18"),
        ("helper", "LABOUR", "20"),
        ("steam", "OTHER", "3"),
        ("drain", "DISPOSAL", "2.15"),
        // 2 machine hours at 3000 / 1200.
        ("energy", "OVERHEAD", "5"),
        ("papers", "OVERHEAD", "7"),
        // 12.5 % of 36 + 12 + 20.
        ("pensions", "OVERHEAD", "8.5"),
        // 2 labour hours; the helper's are not known as hours.
        ("rent", "OVERHEAD", "12"),
    ];
    assert_eq!(found, expected.map(|(label, code, value)| (label, code, value.to_owned())));
    assert_eq!(sheet.totals.making.to_decimal_exactly(), Some(dec("143.65")));
    let source = |label| line(&sheet, label).source.to_string();
    assert_eq!(source("mixing"), "house rate “bench” from 2026-01-01: 24 GBP per labour hour × 1.5 h");
    assert_eq!(source("plate count"), "“plate count” entered with version 1 of formula P");
    assert_eq!(
        source("drain"),
        "0.5 GBP per kg of waste, 4.3 kg; “drain” entered with version 1 of formula P"
    );
    assert_eq!(
        source("energy"),
        "house rate “energy” from 2026-01-01: 2.5 GBP per machine hour × 2 h; 3000 GBP over a normal capacity of 1200"
    );
    assert_eq!(source("pensions"), "house rate “pensions” from 2026-01-01: 12.5 % of 68 GBP of labour");
    assert_eq!(source("papers"), "house rate “papers” from 2026-01-01: 7 GBP per batch × 1 batch");
    let print = printed(&house, &CostRequest::version(house.version_id("P"), today()));
    assert_adds_up(&print);
    let labels: Vec<_> = print.lines.iter().map(|line| line.label.as_str()).collect();
    assert_eq!(labels[2..5], ["mixing (labour)", "vessel (machine)", "vessel wash (cleaning)"]);
    assert_eq!(print.lines[2].source_kind, "HOUSE_RATE");
}

#[test]
fn a_filling_run() {
    let house = everything();
    let request = CostRequest::pack(house.pack_id("P-250"), today());
    let sheet = cost(&house, &request).unwrap();
    let filling = sheet.filling.as_ref().unwrap();
    assert_eq!((filling.filled, filling.kept_back, filling.units), (372, 5, 367));
    let notes: Vec<_> = sheet.notes.iter().map(ToString::to_string).collect();
    assert!(notes.contains(
        &"of 372 units of pack P-250 that are filled, 5 are kept back; the rest bear their cost".to_owned()
    ));
    // Two hours of the line, three of people: 372 at 186 an hour, one and a half at it.
    assert_eq!(value(&sheet, "line labour"), "72");
    assert_eq!(value(&sheet, "line"), "20");
    assert_eq!(value(&sheet, "changeover"), "11");
    let overheads: Vec<_> = sheet
        .lines
        .iter()
        .filter(|line| line.kind == LineKind::LineLabour && line.cost_of.unwrap().code() == "OVERHEAD")
        .map(|line| (line.label.as_deref().unwrap(), shown(line.value.as_ref().unwrap(), 2)))
        .collect();
    // The run bears hours and labour; the batch has borne its papers.
    let expected = [("energy", "5.00"), ("pensions", "9.00"), ("rent", "18.00")];
    assert_eq!(overheads, expected.map(|(name, value)| (name, value.to_owned())));
    assert_eq!(sheet.totals.line_labour.to_decimal_exactly(), Some(dec("135")));
    assert_eq!(line(&sheet, "changeover").source.to_string(), "changeover of one run of pack P-250");
    let per_unit = sheet.totals.per_unit.clone().unwrap();
    assert_eq!(per_unit * Exact::whole(367), sheet.totals.per_batch);
    assert_adds_up(&printed(&house, &request));
}

#[test]
fn what_is_lost_at_the_filler_is_disposed_of() {
    let mut house = everything();
    house.parts.packs[0].filling_loss = percent("2");
    let sheet = cost(&house, &CostRequest::pack(house.pack_id("P-250"), today())).unwrap();
    // 1.86 kg lost, 91.14 to fill: 364 units, 0.14 kg left over.
    assert_eq!(sheet.filling.as_ref().unwrap().filled, 364);
    assert_eq!(value(&sheet, "drain"), "2.15");
    assert_eq!(value(&sheet, "drain, from the filler"), "1");
    let liquid = &sheet.totals.ingredients + &sheet.totals.making;
    assert_eq!(
        sheet.totals.per_kg,
        liquid.checked_div(&sheet.batch.good).unwrap(),
        "the liquid bears none of it"
    );
}

/// What a finished batch and run are valued at is what their sheets say.
#[test]
fn the_same_costs_for_a_real_batch() {
    let house = everything();
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    let version = view.version(house.version_id("P")).unwrap().1;
    let pack = view.pack(house.pack_id("P-250")).unwrap();
    let making = making_cost_of_batch(&view, version, &Exact::whole(100), &Exact::from(dec("4.3")), today());
    assert_eq!(making.unwrap(), Ok(Exact::from(dec("143.65"))));
    let filling = filling_cost_of_run(&view, version, pack, &Exact::whole(372), today());
    assert_eq!(filling.unwrap(), Ok(Exact::whole(135)));
    let early = making_cost_of_batch(&view, version, &Exact::whole(100), &Exact::ZERO, day("2025-12-31"));
    assert!(matches!(early.unwrap(), Err(Gap::NoHouseRate { .. })));
}

/// A rate holds from its day until another takes its place; before its first day there is none, and that is a gap.
#[test]
fn rates_of_the_house_by_day() {
    let mut house = everything();
    house.house_rate("BENCH", HouseRateOf::LabourHour, "30").from = day("2026-06-15");
    let mixing = |on: &str| {
        let sheet = cost(&house, &CostRequest::version(house.version_id("P"), day(on))).unwrap();
        (value(&sheet, "mixing"), value(&sheet, "pensions"))
    };
    assert_eq!(mixing("2026-06-14"), ("36".to_owned(), "8.5".to_owned()));
    assert_eq!(mixing("2026-06-15"), ("45".to_owned(), "10".to_owned()));

    let early = cost(&house, &CostRequest::version(house.version_id("P"), day("2025-12-31"))).unwrap();
    assert!(!early.complete);
    let gaps: Vec<_> = early.gaps.iter().map(ToString::to_string).collect();
    assert!(gaps.contains(
        &"there is no labour or machine rate of the house “Bench” on 2025-12-31, which “mixing” of formula P needs"
            .to_owned()
    ));
    assert_eq!(line(&early, "mixing").value, None);
    assert!(
        early.lines.iter().all(|line| line.label.as_deref() != Some("pensions")),
        "no overhead holds yet"
    );
}

/// An overhead on work that is not wholly known is itself not whole; one of nought is ended.
#[test]
fn overheads_on_what_is_not_known() {
    let mut house = everything();
    house.version("P").making.costs[0] = hours("mixing", MakingCostKind::Labour, "90 min", "apprentice");
    house.house_rate("papers", HouseRateOf::OverheadPerBatch, "0").from = day("2026-02-01");
    let sheet = cost(&house, &CostRequest::version(house.version_id("P"), today())).unwrap();
    assert_eq!(codes(&sheet).0, ["NO_HOUSE_RATE"]);
    assert!(line(&sheet, "pensions").partial && line(&sheet, "rent").partial);
    assert!(sheet.lines.iter().all(|line| line.label.as_deref() != Some("papers")));
    // Hours are not paid at an overhead.
    house.version("P").making.costs[0] = hours("mixing", MakingCostKind::Labour, "90 min", "rent");
    let sheet = cost(&house, &CostRequest::version(house.version_id("P"), today())).unwrap();
    assert_eq!(codes(&sheet).0, ["NO_HOUSE_RATE"]);
}

#[test]
fn an_intermediate_bears_its_own_costs() {
    let mut house = everything();
    house.version("P").usual_batch = kg("100");
    house.formula("TOP", "percent", &["P 50 %", "WATER q.s."]);
    let sheet = cost(&house, &CostRequest::version(house.version_id("TOP"), today())).unwrap();
    let premix = cost(&house, &CostRequest::version(house.version_id("P"), today())).unwrap();
    let inner = &sheet.lines[0];
    assert_eq!(inner.unit_cost, Some(premix.totals.per_kg.clone()));
    let nested: Exact = inner.nested.iter().filter_map(|line| line.value.clone()).sum();
    assert_eq!(Some(nested), inner.value);
    let mixing = inner.nested.iter().find(|line| line.label.as_deref() == Some("mixing")).unwrap();
    let part = Exact::whole(36 * 50).checked_div(&Exact::whole(93)).unwrap();
    assert_eq!(mixing.value, Some(part));
    assert_adds_up(&printed(&house, &CostRequest::version(house.version_id("TOP"), today())));

    // A gap beneath is a gap of the whole.
    house.parts.house_rates.retain(|rate| rate.name != "bench");
    let sheet = cost(&house, &CostRequest::version(house.version_id("TOP"), today())).unwrap();
    assert_eq!(codes(&sheet).0, ["NO_HOUSE_RATE", "NO_HOUSE_RATE"], "for mixing and for the wash");
    assert!(sheet.lines[0].partial && !sheet.complete);
}

#[test]
fn nothing_left_and_nothing_to_sell() {
    let mut house = everything();
    let refused = |house: &House, request: &CostRequest| cost(house, request).unwrap_err().to_string();
    let pack = CostRequest::pack(house.pack_id("P-250"), today());
    assert_eq!(
        refused(&house, &pack.at_batch(kg("3.4"))),
        "the batch fills 4 units of pack P-250, and 5 are kept back: none is left to sell"
    );
    assert!(matches!(cost(&house, &pack.at_batch(kg("2.1"))), Err(EngineError::NothingLeft { .. })));
    house.version("P").making.evaporation = percent("97");
    assert!(matches!(cost(&house, &pack), Err(EngineError::NothingLeft { .. })));
}

/// basiccollegeaccounting.com: a drink of 2,000 L in with a normal loss of 10 % at 47,000 in all is 47,000 / 1,800 a litre (printed
/// rounded, 26.11).
#[test]
fn normal_loss_of_a_drink() {
    let mut house = House::new();
    house.at_price("JUICE", "23.5");
    let version = house.formula("DRINK", "percent", &["JUICE 100 %"]);
    version.process_loss = percent("10");
    version.usual_batch = kg("2000");
    version.density = measured("1");
    let sheet = cost(&house, &CostRequest::version(house.version_id("DRINK"), today())).unwrap();
    assert_eq!(sheet.totals.per_batch, Exact::whole(47_000));
    assert_eq!(sheet.totals.per_litre, Some(Exact::ratio(47_000, 1_800).unwrap()));
}

/// ACCA F2 study text, page 140: 1,000 kg at 18, labour 1,800, overhead 900, normal loss 10 %: 20,700 / 900 = 23 a kg.
#[test]
fn normal_loss_with_labour_and_overhead() {
    let mut house = House::new();
    house.at_price("MATERIAL", "18");
    house.house_rate("overhead", HouseRateOf::OverheadPerBatch, "900");
    let version = house.formula("M", "percent", &["MATERIAL 100 %"]);
    version.process_loss = percent("10");
    version.usual_batch = kg("1000");
    version.making.costs = vec![per_batch("labour", MakingCostKind::Labour, "1800")];
    let sheet = cost(&house, &CostRequest::version(house.version_id("M"), today())).unwrap();
    assert_eq!(sheet.totals.per_batch, Exact::whole(20_700));
    assert_eq!(sheet.totals.per_kg, Exact::whole(23));
}

/// A published examination answer (cdquestions): 1,000 units; material 4,000, wages 6,500, expenses 3,250; normal loss 10 %, its
/// scrap worth 2.50 each; 850 come out. 15.00 a unit, abnormal loss 750, output 12,750. The scrap's 250 is taken off the material
/// here, for a disposal that earns is not entered; what is lost beyond the normal does not make a unit dearer.
#[test]
fn abnormal_loss_is_not_in_the_cost_of_the_product() {
    let mut house = House::new();
    house.at_price("MATERIAL", "3.75");
    let version = house.formula("M", "percent", &["MATERIAL 100 %"]);
    version.process_loss = percent("10");
    version.usual_batch = kg("1000");
    version.making.costs = vec![
        per_batch("wages", MakingCostKind::Labour, "6500"),
        per_batch("expenses", MakingCostKind::Other, "3250"),
    ];
    let sheet = cost(&house, &CostRequest::version(house.version_id("M"), today())).unwrap();
    assert_eq!(sheet.totals.per_kg, Exact::whole(15));
    let split = sheet.value_of_output(&Exact::whole(850));
    assert_eq!(split.output, Exact::whole(12_750));
    assert_eq!(split.abnormal_loss, Exact::whole(750));
    assert_eq!(&split.output + &split.abnormal_loss, sheet.totals.per_batch);
    // More than was to be expected is a gain.
    assert_eq!(sheet.value_of_output(&Exact::whole(910)).abnormal_loss, Exact::whole(-150));
}

/// OpenStax, Principles of Accounting 2, sections 4.2 to 4.6: 250,000 of overhead over 100,000 of direct labour is 2.50 on each; job
/// MAC001 of materials 700, labour 66 and overhead 165 costs 931.
#[test]
fn a_job_with_overhead_on_labour() {
    let mut house = House::new();
    house.at_price("MATERIALS", "700");
    house.house_rate("overhead", HouseRateOf::OverheadOnLabour, "250000 GBP over 100000");
    let version = house.formula("MAC001", "percent", &["MATERIALS 100 %"]);
    version.usual_batch = kg("1");
    version.making.costs = vec![per_batch("labour", MakingCostKind::Labour, "66")];
    let sheet = cost(&house, &CostRequest::version(house.version_id("MAC001"), today())).unwrap();
    assert_eq!(value(&sheet, "overhead"), "165");
    assert_eq!(sheet.totals.per_batch, Exact::whole(931));
}

/// OpenStax, the same: a standard cost card of 4 lb at 5.25, 2.75 h at 11, 4 h at 15, and 6.75 labour hours at 5 and at 3 of
/// overhead is 165.25.
#[test]
fn a_standard_cost_card() {
    let mut house = House::new();
    house.component("POUND");
    house.at_price("NOTHING", "0");
    house.house_rate("cutting", HouseRateOf::LabourHour, "11");
    house.house_rate("sewing", HouseRateOf::LabourHour, "15");
    house.house_rate("variable", HouseRateOf::OverheadPerLabourHour, "5");
    house.house_rate("fixed", HouseRateOf::OverheadPerLabourHour, "3");
    let version = house.formula("CARD", "percent", &["NOTHING 100 %"]);
    version.usual_batch = kg("1");
    version.making.costs = vec![
        hours("cutting", MakingCostKind::Labour, "2.75 h", "cutting"),
        hours("sewing", MakingCostKind::Labour, "4 h", "sewing"),
    ];
    house.pack("ONE", "CARD", "1 kg");
    house.packed_with("POUND", "4", ComponentPer::Unit, "5.25");
    let sheet = cost(&house, &CostRequest::pack(house.pack_id("ONE"), today())).unwrap();
    assert_eq!(sheet.totals.per_unit, Some(Exact::from(dec("165.25"))));
}

/// IAS 2, paragraph 13: an idle month does not raise what a batch bears; a month used beyond what is normal lowers it.
#[test]
fn overheads_rest_on_normal_capacity() {
    let cost_with = |used: Option<&str>| {
        let mut house = everything();
        let energy = house.parts.house_rates.iter_mut().find(|rate| rate.name == "energy").unwrap();
        let HouseRateAmount::Budget { capacity_used, .. } = &mut energy.amount else { panic!("no budget") };
        *capacity_used = used.map(dec);
        let sheet = cost(&house, &CostRequest::version(house.version_id("P"), today())).unwrap();
        (value(&sheet, "energy"), line(&sheet, "energy").source.to_string())
    };
    assert_eq!(cost_with(None).0, "5");
    assert_eq!(cost_with(Some("300")), cost_with(None));
    let (beyond, source) = cost_with(Some("1500"));
    assert_eq!(beyond, "4");
    assert!(source.ends_with("; 3000 GBP over 1500 used, more than the normal 1200"), "{source}");
}

/// 1 US gallon is 3.785411784 L, 1 imperial gallon 4.54609 L (NIST Handbook 44, appendix C).
#[test]
fn per_litre_and_gallon_with_the_day_and_temperature_of_the_density() {
    let mut house = House::new();
    house.at_price("OIL", "2");
    house.formula("F", "percent", &["OIL 100 %"]).density = measured("0.9");
    let request = CostRequest::version(house.version_id("F"), today());
    let print = printed(&house, &request);
    let totals = &print.totals;
    let figures = [totals.per_litre, totals.per_us_gallon, totals.per_imperial_gallon];
    assert_eq!(figures.map(|figure| figure.unwrap().to_string()), ["1.800000", "6.813741", "8.182962"]);
    assert_eq!(print.density_measured_on, Some(day("2026-01-01")));
    assert_eq!(print.density_celsius, Some(dec("20")));
    assert_eq!(print.density_estimate, None, "nothing is estimated where something was measured");

    house.version("F").density.as_mut().unwrap().celsius = None;
    let sheet = cost(&house, &request).unwrap();
    let note = sheet.notes.iter().find(|note| note.code() == "DENSITY_WITHOUT_CONDITIONS").unwrap();
    assert_eq!(
        note.to_string(),
        "the density of version 1 of formula F is entered without the temperature it was measured at, which figures \
         per litre stand on"
    );
}

/// OIML R 22, from whose polynomial the densities at 20 °C come (998.20123 and 789.2391233 kg/m³): ideal mixing gives 881.506 kg/m³
/// for ethanol in water at half the mass, where 913.771 is measured. So it is offered, and nothing stands on it.
#[test]
fn ideal_mixing_is_an_estimate_and_never_used() {
    let mut house = House::new();
    house.at_price("ETHANOL", "1").at_price("WATER", "0");
    house.material("ETHANOL").density = Some(density("0.789239123"));
    house.material("WATER").density = Some(density("0.99820123"));
    house.formula("HALF", "percent", &["ETHANOL 50 %", "WATER q.s."]);
    let request = CostRequest::version(house.version_id("HALF"), today());
    let sheet = cost(&house, &request).unwrap();
    assert_eq!(sheet.totals.per_litre, None);
    assert_eq!((&sheet.totals.per_us_gallon, &sheet.totals.per_imperial_gallon), (&None, &None));
    let estimate = sheet.density_estimate.as_ref().unwrap();
    assert_eq!(shown(estimate.density.as_ref().unwrap(), 6), "0.881506");
    assert_eq!(codes(&sheet).1, ["NO_COST_PER_BATCH", "NO_FIGURE_PER_LITRE", "DENSITY_ESTIMATE"]);
    assert_eq!(
        sheet.notes[2].to_string(),
        "version 1 of formula HALF has no density; an estimate by ideal mixing of its materials is 0.8815 kg/L, at \
         which a litre would cost 0.4408 GBP; it may be out by some percent, and nothing here stands on it"
    );
    let print = printed(&house, &request);
    assert_eq!(print.density_kg_per_litre, None);
    assert_eq!(print.density_estimate.unwrap().kg_per_litre, Some(dec("0.882")));

    // A volume cannot be filled by an estimate.
    house.pack("HALF-1", "HALF", "1 L");
    let sheet = cost(&house, &CostRequest::pack(house.pack_id("HALF-1"), today())).unwrap();
    assert_eq!(codes(&sheet).0, ["NO_LIQUID_DENSITY"]);
    assert!(sheet.filling.is_none() && sheet.density_estimate.is_some());

    // With one density unknown there is no estimate, and it is said what is missing.
    house.material("WATER").density = None;
    let sheet = cost(&house, &request).unwrap();
    let estimate = sheet.density_estimate.unwrap();
    assert_eq!((estimate.density, estimate.unknown[0].code.as_str()), (None, "WATER"));
}

/// Money in a currency without a rate is a gap of its line, and of what rests on it.
#[test]
fn costs_in_other_currencies() {
    let mut house = everything();
    let dollars = UnitPrice::from_decimal(dec("30"), kernel::Currency::USD).unwrap();
    house.parts.house_rates[0].amount = HouseRateAmount::Stated(dollars);
    let request = CostRequest::version(house.version_id("P"), today());
    assert_eq!(codes(&cost(&house, &request).unwrap()).0, ["NO_RATE"]);
    house.rate("USD", "GBP", "0.8", "2026-01-01");
    let sheet = cost(&house, &request).unwrap();
    assert!(sheet.complete);
    assert_eq!(value(&sheet, "mixing"), "36");
    assert_eq!(
        line(&sheet, "mixing").source.to_string(),
        "house rate “bench” from 2026-01-01: 30 USD per labour hour × 1.5 h; 1 USD = 0.8 GBP on 2026-01-01 (the \
         central bank)"
    );
}

/// Between two batch sizes each named cost has its own line, and what is the same for every batch weighs less on the larger one.
#[test]
fn named_costs_are_compared_one_by_one() {
    let house = everything();
    let request = CostRequest::pack(house.pack_id("P-250"), today());
    let small = cost(&house, &request.at_batch(kg("100"))).unwrap();
    let large = cost(&house, &request.at_batch(kg("200"))).unwrap();
    let comparison = compare(&small, &large).unwrap();
    let sum: Exact = comparison.lines.iter().map(|line| line.difference.clone()).sum();
    assert_eq!(sum, comparison.difference);
    for line in &comparison.lines {
        let effects = &(&line.amount_effect + &line.price_effect) + &line.not_known;
        assert_eq!(effects, line.difference, "{:?}", line.label);
    }
    let of = |label: &str| comparison.lines.iter().find(|line| line.label.as_deref() == Some(label)).unwrap();
    assert!(of("plate count").difference.is_negative());
    assert_eq!(of("plate count").price_effect, Exact::ZERO, "a batch's still costs the same");
    let causes: Exact = comparison.causes.iter().map(|sum| sum.effect.clone()).sum();
    assert_eq!(causes, comparison.difference);
}
