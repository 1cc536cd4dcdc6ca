//! Every text of the pages, in one place: sentences that are put together here, fixed words by part of the house beside it.

mod bench;
mod costs;
mod draft;
mod house;
mod office;
mod shelf;
mod what_if;

use chrono::NaiveDate;
use domain::{
    dates::parse_date,
    lots::{LotStatus, Unusable},
    packs::ComponentPer,
    people::Capability,
};
use engine::{CautionKind, Verdict};
use kernel::Quantity;

pub(crate) use self::{bench::*, costs::*, draft::*, house::*, office::*, shelf::*, what_if::*};
use crate::figures::{date_text, quantity_text};

/// Fixed words: a name and what it says.
macro_rules! words {
    ($($name:ident = $text:literal;)*) => { $(pub(crate) const $name: &str = $text;)* };
}
use words;

/// A sentence as it stands at the beginning of a line, its dates by the name of their month.
pub(crate) fn sentence(text: &str) -> String {
    let text = dates_named(text);
    let mut chars = text.chars();
    match chars.next() {
        Some(first) if first.is_lowercase() => first.to_uppercase().chain(chars).collect(),
        _ => text,
    }
}

/// ISO dates that stand by themselves, by the name of their month; codes that look like them stay as they are.
fn dates_named(text: &str) -> String {
    const LENGTH: usize = "2026-11-30".len();
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    let mut alone = true;
    while let Some(first) = rest.chars().next() {
        let named = rest.get(..LENGTH).filter(|_| alone && first.is_ascii_digit()).and_then(|date| {
            let ends = rest
                .get(LENGTH..)
                .is_none_or(|after| !after.starts_with(|c: char| c.is_alphanumeric() || c == '-'));
            if ends { parse_date(date).ok() } else { None }
        });
        if let Some(date) = named {
            out.push_str(&date_text(date));
            rest = rest.get(LENGTH..).unwrap_or_default();
        } else {
            out.push(first);
            rest = rest.get(first.len_utf8()..).unwrap_or_default();
        }
        alone = !(first.is_alphanumeric() || first == '-' || first == '/');
    }
    out
}

/// A number of things.
fn number_of(count: usize, one: &str, several: &str) -> String {
    if count == 1 { format!("1 {one}") } else { format!("{count} {several}") }
}

/// A month, counted from nought.
pub(crate) fn month(from_nought: u32) -> &'static str {
    const MONTHS: [&str; 12] =
        ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
    usize::try_from(from_nought).ok().and_then(|at| MONTHS.get(at)).copied().unwrap_or("?")
}

/// Why a lot cannot be used.
pub(crate) fn unusable(reason: &Unusable) -> String {
    match reason {
        Unusable::Ordered { due: Some(due) } => format!("ordered, expected {}", date_text(*due)),
        Unusable::Ordered { due: None } => "ordered".to_owned(),
        Unusable::Restricted => "for other products only".to_owned(),
        Unusable::OfCustomer => "a customer's".to_owned(),
        Unusable::ReleaseEnded { until } => format!("release ended {}", date_text(*until)),
        Unusable::Quarantine => "in quarantine".to_owned(),
        Unusable::OnHold => "on hold".to_owned(),
        Unusable::Rejected => "rejected".to_owned(),
        Unusable::NotYetReceived { on } => format!("not here before {}", date_text(*on)),
        Unusable::Expired { on } => format!("expired {}", date_text(*on)),
        Unusable::RetestDue { on } => format!("retest was due {}", date_text(*on)),
        Unusable::OpenedTooLong { until } => format!("opened too long, good until {}", date_text(*until)),
        Unusable::TooLittleLife { until, wanted } => {
            format!("good until {}, {wanted} wanted", date_text(*until))
        }
    }
}

/// A version by its number.
pub(crate) fn version(number: u32) -> String {
    format!("version {number}")
}

/// How long something keeps still, or since when it does not.
pub(crate) fn days_left(days: i64) -> String {
    match days {
        0 => "ends today".to_owned(),
        1 => "1 day left".to_owned(),
        -1 => "ended yesterday".to_owned(),
        2.. => format!("{days} days left"),
        _ => format!("ended {} days ago", days.saturating_abs()),
    }
}

/// Lots whose value nobody entered.
pub(crate) fn lots_unvalued(count: usize) -> String {
    format!("value of {}", number_of(count, "lot", "lots"))
}

/// How many gaps.
pub(crate) fn gaps(count: usize) -> String {
    number_of(count, "gap", "gaps")
}

/// A list that does not show everything.
pub(crate) fn list_cut(shown: usize, of: usize) -> String {
    format!("The first {shown} of {of} are shown; narrow it down to see others.")
}

/// Packs that were not costed.
pub(crate) fn packs_left_out(count: usize) -> String {
    format!("{count} more packs were not costed for this page; each stands on its own page.")
}

