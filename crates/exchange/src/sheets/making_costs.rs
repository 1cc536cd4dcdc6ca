//! Named costs of making a formula version.

use app::import::{FormulaDraft, MakingCostDraft};
use domain::{
    making::{MakingCost, MakingCostAmount, MakingCostKind, WorkTime},
    text::code_key,
};
use kernel::{Money, UnitPrice, limits::MAKING_COSTS_MAX};
use std::collections::BTreeMap;

use crate::{
    collected::Collected, kinds::SheetKind, names::shown, problems::Problems, row::Row,
    sheets::formulas::Broken,
};

const KINDS: &[(&str, MakingCostKind)] = &[
    ("labour", MakingCostKind::Labour),
    ("machine", MakingCostKind::Machine),
    ("cleaning", MakingCostKind::Cleaning),
    ("tests", MakingCostKind::Tests),
    ("disposal", MakingCostKind::Disposal),
    ("other", MakingCostKind::Other),
    ("labor", MakingCostKind::Labour),
];

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Per {
    Batch,
    KgCharged,
    KgOfWaste,
}

const PERS: &[(&str, Per)] =
    &[("batch", Per::Batch), ("kg charged", Per::KgCharged), ("kg of waste", Per::KgOfWaste)];

/// A row of a sheet of making costs.
#[derive(Debug)]
pub(crate) struct CostRow {
    formula: String,
    version: u32,
    draft: MakingCostDraft,
}

pub(crate) fn read(row: &mut Row<'_>, out: &mut Collected) {
    if let Some(cost) = cost(row, out)
        && !row.is_faulty()
    {
        out.costs.push(cost);
    }
}

fn cost(row: &mut Row<'_>, out: &mut Collected) -> Option<CostRow> {
    let formula = row.code("formula");
    let formula = row.must("formula", formula);
    let version = row.whole::<u32>("version");
    let version = row.must("version", version);
    let name = row.code("cost");
    let name = row.must("cost", name);
    let kind = row.one_of("kind", KINDS);
    let kind = row.must("kind", kind);
    if let Some(((formula, version), name)) = formula.as_deref().zip(version).zip(name.as_deref()) {
        let key = format!("{}\n{version}\n{}", code_key(formula), code_key(name));
        out.once(SheetKind::MakingCosts, row, "cost", key, "the same cost of this version");
    }
    let amount = amount(row);
    let draft = MakingCostDraft {
        place: row.place.clone(),
        cost: MakingCost { name: name?, kind: kind?, amount: amount? },
    };
    if let Err(why) = draft.cost.require_sound() {
        row.fault("time", why.to_string());
    }
    Some(CostRow { formula: formula?, version: version?, draft })
}

/// Money per something, or time at a rate.
fn amount(row: &mut Row<'_>) -> Option<MakingCostAmount> {
    if row.has("time") || row.has("rate") {
        for column in ["amount", "per"] {
            if row.has(column) {
                row.fault(column, "stands beside a time; a cost is money, or time at a rate of the house");
            }
        }
        for column in ["time", "rate"] {
            if !row.has(column) {
                row.fault(column, "needs a value: time and rate stand together");
            }
        }
        let time = time(row);
        let rate = row.code("rate");
        return Some(MakingCostAmount::Hours { time: time?, rate: rate? });
    }
    let house = row.options.house_currency;
    let per = row.one_of("per", PERS).unwrap_or(Per::Batch);
    if !row.has("amount") {
        row.fault("amount", "needs a value, unless a time and a rate are given");
    }
    let figure = row.house_figure("amount")?;
    let price = |figure| UnitPrice::from_decimal(figure, house).map_err(|e| e.to_string());
    let amount = match per {
        Per::Batch => {
            Money::from_decimal(figure, house).map(MakingCostAmount::PerBatch).map_err(|e| e.to_string())
        }
        Per::KgCharged => price(figure).map(MakingCostAmount::PerKgCharged),
        Per::KgOfWaste => price(figure).map(MakingCostAmount::PerKgOfWaste),
    };
    row.settle("amount", amount)
}

fn time(row: &mut Row<'_>) -> Option<WorkTime> {
    let written = row.written("time")?;
    let time = WorkTime::written(written.figure, &written.unit).map_or_else(
        || Err(format!("“{}” is not a unit of time (h, min)", shown(&written.unit))),
        |time| time.map_err(|e| e.to_string()),
    );
    row.settle("time", time)
}

/// Gives each version its costs. With the sheet there, a version without a row has none.
pub(crate) fn assemble(
    formulas: &mut [FormulaDraft],
    rows: Vec<CostRow>,
    broken: &Broken,
    problems: &mut Problems,
) {
    let mut costs_of: BTreeMap<(String, u32), Vec<CostRow>> = BTreeMap::new();
    for row in rows {
        costs_of.entry((code_key(&row.formula), row.version)).or_default().push(row);
    }
    for formula in formulas {
        let code = code_key(&formula.code);
        for version in &mut formula.versions {
            let rows = costs_of.remove(&(code.clone(), version.number)).unwrap_or_default();
            if let Some(first) = rows.get(MAKING_COSTS_MAX) {
                let message = format!("a version has at most {MAKING_COSTS_MAX} costs of making");
                problems.cell(&first.draft.place, "cost", message);
            }
            version.costs = Some(rows.into_iter().map(|row| row.draft).collect());
        }
    }
    for (key, rows) in costs_of {
        if let Some(row) = rows.first().filter(|_| !broken.stray_row && !broken.versions.contains(&key)) {
            let message =
                format!("no sheet of formulas in this import has version {} of {}", row.version, row.formula);
            problems.cell(&row.draft.place, "version", message);
        }
    }
}
