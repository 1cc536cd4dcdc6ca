//! Laying a scenario over a catalogue and a shelf, change by change.

use chrono::{Days, NaiveDate};
use domain::{
    Catalogue,
    lots::{Lot, LotStatus},
    quotations::{Charge, Freight, FreightPer},
};
use kernel::{
    Exact, Percent, Quantity, UnitPrice,
    ids::{LotId, MaterialId},
    limits::SCENARIO_CHANGES_MAX,
};
use std::{borrow::Cow, collections::HashMap};

use super::{Change, ChargePer, Edited, FreightBy, OldPriceCover, PriceBy, PriceOf, RateBy, RunOf};
use crate::{
    EngineError, Overlay, View,
    outlook::share_of,
    planned::inspected,
    run_check::RunAmount,
    shelf::Shelf,
    view::{
        PriceAdjustment, PriceChange, PriceScope, RateAdjustment, RateChange, SourceEnd, TermsAdjustment,
        TermsChange,
    },
};

/// A scenario laid over a catalogue and a shelf.
#[derive(Debug)]
pub(crate) struct Laid<'a> {
    pub overlay: Overlay,
    pub edited: Edited,
    pub shelf: Cow<'a, Shelf>,
    pub bars: HashMap<LotId, (NaiveDate, LotStatus)>,
    pub not_before: HashMap<MaterialId, NaiveDate>,
    /// Days by which deliveries of a material come late.
    pub late: HashMap<MaterialId, u32>,
    /// Lots called back, each with the position of the change and its day.
    pub recalled: Vec<Recalled>,
    /// Suppliers that end, each with the position of the change.
    pub endings: Vec<EndOfSupply>,
    /// Materials still used at the old price for a stated while.
    pub covers: HashMap<MaterialId, OldPriceCover>,
    pub deliveries: Vec<Delivery>,
    pub runs: Vec<AssumedRun>,
    /// Whether a change is about the shelf.
    pub touched_shelf: bool,
    /// The last day a change of the shelf names.
    pub last_day: Option<NaiveDate>,
    /// The day asked.
    pub as_of: NaiveDate,
}

#[derive(Debug, Clone, Copy)]
pub(crate) struct Recalled {
    pub change: usize,
    pub lot: LotId,
    pub on: NaiveDate,
}

#[derive(Debug, Clone, Copy)]
pub(crate) struct EndOfSupply {
    pub change: usize,
    pub end: SourceEnd,
    pub replaced_on: Option<NaiveDate>,
}

#[derive(Debug, Clone, Copy)]
pub(crate) struct Delivery {
    pub change: usize,
    pub material: MaterialId,
    pub raw: i64,
    pub usable_from: NaiveDate,
    pub expires_on: Option<NaiveDate>,
}

#[derive(Debug, Clone, Copy)]
pub(crate) struct AssumedRun {
    pub change: usize,
    pub of: RunOf,
    pub amount: RunAmount,
    pub on: NaiveDate,
}

impl Laid<'_> {
    /// Whether anything about the shelf, or about what runs take from it, is assumed to be different.
    pub fn touches_shelf(&self) -> bool {
        self.touched_shelf || !self.endings.is_empty() || self.edited.touches_runs()
    }

    /// The first day on which every change of a price or a rate holds, and at least the day given.
    pub fn settled_from(&self, day: NaiveDate) -> NaiveDate {
        self.edited.rates_from.map_or(day, |from| day.max(from)).max(self.overlay.settled_from(day))
    }
}

/// Lays changes over a catalogue and a shelf, asked on a day. Formulas are changed as they are looked at on `on`; `None` for the first
/// day on which every change of a price or a rate holds.
///
/// # Errors
/// [`EngineError::TooManyChanges`]; [`EngineError::NotFound`] for something that does not exist;
/// [`EngineError::ChangeDoesNotFit`] for a figure or a unit that cannot be assumed.
pub(crate) fn lay<'a>(
    view: &View<'_>,
    shelf: &'a Shelf,
    changes: &[Change],
    as_of: NaiveDate,
    on: Option<NaiveDate>,
) -> Result<Laid<'a>, EngineError> {
    if changes.len() > SCENARIO_CHANGES_MAX {
        return Err(EngineError::TooManyChanges { found: changes.len() });
    }
    let mut laid = Laid {
        overlay: Overlay::default(),
        edited: Edited::default(),
        shelf: Cow::Borrowed(shelf),
        bars: HashMap::new(),
        not_before: HashMap::new(),
        late: HashMap::new(),
        recalled: Vec::new(),
        endings: Vec::new(),
        covers: HashMap::new(),
        deliveries: Vec::new(),
        runs: Vec::new(),
        touched_shelf: false,
        last_day: None,
        as_of,
    };
    for (change, position) in changes.iter().zip(1..) {
        laid.lay_one(view.catalogue(), change, position)?;
    }
    // What formulas hold does not depend on prices, so it is changed once it is known for which day.
    let mut edited = Edited::begun(view, on.unwrap_or_else(|| laid.settled_from(as_of)));
    for (change, position) in changes.iter().zip(1..) {
        edited.edit(change, position)?;
    }
    laid.edited = edited.done();
    Ok(laid)
}

