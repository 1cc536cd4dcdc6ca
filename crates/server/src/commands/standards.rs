//! `stillroom standards`: freezing what materials are agreed to cost, and listing what was frozen.

use app::{Change, StandardsFreeze, StandardsFrozen};
use chrono::NaiveDate;
use domain::{Catalogue, standards::Standard};
use kernel::Currency;
use rust_decimal::Decimal;
use serde::Serialize;

use crate::{
    cli::StandardsCommand,
    failure::{Failure, Outcome},
    house::{self, Layout},
    output,
    settings::Settings,
    table::{Side, Table},
};

/// A standard as it is listed.
#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Row {
    material: String,
    frozen_on: NaiveDate,
    unit_cost: Decimal,
    currency: Currency,
    basis: String,
    explained: String,
}

/// Freezes standards, or lists them.
///
/// # Errors
/// [`Failure`].
pub async fn run(settings: &Settings, command: &StandardsCommand) -> Result<Outcome, Failure> {
    let house = house::open(settings, Layout::MustBeThere).await?;
    let actor = house::actor();
    let (basis, on) = match command {
        StandardsCommand::Freeze { basis, on } => (basis, on),
        StandardsCommand::List { on, material } => {
            let catalogue = house.app.catalogue(&actor)?;
            let material = match material {
                None => None,
                Some(code) => {
                    let found = catalogue.materials.by_code(code);
                    Some(found.ok_or_else(|| app::Error::not_found("material", code))?.id)
                }
            };
            let found = house.app.standards(&actor, material, *on).await?;
            let rows: Vec<Row> = found.iter().map(|found| row(&catalogue, &found.standard)).collect();
            output::answer(settings.json, &rows, |rows| listed(rows))?;
            return Ok(Outcome::Done);
        }
    };
    let input = StandardsFreeze { basis: *basis, on: *on };
    let frozen = house.app.standards_freeze(&Change::by(&actor), input).await?;
    output::answer(settings.json, &frozen, text)?;
    Ok(Outcome::Done)
}

fn row(catalogue: &Catalogue, standard: &Standard) -> Row {
    let material = catalogue.materials.get(standard.material);
    Row {
        material: material.map_or_else(String::new, |material| material.code.clone()),
        frozen_on: standard.frozen_on,
        unit_cost: standard.unit_cost.amount(),
        currency: standard.unit_cost.currency(),
        basis: standard.basis.clone(),
        explained: standard.explained.clone(),
    }
}

fn listed(rows: &[Row]) -> String {
    if rows.is_empty() {
        return "No standard was frozen.".to_owned();
    }
    let mut table =
        Table::new([("material", Side::Left), ("frozen on", Side::Left), ("per kg or piece", Side::Right)]);
    for row in rows {
        let cost = format!("{} {}", row.unit_cost.normalize(), row.currency);
        table.row([row.material.clone(), row.frozen_on.to_string(), cost]).beneath(row.explained.as_str());
    }
    table.to_string()
}

fn text(frozen: &StandardsFrozen) -> String {
    let kept = output::counted(frozen.standards.len(), "standard", "standards");
    let mut text = format!("{kept} frozen, to hold from {}.", frozen.on);
    if !frozen.without.is_empty() {
        text.push_str("\nWithout a standard:");
        for problem in &frozen.without {
            text.push_str("\n  - ");
            text.push_str(&problem.message);
        }
    }
    text
}
