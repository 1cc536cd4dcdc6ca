//! Weighing in full: balances, strengths, alternates, second checks, sheets typed twice, late entries, scaling, pausing, voiding, rework.

use app::{
    AlternateApprove, BalanceRecord, NextStep, ReworkWrite, TicketAsks, TicketScale, TicketSize, TicketStep,
    TicketSubject, TicketVoid, TicketWrite, VoidedWeighing, WeighingConfirm, WeighingHow, WeighingTakeBack,
    WeighingWrite,
};
use domain::{
    Refusal,
    lots::LotStatus,
    people::{Actor, Capability},
    tickets::{Ticket, TicketStatus, WeighingOutcome},
};
use kernel::{Mass, Quantity, ids::LotId};
use testkit::db::TestDatabase;

use crate::{
    house::{House, day, kg, pounds, problems, quantity_of, refused, sheets},
    making::{allocate, complete, stocked, weigh, weighing, write},
};

testkit::on_both_databases!(
    targets_are_rounded_to_the_balances,
    a_balance_has_to_be_fit,
    a_weak_lot_takes_more_and_the_water_less,
    an_approved_alternate_counts_by_its_factor,
    two_people_look_at_a_weighing,
    the_same_sheet_is_not_entered_twice,
    a_late_entry_is_marked,
    too_much_of_one_line_scales_the_batch,
    a_paused_ticket_rests,
    a_voided_ticket_says_where_everything_went,
    rework_is_an_input_with_its_lot,
    a_ticket_is_a_frozen_copy,
    a_lot_is_looked_at_again_when_it_is_weighed,
);

async fn balance(house: &House, code: &str, division: &str, capacity: &str, due: Option<&str>) {
    let record = BalanceRecord {
        code: code.to_owned(),
        name: code.to_owned(),
        division: kg(division),
        capacity: kg(capacity),
        smallest_net: None,
        calibration_due: due.map(day),
        note: None,
    };
    house.app.balance_record(&house.change(), record).await.unwrap();
}

async fn write_asking(house: &House, batch: &str, asks: TicketAsks) -> Result<Ticket, app::Error> {
    let catalogue = house.app.catalogue(&house.actor).unwrap();
    let input = TicketWrite {
        subject: TicketSubject::Formula(catalogue.formulas.by_code("HW-1").unwrap().id),
        size: TicketSize::Batch(kg(batch)),
        planned_for: day("2026-11-25"),
        number: None,
        note: None,
        asks,
    };
    house.app.ticket_write(&house.change(), input).await
}

fn with(weighing: WeighingWrite, how: WeighingHow) -> WeighingWrite {
    WeighingWrite { how, ..weighing }
}

fn targets(ticket: &Ticket) -> Vec<String> {
    ticket.lines.iter().map(|line| line.target.to_string()).collect()
}

async fn targets_are_rounded_to_the_balances(database: &TestDatabase) {
    let house = stocked(database).await;
    balance(&house, "FINE", "0.001 g", "2 kg", None).await;
    balance(&house, "PLAT", "20 g", "60 kg", None).await;
    let ticket = write(&house, "33.333").await;
    // 10 % and 12 % in steps of 20 g, 0.8 % in steps of a milligram; the water takes the difference.
    assert_eq!(targets(&ticket), ["25.726336 kg", "3.34 kg", "4 kg", "0.266664 kg"]);
    let sum: i64 = ticket.lines.iter().map(|line| line.target.micrograms()).sum();
    assert_eq!(Mass::from_micrograms(sum), kg("33.333"));
    let known = house.app.balances(&house.actor).await.unwrap();
    let chosen: Vec<Option<&str>> = ticket
        .lines
        .iter()
        .map(|line| known.iter().find(|b| Some(b.id) == line.asks.balance).map(|b| b.code.as_str()))
        .collect();
    assert_eq!(chosen, [None, Some("PLAT"), Some("PLAT"), Some("FINE")]);
    // So little that no balance is fit for it has none, and is not rounded.
    let tiny = write(&house, "0.005").await;
    assert_eq!(tiny.lines[3].asks.balance, None);
    assert_eq!(tiny.lines[3].target, kg("0.00004"));
}

