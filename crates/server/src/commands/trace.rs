//! `stillroom trace` and `stillroom recall-drill`: where a lot came from and what became of it, and the document a recall would ask for.

use app::{LotTrace, RecallDrill};
use chrono::{DateTime, Utc};
use domain::{Catalogue, people::Actor};
use engine::trace::{Edge, MassBalance, Passage, TracedLot};
use kernel::{Exact, ids::LotId};
use rust_decimal::Decimal;
use serde::Serialize;

use crate::{
    cli::{RecallDrillArgs, TraceArgs},
    failure::{Failure, Outcome},
    house::{self, House, Layout},
    output::{self, Amount},
    settings::Settings,
    table::{Side, Table},
};

#[derive(Serialize)]
struct Answer {
    lots: Vec<Lot>,
    came_from: Vec<Way>,
    lots_behind: Vec<Lot>,
    went_into: Vec<Way>,
    lots_ahead: Vec<Lot>,
    cut: bool,
}

#[derive(Serialize)]
#[expect(clippy::struct_field_names, reason = "the names are those of the answer as JSON")]
struct Lot {
    number: String,
    material: String,
    supplier_lot: Option<String>,
    level: usize,
    status: &'static str,
    /// kg of the lots asked about that it holds at most.
    holds_kg: Option<Decimal>,
    received: Amount,
    used: Amount,
    samples: Amount,
    waste: Amount,
    adjusted: Amount,
    on_hand: Amount,
    unexplained: Amount,
    accounted_percent: Option<Decimal>,
}

#[derive(Serialize)]
struct Way {
    from: String,
    to: Option<String>,
    ticket: String,
    passage: Passage,
    quantity: Amount,
    units: Option<Amount>,
}

#[derive(Serialize)]
struct Drill {
    begun_at: DateTime<Utc>,
    took_milliseconds: i64,
    by: String,
    accounted_percent: Option<Decimal>,
    finished: Vec<Finished>,
    under_way: Vec<UnderWay>,
    trace: Answer,
}

#[derive(Serialize)]
struct Finished {
    lot: String,
    product: String,
    made: Amount,
    here: Amount,
    gone: Amount,
}

#[derive(Serialize)]
struct UnderWay {
    ticket: String,
    quantity: Amount,
}

/// Traces a lot.
///
/// # Errors
/// [`Failure`].
pub async fn run(settings: &Settings, args: &TraceArgs) -> Result<Outcome, Failure> {
    let house = house::open(settings, Layout::MustBeThere).await?;
    let actor = house::actor();
    let lot = lot_of(&house, &actor, &args.lot).await?;
    let found = house.app.trace(&actor, lot).await?;
    let answer = answer_of(&*house.app.catalogue(&actor)?, &found);
    output::answer(settings.json, &answer, |answer| shown_text(&sections(answer)))?;
    Ok(Outcome::Done)
}

/// Drills a recall.
///
/// # Errors
/// [`Failure`].
pub async fn drill(settings: &Settings, args: &RecallDrillArgs) -> Result<Outcome, Failure> {
    let house = house::open(settings, Layout::MustBeThere).await?;
    let actor = house::actor();
    let lot = lot_of(&house, &actor, &args.lot).await?;
    let found = house.app.recall_drill(&actor, lot).await?;
    let answer = drill_of(&*house.app.catalogue(&actor)?, &found);
    if args.html {
        output::print(&shown_html(&args.lot, &drill_sections(&answer)))?;
    } else {
        output::answer(settings.json, &answer, |answer| shown_text(&drill_sections(answer)))?;
    }
    Ok(Outcome::Done)
}

async fn lot_of(house: &House, actor: &Actor, number: &str) -> Result<LotId, Failure> {
    let found = house.app.lot_by_number(actor, number).await?;
    found.map(|lot| lot.id).ok_or_else(|| Failure::usage("LOT", format!("there is no lot “{number}”")))
}

fn percent(value: Option<Exact>) -> Option<Decimal> {
    value.and_then(|value| value.round_half_even(4).ok()).map(|figure| figure.normalize())
}

