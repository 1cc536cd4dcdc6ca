//! Equal-active swaps and offers per kilogram of active matter.

use domain::{
    formulas::{AmountBasis, LineAmount},
    materials::{UseLevel, UseLevelKind},
};
use kernel::Exact;
use proptest::prelude::*;

use super::{
    fixtures::{House, day, dec, kg, percent, shown, today},
    published::hand_wash,
};
use crate::{
    CostRequest, View,
    swap::{Swap, SwapQuestion, SwapRefusal, SwapRole, offers_per_active, swap},
};

fn exact(text: &str) -> Exact {
    Exact::from(dec(text))
}

/// The hand wash, and a grade of its ether sulfate at 28 %.
fn house() -> House {
    let mut house = hand_wash();
    house.at_price("SLES28", "0.70");
    house.material("SLES28").active_matter = Some(percent("28"));
    house
}

fn swapped(house: &House, old: &str, new: &str, against: Option<u32>) -> Result<Swap, SwapRefusal> {
    let catalogue = house.catalogue();
    let of = CostRequest::version(house.version_id("HW"), today());
    let question = SwapQuestion { of, old: house.id(old), new: house.id(new), against };
    swap(&View::plain(&catalogue), &question).unwrap()
}

/// A worked line of the trade: 12.00 % of a 70 % ether sulfate are 30.00 % of a 28 % grade; the water falls by 18.00 points. Common
/// practice, no source.
#[test]
fn a_weaker_grade() {
    let mut house = house();
    house.version("HW").lines[3].use_level_to = Some(percent("15"));
    let found = swapped(&house, "SLES", "SLES28", None).unwrap();
    assert_eq!(found.factor, exact("2.5"));
    let line = &found.lines[3];
    assert_eq!((line.role, line.material_after.code.as_str()), (SwapRole::Exchanged, "SLES28"));
    assert_eq!((line.dose_before.clone(), line.dose_after.clone()), (exact("0.12"), exact("0.3")));
    assert_eq!(line.active_before, line.active_after);
    let water = &found.lines[0];
    assert_eq!((water.role, &water.dose_before - &water.dose_after), (SwapRole::Diluent, exact("0.18")));
    assert!(
        found.lines[4..]
            .iter()
            .all(|line| line.role == SwapRole::Unchanged && line.dose_before == line.dose_after)
    );
    // 30 % at 0.70 for 12 % at 1.62, and 18 % less water at 0.004.
    assert_eq!(found.comparison.difference, exact("0.01488"));
    assert_eq!(&found.after.per_kg - &found.before.per_kg, exact("0.01488"));
    assert!(!found.uses_up_diluent && found.breaks.is_empty());
    let written = &found.written[3];
    assert_eq!(
        (written.amount, written.basis),
        (LineAmount::Percent(percent("30")), AmountBasis::AsSupplied)
    );
    assert_eq!(written.use_level_to, None, "it was set for the old strength");
    assert_eq!(serde_json::to_value(&found).unwrap()["lines"][3]["dose_after"], "30");
    // There and back.
    house.version("HW").lines = found.written;
    let back = swapped(&house, "SLES28", "SLES", None).unwrap();
    assert_eq!(back.lines[3].dose_after, exact("0.12"));
    assert_eq!(back.after.per_kg, exact("0.479663"));
}

#[test]
fn no_water_left() {
    let mut house = house();
    house.version("HW").lines[3].amount = LineAmount::Percent(percent("55"));
    let refusal = swapped(&house, "SLES", "SLES28", None).unwrap_err();
    assert_eq!(
        refusal.to_string(),
        "WATER (water) stands at 32.95 % and 82.5 % would have to be taken from it: there is not enough left"
    );
    assert_eq!(serde_json::to_value(&refusal).unwrap()["refusal"], "diluent-short");
    // Exactly enough is enough, and said.
    house.version("HW").lines[3].amount = LineAmount::Percent(percent("35.18"));
    let found = swapped(&house, "SLES", "SLES28", None).unwrap();
    assert!(found.uses_up_diluent);
    assert_eq!(found.lines[0].dose_after, Exact::ZERO);
}

