//! Changes of lots and of the ledger.

use app::{LotCount, LotReceive, LotStatusChange, LotTake, MovementReverse, ReceiptMore, Restriction};
use async_graphql::{Context, Enum, ID, InputObject, Object};
use domain::{
    lots::{Lot as Row, WrittenDates},
    people::Capability,
    stock::Movement as MovementRow,
};
use kernel::{Density, Percent, ids::MaterialId};

use crate::{
    amounts::{MoneyInput, QuantityInput},
    caller::{Desk, Find as _, lot_named},
    changes::{
        Reading, answers,
        lot_details::{ContainerInput, LotResultInput, container_of},
        require,
    },
    errors::Result,
    ids::{Which, read},
    lot_details::Ownership,
    lots::{Lot, LotStatus},
    scalars::{Date, Decimal},
    stock::{Movement, MovementCause},
};

/// A delivery, as it is entered.
#[derive(InputObject)]
pub struct LotReceiveInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The house's number for the lot; made when nothing is said.
    pub number: Option<String>,
    /// What arrived.
    pub material: Which,
    /// How much: a mass, a count, or a volume (through the density given here or the material's).
    pub quantity: QuantityInput,
    /// What all of it cost landed, in the house's currency. Without this and `unitCost` its value is not known.
    pub value: Option<MoneyInput>,
    /// Or what a kilogram or a piece of it cost landed, in the house's currency.
    pub unit_cost: Option<MoneyInput>,
    /// Who delivered.
    pub supplier: Option<Which>,
    /// The supplier's lot number, kept exactly as written.
    pub supplier_lot: Option<String>,
    /// The day it arrived; today when nothing is said.
    pub received_on: Option<Date>,
    /// The day its maker made it.
    pub made_on: Option<Date>,
    /// Its last day of use; from the day it was made and the material's shelf life when nothing is said.
    pub expires_on: Option<Date>,
    /// To be examined again before use after this day.
    pub retest_on: Option<Date>,
    /// Density of its certificate of analysis, kg/L.
    #[graphql(name = "densityKgPerL")]
    pub density_kg_per_l: Option<Decimal>,
    /// Active matter of its certificate of analysis, %.
    pub active_matter_percent: Option<Decimal>,
    /// Where it stands.
    pub location: Option<String>,
    /// Remarks.
    pub note: Option<String>,
    /// The ordered lot this is the delivery of; it takes that lot's number and ends the order.
    pub ordered: Option<Which>,
    /// Whose it is.
    #[graphql(default)]
    pub ownership: Ownership,
    /// The customer or supplier it belongs to, when it is not the house's.
    pub owner: Option<String>,
    /// What may be made with it, by the material made; needed for what belongs to a customer, empty for anything.
    #[graphql(default)]
    pub restricted_to: Vec<Which>,
    /// What of it will stay in its containers and cannot be had; plans leave it out.
    pub heel: Option<QuantityInput>,
    /// Its cost is an estimate until the invoice comes.
    #[graphql(default)]
    pub cost_provisional: bool,
    /// The made date as written on the label, a day or a month ("2026-03", whose first day counts); instead of `madeOn`.
    pub made_on_written: Option<String>,
    /// The expiry date as written on the label, a day or a month ("2026-03", whose last day counts); instead of `expiresOn`.
    pub expires_on_written: Option<String>,
    /// The retest date as written on the label, a day or a month ("2026-03", whose last day counts); instead of `retestOn`.
    pub retest_on_written: Option<String>,
    /// The containers it came in.
    #[graphql(default)]
    pub containers: Vec<ContainerInput>,
    /// The results of its certificate of analysis, besides density and active matter.
    #[graphql(default)]
    pub results: Vec<LotResultInput>,
}

/// A decision on a lot.
#[derive(InputObject)]
pub struct LotStatusChangeInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The lot.
    pub lot: Which,
    /// What it becomes: released, on hold or rejected. A rejection is final.
    pub status: LotStatus,
    /// Why; needed to hold, to reject and to release with a restriction.
    pub reason: Option<String>,
    /// For a release: what may be made with it, by the material made; empty for anything.
    #[graphql(default)]
    pub only_for: Vec<Which>,
    /// For a release: the last day it holds.
    pub only_until: Option<Date>,
}

