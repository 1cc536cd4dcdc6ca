//! Suppliers.

use domain::{suppliers::Supplier, text::code_key};
use kernel::ids::SupplierId;

use crate::{StoreError, codes::At, rows::code};

super::table! {
    supplier, "suppliers" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        code: String,
        code_key: String,
        name: String,
        country: Option<String>,
        currency: String,
        lead_time: Option<String>,
        note: Option<String>,
    }
}

impl supplier::Model {
    pub(crate) fn of(s: &Supplier) -> Self {
        Self {
            id: s.id.0,
            code: s.code.clone(),
            code_key: code_key(&s.code),
            name: s.name.clone(),
            country: s.country.clone(),
            currency: code(s.currency),
            lead_time: s.lead_time.map(String::from),
            note: s.note.clone(),
        }
    }

    pub(crate) fn into_supplier(self) -> Result<Supplier, StoreError> {
        let id = self.id;
        let at = At::new("suppliers", &id);
        Ok(Supplier {
            id: SupplierId(id),
            currency: at.text("currency", &self.currency)?,
            lead_time: at.text_opt("lead_time", self.lead_time.as_deref())?,
            code: self.code,
            name: self.name,
            country: self.country,
            note: self.note,
        })
    }
}
