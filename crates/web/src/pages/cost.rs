//! What a cost sheet is shown by: its figures, its pictures with their tables, and each line opening into its source.

use engine::{
    CostSheet, EngineError, MaterialRef,
    cost::{CostLine, LineKind},
    present::{PrintedCostSheet, PrintedLine, PrintedNote},
};
use kernel::{Exact, Percent};
use maud::{Markup, html};

use crate::{
    chart::{self, Bar},
    figures as fig, links, text as t,
    ui::{self, Tone},
};

/// Notes that ask for somebody to look; all others are to be known.
const WARNINGS: [&str; 10] = [
    "USE_LEVEL",
    "PRICE_LAPSED",
    "PRICE_LAPSES_SOON",
    "PRICE_NOT_YET_VALID",
    "NOT_APPROVED",
    "BATCH_BELOW_SMALLEST",
    "BATCH_ABOVE_LARGEST",
    "TRIM_OVER_TOTAL",
    "TRIM_UNKNOWN",
    "AVERAGE_RAN_OUT",
];
/// Rows of the picture of ingredients; what is beyond stands in the table.
const RANKED: usize = 12;

/// What is missing, and what to know.
pub fn remarks(printed: &PrintedCostSheet) -> Markup {
    html! {
        @if !printed.gaps.is_empty() {
            (ui::notice(Tone::Bad, &html! {
                p { strong { (t::PARTIAL) } }
                ul { @for gap in &printed.gaps { li { (gap_line(gap.material.as_ref(), &gap.message)) } } }
            }))
        }
        (notes(printed.notes.iter().filter(|note| WARNINGS.contains(&note.code)), Tone::Care))
        (notes(printed.notes.iter().filter(|note| !WARNINGS.contains(&note.code)), Tone::Calm))
    }
}

fn notes<'a>(notes: impl Iterator<Item = &'a PrintedNote>, tone: Tone) -> Markup {
    let mut notes = notes.peekable();
    if notes.peek().is_none() {
        return html! {};
    }
    ui::notice(tone, &html! { ul { @for note in notes { li { (t::sentence(&note.message)) } } } })
}

fn gap_line(material: Option<&MaterialRef>, message: &str) -> Markup {
    html! {
        (fig::gap()) " "
        @match material {
            Some(material) => { a href=(links::material(&material.code)) { (t::sentence(message)) } }
            None => { (t::sentence(message)) }
        }
    }
}

/// The lines of a sheet; each opens into where its figures come from.
pub fn lines(printed: &PrintedCostSheet) -> Markup {
    let currency = printed.currency.code();
    let per_unit = printed.pack_code.is_some();
    html! {
        div.sheet {
            div.sheet-head aria-hidden="true" {
                span { (t::LINE) } span.num { (t::AMOUNT) } span.num { (t::UNIT_COST) } span.num { (t::VALUE_BATCH) }
                @if per_unit { span.num { (t::VALUE_UNIT) } } @else { span {} }
                span.num { (t::SHARE) }
            }
            @for line in &printed.lines { (line_of(line, currency, per_unit)) }
            div.sheet-total {
                span { @if printed.complete { (t::TOTAL) } @else { (t::PARTIAL_TOTAL) } }
                span {} span {}
                span.num { (fig::decimal(printed.totals.per_batch, currency)) }
                @if per_unit { span.num { (fig::decimal_or_gap(printed.totals.per_unit, currency)) } } @else { span {} }
                span.num { "100\u{202f}%" }
            }
        }
    }
}

/// An amount for the eye; the whole figure is kept beneath.
fn amount(line: &PrintedLine, unit: &str) -> Markup {
    line.amount.map_or_else(fig::gap, |amount| fig::exact(&Exact::from(amount), 3, unit))
}

