//! Identities: one newtype per kind of thing, so that a lot's id cannot stand where a material's is meant.

use serde::{Deserialize, Serialize};
use std::fmt;
use uuid::Uuid;

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident),* $(,)?) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub Uuid);

        impl $name {
            /// A new identity, ordered by the time it was made (UUID version 7, RFC 9562).
            pub fn new() -> Self {
                Self(Uuid::now_v7())
            }
        }

        impl Default for $name {
            fn default() -> Self {
                Self::new()
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.fmt(f)
            }
        }

        impl From<Uuid> for $name {
            fn from(value: Uuid) -> Self {
                Self(value)
            }
        }
    )*};
}

ids! {
    /// A raw material, packaging component, intermediate, bulk or utility.
    MaterialId,
    /// A supplier.
    SupplierId,
    /// A quotation.
    QuotationId,
    /// An exchange rate.
    RateId,
    /// A rate of the house.
    HouseRateId,
    /// A formula, all its versions together.
    FormulaId,
    /// One version of a formula.
    FormulaVersionId,
    /// A pack.
    PackId,
    /// A lot.
    LotId,
    /// An entry of the stock ledger.
    MovementId,
    /// A batch ticket.
    TicketId,
    /// A line of a batch ticket.
    TicketLineId,
    /// A weighing.
    WeighingId,
    /// An API token.
    TokenId,
    /// An entry of the audit trail.
    AuditId,
}
