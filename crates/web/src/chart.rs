//! Pictures, drawn on the server as SVG without a script: bars that run from a start to an end, and a line that steps.
//!
//! Every picture has a text alternative and a table behind it; colours come from the style sheet and differ in lightness as well,
//! so that a print in grey can be read. Coordinates are whole numbers.

use std::fmt::Write as _;

use chrono::NaiveDate;
use kernel::Exact;
use maud::{Markup, html};

use crate::figures::{date_text, plain};

/// One bar.
pub(crate) struct Bar {
    /// What it is.
    pub label: String,
    /// Where it starts.
    pub from: Exact,
    /// Where it ends.
    pub to: Exact,
    /// What it amounts to, in words.
    pub value: String,
    /// The class of the style sheet: `part`, `sum`, `up`, `down`.
    pub class: &'static str,
    /// A share to draw the cumulative line through, as a fraction of one.
    pub cumulative: Option<Exact>,
}

const LABEL_WIDTH: i64 = 270;
const BARS_WIDTH: i64 = 400;
const VALUE_WIDTH: i64 = 150;
const ROW: i64 = 30;
const LABEL_CHARS: usize = 32;

/// `value / most × width`, to the nearest whole number; nought where that cannot be told.
fn along(value: &Exact, most: &Exact, width: i64) -> i64 {
    (value * &Exact::from(width)).checked_div(most).and_then(|x| x.round_half_even_scaled(0)).unwrap_or(0)
}

/// A label on one line, or on two where it is long; what does not fit those either is cut, and stands whole in the table.
fn on_two_lines(label: &str) -> (String, Option<String>) {
    if label.chars().count() <= LABEL_CHARS {
        return (label.to_owned(), None);
    }
    let (mut first, mut rest) = (String::new(), String::new());
    for word in label.split_whitespace() {
        let place = if rest.is_empty() && first.chars().count() + word.chars().count() < LABEL_CHARS {
            &mut first
        } else {
            &mut rest
        };
        if !place.is_empty() {
            place.push(' ');
        }
        place.push_str(word);
    }
    if first.is_empty() {
        std::mem::swap(&mut first, &mut rest);
    }
    let cut = |text: String| {
        if text.chars().count() <= LABEL_CHARS {
            return text;
        }
        text.chars().take(LABEL_CHARS - 1).chain(['…']).collect()
    };
    (cut(first), Some(cut(rest)).filter(|rest| !rest.is_empty()))
}

/// Bars beneath each other over one scale that begins at nought, or lower where a bar does.
pub(crate) fn bars(title: &str, bars: &[Bar]) -> Markup {
    let mut least = Exact::ZERO;
    let mut most = Exact::ZERO;
    for bar in bars {
        least = least.min(bar.from.clone()).min(bar.to.clone());
        most = most.max(bar.from.clone()).max(bar.to.clone());
        if bar.cumulative.is_some() {
            // The line ends at one; bars beside it are read on the same scale.
            most = most.max(Exact::ONE);
        }
    }
    let span = &most - &least;
    let x = |value: &Exact| LABEL_WIDTH + along(&(value - &least), &span, BARS_WIDTH);
    let rows = i64::try_from(bars.len()).unwrap_or(0);
    let (width, height) = (LABEL_WIDTH + BARS_WIDTH + VALUE_WIDTH, rows * ROW + 8);
    let nought = x(&Exact::ZERO);
    let mut points = String::new();
    for (bar, at) in bars.iter().zip(0_i64..) {
        if let Some(share) = &bar.cumulative {
            let across = LABEL_WIDTH + along(share, &Exact::ONE, BARS_WIDTH);
            // Writing to a string cannot fail.
            let _ = write!(points, "{across},{} ", at * ROW + ROW / 2 + 4);
        }
    }
    html! {
        svg.chart viewBox={ "0 0 " (width) " " (height) } role="img" aria-label=(title) {
            title { (title) }
            line.axis x1=(nought) y1="0" x2=(nought) y2=(height) {}
            @for (bar, at) in bars.iter().zip(0_i64..) {
                @let (a, b) = (x(&bar.from), x(&bar.to));
                @let top = at * ROW + 4;
                @let (first, second) = on_two_lines(&bar.label);
                @match second {
                    None => { text.label x=(LABEL_WIDTH - 10) y=(top + 18) text-anchor="end" { (first) } }
                    Some(second) => {
                        text.label.low x=(LABEL_WIDTH - 10) y=(top + 11) text-anchor="end" { (first) }
                        text.label.low x=(LABEL_WIDTH - 10) y=(top + 24) text-anchor="end" { (second) }
                    }
                }
                rect class={ "bar " (bar.class) } x=(a.min(b)) y=(top + 3) width=((a - b).abs().max(2)) height=(ROW - 8) {}
                text.value x=(width) y=(top + 18) text-anchor="end" { (bar.value) }
            }
            @if !points.is_empty() { polyline.cumulative points=(points.trim_end()) {} }
        }
    }
}

