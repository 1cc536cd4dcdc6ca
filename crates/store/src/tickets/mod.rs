//! Batch tickets, what is promised to them, what was weighed, and how they ended.

use chrono::NaiveDate;
use domain::{
    text::code_key,
    tickets::{Ticket, TicketStatus},
};
use kernel::ids::{FormulaId, LotId, PackId, TicketId};
use sea_orm::{
    ColumnTrait, Condition, ConnectionTrait, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder,
    QuerySelect, Select, Statement,
    sea_query::{Expr, ExprTrait, LockType},
};
use std::collections::{BTreeSet, HashMap};
use uuid::Uuid;

use crate::{
    Conn, Page, StoreError, WriteTx,
    catalogue::grouped,
    codes::Word,
    connection::sealed::HasConnection,
    rows::{
        id_lists, insert_all,
        tickets::{Parts, allocation, completion, filling, line, step, ticket, weighing},
    },
};

mod allocations;
mod life;
mod making;

pub use allocations::{allocation_use, allocations_replace, allocations_shrink};
pub use life::{ticket_pause_set, ticket_scale, ticket_steps_insert, weighing_check_set, weighing_undo};
pub use making::{completion_insert, weighing_reverse, weighing_ticket, weighings_insert};

/// Which tickets to list; empty lists all.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct TicketFilter {
    /// Only of these statuses; empty for any.
    pub statuses: Vec<TicketStatus>,
    /// Only of this formula.
    pub formula: Option<FormulaId>,
    /// Only for this pack.
    pub pack: Option<PackId>,
    /// Only those planned for this day or later.
    pub planned_from: Option<NaiveDate>,
    /// Only those planned for this day or earlier.
    pub planned_until: Option<NaiveDate>,
}

/// Adds a ticket with its lines. Allocations, weighings and a completion it may hold are written by their own functions.
///
/// # Errors
/// [`StoreError::Constraint`] named [`constraints::TICKET_NUMBER`](crate::constraints::TICKET_NUMBER) when its number is taken.
pub async fn ticket_insert(tx: &WriteTx, ticket: &Ticket) -> Result<(), StoreError> {
    insert_all(tx.connection(), vec![ticket::Model::of(ticket)]).await?;
    insert_all(tx.connection(), line::Model::all_of(ticket)).await
}

/// A ticket.
pub async fn ticket_get(conn: &impl Conn, id: TicketId) -> Result<Option<Ticket>, StoreError> {
    one(conn, ticket::Entity::find_by_id(id.0)).await
}

/// Tickets by identity, in no particular order; those that are not there are left out.
pub async fn tickets_get(conn: &impl Conn, ids: &[TicketId]) -> Result<Vec<Ticket>, StoreError> {
    let mut tickets = Vec::with_capacity(ids.len());
    for list in id_lists(ids.iter().map(|id| id.0)) {
        tickets.extend(all(conn, ticket::Entity::find().filter(ticket::Column::Id.is_in(list))).await?);
    }
    Ok(tickets)
}

/// A ticket by its number, letter case aside.
pub async fn ticket_by_number(conn: &impl Conn, number: &str) -> Result<Option<Ticket>, StoreError> {
    one(conn, ticket::Entity::find().filter(ticket::Column::NumberKey.eq(code_key(number)))).await
}

/// Which ticket has that number, letter case aside.
pub async fn ticket_id_by_number(conn: &impl Conn, number: &str) -> Result<Option<TicketId>, StoreError> {
    let id: Option<Uuid> = ticket::Entity::find()
        .select_only()
        .column(ticket::Column::Id)
        .filter(ticket::Column::NumberKey.eq(code_key(number)))
        .into_tuple()
        .one(conn.connection())
        .await?;
    Ok(id.map(TicketId))
}

/// A ticket locked until the transaction ends: what is decided on it holds until then. Lock the ticket before its lots.
pub async fn ticket_lock(tx: &WriteTx, id: TicketId) -> Result<Option<Ticket>, StoreError> {
    one(tx, ticket::Entity::find_by_id(id.0).lock(LockType::NoKeyUpdate)).await
}

