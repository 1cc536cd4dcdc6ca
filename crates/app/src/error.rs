//! How a use case can end other than well. Texts here are for the person outside; what only concerns the inside goes to the log.

use domain::{Problem, Refusal, people::Capability};
use kernel::AmountError;
use store::{ConstraintKind, StoreError};
use thiserror::Error;

/// Why a use case did not do what was asked. Whatever the reason, nothing was changed.
#[derive(Debug, Error)]
pub enum Error {
    /// The rules of the house do not allow it as things stand. A client is expected to branch on these.
    #[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))]
    Refused(Vec<Refusal>),
    /// What was sent is wrong, each place named.
    #[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))]
    Invalid(Vec<Problem>),
    /// There is no such thing.
    #[error("there is no {what} {key}")]
    NotFound {
        /// What was looked for.
        what: &'static str,
        /// By which code, number or id.
        key: String,
    },
    /// The asker may not do this.
    #[error("this takes the right to {0}")]
    Forbidden(Capability),
    /// The request key was used before for something else.
    #[error("request key {0} was used before for another request")]
    RequestKeyReused(String),
    /// Too much going on; the same request may be sent again.
    #[error("the database is busy; send the same request again")]
    Busy,
    /// The database cannot be reached.
    #[error("the database cannot be reached; send the same request again later")]
    Unreachable,
    /// A fault inside. The text is for the log only.
    #[error("something went wrong inside; it has been logged")]
    Internal(String),
}

impl Error {
    /// A stable name for programs. Where several reasons apply, the first of this order is given: rights, existence, input,
    /// refusal, faults.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Forbidden(_) => "FORBIDDEN",
            Self::NotFound { .. } => "NOT_FOUND",
            Self::Invalid(_) => "INVALID_INPUT",
            Self::RequestKeyReused(_) => "REQUEST_KEY_REUSED",
            Self::Refused(_) => "REFUSED",
            Self::Busy => "BUSY",
            Self::Unreachable => "UNREACHABLE",
            Self::Internal(_) => "INTERNAL",
        }
    }

    /// One thing wrong with what was sent.
    pub fn invalid(place: impl Into<String>, message: impl ToString) -> Self {
        Self::Invalid(vec![Problem::at(place, message)])
    }

    /// There is no such thing.
    pub fn not_found(what: &'static str, key: impl ToString) -> Self {
        Self::NotFound { what, key: key.to_string() }
    }

    /// A fault inside, with what the log should say.
    pub fn internal(detail: impl ToString) -> Self {
        Self::Internal(detail.to_string())
    }
}

impl From<Refusal> for Error {
    fn from(refusal: Refusal) -> Self {
        Self::Refused(vec![refusal])
    }
}

/// An amount that leaves its range in the middle of a calculation. Input is checked where it is read, so this means figures that
/// are each in range and together are not.
impl From<AmountError> for Error {
    fn from(error: AmountError) -> Self {
        Self::invalid("amount", error)
    }
}

impl From<engine::EngineError> for Error {
    fn from(error: engine::EngineError) -> Self {
        Self::invalid("formula", error)
    }
}

impl From<StoreError> for Error {
    fn from(error: StoreError) -> Self {
        match error {
            // Somebody else was faster with the same code or number: sent again, the request meets what they entered and is
            // refused by name.
            StoreError::Busy
            | StoreError::Changed { .. }
            | StoreError::Constraint { kind: ConstraintKind::Unique, .. } => Self::Busy,
            StoreError::LotShort { lot, number, needed, available } => {
                Refusal::LotShort { lot, lot_number: number, material: "it".to_owned(), needed, available }
                    .into()
            }
            StoreError::Unreachable { reason } => {
                tracing::error!(reason, "database unreachable");
                Self::Unreachable
            }
            other => {
                let mut detail = other.to_string();
                let mut source = std::error::Error::source(&other);
                while let Some(cause) = source {
                    detail = format!("{detail}: {cause}");
                    source = cause.source();
                }
                Self::Internal(detail)
            }
        }
    }
}

impl From<serde_json::Error> for Error {
    fn from(error: serde_json::Error) -> Self {
        Self::internal(error)
    }
}
