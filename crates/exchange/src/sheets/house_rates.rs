//! Rates of the house.

use app::import::HouseRateDraft;
use domain::{
    house_rates::{HouseRate, HouseRateAmount, HouseRateOf},
    text::code_key,
};
use kernel::{Money, UnitPrice, ids::HouseRateId};

use crate::{collected::Collected, kinds::SheetKind, row::Row};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Labour,
    Machine,
    Overhead,
}

const KINDS: &[(&str, Kind)] = &[
    ("labour", Kind::Labour),
    ("labor", Kind::Labour),
    ("machine", Kind::Machine),
    ("overhead", Kind::Overhead),
];

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Per {
    Hour,
    LabourHour,
    MachineHour,
    Batch,
    LabourCost,
}

const PERS: &[(&str, Per)] = &[
    ("hour", Per::Hour),
    ("labour hour", Per::LabourHour),
    ("machine hour", Per::MachineHour),
    ("batch", Per::Batch),
    ("labour cost", Per::LabourCost),
    ("labor hour", Per::LabourHour),
    ("labor cost", Per::LabourCost),
];

pub(crate) fn read(row: &mut Row<'_>, out: &mut Collected) {
    let name = row.code("rate");
    let name = row.must("rate", name);
    let from = row.date("from");
    let from = row.must("from", from);
    if let Some((name, from)) = name.as_deref().zip(from) {
        let key = format!("{}\n{from}", code_key(name));
        out.once(SheetKind::HouseRates, row, "rate", key, "the same rate from the same day");
    }
    let of = of(row);
    let amount = of.and_then(|of| amount(row, of));
    let note = row.note("note");
    let draft = name.clone().zip(from).zip(of.zip(amount)).map(|((name, from), (of, amount))| {
        let rate = HouseRate { id: HouseRateId::new(), name, of, amount, from, note };
        if let Err(why) = rate.require_sound() {
            row.fault("amount", why);
        }
        let HouseRate { name, of, amount, from, note, .. } = rate;
        HouseRateDraft { place: row.place.clone(), name, of, amount, from, note }
    });
    match (draft, name) {
        (Some(draft), _) if !row.is_faulty() => out.house_rates.push(draft),
        (_, Some(name)) => {
            out.unread.house_rates.insert(code_key(&name));
        }
        _ => {}
    }
}

fn of(row: &mut Row<'_>) -> Option<HouseRateOf> {
    let kind = row.one_of("kind", KINDS);
    let kind = row.must("kind", kind);
    let per = row.one_of("per", PERS);
    let per = row.must("per", per);
    match (kind?, per?) {
        (Kind::Labour, Per::Hour | Per::LabourHour) => Some(HouseRateOf::LabourHour),
        (Kind::Machine, Per::Hour | Per::MachineHour) => Some(HouseRateOf::MachineHour),
        (Kind::Overhead, Per::LabourHour) => Some(HouseRateOf::OverheadPerLabourHour),
        (Kind::Overhead, Per::MachineHour) => Some(HouseRateOf::OverheadPerMachineHour),
        (Kind::Overhead, Per::Batch) => Some(HouseRateOf::OverheadPerBatch),
        (Kind::Overhead, Per::LabourCost) => Some(HouseRateOf::OverheadOnLabour),
        (Kind::Overhead, Per::Hour) => {
            row.fault("per", "an overhead is per labour hour or per machine hour; “hour” could be either");
            None
        }
        (Kind::Labour | Kind::Machine, _) => {
            row.fault("per", "labour and machines are paid per hour");
            None
        }
    }
}

/// A percent, a price, or the cost of a period over its capacity.
fn amount(row: &mut Row<'_>, of: HouseRateOf) -> Option<HouseRateAmount> {
    let house = row.options.house_currency;
    let is_percent = row.text("amount").is_some_and(|text| text.trim_end().ends_with('%'));
    let normal_capacity = row.decimal("normal capacity");
    let capacity_used = row.decimal("capacity used");
    if !row.has("normal capacity") && row.has("capacity used") {
        row.fault("capacity used", "needs the normal capacity beside it");
    }
    if is_percent {
        if row.has("normal capacity") {
            row.fault("normal capacity", "belongs to the cost of a period, not to a percent");
        }
        let written = row.written("amount")?;
        let percent = written.percent();
        return row.settle("amount", percent).map(HouseRateAmount::Percent);
    }
    if row.has("normal capacity") {
        let cost = row.house_figure("amount")?;
        let cost = row.settle("amount", Money::from_decimal(cost, house).map_err(|e| e.to_string()))?;
        return Some(HouseRateAmount::Budget { cost, normal_capacity: normal_capacity?, capacity_used });
    }
    if of == HouseRateOf::OverheadOnLabour && row.has("amount") {
        row.fault(
            "amount",
            "an overhead on what labour costs is a percent, or a cost with its normal capacity",
        );
        return None;
    }
    let price = row.house_figure("amount");
    let price = row.must("amount", price)?;
    row.settle("amount", UnitPrice::from_decimal(price, house).map_err(|e| e.to_string()))
        .map(HouseRateAmount::Stated)
}
