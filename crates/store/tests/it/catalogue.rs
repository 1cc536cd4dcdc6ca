//! Round trips of everything slow-changing, with every field filled, with none, and with any figure a column can hold.

use chrono::NaiveDate;
use domain::{
    Catalogue, Settings,
    dates::Span,
    formulas::{
        AmountBasis, Approval, Formula, FormulaLine, LineAmount, MeasuredDensity, Trim, VersionStatus,
        WrittenAs,
    },
    house_rates::{HouseRate, HouseRateAmount, HouseRateOf},
    making::{FillingRun, LineSpeed, Making, MakingCost, MakingCostAmount, MakingCostKind, WorkTime},
    materials::{Material, MaterialKind, UseLevel, UseLevelKind},
    packs::{ComponentPer, Pack, PackComponent},
    quotations::{
        BreakCounts, Charge, ChargePer, Deposit, Duty, DutyOn, ExchangeRate, Freight, FreightPer, Offer,
        PriceBasis, Quotation, SmallOrder, Terms,
    },
    suppliers::Supplier,
};
use kernel::{
    Count, Currency, Density, Mass, Money, Parts, Percent, Quantity, Rate, UnitPrice, Volume,
    ids::{FormulaVersionId, HouseRateId, RateId},
};
use proptest::{
    prelude::*,
    test_runner::{Config, TestRunner},
};
use rust_decimal::Decimal;
use sea_orm::ConnectionTrait;
use store::{
    Backend, Store, StoreError,
    catalogue::{catalogue_load, catalogue_version, catalogue_version_raise},
};
use testkit::{
    db::TestDatabase,
    on_both_databases,
    samples::{self, date, decimal, mass, percent, pounds, quantity},
};

use crate::house::{House, tx};

on_both_databases! {
    a_catalogue_comes_back_as_it_was_written,
    any_figure_comes_back_exactly,
    a_damaged_row_is_named,
    what_does_not_hold_together_is_refused,
    updates_write_everything,
    the_version_grows_and_is_told,
}

fn settings() -> Settings {
    Settings { currency: Currency::GBP, lapses_soon_days: 30 }
}

async fn load(store: &Store) -> Catalogue {
    catalogue_load(store, &settings()).await.unwrap()
}

fn rich_material(code: &str) -> Material {
    Material {
        kind: MaterialKind::RawMaterial,
        inci: Some("Sodium Hydroxide".to_owned()),
        cas: vec!["1310-73-2".parse().unwrap(), "7732-18-5".parse().unwrap()],
        density: Some(Density::from_nano(1_525_000_001)),
        active_matter: Some(percent("49.999999999")),
        use_level: Some(UseLevel { from: None, to: Some(percent("2.5")), kind: UseLevelKind::Legal }),
        shelf_life: Some(Span::Months(24)),
        period_after_opening: Some(Span::Days(90)),
        minimum_remaining_life: Some(Span::Days(0)),
        inspection_time: Some(Span::Days(3)),
        signal_word: Some(domain::cautions::SignalWord::Danger),
        hazard_statements: vec!["H314".parse().unwrap(), "EUH031".parse().unwrap()],
        caution_groups: vec![domain::cautions::CautionGroup::Alkali],
        incompatible_with: domain::cautions::CautionGroup::ALL.to_vec(),
        flash_point_celsius: Some(decimal("-18.25")),
        safety_data_sheet: Some("SDS 7, 2025-11-02".to_owned()),
        note: Some("two lines:\n“quoted”, 'apostrophes', %, \\ and Ωμέγα".to_owned()),
        ..samples::material(code)
    }
}

