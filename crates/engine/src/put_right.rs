//! What a version whose lines miss their total costs, put right one way or another, against what its lines cost as they stand.

use kernel::Exact;

use crate::{
    CostRequest, CostSheet, CostSubject, EngineError, View,
    cost::{LineKind, cost_sheet},
    normalise::{Proposal, proposals},
};

/// One way to make the lines meet their total, with what it costs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CostedProposal {
    /// The lines before and after.
    pub proposal: Proposal,
    /// What the lines as they stand cost for the batch, over or under its size as they are, at the prices of `sheet`; `None` when the
    /// price of one is missing.
    pub ingredients_before: Option<Exact>,
    /// The cost sheet of the version as proposed.
    pub sheet: CostSheet,
}

/// [`proposals`] with their cost sheets. Empty for a version that meets its total.
///
/// # Errors
/// Those of [`proposals`] and of [`cost_sheet`]; [`EngineError::NotFound`] for a pack without a version, for the version approved
/// on a day always meets its total.
pub fn costed_proposals(
    view: &View<'_>,
    request: &CostRequest,
    diluent: Option<u32>,
) -> Result<Vec<CostedProposal>, EngineError> {
    let id = match request.subject {
        CostSubject::Version(id) | CostSubject::Pack { version: Some(id), .. } => id,
        CostSubject::Pack { version: None, .. } => {
            return Err(EngineError::NotFound { what: "formula version", key: "(none named)".to_owned() });
        }
    };
    let (_, version) = view.version(id)?;
    let mut costed = Vec::new();
    for proposal in proposals(view, version, request.as_of, diluent)? {
        let sheet = cost_sheet(&view.assuming_version(&proposal.version), request)?;
        let mut before = Some(Exact::ZERO);
        for line in sheet.lines.iter().filter(|line| line.kind == LineKind::Ingredient) {
            let written = proposal.lines.iter().find(|written| Some(written.position) == line.position);
            let Some(written) = written.filter(|written| !written.before.is_zero()) else { continue };
            before = match (before, &line.unit_cost, line.partial) {
                (Some(sum), Some(cost), false) => {
                    Some(sum + &(&(&written.before * &sheet.batch.charged) * cost))
                }
                _ => None,
            };
        }
        costed.push(CostedProposal { proposal, ingredients_before: before, sheet });
    }
    Ok(costed)
}
