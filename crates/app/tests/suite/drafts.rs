//! Formulas at the desk: a new one with its first draft, a draft worked out before it is saved, two people at one draft.

use app::{Change, FormulaBegin, FormulaVersionWrite, LineWrite, Made, draft_mark};
use domain::{
    formulas::{AmountBasis, LineAmount, VersionStatus, WrittenAs},
    materials::MaterialKind,
    people::{Actor, Capability},
};
use engine::CostRequest;
use kernel::{DecimalMark, Mass, Percent, ids::FormulaId, parse_decimal};
use std::collections::BTreeSet;
use testkit::db::TestDatabase;

use crate::house::{House, kg, problems, refused};

testkit::on_both_databases!(
    a_new_formula_comes_with_its_draft_and_its_bulk,
    what_is_wrong_with_a_new_formula_is_named,
    a_draft_worked_out_costs_what_it_costs_once_saved,
    a_draft_somebody_else_saved_is_not_written_over,
);

fn percent(text: &str) -> Percent {
    Percent::from_percent(parse_decimal(text, DecimalMark::Point).unwrap()).unwrap()
}

fn draft(house: &House, formula: FormulaId, lines: &[(&str, &str)]) -> FormulaVersionWrite {
    let catalogue = house.app.catalogue(&house.actor).unwrap();
    let line = |(material, amount): &(&str, &str)| LineWrite {
        phase: Some("A".into()),
        material: catalogue.materials.by_code(material).unwrap().id,
        amount: match *amount {
            "q.s." => LineAmount::QuantitySufficient,
            other => LineAmount::Percent(percent(other)),
        },
        basis: AmountBasis::AsSupplied,
        function: None,
        use_level_from: None,
        use_level_to: None,
        weighing_tolerance: None,
        instruction: None,
        trim: None,
    };
    FormulaVersionWrite {
        formula,
        version: None,
        written_as: WrittenAs::Percent,
        lines: lines.iter().map(line).collect(),
        density: None,
        process_loss: Percent::ZERO,
        heel: Mass::ZERO,
        usual_batch: kg("100"),
        smallest_batch: None,
        largest_batch: None,
        cost_per_batch: None,
        making: None,
        seen: None,
        shelf_life: None,
        note: None,
    }
}

fn begin(house: &House, code: &str, makes: Made) -> FormulaBegin {
    let draft = draft(house, FormulaId::new(), &[("WAT", "q.s."), ("SLES", "12"), ("PRES", "0.8")]);
    FormulaBegin { code: code.into(), name: "Shampoo".into(), makes, draft }
}

fn bulk(code: &str) -> Made {
    Made { code: code.into(), kind: MaterialKind::Bulk }
}

async fn a_new_formula_comes_with_its_draft_and_its_bulk(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let input = begin(&house, "SH-1", bulk("BK-SH"));
    let change = Change::keyed(&house.actor, "begin-1");
    let version = house.app.formula_begin(&change, input.clone()).await.unwrap();
    assert_eq!(
        house.app.formula_begin(&change, input.clone()).await.unwrap(),
        version,
        "sent twice, done once"
    );
    let catalogue = house.app.catalogue(&house.actor).unwrap();
    let formula = catalogue.formulas.by_code("sh-1").unwrap();
    assert_eq!((formula.id, formula.versions.len(), version.number), (input.draft.formula, 1, 1));
    assert_eq!(formula.versions[0], version);
    assert_eq!(version.status, VersionStatus::Draft);
    let made = catalogue.materials.by_code("BK-SH").unwrap();
    assert_eq!((made.id, made.kind, made.name.as_str()), (formula.makes, MaterialKind::Bulk, "Shampoo"));
    let looker = Actor { name: "Visitor".into(), capabilities: BTreeSet::from([Capability::Look]) };
    let again = begin(&house, "SH-2", bulk("BK-S2"));
    let refused = house.app.formula_begin(&Change::by(&looker), again).await.unwrap_err();
    assert_eq!(refused.code(), "FORBIDDEN");
}

async fn what_is_wrong_with_a_new_formula_is_named(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let catalogue = house.app.catalogue(&house.actor).unwrap();
    let known = catalogue.formulas.by_code("HW-1").unwrap();
    let known_bulk = catalogue.materials.get(known.makes).unwrap().code.clone();
    let taken = begin(&house, "hw-1", bulk("BK-SH"));
    let error = house.app.formula_begin(&house.change(), taken).await.unwrap_err();
    assert_eq!(refused(error), ["TAKEN"]);
    let wrong = [
        (begin(&house, " ", bulk("BK-SH")), "a code is empty"),
        (begin(&house, "SH-1", bulk(" ")), "a code is empty"),
        (begin(&house, "SH-1", bulk("sles")), "is a raw material, which no formula makes"),
        (begin(&house, "SH-1", bulk(&known_bulk)), "is made by formula HW-1"),
        (
            begin(&house, "SH-1", Made { code: "X".into(), kind: MaterialKind::RawMaterial }),
            "a formula makes an intermediate or a bulk",
        ),
    ];
    for (input, why) in wrong {
        let found = problems(house.app.formula_begin(&house.change(), input).await.unwrap_err());
        assert!(found[0].contains(why), "{found:?} instead of {why}");
    }
    let after = house.app.catalogue(&house.actor).unwrap();
    assert_eq!(after.version, catalogue.version, "nothing was written");
}

