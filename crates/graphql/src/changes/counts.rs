//! Changes of counts, and of how materials are counted.

use app::{CountEnd, CountEnter, CountOpen};
use async_graphql::{Context, InputObject, Object};
use domain::{
    counts::{Count as Row, StockRule as RuleRow},
    people::Capability,
};
use kernel::{
    Percent,
    ids::{CountId, MaterialId},
};

use crate::{
    amounts::QuantityInput,
    caller::{Desk, Find as _, lot_named},
    changes::{Reading, answers, require},
    counts::{Count, CountClass, StockRule, rule_of},
    errors::Result,
    ids::Which,
    scalars::{DateTime, Decimal},
};

/// A session of counting to begin.
#[derive(InputObject)]
pub struct CountOpenInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// Its number; made when nothing is said.
    pub number: Option<String>,
    /// Only lots of these materials; empty for any.
    #[graphql(default)]
    pub materials: Vec<Which>,
    /// Only lots that stand there.
    pub location: Option<String>,
    /// Whether those who count are kept from seeing what stands on the books.
    #[graphql(default = true)]
    pub blind: bool,
}

/// What was found of one lot.
#[derive(InputObject)]
pub struct CountEnterInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The number of the session.
    pub count: String,
    /// The lot.
    pub lot: Which,
    /// What is really there.
    pub found: QuantityInput,
    /// When it was counted, for what is entered later from a sheet; now when nothing is said.
    pub at: Option<DateTime>,
}

/// A session to end.
#[derive(InputObject)]
pub struct CountEndInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The number of the session.
    pub count: String,
    /// Whether the differences are booked; otherwise the session is given up.
    pub approve: bool,
    /// Why the differences are what they are, or why it is given up.
    pub reason: String,
}

/// How a material is counted, and whether it bounds the expiry of what is made with it.
#[derive(InputObject)]
pub struct StockRulePutInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The material.
    pub material: Which,
    /// How closely it is counted; C when nothing is said.
    pub count_class: Option<CountClass>,
    /// Its own tolerance, %, instead of its class's.
    pub count_tolerance_percent: Option<Decimal>,
    /// Whether nothing made with it may last longer than it does.
    #[graphql(default)]
    pub bounds_expiry: bool,
}

answers! {
    CountOpenResult = CountOpenPayload {
        /// The session.
        count: Count
    } of Row: |_, row| Ok(Count(row));
    CountEnterResult = CountEnterPayload {
        /// The session as it now is.
        count: Count
    } of Row: |_, row| Ok(Count(row));
    CountEndResult = CountEndPayload {
        /// The session as it now is.
        count: Count
    } of Row: |_, row| Ok(Count(row));
    StockRulePutResult = StockRulePutPayload {
        /// The rule.
        rule: StockRule
    } of RuleRow: |ctx, row| rule_of(ctx, row);
}

/// Changes of counts.
#[derive(Default)]
pub struct CountChanges;

/// Changes of counts.
#[Object]
impl CountChanges {
    /// Begins a session of counting with the lots that hold something. Takes the right to plan and make. Refused: Taken.
    async fn count_open(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What is counted.")] input: CountOpenInput,
    ) -> Result<CountOpenResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key)?;
        let catalogue = ctx.catalogue()?;
        let materials = input
            .materials
            .iter()
            .enumerate()
            .map(|(at, which)| Ok(catalogue.material(which, &format!("materials[{at}]"))?.id))
            .collect::<Result<Vec<MaterialId>>>()?;
        let read =
            CountOpen { number: input.number, materials, location: input.location, blind: input.blind };
        CountOpenResult::of(ctx, ctx.house()?.count_open(&change, read).await)
    }

    /// Enters what was found of one lot; once more where it lay outside the tolerance. Takes the right to plan and make.
    async fn count_enter(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What was found.")] input: CountEnterInput,
    ) -> Result<CountEnterResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key)?;
        let count = count_named(ctx, &input.count).await?;
        let lot = lot_named(ctx, &input.lot, "lot").await?.id;
        let mut reading = Reading::default();
        let found = reading.take("found", input.found.quantity());
        let read = CountEnter { count, lot, found: reading.finish(found)?, at: input.at.map(|at| at.0) };
        CountEnterResult::of(ctx, ctx.house()?.count_enter(&change, read).await)
    }

    /// Approves a session and books its differences (right to release and reject, by somebody who did not count in it), or gives it up
    /// (right to plan and make). Refused: LotShort.
    async fn count_end(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which session, and how it ends.")] input: CountEndInput,
    ) -> Result<CountEndResult> {
        require(ctx, if input.approve { Capability::ReleaseAndReject } else { Capability::PlanAndMake })?;
        let change = ctx.change(input.request_key)?;
        let count = count_named(ctx, &input.count).await?;
        let read = CountEnd { count, approve: input.approve, reason: input.reason };
        CountEndResult::of(ctx, ctx.house()?.count_end(&change, read).await)
    }

    /// Enters how closely a material is counted, and whether it bounds the expiry of what is made with it. Takes the right to
    /// administer.
    async fn stock_rule_put(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The rule.")] input: StockRulePutInput,
    ) -> Result<StockRulePutResult> {
        require(ctx, Capability::Administer)?;
        let change = ctx.change(input.request_key)?;
        let material = ctx.catalogue()?.material(&input.material, "material")?.id;
        let mut reading = Reading::default();
        let tolerance = reading.optional(
            "countTolerancePercent",
            input.count_tolerance_percent.map(|figure| Percent::from_percent(figure.0)),
        );
        let read = RuleRow {
            material,
            count_class: input.count_class.map(Into::into),
            count_tolerance: reading.finish(tolerance)?,
            bounds_expiry: input.bounds_expiry,
        };
        StockRulePutResult::of(ctx, ctx.house()?.stock_rule_put(&change, read).await)
    }
}

async fn count_named(ctx: &Context<'_>, number: &str) -> Result<CountId> {
    let found = ctx.house()?.count_by_number(ctx.actor()?, number).await?;
    found.map(|count| count.id).ok_or_else(|| app::Error::not_found("count", number).into())
}
