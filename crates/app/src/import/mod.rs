//! Imports: sheets of the house applied as one change, all or nothing.

pub mod drafts;

pub use drafts::*;
