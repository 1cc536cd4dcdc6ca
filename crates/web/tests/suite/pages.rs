//! Every page answers for the demo, in bounds, with what a person came for on it.

use axum::http::StatusCode;

use crate::browser::Browser;

/// The most a page may weigh with its style sheet and script, before it is compressed.
const WEIGHT_MAX: usize = 200_000;

#[tokio::test]
async fn every_page_answers_for_every_thing_of_the_demo() {
    let browser = Browser::with_demo().await;
    let actor = browser.actor.clone().unwrap();
    let catalogue = browser.app.catalogue(&actor).unwrap();
    let mut pages: Vec<String> = [
        "/",
        "/shelf",
        "/shelf?show=barred",
        "/shelf?q=pre&kind=raw+material",
        "/receive",
        "/formulas",
        "/packs",
        "/run-check",
        "/run-check?pack=HW-500&units=300&on=2026-11-30",
        "/run-check?pack=FP-01&batch=120+kg&on=2026-12-07",
        "/tickets",
        "/tickets?show=all",
        "/what-if",
        "/settings",
        "/formulas/HW-01/compare?a=2&b=3",
        "/packs/HW-500?batch=300+kg&as_of=2026-10-15",
        "/what-if?as_of=2026-11-25&kind=price-material&what=SLES70&by=%2B12+%25&day=",
        "/what-if?as_of=2026-11-25&kind=lot-rejected&what=L-2606-004&by=&day=2026-11-26",
    ]
    .map(ToOwned::to_owned)
    .to_vec();
    pages.extend(catalogue.packs.iter().map(|pack| format!("/packs/{}", pack.code)));
    pages.extend(catalogue.materials.iter().map(|material| format!("/materials/{}", material.code)));
    for formula in catalogue.formulas.iter() {
        pages.extend(
            formula
                .versions
                .iter()
                .map(|version| format!("/formulas/{}?version={}", formula.code, version.number)),
        );
    }
    let shelf = browser.app.shelf(&actor, None, browser.app.today(), None).await.unwrap();
    pages.extend(
        shelf.iter().flat_map(|row| &row.availability.lots).map(|lot| format!("/lots/{}", lot.number)),
    );
    assert!(pages.len() > 150, "{}", pages.len());
    let style = browser.open("/").await.text;
    let assets: usize = {
        let mut sum = 0;
        for at in style
            .split('"')
            .filter(|text| text.starts_with("/assets/"))
            .collect::<std::collections::BTreeSet<_>>()
        {
            sum += browser.open(at).await.text.len();
        }
        sum
    };
    assert!(assets > 10_000, "the page names its style sheet and script: {assets}");
    for at in &pages {
        let page = browser.open(at).await;
        assert!(page.text.contains("<h1"), "{at}");
        assert_eq!(page.text.matches("<h1").count(), 1, "{at}: one heading says what the page is");
        assert!(page.text.len() + assets < WEIGHT_MAX, "{at} weighs {}", page.text.len() + assets);
        assert!(!page.text.contains("style=\"") && !page.text.contains("<script>"), "{at}: nothing inline");
        assert!(
            !page.text.contains("http://") && !page.text.contains("https://"),
            "{at}: nothing from elsewhere"
        );
    }
}

#[tokio::test]
async fn an_empty_house_has_pages_too() {
    let browser = Browser::empty().await;
    for at in
        ["/", "/shelf", "/receive", "/formulas", "/packs", "/run-check", "/tickets", "/what-if", "/settings"]
    {
        let page = browser.open(at).await;
        assert!(page.text.contains("</html>"), "{at}");
    }
    for at in
        ["/lots/X", "/materials/X", "/formulas/X", "/packs/X", "/tickets/X", "/tickets/X/bench", "/find?q=X"]
    {
        assert_eq!(browser.get(at).await.status, StatusCode::NOT_FOUND, "{at}");
    }
}

#[tokio::test]
async fn today_is_in_its_order_and_names_what_the_demo_is_about() {
    let page = Browser::with_demo().await.open("/").await.text;
    let at = |text: &str| page.find(text).unwrap_or_else(|| panic!("{text} is not on the page"));
    assert!(at("Unsafe or unsaleable") < at("Cannot be made"));
    assert!(at("Cannot be made") < at("Loses money"));
    assert!(at("Loses money") < at("Do by when"));
    // As demo/README.md tells it: expired, rejected, near its date, a price missing, a quotation lapsing.
    for told in ["L-2512-001", "L-2610-007", "L-2606-004", "DS-750", "SLES70"] {
        at(told);
    }
    at("expired 20\u{a0}Nov\u{a0}2026");
}

#[tokio::test]
async fn a_gap_is_a_gap_and_never_nought() {
    let browser = Browser::with_demo().await;
    let page = browser.open("/packs/DS-750").await.text;
    assert!(page.contains("One unit costs at least (partial)"));
    assert!(page.contains("Partial total"));
    assert!(page.contains("not entered"));
    let whole = browser.open("/packs/HW-500").await.text;
    assert!(whole.contains("One unit costs<"));
    assert!(!whole.contains("Partial total"));
}

#[tokio::test]
async fn what_is_found_is_gone_to() {
    let browser = Browser::with_demo().await;
    for (typed, leads_to) in [
        ("l-2606-004", "/lots/L-2606-004"),
        ("hw-500", "/packs/HW-500"),
        ("HW-01", "/formulas/HW-01"),
        ("sles70", "/materials/SLES70"),
    ] {
        assert_eq!(browser.get(&format!("/find?q={typed}")).await.location(), leads_to);
    }
    assert!(browser.open("/find?q=laureth").await.text.contains("/materials/SLES70"));
}

#[tokio::test]
async fn a_question_that_cannot_be_read_is_shown_again_with_what_is_wrong() {
    let browser = Browser::with_demo().await;
    for (at, typed, told) in [
        ("/packs/HW-500?as_of=2026-02-30&batch=12+furlongs", "12 furlongs", "2026-02-30"),
        ("/run-check?pack=NO-SUCH&units=5&on=2026-11-30", "NO-SUCH", "There is no pack or formula NO-SUCH"),
        (
            "/what-if?as_of=2026-11-25&kind=price-material&what=NOPE&by=%2B12+%25&day=",
            "NOPE",
            "Change 1: there is no material NOPE",
        ),
        ("/what-if?as_of=2026-11-25&kind=price-material&what=SLES70&by=lots&day=", "lots", "Change 1: "),
    ] {
        let page = browser.get(at).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY, "{at}");
        assert!(page.text.contains(typed) && page.text.contains(told), "{at}: {}", page.text);
    }
}

#[tokio::test]
async fn blank_sentences_are_left_out_of_the_address() {
    let browser = Browser::with_demo().await;
    let page = browser
        .get("/what-if?kind=price-material&what=SLES70&by=%2B12+%25&day=&kind=rate&what=&by=&day=&as_of=2026-11-25")
        .await;
    assert_eq!(page.status, StatusCode::SEE_OTHER);
    let clean = page.location().to_owned();
    assert_eq!(clean.matches("kind=").count(), 1);
    let answer = browser.open(&clean).await.text;
    assert!(answer.contains("The answer") && answer.contains("HW-500"));
    assert!(answer.contains("Nothing was written."));
}
