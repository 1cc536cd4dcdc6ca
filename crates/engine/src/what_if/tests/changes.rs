//! Changes of terms, formulas, packs, rates and volumes; shares; timing; endings; recalls.

use super::*;
use crate::{
    scenario::{ChargePer, FreightBy, OldPriceCover, VolumeBy},
    what_if::{Asked, CoverFrom, Genealogy, Parts, Urgency, what_if_asked},
};
use domain::{
    house_rates::{HouseRate, HouseRateAmount, HouseRateOf},
    making::{MakingCost, MakingCostAmount, MakingCostKind},
    quotations::{Duty, DutyOn, Freight, FreightPer},
    tickets::{Completion, Ticket, TicketStatus, Weighing},
};
use kernel::ids::{HouseRateId, LotId, WeighingId};

const TODAY: &str = "2026-03-01";

pub(super) fn ask_all(parts: &CatalogueParts, shelf: &Shelf, changes: impl Into<Vec<Change>>) -> WhatIf {
    ask_of(parts, shelf, &Genealogy::default(), &scenario(changes))
}

fn ask_of(parts: &CatalogueParts, shelf: &Shelf, genealogy: &Genealogy, scenario: &Scenario) -> WhatIf {
    let catalogue = catalogue(parts.clone());
    let asked = Asked { scenario, as_of: day(TODAY), genealogy, parts: Parts::ALL };
    what_if_asked(&View::plain(&catalogue), shelf, &asked).unwrap()
}

/// A house with an intermediate in two formulas, packs with an hour of labour, and offers with breaks, freight and two currencies.
pub(super) struct House {
    pub(super) parts: CatalogueParts,
}

impl House {
    pub(super) fn new() -> Self {
        let (nord, sued) = (supplier("NORD"), supplier("SUED"));
        let raws = ["SLES", "GUM", "GLYC", "OIL", "OIL2"].map(raw);
        let [sles, gum, glyc, oil, oil2] = &raws;
        let water = of_kind("AQUA", MaterialKind::Utility);
        let premix = of_kind("PRE", MaterialKind::Intermediate);
        let bulks = ["A", "B"].map(|code| of_kind(code, MaterialKind::Bulk));
        let products = ["PA", "PB"].map(|code| of_kind(code, MaterialKind::FinishedProduct));
        let bottle = of_kind("BOTTLE", MaterialKind::PackagingComponent);
        let mut pre = formula("F-PRE", &premix, &[(gum, "20"), (glyc, "q.s.")]);
        pre.versions[0].process_loss = percent("1");
        let mut a = formula("F-A", &bulks[0], &[(&premix, "10"), (sles, "12"), (&water, "q.s.")]);
        a.versions[0].making.costs.push(MakingCost {
            name: "mixing".to_owned(),
            kind: MakingCostKind::Labour,
            amount: MakingCostAmount::Hours { time: "1.5 h".parse().unwrap(), rate: "bench".to_owned() },
        });
        let b = formula("F-B", &bulks[1], &[(oil, "5"), (&premix, "2"), (&water, "q.s.")]);
        let mut packs =
            vec![pack("P-A", &a, &products[0], "0.5 kg"), pack("P-B", &b, &products[1], "0.25 kg")];
        for (pack, units) in packs.iter_mut().zip([Some(6_000), Some(2_000)]) {
            pack.units_a_year = units;
            pack.price = Some(money("2.50"));
            pack.components.push(PackComponent {
                material: bottle.id,
                quantity: pieces("1"),
                per: ComponentPer::Unit,
                loss: percent("2"),
            });
        }
        let mut quotations = vec![
            quotation("Q-SLES", &nord, sles, &[("200 kg", "324", None), ("1000 kg", "1400", None)]),
            quotation("Q-GUM", &nord, gum, &[("25 kg", "255", None), ("25 kg", "240", Some("100 kg"))]),
            quotation("Q-GLYC", &sued, glyc, &[("25 kg", "33.75", None)]),
            quotation("Q-OIL", &sued, oil, &[("10 kg", "62", None)]),
            quotation("Q-OIL2", &nord, oil2, &[("10 kg", "71", None)]),
            quotation("Q-AQUA", &nord, &water, &[("1000 kg", "4", None)]),
            quotation("Q-BOTTLE", &nord, &bottle, &[("1000 pcs", "220", None)]),
        ];
        let euro = Currency::EUR;
        quotations[3].currency = euro;
        quotations[3].offers[0].price = UnitPrice::from_decimal(dec("70"), euro).unwrap();
        quotations[0].freight =
            Some(Freight { amount: price("0.05"), per: FreightPer::Quantity(quantity("1 kg")) });
        quotations[1].terms.duty = Some(Duty { percent: percent("6.5"), on: DutyOn::Price });
        let bench = HouseRate {
            id: HouseRateId::new(),
            name: "bench".to_owned(),
            of: HouseRateOf::LabourHour,
            amount: HouseRateAmount::Stated(price("24")),
            from: day("2025-01-01"),
            note: None,
        };
        let rate = domain::quotations::ExchangeRate {
            id: kernel::ids::RateId::new(),
            from: euro,
            to: Currency::GBP,
            rate: kernel::Rate::new(dec("0.8")).unwrap(),
            date: day("2026-01-01"),
            source: "a bank".to_owned(),
        };
        let mut materials = raws.to_vec();
        materials.extend([water, premix, bottle]);
        materials.extend(bulks);
        materials.extend(products);
        Self {
            parts: CatalogueParts {
                materials,
                suppliers: vec![nord, sued],
                quotations,
                rates: vec![rate],
                house_rates: vec![bench],
                formulas: vec![pre, a, b],
                packs,
            },
        }
    }

