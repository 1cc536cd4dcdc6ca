//! Lists: pages that stay right, and a number of statements that does not grow with them.

use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::house::House;

/// Many formulas, each of the same few materials.
fn many(formulas: usize) -> Vec<(&'static str, String)> {
    let mut materials = "code,name,kind\nWAT,Water,utility\n".to_owned();
    let mut quotations = "quotation,supplier,material,pack,price,price per,valid from\n".to_owned();
    let mut lots = "lot,material,quantity,value,received on,status\n".to_owned();
    for at in 0..12 {
        writeln!(materials, "RM-{at:02},Raw material {at},raw material").unwrap();
        writeln!(quotations, "Q-{at},OAK,RM-{at:02},25 kg,{}.50,kg,2026-01-01", at + 1).unwrap();
        for lot in 0..3 {
            writeln!(lots, "L-{at:02}-{lot},RM-{at:02},25 kg,40.00,2026-10-0{},released", lot + 1).unwrap();
        }
    }
    let mut heads =
        "formula,name,version,status,makes,written as,usual batch,approved by,approved on\n".to_owned();
    let mut lines = "formula,version,line,material,amount\n".to_owned();
    for at in 0..formulas {
        writeln!(materials, "BK-{at:03},Bulk {at},bulk").unwrap();
        writeln!(
            heads,
            "F-{at:03},Formula {at},1,approved,BK-{at:03},percent,100 kg,A. Penhallow,2026-01-05"
        )
        .unwrap();
        for line in 0..12 {
            writeln!(lines, "F-{at:03},1,{},RM-{line:02},1 %", line + 1).unwrap();
        }
        writeln!(lines, "F-{at:03},1,13,WAT,q.s.").unwrap();
    }
    vec![
        ("materials.csv", materials),
        ("suppliers.csv", "code,name,currency\nOAK,Oakhollow Supplies,GBP\n".to_owned()),
        ("quotations.csv", quotations),
        ("lots.csv", lots),
        ("formulas.csv", heads),
        ("formula-lines.csv", lines),
    ]
}

fn formulas_with_everything(first: usize) -> String {
    format!(
        "{{ formulas(first: {first}) {{ totalCount nodes {{ code name makes {{ code }} currentVersion {{ number status
            lines {{ position sharePercent material {{ code name onHand {{ amount unit }}
                bestPrice {{ unitCost {{ amount currency }} source {{ supplier {{ name }} }} }} }} }} }} }} }} }}"
    )
}

#[tokio::test]
async fn a_list_takes_a_fixed_number_of_statements() {
    let house = House::of_sheets(&many(60)).await;
    let few = house.statements(&formulas_with_everything(2)).await;
    let most = house.statements(&formulas_with_everything(50)).await;
    assert_eq!(few, most, "statements for 2 and for 50 formulas");
    assert_eq!(most, 1, "everything but the lots is in memory");

    let answer = house.ask(&formulas_with_everything(50)).await;
    let formulas = answer["formulas"]["nodes"].as_array().unwrap();
    assert_eq!((formulas.len(), &answer["formulas"]["totalCount"]), (50, &json!(60)));
    let lines = formulas[49]["currentVersion"]["lines"].as_array().unwrap();
    assert_eq!(lines.len(), 13);
    assert_eq!(lines[3]["material"]["onHand"], json!({ "amount": "75", "unit": "kg" }));
    assert_eq!(lines[3]["material"]["bestPrice"]["unitCost"]["amount"], "4.5");
    assert_eq!(lines[12]["sharePercent"], "88");
    assert_eq!(lines[12]["material"]["onHand"], Value::Null, "water is not stocked");
}

#[tokio::test]
async fn lots_with_all_around_them_take_a_fixed_number_of_statements() {
    let house = House::of_sheets(&many(3)).await;
    let query = |first: usize| {
        format!(
            "{{ lots(first: {first}, onShelf: true) {{ totalCount nodes {{ number value {{ amount }} material {{ code onHand {{ amount }} }}
                madeBy {{ number }} usedBy {{ number }} }} }} }}"
        )
    };
    assert_eq!(house.statements(&query(2)).await, house.statements(&query(30)).await);
}

