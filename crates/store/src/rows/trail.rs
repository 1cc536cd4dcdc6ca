//! The site's state, answered requests, the audit trail, API tokens and running numbers.

use domain::people::Capability;
use kernel::ids::{AuditId, TokenId};
use sea_orm::ActiveValue::{NotSet, Set};
use std::collections::BTreeSet;

use crate::{
    StoreError,
    audit::AuditEntry,
    codes::{At, to_json},
    requests::StoredRequest,
    tokens::ApiToken,
};

super::table! {
    /// One row.
    site_state, "site_state" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: i64,
        catalogue_version: i64,
    }
}

super::table! {
    request, "requests" {
        #[sea_orm(primary_key, auto_increment = false)]
        key: String,
        operation: String,
        input_hash: String,
        answer: String,
        answered_at: i64,
    }
}

super::table! {
    /// `seq` grows with every entry; the database gives it.
    audit, "audit" {
        #[sea_orm(primary_key)]
        seq: i64,
        id: Uuid,
        entered_at: i64,
        actor: String,
        operation: String,
        subject_kind: String,
        subject: String,
        was: Option<String>,
        became: Option<String>,
        reason: Option<String>,
        request_key: Option<String>,
    }
}

super::table! {
    token, "api_tokens" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        name: String,
        hash: String,
        capabilities: String,
        created_by: String,
        created_at: i64,
        expires_at: Option<i64>,
        revoked_at: Option<i64>,
    }
}

impl request::Model {
    pub(crate) fn of(r: &StoredRequest) -> Result<Self, StoreError> {
        Ok(Self {
            key: r.key.clone(),
            operation: r.operation.clone(),
            input_hash: r.input_hash.clone(),
            answer: to_json("an answer", &r.answer)?,
            answered_at: r.at.timestamp_micros(),
        })
    }

    pub(crate) fn into_request(self) -> Result<StoredRequest, StoreError> {
        let key = self.key;
        let at = At::new("requests", &key);
        let answer = at.json("answer", &self.answer)?;
        let answered = at.instant("answered_at", self.answered_at)?;
        Ok(StoredRequest {
            key,
            operation: self.operation,
            input_hash: self.input_hash,
            answer,
            at: answered,
        })
    }
}

impl audit::ActiveModel {
    pub(crate) fn of(e: &AuditEntry) -> Result<Self, StoreError> {
        let json = |value: &Option<serde_json::Value>| {
            value.as_ref().map(|value| to_json("an audit entry", value)).transpose()
        };
        Ok(Self {
            seq: NotSet,
            id: Set(e.id.0),
            entered_at: Set(e.at.timestamp_micros()),
            actor: Set(e.actor.clone()),
            operation: Set(e.operation.clone()),
            subject_kind: Set(e.subject_kind.clone()),
            subject: Set(e.subject.clone()),
            was: Set(json(&e.before)?),
            became: Set(json(&e.after)?),
            reason: Set(e.reason.clone()),
            request_key: Set(e.request_key.clone()),
        })
    }
}

impl audit::Model {
    pub(crate) fn into_entry(self) -> Result<AuditEntry, StoreError> {
        let id = self.id;
        let at = At::new("audit", &id);
        Ok(AuditEntry {
            id: AuditId(id),
            at: at.instant("entered_at", self.entered_at)?,
            before: at.json_opt("was", self.was.as_deref())?,
            after: at.json_opt("became", self.became.as_deref())?,
            actor: self.actor,
            operation: self.operation,
            subject_kind: self.subject_kind,
            subject: self.subject,
            reason: self.reason,
            request_key: self.request_key,
        })
    }
}

impl token::Model {
    pub(crate) fn of(t: &ApiToken) -> Result<Self, StoreError> {
        let names: Vec<&str> = t.capabilities.iter().map(|capability| capability.name()).collect();
        Ok(Self {
            id: t.id.0,
            name: t.name.clone(),
            hash: t.hash.clone(),
            capabilities: to_json("a list of capabilities", &names)?,
            created_by: t.created_by.clone(),
            created_at: t.created_at.timestamp_micros(),
            expires_at: t.expires_at.map(|at| at.timestamp_micros()),
            revoked_at: t.revoked_at.map(|at| at.timestamp_micros()),
        })
    }

    pub(crate) fn into_token(self) -> Result<ApiToken, StoreError> {
        let id = self.id;
        let at = At::new("api_tokens", &id);
        let names: Vec<String> = at.json("capabilities", &self.capabilities)?;
        let capabilities = names
            .iter()
            .map(|name| {
                Capability::parse(name)
                    .ok_or_else(|| at.corrupt("capabilities", format_args!("“{name}” makes no sense")))
            })
            .collect::<Result<BTreeSet<_>, _>>()?;
        Ok(ApiToken {
            id: TokenId(id),
            capabilities,
            created_at: at.instant("created_at", self.created_at)?,
            expires_at: at.instant_opt("expires_at", self.expires_at)?,
            revoked_at: at.instant_opt("revoked_at", self.revoked_at)?,
            name: self.name,
            hash: self.hash,
            created_by: self.created_by,
        })
    }
}
