//! Discount, duty, charges, small orders, deposits, prices of active matter, and charges shared over an order.

use domain::quotations::{
    BreakCounts, Charge, ChargePer, Deposit, Duty, DutyOn, Freight, FreightPer, PriceBasis, Quotation,
    SmallOrder, Terms,
};
use kernel::{Currency, Exact, Money};
use proptest::prelude::*;

use super::fixtures::{House, day, dec, offer, percent, price, quantity, shown, today};
use crate::{
    Gap, View,
    charges::{OrderLine, ShareBy, share_charges, share_money},
    price::{LandedPrice, PriceQuestion, landed_price, landed_price_for},
    waste::{after_waste, used_within},
};

fn exact(text: &str) -> Exact {
    Exact::from(dec(text))
}

fn asked(house: &House, question: &PriceQuestion<'_>) -> Result<LandedPrice, Gap> {
    let catalogue = house.catalogue();
    let material = catalogue.materials.by_code("X").unwrap();
    landed_price_for(&View::plain(&catalogue), material, question, today()).unwrap()
}

fn landed(house: &House, ordered: &str) -> LandedPrice {
    asked(house, &PriceQuestion::of(&exact(ordered))).unwrap()
}

/// One pack of 25 kg at 2.00 a kilogram, with terms.
fn with_terms(change: impl FnOnce(&mut Quotation)) -> House {
    let mut house = House::new();
    change(house.quote("X", "25 kg", "2.00", "1 kg"));
    house
}

fn charge(name: &str, amount: &str, per: ChargePer) -> Charge {
    Charge { name: name.to_owned(), amount: price(amount), per }
}

/// 800 kg at 1.48, freight 120 and hazard surcharge 25 land at 1.66125 a kilogram. Common practice, no source.
#[test]
fn freight_and_a_charge_by_the_order() {
    let house = with_terms(|quotation| {
        quotation.offers = vec![offer("25 kg", price("1.48"), "1 kg", None)];
        quotation.freight = Some(Freight { amount: price("120"), per: FreightPer::Order });
        quotation.terms.charges = vec![charge("hazard surcharge", "25", ChargePer::Order)];
    });
    let found = landed(&house, "800");
    assert_eq!(found.per_unit.to_decimal_exactly(), Some(dec("1.66125")));
    assert_eq!(found.order_cost.to_decimal_exactly(), Some(dec("1329")));
    assert_eq!(
        found.source.to_string(),
        "quotation Q-X-1 of Supplier S1: 1.48 GBP per 1 kg, 32 × 25 kg for 800 kg; freight 0.15 per kg; \
         hazard surcharge 0.03125 per kg; valid until replaced"
    );
}

