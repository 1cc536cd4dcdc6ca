//! Balances, and approved alternates.

use async_graphql::{Context, Object, SimpleObject};
use kernel::ids::BalanceId;

use crate::{
    amounts::kg,
    caller::{Desk, Find as _},
    errors::Result,
    formulas::{Formula, formula_of},
    ids::Which,
    materials::{Material, material_of},
    scalars::{Date, DateTime, Decimal},
};

/// A balance of the house.
#[derive(SimpleObject, Clone)]
pub struct Balance {
    /// The house's short code.
    pub code: String,
    /// What it is called here.
    pub name: String,
    /// The step of its figures, kg.
    pub division_kg: Decimal,
    /// The most it carries, container and all, kg.
    pub capacity_kg: Decimal,
    /// The least net weight sensibly weighed on it at a tolerance of 1 %, kg: as entered, else 82 divisions.
    pub smallest_net_kg: Option<Decimal>,
    /// It is not used after this day before it was calibrated again; null for no such day.
    pub calibration_due: Option<Date>,
    /// Whether that day is past.
    pub is_due: bool,
    /// Remarks.
    pub note: Option<String>,
}

impl Balance {
    pub(crate) fn of(row: domain::balances::Balance, today: chrono::NaiveDate) -> Self {
        Self {
            division_kg: kg(row.division),
            capacity_kg: kg(row.capacity),
            smallest_net_kg: row.smallest(None).ok().map(kg),
            calibration_due: row.calibration_due.map(Date),
            is_due: !row.is_calibrated_on(today),
            code: row.code,
            name: row.name,
            note: row.note,
        }
    }

    /// The balance of an identity.
    pub(crate) async fn find(ctx: &Context<'_>, id: Option<BalanceId>) -> Result<Option<Self>> {
        let Some(id) = id else { return Ok(None) };
        let house = ctx.house()?;
        let known = house.balances(ctx.actor()?).await?;
        Ok(known.into_iter().find(|balance| balance.id == id).map(|row| Self::of(row, house.today())))
    }
}

/// A material that may be weighed instead of another. The latest entry of a pair and formula holds.
pub struct Alternate(pub domain::alternates::Alternate);

/// A material that may be weighed instead of another. The latest entry of a pair and formula holds.
#[Object]
impl Alternate {
    /// The material that stands on tickets.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material)
    }

    /// What may be weighed instead.
    async fn alternate(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.alternate)
    }

    /// The formula it is approved for; null for all.
    async fn formula(&self, ctx: &Context<'_>) -> Result<Option<Formula>> {
        self.0.formula.map(|id| formula_of(ctx, id)).transpose()
    }

    /// kg of the alternate for one kg of the material.
    async fn factor(&self) -> Decimal {
        Decimal(self.0.factor)
    }

    /// Whether what is declared on the label changes with it.
    async fn changes_label(&self) -> bool {
        self.0.changes_label
    }

    /// The last day it may be used so; null for no end.
    async fn valid_until(&self) -> Option<Date> {
        self.0.valid_until.map(Date)
    }

    /// What the approval rests on.
    async fn evidence(&self) -> Option<&str> {
        self.0.evidence.as_deref()
    }

    /// Who approved it.
    async fn approved_by(&self) -> &str {
        &self.0.approved_by
    }

    /// When.
    async fn approved_at(&self) -> DateTime {
        DateTime(self.0.approved_at)
    }
}

/// What things are weighed on, and what may be weighed instead.
#[derive(Default)]
pub struct BalancesQuery;

/// What things are weighed on, and what may be weighed instead.
#[Object]
impl BalancesQuery {
    /// The house's balances, by code.
    async fn balances(&self, ctx: &Context<'_>) -> Result<Vec<Balance>> {
        let house = ctx.house()?;
        let known = house.balances(ctx.actor()?).await?;
        Ok(known.into_iter().map(|row| Balance::of(row, house.today())).collect())
    }

    /// What was approved to be weighed instead of a material, in the order it was approved.
    async fn alternates(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The material that stands on tickets.")] material: Which,
    ) -> Result<Vec<Alternate>> {
        let id = ctx.catalogue()?.material(&material, "material")?.id;
        let approved = ctx.house()?.alternates_of(ctx.actor()?, id).await?;
        Ok(approved.into_iter().map(Alternate).collect())
    }
}
