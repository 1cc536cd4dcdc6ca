//! The engine against a plain reference: the same random three-level formulas, worked out line by line in big rationals without
//! any of the engine's types, memory or order of work.

use domain::{
    house_rates::HouseRateOf,
    making::{LineSpeed, MakingCost, MakingCostAmount, MakingCostKind},
    packs::ComponentPer,
};
use kernel::Count;
use num_bigint::BigInt;
use num_rational::BigRational;
use proptest::prelude::*;
use rust_decimal::Decimal;

use super::{
    costing::assert_adds_up,
    fixtures::{House, gbp, kg, measured, percent, price, today},
};
use crate::{CostRequest, View, cost_sheet, explode::explode, present};

/// A formula in whole hundredths of a percent; the first line is q.s.
#[derive(Debug, Clone)]
pub struct Plan {
    /// Index of what stands in it (materials of the level below first, raw materials after them) and hundredths of a percent.
    pub lines: Vec<(usize, u32)>,
    /// Tenths of a percent.
    pub loss: u32,
    /// Grams.
    pub heel: u32,
    /// Kilograms.
    pub batch: u32,
    /// Pence; `None` where none is entered.
    pub making: Option<u32>,
    /// Tenths of a percent of vapour.
    pub evaporation: u32,
    /// Grams of samples, and of retains.
    pub taken: (u32, u32),
    /// Minutes at the bench, pence per kg of waste.
    pub costs: (u32, u32),
}

/// Three levels of two formulas each over six raw materials; prices in 10⁻⁴ of the currency per kg.
#[derive(Debug, Clone)]
pub struct Plans {
    pub prices: [u32; RAW],
    pub levels: [[Plan; 2]; 3],
    /// 10⁻³ kg/L.
    pub density: u32,
    /// Hundredths of a percent over, tenths lost at the filler, pence per bottle, tenths of a percent of bottles scrapped.
    pub fill: (u32, u32, u32, u32),
    pub run: Run,
}

/// The bench's rate, overhead on labour, and how the pack is filled.
#[derive(Debug, Clone)]
pub struct Run {
    /// Pence an hour.
    pub bench: u32,
    /// Tenths of a percent.
    pub overhead: u32,
    pub kept_back: u32,
    /// Nought for a line labour of 7 pence a unit instead.
    pub units_per_hour: u32,
    /// Tenths of a person.
    pub people: u32,
    /// Pence.
    pub changeover: u32,
}

const RAW: usize = 6;

fn plan(choices: usize) -> impl Strategy<Value = Plan> {
    let lines = prop::collection::vec((0..choices, 0_u32..2_400), 1..5);
    let made =
        (prop::option::of(0_u32..10_000), 0_u32..100, (0_u32..500, 0_u32..500), (0_u32..600, 0_u32..200));
    (lines, 0_u32..300, 0_u32..2_000, 20_u32..500, made).prop_map(
        |(lines, loss, heel, batch, (making, evaporation, taken, costs))| Plan {
            lines,
            loss,
            heel,
            batch,
            making,
            evaporation,
            taken,
            costs,
        },
    )
}

pub fn plans() -> impl Strategy<Value = Plans> {
    let level = |choices| [plan(choices), plan(choices)];
    let run =
        (0_u32..5_000, 0_u32..3_000, 0_u32..10, prop_oneof![Just(0), 1_u32..2_000], 1_u32..40, 0_u32..9_000)
            .prop_map(|(bench, overhead, kept_back, units_per_hour, people, changeover)| Run {
                bench,
                overhead,
                kept_back,
                units_per_hour,
                people,
                changeover,
            });
    (
        prop::array::uniform6(0_u32..1_000_000),
        [level(RAW), level(RAW + 2), level(RAW + 2)],
        700_u32..1_900,
        (0_u32..500, 0_u32..100, 0_u32..200, 0_u32..200),
        run,
    )
        .prop_map(|(prices, levels, density, fill, run)| Plans { prices, levels, density, fill, run })
}

fn decimal(scaled: u32, places: u32) -> String {
    Decimal::new(i64::from(scaled), places).to_string()
}

pub fn raw_code(at: usize) -> String {
    format!("RAW{at}")
}

fn made_code(level: usize, at: usize) -> String {
    format!("L{level}F{at}")
}

impl Plans {
    /// What an index of a level's formula means: formulas of the level below, then raw materials.
    fn code(level: usize, choice: usize) -> String {
        match (level, choice) {
            (0, raw) => raw_code(raw),
            (level, made) if made < 2 => made_code(level - 1, made),
            (_, raw) => raw_code(raw - 2),
        }
    }

