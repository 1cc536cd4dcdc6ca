//! Scenarios that are kept.

use domain::{scenarios::KeptScenario, text::code_key};
use kernel::ids::ScenarioId;

use crate::{StoreError, codes::At};

super::table! {
    scenario, "scenarios" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        name: String,
        name_key: String,
        number: i64,
        changes: String,
        as_of: NaiveDate,
        kept_by: String,
        kept_at: i64,
        catalogue_version: i64,
        answer: String,
    }
}

impl scenario::Model {
    pub(crate) fn of(s: &KeptScenario) -> Self {
        Self {
            id: s.id.0,
            name: s.name.clone(),
            name_key: code_key(&s.name),
            number: i64::from(s.number),
            changes: s.changes.clone(),
            as_of: s.as_of,
            kept_by: s.kept_by.clone(),
            kept_at: s.kept_at.timestamp_micros(),
            catalogue_version: s.catalogue_version,
            answer: s.answer.clone(),
        }
    }

    pub(crate) fn into_scenario(self) -> Result<KeptScenario, StoreError> {
        let id = self.id;
        let at = At::new("scenarios", &id);
        Ok(KeptScenario {
            id: ScenarioId(id),
            number: at.require("number", u32::try_from(self.number).ok(), self.number)?,
            changes: self.changes,
            kept_at: at.instant("kept_at", self.kept_at)?,
            answer: self.answer,
            name: self.name,
            as_of: self.as_of,
            kept_by: self.kept_by,
            catalogue_version: self.catalogue_version,
        })
    }
}
