//! Why two sheets differ.

use domain::formulas::{AmountBasis, FormulaVersion, LineAmount, VersionStatus};
use kernel::{Exact, Percent, ids::FormulaVersionId};
use proptest::prelude::*;
use rust_decimal::Decimal;

use super::{
    costing::polish,
    differential::{plans, raw_code},
    fixtures::{House, dec, gbp, kg, percent, shown, today},
    published::hand_wash,
};
use crate::{
    Comparison, CostRequest, CostSheet, Overlay, Per, View, compare,
    compare::{Cause, LineChange, LineDifference, PrintedDifference, compare_per, side_by_side},
    cost_sheet,
    view::{PriceAdjustment, PriceChange, PriceScope},
};

fn exact(text: &str) -> Exact {
    Exact::from(dec(text))
}

fn raised(house: &House, code: &str, by: &str) -> Overlay {
    Overlay {
        prices: vec![PriceChange {
            scope: PriceScope::Material(house.id(code)),
            change: PriceAdjustment::ByPercent(percent(by)),
            from: None,
        }],
        ..Overlay::default()
    }
}

fn sheet(house: &House, overlay: &Overlay, request: &CostRequest) -> CostSheet {
    let catalogue = house.catalogue();
    cost_sheet(&View::with(&catalogue, overlay), request).unwrap()
}

fn plain(house: &House, request: &CostRequest) -> CostSheet {
    sheet(house, &Overlay::default(), request)
}

/// A second version of a formula, changed.
fn second_version(
    house: &mut House,
    code: &str,
    change: impl FnOnce(&mut FormulaVersion),
) -> FormulaVersionId {
    let formula = house.parts.formulas.iter_mut().find(|formula| formula.code == code).unwrap();
    let mut version = formula.versions[0].clone();
    version.id = FormulaVersionId::new();
    version.number = 2;
    version.status = VersionStatus::Draft;
    version.approval = None;
    change(&mut version);
    let id = version.id;
    formula.versions.push(version);
    id
}

fn line<'c>(comparison: &'c Comparison, code: &str) -> &'c LineDifference {
    let of = |line: &&LineDifference| line.material.as_ref().is_some_and(|material| material.code == code);
    comparison.lines.iter().find(of).unwrap()
}

fn causes(comparison: &Comparison) -> Vec<(Cause, String)> {
    comparison.causes.iter().map(|sum| (sum.cause, shown(&sum.effect, 6))).collect()
}

/// A worked table of the trade: an ether sulfate at 12 % that rises by 12 % of 1.62 adds 0.023328 per kg, 4.86 %. Common practice, no
/// source.
#[test]
fn a_rise_of_one_price() {
    let house = hand_wash();
    let request = CostRequest::version(house.version_id("HW"), today());
    let before = plain(&house, &request);
    let after = sheet(&house, &raised(&house, "SLES", "12"), &request);
    let comparison = compare(&before, &after).unwrap();
    assert_eq!((comparison.per, comparison.complete), (Per::Kilogram, true));
    assert_eq!(comparison.difference.to_decimal_exactly(), Some(dec("0.023328")));
    assert_eq!(causes(&comparison), [(Cause::IngredientPrices, "0.023328".to_owned())]);
    let sles = line(&comparison, "SLES");
    assert_eq!((sles.change, sles.price_effect.clone()), (LineChange::Changed, exact("0.023328")));
    assert_eq!(
        (sles.price_before.clone(), sles.price_after.clone()),
        (Some(exact("1.62")), Some(exact("1.8144")))
    );
    assert!(comparison.lines.iter().filter(|line| line.change == LineChange::Same).count() == 8);
    let print = comparison.print().unwrap();
    assert_eq!(print.difference_percent.unwrap().to_string(), "4.86");
    assert_eq!(serde_json::to_value(&comparison).unwrap()["lines"][3]["price_effect"], "0.023328");
    assert!(sles.source_after.as_ref().unwrap().to_string().contains("assumed"));
}

