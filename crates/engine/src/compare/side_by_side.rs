//! Two versions side by side: doses, active matter and cost per kg of each material, and what else is written otherwise.

use chrono::NaiveDate;
use domain::{
    formulas::{FormulaVersion, VersionStatus, WrittenAs},
    making::Making,
};
use kernel::{
    Currency, Exact, Mass,
    ids::{FormulaId, FormulaVersionId, MaterialId},
};
use serde::Serialize;

use super::LineChange;
use crate::{
    CostRequest, CostSheet, EngineError, MaterialRef, View,
    cost::LineKind,
    cost_sheet,
    normalise::{Normalised, normalise},
    what_if::Figures,
};

/// Two versions side by side. Doses are kg as supplied in one kg of everything charged (percent in JSON); costs are per kg of good
/// output, in the house's currency.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SideBySide {
    /// The house's currency.
    pub currency: Currency,
    /// The day both are costed for.
    pub as_of: NaiveDate,
    /// The first version.
    pub before: VersionSide,
    /// The second version.
    pub after: VersionSide,
    /// Material by material, all lines of one together: in the order of the first version, then what only the second has.
    pub rows: Vec<SideRow>,
    /// What else is written otherwise.
    pub header: Vec<HeaderChange>,
}

/// One of two versions.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct VersionSide {
    /// The formula.
    pub formula: FormulaId,
    /// Its code.
    pub formula_code: String,
    /// The version.
    pub version: FormulaVersionId,
    /// Its number.
    pub number: u32,
    /// Where it stands.
    pub status: VersionStatus,
    /// Active matter of all materials whose strength is known, together.
    #[serde(serialize_with = "crate::figures::dose")]
    pub active: Exact,
    /// What it costs.
    pub cost: Figures,
    /// Part of `cost.per_kg` that is the cost per batch.
    #[serde(serialize_with = "crate::figures::cost")]
    pub making_per_kg: Exact,
}

/// One material of two versions. What a side does not hold is `None` there.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SideRow {
    /// The material.
    pub material: MaterialRef,
    /// What happened to it; `same` when its dose is the same, whatever it costs.
    pub change: LineChange,
    /// The phases it stands in before.
    pub phases_before: Vec<String>,
    /// The phases it stands in after.
    pub phases_after: Vec<String>,
    /// Dose before.
    #[serde(serialize_with = "crate::figures::optional_dose")]
    pub dose_before: Option<Exact>,
    /// Dose after.
    #[serde(serialize_with = "crate::figures::optional_dose")]
    pub dose_after: Option<Exact>,
    /// What the dose changes by, as a fraction of the dose before; `None` where one side has none.
    #[serde(serialize_with = "crate::figures::optional_percent")]
    pub dose_change_share: Option<Exact>,
    /// Active matter before, where the strength is known.
    #[serde(serialize_with = "crate::figures::optional_dose")]
    pub active_before: Option<Exact>,
    /// Active matter after, where the strength is known.
    #[serde(serialize_with = "crate::figures::optional_dose")]
    pub active_after: Option<Exact>,
    /// What it adds to the cost per kg before; `None` where that is not known.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub cost_before: Option<Exact>,
    /// What it adds to the cost per kg after; `None` where that is not known.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub cost_after: Option<Exact>,
}

/// Something of the head of a version that is written otherwise.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HeaderChange {
    /// What.
    pub what: &'static str,
    /// Before.
    pub before: String,
    /// After.
    pub after: String,
}

/// Two versions, of one formula or of two, side by side at one batch (`None`: each at its usual one) on one day.
///
/// # Errors
/// Those of [`cost_sheet`].
pub fn side_by_side(
    view: &View<'_>,
    before: FormulaVersionId,
    after: FormulaVersionId,
    batch: Option<Mass>,
    as_of: NaiveDate,
) -> Result<SideBySide, EngineError> {
    let first = Read::of(view, before, batch, as_of)?;
    let second = Read::of(view, after, batch, as_of)?;
    let mut materials = first.materials();
    materials.extend(second.materials().into_iter().filter(|id| !first.holds(*id)));
    let mut rows = Vec::with_capacity(materials.len());
    for id in materials {
        let (dose_before, dose_after) = (first.dose(id), second.dose(id));
        let change = match (first.holds(id), second.holds(id)) {
            (false, _) => LineChange::Added,
            (_, false) => LineChange::Removed,
            _ if dose_before == dose_after => LineChange::Same,
            _ => LineChange::Changed,
        };
        let dose_change_share = dose_before
            .as_ref()
            .zip(dose_after.as_ref())
            .and_then(|(before, after)| (after - before).checked_div(before).ok());
        rows.push(SideRow {
            material: MaterialRef::from(&**view.material(id)?),
            change,
            phases_before: first.phases(id),
            phases_after: second.phases(id),
            dose_change_share,
            dose_before,
            dose_after,
            active_before: first.active(id),
            active_after: second.active(id),
            cost_before: first.cost(id)?,
            cost_after: second.cost(id)?,
        });
    }
    Ok(SideBySide {
        currency: view.currency(),
        as_of,
        header: header(first.version, second.version),
        before: first.side()?,
        after: second.side()?,
        rows,
    })
}

/// A version with all that is said about it.
struct Read<'a> {
    version: &'a FormulaVersion,
    normalised: Normalised,
    sheet: CostSheet,
}

impl<'a> Read<'a> {
    fn of(
        view: &View<'a>,
        version: FormulaVersionId,
        batch: Option<Mass>,
        as_of: NaiveDate,
    ) -> Result<Self, EngineError> {
        let mut request = CostRequest::version(version, as_of);
        request.batch = batch;
        let sheet = cost_sheet(view, &request)?;
        let version = view.version(version)?.1;
        Ok(Self { version, normalised: normalise(view, version)?, sheet })
    }

