//! What making a batch costs: from the sheets, from drafts, and in what a finished lot is worth.

use app::{FillingWrite, FormulaVersionWrite, HouseRateRecord, LineWrite, TicketComplete};
use domain::{
    formulas::{AmountBasis, LineAmount, WrittenAs},
    house_rates::{HouseRateAmount, HouseRateOf},
    making::{Making, MakingCost, MakingCostAmount, MakingCostKind},
};
use engine::CostRequest;
use kernel::{Count, Currency, Exact, Percent, UnitPrice};
use testkit::db::TestDatabase;

use crate::{
    house::{self, House, day, kg, pounds, problems, refused},
    making::{allocate, weigh, weighing, write},
};

testkit::on_both_databases!(
    sheets_bring_costs_and_rates,
    sheets_that_name_no_rate,
    a_draft_with_costs_of_making,
    a_rate_is_recorded_once,
    a_finished_lot_is_worth_what_it_cost,
);

pub const RATES: &str = "\
rate,kind,amount,per,normal capacity,from
bench,labour,20.00,hour,,2026-01-01
bench,labour,24.00,hour,,2026-11-01
filler,machine,9.00,hour,,2026-01-01
rent,overhead,6000.00,labour hour,1000,2026-01-01
";
pub const COSTS: &str = "\
formula,version,cost,kind,amount,per,time,rate
HW-1,1,mixing,labour,,,90 min,bench
HW-1,1,drain,disposal,0.50,kg of waste,,
";
pub const PACKS: &str = "\
pack,name,formula,fill,overfill,price,units kept back,units per hour,people,labour rate,machine rate,changeover
HW-500,Hand wash 500 mL,HW-1,500 mL,1 %,2.00,6,90,1,bench,filler,5.00
";

pub fn sheets(rates: &str, costs: &str, packs: &str) -> Vec<(&'static str, String)> {
    let mut sheets = house::sheets();
    sheets.retain(|(name, _)| *name != "packs.csv");
    sheets.push(("packs.csv", packs.to_owned()));
    sheets.push(("making-costs.csv", costs.to_owned()));
    if !rates.is_empty() {
        sheets.push(("house-rates.csv", rates.to_owned()));
    }
    sheets
}

async fn sheets_bring_costs_and_rates(database: &TestDatabase) {
    let house = House::open(database).await;
    let all = sheets(RATES, COSTS, PACKS);
    let first = house.import(&all).await.unwrap();
    assert_eq!(first.house_rates.created, 4);
    let second = house.import(&all).await.unwrap();
    assert!(!second.changes_anything(), "{second:?}");

    let catalogue = house.app.catalogue(&house.actor).unwrap();
    let pack = catalogue.packs.by_code("HW-500").unwrap();
    let request = CostRequest::pack(pack.id, house.app.today());
    let sheet = house.app.cost_sheet(&house.actor, &request).unwrap();
    assert!(sheet.complete, "{:?}", sheet.gaps);
    let filling = sheet.filling.as_ref().unwrap();
    // 98 kg at 0.52015 kg.
    assert_eq!((filling.filled, filling.units), (188, 182));
    // 40 per batch, 1.5 h at 24, 2 kg of waste at 0.50, 1.5 h of rent at 6.
    assert_eq!(sheet.totals.making, Exact::whole(40 + 36 + 1 + 9));

    // Without a sheet of making costs, what is known stays; a row less in it is a change to a fixed version.
    let third = house.import(&house::sheets()).await.unwrap();
    assert_eq!((third.versions.unchanged, third.packs.updated), (3, 1));
    let catalogue = house.app.catalogue(&house.actor).unwrap();
    assert_eq!(catalogue.formulas.by_code("HW-1").unwrap().version(1).unwrap().making.costs.len(), 2);
    let fewer = COSTS.lines().take(2).collect::<Vec<_>>().join("\n");
    let found = problems(house.import(&sheets("", &fewer, PACKS)).await.unwrap_err());
    assert!(
        found[0].starts_with("formulas.csv, row 3, version: version 1 of HW-1 is fixed here"),
        "{found:?}"
    );
    // A rate is history.
    let found =
        problems(house.import(&sheets(&RATES.replace("24.00", "25.00"), COSTS, PACKS)).await.unwrap_err());
    assert_eq!(found, ["house-rates.csv, row 3, amount: another rate “bench” stands here from 2026-11-01"]);
    let other =
        RATES.replace("filler,machine", "filler,labour").replace("2026-01-01\nrent", "2026-12-01\nrent");
    let found = problems(house.import(&sheets(&other, COSTS, PACKS)).await.unwrap_err());
    assert_eq!(
        found,
        [
            "house-rates.csv, row 4, kind: “filler” is machine per machine hour here; what a rate is of cannot change"
        ]
    );
}

