//! Changes of standard costs.

use async_graphql::{Context, InputObject, Object};
use domain::people::Capability;

use crate::{
    bases::{Basis, StandardsFrozen},
    caller::Desk,
    changes::{answers, require},
    errors::Result,
    scalars::Date,
};

/// Standard costs to be frozen: what every bought material and component costs on a basis.
#[derive(InputObject)]
pub struct StandardsFreezeInput {
    /// The client's own name for this request, at most 200 characters, so that sent twice it happens once.
    pub request_key: String,
    /// The basis they are taken from; not standard itself.
    #[graphql(default)]
    pub basis: Basis,
    /// The day they hold from; today when nothing is said.
    pub on: Option<Date>,
}

answers! {
    StandardsFreezeResult = StandardsFreezePayload {
        /// What was frozen.
        frozen: StandardsFrozen
    } of app::StandardsFrozen: |_, frozen| Ok(frozen.into());
}

/// Changes of standard costs.
#[derive(Default)]
pub struct StandardChanges;

/// Changes of standard costs.
#[Object]
impl StandardChanges {
    /// Freezes what every bought material and component costs on a basis as its standard from a day on. Takes the right to
    /// administer. Refused: never.
    async fn standards_freeze(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The basis and the day.")] input: StandardsFreezeInput,
    ) -> Result<StandardsFreezeResult> {
        require(ctx, Capability::Administer)?;
        let change = ctx.change(input.request_key)?;
        let wanted = app::StandardsFreeze { basis: input.basis.into(), on: input.on.map(|day| day.0) };
        StandardsFreezeResult::of(ctx, ctx.house()?.standards_freeze(&change, wanted).await)
    }
}
