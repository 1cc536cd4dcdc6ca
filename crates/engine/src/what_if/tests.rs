mod assuming;
mod changes;

use super::*;
use crate::{
    cost::{CostRequest, cost_sheet},
    run_check::RunAmount,
    scenario::{Change, PriceBy, PriceOf, RateBy, RunOf},
    shelf_testing::{
        catalogue, day, dec, expiring, formula, lot, mass, money, pack, percent, pieces, price, promise,
        quantity, quotation, raw, supplier, ticket,
    },
    view::View,
    what_if::{NotKnown, RunEffect},
};
use domain::{
    catalogue::CatalogueParts,
    formulas::{Formula, MeasuredDensity},
    lots::{Lot, LotStatus},
    materials::{Material, MaterialKind},
    packs::{ComponentPer, Pack, PackComponent},
    suppliers::Supplier,
};
use kernel::{Density, Percent, UnitPrice, ids::MaterialId};
use proptest::prelude::*;

fn of_kind(code: &str, kind: MaterialKind) -> Material {
    Material { kind, ..raw(code) }
}

fn figure(value: &Exact, places: u32) -> String {
    value.round_half_even(places).unwrap().to_string()
}

fn shown(value: Option<&Exact>, places: u32) -> String {
    value.map_or_else(|| "none".to_owned(), |value| figure(value, places))
}

/// The hand wash of the worked example, and what it is filled into.
struct Wash {
    parts: CatalogueParts,
    formula: Formula,
    supplier: Supplier,
}

const LINES: [(&str, &str, &str); 9] = [
    ("AQUA", "q.s.", "0.004"),
    ("EDTA", "0.10", "4.20"),
    ("GLYC", "2.00", "1.35"),
    ("SLES", "12.00", "1.62"),
    ("CAPB", "7.00", "1.10"),
    ("PHEN", "0.80", "9.80"),
    ("PARF", "0.40", "22.00"),
    ("SALT", "1.50", "0.35"),
    ("CITR", "0.25", "0.95"),
];

impl Wash {
    fn new() -> Self {
        let supplier = supplier("NORD");
        let mut parts = CatalogueParts { suppliers: vec![supplier.clone()], ..CatalogueParts::default() };
        let bulk = of_kind("WASH", MaterialKind::Bulk);
        let ingredients: Vec<Material> = LINES
            .iter()
            .map(|(code, ..)| match *code {
                "AQUA" => of_kind(code, MaterialKind::Utility),
                code => raw(code),
            })
            .collect();
        let lines: Vec<(&Material, &str)> =
            ingredients.iter().zip(LINES).map(|(material, (_, share, _))| (material, share)).collect();
        let formula = formula("F-WASH", &bulk, &lines);
        for (material, (code, _, price)) in ingredients.iter().zip(LINES) {
            parts.quotations.push(quotation(code, &supplier, material, &[("1 kg", price, None)]));
        }
        parts.materials = ingredients;
        parts.materials.push(bulk);
        parts.formulas.push(formula.clone());
        Self { parts, formula, supplier }
    }