/// Each term for itself, on 100 kg (four packs) at 2.00 and freight of 0.10; then all of them together.
#[test]
fn each_term_and_all_of_them() {
    let per_kg = |change: fn(&mut Terms), expected: &str| {
        let house = with_terms(|quotation| {
            quotation.freight = Some(Freight { amount: price("10"), per: FreightPer::Order });
            change(&mut quotation.terms);
        });
        let found = landed(&house, "100");
        assert_eq!(found.per_unit.to_decimal_exactly(), Some(dec(expected)), "{}", found.source);
        // The parts that are told make the price.
        let parts = &found.source.terms.goods + found.source.freight.as_ref().unwrap();
        assert_eq!(parts + found.source.terms.additions(), found.per_unit);
        assert_eq!(found.order_cost, &found.per_unit * &Exact::whole(100));
    };
    per_kg(|_| {}, "2.10");
    per_kg(|terms| terms.discount = percent("5"), "2.00");
    per_kg(|terms| terms.duty = Some(Duty { percent: percent("6.5"), on: DutyOn::Price }), "2.23");
    per_kg(
        |terms| terms.duty = Some(Duty { percent: percent("6.5"), on: DutyOn::PriceAndFreight }),
        "2.2365",
    );
    per_kg(
        |terms| {
            terms.charges = vec![
                charge("brokerage", "30", ChargePer::Order),
                charge("cleaning", "1.25", ChargePer::Pack),
                charge("fuel", "0.5", ChargePer::Quantity(quantity("100 kg"))),
            ];
        },
        "2.455",
    );
    // 0.5 % of the goods and 12 % of freight; 300 for a delivery worth 4000 of goods, shared by value.
    per_kg(
        |terms| {
            terms.charges = vec![
                charge("insurance", "0.5", ChargePer::Goods(price("100"))),
                charge("fuel", "12", ChargePer::Freight(price("100"))),
            ];
        },
        "2.122",
    );
    per_kg(|terms| terms.charges = vec![charge("carriage", "300", ChargePer::Goods(price("4000")))], "2.25");
    // The goods are worth 200: less than 200.01, but not less than 200.
    let small = |terms: &mut Terms, below| {
        terms.small_order = Some(SmallOrder { charge: price("40"), below: price(below) });
    };
    per_kg(|terms| terms.small_order = Some(SmallOrder { charge: price("40"), below: price("200") }), "2.10");
    per_kg(
        |terms| terms.small_order = Some(SmallOrder { charge: price("40"), below: price("200.01") }),
        "2.50",
    );
    // With the discount the goods are worth 190.
    let mut house = with_terms(|quotation| {
        quotation.terms.discount = percent("5");
        small(&mut quotation.terms, "200");
    });
    assert_eq!(landed(&house, "100").per_unit.to_decimal_exactly(), Some(dec("2.30")));
    // A larger order is not small.
    assert_eq!(landed(&house, "125").per_unit.to_decimal_exactly(), Some(dec("1.90")));

    house.parts.quotations[0].freight = Some(Freight { amount: price("10"), per: FreightPer::Order });
    let terms = &mut house.parts.quotations[0].terms;
    terms.duty = Some(Duty { percent: percent("10"), on: DutyOn::PriceAndFreight });
    terms.charges = vec![charge("cleaning", "1.25", ChargePer::Pack)];
    terms.deposit = Some(Deposit { amount: price("8"), forfeited: percent("12.5") });
    // 1.90 + 0.10 + 0.20 + 0.05 + 0.40 + 1/25.
    let found = landed(&house, "100");
    assert_eq!(found.per_unit.to_decimal_exactly(), Some(dec("2.69")));
    assert_eq!(
        found.source.to_string(),
        "quotation Q-X-1 of Supplier S1: 2 GBP per 1 kg, 4 × 25 kg for 100 kg; less 5 % discount; freight 0.1 per kg; \
         duty of 10 % on price and freight 0.2 per kg; cleaning 0.05 per kg; small order charge 0.4 per kg; \
         deposit of 8 a pack, 12.5 % forfeited: 0.04 per kg; valid until replaced"
    );
}

/// A deposit that is given back is told and costs nothing. Common practice, no source.
#[test]
fn a_returnable_deposit_is_no_cost() {
    let deposit = |forfeited: &str| {
        with_terms(|quotation| {
            quotation.terms.deposit = Some(Deposit { amount: price("20"), forfeited: percent(forfeited) });
        })
    };
    let found = landed(&deposit("0"), "100");
    assert_eq!(found.per_unit.to_decimal_exactly(), Some(dec("2")));
    assert!(
        found.source.to_string().contains("; deposit of 20 a pack, returned and no cost;"),
        "{}",
        found.source
    );
    // Never given back: 20 for every 25 kg.
    assert_eq!(landed(&deposit("100"), "100").per_unit.to_decimal_exactly(), Some(dec("2.8")));
}

/// 520 per dry tonne is 260 for a tonne of 50 % solution, and 255.84 for a load that turns out to hold 49.2 %.
/// Common practice, no source.
#[test]
fn a_price_of_active_matter_follows_the_strength() {
    let mut house = House::new();
    house.material("X").active_matter = Some(percent("50"));
    let quotation = house.quote("X", "1 t", "520", "1 t");
    quotation.terms.price_basis = PriceBasis::ActiveMatter;
    let ordered = Exact::whole(1000);
    let question = PriceQuestion::of(&ordered);
    let found = asked(&house, &question).unwrap();
    assert_eq!(found.order_cost.to_decimal_exactly(), Some(dec("260")));
    assert_eq!(
        found.source.to_string(),
        "quotation Q-X-1 of Supplier S1: 520 GBP per 1000 kg of active matter, at 50 %, 1 × 1000 kg for 1000 kg; valid until replaced"
    );
    let of_lot = PriceQuestion { strength: Some(percent("49.2")), ..question.clone() };
    let found = asked(&house, &of_lot).unwrap();
    assert_eq!(found.order_cost.to_decimal_exactly(), Some(dec("255.84")));
    assert!(found.source.to_string().contains("at 49.2 % as the lot has"), "{}", found.source);

    house.material("X").active_matter = None;
    let gap = asked(&house, &question).unwrap_err();
    assert_eq!(gap.code(), "NO_STRENGTH");
    assert_eq!(
        gap.to_string(),
        "quotation Q-X-1 prices the active matter of X (x), whose strength is not known"
    );
    // The lot's own serves where the material's is not entered.
    assert_eq!(asked(&house, &of_lot).unwrap().order_cost.to_decimal_exactly(), Some(dec("255.84")));
    // A price as supplied has no use for a strength.
    house.parts.quotations[0].terms.price_basis = PriceBasis::AsSupplied;
    assert_eq!(asked(&house, &of_lot).unwrap().order_cost.to_decimal_exactly(), Some(dec("520")));
}