    pub(super) fn id(&self, code: &str) -> MaterialId {
        self.parts.materials.iter().find(|material| material.code == code).unwrap().id
    }

    pub(super) fn formula(&self, code: &str) -> &Formula {
        self.parts.formulas.iter().find(|formula| formula.code == code).unwrap()
    }

    fn pack(&self, code: &str) -> PackId {
        self.parts.packs.iter().find(|pack| pack.code == code).unwrap().id
    }

    fn quotation(&self, reference: &str) -> kernel::ids::QuotationId {
        self.parts.quotations.iter().find(|quotation| quotation.reference == reference).unwrap().id
    }
}

fn per_kg(answer: &WhatIf, code: &str) -> String {
    let hit = answer.formulas.iter().find(|hit| hit.code == code);
    hit.map_or_else(|| "not hit".to_owned(), |hit| shown(hit.change.as_ref(), 6))
}

/// 3 600 kg a year at 1.62, 12 % dearer, are 699.84 in a full year; with 75 days of old-price stock 556.04 in the first. Common
/// practice, no source.
#[test]
fn stock_at_the_old_price_is_used_first() {
    let wash = Wash::new();
    let bulk = of_kind("NEAT", MaterialKind::Bulk);
    let product = of_kind("NEAT-1", MaterialKind::FinishedProduct);
    let neat = formula("F-NEAT", &bulk, &[(wash.material("SLES"), "100")]);
    let mut filled = pack("P-NEAT", &neat, &product, "1 kg");
    filled.units_a_year = Some(3_600);
    let mut parts = wash.parts.clone();
    parts.materials.extend([bulk, product]);
    parts.formulas.push(neat);
    parts.packs.push(filled);
    let sles = wash.id("SLES");
    let dearer = Change::Price {
        of: PriceOf::Material(sles),
        by: PriceBy::Percent(percent("12")),
        from: Some(day("2026-05-01")),
    };
    let cover = |cover| Change::OldPrice { material: sles, cover };
    let answer = ask_all(&parts, &Shelf::default(), [dearer.clone(), cover(OldPriceCover::Days(75))]);
    assert_eq!(figure(&answer.yearly_effect, 2), "699.84");
    assert_eq!(shown(answer.first_year_effect.as_ref(), 2), "556.04");
    let timing = answer.packs[0].timing.as_ref().unwrap();
    let steps: Vec<_> =
        timing.steps.iter().map(|step| (step.from.to_string(), shown(step.cost.as_ref(), 4))).collect();
    assert_eq!(steps, [("2026-07-15".to_owned(), "1.8144".to_owned())]);
    assert_eq!(timing.steps[0].materials, ["SLES"]);

    // The same from the shelf and a protected order: 1 200 kg last 121 days, of which 61 are over before the rise.
    let shelf = Shelf { lots: vec![lot(wash.material("SLES"), "L-1", "1000 kg")], tickets: Vec::new() };
    let ordered = OldPriceCover::Ordered(quantity("200 kg"));
    let answer = ask_all(&parts, &shelf, [dearer.clone(), cover(ordered)]);
    let row = &answer.materials[0];
    assert_eq!((row.days, row.cover_from, row.moves_on), (60, CoverFrom::Stock, day("2026-06-30")));
    assert_eq!(figure(&row.a_year, 0), "3600");
    let without = ask_all(&wash.parts, &shelf, [dearer]);
    assert_eq!(without.materials[0].cover_from, CoverFrom::NoYearlyUse);
}

