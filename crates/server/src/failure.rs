//! How a command can end other than well: what is said to a person, what to a program, and with which exit code.

use app::Error;
use domain::{Problem, Refusal};
use serde::Serialize;
use std::fmt::Write as _;

/// How a command ended that did what it was asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// Done, or the answer is yes.
    Done,
    /// The answer is no: short, or balances that do not agree.
    No,
}

/// Why a command did not do what it was asked. Nothing was changed.
#[derive(Debug)]
pub enum Failure {
    /// It was asked wrongly: options or files, each place named.
    Usage(Vec<Problem>),
    /// The house said no.
    App(Error),
    /// A fault outside the house: a port in use, a file that cannot be written, a database that cannot be reached.
    Fault(String),
}

/// Exit code of a command that was done.
pub const DONE: u8 = 0;
/// Exit code of a refusal, or of a check that says no.
pub const NO: u8 = 1;
/// Exit code of wrong use or bad input.
pub const USAGE: u8 = 2;
/// Exit code of a fault.
pub const FAULT: u8 = 3;

impl Failure {
    /// One thing wrong with how the command was asked.
    pub fn usage(place: impl Into<String>, message: impl ToString) -> Self {
        Self::Usage(vec![Problem::at(place, message)])
    }

    /// The exit code.
    pub const fn exit_code(&self) -> u8 {
        match self {
            Self::App(Error::Refused(_) | Error::Forbidden(_)) => NO,
            Self::Usage(_)
            | Self::App(Error::Invalid(_) | Error::NotFound { .. } | Error::RequestKeyReused(_)) => USAGE,
            Self::Fault(_) | Self::App(Error::Busy | Error::Unreachable | Error::Internal(_)) => FAULT,
        }
    }

    /// A stable name for programs.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Usage(_) => "WRONG_USE",
            Self::App(error) => error.code(),
            Self::Fault(_) => "FAULT",
        }
    }

    fn problems(&self) -> &[Problem] {
        match self {
            Self::Usage(problems) | Self::App(Error::Invalid(problems)) => problems,
            _ => &[],
        }
    }

    fn refusals(&self) -> &[Refusal] {
        match self {
            Self::App(Error::Refused(refusals)) => refusals,
            _ => &[],
        }
    }

    /// One sentence; what is listed beneath it is counted only.
    pub fn headline(&self) -> String {
        let counted = |count: usize, one: &str, many: &str| {
            if count == 1 { one.to_owned() } else { format!("{count} {many}") }
        };
        match self {
            Self::Usage(problems) => {
                counted(problems.len(), "this cannot be done as it was asked", "problems")
            }
            Self::App(Error::Invalid(problems)) => {
                format!("{}; nothing was changed", counted(problems.len(), "there is a problem", "problems"))
            }
            Self::App(Error::Refused(refusals)) => {
                let count = counted(refusals.len(), "this is refused", "reasons stand against this");
                format!("{count}; nothing was changed")
            }
            Self::App(error) => error.to_string(),
            Self::Fault(text) => text.clone(),
        }
    }

    /// What a person is told: plain sentences, everything that is wrong, one a line.
    pub fn text(&self) -> String {
        let mut text = format!("stillroom: {}", self.headline());
        for problem in self.problems() {
            let _ = write!(text, "\n  {problem}");
        }
        for refusal in self.refusals() {
            let _ = write!(text, "\n  {refusal}\n    {}", refusal.help());
        }
        text
    }

    /// What a program is told.
    pub fn json(&self) -> String {
        let refusals = self.refusals().iter().map(|refusal| RefusalJson {
            code: refusal.code(),
            message: refusal.to_string(),
            help: refusal.help(),
        });
        let error = ErrorJson {
            code: self.code(),
            message: self.headline(),
            problems: self.problems(),
            refusals: refusals.collect(),
        };
        serde_json::to_string(&Wrapped { error }).unwrap_or_else(|_| self.text())
    }
}

#[derive(Serialize)]
struct Wrapped<'a> {
    error: ErrorJson<'a>,
}

#[derive(Serialize)]
struct ErrorJson<'a> {
    code: &'static str,
    message: String,
    #[serde(skip_serializing_if = "<[Problem]>::is_empty")]
    problems: &'a [Problem],
    #[serde(skip_serializing_if = "Vec::is_empty")]
    refusals: Vec<RefusalJson>,
}

#[derive(Serialize)]
struct RefusalJson {
    code: &'static str,
    message: String,
    help: &'static str,
}

impl From<Error> for Failure {
    fn from(error: Error) -> Self {
        if let Error::Internal(detail) = &error {
            tracing::error!(detail, "a fault inside");
        }
        Self::App(error)
    }
}

impl From<kernel::AmountError> for Failure {
    fn from(error: kernel::AmountError) -> Self {
        Self::App(error.into())
    }
}

impl From<engine::EngineError> for Failure {
    fn from(error: engine::EngineError) -> Self {
        Self::App(error.into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(failure: &Failure, exit: u8, text: &str, json: &str) {
        assert_eq!(failure.exit_code(), exit);
        assert_eq!(failure.text(), text);
        assert_eq!(failure.json(), json);
    }

    #[test]
    fn every_problem_is_told() {
        let two = vec![Problem::at("--today", "“x” is not a date"), Problem::at("--currency", "no")];
        check(
            &Failure::Usage(two),
            2,
            "stillroom: 2 problems\n  --today: “x” is not a date\n  --currency: no",
            r#"{"error":{"code":"WRONG_USE","message":"2 problems","problems":[{"place":"--today","message":"“x” is not a date"},{"place":"--currency","message":"no"}]}}"#,
        );
    }

    #[test]
    fn refusals_say_what_would_help() {
        let taken = Refusal::Taken { what: "lot".to_owned(), text: "L-1".to_owned() };
        check(
            &Failure::App(taken.into()),
            1,
            "stillroom: this is refused; nothing was changed\n  lot L-1 exists already\n    Choose another.",
            r#"{"error":{"code":"REFUSED","message":"this is refused; nothing was changed","refusals":[{"code":"TAKEN","message":"lot L-1 exists already","help":"Choose another."}]}}"#,
        );
    }

    #[test]
    fn faults_and_missing_things() {
        check(
            &Failure::App(Error::not_found("pack", "X")),
            2,
            "stillroom: there is no pack X",
            r#"{"error":{"code":"NOT_FOUND","message":"there is no pack X"}}"#,
        );
        assert_eq!(Failure::App(Error::Unreachable).exit_code(), 3);
        assert_eq!(Failure::Fault("no".to_owned()).exit_code(), 3);
    }
}
