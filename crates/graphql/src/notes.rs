//! Gaps and notes of answers.

use async_graphql::{Context, Enum, Object, SimpleObject};
use kernel::ids::{FormulaId, MaterialId, PackId};

use crate::{
    caller::Desk,
    errors::Result,
    formulas::Formula,
    materials::{Material, materials_of},
    packs::Pack,
};

/// What kind of thing nobody has entered.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum GapCode {
    /// No quotation of a material that has to be bought.
    NoPrice,
    /// A volume of a material has to become a mass, and its density is not known.
    NoDensity,
    /// The density of a finished liquid is needed and not known.
    NoLiquidDensity,
    /// A line asks for active matter, and the strength of the material is not known.
    NoActiveMatter,
    /// No exchange rate of a pair of currencies for the day.
    NoRate,
    /// An intermediate whose formula has no version approved by the day.
    NoApprovedVersion,
    /// A quotation in pieces of what is kept by mass, or the other way round.
    UnitsDoNotMeet,
    /// Nobody has entered how many units a case holds.
    NoUnitsPerCase,
    /// Nothing of a material was received by the day, so nothing was paid for it.
    NoHistory,
    /// A lot that the figure rests on was received without a value.
    NoLotValue,
    /// What went into a batch came from lots without a value.
    NotValued,
    /// No standard cost of a material was frozen by the day.
    NoStandard,
    /// A price is of active matter, and the strength of the material is not known.
    NoStrength,
    /// Time is to be paid at a rate of the house that is not there on the day.
    NoHouseRate,
    /// An order stated in pieces of what is kept by mass, or the other way round.
    OrderDoesNotFit,
    /// Something else; the text says what.
    Other,
}

/// A gap.
pub struct Gap {
    code: GapCode,
    text: String,
    material: Option<MaterialId>,
    formula: Option<FormulaId>,
    pack: Option<PackId>,
}

/// Something a figure needs and nobody has entered. It is never counted as nought.
#[Object]
impl Gap {
    /// What kind of thing is missing.
    async fn code(&self) -> GapCode {
        self.code
    }

    /// What is missing and what needs it, in a sentence for a person.
    async fn text(&self) -> &str {
        &self.text
    }

    /// The material it is about, where it is about one.
    async fn material(&self, ctx: &Context<'_>) -> Result<Option<Material>> {
        Ok(materials_of(ctx, self.material)?.pop())
    }

    /// The formula it is about, where it is about one.
    async fn formula(&self, ctx: &Context<'_>) -> Result<Option<Formula>> {
        let catalogue = ctx.catalogue()?;
        Ok(self.formula.and_then(|id| catalogue.formulas.get(id).cloned()).map(Formula))
    }

    /// The pack it is about, where it is about one.
    async fn pack(&self, ctx: &Context<'_>) -> Result<Option<Pack>> {
        let catalogue = ctx.catalogue()?;
        Ok(self.pack.and_then(|id| catalogue.packs.get(id).cloned()).map(Pack))
    }
}

impl From<&engine::Gap> for Gap {
    fn from(gap: &engine::Gap) -> Self {
        use engine::Gap as G;
        let code = match gap {
            G::NoPrice { .. } => GapCode::NoPrice,
            G::NoDensity { .. } => GapCode::NoDensity,
            G::NoLiquidDensity { .. } => GapCode::NoLiquidDensity,
            G::NoActiveMatter { .. } => GapCode::NoActiveMatter,
            G::NoRate { .. } => GapCode::NoRate,
            G::NoApprovedVersion { .. } => GapCode::NoApprovedVersion,
            G::UnitsDoNotMeet { .. } => GapCode::UnitsDoNotMeet,
            G::NoUnitsPerCase { .. } => GapCode::NoUnitsPerCase,
            G::NoHistory { .. } => GapCode::NoHistory,
            G::NoLotValue { .. } => GapCode::NoLotValue,
            G::NotValued { .. } => GapCode::NotValued,
            G::NoStandard { .. } => GapCode::NoStandard,
            G::NoStrength { .. } => GapCode::NoStrength,
            G::NoHouseRate { .. } => GapCode::NoHouseRate,
            G::OrderDoesNotFit { .. } => GapCode::OrderDoesNotFit,
            _ => GapCode::Other,
        };
        let formula = match gap {
            G::NoLiquidDensity { formula, .. } | G::NoApprovedVersion { formula, .. } => Some(*formula),
            _ => None,
        };
        let pack = match gap {
            G::NoUnitsPerCase { pack, .. } => Some(*pack),
            _ => None,
        };
        Self { code, text: gap.to_string(), material: gap.material().map(|m| m.id), formula, pack }
    }
}

