//! From quotations to a landed price.

use domain::quotations::{Freight, FreightPer};
use kernel::Exact;

use super::fixtures::{House, day, dec, density, offer, percent, price, quantity, shown, today};
use crate::{
    Overlay, View,
    price::landed_price,
    view::{PriceAdjustment, PriceChange, PriceScope, RateAdjustment, RateChange},
};

/// The price of material X per kg or piece to six places and its source, or the gap; then the notes.
fn check_on(house: &House, overlay: &Overlay, demanded: &str, on: &str, expected: &[&str]) {
    let catalogue = house.catalogue();
    let view = View::with(&catalogue, overlay);
    let material = catalogue.materials.by_code("X").unwrap();
    let found = match landed_price(&view, material, &Exact::from(dec(demanded)), day(on)).unwrap() {
        Ok(landed) => {
            let mut found = vec![format!("{}: {}", shown(&landed.per_unit, 6), landed.source)];
            found.extend(landed.notes.iter().map(ToString::to_string));
            found
        }
        Err(gap) => vec![gap.to_string()],
    };
    assert_eq!(found, expected);
}

fn check(house: &House, demanded: &str, expected: &[&str]) {
    check_on(house, &Overlay::default(), demanded, "2026-06-15", expected);
}

/// A quotation without an end lasts until its supplier offers the same pack anew, and does not come back when that lapses: else a rise
/// would never be seen, for the old price is the lower one.
#[test]
fn a_later_offer_takes_the_place_of_one_without_an_end() {
    let mut house = House::new();
    let first = house.quote("X", "25 kg", "1.50", "1 kg");
    first.valid_from = day("2026-01-01");
    first.offers.push(offer("1 kg", price("3.00"), "1 kg", None));
    let supplier = first.supplier;
    let later = house.quote("X", "25 kg", "1.70", "1 kg");
    (later.supplier, later.valid_from) = (supplier, day("2026-06-01"));
    later.valid_until = Some(day("2026-06-30"));
    let on = |day: &str, demanded: &str| {
        let catalogue = house.catalogue();
        let material = catalogue.materials.by_code("X").unwrap();
        let found = landed_price(
            &View::plain(&catalogue),
            material,
            &Exact::from(dec(demanded)),
            super::fixtures::day(day),
        );
        let found = found.unwrap().unwrap();
        (shown(&found.per_unit, 2), found.source.validity.holds())
    };
    assert_eq!(on("2026-05-31", "25"), ("1.50".to_owned(), true));
    assert_eq!(on("2026-06-01", "25"), ("1.70".to_owned(), true));
    // The small pack was not offered anew.
    assert_eq!(on("2026-06-15", "1"), ("3.00".to_owned(), true));
    assert_eq!(on("2026-07-15", "1"), ("3.00".to_owned(), true));
    let catalogue = house.catalogue();
    let [first, later] = catalogue.quotations() else { panic!("two quotations") };
    let standing = |quotation: &domain::quotations::Quotation, on: &str| {
        crate::price::validity_among(&catalogue, quotation, day(on)).code()
    };
    assert_eq!(standing(first, "2026-07-15"), "VALID", "one of its packs still stands");
    assert_eq!(standing(later, "2026-07-15"), "LAPSED");

    house.parts.quotations[0].offers.pop();
    let catalogue = house.catalogue();
    let [first, _] = catalogue.quotations() else { panic!("two quotations") };
    assert_eq!(crate::price::validity_among(&catalogue, first, day("2026-05-31")).code(), "VALID");
    let found = crate::price::validity_among(&catalogue, first, day("2026-07-15"));
    assert_eq!(found, crate::source::Validity::Lapsed { until: day("2026-05-31"), days_ago: 45 });
    let material = catalogue.materials.by_code("X").unwrap();
    let lapsed = landed_price(&View::plain(&catalogue), material, &Exact::ONE, day("2026-07-15"));
    let lapsed = lapsed.unwrap().unwrap();
    assert_eq!((shown(&lapsed.per_unit, 2), lapsed.source.validity.holds()), ("1.70".to_owned(), false));

    // Another supplier's offer takes no place of it.
    let other = house.supplier("S2");
    house.parts.quotations[1].supplier = other;
    let catalogue = house.catalogue();
    let [first, _] = catalogue.quotations() else { panic!("two quotations") };
    assert_eq!(crate::price::validity_among(&catalogue, first, day("2026-07-15")).code(), "VALID");
}

