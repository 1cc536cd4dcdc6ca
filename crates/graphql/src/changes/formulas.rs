//! Changes of formula versions.

use app::{FormulaVersionWrite, LineWrite};
use async_graphql::{Context, ID, InputObject, Object, OneofObject};
use domain::{
    formulas::{AmountBasis as Basis, FormulaVersion as Row, LineAmount, MeasuredDensity, Trim, WrittenAs},
    people::Capability,
};
use kernel::{AmountError, Density, Mass, Parts, Percent, Quantity, Volume, ids::FormulaVersionId};

use crate::{
    amounts::{MoneyInput, QuantityInput},
    caller::{Desk, Find as _},
    changes::{
        Reading, answers,
        making::{MakingInput, read_making},
        require,
    },
    errors::Result,
    formulas::{AmountBasis, FormulaVersion, formula_of},
    ids::{Which, read},
    scalars::{Date, Decimal, Span},
};

/// A draft, as it is written.
#[derive(InputObject)]
pub struct FormulaVersionWriteInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The formula.
    pub formula: Which,
    /// The draft to write anew, by global id; a new version when nothing is said.
    pub version: Option<ID>,
    /// How the amounts are written.
    pub written_as: WrittenAsInput,
    /// Its lines, in order of addition.
    pub lines: Vec<FormulaLineInput>,
    /// Density of the finished liquid as measured.
    pub density: Option<MeasuredDensityInput>,
    /// Share of what is charged that never reaches the filler, %; nought when nothing is said.
    pub process_loss_percent: Option<Decimal>,
    /// What stays in vessel, pump and hoses whatever the batch size, a mass; nought when nothing is said.
    pub heel: Option<QuantityInput>,
    /// The batch size costs are worked out for, a mass.
    pub usual_batch: QuantityInput,
    /// The least the vessel takes, a mass.
    pub smallest_batch: Option<QuantityInput>,
    /// The most the vessel takes, a mass.
    pub largest_batch: Option<QuantityInput>,
    /// Labour, cleaning, tests and disposal of one batch in one figure, in the house's currency; what is spelt out stands in
    /// `making`.
    pub cost_per_batch: Option<MoneyInput>,
    /// What else leaves a batch, and the named costs of making it, all of it anew. When nothing is said a draft written anew keeps
    /// what it has, and a new version has none.
    pub making: Option<MakingInput>,
    /// How long what it makes keeps.
    pub shelf_life: Option<Span>,
    /// Remarks.
    pub note: Option<String>,
}

/// How the amounts of a draft are written.
#[derive(OneofObject)]
pub enum WrittenAsInput {
    /// Percent by weight; say true.
    Percent(bool),
    /// Grams of a bench sheet: what its lines should add up to, a mass.
    GramsTotal(QuantityInput),
    /// By volume: the volume it is made up to.
    VolumeTotal(QuantityInput),
    /// Parts by weight; say true.
    Parts(bool),
}

/// A density somebody measured.
#[derive(InputObject)]
pub struct MeasuredDensityInput {
    /// The figure, kg/L; this or `lbPerGal`.
    #[graphql(name = "kgPerL")]
    pub kg_per_l: Option<Decimal>,
    /// Weight per US gallon, lb, as coatings are written; its conversion to kg/L is rounded half to even to 9 places.
    pub lb_per_gal: Option<Decimal>,
    /// The day it was measured.
    pub measured_on: Option<Date>,
    /// The temperature, °C.
    pub celsius: Option<Decimal>,
}

