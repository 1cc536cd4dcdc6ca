//! How the domain's values stand in columns, and back. A column that no longer makes sense is reported with its table and row.

use chrono::{DateTime, Utc};
use domain::{
    cautions::SignalWord,
    counts::{CountClass, CountStatus},
    finishing::{Bucket, Stage},
    formulas::{AmountBasis, VersionStatus},
    house_rates::HouseRateOf,
    lots::{Ended, LotStatus, Ownership, containers::ContainerState, papers::DocumentKind},
    making::MakingCostKind,
    materials::{MaterialKind, UseLevelKind},
    packs::ComponentPer,
    quotations::{BreakCounts, DutyOn, PriceBasis},
    stock::{Cause, MovementKind},
    tickets::{TicketStatus, WeighingOutcome},
};
use kernel::{Currency, Dimension, Money, Quantity};
use rust_decimal::Decimal;
use serde::{Serialize, de::DeserializeOwned};
use std::{fmt::Display, str::FromStr};

use crate::StoreError;

/// A value that stands in a column as one of a few words.
pub(crate) trait Word: Sized {
    /// The word in the column; migrations list the same.
    fn column_word(self) -> &'static str;
    /// The value of a word.
    fn from_column_word(word: &str) -> Option<Self>;
}

macro_rules! words {
    ($type:ident { $($variant:ident => $word:literal),* $(,)? }) => {
        impl Word for $type {
            fn column_word(self) -> &'static str {
                match self {
                    $(Self::$variant => $word,)*
                }
            }

            fn from_column_word(word: &str) -> Option<Self> {
                match word {
                    $($word => Some(Self::$variant),)*
                    _ => None,
                }
            }
        }
    };
}

words!(MaterialKind {
    RawMaterial => "raw-material",
    PackagingComponent => "packaging-component",
    Intermediate => "intermediate",
    Bulk => "bulk",
    FinishedProduct => "finished-product",
    Utility => "utility",
});
words!(UseLevelKind { Recommended => "recommended", Legal => "legal" });
words!(SignalWord { Warning => "warning", Danger => "danger" });
words!(Dimension { Mass => "mass", Volume => "volume", Count => "count" });
words!(VersionStatus { Draft => "draft", Approved => "approved", Retired => "retired" });
words!(AmountBasis { AsSupplied => "as-supplied", ActiveMatter => "active-matter" });
words!(ComponentPer { Unit => "unit", Case => "case" });
words!(PriceBasis { AsSupplied => "as-supplied", ActiveMatter => "active-matter" });
words!(DutyOn { Price => "price", PriceAndFreight => "price-and-freight" });
words!(BreakCounts { Line => "line", Order => "order", Year => "year" });
words!(MakingCostKind {
    Labour => "labour",
    Machine => "machine",
    Cleaning => "cleaning",
    Tests => "tests",
    Disposal => "disposal",
    Other => "other",
});
words!(HouseRateOf {
    LabourHour => "labour-hour",
    MachineHour => "machine-hour",
    OverheadPerLabourHour => "overhead-per-labour-hour",
    OverheadPerMachineHour => "overhead-per-machine-hour",
    OverheadPerBatch => "overhead-per-batch",
    OverheadOnLabour => "overhead-on-labour",
});
words!(LotStatus {
    Quarantine => "quarantine",
    Released => "released",
    OnHold => "on-hold",
    Rejected => "rejected",
});
words!(MovementKind {
    Receipt => "receipt",
    Made => "made",
    Weighing => "weighing",
    Filling => "filling",
    Adjustment => "adjustment",
    Sample => "sample",
    WriteOff => "write-off",
    Reversal => "reversal",
});
words!(CountClass { A => "a", B => "b", C => "c" });
words!(CountStatus { Open => "open", Closed => "closed", Abandoned => "abandoned" });
words!(Ownership { House => "house", Customer => "customer", Consignment => "consignment" });
words!(Ended { Returned => "returned", Disposed => "disposed" });
words!(ContainerState {
    WithLot => "with-lot",
    OnHold => "on-hold",
    Rejected => "rejected",
    Emptied => "emptied",
});
words!(DocumentKind {
    CertificateOfAnalysis => "certificate-of-analysis",
    DeliveryNote => "delivery-note",
    SafetyDataSheet => "safety-data-sheet",
    Photograph => "photograph",
    Other => "other",
});
words!(Cause {
    CountDifference => "count-difference",
    Spill => "spill",
    Leak => "leak",
    Damage => "damage",
    Evaporation => "evaporation",
    MoistureUptake => "moisture-uptake",
    UnitError => "unit-error",
    WrongLot => "wrong-lot",
    Contamination => "contamination",
    PastItsDate => "past-its-date",
    UnknownLoss => "unknown-loss",
    ShortDelivery => "short-delivery",
    TareError => "tare-error",
    BenchTrial => "bench-trial",
    Inspection => "inspection",
    Retained => "retained",
    ReturnedToSupplier => "returned-to-supplier",
    Disposal => "disposal",
    Repacking => "repacking",
});
words!(TicketStatus {
    Planned => "planned",
    Allocated => "allocated",
    Weighing => "weighing",
    Making => "making",
    OnTest => "on-test",
    Adjusting => "adjusting",
    Filling => "filling",
    Reconciled => "reconciled",
    Released => "released",
    Rejected => "rejected",
    Cancelled => "cancelled",
    Voided => "voided",
});
words!(Bucket {
    Heel => "heel",
    Evaporated => "evaporated",
    Samples => "samples",
    Retains => "retains",
    Purge => "purge",
    Waste => "waste",
});
words!(Stage { Making => "making", Filling => "filling" });
words!(WeighingOutcome {
    BackToLot => "back-to-lot",
    Scrapped => "scrapped",
    IntoRework => "into-rework",
});

