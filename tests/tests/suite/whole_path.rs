//! The whole path over the API: a delivery comes in, a run is checked, made and filled, and the shelf and the what-if follow.

use black_box::{Server, run};
use rust_decimal::Decimal;
use serde_json::{Value, json};
use testkit::{db::TestDatabase, on_both_databases};

on_both_databases!(from_a_delivery_to_filled_bottles, rights_are_kept_apart);

const RECEIVE: &str = "mutation($input: LotReceiveInput!) { lotReceive(input: $input) {
    ... on LotReceivePayload { lot { id number status onHand { amount unit } value { amount } } }
    ... on Refused { refusals { code message } } } }";
const STATUS: &str = "mutation($input: LotStatusChangeInput!) { lotStatusChange(input: $input) {
    ... on LotStatusChangePayload { lot { number status } } ... on Refused { refusals { code message } } } }";
const WRITE: &str = "mutation($input: TicketWriteInput!) { ticketWrite(input: $input) {
    ... on TicketWritePayload { ticket { number status batchKg lines { position targetKg material { code kind } } } }
    ... on Refused { refusals { code message } } } }";
const ALLOCATE: &str = "mutation($input: TicketAllocateInput!) { ticketAllocate(input: $input) {
    ... on TicketAllocatePayload { ticket { status lines { position targetKg material { code }
        allocations { lot { number } quantity { amount } } } } }
    ... on Refused { refusals { code message } } } }";
const WEIGH: &str = "mutation($input: TicketWeighInput!) { ticketWeigh(input: $input) {
    ... on TicketWeighPayload { ticket { status lines { position targetKg remainingKg } weighings { by checkedBy } } }
    ... on Refused { refusals { code message } } } }";
const COMPLETE: &str = "mutation($input: TicketCompleteInput!) { ticketComplete(input: $input) {
    ... on TicketCompletePayload { ticket { status completion { yieldKg lot { number value { amount } }
        fillings { filled { amount } lot { number status onHand { amount unit } value { amount } } } } } }
    ... on Refused { refusals { code message } } } }";

/// What a change answered, which must not be a refusal.
#[track_caller]
fn done(data: &Value, change: &str) -> Value {
    let answer = data[change].clone();
    assert!(answer.get("refusals").is_none(), "{change}: {answer}");
    answer
}

fn decimal(value: &Value) -> Decimal {
    value.as_str().unwrap_or_else(|| panic!("{value} is no decimal string")).parse().unwrap()
}

async fn on_hand(server: &Server, lot: &str) -> Decimal {
    let query = "query($lot: String!) { lot(number: $lot) { onHand { amount } } }";
    decimal(&server.graphql(query, json!({ "lot": lot })).await.data()["lot"]["onHand"]["amount"])
}

