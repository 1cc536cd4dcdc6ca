//! Who is asking, and whether a form that was sent came from a page of ours.

use app::Change;
use axum::{
    Form,
    extract::{FromRequest, FromRequestParts, Multipart, Query, Request, multipart::MultipartError},
    http::{HeaderMap, Method, StatusCode, header, request::Parts},
    response::Response,
};
use chrono::NaiveDate;
use domain::people::{Actor, Capability};

use crate::{Web, fields::Fields, respond::PageError, sessions::same_secret};

/// The cookie that names a session.
pub(crate) const COOKIE: &str = "stillroom_session";
/// The field that carries the token of a page.
pub(crate) const TOKEN_FIELD: &str = "page_token";
/// The field that carries the request key.
pub(crate) const KEY_FIELD: &str = "request_key";

/// Who asks for a page, and what every page needs to know.
pub(crate) struct Who {
    /// The person.
    pub actor: Actor,
    /// The token that forms of this page carry.
    pub page_token: String,
    /// Whether there is a session to leave.
    pub signed_in: bool,
    /// The business day.
    pub today: NaiveDate,
}

impl Who {
    /// Whether they may do something.
    pub fn may(&self, capability: Capability) -> bool {
        self.actor.may(capability)
    }
}

impl FromRequestParts<Web> for Who {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, web: &Web) -> Result<Self, PageError> {
        let today = web.app.today();
        if let Some(actor) = parts.extensions.get::<Actor>() {
            let page_token = web.page_token()?.to_owned();
            return Ok(Self { actor: actor.clone(), page_token, signed_in: false, today });
        }
        if let Some(session) = session_name(&parts.headers).and_then(|name| web.sessions.get(name))
            && let Some(actor) = web.app.actor_of_token(&session.secret).await?
        {
            return Ok(Self { actor, page_token: session.page_token, signed_in: true, today });
        }
        let then = if parts.method == Method::GET { parts.uri.to_string() } else { "/".to_owned() };
        Err(PageError::SignIn { then, page_token: web.page_token()?.to_owned() })
    }
}

/// The session a browser names.
pub(crate) fn session_name(headers: &HeaderMap) -> Option<&str> {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|value| value.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find_map(|(name, value)| (name == COOKIE).then_some(value))
}

/// What stands in the address.
pub(crate) struct Asked(pub Fields);

impl<S: Send + Sync> FromRequestParts<S> for Asked {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, PageError> {
        let Query(pairs) = Query::try_from_uri(&parts.uri).map_err(|_| PageError::address())?;
        Ok(Self(Fields(pairs)))
    }
}

/// A form somebody sent from a page of ours. There is no other way to a form's fields, so no handler can forget to look.
pub(crate) struct Sent {
    /// Who.
    pub who: Who,
    /// What.
    pub fields: Fields,
}

impl Sent {
    /// The change this form asks for, under the key it was written with.
    pub fn change(&self) -> Change<'_> {
        match self.fields.text(KEY_FIELD) {
            Some(key) => Change::keyed(&self.who.actor, format!("page/{key}")),
            None => Change::by(&self.who.actor),
        }
    }
}

impl FromRequest<Web> for Sent {
    type Rejection = PageError;

    async fn from_request(request: Request, web: &Web) -> Result<Self, PageError> {
        let (mut parts, body) = request.into_parts();
        let who = Who::from_request_parts(&mut parts, web).await?;
        let fields = fields_of(Request::from_parts(parts, body), &who.page_token).await?;
        Ok(Self { who, fields })
    }
}

/// The fields of a form that carries this token.
pub(crate) async fn fields_of(request: Request, page_token: &str) -> Result<Fields, PageError> {
    same_site(request.headers())?;
    let Form(pairs) = Form::<Vec<(String, String)>>::from_request(request, &())
        .await
        .map_err(|_: <Form<Vec<(String, String)>> as FromRequest<()>>::Rejection| PageError::form())?;
    let fields = Fields(pairs);
    if !same_secret(fields.first(TOKEN_FIELD), page_token) {
        return Err(PageError::other_site());
    }
    Ok(fields)
}

/// Files somebody sent from a page of ours, with the fields beside them.
pub(crate) struct SentFiles {
    /// Who.
    pub who: Who,
    /// What stood beside the files.
    pub fields: Fields,
    /// Their names, and what they hold.
    pub files: Vec<(String, Vec<u8>)>,
}

impl FromRequest<Web> for SentFiles {
    type Rejection = PageError;

    async fn from_request(request: Request, web: &Web) -> Result<Self, PageError> {
        let (mut parts, body) = request.into_parts();
        let who = Who::from_request_parts(&mut parts, web).await?;
        same_site(&parts.headers)?;
        let request = Request::from_parts(parts, body);
        let mut form = Multipart::from_request(request, web).await.map_err(|_| PageError::form())?;
        let (mut fields, mut files) = (Fields::default(), Vec::new());
        while let Some(part) = form.next_field().await.map_err(too_much)? {
            let name = part.name().unwrap_or_default().to_owned();
            let file = part.file_name().map(ToOwned::to_owned);
            let bytes = part.bytes().await.map_err(too_much)?;
            match file {
                // A browser sends a file without a name where none was chosen.
                Some(file) if !file.is_empty() => files.push((file, bytes.to_vec())),
                Some(_) => {}
                None => fields.0.push((name, String::from_utf8_lossy(&bytes).into_owned())),
            }
        }
        if !same_secret(fields.first(TOKEN_FIELD), &who.page_token) {
            return Err(PageError::other_site());
        }
        Ok(Self { who, fields, files })
    }
}

fn too_much(error: MultipartError) -> PageError {
    match error.status() {
        StatusCode::PAYLOAD_TOO_LARGE => PageError::too_much(),
        _ => PageError::form(),
    }
}

/// Browsers say where a request comes from; what says nothing still has to bring the token.
fn same_site(headers: &HeaderMap) -> Result<(), PageError> {
    let site = headers.get("sec-fetch-site").and_then(|value| value.to_str().ok());
    if site.is_some_and(|site| site != "same-origin" && site != "none") {
        return Err(PageError::other_site());
    }
    Ok(())
}

/// What handlers answer.
pub(crate) type Answer = Result<Response, PageError>;
