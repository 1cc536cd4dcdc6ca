//! Rates of the house: recording what an hour costs from a day, or an overhead. Kept for ever; a new rate is a new row.

use chrono::NaiveDate;
use domain::{
    Refusal,
    house_rates::{HouseRate, HouseRateAmount, HouseRateOf},
    people::Capability,
    text::code_key,
};
use kernel::ids::HouseRateId;
use serde::{Deserialize, Serialize};
use store::constraints;

use crate::{App, Change, Error, change::Begun, fresh::Problems};

/// A rate of the house, as it is entered.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct HouseRateRecord {
    /// What formulas and packs call it by.
    pub name: String,
    /// What it is of.
    pub of: HouseRateOf,
    /// How much, in the house's currency.
    pub amount: HouseRateAmount,
    /// The day it holds from.
    pub from: NaiveDate,
    /// Remarks.
    pub note: Option<String>,
}

impl App {
    /// Records a rate of the house.
    ///
    /// # Errors
    /// [`Error::Invalid`]; [`Refusal::Taken`] when there is one of that name from that day.
    pub async fn house_rate_record(
        &self,
        change: &Change<'_>,
        input: HouseRateRecord,
    ) -> Result<HouseRate, Error> {
        let mut work = match self.begin(change, Capability::Administer, "house-rate-record", &input).await? {
            Begun::Repeat(rate) => return Ok(rate),
            Begun::Fresh(work) => work,
        };
        let catalogue = self.snapshot();
        let house = self.settings().currency;
        let mut problems = Problems::default();
        let name = problems.code("name", "a name", Some(&input.name));
        if name.is_none() && input.name.trim().is_empty() {
            problems.push("name", "a rate needs a name");
        }
        let rate = HouseRate {
            id: HouseRateId::new(),
            name: name.unwrap_or_default(),
            of: input.of,
            amount: input.amount,
            from: input.from,
            note: problems.note("note", input.note.as_deref()),
        };
        problems.take("amount", rate.require_sound());
        if rate.currency().is_some_and(|currency| currency != house) {
            problems.push("amount", format!("rates of the house are in {house}"));
        }
        let known = catalogue.house_rates().find(|known| code_key(&known.name) == code_key(&rate.name));
        if let Some(known) = known.filter(|known| known.of != rate.of) {
            let message = format!(
                "“{}” is {} per {}; what a rate is of cannot change",
                known.name,
                known.of.kind_word(),
                known.of.per_words()
            );
            problems.push("of", message);
        }
        problems.none()?;
        store::house_rates::house_rate_insert(&work.tx, &rate).await.map_err(|error| {
            if error.is_taken(constraints::HOUSE_RATE_DAY) {
                let text = format!("{} from {}", rate.name, rate.from);
                return Refusal::Taken { what: "the rate of the house".to_owned(), text }.into();
            }
            Error::from(error)
        })?;
        work.changes_catalogue();
        work.note("house rate", rate.id, None::<&()>, &rate, None)?;
        work.finish(rate).await
    }
}
