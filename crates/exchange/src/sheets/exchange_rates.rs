//! Exchange rates.

use app::import::RateDraft;
use kernel::Rate;

use crate::{collected::Collected, kinds::SheetKind, row::Row};

pub(crate) fn read(row: &mut Row<'_>, out: &mut Collected) {
    if let Some(draft) = draft(row, out)
        && !row.is_faulty()
    {
        out.rates.push(draft);
    }
}

fn draft(row: &mut Row<'_>, out: &mut Collected) -> Option<RateDraft> {
    let from = row.currency("from");
    let from = row.must("from", from);
    let to = row.currency("to");
    let to = row.must("to", to);
    let rate = row.decimal("rate").and_then(|figure| {
        let rate = Rate::new(figure).map_err(|e| e.to_string());
        row.settle("rate", rate)
    });
    let rate = row.must("rate", rate);
    let date = row.date("date");
    let date = row.must("date", date);
    let source = row.name("source");
    let source = row.must("source", source);
    let (from, to, date) = (from?, to?, date?);
    if from == to {
        row.fault("to", format!("{from} to itself is no exchange"));
    }
    let key = format!("{from} {to} {date}");
    out.once(SheetKind::ExchangeRates, row, "date", key, "a rate of these currencies and this date");
    Some(RateDraft { place: row.place.clone(), from, to, rate: rate?, date, source: source? })
}
