//! Statements that are put down while a change is worked out, and go to the database together at its end.
//!
//! On PostgreSQL they become one statement with a part for each, so that a posting costs one round trip instead of six, and others
//! wait that much less for their turn. On SQLite, where there is nobody to travel to, they run one after another.

use sea_orm::{
    ActiveModelTrait, ConnectionTrait, DbBackend, EntityTrait, IntoActiveModel, Iterable, QueryTrait,
    Statement, Value, Values,
};
use std::fmt::Write as _;

use crate::{StoreError, WriteTx, connection::sealed::HasConnection, rows::PARAMETERS_MAX};

/// What is to be written at the end of a change. None of it sees what another of it does, so no two may change the same row; nothing
/// of it is there for whoever reads before [`Writes::run`].
#[derive(Debug)]
pub struct Writes {
    backend: DbBackend,
    pieces: Vec<Piece>,
}

#[derive(Debug)]
struct Piece {
    text: String,
    values: Vec<Value>,
    /// How many rows it changes, and of what, so that one that changes others is noticed.
    expected: Option<(usize, &'static str)>,
}

impl Writes {
    /// Nothing yet, for a change.
    pub fn of(tx: &WriteTx) -> Self {
        Self { backend: tx.connection().get_database_backend(), pieces: Vec::new() }
    }

    /// Puts a statement down that has to change exactly so many rows.
    pub(crate) fn change(&mut self, text: String, values: Vec<Value>, rows: usize, what: &'static str) {
        self.pieces.push(Piece { text, values, expected: Some((rows, what)) });
    }

    /// Puts a statement down that may change any number of rows, or has to change so many.
    pub(crate) fn query(&mut self, query: &impl QueryTrait, expected: Option<(usize, &'static str)>) {
        let statement = query.build(self.backend);
        let values = statement.values.map(|values| values.0).unwrap_or_default();
        self.pieces.push(Piece { text: statement.sql, values, expected });
    }

    /// Puts rows down to be inserted.
    pub(crate) fn insert<M, A>(&mut self, rows: Vec<M>)
    where
        M: IntoActiveModel<A>,
        A: ActiveModelTrait,
    {
        let columns = <A::Entity as EntityTrait>::Column::iter().count().max(1);
        let mut rows = rows.into_iter().map(IntoActiveModel::into_active_model).peekable();
        while rows.peek().is_some() {
            let chunk: Vec<A> = rows.by_ref().take(PARAMETERS_MAX / columns).collect();
            self.query(&A::Entity::insert_many(chunk), None);
        }
    }

    /// Writes all of it, in the order it was put down.
    ///
    /// # Errors
    /// [`StoreError::Changed`] when a row was no longer as it was expected, and whatever the database refuses.
    pub async fn run(self, tx: &WriteTx) -> Result<(), StoreError> {
        let connection = tx.connection();
        let backend = self.backend;
        let mut together: Vec<Piece> = Vec::new();
        let mut parameters = 0;
        for piece in self.pieces {
            let more = parameters + piece.values.len();
            if backend == DbBackend::Sqlite || more > PARAMETERS_MAX {
                run_together(connection, backend, &mut together).await?;
                parameters = 0;
            }
            parameters += piece.values.len();
            together.push(piece);
        }
        run_together(connection, backend, &mut together).await
    }
}

async fn run_together(
    connection: &impl ConnectionTrait,
    backend: DbBackend,
    pieces: &mut Vec<Piece>,
) -> Result<(), StoreError> {
    let mut pieces = std::mem::take(pieces);
    if pieces.len() < 2 {
        let Some(piece) = pieces.pop() else { return Ok(()) };
        let statement =
            Statement { sql: piece.text, values: Some(Values(piece.values)), db_backend: backend };
        let rows = connection.execute_raw(statement).await?.rows_affected();
        return as_expected(piece.expected, i64::try_from(rows).unwrap_or(i64::MAX));
    }
    let (mut text, mut counts, mut values) = (String::from("WITH "), String::new(), Vec::new());
    let mut expected = Vec::new();
    for (at, piece) in pieces.into_iter().enumerate() {
        let comma = if at == 0 { "" } else { ", " };
        // Writing to a string cannot fail.
        let _ = write!(text, "{comma}w{at} AS ({} RETURNING 1)", renumbered(&piece.text, values.len()));
        let _ = write!(counts, "{comma}(SELECT COUNT(*) FROM w{at})");
        values.extend(piece.values);
        expected.push(piece.expected);
    }
    let text = format!("{text} SELECT {counts}");
    let statement = Statement::from_sql_and_values(backend, text, values);
    let row = connection
        .query_one_raw(statement)
        .await?
        .ok_or(StoreError::NotFound { what: "answer to a", id: "posting".to_owned() })?;
    for (at, expected) in expected.into_iter().enumerate() {
        as_expected(expected, row.try_get_by_index(at)?)?;
    }
    Ok(())
}

fn as_expected(expected: Option<(usize, &'static str)>, rows: i64) -> Result<(), StoreError> {
    match expected {
        Some((wanted, what)) if i64::try_from(wanted).ok() != Some(rows) => {
            Err(StoreError::Changed { what, id: format!("({rows} of {wanted})") })
        }
        _ => Ok(()),
    }
}

/// The text with its parameters `$1`, `$2` … counted on from so many. Texts here hold parameters instead of literals, so a dollar is
/// nothing else.
fn renumbered(text: &str, from: usize) -> String {
    let mut parts = text.split('$');
    let mut result = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let end = part.find(|c: char| !c.is_ascii_digit()).unwrap_or(part.len());
        let (number, rest) = part.split_at(end);
        let number = number.parse::<usize>().map_or(0, |number| number + from);
        // Writing to a string cannot fail.
        let _ = write!(result, "${number}{rest}");
    }
    result
}

#[cfg(test)]
mod tests {
    use super::renumbered;

    #[test]
    fn parameters_are_counted_on() {
        assert_eq!(renumbered("a = $1 AND b IN ($2, $10)", 7), "a = $8 AND b IN ($9, $17)");
        assert_eq!(renumbered("nothing", 7), "nothing");
        assert_eq!(renumbered("$3", 0), "$3");
    }
}
