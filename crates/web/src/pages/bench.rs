//! A ticket at the bench: one weighing at a time, in charge order, readable at arm's length.
//!
//! The form carries a request key made when it was written: a reload, a second tap or a lost connection can send the same
//! weighing again and it still happens once. After each weighing the browser is sent to the next one, so that a reload asks and
//! does not send.

use std::collections::HashMap;

use app::{TicketWeigh, WeighingConfirm, WeighingHow, WeighingTakeBack, WeighingWrite};
use axum::{
    extract::{Path, State},
    response::Response,
};
use domain::{
    Catalogue,
    lots::Lot,
    people::Capability,
    tickets::{Ticket, TicketLine, Weighing},
};
use engine::shelf::LotOnDay;
use kernel::{
    Exact, Unit,
    ids::{LotId, WeighingId},
};
use maud::{Markup, html};

use crate::{
    Web,
    access::{Answer, Asked, Sent, Who},
    chart,
    fields::{Fields, Reader},
    figures as fig,
    frame::{self, Place},
    links,
    pages::{
        cautions,
        tickets::{is_done, lot_link, lots_of, progress, ticket_of},
    },
    respond::{PageError, go, shown},
    text as t,
    ui::{self, Field, Kept, Tone},
};

const FORM: &str = "weigh";
/// Lots offered to be tapped.
const LOTS_OFFERED: usize = 6;

/// The lots a weighing has to do with.
struct Lots {
    /// Promised to the ticket, or weighed into it.
    of_ticket: HashMap<LotId, Lot>,
    /// Of the line's material, usable today, in the order they are to be taken.
    usable: Vec<LotOnDay>,
}

/// The weighing that is next, or the one asked for.
pub async fn page(
    State(web): State<Web>,
    who: Who,
    Path(number): Path<String>,
    Asked(fields): Asked,
) -> Answer {
    let ticket = ticket_of(&web, &who, &number).await?;
    shown_bench(&web, &who, &ticket, fields.first("line"), fields.first("second"), &Kept::default()).await
}

/// The line asked for, else the first that is not done.
fn line_of<'a>(ticket: &'a Ticket, asked: &str) -> Option<&'a TicketLine> {
    let asked = asked.parse().ok().and_then(|position| ticket.line_at(position));
    asked.or_else(|| ticket.lines.iter().find(|line| line.target.is_positive() && !is_done(ticket, line)))
}

async fn shown_bench(
    web: &Web,
    who: &Who,
    ticket: &Ticket,
    asked: &str,
    second: &str,
    kept: &Kept,
) -> Answer {
    let catalogue = web.app.catalogue(&who.actor)?;
    let lots = lots_of(web, who, ticket).await?;
    let line = line_of(ticket, asked);
    let lots = Lots { usable: usable_lots(web, who, ticket, line).await?, of_ticket: lots };
    let (done, of) = progress(ticket);
    let materials = ticket.lines.iter().filter_map(|line| catalogue.materials.get(line.material));
    let open = ticket.status.is_open();
    let body = html! {
        p.crumb { a href="/tickets" { (t::TICKETS) } " › " a href=(links::ticket(&ticket.number)) { span.code { (ticket.number) } } }
        div.bench {
            header.bench-head {
                h1 {
                    (catalogue.formulas.get(ticket.formula).map_or(t::GONE, |formula| formula.name.as_str()))
                    " " span.quiet { (ticket.batch.to_string()) }
                }
                p { (t::done_of(done, of)) " " progress max=(of) value=(done) aria-label=(t::PROGRESS) {} }
            }
            @match (open, line) {
                (false, _) => { (ui::notice(Tone::Calm, &html! { p { (t::NOT_OPEN) " " (ui::ticket_status(ticket.status)) } })) }
                (true, None) => {
                    (ui::notice(Tone::Good, &html! {
                        p { strong { (t::ALL_WEIGHED) } }
                        p { a.button href={ (links::ticket(&ticket.number)) "#complete" } { (t::COMPLETE_IT) } }
                    }))
                }
                (true, Some(line)) => { (weighing_card(&catalogue, who, ticket, line, &lots, second, kept)) }
            }
            nav.charges aria-label=(t::CHARGE_ORDER) {
                ol {
                    @for other in ticket.lines.iter().filter(|other| other.target.is_positive()) {
                        (charge(&catalogue, ticket, other, line.is_some_and(|line| line.id == other.id)))
                    }
                }
            }
            section {
                h2 { (t::CAUTIONS) }
                (cautions(&engine::cautions(materials.map(AsRef::as_ref))))
            }
            (history(&catalogue, who, ticket, &lots.of_ticket, kept))
        }
    };
    Ok(shown(kept.status(), frame::page(who, Place::Tickets, &t::bench_title(&ticket.number), &body)))
}

