//! Cost sheets line by line, and as they are printed.

use domain::{formulas::VersionStatus, packs::ComponentPer};
use kernel::{Currency, Exact};
use rust_decimal::Decimal;

use super::fixtures::{House, day, dec, gbp, kg, measured, percent, shown, today};
use crate::{
    CostRequest, CostSheet, CostSubject, EngineError, View, cost_sheet,
    present::{self, PrintedCostSheet, PrintedLine},
};

pub fn cost(house: &House, request: &CostRequest) -> Result<CostSheet, EngineError> {
    let catalogue = house.catalogue();
    cost_sheet(&View::plain(&catalogue), request)
}

pub fn printed(house: &House, request: &CostRequest) -> PrintedCostSheet {
    present::cost_sheet(&cost(house, request).unwrap()).unwrap()
}

pub fn codes(sheet: &CostSheet) -> (Vec<&'static str>, Vec<&'static str>) {
    (sheet.gaps.iter().map(crate::Gap::code).collect(), sheet.notes.iter().map(crate::Note::code).collect())
}

/// A polish with a premix: gum stock lost by a tenth, half a kilogram of it left behind, 9 for making 50 kg of it.
pub fn polish() -> House {
    let mut house = House::new();
    house.at_price("GUM", "20").at_price("WATER", "0.01").at_price("WAX", "5");
    let stock = house.formula("GUM-STOCK", "percent", &["GUM 2 %", "WATER q.s."]);
    stock.process_loss = percent("10");
    stock.heel = kg("0.5");
    stock.usual_batch = kg("50");
    stock.cost_per_batch = Some(gbp("9"));
    let polish = house.formula("POLISH", "percent", &["GUM-STOCK 25 %", "WAX 15 %", "WATER q.s."]);
    polish.process_loss = percent("2");
    polish.heel = kg("1");
    polish.cost_per_batch = Some(gbp("40"));
    polish.density = measured("0.98");
    let pack = house.pack("POLISH-250", "POLISH", "250 mL");
    pack.overfill = percent("2");
    pack.filling_loss = percent("1");
    pack.units_per_case = Some(6);
    pack.line_labour = Some(gbp("0.05"));
    pack.price = Some(gbp("2.40"));
    house.packed_with("TIN", "1", ComponentPer::Unit, "0.30").packed_with(
        "CASE",
        "1",
        ComponentPer::Case,
        "0.60",
    );
    house.parts.packs[0].components[0].loss = percent("4");
    house
}

#[test]
fn an_intermediate_is_rolled_up_at_its_usual_batch() {
    let house = polish();
    let sheet = cost(&house, &CostRequest::version(house.version_id("POLISH"), today())).unwrap();
    assert_eq!(codes(&sheet), (vec![], vec![]));
    // 50 kg of stock take 1 kg gum and 49 kg water, and yield 50 × 0.9 − 0.5 = 44.5 kg.
    let stock = &sheet.lines[0];
    let per_kg = Exact::from(dec("20")) + Exact::from(dec("0.49")) + Exact::from(dec("9"));
    let per_kg = per_kg.checked_div(&Exact::from(dec("44.5"))).unwrap();
    assert_eq!(stock.unit_cost, Some(per_kg.clone()));
    assert_eq!(stock.value, Some(per_kg * Exact::whole(25)));
    assert_eq!(
        stock.source.to_string(),
        "made here: version 1 of formula GUM-STOCK, rolled up at its usual batch of 50 kg, which yields 44.5 kg; \
         0.202247 GBP per kg for making it"
    );
    let nested: Exact = stock.nested.iter().map(|line| line.value.clone().unwrap()).sum();
    assert_eq!(Some(nested), stock.value);
    assert_eq!(shown(stock.nested[0].amount.as_ref().unwrap(), 6), "0.561798", "gum behind 25 kg of stock");
    // The gum was priced for what the batch weighs of it, 25 / 0.9 × 2 %.
    let crate::Source::Quotation(source) = &stock.nested[0].source else { panic!("not quoted") };
    assert_eq!(shown(&source.demanded, 6), "0.555556");
    let good = Exact::from(dec("97"));
    assert_eq!(sheet.batch.good, good);
    let per_batch = &sheet.totals.ingredients + &Exact::whole(40);
    assert_eq!(sheet.totals.per_batch, per_batch);
    assert_eq!(sheet.totals.per_kg, per_batch.checked_div(&good).unwrap());
    assert_eq!(sheet.totals.per_litre, Some(&sheet.totals.per_kg * &Exact::from(dec("0.98"))));
}

