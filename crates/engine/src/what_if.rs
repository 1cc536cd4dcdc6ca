//! What-if: the answer to "and if this changed?". Nothing is written: the scenario is laid over the catalogue and the shelf, the
//! same functions run on both, and the answer is the difference. What does not differ is not listed.

mod because;
mod costs;
mod endings;
mod first_look;
mod kept;
mod recalls;
mod runs;
mod shares;
mod timing;

use chrono::NaiveDate;
use domain::Catalogue;
use kernel::{
    Currency, Exact, Money, Percent, Quantity,
    ids::{FormulaId, FormulaVersionId, LotId, PackId, TicketId},
};
use serde::Serialize;

use crate::{
    EngineError, Overlay,
    buying::{BuyingDays, Purchase, purchase},
    cost::CostSheet,
    outlook::{Outlook, OutlookRequest, walk_outlook},
    planned::RunRef,
    reach::{Path, reach},
    recipes::Recipes,
    scenario::{Scenario, lay},
    shelf::{LotOnDay, Shelf, Take},
    view::{MaterialRef, View},
};

use costs::Costing;
use runs::shelf_hits;

pub use endings::{Alternate, Ending, LastBuy};
pub use first_look::{FirstLook, Urgency};
pub use kept::{Remembered, RememberedRow, Since};
pub use recalls::{Genealogy, Recall, RecalledBatch};
pub use shares::{ChangeShare, RowShare};
pub use timing::{CostStep, CoverFrom, MaterialTiming, Timing};

/// What a scenario does.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct WhatIf {
    /// The day asked.
    pub as_of: NaiveDate,
    /// The day both sides are costed for: the first on which every change of price and rate holds, and not before the day asked.
    pub costed_on: NaiveDate,
    /// The house's currency; all money is in it.
    pub currency: Currency,
    /// The catalogue's version.
    pub catalogue_version: i64,
    /// Formulas whose cost changes, by code.
    pub formulas: Vec<CostHit>,
    /// Packs whose cost or margin changes: those that can be ranked by money a year, the most first, then the others by percent.
    pub packs: Vec<CostHit>,
    /// The yearly effect of all packs that can be ranked; above nought is dearer.
    #[serde(serialize_with = "crate::figures::cost")]
    pub yearly_effect: Exact,
    /// Open tickets whose cost changes on their day, by day.
    pub ticket_costs: Vec<TicketCostHit>,
    /// Runs that come up short, have to take other lots, or are relieved, by day; assumed runs always.
    pub runs: Vec<RunHit>,
    /// Lots of which more, or less, is stranded.
    pub lots: Vec<LotHit>,
    /// Lots called back, with what was made of them.
    pub recalls: Vec<Recall>,
    /// Materials that a supplier stops selling.
    pub endings: Vec<Ending>,
    /// What each change does to the yearly effect, when it is laid over those before it; empty where it was not asked for. They and
    /// `not_shared` add up to the yearly effect.
    pub shares: Vec<ChangeShare>,
    /// What of the yearly effect cannot be told apart by change, since a cost is not known with some of the changes only.
    #[serde(serialize_with = "crate::figures::cost")]
    pub not_shared: Exact,
    /// From when each material is used at its new price; empty where it was not asked for.
    pub materials: Vec<MaterialTiming>,
    /// The yearly effect in the year from the day both sides are costed for, while what is there at the old price is used up;
    /// `None` where it was not asked for.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub first_year_effect: Option<Exact>,
    /// What to look at first: what is unsafe or unsaleable, what cannot be made this week, what loses money, what to do by when.
    pub first_look: Vec<FirstLook>,
    /// What could not be costed, and why.
    pub problems: Vec<String>,
}

impl WhatIf {
    /// Whether nothing differs.
    pub fn hits_nothing(&self) -> bool {
        self.formulas.is_empty()
            && self.packs.is_empty()
            && self.ticket_costs.is_empty()
            && self.runs.is_empty()
            && self.lots.is_empty()
            && self.recalls.is_empty()
            && self.endings.is_empty()
    }
}

/// Costs of one side, in the house's currency. Partial when not complete.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Figures {
    /// The batch.
    #[serde(serialize_with = "crate::figures::cost")]
    pub per_batch: Exact,
    /// The liquid, per kg of good output.
    #[serde(serialize_with = "crate::figures::cost")]
    pub per_kg: Exact,
    /// The same per litre; `None` without a density.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub per_litre: Option<Exact>,
    /// One unit.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub per_unit: Option<Exact>,
    /// One case.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub per_case: Option<Exact>,
    /// Margin at the selling price, as a fraction of one (percent in JSON).
    #[serde(serialize_with = "crate::figures::optional_percent")]
    pub margin: Option<Exact>,
    /// Whether nothing is missing.
    pub complete: bool,
}

