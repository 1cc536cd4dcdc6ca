//! `stillroom check`: whether a run can be made on a day.

use chrono::NaiveDate;
use domain::Catalogue;
use engine::{
    buying::{Purchase, PurchaseOrder},
    run_check::{MaterialCheck, RunAmount, RunCheck, RunRequest, Verdict},
    shelf::{Take, TakenFrom},
    view::MaterialRef,
};
use kernel::Money;
use serde::Serialize;
use std::fmt::Write as _;

use crate::{
    cli::CheckArgs,
    commands::subject::subject,
    failure::{Failure, Outcome},
    house::{self, Layout},
    output::{self, Amount, day, money},
    settings::Settings,
    table::{Side, Table},
};

#[derive(Serialize)]
struct Answer {
    formula: String,
    version: u32,
    pack: Option<String>,
    on: NaiveDate,
    /// `can-be-made`, `make-first`, `short` or `not-known`.
    verdict: Verdict,
    batch: Option<Amount>,
    /// Filled, those kept back among them.
    units: Option<u64>,
    units_for_sale: Option<u64>,
    materials: Vec<Material>,
    make_first: Vec<MakeFirst>,
    most: Most,
    cautions: Vec<String>,
    cautions_defer: &'static str,
    gaps: Vec<String>,
    notes: Vec<String>,
}

#[derive(Serialize)]
struct Material {
    code: String,
    name: String,
    stocked: bool,
    verdict: Verdict,
    needed: Amount,
    usable: Amount,
    taken_by_earlier: Amount,
    promised_to_later: Amount,
    expected: Amount,
    short_by: Amount,
    lots_to_use: Vec<LotToUse>,
    against: Vec<Against>,
    buy: Option<Buy>,
}

#[derive(Serialize)]
struct LotToUse {
    /// The lot's number, or the ticket that is expected to yield it.
    from: String,
    /// `lot`, `ticket` or `assumed`.
    kind: &'static str,
    quantity: Amount,
    last_day_of_use: Option<NaiveDate>,
}

#[derive(Serialize)]
struct Against {
    lot: String,
    on_hand: Amount,
    because: Vec<String>,
}

#[derive(Serialize)]
struct Buy {
    short_by: Amount,
    order: Option<OrderRow>,
    larger_for_less: Option<OrderRow>,
    gap: Option<String>,
}

#[derive(Serialize)]
struct OrderRow {
    quotation: String,
    supplier: String,
    packs: i64,
    pack: Amount,
    quantity: Amount,
    cost: Money,
    validity: &'static str,
    valid_until: Option<NaiveDate>,
    order_by: Option<NaiveDate>,
    usable_if_ordered_today: Option<NaiveDate>,
    too_late: Option<bool>,
}

#[derive(Serialize)]
struct MakeFirst {
    code: String,
    name: String,
    make: Amount,
    charge: Amount,
    short: Vec<String>,
}

#[derive(Serialize)]
struct Most {
    batch: Option<Amount>,
    /// Filled, those kept back among them.
    units: Option<u64>,
    units_for_sale: Option<u64>,
    limited_by: Vec<String>,
}

/// Checks a run.
///
/// # Errors
/// [`Failure`].
pub async fn run(settings: &Settings, args: &CheckArgs) -> Result<Outcome, Failure> {
    let house = house::open(settings, Layout::MustBeThere).await?;
    let actor = house::actor();
    let today = house.app.today();
    if args.on < today {
        return Err(Failure::usage("--on", format!("{} is past; today is {today}", args.on)));
    }
    if args.units.is_some() && args.subject.pack.is_none() {
        return Err(Failure::usage(
            "--units",
            "units are counted of a pack; name it with --pack, or give --batch",
        ));
    }
    let catalogue = house.app.catalogue(&actor)?;
    let amount = match (args.units, args.batch) {
        (Some(units), _) => RunAmount::Units(units),
        (None, Some(batch)) => RunAmount::Batch(batch),
        (None, None) => return Err(Failure::usage("--units", "say how much is to be made")),
    };
    let subject = subject(&catalogue, &args.subject, args.on)?;
    let request = RunRequest { subject, amount, on: args.on, today, ticket: None };
    let checked = house.app.run_check(&actor, &request).await?;
    let answer = answer_of(&catalogue, &checked);
    output::answer(settings.json, &answer, text)?;
    Ok(match checked.verdict {
        Verdict::CanBeMade | Verdict::MakeFirst => Outcome::Done,
        Verdict::Short | Verdict::NotKnown => Outcome::No,
    })
}

fn code(material: &MaterialRef) -> String {
    material.code.clone()
}