/// The cheapest by its landed price, not by its quoted one.
#[test]
fn terms_decide_between_quotations() {
    let mut house = with_terms(|quotation| {
        quotation.terms.duty = Some(Duty { percent: percent("10"), on: DutyOn::Price });
    });
    house.quote("X", "25 kg", "2.15", "1 kg");
    assert_eq!(landed(&house, "100").source.reference, "Q-X-2");
    house.parts.quotations[0].terms.discount = percent("5");
    assert_eq!(landed(&house, "100").source.reference, "Q-X-1");
}

/// Charges in a currency go through the rate of the day, and without a rate they are a gap that says what needed it.
#[test]
fn charges_go_through_the_rate() {
    let mut house = House::new();
    let quotation = house.quote("X", "25 kg", "2 USD", "1 kg");
    quotation.terms.charges = vec![charge("handling", "50 USD", ChargePer::Order)];
    quotation.terms.small_order = Some(SmallOrder { charge: price("25 USD"), below: price("201 USD") });
    let gap = asked(&house, &PriceQuestion::of(&Exact::whole(100))).unwrap_err();
    assert_eq!(gap.code(), "NO_RATE");
    house.rate("USD", "GBP", "0.79", "2026-01-01");
    // (2 + 0.5 + 0.25) × 0.79: 200 USD are below 201 USD whatever the rate.
    assert_eq!(landed(&house, "100").per_unit.to_decimal_exactly(), Some(dec("2.1725")));
}

/// What counts for a price break: the order line or the order, or what is taken in a year.
#[test]
fn breaks_by_the_year() {
    let mut house = House::new();
    let quotation = house.quote("X", "25 kg", "2.00", "1 kg");
    quotation.offers.push(offer("25 kg", price("1.60"), "1 kg", Some("1000 kg")));
    quotation.terms.break_counts = BreakCounts::Year;
    let ordered = Exact::whole(50);
    let a_year = |amount: i128| {
        let amount = Exact::whole(amount);
        let question = PriceQuestion { a_year: Some(&amount), ..PriceQuestion::of(&ordered) };
        asked(&house, &question).unwrap()
    };
    assert_eq!(shown(&a_year(999).per_unit, 2), "2.00");
    let reached = a_year(1000);
    assert_eq!(shown(&reached.per_unit, 2), "1.60");
    // The commitment is for the year; the order stays two packs.
    assert_eq!(
        reached.source.to_string(),
        "quotation Q-X-1 of Supplier S1: 1.6 GBP per 1 kg from 1000 kg a year, 2 × 25 kg for 50 kg; valid until replaced"
    );
    // Nothing is known about the year: only an order of that size reaches it.
    assert_eq!(shown(&landed(&house, "50").per_unit, 2), "2.00");
    assert_eq!(shown(&landed(&house, "1000").per_unit, 2), "1.60");
    // By the line the year is of no matter.
    house.parts.quotations[0].terms.break_counts = BreakCounts::Line;
    let amount = Exact::whole(5000);
    let question = PriceQuestion { a_year: Some(&amount), ..PriceQuestion::of(&ordered) };
    assert_eq!(shown(&asked(&house, &question).unwrap().per_unit, 2), "2.00");
    // A commitment that is the lowest break is a minimum order only as long as the year does not reach it.
    house.parts.quotations[0].offers.remove(0);
    assert_eq!(asked(&house, &question).unwrap().source.ordered, Exact::whole(1000));
    house.parts.quotations[0].terms.break_counts = BreakCounts::Year;
    assert_eq!(asked(&house, &question).unwrap().source.ordered, Exact::whole(50));
}

