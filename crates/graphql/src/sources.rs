//! Where figures come from.

use async_graphql::{Context, Enum, Interface, Object};
use kernel::{Dimension, Exact};

use crate::{
    amounts::{Money, Quantity, UnitPrice},
    bases::Basis,
    caller::Desk,
    errors::Result,
    formulas::FormulaVersion,
    packs::{Pack, pack_of},
    quotations::{Quotation, quotation_of},
    scalars::{CurrencyCode, Date, Decimal},
    suppliers::{Supplier, supplier_of},
};

/// Decimal places of unit prices and unit costs in sources.
const PRICE_PLACES: u32 = 8;
/// Decimal places of rates that were turned round.
const RATE_PLACES: u32 = 10;

/// How it stands with a quotation on a day.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum ValidityState {
    /// It holds, with no end near.
    Valid,
    /// It holds, and ends soon.
    LapsesSoon,
    /// It no longer holds.
    Lapsed,
    /// It does not hold yet.
    NotYetValid,
}

/// How it stands with a quotation on a day.
pub struct Validity(pub engine::source::Validity);

/// How it stands with a quotation on a day.
#[Object]
impl Validity {
    /// The state.
    async fn state(&self) -> ValidityState {
        match self.0 {
            engine::source::Validity::Valid { .. } => ValidityState::Valid,
            engine::source::Validity::LapsesSoon { .. } => ValidityState::LapsesSoon,
            engine::source::Validity::Lapsed { .. } => ValidityState::Lapsed,
            engine::source::Validity::NotYet { .. } => ValidityState::NotYetValid,
        }
    }

    /// Its last day; null until replaced, or when it does not hold yet.
    async fn until(&self) -> Option<Date> {
        match self.0 {
            engine::source::Validity::Valid { until } => until.map(Date),
            engine::source::Validity::LapsesSoon { until, .. }
            | engine::source::Validity::Lapsed { until, .. } => Some(Date(until)),
            engine::source::Validity::NotYet { .. } => None,
        }
    }

    /// Whether it holds on the day.
    async fn holds(&self) -> bool {
        self.0.holds()
    }

    /// The same in words: "lapsed on 2026-03-31, 12 days ago".
    async fn text(&self) -> String {
        self.0.to_string()
    }
}

/// The exchange rate a figure went through.
pub struct RateUsed(pub engine::view::RateUsed);

/// The exchange rate a figure went through.
#[Object]
impl RateUsed {
    /// The currency given.
    async fn from(&self) -> CurrencyCode {
        CurrencyCode(self.0.from)
    }

    /// The currency got.
    async fn to(&self) -> CurrencyCode {
        CurrencyCode(self.0.to)
    }

    /// Units of `to` for one of `from`, rounded half to even to 10 places where the opposite pair was turned round.
    async fn rate(&self) -> Result<Decimal> {
        match self.0.rate.to_decimal_exactly() {
            Some(rate) => Ok(Decimal(rate)),
            None => Decimal::rounded(&self.0.rate, RATE_PLACES),
        }
    }

    /// The rate as it was entered, of this pair or, when `inverted`, of the opposite one; null when it is assumed only.
    async fn entered(&self) -> Option<Decimal> {
        self.0.entered.map(Decimal)
    }

    /// The day it holds from.
    async fn date(&self) -> Option<Date> {
        self.0.date.map(Date)
    }

    /// Who published it.
    async fn source(&self) -> &str {
        &self.0.source
    }

    /// Whether the opposite pair was turned round.
    async fn inverted(&self) -> bool {
        self.0.inverted
    }

    /// Whether a scenario changed it.
    async fn assumed(&self) -> bool {
        self.0.assumed
    }

    /// The same in words.
    async fn text(&self) -> String {
        self.0.to_string()
    }
}

/// Where a figure comes from.
#[derive(Interface)]
#[graphql(field(
    name = "sentence",
    ty = "String",
    desc = "Where the figure comes from, in a sentence for a person."
))]
pub enum Source {
    /// A supplier's offer.
    Quotation(QuotationSource),
    /// The formula of an intermediate made here.
    RolledUp(RolledUpSource),
    /// The cost per batch entered with a formula version.
    CostPerBatch(CostPerBatchSource),
    /// The line labour entered with a pack.
    LineLabour(LineLabourSource),
    /// What was paid or agreed: the basis of the sheet is another than replacement.
    Paid(PaidSource),
    /// A figure entered for the house, the version or the pack: an hourly rate, a named cost of making, a changeover.
    Entered(EnteredSource),
    /// Nobody has entered it.
    Missing(MissingSource),
}

