//! Materials.

use std::sync::Arc;

use async_graphql::{Context, Enum, ID, Object, SimpleObject};
use domain::materials::MaterialKind as Kind;
use kernel::{Exact, limits::PAGE_ROWS_MAX};

use crate::{
    amounts::{Dimension, Quantity, QuantityInput, kg_per_l, percent},
    caller::Desk,
    cautions::{CautionGroup, HazardStatement, SignalWord},
    errors::Result,
    formulas::{Formula, FormulaVersion},
    ids::{Which, global_id},
    lots::Lot,
    packs::Pack,
    pages::{Listed, Paging, page_of},
    prices::BestPrice,
    quotations::{Quotation, quotation_page},
    scalars::{Date, Decimal, Span},
    shelf::Availability,
};

/// What a material is to the house.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "Kind")]
pub enum MaterialKind {
    /// Bought and put into formulas; kept by mass.
    RawMaterial,
    /// Bottle, closure, label, case; kept by count.
    PackagingComponent,
    /// Made here and put into other formulas; kept by mass.
    Intermediate,
    /// The finished liquid before filling; kept by mass.
    Bulk,
    /// Filled and packed, one per pack; kept by count.
    FinishedProduct,
    /// Costed and never stocked: water, steam.
    Utility,
}

/// What a use level is.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "domain::materials::UseLevelKind")]
pub enum UseLevelKind {
    /// From a technical sheet: outside it is a note.
    Recommended,
    /// From law or a safety assessment: outside it a version is not approved.
    Legal,
}

/// The least and the most of a material that a formula may hold, % w/w as supplied.
#[derive(SimpleObject)]
pub struct UseLevel {
    /// The least, % w/w; null for no least.
    pub from_percent: Option<Decimal>,
    /// The most, % w/w; null for no most.
    pub to_percent: Option<Decimal>,
    /// What happens outside.
    pub kind: UseLevelKind,
}

/// Where a material stands: formula versions and packs.
#[derive(SimpleObject)]
pub struct WhereUsed {
    /// The versions that have a line of it, by formula code and number. Formulas it reaches through an intermediate are found by asking
    /// where that is used.
    pub versions: Vec<FormulaVersion>,
    /// The packs it is a component of, by code.
    pub packs: Vec<Pack>,
}

/// A material.
#[derive(Clone)]
pub struct Material(pub Arc<domain::materials::Material>);

/// What formulas are made of, what packs are made of, and what formulas make.
#[Object]
impl Material {
    /// The global id.
    pub(crate) async fn id(&self) -> ID {
        global_id(self.0.id)
    }

    /// The house's short code.
    async fn code(&self) -> &str {
        &self.0.code
    }

    /// What it is called here.
    async fn name(&self) -> &str {
        &self.0.name
    }

    /// What it is to the house.
    async fn kind(&self) -> MaterialKind {
        self.0.kind.into()
    }

    /// Whether lots of it are kept by mass or by count.
    async fn kept_by(&self) -> Dimension {
        self.0.stock_dimension().into()
    }

    /// Whether lots of it are kept at all; a utility is not stocked.
    async fn stocked(&self) -> bool {
        self.0.kind.is_stocked()
    }

    /// INCI name.
    async fn inci(&self) -> Option<&str> {
        self.0.inci.as_deref()
    }

    /// CAS Registry Numbers; several where the supplied material is a mixture.
    async fn cas(&self) -> Vec<String> {
        self.0.cas.iter().map(ToString::to_string).collect()
    }

    /// Density at the reference temperature, kg/L; null when nobody has entered it.
    #[graphql(name = "densityKgPerL")]
    async fn density_kg_per_l(&self) -> Option<Decimal> {
        self.0.density.map(kg_per_l)
    }

    /// The share of the supplied material that is the ingredient proper, %; null when nobody has entered it.
    async fn active_matter_percent(&self) -> Option<Decimal> {
        self.0.active_matter.map(percent)
    }

    /// What a formula may hold of it.
    async fn use_level(&self) -> Option<UseLevel> {
        self.0.use_level.map(|level| UseLevel {
            from_percent: level.from.map(percent),
            to_percent: level.to.map(percent),
            kind: level.kind.into(),
        })
    }

    /// How long it keeps unopened, from the day it was made.
    async fn shelf_life(&self) -> Option<Span> {
        self.0.shelf_life.map(Span)
    }

    /// How long it may be used once opened.
    async fn period_after_opening(&self) -> Option<Span> {
        self.0.period_after_opening.map(Span)
    }

    /// Life that must be left on the day of use.
    async fn minimum_remaining_life(&self) -> Option<Span> {
        self.0.minimum_remaining_life.map(Span)
    }

    /// From receipt to release.
    async fn inspection_time(&self) -> Option<Span> {
        self.0.inspection_time.map(Span)
    }

