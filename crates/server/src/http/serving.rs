//! Listening, keeping the catalogue fresh meanwhile, and stopping in an orderly way.

use app::App;
use std::{net::SocketAddr, sync::Arc, time::Duration};
use store::Store;
use tokio::{net::TcpListener, sync::watch, task::JoinHandle};

use super::{State, router};
use crate::failure::Failure;

/// How often the catalogue's version is looked up where the database does not tell of changes.
const LOOK_EVERY: Duration = Duration::from_secs(2);
/// The same where it does: a notice can be lost with a connection.
const LOOK_EVERY_WITH_NOTICES: Duration = Duration::from_secs(30);
/// How long requests under way may take once the server is to stop.
const DRAIN: Duration = Duration::from_secs(10);

/// Takes the address.
///
/// # Errors
/// [`Failure::Fault`], with the way out.
pub async fn listen(address: SocketAddr) -> Result<TcpListener, Failure> {
    TcpListener::bind(address).await.map_err(|error| {
        Failure::Fault(format!(
            "{address} cannot be listened on: {error}; --listen names another address and port"
        ))
    })
}

/// Serves until the process is asked to stop (Ctrl-C or SIGTERM); then lets requests under way end.
///
/// # Errors
/// [`Failure::Fault`].
pub async fn serve(
    listener: TcpListener,
    store: Store,
    app: Arc<App>,
    access: super::Access,
) -> Result<(), Failure> {
    let address = listener.local_addr().map_err(|error| Failure::Fault(error.to_string()))?;
    let freshness = keep_fresh(store.clone(), Arc::clone(&app));
    let (stop, stopped) = watch::channel(false);
    let until = |mut stopped: watch::Receiver<bool>| async move {
        // The sender lives until the end of this function.
        let _ = stopped.wait_for(|stop| *stop).await;
    };
    let routes = router(State::new(app, access));
    let serving = axum::serve(listener, routes).with_graceful_shutdown(until(stopped.clone()));
    let mut serving = tokio::spawn(serving.into_future());
    tracing::info!(%address, "listening");

    let ended = tokio::select! {
        ended = &mut serving => Some(ended),
        () = asked_to_stop() => None,
    };
    let ended = if let Some(ended) = ended {
        ended
    } else {
        tracing::info!("stopping; requests under way may end");
        let _ = stop.send(true);
        if let Ok(ended) = tokio::time::timeout(DRAIN, &mut serving).await {
            ended
        } else {
            tracing::warn!("some requests did not end in time and were given up");
            serving.abort();
            Ok(Ok(()))
        }
    };
    freshness.abort();
    store.close().await;
    match ended {
        Ok(Ok(())) => Ok(()),
        Ok(Err(error)) => Err(Failure::Fault(format!("serving ended: {error}"))),
        Err(error) => Err(Failure::Fault(format!("serving ended: {error}"))),
    }
}

/// Takes in the catalogue whenever another process has changed it.
fn keep_fresh(store: Store, app: Arc<App>) -> JoinHandle<()> {
    tokio::spawn(async move {
        let mut notices = match store.catalogue_changes().await {
            Ok(notices) => notices,
            Err(error) => {
                tracing::warn!(%error, "changes of the catalogue are looked up instead of being told");
                None
            }
        };
        loop {
            let told = match &mut notices {
                None => {
                    tokio::time::sleep(LOOK_EVERY).await;
                    true
                }
                Some(receiver) => tokio::select! {
                    told = receiver.changed() => told.is_ok(),
                    () = tokio::time::sleep(LOOK_EVERY_WITH_NOTICES) => true,
                },
            };
            if !told {
                notices = None;
            }
            if let Err(error) = app.catalogue_refresh().await {
                tracing::warn!(%error, "the catalogue could not be looked up; the next look is soon");
            }
        }
    })
}

async fn asked_to_stop() {
    let interrupt = async {
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
    };
    #[cfg(unix)]
    let terminate = async {
        use tokio::signal::unix::{SignalKind, signal};
        match signal(SignalKind::terminate()) {
            Ok(mut signal) => {
                signal.recv().await;
            }
            Err(error) => {
                tracing::warn!(%error, "a request to terminate cannot be heard");
                std::future::pending::<()>().await;
            }
        }
    };
    #[cfg(not(unix))]
    let terminate = std::future::pending::<()>();
    tokio::select! {
        () = interrupt => {}
        () = terminate => {}
    }
}
