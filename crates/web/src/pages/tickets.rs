//! Batch tickets: the list, one ticket, and what is done with it away from the balance.

use std::collections::HashMap;

use app::{
    FillingWrite, TicketAllocate, TicketAsks, TicketCancel, TicketComplete, TicketSize, TicketSubject,
    TicketWrite, lists::TicketFilter,
};
use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use domain::{
    Catalogue,
    lots::Lot,
    people::Capability,
    tickets::{Ticket, TicketStatus},
};
use kernel::{
    Count, Exact,
    ids::{LotId, TicketId},
};
use maud::{Markup, html};

use crate::{
    Web,
    access::{Answer, Asked, Sent, Who},
    fields::{Fields, Reader},
    figures as fig,
    frame::{self, Place},
    links,
    pages::{cautions, material_link},
    respond::{PageError, go, shown},
    text as t,
    ui::{self, Field, Kept, Tone},
};

/// Tickets on one page.
const LISTED: u32 = 50;

/// Which tickets a list shows.
const SHOWS: [(&str, &str); 4] = [
    ("", t::TICKETS_OPEN),
    ("complete", t::TICKETS_COMPLETE),
    ("cancelled", t::TICKETS_CANCELLED),
    ("all", t::TICKETS_ALL),
];

/// The list.
pub async fn list(State(web): State<Web>, who: Who, Asked(fields): Asked) -> Answer {
    let catalogue = web.app.catalogue(&who.actor)?;
    let show = fields.first("show");
    let statuses = match show {
        "complete" => TicketStatus::ALL.into_iter().filter(|status| status.is_made()).collect(),
        "cancelled" => vec![TicketStatus::Cancelled, TicketStatus::Voided],
        "all" => Vec::new(),
        _ => TicketStatus::ALL.into_iter().filter(|status| status.is_open()).collect(),
    };
    let filter = TicketFilter { statuses, ..TicketFilter::default() };
    let after = uuid::Uuid::parse_str(fields.first("after")).ok().map(TicketId::from);
    let page = web.app.tickets_page(&who.actor, &filter, after, LISTED).await?;
    let mut tickets = page.rows;
    let last = tickets.last().map(|ticket| ticket.id);
    tickets.sort_by(|a, b| (a.planned_for, &a.number).cmp(&(b.planned_for, &b.number)));
    if !matches!(show, "") {
        tickets.reverse();
    }
    let body = html! {
        h1 { (t::TICKETS) }
        ul.tabs aria-label=(t::SHOW) {
            @for (value, words) in SHOWS {
                li { a href=(links::with_query("/tickets", &[("show", value)])) aria-current=[(value == show).then_some("true")] { (words) } }
            }
        }
        @if tickets.is_empty() { (ui::nothing(t::TICKETS_NONE)) } @else {
            (ui::table(t::TICKETS, &html! {
                th { (t::TICKET) } th { (t::FORMULA) } th.num { (t::BATCH) } th { (t::DAY) } th { (t::STATE) } th { (t::WEIGHED) } td {}
            }, &html! { @for ticket in &tickets { (list_row(&catalogue, &who, ticket)) } }))
        }
        @if let (true, Some(last)) = (page.has_more, last) {
            p { a.button.plain href=(links::with_query("/tickets", &[("show", show), ("after", &last.to_string())])) { (t::MORE) } }
        }
        p.ways-on { a.button href="/run-check" { (t::CHECK_A_RUN) } }
    };
    Ok(shown(StatusCode::OK, frame::page(&who, Place::Tickets, t::TICKETS, &body)))
}

fn list_row(catalogue: &Catalogue, who: &Who, ticket: &Ticket) -> Markup {
    let (done, of) = progress(ticket);
    html! {
        tr {
            td { a.code href=(links::ticket(&ticket.number)) { (ticket.number) } }
            td { (formula_name(catalogue, ticket)) }
            td.num { (fig::exact(&ticket.batch.to_exact(), 1, "kg")) }
            td {
                (fig::date(ticket.planned_for))
                @if ticket.status.is_open() && ticket.planned_for < who.today { " " (ui::badge(Tone::Care, t::OVERDUE)) }
            }
            td { (ui::ticket_status(ticket.status)) @if ticket.paused.is_some() { " " (ui::badge(Tone::Care, t::PAUSED)) } }
            td { (t::done_of(done, of)) }
            td { @if ticket.status.is_open() && who.may(Capability::PlanAndMake) { a.button.plain href=(links::bench(&ticket.number)) { (t::TO_THE_BENCH) } } }
        }
    }
}

