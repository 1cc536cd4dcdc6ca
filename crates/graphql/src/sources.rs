//! Where figures come from.

use async_graphql::{Context, Enum, Interface, Object, SimpleObject};
use kernel::{Dimension, Exact};

use crate::{
    amounts::{Money, Quantity, UnitPrice, percent},
    bases::Basis,
    caller::Desk,
    errors::Result,
    formulas::FormulaVersion,
    lots::Lot,
    packs::{Pack, pack_of},
    quotation_terms::LandedTerms,
    quotations::{Quotation, quotation_of},
    scalars::{CurrencyCode, Date, Decimal},
    shelf::lot_of,
    suppliers::{Supplier, supplier_of},
};

/// Decimal places of unit prices and unit costs in sources.
pub(crate) const PRICE_PLACES: u32 = 8;
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
            engine::Source::LastPurchase(_)
            | engine::Source::MovingAverage(_)
            | engine::Source::Fifo(_)
            | engine::Source::Standard(_) => Self::Paid(PaidSource { sentence, source: source.clone() }),
            engine::Source::Missing => Self::Missing(MissingSource { sentence }),
            // A making cost, a rate of the house, a changeover.
            _ => Self::Entered(EnteredSource { sentence, source: source.clone() }),
        }
    }
}

/// A figure entered for the house, the version or the pack.
pub struct EnteredSource {
    sentence: String,
    source: engine::Source,
}

/// A figure entered for the house, the version or the pack: an hourly rate, an overhead, a named cost of making, a changeover.
#[Object]
impl EnteredSource {
    /// Where the figure comes from, in a sentence for a person.
    pub(crate) async fn sentence(&self) -> &str {
        &self.sentence
    }

    /// The name of the rate of the house, or of the cost of making; null for a changeover.
    async fn name(&self) -> Option<&str> {
        match &self.source {
            engine::Source::HouseRate(rate) => Some(&rate.name),
            engine::Source::MakingCost(cost) => Some(&cost.name),
            _ => None,
        }
    }

    /// The day a rate of the house holds from; null for what is entered with a version or a pack.
    async fn holds_from(&self) -> Option<Date> {
        match &self.source {
            engine::Source::HouseRate(rate) => Some(Date(rate.from)),
            _ => None,
        }
    }

    /// The code of the formula a cost of making is entered with; null for others.
    async fn formula_code(&self) -> Option<&str> {
        match &self.source {
            engine::Source::MakingCost(cost) => Some(&cost.formula),
            _ => None,
        }
    }

    /// The number of the version a cost of making is entered with; null for others.
    async fn version_number(&self) -> Option<u32> {
        match &self.source {
            engine::Source::MakingCost(cost) => Some(cost.number),
            _ => None,
        }
    }

    /// The pack a changeover is entered with; null for others.
    async fn pack(&self, ctx: &Context<'_>) -> Result<Option<Pack>> {
        match &self.source {
            engine::Source::Changeover { pack, .. } => pack_of(ctx, *pack).map(Some),
            _ => Ok(None),
        }
    }

    /// The exchange rate it went through; null when it is in the house's currency.
    async fn rate(&self) -> Option<RateUsed> {
        let rate = match &self.source {
            engine::Source::HouseRate(source) => source.rate.clone(),
            engine::Source::MakingCost(source) => source.rate.clone(),
            engine::Source::Changeover { rate, .. } => rate.clone(),
            _ => None,
        };
        rate.map(RateUsed)
    }
}

/// What was paid for a material, or agreed for it.
pub struct PaidSource {
    sentence: String,
    source: engine::Source,
}

/// So much of a lot, at what it came in for.
pub struct PaidLot {
    lot: kernel::ids::LotId,
    number: String,
    received_on: chrono::NaiveDate,
    quantity: Quantity,
    value: Money,
}

/// So much of a lot, at what it came in for.
#[Object]
impl PaidLot {
    /// The lot.
    async fn lot(&self, ctx: &Context<'_>) -> Result<Lot> {
        lot_of(ctx, self.lot).await
    }

    /// The house's number for it.
    async fn number(&self) -> &str {
        &self.number
    }

    /// The day it came in.
    async fn received_on(&self) -> Date {
        Date(self.received_on)
    }

    /// How much of it, kg or pieces.
    async fn quantity(&self) -> Quantity {
        self.quantity
    }

