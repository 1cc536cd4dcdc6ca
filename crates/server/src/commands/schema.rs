//! `stillroom schema`: the API in writing. Needs no database.

use crate::{
    failure::{Failure, Outcome},
    output,
};

/// Prints the GraphQL schema.
///
/// # Errors
/// [`Failure::Fault`] when standard output cannot be written.
pub fn run() -> Result<Outcome, Failure> {
    output::print(&graphql::sdl())?;
    Ok(Outcome::Done)
}
