//! `stillroom vary`: what a cost depends on.

use app::{CostQuestion, Costing, DoseAsked};
use engine::{
    Per,
    present::{AMOUNT_PLACES, DOSE_PLACES, PER_KG_PLACES, PERCENT_PLACES},
    sensitivity::{
        BatchCurve, BreakEven, BreakEvenBatch, DosePoint, DoseSweep, DriverQuestion, Drivers,
        break_even_of_sheet,
    },
};
use kernel::{Currency, Exact, Money};
use rust_decimal::Decimal;
use std::fmt::Write as _;

use crate::{
    cli::costing::{CostingArgs, VaryCommand},
    commands::{compare::signed, subject::question},
    failure::{Failure, Outcome},
    house::{self, House, Layout},
    output,
    settings::Settings,
    table::{Side, Table},
};

/// Varies what a cost depends on.
///
/// # Errors
/// [`Failure`].
pub async fn run(settings: &Settings, command: &VaryCommand) -> Result<Outcome, Failure> {
    let house = house::open(settings, Layout::MustBeThere).await?;
    let currency = house.app.settings().currency;
    match command {
        VaryCommand::Dose { costing, line, against, from, to, points } => {
            let (costing, question) = at_hand(&house, costing).await?;
            let asked =
                DoseAsked { line: *line, against: *against, range: from.zip(*to), points: Some(*points) };
            output::answer(settings.json, &costing.dose_sweep(&question, asked)?, dose_text)?;
        }
        VaryCommand::Drivers { costing, prices, doses, against, process_loss, overfill, rates } => {
            let (costing, question) = at_hand(&house, costing).await?;
            let spreads = DriverQuestion {
                of: question.request,
                prices: *prices,
                doses: *doses,
                against: *against,
                process_loss: *process_loss,
                overfill: *overfill,
                batches: None,
                rates: *rates,
            };
            output::answer(settings.json, &costing.drivers(&question, &spreads)?, drivers_text)?;
        }
        VaryCommand::Batch { costing, size, target } => {
            let (costing, question) = at_hand(&house, costing).await?;
            let target = target.map(|target| in_house(target, currency, "--target")).transpose()?;
            let target = target.map(Money::to_exact);
            output::answer(
                settings.json,
                &costing.batch_curve(&question, size.clone(), target)?,
                batch_text,
            )?;
        }
        VaryCommand::Volume { costing, fixed } => {
            let (costing, question) = at_hand(&house, costing).await?;
            let fixed = in_house(*fixed, currency, "--fixed")?.to_exact();
            let found = break_even_of_sheet(&costing.sheet(&question)?, &fixed)?;
            output::answer(settings.json, &found, |found| volume_text(found, currency))?;
        }
    }
    Ok(Outcome::Done)
}

/// A question about a cost, and what it is answered from.
///
/// # Errors
/// [`Failure`].
pub async fn at_hand(house: &House, args: &CostingArgs) -> Result<(Costing, CostQuestion), Failure> {
    let actor = house::actor();
    let catalogue = house.app.catalogue(&actor)?;
    let question = question(&catalogue, args, house.app.today())?;
    let costing = house.app.costing(&actor, catalogue, &[&question], &[]).await?;
    Ok((costing, question))
}

/// Money that has to be in the house's currency.
///
/// # Errors
/// [`Failure::Usage`] in another one.
pub fn in_house(money: Money, house: Currency, option: &str) -> Result<Money, Failure> {
    if money.currency() == house {
        Ok(money)
    } else {
        Err(Failure::usage(option, format!("this has to be in the house's currency, {house}")))
    }
}

/// A figure rounded half to even, for people.
pub fn figure(value: &Exact, places: u32) -> String {
    value.round_half_even(places).map_or_else(|_| "?".to_owned(), |figure| figure.to_string())
}

fn change(value: &Exact) -> String {
    value.round_half_even(PER_KG_PLACES).map_or_else(|_| "?".to_owned(), signed)
}

fn cost(value: Option<&Exact>) -> String {
    value.map_or_else(String::new, |value| figure(value, PER_KG_PLACES))
}

fn percent(share: &Exact, places: u32) -> String {
    let percent = (share * &Exact::whole(100)).round_half_even(places);
    percent.map_or_else(|_| "?".to_owned(), |figure| format!("{} %", figure.normalize()))
}

fn dose_text(sweep: &DoseSweep) -> String {
    let currency = sweep.currency;
    let mut text = format!(
        "{} version {}: {} on line {}, the difference taken up by {} on line {}\n",
        sweep.formula_code, sweep.version_number, sweep.material, sweep.line, sweep.diluent, sweep.against
    );
    if let Some(slope) = &sweep.per_tenth_percent {
        let _ = writeln!(text, "{} {currency} per kg of good output for each 0.1 % more", change(slope));
    }
    let per_unit = sweep.per == Per::Unit;
    let per_kg = format!("per kg, {currency}");
    let unit = format!("per unit, {currency}");
    let mut columns = vec![
        ("dose", Side::Right),
        ("active", Side::Right),
        ("left of the other", Side::Right),
        (per_kg.as_str(), Side::Right),
        ("change", Side::Right),
    ];
    if per_unit {
        columns.extend([(unit.as_str(), Side::Right), ("change", Side::Right), ("margin", Side::Right)]);
    }
    columns.push(("", Side::Left));
    let mut table = Table::new(columns);
    for point in &sweep.points {
        table.row(dose_cells(point, per_unit));
        for broken in &point.breaks {
            table.beneath(broken);
        }
    }
    let _ = write!(text, "\n{table}");
    if !sweep.limits.is_empty() {
        text.push_str("\nLimits\n");
        for limit in &sweep.limits {
            let legal = if limit.is_legal { ", legal" } else { "" };
            let _ =
                writeln!(text, "  - {}: {}{legal}", percent(&limit.dose, DOSE_PLACES), limit.kind.words());
        }
    }
    if sweep.cut_off {
        text.push_str("\nCut off where the other line ends.\n");
    }
    text
}

