//! Writing a formula as a browser without a script does it: the whole sheet is one form, and nothing typed is ever lost.

use axum::http::StatusCode;
use domain::{
    formulas::{AmountBasis, LineAmount, VersionStatus},
    people::Capability,
};

use crate::browser::{Browser, Page};

/// The fields of the sheet as a browser would send them back: hidden fields, inputs and chosen options, in order.
fn fields_of(page: &Page) -> Vec<(String, String)> {
    let start = page.text.find("<form id=\"draft\"").or_else(|| page.text.find("id=\"draft\"")).unwrap();
    let form = &page.text[start..];
    let form = &form[..form.find("</form>").unwrap()];
    let mut fields = Vec::new();
    let mut rest = form;
    while let Some(at) = rest.find('<') {
        rest = &rest[at + 1..];
        let tag = &rest[..rest.find('>').unwrap()];
        let attribute = |name: &str| {
            let mark = format!(" {name}=\"");
            let from = tag.find(&mark)? + mark.len();
            let value = &tag[from..];
            Some(value[..value.find('"').unwrap()].to_owned())
        };
        if tag.starts_with("input") {
            if let Some(name) = attribute("name") {
                fields.push((name, unescaped(&attribute("value").unwrap_or_default())));
            }
        } else if tag.starts_with("select") {
            let select = &rest[..rest.find("</select>").unwrap()];
            let chosen = select.split("<option").find(|option| option.contains(" selected"));
            let chosen = chosen.or_else(|| select.split("<option").nth(1)).unwrap();
            let from = chosen.find("value=\"").unwrap() + 7;
            let value = chosen[from..].split('"').next().unwrap().to_owned();
            fields.push((attribute("name").unwrap(), value));
        }
    }
    fields
}

fn unescaped(text: &str) -> String {
    text.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&amp;", "&")
}

fn set(fields: &mut [(String, String)], name: &str, value: &str) {
    let field = fields.iter_mut().find(|(known, _)| known == name).unwrap_or_else(|| panic!("no {name}"));
    value.clone_into(&mut field.1);
}

/// Types into the n-th line.
fn set_line(fields: &mut [(String, String)], at: usize, pairs: &[(&str, &str)]) {
    for (name, value) in pairs {
        let field = fields.iter_mut().filter(|(known, _)| known == name).nth(at);
        (*value).clone_into(&mut field.unwrap_or_else(|| panic!("no {name} in line {at}")).1);
    }
}

async fn press(browser: &Browser, fields: &[(String, String)], button: &str) -> Page {
    let mut all: Vec<(&str, &str)> =
        fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    all.push(("do", button));
    browser.post("/draft", &all).await
}

fn typed_shampoo(page: &Page) -> Vec<(String, String)> {
    let mut fields = fields_of(page);
    for (name, value) in
        [("code", "SH-01"), ("name", "Shampoo <mild>"), ("makes", "BK-SH"), ("usualBatch", "50")]
    {
        set(&mut fields, name, value);
    }
    set_line(&mut fields, 0, &[("material", "WAT"), ("kind", "qs")]);
    set_line(&mut fields, 1, &[("material", "sles70"), ("amount", "12"), ("phase", "B")]);
    set_line(
        &mut fields,
        2,
        &[("material", "CAPB30"), ("amount", "2.1"), ("basis", "active"), ("phase", "B")],
    );
    fields
}