async fn a_balance_has_to_be_fit(database: &TestDatabase) {
    let house = stocked(database).await;
    balance(&house, "FINE", "0.01 g", "2 kg", None).await;
    balance(&house, "PLAT", "20 g", "60 kg", Some("2026-11-24")).await;
    let known = house.app.balances(&house.actor).await.unwrap();
    let id = |code: &str| known.iter().find(|b| b.code == code).map(|b| b.id);
    let ticket = write(&house, "100").await;
    let pres = house.lot("L-2").await.id;
    let on = |code: &str, amount: &str| {
        with(weighing(4, Some(pres), amount), WeighingHow { balance: id(code), ..WeighingHow::default() })
    };
    // Due for calibration, and too coarse for 0.8 kg at 1 %: both said.
    let refusal = weigh(&house, &ticket, vec![on("PLAT", "0.8")]).await.unwrap_err();
    let app::Error::Refused(refusals) = &refusal else { panic!("{refusal:?}") };
    assert!(
        matches!(&refusals[..], [Refusal::BalanceNotFit { because, .. }] if because.len() == 2),
        "{refusals:?}"
    );
    // A figure it cannot show is a slip.
    let slip = weigh(&house, &ticket, vec![on("FINE", "0.800001")]).await.unwrap_err();
    assert_eq!(problems(slip), ["weighings[0].amount: FINE shows steps of 0.00001 kg, so never 0.800001 kg"]);
    // Gross and tare have to make the net.
    let how = WeighingHow {
        gross: Some(kg("1.2")),
        tare: Some(kg("0.5")),
        balance: id("FINE"),
        ..WeighingHow::default()
    };
    let unequal = with(weighing(4, Some(pres), "0.8"), how.clone());
    assert_eq!(problems(weigh(&house, &ticket, vec![unequal]).await.unwrap_err()).len(), 1);
    let equal = with(weighing(4, Some(pres), "0.7"), how);
    let ticket = weigh(&house, &ticket, vec![equal]).await.unwrap();
    let kept = &ticket.weighings[0].how;
    assert_eq!((kept.gross, kept.tare, kept.balance), (Some(kg("1.2")), Some(kg("0.5")), id("FINE")));
    // With a reason, somebody who may release and reject takes the balance all the same.
    let all_the_same =
        WeighingWrite { reason: Some("checked with a test weight".into()), ..on("PLAT", "0.1") };
    let all_the_same = WeighingWrite { amount: kg("0.1"), ..all_the_same };
    weigh(&house, &ticket, vec![all_the_same]).await.unwrap();
}

/// A formula whose ether sulfate is written as active matter: 8.4 % active is 12 % of a 70 % grade.
async fn active_house(database: &TestDatabase) -> House {
    let house = House::open(database).await;
    let sheets: Vec<(&str, String)> = sheets()
        .into_iter()
        .map(|(name, text)| {
            let text = text
                .replace("period after opening,use level to", "active matter,use level to")
                .replace(
                    "SLES,Ether sulfate 70 %,raw material,1.05,24 months,,",
                    "SLES,Ether sulfate 70 %,raw material,1.05,24 months,70 %,",
                )
                .replace("GUM,Gum,raw material,,36 months,6 months,,", "GUM,Gum,raw material,,36 months,,,")
                .replace("HW-1,1,3,SLES,12 %", "HW-1,1,3,SLES,8.4 %");
            let text = match name {
                "formula-lines.csv" => text
                    .lines()
                    .map(|line| match line {
                        heading if heading.starts_with("formula") => format!("{heading},basis\n"),
                        active if active.contains("8.4 %") => format!("{active},active matter\n"),
                        other => format!("{other},\n"),
                    })
                    .collect(),
                _ => text,
            };
            (name, text)
        })
        .collect();
    house.import(&sheets).await.unwrap();
    house.receive("SLES", "L-1", "100 kg", Some("150.00")).await;
    house.receive("PRES", "L-2", "5 kg", Some("50.00")).await;
    house.receive("STOCK", "L-3", "50 kg", Some("30.00")).await;
    house
}

