//! What a question sees: the catalogue, or the catalogue with assumed changes laid over it.
//!
//! Every look-up of a price or a rate goes through a [`View`], so a what-if runs the same code as the plain question.

mod terms;

use chrono::NaiveDate;
use domain::{
    Catalogue,
    formulas::{Formula, FormulaVersion},
    house_rates::HouseRate,
    materials::Material,
    packs::Pack,
    quotations::{Offer, Quotation, Terms},
    suppliers::Supplier,
};
use kernel::{
    Currency, Density, Exact, Money, Percent, Quantity, Rate, UnitPrice,
    ids::{FormulaVersionId, MaterialId, PackId, QuotationId, SupplierId},
};
use rust_decimal::Decimal;
use serde::Serialize;
use std::{borrow::Cow, collections::BTreeSet, fmt, sync::Arc};

use crate::{EngineError, Gap, basis::HistoryBook, orders::StatedOrder, trim::TrimBook};

pub use terms::{ChargeSeen, SourceEnd, TermsAdjustment, TermsChange};
use terms::{has_ended, terms_seen};

/// A material as answers name it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub struct MaterialRef {
    /// Identity.
    pub id: MaterialId,
    /// The house's short code.
    pub code: String,
    /// Name.
    pub name: String,
}

impl fmt::Display for MaterialRef {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ({})", self.code, self.name)
    }
}

impl From<&Material> for MaterialRef {
    fn from(material: &Material) -> Self {
        Self { id: material.id, code: material.code.clone(), name: material.name.clone() }
    }
}

/// Assumed changes. Later ones are laid over earlier ones; each holds from its day on, `None` meaning always.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Overlay {
    /// Prices.
    pub prices: Vec<PriceChange>,
    /// Exchange rates.
    pub rates: Vec<RateChange>,
    /// Freight, duty and surcharges.
    pub terms: Vec<TermsChange>,
    /// Suppliers that can no longer be bought from.
    pub ended: Vec<SourceEnd>,
    /// Materials that are still used at the old price: none of the changes is laid over what they cost.
    pub old_price: BTreeSet<MaterialId>,
}

/// Prices assumed to be others than quoted. Freight and terms stay as quoted, and so does whether a price is of active matter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PriceChange {
    /// Whose prices.
    pub scope: PriceScope,
    /// How they change.
    pub change: PriceAdjustment,
    /// From which day on.
    pub from: Option<NaiveDate>,
}

/// Whose prices a change is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PriceScope {
    /// All offers of one quotation.
    Quotation(QuotationId),
    /// All quotations of one material.
    Material(MaterialId),
    /// All quotations of one supplier.
    Supplier(SupplierId),
    /// One pack size of a material, at every break, whoever offers it.
    Pack {
        /// The material.
        material: MaterialId,
        /// The pack.
        pack: Quantity,
    },
    /// One pack size of one quotation.
    Offer {
        /// The quotation.
        quotation: QuotationId,
        /// The pack.
        pack: Quantity,
        /// One price break of it, the pack itself naming the price from one pack; `None` for all of them.
        price_break: Option<Quantity>,
    },
    /// Every quotation in one currency.
    Currency(Currency),
}

impl PriceScope {
    /// Whether some price of a quotation is meant.
    pub fn touches(self, quotation: &Quotation) -> bool {
        match self {
            Self::Quotation(id) => id == quotation.id,
            Self::Material(id) => id == quotation.material,
            Self::Supplier(id) => id == quotation.supplier,
            Self::Currency(currency) => currency == quotation.currency,
            Self::Pack { .. } | Self::Offer { .. } => {
                quotation.offers.iter().any(|offer| self.covers(quotation, offer))
            }
        }
    }

    /// Whether the price of an offer is meant.
    pub fn covers(self, quotation: &Quotation, offer: &Offer) -> bool {
        match self {
            Self::Pack { material, pack } => material == quotation.material && pack == offer.pack,
            Self::Offer { quotation: id, pack, price_break } => {
                let from = offer.from_quantity.unwrap_or(offer.pack);
                id == quotation.id && pack == offer.pack && price_break.is_none_or(|at| at == from)
            }
            _ => self.touches(quotation),
        }
    }
}

