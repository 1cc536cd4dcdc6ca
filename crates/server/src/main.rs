//! Repository checks.
fn main() {}
