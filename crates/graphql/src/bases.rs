//! Price bases, and standard costs.

use async_graphql::{Context, Enum, Object, SimpleObject};

use crate::{
    amounts::UnitPrice,
    caller::Desk,
    errors::Result,
    materials::{Material, material_of},
    scalars::Date,
    sources::unit_price,
};

/// Which price a cost sheet uses for what is bought.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq, Default)]
#[graphql(remote = "engine::basis::Basis")]
pub enum Basis {
    /// What buying it again costs landed, by the quotations of the day: for quoting and new products.
    #[default]
    Replacement,
    /// What the last delivery with a value cost landed.
    LastPurchase,
    /// What all that is there cost on average, averaged anew at each receipt.
    MovingAverage,
    /// What the oldest deliveries that are left cost: first in, first out.
    Fifo,
    /// What was agreed on a day and frozen.
    Standard,
}

/// Standard costs that were frozen.
#[derive(SimpleObject)]
pub struct StandardsFrozen {
    /// The day they hold from.
    on: Date,
    /// The standards kept; a material that had one of that day keeps it.
    standards: Vec<StandardCost>,
    /// Why other materials have none, in sentences.
    without: Vec<String>,
}

/// What a material was agreed to cost.
#[derive(Clone)]
pub struct StandardCost(pub domain::standards::Standard);

/// What a material was agreed to cost, per kg or piece, from a day on.
#[Object]
impl StandardCost {
    /// The material.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material)
    }

    /// Per kg or piece.
    async fn unit_cost(&self, ctx: &Context<'_>) -> Result<UnitPrice> {
        let dimension = ctx
            .catalogue()?
            .materials
            .get(self.0.material)
            .map_or(kernel::Dimension::Mass, |material| material.stock_dimension());
        unit_price(&self.0.unit_cost.to_exact(), dimension, self.0.unit_cost.currency())
    }

    /// The day it holds from, until a later one.
    async fn frozen_on(&self) -> Date {
        Date(self.0.frozen_on)
    }

    /// The basis it was taken from; null for one this programme no longer knows.
    async fn basis(&self) -> Option<Basis> {
        self.0.basis.parse::<engine::basis::Basis>().ok().map(Into::into)
    }

    /// Where it came from on that day, in a sentence: the quotation with its terms and rate, or the lots.
    async fn explained(&self) -> &str {
        &self.0.explained
    }
}

impl From<app::StandardsFrozen> for StandardsFrozen {
    fn from(frozen: app::StandardsFrozen) -> Self {
        Self {
            on: Date(frozen.on),
            standards: frozen.standards.into_iter().map(StandardCost).collect(),
            without: frozen.without.into_iter().map(|problem| problem.message).collect(),
        }
    }
}
