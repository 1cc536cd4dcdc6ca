//! Who may do what, and tokens.

use std::collections::BTreeSet;

use app::{Change, LotStatusChange, TokenIssue};
use domain::{
    lots::LotStatus,
    people::{Actor, Capability},
};
use testkit::db::TestDatabase;

use crate::making::stocked;

testkit::on_both_databases!(each_change_takes_its_right, tokens_come_and_go);

async fn each_change_takes_its_right(database: &TestDatabase) {
    let house = stocked(database).await;
    let lot = house.lot("L-1").await.id;
    let looker = Actor { name: "Visitor".into(), capabilities: BTreeSet::from([Capability::Look]) };
    assert!(house.app.catalogue(&looker).is_ok());
    let hold =
        LotStatusChange { lot, status: LotStatus::OnHold, reason: Some("no".into()), restriction: None };
    let refused = house.app.lot_status_change(&Change::by(&looker), hold).await.unwrap_err();
    assert_eq!(refused.to_string(), "this takes the right to release-and-reject");
    assert_eq!(house.lot("L-1").await.status, LotStatus::Released);
    let nobody = Actor { name: "Nobody".into(), capabilities: BTreeSet::new() };
    assert_eq!(house.app.catalogue(&nobody).unwrap_err().code(), "FORBIDDEN");
}

async fn tokens_come_and_go(database: &TestDatabase) {
    let house = stocked(database).await;
    assert!(!house.app.has_tokens().await.unwrap());
    let issue = TokenIssue {
        name: "Bench tablet".into(),
        may: BTreeSet::from([Capability::Look, Capability::PlanAndMake]),
        expires_at: Some("2026-12-01T00:00:00Z".parse().unwrap()),
    };
    let issued = house.app.token_issue(&house.actor, issue).await.unwrap();
    let holder = house.app.actor_of_token(&issued.secret).await.unwrap().unwrap();
    assert_eq!(holder.name, "Bench tablet");
    assert!(holder.may(Capability::PlanAndMake) && !holder.may(Capability::Buy));
    assert_eq!(house.app.actor_of_token("stillroom_00").await.unwrap(), None);
    assert_eq!(house.app.actor_of_token("").await.unwrap(), None);
    house.set_day("2026-12-02");
    assert_eq!(house.app.actor_of_token(&issued.secret).await.unwrap(), None);
    house.set_day("2026-11-26");
    house.app.token_revoke(&house.actor, issued.token.id).await.unwrap();
    assert_eq!(house.app.actor_of_token(&issued.secret).await.unwrap(), None);
}
