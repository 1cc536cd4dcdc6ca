//! `stillroom cost`: a cost sheet, each line with where its figure comes from.

use app::{CostQuestion, Costing};
use engine::{
    CostSheet, Source,
    basis::{Basis, PrintedOnBases},
    cost::CostLine,
    present::{AMOUNT_PLACES, PER_KG_PLACES, PER_UNIT_PLACES, PrintedCostSheet, PrintedLine},
    price::Considered,
};
use kernel::{Currency, Dimension, UnitPrice};
use rust_decimal::Decimal;
use serde::Serialize;
use std::fmt::Write as _;

use crate::{
    cli::CostArgs,
    commands::subject::question,
    failure::{Failure, Outcome},
    house::{self, Layout},
    output,
    settings::Settings,
    table::{Side, Table},
};

/// Prints a cost sheet.
///
/// # Errors
/// [`Failure`].
pub async fn run(settings: &Settings, args: &CostArgs) -> Result<Outcome, Failure> {
    let house = house::open(settings, Layout::MustBeThere).await?;
    let actor = house::actor();
    let catalogue = house.app.catalogue(&actor)?;
    let question = question(&catalogue, &args.costing, house.app.today())?;
    if args.all_bases {
        let printed = house.app.cost_on_bases(&actor, &question.request, &Basis::ALL).await?.printed()?;
        output::answer(settings.json, &printed, bases_text)?;
        return Ok(Outcome::Done);
    }
    let costing = house.app.costing(&actor, catalogue, &[&question], &[]).await?;
    let mut sheet = costing.sheet(&question)?;
    let otherwise = costing.ordered_otherwise(&question, &sheet)?;
    sheet.notes.extend(otherwise);
    let offers = if args.offers { Some(offers_looked_at(&costing, &question, &sheet)?) } else { None };
    let answer = Answer { sheet: engine::present::cost_sheet(&sheet)?, offers };
    output::answer(settings.json, &answer, |answer| {
        let mut text = text(&answer.sheet);
        if let Some(offers) = &answer.offers {
            offers_text(&mut text, offers, answer.sheet.currency);
        }
        text
    })?;
    Ok(Outcome::Done)
}

/// A sheet, and the offers that were looked at for it where they were asked for.
#[derive(Serialize)]
struct Answer {
    #[serde(flatten)]
    sheet: PrintedCostSheet,
    #[serde(skip_serializing_if = "Option::is_none")]
    offers: Option<Vec<OffersOf>>,
}

/// The offers that were looked at for one material.
#[derive(Serialize)]
struct OffersOf {
    material: String,
    offers: Vec<Offer>,
}

/// One of them. Money is in the house's currency but for the price.
#[derive(Serialize)]
struct Offer {
    reference: String,
    supplier: String,
    pack: String,
    price: String,
    order: Option<String>,
    order_cost: Option<Decimal>,
    unit_cost: Option<Decimal>,
    outcome: &'static str,
    why: String,
}

/// The offers behind every line of a sheet that is priced from a quotation, each material once.
fn offers_looked_at(
    costing: &Costing,
    question: &CostQuestion,
    sheet: &CostSheet,
) -> Result<Vec<OffersOf>, Failure> {
    let mut found: Vec<OffersOf> = Vec::new();
    let mut open: Vec<&CostLine> = sheet.lines.iter().rev().collect();
    while let Some(line) = open.pop() {
        open.extend(line.nested.iter().rev());
        let (Source::Quotation(source), Some(material)) = (&line.source, &line.material) else { continue };
        let named = material.to_string();
        if found.iter().any(|offers| offers.material == named) {
            continue;
        }
        let mut offers = Vec::new();
        for offer in costing.offers_considered(question, material.id, source)? {
            offers.push(shown(offer, source.dimension)?);
        }
        found.push(OffersOf { material: named, offers });
    }
    Ok(found)
}

