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
    let routes = Router::new()
        .route("/graphql", get(graphql::by_get).post(graphql::by_post))
        .route("/explorer", get(pages::explorer))
        .route("/explorer.js", get(pages::explorer_script))
        .route("/style.css", get(pages::style))
        .route("/schema.graphql", get(pages::schema))
        .route("/healthz", get(ready::healthz))
        .route("/readyz", get(ready::readyz))
        .method_not_allowed_fallback(problem::method_not_allowed)
        .fallback(problem::not_found)
        .with_state(state.clone())
        .merge(
            web::router(Arc::clone(&state.app))
                .layer(middleware::from_fn_with_state(state.clone(), access::let_in_to_pages)),
        )
        .layer(middleware::from_fn_with_state(state, access::refuse_other_hosts));
    framed(routes, TIME_LIMIT)
}

/// Routes within what every request passes through. Layers added first are innermost.
fn framed(routes: Router, time_limit: Duration) -> Router {
    let routes = routes
        .layer(middleware::from_fn(move |request, next| frame::time_limit(time_limit, request, next)))
        .layer(CatchPanicLayer::custom(frame::panicked))
        .layer(CompressionLayer::new());
    let routes = HEADERS.iter().fold(routes, |routes, (name, value)| {
        routes.layer(SetResponseHeaderLayer::if_not_present(name.clone(), HeaderValue::from_static(value)))
    });
    routes
        .layer(TraceLayer::new_for_http().make_span_with(frame::span).on_response(frame::log_response))
        .layer(PropagateRequestIdLayer::new(REQUEST_ID))
        .layer(SetRequestIdLayer::new(REQUEST_ID, MakeRequestUuid))
        .layer(middleware::from_fn(frame::drop_unfit_request_id))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::{
        io::{Read as _, Write as _},
        net::{SocketAddr, TcpStream},
    };

    async fn slow() -> &'static str {
        tokio::time::sleep(Duration::from_mins(1)).await;
        "done"
    }

    async fn faulty() -> &'static str {
        panic!("a fault for the log only")
    }

    /// Listens with two routes that misbehave.
    async fn misbehaving() -> SocketAddr {
        let routes = Router::new().route("/slow", get(slow)).route("/faulty", get(faulty));
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        tokio::spawn(axum::serve(listener, framed(routes, Duration::from_millis(50))).into_future());
        address
    }

    async fn check(path: &'static str, status: &str, code: &str) {
        let address = misbehaving().await;
        let answer = tokio::task::spawn_blocking(move || {
            let mut stream = TcpStream::connect(address).unwrap();
            stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
            write!(stream, "GET {path} HTTP/1.1\r\nhost: localhost\r\nconnection: close\r\n\r\n").unwrap();
            let mut answer = String::new();
            stream.read_to_string(&mut answer).unwrap();
            answer
        });
        let answer = answer.await.unwrap();
        assert!(answer.starts_with(status), "{answer}");
        assert!(answer.contains(code) && !answer.contains("a fault for the log only"), "{answer}");
        assert!(
            answer.contains("x-content-type-options: nosniff") && answer.contains("x-request-id: "),
            "{answer}"
        );
        assert!(answer.contains("content-type: application/json"), "{answer}");
    }

    #[tokio::test]
    async fn what_takes_too_long_is_given_up() {
        check("/slow", "HTTP/1.1 504", "TIME_LIMIT").await;
    }

    #[tokio::test]
    async fn a_panic_is_an_answer_that_tells_nothing() {
        check("/faulty", "HTTP/1.1 500", "INTERNAL").await;
    }
}
