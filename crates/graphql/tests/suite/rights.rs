//! Who may do what: every change and every root question, by each capability alone.

use domain::people::Capability::{
    self, Administer, ApproveFormulas, Buy, Look, PlanAndMake, ReleaseAndReject,
};
use serde_json::{Value, json};

use crate::house::{House, error_of, mutation, somebody};

/// Each change, an input that names what does not exist or makes no sense, and the right it takes.
fn changes() -> Vec<(&'static str, Value, Capability)> {
    let lot = json!({ "code": "none" });
    let ticket = json!({ "code": "none" });
    let kg = json!({ "amount": "1", "unit": "kg" });
    let pounds = json!({ "amount": "1", "currency": "GBP" });
    vec![
        ("lotReceive", json!({ "material": { "code": "none" }, "quantity": kg }), Buy),
        ("lotStatusChange", json!({ "lot": lot, "status": "RELEASED" }), ReleaseAndReject),
        ("lotCount", json!({ "lot": lot, "found": kg, "reason": "x" }), PlanAndMake),
        ("lotTake", json!({ "lot": lot, "quantity": kg, "purpose": "SAMPLE", "reason": "x" }), PlanAndMake),
        ("movementReverse", json!({ "movement": "none", "reason": "x" }), Administer),
        (
            "ticketWrite",
            json!({ "of": { "pack": { "code": "none" } }, "size": { "units": 1 }, "plannedFor": "2026-12-01" }),
            PlanAndMake,
        ),
        ("ticketAllocate", json!({ "ticket": ticket }), PlanAndMake),
        ("ticketWeigh", json!({ "ticket": ticket, "weighings": [] }), PlanAndMake),
        ("weighingTakeBack", json!({ "ticket": ticket, "weighing": "none", "reason": "x" }), PlanAndMake),
        ("ticketComplete", json!({ "ticket": ticket, "yieldMass": kg }), PlanAndMake),
        ("checkLimitApprove", json!({ "formula": { "code": "none" }, "name": "pH" }), ApproveFormulas),
        ("batchCheckRecord", json!({ "ticket": ticket, "name": "pH", "figure": "6" }), PlanAndMake),
        ("ticketBulk", json!({ "ticket": ticket, "yieldMass": kg }), PlanAndMake),
        ("ticketFill", json!({ "ticket": ticket, "pack": { "code": "none" }, "filled": "1" }), PlanAndMake),
        ("ticketReconcile", json!({ "ticket": ticket }), PlanAndMake),
        ("ticketDecide", json!({ "ticket": ticket, "release": true }), ReleaseAndReject),
        ("ticketStep", json!({ "ticket": ticket, "step": "MAKE" }), PlanAndMake),
        ("ticketScale", json!({ "ticket": ticket, "batch": kg, "reason": "x" }), PlanAndMake),
        ("ticketVoid", json!({ "ticket": ticket, "reason": "x", "otherwise": "SCRAPPED" }), PlanAndMake),
        ("weighingConfirm", json!({ "ticket": ticket, "weighing": "none" }), PlanAndMake),
        (
            "balanceRecord",
            json!({ "code": "x", "name": "x", "division": kg, "capacity": { "amount": "0", "unit": "kg" } }),
            Administer,
        ),
        (
            "alternateApprove",
            json!({
                "material": { "code": "none" }, "alternate": { "code": "none" }, "factor": "1", "changesLabel": false,
            }),
            ApproveFormulas,
        ),
        ("ticketCancel", json!({ "ticket": ticket, "reason": "x" }), PlanAndMake),
        (
            "quotationRecord",
            json!({
                "reference": "x", "supplier": { "code": "none" }, "material": { "code": "none" },
                "validFrom": "2026-12-01", "offers": [{ "pack": kg, "price": pounds }],
            }),
            Buy,
        ),
        (
            "formulaVersionWrite",
            json!({ "formula": { "code": "none" }, "writtenAs": { "percent": true }, "lines": [], "usualBatch": kg }),
            PlanAndMake,
        ),
        (
            "houseRateRecord",
            json!({ "name": "", "of": "LABOUR_HOUR", "amount": { "stated": pounds }, "from": "2026-12-01" }),
            Administer,
        ),
        ("packFillingWrite", json!({ "pack": { "code": "none" } }), Administer),
        ("formulaVersionApprove", json!({ "version": "none" }), ApproveFormulas),
        ("formulaVersionRetire", json!({ "version": "none" }), ApproveFormulas),
        ("standardsFreeze", json!({ "basis": "STANDARD" }), Administer),
        ("containersAdd", json!({ "lot": lot, "containers": [] }), Buy),
        ("containerChange", json!({ "lot": lot, "container": 1, "openedOn": "2026-12-01" }), PlanAndMake),
        ("containerRepack", json!({ "lot": lot, "from": 1, "into": [] }), PlanAndMake),
        ("lotTransfer", json!({ "lot": lot, "to": "none" }), PlanAndMake),
        ("lotOrder", json!({ "material": { "code": "none" }, "quantity": kg }), Buy),
        ("lotRetest", json!({ "lot": lot, "until": "2027-12-01", "reason": "x" }), ReleaseAndReject),
        ("lotCertificate", json!({ "lot": lot }), ReleaseAndReject),
        (
            "lotDocumentAdd",
            json!({ "lot": lot, "kind": "CERTIFICATE_OF_ANALYSIS", "link": "https://papers.example/1", "sha256": "x" }),
            PlanAndMake,
        ),
        ("lotCostSettle", json!({ "lot": lot, "value": pounds, "reason": "x" }), Buy),
        ("locationPut", json!({ "code": "", "name": "x" }), Administer),
        ("stockRulePut", json!({ "material": { "code": "none" } }), Administer),
        ("countOpen", json!({ "materials": [{ "code": "none" }] }), PlanAndMake),
        ("countEnter", json!({ "count": "none", "lot": lot, "found": kg }), PlanAndMake),
        ("countEnd", json!({ "count": "none", "approve": true, "reason": "x" }), ReleaseAndReject),
        ("scenarioKeep", json!({ "name": "", "changes": [] }), PlanAndMake),
    ]
}

