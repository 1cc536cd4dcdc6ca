//! The roots, grouped by area: a merged object of many parts does not compile, one of some groups does.

use async_graphql::MergedObject;

use crate::{
    audit::AuditQuery,
    balances::BalancesQuery,
    changes::{
        corrections::CorrectionChanges, counts::CountChanges, finishing::FinishingChanges,
        formulas::FormulaChanges, house_rates::HouseRateChanges, lot_details::LotDetailChanges,
        lots::LotChanges, making::PackChanges, quotations::QuotationChanges, standards::StandardChanges,
        ticket_life::TicketLifeChanges, tickets::TicketChanges,
    },
    corrections::CorrectionsQuery,
    counts::CountsQuery,
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
    stock_figures::StockFiguresQuery,
    suppliers::SuppliersQuery,
    swaps::SwapsQuery,
    tickets::TicketsQuery,
    trace::TraceQuery,
};

/// Questions about what changes slowly: materials and their prices, formulas, packs, the house itself.
#[derive(MergedObject, Default)]
pub struct CatalogueQuestions(
    HouseQuery,
    MaterialsQuery,
    SuppliersQuery,
    QuotationsQuery,
    HouseRatesQuery,
    StandardsQuery,
    FormulasQuery,
    PacksQuery,
);

/// Questions about what moves: lots, counts, tickets, and where everything went.
#[derive(MergedObject, Default)]
pub struct StockQuestions(
    LotsQuery,
    LotDetailsQuery,
    CountsQuery,
    CorrectionsQuery,
    StockFiguresQuery,
    TicketsQuery,
    BalancesQuery,
    TraceQuery,
);

/// Questions across both.
#[derive(MergedObject, Default)]
pub struct FurtherQuestions(NodesQuery, AuditQuery, KeptQuery, SearchesQuery, SwapsQuery);

/// Everything that can be asked. Nothing here changes anything.
#[derive(MergedObject, Default)]
pub struct Query(CatalogueQuestions, StockQuestions, FurtherQuestions);

/// Changes of what changes slowly.
#[derive(MergedObject, Default)]
pub struct CatalogueChanges(
    QuotationChanges,
    FormulaChanges,
    StandardChanges,
    HouseRateChanges,
    PackChanges,
    KeptChanges,
);

/// Changes of what moves.
#[derive(MergedObject, Default)]
pub struct StockChanges(
    LotChanges,
    LotDetailChanges,
    CountChanges,
    CorrectionChanges,
    TicketChanges,
    TicketLifeChanges,
    FinishingChanges,
);

/// Everything that can be changed. Each change is one unit of work: it happens whole or not at all. Its input's `requestKey` makes it
/// happen once: sent again with the same key and content, it answers the same and changes nothing more. What the rules of the house
/// do not allow as things stand is answered as `Refused`; mistakes and missing rights are errors.
#[derive(MergedObject, Default)]
pub struct Mutation(CatalogueChanges, StockChanges);
