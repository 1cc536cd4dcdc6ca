//! Searches: prices at which a floor breaks, doses that fit a cost, order quantities, the cheapest way to buy, what uses up a lot.

use domain::{catalogue::CatalogueParts, materials::Material, packs::Pack, quotations::Quotation};
use kernel::{Exact, Percent, ids::MaterialId};
use proptest::prelude::*;

use crate::{
    CostRequest, Scenario, View,
    cheapest::{NeededOn, cheapest_for, cheapest_purchases},
    order_quantity::{Keeping, PriceFrom, order_quantities},
    outlook::OutlookRequest,
    price::landed_offers,
    run_check::Verdict,
    scenario::{Change, PriceBy, PriceOf},
    search::{fitting_dose, floor_price},
    shelf::Shelf,
    shelf_testing::{
        catalogue, day, dec, expiring, formula, lot, mass, material, money, pack, percent, price, quantity,
        quotation, raw, supplier, ticket,
    },
    use_up::use_up,
    what_if::what_if,
};

const TODAY: &str = "2026-03-01";

fn exact(text: &str) -> Exact {
    Exact::from(dec(text))
}

fn figure(value: &Exact, places: u32) -> String {
    value.round_half_even(places).unwrap().to_string()
}

/// Demand 1 000 a year, 10 an order, 0.50 to keep one: 200, five orders, 50 for ordering and 50 for keeping. At 1 200: 219.
/// Heizer and Render, Operations Management, chapter 12, example 3.
#[test]
fn economic_order_quantity() {
    let one = |demand: &str| {
        let prices = [PriceFrom { from: 1, price: Exact::ZERO }];
        order_quantities(&exact(demand), &exact("10"), &Keeping::Amount(exact("0.5")), &prices).unwrap().0
    };
    let best = one("1000");
    assert_eq!(
        (best.quantity, figure(&best.a_year, 2), figure(&best.orders, 2)),
        (200, "100.00".into(), "5.00".into())
    );
    assert!(!best.at_break);
    assert_eq!(one("1200").quantity, 219);
}

/// A liquid cleanser: 816 cases a year, 12 an order, 4 to keep one; 20, from 50 at 18, from 80 at 17, from 100 at 16. Totals at 70, 80
/// and 100: 14 967.89, 14 154.40, 13 353.92, so 100. Stevenson, Operations Management, chapter 12.
#[test]
fn price_breaks_with_a_constant_cost_of_keeping() {
    let prices = [("20", 1), ("18", 50), ("17", 80), ("16", 100)]
        .map(|(price, from)| PriceFrom { from, price: exact(price) });
    let (best, each) =
        order_quantities(&exact("816"), &exact("12"), &Keeping::Amount(exact("4")), &prices).unwrap();
    let told: Vec<_> = each.iter().skip(1).map(|at| (at.quantity, figure(&at.a_year, 2))).collect();
    assert_eq!(
        told,
        [(70, "14967.89".to_owned()), (80, "14154.40".to_owned()), (100, "13353.92".to_owned())]
    );
    assert_eq!((best.quantity, best.at_break), (100, true));
}

/// Electric switches: 4 000 a year, 30 an order, 40 % of the price to keep one; 0.90, from 500 at 0.85, from 1 000 at 0.80. 840 would
/// cost 3 685.66, 1 000 cost 3 480. Stevenson, Operations Management, chapter 12.
#[test]
fn price_breaks_with_a_cost_of_keeping_by_price() {
    let prices = [("0.90", 1), ("0.85", 500), ("0.80", 1000)]
        .map(|(price, from)| PriceFrom { from, price: exact(price) });
    let keeping = Keeping::OfPrice(exact("0.4"));
    let (best, each) = order_quantities(&exact("4000"), &exact("30"), &keeping, &prices).unwrap();
    assert_eq!((each[1].quantity, figure(&each[1].a_year, 2)), (840, "3685.66".to_owned()));
    assert_eq!((best.quantity, figure(&best.a_year, 2)), (1000, "3480.00".to_owned()));
    let none = order_quantities(&exact("0"), &exact("30"), &keeping, &prices);
    assert!(none.is_err());
}

struct House {
    parts: CatalogueParts,
    oil: Material,
    pack: Pack,
}

/// A polish of 20 % oil at 5 a kilo in water, 1 kg at 4: costs 1.0032, margin 74.92 %.
fn house(quotations: impl FnOnce(&Material, &domain::suppliers::Supplier) -> Vec<Quotation>) -> House {
    use domain::materials::MaterialKind;
    let nord = supplier("NORD");
    let (oil, water) = (raw("OIL"), material("AQUA", MaterialKind::Utility));
    let (bulk, product) =
        (material("POLISH", MaterialKind::Bulk), material("POLISH-1", MaterialKind::FinishedProduct));
    let polish = formula("F-POLISH", &bulk, &[(&oil, "20"), (&water, "q.s.")]);
    let mut filled = pack("P-1", &polish, &product, "1 kg");
    filled.price = Some(money("4"));
    filled.units_a_year = Some(3_650);
    let mut offers = quotations(&oil, &nord);
    offers.push(quotation("Q-AQUA", &nord, &water, &[("1000 kg", "4", None)]));
    let parts = CatalogueParts {
        materials: vec![oil.clone(), water, bulk, product],
        suppliers: vec![nord],
        quotations: offers,
        formulas: vec![polish],
        packs: vec![filled.clone()],
        ..CatalogueParts::default()
    };
    House { parts, oil, pack: filled }
}

