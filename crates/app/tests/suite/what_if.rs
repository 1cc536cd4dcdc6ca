//! What-if over a real house: nothing is written, scenarios are kept and run again, a lot is followed into what was made with it.

use app::{CHANGE_FORMS, Change, OfferWrite, QuotationRecord, ScenarioKeep};
use domain::dates::parse_date;
use engine::{Scenario, what_if::Parts};
use kernel::Quantity;
use testkit::db::TestDatabase;

use crate::{
    house::{House, pounds, problems},
    making::{complete, stocked, weigh, weighing, write},
};

testkit::on_both_databases!(
    no_question_changes_a_row,
    a_scenario_is_kept_and_run_again,
    a_lot_called_back_is_found
);

/// One sentence of every kind.
const SENTENCES: [&str; 28] = [
    "price material SLES +12% from 2026-12-01",
    "price supplier OAK -3%",
    "price quotation O-2 11.00 GBP per kg",
    "price pack SLES \"100 kg\" +5%",
    "price currency GBP +1%",
    "rate EUR GBP 0.85",
    "freight material SLES 40 GBP per shipment",
    "duty supplier OAK 6.5%",
    "surcharge material GUM hazard 25 GBP per pack",
    "dose HW-1 3 10%",
    "substitute GUM by PRES times 0.5 in PM-1",
    "batch HW-1 50 kg",
    "overfill HW-500 2%",
    "loss HW-1 3%",
    "volume HW-500 5000",
    "ends OAK on 2026-12-31 for PRES replaced 2027-06-30",
    "old-price SLES 75 days",
    "old-price PRES 200 kg",
    "expires L-1 on 2026-11-30",
    "rejected L-2 on 2026-11-26",
    "on-hold L-3 on 2026-11-26",
    "recalled L-1 on 2026-11-26",
    "holds L-1 80 kg",
    "late SLES 10 days",
    "unavailable GUM until 2027-01-31",
    "run HW-500 50 units on 2026-12-04",
    "run HW-1 20 kg on 2026-12-05",
    "delivery SLES 100 kg on 2026-12-01 expires 2028-11-30",
];

async fn scenario(house: &House, sentences: &[&str]) -> Scenario {
    let mut scenario = Scenario::default();
    for sentence in sentences {
        let read = house.app.change_in_words(&house.actor, sentence).await.unwrap();
        scenario.changes.push(read.unwrap_or_else(|why| panic!("{sentence}: {why}")));
    }
    scenario
}

/// Every row of every table stands as it did, whatever is asked, together or alone.
async fn no_question_changes_a_row(database: &TestDatabase) {
    let house = stocked(database).await;
    let ticket = write(&house, "100").await;
    let moved = format!("moved {} to 2026-12-02", ticket.number);
    let sentences: Vec<&str> = SENTENCES.into_iter().chain([moved.as_str()]).collect();
    let before = database.contents().await;
    assert!(before.values().map(Vec::len).sum::<usize>() > 30, "there is something to change");
    let today = house.app.today();
    for sentence in &sentences {
        let alone = scenario(&house, &[sentence]).await;
        house.app.what_if_parts(&house.actor, &alone, today, Parts::ALL).await.unwrap();
    }
    let all = scenario(&house, &sentences).await;
    let answer = house.app.what_if_parts(&house.actor, &all, today, Parts::ALL).await.unwrap();
    assert!(!answer.hits_nothing());
    assert_eq!(answer.shares.len(), sentences.len());
    house.app.outlook(&house.actor, None).await.unwrap();
    assert_eq!(database.contents().await, before);
    // Every form is shown by its first word, and every one is tried above but the house's rates, of which this house has none.
    for form in CHANGE_FORMS {
        let word = form.split(' ').next().unwrap();
        let tried = sentences.iter().any(|sentence| sentence.starts_with(word));
        assert!(tried || word == "house-rate", "{word} is not tried");
    }
    for (wrong, told) in [
        ("", "say what is to change"),
        ("wish for rain", "“wish” is not one of"),
        ("price material SLES 12%", "“12%” needs its sign"),
        ("price material NOPE +1%", "there is no material “NOPE”"),
        ("dose HW-1 3 10% more", "“more” is not understood"),
        ("recalled L-9 on 2026-11-26", "there is no lot “L-9”"),
        ("ends OAK", "“on” and a day are missing; write ends SUPPLIER on DATE"),
    ] {
        let why = house.app.change_in_words(&house.actor, wrong).await.unwrap().unwrap_err();
        assert!(why.starts_with(told), "{wrong}: {why}");
    }
}

