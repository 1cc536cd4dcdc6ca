//! Changes: what is sent is read whole, every problem with its place, and handed to one use case; what it answers is shown.

pub mod corrections;
pub mod counts;
pub mod finishing;
pub mod formulas;
pub mod house_rates;
pub mod lot_details;
pub mod lots;
pub mod making;
mod quotation_terms;
pub mod quotations;
pub mod standards;
pub mod ticket_life;
pub mod tickets;

use async_graphql::Context;
use domain::{Problem, people::Capability};

use crate::{caller::Desk, errors::Result, refusals::Refused};

/// What is sent, as it is read: problems are collected, so that all are reported in one go.
#[derive(Default)]
pub(crate) struct Reading(Vec<Problem>);

impl Reading {
    /// The value, or a problem noted at the place.
    pub fn take<T, E: ToString>(&mut self, place: &str, result: std::result::Result<T, E>) -> Option<T> {
        match result {
            Ok(value) => Some(value),
            Err(error) => {
                self.0.push(Problem::at(place, error));
                None
            }
        }
    }

    /// The value of something that may be left out: `Some(None)` when it is.
    #[allow(clippy::option_option, reason = "left out, wrong, and given are three things")]
    pub fn optional<T, E: ToString>(
        &mut self,
        place: &str,
        result: Option<std::result::Result<T, E>>,
    ) -> Option<Option<T>> {
        match result {
            None => Some(None),
            Some(result) => self.take(place, result).map(Some),
        }
    }

    /// Notes a problem.
    pub fn push(&mut self, place: &str, message: impl ToString) {
        self.0.push(Problem::at(place, message));
    }

    /// What was read; all problems as one error when there are any.
    pub fn finish<T>(self, read: Option<T>) -> Result<T> {
        match (self.0.is_empty(), read) {
            (true, Some(read)) => Ok(read),
            (true, None) => Err(crate::errors::internal("an input without problems was not read")),
            (false, _) => Err(app::Error::Invalid(self.0).into()),
        }
    }
}

/// Refuses somebody who may not do this before anything they sent is looked at. The use case asks again.
pub(crate) fn require(ctx: &Context<'_>, capability: Capability) -> Result<()> {
    if ctx.actor()?.may(capability) { Ok(()) } else { Err(app::Error::Forbidden(capability).into()) }
}

/// What came of a change: done, or refused.
pub(crate) enum Came<T> {
    Done(T),
    Refused(Refused),
}

/// Tells a refusal from an error. After a change the catalogue at hand may no longer be the one that holds.
pub(crate) fn came<T>(ctx: &Context<'_>, result: std::result::Result<T, app::Error>) -> Result<Came<T>> {
    match result {
        Ok(done) => {
            ctx.catalogue_forget()?;
            Ok(Came::Done(done))
        }
        Err(app::Error::Refused(refusals)) => Ok(Came::Refused(Refused::of(&refusals))),
        Err(error) => Err(error.into()),
    }
}

/// The answer of a mutation: its payload, or [`Refused`].
macro_rules! answers {
    ($($result:ident = $payload:ident { $(#[$doc:meta])* $field:ident: $shown:ty } of $row:ty: $show:expr;)*) => {$(
        /// What came of it: the change as done, or what stands in its way.
        #[derive(async_graphql::Union)]
        pub enum $result {
            /// It was done.
            Done($payload),
            /// It was refused; nothing was changed.
            Refused($crate::refusals::Refused),
        }

        /// The change as done.
        #[derive(async_graphql::SimpleObject)]
        pub struct $payload {
            $(#[$doc])*
            pub $field: $shown,
        }

        impl $result {
            fn of(
                ctx: &async_graphql::Context<'_>,
                result: std::result::Result<$row, app::Error>,
            ) -> $crate::errors::Result<Self> {
                let show: fn(&async_graphql::Context<'_>, $row) -> $crate::errors::Result<$shown> = $show;
                Ok(match $crate::changes::came(ctx, result)? {
                    $crate::changes::Came::Done(row) => Self::Done($payload { $field: show(ctx, row)? }),
                    $crate::changes::Came::Refused(refused) => Self::Refused(refused),
                })
            }
        }
    )*};
}
pub(crate) use answers;