fn dose_cells(point: &DosePoint, per_unit: bool) -> Vec<String> {
    let mut cells = vec![
        percent(&point.dose, DOSE_PLACES),
        point.active.as_ref().map_or_else(String::new, |active| percent(active, DOSE_PLACES)),
        percent(&point.diluent, DOSE_PLACES),
        cost(Some(&point.cost_per_kg)),
        change(&point.change_per_kg),
    ];
    if per_unit {
        cells.push(cost(point.cost_per_unit.as_ref()));
        cells.push(point.change_per_unit.as_ref().map_or_else(String::new, change));
        cells.push(point.margin.as_ref().map_or_else(String::new, |margin| percent(margin, PERCENT_PLACES)));
    }
    let mut remarks = Vec::new();
    if point.is_current {
        remarks.push("as it is");
    }
    if !point.complete {
        remarks.push("partial");
    }
    cells.push(remarks.join(", "));
    cells
}

fn drivers_text(drivers: &Drivers) -> String {
    let of = drivers.per.words();
    let mut text =
        format!("{} {} per {of} as it is\n", figure(&drivers.base, PER_KG_PLACES), drivers.currency);
    let mut table = Table::new([
        ("driver", Side::Left),
        ("low", Side::Right),
        ("change", Side::Right),
        ("high", Side::Right),
        ("change", Side::Right),
        ("swing", Side::Right),
    ]);
    for bar in &drivers.bars {
        table.row([
            bar.driver.to_string(),
            bar.low.assumed.clone(),
            change(&bar.low.change),
            bar.high.assumed.clone(),
            change(&bar.high.change),
            figure(&bar.swing, PER_KG_PLACES),
        ]);
    }
    let _ = write!(text, "\n{table}");
    if !drivers.not_varied.is_empty() {
        text.push_str("\nNot varied\n");
        for not in &drivers.not_varied {
            let _ = writeln!(text, "  - {}: {}", not.driver, not.why);
        }
    }
    if !drivers.complete {
        text.push_str("\nEvery cost here is partial: something is missing.\n");
    }
    text
}

fn batch_text(curve: &BatchCurve) -> String {
    let currency = curve.currency;
    let per_kg = format!("per kg, {currency}");
    let per_unit = format!("per unit, {currency}");
    let mut table = Table::new([
        ("batch", Side::Right),
        ("lost", Side::Right),
        ("units for sale", Side::Right),
        (per_kg.as_str(), Side::Right),
        (per_unit.as_str(), Side::Right),
        ("of it making", Side::Right),
        ("", Side::Left),
    ]);
    for point in &curve.points {
        let mut remarks = Vec::new();
        if point.is_usual {
            remarks.push("usual".to_owned());
        }
        if !point.fits_vessel {
            remarks.push("not in this vessel".to_owned());
        }
        match &point.refused {
            Some(why) => remarks.push(why.clone()),
            None if !point.complete => remarks.push("partial".to_owned()),
            None => {}
        }
        table.row([
            point.batch.to_string(),
            point.lost.as_ref().map_or_else(String::new, |lost| percent(lost, PERCENT_PLACES)),
            point.units.map_or_else(String::new, |units| units.to_string()),
            cost(point.cost_per_kg.as_ref()),
            cost(point.cost_per_unit.as_ref()),
            cost(point.making.as_ref()),
            remarks.join(", "),
        ]);
    }
    let mut text = table.to_string();
    if let (Some(target), Some(met)) = (&curve.target, &curve.break_even) {
        let of = curve.per.words();
        let wanted = format!("{} {currency} per {of}", figure(target, PER_KG_PLACES));
        let units = |units: &Option<i128>| {
            units.map_or_else(String::new, |units| format!(", {units} units for sale"))
        };
        let _ = match met {
            BreakEvenBatch::At { batch, units: filled, cost } => writeln!(
                text,
                "\n{wanted} is met from {batch}{}: {} {currency}",
                units(filled),
                figure(cost, PER_KG_PLACES)
            ),
            BreakEvenBatch::FromTheSmallest { batch, units: filled, cost } => writeln!(
                text,
                "\n{wanted} is met from the smallest batch there can be, {batch}{}: {} {currency}",
                units(filled),
                figure(cost, PER_KG_PLACES)
            ),
            BreakEvenBatch::NotReached { largest, cost } => writeln!(
                text,
                "\n{wanted} is not met up to {largest}, where it is {} {currency}",
                figure(cost, PER_KG_PLACES)
            ),
            BreakEvenBatch::NotKnown => {
                writeln!(text, "\nWhether {wanted} is met is not known: something is missing.")
            }
        };
    }
    text
}

fn volume_text(found: &BreakEven, currency: Currency) -> String {
    let money = |value: &Exact| figure(value, PER_KG_PLACES);
    let mut table = Table::new([("break-even", Side::Left), ("", Side::Right), ("", Side::Left)]);
    let unit = format!("{currency} per unit");
    let rows: [(&str, String, &str); 6] = [
        ("price", money(&found.price), &unit),
        ("less what one more costs", money(&found.variable), &unit),
        ("contribution", money(&found.contribution), &unit),
        ("to be earned", figure(&found.fixed, currency.minor_places()), currency.code()),
        ("units", figure(&found.units, AMOUNT_PLACES), ""),
        ("whole units", Decimal::from(found.whole_units).to_string(), ""),
    ];
    for (label, figure, of) in rows {
        table.row([label.to_owned(), figure, of.to_owned()]);
    }
    table.to_string()
}
