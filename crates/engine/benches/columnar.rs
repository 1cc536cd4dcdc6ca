//! Costs of many formulas at once, beside scipy's sparse product of the same matrix in floats; what one changed price touches; and how
//! much memory a catalogue takes. `cargo bench -p engine --bench columnar`; `-- --formulas 1000000` for another size.
//!
//! Times are the least of many runs of the same work, on one core, so that what else the machine does weighs little. scipy runs in the
//! same minute in a virtual environment of its own under `target`, made here with the versions
//! named below; where that cannot be had, it is said.

#![expect(clippy::unwrap_used, reason = "a benchmark that cannot build its house has nothing to measure")]

use chrono::NaiveDate;
use domain::{
    Catalogue, Settings,
    formulas::FormulaLine,
    generated::{SiteSize, site},
};
use engine::{
    Columns, CostRequest, Overlay, View,
    columnar::{Costs, repriced},
    cost_sheet,
    view::{PriceAdjustment, PriceChange, PriceScope},
};
use kernel::{Currency, Percent, ids::MaterialId};
use std::{
    fs,
    hint::black_box,
    path::{Path, PathBuf},
    process::Command,
    time::{Duration, Instant},
};

/// What is installed for the comparison.
const PYTHON_PACKAGES: [&str; 2] = ["numpy==2.3.5", "scipy==1.16.3"];
const RUNS: usize = 40;

/// Bytes of memory the process has in use, as the system counts them; nought where it does not tell.
fn resident() -> usize {
    let told = fs::read_to_string("/proc/self/statm").unwrap_or_default();
    told.split_whitespace().nth(1).and_then(|pages| pages.parse::<usize>().ok()).unwrap_or(0) * 4_096
}

fn day(year: i32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, 1, 1).unwrap()
}

fn settings() -> Settings {
    Settings { currency: Currency::GBP, lapses_soon_days: 14 }
}

/// The least time of many runs.
fn least<T>(runs: usize, mut work: impl FnMut() -> T) -> Duration {
    (0..runs)
        .map(|_| {
            let from = Instant::now();
            black_box(work());
            from.elapsed()
        })
        .min()
        .unwrap()
}

/// `1.234 ms`, without a float.
fn shown(time: Duration) -> String {
    let micros = time.as_micros();
    format!("{}.{:03} ms", micros / 1_000, micros % 1_000)
}

/// `1.23`, of two times.
fn ratio(time: Duration, other: Duration) -> String {
    let hundredths = time.as_nanos() * 100 / other.as_nanos().max(1);
    format!("{}.{:02}", hundredths / 100, hundredths % 100)
}

/// The directory of the build, under which the virtual environment is made.
fn target() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).ancestors().nth(2).unwrap().join("target")
}

/// The Python of a virtual environment that has scipy; the reason where there is none.
fn python() -> Result<PathBuf, String> {
    let place = target().join("bench-python");
    let python = place.join("bin/python");
    let run = |command: &mut Command, what: &str| {
        let output = command.output().map_err(|error| format!("{what}: {error}"))?;
        if output.status.success() {
            return Ok(());
        }
        let said = String::from_utf8_lossy(&output.stderr);
        Err(format!("{what}: {}", said.trim().lines().last().unwrap_or("it failed")))
    };
    if !python.exists() {
        run(Command::new("python3").args(["-m", "venv"]).arg(&place), "making a virtual environment")?;
    }
    if run(Command::new(&python).args(["-c", "import scipy, numpy"]), "").is_err() {
        let mut install = Command::new(&python);
        install
            .args(["-m", "pip", "install", "--quiet", "--disable-pip-version-check"])
            .args(PYTHON_PACKAGES);
        run(&mut install, "installing scipy")?;
    }
    Ok(python)
}

/// The least time scipy takes for the same product, and what it says it is.
fn scipy(columns: &Columns) -> Result<(Duration, String), String> {
    let python = python()?;
    let (starts, slots, amounts, prices) = columns.matrix();
    let place = target().join("bench-matrix");
    fs::create_dir_all(&place).map_err(|error| error.to_string())?;
    let bytes = |numbers: &[u32]| numbers.iter().flat_map(|number| number.to_le_bytes()).collect::<Vec<u8>>();
    let wide = |numbers: &[i64]| numbers.iter().flat_map(|number| number.to_le_bytes()).collect::<Vec<u8>>();
    for (name, content) in [
        ("starts", bytes(starts)),
        ("slots", bytes(slots)),
        ("amounts", wide(amounts)),
        ("prices", wide(prices)),
    ] {
        fs::write(place.join(name), content).map_err(|error| error.to_string())?;
    }
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/sparse_product.py");
    let output = Command::new(python)
        .arg(script)
        .arg(&place)
        .arg((10 * RUNS).to_string())
        .env("OMP_NUM_THREADS", "1")
        .output()
        .map_err(|error| error.to_string())?;
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    let mut lines = said.lines();
    let nanos = lines.next().and_then(|line| line.trim().parse().ok());
    match nanos {
        Some(nanos) => Ok((Duration::from_nanos(nanos), lines.next().unwrap_or_default().to_owned())),
        None => {
            Err(String::from_utf8_lossy(&output.stderr).trim().lines().last().unwrap_or_default().to_owned())
        }
    }
}

