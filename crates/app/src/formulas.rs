//! Formula versions: writing a draft, approving it, retiring it.

use chrono::NaiveDate;
use domain::{
    Catalogue, Refusal,
    dates::Span,
    formulas::{
        AmountBasis, Approval, Formula, FormulaLine, FormulaVersion, LineAmount, MeasuredDensity, Trim,
        VersionStatus, WrittenAs, misfit_of_line,
    },
    making::Making,
    materials::{MaterialKind, UseLevelKind},
    people::Capability,
    text,
};
use engine::{
    EngineError, View,
    explode::{UseLevelBreach, explode, loop_through, use_level_breaches},
    normalise::normalise,
};
use kernel::{
    Exact, Mass, Money, Percent,
    ids::{FormulaId, FormulaVersionId, MaterialId},
    limits::{FORMULA_LINES_MAX, MAKING_COSTS_MAX},
};
use serde::{Deserialize, Serialize};

use crate::{
    App, Change, Error,
    change::{Begun, sha256_hex},
    fresh::Problems,
};

/// A draft, as it is written: a new version of a formula, or a draft written anew.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct FormulaVersionWrite {
    /// The formula.
    pub formula: FormulaId,
    /// The draft to write anew; `None` for a new version.
    pub version: Option<FormulaVersionId>,
    /// How the amounts are written.
    pub written_as: WrittenAs,
    /// In order of addition.
    pub lines: Vec<LineWrite>,
    /// Of the finished liquid, measured.
    pub density: Option<MeasuredDensity>,
    /// Share of what is charged that never reaches the filler.
    pub process_loss: Percent,
    /// What stays in vessel, pump and hoses.
    pub heel: Mass,
    /// The batch size costs are worked out for.
    pub usual_batch: Mass,
    /// The least the vessel takes.
    pub smallest_batch: Option<Mass>,
    /// The most the vessel takes.
    pub largest_batch: Option<Mass>,
    /// Labour, cleaning, tests and disposal of one batch in one figure.
    pub cost_per_batch: Option<Money>,
    /// What else leaves a batch, and the named costs of making it; `None` for what the draft has, or for nothing in a new version.
    // Left out where nothing is said, as for a line's trim.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub making: Option<Making>,
    /// The [mark](draft_mark) of the draft as the writer read it: where somebody else has written it since, nothing is written.
    /// `None` writes over whatever stands there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seen: Option<String>,
    /// Of what it makes.
    pub shelf_life: Option<Span>,
    /// Remarks.
    pub note: Option<String>,
}

/// What tells a draft from the same draft written anew: it changes with anything that is kept of it.
///
/// # Errors
/// None that input could cause.
pub fn draft_mark(version: &FormulaVersion) -> Result<String, Error> {
    let mut mark = sha256_hex(&serde_json::to_vec(version)?);
    mark.truncate(32);
    Ok(mark)
}

/// One line, as it is written.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct LineWrite {
    /// A, B, C …
    pub phase: Option<String>,
    /// What.
    pub material: MaterialId,
    /// How much.
    pub amount: LineAmount,
    /// Of what.
    pub basis: AmountBasis,
    /// What it is there for.
    pub function: Option<String>,
    /// The least of it, narrower than the material's own, % w/w as supplied.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub use_level_from: Option<Percent>,
    /// The most of it, narrower than the material's own, % w/w as supplied.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub use_level_to: Option<Percent>,
    /// Either side of the target, % of the target.
    pub weighing_tolerance: Option<Percent>,
    /// What to do.
    pub instruction: Option<String>,
    /// Whether it is added until a result is reached; its amount is then what is expected, which may be nought.
    // Left out where there is none, so that a request sent before there were any is known again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub trim: Option<Trim>,
}

