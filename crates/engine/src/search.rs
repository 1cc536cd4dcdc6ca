//! Searches: not what a change would do, but how far it may go. The price of a material at which a pack's margin reaches its floor, and
//! the dose that just fits a cost.
//!
//! Both are found among the percents that can be kept (nine places), with the ordinary cost sheet at every trial, so that price breaks,
//! minimum orders and whole units count as they always do. What is found holds, and the next percent does not. A cost that goes back and
//! forth with the figure (a larger dose that reaches a cheaper break) may hold again further on; the search is then for the first end.

use chrono::NaiveDate;
use domain::formulas::FormulaVersion;
use kernel::{
    Currency, Exact, Percent,
    ids::{MaterialId, PackId},
};
use serde::Serialize;

use crate::{
    CostRequest, CostSubject, EngineError, MaterialRef, View,
    cost::find_subject,
    cost_sheet,
    normalise::normalise,
    price::landed_price,
    reformulate::{NewShare, Reformulated, diluent_of, share_of, with_shares},
    view::{PriceAdjustment, PriceChange, PriceScope},
    what_if::Figures,
};

/// Doublings of a rise that are tried before it is said that nothing breaks the floor: to a millionfold.
const DOUBLINGS: u32 = 20;

/// How far a material's price may rise before a pack's margin falls below its floor. Money is in the house's currency.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FloorPrice {
    /// The pack.
    pub pack: PackId,
    /// Its code.
    pub code: String,
    /// The material.
    pub material: MaterialRef,
    /// The house's currency.
    pub currency: Currency,
    /// The least margin, as a fraction of one (percent in JSON).
    #[serde(serialize_with = "crate::figures::dose")]
    pub floor: Exact,
    /// The margin as it is.
    #[serde(serialize_with = "crate::figures::dose")]
    pub margin: Exact,
    /// The greatest rise of all the material's prices, in percent, at which the margin is still the floor or more; below nought when it
    /// has to fall. `None` when no rise breaks it.
    pub rise: Option<Percent>,
    /// What the material costs landed at that rise, per kg or piece, ordered for the usual batch; `None` with the rise, or where it is
    /// not known.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub price: Option<Exact>,
}

/// The price of a material at which a pack's margin reaches a floor.
///
/// # Errors
/// [`EngineError::QuestionDoesNotFit`] for a pack without a price, a cost with gaps, a material that is not in it, or a floor that even
/// nothing for the material does not reach; those of [`cost_sheet`].
pub fn floor_price(
    view: &View<'_>,
    pack: PackId,
    material: MaterialId,
    floor: Percent,
    on: NaiveDate,
) -> Result<FloorPrice, EngineError> {
    let known = view.pack(pack)?;
    let of = view.material(material)?;
    let request = CostRequest::pack(pack, on);
    let least = floor.fraction();
    let figures = |rise: i64| -> Result<(Figures, Option<Exact>), EngineError> {
        let mut overlay = view.overlay();
        let change = PriceAdjustment::ByPercent(Percent::from_nano(rise));
        overlay.prices.push(PriceChange { scope: PriceScope::Material(material), change, from: None });
        let assumed = view.overlaid(&overlay);
        let sheet = cost_sheet(&assumed, &request)?;
        let ordered = amount_of(&sheet, material).unwrap_or(Exact::ONE);
        let price = landed_price(&assumed, of, &ordered, on)?.ok().map(|landed| landed.per_unit);
        Ok((Figures::from(&sheet), price))
    };
    let does_not_fit = |why: String| EngineError::QuestionDoesNotFit { why };
    let (now, _) = figures(0)?;
    let margin = now.margin.clone().filter(|_| now.complete).ok_or_else(|| {
        does_not_fit(format!("{} needs a selling price and a cost without gaps", known.code))
    })?;
    let holds = |rise: i64| -> Result<bool, EngineError> {
        Ok(figures(rise)?.0.margin.is_some_and(|margin| margin >= least))
    };
    let nothing = -Percent::HUNDRED.nano();
    if figures(nothing)?.0.per_unit == now.per_unit {
        return Err(does_not_fit(format!("{} does not depend on the price of {}", known.code, of.code)));
    }
    if !holds(nothing)? {
        return Err(does_not_fit(format!(
            "even if {} cost nothing, {} would not leave {floor}",
            of.code, known.code
        )));
    }
    // The first doubling that breaks the floor bounds the rise.
    let (mut good, mut bad) = (nothing, None);
    let mut step = 0_i64;
    for _ in 0..DOUBLINGS {
        if holds(step)? {
            good = step;
        } else {
            bad = Some(step);
            break;
        }
        step = if step == 0 { Percent::HUNDRED.nano() } else { step.saturating_mul(2) };
    }
    let rise = bad.map(|bad| last_that_holds(good, bad, &holds)).transpose()?;
    let price = match rise {
        Some(rise) => figures(rise)?.1,
        None => None,
    };
    Ok(FloorPrice {
        pack,
        code: known.code.clone(),
        material: MaterialRef::from(&**of),
        currency: view.currency(),
        floor: least,
        margin,
        rise: rise.map(Percent::from_nano),
        price,
    })
}