#[tokio::test]
async fn a_formula_from_the_bench_is_worked_out_saved_and_approved() {
    let browser = Browser::with_demo().await;
    let actor = browser.actor.clone().unwrap();
    let page = browser.open("/draft").await;
    let fields = typed_shampoo(&page);
    let worked = press(&browser, &fields, "work-out").await;
    assert_eq!(worked.status, StatusCode::OK, "{}", worked.text);
    for shown in ["makes its total", "q.s. takes", "One kilogram costs", "value=\"Shampoo &lt;mild&gt;\""] {
        assert!(worked.text.contains(shown), "{shown}");
    }
    assert!(
        browser.app.catalogue(&actor).unwrap().formulas.by_code("SH-01").is_none(),
        "nothing is written yet"
    );
    let saved = press(&browser, &fields_of(&worked), "save").await;
    assert_eq!(saved.status, StatusCode::SEE_OTHER, "{}", saved.text);
    assert_eq!(saved.location(), "/formulas/SH-01?version=1");
    let again = press(&browser, &fields_of(&worked), "save").await;
    assert_eq!(again.location(), saved.location(), "a second tap changes nothing");
    let catalogue = browser.app.catalogue(&actor).unwrap();
    let formula = catalogue.formulas.by_code("SH-01").unwrap();
    assert_eq!(formula.versions.len(), 1);
    let lines = &formula.versions[0].lines;
    assert_eq!((lines[0].amount, lines[0].phase.as_deref()), (LineAmount::QuantitySufficient, Some("A")));
    assert_eq!((lines[2].basis, lines[2].phase.as_deref()), (AmountBasis::ActiveMatter, Some("B")));
    let page = browser.open(saved.location()).await;
    let approve = "/formulas/SH-01/approve";
    let done = browser.submit(&page, approve, approve, &[("version", "1")]).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER);
    let catalogue = browser.app.catalogue(&actor).unwrap();
    assert_eq!(catalogue.formulas.by_code("SH-01").unwrap().versions[0].status, VersionStatus::Approved);
}

#[tokio::test]
async fn lines_are_added_moved_and_taken_out_with_everything_else_kept() {
    let browser = Browser::with_demo().await;
    let page = browser.open("/draft").await;
    let fields = typed_shampoo(&page);
    let materials = |page: &Page| -> Vec<String> {
        fields_of(page).into_iter().filter(|(name, _)| name == "material").map(|(_, value)| value).collect()
    };
    let down = press(&browser, &fields, "down-0").await;
    assert_eq!(materials(&down), ["sles70", "WAT", "CAPB30", ""]);
    let up = press(&browser, &fields_of(&down), "up-2").await;
    assert_eq!(materials(&up), ["sles70", "CAPB30", "WAT", ""]);
    let out = press(&browser, &fields_of(&up), "remove-0").await;
    assert_eq!(materials(&out), ["CAPB30", "WAT", ""]);
    let added = press(&browser, &fields_of(&out), "add").await;
    assert_eq!(materials(&added), ["CAPB30", "WAT", "", ""]);
    assert!(added.text.contains("value=\"Shampoo &lt;mild&gt;\""));
    for odd in ["up-0", "down-99", "remove-99", "right-7", "up--1", "", "nonsense"] {
        assert_eq!(press(&browser, &fields, odd).await.status, StatusCode::OK, "{odd}");
    }
}

#[tokio::test]
async fn what_is_wrong_is_told_by_line_and_what_was_typed_stays() {
    let browser = Browser::with_demo().await;
    let page = browser.open("/draft").await;
    let mut fields = typed_shampoo(&page);
    set(&mut fields, "code", "");
    set_line(&mut fields, 1, &[("material", "NOPE<b>"), ("amount", "twelve")]);
    let refused = press(&browser, &fields, "save").await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    for shown in [
        "#line-1-material",
        "#line-1-amount",
        "#draft-code",
        "value=\"NOPE&lt;b&gt;\"",
        "value=\"twelve\"",
        "There is no material NOPE&lt;b&gt;",
    ] {
        assert!(refused.text.contains(shown), "{shown}: {}", refused.text);
    }
    // Lines that miss their total are offered ways to put it right, and nothing is changed before one is chosen.
    let mut fields = typed_shampoo(&page);
    set_line(&mut fields, 0, &[("amount", "90"), ("kind", "percent")]);
    let missed = press(&browser, &fields, "work-out").await;
    assert!(missed.text.contains("misses its total") && missed.text.contains("value=\"right-0\""));
    let put_right = press(&browser, &fields_of(&missed), "right-0").await;
    assert!(put_right.text.contains("makes its total"), "{}", put_right.text);
}

