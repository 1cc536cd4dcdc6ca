//! What stands on a ticket to be weighed, and what may be added at most to a line that is added until a result is reached.

use domain::{
    Catalogue,
    formulas::{Formula, FormulaLine, FormulaVersion},
    tickets::{Ticket, TicketLine},
};
use engine::{View, normalise::normalise};
use kernel::{Exact, Mass, apportion_largest_remainder, ids::TicketLineId};
use std::collections::BTreeMap;

use crate::Error;

/// The lines of a ticket: each share of the batch, apportioned so that the targets add up to the batch exactly.
pub(crate) fn lines_for(
    view: &View<'_>,
    formula: &Formula,
    version: &FormulaVersion,
    batch: Mass,
) -> Result<Vec<TicketLine>, Error> {
    let normal = normalise(view, version)?;
    if let Some(gap) = normal.gaps.first() {
        return Err(Error::invalid(format!("{} version {}", formula.code, version.number), gap));
    }
    let shares: Vec<Exact> = normal.lines.iter().map(|line| line.share.clone().unwrap_or_default()).collect();
    let targets = apportion_largest_remainder(batch.micrograms(), &shares)?;
    let written: BTreeMap<u32, _> = version.lines.iter().map(|line| (line.position, line)).collect();
    normal
        .lines
        .iter()
        .zip(targets)
        .map(|(line, target)| {
            let source = written.get(&line.position);
            let trim = source.and_then(|s| s.trim.as_ref());
            let mut instruction = source.and_then(|s| s.instruction.clone());
            if let Some(trim) = trim {
                let mut words = format!("Add to {}.", trim.result);
                if let Some(stop) = &line.stop {
                    let stop = Mass::from_exact_half_even(&(stop * &batch.to_exact()))?;
                    words = format!("Add to {}; at {stop} stop and ask.", trim.result);
                }
                instruction = Some(instruction.map_or(words.clone(), |own| format!("{words} {own}")));
            }
            Ok(TicketLine {
                id: TicketLineId::new(),
                position: line.position,
                phase: source.and_then(|s| s.phase.clone()),
                material: line.material,
                target: Mass::from_micrograms(target),
                // What a result takes is not held against what was expected.
                tolerance: source.filter(|_| trim.is_none()).and_then(|s| s.weighing_tolerance),
                instruction,
            })
        })
        .collect()
}

/// What may be added at most to a line of a ticket that is added until a result is reached, and at least its target; `None` for any
/// other line. The version of a ticket never changes, so this is what stood on the ticket when it was written.
pub(crate) fn stop_of(
    catalogue: &Catalogue,
    ticket: &Ticket,
    line: &TicketLine,
) -> Result<Option<Mass>, Error> {
    let Some((_, version)) = catalogue.version(ticket.version) else { return Ok(None) };
    let trims = |line: &FormulaLine| line.trim.as_ref().is_some_and(|trim| trim.stop.is_some());
    if !version.lines.iter().any(|written| written.position == line.position && trims(written)) {
        return Ok(None);
    }
    let normal = normalise(&View::plain(catalogue), version)?;
    let stop = normal.lines.iter().find(|n| n.position == line.position).and_then(|n| n.stop.clone());
    let stop = stop.map(|stop| Mass::from_exact_half_even(&(stop * ticket.batch.to_exact())));
    Ok(stop.transpose()?.map(|stop| stop.max(line.target)))
}
