//! Formulas, their versions and lines.

use std::sync::{Arc, OnceLock};

use async_graphql::{Context, Enum, ID, Object, SimpleObject};
use domain::{
    formulas::{FormulaLine as LineRow, FormulaVersion as VersionRow, LineAmount, WrittenAs as Written},
    text::code_key,
};
use engine::{
    CostRequest, View,
    explode::{explode, use_level_breaches},
    normalise::normalise,
};
use kernel::{Exact, ids::FormulaVersionId};

use crate::{
    amounts::{Money, Quantity, QuantityInput, kg, kg_per_l, percent},
    bases::Basis,
    caller::Desk,
    cautions::Cautions,
    compare::VersionsSideBySide,
    cost_inputs::{OrderInput, StatedOrderInput, question},
    costing::CostSheet,
    errors::{Result, internal},
    ids::{global_id, read},
    making::Making,
    materials::{Material, holds, material_of, search_key},
    notes::{Gap, Note},
    packs::Pack,
    pages::{Listed, Paging, page_of},
    proposals::{UseLevelBreach, VersionProposal, VersionProposals},
    scalars::{Date, Decimal, Span},
};

/// Decimal places of percents that were worked out.
const PERCENT_PLACES: u32 = 9;

/// Where a version stands.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "domain::formulas::VersionStatus")]
pub enum VersionStatus {
    /// May change; no ticket is written from it.
    Draft,
    /// Fixed; tickets are written from it.
    Approved,
    /// Fixed; no longer made.
    Retired,
}

/// How the amounts of a version are written.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum WrittenAs {
    /// Percent by weight; the total is 100 %.
    Percent,
    /// Grams of a bench sheet with a nominal total, to which the lines are rescaled when they miss it.
    Grams,
    /// Volumes, masses and percents in volume made up to a volume.
    Volume,
    /// Parts by weight; the total is what the lines add up to.
    Parts,
}

/// What the amount of a line is of.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "domain::formulas::AmountBasis")]
pub enum AmountBasis {
    /// The material as it comes.
    AsSupplied,
    /// The ingredient proper; the material's active matter says how much of the material that takes.
    ActiveMatter,
}

/// How the amount of a line is written.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum LineAmountKind {
    /// % w/w of the total.
    Percent,
    /// % w/v: grams in 100 mL of the total volume.
    PercentWeightInVolume,
    /// % v/v: millilitres in 100 mL of the total volume, through the density of the material.
    PercentVolumeInVolume,
    /// Parts by weight.
    Parts,
    /// A mass of the bench sheet or of the volume formula.
    Mass,
    /// A volume, through the density of the material.
    Volume,
    /// As much as brings the batch to its total (q.s.).
    QuantitySufficient,
}

/// A formula.
#[derive(Clone)]
pub struct Formula(pub Arc<domain::formulas::Formula>);

/// What one intermediate or bulk is made of, through all its versions.
#[Object]
impl Formula {
    /// The global id.
    pub(crate) async fn id(&self) -> ID {
        global_id(self.0.id)
    }

    /// The house's short code.
    async fn code(&self) -> &str {
        &self.0.code
    }

    /// Name.
    async fn name(&self) -> &str {
        &self.0.name
    }

    /// The intermediate or bulk it makes.
    async fn makes(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.makes)
    }

    /// Its versions, by number.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn versions(&self) -> Vec<FormulaVersion> {
        self.0.versions.iter().map(|version| FormulaVersion::of(&self.0, version)).collect()
    }

    /// The version of a number; null when there is none.
    async fn version(
        &self,
        #[graphql(desc = "The version's number: 1, 2, 3.")] number: u32,
    ) -> Option<FormulaVersion> {
        self.0.version(number).map(|version| FormulaVersion::of(&self.0, version))
    }

    /// The version to look at when none is named: the approved one with the highest number, else the highest draft.
    async fn current_version(&self) -> Option<FormulaVersion> {
        self.0.current().map(|version| FormulaVersion::of(&self.0, version))
    }

    /// The version made on a day: the approved one with the highest number that was approved by then; null when there is none.
    async fn approved_version(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The day; today when nothing is said.")] on: Option<Date>,
    ) -> Result<Option<FormulaVersion>> {
        let day = ctx.day(on)?;
        Ok(self.0.approved_on(day).map(|version| FormulaVersion::of(&self.0, version)))
    }

    /// The packs it is filled into.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn packs(&self, ctx: &Context<'_>) -> Result<Vec<Pack>> {
        let catalogue = ctx.catalogue()?;
        let packs = catalogue.packs_of(self.0.id).iter().filter_map(|id| catalogue.packs.get(*id));
        Ok(packs.cloned().map(Pack).collect())
    }
}