/// What was found on counting a lot.
#[derive(InputObject)]
pub struct LotCountInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The lot.
    pub lot: Which,
    /// What is really there.
    pub found: QuantityInput,
    /// Why it differs.
    pub reason: String,
    /// Why, in a word that can be counted; a count difference when nothing is said.
    pub cause: Option<MovementCause>,
    /// The day of the count; today when nothing is said.
    pub on: Option<Date>,
}

/// Why something is taken from a lot other than for a batch.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "app::TakenFor")]
pub enum TakenFor {
    /// A sample, or the bench.
    Sample,
    /// Spilled, expired, disposed of.
    WriteOff,
}

/// Something taken from a lot other than for a batch.
#[derive(InputObject)]
pub struct LotTakeInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The lot.
    pub lot: Which,
    /// What for.
    pub purpose: TakenFor,
    /// How much.
    pub quantity: QuantityInput,
    /// Why.
    pub reason: String,
    /// Why, in a word that can be counted; it has to go with the purpose.
    pub cause: Option<MovementCause>,
    /// The container it is taken from, from 1.
    pub container: Option<u32>,
    /// The day; today when nothing is said.
    pub on: Option<Date>,
}

/// A movement to be undone.
#[derive(InputObject)]
pub struct MovementReverseInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The movement, by global id.
    pub movement: ID,
    /// Why.
    pub reason: String,
}

answers! {
    LotReceiveResult = LotReceivePayload {
        /// The lot, in quarantine.
        lot: Lot
    } of Row: |_, row| Ok(Lot(row));
    LotStatusChangeResult = LotStatusChangePayload {
        /// The lot as it now is.
        lot: Lot
    } of Row: |_, row| Ok(Lot(row));
    LotCountResult = LotCountPayload {
        /// The lot as it now is.
        lot: Lot
    } of Row: |_, row| Ok(Lot(row));
    LotTakeResult = LotTakePayload {
        /// The lot as it now is.
        lot: Lot
    } of Row: |_, row| Ok(Lot(row));
    MovementReverseResult = MovementReversePayload {
        /// The movement that undoes the other.
        movement: Movement
    } of MovementRow: |_, row| Ok(Movement(row));
}

/// Changes of lots and of the ledger.
#[derive(Default)]
pub struct LotChanges;

/// Changes of lots and of the ledger.
#[Object]
impl LotChanges {
    /// Receives a delivery as one lot, in quarantine. Takes the right to buy. Refused: Taken.
    async fn lot_receive(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The delivery.")] input: LotReceiveInput,
    ) -> Result<LotReceiveResult> {
        require(ctx, Capability::Buy)?;
        let change = ctx.change(input.request_key.clone())?;
        let read = receipt(ctx, input).await?;
        LotReceiveResult::of(ctx, ctx.house()?.lot_receive(&change, read).await)
    }

    /// Releases, holds or rejects a lot; a release may be for some products only, or until a day. Takes the right to release and reject. Refused: LotStatusFixed.
    async fn lot_status_change(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The decision.")] input: LotStatusChangeInput,
    ) -> Result<LotStatusChangeResult> {
        require(ctx, Capability::ReleaseAndReject)?;
        let change = ctx.change(input.request_key)?;
        let products = products(ctx, &input.only_for, "onlyFor")?;
        let until = input.only_until.map(|day| day.0);
        let restriction =
            (!products.is_empty() || until.is_some()).then_some(Restriction { products, until });
        let read = LotStatusChange {
            lot: lot_named(ctx, &input.lot, "lot").await?.id,
            status: input.status.into(),
            reason: input.reason,
            restriction,
        };
        LotStatusChangeResult::of(ctx, ctx.house()?.lot_status_change(&change, read).await)
    }

