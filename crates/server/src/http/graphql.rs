//! GraphQL over HTTP, as the specification of that name (draft of the GraphQL Foundation) has it.
//!
//! A request that cannot be answered at all is 400 to a client that accepts `application/graphql-response+json`; a client that
//! accepts plain JSON only gets 200 with the errors, unless the request is not even well-formed. GET takes queries only.

use async_graphql::{
    Request, Response as Answer, ServerError, Value, Variables,
    parser::{
        parse_query,
        types::{DocumentOperations, OperationType},
    },
};
use axum::{
    body::to_bytes,
    extract::{Request as HttpRequest, State},
    http::{HeaderMap, HeaderValue, StatusCode, header},
    response::{IntoResponse as _, Response},
};
use graphql::Caller;
use serde::Serialize;
use serde_json::{Map, Value as Json};

use super::{
    BODY_BYTES_MAX, State as Shared,
    access::actor,
    frame::{plain, request_id},
    problem::problem,
};

/// How an answer is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum MediaType {
    /// `application/graphql-response+json`: the status tells whether the request could be answered.
    GraphqlResponse,
    /// `application/json`: for clients older than the specification.
    Json,
}

impl MediaType {
    fn header(self) -> HeaderValue {
        plain(match self {
            Self::GraphqlResponse => "application/graphql-response+json; charset=utf-8",
            Self::Json => "application/json; charset=utf-8",
        })
    }
}

/// A query in the address.
pub async fn by_get(State(shared): State<Shared>, request: HttpRequest) -> Response {
    let Some(media) = accepted(request.headers()) else { return not_acceptable() };
    let who = match actor(&shared.app, shared.access, request.headers()).await {
        Ok(who) => who,
        Err(refused) => return refused,
    };
    let asked = match from_address(request.uri().query().unwrap_or_default()) {
        Ok(asked) => asked,
        Err(why) => return bad_request(&why),
    };
    if !is_query(&asked) {
        let answer = problem(
            StatusCode::METHOD_NOT_ALLOWED,
            "METHOD_NOT_ALLOWED",
            "A GET takes queries only; send changes by POST.",
        );
        return ([(header::ALLOW, plain("POST"))], answer).into_response();
    }
    let caller = Caller::new(who, request_id(request.headers()).map(ToOwned::to_owned));
    shown(media, &graphql::execute(&shared.schema, caller, asked).await)
}

/// A query or a change in the body.
pub async fn by_post(State(shared): State<Shared>, request: HttpRequest) -> Response {
    let Some(media) = accepted(request.headers()) else { return not_acceptable() };
    if !is_json(request.headers()) {
        return problem(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "UNSUPPORTED_MEDIA_TYPE",
            "A POST takes application/json.",
        );
    }
    let who = match actor(&shared.app, shared.access, request.headers()).await {
        Ok(who) => who,
        Err(refused) => return refused,
    };
    let caller = Caller::new(who, request_id(request.headers()).map(ToOwned::to_owned));
    let Ok(body) = to_bytes(request.into_body(), BODY_BYTES_MAX).await else {
        return problem(
            StatusCode::PAYLOAD_TOO_LARGE,
            "PAYLOAD_TOO_LARGE",
            "The body did not arrive whole, or is larger than 1 MiB.",
        );
    };
    match from_body(&body) {
        Ok(asked) => shown(media, &graphql::execute(&shared.schema, caller, asked).await),
        Err(why) => bad_request(&why),
    }
}

fn bad_request(why: &str) -> Response {
    problem(StatusCode::BAD_REQUEST, "BAD_REQUEST", why)
}

fn not_acceptable() -> Response {
    problem(
        StatusCode::NOT_ACCEPTABLE,
        "NOT_ACCEPTABLE",
        "This answers as application/graphql-response+json or application/json.",
    )
}

/// The form the client likes best; plain JSON for one that says nothing.
fn accepted(headers: &HeaderMap) -> Option<MediaType> {
    let mut said_something = false;
    // Thousandths, so that no fraction is needed; RFC 9110, section 12.4.2.
    let mut best: Option<(u32, MediaType)> = None;
    for value in headers.get_all(header::ACCEPT) {
        for range in value.to_str().unwrap_or_default().split(',') {
            let mut parts = range.split(';').map(str::trim);
            let name = parts.next().unwrap_or_default().to_ascii_lowercase();
            if name.is_empty() {
                continue;
            }
            said_something = true;
            let media = match name.as_str() {
                "application/graphql-response+json" => MediaType::GraphqlResponse,
                "application/json" | "application/*" | "*/*" => MediaType::Json,
                _ => continue,
            };
            let weight = parts.find_map(|part| part.strip_prefix("q=")).map_or(1_000, thousandths);
            if weight > 0 && best.is_none_or(|(most, _)| weight > most) {
                best = Some((weight, media));
            }
        }
    }
    if said_something { best.map(|(_, media)| media) } else { Some(MediaType::Json) }
}

