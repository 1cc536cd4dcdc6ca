//! Random histories against a plain model: after each step the balances are what the model says, and at the end the ledger proves
//! them, with no value lost on the way. The seeds are fixed: the same histories every time, on both databases.

use app::{
    LotCount, LotTake, MovementReverse, TakenFor, TicketCancel, TicketWeigh, WeighingTakeBack, WeighingWrite,
};
use domain::tickets::Ticket;
use kernel::{
    Mass, Quantity,
    ids::{LotId, MovementId, TicketId, WeighingId},
};
use testkit::db::TestDatabase;

use crate::{
    house::{House, quantity_of},
    making::{allocate, stocked, write},
};

testkit::on_both_databases!(random_histories);

const SEEDS: [u64; 3] = [0x5711_1200, 0xBA7C_4E55, 0x0DD_1075];
const STEPS: usize = 80;

/// Lots by line of the formula: the stock, two of ether sulfate, the preservative.
const LOTS_OF: [(u32, &[usize]); 3] = [(2, &[0]), (3, &[1, 2]), (4, &[3])];

/// Marsaglia, "Xorshift RNGs" (2003).
struct Draw(u64);

impl Draw {
    fn below(&mut self, limit: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 % u64::try_from(limit).unwrap()).unwrap()
    }

    /// An amount up to so many grams, to the microgram; now and then a whole number of grams, so that balances meet.
    fn amount(&mut self, grams: usize) -> i64 {
        let amount = if self.below(4) == 0 {
            (self.below(grams) + 1) * 1_000_000
        } else {
            self.below(grams * 1_000_000) + 1
        };
        i64::try_from(amount).unwrap()
    }
}

/// What should be.
struct Model {
    lots: Vec<LotId>,
    on_hand: Vec<i64>,
    tickets: Vec<Made>,
    /// Movements that may be reversed: which, of which lot, how much, and whether they were.
    reversible: Vec<(MovementId, usize, i64, bool)>,
}

struct Made {
    id: TicketId,
    cancelled: bool,
    /// By line's position and lot.
    promises: Vec<(u32, usize, i64)>,
    weighings: Vec<(WeighingId, u32, usize, i64, bool)>,
}

impl Made {
    fn promised(&self, lot: usize) -> i64 {
        self.promises.iter().filter(|p| p.1 == lot).map(|p| p.2).sum()
    }

    fn weighed_on(&self, line: u32) -> i64 {
        self.weighings.iter().filter(|w| w.1 == line && !w.4).map(|w| w.3).sum()
    }
}

impl Model {
    fn reserved(&self, lot: usize) -> i64 {
        self.tickets.iter().map(|ticket| ticket.promised(lot)).sum()
    }

    fn free(&self, lot: usize) -> i64 {
        (self.on_hand[lot] - self.reserved(lot)).max(0)
    }

    fn lot(&self, id: LotId) -> usize {
        self.lots.iter().position(|lot| *lot == id).unwrap()
    }
}

fn kilograms(raw: i64) -> Quantity {
    Quantity::from_raw(raw, quantity_of("0 kg").dimension())
}

async fn random_histories(database: &TestDatabase) {
    let house = stocked(database).await;
    house.receive("SLES", "L-5", "40 kg", Some("55.555555")).await;
    let mut model = Model { lots: vec![], on_hand: vec![], tickets: vec![], reversible: vec![] };
    for number in ["L-3", "L-1", "L-5", "L-2"] {
        let lot = house.lot(number).await;
        model.lots.push(lot.id);
        model.on_hand.push(lot.on_hand.raw());
    }
    for seed in SEEDS {
        let mut draw = Draw(seed);
        for made in &mut model.tickets {
            // What an earlier history left open stays as it is.
            made.cancelled = true;
        }
        let first = model.tickets.len();
        for _ in 0..4 {
            let ticket = write(&house, "60").await;
            model.tickets.push(Made { id: ticket.id, cancelled: false, promises: vec![], weighings: vec![] });
        }
        for step in 0..STEPS {
            let ticket = first + draw.below(4);
            match draw.below(12) {
                0 => count(&house, &mut model, &mut draw).await,
                1 | 2 => take(&house, &mut model, &mut draw).await,
                3 => reverse(&house, &mut model, &mut draw).await,
                4 | 5 => promise(&house, &mut model, ticket).await,
                6 => take_back(&house, &mut model, ticket, &mut draw).await,
                7 if draw.below(4) == 0 => cancel(&house, &mut model, ticket).await,
                _ => weigh(&house, &mut model, ticket, &mut draw).await,
            }
            assert_balances(&house, &model, &format!("seed {seed:x}, step {step}")).await;
        }
    }
    assert_proven(&house, &model).await;
}

