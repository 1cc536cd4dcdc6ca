//! Lots.

use async_graphql::{
    Context, Enum, ID, Object, SimpleObject, connection::Connection, connection::EmptyFields,
};
use domain::lots::{Lot as Row, Unusable as Reason};

use crate::{
    amounts::{Money, Quantity, kg_per_l, percent},
    caller::Desk,
    errors::Result,
    ids::{Which, global_id},
    lot_details::{Container, LotDocument, LotResult, LotStanding, Ownership},
    materials::{Material, material_id, material_of},
    pages::{Cursor, Paging, stored_page},
    scalars::{Date, Decimal, Span},
    stock::Movement,
    suppliers::{Supplier, supplier_of},
    tickets::Ticket,
};

/// What may be done with a lot. Expiry and retest are not statuses: they follow from dates.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "domain::lots::LotStatus")]
pub enum LotStatus {
    /// Received or made, not yet examined.
    Quarantine,
    /// May be used.
    Released,
    /// Set aside until a question is answered.
    OnHold,
    /// Never to be used.
    Rejected,
}

/// What stands against using a lot.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum UnusableCode {
    /// It is still in quarantine.
    Quarantine,
    /// It is on hold.
    OnHold,
    /// It is rejected.
    Rejected,
    /// It arrives or was made after the day; `day` is that day.
    NotYetReceived,
    /// It is past its expiry date; `day` is that date.
    Expired,
    /// It is past its retest date; `day` is that date.
    RetestDue,
    /// It was opened longer ago than its period after opening; `day` is the last day of that.
    OpenedTooLong,
    /// It is in date, with less life left than asked for; `day` is its last day of use.
    TooLittleLife,
    /// It is ordered and not there; `day` is the day it is expected, where one is known.
    Ordered,
    /// It is released for other products only.
    Restricted,
    /// It belongs to a customer, for whose products alone it may be used.
    OfCustomer,
    /// Its release ended; `day` is its last day.
    ReleaseEnded,
}

/// One reason against using a lot on a day.
#[derive(SimpleObject)]
pub struct Unusable {
    /// What stands against it.
    pub code: UnusableCode,
    /// The day the reason is about, where it is about one.
    pub day: Option<Date>,
    /// The life that should be left, where that is the reason.
    pub wanted_life: Option<Span>,
    /// The reason in words.
    pub text: String,
}

impl From<&Reason> for Unusable {
    fn from(reason: &Reason) -> Self {
        let (code, day, wanted_life) = match *reason {
            Reason::Quarantine => (UnusableCode::Quarantine, None, None),
            Reason::OnHold => (UnusableCode::OnHold, None, None),
            Reason::Rejected => (UnusableCode::Rejected, None, None),
            Reason::NotYetReceived { on } => (UnusableCode::NotYetReceived, Some(on), None),
            Reason::Expired { on } => (UnusableCode::Expired, Some(on), None),
            Reason::RetestDue { on } => (UnusableCode::RetestDue, Some(on), None),
            Reason::OpenedTooLong { until } => (UnusableCode::OpenedTooLong, Some(until), None),
            Reason::TooLittleLife { until, wanted } => {
                (UnusableCode::TooLittleLife, Some(until), Some(wanted))
            }
            Reason::Ordered { due } => (UnusableCode::Ordered, due, None),
            Reason::Restricted => (UnusableCode::Restricted, None, None),
            Reason::OfCustomer => (UnusableCode::OfCustomer, None, None),
            Reason::ReleaseEnded { until } => (UnusableCode::ReleaseEnded, Some(until), None),
        };
        Self { code, day: day.map(Date), wanted_life: wanted_life.map(Span), text: reason.to_string() }
    }
}

/// Reasons as they are listed.
pub(crate) fn reasons(because: &[Reason]) -> Vec<Unusable> {
    because.iter().map(Unusable::from).collect()
}

/// Whether a lot may be used on a day.
#[derive(SimpleObject)]
pub struct Usability {
    /// The day asked.
    pub on: Date,
    /// Whether it may be used on that day.
    pub usable: bool,
    /// Everything that stands against it; empty when it may be used.
    pub because: Vec<Unusable>,
}

/// A lot.
#[derive(Clone)]
pub struct Lot(pub Row);

impl From<Row> for Lot {
    fn from(row: Row) -> Self {
        Self(row)
    }
}

/// A delivery or batch that is traced as one.
#[Object]
impl Lot {
    /// The global id.
    pub(crate) async fn id(&self) -> ID {
        global_id(self.0.id)
    }

    /// The house's own number for it.
    async fn number(&self) -> &str {
        &self.0.number
    }

