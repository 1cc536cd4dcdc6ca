//! Containers of lots: entering what a delivery came in, opening one, setting one aside while its lot stays in use, moving a lot or
//! a container to another place, and going from one container to others.

use chrono::NaiveDate;
use domain::{
    lots::{
        Lot,
        containers::{Container, ContainerState, blocked_in, net_of},
    },
    people::{Actor, Capability},
    stock::{Cause, MovementKind},
};
use kernel::{
    Mass, Quantity,
    ids::{ContainerId, LotId},
    limits::NOTE_CHARS_MAX,
};
use serde::{Deserialize, Serialize};
use store::{WriteTx, stock::NewMovement};

use crate::{App, Change, Error, change::Begun, fresh::Problems, lots::lot_lock, require};

/// A container as it is entered: its weights, or what is in it.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct ContainerWrite {
    /// What it is: drum, can, sack.
    pub kind: Option<String>,
    /// Weighed with what is in it.
    pub gross: Option<Mass>,
    /// Weighed, or marked on it, without.
    pub tare: Option<Mass>,
    /// What is in it, when it is not weighed gross and tare.
    pub net: Option<Quantity>,
    /// Where it stands, when not with its lot.
    pub location: Option<String>,
    /// Remarks.
    pub note: Option<String>,
}

/// Containers of a lot that were not entered with its receipt.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct ContainersAdd {
    /// The lot.
    pub lot: LotId,
    /// What it came in.
    pub containers: Vec<ContainerWrite>,
}

/// A change of how one container stands.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct ContainerChange {
    /// The container.
    pub container: ContainerId,
    /// How it stands from now; as it is when empty.
    pub state: Option<ContainerState>,
    /// The day it was opened.
    pub opened_on: Option<NaiveDate>,
    /// Why; needed to set it aside, reject it, or take that back.
    pub reason: Option<String>,
}

/// A lot, or one container of it, brought to another place.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct LotTransfer {
    /// The lot.
    pub lot: LotId,
    /// Only this container of it.
    pub container: Option<ContainerId>,
    /// Where to.
    pub to: String,
    /// Why.
    pub reason: Option<String>,
}

/// What one container held, filled into others.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct ContainerRepack {
    /// The container that was emptied.
    pub from: ContainerId,
    /// What it went into. Lot, dates and status go along.
    pub into: Vec<ContainerWrite>,
    /// The day; today when empty.
    pub on: Option<NaiveDate>,
    /// Remarks.
    pub reason: Option<String>,
}

/// One container and what is in it now.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct ContainerNow {
    /// The container.
    pub container: Container,
    /// What is in it by what came in it and what was moved since.
    pub remaining: Quantity,
}

/// The most containers of one lot.
const CONTAINERS_MAX: usize = 1_000;

impl App {
    /// Enters the containers a lot came in.
    ///
    /// # Errors
    /// [`Error::NotFound`], [`Error::Invalid`] when they hold more than the lot.
    pub async fn containers_add(
        &self,
        change: &Change<'_>,
        input: ContainersAdd,
    ) -> Result<Vec<ContainerNow>, Error> {
        let mut work = match self.begin(change, Capability::Buy, "containers-add", &input).await? {
            Begun::Repeat(containers) => return Ok(containers),
            Begun::Fresh(work) => work,
        };
        let lot = lot_lock(&work.tx, input.lot).await?;
        let mut problems = Problems::default();
        if input.containers.is_empty() {
            problems.push("containers", "there is none");
        }
        let added = self.containers_enter(&work.tx, &lot, &input.containers, &mut problems).await?;
        problems.none()?;
        work.note("lot", lot.id, None::<&()>, &serde_json::json!({ "containers": added }), None)?;
        let now = containers_now(&work.tx, &lot).await?;
        work.finish(now).await
    }

