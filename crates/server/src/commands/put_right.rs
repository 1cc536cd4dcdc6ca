//! `stillroom put-right`: what can be done about lines that miss their total.

use engine::{
    CostRequest, CostedProposal, EngineError, Note,
    present::{DOSE_PLACES, PER_KG_PLACES},
};
use kernel::{Currency, Exact};
use rust_decimal::Decimal;
use serde::Serialize;
use std::fmt::Write as _;

use crate::{
    cli::PutRightArgs,
    commands::subject::version,
    failure::{Failure, Outcome},
    house::{self, Layout},
    output,
    settings::Settings,
    table::{Side, Table},
};

/// The ways to put a version right.
#[derive(Serialize)]
struct Answer {
    formula: String,
    version: u32,
    currency: Currency,
    ways: Vec<Proposed>,
}

/// One way.
#[derive(Serialize)]
struct Proposed {
    way: &'static str,
    says: String,
    total_before_percent: Decimal,
    lines: Vec<Line>,
    use_levels_broken: Vec<String>,
    breaks_legal: bool,
    ingredients_before: Option<Decimal>,
    ingredients_after: Decimal,
    per_kg_after: Decimal,
    complete: bool,
}

/// A line before and after, % w/w.
#[derive(Serialize)]
struct Line {
    position: u32,
    material: String,
    before_percent: Decimal,
    after_percent: Decimal,
}

/// Says what can be done.
///
/// # Errors
/// [`Failure`].
pub async fn run(settings: &Settings, args: &PutRightArgs) -> Result<Outcome, Failure> {
    let house = house::open(settings, Layout::MustBeThere).await?;
    let actor = house::actor();
    let catalogue = house.app.catalogue(&actor)?;
    let as_of = args.as_of.unwrap_or_else(|| house.app.today());
    let found = version(&catalogue, &args.formula, as_of)?;
    let (id, number) = (found.id, found.number);
    let currency = catalogue.settings.currency;
    let costing = house.app.costing(&actor, catalogue.clone(), &[], &[]).await?;
    let ways = costing.proposals(&CostRequest::version(id, as_of).into(), args.against)?;
    let ways = ways.iter().map(|way| proposed(way, currency)).collect::<Result<_, EngineError>>()?;
    let answer = Answer { formula: args.formula.code.clone(), version: number, currency, ways };
    output::answer(settings.json, &answer, text)?;
    Ok(Outcome::Done)
}

fn percent(share: &Exact) -> Result<Decimal, EngineError> {
    Ok((share * &Exact::whole(100)).round_half_even(DOSE_PLACES)?.normalize())
}

fn proposed(way: &CostedProposal, currency: Currency) -> Result<Proposed, EngineError> {
    let minor = currency.minor_places();
    let (proposal, sheet) = (&way.proposal, &way.sheet);
    let mut lines = Vec::with_capacity(proposal.lines.len());
    for line in &proposal.lines {
        lines.push(Line {
            position: line.position,
            material: line.material.to_string(),
            before_percent: percent(&line.before)?,
            after_percent: percent(&line.after)?,
        });
    }
    let broken = sheet.notes.iter().filter(|note| matches!(note, Note::UseLevel { .. }));
    let legal = domain::materials::UseLevelKind::Legal;
    let before = way.ingredients_before.as_ref();
    Ok(Proposed {
        way: proposal.kind.code(),
        says: proposal.kind.words(),
        total_before_percent: percent(&proposal.total_before)?,
        lines,
        use_levels_broken: broken.map(ToString::to_string).collect(),
        breaks_legal: proposal.breaches.iter().any(|breach| breach.kind == legal),
        ingredients_before: before.map(|value| value.round_half_even(minor)).transpose()?,
        ingredients_after: sheet.totals.ingredients.round_half_even(minor)?,
        per_kg_after: sheet.totals.per_kg.round_half_even(PER_KG_PLACES)?,
        complete: sheet.complete,
    })
}

fn text(answer: &Answer) -> String {
    if answer.ways.is_empty() {
        return format!(
            "Version {} of formula {} meets its total; there is nothing to put right.",
            answer.version, answer.formula
        );
    }
    let mut text = String::new();
    let currency = answer.currency;
    for way in &answer.ways {
        if text.is_empty() {
            let _ = writeln!(
                text,
                "Version {} of formula {}: its lines add up to {} % of the total.",
                answer.version, answer.formula, way.total_before_percent
            );
        }
        let mut table = Table::new([("line", Side::Left), ("is", Side::Right), ("becomes", Side::Right)]);
        for line in &way.lines {
            table.row([
                format!("{} {}", line.position, line.material),
                format!("{} %", line.before_percent),
                format!("{} %", line.after_percent),
            ]);
        }
        let _ = write!(text, "\nTo {}:\n{table}", way.says);
        let before = way.ingredients_before.map_or_else(|| "a gap".to_owned(), |figure| figure.to_string());
        let partial = if way.complete { "" } else { " (partial)" };
        let _ = writeln!(
            text,
            "ingredients of the batch: {before} becomes {} {currency}; {} {currency} per kg{partial}",
            way.ingredients_after, way.per_kg_after
        );
        for broken in &way.use_levels_broken {
            let _ = writeln!(text, "broken: {broken}");
        }
        if way.breaks_legal {
            text.push_str("A legal limit is broken, so it could not be approved.\n");
        }
    }
    text
}