    /// 500 mL at 1.030 kg/L and 1 % overfill; pack 0.22, cap 0.11, label 0.06, carton 0.55 for twelve, labour 0.08; fixed 180 a
    /// batch of 1000 kg; heel 5 kg and 0.5 %. The example keeps 8 filled units for tests and retains: their liquid stands in the
    /// heel here, and their packaging and labour in the cost per batch.
    fn filled(mut self) -> Self {
        let version = &mut self.parts.formulas[0].versions[0];
        version.process_loss = percent("0.5");
        version.heel = mass("9.1612");
        version.usual_batch = mass("1000");
        version.cost_per_batch = Some(money("184.126667"));
        let density = Density::from_kg_per_litre(dec("1.030")).unwrap();
        version.density = Some(MeasuredDensity { density, measured_on: None, celsius: None });
        let product = of_kind("WASH-500", MaterialKind::FinishedProduct);
        let mut filled = pack("P-500", &self.formula, &product, "0.5 L");
        filled.overfill = percent("1");
        filled.units_per_case = Some(12);
        filled.line_labour = Some(money("0.08"));
        filled.price = Some(money("1.60"));
        filled.units_a_year = Some(60_000);
        for (code, piece, per) in [
            ("BOTTLE", "0.22", ComponentPer::Unit),
            ("CAP", "0.11", ComponentPer::Unit),
            ("LABEL", "0.06", ComponentPer::Unit),
            ("CARTON", "0.55", ComponentPer::Case),
        ] {
            let component = of_kind(code, MaterialKind::PackagingComponent);
            self.parts.quotations.push(quotation(
                code,
                &self.supplier,
                &component,
                &[("1 pcs", piece, None)],
            ));
            filled.components.push(PackComponent {
                material: component.id,
                quantity: pieces("1"),
                per,
                loss: Percent::ZERO,
            });
            self.parts.materials.push(component);
        }
        self.parts.materials.push(product);
        self.parts.packs.push(filled);
        self
    }

    fn id(&self, code: &str) -> MaterialId {
        self.material(code).id
    }

    fn material(&self, code: &str) -> &Material {
        self.parts.materials.iter().find(|material| material.code == code).unwrap()
    }

    fn pack(&self) -> &Pack {
        &self.parts.packs[0]
    }
}

fn rise(of: PriceOf, by: &str) -> Change {
    Change::Price { of, by: PriceBy::Percent(percent(by)), from: None }
}

fn scenario(changes: impl Into<Vec<Change>>) -> Scenario {
    Scenario { changes: changes.into(), ..Scenario::default() }
}

fn ask(parts: &CatalogueParts, shelf: &Shelf, changes: impl Into<Vec<Change>>) -> WhatIf {
    what_if(&catalogue(parts.clone()), shelf, &scenario(changes), day("2026-03-01")).unwrap()
}

/// Surfactant +12 % at a dose of 12 % and 1.62/kg: Δ 0.12 × 1.62 × 0.12 = 0.023328 per kg, +4.86 %. Common practice, no source.
#[test]
fn share_times_rise_is_the_check() {
    let wash = Wash::new();
    let answer = ask(&wash.parts, &Shelf::default(), [rise(PriceOf::Material(wash.id("SLES")), "12")]);
    let [hit] = &answer.formulas[..] else { panic!("one formula") };
    assert_eq!(figure(&hit.before.per_kg, 6), "0.479663");
    assert_eq!(shown(hit.change.as_ref(), 6), "0.023328");
    assert_eq!(shown(hit.change_share.as_ref(), 4), "0.0486");
    assert_eq!(hit.paths.len(), 1);
    assert_eq!(
        (hit.paths[0].through[0].code.as_str(), shown(hit.paths[0].share.as_ref(), 2)),
        ("SLES", "0.12".to_owned())
    );
    assert_eq!(hit.not_known, [NotKnown::NoDensity]);
    assert!(answer.packs.is_empty() && answer.runs.is_empty() && answer.problems.is_empty());
}

/// The same in a bottle: unit 0.8661 → 0.8784, margin at list 45.9 → 45.1 %, 738.62 a year on 60 000 units, price to hold the
/// margin 1.6227, to hold the cash 1.6123. Common practice, no source.
#[test]
fn what_a_rise_does_to_a_bottle() {
    let wash = Wash::new().filled();
    let answer = ask(&wash.parts, &Shelf::default(), [rise(PriceOf::Material(wash.id("SLES")), "12")]);
    let [hit] = &answer.packs[..] else { panic!("one pack") };
    let unit = |figures: &Figures| shown(figures.per_unit.as_ref(), 4);
    assert_eq!((unit(&hit.before), unit(&hit.after)), ("0.8661".to_owned(), "0.8784".to_owned()));
    let margin = |figures: &Figures| shown(figures.margin.as_ref(), 3);
    assert_eq!((margin(&hit.before), margin(&hit.after)), ("0.459".to_owned(), "0.451".to_owned()));
    assert_eq!(shown(hit.yearly_effect.as_ref(), 2), "738.62");
    assert_eq!(figure(&answer.yearly_effect, 2), "738.62");
    assert_eq!(shown(hit.price_to_hold_margin.as_ref(), 4), "1.6227");
    assert_eq!(shown(hit.price_to_hold_cash.as_ref(), 4), "1.6123");
    assert!(hit.not_known.is_empty());
}

