//! Suppliers.

use kernel::{Currency, ids::SupplierId};
use serde::{Deserialize, Serialize};

use crate::dates::Span;

/// Who sells a material.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Supplier {
    /// Identity.
    pub id: SupplierId,
    /// The house's short code.
    pub code: String,
    /// Name.
    pub name: String,
    /// ISO 3166 two-letter country.
    pub country: Option<String>,
    /// Currency of quotations that name none.
    pub currency: Currency,
    /// From order to delivery, unless a quotation says otherwise.
    pub lead_time: Option<Span>,
    /// Remarks.
    pub note: Option<String>,
}
