//! How long every page takes and what it weighs, on the demo, as a client on this machine meets it.
//!
//! `cargo bench -p black-box --bench pages` asks the binary that `STILLROOM_BIN` names, or one built for it. Each page is asked for
//! several times, one after the other; the median and the slowest are printed, and the run fails where a page is past the limits below.
#![allow(
    clippy::expect_used,
    clippy::float_arithmetic,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    missing_docs,
    reason = "a benchmark stops at the first surprise"
)]

use std::{
    process::ExitCode,
    time::{Duration, Instant},
};

use black_box::Server;

/// How long the usual answer may take.
const MEDIAN_MAX: Duration = Duration::from_millis(50);
/// Bytes of a page as it stands, style sheet and script included.
const WEIGHT_MAX: usize = 200_000;
/// How often each page is asked for.
const TIMES: usize = 25;

fn main() -> ExitCode {
    // `cargo test --benches` runs this too, to see that it runs; a benchmark is not a test.
    if std::env::args().any(|word| word == "--test") {
        return ExitCode::SUCCESS;
    }
    let folder = tempfile::tempdir().unwrap();
    let database = format!("sqlite://{}", folder.path().join("demo.db").display());
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let server = Server::start(&database, &["demo"]);
    let get = |path: &str| {
        runtime.block_on(async { server.request("GET", path).send().await.unwrap().text().await.unwrap() })
    };
    let first = get("/");
    let assets: usize = addresses(&first, "/assets/").iter().map(|path| get(path).len()).sum();
    let bench =
        addresses(&get("/tickets"), "/tickets/").into_iter().find(|path| path.ends_with("/bench")).unwrap();
    let lot = addresses(&get("/shelf"), "/lots/").into_iter().next().unwrap();
    let ticket = bench.trim_end_matches("/bench").to_owned();
    let mut pages: Vec<String> = [
        "/",
        "/shelf",
        "/shelf/calendar",
        "/materials/SLES70",
        "/suppliers",
        "/receive",
        "/quotations",
        "/formulas",
        "/formulas/HW-01?version=2",
        "/formulas/HW-01/compare?a=1&b=2",
        "/draft",
        "/draft?formula=HW-01&version=3",
        "/packs",
        "/packs/HW-500",
        "/run-check?pack=HW-500&units=500",
        "/tickets",
        "/what-if",
        "/what-if?as_of=&kind=price-material&what=SLES70&by=%2B12+%25&day=",
        "/rates",
        "/import",
        "/settings",
        "/find?q=hand",
    ]
    .map(ToOwned::to_owned)
    .into();
    pages.extend([lot, ticket, bench]);
    println!("{:>8} {:>8} {:>8}  page (assets: {:.1} kB)", "median", "slowest", "kB", kilobytes(assets));
    let mut holds = true;
    for page in &pages {
        let mut taken = Vec::with_capacity(TIMES);
        let mut weight = 0;
        for _ in 0..TIMES {
            let begun = Instant::now();
            weight = get(page).len() + assets;
            taken.push(begun.elapsed());
        }
        taken.sort_unstable();
        let (median, slowest) = (taken[TIMES / 2], taken[TIMES - 1]);
        let past = median > MEDIAN_MAX || weight > WEIGHT_MAX;
        holds &= !past;
        let mark = if past { "  PAST THE LIMIT" } else { "" };
        println!(
            "{:>5.1} ms {:>5.1} ms {:>8.1}  {page}{mark}",
            milliseconds(median),
            milliseconds(slowest),
            kilobytes(weight)
        );
    }
    println!("limits: {} ms for the median, {} kB", MEDIAN_MAX.as_millis(), WEIGHT_MAX / 1_000);
    if holds { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// Addresses in a page that begin so, each once.
fn addresses(page: &str, begin: &str) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for (mark, _) in page.match_indices('"') {
        let rest = &page[mark + 1..];
        if rest.starts_with(begin)
            && let Some(end) = rest.find(['"', '?', '#'])
        {
            let address = rest[..end].to_owned();
            if !found.contains(&address) {
                found.push(address);
            }
        }
    }
    found
}

/// For the eye only.
fn milliseconds(time: Duration) -> f64 {
    time.as_secs_f64() * 1_000.0
}

/// For the eye only.
fn kilobytes(bytes: usize) -> f64 {
    u32::try_from(bytes).map_or(f64::INFINITY, f64::from) / 1_000.0
}