/// The last whole number for which something holds, between one for which it does and one for which it does not.
fn last_that_holds(
    mut good: i64,
    mut bad: i64,
    holds: &impl Fn(i64) -> Result<bool, EngineError>,
) -> Result<i64, EngineError> {
    while bad.saturating_sub(good) > 1 {
        let middle = good + (bad - good) / 2;
        if holds(middle)? {
            good = middle;
        } else {
            bad = middle;
        }
    }
    Ok(good)
}

/// What a batch takes of a material, kg or pieces, intermediates aside.
fn amount_of(sheet: &crate::CostSheet, material: MaterialId) -> Option<Exact> {
    let own = sheet.lines.iter().filter(|line| line.material.as_ref().is_some_and(|m| m.id == material));
    let amount: Exact = own.filter_map(|line| line.amount.as_ref()).sum();
    amount.is_positive().then_some(amount)
}

/// The dose that just fits a cost.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FittingDose {
    /// The position of the line.
    pub line: u32,
    /// What stands on it.
    pub material: MaterialRef,
    /// The dose as it is, as a fraction of one (percent in JSON).
    #[serde(serialize_with = "crate::figures::dose")]
    pub was: Exact,
    /// The greatest dose, % w/w as supplied, that costs no more.
    pub dose: Percent,
    /// What one kg of good output, or one unit of the pack, costs at that dose.
    #[serde(serialize_with = "crate::figures::cost")]
    pub cost: Exact,
    /// Whether the line that takes the difference ends before the cost does.
    pub ended_by_diluent: bool,
}

/// The greatest dose of a line at which a kg of a version, or a unit of a pack, costs no more than so much; the q.s. line, or the one
/// named, takes the difference.
///
/// # Errors
/// [`EngineError::QuestionDoesNotFit`] for lines that are not there, doses or costs that are not known, or a cost that even without the
/// line is not reached.
pub fn fitting_dose(
    view: &View<'_>,
    request: &CostRequest,
    line: u32,
    against: Option<u32>,
    cost: &Exact,
) -> Result<FittingDose, EngineError> {
    let does_not_fit = |why: String| EngineError::QuestionDoesNotFit { why };
    let version = find_subject(view, request)?.0;
    let subject = match request.subject {
        CostSubject::Version(_) => CostSubject::Version(version.id),
        CostSubject::Pack { pack, .. } => CostSubject::Pack { pack, version: Some(version.id) },
    };
    let request = CostRequest { subject, ..*request };
    let stands = version.lines.iter().find(|known| known.position == line);
    let stands = stands.ok_or_else(|| does_not_fit(format!("there is no line {line}")))?;
    let diluent = diluent_of(version, against).map_err(does_not_fit)?;
    if diluent == line {
        return Err(does_not_fit(format!("line {line} cannot take its own difference")));
    }
    let normalised = normalise(view, version)?;
    let share = |position| {
        share_of(&normalised, position)
            .cloned()
            .ok_or_else(|| does_not_fit(format!("the dose of line {position} is not known")))
    };
    let (was, rest) = (share(line)?, share(diluent)?);
    let at = |dose: i64| -> Result<Option<Exact>, EngineError> {
        let new = NewShare { position: line, share: Percent::from_nano(dose).fraction(), material: None };
        let written: Box<FormulaVersion> = match with_shares(view, version, &normalised, &[new], diluent)? {
            Reformulated::Written(written) => written,
            Reformulated::Short { .. } => return Ok(None),
        };
        let sheet = cost_sheet(&view.assuming_version(&written), &request)?;
        let figures = Figures::from(&sheet);
        if !figures.complete {
            return Err(EngineError::QuestionDoesNotFit { why: "the cost has gaps".to_owned() });
        }
        Ok(match request.subject {
            CostSubject::Version(_) => Some(figures.per_kg),
            CostSubject::Pack { .. } => figures.per_unit,
        })
    };
    let fits = |dose: i64| -> Result<bool, EngineError> { Ok(at(dose)?.is_some_and(|found| found <= *cost)) };
    if !fits(0)? {
        return Err(does_not_fit("even without the line it costs more".to_owned()));
    }
    let most = Percent::from_exact_down(&((&was + &rest) * Exact::whole(100)))?.nano();
    let (dose, ended_by_diluent) =
        if fits(most)? { (most, true) } else { (last_that_holds(0, most, &fits)?, false) };
    Ok(FittingDose {
        line,
        material: MaterialRef::from(&**view.material(stands.material)?),
        was,
        dose: Percent::from_nano(dose),
        cost: at(dose)?.unwrap_or_default(),
        ended_by_diluent,
    })
}
