//! The end of a batch: checks and their limits, losses by name, fillings in full, and the account of it all.

use domain::finishing::{BatchCheck, CheckLimit, ComponentUse, FillingRecord, Lost};
use kernel::{
    Count, Mass,
    ids::{BatchCheckId, FormulaId, MaterialId, TicketId},
};

use crate::{
    StoreError,
    codes::{At, Word, to_text},
};

super::table! {
    check_limit, "check_limits" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        formula: Uuid,
        name: String,
        lower_limit: Option<String>,
        upper_limit: Option<String>,
        unit: Option<String>,
        method: Option<String>,
        asked: i64,
        approved_by: String,
        approved_at: i64,
    }
}

super::table! {
    batch_check, "batch_checks" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        ticket: Uuid,
        name: String,
        figure: Option<String>,
        words: Option<String>,
        passed: i64,
        lower_limit: Option<String>,
        upper_limit: Option<String>,
        unit: Option<String>,
        instrument: Option<String>,
        accepted: Option<String>,
        entered_by: String,
        entered_at: i64,
    }
}

super::table! {
    loss, "ticket_losses" {
        #[sea_orm(primary_key, auto_increment = false)]
        ticket: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        position: i64,
        stage: String,
        bucket: String,
        amount: i64,
        entered_by: String,
        entered_at: i64,
    }
}

super::table! {
    filling_record, "filling_records" {
        #[sea_orm(primary_key, auto_increment = false)]
        ticket: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        position: i64,
        drawn: i64,
        rejected: i64,
        day: NaiveDate,
        entered_by: String,
        entered_at: i64,
    }
}

super::table! {
    filling_component, "filling_components" {
        #[sea_orm(primary_key, auto_increment = false)]
        ticket: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        position: i64,
        #[sea_orm(primary_key, auto_increment = false)]
        material: Uuid,
        issued: Option<i64>,
        used: i64,
        spoiled: i64,
        returned: i64,
    }
}

super::table! {
    reconciliation, "reconciliations" {
        #[sea_orm(primary_key, auto_increment = false)]
        ticket: Uuid,
        charged: i64,
        bulk: i64,
        filled: i64,
        left_over: i64,
        reason: Option<String>,
        entered_by: String,
        entered_at: i64,
    }
}

impl check_limit::Model {
    pub(crate) fn of(limit: &CheckLimit) -> Self {
        Self {
            id: uuid::Uuid::now_v7(),
            formula: limit.formula.0,
            name: limit.name.clone(),
            lower_limit: limit.lower.map(to_text),
            upper_limit: limit.upper.map(to_text),
            unit: limit.unit.clone(),
            method: limit.method.clone(),
            asked: i64::from(limit.asked),
            approved_by: limit.approved_by.clone(),
            approved_at: limit.approved_at.timestamp_micros(),
        }
    }

    pub(crate) fn into_limit(self) -> Result<CheckLimit, StoreError> {
        let at = At::new("check_limits", &self.id);
        Ok(CheckLimit {
            formula: FormulaId(self.formula),
            lower: at.decimal_opt("lower_limit", self.lower_limit.as_deref())?,
            upper: at.decimal_opt("upper_limit", self.upper_limit.as_deref())?,
            asked: self.asked != 0,
            approved_at: at.instant("approved_at", self.approved_at)?,
            name: self.name,
            unit: self.unit,
            method: self.method,
            approved_by: self.approved_by,
        })
    }
}

impl batch_check::Model {
    pub(crate) fn of(check: &BatchCheck) -> Self {
        Self {
            id: check.id.0,
            ticket: check.ticket.0,
            name: check.name.clone(),
            figure: check.figure.map(to_text),
            words: check.words.clone(),
            passed: i64::from(check.passed),
            lower_limit: check.lower.map(to_text),
            upper_limit: check.upper.map(to_text),
            unit: check.unit.clone(),
            instrument: check.instrument.clone(),
            accepted: check.accepted.clone(),
            entered_by: check.by.clone(),
            entered_at: check.at.timestamp_micros(),
        }
    }

    pub(crate) fn into_check(self) -> Result<BatchCheck, StoreError> {
        let at = At::new("batch_checks", &self.id);
        Ok(BatchCheck {
            id: BatchCheckId(self.id),
            ticket: TicketId(self.ticket),
            figure: at.decimal_opt("figure", self.figure.as_deref())?,
            passed: self.passed != 0,
            lower: at.decimal_opt("lower_limit", self.lower_limit.as_deref())?,
            upper: at.decimal_opt("upper_limit", self.upper_limit.as_deref())?,
            at: at.instant("entered_at", self.entered_at)?,
            name: self.name,
            words: self.words,
            unit: self.unit,
            instrument: self.instrument,
            accepted: self.accepted,
            by: self.entered_by,
        })
    }
}

impl loss::Model {
    pub(crate) fn of(ticket: TicketId, position: i64, lost: &Lost) -> Self {
        Self {
            ticket: ticket.0,
            position,
            stage: lost.stage.column_word().to_owned(),
            bucket: lost.bucket.column_word().to_owned(),
            amount: lost.amount.micrograms(),
            entered_by: lost.by.clone(),
            entered_at: lost.at.timestamp_micros(),
        }
    }

    pub(crate) fn into_lost(self) -> Result<Lost, StoreError> {
        let at = At::new("ticket_losses", &self.ticket);
        Ok(Lost {
            stage: at.word("stage", &self.stage)?,
            bucket: at.word("bucket", &self.bucket)?,
            amount: Mass::from_micrograms(self.amount),
            at: at.instant("entered_at", self.entered_at)?,
            by: self.entered_by,
        })
    }
}

impl filling_record::Model {
    pub(crate) fn of(ticket: TicketId, record: &FillingRecord) -> Self {
        Self {
            ticket: ticket.0,
            position: i64::from(record.position),
            drawn: record.drawn.micrograms(),
            rejected: record.rejected.thousandths(),
            day: record.on,
            entered_by: record.by.clone(),
            entered_at: record.at.timestamp_micros(),
        }
    }

    pub(crate) fn into_record(self, components: Vec<ComponentUse>) -> Result<FillingRecord, StoreError> {
        let at = At::new("filling_records", &self.ticket);
        Ok(FillingRecord {
            position: at.whole("position", self.position)?,
            drawn: Mass::from_micrograms(self.drawn),
            rejected: Count::from_thousandths(self.rejected),
            on: self.day,
            at: at.instant("entered_at", self.entered_at)?,
            by: self.entered_by,
            components,
        })
    }
}

impl filling_component::Model {
    pub(crate) fn of(ticket: TicketId, position: u32, used: &ComponentUse) -> Self {
        Self {
            ticket: ticket.0,
            position: i64::from(position),
            material: used.material.0,
            issued: used.issued.map(Count::thousandths),
            used: used.used.thousandths(),
            spoiled: used.spoiled.thousandths(),
            returned: used.returned.thousandths(),
        }
    }

    pub(crate) fn into_use(self) -> ComponentUse {
        ComponentUse {
            material: MaterialId(self.material),
            issued: self.issued.map(Count::from_thousandths),
            used: Count::from_thousandths(self.used),
            spoiled: Count::from_thousandths(self.spoiled),
            returned: Count::from_thousandths(self.returned),
        }
    }
}
