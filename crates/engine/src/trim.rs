//! Lines that are added until a result is reached, and what they took so far.
//!
//! A formula can only say what is expected of such a line, often nought. What finished batches really took says it better: their
//! average, as a share of everything charged.

use domain::{
    Catalogue,
    formulas::{FormulaLine, FormulaVersion},
    tickets::Ticket,
};
use kernel::{
    Exact,
    ids::{FormulaId, MaterialId},
};
use std::collections::HashMap;

/// What trim lines took on average.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct TrimBook {
    uses: HashMap<(FormulaId, MaterialId, usize), TrimUse>,
}

/// What one trim line took on average.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TrimUse {
    /// kg weighed on the line in one kg of everything charged, over all the tickets.
    pub share: Exact,
    /// Tickets it is the average of.
    pub tickets: usize,
}

impl TrimBook {
    /// The averages of tickets whose bulk is made: all that was weighed on a trim line over all that was charged. Tickets that are
    /// not made, or whose version is unknown or has no such line, say nothing. Tickets of every version of a formula count, for the
    /// same material is added to the same end.
    pub fn from_tickets<'t>(catalogue: &Catalogue, tickets: impl IntoIterator<Item = &'t Ticket>) -> Self {
        let mut sums: HashMap<(FormulaId, MaterialId, usize), (Exact, Exact, usize)> = HashMap::new();
        for ticket in tickets {
            if !ticket.status.is_made() {
                continue;
            }
            let Some((formula, version)) = catalogue.version(ticket.version) else { continue };
            for (line, nth) in trim_lines(version) {
                let Some(weighed) = ticket.line_at(line.position) else { continue };
                let sum = sums.entry((formula.id, line.material, nth)).or_default();
                sum.0 += ticket.weighed_on(weighed.id).to_exact();
                sum.1 += ticket.batch.to_exact();
                sum.2 += 1;
            }
        }
        let averaged = |(key, (weighed, charged, tickets)): (_, (Exact, Exact, usize))| {
            Some((key, TrimUse { share: weighed.checked_div(&charged).ok()?, tickets }))
        };
        Self { uses: sums.into_iter().filter_map(averaged).collect() }
    }

    /// What a formula's trim line of a material took; the `nth` (from nought) where several of its trim lines are of the same.
    pub fn get(&self, formula: FormulaId, material: MaterialId, nth: usize) -> Option<&TrimUse> {
        self.uses.get(&(formula, material, nth))
    }

    /// Sets what a trim line took.
    pub fn set(&mut self, formula: FormulaId, material: MaterialId, nth: usize, took: TrimUse) {
        self.uses.insert((formula, material, nth), took);
    }

    /// Whether nothing is known.
    pub fn is_empty(&self) -> bool {
        self.uses.is_empty()
    }
}

/// A version's trim lines, each with how many trim lines of the same material come before it.
pub(crate) fn trim_lines(version: &FormulaVersion) -> impl Iterator<Item = (&FormulaLine, usize)> {
    let mut seen: HashMap<MaterialId, usize> = HashMap::new();
    version.lines.iter().filter(|line| line.trim.is_some()).map(move |line| {
        let before = seen.entry(line.material).or_default();
        let nth = *before;
        *before += 1;
        (line, nth)
    })
}
