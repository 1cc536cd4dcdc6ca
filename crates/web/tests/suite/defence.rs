//! What a stranger may try: text that wants to be markup, forms from elsewhere, frames, other people's pages.

use app::{Change, import::ImportOptions};
use axum::http::{StatusCode, header};
use domain::people::Capability;
use exchange::{NamedFile, ReadOptions};
use kernel::Currency;

use crate::browser::{Browser, encoded, form};

const MARKUP: &str = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>";

async fn house_with_markup_everywhere() -> Browser {
    let browser = Browser::empty().await;
    let quoted = format!("\"{}\"", MARKUP.replace('"', "\"\""));
    let sheets = [
        (
            "materials.csv",
            format!(
                "code,name,kind,density,INCI name,note\nRM,{quoted},raw material,1,{quoted},{quoted}\nBK,{quoted},bulk,1,,\n"
            ),
        ),
        ("suppliers.csv", format!("code,name,currency,note\nSU,{quoted},GBP,{quoted}\n")),
        (
            "quotations.csv",
            format!(
                "quotation,supplier,material,pack,price,price per,valid from,note\n{quoted},SU,RM,1 kg,2.00,kg,2026-01-01,{quoted}\n"
            ),
        ),
        (
            "formulas.csv",
            format!(
                "formula,name,version,status,makes,written as,usual batch,density,approved by,approved on,note\nFO,{quoted},1,approved,BK,percent,10 kg,1,{quoted},2026-01-05,{quoted}\n"
            ),
        ),
        (
            "formula-lines.csv",
            format!(
                "formula,version,line,phase,material,amount,function,instruction\nFO,1,1,{quoted},RM,100 %,{quoted},{quoted}\n"
            ),
        ),
        ("packs.csv", format!("pack,name,formula,fill,price,note\nPA,{quoted},FO,100 mL,2.00,{quoted}\n")),
        (
            "lots.csv",
            format!(
                "lot,material,quantity,value,received,status,supplier,supplier lot,location,note\nLO,RM,50 kg,10.00,2026-11-02,released,SU,{quoted},{quoted},{quoted}\n"
            ),
        ),
    ];
    let files: Vec<NamedFile<'_>> =
        sheets.iter().map(|(name, text)| NamedFile { name, bytes: text.as_bytes() }).collect();
    let reading = exchange::read_files(&files, &ReadOptions::new(Currency::GBP));
    assert_eq!(reading.problems, []);
    let change = Change::by(browser.actor.as_ref().unwrap());
    browser.app.import_apply(&change, &reading.set, ImportOptions::default()).await.unwrap();
    browser
}

#[tokio::test]
async fn text_never_becomes_markup() {
    let browser = house_with_markup_everywhere().await;
    let page = browser.open("/run-check?pack=PA&units=20&on=2026-11-25").await;
    let ticket = browser
        .submit(
            &page,
            "action=\"/tickets\"",
            "/tickets",
            &[("pack", "PA"), ("units", "20"), ("batch", ""), ("on", "2026-11-25")],
        )
        .await;
    let ticket = ticket.location().to_owned();
    let bench = format!("{ticket}/bench");
    let asked = encoded(MARKUP);
    let echoed = [
        format!("/find?q={asked}"),
        format!("/shelf?q={asked}&kind={asked}&show={asked}&on={asked}"),
        format!("/packs/PA?batch={asked}&as_of={asked}"),
        format!("/run-check?pack={asked}&units={asked}&on={asked}"),
        format!("/what-if?as_of={asked}&kind={asked}&what={asked}&by={asked}&day={asked}"),
        format!("/what-if?as_of=2026-11-25&kind=price-material&what={asked}&by={asked}&day={asked}"),
        format!("/?floor={asked}"),
        format!("/lots/{asked}"),
        format!("/materials/{asked}"),
        format!("/sign-in?then={asked}"),
        format!("{bench}?second={asked}&line={asked}"),
    ];
    let stored = [
        "/",
        "/shelf",
        "/receive",
        "/formulas",
        "/packs",
        "/tickets",
        "/what-if",
        "/materials/RM",
        "/lots/LO",
        "/formulas/FO",
        "/packs/PA",
    ];
    let mut seen = 0;
    for at in stored.iter().map(|at| (*at).to_owned()).chain([ticket, bench.clone()]).chain(echoed) {
        let page = browser.get(&at).await;
        assert!(!page.text.contains("<script>alert"), "{at}");
        assert!(!page.text.contains("<img src=x"), "{at}");
        seen += page.text.matches("&lt;script&gt;alert").count();
    }
    assert!(seen > 30, "the text is shown, escaped: {seen}");
}

