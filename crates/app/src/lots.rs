//! Lots: receiving them, saying what may be done with them, counting them, taking from them for other ends than a batch.

use chrono::NaiveDate;
use domain::{
    Refusal,
    dates::MonthMeans,
    lots::{Ended, Lot, LotStatus, LotTerms, Ownership, WrittenDates},
    materials::Material,
    people::Capability,
    stock::{Cause, MovementKind},
    text::code_key,
};
use kernel::{
    Density, Dimension, Money, Percent, Quantity, UnitPrice,
    ids::{ContainerId, LotId, MaterialId, SupplierId},
};
use serde::{Deserialize, Serialize};
use store::{WriteTx, stock::NewMovement};

use crate::{
    App, Change, Error,
    change::{Begun, Work},
    containers::blocked_settle,
    fresh::Problems,
    lot_papers::check_results,
    receipts::{ReceiptMore, ordered_lot, written_date},
};

/// A delivery, as it is entered.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct LotReceive {
    /// The house's number for the lot; made when empty.
    pub number: Option<String>,
    /// What arrived.
    pub material: MaterialId,
    /// How much: a mass, a volume (through the density) or a count.
    pub quantity: Quantity,
    /// What all of it cost landed.
    pub value: Option<Money>,
    /// Or what a kilogram or a piece cost landed.
    pub unit_cost: Option<UnitPrice>,
    /// Who delivered.
    pub supplier: Option<SupplierId>,
    /// The supplier's lot number, kept exactly as written.
    pub supplier_lot: Option<String>,
    /// The day it arrived; today when empty.
    pub received_on: Option<NaiveDate>,
    /// The day its maker made it.
    pub made_on: Option<NaiveDate>,
    /// Last day of use.
    pub expires_on: Option<NaiveDate>,
    /// To be re-examined before use after this day.
    pub retest_on: Option<NaiveDate>,
    /// From its certificate of analysis.
    pub density: Option<Density>,
    /// From its certificate of analysis.
    pub active_matter: Option<Percent>,
    /// Where it stands.
    pub location: Option<String>,
    /// Remarks.
    pub note: Option<String>,
    /// What it brings besides its amount.
    #[serde(default)]
    pub more: ReceiptMore,
}

/// What a lot is released for, when not for everything.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Restriction {
    /// What may be made with it, by the material made; empty for anything.
    pub products: Vec<MaterialId>,
    /// The last day the release holds.
    pub until: Option<NaiveDate>,
}

/// A decision on a lot.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct LotStatusChange {
    /// The lot.
    pub lot: LotId,
    /// What it becomes: released, on hold or rejected.
    pub status: LotStatus,
    /// Why; needed to hold, to reject and to release with a restriction.
    pub reason: Option<String>,
    /// What it is released for; a release without one is for everything.
    #[serde(default)]
    pub restriction: Option<Restriction>,
}

/// What was found on counting a lot.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct LotCount {
    /// The lot.
    pub lot: LotId,
    /// What is really there.
    pub found: Quantity,
    /// Why it differs.
    pub reason: String,
    /// Why, in a word that can be counted; "count difference" when nothing is known.
    #[serde(default)]
    pub cause: Option<Cause>,
    /// The day of the count; today when empty.
    pub on: Option<NaiveDate>,
}

/// Why something is taken from a lot other than for a batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TakenFor {
    /// A sample, or the bench.
    Sample,
    /// Spilled, expired, disposed of.
    WriteOff,
}

/// Something taken from a lot other than for a batch.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct LotTake {
    /// The lot.
    pub lot: LotId,
    /// What for.
    pub purpose: TakenFor,
    /// How much.
    pub quantity: Quantity,
    /// Why.
    pub reason: String,
    /// Why, in a word that can be counted.
    #[serde(default)]
    pub cause: Option<Cause>,
    /// The container it is taken from.
    #[serde(default)]
    pub container: Option<ContainerId>,
    /// The day; today when empty.
    pub on: Option<NaiveDate>,
}