fn thousandths(text: &str) -> u32 {
    let (whole, fraction) = text.split_once('.').unwrap_or((text, ""));
    if whole == "1" {
        return 1_000;
    }
    let digits: String = fraction.chars().chain("000".chars()).take(3).collect();
    digits.parse().unwrap_or(0)
}

fn is_json(headers: &HeaderMap) -> bool {
    let Some(text) = headers.get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()) else {
        return false;
    };
    let mut parts = text.split(';').map(str::trim);
    let name = parts.next().unwrap_or_default();
    name.eq_ignore_ascii_case("application/json")
        && parts.filter_map(|part| part.split_once('=')).all(|(key, value)| {
            !key.eq_ignore_ascii_case("charset") || value.trim_matches('"').eq_ignore_ascii_case("utf-8")
        })
}

fn from_body(body: &[u8]) -> Result<Request, String> {
    match serde_json::from_slice::<Json>(body) {
        Ok(Json::Object(fields)) => from_fields(fields),
        Ok(_) => {
            Err("The body must be a JSON object with a query; several at once are not taken.".to_owned())
        }
        Err(error) => Err(format!("The body is not JSON: {error}")),
    }
}

fn from_address(query: &str) -> Result<Request, String> {
    let pairs: Vec<(String, String)> = axum::extract::Query::try_from_uri(
        &format!("/?{query}").parse().map_err(|_| "The address cannot be read.".to_owned())?,
    )
    .map(|axum::extract::Query(pairs)| pairs)
    .map_err(|_| "The address cannot be read.".to_owned())?;
    let mut fields = Map::new();
    for (name, value) in pairs {
        let value = match name.as_str() {
            "variables" | "extensions" | "operationName" if value.is_empty() => Json::Null,
            "variables" | "extensions" => {
                serde_json::from_str(&value).map_err(|error| format!("{name} is not JSON: {error}"))?
            }
            "query" | "operationName" => Json::String(value),
            _ => continue,
        };
        fields.insert(name, value);
    }
    from_fields(fields)
}

fn from_fields(mut fields: Map<String, Json>) -> Result<Request, String> {
    let Some(Json::String(query)) = fields.remove("query") else {
        return Err("query is missing, or is not a text.".to_owned());
    };
    let mut request = Request::new(query);
    match fields.remove("operationName") {
        None | Some(Json::Null) => {}
        Some(Json::String(name)) => request = request.operation_name(name),
        Some(_) => return Err("operationName must be a text.".to_owned()),
    }
    match fields.remove("variables") {
        None | Some(Json::Null) => {}
        Some(variables @ Json::Object(_)) => request = request.variables(Variables::from_json(variables)),
        Some(_) => return Err("variables must be an object.".to_owned()),
    }
    match fields.remove("extensions") {
        None | Some(Json::Null | Json::Object(_)) => Ok(request),
        Some(_) => Err("extensions must be an object.".to_owned()),
    }
}

/// Whether what would be run is a query. A document that cannot be read is left to the answer to complain about.
fn is_query(request: &Request) -> bool {
    let Ok(document) = parse_query(&request.query) else { return true };
    let asked = match (&document.operations, &request.operation_name) {
        (DocumentOperations::Single(operation), _) => Some(operation),
        (DocumentOperations::Multiple(operations), Some(name)) => operations.get(name.as_str()),
        (DocumentOperations::Multiple(_), None) => None,
    };
    asked.is_none_or(|operation| operation.node.ty == OperationType::Query)
}

/// The answer as it is sent: without a `data` key when there was nothing to run.
#[derive(Serialize)]
struct Body<'a> {
    #[serde(skip_serializing_if = "Option::is_none")]
    data: Option<&'a Value>,
    #[serde(skip_serializing_if = "<[ServerError]>::is_empty")]
    errors: &'a [ServerError],
}

