//! `stillroom fill`: where to set the filler.

use engine::{
    fill_law::{FillTarget, fill_target, nominal_of},
    present::{AMOUNT_PLACES, DOSE_PLACES},
};
use kernel::{Dimension, Exact, Quantity};
use std::fmt::Write as _;

use crate::{
    cli::FillArgs,
    commands::{subject::unknown, vary::figure},
    failure::{Failure, Outcome},
    house::{self, Layout},
    output,
    settings::Settings,
    table::{Side, Table},
};

/// Works out where to set the filler.
///
/// # Errors
/// [`Failure`].
pub async fn run(settings: &Settings, args: &FillArgs) -> Result<Outcome, Failure> {
    let house = house::open(settings, Layout::MustBeThere).await?;
    let catalogue = house.app.catalogue(&house::actor())?;
    let codes = || catalogue.packs.iter().map(|pack| pack.code.clone());
    let pack = catalogue.packs.by_code(&args.pack).ok_or_else(|| unknown("pack", &args.pack, codes()))?;
    let dimension = pack.fill.dimension();
    let nominal = nominal_of(pack.fill)?;
    let spread = small_units(args.spread, dimension, "--spread")?;
    let allowance = match args.allowance {
        Some(allowance) => small_units(allowance, dimension, "--allowance")?,
        None => Exact::ZERO,
    };
    let target = fill_target(&nominal, &spread, &allowance)?;
    let unit = if dimension == Dimension::Volume { "mL" } else { "g" };
    output::answer(settings.json, &target, |target| {
        let mut text = text(target, unit);
        let enough = pack.overfill.fraction() >= target.overfill;
        let _ = writeln!(
            text,
            "\nEntered as the overfill of {}: {}, which {} the target.",
            pack.code,
            pack.overfill,
            if enough { "reaches" } else { "does not reach" }
        );
        text
    })?;
    Ok(Outcome::Done)
}

/// g or mL of a quantity of the same kind as the pack declares.
fn small_units(quantity: Quantity, of: Dimension, option: &str) -> Result<Exact, Failure> {
    if quantity.dimension() == of {
        return Ok(quantity.to_exact() * Exact::whole(1_000));
    }
    Err(Failure::usage(option, format!("the pack declares a {0}; say this as a {0} too", of.name())))
}

fn text(target: &FillTarget, unit: &str) -> String {
    let mut table = Table::new([("net content", Side::Left), ("", Side::Right), ("", Side::Left)]);
    let tolerable = &target.tolerable;
    let from = if tolerable.in_directive {
        "Directive 76/211/EEC, Annex I"
    } else {
        "Weights and Measures (Packaged Goods) Regulations 2006; the directive has no figure"
    };
    let figure = |value: &Exact| figure(value, AMOUNT_PLACES);
    table.row(["declared".to_owned(), figure(&tolerable.nominal), unit.to_owned()]);
    table.row(["tolerable negative error".to_owned(), figure(&tolerable.error), unit.to_owned()]);
    table.beneath(from);
    table.row(["mean the rules ask for".to_owned(), figure(&target.least), unit.to_owned()]);
    table.beneath(format!("governed by: {}", target.governed_by.words()));
    table.row(["mean to set, with the allowance".to_owned(), figure(&target.target), unit.to_owned()]);
    let overfill = (&target.overfill * &Exact::whole(100)).round_half_even(DOSE_PLACES);
    let overfill = overfill.map_or_else(|_| "?".to_owned(), |figure| figure.normalize().to_string());
    table.row(["overfill that is".to_owned(), overfill, "%".to_owned()]);
    let mut text = table.to_string();
    text.push_str("\nAn aid: what is legal is decided by the packs that come out.\n");
    text
}
