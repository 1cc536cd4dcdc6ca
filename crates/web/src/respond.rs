//! Answers: pages, redirects after a change, and errors as pages.

use app::Error;
use axum::{
    http::{HeaderValue, StatusCode, header},
    response::{IntoResponse, Redirect, Response},
};
use maud::{Markup, html};

use crate::{frame, pages::sign_in, text as t};

/// Only from here, nothing inline, never inside another page.
const POLICY: HeaderValue = HeaderValue::from_static(
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; base-uri 'none'; \
     form-action 'self'; frame-ancestors 'none'",
);

/// Why a page is not the one asked for.
#[derive(Debug)]
pub(crate) enum PageError {
    /// A use case ended other than well.
    App(Error),
    /// Nobody is signed in.
    SignIn {
        /// Where they wanted to go.
        then: String,
        /// The token for the form.
        page_token: String,
    },
    /// Something else, in words.
    Said {
        /// As what.
        status: StatusCode,
        /// Heading.
        title: &'static str,
        /// What to do.
        text: &'static str,
    },
}

impl PageError {
    /// The address cannot be read.
    pub const fn address() -> Self {
        Self::Said { status: StatusCode::BAD_REQUEST, title: t::BAD_ADDRESS, text: t::BAD_ADDRESS_HELP }
    }

    /// The form cannot be read.
    pub const fn form() -> Self {
        Self::Said { status: StatusCode::BAD_REQUEST, title: t::BAD_FORM, text: t::BAD_FORM_HELP }
    }

    /// More was sent than is taken.
    pub const fn too_much() -> Self {
        Self::Said { status: StatusCode::PAYLOAD_TOO_LARGE, title: t::BAD_FORM, text: t::IMPORT_TOO_MUCH }
    }

    /// The form did not come from a page of ours.
    pub const fn other_site() -> Self {
        Self::Said { status: StatusCode::FORBIDDEN, title: t::OTHER_SITE, text: t::OTHER_SITE_HELP }
    }

    /// There is no such thing.
    pub fn not_found(what: &'static str, key: &str) -> Self {
        Self::App(Error::not_found(what, key))
    }
}

impl<E: Into<Error>> From<E> for PageError {
    fn from(error: E) -> Self {
        Self::App(error.into())
    }
}

impl IntoResponse for PageError {
    fn into_response(self) -> Response {
        let (status, title, text) = match self {
            Self::SignIn { then, page_token } => return sign_in::asked_for(&then, &page_token),
            Self::Said { status, title, text } => (status, title, text.to_owned()),
            Self::App(error) => {
                let (status, title) = match &error {
                    Error::NotFound { .. } => (StatusCode::NOT_FOUND, t::NOT_FOUND),
                    Error::Forbidden(_) => (StatusCode::FORBIDDEN, t::FORBIDDEN),
                    Error::Invalid(_) => (StatusCode::UNPROCESSABLE_ENTITY, t::INVALID),
                    Error::Refused(_) | Error::RequestKeyReused(_) => (StatusCode::CONFLICT, t::REFUSED),
                    Error::Busy | Error::Unreachable => (StatusCode::SERVICE_UNAVAILABLE, t::BUSY),
                    Error::Internal(detail) => {
                        tracing::error!(detail, "a page could not be made");
                        (StatusCode::INTERNAL_SERVER_ERROR, t::FAULT)
                    }
                };
                (status, title, t::sentence(&error.to_string()))
            }
        };
        let body = html! {
            h1 { (title) }
            p { (text) }
            p { a href="/" { (t::BACK_TO_TODAY) } }
        };
        shown(status, frame::bare(title, &body))
    }
}

/// A page.
pub(crate) fn shown(status: StatusCode, page: Markup) -> Response {
    (status, page).into_response()
}

/// The page to look at after a change; asking for it again changes nothing.
pub(crate) fn go(to: &str) -> Response {
    Redirect::to(to).into_response()
}

/// What stands on every answer of the pages.
pub(crate) async fn guard(mut response: Response) -> Response {
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_SECURITY_POLICY, POLICY);
    headers.insert(header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.insert(header::X_FRAME_OPTIONS, HeaderValue::from_static("DENY"));
    headers.insert(header::REFERRER_POLICY, HeaderValue::from_static("same-origin"));
    // A page holds figures of the moment and the key of its form; going back must ask anew.
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}