impl App {
    /// Writes a draft. The formula must not come to contain itself, and each line must make sense; that the lines miss their total is
    /// no hindrance to a draft, only to its approval ([`Costing::proposals`](crate::Costing::proposals) says how to put it right).
    ///
    /// # Errors
    /// [`Error::Invalid`], [`Error::NotFound`], [`Refusal::VersionFixed`] for a version that is no draft, [`Refusal::DraftChanged`]
    /// for one that somebody else has written since.
    pub async fn formula_version_write(
        &self,
        change: &Change<'_>,
        input: FormulaVersionWrite,
    ) -> Result<FormulaVersion, Error> {
        let mut work =
            match self.begin(change, Capability::PlanAndMake, "formula-version-write", &input).await? {
                Begun::Repeat(version) => return Ok(version),
                Begun::Fresh(work) => work,
            };
        let catalogue = self.snapshot();
        let formula = catalogue
            .formulas
            .get(input.formula)
            .ok_or_else(|| Error::not_found("formula", input.formula))?;
        let replaced = match input.version {
            None => None,
            Some(id) => {
                let version = formula
                    .versions
                    .iter()
                    .find(|v| v.id == id)
                    .ok_or_else(|| Error::not_found("formula version", id))?;
                if version.status != VersionStatus::Draft {
                    return Err(fixed(formula, version).into());
                }
                if let Some(seen) = &input.seen {
                    // As the database has it, held until this is written: the catalogue in memory may be a moment behind.
                    let stands = store::formulas::version_held(&work.tx, id).await?;
                    let stands = stands.ok_or_else(|| Error::not_found("formula version", id))?;
                    if stands.status != VersionStatus::Draft {
                        return Err(fixed(formula, &stands).into());
                    }
                    if draft_mark(&stands)? != *seen {
                        let (formula, number) = (formula.code.clone(), version.number);
                        return Err(Refusal::DraftChanged { formula, number }.into());
                    }
                }
                Some(version)
            }
        };
        let house = self.settings().currency;
        let version = draft_of(&catalogue, formula, replaced, &input, house)?;
        // Two drafts written at once get the same number; the database's unique key refuses the second.
        require_sound(&View::plain(&catalogue), formula.makes, &version, self.today())?;
        match replaced {
            Some(before) => {
                store::formulas::version_replace(&work.tx, &version).await?;
                work.note("formula version", version.id, Some(before), &version, None)?;
            }
            None => {
                store::formulas::version_insert(&work.tx, &version).await?;
                work.note("formula version", version.id, None::<&()>, &version, None)?;
            }
        }
        work.changes_catalogue();
        work.finish(version).await
    }

    /// Approves a draft. From then on it never changes.
    ///
    /// Legal limits hold for what leaves the house, so those of an intermediate are looked at in the formulas it stands in: an
    /// approval that would take one of these beyond a limit is refused as well.
    ///
    /// # Errors
    /// [`Refusal::VersionFixed`], [`Refusal::UseLevelBroken`] for each legal limit it breaks, [`Error::Invalid`] when a figure is
    /// missing that its amounts need.
    pub async fn formula_version_approve(
        &self,
        change: &Change<'_>,
        version: FormulaVersionId,
    ) -> Result<FormulaVersion, Error> {
        let mut work =
            match self.begin(change, Capability::ApproveFormulas, "formula-version-approve", &version).await?
            {
                Begun::Repeat(version) => return Ok(version),
                Begun::Fresh(work) => work,
            };
        let catalogue = self.snapshot();
        let (formula, before) =
            catalogue.version(version).ok_or_else(|| Error::not_found("formula version", version))?;
        if before.status != VersionStatus::Draft {
            return Err(fixed(formula, before).into());
        }
        let broken = legal_limits_broken(&catalogue, formula, before, self.today())?;
        if !broken.is_empty() {
            return Err(Error::Refused(broken));
        }
        let approval = Approval { by: work.by.clone(), on: self.today() };
        store::formulas::version_status_set(
            &work.tx,
            before.id,
            VersionStatus::Draft,
            VersionStatus::Approved,
            Some(&approval),
        )
        .await?;
        let after =
            FormulaVersion { status: VersionStatus::Approved, approval: Some(approval), ..before.clone() };
        work.changes_catalogue();
        work.note("formula version", after.id, Some(&before.status), &after.status, None)?;
        work.finish(after).await
    }

