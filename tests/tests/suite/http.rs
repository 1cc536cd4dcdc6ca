//! GraphQL over HTTP, and everything around it, as a client meets it.

use black_box::{Server, run};
use serde_json::{Value, json};
use std::time::{Duration, Instant};
use testkit::{db::TestDatabase, on_both_databases};

on_both_databases!(a_token_is_needed, changes_of_others_are_seen);

async fn a_token_is_needed(database: &TestDatabase) {
    let create = ["--json", "token", "create", "--name", "looker", "--may", "look"];
    let looker = run(database.url(), create).code(0).json();
    let mut server = Server::with_token(database.url());
    let everything = server.token.take();

    let refused = server.graphql("{ __typename }", json!({})).await;
    assert_eq!((refused.status, refused.error_code().as_str()), (401, "UNAUTHENTICATED"));
    assert_eq!(refused.header("www-authenticate"), Some("Bearer"));
    server.token = Some(format!("{}x", everything.unwrap()));
    assert_eq!(server.graphql("{ __typename }", json!({})).await.status, 401);
    let basic = server.request("POST", "/graphql").header("authorization", "Basic eDp5").json(&json!({}));
    assert_eq!(server.send(basic).await.status, 401);

    server.token = Some(looker["secret"].as_str().unwrap().to_owned());
    assert_eq!(server.graphql("{ __typename }", json!({})).await.data()["__typename"], "Query");
    // Ended while the server runs.
    run(database.url(), ["token", "revoke", looker["token"]["id"].as_str().unwrap()]).code(0);
    assert_eq!(server.graphql("{ __typename }", json!({})).await.status, 401);
}

