//! Signing in with an API token, and leaving.

use axum::{
    extract::{Request, State},
    http::{HeaderMap, HeaderValue, StatusCode, header},
    response::Response,
};
use maud::html;

use crate::{
    Web,
    access::{Answer, Asked, COOKIE, Sent, TOKEN_FIELD, fields_of, session_name},
    frame, links,
    respond::{PageError, go, shown as answer},
    sessions::LASTS,
    text as t, ui,
};

/// The form.
pub async fn page(State(web): State<Web>, Asked(fields): Asked) -> Answer {
    Ok(shown(fields.first("then"), web.page_token()?, None))
}

/// The form, instead of a page that needs a person.
pub(crate) fn shown(then: &str, page_token: &str, wrong: Option<&str>) -> Response {
    let body = html! {
        h1 { (t::SIGN_IN) }
        @if let Some(wrong) = wrong { (ui::notice(ui::Tone::Bad, &html! { p role="alert" { (wrong) } })) }
        p { (t::SIGN_IN_HELP) }
        form.stack method="post" action="/sign-in" {
            input type="hidden" name=(TOKEN_FIELD) value=(page_token);
            input type="hidden" name="then" value=(links::own_page(then));
            div.field {
                label for="token" { (t::API_TOKEN) }
                input #token name="token" type="password" required autofocus autocomplete="current-password";
            }
            button type="submit" { (t::SIGN_IN) }
        }
    };
    answer(StatusCode::UNAUTHORIZED, frame::bare(t::SIGN_IN, &body))
}

/// Begins a session for whoever holds the token.
pub async fn enter(State(web): State<Web>, request: Request) -> Answer {
    let secure = request.headers().get("x-forwarded-proto").is_some_and(|proto| proto == "https");
    let fields = fields_of(request, web.page_token()?).await?;
    let (secret, then) = (fields.first("token"), fields.first("then"));
    if web.app.actor_of_token(secret).await?.is_none() {
        return Ok(shown(then, web.page_token()?, Some(t::TOKEN_UNKNOWN)));
    }
    let name = web.sessions.begin(secret.to_owned())?;
    let mut response = go(links::own_page(then));
    set_cookie(&mut response, &name, LASTS.as_secs(), secure)?;
    Ok(response)
}

/// Ends the session.
pub async fn leave(State(web): State<Web>, headers: HeaderMap, _: Sent) -> Answer {
    if let Some(name) = session_name(&headers) {
        web.sessions.end(name);
    }
    let mut response = go("/sign-in");
    set_cookie(&mut response, "", 0, false)?;
    Ok(response)
}

fn set_cookie(response: &mut Response, value: &str, seconds: u64, secure: bool) -> Result<(), PageError> {
    let secure = if secure { "; Secure" } else { "" };
    let cookie = format!("{COOKIE}={value}; Path=/; Max-Age={seconds}; HttpOnly; SameSite=Lax{secure}");
    let value = HeaderValue::from_str(&cookie).map_err(app::Error::internal)?;
    response.headers_mut().append(header::SET_COOKIE, value);
    Ok(())
}
