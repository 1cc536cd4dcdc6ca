//! Sources: where a figure on a cost sheet comes from.

use chrono::NaiveDate;
use domain::{house_rates::HouseRateOf, quotations::BreakCounts};
use kernel::{
    Currency, Dimension, Exact, Mass, Money, Quantity, UnitPrice,
    ids::{FormulaId, FormulaVersionId, MaterialId, PackId, QuotationId, SupplierId},
};
use rust_decimal::Decimal;
use std::{fmt, sync::Arc};

use crate::{
    basis::{FifoSource, LastPurchaseSource, MovingAverageSource, StandardSource},
    landed::TermsUsed,
    orders::Demand,
    view::RateUsed,
    words::{days, figure, percent},
};

/// Where a figure comes from. `Display` gives the sentence for a person.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Source {
    /// A supplier's offer.
    Quotation(Arc<QuotationSource>),
    /// Rolled up from the formula of an intermediate made here.
    RolledUp(Arc<RolledUpSource>),
    /// The cost per batch entered with a formula version.
    CostPerBatch {
        /// The formula's code.
        formula: String,
        /// The version.
        number: u32,
        /// The rate it went through.
        rate: Option<RateUsed>,
    },
    /// The line labour entered with a pack.
    LineLabour {
        /// The pack.
        pack: PackId,
        /// Its code.
        code: String,
        /// The rate it went through.
        rate: Option<RateUsed>,
    },
    /// A named cost entered with a formula version.
    MakingCost(Arc<MakingCostSource>),
    /// A rate of the house.
    HouseRate(Arc<HouseRateSource>),
    /// The changeover entered with a pack.
    Changeover {
        /// The pack.
        pack: PackId,
        /// Its code.
        code: String,
        /// The rate it went through.
        rate: Option<RateUsed>,
    },
    /// Nobody has entered it; the line's gaps say what is missing.
    Missing,
    /// The latest receipt with a value.
    LastPurchase(Box<LastPurchaseSource>),
    /// The average of what is there.
    MovingAverage(Box<MovingAverageSource>),
    /// The oldest that is there.
    Fifo(Box<FifoSource>),
    /// What was agreed and frozen.
    Standard(Box<StandardSource>),
}

/// The offer a price comes from and how it became a price per kg or piece.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QuotationSource {
    /// The quotation.
    pub quotation: QuotationId,
    /// The supplier's reference.
    pub reference: String,
    /// The supplier.
    pub supplier: SupplierId,
    /// The supplier's code.
    pub supplier_code: String,
    /// The supplier's name.
    pub supplier_name: String,
    /// What is sold as one.
    pub pack: Quantity,
    /// The price of `price_per`, in `currency`.
    pub price: Exact,
    /// The price's currency.
    pub currency: Currency,
    /// What the price is of.
    pub price_per: Quantity,
    /// The order quantity from which it holds.
    pub from_quantity: Option<Quantity>,
    /// What was asked for, kg or pieces.
    pub demanded: Exact,
    /// What that is: one batch, a month's use, an order as stated.
    pub demand: Demand,
    /// Packs an order of that takes: whole ones, at least the minimum order.
    pub packs: i128,
    /// Those packs in kg or pieces.
    pub ordered: Exact,
    /// kg or pieces.
    pub dimension: Dimension,
    /// Freight per kg or piece, in the house's currency; `None` when none is charged.
    pub freight: Option<Exact>,
    /// What else makes a landed price of the price.
    pub terms: TermsUsed,
    /// The rate the price went through.
    pub rate: Option<RateUsed>,
    /// How it stands with the quotation on the day asked.
    pub validity: Validity,
    /// Whether a scenario changed the price.
    pub assumed: bool,
}

