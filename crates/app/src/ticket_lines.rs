//! What stands on a ticket to be weighed, and what may be added at most to a line that is added until a result is reached.

use chrono::NaiveDate;
use domain::{
    Catalogue,
    balances::{Balance, balance_for, rounded_targets},
    formulas::{AmountBasis, Formula, FormulaLine, FormulaVersion, LineAmount},
    tickets::{LineAsks, Ticket, TicketLine},
};
use engine::{View, normalise::normalise};
use kernel::{
    Exact, Mass, apportion_largest_remainder,
    ids::{MaterialId, TicketLineId},
};
use std::collections::BTreeMap;

use crate::{
    Error,
    tickets::{ReworkWrite, TicketAsks},
};

/// What the lines of a ticket are worked out from.
pub(crate) struct LinePlan<'a> {
    pub formula: &'a Formula,
    pub version: &'a FormulaVersion,
    /// What is charged in all.
    pub batch: Mass,
    /// An earlier lot that is worked in, and its material.
    pub rework: Option<(ReworkWrite, MaterialId)>,
    pub balances: &'a [Balance],
    pub asks: &'a TicketAsks,
    /// The day it is to be made.
    pub day: NaiveDate,
}

/// The lines of a ticket: each share of the batch, apportioned so that the targets add up to the batch exactly, and rounded to what the
/// balances can show, the line that fills up taking the difference. Rework is a line of its own, last; all others make up the rest.
pub(crate) fn lines_for(view: &View<'_>, plan: &LinePlan<'_>) -> Result<Vec<TicketLine>, Error> {
    let LinePlan { formula, version, .. } = plan;
    let normal = normalise(view, version)?;
    if let Some(gap) = normal.gaps.first() {
        return Err(Error::invalid(format!("{} version {}", formula.code, version.number), gap));
    }
    let reworked = plan.rework.map_or(Mass::ZERO, |(rework, _)| rework.amount);
    let fresh = plan.batch.checked_sub(reworked)?;
    let shares: Vec<Exact> = normal.lines.iter().map(|line| line.share.clone().unwrap_or_default()).collect();
    let targets = apportion_largest_remainder(fresh.micrograms(), &shares)?;
    let written: BTreeMap<u32, _> = version.lines.iter().map(|line| (line.position, line)).collect();
    let asked =
        |position: u32| plan.asks.second_check_everywhere || plan.asks.second_check_lines.contains(&position);
    let mut lines = normal
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
                    let stop = Mass::from_exact_half_even(&(stop * &plan.batch.to_exact()))?;
                    words = format!("Add to {}; at {stop} stop and ask.", trim.result);
                }
                instruction = Some(instruction.map_or(words.clone(), |own| format!("{words} {own}")));
            }
            let of_active = source.is_some_and(|s| s.basis == AmountBasis::ActiveMatter);
            let material = view.catalogue().materials.get(line.material);
            Ok(TicketLine {
                id: TicketLineId::new(),
                position: line.position,
                phase: source.and_then(|s| s.phase.clone()),
                material: line.material,
                target: Mass::from_micrograms(target),
                // What a result takes is not held against what was expected.
                tolerance: source.filter(|_| trim.is_none()).and_then(|s| s.weighing_tolerance),
                instruction,
                asks: LineAsks {
                    fills_up: source.is_some_and(|s| s.amount == LineAmount::QuantitySufficient),
                    nominal_active: material.filter(|_| of_active).and_then(|m| m.active_matter),
                    balance: None,
                    second_check: asked(line.position),
                    rework_of: None,
                },
            })
        })
        .collect::<Result<Vec<_>, Error>>()?;
    if let Some((rework, material)) = plan.rework {
        let position = lines.iter().map(|line| line.position).max().unwrap_or(0).saturating_add(1);
        lines.push(TicketLine {
            id: TicketLineId::new(),
            position,
            phase: None,
            material,
            target: rework.amount,
            tolerance: None,
            instruction: Some("Rework: take only the lot that is named.".to_owned()),
            asks: LineAsks {
                second_check: asked(position),
                rework_of: Some(rework.lot),
                ..LineAsks::default()
            },
        });
    }
    for line in &mut lines {
        let stocked = view.catalogue().materials.get(line.material).is_some_and(|m| m.kind.is_stocked());
        if stocked && line.target.is_positive() {
            let balance = balance_for(plan.balances, line.target, line.tolerance, plan.day)?;
            line.asks.balance = balance.map(|balance| balance.id);
        }
    }
    round_targets(&mut lines, plan.balances);
    Ok(lines)
}

/// Rounds the targets of lines to what their balances can show; the line that fills up takes the difference, so that they add up to the
/// same.
pub(crate) fn round_targets(lines: &mut [TicketLine], balances: &[Balance]) {
    if lines.iter().all(|line| line.asks.balance.is_none()) {
        return;
    }
    let of = |line: &TicketLine| balances.iter().find(|known| Some(known.id) == line.asks.balance);
    let targets: Vec<(Mass, Option<&Balance>)> = lines.iter().map(|line| (line.target, of(line))).collect();
    let fills_up = lines.iter().position(|line| line.asks.fills_up);
    for (line, target) in lines.iter_mut().zip(rounded_targets(&targets, fills_up)) {
        line.target = target;
    }
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