fn line_of(line: &PrintedLine, currency: &str, per_unit: bool) -> Markup {
    let unit = line.unit.unwrap_or("");
    html! {
        details.line {
            summary {
                span.what {
                    @if let Some(phase) = &line.phase { span.phase title=(t::PHASE) { (phase) } " " }
                    (line.label)
                    @if line.partial { " " (fig::gap()) }
                }
                span.num { @if line.unit.is_some() { (amount(line, unit)) } }
                span.num {
                    @if line.unit.is_some() {
                        (fig::decimal_or_gap(line.unit_cost.map(|cost| cost.round_dp(4)), currency))
                    }
                }
                span.num { (fig::decimal_or_gap(line.value, currency)) }
                @if per_unit { span.num { (fig::decimal_or_gap(line.value_per_unit, currency)) } } @else { span {} }
                span.num { (fig::decimal_or_gap(line.share_percent, "%")) }
            }
            div.source {
                p { strong { (t::COMES_FROM) } " " (t::sentence(&line.source)) }
                @if let Some(cost) = line.unit_cost {
                    p.quiet { (t::UNROUNDED) " " (fig::decimal(cost, currency)) " " (t::PER) " " (unit) }
                }
                @for gap in &line.gaps { p { (gap_line(gap.material.as_ref(), &gap.message)) } }
                @if let Some(material) = &line.material {
                    p { a href=(links::material(&material.code)) { (t::QUOTATIONS_AND_LOTS_OF) " " (material.code) } }
                }
                @if !line.nested.is_empty() {
                    p { (t::MADE_OF) }
                    @for nested in &line.nested { (line_of(nested, currency, per_unit)) }
                }
            }
        }
    }
}

/// The parts of a unit's cost, in the order they come about.
struct Parts {
    ingredients: Exact,
    loss: Exact,
    making: Exact,
    packaging: Exact,
    labour: Exact,
    unit: Exact,
}

/// What of a unit's cost is what: `None` where nothing is filled.
fn parts(sheet: &CostSheet, overfill: Percent) -> Option<Parts> {
    let filling = sheet.filling.as_ref()?;
    let units = Exact::whole(filling.units);
    let per_unit = |value: &Exact| value.checked_div(&units).ok();
    let liquid = per_unit(&sheet.totals.ingredients)?;
    // What is declared on the label, at the price of what was charged; all else that was charged is loss or overfill.
    let declared = filling.fill_mass.checked_div(&(&Exact::ONE + &overfill.fraction())).ok()?;
    let per_kg = sheet.totals.ingredients.checked_div(&sheet.batch.charged).ok()?;
    let ingredients = &declared * &per_kg;
    Some(Parts {
        loss: &liquid - &ingredients,
        ingredients,
        making: per_unit(&sheet.totals.making)?,
        packaging: per_unit(&sheet.totals.components)?,
        labour: per_unit(&sheet.totals.line_labour)?,
        unit: sheet.totals.per_unit.clone()?,
    })
}

/// From ingredients to the cost of a unit.
pub fn waterfall(sheet: &CostSheet, overfill: Percent) -> Markup {
    let Some(parts) = parts(sheet, overfill) else { return html! {} };
    let currency = sheet.currency.code();
    let steps = [
        (t::PART_INGREDIENTS, &parts.ingredients),
        (t::PART_LOSS, &parts.loss),
        (t::PART_MAKING, &parts.making),
        (t::PART_PACKAGING, &parts.packaging),
        (t::PART_LABOUR, &parts.labour),
    ];
    let mut bars = Vec::with_capacity(6);
    let mut so_far = Exact::ZERO;
    for (label, part) in steps {
        let end = &so_far + part;
        bars.push(Bar {
            label: label.to_owned(),
            from: so_far,
            to: end.clone(),
            value: format!("{} {currency}", fig::plain(part, 4)),
            class: "part",
            cumulative: None,
        });
        so_far = end;
    }
    bars.push(Bar {
        label: if sheet.complete { t::UNIT_COST_BAR.to_owned() } else { t::UNIT_COST_PARTIAL.to_owned() },
        from: Exact::ZERO,
        to: parts.unit.clone(),
        value: format!("{} {currency}", fig::plain(&parts.unit, 4)),
        class: "sum",
        cumulative: None,
    });
    html! {
        h2 { (t::WATERFALL) }
        (chart::bars(t::WATERFALL, &bars))
        (ui::fold(t::TABLE_BEHIND, false, &ui::table(
            t::WATERFALL,
            &html! { th { (t::PART) } th.num { (t::PER_UNIT) } th.num { (t::SHARE) } },
            &html! {
                @for (label, part) in steps.into_iter().chain([(t::UNIT_COST_BAR, &parts.unit)]) {
                    tr {
                        td { (label) }
                        td.num { (fig::exact(part, 4, currency)) }
                        td.num { @if let Ok(share) = part.checked_div(&parts.unit) { (fig::fraction(&share, 1)) } }
                    }
                }
            },
        )))
    }
}