/// How prices change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PriceAdjustment {
    /// Up by so many percent, or down where it is below nought.
    ByPercent(Percent),
    /// This price for every offer in scope, in its own currency.
    To {
        /// The price of `per`.
        price: UnitPrice,
        /// What the price is of: 1 kg, 1 L, 1000 pieces.
        per: Quantity,
    },
}

/// An exchange rate assumed to be another than entered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RateChange {
    /// The currency given.
    pub from: Currency,
    /// The currency got.
    pub to: Currency,
    /// How it changes.
    pub change: RateAdjustment,
    /// From which day on.
    pub from_day: Option<NaiveDate>,
}

/// How a rate changes. The opposite pair changes with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RateAdjustment {
    /// Up by so many percent, or down where it is below nought.
    ByPercent(Percent),
    /// This rate.
    To(Rate),
}

impl Overlay {
    /// The first day on which every change holds, and at least the day given.
    pub fn settled_from(&self, day: NaiveDate) -> NaiveDate {
        let prices = self.prices.iter().filter_map(|change| change.from);
        let rates = self.rates.iter().filter_map(|change| change.from_day);
        let terms = self.terms.iter().filter_map(|change| change.from);
        let ended = self.ended.iter().filter_map(|end| end.last_order.succ_opt());
        prices.chain(rates).chain(terms).chain(ended).fold(day, NaiveDate::max)
    }

    /// Whether it changes what nothing costs.
    pub fn is_empty(&self) -> bool {
        self.prices.is_empty() && self.rates.is_empty() && self.terms.is_empty() && self.ended.is_empty()
    }
}

/// A quotation with its prices as the view has them on a day.
#[derive(Debug, Clone)]
pub struct QuotationSeen<'a> {
    /// The quotation as entered.
    pub quotation: &'a Quotation,
    /// Its offers with the prices that hold.
    pub offers: Vec<OfferSeen>,
    /// The freight that holds.
    pub freight: Option<ChargeSeen>,
    /// What else holds beside the prices.
    pub terms: Cow<'a, Terms>,
}

/// An offer with its price as the view has it on a day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OfferSeen {
    /// What is sold as one.
    pub pack: Quantity,
    /// The price of `price_per` in `currency`.
    pub price: Exact,
    /// The price's currency.
    pub currency: Currency,
    /// What the price is of.
    pub price_per: Quantity,
    /// The order quantity from which it holds.
    pub from_quantity: Option<Quantity>,
    /// Whether the price is assumed rather than quoted.
    pub assumed: bool,
}

/// The exchange rate a figure went through.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RateUsed {
    /// The currency given.
    pub from: Currency,
    /// The currency got.
    pub to: Currency,
    /// Units of `to` for one of `from`, exactly.
    pub rate: Exact,
    /// The rate as entered: of this pair, or of the opposite one when `inverted`. `None` when it is assumed only.
    pub entered: Option<Decimal>,
    /// The day it holds from.
    pub date: Option<NaiveDate>,
    /// Who published it.
    pub source: String,
    /// Whether the opposite pair was turned round.
    pub inverted: bool,
    /// Whether a scenario changed it.
    pub assumed: bool,
}

impl fmt::Display for RateUsed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.assumed {
            return write!(
                f,
                "1 {} = {} {} (assumed)",
                self.from,
                crate::words::figure(&self.rate, 8),
                self.to
            );
        }
        let (one, other) = if self.inverted { (self.to, self.from) } else { (self.from, self.to) };
        if let (Some(entered), Some(date)) = (self.entered, self.date) {
            write!(f, "1 {one} = {entered} {other} on {date} ({})", self.source)?;
        }
        if self.inverted { f.write_str(", turned round") } else { Ok(()) }
    }
}

/// The catalogue as a question sees it.
#[derive(Debug, Clone, Copy)]
pub struct View<'a> {
    catalogue: &'a Catalogue,
    overlay: Option<&'a Overlay>,
    orders: &'a [StatedOrder],
    version: Option<&'a FormulaVersion>,
    draft: Option<&'a Arc<Formula>>,
    pack: Option<&'a Pack>,
    history: Option<&'a HistoryBook>,
    trim: Option<&'a TrimBook>,
}