/// +5 % and then another exchange rate are not the sum of the two: each has its share in the order stated, and they add up.
#[test]
fn shares_add_up_in_the_order_stated() {
    let house = House::new();
    let oil = rise(PriceOf::Material(house.id("OIL")), "5");
    let euro = Change::ExchangeRate {
        give: Currency::EUR,
        get: Currency::GBP,
        by: RateBy::Percent(percent("10")),
        from: None,
    };
    let told = |changes: [Change; 2]| {
        let answer = ask_all(&house.parts, &Shelf::default(), changes);
        assert!(answer.not_shared.is_zero());
        let sum: Exact = answer.shares.iter().map(|share| &share.yearly_effect).sum();
        assert_eq!(sum, answer.yearly_effect);
        let row = answer.packs.iter().find(|hit| hit.code == "P-B").unwrap();
        let of_row: Exact = row.shares.iter().filter_map(|share| share.change_of_cost.as_ref()).sum();
        assert_eq!(Some(of_row), row.change);
        let figures: Vec<_> = answer.shares.iter().map(|share| figure(&share.yearly_effect, 4)).collect();
        (figures, figure(&answer.yearly_effect, 4))
    };
    // 2 000 units of 0.25 kg hold 25 kg of the oil at 5.60: 140 a year.
    assert_eq!(
        told([oil.clone(), euro.clone()]),
        (vec!["7.0000".into(), "14.7000".into()], "21.7000".into())
    );
    assert_eq!(told([euro, oil]), (vec!["14.0000".into(), "7.7000".into()], "21.7000".into()));
}

/// A drum that rises does not touch who buys the tank, nor one break who buys at another.
#[test]
fn one_pack_or_one_break_only() {
    let house = House::new();
    let pack_of = |pack: &str| PriceOf::Pack { material: house.id("SLES"), pack: quantity(pack) };
    let hit = |of| per_kg(&ask_all(&house.parts, &Shelf::default(), [rise(of, "10")]), "F-A");
    // A batch of 100 kg takes 12 kg, bought by the 200 kg.
    assert_eq!(hit(pack_of("200 kg")), "0.019440");
    assert_eq!(hit(pack_of("1000 kg")), "not hit");
    let gum = |at: Option<&str>| PriceOf::Offer {
        quotation: house.quotation("Q-GUM"),
        pack: quantity("25 kg"),
        price_break: at.map(quantity),
    };
    assert_ne!(hit(gum(None)), "not hit");
    assert_ne!(hit(gum(Some("25 kg"))), "not hit");
    assert_eq!(hit(gum(Some("100 kg"))), "not hit");
    assert_ne!(
        per_kg(
            &ask_all(&house.parts, &Shelf::default(), [rise(PriceOf::Currency(Currency::EUR), "10")]),
            "F-B"
        ),
        "not hit"
    );
    let nothing = rise(pack_of("999 kg"), "10");
    let error =
        what_if(&catalogue(house.parts), &Shelf::default(), &scenario([nothing]), day(TODAY)).unwrap_err();
    assert_eq!(error.to_string(), "there is no price of SLES in packs of 999 kg in the catalogue");
}