fn rich_quotation(supplier: &Supplier, material: &Material) -> Quotation {
    let price = |scaled| UnitPrice::from_scaled(scaled, supplier.currency);
    Quotation {
        valid_until: Some(date("2026-12-31")),
        lead_time: Some(Span::Days(14)),
        minimum_order: Some(quantity("50 kg")),
        freight: Some(Freight { amount: price(12), per: FreightPer::Quantity(quantity("100 kg")) }),
        terms: Terms {
            price_basis: PriceBasis::ActiveMatter,
            discount: percent("2.5"),
            duty: Some(Duty { percent: percent("6.500000001"), on: DutyOn::PriceAndFreight }),
            charges: vec![
                Charge { name: "tail lift".to_owned(), amount: price(2_500_000_000), per: ChargePer::Order },
                Charge { name: "cleaning".to_owned(), amount: price(1), per: ChargePer::Pack },
                Charge {
                    name: "insurance".to_owned(),
                    amount: price(50_000_000),
                    per: ChargePer::Goods(price(10_000_000_000)),
                },
                Charge { name: "fuel".to_owned(), amount: price(12), per: ChargePer::Freight(price(7)) },
                Charge {
                    name: "hazard surcharge".to_owned(),
                    amount: price(0),
                    per: ChargePer::Quantity(quantity("1 L")),
                },
            ],
            small_order: Some(SmallOrder { charge: price(2_500_000_000), below: price(25_000_000_000) }),
            deposit: Some(Deposit { amount: price(800_000_000), forfeited: percent("12.5") }),
            break_counts: BreakCounts::Year,
        },
        offers: vec![
            Offer {
                pack: quantity("25 kg"),
                price: price(312_345_678),
                price_per: quantity("1 kg"),
                from_quantity: None,
            },
            Offer {
                pack: quantity("1000 L"),
                price: price(0),
                price_per: quantity("1 L"),
                from_quantity: Some(quantity("5 t")),
            },
        ],
        note: Some("ex works".to_owned()),
        ..samples::quotation("Q/2026-001", supplier, material, "1")
    }
}

fn rich_formula(code: &str, makes: &Material, of: &Material) -> Formula {
    let mut formula = samples::formula(code, makes, of);
    let line = |position, amount| FormulaLine {
        position,
        phase: Some("A".to_owned()),
        material: of.id,
        amount,
        basis: AmountBasis::ActiveMatter,
        function: Some("surfactant".to_owned()),
        use_level_from: Some(percent("0.1")),
        use_level_to: Some(percent("5")),
        weighing_tolerance: Some(percent("0.5")),
        instruction: Some("slowly".to_owned()),
        trim: None,
    };
    let mut second = samples::version(formula.id, 2, of);
    second.status = VersionStatus::Retired;
    second.written_as = WrittenAs::Grams { total: mass("1000 g") };
    second.lines =
        vec![line(1, LineAmount::Mass(mass("999.9 g"))), line(2, LineAmount::Percent(percent("0.01")))];
    second.density = Some(MeasuredDensity {
        density: Density::from_nano(1_012_000_000),
        measured_on: Some(date("2025-06-01")),
        celsius: Some(decimal("20.5")),
    });
    second.process_loss = percent("1.25");
    second.heel = mass("350 g");
    second.smallest_batch = Some(mass("20 kg"));
    second.largest_batch = Some(mass("500 kg"));
    second.cost_per_batch = Some(pounds("84.123456"));
    second.making = Making {
        evaporation: percent("0.75"),
        samples: mass("250 g"),
        retains: mass("125 g"),
        costs: vec![
            making_cost(
                "Mixing",
                MakingCostKind::Labour,
                MakingCostAmount::Hours { time: "95 min".parse().unwrap(), rate: "bench".to_owned() },
            ),
            making_cost(
                "plate count",
                MakingCostKind::Tests,
                MakingCostAmount::PerBatch(pounds("18.000001")),
            ),
            making_cost(
                "steam",
                MakingCostKind::Machine,
                MakingCostAmount::PerKgCharged(UnitPrice::from_scaled(1, Currency::GBP)),
            ),
            making_cost(
                "drain",
                MakingCostKind::Disposal,
                MakingCostAmount::PerKgOfWaste(UnitPrice::from_scaled(123_456_789, Currency::EUR)),
            ),
        ],
    };
    second.shelf_life = Some(Span::Months(30));
    second.approval = Some(Approval { by: "Ada Sample".to_owned(), on: date("2025-06-02") });
    second.note = Some("first one that did not separate".to_owned());
    let mut third = samples::version(formula.id, 3, of);
    third.id = FormulaVersionId::new();
    third.written_as = WrittenAs::Volume { total: Volume::from_nanolitres(10_000_000_000) };
    third.lines = vec![
        line(1, LineAmount::Volume(Volume::from_nanolitres(8_333_000_000))),
        line(2, LineAmount::QuantitySufficient),
        line(3, LineAmount::PercentWeightInVolume(percent("5.5"))),
        line(4, LineAmount::PercentVolumeInVolume(percent("0.000000001"))),
    ];
    third.lines[2].trim = Some(Box::new(Trim {
        result: "pH 5.75 to 6.25".to_owned(),
        stop: Some(LineAmount::PercentWeightInVolume(percent("6"))),
    }));
    third.lines[3].trim = Some(Box::new(Trim { result: "straw-coloured".to_owned(), stop: None }));
    let mut fourth = samples::version(formula.id, 4, of);
    fourth.written_as = WrittenAs::Parts;
    fourth.lines = vec![line(1, LineAmount::Parts(Parts::from_nano(2_500_000_000)))];
    formula.versions.extend([second, third, fourth]);
    formula
}

