//! Signing in by an API token, and what ends it.

use app::TokenIssue;
use axum::{
    body::Body,
    http::{Request, StatusCode, header},
};
use domain::people::{Actor, Capability};

use crate::browser::{Browser, Page};

async fn with_cookie(browser: &Browser, at: &str, cookie: &str) -> Page {
    browser.send(Request::get(at).header(header::COOKIE, cookie).body(Body::empty()).unwrap()).await
}

#[tokio::test]
async fn a_token_opens_the_house_until_it_is_revoked() {
    let mut browser = Browser::with_demo().await;
    let administrator = browser.actor.take().unwrap();
    let input = TokenIssue { name: "Jessamy".to_owned(), may: [Capability::Look].into(), expires_at: None };
    let issued = browser.app.token_issue(&administrator, input).await.unwrap();

    let closed = browser.get("/lots/L-2606-001").await;
    assert_eq!(closed.status, StatusCode::UNAUTHORIZED);
    assert!(closed.text.contains("API token") && !closed.text.contains("On hand"));
    assert_eq!(closed.hidden("action=\"/sign-in\"", "then"), "/lots/L-2606-001");
    let token = closed.hidden("action=\"/sign-in\"", "page_token");

    let wrong = browser
        .post("/sign-in", &[("page_token", &token), ("token", "stillroom_wrong"), ("then", "/")])
        .await;
    assert_eq!(wrong.status, StatusCode::UNAUTHORIZED);
    assert!(wrong.headers.get(header::SET_COOKIE).is_none());
    assert!(!wrong.text.contains("stillroom_wrong"), "a secret is not shown again");

    let elsewhere = browser
        .post("/sign-in", &[("page_token", &token), ("token", &issued.secret), ("then", "//evil.example")])
        .await;
    assert_eq!(elsewhere.location(), "/");

    let entered = browser
        .post("/sign-in", &[("page_token", &token), ("token", &issued.secret), ("then", "/lots/L-2606-001")])
        .await;
    assert_eq!((entered.status, entered.location()), (StatusCode::SEE_OTHER, "/lots/L-2606-001"));
    let cookie = entered.headers.get(header::SET_COOKIE).unwrap().to_str().unwrap().to_owned();
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Lax") && cookie.contains("Max-Age="));
    assert!(!cookie.contains(&issued.secret), "the browser does not hold the token");
    let cookie = cookie.split(';').next().unwrap().to_owned();

    let page = with_cookie(&browser, "/lots/L-2606-001", &cookie).await;
    assert_eq!(page.status, StatusCode::OK);
    assert!(page.text.contains("Jessamy") && page.text.contains("Sign out"));
    assert_eq!(with_cookie(&browser, "/", "stillroom_session=guess").await.status, StatusCode::UNAUTHORIZED);

    // The token of a page shown without a session does not count within one.
    let mut request = crate::browser::form("/sign-out", &[("page_token", &token)]);
    request.headers_mut().insert(header::COOKIE, cookie.parse().unwrap());
    assert_eq!(browser.send(request).await.status, StatusCode::FORBIDDEN);

    browser.app.token_revoke(&administrator, issued.token.id).await.unwrap();
    assert_eq!(with_cookie(&browser, "/", &cookie).await.status, StatusCode::UNAUTHORIZED);
}

#[tokio::test]
async fn signing_out_ends_the_session() {
    let mut browser = Browser::with_demo().await;
    let administrator: Actor = browser.actor.take().unwrap();
    let input = TokenIssue { name: "Tobiah".to_owned(), may: [Capability::Look].into(), expires_at: None };
    let issued = browser.app.token_issue(&administrator, input).await.unwrap();
    let token = browser.get("/").await.hidden("action=\"/sign-in\"", "page_token");
    let entered =
        browser.post("/sign-in", &[("page_token", &token), ("token", &issued.secret), ("then", "/")]).await;
    let cookie = entered
        .headers
        .get(header::SET_COOKIE)
        .unwrap()
        .to_str()
        .unwrap()
        .split(';')
        .next()
        .unwrap()
        .to_owned();
    let page = with_cookie(&browser, "/", &cookie).await;
    let own = page.hidden("action=\"/sign-out\"", "page_token");
    let mut request = crate::browser::form("/sign-out", &[("page_token", &own)]);
    request.headers_mut().insert(header::COOKIE, cookie.parse().unwrap());
    let left = browser.send(request).await;
    assert_eq!(left.location(), "/sign-in");
    assert_eq!(with_cookie(&browser, "/", &cookie).await.status, StatusCode::UNAUTHORIZED);
}