async fn sheets_that_name_no_rate(database: &TestDatabase) {
    let house = House::open(database).await;
    let found = problems(house.import(&sheets("", COSTS, PACKS)).await.unwrap_err());
    assert_eq!(
        found,
        [
            "making-costs.csv, row 2, rate: there is no rate of the house with the name “bench”",
            "packs.csv, row 2, labour rate, machine rate: there is no rate of the house with the name “bench”",
            "packs.csv, row 2, labour rate, machine rate: there is no rate of the house with the name “filler”",
        ]
    );
    let rent = COSTS.replace("bench", "rent");
    let found = problems(house.import(&sheets(RATES, &rent, PACKS)).await.unwrap_err());
    assert_eq!(
        found,
        ["making-costs.csv, row 2, rate: “rent” is an overhead; hours are paid at a labour or machine rate"]
    );
}

fn cost(name: &str, kind: MakingCostKind, amount: MakingCostAmount) -> MakingCost {
    MakingCost { name: name.to_owned(), kind, amount }
}

async fn a_draft_with_costs_of_making(database: &TestDatabase) {
    let house = House::open(database).await;
    house.import(&sheets(RATES, COSTS, PACKS)).await.unwrap();
    let catalogue = house.app.catalogue(&house.actor).unwrap();
    let draft = |making: Making| FormulaVersionWrite {
        formula: catalogue.formulas.by_code("HW-1").unwrap().id,
        version: None,
        written_as: WrittenAs::Percent,
        lines: vec![LineWrite {
            phase: None,
            material: catalogue.materials.by_code("WAT").unwrap().id,
            amount: LineAmount::QuantitySufficient,
            basis: AmountBasis::AsSupplied,
            function: None,
            use_level_from: None,
            use_level_to: None,
            weighing_tolerance: None,
            instruction: None,
            trim: None,
        }],
        density: None,
        process_loss: Percent::from_nano(2_000_000_000),
        heel: kg("1"),
        usual_batch: kg("100"),
        smallest_batch: None,
        largest_batch: None,
        cost_per_batch: None,
        making: Some(making),
        seen: None,
        shelf_life: None,
        note: None,
    };
    let hours = |time: &str, rate: &str| MakingCostAmount::Hours {
        time: time.parse().unwrap(),
        rate: rate.to_owned(),
    };
    let making = Making {
        evaporation: Percent::from_nano(1_000_000_000),
        samples: kg("0.3"),
        retains: kg("0.2"),
        costs: vec![
            cost(" mixing ", MakingCostKind::Labour, hours("2 h", "BENCH")),
            cost("tests", MakingCostKind::Tests, MakingCostAmount::PerBatch(pounds("7.50"))),
        ],
    };
    let version = house.app.formula_version_write(&house.change(), draft(making)).await.unwrap();
    assert_eq!(version.making.costs[0].name, "mixing");
    let request = CostRequest::version(version.id, house.app.today());
    let sheet = house.app.cost_sheet(&house.actor, &request).unwrap();
    assert_eq!(sheet.totals.making, Exact::scaled(675, 1), "2 h at 24, 7.50, 2 h at 6");
    assert_eq!(sheet.batch.good, Exact::scaled(955, 1));

    let wrong = Making {
        evaporation: Percent::from_nano(98_000_000_000),
        samples: kg("-1"),
        retains: kg("0"),
        costs: vec![
            cost("a", MakingCostKind::Labour, hours("1 h", "nobody")),
            cost("A", MakingCostKind::Labour, hours("1 h", "rent")),
            cost("", MakingCostKind::Other, MakingCostAmount::PerBatch(pounds("-1"))),
            cost(
                "c",
                MakingCostKind::Disposal,
                MakingCostAmount::PerKgOfWaste(UnitPrice::from_scaled(1, Currency::EUR)),
            ),
        ],
    };
    let found = problems(house.app.formula_version_write(&house.change(), draft(wrong)).await.unwrap_err());
    assert_eq!(
        found,
        [
            "making.evaporation: with the process loss it is 100 %; nothing is left",
            "making.samples: a mass must not be below nought",
            "making.costs[0].rate: there is no rate of the house with the name “nobody”",
            "making.costs[1].name: “A” stands twice",
            "making.costs[1].rate: “rent” is an overhead; hours are paid at a labour or machine rate",
            "making.costs[2].name: a name is empty",
            "making.costs[2].amount: a cost must not be below nought",
            "making.costs[3].amount: costs of the house are in GBP",
        ]
    );
}

