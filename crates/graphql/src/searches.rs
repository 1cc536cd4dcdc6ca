//! Searches: how far a price or a dose may go, the cheapest way to buy, what uses up a lot.

use async_graphql::{Context, Object, SimpleObject};
use engine::{
    CostRequest, CostSubject, cheapest,
    present::{AMOUNT_PLACES, PER_KG_PLACES, PERCENT_PLACES},
    search, use_up,
};
use kernel::{Currency, Exact, Percent};

use crate::{
    amounts::{Money, Quantity},
    caller::{Desk, Find as _, lot_named},
    errors::Result,
    ids::Which,
    materials::{Material, material_of},
    run_check::Verdict,
    scalars::{Date, Decimal},
};

/// How far a material's price may rise before a pack's margin falls below its floor.
#[derive(SimpleObject)]
pub struct FloorPrice {
    /// The margin as it is, %, to 2 places.
    pub margin_percent: Decimal,
    /// The greatest rise of all the material's prices, %, at which the margin is still the floor or more; below nought when it has to
    /// fall. Null when no rise breaks it.
    pub rise_percent: Option<Decimal>,
    /// What the material costs landed at that rise, per kg or piece, to 6 places.
    pub price: Option<Money>,
}

impl FloorPrice {
    fn of(found: &search::FloorPrice) -> Result<Self> {
        let price = found.price.as_ref();
        Ok(Self {
            margin_percent: Decimal::rounded(&(&found.margin * &Exact::whole(100)), PERCENT_PLACES)?,
            rise_percent: found.rise.map(|rise| rise.percent().into()),
            price: price.map(|price| Money::rounded(price, PER_KG_PLACES, found.currency)).transpose()?,
        })
    }
}

/// The dose that just fits a cost.
#[derive(SimpleObject)]
pub struct FittingDose {
    /// The dose as it is, % w/w, to 6 places.
    pub was_percent: Decimal,
    /// The greatest dose, % w/w as supplied, that costs no more.
    pub dose_percent: Decimal,
    /// What a kg of good output costs at that dose, to 6 places.
    pub cost_per_kg: Money,
    /// Whether the line that takes the difference ends before the cost does.
    pub ended_by_diluent: bool,
}

/// The cheapest way to buy a material for the planned runs.
pub struct BuyPlan(cheapest::BuyPlan);

/// The cheapest way to buy a material for the planned runs: whole packs of one or several quotations.
#[Object]
impl BuyPlan {
    /// The material.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material.id)
    }

    /// What is bought for, by day.
    async fn needs(&self) -> Result<Vec<NeededOn>> {
        self.0.needs.iter().map(NeededOn::of).collect()
    }

    /// Needs for which what is bought now would not keep.
    async fn later(&self) -> Result<Vec<NeededOn>> {
        self.0.later.iter().map(NeededOn::of).collect()
    }

    /// The orders, by reference and pack; empty where nothing is offered.
    async fn orders(&self) -> Result<Vec<PlannedOrder>> {
        self.0.orders.iter().map(|order| PlannedOrder::of(order, self.0.currency)).collect()
    }

    /// What the orders cost landed, to the currency's minor unit.
    async fn cost(&self) -> Result<Money> {
        Money::rounded(&self.0.cost, self.0.currency.minor_places(), self.0.currency)
    }

    /// What one order of one pack size would cost at the least; null where none covers it.
    async fn one_order(&self) -> Result<Option<Money>> {
        let cost = self.0.one_order.as_ref();
        cost.map(|cost| Money::rounded(cost, self.0.currency.minor_places(), self.0.currency)).transpose()
    }

    /// Whether it is proved that nothing costs less among orders of at most 400 packs of each offer.
    async fn proved(&self) -> bool {
        self.0.proved
    }

    /// Nothing can cost less than this.
    async fn at_least(&self) -> Result<Money> {
        Money::rounded(&self.0.at_least, self.0.currency.minor_places(), self.0.currency)
    }
}

/// What is needed on a day.
#[derive(SimpleObject)]
pub struct NeededOn {
    /// The day.
    pub on: Date,
    /// kg or pieces, to 6 places.
    pub amount: Decimal,
}

impl NeededOn {
    fn of(need: &cheapest::NeededOn) -> Result<Self> {
        Ok(Self { on: Date(need.on), amount: Decimal::rounded(&need.amount, AMOUNT_PLACES)? })
    }
}

/// One order of the cheapest way.
#[derive(SimpleObject)]
pub struct PlannedOrder {
    /// The supplier's reference.
    pub reference: String,
    /// The supplier's name.
    pub supplier: String,
    /// What is sold as one.
    pub pack: Quantity,
    /// How many, a whole number.
    pub packs: Decimal,
    /// What they cost landed, to the currency's minor unit.
    pub cost: Money,
}

impl PlannedOrder {
    fn of(order: &cheapest::PlannedOrder, currency: Currency) -> Result<Self> {
        Ok(Self {
            reference: order.reference.clone(),
            supplier: order.supplier.clone(),
            pack: Quantity(order.pack),
            packs: Decimal::rounded(&Exact::whole(order.packs), 0)?,
            cost: Money::rounded(&order.cost, currency.minor_places(), currency)?,
        })
    }
}

/// What to make to use up a lot.
#[derive(SimpleObject)]
pub struct UseUp {
    /// What no planned run takes before the last day.
    pub left: Quantity,
    /// The last day it can be taken; null when nothing limits it.
    pub last_day: Option<Date>,
    /// Formulas that take it: those that can be made first, then those that use up most in one run.
    pub ways: Vec<UseUpWay>,
}

