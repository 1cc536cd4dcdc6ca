//! Named costs of making a batch.

use domain::{
    formulas::FormulaVersion,
    making::{MakingCost, MakingCostAmount, WorkTime},
    text::code_key,
};
use kernel::{Currency, Money, UnitPrice};

use crate::{
    StoreError,
    codes::{At, Word},
    rows::code,
};

super::table! {
    /// What `amount` is depends on its kind: millionths of money, milliseconds, or 10⁻⁸ of money.
    cost, "making_costs" {
        #[sea_orm(primary_key, auto_increment = false)]
        version: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        position: i64,
        name: String,
        name_key: String,
        kind: String,
        amount_kind: String,
        amount: i64,
        currency: Option<String>,
        rate: Option<String>,
    }
}

impl cost::Model {
    pub(crate) fn all_of(v: &FormulaVersion) -> Vec<Self> {
        let row = |(cost, position): (&MakingCost, i64)| {
            let (amount_kind, amount, currency, rate) = match &cost.amount {
                MakingCostAmount::PerBatch(money) => {
                    ("per-batch", money.micros(), Some(money.currency()), None)
                }
                MakingCostAmount::Hours { time, rate } => ("hours", time.milliseconds(), None, Some(rate)),
                MakingCostAmount::PerKgCharged(price) => {
                    ("per-kg-charged", price.scaled(), Some(price.currency()), None)
                }
                MakingCostAmount::PerKgOfWaste(price) => {
                    ("per-kg-of-waste", price.scaled(), Some(price.currency()), None)
                }
            };
            Self {
                version: v.id.0,
                position,
                name: cost.name.clone(),
                name_key: code_key(&cost.name),
                kind: cost.kind.column_word().to_owned(),
                amount_kind: amount_kind.to_owned(),
                amount,
                currency: currency.map(code),
                rate: rate.cloned(),
            }
        };
        v.making.costs.iter().zip(1..).map(row).collect()
    }

    pub(crate) fn into_cost(self, at: &At<'_>) -> Result<MakingCost, StoreError> {
        let currency: Option<Currency> = at.text_opt("making costs: currency", self.currency.as_deref())?;
        let amount = match (self.amount_kind.as_str(), currency, self.rate) {
            ("per-batch", Some(currency), None) => {
                MakingCostAmount::PerBatch(Money::from_micros(self.amount, currency))
            }
            ("hours", None, Some(rate)) => {
                MakingCostAmount::Hours { time: WorkTime::from_milliseconds(self.amount), rate }
            }
            ("per-kg-charged", Some(currency), None) => {
                MakingCostAmount::PerKgCharged(UnitPrice::from_scaled(self.amount, currency))
            }
            ("per-kg-of-waste", Some(currency), None) => {
                MakingCostAmount::PerKgOfWaste(UnitPrice::from_scaled(self.amount, currency))
            }
            (other, ..) => {
                return Err(at.corrupt(
                    "making costs: amount_kind",
                    format_args!("“{other}” and its amount make no sense"),
                ));
            }
        };
        Ok(MakingCost { kind: at.word("making costs: kind", &self.kind)?, name: self.name, amount })
    }
}