/// Rights come before anything else: who lacks one learns nothing about the input or what exists.
#[tokio::test]
async fn every_change_takes_its_right() {
    let house = House::furnished().await;
    for (name, mut input, needed) in changes() {
        input["requestKey"] = json!("k");
        for capability in Capability::ALL {
            let actor = somebody(&[Look, capability]);
            let response = house.ask_as(actor, &mutation(name, ""), json!({ "input": input })).await;
            let (code, _) = error_of(&response);
            if capability == needed {
                assert!(
                    ["NOT_FOUND", "INVALID_INPUT"].contains(&code.as_str()),
                    "{name} with {capability}: {code}"
                );
            } else {
                assert_eq!(code, "FORBIDDEN", "{name} with {capability}");
            }
        }
    }
}

/// What stands in the schema stands in the list above.
#[tokio::test]
async fn no_change_is_left_out() {
    let house = House::furnished().await;
    let schema = house.ask(r#"{ __type(name: "Mutation") { fields { name } } }"#).await;
    let fields = schema["__type"]["fields"].as_array().unwrap();
    let mut in_schema: Vec<&str> = fields.iter().map(|field| field["name"].as_str().unwrap()).collect();
    let mut listed: Vec<&str> = changes().into_iter().map(|(name, _, _)| name).collect();
    in_schema.sort_unstable();
    listed.sort_unstable();
    assert_eq!(in_schema, listed);
}

#[tokio::test]
async fn every_question_takes_the_right_to_look() {
    let house = House::furnished().await;
    let questions = [
        "house { today }",
        "material(code: \"WAT\") { code }",
        "materials { nodes { code } }",
        "supplier(code: \"OAK\") { code }",
        "suppliers { nodes { code } }",
        "quotations { nodes { reference } }",
        "exchangeRates { nodes { rate } }",
        "houseRates { nodes { rate } }",
        "standards { nodes { explained } }",
        "formula(code: \"HW-1\") { code }",
        "formulas { nodes { code } }",
        "pack(code: \"HW-500\") { code }",
        "packs { nodes { code } }",
        "lot(number: \"L-1\") { number }",
        "lots { nodes { number } }",
        "ticket(number: \"T-1\") { number }",
        "tickets { nodes { number } }",
        "trace(lot: { code: \"L-1\" }) { cut }",
        "recallDrill(lot: { code: \"L-1\" }) { by }",
        "runChecks(inputs: []) { canBeMade }",
        "balances { code }",
        "alternates(material: { code: \"SLES\" }) { factor }",
        "shelf { on }",
        "outlook { until }",
        "whatIf(changes: []) { hitsNothing }",
        "runCheck(input: { of: { pack: { code: \"HW-500\" } }, amount: { units: 1 }, on: \"2026-12-01\" }) { verdict }",
        "node(id: \"TWF0ZXJpYWw6MDAwMDAwMDAtMDAwMC03MDAwLTgwMDAtMDAwMDAwMDAwMDAw\") { id }",
        "nodes(ids: [\"TWF0ZXJpYWw6MDAwMDAwMDAtMDAwMC03MDAwLTgwMDAtMDAwMDAwMDAwMDAw\"]) { id }",
        "auditEntries { nodes { by } }",
    ];
    for question in questions {
        let query = format!("{{ {question} }}");
        let response = house.ask_as(somebody(&[]), &query, json!({})).await;
        assert_eq!(error_of(&response).0, "FORBIDDEN", "{question}");
        let response = house.ask_as(somebody(&[Look]), &query, json!({})).await;
        if question.starts_with("auditEntries") {
            assert_eq!(error_of(&response).0, "FORBIDDEN", "the trail takes the right to administer");
        } else if question.starts_with("trace") || question.starts_with("recallDrill") {
            assert_eq!(error_of(&response).0, "NOT_FOUND", "there is no such lot to follow");
        } else {
            assert!(response.errors.is_empty(), "{question}: {:?}", response.errors);
        }
    }
    let response = house.ask_as(somebody(&[]), "{ asker { name may } }", json!({})).await;
    assert_eq!(response.data.into_json().unwrap()["asker"], json!({ "name": "Jory Nance", "may": [] }));
}