    /// The house of it. The top formula is `L2F0`, its pack `P`.
    pub fn house(&self) -> House {
        let mut house = House::new();
        for (at, price) in self.prices.iter().enumerate() {
            house.at_price(&raw_code(at), &decimal(*price, 4));
        }
        house.house_rate("bench", HouseRateOf::LabourHour, &decimal(self.run.bench, 2));
        let overhead = format!("{} %", decimal(self.run.overhead, 1));
        house.house_rate("overhead", HouseRateOf::OverheadOnLabour, &overhead);
        for (level, formulas) in self.levels.iter().enumerate() {
            for (at, plan) in formulas.iter().enumerate() {
                let mut lines = vec![format!("{} q.s.", raw_code(0))];
                for (choice, share) in &plan.lines {
                    lines.push(format!("{} {} %", Self::code(level, *choice), decimal(*share, 2)));
                }
                let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
                let version = house.formula(&made_code(level, at), "percent", &lines);
                version.process_loss = percent(&decimal(plan.loss, 1));
                version.heel = kg(&decimal(plan.heel, 3));
                version.usual_batch = kg(&plan.batch.to_string());
                version.cost_per_batch = plan.making.map(|pence| gbp(&decimal(pence, 2)));
                version.density = measured(&decimal(self.density, 3));
                version.making.evaporation = percent(&decimal(plan.evaporation, 1));
                version.making.samples = kg(&decimal(plan.taken.0, 3));
                version.making.retains = kg(&decimal(plan.taken.1, 3));
                let (minutes, waste) = plan.costs;
                if minutes > 0 {
                    let time = format!("{minutes} min").parse().unwrap();
                    version.making.costs.push(MakingCost {
                        name: "mixing".to_owned(),
                        kind: MakingCostKind::Labour,
                        amount: MakingCostAmount::Hours { time, rate: "bench".to_owned() },
                    });
                }
                version.making.costs.push(MakingCost {
                    name: "drain".to_owned(),
                    kind: MakingCostKind::Disposal,
                    amount: MakingCostAmount::PerKgOfWaste(price(&decimal(waste, 2))),
                });
            }
        }
        let (overfill, filling_loss, bottle, scrap) = self.fill;
        let pack = house.pack("P", "L2F0", "250 mL");
        pack.overfill = percent(&decimal(overfill, 2));
        pack.filling_loss = percent(&decimal(filling_loss, 1));
        let run = &self.run;
        pack.run.units_kept_back = run.kept_back;
        pack.run.changeover = Some(gbp(&decimal(run.changeover, 2)));
        if run.units_per_hour > 0 {
            pack.run.speed = Some(LineSpeed {
                units_per_hour: Count::from_pieces(run.units_per_hour.into()).unwrap(),
                people: Count::from_pieces(Decimal::new(run.people.into(), 1)).unwrap(),
                labour_rate: Some("bench".to_owned()),
                machine_rate: None,
            });
        } else {
            pack.line_labour = Some(gbp("0.07"));
        }
        pack.units_per_case = Some(12);
        house.packed_with("BOTTLE", "1", ComponentPer::Unit, &decimal(bottle, 2)).packed_with(
            "BOX",
            "1",
            ComponentPer::Case,
            "0.55",
        );
        house.parts.packs[0].components[0].loss = percent(&decimal(scrap, 1));
        house
    }

    // The reference. Straight from the rules, in big rationals.

    fn good(plan: &Plan) -> BigRational {
        let batch = whole(plan.batch);
        let taken = ratio(plan.heel + plan.taken.0 + plan.taken.1, 1_000);
        &batch - &batch * ratio(plan.loss + plan.evaporation, 1_000) - taken
    }

    /// What an hour of labour costs with its overhead.
    fn with_overhead(&self, labour: &BigRational) -> BigRational {
        labour * (whole(1) + ratio(self.run.overhead, 1_000))
    }

    fn reference_making(&self, plan: &Plan) -> BigRational {
        let (minutes, waste_price) = plan.costs;
        let waste = whole(plan.batch) * ratio(plan.loss, 1_000) + ratio(plan.heel + plan.taken.0, 1_000);
        ratio(plan.making.unwrap_or(0), 100)
            + self.with_overhead(&(ratio(minutes, 60) * ratio(self.run.bench, 100)))
            + waste * ratio(waste_price, 100)
    }

    fn shares(level: usize, plan: &Plan) -> Vec<(String, BigRational)> {
        let mut shares: Vec<_> = plan
            .lines
            .iter()
            .map(|(choice, share)| (Self::code(level, *choice), ratio(*share, 10_000)))
            .collect();
        let rest = whole(1) - shares.iter().map(|(_, share)| share).sum::<BigRational>();
        shares.insert(0, (raw_code(0), rest));
        shares
    }