fn making_cost(name: &str, kind: MakingCostKind, amount: MakingCostAmount) -> MakingCost {
    MakingCost { name: name.to_owned(), kind, amount }
}

/// One of each way to say how much.
fn house_rates() -> [HouseRate; 4] {
    let rate = |name: &str, of, amount| HouseRate {
        id: HouseRateId::new(),
        name: name.to_owned(),
        of,
        amount,
        from: date("2026-01-01"),
        note: Some("agreed in December".to_owned()),
    };
    let budget = |used: Option<&str>| HouseRateAmount::Budget {
        cost: pounds("41000.000001"),
        normal_capacity: decimal("1733.3333333333333333333333"),
        capacity_used: used.map(decimal),
    };
    [
        rate(
            "bench",
            HouseRateOf::LabourHour,
            HouseRateAmount::Stated(UnitPrice::from_scaled(i64::MAX, Currency::GBP)),
        ),
        rate("energy", HouseRateOf::OverheadPerMachineHour, budget(None)),
        rate("pensions", HouseRateOf::OverheadOnLabour, HouseRateAmount::Percent(percent("112.345678901"))),
        rate("rent", HouseRateOf::OverheadPerBatch, budget(Some("9.5"))),
    ]
}

async fn a_catalogue_comes_back_as_it_was_written(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let raw = rich_material("RM-2");
    let premix = Material { kind: MaterialKind::Intermediate, ..samples::material("IN-1") };
    let supplier = Supplier {
        country: Some("DE".to_owned()),
        currency: Currency::EUR,
        lead_time: Some(Span::Days(7)),
        note: Some("closed in August".to_owned()),
        ..samples::supplier("S-2")
    };
    let quotation = rich_quotation(&supplier, &raw);
    let by_pack = Quotation {
        freight: Some(Freight {
            amount: UnitPrice::from_scaled(500_000_000, Currency::GBP),
            per: FreightPer::Pack,
        }),
        ..samples::quotation("Q-2", &house.supplier, &raw, "2.5")
    };
    let by_order = Quotation {
        freight: Some(Freight {
            amount: UnitPrice::from_scaled(4_500_000_000, Currency::GBP),
            per: FreightPer::Order,
        }),
        terms: Terms {
            duty: Some(Duty { percent: percent("0"), on: DutyOn::Price }),
            break_counts: BreakCounts::Order,
            ..Terms::default()
        },
        ..samples::quotation("Q-2", &house.supplier, &house.raw, "2.5")
    };
    let rate = ExchangeRate {
        id: RateId::new(),
        from: Currency::EUR,
        to: Currency::GBP,
        rate: Rate::new(decimal("0.8612345678901234567890123456")).unwrap(),
        date: date("2026-01-05"),
        source: "a central bank".to_owned(),
    };
    let formula = rich_formula("F-2", &premix, &raw);
    let pack = Pack {
        overfill: percent("1.5"),
        filling_loss: percent("0.75"),
        components: vec![
            PackComponent {
                material: house.bottle.id,
                quantity: Count::from_thousandths(1_000),
                per: ComponentPer::Unit,
                loss: percent("2"),
            },
            PackComponent {
                material: house.bottle.id,
                quantity: Count::from_thousandths(83),
                per: ComponentPer::Case,
                loss: percent("0"),
            },
        ],
        units_per_case: Some(12),
        line_labour: Some(pounds("0.11")),
        price: Some(pounds("4.99")),
        units_a_year: Some(12_000),
        run: FillingRun { units_kept_back: 8, speed: None, changeover: Some(pounds("12.5")) },
        note: Some("for the shop".to_owned()),
        ..samples::pack("P-2", &house.formula, &house.product, &house.bottle)
    };

    let by_hour = Pack {
        run: FillingRun {
            units_kept_back: u32::MAX,
            speed: Some(LineSpeed {
                units_per_hour: Count::from_thousandths(1),
                people: Count::from_thousandths(1_500),
                labour_rate: Some("bench".to_owned()),
                machine_rate: Some("filler".to_owned()),
            }),
            changeover: None,
        },
        ..samples::pack("P-3", &house.formula, &house.product, &house.bottle)
    };
    let house_rates = house_rates();

    let write = tx(store).await;
    for rate in &house_rates {
        store::house_rates::house_rate_insert(&write, rate).await.unwrap();
    }
    for material in [&raw, &premix] {
        store::materials::material_insert(&write, material).await.unwrap();
    }
    store::suppliers::supplier_insert(&write, &supplier).await.unwrap();
    for quotation in [&quotation, &by_pack, &by_order] {
        store::quotations::quotation_insert(&write, quotation).await.unwrap();
    }
    store::quotations::rate_insert(&write, &rate).await.unwrap();
    store::formulas::formula_insert(&write, &formula).await.unwrap();
    store::packs::pack_insert(&write, &pack).await.unwrap();
    store::packs::pack_insert(&write, &by_hour).await.unwrap();
    // What is not kept yet is seen inside the transaction, and only there.
    let inside = catalogue_load(&write, &settings()).await.unwrap();
    assert!(inside.materials.by_code("rm-2").is_some());
    assert!(load(store).await.materials.by_code("rm-2").is_none());
    write.commit().await.unwrap();

    let found = load(store).await;
    for material in [&house.raw, &house.bulk, &house.bottle, &house.product, &raw, &premix] {
        assert_eq!(&**found.materials.get(material.id).unwrap(), material);
    }
    assert_eq!(store::materials::material_get(store, raw.id).await.unwrap(), Some(raw));
    for supplier in [&house.supplier, &supplier] {
        assert_eq!(&**found.suppliers.get(supplier.id).unwrap(), supplier);
    }
    for quotation in [&quotation, &by_pack, &by_order] {
        assert_eq!(&**found.quotation(quotation.id).unwrap(), quotation);
    }
    assert_eq!(found.rates().collect::<Vec<_>>(), [&rate]);
    for formula in [&house.formula, &formula] {
        assert_eq!(&**found.formulas.get(formula.id).unwrap(), formula);
    }
    assert_eq!(found.house_rates().collect::<Vec<_>>(), house_rates.iter().collect::<Vec<_>>());
    for pack in [&house.pack, &pack, &by_hour] {
        assert_eq!(&**found.packs.get(pack.id).unwrap(), pack);
    }
    assert_eq!(
        (found.materials.len(), found.suppliers.len(), found.quotations().len(), found.formulas.len()),
        (6, 2, 3, 2)
    );
}

