//! The pages as a browser without a script meets them: the router over a real database that holds the demo's sheets.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    reason = "a test may stop where something is not as it should be"
)]

mod bench;
mod browser;
mod defence;
mod draft;
mod forms;
mod office;
mod pages;
mod signing_in;