#[tokio::test]
async fn an_approved_version_becomes_the_next_draft_with_all_it_says() {
    let browser = Browser::with_demo().await;
    let actor = browser.actor.clone().unwrap();
    let page = browser.open("/draft?formula=HW-01&version=2").await;
    let saved = press(&browser, &fields_of(&page), "save").await;
    assert_eq!(saved.location(), "/formulas/HW-01?version=4", "{}", saved.text);
    let catalogue = browser.app.catalogue(&actor).unwrap();
    let formula = catalogue.formulas.by_code("HW-01").unwrap();
    let (from, to) = (formula.version(2).unwrap(), formula.version(4).unwrap());
    assert_eq!(from.lines, to.lines);
    assert_eq!((&from.making, &from.density, from.heel), (&to.making, &to.density, to.heel));
    assert_eq!((from.usual_batch, from.shelf_life, &from.note), (to.usual_batch, to.shelf_life, &to.note));
    // Every formula of the demo comes through the form as it is.
    for (code, number) in [("GC-01", 2), ("FP-01", 1), ("LO-01", 1), ("PM-XAN", 1), ("HW-01", 3)] {
        let page = browser.open(&format!("/draft?formula={code}&version={number}")).await;
        let saved = press(&browser, &fields_of(&page), "save").await;
        assert_eq!(saved.status, StatusCode::SEE_OTHER, "{code}: {}", saved.text);
        let catalogue = browser.app.catalogue(&actor).unwrap();
        let formula = catalogue.formulas.by_code(code).unwrap();
        let new = saved.location().rsplit('=').next().unwrap().parse().unwrap();
        let (from, to) = (formula.version(number).unwrap(), formula.version(new).unwrap());
        assert_eq!((&from.lines, from.written_as), (&to.lines, to.written_as), "{code}");
    }
}

#[tokio::test]
async fn two_people_at_one_draft_see_what_differs_and_lose_nothing() {
    let browser = Browser::with_demo().await;
    let actor = browser.actor.clone().unwrap();
    let at = "/draft?formula=HW-01&version=3";
    let (mut mine, mut theirs) = (fields_of(&browser.open(at).await), fields_of(&browser.open(at).await));
    let line =
        theirs.iter().filter(|(name, _)| name == "material").position(|(_, code)| code != "WAT").unwrap();
    set_line(&mut theirs, line, &[("amount", "3.21")]);
    set_line(&mut mine, line, &[("amount", "3.45"), ("instruction", "slowly <i>")]);
    assert_eq!(press(&browser, &theirs, "save").await.status, StatusCode::SEE_OTHER);
    let told = press(&browser, &mine, "save").await;
    assert_eq!(told.status, StatusCode::CONFLICT);
    for shown in ["3.21", "value=\"3.45\"", "slowly &lt;i&gt;", "value=\"over\"", "value=\"new\""] {
        assert!(told.text.contains(shown), "{shown}");
    }
    let kept = press(&browser, &fields_of(&told), "new").await;
    assert_eq!(kept.location(), "/formulas/HW-01?version=4", "{}", kept.text);
    let over = press(&browser, &fields_of(&told), "over").await;
    assert_eq!(over.status, StatusCode::CONFLICT, "the key was spent on the new version: {}", over.text);
    let told = press(&browser, &mine_again(&mine), "save").await;
    let over = press(&browser, &fields_of(&told), "over").await;
    assert_eq!(over.location(), "/formulas/HW-01?version=3", "{}", over.text);
    let catalogue = browser.app.catalogue(&actor).unwrap();
    let saved = catalogue.formulas.by_code("HW-01").unwrap().version(3).unwrap();
    assert_eq!(saved.lines[line].instruction.as_deref(), Some("slowly <i>"));
}

/// The same form under another key, as after reading the page anew.
fn mine_again(fields: &[(String, String)]) -> Vec<(String, String)> {
    let mut fields = fields.to_vec();
    set(&mut fields, "request_key", "another");
    fields
}

#[tokio::test]
async fn whoever_may_only_look_writes_no_formula() {
    let mut browser = Browser::with_demo().await;
    let page = browser.open("/draft").await;
    let fields = typed_shampoo(&page);
    browser.who_may(&[Capability::Look]);
    assert_eq!(browser.get("/draft").await.status, StatusCode::FORBIDDEN);
    assert_eq!(press(&browser, &fields, "save").await.status, StatusCode::FORBIDDEN);
    assert!(!browser.open("/formulas").await.text.contains("href=\"/draft\""));
    let suggested = browser.open("/draft/materials?q=glyc").await;
    assert!(suggested.text.contains("value=\"GLYC\"") && !suggested.text.contains("SLES70"));
}
