//! What can go wrong between the programme and its database.
//!
//! The texts are fit for a log and for the person who runs the site; none of them holds SQL. What the driver said is kept as
//! the source, for the trace.

use kernel::{Quantity, ids::LotId};
use sea_orm::{DbErr, RuntimeErr, SqlxError};
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
    /// A ticket number is taken.
    pub const TICKET_NUMBER: &str = "uq_tickets_number_key";
    /// The movement is reversed already.
    pub const MOVEMENT_REVERSED: &str = "uq_movements_reverses";
    /// The ticket is complete already.
    pub const TICKET_COMPLETE: &str = "uq_completions_ticket";
    /// The request key was used before.
    pub const REQUEST_KEY: &str = "uq_requests_key";
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
    /// A list that is only added to was to be changed.
    AppendOnly,
}

/// Why the database could not do what was asked. Whatever it is, nothing of the transaction was kept.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum StoreError {
    /// The address is not one of a database this project knows.
    #[error("the database address must begin with sqlite:// or postgres://")]
    Address,
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
    /// A figure that no column can hold.
    #[error("{0} is larger than can be kept")]
    TooLarge(&'static str),
    /// Anything else the driver said.
    #[error("the database failed")]
    Database(#[source] DbErr),
}