    /// What it is a lot of.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material)
    }

    /// Who delivered it; null for what is made here.
    async fn supplier(&self, ctx: &Context<'_>) -> Result<Option<Supplier>> {
        self.0.supplier.map(|id| supplier_of(ctx, id)).transpose()
    }

    /// The supplier's number for it, exactly as written.
    async fn supplier_lot(&self) -> Option<&str> {
        self.0.supplier_lot.as_deref()
    }

    /// The ticket that made it; null for what was delivered.
    async fn made_by(&self, ctx: &Context<'_>) -> Result<Option<Ticket>> {
        match self.0.made_by {
            None => Ok(None),
            Some(id) => Ok(ctx.loaders()?.ticket(id).await?.map(Ticket)),
        }
    }

    /// The tickets something of it was weighed into: where it went.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn used_by(&self, ctx: &Context<'_>) -> Result<Vec<Ticket>> {
        let tickets = ctx.loaders()?.tickets_using(self.0.id).await?;
        Ok(tickets.iter().cloned().map(Ticket).collect())
    }

    /// What may be done with it.
    async fn status(&self) -> LotStatus {
        self.0.status.into()
    }

    /// How it stands on a day: what was decided, and what follows from its dates and from what is left of it.
    async fn standing(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The day; today when nothing is said.")] on: Option<Date>,
    ) -> Result<LotStanding> {
        Ok(self.0.standing_on(ctx.day(on)?).into())
    }

    /// What may be made with it, by the material made; empty for anything.
    async fn restricted_to(&self, ctx: &Context<'_>) -> Result<Vec<Material>> {
        self.0.terms.restricted_to.iter().map(|id| material_of(ctx, *id)).collect()
    }

    /// The last day its release holds; null when it holds until another decision.
    async fn released_until(&self) -> Option<Date> {
        self.0.terms.released_until.map(Date)
    }

    /// Whose it is.
    async fn ownership(&self) -> Ownership {
        self.0.terms.ownership.into()
    }

    /// The customer or supplier it belongs to; null for what is the house's.
    async fn owner(&self) -> Option<&str> {
        self.0.terms.owner.as_deref()
    }

    /// What was ordered; null for what was not.
    async fn ordered(&self) -> Option<Quantity> {
        let dimension = self.0.received.dimension();
        self.0.terms.expected.map(|raw| Quantity(kernel::Quantity::from_raw(raw, dimension)))
    }

    /// The day it was expected, for what was ordered.
    async fn due_on(&self) -> Option<Date> {
        self.0.terms.due_on.map(Date)
    }

    /// Its made date as written on the label, where that was a month.
    async fn made_on_written(&self) -> Option<&str> {
        self.0.terms.written.made_on.as_deref()
    }

    /// Its expiry date as written on the label, where that was a month; the month's last day counts.
    async fn expires_on_written(&self) -> Option<&str> {
        self.0.terms.written.expires_on.as_deref()
    }

    /// Its retest date as written on the label, where that was a month; the month's last day counts.
    async fn retest_on_written(&self) -> Option<&str> {
        self.0.terms.written.retest_on.as_deref()
    }

    /// After a retest it passed: the day until which it may be used now.
    async fn retested_until(&self) -> Option<Date> {
        self.0.terms.retested_until.map(Date)
    }

    /// Whether its cost is an estimate until the invoice comes.
    async fn cost_provisional(&self) -> bool {
        self.0.terms.cost_provisional
    }

    /// What of it stands in containers that may not be used while the lot may.
    async fn blocked(&self) -> Quantity {
        Quantity(kernel::Quantity::from_raw(self.0.terms.blocked, self.0.on_hand.dimension()))
    }

    /// What of it stays in its containers and cannot be had; plans leave it out.
    async fn heel(&self) -> Quantity {
        Quantity(kernel::Quantity::from_raw(self.0.terms.heel, self.0.on_hand.dimension()))
    }

    /// Its containers, in order; empty where none were entered.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn containers(&self, ctx: &Context<'_>) -> Result<Vec<Container>> {
        let details = ctx.loaders()?.lot_details(self.0.id).await?;
        Ok(details.containers.iter().cloned().map(Container).collect())
    }

    /// The results of its certificate of analysis, in the order they were entered.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn results(&self, ctx: &Context<'_>) -> Result<Vec<LotResult>> {
        let details = ctx.loaders()?.lot_details(self.0.id).await?;
        Ok(details.results.iter().cloned().map(LotResult).collect())
    }

    /// Documents kept elsewhere, in the order they were added.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn documents(&self, ctx: &Context<'_>) -> Result<Vec<LotDocument>> {
        let details = ctx.loaders()?.lot_details(self.0.id).await?;
        Ok(details.documents.iter().cloned().map(LotDocument::from).collect())
    }

    /// The day it arrived or was made here.
    async fn received_on(&self) -> Date {
        Date(self.0.received_on)
    }

    /// The day its maker made it.
    async fn made_on(&self) -> Option<Date> {
        self.0.made_on.map(Date)
    }

    /// Its last day of use by expiry.
    async fn expires_on(&self) -> Option<Date> {
        self.0.expires_on.map(Date)
    }

    /// To be examined again before use after this day.
    async fn retest_on(&self) -> Option<Date> {
        self.0.retest_on.map(Date)
    }

    /// The day its container was opened.
    async fn opened_on(&self) -> Option<Date> {
        self.0.opened_on.map(Date)
    }

    /// The last day of use by expiry, retest and opening, whichever is first; null when nothing limits it.
    async fn last_day_of_use(&self, ctx: &Context<'_>) -> Result<Option<Date>> {
        let material = material_of(ctx, self.0.material)?;
        Ok(self.0.last_day_of_use(&material.0).map(Date))
    }

    /// Whether it may be used on a day, and everything that stands against it.
    async fn usable(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The day; today when nothing is said.")] on: Option<Date>,
    ) -> Result<Usability> {
        let day = ctx.day(on)?;
        let material = material_of(ctx, self.0.material)?;
        let because = self.0.unusable_on(day, &material.0);
        Ok(Usability { on: Date(day), usable: because.is_empty(), because: reasons(&because) })
    }

    /// Density of its certificate of analysis, kg/L; null for the material's own.
    #[graphql(name = "densityKgPerL")]
    async fn density_kg_per_l(&self) -> Option<Decimal> {
        self.0.density.map(kg_per_l)
    }

    /// Active matter of its certificate of analysis, %; null for the material's own.
    async fn active_matter_percent(&self) -> Option<Decimal> {
        self.0.active_matter.map(percent)
    }

    /// Where it stands.
    async fn location(&self) -> Option<&str> {
        self.0.location.as_deref()
    }

    /// What came in.
    async fn received(&self) -> Quantity {
        Quantity(self.0.received)
    }

    /// What that cost landed, or to make; null when it is not known, never nought for that.
    async fn received_value(&self) -> Option<Money> {
        self.0.received_value.map(Into::into)
    }

    /// What is there now.
    async fn on_hand(&self) -> Quantity {
        Quantity(self.0.on_hand)
    }

    /// The value of what is there now; null when it is not known.
    async fn value(&self) -> Option<Money> {
        self.0.value.map(Into::into)
    }

    /// What of it is promised to tickets that have not weighed it yet.
    async fn reserved(&self) -> Quantity {
        Quantity(self.0.reserved)
    }

    /// What is there, not promised, and not in a container that may not be used.
    async fn free(&self) -> Quantity {
        Quantity(kernel::Quantity::from_raw(self.0.free(), self.0.on_hand.dimension()))
    }

    /// Remarks.
    async fn note(&self) -> Option<&str> {
        self.0.note.as_deref()
    }

    /// Everything that changed its amount, in the order it was posted.
    #[graphql(complexity = "crate::limits::page(first, None, child_complexity)")]
    async fn movements(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Rows after this cursor.")] after: Option<String>,
        #[graphql(desc = "At most so many rows, 1 to 100; 20 when nothing is said.")] first: Option<i32>,
    ) -> Result<Connection<Cursor, Movement, EmptyFields>> {
        let paging = Paging::forward("movements", after.as_deref(), first)?;
        let (after, limit) = paging.seek()?;
        let page = ctx.house()?.movements_of_lot(ctx.actor()?, self.0.id, after, limit).await?;
        Ok(stored_page("movements", &paging, page, EmptyFields, |m| m.id.0, Movement))
    }
}

