//! Lots: deliveries and batches traced as one, and whether they may be used on a day.

use chrono::NaiveDate;
use kernel::{
    Density, Money, Percent, Quantity,
    ids::{LotId, MaterialId, SupplierId, TicketId},
};
use serde::{Deserialize, Serialize};

use crate::{dates::Span, materials::Material};

pub mod containers;
mod made_expiry;
pub mod papers;
mod sought;
mod standing;
mod terms;

pub use made_expiry::made_expiry;
pub use sought::{coarsely_sought, sought};
pub use standing::LotStanding;
pub use terms::{Ended, LotTerms, Ownership, WrittenDates};

/// What may be done with a lot. Expiry and retest are not statuses: they follow from dates.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LotStatus {
    /// Received or made, not yet examined.
    Quarantine,
    /// May be used.
    Released,
    /// Set aside until a question is answered.
    OnHold,
    /// Never to be used.
    Rejected,
}

impl LotStatus {
    /// All statuses.
    pub const ALL: [Self; 4] = [Self::Quarantine, Self::Released, Self::OnHold, Self::Rejected];

    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Quarantine => "quarantine",
            Self::Released => "released",
            Self::OnHold => "on hold",
            Self::Rejected => "rejected",
        }
    }

    /// Whether this may become that: a rejection is final.
    pub const fn may_become(self, next: Self) -> bool {
        !matches!((self, next), (Self::Rejected, _) | (_, Self::Quarantine)) && self as u8 != next as u8
    }
}

/// A lot. `on_hand` and `value` are the balances kept beside the ledger; the ledger proves them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Lot {
    /// Identity.
    pub id: LotId,
    /// The house's own number for it.
    pub number: String,
    /// What it is a lot of.
    pub material: MaterialId,
    /// Who delivered it.
    pub supplier: Option<SupplierId>,
    /// The supplier's number for it, exactly as written.
    pub supplier_lot: Option<String>,
    /// The ticket that made it.
    pub made_by: Option<TicketId>,
    /// What may be done with it.
    pub status: LotStatus,
    /// The day it arrived or was made here.
    pub received_on: NaiveDate,
    /// The day its maker made it.
    pub made_on: Option<NaiveDate>,
    /// Last day of use.
    pub expires_on: Option<NaiveDate>,
    /// To be re-examined before use after this day.
    pub retest_on: Option<NaiveDate>,
    /// The day its container was opened.
    pub opened_on: Option<NaiveDate>,
    /// From its certificate of analysis; else the material's.
    pub density: Option<Density>,
    /// From its certificate of analysis; else the material's.
    pub active_matter: Option<Percent>,
    /// Where it stands.
    pub location: Option<String>,
    /// What came in.
    pub received: Quantity,
    /// What it cost landed, or to make; `None` is a gap, never nought.
    pub received_value: Option<Money>,
    /// What is there now.
    pub on_hand: Quantity,
    /// The value of what is there now.
    pub value: Option<Money>,
    /// Promised to tickets that have not weighed it yet.
    pub reserved: Quantity,
    /// Remarks.
    pub note: Option<String>,
    /// What it is bound to beyond its dates.
    #[serde(default)]
    pub terms: LotTerms,
}

/// Why a lot may not be used on a day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Unusable {
    /// Still in quarantine.
    Quarantine,
    /// On hold.
    OnHold,
    /// Rejected.
    Rejected,
    /// It arrives or was made after that day.
    NotYetReceived {
        /// The day.
        on: NaiveDate,
    },
    /// Past its expiry date.
    Expired {
        /// The expiry date.
        on: NaiveDate,
    },
    /// Past its retest date.
    RetestDue {
        /// The retest date.
        on: NaiveDate,
    },
    /// Opened longer ago than its period after opening.
    OpenedTooLong {
        /// The last day of that period.
        until: NaiveDate,
    },
    /// In date, but with less life left than asked for.
    TooLittleLife {
        /// The last day of use.
        until: NaiveDate,
        /// The life that should be left.
        wanted: Span,
    },
    /// Ordered, and not there.
    Ordered {
        /// The day it is expected, when one is known.
        due: Option<NaiveDate>,
    },
    /// Released for other products than this.
    Restricted,
    /// Belongs to a customer, for whose products alone it may be used.
    OfCustomer,
    /// Released until a day that has passed.
    ReleaseEnded {
        /// The last day it held.
        until: NaiveDate,
    },
}

