//! What an import hands over: rows already read into values, naming each other by code, each knowing where it stood.
//!
//! A draft's own figures are checked when it is made (units, dates, ranges); whether the codes it names exist, and whether the
//! whole fits what the house already knows, is found out when the set is applied.

use chrono::NaiveDate;
use domain::{
    cas::Cas,
    cautions::{CautionGroup, HazardCode, SignalWord},
    dates::Span,
    formulas::{AmountBasis, Approval, LineAmount, MeasuredDensity, Trim, VersionStatus, WrittenAs},
    house_rates::{HouseRateAmount, HouseRateOf},
    lots::LotStatus,
    making::{FillingRun, MakingCost},
    materials::{MaterialKind, UseLevel},
    packs::ComponentPer,
    quotations::{BreakCounts, DutyOn, FreightPer, PriceBasis},
    text::code_key,
};
use kernel::{Count, Currency, Density, Mass, Money, Percent, Quantity, Rate, UnitPrice};
use rust_decimal::Decimal;
use serde::Serialize;
use std::{collections::BTreeSet, fmt, sync::Arc};

/// Where a draft was read: a file (or a worksheet of it) and the row as a spreadsheet counts it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Place {
    /// `materials.csv`, or `stock.xlsx, worksheet Lots`.
    pub file: Arc<str>,
    /// From 1, the heading row counted.
    pub row: u32,
}

impl Place {
    /// A place.
    pub fn new(file: impl Into<Arc<str>>, row: u32) -> Self {
        Self { file: file.into(), row }
    }

    /// One column of this row, as problems name it: `materials.csv, row 12, density`.
    pub fn column(&self, heading: &str) -> String {
        format!("{self}, {heading}")
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}, row {}", self.file, self.row)
    }
}

/// Everything of one import, in the order it was read.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct ImportSet {
    /// Materials.
    pub materials: Vec<MaterialDraft>,
    /// Suppliers.
    pub suppliers: Vec<SupplierDraft>,
    /// Quotations, each with all its offers.
    pub quotations: Vec<QuotationDraft>,
    /// Exchange rates.
    pub rates: Vec<RateDraft>,
    /// Rates of the house.
    pub house_rates: Vec<HouseRateDraft>,
    /// Formulas, each with its versions and their lines.
    pub formulas: Vec<FormulaDraft>,
    /// Packs.
    pub packs: Vec<PackDraft>,
    /// Lots.
    pub lots: Vec<LotDraft>,
    /// Codes whose own rows had problems and are missing above.
    #[serde(skip)]
    pub unread: Unread,
}

impl ImportSet {
    /// Whether nothing was read.
    pub fn is_empty(&self) -> bool {
        self.materials.is_empty()
            && self.suppliers.is_empty()
            && self.quotations.is_empty()
            && self.rates.is_empty()
            && self.house_rates.is_empty()
            && self.formulas.is_empty()
            && self.packs.is_empty()
            && self.lots.is_empty()
    }
}

/// Codes that were named by rows which could not be read, in the form codes are compared in
/// ([`code_key`]). A draft naming one of them is not to be told that the code is unknown: its row has been reported already.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Unread {
    /// Of materials.
    pub materials: BTreeSet<String>,
    /// Of suppliers.
    pub suppliers: BTreeSet<String>,
    /// Of formulas.
    pub formulas: BTreeSet<String>,
    /// Of packs.
    pub packs: BTreeSet<String>,
    /// Names of rates of the house.
    pub house_rates: BTreeSet<String>,
}

impl Unread {
    /// Whether a code is among them, letter case aside.
    pub fn names(codes: &BTreeSet<String>, code: &str) -> bool {
        codes.contains(&code_key(code))
    }
}

