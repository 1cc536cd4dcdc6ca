//! The house itself, who asks, and the questions over the whole of it.

use async_graphql::{Context, Enum, Object, SimpleObject};

use crate::{
    caller::Desk,
    errors::Result,
    ids::Which,
    outlook::Outlook,
    run_check::{RunCheck, RunCheckInput, RunChoice},
    scalars::{CurrencyCode, Date, DateTime, Decimal},
    scenarios::ChangeInput,
    shelf::Shelf,
    what_if::WhatIf,
};

/// What a role allows.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "domain::people::Capability")]
pub enum Capability {
    /// Read everything.
    Look,
    /// Write, allocate, weigh and complete tickets; write drafts; count.
    PlanAndMake,
    /// Quotations and receipts.
    Buy,
    /// Release, hold and reject lots; overrule what stands against one, with a reason.
    ReleaseAndReject,
    /// Approve and retire formula versions.
    ApproveFormulas,
    /// Reversals, imports, tokens, the audit trail.
    Administer,
}

/// Who asks.
#[derive(SimpleObject)]
pub struct Asker {
    /// The name that stands in the audit trail.
    pub name: String,
    /// What they may do.
    pub may: Vec<Capability>,
}

/// Settings and state of the site.
#[derive(SimpleObject)]
pub struct House {
    /// The house's currency: stock is valued and costs are given in it.
    pub currency: CurrencyCode,
    /// The site's time zone, by its IANA name; business dates are days in it.
    pub time_zone: String,
    /// The business day at the site.
    pub today: Date,
    /// The instant of the answer.
    pub now: DateTime,
    /// Days before a quotation's end from which it counts as lapsing soon.
    pub lapses_soon_days: u32,
    /// Grows with each change of materials, suppliers, quotations, rates, formulas and packs. It is one and the same for the whole
    /// answer to a query.
    pub catalogue_version: Decimal,
    /// The version of the programme.
    pub program_version: String,
}

/// The house, and the questions over the whole of it.
#[derive(Default)]
pub struct HouseQuery;

/// The house, and the questions over the whole of it.
#[Object]
impl HouseQuery {
    /// Who asks, and what they may do.
    async fn asker(&self, ctx: &Context<'_>) -> Result<Asker> {
        let actor = ctx.actor()?;
        let may = actor.capabilities.iter().copied().map(Into::into).collect();
        Ok(Asker { name: actor.name.clone(), may })
    }

    /// Settings and state of the site.
    async fn house(&self, ctx: &Context<'_>) -> Result<House> {
        let (house, catalogue) = (ctx.house()?, ctx.catalogue()?);
        let settings = house.settings();
        Ok(House {
            currency: CurrencyCode(settings.currency),
            time_zone: settings.time_zone.name().to_owned(),
            today: Date(house.today()),
            now: DateTime(house.now()),
            lapses_soon_days: settings.lapses_soon_days,
            catalogue_version: Decimal::whole(catalogue.version),
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
        })
    }

    /// The stock as it stands, by material and lot, and what of it can be used on a day.
    #[graphql(complexity = "crate::limits::question(100 * child_complexity)")]
    async fn shelf(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only this material.")] material: Option<Which>,
        #[graphql(desc = "The day; today when nothing is said.")] on: Option<Date>,
        #[graphql(
            desc = "What is to be made, by the material made: lots kept for other products are then not usable."
        )]
        product: Option<Which>,
    ) -> Result<Shelf> {
        crate::shelf::shelf(ctx, material, ctx.day(on)?, product).await
    }

    /// Whether a run can be made on a day, from which lots, what is short, what to buy, how much could be made at most.
    #[graphql(complexity = "crate::limits::question(child_complexity)")]
    async fn run_check(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The run.")] input: RunCheckInput,
    ) -> Result<RunCheck> {
        crate::run_check::ask(ctx, input).await
    }

    /// Which of several runs can be made: each alone, and one after the other in the order they are asked in, at most 20.
    #[graphql(complexity = "crate::limits::question(child_complexity)")]
    async fn run_checks(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The runs.")] inputs: Vec<RunCheckInput>,
    ) -> Result<Vec<RunChoice>> {
        crate::run_check::ask_several(ctx, inputs).await
    }

    /// What assumed changes would do to costs, margins, planned tickets and lots. Nothing is written.
    #[graphql(complexity = "crate::limits::question(child_complexity)")]
    async fn what_if(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The changes, at most 100, laid over the house in their order.")] changes: Vec<
            ChangeInput,
        >,
        #[graphql(desc = "The day asked; today when nothing is said.")] as_of: Option<Date>,
        #[graphql(desc = "The least margin a pack should leave, %; packs below it are marked.")]
        margin_floor_percent: Option<Decimal>,
    ) -> Result<WhatIf> {
        crate::scenarios::ask(ctx, changes, as_of, margin_floor_percent).await
    }

    /// What the coming weeks do to the shelf: open tickets day by day, what runs short, what is stranded.
    #[graphql(complexity = "crate::limits::question(child_complexity)")]
    async fn outlook(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The last day looked at; that of the last open ticket when nothing is said.")]
        until: Option<Date>,
        #[graphql(
            desc = "Assumed changes, laid over the house in their order; nothing is written.",
            default
        )]
        changes: Vec<ChangeInput>,
    ) -> Result<Outlook> {
        let until = until.map(|day| day.0);
        if changes.is_empty() {
            return Ok(Outlook(ctx.house()?.outlook(ctx.actor()?, until).await?));
        }
        let scenario = engine::Scenario {
            changes: crate::scenarios::read(ctx, changes).await?,
            ..engine::Scenario::default()
        };
        Ok(Outlook(ctx.house()?.outlook_over(ctx.actor()?, &scenario, until).await?))
    }
}