/// An equal-active exchange (common practice, no source): 12 kg of a 70 % grade are 30 kg of a 28 % one, and the water falls by 18 kg.
/// Charge is required pure over strength as it is: (United States Pharmacopeia, general notices, assay on the as-is basis, from memory.)
async fn a_weak_lot_takes_more_and_the_water_less(database: &TestDatabase) {
    let house = active_house(database).await;
    let lots = "lot,material,quantity,unit cost,received,active matter,status\nS-28,SLES,60 kg,0.60,2026-11-20,28 %,released\n";
    house.import(&[("lots.csv", lots.to_owned())]).await.unwrap();
    let weak = house.lot("S-28").await;
    let strong = house.lot("L-1").await;
    let ticket = write(&house, "100").await;
    assert_eq!(ticket.lines[2].target, kg("12"));

    // Half from each: 6 kg of the strong, 15 kg of the weak.
    let both = vec![weighing(3, Some(strong.id), "6"), weighing(3, Some(weak.id), "15")];
    let ticket = weigh(&house, &ticket, both).await.unwrap();
    let (water, active) = (&ticket.lines[0], &ticket.lines[2]);
    assert_eq!((ticket.counted_on(active.id), ticket.weighed_on(active.id)), (kg("12"), kg("21")));
    assert_eq!(ticket.remaining_on(active), Mass::ZERO);
    assert_eq!(ticket.target_of(water), kg("68.2"), "77.2 less 9");
    // Any more would be above the tolerance, by what it counts for.
    let over = weigh(&house, &ticket, vec![weighing(3, Some(weak.id), "0.31")]).await.unwrap_err();
    assert_eq!(refused(over), ["OUTSIDE_TOLERANCE"]);
    let (pres, stock) = (house.lot("L-2").await.id, house.lot("L-3").await.id);
    let rest =
        vec![weighing(1, None, "68.2"), weighing(2, Some(stock), "10"), weighing(4, Some(pres), "0.8")];
    let ticket = weigh(&house, &ticket, rest).await.unwrap();
    assert_eq!(ticket.charged(), kg("100"));
    // The ledger takes what really left the lots.
    assert_eq!(house.lot("S-28").await.on_hand, quantity_of("45 kg"));
    house.app.ticket_complete(&house.change(), complete(&ticket, "98")).await.unwrap();
    house.assert_sound().await;
}

async fn an_approved_alternate_counts_by_its_factor(database: &TestDatabase) {
    let house = stocked(database).await;
    let other = "code,name,kind,density\nSLES28,Ether sulfate 28 %,raw material,1.03\n";
    house.import(&[("materials.csv", other.to_owned())]).await.unwrap();
    let lot = house.receive("SLES28", "L-9", "60 kg", Some("36.00")).await;
    let ticket = write(&house, "100").await;
    let entry = || weighing(3, Some(lot.id), "30");
    assert_eq!(refused(weigh(&house, &ticket, vec![entry()]).await.unwrap_err()), ["LOT_OF_OTHER_MATERIAL"]);

    let catalogue = house.app.catalogue(&house.actor).unwrap();
    let id = |code: &str| catalogue.materials.by_code(code).unwrap().id;
    let approve = |until: Option<&str>| AlternateApprove {
        material: id("SLES"),
        alternate: id("SLES28"),
        formula: None,
        factor: "2.5".parse().unwrap(),
        changes_label: false,
        valid_until: until.map(day),
        evidence: Some("trial 14C, three months at 40 °C".into()),
    };
    // An approval that has ended does not help.
    house.app.alternate_approve(&house.change(), approve(Some("2026-11-24"))).await.unwrap();
    assert_eq!(refused(weigh(&house, &ticket, vec![entry()]).await.unwrap_err()), ["LOT_OF_OTHER_MATERIAL"]);
    house.app.alternate_approve(&house.change(), approve(None)).await.unwrap();
    let ticket = weigh(&house, &ticket, vec![entry()]).await.unwrap();
    let line = &ticket.lines[2];
    assert_eq!((ticket.counted_on(line.id), ticket.weighed_on(line.id)), (kg("12"), kg("30")));
    assert_eq!(ticket.target_of(&ticket.lines[0]), kg("59.2"), "77.2 less 18");
    assert_eq!(house.lot("L-9").await.on_hand, quantity_of("30 kg"));
    house.assert_sound().await;
}

