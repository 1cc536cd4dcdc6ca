//! Tickets with all that hangs on them.

use domain::{
    text::code_key,
    tickets::{
        Allocation, Completion, Filling, LineAsks, Pause, Step, Ticket, TicketLine, WeighedHow, Weighing,
    },
};
use kernel::{
    Count, Density, Mass, Percent,
    ids::{
        BalanceId, FormulaId, FormulaVersionId, LotId, MaterialId, MovementId, PackId, TicketId,
        TicketLineId, WeighingId,
    },
};

use crate::{
    StoreError,
    codes::{At, Word, dimension},
};

super::table! {
    ticket, "tickets" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        number: String,
        number_key: String,
        formula: Uuid,
        version: Uuid,
        pack: Option<Uuid>,
        units: Option<i64>,
        batch: i64,
        planned_for: NaiveDate,
        status: String,
        written_by: String,
        written_at: i64,
        note: Option<String>,
        planned_batch: Option<i64>,
        paused_by: Option<String>,
        paused_at: Option<i64>,
        paused_reason: Option<String>,
    }
}

super::table! {
    step, "ticket_steps" {
        #[sea_orm(primary_key, auto_increment = false)]
        ticket: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        position: i64,
        status_from: String,
        status_to: String,
        entered_by: String,
        entered_at: i64,
        note: Option<String>,
    }
}

super::table! {
    line, "ticket_lines" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        ticket: Uuid,
        position: i64,
        phase: Option<String>,
        material: Uuid,
        target: i64,
        tolerance: Option<i64>,
        instruction: Option<String>,
        fills_up: i64,
        nominal_active: Option<i64>,
        balance: Option<Uuid>,
        second_check: i64,
        rework_of: Option<Uuid>,
    }
}

super::table! {
    allocation, "allocations" {
        ticket: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        line: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        lot: Uuid,
        position: i64,
        dimension: String,
        quantity: i64,
    }
}

super::table! {
    weighing, "weighings" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        ticket: Uuid,
        line: Uuid,
        lot: Option<Uuid>,
        amount: i64,
        weighed_by: String,
        weighed_at: i64,
        checked_by: Option<String>,
        movement: Option<Uuid>,
        reversed: Option<String>,
        gross: Option<i64>,
        tare: Option<i64>,
        balance: Option<Uuid>,
        done_at: Option<i64>,
        reason: Option<String>,
        counts_as: Option<i64>,
        result_before: Option<String>,
        result_after: Option<String>,
        mixed_minutes: Option<i64>,
        checked_at: Option<i64>,
        outcome: Option<String>,
    }
}

super::table! {
    completion, "completions" {
        #[sea_orm(primary_key, auto_increment = false)]
        ticket: Uuid,
        yield_mass: i64,
        lot: Uuid,
        density: Option<i64>,
        completed_by: String,
        completed_at: i64,
        day: NaiveDate,
        note: Option<String>,
    }
}

super::table! {
    filling, "fillings" {
        #[sea_orm(primary_key, auto_increment = false)]
        ticket: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        position: i64,
        pack: Uuid,
        filled: i64,
        lot: Uuid,
    }
}

/// What hangs on a ticket, in the order it is shown.
#[derive(Debug, Default)]
pub(crate) struct Parts {
    pub(crate) lines: Vec<line::Model>,
    pub(crate) allocations: Vec<allocation::Model>,
    pub(crate) weighings: Vec<weighing::Model>,
    pub(crate) completion: Option<completion::Model>,
    pub(crate) fillings: Vec<filling::Model>,
    pub(crate) steps: Vec<step::Model>,
}

impl ticket::Model {
    pub(crate) fn of(t: &Ticket) -> Self {
        Self {
            id: t.id.0,
            number: t.number.clone(),
            number_key: code_key(&t.number),
            formula: t.formula.0,
            version: t.version.0,
            pack: t.pack.map(|id| id.0),
            units: t.units.map(Count::thousandths),
            batch: t.batch.micrograms(),
            planned_for: t.planned_for,
            status: t.status.column_word().to_owned(),
            written_by: t.written_by.clone(),
            written_at: t.written_at.timestamp_micros(),
            note: t.note.clone(),
            planned_batch: t.planned_batch.map(Mass::micrograms),
            paused_by: t.paused.as_ref().map(|pause| pause.by.clone()),
            paused_at: t.paused.as_ref().map(|pause| pause.at.timestamp_micros()),
            paused_reason: t.paused.as_ref().map(|pause| pause.reason.clone()),
        }
    }