impl From<&engine::Source> for Source {
    fn from(source: &engine::Source) -> Self {
        let sentence = source.to_string();
        match source {
            engine::Source::Quotation(offer) => Self::Quotation(QuotationSource((**offer).clone())),
            engine::Source::RolledUp(made) => Self::RolledUp(RolledUpSource((**made).clone())),
            engine::Source::CostPerBatch { rate, .. } => {
                Self::CostPerBatch(CostPerBatchSource { sentence, rate: rate.clone() })
            }
            engine::Source::LineLabour { pack, rate, .. } => {
                Self::LineLabour(LineLabourSource { sentence, pack: *pack, rate: rate.clone() })
            }
            engine::Source::LastPurchase(_) => Self::paid(Basis::LastPurchase, sentence),
            engine::Source::MovingAverage(_) => Self::paid(Basis::MovingAverage, sentence),
            engine::Source::Fifo(_) => Self::paid(Basis::Fifo, sentence),
            engine::Source::Standard(_) => Self::paid(Basis::Standard, sentence),
            engine::Source::Missing => Self::Missing(MissingSource { sentence }),
            // A making cost, a rate of the house, a changeover: the sentence says which.
            _ => Self::Entered(EnteredSource { sentence }),
        }
    }
}

impl Source {
    fn paid(basis: Basis, sentence: String) -> Self {
        Self::Paid(PaidSource { sentence, basis })
    }
}

/// A figure entered for the house, the version or the pack.
pub struct EnteredSource {
    sentence: String,
}

/// A figure entered for the house, the version or the pack, such as an hourly rate with the day it holds from.
#[Object]
impl EnteredSource {
    /// Where the figure comes from, in a sentence for a person.
    pub(crate) async fn sentence(&self) -> &str {
        &self.sentence
    }
}

/// What was paid for a material, or agreed for it.
pub struct PaidSource {
    sentence: String,
    basis: Basis,
}

/// What was paid for a material by the ledger, or agreed for it on a day and frozen.
#[Object]
impl PaidSource {
    /// Where the figure comes from, in a sentence for a person: receipts, lots, values, days.
    pub(crate) async fn sentence(&self) -> &str {
        &self.sentence
    }

    /// The basis it was worked out on.
    async fn basis(&self) -> Basis {
        self.basis
    }
}

/// The offer a price comes from.
pub struct QuotationSource(pub engine::source::QuotationSource);

/// The offer a price comes from, and how it became a price per kg or piece.
#[Object]
impl QuotationSource {
    /// Where the figure comes from, in a sentence for a person.
    pub(crate) async fn sentence(&self) -> String {
        self.0.to_string()
    }

    /// The quotation.
    async fn quotation(&self, ctx: &Context<'_>) -> Result<Quotation> {
        quotation_of(ctx, self.0.quotation)
    }

    /// The supplier.
    async fn supplier(&self, ctx: &Context<'_>) -> Result<Supplier> {
        supplier_of(ctx, self.0.supplier)
    }

    /// What is sold as one.
    async fn pack(&self) -> Quantity {
        Quantity(self.0.pack)
    }

    /// The price as offered (or assumed), and what it is the price of.
    async fn price(&self) -> Result<UnitPrice> {
        Ok(UnitPrice {
            amount: Decimal::rounded(&self.0.price, PRICE_PLACES)?,
            currency: CurrencyCode(self.0.currency),
            per: Quantity(self.0.price_per),
        })
    }

    /// The order quantity from which the price holds; null from one pack.
    async fn from_quantity(&self) -> Option<Quantity> {
        self.0.from_quantity.map(Quantity)
    }

    /// How much was asked for, kg or pieces, rounded to what is kept.
    async fn demanded(&self) -> Result<Quantity> {
        quantity(&self.0.demanded, self.0.dimension)
    }

    /// Whole packs an order of that takes, at least the minimum order.
    async fn packs(&self) -> Result<Decimal> {
        Decimal::rounded(&Exact::whole(self.0.packs), 0)
    }

    /// Those packs in kg or pieces.
    async fn ordered(&self) -> Result<Quantity> {
        quantity(&self.0.ordered, self.0.dimension)
    }