async fn two_people_look_at_a_weighing(database: &TestDatabase) {
    let house = stocked(database).await;
    let asks = TicketAsks { second_check_lines: vec![4], ..TicketAsks::default() };
    let ticket = write_asking(&house, "100", asks).await.unwrap();
    let (sles, pres, stock) =
        (house.lot("L-1").await.id, house.lot("L-2").await.id, house.lot("L-3").await.id);
    let all = vec![
        weighing(1, None, "77.2"),
        weighing(2, Some(stock), "10"),
        weighing(3, Some(sles), "12"),
        weighing(4, Some(pres), "0.8"),
    ];
    let ticket = weigh(&house, &ticket, all).await.unwrap();
    let make = TicketStep { ticket: ticket.id, step: NextStep::Make, note: None };
    let early = house.app.ticket_step(&house.change(), make.clone()).await.unwrap_err();
    assert_eq!(refused(early), ["NOT_CHECKED"]);
    let early = house.app.ticket_complete(&house.change(), complete(&ticket, "98")).await.unwrap_err();
    assert_eq!(refused(early), ["NOT_CHECKED"]);

    // Nobody confirms their own; somebody else does, once.
    let of_pres = ticket.weighings.iter().find(|w| w.lot == Some(pres)).unwrap().id;
    let confirm = WeighingConfirm { ticket: ticket.id, weighing: of_pres };
    let own = house.app.weighing_confirm(&house.change(), confirm.clone()).await.unwrap_err();
    assert_eq!(problems(own), ["weighing: the second check is another person's"]);
    let second = Actor::with_all_capabilities("C. Dowle");
    let ticket = house.app.weighing_confirm(&app::Change::by(&second), confirm.clone()).await.unwrap();
    let confirmed = ticket.weighings.iter().find(|w| w.id == of_pres).unwrap();
    assert_eq!(confirmed.checked_by.as_deref(), Some("C. Dowle"));
    assert!(confirmed.how.checked_at.is_some());
    let again = house.app.weighing_confirm(&app::Change::by(&second), confirm).await.unwrap_err();
    assert_eq!(problems(again), ["weighing: C. Dowle has confirmed it"]);
    let made = house.app.ticket_step(&house.change(), make).await.unwrap();
    assert_eq!(made.status, TicketStatus::Making);
}

async fn the_same_sheet_is_not_entered_twice(database: &TestDatabase) {
    let house = stocked(database).await;
    let ticket = write(&house, "100").await;
    let sles = house.lot("L-1").await.id;
    let sheet = || vec![weighing(3, Some(sles), "5.5")];
    let ticket = weigh(&house, &ticket, sheet()).await.unwrap();
    // Without a request key, or under another: typed again it is refused, and nothing moves.
    assert_eq!(refused(weigh(&house, &ticket, sheet()).await.unwrap_err()), ["ENTERED_BEFORE"]);
    assert_eq!(house.lot("L-1").await.on_hand, quantity_of("94.5 kg"));
    // Twice on one sheet too.
    let twice = vec![weighing(1, None, "1"), weighing(1, None, "1")];
    assert_eq!(refused(weigh(&house, &ticket, twice).await.unwrap_err()), ["ENTERED_BEFORE"]);
    // Another one is said to be another one; and what was taken back may be entered again.
    let another = with(sheet().remove(0), WeighingHow { another: true, ..WeighingHow::default() });
    let ticket = weigh(&house, &ticket, vec![another]).await.unwrap();
    for weighing in &ticket.weighings {
        let back = WeighingTakeBack { ticket: ticket.id, weighing: weighing.id, reason: "wrong".into() };
        house.app.weighing_take_back(&house.change(), back).await.unwrap();
    }
    weigh(&house, &ticket, sheet()).await.unwrap();
    // Two days later it is another sheet.
    house.set_day("2026-11-27");
    weigh(&house, &ticket, sheet()).await.unwrap();
    house.assert_sound().await;
}

