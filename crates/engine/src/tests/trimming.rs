//! Lines that are added until a result is reached.

use chrono::{DateTime, Utc};
use domain::{
    formulas::LineAmount,
    materials::{UseLevel, UseLevelKind},
    tickets::{Ticket, TicketLine, TicketStatus, Weighing},
};
use kernel::{
    Exact,
    ids::{TicketId, TicketLineId, WeighingId},
};
use proptest::prelude::*;

use super::fixtures::{House, dec, kg, percent, shown, today};
use crate::{
    CostRequest, TrimBook, TrimUse, View, cost_sheet, explode::use_level_breaches, normalise::normalise,
};

/// A ticket of version 1 of a formula on which so much was weighed of each line, by position.
fn ticket(
    house: &House,
    formula: &str,
    batch: &str,
    weighed: &[(u32, &str)],
    status: TicketStatus,
) -> Ticket {
    let version = &house.parts.formulas.iter().find(|f| f.code == formula).unwrap().versions[0];
    let lines: Vec<TicketLine> = version
        .lines
        .iter()
        .map(|line| TicketLine {
            id: TicketLineId::new(),
            position: line.position,
            phase: None,
            material: line.material,
            target: kg("0"),
            tolerance: None,
            instruction: None,
            asks: domain::tickets::LineAsks::default(),
        })
        .collect();
    let weighings = weighed
        .iter()
        .map(|(position, amount)| Weighing {
            id: WeighingId::new(),
            line: lines.iter().find(|line| line.position == *position).unwrap().id,
            lot: None,
            amount: kg(amount),
            by: "A. Tester".to_owned(),
            at: DateTime::<Utc>::default(),
            checked_by: None,
            movement: None,
            reversed: None,
            how: domain::tickets::WeighedHow::default(),
        })
        .collect();
    Ticket {
        id: TicketId::new(),
        number: "T".to_owned(),
        formula: version.formula,
        version: version.id,
        pack: None,
        units: None,
        batch: kg(batch),
        planned_for: today(),
        status,
        lines,
        allocations: Vec::new(),
        weighings,
        completion: None,
        written_by: "A. Tester".to_owned(),
        written_at: DateTime::<Utc>::default(),
        note: None,
        paused: None,
        planned_batch: None,
        steps: Vec::new(),
    }
}

/// Shares in percent and notes.
fn seen(house: &House, book: &TrimBook) -> (Vec<String>, Vec<String>) {
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue).with_trim_use(book);
    let normal = normalise(&view, view.version(house.version_id("F")).unwrap().1).unwrap();
    let shares: Exact = normal.lines.iter().map(|line| line.share.clone().unwrap()).sum();
    assert_eq!(shares, Exact::ONE);
    let percent = |share: &Exact| shown(&(share * &Exact::whole(100)), 6).parse::<rust_decimal::Decimal>();
    (
        normal
            .lines
            .iter()
            .map(|l| percent(l.share.as_ref().unwrap()).unwrap().normalize().to_string())
            .collect(),
        normal.notes.iter().map(ToString::to_string).collect(),
    )
}

fn took(house: &House, formula: &str, material: &str, share: &str) -> TrimBook {
    let mut book = TrimBook::default();
    let formula = house.parts.formulas.iter().find(|f| f.code == formula).unwrap().id;
    let share = Exact::from(dec(share)).checked_div(&Exact::whole(100)).unwrap();
    book.set(formula, house.id(material), 0, TrimUse { share, tickets: 3 });
    book
}

const TO_PH: &str = "ACID 0 % to pH 5.75 to 6.25";

#[test]
fn expected_average_or_nought_and_which_is_said() {
    let mut house = House::new();
    house.formula("F", "percent", &["W q.s.", "SOAP 12 %", TO_PH]);
    let nothing = TrimBook::default();
    let (shares, notes) = seen(&house, &nothing);
    assert_eq!(shares, ["88", "12", "0"]);
    assert_eq!(
        notes,
        [
            "version 1 of formula F: ACID (acid), added to pH 5.75 to 6.25, counts as nought; nothing is expected and no ticket with it \
          is complete yet"
        ]
    );
    // q.s. gives way for what was taken on average.
    let average = took(&house, "F", "ACID", "0.2");
    let (shares, notes) = seen(&house, &average);
    assert_eq!(shares, ["87.8", "12", "0.2"]);
    assert_eq!(
        notes,
        [
            "version 1 of formula F: ACID (acid), added to pH 5.75 to 6.25, counts at 0.2 %, which it took on average of 3 tickets"
        ]
    );
    // And for what is expected, until something is known.
    house.version("F").lines[2].amount = LineAmount::Percent(percent("0.5"));
    let (shares, notes) = seen(&house, &nothing);
    assert_eq!(shares, ["87.5", "12", "0.5"]);
    assert_eq!(
        notes,
        [
            "version 1 of formula F: ACID (acid), added to pH 5.75 to 6.25, counts at what is expected, 0.5 %; no ticket with it is \
          complete yet"
        ]
    );
    assert_eq!(seen(&house, &average).0, ["87.8", "12", "0.2"]);
    assert_eq!(seen(&house, &took(&house, "F", "ACID", "0")).0, ["88", "12", "0"]);
    // A line with the same material that is not trimmed stays as it is.
    let mut house = House::new();
    house.formula("F", "percent", &["W q.s.", "ACID 1 %", TO_PH]);
    assert_eq!(seen(&house, &took(&house, "F", "ACID", "0.2")).0, ["98.8", "1", "0.2"]);
}

