//! One lot: what may be done with it, every movement, where it came from and went, and the forms that change it.

use app::{LotCount, LotStatusChange, LotTake, MovementReverse, TakenFor};
use axum::extract::{Path, State};
use domain::{
    lots::{Lot, LotStatus},
    people::Capability,
    stock::{Movement, MovementKind},
};
use kernel::{Quantity, ids::MovementId};
use maud::{Markup, html};

use crate::{
    Web,
    access::{Answer, Sent, Who},
    fields::{Reader, usual_unit},
    figures as fig,
    frame::{self, Place},
    links,
    pages::{material_link, trace},
    respond::{PageError, go, shown},
    text as t,
    ui::{self, Field, Kept, Tone},
};

/// Movements on one page.
const MOVEMENTS: u32 = 100;

/// A lot.
pub async fn page(State(web): State<Web>, who: Who, Path(number): Path<String>) -> Answer {
    let lot = lot_of(&web, &who, &number).await?;
    shown_lot(&web, &who, &lot, &Kept::default()).await
}

async fn lot_of(web: &Web, who: &Who, number: &str) -> Result<Lot, PageError> {
    web.app.lot_by_number(&who.actor, number).await?.ok_or_else(|| PageError::not_found("lot", number))
}

async fn shown_lot(web: &Web, who: &Who, lot: &Lot, kept: &Kept) -> Answer {
    let catalogue = web.app.catalogue(&who.actor)?;
    let material = catalogue
        .materials
        .get(lot.material)
        .ok_or_else(|| PageError::not_found("material", &lot.material.to_string()))?;
    let movements = web.app.movements_of_lot(&who.actor, lot.id, None, MOVEMENTS).await?;
    let because = lot.unusable_on(who.today, material);
    let body = html! {
        p.crumb { a href="/shelf" { (t::SHELF) } " › " (material_link(&catalogue, lot.material)) }
        h1 { (t::LOT) " " span.code { (lot.number) } }
        p.state {
            @if !lot.on_hand.is_positive() { (ui::badge(Tone::Calm, t::USED_UP)) }
            @else if because.is_empty() { (ui::lot_status(lot.status)) " " (ui::badge(Tone::Good, t::USABLE_TODAY)) }
            @else {
                @if lot.status == LotStatus::Released { (ui::lot_status(lot.status)) " " }
                (ui::unusable(&because))
            }
        }
        @if let Some(note) = &lot.note { p.lead { (note) } }
        section.headline aria-label=(t::ON_HAND) {
            div.big {
                p.name { (t::ON_HAND) }
                p.figure { (fig::quantity(lot.on_hand)) }
                p.quiet { (t::WORTH) " " (fig::money_or_gap(lot.value)) }
            }
            dl.facts {
                (ui::fact(t::PROMISED, &fig::quantity(lot.reserved)))
                (ui::fact(t::LAST_DAY, &fig::date_or_dash(lot.last_day_of_use(material))))
                (ui::fact(t::EXPIRES, &fig::date_or_dash(lot.expires_on)))
                (ui::fact(t::RETEST_ON, &fig::date_or_dash(lot.retest_on)))
                (ui::fact(t::OPENED, &fig::date_or_dash(lot.opened_on)))
                (ui::fact(t::RECEIVED, &fig::date(lot.received_on)))
                (ui::fact(t::MADE_ON, &fig::date_or_dash(lot.made_on)))
                (ui::fact(t::CAME_IN, &html! { (fig::quantity(lot.received)) ", " (fig::money_or_gap(lot.received_value)) }))
                @if let Some(density) = lot.density { (ui::fact(t::DENSITY, &fig::decimal(density.kg_per_litre(), "kg/L"))) }
                @if let Some(active) = lot.active_matter { (ui::fact(t::ACTIVE, &fig::percent(active))) }
                @if let Some(place) = &lot.location { (ui::fact(t::LOCATION, &html! { (place) })) }
            }
        }
        (forms(who, lot, kept))
        h2 { (t::MOVEMENTS) }
        (movement_table(who, lot, &movements.rows, kept))
        @if movements.has_more { p.quiet { (t::MOVEMENTS_CUT) } }
        h2 #trace { (t::TRACE) }
        (trace::trace(web, who, &catalogue, lot).await?)
    };
    Ok(shown(kept.status(), frame::page(who, Place::Shelf, &lot.number, &body)))
}

