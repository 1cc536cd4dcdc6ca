//! Notes: what a reader of a figure should know although nothing is missing.

use chrono::NaiveDate;
use domain::materials::UseLevelKind;
use kernel::{Currency, Dimension, Exact, Mass, Percent};
use std::fmt;

use crate::{
    basis::Basis,
    source::QuotationSource,
    view::MaterialRef,
    words::{days, figure, mass, percent},
};

/// Something to know about an answer. `Display` gives the sentence for a person.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Note {
    /// A bench sheet or volume formula whose lines miss its nominal total was rescaled to it.
    Rescaled {
        /// The formula's code.
        formula: String,
        /// The version.
        number: u32,
        /// What the lines add up to, kg.
        found: Exact,
        /// The nominal total, kg.
        nominal: Exact,
    },
    /// A volume formula whose lines come to another volume than the one they are written for was rescaled to it.
    VolumeRescaled {
        /// The formula's code.
        formula: String,
        /// The version.
        number: u32,
        /// What the lines come to, litres.
        found: Exact,
        /// The nominal total, litres.
        nominal: Exact,
        /// Whether the volumes of the materials were added up for want of a density of the finished liquid; most liquids shrink a
        /// little when they are mixed.
        by_materials: bool,
    },
    /// A line that is added until a result is reached counts at what it took on average.
    TrimOnAverage {
        /// The formula's code.
        formula: String,
        /// The version.
        number: u32,
        /// The material.
        material: MaterialRef,
        /// The result.
        result: String,
        /// What it took, as a fraction of one of everything charged.
        share: Exact,
        /// Completed tickets that is the average of.
        tickets: usize,
    },
    /// A line that is added until a result is reached counts at what is expected, for no ticket with it is complete yet.
    TrimOnExpected {
        /// The formula's code.
        formula: String,
        /// The version.
        number: u32,
        /// The material.
        material: MaterialRef,
        /// The result.
        result: String,
        /// What is expected, as a fraction of one; `None` where a gap stands in the way.
        share: Option<Exact>,
    },
    /// A line that is added until a result is reached counts as nought: nothing is expected, and no ticket with it is complete yet.
    TrimUnknown {
        /// The formula's code.
        formula: String,
        /// The version.
        number: u32,
        /// The material.
        material: MaterialRef,
        /// The result.
        result: String,
    },
    /// With what its trim lines take on average a version comes to more than its total, and q.s. leaves no room for it; everything
    /// else was rescaled.
    TrimOverTotal {
        /// The formula's code.
        formula: String,
        /// The version.
        number: u32,
        /// What the lines come to, as a fraction of the total.
        found: Exact,
    },
    /// A material stands outside a use level.
    UseLevel {
        /// The formula's code.
        formula: String,
        /// The version.
        number: u32,
        /// The material.
        material: MaterialRef,
        /// All lines together, through intermediates, as supplied, as a fraction of one.
        found: Exact,
        /// The limit that is broken.
        limit: Percent,
        /// Whether the limit is a most (else a least).
        is_most: bool,
        /// Recommended or legal.
        kind: UseLevelKind,
        /// Whether the limit stands on a line of the formula (else on the material).
        from_line: bool,
    },
    /// A price rests on a quotation that ends soon.
    PriceLapsesSoon {
        /// The material.
        material: MaterialRef,
        /// The quotation's reference.
        reference: String,
        /// Its last day.
        until: NaiveDate,
        /// Days from the day asked to the last day.
        in_days: i64,
    },
    /// A price rests on a quotation that no longer holds.
    PriceLapsed {
        /// The material.
        material: MaterialRef,
        /// The quotation's reference.
        reference: String,
        /// Its last day.
        until: NaiveDate,
    },
    /// A price rests on a quotation that does not hold yet.
    PriceNotYetValid {
        /// The material.
        material: MaterialRef,
        /// The quotation's reference.
        reference: String,
        /// Its first day.
        from: NaiveDate,
    },
    /// A quotation was left out of the choice because something is missing to compare it.
    QuotationSetAside {
        /// The material.
        material: MaterialRef,
        /// The quotation's reference.
        reference: String,
        /// What is missing.
        because: String,
    },
    /// The finished liquid has no measured density; that of the material it makes was used.
    DensityOfMaterial {
        /// The formula's code.
        formula: String,
        /// The material.
        material: MaterialRef,
    },
    /// The density that figures per litre stand on is entered without its day or its temperature.
    DensityWithoutConditions {
        /// The formula's code.
        formula: String,
        /// The version.
        number: u32,
        /// Whether the day is missing.
        no_day: bool,
        /// Whether the temperature is missing.
        no_temperature: bool,
    },
    /// Nobody has measured a density; ideal mixing would give this one. No figure of the sheet stands on it.
    DensityEstimate {
        /// The formula's code.
        formula: String,
        /// The version.
        number: u32,
        /// kg/L.
        density: Exact,
        /// What a litre would cost, in the house's currency.
        per_litre: Exact,
        /// The house's currency.
        currency: Currency,
    },
    /// Units are kept back from the batch; those for sale bear what they cost.
    UnitsKeptBack {
        /// The pack's code.
        pack: String,
        /// Filled.
        filled: i128,
        /// Not for sale.
        kept_back: i128,
    },
    /// Without a density there is no figure per litre.
    NoFigurePerLitre {
        /// The formula's code.
        formula: String,
        /// The version.
        number: u32,
    },
    /// No cost per batch is entered for a version: labour, cleaning and tests are not in the figures.
    NoCostPerBatch {
        /// The formula's code.
        formula: String,
        /// The version.
        number: u32,
    },
    /// No line labour is entered for a pack: filling and labelling are not in the figures.
    NoLineLabour {
        /// The pack's code.
        pack: String,
    },
    /// No selling price, so no margin.
    NoSellingPrice {
        /// The pack's code.
        pack: String,
    },
    /// The batch is smaller than the vessel takes.
    BatchBelowSmallest {
        /// The batch asked for.
        batch: Mass,
        /// The least.
        smallest: Mass,
    },
    /// The batch is larger than the vessel takes.
    BatchAboveLargest {
        /// The batch asked for.
        batch: Mass,
        /// The most.
        largest: Mass,
    },
    /// The version costed is not approved.
    NotApproved {
        /// The formula's code.
        formula: String,
        /// The version.
        number: u32,
        /// `draft` or `retired`.
        status: &'static str,
    },
    /// What stays in the filler's tank because it does not fill a unit.
    LeftOver {
        /// kg.
        left_over: Exact,
    },
    /// Ordered in another quantity a material would come by another quotation, pack or price break, and at another price.
    OrderedOtherwise {
        /// The material.
        material: MaterialRef,
        /// Whether the other quantity is ordered for the year (else for one batch).
        for_year: bool,
        /// What it costs on this sheet, per kg or piece.
        now: Exact,
        /// What it would cost.
        otherwise: Exact,
        /// The house's currency.
        currency: Currency,
        /// The offer it would come by.
        source: Box<QuotationSource>,
    },
    /// Intermediates are nested so often that not every line of theirs is spelt out; the figures are whole.
    NotSpeltOut {
        /// Lines of intermediates that are shown at most.
        shown: usize,
    },
    /// A material that is drawn rather than stocked has no receipts; its quotation was used.
    NotStocked {
        /// The material.
        material: MaterialRef,
        /// The basis asked.
        basis: Basis,
    },
    /// The last purchase cost passes over lots that came later and have no value yet.
    LaterLotsUnvalued {
        /// The material.
        material: MaterialRef,
        /// Numbers of those lots.
        lots: Vec<String>,
    },
    /// Nothing of a material is there; its moving average is the one at which the last of it left.
    AverageRanOut {
        /// The material.
        material: MaterialRef,
        /// The day it left.
        on: NaiveDate,
    },
    /// The batch takes more of a material than is there; what is short was costed as the last purchase.
    BeyondShelf {
        /// The material.
        material: MaterialRef,
        /// kg or pieces that are short.
        quantity: Exact,
        /// kg or pieces.
        dimension: Dimension,
    },
}

