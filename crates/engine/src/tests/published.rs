//! Published facts and worked examples, each with its source.

use domain::{
    packs::ComponentPer,
    quotations::{Freight, FreightPer},
};
use kernel::{Exact, Percent};

use super::costing::assert_adds_up;
use super::fixtures::{House, day, dec, density, gbp, kg, measured, percent, price, shown, today};
use crate::{
    CostRequest, View,
    cost::{LineKind, margin_at, markup_at},
    cost_sheet,
    explode::explode,
    normalise::normalise,
    present,
    price::landed_price,
};

/// A hand wash as a costing table of the trade has it. Common practice, no source.
pub fn hand_wash() -> House {
    let mut house = House::new();
    house
        .at_price("WATER", "0.004")
        .at_price("EDTA", "4.20")
        .at_price("GLYCERIN", "1.35")
        .at_price("SLES", "1.62")
        .at_price("CAPB", "1.10")
        .at_price("PRESERVATIVE", "9.80")
        .at_price("FRAGRANCE", "22.00")
        .at_price("SALT", "0.35")
        .at_price("CITRIC", "0.95");
    house.material("SLES").active_matter = Some(percent("70"));
    house.material("CAPB").active_matter = Some(percent("30"));
    house.formula(
        "HW",
        "percent",
        &[
            "WATER q.s.",
            "EDTA 0.10 %",
            "GLYCERIN 2.00 %",
            "SLES 12.00 %",
            "CAPB 7.00 %",
            "PRESERVATIVE 0.80 %",
            "FRAGRANCE 0.40 %",
            "SALT 1.50 %",
            "CITRIC 0.25 %",
        ],
    );
    house.version("HW").density = measured("1.030");
    house
}

/// Common practice, no source.
#[test]
fn formula_cost_of_a_hand_wash() {
    let house = hand_wash();
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    let sheet = cost_sheet(&view, &CostRequest::version(house.version_id("HW"), today())).unwrap();
    assert!(sheet.complete);
    assert_eq!(sheet.totals.per_kg.to_decimal_exactly(), Some(dec("0.479663")));
    assert_eq!(shown(sheet.totals.per_litre.as_ref().unwrap(), 6), "0.494053");
    let shares: Vec<String> =
        sheet.lines.iter().map(|l| shown(&(l.share.as_ref().unwrap() * &Exact::whole(100)), 1)).collect();
    assert_eq!(shares, ["0.6", "0.9", "5.6", "40.5", "16.1", "16.3", "18.3", "1.1", "0.5"]);
    // 75.95 % water is what the q.s. line comes to; surfactant active matter is 10.5 %.
    assert_eq!(sheet.lines[0].amount, Some(kg("75.95").to_exact()));
    let normalised = normalise(&view, view.version(house.version_id("HW")).unwrap().1).unwrap();
    let active: Exact = normalised.lines.iter().filter_map(|l| l.active_share.as_ref()).sum();
    assert_eq!(active, percent("10.5").fraction());
}

