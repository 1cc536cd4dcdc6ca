//! What stands beside the prices of a quotation: discount, duty, charges, small orders, deposits.

use app::import::{ChargeDraft, ChargePerDraft, TermsDraft};
use domain::{
    quotations::{BreakCounts, DutyOn, PriceBasis},
    text,
};
use kernel::Currency;
use rust_decimal::Decimal;

use crate::{
    figures,
    names::{plain, shown},
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

/// `tail lift: 25 per order; hazard surcharge: 0.05 per kg; insurance: 0.5 % of goods; carriage: 300 per 4000 of goods`.
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
        if let ChargePerDraft::Goods(worth) | ChargePerDraft::Freight(worth) = charge.per {
            unit_price(row, "charges", worth)?;
        }
        charges.push(ChargeDraft { amount, ..charge });
    }
    Some(charges)
}

fn charge(row: &Row<'_>, part: &str, currency: Option<Currency>) -> Result<ChargeDraft, String> {
    let mark = row.options.decimal;
    let unreadable = || {
        format!(
            "“{}” is not a charge; write them as “tail lift: 25 per order; hazard: 0.05 per kg; insurance: 0.5 % of goods”",
            shown(part)
        )
    };
    let (name, rest) = part.split_once(':').ok_or_else(unreadable)?;
    let named = || text::name("the name of a charge", name).map_err(|error| error.to_string());
    let in_currency = |text: &str| {
        let (amount, beside) = figures::money(text, mark)?;
        match other_currency(beside, currency) {
            Some(message) => Err(format!("{} {message}", shown(name))),
            None => Ok(amount),
        }
    };
    if let Some((percent, of)) = rest.split_once('%') {
        let amount = figures::money(percent, mark)?.0;
        let per = worth_of(Decimal::ONE_HUNDRED, of).ok_or_else(unreadable)?;
        return Ok(ChargeDraft { name: named()?, amount, per });
    }
    let (figure, per) = rest.split_once(" per ").ok_or_else(unreadable)?;
    let amount = in_currency(figure)?;
    let per = match per.trim().rsplit_once(" of ") {
        Some((worth, of)) => {
            let worth = in_currency(worth)?;
            if worth <= Decimal::ZERO {
                return Err(format!("{} is for a worth of nought; it must be above", shown(name)));
            }
            worth_of(worth, &format!("of {of}")).ok_or_else(unreadable)?
        }
        None => ChargePerDraft::By(charged_per(per.trim(), mark)?),
    };
    Ok(ChargeDraft { name: named()?, amount, per })
}

/// `of goods` or `of freight`.
fn worth_of(worth: Decimal, of: &str) -> Option<ChargePerDraft> {
    match plain(of).as_str() {
        "ofgoods" => Some(ChargePerDraft::Goods(worth)),
        "offreight" => Some(ChargePerDraft::Freight(worth)),
        _ => None,
    }
}