#[test]
fn freight_duty_and_surcharges() {
    let house = House::new();
    let of = |code: &str| PriceOf::Material(house.id(code));
    let told = |change: Change, code: &str| {
        let answer = ask_all(&house.parts, &Shelf::default(), [change]);
        assert!(answer.packs.iter().all(|hit| !hit.because.is_empty()), "every row says why");
        per_kg(&answer, code)
    };
    let freight = |by| Change::Freight { of: of("SLES"), by, from: None };
    let to = |amount: &str, per| FreightBy::To { amount: price(amount), per };
    // 12 % of a surfactant: 0.05 a kg to 0.08; a shipment of 40 over 200 kg is 0.2; 50 % more of 0.05.
    assert_eq!(told(freight(to("0.08", ChargePer::Quantity(quantity("1 kg")))), "F-A"), "0.003600");
    assert_eq!(told(freight(to("40", ChargePer::Shipment)), "F-A"), "0.018000");
    assert_eq!(told(freight(FreightBy::Percent(percent("50"))), "F-A"), "0.003000");
    // Duty of 6.5 % becomes 10 %: 3.5 % of 10.20 on a fifth of the premix, a tenth of which stands in the formula, over 99 % yield.
    let duty = Change::Duty { of: of("GUM"), to: percent("10"), on: None, from: None };
    let expected = Exact::from(dec("0.00714")).checked_div(&Exact::from(dec("0.99"))).unwrap();
    assert_eq!(told(duty, "F-A"), figure(&expected, 6));
    let hazard = Change::Surcharge {
        of: PriceOf::Supplier(house.parts.suppliers[0].id),
        name: "hazard".to_owned(),
        amount: price("2"),
        per: ChargePer::Pack,
        from: None,
    };
    // 2 on a pack of 200 kg of surfactant, of 25 kg of gum behind the premix, of 1000 kg of water.
    let premix = Exact::from(dec("0.0016")).checked_div(&Exact::from(dec("0.99"))).unwrap();
    let expected = Exact::from(dec("0.0012")) + premix + Exact::from(dec("0.00156"));
    assert_eq!(told(hazard, "F-A"), figure(&expected, 6));
}

