//! The real binary, as its users meet it: run to its end, or listening on a free loopback port.
//!
//! The binary is named by `STILLROOM_BIN`; where it is not, it is built once. None of the settings of whoever runs the tests
//! reaches it, and no wait is without an end.
#![allow(
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    clippy::missing_panics_doc,
    reason = "a test stops at the first surprise"
)]

pub mod binary;
pub mod server;

pub use binary::{Ended, run, run_in};
pub use server::{Answer, Server};