fn shown(offer: Considered, dimension: Dimension) -> Result<Offer, Failure> {
    let price = offer.price.round_half_even(UnitPrice::PLACES)?.normalize();
    let order = offer.order.as_deref();
    let (order_cost, unit_cost) = match order {
        Some(order) => (
            Some(order.order_cost.round_half_even(PER_UNIT_PLACES)?),
            Some(order.per_unit.round_half_even(PER_KG_PLACES)?),
        ),
        None => (None, None),
    };
    Ok(Offer {
        reference: offer.reference,
        supplier: offer.supplier_name,
        pack: offer.pack.to_string(),
        price: format!("{price} {} per {}", offer.currency, offer.price_per),
        order: match order {
            Some(order) => {
                let ordered = order.source.ordered.round_half_even(AMOUNT_PLACES)?.normalize();
                Some(format!("{} × {} = {ordered} {}", order.source.packs, offer.pack, dimension.unit()))
            }
            None => None,
        },
        order_cost,
        unit_cost,
        outcome: offer.outcome.code(),
        why: offer.outcome.to_string(),
    })
}

fn offers_text(text: &mut String, offers: &[OffersOf], currency: Currency) {
    for of in offers {
        let (order, each) = (format!("order, {currency}"), format!("landed, {currency}"));
        let mut table = Table::new([
            ("quotation", Side::Left),
            ("price", Side::Right),
            ("order", Side::Right),
            (order.as_str(), Side::Right),
            (each.as_str(), Side::Right),
        ]);
        let figure = |figure: Option<Decimal>| figure.map_or_else(String::new, |figure| figure.to_string());
        for offer in &of.offers {
            table.row([
                format!("{} of {}", offer.reference, offer.supplier),
                offer.price.clone(),
                offer.order.clone().unwrap_or_else(|| format!("none in {}", offer.pack)),
                figure(offer.order_cost),
                figure(offer.unit_cost),
            ]);
            table.beneath(&offer.why);
        }
        let _ = write!(text, "\nOffers of {}\n{table}", of.material);
    }
}

/// A basis in words, from its stable name.
pub fn basis_words(code: &str) -> String {
    code.parse::<Basis>().map_or_else(|_| code.to_owned(), |basis| basis.words().to_owned())
}

/// One subject on several bases, for people: a column for each basis.
fn bases_text(bases: &PrintedOnBases) -> String {
    let mut text = String::new();
    if let Some(first) = bases.sheets.first() {
        headline(&mut text, first, None);
    }
    let names: Vec<String> = bases.sheets.iter().map(|sheet| basis_words(sheet.basis)).collect();
    let per_unit = bases.sheets.iter().all(|sheet| sheet.filling.is_some());
    let currency = bases.currency.map_or_else(String::new, |currency| format!(" {currency}"));
    let heading =
        if per_unit { format!("for one unit,{currency}") } else { format!("for the batch,{currency}") };
    let columns = std::iter::once((heading.as_str(), Side::Left))
        .chain(names.iter().map(|name| (name.as_str(), Side::Right)));
    let mut table = Table::new(columns);
    let shown = |figure: Option<Decimal>, partial: bool| match figure {
        Some(figure) if !partial => figure.to_string(),
        Some(figure) => format!("{figure} partial"),
        None => "gap".to_owned(),
    };
    for line in &bases.lines {
        let cells = line
            .cells
            .iter()
            .map(|cell| shown(if per_unit { cell.value_per_unit } else { cell.value }, cell.partial));
        table.row(std::iter::once(line.label.clone()).chain(cells));
    }
    let totals = bases.sheets.iter().map(|sheet| {
        let total = if per_unit { sheet.totals.per_unit } else { Some(sheet.totals.per_batch) };
        shown(total, !sheet.complete)
    });
    table.row(std::iter::once("all of it".to_owned()).chain(totals));
    let _ = write!(text, "\n{table}");
    for sheet in bases.sheets.iter().filter(|sheet| !sheet.gaps.is_empty()) {
        let _ = writeln!(text, "\nGaps on {}", basis_words(sheet.basis));
        for gap in &sheet.gaps {
            let _ = writeln!(text, "  - {}", gap.message);
        }
    }
    text
}