/// Whole numbers with a leaning towards the ends and towards what a double cannot keep.
fn whole(from: i64, to: i64) -> impl Strategy<Value = i64> {
    let edges = [from, from + 1, to - 1, to, 9_007_199_254_740_993, 123_456_789_012_345_678];
    let edges: Vec<i64> = edges.into_iter().filter(|edge| (from..=to).contains(edge)).collect();
    prop_oneof![from..=to, prop::sample::select(edges)]
}

/// Any decimal there is: 96 bits, up to 28 places, either sign.
fn any_decimal() -> impl Strategy<Value = Decimal> {
    (any::<[u32; 3]>(), any::<bool>(), 0_u32..=28)
        .prop_map(|([lo, mid, hi], negative, scale)| Decimal::from_parts(lo, mid, hi, negative, scale))
}

fn any_day() -> impl Strategy<Value = NaiveDate> {
    (0_i32..109_500).prop_map(|days| date("1900-01-01") + chrono::Duration::days(days.into()))
}

#[derive(Debug, Clone)]
struct Figures {
    density: i64,
    percents: [i64; 5],
    celsius: Decimal,
    rate: Decimal,
    day: NaiveDate,
    prices: [i64; 2],
    quantities: [i64; 4],
    masses: [i64; 3],
    money: [i64; 3],
    units: u64,
}