/// A café at 1 500 cups, price 3.75, variable cost 1.50, fixed 2 475: net income 900; the supplier raises the cup by 0.05: 825.
/// OpenStax, Principles of Accounting, volume 2, sections 3.2 and 3.3.
#[test]
fn a_cup_that_costs_five_cents_more() {
    let supplier = supplier("CUPS");
    let (coffee, bulk) = (raw("COFFEE"), of_kind("BREW", MaterialKind::Bulk));
    let (cup, product) =
        (of_kind("CUP", MaterialKind::PackagingComponent), of_kind("DRINK", MaterialKind::FinishedProduct));
    let mut brew = formula("F-BREW", &bulk, &[(&coffee, "100")]);
    brew.versions[0].usual_batch = mass("375");
    brew.versions[0].cost_per_batch = Some(money("2475"));
    let mut drink = pack("P-CUP", &brew, &product, "0.25 kg");
    drink.components = vec![PackComponent {
        material: cup.id,
        quantity: pieces("1"),
        per: ComponentPer::Unit,
        loss: Percent::ZERO,
    }];
    drink.price = Some(money("3.75"));
    drink.units_a_year = Some(1_500);
    let parts = CatalogueParts {
        quotations: vec![
            quotation("Q-1", &supplier, &coffee, &[("1 kg", "5.60", None)]),
            quotation("Q-2", &supplier, &cup, &[("1 pcs", "0.10", None)]),
        ],
        materials: vec![coffee, bulk, cup.clone(), product],
        suppliers: vec![supplier],
        formulas: vec![brew],
        packs: vec![drink],
        ..CatalogueParts::default()
    };
    let to = PriceBy::Price { price: price("0.15"), per: quantity("1 pcs") };
    let dearer = Change::Price { of: PriceOf::Material(cup.id), by: to, from: None };
    let answer = ask(&parts, &Shelf::default(), [dearer]);
    let hit = &answer.packs[0];
    let income = |figures: &Figures| {
        let earned = Exact::from(dec("3.75")) - figures.per_unit.clone().unwrap();
        figure(&(earned * Exact::whole(1_500)), 0)
    };
    assert_eq!((income(&hit.before), income(&hit.after)), ("900".to_owned(), "825".to_owned()));
    assert_eq!(figure(&answer.yearly_effect, 0), "75");
    assert!(answer.formulas.is_empty(), "the liquid costs what it did");
    assert_eq!(hit.paths[0].share, None);
}