fn answer_of(catalogue: &Catalogue, found: &LotTrace) -> Answer {
    let trace = &found.trace;
    let all = || trace.asked.iter().chain(&trace.back).chain(&trace.forward);
    let number = |id: LotId| all().find(|t| t.lot.id == id).map(|t| t.lot.number.clone()).unwrap_or_default();
    let way = |edge: &Edge| Way {
        from: number(edge.from),
        to: edge.to.map(number),
        ticket: found.tickets.get(&edge.ticket).map(|ticket| ticket.number.clone()).unwrap_or_default(),
        passage: edge.passage,
        quantity: edge.quantity.into(),
        units: edge.units.map(|units| kernel::Quantity::Count(units).into()),
    };
    let lots = |lots: &[TracedLot]| lots.iter().map(|traced| lot_row(catalogue, traced)).collect();
    Answer {
        lots: lots(&trace.asked),
        came_from: trace.back_edges.iter().map(way).collect(),
        lots_behind: lots(&trace.back),
        went_into: trace.forward_edges.iter().map(way).collect(),
        lots_ahead: lots(&trace.forward),
        cut: found.cut,
    }
}

fn lot_row(catalogue: &Catalogue, traced: &TracedLot) -> Lot {
    let MassBalance { received, used, samples, waste, adjusted, on_hand, unexplained } = traced.balance;
    let material = catalogue.materials.get(traced.lot.material);
    Lot {
        number: traced.lot.number.clone(),
        material: material.map(|m| format!("{} {}", m.code, m.name)).unwrap_or_default(),
        supplier_lot: traced.lot.supplier_lot.clone(),
        level: traced.level,
        status: traced.lot.status.words(),
        holds_kg: traced.holds.as_ref().and_then(|kg| kg.round_half_even(6).ok()).map(|kg| kg.normalize()),
        received: received.into(),
        used: used.into(),
        samples: samples.into(),
        waste: waste.into(),
        adjusted: adjusted.into(),
        on_hand: on_hand.into(),
        unexplained: unexplained.into(),
        accounted_percent: percent(traced.balance.accounted_percent()),
    }
}

fn drill_of(catalogue: &Catalogue, found: &RecallDrill) -> Drill {
    Drill {
        begun_at: found.begun_at,
        took_milliseconds: found.took_milliseconds,
        by: found.by.clone(),
        accounted_percent: percent(found.accounted_percent.clone()),
        finished: found
            .finished
            .iter()
            .map(|row| Finished {
                lot: row.lot.number.clone(),
                product: catalogue
                    .materials
                    .get(row.lot.material)
                    .map(|m| format!("{} {}", m.code, m.name))
                    .unwrap_or_default(),
                made: row.made.into(),
                here: row.here.into(),
                gone: row.gone.into(),
            })
            .collect(),
        under_way: found
            .under_way
            .iter()
            .map(|row| UnderWay { ticket: row.number.clone(), quantity: row.quantity.into() })
            .collect(),
        trace: answer_of(catalogue, &found.lots),
    }
}

/// A part of a document: a heading, what is said under it, and a table.
struct Section {
    heading: String,
    said: Vec<String>,
    table: Option<Table>,
}

fn section(heading: &str, said: Vec<String>, table: Table) -> Section {
    let table = if table.is_empty() { None } else { Some(table) };
    Section { heading: heading.to_owned(), said, table }
}

fn sections(answer: &Answer) -> Vec<Section> {
    let mut all = vec![
        section("The lot", Vec::new(), lots_table(&answer.lots)),
        section("Where it came from", nothing(&answer.came_from), ways_table(&answer.came_from)),
        section("Lots behind it", Vec::new(), lots_table(&answer.lots_behind)),
        section("What it went into", nothing(&answer.went_into), ways_table(&answer.went_into)),
        section("Lots ahead of it", Vec::new(), lots_table(&answer.lots_ahead)),
    ];
    all.retain(|section| section.table.is_some() || !section.said.is_empty());
    if answer.cut {
        let said =
            vec!["There is more than is followed in one go; trace the last lots on their own.".to_owned()];
        all.push(Section { heading: "Cut short".to_owned(), said, table: None });
    }
    all
}

fn drill_sections(drill: &Drill) -> Vec<Section> {
    let accounted = drill.accounted_percent.map_or_else(
        || "Nothing came in.".to_owned(),
        |percent| {
            format!("{percent} % of what came in is accounted for: used, sampled, thrown away or still here.")
        },
    );
    let said = vec![
        format!(
            "Asked by {} at {}; the answer took {} ms.",
            drill.by,
            drill.begun_at.format("%F %T UTC"),
            drill.took_milliseconds
        ),
        accounted,
        "A drill: nothing was changed. To hold lots, set their status.".to_owned(),
    ];
    let mut finished = Table::new([
        ("finished lot", Side::Left),
        ("product", Side::Left),
        ("made", Side::Right),
        ("still here", Side::Right),
        ("gone", Side::Right),
    ]);
    for row in &drill.finished {
        finished.row([
            row.lot.clone(),
            row.product.clone(),
            row.made.to_string(),
            row.here.to_string(),
            row.gone.to_string(),
        ]);
    }
    let mut under_way = Table::new([("ticket", Side::Left), ("holds", Side::Right)]);
    for row in &drill.under_way {
        under_way.row([row.ticket.clone(), row.quantity.to_string()]);
    }
    let mut all = vec![
        Section { heading: "Recall drill".to_owned(), said, table: None },
        section("Finished goods it reaches", nothing(&drill.finished), finished),
        section("Batches under way", Vec::new(), under_way),
    ];
    all.retain(|section| section.table.is_some() || !section.said.is_empty());
    all.extend(sections(&drill.trace));
    all
}

