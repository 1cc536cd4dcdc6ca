//! Balances, and approved alternates.

use domain::{alternates::Alternate, balances::Balance, text::code_key};
use kernel::{
    Mass,
    ids::{BalanceId, FormulaId, MaterialId},
};

use crate::{
    StoreError,
    codes::{At, to_text},
};

super::table! {
    balance, "balances" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        code: String,
        code_key: String,
        name: String,
        division: i64,
        capacity: i64,
        smallest_net: Option<i64>,
        calibration_due: Option<NaiveDate>,
        note: Option<String>,
    }
}

super::table! {
    alternate, "alternates" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        material: Uuid,
        alternate: Uuid,
        formula: Option<Uuid>,
        factor: String,
        changes_label: i64,
        valid_until: Option<NaiveDate>,
        evidence: Option<String>,
        approved_by: String,
        approved_at: i64,
    }
}

impl balance::Model {
    pub(crate) fn of(b: &Balance) -> Self {
        Self {
            id: b.id.0,
            code: b.code.clone(),
            code_key: code_key(&b.code),
            name: b.name.clone(),
            division: b.division.micrograms(),
            capacity: b.capacity.micrograms(),
            smallest_net: b.smallest_net.map(Mass::micrograms),
            calibration_due: b.calibration_due,
            note: b.note.clone(),
        }
    }

    pub(crate) fn into_balance(self) -> Balance {
        Balance {
            id: BalanceId(self.id),
            code: self.code,
            name: self.name,
            division: Mass::from_micrograms(self.division),
            capacity: Mass::from_micrograms(self.capacity),
            smallest_net: self.smallest_net.map(Mass::from_micrograms),
            calibration_due: self.calibration_due,
            note: self.note,
        }
    }
}

impl alternate::Model {
    pub(crate) fn of(a: &Alternate) -> Self {
        Self {
            id: uuid::Uuid::now_v7(),
            material: a.material.0,
            alternate: a.alternate.0,
            formula: a.formula.map(|id| id.0),
            factor: to_text(a.factor),
            changes_label: i64::from(a.changes_label),
            valid_until: a.valid_until,
            evidence: a.evidence.clone(),
            approved_by: a.approved_by.clone(),
            approved_at: a.approved_at.timestamp_micros(),
        }
    }

    pub(crate) fn into_alternate(self) -> Result<Alternate, StoreError> {
        let at = At::new("alternates", &self.id);
        Ok(Alternate {
            material: MaterialId(self.material),
            alternate: MaterialId(self.alternate),
            formula: self.formula.map(FormulaId),
            factor: at.decimal("factor", &self.factor)?,
            changes_label: self.changes_label != 0,
            valid_until: self.valid_until,
            approved_at: at.instant("approved_at", self.approved_at)?,
            evidence: self.evidence,
            approved_by: self.approved_by,
        })
    }
}