/// Which row is being read.
pub(crate) struct At<'a> {
    table: &'static str,
    id: &'a dyn Display,
}

impl<'a> At<'a> {
    pub(crate) fn new(table: &'static str, id: &'a dyn Display) -> Self {
        Self { table, id }
    }

    /// The error for a column of this row.
    pub(crate) fn corrupt(&self, column: &str, reason: impl Display) -> StoreError {
        StoreError::Corrupt {
            table: self.table,
            id: self.id.to_string(),
            reason: format!("{column}: {reason}"),
        }
    }

    pub(crate) fn require<T>(
        &self,
        column: &str,
        value: Option<T>,
        found: impl Display,
    ) -> Result<T, StoreError> {
        value.ok_or_else(|| self.corrupt(column, format_args!("“{found}” makes no sense")))
    }

    pub(crate) fn word<T: Word>(&self, column: &str, word: &str) -> Result<T, StoreError> {
        self.require(column, T::from_column_word(word), word)
    }

    pub(crate) fn word_opt<T: Word>(
        &self,
        column: &str,
        word: Option<&str>,
    ) -> Result<Option<T>, StoreError> {
        word.map(|word| self.word(column, word)).transpose()
    }

    /// A value kept as its own text: a currency, a span of time.
    pub(crate) fn text<T: FromStr<Err: Display>>(&self, column: &str, text: &str) -> Result<T, StoreError> {
        text.parse().map_err(|reason| self.corrupt(column, reason))
    }

    pub(crate) fn text_opt<T: FromStr<Err: Display>>(
        &self,
        column: &str,
        text: Option<&str>,
    ) -> Result<Option<T>, StoreError> {
        text.map(|text| self.text(column, text)).transpose()
    }

    pub(crate) fn decimal(&self, column: &str, text: &str) -> Result<Decimal, StoreError> {
        Decimal::from_str_exact(text).map_err(|reason| self.corrupt(column, reason))
    }

    pub(crate) fn decimal_opt(
        &self,
        column: &str,
        text: Option<&str>,
    ) -> Result<Option<Decimal>, StoreError> {
        text.map(|text| self.decimal(column, text)).transpose()
    }

    pub(crate) fn json<T: DeserializeOwned>(&self, column: &str, text: &str) -> Result<T, StoreError> {
        serde_json::from_str(text).map_err(|reason| self.corrupt(column, reason))
    }

