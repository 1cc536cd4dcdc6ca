//! Pages of lists (Relay, Cursor Connections). A cursor holds the sort key of its row, so a page stays right while rows are added.

use async_graphql::{
    EmptySubscription, OutputType, SchemaBuilder, SimpleObject,
    connection::{Connection, CursorType, Edge, EmptyFields},
};
use base64::{Engine as _, engine::general_purpose::URL_SAFE_NO_PAD};
use kernel::limits::PAGE_ROWS_MAX;
use std::convert::Infallible;
use uuid::Uuid;

use crate::{
    audit::AuditEntry,
    bases::StandardCost,
    errors::Result,
    formulas::Formula,
    house_rates::HouseRate,
    limits::PAGE_ROWS_DEFAULT,
    lots::{Lot, LotTotal},
    materials::Material,
    packs::Pack,
    quotations::{ExchangeRate, Quotation},
    roots::{Mutation, Query},
    stock::Movement,
    suppliers::Supplier,
    tickets::{Ticket, TicketTotal},
};

/// How many rows a list has in all.
#[derive(SimpleObject)]
pub struct Total {
    /// How many rows the list has in all, with the filters given.
    pub total_count: usize,
}

/// A page of a list that is in memory.
pub(crate) type Listed<Node> = Connection<Cursor, Node, Total>;

/// Where a row stands in its list, already encoded.
pub struct Cursor(String);

impl CursorType for Cursor {
    type Error = Infallible;

    fn decode_cursor(text: &str) -> std::result::Result<Self, Infallible> {
        Ok(Self(text.to_owned()))
    }

    fn encode_cursor(&self) -> String {
        self.0.clone()
    }
}

impl Cursor {
    fn new(list: &str, key: &str) -> Self {
        Self(URL_SAFE_NO_PAD.encode(format!("{list}\0{key}")))
    }
}

/// Which page is asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Paging {
    /// From the front; else from the back.
    pub forward: bool,
    /// At most so many rows.
    pub rows: usize,
    /// The sort key before (or, from the back, behind) which the page begins.
    pub key: Option<String>,
}

impl Paging {
    /// Reads the four arguments of a connection field of the named list.
    pub(crate) fn read(
        list: &str,
        after: Option<&str>,
        before: Option<&str>,
        first: Option<i32>,
        last: Option<i32>,
    ) -> Result<Self> {
        let forward = match (first.is_some() || after.is_some(), last.is_some() || before.is_some()) {
            (true, true) => {
                let text = "a page is asked for from the front (first, after) or from the back (last, before), not both";
                return Err(app::Error::invalid("first", text).into());
            }
            (_, back) => !back,
        };
        let (place, asked, cursor_place, cursor) =
            if forward { ("first", first, "after", after) } else { ("last", last, "before", before) };
        let rows = match asked.map(usize::try_from) {
            None => PAGE_ROWS_DEFAULT,
            Some(Ok(rows)) if (1..=PAGE_ROWS_MAX).contains(&rows) => rows,
            Some(_) => {
                let text = format!("a page has 1 to {PAGE_ROWS_MAX} rows");
                return Err(app::Error::invalid(place, text).into());
            }
        };
        let key = cursor.map(|cursor| decode(list, cursor, cursor_place)).transpose()?;
        Ok(Self { forward, rows, key })
    }

    /// Reads the two arguments of a connection field that only goes forward.
    pub(crate) fn forward(list: &str, after: Option<&str>, first: Option<i32>) -> Result<Self> {
        Self::read(list, after, None, first, None)
    }

    /// The key as an identity, and the rows as the store counts them.
    pub(crate) fn seek<T: From<Uuid>>(&self) -> Result<(Option<T>, u32)> {
        let id = self
            .key
            .as_deref()
            .map(|key| Uuid::try_parse(key).map_err(|_| not_a_cursor("after")))
            .transpose()?
            .map(T::from);
        Ok((id, u32::try_from(self.rows).unwrap_or(1)))
    }
}