/// One version of a formula.
#[derive(Clone)]
pub struct FormulaVersion {
    formula: Arc<domain::formulas::Formula>,
    version: Arc<VersionRow>,
}

impl FormulaVersion {
    /// A version of a formula.
    pub(crate) fn of(formula: &Arc<domain::formulas::Formula>, version: &VersionRow) -> Self {
        Self { formula: Arc::clone(formula), version: Arc::new(version.clone()) }
    }

    /// The version of some answer.
    pub(crate) fn find(ctx: &Context<'_>, id: FormulaVersionId) -> Result<Self> {
        let catalogue = ctx.catalogue()?;
        let (formula, version) = catalogue
            .version(id)
            .ok_or_else(|| internal(format!("formula version {id} is not in the catalogue")))?;
        Ok(Self::of(formula, version))
    }

    pub(crate) fn number(&self) -> u32 {
        self.version.number
    }
}

/// A density somebody measured.
#[derive(SimpleObject)]
pub struct MeasuredDensity {
    /// The figure, kg/L.
    #[graphql(name = "kgPerL")]
    pub kg_per_l: Decimal,
    /// The day it was measured.
    pub measured_on: Option<Date>,
    /// The temperature, °C.
    pub celsius: Option<Decimal>,
}

/// Who approved a version, and when.
#[derive(SimpleObject)]
pub struct Approval {
    /// The person.
    pub by: String,
    /// The day.
    pub on: Date,
}

/// One version of a formula. An approved version never changes; a change is a new version.
#[Object]
impl FormulaVersion {
    /// The global id.
    pub(crate) async fn id(&self) -> ID {
        global_id(self.version.id)
    }

    /// The formula.
    async fn formula(&self) -> Formula {
        Formula(Arc::clone(&self.formula))
    }

    /// 1, 2, 3.
    #[graphql(name = "number")]
    async fn version_number(&self) -> u32 {
        self.version.number
    }

    /// Where it stands.
    async fn status(&self) -> VersionStatus {
        self.version.status.into()
    }

    /// How its amounts are written.
    async fn written_as(&self) -> WrittenAs {
        match self.version.written_as {
            Written::Percent => WrittenAs::Percent,
            Written::Grams { .. } => WrittenAs::Grams,
            Written::Volume { .. } => WrittenAs::Volume,
            Written::Parts => WrittenAs::Parts,
        }
    }

    /// The nominal total of a bench sheet (kg), or the volume it is made up to (L); null when it is written in percent or parts.
    async fn written_total(&self) -> Option<Quantity> {
        match self.version.written_as {
            Written::Percent | Written::Parts => None,
            Written::Grams { total } => Some(total.into()),
            Written::Volume { total } => Some(Quantity(kernel::Quantity::Volume(total))),
        }
    }

