//! Why a finished batch did not cost what it should have.

use std::collections::{BTreeMap, HashSet};

use chrono::NaiveDate;
use domain::{
    lots::Lot,
    materials::MaterialKind,
    people::{Actor, Capability},
    stock::{Movement, MovementKind},
    tickets::{Completion, Ticket},
};
use engine::{
    CostRequest, Gap, MaterialRef, View,
    basis::{Basis, materials_priced},
    variance::{BatchMade, BatchVariances, UsedInBatch, batch_variances},
};
use kernel::{
    Exact, Money,
    ids::{LotId, MaterialId, MovementId, TicketId},
};

use crate::{App, Error, require};

/// A finished batch against its standard.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TicketVariances {
    /// The ticket's number.
    pub number: String,
    /// What it is held against.
    pub basis: Basis,
    /// Standards or prices of this day.
    pub as_of: NaiveDate,
    /// Whether the basis was taken because no standard was frozen by the day.
    pub for_want_of_standards: bool,
    /// The comparison; what is missing for it where there is none.
    pub found: Result<BatchVariances, Vec<Gap>>,
    /// The value its lot was made with; `None` when that is not known.
    pub posted: Option<Money>,
}

impl App {
    /// A finished batch against what it should have cost on a basis on a day. Without a basis it is held against the standards frozen
    /// by the day, and where some are missing against replacement; without a day it is the day it was completed.
    ///
    /// # Errors
    /// [`Error::Forbidden`], [`Error::NotFound`], [`Error::Invalid`] for a ticket that is not complete, or when the database cannot be
    /// read.
    pub async fn ticket_variances(
        &self,
        actor: &Actor,
        ticket: TicketId,
        basis: Option<Basis>,
        as_of: Option<NaiveDate>,
    ) -> Result<TicketVariances, Error> {
        require(actor, Capability::Look)?;
        let catalogue = self.catalogue(actor)?;
        let found = store::tickets::tickets_get(self.store(), &[ticket]).await?;
        let ticket = found.into_iter().next().ok_or_else(|| Error::not_found("ticket", ticket))?;
        let Some(completion) = &ticket.completion else {
            let message = format!(
                "ticket {} is {}; only a complete one has variances",
                ticket.number,
                ticket.status.words()
            );
            return Err(Error::invalid("ticket", message));
        };
        let as_of = as_of.unwrap_or(completion.on);
        let trim_use = self.trim_use();
        let view = View::plain(&catalogue).with_trim_use(&trim_use);
        let (made, not_valued, posted) = self.batch_made(&view, &ticket, completion).await?;

        let request = CostRequest::version(ticket.version, as_of).at_batch(ticket.batch);
        let mut materials = materials_priced(&view, &request)?;
        for (pack, _) in &made.filled {
            let components =
                catalogue.packs.get(*pack).map(|pack| pack.components.iter().map(|c| c.material));
            materials.extend(components.into_iter().flatten());
        }
        let book = self.history_book(&catalogue, &materials).await?;
        let view = view.with_history(&book);
        let ask = |basis| batch_variances(&view, &made, basis, as_of);
        let (basis, for_want_of_standards, found) = match basis {
            Some(basis) => (basis, false, ask(basis)?),
            None => match ask(Basis::Standard)? {
                Err(gaps) if gaps.iter().any(|gap| matches!(gap, Gap::NoStandard { .. })) => {
                    (Basis::Replacement, true, ask(Basis::Replacement)?)
                }
                found => (Basis::Standard, false, found),
            },
        };
        let found = match found {
            Ok(found) if not_valued.is_empty() => Ok(found),
            Ok(_) => Err(not_valued),
            Err(gaps) => Err(not_valued.into_iter().chain(gaps).collect()),
        };
        Ok(TicketVariances { number: ticket.number, basis, as_of, for_want_of_standards, found, posted })
    }

    /// What the ledger says of a finished batch; the lots among it that nobody knows the value of, and what its own lot was made
    /// with.
    async fn batch_made(
        &self,
        view: &View<'_>,
        ticket: &Ticket,
        completion: &Completion,
    ) -> Result<(BatchMade, Vec<Gap>, Option<Money>), Error> {
        // One transaction, so that lots and movements belong together.
        let tx = self.store().begin_read().await?;
        let moved = store::stock::movements_of_ticket(&tx, ticket.id).await?;
        let taken_back: HashSet<MovementId> = moved.iter().filter_map(|m| m.reverses).collect();
        let stayed: Vec<&Movement> =
            moved.iter().filter(|m| m.reverses.is_none() && !taken_back.contains(&m.id)).collect();
        let mut ids: Vec<LotId> = stayed.iter().map(|m| m.lot).collect();
        ids.sort_unstable();
        ids.dedup();
        let lots = store::lots::lots_get(&tx, &ids).await?;
        let lot_of = |id: LotId| lots.iter().find(|lot| lot.id == id);
        let posted = lot_of(completion.lot).and_then(|lot| lot.received_value);

        let mut used = Used::default();
        for weighing in ticket.weighings.iter().filter(|w| w.reversed.is_none()) {
            let Some(line) = ticket.lines.iter().find(|line| line.id == weighing.line) else { continue };
            let movement = weighing.movement.and_then(|id| stayed.iter().find(|m| m.id == id));
            let value = match (weighing.lot, movement) {
                (None, _) => None,
                (Some(lot), movement) => Some(used.value(lot_of(lot), movement.copied())),
            };
            used.ingredients.push(UsedInBatch {
                material: line.material,
                amount: weighing.amount.to_exact(),
                value,
            });
        }
        for movement in stayed.iter().filter(|m| m.kind == MovementKind::Filling) {
            let Some(lot) = lot_of(movement.lot) else { continue };
            if view.material(lot.material)?.kind != MaterialKind::PackagingComponent {
                continue;
            }
            let value = Some(used.value(Some(lot), Some(movement)));
            let amount = -movement.quantity.to_exact();
            used.components.push(UsedInBatch { material: lot.material, amount, value });
        }
        let mut not_valued = Vec::with_capacity(used.not_valued.len());
        for (material, lots) in used.not_valued {
            not_valued
                .push(Gap::NotValued { material: MaterialRef::from(&**view.material(material)?), lots });
        }
        let made = BatchMade {
            version: ticket.version,
            planned: ticket.batch,
            yielded: completion.yield_mass,
            on: completion.on,
            ingredients: used.ingredients,
            filled: completion.fillings.iter().map(|f| (f.pack, f.filled.to_exact())).collect(),
            components: used.components,
        };
        Ok((made, not_valued, posted))
    }
}

/// What went in, while it is gathered.
#[derive(Default)]
struct Used {
    ingredients: Vec<UsedInBatch>,
    components: Vec<UsedInBatch>,
    /// Lots without a value, by material.
    not_valued: BTreeMap<MaterialId, Vec<String>>,
}

impl Used {
    /// What left a lot with a movement; where nobody knows it the lot is noted.
    fn value(&mut self, lot: Option<&Lot>, movement: Option<&Movement>) -> Exact {
        if let Some(value) = movement.and_then(|movement| movement.value) {
            return -value.to_exact();
        }
        if let Some(lot) = lot {
            let lots = self.not_valued.entry(lot.material).or_default();
            if !lots.contains(&lot.number) {
                lots.push(lot.number.clone());
            }
        }
        Exact::ZERO
    }
}