/// A cost sheet for people.
pub fn text(sheet: &PrintedCostSheet) -> String {
    let mut text = String::new();
    headline(&mut text, sheet, Some(&basis_words(sheet.basis)));
    totals(&mut text, sheet);
    let _ = write!(text, "\n{}", lines(sheet));
    for (title, sentences) in [
        ("Gaps", sheet.gaps.iter().map(|gap| &gap.message).collect::<Vec<_>>()),
        ("Notes", sheet.notes.iter().map(|note| &note.message).collect()),
    ] {
        if !sentences.is_empty() {
            let _ = writeln!(text, "\n{title}");
            for sentence in sentences {
                let _ = writeln!(text, "  - {sentence}");
            }
        }
    }
    if !sheet.complete {
        let _ = writeln!(text, "\nThis cost is partial: what the gaps name is missing from every total.");
    }
    text
}

/// `basis` is what stands there in words; none where several stand beside each other.
fn headline(text: &mut String, sheet: &PrintedCostSheet, basis: Option<&str>) {
    let prices = match basis {
        Some(basis) => format!("{basis} prices of {}", sheet.as_of),
        None => format!("prices of {}", sheet.as_of),
    };
    let made = format!(
        "{} {}, version {} ({})",
        sheet.formula_code, sheet.formula_name, sheet.version_number, sheet.version_status
    );
    match sheet.pack_code.as_ref().zip(sheet.pack_name.as_ref()) {
        Some((code, name)) => {
            let _ = writeln!(text, "{code} {name}\nfilled with {made}; {prices}");
        }
        None => {
            let _ = writeln!(text, "{made}; {prices}");
        }
    }
    let _ = write!(
        text,
        "a batch of {} kg: {} kg process loss, {} kg heel, ",
        sheet.charged_kg.normalize(),
        sheet.process_loss_kg.normalize(),
        sheet.heel_kg.normalize(),
    );
    let others =
        [(sheet.evaporation_kg, "evaporation"), (sheet.samples_kg, "samples"), (sheet.retains_kg, "retains")];
    for (kg, what) in others.into_iter().filter(|(kg, _)| !kg.is_zero()) {
        let _ = write!(text, "{} kg {what}, ", kg.normalize());
    }
    let _ = write!(text, "{} kg good", sheet.good_output_kg.normalize());
    if let Some(filling) = &sheet.filling {
        let fill = filling.fill_mass_kg.normalize();
        if filling.kept_back_units.is_zero() {
            let _ = write!(text, ", {} units of {fill} kg", filling.units);
        } else {
            let (filled, kept_back) = (filling.filled_units, filling.kept_back_units);
            let _ = write!(
                text,
                ", {filled} units of {fill} kg, {kept_back} kept back, {} for sale",
                filling.units
            );
        }
    }
    text.push('\n');
    if let Some(density) = sheet.density_kg_per_litre {
        let _ = write!(text, "density {} kg/L", density.normalize());
        if let Some(celsius) = sheet.density_celsius {
            let _ = write!(text, " at {celsius} °C");
        }
        if let Some(day) = sheet.density_measured_on {
            let _ = write!(text, ", measured on {day}");
        }
        text.push('\n');
    }
}

