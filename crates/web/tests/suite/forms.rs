//! Forms: what is sent is done once; what is refused is shown again with what was typed.

use axum::http::StatusCode;
use domain::lots::LotStatus;

use crate::browser::Browser;

#[tokio::test]
async fn a_delivery_becomes_a_lot_once() {
    let browser = Browser::with_demo().await;
    let actor = browser.actor.clone().unwrap();
    let page = browser.open("/receive?material=SLES70").await;
    let fields = [
        ("material", "sles70"),
        ("quantity", "220"),
        ("value", "310.20"),
        ("supplier", "ELB"),
        ("supplierLot", " 0012/E5 "),
        ("number", ""),
        ("receivedOn", "2026-11-25"),
        ("madeOn", "2026-10-01"),
        ("expiresOn", ""),
        ("retestOn", ""),
        ("density", ""),
        ("activeMatter", "70.4 %"),
        ("location", "Bay A1"),
        ("note", ""),
    ];
    let first = browser.submit(&page, "action=\"/receive\"", "/receive", &fields).await;
    let second = browser.submit(&page, "action=\"/receive\"", "/receive", &fields).await;
    assert_eq!(first.status, StatusCode::SEE_OTHER, "{}", first.text);
    assert_eq!(first.location(), second.location());
    let number = first.location().rsplit('/').next().unwrap();
    let lot = browser.app.lot_by_number(&actor, number).await.unwrap().unwrap();
    assert_eq!((lot.on_hand.to_string(), lot.status), ("220 kg".to_owned(), LotStatus::Quarantine));
    // 24 months from the date made, by the sheet of materials.
    assert_eq!(lot.expires_on.unwrap().to_string(), "2028-10-01");
    let third = browser
        .submit(&page, "action=\"/receive\"", "/receive", &[("material", "SALT"), ("quantity", "1")])
        .await;
    assert_eq!(third.status, StatusCode::CONFLICT, "the same key with something else in it");
    let released = browser.open(first.location()).await;
    let at = format!("{}/status", first.location());
    let done = browser.submit(&released, &at, &at, &[("status", "released"), ("reason", "CoA fits")]).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER);
    assert_eq!(browser.app.lot_by_number(&actor, number).await.unwrap().unwrap().status, LotStatus::Released);
}

#[tokio::test]
async fn what_was_typed_is_kept_beside_what_is_wrong_with_it() {
    let browser = Browser::with_demo().await;
    let page = browser.open("/receive").await;
    let fields = [
        ("material", "NOPE"),
        ("quantity", "12 furlongs"),
        ("receivedOn", "2026-02-30"),
        ("note", "keep <me>"),
    ];
    let again = browser.submit(&page, "action=\"/receive\"", "/receive", &fields).await;
    assert_eq!(again.status, StatusCode::UNPROCESSABLE_ENTITY);
    for kept in [
        "value=\"NOPE\"",
        "value=\"12 furlongs\"",
        "value=\"2026-02-30\"",
        "keep &lt;me&gt;",
        "aria-invalid=\"true\"",
    ] {
        assert!(again.text.contains(kept), "{kept}");
    }
    assert_eq!(
        again.hidden("action=\"/receive\"", "request_key"),
        page.hidden("action=\"/receive\"", "request_key"),
        "what changed nothing may be sent again under its key"
    );
}

#[tokio::test]
async fn a_count_below_a_promise_and_a_hold_without_a_reason_are_told_on_the_lots_page() {
    let browser = Browser::with_demo().await;
    let page = browser.open("/lots/L-2606-001").await;
    let at = "/lots/L-2606-001/status";
    let held = browser.submit(&page, at, at, &[("status", "on hold"), ("reason", "")]).await;
    assert_eq!(held.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(held.text.contains("Nothing was changed."));
    let at = "/lots/L-2606-001/take";
    let taken = browser
        .submit(&page, at, at, &[("quantity", "999"), ("reason", "spilled"), ("purpose", "write-off")])
        .await;
    assert_eq!(taken.status, StatusCode::CONFLICT);
    assert!(taken.text.contains("value=\"999\""));
    let at = "/lots/L-2606-001/count";
    let counted = browser
        .submit(&page, at, at, &[("found", "24500 g"), ("reason", "scoop"), ("on", "2026-11-25")])
        .await;
    assert_eq!(counted.location(), "/lots/L-2606-001");
    assert!(browser.open("/lots/L-2606-001").await.text.contains("24.500"));
}

#[tokio::test]
async fn a_token_is_shown_once() {
    let browser = Browser::with_demo().await;
    let page = browser.open("/settings").await;
    let at = "/settings/tokens";
    let none = browser.submit(&page, at, at, &[("name", "Tobiah")]).await;
    assert_eq!(none.status, StatusCode::UNPROCESSABLE_ENTITY, "a token that may do nothing");
    let shown =
        browser.submit(&page, at, at, &[("name", "Tobiah"), ("may", "look"), ("may", "plan-and-make")]).await;
    let secret = shown.text.split("<code>").nth(1).unwrap().split('<').next().unwrap().to_owned();
    let actor = browser.app.actor_of_token(&secret).await.unwrap().unwrap();
    assert_eq!((actor.name.as_str(), actor.capabilities.len()), ("Tobiah", 2));
    let later = browser.open("/settings").await;
    assert!(!later.text.contains(&secret) && later.text.contains("Tobiah"));
    let token = later.hidden("/settings/tokens/revoke", "token");
    let page_token = later.hidden("/settings/tokens/revoke", "page_token");
    browser.post("/settings/tokens/revoke", &[("page_token", &page_token), ("token", &token)]).await;
    assert!(browser.app.actor_of_token(&secret).await.unwrap().is_none());
}