impl From<&CostSheet> for Figures {
    fn from(sheet: &CostSheet) -> Self {
        Self {
            per_batch: sheet.totals.per_batch.clone(),
            per_kg: sheet.totals.per_kg.clone(),
            per_litre: sheet.totals.per_litre.clone(),
            per_unit: sheet.totals.per_unit.clone(),
            per_case: sheet.totals.per_case.clone(),
            margin: sheet.margin.as_ref().and_then(|margin| margin.margin.clone()),
            complete: sheet.complete,
        }
    }
}

/// A formula or a pack whose cost changes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CostHit {
    /// The formula.
    pub formula: FormulaId,
    /// The version that is costed.
    pub version: FormulaVersionId,
    /// The pack; `None` for a formula.
    pub pack: Option<PackId>,
    /// The code of the pack or formula.
    pub code: String,
    /// The name of the pack or formula.
    pub name: String,
    /// How the change reaches it.
    pub paths: Vec<Path>,
    /// Why it is hit, in sentences: each way a price reaches it, and what is assumed of it.
    pub because: Vec<String>,
    /// As it is.
    pub before: Figures,
    /// As it would be.
    pub after: Figures,
    /// What changes per unit of a pack, or per kg of a formula; `None` where one side has no figure or is partial.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub change: Option<Exact>,
    /// The same as a fraction of the cost before (percent in JSON).
    #[serde(serialize_with = "crate::figures::optional_percent")]
    pub change_share: Option<Exact>,
    /// What the margin changes by, as a fraction of one (points in JSON).
    #[serde(serialize_with = "crate::figures::optional_percent")]
    pub margin_change: Option<Exact>,
    /// The price that keeps the margin as it was.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub price_to_hold_margin: Option<Exact>,
    /// The price that keeps the money earned per unit as it was.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub price_to_hold_cash: Option<Exact>,
    /// Expected sales in a year, as assumed.
    pub units_a_year: Option<u64>,
    /// Expected sales in a year, as entered.
    pub units_before: Option<u64>,
    /// What is earned more in a year, at the volumes of each side; below nought when it is less. `None` without a price or a volume.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub earned_change: Option<Exact>,
    /// Whether the margin would be less than the scenario's floor; `None` without a floor or a margin.
    pub below_floor: Option<bool>,
    /// The price at which the margin would be the floor.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub price_for_floor: Option<Exact>,
    /// What each change does to the row, in their order; empty where it was not asked for.
    pub shares: Vec<RowShare>,
    /// From when its cost moves; `None` where it was not asked for, or nothing it holds changes its price.
    pub timing: Option<Timing>,
    /// Units a year times the change per unit; above nought is dearer.
    #[serde(serialize_with = "crate::figures::optional_cost")]
    pub yearly_effect: Option<Exact>,
    /// What is not known, so that it cannot be ranked or its margin cannot be told.
    pub not_known: Vec<NotKnown>,
}

/// Why a pack cannot be ranked, or its margin cannot be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum NotKnown {
    /// No expected sales are entered.
    NoYearlyVolume,
    /// No selling price is entered.
    NoSellingPrice,
    /// No density, so nothing per litre and nothing for a fill by volume.
    NoDensity,
    /// The cost has gaps.
    CostWithGaps,
}

impl NotKnown {
    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::NoYearlyVolume => "no yearly volume",
            Self::NoSellingPrice => "no selling price",
            Self::NoDensity => "no density",
            Self::CostWithGaps => "the cost has gaps",
        }
    }
}

/// A ticket whose cost changes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TicketCostHit {
    /// The ticket.
    pub ticket: TicketId,
    /// Its number.
    pub number: String,
    /// The day it is costed for: its own, or the day asked when it is overdue.
    pub on: NaiveDate,
    /// As it is.
    pub before: Figures,
    /// As it would be.
    pub after: Figures,
    /// What the batch costs more.
    #[serde(serialize_with = "crate::figures::cost")]
    pub change: Exact,
}

