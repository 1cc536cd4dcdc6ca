//! `stillroom variances`: why a finished batch did not cost what it should have.

use app::TicketVariances;
use engine::variance::{PrintedVariances, Variances};
use kernel::Money;
use serde::Serialize;
use std::fmt::Write as _;

use crate::{
    cli::VariancesArgs,
    failure::{Failure, Outcome},
    house::{self, Layout},
    output,
    settings::Settings,
    table::{Side, Table},
};

/// What is answered: as JSON as it stands.
#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Answer {
    ticket: String,
    basis: &'static str,
    #[serde(skip)]
    basis_words: &'static str,
    as_of: chrono::NaiveDate,
    for_want_of_standards: bool,
    gaps: Vec<String>,
    posted: Option<Money>,
    liquid: Option<PrintedVariances>,
    filling: Option<PrintedVariances>,
}

/// Prints the variances of a finished batch.
///
/// # Errors
/// [`Failure`].
pub async fn run(settings: &Settings, args: &VariancesArgs) -> Result<Outcome, Failure> {
    let house = house::open(settings, Layout::MustBeThere).await?;
    let actor = house::actor();
    let ticket = house
        .app
        .ticket_by_number(&actor, &args.ticket)
        .await?
        .ok_or_else(|| app::Error::not_found("ticket", &args.ticket))?;
    let found = house.app.ticket_variances(&actor, ticket.id, args.basis, args.as_of).await?;
    let answer = answer_of(&found)?;
    let complete = answer.gaps.is_empty();
    output::answer(settings.json, &answer, text)?;
    Ok(if complete { Outcome::Done } else { Outcome::No })
}

fn answer_of(found: &TicketVariances) -> Result<Answer, Failure> {
    let (mut liquid, mut filling, mut gaps) = (None, None, Vec::new());
    match &found.found {
        Ok(batch) => {
            liquid = Some(batch.liquid.print().map_err(app::Error::from)?);
            filling = batch.filling.as_ref().map(Variances::print).transpose().map_err(app::Error::from)?;
        }
        Err(missing) => gaps = missing.iter().map(ToString::to_string).collect(),
    }
    Ok(Answer {
        ticket: found.number.clone(),
        basis: found.basis.code(),
        basis_words: found.basis.words(),
        as_of: found.as_of,
        for_want_of_standards: found.for_want_of_standards,
        gaps,
        posted: found.posted,
        liquid,
        filling,
    })
}

fn text(answer: &Answer) -> String {
    let mut text =
        format!("Ticket {} against {} cost of {}", answer.ticket, answer.basis_words, answer.as_of);
    if answer.for_want_of_standards {
        text.push_str("\n(no standard was frozen for all of it by that day)");
    }
    text.push('\n');
    for (title, part) in [("The liquid", &answer.liquid), ("Components and filling", &answer.filling)] {
        if let Some(part) = part {
            let _ = write!(text, "\n{title}\n{}", table(part));
        }
    }
    if !answer.gaps.is_empty() {
        text.push_str("\nNothing is compared while something is missing:");
        for gap in &answer.gaps {
            let _ = write!(text, "\n  - {gap}");
        }
    }
    text
}

fn table(part: &PrintedVariances) -> Table {
    let currency = format!("{}, favourable above nought", part.currency);
    let mut table = Table::new([
        (currency.as_str(), Side::Left),
        ("standard", Side::Right),
        ("actual", Side::Right),
        ("price", Side::Right),
        ("mix", Side::Right),
        ("yield", Side::Right),
        ("other usage", Side::Right),
        ("overhead", Side::Right),
        ("in all", Side::Right),
    ]);
    for line in &part.lines {
        let label = if line.unplanned { format!("{} (not planned)", line.label) } else { line.label.clone() };
        table.row([
            label,
            format!("{} at {}", line.standard_amount.normalize(), line.standard_price.normalize()),
            format!("{} for {}", line.actual_amount.normalize(), line.actual_value),
            line.price.to_string(),
            line.mix.to_string(),
            line.yielded.to_string(),
            line.other_usage.to_string(),
            line.overhead.to_string(),
            line.total.to_string(),
        ]);
    }
    table.row([
        "all of it".to_owned(),
        part.standard_cost.to_string(),
        part.actual_cost.to_string(),
        part.price.to_string(),
        part.mix.to_string(),
        part.yielded.to_string(),
        part.other_usage.to_string(),
        part.overhead.to_string(),
        part.total.to_string(),
    ]);
    table
}