#[test]
fn doses_substitutes_and_what_takes_the_difference() {
    let house = House::new();
    let version = house.formula("F-A").versions[0].id;
    let dose = |to: &str| Change::Dose { version, line: 2, to: percent(to), against: None };
    let answer = ask_all(&house.parts, &Shelf::default(), [dose("10")]);
    // Two points less at 1.67 landed, two points more of water at 0.004.
    assert_eq!(per_kg(&answer, "F-A"), "-0.033320");
    let hit = answer.packs.iter().find(|hit| hit.code == "P-A").unwrap();
    assert_eq!(hit.because, ["line 2 (SLES) at 10 % instead of 12 %"]);
    let refused = |change: Change| {
        let parts = house.parts.clone();
        what_if(&catalogue(parts), &Shelf::default(), &scenario([change]), day(TODAY))
            .unwrap_err()
            .to_string()
    };
    assert_eq!(
        refused(dose("95")),
        "change 1 of the scenario: line 3 holds 78 %, and 83 % would have to be taken from it"
    );
    let swap = |factor: Option<&str>, within| Change::Substitute {
        old: house.id("OIL"),
        new: house.id("OIL2"),
        factor: factor.map(dec),
        within,
    };
    // 5 % at 5.60 become 5 % at 7.10; or 4 % at 7.10 and a point of water.
    let told = |change| per_kg(&ask_all(&house.parts, &Shelf::default(), [change]), "F-B");
    assert_eq!(told(swap(None, None)), "0.075000");
    assert_eq!(told(swap(Some("0.8"), Some(house.formula("F-B").id))), "0.004040");
    assert!(refused(swap(None, Some(house.formula("F-A").id))).ends_with("OIL does not stand there"));
    // An intermediate in its own place: GLYC by the premix would hold itself.
    let looped = Change::Substitute {
        old: house.id("GLYC"),
        new: house.id("PRE"),
        factor: None,
        within: Some(house.formula("F-PRE").id),
    };
    assert!(refused(looped).contains("would contain itself"));
    // A dose of an intermediate's own formula reaches what holds it, and says by which way.
    let inner = Change::Dose {
        version: house.formula("F-PRE").versions[0].id,
        line: 1,
        to: percent("25"),
        against: None,
    };
    let answer = ask_all(&house.parts, &Shelf::default(), [inner]);
    let hit = answer.formulas.iter().find(|hit| hit.code == "F-B").unwrap();
    assert_eq!(hit.because, ["2 % of it is PRE"]);
}

#[test]
fn volumes_and_floors() {
    let house = House::new();
    let mut asked = scenario([
        rise(PriceOf::Supplier(house.parts.suppliers[0].id), "10"),
        Change::SalesVolume { pack: Some(house.pack("P-A")), by: VolumeBy::Percent(percent("-50")) },
    ]);
    asked.margin_floor = Some(percent("70"));
    let answer = ask_of(&house.parts, &Shelf::default(), &Genealogy::default(), &asked);
    let hit = answer.packs.iter().find(|hit| hit.code == "P-A").unwrap();
    assert_eq!((hit.units_before, hit.units_a_year), (Some(6_000), Some(3_000)));
    let units = Exact::whole(3_000);
    assert_eq!(hit.yearly_effect, Some(hit.change.clone().unwrap() * units));
    let earned = |figures: &Figures, units: i128| {
        (Exact::from(dec("2.5")) - figures.per_unit.clone().unwrap()) * Exact::whole(units)
    };
    assert_eq!(hit.earned_change, Some(earned(&hit.after, 3_000) - earned(&hit.before, 6_000)));
    let margin = hit.after.margin.clone().unwrap();
    assert_eq!(hit.below_floor, Some(margin < Exact::from(dec("0.7"))));
    // At the price for the floor the cost is 30 % of it.
    let price = hit.price_for_floor.clone().unwrap();
    assert_eq!(price * Exact::from(dec("0.3")), hit.after.per_unit.clone().unwrap());
    let shares: Exact = answer.shares.iter().map(|share| &share.yearly_effect).sum();
    assert_eq!(shares, answer.yearly_effect);
}