#[test]
fn refusals() {
    let mut house = house();
    let sentence = |house: &House, old: &str, new: &str, against: Option<u32>| {
        swapped(house, old, new, against).unwrap_err().to_string()
    };
    assert_eq!(sentence(&house, "SLES", "SLES", None), "SLES (sles) would be exchanged for itself");
    assert_eq!(
        sentence(&house, "SLES28", "SLES", None),
        "SLES28 (sles28) does not stand in version 1 of formula HW"
    );
    assert_eq!(sentence(&house, "SLES", "SALT", None), "the active matter of SALT (salt) is not known");
    assert_eq!(sentence(&house, "SALT", "SLES", None), "the active matter of SALT (salt) is not known");
    assert_eq!(sentence(&house, "SLES", "SLES28", Some(77)), "there is no line 77 to take up the difference");
    house.material("WATER").active_matter = Some(percent("100"));
    assert_eq!(
        sentence(&house, "WATER", "SLES28", None),
        "line 1 holds what is exchanged, so it cannot take up the difference"
    );
    house.component("CAP");
    assert_eq!(
        sentence(&house, "SLES", "CAP", None),
        "CAP (cap) is kept by the piece and cannot stand in a formula"
    );
    house.material("HW").active_matter = Some(percent("50"));
    assert_eq!(sentence(&house, "SLES", "HW", None), "the formula would contain itself: HW → HW");
    house.version("HW").lines[0].amount = LineAmount::Percent(percent("75.95"));
    assert_eq!(
        sentence(&house, "SLES", "SLES28", None),
        "no line is q.s.; name the line that takes up the difference"
    );
    let named = swapped(&house, "SLES", "SLES28", Some(1)).unwrap();
    assert_eq!(named.written[0].amount, LineAmount::QuantitySufficient, "it takes the rest from now on");
    house.version("HW").lines[4].basis = AmountBasis::ActiveMatter;
    house.material("CAPB").active_matter = None;
    assert!(sentence(&house, "SLES", "SLES28", Some(1)).starts_with("the doses are not known: CAPB"));
}

/// A line written in active matter keeps its amount, for that is what stays; a dose that does not end is rounded down to what is kept; a
/// use level of the new material is held against it.
#[test]
fn active_lines_endless_doses_and_use_levels() {
    let mut house = house();
    house.material("SLES28").use_level =
        Some(UseLevel { from: None, to: Some(percent("25")), kind: UseLevelKind::Legal });
    let line = &mut house.version("HW").lines[3];
    line.amount = LineAmount::Percent(percent("8.4"));
    line.basis = AmountBasis::ActiveMatter;
    let found = swapped(&house, "SLES", "SLES28", None).unwrap();
    assert_eq!(found.written[3].amount, LineAmount::Percent(percent("8.4")));
    assert_eq!(found.lines[3].dose_after, exact("0.3"));
    assert!(found.breaks_legal);
    assert_eq!(found.breaks.len(), 1);

    house.material("SLES28").active_matter = Some(percent("27"));
    house.version("HW").lines[3].basis = AmountBasis::AsSupplied;
    house.version("HW").lines[3].amount = LineAmount::Percent(percent("12"));
    let found = swapped(&house, "SLES", "SLES28", None).unwrap();
    assert_eq!(found.written[3].amount, LineAmount::Percent(percent("31.111111111")));
    let lost = found.lines[3].active_before.clone().unwrap() - found.lines[3].active_after.clone().unwrap();
    assert!(!lost.is_negative() && lost < Exact::scaled(1, 11));
}

/// On a bench sheet in grams, and on a version whose material stands on two lines.
#[test]
fn grams_and_several_lines() {
    let mut house = house();
    house.parts.formulas.clear();
    house.formula("HW", "1000 g", &["SLES 60 g", "CAPB 70 g", "SLES 60 g", "WATER q.s."]);
    let found = swapped(&house, "SLES", "SLES28", None).unwrap();
    let amounts: Vec<_> = found.written.iter().map(|line| line.amount).collect();
    let grams = |figure: &str| LineAmount::Mass(kg(figure));
    assert_eq!(amounts, [grams("0.15"), grams("0.07"), grams("0.15"), LineAmount::QuantitySufficient]);
    assert_eq!(found.lines[3].dose_after, exact("0.63"));
}

