//! Costs asked further: why two differ, what they depend on, what a price has to be, strengths exchanged, lines put right. Over a
//! small invented maker, so that every figure can be worked out beside it.

use black_box::{Server, run_in};
use serde_json::{Value, json};
use std::fs;
use tempfile::TempDir;
use testkit::{db::TestDatabase, on_both_databases};

on_both_databases!(the_command_line_asks_further, the_api_asks_further);

const TODAY: [(&str, &str); 1] = [("STILLROOM_TODAY", "2026-11-25")];

const MATERIALS: &str = "\
code,name,kind,active matter,use level to,use level kind
WAT,Water,utility,,,
PASTE,Detergent paste 70 %,raw material,70 %,20,recommended
BASE28,Detergent base 28 %,raw material,28 %,,
PRES,Preservative,raw material,,1,legal
BOT,Bottle 500 g,packaging component,,,
WASH,Wash bulk,bulk,,,
";
const SUPPLIERS: &str = "code,name,currency\nOAK,Oakhollow Supplies,GBP\nELM,Elmstead Surfactants,GBP\n";
/// The paste: 1.50 until October, then 1.60, and 1.40 from a tonne; another supplier's at 1.75.
const QUOTATIONS: &str = "\
quotation,supplier,material,pack,price,price per,from quantity,valid from,valid until
W-1,OAK,WAT,1000 kg,2.00,pack,,2026-01-01,
O-1,OAK,PASTE,100 kg,1.50,kg,,2026-01-01,2026-10-31
O-2,OAK,PASTE,100 kg,1.60,kg,,2026-11-01,2026-12-05
O-2,OAK,PASTE,100 kg,1.40,kg,1000 kg,2026-11-01,2026-12-05
E-1,ELM,PASTE,100 kg,1.75,kg,,2026-01-01,
E-2,ELM,BASE28,200 kg,0.70,kg,,2026-01-01,
O-4,OAK,PRES,5 kg,10.00,kg,,2026-01-01,
O-5,OAK,BOT,1000 pcs,200.00,pack,,2026-01-01,
";
const FORMULAS: &str = "\
formula,name,version,status,makes,written as,usual batch,process loss,cost per batch,approved by,approved on
HW-1,Wash,1,approved,WASH,percent,100 kg,2 %,40.00,A. Penhallow,2026-01-05
HW-1,Wash,2,draft,WASH,percent,100 kg,2 %,40.00,,
HW-1,Wash,3,draft,WASH,percent,100 kg,2 %,40.00,,
HW-1,Wash,4,draft,WASH,percent,100 kg,2 %,40.00,,
";
const LINES: &str = "\
formula,version,line,material,amount
HW-1,1,1,WAT,q.s.
HW-1,1,2,PASTE,12 %
HW-1,1,3,PRES,0.8 %
HW-1,2,1,WAT,q.s.
HW-1,2,2,PASTE,10 %
HW-1,2,3,PRES,0.8 %
HW-1,3,1,WAT,q.s.
HW-1,3,2,PASTE,60 %
HW-1,3,3,PRES,0.8 %
HW-1,4,1,WAT,50 %
HW-1,4,2,PASTE,40 %
HW-1,4,3,PRES,1 %
";
const PACKS: &str = "\
pack,name,formula,fill,units kept back,price,units a year
W-500,Wash 500 g,HW-1,500 g,6,2.00,24000
";
const COMPONENTS: &str = "pack,component,quantity,per\nW-500,BOT,1,unit\n";

/// Imports the maker's sheets.
fn furnish(database: &TestDatabase) {
    let folder = TempDir::new().unwrap();
    for (name, text) in [
        ("materials.csv", MATERIALS),
        ("suppliers.csv", SUPPLIERS),
        ("quotations.csv", QUOTATIONS),
        ("formulas.csv", FORMULAS),
        ("formula-lines.csv", LINES),
        ("packs.csv", PACKS),
        ("pack-components.csv", COMPONENTS),
    ] {
        fs::write(folder.path().join(name), text).unwrap();
    }
    run_in(database.url(), &TODAY, ["import", folder.path().to_str().unwrap()]).code(0);
}

