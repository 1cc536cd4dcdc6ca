//! Sheets of making costs and house rates, and what packs say about their filling run.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test may stop at the first surprise"
)]

mod common;

use common::{check, check_with, comma};
use domain::{
    house_rates::{HouseRateAmount, HouseRateOf},
    making::{MakingCostAmount, MakingCostKind},
};
use kernel::Currency;

const FORMULAS: &str = "formula,name,version,status,makes,written as,usual batch,process loss,evaporation,samples,retains\n\
                        F,Eff,1,draft,BK,percent,100 kg,2 %,1.5 %,300 g,0.5 kg\n";
const LINES: &str = "formula,version,line,material,amount\nF,1,1,A,100 %\n";

fn with_costs(costs: &str, expected: &[&str]) -> exchange::Reading {
    check(&[("formulas.csv", FORMULAS), ("formula-lines.csv", LINES), ("making costs.csv", costs)], expected)
}

#[test]
fn what_else_leaves_a_batch_and_what_making_it_costs() {
    let reading = with_costs(
        "formula,version,cost,kind,amount,per,time,rate\n\
         F,1,Mixing,labour,,,90 min,bench\n\
         f,1,vessel,machine,,,1.25 h,mixer\n\
         F,1,plate count,Tests,18.50,batch,,\n\
         F,1,seals,other,2.00,,,\n\
         F,1,steam,machine,0.03 GBP,kg charged,,\n\
         F,1,drain,disposal,0.45,kg of waste,,\n",
        &[],
    );
    let version = &reading.set.formulas[0].versions[0];
    assert_eq!(version.evaporation.to_string(), "1.5 %");
    assert_eq!(
        (version.samples.to_string(), version.retains.to_string()),
        ("0.3 kg".into(), "0.5 kg".into())
    );
    let costs: Vec<_> = version.costs.as_ref().unwrap().iter().map(|draft| &draft.cost).collect();
    let shown: Vec<String> = costs
        .iter()
        .map(|cost| {
            let amount = match &cost.amount {
                MakingCostAmount::PerBatch(money) => format!("{money} per batch"),
                MakingCostAmount::Hours { time, rate } => format!("{time} at {rate}"),
                MakingCostAmount::PerKgCharged(price) => format!("{} per kg charged", price.amount()),
                MakingCostAmount::PerKgOfWaste(price) => format!("{} per kg of waste", price.amount()),
            };
            format!("{} ({}): {amount}", cost.name, cost.kind.word())
        })
        .collect();
    assert_eq!(
        shown,
        [
            "Mixing (labour): 1.5 h at bench",
            "vessel (machine): 1.25 h at mixer",
            "plate count (tests): 18.5 GBP per batch",
            "seals (other): 2 GBP per batch",
            "steam (machine): 0.03 per kg charged",
            "drain (disposal): 0.45 per kg of waste",
        ]
    );
    assert_eq!(costs[0].kind, MakingCostKind::Labour);

    // Without a sheet of them nothing is said about costs; with an empty one there are none.
    let silent = check(&[("formulas.csv", FORMULAS), ("formula-lines.csv", LINES)], &[]);
    assert_eq!(silent.set.formulas[0].versions[0].costs, None);
    let none = with_costs("formula,version,cost,kind\n", &[]);
    assert_eq!(none.set.formulas[0].versions[0].costs, Some(Vec::new()));
}