/// A margin.
pub(crate) fn margin_of(share: &str) -> String {
    format!("margin {share}")
}

/// How far the first page looks.
pub(crate) fn today_lead(until: NaiveDate) -> String {
    format!("What needs somebody, the most pressing first. It looks ahead to {}.", date_text(until))
}

/// Something named that is not there.
pub(crate) fn no_such(what: &str, key: &str) -> String {
    if key.is_empty() { format!("name a {what}") } else { format!("there is no {what} {key}") }
}

/// A formula without an approved version.
pub(crate) fn no_approved(code: &str) -> String {
    format!("formula {code} has no approved version on that day")
}

/// What a sheet was worked out from.
pub(crate) fn as_of_version(code: &str, number: u32, status: &str) -> String {
    format!("{code}, version {number} ({status}), at replacement prices of")
}

/// Two versions side by side.
pub(crate) fn compare_title(a: u32, b: u32) -> String {
    format!("Version {a} beside version {b}")
}

/// What a component is counted by.
pub(crate) const fn component_per(per: ComponentPer) -> &'static str {
    match per {
        ComponentPer::Unit => "each unit",
        ComponentPer::Case => "each case",
    }
}

/// What a lot becomes by a button.
pub(crate) const fn become_status(status: LotStatus) -> &'static str {
    match status {
        LotStatus::Released => "Release",
        LotStatus::OnHold => "Put on hold",
        LotStatus::Rejected => "Reject for good",
        LotStatus::Quarantine => "Back to quarantine",
    }
}

/// The class a caution is shown in.
pub(crate) const fn caution_class(kind: CautionKind) -> &'static str {
    match kind {
        CautionKind::IncompatiblePair => "bad",
        CautionKind::Flammable | CautionKind::CombustibleDust | CautionKind::NoPreservative => "care",
        CautionKind::HazardStatements | CautionKind::NoSafetyDataSheet => "calm",
    }
}

/// The answer of a run check.
pub(crate) const fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::CanBeMade => "Yes, it can be made",
        Verdict::MakeFirst => "Yes, once a premix has been made",
        Verdict::Short => "No, something is short",
        Verdict::NotKnown => "Nobody can say: something is not known",
    }
}

/// How one material of a run stands.
pub(crate) const fn material_verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::CanBeMade => "there",
        Verdict::MakeFirst => "make first",
        Verdict::Short => "short by",
        Verdict::NotKnown => "not known",
    }
}

/// What a run is of.
pub(crate) fn run_of(units: Option<u64>, for_sale: Option<u64>) -> String {
    match (units, for_sale) {
        (None, _) => String::new(),
        (Some(units), Some(for_sale)) if for_sale < units => {
            format!("{units} units filled, {for_sale} of them for sale, from")
        }
        (Some(units), _) => format!("{units} units from"),
    }
}

/// Lots that cannot be used.
pub(crate) fn lots_barred(count: usize) -> String {
    format!("{} cannot be used", number_of(count, "lot", "lots"))
}

/// What a price is of.
pub(crate) fn landed_today(like: Option<Quantity>) -> String {
    match like {
        Some(quantity) => {
            format!("Landed today, for an order like the last one ({}):", quantity_text(quantity))
        }
        None => "Landed today, for the smallest order:".to_owned(),
    }
}

/// Lots that wait for inspection.
pub(crate) fn lots_to_inspect(count: usize) -> String {
    format!("Inspect and release {}", number_of(count, "lot", "lots"))
}

/// What a scenario assumes, by the number of its change.
pub(crate) fn from_change(number: usize) -> String {
    format!("assumed by change {number}")
}

/// What is wrong with a change.
pub(crate) fn change_wrong(number: usize, why: &str) -> String {
    format!("Change {number}: {why}.")
}

/// How much a what-if reaches.
pub(crate) fn hits(packs: usize, formulas: usize, runs: usize, lots: usize) -> String {
    format!(
        "It reaches {}, {}, {} and {}.",
        number_of(packs, "pack", "packs"),
        number_of(formulas, "formula", "formulas"),
        number_of(runs, "run", "runs"),
        number_of(lots, "lot", "lots")
    )
}

/// How far a ticket is.
pub(crate) fn done_of(done: usize, of: usize) -> String {
    format!("{done} of {of} weighed")
}

/// Which charge it is.
pub(crate) fn charge_number(position: u32, of: usize) -> String {
    format!("charge {position} of {of}")
}

/// The title of a ticket's bench page.
pub(crate) fn bench_title(number: &str) -> String {
    format!("{number} at the bench")
}

/// The field of the weight.
pub(crate) fn weight_in(unit: &str) -> String {
    format!("Weight, net, in {unit}")
}

/// A token was issued.
pub(crate) fn token_issued(name: &str) -> String {
    format!("This is the token of {name}:")
}

