//! Errors: mistakes, missing rights and faults, each with a code of a closed list. Expected refusals are not errors; see
//! [`crate::refusals`].

use async_graphql::{ErrorExtensions as _, Response, ServerError, Value, indexmap::IndexMap};
use domain::Problem;

/// The codes an error may have in `extensions.code`. Where several reasons apply, the first of this order is given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ErrorCode {
    /// The document cannot be read, or does not fit the schema.
    BadDocument,
    /// The request asks for more than one request may cost.
    LimitExceeded,
    /// The asker may not do this.
    Forbidden,
    /// There is no such thing.
    NotFound,
    /// What was sent is wrong; `extensions.problems` names each place.
    InvalidInput,
    /// The request key was used before for another request.
    RequestKeyReused,
    /// Too much going on; the same request may be sent again.
    Busy,
    /// The database cannot be reached; the same request may be sent again later.
    Unreachable,
    /// A fault inside; only the log says which.
    Internal,
}

impl ErrorCode {
    /// All of them, in their order.
    pub const ALL: [Self; 9] = [
        Self::BadDocument,
        Self::LimitExceeded,
        Self::Forbidden,
        Self::NotFound,
        Self::InvalidInput,
        Self::RequestKeyReused,
        Self::Busy,
        Self::Unreachable,
        Self::Internal,
    ];

    /// As it stands in `extensions.code`.
    pub const fn text(self) -> &'static str {
        match self {
            Self::BadDocument => "BAD_DOCUMENT",
            Self::LimitExceeded => "LIMIT_EXCEEDED",
            Self::Forbidden => "FORBIDDEN",
            Self::NotFound => "NOT_FOUND",
            Self::InvalidInput => "INVALID_INPUT",
            Self::RequestKeyReused => "REQUEST_KEY_REUSED",
            Self::Busy => "BUSY",
            Self::Unreachable => "UNREACHABLE",
            Self::Internal => "INTERNAL",
        }
    }
}

/// Why a resolver has no answer. It has no text of its own, so that it only becomes an error with its code.
#[derive(Clone)]
pub(crate) struct Failure(async_graphql::Error);

/// What resolvers answer.
pub(crate) type Result<T> = std::result::Result<T, Failure>;

impl From<Failure> for async_graphql::Error {
    fn from(failure: Failure) -> Self {
        failure.0
    }
}

impl From<app::Error> for Failure {
    fn from(error: app::Error) -> Self {
        if let app::Error::Internal(detail) = &error {
            tracing::error!(detail, "a request failed inside");
        }
        let code = error.code();
        let plain = async_graphql::Error::new(error.to_string());
        Self(plain.extend_with(|_, extensions| {
            extensions.set("code", code);
            if let app::Error::Invalid(problems) = &error {
                extensions.set("problems", problems_value(problems));
            }
        }))
    }
}

impl From<engine::EngineError> for Failure {
    fn from(error: engine::EngineError) -> Self {
        app::Error::from(error).into()
    }
}

impl From<kernel::AmountError> for Failure {
    fn from(error: kernel::AmountError) -> Self {
        app::Error::from(error).into()
    }
}

impl From<async_graphql::Error> for Failure {
    fn from(error: async_graphql::Error) -> Self {
        Self(error)
    }
}

/// A fault inside, with what the log should say.
pub(crate) fn internal(detail: impl ToString) -> Failure {
    app::Error::internal(detail).into()
}

fn problems_value(problems: &[Problem]) -> Value {
    let one = |problem: &Problem| {
        let mut entry = IndexMap::new();
        entry.insert(async_graphql::Name::new("place"), Value::from(problem.place.clone()));
        entry.insert(async_graphql::Name::new("message"), Value::from(problem.message.clone()));
        Value::Object(entry)
    };
    Value::List(problems.iter().map(one).collect())
}

/// A request that asks for too much.
pub(crate) fn limit_exceeded(text: String) -> ServerError {
    let mut error = ServerError::new(text, None);
    set_code(&mut error, ErrorCode::LimitExceeded);
    error
}

fn set_code(error: &mut ServerError, code: ErrorCode) {
    error.extensions.get_or_insert_with(Default::default).set("code", code.text());
}

/// Gives every error its code and the request's id.
pub(crate) fn finish(mut response: Response, request_id: Option<&str>) -> Response {
    for error in &mut response.errors {
        if error.extensions.as_ref().is_none_or(|extensions| extensions.get("code").is_none()) {
            let code = code_of_library_error(&error.message);
            set_code(error, code);
        }
        if let Some(request_id) = request_id {
            error.extensions.get_or_insert_with(Default::default).set("requestId", request_id);
        }
    }
    response
}

/// The library's own errors carry texts only: its limits, inputs that are not of their type, and documents.
fn code_of_library_error(message: &str) -> ErrorCode {
    const LIMITS: [&str; 4] = [
        "Query is too complex",
        "Query is nested too deep",
        "The recursion depth of the query",
        "The number of directives on the field",
    ];
    const INPUTS: [&str; 3] = ["Failed to parse", "Expected input type", "Invalid value for argument"];
    if LIMITS.iter().any(|start| message.starts_with(start)) {
        ErrorCode::LimitExceeded
    } else if INPUTS.iter().any(|start| message.starts_with(start)) {
        ErrorCode::InvalidInput
    } else {
        ErrorCode::BadDocument
    }
}
