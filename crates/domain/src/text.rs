//! Texts people type: codes, names, notes. They are kept as written, trimmed, within limits, and free of control characters.

use kernel::limits::{CODE_CHARS_MAX, NAME_CHARS_MAX, NOTE_CHARS_MAX};
use thiserror::Error;

/// Why a text cannot be kept.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum TextError {
    /// Nothing but space.
    #[error("{0} is empty")]
    Empty(&'static str),
    /// Longer than the limit.
    #[error("{what} has {found} characters; at most {max} are kept")]
    TooLong {
        /// What the text is.
        what: &'static str,
        /// Characters it has.
        found: usize,
        /// Characters it may have.
        max: usize,
    },
    /// A tab, a line break or another control character where none belongs.
    #[error("{0} holds a control character")]
    ControlCharacter(&'static str),
}

fn check(what: &'static str, text: &str, max: usize, lines: bool) -> Result<String, TextError> {
    let text = text.trim();
    if text.is_empty() {
        return Err(TextError::Empty(what));
    }
    let found = text.chars().count();
    if found > max {
        return Err(TextError::TooLong { what, found, max });
    }
    if text.chars().any(|c| c.is_control() && !(lines && matches!(c, '\n' | '\t'))) {
        return Err(TextError::ControlCharacter(what));
    }
    Ok(text.to_owned())
}

/// A code, lot number or reference: one line of at most [`CODE_CHARS_MAX`] characters.
///
/// # Errors
/// [`TextError`].
pub fn code(what: &'static str, text: &str) -> Result<String, TextError> {
    check(what, text, CODE_CHARS_MAX, false)
}

/// A name: one line of at most [`NAME_CHARS_MAX`] characters.
///
/// # Errors
/// [`TextError`].
pub fn name(what: &'static str, text: &str) -> Result<String, TextError> {
    check(what, text, NAME_CHARS_MAX, false)
}

/// A note, instruction or reason: lines of at most [`NOTE_CHARS_MAX`] characters in all.
///
/// # Errors
/// [`TextError`].
pub fn note(what: &'static str, text: &str) -> Result<String, TextError> {
    check(what, &text.replace("\r\n", "\n"), NOTE_CHARS_MAX, true)
}

/// The form two codes are compared in: letter case and surrounding space do not tell them apart.
pub fn code_key(text: &str) -> String {
    text.trim().to_uppercase()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts() {
        assert_eq!(code("a code", " RM-01 ").as_deref(), Ok("RM-01"));
        assert_eq!(code("a code", "  "), Err(TextError::Empty("a code")));
        assert_eq!(code("a code", "A\0B"), Err(TextError::ControlCharacter("a code")));
        assert!(code("a code", &"x".repeat(61)).is_err());
        assert!(note("a note", "two\nlines").is_ok());
        assert!(name("a name", "two\nlines").is_err());
        assert_eq!(code_key(" rm-01"), code_key("RM-01"));
    }
}