/// The quantity in the dimension a material is stocked by: a volume becomes a mass through the density.
pub(crate) fn stocked_quantity(
    quantity: Quantity,
    material: &Material,
    density: Option<Density>,
) -> Result<Quantity, String> {
    match (material.stock_dimension(), quantity) {
        (Dimension::Mass, Quantity::Mass(_)) | (Dimension::Count, Quantity::Count(_)) => Ok(quantity),
        (Dimension::Mass, Quantity::Volume(_)) => {
            let density = density.or(material.density);
            let mass = quantity
                .mass_kg(density)
                .ok_or_else(|| format!("{} has no density, so a volume of it has no mass", material.code))?;
            Quantity::from_exact_half_even(&mass, Dimension::Mass).map_err(|e| e.to_string())
        }
        (dimension, other) => Err(format!(
            "{} is stocked by {}, not by {}",
            material.code,
            dimension.name(),
            other.dimension().name()
        )),
    }
}

impl App {
    /// Receives a delivery as one lot, in quarantine.
    ///
    /// # Errors
    /// [`Error::Invalid`], [`Error::NotFound`], or [`Refusal::Taken`] for a lot number in use.
    pub async fn lot_receive(&self, change: &Change<'_>, input: LotReceive) -> Result<Lot, Error> {
        let mut work = match self.begin(change, Capability::Buy, "lot-receive", &input).await? {
            Begun::Repeat(lot) => return Ok(lot),
            Begun::Fresh(work) => work,
        };
        let catalogue = self.snapshot();
        let material = catalogue
            .materials
            .get(input.material)
            .ok_or_else(|| Error::not_found("material", input.material))?;
        if let Some(supplier) = input.supplier
            && catalogue.suppliers.get(supplier).is_none()
        {
            return Err(Error::not_found("supplier", supplier));
        }
        let today = self.today();
        let received_on = input.received_on.unwrap_or(today);
        let mut problems = Problems::default();
        if !material.kind.is_stocked() {
            problems.push("material", format!("{} is a utility and is not stocked", material.code));
        }
        if received_on > today {
            problems.push("receivedOn", format!("{received_on} is after today, {today}"));
        }
        let written = &input.more.written;
        let mut date = |place, day, text: &Option<String>, means| {
            written_date(&mut problems, place, day, text.as_deref(), means)
        };
        let (made_on, made_written) = date("madeOn", input.made_on, &written.made_on, MonthMeans::FirstDay);
        let (expires_on, expires_written) =
            date("expiresOn", input.expires_on, &written.expires_on, MonthMeans::LastDay);
        let (retest_on, retest_written) =
            date("retestOn", input.retest_on, &written.retest_on, MonthMeans::LastDay);
        check_dates(&mut problems, received_on, made_on, expires_on, retest_on);
        let number = problems.code("number", "a lot number", input.number.as_deref());
        let supplier_lot =
            problems.code("supplierLot", "a supplier's lot number", input.supplier_lot.as_deref());
        let location = problems.code("location", "a location", input.location.as_deref());
        let note = problems.note("note", input.note.as_deref());
        if let Some(density) = input.density {
            problems.take("density", density.require_plausible());
        }
        if let Some(active) = input.active_matter {
            problems.take("activeMatter", active.require_share());
        }
        let quantity = problems
            .take("quantity", stocked_quantity(input.quantity, material, input.density))
            .filter(|q| {
                q.is_positive() || {
                    problems.push("quantity", "a receipt must be above nought");
                    false
                }
            });
        let house = self.settings().currency;
        let value = quantity.and_then(|quantity| match input.more.ownership {
            // Known to be nothing, which is not the same as not known.
            Ownership::Customer => Some(Some(Money::zero(house))),
            Ownership::House | Ownership::Consignment => {
                problems.take("value", receipt_value(&input, quantity, house))
            }
        });
        let terms = self.receipt_terms(&mut problems, &input, quantity)?;
        let results = check_results(&mut problems, &input.more.results);
        problems.none()?;
        let (Some(received), Some(value)) = (quantity, value) else {
            return Err(Error::internal("a receipt without problems lacks its figures"));
        };
        let location = match location {
            Some(code) => Some(self.location_settle(&work.tx, "location", &code).await?),
            None => None,
        };
        let ordered = match input.more.ordered {
            Some(id) => Some(ordered_lot(&work.tx, id, material.id).await?),
            None => None,
        };
        let number = match (&ordered, number) {
            (Some(ordered), None) => ordered.number.clone(),
            (Some(ordered), Some(number)) if code_key(&number) == code_key(&ordered.number) => number,
            (_, number) => self.lot_number_settle(&work.tx, number, "L").await?,
        };
        let lot = Lot {
            id: ordered.as_ref().map_or_else(LotId::new, |ordered| ordered.id),
            number,
            material: material.id,
            supplier: input.supplier,
            supplier_lot,
            made_by: None,
            status: LotStatus::Quarantine,
            received_on,
            made_on,
            expires_on: expires_on
                .or_else(|| made_on.zip(material.shelf_life).and_then(|(made, life)| life.after(made))),
            retest_on,
            opened_on: None,
            density: input.density,
            active_matter: input.active_matter,
            location,
            received,
            received_value: value,
            on_hand: Quantity::from_raw(0, received.dimension()),
            value: value.map(|v| Money::zero(v.currency())),
            reserved: Quantity::from_raw(0, received.dimension()),
            note,
            terms: LotTerms {
                expected: ordered.as_ref().and_then(|ordered| ordered.terms.expected),
                due_on: ordered.as_ref().and_then(|ordered| ordered.terms.due_on),
                written: WrittenDates {
                    made_on: made_written,
                    expires_on: expires_written,
                    retest_on: retest_written,
                },
                ..terms
            },
        };
        let lot = match ordered {
            None => lot_enter(&mut work, lot, MovementKind::Receipt, received_on, None).await?,
            Some(_) => {
                store::lots::lot_arrived(&work.tx, &lot).await?;
                lot_fill(&mut work, lot, MovementKind::Receipt, received_on, None).await?
            }
        };
        if !results.is_empty() {
            store::lot_papers::lot_results_replace(&work.tx, lot.id, &results).await?;
        }
        let mut problems = Problems::default();
        let containers = self.containers_enter(&work.tx, &lot, &input.more.containers, &mut problems).await?;
        problems.none()?;
        if !containers.is_empty() || !results.is_empty() {
            let with = serde_json::json!({ "containers": containers, "results": results });
            work.note("lot", lot.id, None::<&()>, &with, None)?;
        }
        work.finish(lot).await
    }

