//! `stillroom shelf`: the stock as it stands today, by material and lot.

use app::ShelfRow;
use chrono::NaiveDate;
use serde::Serialize;

use crate::{
    cli::ShelfArgs,
    commands::{shelf_figures, subject::unknown},
    failure::{Failure, Outcome},
    house::{self, Layout},
    output::{self, Amount, day},
    settings::Settings,
    table::{Side, Table},
};

#[derive(Serialize)]
struct Answer {
    on: NaiveDate,
    materials: Vec<Material>,
}

#[derive(Serialize)]
struct Material {
    code: String,
    name: String,
    on_hand: Amount,
    promised: Amount,
    usable: Amount,
    lots: Vec<Lot>,
}

#[derive(Serialize)]
struct Lot {
    number: String,
    status: &'static str,
    on_hand: Amount,
    promised: Amount,
    usable: Amount,
    last_day_of_use: Option<NaiveDate>,
    /// What stands against using it today, in sentences.
    because: Vec<String>,
}

/// Prints the shelf.
///
/// # Errors
/// [`Failure`].
pub async fn run(settings: &Settings, args: &ShelfArgs) -> Result<Outcome, Failure> {
    let house = house::open(settings, Layout::MustBeThere).await?;
    let actor = house::actor();
    if let Some(text) = &args.find {
        shelf_figures::find(settings.json, &house.app, &actor, text).await?;
        return Ok(Outcome::Done);
    }
    if args.plan {
        shelf_figures::plan(settings.json, &house.app, &actor).await?;
        return Ok(Outcome::Done);
    }
    if args.worth {
        shelf_figures::worth(settings.json, &house.app, &actor).await?;
        return Ok(Outcome::Done);
    }
    let on = house.app.today();
    let catalogue = house.app.catalogue(&actor)?;
    let material = match &args.material {
        None => None,
        Some(code) => {
            let codes = catalogue.materials.iter().map(|material| material.code.clone());
            let found = catalogue.materials.by_code(code).ok_or_else(|| unknown("material", code, codes))?;
            Some(found.id)
        }
    };
    let rows = house.app.shelf(&actor, material, on, None).await?;
    let answer = Answer { on, materials: rows.iter().map(material_of).collect() };
    output::answer(settings.json, &answer, text)?;
    Ok(Outcome::Done)
}

fn material_of(row: &ShelfRow) -> Material {
    let availability = &row.availability;
    Material {
        code: row.material.code.clone(),
        name: row.material.name.clone(),
        on_hand: availability.on_hand.into(),
        promised: availability.promised.into(),
        usable: availability.usable.into(),
        lots: availability
            .lots
            .iter()
            .map(|lot| Lot {
                number: lot.number.clone(),
                status: lot.status.words(),
                on_hand: lot.on_hand.into(),
                promised: lot.promised.into(),
                usable: lot.usable.into(),
                last_day_of_use: lot.last_day_of_use,
                because: lot.because.iter().map(ToString::to_string).collect(),
            })
            .collect(),
    }
}

fn text(answer: &Answer) -> String {
    if answer.materials.is_empty() {
        return "There is nothing on the shelf.".to_owned();
    }
    let mut table = Table::new([
        ("material, lot", Side::Left),
        ("on hand", Side::Right),
        ("promised", Side::Right),
        ("usable", Side::Right),
        ("status", Side::Left),
        ("last day of use", Side::Left),
        ("", Side::Left),
    ]);
    for material in &answer.materials {
        table.row([
            format!("{} {}", material.code, material.name),
            material.on_hand.to_string(),
            material.promised.to_string(),
            material.usable.to_string(),
        ]);
        for lot in &material.lots {
            table.row([
                format!("  {}", lot.number),
                lot.on_hand.to_string(),
                lot.promised.to_string(),
                lot.usable.to_string(),
                lot.status.to_owned(),
                day(lot.last_day_of_use),
                lot.because.join("; "),
            ]);
        }
    }
    format!("The shelf on {}: what can be used is not promised, released, and in date.\n\n{table}", answer.on)
}
