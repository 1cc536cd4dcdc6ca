//! A finished batch against its standard: price, mix, yield, usage and overhead, from what the ledger says.

use app::{FillingWrite, SpoiledComponent, StandardsFreeze, TicketComplete, TicketVariances};
use engine::{Gap, basis::Basis};
use kernel::{Count, Exact};
use rust_decimal::Decimal;
use testkit::db::TestDatabase;

use crate::{
    house::{House, day, pounds, problems},
    making::{allocate, complete, weigh, weighing, write},
    making_costs::{COSTS, PACKS, RATES, sheets},
};

testkit::on_both_databases!(
    a_batch_against_frozen_standards,
    a_batch_against_prices_of_a_day,
    what_nobody_knows_is_a_gap,
    standards_are_kept_and_listed,
);

fn exact(text: &str) -> Exact {
    Exact::from(text.parse::<Decimal>().unwrap())
}

/// 100 kg, a kilogram of premix instead of one of water, detergent bought at 1.60 instead of 1.50, 96 kg instead of 98; 180 bottles, and
/// five spoiled.
async fn made(database: &TestDatabase, premix_value: Option<&str>) -> (House, kernel::ids::TicketId) {
    let house = House::open(database).await;
    house.import(&sheets(RATES, COSTS, PACKS)).await.unwrap();
    house.receive("SLES", "L-1", "100 kg", Some("160.00")).await;
    house.receive("PRES", "L-2", "5 kg", Some("50.00")).await;
    house.receive("STOCK", "L-3", "50 kg", premix_value).await;
    house.receive("BOT", "L-4", "1000 pcs", Some("200.00")).await;
    let ticket = write(&house, "100").await;
    let ticket = allocate(&house, &ticket).await.unwrap();
    let (sles, pres, stock) =
        (house.lot("L-1").await.id, house.lot("L-2").await.id, house.lot("L-3").await.id);
    let weighings = vec![
        weighing(1, None, "76.2"),
        weighing(2, Some(stock), "11"),
        weighing(3, Some(sles), "12"),
        weighing(4, Some(pres), "0.8"),
    ];
    let ticket = weigh(&house, &ticket, weighings).await.unwrap();
    let catalogue = house.app.catalogue(&house.actor).unwrap();
    let (pack, bottle) =
        (catalogue.packs.by_code("HW-500").unwrap().id, catalogue.materials.by_code("BOT").unwrap().id);
    let filling = FillingWrite {
        pack,
        filled: Count::from_thousandths(180_000),
        spoiled: vec![SpoiledComponent { material: bottle, pieces: Count::from_thousandths(5_000) }],
        lot_number: None,
        counts: app::FillingCounts::default(),
    };
    let input = TicketComplete { fillings: vec![filling], ..complete(&ticket, "96") };
    let ticket = house.app.ticket_complete(&house.change(), input).await.unwrap();
    (house, ticket.id)
}

async fn ask(
    house: &House,
    ticket: kernel::ids::TicketId,
    basis: Option<Basis>,
    on: Option<&str>,
) -> TicketVariances {
    house.app.ticket_variances(&house.actor, ticket, basis, on.map(day)).await.unwrap()
}

async fn a_batch_against_frozen_standards(database: &TestDatabase) {
    let (house, ticket) = made(database, Some("30.00")).await;
    let freeze = StandardsFreeze { basis: Basis::Replacement, on: None };
    house.app.standards_freeze(&house.change(), freeze).await.unwrap();
    let found = ask(&house, ticket, None, None).await;
    assert_eq!(
        (found.basis, found.as_of, found.for_want_of_standards),
        (Basis::Standard, day("2026-11-25"), false)
    );
    let batch = found.found.unwrap();
    let sums = &batch.liquid.sums;
    // Premix at 0.40196 had at 0.60, detergent at 1.50 had at 1.60.
    assert_eq!(sums.price, exact("-3.37844"));
    // A kilogram of premix for one of water at 0.002.
    assert_eq!(sums.mix, exact("-0.39996"));
    // Two of the 98 kg that ingredients of 30.174 should have given.
    assert_eq!(sums.yielded, exact("-30.174") * Exact::ratio(2, 98).unwrap());
    // Fixed costs of 76 over fewer kilograms, and four kilograms down the drain instead of two.
    let drain = (exact("2") * Exact::ratio(96, 98).unwrap() - exact("4")) * exact("0.5");
    assert_eq!(sums.other_usage, exact("-76") * Exact::ratio(2, 98).unwrap() + drain);
    assert_eq!(sums.overhead, exact("-9") * Exact::ratio(2, 98).unwrap());
    assert_eq!(batch.liquid.actual_cost, exact("120.9524"));
    assert_eq!(found.posted, Some(pounds("120.9524")), "what was posted is what it cost");
    assert_eq!(sums.total, &batch.liquid.standard_cost - &batch.liquid.actual_cost);

    let filling = batch.filling.as_ref().unwrap();
    assert_eq!(filling.sums.other_usage, exact("-1"), "five bottles at 0.20");
    assert_eq!((filling.sums.price.clone(), filling.sums.total.clone()), (Exact::ZERO, exact("-1")));
    assert_eq!(batch.total(), &sums.total + &filling.sums.total);

    // As printed it adds up to the penny, each column and each line.
    let printed = batch.liquid.print().unwrap();
    let figures = [printed.price, printed.mix, printed.yielded, printed.other_usage, printed.overhead];
    assert_eq!(figures.map(|figure| figure.to_string()), ["-3.38", "-0.40", "-0.62", "-2.57", "-0.18"]);
    assert_eq!(figures.iter().sum::<Decimal>(), printed.total);
    assert_eq!(
        (printed.standard_cost.to_string(), printed.actual_cost.to_string()),
        ("113.80".to_owned(), "120.95".to_owned())
    );
    assert_eq!(printed.lines.iter().map(|line| line.overhead).sum::<Decimal>(), printed.overhead);
    let labels: Vec<&str> = printed.lines.iter().map(|line| line.label.as_str()).collect();
    assert_eq!(labels[4..], ["cost per batch", "mixing", "drain", "rent"]);
}

