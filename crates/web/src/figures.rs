//! Figures as people read them: rounded for the eye with the whole figure kept beneath, units and currency beside, dates by the
//! name of the month, and gaps as gaps.

use chrono::{Datelike as _, NaiveDate};
use kernel::{Currency, Dimension, Exact, Mass, Money, Percent, Quantity, UnitPrice};
use maud::{Markup, html};
use rust_decimal::Decimal;

use crate::text as t;

/// Between groups of three digits: narrow, and no place to break a line.
const GROUP: char = '\u{202f}';
/// Places past which a figure is not spelt out.
const PLACES_MAX: u32 = 12;

/// A decimal with its digits in groups of three.
pub(crate) fn grouped(figure: Decimal) -> String {
    let text = figure.abs().to_string();
    let (whole, fraction) = text.split_once('.').unwrap_or((&text, ""));
    let mut out = String::with_capacity(text.len() + 8);
    if figure.is_sign_negative() && !figure.is_zero() {
        out.push('−');
    }
    for (at, digit) in whole.char_indices() {
        if at > 0 && (whole.len() - at).is_multiple_of(3) && whole.len() > 4 {
            out.push(GROUP);
        }
        out.push(digit);
    }
    if !fraction.is_empty() {
        out.push('.');
        out.push_str(fraction);
    }
    out
}

/// A figure at so many places, or at more when it is so small that it would lose its digits: half a gram in a tonne is not nought.
pub(crate) fn rounded(value: &Exact, least_places: u32) -> Option<Decimal> {
    let digits_kept = least_places.clamp(1, 3);
    let mut places = least_places;
    loop {
        let figure = value.round_half_even(places).ok()?;
        let digits = figure.mantissa().unsigned_abs().checked_ilog10().map_or(0, |log| log + 1);
        if value.is_zero() || digits >= digits_kept || places >= PLACES_MAX {
            return Some(figure);
        }
        places += 1;
    }
}

/// A figure in words, for sentences.
pub(crate) fn plain(value: &Exact, least_places: u32) -> String {
    rounded(value, least_places).map_or_else(|| t::TOO_LARGE.to_owned(), grouped)
}

/// A figure and its unit; `whole` is what stands behind the rounding.
fn shown(figure: &str, unit: &str, whole: &str) -> Markup {
    html! {
        span.fig title=[(whole != figure && !whole.is_empty()).then_some(whole)] {
            span.n { (figure) }
            @if !unit.is_empty() { "\u{202f}" span.unit { (unit) } }
        }
    }
}

/// Something nobody has entered.
pub(crate) fn gap() -> Markup {
    html! { span.gap { span aria-hidden="true" { "◌ " } (t::GAP) } }
}

/// A figure in a unit, rounded half to even for the eye.
pub(crate) fn exact(value: &Exact, least_places: u32, unit: &str) -> Markup {
    let whole =
        value.to_decimal_exactly().map_or_else(String::new, |figure| format!("{} {unit}", grouped(figure)));
    shown(&plain(value, least_places), unit, &whole)
}

/// The same, or a gap.
pub(crate) fn exact_or_gap(value: Option<&Exact>, least_places: u32, unit: &str) -> Markup {
    value.map_or_else(gap, |value| exact(value, least_places, unit))
}

/// A decimal as it was printed.
pub(crate) fn decimal(figure: Decimal, unit: &str) -> Markup {
    shown(&grouped(figure), unit, "")
}

/// A decimal, or a gap.
pub(crate) fn decimal_or_gap(figure: Option<Decimal>, unit: &str) -> Markup {
    figure.map_or_else(gap, |figure| decimal(figure, unit))
}

/// Money at the places of its currency.
pub(crate) fn money(money: Money) -> Markup {
    exact(&money.to_exact(), money.currency().minor_places(), money.currency().code())
}

/// Money, or a gap.
pub(crate) fn money_or_gap(value: Option<Money>) -> Markup {
    value.map_or_else(gap, money)
}

/// A change of money, with its sign.
pub(crate) fn signed_money(value: &Exact, currency: Currency, places: u32) -> Markup {
    let sign = if value.is_positive() { "+" } else { "" };
    shown(&format!("{sign}{}", plain(value, places)), currency.code(), "")
}

