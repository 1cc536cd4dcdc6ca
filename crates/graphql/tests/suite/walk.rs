//! The whole path: receive, release, check, write a ticket, allocate, weigh, complete, cost, and ask what if.

use serde_json::{Value, json};

use crate::house::House;

async fn furnished_and_stocked() -> House {
    let house = House::furnished().await;
    house.stock("SLES", "L-SLES", "100", "kg", "150.00").await;
    house.stock("PRES", "L-PRES", "5", "kg", "50.00").await;
    house.stock("GUM", "L-GUM", "2000", "g", "40.00").await;
    house.stock("STOCK", "L-STOCK", "20", "kg", "8.40").await;
    house.stock("BOT", "L-BOT", "1000", "pcs", "200.00").await;
    house
}

/// Worked by hand from the quotations: 77.2 kg of water at 0.002, 10 kg of gum stock at 0.40196, 12 kg at 1.50, 0.8 kg at 10.00, and
/// 40.00 of making: 70.174 over 98 kg good.
#[tokio::test]
async fn a_bottle_is_costed_and_every_figure_has_its_source() {
    let house = House::furnished().await;
    let answer = house
        .ask(
            r#"{ pack(code: "HW-500") { costSheet { complete asOf currency goodOutputKg
                filling { units }
                lines { kind label value { amount } valuePerUnit { amount } sharePercent unrounded { value }
                    source { __typename sentence ... on QuotationSource { quotation { reference } supplier { code } validity { state } } }
                    nested { label value { amount } } }
                totals { perBatch { amount } perKg { amount } perLitre { amount } perUnit { amount } unrounded { perKg perUnit } }
                margin { marginPercent earnedPerUnit { amount } } gaps { code } notes { code text } } } }"#,
        )
        .await;
    let sheet = &answer["pack"]["costSheet"];
    assert_eq!(sheet["complete"], true);
    assert_eq!(sheet["goodOutputKg"], "98");
    // 98 kg over 0.5 L × 1.03 kg/L × 1.01.
    assert_eq!(sheet["filling"]["units"], "188");
    assert_eq!(sheet["totals"]["perKg"]["amount"], "0.716061");
    assert_eq!(sheet["totals"]["unrounded"]["perKg"], "0.716061224");
    let lines = sheet["lines"].as_array().unwrap();
    let sles = lines.iter().find(|line| line["label"] == "SLES (Ether sulfate 70 %)").unwrap();
    assert_eq!(sles["value"]["amount"], "18");
    assert_eq!(sles["source"]["__typename"], "QuotationSource");
    assert_eq!(sles["source"]["quotation"]["reference"], "O-1");
    assert_eq!(sles["source"]["validity"]["state"], "VALID");
    let stock = lines.iter().find(|line| line["label"] == "STOCK (Gum stock)").unwrap();
    assert_eq!(stock["source"]["__typename"], "RolledUpSource");
    assert_eq!(stock["unrounded"]["value"], "4.0196");
    for line in lines {
        assert!(!line["source"]["sentence"].as_str().unwrap().is_empty());
    }
    for (column, total) in [("value", "perBatch"), ("valuePerUnit", "perUnit")] {
        assert_eq!(
            sum(lines, column),
            figure(&sheet["totals"][total]["amount"]),
            "{column} adds up as printed"
        );
    }
    let shares = lines.iter().map(|line| figure(&line["sharePercent"])).sum::<rust_decimal::Decimal>();
    assert_eq!(shares, rust_decimal::Decimal::ONE_HUNDRED);
}

fn figure(value: &Value) -> rust_decimal::Decimal {
    value.as_str().map_or_else(|| panic!("{value} is no figure"), |text| text.parse().unwrap())
}

fn sum(lines: &[Value], column: &str) -> rust_decimal::Decimal {
    lines.iter().map(|line| figure(&line[column]["amount"])).sum()
}

