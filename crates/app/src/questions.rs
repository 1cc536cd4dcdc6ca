//! Questions: they read the catalogue and the shelf and write nothing.

use std::{collections::BTreeMap, sync::Arc};

use chrono::NaiveDate;
use domain::{
    Catalogue,
    lots::Lot,
    materials::Material,
    people::{Actor, Capability},
    tickets::Ticket,
};
use engine::{
    CostRequest, CostSheet, View,
    outlook::{Outlook, OutlookRequest, outlook},
    run_check::{RunCheck, RunRequest, run_check},
    run_choice::{RunChoice, run_choices},
    shelf::{Availability, Shelf, availability},
};
use kernel::{
    ids::{AuditId, LotId, MaterialId, TicketId},
    limits::RUNS_ASKED_MAX,
};
use store::{
    Page,
    audit::{AuditEntry, AuditFilter},
    lots::LotFilter,
    tickets::TicketFilter,
};

use crate::{App, Error, require};

/// One material on the shelf.
#[derive(Debug, Clone)]
pub struct ShelfRow {
    /// The material.
    pub material: Arc<Material>,
    /// Its lots and what can be taken on the day.
    pub availability: Availability,
}

impl App {
    /// What a formula version or a pack costs.
    ///
    /// # Errors
    /// [`Error::Forbidden`]; [`Error::Invalid`] when there is no answer at all. What is merely missing is a gap in the answer.
    pub fn cost_sheet(&self, actor: &Actor, request: &CostRequest) -> Result<CostSheet, Error> {
        let catalogue = self.catalogue(actor)?;
        let trim_use = self.trim_use();
        Ok(engine::cost_sheet(&View::plain(&catalogue).with_trim_use(&trim_use), request)?)
    }

    /// Whether a run can be made, from which lots, what is short, what to buy.
    ///
    /// # Errors
    /// As [`App::cost_sheet`], or when the database cannot be read.
    pub async fn run_check(&self, actor: &Actor, request: &RunRequest) -> Result<RunCheck, Error> {
        let (catalogue, shelf) = self.whole_shelf(actor).await?;
        let trim_use = self.trim_use();
        Ok(run_check(&View::plain(&catalogue).with_trim_use(&trim_use), &shelf, request)?)
    }

    /// Which of several runs can be made, each alone and after those before it.
    ///
    /// # Errors
    /// As [`App::run_check`]; [`Error::Invalid`] for more runs than are checked in one go.
    pub async fn run_checks(&self, actor: &Actor, requests: &[RunRequest]) -> Result<Vec<RunChoice>, Error> {
        if requests.len() > RUNS_ASKED_MAX {
            let text =
                format!("these are {}; at most {RUNS_ASKED_MAX} runs are checked at once", requests.len());
            return Err(Error::invalid("runs", text));
        }
        let (catalogue, shelf) = self.whole_shelf(actor).await?;
        let trim_use = self.trim_use();
        Ok(run_choices(&View::plain(&catalogue).with_trim_use(&trim_use), &shelf, requests)?)
    }

