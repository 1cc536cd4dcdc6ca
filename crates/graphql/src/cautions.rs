//! Cautions.

use async_graphql::{Context, Enum, Object, SimpleObject};
use kernel::ids::MaterialId;

use crate::{
    errors::Result,
    materials::{Material, materials_of},
};

/// Signal word of the UN GHS.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "domain::cautions::SignalWord")]
pub enum SignalWord {
    /// The milder.
    Warning,
    /// The stronger.
    Danger,
}

/// What a material is to others it may meet, after its safety data sheet.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "domain::cautions::CautionGroup")]
pub enum CautionGroup {
    /// Acids.
    Acid,
    /// Alkalis.
    Alkali,
    /// Hypochlorites.
    Hypochlorite,
    /// Ammonia and amines.
    AmmoniaOrAmine,
    /// Peroxides.
    Peroxide,
    /// Oxidisers.
    Oxidiser,
    /// What burns.
    Flammable,
    /// Reducing agents.
    ReducingAgent,
    /// Powders that burn when they hang in the air.
    CombustibleDust,
    /// Preservatives.
    Preservative,
    /// Water and what is mostly water.
    Water,
}

/// A hazard statement of the UN GHS or the EU supplement.
#[derive(SimpleObject)]
pub struct HazardStatement {
    /// Its code, "H319".
    pub code: String,
    /// Its wording in Regulation (EC) 1272/2008, where it is known here.
    pub statement: Option<String>,
}

impl From<&domain::cautions::HazardCode> for HazardStatement {
    fn from(code: &domain::cautions::HazardCode) -> Self {
        Self { code: code.to_string(), statement: code.statement().map(ToOwned::to_owned) }
    }
}

/// What a caution is about.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "engine::CautionKind")]
pub enum CautionKind {
    /// Two materials that should not meet.
    IncompatiblePair,
    /// Something that burns.
    Flammable,
    /// A powder that burns when it hangs in the air.
    CombustibleDust,
    /// Water, and nothing against microbes.
    NoPreservative,
    /// Signal word and hazard statements of a material.
    HazardStatements,
    /// No safety data sheet is named for a material.
    NoSafetyDataSheet,
}

/// A caution.
pub struct Caution(pub engine::Caution);

/// One thing to look at before these materials are handled together.
#[Object]
impl Caution {
    /// What it is about.
    async fn kind(&self) -> CautionKind {
        self.0.kind.into()
    }

    /// The materials it is about.
    async fn materials(&self, ctx: &Context<'_>) -> Result<Vec<Material>> {
        materials_of(ctx, self.0.materials.iter().copied())
    }

    /// The caution in a sentence for a person.
    async fn text(&self) -> &str {
        &self.0.text
    }

    /// The safety data sheets it comes from.
    async fn sources(&self) -> &[String] {
        &self.0.sources
    }
}

/// Cautions.
pub struct Cautions(pub engine::Cautions);

/// Cautions for a set of materials, from what was entered from their safety data sheets. A prompt to look, never a clearance.
#[Object]
impl Cautions {
    /// The most pressing first.
    async fn list(&self) -> Vec<Caution> {
        self.0.cautions.iter().cloned().map(Caution).collect()
    }

    /// The sentence that belongs under every list of cautions.
    async fn defer(&self) -> &str {
        self.0.defer
    }
}

impl Cautions {
    /// The cautions for what meets in one vessel.
    pub(crate) fn of(ctx: &Context<'_>, materials: impl IntoIterator<Item = MaterialId>) -> Result<Self> {
        let met = materials_of(ctx, materials)?;
        Ok(Self(engine::cautions(met.iter().map(|material| &*material.0))))
    }
}
