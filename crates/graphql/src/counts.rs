//! Counting the shelf.

use async_graphql::{Context, Enum, ID, Object, SimpleObject};
use domain::counts::{
    Count as Row, CountLine as Line, CountStatus as Status, CountVerdict as Verdict, Found as FoundRow,
};

use crate::{
    amounts::{Quantity, percent},
    caller::Desk,
    errors::Result,
    ids::{Which, global_id},
    lots::Lot,
    materials::{Material, material_id, material_of},
    scalars::{DateTime, Decimal},
    shelf::lot_of,
    stock::Movement,
};

/// How closely a material is counted, by what a year's use of it is worth.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "domain::counts::CountClass")]
pub enum CountClass {
    /// The dearest: within 1 %.
    A,
    /// Those between: within 3 %.
    B,
    /// The many cheap ones: within 5 %.
    C,
}

/// Where a count stands.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "domain::counts::CountStatus")]
pub enum CountStatus {
    /// Counting goes on.
    Open,
    /// Approved and booked.
    Closed,
    /// Given up; nothing was booked.
    Abandoned,
}

/// How a line of a count stands.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "domain::counts::CountVerdict")]
pub enum CountVerdict {
    /// Not counted yet.
    ToCount,
    /// Found outside the tolerance, and to be counted again.
    ToCountAgain,
    /// Found within the tolerance.
    Within,
    /// Counted again, and outside the tolerance still.
    Outside,
}

/// How a material is counted, and whether it bounds the expiry of what is made with it.
#[derive(SimpleObject)]
pub struct StockRule {
    /// The material.
    pub material: Material,
    /// How closely it is counted; null when nothing was entered, which counts as C.
    pub count_class: Option<CountClass>,
    /// Its own tolerance, %, instead of its class's.
    pub count_tolerance_percent: Option<Decimal>,
    /// What a count of it may differ without being repeated, %.
    pub tolerance_percent: Decimal,
    /// Whether nothing made with it may last longer than it does.
    pub bounds_expiry: bool,
}

/// The rule as it is shown.
pub(crate) fn rule_of(ctx: &Context<'_>, rule: domain::counts::StockRule) -> Result<StockRule> {
    Ok(StockRule {
        material: material_of(ctx, rule.material)?,
        count_class: rule.count_class.map(Into::into),
        count_tolerance_percent: rule.count_tolerance.map(percent),
        tolerance_percent: percent(rule.tolerance()),
        bounds_expiry: rule.bounds_expiry,
    })
}

/// What somebody found.
#[derive(SimpleObject)]
pub struct Found {
    /// How much.
    pub quantity: Quantity,
    /// What stood on the books at that moment; null while a blind count is open.
    pub booked: Option<Quantity>,
    /// When.
    pub at: DateTime,
    /// Who counted.
    pub by: String,
}

/// One lot of a count.
pub struct CountLine {
    line: Line,
    hidden: bool,
}

impl CountLine {
    fn shown(&self, found: &FoundRow) -> Found {
        Found {
            quantity: Quantity(found.quantity),
            booked: (!self.hidden).then_some(Quantity(found.booked)),
            at: DateTime(found.at),
            by: found.by.clone(),
        }
    }
}

/// One lot of a count.
#[Object]
impl CountLine {
    /// The lot.
    async fn lot(&self, ctx: &Context<'_>) -> Result<Lot> {
        lot_of(ctx, self.line.lot).await
    }

    /// What stood on the books when the session began; null while a blind count is open.
    async fn booked(&self) -> Option<Quantity> {
        (!self.hidden).then_some(Quantity(self.line.booked))
    }

    /// What a count may differ without being repeated, %.
    async fn tolerance_percent(&self) -> Decimal {
        percent(self.line.tolerance)
    }

    /// What was found first.
    async fn found(&self) -> Option<Found> {
        self.line.found.as_ref().map(|found| self.shown(found))
    }

    /// What was found on counting again.
    async fn again(&self) -> Option<Found> {
        self.line.again.as_ref().map(|found| self.shown(found))
    }

    /// What was found less what stood on the books at that moment; null before it is counted and while a blind count is open.
    async fn difference(&self) -> Option<Quantity> {
        let difference = self.line.difference().filter(|_| !self.hidden)?;
        Some(Quantity(kernel::Quantity::from_raw(difference, self.line.booked.dimension())))
    }

    /// How it stands.
    async fn verdict(&self) -> CountVerdict {
        let verdict: Verdict = self.line.verdict();
        verdict.into()
    }

    /// The movement the difference was booked by.
    async fn movement(&self, ctx: &Context<'_>) -> Result<Option<Movement>> {
        match self.line.movement {
            None => Ok(None),
            Some(id) => Ok(ctx.house()?.movement_get(ctx.actor()?, id).await?.map(Movement)),
        }
    }
}

/// A session of counting.
pub struct Count(pub Row);

/// A session of counting the shelf. It begins with what stands on the books; what moves in between is no difference.
#[Object]
impl Count {
    /// The global id.
    async fn id(&self) -> ID {
        global_id(self.0.id)
    }

    /// Its number.
    async fn number(&self) -> &str {
        &self.0.number
    }

    /// Whether those who count are kept from seeing what stands on the books while it is open.
    async fn blind(&self) -> bool {
        self.0.blind
    }

    /// Where it stands.
    async fn status(&self) -> CountStatus {
        self.0.status.into()
    }

    /// When it began.
    async fn opened_at(&self) -> DateTime {
        DateTime(self.0.opened_at)
    }

    /// Who began it.
    async fn opened_by(&self) -> &str {
        &self.0.opened_by
    }

    /// When it ended.
    async fn ended_at(&self) -> Option<DateTime> {
        self.0.ended_at.map(DateTime)
    }

    /// Who approved it or gave it up.
    async fn ended_by(&self) -> Option<&str> {
        self.0.ended_by.as_deref()
    }

    /// Why, in the words of whoever ended it.
    async fn reason(&self) -> Option<&str> {
        self.0.reason.as_deref()
    }

    /// How many lots have been counted.
    async fn counted(&self) -> usize {
        self.0.right_at_first().1
    }

    /// How many of those were within their tolerance the first time; a surplus does not make good a loss.
    async fn right_at_first(&self) -> usize {
        self.0.right_at_first().0
    }

    /// The lots, in the order they were entered.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn lines(&self) -> Vec<CountLine> {
        let hidden = self.0.blind && self.0.status == Status::Open;
        self.0.lines.iter().cloned().map(|line| CountLine { line, hidden }).collect()
    }
}

/// Counting the shelf.
#[derive(Default)]
pub struct CountsQuery;

/// Counting the shelf.
#[Object]
impl CountsQuery {
    /// The count of a number, letter case aside; null when there is none.
    async fn count(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Its number.")] number: String,
    ) -> Result<Option<Count>> {
        Ok(ctx.house()?.count_by_number(ctx.actor()?, &number).await?.map(Count))
    }

    /// The latest counts, newest first, at most twenty.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn counts_latest(&self, ctx: &Context<'_>) -> Result<Vec<Count>> {
        Ok(ctx.house()?.counts_latest(ctx.actor()?).await?.into_iter().map(Count).collect())
    }

    /// How a material is counted, and whether it bounds the expiry of what is made with it.
    async fn stock_rule(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The material.")] material: Which,
    ) -> Result<Option<StockRule>> {
        let Some(id) = material_id(ctx, Some(&material), "material")? else { return Ok(None) };
        let rule = ctx.house()?.stock_rule(ctx.actor()?, id).await?;
        rule_of(ctx, rule).map(Some)
    }
}
