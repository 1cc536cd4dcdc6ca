//! Figures for planning stock, and what the shelf is worth.

use async_graphql::{Context, Enum, InputObject, Object, SimpleObject};
use engine::stock_figures::{
    MaterialPlan as PlanRow, PerDayFrom as From, PlanRequest, Realisable, ShelfWorth as WorthAnswer,
    WorthRequest, WorthRow as Row, deviations_for,
};
use kernel::Exact;

use crate::{
    amounts::{Money, MoneyInput, Quantity},
    bases::Basis,
    caller::{Desk, Find as _},
    errors::Result,
    ids::Which,
    lot_details::{LotStanding, Ownership},
    lots::Lot,
    materials::{Material, material_of},
    notes::Gap,
    scalars::{Date, Decimal},
    shelf::lot_of,
};

/// What the daily use of a material is taken from.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "engine::stock_figures::PerDayFrom")]
pub enum PerDayFrom {
    /// What open tickets need.
    Tickets,
    /// What was used in the weeks before.
    Use,
    /// Neither says anything.
    Nothing,
}

/// How planning figures are worked out. What is left out has the value said.
#[derive(InputObject, Default)]
pub struct StockPlanInput {
    /// How many whole weeks before today are looked back on, 2 to 260; 52 when nothing is said.
    pub weeks_back: Option<u32>,
    /// How many days ahead open tickets count, 1 to 365; 28 when nothing is said.
    pub days_ahead: Option<u32>,
    /// How many replenishments of a hundred shall see no shortage: 90, 95, 97, 98 or 99; 95 when nothing is said.
    pub service_percent: Option<u32>,
    /// Or how many standard deviations the safety stock covers.
    pub deviations: Option<Decimal>,
    /// The standard deviation of lead times, in days; 0 when nothing is said.
    pub lead_deviation_days: Option<u32>,
    /// A material not used for so many days does not move; 180 when nothing is said.
    pub slow_after_days: Option<u32>,
    /// What one order costs, for the order size.
    pub order_cost: Option<MoneyInput>,
    /// What holding stock for a year costs, % of its price, for the order size.
    pub holding_percent_a_year: Option<Decimal>,
}

/// Planning figures of one material. Amounts are kg, or pieces of what is counted; they are aids for somebody who decides.
pub struct MaterialPlan(PlanRow);

fn figure(value: &Exact) -> Result<Decimal> {
    Decimal::rounded(value, 3)
}

/// Planning figures of one material. Amounts are kg, or pieces of what is counted; they are aids for somebody who decides.
#[Object]
impl MaterialPlan {
    /// The material.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material.id)
    }

    /// What is there, usable or not.
    async fn on_hand(&self) -> Quantity {
        Quantity(self.0.on_hand)
    }

    /// What can be taken today and is not promised.
    async fn usable(&self) -> Quantity {
        Quantity(self.0.usable)
    }

    /// Used in the weeks looked back on, kg or pieces, rounded to 3 places.
    async fn used(&self) -> Result<Decimal> {
        figure(&self.0.used)
    }

    /// Whole weeks of those since it was first used.
    async fn weeks(&self) -> u32 {
        self.0.weeks
    }

    /// Mean use in a week, kg or pieces, rounded to 3 places.
    async fn per_week(&self) -> Result<Decimal> {
        figure(&self.0.per_week)
    }

    /// Sample standard deviation of the use in a week, kg or pieces, rounded to 3 places; null below two weeks.
    async fn deviation_per_week(&self) -> Result<Option<Decimal>> {
        self.0.deviation_per_week.as_ref().map(figure).transpose()
    }

    /// What open tickets need in the days ahead beyond what is promised to them, kg or pieces, rounded to 3 places.
    async fn planned(&self) -> Result<Decimal> {
        figure(&self.0.planned)
    }

    /// Daily use that cover is taken from, kg or pieces, rounded to 3 places.
    async fn per_day(&self) -> Result<Decimal> {
        figure(&self.0.per_day)
    }

    /// Where that is from: planned tickets before past use.
    async fn per_day_from(&self) -> PerDayFrom {
        let from: From = self.0.per_day_from;
        from.into()
    }

    /// How many whole days what is usable lasts; null when nothing is used.
    async fn cover_days(&self) -> Option<i64> {
        self.0.cover_days
    }

    /// From order to use in days: lead time and inspection; null when no lead time was entered.
    async fn lead_days(&self) -> Option<i64> {
        self.0.lead_days
    }

    /// Kg or pieces, rounded to 3 places; null without a lead time or two weeks of use.
    async fn safety_stock(&self) -> Result<Option<Decimal>> {
        self.0.safety_stock.as_ref().map(figure).transpose()
    }

    /// Kg or pieces, rounded to 3 places; null without a lead time or two weeks of use.
    async fn reorder_point(&self) -> Result<Option<Decimal>> {
        self.0.reorder_point.as_ref().map(figure).transpose()
    }

    /// Whether what is usable lies at or below the reorder point.
    async fn order_now(&self) -> Option<bool> {
        self.0.order_now
    }

    /// The order size that costs least in ordering and holding, kg or pieces, rounded to 3 places; null without the costs or a price.
    async fn economic_order(&self) -> Result<Option<Decimal>> {
        self.0.economic_order.as_ref().map(figure).transpose()
    }

    /// The last day it was used in the weeks looked back on.
    async fn last_used_on(&self) -> Option<Date> {
        self.0.last_used_on.map(Date)
    }

    /// Whether it is there, has not been used for long and no ticket needs it.
    async fn slow(&self) -> bool {
        self.0.slow
    }

    /// What of the usable will be past its last day before it is used at this rate.
    async fn will_pass(&self) -> Quantity {
        Quantity(self.0.will_pass)
    }
}