async fn assert_balances(house: &House, model: &Model, when: &str) {
    let lots = house.app.lots_get(&house.actor, &model.lots).await.unwrap();
    for lot in lots {
        let at = model.lot(lot.id);
        assert_eq!(lot.on_hand.raw(), model.on_hand[at], "{when}: {}", lot.number);
        assert_eq!(lot.reserved.raw(), model.reserved(at), "{when}: {}", lot.number);
        assert_eq!(lot.free(), model.free(at), "{when}: {}", lot.number);
        let value = lot.value.unwrap().micros();
        assert!(value >= 0 && (lot.on_hand.raw() > 0 || value == 0), "{when}: {} {value}", lot.number);
    }
}

/// The ledger alone leads to the balances, and every millionth that came in is there or went out with something.
async fn assert_proven(house: &House, model: &Model) {
    house.assert_sound().await;
    for (at, id) in model.lots.iter().enumerate() {
        let movements = house.app.movements_of_lot(&house.actor, *id, None, 10_000).await.unwrap().rows;
        let lot = house.app.lots_get(&house.actor, &[*id]).await.unwrap().remove(0);
        let mut on_hand = 0;
        for movement in &movements {
            on_hand += movement.quantity.raw();
            assert!(on_hand >= 0, "{}", lot.number);
        }
        assert_eq!(on_hand, model.on_hand[at], "{}", lot.number);
        let moved: i64 = movements[1..].iter().map(|m| m.value.unwrap().micros()).sum();
        assert_eq!(movements[0].value, lot.received_value);
        assert_eq!(
            lot.received_value.unwrap().micros() + moved,
            lot.value.unwrap().micros(),
            "{}",
            lot.number
        );
    }
    for made in &model.tickets {
        let kept = house.app.tickets_get(&house.actor, &[made.id]).await.unwrap().remove(0);
        assert_eq!(kept.weighings.len(), made.weighings.len());
        let taken_back = kept.weighings.iter().filter(|w| w.reversed.is_some()).count();
        assert_eq!(taken_back, made.weighings.iter().filter(|w| w.4).count());
    }
}

async fn latest_movement(house: &House, lot: LotId) -> MovementId {
    house.app.movements_of_lot(&house.actor, lot, None, 10_000).await.unwrap().rows.last().unwrap().id
}

async fn count(house: &House, model: &mut Model, draw: &mut Draw) {
    let lot = draw.below(model.lots.len());
    let found = if draw.below(5) == 0 { 0 } else { draw.amount(if lot == 3 { 5_000 } else { 60_000 }) };
    let input = LotCount {
        lot: model.lots[lot],
        found: kilograms(found),
        reason: "counted".into(),
        cause: None,
        on: None,
    };
    house.app.lot_count(&house.change(), input).await.unwrap();
    let difference = found - model.on_hand[lot];
    if difference != 0 {
        model.reversible.push((latest_movement(house, model.lots[lot]).await, lot, difference, false));
        model.on_hand[lot] = found;
    }
}

async fn take(house: &House, model: &mut Model, draw: &mut Draw) {
    let lot = draw.below(model.lots.len());
    let amount = draw.amount(if lot == 3 { 1_500 } else { 15_000 });
    let sample = draw.below(2) == 0;
    let (purpose, most) =
        if sample { (TakenFor::Sample, model.free(lot)) } else { (TakenFor::WriteOff, model.on_hand[lot]) };
    let input = LotTake {
        lot: model.lots[lot],
        purpose,
        quantity: kilograms(amount),
        reason: "taken".into(),
        cause: None,
        container: None,
        on: None,
    };
    let done = house.app.lot_take(&house.change(), input).await.is_ok();
    assert_eq!(done, amount <= most);
    if done {
        model.reversible.push((latest_movement(house, model.lots[lot]).await, lot, -amount, false));
        model.on_hand[lot] -= amount;
    }
}

async fn reverse(house: &House, model: &mut Model, draw: &mut Draw) {
    if model.reversible.is_empty() {
        return;
    }
    let which = draw.below(model.reversible.len());
    let (movement, lot, quantity, reversed) = model.reversible[which];
    let input = MovementReverse { movement, reason: "entered by mistake".into() };
    let done = house.app.movement_reverse(&house.change(), input).await.is_ok();
    assert_eq!(done, !reversed && quantity <= model.free(lot));
    if done {
        model.reversible[which].3 = true;
        model.on_hand[lot] -= quantity;
    }
}

