//! Lines that are added until a result is reached, from the sheet to the average; and drafts whose lines miss their total.

use app::{FormulaVersionWrite, LineWrite};
use domain::{
    formulas::{AmountBasis, FormulaVersion, LineAmount, Trim, VersionStatus, WrittenAs},
    tickets::TicketStatus,
};
use engine::CostRequest;
use kernel::{DecimalMark, Mass, Percent, parse_decimal};
use testkit::db::TestDatabase;

use crate::{
    house::{House, kg, problems, refused, sheets},
    making::{complete, weigh, weighing, write},
};

testkit::on_both_databases!(
    a_trim_line_learns_from_what_was_weighed,
    a_draft_may_miss_its_total,
    a_premix_takes_no_wash_beyond_a_legal_limit,
    lines_that_make_no_sense,
);

/// The house's hand wash with acid to a pH and salt to a viscosity.
async fn trimmed(database: &TestDatabase) -> House {
    let house = House::open(database).await;
    let mut sheets = sheets();
    for (name, text) in &mut sheets {
        match *name {
            "materials.csv" => text.push_str("ACID,Acid,raw material,,,,,\nSALT,Salt,raw material,,,,,\n"),
            "quotations.csv" => {
                text.push_str("O-8,OAK,ACID,1 kg,5.00,kg,2026-01-01\nO-9,OAK,SALT,1 kg,0.50,kg,2026-01-01\n");
            }
            "formula-lines.csv" => {
                *text = text.lines().fold(String::new(), |all, line| {
                    let more = if line.starts_with("formula,") { "trim to,trim at most" } else { "," };
                    format!("{all}{line},{more}\n")
                });
                text.push_str("HW-1,1,5,ACID,0,2 %,pH 4.9 to 5.3,0.5 %\nHW-1,1,6,SALT,1 %,,2500 mPa·s,\n");
            }
            _ => {}
        }
    }
    house.import(&sheets).await.unwrap();
    house.receive("SLES", "L-1", "100 kg", Some("150.00")).await;
    house.receive("PRES", "L-2", "5 kg", Some("50.00")).await;
    house.receive("STOCK", "L-3", "50 kg", Some("30.00")).await;
    house.receive("ACID", "L-5", "5 kg", Some("25.00")).await;
    house
}

fn hand_wash(house: &House) -> FormulaVersion {
    let catalogue = house.app.catalogue(&house.actor).unwrap();
    catalogue.formulas.by_code("HW-1").unwrap().version(1).unwrap().clone()
}

fn noted(house: &House) -> Vec<&'static str> {
    let request = CostRequest::version(hand_wash(house).id, house.app.today());
    let sheet = house.app.cost_sheet(&house.actor, &request).unwrap();
    assert!(sheet.complete, "{:?}", sheet.gaps);
    let codes = sheet.notes.iter().map(engine::Note::code);
    codes.filter(|code| code.starts_with("TRIM")).collect()
}

async fn a_trim_line_learns_from_what_was_weighed(database: &TestDatabase) {
    let house = trimmed(database).await;
    assert_eq!(noted(&house), ["TRIM_UNKNOWN", "TRIM_ON_EXPECTED"]);
    let ticket = write(&house, "100").await;
    let acid = &ticket.lines[4];
    assert_eq!((acid.target, acid.tolerance), (kg("0"), None));
    assert_eq!(acid.instruction.as_deref(), Some("Add to pH 4.9 to 5.3; at 0.5 kg stop and ask."));
    assert_eq!(ticket.lines[5].target, kg("1"));
    assert_eq!(ticket.lines[5].instruction.as_deref(), Some("Add to 2500 mPa·s."));

    let lot = async |number| Some(house.lot(number).await.id);
    let weighings = vec![
        weighing(1, None, "76.2"),
        weighing(2, lot("L-3").await, "10"),
        weighing(3, lot("L-1").await, "12"),
        weighing(4, lot("L-2").await, "0.8"),
        weighing(5, lot("L-5").await, "0.3"),
    ];
    weigh(&house, &ticket, weighings).await.unwrap();
    // Up to the stop it may go on, past it only with a reason.
    let more = weigh(&house, &ticket, vec![weighing(5, lot("L-5").await, "0.21")]).await;
    assert_eq!(refused(more.unwrap_err()), ["OUTSIDE_TOLERANCE"]);
    let ticket = weigh(&house, &ticket, vec![weighing(5, lot("L-5").await, "0.1")]).await.unwrap();

    // It stood at its viscosity without salt, and that is no reason not to complete it.
    let ticket = house.app.ticket_complete(&house.change(), complete(&ticket, "97")).await.unwrap();
    assert_eq!(ticket.status, TicketStatus::Reconciled);
    assert_eq!(noted(&house), ["TRIM_ON_AVERAGE", "TRIM_ON_AVERAGE"]);
    let request = CostRequest::version(hand_wash(&house).id, house.app.today());
    let amounts = |house: &House| {
        let sheet = house.app.cost_sheet(&house.actor, &request).unwrap();
        sheet
            .lines
            .iter()
            .filter_map(|line| line.amount.clone())
            .map(|kg| Mass::from_exact_half_even(&kg).unwrap())
            .collect::<Vec<_>>()
    };
    let expected = ["76.8", "10", "12", "0.8", "0.4", "0"].map(kg);
    assert_eq!(amounts(&house), expected);
    // Another process learns it when it takes in the catalogue, and one that opens later knows it.
    assert_eq!(amounts(&House::open(database).await), expected);
    house.assert_sound().await;
}

