//! What is entered of making a batch and of filling a pack.

use app::PackFillingWrite;
use async_graphql::{Context, InputObject, Object, OneofObject};
use domain::{
    making::{FillingRun, LineSpeed, Making, MakingCost, MakingCostAmount, WorkTime},
    packs::Pack as Row,
    people::Capability,
};
use kernel::{AmountError, Count, Mass, Percent};
use std::sync::Arc;

use crate::{
    amounts::{MoneyInput, QuantityInput},
    caller::{Desk, Find as _},
    changes::{Reading, answers, require},
    errors::Result,
    ids::Which,
    making::MakingCostKind,
    packs::Pack,
    scalars::Decimal,
};

/// What leaves a batch beside process loss and heel, and the named costs of making it.
#[derive(InputObject)]
pub struct MakingInput {
    /// Share of what is charged that leaves as vapour, %; nought when nothing is said.
    pub evaporation_percent: Option<Decimal>,
    /// Bulk taken for tests from each batch, a mass; nought when nothing is said.
    pub samples: Option<QuantityInput>,
    /// Bulk kept back from each batch, a mass; nought when nothing is said.
    pub retains: Option<QuantityInput>,
    /// Named costs of one batch, at most 50, in the order they are shown.
    #[graphql(default)]
    pub costs: Vec<MakingCostInput>,
}

/// A named cost of one batch.
#[derive(InputObject)]
pub struct MakingCostInput {
    /// What it is called, unique within the version: mixing, vessel wash.
    pub name: String,
    /// What it is for.
    pub kind: MakingCostKind,
    /// How much.
    pub amount: MakingCostAmountInput,
}

/// How much a cost of making comes to.
#[derive(OneofObject)]
pub enum MakingCostAmountInput {
    /// Money for every batch, whatever its size, in the house's currency.
    PerBatch(MoneyInput),
    /// Time at a rate of the house.
    Time(MakingTimeInput),
    /// Money for each kilogram charged, to at most 8 decimal places.
    PerKgCharged(MoneyInput),
    /// Money for each kilogram that has to be disposed of: process loss, heel and samples; for a pack also what is lost or left over
    /// at the filler.
    PerKgOfWaste(MoneyInput),
}

/// Time at a rate of the house.
#[derive(InputObject)]
pub struct MakingTimeInput {
    /// For one batch, all people or machines together.
    pub time: WorkTimeInput,
    /// The name of a labour or machine rate of the house.
    pub rate: String,
}

/// A time of work, to the millisecond.
#[derive(OneofObject)]
pub enum WorkTimeInput {
    /// Hours.
    Hours(Decimal),
    /// Minutes.
    Minutes(Decimal),
}

/// Reads what is entered of making; the inner `None` when nothing is.
#[allow(clippy::option_option, reason = "left out, wrong, and given are three things")]
pub(super) fn read_making(reading: &mut Reading, input: Option<MakingInput>) -> Option<Option<Making>> {
    let Some(input) = input else { return Some(None) };
    let evaporation = reading.optional(
        "making.evaporationPercent",
        input.evaporation_percent.map(|figure| Percent::from_percent(figure.0)),
    );
    let samples = reading.optional("making.samples", input.samples.map(QuantityInput::mass));
    let retains = reading.optional("making.retains", input.retains.map(QuantityInput::mass));
    let mut costs = Vec::with_capacity(input.costs.len());
    for (at, cost) in input.costs.into_iter().enumerate() {
        let amount = read_cost(reading, &format!("making.costs[{at}].amount"), cost.amount);
        if let Some(amount) = amount {
            costs.push(MakingCost { name: cost.name, kind: cost.kind.into(), amount });
        }
    }
    let ((evaporation, samples), retains) = evaporation.zip(samples).zip(retains)?;
    Some(Some(Making {
        evaporation: evaporation.unwrap_or_default(),
        samples: samples.unwrap_or(Mass::ZERO),
        retains: retains.unwrap_or(Mass::ZERO),
        costs,
    }))
}

fn read_cost(reading: &mut Reading, place: &str, amount: MakingCostAmountInput) -> Option<MakingCostAmount> {
    match amount {
        MakingCostAmountInput::PerBatch(money) => {
            reading.take(&format!("{place}.perBatch"), money.money()).map(MakingCostAmount::PerBatch)
        }
        MakingCostAmountInput::Time(MakingTimeInput { time, rate }) => {
            let time = match time {
                WorkTimeInput::Hours(hours) => WorkTime::from_hours(hours.0),
                WorkTimeInput::Minutes(minutes) => WorkTime::from_minutes(minutes.0),
            };
            let time = reading.take(&format!("{place}.time.time"), time)?;
            Some(MakingCostAmount::Hours { time, rate })
        }
        MakingCostAmountInput::PerKgCharged(price) => reading
            .take(&format!("{place}.perKgCharged"), price.unit_price())
            .map(MakingCostAmount::PerKgCharged),
        MakingCostAmountInput::PerKgOfWaste(price) => reading
            .take(&format!("{place}.perKgOfWaste"), price.unit_price())
            .map(MakingCostAmount::PerKgOfWaste),
    }
}