    pub(crate) fn into_ticket(self, parts: Parts) -> Result<Ticket, StoreError> {
        let id = self.id;
        let at = At::new("tickets", &id);
        let line = |row: line::Model| -> Result<TicketLine, StoreError> {
            Ok(TicketLine {
                id: TicketLineId(row.id),
                position: at.whole("lines: position", row.position)?,
                phase: row.phase,
                material: MaterialId(row.material),
                target: Mass::from_micrograms(row.target),
                tolerance: row.tolerance.map(Percent::from_nano),
                instruction: row.instruction,
                asks: LineAsks {
                    fills_up: row.fills_up != 0,
                    nominal_active: row.nominal_active.map(Percent::from_nano),
                    balance: row.balance.map(BalanceId),
                    second_check: row.second_check != 0,
                    rework_of: row.rework_of.map(LotId),
                },
            })
        };
        let allocation = |row: allocation::Model| -> Result<Allocation, StoreError> {
            Ok(Allocation {
                line: TicketLineId(row.line),
                lot: LotId(row.lot),
                quantity: at.quantity("allocations: quantity", row.quantity, &row.dimension)?,
            })
        };
        let weighing = |row: weighing::Model| -> Result<Weighing, StoreError> {
            Ok(Weighing {
                id: WeighingId(row.id),
                line: TicketLineId(row.line),
                lot: row.lot.map(LotId),
                amount: Mass::from_micrograms(row.amount),
                by: row.weighed_by,
                at: at.instant("weighings: weighed_at", row.weighed_at)?,
                checked_by: row.checked_by,
                movement: row.movement.map(MovementId),
                reversed: row.reversed,
                how: WeighedHow {
                    gross: row.gross.map(Mass::from_micrograms),
                    tare: row.tare.map(Mass::from_micrograms),
                    balance: row.balance.map(BalanceId),
                    done_at: at.instant_opt("weighings: done_at", row.done_at)?,
                    reason: row.reason,
                    counts_as: row.counts_as.map(Mass::from_micrograms),
                    result_before: row.result_before,
                    result_after: row.result_after,
                    mixed_minutes: row
                        .mixed_minutes
                        .map(|minutes| at.whole("weighings: mixed_minutes", minutes))
                        .transpose()?,
                    checked_at: at.instant_opt("weighings: checked_at", row.checked_at)?,
                    outcome: at.word_opt("weighings: outcome", row.outcome.as_deref())?,
                },
            })
        };
        let step = |row: step::Model| -> Result<Step, StoreError> {
            Ok(Step {
                from: at.word("steps: status_from", &row.status_from)?,
                to: at.word("steps: status_to", &row.status_to)?,
                by: row.entered_by,
                at: at.instant("steps: entered_at", row.entered_at)?,
                note: row.note,
            })
        };
        let paused = match (self.paused_by, self.paused_at, self.paused_reason) {
            (Some(by), Some(since), Some(reason)) => {
                Some(Pause { by, at: at.instant("paused_at", since)?, reason })
            }
            _ => None,
        };
        let filling = |row: filling::Model| Filling {
            pack: PackId(row.pack),
            filled: Count::from_thousandths(row.filled),
            lot: LotId(row.lot),
        };
        let completion = match parts.completion {
            None => None,
            Some(row) => Some(Completion {
                yield_mass: Mass::from_micrograms(row.yield_mass),
                lot: LotId(row.lot),
                density: row.density.map(Density::from_nano),
                fillings: parts.fillings.into_iter().map(filling).collect(),
                by: row.completed_by,
                at: at.instant("completion: completed_at", row.completed_at)?,
                on: row.day,
                note: row.note,
            }),
        };
        Ok(Ticket {
            id: TicketId(id),
            formula: FormulaId(self.formula),
            version: FormulaVersionId(self.version),
            pack: self.pack.map(PackId),
            units: self.units.map(Count::from_thousandths),
            batch: Mass::from_micrograms(self.batch),
            planned_for: self.planned_for,
            status: at.word("status", &self.status)?,
            lines: parts.lines.into_iter().map(line).collect::<Result<_, _>>()?,
            allocations: parts.allocations.into_iter().map(allocation).collect::<Result<_, _>>()?,
            weighings: parts.weighings.into_iter().map(weighing).collect::<Result<_, _>>()?,
            completion,
            written_at: at.instant("written_at", self.written_at)?,
            number: self.number,
            written_by: self.written_by,
            note: self.note,
            paused,
            planned_batch: self.planned_batch.map(Mass::from_micrograms),
            steps: parts.steps.into_iter().map(step).collect::<Result<_, _>>()?,
        })
    }
}

