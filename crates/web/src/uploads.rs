//! Sheets that were read and are to be confirmed: in memory, for a while, each for whoever sent it.

use std::{
    collections::VecDeque,
    sync::{Arc, Mutex, MutexGuard, PoisonError},
    time::{Duration, Instant},
};

use exchange::Reading;

use crate::sessions::random_text;

/// How long somebody may look at what would change.
const LASTS: Duration = Duration::from_hours(1);
/// Sheets waiting at one time; past this the oldest are let go.
const WAITING_MAX: usize = 8;

/// What was read.
pub(crate) struct Upload {
    name: String,
    owner: String,
    ends: Instant,
    /// The sheets.
    pub reading: Reading,
    /// Whether unusual prices are meant.
    pub unusual_prices: bool,
}

/// All that waits.
#[derive(Default)]
pub(crate) struct Uploads(Mutex<VecDeque<Arc<Upload>>>);

impl Uploads {
    /// Keeps what somebody sent, and gives the name it goes by.
    pub fn keep(&self, owner: &str, reading: Reading, unusual_prices: bool) -> Result<String, app::Error> {
        let name = random_text()?;
        let ends = Instant::now() + LASTS;
        let upload = Upload { name: name.clone(), owner: owner.to_owned(), ends, reading, unusual_prices };
        let mut waiting = self.lock();
        let now = Instant::now();
        waiting.retain(|upload| upload.ends > now);
        while waiting.len() >= WAITING_MAX {
            waiting.pop_front();
        }
        waiting.push_back(Arc::new(upload));
        Ok(name)
    }

    /// What goes by a name, when this person sent it and it is still kept.
    pub fn get(&self, owner: &str, name: &str) -> Option<Arc<Upload>> {
        let now = Instant::now();
        let waiting = self.lock();
        waiting.iter().find(|u| u.name == name && u.owner == owner && u.ends > now).map(Arc::clone)
    }

    // A panic elsewhere leaves the list whole: each change of it is one call.
    fn lock(&self) -> MutexGuard<'_, VecDeque<Arc<Upload>>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sheets_are_kept_for_whoever_sent_them_and_not_without_end() {
        let uploads = Uploads::default();
        let reading = || exchange::read_files(&[], &exchange::ReadOptions::new(kernel::Currency::GBP));
        let first = uploads.keep("Orla", reading(), false).unwrap();
        assert!(uploads.get("Orla", &first).is_some());
        assert!(uploads.get("Bram", &first).is_none(), "it is nobody else's");
        for _ in 0..WAITING_MAX {
            uploads.keep("Bram", reading(), false).unwrap();
        }
        assert!(uploads.get("Orla", &first).is_none(), "the oldest made room");
    }
}
