//! What can go wrong between the programme and its database.
//!
//! The texts are fit for a log and for the person who runs the site; none of them holds SQL. What the driver said is kept as
//! the source, for the trace.

use kernel::{Quantity, ids::LotId};
use sea_orm::{ConnAcquireErr, DbErr, RuntimeErr, SqlxError, SqlxPostgresError};
use thiserror::Error;

/// Names of the constraints that a use case turns into a refusal of its own. The same on both databases.
pub mod constraints {
    /// A material's code is taken.
    pub const MATERIAL_CODE: &str = "uq_materials_code_key";
    /// A supplier's code is taken.
    pub const SUPPLIER_CODE: &str = "uq_suppliers_code_key";
    /// The supplier's quotation of that reference holds the material already.
    pub const QUOTATION_REFERENCE: &str = "uq_quotations_supplier_reference_key_material";
    /// There is a rate of that pair for that day.
    pub const RATE_DAY: &str = "uq_exchange_rates_from_currency_to_currency_date";
    /// There is a rate of the house of that name from that day.
    pub const HOUSE_RATE_DAY: &str = "uq_house_rates_name_key_valid_from";
    /// A formula's code is taken.
    pub const FORMULA_CODE: &str = "uq_formulas_code_key";
    /// Another formula makes that material.
    pub const FORMULA_MAKES: &str = "uq_formulas_makes";
    /// The formula has a version of that number.
    pub const VERSION_NUMBER: &str = "uq_formula_versions_formula_number";
    /// A pack's code is taken.
    pub const PACK_CODE: &str = "uq_packs_code_key";
    /// A lot number is taken.
    pub const LOT_NUMBER: &str = "uq_lots_number_key";
    /// A scenario of that name and number is kept already.
    pub const SCENARIO_NUMBER: &str = "uq_scenarios_name_key_number";
    /// A ticket number is taken.
    pub const TICKET_NUMBER: &str = "uq_tickets_number_key";
    /// A balance's code is taken.
    pub const BALANCE_CODE: &str = "uq_balances_code_key";
    /// The movement is reversed already.
    pub const MOVEMENT_REVERSED: &str = "uq_movements_reverses";
    /// The ticket is complete already.
    pub const TICKET_COMPLETE: &str = "uq_completions_ticket";
    /// The request key was used before.
    pub const REQUEST_KEY: &str = "uq_requests_key";
    /// The material has a standard cost of that day.
    pub const STANDARD_DAY: &str = "uq_standard_costs_material_frozen_on";
    /// A token with that hash exists.
    pub const TOKEN_HASH: &str = "uq_api_tokens_hash";
    /// A lot would hold less than nothing.
    pub const LOT_ON_HAND: &str = "ck_lots_on_hand";
    /// Less than nothing of a lot would be promised.
    pub const LOT_RESERVED: &str = "ck_lots_reserved";
}

/// What kind of rule of the database was broken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ConstraintKind {
    /// Something that may be there once is there already.
    Unique,
    /// Something points at what is not there, or is pointed at and cannot go.
    ForeignKey,
    /// A figure or word outside what the column may hold.
    Check,
    /// Something that must be there is not.
    NotNull,
    /// A row that never changes again was to be changed: an entry of the ledger or of the audit trail, an approved version.
    Fixed,
}