#[test]
fn without_quantity_sufficient_all_others_give_way() {
    let mut house = House::new();
    house.formula("F", "percent", &["W 80 %", "SOAP 20 %", TO_PH]);
    assert_eq!(seen(&house, &took(&house, "F", "ACID", "1")).0, ["79.2", "19.8", "1"]);
    let mut house = House::new();
    house.formula("F", "parts", &["W 4 parts", "SOAP 1 parts", "ACID 0 parts to pH 5"]);
    assert_eq!(seen(&house, &took(&house, "F", "ACID", "1")).0, ["79.2", "19.8", "1"]);
    let mut house = House::new();
    house.formula("F", "1000 g", &["W 784 g", "SOAP 196 g", "ACID 20 g to pH 5"]);
    assert_eq!(seen(&house, &took(&house, "F", "ACID", "1")).0, ["79.2", "19.8", "1"]);
    // q.s. has not enough to give: the rest of the formula makes room, and that is said.
    let mut house = House::new();
    house.formula("F", "percent", &["W q.s.", "SOAP 99.5 %", TO_PH]);
    let (shares, notes) = seen(&house, &took(&house, "F", "ACID", "0.6"));
    assert_eq!(shares, ["0", "99.4", "0.6"]);
    assert_eq!(
        notes[1],
        "version 1 of formula F: with what is added to a result on average its lines come to 100.1 % of the total; rescaled"
    );
}

#[test]
fn averages_of_completed_tickets() {
    let mut house = House::new();
    house.formula(
        "F",
        "percent",
        &["W q.s.", "SOAP 12 %", TO_PH, "SALT 1 % to 2500 mPa·s", "ACID 0 % to pH 5.9"],
    );
    let complete = TicketStatus::Reconciled;
    let mut taken_back = ticket(&house, "F", "300", &[(2, "36"), (3, "0.5"), (3, "0.2"), (4, "4")], complete);
    taken_back.weighings[2].reversed = Some("spilled".to_owned());
    let tickets = [
        ticket(&house, "F", "100", &[(2, "12"), (3, "0.1"), (3, "0.2"), (5, "0.05")], complete),
        taken_back,
        ticket(&house, "F", "100", &[(3, "50")], TicketStatus::Weighing),
        ticket(&house, "F", "100", &[(3, "50")], TicketStatus::Cancelled),
    ];
    let catalogue = house.catalogue();
    let book = TrimBook::from_tickets(&catalogue, &tickets);
    let formula = house.parts.formulas[0].id;
    let at = |code: &str, nth: usize| {
        let found = book.get(formula, house.id(code), nth)?;
        Some((shown(&(&found.share * &Exact::whole(100)), 4), found.tickets))
    };
    // All that was weighed over all that was charged, not the mean of two percents: (0.3 + 0.5) / 400.
    assert_eq!(at("ACID", 0), Some(("0.2000".to_owned(), 2)));
    assert_eq!(at("ACID", 1), Some(("0.0125".to_owned(), 2)));
    // A batch that needed none counts.
    assert_eq!(at("SALT", 0), Some(("1.0000".to_owned(), 2)));
    assert_eq!(at("SOAP", 0), None);
    assert_eq!(at("ACID", 2), None);
    let (shares, notes) = seen(&house, &book);
    assert_eq!(shares, ["86.7875", "12", "0.2", "1", "0.0125"]);
    assert_eq!(notes.len(), 3);
    assert!(TrimBook::from_tickets(&catalogue, &tickets[2..]).is_empty());
}

