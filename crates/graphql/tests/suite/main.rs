//! The API as a client inside the process sees it: the schema's own quality, what goes in and comes out, and the whole path.
#![allow(
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::missing_panics_doc,
    clippy::panic,
    clippy::unwrap_used,
    missing_docs,
    reason = "a test stops at the first surprise"
)]

mod decimals;
mod house;
mod ids;
mod limits;
mod lists;
mod refusals;
mod rights;
mod schema;
mod walk;
