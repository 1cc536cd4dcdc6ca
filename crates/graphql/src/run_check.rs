//! The run check.

use async_graphql::{Context, Enum, ID, InputObject, Object, OneofObject, SimpleObject};
use engine::{
    CostSubject, RunAmount, RunRequest,
    run_check::{MakeFirstStep as Step, MaterialCheck as Check, Use as Place, Verdict as Standing},
};
use kernel::{ids::FormulaVersionId, limits::RUNS_ASKED_MAX};

use crate::{
    amounts::{Quantity, QuantityInput, kg},
    caller::{Desk, Find as _, ticket_named},
    cautions::Cautions,
    errors::Result,
    formulas::{Formula, FormulaVersion, formula_of},
    ids::{Which, read},
    materials::{Material, material_of, materials_of},
    notes::{Gap, Note},
    packs::{Pack, pack_of},
    planned::{Purchase, RunOff, Take, takes},
    scalars::{Date, Decimal},
    shelf::LotOnDay,
};

/// What is made.
#[derive(OneofObject, Debug, Clone)]
pub enum RunSubjectInput {
    /// A pack, filled with the version of its formula approved on the day.
    Pack(Which),
    /// A formula, in its version approved on the day.
    Formula(Which),
    /// This version of a formula, by global id.
    Version(ID),
}

/// How much is made.
#[derive(OneofObject, Debug, Clone)]
pub enum RunAmountInput {
    /// So many units of the pack filled, those kept back from sale among them; a whole number.
    Units(Decimal),
    /// So much charged in all, a mass.
    Batch(QuantityInput),
}

/// The run that is asked about.
#[derive(InputObject)]
pub struct RunCheckInput {
    /// What is made.
    pub of: RunSubjectInput,
    /// How much.
    pub amount: RunAmountInput,
    /// The day of the run; a day in the past counts for today.
    pub on: Date,
    /// The ticket the run has already, whose own promises do not stand in its way.
    pub ticket: Option<Which>,
}

/// The pack, or the version, that is meant; and of a formula the version approved on the day.
pub(crate) fn subject(
    ctx: &Context<'_>,
    of: &RunSubjectInput,
    on: chrono::NaiveDate,
    place: &str,
) -> Result<CostSubject> {
    let catalogue = ctx.catalogue()?;
    Ok(match of {
        RunSubjectInput::Pack(which) => {
            let pack = catalogue.pack_named(which, &format!("{place}.pack"))?.id;
            CostSubject::Pack { pack, version: None }
        }
        RunSubjectInput::Formula(which) => {
            let formula = catalogue.formula(which, &format!("{place}.formula"))?;
            let version = formula.approved_on(on).ok_or_else(|| engine::EngineError::NoApprovedVersion {
                formula: formula.id,
                code: formula.code.clone(),
                on,
            })?;
            CostSubject::Version(version.id)
        }
        RunSubjectInput::Version(id) => {
            CostSubject::Version(read::<FormulaVersionId>(id, &format!("{place}.version"))?)
        }
    })
}

/// How much, checked.
pub(crate) fn amount(amount: &RunAmountInput, place: &str) -> Result<RunAmount> {
    Ok(match amount {
        RunAmountInput::Units(units) => {
            let whole = units.0.is_integer().then(|| u64::try_from(units.0).ok()).flatten();
            let units = whole.filter(|units| *units > 0).ok_or_else(|| {
                app::Error::invalid(format!("{place}.units"), "units are a whole number above nought")
            })?;
            RunAmount::Units(units)
        }
        RunAmountInput::Batch(batch) => {
            let mass = batch.mass().and_then(kernel::Mass::require_positive);
            RunAmount::Batch(mass.map_err(|error| app::Error::invalid(format!("{place}.batch"), error))?)
        }
    })
}

/// Asks the run check.
pub(crate) async fn ask(ctx: &Context<'_>, input: RunCheckInput) -> Result<RunCheck> {
    let request = request(ctx, &input, "").await?;
    Ok(RunCheck(ctx.house()?.run_check(ctx.actor()?, &request).await?))
}

/// Asks about several runs, each alone and after those before it.
pub(crate) async fn ask_several(ctx: &Context<'_>, inputs: Vec<RunCheckInput>) -> Result<Vec<RunChoice>> {
    let mut requests = Vec::with_capacity(inputs.len().min(RUNS_ASKED_MAX));
    for (at, input) in inputs.iter().enumerate().take(RUNS_ASKED_MAX.saturating_add(1)) {
        requests.push(request(ctx, input, &format!("inputs[{at}].")).await?);
    }
    let choices = ctx.house()?.run_checks(ctx.actor()?, &requests).await?;
    Ok(choices
        .into_iter()
        .map(|choice| RunChoice {
            can_be_made: choice.can_be_made(),
            alone: RunCheck(choice.alone),
            together: RunCheck(choice.together),
        })
        .collect())
}