/// A point of a line that steps.
pub(crate) struct Step {
    /// From which day.
    pub on: NaiveDate,
    /// What it is from then on; `None` where nothing is known.
    pub value: Option<Exact>,
}

/// A dot beside the line.
pub(crate) struct Dot {
    /// The day.
    pub on: NaiveDate,
    /// Its height.
    pub value: Exact,
}

const PLOT_LEFT: i64 = 90;
const PLOT_WIDTH: i64 = 640;
const PLOT_TOP: i64 = 20;
const PLOT_HEIGHT: i64 = 180;

/// A line that keeps its height until the next step, up to a last day, with dots beside it. Nothing is drawn of no values.
pub(crate) fn steps(title: &str, unit: &str, steps: &[Step], dots: &[Dot], until: NaiveDate) -> Markup {
    let values: Vec<&Exact> = steps
        .iter()
        .filter_map(|step| step.value.as_ref())
        .chain(dots.iter().map(|dot| &dot.value))
        .collect();
    let (Some(most), Some(least), Some(from)) = (
        values.iter().max(),
        values.iter().min(),
        steps.iter().map(|step| step.on).chain(dots.iter().map(|dot| dot.on)).min(),
    ) else {
        return html! {};
    };
    let until = until.max(from);
    let days = (until - from).num_days().max(1);
    // A little air above and below, and a flat line in the middle.
    let air = (*most - *least).max(*most * &Exact::scaled(5, 2)).max(Exact::scaled(1, 6));
    let low = (*least - &(&air * &Exact::scaled(3, 1))).max(Exact::ZERO);
    let span = &(*most + &(&air * &Exact::scaled(3, 1))) - &low;
    let x = |on: NaiveDate| PLOT_LEFT + (on - from).num_days().clamp(0, days) * PLOT_WIDTH / days;
    let y = |value: &Exact| PLOT_TOP + PLOT_HEIGHT - along(&(value - &low), &span, PLOT_HEIGHT);
    let mut path = String::new();
    let mut drawing = false;
    for (at, step) in steps.iter().enumerate() {
        let end = steps.get(at + 1).map_or(until, |next| next.on);
        match &step.value {
            Some(value) => {
                let height = y(value);
                let begin = if drawing { "L" } else { "M" };
                let _ = write!(path, "{begin}{} {height}L{} {height}", x(step.on), x(end));
                drawing = true;
            }
            None => drawing = false,
        }
    }
    let base = PLOT_TOP + PLOT_HEIGHT;
    let right = PLOT_LEFT + PLOT_WIDTH;
    html! {
        svg.chart viewBox={ "0 0 " (right + 70) " " (base + 40) } role="img" aria-label=(title) {
            title { (title) }
            line.axis x1=(PLOT_LEFT) y1=(base) x2=(right) y2=(base) {}
            @for value in [*most, *least] {
                line.grid x1=(PLOT_LEFT) y1=(y(value)) x2=(right) y2=(y(value)) {}
                text.label x=(PLOT_LEFT - 8) y=(y(value) + 5) text-anchor="end" { (plain(value, 2)) }
            }
            text.label x=(PLOT_LEFT - 8) y=(PLOT_TOP - 6) text-anchor="end" { (unit) }
            text.label x=(PLOT_LEFT) y=(base + 22) { (date_text(from)) }
            text.label x=(right) y=(base + 22) text-anchor="end" { (date_text(until)) }
            path.steps d=(path) {}
            @for dot in dots { circle.dot cx=(x(dot.on)) cy=(y(&dot.value)) r="4" {} }
        }
    }
}

/// A point of a curve.
pub(crate) struct Point {
    /// Where it stands.
    pub at: Exact,
    /// Its height; `None` where nothing is known.
    pub value: Option<Exact>,
    /// Whether it is the one things are compared with.
    pub is_current: bool,
}

/// A line at which something begins or ends.
pub(crate) struct Limit {
    /// Where.
    pub at: Exact,
    /// What, in a word or two.
    pub label: String,
}

