//! Published worked examples of strength, dilution and mixing, written as formulas.

use kernel::Exact;

use super::fixtures::{House, dec, density, measured, percent, shown};
use crate::{
    View,
    normalise::normalise,
    strength::{as_is_strength, blend, charge_for_pure, diluent_to_add},
};

/// What a line comes to as supplied, and what that holds of active matter, of so much charged.
fn line(house: &House, formula: &str, at: usize, charged: &str) -> (String, Option<String>) {
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    let normal = normalise(&view, view.version(house.version_id(formula)).unwrap().1).unwrap();
    let charged = Exact::from(dec(charged));
    let line = &normal.lines[at];
    let of = |share: &Exact| shown(&(share * &charged), 6);
    (of(line.share.as_ref().unwrap()), line.active_share.as_ref().map(of))
}

/// OpenStax, Chemistry 2e, chapter 3. Printed: 221 g, 282 mL, 14.8 %, 195 g, 7.4 g; the figures here are the unrounded ones.
#[test]
fn mass_of_active_in_a_volume() {
    let mut house = House::new();
    house.material("HCL").density = Some(density("1.19"));
    house.material("HCL").active_matter = Some(percent("37.2"));
    // 0.500 L of 37.2 % hydrochloric acid of 1.19 g/mL holds 221.34 g.
    house.formula("HALF", "1 L", &["HCL 0.500 L", "WATER q.s."]).density = measured("1");
    assert_eq!(line(&house, "HALF", 0, "1000"), ("595.000000".to_owned(), Some("221.340000".to_owned())));
    // 125 g of HCl are 282.371 mL of it: 336.021505 g as supplied.
    house.formula("DOSE", "1000 g", &["HCL 125 g active", "WATER q.s."]);
    let (grams, active) = line(&house, "DOSE", 0, "1000");
    assert_eq!((grams.as_str(), active.as_deref()), ("336.021505", Some("125.000000")));
    let millilitres = density("1.19").volume_of(&Exact::from(dec(&grams))).unwrap();
    assert_eq!(shown(&millilitres, 3), "282.371");
    // 135 g of HCl in 775 g of water: in parts, 14.835165 %.
    house.formula("TILES", "parts", &["PURE 135 parts", "WATER 775 parts"]);
    assert_eq!(line(&house, "TILES", 0, "100").0, "14.835165");
    // 355 mL of 70 % v/v propan-2-ol of 0.785 g/mL hold 195.0725 g.
    house.material("PROPANOL").density = Some(density("0.785"));
    house.formula("RUB", "355 mL", &["PROPANOL 70 % v/v", "WATER q.s."]).density = measured("1");
    assert_eq!(line(&house, "RUB", 0, "355").0, "195.072500");
    // Bleach of 7.4 % by mass: 7.4 g in 100.0 g.
    house.material("BLEACH").active_matter = Some(percent("7.4"));
    house.formula("NEAT", "percent", &["BLEACH 100 %"]);
    assert_eq!(line(&house, "NEAT", 0, "100.0").1.as_deref(), Some("7.400000"));
}

/// OpenStax, Chemistry 2e, chapter 3: 25.0 mL of 2.04 mol/L made up to 500.0 mL are 0.102 mol/L. A volume made up to another is that
/// percent by volume of it, whatever the density; 0.850 L of 5.00 mol/L to 1.80 L are 2.36 mol/L (2.361111). Asked the other way: 11 mL
/// of 0.45 mol/L come to 0.12 mol/L in 41 mL (41.25), 0.250 L of 1.88 mol/L to 0.125 mol/L in 3.76 L, and 5.00 L of 0.100 mol/L take
/// 0.314465 L of 1.59 mol/L.
#[test]
fn dilution_by_volume() {
    let check = |poured: &str, total: &str, as_percent: Option<&str>, strength: &str, expected: &str| {
        let mut house = House::new();
        house.material("STOCK").density = Some(density("1.1"));
        let lines = [format!("STOCK {poured}"), "WATER q.s.".to_owned()];
        house.formula("MADE-UP", total, &[&lines[0], &lines[1]]).density = measured("1");
        let by_mass = line(&house, "MADE-UP", 0, "1").0;
        if let Some(figure) = as_percent {
            let lines = [format!("STOCK {figure} % v/v"), "WATER q.s.".to_owned()];
            house.formula("PERCENT", total, &[&lines[0], &lines[1]]).density = measured("1");
            assert_eq!(line(&house, "PERCENT", 0, "1").0, by_mass);
        }
        let catalogue = house.catalogue();
        let view = View::plain(&catalogue);
        let normal = normalise(&view, view.version(house.version_id("MADE-UP")).unwrap().1).unwrap();
        let volume = density("1.1").volume_of(normal.lines[0].share.as_ref().unwrap()).unwrap();
        assert_eq!(shown(&(volume * Exact::from(dec(strength))), 6), expected);
    };
    check("25.0 mL", "500.0 mL", Some("5"), "2.04", "0.102000");
    check("0.850 L", "1.80 L", None, "5.00", "2.361111");
    check("11 mL", "41.25 mL", None, "0.45", "0.120000");
    check("0.250 L", "3.76 L", None, "1.88", "0.125000");
    check("0.314465 L", "5.00 L", None, "1.59", "0.100000");
    let litres = |amount: &str, strength: &str, wanted: &str| {
        let exact = |text: &str| Exact::from(dec(text));
        &exact(amount) + &diluent_to_add(&exact(amount), &exact(strength), &exact(wanted)).unwrap()
    };
    assert_eq!(litres("11", "0.45", "0.12").to_decimal_exactly(), Some(dec("41.25")));
    assert_eq!(litres("0.250", "1.88", "0.125").to_decimal_exactly(), Some(dec("3.76")));
    let part = blend(&Exact::whole(5), &Exact::from(dec("1.59")), &Exact::ZERO, &Exact::from(dec("0.100")));
    assert_eq!(shown(&part.unwrap().stronger, 6), "0.314465");
}

