//! The plain page to try the API on, and the API in writing. Everything they need is in the binary.

use axum::{
    http::header,
    response::{IntoResponse, Response},
};
use std::sync::OnceLock;

use super::frame::plain;

fn page(content_type: &'static str, text: &'static str) -> Response {
    let headers = [(header::CONTENT_TYPE, plain(content_type)), (header::CACHE_CONTROL, plain("no-cache"))];
    (headers, text).into_response()
}

/// A page to try the API on.
pub async fn explorer() -> Response {
    page("text/html; charset=utf-8", include_str!("assets/explorer.html"))
}

/// Its script.
pub async fn explorer_script() -> Response {
    page("text/javascript; charset=utf-8", include_str!("assets/explorer.js"))
}

/// The look of both.
pub async fn style() -> Response {
    page("text/css; charset=utf-8", include_str!("assets/style.css"))
}

/// The API in writing.
pub async fn schema() -> Response {
    static SDL: OnceLock<String> = OnceLock::new();
    page("text/plain; charset=utf-8", SDL.get_or_init(graphql::sdl))
}
