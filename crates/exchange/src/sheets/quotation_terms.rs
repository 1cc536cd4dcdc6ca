//! What stands beside the prices of a quotation: discount, duty, charges, small orders, deposits.

use app::import::{ChargeDraft, TermsDraft};
use domain::{
    quotations::{BreakCounts, DutyOn, PriceBasis},
    text,
};
use kernel::Currency;

use crate::{
    figures,
    names::shown,
    row::Row,
    sheets::quotations::{amount, charged_per, other_currency, unit_price},
};

/// Reads the columns of terms. Whatever is empty stays open: a further row of the quotation may say it.
pub(super) fn terms(row: &mut Row<'_>, currency: Option<Currency>) -> TermsDraft {
    let terms = TermsDraft {
        price_basis: row.one_of(
            "price basis",
            &[("as supplied", PriceBasis::AsSupplied), ("active matter", PriceBasis::ActiveMatter)],
        ),
        break_counts: row.one_of(
            "break counts",
            &[("line", BreakCounts::Line), ("order", BreakCounts::Order), ("year", BreakCounts::Year)],
        ),
        discount: row.stated_loss("discount"),
        duty: row.percent("duty"),
        duty_on: row
            .one_of("duty on", &[("price", DutyOn::Price), ("price and freight", DutyOn::PriceAndFreight)]),
        charges: charges(row, currency),
        small_order: {
            let charge = amount(row, "small order charge", currency);
            charge.zip(amount(row, "small order below", currency))
        },
        deposit: amount(row, "deposit", currency),
        deposit_forfeited: row.share("deposit forfeited"),
    };
    for (column, other, because) in [
        ("small order below", "small order charge", "since there is a small order charge"),
        ("small order charge", "small order below", "since it says which orders are small"),
        ("duty", "duty on", "since it says what duty is on"),
        ("deposit", "deposit forfeited", "since a share of it is forfeited"),
    ] {
        if row.has(other) && !row.has(column) {
            row.fault(column, format!("needs a value, {because}"));
        }
    }
    terms
}

/// `tail lift: 25 per order; hazard surcharge: 0.05 per kg`.
fn charges(row: &mut Row<'_>, currency: Option<Currency>) -> Option<Vec<ChargeDraft>> {
    let text = row.text("charges")?;
    let mut charges: Vec<ChargeDraft> = Vec::new();
    for part in text.split(';').map(str::trim).filter(|part| !part.is_empty()) {
        let charge = charge(row, part, currency);
        let charge = row.settle("charges", charge)?;
        if charges.iter().any(|known| known.name == charge.name) {
            row.fault("charges", format!("“{}” stands twice", shown(&charge.name)));
        }
        let amount = unit_price(row, "charges", charge.amount)?;
        charges.push(ChargeDraft { amount, ..charge });
    }
    Some(charges)
}

fn charge(row: &Row<'_>, part: &str, currency: Option<Currency>) -> Result<ChargeDraft, String> {
    let mark = row.options.decimal;
    let unreadable = || {
        format!(
            "“{}” is not a charge; write them as “tail lift: 25 per order; hazard: 0.05 per kg”",
            shown(part)
        )
    };
    let (name, rest) = part.split_once(':').ok_or_else(unreadable)?;
    let (figure, per) = rest.split_once(" per ").ok_or_else(unreadable)?;
    let (amount, beside) = figures::money(figure, mark)?;
    if let Some(message) = other_currency(beside, currency) {
        return Err(format!("{} {message}", shown(name)));
    }
    Ok(ChargeDraft {
        name: text::name("the name of a charge", name).map_err(|error| error.to_string())?,
        amount,
        per: charged_per(per.trim(), mark)?,
    })
}
