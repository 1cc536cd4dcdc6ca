//! Variances and losses against published cases.

use domain::packs::ComponentPer;
use kernel::{Currency, Exact, ids::MaterialId};
use proptest::prelude::*;
use rust_decimal::Decimal;

use super::{
    costing::polish,
    fixtures::{House, dec, gbp, kg, percent, shown, today},
};
use crate::{
    CostRequest, MaterialRef, Per, View,
    cost::LineKind,
    cost_sheet,
    variance::{
        Actual, ActualLine, PrintedVarianceLine, Standard, StandardLine, Variances, in_words, loss_account,
        variances,
    },
};

fn exact(text: &str) -> Exact {
    Exact::from(dec(text))
}

fn material(code: &str) -> MaterialRef {
    // The same identity for the same code, so that both sides name the same thing.
    let number = code.bytes().fold(0_u128, |sum, byte| sum * 256 + u128::from(byte));
    let id: MaterialId = serde_json::from_str(&format!("\"{number:032x}\"")).unwrap();
    MaterialRef { id, code: code.to_owned(), name: code.to_lowercase() }
}

/// `(what, standard amount, standard price, actual amount, actual value)`.
type Row<'r> = (&'r str, &'r str, &'r str, &'r str, &'r str);

fn of(kind: LineKind, output: &str, came_out: &str, rows: &[Row<'_>]) -> Variances {
    let lines = rows.iter().map(|(code, amount, price, ..)| StandardLine {
        kind,
        cost_of: None,
        label: None,
        material: Some(material(code)),
        amount: exact(amount),
        price: exact(price),
    });
    let standard = Standard { output: exact(output), lines: lines.collect() };
    let lines = rows.iter().map(|(code, _, _, amount, value)| ActualLine {
        kind,
        cost_of: None,
        label: None,
        material: Some(material(code)),
        amount: exact(amount),
        value: exact(value),
    });
    let actual = Actual { output: exact(came_out), lines: lines.collect() };
    variances(&standard, &actual, Currency::USD).unwrap()
}

/// OpenStax, Principles of Accounting 2, section 8.2: a shampoo of 8 oz at 0.85; 11,000 bottles from 89,000 oz for 74,760. Price 890
/// favourable, quantity 850 unfavourable, together 40 favourable.
#[test]
fn shampoo() {
    let found = of(LineKind::Ingredient, "1", "11000", &[("SHAMPOO", "8", "0.85", "89000", "74760")]);
    assert_eq!(found.sums.price, exact("890"));
    assert_eq!(found.sums.usage, exact("-850"));
    assert_eq!(found.sums.total, exact("40"));
    assert_eq!((in_words(&found.sums.price), in_words(&found.sums.usage)), ("favourable", "adverse"));
    // One material makes no mix: all of its usage is yield.
    assert_eq!((found.sums.mix.clone(), found.sums.yielded.clone()), (Exact::ZERO, exact("-850")));
    assert_eq!(&found.standard_cost - &found.actual_cost, found.sums.total);
}

/// OpenStax, Principles of Accounting 2, section 8.2, a candy maker. The text prints the first without its sign.
#[test]
fn candy() {
    let check = |standard: (&str, &str), actual: (&str, &str), price: Option<&str>, usage: Option<&str>| {
        let value = &exact(actual.0) * &exact(actual.1);
        let value = value.to_decimal_exactly().unwrap().to_string();
        let rows = [("SUGAR", standard.0, standard.1, actual.0, value.as_str())];
        let sums = of(LineKind::Ingredient, "1", "1", &rows).sums;
        if let Some(price) = price {
            assert_eq!(sums.price, exact(price));
        }
        if let Some(usage) = usage {
            assert_eq!(sums.usage, exact(usage));
        }
    };
    check(("20", "7"), ("20", "6"), Some("20"), Some("0"));
    check(("20", "7"), ("20", "9"), Some("-40"), Some("0"));
    check(("0.25", "7"), ("0.20", "7"), None, Some("0.35"));
    check(("0.25", "7"), ("0.50", "7"), None, Some("-1.75"));
    // Half a pound at 9 against a quarter at 7: 2.75 adverse, 1.00 of it price and 1.75 of it quantity.
    check(("0.25", "7"), ("0.50", "9"), Some("-1.00"), Some("-1.75"));
}

/// OpenStax, Principles of Accounting 2, section 8.2, ice cream (inputs printed there, answers worked out): 25 gallons from 105 quarts of
/// cream, and from 45 spoons of toffee.
#[test]
fn ice_cream() {
    let cream = of(LineKind::Ingredient, "1", "25", &[("CREAM", "4", "2.00", "105", "210")]);
    assert_eq!(cream.sums.usage, exact("-10"));
    let toffee = of(LineKind::Ingredient, "1", "25", &[("TOFFEE", "2", "0.50", "45", "22.50")]);
    assert_eq!(toffee.sums.usage, exact("2.50"));
}

/// Mix and yield of liquids, usage being both. The first is a question of an accountancy examination on an open forum (signs given there,
/// amounts worked out); the second too (both amounts are among the answers offered); the third is a worked page of robflint.co.uk
/// (usage and mix; yield worked out).
#[test]
fn mix_and_yield() {
    let check = |output: &str, came_out: &str, rows: &[Row<'_>], mix: &str, yielded: &str, usage: &str| {
        let sums = of(LineKind::Ingredient, output, came_out, rows).sums;
        let found = [&sums.mix, &sums.yielded, &sums.usage].map(|sum| shown(sum, 6));
        assert_eq!(found, [mix, yielded, usage]);
        assert_eq!(&sums.mix + &sums.yielded, sums.usage);
        assert!(sums.price.is_zero());
    };
    check(
        "19",
        "1850",
        &[("A", "8", "20", "900", "18000"), ("B", "12", "25", "1100", "27500")],
        "500.000000",
        "-1210.526316",
        "-710.526316",
    );
    check(
        "1",
        "5000",
        &[
            ("X", "0.3", "2", "1400", "2800"),
            ("Y", "0.6", "3", "3100", "9300"),
            ("Z", "0.3", "1", "1250", "1250"),
        ],
        "-412.500000",
        "562.500000",
        "150.000000",
    );
    check(
        "1",
        "20",
        &[("P", "15", "7", "370", "2590"), ("Q", "10", "8", "180", "1440")],
        "40.000000",
        "-370.000000",
        "-330.000000",
    );
    // The first, line by line: 2,000 L should be 800 of A and 1,200 of B, and give 1,900.
    let found = of(
        LineKind::Ingredient,
        "19",
        "1850",
        &[("A", "8", "20", "900", "18000"), ("B", "12", "25", "1100", "27500")],
    );
    let mix: Vec<_> = found.lines.iter().map(|line| line.mix.clone().unwrap()).collect();
    assert_eq!(mix, [exact("-2000"), exact("2500")]);
    assert_eq!(found.expected_output, Some(exact("1900")));
}

/// OpenStax, Principles of Accounting 2, section 8.4: variable overhead at 2.00 an hour, 2,000 hours allowed, 2,500 worked at 2.80: rate
/// 2,000 and efficiency 1,000 unfavourable. Hours make no mix.
#[test]
fn overhead() {
    let found = of(LineKind::LineLabour, "1", "1", &[("HOURS", "2000", "2.00", "2500", "7000")]);
    assert_eq!((found.sums.price.clone(), found.sums.other_usage.clone()), (exact("-2000"), exact("-1000")));
    assert_eq!((found.lines[0].mix.clone(), found.sums.mix.clone()), (None, Exact::ZERO));
    assert_eq!(found.sums.usage, exact("-1000"));
}

/// basiccollegeaccounting.com: 2,000 L of a drink with a normal loss of 10 % cost 47,000, 26.11 a litre. An accountancy text: 1,000 kg at
/// 18, labour 1,800 and overhead 900 with 10 % lost are 23 a kg; the cost sheet says so too.
#[test]
fn normal_loss() {
    let none = Exact::ZERO;
    let drink = loss_account(&exact("47000"), &exact("2000"), percent("10"), &none, &exact("1800")).unwrap();
    assert_eq!(drink.unit_cost, Exact::ratio(47_000, 1_800).unwrap());
    assert_eq!((drink.abnormal_loss, drink.output_value), (Exact::ZERO, exact("47000")));
    let powder = loss_account(&exact("20700"), &exact("1000"), percent("10"), &none, &exact("900")).unwrap();
    assert_eq!(powder.unit_cost, exact("23"));

    let mut house = House::new();
    house.at_price("POWDER", "18");
    let version = house.formula("F", "percent", &["POWDER 100 %"]);
    version.process_loss = percent("10");
    version.usual_batch = kg("1000");
    version.cost_per_batch = Some(gbp("2700"));
    let catalogue = house.catalogue();
    let sheet =
        cost_sheet(&View::plain(&catalogue), &CostRequest::version(house.version_id("F"), today())).unwrap();
    assert_eq!(sheet.totals.per_kg, exact("23"));
    // A batch of it that lost more: the normal loss stands inside the standard, the rest is yield.
    let standard = Standard::of(&sheet, Per::Kilogram).unwrap();
    let actual = Actual {
        output: exact("850"),
        lines: sheet
            .lines
            .iter()
            .map(|line| ActualLine {
                kind: line.kind,
                cost_of: line.cost_of,
                label: line.label.clone(),
                material: line.material.clone(),
                amount: line.amount.clone().unwrap_or(Exact::ONE),
                value: line.value.clone().unwrap(),
            })
            .collect(),
    };
    let found = variances(&standard, &actual, Currency::GBP).unwrap();
    assert_eq!(found.sums.total, exact("-1150"), "fifty kg at 23");
    assert_eq!((found.sums.yielded, found.sums.other_usage), (exact("-1000"), exact("-150")));
}

/// A published examination solution (cdquestions): 13,750 for 1,000 units, 10 % normal loss sold at 2.50, 850 out: 15.00 each, an abnormal
/// loss of 50 worth 750, output worth 12,750.
#[test]
fn abnormal_loss_and_gain() {
    let check = |output: &str| {
        loss_account(&exact("13750"), &exact("1000"), percent("10"), &exact("2.50"), &exact(output)).unwrap()
    };
    let loss = check("850");
    assert_eq!((loss.unit_cost, loss.abnormal_loss), (exact("15"), exact("50")));
    assert_eq!((loss.abnormal_value, loss.output_value), (exact("750"), exact("12750")));
    let gain = check("920");
    assert_eq!((gain.abnormal_loss, gain.abnormal_value), (exact("-20"), exact("-300")));
    assert!(loss_account(&Exact::ONE, &Exact::ZERO, percent("10"), &Exact::ZERO, &Exact::ZERO).is_err());
    assert!(loss_account(&Exact::ONE, &Exact::ONE, percent("100"), &Exact::ZERO, &Exact::ZERO).is_err());
}

/// A pack's sheet sets the standard; what was not planned counts as usage at what it cost; what was planned and not used is favourable.
#[test]
fn a_filled_batch() {
    let mut house = polish();
    house.packed_with("SLEEVE", "1", ComponentPer::Unit, "0.02");
    let catalogue = house.catalogue();
    let sheet =
        cost_sheet(&View::plain(&catalogue), &CostRequest::pack(house.pack_id("POLISH-250"), today()))
            .unwrap();
    let standard = Standard::of(&sheet, Per::Unit).unwrap();
    assert_eq!(standard.output, Exact::whole(384));
    let mut actual = Actual { output: Exact::whole(370), lines: Vec::new() };
    for line in &standard.lines {
        if line.material.as_ref().is_some_and(|material| material.code == "SLEEVE") {
            continue;
        }
        let value = &line.amount * &line.price;
        let (kind, material, amount) = (line.kind, line.material.clone(), line.amount.clone());
        // In two lots.
        let half = Exact::scaled(5, 1);
        for _ in 0..2 {
            actual.lines.push(ActualLine {
                kind,
                cost_of: line.cost_of,
                label: line.label.clone(),
                material: material.clone(),
                amount: &amount * &half,
                value: &value * &half,
            });
        }
    }
    let salt = ActualLine {
        kind: LineKind::Ingredient,
        cost_of: None,
        label: None,
        material: Some(material("SALT")),
        amount: Exact::ONE,
        value: exact("0.35"),
    };
    actual.lines.push(salt);
    let found = variances(&standard, &actual, Currency::GBP).unwrap();
    assert_eq!(found.sums.price, Exact::ZERO);
    let line = |code: &str| {
        found.lines.iter().find(|line| line.material.as_ref().is_some_and(|m| m.code == code)).unwrap()
    };
    assert!(line("SALT").unplanned);
    assert_eq!(line("SALT").usage, exact("-0.35"));
    assert_eq!(line("SLEEVE").usage, exact("7.40"), "370 of them not used");
    assert_eq!(line("TIN").usage, exact("-4.375"), "14 units' worth, scrap included");
    assert_eq!(line("GUM-STOCK").standard_amount, Exact::ratio(25 * 370, 384).unwrap());
    assert_eq!(&found.standard_cost - &found.actual_cost, found.sums.total);
    let print = found.print().unwrap();
    assert_eq!(print.standard_cost - print.actual_cost, print.total);
    assert_eq!(serde_json::to_value(&found).unwrap()["yield"], print.yielded.to_string());

    assert!(
        Standard::of(&sheet, Per::Kilogram)
            .unwrap()
            .lines
            .iter()
            .all(|line| line.kind != LineKind::Component)
    );
    let liquid =
        cost_sheet(&View::plain(&catalogue), &CostRequest::version(house.version_id("POLISH"), today()));
    assert!(Standard::of(&liquid.unwrap(), Per::Unit).is_err());
    let nothing = Standard { output: Exact::ZERO, lines: Vec::new() };
    assert!(variances(&nothing, &actual, Currency::GBP).is_err());
    actual.output = Exact::whole(-1);
    assert!(variances(&standard, &actual, Currency::GBP).is_err());
    house.parts.quotations.clear();
    let catalogue = house.catalogue();
    let gaps = cost_sheet(&View::plain(&catalogue), &CostRequest::pack(house.pack_id("POLISH-250"), today()));
    assert!(Standard::of(&gaps.unwrap(), Per::Unit).is_err());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Standard cost of the output less actual cost is price, mix, yield and other usage together; exactly, line by line, and as printed.
    #[test]
    fn variances_add_up(
        rows in prop::collection::vec((0_usize..5, 0_i64..500, 0_i64..9_000, 0_i64..500, 0_i64..900_000), 0..12),
        output in 1_i64..400, came_out in 0_i64..400, kinds in prop::collection::vec(0_usize..2, 5),
    ) {
        let kind = |at: usize| [LineKind::Ingredient, LineKind::Component][kinds[at]];
        let named = |at: usize| Some(material(["A", "B", "C", "D", "E"][at]));
        let tenths = |figure: i64| Exact::scaled(i128::from(figure), 1);
        let mut standard = Standard { output: tenths(output), lines: Vec::new() };
        let mut actual = Actual { output: tenths(came_out), lines: Vec::new() };
        for (at, amount, price, used, value) in rows {
            if amount > 0 {
                let (kind, material, amount) = (kind(at), named(at), tenths(amount));
                let price = Exact::scaled(i128::from(price), 3);
                standard.lines.push(StandardLine { kind, cost_of: None, label: None, material, amount, price });
            }
            let (kind, material, amount) = (kind(at), named(at), tenths(used));
            let value = Exact::scaled(i128::from(value), 3);
            actual.lines.push(ActualLine { kind, cost_of: None, label: None, material, amount, value });
        }
        let found = variances(&standard, &actual, Currency::GBP).unwrap();
        let sums = &found.sums;
        let batches = actual.output.checked_div(&standard.output).unwrap();
        let should: Exact = standard.lines.iter().map(|line| &(&line.amount * &line.price) * &batches).sum();
        if !batches.is_zero() {
            prop_assert_eq!(&found.standard_cost, &should);
        }
        prop_assert_eq!(&found.actual_cost, &actual.lines.iter().map(|line| &line.value).sum::<Exact>());
        prop_assert_eq!(&sums.total, &(&found.standard_cost - &found.actual_cost));
        prop_assert_eq!(&sums.usage, &(&(&sums.mix + &sums.yielded) + &sums.other_usage));
        prop_assert_eq!(&sums.total, &(&(&sums.price + &sums.usage) + &sums.overhead));
        // Yield of all ingredients is what came out against what should have, at the standard cost of one.
        if let (Some(expected), false) = (&found.expected_output, found.lines.iter().any(|line| line.unplanned)) {
            let ingredients: Exact = standard.lines.iter().filter(|line| line.kind == LineKind::Ingredient)
                .map(|line| &line.amount * &line.price).sum();
            let one = ingredients.checked_div(&standard.output).unwrap();
            if !batches.is_zero() {
                prop_assert_eq!(&sums.yielded, &(&(&actual.output - expected) * &one));
            }
        }
        let print = found.print().unwrap();
        let column = |of: fn(&PrintedVarianceLine) -> Decimal| print.lines.iter().map(of).sum::<Decimal>();
        if !print.lines.is_empty() {
            prop_assert_eq!(column(|line| line.price), print.price);
            prop_assert_eq!(column(|line| line.mix), print.mix);
            prop_assert_eq!(column(|line| line.yielded), print.yielded);
            prop_assert_eq!(column(|line| line.other_usage), print.other_usage);
            prop_assert_eq!(column(|line| line.total), print.total);
        }
        prop_assert_eq!(print.price + print.mix + print.yielded + print.other_usage, print.total);
        prop_assert_eq!(print.standard_cost - print.actual_cost, print.total);
    }
}