/// OpenStax, Chemistry 2e, chapter 3: 0.250 L of 5.30 mol/L sodium chloride (58.44 g/mol) are 77.4 g; rounding the 1.325 mol on the
/// way would make it 77.1 g or 77.7 g. So nothing is rounded on the way.
#[test]
fn no_rounding_on_the_way() {
    let moles = Exact::from(dec("5.30")) * Exact::from(dec("0.250"));
    assert_eq!(moles.to_decimal_exactly(), Some(dec("1.325")));
    let grams = |moles: &Exact| shown(&(moles * &Exact::from(dec("58.44"))), 1);
    assert_eq!(grams(&moles), "77.4");
    assert_eq!(grams(&Exact::from(dec("1.32"))), "77.1");
}

/// US Army Medical Department, course MD0802: 225 mL of water bring 300 mL of 70 % to 40 %; and 24 of 30 % with 36 of water make 60 of
/// 12 %, 12 of 50 % with 8 of 100 % make 20 of 70 % (worked examples on public pages). The volumes of the source add up, so grams
/// stand here for millilitres.
#[test]
fn alligation() {
    let mut house = House::new();
    for (code, strength) in [("S70", "70"), ("S30", "30"), ("S50", "50"), ("S100", "100")] {
        house.material(code).active_matter = Some(percent(strength));
    }
    house.formula("TO40", "525 g", &["S70 40 % active", "WATER q.s."]);
    assert_eq!(line(&house, "TO40", 0, "525").0, "300.000000");
    assert_eq!(line(&house, "TO40", 1, "525").0, "225.000000");
    house.formula("TO12", "60 g", &["S30 12 % active", "WATER q.s."]);
    assert_eq!(line(&house, "TO12", 0, "60").0, "24.000000");
    assert_eq!(line(&house, "TO12", 1, "60").0, "36.000000");
    house.formula("TO70", "parts", &["S50 12 parts", "S100 8 parts"]);
    let active = |at: usize| dec(&line(&house, "TO70", at, "20").1.unwrap());
    assert_eq!(active(0) + active(1), dec("14"), "70 % of twenty");
}

/// A salt with 7.0 % of water is charged at 100/93 of its dry weight (printed 1.075), and one of 288.81 g/mol with a molecule of water
/// of 18 at 1.066467 (printed 1.066); factors of public worked examples.
#[test]
fn as_is_for_dry() {
    let mut house = House::new();
    house.material("MOIST").active_matter = Some(percent("93"));
    house.formula("DRY", "percent", &["MOIST 1 % active", "WATER q.s."]);
    assert_eq!(line(&house, "DRY", 0, "100").0, "1.075269");
    house.material("HYDRATE").active_matter = Some(percent("93.767529"));
    house.formula("ANHYDROUS", "percent", &["HYDRATE 1 % active", "WATER q.s."]);
    assert_eq!(line(&house, "ANHYDROUS", 0, "100").0, "1.066467");
    // 18 of 288.81 g/mol, without the rounding to a strength of nine places.
    let anhydrous = Exact::ratio(28_881 - 1_800, 28_881).unwrap();
    assert_eq!(shown(&charge_for_pure(&Exact::ONE, &anhydrous).unwrap(), 6), "1.066467");
    // Of 99.5 % as it is, with 2 % of water, 101.530612 % is what the anhydrous matter assays at (printed 101.5).
    let exact = |text: &str| Exact::from(dec(text));
    let dried = charge_for_pure(&exact("0.995"), &as_is_strength(&Exact::ONE, &exact("0.02"))).unwrap();
    assert_eq!(shown(&(&dried * &Exact::whole(100)), 6), "101.530612");
    assert_eq!(as_is_strength(&dried, &exact("0.02")), exact("0.995"), "and back");
}
