//! Why an offer was taken, and why each of the others was not.

use kernel::Exact;

use super::fixtures::{House, dec, offer, price, shown, today};
use crate::{
    View,
    price::{PriceQuestion, landed_price, offers_considered},
};

/// What became of each offer when so many kg are ordered, in order: reference, order cost, reason.
fn check(house: &House, demanded: &str, expected: &[(&str, Option<&str>, &str)]) {
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    let material = catalogue.materials.by_code("BASE").unwrap();
    let demanded = Exact::from(dec(demanded));
    let found = offers_considered(&view, material, &PriceQuestion::of(&demanded), today()).unwrap();
    let told: Vec<_> = found
        .iter()
        .map(|offer| {
            let cost = offer.order.as_ref().map(|order| shown(&order.order_cost, 2));
            (offer.reference.clone(), cost, offer.outcome.to_string())
        })
        .collect();
    let expected: Vec<_> = expected
        .iter()
        .map(|(reference, cost, why)| ((*reference).to_owned(), cost.map(str::to_owned), (*why).to_owned()))
        .collect();
    assert_eq!(told, expected);
    // The one that is called chosen is the one that prices are worked out with.
    let chosen = landed_price(&view, material, &demanded, today()).unwrap().unwrap();
    let first = found[0].order.as_ref().unwrap();
    assert_eq!((&first.source, &first.per_unit), (&chosen.source, &chosen.per_unit));
}

/// Kegs of 60 kg at 2.00, from 300 kg at 1.80, and a tank of a tonne at 1.20; another supplier's kegs at 2.10, and one that lapsed.
fn house() -> House {
    let mut house = House::new();
    house.quote("BASE", "60 kg", "2.00", "1 kg");
    house.parts.quotations[0].offers.push(offer("60 kg", price("1.80"), "1 kg", Some("300 kg")));
    house.parts.quotations[0].offers.push(offer("1000 kg", price("1.20"), "1 kg", None));
    house.quote("BASE", "60 kg", "2.10", "1 kg");
    house.quote("BASE", "60 kg", "1.00", "1 kg").valid_until = today().pred_opt();
    house
}

#[test]
fn each_offer_is_told_why_it_lost() {
    let lapsed = format!("lapsed on {}, 1 day ago; one that holds is preferred", today().pred_opt().unwrap());
    // 24 kg: one keg is 120; the other's 126 is 5 % more; a tank is 1200.
    check(
        &house(),
        "24",
        &[
            ("Q-BASE-1", Some("120.00"), "chosen: the order costs least"),
            ("Q-BASE-2", Some("126.00"), "the order costs 6 GBP more, 5 %"),
            ("Q-BASE-1", Some("1200.00"), "the order costs 1080 GBP more, 900 %"),
            ("Q-BASE-1", None, "the order does not reach 300 kg, from which this price holds"),
            ("Q-BASE-3", Some("60.00"), &lapsed),
        ],
    );
    // 310 kg: six kegs at 1.80 are 648, at 2.10 they are 756.
    check(
        &house(),
        "310",
        &[
            ("Q-BASE-1", Some("648.00"), "chosen: the order costs least"),
            ("Q-BASE-2", Some("756.00"), "the order costs 108 GBP more, 16.67 %"),
            ("Q-BASE-1", Some("1200.00"), "the order costs 552 GBP more, 85.19 %"),
            ("Q-BASE-1", None, "the order reaches a higher price break of the same pack"),
            ("Q-BASE-3", Some("360.00"), &lapsed),
        ],
    );
}

#[test]
fn what_holds_no_more_is_used_when_nothing_else_is_there() {
    let mut house = House::new();
    house.quote("BASE", "60 kg", "2.00", "1 kg").valid_until = today().pred_opt();
    house.quote("BASE", "60 kg", "1.00", "1 kg").valid_until = today().pred_opt().unwrap().pred_opt();
    let earlier = today().pred_opt().unwrap().pred_opt().unwrap();
    let lost = format!("lapsed on {earlier}, 2 days ago; one that lapsed later is preferred");
    check(
        &house,
        "24",
        &[("Q-BASE-1", Some("120.00"), "chosen: the order costs least"), ("Q-BASE-2", Some("60.00"), &lost)],
    );
}