async fn promise(house: &House, model: &mut Model, at: usize) {
    let ticket = house.app.tickets_get(&house.actor, &[model.tickets[at].id]).await.unwrap().remove(0);
    let made = &model.tickets[at];
    let fits = LOTS_OF.iter().all(|(line, lots)| {
        let needed = ticket.line_at(*line).unwrap().target.micrograms() - made.weighed_on(*line);
        let free: i64 = lots
            .iter()
            .map(|lot| (model.on_hand[*lot] - model.reserved(*lot) + made.promised(*lot)).max(0))
            .sum();
        needed <= free
    });
    let answer = allocate(house, &ticket).await;
    assert_eq!(answer.is_ok(), fits && !made.cancelled, "{answer:?}");
    let Ok(after) = answer else { return };
    let mut promises = vec![];
    for (line, _) in LOTS_OF {
        let id = after.line_at(line).unwrap();
        let of_line = after.allocations.iter().filter(|a| a.line == id.id);
        let own: Vec<_> = of_line.map(|a| (line, model.lot(a.lot), a.quantity.raw())).collect();
        let needed = id.target.micrograms() - model.tickets[at].weighed_on(line);
        assert_eq!(own.iter().map(|p| p.2).sum::<i64>(), needed.max(0));
        promises.extend(own);
    }
    model.tickets[at].promises = promises;
    for lot in 0..model.lots.len() {
        // A count may find less than is promised; a promise never makes that worse.
        assert!(model.tickets[at].promised(lot) <= model.on_hand[lot]);
    }
}

async fn weigh(house: &House, model: &mut Model, at: usize, draw: &mut Draw) {
    let mut sheet = vec![];
    for _ in 0..=draw.below(4) {
        let (line, lots) = LOTS_OF[draw.below(LOTS_OF.len())];
        let lot = lots[draw.below(lots.len())];
        sheet.push((line, lot, draw.amount(if lot == 3 { 600 } else { 5_000 })));
    }
    let weighings = sheet
        .iter()
        .map(|(line, lot, amount)| WeighingWrite {
            line: *line,
            lot: Some(model.lots[*lot]),
            amount: Mass::from_micrograms(*amount),
            checked_by: None,
            reason: Some("more than the tolerance, and so be it".into()),
            how: app::WeighingHow { another: true, ..app::WeighingHow::default() },
        })
        .collect();
    let made = &model.tickets[at];
    let fits = (0..model.lots.len()).all(|lot| {
        let wanted: i64 = sheet.iter().filter(|s| s.1 == lot).map(|s| s.2).sum();
        wanted <= (model.free(lot) + made.promised(lot)).min(model.on_hand[lot])
    });
    let input = TicketWeigh { ticket: made.id, weighings, on: None };
    let answer: Result<Ticket, _> = house.app.ticket_weigh(&house.change(), input).await;
    assert_eq!(answer.is_ok(), fits && !made.cancelled, "{answer:?}");
    let Ok(after) = answer else { return };
    let kept = house.app.tickets_get(&house.actor, &[after.id]).await.unwrap().remove(0);
    assert_eq!(after, kept, "what is answered is what is kept");
    let known: Vec<WeighingId> = model.tickets[at].weighings.iter().map(|w| w.0).collect();
    let mut new: Vec<_> = after.weighings.iter().filter(|w| !known.contains(&w.id)).collect();
    assert_eq!(new.len(), sheet.len());
    for (line, lot, amount) in sheet {
        let id = after.line_at(line).unwrap().id;
        let same = new
            .iter()
            .position(|w| w.line == id && w.lot == Some(model.lots[lot]) && w.amount.micrograms() == amount);
        let weighing = new.remove(same.unwrap());
        model.on_hand[lot] -= amount;
        let made = &mut model.tickets[at];
        made.weighings.push((weighing.id, line, lot, amount, false));
        for promise in made.promises.iter_mut().filter(|p| (p.0, p.1) == (line, lot)) {
            promise.2 = (promise.2 - amount).max(0);
        }
    }
}

async fn take_back(house: &House, model: &mut Model, at: usize, draw: &mut Draw) {
    let made = &model.tickets[at];
    if made.weighings.is_empty() {
        return;
    }
    let which = draw.below(made.weighings.len());
    let (weighing, _, lot, amount, reversed) = made.weighings[which];
    let input = WeighingTakeBack { ticket: made.id, weighing, reason: "the wrong jar".into() };
    let done = house.app.weighing_take_back(&house.change(), input).await.is_ok();
    assert_eq!(done, !reversed && !made.cancelled);
    if done {
        model.tickets[at].weighings[which].4 = true;
        model.on_hand[lot] += amount;
    }
}

async fn cancel(house: &House, model: &mut Model, at: usize) {
    let made = &model.tickets[at];
    let input = TicketCancel { ticket: made.id, reason: "not wanted any more".into() };
    let done = house.app.ticket_cancel(&house.change(), input).await.is_ok();
    // Once something was weighed, a ticket is voided and no longer cancelled, even if all of it was taken back.
    assert_eq!(done, !made.cancelled && made.weighings.is_empty());
    if done {
        model.tickets[at].cancelled = true;
        model.tickets[at].promises.clear();
    }
}