impl std::fmt::Display for Unusable {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Quarantine => f.write_str("it is in quarantine"),
            Self::OnHold => f.write_str("it is on hold"),
            Self::Rejected => f.write_str("it is rejected"),
            Self::NotYetReceived { on } => write!(f, "it is not there before {on}"),
            Self::Expired { on } => write!(f, "it expired on {on}"),
            Self::RetestDue { on } => write!(f, "it was due for retest on {on}"),
            Self::OpenedTooLong { until } => write!(f, "opened, it could be used until {until}"),
            Self::TooLittleLife { until, wanted } => {
                write!(f, "it may be used until {until}, and {wanted} of life are asked for")
            }
            Self::Ordered { due: Some(due) } => write!(f, "it is ordered, and expected on {due}"),
            Self::Ordered { due: None } => f.write_str("it is ordered, and not there"),
            Self::Restricted => f.write_str("it is released for other products only"),
            Self::OfCustomer => {
                f.write_str("it belongs to a customer, for whose products alone it may be used")
            }
            Self::ReleaseEnded { until } => write!(f, "its release ended on {until}"),
        }
    }
}

impl Lot {
    /// The last day of use by expiry, retest, opening and the end of its release, whichever is first; `None` when nothing limits
    /// it.
    pub fn last_day_of_use(&self, material: &Material) -> Option<NaiveDate> {
        [self.expires_on, self.retest_by(), self.opened_until(material), self.terms.released_until]
            .into_iter()
            .flatten()
            .min()
    }

    fn opened_until(&self, material: &Material) -> Option<NaiveDate> {
        self.opened_on.zip(material.period_after_opening).and_then(|(opened, period)| period.after(opened))
    }

    /// Everything that stands against using it on a day for anything at all; empty when it may be used. "31 March" is usable on
    /// 31 March.
    pub fn unusable_on(&self, day: NaiveDate, material: &Material) -> Vec<Unusable> {
        self.unusable_for(day, material, None)
    }

    /// Everything that stands against using it on a day for a product, by the material made; empty when it may be used.
    pub fn unusable_for(
        &self,
        day: NaiveDate,
        material: &Material,
        product: Option<MaterialId>,
    ) -> Vec<Unusable> {
        let mut reasons = Vec::new();
        if self.is_ordered() {
            reasons.push(Unusable::Ordered { due: self.terms.due_on });
        }
        match self.status {
            LotStatus::Released => {}
            LotStatus::Quarantine => reasons.push(Unusable::Quarantine),
            LotStatus::OnHold => reasons.push(Unusable::OnHold),
            LotStatus::Rejected => reasons.push(Unusable::Rejected),
        }
        if self.received_on > day {
            reasons.push(Unusable::NotYetReceived { on: self.received_on });
        }
        if let Some(on) = self.expires_on.filter(|on| *on < day) {
            reasons.push(Unusable::Expired { on });
        }
        if let Some(on) = self.retest_by().filter(|on| *on < day) {
            reasons.push(Unusable::RetestDue { on });
        }
        if !self.terms.allows(product) {
            reasons.push(match self.terms.ownership {
                Ownership::Customer => Unusable::OfCustomer,
                Ownership::House | Ownership::Consignment => Unusable::Restricted,
            });
        }
        if let Some(until) = self.terms.released_until.filter(|until| *until < day) {
            reasons.push(Unusable::ReleaseEnded { until });
        }
        if let Some(until) = self.opened_until(material).filter(|until| *until < day) {
            reasons.push(Unusable::OpenedTooLong { until });
        }
        if let Some((until, wanted)) = self.last_day_of_use(material).zip(material.minimum_remaining_life)
            && until >= day
            && wanted.after(day).is_some_and(|needed| needed > until)
        {
            reasons.push(Unusable::TooLittleLife { until, wanted });
        }
        reasons
    }

    /// What is there, not promised, and not in a container that may not be used.
    pub fn free(&self) -> i64 {
        self.on_hand.raw().saturating_sub(self.terms.blocked).saturating_sub(self.reserved.raw()).max(0)
    }
}
