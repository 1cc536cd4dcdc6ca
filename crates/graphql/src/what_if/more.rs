//! The rest of a what-if's answer: shares of changes, from when costs move, lots called back, suppliers that end, what to look at first.

use async_graphql::{Context, Enum, Object, SimpleObject};
use engine::{
    present::{AMOUNT_PLACES, PER_KG_PLACES},
    what_if as answer,
};
use kernel::{Currency, Exact};

use crate::{
    amounts::{Money, Quantity},
    caller::Desk,
    errors::Result,
    ids::global_id,
    materials::{Material, material_of},
    scalars::{Date, Decimal},
    suppliers::Supplier,
};

fn money(value: Option<&Exact>, places: u32, currency: Currency) -> Result<Option<Money>> {
    value.map(|value| Money::rounded(value, places, currency)).transpose()
}

/// What one change does to the yearly effect.
#[derive(SimpleObject)]
pub struct ChangeShare {
    /// Position of the change, from 1.
    pub change: usize,
    /// What it adds to the yearly effect of those before it; above nought is dearer. To the currency's minor unit.
    pub yearly_effect: Money,
}

impl ChangeShare {
    pub(super) fn of(share: &answer::ChangeShare, currency: Currency) -> Result<Self> {
        let yearly_effect = Money::rounded(&share.yearly_effect, currency.minor_places(), currency)?;
        Ok(Self { change: share.change, yearly_effect })
    }
}

/// What one change does to one formula or pack.
#[derive(SimpleObject)]
pub struct RowShare {
    /// Position of the change, from 1.
    pub change: usize,
    /// What it adds to the cost of a unit of the pack, or of a kg of the formula, to 6 places; null where a cost is not known.
    pub change_of_cost: Option<Money>,
    /// What it adds to the yearly effect; null for a formula, and where a cost or the volume is not known.
    pub yearly_effect: Option<Money>,
}

impl RowShare {
    pub(super) fn of(share: &answer::RowShare, currency: Currency) -> Result<Self> {
        Ok(Self {
            change: share.change,
            change_of_cost: money(share.change_of_cost.as_ref(), PER_KG_PLACES, currency)?,
            yearly_effect: money(share.yearly_effect.as_ref(), currency.minor_places(), currency)?,
        })
    }
}

/// Where the time that an old price lasts comes from.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "answer::CoverFrom")]
pub enum CoverFrom {
    /// The scenario states it in days.
    Stated,
    /// Stock and protected orders over the year's use.
    Stock,
    /// Nobody knows how much a year takes, so nothing is taken to be covered.
    NoYearlyUse,
}

/// From when one material is used at its new price.
pub struct MaterialTiming(pub(super) answer::MaterialTiming);

/// From when one material is used at its new price.
#[Object]
impl MaterialTiming {
    /// The material.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material.id)
    }

    /// On the shelf, at the old price.
    async fn on_shelf(&self) -> Quantity {
        Quantity(self.0.on_shelf)
    }

    /// On order at the old price, as stated.
    async fn ordered(&self) -> Quantity {
        Quantity(self.0.ordered)
    }

    /// What a year takes, kg or pieces, to 6 places; nought when nobody knows.
    async fn a_year(&self) -> Result<Decimal> {
        Decimal::rounded(&self.0.a_year, AMOUNT_PLACES)
    }

    /// Where the days come from.
    async fn cover_from(&self) -> CoverFrom {
        self.0.cover_from.into()
    }

    /// Whole days the old price lasts from the day both sides are costed for.
    async fn days(&self) -> u32 {
        self.0.days
    }

    /// The first day it is used at the new price.
    async fn moves_on(&self) -> Date {
        Date(self.0.moves_on)
    }
}

/// From when the cost of one unit moves.
#[derive(SimpleObject)]
pub struct Timing {
    /// Each day the cost moves, and to what.
    pub steps: Vec<CostStep>,
    /// Units a year times the change in the first 365 days; null without a volume or where a cost is not known.
    pub first_year_effect: Option<Money>,
}