#[test]
fn units_of_packs_and_prices() {
    let one = |pack: &str, offered: &str, per: &str, expected: &str| {
        let mut house = House::new();
        house.material("X").density = Some(density("1.25"));
        house.quote("X", pack, offered, per);
        check(&house, "10", &[&format!("{expected}; valid until replaced")]);
    };
    one(
        "25 kg",
        "40.5",
        "25 kg",
        "1.620000: quotation Q-X-1 of Supplier S1: 40.5 GBP per 25 kg, 1 × 25 kg for 10 kg",
    );
    one("5 L", "2", "1 L", "1.600000: quotation Q-X-1 of Supplier S1: 2 GBP per 1 L, 2 × 5 L for 10 kg");
    // 1/0.45359237 of a pound's price.
    one(
        "1 lb",
        "1",
        "1 lb",
        "2.204623: quotation Q-X-1 of Supplier S1: 1 GBP per 0.45359237 kg, 23 × 0.45359237 kg for 10 kg",
    );
    one(
        "1 gal",
        "10",
        "1 gal",
        "2.113376: quotation Q-X-1 of Supplier S1: 10 GBP per 3.785411784 L, 3 × 3.785411784 L for 10 kg",
    );
    let mut house = House::new();
    house.component("X");
    house.quote("X", "100 pcs", "85", "1000 pcs");
    check(
        &house,
        "250",
        &[
            "0.085000: quotation Q-X-1 of Supplier S1: 85 GBP per 1000 pcs, 3 × 100 pcs for 250 pcs; valid until replaced",
        ],
    );
}

#[test]
fn what_is_missing_is_a_gap() {
    let mut house = House::new();
    house.material("X");
    check(&house, "1", &["X (x) has no quotation"]);
    house.quote("X", "1 gal", "10", "1 gal");
    check(&house, "1", &["X (x) has no density, which quotation Q-X-1 needs"]);
    // Another that can be compared serves, and the one left out is named.
    house.quote("X", "1 kg", "4", "1 kg");
    check(
        &house,
        "1",
        &[
            "4.000000: quotation Q-X-2 of Supplier S1: 4 GBP per 1 kg, 1 × 1 kg for 1 kg; valid until replaced",
            "quotation Q-X-1 of X (x) was not compared: X (x) has no density, which quotation Q-X-1 needs",
        ],
    );
    let mut house = House::new();
    house.quote("X", "1 kg", "10 USD", "1 kg");
    check(
        &house,
        "1",
        &["there is no exchange rate from USD to GBP for 2026-06-15, which quotation Q-X-1 needs"],
    );
    let mut house = House::new();
    house.quote("X", "1 pcs", "10", "1 pcs");
    check(&house, "1", &["quotation Q-X-1 of X (x) cannot be used: it is offered by count and kept by mass"]);
    house.component("X");
    house.parts.quotations[0].offers[0].pack = quantity("1 kg");
    check(&house, "1", &["quotation Q-X-1 of X (x) cannot be used: it is offered by mass and kept by count"]);
}

/// 800 kg at 1.48 with 120 of freight and 25 of charges land at 1.66125. Common practice, no source.
#[test]
fn freight() {
    let with = |amount: &str, per: FreightPer, demanded: &str, expected: &str| {
        let mut house = House::new();
        house.quote("X", "25 kg", "1.48", "1 kg").freight = Some(Freight { amount: price(amount), per });
        let catalogue = house.catalogue();
        let material = catalogue.materials.by_code("X").unwrap();
        let landed = landed_price(&View::plain(&catalogue), material, &Exact::from(dec(demanded)), today())
            .unwrap()
            .unwrap();
        assert_eq!(landed.per_unit.to_decimal_exactly(), Some(dec(expected)), "{per:?}");
    };
    with("145", FreightPer::Order, "800", "1.66125");
    // 790 kg are 32 packs all the same, and the freight is of what is ordered.
    with("145", FreightPer::Order, "790", "1.66125");
    with("10", FreightPer::Pack, "30", "1.88");
    with("0.20", FreightPer::Quantity(quantity("1 kg")), "30", "1.68");
    with("20", FreightPer::Quantity(quantity("100 kg")), "30", "1.68");
}