/// Worked by hand: 10 % of a stock that is 2 % gum makes 0.2 % gum, and its water joins the rest.
#[tokio::test]
async fn a_formula_is_taken_apart() {
    let house = House::furnished().await;
    let answer = house
        .ask(r#"{ formula(code: "HW-1") { approvedVersion { composition { complete levels materials { material { code } percent throughIntermediates } } } } }"#)
        .await;
    let composition = &answer["formula"]["approvedVersion"]["composition"];
    assert_eq!(composition["complete"], true);
    let materials = composition["materials"].as_array().unwrap();
    let percent = |code: &str| {
        let found = materials.iter().find(|part| part["material"]["code"] == code).unwrap();
        figure(&found["percent"])
    };
    assert_eq!(percent("GUM"), figure(&json!("0.2")));
    assert_eq!(percent("WAT"), figure(&json!("87")));
    let total: rust_decimal::Decimal = materials.iter().map(|part| figure(&part["percent"])).sum();
    assert_eq!(total, rust_decimal::Decimal::ONE_HUNDRED);
}

#[tokio::test]
async fn from_receipt_to_bottle() {
    let house = furnished_and_stocked().await;

    let check = r#"query($units: Decimal!) { runCheck(input: { of: { pack: { code: "HW-500" } }, amount: { units: $units }, on: "2026-11-27" }) {
        verdict batchKg units most { units limitedBy { code } }
        materials { material { code } needed { amount } shortBy { amount } takes { from { ... on TakenFromLot { number } } quantity { amount } } buy { order { packs cost { amount } orderBy } gap { code } } } } }"#;
    let possible = house.data(check, json!({ "units": 100 })).await;
    assert_eq!(possible["runCheck"]["verdict"], "CAN_BE_MADE");
    let too_many = house.data(check, json!({ "units": 1001 })).await;
    assert_eq!(too_many["runCheck"]["verdict"], "SHORT");
    let bottles = too_many["runCheck"]["materials"]
        .as_array()
        .unwrap()
        .iter()
        .find(|m| m["material"]["code"] == "BOT")
        .unwrap();
    assert_eq!(bottles["shortBy"]["amount"], "1");
    assert_eq!(bottles["buy"]["order"]["packs"], "1");

    let input = json!({
        "of": { "pack": { "code": "HW-500" } },
        "size": { "batch": { "amount": "100", "unit": "kg" } },
        "plannedFor": "2026-11-25",
        "number": "T-1",
    });
    let written = house
        .change("ticketWrite", input, "... on TicketWritePayload { ticket { status batchKg lines { position material { code } targetKg } } }")
        .await;
    assert_eq!(written["ticket"]["status"], "PLANNED");
    let targets: rust_decimal::Decimal =
        written["ticket"]["lines"].as_array().unwrap().iter().map(|line| figure(&line["targetKg"])).sum();
    assert_eq!(targets, rust_decimal::Decimal::ONE_HUNDRED);

    let allocated = house
        .change(
            "ticketAllocate",
            json!({ "ticket": { "code": "T-1" } }),
            "... on TicketAllocatePayload { ticket { status allocations { line lot { number reserved { amount } } quantity { amount } } } }",
        )
        .await;
    assert_eq!(allocated["ticket"]["status"], "ALLOCATED", "{allocated}");
    assert_eq!(allocated["ticket"]["allocations"].as_array().unwrap().len(), 3);

    let weighing = |line: u32, lot: Option<&str>, kg: &str| {
        let lot = lot.map_or(Value::Null, |number| json!({ "code": number }));
        json!({ "line": line, "lot": lot, "amount": { "amount": kg, "unit": "kg" } })
    };
    let input = json!({
        "ticket": { "code": "T-1" },
        "weighings": [
            weighing(1, None, "77.2"),
            weighing(2, Some("L-STOCK"), "10"),
            weighing(3, Some("L-SLES"), "12.05"),
            weighing(4, Some("L-PRES"), "0.8"),
        ],
    });
    let selection = "... on TicketWeighPayload { ticket { status lines { weighedKg remainingKg } weighings { id line amountKg lot { number } } } }";
    let weighed = house.change("ticketWeigh", input, selection).await;
    assert_eq!(weighed["ticket"]["status"], "WEIGHING", "{weighed}");
    assert_eq!(weighed["ticket"]["lines"][2], json!({ "weighedKg": "12.05", "remainingKg": "0" }));

    // One weighing was entered wrongly: taken back and entered again.
    let wrong = weighed["ticket"]["weighings"].as_array().unwrap().iter().find(|w| w["line"] == 3).unwrap();
    let input =
        json!({ "ticket": { "code": "T-1" }, "weighing": wrong["id"], "reason": "the scale was not tared" });
    let taken_back = house
        .change(
            "weighingTakeBack",
            input,
            "... on WeighingTakeBackPayload { ticket { weighings { line takenBack } } }",
        )
        .await;
    assert_eq!(taken_back["__typename"], "WeighingTakeBackPayload", "{taken_back}");
    let input = json!({ "ticket": { "code": "T-1" }, "weighings": [weighing(3, Some("L-SLES"), "12")] });
    house.change("ticketWeigh", input, selection).await;

    let input = json!({
        "ticket": { "code": "T-1" },
        "yieldMass": { "amount": "98", "unit": "kg" },
        "lotNumber": "B-1",
        "fillings": [{ "pack": { "code": "HW-500" }, "filled": 180, "lotNumber": "P-1" }],
        "note": "pH 5.4",
    });
    let completed = house
        .change(
            "ticketComplete",
            input,
            "... on TicketCompletePayload { ticket { status completion { yieldKg lot { number receivedValue { amount } status } fillings { filled { amount } lot { number onHand { amount unit } } } } } }",
        )
        .await;
    assert_eq!(completed["ticket"]["status"], "RECONCILED", "{completed}");
    let made = &completed["ticket"]["completion"]["lot"];
    // Gum stock 10 of 20 kg at 8.40 → 4.20; 12 kg of 100 at 150.00 → 18.00; 0.8 of 5 at 50.00 → 8.00; water 77.2 × 0.002; making 40.00.
    assert_eq!(made["receivedValue"]["amount"], "70.3544");
    let filled = &completed["ticket"]["completion"]["fillings"][0];
    assert_eq!(filled["lot"]["onHand"], json!({ "amount": "180", "unit": "{each}" }));

    // From the lot to where it went, and from what was made to what went in.
    let trace = house
        .ask(
            r#"{ lot(number: "L-SLES") { onHand { amount } value { amount } usedBy { number completion { lot { number } } }
                movements { nodes { kind quantity { amount } value { amount } reversesId ticket { number } } } }
              made: lot(number: "B-1") { madeBy { weighings { lot { number supplierLot } } } }
              auditEntries(first: 5) { nodes { operation by subjectKind subjectId } } }"#,
        )
        .await;
    assert_eq!(trace["lot"]["onHand"]["amount"], "88");
    assert_eq!(trace["lot"]["value"]["amount"], "132");
    assert_eq!(
        trace["lot"]["usedBy"],
        json!([{ "number": "T-1", "completion": { "lot": { "number": "B-1" } } }])
    );
    let kinds: Vec<&str> = trace["lot"]["movements"]["nodes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|movement| movement["kind"].as_str().unwrap())
        .collect();
    assert_eq!(kinds, ["RECEIPT", "WEIGHING", "REVERSAL", "WEIGHING"]);
    assert_eq!(trace["auditEntries"]["nodes"][0]["operation"], "ticket-complete");
    let actor = domain::people::Actor::with_all_capabilities("Maud Tremayne");
    assert_eq!(house.app.ledger_verify(&actor).await.unwrap(), vec![]);
}