fn nothing<T>(rows: &[T]) -> Vec<String> {
    if rows.is_empty() { vec!["None.".to_owned()] } else { Vec::new() }
}

fn lots_table(lots: &[Lot]) -> Table {
    let mut table = Table::new([
        ("lot", Side::Left),
        ("material", Side::Left),
        ("steps", Side::Right),
        ("received", Side::Right),
        ("used", Side::Right),
        ("samples", Side::Right),
        ("waste", Side::Right),
        ("adjusted", Side::Right),
        ("on hand", Side::Right),
        ("accounted", Side::Right),
        ("holds at most", Side::Right),
    ]);
    for lot in lots {
        table.row([
            lot.number.clone(),
            lot.material.clone(),
            lot.level.to_string(),
            lot.received.to_string(),
            lot.used.to_string(),
            lot.samples.to_string(),
            lot.waste.to_string(),
            lot.adjusted.to_string(),
            lot.on_hand.to_string(),
            lot.accounted_percent.map(|percent| format!("{percent} %")).unwrap_or_default(),
            lot.holds_kg.map(|kg| format!("{kg} kg")).unwrap_or_default(),
        ]);
        if let Some(theirs) = &lot.supplier_lot {
            table.beneath(format!("its supplier's lot {theirs}; {}", lot.status));
        }
    }
    table
}

fn ways_table(ways: &[Way]) -> Table {
    let mut table = Table::new([
        ("from", Side::Left),
        ("", Side::Right),
        ("into", Side::Left),
        ("ticket", Side::Left),
        ("how", Side::Left),
    ]);
    for way in ways {
        let how = match way.passage {
            Passage::Weighed => "weighed",
            Passage::Filled => "filled",
            Passage::Packed => "packed",
            Passage::KeptForRework => "kept for rework",
            Passage::Scrapped => "scrapped",
        };
        let into = match (&way.to, way.passage) {
            (Some(to), _) => to.clone(),
            (None, Passage::Scrapped) => "thrown away".to_owned(),
            (None, _) => "a batch under way".to_owned(),
        };
        let how = match &way.units {
            Some(units) => format!("{how}, {units}"),
            None => how.to_owned(),
        };
        table.row([way.from.clone(), way.quantity.to_string(), into, way.ticket.clone(), how]);
    }
    table
}

fn shown_text(sections: &[Section]) -> String {
    let mut text = String::new();
    for section in sections {
        text.push_str(&section.heading);
        text.push('\n');
        for line in &section.said {
            text.push_str(line);
            text.push('\n');
        }
        if let Some(table) = &section.table {
            text.push_str(&table.to_string());
        }
        text.push('\n');
    }
    text
}

/// A page of its own that prints on paper: no script, nothing from elsewhere.
fn shown_html(lot: &str, sections: &[Section]) -> String {
    use crate::table::escaped;
    let title = format!("Recall drill of lot {}", escaped(lot));
    let mut page = format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>{title}</title>\n<style>\n\
         body {{ font: 10pt/1.4 sans-serif; margin: 2rem; }}\n\
         table {{ border-collapse: collapse; margin: .5rem 0 1.5rem; }}\n\
         th, td {{ border: 1px solid #999; padding: .2rem .5rem; text-align: left; vertical-align: top; }}\n\
         .n {{ text-align: right; white-space: nowrap; }}\n</style></head><body>\n<h1>{title}</h1>\n"
    );
    for section in sections {
        page.push_str("<h2>");
        page.push_str(&escaped(&section.heading));
        page.push_str("</h2>\n");
        for line in &section.said {
            page.push_str("<p>");
            page.push_str(&escaped(line));
            page.push_str("</p>\n");
        }
        if let Some(table) = &section.table {
            page.push_str(&table.html());
        }
    }
    page.push_str("</body></html>\n");
    page
}
