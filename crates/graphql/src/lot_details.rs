//! What is known of a lot beyond its balances: how it stands, its containers, its certificate of analysis, its documents; and the
//! places lots stand in.

use app::ContainerNow;
use async_graphql::{Context, Enum, Object, SimpleObject};
use domain::{
    locations::Location as PlaceRow,
    lots::papers::{Finding, LotDocument as DocumentRow, LotResult as ResultRow},
};

use kernel::limits::PAGE_ROWS_MAX;

use crate::{
    amounts::{Quantity, kg},
    caller::Desk,
    errors::Result,
    lots::Lot,
    scalars::{Date, DateTime, Decimal},
};

/// How a lot stands on a day: what was decided about it, and what follows from its dates and from what is left of it.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "domain::lots::LotStanding")]
pub enum LotStanding {
    /// Ordered, and not there yet.
    Ordered,
    /// Received or made, not yet examined.
    Quarantine,
    /// May be used.
    Released,
    /// May be used for some products only, or until a day.
    ReleasedWithRestriction,
    /// Set aside until a question is answered.
    OnHold,
    /// Never to be used.
    Rejected,
    /// Past its expiry date.
    Expired,
    /// Past its retest date: to be examined again before use.
    RetestDue,
    /// Nothing is left of it.
    Exhausted,
    /// The last of it went back to its supplier.
    Returned,
    /// The last of it was disposed of.
    Disposed,
}

/// Whose a lot is.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq, Default)]
#[graphql(remote = "domain::lots::Ownership")]
pub enum Ownership {
    /// The house's own.
    #[default]
    House,
    /// A customer's, for that customer's products alone. It is worth nothing to the house.
    Customer,
    /// The supplier's until it is used. It is worth nothing to the house before.
    Consignment,
}

/// How a container stands, apart from its lot.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "domain::lots::containers::ContainerState")]
pub enum ContainerState {
    /// It stands as its lot does.
    WithLot,
    /// Set aside, while its lot is not.
    OnHold,
    /// Never to be used, while its lot may be.
    Rejected,
    /// Emptied.
    Emptied,
}

/// One container of a lot.
pub struct Container(pub ContainerNow);

/// One container of a lot: a drum, can or sack with its own weights and state.
#[Object]
impl Container {
    /// Which one of its lot, from 1.
    async fn position(&self) -> u32 {
        self.0.container.position
    }

    /// Of how many that came together.
    async fn of(&self) -> u32 {
        self.0.container.of
    }

    /// What it is: drum, can, sack.
    async fn kind(&self) -> Option<&str> {
        self.0.container.kind.as_deref()
    }

    /// Weighed with what is in it, kg.
    async fn gross_kg(&self) -> Option<Decimal> {
        self.0.container.gross.map(kg)
    }

    /// Weighed, or marked on it, without, kg.
    async fn tare_kg(&self) -> Option<Decimal> {
        self.0.container.tare.map(kg)
    }

    /// What came in it.
    async fn net(&self) -> Quantity {
        Quantity(self.0.container.net)
    }

    /// What is in it now, by what came in it and the movements that name it.
    async fn remaining(&self) -> Quantity {
        Quantity(self.0.remaining)
    }

    /// The day it was opened.
    async fn opened_on(&self) -> Option<Date> {
        self.0.container.opened_on.map(Date)
    }

    /// How it stands.
    async fn state(&self) -> ContainerState {
        self.0.container.state.into()
    }

    /// Where it stands, when not with its lot.
    async fn location(&self) -> Option<&str> {
        self.0.container.location.as_deref()
    }

    /// Remarks.
    async fn note(&self) -> Option<&str> {
        self.0.container.note.as_deref()
    }
}

/// One result of a certificate of analysis.
pub struct LotResult(pub ResultRow);

/// One result of a certificate of analysis: a figure with its unit, or words.
#[Object]
impl LotResult {
    /// What was examined.
    async fn name(&self) -> &str {
        &self.0.name
    }