impl Note {
    /// A stable name for programs.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Rescaled { .. } => "RESCALED",
            Self::VolumeRescaled { .. } => "VOLUME_RESCALED",
            Self::TrimOnAverage { .. } => "TRIM_ON_AVERAGE",
            Self::TrimOnExpected { .. } => "TRIM_ON_EXPECTED",
            Self::TrimUnknown { .. } => "TRIM_UNKNOWN",
            Self::TrimOverTotal { .. } => "TRIM_OVER_TOTAL",
            Self::UseLevel { .. } => "USE_LEVEL",
            Self::PriceLapsesSoon { .. } => "PRICE_LAPSES_SOON",
            Self::PriceLapsed { .. } => "PRICE_LAPSED",
            Self::PriceNotYetValid { .. } => "PRICE_NOT_YET_VALID",
            Self::QuotationSetAside { .. } => "QUOTATION_SET_ASIDE",
            Self::DensityOfMaterial { .. } => "DENSITY_OF_MATERIAL",
            Self::DensityWithoutConditions { .. } => "DENSITY_WITHOUT_CONDITIONS",
            Self::DensityEstimate { .. } => "DENSITY_ESTIMATE",
            Self::UnitsKeptBack { .. } => "UNITS_KEPT_BACK",
            Self::NoFigurePerLitre { .. } => "NO_FIGURE_PER_LITRE",
            Self::NoCostPerBatch { .. } => "NO_COST_PER_BATCH",
            Self::NoLineLabour { .. } => "NO_LINE_LABOUR",
            Self::NoSellingPrice { .. } => "NO_SELLING_PRICE",
            Self::BatchBelowSmallest { .. } => "BATCH_BELOW_SMALLEST",
            Self::BatchAboveLargest { .. } => "BATCH_ABOVE_LARGEST",
            Self::NotApproved { .. } => "NOT_APPROVED",
            Self::LeftOver { .. } => "LEFT_OVER",
            Self::OrderedOtherwise { .. } => "ORDERED_OTHERWISE",
            Self::NotSpeltOut { .. } => "NOT_SPELT_OUT",
            Self::NotStocked { .. } => "NOT_STOCKED",
            Self::LaterLotsUnvalued { .. } => "LATER_LOTS_UNVALUED",
            Self::AverageRanOut { .. } => "AVERAGE_RAN_OUT",
            Self::BeyondShelf { .. } => "BEYOND_SHELF",
        }
    }
}

