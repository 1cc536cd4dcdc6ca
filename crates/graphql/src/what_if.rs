//! What-if: what assumed changes would do.

mod more;

use async_graphql::{Context, Enum, Object, SimpleObject};
use engine::{
    present::{PER_KG_PLACES, PER_UNIT_PLACES, PERCENT_PLACES},
    reach::Path,
    what_if as answer,
};
use kernel::{Currency, Exact};

use crate::{
    amounts::{Money, Quantity},
    caller::Desk,
    errors::Result,
    formulas::{Formula, FormulaVersion, formula_of},
    lots::Lot,
    materials::{Material, material_of, materials_of},
    packs::{Pack, pack_of},
    planned::{Purchase, Run, Take, takes},
    scalars::{CurrencyCode, Date, Decimal},
    shelf::{LotOnDay, lot_of},
    tickets::{Ticket, ticket_of},
};

use more::{ChangeShare, Ending, FirstLook, MaterialTiming, Recall, RowShare, Timing};

/// What a scenario does.
pub struct WhatIf(pub answer::WhatIf);

/// What the assumed changes would do. The ordinary calculation over the house as it is and as it would be; what does not differ is not
/// listed, and nothing was written.
#[Object]
impl WhatIf {
    /// The day asked.
    async fn as_of(&self) -> Date {
        Date(self.0.as_of)
    }

    /// The day both sides are costed for: the first on which every change of price and rate holds, and not before the day asked.
    async fn costed_on(&self) -> Date {
        Date(self.0.costed_on)
    }

    /// The house's currency; all money is in it.
    async fn currency(&self) -> CurrencyCode {
        CurrencyCode(self.0.currency)
    }

    /// The version of the catalogue it was worked out from.
    async fn catalogue_version(&self) -> Decimal {
        Decimal::whole(self.0.catalogue_version)
    }

    /// Whether nothing differs.
    async fn hits_nothing(&self) -> bool {
        self.0.hits_nothing()
    }

    /// Formulas whose cost changes, by code.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn formulas(&self) -> Vec<CostHit> {
        self.0.formulas.iter().map(|hit| CostHit { hit: hit.clone(), currency: self.0.currency }).collect()
    }

    /// Packs whose cost or margin changes: those that can be ranked by money a year, the most first, then the others by percent.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn packs(&self) -> Vec<CostHit> {
        self.0.packs.iter().map(|hit| CostHit { hit: hit.clone(), currency: self.0.currency }).collect()
    }

    /// The yearly effect of all packs that can be ranked; above nought is dearer.
    async fn yearly_effect(&self) -> Result<Money> {
        Money::rounded(&self.0.yearly_effect, self.0.currency.minor_places(), self.0.currency)
    }

    /// Open tickets whose cost changes on their day, by day.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn ticket_costs(&self) -> Vec<TicketCostHit> {
        let hits = self.0.ticket_costs.iter();
        hits.map(|hit| TicketCostHit { hit: hit.clone(), currency: self.0.currency }).collect()
    }

    /// Runs that come up short, have to take other lots, or are relieved, by day; assumed runs always.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn runs(&self) -> Vec<RunHit> {
        self.0.runs.iter().cloned().map(RunHit).collect()
    }

    /// Lots of which more, or less, is stranded.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn lots(&self) -> Vec<LotHit> {
        self.0.lots.iter().cloned().map(LotHit).collect()
    }

    /// Lots called back, with what was made of them.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn recalls(&self) -> Vec<Recall> {
        self.0.recalls.iter().cloned().map(Recall).collect()
    }

    /// Materials that a supplier stops selling.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn endings(&self) -> Vec<Ending> {
        let currency = self.0.currency;
        self.0.endings.iter().map(|ending| Ending { ending: ending.clone(), currency }).collect()
    }

    /// What each change does to the yearly effect when it is laid over those before it, in their order. With `notShared` they add up
    /// to the yearly effect before rounding.
    async fn shares(&self) -> Result<Vec<ChangeShare>> {
        self.0.shares.iter().map(|share| ChangeShare::of(share, self.0.currency)).collect()
    }

    /// What of the yearly effect cannot be told apart by change, since a cost is not known with some of the changes only. Nought unless
    /// `shares` is asked for.
    async fn not_shared(&self) -> Result<Money> {
        Money::rounded(&self.0.not_shared, self.0.currency.minor_places(), self.0.currency)
    }

    /// From when each material is used at its new price, while what is there at the old one lasts.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn timing(&self) -> Vec<MaterialTiming> {
        self.0.materials.iter().cloned().map(MaterialTiming).collect()
    }

    /// The yearly effect in the 365 days from `costedOn`, while what is there at the old price is used up.
    async fn first_year_effect(&self) -> Result<Option<Money>> {
        let effect = self.0.first_year_effect.as_ref();
        effect.map(|e| Money::rounded(e, self.0.currency.minor_places(), self.0.currency)).transpose()
    }

    /// What to look at first: what is unsafe or unsaleable, what cannot be made this week, what loses money, what to do by when.
    async fn first_look(&self) -> Vec<FirstLook> {
        self.0.first_look.iter().map(FirstLook::of).collect()
    }

    /// What could not be costed, and why, each in a sentence.
    async fn problems(&self) -> &[String] {
        &self.0.problems
    }
}