fn charge(catalogue: &Catalogue, ticket: &Ticket, line: &TicketLine, current: bool) -> Markup {
    let done = is_done(ticket, line);
    html! {
        li {
            a href={ (links::bench(&ticket.number)) "?line=" (line.position) } aria-current=[current.then_some("step")] {
                span.sign aria-hidden="true" { @if done { "✓" } @else if current { "▶" } @else { "○" } }
                span.what {
                    @if let Some(phase) = &line.phase { span.phase { (phase) } " " }
                    (catalogue.materials.get(line.material).map_or(t::GONE, |material| material.name.as_str()))
                }
                span.num { (fig::weighed_text(line.target)) }
                span.unseen { @if done { (t::WEIGHED) } @else { (t::TO_DO) } }
            }
        }
    }
}

fn weighing_card(
    catalogue: &Catalogue,
    who: &Who,
    ticket: &Ticket,
    line: &TicketLine,
    lots: &Lots,
    second: &str,
    kept: &Kept,
) -> Markup {
    let material = catalogue.materials.get(line.material);
    let stocked = material.is_none_or(|material| material.kind.is_stocked());
    let remaining = ticket.remaining_on(line);
    let weighed = ticket.weighed_on(line.id);
    let promised: Vec<_> =
        ticket.allocations.iter().filter(|a| a.line == line.id && a.quantity.is_positive()).collect();
    let (figure, unit) = fig::weighed(remaining);
    let needs_weight =
        kept.is(FORM) && kept.wrong(FORM, "lot").is_none() && !kept.value(FORM, "lot", "").is_empty();
    html! {
        section.weighing aria-labelledby="now" {
            p.step {
                @if let Some(phase) = &line.phase { (t::PHASE) " " strong { (phase) } " · " }
                (t::charge_number(line.position, ticket.lines.len()))
            }
            h2 #now { (material.map_or(t::GONE, |material| material.name.as_str())) " " span.code { (material.map_or("", |m| m.code.as_str())) } }
            @if let Some(instruction) = &line.instruction { p.instruction { (instruction) } }
            @if let Some(material) = material { (own_cautions(material)) }
            p.target-figure {
                span.name { @if weighed.is_zero() { (t::WEIGH) } @else { (t::STILL_TO_WEIGH) } }
                span.figure { (figure) "\u{202f}" span.unit { (unit) } }
            }
            (tolerance(line, &ticket.target_of(line).to_exact(), &ticket.counted_on(line.id).to_exact()))
            @if !promised.is_empty() {
                p.promised {
                    (t::TAKE_FROM) " "
                    @for (at, allocation) in promised.iter().enumerate() {
                        @if at > 0 { ", " }
                        strong { (lot_link(&lots.of_ticket, allocation.lot)) }
                        @if promised.len() > 1 { " (" (fig::quantity(allocation.quantity)) ")" }
                        @if let Some(place) = lots.of_ticket.get(&allocation.lot).and_then(|lot| lot.location.as_deref()) { " " span.quiet { (place) } }
                    }
                }
            }
            (kept.notice(FORM))
            form.weigh method="post" action={ (links::ticket(&ticket.number)) "/weigh" } {
                (ui::form_keys(who, kept, FORM))
                input type="hidden" name="line" value=(line.position);
                @if stocked {
                    (Field::text(FORM, "lot", t::SCAN_LOT).list("usable-lots").needed().focus(!needs_weight).show(kept))
                }
                (Field::amount(FORM, "amount", &t::weight_in(unit)).hint(t::WEIGHT_HINT).needed().focus(!stocked || needs_weight).show(kept))
                input type="hidden" name="unit" value=(unit);
                (Field::text(FORM, "checkedBy", t::SECOND_CHECK).start(second).show(kept))
                @if kept.is(FORM) {
                    label.check { input type="checkbox" name="another" value="yes"; " " (t::ANOTHER_ONE) }
                }
                @if who.may(Capability::ReleaseAndReject) && (kept.is(FORM) || !kept.value(FORM, "reason", "").is_empty()) {
                    (Field::text(FORM, "reason", t::REASON_OUTSIDE).hint(t::REASON_OUTSIDE_HINT).show(kept))
                }
                button.large type="submit" { (t::ENTER_WEIGHING) }
            }
            @if stocked {
                (ui::suggestions("usable-lots", lots.usable.iter().map(|lot| (lot.number.as_str(), ""))))
                (lot_choices(&lots.usable))
            }
        }
    }
}