fn figures() -> impl Strategy<Value = Figures> {
    let hundred = Percent::HUNDRED.nano();
    let percents = [
        whole(0, hundred).boxed(),
        whole(0, hundred).boxed(),
        whole(0, hundred - 1).boxed(),
        whole(0, i64::MAX).boxed(),
        whole(0, i64::MAX).boxed(),
    ];
    (
        whole(1, i64::MAX),
        percents,
        any_decimal(),
        any_decimal(),
        any_day(),
        [whole(0, i64::MAX), whole(0, i64::MAX)],
        [whole(1, i64::MAX), whole(1, i64::MAX), whole(1, i64::MAX), whole(1, i64::MAX)],
        [whole(1, i64::MAX), whole(1, i64::MAX), whole(1, i64::MAX)],
        [whole(0, i64::MAX), whole(0, i64::MAX), whole(0, i64::MAX)],
        whole(0, i64::MAX),
    )
        .prop_map(|(density, percents, celsius, rate, day, prices, quantities, masses, money, units)| {
            Figures {
                density,
                percents,
                celsius,
                rate,
                day,
                prices,
                quantities,
                masses,
                money,
                units: units.unsigned_abs(),
            }
        })
}

async fn any_figure_comes_back_exactly(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let mut runner = TestRunner::new(Config { cases: 24, failure_persistence: None, ..Config::default() });
    runner
        .run(&prop::collection::vec(figures(), 1..6), |many| {
            let written = tokio::task::block_in_place(|| {
                tokio::runtime::Handle::current().block_on(async {
                    let write = tx(store).await;
                    let mut written = Vec::new();
                    for (figures, number) in many.into_iter().zip(1..) {
                        written.push(insert(&write, &house, number, &figures).await);
                    }
                    // Read inside, then dropped: the next case finds the house as it was.
                    (catalogue_load(&write, &settings()).await.unwrap(), written)
                })
            });
            let (found, written) = written;
            for (material, quotation, rate, formula, pack) in written {
                prop_assert_eq!(&**found.materials.get(material.id).unwrap(), &material);
                prop_assert_eq!(&**found.quotation(quotation.id).unwrap(), &quotation);
                if let Some(rate) = rate {
                    prop_assert!(found.rates().any(|kept| *kept == rate), "{:?}", rate);
                }
                prop_assert_eq!(&**found.formulas.get(formula.id).unwrap(), &formula);
                prop_assert_eq!(&**found.packs.get(pack.id).unwrap(), &pack);
            }
            Ok(())
        })
        .unwrap();
}