/// A year takes 73 kg: 20 on the shelf, the last order on 1 May, a replacement ready 183 days from today.
#[test]
fn a_supplier_ends() {
    let mut house = House::new();
    house.parts.packs[1].units_a_year = Some(5_840);
    let oil = house.id("OIL");
    let keeps = |house: &mut House, life: Option<&str>| {
        let material = house.parts.materials.iter_mut().find(|material| material.id == oil).unwrap();
        material.shelf_life = life.map(|life| life.parse().unwrap());
        material.inci = Some("OLEA EUROPAEA".to_owned());
    };
    keeps(&mut house, None);
    let other = house.id("OIL2");
    let twin = house.parts.materials.iter_mut().find(|material| material.id == other).unwrap();
    twin.inci = Some("OLEA EUROPAEA".to_owned());
    let shelf = Shelf {
        lots: vec![lot(house.parts.materials.iter().find(|m| m.id == oil).unwrap(), "L-1", "20 kg")],
        tickets: Vec::new(),
    };
    let ends = Change::SupplierEnds {
        supplier: house.parts.suppliers[1].id,
        material: Some(oil),
        on: day("2026-05-01"),
        replaced_on: Some(day("2026-08-31")),
    };
    let answer = ask_all(&house.parts, &shelf, [ends.clone()]);
    let [ending] = &answer.endings[..] else { panic!("one material ends") };
    assert_eq!(
        (ending.formulas.as_slice(), ending.packs.as_slice()),
        (&["F-B".to_owned()][..], &["P-B".to_owned()][..])
    );
    assert_eq!(figure(&ending.a_year, 3), "73.000");
    let buy = ending.last_buy.as_ref().unwrap();
    // A fifth of a kg a day: 36.6 kg less 20.
    assert_eq!(
        (figure(&buy.wanted, 3), buy.packs, figure(&buy.quantity, 0)),
        ("16.600".into(), 2, "20".into())
    );
    assert_eq!(ending.alternates[0].material.code, "OIL2");
    assert_eq!(ending.alternates[0].state, "valid, another material to be tried first");
    let todo: Vec<_> = answer.first_look.iter().filter(|row| row.urgency == Urgency::ToDo).collect();
    assert_eq!(todo[0].by, Some(day("2026-05-01")));
    assert!(todo[0].says.starts_with("buy 20 kg of "), "{}", todo[0].says);
    // Thirty days of life from the 11th of May reach to the 10th of June: 101 days take 20.2 kg.
    keeps(&mut house, Some("30 days"));
    let answer = ask_all(&house.parts, &shelf, [ends]);
    let buy = answer.endings[0].last_buy.as_ref().unwrap();
    assert_eq!((figure(&buy.wanted, 3), buy.reaches), ("0.200".into(), day("2026-06-10")));
    assert!(buy.limited_by.is_some());
    // Afterwards nobody offers it.
    assert!(answer.packs.iter().any(|hit| hit.not_known.contains(&NotKnown::CostWithGaps)));
}

fn weigh(ticket: &mut Ticket, position: u32, lot: LotId, amount: &str) {
    let line = ticket.line_at(position).unwrap().id;
    ticket.weighings.push(Weighing {
        id: WeighingId::new(),
        line,
        lot: Some(lot),
        amount: mass(amount),
        by: "R. Ashdown".to_owned(),
        at: chrono::DateTime::UNIX_EPOCH,
        checked_by: None,
        movement: None,
        reversed: None,
        how: domain::tickets::WeighedHow::default(),
    });
}

fn complete(ticket: &mut Ticket, out: &Lot, seconds: i64) {
    ticket.status = TicketStatus::Reconciled;
    ticket.completion = Some(Completion {
        yield_mass: mass("100"),
        lot: out.id,
        density: None,
        fillings: Vec::new(),
        by: "R. Ashdown".to_owned(),
        at: chrono::DateTime::from_timestamp(seconds, 0).unwrap(),
        on: day("2026-02-01"),
        note: None,
    });
}