/// What one kg or piece of a material would bring.
#[derive(InputObject)]
pub struct RealisableInput {
    /// The material.
    pub material: Which,
    /// Per kg or piece, less what finishing and selling it costs, in the house's currency.
    pub per_unit: MoneyInput,
}

/// One lot's worth.
pub struct WorthRow(Row);

/// What one lot is worth.
#[Object]
impl WorthRow {
    /// The lot.
    async fn lot(&self, ctx: &Context<'_>) -> Result<Lot> {
        lot_of(ctx, self.0.lot).await
    }

    /// Its number.
    async fn number(&self) -> &str {
        &self.0.number
    }

    /// The code of its material.
    async fn material_code(&self) -> &str {
        &self.0.material.code
    }

    /// How it stands on the day.
    async fn standing(&self) -> LotStanding {
        self.0.standing.into()
    }

    /// Whose it is; what is not the house's stands at nothing.
    async fn ownership(&self) -> Ownership {
        self.0.ownership.into()
    }

    /// What is there.
    async fn quantity(&self) -> Quantity {
        Quantity(self.0.quantity)
    }

    /// What that cost; null when it is not known.
    async fn cost(&self) -> Option<Money> {
        self.0.cost.map(Into::into)
    }

    /// Why its cost on the basis is not known.
    async fn gap(&self) -> Option<Gap> {
        self.0.gap.as_ref().map(Gap::from)
    }

    /// What it stands at: the lower of cost and what it would bring; null when its cost is not known.
    async fn carried(&self) -> Option<Money> {
        self.0.carried.map(Into::into)
    }

    /// Cost less what it stands at; null when its cost is not known.
    async fn write_down(&self) -> Option<Money> {
        self.0.write_down.map(Into::into)
    }
}

/// What the shelf is worth under one standing.
#[derive(SimpleObject)]
pub struct WorthByStanding {
    /// How the lots stand.
    pub standing: LotStanding,
    /// How many lots.
    pub lots: usize,
    /// What those with a known cost cost.
    pub cost: Money,
    /// What those stand at.
    pub carried: Money,
}

/// What the shelf is worth.
pub struct ShelfWorth(WorthAnswer);

/// What the shelf is worth, lot by lot, at the lower of cost and what it would bring.
#[Object]
impl ShelfWorth {
    /// The day.
    async fn on(&self) -> Date {
        Date(self.0.on)
    }

    /// How lots are costed; null for what each lot itself cost.
    async fn basis(&self) -> Option<Basis> {
        self.0.basis.map(Into::into)
    }

    /// What lots with a known cost cost.
    async fn cost(&self) -> Money {
        self.0.cost.into()
    }

    /// What those stand at.
    async fn carried(&self) -> Money {
        self.0.carried.into()
    }

    /// The expense: cost less what they stand at, the sum of the lots' own.
    async fn write_down(&self) -> Money {
        self.0.write_down.into()
    }

    /// How many lots have no known cost; the sums leave them out.
    async fn not_known(&self) -> usize {
        self.0.not_known
    }

