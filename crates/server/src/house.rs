//! Opening the house for a command: the database, its layout, the clock, and who is asking.

use app::{App, AppSettings, Clock};
use domain::people::Actor;
use kernel::Currency;
use std::sync::Arc;
use store::{Store, StoreError, StoreOptions};

use crate::{
    clock::{MachineClock, MovedClock},
    failure::Failure,
    settings::Settings,
};

/// The fact of the site that says which currency its values are kept in.
const CURRENCY_FACT: &str = "currency";

/// What to do about a database whose layout is not up to date, or that is not there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layout {
    /// Bring it up to date, making it when it is absent.
    BringUpToDate,
    /// Leave it alone and say what to do: a question makes no database.
    MustBeThere,
}

/// The house with its doors open.
pub struct House {
    /// The use cases.
    pub app: Arc<App>,
    /// The database beneath.
    pub store: Store,
}

impl From<StoreError> for Failure {
    fn from(error: StoreError) -> Self {
        match &error {
            StoreError::Address(_) => Self::usage("--database", error),
            StoreError::NotMigrated(_) => Self::Fault(
                "the database's layout is not up to date; run `stillroom migrate` first".to_owned(),
            ),
            StoreError::Unreachable { .. } | StoreError::Busy | StoreError::Newer(_) => {
                Self::Fault(error.to_string())
            }
            _ => app::Error::from(error).into(),
        }
    }
}

/// Connects to the database, and sees to its layout.
///
/// # Errors
/// [`Failure`], with the way out.
pub async fn connect(settings: &Settings, layout: Layout) -> Result<Store, Failure> {
    if layout == Layout::MustBeThere
        && let Some(file) = settings.sqlite_file()
        && !file.exists()
    {
        return Err(Failure::usage(
            "--database",
            format!(
                "there is no database at {}; `stillroom demo` or `stillroom import` makes one, --database names another",
                file.display()
            ),
        ));
    }
    let store = Store::connect(&settings.database, &StoreOptions::default()).await?;
    match layout {
        Layout::BringUpToDate => store.migrate().await?,
        Layout::MustBeThere => {
            let pending = store.pending_migrations().await?;
            if !pending.is_empty() {
                return Err(StoreError::NotMigrated(pending).into());
            }
        }
    }
    Ok(store)
}

/// The clock the settings ask for.
pub fn clock(settings: &Settings) -> Arc<dyn Clock> {
    match settings.today {
        None => Arc::new(MachineClock),
        Some(day) => Arc::new(MovedClock::to(day, settings.time_zone)),
    }
}

/// Opens the house.
///
/// # Errors
/// [`Failure`], with the way out.
pub async fn open(settings: &Settings, layout: Layout) -> Result<House, Failure> {
    let store = connect(settings, layout).await?;
    let app = open_on(&store, settings, clock(settings)).await?;
    Ok(House { app: Arc::new(app), store })
}

/// Opens the house on a store whose layout is up to date.
///
/// # Errors
/// [`Failure`] when the database was begun in another currency, or cannot be read.
pub async fn open_on(store: &Store, settings: &Settings, clock: Arc<dyn Clock>) -> Result<App, Failure> {
    let currency = match settings.currency {
        Some(named) => named,
        None => match store::site::site_fact_get(store, CURRENCY_FACT).await? {
            Some(kept) => {
                kept.parse().map_err(|error: kernel::AmountError| Failure::Fault(error.to_string()))?
            }
            None => Currency::GBP,
        },
    };
    let settings = AppSettings { currency, time_zone: settings.time_zone, ..AppSettings::default() };
    Ok(App::open(store.clone(), settings, clock).await?)
}

/// Who stands behind a command on this machine: whoever can open the database may do everything with it.
pub fn actor() -> Actor {
    let name = std::env::var("USER").ok().filter(|name| domain::text::name("a name", name).is_ok());
    Actor::with_all_capabilities(name.unwrap_or_else(|| "command line".to_owned()))
}
