//! "Which of these runs can I make today?": several runs at once, each alone and then one after the other, so that two which fit alone
//! and not together are seen.
//!
//! The runs are taken in the order they are asked in. One that can be made takes its share in thought before the next is looked at; one
//! that comes up short takes nothing.

use chrono::{DateTime, Utc};
use domain::tickets::{LineAsks, Ticket, TicketLine, TicketStatus};
use kernel::{
    Count, Mass,
    ids::{TicketId, TicketLineId},
};
use serde::Serialize;

use crate::{
    EngineError,
    recipes::Recipes,
    run_check::{RunCheck, RunRequest, Verdict, find_subject, run_check},
    shelf::Shelf,
    view::View,
};

/// A run among several.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RunChoice {
    /// As if it were the only one.
    pub alone: RunCheck,
    /// After those asked before it that can be made.
    pub together: RunCheck,
}

impl RunChoice {
    /// Whether it can be made after those before it.
    pub const fn can_be_made(&self) -> bool {
        matches!(self.together.verdict, Verdict::CanBeMade | Verdict::MakeFirst)
    }
}

/// Checks several runs, each alone and after those before it.
///
/// # Errors
/// As [`run_check`], for the first run that cannot be checked at all.
pub fn run_choices(
    view: &View<'_>,
    shelf: &Shelf,
    requests: &[RunRequest],
) -> Result<Vec<RunChoice>, EngineError> {
    let mut taken = shelf.clone();
    let mut choices = Vec::with_capacity(requests.len());
    for (request, nth) in requests.iter().zip(1_usize..) {
        let alone = run_check(view, shelf, request)?;
        let together = run_check(view, &taken, request)?;
        let choice = RunChoice { alone, together };
        if choice.can_be_made()
            && let Some(thought) = in_thought(view, request, &choice.together, nth)?
        {
            taken.tickets.push(thought);
        }
        choices.push(choice);
    }
    Ok(choices)
}

/// A ticket for a run that is only thought of: it takes what the run takes, and follows the tickets of its day.
fn in_thought(
    view: &View<'_>,
    request: &RunRequest,
    checked: &RunCheck,
    nth: usize,
) -> Result<Option<Ticket>, EngineError> {
    let Some(batch) = checked.batch else { return Ok(None) };
    let subject = find_subject(view, request.subject, checked.on)?;
    let recipe = Recipes::new(view).of_version(subject.version)?;
    let lines = recipe
        .wants(batch)
        .into_iter()
        .zip(1_u32..)
        .map(|((material, raw), position)| TicketLine {
            id: TicketLineId::new(),
            position,
            phase: None,
            material,
            target: Mass::from_micrograms(raw),
            tolerance: None,
            instruction: None,
            asks: LineAsks::default(),
        })
        .collect();
    let units = match checked.units {
        None => None,
        Some(units) => {
            let thousandths = i64::try_from(units).ok().and_then(|units| units.checked_mul(1_000));
            Some(Count::from_thousandths(thousandths.ok_or(kernel::AmountError::Overflow("units"))?))
        }
    };
    Ok(Some(Ticket {
        id: TicketId::new(),
        // After the numbers of the house, in the order asked.
        number: format!("run {nth:03} of those asked"),
        formula: subject.version.formula,
        version: subject.version.id,
        pack: checked.pack,
        units,
        batch,
        planned_for: checked.on,
        status: TicketStatus::Planned,
        lines,
        allocations: Vec::new(),
        weighings: Vec::new(),
        completion: None,
        written_by: String::new(),
        written_at: DateTime::<Utc>::UNIX_EPOCH,
        note: None,
        paused: None,
        planned_batch: None,
        steps: Vec::new(),
    }))
}
