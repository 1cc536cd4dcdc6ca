//! Containers: the drums, cans and sacks one lot came in, each with its weights and its own state.

use chrono::NaiveDate;
use kernel::{
    AmountError, Mass, Quantity,
    ids::{ContainerId, LotId},
};
use serde::{Deserialize, Serialize};

use crate::materials::Material;

/// How a container stands, apart from its lot.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ContainerState {
    /// Nothing is said of it alone: it stands as its lot does.
    #[default]
    WithLot,
    /// Set aside, while its lot is not.
    OnHold,
    /// Never to be used, while its lot may be: one drum of four leaked.
    Rejected,
    /// Emptied; what the arithmetic leaves in it is not there.
    Emptied,
}

impl ContainerState {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::WithLot, Self::OnHold, Self::Rejected, Self::Emptied];

    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::WithLot => "with its lot",
            Self::OnHold => "on hold",
            Self::Rejected => "rejected",
            Self::Emptied => "emptied",
        }
    }

    /// Whether what it holds may not be used although its lot may.
    pub const fn blocks(self) -> bool {
        matches!(self, Self::OnHold | Self::Rejected)
    }
}

/// One container of a lot.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Container {
    /// Identity.
    pub id: ContainerId,
    /// The lot it is part of.
    pub lot: LotId,
    /// Which one, from 1.
    pub position: u32,
    /// Of how many that came together.
    pub of: u32,
    /// What it is: drum, can, sack.
    pub kind: Option<String>,
    /// Weighed with what is in it.
    pub gross: Option<Mass>,
    /// Weighed, or marked on it, without.
    pub tare: Option<Mass>,
    /// What came in it, in the dimension of its lot.
    pub net: Quantity,
    /// The day it was opened.
    pub opened_on: Option<NaiveDate>,
    /// How it stands.
    pub state: ContainerState,
    /// Where it stands, when not with its lot.
    pub location: Option<String>,
    /// Remarks.
    pub note: Option<String>,
}

impl Container {
    /// "3 of 4".
    pub fn numbered(&self) -> String {
        format!("{} of {}", self.position, self.of)
    }

    /// The last day it may be used once opened, by the material's period after opening; `None` when that does not limit it.
    pub fn opened_until(&self, material: &Material) -> Option<NaiveDate> {
        self.opened_on.zip(material.period_after_opening).and_then(|(opened, period)| period.after(opened))
    }

    /// What is in it after so much was moved out of it (below nought) or into it.
    pub fn remaining(&self, moved: i64) -> Quantity {
        let left =
            if self.state == ContainerState::Emptied { 0 } else { self.net.raw().saturating_add(moved) };
        Quantity::from_raw(left.max(0), self.net.dimension())
    }
}

/// What is in a container by its weights.
///
/// # Errors
/// [`AmountError`] when they do not fit; a tare that is not below the gross weight gives nought or less, which the caller refuses.
pub fn net_of(gross: Mass, tare: Mass) -> Result<Mass, AmountError> {
    gross.checked_sub(tare)
}

/// What of a lot stands in containers that may not be used, of what each of them holds now.
pub fn blocked_in<'a>(containers: impl IntoIterator<Item = (&'a Container, i64)>) -> i64 {
    containers
        .into_iter()
        .filter(|(container, _)| container.state.blocks())
        .fold(0_i64, |sum, (container, moved)| sum.saturating_add(container.remaining(moved).raw()))
}