#[tokio::test]
async fn what_if_a_supplier_raises_its_prices() {
    let house = furnished_and_stocked().await;
    let query = r#"query($changes: [ChangeInput!]!) { whatIf(changes: $changes, asOf: "2026-11-25") {
        costedOn hitsNothing yearlyEffect { amount } problems
        formulas { code change { amount } }
        packs { code before { perUnit { amount } marginPercent } after { perUnit { amount } marginPercent } change { amount } changePercent marginChangePoints yearlyEffect { amount } paths { through { code } sharePercent } notKnown } } }"#;
    let changes = json!([{ "price": { "of": { "supplier": { "code": "OAK" } }, "by": { "percent": "12" }, "from": "2026-12-01" } }]);
    let answer = house.data(query, json!({ "changes": changes })).await;
    let hit = &answer["whatIf"]["packs"][0];
    assert_eq!(hit["code"], "HW-500");
    assert_eq!(answer["whatIf"]["costedOn"], "2026-12-01");
    assert!(figure(&hit["after"]["perUnit"]["amount"]) > figure(&hit["before"]["perUnit"]["amount"]));
    assert!(figure(&hit["yearlyEffect"]["amount"]) > rust_decimal::Decimal::ZERO);
    assert_eq!(hit["yearlyEffect"], answer["whatIf"]["yearlyEffect"]);
    assert!(
        hit["paths"]
            .as_array()
            .unwrap()
            .iter()
            .any(|path| path["through"] == json!([{ "code": "GUM" }, { "code": "STOCK" }]))
    );

    let nothing = house.data(query, json!({ "changes": [] })).await;
    assert_eq!(nothing["whatIf"]["hitsNothing"], true);

    // Nothing was written.
    let after =
        house.ask(r#"{ pack(code: "HW-500") { costSheet { totals { perUnit { amount } } } } }"#).await;
    assert_eq!(after["pack"]["costSheet"]["totals"]["perUnit"], hit["before"]["perUnit"]);
}

