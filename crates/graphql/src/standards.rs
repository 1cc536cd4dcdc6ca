//! Standard costs that were frozen.

use async_graphql::{Context, Object};

use crate::{
    bases::StandardCost,
    caller::Desk,
    errors::Result,
    ids::Which,
    materials::material_id,
    pages::{Listed, Paging, page_of},
    scalars::Date,
};

/// Standard costs.
#[derive(Default)]
pub struct StandardsQuery;

/// Standard costs.
#[Object]
impl StandardsQuery {
    /// Standard costs with their history, by material code and day. None is ever changed; a later one takes its place.
    #[graphql(complexity = "crate::limits::page(first, last, child_complexity)")]
    #[allow(clippy::too_many_arguments, reason = "a connection field has four arguments before its own")]
    async fn standards(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only those that hold on this day: one of each material.")] on: Option<Date>,
        #[graphql(desc = "Only of this material.")] material: Option<Which>,
        #[graphql(desc = "Rows after this cursor.")] after: Option<String>,
        #[graphql(desc = "Rows before this cursor.")] before: Option<String>,
        #[graphql(desc = "At most so many rows from the front, 1 to 100; 20 when nothing is said.")]
        first: Option<i32>,
        #[graphql(desc = "At most so many rows from the back, 1 to 100.")] last: Option<i32>,
    ) -> Result<Listed<StandardCost>> {
        let paging = Paging::read("standards", after.as_deref(), before.as_deref(), first, last)?;
        let material = material_id(ctx, material.as_ref(), "material")?;
        let rows = ctx.house()?.standards(ctx.actor()?, material, on.map(|day| day.0)).await?;
        // No code holds the separator, so the texts stand in the order of the rows.
        let key = |row: &app::StandardOf| format!("{}\0{}", row.key, row.standard.frozen_on);
        Ok(page_of("standards", &paging, &rows, key, |row| StandardCost(row.standard.clone())))
    }
}