fn percent(text: &str) -> Percent {
    Percent::from_percent(parse_decimal(text, DecimalMark::Point).unwrap()).unwrap()
}

fn draft(house: &House, lines: &[(&str, &str, Option<Trim>)]) -> FormulaVersionWrite {
    let catalogue = house.app.catalogue(&house.actor).unwrap();
    let line = |(material, amount, trim): &(&str, &str, Option<Trim>)| LineWrite {
        phase: None,
        material: catalogue.materials.by_code(material).unwrap().id,
        amount: if *amount == "q.s." {
            LineAmount::QuantitySufficient
        } else {
            LineAmount::Percent(percent(amount))
        },
        basis: AmountBasis::AsSupplied,
        function: None,
        use_level_from: None,
        use_level_to: None,
        weighing_tolerance: None,
        instruction: None,
        trim: trim.clone(),
    };
    FormulaVersionWrite {
        formula: hand_wash(house).formula,
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
        seen: None,
        shelf_life: None,
        making: None,
        note: None,
    }
}

async fn a_draft_may_miss_its_total(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let input = draft(&house, &[("WAT", "67", None), ("SLES", "40", None), ("PRES", "1", None)]);
    let version = house.app.formula_version_write(&house.change(), input).await.unwrap();
    let refused = house.app.formula_version_approve(&house.change(), version.id).await.unwrap_err();
    let found = problems(refused);
    assert!(found[0].contains("its lines add up to 108 % w/w instead of 100 %"), "{found:?}");
    let request = CostRequest::version(version.id, house.app.today());
    assert!(house.app.cost_sheet(&house.actor, &request).is_err(), "nothing is put right unasked");

    let catalogue = house.app.catalogue(&house.actor).unwrap();
    let costing = house.app.costing(&house.actor, catalogue, &[], &[]).await.unwrap();
    let ways = costing.proposals(&request.into(), None).unwrap();
    let codes: Vec<_> = ways.iter().map(|way| way.proposal.kind.code()).collect();
    assert_eq!(codes, ["TAKE_FROM", "RESCALE"]);
    // What was proposed can be written as it stands, and approved.
    let proposed = &ways[0].proposal.version;
    let mut input = draft(&house, &[("WAT", "q.s.", None), ("SLES", "40", None), ("PRES", "1", None)]);
    input.version = Some(version.id);
    let written = house.app.formula_version_write(&house.change(), input).await.unwrap();
    assert_eq!(written.lines, proposed.lines);
    let approved = house.app.formula_version_approve(&house.change(), version.id).await.unwrap();
    assert_eq!(approved.status, VersionStatus::Approved);
}

/// A legal limit holds for what leaves the house: a premix may stand beyond it, but not take a wash beyond it. The wash holds 0.8 % of
/// preservative and 10 % of the stock.
async fn a_premix_takes_no_wash_beyond_a_legal_limit(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let stock = |preservative: &str| {
        let mut input =
            draft(&house, &[("WAT", "q.s.", None), ("GUM", "2", None), ("PRES", preservative, None)]);
        input.formula = house.app.catalogue(&house.actor).unwrap().formulas.by_code("PM-1").unwrap().id;
        input
    };
    let strong = house.app.formula_version_write(&house.change(), stock("2.5")).await.unwrap();
    let error = house.app.formula_version_approve(&house.change(), strong.id).await.unwrap_err();
    assert_eq!(error.to_string(), "PRES stands at 1.05 % w/w in version 1 of HW-1; its legal limit is 1 %");
    assert_eq!(refused(error), ["USE_LEVEL_BROKEN"]);
    let weaker = house.app.formula_version_write(&house.change(), stock("1.5")).await.unwrap();
    let approved = house.app.formula_version_approve(&house.change(), weaker.id).await.unwrap();
    assert_eq!(approved.status, VersionStatus::Approved);
    house.assert_sound().await;
}

async fn lines_that_make_no_sense(database: &TestDatabase) {
    let house = House::furnished(database).await;
    let to_ph = |stop: Option<&str>| {
        Some(Trim { result: "pH 5".to_owned(), stop: stop.map(|stop| LineAmount::Percent(percent(stop))) })
    };
    let input = draft(
        &house,
        &[
            ("WAT", "q.s.", to_ph(None)),
            ("SLES", "101", None),
            ("PRES", "1", to_ph(Some("0.5"))),
            ("GUM", "0", Some(Trim { result: " ".to_owned(), stop: None })),
        ],
    );
    let found = problems(house.app.formula_version_write(&house.change(), input).await.unwrap_err());
    assert_eq!(
        found,
        [
            "lines[0].amount: a line is either q.s. or added until a result is reached, not both",
            "lines[1].amount: a percent is out of range: at most 100 %",
            "lines[2].amount: what is added at most is less than the amount expected",
            "lines[3].trim: a result is empty",
        ]
    );
}
