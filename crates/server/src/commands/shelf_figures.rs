//! `stillroom shelf --find`, `--plan` and `--worth`: lots by their label, planning figures, and what the shelf is worth.

use app::App;
use domain::people::Actor;
use engine::stock_figures::{MaterialPlan, PlanRequest, ShelfWorth, WorthRequest, deviations_for};
use kernel::{Exact, Money};
use rust_decimal::Decimal;
use serde::Serialize;

use crate::{
    failure::Failure,
    output::{self, Amount, day},
    table::{Side, Table},
};

/// The most lots that are listed.
const FOUND_MAX: usize = 100;

#[derive(Serialize)]
struct FoundLot {
    number: String,
    supplier_lot: Option<String>,
    material: String,
    standing: &'static str,
    on_hand: Amount,
    location: Option<String>,
}

/// Prints the lots somebody's text means.
///
/// # Errors
/// [`Failure`].
pub async fn find(json: bool, app: &App, actor: &Actor, text: &str) -> Result<(), Failure> {
    let today = app.today();
    let catalogue = app.catalogue(actor)?;
    let lots = app.lots_sought(actor, text, FOUND_MAX).await?;
    let found: Vec<FoundLot> = lots
        .iter()
        .map(|lot| FoundLot {
            number: lot.number.clone(),
            supplier_lot: lot.supplier_lot.clone(),
            material: catalogue.materials.get(lot.material).map_or_else(String::new, |m| m.code.clone()),
            standing: lot.standing_on(today).words(),
            on_hand: lot.on_hand.into(),
            location: lot.location.clone(),
        })
        .collect();
    output::answer(json, &found, |found| {
        if found.is_empty() {
            return format!("No lot is meant by “{text}”.");
        }
        let mut table = Table::new([
            ("lot", Side::Left),
            ("supplier's lot", Side::Left),
            ("material", Side::Left),
            ("on hand", Side::Right),
            ("standing", Side::Left),
            ("location", Side::Left),
        ]);
        for lot in found {
            table.row([
                lot.number.clone(),
                lot.supplier_lot.clone().unwrap_or_default(),
                lot.material.clone(),
                lot.on_hand.to_string(),
                lot.standing.to_owned(),
                lot.location.clone().unwrap_or_default(),
            ]);
        }
        table.to_string()
    })
}

#[derive(Serialize)]
struct PlanLine {
    material: String,
    usable: Amount,
    per_week: Option<Decimal>,
    cover_days: Option<i64>,
    lead_days: Option<i64>,
    safety_stock: Option<Decimal>,
    reorder_point: Option<Decimal>,
    order_now: Option<bool>,
    last_used_on: Option<chrono::NaiveDate>,
    slow: bool,
    will_pass: Amount,
}

/// Prints planning figures: the year behind, four weeks ahead, 95 of 100 replenishments without a shortage.
///
/// # Errors
/// [`Failure`].
pub async fn plan(json: bool, app: &App, actor: &Actor) -> Result<(), Failure> {
    let request = PlanRequest {
        today: app.today(),
        weeks_back: 52,
        days_ahead: 28,
        deviations: deviations_for(95).unwrap_or_default(),
        lead_deviation_days: 0,
        slow_after_days: 180,
        order_cost: None,
        holding_a_year: None,
    };
    let plans = app.stock_plan(actor, &request).await?;
    let lines: Vec<PlanLine> = plans.iter().map(plan_line).collect();
    output::answer(json, &lines, |lines| {
        let mut table = Table::new([
            ("material", Side::Left),
            ("usable", Side::Right),
            ("a week", Side::Right),
            ("cover, days", Side::Right),
            ("lead, days", Side::Right),
            ("safety stock", Side::Right),
            ("reorder point", Side::Right),
            ("", Side::Left),
        ]);
        let figure = |figure: Option<Decimal>| figure.map_or_else(String::new, |figure| figure.to_string());
        let days = |days: Option<i64>| days.map_or_else(String::new, |days| days.to_string());
        for line in lines {
            let mut remarks = Vec::new();
            if line.order_now == Some(true) {
                remarks.push("order".to_owned());
            }
            if line.slow {
                remarks.push(format!("not used since {}", day(line.last_used_on)));
            }
            if !line.will_pass.amount.is_zero() {
                remarks.push(format!("{} will pass its date", line.will_pass));
            }
            table.row([
                line.material.clone(),
                line.usable.to_string(),
                figure(line.per_week),
                days(line.cover_days),
                days(line.lead_days),
                figure(line.safety_stock),
                figure(line.reorder_point),
                remarks.join("; "),
            ]);
        }
        table.to_string()
    })
}