/// The same, packed: small batches pay for heel and set-up, and what is sold pays for the eight units kept back for tests and
/// retains, the first ones off the line among them. Common practice, no source.
#[test]
fn from_kilogram_to_bottle() {
    let mut house = hand_wash();
    let version = house.version("HW");
    version.process_loss = percent("0.5");
    version.heel = kg("5");
    version.cost_per_batch = Some(gbp("180"));
    let pack = house.pack("HW-500", "HW", "500 mL");
    pack.overfill = percent("1");
    pack.units_per_case = Some(12);
    pack.line_labour = Some(gbp("0.08"));
    pack.run.units_kept_back = 8;
    house
        .packed_with("BOTTLE", "1", ComponentPer::Unit, "0.22")
        .packed_with("CAP", "1", ComponentPer::Unit, "0.11")
        .packed_with("LABEL", "1", ComponentPer::Unit, "0.06")
        .packed_with("CARTON", "1", ComponentPer::Case, "0.55");
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    let check = |batch: &str, loss: &str, filled: i128, saleable: i128, per_unit: &str, fixed: &str| {
        let request = CostRequest::pack(house.pack_id("HW-500"), today()).at_batch(kg(batch));
        let sheet = cost_sheet(&view, &request).unwrap();
        let lost = &sheet.batch.process_loss + &sheet.batch.heel;
        assert_eq!(lost.to_decimal_exactly(), Some(dec(loss)));
        let filling = sheet.filling.as_ref().unwrap();
        assert_eq!(filling.fill_mass.to_decimal_exactly(), Some(dec("0.52015")));
        assert_eq!((filling.filled, filling.kept_back, filling.units), (filled, 8, saleable));
        let exact = sheet.totals.per_unit.clone().unwrap();
        assert_eq!(shown(&exact, 4), per_unit);
        assert_eq!(&exact * &Exact::whole(saleable), sheet.totals.per_batch);
        assert_eq!(sheet.totals.per_case.clone().unwrap(), &exact * &Exact::whole(12));
        let set_up = sheet.lines.iter().find(|line| line.kind == LineKind::CostPerBatch).unwrap();
        assert_eq!(shown(set_up.value_per_unit.as_ref().unwrap(), 4), fixed);
        // Every unit that is filled uses up its bottle.
        let bottles = sheet.lines.iter().find(|l| l.material.as_ref().is_some_and(|m| m.code == "BOTTLE"));
        assert_eq!(bottles.unwrap().amount, Some(Exact::whole(filled)));
        let print = present::cost_sheet(&sheet).unwrap();
        assert_adds_up(&print);
        assert_eq!(print.totals.per_unit, Some(dec(per_unit)));
    };
    check("50", "5.25", 86, 78, "3.1839", "2.3077");
    check("1000", "10", 1903, 1895, "0.8661", "0.0950");
}

/// OpenStax, Principles of Accounting 2, section 8.2 (inputs printed there, answers worked out): an ice cream per gallon of 4 quarts
/// of cream, 3 cups of sugar, 2 spoons of toffee and 1.5 of coffee costs 11.325, and 35 gallons take 35 times as much.
#[test]
fn a_standard_cost_scales() {
    let mut house = House::new();
    house.at_price("NOTHING", "0");
    house.formula("BASE", "percent", &["NOTHING 100 %"]).usual_batch = kg("35");
    house.pack("GALLON", "BASE", "1 kg");
    house
        .packed_with("CREAM", "4", ComponentPer::Unit, "2.00")
        .packed_with("SUGAR", "3", ComponentPer::Unit, "0.40")
        .packed_with("TOFFEE", "2", ComponentPer::Unit, "0.50")
        .packed_with("COFFEE", "1.5", ComponentPer::Unit, "0.75");
    let catalogue = house.catalogue();
    let sheet =
        cost_sheet(&View::plain(&catalogue), &CostRequest::pack(house.pack_id("GALLON"), today())).unwrap();
    assert_eq!(sheet.totals.per_unit.unwrap().to_decimal_exactly(), Some(dec("11.325")));
    let amounts: Vec<_> =
        sheet.lines[1..].iter().map(|l| l.amount.as_ref().unwrap().to_decimal_exactly()).collect();
    assert_eq!(amounts, ["140", "105", "70", "52.5"].map(|text| Some(dec(text))));
}

/// power.one (29.99 with a markup of 25 %), calcreal.com (40 with a markup of 50 % is a margin of a third), and the identity
/// margin = markup / (1 + markup).
#[test]
fn margin_and_markup() {
    let exact = |text: &str| Exact::from(dec(text));
    let check = |cost: &str, price: &str, markup: &str, margin: &str| {
        let percent = |value: Option<Exact>| shown(&(value.unwrap() * Exact::whole(100)), 2);
        assert_eq!(percent(markup_at(&exact(price), &exact(cost))), markup, "{cost} {price}");
        assert_eq!(percent(margin_at(&exact(price), &exact(cost))), margin, "{cost} {price}");
    };
    check("29.99", "37.4875", "25.00", "20.00");
    check("40", "60", "50.00", "33.33");
    check("10", "8", "-20.00", "-25.00");
    assert_eq!(margin_at(&Exact::ZERO, &Exact::ONE), None);
    assert_eq!(markup_at(&Exact::ONE, &Exact::ZERO), None);
}