fn figure(value: &Value) -> rust_decimal::Decimal {
    value.as_str().unwrap_or_else(|| panic!("{value} is no decimal string")).parse().unwrap()
}

fn sum<'v>(figures: impl Iterator<Item = &'v Value>) -> rust_decimal::Decimal {
    figures.map(figure).sum()
}

/// The command line. A batch of 100 kg leaves 98 kg, 196 bottles of which 6 are kept back. In November it costs 87.2 × 0.002 + 12 ×
/// 1.60 + 0.8 × 10 = 27.3744 of ingredients, 40 of making and 196 × 0.20 of bottles: 106.5744, over 190 for sale 0.560917…
async fn the_command_line_asks_further(database: &TestDatabase) {
    furnish(database);
    let ask = |line: &str| run_in(database.url(), &TODAY, line.split('|'));

    // In October the paste was at 1.50: 105.3744 / 190 = 0.554602…; the difference is 1.20 / 190 = 0.006315…
    let compared = ask("--json|compare|--pack|W-500|--as-of|2026-10-01|--to-as-of|2026-11-25").code(0).json();
    assert_eq!(compared["before"]["cost"], "0.5546");
    assert_eq!(compared["after"]["cost"], "0.5609");
    assert_eq!(compared["difference"], "0.0063");
    let lines = compared["lines"].as_array().unwrap();
    assert_eq!(sum(lines.iter().map(|line| &line["difference"])), figure(&compared["difference"]));
    let paste = lines.iter().find(|line| line["material"]["code"] == "PASTE").unwrap();
    assert_eq!((&paste["price_effect"], &paste["amount_effect"]), (&json!("0.0063"), &json!("0.0000")));
    assert!(
        paste["source_before"].as_str().unwrap().starts_with("quotation O-1 of Oakhollow Supplies: 1.5 GBP")
    );
    assert!(
        paste["source_after"].as_str().unwrap().starts_with("quotation O-2 of Oakhollow Supplies: 1.6 GBP")
    );
    let shown = ask("compare|--formula|HW-1@1|--to-formula|HW-1@2").code(0).out;
    assert!(shown.contains("amounts of ingredients") && shown.contains("-0.032612"), "{shown}");
    // On another basis there is no history to go by, which is said.
    let partial = ask("compare|--pack|W-500|--to-basis|last-purchase").code(0).out;
    assert!(partial.contains("This is a difference of partial costs"), "{partial}");

    // A year takes 12 × 24,000 / 190 = 1515.79 kg of paste: in one order it reaches the break from a tonne.
    let year = ask("--json|cost|--pack|W-500|--order|1 order a year|--offers").code(0).json();
    let paste = year["lines"].as_array().unwrap().iter().find(|l| l["material"]["code"] == "PASTE").unwrap();
    assert_eq!(paste["unit_cost"], "1.400000");
    assert!(paste["source"].as_str().unwrap().contains("a year's use at 24,000 units a year"), "{paste}");
    let offers = |sheet: &Value| {
        let of_paste = |of: &&Value| of["material"].as_str().unwrap().starts_with("PASTE");
        let of = sheet["offers"].as_array().unwrap().iter().find(of_paste).unwrap().clone();
        let told = |offer: &Value| {
            (offer["reference"].as_str().unwrap().to_owned(), offer["why"].as_str().unwrap().to_owned())
        };
        of["offers"].as_array().unwrap().iter().map(told).collect::<Vec<_>>()
    };
    let told = |list: &[(&str, &str)]| -> Vec<(String, String)> {
        list.iter().map(|(reference, why)| ((*reference).to_owned(), (*why).to_owned())).collect()
    };
    // Sixteen packs of 100 kg: 2240 at 1.40, 2800 at 1.75.
    assert_eq!(
        offers(&year),
        told(&[
            ("O-2", "chosen: the order costs least"),
            ("E-1", "the order costs 560 GBP more, 25 %"),
            ("O-2", "the order reaches a higher price break of the same pack"),
            ("O-1", "lapsed on 2026-10-31, 25 days ago; one that holds is preferred"),
        ])
    );
    // For one batch one pack: 160 at 1.60, 175 at 1.75.
    assert_eq!(
        offers(&ask("--json|cost|--pack|W-500|--offers").code(0).json()),
        told(&[
            ("O-2", "chosen: the order costs least"),
            ("E-1", "the order costs 15 GBP more, 9.38 %"),
            ("O-2", "the order does not reach 1000 kg, from which this price holds"),
            ("O-1", "lapsed on 2026-10-31, 25 days ago; one that holds is preferred"),
        ])
    );
    let stated = ask("--json|cost|--pack|W-500|--stated-order|PASTE 1000 kg").code(0).json();
    assert_eq!(stated["standing"], "LAPSES_SOON");
    assert!(stated["lines"].to_string().contains("10 × 100 kg for 1000 kg, as stated"), "{stated}");

    // A tenth of a percent: 0.001 × (1.60 − 0.002) × 100 / 98 = 0.001630612…
    let sweep = ask("--json|vary|dose|--pack|W-500|--line|2|--from|10%|--to|22%|--points|3").code(0).json();
    assert_eq!(sweep["per_tenth_percent"], "0.001631");
    let doses: Vec<&Value> = sweep["points"].as_array().unwrap().iter().map(|point| &point["dose"]).collect();
    assert_eq!(doses, ["10", "12", "16", "22"]);
    assert_eq!(sweep["points"][0]["cost_per_kg"], "0.654882");
    assert_eq!(sweep["points"][3]["breaks"].as_array().unwrap().len(), 1);
    assert_eq!(sweep["limits"][0]["kind"], "most-of-material");
    assert_eq!(sweep["limits"][0]["dose"], "20");
    // What bottles cost a unit: 196 × 0.02 / 190 either way is the widest of the prices but one; the batch is wider than all.
    let drivers = ask("--json|vary|drivers|--pack|W-500").code(0).json();
    let bars = drivers["bars"].as_array().unwrap();
    assert_eq!(bars[0]["driver"]["kind"], "batch-size");
    let bottle = bars.iter().find(|bar| bar["driver"]["material"]["code"] == "BOT").unwrap();
    assert_eq!(bottle["swing"], "0.041263");
    // n units for sale take n + 6 filled: 0.27374400 / 0.98 × 0.5 + 0.20 a filled unit and 40 a batch. At 0.50 that is met from 263.
    let batch =
        ask("--json|vary|batch|--pack|W-500|--size|50 kg|--size|200 kg|--target|0.50 GBP").code(0).json();
    let per_unit: Vec<&Value> =
        batch["points"].as_array().unwrap().iter().map(|point| &point["cost_per_unit"]).collect();
    assert_eq!(per_unit, ["0.7966", "0.448572"]);
    assert_eq!(batch["break_even"]["outcome"], "at");
    assert_eq!(batch["break_even"]["units"], 263);
    // 12,000 / (2 − 0.560917…) = 8338.65
    let volume = ask("vary|volume|--pack|W-500|--fixed|12000 GBP").code(0).out;
    assert!(volume.contains("8339"), "{volume}");

    // 4.00 with 20 % tax is 3.3333, less 40 % is 2.00, less 45 % is 1.10; less 0.2063 of bottles leaves 0.8937 for 0.515789 kg.
    let chain = "--tax|20%|--retailer|margin 40%|--own|margin 45%";
    let design = ask(&format!("--json|price|design|--pack|W-500|--shelf|4.00 GBP|{chain}")).code(0).json();
    assert_eq!(design["unit_cost"]["allowed"], "1.1000");
    assert_eq!(design["liquid_per_kg"]["allowed"], "1.732653");
    assert_eq!(design["liquid_per_kg"]["headroom"], "1.045159");
    let ladder = ask(&format!("price|ladder|--pack|W-500|{chain}")).code(0).out;
    // 0.560917… / 0.55 / 0.6 × 1.2
    assert!(ladder.contains("2.0397"), "{ladder}");

    // 12 % of the paste are 30 % of the base; three fifths of paste would be half as much again as there is.
    let swap = ask("--json|swap|--pack|W-500|--old|PASTE|--new|BASE28").code(0).json();
    assert_eq!(swap["factor"], "2.5");
    assert_eq!(swap["lines"][1]["dose_after"], "30");
    assert_eq!(swap["lines"][0]["dose_after"], "69.2");
    let refused = ask("swap|--formula|HW-1@3|--old|PASTE|--new|BASE28").code(1).out;
    assert!(refused.contains("stands at 39.2 % and 90 % would have to be taken from it"), "{refused}");
    // 1.60 / 0.70 and 0.70 / 0.28.
    let offers = ask("--json|offers|--material|BASE28|--material|PASTE|--active|70 kg").code(0).json();
    assert_eq!(offers["offers"][0]["per_kg_active"], "2.285714");
    assert!(
        ask("offers|--material|BASE28|--material|WAT|--active|70 kg").code(0).out.contains("Not compared")
    );

    // 500 g may be short by 15: with a spread of 10 g the third rule asks for 500 − 30 + 37 = 507.
    let fill = ask("--json|fill|--pack|W-500|--spread|10 g|--allowance|0.5 g").code(0).json();
    assert_eq!(fill["target"], "507.5");
    assert_eq!(fill["overfill"], "1.5");
    ask("fill|--pack|W-500|--spread|10 mL").code(2);

    // 91 %: rescaled, the preservative comes to 1 / 0.91, beyond its legal limit; taken from the water it stays.
    let ways = ask("--json|put-right|--formula|HW-1@4").code(0).json();
    let found: Vec<(&Value, &Value, &Value)> = ways["ways"]
        .as_array()
        .unwrap()
        .iter()
        .map(|way| (&way["way"], &way["lines"][2]["after_percent"], &way["breaks_legal"]))
        .collect();
    assert_eq!(
        found,
        [
            (&json!("TAKE_FROM"), &json!("1"), &json!(false)),
            (&json!("RESCALE"), &json!("1.098901"), &json!(true)),
        ]
    );
    assert!(ask("put-right|--formula|HW-1@1").code(0).out.contains("meets its total"));
}

