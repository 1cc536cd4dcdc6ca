//! Pages for the bench and the office: the whole job in a browser, written on the server, over the same use cases as the API.
//!
//! Everything works without a script; the small script in the binary only spares keystrokes. Nothing is fetched from another
//! host, and the content security policy of every page says so. Who is asking comes from the server (an [`Actor`] among the
//! request's extensions) or from a session begun with an API token; every form that changes something carries a token of the
//! page, and a request key made when it was written, so that sent twice it happens once.
//!
//! [`Actor`]: domain::people::Actor

mod access;
mod assets;
mod chart;
mod fields;
mod figures;
mod frame;
mod links;
mod pages;
mod respond;
mod sessions;
mod text;
mod ui;
mod uploads;

use std::sync::{Arc, OnceLock};

use app::App;
use axum::{
    Router,
    extract::DefaultBodyLimit,
    middleware,
    routing::{get, post},
};

use crate::{
    pages::{
        bench, calendar, draft, find, formulas, import, lots, materials, packs, quote, rates, receive,
        run_check, settings, shelf, sign_in, suppliers, tickets, today, what_if,
    },
    sessions::Sessions,
    uploads::Uploads,
};

/// Bytes of a form; a page's longest is a few kilobytes.
const FORM_BYTES_MAX: usize = 64 << 10;

/// Bytes of a formula as it is typed: as many lines as a formula may have, with their instructions.
const DRAFT_BYTES_MAX: usize = 1 << 20;

/// Bytes of all sheets that are sent at once.
const SHEETS_BYTES_MAX: usize = 20 << 20;

/// What the pages share.
#[derive(Clone)]
pub(crate) struct Web {
    pub app: Arc<App>,
    pub sessions: Arc<Sessions>,
    pub uploads: Arc<Uploads>,
    page_token: Arc<OnceLock<String>>,
}

impl Web {
    /// Stands in the forms of those whom the server itself lets in, and of whoever is about to sign in; other sites cannot read
    /// it. Made when it is first wanted.
    pub fn page_token(&self) -> Result<&str, app::Error> {
        if let Some(token) = self.page_token.get() {
            return Ok(token);
        }
        let fresh = sessions::random_text()?;
        Ok(self.page_token.get_or_init(|| fresh))
    }
}

/// All pages, to be mounted at `/`. The server lets somebody in by putting an [`Actor`] among a request's extensions.
///
/// [`Actor`]: domain::people::Actor
pub fn router(app: Arc<App>) -> Router {
    let web = Web { app, sessions: Arc::default(), uploads: Arc::default(), page_token: Arc::default() };
    Router::new()
        .route("/", get(today::page))
        .route("/find", get(find::page))
        .route("/shelf", get(shelf::page))
        .route("/shelf/calendar", get(calendar::page))
        .route("/suppliers", get(suppliers::list))
        .route("/suppliers/{code}", get(suppliers::page))
        .route("/materials/{code}", get(materials::page))
        .route("/lots/{number}", get(lots::page))
        .route("/lots/{number}/status", post(lots::status))
        .route("/lots/{number}/count", post(lots::count))
        .route("/lots/{number}/take", post(lots::take))
        .route("/lots/{number}/reverse", post(lots::reverse))
        .route("/receive", get(receive::page).post(receive::enter))
        .route("/formulas", get(formulas::list))
        .route("/formulas/{code}", get(formulas::page))
        .route("/formulas/{code}/compare", get(formulas::compare))
        .route("/formulas/{code}/approve", post(formulas::approve))
        .route("/formulas/{code}/retire", post(formulas::retire))
        .route("/draft", get(draft::page).post(draft::act).layer(DefaultBodyLimit::max(DRAFT_BYTES_MAX)))
        .route("/draft/figures", post(draft::figures).layer(DefaultBodyLimit::max(DRAFT_BYTES_MAX)))
        .route("/draft/materials", get(draft::materials))
        .route("/packs", get(packs::list))
        .route("/packs/{code}", get(packs::page))
        .route("/run-check", get(run_check::page))
        .route("/tickets", get(tickets::list).post(tickets::write))
        .route("/tickets/{number}", get(tickets::page))
        .route("/tickets/{number}/allocate", post(tickets::allocate))
        .route("/tickets/{number}/cancel", post(tickets::cancel))
        .route("/tickets/{number}/complete", post(tickets::complete))
        .route("/tickets/{number}/bench", get(bench::page))
        .route("/tickets/{number}/weigh", post(bench::weigh))
        .route("/tickets/{number}/take-back", post(bench::take_back))
        .route("/tickets/{number}/confirm", post(bench::confirm))
        .route("/what-if", get(what_if::page))
        .route("/rates", get(rates::page))
        .route("/rates/exchange", post(rates::exchange))
        .route("/rates/house", post(rates::house))
        .route("/quotations", get(quote::page).post(quote::enter))
        .route("/import", get(import::page).post(import::read).layer(DefaultBodyLimit::max(SHEETS_BYTES_MAX)))
        .route("/import/confirm", post(import::confirm))
        .route("/settings", get(settings::page))
        .route("/settings/tokens", post(settings::token_issue))
        .route("/settings/tokens/revoke", post(settings::token_revoke))
        .route("/sign-in", get(sign_in::page).post(sign_in::enter))
        .route("/sign-out", post(sign_in::leave))
        .route("/assets/{name}", get(assets::asset))
        .layer(DefaultBodyLimit::max(FORM_BYTES_MAX))
        .layer(middleware::map_response(respond::guard))
        .with_state(web)
}
