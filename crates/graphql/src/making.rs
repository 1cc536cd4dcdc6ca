//! What making a batch takes beside its ingredients, and how a pack is filled.

use async_graphql::{Context, Enum, Object, SimpleObject};
use domain::making::{
    FillingRun as RunRow, Making as MakingRow, MakingCost as CostRow, MakingCostAmount as Amount,
};

use crate::{
    amounts::{Money, kg, percent},
    caller::Desk,
    errors::Result,
    house_rates::HouseRate,
    scalars::{Date, Decimal},
};

/// Decimal places of hours that were minutes.
const HOUR_PLACES: u32 = 9;

/// What a cost of making is for.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "domain::making::MakingCostKind")]
pub enum MakingCostKind {
    /// People.
    Labour,
    /// Vessel, mixer, energy.
    Machine,
    /// Of vessel and hoses.
    Cleaning,
    /// Of the batch.
    Tests,
    /// Of waste.
    Disposal,
    /// Anything else.
    Other,
}

/// What a cost of making is by.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum MakingCostPer {
    /// Each batch, whatever its size.
    Batch,
    /// The hours of a batch, at a rate of the house.
    Time,
    /// Each kilogram charged.
    KgCharged,
    /// Each kilogram that has to be disposed of.
    KgOfWaste,
}

/// What leaves a batch beside process loss and heel, and the named costs of making it.
#[derive(SimpleObject)]
pub struct Making {
    /// Share of what is charged that leaves as vapour, %: mass without product, and no waste.
    pub evaporation_percent: Decimal,
    /// Bulk taken for tests from each batch, kg.
    pub samples_kg: Decimal,
    /// Bulk kept back from each batch, kg.
    pub retains_kg: Decimal,
    /// Named costs of one batch, beside the one cost per batch of the version.
    pub costs: Vec<MakingCost>,
}

impl Making {
    pub(crate) fn of(making: &MakingRow) -> Self {
        Self {
            evaporation_percent: percent(making.evaporation),
            samples_kg: kg(making.samples),
            retains_kg: kg(making.retains),
            costs: making.costs.iter().cloned().map(MakingCost).collect(),
        }
    }
}

/// A named cost of one batch.
pub struct MakingCost(CostRow);

/// A named cost of one batch: money for something, or time at a rate of the house.
#[Object]
impl MakingCost {
    /// What it is called.
    async fn name(&self) -> &str {
        &self.0.name
    }

    /// What it is for.
    async fn kind(&self) -> MakingCostKind {
        self.0.kind.into()
    }

    /// What it is by.
    async fn per(&self) -> MakingCostPer {
        match self.0.amount {
            Amount::PerBatch(_) => MakingCostPer::Batch,
            Amount::Hours { .. } => MakingCostPer::Time,
            Amount::PerKgCharged(_) => MakingCostPer::KgCharged,
            Amount::PerKgOfWaste(_) => MakingCostPer::KgOfWaste,
        }
    }

    /// The money; null for time at a rate.
    async fn amount(&self) -> Option<Money> {
        match self.0.amount {
            Amount::PerBatch(money) => Some(money.into()),
            Amount::PerKgCharged(price) | Amount::PerKgOfWaste(price) => Some(price.into()),
            Amount::Hours { .. } => None,
        }
    }

    /// Hours of one batch, all people or machines together, rounded half to even to 9 places; null for money.
    async fn hours(&self) -> Result<Option<Decimal>> {
        match &self.0.amount {
            Amount::Hours { time, .. } => Decimal::rounded(&time.hours(), HOUR_PLACES).map(Some),
            _ => Ok(None),
        }
    }

    /// The name of the rate of the house the time is paid at; null for money.
    async fn rate_name(&self) -> Option<&str> {
        self.0.rate()
    }

    /// That rate as it holds on a day; null when it does not hold yet, and for money.
    async fn rate(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The day; today when nothing is said.")] on: Option<Date>,
    ) -> Result<Option<HouseRate>> {
        let day = ctx.day(on)?;
        let catalogue = ctx.catalogue()?;
        let found = self.0.rate().and_then(|name| catalogue.house_rate_on(name, day));
        Ok(found.cloned().map(HouseRate))
    }

    /// The same in words: "1.5 h at “bench”", "40 GBP per batch".
    async fn text(&self) -> String {
        self.0.amount.to_string()
    }
}

/// How a pack is filled.
#[derive(SimpleObject)]
pub struct FillingRun {
    /// Units kept back from each batch: first ones off the line, for tests, retains. They are filled and use components; those that
    /// are for sale bear their cost.
    pub units_kept_back: Decimal,
    /// Units filled and labelled in an hour; null where line labour is entered per unit.
    pub units_per_hour: Option<Decimal>,
    /// People at the line at once; null where line labour is entered per unit.
    pub people: Option<Decimal>,
    /// The name of the rate of the house that they cost; null when nobody is counted.
    pub labour_rate: Option<String>,
    /// The name of the rate of the house that the line costs; null when it is not counted.
    pub machine_rate: Option<String>,
    /// Setting up and cleaning the line for one run; null when nobody has entered it.
    pub changeover: Option<Money>,
}

impl FillingRun {
    pub(crate) fn of(run: &RunRow) -> Self {
        let speed = run.speed.as_ref();
        Self {
            units_kept_back: Decimal::whole(run.units_kept_back),
            units_per_hour: speed.map(|speed| Decimal(speed.units_per_hour.pieces())),
            people: speed.map(|speed| Decimal(speed.people.pieces())),
            labour_rate: speed.and_then(|speed| speed.labour_rate.clone()),
            machine_rate: speed.and_then(|speed| speed.machine_rate.clone()),
            changeover: run.changeover.map(Into::into),
        }
    }
}