/// How it stands with a quotation on a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Validity {
    /// It holds, with no end near.
    Valid {
        /// Its last day.
        until: Option<NaiveDate>,
    },
    /// It holds, and ends soon.
    LapsesSoon {
        /// Its last day.
        until: NaiveDate,
        /// Days from the day asked to the last day.
        in_days: i64,
    },
    /// It no longer holds.
    Lapsed {
        /// Its last day.
        until: NaiveDate,
        /// Days since.
        days_ago: i64,
    },
    /// It does not hold yet.
    NotYet {
        /// Its first day.
        from: NaiveDate,
    },
}

impl Validity {
    /// The word people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Valid { .. } => "valid",
            Self::LapsesSoon { .. } => "lapses soon",
            Self::Lapsed { .. } => "lapsed",
            Self::NotYet { .. } => "not yet valid",
        }
    }

    /// A stable name for programs.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Valid { .. } => "VALID",
            Self::LapsesSoon { .. } => "LAPSES_SOON",
            Self::Lapsed { .. } => "LAPSED",
            Self::NotYet { .. } => "NOT_YET_VALID",
        }
    }

    /// Whether it holds on the day.
    pub const fn holds(self) -> bool {
        matches!(self, Self::Valid { .. } | Self::LapsesSoon { .. })
    }
}

/// How it stands with the prices behind a figure: as with the worst of them. In order from good to bad.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Standing {
    /// All hold, with no end near.
    Valid,
    /// One ends soon.
    LapsesSoon,
    /// One does not hold yet.
    NotYet,
    /// One no longer holds.
    Lapsed,
    /// Something has no price at all.
    NoPrice,
}

impl Standing {
    /// The word people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Valid => "valid",
            Self::LapsesSoon => "lapses soon",
            Self::NotYet => "not yet valid",
            Self::Lapsed => "lapsed",
            Self::NoPrice => "none",
        }
    }

    /// A stable name for programs.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Valid => "VALID",
            Self::LapsesSoon => "LAPSES_SOON",
            Self::NotYet => "NOT_YET_VALID",
            Self::Lapsed => "LAPSED",
            Self::NoPrice => "NO_PRICE",
        }
    }
}

impl From<Validity> for Standing {
    fn from(validity: Validity) -> Self {
        match validity {
            Validity::Valid { .. } => Self::Valid,
            Validity::LapsesSoon { .. } => Self::LapsesSoon,
            Validity::NotYet { .. } => Self::NotYet,
            Validity::Lapsed { .. } => Self::Lapsed,
        }
    }
}

/// A quotation that a cost sheet rests on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QuotationBehind {
    /// The quotation.
    pub quotation: QuotationId,
    /// The supplier's reference.
    pub reference: String,
    /// The supplier.
    pub supplier: SupplierId,
    /// The material it prices.
    pub material: MaterialId,
    /// How it stands with it on the day of the sheet.
    pub validity: Validity,
}

impl fmt::Display for Validity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Valid { until: None } => f.write_str("valid until replaced"),
            Self::Valid { until: Some(until) } => write!(f, "valid until {until}"),
            Self::LapsesSoon { until, in_days: 0 } => write!(f, "valid until {until}, which is this day"),
            Self::LapsesSoon { until, in_days } => {
                write!(f, "valid until {until}, which is in {}", days(*in_days))
            }
            Self::Lapsed { until, days_ago } => write!(f, "lapsed on {until}, {} ago", days(*days_ago)),
            Self::NotYet { from } => write!(f, "not valid before {from}"),
        }
    }
}

/// How the cost of an intermediate made here was rolled up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RolledUpSource {
    /// The formula that makes it.
    pub formula: FormulaId,
    /// Its code.
    pub code: String,
    /// The version.
    pub version: FormulaVersionId,
    /// The version's number.
    pub number: u32,
    /// The batch it was costed at.
    pub usual_batch: Mass,
    /// What that batch yields, kg.
    pub good_output: Exact,
    /// The cost of making that batch over that yield (cost per batch, named costs, overheads), in the house's currency per kg;
    /// `None` when none is entered.
    pub making_per_kg: Option<Exact>,
    /// The rate that cost went through.
    pub making_rate: Option<RateUsed>,
    /// The house's currency.
    pub currency: Currency,
}