/// Lines that hold all they should, and how many there are.
pub(crate) fn progress(ticket: &Ticket) -> (usize, usize) {
    let wanted = ticket.lines.iter().filter(|line| line.target.is_positive());
    let done = wanted.clone().filter(|line| is_done(ticket, line)).count();
    (done, wanted.count())
}

/// Whether a line holds what it should: at least its target less the tolerance.
pub(crate) fn is_done(ticket: &Ticket, line: &domain::tickets::TicketLine) -> bool {
    let weighed = ticket.counted_on(line.id).to_exact();
    let target = ticket.target_of(line).to_exact();
    let least = match line.tolerance {
        Some(tolerance) => target * (Exact::ONE - tolerance.fraction()),
        None => target,
    };
    weighed >= least
}

fn formula_name(catalogue: &Catalogue, ticket: &Ticket) -> Markup {
    let version = catalogue.version(ticket.version);
    html! {
        @match version {
            Some((formula, version)) => {
                a href=(links::version(&formula.code, version.number)) { span.code { (formula.code) } " " (formula.name) ", " (t::version(version.number)) }
            }
            None => { (t::GONE) }
        }
    }
}

/// A ticket by its number.
pub(crate) async fn ticket_of(web: &Web, who: &Who, number: &str) -> Result<Ticket, PageError> {
    web.app.ticket_by_number(&who.actor, number).await?.ok_or_else(|| PageError::not_found("ticket", number))
}

/// Every lot a ticket names.
pub(crate) async fn lots_of(web: &Web, who: &Who, ticket: &Ticket) -> Result<HashMap<LotId, Lot>, PageError> {
    let mut ids: Vec<LotId> = ticket
        .allocations
        .iter()
        .map(|allocation| allocation.lot)
        .chain(ticket.weighings.iter().filter_map(|weighing| weighing.lot))
        .chain(
            ticket
                .completion
                .iter()
                .flat_map(|c| std::iter::once(c.lot).chain(c.fillings.iter().map(|f| f.lot))),
        )
        .collect();
    ids.sort_unstable();
    ids.dedup();
    Ok(web.app.lots_get(&who.actor, &ids).await?.into_iter().map(|lot| (lot.id, lot)).collect())
}

/// A lot's number as a link.
pub(crate) fn lot_link(lots: &HashMap<LotId, Lot>, id: LotId) -> Markup {
    match lots.get(&id) {
        Some(lot) => html! { a.code href=(links::lot(&lot.number)) { (lot.number) } },
        None => html! { (t::GONE) },
    }
}

/// One ticket.
pub async fn page(State(web): State<Web>, who: Who, Path(number): Path<String>) -> Answer {
    let ticket = ticket_of(&web, &who, &number).await?;
    shown_ticket(&web, &who, &ticket, &Kept::default()).await
}

