use super::*;
use crate::shelf_testing::raw;

fn grouped(code: &str, groups: &[CautionGroup], incompatible: &[CautionGroup]) -> Material {
    Material {
        caution_groups: groups.to_vec(),
        incompatible_with: incompatible.to_vec(),
        safety_data_sheet: Some(format!("{code} sheet, 2025-06-01")),
        ..raw(code)
    }
}

fn texts(materials: &[Material], kind: CautionKind) -> Vec<String> {
    let answer = cautions(materials);
    assert_eq!(answer.defer, DEFER);
    answer.cautions.into_iter().filter(|caution| caution.kind == kind).map(|caution| caution.text).collect()
}

/// Hypochlorite and acid give chlorine gas: Regulation (EC) 1272/2008, annex II, section 1.2.2, names sodium hypochlorite as its
/// example for EUH031. Hypochlorite and ammonia give chloramines, not chlorine: Washington State Department of Health, as quoted.
#[test]
fn pairs_that_are_never_mixed() {
    let hypochlorite = grouped("HYPO", &[CautionGroup::Hypochlorite], &[]);
    let acid = grouped("CITR", &[CautionGroup::Acid], &[]);
    let ammonia = grouped("AMMO", &[CautionGroup::AmmoniaOrAmine], &[]);
    let pair = CautionKind::IncompatiblePair;
    assert_eq!(
        texts(&[hypochlorite.clone(), acid.clone()], pair),
        ["CITR and HYPO are both here: chlorine gas can form."]
    );
    assert_eq!(
        texts(&[hypochlorite.clone(), ammonia.clone()], pair),
        ["AMMO and HYPO are both here: chloramines can form."]
    );
    assert!(texts(&[acid, ammonia], pair).is_empty());
    assert!(texts(&[hypochlorite.clone(), hypochlorite], pair).is_empty(), "a material does not meet itself");
}

/// Alkaline with acid liquids, groups 1-A and 1-B: heat generation, violent reaction (40 CFR 264, appendix V); peroxide with an
/// organic acid gives a peracid (public-health guidance, as quoted; the chemistry from memory).
#[test]
fn pairs_a_safety_data_sheet_names() {
    let alkali = grouped("NAOH", &[CautionGroup::Alkali], &[CautionGroup::Acid]);
    let acid = grouped("ACET", &[CautionGroup::Acid], &[]);
    let peroxide = grouped("H2O2", &[CautionGroup::Peroxide], &[CautionGroup::Acid]);
    let pair = CautionKind::IncompatiblePair;
    assert_eq!(
        texts(&[acid.clone(), alkali], pair),
        [
            "ACET and NAOH are both here; the safety data sheet of NAOH names acid as incompatible; heat, and a violent reaction \
             when concentrated."
        ]
    );
    assert_eq!(
        texts(&[acid.clone(), peroxide], pair),
        [
            "ACET and H2O2 are both here; the safety data sheet of H2O2 names acid as incompatible; a corrosive peracid can \
             form."
        ]
    );
    // Trimming pH with a little acid is everyday work: without a sheet that names it there is no shout.
    let unnamed = grouped("TEA", &[CautionGroup::Alkali], &[]);
    assert!(texts(&[acid, unnamed], pair).is_empty());
}

#[test]
fn what_burns() {
    let mut alcohol = grouped("ETOH", &[], &[]);
    alcohol.flash_point_celsius = Some(Decimal::from(13));
    alcohol.hazard_statements = vec!["H225".parse().unwrap()];
    alcohol.signal_word = Some(SignalWord::Danger);
    let mut oil = grouped("OIL", &[], &[]);
    oil.flash_point_celsius = Some(Decimal::from(61));
    let gum = grouped("XANT", &[CautionGroup::CombustibleDust], &[]);
    let all = [alcohol, oil, gum.clone()];
    assert_eq!(texts(&all, CautionKind::Flammable), ["ETOH is flammable (flash point 13 °C)."]);
    assert_eq!(
        texts(&all, CautionKind::CombustibleDust),
        ["XANT is a combustible dust, and something flammable is on the same ticket."]
    );
    assert_eq!(texts(&[gum], CautionKind::CombustibleDust), ["XANT is a combustible dust."]);
    assert_eq!(
        texts(&all, CautionKind::HazardStatements),
        ["ETOH: Danger; H225 Highly flammable liquid and vapour."]
    );
}

#[test]
fn water_without_preservative_and_missing_sheets() {
    let water = grouped("AQUA", &[CautionGroup::Water], &[]);
    let preservative = grouped("PHEN", &[CautionGroup::Preservative], &[]);
    assert_eq!(texts(std::slice::from_ref(&water), CautionKind::NoPreservative).len(), 1);
    assert!(texts(&[water.clone(), preservative], CautionKind::NoPreservative).is_empty());
    assert_eq!(
        texts(&[water, raw("DYE")], CautionKind::NoSafetyDataSheet),
        ["No safety data sheet is named for: DYE."]
    );
    assert!(cautions(&[] as &[Material]).cautions.is_empty());
}