/// Costs of one side of a comparison. Partial when not complete.
#[derive(SimpleObject)]
pub struct Figures {
    /// The batch, to the currency's minor unit.
    pub per_batch: Money,
    /// The liquid per kg of good output, to 6 places.
    pub per_kg: Money,
    /// The liquid per litre, to 6 places; null without a density.
    pub per_litre: Option<Money>,
    /// One unit, to 4 places; null for a formula.
    pub per_unit: Option<Money>,
    /// One case, to 4 places; null for a formula.
    pub per_case: Option<Money>,
    /// Margin at the selling price, %, to 2 places; null without a price.
    pub margin_percent: Option<Decimal>,
    /// Whether nothing is missing.
    pub complete: bool,
}

impl Figures {
    pub(crate) fn of(figures: &answer::Figures, currency: Currency) -> Result<Self> {
        let money = |value: &Exact, places| Money::rounded(value, places, currency);
        let optional =
            |value: &Option<Exact>, places| value.as_ref().map(|value| money(value, places)).transpose();
        Ok(Self {
            per_batch: money(&figures.per_batch, currency.minor_places())?,
            per_kg: money(&figures.per_kg, PER_KG_PLACES)?,
            per_litre: optional(&figures.per_litre, PER_KG_PLACES)?,
            per_unit: optional(&figures.per_unit, PER_UNIT_PLACES)?,
            per_case: optional(&figures.per_case, PER_UNIT_PLACES)?,
            margin_percent: percent(figures.margin.as_ref())?,
            complete: figures.complete,
        })
    }
}

/// A fraction of one as a percent to 2 places.
fn percent(fraction: Option<&Exact>) -> Result<Option<Decimal>> {
    fraction.map(|fraction| Decimal::rounded(&(fraction * &Exact::whole(100)), PERCENT_PLACES)).transpose()
}

/// Why a pack cannot be ranked, or its margin cannot be told.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "answer::NotKnown")]
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

/// A formula or a pack whose cost changes.
pub struct CostHit {
    hit: answer::CostHit,
    currency: Currency,
}

impl CostHit {
    fn money(&self, value: Option<&Exact>, places: u32) -> Result<Option<Money>> {
        value.map(|value| Money::rounded(value, places, self.currency)).transpose()
    }
}

/// A formula or a pack whose cost changes.
#[Object]
impl CostHit {
    /// The formula.
    async fn formula(&self, ctx: &Context<'_>) -> Result<Formula> {
        formula_of(ctx, self.hit.formula)
    }

    /// The version that is costed.
    async fn version(&self, ctx: &Context<'_>) -> Result<FormulaVersion> {
        FormulaVersion::find(ctx, self.hit.version)
    }

    /// The pack; null for a formula.
    async fn pack(&self, ctx: &Context<'_>) -> Result<Option<Pack>> {
        self.hit.pack.map(|id| pack_of(ctx, id)).transpose()
    }

    /// The code of the pack or formula.
    async fn code(&self) -> &str {
        &self.hit.code
    }

    /// The name of the pack or formula.
    async fn name(&self) -> &str {
        &self.hit.name
    }

    /// How the change reaches it.
    async fn paths(&self) -> Vec<ReachPath> {
        self.hit.paths.iter().cloned().map(ReachPath).collect()
    }

    /// Why it is hit, in sentences: each way a price reaches it, and what is assumed of it.
    async fn because(&self) -> &[String] {
        &self.hit.because
    }

    /// Expected sales in a year as entered, whole units; `unitsAYear` is what is assumed.
    async fn units_before(&self) -> Option<Decimal> {
        self.hit.units_before.map(Decimal::whole)
    }

    /// What is earned more in a year, at the volumes of each side; below nought when it is less. Null without a price or a volume.
    async fn earned_change(&self) -> Result<Option<Money>> {
        self.money(self.hit.earned_change.as_ref(), self.currency.minor_places())
    }

    /// Whether the margin would be less than the floor; null without a floor or a margin.
    async fn below_floor(&self) -> Option<bool> {
        self.hit.below_floor
    }

