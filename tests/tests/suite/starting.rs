//! Starting and stopping: nobody is let in by accident.

use black_box::{Server, run};
use testkit::{db::TestDatabase, on_both_databases};

on_both_databases!(without_tokens_it_does_not_start, open_access_is_for_the_demo_only, it_stops_when_asked);

async fn without_tokens_it_does_not_start(database: &TestDatabase) {
    let refused = run(database.url(), ["serve", "--listen", "127.0.0.1:0"]).code(2);
    assert!(refused.err.contains("stillroom token create"), "{}", refused.err);

    // A token that works no more lets nobody in either.
    let made =
        run(database.url(), ["--json", "token", "create", "--name", "x", "--may", "look"]).code(0).json();
    let id = made["token"]["id"].as_str().unwrap().to_owned();
    run(database.url(), ["token", "revoke", &id]).code(0);
    run(database.url(), ["serve", "--listen", "127.0.0.1:0"]).code(2);
    let listed = run(database.url(), ["--json", "token", "list"]).code(0);
    assert_eq!(listed.json()[0]["name"], "x");
    assert!(!listed.out.contains(made["secret"].as_str().unwrap()));
}

async fn open_access_is_for_the_demo_only(database: &TestDatabase) {
    let refused = run(database.url(), ["serve", "--open-demo", "--listen", "127.0.0.1:0"]).code(2);
    assert!(refused.err.contains("does not hold the demo"), "{}", refused.err);
    run(database.url(), ["demo", "--check"]).code(0);
    let refused = run(database.url(), ["serve", "--open-demo", "--listen", "0.0.0.0:0"]).code(2);
    assert!(refused.err.contains("other machines"), "{}", refused.err);
    run(database.url(), ["demo", "--listen", "0.0.0.0:0"]).code(2);
    // The demo is no reason to let everybody in who did not ask for it.
    run(database.url(), ["serve", "--listen", "127.0.0.1:0"]).code(2);

    let server = Server::start(database.url(), &["serve", "--open-demo"]);
    let answer = server.graphql("{ __typename }", serde_json::json!({})).await;
    assert_eq!(answer.data()["__typename"], "Query");
    // A page of another site whose name was made to point here.
    let request = server.request("POST", "/graphql").header("host", "demo.example").body("{}");
    assert_eq!(server.send(request).await.status, 403);
}

async fn it_stops_when_asked(database: &TestDatabase) {
    let mut server = Server::with_token(database.url());
    assert_eq!(server.send(server.request("GET", "/readyz")).await.status, 200);
    assert_eq!(server.stop().code(), Some(0));
    assert!(server.log().contains("stopping"), "{}", server.log());
}

#[tokio::test]
async fn an_address_in_use_is_told() {
    let database = TestDatabase::sqlite().await;
    let server = Server::with_token(database.url());
    let address = server.url.trim_start_matches("http://").to_owned();
    let refused = run(database.url(), ["serve", "--listen", &address]).code(3);
    assert!(refused.err.contains("--listen"), "{}", refused.err);
}
