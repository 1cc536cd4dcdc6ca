//! What a material costs landed.

use async_graphql::{Context, Object};
use chrono::NaiveDate;
use domain::materials::Material;
use engine::{
    Gap as EngineGap, View,
    price::{LandedPrice, landed_price},
};
use kernel::{Currency, Exact, Money as KernelMoney};

use crate::{
    amounts::{Money, UnitPrice},
    caller::Desk,
    errors::Result,
    notes::{Gap, Note},
    scalars::{Date, Span},
    sources::{QuotationSource, unit_price},
};

/// What a material costs landed.
pub struct BestPrice {
    found: std::result::Result<LandedPrice, EngineGap>,
    on: NaiveDate,
    currency: Currency,
}

impl BestPrice {
    pub(crate) fn of(
        ctx: &Context<'_>,
        material: &Material,
        demanded: &Exact,
        on: NaiveDate,
    ) -> Result<Self> {
        let catalogue = ctx.catalogue()?;
        let found = landed_price(&View::plain(&catalogue), material, demanded, on)?;
        Ok(Self { found, on, currency: catalogue.settings.currency })
    }
}

/// What a material costs landed: of all offers that hold on the day, the one that costs least for the quantity asked, in whole packs,
/// freight included. When none holds, the one that lapsed last, and its validity says so.
#[Object]
impl BestPrice {
    /// The day asked.
    async fn on(&self) -> Date {
        Date(self.on)
    }

    /// Landed, per kg or piece, in the house's currency, rounded half to even to 8 places; null with the reason in `gap`.
    async fn unit_cost(&self) -> Result<Option<UnitPrice>> {
        let price = |found: &LandedPrice| unit_price(&found.per_unit, found.source.dimension, self.currency);
        self.found.as_ref().ok().map(price).transpose()
    }

    /// What the whole order costs landed, in the house's currency; null with the reason in `gap`.
    async fn order_cost(&self) -> Result<Option<Money>> {
        let cost =
            |found: &LandedPrice| Money::rounded(&found.order_cost, KernelMoney::PLACES, self.currency);
        self.found.as_ref().ok().map(cost).transpose()
    }

    /// From order to delivery; null when nobody has entered it.
    async fn lead_time(&self) -> Option<Span> {
        self.found.as_ref().ok().and_then(|found| found.lead_time).map(Span)
    }

    /// The offer chosen; null with the reason in `gap`.
    async fn source(&self) -> Option<QuotationSource> {
        self.found.as_ref().ok().map(|found| QuotationSource(found.source.clone()))
    }

    /// What to know about the price.
    async fn notes(&self) -> Vec<Note> {
        self.found.as_ref().map_or_else(|_| Vec::new(), |found| found.notes.iter().map(Note::from).collect())
    }

    /// What is missing for a price; null when there is one.
    async fn gap(&self) -> Option<Gap> {
        self.found.as_ref().err().map(Gap::from)
    }
}
