//! What-if: what assumed changes would do. It reads the catalogue, the shelf and what batches hold, and writes nothing.

use chrono::NaiveDate;
use domain::people::Actor;
use engine::{
    Change, View,
    outlook::{Outlook, OutlookRequest},
    scenario::Scenario,
    what_if::{Asked, Genealogy, Parts, WhatIf, outlook_over, what_if_asked},
};
use kernel::{ids::LotId, limits::NESTING_LEVELS_MAX};
use std::collections::BTreeSet;
use store::Conn;

use crate::{App, Error};

impl App {
    /// What the changes of a scenario would do as of a day.
    ///
    /// # Errors
    /// As [`App::run_check`].
    pub async fn what_if(
        &self,
        actor: &Actor,
        scenario: &Scenario,
        as_of: NaiveDate,
    ) -> Result<WhatIf, Error> {
        self.what_if_parts(actor, scenario, as_of, Parts::PLAIN).await
    }

    /// The same with what each change does alone, or from when costs move, when that is asked for too.
    ///
    /// # Errors
    /// As [`App::run_check`].
    pub async fn what_if_parts(
        &self,
        actor: &Actor,
        scenario: &Scenario,
        as_of: NaiveDate,
        parts: Parts,
    ) -> Result<WhatIf, Error> {
        let (catalogue, shelf) = self.whole_shelf(actor).await?;
        let genealogy = genealogy_of(self.store(), recalled_by(scenario)).await?;
        let trim_use = self.trim_use();
        let view = View::plain(&catalogue).with_trim_use(&trim_use);
        let asked = Asked { scenario, as_of, genealogy: &genealogy, parts };
        Ok(what_if_asked(&view, &shelf, &asked)?)
    }

    /// What the coming weeks do to the shelf with a scenario over it.
    ///
    /// # Errors
    /// As [`App::run_check`].
    pub async fn outlook_over(
        &self,
        actor: &Actor,
        scenario: &Scenario,
        until: Option<NaiveDate>,
    ) -> Result<Outlook, Error> {
        let (catalogue, shelf) = self.whole_shelf(actor).await?;
        let genealogy = genealogy_of(self.store(), recalled_by(scenario)).await?;
        let trim_use = self.trim_use();
        let view = View::plain(&catalogue).with_trim_use(&trim_use);
        let request = OutlookRequest { today: self.today(), until };
        Ok(outlook_over(&view, &shelf, scenario, &genealogy, request)?)
    }
}

fn recalled_by(scenario: &Scenario) -> Vec<LotId> {
    let lot = |change: &Change| match change {
        Change::LotRecalled { lot, .. } => Some(*lot),
        _ => None,
    };
    scenario.changes.iter().filter_map(lot).collect()
}

/// The tickets that hold some lots, directly and through what was made with them, and all those lots.
async fn genealogy_of(conn: &impl Conn, lots: Vec<LotId>) -> Result<Genealogy, Error> {
    let mut found = Genealogy::default();
    let mut known: BTreeSet<LotId> = lots.iter().copied().collect();
    let mut open = lots;
    // A batch within a batch, as deep as formulas nest.
    for _ in 0..=NESTING_LEVELS_MAX {
        if open.is_empty() {
            break;
        }
        let tickets = store::tickets::tickets_using_lots(conn, &open).await?;
        let mut made = Vec::new();
        for ticket in tickets {
            if found.tickets.iter().any(|known| known.id == ticket.id) {
                continue;
            }
            if let Some(end) = &ticket.completion {
                let out = std::iter::once(end.lot).chain(end.fillings.iter().map(|filling| filling.lot));
                made.extend(out.filter(|lot| known.insert(*lot)));
            }
            found.tickets.push(ticket);
        }
        open = made;
    }
    if !known.is_empty() {
        let known: Vec<LotId> = known.into_iter().collect();
        found.lots = store::lots::lots_get(conn, &known).await?;
    }
    Ok(found)
}
