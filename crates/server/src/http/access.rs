//! Who may come in: whoever holds a token, or, in the open demo, whoever sits at this machine.

use app::App;
use axum::{
    extract::{Request, State},
    http::{HeaderMap, StatusCode, Uri, header},
    middleware::Next,
    response::{IntoResponse as _, Response},
};
use domain::people::Actor;
use std::net::IpAddr;

use super::{State as Shared, frame::plain, problem::problem};

/// How people get in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access {
    /// With a token.
    Tokens,
    /// Without one, since only invented data can be reached and only from this machine. A token counts all the same.
    OpenDemo,
}

/// The name the open demo's changes are entered under.
const DEMO_ACTOR: &str = "demo";

/// Who sends a request.
///
/// # Errors
/// The answer to send when that is nobody who may come in.
pub async fn actor(app: &App, access: Access, headers: &HeaderMap) -> Result<Actor, Response> {
    let Some(header) = headers.get(header::AUTHORIZATION) else {
        return match access {
            Access::OpenDemo => Ok(Actor::with_all_capabilities(DEMO_ACTOR)),
            Access::Tokens => Err(unauthenticated("Send a token: Authorization: Bearer …")),
        };
    };
    let token = header.to_str().ok().and_then(|text| {
        let (scheme, token) = text.split_once(' ')?;
        scheme.eq_ignore_ascii_case("bearer").then(|| token.trim())
    });
    let Some(token) = token else {
        return Err(unauthenticated("The Authorization header must read: Bearer, a space, and a token."));
    };
    match app.actor_of_token(token).await {
        Ok(Some(actor)) => Ok(actor),
        Ok(None) => Err(unauthenticated("This token is not known, or works no more.")),
        Err(error) => {
            tracing::error!(%error, "a token could not be looked up");
            Err(problem(StatusCode::SERVICE_UNAVAILABLE, error.code(), &error.to_string()))
        }
    }
}

fn unauthenticated(message: &str) -> Response {
    let answer = problem(StatusCode::UNAUTHORIZED, "UNAUTHENTICATED", message);
    ([(header::WWW_AUTHENTICATE, plain("Bearer"))], answer).into_response()
}

/// In the open demo only names of this machine are answered: a page of another site whose name was made to point here would
/// otherwise be let in.
pub async fn refuse_other_hosts(State(shared): State<Shared>, request: Request, next: Next) -> Response {
    if shared.access == Access::OpenDemo && !host_of(&request).is_some_and(|host| is_loopback(&host)) {
        return problem(
            StatusCode::FORBIDDEN,
            "FORBIDDEN",
            "The open demo answers to localhost, 127.0.0.1 and [::1] only.",
        );
    }
    next.run(request).await
}

/// In the open demo whoever sits at this machine may use the pages; otherwise the pages have their own way of signing in.
pub async fn let_in_to_pages(State(shared): State<Shared>, mut request: Request, next: Next) -> Response {
    if shared.access == Access::OpenDemo {
        request.extensions_mut().insert(Actor::with_all_capabilities(DEMO_ACTOR));
    }
    next.run(request).await
}

fn host_of(request: &Request) -> Option<String> {
    let header = request.headers().get(header::HOST).and_then(|host| host.to_str().ok());
    let authority =
        header.map(ToOwned::to_owned).or_else(|| request.uri().authority().map(ToString::to_string))?;
    let uri: Uri = format!("http://{authority}/").parse().ok()?;
    uri.host().map(ToOwned::to_owned)
}

fn is_loopback(host: &str) -> bool {
    let bare = host.trim_start_matches('[').trim_end_matches(']');
    host.eq_ignore_ascii_case("localhost")
        || bare.parse::<IpAddr>().is_ok_and(|address| address.is_loopback())
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::body::Body;

    fn check(host: &str, loopback: bool) {
        let request = Request::builder().uri("/graphql").header("host", host).body(Body::empty()).unwrap();
        assert_eq!(host_of(&request).is_some_and(|host| is_loopback(&host)), loopback, "{host}");
    }

    #[test]
    fn names_of_this_machine() {
        check("localhost:7310", true);
        check("127.0.0.1:7310", true);
        check("127.0.0.1", true);
        check("[::1]:7310", true);
        check("localhost.example:7310", false);
        check("demo.example", false);
        check("127.0.0.1@demo.example", false);
        check("192.168.0.7:7310", false);
        check("", false);
    }
}