impl<'a> View<'a> {
    /// The catalogue as it is.
    pub const fn plain(catalogue: &'a Catalogue) -> Self {
        Self {
            catalogue,
            overlay: None,
            orders: &[],
            version: None,
            draft: None,
            pack: None,
            history: None,
            trim: None,
        }
    }

    /// The catalogue with changes laid over it.
    pub const fn with(catalogue: &'a Catalogue, overlay: &'a Overlay) -> Self {
        Self {
            catalogue,
            overlay: Some(overlay),
            orders: &[],
            version: None,
            draft: None,
            pack: None,
            history: None,
            trim: None,
        }
    }

    /// The same with so much of some materials stated to be ordered at once; cost sheets price them at that.
    pub const fn ordering(mut self, orders: &'a [StatedOrder]) -> Self {
        self.orders = orders;
        self
    }

    /// How much of a material is stated to be ordered at once.
    pub fn stated_order(&self, material: MaterialId) -> Option<Quantity> {
        self.orders.iter().rev().find(|order| order.material == material).map(|order| order.quantity)
    }

    /// The same with one version assumed to be another than written: it has the written one's identity, and other lines, losses or
    /// costs. Cost sheets that name it, or that come to it through an intermediate, see the assumed one.
    pub const fn assuming_version(mut self, version: &'a FormulaVersion) -> Self {
        self.version = Some(version);
        self
    }

    /// The same with a formula of which only a draft that is still being typed is known: its versions are found here, and what is
    /// entered of a formula with its identity stays as it is.
    pub const fn with_draft(mut self, draft: &'a Arc<Formula>) -> Self {
        self.draft = Some(draft);
        self
    }

    /// The same with one pack assumed to be another than entered: it has the entered one's identity.
    pub const fn assuming_pack(mut self, pack: &'a Pack) -> Self {
        self.pack = Some(pack);
        self
    }

    /// The same with other changes laid over it than before.
    pub(crate) const fn overlaid(mut self, overlay: &'a Overlay) -> Self {
        self.overlay = Some(overlay);
        self
    }

    /// The same with what trim lines took on average. Without it they are counted at what is expected of them.
    pub const fn with_trim_use(mut self, book: &'a TrimBook) -> Self {
        self.trim = Some(book);
        self
    }

    /// The same with trim lines counted at what is expected of them.
    pub const fn without_trim_use(mut self) -> Self {
        self.trim = None;
        self
    }