async fn insert(
    write: &store::WriteTx,
    house: &House,
    number: u32,
    f: &Figures,
) -> (Material, Quotation, Option<ExchangeRate>, Formula, Pack) {
    let percents = f.percents.map(Percent::from_nano);
    let money = f.money.map(|micros| Money::from_micros(micros, Currency::GBP));
    let masses = f.masses.map(Mass::from_micrograms);
    let mut material = samples::material(&format!("RM-X{number}"));
    material.density = Some(Density::from_nano(f.density));
    material.active_matter = Some(percents[0]);
    material.use_level =
        Some(UseLevel { from: Some(percents[0]), to: Some(percents[1]), kind: UseLevelKind::Recommended });
    material.flash_point_celsius = Some(f.celsius);
    let bulk = Material { kind: MaterialKind::Bulk, ..samples::material(&format!("BK-X{number}")) };

    let mut quotation = samples::quotation(&format!("Q-X{number}"), &house.supplier, &house.raw, "1");
    quotation.valid_from = f.day;
    quotation.minimum_order = Some(Quantity::Volume(Volume::from_nanolitres(f.quantities[0])));
    quotation.freight = Some(Freight {
        amount: UnitPrice::from_scaled(f.prices[0], Currency::GBP),
        per: FreightPer::Quantity(Quantity::Count(Count::from_thousandths(f.quantities[1]))),
    });
    quotation.offers = vec![Offer {
        pack: Quantity::Count(Count::from_thousandths(f.quantities[2])),
        price: UnitPrice::from_scaled(f.prices[1], Currency::GBP),
        price_per: Quantity::Mass(Mass::from_micrograms(f.quantities[3])),
        from_quantity: Some(Quantity::Volume(Volume::from_nanolitres(f.quantities[0]))),
    }];
    let rate = Rate::new(f.rate.abs()).ok().map(|rate| ExchangeRate {
        id: RateId::new(),
        from: Currency::EUR,
        to: Currency::GBP,
        rate,
        date: date("2000-01-01") + chrono::Duration::days(number.into()),
        source: "a bank".to_owned(),
    });

    let mut formula = samples::formula(&format!("F-X{number}"), &bulk, &house.raw);
    let version = &mut formula.versions[0];
    version.written_as = WrittenAs::Grams { total: masses[0] };
    version.lines[0].amount = LineAmount::Mass(masses[1]);
    version.lines[0].weighing_tolerance = Some(percents[3]);
    version.process_loss = percents[2];
    version.heel = masses[2];
    version.usual_batch = masses[0];
    version.cost_per_batch = Some(money[0]);
    version.making.samples = masses[0];
    version.making.retains = masses[1];
    version.making.costs = vec![
        making_cost("A", MakingCostKind::Other, MakingCostAmount::PerBatch(money[1])),
        making_cost(
            "B",
            MakingCostKind::Disposal,
            MakingCostAmount::PerKgOfWaste(UnitPrice::from_scaled(f.prices[0], Currency::GBP)),
        ),
        making_cost(
            "C",
            MakingCostKind::Cleaning,
            MakingCostAmount::Hours {
                time: WorkTime::from_milliseconds(f.quantities[0]),
                rate: "bench".to_owned(),
            },
        ),
    ];
    version.density = Some(MeasuredDensity {
        density: Density::from_nano(f.density),
        measured_on: Some(f.day),
        celsius: Some(f.celsius),
    });
    version.approval = Some(Approval { by: "Ada Sample".to_owned(), on: f.day });
    version.status = VersionStatus::Approved;

    let mut pack = samples::pack(&format!("P-X{number}"), &formula, &house.product, &house.bottle);
    pack.fill = Quantity::Mass(masses[1]);
    pack.overfill = percents[4];
    pack.filling_loss = percents[2];
    pack.components[0].quantity = Count::from_thousandths(f.quantities[1]);
    pack.line_labour = Some(money[1]);
    pack.price = Some(money[2]);
    pack.units_a_year = Some(f.units);
    pack.run.changeover = Some(money[0]);

    store::materials::material_insert(write, &material).await.unwrap();
    store::materials::material_insert(write, &bulk).await.unwrap();
    store::quotations::quotation_insert(write, &quotation).await.unwrap();
    if let Some(rate) = &rate {
        store::quotations::rate_insert(write, rate).await.unwrap();
    }
    store::formulas::formula_insert(write, &formula).await.unwrap();
    store::packs::pack_insert(write, &pack).await.unwrap();
    (material, quotation, rate, formula, pack)
}

async fn a_damaged_row_is_named(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let raw = database.raw().await;
    for (damage, repair, table, id) in [
        ("shelf_life = 'soon'", "shelf_life = NULL", "materials", house.raw.id.to_string()),
        ("cas = '[\"1-2-3\"]'", "cas = '[]'", "materials", house.raw.id.to_string()),
        ("hazard_statements = '{'", "hazard_statements = '[]'", "materials", house.raw.id.to_string()),
        ("flash_point_celsius = 'warm'", "flash_point_celsius = NULL", "materials", house.raw.id.to_string()),
        ("currency = 'XXX'", "currency = 'GBP'", "suppliers", house.supplier.id.to_string()),
    ] {
        let which = if table == "materials" { " WHERE code = 'RM-1'" } else { "" };
        raw.execute_unprepared(&format!("UPDATE {table} SET {damage}{which}")).await.unwrap();
        match catalogue_load(store, &settings()).await {
            Err(StoreError::Corrupt { table: named, id: row, reason }) => {
                assert_eq!((named, row), (table, id), "{reason}");
                assert!(damage.starts_with(reason.split(':').next().unwrap()), "{reason}");
            }
            other => panic!("{damage}: {other:?}"),
        }
        raw.execute_unprepared(&format!("UPDATE {table} SET {repair}{which}")).await.unwrap();
    }
    load(store).await;
}

async fn what_does_not_hold_together_is_refused(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let mut quotation = samples::quotation("Q-1", &house.supplier, &house.raw, "1");
    quotation.offers[0].price = UnitPrice::from_scaled(1, Currency::EUR);
    let write = tx(store).await;
    let refused = store::quotations::quotation_insert(&write, &quotation).await;
    assert!(matches!(refused, Err(StoreError::Unfit { .. })), "{refused:?}");

    let pack = Pack {
        units_a_year: Some(u64::MAX),
        ..samples::pack("P-2", &house.formula, &house.product, &house.bottle)
    };
    let refused = store::packs::pack_insert(&write, &pack).await;
    assert!(matches!(refused, Err(StoreError::TooLarge(_))), "{refused:?}");
}

