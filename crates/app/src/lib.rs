//! Use cases: one function is one unit of work. It checks the right to do it, opens the transaction, loads, lets the domain
//! decide, writes the change with its audit entry and its request record, commits, and refreshes the catalogue.
//!
//! Questions (costing, run check, what-if, outlook) read the catalogue and the shelf and write nothing.

mod balances;
mod bases;
mod change;
mod change_words;
mod containers;
mod corrections;
mod costing;
mod counts;
mod drafts;
mod error;
mod finishing;
mod formulas;
mod fresh;
mod house_rates;
mod locations;
mod lot_papers;
mod lots;
mod made_expiry;
mod packs;
mod questions;
mod quotations;
mod receipts;
mod scenarios;
mod searches;
mod stock;
mod stock_figures;
mod ticket_end;
mod ticket_life;
mod ticket_lines;
mod tickets;
mod tokens;
mod trace;
mod unusual;
mod variances;
mod weigh_rules;
mod weighing;
mod what_if;

pub mod import;

use std::sync::Arc;

use arc_swap::ArcSwap;
use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;
use domain::{
    Catalogue, Settings,
    people::{Actor, Capability},
};
use engine::TrimBook;
use kernel::{Currency, limits::TRIM_TICKETS_MAX};
use store::Store;

pub use balances::{AlternateApprove, BalanceRecord};
pub use bases::{StandardOf, StandardsFreeze, StandardsFrozen};
pub use change::Change;
pub use change_words::{CHANGE_FORMS, WHOSE_FORMS};
pub use containers::{
    ContainerChange, ContainerNow, ContainerRepack, ContainerWrite, ContainersAdd, LotTransfer,
};
pub use corrections::{LotCostSettle, TicketCostTrace};
pub use costing::{CostQuestion, Costing, DoseAsked};
pub use counts::{CountEnd, CountEnter, CountOpen};
pub use drafts::{DraftWorkedOut, FormulaBegin, Made};
pub use error::Error;
pub use finishing::{
    BatchCheckWrite, CheckLimitApprove, LostWrite, TicketBulk, TicketDecide, TicketFill, TicketFinish,
    TicketReconcile,
};
pub use formulas::{FormulaVersionWrite, LineWrite, draft_mark};
pub use house_rates::HouseRateRecord;
pub use lot_papers::{LotCertificate, LotDetails, LotDocumentAdd, LotRetest};
pub use lots::{LotCount, LotReceive, LotStatusChange, LotTake, Restriction, TakenFor};
pub use packs::PackFillingWrite;
pub use questions::ShelfRow;
pub use quotations::{OfferWrite, QuotationRecord};
pub use receipts::{LotOrder, ReceiptMore};
pub use scenarios::{ScenarioKeep, ScenarioRun};
pub use stock::MovementReverse;
pub use ticket_end::{CountedComponent, FillingCounts, FillingWrite, SpoiledComponent, TicketComplete};
pub use ticket_life::{NextStep, TicketScale, TicketStep, TicketVoid, VoidedWeighing};
pub use tickets::{
    AllocationChoice, ReworkWrite, TicketAllocate, TicketAsks, TicketCancel, TicketSize, TicketSubject,
    TicketWrite,
};
pub use tokens::{IssuedToken, TokenIssue};
pub use trace::{FinishedLot, LotTrace, RecallDrill, TracedTicket, UnderWay};
pub use variances::TicketVariances;
pub use weighing::{TicketWeigh, WeighingConfirm, WeighingHow, WeighingTakeBack, WeighingWrite};

/// Where "now" comes from. The real clock lives in `server`; tests move theirs by hand.
pub trait Clock: Send + Sync {
    /// The instant.
    fn now(&self) -> DateTime<Utc>;
}

/// What the site has set.
#[derive(Debug, Clone)]
pub struct AppSettings {
    /// The house's currency.
    pub currency: Currency,
    /// The site's time zone: business dates are days in it.
    pub time_zone: Tz,
    /// Days before a quotation's end from which it counts as lapsing soon.
    pub lapses_soon_days: u32,
}

impl Default for AppSettings {
    fn default() -> Self {
        Self { currency: Currency::GBP, time_zone: Tz::UTC, lapses_soon_days: 14 }
    }
}

/// The house with its doors open: the store, the catalogue held in memory, and the clock.
pub struct App {
    store: Store,
    settings: AppSettings,
    clock: Arc<dyn Clock>,
    catalogue: ArcSwap<Catalogue>,
    /// What trim lines took in finished batches; taken in with the catalogue.
    trim_use: ArcSwap<TrimBook>,
    /// One reload at a time; whoever waited finds it done.
    reload: tokio::sync::Mutex<()>,
}