/// Stevenson, Operations Management, chapter 12, liquid cleanser (practice problem): 816 cases a year, 12 for an order, 4 to hold a
/// case; 20 below 50 cases, 18 from 50, 17 from 80, 16 from 100. A year costs 14,967.89 in orders of 70, 14,154.40 in orders of 80
/// and 13,353.92 in orders of 100 (printed to the whole unit). What an order costs is a charge by the order.
#[test]
fn a_year_in_orders_of_each_break() {
    let mut house = House::new();
    house.component("X");
    let quotation = house.quote("X", "1 pcs", "20", "1 pcs");
    for (price_of_break, from) in [("18", "50 pcs"), ("17", "80 pcs"), ("16", "100 pcs")] {
        quotation.offers.push(offer("1 pcs", price(price_of_break), "1 pcs", Some(from)));
    }
    quotation.terms.charges = vec![charge("ordering", "12", ChargePer::Order)];
    let year = |ordered: i128, holding: &Exact| {
        let found = landed(&house, &ordered.to_string());
        assert_eq!(found.source.ordered, Exact::whole(ordered));
        let held = &Exact::whole(ordered) * holding * Exact::ratio(1, 2).unwrap();
        found.per_unit * Exact::whole(816) + held
    };
    let four = Exact::whole(4);
    assert_eq!(shown(&year(70, &four), 2), "14967.89");
    assert_eq!(shown(&year(80, &four), 2), "14154.40");
    assert_eq!(shown(&year(100, &four), 2), "13353.92");
}

/// The same, electric switches: 4,000 a year, 30 for an order, holding at 40 % of the price; 0.90, 0.85 from 500, 0.80 from 1,000.
/// 3,685.66 in orders of 840 (printed 3,686) against 3,480.00 in orders of 1,000.
#[test]
fn a_year_with_holding_by_the_price() {
    let mut house = House::new();
    house.component("X");
    let quotation = house.quote("X", "1 pcs", "0.90", "1 pcs");
    quotation.offers.push(offer("1 pcs", price("0.85"), "1 pcs", Some("500 pcs")));
    quotation.offers.push(offer("1 pcs", price("0.80"), "1 pcs", Some("1000 pcs")));
    quotation.terms.charges = vec![charge("ordering", "30", ChargePer::Order)];
    let year = |ordered: i128| {
        let found = landed(&house, &ordered.to_string());
        let holding = &found.source.terms.goods * &exact("0.4");
        let held = holding * Exact::ratio(ordered, 2).unwrap();
        shown(&(found.per_unit * Exact::whole(4000) + held), 2)
    };
    assert_eq!(year(840), "3685.66");
    assert_eq!(year(1000), "3480.00");
}

fn order_line(quantity: &str, weight: &str, value: &str) -> OrderLine {
    OrderLine { quantity: exact(quantity), weight: exact(weight), value: exact(value) }
}

/// A worked answer on allinterview.com: twenty pieces each of X at USD 20 and Y at USD 5, shipping 40, less 80, at 4.50, and 230 of
/// other costs make 2,300, shared by value 400 : 100. X comes to 92.00 a piece and Y to 23.00.
#[test]
fn charges_shared_by_value_and_by_weight() {
    // In dirhams; X weighs a kilogram a piece and Y three.
    let lines = [order_line("20", "20", "1800"), order_line("20", "60", "450")];
    let charges = (exact("40") - exact("80")) * exact("4.50") + exact("230");
    let by_value = share_charges(&lines, &charges, ShareBy::Value).unwrap();
    assert_eq!(by_value[0].landed.to_decimal_exactly(), Some(dec("1840")));
    assert_eq!(by_value[1].landed.to_decimal_exactly(), Some(dec("460")));
    assert_eq!(by_value[0].per_unit.to_decimal_exactly(), Some(dec("92")));
    assert_eq!(by_value[1].per_unit.to_decimal_exactly(), Some(dec("23")));
    // By weight other pieces, the same total.
    let by_weight = share_charges(&lines, &charges, ShareBy::Weight).unwrap();
    assert_eq!(by_weight[0].per_unit.to_decimal_exactly(), Some(dec("90.625")));
    assert_eq!(by_weight[1].per_unit.to_decimal_exactly(), Some(dec("24.375")));
    let total: Exact = by_weight.iter().map(|line| &line.landed).sum();
    assert_eq!(total, Exact::whole(2300));
    assert!(share_charges(&[order_line("1", "0", "5")], &charges, ShareBy::Weight).is_err());
    // In money as it is kept: a third of a millionth does not get lost.
    let lines = vec![order_line("1", "1", "1"); 3];
    let charge = Money::from_micros(100, Currency::GBP);
    let parts = share_money(&lines, charge, ShareBy::Value).unwrap();
    assert_eq!(parts.iter().map(|part| part.micros()).collect::<Vec<_>>(), [34, 33, 33]);
}

