//! A supplier's offer with all its terms: recorded or read from a sheet, kept, and costed by.

use app::{CostQuestion, OfferWrite, QuotationRecord};
use domain::quotations::{
    BreakCounts, Charge, ChargePer, Deposit, Duty, DutyOn, PriceBasis, SmallOrder, Terms,
};
use engine::{CostRequest, OrderBasis, StatedOrder, source::Standing};
use kernel::{Currency, DecimalMark, Percent, Quantity, UnitPrice, parse_decimal};
use testkit::db::TestDatabase;

use crate::house::{self, House, problems};

testkit::on_both_databases!(
    an_offer_is_recorded_with_its_terms,
    an_offer_that_makes_no_sense_is_refused_whole,
    terms_come_in_by_sheets,
    a_cost_sheet_orders_as_asked,
);

fn percent(text: &str) -> Percent {
    Percent::from_percent(parse_decimal(text, DecimalMark::Point).unwrap()).unwrap()
}

fn price(text: &str, currency: Currency) -> UnitPrice {
    UnitPrice::from_decimal(parse_decimal(text, DecimalMark::Point).unwrap(), currency).unwrap()
}

fn quantity(text: &str) -> Quantity {
    Quantity::parse(text, None, DecimalMark::Point).unwrap()
}

fn record(house: &House, terms: Terms) -> QuotationRecord {
    let catalogue = house.app.catalogue(&house.actor).unwrap();
    QuotationRecord {
        reference: "O-20".to_owned(),
        supplier: catalogue.suppliers.by_code("OAK").unwrap().id,
        material: catalogue.materials.by_code("SLES").unwrap().id,
        currency: None,
        valid_from: "2026-11-01".parse().unwrap(),
        valid_until: None,
        lead_time: None,
        minimum_order: None,
        freight: None,
        terms,
        offers: vec![OfferWrite {
            pack: quantity("100 kg"),
            price: price("1.20", Currency::GBP),
            price_per: Some(quantity("1 kg")),
            from_quantity: None,
        }],
        note: None,
        unusual_prices: false,
    }
}

fn terms() -> Terms {
    let pounds = |text| price(text, Currency::GBP);
    Terms {
        price_basis: PriceBasis::AsSupplied,
        discount: percent("5"),
        duty: Some(Duty { percent: percent("2"), on: DutyOn::PriceAndFreight }),
        charges: vec![Charge { name: " tail lift ".to_owned(), amount: pounds("2"), per: ChargePer::Order }],
        small_order: Some(SmallOrder { charge: pounds("10"), below: pounds("100") }),
        deposit: Some(Deposit { amount: pounds("30"), forfeited: Percent::ZERO }),
        break_counts: BreakCounts::Order,
    }
}

async fn an_offer_is_recorded_with_its_terms(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let recorded = house.app.quotation_record(&house.change(), record(&house, terms())).await.unwrap();
    assert_eq!(recorded.terms.charges[0].name, "tail lift");
    // Another process reads from the database what this one wrote.
    let other = House::open(database).await;
    let catalogue = other.app.catalogue(&other.actor).unwrap();
    assert_eq!(**catalogue.quotation(recorded.id).unwrap(), recorded);

    // 1.14 + 0.0228 + 0.02 a kilogram make it the better one: 12 kg in a pack of 100.
    let pack = catalogue.packs.by_code("HW-500").unwrap().id;
    let sheet = other.app.cost_sheet(&other.actor, &CostRequest::pack(pack, other.app.today())).unwrap();
    let line =
        sheet.lines.iter().find(|line| line.material.as_ref().is_some_and(|m| m.code == "SLES")).unwrap();
    assert_eq!(
        line.source.to_string(),
        "quotation O-20 of Oakhollow Supplies: 1.2 GBP per 1 kg, 1 × 100 kg for 12 kg, one batch; less 5 % discount; \
         duty of 2 % on price and freight 0.0228 per kg; tail lift 0.02 per kg; deposit of 30 a pack, returned and no cost; \
         valid until replaced"
    );
    assert_eq!(sheet.standing, Some(Standing::Valid));
    assert_eq!(sheet.quotations.len(), 5);
}