async fn shown_ticket(web: &Web, who: &Who, ticket: &Ticket, kept: &Kept) -> Answer {
    let catalogue = web.app.catalogue(&who.actor)?;
    let lots = lots_of(web, who, ticket).await?;
    let (done, of) = progress(ticket);
    let open = ticket.status.is_open();
    let materials = ticket.lines.iter().filter_map(|line| catalogue.materials.get(line.material));
    let body = html! {
        p.crumb { a href="/tickets" { (t::TICKETS) } }
        h1 { (t::TICKET) " " span.code { (ticket.number) } }
        p.state { (ui::ticket_status(ticket.status)) @if ticket.paused.is_some() { " " (ui::badge(Tone::Care, t::PAUSED)) } " " (t::done_of(done, of)) }
        @if let Some(pause) = &ticket.paused { p.lead { (pause.reason) " " span.quiet { (pause.by) } } }
        dl.facts {
            (ui::fact(t::FORMULA, &formula_name(&catalogue, ticket)))
            @if let Some(pack) = ticket.pack.and_then(|id| catalogue.packs.get(id)) {
                (ui::fact(t::PACK, &html! { a href=(links::pack(&pack.code)) { span.code { (pack.code) } " " (pack.name) } }))
            }
            @if let Some(units) = ticket.units { (ui::fact(t::UNITS, &fig::decimal(units.pieces(), "pcs"))) }
            (ui::fact(t::BATCH, &fig::weighed_figure(ticket.batch)))
            (ui::fact(t::PLANNED_FOR, &fig::date(ticket.planned_for)))
            (ui::fact(t::WRITTEN_BY, &html! { (ticket.written_by) ", " (fig::date(ticket.written_at.date_naive())) }))
        }
        @if let Some(note) = &ticket.note { p.lead { (note) } }
        @if open && who.may(Capability::PlanAndMake) {
            (kept.notice("allocate"))
            div.ways-on {
                a.button href=(links::bench(&ticket.number)) { (t::TO_THE_BENCH) }
                form method="post" action={ (links::ticket(&ticket.number)) "/allocate" } {
                    (ui::form_keys(who, kept, "allocate"))
                    button.plain type="submit" { @if ticket.allocations.is_empty() { (t::ALLOCATE) } @else { (t::ALLOCATE_AGAIN) } }
                }
            }
        }
        h2 { (t::WHAT_GOES_IN) }
        (lines(&catalogue, ticket, &lots))
        @if let Some(completion) = &ticket.completion {
            h2 { (t::WHAT_CAME_OUT) }
            dl.facts {
                (ui::fact(t::YIELD, &html! {
                    (fig::weighed_figure(completion.yield_mass))
                    @if let Ok(share) = completion.yield_mass.to_exact().checked_div(&weighed_in_all(ticket)) { " = " (fig::fraction(&share, 1)) " " (t::OF_WEIGHED) }
                }))
                (ui::fact(t::LOT, &lot_link(&lots, completion.lot)))
                @if let Some(density) = completion.density { (ui::fact(t::DENSITY, &fig::decimal(density.kg_per_litre(), "kg/L"))) }
                (ui::fact(t::COMPLETED_BY, &html! { (completion.by) ", " (fig::date(completion.on)) }))
                @for filling in &completion.fillings {
                    (ui::fact(catalogue.packs.get(filling.pack).map_or(t::GONE, |pack| pack.name.as_str()), &html! {
                        (fig::decimal(filling.filled.pieces(), "pcs")) ", " (t::LOT) " " (lot_link(&lots, filling.lot))
                    }))
                }
            }
            @if let Some(note) = &completion.note { p { (note) } }
        }
        @if may_be_completed(ticket) && who.may(Capability::PlanAndMake) {
            (complete_form(&catalogue, who, ticket, kept))
        }
        h2 { (t::CAUTIONS) }
        (cautions(&engine::cautions(materials.map(AsRef::as_ref))))
        @if ticket.status.may_become(TicketStatus::Cancelled) && who.may(Capability::PlanAndMake) {
            (ui::fold(t::CANCEL_TICKET, kept.is("cancel"), &html! {
                (kept.notice("cancel"))
                form.inline method="post" action={ (links::ticket(&ticket.number)) "/cancel" } {
                    (ui::form_keys(who, kept, "cancel"))
                    (Field::text("cancel", "reason", t::REASON).needed().show(kept))
                    button.plain type="submit" { (t::CANCEL_IT) }
                }
            }))
        }
    };
    Ok(shown(kept.status(), frame::page(who, Place::Tickets, &ticket.number, &body)))
}

/// Whether the form that completes it in one go has a use.
fn may_be_completed(ticket: &Ticket) -> bool {
    ticket.paused.is_none()
        && matches!(ticket.status, TicketStatus::Weighing | TicketStatus::Making | TicketStatus::OnTest)
}

/// What was really weighed into a ticket, kg.
fn weighed_in_all(ticket: &Ticket) -> Exact {
    ticket.charged().to_exact()
}

