//! API tokens: 256 random bits, shown once, kept as a hash.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use domain::{
    people::{Actor, Capability},
    text,
};
use kernel::ids::TokenId;
use serde::{Deserialize, Serialize};
use store::{StoreError, tokens::ApiToken};

use crate::{
    App, Change, Error,
    change::{Begun, sha256_hex},
    require,
};

/// Begins every token, so that one left lying about can be recognised.
const PREFIX: &str = "stillroom_";

/// A token to be issued.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct TokenIssue {
    /// The name that will stand in the audit trail.
    pub name: String,
    /// What its holder may do.
    pub may: BTreeSet<Capability>,
    /// When it stops working; `None`: when revoked.
    pub expires_at: Option<DateTime<Utc>>,
}

/// A token just issued: the only time its secret is seen.
#[derive(Debug, Clone)]
pub struct IssuedToken {
    /// What is kept of it.
    pub token: ApiToken,
    /// What its holder sends as `Authorization: Bearer …`.
    pub secret: String,
}

impl App {
    /// Issues a token.
    ///
    /// # Errors
    /// [`Error::Forbidden`], [`Error::Invalid`].
    pub async fn token_issue(&self, actor: &Actor, input: TokenIssue) -> Result<IssuedToken, Error> {
        // No request key: the secret must not be kept, so a repeat could not answer the same.
        let change = Change::by(actor);
        let work = match self.begin::<()>(&change, Capability::Administer, "token-issue", &input).await? {
            Begun::Fresh(work) => work,
            Begun::Repeat(()) => return Err(Error::internal("a token was asked for twice under one key")),
        };
        let name = text::name("a name", &input.name).map_err(|e| Error::invalid("name", e))?;
        if input.may.is_empty() {
            return Err(Error::invalid("may", "a token that may do nothing is of no use"));
        }
        if input.expires_at.is_some_and(|at| at <= work.at) {
            return Err(Error::invalid("expiresAt", "this is past already"));
        }
        let secret = format!("{PREFIX}{}{}", random_hex()?, random_hex()?);
        let token = ApiToken {
            id: TokenId::new(),
            name,
            hash: sha256_hex(secret.as_bytes()),
            capabilities: input.may,
            created_by: work.by.clone(),
            created_at: work.at,
            expires_at: input.expires_at,
            revoked_at: None,
        };
        store::tokens::token_insert(&work.tx, &token).await?;
        let mut work = work;
        work.note(
            "token",
            token.id,
            None::<&()>,
            &serde_json::json!({ "name": token.name, "may": token.capabilities, "expiresAt": token.expires_at }),
            None,
        )?;
        work.finish(()).await?;
        Ok(IssuedToken { token, secret })
    }

    /// All tokens, without their secrets.
    ///
    /// # Errors
    /// [`Error::Forbidden`].
    pub async fn tokens(&self, actor: &Actor) -> Result<Vec<ApiToken>, Error> {
        require(actor, Capability::Administer)?;
        Ok(store::tokens::tokens_list(self.store()).await?)
    }

    /// Whether anybody could sign in with a token.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn has_tokens(&self) -> Result<bool, Error> {
        let now = self.now();
        Ok(store::tokens::tokens_list(self.store()).await?.iter().any(|token| works_at(token, now)))
    }

    /// Ends a token.
    ///
    /// # Errors
    /// [`Error::Forbidden`], [`Error::NotFound`].
    pub async fn token_revoke(&self, actor: &Actor, id: TokenId) -> Result<(), Error> {
        let change = Change::by(actor);
        let mut work = match self.begin::<()>(&change, Capability::Administer, "token-revoke", &id).await? {
            Begun::Fresh(work) => work,
            Begun::Repeat(()) => return Ok(()),
        };
        match store::tokens::token_revoke(&work.tx, id, work.at).await {
            Err(StoreError::NotFound { .. }) => return Err(Error::not_found("token", id)),
            other => other?,
        }
        work.note("token", id, None::<&()>, &serde_json::json!({ "revoked": true }), None)?;
        work.finish(()).await
    }

    /// Who holds a token; `None` for one that is unknown, expired or revoked.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn actor_of_token(&self, secret: &str) -> Result<Option<Actor>, Error> {
        if !secret.starts_with(PREFIX) {
            return Ok(None);
        }
        let now = self.now();
        let token = store::tokens::token_by_hash(self.store(), &sha256_hex(secret.as_bytes())).await?;
        Ok(token
            .filter(|token| works_at(token, now))
            .map(|token| Actor { name: token.name, capabilities: token.capabilities }))
    }
}

fn works_at(token: &ApiToken, now: DateTime<Utc>) -> bool {
    token.revoked_at.is_none() && token.expires_at.is_none_or(|at| at > now)
}

/// 128 random bits; two of them make a secret.
fn random_hex() -> Result<String, Error> {
    let mut bytes = [0_u8; 16];
    getrandom::fill(&mut bytes).map_err(Error::internal)?;
    Ok(uuid::Uuid::from_bytes(bytes).simple().to_string())
}
