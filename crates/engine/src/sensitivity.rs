//! What a cost depends on, and how strongly: the dose of one line, the size of the batch, the volume sold, and all drivers ranked.
//!
//! Every point is an ordinary cost sheet of an assumed version, pack or price, so price breaks, minimum orders, heels, whole units and
//! use levels count as they always do.

mod batch;
mod break_even;
mod dose;
mod drivers;

pub use batch::{BatchCurve, BatchPoint, BatchQuestion, BreakEvenBatch, batch_curve};
pub use break_even::{BreakEven, break_even, break_even_of_sheet};
pub use dose::{DoseLimit, DoseLimitKind, DosePoint, DoseQuestion, DoseSweep, dose_sweep};
pub use drivers::{Bar, Driver, DriverEnd, DriverQuestion, Drivers, NotVaried, drivers};

use kernel::{Exact, Mass, ids::FormulaVersionId};

use crate::{CostRequest, CostSubject, EngineError, View, cost::find_subject};

/// The same request with its version named, so that an assumed one is seen whatever is approved.
fn pinned(view: &View<'_>, request: &CostRequest) -> Result<(CostRequest, FormulaVersionId), EngineError> {
    let version = find_subject(view, request)?.0.id;
    let subject = match request.subject {
        CostSubject::Version(_) => CostSubject::Version(version),
        CostSubject::Pack { pack, .. } => CostSubject::Pack { pack, version: Some(version) },
    };
    Ok((CostRequest { subject, ..*request }, version))
}

/// A mass of so much of another, rounded down to what is kept; `None` when it cannot be kept or nothing is left of it.
fn times(mass: Mass, factor: &Exact) -> Option<Mass> {
    Mass::from_exact_down(&(&mass.to_exact() * factor)).ok().filter(|mass| mass.is_positive())
}