    /// Its lines, in order of addition.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn lines(&self) -> Vec<FormulaLine> {
        let shares = Arc::new(Shares { version: Arc::clone(&self.version), worked_out: OnceLock::new() });
        let line = |at: usize| FormulaLine { shares: Arc::clone(&shares), at };
        (0..self.version.lines.len()).map(line).collect()
    }

    /// Density of the finished liquid as measured; null when nobody has measured it.
    async fn density(&self) -> Option<MeasuredDensity> {
        self.version.density.as_ref().map(|density| MeasuredDensity {
            kg_per_l: kg_per_l(density.density),
            measured_on: density.measured_on.map(Date),
            celsius: density.celsius.map(Decimal),
        })
    }

    /// Share of what is charged that never reaches the filler, %.
    async fn process_loss_percent(&self) -> Decimal {
        percent(self.version.process_loss)
    }

    /// What stays in vessel, pump and hoses whatever the batch size, kg.
    async fn heel_kg(&self) -> Decimal {
        kg(self.version.heel)
    }

    /// The batch size costs are worked out for unless another is asked, kg charged.
    async fn usual_batch_kg(&self) -> Decimal {
        kg(self.version.usual_batch)
    }

    /// The least the vessel takes, kg.
    async fn smallest_batch_kg(&self) -> Option<Decimal> {
        self.version.smallest_batch.map(kg)
    }

    /// The most the vessel takes, kg.
    async fn largest_batch_kg(&self) -> Option<Decimal> {
        self.version.largest_batch.map(kg)
    }

    /// Labour, cleaning, tests and disposal of one batch in one figure, beside the named costs of `making`; null when nobody has
    /// entered it.
    async fn cost_per_batch(&self) -> Option<Money> {
        self.version.cost_per_batch.map(Into::into)
    }

    /// What else leaves a batch, and the named costs of making it.
    async fn making(&self) -> Making {
        Making::of(&self.version.making)
    }

    /// How long what it makes keeps.
    async fn shelf_life(&self) -> Option<Span> {
        self.version.shelf_life.map(Span)
    }

    /// Who approved it and on which day; null for a draft.
    async fn approval(&self) -> Option<Approval> {
        self.version.approval.as_ref().map(|a| Approval { by: a.by.clone(), on: Date(a.on) })
    }

    /// Remarks.
    async fn note(&self) -> Option<&str> {
        self.version.note.as_deref()
    }

    /// What it consists of once every intermediate is taken apart into what is bought.
    #[graphql(complexity = "crate::limits::calculation(child_complexity)")]
    async fn composition(
        &self,
        ctx: &Context<'_>,
        #[graphql(
            desc = "The day whose approved versions of intermediates are taken; today when nothing is said."
        )]
        as_of: Option<Date>,
    ) -> Result<Composition> {
        let catalogue = ctx.catalogue()?;
        let trim_use = ctx.house()?.trim_use();
        let view = View::plain(&catalogue).with_trim_use(&trim_use);
        let taken_apart = explode(&view, &self.version, ctx.day(as_of)?)?;
        let mut materials = Vec::with_capacity(taken_apart.materials.len());
        for part in &taken_apart.materials {
            materials.push(CompositionPart {
                material: material_of(ctx, part.material)?,
                percent: percent_of(&part.composition)?,
                through_intermediates: part.through_intermediates,
            });
        }
        Ok(Composition {
            materials,
            levels: u32::try_from(taken_apart.levels).unwrap_or(u32::MAX),
            complete: taken_apart.gaps.is_empty(),
            gaps: taken_apart.gaps.iter().map(Gap::from).collect(),
            notes: taken_apart.notes.iter().map(Note::from).collect(),
        })
    }

    /// Cautions for what meets in the vessel.
    #[graphql(complexity = "crate::limits::calculation(child_complexity)")]
    async fn cautions(&self, ctx: &Context<'_>) -> Result<Cautions> {
        Cautions::of(ctx, self.version.lines.iter().map(|line| line.material))
    }

    /// Whether its lines meet their total, and the ways to put it right where they do not: take the difference from one line, or rescale
    /// all. Each is shown before and after, with what it costs and the use levels it breaks. Nothing is written.
    #[graphql(complexity = "crate::limits::calculations(2, child_complexity)")]
    async fn proposals(
        &self,
        ctx: &Context<'_>,
        #[graphql(
            desc = "The position of the line that takes the difference; what is drawn, else the largest, when nothing is said."
        )]
        against: Option<u32>,
        #[graphql(desc = "What is charged in all, a mass; the usual batch when nothing is said.")]
        batch: Option<QuantityInput>,
        #[graphql(desc = "Prices of this day; today when nothing is said.")] as_of: Option<Date>,
    ) -> Result<VersionProposals> {
        let mut request = CostRequest::version(self.version.id, ctx.day(as_of)?);
        request.batch = crate::costing::batch(batch)?;
        let costing = crate::costing::costing(ctx, &[], &[]).await?;
        let ways = costing.proposals(&request.into(), against)?;
        let currency = costing.catalogue().settings.currency;
        Ok(VersionProposals {
            meets_total: ways.is_empty(),
            ways: ways.into_iter().map(|way| VersionProposal::new(way, currency)).collect(),
        })
    }

    /// The use levels it breaks, of materials and of its own lines, all lines of a material together, through blends and intermediates.
    /// A recommended one is a warning; a legal one blocks approval. As of today's approved intermediates unless another day is said.
    #[graphql(complexity = "crate::limits::calculation(child_complexity)")]
    async fn use_level_breaches(
        &self,
        ctx: &Context<'_>,
        #[graphql(
            desc = "Approved versions of intermediates are those of this day; today when nothing is said."
        )]
        as_of: Option<Date>,
    ) -> Result<Vec<UseLevelBreach>> {
        let (catalogue, trim_use) = (ctx.catalogue()?, ctx.house()?.trim_use());
        let view = View::plain(&catalogue).with_trim_use(&trim_use);
        let broken = use_level_breaches(&view, &self.version, ctx.day(as_of)?)?;
        Ok(broken.into_iter().map(UseLevelBreach).collect())
    }

    /// This version and another, of this formula or of another, side by side: doses, active matter and cost.
    #[graphql(complexity = "crate::limits::calculations(2, child_complexity)")]
    async fn side_by_side(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The other version, by global id.")] after: ID,
        #[graphql(desc = "What is charged in all, a mass; each version's usual batch when nothing is said.")]
        batch: Option<QuantityInput>,
        #[graphql(desc = "Prices, rates and approved versions of this day; today when nothing is said.")]
        as_of: Option<Date>,
    ) -> Result<VersionsSideBySide> {
        let (after, batch) = (read::<FormulaVersionId>(&after, "after")?, crate::costing::batch(batch)?);
        let costing = crate::costing::costing(ctx, &[], &[]).await?;
        let found = costing.side_by_side(self.version.id, after, batch, ctx.day(as_of)?)?;
        Ok(VersionsSideBySide(Arc::new(found)))
    }

    /// What a batch, a kilogram and a litre of it costs, and where each figure comes from.
    #[graphql(complexity = "crate::limits::calculation(child_complexity)")]
    async fn cost_sheet(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What is charged in all, a mass; the usual batch when nothing is said.")]
        batch: Option<QuantityInput>,
        #[graphql(desc = "Prices, rates and approved versions of this day; today when nothing is said.")]
        as_of: Option<Date>,
        #[graphql(default, desc = "Which price is used for what is bought.")] basis: Basis,
        #[graphql(
            desc = "How much of each material is ordered at once, which decides pack and price break; what the batch needs when nothing is said."
        )]
        order: Option<OrderInput>,
        #[graphql(desc = "Orders that are stated, at most 100, whatever else is said of orders.")]
        orders: Option<Vec<StatedOrderInput>>,
    ) -> Result<CostSheet> {
        let request = CostRequest::version(self.version.id, ctx.day(as_of)?).on_basis(basis.into());
        CostSheet::ask(ctx, question(ctx, request, batch, order, orders)?).await
    }
}