#[test]
fn costs_levels_and_stops() {
    let mut house = House::new();
    house.at_price("W", "0").at_price("SOAP", "2").at_price("ACID", "5");
    house.material("ACID").use_level =
        Some(UseLevel { from: None, to: Some(percent("0.15")), kind: UseLevelKind::Recommended });
    house.formula("F", "percent", &["W q.s.", "SOAP 10 %", TO_PH]);
    let book = took(&house, "F", "ACID", "0.2");
    let stop = &mut house.version("F").lines[2].trim.as_mut().unwrap().stop;
    *stop = Some(LineAmount::Percent(percent("0.8")));
    let catalogue = house.catalogue();
    let per_kg = |view: View<'_>| {
        let sheet = cost_sheet(&view, &CostRequest::version(house.version_id("F"), today())).unwrap();
        (sheet.totals.per_kg.to_decimal_exactly().unwrap().to_string(), sheet.notes.len())
    };
    // 0.10 kg of soap; with 2 g of acid 0.01 more, and a note more for its use level.
    let plain = View::plain(&catalogue);
    assert_eq!(per_kg(plain).0, "0.2");
    assert_eq!(per_kg(plain.with_trim_use(&book)), ("0.21".to_owned(), per_kg(plain).1 + 1));
    let version = plain.version(house.version_id("F")).unwrap().1;
    assert_eq!(use_level_breaches(&plain, version, today()).unwrap(), []);
    assert_eq!(use_level_breaches(&plain.with_trim_use(&book), version, today()).unwrap().len(), 1);
    let normal = normalise(&plain, version).unwrap();
    assert_eq!(normal.lines[2].stop, Some(percent("0.8").fraction()));
    assert_eq!(normal.lines[1].stop, None);
}

#[test]
fn what_a_trim_line_cannot_be() {
    let fault = |line: &str, stop: Option<LineAmount>| {
        let mut house = House::new();
        house.formula("F", "percent", &["W 90 %", "SOAP 10 %", line]);
        house.version("F").lines[2].trim.as_mut().unwrap().stop = stop;
        let catalogue = house.catalogue();
        let view = View::plain(&catalogue);
        normalise(&view, view.version(house.version_id("F")).unwrap().1).unwrap_err().to_string()
    };
    let line = "version 1 of formula F: line 3: ";
    assert_eq!(
        fault("ACID q.s. to pH 5", None),
        format!("{line}a line is either q.s. or added until a result is reached, not both")
    );
    assert_eq!(
        fault("ACID 1 % to pH 5", Some(LineAmount::Percent(percent("0.9")))),
        format!("{line}what is added at most is less than the amount expected")
    );
    assert_eq!(
        fault("ACID 1 % to pH 5", Some(LineAmount::QuantitySufficient)),
        format!("{line}what is added at most is written like the amount expected")
    );
}

proptest! {
    /// Whatever trim lines took, they count at exactly that, the rest keeps its ratios or gives way in q.s., and the whole is one.
    #[test]
    fn averages_leave_a_whole(
        others in prop::collection::vec(1_i64..1_000, 1..6),
        rest in any::<bool>(),
        averages in prop::collection::vec(0_i64..200, 1..4),
    ) {
        let mut house = House::new();
        let sum: i64 = others.iter().sum();
        let mut lines: Vec<String> =
            others.iter().enumerate().map(|(at, part)| format!("M{at} {part} g")).collect();
        lines.extend((0..averages.len()).map(|at| format!("T{at} 0 g to pH {at}")));
        if rest {
            lines.push("W q.s.".to_owned());
        }
        let total = if rest { sum * 2 } else { sum };
        let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
        house.formula("F", &format!("{total} g"), &lines);
        let mut book = TrimBook::default();
        for (at, per_mille) in averages.iter().enumerate() {
            let took = TrimUse { share: Exact::scaled(i128::from(*per_mille), 3), tickets: 1 };
            book.set(house.parts.formulas[0].id, house.id(&format!("T{at}")), 0, took);
        }
        let catalogue = house.catalogue();
        let view = View::plain(&catalogue).with_trim_use(&book);
        let normal = normalise(&view, view.version(house.version_id("F")).unwrap().1).unwrap();
        let shares: Vec<Exact> = normal.lines.iter().map(|line| line.share.clone().unwrap()).collect();
        prop_assert_eq!(shares.iter().sum::<Exact>(), Exact::ONE);
        prop_assert!(shares.iter().all(|share| !share.is_negative()));
        for (share, per_mille) in shares[others.len()..].iter().zip(&averages) {
            prop_assert_eq!(share, &Exact::scaled(i128::from(*per_mille), 3));
        }
        for (share, part) in shares.iter().zip(&others) {
            prop_assert_eq!(share * &Exact::from(others[0]), &shares[0] * &Exact::from(*part));
        }
    }
}