/// A material.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MaterialDraft {
    /// Where it stood.
    #[serde(skip)]
    pub place: Place,
    /// The house's short code.
    pub code: String,
    /// What it is called here.
    pub name: String,
    /// Never [`MaterialKind::FinishedProduct`]: those come with packs.
    pub kind: MaterialKind,
    /// INCI name.
    pub inci: Option<String>,
    /// CAS numbers.
    pub cas: Vec<Cas>,
    /// Plausible (above nought, at most the house's limit).
    pub density: Option<Density>,
    /// Above nought, at most 100 %.
    pub active_matter: Option<Percent>,
    /// From not above to, both within 0 to 100 %.
    pub use_level: Option<UseLevel>,
    /// Unopened, from the made date.
    pub shelf_life: Option<Span>,
    /// Once opened.
    pub period_after_opening: Option<Span>,
    /// Life that must be left on the day of use.
    pub minimum_remaining_life: Option<Span>,
    /// From receipt to release.
    pub inspection_time: Option<Span>,
    /// From the safety data sheet.
    pub signal_word: Option<SignalWord>,
    /// From the safety data sheet.
    pub hazard_statements: Vec<HazardCode>,
    /// What it is to other materials.
    pub caution_groups: Vec<CautionGroup>,
    /// What it must not meet.
    pub incompatible_with: Vec<CautionGroup>,
    /// °C.
    pub flash_point_celsius: Option<Decimal>,
    /// Supplier's reference and revision date in words.
    pub safety_data_sheet: Option<String>,
    /// Remarks.
    pub note: Option<String>,
}

/// A supplier.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SupplierDraft {
    /// Where it stood.
    #[serde(skip)]
    pub place: Place,
    /// The house's short code.
    pub code: String,
    /// Name.
    pub name: String,
    /// ISO 3166 two-letter country, upper case.
    pub country: Option<String>,
    /// Currency of quotations that name none.
    pub currency: Currency,
    /// From order to delivery.
    pub lead_time: Option<Span>,
    /// Remarks.
    pub note: Option<String>,
}

/// A quotation: all rows of one supplier with one reference.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct QuotationDraft {
    /// Where its first row stood.
    #[serde(skip)]
    pub place: Place,
    /// The supplier's reference, unique per supplier.
    pub reference: String,
    /// Supplier's code.
    pub supplier: String,
    /// Material's code.
    pub material: String,
    /// As stated beside a price or in its own column; `None`: the supplier's.
    pub currency: Option<Currency>,
    /// First day it holds.
    pub valid_from: NaiveDate,
    /// Last day it holds; `None` until replaced.
    pub valid_until: Option<NaiveDate>,
    /// `None` for the supplier's usual.
    pub lead_time: Option<Span>,
    /// The least that may be ordered, above nought.
    pub minimum_order: Option<Quantity>,
    /// Freight.
    pub freight: Option<FreightDraft>,
    /// What else stands beside the prices.
    pub terms: TermsDraft,
    /// At least one.
    pub offers: Vec<OfferDraft>,
    /// Remarks.
    pub note: Option<String>,
}

/// Freight of a quotation, in the quotation's currency.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FreightDraft {
    /// Not below nought, at most eight places: [`kernel::UnitPrice::from_decimal`] takes it.
    pub amount: Decimal,
    /// Of what.
    pub per: FreightPer,
}

/// What stands beside the prices of a quotation, in its currency; what nobody said is `None`.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct TermsDraft {
    /// What the prices are of; `None`: the material as supplied.
    pub price_basis: Option<PriceBasis>,
    /// What a price break counts; `None`: the order line.
    pub break_counts: Option<BreakCounts>,
    /// Off the price, from 0 to below 100 %.
    pub discount: Option<Percent>,
    /// Import duty, not below nought.
    pub duty: Option<Percent>,
    /// What duty is taken of; `None`: the price.
    pub duty_on: Option<DutyOn>,
    /// Charges besides freight.
    pub charges: Option<Vec<ChargeDraft>>,
    /// What a small order costs extra, and the value below which an order is small; as [`FreightDraft::amount`].
    pub small_order: Option<(Decimal, Decimal)>,
    /// For each pack; as [`FreightDraft::amount`].
    pub deposit: Option<Decimal>,
    /// The share of deposits that is forfeited, 0 to 100 %; `None`: none.
    pub deposit_forfeited: Option<Percent>,
}