async fn an_offer_that_makes_no_sense_is_refused_whole(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let before = house.app.catalogue(&house.actor).unwrap().quotations().len();
    let euros = |text| price(text, Currency::EUR);
    let broken = Terms {
        price_basis: PriceBasis::ActiveMatter,
        discount: percent("100"),
        duty: Some(Duty { percent: percent("-1"), on: DutyOn::Price }),
        charges: vec![Charge {
            name: " ".to_owned(),
            amount: euros("1"),
            per: ChargePer::Quantity(quantity("0 kg")),
        }],
        small_order: None,
        deposit: Some(Deposit { amount: euros("1"), forfeited: percent("101") }),
        break_counts: BreakCounts::Line,
    };
    let mut input = record(&house, broken);
    input.offers[0].price_per = None;
    let found = problems(house.app.quotation_record(&house.change(), input).await.unwrap_err());
    assert_eq!(
        found,
        [
            "terms.discount: a loss is out of range: at most less than 100 %",
            "terms.duty: a percent must not be below nought",
            "terms.deposit.forfeited: a percent is out of range: at most 100 %",
            "terms: this quotation is in GBP",
            "terms.charges[0].name: the name is empty",
            "terms.charges[0].per: a charge is of something above nought",
            "offers[0].pricePer: a price of active matter is of so many kilograms of it: say how many",
        ]
    );
    assert_eq!(house.app.catalogue(&house.actor).unwrap().quotations().len(), before);
}

async fn terms_come_in_by_sheets(database: &TestDatabase) {
    let house = House::open(database).await;
    let offer = |discount: &str| {
        let quotations = format!(
            "quotation,supplier,material,pack,price,price per,valid from,discount,duty,duty on,charges,small order charge,\
             small order below,deposit,deposit forfeited,break counts,price basis\n\
             W-1,WELL,WAT,1000 kg,2.00,pack,2026-01-01,,,,,,,,,,\n\
             O-1,OAK,SLES,100 kg,1.20,kg,2026-01-01,{discount},2,price and freight,tail lift: 2 per order,10,100,30,0,order,as supplied\n\
             O-2,OAK,PRES,5 kg,10.00,kg,2026-01-01,,,,,,,,,,\n\
             O-3,OAK,GUM,1 kg,20.00,kg,2026-01-01,,,,,,,,,,\n\
             O-4,OAK,BOT,1000 pcs,200.00,pack,2026-01-01,,,,,,,,,,\n"
        );
        let mut sheets = house::sheets();
        sheets.retain(|(file, _)| *file != "quotations.csv");
        sheets.push(("quotations.csv", quotations));
        sheets
    };
    house.import(&offer("5")).await.unwrap();
    let catalogue = house.app.catalogue(&house.actor).unwrap();
    let kept = catalogue.quotations().iter().find(|q| q.reference == "O-1").unwrap();
    let mut wanted = terms();
    "tail lift".clone_into(&mut wanted.charges[0].name);
    assert_eq!(kept.terms, wanted);
    let plain = catalogue.quotations().iter().find(|q| q.reference == "O-2").unwrap();
    assert_eq!(plain.terms, Terms::default());
    assert!(!house.import(&offer("5")).await.unwrap().changes_anything());
    let found = problems(house.import(&offer("6")).await.unwrap_err());
    assert!(found[0].contains("quotation O-1 stands here already with other figures"), "{found:?}");
}

async fn a_cost_sheet_orders_as_asked(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let catalogue = house.app.catalogue(&house.actor).unwrap();
    let version = catalogue.formulas.by_code("HW-1").unwrap().versions[0].id;
    let material = catalogue.materials.by_code("PRES").unwrap().id;
    let request = CostRequest::version(version, house.app.today());
    let costing = house.app.costing(&house.actor, catalogue.clone(), &[], &[]).await.unwrap();
    let source_of = |request: &CostRequest, stated: &[StatedOrder]| {
        let question = CostQuestion { request: *request, orders: stated.to_vec() };
        let sheet = costing.sheet(&question).unwrap();
        let is_it = |line: &&engine::cost::CostLine| line.material.as_ref().is_some_and(|m| m.id == material);
        sheet.lines.iter().find(is_it).unwrap().source.to_string()
    };
    let sold = "quotation O-2 of Oakhollow Supplies: 10 GBP per 1 kg";
    assert_eq!(
        source_of(&request, &[]),
        format!("{sold}, 1 × 5 kg for 0.8 kg, one batch; valid until replaced")
    );
    assert_eq!(
        source_of(&request.ordered(OrderBasis::YEAR), &[]),
        format!(
            "{sold}, 1 × 5 kg for 0.8 kg, one batch, for its use in a year is not known; valid until replaced"
        )
    );
    let stated = [StatedOrder { material, quantity: quantity("12 kg") }];
    assert_eq!(
        source_of(&request, &stated),
        format!("{sold}, 3 × 5 kg for 12 kg, as stated; valid until replaced")
    );
}