/// A worked answer on allinterview.com: USD 460 of goods at 4.50 and 230 of other costs, shared by value 400 : 100 over twenty
/// pieces of each kind, come to 92.00 and 23.00 a piece.
#[test]
fn landed_cost_through_a_currency() {
    let mut house = House::new();
    house.settings.currency = "AED".parse().unwrap();
    house.rate("USD", "AED", "4.50", "2026-01-01");
    let mut landed = |code: &str, each: &str, other_costs: &str| {
        house.component(code);
        house.quote(code, "1 pcs", each, "1 pcs").freight =
            Some(Freight { amount: price(other_costs), per: FreightPer::Order });
        let catalogue = house.catalogue();
        let material = catalogue.materials.by_code(code).unwrap();
        landed_price(&View::plain(&catalogue), material, &Exact::whole(20), today()).unwrap().unwrap()
    };
    let x = landed("X", "18.40 USD", "184 AED");
    let y = landed("Y", "4.60 USD", "46 AED");
    assert_eq!(x.per_unit.to_decimal_exactly(), Some(dec("92")));
    assert_eq!(y.per_unit.to_decimal_exactly(), Some(dec("23")));
    assert_eq!((x.order_cost + y.order_cost).to_decimal_exactly(), Some(dec("2300")));
    assert_eq!(
        x.source.to_string(),
        "quotation Q-X-1 of Supplier S1: 18.4 USD per 1 pcs, 20 × 1 pcs for 20 pcs; freight 9.2 per pcs; \
         1 USD = 4.5 AED on 2026-01-01 (the central bank); valid until replaced"
    );
}

/// OpenStax, Chemistry 2e, chapter 3: sodium hydroxide of 97.0 % for 1.00 L of a 10.0 % solution of 1.109 g/mL is 114 g
/// (exactly 114.329897 g), and nitric acid of 68.0 % for 400.0 g of 10.0 % is 58.8 g (exactly 58.823529 g).
#[test]
fn active_matter_is_weighed_as_supplied() {
    let mut house = House::new();
    house.material("NAOH").active_matter = Some(percent("97.0"));
    house.material("HNO3").active_matter = Some(percent("68.0"));
    house.formula("LYE", "1 L", &["NAOH 10.0 % active", "WATER q.s."]).density = measured("1.109");
    house.formula("ACID", "400 g", &["HNO3 10.0 % active", "WATER q.s."]);
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    let grams = |code: &str, total: &str| {
        let normalised = normalise(&view, view.version(house.version_id(code)).unwrap().1).unwrap();
        let line = &normalised.lines[0];
        assert_eq!(line.active_share, Some(percent("10").fraction()));
        shown(&(line.share.as_ref().unwrap() * &Exact::from(dec(total))), 6)
    };
    assert_eq!(grams("LYE", "1109"), "114.329897");
    assert_eq!(grams("ACID", "400"), "58.823529");
}