async fn a_late_entry_is_marked(database: &TestDatabase) {
    let house = stocked(database).await;
    let ticket = write(&house, "100").await;
    let at = |text: &str| Some(text.parse().unwrap());
    let late = with(
        weighing(1, None, "70"),
        WeighingHow { done_at: at("2026-11-24T16:20:00Z"), ..WeighingHow::default() },
    );
    let ticket = weigh(&house, &ticket, vec![late, weighing(1, None, "7.2")]).await.unwrap();
    let marked: Vec<bool> = ticket.weighings.iter().map(domain::tickets::Weighing::is_late).collect();
    assert_eq!(marked.iter().filter(|late| **late).count(), 1);
    let early = with(
        weighing(1, None, "0.1"),
        WeighingHow { done_at: at("2026-11-25T08:00:01Z"), ..WeighingHow::default() },
    );
    assert_eq!(
        problems(weigh(&house, &ticket, vec![early]).await.unwrap_err()),
        ["weighings[0].doneAt: it cannot have been weighed later than now"]
    );
}

async fn too_much_of_one_line_scales_the_batch(database: &TestDatabase) {
    let house = stocked(database).await;
    let ticket = write(&house, "100").await;
    let ticket = allocate(&house, &ticket).await.unwrap();
    let sles = house.lot("L-1").await.id;
    let refusal = weigh(&house, &ticket, vec![weighing(3, Some(sles), "12.6")]).await.unwrap_err();
    let app::Error::Refused(refusals) = &refusal else { panic!("{refusal:?}") };
    let [Refusal::OutsideTolerance { scaled_batch: Some(scaled), .. }] = &refusals[..] else {
        panic!("{refusals:?}")
    };
    assert_eq!(*scaled, Quantity::Mass(kg("105")));
    let scale = |batch: &str| TicketScale {
        ticket: ticket.id,
        batch: kg(batch),
        reason: "too much ether sulfate".into(),
    };
    let ticket = house.app.ticket_scale(&house.change(), scale("105")).await.unwrap();
    assert_eq!(targets(&ticket), ["81.06 kg", "10.5 kg", "12.6 kg", "0.84 kg"]);
    assert_eq!((ticket.batch, ticket.planned_batch), (kg("105"), Some(kg("100"))));
    assert!(
        ticket.steps.last().unwrap().note.as_deref().unwrap().starts_with("scaled from 100 kg to 105 kg")
    );
    weigh(&house, &ticket, vec![weighing(3, Some(sles), "12.6")]).await.unwrap();
    let down = house.app.ticket_scale(&house.change(), scale("100")).await.unwrap_err();
    assert_eq!(problems(down), ["batch: a batch is scaled up; it is 105 kg now"]);
}

async fn a_paused_ticket_rests(database: &TestDatabase) {
    let house = stocked(database).await;
    let ticket = write(&house, "100").await;
    let step =
        |step, note: Option<&str>| TicketStep { ticket: ticket.id, step, note: note.map(ToOwned::to_owned) };
    let pause = || step(NextStep::Pause, Some("the mixer stopped"));
    let unbegun = house.app.ticket_step(&house.change(), pause()).await.unwrap_err();
    assert_eq!(refused(unbegun), ["TICKET_NOT_READY"]);
    weigh(&house, &ticket, vec![weighing(1, None, "70")]).await.unwrap();
    let without = house.app.ticket_step(&house.change(), step(NextStep::Pause, None)).await.unwrap_err();
    assert_eq!(problems(without), ["note: say why it is paused"]);
    let paused = house.app.ticket_step(&house.change(), pause()).await.unwrap();
    assert_eq!(
        (paused.status, paused.paused.unwrap().reason.as_str()),
        (TicketStatus::Weighing, "the mixer stopped")
    );
    assert_eq!(
        refused(weigh(&house, &ticket, vec![weighing(1, None, "7")]).await.unwrap_err()),
        ["TICKET_PAUSED"]
    );
    assert_eq!(
        refused(house.app.ticket_step(&house.change(), pause()).await.unwrap_err()),
        ["TICKET_PAUSED"]
    );
    house.app.ticket_step(&house.change(), step(NextStep::Resume, None)).await.unwrap();
    let ticket = weigh(&house, &ticket, vec![weighing(1, None, "7")]).await.unwrap();
    let notes: Vec<&str> = ticket.steps.iter().filter_map(|step| step.note.as_deref()).collect();
    assert_eq!(notes, ["paused: the mixer stopped", "resumed"]);
}

