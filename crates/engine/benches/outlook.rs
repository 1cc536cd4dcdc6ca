//! The outlook of 2,000 planned runs over 20,000 lots, and the same with a scenario over it: a run-off day by day, first expiry, first
//! out. `cargo bench -p engine --bench outlook`.

#![expect(clippy::unwrap_used, reason = "a benchmark that cannot build its house has nothing to measure")]

use chrono::{DateTime, Days, NaiveDate};
use criterion::Criterion;
use domain::{
    Catalogue, Settings,
    catalogue::CatalogueParts,
    formulas::{
        AmountBasis, Approval, Formula, FormulaLine, FormulaVersion, LineAmount, VersionStatus, WrittenAs,
    },
    lots::{Lot, LotStatus, LotTerms},
    making::Making,
    materials::{Material, MaterialKind},
    tickets::{LineAsks, Ticket, TicketLine, TicketStatus},
};
use engine::{Change, OutlookRequest, Scenario, Shelf, View, outlook, what_if::what_if};
use kernel::{
    Currency, Mass, Money, Percent, Quantity,
    ids::{FormulaId, FormulaVersionId, LotId, MaterialId, TicketId, TicketLineId},
};
use std::hint::black_box;

const MATERIALS: usize = 400;
const LOTS: usize = 20_000;
const FORMULAS: usize = 100;
const LINES: usize = 12;
const RUNS: usize = 2_000;

fn today() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 3, 1).unwrap()
}

fn in_days(days: usize) -> NaiveDate {
    today().checked_add_days(Days::new(u64::try_from(days).unwrap())).unwrap()
}

fn grams(grams: usize) -> Mass {
    Mass::from_micrograms(i64::try_from(grams).unwrap() * 1_000_000)
}

fn material(code: String, kind: MaterialKind) -> Material {
    Material {
        id: MaterialId::new(),
        name: code.clone(),
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
    }
}

fn formula(number: usize, makes: &Material, raws: &[Material]) -> Formula {
    let id = FormulaId::new();
    let line = |at: usize| FormulaLine {
        position: u32::try_from(at + 1).unwrap(),
        phase: None,
        material: raws.get((number * 7 + at * 31) % MATERIALS).unwrap().id,
        amount: if at == 0 {
            LineAmount::QuantitySufficient
        } else {
            LineAmount::Percent(Percent::from_percent(5.into()).unwrap())
        },
        basis: AmountBasis::AsSupplied,
        function: None,
        use_level_from: None,
        use_level_to: None,
        weighing_tolerance: None,
        instruction: None,
        trim: None,
    };
    let version = FormulaVersion {
        id: FormulaVersionId::new(),
        formula: id,
        number: 1,
        status: VersionStatus::Approved,
        written_as: WrittenAs::Percent,
        lines: (0..LINES).map(line).collect(),
        density: None,
        process_loss: Percent::ZERO,
        heel: Mass::ZERO,
        usual_batch: grams(100_000),
        smallest_batch: None,
        largest_batch: None,
        cost_per_batch: None,
        making: Making::default(),
        shelf_life: None,
        approval: Some(Approval { by: "R. Ashdown".to_owned(), on: today() }),
        note: None,
    };
    Formula {
        id,
        code: format!("F-{number:03}"),
        name: "Formula".to_owned(),
        makes: makes.id,
        versions: vec![version],
    }
}

fn lot(number: usize, material: &Material) -> Lot {
    let amount = Quantity::Mass(grams(20_000 + number % 17 * 5_000));
    Lot {
        id: LotId::new(),
        number: format!("L-{number:05}"),
        material: material.id,
        supplier: None,
        supplier_lot: None,
        made_by: None,
        status: LotStatus::Released,
        received_on: today(),
        made_on: None,
        expires_on: Some(in_days(number * 13 % 400)),
        retest_on: None,
        opened_on: None,
        density: None,
        active_matter: None,
        location: None,
        received: amount,
        received_value: None,
        on_hand: amount,
        value: Some(Money::from_micros(100_000_000, Currency::GBP)),
        reserved: Quantity::from_raw(0, amount.dimension()),
        note: None,
        terms: LotTerms::default(),
    }
}

fn ticket(number: usize, formula: &Formula) -> Ticket {
    let version = formula.versions.first().unwrap();
    let line = |line: &FormulaLine| TicketLine {
        id: TicketLineId::new(),
        position: line.position,
        phase: None,
        material: line.material,
        target: grams(if line.position == 1 { 45_000 } else { 5_000 }),
        tolerance: None,
        instruction: None,
        asks: LineAsks::default(),
    };
    Ticket {
        id: TicketId::new(),
        number: format!("T-{number:04}"),
        formula: formula.id,
        version: version.id,
        pack: None,
        units: None,
        batch: grams(100_000),
        planned_for: in_days(number / 10),
        status: TicketStatus::Planned,
        lines: version.lines.iter().map(line).collect(),
        allocations: Vec::new(),
        weighings: Vec::new(),
        completion: None,
        written_by: "R. Ashdown".to_owned(),
        written_at: DateTime::UNIX_EPOCH,
        note: None,
        paused: None,
        planned_batch: None,
        steps: Vec::new(),
    }
}

fn main() {
    let raws: Vec<Material> =
        (0..MATERIALS).map(|at| material(format!("RM-{at:03}"), MaterialKind::RawMaterial)).collect();
    let bulks: Vec<Material> =
        (0..FORMULAS).map(|at| material(format!("B-{at:03}"), MaterialKind::Bulk)).collect();
    let formulas: Vec<Formula> =
        bulks.iter().enumerate().map(|(at, bulk)| formula(at, bulk, &raws)).collect();
    let lots: Vec<Lot> = (0..LOTS).map(|at| lot(at, raws.get(at % MATERIALS).unwrap())).collect();
    let tickets: Vec<Ticket> =
        (0..RUNS).map(|at| ticket(at, formulas.get(at * 37 % FORMULAS).unwrap())).collect();
    let shelf = Shelf { lots, tickets };
    let settings = Settings { currency: Currency::GBP, lapses_soon_days: 14 };
    let parts = CatalogueParts { materials: [raws, bulks].concat(), formulas, ..CatalogueParts::default() };
    let catalogue = Catalogue::new(1, settings, parts);
    let request = OutlookRequest { today: today(), until: None };
    let view = View::plain(&catalogue);
    let found = outlook(&view, &shelf, request).unwrap();
    let short = found.runs.iter().filter(|run| run.is_short()).count();
    let stranded = found.lots.iter().filter(|lot| lot.stranded.is_positive()).count();
    println!("{RUNS} runs over {LOTS} lots: {short} runs short, {stranded} lots stranded in part");

    let rejected = shelf.lots.iter().step_by(997).map(|lot| Change::LotRejected { lot: lot.id, on: today() });
    let scenario = Scenario { changes: rejected.collect(), ..Scenario::default() };
    let mut criterion = Criterion::default().sample_size(10).configure_from_args();
    criterion.bench_function("outlook, 2000 runs over 20000 lots", |bencher| {
        bencher.iter(|| outlook(black_box(&view), &shelf, request).unwrap());
    });
    criterion.bench_function("the same before and after lots are rejected", |bencher| {
        bencher.iter(|| what_if(&catalogue, black_box(&shelf), &scenario, today()).unwrap());
    });
    criterion.final_summary();
}
