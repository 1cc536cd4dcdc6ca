//! Published densities: what a litre costs, what a formula by volume weighs, and how far the estimate by ideal mixing is out.

use kernel::Exact;

use super::fixtures::{House, dec, density, measured, percent, shown, today};
use crate::{CostRequest, CostSheet, View, cost_sheet, normalise::normalise, output::fill_mass};

fn exact(text: &str) -> Exact {
    Exact::from(dec(text))
}

fn sheet(house: &House, code: &str) -> CostSheet {
    let catalogue = house.catalogue();
    cost_sheet(&View::plain(&catalogue), &CostRequest::version(house.version_id(code), today())).unwrap()
}

/// The density at 20 °C of ethanol in water, kg/m³, by mass fraction: OIML R 22 (1975), the formula in its annex, as in Council
/// Directive 76/766/EEC. At 20 °C only the terms in the fraction are left.
fn ethanol_in_water(fraction: &Exact) -> Exact {
    let terms = [
        "998.20123",
        "-192.9769495",
        "389.1238958",
        "-1668.103923",
        "13522.15441",
        "-88292.78388",
        "306287.4042",
        "-613838.1234",
        "747017.2998",
        "-547846.1354",
        "223446.0334",
        "-39032.85426",
    ];
    // Horner's scheme, exactly.
    terms.iter().rev().fold(Exact::ZERO, |sum, term| &(&sum * fraction) + &exact(term))
}

/// A litre at a density in kg/m³.
fn kg_per_litre(per_cubic_metre: &Exact) -> Exact {
    per_cubic_metre * &Exact::ratio(1, 1_000).unwrap()
}

/// Ethanol and water, with their densities at 20 °C (OIML R 22: 789.2391233 and 998.20123 kg/m³).
fn spirits() -> House {
    let mut house = House::new();
    house.at_price("ETHANOL", "1").at_price("WATER", "0");
    house.material("ETHANOL").density = Some(density("0.789239123"));
    house.material("WATER").density = Some(density("0.99820123"));
    house
}

/// OIML R 22: density and percent by volume at percents by mass; what ideal mixing gives, and the volume that is lost against it, are
/// worked out from the same. Perry's Chemical Engineers' Handbook (7th edition, as reproduced at handymath.com) has 0.98938 and 0.98187
/// at 5 and 10 %.
#[test]
fn ethanol_by_mass_and_by_volume() {
    let check = |by_mass: &str, real: &str, ideal: &str, lost: &str, by_volume: &str| {
        let fraction = percent(by_mass).fraction();
        let found = ethanol_in_water(&fraction);
        assert_eq!(shown(&found, 3), real, "{by_mass}");

        // What the estimate beside a sheet would be, and by how much a litre of it is out.
        let mut house = spirits();
        house.formula("F", "percent", &[&format!("ETHANOL {by_mass} %"), "WATER q.s."]);
        let estimate = sheet(&house, "F").density_estimate.unwrap().density.unwrap();
        assert_eq!(shown(&(&estimate * &Exact::whole(1_000)), 3), ideal, "{by_mass}");
        let shorter = Exact::ONE - (&estimate * &Exact::whole(1_000)).checked_div(&found).unwrap();
        assert_eq!(shown(&(&shorter * &Exact::whole(100)), 4), lost, "{by_mass}");

        // Written by volume, with the density measured, it is the same by mass.
        let litre = kg_per_litre(&found).round_half_even(9).unwrap().to_string();
        house.formula("V", "1 L", &[&format!("ETHANOL {by_volume} % v/v"), "WATER q.s."]).density =
            measured(&litre);
        let catalogue = house.catalogue();
        let view = View::plain(&catalogue);
        let normal = normalise(&view, view.version(house.version_id("V")).unwrap().1).unwrap();
        let share = normal.lines[0].share.as_ref().unwrap() * &Exact::whole(100);
        assert!((&share - &exact(by_mass)).abs() < exact("0.0006"), "{by_volume} % v/v is {share:?} % w/w");
    };
    check("5", "989.378", "985.159", "0.4264", "6.268");
    check("10", "981.848", "972.454", "0.9567", "12.440");
    check("20", "968.607", "948.002", "2.1273", "24.545");
    check("30", "953.784", "924.749", "3.0442", "36.255");
    check("40", "935.145", "902.610", "3.4792", "47.395");
    check("50", "913.771", "881.506", "3.5310", "57.889");
    check("60", "891.098", "861.366", "3.3365", "67.744");
    check("80", "843.386", "823.727", "2.3310", "85.489");
    check("90", "817.883", "806.114", "1.4390", "93.266");
    // The handbook's figures, which depart in the fifth place.
    for (by_mass, handbook) in [("5", "0.98938"), ("10", "0.98187")] {
        let here = kg_per_litre(&ethanol_in_water(&percent(by_mass).fraction()));
        assert!((&here - &exact(handbook)).abs() < exact("0.00003"), "{by_mass}");
    }
}