#[test]
fn a_pack() {
    let house = polish();
    let sheet = cost(&house, &CostRequest::pack(house.pack_id("POLISH-250"), today())).unwrap();
    assert_eq!(codes(&sheet), (vec![], vec!["LEFT_OVER"]));
    let filling = sheet.filling.as_ref().unwrap();
    // 97 × 0.99 = 96.03 kg at 0.25 × 0.98 × 1.02 = 0.2499 kg.
    assert_eq!(filling.to_fill.to_decimal_exactly(), Some(dec("96.03")));
    assert_eq!(filling.fill_mass.to_decimal_exactly(), Some(dec("0.2499")));
    assert_eq!(filling.units, 384);
    assert_eq!(filling.left_over.to_decimal_exactly(), Some(dec("0.0684")));
    let by_label = |code: &str| {
        sheet.lines.iter().find(|line| line.material.as_ref().is_some_and(|m| m.code == code)).unwrap()
    };
    // Four in a hundred tins used are scrap: 1 / 0.96 for each good one, 400 for 384.
    assert_eq!(by_label("TIN").amount, Some(Exact::whole(400)));
    assert_eq!(by_label("TIN").value, Some(Exact::whole(120)));
    assert_eq!(by_label("CASE").amount, Some(Exact::whole(64)));
    assert_eq!(by_label("CASE").value_per_unit, Some(Exact::from(dec("0.1"))));
    assert_eq!(sheet.totals.line_labour.to_decimal_exactly(), Some(dec("19.2")));
    let per_unit: Exact = sheet.lines.iter().map(|line| line.value_per_unit.clone().unwrap()).sum();
    assert_eq!(Some(&per_unit), sheet.totals.per_unit.as_ref());
    let margin = sheet.margin.as_ref().unwrap();
    let earned = Exact::from(dec("2.4")) - &per_unit;
    assert_eq!(margin.margin, Some(earned.checked_div(&Exact::from(dec("2.4"))).unwrap()));
    assert_eq!(margin.markup, Some(earned.checked_div(&per_unit).unwrap()));
    assert_eq!(margin.earned_per_unit, earned);
    // At another price.
    let mut request = CostRequest::pack(house.pack_id("POLISH-250"), today());
    request.price = Some(gbp("3"));
    assert_eq!(cost(&house, &request).unwrap().margin.unwrap().price, gbp("3"));
}

#[test]
fn a_missing_price_marks_its_line_and_every_total() {
    let mut house = polish();
    house.parts.quotations.retain(|q| !q.reference.starts_with("Q-GUM"));
    let request = CostRequest::pack(house.pack_id("POLISH-250"), today());
    let sheet = cost(&house, &request).unwrap();
    assert!(!sheet.complete);
    assert_eq!(
        sheet.gaps.iter().map(ToString::to_string).collect::<Vec<_>>(),
        ["GUM (gum) has no quotation"]
    );
    assert!(sheet.margin.is_none(), "a margin on part of the cost would flatter");
    let stock = &sheet.lines[0];
    assert!(stock.partial && stock.value.is_some(), "water and making it are known");
    assert_eq!(stock.nested[0].value, None);
    assert!(stock.nested[0].partial && !stock.nested[1].partial && !sheet.lines[1].partial);
    let print = printed(&house, &request);
    assert_eq!(print.lines[0].nested[0].value, None);
    assert_eq!(print.gaps[0].code, "NO_PRICE");
    assert!(!print.complete);
}

#[test]
fn other_gaps() {
    // No density: the units are not known, nor anything per unit but what is entered per unit.
    let mut house = polish();
    house.version("POLISH").density = None;
    let request = CostRequest::pack(house.pack_id("POLISH-250"), today());
    let sheet = cost(&house, &request).unwrap();
    assert_eq!(codes(&sheet).0, ["NO_LIQUID_DENSITY"]);
    assert!(sheet.filling.is_none() && sheet.totals.per_unit.is_none() && sheet.totals.per_litre.is_none());
    assert_eq!(sheet.lines[4].value, None);
    assert!(sheet.lines[4].value_per_unit.is_some());
    assert!(printed(&house, &request).totals.per_unit.is_none());

    // No units per case.
    let mut house = polish();
    house.parts.packs[0].units_per_case = None;
    let sheet = cost(&house, &CostRequest::pack(house.pack_id("POLISH-250"), today())).unwrap();
    assert_eq!(codes(&sheet).0, ["NO_UNITS_PER_CASE"]);
    assert!(sheet.totals.per_case.is_none() && !sheet.complete);

    // An intermediate that nobody approved in time.
    let mut house = polish();
    house.version("GUM-STOCK").approval.as_mut().unwrap().on = day("2026-06-16");
    let sheet = cost(&house, &CostRequest::version(house.version_id("POLISH"), today())).unwrap();
    assert_eq!(codes(&sheet).0, ["NO_APPROVED_VERSION"]);
    assert_eq!(sheet.lines[0].value, None);

    // Money of the batch, the line and the price in a currency without a rate.
    let mut house = polish();
    let dollars = |text: &str| kernel::Money::from_decimal(dec(text), Currency::USD).unwrap();
    house.version("POLISH").cost_per_batch = Some(dollars("40"));
    house.parts.packs[0].line_labour = Some(dollars("0.05"));
    house.parts.packs[0].price = Some(dollars("2.40"));
    let sheet = cost(&house, &CostRequest::pack(house.pack_id("POLISH-250"), today())).unwrap();
    let needs = sheet.gaps.iter().map(ToString::to_string).collect::<Vec<_>>();
    let rate = "there is no exchange rate from USD to GBP for 2026-06-15, which";
    assert_eq!(
        needs,
        [
            format!("{rate} the cost per batch of formula POLISH needs"),
            format!("{rate} the line labour of pack POLISH-250 needs"),
            format!("{rate} the selling price needs"),
        ]
    );
    assert!(sheet.margin.is_none());
    house.rate("USD", "GBP", "0.5", "2026-01-01");
    let sheet = cost(&house, &CostRequest::pack(house.pack_id("POLISH-250"), today())).unwrap();
    assert!(sheet.complete);
    assert_eq!(sheet.totals.making, Exact::whole(20));
    assert_eq!(sheet.margin.unwrap().price_in_house_currency, Exact::from(dec("1.2")));
}