async fn a_scenario_is_kept_and_run_again(database: &TestDatabase) {
    let house = stocked(database).await;
    let dearer = scenario(&house, &["price material SLES +12%", "overfill HW-500 2%"]).await;
    let keep = |name: &str| ScenarioKeep { name: name.to_owned(), scenario: dearer.clone(), as_of: None };
    let keyed = || Change::keyed(&house.actor, "keep-1".to_owned());
    let kept = house.app.scenario_keep(&keyed(), keep("Spring letter")).await.unwrap();
    assert_eq!((kept.number, kept.kept_by.as_str()), (1, "Maud Tremayne"));
    // Sent twice, kept once.
    assert_eq!(house.app.scenario_keep(&keyed(), keep("Spring letter")).await.unwrap(), kept);
    assert_eq!(house.app.scenarios_list(&house.actor).await.unwrap(), vec![kept.clone()]);
    let found = house.app.scenario_by_name(&house.actor, "spring LETTER").await.unwrap();
    assert_eq!(found, kept);

    let before = database.contents().await;
    let run = house.app.scenario_run(&house.actor, kept.clone(), None, Parts::ALL).await.unwrap();
    assert_eq!(run.scenario, dearer);
    assert_eq!(run.since, vec![]);
    assert_eq!(database.contents().await, before, "running it again writes nothing");

    // The surfactant is quoted dearer: the run says so.
    let catalogue = house.app.catalogue(&house.actor).unwrap();
    let quotation = QuotationRecord {
        reference: "O-9".to_owned(),
        supplier: catalogue.suppliers.by_code("OAK").unwrap().id,
        material: catalogue.materials.by_code("PRES").unwrap().id,
        currency: None,
        valid_from: parse_date("2026-11-01").unwrap(),
        valid_until: None,
        lead_time: None,
        minimum_order: None,
        freight: None,
        terms: domain::quotations::Terms::default(),
        offers: vec![OfferWrite {
            pack: Quantity::parse("5 kg", None, kernel::DecimalMark::Point).unwrap(),
            price: kernel::UnitPrice::from_decimal(pounds("8.00").amount(), kernel::Currency::GBP).unwrap(),
            price_per: Some(Quantity::parse("1 kg", None, kernel::DecimalMark::Point).unwrap()),
            from_quantity: None,
        }],
        note: None,
        unusual_prices: false,
    };
    house.app.quotation_record(&house.change(), quotation).await.unwrap();
    let run = house.app.scenario_run(&house.actor, kept.clone(), None, Parts::PLAIN).await.unwrap();
    let told: Vec<&str> = run.since.iter().map(|since| since.what.as_str()).collect();
    assert!(
        told.contains(&"cost as it is of HW-1") && told.contains(&"cost as it would be of HW-500"),
        "{told:?}"
    );

    // Kept again under its name it is the next; the first stays.
    let again = house.app.scenario_keep(&house.change(), keep("spring letter")).await.unwrap();
    assert_eq!(again.number, 2);
    assert_eq!(house.app.scenario_get(&house.actor, kept.id).await.unwrap(), Some(kept));
    let run = house.app.scenario_run(&house.actor, again, None, Parts::PLAIN).await.unwrap();
    assert_eq!(run.since, vec![]);
    let nameless = house.app.scenario_keep(&house.change(), keep("  ")).await.unwrap_err();
    assert_eq!(problems(nameless), ["name: a scenario needs a name of at most 200 characters"]);
}

/// A surfactant in a wash: 12.03 kg of it in the batch, which is set aside with it.
async fn a_lot_called_back_is_found(database: &TestDatabase) {
    let house = stocked(database).await;
    let ticket = write(&house, "100").await;
    let (sles, pres, stock) =
        (house.lot("L-1").await.id, house.lot("L-2").await.id, house.lot("L-3").await.id);
    let weighings = vec![
        weighing(1, None, "77.2"),
        weighing(2, Some(stock), "10"),
        weighing(3, Some(sles), "12.03"),
        weighing(4, Some(pres), "0.8"),
    ];
    let ticket = weigh(&house, &ticket, weighings).await.unwrap();
    house.app.ticket_complete(&house.change(), complete(&ticket, "97.5")).await.unwrap();
    let recalled = scenario(&house, &["recalled L-1 on 2026-11-26"]).await;
    let answer = house.app.what_if(&house.actor, &recalled, house.app.today()).await.unwrap();
    let [recall] = &answer.recalls[..] else { panic!("one lot") };
    let [batch] = &recall.batches[..] else { panic!("one batch") };
    assert_eq!(batch.ticket_number, ticket.number);
    assert_eq!(batch.holds.round_half_even(2).unwrap().to_string(), "12.03");
    assert_eq!(batch.lots[0].on_hand, Some(crate::house::quantity_of("97.5 kg")));
}
