//! Scenarios that are kept: named, dated, run again, with what changed since.

use async_graphql::{Context, InputObject, Object, SimpleObject};
use domain::people::Capability;
use engine::{Scenario, what_if as answer};
use kernel::Percent;

use crate::{
    caller::Desk,
    changes::{answers, require},
    errors::Result,
    scalars::{Date, DateTime, Decimal},
    scenarios::{ChangeInput, parts_of, read},
    what_if::WhatIf,
};

/// A scenario that is kept.
pub struct KeptScenario(domain::scenarios::KeptScenario);

/// A scenario that is kept under a name, with the answer it had. None is ever changed; kept again under its name it is the next of that
/// name.
#[Object]
impl KeptScenario {
    /// What it is called.
    async fn name(&self) -> &str {
        &self.0.name
    }

    /// How often it has been kept under that name, this time counted.
    async fn number(&self) -> u32 {
        self.0.number
    }

    /// The day it was asked for.
    async fn as_of(&self) -> Date {
        Date(self.0.as_of)
    }

    /// Who kept it.
    async fn kept_by(&self) -> &str {
        &self.0.kept_by
    }

    /// When.
    async fn kept_at(&self) -> DateTime {
        self.0.kept_at.into()
    }

    /// The version of the catalogue it was answered from.
    async fn catalogue_version(&self) -> Decimal {
        Decimal::whole(self.0.catalogue_version)
    }

    /// The changes, as JSON that `stillroom what-if` and later versions read: things by their identities, decimals as strings.
    async fn changes_json(&self) -> &str {
        &self.0.changes
    }

    /// Runs it again, and says what changed since it was kept. Nothing is written.
    #[graphql(complexity = "crate::limits::question(child_complexity)")]
    async fn run(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The day asked; today when nothing is said.")] as_of: Option<Date>,
    ) -> Result<ScenarioRun> {
        let parts = parts_of(ctx.look_ahead().field("whatIf"));
        let house = ctx.house()?;
        let run = house.scenario_run(ctx.actor()?, self.0.clone(), as_of.map(|day| day.0), parts).await?;
        Ok(ScenarioRun { answer: WhatIf(run.answer), since: run.since })
    }
}

/// A kept scenario run again.
pub struct ScenarioRun {
    answer: WhatIf,
    since: Vec<answer::Since>,
}

/// A kept scenario run again.
#[Object]
impl ScenarioRun {
    /// The answer now.
    async fn what_if(&self) -> &WhatIf {
        &self.answer
    }

    /// What is another than when the scenario was kept; empty when nothing is.
    async fn since(&self) -> Vec<Since> {
        self.since.iter().map(Since::of).collect()
    }
}

/// One thing that is another than when the scenario was kept. Figures are rounded as they are printed: what prints alike is alike.
#[derive(SimpleObject)]
pub struct Since {
    /// What, in words: `cost as it is of HW-500`, `yearly effect`.
    pub what: String,
    /// When it was kept; null when it was not hit then.
    pub was: Option<String>,
    /// Now; null when it is no longer hit.
    pub is: Option<String>,
}

impl Since {
    fn of(since: &answer::Since) -> Self {
        Self { what: since.what.clone(), was: since.was.clone(), is: since.is.clone() }
    }
}

/// Questions about kept scenarios.
#[derive(Default)]
pub struct KeptQuery;

/// Questions about kept scenarios.
#[Object]
impl KeptQuery {
    /// The scenarios that are kept, the last of each name, by name.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn kept_scenarios(&self, ctx: &Context<'_>) -> Result<Vec<KeptScenario>> {
        let found = ctx.house()?.scenarios_list(ctx.actor()?).await?;
        Ok(found.into_iter().map(KeptScenario).collect())
    }

    /// The scenario last kept under a name, letter case aside.
    async fn kept_scenario(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Its name.")] name: String,
    ) -> Result<KeptScenario> {
        Ok(KeptScenario(ctx.house()?.scenario_by_name(ctx.actor()?, &name).await?))
    }
}

/// A scenario to be kept.
#[derive(InputObject)]
pub struct ScenarioKeepInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// What it is to be called. One of that name that is kept already stays, and this is its next.
    pub name: String,
    /// The changes, at most 100, laid over the house in their order.
    pub changes: Vec<ChangeInput>,
    /// The day asked; today when nothing is said.
    pub as_of: Option<Date>,
    /// The least margin a pack should leave, %.
    pub margin_floor_percent: Option<Decimal>,
}

answers! {
    ScenarioKeepResult = ScenarioKeepPayload {
        /// The scenario as it is kept.
        scenario: KeptScenario
    } of domain::scenarios::KeptScenario: |_, kept| Ok(KeptScenario(kept));
}

/// Changes of kept scenarios.
#[derive(Default)]
pub struct KeptChanges;

/// Changes of kept scenarios.
#[Object]
impl KeptChanges {
    /// Keeps a scenario under a name, with the answer it has now. Takes the right to plan and make. Refused: never.
    async fn scenario_keep(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The name and the changes.")] input: ScenarioKeepInput,
    ) -> Result<ScenarioKeepResult> {
        require(ctx, Capability::PlanAndMake)?;
        let mut scenario = Scenario { changes: read(ctx, input.changes).await?, ..Scenario::default() };
        if let Some(floor) = input.margin_floor_percent {
            let floor = Percent::from_percent(floor.0);
            scenario.margin_floor =
                Some(floor.map_err(|error| app::Error::invalid("input.marginFloorPercent", error))?);
        }
        let change = ctx.change(input.request_key)?;
        let keep = app::ScenarioKeep { name: input.name, scenario, as_of: input.as_of.map(|day| day.0) };
        ScenarioKeepResult::of(ctx, ctx.house()?.scenario_keep(&change, keep).await)
    }
}