    /// Retires an approved version: no ticket is written from it any more.
    ///
    /// # Errors
    /// [`Error::Invalid`] for a draft or a version retired before.
    pub async fn formula_version_retire(
        &self,
        change: &Change<'_>,
        version: FormulaVersionId,
    ) -> Result<FormulaVersion, Error> {
        let mut work = match self
            .begin(change, Capability::ApproveFormulas, "formula-version-retire", &version)
            .await?
        {
            Begun::Repeat(version) => return Ok(version),
            Begun::Fresh(work) => work,
        };
        let catalogue = self.snapshot();
        let (formula, before) =
            catalogue.version(version).ok_or_else(|| Error::not_found("formula version", version))?;
        if before.status != VersionStatus::Approved {
            return Err(Refusal::VersionNotApproved {
                formula: formula.code.clone(),
                number: before.number,
                status: before.status,
            }
            .into());
        }
        store::formulas::version_status_set(
            &work.tx,
            before.id,
            VersionStatus::Approved,
            VersionStatus::Retired,
            before.approval.as_ref(),
        )
        .await?;
        let after = FormulaVersion { status: VersionStatus::Retired, ..before.clone() };
        work.changes_catalogue();
        work.note("formula version", after.id, Some(&before.status), &after.status, None)?;
        work.finish(after).await
    }
}

/// That a draft makes sense: each line, and that what it makes does not come to contain itself. It may miss its total.
pub(crate) fn require_sound(
    view: &View<'_>,
    makes: MaterialId,
    version: &FormulaVersion,
    on: NaiveDate,
) -> Result<(), Error> {
    let whole = may_miss_total(normalise(view, version).map(|_| ()))?;
    if let Some(path) = loop_through(view.catalogue(), makes, &version.lines) {
        return Err(EngineError::Loop { path }.into());
    }
    if whole {
        explode(view, version, on)?;
    }
    Ok(())
}

/// Whether a draft is whole; `false` where all that is wrong is that its lines miss their total.
fn may_miss_total(checked: Result<(), EngineError>) -> Result<bool, EngineError> {
    match checked {
        Ok(()) => Ok(true),
        Err(error) if error.is_missed_total() => Ok(false),
        Err(error) => Err(error),
    }
}

fn fixed(formula: &Formula, version: &FormulaVersion) -> Refusal {
    Refusal::VersionFixed { formula: formula.code.clone(), number: version.number, status: version.status }
}