/// Through an intermediate, with the way it goes; what does not hold the material is not listed; what cannot be ranked says why.
#[test]
fn through_an_intermediate_and_only_what_is_hit() {
    let supplier = supplier("NORD");
    let (gum, glycerin, oil) = (raw("XANT"), raw("GLYC"), raw("OIL"));
    let premix = of_kind("GUMPRE", MaterialKind::Intermediate);
    let bulks = ["WASH", "POLISH"].map(|code| of_kind(code, MaterialKind::Bulk));
    let making = formula("F-GUM", &premix, &[(&gum, "20"), (&glycerin, "80")]);
    let wash = formula("F-WASH", &bulks[0], &[(&premix, "10"), (&gum, "1"), (&glycerin, "q.s.")]);
    let polish = formula("F-POLISH", &bulks[1], &[(&oil, "100")]);
    let product = of_kind("WASH-1", MaterialKind::FinishedProduct);
    let filled = pack("P-1", &wash, &product, "1 kg");
    let parts = CatalogueParts {
        quotations: [(&gum, "10"), (&glycerin, "1"), (&oil, "3")]
            .map(|(material, price)| quotation(&material.code, &supplier, material, &[("1 kg", price, None)]))
            .to_vec(),
        materials: [vec![gum.clone(), glycerin, oil, premix, product], bulks.to_vec()].concat(),
        suppliers: vec![supplier],
        formulas: vec![making, wash, polish],
        packs: vec![filled],
        ..CatalogueParts::default()
    };
    let answer = ask(&parts, &Shelf::default(), [rise(PriceOf::Material(gum.id), "10")]);
    let codes: Vec<_> = answer.formulas.iter().map(|hit| hit.code.as_str()).collect();
    assert_eq!(codes, ["F-GUM", "F-WASH"]);
    let ways: Vec<String> = answer.formulas[1]
        .paths
        .iter()
        .map(|path| {
            let through: Vec<_> = path.through.iter().map(|material| material.code.as_str()).collect();
            format!("{} {}", through.join(" in "), shown(path.share.as_ref(), 3))
        })
        .collect();
    assert_eq!(ways, ["XANT in GUMPRE 0.020", "XANT 0.010"]);
    let pack = &answer.packs[0];
    assert_eq!(pack.yearly_effect, None);
    assert_eq!(pack.not_known, [NotKnown::NoYearlyVolume, NotKnown::NoSellingPrice, NotKnown::NoDensity]);
    assert_eq!(shown(pack.change.as_ref(), 6), "0.030000");
    assert!(answer.yearly_effect.is_zero());
}

#[test]
fn packs_are_ranked_by_money_a_year() {
    let mut wash = Wash::new().filled();
    for (code, units) in [("P-A", Some(1_000)), ("P-B", None), ("P-C", Some(900_000))] {
        let copy =
            Pack { id: PackId::new(), code: code.to_owned(), units_a_year: units, ..wash.pack().clone() };
        wash.parts.packs.push(copy);
    }
    let answer = ask(&wash.parts, &Shelf::default(), [rise(PriceOf::Supplier(wash.supplier.id), "-3")]);
    let codes: Vec<_> = answer.packs.iter().map(|hit| hit.code.as_str()).collect();
    assert_eq!(codes, ["P-C", "P-500", "P-A", "P-B"]);
    assert!(answer.packs[0].yearly_effect.as_ref().unwrap().is_negative());
}

/// A price that rises later does not touch a ticket made before.
#[test]
fn tickets_are_costed_on_their_day() {
    let wash = Wash::new().filled();
    let line = [(wash.material("SLES"), "12")];
    let tickets = vec![
        ticket("T-1", &wash.formula, "2026-04-30", &line),
        ticket("T-2", &wash.formula, "2026-05-01", &line),
    ];
    let shelf = Shelf { lots: Vec::new(), tickets };
    let mut change = rise(PriceOf::Material(wash.id("SLES")), "12");
    if let Change::Price { from, .. } = &mut change {
        *from = Some(day("2026-05-01"));
    }
    // Twelve kilograms charged leave nothing after the heel; the tickets' batch is what matters here.
    let mut shelf = shelf;
    for ticket in &mut shelf.tickets {
        ticket.batch = mass("500");
    }
    let answer = ask(&wash.parts, &shelf, [change]);
    assert_eq!(answer.costed_on, day("2026-05-01"));
    assert_eq!(answer.packs.len(), 1);
    let [hit] = &answer.ticket_costs[..] else { panic!("one ticket") };
    assert_eq!((hit.number.as_str(), figure(&hit.change, 3)), ("T-2", "11.664".to_owned()));
}