fn answer_of(catalogue: &Catalogue, checked: &RunCheck) -> Answer {
    Answer {
        formula: catalogue
            .formulas
            .get(checked.formula)
            .map(|formula| formula.code.clone())
            .unwrap_or_default(),
        version: catalogue.version(checked.version).map_or(0, |(_, version)| version.number),
        pack: checked.pack.and_then(|pack| catalogue.packs.get(pack)).map(|pack| pack.code.clone()),
        on: checked.on,
        verdict: checked.verdict,
        batch: checked.batch.map(Amount::from),
        units: checked.units,
        units_for_sale: checked.units_for_sale,
        materials: checked.materials.iter().map(material_of).collect(),
        make_first: checked
            .make_first
            .iter()
            .map(|step| MakeFirst {
                code: step.material.code.clone(),
                name: step.material.name.clone(),
                make: step.make.into(),
                charge: step.charge.into(),
                short: step.short.iter().map(code).collect(),
            })
            .collect(),
        most: Most {
            batch: checked.most.batch.map(Amount::from),
            units: checked.most.units,
            units_for_sale: checked.most.units_for_sale,
            limited_by: checked.most.limited_by.iter().map(code).collect(),
        },
        cautions: checked.cautions.cautions.iter().map(|caution| caution.text.clone()).collect(),
        cautions_defer: checked.cautions.defer,
        gaps: checked.gaps.iter().map(ToString::to_string).collect(),
        notes: checked.notes.iter().map(ToString::to_string).collect(),
    }
}

fn material_of(check: &MaterialCheck) -> Material {
    Material {
        code: check.material.code.clone(),
        name: check.material.name.clone(),
        stocked: check.stocked,
        verdict: check.verdict,
        needed: check.needed.into(),
        usable: check.usable.into(),
        taken_by_earlier: check.taken_by_earlier.into(),
        promised_to_later: check.promised_to_later.into(),
        expected: check.expected.into(),
        short_by: check.short_by.into(),
        lots_to_use: check.takes.iter().map(lot_to_use).collect(),
        against: check
            .lots
            .iter()
            .filter(|lot| !lot.because.is_empty() && lot.on_hand.is_positive())
            .map(|lot| Against {
                lot: lot.number.clone(),
                on_hand: lot.on_hand.into(),
                because: lot.because.iter().map(ToString::to_string).collect(),
            })
            .collect(),
        buy: check.buy.as_ref().map(buy_of),
    }
}

fn lot_to_use(take: &Take) -> LotToUse {
    let (from, kind) = match &take.from {
        TakenFrom::Lot { number, .. } => (number.clone(), "lot"),
        TakenFrom::Ticket { number, .. } => (number.clone(), "ticket"),
        TakenFrom::Assumed { change } => (change.to_string(), "assumed"),
    };
    LotToUse { from, kind, quantity: take.quantity.into(), last_day_of_use: take.last_day_of_use }
}

fn buy_of(purchase: &Purchase) -> Buy {
    Buy {
        short_by: purchase.short_by.into(),
        order: purchase.order.as_ref().map(order_of),
        larger_for_less: purchase.larger_for_less.as_ref().map(order_of),
        gap: purchase.gap.as_ref().map(ToString::to_string),
    }
}

fn order_of(order: &PurchaseOrder) -> OrderRow {
    OrderRow {
        quotation: order.reference.clone(),
        supplier: order.supplier_name.clone(),
        packs: order.packs,
        pack: order.pack.into(),
        quantity: order.quantity.into(),
        cost: order.cost,
        validity: order.validity,
        valid_until: order.valid_until,
        order_by: order.order_by,
        usable_if_ordered_today: order.usable_if_ordered_today,
        too_late: order.too_late,
    }
}

fn text(answer: &Answer) -> String {
    let mut text = String::new();
    headline(&mut text, answer);
    let _ = write!(text, "\n{}", materials(answer));
    purchases(&mut text, answer);
    for step in &answer.make_first {
        let short = if step.short.is_empty() {
            String::new()
        } else {
            format!("; short for it: {}", step.short.join(", "))
        };
        let _ = writeln!(
            text,
            "\nMake first: {} of {} {} (charge {}){short}",
            step.make, step.code, step.name, step.charge
        );
    }
    most(&mut text, answer);
    for (title, sentences) in
        [("Gaps", &answer.gaps), ("Notes", &answer.notes), ("Cautions", &answer.cautions)]
    {
        if !sentences.is_empty() {
            let _ = writeln!(text, "\n{title}");
            for sentence in sentences {
                let _ = writeln!(text, "  - {sentence}");
            }
        }
    }
    let _ = writeln!(text, "  {}", answer.cautions_defer);
    text
}