/// The lots of a line's material that may be used today.
async fn usable_lots(
    web: &Web,
    who: &Who,
    ticket: &Ticket,
    line: Option<&TicketLine>,
) -> Result<Vec<LotOnDay>, PageError> {
    let Some(line) = line else { return Ok(Vec::new()) };
    let product = web.app.catalogue(&who.actor)?.formulas.get(ticket.formula).map(|formula| formula.makes);
    let rows = web.app.shelf(&who.actor, Some(line.material), who.today, product).await?;
    // In the order they are to be taken.
    let lots = rows.into_iter().flat_map(|row| row.availability.lots);
    let usable = lots.filter(|lot| lot.because.is_empty()).collect();
    Ok(usable)
}

/// The same as buttons, for a tap; they need the script, which shows them.
fn lot_choices(usable: &[LotOnDay]) -> Markup {
    html! {
        div.lot-choices role="group" aria-label=(t::CHOOSE_LOT) {
            @for lot in usable.iter().take(LOTS_OFFERED) {
                button.plain type="button" hidden data-lot=(lot.number) {
                    span.code { (lot.number) } " " (fig::quantity(lot.on_hand))
                    @if let Some(until) = lot.last_day_of_use { " " span.quiet { (t::UNTIL) " " (fig::date(until)) } }
                }
            }
        }
    }
}

fn own_cautions(material: &domain::materials::Material) -> Markup {
    let statements: Vec<String> = material
        .hazard_statements
        .iter()
        .map(|code| code.statement().map_or_else(|| String::from(code.clone()), ToOwned::to_owned))
        .collect();
    if statements.is_empty() {
        return html! {};
    }
    html! { p.hazard { span aria-hidden="true" { "⚠ " } (statements.join(" · ")) } }
}

/// What is allowed, in words and as a band; the script moves its mark while the weight is typed.
fn tolerance(line: &TicketLine, target: &Exact, weighed: &Exact) -> Markup {
    let Some(tolerance) = line.tolerance else {
        return html! { p.quiet { (t::NO_TOLERANCE) } };
    };
    let margin = target * &tolerance.fraction();
    let (low, high) = (target - &margin, target + &margin);
    let small = *target < Exact::ONE;
    let shown = |kilograms: &Exact| {
        if small {
            format!("{}\u{a0}g", fig::plain(&(kilograms * &Exact::whole(1_000)), 2))
        } else {
            format!("{}\u{a0}kg", fig::plain(kilograms, 3))
        }
    };
    let figure = |value: &Exact| {
        value.round_half_even(9).map_or_else(|_| String::new(), |d| d.normalize().to_string())
    };
    html! {
        div.tolerance data-target=(figure(target)) data-margin=(figure(&margin)) data-weighed=(figure(weighed)) {
            (chart::band(t::TOLERANCE, target, &margin, weighed))
            p.limits {
                span { (t::AT_LEAST) " " strong { (shown(&low)) } }
                span.quiet { "± " (fig::percent(tolerance)) }
                span { (t::AT_MOST) " " strong { (shown(&high)) } }
            }
        }
    }
}

