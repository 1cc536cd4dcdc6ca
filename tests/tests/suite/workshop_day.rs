//! A day in the workshop, over GraphQL and the command line: plan runs, weigh with a mistake put right, test, fill, close, trace, drill.

use black_box::{Server, run};
use rust_decimal::Decimal;
use serde_json::{Value, json};
use testkit::{db::TestDatabase, on_both_databases};

on_both_databases!(a_day_in_the_workshop);

/// Sends a change and gives its payload, or its refusals.
async fn change(server: &Server, name: &str, shown: &str, input: Value) -> Value {
    let mut type_name = name.to_owned();
    type_name[..1].make_ascii_uppercase();
    let query = format!(
        "mutation($input: {type_name}Input!) {{ {name}(input: $input) {{
            ... on {type_name}Payload {{ {shown} }} ... on Refused {{ refusals {{ code message help }} }} }} }}"
    );
    server.graphql(&query, json!({ "input": input })).await.data()[name].clone()
}

fn decimal(value: &Value) -> Decimal {
    value.as_str().unwrap_or_else(|| panic!("{value} is no decimal string")).parse().unwrap()
}

fn code(answer: &Value) -> &str {
    answer["refusals"][0]["code"].as_str().unwrap_or_else(|| panic!("not refused: {answer}"))
}