/// The tier follows the demand: nine kilograms are not costed at the price of a tank, nor four tonnes at that of a sample.
#[test]
fn breaks_packs_and_minimum_orders() {
    let mut house = House::new();
    let quotation = house.quote("X", "25 kg", "2.00", "1 kg");
    quotation.offers.push(offer("25 kg", price("1.60"), "1 kg", Some("200 kg")));
    quotation.offers.push(offer("1000 kg", price("1.20"), "1 kg", None));
    let per_kg = |house: &House, demanded: &str, expected: &str, ordered: &str| {
        let catalogue = house.catalogue();
        let material = catalogue.materials.by_code("X").unwrap();
        let landed = landed_price(&View::plain(&catalogue), material, &Exact::from(dec(demanded)), today())
            .unwrap()
            .unwrap();
        assert_eq!(shown(&landed.per_unit, 2), expected, "{demanded}");
        assert_eq!(landed.source.ordered.to_decimal_exactly(), Some(dec(ordered)), "{demanded}");
        assert_eq!(landed.order_cost, &landed.per_unit * &Exact::from(dec(ordered)));
    };
    per_kg(&house, "0", "2.00", "25");
    per_kg(&house, "9", "2.00", "25");
    per_kg(&house, "175", "2.00", "175");
    // Eight packs reach the break.
    per_kg(&house, "176", "1.60", "200");
    per_kg(&house, "725", "1.60", "725");
    // Thirty packs cost what a tank costs; from here the tank is the better order.
    per_kg(&house, "726", "1.20", "1000");
    // The lowest break of a pack works like a minimum order, and so does a minimum order.
    house.parts.quotations[0].offers.remove(0);
    per_kg(&house, "9", "1.60", "200");
    house.parts.quotations[0].minimum_order = Some(quantity("600 kg"));
    per_kg(&house, "9", "1.60", "600");
    house.parts.quotations[0].minimum_order = Some(quantity("0.9 kg"));
    // Another supplier's small pack costs more a kilogram and less as an order.
    let other = house.supplier("S2");
    house.quote("X", "5 kg", "3.10", "1 kg").supplier = other;
    per_kg(&house, "9", "3.10", "10");
}

#[test]
fn validity() {
    let mut house = House::new();
    house.quote("X", "1 kg", "1", "1 kg").valid_until = Some(day("2026-03-31"));
    house.quote("X", "1 kg", "2", "1 kg").valid_until = Some(day("2026-05-31"));
    let coming = house.quote("X", "1 kg", "3", "1 kg");
    coming.valid_from = day("2026-07-01");
    let check = |on: &str, expected: &[&str]| check_on(&house, &Overlay::default(), "1", on, expected);
    // Both hold: the cheaper.
    check(
        "2026-02-01",
        &[
            "1.000000: quotation Q-X-1 of Supplier S1: 1 GBP per 1 kg, 1 × 1 kg for 1 kg; valid until 2026-03-31",
        ],
    );
    check(
        "2026-03-31",
        &[
            "1.000000: quotation Q-X-1 of Supplier S1: 1 GBP per 1 kg, 1 × 1 kg for 1 kg; valid until 2026-03-31, which is this day",
            "the price of X (x) rests on quotation Q-X-1, which ends on 2026-03-31, in 0 days",
        ],
    );
    check(
        "2026-05-30",
        &[
            "2.000000: quotation Q-X-2 of Supplier S1: 2 GBP per 1 kg, 1 × 1 kg for 1 kg; valid until 2026-05-31, which is in 1 day",
            "the price of X (x) rests on quotation Q-X-2, which ends on 2026-05-31, in 1 day",
        ],
    );
    // None holds: the one that lapsed last, not the cheapest.
    check(
        "2026-06-15",
        &[
            "2.000000: quotation Q-X-2 of Supplier S1: 2 GBP per 1 kg, 1 × 1 kg for 1 kg; lapsed on 2026-05-31, 15 days ago",
            "the price of X (x) rests on quotation Q-X-2, which ended on 2026-05-31",
        ],
    );
    check(
        "2026-07-01",
        &[
            "3.000000: quotation Q-X-3 of Supplier S1: 3 GBP per 1 kg, 1 × 1 kg for 1 kg; valid until replaced",
        ],
    );
    // Before anything was quoted, the next to come, and it says so.
    check(
        "2025-12-31",
        &[
            "1.000000: quotation Q-X-1 of Supplier S1: 1 GBP per 1 kg, 1 × 1 kg for 1 kg; not valid before 2026-01-01",
            "the price of X (x) rests on quotation Q-X-1, which does not hold before 2026-01-01",
        ],
    );
}