/// The draft the input describes, every problem with it found first.
pub(crate) fn draft_of(
    catalogue: &Catalogue,
    formula: &Formula,
    replaced: Option<&FormulaVersion>,
    input: &FormulaVersionWrite,
    house: kernel::Currency,
) -> Result<FormulaVersion, Error> {
    let mut problems = Problems::default();
    if input.lines.is_empty() {
        problems.push("lines", "a formula needs at least one line");
    }
    if input.lines.len() > FORMULA_LINES_MAX {
        problems.push("lines", format!("a formula has at most {FORMULA_LINES_MAX} lines"));
    }
    if input.lines.iter().filter(|l| l.amount == LineAmount::QuantitySufficient).count() > 1 {
        problems.push("lines", "one line at most is q.s.");
    }
    problems.take("processLoss", input.process_loss.require_loss());
    problems.take("heel", input.heel.require_not_negative());
    problems.take("usualBatch", input.usual_batch.require_positive());
    if let Some(density) = &input.density {
        problems.take("density", density.density.require_plausible());
    }
    if let Some(cost) = input.cost_per_batch {
        if cost.currency() != house {
            problems.push("costPerBatch", format!("costs of the house are in {house}"));
        }
        if cost.micros() < 0 {
            problems.push("costPerBatch", "a cost must not be below nought");
        }
    }
    let making = making_of(catalogue, replaced, input, house, &mut problems);
    let note = problems.note("note", input.note.as_deref());
    let mut lines = Vec::with_capacity(input.lines.len());
    for ((at, line), position) in input.lines.iter().enumerate().zip(1_u32..) {
        let place = format!("lines[{at}]");
        match catalogue.materials.get(line.material) {
            None => problems.push(format!("{place}.material"), "there is no such material"),
            Some(material)
                if !matches!(
                    material.kind,
                    MaterialKind::RawMaterial | MaterialKind::Utility | MaterialKind::Intermediate
                ) =>
            {
                let kind = material.kind.words();
                problems.push(
                    format!("{place}.material"),
                    format!("{} is a {kind}, which no formula is made of", material.code),
                );
            }
            Some(_) => {}
        }
        let trim = line.trim.as_ref().and_then(|trim| {
            let result = problems.take(&format!("{place}.trim"), text::name("a result", &trim.result))?;
            Some(Trim { result, stop: trim.stop })
        });
        let misfit = misfit_of_line(line.amount, line.basis, trim.as_ref(), input.written_as);
        match (misfit, line.amount) {
            (Some(misfit), _) => problems.push(format!("{place}.amount"), misfit),
            // A dense material can stand above 100 % w/v.
            (None, LineAmount::Percent(percent) | LineAmount::PercentVolumeInVolume(percent)) => {
                problems.take(&format!("{place}.amount"), percent.require_share());
            }
            (None, _) => {}
        }
        let levels = [("useLevelFrom", line.use_level_from), ("useLevelTo", line.use_level_to)];
        for (field, level) in levels {
            if let Some(level) = level {
                problems.take(&format!("{place}.{field}"), level.require_share());
            }
        }
        if line.use_level_from.zip(line.use_level_to).is_some_and(|(from, to)| from > to) {
            problems.push(format!("{place}.useLevelTo"), "a use level ends at or above where it begins");
        }
        if let Some(tolerance) = line.weighing_tolerance {
            problems.take(&format!("{place}.weighingTolerance"), tolerance.require_share());
        }
        let mut short = |field: &str, value: Option<&str>| {
            let value = value.filter(|v| !v.trim().is_empty())?;
            problems.take(&format!("{place}.{field}"), text::name("this", value))
        };
        let (phase, function) =
            (short("phase", line.phase.as_deref()), short("function", line.function.as_deref()));
        let instruction = problems.note(&format!("{place}.instruction"), line.instruction.as_deref());
        lines.push(FormulaLine {
            position,
            phase,
            material: line.material,
            amount: line.amount,
            basis: line.basis,
            function,
            use_level_from: line.use_level_from,
            use_level_to: line.use_level_to,
            weighing_tolerance: line.weighing_tolerance,
            instruction,
            trim: trim.map(Box::new),
        });
    }
    problems.none()?;
    let number = match replaced {
        Some(version) => version.number,
        None => formula.versions.iter().map(|v| v.number).max().unwrap_or(0).saturating_add(1),
    };
    Ok(FormulaVersion {
        id: replaced.map_or_else(FormulaVersionId::new, |v| v.id),
        formula: formula.id,
        number,
        status: VersionStatus::Draft,
        written_as: input.written_as,
        lines,
        density: input.density.clone(),
        process_loss: input.process_loss,
        heel: input.heel,
        usual_batch: input.usual_batch,
        smallest_batch: input.smallest_batch,
        largest_batch: input.largest_batch,
        cost_per_batch: input.cost_per_batch,
        making,
        shelf_life: input.shelf_life,
        approval: None,
        note,
    })
}