/// How a pack is filled, as it is entered: all of it anew.
#[derive(InputObject)]
pub struct PackFillingWriteInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The pack.
    pub pack: Which,
    /// Filled beyond the declared quantity, % of it; as it is when nothing is said.
    pub overfill_percent: Option<Decimal>,
    /// Share of the liquid lost at the filler, %; as it is when nothing is said.
    pub filling_loss_percent: Option<Decimal>,
    /// Units kept back from each batch, a whole number: first ones off the line, for tests, retains; nought when nothing is said.
    pub units_kept_back: Option<Decimal>,
    /// What filling and labelling takes; nothing is counted when nothing is said.
    pub labour: Option<FillingLabourInput>,
    /// Setting up and cleaning the line for one run, in the house's currency.
    pub changeover: Option<MoneyInput>,
}

/// What filling and labelling takes.
#[derive(OneofObject)]
pub enum FillingLabourInput {
    /// Money per unit, in the house's currency.
    PerUnit(MoneyInput),
    /// Time, at rates of the house.
    Speed(LineSpeedInput),
}

/// How fast a filling line goes and who stands at it.
#[derive(InputObject)]
pub struct LineSpeedInput {
    /// Units filled and labelled in an hour, above nought, to at most 3 decimal places.
    pub units_per_hour: Decimal,
    /// People at the line at once; one when nothing is said.
    pub people: Option<Decimal>,
    /// The name of the rate of the house that they cost. At least one of the two rates is needed.
    pub labour_rate: Option<String>,
    /// The name of the rate of the house that the line costs.
    pub machine_rate: Option<String>,
}

answers! {
    PackFillingWriteResult = PackFillingWritePayload {
        /// The pack.
        pack: Pack
    } of Row: |_, row| Ok(Pack(Arc::new(row)));
}

/// Changes of packs.
#[derive(Default)]
pub struct PackChanges;

/// Changes of packs.
#[Object]
impl PackChanges {
    /// Writes anew how a pack is filled: overfill, loss, units kept back, labour, changeover. Costs follow at once; the audit trail
    /// keeps what it was. Takes the right to administer. Refused: never.
    async fn pack_filling_write(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The pack and how it is filled.")] input: PackFillingWriteInput,
    ) -> Result<PackFillingWriteResult> {
        require(ctx, Capability::Administer)?;
        let change = ctx.change(input.request_key.clone())?;
        let read = filling(ctx, input)?;
        PackFillingWriteResult::of(ctx, ctx.house()?.pack_filling_write(&change, read).await)
    }
}

fn filling(ctx: &Context<'_>, input: PackFillingWriteInput) -> Result<PackFillingWrite> {
    let pack = ctx.catalogue()?.pack_named(&input.pack, "pack")?.id;
    let mut reading = Reading::default();
    let overfill = reading
        .optional("overfillPercent", input.overfill_percent.map(|figure| Percent::from_percent(figure.0)));
    let filling_loss = reading.optional(
        "fillingLossPercent",
        input.filling_loss_percent.map(|figure| Percent::from_percent(figure.0)),
    );
    let kept_back = input.units_kept_back.map(|figure| {
        let whole = if figure.0.is_integer() { u32::try_from(figure.0).ok() } else { None };
        whole.ok_or("a whole number of units, not below nought")
    });
    let kept_back = reading.optional("unitsKeptBack", kept_back);
    let changeover = reading.optional("changeover", input.changeover.map(MoneyInput::money));
    let labour = match input.labour {
        None => Some((None, None)),
        Some(FillingLabourInput::PerUnit(money)) => {
            reading.take("labour.perUnit", money.money()).map(|money| (Some(money), None))
        }
        Some(FillingLabourInput::Speed(speed)) => {
            read_speed(&mut reading, speed).map(|speed| (None, Some(speed)))
        }
    };
    let read = overfill.zip(filling_loss).zip(kept_back).zip(changeover).zip(labour);
    let ((((overfill, filling_loss), kept_back), changeover), (line_labour, speed)) = reading.finish(read)?;
    let run = FillingRun { units_kept_back: kept_back.unwrap_or_default(), speed, changeover };
    Ok(PackFillingWrite { pack, overfill, filling_loss, line_labour, run })
}

fn read_speed(reading: &mut Reading, speed: LineSpeedInput) -> Option<LineSpeed> {
    let count = |figure: Decimal| -> std::result::Result<Count, AmountError> { Count::from_pieces(figure.0) };
    let units_per_hour = reading.take("labour.speed.unitsPerHour", count(speed.units_per_hour));
    let people = reading.optional("labour.speed.people", speed.people.map(count));
    units_per_hour.zip(people).map(|(units_per_hour, people)| LineSpeed {
        units_per_hour,
        people: people.unwrap_or(Count::from_thousandths(1_000)),
        labour_rate: speed.labour_rate,
        machine_rate: speed.machine_rate,
    })
}