pub(super) fn known<T>(found: Option<T>, what: &'static str, key: impl ToString) -> Result<T, EngineError> {
    found.ok_or_else(|| EngineError::NotFound { what, key: key.to_string() })
}

impl Laid<'_> {
    fn lay_one(
        &mut self,
        catalogue: &Catalogue,
        change: &Change,
        position: usize,
    ) -> Result<(), EngineError> {
        let does_not_fit = |why: String| EngineError::ChangeDoesNotFit { position, why };
        match change {
            Change::Price { of, by, from } => {
                let scope = price_scope(catalogue, *of)?;
                let change = match *by {
                    PriceBy::Percent(percent) => {
                        PriceAdjustment::ByPercent(above_minus_hundred(percent).map_err(does_not_fit)?)
                    }
                    PriceBy::Price { per, .. } if !per.is_positive() => {
                        return Err(does_not_fit(format!("a price cannot be of {per}")));
                    }
                    PriceBy::Price { price, per } => PriceAdjustment::To { price, per },
                };
                self.overlay.prices.push(PriceChange { scope, change, from: *from });
            }
            Change::Freight { of, by, from } => {
                let scope = price_scope(catalogue, *of)?;
                let change = match *by {
                    FreightBy::Percent(percent) => {
                        TermsAdjustment::FreightByPercent(above_minus_hundred(percent).map_err(does_not_fit)?)
                    }
                    FreightBy::To { amount, per } => TermsAdjustment::Freight(Freight {
                        amount: not_below_nought(amount, "freight").map_err(does_not_fit)?,
                        per: per_something(per).map_err(does_not_fit)?,
                    }),
                };
                self.overlay.terms.push(TermsChange { scope, change, from: *from });
            }
            Change::Duty { of, to, on, from } => {
                let scope = price_scope(catalogue, *of)?;
                if to.is_negative() {
                    return Err(does_not_fit(format!("a duty of {to} is below nought")));
                }
                let change = TermsAdjustment::Duty { percent: *to, on: *on };
                self.overlay.terms.push(TermsChange { scope, change, from: *from });
            }
            Change::Surcharge { of, name, amount, per, from } => {
                let scope = price_scope(catalogue, *of)?;
                let change = TermsAdjustment::Surcharge(Charge {
                    name: name.clone(),
                    amount: not_below_nought(*amount, "a surcharge").map_err(does_not_fit)?,
                    per: per_something(*per).map_err(does_not_fit)?.into(),
                });
                self.overlay.terms.push(TermsChange { scope, change, from: *from });
            }
            Change::SupplierEnds { supplier, material, on, replaced_on } => {
                known(catalogue.suppliers.get(*supplier), "supplier", supplier)?;
                if let Some(material) = material {
                    known(catalogue.materials.get(*material), "material", material)?;
                }
                if replaced_on.is_some_and(|ready| ready < *on) {
                    return Err(does_not_fit("the replacement is ready before the supplier ends".to_owned()));
                }
                let end = SourceEnd { supplier: *supplier, material: *material, last_order: *on };
                self.overlay.ended.push(end);
                self.endings.push(EndOfSupply { change: position, end, replaced_on: *replaced_on });
            }
            Change::OldPrice { material, cover } => {
                let material = known(catalogue.materials.get(*material), "material", material)?;
                if let OldPriceCover::Ordered(quantity) = cover
                    && in_stock(*quantity, material).is_none()
                {
                    return Err(does_not_fit(format!("{quantity} of {} cannot be ordered", material.code)));
                }
                self.covers.insert(material.id, *cover);
            }
            Change::LotRecalled { lot, on } => {
                // What nothing is left of is no longer on the shelf, and may yet stand in what was made with it.
                if self.shelf.lot(*lot).is_some() {
                    self.bar(*lot, *on, LotStatus::Rejected)?;
                }
                self.recalled.push(Recalled { change: position, lot: *lot, on: *on });
                self.seen(*on);
            }
            Change::LotHolds { lot, quantity } => {
                let known_lot = known(self.shelf.lot(*lot), "lot on the shelf", lot)?;
                if known_lot.on_hand.dimension() != quantity.dimension() || quantity.raw() < 0 {
                    return Err(does_not_fit(format!("{} cannot hold {quantity}", known_lot.number)));
                }
                if let Some(lot) = self.shelf.to_mut().lots.iter_mut().find(|known| known.id == *lot) {
                    // The price paid stays: what is not there is claimed for, so its value goes with it.
                    lot.value =
                        lot.value.and_then(|value| share_of(value, quantity.raw(), lot.on_hand.raw()));
                    lot.on_hand = *quantity;
                }
                self.touched_shelf = true;
            }
            Change::DeliveryLate { material, days } => self.come_late(catalogue, *material, *days)?,
            Change::RunMoved { ticket, to } => {
                known(self.shelf.ticket(*ticket), "open ticket", ticket)?;
                if let Some(ticket) = self.shelf.to_mut().tickets.iter_mut().find(|known| known.id == *ticket)
                {
                    ticket.planned_for = *to;
                }
                self.seen(*to);
            }
            Change::ExchangeRate { give, get, .. } if give == get => {
                return Err(does_not_fit(format!("the rate from {give} to itself is 1")));
            }
            Change::ExchangeRate { give, get, by, from } => {
                let change = match *by {
                    RateBy::Percent(percent) => {
                        let percent = above_minus_hundred(percent).map_err(does_not_fit)?;
                        if percent.fraction() == Exact::whole(-1) {
                            return Err(does_not_fit("a rate cannot fall to nought".to_owned()));
                        }
                        RateAdjustment::ByPercent(percent)
                    }
                    RateBy::Rate(rate) => RateAdjustment::To(rate),
                };
                self.overlay.rates.push(RateChange { from: *give, to: *get, change, from_day: *from });
            }
            Change::LotExpires { lot, on } => {
                known(self.shelf.lot(*lot), "lot on the shelf", lot)?;
                if let Some(lot) = self.shelf.to_mut().lots.iter_mut().find(|known| known.id == *lot) {
                    lot.expires_on = Some(*on);
                }
                self.seen(*on);
            }
            Change::LotRejected { lot, on } => self.bar(*lot, *on, LotStatus::Rejected)?,
            Change::LotOnHold { lot, on } => self.bar(*lot, *on, LotStatus::OnHold)?,
            Change::MaterialUnavailable { material, until } => {
                known(catalogue.materials.get(*material), "material", material)?;
                self.not_before.insert(*material, *until);
                self.seen(*until);
            }
            Change::PlannedRun { of, amount, on } => {
                match of {
                    RunOf::Pack(pack) => known(catalogue.packs.get(*pack), "pack", pack).map(|_| ())?,
                    RunOf::Version(id) => {
                        known(catalogue.version(*id), "formula version", id)?;
                        if matches!(amount, RunAmount::Units(_)) {
                            return Err(does_not_fit("units are of a pack; name the pack".to_owned()));
                        }
                    }
                }
                self.runs.push(AssumedRun { change: position, of: *of, amount: *amount, on: *on });
                self.seen(*on);
            }
            Change::Delivery { material, quantity, on, expires_on } => {
                let material = known(catalogue.materials.get(*material), "material", material)?;
                let kept = in_stock(*quantity, material).ok_or_else(|| {
                    does_not_fit(format!("{quantity} of {} cannot be put on the shelf", material.code))
                })?;
                let usable_from = inspected(material, *on);
                self.deliveries.push(Delivery {
                    change: position,
                    material: material.id,
                    raw: kept,
                    usable_from,
                    expires_on: *expires_on,
                });
                self.seen(usable_from);
            }
            Change::Dose { .. }
            | Change::Substitute { .. }
            | Change::BatchSize { .. }
            | Change::Overfill { .. }
            | Change::ProcessLoss { .. }
            | Change::HouseRate { .. }
            | Change::SalesVolume { .. } => {}
        }
        Ok(())
    }

    /// Deliveries of a material come later than said.
    fn come_late(
        &mut self,
        catalogue: &Catalogue,
        material: MaterialId,
        days: u32,
    ) -> Result<(), EngineError> {
        known(catalogue.materials.get(material), "material", material)?;
        let by = Days::new(u64::from(days));
        let late = self.late.entry(material).or_default();
        *late = late.saturating_add(days);
        for delivery in self.deliveries.iter_mut().filter(|delivery| delivery.material == material) {
            delivery.usable_from = delivery.usable_from.checked_add_days(by).unwrap_or(NaiveDate::MAX);
        }
        let mut last = self.deliveries.iter().map(|delivery| delivery.usable_from).max();
        let as_of = self.as_of;
        let is_coming = |lot: &&mut Lot| lot.material == material && lot.received_on > as_of;
        if self.shelf.lots_of(material).any(|lot| lot.received_on > as_of) {
            for lot in self.shelf.to_mut().lots.iter_mut().filter(is_coming) {
                lot.received_on = lot.received_on.checked_add_days(by).unwrap_or(NaiveDate::MAX);
                last = last.max(Some(lot.received_on));
            }
        }
        self.touched_shelf = true;
        if let Some(last) = last {
            self.seen(last);
        }
        Ok(())
    }

    fn bar(&mut self, lot: LotId, on: NaiveDate, status: LotStatus) -> Result<(), EngineError> {
        known(self.shelf.lot(lot), "lot on the shelf", lot)?;
        // Of two, the rejection stays; of the same twice, the earlier.
        let bar = self.bars.entry(lot).or_insert((on, status));
        if status == LotStatus::Rejected && bar.1 != LotStatus::Rejected {
            bar.1 = status;
        }
        bar.0 = bar.0.min(on);
        self.seen(on);
        Ok(())
    }

    fn seen(&mut self, day: NaiveDate) {
        self.touched_shelf = true;
        self.last_day = Some(self.last_day.map_or(day, |last| last.max(day)));
    }
}