/// What of the units filled is for sale, where some are kept back.
fn for_sale(filled: u64, for_sale: Option<u64>) -> String {
    for_sale
        .filter(|units| *units < filled)
        .map_or_else(String::new, |units| format!(", {units} of them for sale"))
}

fn headline(text: &mut String, answer: &Answer) {
    let mut what = match (&answer.pack, answer.units) {
        (Some(pack), Some(units)) => {
            format!("{units} units of {pack}{}", for_sale(units, answer.units_for_sale))
        }
        (Some(pack), None) => pack.clone(),
        (None, _) => answer.formula.clone(),
    };
    if let Some(batch) = &answer.batch {
        let _ = write!(what, " (a batch of {batch} of {} version {})", answer.formula, answer.version);
    }
    let verdict = match answer.verdict {
        Verdict::CanBeMade => "can be made",
        Verdict::MakeFirst => "can be made once an intermediate is made",
        Verdict::Short => "cannot be made: materials are short",
        Verdict::NotKnown => "cannot be said: something is not known",
    };
    let _ = writeln!(text, "{what} on {}: {verdict}.", answer.on);
}

fn materials(answer: &Answer) -> Table {
    let mut table = Table::new([
        ("material, lots to use", Side::Left),
        ("needed", Side::Right),
        ("usable", Side::Right),
        ("taken earlier", Side::Right),
        ("short by", Side::Right),
        ("last day of use", Side::Left),
    ]);
    for material in &answer.materials {
        let is_short = !material.short_by.amount.is_zero();
        let short = if is_short { material.short_by.to_string() } else { String::new() };
        let stocked = |amount: &Amount| if material.stocked { amount.to_string() } else { String::new() };
        table.row([
            format!("{} {}", material.code, material.name),
            material.needed.to_string(),
            stocked(&material.usable),
            stocked(&material.taken_by_earlier),
            short,
        ]);
        for lot in &material.lots_to_use {
            let from = match lot.kind {
                "lot" => lot.from.clone(),
                "ticket" => format!("expected from ticket {}", lot.from),
                _ => format!("assumed by change {}", lot.from),
            };
            table.row([
                format!("  {from}"),
                lot.quantity.to_string(),
                String::new(),
                String::new(),
                String::new(),
                day(lot.last_day_of_use),
            ]);
        }
        if is_short {
            for lot in &material.against {
                table.beneath(format!("{} ({}): {}", lot.lot, lot.on_hand, lot.because.join("; ")));
            }
        }
    }
    table
}

fn purchases(text: &mut String, answer: &Answer) {
    let bought = answer.materials.iter().filter_map(|material| Some((material, material.buy.as_ref()?)));
    for (at, (material, buy)) in bought.enumerate() {
        if at == 0 {
            text.push_str("\nTo buy\n");
        }
        match (&buy.order, &buy.gap) {
            (Some(order), _) => {
                let _ = writeln!(text, "  - {}: {}", material.code, order_text(order));
            }
            (None, gap) => {
                let why = gap.as_deref().unwrap_or("no offer covers it");
                let _ = writeln!(text, "  - {}: {} are short; {why}", material.code, buy.short_by);
            }
        }
        if let Some(larger) = &buy.larger_for_less {
            let _ = writeln!(text, "    more for less money: {}", order_text(larger));
        }
    }
}

fn order_text(order: &OrderRow) -> String {
    let mut text = format!(
        "{} × {} = {} from {} ({}), {}, quotation {}",
        order.packs,
        order.pack,
        order.quantity,
        order.supplier,
        order.quotation,
        money(order.cost),
        order.validity
    );
    match (order.too_late, order.order_by, order.usable_if_ordered_today) {
        (Some(true), _, Some(usable)) => {
            let _ = write!(text, "; too late: ordered today, it can be used from {usable}");
        }
        (_, Some(by), _) => {
            let _ = write!(text, "; order by {by}");
        }
        _ => text.push_str("; nobody has entered how long it takes to come"),
    }
    text
}

fn most(text: &mut String, answer: &Answer) {
    let most = &answer.most;
    let Some(batch) = &most.batch else { return };
    if batch.amount.is_zero() {
        let _ = writeln!(text, "\nNothing of it could be made: {} is short.", most.limited_by.join(", "));
        return;
    }
    let of_most = |units| format!("{units} units{}, ", for_sale(units, most.units_for_sale));
    let units = most.units.map_or_else(String::new, of_most);
    let limit = if most.limited_by.is_empty() {
        String::new()
    } else {
        format!("; then {} runs out", most.limited_by.join(", "))
    };
    let _ = writeln!(text, "\nThe most that could be made: {units}a batch of {batch}{limit}.");
}