/// One formula that uses up a lot.
#[derive(SimpleObject)]
pub struct UseUpWay {
    /// The formula's code.
    pub formula: String,
    /// kg of the material in 100 kg charged, intermediates made anew, to 6 places.
    pub share_percent: Decimal,
    /// The batch that uses it all up, kg charged, to 6 places.
    pub batch_kg: Decimal,
    /// What one run charges, kg: the batch that uses it all up, or the most the vessel takes.
    pub run_kg: Decimal,
    /// What that run takes of the lot.
    pub uses: Quantity,
    /// Runs of that size that use it all up, a whole number.
    pub runs: Decimal,
    /// How long the batch lasts, in days of what all packs filled with it sell; null where nobody knows.
    pub lasts_days: Option<Decimal>,
    /// Whether one such run can be made today.
    pub verdict: Verdict,
    /// Codes of what it is short of besides.
    pub short_of: Vec<String>,
}

impl UseUp {
    fn of(found: &use_up::UseUp) -> Result<Self> {
        let way = |way: &use_up::Way| {
            Ok(UseUpWay {
                formula: way.code.clone(),
                share_percent: Decimal::rounded(&(&way.share * &Exact::whole(100)), PER_KG_PLACES)?,
                batch_kg: Decimal::rounded(&way.batch, AMOUNT_PLACES)?,
                run_kg: way.run.kg().into(),
                uses: Quantity(way.uses),
                runs: Decimal::rounded(&Exact::whole(way.runs), 0)?,
                lasts_days: way
                    .lasts_days
                    .map(|days| Decimal::rounded(&Exact::whole(days), 0))
                    .transpose()?,
                verdict: way.verdict.into(),
                short_of: way.short_of.clone(),
            })
        };
        Ok(Self {
            left: Quantity(found.left),
            last_day: found.last_day.map(Date),
            ways: found.ways.iter().map(way).collect::<Result<_>>()?,
        })
    }
}

/// Searches.
#[derive(Default)]
pub struct SearchesQuery;

/// Searches.
#[Object]
impl SearchesQuery {
    /// The price of a material at which a pack's margin reaches a floor.
    #[graphql(complexity = "crate::limits::question(child_complexity)")]
    async fn floor_price(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The pack.")] pack: Which,
        #[graphql(desc = "The material.")] material: Which,
        #[graphql(desc = "The least margin, %.")] floor_percent: Decimal,
        #[graphql(desc = "Prices of this day; today when nothing is said.")] as_of: Option<Date>,
    ) -> Result<FloorPrice> {
        let catalogue = ctx.catalogue()?;
        let (pack, material) =
            (catalogue.pack_named(&pack, "pack")?.id, catalogue.material(&material, "material")?.id);
        let floor = Percent::from_percent(floor_percent.0);
        let floor = floor.map_err(|error| app::Error::invalid("floorPercent", error))?;
        let found = ctx.house()?.floor_price(ctx.actor()?, pack, material, floor, ctx.day(as_of)?)?;
        FloorPrice::of(&found)
    }

    /// The greatest dose of a line at which a kg of good output costs no more than so much; the q.s. line takes the difference.
    #[graphql(complexity = "crate::limits::question(child_complexity)")]
    async fn fitting_dose(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The formula, in the version approved on the day, else in its current draft.")]
        formula: Which,
        #[graphql(desc = "The position of the line.")] line: u32,
        #[graphql(desc = "What a kg may cost, in the house's currency.")] cost_per_kg: Decimal,
        #[graphql(desc = "Prices of this day; today when nothing is said.")] as_of: Option<Date>,
    ) -> Result<FittingDose> {
        let catalogue = ctx.catalogue()?;
        let day = ctx.day(as_of)?;
        let formula = catalogue.formula(&formula, "formula")?;
        let version = formula.approved_on(day).or_else(|| formula.current());
        let version = version.ok_or_else(|| app::Error::invalid("formula", "it has no version"))?;
        let request = CostRequest::new(CostSubject::Version(version.id), day);
        let cost = Exact::from(cost_per_kg.0);
        let found = ctx.house()?.fitting_dose(ctx.actor()?, &request, line, None, &cost)?;
        let currency = catalogue.settings.currency;
        Ok(FittingDose {
            was_percent: Decimal::rounded(&(&found.was * &Exact::whole(100)), PER_KG_PLACES)?,
            dose_percent: found.dose.percent().into(),
            cost_per_kg: Money::rounded(&found.cost, PER_KG_PLACES, currency)?,
            ended_by_diluent: found.ended_by_diluent,
        })
    }

    /// The cheapest way to buy everything that planned runs are short of: whole packs, price breaks, minimum orders, freight and shelf
    /// life counted.
    #[graphql(complexity = "crate::limits::question(child_complexity)")]
    async fn cheapest_purchases(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The last day looked at; the day of the last open ticket when nothing is said.")]
        until: Option<Date>,
    ) -> Result<Vec<BuyPlan>> {
        let found = ctx.house()?.cheapest_purchases(ctx.actor()?, until.map(|day| day.0)).await?;
        Ok(found.into_iter().map(BuyPlan).collect())
    }

    /// What to make to use up a lot before it expires.
    #[graphql(complexity = "crate::limits::question(child_complexity)")]
    async fn use_up(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "A lot on the shelf.")] lot: Which,
    ) -> Result<UseUp> {
        let lot = lot_named(ctx, &lot, "lot").await?.id;
        UseUp::of(&ctx.house()?.use_up(ctx.actor()?, lot).await?)
    }
}
