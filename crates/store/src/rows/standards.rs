//! Standard costs.

use domain::standards::Standard;
use kernel::{UnitPrice, ids::MaterialId};

use crate::{StoreError, codes::At};

super::table! {
    standard, "standard_costs" {
        #[sea_orm(primary_key, auto_increment = false)]
        material: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        frozen_on: NaiveDate,
        unit_cost: i64,
        currency: String,
        basis: String,
        explained: String,
    }
}

impl standard::Model {
    pub(crate) fn of(s: &Standard) -> Self {
        Self {
            material: s.material.0,
            frozen_on: s.frozen_on,
            unit_cost: s.unit_cost.scaled(),
            currency: s.unit_cost.currency().code().to_owned(),
            basis: s.basis.clone(),
            explained: s.explained.clone(),
        }
    }

    pub(crate) fn into_standard(self) -> Result<Standard, StoreError> {
        let at = At::new("standard_costs", &self.material);
        let currency = at.text("currency", &self.currency)?;
        Ok(Standard {
            material: MaterialId(self.material),
            frozen_on: self.frozen_on,
            unit_cost: UnitPrice::from_scaled(self.unit_cost, currency),
            basis: self.basis,
            explained: self.explained,
        })
    }
}