    /// The sums by how lots stand.
    async fn by_standing(&self) -> Result<Vec<WorthByStanding>> {
        let nought = kernel::Money::zero(self.0.cost.currency());
        let mut sums: Vec<(domain::lots::LotStanding, usize, kernel::Money, kernel::Money)> = Vec::new();
        for row in &self.0.rows {
            let at = match sums.iter().position(|sum| sum.0 == row.standing) {
                Some(at) => at,
                None => {
                    sums.push((row.standing, 0, nought, nought));
                    sums.len() - 1
                }
            };
            let Some(sum) = sums.get_mut(at) else { continue };
            sum.1 += 1;
            let add = |to: kernel::Money, of: Option<kernel::Money>| to.checked_add(of.unwrap_or(nought));
            sum.2 = add(sum.2, row.cost).map_err(crate::errors::internal)?;
            sum.3 = add(sum.3, row.carried).map_err(crate::errors::internal)?;
        }
        sums.sort_by_key(|sum| sum.0);
        let shown = |(standing, lots, cost, carried): (
            domain::lots::LotStanding,
            _,
            kernel::Money,
            kernel::Money,
        )| {
            WorthByStanding { standing: standing.into(), lots, cost: cost.into(), carried: carried.into() }
        };
        Ok(sums.into_iter().map(shown).collect())
    }

    /// Lots, by material and number.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn rows(&self) -> Vec<WorthRow> {
        self.0.rows.iter().cloned().map(WorthRow).collect()
    }
}

/// Planning figures and worth.
#[derive(Default)]
pub struct StockFiguresQuery;

/// Planning figures and worth.
#[Object]
impl StockFiguresQuery {
    /// Cover, safety stock, reorder point, order size and what does not move, for every material that has stock or is used, by code.
    #[graphql(complexity = "crate::limits::question(20 * child_complexity)")]
    async fn stock_plan(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "How the figures are worked out.", default)] input: StockPlanInput,
    ) -> Result<Vec<MaterialPlan>> {
        let request = plan_request(ctx, &input)?;
        let plans = ctx.house()?.stock_plan(ctx.actor()?, &request).await?;
        Ok(plans.into_iter().map(MaterialPlan).collect())
    }

    /// What the shelf is worth today, lot by lot. What is rejected or expired brings nothing unless it is said; what belongs to others
    /// stands at nothing.
    #[graphql(complexity = "crate::limits::question(20 * child_complexity)")]
    async fn shelf_worth(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "How lots are costed; what each lot itself cost when nothing is said.")]
        basis: Option<Basis>,
        #[graphql(desc = "What materials would bring, where that may lie below cost.", default)]
        realisable: Vec<RealisableInput>,
    ) -> Result<ShelfWorth> {
        let catalogue = ctx.catalogue()?;
        let house = catalogue.settings.currency;
        let realisable = realisable
            .into_iter()
            .enumerate()
            .map(|(at, said)| {
                let place = format!("realisable[{at}]");
                let material = catalogue.material(&said.material, &place)?.id;
                let price = said.per_unit.unit_price().map_err(|e| app::Error::invalid(place.clone(), e))?;
                if price.currency() != house {
                    return Err(app::Error::invalid(place, format!("stock is valued in {house}")).into());
                }
                Ok(Realisable { material, per_unit: price.to_exact() })
            })
            .collect::<Result<Vec<_>>>()?;
        let request = WorthRequest { on: ctx.day(None)?, basis: basis.map(Into::into), realisable };
        Ok(ShelfWorth(ctx.house()?.shelf_worth(ctx.actor()?, &request).await?))
    }
}

fn plan_request(ctx: &Context<'_>, input: &StockPlanInput) -> Result<PlanRequest> {
    let house = ctx.catalogue()?.settings.currency;
    let percent = input.service_percent.unwrap_or(95);
    let deviations = match input.deviations {
        Some(deviations) => deviations.0,
        None => deviations_for(percent).ok_or_else(|| {
            app::Error::invalid("servicePercent", "there are 90, 95, 97, 98 and 99; or give the deviations")
        })?,
    };
    let order_cost = match input.order_cost {
        None => None,
        Some(cost) => {
            let cost = cost.money().map_err(|e| app::Error::invalid("orderCost", e))?;
            if cost.currency() != house {
                return Err(app::Error::invalid("orderCost", format!("figures are in {house}")).into());
            }
            Some(cost.to_exact())
        }
    };
    let hundredth = Exact::scaled(1, 2);
    Ok(PlanRequest {
        today: ctx.day(None)?,
        weeks_back: input.weeks_back.unwrap_or(52).clamp(2, 260),
        days_ahead: input.days_ahead.unwrap_or(28).clamp(1, 365),
        deviations,
        lead_deviation_days: input.lead_deviation_days.unwrap_or(0).min(3_650),
        slow_after_days: input.slow_after_days.unwrap_or(180).min(3_650),
        order_cost,
        holding_a_year: input.holding_percent_a_year.map(|percent| Exact::from(percent.0) * hundredth),
    })
}
