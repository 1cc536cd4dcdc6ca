//! Settling costs that were estimates.

use app::LotCostSettle;
use async_graphql::{Context, InputObject, Object};
use domain::{corrections::CostCorrection as Row, people::Capability};

use crate::{
    amounts::MoneyInput,
    caller::{Desk, lot_named},
    changes::{Reading, answers, require},
    corrections::CostCorrection,
    errors::Result,
    ids::Which,
};

/// What a lot cost in the end.
#[derive(InputObject)]
pub struct LotCostSettleInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The lot.
    pub lot: Which,
    /// What all that was received cost landed, in the house's currency.
    pub value: MoneyInput,
    /// Why: the invoice's reference.
    pub reason: String,
}

answers! {
    LotCostSettleResult = LotCostSettlePayload {
        /// What it changed, the lot first and then what was made of it; empty when the estimate was right.
        corrections: Vec<CostCorrection>
    } of Vec<Row>: |_, rows| Ok(rows.into_iter().map(CostCorrection).collect());
}

/// Settling costs that were estimates.
#[derive(Default)]
pub struct CorrectionChanges;

/// Settling costs that were estimates.
#[Object]
impl CorrectionChanges {
    /// Settles what a lot cost. Everything taken from it gets its exact share of the difference, down to finished goods; the ledger stays
    /// as posted. Takes the right to buy.
    async fn lot_cost_settle(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The lot and what it cost.")] input: LotCostSettleInput,
    ) -> Result<LotCostSettleResult> {
        require(ctx, Capability::Buy)?;
        let change = ctx.change(input.request_key)?;
        let lot = lot_named(ctx, &input.lot, "lot").await?.id;
        let mut reading = Reading::default();
        let value = reading.take("value", input.value.money());
        let read = LotCostSettle { lot, value: reading.finish(value)?, reason: input.reason };
        LotCostSettleResult::of(ctx, ctx.house()?.lot_cost_settle(&change, read).await)
    }
}