    /// Opens a container, sets it aside, rejects it, takes that back, or says that it is empty.
    ///
    /// # Errors
    /// [`Error::Forbidden`] without the right to release and reject, when it is set aside, rejected or given free; [`Error::NotFound`],
    /// [`Error::Invalid`].
    pub async fn container_change(
        &self,
        change: &Change<'_>,
        input: ContainerChange,
    ) -> Result<Vec<ContainerNow>, Error> {
        let decides = input.state.is_some_and(|state| state != ContainerState::Emptied);
        let capability = if decides { Capability::ReleaseAndReject } else { Capability::PlanAndMake };
        let mut work = match self.begin(change, capability, "container-change", &input).await? {
            Begun::Repeat(containers) => return Ok(containers),
            Begun::Fresh(work) => work,
        };
        let (lot, before, moved) = self.container_lock(&work.tx, input.container).await?;
        let mut problems = Problems::default();
        let reason = problems.note("reason", input.reason.as_deref());
        if decides && reason.is_none() {
            problems.push("reason", "say why");
        }
        if before.state == ContainerState::Rejected && input.state.is_some() {
            problems.push("state", format!("container {} is rejected; that is final", before.numbered()));
        }
        if let Some(day) = input.opened_on {
            self.day_settle(&mut problems, "openedOn", Some(day));
            if day < lot.received_on {
                problems.push("openedOn", format!("opened on {day}, before it came on {}", lot.received_on));
            }
        }
        problems.none()?;
        let after = Container {
            state: input.state.unwrap_or(before.state),
            opened_on: input.opened_on.or(before.opened_on),
            ..before.clone()
        };
        store::containers::container_update(&work.tx, &after).await?;
        blocked_settle(&work.tx, &lot).await?;
        work.note(
            "container",
            after.id,
            Some(&serde_json::json!({ "state": before.state, "openedOn": before.opened_on })),
            &serde_json::json!({
                "lot": lot.number,
                "container": after.numbered(),
                "state": after.state,
                "openedOn": after.opened_on,
                "held": before.remaining(moved),
            }),
            reason.as_deref(),
        )?;
        let now = containers_now(&work.tx, &lot).await?;
        work.finish(now).await
    }

