//! Lines as they are really written: percent in volume, parts, pounds and gallons, totals that are missed.

use domain::{
    formulas::{FormulaVersion, LineAmount, WrittenAs},
    materials::{MaterialKind, UseLevel, UseLevelKind},
};
use kernel::{Exact, Percent};
use proptest::prelude::*;

use super::{
    fixtures::{House, dec, density, measured, percent, quantity, shown, today},
    normalising::{check, check_house},
};
use crate::{
    CostRequest, Note, View, costed_proposals,
    explode::UseLevelBreach,
    normalise::{Proposal, ProposalKind, normalise, proposals},
};

#[test]
fn percent_in_volume() {
    let mut house = House::new();
    house.material("A").density = Some(density("1.3"));
    house.material("B").density = Some(density("0.8"));
    house.material("C").active_matter = Some(percent("50"));
    // 100 L: 5 kg of A, 10 L of B which weigh 8 kg, 4 kg of C as supplied; the rest of 105 kg is water.
    house.formula("F", "100 L", &["W q.s.", "A 5 % w/v", "B 10 % v/v", "C 2 % w/v active"]);
    house.version("F").density = measured("1.05");
    check_house(&house, "83.809524 4.761905 7.619048 3.809524");
    // % w/w beside them is of the total mass.
    house.formula("G", "100 L", &["W q.s."]);
    let mut house = House::new();
    house.formula("F", "100 L", &["W q.s.", "A 5 % w/v", "B 10 %"]);
    house.version("F").density = measured("1");
    check_house(&house, "85 5 10");
    let only_by_volume = "version 1 of formula F: line 1: % w/v and % v/v stand in formulas by volume only";
    check("percent", &["A 5 % w/v", "B q.s."], only_by_volume);
    check("1000 g", &["A 5 % v/v", "B q.s."], only_by_volume);
    check(
        "1 L",
        &["A 5 % v/v active", "B q.s."],
        "version 1 of formula F: line 1: active matter is weighed, not measured by volume",
    );
    // Nothing takes the rest and nothing is of the total mass: the shares do not need the density of the liquid.
    check("10 L", &["A 30 % w/v", "B 10 % w/v"], "75 25");
    check(
        "10 L",
        &["A 30 % w/v", "B 10 % v/v"],
        "? ? | gap: B (b) has no density, which line 2 by volume needs",
    );
}

#[test]
fn parts_by_weight() {
    check("parts", &["A 3 parts", "B 1 parts"], "75 25");
    check("parts", &["A 0.3 parts", "B 0.1 parts"], "75 25");
    check("parts", &["A 0 parts"], "version 1 of formula F: its lines add up to nothing");
    let in_parts = "a formula in parts is written in parts only";
    check("parts", &["A 3 parts", "B 5 %"], &format!("version 1 of formula F: line 2: {in_parts}"));
    check("parts", &["A 3 parts", "B 5 g"], &format!("version 1 of formula F: line 2: {in_parts}"));
    check(
        "parts",
        &["A 3 parts", "B q.s."],
        "version 1 of formula F: line 2: no line of a formula in parts is q.s., for its total is what the lines add up to",
    );
    check(
        "1000 g",
        &["A 3 parts", "B q.s."],
        "version 1 of formula F: line 1: parts stand in formulas written in parts only",
    );
    check(
        "parts",
        &["A 3 parts active", "B 1 parts"],
        "? ? | gap: A (a) stands by active matter, and its strength is not known",
    );
    let mut house = House::new();
    house.material("A").active_matter = Some(percent("50"));
    house.formula("F", "parts", &["A 1 parts active", "B 2 parts"]);
    check_house(&house, "50 50");
}

/// Pounds and gallons for 100 US gallons, with the exact factors of NIST Handbook 44 (2014), appendix C. That such a sheet comes to
/// 100.7 gal and is rescaled: common practice, no source.
#[test]
fn coatings_in_pounds_and_gallons() {
    let mut house = House::new();
    house.material("WATER").density = Some(density("1"));
    house.material("RESIN").density = Some(density("1.05"));
    house.material("PIGMENT").density = Some(density("4"));
    let lines = ["WATER 50 [gal_us]", "RESIN 30.7 [gal_us]", "PIGMENT 667.632 lb"];
    house.formula("F", "100 [gal_us]", &lines);
    let note = "note: version 1 of formula F: lines come to 381.190926 L against nominal 378.5411784 L";
    let shares = "30.819498 19.869331 49.311171";
    let by_materials = "by the densities of the materials, 100.699989 % of it; rescaled";
    check_house(&house, &format!("{shares} | {note} {by_materials}"));
    // A density measured on the paint says better what the lines come to; the shares are the same.
    house.version("F").density = measured("1.618");
    let note = "note: version 1 of formula F: lines come to 379.558788 L against nominal 378.5411784 L";
    check_house(&house, &format!("{shares} | {note}, 100.268824 % of it; rescaled"));
    // One material's density missing: there is nothing to compare, and nothing is said.
    house.version("F").density = None;
    house.material("PIGMENT").density = None;
    check_house(&house, shares);
}

