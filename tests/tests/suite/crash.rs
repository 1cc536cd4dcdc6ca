//! What was acknowledged survives a power cut, and what was not can be sent again.

use black_box::{Server, run};
use serde_json::{Value, json};
use std::{
    collections::BTreeSet,
    sync::{
        Arc, Mutex,
        atomic::{AtomicU32, Ordering},
    },
    time::Duration,
};
use testkit::{db::TestDatabase, on_both_databases};

on_both_databases!(acknowledged_postings_survive_a_kill);

const RECEIVE: &str = "mutation($input: LotReceiveInput!) { lotReceive(input: $input) {
    ... on LotReceivePayload { lot { number onHand { amount } } } ... on Refused { refusals { code } } } }";

/// Clients that send at once.
const CLIENTS: u32 = 6;
/// Deliveries that are acknowledged before the power goes.
const ACKNOWLEDGED: usize = 40;

fn delivery(number: u32) -> Value {
    json!({ "input": { "requestKey": format!("crash-{number}"), "number": format!("C-{number}"),
        "material": { "code": "SALT" }, "quantity": { "amount": format!("{number}.000000001"), "unit": "KG" },
        "unitCost": { "amount": "0.333", "currency": "GBP" } } })
}

async fn acknowledged_postings_survive_a_kill(database: &TestDatabase) {
    run(database.url(), ["demo", "--check"]).code(0);
    let mut server = Server::with_token(database.url());
    let token = server.token.clone();
    let next = Arc::new(AtomicU32::new(1));
    let acknowledged = Arc::new(Mutex::new(BTreeSet::new()));
    let clients: Vec<_> = (0..CLIENTS)
        .map(|_| {
            let (next, acknowledged) = (Arc::clone(&next), Arc::clone(&acknowledged));
            let (url, token) = (server.url.clone(), token.clone().unwrap());
            tokio::spawn(async move {
                let client = reqwest::Client::builder().no_proxy().build().unwrap();
                loop {
                    let number = next.fetch_add(1, Ordering::SeqCst);
                    let body = json!({ "query": RECEIVE, "variables": delivery(number) });
                    let sent =
                        client.post(format!("{url}/graphql")).bearer_auth(&token).json(&body).send().await;
                    // The power has gone.
                    let Ok(response) = sent else { break };
                    let Ok(answer) = response.json::<Value>().await else { break };
                    if answer.pointer("/data/lotReceive/lot/number").is_some() {
                        acknowledged.lock().unwrap().insert(number);
                    }
                }
            })
        })
        .collect();
    for _ in 0..600 {
        if acknowledged.lock().unwrap().len() >= ACKNOWLEDGED {
            break;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    server.kill();
    for client in clients {
        client.await.unwrap();
    }
    let acknowledged = acknowledged.lock().unwrap().clone();
    assert!(acknowledged.len() >= ACKNOWLEDGED, "{}", server.log());

    run(database.url(), ["ledger", "verify"]).code(0);
    let mut server = Server::start(database.url(), &["serve"]);
    server.token = token;
    let on_hand = "query($number: String!) { lot(number: $number) { onHand { amount } } }";
    for number in &acknowledged {
        let lot = server.graphql(on_hand, json!({ "number": format!("C-{number}") })).await.data();
        assert_eq!(lot["lot"]["onHand"]["amount"], format!("{number}.000000001"), "C-{number}");
    }
    // Whatever became of the others: sent again, all of them are there once.
    for number in 1..next.load(Ordering::SeqCst) {
        let again = server.graphql(RECEIVE, delivery(number)).await.data();
        assert_eq!(again["lotReceive"]["lot"]["onHand"]["amount"], format!("{number}.000000001"), "{again}");
    }
    run(database.url(), ["ledger", "verify"]).code(0);
}