fn totals(text: &mut String, sheet: &PrintedCostSheet) {
    let currency = sheet.currency;
    let partial = if sheet.complete { "" } else { " (partial)" };
    let mut table = Table::new([("cost", Side::Left), ("", Side::Right), ("", Side::Left)]);
    let totals = &sheet.totals;
    let case =
        sheet.units_per_case.map_or_else(|| "one case".to_owned(), |units| format!("one case of {units}"));
    let rows = [
        ("one unit".to_owned(), totals.per_unit),
        (case, totals.per_case),
        ("one litre of the liquid".to_owned(), totals.per_litre),
        ("one US gallon of the liquid".to_owned(), totals.per_us_gallon),
        ("one imperial gallon of the liquid".to_owned(), totals.per_imperial_gallon),
        ("one kg of the liquid".to_owned(), Some(totals.per_kg)),
        ("the batch".to_owned(), Some(totals.per_batch)),
    ];
    for (label, figure) in rows {
        if let Some(figure) = figure {
            table.row([label, figure.to_string(), format!("{currency}{partial}")]);
        }
    }
    if let Some(margin) = &sheet.margin {
        table.row([
            "selling price of one unit".to_owned(),
            at_least_minor(margin.price, margin.price_currency),
            margin.price_currency.to_string(),
        ]);
        let percent = |figure: Option<Decimal>| figure.map_or_else(|| "?".to_owned(), |f| f.to_string());
        table.row(["margin".to_owned(), percent(margin.margin_percent), "% of the price".to_owned()]);
        table.row(["markup".to_owned(), percent(margin.markup_percent), "% of the cost".to_owned()]);
    }
    let _ = write!(text, "\n{table}");
}

/// A figure with at least the places of its currency's minor unit: 2.10, but 2.125.
fn at_least_minor(figure: Decimal, currency: Currency) -> String {
    let mut shown = figure.normalize();
    if shown.scale() < currency.minor_places() {
        shown.rescale(currency.minor_places());
    }
    shown.to_string()
}

fn lines(sheet: &PrintedCostSheet) -> Table {
    let per_unit = sheet.filling.is_some();
    let mut columns = vec![("", Side::Left)];
    columns.push((if per_unit { "in one unit" } else { "in the batch" }, Side::Right));
    columns.push(("unit cost", Side::Right));
    if per_unit {
        columns.push(("for one unit", Side::Right));
    }
    columns.extend([("for the batch", Side::Right), ("share", Side::Right)]);
    let mut table = Table::new(columns);
    for line in &sheet.lines {
        add_line(&mut table, line, sheet.currency, per_unit, 0);
    }
    table
}

fn add_line(table: &mut Table, line: &PrintedLine, currency: Currency, per_unit: bool, level: usize) {
    let place = match (&line.phase, line.position) {
        (Some(phase), Some(position)) => format!("{phase}{position} "),
        (None, Some(position)) => format!("{position} "),
        _ => String::new(),
    };
    let with_unit = |figure: Option<Decimal>| match (figure, line.unit) {
        (Some(figure), Some(unit)) => format!("{figure} {unit}"),
        _ => String::new(),
    };
    let missing = || if line.partial { "gap".to_owned() } else { String::new() };
    let money =
        |figure: Option<Decimal>| figure.map_or_else(missing, |figure| format!("{figure} {currency}"));
    let unit_cost = match (line.unit_cost, line.unit) {
        (Some(figure), Some(unit)) => format!("{figure} {currency}/{unit}"),
        (None, Some(_)) => missing(),
        _ => String::new(),
    };
    let mut cells = vec![format!("{}{place}{}", "  ".repeat(level), line.label)];
    cells.push(with_unit(if per_unit { line.amount_per_unit } else { line.amount }));
    cells.push(unit_cost);
    if per_unit {
        cells.push(money(line.value_per_unit));
    }
    cells.push(money(line.value));
    cells.push(line.share_percent.map_or_else(String::new, |share| format!("{share} %")));
    table.row(cells);
    table.beneath(format!("{}{}", "  ".repeat(level), line.source));
    for nested in &line.nested {
        add_line(table, nested, currency, per_unit, level + 1);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn prices_show_the_minor_unit() {
        let shown = |mantissa, scale| at_least_minor(Decimal::new(mantissa, scale), Currency::GBP);
        assert_eq!(shown(21, 1), "2.10");
        assert_eq!(shown(2125, 3), "2.125");
        assert_eq!(shown(3, 0), "3.00");
    }
}