#[test]
fn an_exchange_rate_touches_what_is_priced_in_it() {
    let mut wash = Wash::new();
    let euro = "EUR".parse().unwrap();
    let offer = wash.parts.quotations.iter_mut().find(|quotation| quotation.reference == "PARF").unwrap();
    offer.currency = euro;
    offer.offers[0].price = UnitPrice::from_decimal(dec("25"), euro).unwrap();
    wash.parts.rates.push(domain::quotations::ExchangeRate {
        id: kernel::ids::RateId::new(),
        from: euro,
        to: Currency::GBP,
        rate: kernel::Rate::new(dec("0.8")).unwrap(),
        date: day("2026-01-01"),
        source: "a bank".to_owned(),
    });
    let change = |by| [Change::ExchangeRate { give: euro, get: Currency::GBP, by, from: None }];
    let answer = ask(&wash.parts, &Shelf::default(), change(RateBy::Percent(percent("5"))));
    // 0.4 % of a perfume oil at 20 a kg, 5 % dearer.
    assert_eq!(shown(answer.formulas[0].change.as_ref(), 6), "0.004000");
    assert_eq!(answer.formulas[0].paths[0].through[0].code, "PARF");
    let same = kernel::Rate::new(dec("0.8")).unwrap();
    assert!(ask(&wash.parts, &Shelf::default(), change(RateBy::Rate(same))).hits_nothing());
}

/// Lots A (40 kg to 31 March) and B, three runs; then A expires, is rejected or held earlier.
fn shelf_of(wash: &Wash, b: &str) -> Shelf {
    let sles = wash.material("SLES");
    let run = |number, on, kg| ticket(number, &wash.formula, on, &[(sles, kg)]);
    Shelf {
        lots: vec![
            Lot { value: Some(money("64")), ..expiring(sles, "A", "40 kg", "2026-05-31") },
            expiring(sles, "B", b, "2026-12-31"),
        ],
        tickets: vec![
            run("T-1", "2026-03-10", "18"),
            run("T-2", "2026-04-10", "15"),
            run("T-3", "2026-05-05", "18"),
        ],
    }
}

#[test]
fn a_lot_that_expires_strands_and_leaves_runs_short() {
    let wash = Wash::new();
    let shelf = shelf_of(&wash, "20 kg");
    let expires = [Change::LotExpires { lot: shelf.lots[0].id, on: day("2026-03-31") }];
    let answer = ask(&wash.parts, &shelf, expires);
    let [lot] = &answer.lots[..] else { panic!("one lot: {:?}", answer.lots) };
    assert_eq!((lot.stranded_before, lot.stranded_after), (quantity("0 kg"), quantity("22 kg")));
    assert_eq!(lot.value_after, Some(money("35.2")));
    assert_eq!(lot.last_taken_on, Some(day("2026-03-10")));
    assert_eq!(lot.could_be_used_in, ["F-WASH"]);
    let effects: Vec<_> = answer.runs.iter().map(|hit| (hit.on, hit.effect)).collect();
    assert_eq!(
        effects,
        [(day("2026-04-10"), RunEffect::OtherLots), (day("2026-05-05"), RunEffect::Short)],
        "T-1 still has its lot"
    );
    let short = &answer.runs[1].short[0];
    assert_eq!((short.before, short.after), (quantity("0 kg"), quantity("13 kg")));
    let order = short.buy.as_ref().unwrap().order.as_ref().unwrap();
    assert_eq!((order.packs, order.order_by), (13, Some(day("2026-04-25"))));
    assert!(answer.formulas.is_empty() && answer.packs.is_empty(), "no cost changes");
}