#[tokio::test]
async fn what_if_a_lot_is_rejected() {
    let house = furnished_and_stocked().await;
    let input = json!({
        "of": { "pack": { "code": "HW-500" } },
        "size": { "batch": { "amount": "100", "unit": "kg" } },
        "plannedFor": "2026-12-03",
        "number": "T-1",
    });
    house.change("ticketWrite", input, "").await;
    let query = r"query($changes: [ChangeInput!]!) { whatIf(changes: $changes) {
        runs { effect on run { number } short { material { code } before { amount } after { amount } buy { order { supplier { code } } } } }
        lots { number strandedAfter { amount } valueAfter { amount } couldBeUsedIn { code } } } }";
    let changes = json!([{ "lotRejected": { "lot": { "code": "L-SLES" }, "on": "2026-12-01" } }]);
    let answer = house.data(query, json!({ "changes": changes })).await;
    let run = &answer["whatIf"]["runs"][0];
    assert_eq!((&run["effect"], &run["run"]["number"]), (&json!("SHORT"), &json!("T-1")));
    assert_eq!(run["short"][0]["material"]["code"], "SLES");
    assert_eq!(run["short"][0]["after"]["amount"], "12");
    let lot =
        answer["whatIf"]["lots"].as_array().unwrap().iter().find(|lot| lot["number"] == "L-SLES").unwrap();
    assert_eq!(lot["strandedAfter"]["amount"], "100");
    assert_eq!(lot["valueAfter"]["amount"], "150");

    let outlook = house.ask("{ outlook { runs { run { number } short } lots { number taken { amount } } materials { material { code } shortBy { amount } } } }").await;
    assert_eq!(outlook["outlook"]["runs"], json!([{ "run": { "number": "T-1" }, "short": false }]));
}

#[tokio::test]
async fn a_draft_is_written_approved_and_retired() {
    let house = House::furnished().await;
    let line = |code: &str, amount: Value| json!({ "material": { "code": code }, "amount": amount });
    let input = json!({
        "formula": { "code": "HW-1" },
        "writtenAs": { "gramsTotal": { "amount": "1000", "unit": "g" } },
        "lines": [
            line("WAT", json!({ "quantitySufficient": true })),
            line("SLES", json!({ "quantity": { "amount": "130", "unit": "g" } })),
            line("PRES", json!({ "quantity": { "amount": "8", "unit": "g" } })),
        ],
        "density": { "kgPerL": "1.03" },
        "processLossPercent": 2,
        "usualBatch": { "amount": "100", "unit": "kg" },
        "costPerBatch": { "amount": "40.00", "currency": "GBP" },
        "shelfLife": "P24M",
    });
    let written = house
        .change(
            "formulaVersionWrite",
            input,
            "... on FormulaVersionWritePayload { version { id number status shelfLife lines { sharePercent amountKind quantity { text } } costSheet { totals { perKg { amount } } } } }",
        )
        .await;
    let version = &written["version"];
    assert_eq!((&version["number"], &version["status"]), (&json!(3), &json!("DRAFT")), "{written}");
    assert_eq!(
        version["lines"][0],
        json!({ "sharePercent": "86.2", "amountKind": "QUANTITY_SUFFICIENT", "quantity": null })
    );
    assert_eq!(version["lines"][1]["quantity"]["text"], "0.13 kg");
    let id = &version["id"];
    let approved = house
        .change(
            "formulaVersionApprove",
            json!({ "version": id }),
            "... on FormulaVersionApprovePayload { version { status approval { by on } } }",
        )
        .await;
    assert_eq!(
        approved["version"],
        json!({ "status": "APPROVED", "approval": { "by": "Maud Tremayne", "on": "2026-11-25" } })
    );
    let now = house
        .ask(r#"{ formula(code: "HW-1") { currentVersion { number } } house { catalogueVersion } }"#)
        .await;
    assert_eq!(now["formula"]["currentVersion"]["number"], 3);
    let retired = house
        .change(
            "formulaVersionRetire",
            json!({ "version": id }),
            "... on FormulaVersionRetirePayload { version { status } }",
        )
        .await;
    assert_eq!(retired["version"]["status"], "RETIRED");
    let now = house.ask(r#"{ formula(code: "HW-1") { currentVersion { number } } }"#).await;
    assert_eq!(now["formula"]["currentVersion"]["number"], 1);
}
