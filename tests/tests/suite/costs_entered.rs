//! What costing takes in, entered over the API: offers with all their terms, rates of the house, costs of making, filling runs, and
//! formula lines in every way they are written. Each change is sent twice and happens once.

use black_box::{Server, run};
use rust_decimal::Decimal;
use serde_json::{Value, json};
use testkit::{db::TestDatabase, on_both_databases};

on_both_databases!(
    an_offer_with_all_its_terms,
    rates_of_the_house_and_what_they_are_paid_for,
    lines_as_they_are_really_written,
    finished_batches_against_their_standard,
);

const QUOTE: &str = "mutation($input: QuotationRecordInput!) { quotationRecord(input: $input) {
    ... on QuotationRecordPayload { quotation { id reference leadTime minimumOrder { text } terms {
        priceBasis breakCounts discountPercent duty { percent on }
        charges { name amount { amount currency } per quantity { text } worth { amount } percent }
        smallOrder { charge { amount } below { amount } } deposit { amount { amount } forfeitedPercent } } } }
    ... on Refused { refusals { code message } } } }";

async fn an_offer_with_all_its_terms(database: &TestDatabase) {
    run(database.url(), ["demo", "--check"]).code(0);
    let server = Server::with_token(database.url());
    let gbp = |amount: &str| json!({ "amount": amount, "currency": "GBP" });
    let input = json!({
        "requestKey": "quote-1", "reference": "AF-0700", "supplier": { "code": "ALD" }, "material": { "code": "LACTIC80" },
        "validFrom": "2026-01-01", "validUntil": "2099-12-31", "leadTime": "14 days",
        "minimumOrder": { "amount": "25", "unit": "kg" },
        "freight": { "amount": gbp("0.10"), "per": { "quantity": { "amount": "1", "unit": "kg" } } },
        "offers": [{ "pack": { "amount": "25", "unit": "kg" }, "price": gbp("4"), "pricePer": { "amount": "1", "unit": "kg" } }],
        "terms": {
            "priceBasis": "ACTIVE_MATTER", "breakCounts": "YEAR", "discountPercent": "5",
            "duty": { "percent": "2", "on": "PRICE_AND_FREIGHT" },
            "charges": [
                { "name": "tail lift", "by": { "order": gbp("5") } },
                { "name": "cleaning", "by": { "pack": gbp("1.25") } },
                { "name": "hazard", "by": { "quantity": { "amount": gbp("5"), "quantity": { "amount": "100", "unit": "kg" } } } },
                { "name": "insurance", "by": { "percentOfGoods": "0.5" } },
                { "name": "fuel", "by": { "percentOfFreight": "12" } },
                { "name": "carriage", "by": { "sharedByValue": { "amount": gbp("100"), "goodsWorth": gbp("1000") } } },
            ],
            "smallOrder": { "charge": gbp("10"), "below": gbp("100") },
            "deposit": { "amount": gbp("12"), "forfeitedPercent": "25" },
        },
    });
    let variables = json!({ "input": input });
    let first = server.graphql(QUOTE, variables.clone()).await.data();
    let terms = &first["quotationRecord"]["quotation"]["terms"];
    assert_eq!(
        terms["charges"],
        json!([
            { "name": "tail lift", "amount": { "amount": "5", "currency": "GBP" }, "per": "ORDER", "quantity": null, "worth": null,
              "percent": null },
            { "name": "cleaning", "amount": { "amount": "1.25", "currency": "GBP" }, "per": "PACK", "quantity": null, "worth": null,
              "percent": null },
            { "name": "hazard", "amount": { "amount": "5", "currency": "GBP" }, "per": "QUANTITY",
              "quantity": { "text": "100 kg" }, "worth": null, "percent": null },
            { "name": "insurance", "amount": { "amount": "0.5", "currency": "GBP" }, "per": "GOODS", "quantity": null,
              "worth": { "amount": "100" }, "percent": "0.5" },
            { "name": "fuel", "amount": { "amount": "12", "currency": "GBP" }, "per": "FREIGHT", "quantity": null,
              "worth": { "amount": "100" }, "percent": "12" },
            { "name": "carriage", "amount": { "amount": "100", "currency": "GBP" }, "per": "GOODS", "quantity": null,
              "worth": { "amount": "1000" }, "percent": null },
        ]),
        "{first}"
    );
    assert_eq!(terms["deposit"], json!({ "amount": { "amount": "12" }, "forfeitedPercent": "25" }));
    assert_eq!(server.graphql(QUOTE, variables.clone()).await.data(), first, "sent twice, done once");

    // 4 × 80 % less 5 % is 3.04; 0.10 freight; 2 % duty on both 0.0628; 0.20 + 0.05 + 0.05 + 0.0152 + 0.012 + 0.304 of charges; the
    // goods of an order are worth 76, so 0.40 for a small one; a quarter of the deposit is 0.12.
    let asked = "query($quantity: QuantityInput) { material(code: \"LACTIC80\") { quotations { totalCount }
        bestPrice(quantity: $quantity) { unitCost { amount } leadTime source { freight { amount } terms {
            goods { amount } strengthPercent duty { amount } smallOrder { amount } depositForfeited { amount }
            depositPerPack { amount } charges { name cost { amount } } } } } } }";
    let price = server.graphql(asked, json!({ "quantity": { "amount": "10", "unit": "kg" } })).await.data();
    assert_eq!(price["material"]["quotations"]["totalCount"], 1);
    let best = &price["material"]["bestPrice"];
    assert_eq!(best["unitCost"]["amount"], "4.354", "{best}");
    let used = &best["source"]["terms"];
    assert_eq!(
        (used["goods"]["amount"].as_str(), used["strengthPercent"].as_str()),
        (Some("3.04"), Some("80"))
    );
    assert_eq!(used["charges"][5], json!({ "name": "carriage", "cost": { "amount": "0.304" } }));
    assert_eq!(used["depositPerPack"]["amount"], "12");

    // A slip of the point is not let in unless it is said to be meant.
    let mut slip = variables.clone();
    slip["input"]["requestKey"] = json!("quote-slip");
    slip["input"]["reference"] = json!("AF-0799");
    slip["input"]["offers"][0]["price"] = gbp("400");
    let answer = server.graphql(QUOTE, slip.clone()).await;
    assert_eq!(answer.error_code(), "INVALID_INPUT");
    assert!(answer.body.contains("400 GBP per kg against 4 in AF-0700"), "{}", answer.body);
    slip["input"]["acceptUnusualPrices"] = json!(true);
    let meant = server.graphql(QUOTE, slip).await.data();
    assert_eq!(meant["quotationRecord"]["quotation"]["reference"], "AF-0799");

    // The same reference again is refused; another content under the same key is an error; what makes no sense is told in full.
    let mut again = variables.clone();
    again["input"]["requestKey"] = json!("quote-2");
    let refused = server.graphql(QUOTE, again.clone()).await.data();
    assert_eq!(refused["quotationRecord"]["refusals"][0]["code"], "TAKEN");
    let mut other = variables.clone();
    other["input"]["terms"]["discountPercent"] = json!("6");
    assert_eq!(server.graphql(QUOTE, other).await.error_code(), "REQUEST_KEY_REUSED");
    again["input"]["reference"] = json!("AF-0701");
    again["input"]["terms"]["discountPercent"] = json!("100");
    again["input"]["terms"]["charges"] = json!([{ "name": "carriage", "by": { "sharedByValue": { "amount": gbp("1"), "goodsWorth": gbp("0") } } }]);
    let answer = server.graphql(QUOTE, again).await;
    assert_eq!(answer.error_code(), "INVALID_INPUT");
    let problems = answer.json()["errors"][0]["extensions"]["problems"].to_string();
    for place in ["terms.discount", "terms.charges[0].per"] {
        assert!(problems.contains(place), "{place}: {problems}");
    }
    let mut below = variables;
    below["input"]["requestKey"] = json!("quote-3");
    below["input"]["terms"]["smallOrder"]["charge"] = gbp("-1");
    let answer = server.graphql(QUOTE, below).await;
    assert!(answer.body.contains("terms.smallOrder.charge"), "{}", answer.body);
}