#[test]
fn a_rejected_lot_and_what_might_help() {
    let wash = Wash::new();
    let mut shelf = shelf_of(&wash, "20 kg");
    let quarantined = Lot { status: LotStatus::Quarantine, ..lot(wash.material("SLES"), "C", "50 kg") };
    shelf.lots.push(quarantined);
    let (mut run, mut held) = (shelf.tickets[0].clone(), shelf.lots[0].clone());
    promise(&mut run, 1, &mut held, "18 kg");
    (shelf.tickets[0], shelf.lots[0]) = (run, held);
    let untouched = shelf.clone();
    let on = day("2026-03-10");
    let answer = ask(&wash.parts, &shelf, [Change::LotRejected { lot: shelf.lots[0].id, on }]);
    assert_eq!(shelf, untouched);
    let effects: Vec<_> = answer.runs.iter().map(|hit| hit.effect).collect();
    assert_eq!(effects, [RunEffect::OtherLots, RunEffect::Short, RunEffect::Short]);
    assert_eq!(answer.runs[1].short[0].after, quantity("13 kg"));
    assert_eq!(answer.runs[1].short[0].might_help[0].number, "C");
    assert_eq!(answer.lots[0].stranded_after, quantity("40 kg"));
    assert_eq!(answer.lots[0].value_change, Some(money("64")));

    // On hold from a day after the first run: that one is not hit, and nothing is stranded, for it may come free again.
    let hold = [Change::LotOnHold { lot: shelf.lots[0].id, on: day("2026-03-11") }];
    let answer = ask(&wash.parts, &shelf, hold);
    let effects: Vec<_> = answer.runs.iter().map(|hit| hit.effect).collect();
    assert_eq!(effects, [RunEffect::OtherLots, RunEffect::Short]);
    assert!(answer.lots.is_empty());
}

#[test]
fn deliveries_runs_and_materials_that_do_not_come() {
    let wash = Wash::new();
    let shelf = shelf_of(&wash, "5 kg");
    let sles = wash.id("SLES");
    // As it is, T-3 is short of 6 kg.
    let deliver = |on: &str| Change::Delivery {
        material: sles,
        quantity: quantity("25 kg"),
        on: day(on),
        expires_on: None,
    };
    let answer = ask(&wash.parts, &shelf, [deliver("2026-05-05")]);
    let [hit] = &answer.runs[..] else { panic!("one run") };
    assert_eq!(
        (hit.effect, hit.short[0].before, hit.short[0].after),
        (RunEffect::Relieved, quantity("6 kg"), quantity("0 kg"))
    );
    assert!(ask(&wash.parts, &shelf, [deliver("2026-05-06")]).hits_nothing(), "a day late");

    let unavailable = |until: &str| [Change::MaterialUnavailable { material: sles, until: day(until) }];
    let answer = ask(&wash.parts, &shelf, unavailable("2026-05-06"));
    assert_eq!(answer.runs[0].effect, RunEffect::CoverTooLate);
    let order = answer.runs[0].short[0].buy.as_ref().unwrap().order.as_ref().unwrap();
    assert_eq!((order.usable_if_ordered_today, order.order_by), (Some(day("2026-05-06")), None));
    assert!(ask(&wash.parts, &shelf, unavailable("2026-05-05")).hits_nothing(), "just in time");

    let more = Change::PlannedRun {
        of: RunOf::Version(wash.formula.versions[0].id),
        amount: RunAmount::Batch(mass("100")),
        on: day("2026-04-01"),
    };
    let answer = ask(&wash.parts, &shelf, [more]);
    let effects: Vec<_> = answer
        .runs
        .iter()
        .map(|hit| (matches!(hit.run, RunRef::Assumed { change: 1 }), hit.effect))
        .collect();
    // The assumed run has nothing of the other materials on this shelf; the surfactant it takes is missed by T-3.
    assert_eq!(effects, [(true, RunEffect::Short), (false, RunEffect::OtherLots), (false, RunEffect::Short)]);
    assert_eq!(answer.runs[2].short[0].after, quantity("18 kg"));
}