/// A version taken apart.
#[derive(SimpleObject)]
pub struct Composition {
    /// What it consists of, each bought material once.
    pub materials: Vec<CompositionPart>,
    /// Levels of intermediates within intermediates; 0 when it has none.
    pub levels: u32,
    /// Whether nothing is missing; then the parts add up to 100 %.
    pub complete: bool,
    /// What is missing.
    pub gaps: Vec<Gap>,
    /// What to know.
    pub notes: Vec<Note>,
}

/// One bought material of a version taken apart.
#[derive(SimpleObject)]
pub struct CompositionPart {
    /// What.
    pub material: Material,
    /// How much of the finished liquid it is, % w/w as supplied, rounded half to even to 9 places.
    pub percent: Decimal,
    /// Whether some of it comes through an intermediate.
    pub through_intermediates: bool,
}

/// The shares of a version's lines, worked out when the first line is asked for its own.
struct Shares {
    version: Arc<VersionRow>,
    worked_out: OnceLock<Vec<Option<Exact>>>,
}

impl Shares {
    fn of(&self, ctx: &Context<'_>, at: usize) -> Result<Option<Exact>> {
        if let Some(shares) = self.worked_out.get() {
            return Ok(shares.get(at).cloned().flatten());
        }
        let catalogue = ctx.catalogue()?;
        let trim_use = ctx.house()?.trim_use();
        let normalised = normalise(&View::plain(&catalogue).with_trim_use(&trim_use), &self.version)?;
        let shares: Vec<Option<Exact>> = normalised.lines.into_iter().map(|line| line.share).collect();
        Ok(self.worked_out.get_or_init(|| shares).get(at).cloned().flatten())
    }
}