fn by_the_kilo(oil: &Material, nord: &domain::suppliers::Supplier) -> Vec<Quotation> {
    vec![quotation("Q-OIL", nord, oil, &[("1 kg", "5", None)])]
}

/// At a floor of 40 % the unit may cost 2.40: 2.3968 for the oil, 139.68 % more than 1.
#[test]
fn the_price_at_which_a_floor_breaks() {
    let house = house(by_the_kilo);
    let catalogue = catalogue(house.parts.clone());
    let view = View::plain(&catalogue);
    let found = floor_price(&view, house.pack.id, house.oil.id, percent("40"), day(TODAY)).unwrap();
    assert_eq!(found.rise, Some(percent("139.68")));
    assert_eq!(figure(found.price.as_ref().unwrap(), 4), "11.9840");
    // What holds the search to its word: at the rise the floor holds, a billionth of a percent further it does not.
    let margin = |rise: Percent| {
        let change =
            Change::Price { of: PriceOf::Material(house.oil.id), by: PriceBy::Percent(rise), from: None };
        let scenario = Scenario { changes: vec![change], ..Scenario::default() };
        let answer = what_if(&catalogue, &Shelf::default(), &scenario, day(TODAY)).unwrap();
        answer.packs[0].after.margin.clone().unwrap()
    };
    let rise = found.rise.unwrap();
    assert!(margin(rise) >= exact("0.4") && margin(Percent::from_nano(rise.nano() + 1)) < exact("0.4"));
    // Below what it is: the price has to fall.
    let above = floor_price(&view, house.pack.id, house.oil.id, percent("80"), day(TODAY)).unwrap();
    assert!(above.rise.unwrap().is_negative());
    let never = floor_price(&view, house.pack.id, MaterialId::new(), percent("40"), day(TODAY));
    assert!(never.is_err());
}

/// A kilo may cost 1.5: 0.004 and 4.996 for each kilo of oil in the place of water: 29.943… %.
#[test]
fn the_dose_that_just_fits_a_cost() {
    let house = house(by_the_kilo);
    let catalogue = catalogue(house.parts.clone());
    let view = View::plain(&catalogue);
    let request = CostRequest::version(house.parts.formulas[0].versions[0].id, day(TODAY));
    let found = fitting_dose(&view, &request, 1, None, &exact("1.5")).unwrap();
    let expected = exact("1.496").checked_div(&exact("4.996")).unwrap() * Exact::whole(100);
    let dose = Exact::from(found.dose.percent());
    // Packs of a kilo for a batch of 100: whole kilos are bought at the same price, so the line is straight.
    assert!(dose <= expected && expected - dose < exact("0.000001"), "{:?}", found.dose);
    assert!(found.cost <= exact("1.5") && !found.ended_by_diluent);
    let all = fitting_dose(&view, &request, 1, None, &exact("9")).unwrap();
    assert_eq!((all.dose, all.ended_by_diluent), (Percent::HUNDRED, true));
    assert!(fitting_dose(&view, &request, 1, None, &exact("0.003")).is_err());
}

fn needed(kg: &str) -> Vec<NeededOn> {
    vec![NeededOn { on: day("2026-03-20"), amount: exact(kg) }]
}

/// 230 kg: a drum of 200 at 500 and two pails of 20 at 60 are 620; two drums 1 000, twelve pails 720.
#[test]
fn a_drum_and_two_pails() {
    let house = house(|oil, nord| {
        vec![quotation("Q-OIL", nord, oil, &[("200 kg", "500", None), ("20 kg", "60", None)])]
    });
    let catalogue = catalogue(house.parts.clone());
    let plan = cheapest_for(&View::plain(&catalogue), &house.oil, &needed("230"), day(TODAY)).unwrap();
    let told: Vec<_> = plan.orders.iter().map(|order| (order.pack.to_string(), order.packs)).collect();
    assert_eq!(told, [("20 kg".to_owned(), 2), ("200 kg".to_owned(), 1)]);
    assert_eq!(
        (figure(&plan.cost, 2), figure(plan.one_order.as_ref().unwrap(), 2)),
        ("620.00".into(), "720.00".into())
    );
    assert!(plan.proved);
    assert_eq!(plan.at_least, plan.cost);
}