/// One line of a draft, as it is written.
#[derive(InputObject)]
pub struct FormulaLineInput {
    /// The group of ingredients handled together: A, B, C.
    pub phase: Option<String>,
    /// A raw material, utility or intermediate.
    pub material: Which,
    /// How much.
    pub amount: LineAmountInput,
    /// Whether that is of the material as supplied or of its active matter; as supplied when nothing is said.
    pub basis: Option<AmountBasis>,
    /// What it is there for.
    pub function: Option<String>,
    /// The least it may be, % w/w as supplied, where it is narrower than the material's own.
    pub use_level_from_percent: Option<Decimal>,
    /// The most it may be, % w/w as supplied, where it is narrower than the material's own.
    pub use_level_to_percent: Option<Decimal>,
    /// How far a weighing may miss its target either side, % of the target.
    pub weighing_tolerance_percent: Option<Decimal>,
    /// What to do when it is added.
    pub instruction: Option<String>,
    /// What it is added for until it is reached; its amount is then what is expected, which may be nought.
    pub trim: Option<TrimInput>,
}

/// A result that a line is added for until it is reached.
#[derive(InputObject)]
pub struct TrimInput {
    /// The result with its range, in words: pH 5.75 to 6.25.
    pub result: String,
    /// Where adding stops and somebody is asked, written like the line's amount and not less.
    pub stop: Option<LineAmountInput>,
}

/// The amount of a line.
#[derive(OneofObject)]
pub enum LineAmountInput {
    /// % w/w of the total.
    Percent(Decimal),
    /// % w/v: grams in 100 mL of the total volume; only by volume.
    PercentWeightInVolume(Decimal),
    /// % v/v: millilitres in 100 mL of the total volume, through the density of the material; only by volume.
    PercentVolumeInVolume(Decimal),
    /// Parts by weight; only in parts.
    Parts(Decimal),
    /// A mass, or a volume through the density of the material.
    Quantity(QuantityInput),
    /// As much as brings the batch to its total (q.s.); say true.
    QuantitySufficient(bool),
}

/// A version, and a decision on it.
#[derive(InputObject)]
pub struct FormulaVersionApproveInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The draft, by global id.
    pub version: ID,
}

/// A version that is no longer to be made.
#[derive(InputObject)]
pub struct FormulaVersionRetireInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The approved version, by global id.
    pub version: ID,
}

fn shown(ctx: &Context<'_>, row: Row) -> Result<FormulaVersion> {
    Ok(FormulaVersion::of(&formula_of(ctx, row.formula)?.0, &row))
}

answers! {
    FormulaVersionWriteResult = FormulaVersionWritePayload {
        /// The draft.
        version: FormulaVersion
    } of Row: |ctx, row| shown(ctx, row);
    FormulaVersionApproveResult = FormulaVersionApprovePayload {
        /// The version, approved.
        version: FormulaVersion
    } of Row: |ctx, row| shown(ctx, row);
    FormulaVersionRetireResult = FormulaVersionRetirePayload {
        /// The version, retired.
        version: FormulaVersion
    } of Row: |ctx, row| shown(ctx, row);
}

/// Changes of formula versions.
#[derive(Default)]
pub struct FormulaChanges;

/// Changes of formula versions.
#[Object]
impl FormulaChanges {
    /// Writes a draft: a new version of a formula, or a draft anew. Its lines must make a whole, and the formula must not come to
    /// contain itself. Takes the right to plan and make. Refused: VersionFixed.
    async fn formula_version_write(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The draft.")] input: FormulaVersionWriteInput,
    ) -> Result<FormulaVersionWriteResult> {
        require(ctx, Capability::PlanAndMake)?;
        let change = ctx.change(input.request_key.clone())?;
        let read = draft(ctx, input)?;
        FormulaVersionWriteResult::of(ctx, ctx.house()?.formula_version_write(&change, read).await)
    }

    /// Approves a draft, which then never changes. Takes the right to approve formulas. Refused: VersionFixed, UseLevelBroken.
    async fn formula_version_approve(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The draft.")] input: FormulaVersionApproveInput,
    ) -> Result<FormulaVersionApproveResult> {
        require(ctx, Capability::ApproveFormulas)?;
        let change = ctx.change(input.request_key)?;
        let version = read(&input.version, "version")?;
        FormulaVersionApproveResult::of(ctx, ctx.house()?.formula_version_approve(&change, version).await)
    }