/// The sheet of TOTAL %, with water, surfactant and preservative, whose least is 1.0 %.
fn too_much(water: &str, lines: &[&str]) -> House {
    let mut house = House::new();
    house.at_price("WATER", "0.002").at_price("SOAP", "2").at_price("PRESERVATIVE", "10");
    house.material("WATER").kind = MaterialKind::Utility;
    house.material("PRESERVATIVE").use_level =
        Some(UseLevel { from: Some(percent("1")), to: None, kind: UseLevelKind::Legal });
    let water = format!("WATER {water}");
    let all: Vec<&str> = std::iter::once(water.as_str()).chain(lines.iter().copied()).collect();
    house.formula("F", "percent", &all);
    house
}

fn proposed(house: &House) -> Vec<Proposal> {
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    let version = view.version(house.version_id("F")).unwrap().1;
    proposals(&view, version, today(), None).unwrap()
}

fn amounts(version: &FormulaVersion) -> Vec<String> {
    version
        .lines
        .iter()
        .map(|line| match line.amount {
            LineAmount::Percent(percent) => percent.to_string(),
            LineAmount::QuantitySufficient => "q.s.".to_owned(),
            other => format!("{other:?}"),
        })
        .collect()
}

fn least_broken(breaches: &[UseLevelBreach]) -> Vec<(String, String)> {
    let shown = |b: &UseLevelBreach| (b.material.code.clone(), shown(&(&b.found * &Exact::whole(100)), 3));
    breaches.iter().filter(|b| !b.is_most).map(shown).collect()
}

/// A shaving cream that grew to 108 % while nobody rescaled: normalising it makes a preservative of 1.00 % one of 0.926 %, below its
/// least. Common practice, no source.
#[test]
fn rescaling_moves_what_a_limit_stands_on() {
    let house = too_much("67 %", &["SOAP 40 %", "PRESERVATIVE 1 %"]);
    let [from_water, rescaled] = proposed(&house).try_into().unwrap();
    assert_eq!(from_water.total_before, Exact::from(dec("1.08")));
    assert_eq!(from_water.kind, ProposalKind::TakeFrom { position: 1 });
    assert_eq!(amounts(&from_water.version), ["q.s.", "40 %", "1 %"]);
    assert_eq!(from_water.lines[0].before, percent("67").fraction());
    assert_eq!(from_water.lines[0].after, percent("59").fraction());
    assert_eq!(least_broken(&from_water.breaches), []);

    assert_eq!(rescaled.kind, ProposalKind::Rescale);
    // Nothing is lost to rounding: the largest line takes it up.
    assert_eq!(amounts(&rescaled.version), ["62.037037038 %", "37.037037037 %", "0.925925925 %"]);
    assert_eq!(rescaled.lines[2].before, percent("1").fraction());
    let whole: Exact = rescaled.lines.iter().map(|line| line.after.clone()).sum();
    assert_eq!(whole, Exact::ONE);
    assert_eq!(least_broken(&rescaled.breaches), [("PRESERVATIVE".to_owned(), "0.926".to_owned())]);

    // The bench sheet of the same is rescaled as it is read, which moves the preservative as well; and it can be put right.
    let mut house = too_much("67 %", &["SOAP 40 %", "PRESERVATIVE 1 %"]);
    let version = house.version("F");
    let WrittenAs::Percent = version.written_as else { panic!() };
    let kernel::Quantity::Mass(total) = quantity("1000 g") else { panic!() };
    version.written_as = WrittenAs::Grams { total };
    for (line, grams) in version.lines.iter_mut().zip(["670 g", "400 g", "10 g"]) {
        let kernel::Quantity::Mass(mass) = quantity(grams) else { panic!() };
        line.amount = LineAmount::Mass(mass);
    }
    let [from_water, rescaled] = proposed(&house).try_into().unwrap();
    assert_eq!(from_water.lines[0].after, percent("59").fraction());
    assert_eq!(
        amounts(&rescaled.version),
        ["Mass(0.620370371 kg)", "Mass(0.37037037 kg)", "Mass(0.009259259 kg)"]
    );
    assert_eq!(least_broken(&rescaled.breaches).len(), 1);
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    assert_eq!(normalise(&view, &rescaled.version).unwrap().notes, [], "it meets its total now");
}