fn forms(who: &Who, lot: &Lot, kept: &Kept) -> Markup {
    let at = links::lot(&lot.number);
    let on_hand = lot.on_hand.figure().to_string();
    let unit = lot.on_hand.dimension().unit();
    let next: Vec<LotStatus> =
        LotStatus::ALL.into_iter().filter(|status| lot.status.may_become(*status)).collect();
    html! {
        @if who.may(Capability::ReleaseAndReject) && !next.is_empty() {
            (ui::fold(t::RELEASE_OR_REJECT, kept.is("status") || lot.status == LotStatus::Quarantine, &html! {
                (kept.notice("status"))
                form.inline method="post" action={ (at) "/status" } {
                    (ui::form_keys(who, kept, "status"))
                    (Field::text("status", "reason", t::REASON).hint(t::REASON_STATUS_HINT).show(kept))
                    div.buttons {
                        @for status in &next {
                            button.plain[*status != LotStatus::Released] type="submit" name="status" value=(status.words()) { (t::become_status(*status)) }
                        }
                    }
                }
            }))
        }
        @if who.may(Capability::PlanAndMake) {
            (ui::fold(t::COUNT_IT, kept.is("count"), &html! {
                (kept.notice("count"))
                form.inline method="post" action={ (at) "/count" } {
                    (ui::form_keys(who, kept, "count"))
                    (Field::amount("count", "found", t::FOUND).start(&on_hand).hint(unit).needed().show(kept))
                    (Field::text("count", "reason", t::WHY_DIFFERENT).needed().show(kept))
                    (Field::date("count", "on", t::DAY).start(&who.today.to_string()).needed().show(kept))
                    button type="submit" { (t::ENTER_COUNT) }
                }
            }))
            (ui::fold(t::TAKE_SOME, kept.is("take"), &html! {
                (kept.notice("take"))
                form.inline method="post" action={ (at) "/take" } {
                    (ui::form_keys(who, kept, "take"))
                    (Field::amount("take", "quantity", t::HOW_MUCH).hint(unit).needed().show(kept))
                    (Field::text("take", "reason", t::REASON).needed().show(kept))
                    (Field::date("take", "on", t::DAY).start(&who.today.to_string()).needed().show(kept))
                    div.buttons {
                        button type="submit" name="purpose" value="sample" { (t::TAKE_SAMPLE) }
                        button.plain type="submit" name="purpose" value="write-off" { (t::WRITE_OFF) }
                    }
                }
            }))
        }
    }
}

fn movement_table(who: &Who, lot: &Lot, movements: &[Movement], kept: &Kept) -> Markup {
    let dimension = lot.on_hand.dimension();
    let mut balance = 0_i64;
    let rows: Vec<(&Movement, Quantity)> = movements
        .iter()
        .map(|movement| {
            balance = balance.saturating_add(movement.quantity.raw());
            (movement, Quantity::from_raw(balance, dimension))
        })
        .collect();
    let reversible = |movement: &Movement| {
        who.may(Capability::Administer)
            && matches!(
                movement.kind,
                MovementKind::Adjustment
                    | MovementKind::Sample
                    | MovementKind::WriteOff
                    | MovementKind::Receipt
            )
            && !movements.iter().any(|other| other.reverses == Some(movement.id))
    };
    html! {
        (kept.notice("reverse"))
        (ui::table(t::MOVEMENTS, &html! {
            th { (t::DAY) } th { (t::WHAT) } th.num { (t::AMOUNT) } th.num { (t::BALANCE) } th.num { (t::VALUE) } th { (t::WHO_AND_WHY) } td {}
        }, &html! {
            @for (movement, balance) in &rows {
                tr {
                    td { (fig::date(movement.on)) }
                    td { (t::sentence(movement.kind.words())) }
                    td.num { (fig::quantity(movement.quantity)) }
                    td.num { (fig::quantity(*balance)) }
                    td.num { (fig::money_or_gap(movement.value)) }
                    td { (movement.by) @if let Some(reason) = &movement.reason { br; span.quiet { (reason) } } }
                    td {
                        @if reversible(movement) {
                            (ui::fold(t::REVERSE, false, &html! {
                                form.stack method="post" action={ (links::lot(&lot.number)) "/reverse" } {
                                    (ui::form_keys(who, kept, "reverse"))
                                    input type="hidden" name="movement" value=(movement.id);
                                    label { (t::REASON) " " input name="reason" required autocomplete="off"; }
                                    button.plain type="submit" { (t::REVERSE_IT) }
                                }
                            }))
                        }
                    }
                }
            }
        }))
    }
}