    pub(crate) fn json_opt<T: DeserializeOwned>(
        &self,
        column: &str,
        text: Option<&str>,
    ) -> Result<Option<T>, StoreError> {
        text.map(|text| self.json(column, text)).transpose()
    }

    pub(crate) fn whole<T: TryFrom<i64>>(&self, column: &str, figure: i64) -> Result<T, StoreError> {
        self.require(column, T::try_from(figure).ok(), figure)
    }

    pub(crate) fn quantity(&self, column: &str, raw: i64, dimension: &str) -> Result<Quantity, StoreError> {
        Ok(Quantity::from_raw(raw, self.word(column, dimension)?))
    }

    pub(crate) fn quantity_opt(
        &self,
        column: &str,
        raw: Option<i64>,
        dimension: Option<&str>,
    ) -> Result<Option<Quantity>, StoreError> {
        match (raw, dimension) {
            (Some(raw), Some(dimension)) => self.quantity(column, raw, dimension).map(Some),
            (None, _) => Ok(None),
            (Some(_), None) => Err(self.corrupt(column, "there is no dimension")),
        }
    }

    pub(crate) fn money_opt(
        &self,
        column: &str,
        micros: Option<i64>,
        currency: Option<Currency>,
    ) -> Result<Option<Money>, StoreError> {
        match (micros, currency) {
            (Some(micros), Some(currency)) => Ok(Some(Money::from_micros(micros, currency))),
            (None, _) => Ok(None),
            (Some(_), None) => Err(self.corrupt(column, "there is no currency")),
        }
    }

    pub(crate) fn instant(&self, column: &str, micros: i64) -> Result<DateTime<Utc>, StoreError> {
        self.require(column, DateTime::from_timestamp_micros(micros), micros)
    }

    pub(crate) fn instant_opt(
        &self,
        column: &str,
        micros: Option<i64>,
    ) -> Result<Option<DateTime<Utc>>, StoreError> {
        micros.map(|micros| self.instant(column, micros)).transpose()
    }
}

/// A list or a value as JSON text.
pub(crate) fn to_json<T: Serialize + ?Sized>(what: &'static str, value: &T) -> Result<String, StoreError> {
    serde_json::to_string(value).map_err(|reason| StoreError::Unfit { what, reason: reason.to_string() })
}

/// A decimal in its canonical text, without trailing noughts.
pub(crate) fn to_text(decimal: Decimal) -> String {
    decimal.normalize().to_string()
}

/// The word of a quantity's dimension.
pub(crate) fn dimension(quantity: Quantity) -> String {
    quantity.dimension().column_word().to_owned()
}

/// A large count as a column keeps it.
pub(crate) fn to_whole(what: &'static str, figure: u64) -> Result<i64, StoreError> {
    i64::try_from(figure).map_err(|_| StoreError::TooLarge(what))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check<T: Word + Copy + PartialEq + std::fmt::Debug>(values: &[T]) {
        for value in values {
            assert_eq!(T::from_column_word(value.column_word()), Some(*value));
        }
        assert_eq!(T::from_column_word("nonsense"), None);
    }

    #[test]
    fn words_lead_back() {
        check(&MaterialKind::ALL);
        check(&LotStatus::ALL);
        check(&CountClass::ALL);
        check(&CountStatus::ALL);
        check(&Ownership::ALL);
        check(&ContainerState::ALL);
        check(&DocumentKind::ALL);
        check(&Cause::ALL);
        check(&MovementKind::ALL);
        check(&TicketStatus::ALL);
        check(&WeighingOutcome::ALL);
        check(&Bucket::ALL);
        check(&[Stage::Making, Stage::Filling]);
        check(&[Dimension::Mass, Dimension::Volume, Dimension::Count]);
        check(&[VersionStatus::Draft, VersionStatus::Approved, VersionStatus::Retired]);
        check(&[AmountBasis::AsSupplied, AmountBasis::ActiveMatter]);
        check(&MakingCostKind::ALL);
        check(&HouseRateOf::ALL);
        check(&[ComponentPer::Unit, ComponentPer::Case]);
        check(&[UseLevelKind::Recommended, UseLevelKind::Legal]);
        check(&[SignalWord::Warning, SignalWord::Danger]);
    }
}
