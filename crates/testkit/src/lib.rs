//! What tests of several crates share: databases of their own, and samples of what the house knows. Only ever a development
//! dependency.
#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    clippy::missing_panics_doc,
    reason = "a test stops at the first surprise"
)]

pub mod contents;
pub mod db;
pub mod samples;