/// The names stand in files and stored scenarios; they stay as they are.
#[test]
fn scenarios_are_read_and_written_by_stable_names() {
    let id = "018f3c7e-0000-7000-8000-000000000001";
    let text = format!(
        r#"{{"name":"spring","changes":[
        {{"change":"price","of":{{"material":"{id}"}},"by":{{"percent":"12"}},"from":"2026-05-01"}},
        {{"change":"price","of":{{"quotation":"{id}"}},"by":{{"price":{{"price":{{"amount":"1.8","currency":"GBP"}},"per":"1 kg"}}}}}},
        {{"change":"price","of":{{"supplier":"{id}"}},"by":{{"percent":"-2.5"}}}},
        {{"change":"exchange-rate","give":"EUR","get":"GBP","by":{{"rate":"0.91"}}}},
        {{"change":"lot-expires","lot":"{id}","on":"2026-03-31"}},
        {{"change":"lot-rejected","lot":"{id}","on":"2026-03-31"}},
        {{"change":"lot-on-hold","lot":"{id}","on":"2026-03-31"}},
        {{"change":"material-unavailable","material":"{id}","until":"2026-06-01"}},
        {{"change":"planned-run","of":{{"pack":"{id}"}},"amount":{{"units":500}},"on":"2026-04-01"}},
        {{"change":"planned-run","of":{{"version":"{id}"}},"amount":{{"batch":"200"}},"on":"2026-04-01"}},
        {{"change":"delivery","material":"{id}","quantity":"200 kg","on":"2026-04-01","expires-on":"2027-04-30"}}]}}"#
    );
    let read: Scenario = serde_json::from_str(&text).unwrap();
    let written: serde_json::Value = serde_json::to_value(&read).unwrap();
    assert_eq!(written, serde_json::from_str::<serde_json::Value>(&text).unwrap());
    for bad in [
        r#"{"changes":[{"change":"lot-expires","lot":"L-1","on":"2026-03-31"}]}"#,
        r#"{"changes":[{"change":"lot-vanishes"}]}"#,
        r#"{"change":[]}"#,
    ] {
        assert!(serde_json::from_str::<Scenario>(bad).is_err(), "{bad}");
    }
    let extra = text.replacen(r#""from":"2026-05-01""#, r#""form":"2026-05-01""#, 1);
    assert!(serde_json::from_str::<Scenario>(&extra).is_err(), "a slip of the pen is not passed over");
}

#[test]
fn scenarios_that_cannot_be() {
    let wash = Wash::new();
    let catalogue = catalogue(wash.parts.clone());
    let sles = wash.id("SLES");
    let refuse = |change: Change, expected: &str| {
        let error =
            what_if(&catalogue, &Shelf::default(), &scenario([change]), day("2026-03-01")).unwrap_err();
        assert!(error.to_string().starts_with(expected), "{error}");
    };
    refuse(rise(PriceOf::Material(MaterialId::new()), "1"), "there is no material");
    refuse(Change::LotRejected { lot: LotId::new(), on: day("2026-03-01") }, "there is no lot on the shelf");
    refuse(rise(PriceOf::Material(sles), "-100.1"), "change 1 of the scenario: -100.1 % would bring");
    let rate = |get, by| Change::ExchangeRate {
        give: Currency::EUR,
        get,
        by: RateBy::Percent(percent(by)),
        from: None,
    };
    refuse(rate(Currency::EUR, "1"), "change 1 of the scenario: the rate from EUR to itself");
    refuse(rate(Currency::GBP, "-100"), "change 1 of the scenario: a rate cannot fall to nought");
    let units = RunAmount::Units(5);
    let run = Change::PlannedRun {
        of: RunOf::Version(wash.formula.versions[0].id),
        amount: units,
        on: day("2026-03-01"),
    };
    refuse(run, "change 1 of the scenario: units are of a pack");
    let deliver =
        |quantity| Change::Delivery { material: sles, quantity, on: day("2026-03-01"), expires_on: None };
    refuse(deliver(quantity("5 L")), "change 1 of the scenario: 5 L of SLES cannot");
    let many = vec![rise(PriceOf::Material(sles), "1"); 101];
    let error = what_if(&catalogue, &Shelf::default(), &scenario(many), day("2026-03-01")).unwrap_err();
    assert_eq!(error, EngineError::TooManyChanges { found: 101 });
}

