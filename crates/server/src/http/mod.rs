//! HTTP: the API, the pages around it, and what every request passes through.
//!
//! From outside in: request id, log line, security headers, compression, panics caught, time limit; then, for the API alone, who
//! is asking. Every error has a JSON body of the same form.

mod access;
mod frame;
mod graphql;
mod pages;
mod problem;
mod ready;
mod serving;

use app::App;
use axum::{
    Router,
    http::{HeaderName, HeaderValue, header},
    middleware,
    routing::get,
};
use std::{sync::Arc, time::Duration};
use tower_http::{
    catch_panic::CatchPanicLayer,
    compression::CompressionLayer,
    request_id::{MakeRequestUuid, PropagateRequestIdLayer, SetRequestIdLayer},
    set_header::SetResponseHeaderLayer,
    trace::TraceLayer,
};

pub use access::Access;
pub use serving::{listen, serve};

/// Bytes of a request's body.
pub const BODY_BYTES_MAX: usize = 1 << 20;
/// How long a request may take.
pub const TIME_LIMIT: Duration = Duration::from_secs(30);

/// The name requests carry through the log and back to the client.
const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");

/// Headers on every answer: no other site may show, read or guess at what this one says.
const HEADERS: [(HeaderName, &str); 6] = [
    (
        header::CONTENT_SECURITY_POLICY,
        "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self'; base-uri 'none'; \
         form-action 'none'; frame-ancestors 'none'",
    ),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::X_FRAME_OPTIONS, "DENY"),
    (header::REFERRER_POLICY, "no-referrer"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
];

/// What handlers share.
#[derive(Clone)]
pub struct State {
    app: Arc<App>,
    schema: ::graphql::Schema,
    access: Access,
}

impl State {
    /// What handlers share over a house.
    pub fn new(app: Arc<App>, access: Access) -> Self {
        Self { schema: ::graphql::build(Arc::clone(&app)), app, access }
    }
}

/// All addresses, with everything requests pass through.
pub fn router(state: State) -> Router {
    router_within(state, TIME_LIMIT)
}

fn router_within(state: State, time_limit: Duration) -> Router {
    let router = Router::new()
        .route("/graphql", get(graphql::by_get).post(graphql::by_post).fallback(problem::method_not_allowed))
        .route("/", get(pages::front))
        .route("/explorer", get(pages::explorer))
        .route("/explorer.js", get(pages::explorer_script))
        .route("/style.css", get(pages::style))
        .route("/schema.graphql", get(pages::schema))
        .route("/healthz", get(ready::healthz))
        .route("/readyz", get(ready::readyz))
        .method_not_allowed_fallback(problem::method_not_allowed)
        .fallback(problem::not_found)
        .layer(middleware::from_fn_with_state(state.clone(), access::refuse_other_hosts))
        .with_state(state)
        .layer(middleware::from_fn(move |request, next| frame::time_limit(time_limit, request, next)))
        .layer(CatchPanicLayer::custom(frame::panicked))
        .layer(CompressionLayer::new());
    let router = HEADERS.iter().fold(router, |router, (name, value)| {
        router.layer(SetResponseHeaderLayer::if_not_present(name.clone(), HeaderValue::from_static(value)))
    });
    router
        .layer(TraceLayer::new_for_http().make_span_with(frame::span).on_response(frame::log_response))
        .layer(PropagateRequestIdLayer::new(REQUEST_ID))
        .layer(SetRequestIdLayer::new(REQUEST_ID, MakeRequestUuid))
        .layer(middleware::from_fn(frame::drop_unfit_request_id))
}
