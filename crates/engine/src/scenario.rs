//! Scenarios: assumed changes, as people write them down, keep them and ask them again.
//!
//! In JSON each change is an object whose `change` says what kind it is; names are kebab-case and stay as they are, for stored
//! scenarios and files are read again later. Things are named by their identities, figures are decimal strings.

use chrono::NaiveDate;
use domain::{Catalogue, lots::LotStatus};
use kernel::{
    Currency, Exact, Percent, Quantity, Rate, UnitPrice,
    ids::{FormulaVersionId, LotId, MaterialId, PackId, QuotationId, SupplierId},
    limits::SCENARIO_CHANGES_MAX,
};
use serde::{Deserialize, Serialize};
use std::{borrow::Cow, collections::HashMap};

use crate::{
    EngineError, Overlay,
    planned::inspected,
    run_check::RunAmount,
    shelf::Shelf,
    view::{PriceAdjustment, PriceChange, PriceScope, RateAdjustment, RateChange},
};

/// A list of assumed changes. They are laid over the catalogue and the shelf in their order; nothing is written.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Scenario {
    /// What it is called.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// The changes; at most [`SCENARIO_CHANGES_MAX`].
    #[serde(default)]
    pub changes: Vec<Change>,
}

/// One assumed difference.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "change", rename_all = "kebab-case", rename_all_fields = "kebab-case", deny_unknown_fields)]
pub enum Change {
    /// Prices become others than quoted. Freight stays.
    Price {
        /// Whose prices.
        of: PriceOf,
        /// How they change.
        by: PriceBy,
        /// From which day on; always, when it is not said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from: Option<NaiveDate>,
    },
    /// An exchange rate becomes another. The opposite pair changes with it.
    ExchangeRate {
        /// The currency given.
        give: Currency,
        /// The currency got for it.
        get: Currency,
        /// How it changes.
        by: RateBy,
        /// From which day on; always, when it is not said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from: Option<NaiveDate>,
    },
    /// A lot's expiry date becomes another; it may be used on that day.
    LotExpires {
        /// The lot.
        lot: LotId,
        /// Its last day by expiry.
        on: NaiveDate,
    },
    /// A lot is rejected.
    LotRejected {
        /// The lot.
        lot: LotId,
        /// The first day it may not be used.
        on: NaiveDate,
    },
    /// A lot is set aside.
    LotOnHold {
        /// The lot.
        lot: LotId,
        /// The first day it may not be used.
        on: NaiveDate,
    },
    /// Nobody delivers a material before a day. What is on the shelf stays usable.
    MaterialUnavailable {
        /// The material.
        material: MaterialId,
        /// The first day it is delivered again.
        until: NaiveDate,
    },
    /// One more run is planned.
    PlannedRun {
        /// What is made.
        of: RunOf,
        /// How much.
        amount: RunAmount,
        /// The day.
        on: NaiveDate,
    },
    /// A delivery arrives; it can be used after the material's inspection time.
    Delivery {
        /// The material.
        material: MaterialId,
        /// How much: kg or pieces, or a volume of a material whose density is known.
        #[serde(with = "quantity_text")]
        quantity: Quantity,
        /// The day it arrives.
        on: NaiveDate,
        /// Its last day of use.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        expires_on: Option<NaiveDate>,
    },
}

/// Whose prices.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PriceOf {
    /// One quotation.
    Quotation(QuotationId),
    /// Every quotation of a material.
    Material(MaterialId),
    /// Every quotation of a supplier.
    Supplier(SupplierId),
}

/// How prices change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PriceBy {
    /// Up by so many percent, or down below nought.
    Percent(Percent),
    /// To a price.
    Price {
        /// The price.
        price: UnitPrice,
        /// What it is of: 1 kg, 1000 pcs.
        #[serde(with = "quantity_text")]
        per: Quantity,
    },
}

/// How a rate changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RateBy {
    /// Up by so many percent, or down below nought.
    Percent(Percent),
    /// To a rate.
    Rate(Rate),
}

/// What an assumed run makes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RunOf {
    /// A pack, filled with the version approved on the day.
    Pack(PackId),
    /// A version.
    Version(FormulaVersionId),
}

/// Quantities with their unit in one text, `25 kg`.
mod quantity_text {
    use kernel::{DecimalMark, Quantity};
    use serde::{Deserialize, Deserializer, Serializer, de::Error as _};

    pub fn serialize<S: Serializer>(quantity: &Quantity, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(quantity)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Quantity, D::Error> {
        let text = String::deserialize(deserializer)?;
        Quantity::parse(&text, None, DecimalMark::Point).map_err(D::Error::custom)
    }
}

/// A scenario laid over a catalogue and a shelf.
#[derive(Debug)]
pub(crate) struct Laid<'a> {
    pub overlay: Overlay,
    pub shelf: Cow<'a, Shelf>,
    pub bars: HashMap<LotId, (NaiveDate, LotStatus)>,
    pub not_before: HashMap<MaterialId, NaiveDate>,
    pub deliveries: Vec<Delivery>,
    pub runs: Vec<AssumedRun>,
    /// The last day a change of the shelf names.
    pub last_day: Option<NaiveDate>,
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
    /// Whether anything about the shelf is assumed to be different.
    pub fn touches_shelf(&self) -> bool {
        self.last_day.is_some()
    }
}

/// Lays a scenario over a catalogue and a shelf.
///
/// # Errors
/// [`EngineError::TooManyChanges`]; [`EngineError::NotFound`] for something that does not exist;
/// [`EngineError::ChangeDoesNotFit`] for a figure or a unit that cannot be assumed.
pub(crate) fn lay<'a>(
    catalogue: &Catalogue,
    shelf: &'a Shelf,
    scenario: &Scenario,
) -> Result<Laid<'a>, EngineError> {
    if scenario.changes.len() > SCENARIO_CHANGES_MAX {
        return Err(EngineError::TooManyChanges { found: scenario.changes.len() });
    }
    let mut laid = Laid {
        overlay: Overlay::default(),
        shelf: Cow::Borrowed(shelf),
        bars: HashMap::new(),
        not_before: HashMap::new(),
        deliveries: Vec::new(),
        runs: Vec::new(),
        last_day: None,
    };
    for (change, position) in scenario.changes.iter().zip(1..) {
        laid.lay_one(catalogue, change, position)?;
    }
    Ok(laid)
}

fn known<T>(found: Option<T>, what: &'static str, key: impl ToString) -> Result<T, EngineError> {
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
    })
}

fn above_minus_hundred(percent: Percent) -> Result<Percent, String> {
    if percent.fraction() < Exact::whole(-1) {
        return Err(format!("{percent} would bring the figure below nought"));
    }
    Ok(percent)
}

/// A quantity in the scaled integer a material is kept by, rounded down; `None` when it cannot become one.
fn in_stock(quantity: Quantity, material: &domain::materials::Material) -> Option<i64> {
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