/// 25 kg of a preservative at 9.80, of which 9 kg are used before they expire, come to 27.22 a kilogram. Common practice, no source.
#[test]
fn a_price_after_expected_waste() {
    let mut house = House::new();
    house.quote("X", "25 kg", "9.80", "1 kg");
    let found = landed(&house, "9");
    let after = found.after_waste(&Exact::whole(9), "12 months".parse().unwrap()).unwrap();
    assert_eq!(after.used, Exact::whole(9));
    assert_eq!(after.wasted, Exact::whole(16));
    assert_eq!(shown(&after.per_unit_used.unwrap(), 2), "27.22");
    let of = |a_year: i128, life: &str| {
        after_waste(&Exact::whole(25), &exact("245"), &Exact::whole(a_year), life.parse().unwrap()).unwrap()
    };
    // All of it is used: no waste, and no less than was paid.
    assert_eq!(of(25, "12 months").per_unit_used.unwrap().to_decimal_exactly(), Some(dec("9.8")));
    assert_eq!(of(9000, "12 months").used, Exact::whole(25));
    assert_eq!(of(36, "3 months").used, Exact::whole(9));
    assert_eq!(of(0, "12 months").per_unit_used, None);
    let life = |days: &str| days.parse().unwrap();
    assert_eq!(used_within(&Exact::whole(365), life("90 days"), Some(life("30 days"))), Ok(Exact::whole(60)));
    assert_eq!(used_within(&Exact::whole(365), life("30 days"), Some(life("90 days"))), Ok(Exact::ZERO));
}

/// A demand, terms and a price in ten-thousandths.
fn terms() -> impl Strategy<Value = Terms> {
    let share = || (0_i64..60).prop_map(|whole| percent(&whole.to_string()));
    let money = || (0_i64..5000).prop_map(|cents| price(&format!("{}.{:02}", cents / 100, cents % 100)));
    let per = || {
        prop_oneof![
            Just(ChargePer::Order),
            Just(ChargePer::Pack),
            (1_u32..50).prop_map(|kg| ChargePer::Quantity(quantity(&format!("{kg} kg")))),
            Just(ChargePer::Goods(price("100"))),
            Just(ChargePer::Freight(price("100"))),
        ]
    };
    let charge =
        (money(), per()).prop_map(|(amount, per)| Charge { name: "a charge".to_owned(), amount, per });
    (
        share(),
        prop::option::of((share(), any::<bool>())),
        prop::collection::vec(charge, 0..3),
        prop::option::of((money(), share())),
    )
        .prop_map(|(discount, duty, charges, deposit)| Terms {
            discount,
            duty: duty.map(|(percent, on)| Duty {
                percent,
                on: if on { DutyOn::PriceAndFreight } else { DutyOn::Price },
            }),
            charges,
            deposit: deposit.map(|(amount, forfeited)| Deposit { amount, forfeited }),
            ..Terms::default()
        })
}