    /// Releases, holds or rejects a lot.
    ///
    /// # Errors
    /// [`Error::NotFound`], [`Error::Invalid`] without a reason, [`Refusal::LotStatusFixed`].
    pub async fn lot_status_change(&self, change: &Change<'_>, input: LotStatusChange) -> Result<Lot, Error> {
        let mut work =
            match self.begin(change, Capability::ReleaseAndReject, "lot-status-change", &input).await? {
                Begun::Repeat(lot) => return Ok(lot),
                Begun::Fresh(work) => work,
            };
        let mut problems = Problems::default();
        let reason = problems.note("reason", input.reason.as_deref());
        if reason.is_none() && input.status != LotStatus::Released {
            problems.push("reason", format!("say why the lot is {}", input.status.words()));
        }
        let before = lot_lock(&work.tx, input.lot).await?;
        let terms = self.release_terms(&mut problems, &before, &input, reason.is_some())?;
        problems.none()?;
        let restricted_anew = input.status == LotStatus::Released
            && before.status == LotStatus::Released
            && terms != before.terms;
        if !before.status.may_become(input.status) && !restricted_anew {
            return Err(Refusal::LotStatusFixed {
                lot_number: before.number,
                is: before.status,
                wanted: input.status,
            }
            .into());
        }
        store::lots::lot_status_set(&work.tx, before.id, input.status).await?;
        if terms != before.terms {
            store::lots::lot_terms_set(&work.tx, before.id, &terms).await?;
        }
        let after = Lot { status: input.status, terms, ..before.clone() };
        let said = |lot: &Lot| {
            if lot.terms.restricts() {
                serde_json::json!({
                    "status": lot.status,
                    "for": lot.terms.restricted_to,
                    "until": lot.terms.released_until,
                })
            } else {
                serde_json::json!({ "status": lot.status })
            }
        };
        work.note("lot", after.id, Some(&said(&before)), &said(&after), reason.as_deref())?;
        work.finish(after).await
    }

