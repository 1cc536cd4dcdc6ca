//! The demo maker's story: what happened, in order, and who did it.

use chrono::NaiveDate;
use serde::Deserialize;

use super::shift::ANCHOR;
use crate::failure::Failure;

/// The story.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Story {
    /// The day it was told for.
    pub anchor: NaiveDate,
    /// What happened, in order.
    pub events: Vec<Event>,
}

/// Something somebody did on a day.
#[derive(Debug, Deserialize)]
pub struct Event {
    /// The day.
    pub on: NaiveDate,
    /// The person.
    pub by: String,
    /// What they did.
    #[serde(flatten)]
    pub deed: Deed,
}

/// What somebody did.
#[derive(Debug, Deserialize)]
#[serde(tag = "do", rename_all = "lowercase")]
pub enum Deed {
    /// Wrote a batch ticket.
    #[serde(rename = "write ticket")]
    WriteTicket {
        ticket: String,
        formula: String,
        batch: String,
        #[serde(rename = "planned for")]
        planned_for: NaiveDate,
        pack: Option<String>,
        units: Option<u32>,
    },
    /// Promised lots to it, first expired, first out.
    Allocate { ticket: String },
    /// Weighed one amount of one lot.
    Weigh {
        ticket: String,
        line: u32,
        lot: String,
        amount: String,
        #[serde(rename = "checked by")]
        checked_by: String,
    },
    /// Weighed every line not weighed yet at its target, from the lots promised to it.
    #[serde(rename = "weigh rest")]
    WeighRest {
        ticket: String,
        #[serde(rename = "checked by")]
        checked_by: String,
    },
    /// Completed a ticket.
    Complete {
        ticket: String,
        #[serde(rename = "yield")]
        yielded: String,
        lot: String,
        density: Option<String>,
        #[serde(rename = "pH")]
        ph: Option<String>,
        #[serde(default)]
        units: Vec<Filled>,
    },
    /// Released, held or rejected a lot.
    #[serde(rename = "set lot status")]
    SetLotStatus { lot: String, status: String, reason: String },
    /// Counted a lot.
    Count { lot: String, found: String, reason: String },
    /// Gave a ticket up.
    Cancel { ticket: String, reason: String },
}

/// Units filled of a pack.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Filled {
    /// The pack's code.
    pub pack: String,
    /// Good units.
    pub filled: u32,
}

/// The story in the binary.
///
/// # Errors
/// [`Failure::Fault`] when it cannot be read.
pub fn story() -> Result<Story, Failure> {
    let damaged = |why: String| Failure::Fault(format!("the demo's story is damaged: {why}"));
    let story: Story = serde_json::from_str(include_str!("../../../../demo/story.json"))
        .map_err(|error| damaged(error.to_string()))?;
    // The sheets are moved by the same number of days, so both must be told for the same day.
    if story.anchor.to_string() != ANCHOR {
        return Err(damaged(format!("it was told for {}, the sheets for {ANCHOR}", story.anchor)));
    }
    Ok(story)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_story_is_in_order_and_ends_on_its_anchor() {
        let story = story().unwrap();
        assert_eq!(story.anchor.to_string(), ANCHOR);
        assert!(story.events.len() > 100);
        assert!(story.events.windows(2).all(|pair| pair[0].on <= pair[1].on));
        assert!(story.events.last().unwrap().on <= story.anchor);
    }
}