async fn updates_write_everything(database: &TestDatabase) {
    let store = &database.store;
    let house = House::build(store).await;
    let material = Material { id: house.raw.id, ..rich_material("RM-1b") };
    let supplier = Supplier { name: "Renamed".to_owned(), ..house.supplier.clone() };
    let mut formula = house.formula.clone();
    formula.name.push_str(", renamed");
    let mut draft = samples::version(formula.id, 2, &house.raw);
    let mut pack = house.pack.clone();
    pack.components.clear();
    pack.price = Some(pounds("3"));
    pack.run.units_kept_back = 3;

    let write = tx(store).await;
    store::materials::material_update(&write, &material).await.unwrap();
    store::suppliers::supplier_update(&write, &supplier).await.unwrap();
    store::formulas::formula_update(&write, &formula).await.unwrap();
    store::formulas::version_insert(&write, &draft).await.unwrap();
    draft.note = Some("changed".to_owned());
    draft.making.evaporation = percent("3");
    draft.making.costs.push(making_cost(
        "mixing",
        MakingCostKind::Other,
        MakingCostAmount::PerBatch(pounds("1")),
    ));
    draft.lines.push(FormulaLine { position: 2, ..draft.lines[0].clone() });
    store::formulas::version_replace(&write, &draft).await.unwrap();
    "stirring".clone_into(&mut draft.making.costs[0].name);
    store::formulas::version_replace(&write, &draft).await.unwrap();
    store::packs::pack_update(&write, &pack).await.unwrap();
    write.commit().await.unwrap();

    formula.versions.push(draft);
    let found = load(store).await;
    assert_eq!(&**found.materials.get(material.id).unwrap(), &material);
    assert_eq!(&**found.suppliers.get(supplier.id).unwrap(), &supplier);
    assert_eq!(&**found.formulas.get(formula.id).unwrap(), &formula);
    assert_eq!(&**found.packs.get(pack.id).unwrap(), &pack);

    let write = tx(store).await;
    let stranger = samples::material("RM-9");
    let refused = store::materials::material_update(&write, &stranger).await;
    assert!(matches!(refused, Err(StoreError::NotFound { what: "material", .. })), "{refused:?}");
}

async fn the_version_grows_and_is_told(database: &TestDatabase) {
    let store = &database.store;
    let other = database.another_store().await;
    let told = other.catalogue_changes().await.unwrap();
    assert_eq!(told.is_some(), database.backend() == Backend::Postgres);

    let write = tx(store).await;
    assert_eq!(catalogue_version_raise(&write).await.unwrap(), 1);
    drop(write);
    assert_eq!(catalogue_version(store).await.unwrap(), 0);
    for expected in 1..=3 {
        let write = tx(store).await;
        assert_eq!(catalogue_version_raise(&write).await.unwrap(), expected);
        write.commit().await.unwrap();
    }
    assert_eq!(load(&other).await.version, 3);
    if let Some(mut told) = told {
        let wait = told.wait_for(|version| *version == 3);
        let seen = tokio::time::timeout(std::time::Duration::from_secs(10), wait).await;
        assert_eq!(*seen.expect("the notice arrives").unwrap(), 3);

        // The listening connection breaks while a change is made: nothing is missed for good.
        let raw = database.raw().await;
        raw.execute_unprepared(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity \
             WHERE datname = current_database() AND pid <> pg_backend_pid() AND query LIKE 'LISTEN%'",
        )
        .await
        .unwrap();
        let write = tx(store).await;
        catalogue_version_raise(&write).await.unwrap();
        write.commit().await.unwrap();
        let wait = told.wait_for(|version| *version == 4);
        let seen = tokio::time::timeout(std::time::Duration::from_secs(20), wait).await;
        assert_eq!(*seen.expect("the notice arrives").unwrap(), 4);
    }
    // Closing does not wait for the listener for ever.
    tokio::time::timeout(std::time::Duration::from_secs(10), other.close()).await.expect("it closes");
}