/// A line through points, by what it is drawn over. Nothing is drawn of fewer than two values.
pub(crate) fn curve(title: &str, units: (&str, &str), points: &[Point], limits: &[Limit]) -> Markup {
    let known: Vec<(&Point, &Exact)> =
        points.iter().filter_map(|point| Some((point, point.value.as_ref()?))).collect();
    let (Some(first), Some(last)) =
        (known.iter().map(|(p, _)| &p.at).min(), known.iter().map(|(p, _)| &p.at).max())
    else {
        return html! {};
    };
    let (Some(least), Some(most)) =
        (known.iter().map(|(_, v)| *v).min(), known.iter().map(|(_, v)| *v).max())
    else {
        return html! {};
    };
    if first == last {
        return html! {};
    }
    let air = (most - least).max(most.abs() * Exact::scaled(5, 2)).max(Exact::scaled(1, 6));
    let low = (least - &(&air * &Exact::scaled(2, 1))).max(Exact::ZERO);
    let span = &(most + &(&air * &Exact::scaled(2, 1))) - &low;
    let across = last - first;
    let x = |at: &Exact| PLOT_LEFT + along(&(at - first), &across, PLOT_WIDTH).clamp(0, PLOT_WIDTH);
    let y = |value: &Exact| PLOT_TOP + PLOT_HEIGHT - along(&(value - &low), &span, PLOT_HEIGHT);
    let mut path = String::new();
    let mut drawing = false;
    for point in points {
        match &point.value {
            Some(value) => {
                let begin = if drawing { "L" } else { "M" };
                // Writing to a string cannot fail.
                let _ = write!(path, "{begin}{} {}", x(&point.at), y(value));
                drawing = true;
            }
            None => drawing = false,
        }
    }
    let (base, right) = (PLOT_TOP + PLOT_HEIGHT, PLOT_LEFT + PLOT_WIDTH);
    let inside = |limit: &&Limit| &limit.at >= first && &limit.at <= last;
    html! {
        svg.chart viewBox={ "0 0 " (right + 70) " " (base + 44) } role="img" aria-label=(title) {
            title { (title) }
            line.axis x1=(PLOT_LEFT) y1=(base) x2=(right) y2=(base) {}
            @for value in [most, least] {
                line.grid x1=(PLOT_LEFT) y1=(y(value)) x2=(right) y2=(y(value)) {}
                text.label x=(PLOT_LEFT - 8) y=(y(value) + 5) text-anchor="end" { (plain(value, 4)) }
            }
            text.label x=(PLOT_LEFT - 8) y=(PLOT_TOP - 6) text-anchor="end" { (units.1) }
            text.label x=(PLOT_LEFT) y=(base + 22) { (plain(first, 2)) " " (units.0) }
            text.label x=(right) y=(base + 22) text-anchor="end" { (plain(last, 2)) " " (units.0) }
            @for (limit, row) in limits.iter().filter(inside).zip(0_i64..) {
                line.limit x1=(x(&limit.at)) y1=(PLOT_TOP) x2=(x(&limit.at)) y2=(base) {}
                text.label.low x=(x(&limit.at) + 4) y=(PLOT_TOP + 10 + row % 4 * 14) { (limit.label) }
            }
            path.steps d=(path) {}
            @for (point, value) in &known {
                circle class=(if point.is_current { "dot current" } else { "dot small" }) cx=(x(&point.at)) cy=(y(value)) r=(if point.is_current { "6" } else { "3" }) {}
            }
        }
    }
}

/// A target with what is allowed either side, and where the balance stands. All in one unit.
pub(crate) fn band(title: &str, target: &Exact, tolerance: &Exact, now: &Exact) -> Markup {
    let width = 600_i64;
    let reach = tolerance * &Exact::whole(4);
    let low = target - &reach;
    let x = |value: &Exact| along(&(value - &low), &(&reach * &Exact::whole(2)), width).clamp(0, width);
    let (a, b) = (x(&(target - tolerance)), x(&(target + tolerance)));
    html! {
        svg.band viewBox="0 0 600 50" role="img" aria-label=(title) {
            title { (title) }
            rect.rail x="0" y="18" width="600" height="20" rx="4" {}
            rect.allowed x=(a) y="14" width=(b - a) height="28" {}
            line.target x1="300" y1="8" x2="300" y2="48" {}
            polygon.now points="0,0 -9,-13 9,-13" transform={ "translate(" (x(now).clamp(10, width - 10)) " 16)" } {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_labels_stand_on_two_lines() {
        let check = |label: &str, first: &str, second: Option<&str>| {
            assert_eq!(on_two_lines(label), (first.to_owned(), second.map(ToOwned::to_owned)), "{label}");
        };
        check("SLES70 Ether sulfate", "SLES70 Ether sulfate", None);
        check("SLES70 Sodium lauryl ether sulfate 70 %", "SLES70 Sodium lauryl ether", Some("sulfate 70 %"));
        let endless = "x".repeat(80);
        let (first, second) = on_two_lines(&endless);
        assert!(first.chars().count() == LABEL_CHARS && first.ends_with('…') && second.is_none());
    }
}