/// Use levels as a range.
pub(crate) fn use_level(from: Option<String>, to: Option<String>) -> String {
    match (from, to) {
        (Some(from), Some(to)) => format!("{from} to {to}\u{202f}%"),
        (Some(from), None) => format!("{from}\u{202f}% or more"),
        (None, Some(to)) => format!("up to {to}\u{202f}%"),
        (None, None) => String::new(),
    }
}

/// What a capability allows.
pub(crate) const fn capability(capability: Capability) -> &'static str {
    match capability {
        Capability::Look => "look at everything",
        Capability::PlanAndMake => "write, weigh and complete tickets; count",
        Capability::Buy => "receive deliveries, quotations and rates",
        Capability::ReleaseAndReject => "release, hold and reject lots",
        Capability::ApproveFormulas => "approve and retire formula versions",
        Capability::Administer => "import, tokens, reversals",
    }
}

/// A field of a form, as the list of problems names it.
pub(crate) fn field_name(field: &str) -> &str {
    match field {
        "amount" => "Weight",
        "lot" => LOT,
        "checkedBy" => SECOND_CHECK,
        "line" => "Charge",
        "reason" => REASON,
        "quantity" => HOW_MUCH,
        "material" => MATERIAL,
        "supplier" => SUPPLIER,
        "supplierLot" => SUPPLIERS_LOT,
        "number" | "lotNumber" => OWN_NUMBER,
        "receivedOn" => RECEIVED,
        "madeOn" => MADE_ON,
        "expiresOn" => EXPIRES,
        "retestOn" => RETEST_ON,
        "expiresAt" => LAST_DAY_OF_TOKEN,
        "value" => VALUE,
        "density" => DENSITY,
        "activeMatter" => ACTIVE,
        "yieldMass" => YIELD,
        "on" | "as_of" => DAY,
        "found" => FOUND,
        "units" => UNITS,
        "batch" => BATCH,
        "name" => NAME,
        "may" => MAY,
        "note" => REMARKS,
        "reference" => QUOTE_REFERENCE,
        "currency" => QUOTE_CURRENCY,
        "validFrom" => QUOTE_FROM,
        "validUntil" => QUOTE_UNTIL,
        "leadTime" => QUOTE_LEAD_TIME,
        "minimumOrder" => QUOTE_MINIMUM,
        "freight" => QUOTE_FREIGHT,
        "discount" => QUOTE_DISCOUNT,
        "offers" => QUOTE_PRICES,
        "pack" | "packs" => PACK,
        "price" => OFFER_PRICE,
        "per" => OFFER_PER,
        "fromQuantity" => OFFER_FROM,
        "figure" => RATE,
        "from" => RATE_FROM_CURRENCY,
        "to" => RATE_TO_CURRENCY,
        "date" => RATE_DAY,
        "source" => RATE_SOURCE,
        "of" => HOUSE_RATE_OF,
        "code" => FORMULA_CODE,
        "makes" => MAKES_CODE,
        "total" => SHEET_TOTAL,
        "processLoss" => LOSS_FIELD,
        "heel" => HEEL_FIELD,
        "usualBatch" => USUAL_BATCH_FIELD,
        "smallestBatch" => SMALLEST_BATCH,
        "largestBatch" => LARGEST_BATCH,
        "costPerBatch" => COST_PER_BATCH_FIELD,
        "shelfLife" => SHELF_LIFE_FIELD,
        "densityOn" => DENSITY_DAY,
        "celsius" => CELSIUS,
        "margin" => WANTED_MARGIN,
        "lines" => THE_LINES,
        "formula" => FORMULA,
        "phase" => PHASE,
        "kind" => LINE_KIND,
        "function" => LINE_FUNCTION,
        "instruction" => LINE_INSTRUCTION,
        "tolerance" | "weighingTolerance" => LINE_TOLERANCE,
        "trim" => LINE_TRIM,
        "stop" => LINE_STOP,
        "least" | "most" | "useLevel" => USE_LEVEL,
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_in_sentences_are_named_and_codes_left_alone() {
        let check = |text: &str, expected: &str| assert_eq!(sentence(text).replace('\u{a0}', " "), expected);
        check("ends on 2026-11-30, in 5 days", "Ends on 30 Nov 2026, in 5 days");
        check("2026-11-30 is the day", "30 Nov 2026 is the day");
        check("lot L-2026-11-30 and 2026-11-301", "Lot L-2026-11-30 and 2026-11-301");
        check("2026-13-30 é 2026-02-29", "2026-13-30 é 2026-02-29");
    }

    #[test]
    fn one_is_not_several() {
        assert_eq!(hits(1, 2, 0, 1), "It reaches 1 pack, 2 formulas, 0 runs and 1 lot.");
    }
}