fn decode(list: &str, cursor: &str, place: &str) -> Result<String> {
    let bytes = URL_SAFE_NO_PAD.decode(cursor).map_err(|_| not_a_cursor(place))?;
    let text = String::from_utf8(bytes).map_err(|_| not_a_cursor(place))?;
    match text.split_once('\0') {
        Some((of, key)) if of == list => Ok(key.to_owned()),
        _ => Err(not_a_cursor(place).into()),
    }
}

fn not_a_cursor(place: &str) -> app::Error {
    app::Error::invalid(place, "this is not a cursor of this list")
}

/// A page of rows that are in memory, in the order of their keys.
pub(crate) fn page_of<Row, Node: OutputType>(
    list: &str,
    paging: &Paging,
    rows: &[Row],
    key: impl Fn(&Row) -> String,
    node: impl Fn(&Row) -> Node,
) -> Listed<Node> {
    let (begin, end) = match (&paging.key, paging.forward) {
        (None, true) => (0, paging.rows.min(rows.len())),
        (None, false) => (rows.len().saturating_sub(paging.rows), rows.len()),
        (Some(after), true) => {
            let begin = rows.partition_point(|row| key(row) <= *after);
            (begin, begin.saturating_add(paging.rows).min(rows.len()))
        }
        (Some(before), false) => {
            let end = rows.partition_point(|row| key(row) < *before);
            (end.saturating_sub(paging.rows), end)
        }
    };
    let total = Total { total_count: rows.len() };
    let mut page = Connection::with_additional_fields(begin > 0, end < rows.len(), total);
    let part = rows.get(begin..end).unwrap_or_default();
    page.edges = part.iter().map(|row| Edge::new(Cursor::new(list, &key(row)), node(row))).collect();
    page
}

/// A page that the store gave.
pub(crate) fn stored_page<Row, Node: OutputType, Fields: async_graphql::ObjectType>(
    list: &str,
    paging: &Paging,
    page: app::lists::Page<Row>,
    fields: Fields,
    id: impl Fn(&Row) -> Uuid,
    node: impl Fn(Row) -> Node,
) -> Connection<Cursor, Node, Fields> {
    let mut connection = Connection::with_additional_fields(paging.key.is_some(), page.has_more, fields);
    connection.edges = page
        .rows
        .into_iter()
        .map(|row| Edge::new(Cursor::new(list, &id(&row).to_string()), node(row)))
        .collect();
    connection
}

/// Says of each connection type what the library does not.
pub(crate) fn describe(
    builder: SchemaBuilder<Query, Mutation, EmptySubscription>,
) -> SchemaBuilder<Query, Mutation, EmptySubscription> {
    builder
        .override_output_type_description::<Listed<Material>>("A page of materials, by code.")
        .override_output_type_description::<Listed<Supplier>>("A page of suppliers, by code.")
        .override_output_type_description::<Listed<Quotation>>(
            "A page of quotations, by first day and reference.",
        )
        .override_output_type_description::<Listed<ExchangeRate>>(
            "A page of exchange rates, by pair of currencies and day.",
        )
        .override_output_type_description::<Listed<HouseRate>>(
            "A page of rates of the house, by name and day.",
        )
        .override_output_type_description::<Listed<StandardCost>>(
            "A page of standard costs, by material code and day.",
        )
        .override_output_type_description::<Listed<Formula>>("A page of formulas, by code.")
        .override_output_type_description::<Listed<Pack>>("A page of packs, by code.")
        .override_output_type_description::<Connection<Cursor, Lot, LotTotal>>(
            "A page of lots, in the order they were entered.",
        )
        .override_output_type_description::<Connection<Cursor, Movement, EmptyFields>>(
            "A page of movements, in the order they were posted.",
        )
        .override_output_type_description::<Connection<Cursor, Ticket, TicketTotal>>(
            "A page of tickets, by the day they are planned for.",
        )
        .override_output_type_description::<Connection<Cursor, AuditEntry, EmptyFields>>(
            "A page of the audit trail, newest first.",
        )
}
