//! Rates of the house: what an hour costs, and the overheads every batch bears a part of.

use async_graphql::{Context, Enum, ID, Object, SimpleObject};
use domain::{house_rates::HouseRateAmount as Amount, text::code_key};

use crate::{
    amounts::{Money, percent},
    caller::Desk,
    errors::Result,
    ids::global_id,
    pages::{Listed, Paging, page_of},
    scalars::{Date, Decimal},
};

/// Decimal places of rates that were worked out.
const RATE_PLACES: u32 = 8;

/// What a rate of the house is of.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "domain::house_rates::HouseRateOf")]
pub enum HouseRateOf {
    /// One hour of one person.
    LabourHour,
    /// One hour of a machine.
    MachineHour,
    /// Overhead: on each hour of labour.
    OverheadPerLabourHour,
    /// Overhead: on each hour of a machine.
    OverheadPerMachineHour,
    /// Overhead: on each batch.
    OverheadPerBatch,
    /// Overhead: on what labour costs.
    OverheadOnLabour,
}

/// The cost of a period over its capacity.
#[derive(SimpleObject)]
pub struct Budget {
    /// What the period costs.
    pub cost: Money,
    /// What it normally gives: hours, batches, or what labour costs.
    pub normal_capacity: Decimal,
    /// What it gave or is to give; null for the normal. It counts only where it is more than that.
    pub capacity_used: Option<Decimal>,
}

/// A rate of the house.
#[derive(Clone)]
pub struct HouseRate(pub domain::house_rates::HouseRate);

/// A rate of the house: it holds from a day until another of its name takes its place. History is kept, never overwritten.
#[Object]
impl HouseRate {
    /// The global id.
    pub(crate) async fn id(&self) -> ID {
        global_id(self.0.id)
    }

    /// What formulas and packs call it by.
    async fn name(&self) -> &str {
        &self.0.name
    }

    /// What it is of.
    async fn of(&self) -> HouseRateOf {
        self.0.of.into()
    }

    /// Per hour or batch as entered; null when it is entered otherwise.
    async fn amount(&self) -> Option<Money> {
        match &self.0.amount {
            Amount::Stated(price) => Some((*price).into()),
            _ => None,
        }
    }

    /// Of what labour costs, %, as entered; null when it is entered otherwise.
    #[graphql(name = "percent")]
    async fn percent_of_labour(&self) -> Option<Decimal> {
        match &self.0.amount {
            Amount::Percent(figure) => Some(percent(*figure)),
            _ => None,
        }
    }

    /// The cost of a period over its capacity, as entered; null when it is entered otherwise.
    async fn budget(&self) -> Option<Budget> {
        match &self.0.amount {
            Amount::Budget { cost, normal_capacity, capacity_used } => Some(Budget {
                cost: (*cost).into(),
                normal_capacity: Decimal(*normal_capacity),
                capacity_used: capacity_used.map(Decimal),
            }),
            _ => None,
        }
    }

    /// What it comes to: money of the house's currency for each hour or batch, or of each unit of money that labour costs; rounded
    /// half to even to 8 places.
    async fn rate(&self) -> Result<Decimal> {
        Decimal::rounded(&self.0.rate()?, RATE_PLACES)
    }

    /// First day it holds.
    async fn from(&self) -> Date {
        Date(self.0.from)
    }

    /// Last day it holds; null until replaced.
    async fn until(&self, ctx: &Context<'_>) -> Result<Option<Date>> {
        let catalogue = ctx.catalogue()?;
        let key = code_key(&self.0.name);
        let later = catalogue
            .house_rates()
            .filter(|rate| code_key(&rate.name) == key && rate.from > self.0.from)
            .map(|rate| rate.from)
            .min();
        Ok(later.and_then(|day| day.pred_opt()).map(Date))
    }

    /// Remarks.
    async fn note(&self) -> Option<&str> {
        self.0.note.as_deref()
    }
}

/// Rates of the house.
#[derive(Default)]
pub struct HouseRatesQuery;

/// Rates of the house.
#[Object]
impl HouseRatesQuery {
    /// Rates of the house with their history, by name and day.
    #[graphql(complexity = "crate::limits::page(first, last, child_complexity)")]
    #[allow(clippy::too_many_arguments, reason = "a connection field has four arguments before its own")]
    async fn house_rates(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only those that hold on this day: one of each name.")] on: Option<Date>,
        #[graphql(desc = "Only those of this name, letter case aside.")] name: Option<String>,
        #[graphql(desc = "Rows after this cursor.")] after: Option<String>,
        #[graphql(desc = "Rows before this cursor.")] before: Option<String>,
        #[graphql(desc = "At most so many rows from the front, 1 to 100; 20 when nothing is said.")]
        first: Option<i32>,
        #[graphql(desc = "At most so many rows from the back, 1 to 100.")] last: Option<i32>,
    ) -> Result<Listed<HouseRate>> {
        let paging = Paging::read("houseRates", after.as_deref(), before.as_deref(), first, last)?;
        let catalogue = ctx.catalogue()?;
        let name = name.as_deref().map(code_key);
        let rows: Vec<_> = catalogue
            .house_rates()
            .filter(|rate| name.as_ref().is_none_or(|name| code_key(&rate.name) == *name))
            .filter(|rate| {
                on.is_none_or(|on| {
                    catalogue.house_rate_on(&rate.name, on.0).is_some_and(|found| found.id == rate.id)
                })
            })
            .collect();
        // No name holds the separator, so the texts stand in the order of the rows.
        let key = |rate: &&domain::house_rates::HouseRate| format!("{}\0{}", code_key(&rate.name), rate.from);
        Ok(page_of("houseRates", &paging, &rows, key, |rate| HouseRate((*rate).clone())))
    }
}