fn quoted(at: i64, terms: &Terms) -> House {
    let mut house = House::new();
    let offered = price(&format!("{}.{:04}", at / 10_000, at % 10_000));
    house.quote("X", "25 kg", "1", "1 kg").offers = vec![offer("25 kg", offered, "1 kg", None)];
    house.parts.quotations[0].terms = terms.clone();
    house
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// A rise of the price raises the landed price in proportion, whatever is charged on top, as long as no charge depends on what
    /// the order is worth.
    #[test]
    fn landed_price_is_linear_in_the_price(terms in terms(), at in 0_i64..50_000, by in 1_i64..10_000, ordered in 1_i64..2000) {
        let of = |at| landed(&quoted(at, &terms), &ordered.to_string()).per_unit;
        let (before, once, twice) = (of(at), of(at + by), of(at + 2 * by));
        prop_assert_eq!(&twice - &once, &once - &before);
        // Without anything that is charged whatever the price, twice the price is twice the cost.
        let bare = Terms { charges: Vec::new(), deposit: None, ..terms.clone() };
        let of = |at| landed(&quoted(at, &bare), &ordered.to_string()).per_unit;
        prop_assert_eq!(of(2 * at), of(at) * Exact::whole(2));
    }

    /// A deposit that is given back changes nothing but what is told.
    #[test]
    fn a_deposit_changes_nothing(terms in terms(), at in 0_i64..50_000, ordered in 1_i64..2000, deposit in 0_u32..500) {
        let without = Terms { deposit: None, ..terms };
        let deposit = Deposit { amount: price(&deposit.to_string()), forfeited: percent("0") };
        let with = Terms { deposit: Some(deposit), ..without.clone() };
        let (without, with) = (landed(&quoted(at, &without), &ordered.to_string()), landed(&quoted(at, &with), &ordered.to_string()));
        prop_assert_eq!(without.per_unit, with.per_unit);
        prop_assert_eq!(without.order_cost, with.order_cost);
    }

    /// Of one pack size whose prices fall from break to break, a larger order never costs more a kilogram; whatever is charged by the
    /// kilogram, pack or order. (Of several pack sizes it may, for the order that costs least in all is taken; and a charge for small
    /// orders may come back where a lower price makes a larger order worth less.)
    #[test]
    fn a_larger_order_of_one_pack_never_costs_more_a_kilogram(
        terms in terms(), falls in prop::collection::vec((1_i64..3000, 1_u32..40), 0..4), ordered in 1_i64..3000, more in 1_i64..3000,
    ) {
        let mut house = quoted(50_000, &terms);
        let (mut at, mut from) = (50_000, 0);
        for (fall, packs) in falls {
            at -= fall;
            from += 25 * packs;
            let offered = price(&format!("{}.{:04}", at / 10_000, at % 10_000));
            house.parts.quotations[0].offers.push(offer("25 kg", offered, "1 kg", Some(&format!("{from} kg"))));
        }
        let of = |ordered: i64| landed(&house, &ordered.to_string()).per_unit;
        prop_assert!(of(ordered + more) <= of(ordered));
    }

    /// Shares of charges add up to them, by value and by weight.
    #[test]
    fn shares_add_up(lines in prop::collection::vec((1_i64..10_000, 1_i64..10_000, 1_i64..1_000_000), 1..8), charges in -10_000_i64..100_000) {
        let lines: Vec<OrderLine> = lines
            .iter()
            .map(|(quantity, weight, value)| OrderLine {
                quantity: Exact::from(*quantity),
                weight: Exact::scaled(i128::from(*weight), 2),
                value: Exact::scaled(i128::from(*value), 2),
            })
            .collect();
        let charges = Exact::scaled(i128::from(charges), 2);
        for by in [ShareBy::Value, ShareBy::Weight] {
            let landed = share_charges(&lines, &charges, by).unwrap();
            prop_assert_eq!(landed.iter().map(|line| line.share.clone()).sum::<Exact>(), charges.clone());
        }
        let money = Money::from_micros(1_234_567, Currency::GBP);
        let parts = share_money(&lines, money, ShareBy::Weight).unwrap();
        prop_assert_eq!(parts.iter().map(|part| part.micros()).sum::<i64>(), 1_234_567);
    }
}

/// The plain question and the long one with nothing more to it give the same.
#[test]
fn the_plain_question_is_a_case_of_the_long_one() {
    let house = with_terms(|quotation| quotation.terms.discount = percent("3"));
    let catalogue = house.catalogue();
    let material = catalogue.materials.by_code("X").unwrap();
    let plain =
        landed_price(&View::plain(&catalogue), material, &Exact::whole(60), day("2026-06-15")).unwrap();
    assert_eq!(plain.unwrap(), landed(&house, "60"));
}
