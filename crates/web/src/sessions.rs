//! Sessions of people who signed in with an API token: in memory, each with an end, gone when the process ends.
//!
//! A session keeps the token itself and looks it up at every request, so that a revoked token ends its sessions at once. What the
//! browser holds is random and is kept here as a hash only.

use std::{
    collections::HashMap,
    sync::{Mutex, MutexGuard, PoisonError},
    time::{Duration, Instant},
};

use sha2::{Digest as _, Sha256};

/// How long a session lasts: a long working day.
pub(crate) const LASTS: Duration = Duration::from_hours(12);
/// Sessions at one time; past this the one that ends first is let go.
const SESSIONS_MAX: usize = 1_000;

/// One person's session.
#[derive(Clone)]
pub(crate) struct Session {
    /// The API token it was begun with.
    pub secret: String,
    /// Stands in every form of its pages.
    pub page_token: String,
    ends: Instant,
}

/// All sessions.
#[derive(Default)]
pub(crate) struct Sessions(Mutex<HashMap<[u8; 32], Session>>);

impl Sessions {
    /// Begins a session and gives what the browser is to hold.
    pub fn begin(&self, secret: String) -> Result<String, app::Error> {
        let name = random_text()?;
        let session = Session { secret, page_token: random_text()?, ends: Instant::now() + LASTS };
        let mut sessions = self.lock();
        let now = Instant::now();
        sessions.retain(|_, session| session.ends > now);
        if sessions.len() >= SESSIONS_MAX
            && let Some(first) =
                sessions.iter().min_by_key(|(_, session)| session.ends).map(|(name, _)| *name)
        {
            sessions.remove(&first);
        }
        sessions.insert(hash(&name), session);
        Ok(name)
    }

    /// The session of that name, while it lasts.
    pub fn get(&self, name: &str) -> Option<Session> {
        self.lock().get(&hash(name)).filter(|session| session.ends > Instant::now()).cloned()
    }

    /// Ends a session.
    pub fn end(&self, name: &str) {
        self.lock().remove(&hash(name));
    }

    // A panic elsewhere leaves the map whole: each change of it is one call.
    fn lock(&self) -> MutexGuard<'_, HashMap<[u8; 32], Session>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn hash(text: &str) -> [u8; 32] {
    Sha256::digest(text.as_bytes()).into()
}

/// Whether two secrets are the same, in a time that tells nothing of where they differ.
pub(crate) fn same_secret(a: &str, b: &str) -> bool {
    hash(a) == hash(b)
}

/// 256 random bits in hex.
pub(crate) fn random_text() -> Result<String, app::Error> {
    let mut bytes = [0_u8; 32];
    getrandom::fill(&mut bytes).map_err(app::Error::internal)?;
    Ok(bytes.iter().fold(String::with_capacity(64), |mut text, byte| {
        // Writing to a string cannot fail.
        let _ = std::fmt::Write::write_fmt(&mut text, format_args!("{byte:02x}"));
        text
    }))
}