#[test]
fn what_each_way_costs() {
    let house = too_much("67 %", &["SOAP 40 %", "PRESERVATIVE 1 %"]);
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    let request = CostRequest::version(house.version_id("F"), today());
    assert!(crate::cost_sheet(&view, &request).is_err(), "no cost without being asked how");
    let costed = costed_proposals(&view, &request, None).unwrap();
    let figures: Vec<_> = costed
        .iter()
        .map(|c| (shown(c.ingredients_before.as_ref().unwrap(), 4), shown(&c.sheet.totals.ingredients, 4)))
        .collect();
    // Of 100 kg: 67 × 0.002 + 40 × 2 + 1 × 10 as written; 59 kg of water; everything by 1.08.
    let both = |after: &str| ("90.1340".to_owned(), after.to_owned());
    assert_eq!(figures, [both("90.1180"), both("83.4574")]);
    let broken =
        |c: &crate::CostedProposal| c.sheet.notes.iter().any(|note| matches!(note, Note::UseLevel { .. }));
    assert!(!broken(&costed[0]) && broken(&costed[1]));
    // The difference may come from another line than water.
    let costed = costed_proposals(&view, &request, Some(2)).unwrap();
    assert_eq!(costed[0].proposal.kind, ProposalKind::TakeFrom { position: 2 });
    assert_eq!(costed[0].proposal.lines[1].after, percent("32").fraction());
}

#[test]
fn what_is_offered() {
    let kinds = |house: &House| proposed(house).iter().map(|p| p.kind.code()).collect::<Vec<_>>();
    // Nothing to put right.
    assert_eq!(kinds(&too_much("59 %", &["SOAP 40 %", "PRESERVATIVE 1 %"])), Vec::<&str>::new());
    assert_eq!(kinds(&too_much("q.s.", &["SOAP 40 %", "PRESERVATIVE 1 %"])), Vec::<&str>::new());
    // Too little is put right by more water.
    let house = too_much("57 %", &["SOAP 40 %", "PRESERVATIVE 1 %"]);
    assert_eq!(kinds(&house), ["TAKE_FROM", "RESCALE"]);
    assert_eq!(proposed(&house)[0].lines[0].after, percent("59").fraction());
    // Water does not hold what is over.
    assert_eq!(kinds(&too_much("5 %", &["SOAP 110 %", "PRESERVATIVE 1 %"])), ["RESCALE"]);
    // Nothing is left to q.s.: the others are rescaled and it takes the last digit.
    let house = too_much("q.s.", &["SOAP 106.99 %", "PRESERVATIVE 1.01 %"]);
    let [rescaled] = proposed(&house).try_into().unwrap();
    assert_eq!(amounts(&rescaled.version), ["q.s.", "99.064814814 %", "0.935185185 %"]);
    assert_eq!(rescaled.lines[0].after, Exact::scaled(1, 11));
    assert_eq!(rescaled.total_before, Exact::from(dec("1.08")));
    // A strength that does not come out even leaves the last digits to the largest line, as q.s.
    let mut house = too_much("67 %", &["SOAP 36 % active", "PRESERVATIVE 1 %"]);
    house.material("SOAP").active_matter = Some(percent("90"));
    let rescaled = proposed(&house).remove(1);
    assert_eq!(amounts(&rescaled.version), ["q.s.", "33.333333333 %", "0.925925925 %"]);
    // A missing figure: nothing is offered.
    house.material("SOAP").active_matter = None;
    assert_eq!(kinds(&house), Vec::<&str>::new());
}

/// Figures in 10⁻⁹ % that make 100 %, from any weights.
fn hundred(weights: &[u32]) -> Vec<i64> {
    let exact: Vec<Exact> = weights.iter().map(|w| Exact::from(i64::from(*w))).collect();
    kernel::apportion_largest_remainder(Percent::HUNDRED.nano(), &exact).unwrap()
}

fn code(at: usize) -> String {
    format!("M{at}")
}

fn shares_of(house: &House, formula: &str) -> Vec<Exact> {
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    let normal = normalise(&view, view.version(house.version_id(formula)).unwrap().1).unwrap();
    normal.lines.into_iter().map(|line| line.share.unwrap()).collect()
}