/// Dose, price, added and removed lines together, each by itself.
#[test]
fn two_versions() {
    let mut house = hand_wash();
    house.at_price("BETAINE", "2");
    let betaine = house.id("BETAINE");
    let id = second_version(&mut house, "HW", |version| {
        version.lines[3].amount = LineAmount::Percent(percent("13"));
        // The glycerin goes, a betaine comes; water takes the rest.
        version.lines.remove(2);
        let mut added = version.lines[1].clone();
        added.material = betaine;
        added.amount = LineAmount::Percent(percent("1"));
        version.lines.push(added);
    });
    let before = plain(&house, &CostRequest::version(house.version_id("HW"), today()));
    let after = sheet(&house, &raised(&house, "FRAGRANCE", "10"), &CostRequest::version(id, today()));
    let comparison = compare(&before, &after).unwrap();
    // One percent more of the ether sulfate, two of glycerin gone, one of betaine come: the water stays.
    assert_eq!(line(&comparison, "WATER").change, LineChange::Same);
    assert_eq!(
        causes(&comparison),
        [
            (Cause::IngredientAmounts, "0.016200".to_owned()),
            (Cause::IngredientPrices, "0.008800".to_owned()),
            (Cause::AddedIngredients, "0.020000".to_owned()),
            (Cause::RemovedIngredients, "-0.027000".to_owned()),
        ]
    );
    assert_eq!(line(&comparison, "BETAINE").change, LineChange::Added);
    assert_eq!(line(&comparison, "GLYCERIN").change, LineChange::Removed);
    assert_eq!(comparison.difference, &after.totals.per_kg - &before.totals.per_kg);
    let backwards = compare(&after, &before).unwrap();
    assert_eq!(backwards.difference, -comparison.difference.clone());

    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    let side = side_by_side(&view, house.version_id("HW"), id, None, today()).unwrap();
    assert_eq!(side.rows.len(), 10);
    let row = |code: &str| side.rows.iter().find(|row| row.material.code == code).unwrap();
    assert_eq!(row("SLES").dose_after, Some(exact("0.13")));
    assert_eq!(row("SLES").active_after, Some(exact("0.091")));
    assert_eq!(shown(&row("SLES").dose_change_share.clone().unwrap(), 4), "0.0833");
    assert_eq!(row("SLES").cost_after, Some(exact("0.2106")));
    assert_eq!((row("GLYCERIN").change, row("GLYCERIN").dose_after.clone()), (LineChange::Removed, None));
    assert_eq!((row("BETAINE").change, row("BETAINE").cost_before.clone()), (LineChange::Added, None));
    assert_eq!(row("WATER").change, LineChange::Same);
    assert_eq!(side.before.active, percent("10.5").fraction());
    assert!(side.header.is_empty());
    let costs: Exact = side.rows.iter().filter_map(|row| row.cost_after.clone()).sum();
    assert_eq!(&costs + &side.after.making_per_kg, side.after.cost.per_kg);
    assert_eq!(serde_json::to_value(&side).unwrap()["rows"][3]["dose_after"], "13");
}

#[test]
fn heads_of_versions() {
    let mut house = polish();
    let id = second_version(&mut house, "POLISH", |version| {
        version.process_loss = percent("3");
        version.cost_per_batch = None;
        version.lines.swap(0, 1);
    });
    let catalogue = house.catalogue();
    let side =
        side_by_side(&View::plain(&catalogue), house.version_id("POLISH"), id, Some(kg("50")), today())
            .unwrap();
    let header: Vec<_> = side
        .header
        .iter()
        .map(|change| (change.what, change.before.as_str(), change.after.as_str()))
        .collect();
    assert_eq!(
        header,
        [
            ("process loss", "2 %", "3 %"),
            ("cost per batch", "40 GBP", "none"),
            ("order of addition", "as it was", "changed")
        ]
    );
}