fn price_scope(catalogue: &Catalogue, of: PriceOf) -> Result<PriceScope, EngineError> {
    Ok(match of {
        PriceOf::Quotation(id) => {
            known(catalogue.quotation(id), "quotation", id)?;
            PriceScope::Quotation(id)
        }
        PriceOf::Material(id) => {
            known(catalogue.materials.get(id), "material", id)?;
            PriceScope::Material(id)
        }
        PriceOf::Supplier(id) => {
            known(catalogue.suppliers.get(id), "supplier", id)?;
            PriceScope::Supplier(id)
        }
        PriceOf::Pack { material, pack } => {
            let known = known(catalogue.materials.get(material), "material", material)?;
            let scope = PriceScope::Pack { material, pack };
            offered(catalogue, scope, || format!("{} in packs of {pack}", known.code))?
        }
        PriceOf::Offer { quotation, pack, price_break } => {
            let known = known(catalogue.quotation(quotation), "quotation", quotation)?;
            let scope = PriceScope::Offer { quotation, pack, price_break };
            offered(catalogue, scope, || format!("such an offer in quotation {}", known.reference))?
        }
        PriceOf::Currency(currency) => PriceScope::Currency(currency),
    })
}

/// A scope that must mean some price.
fn offered(
    catalogue: &Catalogue,
    scope: PriceScope,
    named: impl FnOnce() -> String,
) -> Result<PriceScope, EngineError> {
    let meant = match scope {
        PriceScope::Offer { quotation, .. } => {
            catalogue.quotation(quotation).is_some_and(|quotation| scope.touches(quotation))
        }
        PriceScope::Pack { material, .. } => {
            catalogue.quotations_of(material).iter().any(|quotation| scope.touches(quotation))
        }
        _ => true,
    };
    if meant { Ok(scope) } else { Err(EngineError::NotFound { what: "price of", key: named() }) }
}

