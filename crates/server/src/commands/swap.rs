//! `stillroom swap`: one strength of an ingredient exchanged for another.

use engine::{
    present::{AMOUNT_PLACES, DOSE_PLACES},
    swap::{Swap, SwapRole},
};
use kernel::Exact;
use serde::Serialize;
use std::fmt::Write as _;

use crate::{
    cli::SwapArgs,
    commands::{
        compare,
        subject::{material, question},
        vary::figure,
    },
    failure::{Failure, Outcome},
    house::{self, Layout},
    output,
    settings::Settings,
    table::{Side, Table},
};

/// Why a swap cannot be made.
#[derive(Serialize)]
struct Refused<'a> {
    refused: &'a engine::swap::SwapRefusal,
    message: String,
}

/// Works a swap out.
///
/// # Errors
/// [`Failure`].
pub async fn run(settings: &Settings, args: &SwapArgs) -> Result<Outcome, Failure> {
    let house = house::open(settings, Layout::MustBeThere).await?;
    let actor = house::actor();
    let catalogue = house.app.catalogue(&actor)?;
    let question = question(&catalogue, &args.costing, house.app.today())?;
    let old = material(&catalogue, "--old", &args.old)?.id;
    let new = material(&catalogue, "--new", &args.new)?.id;
    let costing = house.app.costing(&actor, catalogue, &[&question], &[new]).await?;
    match costing.swap(&question, old, new, args.against)? {
        Ok(swap) => {
            output::answer(settings.json, &swap, text)?;
            Ok(Outcome::Done)
        }
        Err(refusal) => {
            let refused = Refused { refused: &refusal, message: refusal.to_string() };
            output::answer(settings.json, &refused, |refused| {
                format!("It cannot be done: {}.", refused.message)
            })?;
            Ok(Outcome::No)
        }
    }
}

fn percent(share: &Exact) -> String {
    let percent = (share * &Exact::whole(100)).round_half_even(DOSE_PLACES);
    percent.map_or_else(|_| "?".to_owned(), |figure| format!("{} %", figure.normalize()))
}

fn text(swap: &Swap) -> String {
    let mut text = format!(
        "{} version {}: {} ({} active) for {} ({} active), each dose × {}\n",
        swap.formula_code,
        swap.version_number,
        swap.new,
        swap.new_active,
        swap.old,
        swap.old_active,
        figure(&swap.factor, AMOUNT_PLACES)
    );
    let mut table = Table::new([
        ("line", Side::Left),
        ("dose", Side::Right),
        ("becomes", Side::Right),
        ("active", Side::Right),
        ("becomes", Side::Right),
        ("", Side::Left),
    ]);
    let active = |active: &Option<Exact>| active.as_ref().map_or_else(String::new, percent);
    for line in swap.lines.iter().filter(|line| line.role != SwapRole::Unchanged) {
        table.row([
            format!("{} {}", line.position, line.material_after),
            percent(&line.dose_before),
            percent(&line.dose_after),
            active(&line.active_before),
            active(&line.active_after),
            match line.role {
                SwapRole::Exchanged => format!("instead of {}", line.material_before),
                SwapRole::Diluent => "takes up the difference".to_owned(),
                SwapRole::Unchanged => String::new(),
            },
        ]);
    }
    let _ = write!(text, "\n{table}");
    if swap.uses_up_diluent {
        text.push_str("\nNothing is left of what takes up the difference.\n");
    }
    for broken in &swap.breaks {
        let _ = writeln!(text, "\nBroken: {broken}");
    }
    if let Ok(comparison) = swap.comparison.print() {
        let _ = write!(text, "\n{}", compare::text(&comparison));
    }
    text
}
