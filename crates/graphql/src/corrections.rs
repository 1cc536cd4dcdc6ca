//! Costs that were known later.

use app::TicketCostTrace as Trace;
use async_graphql::{Context, ID, Object};
use domain::corrections::{CorrectionShare as ShareRow, CostCorrection as Row};

use crate::{
    amounts::Money,
    caller::{Desk, lot_named, ticket_named},
    errors::Result,
    ids::{Which, global_id},
    lots::Lot,
    scalars::DateTime,
    shelf::lot_of,
    tickets::Ticket,
};

/// What one movement was worth more or less.
pub struct CorrectionShare(pub ShareRow);

/// What one movement was worth more or less than it was posted with.
#[Object]
impl CorrectionShare {
    /// The global id of the movement.
    async fn movement_id(&self) -> ID {
        global_id(self.0.movement)
    }

    /// The ticket it belongs to.
    async fn ticket(&self, ctx: &Context<'_>) -> Result<Option<Ticket>> {
        match self.0.ticket {
            None => Ok(None),
            Some(id) => Ok(ctx.loaders()?.ticket(id).await?.map(Ticket)),
        }
    }

    /// To be added to the movement's value. What goes out has a value below nought: an amount below nought means that more went out.
    async fn amount(&self) -> Money {
        self.0.amount.into()
    }
}

/// What became known of a lot's cost.
pub struct CostCorrection(pub Row);

/// What became known of a lot's cost after it was posted. The ledger stays; this stands beside it.
#[Object]
impl CostCorrection {
    /// The lot.
    async fn lot(&self, ctx: &Context<'_>) -> Result<Lot> {
        lot_of(ctx, self.0.lot).await
    }

    /// What its receipt was worth more (above nought) or less.
    async fn amount(&self) -> Money {
        self.0.amount.into()
    }

    /// What of that is left in the lot.
    async fn left_in_lot(&self) -> Result<Money> {
        Ok(self.0.left_in_lot().map_err(crate::errors::internal)?.into())
    }

    /// Whether it comes from an ingredient whose cost was settled.
    async fn from_ingredient(&self) -> bool {
        self.0.because_of.is_some()
    }

    /// What each movement of the lot was worth more or less; those that did not change are left out.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn shares(&self) -> Vec<CorrectionShare> {
        self.0.shares.iter().cloned().map(CorrectionShare).collect()
    }

    /// When it was entered.
    async fn entered_at(&self) -> DateTime {
        DateTime(self.0.entered_at)
    }

    /// Who entered it.
    async fn by(&self) -> &str {
        &self.0.by
    }

    /// Why.
    async fn reason(&self) -> &str {
        &self.0.reason
    }
}

/// What a batch took from lots, as posted and as known now.
pub struct TicketCostTrace(pub Trace);

/// What a batch took from lots, as posted and as known now.
#[Object]
impl TicketCostTrace {
    /// The value that left lots for it, as posted; null when some lot had none.
    async fn posted(&self) -> Option<Money> {
        self.0.posted.map(Into::into)
    }

    /// What it was worth more or less as known now.
    async fn corrected_by(&self) -> Money {
        self.0.corrected_by.into()
    }

    /// The value that left lots for it, as known now; null when some lot had none.
    async fn corrected(&self) -> Result<Option<Money>> {
        let sum = self.0.posted.map(|posted| posted.checked_add(self.0.corrected_by)).transpose();
        Ok(sum.map_err(crate::errors::internal)?.map(Into::into))
    }

    /// Whether some lot it took from has a cost that is still an estimate.
    async fn provisional(&self) -> bool {
        !self.0.provisional_lots.is_empty()
    }

    /// Those lots, by number.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn provisional_lots(&self) -> Vec<Lot> {
        self.0.provisional_lots.iter().cloned().map(Lot).collect()
    }

    /// Corrections of lots it took from or made, in the order they were entered.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn corrections(&self) -> Vec<CostCorrection> {
        self.0.corrections.iter().cloned().map(CostCorrection).collect()
    }
}

/// Costs that were known later.
#[derive(Default)]
pub struct CorrectionsQuery;

/// Costs that were known later.
#[Object]
impl CorrectionsQuery {
    /// What became known of a lot's cost after it was posted, in the order it was entered.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn cost_corrections(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The lot.")] lot: Which,
    ) -> Result<Vec<CostCorrection>> {
        let lot = lot_named(ctx, &lot, "lot").await?.id;
        let rows = ctx.house()?.corrections_of_lots(ctx.actor()?, &[lot]).await?;
        Ok(rows.into_iter().map(CostCorrection).collect())
    }

    /// What a batch took from lots as posted, what became known of that later, and what may still change.
    async fn ticket_cost_trace(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The ticket.")] ticket: Which,
    ) -> Result<TicketCostTrace> {
        let ticket = ticket_named(ctx, &ticket, "ticket").await?.id;
        Ok(TicketCostTrace(ctx.house()?.ticket_cost_trace(ctx.actor()?, ticket).await?))
    }
}