fn lines(catalogue: &Catalogue, ticket: &Ticket, lots: &HashMap<LotId, Lot>) -> Markup {
    ui::table(
        t::WHAT_GOES_IN,
        &html! {
            th.num { "#" } th { (t::PHASE) } th { (t::MATERIAL) } th.num { (t::TARGET) } th.num { (t::WEIGHED) } th { (t::LOTS) } th { (t::STATE) }
        },
        &html! {
            @for line in &ticket.lines {
                @let weighed = ticket.weighed_on(line.id);
                tr {
                    td.num { (line.position) }
                    td { (line.phase.as_deref().unwrap_or("")) }
                    td { (material_link(catalogue, line.material)) @if let Some(instruction) = &line.instruction { br; span.quiet { (instruction) } } }
                    td.num { (fig::exact(&ticket.target_of(line).to_exact(), 3, "kg")) }
                    td.num { @if weighed.is_zero() { span.quiet { "–" } } @else { (fig::exact(&weighed.to_exact(), 3, "kg")) } }
                    td {
                        ul.plain {
                            @for weighing in ticket.weighings.iter().filter(|w| w.line == line.id && w.reversed.is_none()) {
                                li {
                                    @if let Some(lot) = weighing.lot { (lot_link(lots, lot)) " " }
                                    (fig::exact(&weighing.amount.to_exact(), 3, "kg")) " " span.quiet { (weighing.by) }
                                    @if let Some(second) = &weighing.checked_by { span.quiet { " / " (second) } }
                                }
                            }
                            @for allocation in ticket.allocations.iter().filter(|a| a.line == line.id && a.quantity.is_positive()) {
                                li { (lot_link(lots, allocation.lot)) " " (fig::quantity(allocation.quantity)) " " span.quiet { (t::PROMISED_WORD) } }
                            }
                        }
                    }
                    td { @if is_done(ticket, line) { (ui::badge(Tone::Good, t::WEIGHED)) } @else if !weighed.is_zero() { (ui::badge(Tone::Care, t::STARTED)) } }
                }
            }
            tr.total {
                td {} td {} td { (t::TOTAL) } td.num { (fig::exact(&ticket.batch.to_exact(), 3, "kg")) }
                td.num { (fig::exact(&weighed_in_all(ticket), 3, "kg")) } td {} td {}
            }
        },
    )
}

/// The name of the field for the units filled of a pack.
fn filled_field(code: &str) -> String {
    format!("filled:{code}")
}

fn complete_form(catalogue: &Catalogue, who: &Who, ticket: &Ticket, kept: &Kept) -> Markup {
    let weighed = fig::plain(&weighed_in_all(ticket), 3);
    html! {
        h2 #complete { (t::COMPLETE_IT) }
        p.quiet { (t::COMPLETE_LEAD) " " (weighed) "\u{a0}kg." }
        (kept.notice("complete"))
        form.stack.wide method="post" action={ (links::ticket(&ticket.number)) "/complete" } {
            (ui::form_keys(who, kept, "complete"))
            fieldset {
                legend { (t::YIELD) }
                (Field::amount("complete", "yieldMass", t::YIELD_FIELD).hint(t::BATCH_SIZE_HINT).needed().show(kept))
                (Field::amount("complete", "density", t::DENSITY).hint("kg/L").show(kept))
                (Field::text("complete", "lotNumber", t::OWN_NUMBER).hint(t::MADE_WHEN_EMPTY).show(kept))
                (Field::date("complete", "on", t::DAY).start(&who.today.to_string()).needed().show(kept))
            }
            @let packs = catalogue.packs_of(ticket.formula);
            @if !packs.is_empty() {
                fieldset {
                    legend { (t::FILLED) }
                    @for pack in packs.iter().filter_map(|id| catalogue.packs.get(*id)) {
                        (Field::amount("complete", &filled_field(&pack.code), &pack.name).hint(t::GOOD_UNITS).show(kept))
                    }
                }
            }
            (Field::text("complete", "note", t::CHECKS_AND_REMARKS).hint(t::CHECKS_HINT).show(kept))
            button type="submit" { (t::COMPLETE_IT) }
        }
    }
}

/// Writes a ticket from a run check.
pub async fn write(State(web): State<Web>, sent: Sent) -> Answer {
    let catalogue = web.app.catalogue(&sent.who.actor)?;
    let input = write_input(&catalogue, &sent.fields)?;
    let ticket = web.app.ticket_write(&sent.change(), input).await?;
    Ok(go(&links::ticket(&ticket.number)))
}