async fn from_a_delivery_to_filled_bottles(database: &TestDatabase) {
    run(database.url(), ["demo", "--check"]).code(0);
    let server = Server::with_token(database.url());
    let today = server.graphql("{ shelf { on } }", json!({})).await.data()["shelf"]["on"].clone();

    // A delivery: in quarantine until somebody releases it, and once however often it is sent.
    let delivery = json!({ "input": { "requestKey": "delivery-1", "number": "L-NEW", "material": { "code": "CAPB30" },
        "quantity": { "amount": "120", "unit": "KG" }, "value": { "amount": "125.40", "currency": "GBP" },
        "supplier": { "code": "ELB" }, "supplierLot": "E-77", "activeMatterPercent": "30.1" } });
    let received = server.graphql(RECEIVE, delivery.clone()).await.data();
    let lot = done(&received, "lotReceive")["lot"].clone();
    assert_eq!((lot["status"].as_str(), lot["onHand"]["amount"].as_str()), (Some("QUARANTINE"), Some("120")));
    assert_eq!(server.graphql(RECEIVE, delivery.clone()).await.data(), received);
    let mut other = delivery;
    other["input"]["quantity"]["amount"] = json!("12");
    assert_eq!(server.graphql(RECEIVE, other).await.error_code(), "REQUEST_KEY_REUSED");

    // The run fits the shelf.
    let check =
        "query($input: RunCheckInput!) { runCheck(input: $input) { verdict batchKg most { units } } }";
    let checked = server
        .graphql(check, json!({ "input": { "of": { "pack": { "code": "HW-500" } }, "amount": { "units": "300" }, "on": today } }))
        .await
        .data();
    assert_eq!(checked["runCheck"]["verdict"], "CAN_BE_MADE", "{checked}");

    // The ticket, its lots, its weighings.
    let input = json!({ "input": { "requestKey": "write-1", "number": "T-NEW", "of": { "pack": { "code": "HW-500" } },
        "size": { "units": "300" }, "plannedFor": today } });
    let written = done(&server.graphql(WRITE, input).await.data(), "ticketWrite")["ticket"].clone();
    assert_eq!(written["status"], "PLANNED");
    assert_eq!(written["batchKg"], checked["runCheck"]["batchKg"]);
    let targets: Decimal =
        written["lines"].as_array().unwrap().iter().map(|line| decimal(&line["targetKg"])).sum();
    assert_eq!(targets, decimal(&written["batchKg"]));

    // A lot nobody has released cannot be weighed.
    let betaine =
        written["lines"].as_array().unwrap().iter().find(|l| l["material"]["code"] == "CAPB30").unwrap();
    let weigh_new = |key: &str, amount: &str| {
        json!({ "input": { "requestKey": key, "ticket": { "code": "T-NEW" }, "weighings": [
            { "line": betaine["position"], "lot": { "code": "L-NEW" }, "amount": { "amount": amount, "unit": "KG" } }] } })
    };
    let refused = server.graphql(WEIGH, weigh_new("weigh-0", "1")).await.data();
    // The token's holder may release, but gives no reason.
    assert_eq!(refused["ticketWeigh"]["refusals"][0]["code"], "LOT_NOT_USABLE");
    let release =
        json!({ "input": { "requestKey": "release-1", "lot": { "code": "L-NEW" }, "status": "RELEASED" } });
    let released = done(&server.graphql(STATUS, release).await.data(), "lotStatusChange");
    assert_eq!(released["lot"]["status"], "RELEASED");
    // Nor can more than there is.
    let refused = server.graphql(WEIGH, weigh_new("weigh-1", "120.000000001")).await.data();
    let codes = refused["ticketWeigh"]["refusals"].as_array().unwrap();
    assert!(codes.iter().any(|refusal| refusal["code"] == "LOT_SHORT"), "{refused}");

    let input = json!({ "input": { "requestKey": "allocate-1", "ticket": { "code": "T-NEW" } } });
    let allocated = done(&server.graphql(ALLOCATE, input).await.data(), "ticketAllocate")["ticket"].clone();
    assert_eq!(allocated["status"], "ALLOCATED");
    let mut weighings = Vec::new();
    for line in allocated["lines"].as_array().unwrap() {
        let allocations = line["allocations"].as_array().unwrap();
        let mut weigh = |lot: Option<&Value>, amount: &Value| {
            weighings
                .push(json!({ "line": line["position"], "lot": lot.map(|number| json!({ "code": number })),
                "amount": { "amount": amount, "unit": "KG" }, "checkedBy": "Maisry Thackwold" }));
        };
        if allocations.is_empty() {
            assert_eq!(line["material"]["code"], "WAT");
            weigh(None, &line["targetKg"]);
        }
        for allocation in allocations {
            weigh(Some(&allocation["lot"]["number"]), &allocation["quantity"]["amount"]);
        }
    }
    let first = weighings.iter().find(|w| !w["lot"].is_null()).unwrap().clone();
    let first_lot = first["lot"]["code"].as_str().unwrap();
    let before = on_hand(&server, first_lot).await;
    let weigh = json!({ "input": { "requestKey": "weigh-2", "ticket": { "code": "T-NEW" }, "weighings": weighings } });
    let weighed = done(&server.graphql(WEIGH, weigh.clone()).await.data(), "ticketWeigh")["ticket"].clone();
    assert_eq!(weighed["status"], "WEIGHING");
    // Lots are promised by their nominal strength, and count by what their certificates say.
    for line in weighed["lines"].as_array().unwrap() {
        let within = decimal(&line["targetKg"]) * Decimal::new(3, 2);
        assert!(decimal(&line["remainingKg"]).abs() <= within, "{line}");
    }
    done(&server.graphql(WEIGH, weigh).await.data(), "ticketWeigh");
    let taken = before - on_hand(&server, first_lot).await;
    assert_eq!(taken, decimal(&first["amount"]["amount"]), "sent twice, weighed once");

    // Bottles.
    let input = json!({ "input": { "requestKey": "complete-1", "ticket": { "code": "T-NEW" }, "lotNumber": "B-NEW",
        "yieldMass": { "amount": "160", "unit": "KG" }, "densityKgPerL": "1.03",
        "fillings": [{ "pack": { "code": "HW-500" }, "filled": "300" }] } });
    let completed = done(&server.graphql(COMPLETE, input).await.data(), "ticketComplete")["ticket"].clone();
    assert_eq!(completed["status"], "RECONCILED");
    let filling = &completed["completion"]["fillings"][0];
    assert_eq!(
        (filling["lot"]["onHand"]["amount"].as_str(), filling["lot"]["status"].as_str()),
        (Some("300"), Some("QUARANTINE"))
    );
    assert!(decimal(&filling["lot"]["value"]["amount"]) > Decimal::ZERO);
    // 300 × 0.500 L × 1.03 kg/L × 1.01 of overfill.
    assert_eq!(on_hand(&server, "B-NEW").await, "3.955".parse::<Decimal>().unwrap());

    // Where it came from, and where it went.
    let trace = "query($made: String!, $used: String!) { made: lot(number: $made) { madeBy { number } usedBy { number } }
        used: lot(number: $used) { usedBy { number } } }";
    let traced = server.graphql(trace, json!({ "made": "B-NEW", "used": first_lot })).await.data();
    assert_eq!(traced["made"]["madeBy"]["number"], "T-NEW");
    assert!(traced["used"]["usedBy"].as_array().unwrap().iter().any(|ticket| ticket["number"] == "T-NEW"));

    // The shelf knows the bottles; a what-if over price and lot writes nothing.
    let shelf = run(database.url(), ["--json", "shelf", "--material", "HW-500"]).code(0).json();
    let lots = shelf["materials"][0]["lots"].as_array().unwrap();
    assert!(lots.iter().any(|lot| lot["number"] == filling["lot"]["number"]), "{shelf}");
    let what_if = "query($changes: [ChangeInput!]!) { whatIf(changes: $changes) { hitsNothing
        packs { code before { perUnit { amount } } after { perUnit { amount } } yearlyEffect { amount } }
        lots { lot { number } strandedAfter { amount } } } }";
    let changes = json!({ "changes": [
        { "price": { "of": { "material": { "code": "CAPB30" } }, "by": { "percent": "12" } } },
        { "lotRejected": { "lot": { "code": "L-NEW" }, "on": today } }] });
    let answer = server.graphql(what_if, changes).await.data();
    let bottle =
        answer["whatIf"]["packs"].as_array().unwrap().iter().find(|hit| hit["code"] == "HW-500").unwrap();
    assert!(
        decimal(&bottle["after"]["perUnit"]["amount"]) > decimal(&bottle["before"]["perUnit"]["amount"]),
        "{bottle}"
    );
    assert!(answer["whatIf"]["lots"].as_array().unwrap().iter().any(|hit| hit["lot"]["number"] == "L-NEW"));
    assert_eq!(on_hand(&server, "L-NEW").await, Decimal::from(120));

    run(database.url(), ["ledger", "verify"]).code(0);
}

async fn rights_are_kept_apart(database: &TestDatabase) {
    run(database.url(), ["demo", "--check"]).code(0);
    let mut server = Server::with_token(database.url());
    let made =
        run(database.url(), ["--json", "token", "create", "--name", "eyes", "--may", "look"]).code(0).json();
    server.token = made["secret"].as_str().map(ToOwned::to_owned);
    let delivery = json!({ "input": { "requestKey": "d", "material": { "code": "CAPB30" },
        "quantity": { "amount": "1", "unit": "KG" } } });
    assert_eq!(server.graphql(RECEIVE, delivery).await.error_code(), "FORBIDDEN");
    let release =
        json!({ "input": { "requestKey": "r", "lot": { "code": "L-2610-012" }, "status": "RELEASED" } });
    assert_eq!(server.graphql(STATUS, release).await.error_code(), "FORBIDDEN");
    assert_eq!(
        server.graphql("{ lot(number: \"L-2610-012\") { status } }", json!({})).await.data()["lot"]["status"],
        "ON_HOLD"
    );
}