impl App {
    /// Opens the house on a store whose migrations have run.
    ///
    /// # Errors
    /// When the database cannot be read, or was begun in another currency than the settings name.
    pub async fn open(store: Store, settings: AppSettings, clock: Arc<dyn Clock>) -> Result<Self, Error> {
        let house = settings.currency.code();
        let kept = store::site::site_fact_settle(&store, "currency", house).await?;
        if kept != house {
            let message = format!(
                "this database keeps its values in {kept}; start with that currency, or with another database"
            );
            return Err(Error::invalid("currency", message));
        }
        let catalogue =
            store::catalogue::catalogue_load(&store, &Self::catalogue_settings(&settings)).await?;
        let trim_use = trim_use_load(&store, &catalogue).await?;
        Ok(Self {
            store,
            settings,
            clock,
            catalogue: ArcSwap::from_pointee(catalogue),
            trim_use: ArcSwap::from_pointee(trim_use),
            reload: tokio::sync::Mutex::new(()),
        })
    }

    fn catalogue_settings(settings: &AppSettings) -> Settings {
        Settings { currency: settings.currency, lapses_soon_days: settings.lapses_soon_days }
    }

    /// What the site has set.
    pub fn settings(&self) -> &AppSettings {
        &self.settings
    }

    /// The instant, to the microsecond, as both databases keep it.
    pub fn now(&self) -> DateTime<Utc> {
        let now = self.clock.now();
        DateTime::from_timestamp_micros(now.timestamp_micros()).unwrap_or(now)
    }

    /// The business day at the site.
    pub fn today(&self) -> NaiveDate {
        self.clock.now().with_timezone(&self.settings.time_zone).date_naive()
    }

    /// The catalogue as it stands, for somebody who may look. It stays as it is while they hold it.
    ///
    /// # Errors
    /// [`Error::Forbidden`].
    pub fn catalogue(&self, actor: &Actor) -> Result<Arc<Catalogue>, Error> {
        require(actor, Capability::Look)?;
        Ok(self.catalogue.load_full())
    }

    /// Whether the database answers, and which migrations are still to run; for readiness.
    ///
    /// # Errors
    /// [`Error::Unreachable`] or [`Error::Busy`].
    pub async fn pending_migrations(&self) -> Result<Vec<String>, Error> {
        Ok(self.store.pending_migrations().await?)
    }

    /// Takes in the catalogue anew when the database holds a later one, as after a change made by another process.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn catalogue_refresh(&self) -> Result<(), Error> {
        let _guard = self.reload.lock().await;
        let stored = store::catalogue::catalogue_version(&self.store).await?;
        if stored != self.catalogue.load().version {
            let settings = Self::catalogue_settings(&self.settings);
            let fresh = store::catalogue::catalogue_load(&self.store, &settings).await?;
            self.trim_use.store(Arc::new(trim_use_load(&self.store, &fresh).await?));
            self.catalogue.store(Arc::new(fresh));
        }
        Ok(())
    }

    pub(crate) fn store(&self) -> &Store {
        &self.store
    }

    pub(crate) fn snapshot(&self) -> Arc<Catalogue> {
        self.catalogue.load_full()
    }

    /// What lines that are added until a result is reached took in finished batches: averages that hold beside the catalogue, for the
    /// view of a question ([`engine::View::with_trim_use`]).
    pub fn trim_use(&self) -> Arc<TrimBook> {
        self.trim_use.load_full()
    }
}

/// What the catalogue's trim lines took in the latest finished batches of their formulas.
async fn trim_use_load(store: &Store, catalogue: &Catalogue) -> Result<TrimBook, Error> {
    let mut lines = catalogue.formulas.iter().flat_map(|f| &f.versions).flat_map(|v| &v.lines);
    if !lines.any(|line| line.trim.is_some()) {
        return Ok(TrimBook::default());
    }
    let tickets = store::tickets::tickets_trimmed(store, TRIM_TICKETS_MAX).await?;
    Ok(TrimBook::from_tickets(catalogue, &tickets))
}

/// # Errors
/// [`Error::Forbidden`] when the actor lacks the capability.
pub(crate) fn require(actor: &Actor, capability: Capability) -> Result<(), Error> {
    if actor.may(capability) { Ok(()) } else { Err(Error::Forbidden(capability)) }
}

/// What lists and pages are made of, so that nothing above this crate needs to know the store.
pub mod lists {
    pub use store::{
        Page,
        audit::{AuditEntry, AuditFilter},
        lots::LotFilter,
        stock::{Balance, Discrepancy},
        tickets::TicketFilter,
        tokens::ApiToken,
    };
}
