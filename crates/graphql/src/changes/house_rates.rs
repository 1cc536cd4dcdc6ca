//! Changes of rates of the house.

use app::HouseRateRecord;
use async_graphql::{Context, InputObject, Object, OneofObject};
use domain::{
    house_rates::{HouseRate as Row, HouseRateAmount},
    people::Capability,
};
use kernel::Percent;

use crate::{
    amounts::MoneyInput,
    caller::Desk,
    changes::{Reading, answers, require},
    errors::Result,
    house_rates::{HouseRate, HouseRateOf},
    scalars::{Date, Decimal},
};

/// A rate of the house, as it is entered. It holds from its day; the one before it is kept.
#[derive(InputObject)]
pub struct HouseRateRecordInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// What formulas and packs call it by. A name known already gets a new rate from the day.
    pub name: String,
    /// What it is of; the same for all rates of a name.
    pub of: HouseRateOf,
    /// How much, in the house's currency.
    pub amount: HouseRateAmountInput,
    /// First day it holds.
    pub from: Date,
    /// Remarks.
    pub note: Option<String>,
}

/// How much a rate of the house is.
#[derive(OneofObject)]
pub enum HouseRateAmountInput {
    /// Money per hour or batch, to at most 8 decimal places. An overhead of nought ends one.
    Stated(MoneyInput),
    /// For an overhead on what labour costs: % of that.
    Percent(Decimal),
    /// For an overhead: what a period costs, over what it normally gives.
    Budget(BudgetInput),
}

/// The cost of a period over its capacity: an idle month does not make the product dearer.
#[derive(InputObject)]
pub struct BudgetInput {
    /// What the period costs.
    pub cost: MoneyInput,
    /// What it normally gives, above nought: hours, batches, or what labour costs.
    pub normal_capacity: Decimal,
    /// What it gave or is to give. It counts only where it is more than the normal capacity.
    pub capacity_used: Option<Decimal>,
}

answers! {
    HouseRateRecordResult = HouseRateRecordPayload {
        /// The rate.
        rate: HouseRate
    } of Row: |_, row| Ok(HouseRate(row));
}

/// Changes of rates of the house.
#[derive(Default)]
pub struct HouseRateChanges;

/// Changes of rates of the house.
#[Object]
impl HouseRateChanges {
    /// Records a rate of the house from a day. Takes the right to administer. Refused: Taken.
    async fn house_rate_record(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The rate.")] input: HouseRateRecordInput,
    ) -> Result<HouseRateRecordResult> {
        require(ctx, Capability::Administer)?;
        let change = ctx.change(input.request_key)?;
        let mut reading = Reading::default();
        let amount = read_amount(&mut reading, input.amount);
        let record = HouseRateRecord {
            name: input.name,
            of: input.of.into(),
            amount: reading.finish(amount)?,
            from: input.from.0,
            note: input.note,
        };
        HouseRateRecordResult::of(ctx, ctx.house()?.house_rate_record(&change, record).await)
    }
}

fn read_amount(reading: &mut Reading, amount: HouseRateAmountInput) -> Option<HouseRateAmount> {
    match amount {
        HouseRateAmountInput::Stated(price) => {
            reading.take("amount.stated", price.unit_price()).map(HouseRateAmount::Stated)
        }
        HouseRateAmountInput::Percent(figure) => {
            reading.take("amount.percent", Percent::from_percent(figure.0)).map(HouseRateAmount::Percent)
        }
        HouseRateAmountInput::Budget(budget) => {
            let cost = reading.take("amount.budget.cost", budget.cost.money())?;
            Some(HouseRateAmount::Budget {
                cost,
                normal_capacity: budget.normal_capacity.0,
                capacity_used: budget.capacity_used.map(|figure| figure.0),
            })
        }
    }
}