/// Two answers of the trade: 70 % at 1.20 a kg is 1.71 a kg active, 30 % at 0.80 is 2.67; and caustic at 520 a dry tonne is 260 a tonne of
/// 50 % solution. Common practice, no source.
#[test]
fn offers_by_active_matter() {
    let mut house = House::new();
    house.at_price("WEAK", "0.80").at_price("STRONG", "1.20").at_price("CAUSTIC", "0.260");
    house.material("WEAK").active_matter = Some(percent("30"));
    house.material("STRONG").active_matter = Some(percent("70"));
    house.material("CAUSTIC").active_matter = Some(percent("50"));
    house.quote("WEAK", "200 kg", "0.30", "1 kg").valid_until = Some(day("2026-03-31"));
    house.quote("WEAK", "1 L", "0.90", "1 L");
    house.material("UNKNOWN");
    house.material("UNQUOTED").active_matter = Some(percent("90"));
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    let ids = ["WEAK", "STRONG", "CAUSTIC", "UNKNOWN", "UNQUOTED"].map(|code| house.id(code));
    let found = offers_per_active(&view, &ids, kg("21"), today()).unwrap();
    let offers: Vec<_> = found
        .offers
        .iter()
        .map(|offer| (offer.material.code.as_str(), shown(&offer.per_kg_active, 2), offer.validity.code()))
        .collect();
    assert_eq!(
        offers,
        [
            ("CAUSTIC", "0.52".to_owned(), "VALID"),
            ("STRONG", "1.71".to_owned(), "VALID"),
            ("WEAK", "2.67".to_owned(), "VALID"),
            ("WEAK", "1.00".to_owned(), "LAPSED"),
        ]
    );
    let weak = &found.offers[2];
    assert_eq!((weak.demanded.clone(), weak.order_cost.clone()), (Exact::whole(70), Exact::whole(56)));
    assert_eq!(shown(weak.dearer_by.as_ref().unwrap(), 4), "4.1282");
    let not_compared: Vec<_> = found.not_compared.iter().map(|one| one.gap.code()).collect();
    assert_eq!(not_compared, ["NO_DENSITY", "NO_ACTIVE_MATTER", "NO_PRICE"]);
    assert_eq!(serde_json::to_value(&found).unwrap()["offers"][0]["per_kg_active"], "0.52");
    assert!(offers_per_active(&view, &ids, kg("0"), today()).is_err());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]

    /// A swap keeps the active matter to what can be kept and the whole exactly; or it is refused because the diluent is short.
    #[test]
    fn active_matter_stays(dose in 1_i64..8_000, old in 1_i64..10_000, new in 1_i64..10_000) {
        let mut house = House::new();
        house.at_price("OLD", "1").at_price("NEW", "2").at_price("WATER", "0.01");
        let hundredths = |figure: i64| kernel::Percent::from_nano(figure * 10_000_000);
        house.material("OLD").active_matter = Some(hundredths(old));
        house.material("NEW").active_matter = Some(hundredths(new));
        house.formula("HW", "percent", &["OLD 1 %", "WATER q.s."]).lines[0].amount =
            LineAmount::Percent(hundredths(dose));
        let wanted = &(&hundredths(dose).fraction() * &Exact::from(old)).checked_div(&Exact::from(new)).unwrap();
        match swapped(&house, "OLD", "NEW", None) {
            Ok(found) => {
                prop_assert!(*wanted <= Exact::ONE);
                let line = &found.lines[0];
                let lost = line.active_before.as_ref().unwrap() - line.active_after.as_ref().unwrap();
                prop_assert!(!lost.is_negative() && lost < Exact::scaled(1, 11));
                prop_assert_eq!(&line.dose_after + &found.lines[1].dose_after, Exact::ONE);
            }
            Err(refusal) => {
                prop_assert!(*wanted > Exact::ONE);
                prop_assert!(matches!(refusal, SwapRefusal::DiluentShort { .. }), "{}", refusal);
            }
        }
    }
}