    /// How.
    async fn method(&self) -> Option<&str> {
        self.0.method.as_deref()
    }

    /// The figure found; null where words were given.
    async fn figure(&self) -> Option<Decimal> {
        match self.0.found {
            Finding::Figure(figure) => Some(Decimal(figure)),
            Finding::Words(_) => None,
        }
    }

    /// The words given; null where there is a figure.
    async fn words(&self) -> Option<&str> {
        match &self.0.found {
            Finding::Figure(_) => None,
            Finding::Words(words) => Some(words),
        }
    }

    /// The unit of the figure and of its limits.
    async fn unit(&self) -> Option<&str> {
        self.0.unit.as_deref()
    }

    /// The least the specification allows.
    async fn least(&self) -> Option<Decimal> {
        self.0.least.map(Decimal)
    }

    /// The most the specification allows.
    async fn most(&self) -> Option<Decimal> {
        self.0.most.map(Decimal)
    }

    /// Whether the figure lies within the limits; null where there is no figure or no limit.
    async fn within(&self) -> Option<bool> {
        self.0.within()
    }
}

/// What a document is.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "domain::lots::papers::DocumentKind")]
pub enum DocumentKind {
    /// A supplier's certificate of analysis.
    CertificateOfAnalysis,
    /// A delivery note.
    DeliveryNote,
    /// A safety data sheet.
    SafetyDataSheet,
    /// A photograph, of damage for instance.
    Photograph,
    /// Anything else.
    Other,
}

/// A document kept elsewhere.
#[derive(SimpleObject)]
pub struct LotDocument {
    /// What it is.
    pub kind: DocumentKind,
    /// Where it lies.
    pub link: String,
    /// Its SHA-256 in hexadecimal digits, which tells whether it is still the same.
    pub sha256: String,
    /// When it was added.
    pub added_at: DateTime,
    /// By whom.
    pub added_by: String,
}

impl From<DocumentRow> for LotDocument {
    fn from(row: DocumentRow) -> Self {
        Self {
            kind: row.kind.into(),
            link: row.link,
            sha256: row.sha256,
            added_at: DateTime(row.added_at),
            added_by: row.added_by,
        }
    }
}

/// A place where lots stand.
#[derive(SimpleObject)]
pub struct Location {
    /// Its short code.
    pub code: String,
    /// What it is called.
    pub name: String,
    /// Remarks.
    pub note: Option<String>,
}

impl From<PlaceRow> for Location {
    fn from(row: PlaceRow) -> Self {
        Self { code: row.code, name: row.name, note: row.note }
    }
}

/// Lots by what is typed, what is on order, and places.
#[derive(Default)]
pub struct LotDetailsQuery;

/// Lots by what is typed, what is on order, and places.
#[Object]
impl LotDetailsQuery {
    /// Lots whose number, or whose supplier's number, somebody typed. Case, spaces, hyphens, leading noughts and an O for a nought are
    /// forgiven; where none is meant, lots that hold the text as a part. Newest first.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn lots_sought(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What stands on the label, as somebody read it.")] text: String,
    ) -> Result<Vec<Lot>> {
        let lots = ctx.house()?.lots_sought(ctx.actor()?, &text, PAGE_ROWS_MAX).await?;
        Ok(lots.into_iter().map(Lot).collect())
    }

    /// Lots that are ordered and have not come in, in the order they were entered.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn lots_ordered(&self, ctx: &Context<'_>) -> Result<Vec<Lot>> {
        Ok(ctx.house()?.lots_ordered(ctx.actor()?).await?.into_iter().map(Lot).collect())
    }

    /// The places lots stand in, by code.
    async fn locations(&self, ctx: &Context<'_>) -> Result<Vec<Location>> {
        Ok(ctx.house()?.locations(ctx.actor()?).await?.into_iter().map(Location::from).collect())
    }
}