/// A line of nought (added until the pH is right) costs nought and asks for no price.
#[test]
fn a_trim_line_of_nought_is_no_gap() {
    let mut house = House::new();
    house.at_price("WATER", "1");
    house.formula("F", "percent", &["WATER q.s.", "ACID 0 %"]);
    let sheet = cost(&house, &CostRequest::version(house.version_id("F"), today())).unwrap();
    assert!(sheet.complete);
    assert_eq!(sheet.lines[1].value, Some(Exact::ZERO));
    assert_eq!(codes(&sheet).1, ["NO_COST_PER_BATCH", "NO_FIGURE_PER_LITRE"]);
}

#[test]
fn what_cannot_be_costed_is_refused() {
    let mut house = polish();
    let pack = house.pack_id("POLISH-250");
    let refused = |house: &House, request: &CostRequest| cost(house, request).unwrap_err().to_string();
    let request = CostRequest::pack(pack, today());
    assert_eq!(
        refused(&house, &request.at_batch(kg("1"))),
        "version 1 of formula POLISH: of 1 kg charged, loss and heel leave nothing"
    );
    assert_eq!(
        refused(&house, &request.at_batch(kg("1.2"))),
        "the batch leaves 174.24 g to fill; one unit of pack POLISH-250 takes 249.9 g"
    );
    assert_eq!(refused(&house, &request.at_batch(kg("0"))), "a batch must be above nought");
    let early = CostRequest::pack(pack, day("2025-12-31"));
    assert_eq!(
        refused(&house, &early),
        "formula POLISH has no version approved by 2025-12-31; approve one, or name the version to use"
    );
    let other = CostSubject::Pack { pack, version: Some(house.version_id("GUM-STOCK")) };
    assert_eq!(
        refused(&house, &CostRequest { subject: other, ..request }),
        "pack POLISH-250 is filled with formula POLISH; the version named is of formula GUM-STOCK"
    );
    let unknown = CostRequest::version(kernel::ids::FormulaVersionId::new(), today());
    assert!(matches!(cost(&house, &unknown), Err(EngineError::NotFound { what: "formula version", .. })));
    house.version("GUM-STOCK").heel = kg("45");
    assert_eq!(
        refused(&house, &request),
        "version 1 of formula GUM-STOCK: of 50 kg charged, loss and heel leave nothing"
    );
}

#[test]
fn notes_on_batch_and_version() {
    let mut house = polish();
    let version = house.version("POLISH");
    version.smallest_batch = Some(kg("50"));
    version.largest_batch = Some(kg("500"));
    version.status = VersionStatus::Draft;
    let request = CostRequest::version(house.version_id("POLISH"), today());
    let notes = |batch: &str| codes(&cost(&house, &request.at_batch(kg(batch))).unwrap()).1;
    assert_eq!(notes("49.9"), ["NOT_APPROVED", "BATCH_BELOW_SMALLEST"]);
    assert_eq!(notes("500"), ["NOT_APPROVED"]);
    assert_eq!(notes("501"), ["NOT_APPROVED", "BATCH_ABOVE_LARGEST"]);
}