    /// What trim lines took on average, as far as it was handed in.
    pub const fn trim_use(&self) -> Option<&'a TrimBook> {
        self.trim
    }

    /// The changes laid over it.
    pub(crate) fn overlay(&self) -> Overlay {
        self.overlay.cloned().unwrap_or_default()
    }

    /// A version as it is assumed, or as it is written where nothing else is assumed of it.
    pub(crate) fn as_assumed(&self, written: &'a FormulaVersion) -> &'a FormulaVersion {
        self.version.filter(|assumed| assumed.id == written.id).unwrap_or(written)
    }

    /// The same with what was received and frozen, for questions on another basis than replacement. Without it they find gaps.
    pub const fn with_history(mut self, history: &'a HistoryBook) -> Self {
        self.history = Some(history);
        self
    }

    /// What was received and frozen, as far as it was handed in.
    pub const fn history(&self) -> Option<&'a HistoryBook> {
        self.history
    }

    /// The catalogue beneath.
    pub const fn catalogue(&self) -> &'a Catalogue {
        self.catalogue
    }

    /// The currency costs are given in.
    pub const fn currency(&self) -> Currency {
        self.catalogue.settings.currency
    }

    /// A material.
    ///
    /// # Errors
    /// [`EngineError::NotFound`].
    pub fn material(&self, id: MaterialId) -> Result<&'a Arc<Material>, EngineError> {
        self.catalogue.materials.get(id).ok_or_else(|| not_found("material", id))
    }

    /// A formula version and its formula.
    ///
    /// # Errors
    /// [`EngineError::NotFound`].
    pub fn version(
        &self,
        id: FormulaVersionId,
    ) -> Result<(&'a Arc<Formula>, &'a FormulaVersion), EngineError> {
        if let Some(formula) = self.draft
            && let Some(version) = formula.versions.iter().find(|version| version.id == id)
        {
            return Ok((formula, self.as_assumed(version)));
        }
        let (formula, written) =
            self.catalogue.version(id).ok_or_else(|| not_found("formula version", id))?;
        Ok((formula, self.as_assumed(written)))
    }

    /// The formula a version belongs to.
    ///
    /// # Errors
    /// [`EngineError::NotFound`].
    pub fn formula_of(&self, version: &FormulaVersion) -> Result<&'a Arc<Formula>, EngineError> {
        let entered = self.catalogue.formulas.get(version.formula);
        let typed = || self.draft.filter(|formula| formula.id == version.formula);
        entered.or_else(typed).ok_or_else(|| not_found("formula", version.formula))
    }

    /// A pack.
    ///
    /// # Errors
    /// [`EngineError::NotFound`].
    pub fn pack(&self, id: PackId) -> Result<&'a Pack, EngineError> {
        if let Some(assumed) = self.pack.filter(|assumed| assumed.id == id) {
            return Ok(assumed);
        }
        let entered = self.catalogue.packs.get(id).map(|pack| &**pack);
        entered.ok_or_else(|| not_found("pack", id))
    }

    /// A supplier.
    ///
    /// # Errors
    /// [`EngineError::NotFound`].
    pub fn supplier(&self, id: SupplierId) -> Result<&'a Arc<Supplier>, EngineError> {
        self.catalogue.suppliers.get(id).ok_or_else(|| not_found("supplier", id))
    }

    /// A material's quotations, whether they hold on the day or not, with the prices of that day.
    pub fn quotations_of(
        &self,
        material: MaterialId,
        on: NaiveDate,
    ) -> impl Iterator<Item = QuotationSeen<'a>> + use<'a> {
        let view = self.buying(material);
        view.catalogue
            .quotations_of(material)
            .iter()
            .filter(move |quotation| view.overlay.is_none_or(|overlay| !has_ended(overlay, quotation, on)))
            .map(move |quotation| {
                let (freight, terms, assumed) = terms_seen(view.overlay, quotation, on);
                let mut offers = view.offers_of(quotation, on);
                for offer in &mut offers {
                    offer.assumed |= assumed;
                }
                QuotationSeen { quotation, offers, freight, terms }
            })
    }

    /// The view as a material is bought through it: without what is assumed of prices while it is still used at the old one.
    #[must_use]
    pub(crate) fn buying(mut self, material: MaterialId) -> Self {
        self.overlay = self.overlay.filter(|overlay| !overlay.old_price.contains(&material));
        self
    }

    /// The last day something can be ordered from a supplier; `None` while it does not end.
    pub(crate) fn last_order(&self, supplier: SupplierId, material: MaterialId) -> Option<NaiveDate> {
        self.overlay.and_then(|overlay| overlay.last_order(supplier, material))
    }

    /// The same over another catalogue, which holds what is assumed of formulas, packs and rates of the house.
    pub(crate) const fn over(mut self, catalogue: &'a Catalogue) -> Self {
        self.catalogue = catalogue;
        self
    }

    fn offers_of(&self, quotation: &Quotation, on: NaiveDate) -> Vec<OfferSeen> {
        let changes: Vec<&PriceChange> = self
            .overlay
            .iter()
            .flat_map(|overlay| &overlay.prices)
            .filter(|change| change.from.is_none_or(|from| from <= on))
            .filter(|change| change.scope.touches(quotation))
            .collect();
        quotation
            .offers
            .iter()
            .map(|offer| {
                let mut seen = OfferSeen {
                    pack: offer.pack,
                    price: offer.price.to_exact(),
                    currency: offer.price.currency(),
                    price_per: offer.price_per,
                    from_quantity: offer.from_quantity,
                    assumed: false,
                };
                for change in changes.iter().filter(|change| change.scope.covers(quotation, offer)) {
                    seen.assumed = true;
                    match change.change {
                        PriceAdjustment::ByPercent(percent) => {
                            seen.price = &seen.price * &(Exact::ONE + percent.fraction());
                        }
                        PriceAdjustment::To { price, per } => {
                            seen.price = price.to_exact();
                            seen.currency = price.currency();
                            seen.price_per = per;
                        }
                    }
                }
                seen
            })
            .collect()
    }

    /// The rate from one currency to another on a day: of the pair, else of the opposite pair turned round exactly.
    pub fn rate(&self, from: Currency, to: Currency, on: NaiveDate) -> Option<RateUsed> {
        let direct = self.catalogue.rate_on(from, to, on).map(|entered| (entered, false));
        let stored = direct.or_else(|| self.catalogue.rate_on(to, from, on).map(|entered| (entered, true)));
        let mut used = stored.and_then(|(entered, inverted)| {
            let figure = entered.rate.to_exact();
            let rate = if inverted { Exact::ONE.checked_div(&figure).ok()? } else { figure };
            Some(RateUsed {
                from,
                to,
                rate,
                entered: Some(entered.rate.decimal()),
                date: Some(entered.date),
                source: entered.source.clone(),
                inverted,
                assumed: false,
            })
        });
        let changes = self.overlay.iter().flat_map(|overlay| &overlay.rates);
        for change in changes.filter(|change| change.from_day.is_none_or(|day| day <= on)) {
            let opposite = match (change.from, change.to) {
                pair if pair == (from, to) => false,
                pair if pair == (to, from) => true,
                _ => continue,
            };
            let turned = |factor: Exact| {
                if opposite { Exact::ONE.checked_div(&factor).ok() } else { Some(factor) }
            };
            match (change.change, used.as_mut()) {
                (RateAdjustment::To(rate), Some(used)) => {
                    if let Some(rate) = turned(rate.to_exact()) {
                        used.rate = rate;
                        used.assumed = true;
                    }
                }
                (RateAdjustment::To(rate), None) => {
                    used = turned(rate.to_exact()).map(|rate| RateUsed {
                        from,
                        to,
                        rate,
                        entered: None,
                        date: change.from_day,
                        source: String::new(),
                        inverted: false,
                        assumed: true,
                    });
                }
                (RateAdjustment::ByPercent(percent), Some(used)) => {
                    if let Some(factor) = turned(Exact::ONE + percent.fraction()) {
                        used.rate = &used.rate * &factor;
                        used.assumed = true;
                    }
                }
                (RateAdjustment::ByPercent(_), None) => {}
            }
        }
        used
    }

    /// The rate of the house that is paid by the hour, by name, as of a day; overheads are none of these.
    pub fn house_rate(&self, name: &str, on: NaiveDate) -> Option<&'a HouseRate> {
        self.catalogue.house_rate_on(name, on).filter(|rate| !rate.of.is_overhead())
    }

    /// An amount of a currency in the house's, with the rate it went through; none where it is in the house's already.
    ///
    /// # Errors
    /// [`Gap::NoRate`], saying what needed it.
    pub fn in_house_currency(
        &self,
        amount: &Exact,
        currency: Currency,
        on: NaiveDate,
        needed_for: impl FnOnce() -> String,
    ) -> Result<(Exact, Option<RateUsed>), Gap> {
        let house = self.currency();
        if currency == house {
            return Ok((amount.clone(), None));
        }
        match self.rate(currency, house, on) {
            Some(used) => Ok((amount * &used.rate, Some(used))),
            None => Err(Gap::NoRate { from: currency, to: house, on, needed_for: needed_for() }),
        }
    }

    /// [`View::in_house_currency`] for an amount of money.
    ///
    /// # Errors
    /// [`Gap::NoRate`].
    pub fn money_in_house_currency(
        &self,
        money: Money,
        on: NaiveDate,
        needed_for: impl FnOnce() -> String,
    ) -> Result<(Exact, Option<RateUsed>), Gap> {
        self.in_house_currency(&money.to_exact(), money.currency(), on, needed_for)
    }

    /// The density of a version's finished liquid: as measured on it, else as entered for the material it makes. The flag says
    /// that it is the material's.
    pub fn liquid_density(&self, version: &FormulaVersion) -> Option<(Density, bool)> {
        if let Some(measured) = &version.density {
            return Some((measured.density, false));
        }
        let formula = self.catalogue.formulas.get(version.formula)?;
        let density = self.catalogue.materials.get(formula.makes)?.density?;
        Some((density, true))
    }
}

fn not_found(what: &'static str, key: impl fmt::Display) -> EngineError {
    EngineError::NotFound { what, key: key.to_string() }
}