fn shown(media: MediaType, answer: &Answer) -> Response {
    // Errors of fields have a path; a request that could not be run has none anywhere.
    let could_not_run = !answer.errors.is_empty()
        && answer.data == Value::Null
        && answer.errors.iter().all(|error| error.path.is_empty());
    let body = Body { data: (!could_not_run).then_some(&answer.data), errors: &answer.errors };
    let status = match media {
        MediaType::GraphqlResponse if could_not_run => StatusCode::BAD_REQUEST,
        _ => StatusCode::OK,
    };
    match serde_json::to_vec(&body) {
        Ok(bytes) => {
            let headers = [
                (header::CONTENT_TYPE, media.header()),
                (header::CACHE_CONTROL, plain("no-store")),
                (header::VARY, plain("accept, authorization")),
            ];
            (status, headers, bytes).into_response()
        }
        Err(error) => {
            tracing::error!(%error, "an answer could not be written");
            problem(
                StatusCode::INTERNAL_SERVER_ERROR,
                "INTERNAL",
                "Something went wrong inside; it has been logged.",
            )
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check_accept(accept: Option<&str>, expected: Option<MediaType>) {
        let mut headers = HeaderMap::new();
        if let Some(accept) = accept {
            headers.insert(header::ACCEPT, accept.parse().unwrap());
        }
        assert_eq!(accepted(&headers), expected, "{accept:?}");
    }

    /// GraphQL over HTTP (draft), section "Media Types"; RFC 9110, section 12.5.1.
    #[test]
    fn the_form_of_an_answer_follows_accept() {
        check_accept(None, Some(MediaType::Json));
        check_accept(Some("*/*"), Some(MediaType::Json));
        check_accept(Some("application/json"), Some(MediaType::Json));
        check_accept(Some("application/graphql-response+json"), Some(MediaType::GraphqlResponse));
        check_accept(
            Some("application/graphql-response+json; charset=utf-8, application/json; charset=utf-8"),
            Some(MediaType::GraphqlResponse),
        );
        check_accept(
            Some("application/json;q=0.4, application/graphql-response+json;q=0.9"),
            Some(MediaType::GraphqlResponse),
        );
        check_accept(Some("text/html, */*;q=0.1"), Some(MediaType::Json));
        check_accept(Some("text/html"), None);
        check_accept(Some("application/json;q=0"), None);
    }

    fn check_type(content_type: &str, expected: bool) {
        let headers = HeaderMap::from_iter([(header::CONTENT_TYPE, content_type.parse().unwrap())]);
        assert_eq!(is_json(&headers), expected, "{content_type}");
    }

    #[test]
    fn only_json_bodies_are_taken() {
        check_type("application/json", true);
        check_type("Application/JSON; charset=\"UTF-8\"", true);
        check_type("application/json; charset=latin1", false);
        check_type("text/plain", false);
        check_type("application/x-www-form-urlencoded", false);
        assert!(!is_json(&HeaderMap::new()));
    }

    #[test]
    fn bodies_that_are_not_well_formed_are_named() {
        for (body, part) in [
            ("", "not JSON"),
            ("[]", "must be a JSON object"),
            ("{}", "query is missing"),
            (r#"{"query": 7}"#, "query is missing"),
            (r#"{"query": "{a}", "variables": []}"#, "variables must be"),
            (r#"{"query": "{a}", "variables": "{}"}"#, "variables must be"),
            (r#"{"query": "{a}", "operationName": {}}"#, "operationName must be"),
            (r#"{"query": "{a}", "extensions": 0}"#, "extensions must be"),
        ] {
            let why = from_body(body.as_bytes()).unwrap_err();
            assert!(why.contains(part), "{body}: {why}");
        }
        let asked = r#"{"query": "{a}", "variables": null, "operationName": null, "extensions": {}}"#;
        assert!(from_body(asked.as_bytes()).is_ok());
    }

    #[test]
    fn addresses_are_read() {
        let asked =
            from_address("query=query%20A%7Ba%7D&variables=%7B%22x%22%3A1%7D&operationName=A").unwrap();
        assert_eq!(asked.query, "query A{a}");
        assert_eq!(asked.operation_name.as_deref(), Some("A"));
        assert_eq!(asked.variables.get("x"), Some(&Value::from(1)));
        assert!(from_address("variables=%7B%7D").is_err());
        assert!(from_address("query=%7Ba%7D&variables=x").is_err());
    }

    #[test]
    fn changes_are_told_from_queries() {
        let named = |query: &str, name: &str| is_query(&Request::new(query).operation_name(name));
        assert!(is_query(&Request::new("{ a }")));
        assert!(!is_query(&Request::new("mutation { a }")));
        assert!(!is_query(&Request::new("subscription { a }")));
        assert!(named("query A { a } mutation B { b }", "A"));
        assert!(!named("query A { a } mutation B { b }", "B"));
    }
}