/// What a scenario does to a run. Of several things the first of these is told; the rest stands in the details.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum RunEffect {
    /// It comes up short, or shorter than before.
    Short,
    /// It was short already, and what would cover it no longer comes in time.
    CoverTooLate,
    /// It is less short than before, or no longer.
    Relieved,
    /// It can be made once an intermediate is made that was there before, or more of it.
    MakeFirst,
    /// It is covered, by other lots than before.
    OtherLots,
    /// It is assumed, and everything is there.
    CanBeMade,
}

impl RunEffect {
    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Short => "comes up short",
            Self::CoverTooLate => "cover comes too late",
            Self::MakeFirst => "an intermediate must be made first",
            Self::OtherLots => "takes other lots",
            Self::Relieved => "is relieved",
            Self::CanBeMade => "can be made",
        }
    }
}

/// A run that is hit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RunHit {
    /// The run.
    pub run: RunRef,
    /// Its formula.
    pub formula: FormulaId,
    /// The pack it is filled into.
    pub pack: Option<PackId>,
    /// Its day.
    pub on: NaiveDate,
    /// What happens to it.
    pub effect: RunEffect,
    /// What it is short of, on either side.
    pub short: Vec<ShortHit>,
    /// Materials it takes from elsewhere than before.
    pub other_lots: Vec<OtherLots>,
}

/// A material a run is short of.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ShortHit {
    /// The material.
    pub material: MaterialRef,
    /// Short by so much as it is.
    pub before: Quantity,
    /// Short by so much as it would be.
    pub after: Quantity,
    /// Intermediates it is missed behind, outermost first.
    pub behind: Vec<MaterialRef>,
    /// Lots that hold some of it and cannot be taken as things stand.
    pub might_help: Vec<LotOnDay>,
    /// What to buy for what would be short.
    pub buy: Option<Purchase>,
}

/// A material a run takes from elsewhere.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OtherLots {
    /// The material.
    pub material: MaterialRef,
    /// What it takes as it is.
    pub before: Vec<Take>,
    /// What it would take.
    pub after: Vec<Take>,
}

/// A lot of which more or less is stranded.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LotHit {
    /// The lot.
    pub lot: LotId,
    /// The house's number for it.
    pub number: String,
    /// Its material.
    pub material: MaterialRef,
    /// Stranded as it is.
    pub stranded_before: Quantity,
    /// Stranded as it would be.
    pub stranded_after: Quantity,
    /// The value of what would be stranded; `None` where the lot has no value.
    pub value_after: Option<Money>,
    /// What more of its value is stranded; below nought when it is less.
    pub value_change: Option<Money>,
    /// The last day a run would take from it.
    pub last_taken_on: Option<NaiveDate>,
    /// Formulas whose approved version takes the material, which could use it up; by code.
    pub could_be_used_in: Vec<String>,
}

/// What a scenario does.
///
/// # Errors
/// [`EngineError`] when the scenario names something that does not exist or assumes what cannot be. What cannot be costed as it is
/// stands among [`WhatIf::problems`].
pub fn what_if(
    catalogue: &Catalogue,
    shelf: &Shelf,
    scenario: &Scenario,
    as_of: NaiveDate,
) -> Result<WhatIf, EngineError> {
    what_if_of(&View::plain(catalogue), shelf, scenario, as_of)
}

/// [`what_if`] through a view that knows more than the catalogue, such as what trim lines took. What was laid over the view before
/// is not looked at.
///
/// # Errors
/// Those of [`what_if`].
pub fn what_if_of(
    view: &View<'_>,
    shelf: &Shelf,
    scenario: &Scenario,
    as_of: NaiveDate,
) -> Result<WhatIf, EngineError> {
    let asked = Asked { scenario, as_of, genealogy: &Genealogy::default(), parts: Parts::PLAIN };
    what_if_asked(view, shelf, &asked)
}

/// What is asked besides the changes.
#[derive(Debug, Clone, Copy)]
pub struct Asked<'q> {
    /// The changes.
    pub scenario: &'q Scenario,
    /// The day.
    pub as_of: NaiveDate,
    /// Which batches hold which lots, for lots called back.
    pub genealogy: &'q Genealogy,
    /// What is worked out beside the costs, for it takes more costing.
    pub parts: Parts,
}

/// What is worked out beside the costs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Parts {
    /// What each change does alone.
    pub shares: bool,
    /// From when costs move.
    pub timing: bool,
}

impl Parts {
    /// Nothing more.
    pub const PLAIN: Self = Self { shares: false, timing: false };
    /// Everything.
    pub const ALL: Self = Self { shares: true, timing: true };
}