const RATE: &str = "mutation($input: HouseRateRecordInput!) { houseRateRecord(input: $input) {
    ... on HouseRateRecordPayload { rate { id name of rate from until amount { amount } percent budget { normalCapacity } } }
    ... on Refused { refusals { code message } } } }";
const VERSION: &str = "mutation($input: FormulaVersionWriteInput!) { formulaVersionWrite(input: $input) {
    ... on FormulaVersionWritePayload { version { id number making { evaporationPercent samplesKg retainsKg
        costs { name kind per hours rateName rate(on: \"2026-06-30\") { rate } amount { amount } text } }
        costSheet { complete totals { making { amount } } } } }
    ... on Refused { refusals { code message } } } }";
const FILLING: &str = "mutation($input: PackFillingWriteInput!) { packFillingWrite(input: $input) {
    ... on PackFillingWritePayload { pack { overfillPercent lineLabour { amount }
        filling { unitsKeptBack unitsPerHour people labourRate machineRate changeover { amount } } } }
    ... on Refused { refusals { code message } } } }";

async fn rates_of_the_house_and_what_they_are_paid_for(database: &TestDatabase) {
    run(database.url(), ["demo", "--check"]).code(0);
    let server = Server::with_token(database.url());
    let gbp = |amount: &str| json!({ "amount": amount, "currency": "GBP" });

    // A new rate of a known name, from a day; history stays.
    let variables = json!({ "input": { "requestKey": "rate-1", "name": "bench", "of": "LABOUR_HOUR",
        "amount": { "stated": gbp("22.40") }, "from": "2099-01-01" } });
    let first = server.graphql(RATE, variables.clone()).await.data();
    assert_eq!(first["houseRateRecord"]["rate"]["rate"], "22.4", "{first}");
    assert_eq!(server.graphql(RATE, variables.clone()).await.data(), first, "sent twice, done once");
    let rates = "query($on: Date, $name: String) { houseRates(on: $on, name: $name) { totalCount nodes { name rate from until } } }";
    let history = server.graphql(rates, json!({ "name": "Bench" })).await.data();
    assert_eq!(
        history["houseRates"]["nodes"],
        json!([
            { "name": "bench", "rate": "20.8", "from": "2026-01-01", "until": "2026-06-30" },
            { "name": "bench", "rate": "21.5", "from": "2026-07-01", "until": "2098-12-31" },
            { "name": "bench", "rate": "22.4", "from": "2099-01-01", "until": null },
        ])
    );
    let in_force = server.graphql(rates, json!({ "on": "2026-06-30" })).await.data();
    let names: Vec<&Value> =
        in_force["houseRates"]["nodes"].as_array().unwrap().iter().map(|rate| &rate["name"]).collect();
    assert_eq!(names, ["bench", "rent and light", "vessel"]);
    assert_eq!(in_force["houseRates"]["nodes"][0]["rate"], "20.8");
    // The cost of a year over what is normal for it; a percent of what labour costs; nothing that does not fit.
    let overhead = |key: &str, name: &str, of: &str, amount: Value| json!({ "input": { "requestKey": key, "name": name, "of": of, "amount": amount, "from": "2099-01-01" } });
    let budget =
        json!({ "budget": { "cost": gbp("9000"), "normalCapacity": "1500", "capacityUsed": "1800" } });
    let answer = server
        .graphql(RATE, overhead("rate-2", "rent and light", "OVERHEAD_PER_MACHINE_HOUR", budget))
        .await
        .data();
    assert_eq!(answer["houseRateRecord"]["rate"]["rate"], "5", "{answer}");
    let percent = json!({ "percent": "12.5" });
    let answer = server
        .graphql(RATE, overhead("rate-3", "holidays", "OVERHEAD_ON_LABOUR", percent.clone()))
        .await
        .data();
    assert_eq!(answer["houseRateRecord"]["rate"]["percent"], "12.5", "{answer}");
    for (key, name, of, amount) in [
        ("rate-4", "insurance", "OVERHEAD_PER_BATCH", percent),
        ("rate-5", "bench", "MACHINE_HOUR", json!({ "stated": gbp("1") })),
        ("rate-6", "fork lift", "MACHINE_HOUR", json!({ "stated": { "amount": "1", "currency": "EUR" } })),
        ("rate-7", "fork lift", "MACHINE_HOUR", json!({ "stated": gbp("-1") })),
    ] {
        assert_eq!(
            server.graphql(RATE, overhead(key, name, of, amount)).await.error_code(),
            "INVALID_INPUT",
            "{key}"
        );
    }
    let mut taken = variables;
    taken["input"]["requestKey"] = json!("rate-8");
    let refused = server.graphql(RATE, taken).await.data();
    assert_eq!(refused["houseRateRecord"]["refusals"][0]["code"], "TAKEN");

    // A draft with what leaves its batch and what making it costs.
    let line = |material: &str, amount: Value| json!({ "material": { "code": material }, "amount": amount });
    let draft = json!({ "input": { "requestKey": "draft-1", "formula": { "code": "PM-CIT" }, "writtenAs": { "percent": true },
        "usualBatch": { "amount": "100", "unit": "kg" }, "processLossPercent": "1",
        "lines": [line("CITRIC", json!({ "percent": "50" })), line("WAT", json!({ "quantitySufficient": true }))],
        "making": { "evaporationPercent": "2", "samples": { "amount": "500", "unit": "g" }, "retains": { "amount": "250", "unit": "g" },
            "costs": [
                { "name": "mixing", "kind": "LABOUR", "amount": { "time": { "time": { "minutes": "90" }, "rate": "bench" } } },
                { "name": "stirring", "kind": "MACHINE", "amount": { "time": { "time": { "hours": "2" }, "rate": "vessel" } } },
                { "name": "plate count", "kind": "TESTS", "amount": { "perBatch": gbp("12") } },
                { "name": "energy", "kind": "OTHER", "amount": { "perKgCharged": gbp("0.01") } },
                { "name": "drain", "kind": "DISPOSAL", "amount": { "perKgOfWaste": gbp("0.4") } },
            ] } } });
    let written = server.graphql(VERSION, draft.clone()).await.data();
    let version = &written["formulaVersionWrite"]["version"];
    assert_eq!(
        version["making"]["costs"][0],
        json!({ "name": "mixing", "kind": "LABOUR", "per": "TIME", "hours": "1.5",
        "rateName": "bench", "rate": { "rate": "20.8" }, "amount": null, "text": "1.5 h at “bench”" }),
        "{written}"
    );
    // 1.5 h at 21.50, 2 h at 6, 12, 1, 0.40 for the 1.5 kg of loss and samples, and 2 h of rent at 5.
    assert_eq!(version["costSheet"]["complete"], true);
    assert_eq!(version["costSheet"]["totals"]["making"]["amount"], "67.85");
    assert_eq!(server.graphql(VERSION, draft.clone()).await.data(), written, "sent twice, done once");
    // Written anew without a word on making, it keeps what it has; a rate nobody knows is refused.
    let mut anew = draft.clone();
    anew["input"]["requestKey"] = json!("draft-2");
    anew["input"]["version"] = version["id"].clone();
    anew["input"]["making"] = Value::Null;
    let kept = server.graphql(VERSION, anew.clone()).await.data();
    assert_eq!(kept["formulaVersionWrite"]["version"]["making"], version["making"]);
    anew["input"]["requestKey"] = json!("draft-3");
    anew["input"]["making"] = json!({ "costs": [
        { "name": "mixing", "kind": "LABOUR", "amount": { "time": { "time": { "hours": "1" }, "rate": "nobody" } } }] });
    assert_eq!(server.graphql(VERSION, anew).await.error_code(), "INVALID_INPUT");

    // A filling run: what it was stays in the audit trail, and the cost follows.
    let cost = "{ pack(code: \"HW-5L\") { costSheet { complete totals { perUnit { amount } } } } }";
    let before = server.graphql(cost, json!({})).await.data();
    let run_of = |key: &str, labour: Value| {
        json!({ "input": { "requestKey": key, "pack": { "code": "HW-5L" }, "unitsKeptBack": 2, "labour": labour,
            "changeover": gbp("6"), "overfillPercent": "1" } })
    };
    let speed = json!({ "speed": { "unitsPerHour": "60", "people": "2", "labourRate": "bench", "machineRate": "vessel" } });
    let filled = server.graphql(FILLING, run_of("run-1", speed.clone())).await.data();
    assert_eq!(
        filled["packFillingWrite"]["pack"],
        json!({ "overfillPercent": "1", "lineLabour": null, "filling": { "unitsKeptBack": "2", "unitsPerHour": "60",
            "people": "2", "labourRate": "bench", "machineRate": "vessel", "changeover": { "amount": "6" } } })
    );
    assert_eq!(
        server.graphql(FILLING, run_of("run-1", speed.clone())).await.data(),
        filled,
        "sent twice, done once"
    );
    let after = server.graphql(cost, json!({})).await.data();
    assert_ne!(after, before);
    assert_eq!(after["pack"]["costSheet"]["complete"], true);
    let trail = server
        .graphql("{ auditEntries(first: 1) { nodes { subject before after } } }", json!({}))
        .await
        .data();
    let entry = &trail["auditEntries"]["nodes"][0];
    assert_eq!(
        (
            entry["before"]["run"]["units_kept_back"].as_i64(),
            entry["after"]["run"]["units_kept_back"].as_i64()
        ),
        (Some(0), Some(2)),
        "{trail}"
    );
    // No rate at all, a rate nobody knows, half a unit, a cost below nought.
    let mut broken = [
        run_of("run-2", json!({ "speed": { "unitsPerHour": "60" } })),
        run_of("run-3", json!({ "speed": { "unitsPerHour": "60", "labourRate": "rent and light" } })),
        run_of("run-4", json!({ "speed": { "unitsPerHour": "0", "labourRate": "bench" } })),
        run_of("run-5", json!({ "perUnit": gbp("-0.5") })),
        run_of("run-6", speed),
    ];
    broken[4]["input"]["unitsKeptBack"] = json!("0.5");
    for input in broken {
        assert_eq!(server.graphql(FILLING, input.clone()).await.error_code(), "INVALID_INPUT", "{input}");
    }
}

