//! Requests, the audit trail and tokens.

use domain::people::Capability;
use kernel::ids::{AuditId, TokenId};
use serde_json::json;
use store::{
    StoreError,
    audit::{AuditEntry, AuditFilter, audit_insert, audit_page},
    constraints,
    requests::{StoredRequest, request_find, request_insert, requests_forget},
    tokens::{ApiToken, token_by_hash, token_insert, token_revoke, tokens_list},
};
use testkit::{db::TestDatabase, on_both_databases, samples::instant};

use crate::house::{tx, written};

on_both_databases! {
    requests_are_kept_with_their_answers,
    the_audit_trail_is_read_backwards,
    tokens_are_kept_by_their_hash,
}

async fn requests_are_kept_with_their_answers(database: &TestDatabase) {
    let store = &database.store;
    let request = |key: &str, at: &str| StoredRequest {
        key: key.to_owned(),
        operation: "lot_receive".to_owned(),
        input_hash: "0123".to_owned(),
        answer: json!({"lot": "L-1", "cost": "0.10", "list": [1, null, "Ω"]}),
        at: instant(at),
    };
    let (old, new) = (request("k-1", "2026-01-01T00:00:00.000001Z"), request("k-2", "2026-01-02T00:00:00Z"));
    let write = tx(store).await;
    written(&write, |w| request_insert(w, &old)).await.unwrap();
    written(&write, |w| request_insert(w, &new)).await.unwrap();
    write.commit().await.unwrap();
    assert_eq!(request_find(store, "k-1").await.unwrap(), Some(old.clone()));
    assert_eq!(request_find(store, "K-1").await.unwrap(), None);

    let write = tx(store).await;
    let taken = written(&write, |w| request_insert(w, &old)).await.unwrap_err();
    assert!(taken.is_taken(constraints::REQUEST_KEY), "{taken:?}");
    drop(write);

    let write = tx(store).await;
    assert_eq!(requests_forget(&write, new.at).await.unwrap(), 1);
    write.commit().await.unwrap();
    assert_eq!(request_find(store, "k-1").await.unwrap(), None);
    assert_eq!(request_find(store, "k-2").await.unwrap(), Some(new));
}

async fn the_audit_trail_is_read_backwards(database: &TestDatabase) {
    let store = &database.store;
    let mut entries = Vec::new();
    let write = tx(store).await;
    for number in 0..5 {
        let entry = AuditEntry {
            id: AuditId::new(),
            at: instant("2026-01-05T09:30:00.123456Z"),
            actor: if number % 2 == 0 { "Ada Sample" } else { "Ben Sample" }.to_owned(),
            operation: "lot_status_change".to_owned(),
            subject_kind: "lot".to_owned(),
            subject: format!("L-{}", number / 2),
            before: (number > 0).then(|| json!({"status": "quarantine"})),
            after: Some(json!({"status": "released", "number": number})),
            reason: (number == 4).then(|| "certificate in order".to_owned()),
            request_key: Some(format!("k-{number}")),
        };
        written(&write, |w| audit_insert(w, std::slice::from_ref(&entry))).await.unwrap();
        entries.insert(0, entry);
    }
    write.commit().await.unwrap();

    let all = AuditFilter::default();
    let first = audit_page(store, &all, None, 2).await.unwrap();
    assert_eq!((first.rows.as_slice(), first.has_more), (&entries[..2], true));
    let rest = audit_page(store, &all, Some(entries[1].id), 10).await.unwrap();
    assert_eq!((rest.rows.as_slice(), rest.has_more), (&entries[2..], false));
    let of_lot = AuditFilter {
        subject_kind: Some("lot".to_owned()),
        subject: Some("L-1".to_owned()),
        actor: Some("Ada Sample".to_owned()),
    };
    assert_eq!(audit_page(store, &of_lot, None, 10).await.unwrap().rows, [entries[2].clone()]);
    let missing = audit_page(store, &all, Some(AuditId::new()), 10).await;
    assert!(matches!(missing, Err(StoreError::NotFound { .. })), "{missing:?}");
}

async fn tokens_are_kept_by_their_hash(database: &TestDatabase) {
    let store = &database.store;
    let mut token = ApiToken {
        id: TokenId::new(),
        name: "the bench".to_owned(),
        hash: "ab".repeat(32),
        capabilities: [Capability::Look, Capability::PlanAndMake].into(),
        created_by: "Ada Sample".to_owned(),
        created_at: instant("2026-01-05T09:30:00Z"),
        expires_at: Some(instant("2027-01-05T09:30:00Z")),
        revoked_at: None,
    };
    let write = tx(store).await;
    token_insert(&write, &token).await.unwrap();
    write.commit().await.unwrap();
    assert_eq!(token_by_hash(store, &token.hash).await.unwrap().as_ref(), Some(&token));
    assert_eq!(token_by_hash(store, "").await.unwrap(), None);

    let write = tx(store).await;
    let twin = ApiToken { id: TokenId::new(), ..token.clone() };
    let taken = token_insert(&write, &twin).await.unwrap_err();
    assert!(taken.is_taken(constraints::TOKEN_HASH), "{taken:?}");
    drop(write);

    token.revoked_at = Some(instant("2026-02-01T00:00:00Z"));
    let write = tx(store).await;
    token_revoke(&write, token.id, token.revoked_at.unwrap()).await.unwrap();
    // The first time counts.
    token_revoke(&write, token.id, instant("2026-03-01T00:00:00Z")).await.unwrap();
    let missing = token_revoke(&write, TokenId::new(), instant("2026-03-01T00:00:00Z")).await;
    assert!(matches!(missing, Err(StoreError::NotFound { what: "token", .. })), "{missing:?}");
    write.commit().await.unwrap();
    assert_eq!(tokens_list(store).await.unwrap(), [token]);
}