async fn a_voided_ticket_says_where_everything_went(database: &TestDatabase) {
    let house = stocked(database).await;
    let ticket = write(&house, "100").await;
    let (sles, pres, stock) =
        (house.lot("L-1").await.id, house.lot("L-2").await.id, house.lot("L-3").await.id);
    let void = |ticket: &Ticket, outcomes| TicketVoid {
        ticket: ticket.id,
        reason: "the vessel leaks".into(),
        outcomes,
        otherwise: WeighingOutcome::Scrapped,
        rework_lot: Some("W-1".into()),
    };
    // Nothing weighed yet: that is cancelled, not voided.
    let early = house.app.ticket_void(&house.change(), void(&ticket, vec![])).await.unwrap_err();
    assert_eq!(refused(early), ["TICKET_NOT_READY"]);
    let ticket = allocate(&house, &ticket).await.unwrap();
    let some = vec![
        weighing(1, None, "70"),
        weighing(2, Some(stock), "10"),
        weighing(3, Some(sles), "12"),
        weighing(4, Some(pres), "0.8"),
    ];
    let ticket = weigh(&house, &ticket, some).await.unwrap();
    let of = |lot: Option<LotId>| ticket.weighings.iter().find(|w| w.lot == lot).unwrap().id;
    let outcomes = vec![
        VoidedWeighing { weighing: of(Some(sles)), outcome: WeighingOutcome::IntoRework },
        VoidedWeighing { weighing: of(None), outcome: WeighingOutcome::IntoRework },
        VoidedWeighing { weighing: of(Some(pres)), outcome: WeighingOutcome::BackToLot },
    ];
    let voided = house.app.ticket_void(&house.change(), void(&ticket, outcomes)).await.unwrap();
    assert_eq!(voided.status, TicketStatus::Voided);
    assert!(voided.weighings.iter().all(|w| !w.stands() && w.how.outcome.is_some()));
    assert_eq!((voided.charged(), voided.allocations.len()), (Mass::ZERO, 0));
    // Back is what went back, with its value; the rest is gone from its lots, and what is kept carries what it was worth.
    let pres = house.lot("L-2").await;
    assert_eq!((pres.on_hand, pres.value), (quantity_of("5 kg"), Some(pounds("50"))));
    assert_eq!(house.lot("L-3").await.on_hand, quantity_of("40 kg"));
    let kept = house.lot("W-1").await;
    assert_eq!((kept.on_hand, kept.status), (quantity_of("82 kg"), LotStatus::OnHold));
    assert_eq!((kept.value, kept.made_by), (Some(pounds("18")), Some(ticket.id)));
    let again = house.app.ticket_void(&house.change(), void(&ticket, vec![])).await.unwrap_err();
    assert_eq!(refused(again), ["TICKET_NOT_READY"]);
    house.assert_sound().await;
}

