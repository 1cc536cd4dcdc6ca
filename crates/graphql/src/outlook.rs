//! The outlook.

use async_graphql::{Context, Object};
use engine::outlook::{LotOutlook as LotRow, MaterialOutlook as MaterialRow};

use crate::{
    amounts::{Money, Quantity},
    errors::Result,
    lots::Lot,
    materials::{Material, material_of},
    planned::{Purchase, Run, RunOff},
    scalars::Date,
    shelf::lot_of,
};

/// The outlook.
pub struct Outlook(pub engine::Outlook);

/// What the coming weeks do to the shelf: open tickets in the order of their days, each taking its lots first expired, first out.
#[Object]
impl Outlook {
    /// The first day looked at.
    async fn from(&self) -> Date {
        Date(self.0.from)
    }

    /// The last day looked at.
    async fn until(&self) -> Date {
        Date(self.0.until)
    }

    /// The runs, in the order they are walked through.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn runs(&self) -> Vec<RunOff> {
        self.0.runs.iter().cloned().map(RunOff).collect()
    }

    /// What becomes of each lot, by material code and number. Finished products, which leave by sale, are left out.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn lots(&self) -> Vec<LotOutlook> {
        self.0.lots.iter().cloned().map(LotOutlook).collect()
    }

    /// What becomes of each material that runs need, by code.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn materials(&self) -> Vec<MaterialOutlook> {
        self.0.materials.iter().cloned().map(MaterialOutlook).collect()
    }
}

/// What becomes of a lot.
pub struct LotOutlook(LotRow);

/// What becomes of a lot.
#[Object]
impl LotOutlook {
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
        material_of(ctx, self.0.material)
    }

    /// What is there now.
    async fn on_hand(&self) -> Quantity {
        Quantity(self.0.on_hand)
    }

    /// What the runs take.
    async fn taken(&self) -> Quantity {
        Quantity(self.0.taken)
    }

    /// What they leave.
    async fn left(&self) -> Quantity {
        Quantity(self.0.left)
    }

    /// The day of the last run that takes from it; null when none does.
    async fn last_taken_on(&self) -> Option<Date> {
        self.0.last_taken_on.map(Date)
    }

    /// The last day it may be used; null when nothing limits it.
    async fn last_day_of_use(&self) -> Option<Date> {
        self.0.last_day_of_use.map(Date)
    }

    /// The part no planned run will use before it can no longer be used; all of a rejected lot.
    async fn stranded(&self) -> Quantity {
        Quantity(self.0.stranded)
    }

    /// The value of that part; null where the lot's value is not known.
    async fn stranded_value(&self) -> Option<Money> {
        self.0.stranded_value.map(Into::into)
    }
}

/// What becomes of a material.
pub struct MaterialOutlook(MaterialRow);

/// What becomes of a material.
#[Object]
impl MaterialOutlook {
    /// The material.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material)
    }

    /// What the runs need in all, also behind intermediates that are made first.
    async fn needed(&self) -> Quantity {
        Quantity(self.0.needed)
    }

    /// What is missing in all; nought for an intermediate that can be made.
    async fn short_by(&self) -> Quantity {
        Quantity(self.0.short_by)
    }

    /// The first day something is missing; null when nothing is.
    async fn first_short_on(&self) -> Option<Date> {
        self.0.first_short_on.map(Date)
    }

    /// The run that is short on that day.
    async fn first_short_run(&self) -> Option<Run> {
        self.0.first_short_run.clone().map(Run)
    }

    /// What of an intermediate has to be made for the runs.
    async fn make_first(&self) -> Quantity {
        Quantity(self.0.make_first)
    }

    /// The first day by which that has to be made.
    async fn make_first_by(&self) -> Option<Date> {
        self.0.make_first_by.map(Date)
    }

    /// What to buy; null for a material that is not short.
    async fn buy(&self) -> Option<Purchase> {
        self.0.buy.clone().map(Purchase)
    }
}