    /// Signal word of its safety data sheet.
    async fn signal_word(&self) -> Option<SignalWord> {
        self.0.signal_word.map(Into::into)
    }

    /// Hazard statements of its safety data sheet, section 2.
    async fn hazard_statements(&self) -> Vec<HazardStatement> {
        self.0.hazard_statements.iter().map(HazardStatement::from).collect()
    }

    /// What it is to other materials it may meet.
    async fn caution_groups(&self) -> Vec<CautionGroup> {
        self.0.caution_groups.iter().copied().map(Into::into).collect()
    }

    /// What it must not meet, after its safety data sheet, section 10.
    async fn incompatible_with(&self) -> Vec<CautionGroup> {
        self.0.incompatible_with.iter().copied().map(Into::into).collect()
    }

    /// Flash point of its safety data sheet, section 9, °C.
    async fn flash_point_celsius(&self) -> Option<Decimal> {
        self.0.flash_point_celsius.map(Decimal)
    }

    /// Which safety data sheet the cautions come from.
    async fn safety_data_sheet(&self) -> Option<&str> {
        self.0.safety_data_sheet.as_deref()
    }

    /// Remarks.
    async fn note(&self) -> Option<&str> {
        self.0.note.as_deref()
    }

    /// The formula that makes it; null for what is bought.
    async fn made_by(&self, ctx: &Context<'_>) -> Result<Option<Formula>> {
        Ok(ctx.catalogue()?.formula_making(self.0.id).cloned().map(Formula))
    }

    /// Where-used: the formula versions and packs it stands in directly.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn where_used(&self, ctx: &Context<'_>) -> Result<WhereUsed> {
        let catalogue = ctx.catalogue()?;
        let mut versions: Vec<(String, FormulaVersion)> = catalogue
            .versions_using(self.0.id)
            .iter()
            .filter_map(|id| catalogue.version(*id))
            .map(|(formula, version)| (formula.code.clone(), FormulaVersion::of(formula, version)))
            .collect();
        versions.sort_by(|a, b| (&a.0, a.1.number()).cmp(&(&b.0, b.1.number())));
        let packs =
            catalogue.packs_using(self.0.id).iter().filter_map(|id| catalogue.packs.get(*id)).cloned();
        Ok(WhereUsed {
            versions: versions.into_iter().map(|(_, version)| version).collect(),
            packs: packs.map(Pack).collect(),
        })
    }

    /// Its quotations, by first day and reference: past, present and to come.
    #[graphql(complexity = "crate::limits::page(first, last, child_complexity)")]
    async fn quotations(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only those valid on this day.")] valid_on: Option<Date>,
        #[graphql(desc = "Rows after this cursor.")] after: Option<String>,
        #[graphql(desc = "Rows before this cursor.")] before: Option<String>,
        #[graphql(desc = "At most so many rows from the front, 1 to 100; 20 when nothing is said.")]
        first: Option<i32>,
        #[graphql(desc = "At most so many rows from the back, 1 to 100.")] last: Option<i32>,
    ) -> Result<Listed<Quotation>> {
        let paging = Paging::read("quotations", after.as_deref(), before.as_deref(), first, last)?;
        let catalogue = ctx.catalogue()?;
        let rows = catalogue.quotations_of(self.0.id).iter();
        Ok(quotation_page(
            &paging,
            rows.filter(|q| valid_on.is_none_or(|day| crate::quotations::holds(&catalogue, q, day.0))),
        ))
    }

    /// What it costs landed on a day, in the house's currency: the offer that costs least for the quantity asked.
    #[graphql(complexity = "crate::limits::calculation(child_complexity)")]
    async fn best_price(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The day; today when nothing is said.")] on: Option<Date>,
        #[graphql(
            desc = "How much is wanted, by mass or by count as it is kept; the smallest order when nothing is said."
        )]
        quantity: Option<QuantityInput>,
    ) -> Result<BestPrice> {
        let demanded = match quantity {
            None => Exact::ZERO,
            Some(quantity) => {
                let quantity = quantity.quantity().map_err(|error| app::Error::invalid("quantity", error))?;
                if quantity.dimension() != self.0.stock_dimension() || !quantity.is_positive() {
                    let kept = self.0.stock_dimension().name();
                    let text = format!("{} is kept by {kept}; ask for a {kept} above nought", self.0.code);
                    return Err(app::Error::invalid("quantity", text).into());
                }
                quantity.to_exact()
            }
        };
        BestPrice::of(ctx, &self.0, &demanded, ctx.day(on)?)
    }

    /// Everything of it on the shelf, usable or not; null for what is not stocked.
    async fn on_hand(&self, ctx: &Context<'_>) -> Result<Option<Quantity>> {
        if !self.0.kind.is_stocked() {
            return Ok(None);
        }
        let lots = ctx.loaders()?.lots_of(self.0.id).await?;
        let raw = lots.iter().fold(0_i64, |sum, lot| sum.saturating_add(lot.on_hand.raw()));
        Ok(Some(Quantity(kernel::Quantity::from_raw(raw, self.0.stock_dimension()))))
    }

    /// What of it can be used on a day, lot by lot in the order they are taken, with the reasons against the rest.
    #[graphql(complexity = "crate::limits::calculation(child_complexity)")]
    async fn availability(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The day; today when nothing is said.")] on: Option<Date>,
    ) -> Result<Availability> {
        let lots = ctx.loaders()?.lots_of(self.0.id).await?;
        Ok(Availability(engine::availability(&self.0, lots.iter(), ctx.day(on)?, &[], None)))
    }

    /// Its lots that hold something, the first to be used first. All lots, also empty ones, are listed by the root's `lots`.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn lots(&self, ctx: &Context<'_>) -> Result<Vec<Lot>> {
        let lots = ctx.loaders()?.lots_of(self.0.id).await?;
        let mut lots: Vec<_> = lots.iter().filter(|lot| lot.on_hand.is_positive()).cloned().collect();
        lots.sort_by(|a, b| engine::shelf::fefo_order(a, b, &self.0));
        Ok(lots.into_iter().map(Lot::from).collect())
    }
}

