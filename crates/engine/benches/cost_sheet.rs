//! One cost sheet of a three-level, forty-line pack, from a catalogue of ten formulas and from one of ten thousand: what a sheet takes must
//! not depend on what else is stored. `cargo bench -p engine --bench cost_sheet`.

#![expect(clippy::unwrap_used, reason = "a benchmark that cannot build its house has nothing to measure")]

use chrono::NaiveDate;
use criterion::{BenchmarkId, Criterion};
use domain::{
    Catalogue, Settings,
    catalogue::CatalogueParts,
    formulas::{
        AmountBasis, Approval, Formula, FormulaLine, FormulaVersion, LineAmount, MeasuredDensity,
        VersionStatus, WrittenAs,
    },
    materials::{Material, MaterialKind},
    packs::{ComponentPer, Pack, PackComponent},
    quotations::{Offer, Quotation, Terms},
    suppliers::Supplier,
};
use engine::{
    CostRequest, CostSheet, View, cost_sheet,
    explode::explode,
    normalise::normalise,
    present,
    sensitivity::{DriverQuestion, drivers},
};
use kernel::{
    Count, Currency, Density, Mass, Money, Percent, Quantity, UnitPrice, Volume,
    ids::{FormulaId, FormulaVersionId, MaterialId, PackId, QuotationId, SupplierId},
};
use std::hint::black_box;

/// Raw materials that formulas are made of.
const RAW_MATERIALS: usize = 600;
/// Lines of every formula that only fills the catalogue.
const OTHER_LINES: usize = 12;

fn day(year: i32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, 1, 1).unwrap()
}

struct House {
    parts: CatalogueParts,
    supplier: SupplierId,
}

impl House {
    fn new() -> Self {
        let supplier = SupplierId::new();
        let mut parts = CatalogueParts::default();
        parts.suppliers.push(Supplier {
            id: supplier,
            code: "S-1".to_owned(),
            name: "Supplier".to_owned(),
            country: None,
            currency: Currency::GBP,
            lead_time: None,
            note: None,
        });
        Self { parts, supplier }
    }

    fn material(&mut self, code: String, kind: MaterialKind) -> MaterialId {
        let id = MaterialId::new();
        self.parts.materials.push(Material {
            id,
            name: code.to_lowercase(),
            code,
            kind,
            inci: None,
            cas: Vec::new(),
            density: None,
            active_matter: None,
            use_level: None,
            shelf_life: None,
            period_after_opening: None,
            minimum_remaining_life: None,
            inspection_time: None,
            signal_word: None,
            hazard_statements: Vec::new(),
            caution_groups: Vec::new(),
            incompatible_with: Vec::new(),
            flash_point_celsius: None,
            safety_data_sheet: None,
            note: None,
        });
        id
    }

    /// A material with one quotation of two packs, at a price per kg (or piece) of so many pence.
    fn bought(&mut self, code: String, kind: MaterialKind, pence: i64) -> MaterialId {
        let is_component = kind == MaterialKind::PackagingComponent;
        let of = |thousandths: i64| {
            if is_component {
                Quantity::Count(Count::from_thousandths(thousandths))
            } else {
                Quantity::Mass(Mass::from_micrograms(thousandths * 1_000_000))
            }
        };
        let offer = |pack: i64, pence: i64| Offer {
            pack: of(pack),
            price: UnitPrice::from_scaled(pence * 1_000_000, Currency::GBP),
            price_per: of(1_000),
            from_quantity: None,
        };
        let id = self.material(code.clone(), kind);
        self.parts.quotations.push(Quotation {
            id: QuotationId::new(),
            reference: format!("Q-{code}"),
            supplier: self.supplier,
            material: id,
            currency: Currency::GBP,
            valid_from: day(2026),
            valid_until: None,
            lead_time: None,
            minimum_order: None,
            freight: None,
            terms: Terms::default(),
            offers: vec![offer(25_000, pence), offer(1_000, pence * 2)],
            note: None,
        });
        id
    }

    /// A formula whose first material takes the rest; the others stand at so many thousandths of a percent.
    fn formula(
        &mut self,
        code: &str,
        rest: MaterialId,
        others: &[(MaterialId, i64)],
    ) -> (FormulaId, MaterialId) {
        let makes = self.material(code.to_owned(), MaterialKind::Intermediate);
        let formula = FormulaId::new();
        let percent = |(id, thousandths): &(MaterialId, i64)| {
            (*id, LineAmount::Percent(Percent::from_nano(thousandths * 1_000_000)))
        };
        let said = std::iter::once((rest, LineAmount::QuantitySufficient)).chain(others.iter().map(percent));
        let lines = said.zip(1..).map(|((material, amount), position)| FormulaLine {
            position,
            phase: Some("A".to_owned()),
            material,
            amount,
            basis: AmountBasis::AsSupplied,
            function: None,
            use_level_from: None,
            use_level_to: None,
            weighing_tolerance: None,
            instruction: None,
            trim: None,
        });
        let version = FormulaVersion {
            id: FormulaVersionId::new(),
            formula,
            number: 1,
            status: VersionStatus::Approved,
            written_as: WrittenAs::Percent,
            lines: lines.collect(),
            density: Some(MeasuredDensity {
                density: Density::from_nano(1_030_000_000),
                measured_on: None,
                celsius: None,
            }),
            process_loss: Percent::from_nano(1_500_000_000),
            heel: Mass::from_micrograms(500_000_000),
            usual_batch: Mass::from_micrograms(200_000_000_000),
            smallest_batch: None,
            largest_batch: None,
            cost_per_batch: Some(Money::from_micros(85_000_000, Currency::GBP)),
            making: domain::making::Making::default(),
            shelf_life: None,
            approval: Some(Approval { by: "A. Tester".to_owned(), on: day(2026) }),
            note: None,
        };
        self.parts.formulas.push(Formula {
            id: formula,
            code: code.to_owned(),
            name: code.to_lowercase(),
            makes,
            versions: vec![version],
        });
        (formula, makes)
    }
}