    fn find(&self, code: &str) -> Result<(usize, &Plan), usize> {
        if let Some(raw) = code.strip_prefix("RAW") {
            return Err(raw.parse().unwrap());
        }
        let (level, at) = code[1..].split_once('F').unwrap();
        let level: usize = level.parse().unwrap();
        Ok((level, &self.levels[level][at.parse::<usize>().unwrap()]))
    }

    /// What a kg costs.
    fn reference_cost(&self, code: &str) -> BigRational {
        match self.find(code) {
            Err(raw) => ratio(self.prices[raw], 10_000),
            Ok((level, plan)) => {
                let mut batch = self.reference_making(plan);
                for (inner, share) in Self::shares(level, plan) {
                    batch += share * whole(plan.batch) * self.reference_cost(&inner);
                }
                batch / Self::good(plan)
            }
        }
    }

    /// How much of a raw material one kg consists of, and takes with process losses on the way.
    fn reference_share(&self, code: &str, raw: &str) -> (BigRational, BigRational) {
        if code == raw {
            return (whole(1), whole(1));
        }
        let Ok((level, plan)) = self.find(code) else { return (whole(0), whole(0)) };
        let (mut of, mut takes) = (whole(0), whole(0));
        for (inner, share) in Self::shares(level, plan) {
            let (inner_of, inner_takes) = self.reference_share(&inner, raw);
            let kept = match self.find(&inner) {
                Ok((_, made)) => whole(1) - ratio(made.loss + made.evaporation, 1_000),
                Err(_) => whole(1),
            };
            of += &share * inner_of;
            takes += share * inner_takes / kept;
        }
        (of, takes)
    }
}

fn whole(value: u32) -> BigRational {
    BigRational::from_integer(BigInt::from(value))
}

fn ratio(numerator: u32, denominator: u32) -> BigRational {
    BigRational::new(BigInt::from(numerator), BigInt::from(denominator))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn engine_and_reference_agree_to_the_last_digit(plans in plans()) {
        let house = plans.house();
        let catalogue = house.catalogue();
        let view = View::plain(&catalogue);
        let version = view.version(house.version_id("L2F0")).unwrap().1;

        let exploded = explode(&view, version, today()).unwrap();
        for at in 0..RAW {
            let (of, takes) = plans.reference_share("L2F0", &raw_code(at));
            let part = exploded.get(house.id(&raw_code(at))).cloned();
            let found = part.map_or((whole(0), whole(0)), |part| {
                (BigRational::from(&part.composition), BigRational::from(&part.per_kg_charged))
            });
            prop_assert_eq!(found, (of, takes));
        }

        let sheet = cost_sheet(&view, &CostRequest::pack(house.pack_id("P"), today())).unwrap();
        prop_assert!(sheet.complete);
        let per_kg = plans.reference_cost("L2F0");
        prop_assert_eq!(BigRational::from(&sheet.totals.per_kg), per_kg.clone());
        let per_litre = sheet.totals.per_litre.as_ref().map(BigRational::from);
        prop_assert_eq!(per_litre, Some(&per_kg * ratio(plans.density, 1_000)));

        let (overfill, filling_loss, bottle, scrap) = plans.fill;
        let plan = &plans.levels[2][0];
        let good = Plans::good(plan);
        let fill = ratio(plans.density, 1_000) * ratio(1, 4) * (whole(1) + ratio(overfill, 10_000));
        let to_fill = &good * (whole(1) - ratio(filling_loss, 1_000));
        let filled = (&to_fill / &fill).floor();
        let bottle = ratio(bottle, 100) / (whole(1) - ratio(scrap, 1_000));
        let run = &plans.run;
        let labour = if run.units_per_hour == 0 {
            &filled * ratio(7, 100)
        } else {
            &filled / whole(run.units_per_hour) * ratio(run.people, 10) * ratio(run.bench, 100)
        };
        let lost = &good - &to_fill + (&to_fill - &filled * &fill);
        let per_unit = (per_kg * &good
            + &filled * (bottle + ratio(55, 1_200))
            + plans.with_overhead(&labour)
            + ratio(run.changeover, 100)
            + lost * ratio(plan.costs.1, 100))
            / (filled - whole(run.kept_back));
        prop_assert_eq!(sheet.totals.per_unit.as_ref().map(BigRational::from), Some(per_unit));

        assert_adds_up(&present::cost_sheet(&sheet).unwrap());
    }
}