/// Why the database could not do what was asked. Whatever it is, nothing of the transaction was kept.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum StoreError {
    /// The address is not one of a database this project knows.
    #[error("the database address cannot be used: {0}")]
    Address(String),
    /// No connection could be made, or it broke.
    #[error("the database cannot be reached: {reason}")]
    Unreachable {
        /// What is known, without passwords.
        reason: String,
    },
    /// Others hold what is needed, for longer than the programme waits. Trying again helps.
    #[error("the database is busy; try again")]
    Busy,
    /// The database was written by a newer programme.
    #[error("the database has a newer layout than this programme knows ({0})")]
    Newer(String),
    /// The database's layout is older than the programme's, or is not there.
    #[error("the database's layout is not up to date; run the migration first ({} to go)", .0.len())]
    NotMigrated(Vec<String>),
    /// A rule of the database was broken.
    #[error("the database refused: {name}")]
    Constraint {
        /// What kind of rule.
        kind: ConstraintKind,
        /// Its name, one of [`constraints`] where a use case can do something about it.
        name: String,
    },
    /// A row that no longer makes sense.
    #[error("{table} {id} is damaged: {reason}")]
    Corrupt {
        /// The table.
        table: &'static str,
        /// Which row.
        id: String,
        /// What is wrong with it.
        reason: String,
    },
    /// What was to be changed is not there.
    #[error("there is no {what} {id}")]
    NotFound {
        /// What.
        what: &'static str,
        /// Which.
        id: String,
    },
    /// What was to be changed no longer stands where the change expects it: somebody else was faster.
    #[error("{what} {id} has changed in the meantime")]
    Changed {
        /// What.
        what: &'static str,
        /// Which.
        id: String,
    },
    /// A lot does not hold what is asked of it.
    #[error("lot {number} holds {available}, {needed} are asked for")]
    LotShort {
        /// The lot.
        lot: LotId,
        /// Its number.
        number: String,
        /// What is asked for.
        needed: Quantity,
        /// What can be had.
        available: Quantity,
    },
    /// A movement that does not fit its lot: another dimension or currency, a value where the lot has none, an amount of nought,
    /// or a reversal that is not the opposite of what it reverses.
    #[error("a movement does not fit lot {number}: {reason}")]
    MovementUnfit {
        /// The lot.
        lot: LotId,
        /// Its number.
        number: String,
        /// What does not fit.
        reason: String,
    },
    /// What was to be written does not hold together, such as two currencies in one quotation.
    #[error("{what} cannot be kept: {reason}")]
    Unfit {
        /// What.
        what: &'static str,
        /// Why not.
        reason: String,
    },
    /// A figure that no column can hold.
    #[error("{0} is larger than can be kept")]
    TooLarge(&'static str),
    /// Anything else the driver said.
    #[error("the database failed")]
    Database(#[source] DbErr),
}

/// What SQLite says of a broken reference: it does not say which.
const SQLITE_REFERENCE: &str = "fk";

impl StoreError {
    /// Whether this is the unique rule of that name, broken.
    pub fn is_taken(&self, constraint: &str) -> bool {
        matches!(self, Self::Constraint { kind: ConstraintKind::Unique, name } if name == constraint)
    }

    /// Whether trying the same again may succeed.
    pub fn is_transient(&self) -> bool {
        matches!(self, Self::Busy | Self::Unreachable { .. })
    }

    pub(crate) fn unreachable(error: &SqlxError) -> Self {
        match error {
            SqlxError::PoolTimedOut => Self::Busy,
            SqlxError::Database(said) => Self::Unreachable { reason: said.message().to_owned() },
            other => Self::Unreachable { reason: other.to_string() },
        }
    }
}

impl From<DbErr> for StoreError {
    fn from(error: DbErr) -> Self {
        let known = match &error {
            DbErr::ConnectionAcquire(ConnAcquireErr::Timeout) => Some(Self::Busy),
            DbErr::ConnectionAcquire(ConnAcquireErr::ConnectionClosed) => {
                Some(Self::Unreachable { reason: "its connections are closed".to_owned() })
            }
            DbErr::Conn(RuntimeErr::SqlxError(sqlx))
            | DbErr::Exec(RuntimeErr::SqlxError(sqlx))
            | DbErr::Query(RuntimeErr::SqlxError(sqlx)) => from_sqlx(sqlx),
            DbErr::Conn(RuntimeErr::Internal(reason)) => Some(Self::Unreachable { reason: reason.clone() }),
            _ => None,
        };
        known.unwrap_or(Self::Database(error))
    }
}

fn from_sqlx(error: &SqlxError) -> Option<StoreError> {
    match error {
        SqlxError::PoolTimedOut => Some(StoreError::Busy),
        SqlxError::Io(_) | SqlxError::Tls(_) | SqlxError::PoolClosed | SqlxError::WorkerCrashed => {
            Some(StoreError::unreachable(error))
        }
        SqlxError::Database(said) => {
            let code = said.code().unwrap_or_default();
            if said.try_downcast_ref::<SqlxPostgresError>().is_some() {
                from_postgres(&code, said.constraint().unwrap_or_default(), said.message())
            } else {
                from_sqlite(&code, said.message())
            }
        }
        _ => None,
    }
}

/// PostgreSQL, appendix A: error codes.
fn from_postgres(code: &str, constraint: &str, message: &str) -> Option<StoreError> {
    let kind = match code {
        "23505" => ConstraintKind::Unique,
        "23503" => ConstraintKind::ForeignKey,
        "23514" => ConstraintKind::Check,
        "23502" => ConstraintKind::NotNull,
        "23001" => ConstraintKind::Fixed,
        // Serialisation failure, deadlock, lock not available, query cancelled, too many connections.
        "40001" | "40P01" | "55P03" | "57014" | "53300" => return Some(StoreError::Busy),
        // Shutting down, crashed, starting up, a database that is going, and all of class 08.
        "57P01" | "57P02" | "57P03" | "57P05" => {
            return Some(StoreError::Unreachable { reason: message.to_owned() });
        }
        _ if code.starts_with("08") => return Some(StoreError::Unreachable { reason: message.to_owned() }),
        _ => return None,
    };
    Some(StoreError::Constraint { kind, name: constraint.to_owned() })
}

/// SQLite's extended result codes. Its messages end in what was broken: the columns of a unique key, the name of a check, or the
/// text a trigger raised.
fn from_sqlite(code: &str, message: &str) -> Option<StoreError> {
    let rest = message.split_once(": ").map_or(message, |(_, rest)| rest);
    let (kind, name) = match code.parse::<u32>().ok()? {
        // SQLITE_CONSTRAINT_UNIQUE, _PRIMARYKEY, _ROWID: “lots.number_key”, or “a.b, a.c”.
        2067 | 1555 | 2579 => (ConstraintKind::Unique, unique_name(rest)),
        // SQLITE_CONSTRAINT_FOREIGNKEY
        787 => (ConstraintKind::ForeignKey, SQLITE_REFERENCE.to_owned()),
        // SQLITE_CONSTRAINT_CHECK, _DATATYPE
        275 | 3091 => (ConstraintKind::Check, rest.to_owned()),
        // SQLITE_CONSTRAINT_NOTNULL
        1299 => (ConstraintKind::NotNull, rest.replace('.', "_")),
        // SQLITE_CONSTRAINT_TRIGGER
        1811 => (ConstraintKind::Fixed, message.to_owned()),
        // SQLITE_BUSY, SQLITE_LOCKED and their extensions have these lowest eight bits.
        busy if matches!(busy & 0xff, 5 | 6) => return Some(StoreError::Busy),
        // SQLITE_IOERR, SQLITE_CANTOPEN, SQLITE_NOTADB, SQLITE_FULL, SQLITE_READONLY, SQLITE_CORRUPT
        gone if matches!(gone & 0xff, 8 | 10 | 11 | 13 | 14 | 26) => {
            return Some(StoreError::Unreachable { reason: message.to_owned() });
        }
        _ => return None,
    };
    Some(StoreError::Constraint { kind, name })
}

/// `uq_lots_number_key` from `lots.number_key`; `uq_a_b_c` from `a.b, a.c`: the names the migrations give.
fn unique_name(columns: &str) -> String {
    let mut name = String::from("uq");
    for (at, column) in columns.split(", ").enumerate() {
        let (table, column) = column.split_once('.').unwrap_or(("", column));
        if at == 0 {
            name.push('_');
            name.push_str(table);
        }
        name.push('_');
        name.push_str(column);
    }
    name
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_broken_rules_are_the_same_on_both() {
        let sqlite = |code: &str, message: &str| match from_sqlite(code, message) {
            Some(StoreError::Constraint { name, .. }) => name,
            other => format!("{other:?}"),
        };
        assert_eq!(sqlite("2067", "UNIQUE constraint failed: lots.number_key"), constraints::LOT_NUMBER);
        assert_eq!(sqlite("1555", "UNIQUE constraint failed: requests.key"), constraints::REQUEST_KEY);
        assert_eq!(
            sqlite(
                "2067",
                "UNIQUE constraint failed: quotations.supplier, quotations.reference_key, quotations.material"
            ),
            constraints::QUOTATION_REFERENCE
        );
        assert_eq!(sqlite("275", "CHECK constraint failed: ck_lots_on_hand"), constraints::LOT_ON_HAND);
        assert_eq!(sqlite("1811", "kept_movements"), "kept_movements");
        assert!(matches!(from_sqlite("517", "database is locked"), Some(StoreError::Busy)));
    }

    #[test]
    fn nothing_a_person_reads_holds_sql() {
        let error = StoreError::from(DbErr::Custom("SELECT secret FROM lots".to_owned()));
        assert_eq!(error.to_string(), "the database failed");
    }
}