fn product_beside_scipy(columns: &Columns) {
    let mut costs = Costs::default();
    columns.cost_all(&mut costs);
    // Turn and turn about, so that both see the same machine.
    let first = least(5 * RUNS, || columns.cost_all(&mut costs));
    let other = scipy(columns);
    let ours = first.min(least(5 * RUNS, || columns.cost_all(&mut costs)));
    println!("per-kilo product, exact in 128 bits     {}", shown(ours));
    match other {
        Ok((theirs, versions)) => {
            println!("the same matrix in floats, {versions}  {}", shown(theirs));
            println!("ratio                                   {}", ratio(ours, theirs));
        }
        Err(why) => println!("scipy cannot be had here ({why}): nothing to compare with"),
    }
    let figures = least(5, || {
        columns.cost_all(&mut costs);
        (0..columns.rows()).filter_map(|row| columns.per_kg_at(&costs, row)).count()
    });
    println!("the same, with every figure made out    {}", shown(figures));
}

/// The material whose formulas are nearest to so many.
fn material_in(columns: &Columns, wanted: usize) -> MaterialId {
    let apart = |id: &&MaterialId| columns.formulas_holding(**id).abs_diff(wanted);
    *columns.materials().iter().min_by_key(apart).unwrap()
}

fn one_price(catalogue: &Catalogue, columns: &Columns, wanted: usize) {
    let material = material_in(columns, wanted);
    let overlay = Overlay {
        prices: vec![PriceChange {
            scope: PriceScope::Material(material),
            change: PriceAdjustment::ByPercent(Percent::from_nano(8_000_000_000)),
            from: None,
        }],
        ..Overlay::default()
    };
    let view = View::with(catalogue, &overlay);
    let ask = || columns.touched(&view, &repriced(catalogue, &overlay)).unwrap();
    let touched = ask();
    let time = least(RUNS, ask);
    println!(
        "one price, {} formulas and {} packs hit   {}",
        touched.formulas.len(),
        touched.packs.len(),
        shown(time)
    );
}

/// A supplier's whole list, or all of it.
fn every_price(catalogue: &Catalogue, columns: &Columns) {
    let overlay = Overlay {
        prices: columns
            .materials()
            .iter()
            .map(|material| PriceChange {
                scope: PriceScope::Material(*material),
                change: PriceAdjustment::ByPercent(Percent::from_nano(8_000_000_000)),
                from: None,
            })
            .take(400)
            .collect(),
        ..Overlay::default()
    };
    let view = View::with(catalogue, &overlay);
    let ask = || columns.touched(&view, &repriced(catalogue, &overlay)).unwrap();
    let touched = ask();
    let time = least(3, ask);
    println!(
        "400 prices, {} formulas and {} packs hit  {}",
        touched.formulas.len(),
        touched.packs.len(),
        shown(time)
    );
}

/// A cost sheet takes as long whatever else is stored.
fn sheet_whatever_is_stored() {
    println!("\none cost sheet of a pack of twelve lines, two levels beneath");
    for formulas in [100, 100_000] {
        let parts = site(SiteSize { materials: 2_000, formulas, lines: 12, seed: 7 }, day(2026));
        let catalogue = Catalogue::new(1, settings(), parts);
        let view = View::plain(&catalogue);
        let packs: Vec<_> =
            catalogue.packs.iter().step_by(1.max(catalogue.packs.len() / 40)).map(|p| p.id).collect();
        // The least of each, then their average: no sheet pays for what else the machine did meanwhile.
        let all: Duration = packs
            .iter()
            .map(|pack| least(RUNS, || cost_sheet(&view, &CostRequest::pack(*pack, day(2027))).unwrap()))
            .sum();
        let each = all / u32::try_from(packs.len()).unwrap();
        let nanos = each.as_nanos();
        println!("  {formulas:>7} formulas stored            {}.{:03} µs", nanos / 1_000, nanos % 1_000);
    }
}

fn main() {
    let mut arguments = std::env::args().skip_while(|argument| argument != "--formulas").skip(1);
    let formulas: u32 = arguments.next().and_then(|count| count.parse().ok()).unwrap_or(100_000);
    let size = SiteSize { materials: (formulas / 5).clamp(60, 20_000), formulas, lines: 12, seed: 7 };
    println!(
        "{} formulas of {} lines, three levels; {} raw materials",
        size.formulas, size.lines, size.materials
    );

    // What the system counts holds what was given back and kept for later too, so this is rather too much than too little.
    let before = resident();
    let parts = site(size, day(2026));
    let lines: usize =
        parts.formulas.iter().flat_map(|f| &f.versions).map(|version| version.lines.len()).sum();
    let from = Instant::now();
    let catalogue = Catalogue::new(1, settings(), parts);
    println!("catalogue made in                       {}", shown(from.elapsed()));
    let bytes = resident() - before;
    println!("memory of the catalogue                 {} MB, {} bytes a line", bytes >> 20, bytes / lines);
    println!("of it a line itself                     {} bytes", size_of::<FormulaLine>());

    let view = View::plain(&catalogue);
    let before = resident();
    let from = Instant::now();
    let columns = Columns::new(&view, day(2027)).unwrap();
    println!("laid out in columns in                  {}", shown(from.elapsed()));
    let bytes = resident() - before;
    println!("memory of the columns                   {} MB, {} bytes a line", bytes >> 20, bytes / lines);
    println!(
        "rows {}, packs {}, lines through all levels {}; left out {}",
        columns.rows(),
        columns.pack_rows(),
        columns.lines(),
        columns.formulas_left_out().len()
    );
    product_beside_scipy(&columns);
    one_price(&catalogue, &columns, 1_000);
    every_price(&catalogue, &columns);
    drop(columns);
    drop(catalogue);
    sheet_whatever_is_stored();
}