/// OIML R 22, the table of densities at 20 °C by percent by volume (read in an independent data set). A litre written by volume at the
/// density of the table weighs what the formula of the same recommendation says, to both of the table's decimals.
#[test]
fn the_alcohol_table_by_volume() {
    for (by_volume, table) in [
        ("10", "984.71"),
        ("20", "973.56"),
        ("30", "962.21"),
        ("40", "948.05"),
        ("50", "930.14"),
        ("60", "909.11"),
        ("70", "885.56"),
        ("80", "859.27"),
        ("90", "829.18"),
        ("95", "811.38"),
        ("96", "807.42"),
    ] {
        let mut house = spirits();
        let litre = kg_per_litre(&exact(table)).to_decimal_exactly().unwrap().to_string();
        let line = format!("ETHANOL {by_volume} % v/v");
        house.formula("V", "1 L", &[&line, "WATER q.s."]).density = measured(&litre);
        let catalogue = house.catalogue();
        let view = View::plain(&catalogue);
        let normal = normalise(&view, view.version(house.version_id("V")).unwrap().1).unwrap();
        // The share stands on a density of two decimals, so the formula's figure moves with it by as much.
        let back = ethanol_in_water(&normal.lines[0].share.clone().unwrap());
        assert!((&back - &exact(table)).abs() < exact("0.02"), "{by_volume} % v/v: {}", shown(&back, 4));
        // A litre costs what the ethanol in it does.
        let poured = percent(by_volume).fraction() * density("0.789239123").to_exact();
        assert_eq!(sheet(&house, "V").totals.per_litre, Some(poured));
    }
    assert_eq!(shown(&ethanol_in_water(&Exact::ONE), 2), "789.24");
}

/// Water at 101.325 kPa by two formulations, IAPWS-95 and IAPWS-IF97 (figures of the libraries iapws 1.5.5 and CoolProp 8.0.0): a litre
/// costs the same by either to a hundred-thousandth, and half a litre filled warm is light when it is cold.
#[test]
fn water_at_temperatures() {
    let check = |celsius: &str, by_95: &str, by_97: &str| {
        let per_litre = |figure: &str| {
            let mut house = House::new();
            house.at_price("WATER", "1");
            let litre = kg_per_litre(&exact(figure)).to_decimal_exactly().unwrap().to_string();
            let version = house.formula("F", "percent", &["WATER 100 %"]);
            version.density = measured(&litre);
            version.density.as_mut().unwrap().celsius = Some(dec(celsius));
            let found = sheet(&house, "F");
            assert_eq!(found.density_used.as_ref().unwrap().celsius, Some(dec(celsius)));
            found.totals.per_litre.unwrap()
        };
        let (one, other) = (per_litre(by_95), per_litre(by_97));
        assert_eq!(one, kg_per_litre(&exact(by_95)));
        assert!((&one - &other).abs() < exact("0.00001"), "{celsius} °C");
    };
    check("4", "999.974869", "999.975407");
    check("10", "999.702470", "999.701540");
    check("15", "999.102621", "999.101114");
    check("20", "998.207150", "998.206092");
    check("25", "997.047637", "997.048032");
    check("30", "995.649454", "995.652054");
    check("40", "992.216353", "992.224258");

    let mut house = House::new();
    house.at_price("WATER", "1");
    house.formula("F", "percent", &["WATER 100 %"]);
    house.pack("F-500", "F", "500 mL");
    let mut fills = |figure: &str| {
        house.version("F").density = measured(figure);
        let catalogue = house.catalogue();
        let view = View::plain(&catalogue);
        let version = view.version(house.version_id("F")).unwrap().1;
        let pack = view.pack(house.pack_id("F-500")).unwrap();
        fill_mass(&view, pack, version).unwrap().unwrap()
    };
    let (cold, warm) = (fills("0.998207150"), fills("0.992216353"));
    assert_eq!(shown(&(cold - warm), 6), "0.002995");
}

/// Sodium chloride in water: 10 and 20 % by mass at 20 °C in the tables of Poradnik fizykochemiczny (WNT 1974, as read at
/// fizyka.umk.pl), by the model of Laliberté and Cooper (library thermo 0.6.1) and in CoolProp 8.0.0. They agree within 0.5 kg/m³ at
/// 20 °C, so what a litre costs agrees within a twentieth of a percent; the table's column for 15 °C departs by up to 2.
#[test]
fn brines() {
    let per_litre = |salt: &str, figure: &str| {
        let mut house = House::new();
        house.at_price("SALT", "0.35").at_price("WATER", "0.004");
        let litre = kg_per_litre(&exact(figure)).to_decimal_exactly().unwrap().to_string();
        let line = format!("SALT {salt} %");
        house.formula("BRINE", "percent", &[&line, "WATER q.s."]).density = measured(&litre);
        sheet(&house, "BRINE").totals.per_litre.unwrap()
    };
    let near = |salt: &str, figures: [&str; 3], within: &str| {
        let table = per_litre(salt, figures[0]);
        for figure in figures {
            let apart = (&per_litre(salt, figure) - &table).checked_div(&table).unwrap().abs();
            assert!(apart < exact(within), "{salt} % at {figure}: {}", shown(&apart, 6));
        }
    };
    near("10", ["1070.7", "1070.752", "1070.583"], "0.0005");
    near("20", ["1147.8", "1148.105", "1147.760"], "0.0005");
    near("10", ["1074.2", "1072.413", "1072.413"], "0.002");
    near("20", ["1152.5", "1150.543", "1150.543"], "0.002");
    // (0.1 × 0.35 + 0.9 × 0.004) × 1.0707.
    assert_eq!(per_litre("10", "1070.7").to_decimal_exactly(), Some(dec("0.04132902")));
}