    /// Enters what was found on counting a lot. The ledger gets the difference.
    ///
    /// # Errors
    /// [`Error::NotFound`], [`Error::Invalid`].
    pub async fn lot_count(&self, change: &Change<'_>, input: LotCount) -> Result<Lot, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "lot-count", &input).await? {
            Begun::Repeat(lot) => return Ok(lot),
            Begun::Fresh(work) => work,
        };
        let before = lot_lock(&work.tx, input.lot).await?;
        let catalogue = self.snapshot();
        let material = catalogue
            .materials
            .get(before.material)
            .ok_or_else(|| Error::not_found("material", before.material))?;
        let mut problems = Problems::default();
        let reason = problems.take("reason", domain::text::note("a reason", &input.reason));
        let on = self.day_settle(&mut problems, "on", input.on);
        let found = problems.take("found", stocked_quantity(input.found, material, before.density));
        if let Some(cause) = input.cause.filter(|cause| !cause.shown_by_count()) {
            problems.push("cause", format!("{} is not what a count shows", cause.words()));
        }
        if found.is_some_and(|f| f.raw() < 0) {
            problems.push("found", "what is found cannot be below nought");
        }
        problems.none()?;
        let (Some(found), Some(on)) = (found, on) else {
            return Err(Error::internal("a count without problems lacks its figures"));
        };
        let difference = found.raw() - before.on_hand.raw();
        if difference != 0 {
            let quantity = Quantity::from_raw(difference, found.dimension());
            // What turns up was paid for with the rest, so it brings no value of its own.
            let movement = NewMovement {
                cause: Some(input.cause.unwrap_or(Cause::CountDifference)),
                reason: reason.clone(),
                ..work.movement(before.id, MovementKind::Adjustment, quantity, on)
            };
            store::stock::post(&work.tx, &[movement]).await?;
        }
        let after = lot_lock(&work.tx, before.id).await?;
        work.note(
            "lot",
            before.id,
            Some(&serde_json::json!({ "onHand": before.on_hand })),
            &serde_json::json!({ "onHand": after.on_hand }),
            Some(&input.reason),
        )?;
        work.finish(after).await
    }

    /// Takes a sample from a lot, or writes part of it off.
    ///
    /// # Errors
    /// [`Error::NotFound`], [`Error::Invalid`], [`Refusal::LotShort`].
    pub async fn lot_take(&self, change: &Change<'_>, input: LotTake) -> Result<Lot, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "lot-take", &input).await? {
            Begun::Repeat(lot) => return Ok(lot),
            Begun::Fresh(work) => work,
        };
        let before = lot_lock(&work.tx, input.lot).await?;
        let catalogue = self.snapshot();
        let material = catalogue
            .materials
            .get(before.material)
            .ok_or_else(|| Error::not_found("material", before.material))?;
        let mut problems = Problems::default();
        let reason = problems.take("reason", domain::text::note("a reason", &input.reason));
        let on = self.day_settle(&mut problems, "on", input.on);
        let taken = problems.take("quantity", stocked_quantity(input.quantity, material, before.density));
        if taken.is_some_and(|t| !t.is_positive()) {
            problems.push("quantity", "what is taken must be above nought");
        }
        let kind = match input.purpose {
            TakenFor::Sample => MovementKind::Sample,
            TakenFor::WriteOff => MovementKind::WriteOff,
        };
        if let Some(cause) = input.cause.filter(|cause| cause.taking() != Some(kind)) {
            problems.push("cause", format!("{} is no cause of a {}", cause.words(), kind.words()));
        }
        problems.none()?;
        let (Some(taken), Some(on)) = (taken, on) else {
            return Err(Error::internal("a taking without problems lacks its figures"));
        };
        // What is promised to tickets may be written off, since it may be what leaked; a sample may not eat it.
        let available = match input.purpose {
            TakenFor::Sample => before.free(),
            TakenFor::WriteOff => before.on_hand.raw(),
        };
        if taken.raw() > available {
            return Err(lot_short(&before, material, taken, available).into());
        }
        if let Some(id) = input.container {
            let (lot, container, moved) = self.container_lock(&work.tx, id).await?;
            if lot.id != before.id {
                return Err(Error::invalid("container", "it is a container of another lot"));
            }
            let held = container.remaining(moved);
            if taken.raw() > held.raw() {
                return Err(lot_short(&before, material, taken, held.raw()).into());
            }
        }
        let quantity = Quantity::from_raw(-taken.raw(), taken.dimension());
        let movement = NewMovement {
            cause: input.cause,
            container: input.container,
            reason,
            ..work.movement(before.id, kind, quantity, on)
        };
        store::stock::post(&work.tx, &[movement]).await?;
        let emptied = taken.raw() == before.on_hand.raw();
        let ended = input.cause.filter(|_| emptied).and_then(|cause| match cause {
            Cause::ReturnedToSupplier => Some(Ended::Returned),
            Cause::Disposal => Some(Ended::Disposed),
            _ => None,
        });
        if ended != before.terms.ended {
            let terms = LotTerms { ended, ..before.terms.clone() };
            store::lots::lot_terms_set(&work.tx, before.id, &terms).await?;
        }
        if input.container.is_some() {
            let now = lot_lock(&work.tx, before.id).await?;
            blocked_settle(&work.tx, &now).await?;
        }
        let after = lot_lock(&work.tx, before.id).await?;
        work.note(
            "lot",
            before.id,
            Some(&serde_json::json!({ "onHand": before.on_hand })),
            &serde_json::json!({ "onHand": after.on_hand, "for": input.purpose }),
            Some(&input.reason),
        )?;
        work.finish(after).await
    }

    /// What a lot is bound to after a decision: a release says for what, everything else leaves that as it was.
    fn release_terms(
        &self,
        problems: &mut Problems,
        before: &Lot,
        input: &LotStatusChange,
        has_reason: bool,
    ) -> Result<LotTerms, Error> {
        if before.is_ordered() {
            problems.push("lot", format!("lot {} is ordered and has not come in", before.number));
        }
        let restriction = input.restriction.clone().unwrap_or_default();
        if input.status != LotStatus::Released {
            if input.restriction.is_some() {
                problems.push("restriction", "only a release has a restriction");
            }
            return Ok(before.terms.clone());
        }
        let catalogue = self.snapshot();
        for product in &restriction.products {
            catalogue.materials.get(*product).ok_or_else(|| Error::not_found("material", product))?;
        }
        if let Some(until) = restriction.until.filter(|until| *until < self.today()) {
            problems.push("restriction", format!("a release until {until} would be over before it began"));
        }
        if input.restriction.is_some() && !has_reason {
            problems.push("reason", "say why it is released with a restriction");
        }
        let mut restricted_to = restriction.products;
        if before.terms.ownership == Ownership::Customer {
            let sent_for = &before.terms.restricted_to;
            if restricted_to.is_empty() {
                restricted_to.clone_from(sent_for);
            } else if restricted_to.iter().any(|product| !sent_for.contains(product)) {
                problems.push("restriction", "the customer sent it for other products");
            }
        }
        Ok(LotTerms { restricted_to, released_until: restriction.until, ..before.terms.clone() })
    }

    /// The number a new lot gets: the wished one when it is free, else the next of a series.
    pub(crate) async fn lot_number_settle(
        &self,
        tx: &WriteTx,
        wished: Option<String>,
        series: &'static str,
    ) -> Result<String, Error> {
        if let Some(number) = wished {
            if store::lots::lot_by_number(tx, &number).await?.is_some() {
                return Err(Refusal::Taken { what: "lot".to_owned(), text: number }.into());
            }
            return Ok(number);
        }
        // Somebody may have used a number of the series by hand; the series goes on past it.
        for _ in 0..1_000 {
            let next = store::numbers::number_next(tx, series).await?;
            let number = format!("{series}-{next:06}");
            if store::lots::lot_by_number(tx, &number).await?.is_none() {
                return Ok(number);
            }
        }
        Err(Error::internal("a thousand numbers of a lot series are taken"))
    }

    /// The business day of an entry: today when empty, never in the future.
    pub(crate) fn day_settle(
        &self,
        problems: &mut Problems,
        place: &str,
        day: Option<NaiveDate>,
    ) -> Option<NaiveDate> {
        let today = self.today();
        let day = day.unwrap_or(today);
        if day > today {
            problems.push(place, format!("{day} is after today, {today}"));
            return None;
        }
        Some(day)
    }
}

