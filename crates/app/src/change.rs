//! The frame of every change: the right to make it, a request key that makes it happen once, one transaction, an audit entry.
//!
//! Changes take turns (see `store`), so a change begins by looking whether its request key was used before: then it answers the
//! same, once what it answers is committed; with other content it is refused. The key is kept with the answer at the end. Refusals and
//! faults leave nothing behind, so a request that changed nothing may be sent again.

use chrono::{DateTime, NaiveDate, Utc};
use domain::{
    people::{Actor, Capability},
    stock::MovementKind,
    text,
};
use kernel::{
    Quantity,
    ids::{AuditId, LotId, MovementId},
};
use serde::{Serialize, de::DeserializeOwned};
use sha2::{Digest, Sha256};
use store::{
    WriteTx, Writes,
    audit::AuditEntry,
    requests::{StoredRequest, request_find, request_insert},
    stock::NewMovement,
};

use crate::{App, Error, require};

/// Who asks for a change, and under which key.
#[derive(Debug, Clone)]
pub struct Change<'a> {
    /// Who.
    pub actor: &'a Actor,
    /// The caller's own name for this request, so that sent twice it happens once. `None`: each request stands for itself.
    pub request_key: Option<String>,
}

impl<'a> Change<'a> {
    /// A change without a request key.
    pub fn by(actor: &'a Actor) -> Self {
        Self { actor, request_key: None }
    }

    /// A change with a request key.
    pub fn keyed(actor: &'a Actor, key: impl Into<String>) -> Self {
        Self { actor, request_key: Some(key.into()) }
    }
}

/// How a change begins.
pub(crate) enum Begun<'a, T> {
    /// The key was used before, with the same content: this was the answer.
    Repeat(T),
    /// Go ahead.
    Fresh(Work<'a>),
}

/// A change under way. Dropped without [`Work::finish`], nothing of it remains.
pub(crate) struct Work<'a> {
    pub tx: WriteTx,
    /// What is put down to be written at the end, with the audit entries and the answer.
    pub writes: Writes,
    pub at: DateTime<Utc>,
    pub by: String,
    app: &'a App,
    request: Option<Asked>,
    operation: &'static str,
    audit: Vec<AuditEntry>,
    catalogue_changed: bool,
}

/// A request that names itself.
struct Asked {
    key: String,
    /// What tells it from another under the same key.
    input_hash: String,
}

impl App {
    /// Begins a change that is soon done.
    pub(crate) async fn begin<T: DeserializeOwned>(
        &self,
        change: &Change<'_>,
        capability: Capability,
        operation: &'static str,
        input: &impl Serialize,
    ) -> Result<Begun<'_, T>, Error> {
        let request = asked(change, capability, operation, input)?;
        let tx = self.store().begin_write().await?;
        self.begun(tx, change, operation, request).await
    }

    /// Begins a change that takes long: nobody else's waits for its commit.
    pub(crate) async fn begin_long<T: DeserializeOwned>(
        &self,
        change: &Change<'_>,
        capability: Capability,
        operation: &'static str,
        input: &impl Serialize,
    ) -> Result<Begun<'_, T>, Error> {
        let request = asked(change, capability, operation, input)?;
        let tx = self.store().begin_write_alone().await?;
        self.begun(tx, change, operation, request).await
    }

    async fn begun<T: DeserializeOwned>(
        &self,
        tx: WriteTx,
        change: &Change<'_>,
        operation: &'static str,
        request: Option<Asked>,
    ) -> Result<Begun<'_, T>, Error> {
        if let Some(Asked { key, input_hash }) = &request
            && let Some(before) = request_find(&tx, key).await?
        {
            let answer = repeat(before, input_hash)?;
            // What was done before may be waiting for its commit in this very transaction.
            tx.commit().await?;
            return Ok(Begun::Repeat(answer));
        }
        Ok(Begun::Fresh(Work {
            writes: Writes::of(&tx),
            tx,
            at: self.now(),
            by: change.actor.name.clone(),
            app: self,
            request,
            operation,
            audit: Vec::new(),
            catalogue_changed: false,
        }))
    }
}