/// Ingredients by what they cost, the dearest first, with the cumulative share.
pub fn ranked(sheet: &CostSheet) -> Markup {
    let mut lines: Vec<(&CostLine, &Exact)> = sheet
        .lines
        .iter()
        .filter(|line| line.kind == LineKind::Ingredient)
        .filter_map(|line| line.value.as_ref().map(|value| (line, value)))
        .collect();
    lines.sort_by(|(_, a), (_, b)| b.cmp(a));
    let total = &sheet.totals.ingredients;
    if !total.is_positive() {
        return html! {};
    }
    let currency = sheet.currency.code();
    let mut so_far = Exact::ZERO;
    let rows: Vec<(String, &Exact, Exact, Exact)> = lines
        .iter()
        .filter_map(|(line, value)| {
            so_far += *value;
            let name = line.material.as_ref().map_or_else(String::new, |m| format!("{} {}", m.code, m.name));
            Some((name, *value, value.checked_div(total).ok()?, so_far.checked_div(total).ok()?))
        })
        .collect();
    let bars: Vec<Bar> = rows
        .iter()
        .take(RANKED)
        .map(|(name, _, share, cumulative)| Bar {
            label: name.clone(),
            from: Exact::ZERO,
            to: share.clone(),
            value: format!("{} · Σ {}", fig::fraction_text(share, 1), fig::fraction_text(cumulative, 0)),
            class: "part",
            cumulative: Some(cumulative.clone()),
        })
        .collect();
    html! {
        h2 { (t::RANKED) }
        p.quiet { (t::RANKED_HELP) }
        (chart::bars(t::RANKED, &bars))
        (ui::fold(t::TABLE_BEHIND, false, &ui::table(
            t::RANKED,
            &html! { th { (t::INGREDIENT) } th.num { (t::VALUE_BATCH) } th.num { (t::SHARE) } th.num { (t::CUMULATIVE) } },
            &html! {
                @for (name, value, share, cumulative) in &rows {
                    tr {
                        td { (name) }
                        td.num { (fig::exact(value, 2, currency)) }
                        td.num { (fig::fraction(share, 1)) }
                        td.num { (fig::fraction(cumulative, 1)) }
                    }
                }
            },
        )))
    }
}

/// Why there is no cost at all.
pub fn not_costed(error: &EngineError) -> Markup {
    ui::notice(
        Tone::Bad,
        &html! { p { strong { (t::COST_NOT_KNOWN) } } p { (t::sentence(&error.to_string())) } },
    )
}

/// Where a batch goes.
pub fn batch_facts(printed: &PrintedCostSheet) -> Markup {
    html! {
        dl.facts {
            (ui::fact(t::CHARGED, &fig::decimal(printed.charged_kg.normalize(), "kg")))
            (ui::fact(t::PROCESS_LOSS, &fig::decimal(printed.process_loss_kg.normalize(), "kg")))
            (ui::fact(t::HEEL, &fig::decimal(printed.heel_kg.normalize(), "kg")))
            (ui::fact(t::GOOD_OUTPUT, &fig::decimal(printed.good_output_kg.normalize(), "kg")))
            (ui::fact(t::DENSITY, &fig::decimal_or_gap(printed.density_kg_per_litre, "kg/L")))
            @if let Some(filling) = &printed.filling {
                (ui::fact(t::UNITS_FILLED, &fig::decimal(filling.units, "pcs")))
                (ui::fact(t::FILL_MASS, &fig::decimal(filling.fill_mass_kg.normalize(), "kg")))
                (ui::fact(t::LEFT_IN_TANK, &fig::decimal(filling.left_over_kg.normalize(), "kg")))
            }
        }
    }
}