/// Relay, Cursor Connections, section "Pagination algorithm".
#[tokio::test]
async fn pages_follow_one_another_in_both_directions() {
    let house = House::of_sheets(&many(7)).await;
    let page = async |arguments: String| {
        let query = format!(
            "{{ formulas({arguments}) {{ edges {{ cursor node {{ code }} }} pageInfo {{ hasNextPage hasPreviousPage startCursor endCursor }} }} }}"
        );
        house.ask(&query).await["formulas"].clone()
    };
    let codes = |page: &Value| -> Vec<String> {
        let edges = page["edges"].as_array().unwrap().iter();
        edges.map(|edge| edge["node"]["code"].as_str().unwrap().to_owned()).collect()
    };
    let first = page("first: 3".to_owned()).await;
    assert_eq!(codes(&first), ["F-000", "F-001", "F-002"]);
    assert_eq!(first["pageInfo"]["hasNextPage"], true);
    assert_eq!(first["pageInfo"]["hasPreviousPage"], false);
    let second = page(format!("first: 3, after: {}", first["pageInfo"]["endCursor"])).await;
    assert_eq!(codes(&second), ["F-003", "F-004", "F-005"]);
    let third = page(format!("first: 3, after: {}", second["pageInfo"]["endCursor"])).await;
    assert_eq!(codes(&third), ["F-006"]);
    assert_eq!(third["pageInfo"]["hasNextPage"], false);
    let back = page(format!("last: 2, before: {}", third["pageInfo"]["startCursor"])).await;
    assert_eq!(codes(&back), ["F-004", "F-005"]);
    assert_eq!(back["pageInfo"]["hasPreviousPage"], true);
    let last = page("last: 2".to_owned()).await;
    assert_eq!(codes(&last), ["F-005", "F-006"]);

    // A cursor of another list is none of this one.
    let (code, problems) = house
        .error(
            "query($after: String) { materials(after: $after) { nodes { code } } }",
            json!({ "after": first["pageInfo"]["endCursor"] }),
        )
        .await;
    assert_eq!((code.as_str(), &problems[0]["place"]), ("INVALID_INPUT", &json!("after")));
}

/// A page begins after a row, not after so many rows, so what is added meanwhile does not shift it.
#[tokio::test]
async fn pages_stay_right_while_rows_are_added() {
    let house = House::furnished().await;
    let page = "query($after: String) { quotations(first: 2, after: $after) { nodes { reference } pageInfo { endCursor } } }";
    let first = house.data(page, json!({})).await;
    let references = |page: &Value| -> Vec<String> {
        let nodes = page["quotations"]["nodes"].as_array().unwrap().iter();
        nodes.map(|node| node["reference"].as_str().unwrap().to_owned()).collect()
    };
    assert_eq!(references(&first), ["O-1", "O-2"]);
    let input = json!({
        "reference": "A-0",
        "supplier": { "code": "OAK" },
        "material": { "code": "GUM" },
        "validFrom": "2025-01-01",
        "offers": [{
            "pack": { "amount": 1, "unit": "kg" },
            "price": { "amount": "19.00", "currency": "GBP" },
        }],
    });
    let recorded = house
        .change("quotationRecord", input, "... on QuotationRecordPayload { quotation { reference } }")
        .await;
    assert_eq!(recorded["quotation"]["reference"], "A-0");
    let second = house.data(page, json!({ "after": first["quotations"]["pageInfo"]["endCursor"] })).await;
    assert_eq!(references(&second), ["O-3", "O-4"]);
}

#[tokio::test]
async fn stored_lists_are_paged_as_well() {
    let house = House::of_sheets(&many(1)).await;
    let page = "query($after: String) { lots(first: 20, after: $after) { totalCount nodes { number } pageInfo { endCursor hasNextPage } } }";
    let first = house.data(page, json!({})).await;
    let second = house.data(page, json!({ "after": first["lots"]["pageInfo"]["endCursor"] })).await;
    let numbers = |page: &Value| page["lots"]["nodes"].as_array().unwrap().len();
    assert_eq!((numbers(&first), numbers(&second)), (20, 16));
    assert_eq!(first["lots"]["totalCount"], 36);
    assert_eq!(second["lots"]["pageInfo"]["hasNextPage"], false);

    let filtered = house
        .ask(r#"{ lots(material: { code: "RM-03" }, statuses: [RELEASED]) { nodes { number } } }"#)
        .await;
    assert_eq!(filtered["lots"]["nodes"].as_array().unwrap().len(), 3);
}
