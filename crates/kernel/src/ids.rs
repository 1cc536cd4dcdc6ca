//! Identities: one newtype per kind of thing, so that a lot's id cannot stand where a material's is meant; and maps by identity.

use serde::{Deserialize, Serialize};
use std::{
    collections::{HashMap, HashSet},
    fmt,
    hash::{Hash, Hasher},
};
use uuid::Uuid;

/// What is found by an identity. Identities are made here and never by an outsider, so the hash need not be one that withstands
/// chosen keys; a cost sheet looks some hundred things up.
pub type IdMap<K, V> = HashMap<K, V, foldhash::fast::RandomState>;

/// Identities without order. See [`IdMap`].
pub type IdSet<K> = HashSet<K, foldhash::fast::RandomState>;

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident),* $(,)?) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub Uuid);

        impl Hash for $name {
            fn hash<H: Hasher>(&self, state: &mut H) {
                // One number rather than a slice of bytes with its length.
                state.write_u128(self.0.as_u128());
            }
        }

        impl $name {
            /// A new identity, ordered by the time it was made (UUID version 7, RFC 9562).
            pub fn new() -> Self {
                Self(Uuid::now_v7())
            }

            /// The identity that belongs to a number, for what has to be the same every time (UUID version 8, RFC 9562). Six of
            /// the number's bits are not in it.
            pub const fn from_number(number: u128) -> Self {
                let kept = !(0xf_u128 << 76) & !(0x3_u128 << 62);
                Self(Uuid::from_u128(number & kept | 0x8_u128 << 76 | 0x2_u128 << 62))
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
    /// A container of a lot.
    ContainerId,
    /// An entry of the stock ledger.
    MovementId,
    /// A correction of a lot's cost.
    CorrectionId,
    /// A count of the shelf.
    CountId,
    /// A batch ticket.
    TicketId,
    /// A line of a batch ticket.
    TicketLineId,
    /// A weighing.
    WeighingId,
    /// A balance.
    BalanceId,
    /// A result entered on a batch ticket.
    BatchCheckId,
    /// An API token.
    TokenId,
    /// A scenario that is kept.
    ScenarioId,
    /// An entry of the audit trail.
    AuditId,
}