fn plan_line(plan: &MaterialPlan) -> PlanLine {
    let figure = |value: &Exact| value.round_half_even(3).ok();
    PlanLine {
        material: plan.material.code.clone(),
        usable: plan.usable.into(),
        per_week: figure(&plan.per_week),
        cover_days: plan.cover_days,
        lead_days: plan.lead_days,
        safety_stock: plan.safety_stock.as_ref().and_then(figure),
        reorder_point: plan.reorder_point.as_ref().and_then(figure),
        order_now: plan.order_now,
        last_used_on: plan.last_used_on,
        slow: plan.slow,
        will_pass: plan.will_pass.into(),
    }
}

#[derive(Serialize)]
struct Worth {
    cost: Decimal,
    carried: Decimal,
    write_down: Decimal,
    currency: String,
    not_known: usize,
    lots: Vec<LotWorth>,
}

#[derive(Serialize)]
struct LotWorth {
    lot: String,
    material: String,
    standing: &'static str,
    ownership: &'static str,
    quantity: Amount,
    cost: Option<Decimal>,
    carried: Option<Decimal>,
}

/// Prints what the shelf is worth, each lot at what it itself cost.
///
/// # Errors
/// [`Failure`].
pub async fn worth(json: bool, app: &App, actor: &Actor) -> Result<(), Failure> {
    let request = WorthRequest { on: app.today(), basis: None, realisable: Vec::new() };
    let worth = app.shelf_worth(actor, &request).await?;
    output::answer(json, &worth_of(&worth), |_| worth_text(&worth))
}

fn worth_of(worth: &ShelfWorth) -> Worth {
    let lots = worth.rows.iter().map(|row| LotWorth {
        lot: row.number.clone(),
        material: row.material.code.clone(),
        standing: row.standing.words(),
        ownership: row.ownership.words(),
        quantity: row.quantity.into(),
        cost: row.cost.map(Money::amount),
        carried: row.carried.map(Money::amount),
    });
    Worth {
        cost: worth.cost.amount(),
        carried: worth.carried.amount(),
        write_down: worth.write_down.amount(),
        currency: worth.cost.currency().code().to_owned(),
        not_known: worth.not_known,
        lots: lots.collect(),
    }
}

fn worth_text(worth: &ShelfWorth) -> String {
    let mut table = Table::new([
        ("lot", Side::Left),
        ("material", Side::Left),
        ("quantity", Side::Right),
        ("standing", Side::Left),
        ("cost", Side::Right),
        ("stands at", Side::Right),
    ]);
    let shown = |money: Option<Money>| money.map_or_else(|| "not known".to_owned(), output::money);
    for row in &worth.rows {
        table.row([
            row.number.clone(),
            row.material.code.clone(),
            Amount::from(row.quantity).to_string(),
            row.standing.words().to_owned(),
            shown(row.cost),
            shown(row.carried),
        ]);
    }
    let not_known = match worth.not_known {
        0 => String::new(),
        lots => format!("{lots} lots have no known cost and are left out.\n"),
    };
    format!(
        "The shelf on {}: cost {}, stands at {}, written down by {}.\n{not_known}\n{table}",
        worth.on,
        output::money(worth.cost),
        output::money(worth.carried),
        output::money(worth.write_down)
    )
}
