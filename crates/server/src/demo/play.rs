//! Playing the story: each event goes through the use case a person would use, by that person, at its hour.

use app::{
    App, Change, FillingWrite, LotCount, LotStatusChange, TicketAllocate, TicketCancel, TicketComplete,
    TicketSize, TicketSubject, TicketWeigh, TicketWrite, WeighingWrite,
};
use chrono::{NaiveDate, NaiveTime, TimeDelta};
use domain::{Problem, lots::LotStatus, people::Actor, tickets::Ticket};
use kernel::{AmountError, Count, DecimalMark, Density, Mass, Quantity, ids::LotId, parse_decimal};

use super::story::{Deed, Event, Filled, Story};
use crate::{
    clock::{HandMovedClock, instant_at, moved_by},
    failure::Failure,
};

/// Plays the story with all its dates moved by so many days.
///
/// # Errors
/// [`Failure`] naming the event that could not be played.
pub async fn play(app: &App, clock: &HandMovedClock, story: &Story, days: i64) -> Result<(), Failure> {
    let opening = NaiveTime::from_hms_opt(8, 0, 0).unwrap_or_default();
    let mut day = None;
    let mut minutes = 0;
    for (event, number) in story.events.iter().zip(1_u32..) {
        let on = moved_by(event.on, days);
        minutes = if day == Some(on) { minutes + 5 } else { 0 };
        day = Some(on);
        let instant = instant_at(on, opening, app.settings().time_zone) + TimeDelta::minutes(minutes);
        clock.set(instant);
        let actor = Actor::with_all_capabilities(event.by.clone());
        let scene = Scene { app, change: Change::keyed(&actor, format!("demo/{number:04}")), on, days };
        scene.play(event).await.map_err(|failure| {
            let problem = Problem::at(format!("event {number} of the demo's story"), failure.text());
            Failure::Fault(problem.to_string())
        })?;
    }
    Ok(())
}

/// One event about to be played.
struct Scene<'a> {
    app: &'a App,
    change: Change<'a>,
    on: NaiveDate,
    days: i64,
}

