//! What is assumed of what stands beside a price: freight, duty, surcharges; and of suppliers that can no longer be bought from.

use chrono::NaiveDate;
use domain::quotations::{Charge, Duty, DutyOn, Freight, FreightPer, Quotation, Terms};
use kernel::{
    Currency, Exact, Percent,
    ids::{MaterialId, SupplierId},
};
use std::borrow::Cow;

use super::{Overlay, PriceScope};

/// Freight, duty or a surcharge assumed to be another than quoted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TermsChange {
    /// Whose quotations. Terms are of a whole quotation, so one pack of it means all.
    pub scope: PriceScope,
    /// How they change.
    pub change: TermsAdjustment,
    /// From which day on.
    pub from: Option<NaiveDate>,
}

/// How what stands beside a price changes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TermsAdjustment {
    /// The freight goes up by so many percent, or down where it is below nought; no freight stays none.
    FreightByPercent(Percent),
    /// This freight instead of the quoted one.
    Freight(Freight),
    /// This duty instead of the one entered.
    Duty {
        /// How much.
        percent: Percent,
        /// Of what; `None` for what is entered, or the price where nothing is.
        on: Option<DutyOn>,
    },
    /// A charge more.
    Surcharge(Charge),
}

/// A supplier that can no longer be bought from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SourceEnd {
    /// The supplier.
    pub supplier: SupplierId,
    /// The one material it ends; `None` for all.
    pub material: Option<MaterialId>,
    /// The last day something can be ordered.
    pub last_order: NaiveDate,
}

impl SourceEnd {
    /// Whether a supplier's offers of a material are of what ends.
    pub fn ends(&self, supplier: SupplierId, material: MaterialId) -> bool {
        self.supplier == supplier && self.material.is_none_or(|id| id == material)
    }
}

/// A charge as the view has it on a day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChargeSeen {
    /// How much, in `currency`.
    pub amount: Exact,
    /// The currency of the amount.
    pub currency: Currency,
    /// Of what.
    pub per: FreightPer,
}

impl From<&Freight> for ChargeSeen {
    fn from(freight: &Freight) -> Self {
        Self { amount: freight.amount.to_exact(), currency: freight.amount.currency(), per: freight.per }
    }
}

impl Overlay {
    /// The last day something can be ordered from a supplier; `None` while it does not end.
    pub fn last_order(&self, supplier: SupplierId, material: MaterialId) -> Option<NaiveDate> {
        self.ended.iter().filter(|end| end.ends(supplier, material)).map(|end| end.last_order).min()
    }
}

/// Whether nothing can be ordered by a quotation any more.
pub(super) fn has_ended(overlay: &Overlay, quotation: &Quotation, on: NaiveDate) -> bool {
    overlay.last_order(quotation.supplier, quotation.material).is_some_and(|last| last < on)
}

/// The freight and the terms that hold on a day, and whether any of it is assumed.
pub(super) fn terms_seen<'a>(
    overlay: Option<&Overlay>,
    quotation: &'a Quotation,
    on: NaiveDate,
) -> (Option<ChargeSeen>, Cow<'a, Terms>, bool) {
    let mut freight = quotation.freight.as_ref().map(ChargeSeen::from);
    let mut terms = Cow::Borrowed(&quotation.terms);
    let mut assumed = false;
    let changes = overlay.into_iter().flat_map(|overlay| &overlay.terms);
    let holds = |change: &&TermsChange| change.from.is_none_or(|from| from <= on);
    for change in changes.filter(holds).filter(|change| change.scope.touches(quotation)) {
        assumed = true;
        match &change.change {
            TermsAdjustment::FreightByPercent(percent) => {
                if let Some(freight) = &mut freight {
                    freight.amount = &freight.amount * &(Exact::ONE + percent.fraction());
                }
            }
            TermsAdjustment::Freight(instead) => freight = Some(ChargeSeen::from(instead)),
            TermsAdjustment::Duty { percent, on } => {
                let on = on.or_else(|| terms.duty.map(|duty| duty.on)).unwrap_or_default();
                terms.to_mut().duty = Some(Duty { percent: *percent, on });
            }
            TermsAdjustment::Surcharge(charge) => terms.to_mut().charges.push(charge.clone()),
        }
    }
    (freight, terms, assumed)
}
