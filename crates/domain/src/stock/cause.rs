//! Causes of movements: the word that a movement's reason comes down to, so that losses can be added up by what caused them.

use serde::{Deserialize, Serialize};

use super::MovementKind;

/// What caused a movement other than a receipt or a use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cause {
    /// A count found another amount, and nobody knows why.
    CountDifference,
    /// Spilled.
    Spill,
    /// Leaked.
    Leak,
    /// Damaged.
    Damage,
    /// Evaporated.
    Evaporation,
    /// Took up moisture.
    MoistureUptake,
    /// Entered in the wrong unit.
    UnitError,
    /// Taken from another lot than was entered.
    WrongLot,
    /// Contaminated.
    Contamination,
    /// Past its expiry date.
    PastItsDate,
    /// Gone, and nobody knows where.
    UnknownLoss,
    /// Less was delivered than was entered.
    ShortDelivery,
    /// A container weighed more or less than was assumed.
    TareError,
    /// Used at the bench.
    BenchTrial,
    /// A sample for examination.
    Inspection,
    /// A sample to be kept.
    Retained,
    /// Sent back to its supplier.
    ReturnedToSupplier,
    /// Disposed of.
    Disposal,
    /// Lost in going from one container to others.
    Repacking,
}

impl Cause {
    /// All of them.
    pub const ALL: [Self; 19] = [
        Self::CountDifference,
        Self::Spill,
        Self::Leak,
        Self::Damage,
        Self::Evaporation,
        Self::MoistureUptake,
        Self::UnitError,
        Self::WrongLot,
        Self::Contamination,
        Self::PastItsDate,
        Self::UnknownLoss,
        Self::ShortDelivery,
        Self::TareError,
        Self::BenchTrial,
        Self::Inspection,
        Self::Retained,
        Self::ReturnedToSupplier,
        Self::Disposal,
        Self::Repacking,
    ];

    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::CountDifference => "count difference",
            Self::Spill => "spill",
            Self::Leak => "leak",
            Self::Damage => "damage",
            Self::Evaporation => "evaporation",
            Self::MoistureUptake => "moisture uptake",
            Self::UnitError => "unit error",
            Self::WrongLot => "wrong lot taken",
            Self::Contamination => "contamination",
            Self::PastItsDate => "past its date",
            Self::UnknownLoss => "unknown loss",
            Self::ShortDelivery => "short delivery",
            Self::TareError => "tare error",
            Self::BenchTrial => "bench trial",
            Self::Inspection => "sample for examination",
            Self::Retained => "sample kept",
            Self::ReturnedToSupplier => "returned to supplier",
            Self::Disposal => "disposal",
            Self::Repacking => "repacking",
        }
    }

    /// The kind of movement it causes when something is taken from a lot; `None` for what only a count shows.
    pub const fn taking(self) -> Option<MovementKind> {
        match self {
            Self::BenchTrial | Self::Inspection | Self::Retained => Some(MovementKind::Sample),
            Self::Spill
            | Self::Leak
            | Self::Damage
            | Self::Evaporation
            | Self::Contamination
            | Self::PastItsDate
            | Self::UnknownLoss
            | Self::ReturnedToSupplier
            | Self::Disposal
            | Self::Repacking => Some(MovementKind::WriteOff),
            Self::CountDifference
            | Self::MoistureUptake
            | Self::UnitError
            | Self::WrongLot
            | Self::ShortDelivery
            | Self::TareError => None,
        }
    }

    /// Whether a count may show it: everything but what is taken knowingly.
    pub const fn shown_by_count(self) -> bool {
        !matches!(
            self,
            Self::BenchTrial
                | Self::Inspection
                | Self::Retained
                | Self::ReturnedToSupplier
                | Self::Disposal
                | Self::Repacking
        )
    }

    /// Whether it may be the cause of a movement of a kind; a reversal repeats the cause of what it undoes.
    pub fn fits(self, kind: MovementKind) -> bool {
        match kind {
            MovementKind::Sample | MovementKind::WriteOff => self.taking() == Some(kind),
            MovementKind::Adjustment => self.shown_by_count(),
            MovementKind::Reversal => true,
            MovementKind::Receipt | MovementKind::Made | MovementKind::Weighing | MovementKind::Filling => {
                false
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_cause_fits_something() {
        for cause in Cause::ALL {
            assert!(cause.taking().is_some() || cause.shown_by_count(), "{cause:?}");
            assert!(!cause.fits(MovementKind::Weighing), "{cause:?}");
        }
        assert!(Cause::Spill.fits(MovementKind::WriteOff) && Cause::Spill.fits(MovementKind::Adjustment));
        assert!(!Cause::Spill.fits(MovementKind::Sample));
        assert!(!Cause::TareError.fits(MovementKind::WriteOff));
    }
}