/// Before July an hour at the bench was cheaper; the batch bears the difference as a price.
async fn a_batch_against_prices_of_a_day(database: &TestDatabase) {
    let (house, ticket) = made(database, Some("30.00")).await;
    // No standard was ever frozen.
    let found = ask(&house, ticket, None, None).await;
    assert_eq!((found.basis, found.for_want_of_standards), (Basis::Replacement, true));
    let today = found.found.unwrap();
    let found = ask(&house, ticket, Some(Basis::Replacement), Some("2026-10-31")).await;
    assert!(!found.for_want_of_standards);
    let before = found.found.unwrap();
    // An hour and a half at 24 instead of 20; the same in what the fewer kilograms bear of it.
    assert_eq!(&before.liquid.sums.price - &today.liquid.sums.price, exact("-6"));
    let less = exact("6") * Exact::ratio(2, 98).unwrap();
    assert_eq!(&before.liquid.sums.other_usage - &today.liquid.sums.other_usage, less);
    // Two hours at the line.
    assert_eq!(before.filling.unwrap().sums.price, exact("-8"));
}

async fn what_nobody_knows_is_a_gap(database: &TestDatabase) {
    let (house, ticket) = made(database, None).await;
    let found = ask(&house, ticket, Some(Basis::Replacement), None).await;
    assert_eq!(found.posted, None);
    let gaps = found.found.unwrap_err();
    let [Gap::NotValued { material, lots }] = gaps.as_slice() else { panic!("{gaps:?}") };
    assert_eq!((material.code.as_str(), lots.as_slice()), ("STOCK", ["L-3".to_owned()].as_slice()));
    // Standards are asked for and none was frozen: each material says so.
    let gaps = ask(&house, ticket, Some(Basis::Standard), None).await.found.unwrap_err();
    assert!(gaps.iter().any(|gap| matches!(gap, Gap::NoStandard { .. })), "{gaps:?}");

    let open = write(&house, "50").await;
    let error = house.app.ticket_variances(&house.actor, open.id, None, None).await.unwrap_err();
    let told = problems(error);
    assert!(told[0].contains("is planned; only a complete one has variances"), "{told:?}");
}

async fn standards_are_kept_and_listed(database: &TestDatabase) {
    let house = House::furnished(database).await;
    for on in ["2026-11-01", "2026-11-20"] {
        let freeze = StandardsFreeze { basis: Basis::Replacement, on: Some(day(on)) };
        house.app.standards_freeze(&house.change(), freeze).await.unwrap();
    }
    let all = house.app.standards(&house.actor, None, None).await.unwrap();
    let listed: Vec<(&str, String)> =
        all.iter().map(|row| (row.key.as_str(), row.standard.frozen_on.to_string())).collect();
    assert_eq!(listed.len(), 8);
    assert_eq!(listed[0].1, "2026-11-01");
    assert!(listed.is_sorted());
    let held = house.app.standards(&house.actor, None, Some(day("2026-11-19"))).await.unwrap();
    assert_eq!(held.len(), 4);
    assert!(held.iter().all(|row| row.standard.frozen_on == day("2026-11-01")));
    let held = house.app.standards(&house.actor, None, Some(day("2026-12-01"))).await.unwrap();
    assert!(held.iter().all(|row| row.standard.frozen_on == day("2026-11-20")));
    let sles = house.app.catalogue(&house.actor).unwrap().materials.by_code("SLES").unwrap().id;
    let one = house.app.standards(&house.actor, Some(sles), Some(day("2026-12-01"))).await.unwrap();
    assert!(one[0].standard.explained.contains("quotation O-1 of Oakhollow Supplies"), "{one:?}");
    assert_eq!(house.app.standards(&house.actor, Some(sles), Some(day("2026-10-31"))).await.unwrap(), vec![]);
}
