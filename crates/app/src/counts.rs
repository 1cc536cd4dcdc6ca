//! Counting the shelf: a session begins with what stands on the books, those who count say what they find without seeing it, what
//! lies outside the tolerance is counted again, and somebody who did not count approves what is booked.

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use domain::{
    counts::{Count, CountLine, CountStatus, CountVerdict, Found, StockRule},
    lots::Lot,
    people::{Actor, Capability},
    stock::{Cause, MovementKind},
    text,
};
use kernel::{
    Percent, Quantity,
    ids::{CountId, LotId, MaterialId},
};
use serde::{Deserialize, Serialize};
use store::stock::NewMovement;

use crate::{
    App, Change, Error,
    change::Begun,
    fresh::Problems,
    lots::{lot_lock, stocked_quantity},
    require,
};

/// A session of counting to begin.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct CountOpen {
    /// Its number; made when empty.
    pub number: Option<String>,
    /// Only lots of these materials; empty for any.
    pub materials: Vec<MaterialId>,
    /// Only lots that stand there.
    pub location: Option<String>,
    /// Whether those who count are kept from seeing what stands on the books.
    pub blind: bool,
}

/// What was found of one lot.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct CountEnter {
    /// The session.
    pub count: CountId,
    /// The lot.
    pub lot: LotId,
    /// What is really there.
    pub found: Quantity,
    /// When it was counted, for what is entered later from a sheet; now when empty.
    pub at: Option<DateTime<Utc>>,
}

/// A session to end.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct CountEnd {
    /// The session.
    pub count: CountId,
    /// Whether the differences are booked; otherwise the session is given up.
    pub approve: bool,
    /// Why the differences are what they are, or why it is given up.
    pub reason: String,
}

/// The most lots of one session.
const LINES_MAX: usize = 10_000;