/// Ten times the batch: the heel and the cost per batch are spread, nothing else moves.
#[test]
fn two_batches() {
    let house = polish();
    let request = CostRequest::pack(house.pack_id("POLISH-250"), today());
    let comparison =
        compare(&plain(&house, &request), &plain(&house, &request.at_batch(kg("1000")))).unwrap();
    assert_eq!(comparison.per, Per::Unit);
    let found: Vec<Cause> = comparison.causes.iter().map(|sum| sum.cause).collect();
    assert_eq!(found, [Cause::IngredientAmounts, Cause::CostPerBatch]);
    let making = comparison.lines.iter().find(|line| line.kind.code() == "COST_PER_BATCH").unwrap();
    assert!(making.price_effect.is_zero(), "40 either way");
    assert!(making.amount_effect.is_negative());
    assert_eq!(making.price_before, Some(Exact::whole(40)));
    // Liquid alone: packaging is no part of a kilogram.
    let per_kg =
        compare_per(&plain(&house, &request), &plain(&house, &request.at_batch(kg("1000"))), Per::Kilogram)
            .unwrap();
    assert!(per_kg.lines.iter().all(|line| line.kind.code() != "COMPONENT"));
}

/// A price at the bottom shows beneath the intermediate it goes into, and the lines beneath make that line.
#[test]
fn through_an_intermediate() {
    let mut house = polish();
    let request = CostRequest::version(house.version_id("POLISH"), today());
    let before = plain(&house, &request);
    let overlay = raised(&house, "GUM", "50");
    house.version("GUM-STOCK").cost_per_batch = Some(gbp("18"));
    let after = sheet(&house, &overlay, &request);
    let comparison = compare(&before, &after).unwrap();
    let stock = line(&comparison, "GUM-STOCK");
    assert_eq!(stock.difference, comparison.difference);
    assert_eq!(stock.amount_effect, Exact::ZERO);
    let beneath: Vec<_> = stock
        .nested
        .iter()
        .map(|line| {
            assert_eq!(line.amount_effect, Exact::ZERO);
            (line.kind.code(), line.material.as_ref().map(|m| m.code.clone()), !line.difference.is_zero())
        })
        .collect();
    assert_eq!(
        beneath,
        [
            ("INGREDIENT", Some("GUM".to_owned()), true),
            ("INGREDIENT", Some("WATER".to_owned()), false),
            ("COST_PER_BATCH", None, true)
        ]
    );
    // 25 kg of stock take 9 / 44.5 more each for making it, over 97 kg.
    let making = (Exact::whole(9 * 25)).checked_div(&(exact("44.5") * Exact::whole(97))).unwrap();
    assert_eq!(stock.nested[2].price_effect, making);
    assert_eq!(comparison.causes[0].cause, Cause::IngredientPrices);
}

/// An intermediate that stands on two lines is one line of the comparison, its making by the kilogram of both.
#[test]
fn one_intermediate_on_two_lines() {
    let mut house = polish();
    let stock = house.version("POLISH").lines[0].clone();
    house.version("POLISH").lines.push(domain::formulas::FormulaLine {
        position: 4,
        amount: LineAmount::Percent(percent("5")),
        basis: AmountBasis::AsSupplied,
        ..stock
    });
    let request = CostRequest::version(house.version_id("POLISH"), today());
    let before = plain(&house, &request);
    house.version("POLISH").lines[3].amount = LineAmount::Percent(percent("10"));
    let after = plain(&house, &request);
    let comparison = compare(&before, &after).unwrap();
    let stock = line(&comparison, "GUM-STOCK");
    assert_eq!(stock.nested.len(), 3);
    for line in &stock.nested {
        assert_eq!(line.price_effect, Exact::ZERO, "only more of it");
        assert!(line.amount_effect.is_positive());
    }
}

