//! Loaders: whatever a query asks of lots and tickets goes to the database once for each level of the query, however many rows ask.
//!
//! Rows put down what they need and wait. A batch goes out when nothing else of the request can go on, so its size does not depend on
//! how fast the rows are worked through, and the number of statements of a query does not depend on the length of its lists.

use std::{
    collections::HashMap,
    hash::Hash,
    pin::pin,
    sync::{
        Arc, Mutex, PoisonError,
        atomic::{AtomicBool, Ordering},
    },
    task::{Context, Wake, Waker},
};

use app::{App, LotDetails};
use domain::{lots::Lot, people::Actor, tickets::Ticket};
use kernel::ids::{LotId, MaterialId, TicketId};
use tokio::sync::oneshot;

use crate::errors::{Result, internal};

type Answer<V> = Result<Option<V>>;

/// What rows have put down and wait for.
struct Queue<K, V>(Mutex<HashMap<K, Vec<oneshot::Sender<Answer<V>>>>>);

impl<K, V> Default for Queue<K, V> {
    fn default() -> Self {
        Self(Mutex::default())
    }
}

impl<K: Copy + Eq + Hash + Send + 'static, V: Clone + Send + 'static> Queue<K, V> {
    /// Puts a key down and waits for its answer.
    async fn ask(&self, key: K) -> Answer<V> {
        let (sender, receiver) = oneshot::channel();
        self.0.lock().unwrap_or_else(PoisonError::into_inner).entry(key).or_default().push(sender);
        receiver.await.map_err(|_| internal("a batch was dropped"))?
    }

    /// Sends everything put down out as one batch.
    fn send_out<F>(&self, fetch: impl FnOnce(Vec<K>) -> F)
    where
        F: Future<Output = Result<HashMap<K, V>>> + Send + 'static,
    {
        let waiting = std::mem::take(&mut *self.0.lock().unwrap_or_else(PoisonError::into_inner));
        if waiting.is_empty() {
            return;
        }
        let answer = fetch(waiting.keys().copied().collect());
        tokio::spawn(async move {
            let answer = answer.await;
            for (key, senders) in waiting {
                let value = match &answer {
                    Ok(found) => Ok(found.get(&key).cloned()),
                    Err(failure) => Err(failure.clone()),
                };
                for sender in senders {
                    // A row that no longer waits belongs to a request that was given up.
                    let _ = sender.send(value.clone());
                }
            }
        });
    }
}

/// The loaders of one request.
pub(crate) struct Loaders {
    house: Arc<App>,
    actor: Arc<Actor>,
    lots: Queue<LotId, Lot>,
    tickets: Queue<TicketId, Ticket>,
    lots_of: Queue<MaterialId, Arc<Vec<Lot>>>,
    tickets_using: Queue<LotId, Arc<Vec<Ticket>>>,
    details: Queue<LotId, Arc<LotDetails>>,
}

impl Loaders {
    pub(crate) fn new(house: &Arc<App>, actor: &Arc<Actor>) -> Self {
        Self {
            house: Arc::clone(house),
            actor: Arc::clone(actor),
            lots: Queue::default(),
            tickets: Queue::default(),
            lots_of: Queue::default(),
            tickets_using: Queue::default(),
            details: Queue::default(),
        }
    }

    /// A lot.
    pub(crate) async fn lot(&self, id: LotId) -> Result<Option<Lot>> {
        self.lots.ask(id).await
    }

    /// A ticket.
    pub(crate) async fn ticket(&self, id: TicketId) -> Result<Option<Ticket>> {
        self.tickets.ask(id).await
    }

    /// The lots of a material that hold something.
    pub(crate) async fn lots_of(&self, material: MaterialId) -> Result<Arc<Vec<Lot>>> {
        Ok(self.lots_of.ask(material).await?.unwrap_or_default())
    }

    /// The tickets that weighed from a lot.
    pub(crate) async fn tickets_using(&self, lot: LotId) -> Result<Arc<Vec<Ticket>>> {
        Ok(self.tickets_using.ask(lot).await?.unwrap_or_default())
    }

    /// Containers, results and documents of a lot.
    pub(crate) async fn lot_details(&self, lot: LotId) -> Result<Arc<LotDetails>> {
        Ok(self.details.ask(lot).await?.unwrap_or_default())
    }

    fn send_out(&self) {
        let at_hand = || (Arc::clone(&self.house), Arc::clone(&self.actor));
        self.details.send_out(|lots| {
            let (house, actor) = at_hand();
            async move {
                let details = house.lot_details(&actor, &lots).await?;
                Ok(details.into_iter().map(|(lot, details)| (lot, Arc::new(details))).collect())
            }
        });
        self.lots.send_out(|ids| {
            let (house, actor) = at_hand();
            async move {
                let lots = house.lots_get(&actor, &ids).await?;
                Ok(lots.into_iter().map(|lot| (lot.id, lot)).collect())
            }
        });
        self.tickets.send_out(|ids| {
            let (house, actor) = at_hand();
            async move {
                let tickets = house.tickets_get(&actor, &ids).await?;
                Ok(tickets.into_iter().map(|ticket| (ticket.id, ticket)).collect())
            }
        });
        self.lots_of.send_out(|materials| {
            let (house, actor) = at_hand();
            async move {
                let lots = house.lots_of_materials(&actor, &materials).await?;
                Ok(grouped(lots.into_iter().map(|lot| (lot.material, lot))))
            }
        });
        self.tickets_using.send_out(|lots| {
            let (house, actor) = at_hand();
            async move {
                let tickets = house.tickets_using_lots(&actor, &lots).await?;
                Ok(grouped(tickets.into_iter().flat_map(|ticket| {
                    let mut used: Vec<LotId> = ticket
                        .weighings
                        .iter()
                        .filter(|weighing| weighing.reversed.is_none())
                        .filter_map(|weighing| weighing.lot)
                        .collect();
                    used.sort_unstable();
                    used.dedup();
                    used.into_iter().map(move |lot| (lot, ticket.clone()))
                })))
            }
        });
    }

    /// Runs a request to its end, sending out a batch whenever nothing else of it can go on.
    pub(crate) async fn drive<F: Future>(&self, request: F) -> F::Output {
        let mut request = pin!(request);
        std::future::poll_fn(|cx| {
            let noticed = Arc::new(Noticed { woken: AtomicBool::new(false), outer: cx.waker().clone() });
            let waker = Waker::from(Arc::clone(&noticed));
            let polled = request.as_mut().poll(&mut Context::from_waker(&waker));
            // Woken while it ran, the request has only paused; it goes on, and more may be put down.
            if polled.is_pending() && !noticed.woken.load(Ordering::Acquire) {
                self.send_out();
            }
            polled
        })
        .await
    }
}

fn grouped<K: Eq + Hash, V>(pairs: impl Iterator<Item = (K, V)>) -> HashMap<K, Arc<Vec<V>>> {
    let mut groups: HashMap<K, Vec<V>> = HashMap::new();
    for (key, value) in pairs {
        groups.entry(key).or_default().push(value);
    }
    groups.into_iter().map(|(key, values)| (key, Arc::new(values))).collect()
}

/// Passes a wake on, and remembers it.
struct Noticed {
    woken: AtomicBool,
    outer: Waker,
}

impl Wake for Noticed {
    fn wake(self: Arc<Self>) {
        self.wake_by_ref();
    }

    fn wake_by_ref(self: &Arc<Self>) {
        self.woken.store(true, Ordering::Release);
        self.outer.wake_by_ref();
    }
}