impl App {
    /// Begins a session with the lots that hold something, as they stand on the books.
    ///
    /// # Errors
    /// [`Error::Invalid`] when there is nothing to count, [`domain::Refusal::Taken`] for a number in use.
    pub async fn count_open(&self, change: &Change<'_>, input: CountOpen) -> Result<Count, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "count-open", &input).await? {
            Begun::Repeat(count) => return Ok(count),
            Begun::Fresh(work) => work,
        };
        let mut problems = Problems::default();
        let number = problems.code("number", "a number", input.number.as_deref());
        problems.none()?;
        let mut lots = if input.materials.is_empty() {
            store::lots::lots_on_shelf(&work.tx).await?
        } else {
            store::lots::lots_of_materials(&work.tx, &input.materials).await?
        };
        if let Some(place) = &input.location {
            let key = text::code_key(place);
            lots.retain(|lot| lot.location.as_deref().is_some_and(|at| text::code_key(at) == key));
        }
        if lots.is_empty() || lots.len() > LINES_MAX {
            let message = format!("{} lots are to be counted; a session has 1 to {LINES_MAX}", lots.len());
            return Err(Error::invalid("materials", message));
        }
        // Locked, so that what stands on the books is of one moment.
        let ids: Vec<LotId> = lots.iter().map(|lot| lot.id).collect();
        let lots = store::lots::lots_lock(&work.tx, &ids).await?;
        let tolerances = self.tolerances(&work.tx, &lots).await?;
        let number = match number {
            Some(number) => {
                if store::counts::count_by_number(&work.tx, &number).await?.is_some() {
                    let what = "count".to_owned();
                    return Err(domain::Refusal::Taken { what, text: number }.into());
                }
                number
            }
            None => format!("C-{:06}", store::numbers::number_next(&work.tx, "C").await?),
        };
        let count = Count {
            id: CountId::new(),
            number,
            blind: input.blind,
            status: CountStatus::Open,
            opened_at: micros(work.at),
            opened_by: work.by.clone(),
            ended_at: None,
            ended_by: None,
            reason: None,
            lines: lots
                .iter()
                .map(|lot| CountLine {
                    lot: lot.id,
                    booked: lot.on_hand,
                    tolerance: tolerances
                        .get(&lot.material)
                        .copied()
                        .unwrap_or_else(|| StockRule::usual(lot.material).tolerance()),
                    found: None,
                    again: None,
                    movement: None,
                })
                .collect(),
        };
        store::counts::count_insert(&work.tx, &count).await?;
        work.note(
            "count",
            count.id,
            None::<&()>,
            &serde_json::json!({ "number": count.number, "blind": count.blind, "lots": count.lines.len() }),
            None,
        )?;
        work.finish(count).await
    }

    /// Enters what was found of one lot: the first count, or the second where the first lay outside the tolerance. What stood on the
    /// books at the moment of counting is worked out from the ledger.
    ///
    /// # Errors
    /// [`Error::NotFound`], [`Error::Invalid`] for a session that is over, a moment outside it, or a lot that is counted.
    pub async fn count_enter(&self, change: &Change<'_>, input: CountEnter) -> Result<Count, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "count-enter", &input).await? {
            Begun::Repeat(count) => return Ok(count),
            Begun::Fresh(work) => work,
        };
        let mut count = open_count(&work.tx, input.count).await?;
        let lot = lot_lock(&work.tx, input.lot).await?;
        let catalogue = self.snapshot();
        let material = catalogue
            .materials
            .get(lot.material)
            .ok_or_else(|| Error::not_found("material", lot.material))?;
        let at = micros(input.at.unwrap_or(work.at));
        let mut problems = Problems::default();
        let quantity = problems.take("found", stocked_quantity(input.found, material, lot.density));
        if quantity.is_some_and(|found| found.raw() < 0) {
            problems.push("found", "what is found cannot be below nought");
        }
        if at < count.opened_at || at > micros(work.at) {
            problems.push("at", "the moment of counting lies outside the session");
        }
        let place = count.lines.iter().position(|line| line.lot == lot.id);
        if place.is_none() {
            problems.push("lot", format!("lot {} is not part of count {}", lot.number, count.number));
        }
        problems.none()?;
        let (Some(quantity), Some(line)) = (quantity, place.and_then(|place| count.lines.get_mut(place)))
        else {
            return Err(Error::internal("a count without problems lacks its figures"));
        };
        let since = store::counts::moved_after(&work.tx, lot.id, at).await?;
        let booked = Quantity::from_raw(lot.on_hand.raw().saturating_sub(since), lot.on_hand.dimension());
        let found = Found { quantity, booked, at, by: work.by.clone() };
        match line.verdict() {
            CountVerdict::ToCount => line.found = Some(found.clone()),
            CountVerdict::ToCountAgain => line.again = Some(found.clone()),
            CountVerdict::Within | CountVerdict::Outside => {
                return Err(Error::invalid("lot", format!("lot {} is counted", lot.number)));
            }
        }
        store::counts::count_line_update(&work.tx, count.id, line).await?;
        work.note(
            "count",
            count.id,
            None::<&()>,
            &serde_json::json!({ "lot": lot.number, "found": found.quantity }),
            None,
        )?;
        work.finish(count).await
    }

    /// Ends a session. Approved, every difference is booked as an adjustment of what the lot holds now; that takes somebody who may
    /// release and reject and did not count in it, and a second count of everything outside its tolerance.
    ///
    /// # Errors
    /// [`Error::NotFound`], [`Error::Invalid`] while lots are to be counted again, [`domain::Refusal::LotShort`] when a lot no longer
    /// holds what is missing of it.
    pub async fn count_end(&self, change: &Change<'_>, input: CountEnd) -> Result<Count, Error> {
        let capability = if input.approve { Capability::ReleaseAndReject } else { Capability::PlanAndMake };
        let mut work = match self.begin(change, capability, "count-end", &input).await? {
            Begun::Repeat(count) => return Ok(count),
            Begun::Fresh(work) => work,
        };
        let mut count = open_count(&work.tx, input.count).await?;
        let mut problems = Problems::default();
        let reason = problems.take("reason", text::note("a reason", &input.reason));
        if input.approve {
            let open = |verdict| count.lines.iter().filter(|line| line.verdict() == verdict).count();
            let (to_count, again) = (open(CountVerdict::ToCount), open(CountVerdict::ToCountAgain));
            if to_count + again > 0 {
                problems
                    .push("count", format!("{to_count} lots are to be counted, {again} to be counted again"));
            }
            if count.counted_by(&work.by) {
                problems.push("count", "who counted in it does not approve it");
            }
        }
        problems.none()?;
        if input.approve {
            let on = self.today();
            let differing: Vec<(LotId, i64)> = count
                .lines
                .iter()
                .filter_map(|line| Some((line.lot, line.difference()?)))
                .filter(|(_, difference)| *difference != 0)
                .collect();
            let ids: Vec<LotId> = differing.iter().map(|(lot, _)| *lot).collect();
            let lots: HashMap<LotId, Lot> =
                store::lots::lots_lock(&work.tx, &ids).await?.into_iter().map(|lot| (lot.id, lot)).collect();
            let mut movements = Vec::with_capacity(differing.len());
            for (id, difference) in &differing {
                let lot = lots.get(id).ok_or_else(|| Error::not_found("lot", id))?;
                let quantity = Quantity::from_raw(*difference, lot.on_hand.dimension());
                movements.push(NewMovement {
                    cause: Some(Cause::CountDifference),
                    reason: reason.clone(),
                    ..work.movement(*id, MovementKind::Adjustment, quantity, on)
                });
            }
            let posted = store::stock::post(&work.tx, &movements).await?;
            for line in &mut count.lines {
                line.movement =
                    posted.iter().find(|movement| movement.lot == line.lot).map(|movement| movement.id);
                if line.movement.is_some() {
                    store::counts::count_line_update(&work.tx, count.id, line).await?;
                }
            }
        }
        count.status = if input.approve { CountStatus::Closed } else { CountStatus::Abandoned };
        count.ended_at = Some(micros(work.at));
        count.ended_by = Some(work.by.clone());
        count.reason.clone_from(&reason);
        store::counts::count_update(&work.tx, &count).await?;
        work.note(
            "count",
            count.id,
            Some(&serde_json::json!({ "status": CountStatus::Open })),
            &serde_json::json!({ "status": count.status }),
            reason.as_deref(),
        )?;
        work.finish(count).await
    }

    /// Enters how closely a material is counted, and whether it bounds the expiry of what is made with it.
    ///
    /// # Errors
    /// [`Error::NotFound`], [`Error::Invalid`].
    pub async fn stock_rule_put(&self, change: &Change<'_>, input: StockRule) -> Result<StockRule, Error> {
        let mut work = match self.begin(change, Capability::Administer, "stock-rule-put", &input).await? {
            Begun::Repeat(rule) => return Ok(rule),
            Begun::Fresh(work) => work,
        };
        let catalogue = self.snapshot();
        catalogue
            .materials
            .get(input.material)
            .ok_or_else(|| Error::not_found("material", input.material))?;
        let mut problems = Problems::default();
        if let Some(tolerance) = input.count_tolerance {
            problems.take("countTolerance", tolerance.require_share());
        }
        problems.none()?;
        let before = store::counts::stock_rules(&work.tx, &[input.material]).await?;
        store::counts::stock_rule_put(&work.tx, &input).await?;
        work.note("material", input.material, before.first(), &input, None)?;
        work.finish(input).await
    }

    /// The rules of some materials, the usual one where none was entered.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn stock_rule(&self, actor: &Actor, material: MaterialId) -> Result<StockRule, Error> {
        require(actor, Capability::Look)?;
        let rules = store::counts::stock_rules(self.store(), &[material]).await?;
        Ok(rules.into_iter().next().unwrap_or_else(|| StockRule::usual(material)))
    }

    /// The count of a number, letter case aside.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn count_by_number(&self, actor: &Actor, number: &str) -> Result<Option<Count>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::counts::count_by_number(self.store(), number).await?)
    }

    /// The latest counts, newest first.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn counts_latest(&self, actor: &Actor) -> Result<Vec<Count>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::counts::counts_latest(self.store(), 20).await?)
    }

    async fn tolerances(
        &self,
        tx: &store::WriteTx,
        lots: &[Lot],
    ) -> Result<HashMap<MaterialId, Percent>, Error> {
        let materials: Vec<MaterialId> = lots.iter().map(|lot| lot.material).collect();
        let rules = store::counts::stock_rules(tx, &materials).await?;
        Ok(rules.into_iter().map(|rule| (rule.material, rule.tolerance())).collect())
    }
}

async fn open_count(tx: &store::WriteTx, id: CountId) -> Result<Count, Error> {
    let count = store::counts::count_lock(tx, id).await?.ok_or_else(|| Error::not_found("count", id))?;
    if count.status != CountStatus::Open {
        let message = format!("count {} is {}", count.number, count.status.words());
        return Err(Error::invalid("count", message));
    }
    Ok(count)
}

/// As it is kept, so that what is compared now is what is read later.
fn micros(at: DateTime<Utc>) -> DateTime<Utc> {
    DateTime::from_timestamp_micros(at.timestamp_micros()).unwrap_or(at)
}
