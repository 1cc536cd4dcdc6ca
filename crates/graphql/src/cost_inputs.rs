//! How a cost is asked for.

use std::num::NonZeroU32;

use app::CostQuestion;
use async_graphql::{Context, ID, InputObject, OneofObject};
use engine::{CostRequest, CostSubject, OrderBasis, StatedOrder};
use kernel::ids::FormulaVersionId;

use crate::{
    amounts::QuantityInput,
    bases::Basis,
    caller::{Desk, Find as _},
    costing::batch as read_batch,
    errors::Result,
    ids::{Which, read},
    scalars::Date,
};

/// Orders stated in one question at most.
const STATED_ORDERS_MAX: usize = 100;

/// How much of each material is taken to be ordered at once, which decides pack and price break; for one batch when nothing is said.
#[derive(OneofObject, Debug, Clone, Copy)]
pub enum OrderInput {
    /// What so many batches need, at least 1.
    Batches(u32),
    /// The year's use in so many orders, at least 1: at most what is used within the material's shelf life, at least what one batch
    /// needs. The year's use is what all packs with expected sales take.
    OrdersAYear(u32),
}

/// So much of a material stated to be ordered at once, whatever else is said of orders.
#[derive(InputObject, Debug, Clone)]
pub struct StatedOrderInput {
    /// The material.
    pub material: Which,
    /// How much: a mass, a volume through its density, or pieces.
    pub quantity: QuantityInput,
}

/// Another cost to compare with: what is not said is as on the sheet it is compared with.
#[derive(InputObject, Debug, Clone)]
pub struct CostOtherInput {
    /// Another pack.
    pub pack: Option<Which>,
    /// Another version, by global id: the one that fills the pack, or the liquid itself where no pack is costed.
    pub version: Option<ID>,
    /// What is charged in all, a mass.
    pub batch: Option<QuantityInput>,
    /// Prices, rates and approved versions of this day.
    pub as_of: Option<Date>,
    /// Which price is used for what is bought.
    pub basis: Option<Basis>,
    /// How much of each material is ordered at once.
    pub order: Option<OrderInput>,
    /// Orders that are stated, at most 100; they replace those of the sheet.
    pub orders: Option<Vec<StatedOrderInput>>,
}

impl OrderInput {
    fn read(self) -> Result<OrderBasis> {
        let count = |count: u32, place: &str| {
            NonZeroU32::new(count).ok_or_else(|| app::Error::invalid(place, "this must be at least 1"))
        };
        Ok(match self {
            Self::Batches(batches) => OrderBasis::ForBatches(count(batches, "order.batches")?),
            Self::OrdersAYear(orders) => OrderBasis::ForYear { orders: count(orders, "order.ordersAYear")? },
        })
    }
}

fn read_orders(ctx: &Context<'_>, orders: &[StatedOrderInput]) -> Result<Vec<StatedOrder>> {
    if orders.len() > STATED_ORDERS_MAX {
        let message = format!("at most {STATED_ORDERS_MAX} orders can be stated");
        return Err(app::Error::invalid("orders", message).into());
    }
    let catalogue = ctx.catalogue()?;
    let mut read = Vec::with_capacity(orders.len());
    for (at, order) in orders.iter().enumerate() {
        let material = catalogue.material(&order.material, &format!("orders[{at}].material"))?.id;
        let place = format!("orders[{at}].quantity");
        let quantity =
            order.quantity.quantity().map_err(|error| app::Error::invalid(place.as_str(), error))?;
        if !quantity.is_positive() {
            return Err(app::Error::invalid(place, "an order must be above nought").into());
        }
        read.push(StatedOrder { material, quantity });
    }
    Ok(read)
}

/// A question as the arguments of a field ask it.
pub(crate) fn question(
    ctx: &Context<'_>,
    mut request: CostRequest,
    batch: Option<QuantityInput>,
    order: Option<OrderInput>,
    orders: Option<Vec<StatedOrderInput>>,
) -> Result<CostQuestion> {
    request.batch = read_batch(batch)?;
    if let Some(order) = order {
        request.order = order.read()?;
    }
    Ok(CostQuestion { request, orders: read_orders(ctx, &orders.unwrap_or_default())? })
}

impl CostOtherInput {
    /// The other question; `of` is the one it departs from.
    pub(crate) fn question(self, ctx: &Context<'_>, of: &CostQuestion) -> Result<CostQuestion> {
        let mut question = of.clone();
        let request = &mut question.request;
        let version = self.version.map(|id| read::<FormulaVersionId>(&id, "after.version")).transpose()?;
        if let Some(which) = &self.pack {
            let pack = ctx.catalogue()?.pack_named(which, "after.pack")?.id;
            request.subject = CostSubject::Pack { pack, version };
            // The price asked about is that of the other pack.
            request.price = None;
        } else if let Some(version) = version {
            request.subject = match request.subject {
                CostSubject::Pack { pack, .. } => CostSubject::Pack { pack, version: Some(version) },
                CostSubject::Version(_) => CostSubject::Version(version),
            };
        }
        if self.batch.is_some() {
            request.batch = read_batch(self.batch)?;
        }
        if let Some(day) = self.as_of {
            request.as_of = day.0;
        }
        if let Some(basis) = self.basis {
            request.basis = basis.into();
        }
        if let Some(order) = self.order {
            request.order = order.read()?;
        }
        if let Some(orders) = self.orders {
            question.orders = read_orders(ctx, &orders)?;
        }
        Ok(question)
    }
}