/// Tickets by the day they are planned for, after the one named.
pub async fn tickets_page(
    conn: &impl Conn,
    filter: &TicketFilter,
    after: Option<TicketId>,
    limit: u32,
) -> Result<Page<Ticket>, StoreError> {
    let mut query = in_order(filtered(filter)).limit(u64::from(limit) + 1);
    if let Some(after) = after {
        let planned = ticket::Entity::find_by_id(after.0)
            .one(conn.connection())
            .await?
            .ok_or_else(|| StoreError::NotFound { what: TICKET, id: after.to_string() })?
            .planned_for;
        let same_day = ticket::Column::PlannedFor.eq(planned).and(ticket::Column::Id.gt(after.0));
        query = query.filter(ticket::Column::PlannedFor.gt(planned).or(same_day));
    }
    Ok(Page::cut(all(conn, query).await?, limit))
}

/// How many tickets there are.
pub async fn tickets_count(conn: &impl Conn, filter: &TicketFilter) -> Result<u64, StoreError> {
    Ok(filtered(filter).count(conn.connection()).await?)
}

/// All tickets that will still take something off the shelf, by the day they are planned for.
pub async fn tickets_open(conn: &impl Conn) -> Result<Vec<Ticket>, StoreError> {
    let open = TicketStatus::ALL.into_iter().filter(|status| status.is_open()).collect();
    let filter = TicketFilter { statuses: open, ..TicketFilter::default() };
    all(conn, in_order(filtered(&filter))).await
}

/// The latest tickets of each formula whose bulk is made, so many at most, whose version has lines added until a result is reached.
pub async fn tickets_trimmed(conn: &impl Conn, of_each: usize) -> Result<Vec<Ticket>, StoreError> {
    let db = conn.connection();
    let text = format!(
        "SELECT id FROM (SELECT t.id AS id, ROW_NUMBER() OVER (PARTITION BY t.formula ORDER BY c.day DESC, t.id DESC) AS nth \
         FROM tickets t JOIN completions c ON c.ticket = t.id \
         WHERE t.status IN ('filling', 'reconciled', 'released', 'rejected') AND t.version IN (SELECT version FROM formula_lines WHERE trim_result IS NOT NULL)) latest \
         WHERE nth <= {of_each}"
    );
    let rows = db.query_all_raw(Statement::from_string(db.get_database_backend(), text)).await?;
    let ids: Vec<TicketId> =
        rows.iter().map(|row| row.try_get_by_index(0).map(TicketId)).collect::<Result<_, _>>()?;
    let mut tickets = tickets_get(conn, &ids).await?;
    tickets.sort_by_key(|ticket| ticket.id);
    Ok(tickets)
}

/// Tickets that took something from a lot: where it went.
pub async fn tickets_using_lot(conn: &impl Conn, lot: LotId) -> Result<Vec<Ticket>, StoreError> {
    tickets_using_lots(conn, &[lot]).await
}

/// Tickets that took something from any of some lots, each once, by the day they are planned for.
pub async fn tickets_using_lots(conn: &impl Conn, lots: &[LotId]) -> Result<Vec<Ticket>, StoreError> {
    let mut ids: BTreeSet<Uuid> = BTreeSet::new();
    for list in id_lists(lots.iter().map(|lot| lot.0)) {
        let found: Vec<Uuid> = weighing::Entity::find()
            .select_only()
            .column(weighing::Column::Ticket)
            .filter(weighing::Column::Lot.is_in(list))
            .filter(weighing::Column::Reversed.is_null())
            .distinct()
            .into_tuple()
            .all(conn.connection())
            .await?;
        ids.extend(found);
    }
    let mut tickets = tickets_get(conn, &ids.into_iter().map(TicketId).collect::<Vec<_>>()).await?;
    tickets.sort_by_key(|ticket| (ticket.planned_for, ticket.id));
    Ok(tickets)
}

/// Changes a ticket's status, and its note where one is given.
///
/// # Errors
/// [`StoreError::NotFound`].
pub async fn ticket_status_set(
    tx: &WriteTx,
    id: TicketId,
    status: TicketStatus,
    note: Option<&str>,
) -> Result<(), StoreError> {
    let mut update =
        ticket::Entity::update_many().col_expr(ticket::Column::Status, Expr::value(status.column_word()));
    if let Some(note) = note {
        update = update.col_expr(ticket::Column::Note, Expr::value(note));
    }
    let updated = update.filter(ticket::Column::Id.eq(id.0)).exec(tx.connection()).await?;
    if updated.rows_affected == 1 {
        Ok(())
    } else {
        Err(StoreError::NotFound { what: TICKET, id: id.to_string() })
    }
}

