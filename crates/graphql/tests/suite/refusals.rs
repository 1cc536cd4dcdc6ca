//! What is not done: refusals as typed answers, mistakes as errors with places, and nothing half done.

use serde_json::{Value, json};

use crate::house::{House, mutation};

async fn ticket(house: &House) -> Value {
    let input = json!({
        "of": { "pack": { "code": "HW-500" } },
        "size": { "batch": { "amount": "100", "unit": "kg" } },
        "plannedFor": "2026-11-26",
        "number": "T-1",
    });
    house.change("ticketWrite", input, "... on TicketWritePayload { ticket { id number } }").await
}

#[tokio::test]
async fn refusals_are_typed() {
    let house = House::furnished().await;
    house.stock("SLES", "L-1", "5", "kg", "7.50").await;
    ticket(&house).await;

    let allocation = house
        .change(
            "ticketAllocate",
            json!({ "ticket": { "code": "T-1" } }),
            "... on Refused { short: refusals { ... on ShelfShort { materialCode needed { amount unit } available { amount } on } } }",
        )
        .await;
    assert_eq!(allocation["__typename"], "Refused");
    let sles = allocation["short"].as_array().unwrap().iter().find(|short| short["materialCode"] == "SLES");
    assert_eq!(
        sles.unwrap(),
        &json!({
            "materialCode": "SLES",
            "needed": { "amount": "12", "unit": "kg" },
            "available": { "amount": "5" },
            "on": "2026-11-26",
        })
    );

    let weighing = json!({
        "ticket": { "code": "T-1" },
        "weighings": [{ "line": 3, "lot": { "code": "L-1" }, "amount": { "amount": "6", "unit": "kg" } }],
    });
    let weighed = house.change("ticketWeigh", weighing, "").await;
    assert_eq!(weighed["refusals"][0]["code"], "LOT_SHORT");
    assert!(weighed["refusals"][0]["message"].as_str().unwrap().contains("L-1"));
    assert!(!weighed["refusals"][0]["help"].as_str().unwrap().is_empty());

    let again = ticket(&house).await;
    assert_eq!(again["refusals"][0]["__typename"], "Taken");

    let draft = house.ask(r#"{ formula(code: "HW-1") { version(number: 2) { id } } }"#).await;
    let approved = house
        .change(
            "formulaVersionApprove",
            json!({ "version": draft["formula"]["version"]["id"] }),
            "... on Refused { broken: refusals { ... on UseLevelBroken { materialCode foundPercent limitPercent } } }",
        )
        .await;
    assert_eq!(
        approved["broken"],
        json!([{ "materialCode": "PRES", "foundPercent": "1.2", "limitPercent": "1" }])
    );

    let after = house.ask(r#"{ lot(number: "L-1") { onHand { amount } movements { nodes { kind } } } ticket(number: "T-1") { status } }"#).await;
    assert_eq!(after["lot"]["onHand"]["amount"], "5");
    assert_eq!(after["lot"]["movements"]["nodes"].as_array().unwrap().len(), 1);
    assert_eq!(after["ticket"]["status"], "PLANNED");
}

#[tokio::test]
async fn mistakes_name_their_places_in_one_go() {
    let house = House::furnished().await;
    let input = json!({
        "requestKey": "k",
        "material": { "code": "SLES" },
        "quantity": { "amount": "1.0000000001", "unit": "kg" },
        "value": { "amount": "1.0000001", "currency": "GBP" },
        "activeMatterPercent": "1e-12",
    });
    let (code, problems) = house.error(&mutation("lotReceive", ""), json!({ "input": input })).await;
    assert_eq!(code, "INVALID_INPUT");
    let places: Vec<&str> =
        problems.as_array().unwrap().iter().map(|problem| problem["place"].as_str().unwrap()).collect();
    assert_eq!(places, ["quantity", "value", "activeMatterPercent"]);

    // What the use case finds is reported in the same way.
    let input = json!({
        "requestKey": "k",
        "material": { "code": "SLES" },
        "quantity": { "amount": "0", "unit": "kg" },
        "expiresOn": "2020-01-01",
        "receivedOn": "2030-01-01",
    });
    let (code, problems) = house.error(&mutation("lotReceive", ""), json!({ "input": input })).await;
    assert_eq!(code, "INVALID_INPUT");
    let places: Vec<&str> =
        problems.as_array().unwrap().iter().map(|problem| problem["place"].as_str().unwrap()).collect();
    assert!(
        places.contains(&"quantity") && places.contains(&"receivedOn") && places.contains(&"expiresOn"),
        "{places:?}"
    );

    let (code, _) = house
        .error(
            &mutation("lotReceive", ""),
            json!({ "input": { "requestKey": "k", "material": { "code": "NONE" }, "quantity": { "amount": 1, "unit": "kg" } } }),
        )
        .await;
    assert_eq!(code, "NOT_FOUND");

    for (wrong, input) in [
        (
            "a fraction",
            json!({ "requestKey": "k", "material": { "code": "SLES" }, "quantity": { "amount": 1.5, "unit": "kg" } }),
        ),
        (
            "a unit",
            json!({ "requestKey": "k", "material": { "code": "SLES" }, "quantity": { "amount": "1", "unit": "bag" } }),
        ),
        (
            "a currency",
            json!({ "requestKey": "k", "material": { "code": "SLES" }, "quantity": { "amount": "1", "unit": "kg" }, "value": { "amount": "1", "currency": "POUNDS" } }),
        ),
        (
            "both of one",
            json!({ "requestKey": "k", "material": { "code": "SLES", "id": "x" }, "quantity": { "amount": "1", "unit": "kg" } }),
        ),
    ] {
        let response = house.ask_with(&mutation("lotReceive", ""), json!({ "input": input })).await;
        assert!(!response.errors.is_empty(), "{wrong}");
        for error in &response.errors {
            let code = error.extensions.as_ref().and_then(|values| values.get("code"));
            assert_eq!(
                code,
                Some(&async_graphql::Value::from("INVALID_INPUT")),
                "{wrong}: {}",
                error.message
            );
        }
    }
    assert_eq!(house.ask("{ lots { totalCount } }").await["lots"]["totalCount"], 0);
}

/// Sent twice it happens once and answers the same; the same key for something else is a mistake.
#[tokio::test]
async fn a_request_key_makes_a_change_happen_once() {
    let house = House::furnished().await;
    let input = |amount: &str| json!({ "material": { "code": "SLES" }, "quantity": { "amount": amount, "unit": "kg" } });
    let selection = "... on LotReceivePayload { lot { id number } }";
    let first = house.change_keyed("lotReceive", "receipt-7", input("25"), selection).await;
    let second = house.change_keyed("lotReceive", "receipt-7", input("25"), selection).await;
    assert_eq!(first, second);
    assert_eq!(house.ask("{ lots { totalCount } }").await["lots"]["totalCount"], 1);

    let mut other = input("26");
    other["requestKey"] = json!("receipt-7");
    let (code, _) = house.error(&mutation("lotReceive", ""), json!({ "input": other })).await;
    assert_eq!(code, "REQUEST_KEY_REUSED");
}

/// What goes wrong inside is for the log: nothing of it is told outside.
#[tokio::test]
async fn faults_tell_nothing_of_the_inside() {
    let house = House::furnished().await;
    house.lose_table("lots").await;
    for query in [
        "{ lots { nodes { number } } }",
        r#"{ material(code: "SLES") { onHand { amount } } }"#,
        "{ outlook { until } }",
    ] {
        let response = house.ask_with(query, json!({})).await;
        let (code, problems) = crate::house::error_of(&response);
        assert_eq!((code.as_str(), problems), ("INTERNAL", Value::Null), "{query}");
        let text = serde_json::to_string(&response).unwrap();
        assert!(text.contains("something went wrong inside; it has been logged"), "{text}");
        for word in ["no such table", "SELECT", "sqlite", "src/"] {
            assert!(!text.contains(word), "{word} stands in {text}");
        }
    }
}
