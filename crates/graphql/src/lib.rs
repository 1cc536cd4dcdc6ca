//! The API: a designed GraphQL schema over the use cases.
//!
//! Resolvers are thin. They read what they were sent ([`amounts`], [`scalars`], [`ids`]), call one use case, and show its answer.
//! Everything slow-changing comes from the catalogue held in memory, one and the same for a whole query; lots and tickets come
//! through loaders, so a list of any length takes a fixed number of database queries.
//!
//! What the house's rules do not allow is a typed answer ([`refusals`]); mistakes and missing rights are errors with a stable
//! `extensions.code` ([`errors`]).
#![allow(
    clippy::duplicated_attributes,
    clippy::large_enum_variant,
    clippy::struct_field_names,
    clippy::too_many_arguments,
    clippy::unused_async,
    reason = "the shape of the types is the shape of the schema, and resolvers are asynchronous whether they wait or not"
)]

mod amounts;
mod audit;
mod balances;
mod bases;
mod caller;
mod cautions;
mod changes;
mod compare;
mod corrections;
mod cost_inputs;
mod cost_lines;
mod costing;
mod counts;
mod errors;
mod fill_aid;
mod finishing;
mod formulas;
mod house;
mod house_rates;
mod ids;
mod kept;
mod limits;
mod loaders;
mod lot_details;
mod lots;
mod making;
mod materials;
mod nodes;
mod notes;
mod outlook;
mod packs;
mod pages;
mod planned;
mod prices;
mod pricing;
mod proposals;
mod quotation_terms;
mod quotations;
mod refusals;
mod roots;
mod run_check;
mod scalars;
mod scenarios;
mod searches;
mod sensitivity;
mod shelf;
mod sources;
mod standards;
mod stock;
mod stock_figures;
mod suppliers;
mod swaps;
mod tickets;
mod trace;
mod variances;
mod what_if;

use std::sync::Arc;

use app::App;
use async_graphql::{EmptySubscription, Request, Response, SDLExportOptions, SchemaBuilder};

pub use caller::Caller;
pub use errors::ErrorCode;
pub use limits::{ALIASES_MAX, COMPLEXITY_MAX, DEPTH_MAX, DIRECTIVES_MAX, PAGE_ROWS_DEFAULT, SELECTIONS_MAX};
pub use roots::{Mutation, Query};
pub use scalars::{CurrencyCode, Date, DateTime, Decimal, Span, Unit};

/// The whole schema, over a house. Cheap to clone.
#[derive(Clone)]
pub struct Schema {
    schema: async_graphql::Schema<Query, Mutation, EmptySubscription>,
    house: Arc<App>,
}

/// The schema over a house.
pub fn build(house: Arc<App>) -> Schema {
    Schema { schema: builder().data(Arc::clone(&house)).finish(), house }
}

/// The schema as text in the schema definition language, the same bytes every time. Needs no database.
pub fn sdl() -> String {
    let options = SDLExportOptions::new()
        .sorted_fields()
        .sorted_arguments()
        .sorted_enum_items()
        .include_specified_by()
        .prefer_single_line_descriptions()
        .use_space_ident();
    let text = builder().finish().sdl_with_options(options);
    let mut lines: Vec<&str> = text.lines().map(str::trim_end).collect();
    while lines.last().is_some_and(|line| line.is_empty()) {
        lines.pop();
    }
    lines.join("\n") + "\n"
}

/// Answers a request of a caller. Every error in the response has an `extensions.code` of [`ErrorCode`], and the caller's request
/// id where one is given.
pub async fn execute(schema: &Schema, caller: Caller, mut request: Request) -> Response {
    let request_id = caller.request_id().map(ToOwned::to_owned);
    let refused = match request.parsed_query() {
        Ok(document) => limits::refuse_excess(document).err(),
        Err(error) => Some(error),
    };
    let response = match refused {
        Some(error) => Response::from_errors(vec![error]),
        None => {
            let loaders = Arc::new(caller.loaders(&schema.house));
            let request = request.data(caller).data(Arc::clone(&loaders));
            loaders.drive(schema.schema.execute(request)).await
        }
    };
    errors::finish(response, request_id.as_deref())
}

fn builder() -> SchemaBuilder<Query, Mutation, EmptySubscription> {
    let builder = async_graphql::Schema::build(Query::default(), Mutation::default(), EmptySubscription)
        .limit_depth(DEPTH_MAX)
        .limit_complexity(COMPLEXITY_MAX)
        .limit_recursive_depth(limits::RECURSION_MAX)
        .limit_directives(DIRECTIVES_MAX);
    pages::describe(builder)
}
