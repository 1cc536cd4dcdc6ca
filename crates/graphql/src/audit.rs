//! The audit trail.

use app::lists::{AuditEntry as Row, AuditFilter};
use async_graphql::{
    Context, ID, Object,
    connection::{Connection, EmptyFields},
};
use uuid::Uuid;

use crate::{
    caller::Desk,
    errors::Result,
    ids::{decode, encode, global_id},
    pages::{Cursor, Paging, stored_page},
    scalars::{DateTime, Json},
};

/// An entry of the audit trail.
pub struct AuditEntry(Row);

/// Who changed what, when, before and after. Entries are only ever added.
#[Object]
impl AuditEntry {
    /// The global id.
    pub(crate) async fn id(&self) -> ID {
        global_id(self.0.id)
    }

    /// When.
    async fn at(&self) -> DateTime {
        DateTime(self.0.at)
    }

    /// Who.
    async fn by(&self) -> &str {
        &self.0.actor
    }

    /// What was done: "lot-receive", "ticket-weigh".
    async fn operation(&self) -> &str {
        &self.0.operation
    }

    /// What kind of thing was changed: "lot", "ticket", "formula version".
    async fn subject_kind(&self) -> &str {
        &self.0.subject_kind
    }

    /// Which of them, as the trail keeps it.
    async fn subject(&self) -> &str {
        &self.0.subject
    }

    /// The global id of that thing; null where it has none.
    async fn subject_id(&self) -> Option<ID> {
        let kind = match self.0.subject_kind.as_str() {
            "material" => "Material",
            "supplier" => "Supplier",
            "quotation" => "Quotation",
            "exchange rate" => "ExchangeRate",
            "formula" => "Formula",
            "formula version" => "FormulaVersion",
            "pack" => "Pack",
            "lot" => "Lot",
            "movement" => "Movement",
            "ticket" => "Ticket",
            _ => return None,
        };
        Uuid::try_parse(&self.0.subject).ok().map(|id| encode(kind, id))
    }

    /// What it was; null for something new.
    async fn before(&self) -> Option<Json> {
        self.0.before.clone().map(Json)
    }

    /// What it became.
    async fn after(&self) -> Option<Json> {
        self.0.after.clone().map(Json)
    }

    /// Why, where a reason was given.
    async fn reason(&self) -> Option<&str> {
        self.0.reason.as_deref()
    }

    /// The request key it was done under.
    async fn request_key(&self) -> Option<&str> {
        self.0.request_key.as_deref()
    }
}

/// The audit trail.
#[derive(Default)]
pub struct AuditQuery;

/// The audit trail.
#[Object]
impl AuditQuery {
    /// The audit trail, newest first. Takes the right to administer.
    #[graphql(complexity = "crate::limits::page(first, None, child_complexity)")]
    async fn audit_entries(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only of this kind of thing: \"lot\", \"ticket\".")] subject_kind: Option<String>,
        #[graphql(desc = "Only of this thing, by global id or as the trail keeps it.")] subject: Option<ID>,
        #[graphql(desc = "Only by this person or programme.")] by: Option<String>,
        #[graphql(desc = "Rows after this cursor.")] after: Option<String>,
        #[graphql(desc = "At most so many rows, 1 to 100; 20 when nothing is said.")] first: Option<i32>,
    ) -> Result<Connection<Cursor, AuditEntry, EmptyFields>> {
        let paging = Paging::forward("auditEntries", after.as_deref(), first)?;
        let subject = subject
            .map(|subject| decode(&subject).map_or_else(|| subject.to_string(), |(_, id)| id.to_string()));
        let filter = AuditFilter { subject_kind, subject, actor: by };
        let (after, limit) = paging.seek()?;
        let page = ctx.house()?.audit_page(ctx.actor()?, &filter, after, limit).await?;
        Ok(stored_page("auditEntries", &paging, page, EmptyFields, |entry| entry.id.0, AuditEntry))
    }
}
