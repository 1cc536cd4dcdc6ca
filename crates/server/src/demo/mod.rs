//! The demo maker: loaded once into a database of its own, with all its dates moved so that its story ends today.
//!
//! Sheets and story are in the binary. The sheets go in by the same import a person uses, the story by the same use cases, with
//! a clock that is moved to each event's hour. Each event has a request key, so a load that was broken off is taken up again.

mod play;
mod sheets;
mod shift;
mod story;

use app::{
    App, Change,
    import::{ImportOptions, ImportReport},
};
use chrono::{NaiveDate, NaiveTime};
use domain::{dates::parse_date, people::Actor};
use engine::CostRequest;
use exchange::{NamedFile, ReadOptions};
use std::{net::SocketAddr, sync::Arc};
use store::{
    Store,
    site::{site_fact_get, site_fact_set, site_fact_settle},
};

use crate::{
    cli::DemoArgs,
    clock::{HandMovedClock, instant_at},
    commands::{cost, serve},
    failure::{Failure, Outcome},
    house::{self, Layout},
    http, output,
    settings::Settings,
};

pub use sheets::write_sheets;

/// The fact of the site that says on which day the demo's load was begun, so that it can be taken up again with the same dates.
const BEGUN: &str = "demo-begun";
/// The fact of the site that says that the database holds the demo, all of it.
const LOADED: &str = "demo-loaded";
/// The pack whose cost is shown.
const SHOWN_PACK: &str = "HW-500";
/// Who brought the sheets in.
const IMPORTER: &str = "Corwin Dowle";

/// Loads the demo where it is not loaded yet, shows a cost, and serves.
///
/// # Errors
/// [`Failure`].
pub async fn run(settings: &Settings, args: &DemoArgs) -> Result<Outcome, Failure> {
    if let Some(folder) = &args.write_sheets {
        let today = today(settings);
        let written = write_sheets(folder, shift::days_to(today)?)?;
        output::answer(settings.json, &written, |written| {
            format!(
                "{} sheets written to {}, with their dates moved to {today}. Edit them, then: stillroom import {}",
                written.len(),
                folder.display(),
                folder.display()
            )
        })?;
        return Ok(Outcome::Done);
    }
    // Said before anything is done: an address that cannot be opened would make all of it vain.
    let address = args.listen.listen;
    let access = serve::open_on(address)?;

    let store = house::connect(settings, Layout::BringUpToDate).await?;
    let loaded_on = load(&store, settings).await?;
    let app = Arc::new(house::open_on(&store, settings, house::clock(settings)).await?);
    show_cost(&app, settings)?;
    if args.check {
        store.close().await;
        return Ok(Outcome::Done);
    }

    let listener = http::listen(address).await?;
    let address = listener.local_addr().map_err(|error| Failure::Fault(error.to_string()))?;
    if !settings.json {
        output::print(&greeting(settings, address, loaded_on, app.today()))?;
    }
    http::serve(listener, store, app, access).await?;
    Ok(Outcome::Done)
}

/// Whether a database holds the demo.
///
/// # Errors
/// [`Failure`] when the database cannot be read.
pub async fn is_loaded(store: &Store) -> Result<bool, Failure> {
    Ok(site_fact_get(store, LOADED).await?.is_some())
}

fn today(settings: &Settings) -> NaiveDate {
    house::clock(settings).now().with_timezone(&settings.time_zone).date_naive()
}

/// Loads the demo unless that was done before; says which day it was made for.
async fn load(store: &Store, settings: &Settings) -> Result<NaiveDate, Failure> {
    if let Some(day) = site_fact_get(store, LOADED).await? {
        return day_of(&day);
    }
    let today = today(settings);
    if site_fact_get(store, BEGUN).await?.is_none() {
        let house = house::open_on(store, settings, house::clock(settings)).await?;
        let catalogue = house.catalogue(&house::actor())?;
        if !catalogue.materials.is_empty() {
            return Err(Failure::usage(
                "--database",
                format!(
                    "{} holds something else already; the demo wants a database of its own",
                    settings.database_shown()
                ),
            ));
        }
    }
    let day = day_of(&site_fact_settle(store, BEGUN, &today.to_string()).await?)?;
    tracing::info!(%day, "loading the demo");
    let days = shift::days_to(day)?;
    let opening = NaiveTime::from_hms_opt(8, 0, 0).unwrap_or_default();
    let clock = Arc::new(HandMovedClock::at(instant_at(day, opening, settings.time_zone)));
    let app = house::open_on(store, settings, clock.clone()).await?;
    import(&app, days).await?;
    play::play(&app, &clock, &story::story()?, days).await?;
    let tx = store.begin_write().await?;
    site_fact_set(&tx, LOADED, &day.to_string()).await?;
    tx.commit().await?;
    tracing::info!("the demo is loaded");
    Ok(day)
}

fn day_of(text: &str) -> Result<NaiveDate, Failure> {
    parse_date(text).map_err(|error| Failure::Fault(format!("a fact of the site is damaged: {error}")))
}

async fn import(app: &App, days: i64) -> Result<ImportReport, Failure> {
    let sheets = sheets::moved(days)?;
    let files: Vec<NamedFile<'_>> =
        sheets.iter().map(|sheet| NamedFile { name: sheet.name, bytes: sheet.text.as_bytes() }).collect();
    let reading = exchange::read_files(&files, &ReadOptions::new(app.settings().currency));
    if !reading.is_sound() {
        return Err(app::Error::Invalid(reading.problems).into());
    }
    let importer = Actor::with_all_capabilities(IMPORTER);
    let change = Change::keyed(&importer, "demo/sheets");
    Ok(app.import_apply(&change, &reading.set, ImportOptions::default()).await?)
}

fn show_cost(app: &App, settings: &Settings) -> Result<(), Failure> {
    let actor = house::actor();
    let catalogue = app.catalogue(&actor)?;
    let pack = catalogue
        .packs
        .by_code(SHOWN_PACK)
        .ok_or_else(|| Failure::Fault(format!("the demo no longer holds the pack {SHOWN_PACK}")))?;
    let sheet = app.cost_sheet(&actor, &CostRequest::pack(pack.id, app.today()))?;
    output::answer(settings.json, &engine::present::cost_sheet(&sheet)?, cost::text)
}

fn greeting(settings: &Settings, address: SocketAddr, loaded_on: NaiveDate, today: NaiveDate) -> String {
    let database = settings.database_shown();
    let stale = if loaded_on == today {
        String::new()
    } else {
        format!(
            "\nIts dates were made for {loaded_on}. For a demo of today, name a new database: --database sqlite://demo-{today}.db\n"
        )
    };
    format!(
        "
The demo is in {database}.{stale}
Stillroom listens on http://{address}/ (open, on this machine only). Try it on http://{address}/explorer, or:

  curl -s http://{address}/graphql -H 'content-type: application/json' \\
    -d '{{\"query\": \"{{ pack(code: \\\"{SHOWN_PACK}\\\") {{ name costSheet {{ totals {{ perUnit {{ amount currency }} }} }} }} }}\"}}'

Other commands work on the same data meanwhile, for example:

  stillroom --database '{database}' check --pack {SHOWN_PACK} --units 300 --on {}

Ctrl-C stops it.",
        crate::clock::moved_by(today, 8)
    )
}