    /// Retires an approved version: no ticket is written from it any more. Takes the right to approve formulas. Refused:
    /// VersionNotApproved.
    async fn formula_version_retire(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The version.")] input: FormulaVersionRetireInput,
    ) -> Result<FormulaVersionRetireResult> {
        require(ctx, Capability::ApproveFormulas)?;
        let change = ctx.change(input.request_key)?;
        let version = read(&input.version, "version")?;
        FormulaVersionRetireResult::of(ctx, ctx.house()?.formula_version_retire(&change, version).await)
    }
}

fn draft(ctx: &Context<'_>, input: FormulaVersionWriteInput) -> Result<FormulaVersionWrite> {
    let catalogue = ctx.catalogue()?;
    let formula = catalogue.formula(&input.formula, "formula")?.id;
    let version = input.version.map(|id| read::<FormulaVersionId>(&id, "version")).transpose()?;
    let mut reading = Reading::default();
    let written_as = match input.written_as {
        WrittenAsInput::Percent(true) => Some(WrittenAs::Percent),
        WrittenAsInput::Percent(false) => {
            reading.push("writtenAs.percent", "say true, or how it is written instead");
            None
        }
        WrittenAsInput::GramsTotal(total) => {
            reading.take("writtenAs.gramsTotal", total.mass()).map(|total| WrittenAs::Grams { total })
        }
        WrittenAsInput::VolumeTotal(total) => {
            reading.take("writtenAs.volumeTotal", volume(total)).map(|total| WrittenAs::Volume { total })
        }
        WrittenAsInput::Parts(true) => Some(WrittenAs::Parts),
        WrittenAsInput::Parts(false) => {
            reading.push("writtenAs.parts", "say true, or how it is written instead");
            None
        }
    };
    let mut lines = Vec::with_capacity(input.lines.len());
    for (at, line) in input.lines.into_iter().enumerate() {
        let place = format!("lines[{at}]");
        let material = catalogue.material(&line.material, &format!("{place}.material"))?.id;
        let amount = read_amount(&mut reading, &line.amount, &format!("{place}.amount"));
        let tolerance = reading.optional(
            &format!("{place}.weighingTolerancePercent"),
            line.weighing_tolerance_percent.map(|figure| Percent::from_percent(figure.0)),
        );
        let use_level_from = reading.optional(
            &format!("{place}.useLevelFromPercent"),
            line.use_level_from_percent.map(|figure| Percent::from_percent(figure.0)),
        );
        let use_level_to = reading.optional(
            &format!("{place}.useLevelToPercent"),
            line.use_level_to_percent.map(|figure| Percent::from_percent(figure.0)),
        );
        let trim = match line.trim {
            None => Some(None),
            Some(TrimInput { result, stop: None }) => Some(Some(Trim { result, stop: None })),
            Some(TrimInput { result, stop: Some(stop) }) => {
                let stop = read_amount(&mut reading, &stop, &format!("{place}.trim.stop"));
                stop.map(|stop| Some(Trim { result, stop: Some(stop) }))
            }
        };
        let levels = use_level_from.zip(use_level_to);
        if let Some((((amount, weighing_tolerance), trim), levels)) =
            amount.zip(tolerance).zip(trim).zip(levels)
        {
            let (use_level_from, use_level_to) = levels;
            lines.push(LineWrite {
                phase: line.phase,
                material,
                amount,
                basis: line.basis.map_or(Basis::AsSupplied, Into::into),
                function: line.function,
                use_level_from,
                use_level_to,
                weighing_tolerance,
                instruction: line.instruction,
                trim,
            });
        }
    }
    let density = match input.density {
        None => Some(None),
        Some(measured) => {
            let read = match (measured.kg_per_l, measured.lb_per_gal) {
                (Some(figure), None) => reading.take("density.kgPerL", Density::from_kg_per_litre(figure.0)),
                (None, Some(figure)) => {
                    reading.take("density.lbPerGal", Density::from_pounds_per_gallon(figure.0))
                }
                (None, None) | (Some(_), Some(_)) => {
                    reading.push("density", "say either kgPerL or lbPerGal");
                    None
                }
            };
            read.map(|density| {
                Some(MeasuredDensity {
                    density,
                    measured_on: measured.measured_on.map(|day| day.0),
                    celsius: measured.celsius.map(|figure| figure.0),
                })
            })
        }
    };
    let process_loss = reading.optional(
        "processLossPercent",
        input.process_loss_percent.map(|figure| Percent::from_percent(figure.0)),
    );
    let heel = reading.optional("heel", input.heel.map(QuantityInput::mass));
    let usual_batch = reading.take("usualBatch", input.usual_batch.mass());
    let smallest_batch = reading.optional("smallestBatch", input.smallest_batch.map(QuantityInput::mass));
    let largest_batch = reading.optional("largestBatch", input.largest_batch.map(QuantityInput::mass));
    let cost_per_batch = reading.optional("costPerBatch", input.cost_per_batch.map(MoneyInput::money));
    let making = read_making(&mut reading, input.making);
    let first = written_as.zip(density).zip(process_loss).zip(heel).zip(making);
    let second = usual_batch.zip(smallest_batch).zip(largest_batch).zip(cost_per_batch);
    let (first, second) = reading.finish(first.zip(second))?;
    let ((((written_as, density), process_loss), heel), making) = first;
    let (((usual_batch, smallest_batch), largest_batch), cost_per_batch) = second;
    Ok(FormulaVersionWrite {
        formula,
        version,
        written_as,
        lines,
        density,
        process_loss: process_loss.unwrap_or(Percent::ZERO),
        heel: heel.unwrap_or(Mass::ZERO),
        usual_batch,
        smallest_batch,
        largest_batch,
        cost_per_batch,
        making,
        seen: None,
        shelf_life: input.shelf_life.map(|span| span.0),
        note: input.note,
    })
}