/// After a change, or what stood in its way.
async fn ended(
    web: &Web,
    sent: Sent,
    number: &str,
    form: &'static str,
    result: Result<(), app::Error>,
) -> Answer {
    match result {
        Ok(()) => Ok(go(&links::lot(number))),
        Err(error) => {
            let kept = Kept::after(form, sent.fields, error)?;
            let lot = lot_of(web, &sent.who, number).await?;
            shown_lot(web, &sent.who, &lot, &kept).await
        }
    }
}

/// Releases, holds or rejects.
pub async fn status(State(web): State<Web>, Path(number): Path<String>, sent: Sent) -> Answer {
    let lot = lot_of(&web, &sent.who, &number).await?;
    let status = LotStatus::ALL.into_iter().find(|status| status.words() == sent.fields.first("status"));
    let result = match status {
        None => Err(app::Error::invalid("status", t::FIELD_NEEDED)),
        Some(status) => {
            let input = LotStatusChange {
                lot: lot.id,
                status,
                reason: sent.fields.text("reason"),
                restriction: None,
            };
            web.app.lot_status_change(&sent.change(), input).await.map(drop)
        }
    };
    ended(&web, sent, &number, "status", result).await
}

/// Enters a count.
pub async fn count(State(web): State<Web>, Path(number): Path<String>, sent: Sent) -> Answer {
    let lot = lot_of(&web, &sent.who, &number).await?;
    let mut reader = Reader::new(&sent.fields);
    let found = reader.quantity("found", usual_unit(lot.on_hand.dimension()));
    let found = reader.needed("found", found);
    let on = reader.date("on");
    let problems = reader.problems;
    let result = match found {
        Some(found) if problems.is_empty() => {
            let input = LotCount {
                lot: lot.id,
                found,
                reason: sent.fields.first("reason").to_owned(),
                cause: None,
                on,
            };
            web.app.lot_count(&sent.change(), input).await.map(drop)
        }
        _ => Err(app::Error::Invalid(problems)),
    };
    ended(&web, sent, &number, "count", result).await
}

/// Takes a sample, or writes off.
pub async fn take(State(web): State<Web>, Path(number): Path<String>, sent: Sent) -> Answer {
    let lot = lot_of(&web, &sent.who, &number).await?;
    let mut reader = Reader::new(&sent.fields);
    let quantity = reader.quantity("quantity", usual_unit(lot.on_hand.dimension()));
    let quantity = reader.needed("quantity", quantity);
    let on = reader.date("on");
    let problems = reader.problems;
    let purpose =
        if sent.fields.first("purpose") == "write-off" { TakenFor::WriteOff } else { TakenFor::Sample };
    let result = match quantity {
        Some(quantity) if problems.is_empty() => {
            let input = LotTake {
                lot: lot.id,
                purpose,
                quantity,
                reason: sent.fields.first("reason").to_owned(),
                cause: None,
                container: None,
                on,
            };
            web.app.lot_take(&sent.change(), input).await.map(drop)
        }
        _ => Err(app::Error::Invalid(problems)),
    };
    ended(&web, sent, &number, "take", result).await
}

/// Undoes a movement.
pub async fn reverse(State(web): State<Web>, Path(number): Path<String>, sent: Sent) -> Answer {
    let movement = uuid::Uuid::parse_str(sent.fields.first("movement")).map(MovementId::from);
    let result = match movement {
        Err(_) => Err(app::Error::not_found("movement", sent.fields.first("movement"))),
        Ok(movement) => {
            let input = MovementReverse { movement, reason: sent.fields.first("reason").to_owned() };
            web.app.movement_reverse(&sent.change(), input).await.map(drop)
        }
    };
    ended(&web, sent, &number, "reverse", result).await
}
