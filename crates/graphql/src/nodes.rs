//! Things by their global ids (Relay, Global Object Identification).

use std::sync::Arc;

use async_graphql::{Context, ID, Interface, Object};
use kernel::limits::PAGE_ROWS_MAX;
use uuid::Uuid;

use crate::{
    caller::Desk,
    errors::Result,
    formulas::{Formula, FormulaVersion},
    house_rates::HouseRate,
    ids::decode,
    lots::Lot,
    materials::Material,
    packs::Pack,
    quotations::{ExchangeRate, Quotation},
    stock::Movement,
    suppliers::Supplier,
    tickets::Ticket,
};

/// Anything that has a global id.
#[derive(Interface)]
#[graphql(field(
    name = "id",
    ty = "ID",
    desc = "The global id: opaque, unique over all kinds of things, the same for ever."
))]
pub enum Node {
    /// A material.
    Material(Material),
    /// A supplier.
    Supplier(Supplier),
    /// A quotation.
    Quotation(Quotation),
    /// An exchange rate.
    ExchangeRate(ExchangeRate),
    /// A rate of the house.
    HouseRate(HouseRate),
    /// A formula.
    Formula(Formula),
    /// A formula version.
    FormulaVersion(FormulaVersion),
    /// A pack.
    Pack(Pack),
    /// A lot.
    Lot(Lot),
    /// An entry of the stock ledger.
    Movement(Movement),
    /// A batch ticket.
    Ticket(Ticket),
}

/// Things by their global ids.
#[derive(Default)]
pub struct NodesQuery;

/// Things by their global ids.
#[Object]
impl NodesQuery {
    /// The thing of a global id; null when there is none.
    async fn node(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The global id.")] id: ID,
    ) -> Result<Option<Node>> {
        find(ctx, &id, "id").await
    }

    /// The things of some global ids, at most 100, in their order; null for each that there is none of.
    #[graphql(complexity = "crate::limits::nodes(ids.len(), child_complexity)")]
    async fn nodes(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The global ids.")] ids: Vec<ID>,
    ) -> Result<Vec<Option<Node>>> {
        if ids.len() > PAGE_ROWS_MAX {
            let text = format!("at most {PAGE_ROWS_MAX} things are answered at once");
            return Err(app::Error::invalid("ids", text).into());
        }
        let places: Vec<String> = (0..ids.len()).map(|at| format!("ids[{at}]")).collect();
        // Together, so that the loaders see all of them at once.
        let found = ids.iter().zip(&places).map(|(id, place)| find(ctx, id, place));
        futures_util::future::try_join_all(found).await
    }
}

async fn find(ctx: &Context<'_>, id: &ID, place: &str) -> Result<Option<Node>> {
    let Some((kind, uuid)) = decode(id) else {
        return Err(app::Error::invalid(place, "this is not a global id").into());
    };
    let catalogue = ctx.catalogue()?;
    Ok(match kind.as_str() {
        "Material" => catalogue.materials.get(uuid.into()).cloned().map(|row| Node::Material(Material(row))),
        "Supplier" => catalogue.suppliers.get(uuid.into()).cloned().map(|row| Node::Supplier(Supplier(row))),
        "Quotation" => catalogue.quotation(uuid.into()).cloned().map(|row| Node::Quotation(Quotation(row))),
        "ExchangeRate" => {
            let rate = catalogue.rates().find(|rate| rate.id.0 == uuid);
            rate.cloned().map(|row| Node::ExchangeRate(ExchangeRate(row)))
        }
        "HouseRate" => {
            let rate = catalogue.house_rates().find(|rate| rate.id.0 == uuid);
            rate.cloned().map(|row| Node::HouseRate(HouseRate(row)))
        }
        "Formula" => catalogue.formulas.get(uuid.into()).cloned().map(|row| Node::Formula(Formula(row))),
        "FormulaVersion" => catalogue
            .version(uuid.into())
            .map(|(formula, version)| Node::FormulaVersion(FormulaVersion::of(formula, version))),
        "Pack" => catalogue.packs.get(uuid.into()).cloned().map(|row| Node::Pack(Pack(row))),
        "Lot" => ctx.loaders()?.lot(uuid.into()).await?.map(|row| Node::Lot(Lot(row))),
        "Ticket" => ctx.loaders()?.ticket(uuid.into()).await?.map(|row| Node::Ticket(Ticket(row))),
        "Movement" => movement(ctx, uuid).await?.map(Node::Movement),
        _ => return Err(app::Error::invalid(place, "nothing is found by this id on its own").into()),
    })
}

async fn movement(ctx: &Context<'_>, id: Uuid) -> Result<Option<Movement>> {
    let house: &Arc<app::App> = ctx.house()?;
    Ok(house.movement_get(ctx.actor()?, id.into()).await?.map(Movement))
}