    /// The price per unit at which the margin would be the floor, to 4 places.
    async fn price_for_floor(&self) -> Result<Option<Money>> {
        self.money(self.hit.price_for_floor.as_ref(), PER_UNIT_PLACES)
    }

    /// What each change does to it when it is laid over those before it, in their order.
    async fn shares(&self) -> Result<Vec<RowShare>> {
        self.hit.shares.iter().map(|share| RowShare::of(share, self.currency)).collect()
    }

    /// From when its cost moves; null for a formula, and where no price moves.
    async fn timing(&self) -> Result<Option<Timing>> {
        self.hit.timing.as_ref().map(|timing| Timing::of(timing, self.currency)).transpose()
    }

    /// As it is.
    async fn before(&self) -> Result<Figures> {
        Figures::of(&self.hit.before, self.currency)
    }

    /// As it would be.
    async fn after(&self) -> Result<Figures> {
        Figures::of(&self.hit.after, self.currency)
    }

    /// What changes per unit of a pack, or per kg of a formula, to 6 places; null where one side has no figure or is partial.
    async fn change(&self) -> Result<Option<Money>> {
        self.money(self.hit.change.as_ref(), PER_KG_PLACES)
    }

    /// The same, % of the cost before, to 2 places.
    async fn change_percent(&self) -> Result<Option<Decimal>> {
        percent(self.hit.change_share.as_ref())
    }

    /// What the margin changes by, in percentage points, to 2 places; null without a margin on both sides.
    async fn margin_change_points(&self) -> Result<Option<Decimal>> {
        percent(self.hit.margin_change.as_ref())
    }

    /// The price per unit that keeps the margin as it was, to 4 places.
    async fn price_to_hold_margin(&self) -> Result<Option<Money>> {
        self.money(self.hit.price_to_hold_margin.as_ref(), PER_UNIT_PLACES)
    }

    /// The price per unit that keeps the money earned per unit as it was, to 4 places.
    async fn price_to_hold_cash(&self) -> Result<Option<Money>> {
        self.money(self.hit.price_to_hold_cash.as_ref(), PER_UNIT_PLACES)
    }

    /// Expected sales in a year, whole units.
    async fn units_a_year(&self) -> Option<Decimal> {
        self.hit.units_a_year.map(Decimal::whole)
    }

    /// Units a year times the change per unit; above nought is dearer. Null when it cannot be ranked; `notKnown` says why.
    async fn yearly_effect(&self) -> Result<Option<Money>> {
        self.money(self.hit.yearly_effect.as_ref(), self.currency.minor_places())
    }

    /// What is not known, so that it cannot be ranked or its margin cannot be told.
    async fn not_known(&self) -> Vec<NotKnown> {
        self.hit.not_known.iter().copied().map(Into::into).collect()
    }
}

/// A way a change reaches something.
pub struct ReachPath(Path);

/// One way a change reaches a formula or a pack.
#[Object]
impl ReachPath {
    /// The material that is touched, then the intermediates it goes through; the last one stands in the formula or pack itself.
    async fn through(&self, ctx: &Context<'_>) -> Result<Vec<Material>> {
        materials_of(ctx, self.0.through.iter().map(|material| material.id))
    }

    /// How much of the formula's charge the touched material is this way, % w/w, to 6 places; null for packaging.
    async fn share_percent(&self) -> Result<Option<Decimal>> {
        let share = self.0.share.as_ref();
        share.map(|share| Decimal::rounded(&(share * &Exact::whole(100)), PER_KG_PLACES)).transpose()
    }
}

/// A ticket whose cost changes.
pub struct TicketCostHit {
    hit: answer::TicketCostHit,
    currency: Currency,
}

/// An open ticket whose cost changes.
#[Object]
impl TicketCostHit {
    /// The ticket.
    async fn ticket(&self, ctx: &Context<'_>) -> Result<Option<Ticket>> {
        ticket_of(ctx, self.hit.ticket).await
    }

    /// Its number.
    async fn number(&self) -> &str {
        &self.hit.number
    }

    /// The day it is costed for: its own, or the day asked when it is overdue.
    async fn on(&self) -> Date {
        Date(self.hit.on)
    }

    /// As it is.
    async fn before(&self) -> Result<Figures> {
        Figures::of(&self.hit.before, self.currency)
    }

    /// As it would be.
    async fn after(&self) -> Result<Figures> {
        Figures::of(&self.hit.after, self.currency)
    }

    /// What the batch costs more, to the currency's minor unit.
    async fn change(&self) -> Result<Money> {
        Money::rounded(&self.hit.change, self.currency.minor_places(), self.currency)
    }
}