#[tokio::test]
async fn a_form_without_the_token_of_a_page_changes_nothing() {
    let browser = Browser::with_demo().await;
    let actor = browser.actor.clone().unwrap();
    let before = browser.app.lot_by_number(&actor, "L-2606-001").await.unwrap().unwrap();
    let fields = [("found", "1"), ("reason", "because"), ("on", "2026-11-25")];
    for token in [None, Some(""), Some("0"), Some("the token of another page")] {
        let mut sent = fields.to_vec();
        sent.extend(token.map(|token| ("page_token", token)));
        let page = browser.post("/lots/L-2606-001/count", &sent).await;
        assert_eq!(page.status, StatusCode::FORBIDDEN, "{token:?}");
        assert!(page.text.contains("did not come from this house"));
    }
    // With the right token, but sent by another site, as the browser itself says.
    let token = browser.open("/lots/L-2606-001").await.hidden("/count", "page_token");
    let mut sent = fields.to_vec();
    sent.push(("page_token", &token));
    let mut request = form("/lots/L-2606-001/count", &sent);
    request.headers_mut().insert("sec-fetch-site", "cross-site".parse().unwrap());
    assert_eq!(browser.send(request).await.status, StatusCode::FORBIDDEN);
    assert_eq!(browser.app.lot_by_number(&actor, "L-2606-001").await.unwrap().unwrap(), before);
    assert_eq!(browser.post("/lots/L-2606-001/count", &sent).await.status, StatusCode::SEE_OTHER);
}

/// Every address that takes a form, so that a new one cannot forget the token.
#[tokio::test]
async fn every_form_wants_the_token() {
    let browser = Browser::with_demo().await;
    for at in [
        "/lots/L-2606-001/status",
        "/lots/L-2606-001/count",
        "/lots/L-2606-001/take",
        "/lots/L-2606-001/reverse",
        "/receive",
        "/formulas/HW-01/approve",
        "/formulas/HW-01/retire",
        "/tickets",
        "/tickets/X/allocate",
        "/tickets/X/cancel",
        "/tickets/X/complete",
        "/tickets/X/weigh",
        "/tickets/X/take-back",
        "/settings/tokens",
        "/settings/tokens/revoke",
        "/sign-in",
        "/sign-out",
    ] {
        assert_eq!(browser.post(at, &[("reason", "x")]).await.status, StatusCode::FORBIDDEN, "{at}");
    }
}

#[tokio::test]
async fn pages_cannot_be_framed_kept_or_scripted() {
    let browser = Browser::with_demo().await;
    let page = browser.open("/").await;
    let header = |name: header::HeaderName| page.headers.get(name).unwrap().to_str().unwrap().to_owned();
    let policy = header(header::CONTENT_SECURITY_POLICY);
    for rule in [
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "frame-ancestors 'none'",
        "form-action 'self'",
    ] {
        assert!(policy.contains(rule), "{rule}");
    }
    assert!(!policy.contains("unsafe"));
    assert_eq!(header(header::X_FRAME_OPTIONS), "DENY");
    assert_eq!(header(header::CACHE_CONTROL), "no-store");
    let style = page.text.split('"').find(|text| text.starts_with("/assets/style")).unwrap().to_owned();
    let style = browser.open(&style).await;
    assert!(style.headers.get(header::CACHE_CONTROL).unwrap().to_str().unwrap().contains("immutable"));
    assert_eq!(browser.get("/assets/style-000000000000.css").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn who_may_only_look_is_offered_nothing_to_change_and_cannot() {
    let mut browser = Browser::with_demo().await;
    browser.who_may(&[Capability::Look]);
    let page = browser.open("/lots/L-2606-001").await;
    assert!(!page.text.contains("method=\"post\""));
    let token = browser.open("/receive").await.hidden("action=\"/receive\"", "page_token");
    let sent = [("page_token", token.as_str()), ("found", "1"), ("reason", "because"), ("on", "2026-11-25")];
    assert_eq!(browser.post("/lots/L-2606-001/count", &sent).await.status, StatusCode::FORBIDDEN);
    browser.who_may(&[]);
    assert_eq!(browser.get("/").await.status, StatusCode::FORBIDDEN);
}
