//! Ten thousand random formulas, three levels deep, against references in big rationals that know none of the engine's types.
//!
//! The costs of a house's formulas are the solution of a system of linear equations, which is solved once for the house, formula
//! after formula in topological order. Every twentieth formula is worked out the other way round as well: from one kilogram of it
//! down, asking what has to be made of every formula beneath (the transposed system), and only then multiplying raw materials by
//! their prices and batches by what making them costs. All are exact, so all agree to the last digit.

use domain::{
    generated::Draw,
    house_rates::HouseRateOf,
    making::{MakingCost, MakingCostAmount, MakingCostKind},
};
use kernel::Percent;
use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::{One, Zero};
use rust_decimal::Decimal;

use super::fixtures::{House, gbp, kg, today};
use crate::{CostRequest, View, cost_sheet, explode::explode};

/// Houses of so many formulas at the top, over so many below and so many below those, of so many raw materials.
const HOUSES: u64 = 50;
const TOP: usize = 200;
const MIDDLE: usize = 12;
const BOTTOM: usize = 8;
const RAW: usize = 30;

/// A number below another, drawn by lot.
fn drawn(draw: &mut Draw, bound: usize) -> usize {
    draw.below(u32::try_from(bound).unwrap()) as usize
}

/// A formula as the reference knows it: whole numbers only.
struct Plan {
    code: String,
    /// Which row of the house, and how many 10⁻⁴ % of it.
    lines: Vec<(usize, usize)>,
    /// Tenths of a percent lost, grams left in the vessel, kilograms charged.
    loss: usize,
    heel: usize,
    batch: usize,
    /// Pence a batch; minutes at the bench.
    making: Option<usize>,
    minutes: usize,
}

/// A house: raw materials first, then formulas, each made of rows before it only.
struct Reference {
    /// 10⁻⁴ of the currency a kg.
    prices: Vec<usize>,
    plans: Vec<Plan>,
    /// Pence an hour.
    bench: usize,
}

const HUNDRED_PERCENT: usize = 1_000_000;

impl Reference {
    fn drawn(seed: u64) -> Self {
        let mut draw = Draw::new(seed);
        let prices = (0..RAW).map(|_| drawn(&mut draw, 400_000)).collect();
        let mut plans: Vec<Plan> = Vec::with_capacity(BOTTOM + MIDDLE + TOP);
        for at in 0..BOTTOM + MIDDLE + TOP {
            // One line of every formula above the bottom is of the level right below, so that all of the top are three levels deep.
            let (level, below) = match at {
                at if at < BOTTOM => ("B", None),
                at if at < BOTTOM + MIDDLE => ("M", Some((RAW, BOTTOM))),
                _ => ("T", Some((RAW + BOTTOM, MIDDLE))),
            };
            let rows = below.map_or(RAW, |(from, count)| from + count);
            let mut left = HUNDRED_PERCENT;
            let mut lines = Vec::new();
            if let Some((from, count)) = below {
                let share = 1 + drawn(&mut draw, 400_000);
                left -= share;
                lines.push((from + drawn(&mut draw, count), share));
            }
            for _ in 0..=drawn(&mut draw, 4) {
                let share = drawn(&mut draw, left);
                left -= share;
                lines.push((drawn(&mut draw, rows), share));
            }
            lines.push((drawn(&mut draw, RAW), left));
            plans.push(Plan {
                code: format!("{level}{at}"),
                lines,
                loss: drawn(&mut draw, 200),
                heel: drawn(&mut draw, 1_500),
                batch: 20 + drawn(&mut draw, 400),
                making: (drawn(&mut draw, 4) > 0).then(|| drawn(&mut draw, 20_000)),
                minutes: drawn(&mut draw, 2) * drawn(&mut draw, 300),
            });
        }
        Self { prices, plans, bench: drawn(&mut draw, 4_000) }
    }

    fn code(&self, row: usize) -> String {
        row.checked_sub(RAW).map_or_else(|| format!("R{row}"), |at| self.plans[at].code.clone())
    }

    fn house(&self) -> House {
        let mut house = House::new();
        for (at, price) in self.prices.iter().enumerate() {
            let price = Decimal::new(i64::try_from(*price).unwrap(), 4).to_string();
            house.at_price(&format!("R{at}"), &price);
        }
        let bench = Decimal::new(i64::try_from(self.bench).unwrap(), 2).to_string();
        house.house_rate("bench", HouseRateOf::LabourHour, &bench);
        for plan in &self.plans {
            let lines: Vec<String> = plan
                .lines
                .iter()
                .map(|(row, share)| {
                    let share = Decimal::new(i64::try_from(*share).unwrap(), 4);
                    format!("{} {share} %", self.code(*row))
                })
                .collect();
            let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
            let version = house.formula(&plan.code, "percent", &lines);
            version.process_loss = Percent::from_nano(i64::try_from(plan.loss).unwrap() * 100_000_000);
            version.heel = kg(&Decimal::new(i64::try_from(plan.heel).unwrap(), 3).to_string());
            version.usual_batch = kg(&plan.batch.to_string());
            version.cost_per_batch =
                plan.making.map(|pence| gbp(&Decimal::new(i64::try_from(pence).unwrap(), 2).to_string()));
            if plan.minutes > 0 {
                version.making.costs.push(MakingCost {
                    name: "mixing".to_owned(),
                    kind: MakingCostKind::Labour,
                    amount: MakingCostAmount::Hours {
                        time: format!("{} min", plan.minutes).parse().unwrap(),
                        rate: "bench".to_owned(),
                    },
                });
            }
        }
        house
    }