fn formula_of(house: &mut House, formula: &str, written: &str, lines: &[String]) {
    let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
    house.formula(formula, written, &lines);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Parts are the percents of the same ratios, whatever the size of the parts.
    #[test]
    fn parts_are_percents(weights in prop::collection::vec(1_u32..1_000_000, 1..12), times in 1_i64..90) {
        let figures = hundred(&weights);
        let line = |(at, nano): (usize, &i64)| format!("{} {} %", code(at), Percent::from_nano(*nano).percent());
        let percents: Vec<String> = figures.iter().enumerate().map(line).collect();
        let part = |(at, nano): (usize, &i64)| {
            format!("{} {} parts", code(at), Percent::from_nano(nano * times).percent())
        };
        let parts: Vec<String> = figures.iter().enumerate().map(part).collect();
        let mut house = House::new();
        formula_of(&mut house, "F", "percent", &percents);
        formula_of(&mut house, "G", "parts", &parts);
        prop_assert_eq!(shares_of(&house, "F"), shares_of(&house, "G"));
    }

    /// Rescaling keeps ratios: exactly where a sheet is read, to the last kept place where it is written anew; and what is written
    /// anew meets its total to the last digit.
    #[test]
    fn rescaling_keeps_ratios(weights in prop::collection::vec(1_i64..1_000_000_000, 1..12), total in 1_i64..5_000_000_000) {
        let lines: Vec<String> = weights.iter().enumerate()
            .map(|(at, ug)| format!("{} {} kg", code(at), kernel::Mass::from_micrograms(*ug).kg())).collect();
        let mut house = House::new();
        let nominal = kernel::Mass::from_micrograms(total);
        formula_of(&mut house, "F", &format!("{} kg", nominal.kg()), &lines);
        let shares = shares_of(&house, "F");
        for (share, weight) in shares.iter().zip(&weights) {
            prop_assert_eq!(share * &Exact::from(weights[0]), &shares[0] * &Exact::from(*weight));
        }
        let proposals = proposed(&house);
        prop_assert_eq!(proposals.is_empty(), weights.iter().sum::<i64>() == total);
        let Some(rescaled) = proposals.into_iter().find(|p| p.kind == ProposalKind::Rescale) else { return Ok(()) };
        let written: Vec<i64> = rescaled.version.lines.iter().map(|line| line.amount.raw().unwrap()).collect();
        prop_assert_eq!(written.iter().sum::<i64>(), total);
        let allowed: Exact = weights.iter().map(|_| Exact::ONE).sum();
        for (written, share) in written.iter().zip(&shares) {
            let off = (&Exact::from(*written) - &(share * &Exact::from(total))).abs();
            prop_assert!(off <= allowed, "{written} is {off:?} off");
        }
    }

    /// % w/v and % v/v are the masses they come to, by the densities.
    #[test]
    fn percent_in_volume_is_mass_by_density(
        lines in prop::collection::vec((1_i64..90_000, any::<bool>(), 600_i64..3_000), 1..8),
        litres in 1_i64..500,
        liquid in 1_000_i64..1_300,
    ) {
        // In 10⁻⁴ %, so that every mass comes out even in micrograms; all together below the total.
        let count = i64::try_from(lines.len()).unwrap();
        let mut house = House::new();
        let (mut percents, mut masses) = (Vec::new(), Vec::new());
        for (at, (figure, by_volume, dens)) in lines.iter().enumerate() {
            let figure = figure * 3 / count;
            house.material(&code(at)).density = Some(kernel::Density::from_nano(dens * 1_000_000));
            let kind = if *by_volume { "v/v" } else { "w/v" };
            percents.push(format!("{} {} % {kind}", code(at), Percent::from_nano(figure * 100_000).percent()));
            let grams = figure * litres * if *by_volume { *dens } else { 1_000 };
            // 10⁻⁶ of figure, times litres, times kg per litre in thousandths: nanograms times 10⁹ over.
            masses.push(format!("{} {} kg", code(at), kernel::Mass::from_micrograms(grams).kg()));
        }
        percents.push("W q.s.".to_owned());
        masses.push("W q.s.".to_owned());
        let written = format!("{litres} L");
        for (formula, lines) in [("F", &percents), ("G", &masses)] {
            formula_of(&mut house, formula, &written, lines);
            house.version(formula).density = measured(&format!("1.{:03}", liquid - 1_000));
        }
        prop_assert_eq!(shares_of(&house, "F"), shares_of(&house, "G"));
    }
}
