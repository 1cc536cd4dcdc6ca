//! Ladders of prices, and what a liquid may cost.

use domain::packs::ComponentPer;
use kernel::{Currency, Exact, Money, Percent};
use proptest::prelude::*;
use rust_decimal::Decimal;

use super::{
    costing::polish,
    fixtures::{House, dec, gbp, measured, percent, shown, today},
    published::hand_wash,
};
use crate::{
    CostRequest, CostSheet, View, cost_sheet,
    pricing::{
        Deduction, DeductionOf, Earning, PriceChain, Step, design_to_cost, price_ladder, price_to_hold,
    },
};

fn exact(text: &str) -> Exact {
    Exact::from(dec(text))
}

/// Tax 20 %, a retailer's margin of 40 %, an own margin of 45 %.
fn chain() -> PriceChain {
    PriceChain {
        tax: percent("20"),
        retailer: Some(Earning::Margin(percent("40"))),
        deductions: Vec::new(),
        own: Earning::Margin(percent("45")),
    }
}

fn bottle() -> House {
    let mut house = hand_wash();
    house.version("HW").cost_per_batch = Some(gbp("18"));
    house.version("HW").density = measured("1");
    house.pack("HW-500", "HW", "500 mL").line_labour = Some(gbp("0.08"));
    house.packed_with("BOTTLE", "1", ComponentPer::Unit, "0.40");
    house
}

fn sheet(house: &House, pack: &str) -> CostSheet {
    let catalogue = house.catalogue();
    cost_sheet(&View::plain(&catalogue), &CostRequest::pack(house.pack_id(pack), today())).unwrap()
}

/// A worked chain of the trade: 4.00 on the shelf with 20 % tax is 3.33 without, 2.00 after a retailer's 40 %, and allows a unit cost of
/// 1.10 at 45 %. Common practice, no source.
#[test]
fn from_the_shelf_to_the_kilogram() {
    let house = bottle();
    let found = design_to_cost(&sheet(&house, "HW-500"), gbp("4.00"), &chain()).unwrap();
    assert_eq!(found.list_price, Exact::whole(2));
    assert_eq!(found.net_price, Exact::whole(2));
    assert_eq!(found.unit_cost.allowed, exact("1.1"));
    let rungs: Vec<_> = found.rungs.iter().map(|rung| (rung.step, shown(&rung.left, 4))).collect();
    assert_eq!(
        rungs,
        [
            (Step::Tax, "3.3333".to_owned()),
            (Step::Retailer, "2.0000".to_owned()),
            (Step::Own, "1.1000".to_owned()),
            (Step::Packaging, "0.7000".to_owned()),
            (Step::Filling, "0.6200".to_owned()),
            (Step::CostPerBatch, "0.5300".to_owned()),
        ]
    );
    // Half a kilogram a unit: 1.24 a kg with making, 1.06 of ingredients, which cost 0.479663.
    let liquid = found.liquid_per_kg.clone().unwrap();
    assert_eq!((liquid.allowed, liquid.headroom), (exact("1.24"), Some(exact("0.580337"))));
    let ingredients = found.ingredients_per_kg.clone().unwrap();
    assert_eq!((ingredients.allowed, ingredients.current), (exact("1.06"), Some(exact("0.479663"))));
    // Headroom of the unit is that of its half kilogram.
    assert_eq!(found.unit_cost.headroom.clone().unwrap() * Exact::whole(2), exact("0.580337"));

    let print = found.print().unwrap();
    let taken: Vec<String> = print.rungs.iter().map(|rung| rung.taken.to_string()).collect();
    assert_eq!(taken, ["0.6667", "1.3333", "0.9000", "0.4000", "0.0800", "0.0900"]);
    assert_eq!(print.rungs.iter().map(|rung| rung.taken).sum::<Decimal>() + dec("0.53"), dec("4"));
    assert_eq!(serde_json::to_value(&found).unwrap()["ingredients_per_kg"]["headroom_percent"], "120.99");
}

#[test]
fn deductions_of_the_channel() {
    let house = bottle();
    let deduction = |name: &str, figure: &str, of: DeductionOf| Deduction {
        name: name.to_owned(),
        percent: percent(figure),
        of,
    };
    let mut chain = chain();
    chain.deductions = vec![
        deduction("distributor", "20", DeductionOf::ListPrice),
        deduction("cash discount", "2", DeductionOf::WhatIsLeft),
        deduction("freight", "5", DeductionOf::ListPrice),
    ];
    let found = design_to_cost(&sheet(&house, "HW-500"), gbp("4.00"), &chain).unwrap();
    // 2.00 − 0.40 − 0.032 − 0.10
    assert_eq!(found.net_price, exact("1.468"));
    assert_eq!(found.rungs[3].name, "cash discount");
    // And back up.
    let ladder = price_ladder(&found.unit_cost.allowed, &chain).unwrap();
    assert_eq!((ladder.shelf_price, ladder.list_price), (Exact::whole(4), Exact::whole(2)));
    assert_eq!(ladder.margin, Some(exact("0.45")));
    chain.deductions.push(deduction("everything", "100", DeductionOf::WhatIsLeft));
    let refused = design_to_cost(&sheet(&house, "HW-500"), gbp("4.00"), &chain).unwrap_err();
    assert_eq!(refused.to_string(), "the deductions leave nothing of the list price");
    assert!(price_ladder(&Exact::ONE, &chain).is_err());
}