    /// Enters what was found on counting a lot; the ledger gets the difference. Takes the right to plan and make.
    async fn lot_count(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The count.")] input: LotCountInput,
    ) -> Result<LotCountResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key)?;
        let lot = lot_named(ctx, &input.lot, "lot").await?.id;
        let mut reading = Reading::default();
        let found = reading.take("found", input.found.quantity());
        let read = LotCount {
            lot,
            found: reading.finish(found)?,
            reason: input.reason,
            cause: input.cause.map(Into::into),
            on: input.on.map(|day| day.0),
        };
        LotCountResult::of(ctx, ctx.house()?.lot_count(&change, read).await)
    }

    /// Takes something from a lot other than for a batch. Takes the right to plan and make. Refused: LotShort.
    async fn lot_take(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What is taken.")] input: LotTakeInput,
    ) -> Result<LotTakeResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key)?;
        let lot = lot_named(ctx, &input.lot, "lot").await?;
        let container = match input.container {
            None => None,
            Some(position) => Some(container_of(ctx, &lot, position).await?),
        };
        let mut reading = Reading::default();
        let quantity = reading.take("quantity", input.quantity.quantity());
        let read = LotTake {
            lot: lot.id,
            purpose: input.purpose.into(),
            quantity: reading.finish(quantity)?,
            reason: input.reason,
            cause: input.cause.map(Into::into),
            container,
            on: input.on.map(|day| day.0),
        };
        LotTakeResult::of(ctx, ctx.house()?.lot_take(&change, read).await)
    }

    /// Undoes a receipt, a count, a sample or a write-off by an equal and opposite movement that names it. Weighings are taken back on
    /// their ticket. Takes the right to administer. Refused: NotReversible.
    async fn movement_reverse(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The movement, and why.")] input: MovementReverseInput,
    ) -> Result<MovementReverseResult> {
        require(ctx, Capability::Administer)?;
        let change = ctx.change(input.request_key)?;
        let read = MovementReverse { movement: read(&input.movement, "movement")?, reason: input.reason };
        MovementReverseResult::of(ctx, ctx.house()?.movement_reverse(&change, read).await)
    }
}

/// The materials made that a lot is kept for.
fn products(ctx: &Context<'_>, named: &[Which], place: &str) -> Result<Vec<MaterialId>> {
    let catalogue = ctx.catalogue()?;
    named
        .iter()
        .enumerate()
        .map(|(at, which)| Ok(catalogue.material(which, &format!("{place}[{at}]"))?.id))
        .collect()
}

async fn receipt(ctx: &Context<'_>, input: LotReceiveInput) -> Result<LotReceive> {
    let ordered = match &input.ordered {
        None => None,
        Some(which) => Some(lot_named(ctx, which, "ordered").await?.id),
    };
    let restricted_to = products(ctx, &input.restricted_to, "restrictedTo")?;
    let catalogue = ctx.catalogue()?;
    let material = catalogue.material(&input.material, "material")?.id;
    let supplier = input.supplier.map(|which| catalogue.supplier(&which, "supplier")).transpose()?;
    let mut reading = Reading::default();
    let quantity = reading.take("quantity", input.quantity.quantity());
    let value = reading.optional("value", input.value.map(MoneyInput::money));
    let unit_cost = reading.optional("unitCost", input.unit_cost.map(MoneyInput::unit_price));
    let density = reading
        .optional("densityKgPerL", input.density_kg_per_l.map(|figure| Density::from_kg_per_litre(figure.0)));
    let active_matter = reading.optional(
        "activeMatterPercent",
        input.active_matter_percent.map(|figure| Percent::from_percent(figure.0)),
    );
    let heel = reading.optional("heel", input.heel.map(QuantityInput::quantity)).flatten();
    let containers = input
        .containers
        .into_iter()
        .enumerate()
        .map(|(at, container)| container.read(&mut reading, &format!("containers[{at}]")))
        .collect();
    let results = input
        .results
        .into_iter()
        .enumerate()
        .filter_map(|(at, result)| result.read(&mut reading, &format!("results[{at}]")))
        .collect();
    let figures = quantity.zip(value).zip(unit_cost).zip(density).zip(active_matter);
    let ((((quantity, value), unit_cost), density), active_matter) = reading.finish(figures)?;
    Ok(LotReceive {
        number: input.number,
        material,
        quantity,
        value,
        unit_cost,
        supplier: supplier.map(|supplier| supplier.id),
        supplier_lot: input.supplier_lot,
        received_on: input.received_on.map(|day| day.0),
        made_on: input.made_on.map(|day| day.0),
        expires_on: input.expires_on.map(|day| day.0),
        retest_on: input.retest_on.map(|day| day.0),
        density,
        active_matter,
        location: input.location,
        note: input.note,
        more: ReceiptMore {
            ordered,
            ownership: input.ownership.into(),
            owner: input.owner,
            restricted_to,
            heel,
            cost_provisional: input.cost_provisional,
            written: WrittenDates {
                made_on: input.made_on_written,
                expires_on: input.expires_on_written,
                retest_on: input.retest_on_written,
            },
            containers,
            results,
        },
    })
}