fn check_dates(
    problems: &mut Problems,
    received_on: NaiveDate,
    made_on: Option<NaiveDate>,
    expires_on: Option<NaiveDate>,
    retest_on: Option<NaiveDate>,
) {
    if let Some(made) = made_on.filter(|made| *made > received_on) {
        problems.push("madeOn", format!("made on {made}, after it was received on {received_on}"));
    }
    if let Some(expiry) = expires_on.filter(|e| *e < received_on) {
        problems.push("expiresOn", format!("expired on {expiry}, before it was received on {received_on}"));
    }
    if let Some(retest) = retest_on.filter(|r| *r < received_on) {
        problems.push(
            "retestOn",
            format!("was due for retest on {retest}, before it was received on {received_on}"),
        );
    }
}

/// The value of a receipt: as given, or the unit cost times the quantity, rounded half to even to the millionth. A receipt with neither
/// has none, which is a gap.
fn receipt_value(
    input: &LotReceive,
    quantity: Quantity,
    house: kernel::Currency,
) -> Result<Option<Money>, String> {
    let value = match (input.value, input.unit_cost) {
        (Some(_), Some(_)) => return Err("give the value or the unit cost, not both".to_owned()),
        (Some(value), None) => value,
        (None, Some(unit)) => {
            Money::from_exact_half_even(&(unit.to_exact() * quantity.to_exact()), unit.currency())
                .map_err(|e| e.to_string())?
        }
        (None, None) => return Ok(None),
    };
    if value.currency() != house {
        return Err(format!("stock is valued in {house}; convert {} first", value.currency()));
    }
    if value.micros() < 0 {
        return Err("a value must not be below nought".to_owned());
    }
    Ok(Some(value))
}