    /// kg charged for one kg of good output of a batch, and what making that kg costs.
    fn charged_and_making(&self, plan: &Plan) -> (BigRational, BigRational) {
        let batch = ratio(plan.batch, 1);
        let good = &batch * (BigRational::one() - ratio(plan.loss, 1_000)) - ratio(plan.heel, 1_000);
        let making = ratio(plan.making.unwrap_or(0), 100) + ratio(plan.minutes * self.bench, 60 * 100);
        (batch / &good, making / good)
    }

    /// What a kg of every row costs: raw materials their price, formulas in the order in which they build on each other.
    fn costs(&self) -> Vec<BigRational> {
        let mut costs: Vec<BigRational> = self.prices.iter().map(|price| ratio(*price, 10_000)).collect();
        for plan in &self.plans {
            let (charged, making) = self.charged_and_making(plan);
            let mut per_kg_charged = BigRational::zero();
            for (row, share) in &plan.lines {
                per_kg_charged += ratio(*share, HUNDRED_PERCENT) * &costs[*row];
            }
            costs.push(charged * per_kg_charged + making);
        }
        costs
    }

    /// What a kg of a formula costs: what has to be made and bought for it, at what that costs.
    fn cost(&self, top: usize) -> BigRational {
        let mut wanted = vec![BigRational::zero(); RAW + self.plans.len()];
        wanted[RAW + top] = BigRational::one();
        let mut cost = BigRational::zero();
        for at in (0..=top).rev() {
            let kilograms = std::mem::take(&mut wanted[RAW + at]);
            if kilograms.is_zero() {
                continue;
            }
            let (charged, making) = self.charged_and_making(&self.plans[at]);
            cost += &kilograms * making;
            let charged = kilograms * charged;
            for (row, share) in &self.plans[at].lines {
                wanted[*row] += &charged * ratio(*share, HUNDRED_PERCENT);
            }
        }
        wanted
            .iter()
            .zip(&self.prices)
            .fold(cost, |cost, (kilograms, price)| cost + kilograms * ratio(*price, 10_000))
    }

    /// kg of each raw material of which a kg of a formula consists.
    fn composition(&self, top: usize) -> Vec<BigRational> {
        let mut holds = vec![BigRational::zero(); RAW + self.plans.len()];
        holds[RAW + top] = BigRational::one();
        for at in (0..=top).rev() {
            let kilograms = std::mem::take(&mut holds[RAW + at]);
            if !kilograms.is_zero() {
                for (row, share) in &self.plans[at].lines {
                    holds[*row] += &kilograms * ratio(*share, HUNDRED_PERCENT);
                }
            }
        }
        holds.truncate(RAW);
        holds
    }
}

fn ratio(numerator: usize, denominator: usize) -> BigRational {
    BigRational::new(BigInt::from(numerator), BigInt::from(denominator))
}

#[test]
fn engine_and_reference_agree_on_ten_thousand_formulas() {
    let mut compared = 0;
    for seed in 0..HOUSES {
        let reference = Reference::drawn(seed);
        let house = reference.house();
        let catalogue = house.catalogue();
        let view = View::plain(&catalogue);
        let costs = reference.costs();
        for at in BOTTOM + MIDDLE..reference.plans.len() {
            let code = &reference.plans[at].code;
            let id = house.version_id(code);
            let sheet = cost_sheet(&view, &CostRequest::version(id, today())).unwrap();
            assert!(sheet.complete, "house {seed}, {code}: {:?}", sheet.gaps);
            assert_eq!(BigRational::from(&sheet.totals.per_kg), costs[RAW + at], "house {seed}, {code}");
            // The other way round, and by what it consists of: that the levels are there is seen here.
            if at % 20 == 0 {
                assert_eq!(costs[RAW + at], reference.cost(at), "house {seed}, {code}");
                let exploded = explode(&view, view.version(id).unwrap().1, today()).unwrap();
                assert!(exploded.levels >= 2, "{code} stands on {} levels", exploded.levels);
                for (raw, holds) in reference.composition(at).into_iter().enumerate() {
                    let part = exploded.get(house.id(&format!("R{raw}")));
                    let found =
                        part.map_or_else(BigRational::zero, |part| BigRational::from(&part.composition));
                    assert_eq!(found, holds, "house {seed}, {code}, raw material {raw}");
                }
            }
            compared += 1;
        }
    }
    assert_eq!(compared, 10_000);
}
