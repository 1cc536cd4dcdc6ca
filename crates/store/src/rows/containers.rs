//! Containers of lots, and what came with lots on paper.

use domain::lots::{
    containers::Container,
    papers::{Finding, LotDocument, LotResult},
};
use kernel::{
    Dimension, Mass, Quantity,
    ids::{ContainerId, LotId},
};

use crate::{
    StoreError,
    codes::{At, Word, to_text},
};

super::table! {
    /// `net` is in the dimension of its lot.
    container, "containers" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        lot: Uuid,
        position: i64,
        of_count: i64,
        kind: Option<String>,
        gross: Option<i64>,
        tare: Option<i64>,
        net: i64,
        opened_on: Option<NaiveDate>,
        state: String,
        location: Option<String>,
        note: Option<String>,
    }
}

super::table! {
    /// One of figure and words is filled.
    lot_result, "lot_results" {
        #[sea_orm(primary_key, auto_increment = false)]
        lot: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        position: i64,
        name: String,
        method: Option<String>,
        figure: Option<String>,
        words: Option<String>,
        unit: Option<String>,
        least: Option<String>,
        most: Option<String>,
    }
}

super::table! {
    /// Only ever added to.
    lot_document, "lot_documents" {
        #[sea_orm(primary_key, auto_increment = false)]
        lot: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        position: i64,
        kind: String,
        link: String,
        sha256: String,
        added_at: i64,
        added_by: String,
    }
}

impl container::Model {
    pub(crate) fn of(c: &Container) -> Self {
        Self {
            id: c.id.0,
            lot: c.lot.0,
            position: i64::from(c.position),
            of_count: i64::from(c.of),
            kind: c.kind.clone(),
            gross: c.gross.map(Mass::micrograms),
            tare: c.tare.map(Mass::micrograms),
            net: c.net.raw(),
            opened_on: c.opened_on,
            state: c.state.column_word().to_owned(),
            location: c.location.clone(),
            note: c.note.clone(),
        }
    }

    pub(crate) fn into_container(self, dimension: Dimension) -> Result<Container, StoreError> {
        let id = self.id;
        let at = At::new("containers", &id);
        let number = |column, value: i64| u32::try_from(value).map_err(|e| at.corrupt(column, e));
        Ok(Container {
            id: ContainerId(id),
            lot: LotId(self.lot),
            position: number("position", self.position)?,
            of: number("of_count", self.of_count)?,
            kind: self.kind,
            gross: self.gross.map(Mass::from_micrograms),
            tare: self.tare.map(Mass::from_micrograms),
            net: Quantity::from_raw(self.net, dimension),
            opened_on: self.opened_on,
            state: at.word("state", &self.state)?,
            location: self.location,
            note: self.note,
        })
    }
}

impl lot_result::Model {
    pub(crate) fn of(lot: LotId, position: i64, r: &LotResult) -> Self {
        let (figure, words) = match &r.found {
            Finding::Figure(figure) => (Some(to_text(*figure)), None),
            Finding::Words(words) => (None, Some(words.clone())),
        };
        Self {
            lot: lot.0,
            position,
            name: r.name.clone(),
            method: r.method.clone(),
            figure,
            words,
            unit: r.unit.clone(),
            least: r.least.map(to_text),
            most: r.most.map(to_text),
        }
    }

    pub(crate) fn into_result(self) -> Result<LotResult, StoreError> {
        let id = self.lot;
        let at = At::new("lot_results", &id);
        let found = match (at.decimal_opt("figure", self.figure.as_deref())?, self.words) {
            (Some(figure), None) => Finding::Figure(figure),
            (None, Some(words)) => Finding::Words(words),
            _ => return Err(at.corrupt("figure", "a result is a figure or words")),
        };
        Ok(LotResult {
            name: self.name,
            method: self.method,
            found,
            unit: self.unit,
            least: at.decimal_opt("least", self.least.as_deref())?,
            most: at.decimal_opt("most", self.most.as_deref())?,
        })
    }
}

impl lot_document::Model {
    pub(crate) fn of(position: i64, d: &LotDocument) -> Self {
        Self {
            lot: d.lot.0,
            position,
            kind: d.kind.column_word().to_owned(),
            link: d.link.clone(),
            sha256: d.sha256.clone(),
            added_at: d.added_at.timestamp_micros(),
            added_by: d.added_by.clone(),
        }
    }

    pub(crate) fn into_document(self) -> Result<LotDocument, StoreError> {
        let id = self.lot;
        let at = At::new("lot_documents", &id);
        Ok(LotDocument {
            lot: LotId(id),
            kind: at.word("kind", &self.kind)?,
            link: self.link,
            sha256: self.sha256,
            added_at: at.instant("added_at", self.added_at)?,
            added_by: self.added_by,
        })
    }
}