    /// Brings a lot, or one container of it, to another place. No amount changes, so the audit trail has it and the ledger has not.
    ///
    /// # Errors
    /// [`Error::NotFound`], [`Error::Invalid`] for a place the house does not know.
    pub async fn lot_transfer(&self, change: &Change<'_>, input: LotTransfer) -> Result<Lot, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "lot-transfer", &input).await? {
            Begun::Repeat(lot) => return Ok(lot),
            Begun::Fresh(work) => work,
        };
        let before = lot_lock(&work.tx, input.lot).await?;
        let mut problems = Problems::default();
        let reason = problems.note("reason", input.reason.as_deref());
        let to = problems.code("to", "a location", Some(&input.to));
        problems.none()?;
        let to = to.ok_or_else(|| Error::invalid("to", "say where it goes"))?;
        let to = self.location_settle(&work.tx, "to", &to).await?;
        let mut after = before.clone();
        let moved = match input.container {
            None => {
                after.location = Some(to.clone());
                store::lots::lot_update(&work.tx, &after).await?;
                serde_json::json!({ "location": to })
            }
            Some(id) => {
                let (lot, container, _) = self.container_lock(&work.tx, id).await?;
                if lot.id != before.id {
                    return Err(Error::invalid("container", "it is a container of another lot"));
                }
                let placed = Container { location: Some(to.clone()), ..container };
                store::containers::container_update(&work.tx, &placed).await?;
                serde_json::json!({ "container": placed.numbered(), "location": to })
            }
        };
        work.note(
            "lot",
            before.id,
            Some(&serde_json::json!({ "location": before.location })),
            &moved,
            reason.as_deref(),
        )?;
        work.finish(after).await
    }

    /// Fills what one container holds into others. Lot, dates and status go along; what is lost on the way is written off.
    ///
    /// # Errors
    /// [`Error::NotFound`], [`Error::Invalid`] when more comes out than was in it.
    pub async fn container_repack(
        &self,
        change: &Change<'_>,
        input: ContainerRepack,
    ) -> Result<Vec<ContainerNow>, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "container-repack", &input).await? {
            Begun::Repeat(containers) => return Ok(containers),
            Begun::Fresh(work) => work,
        };
        let (lot, from, moved) = self.container_lock(&work.tx, input.from).await?;
        let mut problems = Problems::default();
        let reason = problems.note("reason", input.reason.as_deref());
        let on = self.day_settle(&mut problems, "on", input.on);
        if from.state != ContainerState::WithLot {
            problems.push("from", format!("container {} is {}", from.numbered(), from.state.words()));
        }
        if input.into.is_empty() {
            problems.push("into", "say what it went into");
        }
        problems.none()?;
        let on = on.ok_or_else(|| Error::internal("a repacking without problems lacks its day"))?;
        let held = from.remaining(moved);
        let emptied = Container { state: ContainerState::Emptied, ..from.clone() };
        store::containers::container_update(&work.tx, &emptied).await?;
        let mut problems = Problems::default();
        let filled = self.containers_enter(&work.tx, &lot, &input.into, &mut problems).await?;
        let got = filled.iter().fold(0_i64, |sum, container| sum.saturating_add(container.net.raw()));
        if got > held.raw() {
            let got = Quantity::from_raw(got, held.dimension());
            problems.push("into", format!("{got} cannot come out of a container that held {held}"));
        }
        problems.none()?;
        // What was opened counts for what was filled from it.
        for container in &filled {
            let opened = Container { opened_on: Some(from.opened_on.unwrap_or(on)), ..container.clone() };
            store::containers::container_update(&work.tx, &opened).await?;
        }
        let lost = held.raw() - got;
        if lost > 0 {
            let quantity = Quantity::from_raw(-lost, held.dimension());
            let movement = NewMovement {
                cause: Some(Cause::Repacking),
                container: Some(from.id),
                reason: reason.clone(),
                ..work.movement(lot.id, MovementKind::WriteOff, quantity, on)
            };
            store::stock::post(&work.tx, &[movement]).await?;
        }
        work.note(
            "container",
            from.id,
            Some(&serde_json::json!({ "held": held })),
            &serde_json::json!({ "lot": lot.number, "into": filled, "lost": Quantity::from_raw(lost, held.dimension()) }),
            reason.as_deref(),
        )?;
        let lot = lot_lock(&work.tx, lot.id).await?;
        let now = containers_now(&work.tx, &lot).await?;
        work.finish(now).await
    }

    /// The containers of a lot and what is in each now.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn containers_of_lot(&self, actor: &Actor, lot: &Lot) -> Result<Vec<ContainerNow>, Error> {
        require(actor, Capability::Look)?;
        let containers = store::containers::containers_of_lot(self.store(), lot).await?;
        Ok(containers.into_iter().map(now).collect())
    }

    /// Checks and writes containers of a lot, numbered on from those it has.
    pub(crate) async fn containers_enter(
        &self,
        tx: &WriteTx,
        lot: &Lot,
        written: &[ContainerWrite],
        problems: &mut Problems,
    ) -> Result<Vec<Container>, Error> {
        if written.is_empty() {
            return Ok(Vec::new());
        }
        let there = store::containers::containers_of_lot(tx, lot).await?;
        let count = there.len().saturating_add(written.len());
        if count > CONTAINERS_MAX {
            problems.push("containers", format!("a lot has at most {CONTAINERS_MAX} containers"));
            return Ok(Vec::new());
        }
        let of = u32::try_from(count).unwrap_or(u32::MAX);
        let first = u32::try_from(there.len()).unwrap_or(u32::MAX).saturating_add(1);
        let mut added = Vec::with_capacity(written.len());
        for (position, (at, write)) in (first..).zip(written.iter().enumerate()) {
            let place = format!("containers[{at}]");
            let Some(net) = net(lot, write, &place, problems) else { continue };
            let location = match problems.code(&place, "a location", write.location.as_deref()) {
                None => None,
                Some(code) => Some(self.location_settle(tx, &place, &code).await?),
            };
            added.push(Container {
                id: ContainerId::new(),
                lot: lot.id,
                position,
                of,
                kind: problems.code(&place, "a kind", write.kind.as_deref()),
                gross: write.gross,
                tare: write.tare,
                net,
                opened_on: None,
                state: ContainerState::WithLot,
                location,
                note: write.note.as_deref().map(|note| note.chars().take(NOTE_CHARS_MAX).collect()),
            });
        }
        let held = there.iter().fold(0_i64, |sum, (c, moved)| sum.saturating_add(c.remaining(*moved).raw()));
        let sum = added.iter().fold(held, |sum, container| sum.saturating_add(container.net.raw()));
        if sum > lot.on_hand.raw() {
            let sum = Quantity::from_raw(sum, lot.on_hand.dimension());
            problems.push(
                "containers",
                format!("they hold {sum} in all; lot {} holds {}", lot.number, lot.on_hand),
            );
            return Ok(Vec::new());
        }
        store::containers::containers_insert(tx, &added).await?;
        Ok(added)
    }

    /// A container with its lot, locked until the transaction ends, and what was moved out of it.
    pub(crate) async fn container_lock(
        &self,
        tx: &WriteTx,
        id: ContainerId,
    ) -> Result<(Lot, Container, i64), Error> {
        let missing = || Error::not_found("container", id);
        let lots = store::containers::lots_of_containers(tx, &[id]).await?;
        let lot = lot_lock(tx, *lots.get(&id).ok_or_else(missing)?).await?;
        let containers = store::containers::containers_of_lot(tx, &lot).await?;
        let (container, moved) =
            containers.into_iter().find(|(container, _)| container.id == id).ok_or_else(missing)?;
        Ok((lot, container, moved))
    }
}

