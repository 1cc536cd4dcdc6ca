//! The shelf: what is there, and what of it can be used on a day.

use std::sync::Arc;

use async_graphql::{Context, Enum, Object, SimpleObject};
use chrono::NaiveDate;
use engine::shelf::{Availability as Answer, LotOnDay as Standing};

use crate::{
    amounts::Quantity,
    caller::Desk,
    errors::{Result, internal},
    ids::Which,
    lots::{Lot, LotStatus, Unusable, reasons},
    materials::{Material, material_id, material_of},
    scalars::Date,
};

/// Why an amount that is there cannot be taken.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "engine::shelf::NotUsableBecause")]
pub enum NotUsableBecause {
    /// Not yet examined.
    Quarantine,
    /// Its lot is on hold.
    OnHold,
    /// Its lot is rejected.
    Rejected,
    /// Not there yet on the day.
    NotThere,
    /// Past its expiry date.
    Expired,
    /// Past its retest date.
    RetestDue,
    /// Opened longer ago than its period after opening.
    OpenedTooLong,
    /// Less life left than is asked for.
    TooLittleLife,
    /// Released for other products, or until a day that has passed.
    Restricted,
    /// A customer's, and not for this product.
    OfCustomer,
    /// In a container that is on hold or rejected while its lot is not.
    Container,
    /// What stays in its containers and cannot be had.
    Heel,
    /// Promised to tickets.
    Promised,
}

/// An amount that is there and cannot be taken.
#[derive(SimpleObject)]
pub struct NotUsable {
    /// Why; of several reasons against a lot the first that is given for it.
    pub because: NotUsableBecause,
    /// How much.
    pub quantity: Quantity,
    /// The reason in words.
    pub text: &'static str,
}

/// What can be used of a material on a day.
pub struct Availability(pub Answer);

/// What can be used of a material on a day.
#[Object]
impl Availability {
    /// The material.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material)
    }

    /// The day.
    async fn on(&self) -> Date {
        Date(self.0.on)
    }

    /// What is there in all, usable or not.
    async fn on_hand(&self) -> Quantity {
        Quantity(self.0.on_hand)
    }

    /// Promised to tickets, out of lots that can be used.
    async fn promised(&self) -> Quantity {
        Quantity(self.0.promised)
    }

    /// What can be taken on the day.
    async fn usable(&self) -> Quantity {
        Quantity(self.0.usable)
    }

    /// What cannot be taken, reason by reason; with `usable` it makes up `onHand`.
    async fn not_usable(&self) -> Vec<NotUsable> {
        self.0
            .not_usable
            .iter()
            .map(|part| NotUsable {
                because: part.because.into(),
                quantity: Quantity(part.quantity),
                text: part.because.words(),
            })
            .collect()
    }

    /// Lots that can be used, in the order they are taken (first expired, first out), and then the others.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn lots(&self) -> Vec<LotOnDay> {
        self.0.lots.iter().cloned().map(LotOnDay).collect()
    }
}

/// A lot as it stands on a day.
pub struct LotOnDay(pub Standing);

/// A lot as it stands on a day.
#[Object]
impl LotOnDay {
    /// The lot.
    async fn lot(&self, ctx: &Context<'_>) -> Result<Lot> {
        lot_of(ctx, self.0.lot).await
    }

    /// The house's number for it.
    async fn number(&self) -> &str {
        &self.0.number
    }

    /// What may be done with it on the day.
    async fn status(&self) -> LotStatus {
        self.0.status.into()
    }

    /// What is there.
    async fn on_hand(&self) -> Quantity {
        Quantity(self.0.on_hand)
    }

    /// Promised to others.
    async fn promised(&self) -> Quantity {
        Quantity(self.0.promised)
    }

    /// What can be taken on the day; nought when anything stands against the lot.
    async fn usable(&self) -> Quantity {
        Quantity(self.0.usable)
    }

    /// The last day it may be used; null when nothing limits it.
    async fn last_day_of_use(&self) -> Option<Date> {
        self.0.last_day_of_use.map(Date)
    }

    /// Everything that stands against using it on the day.
    async fn because(&self) -> Vec<Unusable> {
        reasons(&self.0.because)
    }
}

/// The lot of some answer.
pub(crate) async fn lot_of(ctx: &Context<'_>, id: kernel::ids::LotId) -> Result<Lot> {
    let lot = ctx.loaders()?.lot(id).await?;
    lot.map(Lot).ok_or_else(|| internal(format!("lot {id} is gone")))
}

/// The stock as it stands, by material and lot.
#[derive(SimpleObject)]
pub struct Shelf {
    /// The day asked.
    pub on: Date,
    /// Materials that have something on the shelf, by code.
    pub materials: Vec<Availability>,
}

/// The shelf on a day.
pub(crate) async fn shelf(
    ctx: &Context<'_>,
    material: Option<Which>,
    day: NaiveDate,
    product: Option<Which>,
) -> Result<Shelf> {
    let material = material_id(ctx, material.as_ref(), "material")?;
    let product = material_id(ctx, product.as_ref(), "product")?;
    let house: &Arc<app::App> = ctx.house()?;
    let rows = house.shelf(ctx.actor()?, material, day, product).await?;
    Ok(Shelf {
        on: Date(day),
        materials: rows.into_iter().map(|row| Availability(row.availability)).collect(),
    })
}