#[test]
fn what_one_side_does_not_know() {
    let mut house = polish();
    let request = CostRequest::pack(house.pack_id("POLISH-250"), today());
    let before = plain(&house, &request);
    house.parts.quotations.retain(|quotation| !quotation.reference.starts_with("Q-WAX"));
    let after = plain(&house, &request);
    let comparison = compare(&before, &after).unwrap();
    assert!(!comparison.complete);
    let wax = line(&comparison, "WAX");
    assert!(wax.partial);
    assert_eq!(wax.not_known, wax.difference);
    assert_eq!(wax.value_after, None);
    assert_eq!(comparison.causes.last().unwrap().cause, Cause::NotKnown);
    assert_eq!(comparison.after.cost, after.totals.per_unit.clone().unwrap());
    // No units on one side: per kilogram; asked for per unit: refused.
    house.version("POLISH").density = None;
    let without = plain(&house, &request);
    assert_eq!(compare(&before, &without).unwrap().per, Per::Kilogram);
    let refused = compare_per(&before, &without, Per::Unit).unwrap_err().to_string();
    assert_eq!(refused, "pack POLISH-250 has no cost per unit to compare");
}

fn adds_up(comparison: &Comparison) {
    fn lines(of: &[LineDifference]) -> Exact {
        for line in of {
            let effects = &(&line.amount_effect + &line.price_effect) + &line.not_known;
            assert_eq!(effects, line.difference);
            if !line.nested.is_empty() {
                assert_eq!(lines(&line.nested), line.difference);
            }
        }
        of.iter().map(|line| &line.difference).sum()
    }
    fn printed(of: &[PrintedDifference]) -> Decimal {
        for line in of {
            assert_eq!(line.amount_effect + line.price_effect + line.not_known, line.difference);
            if !line.nested.is_empty() {
                assert_eq!(printed(&line.nested), line.difference);
            }
        }
        of.iter().map(|line| line.difference).sum()
    }
    assert_eq!(lines(&comparison.lines), comparison.difference);
    assert_eq!(comparison.causes.iter().map(|sum| &sum.effect).sum::<Exact>(), comparison.difference);
    let print = comparison.print().unwrap();
    assert_eq!(print.after.cost - print.before.cost, print.difference);
    assert_eq!(printed(&print.lines), print.difference);
    assert_eq!(print.causes.iter().map(|cause| cause.effect).sum::<Decimal>(), print.difference);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]

    /// Whatever changes, prices, doses, losses and batch at once, lines, effects, causes and nested lines make the difference of the two
    /// totals, exactly and as printed.
    #[test]
    fn every_difference_adds_up(
        plans in plans(), other in plans(), at in 0_usize..6, by in -50_i64..200, batch in 30_u32..400,
    ) {
        let mut house = plans.house();
        let request = CostRequest::pack(house.pack_id("P"), today());
        let before = plain(&house, &request);
        // The other house's formulas in this one's: other doses, losses, heels and costs per batch of the same materials.
        let mut changed = other;
        changed.prices = plans.prices;
        let mut doses = changed.house();
        let overlay = |house: &House| Overlay {
            prices: vec![PriceChange {
                scope: PriceScope::Material(house.id(&raw_code(at))),
                change: PriceAdjustment::ByPercent(Percent::from_nano(by * 1_000_000_000)),
                from: None,
            }],
            ..Overlay::default()
        };
        for (own, theirs) in house.parts.formulas.iter_mut().zip(&mut doses.parts.formulas) {
            let position = |id| doses.parts.materials.iter().position(|m| m.id == id).unwrap();
            let mut version = theirs.versions[0].clone();
            for line in &mut version.lines {
                let code = &doses.parts.materials[position(line.material)].code;
                line.material = house.parts.materials.iter().find(|m| &m.code == code).unwrap().id;
            }
            version.id = own.versions[0].id;
            version.formula = own.id;
            own.versions[0] = version;
        }
        let after = sheet(&house, &overlay(&house), &request.at_batch(kg(&batch.to_string())));
        let comparison = compare(&before, &after).unwrap();
        prop_assert_eq!(
            &comparison.difference,
            &(after.totals.per_unit.as_ref().unwrap() - before.totals.per_unit.as_ref().unwrap())
        );
        adds_up(&comparison);
        let per_kg = compare_per(&before, &after, Per::Kilogram).unwrap();
        prop_assert_eq!(&per_kg.difference, &(&after.totals.per_kg - &before.totals.per_kg));
        adds_up(&per_kg);
        prop_assert!(compare(&before, &before).unwrap().causes.is_empty());
    }
}