/// A charge of a quotation besides freight, in the quotation's currency.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ChargeDraft {
    /// What it is for.
    pub name: String,
    /// As [`FreightDraft::amount`].
    pub amount: Decimal,
    /// Of what.
    pub per: ChargePerDraft,
}

/// What a charge is by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum ChargePerDraft {
    /// As freight is.
    By(FreightPer),
    /// So much worth of the goods, above nought, in the quotation's currency: 100 where the charge is a percent.
    Goods(Decimal),
    /// So much of freight, likewise.
    Freight(Decimal),
}

/// A price for one pack size from one order quantity up, in the quotation's currency.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OfferDraft {
    /// Where it stood.
    #[serde(skip)]
    pub place: Place,
    /// What is sold as one, above nought.
    pub pack: Quantity,
    /// Not below nought, at most eight places: [`kernel::UnitPrice::from_decimal`] takes it.
    pub price: Decimal,
    /// What the price is of, above nought: the pack itself, 1 kg, 1000 pieces …
    pub price_per: Quantity,
    /// The order quantity from which the price holds, above nought; `None` from one pack.
    pub from_quantity: Option<Quantity>,
}

/// An exchange rate.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RateDraft {
    /// Where it stood.
    #[serde(skip)]
    pub place: Place,
    /// The currency given.
    pub from: Currency,
    /// The currency got; never the same.
    pub to: Currency,
    /// Units of `to` for one unit of `from`.
    pub rate: Rate,
    /// The day it holds from.
    pub date: NaiveDate,
    /// Who published it.
    pub source: String,
}

/// A rate of the house.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HouseRateDraft {
    /// Where it stood.
    #[serde(skip)]
    pub place: Place,
    /// What formulas and packs call it by.
    pub name: String,
    /// What it is of.
    pub of: HouseRateOf,
    /// How much; it fits what it is of, and its money is in the house's currency.
    pub amount: HouseRateAmount,
    /// The day it holds from.
    pub from: NaiveDate,
    /// Remarks.
    pub note: Option<String>,
}

/// A formula with the versions that were read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FormulaDraft {
    /// Where its first version stood.
    #[serde(skip)]
    pub place: Place,
    /// The house's short code.
    pub code: String,
    /// Name.
    pub name: String,
    /// Code of the intermediate or bulk it makes.
    pub makes: String,
    /// By number; at least one, no number twice.
    pub versions: Vec<VersionDraft>,
}

/// One version of a formula with all its lines.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct VersionDraft {
    /// Where it stood.
    #[serde(skip)]
    pub place: Place,
    /// 1, 2, 3 …
    pub number: u32,
    /// Where it stands; when approved, `approval` is there.
    pub status: VersionStatus,
    /// How the amounts are written.
    pub written_as: WrittenAs,
    /// Of the finished liquid, measured.
    pub density: Option<MeasuredDensity>,
    /// At least 0, below 100 %.
    pub process_loss: Percent,
    /// Not below nought.
    pub heel: Mass,
    /// Above nought.
    pub usual_batch: Mass,
    /// The least the vessel takes.
    pub smallest_batch: Option<Mass>,
    /// The most the vessel takes.
    pub largest_batch: Option<Mass>,
    /// In the house's currency.
    pub cost_per_batch: Option<Money>,
    /// At least 0; with the process loss below 100 %.
    pub evaporation: Percent,
    /// Not below nought.
    pub samples: Mass,
    /// Not below nought.
    pub retains: Mass,
    /// By name; `None` when the import holds no sheet of making costs: what a known version has stays as it is.
    pub costs: Option<Vec<MakingCostDraft>>,
    /// Of what it makes.
    pub shelf_life: Option<Span>,
    /// Who approved it and when.
    pub approval: Option<Approval>,
    /// Remarks.
    pub note: Option<String>,
    /// By position; at least one, no position twice, one q.s. at most.
    pub lines: Vec<LineDraft>,
}