/// Grams, for bench sheets are in grams whatever their size.
fn grams(kg: &Exact) -> String {
    figure(&(kg * &Exact::whole(1000)), 6)
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Rescaled { formula, number, found, nominal } => write!(
                f,
                "version {number} of formula {formula}: lines add up to {} g against nominal {} g; rescaled",
                grams(found),
                grams(nominal)
            ),
            Self::VolumeRescaled { formula, number, found, nominal, by_materials } => {
                write!(
                    f,
                    "version {number} of formula {formula}: lines come to {} L against nominal {} L{}",
                    figure(found, 6),
                    figure(nominal, 9),
                    if *by_materials { " by the densities of the materials" } else { "" }
                )?;
                match found.checked_div(nominal) {
                    Ok(ratio) => write!(f, ", {} of it; rescaled", percent(&ratio)),
                    Err(_) => f.write_str("; rescaled"),
                }
            }
            Self::TrimOnAverage { formula, number, material, result, share, tickets } => write!(
                f,
                "version {number} of formula {formula}: {material}, added to {result}, counts at {}, which it took on average of {}",
                percent(share),
                if *tickets == 1 { "1 ticket".to_owned() } else { format!("{tickets} tickets") }
            ),
            Self::TrimOnExpected { formula, number, material, result, share } => write!(
                f,
                "version {number} of formula {formula}: {material}, added to {result}, counts at what is expected{}; no ticket with it is complete yet",
                share.as_ref().map(|share| format!(", {}", percent(share))).unwrap_or_default()
            ),
            Self::TrimUnknown { formula, number, material, result } => write!(
                f,
                "version {number} of formula {formula}: {material}, added to {result}, counts as nought; nothing is expected and no ticket with it is complete yet"
            ),
            Self::TrimOverTotal { formula, number, found } => write!(
                f,
                "version {number} of formula {formula}: with what is added to a result on average its lines come to {} of the total; rescaled",
                percent(found)
            ),
            Self::UseLevel { formula, number, material, found, limit, is_most, kind, from_line } => write!(
                f,
                "{material} stands at {} w/w in version {number} of formula {formula}; {} {} is {limit}{}",
                percent(found),
                match kind {
                    UseLevelKind::Recommended => "the recommended",
                    UseLevelKind::Legal => "the legal",
                },
                if *is_most { "most" } else { "least" },
                if *from_line { " (from its line)" } else { "" }
            ),
            Self::PriceLapsesSoon { material, reference, until, in_days } => write!(
                f,
                "the price of {material} rests on quotation {reference}, which ends on {until}, in {}",
                days(*in_days)
            ),
            Self::PriceLapsed { material, reference, until } => {
                write!(f, "the price of {material} rests on quotation {reference}, which ended on {until}")
            }
            Self::PriceNotYetValid { material, reference, from } => write!(
                f,
                "the price of {material} rests on quotation {reference}, which does not hold before {from}"
            ),
            Self::QuotationSetAside { material, reference, because } => {
                write!(f, "quotation {reference} of {material} was not compared: {because}")
            }
            Self::DensityOfMaterial { formula, material } => write!(
                f,
                "formula {formula} has no measured density; the density entered for {material} was used"
            ),
            Self::DensityWithoutConditions { formula, number, no_day, no_temperature } => write!(
                f,
                "the density of version {number} of formula {formula} is entered without {}, which figures per litre \
                 stand on",
                match (no_day, no_temperature) {
                    (true, true) => "the day and the temperature it was measured at",
                    (true, false) => "the day it was measured on",
                    _ => "the temperature it was measured at",
                }
            ),
            Self::DensityEstimate { formula, number, density, per_litre, currency } => write!(
                f,
                "version {number} of formula {formula} has no density; an estimate by ideal mixing of its materials is \
                 {} kg/L, at which a litre would cost {} {currency}; it may be out by some percent, and nothing here \
                 stands on it",
                figure(density, 4),
                figure(per_litre, 4)
            ),
            Self::UnitsKeptBack { pack, filled, kept_back } => write!(
                f,
                "of {filled} units of pack {pack} that are filled, {kept_back} are kept back; the rest bear their cost"
            ),
            Self::NoFigurePerLitre { formula, number } => {
                write!(
                    f,
                    "version {number} of formula {formula} has no density, so there is no figure per litre"
                )
            }
            Self::NoCostPerBatch { formula, number } => write!(
                f,
                "version {number} of formula {formula} has no cost per batch; labour, cleaning and tests are not in the figures"
            ),
            Self::NoLineLabour { pack } => {
                write!(f, "pack {pack} has no line labour; filling and labelling are not in the figures")
            }
            Self::NoSellingPrice { pack } => write!(f, "pack {pack} has no selling price, so no margin"),
            Self::BatchBelowSmallest { batch, smallest } => {
                write!(f, "a batch of {batch} is smaller than the least the vessel takes, {smallest}")
            }
            Self::BatchAboveLargest { batch, largest } => {
                write!(f, "a batch of {batch} is larger than the most the vessel takes, {largest}")
            }
            Self::NotApproved { formula, number, status } => {
                write!(f, "version {number} of formula {formula} is {status}")
            }
            Self::LeftOver { left_over } => {
                write!(
                    f,
                    "{} is left that does not fill a unit; its cost is spread over the units",
                    mass(left_over)
                )
            }
            Self::OrderedOtherwise { material, for_year, now, otherwise, currency, source } => write!(
                f,
                "ordered for {}, {material} would cost {} {currency} per {} instead of {}: {source}",
                if *for_year { "the year" } else { "one batch" },
                figure(otherwise, 6),
                source.dimension.unit(),
                figure(now, 6),
            ),
            Self::NotSpeltOut { shown } => write!(
                f,
                "only {shown} lines of intermediates are spelt out; the figures include all of them"
            ),
            Self::NotStocked { material, basis } => {
                write!(
                    f,
                    "{material} is drawn, not stocked, so it has no {basis} cost; its quotation was used"
                )
            }
            Self::LaterLotsUnvalued { material, lots } => write!(
                f,
                "the last purchase of {material} passes over what came later and has no value yet: {}",
                lots.join(", ")
            ),
            Self::AverageRanOut { material, on } => write!(
                f,
                "nothing of {material} is there; its moving average is the one at which the last of it left on {on}"
            ),
            Self::BeyondShelf { material, quantity, dimension } => write!(
                f,
                "{} {} of {material} are needed beyond what is there; that part was costed as the last purchase",
                figure(quantity, 6),
                dimension.unit()
            ),
        }
    }
}

/// Adds a note once.
pub(crate) fn add_note(notes: &mut Vec<Note>, note: Note) {
    if !notes.contains(&note) {
        notes.push(note);
    }
}