/// Deeply shared intermediates have more lines than anybody reads; the figure does not depend on spelling them out.
#[test]
fn nested_lines_are_bounded_and_the_figure_is_whole() {
    let mut house = House::new();
    house.at_price("L16", "3");
    house.formula("F", "percent", &["L1 50 %", "L1 50 %"]);
    for level in 1..16 {
        let next = format!("L{}", level + 1);
        house.formula(&format!("L{level}"), "percent", &[&format!("{next} 50 %"), &format!("{next} 50 %")]);
    }
    let sheet = cost(&house, &CostRequest::version(house.version_id("F"), today())).unwrap();
    assert!(sheet.complete);
    assert_eq!(sheet.totals.per_kg, Exact::whole(3));
    assert!(codes(&sheet).1.contains(&"NOT_SPELT_OUT"));
    present::cost_sheet(&sheet).unwrap();
}

/// The columns of nested lines make their line.
fn nested(lines: &[PrintedLine]) {
    for line in lines.iter().filter(|line| !line.nested.is_empty()) {
        let sum =
            |of: fn(&PrintedLine) -> Option<Decimal>| -> Decimal { line.nested.iter().filter_map(of).sum() };
        assert_eq!(sum(|l| l.value), line.value.unwrap_or_default(), "{}", line.label);
        assert_eq!(sum(|l| l.value_per_unit), line.value_per_unit.unwrap_or_default(), "{}", line.label);
        assert_eq!(sum(|l| l.share_percent), line.share_percent.unwrap_or_default(), "{}", line.label);
        nested(&line.nested);
    }
}

/// Every column of a printed sheet adds up, nested lines to their line.
pub fn assert_adds_up(sheet: &PrintedCostSheet) {
    let sum = |lines: &[PrintedLine], of: fn(&PrintedLine) -> Option<Decimal>| -> Decimal {
        lines.iter().filter_map(of).sum()
    };
    let totals = &sheet.totals;
    assert_eq!(sum(&sheet.lines, |l| l.value), totals.per_batch);
    assert_eq!(totals.ingredients + totals.making + totals.components + totals.line_labour, totals.per_batch);
    if let Some(per_unit) = totals.per_unit {
        assert_eq!(sum(&sheet.lines, |l| l.value_per_unit), per_unit);
    }
    if totals.per_batch > Decimal::ZERO {
        assert_eq!(sum(&sheet.lines, |l| l.share_percent), Decimal::ONE_HUNDRED);
    }
    let charges = sheet.lines.iter().filter(|l| l.kind == "INGREDIENT").filter_map(|l| l.amount);
    if sheet.lines.iter().all(|l| l.kind != "INGREDIENT" || l.amount.is_some()) {
        assert_eq!(charges.sum::<Decimal>(), sheet.charged_kg);
    }
    let lost = sheet.evaporation_kg + sheet.process_loss_kg + sheet.heel_kg;
    assert_eq!(lost + sheet.samples_kg + sheet.retains_kg + sheet.good_output_kg, sheet.charged_kg);
    nested(&sheet.lines);
}

#[test]
fn printed_once_and_adding_up() {
    let house = polish();
    let sheet = printed(&house, &CostRequest::pack(house.pack_id("POLISH-250"), today()));
    assert_adds_up(&sheet);
    let totals = &sheet.totals;
    let shown = [
        totals.per_batch,
        totals.per_kg,
        totals.per_litre.unwrap(),
        totals.per_unit.unwrap(),
        totals.per_case.unwrap(),
    ];
    assert_eq!(shown.map(|d| d.to_string()), ["309.77", "1.362551", "1.335300", "0.8067", "4.8401"]);
    let margin = sheet.margin.as_ref().unwrap();
    assert_eq!(margin.earned_per_unit.to_string(), "1.5933");
    assert_eq!(margin.margin_percent.unwrap().to_string(), "66.39");
    assert_eq!(margin.markup_percent.unwrap().to_string(), "197.51");
    let json = serde_json::to_value(&sheet).unwrap();
    assert_eq!(json["totals"]["per_batch"], "309.77", "decimals are strings");
    assert_eq!(json["lines"][0]["material"]["code"], "GUM-STOCK");
}

/// Minor units differ: none for the yen, three for the Kuwaiti dinar (ISO 4217).
#[test]
fn minor_units() {
    for (currency, per_batch) in [("JPY", "33"), ("KWD", "33.333"), ("EUR", "33.33")] {
        let mut house = House::new();
        house.settings.currency = currency.parse().unwrap();
        for code in ["A", "B", "C"] {
            house.quote(code, "1 kg", &format!("0.33333333 {currency}"), "1 kg");
        }
        house.formula("F", "300 g", &["A 100 g", "B 100 g", "C 100 g"]);
        let sheet = printed(&house, &CostRequest::version(house.version_id("F"), today()));
        assert_eq!(sheet.totals.per_batch.to_string(), per_batch);
        assert_adds_up(&sheet);
        let shares: Vec<_> = sheet.lines.iter().map(|l| l.share_percent.unwrap().to_string()).collect();
        assert_eq!(shares, ["33.34", "33.33", "33.33"]);
    }
}
