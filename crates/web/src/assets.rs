//! The style sheet and the script, in the binary, under addresses that change with what they say.

use std::sync::LazyLock;

use axum::{
    extract::Path,
    http::{StatusCode, header},
    response::{IntoResponse, Response},
};
use sha2::{Digest as _, Sha256};

const STYLE: &str = concat!(
    include_str!("assets/base.css"),
    include_str!("assets/parts.css"),
    include_str!("assets/bench.css")
);
const SCRIPT: &str = concat!(
    include_str!("assets/weighing.js"),
    include_str!("assets/enhance.js"),
    include_str!("assets/draft.js")
);
const MARK: &str = include_str!("assets/mark.svg");

/// Where the style sheet stands.
pub(crate) static STYLE_AT: LazyLock<String> = LazyLock::new(|| address("style", STYLE, "css"));
/// Where the script stands.
pub(crate) static SCRIPT_AT: LazyLock<String> = LazyLock::new(|| address("enhance", SCRIPT, "js"));
/// Where the mark of the house stands.
pub(crate) static MARK_AT: LazyLock<String> = LazyLock::new(|| address("mark", MARK, "svg"));

fn address(name: &str, text: &str, ending: &str) -> String {
    let hash = Sha256::digest(text.as_bytes());
    let short = hash.iter().take(6).fold(String::new(), |text, byte| format!("{text}{byte:02x}"));
    format!("/assets/{name}-{short}.{ending}")
}

/// One of them, to be kept for a year: other content has another address.
pub(crate) async fn asset(Path(name): Path<String>) -> Response {
    let asked = format!("/assets/{name}");
    let (content_type, text) = if asked == *STYLE_AT {
        ("text/css; charset=utf-8", STYLE)
    } else if asked == *SCRIPT_AT {
        ("text/javascript; charset=utf-8", SCRIPT)
    } else if asked == *MARK_AT {
        ("image/svg+xml", MARK)
    } else {
        return StatusCode::NOT_FOUND.into_response();
    };
    let headers = [
        (header::CONTENT_TYPE, content_type),
        (header::CACHE_CONTROL, "public, max-age=31536000, immutable"),
    ];
    (headers, text).into_response()
}
