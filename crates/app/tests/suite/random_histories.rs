//! Random histories against a plain model: after each step the balances are what the model says, and at the end the ledger proves
//! them, with no value lost on the way.

use app::{LotCount, LotTake, TakenFor};
use kernel::{Quantity, ids::LotId};
use proptest::{
    prelude::*,
    strategy::ValueTree,
    test_runner::{Config, RngAlgorithm, TestRng, TestRunner},
};
use std::collections::HashMap;
use testkit::db::TestDatabase;

use crate::{
    house::{House, quantity_of},
    making::{stocked, weigh, write},
};

testkit::on_both_databases!(random_histories);

#[derive(Debug, Clone)]
enum Step {
    Count { lot: usize, found: i64 },
    Take { lot: usize, amount: i64, sample: bool },
    Weigh { line: u32, amount: i64 },
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let amount = 1_i64..20_000_000_000;
    let step = prop_oneof![
        (0_usize..3, 0_i64..60_000_000_000).prop_map(|(lot, found)| Step::Count { lot, found }),
        (0_usize..3, amount.clone(), any::<bool>()).prop_map(|(lot, amount, sample)| Step::Take {
            lot,
            amount,
            sample
        }),
        (2_u32..5, amount).prop_map(|(line, amount)| Step::Weigh { line, amount }),
    ];
    prop::collection::vec(step, 60)
}

async fn random_histories(database: &TestDatabase) {
    let house = stocked(database).await;
    let ids = [house.lot("L-1").await, house.lot("L-2").await, house.lot("L-3").await];
    let mut model: HashMap<LotId, i64> = ids.iter().map(|lot| (lot.id, lot.on_hand.raw())).collect();
    let ids: Vec<LotId> = ids.iter().map(|lot| lot.id).collect();
    // A fixed seed: the same histories every time, on both databases.
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &[7; 32]);
    let mut runner = TestRunner::new_with_rng(Config::default(), rng);
    let history = steps().new_tree(&mut runner).unwrap().current();
    let ticket = write(&house, "100000").await;
    for step in history {
        play(&house, &ids, &mut model, &ticket, step).await;
        for id in &ids {
            let lot = house.app.lots_get(&house.actor, &[*id]).await.unwrap().remove(0);
            assert_eq!(lot.on_hand.raw(), model[id]);
            assert!(lot.value.unwrap().micros() >= 0);
        }
    }
    house.assert_sound().await;
    for id in &ids {
        let page = house.app.movements_of_lot(&house.actor, *id, None, 1_000).await.unwrap();
        let lot = house.app.lots_get(&house.actor, &[*id]).await.unwrap().remove(0);
        let values: i64 = page.rows.iter().map(|m| m.value.unwrap().micros()).sum();
        assert_eq!(values, lot.value.unwrap().micros());
        let replay: i64 = page.rows.iter().map(|m| m.quantity.raw()).sum();
        assert_eq!(replay, model[id]);
        if lot.on_hand.raw() == 0 {
            assert_eq!(lot.value.unwrap().micros(), 0);
        }
    }
}

async fn play(
    house: &House,
    ids: &[LotId],
    model: &mut HashMap<LotId, i64>,
    ticket: &domain::tickets::Ticket,
    step: Step,
) {
    let zero = quantity_of("0 kg").dimension();
    match step {
        Step::Count { lot, found } => {
            let found = Quantity::from_raw(found, zero);
            let input = LotCount { lot: ids[lot], found, reason: "counted".into(), on: None };
            house.app.lot_count(&house.change(), input).await.unwrap();
            model.insert(ids[lot], found.raw());
        }
        Step::Take { lot, amount, sample } => {
            let purpose = if sample { TakenFor::Sample } else { TakenFor::WriteOff };
            let quantity = Quantity::from_raw(amount, zero);
            let input = LotTake { lot: ids[lot], purpose, quantity, reason: "taken".into(), on: None };
            let done = house.app.lot_take(&house.change(), input).await.is_ok();
            assert_eq!(done, amount <= model[&ids[lot]]);
            if done {
                *model.entry(ids[lot]).or_default() -= amount;
            }
        }
        Step::Weigh { line, amount } => {
            // Line 2 is the stock, 3 the ether sulfate, 4 the preservative.
            let lot = ids[[2, 0, 1][line as usize - 2]];
            let weighing = app::WeighingWrite {
                line,
                lot: Some(lot),
                amount: kernel::Mass::from_micrograms(amount),
                checked_by: None,
                reason: None,
            };
            let done = weigh(house, ticket, vec![weighing]).await.is_ok();
            assert_eq!(done, amount <= model[&lot]);
            if done {
                *model.entry(lot).or_default() -= amount;
            }
        }
    }
}
