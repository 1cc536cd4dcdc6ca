//! What the office enters: sheets with a look before anything is written, quotations, rates.

use std::fmt::Write as _;

use axum::{
    body::Body,
    http::{Request, StatusCode, header},
};
use domain::people::Capability;

use crate::browser::{Browser, Page};

/// Files as a browser sends them, with the token of a page.
async fn send(browser: &Browser, page: &Page, files: &[(&str, &str)]) -> Page {
    let token = page.hidden("action=\"/import\"", "page_token");
    let mut body =
        format!("--mark\r\nContent-Disposition: form-data; name=\"page_token\"\r\n\r\n{token}\r\n");
    for (name, text) in files {
        let _ = write!(
            body,
            "--mark\r\nContent-Disposition: form-data; name=\"files\"; filename=\"{name}\"\r\nContent-Type: text/csv\r\n\r\n{text}\r\n"
        );
    }
    body.push_str("--mark--\r\n");
    let request = Request::post("/import")
        .header(header::CONTENT_TYPE, "multipart/form-data; boundary=mark")
        .body(Body::from(body))
        .unwrap();
    browser.send(request).await
}

const SUPPLIERS: &str = "code,name,currency,lead time\nNEW,Neuhaus & <Söhne>,EUR,10 days\n";

#[tokio::test]
async fn sheets_are_shown_before_they_are_written_and_written_once() {
    let browser = Browser::with_demo().await;
    let actor = browser.actor.clone().unwrap();
    let page = browser.open("/import").await;
    let known = |browser: &Browser| browser.app.catalogue(&actor).unwrap().suppliers.by_code("NEW").is_some();
    let preview = send(&browser, &page, &[("suppliers.csv", SUPPLIERS)]).await;
    assert_eq!(preview.status, StatusCode::OK, "{}", preview.text);
    assert!(preview.text.contains("What would change") && preview.text.contains("suppliers.csv"));
    assert!(!known(&browser), "nothing is written before it is confirmed");
    let upload = preview.hidden("action=\"/import/confirm\"", "upload");
    let confirm = |fields: Vec<(&'static str, String)>| {
        let (browser, preview) = (&browser, &preview);
        async move {
            let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (*n, v.as_str())).collect();
            browser.submit(preview, "action=\"/import/confirm\"", "/import/confirm", &fields).await
        }
    };
    let done = confirm(vec![("upload", upload.clone())]).await;
    assert_eq!(done.status, StatusCode::OK, "{}", done.text);
    assert!(known(&browser));
    let version = browser.app.catalogue(&actor).unwrap().version;
    confirm(vec![("upload", upload)]).await;
    assert_eq!(browser.app.catalogue(&actor).unwrap().version, version, "a second tap changes nothing");
    assert_eq!(confirm(vec![("upload", "nothing".into())]).await.status, StatusCode::CONFLICT);
    let again = send(&browser, &page, &[("suppliers.csv", SUPPLIERS)]).await;
    assert!(again.text.contains("The house knows all of this already"));
}

#[tokio::test]
async fn every_row_that_is_wrong_is_named_and_nothing_can_be_confirmed() {
    let browser = Browser::with_demo().await;
    let page = browser.open("/import").await;
    let materials = "code,name,kind\nX1,One,raw material\nX2,Two,nonsense <b>\n,Three,raw material\n";
    let told = send(&browser, &page, &[("materials.csv", materials), ("suppliers.csv", SUPPLIERS)]).await;
    assert_eq!(told.status, StatusCode::UNPROCESSABLE_ENTITY);
    for shown in ["materials.csv, row 3", "materials.csv, row 4", "nonsense &lt;b&gt;"] {
        assert!(told.text.contains(shown), "{shown}: {}", told.text);
    }
    assert!(!told.text.contains("/import/confirm"));
    for (files, status) in [
        (vec![], StatusCode::UNPROCESSABLE_ENTITY),
        (vec![("picture.png", "\u{89}PNG")], StatusCode::UNPROCESSABLE_ENTITY),
        (vec![("empty.csv", "")], StatusCode::UNPROCESSABLE_ENTITY),
    ] {
        assert_eq!(send(&browser, &page, &files).await.status, status, "{files:?}");
    }
    let large = "x".repeat(21 << 20);
    assert_eq!(send(&browser, &page, &[("a.csv", &large)]).await.status, StatusCode::PAYLOAD_TOO_LARGE);
    let forged = Page {
        text: "action=\"/import\" name=\"page_token\" value=\"0000\"".into(),
        status: page.status,
        headers: page.headers.clone(),
    };
    assert_eq!(send(&browser, &forged, &[("suppliers.csv", SUPPLIERS)]).await.status, StatusCode::FORBIDDEN);
}