    fn materials(&self) -> Vec<MaterialId> {
        let mut materials = Vec::new();
        for line in &self.normalised.lines {
            if !materials.contains(&line.material) {
                materials.push(line.material);
            }
        }
        materials
    }

    fn holds(&self, id: MaterialId) -> bool {
        self.normalised.lines.iter().any(|line| line.material == id)
    }

    /// The sum over the lines of a material; `None` when there is none or one of them has no figure.
    fn sum<'s>(&'s self, id: MaterialId, of: impl Fn(usize) -> Option<&'s Exact>) -> Option<Exact> {
        let lines = self.normalised.lines.iter().enumerate().filter(|(_, line)| line.material == id);
        let figures: Option<Vec<&Exact>> = lines.map(|(at, _)| of(at)).collect();
        figures.filter(|figures| !figures.is_empty()).map(|figures| figures.into_iter().sum())
    }

    fn dose(&self, id: MaterialId) -> Option<Exact> {
        self.sum(id, |at| self.normalised.lines.get(at)?.share.as_ref())
    }

    fn active(&self, id: MaterialId) -> Option<Exact> {
        self.sum(id, |at| self.normalised.lines.get(at)?.active_share.as_ref())
    }

    fn phases(&self, id: MaterialId) -> Vec<String> {
        let mut phases: Vec<String> = Vec::new();
        for phase in
            self.version.lines.iter().filter(|line| line.material == id).filter_map(|l| l.phase.as_ref())
        {
            if !phases.contains(phase) {
                phases.push(phase.clone());
            }
        }
        phases
    }

    /// Ingredient lines of a sheet stand one for one with those of the version.
    fn cost(&self, id: MaterialId) -> Result<Option<Exact>, EngineError> {
        let value = self.sum(id, |at| {
            let line = self.sheet.lines.get(at).filter(|line| line.kind == LineKind::Ingredient)?;
            line.value.as_ref().filter(|_| !line.partial)
        });
        Ok(value.map(|value| value.checked_div(&self.sheet.batch.good)).transpose()?)
    }

    fn side(&self) -> Result<VersionSide, EngineError> {
        let subject = &self.sheet.subject;
        Ok(VersionSide {
            formula: subject.formula,
            formula_code: subject.formula_code.clone(),
            version: subject.version,
            number: subject.version_number,
            status: subject.version_status,
            active: self.normalised.lines.iter().filter_map(|line| line.active_share.as_ref()).sum(),
            cost: Figures::from(&self.sheet),
            making_per_kg: self.sheet.totals.making.checked_div(&self.sheet.batch.good)?,
        })
    }
}

fn header(before: &FormulaVersion, after: &FormulaVersion) -> Vec<HeaderChange> {
    let or_none = |text: Option<String>| text.unwrap_or_else(|| "none".to_owned());
    let order = |version: &FormulaVersion| -> Vec<(Option<String>, MaterialId)> {
        version.lines.iter().map(|line| (line.phase.clone(), line.material)).collect()
    };
    let mut changes = Vec::new();
    let mut put = |what: &'static str, before: String, after: String| {
        if before != after {
            changes.push(HeaderChange { what, before, after });
        }
    };
    put("written as", written_as(before.written_as), written_as(after.written_as));
    let density = |version: &FormulaVersion| or_none(version.density.as_ref().map(|d| d.density.to_string()));
    put("density", density(before), density(after));
    put("process loss", before.process_loss.to_string(), after.process_loss.to_string());
    let (making_before, making_after) = (&before.making, &after.making);
    put("evaporation", making_before.evaporation.to_string(), making_after.evaporation.to_string());
    put("heel", before.heel.to_string(), after.heel.to_string());
    put("samples", making_before.samples.to_string(), making_after.samples.to_string());
    put("retains", making_before.retains.to_string(), making_after.retains.to_string());
    put("usual batch", before.usual_batch.to_string(), after.usual_batch.to_string());
    let mass = |mass: Option<Mass>| or_none(mass.map(|mass| mass.to_string()));
    put("smallest batch", mass(before.smallest_batch), mass(after.smallest_batch));
    put("largest batch", mass(before.largest_batch), mass(after.largest_batch));
    let cost = |version: &FormulaVersion| or_none(version.cost_per_batch.map(|cost| cost.to_string()));
    put("cost per batch", cost(before), cost(after));
    put("costs of making", costs(making_before), costs(making_after));
    let life = |version: &FormulaVersion| or_none(version.shelf_life.map(|life| life.to_string()));
    put("shelf life", life(before), life(after));
    // The order of addition is part of a formula even when no dose moves.
    let (mut sorted_before, mut sorted_after) = (order(before), order(after));
    sorted_before.sort();
    sorted_after.sort();
    if sorted_before == sorted_after && order(before) != order(after) {
        put("order of addition", "as it was".to_owned(), "changed".to_owned());
    }
    changes
}

fn costs(making: &Making) -> String {
    let costs: Vec<String> = making
        .costs
        .iter()
        .map(|cost| format!("{} ({}) {}", cost.name, cost.kind.word(), cost.amount))
        .collect();
    if costs.is_empty() { "none".to_owned() } else { costs.join("; ") }
}

fn written_as(written: WrittenAs) -> String {
    match written {
        WrittenAs::Percent => "percent by weight".to_owned(),
        WrittenAs::Grams { total } => format!("bench sheet of {total}"),
        WrittenAs::Volume { total } => format!("by volume, to {total}"),
        WrittenAs::Parts => "parts by weight".to_owned(),
    }
}