    /// What the coming weeks do to the shelf.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn outlook(&self, actor: &Actor, until: Option<NaiveDate>) -> Result<Outlook, Error> {
        let (catalogue, shelf) = self.whole_shelf(actor).await?;
        let request = OutlookRequest { today: self.today(), until };
        let trim_use = self.trim_use();
        Ok(outlook(&View::plain(&catalogue).with_trim_use(&trim_use), &shelf, request)?)
    }

    /// The shelf on a day: every stocked material that has lots, or one material, with what can be taken and what stands against
    /// the rest. `product` is what is to be made, by the material made: lots kept for other products are then not usable.
    ///
    /// # Errors
    /// [`Error::Forbidden`], [`Error::NotFound`], or when the database cannot be read.
    pub async fn shelf(
        &self,
        actor: &Actor,
        material: Option<MaterialId>,
        day: NaiveDate,
        product: Option<MaterialId>,
    ) -> Result<Vec<ShelfRow>, Error> {
        let catalogue = self.catalogue(actor)?;
        let lots = match material {
            None => store::lots::lots_on_shelf(self.store()).await?,
            Some(id) => {
                catalogue.materials.get(id).ok_or_else(|| Error::not_found("material", id))?;
                store::lots::lots_of_materials(self.store(), &[id]).await?
            }
        };
        let mut by_material: BTreeMap<MaterialId, Vec<Lot>> = BTreeMap::new();
        for lot in lots.into_iter().filter(|lot| lot.on_hand.is_positive()) {
            by_material.entry(lot.material).or_default().push(lot);
        }
        Ok(catalogue
            .materials
            .iter()
            .filter_map(|material| {
                let lots = by_material.get(&material.id)?;
                let availability = availability(material, lots, day, &[], product);
                Some(ShelfRow { material: Arc::clone(material), availability })
            })
            .collect())
    }

    /// Everything on the shelf and every open ticket, as the answers need it.
    pub(crate) async fn whole_shelf(&self, actor: &Actor) -> Result<(Arc<Catalogue>, Shelf), Error> {
        let catalogue = self.catalogue(actor)?;
        // One transaction, so that lots and promises belong together.
        let tx = self.store().begin_read().await?;
        let lots = store::lots::lots_on_shelf(&tx).await?;
        let tickets = store::tickets::tickets_open(&tx).await?;
        Ok((catalogue, Shelf { lots, tickets }))
    }

    /// A page of lots, in the order they were entered.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn lots_page(
        &self,
        actor: &Actor,
        filter: &LotFilter,
        after: Option<LotId>,
        limit: u32,
    ) -> Result<Page<Lot>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::lots::lots_page(self.store(), filter, after, limit).await?)
    }

    /// Lots by identity, in no particular order.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn lots_get(&self, actor: &Actor, ids: &[LotId]) -> Result<Vec<Lot>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::lots::lots_get(self.store(), ids).await?)
    }

    /// The lots of some materials that hold something.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn lots_of_materials(
        &self,
        actor: &Actor,
        materials: &[MaterialId],
    ) -> Result<Vec<Lot>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::lots::lots_of_materials(self.store(), materials).await?)
    }

    /// The lot of that number, letter case aside.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn lot_by_number(&self, actor: &Actor, number: &str) -> Result<Option<Lot>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::lots::lot_by_number(self.store(), number).await?)
    }

    /// The lots of those numbers, letter case aside, in no particular order.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn lots_by_number(&self, actor: &Actor, numbers: &[String]) -> Result<Vec<Lot>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::lots::lots_by_number(self.store(), numbers).await?)
    }

    /// A page of tickets, in the order they were written.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn tickets_page(
        &self,
        actor: &Actor,
        filter: &TicketFilter,
        after: Option<TicketId>,
        limit: u32,
    ) -> Result<Page<Ticket>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::tickets::tickets_page(self.store(), filter, after, limit).await?)
    }

    /// Tickets by identity, in no particular order.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn tickets_get(&self, actor: &Actor, ids: &[TicketId]) -> Result<Vec<Ticket>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::tickets::tickets_get(self.store(), ids).await?)
    }

    /// The ticket of that number, letter case aside.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn ticket_by_number(&self, actor: &Actor, number: &str) -> Result<Option<Ticket>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::tickets::ticket_by_number(self.store(), number).await?)
    }

    /// Which ticket has that number, letter case aside.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn ticket_id_by_number(&self, actor: &Actor, number: &str) -> Result<Option<TicketId>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::tickets::ticket_id_by_number(self.store(), number).await?)
    }

    /// The tickets that weighed from a lot: where it went.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn tickets_using_lot(&self, actor: &Actor, lot: LotId) -> Result<Vec<Ticket>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::tickets::tickets_using_lot(self.store(), lot).await?)
    }

    /// The tickets that weighed from any of some lots, each once.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn tickets_using_lots(&self, actor: &Actor, lots: &[LotId]) -> Result<Vec<Ticket>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::tickets::tickets_using_lots(self.store(), lots).await?)
    }

    /// How many lots a list has in all.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn lots_count(&self, actor: &Actor, filter: &LotFilter) -> Result<u64, Error> {
        require(actor, Capability::Look)?;
        Ok(store::lots::lots_count(self.store(), filter).await?)
    }

    /// How many tickets a list has in all.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn tickets_count(&self, actor: &Actor, filter: &TicketFilter) -> Result<u64, Error> {
        require(actor, Capability::Look)?;
        Ok(store::tickets::tickets_count(self.store(), filter).await?)
    }

    /// A page of the audit trail, newest first.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn audit_page(
        &self,
        actor: &Actor,
        filter: &AuditFilter,
        after: Option<AuditId>,
        limit: u32,
    ) -> Result<Page<AuditEntry>, Error> {
        require(actor, Capability::Administer)?;
        Ok(store::audit::audit_page(self.store(), filter, after, limit).await?)
    }
}