pub(crate) fn lot_short(lot: &Lot, material: &Material, needed: Quantity, available: i64) -> Refusal {
    Refusal::LotShort {
        lot: lot.id,
        lot_number: lot.number.clone(),
        material: material.code.clone(),
        needed,
        available: Quantity::from_raw(available, lot.on_hand.dimension()),
    }
}

/// The lot, locked until the transaction ends.
pub(crate) async fn lot_lock(tx: &WriteTx, id: LotId) -> Result<Lot, Error> {
    store::lots::lots_lock(tx, &[id]).await?.pop().ok_or_else(|| Error::not_found("lot", id))
}

/// Writes a new lot and the movement that brings in what was received or made.
pub(crate) async fn lot_enter(
    work: &mut Work<'_>,
    lot: Lot,
    kind: MovementKind,
    on: NaiveDate,
    reason: Option<String>,
) -> Result<Lot, Error> {
    store::lots::lot_insert(&work.tx, &lot).await?;
    lot_fill(work, lot, kind, on, reason).await
}

/// Writes the movement that brings in what a lot that is there, empty, received.
async fn lot_fill(
    work: &mut Work<'_>,
    lot: Lot,
    kind: MovementKind,
    on: NaiveDate,
    reason: Option<String>,
) -> Result<Lot, Error> {
    let movement = NewMovement {
        value: lot.received_value,
        ticket: lot.made_by,
        reason,
        ..work.movement(lot.id, kind, lot.received, on)
    };
    store::stock::post(&work.tx, &[movement]).await?;
    let entered = lot_lock(&work.tx, lot.id).await?;
    work.note("lot", lot.id, None::<&()>, &entered, None)?;
    Ok(entered)
}

/// The lots of these materials that hold something, locked until the transaction ends.
pub(crate) async fn lots_lock_of_materials(
    tx: &WriteTx,
    materials: &[MaterialId],
) -> Result<Vec<Lot>, Error> {
    let held = store::lots::lots_of_materials(tx, materials).await?;
    let ids: Vec<LotId> = held.iter().filter(|lot| lot.on_hand.is_positive()).map(|lot| lot.id).collect();
    Ok(store::lots::lots_lock(tx, &ids).await?)
}
