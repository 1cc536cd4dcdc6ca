//! Packs: how one is filled.

use domain::{making::FillingRun, packs::Pack, people::Capability};
use kernel::{Money, Percent, ids::PackId};
use serde::{Deserialize, Serialize};

use crate::{App, Change, Error, change::Begun, formulas::hourly_rate, fresh::Problems};

/// How a pack is filled, as it is entered: all of it anew.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct PackFillingWrite {
    /// The pack.
    pub pack: PackId,
    /// Filled beyond the declared quantity; `None` for what it is.
    pub overfill: Option<Percent>,
    /// Share of the liquid lost at the filler; `None` for what it is.
    pub filling_loss: Option<Percent>,
    /// Filling and labelling, per unit, in the house's currency; not where the run has a speed.
    pub line_labour: Option<Money>,
    /// Units kept back, speed of the line, changeover.
    pub run: FillingRun,
}

impl App {
    /// Writes anew how a pack is filled. What it costs follows at once; tickets that are complete stay as they are.
    ///
    /// # Errors
    /// [`Error::NotFound`], [`Error::Invalid`].
    pub async fn pack_filling_write(
        &self,
        change: &Change<'_>,
        input: PackFillingWrite,
    ) -> Result<Pack, Error> {
        let mut work = match self.begin(change, Capability::Administer, "pack-filling-write", &input).await? {
            Begun::Repeat(pack) => return Ok(pack),
            Begun::Fresh(work) => work,
        };
        let catalogue = self.snapshot();
        let before = catalogue.packs.get(input.pack).ok_or_else(|| Error::not_found("pack", input.pack))?;
        let house = self.settings().currency;
        let mut problems = Problems::default();
        if let Some(overfill) = input.overfill {
            problems.take("overfillPercent", overfill.require_share());
        }
        if let Some(loss) = input.filling_loss {
            problems.take("fillingLossPercent", loss.require_loss());
        }
        for (place, money) in [("labour.perUnit", input.line_labour), ("changeover", input.run.changeover)] {
            let Some(money) = money else { continue };
            if money.currency() != house {
                problems.push(place, format!("costs of the house are in {house}"));
            }
            if money.micros() < 0 {
                problems.push(place, "a cost must not be below nought");
            }
        }
        if let Some(speed) = &input.run.speed {
            if input.line_labour.is_some() {
                problems.push("labour", "a speed stands beside a labour per unit; one of the two is needed");
            }
            problems.take("labour.speed.unitsPerHour", speed.units_per_hour.require_positive());
            problems.take("labour.speed.people", speed.people.require_positive());
            if speed.labour_rate.is_none() && speed.machine_rate.is_none() {
                problems.push("labour.speed", "needs a labour rate or a machine rate beside it");
            }
            let rates = [
                ("labour.speed.labourRate", &speed.labour_rate),
                ("labour.speed.machineRate", &speed.machine_rate),
            ];
            for (place, rate) in rates {
                if let Some(rate) = rate {
                    hourly_rate(&catalogue, place, rate, &mut problems);
                }
            }
        }
        problems.none()?;
        let after = Pack {
            overfill: input.overfill.unwrap_or(before.overfill),
            filling_loss: input.filling_loss.unwrap_or(before.filling_loss),
            line_labour: input.line_labour,
            run: input.run,
            ..(**before).clone()
        };
        store::packs::pack_update(&work.tx, &after).await?;
        work.changes_catalogue();
        work.note("pack", after.id, Some(&**before), &after, None)?;
        work.finish(after).await
    }
}
