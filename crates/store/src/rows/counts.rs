//! Counts of the shelf, and the rules of counting.

use domain::counts::{Count, CountLine, Found, StockRule};
use kernel::{
    Percent, Quantity,
    ids::{CountId, LotId, MaterialId, MovementId},
};
use uuid::Uuid;

use crate::{
    StoreError,
    codes::{At, Word, dimension},
};

super::table! {
    /// A material without a row has the usual rule.
    stock_rule, "stock_rules" {
        #[sea_orm(primary_key, auto_increment = false)]
        material: Uuid,
        count_class: Option<String>,
        count_tolerance: Option<i64>,
        bounds_expiry: i64,
    }
}

super::table! {
    /// Its lines stand in a table of their own.
    count, "counts" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        number: String,
        number_key: String,
        blind: i64,
        status: String,
        opened_at: i64,
        opened_by: String,
        ended_at: Option<i64>,
        ended_by: Option<String>,
        reason: Option<String>,
    }
}

super::table! {
    /// Amounts are in the dimension beside them.
    count_line, "count_lines" {
        #[sea_orm(primary_key, auto_increment = false)]
        count: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        lot: Uuid,
        dimension: String,
        booked: i64,
        tolerance: i64,
        found: Option<i64>,
        found_booked: Option<i64>,
        found_at: Option<i64>,
        found_by: Option<String>,
        again: Option<i64>,
        again_booked: Option<i64>,
        again_at: Option<i64>,
        again_by: Option<String>,
        movement: Option<Uuid>,
    }
}

impl stock_rule::Model {
    pub(crate) fn of(r: &StockRule) -> Self {
        Self {
            material: r.material.0,
            count_class: r.count_class.map(|class| class.column_word().to_owned()),
            count_tolerance: r.count_tolerance.map(Percent::nano),
            bounds_expiry: i64::from(r.bounds_expiry),
        }
    }

    pub(crate) fn into_rule(self) -> Result<StockRule, StoreError> {
        let id = self.material;
        let at = At::new("stock_rules", &id);
        Ok(StockRule {
            material: MaterialId(id),
            count_class: at.word_opt("count_class", self.count_class.as_deref())?,
            count_tolerance: self.count_tolerance.map(Percent::from_nano),
            bounds_expiry: self.bounds_expiry != 0,
        })
    }
}

impl count::Model {
    pub(crate) fn of(c: &Count) -> Self {
        Self {
            id: c.id.0,
            number: c.number.clone(),
            number_key: domain::text::code_key(&c.number),
            blind: i64::from(c.blind),
            status: c.status.column_word().to_owned(),
            opened_at: c.opened_at.timestamp_micros(),
            opened_by: c.opened_by.clone(),
            ended_at: c.ended_at.map(|at| at.timestamp_micros()),
            ended_by: c.ended_by.clone(),
            reason: c.reason.clone(),
        }
    }

    pub(crate) fn into_count(self, lines: Vec<CountLine>) -> Result<Count, StoreError> {
        let id = self.id;
        let at = At::new("counts", &id);
        Ok(Count {
            id: CountId(id),
            blind: self.blind != 0,
            status: at.word("status", &self.status)?,
            opened_at: at.instant("opened_at", self.opened_at)?,
            ended_at: self.ended_at.map(|ended| at.instant("ended_at", ended)).transpose()?,
            number: self.number,
            opened_by: self.opened_by,
            ended_by: self.ended_by,
            reason: self.reason,
            lines,
        })
    }
}

impl count_line::Model {
    pub(crate) fn of(count: CountId, l: &CountLine) -> Self {
        let (found, again) = (l.found.as_ref(), l.again.as_ref());
        Self {
            count: count.0,
            lot: l.lot.0,
            dimension: dimension(l.booked),
            booked: l.booked.raw(),
            tolerance: l.tolerance.nano(),
            found: found.map(|f| f.quantity.raw()),
            found_booked: found.map(|f| f.booked.raw()),
            found_at: found.map(|f| f.at.timestamp_micros()),
            found_by: found.map(|f| f.by.clone()),
            again: again.map(|f| f.quantity.raw()),
            again_booked: again.map(|f| f.booked.raw()),
            again_at: again.map(|f| f.at.timestamp_micros()),
            again_by: again.map(|f| f.by.clone()),
            movement: l.movement.map(|id| id.0),
        }
    }

    pub(crate) fn into_line(self) -> Result<CountLine, StoreError> {
        let id: Uuid = self.count;
        let at = At::new("count_lines", &id);
        let dimension = at.word("dimension", &self.dimension)?;
        let quantity = |raw| Quantity::from_raw(raw, dimension);
        let read = |amount, booked, when, by: Option<String>| match (amount, booked, when, by) {
            (Some(amount), Some(booked), Some(when), Some(by)) => Ok(Some(Found {
                quantity: quantity(amount),
                booked: quantity(booked),
                at: at.instant("found_at", when)?,
                by,
            })),
            (None, None, None, None) => Ok(None),
            _ => Err(at.corrupt("found", "what was found lacks who or when")),
        };
        Ok(CountLine {
            lot: LotId(self.lot),
            booked: quantity(self.booked),
            tolerance: Percent::from_nano(self.tolerance),
            found: read(self.found, self.found_booked, self.found_at, self.found_by)?,
            again: read(self.again, self.again_booked, self.again_at, self.again_by)?,
            movement: self.movement.map(MovementId),
        })
    }
}