/// The run that is meant; `place` stands before the names of its fields.
async fn request(ctx: &Context<'_>, input: &RunCheckInput, place: &str) -> Result<RunRequest> {
    let today = ctx.house()?.today();
    let ticket = match &input.ticket {
        None => None,
        Some(which) => Some(ticket_named(ctx, which, &format!("{place}ticket")).await?.id),
    };
    Ok(RunRequest {
        subject: subject(ctx, &input.of, input.on.0.max(today), &format!("{place}of"))?,
        amount: amount(&input.amount, &format!("{place}amount"))?,
        on: input.on.0,
        today,
        ticket,
    })
}

/// A run among several.
#[derive(SimpleObject)]
pub struct RunChoice {
    /// Whether it can be made after those asked before it that can be made.
    pub can_be_made: bool,
    /// As if it were the only one.
    pub alone: RunCheck,
    /// After those asked before it that can be made; they stand among the earlier runs without a ticket.
    pub together: RunCheck,
}

/// How a run or a material stands.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "Standing")]
pub enum Verdict {
    /// Everything is there.
    CanBeMade,
    /// Everything is there once an intermediate has been made.
    MakeFirst,
    /// Something is short.
    Short,
    /// Something is not known, so that nobody can say; the gaps say what.
    NotKnown,
}

/// A run check.
pub struct RunCheck(engine::RunCheck);

/// Whether a run can be made on a day, from which lots, what is short, what to buy, and how much could be made at most. Tickets planned
/// before the day or on it take theirs first.
#[Object]
impl RunCheck {
    /// The formula.
    async fn formula(&self, ctx: &Context<'_>) -> Result<Formula> {
        formula_of(ctx, self.0.formula)
    }

    /// The version.
    async fn version(&self, ctx: &Context<'_>) -> Result<FormulaVersion> {
        FormulaVersion::find(ctx, self.0.version)
    }

    /// The pack; null for a batch of liquid.
    async fn pack(&self, ctx: &Context<'_>) -> Result<Option<Pack>> {
        self.0.pack.map(|id| pack_of(ctx, id)).transpose()
    }

    /// The day of the run.
    async fn on(&self) -> Date {
        Date(self.0.on)
    }

    /// The day it was asked; orders are placed on it.
    async fn today(&self) -> Date {
        Date(self.0.today)
    }

    /// What is charged in all, kg; null where a gap stands in the way.
    async fn batch_kg(&self) -> Option<Decimal> {
        self.0.batch.map(kg)
    }

    /// Whole units that fills, those kept back from sale among them; only for a pack. A cost sheet divides by those for sale.
    async fn units(&self) -> Option<Decimal> {
        self.0.units.map(Decimal::whole)
    }

    /// Of these, what is for sale: the rest is kept back (first ones off the line, for tests, retains); only for a pack.
    async fn units_for_sale(&self) -> Option<Decimal> {
        self.0.units_for_sale.map(Decimal::whole)
    }

    /// How the run stands.
    async fn verdict(&self) -> Verdict {
        self.0.verdict.into()
    }

    /// The verdict in words.
    async fn verdict_text(&self) -> &str {
        self.0.verdict.words()
    }

    /// How it stands with each material: those of the formula in its order, then packaging, then what stands behind intermediates.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn materials(&self) -> Vec<MaterialCheck> {
        self.0.materials.iter().cloned().map(MaterialCheck).collect()
    }

    /// Intermediates to make first, those furthest down first.
    async fn make_first(&self) -> Vec<MakeFirstStep> {
        self.0.make_first.iter().cloned().map(MakeFirstStep).collect()
    }

    /// How much could be made at most.
    async fn most(&self, ctx: &Context<'_>) -> Result<Most> {
        Ok(Most {
            batch_kg: self.0.most.batch.map(kg),
            units: self.0.most.units.map(Decimal::whole),
            units_for_sale: self.0.most.units_for_sale.map(Decimal::whole),
            limited_by: materials_of(ctx, self.0.most.limited_by.iter().map(|material| material.id))?,
        })
    }

    /// Runs that take theirs before this one, in order.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn earlier(&self) -> Vec<RunOff> {
        self.0.earlier.iter().cloned().map(RunOff).collect()
    }

    /// Cautions for what meets in the vessel.
    async fn cautions(&self) -> Cautions {
        Cautions(self.0.cautions.clone())
    }

    /// What is missing to say more.
    async fn gaps(&self) -> Vec<Gap> {
        self.0.gaps.iter().map(Gap::from).collect()
    }

    /// What to know.
    async fn notes(&self) -> Vec<Note> {
        self.0.notes.iter().map(Note::from).collect()
    }
}