/// What a note is about.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoteCode {
    /// A bench sheet or volume formula whose lines miss its nominal total was rescaled to it.
    Rescaled,
    /// A volume formula whose lines come to another volume than the one they are written for was rescaled to it.
    VolumeRescaled,
    /// A line that is added until a result is reached counts at what it took on average.
    TrimOnAverage,
    /// A line that is added until a result is reached counts at what is expected: no ticket with it is complete yet.
    TrimOnExpected,
    /// A line that is added until a result is reached counts as nought: nothing is expected, and no ticket with it is complete yet.
    TrimUnknown,
    /// With what its trim lines take on average a version comes to more than its total; everything else was rescaled.
    TrimOverTotal,
    /// A material stands outside a use level.
    UseLevel,
    /// A price rests on a quotation that ends soon.
    PriceLapsesSoon,
    /// A price rests on a quotation that no longer holds.
    PriceLapsed,
    /// A price rests on a quotation that does not hold yet.
    PriceNotYetValid,
    /// A quotation was left out of the choice because something is missing to compare it.
    QuotationSetAside,
    /// The finished liquid has no measured density; that of the material it makes was used.
    DensityOfMaterial,
    /// The density that figures per litre stand on is entered without its day or its temperature.
    DensityWithoutConditions,
    /// What ideal mixing would give for a density nobody has measured.
    DensityEstimate,
    /// Units are kept back from the batch; those for sale bear what they cost.
    UnitsKeptBack,
    /// Without a density there is no figure per litre.
    NoFigurePerLitre,
    /// No cost per batch is entered: labour, cleaning and tests are not in the figures.
    NoCostPerBatch,
    /// No line labour is entered: filling and labelling are not in the figures.
    NoLineLabour,
    /// No selling price, so no margin.
    NoSellingPrice,
    /// The batch is smaller than the vessel takes.
    BatchBelowSmallest,
    /// The batch is larger than the vessel takes.
    BatchAboveLargest,
    /// The version is not approved.
    NotApproved,
    /// Something is left that does not fill a unit.
    LeftOver,
    /// Ordered in another quantity a material would come by another quotation, pack or price break, and at another price.
    OrderedOtherwise,
    /// Not every line of nested intermediates is spelt out; the figures are whole.
    NotSpeltOut,
    /// A material that is drawn rather than stocked has no receipts; its quotation was used.
    NotStocked,
    /// The last purchase cost passes over lots that came later and have no value yet.
    LaterLotsUnvalued,
    /// Nothing of a material is there; its moving average is the one at which the last of it left.
    AverageRanOut,
    /// The batch takes more of a material than is there; what is short was costed as the last purchase.
    BeyondShelf,
    /// Something else; the text says what.
    Other,
}

/// Something to know about an answer although nothing is missing.
#[derive(SimpleObject)]
pub struct Note {
    /// What it is about.
    pub code: NoteCode,
    /// The note in a sentence for a person.
    pub text: String,
}

impl From<&engine::Note> for Note {
    fn from(note: &engine::Note) -> Self {
        use engine::Note as N;
        let code = match note {
            N::Rescaled { .. } => NoteCode::Rescaled,
            N::VolumeRescaled { .. } => NoteCode::VolumeRescaled,
            N::TrimOnAverage { .. } => NoteCode::TrimOnAverage,
            N::TrimOnExpected { .. } => NoteCode::TrimOnExpected,
            N::TrimUnknown { .. } => NoteCode::TrimUnknown,
            N::TrimOverTotal { .. } => NoteCode::TrimOverTotal,
            N::UseLevel { .. } => NoteCode::UseLevel,
            N::PriceLapsesSoon { .. } => NoteCode::PriceLapsesSoon,
            N::PriceLapsed { .. } => NoteCode::PriceLapsed,
            N::PriceNotYetValid { .. } => NoteCode::PriceNotYetValid,
            N::QuotationSetAside { .. } => NoteCode::QuotationSetAside,
            N::DensityOfMaterial { .. } => NoteCode::DensityOfMaterial,
            N::DensityWithoutConditions { .. } => NoteCode::DensityWithoutConditions,
            N::DensityEstimate { .. } => NoteCode::DensityEstimate,
            N::UnitsKeptBack { .. } => NoteCode::UnitsKeptBack,
            N::NoFigurePerLitre { .. } => NoteCode::NoFigurePerLitre,
            N::NoCostPerBatch { .. } => NoteCode::NoCostPerBatch,
            N::NoLineLabour { .. } => NoteCode::NoLineLabour,
            N::NoSellingPrice { .. } => NoteCode::NoSellingPrice,
            N::BatchBelowSmallest { .. } => NoteCode::BatchBelowSmallest,
            N::BatchAboveLargest { .. } => NoteCode::BatchAboveLargest,
            N::NotApproved { .. } => NoteCode::NotApproved,
            N::LeftOver { .. } => NoteCode::LeftOver,
            N::OrderedOtherwise { .. } => NoteCode::OrderedOtherwise,
            N::NotSpeltOut { .. } => NoteCode::NotSpeltOut,
            N::NotStocked { .. } => NoteCode::NotStocked,
            N::LaterLotsUnvalued { .. } => NoteCode::LaterLotsUnvalued,
            N::AverageRanOut { .. } => NoteCode::AverageRanOut,
            N::BeyondShelf { .. } => NoteCode::BeyondShelf,
            _ => NoteCode::Other,
        };
        Self { code, text: note.to_string() }
    }
}