/// What is in a container as entered: gross less tare, or what was said.
fn net(lot: &Lot, write: &ContainerWrite, place: &str, problems: &mut Problems) -> Option<Quantity> {
    let net = match (write.gross, write.tare, write.net) {
        (Some(gross), Some(tare), None) => {
            Quantity::Mass(problems.take(&format!("{place}.gross"), net_of(gross, tare))?)
        }
        (gross, _, Some(net)) => {
            if gross.is_some() && write.tare.is_some() {
                problems.push(format!("{place}.net"), "gross and tare give the net weight already");
                return None;
            }
            net
        }
        _ => {
            problems.push(place, "give gross and tare, or what is in it");
            return None;
        }
    };
    if net.dimension() != lot.received.dimension() {
        problems.push(place, format!("the lot is kept by {}", lot.received.dimension().name()));
        return None;
    }
    if !net.is_positive() {
        problems.push(place, format!("{net} is nothing to be in a container"));
        return None;
    }
    Some(net)
}

pub(crate) fn now((container, moved): (Container, i64)) -> ContainerNow {
    let remaining = container.remaining(moved);
    ContainerNow { container, remaining }
}

async fn containers_now(tx: &WriteTx, lot: &Lot) -> Result<Vec<ContainerNow>, Error> {
    Ok(store::containers::containers_of_lot(tx, lot).await?.into_iter().map(now).collect())
}

/// Writes anew what of a lot stands in containers that may not be used. The lot is locked.
pub(crate) async fn blocked_settle(tx: &WriteTx, lot: &Lot) -> Result<(), Error> {
    let containers = store::containers::containers_of_lot(tx, lot).await?;
    let blocked = blocked_in(containers.iter().map(|(container, moved)| (container, *moved)));
    if blocked != lot.terms.blocked {
        let terms = domain::lots::LotTerms { blocked, ..lot.terms.clone() };
        store::lots::lot_terms_set(tx, lot.id, &terms).await?;
    }
    Ok(())
}
