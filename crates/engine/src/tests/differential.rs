//! The engine against a plain reference: the same random three-level formulas, worked out line by line in big rationals without
//! any of the engine's types, memory or order of work.

use domain::packs::ComponentPer;
use num_bigint::BigInt;
use num_rational::BigRational;
use proptest::prelude::*;
use rust_decimal::Decimal;

use super::{
    costing::assert_adds_up,
    fixtures::{House, gbp, kg, measured, percent, today},
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
}

const RAW: usize = 6;

fn plan(choices: usize) -> impl Strategy<Value = Plan> {
    let lines = prop::collection::vec((0..choices, 0_u32..2_400), 1..5);
    (lines, 0_u32..300, 0_u32..2_000, 20_u32..500, prop::option::of(0_u32..10_000))
        .prop_map(|(lines, loss, heel, batch, making)| Plan { lines, loss, heel, batch, making })
}

pub fn plans() -> impl Strategy<Value = Plans> {
    let level = |choices| [plan(choices), plan(choices)];
    (
        prop::array::uniform6(0_u32..1_000_000),
        [level(RAW), level(RAW + 2), level(RAW + 2)],
        700_u32..1_900,
        (0_u32..500, 0_u32..100, 0_u32..200, 0_u32..200),
    )
        .prop_map(|(prices, levels, density, fill)| Plans { prices, levels, density, fill })
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
            }
        }
        let (overfill, filling_loss, bottle, scrap) = self.fill;
        let pack = house.pack("P", "L2F0", "250 mL");
        pack.overfill = percent(&decimal(overfill, 2));
        pack.filling_loss = percent(&decimal(filling_loss, 1));
        pack.line_labour = Some(gbp("0.07"));
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
        &batch - &batch * ratio(plan.loss, 1_000) - ratio(plan.heel, 1_000)
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
                let mut batch = ratio(plan.making.unwrap_or(0), 100);
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
                Ok((_, made)) => whole(1) - ratio(made.loss, 1_000),
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
        let units = (&good * (whole(1) - ratio(filling_loss, 1_000)) / fill).floor();
        let bottle = ratio(bottle, 100) / (whole(1) - ratio(scrap, 1_000));
        let per_unit = per_kg * good / units + bottle + ratio(55, 1_200) + ratio(7, 100);
        prop_assert_eq!(sheet.totals.per_unit.as_ref().map(BigRational::from), Some(per_unit));

        assert_adds_up(&present::cost_sheet(&sheet).unwrap());
    }
}