/// A named cost of making a version.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MakingCostDraft {
    /// Where it stood.
    #[serde(skip)]
    pub place: Place,
    /// Its money is in the house's currency; the rate it may name is one by name.
    pub cost: MakingCost,
}

/// One line of a formula version.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LineDraft {
    /// Where it stood.
    #[serde(skip)]
    pub place: Place,
    /// 1, 2, 3 …, the order of addition.
    pub position: u32,
    /// The group handled together.
    pub phase: Option<String>,
    /// Material's code.
    pub material: String,
    /// How much.
    pub amount: LineAmount,
    /// Of what.
    pub basis: AmountBasis,
    /// What it is there for.
    pub function: Option<String>,
    /// % w/w as supplied.
    pub use_level_from: Option<Percent>,
    /// % w/w as supplied.
    pub use_level_to: Option<Percent>,
    /// Either side of the target, % of the target.
    pub weighing_tolerance: Option<Percent>,
    /// What to do when it is added.
    pub instruction: Option<String>,
    /// Whether it is added until a result is reached.
    pub trim: Option<Trim>,
}

/// A pack.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PackDraft {
    /// Where it stood.
    #[serde(skip)]
    pub place: Place,
    /// The house's short code.
    pub code: String,
    /// Name.
    pub name: String,
    /// Formula's code.
    pub formula: String,
    /// A volume or a mass, above nought.
    pub fill: Quantity,
    /// Filled beyond the declared quantity, at least 0, at most 100 %.
    pub overfill: Percent,
    /// At least 0, below 100 %.
    pub filling_loss: Percent,
    /// Units in one case.
    pub units_per_case: Option<u32>,
    /// Per unit, in the house's currency.
    pub line_labour: Option<Money>,
    /// Its money is in the house's currency; no line labour stands beside a speed.
    pub run: FillingRun,
    /// Per unit without tax, in the house's currency.
    pub price: Option<Money>,
    /// Expected sales in a year.
    pub units_a_year: Option<u64>,
    /// Remarks.
    pub note: Option<String>,
    /// `None` when the import holds no sheet of pack components: what a known pack has stays as it is.
    pub components: Option<Vec<ComponentDraft>>,
}

/// A component of a pack.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ComponentDraft {
    /// Where it stood.
    #[serde(skip)]
    pub place: Place,
    /// Material's code.
    pub material: String,
    /// Pieces, above nought.
    pub quantity: Count,
    /// Of what.
    pub per: ComponentPer,
    /// At least 0, below 100 %.
    pub loss: Percent,
}

/// One receipt of one maker's lot.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LotDraft {
    /// Where it stood.
    #[serde(skip)]
    pub place: Place,
    /// The house's own number for it.
    pub number: String,
    /// Material's code.
    pub material: String,
    /// As received, above nought; a volume is turned into mass through the lot's or the material's density.
    pub quantity: Quantity,
    /// What it cost; `None` is a gap.
    pub cost: Option<LotCost>,
    /// Supplier's code.
    pub supplier: Option<String>,
    /// The supplier's number for it, exactly as written.
    pub supplier_lot: Option<String>,
    /// The day it arrived.
    pub received_on: NaiveDate,
    /// Not after `received_on`.
    pub made_on: Option<NaiveDate>,
    /// Not before `received_on`.
    pub expires_on: Option<NaiveDate>,
    /// To be re-examined before use after this day.
    pub retest_on: Option<NaiveDate>,
    /// Not before `received_on`.
    pub opened_on: Option<NaiveDate>,
    /// What may be done with it.
    pub status: LotStatus,
    /// From its certificate of analysis.
    pub density: Option<Density>,
    /// From its certificate of analysis.
    pub active_matter: Option<Percent>,
    /// Where it stands.
    pub location: Option<String>,
    /// Remarks.
    pub note: Option<String>,
}

/// What a lot cost, in the house's currency; not below nought.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum LotCost {
    /// All of it, landed.
    Value(Money),
    /// Per kilogram or per piece, landed.
    UnitCost(UnitPrice),
}
