//! `stillroom search`: how far a price or a dose may go, the cheapest way to buy, what uses up a lot. Nothing is written.

use domain::{Catalogue, Problem};
use engine::{
    CostRequest, CostSubject,
    cheapest::BuyPlan,
    search::{FittingDose, FloorPrice},
    use_up::UseUp,
};
use kernel::{DecimalMark, Exact, Percent, parse_decimal};
use std::{fmt::Write as _, sync::Arc};

use crate::{
    cli::SearchCommand,
    failure::{Failure, Outcome},
    house::{self, Layout},
    output,
    settings::Settings,
};

/// Answers a search.
///
/// # Errors
/// [`Failure`] for what is not known, or a search without an answer.
pub async fn run(settings: &Settings, command: &SearchCommand) -> Result<Outcome, Failure> {
    let house = house::open(settings, Layout::MustBeThere).await?;
    let actor = house::actor();
    let today = house.app.today();
    let catalogue = house.app.catalogue(&actor)?;
    match command {
        SearchCommand::FloorPrice { pack, material, floor } => {
            let pack = found(catalogue.packs.by_code(pack), "pack", pack)?.id;
            let material = found(catalogue.materials.by_code(material), "material", material)?.id;
            let floor = Percent::from_percent(figure("FLOOR", floor)?)
                .map_err(|error| Failure::usage("FLOOR", error))?;
            let answer = house.app.floor_price(&actor, pack, material, floor, today)?;
            output::answer(settings.json, &answer, floor_text)?;
        }
        SearchCommand::FittingDose { formula, line, cost } => {
            let formula = found(catalogue.formulas.by_code(formula), "formula", formula)?;
            let version = formula.approved_on(today).or_else(|| formula.current());
            let version = version
                .ok_or_else(|| Failure::usage("FORMULA", format!("{} has no version", formula.code)))?;
            let request = CostRequest::new(CostSubject::Version(version.id), today);
            let cost = Exact::from(figure("COST", cost)?);
            let answer = house.app.fitting_dose(&actor, &request, *line, None, &cost)?;
            output::answer(settings.json, &answer, dose_text)?;
        }
        SearchCommand::Purchases { until } => {
            let answer = house.app.cheapest_purchases(&actor, *until).await?;
            output::answer(settings.json, &answer, |answer| purchases_text(&catalogue, answer))?;
        }
        SearchCommand::UseUp { lot } => {
            let known = house.app.lot_by_number(&actor, lot).await?;
            let known = known.ok_or_else(|| Failure::usage("LOT", format!("there is no lot “{lot}”")))?;
            let answer = house.app.use_up(&actor, known.id).await?;
            output::answer(settings.json, &answer, use_up_text)?;
        }
    }
    Ok(Outcome::Done)
}

fn found<'c, T>(row: Option<&'c Arc<T>>, what: &str, code: &str) -> Result<&'c Arc<T>, Failure> {
    row.ok_or_else(|| {
        Failure::Usage(vec![Problem::at(what.to_uppercase(), format!("there is no {what} “{code}”"))])
    })
}

fn figure(place: &str, text: &str) -> Result<rust_decimal::Decimal, Failure> {
    let figure = text.trim().trim_end_matches('%').trim();
    parse_decimal(figure, DecimalMark::Point).map_err(|error| Failure::usage(place, error))
}

fn shown(value: &Exact, places: u32) -> String {
    value.round_half_even(places).map_or_else(|_| "?".to_owned(), |figure| figure.normalize().to_string())
}

fn floor_text(found: &FloorPrice) -> String {
    let margin = shown(&(&found.margin * &Exact::whole(100)), 2);
    let floor = shown(&(&found.floor * &Exact::whole(100)), 2);
    match found.rise {
        None => format!(
            "{} leaves {margin} %; no rise of {} brings that below {floor} %.",
            found.code, found.material.code
        ),
        Some(rise) => {
            let price = found.price.as_ref().map_or_else(String::new, |price| {
                format!(", to {} {} landed", shown(price, 6), found.currency)
            });
            format!(
                "{} leaves {margin} %. {} may change by {}{}{price} before that is less than {floor} %.",
                found.code,
                found.material.code,
                if rise.is_negative() { "" } else { "+" },
                rise,
            )
        }
    }
}

fn dose_text(found: &FittingDose) -> String {
    let ended = if found.ended_by_diluent { "; there is nothing left to take the difference" } else { "" };
    format!(
        "Line {} ({}) fits at {}, which costs {} a kg{ended}. It stands at {} %.",
        found.line,
        found.material.code,
        found.dose,
        shown(&found.cost, 6),
        shown(&(&found.was * &Exact::whole(100)), 6)
    )
}

fn purchases_text(catalogue: &Catalogue, plans: &Vec<BuyPlan>) -> String {
    if plans.is_empty() {
        return "No planned run is short of anything.".to_owned();
    }
    let minor = catalogue.settings.currency.minor_places();
    let mut text = String::new();
    for plan in plans {
        let _ = writeln!(
            text,
            "{} {}: {} are needed",
            plan.material.code,
            plan.material.name,
            shown(&plan.needed, 6)
        );
        for order in &plan.orders {
            let _ = writeln!(
                text,
                "  {} of {} from {} ({}): {} {}",
                order.packs,
                order.pack,
                order.supplier,
                order.reference,
                shown(&order.cost, minor),
                plan.currency
            );
        }
        if plan.orders.is_empty() {
            text.push_str("  nothing is needed now, or nobody offers it\n");
            continue;
        }
        let proof = if plan.proved {
            "nothing costs less".to_owned()
        } else {
            format!("not proved; nothing costs less than {}", shown(&plan.at_least, minor))
        };
        let one = plan
            .one_order
            .as_ref()
            .map_or_else(String::new, |one| format!("; in one order of one pack {}", shown(one, minor)));
        let _ = writeln!(text, "  together {} {}: {proof}{one}", shown(&plan.cost, minor), plan.currency);
        for later in &plan.later {
            let _ =
                writeln!(text, "  {} for {} would not keep: buy it later", shown(&later.amount, 6), later.on);
        }
    }
    text
}

fn use_up_text(found: &UseUp) -> String {
    let until = found.last_day.map_or_else(String::new, |day| format!(" until {day}"));
    let mut text = format!(
        "{} of lot {} ({}) is left by the planned runs{until}.\n",
        found.left, found.number, found.material.code
    );
    for way in &found.ways {
        let _ = write!(
            text,
            "  {}: {} kg use it up; {} × {} kg take {} each",
            way.code,
            shown(&way.batch, 3),
            way.runs,
            way.run.kg(),
            way.uses
        );
        if let Some(days) = way.lasts_days {
            let _ = write!(text, "; sold in {days} days");
        }
        if !way.short_of.is_empty() {
            let _ = write!(text, "; short of {}", way.short_of.join(", "));
        }
        text.push('\n');
    }
    text
}
