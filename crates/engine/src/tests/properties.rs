//! Rules that hold whatever the formula.

use kernel::{Exact, Percent};
use proptest::prelude::*;

use super::{
    costing::assert_adds_up,
    differential::{Plans, plans, raw_code},
    fixtures::{House, today},
};
use crate::{
    CostRequest, CostSheet, Overlay, View, cost_sheet,
    explode::explode,
    present,
    view::{PriceAdjustment, PriceChange, PriceScope},
};

fn sheet_of(house: &House, overlay: &Overlay) -> CostSheet {
    let catalogue = house.catalogue();
    let view = View::with(&catalogue, overlay);
    cost_sheet(&view, &CostRequest::pack(house.pack_id("P"), today())).unwrap()
}

/// Without heels, samples, retains and making, a cost is nothing but materials.
fn without_making(mut plans: Plans) -> Plans {
    for plan in plans.levels.iter_mut().flatten() {
        plan.heel = 0;
        plan.making = None;
        plan.taken = (0, 0);
        plan.costs = (0, 0);
    }
    plans
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]

    /// Twice the rise of a price is twice the rise of the cost, and the rise is what is weighed of the material times its rise.
    #[test]
    fn cost_is_linear_in_a_price(plans in plans().prop_map(without_making), at in 0_usize..6, by in 1_i64..200) {
        let house = plans.house();
        let raised = |percent: i64| {
            let overlay = Overlay {
                prices: vec![PriceChange {
                    scope: PriceScope::Material(house.id(&raw_code(at))),
                    change: PriceAdjustment::ByPercent(Percent::from_nano(percent * 1_000_000_000)),
                    from: None,
                }],
                ..Overlay::default()
            };
            sheet_of(&house, &overlay)
        };
        let (before, once, twice) = (raised(0), raised(by), raised(2 * by));
        let rise = &once.totals.per_batch - &before.totals.per_batch;
        prop_assert_eq!(&twice.totals.per_batch - &before.totals.per_batch, &rise + &rise);
        let catalogue = house.catalogue();
        let view = View::plain(&catalogue);
        let version = view.version(house.version_id("L2F0")).unwrap().1;
        let weighed = explode(&view, version, today()).unwrap()
            .get(house.id(&raw_code(at))).map_or(Exact::ZERO, |part| part.per_kg_charged.clone());
        let price = Exact::scaled(i128::from(plans.prices[at]), 4) * Exact::scaled(i128::from(by), 2);
        prop_assert_eq!(rise, weighed * price * &before.batch.charged);
    }

    /// Pricing what the explosion says is the same as rolling up level by level.
    #[test]
    fn explode_then_price_is_price_then_roll_up(plans in plans().prop_map(without_making)) {
        let house = plans.house();
        let sheet = sheet_of(&house, &Overlay::default());
        let catalogue = house.catalogue();
        let view = View::plain(&catalogue);
        let version = view.version(house.version_id("L2F0")).unwrap().1;
        let exploded = explode(&view, version, today()).unwrap();
        let mut priced = Exact::ZERO;
        for (at, price) in plans.prices.iter().enumerate() {
            if let Some(part) = exploded.get(house.id(&raw_code(at))) {
                priced += &part.per_kg_good * &Exact::scaled(i128::from(*price), 4);
            }
        }
        prop_assert_eq!(priced, sheet.totals.per_kg);
    }

    /// The order of lines, and whether an amount stands on one line or on two, changes no total.
    #[test]
    fn order_and_splitting_of_lines_change_nothing(plans in plans()) {
        let house = plans.house();
        let before = sheet_of(&house, &Overlay::default());
        let mut turned = plans.clone();
        for plan in turned.levels.iter_mut().flatten() {
            plan.lines.reverse();
            let (choice, share) = plan.lines[0];
            plan.lines[0].1 = share / 3;
            plan.lines.push((choice, share - share / 3));
        }
        let after = sheet_of(&turned.house(), &Overlay::default());
        prop_assert_eq!(before.totals, after.totals);
    }

    /// Shares make one, exactly and as printed; so does the composition.
    #[test]
    fn shares_make_a_whole(plans in plans()) {
        let house = plans.house();
        let sheet = sheet_of(&house, &Overlay::default());
        prop_assert!(sheet.complete);
        let shares: Exact = sheet.lines.iter().filter_map(|line| line.share.clone()).sum();
        prop_assert_eq!(shares, Exact::ONE);
        let catalogue = house.catalogue();
        let view = View::plain(&catalogue);
        let version = view.version(house.version_id("L2F0")).unwrap().1;
        let composition: Exact =
            explode(&view, version, today()).unwrap().materials.iter().map(|part| part.composition.clone()).sum();
        prop_assert_eq!(composition, Exact::ONE);
    }

    /// A price taken away never leaves a sheet that calls itself complete, unless nothing of the material was in it; and the
    /// partial total is never above the whole one.
    #[test]
    fn a_gap_never_yields_complete(plans in plans(), at in 0_usize..6) {
        let mut house = plans.house();
        let whole = sheet_of(&house, &Overlay::default());
        let material = house.id(&raw_code(at));
        house.parts.quotations.retain(|quotation| quotation.material != material);
        let part = sheet_of(&house, &Overlay::default());
        let catalogue = house.catalogue();
        let view = View::plain(&catalogue);
        let version = view.version(house.version_id("L2F0")).unwrap().1;
        let used = explode(&view, version, today()).unwrap()
            .get(material).is_some_and(|part| part.composition.is_positive());
        prop_assert_eq!(part.complete, !used);
        prop_assert_eq!(part.gaps.is_empty(), part.complete);
        prop_assert_eq!(part.lines.iter().any(|line| line.partial), used);
        prop_assert!(part.totals.per_batch <= whole.totals.per_batch);
        assert_adds_up(&present::cost_sheet(&part).unwrap());
    }

    /// Where nothing of it is the same for every batch, twice the batch costs twice as much, and a kg the same.
    #[test]
    fn cost_is_homogeneous_without_fixed_parts(
        mut plans in plans().prop_map(without_making),
        drain in 0_u32..200,
        times in 1_i64..50,
    ) {
        plans.levels[2][0].costs = (0, drain);
        let house = plans.house();
        let catalogue = house.catalogue();
        let view = View::plain(&catalogue);
        let request = CostRequest::version(house.version_id("L2F0"), today());
        let one = cost_sheet(&view, &request).unwrap();
        let batch = kernel::Mass::from_exact_half_even(&(&one.batch.charged * &Exact::from(times))).unwrap();
        let many = cost_sheet(&view, &request.at_batch(batch)).unwrap();
        prop_assert_eq!(&many.totals.per_kg, &one.totals.per_kg);
        prop_assert_eq!(&many.totals.per_litre, &one.totals.per_litre);
        prop_assert_eq!(many.totals.per_batch, one.totals.per_batch * Exact::from(times));
        prop_assert_eq!(many.batch.good, one.batch.good * Exact::from(times));
    }

    /// What is for sale is never more than what is filled, and keeping one more back never makes a unit cheaper; the batch costs
    /// the same, and the liquid too.
    #[test]
    fn keeping_more_back_never_makes_a_unit_cheaper(plans in plans(), more in 1_u32..5) {
        let sheet_with = |kept_back: u32| {
            let mut plans = plans.clone();
            plans.run.kept_back = kept_back;
            sheet_of(&plans.house(), &Overlay::default())
        };
        let (fewer, more) = (sheet_with(plans.run.kept_back), sheet_with(plans.run.kept_back + more));
        for sheet in [&fewer, &more] {
            let filling = sheet.filling.as_ref().unwrap();
            prop_assert!(filling.units <= filling.filled && filling.units > 0);
            prop_assert_eq!(filling.units + filling.kept_back, filling.filled);
            assert_adds_up(&present::cost_sheet(sheet).unwrap());
        }
        prop_assert!(fewer.totals.per_unit <= more.totals.per_unit);
        prop_assert!(fewer.totals.per_case <= more.totals.per_case);
        prop_assert_eq!(&fewer.totals.per_batch, &more.totals.per_batch);
        prop_assert_eq!(&fewer.totals.per_kg, &more.totals.per_kg);
    }

    /// Where a batch goes adds up to what was charged, and no more vapour, samples or retains ever make a kg cheaper.
    #[test]
    fn losses_add_up_and_cost(plans in plans(), vapour in 0_u32..50, sample in 0_u32..200) {
        let sheet_with = |vapour: u32, sample: u32| {
            let mut plans = plans.clone();
            plans.levels[2][0].evaporation += vapour;
            plans.levels[2][0].taken.1 += sample;
            let house = plans.house();
            let catalogue = house.catalogue();
            let request = CostRequest::version(house.version_id("L2F0"), today());
            cost_sheet(&View::plain(&catalogue), &request).unwrap()
        };
        let (less, more) = (sheet_with(0, 0), sheet_with(vapour, sample));
        for sheet in [&less, &more] {
            let batch = &sheet.batch;
            let parts = [
                &batch.evaporation,
                &batch.process_loss,
                &batch.heel,
                &batch.samples,
                &batch.retains,
                &batch.good,
            ];
            let sum: Exact = parts.into_iter().sum();
            prop_assert_eq!(&sum, &batch.charged);
        }
        prop_assert!(less.totals.per_kg <= more.totals.per_kg);
    }
}
