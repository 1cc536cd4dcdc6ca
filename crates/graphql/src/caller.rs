//! Who asks, and what one request has at hand: the catalogue as it was when first looked at, and the loaders.

use std::sync::{Arc, Mutex, PoisonError};

use app::{App, Change};
use async_graphql::{Context, ID};
use chrono::NaiveDate;
use domain::{
    Catalogue, formulas::Formula, lots::Lot, materials::Material, packs::Pack, people::Actor,
    quotations::Quotation, suppliers::Supplier, tickets::Ticket,
};
use kernel::ids::{LotId, QuotationId, TicketId};

use crate::{
    errors::{Failure, Result, internal},
    ids::{Which, read},
    loaders::Loaders,
    scalars::Date,
};

/// The person or programme a request comes from; new for each request.
pub struct Caller {
    actor: Arc<Actor>,
    request_id: Option<String>,
    catalogue: Mutex<Option<Arc<Catalogue>>>,
}

impl Caller {
    /// A caller. The request id, where there is one, stands on every error.
    pub fn new(actor: Actor, request_id: Option<String>) -> Self {
        Self { actor: Arc::new(actor), request_id, catalogue: Mutex::new(None) }
    }

    /// Who asks.
    pub fn actor(&self) -> &Actor {
        &self.actor
    }

    /// The loaders for a request of this caller.
    pub(crate) fn loaders(&self, house: &Arc<App>) -> Loaders {
        Loaders::new(house, &self.actor)
    }

    /// What the request is called in the log.
    pub fn request_id(&self) -> Option<&str> {
        self.request_id.as_deref()
    }
}

/// What resolvers need of their context.
pub(crate) trait Desk<'a> {
    /// The house.
    fn house(&self) -> Result<&'a Arc<App>>;
    /// Who asks.
    fn caller(&self) -> Result<&'a Caller>;

    /// Who asks.
    fn actor(&self) -> Result<&'a Actor> {
        Ok(self.caller()?.actor())
    }

    /// The catalogue: the same for the whole of a query.
    fn catalogue(&self) -> Result<Arc<Catalogue>> {
        let (house, caller) = (self.house()?, self.caller()?);
        let mut kept = caller.catalogue.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(catalogue) = kept.as_ref() {
            return Ok(Arc::clone(catalogue));
        }
        let catalogue = house.catalogue(caller.actor())?;
        *kept = Some(Arc::clone(&catalogue));
        Ok(catalogue)
    }

    /// Loads lots and tickets many at a time.
    fn loaders(&self) -> Result<&'a Arc<Loaders>>;

    /// A change under the client's key.
    fn change(&self, request_key: String) -> Result<Change<'a>> {
        Ok(Change::keyed(self.actor()?, request_key))
    }

    /// What a change made may stand in another catalogue than the one at hand.
    fn catalogue_forget(&self) -> Result<()> {
        *self.caller()?.catalogue.lock().unwrap_or_else(PoisonError::into_inner) = None;
        Ok(())
    }

    /// The day asked about: today at the site where none is named.
    fn day(&self, day: Option<Date>) -> Result<NaiveDate> {
        Ok(match day {
            Some(day) => day.0,
            None => self.house()?.today(),
        })
    }
}

impl<'a> Desk<'a> for Context<'a> {
    fn house(&self) -> Result<&'a Arc<App>> {
        Ok(self.data::<Arc<App>>()?)
    }

    fn caller(&self) -> Result<&'a Caller> {
        self.data_opt::<Caller>().ok_or_else(|| internal("a request came without its caller"))
    }

    fn loaders(&self) -> Result<&'a Arc<Loaders>> {
        self.data_opt::<Arc<Loaders>>().ok_or_else(|| internal("a request came without its loaders"))
    }
}

/// Finds what a [`Which`] names in the catalogue.
pub(crate) trait Find {
    fn material(&self, which: &Which, place: &str) -> Result<Arc<Material>>;
    fn supplier(&self, which: &Which, place: &str) -> Result<Arc<Supplier>>;
    fn formula(&self, which: &Which, place: &str) -> Result<Arc<Formula>>;
    fn pack_named(&self, which: &Which, place: &str) -> Result<Arc<Pack>>;
    fn quotation_of_id(&self, id: &ID, place: &str) -> Result<Arc<Quotation>>;
}

macro_rules! find {
    ($method:ident, $table:ident, $row:ty, $what:literal) => {
        fn $method(&self, which: &Which, place: &str) -> Result<Arc<$row>> {
            let (found, key) = match which {
                Which::Id(id) => (self.$table.get(read(id, &format!("{place}.id"))?), id.to_string()),
                Which::Code(code) => (self.$table.by_code(code), shortened(code)),
            };
            found.cloned().ok_or_else(|| app::Error::not_found($what, key).into())
        }
    };
}

impl Find for Catalogue {
    find!(material, materials, Material, "material");
    find!(supplier, suppliers, Supplier, "supplier");
    find!(formula, formulas, Formula, "formula");
    find!(pack_named, packs, Pack, "pack");

    fn quotation_of_id(&self, id: &ID, place: &str) -> Result<Arc<Quotation>> {
        let found = self.quotation(read::<QuotationId>(id, place)?);
        found.cloned().ok_or_else(|| app::Error::not_found("quotation", id.as_str()).into())
    }
}

/// The lot that is meant.
pub(crate) async fn lot_named(ctx: &Context<'_>, which: &Which, place: &str) -> Result<Lot> {
    let found = match which {
        Which::Id(id) => ctx.loaders()?.lot(read::<LotId>(id, &format!("{place}.id"))?).await?,
        Which::Code(number) => ctx.house()?.lot_by_number(ctx.actor()?, number).await?,
    };
    found.ok_or_else(|| not_found("lot", which))
}

/// The ticket that is meant.
pub(crate) async fn ticket_named(ctx: &Context<'_>, which: &Which, place: &str) -> Result<Ticket> {
    let found = match which {
        Which::Id(id) => ctx.loaders()?.ticket(read::<TicketId>(id, &format!("{place}.id"))?).await?,
        Which::Code(number) => ctx.house()?.ticket_by_number(ctx.actor()?, number).await?,
    };
    found.ok_or_else(|| not_found("ticket", which))
}

/// Which ticket is meant, for a change: whether there is a ticket of that id is for the use case to say.
pub(crate) async fn ticket_id_named(ctx: &Context<'_>, which: &Which, place: &str) -> Result<TicketId> {
    match which {
        Which::Id(id) => Ok(read::<TicketId>(id, &format!("{place}.id"))?),
        Which::Code(number) => {
            let found = ctx.house()?.ticket_id_by_number(ctx.actor()?, number).await?;
            found.ok_or_else(|| not_found("ticket", which))
        }
    }
}

fn not_found(what: &'static str, which: &Which) -> Failure {
    let key = match which {
        Which::Id(id) => id.as_str(),
        Which::Code(code) => code.as_str(),
    };
    app::Error::not_found(what, shortened(key)).into()
}

/// As much of what a client wrote as belongs into a sentence.
fn shortened(text: &str) -> String {
    text.trim().chars().take(60).collect()
}