/// A gum in a premix in a bulk: 20 kg of 100, 10 kg of which stand in 100: 2 kg. The premix left over is set aside with it.
#[test]
fn a_lot_called_back_is_followed_through_an_intermediate() {
    let house = House::new();
    let material = |code: &str| house.parts.materials.iter().find(|material| material.code == code).unwrap();
    let gum = lot(material("GUM"), "G-1", "5 kg");
    let premix = lot(material("PRE"), "PRE-1", "90 kg");
    let bulk = Lot { on_hand: quantity("0 kg"), ..lot(material("A"), "A-1", "100 kg") };
    let mut making = ticket(
        "T-1",
        house.formula("F-PRE"),
        "2026-01-20",
        &[(material("GUM"), "20"), (material("GLYC"), "80")],
    );
    weigh(&mut making, 1, gum.id, "20");
    weigh(&mut making, 2, LotId::new(), "80");
    complete(&mut making, &premix, 100);
    let mut mixing = ticket(
        "T-2",
        house.formula("F-A"),
        "2026-01-21",
        &[(material("PRE"), "10"), (material("SLES"), "90")],
    );
    weigh(&mut mixing, 1, premix.id, "10");
    weigh(&mut mixing, 2, LotId::new(), "90");
    complete(&mut mixing, &bulk, 200);
    let waiting = ticket("T-3", house.formula("F-A"), "2026-03-05", &[(material("PRE"), "10")]);
    let shelf = Shelf { lots: vec![gum.clone(), premix], tickets: vec![waiting] };
    let genealogy = Genealogy { tickets: vec![mixing, making], lots: vec![bulk] };
    let called = Change::LotRecalled { lot: gum.id, on: day(TODAY) };
    let answer = ask_of(&house.parts, &shelf, &genealogy, &scenario([called]));
    let [recall] = &answer.recalls[..] else { panic!("one lot") };
    let told: Vec<_> = recall
        .batches
        .iter()
        .map(|batch| (batch.ticket_number.as_str(), figure(&batch.holds, 3), batch.by_way_of.join(" ")))
        .collect();
    assert_eq!(
        told,
        [("T-1", "20.000".to_owned(), "G-1".to_owned()), ("T-2", "2.000".to_owned(), "G-1 PRE-1".to_owned())]
    );
    assert_eq!(recall.batches[1].lots[0].on_hand, Some(quantity("0 kg")));
    // The premix is no longer there for the run of this week, nor the gum to make it anew.
    assert_eq!(answer.runs[0].effect, RunEffect::Short);
    let urgencies: Vec<_> = answer.first_look.iter().map(|row| row.urgency).collect();
    assert_eq!(
        urgencies[..4],
        [
            Urgency::UnsafeOrUnsaleable,
            Urgency::UnsafeOrUnsaleable,
            Urgency::UnsafeOrUnsaleable,
            Urgency::CannotBeMadeThisWeek
        ]
    );
}

#[test]
fn lots_that_hold_less_deliveries_that_come_late_and_runs_that_move() {
    let house = House::new();
    let material = |code: &str| house.parts.materials.iter().find(|material| material.code == code).unwrap();
    let coming = Lot { received_on: day("2026-03-08"), ..lot(material("SLES"), "S-2", "30 kg") };
    let there = lot(material("SLES"), "S-1", "12 kg");
    let first = ticket("T-1", house.formula("F-A"), "2026-03-04", &[(material("SLES"), "12")]);
    let second = ticket("T-2", house.formula("F-A"), "2026-03-10", &[(material("SLES"), "24")]);
    let shelf = Shelf { lots: vec![there.clone(), coming], tickets: vec![first.clone(), second] };
    let told = |change: Change| -> Vec<(String, RunEffect, String)> {
        let answer = ask_all(&house.parts, &shelf, [change]);
        answer
            .runs
            .iter()
            .map(|hit| {
                let RunRef::Ticket { number, .. } = &hit.run else { panic!("tickets only") };
                let short = hit.short.first().map_or_else(String::new, |short| short.after.to_string());
                (number.clone(), hit.effect, short)
            })
            .collect()
    };
    let short = |number: &str, by: &str| (number.to_owned(), RunEffect::Short, by.to_owned());
    let holds = Change::LotHolds { lot: there.id, quantity: quantity("7 kg") };
    assert_eq!(told(holds), [short("T-1", "5 kg")]);
    let late = |days| Change::DeliveryLate { material: material("SLES").id, days };
    assert_eq!(told(late(2)), []);
    assert_eq!(told(late(3)), [short("T-2", "24 kg")]);
    let moved = Change::RunMoved { ticket: first.id, to: day("2026-03-12") };
    let effects = told(moved);
    assert!(effects.iter().all(|(_, effect, _)| *effect == RunEffect::OtherLots), "{effects:?}");
    // What would be ordered comes later too, so it has to be ordered sooner.
    let more = Change::PlannedRun {
        of: RunOf::Version(house.formula("F-A").versions[0].id),
        amount: RunAmount::Batch(mass("1000")),
        on: day("2026-04-20"),
    };
    let order_by = |changes: Vec<Change>| {
        let answer = ask_all(&house.parts, &shelf, changes);
        let run = answer.runs.iter().find(|hit| matches!(hit.run, RunRef::Assumed { .. })).unwrap();
        let short = run.short.iter().find(|short| short.material.code == "SLES").unwrap();
        short.buy.as_ref().unwrap().order.as_ref().unwrap().order_by
    };
    assert_eq!(order_by(vec![more.clone()]), Some(day("2026-04-10")));
    assert_eq!(order_by(vec![more, late(4)]), Some(day("2026-04-06")));
}