/// What would not keep until it is needed is not bought now.
#[test]
fn needs_beyond_the_shelf_life_wait() {
    let mut house = house(by_the_kilo);
    house.parts.materials[0].shelf_life = Some("60 days".parse().unwrap());
    let polish = &house.parts.formulas[0];
    let tickets = ["2026-03-10", "2026-04-30", "2026-08-01"]
        .iter()
        .zip(1..)
        .map(|(on, number)| ticket(&format!("T-{number}"), polish, on, &[(&house.oil, "10")]))
        .collect();
    let shelf = Shelf { lots: vec![lot(&house.oil, "L-1", "4 kg")], tickets };
    let catalogue = catalogue(house.parts.clone());
    let request = OutlookRequest { today: day(TODAY), until: None };
    let plans = cheapest_purchases(&View::plain(&catalogue), &shelf, request).unwrap();
    let [plan] = &plans[..] else { panic!("one material") };
    assert_eq!((figure(&plan.needed, 0), plan.needs.len(), plan.later.len()), ("16".into(), 2, 1));
    assert_eq!(figure(&plan.cost, 0), "80");
}

/// 7 kg are left of a lot that expires on 31 March when two runs took 33 of 40; 35 kg of polish use it up, in four runs of ten.
#[test]
fn what_uses_up_a_lot() {
    let mut house = house(by_the_kilo);
    house.parts.formulas[0].versions[0].largest_batch = Some(mass("10"));
    let polish = &house.parts.formulas[0];
    let oil = &house.oil;
    let tickets = vec![
        ticket("T-1", polish, "2026-03-02", &[(oil, "18")]),
        ticket("T-2", polish, "2026-03-10", &[(oil, "15")]),
        ticket("T-3", polish, "2026-04-05", &[(oil, "18")]),
    ];
    let lots = vec![expiring(oil, "A", "40 kg", "2026-03-31"), expiring(oil, "B", "100 kg", "2026-09-30")];
    let shelf = Shelf { lots, tickets };
    let catalogue = catalogue(house.parts.clone());
    let found = use_up(&View::plain(&catalogue), &shelf, shelf.lots[0].id, day(TODAY)).unwrap();
    assert_eq!((found.left, found.last_day), (quantity("7 kg"), Some(day("2026-03-31"))));
    let [way] = &found.ways[..] else { panic!("one formula") };
    assert_eq!((figure(&way.batch, 0), way.run, way.runs), ("35".into(), mass("10"), 4));
    assert_eq!((way.uses, way.lasts_days, way.verdict), (quantity("2 kg"), Some(3), Verdict::CanBeMade));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// No combination of orders costs less: every number of packs of every offer is tried.
    #[test]
    fn nothing_costs_less(
        rows in prop::collection::vec((1_i64..40, 1_i64..200, 0_i64..60, prop::option::of(2_i64..5)), 1..4),
        kg in 1_i64..90,
    ) {
        let house = house(|oil, nord| {
            rows.iter()
                .enumerate()
                .map(|(at, (size, cost, freight, breaks))| {
                    let size_text = format!("{size} kg");
                    let cost_text = cost.to_string();
                    let mut offers = vec![(size_text.as_str(), cost_text.as_str(), None)];
                    let cheaper = (cost * 3 / 4).to_string();
                    let from = breaks.map(|packs| format!("{} kg", packs * size));
                    if let Some(from) = &from {
                        offers.push((size_text.as_str(), cheaper.as_str(), Some(from.as_str())));
                    }
                    let mut row = quotation(&format!("Q-{at}"), nord, oil, &offers);
                    row.freight = Some(domain::quotations::Freight {
                        amount: price(&freight.to_string()),
                        per: domain::quotations::FreightPer::Order,
                    });
                    row
                })
                .collect()
        });
        let catalogue = catalogue(house.parts.clone());
        let view = View::plain(&catalogue);
        let plan = cheapest_for(&view, &house.oil, &needed(&kg.to_string()), day(TODAY)).unwrap();
        prop_assert!(plan.proved);
        let bought: Exact = plan.orders.iter().map(|order| &order.quantity).sum();
        let spent: Exact = plan.orders.iter().map(|order| &order.cost).sum();
        prop_assert!(bought >= Exact::from(kg) && spent == plan.cost);
        prop_assert!(plan.one_order.is_none_or(|one| plan.cost <= one));
        // By weight in whole kilos: what covering at least so much costs with the offers so far.
        let goal = usize::try_from(kg).unwrap();
        let mut least: Vec<Option<Exact>> = vec![None; goal + 1];
        least[0] = Some(Exact::ZERO);
        for (at, (size, ..)) in rows.iter().enumerate() {
            let reference = format!("Q-{at}");
            let mut next = least.clone();
            let mut packs = 1;
            loop {
                let quantity = size * packs;
                let (orders, _) = landed_offers(&view, &house.oil, &Exact::from(quantity), day(TODAY)).unwrap();
                let own = orders.into_iter().filter(|order| order.source.reference == reference);
                let cost = own.filter(|order| order.source.ordered == Exact::from(quantity)).map(|order| order.order_cost).min();
                if let Some(cost) = cost {
                    for (from, before) in least.iter().enumerate() {
                        let Some(before) = before else { continue };
                        let to = (from + usize::try_from(quantity).unwrap()).min(goal);
                        let found = before + &cost;
                        if next[to].as_ref().is_none_or(|known| found < *known) {
                            next[to] = Some(found);
                        }
                    }
                }
                if quantity >= kg {
                    break;
                }
                packs += 1;
            }
            least = next;
        }
        prop_assert_eq!(Some(plan.cost), least[goal].clone());
    }
}
