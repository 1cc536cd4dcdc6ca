//! Suppliers.

use std::sync::Arc;

use async_graphql::{Context, ID, Object};
use domain::text::code_key;

use crate::{
    caller::Desk,
    errors::Result,
    ids::global_id,
    materials::{holds, search_key},
    pages::{Listed, Paging, page_of},
    quotations::{Quotation, quotation_page},
    scalars::{CurrencyCode, Date, Span},
};

/// A supplier.
#[derive(Clone)]
pub struct Supplier(pub Arc<domain::suppliers::Supplier>);

/// Who sells materials.
#[Object]
impl Supplier {
    /// The global id.
    pub(crate) async fn id(&self) -> ID {
        global_id(self.0.id)
    }

    /// The house's short code.
    async fn code(&self) -> &str {
        &self.0.code
    }

    /// Name.
    async fn name(&self) -> &str {
        &self.0.name
    }

    /// Country, by its ISO 3166 two-letter code.
    async fn country(&self) -> Option<&str> {
        self.0.country.as_deref()
    }

    /// Currency of quotations that name none.
    async fn currency(&self) -> CurrencyCode {
        CurrencyCode(self.0.currency)
    }

    /// From order to delivery, unless a quotation says otherwise; null when nobody has entered it.
    async fn lead_time(&self) -> Option<Span> {
        self.0.lead_time.map(Span)
    }

    /// Remarks.
    async fn note(&self) -> Option<&str> {
        self.0.note.as_deref()
    }

    /// Its quotations, by first day and reference: past, present and to come.
    #[graphql(complexity = "crate::limits::page(first, last, child_complexity)")]
    async fn quotations(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only those valid on this day.")] valid_on: Option<Date>,
        #[graphql(desc = "Rows after this cursor.")] after: Option<String>,
        #[graphql(desc = "Rows before this cursor.")] before: Option<String>,
        #[graphql(desc = "At most so many rows from the front, 1 to 100; 20 when nothing is said.")]
        first: Option<i32>,
        #[graphql(desc = "At most so many rows from the back, 1 to 100.")] last: Option<i32>,
    ) -> Result<Listed<Quotation>> {
        let paging = Paging::read("quotations", after.as_deref(), before.as_deref(), first, last)?;
        let catalogue = ctx.catalogue()?;
        let rows = catalogue.quotations().iter().filter(|q| q.supplier == self.0.id);
        Ok(quotation_page(
            &paging,
            rows.filter(|q| valid_on.is_none_or(|day| crate::quotations::holds(&catalogue, q, day.0))),
        ))
    }
}

/// Suppliers.
#[derive(Default)]
pub struct SuppliersQuery;

/// Suppliers.
#[Object]
impl SuppliersQuery {
    /// The supplier of a code, letter case aside; null when there is none.
    async fn supplier(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The house's code.")] code: String,
    ) -> Result<Option<Supplier>> {
        Ok(ctx.catalogue()?.suppliers.by_code(&code).cloned().map(Supplier))
    }

    /// Suppliers, by code.
    #[graphql(complexity = "crate::limits::page(first, last, child_complexity)")]
    async fn suppliers(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only those with this text in code or name, letter case aside.")] search: Option<
            String,
        >,
        #[graphql(desc = "Rows after this cursor.")] after: Option<String>,
        #[graphql(desc = "Rows before this cursor.")] before: Option<String>,
        #[graphql(desc = "At most so many rows from the front, 1 to 100; 20 when nothing is said.")]
        first: Option<i32>,
        #[graphql(desc = "At most so many rows from the back, 1 to 100.")] last: Option<i32>,
    ) -> Result<Listed<Supplier>> {
        let paging = Paging::read("suppliers", after.as_deref(), before.as_deref(), first, last)?;
        let catalogue = ctx.catalogue()?;
        let search = search.as_deref().map(search_key);
        let rows: Vec<_> = catalogue
            .suppliers
            .iter()
            .filter(|s| search.as_deref().is_none_or(|text| holds(&s.code, text) || holds(&s.name, text)))
            .collect();
        Ok(page_of("suppliers", &paging, &rows, |s| code_key(&s.code), |s| Supplier(Arc::clone(s))))
    }
}

/// The supplier of some answer.
pub(crate) fn supplier_of(ctx: &Context<'_>, id: kernel::ids::SupplierId) -> Result<Supplier> {
    let found = ctx.catalogue()?.suppliers.get(id).cloned();
    found
        .map(Supplier)
        .ok_or_else(|| crate::errors::internal(format!("supplier {id} is not in the catalogue")))
}