#[test]
fn exchange_rates() {
    let mut house = House::new();
    house.quote("X", "1 kg", "2.10 USD", "1 kg");
    house.rate("GBP", "USD", "1.28", "2026-01-01");
    let sheet = "quotation Q-X-1 of Supplier S1: 2.1 USD per 1 kg, 1 × 1 kg for 1 kg";
    // The opposite pair, turned round exactly: 2.10 / 1.28.
    check(
        &house,
        "1",
        &[&format!(
            "1.640625: {sheet}; 1 GBP = 1.28 USD on 2026-01-01 (the central bank), turned round; valid until replaced"
        )],
    );
    // The pair itself goes before, even when it is older; and of several days the latest not after the day asked.
    house.rate("USD", "GBP", "0.79", "2025-06-01");
    house.rate("USD", "GBP", "0.81", "2026-06-16");
    check(
        &house,
        "1",
        &[&format!(
            "1.659000: {sheet}; 1 USD = 0.79 GBP on 2025-06-01 (the central bank); valid until replaced"
        )],
    );
    // An assumed rate of the opposite pair turns round; a percent works on the pair it names.
    let overlay = |from: &str, to: &str, change: RateAdjustment| Overlay {
        rates: vec![RateChange {
            from: from.parse().unwrap(),
            to: to.parse().unwrap(),
            change,
            from_day: None,
        }],
        ..Overlay::default()
    };
    let assumed = |overlay: &Overlay, expected: &str| {
        check_on(&house, overlay, "1", "2026-06-15", &[expected]);
    };
    assumed(
        &overlay("GBP", "USD", RateAdjustment::To(kernel::Rate::new(dec("1.25")).unwrap())),
        &format!("1.680000: {sheet}; 1 USD = 0.8 GBP (assumed); valid until replaced"),
    );
    assumed(
        &overlay("USD", "GBP", RateAdjustment::ByPercent(percent("10"))),
        &format!("1.824900: {sheet}; 1 USD = 0.869 GBP (assumed); valid until replaced"),
    );
    assumed(
        &overlay("GBP", "USD", RateAdjustment::ByPercent(percent("-20"))),
        &format!("2.073750: {sheet}; 1 USD = 0.9875 GBP (assumed); valid until replaced"),
    );
}

#[test]
fn assumed_prices() {
    let mut house = House::new();
    house.quote("X", "1 kg", "1.62", "1 kg");
    let supplier = house.parts.suppliers[0].id;
    let quotation = house.parts.quotations[0].id;
    let scopes = [
        PriceScope::Quotation(quotation),
        PriceScope::Material(house.id("X")),
        PriceScope::Supplier(supplier),
    ];
    for scope in scopes {
        let change = PriceAdjustment::ByPercent(percent("12"));
        let overlay = Overlay {
            prices: vec![PriceChange { scope, change, from: Some(day("2026-06-15")) }],
            ..Overlay::default()
        };
        assert_eq!(overlay.settled_from(day("2026-06-01")), day("2026-06-15"));
        check_on(
            &house,
            &overlay,
            "1",
            "2026-06-15",
            &[
                "1.814400: quotation Q-X-1 of Supplier S1: assumed 1.8144 GBP per 1 kg, 1 × 1 kg for 1 kg; valid until replaced",
            ],
        );
        check_on(
            &house,
            &overlay,
            "1",
            "2026-06-14",
            &[
                "1.620000: quotation Q-X-1 of Supplier S1: 1.62 GBP per 1 kg, 1 × 1 kg for 1 kg; valid until replaced",
            ],
        );
    }
    let change = PriceAdjustment::To { price: price("500"), per: quantity("250 kg") };
    let overlay = Overlay {
        prices: vec![PriceChange { scope: PriceScope::Material(house.id("X")), change, from: None }],
        ..Overlay::default()
    };
    check_on(
        &house,
        &overlay,
        "1",
        "2026-06-15",
        &[
            "2.000000: quotation Q-X-1 of Supplier S1: assumed 500 GBP per 250 kg, 1 × 1 kg for 1 kg; valid until replaced",
        ],
    );
    let other = Overlay {
        prices: vec![PriceChange {
            scope: PriceScope::Supplier(kernel::ids::SupplierId::new()),
            change: PriceAdjustment::ByPercent(percent("12")),
            from: None,
        }],
        ..Overlay::default()
    };
    check_on(
        &house,
        &other,
        "1",
        "2026-06-15",
        &[
            "1.620000: quotation Q-X-1 of Supplier S1: 1.62 GBP per 1 kg, 1 × 1 kg for 1 kg; valid until replaced",
        ],
    );
}