/// A line of a version.
pub struct FormulaLine {
    shares: Arc<Shares>,
    at: usize,
}

impl FormulaLine {
    fn row(&self) -> Result<&LineRow> {
        self.shares.version.lines.get(self.at).ok_or_else(|| internal("a formula line is gone"))
    }
}

/// One line of a formula.
#[Object]
impl FormulaLine {
    /// 1, 2, 3: the order of addition.
    async fn position(&self) -> Result<u32> {
        Ok(self.row()?.position)
    }

    /// The group of ingredients handled together: A, B, C.
    async fn phase(&self) -> Result<Option<&str>> {
        Ok(self.row()?.phase.as_deref())
    }

    /// A raw material, utility or intermediate.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.row()?.material)
    }

    /// How its amount is written.
    async fn amount_kind(&self) -> Result<LineAmountKind> {
        Ok(kind_of(self.row()?.amount))
    }

    /// Its amount as written in percent, of the kind that `amountKind` says; null when it is written otherwise.
    async fn percent(&self) -> Result<Option<Decimal>> {
        Ok(percent_in(self.row()?.amount))
    }

    /// Its amount as written in parts by weight; null when it is written otherwise.
    async fn parts(&self) -> Result<Option<Decimal>> {
        Ok(parts_in(self.row()?.amount))
    }

    /// Its amount as written by mass (kg) or by volume (L); null when it is written otherwise.
    async fn quantity(&self) -> Result<Option<Quantity>> {
        Ok(quantity_in(self.row()?.amount))
    }

    /// What it is added for until it is reached, its amount being what is expected; null for a line of a fixed amount.
    async fn trim(&self) -> Result<Option<Trim>> {
        Ok(self.row()?.trim.as_deref().cloned().map(Trim))
    }

    /// Whether the amount is of the material as supplied or of its active matter.
    async fn basis(&self) -> Result<AmountBasis> {
        Ok(self.row()?.basis.into())
    }

    /// Its share of everything charged, % w/w as supplied, however it is written; rounded half to even to 9 places; null where
    /// something is missing to say it. A line that is added until a result is reached counts at what it took on average in finished
    /// batches, before the first of them at what is expected.
    async fn share_percent(&self, ctx: &Context<'_>) -> Result<Option<Decimal>> {
        self.shares.of(ctx, self.at)?.as_ref().map(percent_of).transpose()
    }

    /// What it is there for.
    async fn function(&self) -> Result<Option<&str>> {
        Ok(self.row()?.function.as_deref())
    }

    /// The least it may be, % w/w as supplied, where it is narrower than the material's own.
    async fn use_level_from_percent(&self) -> Result<Option<Decimal>> {
        Ok(self.row()?.use_level_from.map(percent))
    }

    /// The most it may be, % w/w as supplied, where it is narrower than the material's own.
    async fn use_level_to_percent(&self) -> Result<Option<Decimal>> {
        Ok(self.row()?.use_level_to.map(percent))
    }

    /// How far a weighing may miss its target either side, % of the target.
    async fn weighing_tolerance_percent(&self) -> Result<Option<Decimal>> {
        Ok(self.row()?.weighing_tolerance.map(percent))
    }

    /// What to do when it is added.
    async fn instruction(&self) -> Result<Option<&str>> {
        Ok(self.row()?.instruction.as_deref())
    }
}

/// What a line is added for until it is reached.
pub struct Trim(domain::formulas::Trim);

/// A line that is added until a result is reached: a pH, a viscosity, a colour.
#[Object]
impl Trim {
    /// The result with its range, in words.
    async fn result(&self) -> &str {
        &self.0.result
    }

