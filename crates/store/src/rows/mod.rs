//! The tables as the database holds them, and how they become the domain's types. Nothing of this leaves the crate.

use kernel::{Currency, Money};
use sea_orm::{
    ActiveModelTrait, ConnectionTrait, EntityTrait, IntoActiveModel, Iterable, QueryFilter, Value,
    sea_query::IntoCondition,
};
use std::fmt::{Display, Write as _};
use uuid::Uuid;

use crate::StoreError;

pub(crate) mod balances;
pub(crate) mod containers;
pub(crate) mod corrections;
pub(crate) mod counts;
pub(crate) mod finishing;
pub(crate) mod formulas;
pub(crate) mod house_rates;
pub(crate) mod locations;
pub(crate) mod lots;
pub(crate) mod making;
pub(crate) mod materials;
pub(crate) mod movements;
pub(crate) mod packs;
pub(crate) mod quotations;
pub(crate) mod scenarios;
pub(crate) mod standards;
pub(crate) mod suppliers;
pub(crate) mod tickets;
pub(crate) mod trail;

/// A table's entity, in a module of its own. Column types are the few the database layout knows: ids, whole numbers, dates and
/// texts.
macro_rules! table {
    ($(#[$doc:meta])* $module:ident, $table:tt { $($(#[$attr:meta])* $field:ident: $type:ty,)* }) => {
        $(#[$doc])*
        pub(crate) mod $module {
            #[allow(unused_imports, reason = "not every table has a date or an id")]
            use chrono::NaiveDate;
            use sea_orm::entity::prelude::*;

            #[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
            #[sea_orm(table_name = $table)]
            pub struct Model {
                $($(#[$attr])* pub $field: $type,)*
            }

            #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
            pub enum Relation {}

            impl ActiveModelBehavior for ActiveModel {}
        }
    };
}
pub(crate) use table;

/// Parameters of one statement; SQLite takes 32,766 and PostgreSQL 65,535.
pub(crate) const PARAMETERS_MAX: usize = 30_000;

/// Inserts rows, as many in one statement as both databases take.
pub(crate) async fn insert_all<M, A, C>(connection: &C, rows: Vec<M>) -> Result<(), StoreError>
where
    M: IntoActiveModel<A>,
    A: ActiveModelTrait,
    C: ConnectionTrait,
{
    let columns = <A::Entity as EntityTrait>::Column::iter().count().max(1);
    let mut rows = rows.into_iter().map(IntoActiveModel::into_active_model).peekable();
    while rows.peek().is_some() {
        let chunk: Vec<A> = rows.by_ref().take(PARAMETERS_MAX / columns).collect();
        A::Entity::insert_many(chunk).exec_without_returning(connection).await?;
    }
    Ok(())
}

/// Writes a row anew, whole; it must be there.
pub(crate) async fn update_row<A, C>(
    connection: &C,
    row: A,
    which: impl IntoCondition + Send,
    what: &'static str,
    id: impl Display,
) -> Result<(), StoreError>
where
    A: ActiveModelTrait,
    C: ConnectionTrait,
{
    let updated = A::Entity::update_many().set(row.reset_all()).filter(which).exec(connection).await?;
    if updated.rows_affected == 1 { Ok(()) } else { Err(StoreError::NotFound { what, id: id.to_string() }) }
}

/// Rows as the list after `VALUES`, with the parameters they name from `$1` on. Padded to a power of two by repeating the last,
/// since every length is a statement of its own to the database's cache; so the same row twice must do what it does once.
pub(crate) fn value_list<const N: usize>(rows: &[[Value; N]]) -> (String, Vec<Value>) {
    let mut text = String::new();
    let mut values = Vec::new();
    let padding = rows.last().into_iter().cycle().take(rows.len().next_power_of_two() - rows.len());
    for row in rows.iter().chain(padding) {
        for (at, value) in row.iter().enumerate() {
            let before = match (at, values.is_empty()) {
                (0, true) => "(",
                (0, false) => "), (",
                _ => ", ",
            };
            values.push(value.clone());
            // Writing to a string cannot fail.
            let _ = write!(text, "{before}${}", values.len());
        }
    }
    text.push(')');
    (text, values)
}

/// Ids in lists for `IN (…)`: each once, and padded to a power of two by repeating the last, since every length is a statement of
/// its own to the database's cache.
pub(crate) fn id_lists<I: Into<Uuid>>(ids: impl IntoIterator<Item = I>) -> Vec<Vec<Uuid>> {
    let mut ids: Vec<Uuid> = ids.into_iter().map(Into::into).collect();
    ids.sort_unstable();
    ids.dedup();
    ids.chunks(8_192)
        .map(|chunk| {
            let mut list = chunk.to_vec();
            if let Some(last) = chunk.last() {
                list.resize(chunk.len().next_power_of_two(), *last);
            }
            list
        })
        .collect()
}

/// The currency of optional money, for the column beside it.
pub(crate) fn currency_of(money: Option<Money>) -> Option<String> {
    money.map(|money| code(money.currency()))
}

/// A currency as its column holds it.
pub(crate) fn code(currency: Currency) -> String {
    currency.code().to_owned()
}
