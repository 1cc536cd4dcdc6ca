//! Errors over HTTP: one JSON form for all of them, the one GraphQL has.

use axum::{
    http::{HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};

/// The content type of every error.
pub const JSON: HeaderValue = HeaderValue::from_static("application/json; charset=utf-8");

/// An error answer: `{"errors": [{"message": …, "extensions": {"code": …}}]}`.
pub fn problem(status: StatusCode, code: &str, message: &str) -> Response {
    let body = serde_json::json!({ "errors": [{ "message": message, "extensions": { "code": code } }] });
    (status, [(header::CONTENT_TYPE, JSON)], body.to_string()).into_response()
}

/// There is nothing at this address.
pub async fn not_found() -> Response {
    problem(StatusCode::NOT_FOUND, "NOT_FOUND", "There is nothing at this address; / says what is where.")
}

/// There is something here, but not for this method.
pub async fn method_not_allowed() -> Response {
    problem(StatusCode::METHOD_NOT_ALLOWED, "METHOD_NOT_ALLOWED", "This address does not take this method.")
}
