//! For whoever watches over the process: is it alive, and can it do its work.

use axum::{
    extract::State,
    http::{StatusCode, header},
    response::{IntoResponse, Response},
};

use super::{State as Shared, problem::JSON};

fn status(status: StatusCode, text: &str, why: Option<String>) -> Response {
    let body = match why {
        None => serde_json::json!({ "status": text }),
        Some(why) => serde_json::json!({ "status": text, "why": why }),
    };
    let headers = [(header::CONTENT_TYPE, JSON), (header::CACHE_CONTROL, super::frame::plain("no-store"))];
    (status, headers, body.to_string()).into_response()
}

/// The process answers.
pub async fn healthz() -> Response {
    status(StatusCode::OK, "alive", None)
}

/// The database answers and its layout is up to date.
pub async fn readyz(State(shared): State<Shared>) -> Response {
    match shared.app.pending_migrations().await {
        Ok(pending) if pending.is_empty() => status(StatusCode::OK, "ready", None),
        Ok(pending) => {
            let why = format!("the database's layout is not up to date: {}", pending.join(", "));
            status(StatusCode::SERVICE_UNAVAILABLE, "not ready", Some(why))
        }
        Err(error) => status(StatusCode::SERVICE_UNAVAILABLE, "not ready", Some(error.to_string())),
    }
}