/// Materials.
#[derive(Default)]
pub struct MaterialsQuery;

/// Materials.
#[Object]
impl MaterialsQuery {
    /// The material of a code, letter case aside; null when there is none.
    async fn material(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The house's code.")] code: String,
    ) -> Result<Option<Material>> {
        Ok(ctx.catalogue()?.materials.by_code(&code).cloned().map(Material))
    }

    /// Materials, by code.
    #[graphql(complexity = "crate::limits::page(first, last, child_complexity)")]
    #[allow(clippy::too_many_arguments, reason = "a connection field has four arguments before its own")]
    async fn materials(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only of these kinds; empty for any.", default)] kinds: Vec<MaterialKind>,
        #[graphql(desc = "Only those with this text in code, name or INCI name, letter case aside.")]
        search: Option<String>,
        #[graphql(desc = "Rows after this cursor.")] after: Option<String>,
        #[graphql(desc = "Rows before this cursor.")] before: Option<String>,
        #[graphql(desc = "At most so many rows from the front, 1 to 100; 20 when nothing is said.")]
        first: Option<i32>,
        #[graphql(desc = "At most so many rows from the back, 1 to 100.")] last: Option<i32>,
    ) -> Result<Listed<Material>> {
        let paging = Paging::read("materials", after.as_deref(), before.as_deref(), first, last)?;
        let catalogue = ctx.catalogue()?;
        let search = search.as_deref().map(search_key);
        let rows: Vec<_> = catalogue
            .materials
            .iter()
            .filter(|m| kinds.is_empty() || kinds.contains(&m.kind.into()))
            .filter(|m| {
                search.as_deref().is_none_or(|text| {
                    [Some(&m.code), Some(&m.name), m.inci.as_ref()]
                        .into_iter()
                        .flatten()
                        .any(|t| holds(t, text))
                })
            })
            .collect();
        Ok(page_of(
            "materials",
            &paging,
            &rows,
            |m| domain::text::code_key(&m.code),
            |m| Material(Arc::clone(m)),
        ))
    }
}

/// A text to look for, as it is compared.
pub(crate) fn search_key(text: &str) -> String {
    text.trim().chars().take(PAGE_ROWS_MAX).collect::<String>().to_lowercase()
}

/// Whether a text holds a [`search_key`].
pub(crate) fn holds(text: &str, key: &str) -> bool {
    text.to_lowercase().contains(key)
}

/// The materials of some answer.
pub(crate) fn material_of(ctx: &Context<'_>, id: kernel::ids::MaterialId) -> Result<Material> {
    let found = ctx.catalogue()?.materials.get(id).cloned();
    found
        .map(Material)
        .ok_or_else(|| crate::errors::internal(format!("material {id} is not in the catalogue")))
}

/// The materials a list of names stands for; those no longer in the catalogue are left out.
pub(crate) fn materials_of(
    ctx: &Context<'_>,
    ids: impl IntoIterator<Item = kernel::ids::MaterialId>,
) -> Result<Vec<Material>> {
    let catalogue = ctx.catalogue()?;
    Ok(ids.into_iter().filter_map(|id| catalogue.materials.get(id).cloned()).map(Material).collect())
}

/// The material meant by an optional argument.
pub(crate) fn material_id(
    ctx: &Context<'_>,
    which: Option<&Which>,
    place: &str,
) -> Result<Option<kernel::ids::MaterialId>> {
    use crate::caller::Find as _;
    which.map(|which| Ok(ctx.catalogue()?.material(which, place)?.id)).transpose()
}