const LINES: &str = "mutation($input: FormulaVersionWriteInput!) { formulaVersionWrite(input: $input) {
    ... on FormulaVersionWritePayload { version { id writtenAs writtenTotal { text } density { kgPerL } lines {
        amountKind percent parts quantity { text } basis sharePercent useLevelFromPercent useLevelToPercent
        trim { result stopPercent } } costSheet { complete gaps { text } } } }
    ... on Refused { refusals { code message } } } }";

async fn lines_as_they_are_really_written(database: &TestDatabase) {
    run(database.url(), ["demo", "--check"]).code(0);
    let server = Server::with_token(database.url());
    let amount = |amount: &str, unit: &str| json!({ "quantity": { "amount": amount, "unit": unit } });
    let qs = || json!({ "quantitySufficient": true });
    let sheet = |key: &str, written_as: Value, lines: &[(&str, Value)], more: Value| {
        let lines: Vec<Value> = lines
            .iter()
            .map(|(code, amount)| json!({ "material": { "code": code }, "amount": amount }))
            .collect();
        let mut input = json!({ "requestKey": key, "formula": { "code": "GC-01" }, "writtenAs": written_as, "lines": lines,
            "usualBatch": { "amount": "100", "unit": "kg" }, "heel": { "amount": "1", "unit": "kg" } });
        for (field, value) in more.as_object().into_iter().flatten() {
            input[field] = value.clone();
        }
        json!({ "input": input })
    };
    let shares = |answer: &Value| -> Vec<String> {
        let lines = answer["formulaVersionWrite"]["version"]["lines"]
            .as_array()
            .unwrap_or_else(|| panic!("{answer}"));
        lines.iter().map(|line| line["sharePercent"].as_str().unwrap_or("-").to_owned()).collect()
    };
    let write = async |input: Value| {
        let answer = server.graphql(LINES, input.clone()).await.data();
        assert_eq!(server.graphql(LINES, input).await.data(), answer, "sent twice, done once");
        answer
    };

    // % w/w with q.s. on the first line.
    let percent = write(sheet(
        "w-1",
        json!({ "percent": true }),
        &[("WAT", qs()), ("IPA", json!({ "percent": "12.5" })), ("MEA", json!({ "percent": "0.2" }))],
        json!({}),
    ))
    .await;
    assert_eq!(shares(&percent), ["87.3", "12.5", "0.2"]);
    // Parts by weight.
    let parts = write(sheet(
        "w-2",
        json!({ "parts": true }),
        &[("WAT", json!({ "parts": "7" })), ("IPA", json!({ "parts": "1" }))],
        json!({}),
    ))
    .await;
    assert_eq!(shares(&parts), ["87.5", "12.5"]);
    // Grams of a bench sheet, q.s. to its mass from the second line.
    let grams = write(sheet(
        "w-3",
        json!({ "gramsTotal": { "amount": "1000", "unit": "g" } }),
        &[("IPA", amount("125", "g")), ("WAT", qs()), ("MEA", amount("2", "g"))],
        json!({}),
    ))
    .await;
    assert_eq!(shares(&grams), ["12.5", "87.3", "0.2"]);
    // Made up to a volume of 10 L at 0.98 kg/L with % w/v, % v/v, mL, g and % w/w: 9.8 kg in all.
    let volume = write(sheet(
        "w-4",
        json!({ "volumeTotal": { "amount": "10", "unit": "L" } }),
        &[
            ("IPA", json!({ "percentVolumeInVolume": "10" })),
            ("MEA", json!({ "percentWeightInVolume": "0.49" })),
            ("SALT", amount("98", "g")),
            ("PGME", amount("98", "mL")),
            ("CITRIC", json!({ "percent": "0.5" })),
            ("WAT", qs()),
        ],
        json!({ "density": { "kgPerL": "0.98" } }),
    ))
    .await;
    // 1 L × 0.785 of 9.8 kg; 49 g; 98 g; 98 mL × 0.922.
    assert_eq!(shares(&volume), ["8.010204082", "0.5", "1", "0.922", "0.5", "89.067795918"]);
    // Weight per 100 US gallons with the finished weight per gallon.
    let gallons = write(sheet(
        "w-5",
        json!({ "volumeTotal": { "amount": "100", "unit": "[gal_us]" } }),
        &[("IPA", amount("80", "lb")), ("WAT", qs())],
        json!({ "density": { "lbPerGal": "8" } }),
    ))
    .await;
    // 8 lb/gal is kept as 0.958611419 kg/L, to nine places.
    assert_eq!(shares(&gallons)[0], "9.999999995");
    // As active matter; with its own use levels; trimmed from nought with a stop.
    let mut trimmed = sheet(
        "w-6",
        json!({ "percent": true }),
        &[("WAT", qs()), ("SLES70", json!({ "percent": "7" })), ("CITRIC", json!({ "percent": "0" }))],
        json!({}),
    );
    trimmed["input"]["lines"][1]["basis"] = json!("ACTIVE_MATTER");
    trimmed["input"]["lines"][1]["useLevelFromPercent"] = json!("5");
    trimmed["input"]["lines"][1]["useLevelToPercent"] = json!("12");
    trimmed["input"]["lines"][2]["trim"] =
        json!({ "result": "pH 5.75 to 6.25", "stop": { "percent": "0.4" } });
    let trimmed_answer = write(trimmed.clone()).await;
    assert_eq!(shares(&trimmed_answer), ["90", "10", "0"]);
    let lines = &trimmed_answer["formulaVersionWrite"]["version"]["lines"];
    assert_eq!(
        (lines[1]["useLevelFromPercent"].as_str(), lines[1]["useLevelToPercent"].as_str()),
        (Some("5"), Some("12"))
    );
    assert_eq!(lines[2]["trim"], json!({ "result": "pH 5.75 to 6.25", "stopPercent": "0.4" }));

    // What cannot be meant is told with its place.
    let mut crossed = trimmed;
    crossed["input"]["requestKey"] = json!("x-1");
    crossed["input"]["lines"][1]["useLevelFromPercent"] = json!("13");
    let two_qs = sheet("x-2", json!({ "percent": true }), &[("WAT", qs()), ("IPA", qs())], json!({}));
    let by_weight = sheet(
        "x-3",
        json!({ "percent": true }),
        &[("WAT", qs()), ("IPA", json!({ "percentVolumeInVolume": "10" }))],
        json!({}),
    );
    let two_densities = sheet(
        "x-4",
        json!({ "percent": true }),
        &[("WAT", qs())],
        json!({ "density": { "kgPerL": "1", "lbPerGal": "8.3" } }),
    );
    for (input, place) in [
        (crossed, "lines[1].useLevelTo"),
        (two_qs, "lines"),
        (by_weight, "lines[1].amount"),
        (two_densities, "density"),
    ] {
        let answer = server.graphql(LINES, input).await;
        assert_eq!(answer.error_code(), "INVALID_INPUT", "{place}");
        let problems = answer.json()["errors"][0]["extensions"]["problems"].clone();
        assert_eq!(problems[0]["place"], place, "{problems}");
    }
    // A formula that would come to contain itself: the way round is named.
    let into_itself = json!({ "input": { "requestKey": "loop-1", "formula": { "code": "PM-CIT" }, "writtenAs": { "percent": true },
        "usualBatch": { "amount": "25", "unit": "kg" },
        "lines": [{ "material": { "code": "PM-XAN" }, "amount": { "percent": "1" } },
                  { "material": { "code": "WAT" }, "amount": { "quantitySufficient": true } }] } });
    let answer = server.graphql(LINES, into_itself).await;
    assert_eq!(answer.error_code(), "INVALID_INPUT");
    let told = answer.body.clone();
    assert!(told.contains("PM-CIT") && told.contains("PM-XAN"), "{told}");
}