fn volume(quantity: QuantityInput) -> std::result::Result<Volume, AmountError> {
    match quantity.quantity()? {
        Quantity::Volume(volume) => Ok(volume),
        other => Err(AmountError::WrongDimension {
            text: other.to_string(),
            found: other.dimension().name(),
            expected: "volume",
        }),
    }
}

fn read_amount(reading: &mut Reading, amount: &LineAmountInput, place: &str) -> Option<LineAmount> {
    match amount {
        LineAmountInput::Percent(figure) => reading
            .take(&format!("{place}.percent"), Percent::from_percent(figure.0))
            .map(LineAmount::Percent),
        LineAmountInput::PercentWeightInVolume(figure) => reading
            .take(&format!("{place}.percentWeightInVolume"), Percent::from_percent(figure.0))
            .map(LineAmount::PercentWeightInVolume),
        LineAmountInput::PercentVolumeInVolume(figure) => reading
            .take(&format!("{place}.percentVolumeInVolume"), Percent::from_percent(figure.0))
            .map(LineAmount::PercentVolumeInVolume),
        LineAmountInput::Parts(figure) => {
            reading.take(&format!("{place}.parts"), Parts::from_parts(figure.0)).map(LineAmount::Parts)
        }
        LineAmountInput::Quantity(quantity) => {
            let place = format!("{place}.quantity");
            match reading.take(&place, quantity.quantity())? {
                Quantity::Mass(mass) => Some(LineAmount::Mass(mass)),
                Quantity::Volume(volume) => Some(LineAmount::Volume(volume)),
                Quantity::Count(_) => {
                    reading.push(&place, "a formula is written in percent, by mass or by volume");
                    None
                }
            }
        }
        LineAmountInput::QuantitySufficient(true) => Some(LineAmount::QuantitySufficient),
        LineAmountInput::QuantitySufficient(false) => {
            reading.push(&format!("{place}.quantitySufficient"), "say true, or how much instead");
            None
        }
    }
}