#[tokio::test]
async fn a_quotation_is_entered_and_changes_what_a_kilogram_costs() {
    let browser = Browser::with_demo().await;
    let actor = browser.actor.clone().unwrap();
    let page = browser.open("/quotations?material=GLYC").await;
    let fields = [
        ("material", "GLYC"),
        ("supplier", "ELB"),
        ("reference", "WEB-1"),
        ("currency", "gbp"),
        ("validFrom", "2026-11-25"),
        ("validUntil", "2027-01-31"),
        ("leadTime", "5 days"),
        ("freight", "12"),
        ("freightPer", "order"),
        ("pack", "25 kg"),
        ("price", "0.50"),
        ("per", "1 kg"),
        ("fromQuantity", ""),
        ("pack", "25 kg"),
        ("price", "0.45"),
        ("per", "1 kg"),
        ("fromQuantity", "100 kg"),
    ];
    let done = browser.submit(&page, "action=\"/quotations\"", "/quotations", &fields).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.text);
    assert_eq!(done.location(), "/materials/GLYC");
    let catalogue = browser.app.catalogue(&actor).unwrap();
    let glycerin = catalogue.materials.by_code("GLYC").unwrap().id;
    let entered = catalogue.quotations_of(glycerin).iter().find(|q| q.reference == "WEB-1").unwrap();
    assert_eq!((entered.offers.len(), entered.currency.code()), (2, "GBP"));
    assert!(browser.open("/materials/GLYC").await.text.contains("WEB-1"));
    let wrong = [
        ("material", "NOPE"),
        ("supplier", ""),
        ("reference", "W"),
        ("validFrom", "x"),
        ("pack", "2"),
        ("price", "<b>"),
    ];
    let page = browser.open("/quotations").await;
    let told = browser.submit(&page, "action=\"/quotations\"", "/quotations", &wrong).await;
    assert_eq!(told.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(told.text.contains("value=\"&lt;b&gt;\"") && told.text.contains("There is no material NOPE"));
}

#[tokio::test]
async fn rates_are_entered_and_hold_from_their_day() {
    let mut browser = Browser::with_demo().await;
    let actor = browser.actor.clone().unwrap();
    let page = browser.open("/rates").await;
    let fields =
        [("from", "eur"), ("to", "GBP"), ("figure", "0.9"), ("date", "2026-11-25"), ("source", "List <1>")];
    let at = "/rates/exchange";
    let done = browser.submit(&page, at, at, &fields).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.text);
    assert!(browser.open("/rates").await.text.contains("List &lt;1&gt;"));
    let (eur, gbp) = (kernel::Currency::EUR, kernel::Currency::GBP);
    let catalogue = browser.app.catalogue(&actor).unwrap();
    let rate = catalogue.rate_on(eur, gbp, browser.app.today()).unwrap();
    assert_eq!(rate.rate.decimal().to_string(), "0.9");
    let at = "/rates/house";
    let page = browser.open("/rates").await;
    let fields = [
        ("name", "night shift"),
        ("of", "labour-hour"),
        ("figure", "31.5"),
        ("date", "2026-11-25"),
        ("note", ""),
    ];
    assert_eq!(browser.submit(&page, at, at, &fields).await.status, StatusCode::SEE_OTHER);
    assert!(browser.app.catalogue(&actor).unwrap().knows_house_rate("Night shift"));
    let page = browser.open("/rates").await;
    let wrong = [("from", "EUR"), ("to", "EUR"), ("figure", "-1"), ("date", "2026-11-25"), ("source", "")];
    let told = browser.submit(&page, "/rates/exchange", "/rates/exchange", &wrong).await;
    assert_eq!(told.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", told.text);
    browser.who_may(&[Capability::Look]);
    assert!(!browser.open("/rates").await.text.contains("/rates/house"), "whoever only looks sees no form");
    assert_eq!(browser.get("/import").await.status, StatusCode::FORBIDDEN);
    assert_eq!(browser.get("/quotations").await.status, StatusCode::FORBIDDEN);
}
