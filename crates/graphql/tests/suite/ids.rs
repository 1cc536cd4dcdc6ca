//! Global ids.

use base64::Engine as _;
use serde_json::{Value, json};

use crate::house::House;

#[tokio::test]
async fn every_kind_of_thing_is_found_by_its_id() {
    let house = House::furnished().await;
    house.stock("SLES", "L-1", "100", "kg", "150").await;
    let input = json!({
        "of": { "formula": { "code": "HW-1" } },
        "size": { "batch": { "amount": "50", "unit": "kg" } },
        "plannedFor": "2026-11-26",
        "number": "T-1",
    });
    house.change("ticketWrite", input, "").await;
    let found = house
        .ask(
            r#"{
                material(code: "sles") { id }
                supplier(code: "OAK") { id }
                quotations(first: 1) { nodes { id } }
                formula(code: "HW-1") { id currentVersion { id } }
                pack(code: "HW-500") { id }
                lot(number: "l-1") { id movements { nodes { id } } }
                ticket(number: "T-1") { id }
            }"#,
        )
        .await;
    let kinds = [
        ("Material", &found["material"]["id"]),
        ("Supplier", &found["supplier"]["id"]),
        ("Quotation", &found["quotations"]["nodes"][0]["id"]),
        ("Formula", &found["formula"]["id"]),
        ("FormulaVersion", &found["formula"]["currentVersion"]["id"]),
        ("Pack", &found["pack"]["id"]),
        ("Lot", &found["lot"]["id"]),
        ("Movement", &found["lot"]["movements"]["nodes"][0]["id"]),
        ("Ticket", &found["ticket"]["id"]),
    ];
    let query = "query($id: ID!) { node(id: $id) { __typename id } }";
    for (kind, id) in kinds {
        let node = house.data(query, json!({ "id": id })).await;
        assert_eq!(node["node"], json!({ "__typename": kind, "id": id }));
    }
    let ids: Vec<&Value> = kinds.iter().map(|(_, id)| *id).collect();
    let nodes = house.data("query($ids: [ID!]!) { nodes(ids: $ids) { id } }", json!({ "ids": ids })).await;
    let answered: Vec<&Value> = nodes["nodes"].as_array().unwrap().iter().map(|node| &node["id"]).collect();
    assert_eq!(answered, ids, "in the order asked");
}

#[tokio::test]
async fn ids_are_opaque_and_of_one_kind() {
    let house = House::furnished().await;
    let found = house.ask(r#"{ material(code: "SLES") { id } }"#).await;
    let id = found["material"]["id"].as_str().unwrap();
    assert!(!id.contains(':') && !id.contains("Material"), "{id}");

    let input = json!({ "requestKey": "k", "lot": { "id": id }, "status": "RELEASED" });
    let (code, problems) =
        house.error(&crate::house::mutation("lotStatusChange", ""), json!({ "input": input })).await;
    assert_eq!(code, "INVALID_INPUT");
    assert_eq!(
        problems,
        json!([{ "place": "lot.id", "message": "this is the id of a Material, not of a Lot" }])
    );

    let query = "query($id: ID!) { node(id: $id) { id } }";
    for wrong in ["", "7", "Material", "TWF0ZXJpYWw6eA", "!!!"] {
        let (code, problems) = house.error(query, json!({ "id": wrong })).await;
        assert_eq!(code, "INVALID_INPUT", "{wrong}");
        assert_eq!(problems[0]["place"], "id");
    }
}

#[tokio::test]
async fn an_id_of_nothing_is_null() {
    let house = House::furnished().await;
    for kind in ["Material", "Lot", "Ticket", "Movement", "Quotation", "ExchangeRate", "FormulaVersion"] {
        let text = format!("{kind}:00000000-0000-7000-8000-000000000000");
        let id = base64::engine::general_purpose::URL_SAFE_NO_PAD.encode(text);
        let node = house.data("query($id: ID!) { node(id: $id) { id } }", json!({ "id": id })).await;
        assert_eq!(node["node"], Value::Null, "{kind}");
    }
}
