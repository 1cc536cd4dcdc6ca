//! Scenarios that are kept: named, dated, run again, with what changed since.

use chrono::NaiveDate;
use domain::{
    people::{Actor, Capability},
    scenarios::KeptScenario,
    text,
};
use engine::{
    Scenario,
    what_if::{Parts, Remembered, Since, WhatIf},
};
use kernel::{ids::ScenarioId, limits::NAME_CHARS_MAX};
use serde::{Deserialize, Serialize};

use crate::{App, Change, Error, change::Begun, require};

/// A scenario to be kept.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct ScenarioKeep {
    /// What it is to be called. One of that name that is kept already stays, and this is its next.
    pub name: String,
    /// The changes.
    pub scenario: Scenario,
    /// The day it is asked for; today when empty.
    pub as_of: Option<NaiveDate>,
}

/// A kept scenario run again.
#[derive(Debug, Clone)]
pub struct ScenarioRun {
    /// As it was kept.
    pub kept: KeptScenario,
    /// The changes.
    pub scenario: Scenario,
    /// The answer as of today, or the day asked.
    pub answer: WhatIf,
    /// What is another than when it was kept.
    pub since: Vec<Since>,
}

impl App {
    /// Keeps a scenario under a name, with the answer it has now. Nothing else is written.
    ///
    /// # Errors
    /// [`Error::Invalid`] for a name or changes that cannot be; [`Error::Busy`] when somebody else keeps one of that name at once.
    pub async fn scenario_keep(
        &self,
        change: &Change<'_>,
        input: ScenarioKeep,
    ) -> Result<KeptScenario, Error> {
        require(change.actor, Capability::PlanAndMake)?;
        let name = input.name.trim().to_owned();
        if name.is_empty() || name.chars().count() > NAME_CHARS_MAX {
            let told = format!("a scenario needs a name of at most {NAME_CHARS_MAX} characters");
            return Err(Error::invalid("name", told));
        }
        text::note("a name", &name).map_err(|error| Error::invalid("name", error))?;
        let as_of = input.as_of.unwrap_or_else(|| self.today());
        // Asked before the transaction begins: a question may take long and needs no lock.
        let answer = self.what_if_parts(change.actor, &input.scenario, as_of, Parts::PLAIN).await?;
        let remembered = Remembered::of(&answer).map_err(|error| Error::invalid("changes", error))?;
        let mut work = match self.begin(change, Capability::PlanAndMake, "scenario-keep", &input).await? {
            Begun::Repeat(kept) => return Ok(kept),
            Begun::Fresh(work) => work,
        };
        let before = store::scenarios::scenario_by_name(&work.tx, &name).await?;
        let kept = KeptScenario {
            id: ScenarioId::new(),
            name,
            number: before.as_ref().map_or(0, |before| before.number).saturating_add(1),
            changes: serde_json::to_string(&input.scenario)?,
            as_of,
            kept_by: work.by.clone(),
            kept_at: work.at,
            catalogue_version: answer.catalogue_version,
            answer: serde_json::to_string(&remembered)?,
        };
        store::scenarios::scenario_insert(&work.tx, &kept).await.map_err(|error| {
            if error.is_taken(store::constraints::SCENARIO_NUMBER) { Error::Busy } else { error.into() }
        })?;
        work.note("scenario", kept.id, before.as_ref(), &kept, None)?;
        work.finish(kept).await
    }

    /// The scenarios that are kept, the last of each name, by name.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn scenarios_list(&self, actor: &Actor) -> Result<Vec<KeptScenario>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::scenarios::scenarios_list(self.store()).await?)
    }

    /// A kept scenario, by identity.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn scenario_get(&self, actor: &Actor, id: ScenarioId) -> Result<Option<KeptScenario>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::scenarios::scenario_get(self.store(), id).await?)
    }

    /// The scenario last kept under a name.
    ///
    /// # Errors
    /// [`Error::Forbidden`], [`Error::NotFound`], or when the database cannot be read.
    pub async fn scenario_by_name(&self, actor: &Actor, name: &str) -> Result<KeptScenario, Error> {
        require(actor, Capability::Look)?;
        let found = store::scenarios::scenario_by_name(self.store(), name).await?;
        found.ok_or_else(|| Error::not_found("scenario", name))
    }

    /// Runs a kept scenario again and says what changed since it was kept. Nothing is written.
    ///
    /// # Errors
    /// As [`App::what_if`]; what the changes name may be gone since.
    pub async fn scenario_run(
        &self,
        actor: &Actor,
        kept: KeptScenario,
        as_of: Option<NaiveDate>,
        parts: Parts,
    ) -> Result<ScenarioRun, Error> {
        let scenario: Scenario = serde_json::from_str(&kept.changes)?;
        let was: Remembered = serde_json::from_str(&kept.answer)?;
        let as_of = as_of.unwrap_or_else(|| self.today());
        let answer = self.what_if_parts(actor, &scenario, as_of, parts).await?;
        let is = Remembered::of(&answer).map_err(|error| Error::invalid("changes", error))?;
        let since = is.since(&was);
        Ok(ScenarioRun { kept, scenario, answer, since })
    }
}