async fn rework_is_an_input_with_its_lot(database: &TestDatabase) {
    let house = stocked(database).await;
    let first = write(&house, "100").await;
    let (sles, pres, stock) =
        (house.lot("L-1").await.id, house.lot("L-2").await.id, house.lot("L-3").await.id);
    let all = vec![
        weighing(1, None, "77.2"),
        weighing(2, Some(stock), "10"),
        weighing(3, Some(sles), "12"),
        weighing(4, Some(pres), "0.8"),
    ];
    let first = weigh(&house, &first, all).await.unwrap();
    let first = house.app.ticket_complete(&house.change(), complete(&first, "98")).await.unwrap();
    let left_over =
        house.app.lots_get(&house.actor, &[first.completion.unwrap().lot]).await.unwrap().remove(0);

    let asks = |amount: &str| TicketAsks {
        rework: Some(ReworkWrite { lot: left_over.id, amount: kg(amount) }),
        ..TicketAsks::default()
    };
    // More than a tenth takes the right to release and reject.
    let maker = Actor {
        capabilities: [Capability::Look, Capability::PlanAndMake].into_iter().collect(),
        ..house.actor.clone()
    };
    let catalogue = house.app.catalogue(&house.actor).unwrap();
    let input = TicketWrite {
        subject: TicketSubject::Formula(catalogue.formulas.by_code("HW-1").unwrap().id),
        size: TicketSize::Batch(kg("100")),
        planned_for: day("2026-11-25"),
        number: None,
        note: None,
        asks: asks("11"),
    };
    let refusal = house.app.ticket_write(&app::Change::by(&maker), input).await.unwrap_err();
    assert_eq!(problems(refusal).len(), 1);
    let ticket = write_asking(&house, "100", asks("5")).await.unwrap();
    // 5 kg of the earlier lot, and the formula for the other 95.
    assert_eq!(targets(&ticket), ["73.34 kg", "9.5 kg", "11.4 kg", "0.76 kg", "5 kg"]);
    // Only that lot, and only once it is released.
    let entry = |lot| vec![weighing(5, Some(lot), "5")];
    assert_eq!(refused(weigh(&house, &ticket, entry(sles)).await.unwrap_err()), ["LOT_OF_OTHER_MATERIAL"]);
    assert_eq!(refused(weigh(&house, &ticket, entry(left_over.id)).await.unwrap_err()), ["LOT_NOT_USABLE"]);
    house.set_status(&left_over, LotStatus::Released).await.unwrap();
    let ticket = weigh(&house, &ticket, entry(left_over.id)).await.unwrap();
    assert_eq!(ticket.weighed_on(ticket.lines[4].id), kg("5"));
    house.assert_sound().await;
}

/// Whatever becomes of the formula, a ticket that was written stays as it was.
async fn a_ticket_is_a_frozen_copy(database: &TestDatabase) {
    let house = stocked(database).await;
    let ticket = write(&house, "100").await;
    let catalogue = house.app.catalogue(&house.actor).unwrap();
    let formula = catalogue.formulas.by_code("HW-1").unwrap();
    let first = formula.version(1).unwrap().id;
    house.app.formula_version_retire(&house.change(), first).await.unwrap();
    let same = house.app.ticket_by_number(&house.actor, &ticket.number).await.unwrap().unwrap();
    assert_eq!(same, ticket);
    let sles = house.lot("L-1").await.id;
    weigh(&house, &ticket, vec![weighing(3, Some(sles), "12")]).await.unwrap();
}

/// Promised while it could be used, and expired on the day it is weighed.
async fn a_lot_is_looked_at_again_when_it_is_weighed(database: &TestDatabase) {
    let house = stocked(database).await;
    let lots = "lot,material,quantity,unit cost,received,expiry,status\nS-A,SLES,20 kg,1.60,2026-11-01,2026-11-26,released\n";
    house.import(&[("lots.csv", lots.to_owned())]).await.unwrap();
    let ticket = allocate(&house, &write(&house, "100").await).await.unwrap();
    let lot = house.lot("S-A").await;
    assert!(ticket.allocations.iter().any(|promise| promise.lot == lot.id));
    house.set_day("2026-11-27");
    let late = weigh(&house, &ticket, vec![weighing(3, Some(lot.id), "12")]).await.unwrap_err();
    assert_eq!(refused(late), ["LOT_NOT_USABLE"]);
}