/// What another process puts into the catalogue is answered from soon after.
async fn changes_of_others_are_seen(database: &TestDatabase) {
    let server = Server::with_token(database.url());
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("suppliers.csv");
    std::fs::write(&file, "code,name,currency\nALPHA,Alpha,EUR\n").unwrap();
    run(database.url(), ["import", file.to_str().unwrap()]).code(0);
    let begun = Instant::now();
    loop {
        let answer = server.graphql("{ supplier(code: \"ALPHA\") { name } }", json!({})).await;
        if answer.json().pointer("/data/supplier/name").and_then(Value::as_str) == Some("Alpha") {
            break;
        }
        assert!(begun.elapsed() < Duration::from_secs(10), "{answer:#?}");
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
}

const GRAPHQL_JSON: &str = "application/graphql-response+json";

/// GraphQL over HTTP (draft), sections "Request" and "Response": methods, media types, status codes.
#[tokio::test]
async fn the_rules_of_graphql_over_http() {
    let database = TestDatabase::sqlite().await;
    let server = Server::with_token(database.url());
    let post = |accept: &str, body: &str| {
        let request = server.request("POST", "/graphql").header("accept", accept);
        request.header("content-type", "application/json").body(body.to_owned())
    };
    let ok = r#"{"query": "{ __typename }"}"#;
    for (accept, body, status) in [
        ("application/json", ok, 200),
        (GRAPHQL_JSON, ok, 200),
        ("*/*", ok, 200),
        ("text/html", ok, 406),
        ("application/json", r#"{"query": "{ nothingOfTheKind }"}"#, 200),
        (GRAPHQL_JSON, r#"{"query": "{ nothingOfTheKind }"}"#, 400),
        ("application/json", r#"{"query": "{"}"#, 200),
        (GRAPHQL_JSON, r#"{"query": "{"}"#, 400),
        (GRAPHQL_JSON, r#"{"query": "query A { __typename } query B { __typename }"}"#, 400),
        ("application/json", r#"{"query": 7}"#, 400),
        (GRAPHQL_JSON, r#"{"query": "{ __typename }", "variables": 7}"#, 400),
        ("application/json", "{", 400),
        ("application/json", "[]", 400),
        ("application/json", "", 400),
    ] {
        let answer = server.send(post(accept, body)).await;
        assert_eq!(answer.status, status, "{accept} {body}: {answer:#?}");
        let expected = if accept == GRAPHQL_JSON && answer.error_status() != "BAD_REQUEST" {
            "application/graphql-response+json; charset=utf-8"
        } else {
            "application/json; charset=utf-8"
        };
        assert_eq!(answer.header("content-type"), Some(expected), "{accept} {body}");
        // What could not be run has no data at all.
        if answer.json().get("errors").is_some() {
            assert!(answer.json().get("data").is_none(), "{answer:#?}");
        }
    }

    let form = server.request("POST", "/graphql").header("content-type", "text/plain").body(ok);
    assert_eq!(server.send(form).await.status, 415);
    assert_eq!(server.send(server.request("POST", "/graphql").body(ok)).await.status, 415);

    let get = |query: &str| server.send(server.request("GET", &format!("/graphql?query={query}")));
    assert_eq!(get("%7B__typename%7D").await.data()["__typename"], "Query");
    assert_eq!(get("").await.status, 200);
    assert_eq!(server.send(server.request("GET", "/graphql")).await.status, 400);
    let refused = get("mutation%7B__typename%7D").await;
    assert_eq!((refused.status, refused.header("allow")), (405, Some("POST")));
    let refused = server.send(server.request("DELETE", "/graphql")).await;
    assert_eq!(refused.status, 405);
    assert!(refused.header("allow").is_some());

    // More than a body may hold.
    let large =
        post("application/json", &format!(r#"{{"query": "{{ __typename }} #{}"}}"#, "x".repeat(1 << 20)));
    assert_eq!(server.send(large).await.status, 413);
}

trait ErrorStatus {
    fn error_status(&self) -> String;
}

impl ErrorStatus for black_box::Answer {
    /// The code of the first error, or nothing.
    fn error_status(&self) -> String {
        self.json()
            .pointer("/errors/0/extensions/code")
            .and_then(Value::as_str)
            .unwrap_or_default()
            .to_owned()
    }
}

#[tokio::test]
async fn pages_bring_all_they_need_and_nothing_from_elsewhere() {
    let database = TestDatabase::sqlite().await;
    let mut server = Server::with_token(database.url());
    // Pages and signs of life need no token.
    server.token = None;
    for (path, content_type) in [
        ("/sign-in", "text/html"),
        ("/explorer", "text/html"),
        ("/explorer.js", "text/javascript"),
        ("/style.css", "text/css"),
        ("/schema.graphql", "text/plain"),
        ("/healthz", "application/json"),
        ("/readyz", "application/json"),
    ] {
        let answer = server.send(server.request("GET", path)).await;
        assert_eq!(answer.status, 200, "{path}");
        assert!(answer.header("content-type").unwrap().starts_with(content_type), "{path}: {answer:#?}");
        assert!(answer.header("content-security-policy").unwrap().contains("default-src 'none'"), "{path}");
        assert_eq!(answer.header("x-content-type-options"), Some("nosniff"), "{path}");
        assert!(answer.header("x-request-id").is_some(), "{path}");
        assert!(answer.header("access-control-allow-origin").is_none(), "{path}");
        if content_type == "text/html" {
            assert!(!answer.body.contains("http://") && !answer.body.contains("https://"), "{path}");
            assert!(!answer.body.contains("<script>") && !answer.body.contains(" style="), "{path}");
        }
    }
    // Other pages ask who is there.
    let closed = server.send(server.request("GET", "/")).await;
    assert_eq!((closed.status, closed.header("www-authenticate")), (401, Some("Bearer")));
    assert!(
        closed.header("content-type").unwrap().starts_with("text/html") && closed.body.contains("Sign in")
    );
    let sdl = server.send(server.request("GET", "/schema.graphql")).await.body;
    assert_eq!(sdl, run(database.url(), ["schema"]).code(0).out);
    let missing = server.send(server.request("GET", "/nothing")).await;
    assert_eq!((missing.status, missing.error_code().as_str()), (404, "NOT_FOUND"));
}

/// The question that stands on the page, and the one the demo prints, can be asked as they are.
#[tokio::test]
async fn questions_shown_to_newcomers_are_answered() {
    let database = TestDatabase::sqlite().await;
    let server = Server::start(database.url(), &["demo"]);
    let script = server.send(server.request("GET", "/explorer.js")).await.body;
    let question = script.split('`').nth(1).unwrap();
    let answer = server.graphql(question, json!({})).await.data();
    assert!(answer["packs"]["nodes"].as_array().unwrap().len() > 5, "{answer}");

    let printed = server.printed("Ctrl-C");
    let body = printed.split("-d '").nth(1).and_then(|rest| rest.split('\'').next()).unwrap();
    let request = server.request("POST", "/graphql").header("content-type", "application/json");
    let answer = server.send(request.body(body.to_owned())).await.data();
    assert_eq!(answer["pack"]["costSheet"]["totals"]["perUnit"]["currency"], "GBP", "{answer}");
}

#[tokio::test]
async fn request_ids_go_through_and_unfit_ones_do_not() {
    let database = TestDatabase::sqlite().await;
    let server = Server::with_token(database.url());
    let with_id = |id: &str| server.send(server.request("GET", "/healthz").header("x-request-id", id));
    assert_eq!(with_id("order-7").await.header("x-request-id"), Some("order-7"));
    assert_ne!(with_id("a b\"c").await.header("x-request-id"), Some("a b\"c"));
    let long = "x".repeat(300);
    assert_ne!(with_id(&long).await.header("x-request-id"), Some(long.as_str()));
}

/// Several clients ask for a compressed answer and get one.
#[tokio::test]
async fn answers_are_compressed_when_asked() {
    let database = TestDatabase::sqlite().await;
    let server = Server::with_token(database.url());
    let request = server.request("GET", "/schema.graphql").header("accept-encoding", "gzip");
    let raw = server.try_send(request).await.unwrap();
    assert_eq!(raw.header("content-encoding"), Some("gzip"));
}