/// What a scenario does to a run.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "answer::RunEffect")]
pub enum RunEffect {
    /// It comes up short, or shorter than before.
    Short,
    /// It was short already, and what would cover it no longer comes in time.
    CoverTooLate,
    /// It can be made once an intermediate is made that was there before, or more of it.
    MakeFirst,
    /// It is covered, by other lots than before.
    OtherLots,
    /// It is less short than before, or no longer.
    Relieved,
    /// It is assumed, and everything is there.
    CanBeMade,
}

/// A run that is hit.
pub struct RunHit(answer::RunHit);

/// A run that is hit.
#[Object]
impl RunHit {
    /// The run.
    async fn run(&self) -> Run {
        Run(self.0.run.clone())
    }

    /// Its formula.
    async fn formula(&self, ctx: &Context<'_>) -> Result<Formula> {
        formula_of(ctx, self.0.formula)
    }

    /// The pack it is filled into.
    async fn pack(&self, ctx: &Context<'_>) -> Result<Option<Pack>> {
        self.0.pack.map(|id| pack_of(ctx, id)).transpose()
    }

    /// Its day.
    async fn on(&self) -> Date {
        Date(self.0.on)
    }

    /// What happens to it.
    async fn effect(&self) -> RunEffect {
        self.0.effect.into()
    }

    /// What it is short of, on either side.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn short(&self) -> Vec<ShortHit> {
        self.0.short.iter().cloned().map(ShortHit).collect()
    }

    /// Materials it takes from elsewhere than before.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn other_lots(&self) -> Vec<OtherLots> {
        self.0.other_lots.iter().cloned().map(OtherLots).collect()
    }
}

/// A material a run is short of.
pub struct ShortHit(answer::ShortHit);

/// A material a run is short of.
#[Object]
impl ShortHit {
    /// The material.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material.id)
    }

    /// Short by so much as it is.
    async fn before(&self) -> Quantity {
        Quantity(self.0.before)
    }

    /// Short by so much as it would be.
    async fn after(&self) -> Quantity {
        Quantity(self.0.after)
    }

    /// Intermediates it is missed behind, outermost first.
    async fn behind(&self, ctx: &Context<'_>) -> Result<Vec<Material>> {
        materials_of(ctx, self.0.behind.iter().map(|material| material.id))
    }

    /// Lots that hold some of it and cannot be taken as things stand.
    async fn might_help(&self) -> Vec<LotOnDay> {
        self.0.might_help.iter().cloned().map(LotOnDay).collect()
    }

    /// What to buy for what would be short.
    async fn buy(&self) -> Option<Purchase> {
        self.0.buy.clone().map(Purchase)
    }
}

/// A material a run takes from elsewhere.
pub struct OtherLots(answer::OtherLots);

/// A material a run takes from elsewhere than before.
#[Object]
impl OtherLots {
    /// The material.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material.id)
    }

    /// What it takes as it is.
    async fn before(&self) -> Vec<Take> {
        takes(&self.0.before)
    }

    /// What it would take.
    async fn after(&self) -> Vec<Take> {
        takes(&self.0.after)
    }
}

/// A lot of which more or less is stranded.
pub struct LotHit(answer::LotHit);

/// A lot of which more, or less, is stranded.
#[Object]
impl LotHit {
    /// The lot.
    async fn lot(&self, ctx: &Context<'_>) -> Result<Lot> {
        lot_of(ctx, self.0.lot).await
    }

    /// The house's number for it.
    async fn number(&self) -> &str {
        &self.0.number
    }

    /// Its material.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material.id)
    }

    /// Stranded as it is.
    async fn stranded_before(&self) -> Quantity {
        Quantity(self.0.stranded_before)
    }

    /// Stranded as it would be.
    async fn stranded_after(&self) -> Quantity {
        Quantity(self.0.stranded_after)
    }

    /// The value of what would be stranded; null where the lot's value is not known.
    async fn value_after(&self) -> Option<Money> {
        self.0.value_after.map(Into::into)
    }

    /// What more of its value is stranded; below nought when it is less.
    async fn value_change(&self) -> Option<Money> {
        self.0.value_change.map(Into::into)
    }

    /// The last day a run would take from it; null when none would.
    async fn last_taken_on(&self) -> Option<Date> {
        self.0.last_taken_on.map(Date)
    }

    /// Formulas whose approved version takes the material, which could use it up; by code.
    async fn could_be_used_in(&self, ctx: &Context<'_>) -> Result<Vec<Formula>> {
        let catalogue = ctx.catalogue()?;
        let codes = self.0.could_be_used_in.iter();
        Ok(codes.filter_map(|code| catalogue.formulas.by_code(code).cloned()).map(Formula).collect())
    }
}