/// A named cost of a formula version and what it is for each of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MakingCostSource {
    /// The formula's code.
    pub formula: String,
    /// The version.
    pub number: u32,
    /// The cost's name.
    pub name: String,
    /// What it is of.
    pub measure: MakingMeasure,
    /// The exchange rate it went through.
    pub rate: Option<RateUsed>,
}

/// What a named cost is of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum MakingMeasure {
    /// Every batch alike.
    Batch,
    /// Each kg charged.
    KgCharged {
        /// As entered.
        price: UnitPrice,
        /// Of the batch.
        kg: Exact,
    },
    /// Each kg that is lost in making or taken as a sample.
    KgOfWaste {
        /// As entered.
        price: UnitPrice,
        /// Of the batch.
        kg: Exact,
    },
    /// Each kg that is lost or left over at the filler.
    KgLostAtFiller {
        /// As entered.
        price: UnitPrice,
        /// Of the run.
        kg: Exact,
    },
}

/// A rate of the house, the day it holds from, and how much was taken of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HouseRateSource {
    /// The rate's name.
    pub name: String,
    /// The day it holds from.
    pub from: NaiveDate,
    /// What it is of.
    pub of: HouseRateOf,
    /// One hour or batch, in `currency`; or the fraction of what labour costs.
    pub each: Exact,
    /// The currency as entered; `None` for a fraction.
    pub currency: Option<Currency>,
    /// Hours, batches, or what labour costs in the house's currency.
    pub amount: Exact,
    /// The house's currency.
    pub house_currency: Currency,
    /// The cost and the capacity it was worked out from.
    pub budget: Option<BudgetUsed>,
    /// The exchange rate it went through.
    pub rate: Option<RateUsed>,
}

/// The cost of a period and the capacity it is spread over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BudgetUsed {
    /// Of the period.
    pub cost: Money,
    /// What the period normally gives.
    pub normal_capacity: Decimal,
    /// What it gave, where that is more than normal and therefore what the cost is spread over.
    pub used_beyond: Option<Decimal>,
}

impl fmt::Display for MakingCostSource {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let per = |price: &UnitPrice, kg: &Exact, of: &str| {
            format!("{} {} per kg {of}, {} kg; ", price.amount(), price.currency(), figure(kg, 6))
        };
        let measure = match &self.measure {
            MakingMeasure::Batch => String::new(),
            MakingMeasure::KgCharged { price, kg } => per(price, kg, "charged"),
            MakingMeasure::KgOfWaste { price, kg } => per(price, kg, "of waste"),
            MakingMeasure::KgLostAtFiller { price, kg } => per(price, kg, "of waste from the filler"),
        };
        write!(
            f,
            "{measure}“{}” entered with version {} of formula {}",
            self.name, self.number, self.formula
        )?;
        self.rate.as_ref().map_or(Ok(()), |rate| write!(f, "; {rate}"))
    }
}

impl fmt::Display for HouseRateSource {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "house rate “{}” from {}: ", self.name, self.from)?;
        let amount = figure(&self.amount, 6);
        match (self.of, self.currency) {
            (HouseRateOf::OverheadOnLabour, _) => {
                write!(f, "{} of {amount} {} of labour", percent(&self.each), self.house_currency)?;
            }
            (of, currency) => {
                let unit = if of == HouseRateOf::OverheadPerBatch { "batch" } else { "h" };
                let currency = currency.unwrap_or(self.house_currency);
                let per = of.per_words();
                write!(f, "{} {currency} per {per} × {amount} {unit}", figure(&self.each, 6))?;
            }
        }
        if let Some(budget) = &self.budget {
            write!(f, "; {} over ", budget.cost)?;
            match budget.used_beyond {
                Some(used) => write!(f, "{used} used, more than the normal {}", budget.normal_capacity)?,
                None => write!(f, "a normal capacity of {}", budget.normal_capacity)?,
            }
        }
        self.rate.as_ref().map_or(Ok(()), |rate| write!(f, "; {rate}"))
    }
}