/// A day from which a unit costs something else.
#[derive(SimpleObject)]
pub struct CostStep {
    /// The day.
    pub from: Date,
    /// What a unit costs from then on, to 6 places; null where it is not known.
    pub cost: Option<Money>,
    /// Codes of the materials that are used at the new price from then on.
    pub materials: Vec<String>,
}

impl Timing {
    pub(super) fn of(timing: &answer::Timing, currency: Currency) -> Result<Self> {
        let step = |step: &answer::CostStep| {
            Ok(CostStep {
                from: Date(step.from),
                cost: money(step.cost.as_ref(), PER_KG_PLACES, currency)?,
                materials: step.materials.clone(),
            })
        };
        Ok(Self {
            steps: timing.steps.iter().map(step).collect::<Result<_>>()?,
            first_year_effect: money(timing.first_year_effect.as_ref(), currency.minor_places(), currency)?,
        })
    }
}

/// A lot called back.
pub struct Recall(pub(super) answer::Recall);

/// A lot called back, with the batches that hold it.
#[Object]
impl Recall {
    /// The lot, by global id.
    async fn lot_id(&self) -> async_graphql::ID {
        global_id(self.0.lot)
    }

    /// Its number.
    async fn number(&self) -> &str {
        &self.0.number
    }

    /// Its material; null where nothing is known of it.
    async fn material(&self, ctx: &Context<'_>) -> Result<Option<Material>> {
        self.0.material.as_ref().map(|material| material_of(ctx, material.id)).transpose()
    }

    /// What of it is still on the shelf.
    async fn on_hand(&self) -> Option<Quantity> {
        self.0.on_hand.map(Quantity)
    }

    /// Batches that hold it, directly and through intermediates, by day and number.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn batches(&self) -> Result<Vec<HoldingBatch>> {
        self.0.batches.iter().map(HoldingBatch::of).collect()
    }
}

/// A batch that holds a lot called back.
#[derive(SimpleObject)]
pub struct HoldingBatch {
    /// The ticket, by global id.
    pub ticket_id: async_graphql::ID,
    /// Its number.
    pub ticket_number: String,
    /// The day it was made; null while it is being made.
    pub made_on: Option<Date>,
    /// kg of the lot weighed into it, directly or within intermediates, to 6 places.
    pub holds_kg: Decimal,
    /// The numbers of the lots it came by, the one called back first; of several ways the first found.
    pub by_way_of: Vec<String>,
    /// The lots that came out: bulk and filled units.
    pub lots: Vec<HoldingLot>,
}

/// A lot that came out of a batch.
#[derive(SimpleObject)]
pub struct HoldingLot {
    /// The lot, by global id.
    pub lot_id: async_graphql::ID,
    /// Its number.
    pub number: String,
    /// What of it is still on the shelf; nought when it has all left.
    pub on_hand: Option<Quantity>,
}

impl HoldingBatch {
    fn of(batch: &answer::RecalledBatch) -> Result<Self> {
        let lots = batch.lots.iter().map(|lot| HoldingLot {
            lot_id: global_id(lot.lot),
            number: lot.number.clone(),
            on_hand: lot.on_hand.map(Quantity),
        });
        Ok(Self {
            ticket_id: global_id(batch.ticket),
            ticket_number: batch.ticket_number.clone(),
            made_on: batch.made_on.map(Date),
            holds_kg: Decimal::rounded(&batch.holds, AMOUNT_PLACES)?,
            by_way_of: batch.by_way_of.clone(),
            lots: lots.collect(),
        })
    }
}

/// A material that a supplier stops selling.
pub struct Ending {
    pub(super) ending: answer::Ending,
    pub(super) currency: Currency,
}

/// A material that a supplier stops selling: what stands on it, what else there is, and how much to buy while it lasts.
#[Object]
impl Ending {
    /// The supplier.
    async fn supplier(&self, ctx: &Context<'_>) -> Result<Option<Supplier>> {
        Ok(ctx.catalogue()?.suppliers.get(self.ending.supplier).cloned().map(Supplier))
    }