async fn a_rate_is_recorded_once(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let record = |name: &str, of, raw: i64, currency| HouseRateRecord {
        name: name.to_owned(),
        of,
        amount: HouseRateAmount::Stated(UnitPrice::from_scaled(raw, currency)),
        from: day("2026-11-25"),
        note: None,
    };
    let input = record("bench", HouseRateOf::LabourHour, 2_400_000_000, Currency::GBP);
    let rate = house.app.house_rate_record(&house.change(), input).await.unwrap();
    let catalogue = house.app.catalogue(&house.actor).unwrap();
    assert_eq!(catalogue.house_rate_on("Bench", day("2026-11-25")), Some(&rate));
    assert_eq!(catalogue.house_rate_on("bench", day("2026-11-24")), None);

    let again = record("BENCH", HouseRateOf::LabourHour, 1, Currency::GBP);
    let error = house.app.house_rate_record(&house.change(), again).await.unwrap_err();
    assert_eq!(refused(error), ["TAKEN"]);
    let other = record("bench", HouseRateOf::OverheadPerBatch, -1, Currency::EUR);
    let found = problems(house.app.house_rate_record(&house.change(), other).await.unwrap_err());
    assert_eq!(
        found,
        [
            "amount: a rate must not be below nought",
            "amount: rates of the house are in GBP",
            "of: “bench” is labour per labour hour; what a rate is of cannot change",
        ]
    );
}

/// What a batch is worth: what went in, its own cost, an hour and a half at the bench with its rent, the drain for what was really
/// lost. What a run of it is worth: its share of that, bottles, line time with its rent, the changeover.
async fn a_finished_lot_is_worth_what_it_cost(database: &TestDatabase) {
    let house = House::open(database).await;
    house.import(&sheets(RATES, COSTS, PACKS)).await.unwrap();
    house.receive("SLES", "L-1", "100 kg", Some("150.00")).await;
    house.receive("PRES", "L-2", "5 kg", Some("50.00")).await;
    house.receive("STOCK", "L-3", "50 kg", Some("30.00")).await;
    house.receive("BOT", "L-4", "1000 pcs", Some("200.00")).await;
    let ticket = write(&house, "100").await;
    let ticket = allocate(&house, &ticket).await.unwrap();
    let (sles, pres, stock) =
        (house.lot("L-1").await.id, house.lot("L-2").await.id, house.lot("L-3").await.id);
    let weighings = vec![
        weighing(1, None, "77.2"),
        weighing(2, Some(stock), "10"),
        weighing(3, Some(sles), "12"),
        weighing(4, Some(pres), "0.8"),
    ];
    let ticket = weigh(&house, &ticket, weighings).await.unwrap();
    let pack = house.app.catalogue(&house.actor).unwrap().packs.by_code("HW-500").unwrap().id;
    let filling = FillingWrite {
        pack,
        filled: Count::from_thousandths(180_000),
        spoiled: vec![],
        lot_number: None,
        counts: app::FillingCounts::default(),
    };
    let input = TicketComplete {
        ticket: ticket.id,
        yield_mass: kg("97"),
        lot_number: None,
        density: None,
        fillings: vec![filling],
        note: None,
        on: None,
    };
    let ticket = house.app.ticket_complete(&house.change(), input).await.unwrap();
    let completion = ticket.completion.unwrap();
    let made = house.app.lots_get(&house.actor, &[completion.lot]).await.unwrap().remove(0);
    // 18 + 8 + 6 weighed, water 0.1544, 40, 36, 3 kg at 0.50, 9.
    assert_eq!(made.received_value, Some(pounds("118.6544")));
    let bottles = house.app.lots_get(&house.actor, &[completion.fillings[0].lot]).await.unwrap().remove(0);
    // 93.627 kg of 97 drawn; 180 bottles at 0.20; two hours at 24, at 9 and at 6; 5 for the changeover.
    let share = Exact::from("118.6544".parse::<rust_decimal::Decimal>().unwrap())
        * Exact::ratio(93_627, 97_000).unwrap();
    let drawn = kernel::Money::from_exact_half_even(&share, Currency::GBP).unwrap();
    let expected = drawn.checked_add(pounds("119")).unwrap();
    assert_eq!(bottles.received_value, Some(expected));
    house.assert_sound().await;
}