fn not_below_nought(amount: UnitPrice, what: &str) -> Result<UnitPrice, String> {
    if amount.scaled() < 0 { Err(format!("{what} of less than nought")) } else { Ok(amount) }
}

fn per_something(per: ChargePer) -> Result<FreightPer, String> {
    match per {
        ChargePer::Quantity(quantity) if !quantity.is_positive() => {
            Err(format!("nothing can be charged by {quantity}"))
        }
        per => Ok(per.into()),
    }
}

pub(super) fn above_minus_hundred(percent: Percent) -> Result<Percent, String> {
    if percent.fraction() < Exact::whole(-1) {
        return Err(format!("{percent} would bring the figure below nought"));
    }
    Ok(percent)
}

/// A quantity in the scaled integer a material is kept by, rounded down; `None` when it cannot become one.
pub(crate) fn in_stock(quantity: Quantity, material: &domain::materials::Material) -> Option<i64> {
    if !material.kind.is_stocked() || !quantity.is_positive() {
        return None;
    }
    match (material.stock_dimension(), quantity) {
        (kernel::Dimension::Count, Quantity::Count(count)) => Some(count.thousandths()),
        (kernel::Dimension::Count, _) => None,
        (_, quantity) => {
            let kilograms = quantity.mass_kg(material.density)?;
            kernel::Mass::from_exact_down(&kilograms).ok().map(kernel::Mass::micrograms)
        }
    }
}
