//! How processes that share a PostgreSQL database learn that the catalogue has changed.

use sea_orm::sqlx::{PgPool, postgres::PgListener};
use std::time::Duration;
use tokio::sync::watch;

use crate::{Store, StoreError, catalogue::catalogue_version};

/// The channel on which a new version is told. The notice leaves with the transaction that raised it, or not at all.
pub(crate) const CHANNEL: &str = "stillroom_catalogue";

/// How long to wait before trying again after the listening connection broke.
const PAUSE: Duration = Duration::from_secs(1);

/// Starts a task that listens until nobody wants to know any more, or the connections are closed.
pub(crate) async fn listen(store: &Store, pool: &PgPool) -> Result<watch::Receiver<i64>, StoreError> {
    let mut listener =
        PgListener::connect_with(pool).await.map_err(|error| StoreError::unreachable(&error))?;
    listener.listen(CHANNEL).await.map_err(|error| StoreError::unreachable(&error))?;
    // Read after listening has begun, so that no change falls between the two.
    let (told, receiver) = watch::channel(catalogue_version(store).await?);
    let store = store.clone();
    let pool = pool.clone();
    tokio::spawn(async move {
        while !pool.is_closed() {
            let heard = tokio::select! {
                () = told.closed() => return,
                heard = listener.try_recv() => heard,
            };
            let version = match heard {
                Ok(Some(notice)) => notice.payload().parse().ok(),
                // The connection broke and stands again: what was said meanwhile was not heard.
                Ok(None) => catalogue_version(&store).await.ok(),
                Err(error) => {
                    tracing::warn!(error = %StoreError::unreachable(&error), "listening for catalogue changes");
                    tokio::time::sleep(PAUSE).await;
                    catalogue_version(&store).await.ok()
                }
            };
            if let Some(version) = version {
                told.send_if_modified(|known| {
                    let newer = version > *known;
                    *known = version.max(*known);
                    newer
                });
            }
        }
    });
    Ok(receiver)
}
