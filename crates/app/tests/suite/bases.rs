//! Costing on what was paid: the ledger's history against the quotations.

use app::StandardsFreeze;
use engine::{CostRequest, basis::Basis};
use kernel::Exact;
use testkit::db::TestDatabase;

use crate::house::{House, problems};

testkit::on_both_databases!(each_basis_has_its_own_figure, standards_stand);

/// 0.12 kg of ether sulfate stand in a kilogram charged, so that a difference in its price shows as 0.12 of it.
async fn sles_cost(house: &House, basis: Basis) -> Option<Exact> {
    let catalogue = house.app.catalogue(&house.actor).unwrap();
    let version = catalogue.formulas.by_code("HW-1").unwrap().version(1).unwrap().id;
    let request = CostRequest::version(version, house.app.today()).on_basis(basis);
    let sheet = house.app.cost_sheet_on_basis(&house.actor, &request).await.unwrap();
    let sles = catalogue.materials.by_code("SLES").unwrap().id;
    sheet.lines.iter().find(|l| l.material.as_ref().is_some_and(|m| m.id == sles)).unwrap().unit_cost.clone()
}

fn pounds(text: &str) -> Option<Exact> {
    kernel::parse_decimal(text, kernel::DecimalMark::Point).ok().map(Exact::from)
}

async fn each_basis_has_its_own_figure(database: &TestDatabase) {
    let house = House::furnished(database).await;
    // Nothing received: no history, and that is a gap, not a quotation in disguise.
    assert_eq!(sles_cost(&house, Basis::MovingAverage).await, None);
    house.receive("SLES", "L-1", "100 kg", Some("140.00")).await;
    house.set_day("2026-11-26");
    house.receive("SLES", "L-2", "300 kg", Some("480.00")).await;
    assert_eq!(sles_cost(&house, Basis::Replacement).await, pounds("1.5"));
    assert_eq!(sles_cost(&house, Basis::LastPurchase).await, pounds("1.6"));
    // 620.00 for 400 kg.
    assert_eq!(sles_cost(&house, Basis::MovingAverage).await, pounds("1.55"));
    // The 12 kg of a batch come from the older lot.
    assert_eq!(sles_cost(&house, Basis::Fifo).await, pounds("1.4"));

    // Used up, the older lot is still part of what happened.
    let old = house.lot("L-1").await;
    let all = app::LotTake {
        lot: old.id,
        purpose: app::TakenFor::WriteOff,
        quantity: old.on_hand,
        reason: "leaked".into(),
        cause: None,
        container: None,
        on: None,
    };
    house.app.lot_take(&house.change(), all).await.unwrap();
    assert_eq!(sles_cost(&house, Basis::Fifo).await, pounds("1.6"));
    // The average goes on from 300 kg worth 465.00.
    assert_eq!(sles_cost(&house, Basis::MovingAverage).await, pounds("1.55"));
}

async fn standards_stand(database: &TestDatabase) {
    let house = House::furnished(database).await;
    assert_eq!(sles_cost(&house, Basis::Standard).await, None);
    let freeze = |basis| StandardsFreeze { basis, on: None };
    let frozen = house.app.standards_freeze(&house.change(), freeze(Basis::Replacement)).await.unwrap();
    assert_eq!((frozen.standards.len(), frozen.without.len()), (4, 0));
    assert_eq!(sles_cost(&house, Basis::Standard).await, pounds("1.5"));
    // Prices go up; the standard stays until another day's is frozen.
    let header = "quotation,supplier,material,pack,price,price per,valid from\n";
    house
        .import(&[("quotations.csv", format!("{header}O-9,OAK,SLES,100 kg,1.10,kg,2026-11-20\n"))])
        .await
        .unwrap();
    let again = house.app.standards_freeze(&house.change(), freeze(Basis::Replacement)).await.unwrap();
    assert_eq!(again.standards, vec![]);
    assert_eq!(sles_cost(&house, Basis::Standard).await, pounds("1.5"));
    house.set_day("2026-11-26");
    house.app.standards_freeze(&house.change(), freeze(Basis::Replacement)).await.unwrap();
    assert_eq!(sles_cost(&house, Basis::Standard).await, pounds("1.1"));
    let circular = house.app.standards_freeze(&house.change(), freeze(Basis::Standard)).await.unwrap_err();
    assert_eq!(problems(circular), ["basis: a standard is frozen from another basis"]);
}