/// [`what_if_of`] with all there is to ask.
///
/// # Errors
/// Those of [`what_if`].
pub fn what_if_asked(view: &View<'_>, shelf: &Shelf, asked: &Asked<'_>) -> Result<WhatIf, EngineError> {
    let (catalogue, as_of) = (view.catalogue(), asked.as_of);
    let laid = lay(view, shelf, &asked.scenario.changes, as_of, None)?;
    let assumed = laid.edited.catalogue(catalogue);
    let of_tickets = laid.edited.catalogue_of_tickets(catalogue);
    let plain = *view;
    let changed = plain_over(view, assumed.as_ref(), &laid.overlay);
    let of_tickets = plain_over(view, of_tickets.as_ref().or(assumed.as_ref()), &laid.overlay);
    let costed_on = laid.settled_from(as_of);
    let mut answer = WhatIf {
        as_of,
        costed_on,
        currency: plain.currency(),
        catalogue_version: catalogue.version,
        formulas: Vec::new(),
        packs: Vec::new(),
        yearly_effect: Exact::ZERO,
        ticket_costs: Vec::new(),
        runs: Vec::new(),
        lots: Vec::new(),
        recalls: Vec::new(),
        endings: Vec::new(),
        shares: Vec::new(),
        not_shared: Exact::ZERO,
        materials: Vec::new(),
        first_year_effect: None,
        first_look: Vec::new(),
        problems: laid.edited.problems.clone(),
    };
    let floor = asked.scenario.margin_floor.map(Percent::fraction);
    let costing = Costing {
        plain: &plain,
        changed: &changed,
        of_tickets: &of_tickets,
        floor: floor.as_ref(),
        edited: &laid.edited,
    };
    let moves_tickets = laid.shelf.tickets != shelf.tickets;
    if !laid.overlay.is_empty() || !laid.edited.is_empty() || moves_tickets {
        let reached = reach(catalogue, &laid.overlay, &laid.edited, costed_on);
        costing.subjects(&reached, &mut answer);
        costing.tickets(&reached, shelf, &laid.shelf, &mut answer);
        if asked.parts.shares {
            shares::share_out(&costing, shelf, &asked.scenario.changes, &reached, &mut answer)?;
        }
        if asked.parts.timing {
            timing::time(&costing, shelf, &laid, &mut answer)?;
        }
    }
    let (recalls, set_aside) = recalls::recall(&plain, shelf, &laid, asked.genealogy);
    answer.recalls = recalls;
    if laid.touches_shelf() {
        shelf_hits(&plain, &changed, shelf, &laid, &set_aside, &mut answer)?;
    }
    endings::ends(&changed, &plain, shelf, &laid, &mut answer)?;
    answer.first_look = first_look::first_look(&answer);
    Ok(answer)
}

/// What the coming weeks do to the shelf with a scenario over it: the runs, lots and materials as they would be.
///
/// # Errors
/// Those of [`what_if`].
pub fn outlook_over(
    view: &View<'_>,
    shelf: &Shelf,
    scenario: &Scenario,
    genealogy: &Genealogy,
    request: OutlookRequest,
) -> Result<Outlook, EngineError> {
    let laid = lay(view, shelf, &scenario.changes, request.today, None)?;
    let assumed = laid.edited.catalogue(view.catalogue());
    let changed = plain_over(view, assumed.as_ref(), &laid.overlay);
    let (_, set_aside) = recalls::recall(view, shelf, &laid, genealogy);
    let recipes = Recipes::new(&changed);
    let runs = runs::runs_after(&recipes, &laid, request.today)?;
    let walk = runs::walk_after(changed.catalogue(), &laid, &set_aside);
    let mut outlook = walk_outlook(&recipes, walk, &runs, request);
    for row in outlook.materials.iter_mut().filter(|row| row.short_by.is_positive()) {
        let material = changed.material(row.material)?;
        let days = BuyingDays {
            today: request.today,
            needed_on: row.first_short_on.unwrap_or(request.today),
            not_before: &laid.not_before,
            late: laid.late.get(&row.material).copied().unwrap_or_default(),
        };
        row.buy = Some(purchase(&changed, material, row.short_by.raw(), days)?);
    }
    Ok(outlook)
}

/// A view over what is assumed.
fn plain_over<'v>(view: &View<'v>, assumed: Option<&'v Catalogue>, overlay: &'v Overlay) -> View<'v> {
    let changed = view.overlaid(overlay);
    assumed.map_or(changed, |assumed| changed.over(assumed))
}

#[cfg(test)]
mod tests;