#[test]
fn new_changes_are_read_and_written_by_stable_names() {
    let id = "018f3c7e-0000-7000-8000-000000000001";
    let text = format!(
        r#"{{"changes":[
        {{"change":"price","of":{{"pack":{{"material":"{id}","pack":"200 kg"}}}},"by":{{"percent":"12"}}}},
        {{"change":"price","of":{{"offer":{{"quotation":"{id}","pack":"25 kg","price-break":"100 kg"}}}},"by":{{"percent":"12"}}}},
        {{"change":"price","of":{{"currency":"EUR"}},"by":{{"percent":"12"}}}},
        {{"change":"freight","of":{{"supplier":"{id}"}},"by":{{"to":{{"amount":{{"amount":"40","currency":"GBP"}},"per":"shipment"}}}},"from":"2026-05-01"}},
        {{"change":"freight","of":{{"supplier":"{id}"}},"by":{{"to":{{"amount":{{"amount":"0.1","currency":"GBP"}},"per":{{"quantity":"1 kg"}}}}}}}},
        {{"change":"duty","of":{{"material":"{id}"}},"to":"6.5","on":"price-and-freight"}},
        {{"change":"surcharge","of":{{"material":"{id}"}},"name":"hazard","amount":{{"amount":"25","currency":"GBP"}},"per":"pack"}},
        {{"change":"dose","version":"{id}","line":2,"to":"1.2","against":1}},
        {{"change":"substitute","old":"{id}","new":"{id}","factor":"0.8","within":"{id}"}},
        {{"change":"batch-size","formula":"{id}","to":"500"}},
        {{"change":"overfill","pack":"{id}","to":"1"}},
        {{"change":"process-loss","formula":"{id}","to":"2"}},
        {{"change":"house-rate","name":"bench","by":{{"percent":"5"}},"from":"2026-04-01"}},
        {{"change":"sales-volume","pack":"{id}","by":{{"units":5000}}}},
        {{"change":"supplier-ends","supplier":"{id}","material":"{id}","on":"2026-05-01","replaced-on":"2026-09-01"}},
        {{"change":"lot-recalled","lot":"{id}","on":"2026-03-01"}},
        {{"change":"lot-holds","lot":"{id}","quantity":"180 kg"}},
        {{"change":"delivery-late","material":"{id}","days":10}},
        {{"change":"run-moved","ticket":"{id}","to":"2026-03-10"}},
        {{"change":"old-price","material":"{id}","cover":{{"days":75}}}},
        {{"change":"old-price","material":"{id}","cover":{{"ordered":"200 kg"}}}}],"margin-floor":"40"}}"#
    );
    let read: Scenario = serde_json::from_str(&text).unwrap();
    let written: serde_json::Value = serde_json::to_value(&read).unwrap();
    assert_eq!(written, serde_json::from_str::<serde_json::Value>(&text).unwrap());
}
