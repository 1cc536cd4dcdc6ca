//! How much is ordered at once, and what that does to a cost sheet; how it stands with the quotations behind it.

use kernel::Exact;
use std::num::NonZeroU32;

use super::fixtures::{House, day, gbp, kg, offer, percent, price, quantity, shown, today};
use crate::{
    CostRequest, CostSheet, Note, OrderBasis, StatedOrder, View, cost_sheet,
    orders::ordered_otherwise,
    present,
    source::{Standing, Validity},
    yearly::yearly_use,
};

/// A wash of 12 % detergent base that comes in kegs at 2.00 and, from a tonne, in a tank at 1.20; 60,000 bottles of 500 g a year.
fn wash() -> House {
    let mut house = House::new();
    house.quote("BASE", "60 kg", "2.00", "1 kg");
    house.parts.quotations[0].offers.push(offer("1000 kg", price("1.20"), "1 kg", None));
    house.at_price("WATER", "0.01");
    house.formula("WASH", "percent", &["BASE 12 %", "WATER q.s."]).usual_batch = kg("200");
    house.pack("WASH-500", "WASH", "500 g").units_a_year = Some(60_000);
    house
}

fn nonzero(number: u32) -> NonZeroU32 {
    NonZeroU32::new(number).unwrap()
}

fn sheet_of(house: &House, order: OrderBasis, stated: &[StatedOrder]) -> (CostSheet, Vec<Note>) {
    let catalogue = house.catalogue();
    let view = View::plain(&catalogue).ordering(stated);
    let sheet =
        cost_sheet(&view, &CostRequest::pack(house.pack_id("WASH-500"), today()).ordered(order)).unwrap();
    let notes = ordered_otherwise(&view, &sheet).unwrap();
    (sheet, notes)
}

/// The source of the first line.
fn check(house: &House, order: OrderBasis, unit_cost: &str, source: &str, otherwise: &[&str]) {
    let (sheet, notes) = sheet_of(house, order, &[]);
    assert_eq!(shown(sheet.lines[0].unit_cost.as_ref().unwrap(), 6), unit_cost);
    assert_eq!(sheet.lines[0].source.to_string(), source);
    assert_eq!(notes.iter().map(ToString::to_string).collect::<Vec<_>>(), otherwise);
    assert_eq!(present::cost_sheet(&sheet).unwrap().order, order.code());
}

#[test]
fn the_tier_follows_the_order() {
    let house = wash();
    let keg = "quotation Q-BASE-1 of Supplier S1: 2 GBP per 1 kg";
    let tank = "quotation Q-BASE-1 of Supplier S1: 1.2 GBP per 1 kg, 1 × 1000 kg";
    // A batch of 200 kg takes 24 kg; a year takes 60,000 × 0.5 × 12 % = 3600 kg, a quarter of it 900.
    let month =
        format!("{keg}, 5 × 60 kg for 300 kg, a month's use at 60,000 units a year; valid until replaced");
    check(
        &house,
        OrderBasis::ForBatch,
        "2.000000",
        &format!("{keg}, 1 × 60 kg for 24 kg, one batch; valid until replaced"),
        &[],
    );
    check(&house, OrderBasis::YEAR, "2.000000", &month, &[]);
    let quarter = OrderBasis::ForYear { orders: nonzero(4) };
    check(
        &house,
        quarter,
        "1.200000",
        &format!("{tank} for 900 kg, a quarter's use at 60,000 units a year; valid until replaced"),
        &[&format!(
            "ordered for one batch, BASE (base) would cost 2 GBP per kg instead of 1.2: {keg}, 1 × 60 kg for 24 kg, one batch; valid until replaced"
        )],
    );
    check(
        &house,
        OrderBasis::ForBatches(nonzero(40)),
        "1.200000",
        &format!("{tank} for 960 kg, 40 batches; valid until replaced"),
        &[],
    );
}