fn history(
    catalogue: &Catalogue,
    who: &Who,
    ticket: &Ticket,
    lots: &HashMap<LotId, Lot>,
    kept: &Kept,
) -> Markup {
    if ticket.weighings.is_empty() {
        return html! {};
    }
    let name = |weighing: &Weighing| {
        let line = ticket.lines.iter().find(|line| line.id == weighing.line);
        line.and_then(|line| catalogue.materials.get(line.material))
            .map_or(t::GONE, |material| material.name.as_str())
    };
    html! {
        section {
            h2 { (t::WEIGHED_SO_FAR) }
            (kept.notice("take-back"))
            ol.weighings {
                @for weighing in ticket.weighings.iter().rev() {
                    li.taken-back[weighing.reversed.is_some()] {
                        span {
                            strong { (fig::weighed_text(weighing.amount)) } " " (name(weighing)) " "
                            @if let Some(lot) = weighing.lot { (lot_link(lots, lot)) }
                            " " span.quiet { (weighing.by) @if let Some(second) = &weighing.checked_by { " / " (second) } }
                            @if let Some(counts_as) = weighing.how.counts_as { " " span.quiet { (t::COUNTS_AS) " " (fig::weighed_text(counts_as)) } }
                            @if weighing.is_late() { " " (ui::badge(Tone::Calm, t::LATE_ENTRY)) }
                            @if let Some(reason) = &weighing.reversed { " " (ui::badge(Tone::Calm, t::TAKEN_BACK)) " " span.quiet { (reason) } }
                        }
                        @if asks_second(ticket, weighing) {
                            " " (ui::badge(Tone::Care, t::TO_CHECK))
                            @if weighing.by != who.actor.name {
                                form.inline method="post" action={ (links::ticket(&ticket.number)) "/confirm" } {
                                    (ui::form_keys(who, kept, "confirm"))
                                    input type="hidden" name="weighing" value=(weighing.id);
                                    button.plain type="submit" { (t::CONFIRM_IT) }
                                }
                            }
                        }
                        @if weighing.reversed.is_none() && ticket.status.is_open() {
                            (ui::fold(t::TAKE_BACK, false, &html! {
                                form.inline method="post" action={ (links::ticket(&ticket.number)) "/take-back" } {
                                    (ui::form_keys(who, kept, "take-back"))
                                    input type="hidden" name="weighing" value=(weighing.id);
                                    label { (t::REASON) " " input name="reason" required autocomplete="off"; }
                                    button.plain type="submit" { (t::TAKE_BACK_IT) }
                                }
                            }))
                        }
                    }
                }
            }
        }
    }
}

/// Whether a second person has still to look at a weighing.
fn asks_second(ticket: &Ticket, weighing: &Weighing) -> bool {
    weighing.stands()
        && weighing.checked_by.is_none()
        && ticket.lines.iter().any(|line| line.id == weighing.line && line.asks.second_check)
}

/// Confirms a weighing as its second person.
pub async fn confirm(State(web): State<Web>, Path(number): Path<String>, sent: Sent) -> Answer {
    let ticket = ticket_of(&web, &sent.who, &number).await?;
    let result = match uuid::Uuid::parse_str(sent.fields.first("weighing")).map(WeighingId::from) {
        Err(_) => Err(app::Error::not_found("weighing", sent.fields.first("weighing"))),
        Ok(weighing) => {
            web.app.weighing_confirm(&sent.change(), WeighingConfirm { ticket: ticket.id, weighing }).await
        }
    };
    match result {
        Ok(_) => Ok(go(&links::bench(&number))),
        Err(error) => {
            let kept = Kept::after("take-back", sent.fields, error)?;
            let ticket = ticket_of(&web, &sent.who, &number).await?;
            shown_bench(&web, &sent.who, &ticket, "", "", &kept).await
        }
    }
}