/// The same questions over HTTP, each on the sheet it is asked of.
async fn the_api_asks_further(database: &TestDatabase) {
    furnish(database);
    let server = Server::with_token(database.url());
    let answer = |query: &'static str| server.graphql(query, json!({}));

    let asked = answer(
        r#"{ pack(code: "W-500") { costSheet(asOf: "2026-10-01") {
            goodOutputPercent evaporationKg samplesKg retainsKg standing
            filling { filledUnits keptBackUnits units }
            totals { perUnit { amount } perUsGallon { amount } }
            quotations { quotation { reference } material { code } validity { state } }
            comparison(after: { asOf: "2026-11-25" }) {
                per costBefore { amount } costAfter { amount } difference { amount } complete
                causes { cause effect { amount } }
                lines { label change material { code } difference { amount } amountEffect { amount } priceEffect { amount } notKnown { amount }
                    sourceBefore { sentence } sourceAfter { ... on QuotationSource { quotation { reference } } } }
                before { asOf totals { perUnit { amount } } } after { asOf standing }
                priceToHold { marginBeforePercent marginAfterPercent toHoldMargin { amount } toHoldCash { amount } } } } } }"#,
    )
    .await
    .data();
    let sheet = &asked["pack"]["costSheet"];
    assert_eq!(sheet["goodOutputPercent"], "98");
    assert_eq!(sheet["filling"], json!({ "filledUnits": "196", "keptBackUnits": "6", "units": "190" }));
    assert_eq!(sheet["totals"]["perUsGallon"], Value::Null, "there is no density");
    let compared = &sheet["comparison"];
    assert_eq!(compared["per"], "UNIT");
    assert_eq!(compared["costBefore"]["amount"], "0.5546");
    assert_eq!(compared["difference"]["amount"], "0.0063");
    assert_eq!(
        compared["causes"],
        json!([{ "cause": "INGREDIENT_PRICES", "effect": { "amount": "0.0063" } }])
    );
    let lines = compared["lines"].as_array().unwrap();
    assert_eq!(sum(lines.iter().map(|line| &line["difference"]["amount"])), figure(&json!("0.0063")));
    let paste = lines.iter().find(|line| line["material"]["code"] == "PASTE").unwrap();
    assert_eq!(paste["sourceAfter"]["quotation"]["reference"], "O-2");
    assert_eq!(compared["after"]["standing"], "LAPSES_SOON");
    // Margin 1 − 0.554602… / 2 = 72.27 %; to keep it the price follows the cost: 2 × 106.5744 / 105.3744.
    assert_eq!(
        compared["priceToHold"],
        json!({
            "marginBeforePercent": "72.27", "marginAfterPercent": "71.95",
            "toHoldMargin": { "amount": "2.0228" }, "toHoldCash": { "amount": "2.0063" },
        })
    );

    let asked = answer(
        r#"{ pack(code: "W-500") { costSheet(order: { ordersAYear: 1 }) {
                order { kind ordersAYear } orderedOtherwise { code text }
                lines { material { code } standing unitCost { amount } offersConsidered { quotation { reference } outcome why orderCost { amount } } } }
            stated: costSheet(orders: [{ material: { code: "PASTE" }, quantity: { amount: "1000", unit: "kg" } }]) {
                order { kind stated { material { code } quantity { text } } } lines { material { code } unitCost { amount } } }
            fillAid(standardDeviation: { amount: "10", unit: "g" }) { unit target governedBy overfillPercent inDirective reachesTarget } } }"#,
    )
    .await
    .data();
    let sheet = &asked["pack"]["costSheet"];
    assert_eq!(sheet["order"], json!({ "kind": "YEAR", "ordersAYear": "1" }));
    assert_eq!(sheet["orderedOtherwise"][0]["code"], "ORDERED_OTHERWISE");
    let of = |sheet: &Value| {
        let lines = sheet["lines"].as_array().unwrap();
        lines.iter().find(|line| line["material"]["code"] == "PASTE").unwrap().clone()
    };
    assert_eq!(of(sheet)["unitCost"]["amount"], "1.4");
    let outcomes: Vec<Value> = of(sheet)["offersConsidered"]
        .as_array()
        .unwrap()
        .iter()
        .map(|offer| offer["outcome"].clone())
        .collect();
    assert_eq!(outcomes, ["CHOSEN", "DEARER", "HIGHER_BREAK_REACHED", "NOT_HOLDING"]);
    assert_eq!(of(&asked["pack"]["stated"])["unitCost"]["amount"], "1.4");
    assert_eq!(asked["pack"]["stated"]["order"]["stated"][0]["quantity"]["text"], "1000 kg");
    assert_eq!(
        asked["pack"]["fillAid"],
        json!({
            "unit": "g", "target": "507", "governedBy": "NONE_FAR_SHORT", "overfillPercent": "1.4", "inDirective": true,
            "reachesTarget": false,
        })
    );

    let asked = answer(
        r#"{ pack(code: "W-500") { costSheet {
            doseSweep(input: { line: 2, fromPercent: "10", toPercent: "22", points: 3 }) {
                perTenthPercent { amount } material { code } diluent { code } limits { kind dosePercent isLegal }
                points { dosePercent activePercent costPerKg { amount } marginPercent breaks breaksLegal isCurrent } }
            drivers(by: { pricesPercent: "20" }) { base { amount } bars { driver { kind text material { code } } swing { amount } low { assumed } } }
            batchCurve(batches: [{ amount: "50", unit: "kg" }], target: { amount: "0.50", currency: "GBP" }) {
                points { units costPerUnit { amount } lostPercent } breakEven { outcome units } }
            breakEvenVolume(fixed: { amount: "12000", currency: "GBP" }) { ... on BreakEvenVolume { wholeUnits marginOfSafetyPercent } }
            designToCost(shelfPrice: { amount: "4.00", currency: "GBP" },
                chain: { taxPercent: "20", retailer: { marginPercent: "40" }, own: { marginPercent: "45" } }) {
                rungs { step left { amount } } unitCost { allowed { amount } } liquidPerKg { allowed { amount } headroom { amount } } }
            priceLadder(chain: { taxPercent: "20", retailer: { marginPercent: "40" }, own: { marginPercent: "45" } }) {
                shelfPrice { amount } marginPercent markupPercent }
            swap(old: { code: "PASTE" }, new: { code: "BASE28" }) { __typename ... on Swap { factor difference { amount }
                lines { role materialAfter { code } doseAfterPercent activeAfterPercent writtenPercent writtenKind } } } } } }"#,
    )
    .await
    .data();
    let sheet = &asked["pack"]["costSheet"];
    assert_eq!(sheet["doseSweep"]["perTenthPercent"]["amount"], "0.001631");
    assert_eq!(
        sheet["doseSweep"]["limits"][0],
        json!({ "kind": "MOST_OF_MATERIAL", "dosePercent": "20", "isLegal": false })
    );
    assert_eq!(sheet["doseSweep"]["points"][1]["isCurrent"], true);
    // 7 % of active matter is a tenth of the paste.
    assert_eq!(sheet["doseSweep"]["points"][0]["activePercent"], "7");
    let bars = sheet["drivers"]["bars"].as_array().unwrap();
    let bottle = bars.iter().find(|bar| bar["driver"]["material"]["code"] == "BOT").unwrap();
    assert_eq!(bottle["swing"]["amount"], "0.082526");
    assert_eq!(sheet["batchCurve"]["points"][0]["units"], "92");
    assert_eq!(sheet["batchCurve"]["breakEven"], json!({ "outcome": "AT", "units": "263" }));
    // (24,000 − 8338.65) / 24,000
    assert_eq!(sheet["breakEvenVolume"], json!({ "wholeUnits": "8339", "marginOfSafetyPercent": "65.26" }));
    assert_eq!(sheet["designToCost"]["rungs"][0], json!({ "step": "TAX", "left": { "amount": "3.3333" } }));
    assert_eq!(sheet["designToCost"]["liquidPerKg"]["headroom"]["amount"], "1.045159");
    assert_eq!(
        sheet["priceLadder"],
        json!({ "shelfPrice": { "amount": "2.0397" }, "marginPercent": "45", "markupPercent": "81.82" })
    );
    assert_eq!(sheet["swap"]["factor"], "2.5");
    assert_eq!(
        sheet["swap"]["lines"][1],
        json!({
            "role": "EXCHANGED", "materialAfter": { "code": "BASE28" }, "doseAfterPercent": "30", "activeAfterPercent": "8.4",
            "writtenPercent": "30", "writtenKind": "PERCENT",
        })
    );

    let asked = answer(
        r#"{ formula(code: "HW-1") { one: version(number: 1) { id }
            three: version(number: 3) { costSheet { swap(old: { code: "PASTE" }, new: { code: "BASE28" }) {
                ... on SwapRefused { code message diluent { code } holdsPercent wantedPercent } } } }
            four: version(number: 4) { proposals { meetsTotal ways { kind line totalBeforePercent
                breaches { material { code } kind foundPercent limitPercent isMost }
                lines { position beforePercent afterPercent } ingredientsBefore { amount } ingredientsAfter { amount } } } }
            two: version(number: 2) { id useLevelBreaches { kind } } }
          offersPerActive(materials: [{ code: "BASE28" }, { code: "PASTE" }, { code: "WAT" }], active: { amount: "70", unit: "kg" }) {
            offers { material { code } perKgActive { amount } dearerByPercent packs } notCompared { material { code } gap { code } } } }"#,
    )
    .await
    .data();
    assert_eq!(
        asked["formula"]["three"]["costSheet"]["swap"],
        json!({
            "code": "DILUENT_SHORT", "diluent": { "code": "WAT" }, "holdsPercent": "39.2", "wantedPercent": "90",
            "message": "WAT (Water) stands at 39.2 % and 90 % would have to be taken from it: there is not enough left",
        })
    );
    let proposals = &asked["formula"]["four"]["proposals"];
    assert_eq!(proposals["meetsTotal"], false);
    assert_eq!(proposals["ways"][0]["totalBeforePercent"], "91");
    assert_eq!(
        proposals["ways"][0]["lines"][0],
        json!({ "position": 1, "beforePercent": "50", "afterPercent": "59" })
    );
    // 50 × 0.002 + 40 × 1.60 + 1 × 10 as they stand; 9 kg of water more.
    assert_eq!(proposals["ways"][0]["ingredientsBefore"]["amount"], "74.1");
    assert_eq!(proposals["ways"][0]["ingredientsAfter"]["amount"], "74.12");
    let broken = proposals["ways"][1]["breaches"].as_array().unwrap();
    let legal = broken.iter().find(|breach| breach["kind"] == "LEGAL").unwrap();
    assert_eq!(
        *legal,
        json!({
            "material": { "code": "PRES" }, "kind": "LEGAL", "foundPercent": "1.098901", "limitPercent": "1", "isMost": true,
        })
    );
    assert_eq!(asked["formula"]["two"]["useLevelBreaches"], json!([]));
    let first = &asked["offersPerActive"]["offers"][0];
    assert_eq!(first["perKgActive"]["amount"], "2.285714");
    assert_eq!(asked["offersPerActive"]["notCompared"][0]["gap"]["code"], "NO_ACTIVE_MATTER");

    // Two versions beside each other, and compared by cause: two points less paste.
    let ids = json!({ "two": asked["formula"]["two"]["id"] });
    let asked = server
        .graphql(
            r#"query($two: ID!) { formula(code: "HW-1") { version(number: 1) {
                sideBySide(after: $two) { before { activePercent } after { activePercent cost { perKg { amount } } }
                    rows { material { code } change doseBeforePercent doseAfterPercent doseChangePercent costBefore { amount } } }
                costSheet { comparison(after: { version: $two }) { per difference { amount } causes { cause } } } } } }"#,
            ids,
        )
        .await
        .data();
    let version = &asked["formula"]["version"];
    assert_eq!(version["sideBySide"]["before"]["activePercent"], "8.4");
    assert_eq!(version["sideBySide"]["after"]["cost"]["perKg"]["amount"], "0.654882");
    assert_eq!(
        version["sideBySide"]["rows"][1],
        json!({
            "material": { "code": "PASTE" }, "change": "CHANGED", "doseBeforePercent": "12", "doseAfterPercent": "10",
            "doseChangePercent": "-16.67", "costBefore": { "amount": "0.195918" },
        })
    );
    let compared = &version["costSheet"]["comparison"];
    assert_eq!(compared["difference"]["amount"], "-0.032612");
    assert_eq!(compared["causes"], json!([{ "cause": "INGREDIENT_AMOUNTS" }]));

    // What is asked wrongly is told with its place.
    let wrong = answer(
        r#"{ pack(code: "W-500") { costSheet { priceLadder(chain: { taxPercent: "-1", own: { marginPercent: "100" } }) { marginPercent } } } }"#,
    )
    .await;
    assert_eq!(wrong.error_code(), "INVALID_INPUT");
    let places: Vec<Value> = wrong.json()["errors"][0]["extensions"]["problems"]
        .as_array()
        .unwrap()
        .iter()
        .map(|problem| problem["place"].clone())
        .collect();
    assert_eq!(places, ["chain.taxPercent", "chain.own"]);
    let wrong =
        answer(r#"{ pack(code: "W-500") { costSheet { doseSweep(input: { line: 9 }) { cutOff } } } }"#).await;
    assert_eq!(wrong.error_code(), "INVALID_INPUT");
}