async fn a_day_in_the_workshop(database: &TestDatabase) {
    run(database.url(), ["demo", "--check"]).code(0);
    let server = Server::with_token(database.url());
    let today = server.graphql("{ shelf { on } }", json!({})).await.data()["shelf"]["on"].clone();
    let kg = |amount: &str| json!({ "amount": amount, "unit": "KG" });

    // Which of these can I make today? The first fits; with it gone, the same again does not.
    let runs = run(database.url(), ["--json", "runs", "HW-500 400", "HW-500 400"]).code(1).json();
    let verdicts: Vec<(&str, &str)> = runs["runs"]
        .as_array()
        .unwrap()
        .iter()
        .map(|run| (run["alone"].as_str().unwrap(), run["together"].as_str().unwrap()))
        .collect();
    assert_eq!(verdicts, [("can-be-made", "can-be-made"), ("can-be-made", "short")], "{runs}");
    assert!(!runs["runs"][1]["short"].as_array().unwrap().is_empty());
    let one = json!({ "of": { "pack": { "code": "HW-500" } }, "amount": { "units": "400" }, "on": today });
    let query =
        "query($runs: [RunCheckInput!]!) { runChecks(inputs: $runs) { canBeMade alone { verdict } } }";
    let checked = server.graphql(query, json!({ "runs": [one, one] })).await.data();
    assert_eq!(checked["runChecks"][0]["canBeMade"], true);
    assert_eq!(checked["runChecks"][1]["canBeMade"], false);

    // What the batch will be examined for, and the ticket, each weighing of which a second person looks at.
    let limit = json!({ "requestKey": "limit", "formula": { "code": "HW-01" }, "name": "pH", "lower": "5.0", "upper": "6.5" });
    change(&server, "checkLimitApprove", "limit { name }", limit).await;
    let write = json!({ "requestKey": "write", "number": "T-DAY", "of": { "pack": { "code": "HW-500" } },
        "size": { "units": "300" }, "plannedFor": today, "secondCheckEverywhere": true });
    change(&server, "ticketWrite", "ticket { number }", write).await;
    let allocate = json!({ "requestKey": "allocate", "ticket": { "code": "T-DAY" } });
    let shown = "ticket { lines { position targetKg fillsUp material { code }
        allocations { lot { number } quantity { amount } } } }";
    let allocated = change(&server, "ticketAllocate", shown, allocate).await;
    let mut weighings = Vec::new();
    for line in allocated["ticket"]["lines"].as_array().unwrap() {
        let promises = line["allocations"].as_array().unwrap();
        if promises.is_empty() {
            weighings.push(
                json!({ "line": line["position"], "amount": { "amount": line["targetKg"], "unit": "KG" } }),
            );
        }
        for promise in promises {
            weighings.push(json!({ "line": line["position"], "lot": { "code": promise["lot"]["number"] },
                "amount": { "amount": promise["quantity"]["amount"], "unit": "KG" } }));
        }
    }

    // A mistake: half of the first lot is weighed again from the same sheet. It is refused, then put right.
    let mut first = weighings.iter().find(|w| !w["lot"].is_null()).unwrap().clone();
    let lot = first["lot"]["code"].as_str().unwrap().to_owned();
    let half = decimal(&first["amount"]["amount"]) / Decimal::from(2);
    first["amount"]["amount"] = json!(half.round_dp(3).to_string());
    let weigh = |key: &str, weighings: Value| json!({ "requestKey": key, "ticket": { "code": "T-DAY" }, "weighings": weighings });
    let shown = "ticket { status weighings { id by takenBack } }";
    let weighed = change(&server, "ticketWeigh", shown, weigh("weigh-1", json!([first]))).await;
    assert_eq!(weighed["ticket"]["status"], "WEIGHING");
    let again = change(&server, "ticketWeigh", shown, weigh("weigh-2", json!([first]))).await;
    assert_eq!(code(&again), "ENTERED_BEFORE");
    let wrong = weighed["ticket"]["weighings"][0]["id"].clone();
    let back = json!({ "requestKey": "back", "ticket": { "code": "T-DAY" }, "weighing": wrong, "reason": "wrong pail" });
    change(&server, "weighingTakeBack", "ticket { number }", back).await;
    let weighed = change(&server, "ticketWeigh", shown, weigh("weigh-3", json!(weighings))).await;
    let standing: Vec<&Value> = weighed["ticket"]["weighings"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|weighing| weighing["takenBack"].is_null())
        .collect();
    assert_eq!(standing.len(), weighings.len(), "{weighed}");

    // A second person confirms; whoever weighed may not.
    let step =
        |key: &str, step: &str| json!({ "requestKey": key, "ticket": { "code": "T-DAY" }, "step": step });
    let early = change(&server, "ticketStep", "ticket { status }", step("make-0", "MAKE")).await;
    assert_eq!(code(&early), "NOT_CHECKED");
    let made = run(
        database.url(),
        ["--json", "token", "create", "--name", "Maisry Thackwold", "--may", "look,plan-and-make"],
    )
    .code(0)
    .json();
    let secret = made["secret"].as_str().map(ToOwned::to_owned);
    let mut server = server;
    let own = std::mem::replace(&mut server.token, secret);
    for (at, weighing) in standing.iter().enumerate() {
        let confirm = json!({ "requestKey": format!("confirm-{at}"), "ticket": { "code": "T-DAY" }, "weighing": weighing["id"] });
        change(&server, "weighingConfirm", "ticket { number }", confirm).await;
    }
    server.token = own;
    change(&server, "ticketStep", "ticket { status }", step("make-1", "MAKE")).await;
    change(&server, "ticketStep", "ticket { status }", step("test-1", "TEST")).await;
    let bulk = |key: &str| {
        json!({ "requestKey": key, "ticket": { "code": "T-DAY" }, "lotNumber": "B-DAY", "yieldMass": kg("159.3"),
            "densityKgPerL": "1.03", "lost": [{ "bucket": "HEEL", "amount": kg("4") }] })
    };
    assert_eq!(
        code(&change(&server, "ticketBulk", "ticket { status }", bulk("bulk-0")).await),
        "CHECKS_NOT_MET"
    );
    let check = json!({ "requestKey": "ph", "ticket": { "code": "T-DAY" }, "name": "pH", "figure": "5.6", "instrument": "PH-2" });
    let checked = change(&server, "batchCheckRecord", "check { passed }", check).await;
    assert_eq!(checked["check"]["passed"], true);

    // Filled in two goes, the account closed, everything released.
    let made = change(&server, "ticketBulk", "ticket { status chargedKg }", bulk("bulk-1")).await;
    assert_eq!(made["ticket"]["status"], "FILLING", "{made}");
    let fill = |key: &str, units: &str| json!({ "requestKey": key, "ticket": { "code": "T-DAY" }, "pack": { "code": "HW-500" }, "filled": units });
    change(&server, "ticketFill", "ticket { status }", fill("fill-1", "200")).await;
    change(&server, "ticketFill", "ticket { status }", fill("fill-2", "100")).await;
    let shown = "ticket { status finish { account { chargedKg bulkKg filledKg leftKg unaccountedInMakingKg unaccountedPercent } } }";
    let reconcile = json!({ "requestKey": "reconcile", "ticket": { "code": "T-DAY" },
        "lostInMaking": [{ "bucket": "EVAPORATED", "amount": kg("0.3") }] });
    let closed = change(&server, "ticketReconcile", shown, reconcile).await;
    assert_eq!(closed["ticket"]["status"], "RECONCILED", "{closed}");
    let account = &closed["ticket"]["finish"]["account"];
    let figure = |name: &str| decimal(&account[name]);
    assert_eq!(figure("filledKg") + figure("leftKg"), figure("bulkKg"));
    assert_eq!(
        figure("chargedKg") - figure("bulkKg") - Decimal::new(43, 1),
        figure("unaccountedInMakingKg"),
        "heel and vapour are named"
    );
    let decide = json!({ "requestKey": "decide", "ticket": { "code": "T-DAY" }, "release": true });
    let decided = change(&server, "ticketDecide", "ticket { status steps { to } }", decide).await;
    assert_eq!(decided["ticket"]["status"], "RELEASED", "{decided}");

    // Traced both ways, and drilled: nothing is changed by it.
    let before = server
        .graphql("{ lots(first: 100) { nodes { number status onHand { amount } } } }", json!({}))
        .await
        .data();
    let drill = run(database.url(), ["--json", "recall-drill", &lot]).code(0).json();
    let finished: Vec<&str> =
        drill["finished"].as_array().unwrap().iter().map(|row| row["lot"].as_str().unwrap()).collect();
    assert!(finished.contains(&"B-DAY/HW-500") && finished.contains(&"B-DAY/HW-500-2"), "{drill}");
    assert!(drill["took_milliseconds"].as_i64().unwrap() >= 0);
    for row in drill["trace"]["lots"]
        .as_array()
        .unwrap()
        .iter()
        .chain(drill["trace"]["lots_ahead"].as_array().unwrap())
    {
        assert_eq!(row["unexplained"]["amount"], "0", "{row}");
    }
    let page = run(database.url(), ["recall-drill", &lot, "--html"]).code(0);
    assert!(page.out.starts_with("<!doctype html>") && page.out.contains("B-DAY/HW-500-2"));
    let query = "query($lot: String!) { recallDrill(lot: { code: $lot }) { accountedPercent finished { lot { number } made { amount } } }
        trace(lot: { code: \"B-DAY/HW-500\" }) { cut back { level lot { number } balance { unexplained { amount } } }
            backEdges { from to ticketNumber passage quantity { amount unit } } } }";
    let found = server.graphql(query, json!({ "lot": lot })).await.data();
    assert_eq!(found["trace"]["cut"], false);
    let back: Vec<&str> = found["trace"]["back"]
        .as_array()
        .unwrap()
        .iter()
        .map(|l| l["lot"]["number"].as_str().unwrap())
        .collect();
    assert!(back.contains(&"B-DAY") && back.contains(&lot.as_str()), "{back:?}");
    // Behind the premix stands its gum: more than one level.
    assert!(
        found["trace"]["back"].as_array().unwrap().iter().any(|lot| lot["level"].as_u64() >= Some(3)),
        "{found}"
    );
    let text = run(database.url(), ["trace", "B-DAY/HW-500"]).code(0);
    assert!(text.out.contains("Where it came from") && text.out.contains("T-DAY"));
    let after = server
        .graphql("{ lots(first: 100) { nodes { number status onHand { amount } } } }", json!({}))
        .await
        .data();
    assert_eq!(before, after);
    run(database.url(), ["trace", "no such lot"]).code(2);
    run(database.url(), ["ledger", "verify"]).code(0);
}