/// Enters one weighing and leads to the next.
pub async fn weigh(State(web): State<Web>, Path(number): Path<String>, sent: Sent) -> Answer {
    let ticket = ticket_of(&web, &sent.who, &number).await?;
    let second = sent.fields.first("checkedBy").to_owned();
    let result = match weighing(&web, &sent, &ticket).await {
        Ok(input) => web.app.ticket_weigh(&sent.change(), input).await,
        Err(error) => Err(error),
    };
    match result {
        Ok(_) => Ok(next(&number, &second)),
        Err(error) => {
            let line = sent.fields.first("line").to_owned();
            let kept = Kept::after(FORM, sent.fields, error)?;
            // As it stands now: somebody else may have weighed meanwhile.
            let ticket = ticket_of(&web, &sent.who, &number).await?;
            shown_bench(&web, &sent.who, &ticket, &line, &second, &kept).await
        }
    }
}

/// The next weighing, with the second person's name kept: it is mostly the same all day.
fn next(number: &str, second: &str) -> Response {
    go(&links::with_query(&links::bench(number), &[("second", second)]))
}

async fn weighing(web: &Web, sent: &Sent, ticket: &Ticket) -> Result<TicketWeigh, app::Error> {
    let fields = &sent.fields;
    let mut reader = Reader::new(fields);
    let line: Option<u32> = reader.take("line", fields.first("line").parse::<u32>());
    let amount = amount(&mut reader, fields);
    let lot = match fields.text("lot") {
        None => None,
        Some(number) => {
            let found = web.app.lot_by_number(&sent.who.actor, &number).await?;
            if found.is_none() {
                reader.wrong("lot", t::no_such("lot", &number));
            }
            found.map(|lot| lot.id)
        }
    };
    match (line, amount, reader.problems.is_empty()) {
        (Some(line), Some(amount), true) => Ok(TicketWeigh {
            ticket: ticket.id,
            weighings: vec![WeighingWrite {
                line,
                lot,
                amount,
                checked_by: fields.text("checkedBy"),
                reason: fields.text("reason"),
                how: WeighingHow { another: !fields.first("another").is_empty(), ..WeighingHow::default() },
            }],
            on: None,
        }),
        _ => Err(app::Error::Invalid(reader.problems)),
    }
}

/// The weight, in the unit the form showed unless another is written.
fn amount(reader: &mut Reader<'_>, fields: &Fields) -> Option<kernel::Mass> {
    let unit = if fields.first("unit") == "g" { Unit::Gram } else { Unit::Kilogram };
    let quantity = reader.quantity("amount", unit);
    match reader.needed("amount", quantity)? {
        kernel::Quantity::Mass(mass) => Some(mass),
        kernel::Quantity::Volume(_) | kernel::Quantity::Count(_) => {
            reader.wrong("amount", t::FIELD_WANTS_MASS);
            None
        }
    }
}

/// Takes a weighing back.
pub async fn take_back(State(web): State<Web>, Path(number): Path<String>, sent: Sent) -> Answer {
    let ticket = ticket_of(&web, &sent.who, &number).await?;
    let result = match uuid::Uuid::parse_str(sent.fields.first("weighing")).map(WeighingId::from) {
        Err(_) => Err(app::Error::not_found("weighing", sent.fields.first("weighing"))),
        Ok(weighing) => {
            let reason = sent.fields.first("reason").to_owned();
            web.app
                .weighing_take_back(&sent.change(), WeighingTakeBack { ticket: ticket.id, weighing, reason })
                .await
        }
    };
    match result {
        Ok(_) => Ok(go(&links::bench(&number))),
        Err(error) => {
            let kept = Kept::after("take-back", sent.fields, error)?;
            let ticket = ticket_of(&web, &sent.who, &number).await?;
            shown_bench(&web, &sent.who, &ticket, "", "", &kept).await
        }
    }
}