/// On a sheet for the batch it is said where the year would order otherwise.
#[test]
fn what_the_year_would_cost_is_said() {
    let mut house = wash();
    house.parts.packs[0].units_a_year = Some(180_000);
    let (sheet, notes) = sheet_of(&house, OrderBasis::default(), &[]);
    assert_eq!(shown(&sheet.totals.ingredients, 2), "49.76");
    assert_eq!(
        notes.iter().map(ToString::to_string).collect::<Vec<_>>(),
        [
            "ordered for the year, BASE (base) would cost 1.2 GBP per kg instead of 2: quotation Q-BASE-1 of Supplier S1: \
             1.2 GBP per 1 kg, 1 × 1000 kg for 900 kg, a month's use at 180,000 units a year; valid until replaced"
        ]
    );
    assert_eq!(notes[0].code(), "ORDERED_OTHERWISE");
    // Nobody said how many are sold: nothing can be said about the year.
    house.parts.packs[0].units_a_year = None;
    assert_eq!(sheet_of(&house, OrderBasis::default(), &[]).1, []);
    check(
        &house,
        OrderBasis::YEAR,
        "2.000000",
        "quotation Q-BASE-1 of Supplier S1: 2 GBP per 1 kg, 1 × 60 kg for 24 kg, one batch, for its use in a year is not known; \
         valid until replaced",
        &[],
    );
}

/// No more is ordered than is used before it expires, and no less than a batch needs.
#[test]
fn the_shelf_life_and_the_batch_bound_the_order() {
    let mut house = wash();
    let yearly = OrderBasis::ForYear { orders: nonzero(1) };
    let keg = "quotation Q-BASE-1 of Supplier S1: 2 GBP per 1 kg";
    house.material("BASE").shelf_life = Some("2 months".parse().unwrap());
    house.material("BASE").minimum_remaining_life = Some("1 month".parse().unwrap());
    check(
        &house,
        yearly,
        "2.000000",
        &format!(
            "{keg}, 5 × 60 kg for 300 kg, all that is used within its shelf life of 2 months at 60,000 units a year; valid until replaced"
        ),
        &[],
    );
    house.parts.packs[0].units_a_year = Some(1_200);
    check(
        &house,
        OrderBasis::YEAR,
        "2.000000",
        &format!(
            "{keg}, 1 × 60 kg for 24 kg, one batch, which is more than a month's use at 1,200 units a year; valid until replaced"
        ),
        &[],
    );
}

#[test]
fn an_order_may_be_stated() {
    let house = wash();
    let stated = [StatedOrder { material: house.id("BASE"), quantity: quantity("1 t") }];
    let (sheet, notes) = sheet_of(&house, OrderBasis::YEAR, &stated);
    assert_eq!(
        sheet.lines[0].source.to_string(),
        "quotation Q-BASE-1 of Supplier S1: 1.2 GBP per 1 kg, 1 × 1000 kg for 1000 kg, as stated; valid until replaced"
    );
    assert_eq!(notes, []);
    let gap = |stated: &str| {
        let stated = [StatedOrder { material: house.id("BASE"), quantity: quantity(stated) }];
        let (sheet, _) = sheet_of(&house, OrderBasis::YEAR, &stated);
        assert!(!sheet.complete);
        assert_eq!(sheet.standing, Some(Standing::NoPrice));
        sheet.gaps[0].to_string()
    };
    assert_eq!(
        gap("10 pcs"),
        "the stated order of BASE (base) cannot be used: it is stated by count and kept by mass"
    );
    assert_eq!(gap("10 L"), "BASE (base) has no density, which the stated order needs");
}

/// A year's use goes through intermediates and their losses, through every pack, and through components; what is not known is named.
#[test]
fn what_a_year_takes() {
    let mut house = wash();
    // A premix that loses a tenth, half base; a polish of 20 % premix and 10 % base, and a process loss of its own.
    let premix = house.formula("PREMIX", "percent", &["BASE 50 %", "WATER q.s."]);
    premix.process_loss = percent("10");
    let polish = house.formula("POLISH", "percent", &["PREMIX 20 %", "BASE 10 %", "WATER q.s."]);
    polish.process_loss = percent("5");
    polish.heel = kg("1");
    house.pack("POLISH-1", "POLISH", "940 g").units_a_year = Some(1000);
    house.packed_with("TIN", "2", domain::packs::ComponentPer::Unit, "0.30");
    house.parts.packs[1].components[0].loss = percent("20");
    house.pack("POLISH-2", "POLISH", "2 kg");
    let use_of = |code: &str| {
        let catalogue = house.catalogue();
        yearly_use(&View::plain(&catalogue), house.id(code), today()).unwrap()
    };
    let base = use_of("BASE");
    // 100 kg of polish leave 94: a hundred tins. They took 10 kg of base, and 20 / 0.9 × 0.5 kg through the premix.
    let polish = Exact::whole(1000)
        * (Exact::whole(10) + Exact::ratio(100, 9).unwrap())
        * Exact::ratio(1, 100).unwrap();
    assert_eq!(base.amount, Exact::whole(3600) + polish);
    assert_eq!(base.units, 61_000);
    assert_eq!(base.packs, ["POLISH-1", "WASH-500"]);
    assert_eq!(base.not_known, ["POLISH-2"]);
    // Two tins a unit and a fifth of them scrapped.
    assert_eq!(use_of("TIN").amount, Exact::whole(2500));
    assert_eq!(use_of("TIN").units, 1000);
    // Nothing holds the finished wash.
    assert_eq!(use_of("WASH").amount, Exact::ZERO);
    // A pack of a formula that is not approved takes nothing on the day.
    house.version("POLISH").status = domain::formulas::VersionStatus::Draft;
    let catalogue = house.catalogue();
    assert_eq!(
        yearly_use(&View::plain(&catalogue), house.id("BASE"), today()).unwrap().amount,
        Exact::whole(3600)
    );
}