/// How many lots a list has in all. Counted only when asked for.
pub struct LotTotal(app::lists::LotFilter);

/// How many lots a list has in all.
#[Object]
impl LotTotal {
    /// How many rows the list has in all, with the filters given.
    async fn total_count(&self, ctx: &Context<'_>) -> Result<u64> {
        Ok(ctx.house()?.lots_count(ctx.actor()?, &self.0).await?)
    }
}

/// Lots.
#[derive(Default)]
pub struct LotsQuery;

/// Lots.
#[Object]
impl LotsQuery {
    /// The lot of a number, letter case aside; null when there is none.
    async fn lot(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The house's number.")] number: String,
    ) -> Result<Option<Lot>> {
        Ok(ctx.house()?.lot_by_number(ctx.actor()?, &number).await?.map(Lot))
    }

    /// Lots, in the order they were entered.
    #[graphql(complexity = "crate::limits::page(first, None, child_complexity)")]
    #[allow(
        clippy::too_many_arguments,
        reason = "a connection field has its own arguments besides the filters"
    )]
    async fn lots(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only of this material.")] material: Option<Which>,
        #[graphql(desc = "Only of these statuses; empty for any.", default)] statuses: Vec<LotStatus>,
        #[graphql(desc = "Only those that hold something.", default)] on_shelf: bool,
        #[graphql(desc = "Only those that expire, or are due for retest, on or before this day.")]
        ends_by: Option<Date>,
        #[graphql(desc = "Rows after this cursor.")] after: Option<String>,
        #[graphql(desc = "At most so many rows, 1 to 100; 20 when nothing is said.")] first: Option<i32>,
    ) -> Result<Connection<Cursor, Lot, LotTotal>> {
        let paging = Paging::forward("lots", after.as_deref(), first)?;
        let filter = app::lists::LotFilter {
            materials: material_id(ctx, material.as_ref(), "material")?.into_iter().collect(),
            statuses: statuses.into_iter().map(Into::into).collect(),
            on_shelf,
            ends_by: ends_by.map(|day| day.0),
        };
        let (after, limit) = paging.seek()?;
        let page = ctx.house()?.lots_page(ctx.actor()?, &filter, after, limit).await?;
        Ok(stored_page("lots", &paging, page, LotTotal(filter), |lot| lot.id.0, Lot))
    }
}
