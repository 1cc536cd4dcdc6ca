//! A house that holds the demo's sheets, and a browser without a script.

use std::{path::Path, sync::Arc};

use app::{App, AppSettings, Change, Clock, import::ImportOptions};
use axum::{
    Router,
    body::Body,
    http::{Request, StatusCode, header},
};
use chrono::{DateTime, Utc};
use domain::people::{Actor, Capability};
use exchange::ReadOptions;
use http_body_util::BodyExt as _;
use kernel::Currency;
use testkit::db::TestDatabase;
use tower::ServiceExt as _;

/// The morning the demo's sheets were written for.
struct Morning;

impl Clock for Morning {
    fn now(&self) -> DateTime<Utc> {
        "2026-11-25T08:00:00Z".parse().unwrap()
    }
}

/// What came back.
pub struct Page {
    pub status: StatusCode,
    pub headers: axum::http::HeaderMap,
    pub text: String,
}

impl Page {
    pub fn location(&self) -> &str {
        self.headers.get(header::LOCATION).map_or("", |value| value.to_str().unwrap())
    }

    /// The value of the first hidden field of that name after a mark in the page.
    pub fn hidden(&self, after: &str, name: &str) -> String {
        let start = self.text.find(after).unwrap_or_else(|| panic!("the page holds no {after}"));
        let field = format!("name=\"{name}\" value=\"");
        let rest = &self.text[start..];
        let at = rest.find(&field).unwrap_or_else(|| panic!("no field {name} after {after}")) + field.len();
        rest[at..].split('"').next().unwrap().to_owned()
    }
}

/// The house and whoever sits before the browser.
pub struct Browser {
    pub app: Arc<App>,
    pub actor: Option<Actor>,
    router: Router,
    _database: TestDatabase,
}

impl Browser {
    /// With the demo's sheets, and everything allowed.
    pub async fn with_demo() -> Self {
        let browser = Self::empty().await;
        let sheets = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/sheets");
        let reading = exchange::read_path(&sheets, &ReadOptions::new(Currency::GBP));
        assert_eq!(reading.problems, []);
        let change = Change::by(browser.actor.as_ref().unwrap());
        browser.app.import_apply(&change, &reading.set, ImportOptions::default()).await.unwrap();
        browser
    }

    /// With nothing in the house yet.
    pub async fn empty() -> Self {
        let database = TestDatabase::sqlite().await;
        let store = database.another_store().await;
        let app = Arc::new(App::open(store, AppSettings::default(), Arc::new(Morning)).await.unwrap());
        let router = web::router(Arc::clone(&app));
        let actor = Some(Actor::with_all_capabilities("Maud Tremayne"));
        Self { app, actor, router, _database: database }
    }

    /// Somebody who may do only this.
    pub fn who_may(&mut self, may: &[Capability]) {
        self.actor = Some(Actor { name: "Looker".to_owned(), capabilities: may.iter().copied().collect() });
    }

    pub async fn send(&self, mut request: Request<Body>) -> Page {
        if let Some(actor) = &self.actor {
            request.extensions_mut().insert(actor.clone());
        }
        let response = self.router.clone().oneshot(request).await.unwrap();
        let (parts, body) = response.into_parts();
        let bytes = body.collect().await.unwrap().to_bytes();
        Page {
            status: parts.status,
            headers: parts.headers,
            text: String::from_utf8(bytes.to_vec()).unwrap(),
        }
    }

    pub async fn get(&self, at: &str) -> Page {
        self.send(Request::get(at).body(Body::empty()).unwrap()).await
    }

    /// A page that must be there.
    pub async fn open(&self, at: &str) -> Page {
        let page = self.get(at).await;
        assert_eq!(page.status, StatusCode::OK, "{at}: {}", page.text);
        page
    }

    pub async fn post(&self, at: &str, fields: &[(&str, &str)]) -> Page {
        self.send(form(at, fields)).await
    }

    /// A form with the token of a page and a request key.
    pub async fn submit(&self, page: &Page, mark: &str, at: &str, fields: &[(&str, &str)]) -> Page {
        let (token, key) = (page.hidden(mark, "page_token"), page.hidden(mark, "request_key"));
        let mut all = vec![("page_token", token.as_str()), ("request_key", key.as_str())];
        all.extend_from_slice(fields);
        self.post(at, &all).await
    }
}

/// A form as a browser sends it.
pub fn form(at: &str, fields: &[(&str, &str)]) -> Request<Body> {
    let body: Vec<String> =
        fields.iter().map(|(name, value)| format!("{}={}", encoded(name), encoded(value))).collect();
    Request::post(at)
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
        .body(Body::from(body.join("&")))
        .unwrap()
}

pub fn encoded(text: &str) -> String {
    text.bytes()
        .map(
            |byte| {
                if byte.is_ascii_alphanumeric() {
                    char::from(byte).to_string()
                } else {
                    format!("%{byte:02X}")
                }
            },
        )
        .collect()
}