#[test]
fn making_costs_that_cannot_be() {
    with_costs(
        "formula,version,cost,kind,amount,per,time,rate\n\
         F,1,a,wages,1,,,\n\
         F,1,b,labour,1,,1 h,bench\n\
         F,1,c,labour,,,1 h,\n\
         F,1,d,labour,,,,\n\
         F,1,e,labour,,,2 days,bench\n\
         F,1,f,labour,,,0 h,bench\n\
         F,1,g,labour,-1,,,\n\
         F,1,h,labour,1 EUR,,,\n\
         F,1,i,labour,1,litre,,\n\
         F,1,j,labour,1,,,\n\
         F,1,J,labour,1,,,\n\
         F,2,k,labour,1,,,\n",
        &[
            "making costs.csv, row 2, kind: “wages” is not one of labour, machine, cleaning, tests, disposal, other, \
             labor",
            "making costs.csv, row 3, amount: stands beside a time; a cost is money, or time at a rate of the house",
            "making costs.csv, row 4, rate: needs a value: time and rate stand together",
            "making costs.csv, row 5, amount: needs a value, unless a time and a rate are given",
            "making costs.csv, row 6, time: “days” is not a unit of time (h, min)",
            "making costs.csv, row 7, time: a time of work must be above nought",
            "making costs.csv, row 8, amount: money must not be below nought",
            "making costs.csv, row 9, amount: is in EUR; this column is in the house's currency, GBP",
            "making costs.csv, row 10, per: “litre” is not one of batch, kg charged, kg of waste",
            "making costs.csv, row 12, cost: the same cost of this version stands in row 11 already",
            "making costs.csv, row 13, version: no sheet of formulas in this import has version 2 of F",
        ],
    );
    check(
        &[
            ("formulas.csv", &FORMULAS.replace("2 %,1.5 %", "2 %,98 %")),
            ("formula-lines.csv", LINES),
            ("making-costs.csv", "formula,version,cost,kind,amount\nF,1,a,labour,1\n"),
        ],
        &["formulas.csv, row 2, evaporation: with the process loss it is 100 %; nothing is left"],
    );
}

#[test]
fn rates_of_the_house() {
    let reading = check(
        &[(
            "House Rates.csv",
            "rate,kind,amount,per,normal capacity,capacity used,from,note\n\
             bench,labour,24.50,hour,,,2026-01-01,\n\
             bench,labour,25.00 GBP,labour hour,,,2026-07-01,after the rise\n\
             mixer,machine,9,machine hour,,,2026-01-01,\n\
             rent,overhead,18000,labour hour,2400,,2026-01-01,\n\
             papers,overhead,7.5,batch,,,2026-01-01,\n\
             pensions,overhead,112.5 %,labour cost,,,2026-01-01,\n\
             works,overhead,250000,labour cost,100000,120000,2026-01-01,\n",
        )],
        &[],
    );
    let rates = &reading.set.house_rates;
    assert_eq!(rates.len(), 7);
    assert_eq!(rates[1].note.as_deref(), Some("after the rise"));
    let of: Vec<_> = rates.iter().map(|rate| rate.of).collect();
    assert_eq!(
        of,
        [
            HouseRateOf::LabourHour,
            HouseRateOf::LabourHour,
            HouseRateOf::MachineHour,
            HouseRateOf::OverheadPerLabourHour,
            HouseRateOf::OverheadPerBatch,
            HouseRateOf::OverheadOnLabour,
            HouseRateOf::OverheadOnLabour,
        ]
    );
    let HouseRateAmount::Budget { cost, normal_capacity, capacity_used } = &rates[6].amount else {
        panic!("no budget")
    };
    assert_eq!((cost.to_string(), normal_capacity.to_string()), ("250000 GBP".into(), "100000".into()));
    assert_eq!(capacity_used.unwrap().to_string(), "120000");
    let HouseRateAmount::Percent(percent) = rates[5].amount else { panic!("no percent") };
    assert_eq!(percent.to_string(), "112.5 %");
}

#[test]
fn rates_that_cannot_be() {
    check(
        &[(
            "house-rates.csv",
            "rate,kind,amount,per,normal capacity,capacity used,from\n\
             a,labour,24,batch,,,2026-01-01\n\
             b,overhead,24,hour,,,2026-01-01\n\
             c,overhead,24,labour cost,,,2026-01-01\n\
             d,labour,10 %,hour,,,2026-01-01\n\
             e,overhead,24,batch,0,,2026-01-01\n\
             f,overhead,24,batch,,9,2026-01-01\n\
             g,overhead,10 %,labour cost,9,,2026-01-01\n\
             h,machine,240,hour,10,,2026-01-01\n\
             i,machine,24,hour,,,\n\
             j,machine,24,hour,,,2026-01-01\n\
             J,machine,25,hour,,,2026-01-01\n\
             k,machine,-1,hour,,,2026-01-01\n\
             l,machine,1 EUR,hour,,,2026-01-01\n",
        )],
        &[
            "house-rates.csv, row 2, per: labour and machines are paid per hour",
            "house-rates.csv, row 3, per: an overhead is per labour hour or per machine hour; “hour” could be either",
            "house-rates.csv, row 4, amount: an overhead on what labour costs is a percent, or a cost with its normal \
             capacity",
            "house-rates.csv, row 5, amount: a percent is of what labour costs, not of a labour hour",
            "house-rates.csv, row 6, amount: a normal capacity must be above nought",
            "house-rates.csv, row 7, capacity used: needs the normal capacity beside it",
            "house-rates.csv, row 8, normal capacity: belongs to the cost of a period, not to a percent",
            "house-rates.csv, row 9, amount: only overheads are a cost over a capacity; an hour has a price",
            "house-rates.csv, row 10, from: needs a value",
            "house-rates.csv, row 12, rate: the same rate from the same day stands in row 11 already",
            "house-rates.csv, row 13, amount: money must not be below nought",
            "house-rates.csv, row 14, amount: is in EUR; this column is in the house's currency, GBP",
        ],
    );
}

