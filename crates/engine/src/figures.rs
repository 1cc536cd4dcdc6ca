//! How exact figures stand in JSON: rounded half to even to the places they are printed with, as decimal strings.

#![expect(clippy::ref_option, reason = "the signature serde calls with")]

use kernel::Exact;
use serde::{Serialize, Serializer, ser::Error as _};

use crate::{
    Gap, Note,
    present::{AMOUNT_PLACES, DOSE_PLACES, PER_KG_PLACES, PERCENT_PLACES, PrintedGap, PrintedNote},
};

fn rounded<S: Serializer>(value: &Exact, places: u32, serializer: S) -> Result<S::Ok, S::Error> {
    let figure = value.round_half_even(places).map_err(S::Error::custom)?;
    serializer.collect_str(&figure.normalize())
}

/// A cost in the house's currency.
pub fn cost<S: Serializer>(value: &Exact, serializer: S) -> Result<S::Ok, S::Error> {
    rounded(value, PER_KG_PLACES, serializer)
}

/// A cost in the house's currency, or null.
pub fn optional_cost<S: Serializer>(value: &Option<Exact>, serializer: S) -> Result<S::Ok, S::Error> {
    match value {
        Some(value) => cost(value, serializer),
        None => serializer.serialize_none(),
    }
}

/// An amount in kg, pieces or whatever stands beside it.
pub fn amount<S: Serializer>(value: &Exact, serializer: S) -> Result<S::Ok, S::Error> {
    rounded(value, AMOUNT_PLACES, serializer)
}

/// An amount, or null.
pub fn optional_amount<S: Serializer>(value: &Option<Exact>, serializer: S) -> Result<S::Ok, S::Error> {
    match value {
        Some(value) => amount(value, serializer),
        None => serializer.serialize_none(),
    }
}

/// A dose, that is a fraction of one of what is charged, as percent: to more places than a margin, for a dye stands at 0.0005 %.
pub fn dose<S: Serializer>(value: &Exact, serializer: S) -> Result<S::Ok, S::Error> {
    rounded(&(value * &Exact::whole(100)), DOSE_PLACES, serializer)
}

/// A dose, or null.
pub fn optional_dose<S: Serializer>(value: &Option<Exact>, serializer: S) -> Result<S::Ok, S::Error> {
    match value {
        Some(value) => dose(value, serializer),
        None => serializer.serialize_none(),
    }
}

/// A fraction of one as percent, or null.
pub fn optional_percent<S: Serializer>(value: &Option<Exact>, serializer: S) -> Result<S::Ok, S::Error> {
    match value {
        Some(value) => rounded(&(value * &Exact::whole(100)), PERCENT_PLACES, serializer),
        None => serializer.serialize_none(),
    }
}

/// Gaps: their stable names and sentences.
pub fn gaps<S: Serializer>(gaps: &[Gap], serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_seq(gaps.iter().map(PrintedGap::from))
}

/// A gap, or null.
pub fn optional_gap<S: Serializer>(gap: &Option<Gap>, serializer: S) -> Result<S::Ok, S::Error> {
    gap.as_ref().map(PrintedGap::from).serialize(serializer)
}

/// Notes: their stable names and sentences.
pub fn notes<S: Serializer>(notes: &[Note], serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_seq(notes.iter().map(PrintedNote::from))
}