    /// The material.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.ending.material.id)
    }

    /// The last day something can be ordered.
    async fn last_order(&self) -> Date {
        Date(self.ending.last_order)
    }

    /// Codes of the formulas whose version of the day holds the material, directly or through intermediates.
    async fn formulas(&self) -> &[String] {
        &self.ending.formulas
    }

    /// Codes of the packs that use it as a component, or are filled with one of the formulas.
    async fn packs(&self) -> &[String] {
        &self.ending.packs
    }

    /// What a year takes, kg or pieces, to 6 places; nought when nobody knows.
    async fn a_year(&self) -> Result<Decimal> {
        Decimal::rounded(&self.ending.a_year, AMOUNT_PLACES)
    }

    /// On the shelf and not rejected.
    async fn on_hand(&self) -> Quantity {
        Quantity(self.ending.on_hand)
    }

    /// What else there is: the same from somebody else, and other materials of the same substance.
    async fn alternates(&self) -> Vec<SupplyAlternate> {
        self.ending.alternates.iter().map(SupplyAlternate::of).collect()
    }

    /// What to buy while it lasts; null with the reason in `noLastBuy`.
    async fn last_buy(&self) -> Result<Option<LastBuy>> {
        self.ending.last_buy.as_ref().map(|buy| LastBuy::of(buy, self.currency)).transpose()
    }

    /// Why nothing is said of what to buy.
    async fn no_last_buy(&self) -> Option<&String> {
        self.ending.no_last_buy.as_ref()
    }
}

/// What else there is for a material that ends.
#[derive(SimpleObject)]
pub struct SupplyAlternate {
    /// The code of the material.
    pub code: String,
    /// Its name.
    pub name: String,
    /// Who offers it; null when nobody does.
    pub supplier: Option<String>,
    /// The reference of the quotation.
    pub reference: Option<String>,
    /// How it stands, in words.
    pub state: String,
}

impl SupplyAlternate {
    fn of(other: &answer::Alternate) -> Self {
        Self {
            code: other.material.code.clone(),
            name: other.material.name.clone(),
            supplier: other.supplier.clone(),
            reference: other.reference.clone(),
            state: other.state.clone(),
        }
    }
}

/// What to buy while a supplier still sells.
#[derive(SimpleObject)]
pub struct LastBuy {
    /// What is wanted beyond what is there, kg or pieces, to 6 places; nought when nothing is.
    pub wanted: Decimal,
    /// The day it reaches to.
    pub reaches: Date,
    /// Whether shelf life ends it before the replacement is ready.
    pub limited_by_shelf_life: bool,
    /// Packs, a whole number.
    pub packs: Decimal,
    /// All of them, kg or pieces, to 6 places.
    pub quantity: Decimal,
    /// What they cost landed, to the currency's minor unit.
    pub cost: Money,
    /// The reference of the quotation.
    pub reference: String,
}

impl LastBuy {
    fn of(buy: &answer::LastBuy, currency: Currency) -> Result<Self> {
        Ok(Self {
            wanted: Decimal::rounded(&buy.wanted, AMOUNT_PLACES)?,
            reaches: Date(buy.reaches),
            limited_by_shelf_life: buy.limited_by.is_some(),
            packs: Decimal::rounded(&Exact::whole(buy.packs), 0)?,
            quantity: Decimal::rounded(&buy.quantity, AMOUNT_PLACES)?,
            cost: Money::rounded(&buy.cost, currency.minor_places(), currency)?,
            reference: buy.reference.clone(),
        })
    }
}

/// How urgent something is.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "answer::Urgency")]
pub enum Urgency {
    /// Not to be used or sold.
    UnsafeOrUnsaleable,
    /// A run of the coming seven days comes up short.
    CannotBeMadeThisWeek,
    /// Sold below cost or below the margin it should leave, or dearer.
    LosesMoney,
    /// Something to do by a day.
    ToDo,
}

/// One thing to look at first.
#[derive(SimpleObject)]
pub struct FirstLook {
    /// How urgent it is.
    pub urgency: Urgency,
    /// The day it is about, or by which it is to be done.
    pub by: Option<Date>,
    /// What it is, in a sentence.
    pub says: String,
}

impl FirstLook {
    pub(super) fn of(look: &answer::FirstLook) -> Self {
        Self { urgency: look.urgency.into(), by: look.by.map(Date), says: look.says.clone() }
    }
}
