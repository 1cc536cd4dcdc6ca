//! The pages as people meet them: in a browser, at the sizes of a tablet and a desk, with and without a script.
//!
//! The browser is Debian's `chromium`, or the one that `STILLROOM_TEST_BROWSER` names; the accessibility rules are those of axe-core,
//! fetched beforehand (`cargo xtask browser`). Where either is missing, what needs it is left out, and the suite says so.
#![allow(
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test stops at the first surprise"
)]

mod axe;
mod bench;
mod chromium;
mod drafting;
mod pages;
mod safety;

use black_box::Server;
use std::sync::{Arc, Mutex, PoisonError, Weak};
use tempfile::TempDir;

/// A demo that is served until nobody looks at it.
pub struct Demo {
    /// Where it listens.
    pub url: String,
    // Before the folder: it holds the file open. What it logs is read by one at a time.
    _server: Mutex<Server>,
    _folder: TempDir,
}

/// A demo that tests only look at, shared by those that run at one time.
pub fn to_look_at() -> Arc<Demo> {
    static DEMO: Mutex<Weak<Demo>> = Mutex::new(Weak::new());
    let mut shared = DEMO.lock().unwrap_or_else(PoisonError::into_inner);
    shared.upgrade().unwrap_or_else(|| {
        let demo = Arc::new(fresh());
        *shared = Arc::downgrade(&demo);
        demo
    })
}

/// A demo of a test's own.
///
/// # Panics
/// When it cannot be started.
pub fn fresh() -> Demo {
    let folder = tempfile::tempdir().unwrap();
    let database = format!("sqlite://{}", folder.path().join("demo.db").display());
    let server = Server::start(&database, &["demo"]);
    Demo { url: server.url.clone(), _server: Mutex::new(server), _folder: folder }
}

/// A test that needs the browser: the body, or a word that it was left out.
#[macro_export]
macro_rules! in_browser {
    ($($(#[$meta:meta])* $name:ident),* $(,)?) => {$(
        #[test]
        fn $name() {
            if $crate::chromium::is_there() {
                super::$name();
            }
        }
    )*};
}