#[test]
fn filling_runs() {
    let reading = check(
        &[(
            "packs.csv",
            "pack,name,formula,fill,line labour,units kept back,units per hour,people,labour rate,machine rate,changeover\n\
             P1,One,F,1 L,0.12,0,,,,,\n\
             P2,Two,F,1 L,,8,220,1.5,bench,filler,14.00\n\
             P3,Three,F,1 L,,,60,,bench,,\n",
        )],
        &[],
    );
    let packs = &reading.set.packs;
    assert_eq!(packs[0].run, domain::making::FillingRun::default());
    assert_eq!(packs[1].run.units_kept_back, 8);
    assert_eq!(packs[1].run.changeover.unwrap().to_string(), "14 GBP");
    let speed = packs[1].run.speed.as_ref().unwrap();
    assert_eq!((speed.units_per_hour.thousandths(), speed.people.thousandths()), (220_000, 1_500));
    assert_eq!(packs[1].run.rates().collect::<Vec<_>>(), ["bench", "filler"]);
    assert_eq!(packs[2].run.speed.as_ref().unwrap().people.thousandths(), 1_000, "one, unless it is said");
    check(
        &[(
            "packs.csv",
            "pack,name,formula,fill,line labour,units kept back,units per hour,people,labour rate\n\
             P1,One,F,1 L,0.12,,60,,bench\n\
             P2,Two,F,1 L,,,60,,\n\
             P3,Three,F,1 L,,,,2,bench\n\
             P4,Four,F,1 L,,-1,0,,bench\n\
             P5,Five,F,1 L,,1.5,60,0,bench\n",
        )],
        &[
            "packs.csv, row 2, units per hour: stands beside a line labour per unit; one of the two is needed",
            "packs.csv, row 3, units per hour: needs a labour rate or a machine rate beside it",
            "packs.csv, row 4, people: needs the units per hour beside it",
            "packs.csv, row 4, labour rate: needs the units per hour beside it",
            "packs.csv, row 5, units kept back: “-1” is not a whole number from 1 up",
            "packs.csv, row 5, units per hour: a count must be above nought",
            "packs.csv, row 6, units kept back: “1.5” is not a whole number from 1 up",
            "packs.csv, row 6, people: a count must be above nought",
        ],
    );
}

/// A decimal comma once agreed holds for times, capacities and rates as well.
#[test]
fn with_a_decimal_comma() {
    let reading = check_with(
        &comma(),
        &[
            (
                "house-rates.csv",
                "rate;kind;amount;per;normal capacity;from\nrent;overhead;12000,50;machine hour;1200,5;2026-01-01\n",
            ),
            (
                "formulas.csv",
                &FORMULAS.replace(',', ";").replace("1.5 %", "1,5 %").replace("0.5 kg", "0,5 kg"),
            ),
            ("formula-lines.csv", &LINES.replace(',', ";")),
            ("making-costs.csv", "formula;version;cost;kind;time;rate\nF;1;mixing;labour;1,5 h;bench\n"),
        ],
        &[],
    );
    let MakingCostAmount::Hours { time, .. } =
        &reading.set.formulas[0].versions[0].costs.as_ref().unwrap()[0].cost.amount
    else {
        panic!("no hours")
    };
    assert_eq!(time.to_string(), "1.5 h");
    let rate = &reading.set.house_rates[0];
    assert_eq!(
        rate.amount,
        HouseRateAmount::Budget {
            cost: kernel::Money::from_micros(12_000_500_000, Currency::GBP),
            normal_capacity: "1200.5".parse().unwrap(),
            capacity_used: None,
        }
    );
}