/// What else leaves a batch and what making it costs, every problem with it noted.
fn making_of(
    catalogue: &Catalogue,
    replaced: Option<&FormulaVersion>,
    input: &FormulaVersionWrite,
    house: kernel::Currency,
    problems: &mut Problems,
) -> Making {
    let kept = || replaced.map(|version| version.making.clone()).unwrap_or_default();
    let mut making = input.making.clone().unwrap_or_else(kept);
    problems.take("making.evaporation", making.evaporation.require_loss());
    if let Ok(lost) = input.process_loss.checked_add(making.evaporation)
        && lost >= Percent::HUNDRED
    {
        problems.push("making.evaporation", format!("with the process loss it is {lost}; nothing is left"));
    }
    problems.take("making.samples", making.samples.require_not_negative());
    problems.take("making.retains", making.retains.require_not_negative());
    if making.costs.len() > MAKING_COSTS_MAX {
        problems.push("making.costs", format!("a version has at most {MAKING_COSTS_MAX} costs of making"));
    }
    let mut names = std::collections::HashSet::new();
    for (at, cost) in making.costs.iter_mut().enumerate() {
        let place = format!("making.costs[{at}]");
        if let Some(name) = problems.take(&format!("{place}.name"), text::code("a name", &cost.name)) {
            cost.name = name;
        }
        if !names.insert(text::code_key(&cost.name)) {
            problems.push(format!("{place}.name"), format!("“{}” stands twice", cost.name));
        }
        problems.take(&format!("{place}.amount"), cost.require_sound());
        if cost.currency().is_some_and(|currency| currency != house) {
            problems.push(format!("{place}.amount"), format!("costs of the house are in {house}"));
        }
        if let Some(rate) = cost.rate() {
            hourly_rate(catalogue, &format!("{place}.rate"), rate, problems);
        }
    }
    making
}

/// Notes a problem where no rate of the house that is paid by the hour has this name.
pub(crate) fn hourly_rate(catalogue: &Catalogue, place: &str, name: &str, problems: &mut Problems) {
    let mut rates = catalogue.house_rates().filter(|rate| text::code_key(&rate.name) == text::code_key(name));
    match rates.next() {
        None => problems.push(place, format!("there is no rate of the house with the name “{name}”")),
        Some(rate) if rate.of.is_overhead() => problems
            .push(place, format!("“{name}” is an overhead; hours are paid at a labour or machine rate")),
        Some(_) => {}
    }
}

/// Every legal limit that approving a version breaks, one material on several lines and in intermediates counted together: in the
/// version itself, or, where it makes an intermediate, in the approved versions of the formulas that stands in.
fn legal_limits_broken(
    catalogue: &Catalogue,
    formula: &Formula,
    version: &FormulaVersion,
    on: NaiveDate,
) -> Result<Vec<Refusal>, Error> {
    let view = View::plain(catalogue);
    let normal = normalise(&view, version)?;
    if let Some(gap) = normal.gaps.first() {
        return Err(Error::invalid("lines", format!("amounts cannot be worked out: {gap}")));
    }
    let broken = use_level_breaches(&view, version, on)?;
    let makes = catalogue.materials.get(formula.makes);
    if makes.is_none_or(|makes| makes.kind != MaterialKind::Intermediate) {
        return legal(formula, version, broken);
    }
    // As if it were the version that is approved now; where there is none, nothing approved rests on it.
    let Some(now) = formula.approved_on(on) else { return Ok(Vec::new()) };
    let assumed = FormulaVersion { id: now.id, number: now.number, ..version.clone() };
    let assuming = view.assuming_version(&assumed);
    let mut refusals = Vec::new();
    for other in catalogue.formulas.iter().filter(|other| other.id != formula.id) {
        let Some(approved) = other.approved_on(on) else { continue };
        // A formula that cannot be taken apart is not made worse by this one.
        let (Ok(before), Ok(mut after)) =
            (use_level_breaches(&view, approved, on), use_level_breaches(&assuming, approved, on))
        else {
            continue;
        };
        let is_intermediate = catalogue
            .materials
            .get(other.makes)
            .is_some_and(|makes| makes.kind == MaterialKind::Intermediate);
        after.retain(|breach| !is_intermediate && !before.contains(breach));
        refusals.extend(legal(other, approved, after)?);
    }
    Ok(refusals)
}

/// The legal ones of some limits that a version breaks.
fn legal(
    formula: &Formula,
    version: &FormulaVersion,
    breaches: Vec<UseLevelBreach>,
) -> Result<Vec<Refusal>, Error> {
    breaches
        .into_iter()
        .filter(|breach| breach.kind == UseLevelKind::Legal)
        .map(|breach| {
            let percent = breach.found * Exact::whole(100);
            Ok(Refusal::UseLevelBroken {
                formula: formula.code.clone(),
                number: version.number,
                material: breach.material.code,
                found: percent.round_half_even(6)?.normalize().to_string(),
                limit: breach.limit.percent().to_string(),
            })
        })
        .collect()
}
