//! The roots, grouped by area: a merged object of many parts does not compile, one of some groups does.

use async_graphql::MergedObject;

use crate::{
    audit::AuditQuery,
    balances::BalancesQuery,
    changes::{
        finishing::FinishingChanges, formulas::FormulaChanges, house_rates::HouseRateChanges,
        lot_details::LotDetailChanges, lots::LotChanges, making::PackChanges, quotations::QuotationChanges,
        standards::StandardChanges, ticket_life::TicketLifeChanges, tickets::TicketChanges,
    },
    formulas::FormulasQuery,
    house::HouseQuery,
    house_rates::HouseRatesQuery,
    kept::{KeptChanges, KeptQuery},
    lot_details::LotDetailsQuery,
    lots::LotsQuery,
    materials::MaterialsQuery,
    nodes::NodesQuery,
    packs::PacksQuery,
    quotations::QuotationsQuery,
    searches::SearchesQuery,
    standards::StandardsQuery,
    suppliers::SuppliersQuery,
    swaps::SwapsQuery,
    tickets::TicketsQuery,
    trace::TraceQuery,
};

/// Everything that can be asked. Nothing here changes anything.
#[derive(MergedObject, Default)]
pub struct Query(
    HouseQuery,
    MaterialsQuery,
    SuppliersQuery,
    QuotationsQuery,
    HouseRatesQuery,
    StandardsQuery,
    FormulasQuery,
    PacksQuery,
    LotsQuery,
    LotDetailsQuery,
    TicketsQuery,
    BalancesQuery,
    TraceQuery,
    NodesQuery,
    AuditQuery,
    KeptQuery,
    SearchesQuery,
    SwapsQuery,
);

/// Everything that can be changed. Each change is one unit of work: it happens whole or not at all. Its input's `requestKey` makes it
/// happen once: sent again with the same key and content, it answers the same and changes nothing more. What the rules of the house
/// do not allow as things stand is answered as `Refused`; mistakes and missing rights are errors.
#[derive(MergedObject, Default)]
pub struct Mutation(
    LotChanges,
    LotDetailChanges,
    TicketChanges,
    TicketLifeChanges,
    FinishingChanges,
    QuotationChanges,
    FormulaChanges,
    StandardChanges,
    KeptChanges,
    HouseRateChanges,
    PackChanges,
);