fn write_input(catalogue: &Catalogue, fields: &Fields) -> Result<TicketWrite, app::Error> {
    let mut reader = Reader::new(fields);
    let code = fields.first("pack");
    let subject = match (catalogue.packs.by_code(code), catalogue.formulas.by_code(code)) {
        (Some(pack), _) => TicketSubject::Pack(pack.id),
        (None, Some(formula)) => TicketSubject::Formula(formula.id),
        (None, None) => return Err(app::Error::not_found("pack or formula", code)),
    };
    let size = match reader.mass("batch") {
        Some(batch) => Some(TicketSize::Batch(batch)),
        None => reader.count("units").map(TicketSize::Units),
    };
    let size = reader.needed("units", size);
    let on = reader.date("on");
    let on = reader.needed("on", on);
    match (size, on, reader.problems.is_empty()) {
        (Some(size), Some(planned_for), true) => Ok(TicketWrite {
            subject,
            size,
            planned_for,
            number: None,
            note: None,
            asks: TicketAsks::default(),
        }),
        _ => Err(app::Error::Invalid(reader.problems)),
    }
}

async fn ended(
    web: &Web,
    sent: Sent,
    number: &str,
    form: &'static str,
    result: Result<(), app::Error>,
) -> Answer {
    match result {
        Ok(()) => Ok(go(&links::ticket(number))),
        Err(error) => {
            let kept = Kept::after(form, sent.fields, error)?;
            let ticket = ticket_of(web, &sent.who, number).await?;
            shown_ticket(web, &sent.who, &ticket, &kept).await
        }
    }
}

/// Promises lots, first expired first out.
pub async fn allocate(State(web): State<Web>, Path(number): Path<String>, sent: Sent) -> Answer {
    let ticket = ticket_of(&web, &sent.who, &number).await?;
    let input = TicketAllocate { ticket: ticket.id, choices: Vec::new() };
    let result = web.app.ticket_allocate(&sent.change(), input).await.map(drop);
    ended(&web, sent, &number, "allocate", result).await
}

/// Gives a ticket up.
pub async fn cancel(State(web): State<Web>, Path(number): Path<String>, sent: Sent) -> Answer {
    let ticket = ticket_of(&web, &sent.who, &number).await?;
    let input = TicketCancel { ticket: ticket.id, reason: sent.fields.first("reason").to_owned() };
    let result = web.app.ticket_cancel(&sent.change(), input).await.map(drop);
    ended(&web, sent, &number, "cancel", result).await
}

/// Completes a ticket: what came out, what was filled.
pub async fn complete(State(web): State<Web>, Path(number): Path<String>, sent: Sent) -> Answer {
    let ticket = ticket_of(&web, &sent.who, &number).await?;
    let catalogue = web.app.catalogue(&sent.who.actor)?;
    let result = match complete_input(&catalogue, &ticket, &sent.fields) {
        Ok(input) => web.app.ticket_complete(&sent.change(), input).await.map(drop),
        Err(error) => Err(error),
    };
    ended(&web, sent, &number, "complete", result).await
}

fn complete_input(
    catalogue: &Catalogue,
    ticket: &Ticket,
    fields: &Fields,
) -> Result<TicketComplete, app::Error> {
    let mut reader = Reader::new(fields);
    let yield_mass = reader.mass("yieldMass");
    let yield_mass = reader.needed("yieldMass", yield_mass);
    let density = reader.density("density");
    let on = reader.date("on");
    let mut fillings = Vec::new();
    for pack in catalogue.packs_of(ticket.formula).iter().filter_map(|id| catalogue.packs.get(*id)) {
        if let Some(filled) = reader.count(&filled_field(&pack.code)).filter(|filled| *filled != Count::ZERO)
        {
            fillings.push(FillingWrite {
                pack: pack.id,
                filled,
                spoiled: Vec::new(),
                lot_number: None,
                counts: app::FillingCounts::default(),
            });
        }
    }
    match (yield_mass, reader.problems.is_empty()) {
        (Some(yield_mass), true) => Ok(TicketComplete {
            ticket: ticket.id,
            yield_mass,
            lot_number: fields.text("lotNumber"),
            density,
            fillings,
            note: fields.text("note"),
            on,
        }),
        _ => Err(app::Error::Invalid(reader.problems)),
    }
}