    /// Freight and charges, kg or piece, in the house's currency; null when none is charged.
    async fn freight(&self, ctx: &Context<'_>) -> Result<Option<UnitPrice>> {
        let currency = ctx.catalogue()?.settings.currency;
        self.0.freight.as_ref().map(|freight| unit_price(freight, self.0.dimension, currency)).transpose()
    }

    /// The exchange rate the price went through; null when it is in the house's currency.
    async fn rate(&self) -> Option<RateUsed> {
        self.0.rate.clone().map(RateUsed)
    }

    /// How it stands with the quotation on the day asked.
    async fn validity(&self) -> Validity {
        Validity(self.0.validity)
    }

    /// Whether a scenario changed the price.
    async fn assumed(&self) -> bool {
        self.0.assumed
    }
}

/// How the cost of an intermediate was rolled up.
pub struct RolledUpSource(pub engine::source::RolledUpSource);

/// How the cost of an intermediate made here was rolled up from its own formula.
#[Object]
impl RolledUpSource {
    /// Where the figure comes from, in a sentence for a person.
    pub(crate) async fn sentence(&self) -> String {
        self.0.to_string()
    }

    /// The version that makes it.
    async fn version(&self, ctx: &Context<'_>) -> Result<FormulaVersion> {
        FormulaVersion::find(ctx, self.0.version)
    }

    /// The batch it was costed at, kg charged.
    async fn usual_batch_kg(&self) -> Decimal {
        crate::amounts::kg(self.0.usual_batch)
    }

    /// What that batch yields, kg.
    async fn good_output_kg(&self) -> Result<Decimal> {
        Decimal::rounded(&self.0.good_output, kernel::Mass::PLACES)
    }

    /// The version's cost per batch over that yield, money per kg; null when none is entered.
    async fn making_per_kg(&self) -> Result<Option<Money>> {
        let making = self.0.making_per_kg.as_ref();
        making.map(|making| Money::rounded(making, PRICE_PLACES, self.0.currency)).transpose()
    }
}

/// The cost per batch entered with a formula version.
pub struct CostPerBatchSource {
    sentence: String,
    rate: Option<engine::view::RateUsed>,
}

/// The cost per batch entered with a formula version: labour, cleaning, tests and disposal.
#[Object]
impl CostPerBatchSource {
    /// Where the figure comes from, in a sentence for a person.
    pub(crate) async fn sentence(&self) -> &str {
        &self.sentence
    }

    /// The exchange rate it went through; null when it is in the house's currency.
    async fn rate(&self) -> Option<RateUsed> {
        self.rate.clone().map(RateUsed)
    }
}

/// The line labour entered with a pack.
pub struct LineLabourSource {
    sentence: String,
    pack: kernel::ids::PackId,
    rate: Option<engine::view::RateUsed>,
}

/// The line labour entered with a pack: filling and labelling.
#[Object]
impl LineLabourSource {
    /// Where the figure comes from, in a sentence for a person.
    pub(crate) async fn sentence(&self) -> &str {
        &self.sentence
    }

    /// The pack.
    async fn pack(&self, ctx: &Context<'_>) -> Result<Pack> {
        pack_of(ctx, self.pack)
    }

    /// The exchange rate it went through; null when it is in the house's currency.
    async fn rate(&self) -> Option<RateUsed> {
        self.rate.clone().map(RateUsed)
    }
}

/// Nobody has entered it.
pub struct MissingSource {
    sentence: String,
}

/// Nobody has entered what the figure needs; the gaps say what that is.
#[Object]
impl MissingSource {
    /// Where the figure should come from, in a sentence for a person.
    pub(crate) async fn sentence(&self) -> &str {
        &self.sentence
    }
}

/// Kilograms or pieces, rounded half to even to what is kept.
pub(crate) fn quantity(value: &Exact, dimension: Dimension) -> Result<Quantity> {
    Ok(Quantity(kernel::Quantity::from_exact_half_even(value, dimension)?))
}

/// Money per kg or piece.
pub(crate) fn unit_price(
    value: &Exact,
    dimension: Dimension,
    currency: kernel::Currency,
) -> Result<UnitPrice> {
    Ok(UnitPrice {
        amount: Decimal::rounded(value, PRICE_PLACES)?,
        currency: CurrencyCode(currency),
        per: quantity(&Exact::ONE, dimension)?,
    })
}
