use super::*;

fn kg(text: &str) -> Mass {
    Mass::from_kg(kernel::parse_decimal(text, kernel::DecimalMark::Point).unwrap()).unwrap()
}

fn line(position: u32, target: &str, asks: LineAsks) -> TicketLine {
    TicketLine {
        id: TicketLineId::new(),
        position,
        phase: None,
        material: MaterialId::new(),
        target: kg(target),
        tolerance: None,
        instruction: None,
        asks,
    }
}

fn weighing(line: &TicketLine, amount: &str, counts_as: Option<&str>) -> Weighing {
    Weighing {
        id: WeighingId::new(),
        line: line.id,
        lot: None,
        amount: kg(amount),
        by: "A. Penhallow".to_owned(),
        at: DateTime::UNIX_EPOCH,
        checked_by: None,
        movement: None,
        reversed: None,
        how: WeighedHow { counts_as: counts_as.map(kg), ..WeighedHow::default() },
    }
}

fn ticket(batch: &str, lines: Vec<TicketLine>, weighings: Vec<Weighing>) -> Ticket {
    Ticket {
        id: TicketId::new(),
        number: "T-1".to_owned(),
        formula: FormulaId::new(),
        version: FormulaVersionId::new(),
        pack: None,
        units: None,
        batch: kg(batch),
        planned_for: NaiveDate::MIN,
        status: TicketStatus::Weighing,
        lines,
        allocations: Vec::new(),
        weighings,
        completion: None,
        written_by: "A. Penhallow".to_owned(),
        written_at: DateTime::UNIX_EPOCH,
        note: None,
        paused: None,
        planned_batch: None,
        steps: Vec::new(),
    }
}

/// An equal-active exchange (common practice, no source): 12.00 % of a 70 % ether sulfate is 30.00 % of a 28 % one, and the water falls by
/// 18.00 points.
#[test]
fn the_diluent_takes_the_difference() {
    let water = line(1, "88", LineAsks { fills_up: true, ..LineAsks::default() });
    let active = line(2, "12", LineAsks::default());
    let weighed = weighing(&active, "30", Some("12"));
    let ticket = ticket("100", vec![water.clone(), active.clone()], vec![weighed]);
    assert_eq!(ticket.target_of(&water), kg("70"));
    assert_eq!((ticket.target_of(&active), ticket.remaining_on(&active)), (kg("12"), kg("0")));
    assert_eq!((ticket.counted_on(active.id), ticket.weighed_on(active.id)), (kg("12"), kg("30")));
    assert_eq!(ticket.share_as_weighed(active.id), Exact::ONE);

    // With all the water in, the batch is what it was to be, and the shares are those of what was weighed.
    let mut ticket = ticket;
    ticket.weighings.push(weighing(&water, "70", None));
    assert_eq!((ticket.charged(), ticket.remaining_on(&water)), (kg("100"), kg("0")));
    assert_eq!(ticket.share_as_weighed(active.id), Exact::ratio(3, 10).unwrap());
}

#[test]
fn what_was_taken_back_no_longer_counts() {
    let water = line(1, "88", LineAsks { fills_up: true, ..LineAsks::default() });
    let active = line(2, "12", LineAsks::default());
    let back = Weighing { reversed: Some("wrong drum".to_owned()), ..weighing(&active, "30", Some("12")) };
    let ticket = ticket("100", vec![water.clone(), active.clone()], vec![back]);
    assert_eq!(ticket.target_of(&water), kg("88"));
    assert_eq!(ticket.remaining_on(&active), kg("12"));
    assert_eq!(ticket.charged(), Mass::ZERO);
}

/// Too much on one line: everything else in proportion makes it right again, and nothing is ever scaled down.
#[test]
fn a_batch_is_scaled_up_to_what_was_weighed() {
    let active = line(2, "12", LineAsks::default());
    let ticket = ticket("100", vec![active.clone()], vec![]);
    assert_eq!(ticket.batch_scaled_to(&active, kg("12.6")), Ok(kg("105")));
    assert_eq!(ticket.batch_scaled_to(&active, kg("11")), Ok(kg("100")));
    // A third that does not end is rounded up, so that the line is never above its target.
    let third = line(3, "3", LineAsks::default());
    assert_eq!(ticket.batch_scaled_to(&third, kg("3.1")), Ok(kg("103.333333334")));
}

#[test]
fn lines_nobody_else_looked_at() {
    let asked = line(1, "1", LineAsks { second_check: true, ..LineAsks::default() });
    let free = line(2, "1", LineAsks::default());
    let checked = Weighing { checked_by: Some("C. Dowle".to_owned()), ..weighing(&asked, "0.5", None) };
    let lines = vec![asked.clone(), free.clone()];
    let first = ticket("2", lines.clone(), vec![checked.clone(), weighing(&free, "1", None)]);
    assert_eq!(first.unchecked_lines(), Vec::<u32>::new());
    let second = ticket("2", lines, vec![checked, weighing(&asked, "0.5", None)]);
    assert_eq!(second.unchecked_lines(), [1]);
}