/// A price as quoted.
pub(crate) fn price(price: UnitPrice) -> Markup {
    shown(&grouped(price.amount()), price.currency().code(), "")
}

/// An amount of stock in kg or pieces, for tables where amounts stand beneath each other.
pub(crate) fn quantity(quantity: Quantity) -> Markup {
    let unit = quantity.dimension().unit();
    match quantity.dimension() {
        Dimension::Mass => exact(&quantity.to_exact(), 3, unit),
        Dimension::Volume | Dimension::Count => decimal(quantity.figure(), unit),
    }
}

/// The same in words.
pub(crate) fn quantity_text(quantity: Quantity) -> String {
    let places = if quantity.dimension() == Dimension::Mass { 3 } else { 0 };
    format!("{}\u{a0}{}", plain(&quantity.to_exact(), places), quantity.dimension().unit())
}

/// A mass as a balance shows it: grams below one kilogram.
pub(crate) fn weighed(mass: Mass) -> (String, &'static str) {
    let kilograms = mass.to_exact();
    if kilograms.abs() < Exact::ONE {
        (plain(&(&kilograms * &Exact::whole(1_000)), 2), "g")
    } else {
        (plain(&kilograms, 3), "kg")
    }
}

/// The same with its unit, in words.
pub(crate) fn weighed_text(mass: Mass) -> String {
    let (figure, unit) = weighed(mass);
    format!("{figure}\u{a0}{unit}")
}

/// A mass as a balance shows it.
pub(crate) fn weighed_figure(mass: Mass) -> Markup {
    let (figure, unit) = weighed(mass);
    shown(&figure, unit, &mass.to_string())
}

/// A percent.
pub(crate) fn percent(percent: Percent) -> Markup {
    exact(&percent.to_exact(), 2, "%")
}

/// A fraction of one as percent.
pub(crate) fn fraction(fraction: &Exact, places: u32) -> Markup {
    exact(&(fraction * &Exact::whole(100)), places, "%")
}

/// A fraction of one as percent, in words.
pub(crate) fn fraction_text(fraction: &Exact, places: u32) -> String {
    format!("{}\u{202f}%", plain(&(fraction * &Exact::whole(100)), places))
}

/// A date by the name of its month.
pub(crate) fn date(date: NaiveDate) -> Markup {
    html! { time datetime=(date) { (date_text(date)) } }
}

/// The same in words.
pub(crate) fn date_text(date: NaiveDate) -> String {
    format!("{}\u{a0}{}\u{a0}{}", date.day(), t::month(date.month0()), date.year())
}

/// A date, or nothing said.
pub(crate) fn date_or_dash(date: Option<NaiveDate>) -> Markup {
    date.map_or_else(|| html! { span.quiet { "–" } }, self::date)
}

#[cfg(test)]
mod tests {
    use super::*;
    use kernel::{DecimalMark, parse_decimal};

    fn exact_of(text: &str) -> Exact {
        Exact::from(parse_decimal(text, DecimalMark::Point).unwrap())
    }

    fn check(value: &str, places: u32, expected: &str) {
        assert_eq!(plain(&exact_of(value), places).replace(GROUP, " "), expected, "{value}");
    }

    #[test]
    fn small_figures_keep_their_digits() {
        check("0.000432", 3, "0.000432");
        check("0.0000014", 2, "0.0000014");
        check("0.54", 1, "0.5");
        check("0.04", 1, "0.04");
        check("0", 3, "0.000");
        check("12.3456", 3, "12.346");
        check("-0.125", 2, "−0.125");
        check("1234567.891", 2, "1 234 567.89");
        check("1234.5", 2, "1234.50");
    }

    #[test]
    fn dates_name_their_month() {
        let day = NaiveDate::from_ymd_opt(2026, 3, 4).unwrap();
        assert_eq!(date_text(day).replace('\u{a0}', " "), "4 Mar 2026");
    }

    #[test]
    fn balances_show_grams_below_a_kilogram() {
        let mass = |text: &str| Mass::from_kg(parse_decimal(text, DecimalMark::Point).unwrap()).unwrap();
        assert_eq!(weighed(mass("0.8034")), ("803.40".to_owned(), "g"));
        assert_eq!(weighed(mass("36.144578313")), ("36.145".to_owned(), "kg"));
    }
}