/// What a ticket is called in errors.
const TICKET: &str = "ticket";

fn in_order(query: Select<ticket::Entity>) -> Select<ticket::Entity> {
    query.order_by_asc(ticket::Column::PlannedFor).order_by_asc(ticket::Column::Id)
}

fn filtered(filter: &TicketFilter) -> Select<ticket::Entity> {
    let mut condition = Condition::all();
    if !filter.statuses.is_empty() {
        condition =
            condition.add(ticket::Column::Status.is_in(filter.statuses.iter().map(|s| s.column_word())));
    }
    condition = condition
        .add_option(filter.formula.map(|id| ticket::Column::Formula.eq(id.0)))
        .add_option(filter.pack.map(|id| ticket::Column::Pack.eq(id.0)))
        .add_option(filter.planned_from.map(|day| ticket::Column::PlannedFor.gte(day)))
        .add_option(filter.planned_until.map(|day| ticket::Column::PlannedFor.lte(day)));
    ticket::Entity::find().filter(condition)
}

async fn one(conn: &impl Conn, query: Select<ticket::Entity>) -> Result<Option<Ticket>, StoreError> {
    Ok(all(conn, query.limit(1)).await?.pop())
}

/// Tickets with all that hangs on them: seven questions to the database at most, however many tickets.
async fn all(conn: &impl Conn, query: Select<ticket::Entity>) -> Result<Vec<Ticket>, StoreError> {
    match conn.store() {
        Some(store) => assembled(&store.begin_read().await?, query).await,
        None => assembled(conn, query).await,
    }
}

async fn assembled(conn: &impl Conn, query: Select<ticket::Entity>) -> Result<Vec<Ticket>, StoreError> {
    let db = conn.connection();
    let tickets = query.all(db).await?;
    let mut parts: HashMap<Uuid, Parts> = HashMap::new();
    for list in id_lists(tickets.iter().map(|row| row.id)) {
        let lines = line::Entity::find()
            .filter(line::Column::Ticket.is_in(list.iter().copied()))
            .order_by_asc(line::Column::Position)
            .all(db)
            .await?;
        for (ticket, lines) in grouped(lines, |row| row.ticket) {
            parts.entry(ticket).or_default().lines = lines;
        }
        let allocations = allocation::Entity::find()
            .filter(allocation::Column::Ticket.is_in(list.iter().copied()))
            .order_by_asc(allocation::Column::Position)
            .all(db)
            .await?;
        for (ticket, allocations) in grouped(allocations, |row| row.ticket) {
            parts.entry(ticket).or_default().allocations = allocations;
        }
        let weighings = weighing::Entity::find()
            .filter(weighing::Column::Ticket.is_in(list.iter().copied()))
            .order_by_asc(weighing::Column::WeighedAt)
            .order_by_asc(weighing::Column::Id)
            .all(db)
            .await?;
        for (ticket, weighings) in grouped(weighings, |row| row.ticket) {
            parts.entry(ticket).or_default().weighings = weighings;
        }
        let steps = step::Entity::find()
            .filter(step::Column::Ticket.is_in(list.iter().copied()))
            .order_by_asc(step::Column::Position)
            .all(db)
            .await?;
        for (ticket, steps) in grouped(steps, |row| row.ticket) {
            parts.entry(ticket).or_default().steps = steps;
        }
        let completions = completion::Entity::find()
            .filter(completion::Column::Ticket.is_in(list.iter().copied()))
            .all(db)
            .await?;
        // Only what is complete was filled.
        if completions.is_empty() {
            continue;
        }
        for row in completions {
            let part = parts.entry(row.ticket).or_default();
            part.completion = Some(row);
        }
        let fillings = filling::Entity::find()
            .filter(filling::Column::Ticket.is_in(list))
            .order_by_asc(filling::Column::Position)
            .all(db)
            .await?;
        for (ticket, fillings) in grouped(fillings, |row| row.ticket) {
            parts.entry(ticket).or_default().fillings = fillings;
        }
    }
    tickets
        .into_iter()
        .map(|row| {
            let parts = parts.remove(&row.id).unwrap_or_default();
            row.into_ticket(parts)
        })
        .collect()
}