/// WHO Guide to Local Production of handrub (2010), formulation 1: to 10 L with 80 % v/v ethanol, 0.125 % v/v hydrogen peroxide and
/// 1.45 % v/v glycerol. Densities at 20 °C of ethanol 96 % v/v (0.80742) and of the rub, as 80 % v/v ethanol (0.85927): OIML R 22
/// tables; of hydrogen peroxide 3 % and glycerol 98 %: from memory.
#[test]
fn handrub_by_volume() {
    let mut house = House::new();
    let volumes =
        [("ETHANOL", "8333", "0.80742"), ("PEROXIDE", "417", "1.0095"), ("GLYCEROL", "145", "1.2552")];
    for (code, _, figure) in volumes {
        house.material(code).density = Some(density(figure));
    }
    let lines = ["ETHANOL 8333 mL", "PEROXIDE 417 mL", "GLYCEROL 145 mL", "WATER q.s."];
    house.formula("RUB", "10 L", &lines).density = measured("0.85927");
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    let normalised = normalise(&view, view.version(house.version_id("RUB")).unwrap().1).unwrap();
    assert!(normalised.is_complete());
    let total: Exact = normalised.lines.iter().map(|l| l.share.clone().unwrap()).sum();
    assert_eq!(total, Exact::ONE);
    // Back to volumes of the ten litres, times the strength of what was poured.
    let mass = Exact::from(dec("8.5927"));
    let by_volume = |at: usize, figure: &str, strength: &str| {
        let kg = normalised.lines[at].share.as_ref().unwrap() * &mass;
        let litres = density(figure).volume_of(&kg).unwrap();
        // Per ten litres; × 100 for percent.
        litres * percent(strength).fraction() * Exact::whole(10)
    };
    assert_eq!(shown(&by_volume(0, "0.80742", "96"), 2), "80.00");
    assert_eq!(shown(&by_volume(1, "1.0095", "3"), 3), "0.125");
    assert_eq!(shown(&by_volume(2, "1.2552", "100"), 2), "1.45");
    // Volumes do not add: the water is more than the 1.105 L that the figures leave.
    let water = normalised.lines[3].share.as_ref().unwrap() * &mass;
    assert_eq!(shown(&water, 2), "1.26");
}

/// OIML R 22: 700 L of ethanol and 333.694 L of water make 1000 L of 70 % v/v, 885.562 kg. The cost of a litre divides by 1000 L,
/// not by what was poured.
#[test]
fn a_litre_of_product_is_not_a_litre_poured() {
    let mut house = House::new();
    house.at_price("ETHANOL", "1").at_price("WATER", "0");
    house.material("ETHANOL").density = Some(density("0.789239123"));
    let version = house.formula("E70", "1000 L", &["ETHANOL 700 L", "WATER q.s."]);
    version.density = measured("0.885562");
    version.usual_batch = kg("885.562");
    let catalogue = house.catalogue();
    let sheet = cost_sheet(&View::plain(&catalogue), &CostRequest::version(house.version_id("E70"), today()))
        .unwrap();
    assert_eq!(shown(sheet.lines[0].amount.as_ref().unwrap(), 3), "552.467");
    assert_eq!(shown(sheet.lines[1].amount.as_ref().unwrap(), 3), "333.095");
    assert_eq!(shown(sheet.totals.per_litre.as_ref().unwrap(), 6), "0.552467");
}

/// British Pharmacopoeia: emulsifying wax, emulsifying ointment, aqueous cream. The published summaries of the cream give 8.1 %
/// cetostearyl alcohol, 0.9 % sodium lauryl sulfate, 15 % white soft paraffin and 6 % liquid paraffin.
#[test]
fn aqueous_cream_through_three_levels() {
    let mut house = House::new();
    house.formula("WAX", "percent", &["CETOSTEARYL 90 %", "SLS 10 %"]);
    house.formula("OINTMENT", "100 g", &["WAX 30 g", "WSP 50 g", "LIQUID-PARAFFIN 20 g"]);
    house.formula("CREAM", "1000 g", &["OINTMENT 300 g", "PHENOXYETHANOL 10 g", "WATER q.s."]);
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue);
    let exploded =
        explode(&view, view.version(house.version_id("CREAM")).unwrap().1, day("2026-02-01")).unwrap();
    assert!(exploded.is_complete());
    assert_eq!(exploded.levels, 2);
    let expected = [
        ("CETOSTEARYL", "8.1"),
        ("SLS", "0.9"),
        ("WSP", "15"),
        ("LIQUID-PARAFFIN", "6"),
        ("PHENOXYETHANOL", "1"),
        ("WATER", "69"),
    ];
    for (code, figure) in expected {
        let part = exploded.get(house.id(code)).unwrap();
        assert_eq!(part.composition, percent(figure).fraction(), "{code}");
        assert_eq!(
            part.per_kg_charged, part.composition,
            "without losses what it is made of is what it takes"
        );
    }
    assert_eq!(exploded.materials.len(), expected.len());
    let total: Exact = exploded.materials.iter().map(|part| part.composition.clone()).sum();
    assert_eq!(total, Percent::HUNDRED.fraction());
}
