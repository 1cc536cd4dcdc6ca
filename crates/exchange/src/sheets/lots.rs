//! Lots: receipts.

use app::import::{LotCost, LotDraft};
use domain::{dates::MonthMeans, lots::LotStatus, text::code_key};
use kernel::UnitPrice;

use crate::{collected::Collected, kinds::SheetKind, row::Row};

pub(crate) fn read(row: &mut Row<'_>, out: &mut Collected) {
    if let Some(draft) = draft(row, out)
        && !row.is_faulty()
    {
        out.lots.push(draft);
    }
}

fn draft(row: &mut Row<'_>, out: &mut Collected) -> Option<LotDraft> {
    let number = row.code("lot");
    let number = row.must("lot", number);
    if let Some(number) = &number {
        out.once(SheetKind::Lots, row, "lot", code_key(number), "the same lot number");
    }
    let material = row.code("material");
    let material = row.must("material", material);
    let quantity = row.quantity("quantity", None);
    let quantity = row.must("quantity", quantity);
    let cost = cost(row);
    let supplier = row.code("supplier");
    let supplier_lot = row.code("supplier lot");
    let received_on = row.date("received");
    let received_on = row.must("received", received_on);
    let made_on = row.date_or_month("made", MonthMeans::FirstDay);
    let expires_on = row.date_or_month("expiry", MonthMeans::LastDay);
    let retest_on = row.date_or_month("retest", MonthMeans::LastDay);
    let opened_on = row.date("opened");
    row.not_before("received", received_on, made_on, "it was made on");
    row.not_before("expiry", expires_on, received_on, "it was received on");
    row.not_before("opened", opened_on, received_on, "it was received on");
    row.not_before("retest", retest_on, made_on, "it was made on");
    let statuses = LotStatus::ALL.map(|status| (status.words(), status));
    let status = row.one_of("status", &statuses);
    let status = row.must("status", status);
    let density = row.density("density");
    let active_matter = row.strength("active matter");
    let location = row.name("location");
    let note = row.note("note");
    Some(LotDraft {
        place: row.place.clone(),
        number: number?,
        material: material?,
        quantity: quantity?,
        cost,
        supplier,
        supplier_lot,
        received_on: received_on?,
        made_on,
        expires_on,
        retest_on,
        opened_on,
        status: status?,
        density,
        active_matter,
        location,
        note,
    })
}

fn cost(row: &mut Row<'_>) -> Option<LotCost> {
    let value = row.house_money("value");
    let unit_cost = row.house_figure("unit cost").and_then(|figure| {
        let price = UnitPrice::from_decimal(figure, row.options.house_currency).map_err(|e| e.to_string());
        row.settle("unit cost", price)
    });
    match (value, unit_cost) {
        (Some(_), Some(_)) => {
            row.fault("unit cost", "stands beside a value; give one of the two");
            None
        }
        (Some(value), None) => Some(LotCost::Value(value)),
        (None, unit_cost) => unit_cost.map(LotCost::UnitCost),
    }
}