/// Lots (kg, days to expiry, status) and runs (days from the start, kg).
type Rows = (Vec<(i64, Option<u64>, usize)>, Vec<(u64, u32)>);

fn any_rows() -> impl Strategy<Value = Rows> {
    let lots = prop::collection::vec((1_i64..60, prop::option::of(0_u64..200), 0_usize..4), 0..5);
    (lots, prop::collection::vec((0_u64..150, 1_u32..40), 0..5))
}

fn shelf_of_rows(wash: &Wash, (lots, runs): &Rows) -> Shelf {
    let sles = wash.material("SLES");
    let at = |days: u64| day("2026-02-01").checked_add_days(chrono::Days::new(days)).unwrap();
    let lots = lots.iter().enumerate().map(|(index, (kg, expires, status))| Lot {
        expires_on: expires.map(at),
        status: LotStatus::ALL[*status],
        value: Some(money("10")),
        ..lot(sles, &format!("L{index}"), &format!("{kg} kg"))
    });
    let tickets = runs.iter().enumerate().map(|(index, (on, kg))| {
        let kg = kg.to_string();
        let line = [(sles, kg.as_str())];
        let mut run = ticket(&format!("T{index}"), &wash.formula, "2026-02-01", &line);
        run.planned_for = at(*on);
        run.batch = mass("500");
        run
    });
    Shelf { lots: lots.collect(), tickets: tickets.collect() }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Without a change nothing is hit; nor by changes that change nothing.
    #[test]
    fn nothing_changed_hits_nothing(rows in any_rows()) {
        let wash = Wash::new().filled();
        let shelf = shelf_of_rows(&wash, &rows);
        let untouched = shelf.clone();
        prop_assert!(ask(&wash.parts, &shelf, []).hits_nothing());
        let mut idle = vec![rise(PriceOf::Supplier(wash.supplier.id), "0")];
        for lot in &shelf.lots {
            if let Some(on) = lot.expires_on {
                idle.push(Change::LotExpires { lot: lot.id, on });
            }
            if lot.status == LotStatus::Rejected {
                idle.push(Change::LotRejected { lot: lot.id, on: day("2026-02-01") });
            }
        }
        let answer = ask(&wash.parts, &shelf, idle);
        prop_assert!(answer.runs.is_empty(), "{:?}", answer.runs);
        prop_assert!(answer.packs.is_empty() && answer.formulas.is_empty());
        // Rejecting what is rejected again moves no stranded gram; dates named may only widen the days looked at on both sides.
        prop_assert!(answer.lots.is_empty());
        prop_assert_eq!(shelf, untouched);
    }

    /// Costing a scenario's percent is costing a catalogue whose prices really are that much higher.
    #[test]
    fn an_assumed_price_is_a_changed_price(per_mille in -900_i64..3_000, which in 0_usize..9) {
        let wash = Wash::new().filled();
        let code = LINES[which].0;
        let by = Percent::from_percent(rust_decimal::Decimal::new(per_mille, 1)).unwrap();
        let change = Change::Price { of: PriceOf::Material(wash.id(code)), by: PriceBy::Percent(by), from: None };
        let answer = ask(&wash.parts, &Shelf::default(), [change]);
        let mut changed = wash.parts.clone();
        for quotation in changed.quotations.iter_mut().filter(|quotation| quotation.reference == code) {
            for offer in &mut quotation.offers {
                let factor = rust_decimal::Decimal::new(1000 + per_mille, 3);
                offer.price = UnitPrice::from_decimal(offer.price.amount() * factor, Currency::GBP).unwrap();
            }
        }
        let really = catalogue(changed);
        let request = CostRequest::pack(wash.pack().id, day("2026-03-01"));
        let sheet = Figures::from(&cost_sheet(&View::plain(&really), &request).unwrap());
        match &answer.packs[..] {
            [hit] => prop_assert_eq!(&hit.after, &sheet),
            [] => prop_assert_eq!(per_mille, 0),
            more => prop_assert!(false, "{more:?}"),
        }
    }
}