/// How much could be made at most.
#[derive(SimpleObject)]
pub struct Most {
    /// Everything charged, kg; null when nothing on the shelf limits it, or something is not known.
    pub batch_kg: Option<Decimal>,
    /// Whole units filled, those kept back from sale among them; only for a pack.
    pub units: Option<Decimal>,
    /// Of these, what is for sale; only for a pack.
    pub units_for_sale: Option<Decimal>,
    /// What would be short if any more were made.
    pub limited_by: Vec<Material>,
}

/// How it stands with one material.
pub struct MaterialCheck(Check);

/// How it stands with one material of a run.
#[Object]
impl MaterialCheck {
    /// The material.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material.id)
    }

    /// Whether lots of it are kept; what is not stocked (water) is taken as there.
    async fn stocked(&self) -> bool {
        self.0.stocked
    }

    /// What the run needs of it in all.
    async fn needed(&self) -> Quantity {
        Quantity(self.0.needed)
    }

    /// Where it is needed: directly, or behind which intermediates.
    async fn uses(&self) -> Vec<Use> {
        self.0.uses.iter().cloned().map(Use).collect()
    }

    /// What of it can be used on the day, whoever it is promised to.
    async fn usable(&self) -> Quantity {
        Quantity(self.0.usable)
    }

    /// What earlier tickets take of that.
    async fn taken_by_earlier(&self) -> Quantity {
        Quantity(self.0.taken_by_earlier)
    }

    /// What of it is promised to later tickets.
    async fn promised_to_later(&self) -> Quantity {
        Quantity(self.0.promised_to_later)
    }

    /// What earlier tickets are expected to yield of it.
    async fn expected(&self) -> Quantity {
        Quantity(self.0.expected)
    }

    /// Lots to use, in order.
    async fn takes(&self) -> Vec<Take> {
        takes(&self.0.takes)
    }

    /// What is missing. For an intermediate that is made first, what has to be made.
    async fn short_by(&self) -> Quantity {
        Quantity(self.0.short_by)
    }

    /// How it stands.
    async fn verdict(&self) -> Verdict {
        self.0.verdict.into()
    }

    /// Every lot as it stands on the day after earlier tickets, with the reasons against those that cannot be used.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn lots(&self) -> Vec<LotOnDay> {
        self.0.lots.iter().cloned().map(LotOnDay).collect()
    }

    /// What to buy; null for a material that is not short.
    async fn buy(&self) -> Option<Purchase> {
        self.0.buy.clone().map(Purchase)
    }
}

/// A place where a material is needed.
pub struct Use(Place);

/// A place where a run needs a material.
#[Object]
impl Use {
    /// Intermediates it stands behind, outermost first; empty when the run takes it directly.
    async fn behind(&self, ctx: &Context<'_>) -> Result<Vec<Material>> {
        materials_of(ctx, self.0.behind.iter().map(|material| material.id))
    }

    /// How much.
    async fn needed(&self) -> Quantity {
        Quantity(self.0.needed)
    }

    /// What is missing here.
    async fn short_by(&self) -> Quantity {
        Quantity(self.0.short_by)
    }
}

/// A step to make first.
pub struct MakeFirstStep(Step);

/// An intermediate that has to be made before the run.
#[Object]
impl MakeFirstStep {
    /// The intermediate.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material.id)
    }

    /// The version it is made by.
    async fn version(&self, ctx: &Context<'_>) -> Result<FormulaVersion> {
        FormulaVersion::find(ctx, self.0.version)
    }

    /// What has to come out, kg.
    async fn make_kg(&self) -> Decimal {
        kg(self.0.make)
    }

    /// What has to be charged for that, process loss and heel on top, kg.
    async fn charge_kg(&self) -> Decimal {
        kg(self.0.charge)
    }

    /// Intermediates it stands behind itself, outermost first.
    async fn behind(&self, ctx: &Context<'_>) -> Result<Vec<Material>> {
        materials_of(ctx, self.0.behind.iter().map(|material| material.id))
    }

    /// Materials that are short for it.
    async fn short(&self, ctx: &Context<'_>) -> Result<Vec<Material>> {
        materials_of(ctx, self.0.short.iter().map(|material| material.id))
    }
}