async fn a_draft_worked_out_costs_what_it_costs_once_saved(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let (actor, today) = (&house.actor, house.app.today());
    // A new formula, one that is there, and one whose lines miss their total.
    let input = begin(&house, "SH-1", bulk("BK-SH"));
    let worked = house.app.draft_work_out(actor, &input.draft, "SH-1", None, today).unwrap();
    assert!(house.app.catalogue(actor).unwrap().formulas.by_code("SH-1").is_none(), "nothing is written");
    assert!(worked.packs.is_empty());
    let version = house.app.formula_begin(&house.change(), input).await.unwrap();
    let saved = house.app.cost_sheet(actor, &CostRequest::version(version.id, today)).unwrap();
    let before = worked.sheet.unwrap();
    assert_eq!((before.totals, before.gaps), (saved.totals, saved.gaps));

    let catalogue = house.app.catalogue(actor).unwrap();
    let hand_wash = catalogue.formulas.by_code("HW-1").unwrap();
    let next = draft(&house, hand_wash.id, &[("WAT", "q.s."), ("SLES", "15"), ("PRES", "0.8")]);
    let worked = house.app.draft_work_out(actor, &next, "", None, today).unwrap();
    let (pack, sheet) = &worked.packs[0];
    assert_eq!(pack.formula, hand_wash.id);
    let sheet = sheet.as_ref().unwrap();
    assert_eq!(sheet.subject.version, worked.version.id, "the pack is costed filled with the draft");
    assert_eq!(worked.version.number, 3);

    let missed = draft(&house, hand_wash.id, &[("WAT", "67"), ("SLES", "40"), ("PRES", "1")]);
    let worked = house.app.draft_work_out(actor, &missed, "", None, today).unwrap();
    assert!(worked.normal.unwrap_err().is_missed_total());
    assert_eq!(worked.proposals.len(), 2);
    // A formula does not come to contain itself, typed or saved.
    let bulk = catalogue.materials.get(hand_wash.makes).unwrap().code.clone();
    let own = draft(&house, hand_wash.id, &[("WAT", "q.s."), (&bulk, "10")]);
    assert!(house.app.draft_work_out(actor, &own, "", None, today).is_err());
}

async fn a_draft_somebody_else_saved_is_not_written_over(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let formula = house.app.catalogue(&house.actor).unwrap().formulas.by_code("HW-1").unwrap().id;
    let first = draft(&house, formula, &[("WAT", "q.s."), ("SLES", "15"), ("PRES", "0.8")]);
    let version = house.app.formula_version_write(&house.change(), first.clone()).await.unwrap();
    let read = draft_mark(&version).unwrap();
    let other = House::open(database).await;
    let with = |dose: &str, seen: &str| FormulaVersionWrite {
        version: Some(version.id),
        seen: Some(seen.to_owned()),
        ..draft(&house, formula, &[("WAT", "q.s."), ("SLES", dose), ("PRES", "0.8")])
    };
    // Both read it; the second to save is told, though the first saved in another process.
    let theirs = other.app.formula_version_write(&other.change(), with("16", &read)).await.unwrap();
    let error = house.app.formula_version_write(&house.change(), with("14", &read)).await.unwrap_err();
    assert_eq!(refused(error), ["DRAFT_CHANGED"]);
    // Having seen what the other saved, it may be written over.
    let seen = draft_mark(&theirs).unwrap();
    let mine = house.app.formula_version_write(&house.change(), with("14", &seen)).await.unwrap();
    assert_eq!(mine.lines[1].amount, LineAmount::Percent(percent("14")));
    // At once: one of the two is told.
    let seen = draft_mark(&mine).unwrap();
    let (change_a, change_b) = (house.change(), other.change());
    let (a, b) = tokio::join!(
        house.app.formula_version_write(&change_a, with("11", &seen)),
        other.app.formula_version_write(&change_b, with("12", &seen)),
    );
    assert_eq!(usize::from(a.is_ok()) + usize::from(b.is_ok()), 1, "{a:?} {b:?}");
}