    /// What that cost landed, to 6 places.
    async fn value(&self) -> Money {
        self.value
    }
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
        match self.source {
            engine::Source::LastPurchase(_) => Basis::LastPurchase,
            engine::Source::MovingAverage(_) => Basis::MovingAverage,
            engine::Source::Fifo(_) => Basis::Fifo,
            _ => Basis::Standard,
        }
    }

    /// The lots it rests on, the oldest first: the one that was purchased last, or those that first in, first out takes. Empty for a
    /// moving average, which is of everything that is there, and for a standard.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn lots(&self) -> Result<Vec<PaidLot>> {
        match &self.source {
            engine::Source::LastPurchase(source) => Ok(vec![PaidLot {
                lot: source.lot,
                number: source.lot_number.clone(),
                received_on: source.received_on,
                quantity: Quantity(source.quantity),
                value: source.value.into(),
            }]),
            engine::Source::Fifo(source) => source
                .takes
                .iter()
                .map(|take| {
                    Ok(PaidLot {
                        lot: take.lot,
                        number: take.lot_number.clone(),
                        received_on: take.received_on,
                        quantity: quantity(&take.quantity, source.dimension)?,
                        value: Money::rounded(&take.value, kernel::Money::PLACES, source.currency)?,
                    })
                })
                .collect(),
            _ => Ok(Vec::new()),
        }
    }

    /// What a moving average is of, kg or pieces there on the day; null for others.
    async fn quantity(&self) -> Result<Option<Quantity>> {
        match &self.source {
            engine::Source::MovingAverage(source) => quantity(&source.quantity, source.dimension).map(Some),
            _ => Ok(None),
        }
    }

    /// What that is worth, to 6 places; null for others. The average is this over the quantity: it is never kept rounded.
    async fn value(&self) -> Result<Option<Money>> {
        match &self.source {
            engine::Source::MovingAverage(source) => {
                Money::rounded(&source.value, kernel::Money::PLACES, source.currency).map(Some)
            }
            _ => Ok(None),
        }
    }

    /// The day a standard was frozen; null for others.
    async fn frozen_on(&self) -> Option<Date> {
        match &self.source {
            engine::Source::Standard(source) => Some(Date(source.frozen_on)),
            _ => None,
        }
    }

    /// The basis a standard was taken from; null for others.
    async fn frozen_from(&self) -> Option<Basis> {
        match &self.source {
            engine::Source::Standard(source) => Some(source.basis.into()),
            _ => None,
        }
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

    /// What the landed price is made of besides freight: goods, duty, charges, small order, forfeited deposit.
    async fn terms(&self, ctx: &Context<'_>) -> Result<LandedTerms> {
        LandedTerms::of(&self.0.terms, self.0.dimension, ctx.catalogue()?.settings.currency)
    }

    /// Freight, per kg or piece, in the house's currency; null when none is charged.
    async fn freight(&self, ctx: &Context<'_>) -> Result<Option<UnitPrice>> {
        let currency = ctx.catalogue()?.settings.currency;
        self.0.freight.as_ref().map(|freight| unit_price(freight, self.0.dimension, currency)).transpose()
    }

    /// What the order is for, which decides pack and price break, in words: "one batch", "a month's use at 60,000 units a year"; null
    /// when only a quantity was asked about.
    async fn ordered_for(&self) -> Option<String> {
        let text = self.0.demand.to_string();
        let text = text.trim_start_matches(", ");
        (!text.is_empty()).then(|| text.to_owned())
    }

    /// The strength a price of active or dry matter went through, %; null for a price of the material as supplied.
    async fn strength_percent(&self) -> Option<Decimal> {
        self.0.terms.strength.as_ref().map(|strength| percent(strength.percent))
    }

    /// Taken off the price, %; nought when nothing is.
    async fn discount_percent(&self) -> Decimal {
        percent(self.0.terms.discount)
    }

    /// What makes a landed price of it, in order: the goods (price by strength, less discount), freight, duty, charges, a small order
    /// charge, deposits that are forfeited. They add up to the unit cost.
    async fn landed(&self, ctx: &Context<'_>) -> Result<Vec<LandedPart>> {
        let currency = ctx.catalogue()?.settings.currency;
        let (terms, dimension) = (&self.0.terms, self.0.dimension);
        let mut parts = vec![("goods".to_owned(), &terms.goods)];
        parts.extend(self.0.freight.iter().map(|freight| ("freight".to_owned(), freight)));
        parts.extend(terms.duty.iter().map(|duty| (format!("duty of {}", duty.percent), &duty.per_unit)));
        parts.extend(terms.charges.iter().map(|charge| (charge.name.clone(), &charge.per_unit)));
        parts.extend(terms.small_order.iter().map(|charge| ("small order charge".to_owned(), charge)));
        parts.extend(terms.deposit.iter().map(|deposit| {
            (format!("deposits, {} of them forfeited", deposit.forfeited), &deposit.per_unit)
        }));
        parts
            .into_iter()
            .map(|(name, value)| Ok(LandedPart { name, each: unit_price(value, dimension, currency)? }))
            .collect()
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

/// A part of a landed price.
#[derive(SimpleObject)]
pub struct LandedPart {
    /// What it is for.
    pub name: String,
    /// Per kg or piece, in the house's currency.
    pub each: UnitPrice,
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

    /// The exchange rate that went through; null when it is in the house's currency.
    async fn making_rate(&self) -> Option<RateUsed> {
        self.0.making_rate.clone().map(RateUsed)
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