/// A price break by the year is reached by what the packs take in a year, without anybody saying so.
#[test]
fn a_break_by_the_year_is_honoured_on_a_sheet() {
    let mut house = wash();
    let quotation = &mut house.parts.quotations[0];
    quotation.offers = vec![
        offer("60 kg", price("2.00"), "1 kg", None),
        offer("60 kg", price("1.50"), "1 kg", Some("3600 kg")),
    ];
    quotation.terms.break_counts = domain::quotations::BreakCounts::Year;
    check(
        &house,
        OrderBasis::ForBatch,
        "1.500000",
        "quotation Q-BASE-1 of Supplier S1: 1.5 GBP per 1 kg from 3600 kg a year, 1 × 60 kg for 24 kg, one batch; valid until replaced",
        &[],
    );
    house.parts.packs[0].units_a_year = Some(59_999);
    let (sheet, _) = sheet_of(&house, OrderBasis::ForBatch, &[]);
    assert_eq!(shown(sheet.lines[0].unit_cost.as_ref().unwrap(), 2), "2.00");
}

/// Each figure carries how it stands with the quotations behind it, and the sheet the worst of them.
#[test]
fn standing_is_carried_to_every_figure() {
    let mut house = House::new();
    house.at_price("GUM", "20").at_price("WATER", "0.01").at_price("WAX", "5").at_price("SCENT", "80");
    house.parts.quotations[0].valid_until = Some(day("2026-06-01"));
    house.parts.quotations[2].valid_until = Some(day("2026-06-20"));
    house.parts.quotations[3].valid_until = Some(day("2026-05-01"));
    house.formula("STOCK", "percent", &["GUM 2 %", "WATER q.s."]);
    house
        .formula("POLISH", "percent", &["STOCK 25 %", "WAX 15 %", "SCENT 0 %", "WATER q.s."])
        .cost_per_batch = Some(gbp("40"));
    let cost = |house: &House| {
        let catalogue = house.catalogue();
        let request = CostRequest::version(house.version_id("POLISH"), today());
        cost_sheet(&View::plain(&catalogue), &request).unwrap()
    };
    let sheet = cost(&house);
    let standing: Vec<_> = sheet.lines.iter().map(|line| line.standing).collect();
    // Through the stock to the gum; the scent, of which there is nothing, and the making rest on no quotation.
    let (lapsed, soon, valid) = (Standing::Lapsed, Standing::LapsesSoon, Standing::Valid);
    assert_eq!(standing, [Some(lapsed), Some(soon), None, Some(valid), None]);
    assert_eq!(
        sheet.lines[0].nested.iter().map(|line| line.standing).collect::<Vec<_>>(),
        [Some(lapsed), Some(valid)]
    );
    assert_eq!(sheet.standing, Some(lapsed));
    let behind: Vec<_> = sheet.quotations.iter().map(|behind| behind.reference.as_str()).collect();
    assert_eq!(behind, ["Q-GUM-1", "Q-WAX-3", "Q-WATER-2"]);
    assert_eq!(sheet.quotations[0].validity, Validity::Lapsed { until: day("2026-06-01"), days_ago: 14 });
    assert_eq!(sheet.quotations[0].material, house.id("GUM"));
    let printed = present::cost_sheet(&sheet).unwrap();
    assert_eq!(printed.standing, Some("LAPSED"));
    assert_eq!(printed.lines[1].standing, Some("LAPSES_SOON"));
    assert_eq!(printed.quotations[1].validity, "valid until 2026-06-20, which is in 5 days");

    house.parts.quotations.remove(0);
    let sheet = cost(&house);
    assert_eq!(sheet.standing.map(Standing::words), Some("none"));
    assert_eq!(sheet.lines[0].standing, Some(Standing::NoPrice));
    assert_eq!(sheet.quotations.len(), 2);
}