/// What cannot be known is not claimed: with a material's price missing the allowance stands and the headroom does not; with a
/// component's missing the way ends at the unit.
#[test]
fn gaps_end_the_ladder() {
    let mut house = bottle();
    house.parts.quotations.retain(|quotation| !quotation.reference.starts_with("Q-SLES"));
    let found = design_to_cost(&sheet(&house, "HW-500"), gbp("4.00"), &chain()).unwrap();
    let ingredients = found.ingredients_per_kg.unwrap();
    assert_eq!((ingredients.allowed, ingredients.current), (exact("1.06"), None));
    assert_eq!(found.unit_cost.headroom, None);
    house.parts.quotations.retain(|quotation| !quotation.reference.starts_with("Q-BOTTLE"));
    let found = design_to_cost(&sheet(&house, "HW-500"), gbp("4.00"), &chain()).unwrap();
    assert_eq!((found.liquid_per_kg, found.rungs.len()), (None, 3));
    // A shelf price that does not even pay for the bottle.
    let found = design_to_cost(&sheet(&bottle(), "HW-500"), gbp("1.00"), &chain()).unwrap();
    assert!(found.ingredients_per_kg.unwrap().allowed.is_negative());
    found.unit_cost.headroom.filter(Exact::is_negative).expect("below nought");
}

#[test]
fn ladders_that_cannot_be() {
    let house = polish();
    let catalogue = house.catalogue();
    let liquid =
        cost_sheet(&View::plain(&catalogue), &CostRequest::version(house.version_id("POLISH"), today()))
            .unwrap();
    let refused = design_to_cost(&liquid, gbp("4"), &chain()).unwrap_err().to_string();
    assert_eq!(refused, "a shelf price is of a pack; cost one to work back to its liquid");
    let euros = Money::from_decimal(dec("4"), Currency::EUR).unwrap();
    assert!(design_to_cost(&sheet(&house, "POLISH-250"), euros, &chain()).is_err());
    assert!(Earning::Margin(percent("100")).price(&Exact::ONE).is_err());
    assert!(Earning::Markup(percent("-1")).price(&Exact::ONE).is_err());
}

/// power.one: 29.99 with a markup of 25 % is 37.4875. calcreal.com: 40 with a markup of 50 % is 60, a margin of a third. A margin of 50 %
/// is a markup of 100 % (common practice), and margin = markup / (1 + markup).
#[test]
fn margin_is_not_markup() {
    assert_eq!(Earning::Markup(percent("25")).price(&exact("29.99")).unwrap(), exact("37.4875"));
    assert_eq!(Earning::Markup(percent("50")).price(&exact("40")).unwrap(), exact("60"));
    assert_eq!(Earning::Markup(percent("50")).as_margin().unwrap(), Exact::ratio(1, 3).unwrap());
    assert_eq!(Earning::Markup(percent("25")).as_margin().unwrap(), exact("0.2"));
    assert_eq!(Earning::Margin(percent("50")).as_markup().unwrap(), Exact::ONE);
}

/// A worked line of the trade: at 1.60, a unit that rises from 0.8661 to 0.8784 goes from 45.9 to 45.1 %; 1.6227 holds the margin, 1.6123
/// the money. Common practice, no source.
#[test]
fn prices_that_hold() {
    let held = price_to_hold(&exact("1.60"), &exact("0.8661"), &exact("0.8784"));
    let points = |margin: Option<Exact>| shown(&(margin.unwrap() * Exact::whole(100)), 1);
    assert_eq!(
        (points(held.margin_before), points(held.margin_after)),
        ("45.9".to_owned(), "45.1".to_owned())
    );
    assert_eq!(shown(&held.to_hold_margin.unwrap(), 4), "1.6227");
    assert_eq!(held.to_hold_cash, exact("1.6123"));
    assert_eq!(price_to_hold(&Exact::ONE, &Exact::ZERO, &Exact::ONE).to_hold_margin, None);
}

proptest! {
    /// Up and down the same ladder comes back to where it began, whatever anybody takes.
    #[test]
    fn up_is_down_backwards(
        cost in 1_i64..1_000_000, tax in 0_i64..300, retailer in 0_i64..900, own in 0_i64..900,
        list in 0_i64..400, left in 0_i64..400, by_markup in any::<bool>(),
    ) {
        let tenths = |figure: i64| Percent::from_nano(figure * 100_000_000);
        let earning = |figure: i64| {
            if by_markup { Earning::Markup(tenths(figure)) } else { Earning::Margin(tenths(figure)) }
        };
        let cost = Exact::scaled(i128::from(cost), 4);
        let one = |figure: i64, of: DeductionOf| Deduction { name: "one".to_owned(), percent: tenths(figure), of };
        let chain = PriceChain {
            tax: tenths(tax),
            retailer: Some(earning(retailer)),
            deductions: vec![one(list, DeductionOf::ListPrice), one(left, DeductionOf::WhatIsLeft)],
            own: earning(own),
        };
        let ladder = price_ladder(&cost, &chain).unwrap();
        let back = chain.retailer.unwrap().cost(&ladder.without_tax).unwrap();
        prop_assert_eq!(&back, &ladder.list_price);
        prop_assert_eq!(chain.own.cost(&ladder.net_price).unwrap(), cost);
        prop_assert_eq!(earning(own).as_margin().unwrap(), ladder.margin.unwrap());
        prop_assert_eq!(earning(own).as_markup().unwrap(), ladder.markup.unwrap());
        prop_assert!(ladder.shelf_price >= ladder.without_tax && ladder.without_tax >= ladder.list_price);
    }
}
