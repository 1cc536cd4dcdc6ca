//! `stillroom price`: prices from costs, and costs from prices.

use engine::{
    present::{PER_UNIT_PLACES, PERCENT_PLACES},
    pricing::{PriceChain, PriceLadder, PrintedAllowance, PrintedDesign, design_to_cost, price_ladder},
};
use kernel::{Currency, Exact, Percent};
use std::fmt::Write as _;

use crate::{
    cli::costing::{ChainArgs, PriceCommand},
    commands::{
        compare::signed,
        vary::{at_hand, figure, in_house},
    },
    failure::{Failure, Outcome},
    house::{self, Layout},
    output,
    settings::Settings,
    table::{Side, Table},
};

/// Works a price or an allowance out.
///
/// # Errors
/// [`Failure`].
pub async fn run(settings: &Settings, command: &PriceCommand) -> Result<Outcome, Failure> {
    let house = house::open(settings, Layout::MustBeThere).await?;
    let currency = house.app.settings().currency;
    match command {
        PriceCommand::Design { costing, shelf, chain } => {
            let (costing, question) = at_hand(&house, costing).await?;
            let shelf = in_house(*shelf, currency, "--shelf")?;
            let design = design_to_cost(&costing.sheet(&question)?, shelf, &read(chain))?.print()?;
            output::answer(settings.json, &design, |design| design_text(design, chain.tax))?;
        }
        PriceCommand::Ladder { costing, chain } => {
            let (costing, question) = at_hand(&house, costing).await?;
            let sheet = costing.sheet(&question)?;
            let cost = sheet.totals.per_unit.as_ref().filter(|_| sheet.complete).ok_or_else(|| {
                let gaps: Vec<String> = sheet.gaps.iter().map(ToString::to_string).collect();
                let why = if gaps.is_empty() { "name a pack".to_owned() } else { gaps.join("; ") };
                Failure::usage("--pack", format!("a price needs the whole cost of a unit: {why}"))
            })?;
            let ladder = price_ladder(cost, &read(chain))?;
            output::answer(settings.json, &ladder, |ladder| ladder_text(ladder, currency, chain.tax))?;
        }
    }
    Ok(Outcome::Done)
}

fn read(chain: &ChainArgs) -> PriceChain {
    PriceChain { tax: chain.tax, retailer: chain.retailer, deductions: chain.deduct.clone(), own: chain.own }
}

fn tax_words(tax: Percent) -> String {
    if tax.is_zero() { "without tax".to_owned() } else { format!("with {tax} tax") }
}

fn design_text(design: &PrintedDesign, tax: Percent) -> String {
    let currency = design.currency;
    let heading = format!("left, {currency} per unit");
    let mut table =
        Table::new([("", Side::Left), ("comes off", Side::Right), (heading.as_str(), Side::Right)]);
    table.row([format!("shelf price, {}", tax_words(tax)), String::new(), design.shelf_price.to_string()]);
    for rung in &design.rungs {
        table.row([rung.name.clone(), rung.taken.to_string(), rung.left.to_string()]);
    }
    let mut text = table.to_string();
    let mut table = Table::new([
        ("what may be spent", Side::Left),
        ("allowed", Side::Right),
        ("is", Side::Right),
        ("headroom", Side::Right),
        ("", Side::Right),
    ]);
    let mut add = |label: String, allowance: &PrintedAllowance| {
        table.row([
            label,
            allowance.allowed.to_string(),
            allowance.current.map_or_else(|| "gap".to_owned(), |figure| figure.to_string()),
            allowance.headroom.map_or_else(String::new, signed),
            allowance.headroom_percent.map_or_else(String::new, |percent| format!("{} %", signed(percent))),
        ]);
    };
    add(format!("one unit, {currency}"), &design.unit_cost);
    if let Some(liquid) = &design.liquid_per_kg {
        add(format!("one kg of the liquid, {currency}"), liquid);
    }
    if let Some(ingredients) = &design.ingredients_per_kg {
        add(format!("ingredients of one kg, {currency}"), ingredients);
    }
    let _ = write!(text, "\n{table}");
    text
}

fn ladder_text(ladder: &PriceLadder, currency: Currency, tax: Percent) -> String {
    let mut table = Table::new([("one unit", Side::Left), ("", Side::Right), ("", Side::Left)]);
    for (label, value) in [
        ("cost", &ladder.unit_cost),
        ("net price, which reaches the maker", &ladder.net_price),
        ("list price, before deductions", &ladder.list_price),
        ("shelf price without tax", &ladder.without_tax),
    ] {
        table.row([label.to_owned(), figure(value, PER_UNIT_PLACES), currency.to_string()]);
    }
    table.row([
        format!("shelf price {}", tax_words(tax)),
        figure(&ladder.shelf_price, PER_UNIT_PLACES),
        currency.to_string(),
    ]);
    let share = |share: &Option<Exact>| {
        share
            .as_ref()
            .map_or_else(|| "?".to_owned(), |share| figure(&(share * &Exact::whole(100)), PERCENT_PLACES))
    };
    table.row(["margin".to_owned(), share(&ladder.margin), "% of the net price".to_owned()]);
    table.row(["markup".to_owned(), share(&ladder.markup), "% of the cost".to_owned()]);
    table.to_string()
}