impl Source {
    /// A stable name for programs.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Quotation(_) => "QUOTATION",
            Self::RolledUp(_) => "ROLLED_UP",
            Self::CostPerBatch { .. } => "COST_PER_BATCH",
            Self::LineLabour { .. } => "LINE_LABOUR",
            Self::MakingCost(_) => "MAKING_COST",
            Self::HouseRate(_) => "HOUSE_RATE",
            Self::Changeover { .. } => "CHANGEOVER",
            Self::Missing => "MISSING",
            Self::LastPurchase(_) => "LAST_PURCHASE",
            Self::MovingAverage(_) => "MOVING_AVERAGE",
            Self::Fifo(_) => "FIFO",
            Self::Standard(_) => "STANDARD",
        }
    }
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let rate_of = |rate: &Option<RateUsed>| rate.as_ref().map_or(String::new(), |r| format!("; {r}"));
        match self {
            Self::Quotation(source) => source.fmt(f),
            Self::RolledUp(source) => source.fmt(f),
            Self::CostPerBatch { formula, number, rate } => {
                write!(f, "cost per batch of version {number} of formula {formula}{}", rate_of(rate))
            }
            Self::LineLabour { code, rate, .. } => {
                write!(f, "line labour of pack {code}{}", rate_of(rate))
            }
            Self::MakingCost(source) => source.fmt(f),
            Self::HouseRate(source) => source.fmt(f),
            Self::Changeover { code, rate, .. } => {
                write!(f, "changeover of one run of pack {code}{}", rate_of(rate))
            }
            Self::Missing => f.write_str("missing"),
            Self::LastPurchase(source) => source.fmt(f),
            Self::MovingAverage(source) => source.fmt(f),
            Self::Fifo(source) => source.fmt(f),
            Self::Standard(source) => source.fmt(f),
        }
    }
}

impl fmt::Display for QuotationSource {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let unit = self.dimension.unit();
        write!(
            f,
            "quotation {} of {}: {}{} {} per {}",
            self.reference,
            self.supplier_name,
            if self.assumed { "assumed " } else { "" },
            figure(&self.price, 8),
            self.currency,
            self.price_per,
        )?;
        if let Some(strength) = &self.terms.strength {
            write!(f, " of active matter, at {strength}")?;
        }
        if let Some(from) = self.from_quantity {
            write!(f, " from {from}")?;
            match self.terms.break_counts {
                BreakCounts::Line => {}
                BreakCounts::Order => f.write_str(" in one order")?,
                BreakCounts::Year => f.write_str(" a year")?,
            }
        }
        let demanded = figure(&self.demanded, 6);
        write!(f, ", {} × {} for {demanded} {unit}{}", self.packs, self.pack, self.demand)?;
        self.terms.write_discount(f)?;
        if let Some(freight) = &self.freight {
            write!(f, "; freight {} per {unit}", figure(freight, 6))?;
        }
        self.terms.write_additions(f, unit)?;
        if let Some(rate) = &self.rate {
            write!(f, "; {rate}")?;
        }
        write!(f, "; {}", self.validity)
    }
}

impl fmt::Display for RolledUpSource {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "made here: version {} of formula {}, rolled up at its usual batch of {}, which yields {} kg",
            self.number,
            self.code,
            self.usual_batch,
            figure(&self.good_output, 6)
        )?;
        match &self.making_per_kg {
            Some(making) => write!(f, "; {} {} per kg for making it", figure(making, 6), self.currency),
            None => f.write_str("; nothing entered for making it"),
        }
    }
}