/// Whether they may ask for it, and under which name they do.
fn asked(
    change: &Change<'_>,
    capability: Capability,
    operation: &'static str,
    input: &impl Serialize,
) -> Result<Option<Asked>, Error> {
    require(change.actor, capability)?;
    let Some(key) = &change.request_key else { return Ok(None) };
    let key = text::name("a request key", key).map_err(|error| Error::invalid("requestKey", error))?;
    Ok(Some(Asked { key, input_hash: fingerprint(operation, change.actor, input)? }))
}

/// The answer given before, when the request is the same.
fn repeat<T: DeserializeOwned>(before: StoredRequest, input_hash: &str) -> Result<T, Error> {
    if before.input_hash != input_hash {
        return Err(Error::RequestKeyReused(before.key));
    }
    Ok(serde_json::from_value(before.answer)?)
}

/// What tells two requests apart: the operation, who asks, and the whole input.
fn fingerprint(operation: &str, actor: &Actor, input: &impl Serialize) -> Result<String, Error> {
    let content = serde_json::to_vec(&(operation, &actor.name, input))?;
    Ok(sha256_hex(&content))
}

/// SHA-256 in lower-case hex.
pub(crate) fn sha256_hex(content: &[u8]) -> String {
    use std::fmt::Write as _;
    Sha256::digest(content).iter().fold(String::new(), |mut hex, byte| {
        // Writing to a string cannot fail.
        let _ = write!(hex, "{byte:02x}");
        hex
    })
}

impl Work<'_> {
    /// Says in the audit trail what became of a thing.
    pub fn note(
        &mut self,
        subject: &'static str,
        id: impl ToString,
        before: Option<&impl Serialize>,
        after: &impl Serialize,
        reason: Option<&str>,
    ) -> Result<(), Error> {
        self.audit.push(AuditEntry {
            id: AuditId::new(),
            at: self.at,
            actor: self.by.clone(),
            operation: self.operation.to_owned(),
            subject_kind: subject.to_owned(),
            subject: id.to_string(),
            before: before.map(serde_json::to_value).transpose()?,
            after: Some(serde_json::to_value(after)?),
            reason: reason.map(ToOwned::to_owned),
            request_key: self.request.as_ref().map(|request| request.key.clone()),
        });
        Ok(())
    }

    /// A movement of this change: entered now, by whoever asks for it.
    pub fn movement(&self, lot: LotId, kind: MovementKind, quantity: Quantity, on: NaiveDate) -> NewMovement {
        NewMovement {
            id: MovementId::new(),
            lot,
            kind,
            quantity,
            value: None,
            on,
            entered_at: self.at,
            by: self.by.clone(),
            ticket: None,
            reverses: None,
            cause: None,
            container: None,
            reason: None,
        }
    }

    /// Says that the catalogue is another one after this change.
    pub fn changes_catalogue(&mut self) {
        self.catalogue_changed = true;
    }

    /// Writes what was put down, the audit entries and the answer, and commits. Only after this returns has anything happened. The catalogue is taken
    /// in anew only after a change of it: most changes move stock, and cost nobody a reload.
    pub async fn finish<T: Serialize>(mut self, answer: T) -> Result<T, Error> {
        store::audit::audit_insert(&mut self.writes, &self.audit)?;
        if let Some(Asked { key, input_hash }) = self.request {
            let request = StoredRequest {
                key,
                operation: self.operation.to_owned(),
                input_hash,
                answer: serde_json::to_value(&answer)?,
                at: self.at,
            };
            request_insert(&mut self.writes, &request)?;
        }
        self.writes.run(&self.tx).await?;
        if self.catalogue_changed {
            store::catalogue::catalogue_version_raise(&self.tx).await?;
        }
        self.tx.commit().await?;
        if self.catalogue_changed
            && let Err(error) = self.app.catalogue_refresh().await
        {
            // The change stands; this process takes the new catalogue in at the next notice.
            tracing::warn!(%error, "the catalogue could not be taken in after a change");
        }
        Ok(answer)
    }
}