const VARIANCES: &str = "query($basis: Basis, $asOf: Date) { tickets(statuses: [RECONCILED, RELEASED], first: 40) { nodes { number
    variances(basis: $basis, asOf: $asOf) { basis asOf forWantOfStandards complete gaps { text } posted { amount }
        standardCost { amount } actualCost { amount } total { amount }
        liquid { ...part } filling { ...part } } } } }
    fragment part on Variances { standardCost { amount } actualCost { amount } price { amount } mix { amount } yield { amount }
        otherUsage { amount } overhead { amount } total { amount }
        lines { label price { amount } mix { amount } yield { amount } otherUsage { amount } overhead { amount } total { amount } } }";

/// Finished batches of the demo against prices of their day, and against standards once they are frozen: it adds up to the penny.
async fn finished_batches_against_their_standard(database: &TestDatabase) {
    run(database.url(), ["demo", "--check"]).code(0);
    let server = Server::with_token(database.url());
    let amount = |value: &Value, field: &str| -> Decimal {
        value[field]["amount"].as_str().unwrap_or_else(|| panic!("{field}: {value}")).parse().unwrap()
    };
    let columns = ["price", "mix", "yield", "otherUsage", "overhead"];
    let add_up = |part: &Value| {
        let total: Decimal = columns.iter().map(|column| amount(part, column)).sum();
        assert_eq!(total, amount(part, "total"), "{part}");
        assert_eq!(amount(part, "standardCost") - amount(part, "actualCost"), total, "{part}");
        let lines = part["lines"].as_array().unwrap();
        for column in columns.iter().chain(&["total"]) {
            let sum: Decimal = lines.iter().map(|line| amount(line, column)).sum();
            assert_eq!(sum, amount(part, column), "{column}: {part}");
        }
    };
    let compared = |data: &Value| {
        let mut compared = 0;
        for ticket in data["tickets"]["nodes"].as_array().unwrap() {
            let found = &ticket["variances"];
            if found["complete"] == false {
                assert!(
                    !found["gaps"].as_array().unwrap().is_empty() && found["total"].is_null(),
                    "{ticket}"
                );
                continue;
            }
            compared += 1;
            add_up(&found["liquid"]);
            let mut total = amount(&found["liquid"], "total");
            if !found["filling"].is_null() {
                add_up(&found["filling"]);
                total += amount(&found["filling"], "total");
            }
            assert_eq!(total, amount(found, "total"));
        }
        compared
    };
    let before = server.graphql(VARIANCES, json!({})).await.data();
    assert!(compared(&before) >= 3, "{before}");
    let first = &before["tickets"]["nodes"][0];
    assert_eq!(first["variances"]["forWantOfStandards"], true, "{first}");

    let freeze = "mutation($input: StandardsFreezeInput!) { standardsFreeze(input: $input) {
        ... on StandardsFreezePayload { frozen { on standards { frozenOn basis } } } ... on Refused { refusals { code } } } }";
    let input = json!({ "input": { "requestKey": "freeze-1", "on": "2020-01-01" } });
    let frozen = server.graphql(freeze, input.clone()).await.data();
    assert_eq!(server.graphql(freeze, input).await.data(), frozen, "sent twice, done once");
    let listed = "{ standards(on: \"2020-06-30\", first: 100) { totalCount nodes { frozenOn basis explained material { code } unitCost { amount } } } }";
    let standards = server.graphql(listed, json!({})).await.data();
    let kept = frozen["standardsFreeze"]["frozen"]["standards"].as_array().unwrap().len();
    assert_eq!(standards["standards"]["totalCount"], kept);
    assert_eq!(standards["standards"]["nodes"][0]["frozenOn"], "2020-01-01");
    assert_eq!(standards["standards"]["nodes"][0]["basis"], "REPLACEMENT");
    let shown = run(database.url(), ["--json", "standards", "list", "--on", "2020-06-30"]).code(0).json();
    assert_eq!(shown.as_array().unwrap().len(), kept);

    let after = server.graphql(VARIANCES, json!({})).await.data();
    assert!(compared(&after) >= 3, "{after}");
    let standing = after["tickets"]["nodes"].as_array().unwrap().iter().map(|ticket| &ticket["variances"]);
    assert!(
        standing.filter(|found| found["complete"] == true).any(|found| found["basis"] == "STANDARD"),
        "{after}"
    );
    let stated = server.graphql(VARIANCES, json!({ "basis": "REPLACEMENT" })).await.data();
    assert_eq!(stated["tickets"]["nodes"][0]["variances"]["total"], first["variances"]["total"]);

    // The same at the shell.
    let number = first["number"].as_str().unwrap();
    let shown = run(database.url(), ["--json", "variances", number, "--basis", "replacement"]).code(0).json();
    let total: Decimal = shown["liquid"]["total"].as_str().unwrap().parse().unwrap();
    assert_eq!(total, amount(&first["variances"]["liquid"], "total"), "{shown}");
    let text = run(database.url(), ["variances", number]).code(0).out;
    assert!(text.contains("The liquid") && text.contains("all of it"), "{text}");
    run(database.url(), ["variances", "T-NONE"]).code(2);
}