impl Scene<'_> {
    async fn play(&self, event: &Event) -> Result<(), Failure> {
        match &event.deed {
            Deed::WriteTicket { ticket, formula, batch, planned_for, pack, units } => {
                let subject = self.subject(formula, pack.as_deref())?;
                let note =
                    pack.as_ref().zip(*units).map(|(pack, units)| format!("For {units} units of {pack}."));
                let input = TicketWrite {
                    subject,
                    size: TicketSize::Batch(mass(batch)?),
                    planned_for: moved_by(*planned_for, self.days),
                    number: Some(ticket.clone()),
                    note,
                    asks: app::TicketAsks::default(),
                };
                self.app.ticket_write(&self.change, input).await?;
            }
            Deed::Allocate { ticket } => {
                let ticket = self.ticket(ticket).await?;
                let input = TicketAllocate { ticket: ticket.id, choices: Vec::new() };
                self.app.ticket_allocate(&self.change, input).await?;
            }
            Deed::Weigh { ticket, line, lot, amount, checked_by } => {
                let weighing = WeighingWrite {
                    line: *line,
                    lot: Some(self.lot(lot).await?),
                    amount: mass(amount)?,
                    checked_by: Some(checked_by.clone()),
                    reason: None,
                    how: app::WeighingHow::default(),
                };
                self.weigh(&self.ticket(ticket).await?, vec![weighing]).await?;
            }
            Deed::WeighRest { ticket, checked_by } => {
                let ticket = self.ticket(ticket).await?;
                let rest = rest(&ticket, checked_by);
                // Nothing is left when a load that was broken off had come past here.
                if !rest.is_empty() {
                    self.weigh(&ticket, rest).await?;
                }
            }
            Deed::Complete { ticket, yielded, lot, density, ph, units } => {
                let input = TicketComplete {
                    ticket: self.ticket(ticket).await?.id,
                    yield_mass: mass(yielded)?,
                    lot_number: Some(lot.clone()),
                    density: density.as_deref().map(kg_per_litre).transpose()?,
                    fillings: units.iter().map(|filled| self.filling(filled)).collect::<Result<_, _>>()?,
                    note: ph.as_ref().map(|ph| format!("pH {ph}")),
                    on: Some(self.on),
                };
                self.app.ticket_complete(&self.change, input).await?;
            }
            Deed::SetLotStatus { lot, status, reason } => {
                let status = LotStatus::ALL
                    .into_iter()
                    .find(|known| known.words() == status)
                    .ok_or_else(|| Failure::Fault(format!("there is no lot status {status}")))?;
                let input = LotStatusChange {
                    lot: self.lot(lot).await?,
                    status,
                    reason: Some(reason.clone()),
                    restriction: None,
                };
                self.app.lot_status_change(&self.change, input).await?;
            }
            Deed::Count { lot, found, reason } => {
                let input = LotCount {
                    lot: self.lot(lot).await?,
                    found: Quantity::parse(found, None, DecimalMark::Point)?,
                    reason: reason.clone(),
                    cause: None,
                    on: Some(self.on),
                };
                self.app.lot_count(&self.change, input).await?;
            }
            Deed::Cancel { ticket, reason } => {
                let input = TicketCancel { ticket: self.ticket(ticket).await?.id, reason: reason.clone() };
                self.app.ticket_cancel(&self.change, input).await?;
            }
        }
        Ok(())
    }

    fn subject(&self, formula: &str, pack: Option<&str>) -> Result<TicketSubject, Failure> {
        let catalogue = self.app.catalogue(self.change.actor)?;
        if let Some(code) = pack {
            let pack = catalogue.packs.by_code(code).ok_or_else(|| app::Error::not_found("pack", code))?;
            return Ok(TicketSubject::Pack(pack.id));
        }
        let found = catalogue.formulas.by_code(formula);
        Ok(TicketSubject::Formula(found.ok_or_else(|| app::Error::not_found("formula", formula))?.id))
    }

    fn filling(&self, filled: &Filled) -> Result<FillingWrite, Failure> {
        let catalogue = self.app.catalogue(self.change.actor)?;
        let pack = catalogue
            .packs
            .by_code(&filled.pack)
            .ok_or_else(|| app::Error::not_found("pack", &filled.pack))?;
        Ok(FillingWrite {
            pack: pack.id,
            filled: Count::from_pieces(filled.filled.into())?,
            spoiled: Vec::new(),
            lot_number: None,
            counts: app::FillingCounts::default(),
        })
    }

    async fn ticket(&self, number: &str) -> Result<Ticket, Failure> {
        let found = self.app.ticket_by_number(self.change.actor, number).await?;
        Ok(found.ok_or_else(|| app::Error::not_found("ticket", number))?)
    }

    async fn lot(&self, number: &str) -> Result<LotId, Failure> {
        let found = self.app.lot_by_number(self.change.actor, number).await?;
        Ok(found.ok_or_else(|| app::Error::not_found("lot", number))?.id)
    }

    async fn weigh(&self, ticket: &Ticket, weighings: Vec<WeighingWrite>) -> Result<(), Failure> {
        let input = TicketWeigh { ticket: ticket.id, weighings, on: Some(self.on) };
        self.app.ticket_weigh(&self.change, input).await?;
        Ok(())
    }
}

/// A weighing for each promise to a line that is not weighed yet; a utility, to which no lot is promised, at its target.
fn rest(ticket: &Ticket, checked_by: &str) -> Vec<WeighingWrite> {
    let mut weighings = Vec::new();
    for line in ticket.lines.iter().filter(|line| ticket.weighed_on(line.id).is_zero()) {
        let weighing = |lot, amount| WeighingWrite {
            line: line.position,
            lot,
            amount,
            checked_by: Some(checked_by.to_owned()),
            reason: None,
            how: app::WeighingHow::default(),
        };
        let promised: Vec<(LotId, Mass)> = ticket
            .allocations
            .iter()
            .filter(|allocation| allocation.line == line.id)
            .map(|allocation| (allocation.lot, Mass::from_micrograms(allocation.quantity.raw())))
            .collect();
        if promised.is_empty() {
            weighings.push(weighing(None, line.target));
        }
        weighings.extend(promised.into_iter().map(|(lot, amount)| weighing(Some(lot), amount)));
    }
    weighings
}

fn mass(text: &str) -> Result<Mass, Failure> {
    crate::cli::values::mass(text).map_err(Failure::Fault)
}

fn kg_per_litre(text: &str) -> Result<Density, AmountError> {
    Density::from_kg_per_litre(parse_decimal(text, DecimalMark::Point)?)
}
