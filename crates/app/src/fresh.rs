//! Small checks every change makes on what it was sent, collecting problems so that all are reported in one go.

use domain::{Problem, text};

use crate::Error;

/// Problems found so far.
#[derive(Default)]
pub(crate) struct Problems(Vec<Problem>);

impl Problems {
    /// Notes a problem.
    pub fn push(&mut self, place: impl Into<String>, message: impl ToString) {
        self.0.push(Problem::at(place, message));
    }

    /// The value, or a problem noted and `None`.
    pub fn take<T, E: ToString>(&mut self, place: &str, result: Result<T, E>) -> Option<T> {
        match result {
            Ok(value) => Some(value),
            Err(error) => {
                self.push(place, error.to_string());
                None
            }
        }
    }

    /// An optional note, checked.
    pub fn note(&mut self, place: &str, note: Option<&str>) -> Option<String> {
        let note = note.filter(|n| !n.trim().is_empty())?;
        self.take(place, text::note("a note", note))
    }

    /// An optional short text, checked.
    pub fn code(&mut self, place: &str, what: &'static str, code: Option<&str>) -> Option<String> {
        let code = code.filter(|c| !c.trim().is_empty())?;
        self.take(place, text::code(what, code))
    }

    /// All of them as an error, if there are any.
    pub fn none(self) -> Result<(), Error> {
        if self.0.is_empty() { Ok(()) } else { Err(Error::Invalid(self.0)) }
    }
}