impl line::Model {
    pub(crate) fn all_of(t: &Ticket) -> Vec<Self> {
        let row = |line: &TicketLine| Self {
            id: line.id.0,
            ticket: t.id.0,
            position: i64::from(line.position),
            phase: line.phase.clone(),
            material: line.material.0,
            target: line.target.micrograms(),
            tolerance: line.tolerance.map(Percent::nano),
            instruction: line.instruction.clone(),
            fills_up: i64::from(line.asks.fills_up),
            nominal_active: line.asks.nominal_active.map(Percent::nano),
            balance: line.asks.balance.map(|id| id.0),
            second_check: i64::from(line.asks.second_check),
            rework_of: line.asks.rework_of.map(|id| id.0),
        };
        t.lines.iter().map(row).collect()
    }
}

impl allocation::Model {
    pub(crate) fn of(ticket: TicketId, position: i64, a: &Allocation) -> Self {
        Self {
            ticket: ticket.0,
            line: a.line.0,
            lot: a.lot.0,
            position,
            dimension: dimension(a.quantity),
            quantity: a.quantity.raw(),
        }
    }
}

impl weighing::Model {
    pub(crate) fn of(ticket: TicketId, w: &Weighing) -> Self {
        Self {
            id: w.id.0,
            ticket: ticket.0,
            line: w.line.0,
            lot: w.lot.map(|id| id.0),
            amount: w.amount.micrograms(),
            weighed_by: w.by.clone(),
            weighed_at: w.at.timestamp_micros(),
            checked_by: w.checked_by.clone(),
            movement: w.movement.map(|id| id.0),
            reversed: w.reversed.clone(),
            gross: w.how.gross.map(Mass::micrograms),
            tare: w.how.tare.map(Mass::micrograms),
            balance: w.how.balance.map(|id| id.0),
            done_at: w.how.done_at.map(|at| at.timestamp_micros()),
            reason: w.how.reason.clone(),
            counts_as: w.how.counts_as.map(Mass::micrograms),
            result_before: w.how.result_before.clone(),
            result_after: w.how.result_after.clone(),
            mixed_minutes: w.how.mixed_minutes.map(i64::from),
            checked_at: w.how.checked_at.map(|at| at.timestamp_micros()),
            outcome: w.how.outcome.map(|outcome| outcome.column_word().to_owned()),
        }
    }
}

impl step::Model {
    pub(crate) fn of(ticket: TicketId, position: i64, s: &Step) -> Self {
        Self {
            ticket: ticket.0,
            position,
            status_from: s.from.column_word().to_owned(),
            status_to: s.to.column_word().to_owned(),
            entered_by: s.by.clone(),
            entered_at: s.at.timestamp_micros(),
            note: s.note.clone(),
        }
    }
}

impl completion::Model {
    pub(crate) fn of(ticket: TicketId, c: &Completion) -> Self {
        Self {
            ticket: ticket.0,
            yield_mass: c.yield_mass.micrograms(),
            lot: c.lot.0,
            density: c.density.map(Density::nano),
            completed_by: c.by.clone(),
            completed_at: c.at.timestamp_micros(),
            day: c.on,
            note: c.note.clone(),
        }
    }
}

impl filling::Model {
    pub(crate) fn of(ticket: TicketId, position: i64, filling: &Filling) -> Self {
        Self {
            ticket: ticket.0,
            position,
            pack: filling.pack.0,
            filled: filling.filled.thousandths(),
            lot: filling.lot.0,
        }
    }

    pub(crate) fn all_of(ticket: TicketId, c: &Completion) -> Vec<Self> {
        c.fillings.iter().zip(1..).map(|(filling, position)| Self::of(ticket, position, filling)).collect()
    }
}
