//! What every request passes through besides its handler.

use axum::{
    extract::Request,
    http::{HeaderMap, HeaderValue, StatusCode},
    middleware::Next,
    response::Response,
};
use std::{any::Any, time::Duration};
use tracing::Span;

use super::{REQUEST_ID, problem::problem};

/// Characters of a request id that a client sends.
const REQUEST_ID_CHARS_MAX: usize = 100;

/// The request's id, as it was sent or made.
pub fn request_id(headers: &HeaderMap) -> Option<&str> {
    headers.get(REQUEST_ID).and_then(|value| value.to_str().ok())
}

/// A request id that does not fit a log line is not taken over; a new one is made instead.
pub async fn drop_unfit_request_id(mut request: Request, next: Next) -> Response {
    let fits = request_id(request.headers()).is_none_or(|id| {
        (1..=REQUEST_ID_CHARS_MAX).contains(&id.len())
            && id.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"-_.:".contains(&byte))
    });
    let readable = request.headers().get(REQUEST_ID).is_none_or(|value| value.to_str().is_ok());
    if !fits || !readable {
        request.headers_mut().remove(REQUEST_ID);
    }
    next.run(request).await
}

/// Ends a request that takes too long; what it was changing is rolled back with it.
pub async fn time_limit(limit: Duration, request: Request, next: Next) -> Response {
    match tokio::time::timeout(limit, next.run(request)).await {
        Ok(response) => response,
        Err(_) => problem(
            StatusCode::GATEWAY_TIMEOUT,
            "TIME_LIMIT",
            "This took too long and was given up; with the same request key it may be sent again.",
        ),
    }
}

/// A panic is a fault of ours: the log gets it, the client a plain answer.
pub fn panicked(panic: Box<dyn Any + Send + 'static>) -> Response {
    let text = panic.downcast_ref::<&str>().copied();
    let detail = text.or_else(|| panic.downcast_ref::<String>().map(String::as_str)).unwrap_or("unknown");
    tracing::error!(detail, "a request panicked");
    problem(StatusCode::INTERNAL_SERVER_ERROR, "INTERNAL", "Something went wrong inside; it has been logged.")
}

/// The span that ties a request's log lines together.
pub fn span(request: &Request) -> Span {
    tracing::info_span!(
        "request",
        method = %request.method(),
        // The query of a GET stands in the address and may hold business data; the path does not.
        path = request.uri().path(),
        id = request_id(request.headers()).unwrap_or_default(),
    )
}

/// One line for each answer.
pub fn log_response<B>(response: &axum::http::Response<B>, took: Duration, _: &Span) {
    let status = response.status().as_u16();
    let took_ms = u64::try_from(took.as_millis()).unwrap_or(u64::MAX);
    if response.status().is_server_error() {
        tracing::error!(status, took_ms, "answered");
    } else {
        tracing::debug!(status, took_ms, "answered");
    }
}

/// A header value, for texts known to be plain.
pub fn plain(text: &'static str) -> HeaderValue {
    HeaderValue::from_static(text)
}