/// A catalogue of so many formulas with the pack among them: 22 lines, two of them intermediates, of 9 and 5 lines, the smaller in the larger
/// too; and 4 components.
fn catalogue(formulas: usize) -> (Catalogue, PackId) {
    let mut house = House::new();
    let price = |at: usize| 37 + 113 * i64::try_from(at % 89).unwrap();
    let raw: Vec<MaterialId> = (0..RAW_MATERIALS)
        .map(|at| house.bought(format!("RM-{at:04}"), MaterialKind::RawMaterial, price(at)))
        .collect();
    let doses = |from: usize, count: usize, at: usize| -> Vec<(MaterialId, i64)> {
        let material = |line: usize| raw.get((from + line * 7) % RAW_MATERIALS).copied().unwrap();
        (0..count)
            .map(|line| (material(line), 250 + 137 * i64::try_from((line + at) % 23).unwrap()))
            .collect()
    };
    let water = *raw.first().unwrap();

    let (_, stock) = house.formula("STOCK", water, &doses(1, 4, 0));
    let mut premix_lines = doses(40, 7, 3);
    premix_lines.push((stock, 12_500));
    let (_, premix) = house.formula("PREMIX", water, &premix_lines);
    let mut top_lines = doses(110, 19, 5);
    top_lines.extend([(premix, 9_250), (stock, 3_125)]);
    let (formula, _) = house.formula("TOP", water, &top_lines);

    let components = ["BOTTLE", "CLOSURE", "LABEL", "CASE"].map(|code| PackComponent {
        material: house.bought(code.to_owned(), MaterialKind::PackagingComponent, 21),
        quantity: Count::from_thousandths(1_000),
        per: if code == "CASE" { ComponentPer::Case } else { ComponentPer::Unit },
        loss: Percent::from_nano(2_000_000_000),
    });
    let pack = PackId::new();
    let product = house.material("TOP-500-FP".to_owned(), MaterialKind::FinishedProduct);
    house.parts.packs.push(Pack {
        id: pack,
        code: "TOP-500".to_owned(),
        name: "Top 500 mL".to_owned(),
        formula,
        product,
        fill: Quantity::Volume(Volume::from_nanolitres(500_000_000)),
        overfill: Percent::from_nano(1_000_000_000),
        filling_loss: Percent::from_nano(500_000_000),
        components: components.into(),
        units_per_case: Some(12),
        line_labour: Some(Money::from_micros(80_000, Currency::GBP)),
        run: domain::making::FillingRun::default(),
        price: Some(Money::from_micros(3_950_000, Currency::GBP)),
        units_a_year: Some(60_000),
        note: None,
    });
    for at in 3..formulas {
        house.formula(&format!("F-{at:05}"), water, &doses(at, OTHER_LINES - 1, at));
    }
    let settings = Settings { currency: Currency::GBP, lapses_soon_days: 14 };
    (Catalogue::new(1, settings, house.parts), pack)
}

fn costed(view: &View<'_>, request: &CostRequest) -> CostSheet {
    cost_sheet(view, request).unwrap()
}

fn measure(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("cost sheet of a three-level, forty-line pack");
    for formulas in [10, 10_000] {
        let (catalogue, pack) = catalogue(formulas);
        let view = View::plain(&catalogue);
        let request = CostRequest::pack(pack, day(2027));
        let sheet = costed(&view, &request);
        assert!(sheet.complete, "{:?}", sheet.gaps);
        assert_eq!(sheet.lines.len(), 28, "22 ingredients, the cost per batch, 4 components, line labour");
        group.bench_function(BenchmarkId::new("formulas stored", formulas), |bencher| {
            bencher.iter(|| costed(black_box(&view), black_box(&request)));
        });
    }
    group.finish();

    let (catalogue, pack) = catalogue(10);
    let view = View::plain(&catalogue);
    let request = CostRequest::pack(pack, day(2027));
    let sheet = costed(&view, &request);
    let version = view.version(sheet.subject.version).unwrap().1;
    let mut group = criterion.benchmark_group("parts and uses of it");
    group.bench_function("normalise", |bencher| {
        bencher.iter(|| normalise(black_box(&view), version).unwrap());
    });
    group.bench_function("explode", |bencher| {
        bencher.iter(|| explode(black_box(&view), version, request.as_of).unwrap());
    });
    group.bench_function("print", |bencher| bencher.iter(|| present::cost_sheet(black_box(&sheet)).unwrap()));
    group.bench_function("rank its drivers", |bencher| {
        bencher.iter(|| drivers(black_box(&view), &DriverQuestion::of(request)).unwrap());
    });
    group.finish();
}

fn main() {
    let mut criterion = Criterion::default().configure_from_args();
    measure(&mut criterion);
    criterion.final_summary();
}