    /// Where adding stops and somebody is asked, as it is written in percent; null when it is written otherwise or not at all.
    async fn stop_percent(&self) -> Option<Decimal> {
        self.0.stop.and_then(percent_in)
    }

    /// The same, as it is written in parts by weight.
    async fn stop_parts(&self) -> Option<Decimal> {
        self.0.stop.and_then(parts_in)
    }

    /// The same, as it is written by mass (kg) or by volume (L).
    async fn stop_quantity(&self) -> Option<Quantity> {
        self.0.stop.and_then(quantity_in)
    }
}

pub(crate) const fn kind_of(amount: LineAmount) -> LineAmountKind {
    match amount {
        LineAmount::Percent(_) => LineAmountKind::Percent,
        LineAmount::PercentWeightInVolume(_) => LineAmountKind::PercentWeightInVolume,
        LineAmount::PercentVolumeInVolume(_) => LineAmountKind::PercentVolumeInVolume,
        LineAmount::Parts(_) => LineAmountKind::Parts,
        LineAmount::Mass(_) => LineAmountKind::Mass,
        LineAmount::Volume(_) => LineAmountKind::Volume,
        LineAmount::QuantitySufficient => LineAmountKind::QuantitySufficient,
    }
}

pub(crate) fn percent_in(amount: LineAmount) -> Option<Decimal> {
    match amount {
        LineAmount::Percent(figure)
        | LineAmount::PercentWeightInVolume(figure)
        | LineAmount::PercentVolumeInVolume(figure) => Some(percent(figure)),
        _ => None,
    }
}

pub(crate) fn parts_in(amount: LineAmount) -> Option<Decimal> {
    match amount {
        LineAmount::Parts(parts) => Some(Decimal(parts.parts())),
        _ => None,
    }
}

pub(crate) fn quantity_in(amount: LineAmount) -> Option<Quantity> {
    match amount {
        LineAmount::Mass(mass) => Some(mass.into()),
        LineAmount::Volume(volume) => Some(Quantity(kernel::Quantity::Volume(volume))),
        _ => None,
    }
}

/// A fraction of one as a percent.
fn percent_of(fraction: &Exact) -> Result<Decimal> {
    Decimal::rounded(&(fraction * &Exact::whole(100)), PERCENT_PLACES)
}

/// Formulas.
#[derive(Default)]
pub struct FormulasQuery;

/// Formulas.
#[Object]
impl FormulasQuery {
    /// The formula of a code, letter case aside; null when there is none.
    async fn formula(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The house's code.")] code: String,
    ) -> Result<Option<Formula>> {
        Ok(ctx.catalogue()?.formulas.by_code(&code).cloned().map(Formula))
    }

    /// Formulas, by code.
    #[graphql(complexity = "crate::limits::page(first, last, child_complexity)")]
    async fn formulas(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only those with this text in code or name, letter case aside.")] search: Option<
            String,
        >,
        #[graphql(desc = "Rows after this cursor.")] after: Option<String>,
        #[graphql(desc = "Rows before this cursor.")] before: Option<String>,
        #[graphql(desc = "At most so many rows from the front, 1 to 100; 20 when nothing is said.")]
        first: Option<i32>,
        #[graphql(desc = "At most so many rows from the back, 1 to 100.")] last: Option<i32>,
    ) -> Result<Listed<Formula>> {
        let paging = Paging::read("formulas", after.as_deref(), before.as_deref(), first, last)?;
        let catalogue = ctx.catalogue()?;
        let search = search.as_deref().map(search_key);
        let rows: Vec<_> = catalogue
            .formulas
            .iter()
            .filter(|f| search.as_deref().is_none_or(|text| holds(&f.code, text) || holds(&f.name, text)))
            .collect();
        Ok(page_of("formulas", &paging, &rows, |f| code_key(&f.code), |f| Formula(Arc::clone(f))))
    }
}

/// The formula of some answer.
pub(crate) fn formula_of(ctx: &Context<'_>, id: kernel::ids::FormulaId) -> Result<Formula> {
    let found = ctx.catalogue()?.formulas.get(id).cloned();
    found.map(Formula).ok_or_else(|| internal(format!("formula {id} is not in the catalogue")))
}
