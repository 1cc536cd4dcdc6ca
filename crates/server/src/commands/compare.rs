//! `stillroom compare`: why two costs differ.

use app::CostQuestion;
use domain::Catalogue;
use engine::{
    CostSubject,
    compare::{PrintedComparison, PrintedDifference, PrintedSide, compare},
};
use rust_decimal::Decimal;
use std::fmt::Write as _;

use crate::{
    cli::{CompareArgs, costing::OtherArgs},
    commands::{
        cost::basis_words,
        subject::{question, unknown, version},
    },
    failure::{Failure, Outcome},
    house::{self, Layout},
    output,
    settings::Settings,
    table::{Side, Table},
};

/// Prints why two costs differ.
///
/// # Errors
/// [`Failure`].
pub async fn run(settings: &Settings, args: &CompareArgs) -> Result<Outcome, Failure> {
    let house = house::open(settings, Layout::MustBeThere).await?;
    let actor = house::actor();
    let catalogue = house.app.catalogue(&actor)?;
    let first = question(&catalogue, &args.costing, house.app.today())?;
    let second = other(&catalogue, &first, &args.other)?;
    let costing = house.app.costing(&actor, catalogue, &[&first, &second], &[]).await?;
    let printed = compare(&costing.sheet(&first)?, &costing.sheet(&second)?)?.print()?;
    output::answer(settings.json, &printed, text)?;
    Ok(Outcome::Done)
}

/// The second question: the first, but for what is said of it.
fn other(catalogue: &Catalogue, first: &CostQuestion, args: &OtherArgs) -> Result<CostQuestion, Failure> {
    let mut question = first.clone();
    let request = &mut question.request;
    request.as_of = args.to_as_of.unwrap_or(request.as_of);
    request.batch = args.to_batch.or(request.batch);
    request.basis = args.to_basis.unwrap_or(request.basis);
    request.order = args.to_order.unwrap_or(request.order);
    let named = match &args.to_formula {
        Some(name) => Some(version(catalogue, name, request.as_of)?.id),
        None => None,
    };
    if let Some(code) = &args.to_pack {
        let codes = || catalogue.packs.iter().map(|pack| pack.code.clone());
        let pack = catalogue.packs.by_code(code).ok_or_else(|| unknown("pack", code, codes()))?.id;
        request.subject = CostSubject::Pack { pack, version: named };
    } else if let Some(version) = named {
        request.subject = match request.subject {
            CostSubject::Pack { pack, .. } => CostSubject::Pack { pack, version: Some(version) },
            CostSubject::Version(_) => CostSubject::Version(version),
        };
    }
    Ok(question)
}

/// A figure with its sign.
pub fn signed(figure: Decimal) -> String {
    if figure > Decimal::ZERO { format!("+{figure}") } else { figure.to_string() }
}

/// A comparison for people.
pub fn text(comparison: &PrintedComparison) -> String {
    let mut text = String::new();
    let currency = comparison.currency;
    let of = if comparison.per == "UNIT" { "one unit" } else { "one kg of the liquid" };
    for (word, side) in [("from", &comparison.before), ("to", &comparison.after)] {
        let _ = writeln!(text, "{word:<4} {}: {} {currency} for {of}", side_words(side), side.cost);
    }
    let _ = write!(text, "     {} {currency}", signed(comparison.difference));
    if let Some(percent) = comparison.difference_percent {
        let _ = write!(text, ", {} %", signed(percent));
    }
    text.push('\n');

    let heading = format!("{currency} for {of}");
    let mut table = Table::new([("cause", Side::Left), (heading.as_str(), Side::Right)]);
    for cause in &comparison.causes {
        table.row([cause.label.to_owned(), signed(cause.effect)]);
    }
    table.row(["all of it".to_owned(), signed(comparison.difference)]);
    let _ = write!(text, "\n{table}");

    let mut table = Table::new([
        ("line", Side::Left),
        ("amount", Side::Right),
        ("becomes", Side::Right),
        ("price", Side::Right),
        ("becomes", Side::Right),
        ("by amount", Side::Right),
        ("by price", Side::Right),
        ("difference", Side::Right),
    ]);
    let mut same = 0_usize;
    for line in &comparison.lines {
        if line.change == "SAME" {
            same += 1;
        } else {
            add_line(&mut table, line, 0);
        }
    }
    if !table.is_empty() {
        let _ = write!(text, "\n{table}");
    }
    if same > 0 {
        let _ = writeln!(text, "\n{} the same on both sides.", output::counted(same, "line is", "lines are"));
    }
    if !comparison.complete {
        let _ = writeln!(
            text,
            "\nThis is a difference of partial costs: something is missing on one side or both."
        );
    }
    text
}

fn side_words(side: &PrintedSide) -> String {
    let made = format!("{} version {} ({})", side.formula_code, side.version_number, side.version_status);
    let what = side.pack_code.as_ref().map_or_else(|| made.clone(), |pack| format!("{pack} of {made}"));
    let partial = if side.complete { "" } else { ", partial" };
    format!(
        "{what}, a batch of {} kg, {} prices of {}{partial}",
        side.charged_kg.normalize(),
        basis_words(side.basis),
        side.as_of
    )
}

fn add_line(table: &mut Table, line: &PrintedDifference, level: usize) {
    let indent = "  ".repeat(level);
    let amount = |figure: Option<Decimal>| match (figure, line.unit) {
        (Some(figure), Some(unit)) => format!("{figure} {unit}"),
        _ => String::new(),
    };
    let price = |figure: Option<Decimal>| figure.map_or_else(String::new, |figure| figure.to_string());
    table.row([
        format!("{indent}{}", line.label),
        amount(line.amount_before),
        amount(line.amount_after),
        price(line.price_before),
        price(line.price_after),
        signed(line.amount_effect),
        signed(line.price_effect),
        signed(line.difference),
    ]);
    if !line.not_known.is_zero() {
        table.beneath(format!("{indent}{} from neither, for one side has no figure", signed(line.not_known)));
    }
    match (&line.source_before, &line.source_after) {
        (Some(before), Some(after)) if before == after => {
            table.beneath(format!("{indent}{before}"));
        }
        (before, after) => {
            for (word, source) in [("from", before), ("to", after)] {
                if let Some(source) = source {
                    table.beneath(format!("{indent}{word} {source}"));
                }
            }
        }
    }
    for nested in line.nested.iter().filter(|nested| nested.change != "SAME") {
        add_line(table, nested, level + 1);
    }
}
